"""Edits of a plan's text that change only the bytes they must, proved by reading again.

Invariant, checked on the way out: the new text parses to the old values with the edited ones put
in place, rows in the same order, a new row last in its phase. Comments, blank lines, order,
spacing, line ends and a byte order mark stay as they are.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Sequence
from typing import Any

from fvc.change.levels import LevelEdit
from fvc.errors import Fault, Refusal
from fvc.files.toml_text import BOM, Path, Place, TomlText
from fvc.formula import FIXED, OPEN, Level

_Splice = tuple[int, int, str]  # start, end, new text


def toml_string(text: str) -> str:
    """`text` as a TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" if ord(c) < 0x10000 else f"\\U{ord(c):08x}" for c in escaped) + '"'


def level_toml(level: Level, note: str = "") -> str:
    """A level as the value of its row. note: raw TOML text of a note to keep."""
    value = level.text if level.kind == FIXED else toml_string(level.text)
    parts = [f"level = {value}"]
    if level.kind == OPEN and level.number is not None:
        parts.append(f"expect = {level.number.text}")
    if note:
        parts.append(f"note = {note}")
    return value if len(parts) == 1 else "{ " + ", ".join(parts) + " }"


def edit_levels(source: TomlText, edits: Sequence[LevelEdit], revision: int | None = None) -> bytes:
    """The bytes of a plan with levels changed, lines removed or added, and the revision set.

    Raises Refusal when a row is written in a way that cannot be edited in place (the maker then
    edits it by hand) and for a fault of ours, before anything is written.
    """
    wanted: dict[str, Any] = copy.deepcopy(source.values)
    splices: list[_Splice] = []
    fresh: dict[str, list[LevelEdit]] = {}
    for edit in edits:
        if edit.adds:
            fresh.setdefault(edit.phase, []).append(edit)
            continue
        path: Path = ("phase", edit.phase, "percent", edit.material)
        place = source.layout.places.get(path)
        table = wanted["phase"][edit.phase]["percent"]
        if edit.level is None:
            splices.append(_removal(source, path, place))
            del table[edit.material]
            continue
        splices += _change(source, path, place, edit.level)
        table[edit.material] = _value_after(table[edit.material], edit.level)
    for phase, adds in fresh.items():
        gone = {e.material for e in edits if e.level is None and e.phase == phase}
        splices.append(_addition(source, phase, adds, gone))
        table = wanted.setdefault("phase", {}).setdefault(phase, {}).setdefault("percent", {})
        for edit in adds:
            assert edit.level is not None
            table[edit.material] = _parsed(level_toml(edit.level))
    if revision is not None:
        splices.append(_revision(source, revision))
        wanted["revision"] = revision
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


def _addition(source: TomlText, phase: str, adds: Sequence[LevelEdit], gone: set[str]) -> _Splice:
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
        assert edit.level is not None
        rows.append(f"{lead}{(edit.material + ' ').ljust(width)}= {level_toml(edit.level)}{newline}")
    return "".join(rows)


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


__all__ = ["edit_levels", "level_toml", "toml_string"]
