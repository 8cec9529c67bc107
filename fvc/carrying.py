"""Bringing a variant along when its formula has moved on: its own changes, merged with what the formula has become."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from fvc.archive import Archive
from fvc.change.levels import LevelEdit
from fvc.compare.merge import Answer, Merge, Sided, merge
from fvc.errors import Fault, Refusal
from fvc.files.editor import edit_levels, reordered, row_value
from fvc.files.toml_text import Path, TomlText
from fvc.files.variant_text import as_variant, lost_comments, new_comments, with_row_comments
from fvc.formula import Line, Plan
from fvc.reading import Reading
from fvc.references import Reference
from fvc.saving import saved_reading
from fvc.variants import Variant, check_open, one_variant, read_variant, saved_text


class Carried(NamedTuple):
    """A variant carried over to its formula's last saved revision.

    text: of its file; "" bytes while questions are open. lost: comments of its file that the new text has no place for.
    left: comments that the formula has gained since and that did not come along.
    """

    variant: Variant
    parent: str
    merge: Merge
    text: bytes
    old: bytes
    after: Reading | None
    lost: tuple[str, ...] = ()
    left: tuple[str, ...] = ()


def carry(archive: Archive, name: str, id: str, answers: Mapping[str, Answer]) -> Carried | None:
    """Merge the variant's own changes with what its formula has become; None when the formula did not move.

    answers: by the dotted path of a question. Raises Refusal where the parent cannot be found.
    """
    variant = one_variant(archive, name, id)
    check_open(variant)
    if variant.parent is None or variant.about is None or variant.reading is None:
        raise Refusal(variant.problem, next=variant.way_out)
    if not variant.moved_to:
        return None
    last = saved_reading(archive, Reference(name, name))
    assert last is not None
    functions = {i: m.functions for r in (variant.parent, last, variant.reading) for i, m in r.materials.items()}
    own = variant.reading.plan
    result = merge(
        _standing_as(variant.parent.plan, own),
        Sided(variant.moved_to, _standing_as(last.plan, own)),
        Sided(variant.reference.plan_name, _standing_as(own, own)),
        functions,
        answers,
    )
    path = variant.reference.path
    old = archive.now.source.read(path)
    assert old is not None
    if not result.settled:
        return Carried(variant, variant.moved_to, result, b"", old, None)
    data, plan_id = saved_text(archive, name, last)
    named: dict[Path, object] = {("variant", "parent"): variant.moved_to, ("variant", "plan_id"): plan_id}
    parents = TomlText(as_variant(TomlText(data, path), variant.about._replace(parent=variant.moved_to, plan_id=plan_id)), path)
    before = TomlText(saved_text(archive, name, variant.parent)[0], path)
    renumbered: dict[Path, object] = {("revision",): variant.reading.plan.revision}
    # the variant's own text with its comments; where lines moved so that this cannot hold them, the parent's
    for text, lines, values in (
        (TomlText(old, path), variant.reading.plan.lines, named),
        (parents, last.plan.lines, renumbered),
    ):
        try:
            merged = _merged_text(text, lines, result, values)
            merged = with_row_comments(TomlText(merged, path), before, parents)
        except Refusal:
            continue
        after = read_variant(archive, name, id, merged)
        if after.plan.lines == result.lines:
            text = TomlText(merged, path)
            lost, left = lost_comments(TomlText(old, path), text), new_comments(before, parents, text)
            return Carried(variant, variant.moved_to, result, merged, old, after, tuple(lost), tuple(left))
    raise Refusal(
        Fault(
            "the changes of the formula cannot be written into this file in place, because of how its rows are written",
            path,
            next=f"make a new variant of {variant.moved_to} with  fvc variant new, and the changes with  fvc set",
        )
    )


def _standing_as(plan: Plan, variant: Plan) -> Plan:
    """A plan with the status, title and code of a variant: how far a variant has come, and what it is called, is its own affair."""
    own = ("status", "title", "code")  # and the [variant] table, which is written anew
    record = {k: v for k, v in plan.record.items() if k not in (*own, "variant")} | {
        k: variant.record[k] for k in own if k in variant.record
    }
    return replace(plan, status=variant.status, title=variant.title, record=record)


def _merged_text(source: TomlText, lines: Sequence[Line], result: Merge, values: Mapping[Path, object]) -> bytes:
    """A plan's text with the lines and texts of a merge, changing no more than that."""
    edits, rows = edits_between(lines, result.lines, source)
    changed: dict[Path, object] = {**values, **rows}
    for path, value in result.texts.items():
        if _leaf(source.values, path) != value:
            changed[path] = value
    for leaf in _leaves(source.values):
        if (
            leaf not in result.texts
            and leaf[0] not in ("variant", "format", "revision")
            and not (leaf[0] == "phase" and leaf[2:3] == ("percent",))
        ):
            changed[leaf] = None
    data = edit_levels(source, edits, values=changed)
    for phase in dict.fromkeys(line.phase for line in result.lines):
        text = TomlText(data, source.name)
        wanted = [line.material for line in result.lines if line.phase == phase]
        percent = _leaf(text.values, ("phase", phase, "percent"))
        if isinstance(percent, dict) and list(percent) != wanted:
            data = reordered(text, phase, wanted)
    return data


def edits_between(before: Sequence[Line], after: Sequence[Line], source: TomlText) -> tuple[list[LevelEdit], dict[Path, object]]:
    """The edits that make lines of one plan those of another, and whole rows where a note differs; the order within a phase is for `reordered`."""
    first = {(line.phase, line.material): line for line in before}
    second = {(line.phase, line.material): line for line in after}
    edits = [LevelEdit(*key, None) for key in first if key not in second]
    rows: dict[Path, object] = {}
    for key, line in second.items():
        old = first.get(key)
        if old is None:
            edits.append(LevelEdit(*key, line.level, adds=True, note=line.note))
        elif old.note != line.note:
            path: Path = ("phase", key[0], "percent", key[1])
            there, row = _leaf(source.values, path), row_value(line.level, line.note)
            if isinstance(there, dict):  # keys that nobody here knows are kept
                known = row if isinstance(row, dict) else {"level": row}
                row = {k: v for k, v in there.items() if k not in ("level", "expect", "note")} | known
            rows[path] = row
        elif old.level != line.level:
            edits.append(LevelEdit(*key, line.level))
    return edits, rows


def _leaves(values: Mapping[str, object], above: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    out: list[tuple[str, ...]] = []
    for key, value in values.items():
        out += _leaves(value, (*above, key)) if isinstance(value, dict) else [(*above, key)]
    return out


def _leaf(values: Mapping[str, object], path: Path) -> object:
    found: object = values
    for part in path:
        if not isinstance(found, dict) or part not in found:
            return None
        found = found[part]
    return found
