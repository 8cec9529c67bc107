"""Edits of a plan's text that change only the bytes they must, proved by reading again.

Invariant, checked on the way out: the new text parses to the old values with the edited ones put
in place, rows in the same order, a new row last in its phase or behind the row named. Comments,
blank lines, order, spacing, line ends and a byte order mark stay as they are.
"""

from __future__ import annotations

import copy
import datetime
import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fvc.errors import Fault, Refusal
from fvc.files.toml_text import BOM, Path, Place, TomlText
from fvc.formula import FIXED, OPEN, Level
from fvc.record import RawFloat

if TYPE_CHECKING:  # what git calls for each file writes levels and edits none
    from fvc.change.levels import LevelEdit

_Splice = tuple[int, int, str]  # start, end, new text


def toml_string(text: str) -> str:
    """`text` as a TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}" for c in escaped) + '"'


def value_toml(value: object) -> str:
    """A plain value of a record as TOML, with the digits that were typed."""
    if isinstance(value, RawFloat):
        return value.text
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(value_toml(v) for v in value) + "]"
    if isinstance(value, dict):
        rows = (f"{k if re.fullmatch('[A-Za-z0-9_-]+', k) else toml_string(k)} = {value_toml(v)}" for k, v in value.items())
        return "{ " + ", ".join(rows) + " }"
    return (
        value.isoformat()
        if isinstance(value, datetime.date | datetime.time)
        else toml_string(value)
        if isinstance(value, str)
        else str(value)
    )


def level_toml(level: Level, note: str = "") -> str:
    """A level as the value of its row. note: raw TOML text of a note to keep."""
    value = level.text if level.kind == FIXED else toml_string(level.text)
    parts = [f"level = {value}"]
    if level.kind == OPEN and level.number is not None:
        parts.append(f"expect = {level.number.text}")
    if note:
        parts.append(f"note = {note}")
    return value if len(parts) == 1 else "{ " + ", ".join(parts) + " }"


def row_value(level: Level, note: str) -> object:
    """A level with its note as the plain value that a row would hold."""
    return _parsed(level_toml(level, toml_string(note) if note else ""))


def edit_levels(
    source: TomlText, edits: Sequence[LevelEdit], revision: int | None = None, values: Mapping[Path, object] | None = None
) -> bytes:
    """The bytes of a plan with levels changed, lines removed or added, and the revision set.

    values: other values by their path, None to take one out.

    Raises Refusal when a row is written in a way that cannot be edited in place (the maker then
    edits it by hand) and for a fault of ours, before anything is written.
    """
    wanted: dict[str, Any] = copy.deepcopy(source.values)
    splices: list[_Splice] = []
    fresh: dict[str, list[LevelEdit]] = {}
    behind: dict[tuple[str, str], list[LevelEdit]] = {}
    renamed = {(e.phase, e.material): e.replaces for e in edits if e.replaces}
    for edit in edits:
        if edit.adds:
            above = (edit.phase, edit.behind)
            (behind.setdefault(above, []) if edit.behind else fresh.setdefault(edit.phase, [])).append(edit)
            continue
        path: Path = ("phase", edit.phase, "percent", edit.replaces or edit.material)
        place = source.layout.places.get(path)
        table = wanted["phase"][edit.phase]["percent"]
        if edit.level is None:
            splices.append(_removal(source, path, place))
            del table[edit.material]
            continue
        splices += _change(source, path, place, edit.level)
        table[path[-1]] = _value_after(table[path[-1]], edit.level)
        if edit.replaces:
            splices += _other_name(source, path, place, edit.material)
            _reordered(table, edit.replaces, edit.material)
    for (phase, row), adds in behind.items():
        splices.append(_insertion(source, ("phase", phase, "percent", renamed.get((phase, row), row)), adds))
        table = wanted["phase"][phase]["percent"]
        rows = {e.material: _parsed(_row_value(e)) for e in adds}
        kept = list(table.items())
        table.clear()
        for key, old in kept:
            table[key] = old
            table.update(rows if key == row else {})
    for phase, adds in fresh.items():
        splices.append(_addition(source, phase, adds))
        table = wanted.setdefault("phase", {}).setdefault(phase, {}).setdefault("percent", {})
        for edit in adds:
            table[edit.material] = _parsed(_row_value(edit))
    for at, value in (values or {}).items():
        _put(wanted, at, value)
    splices += _value_edits(source, values or {})
    if revision is not None:
        splices.append(_revision(source, revision))
        wanted["revision"] = revision
    return _proved(source, splices, wanted)


def _put(wanted: dict[str, Any], path: Path, value: object) -> None:
    """Set or take out a value among parsed ones."""
    table: Any = wanted
    for part in path[:-1]:
        table = table.setdefault(part, {})
    if value is None:
        del table[path[-1]]
    else:
        table[path[-1]] = list(value) if isinstance(value, tuple) and not isinstance(value, RawFloat) else value


def _value_edits(source: TomlText, values: Mapping[Path, object]) -> list[_Splice]:
    """Values set in their place, put behind the last of their table, or taken out with their row."""
    splices: list[_Splice] = []
    fresh: dict[Path, list[str]] = {}
    for path, value in values.items():
        place = source.layout.places.get(path)
        if value is None:
            splices.append(_removal(source, path, place))
        elif place is not None:
            splices.append((place.start, place.end, value_toml(value)))
        else:
            fresh.setdefault(path[:-1], []).append(f"{path[-1]} = {value_toml(value)}{source.newline}")
    return splices + [_fresh_rows(source, table, "".join(rows)) for table, rows in fresh.items()]


def _fresh_rows(source: TomlText, table: Path, row: str) -> _Splice:
    """New rows behind the last one of a table; the table itself where there is none, before what stands in it."""
    headings = [h for h in source.layout.headings if h.path == table]
    own = [p for known, p in source.layout.places.items() if known[:-1] == table]
    if headings or (own and not table):
        spans = [span for p in own if (span := _own_line(source, p)) is not None]
        if len(spans) != len(own):
            raise _by_hand(source, table, "adding a value")
        return _insert(source, max([*(end for _, end in spans), *(h.end for h in headings)]), row)
    if own or table in source.layout.places:  # written with dots, or as an inline table
        raise _by_hand(source, table, "adding a value")
    below = [h for h in source.layout.headings if h.path[: len(table)] == table]
    at = min((h.start for h in below), default=len(source.text))
    head = f"[{'.'.join(str(p) for p in table)}]{source.newline}"
    return _insert(source, at, f"{head}{row}" if below else f"{source.newline}{head}{row}")


def reordered(source: TomlText, phase: str, order: Sequence[str]) -> bytes:
    """The bytes of a plan with the rows of one phase in another order; each row takes its own line along, and nothing else."""
    table: Path = ("phase", phase, "percent")
    spans: dict[str, tuple[int, int]] = {}
    for material in order:
        place = source.layout.places.get((*table, material))
        span = _own_line(source, place) if place else None
        if span is None:
            raise _by_hand(source, (*table, material), "moving this line")
        spans[material] = span
    rows = {m: source.text[a:b] if source.text[a:b].endswith("\n") else source.text[a:b] + source.newline for m, (a, b) in spans.items()}
    splices = [(a, b, rows[m]) for m, (a, b) in zip(order, sorted(spans.values()), strict=True)]
    wanted = copy.deepcopy(source.values)
    percent = wanted["phase"][phase]["percent"]  # type: ignore[index]
    moved = {m: percent[m] for m in order}
    percent.clear()
    percent.update(moved)
    return _proved(source, splices, wanted)


def _proved(source: TomlText, splices: Sequence[_Splice], wanted: dict[str, Any]) -> bytes:
    text = source.text
    for start, end, new in sorted(splices, key=lambda s: (s[0], s[1]), reverse=True):
        text = text[:start] + new + text[end:]
    data = (BOM if source.bom else b"") + text.encode("utf-8")
    again = TomlText(data, source.name)
    if again.values != wanted or _rows(again.values) != _rows(wanted):
        raise AssertionError(f"an edit of {source.name} would have changed more than was asked; nothing was written")
    return data


def _rows(values: dict[str, Any]) -> list[tuple[str, str]]:
    return [(p, m) for p, table in values.get("phase", {}).items() for m in table.get("percent", {})]


def _parsed(value: str) -> Any:
    return TomlText(f"v = {value}\n".encode(), "").values["v"]


def _value_after(old: Any, level: Level) -> Any:
    if not isinstance(old, dict):
        return _parsed(level_toml(level))
    new = {k: v for k, v in old.items() if k != "expect"} | {"level": _parsed(level_toml(Level(level.kind, level.text)))}
    if level.kind == OPEN and level.number is not None:
        new["expect"] = _parsed(level.number.text)
    return new


def _by_hand(source: TomlText, path: Path, what: str) -> Refusal:
    return Refusal(
        Fault(
            f"{what} cannot be done in place, because of how this row is written",
            source.name,
            source.line_of(path),
            ".".join(str(p) for p in path),
            "make the change in your editor; fvc diff shows it",
        )
    )


def _change(source: TomlText, path: Path, place: Place | None, level: Level) -> list[_Splice]:
    places = source.layout.places
    inner = places.get((*path, "level"))
    if inner is None:
        if place is None:
            raise _by_hand(source, path, "a change of the level")
        return [(place.start, place.end, level_toml(level))]
    expect = places.get((*path, "expect"))
    now_open = level.kind == OPEN and level.number is not None
    bare = level.text if level.kind == FIXED else toml_string(level.text)
    splices = [(inner.start, inner.end, bare)]
    if expect is None and now_open:
        if place is None:  # rows of their own, not one inline table
            raise _by_hand(source, path, "a change of the level")
        assert level.number is not None
        splices[0] = (inner.start, inner.end, f"{bare}, expect = {level.number.text}")
    elif expect is not None and now_open:
        assert level.number is not None
        splices.append((expect.start, expect.end, level.number.text))
    elif expect is not None:
        splices.append(_without_item(source, expect))
    return splices


def _without_item(source: TomlText, item: Place) -> _Splice:
    """Cut `key = value` out of an inline table together with one comma beside it."""
    before = re.search(r"[ \t]*,[ \t]*\Z", source.text[: item.key_start])
    if before:
        return (before.start(), item.end, "")
    after = re.match(r"[ \t]*,[ \t]*", source.text[item.end :])
    return (item.key_start, item.end + (after.end() if after else 0), "")


def _own_line(source: TomlText, place: Place) -> tuple[int, int] | None:
    """Start and end of the physical line if the row has it to itself."""
    start = source.text.rfind("\n", 0, place.key_start) + 1
    end = source.text.find("\n", place.end)
    end = len(source.text) if end < 0 else end + 1
    rest = source.text[place.end : end].strip()
    alone = not source.text[start : place.key_start].strip() and (not rest or rest.startswith("#"))
    return (start, end) if alone else None


def _removal(source: TomlText, path: Path, place: Place | None) -> _Splice:
    span = _own_line(source, place) if place else None
    if span is None:
        raise _by_hand(source, path, "taking out the line")
    return (*span, "")


def _other_name(source: TomlText, path: Path, place: Place | None, name: str) -> list[_Splice]:
    """Another material's id in front of a row; what stands behind it moves only when the id is longer than the room.

    The comment behind the row was written about the old material, and says so from now on, until that one comes back.
    """
    key = source.text[place.key_start : place.start] if place else ""
    if place is None or _own_line(source, place) is None or "." in key.partition("=")[0]:
        raise _by_hand(source, path, "putting another material in its place")
    room = len(key.partition("=")[0])
    splices = [(place.key_start, place.key_start + room, (name + " ").ljust(room))]
    comment = re.compile(r"[ \t]*#[ \t]*(?=\S)").match(source.text, place.end)
    if comment:
        own = f"of {name}: "
        back = source.text.startswith(own, comment.end())
        splices.append((comment.end(), comment.end() + len(own), "") if back else (comment.end(), comment.end(), f"of {path[-1]}: "))
    return splices


def _reordered(table: dict[str, Any], old: str, new: str) -> None:
    """Give a key of a table another name, in its place."""
    kept = list(table.items())
    table.clear()
    table.update((new if key == old else key, value) for key, value in kept)


def _insertion(source: TomlText, path: Path, adds: Sequence[LevelEdit]) -> _Splice:
    """New rows right behind the row at `path`, their `=` under its own where it fits."""
    place = source.layout.places.get(path)
    span = _own_line(source, place) if place else None
    key = source.text[place.key_start : place.start].partition("=")[0] if place else ""
    if place is None or span is None or "." in key.replace('"', ""):
        raise _by_hand(source, path, "adding a line behind this one")
    return _insert(source, span[1], _new_rows(adds, source.text[span[0] : place.key_start], len(key), source.newline))


def _addition(source: TomlText, phase: str, adds: Sequence[LevelEdit]) -> _Splice:
    """New rows behind the last row of a phase, their `=` under the one above where it fits."""
    newline = source.newline
    table: Path = ("phase", phase, "percent")
    rows = [(path, place) for path, place in source.layout.places.items() if len(path) == 4 and path[:3] == table]
    headings = [h for h in source.layout.headings if h.path == table]
    written = source.values.get("phase", {}).get(phase, {}).get("percent", {})  # type: ignore[attr-defined]
    if table in source.layout.places or len(rows) != len(written):  # an inline table, or rows spread over tables of their own
        raise _by_hand(source, table, "adding a line")
    lead, width = "", 0
    if rows:
        path, place = rows[-1]
        span = _own_line(source, place)
        key = source.text[place.key_start : place.start]
        if span is None or "." in key.partition("=")[0].replace('"', ""):
            raise _by_hand(source, path, "adding a line")
        lead = source.text[span[0] : place.key_start]
        width = len(key.partition("=")[0])
        at = span[1]
    elif headings:
        at = headings[-1].end
    elif any(path[:2] == ("phase", phase) for path in source.layout.places) or any(
        h.path == ("phase", phase) for h in source.layout.headings
    ):
        if not any(h.path == ("phase", phase) for h in source.layout.headings):
            raise _by_hand(source, ("phase", phase), "adding a line")
        own = [place for path, place in source.layout.places.items() if len(path) == 3 and path[:2] == ("phase", phase)]
        last = max(own, key=lambda p: p.end) if own else None
        span = _own_line(source, last) if last else None
        at = span[1] if span else next(h.end for h in source.layout.headings if h.path == ("phase", phase))
        return _insert(source, at, f"[phase.{phase}.percent]{newline}" + _new_rows(adds, "", 0, newline))
    else:
        at = len(source.text)
        return _insert(source, at, f"{newline}[phase.{phase}.percent]{newline}" + _new_rows(adds, "", 0, newline))
    return _insert(source, at, _new_rows(adds, lead, width, newline))


def _new_rows(adds: Sequence[LevelEdit], lead: str, width: int, newline: str) -> str:
    width = width or max(len(e.material) + 1 for e in adds)
    rows = []
    for edit in adds:
        rows.append(f"{lead}{(edit.material + ' ').ljust(width)}= {_row_value(edit)}{newline}")
    return "".join(rows)


def _row_value(edit: LevelEdit) -> str:
    assert edit.level is not None
    return level_toml(edit.level, toml_string(edit.note) if edit.note else "")


def _insert(source: TomlText, at: int, rows: str) -> _Splice:
    missing = at > 0 and source.text[at - 1] != "\n"
    return (at, at, (source.newline if missing else "") + rows)


def _revision(source: TomlText, revision: int) -> _Splice:
    place = source.layout.places.get(("revision",))
    if place is not None:
        return (place.start, place.end, str(revision))
    for key in ("title", "format"):
        above = source.layout.places.get((key,))
        if above is not None:
            end = source.text.find("\n", above.end)
            return _insert(source, len(source.text) if end < 0 else end + 1, f"revision = {revision}{source.newline}")
    return (0, 0, f"revision = {revision}{source.newline}")


__all__ = ["edit_levels", "level_toml", "reordered", "row_value", "toml_string", "value_toml"]
