"""The history of one plan: every commit that changed it or a record it reached, and what changed.

Newest first. A row is a revision, a plain commit (shown as `4+`), a change of records alone, or
a state that cannot be read; each says what came of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.compare.diff import LineDiff, RecordDiff, TextDiff, pair_lines, record_differences, text_differences
from fvc.errors import Refusal
from fvc.formula import Amount
from fvc.formulary import material_path, plan_path
from fvc.git import Commit
from fvc.reading import Reading, Side
from fvc.references import Archive, Reference
from fvc.weighing import parse_batch

REVISION, PLAIN, RECORDS, UNREADABLE, DELETED = "revision", "plain", "records", "unreadable", "deleted"


class Row(NamedTuple):
    """One commit in the history of a plan.

    revision: the number the plan says, None where it cannot be read. kind: see the module.
    lines: all pairs of lines against the state before; first: the plan is new here.
    problem: why the state cannot be read, or does not close.
    """

    kind: str
    revision: int | None
    commit: Commit
    reason: str
    lines: tuple[LineDiff, ...] = ()
    texts: tuple[TextDiff, ...] = ()
    records: tuple[RecordDiff, ...] = ()
    trials: tuple[str, ...] = ()
    first: bool = False
    problem: str = ""

    @property
    def label(self) -> str:
        """`4` for a revision, `4+` for what came after it, `?` where it cannot be read."""
        if self.revision is None:
            return "?"
        if self.kind == REVISION:
            return str(self.revision)
        return f"{self.revision}+" if self.revision else "-"


@dataclass(frozen=True, kw_only=True)
class Story:
    """The rows of one plan, newest first. unsaved: what the folder has changed since, if anything."""

    name: str
    title: str
    rows: tuple[Row, ...]
    unsaved: tuple[LineDiff, ...] | None
    unsaved_texts: tuple[TextDiff, ...]
    unsaved_records: tuple[RecordDiff, ...]
    shallow: bool
    now: Reading | None


def story_of(archive: Archive, reference: Reference) -> Story:
    """The history of `NAME` or `NAME/VARIANT`. Raises Refusal when there is no such plan, saved or not."""
    path = plan_path(reference.name, reference.variant)
    now, problem = _in_folder(archive, reference)
    if archive.head is None:
        if problem is not None:
            raise problem
        _ = archive.repository  # says why there is no history, if there is no repository
        return _story(archive, reference, (), now, None)
    touches = {t.commit.id: t for t in archive.touches(path)}
    if not touches:
        if problem is not None:
            raise problem
        return _story(archive, reference, (), now, None)
    introduced = {i.touch.commit.id for found in archive.introductions(path).values() for i in found}
    trials = _trials(archive, reference)
    reached = _reached(archive, [(t.commit.id, t.path) for t in touches.values() if t.after])
    rows: list[Row] = []
    names = list(dict.fromkeys(t.path for t in touches.values()))
    prefix = archive.repository.prefix
    paths = [prefix + p for p in (*names, *reached)]
    for commit in archive.repository.log(paths):
        touch = touches.get(commit.id)
        if touch is not None:
            introduces = commit.id in introduced
            rows.append(_row(archive, commit, touch.path, touch.before[0], touch.after, reference, introduces, trials))
        elif commit.changes:
            row = _records_row(archive, commit, names)
            if row is not None:
                rows.append(row)
    return _story(archive, reference, tuple(rows), now, archive.head)


def _in_folder(archive: Archive, reference: Reference) -> tuple[Reading | None, Refusal | None]:
    try:
        return archive.in_folder(reference), None
    except Refusal as refusal:
        return None, refusal


def _story(archive: Archive, reference: Reference, rows: tuple[Row, ...], now: Reading | None, head: str | None) -> Story:
    unsaved: tuple[LineDiff, ...] | None = None
    texts: tuple[TextDiff, ...] = ()
    records: tuple[RecordDiff, ...] = ()
    if now is not None and not now.side.saved:
        before = _reading(archive, head, plan_path(reference.name, reference.variant))
        unsaved = pair_lines(before.closure.amounts if before else (), now.closure.amounts, _batch(now))
        if before:
            texts = text_differences(before, now, unsaved)
            records = record_differences(before.records, now.records)
    return Story(
        name=reference.plan_name,
        title=now.plan.title if now else reference.plan_name,
        rows=rows,
        unsaved=unsaved,
        unsaved_texts=texts,
        unsaved_records=records,
        shallow=archive.repository.shallow,
        now=now,
    )


def _reading(archive: Archive, commit: str | None, path: str) -> Reading | None:
    """The plan as a commit holds it; None when it is absent or cannot be read."""
    if commit is None or archive.at(commit).source.key(path) is None:
        return None
    try:
        return archive.read_at(commit, path, Side(path, commit))
    except Refusal:
        return None


def _batch(reading: Reading) -> Fraction | None:
    try:
        return parse_batch(reading.plan.batch).grams
    except ValueError:
        return None


def _reached(archive: Archive, states: Iterable[tuple[str, str]]) -> list[str]:
    """Paths of all records that any saved state of the plan reached."""
    paths: dict[str, None] = {}
    for commit, path in states:
        reading = _reading(archive, commit, path)
        if reading is None:
            continue
        formulas = archive.at(commit).formulas()
        for id in reading.records:
            paths[plan_path(id) if id in formulas else material_path(id)] = None
    return list(paths)


def _row(
    archive: Archive,
    commit: Commit,
    path: str,
    before_blob: str | None,
    after_blob: str | None,
    reference: Reference,
    introduces: bool,
    trials: dict[int, tuple[str, ...]],
) -> Row:
    reason = reason_in(commit.subject)
    if after_blob is None:
        return Row(DELETED, archive.revision_in(before_blob), commit, reason, problem="the plan was deleted")
    try:
        after = archive.read_at(commit.id, path, Side(path, commit.id))
    except Refusal as refusal:
        return Row(UNREADABLE, None, commit, reason, problem=refusal.faults[0].message)
    parent = commit.parents[0] if commit.parents else None
    before = _reading_before(archive, parent, path, before_blob)
    lines = pair_lines(before.closure.amounts if before else (), after.closure.amounts, _batch(after))
    number = after.plan.revision
    return Row(
        REVISION if introduces and number else PLAIN,
        number,
        commit,
        reason,
        lines,
        text_differences(before, after, lines) if before else (),
        record_differences(before.records, after.records) if before else (),
        trials.get(number, ()) if introduces else (),
        first=before is None,
        problem="" if after.sound else after.faults[0].message,
    )


def _reading_before(archive: Archive, parent: str | None, path: str, blob: str | None) -> Reading | None:
    """The state before a commit; found under another name when the plan was renamed in it."""
    if parent is None or blob is None:
        return None
    folder, _, _ = path.rpartition("/")
    moment = archive.at(parent)
    if moment.source.key(path) is None:
        named = next((n for n in moment.source.names(folder) if moment.source.key(f"{folder}/{n}") == blob), None)
        path = f"{folder}/{named}" if named else path
    return _reading(archive, parent, path)


def _records_row(archive: Archive, commit: Commit, paths: list[str]) -> Row | None:
    """A commit that changed records only; None when the plan did not reach them then."""
    path = next((p for p in paths if archive.at(commit.id).source.key(p) is not None), None)
    if path is None or not commit.parents:
        return None
    after, before = _reading(archive, commit.id, path), _reading(archive, commit.parents[0], path)
    if after is None or before is None:
        return None
    changed = record_differences(before.records, after.records)
    lines = pair_lines(before.closure.amounts, after.closure.amounts, _batch(after))
    if not changed and not any(line.kind != "same" for line in lines):
        return None
    return Row(RECORDS, after.plan.revision, commit, reason_in(commit.subject), lines, (), changed)


def reason_in(subject: str) -> str:
    """The reason in a subject `NAME 4: reason`; the whole subject where it has another form."""
    head, colon, reason = subject.partition(": ")
    name, _, number = head.rpartition(" ")
    return reason if colon and name and number.isdigit() else subject


def _trials(archive: Archive, reference: Reference) -> dict[int, tuple[str, ...]]:
    """Ids of the trials of each revision, by the plan that they name."""
    found: dict[int, tuple[str, ...]] = {}
    for formula, id in archive.now.trials():
        if formula != reference.name:
            continue
        try:
            parsed = archive.now.trial(formula, id)
        except Refusal:
            continue
        name, _, number = (parsed.value.plan if parsed.value else "").partition(",")[0].rpartition(".")
        if name == reference.plan_name and number.isdigit():
            found[int(number)] = (*found.get(int(number), ()), id)
    return found


class Level(NamedTuple):
    """One step in the life of an ingredient's level. row None: the folder, not saved."""

    row: Row | None
    before: Amount | None
    after: Amount | None
    kind: str
    records: tuple[RecordDiff, ...]
    line: LineDiff | None


def trace_of(story: Story, material: str) -> list[Level]:
    """The rows in which the level, place or record of one ingredient changed, newest first.

    Raises Refusal when the plan never held it.
    """
    out: list[Level] = []
    known: dict[str, None] = {}

    def look(row: Row | None, lines: Iterable[LineDiff], records: Iterable[RecordDiff]) -> None:
        changed = tuple(r for r in records if r.material == material)
        shown = False
        for line in lines:
            known[line.line.material] = None
            if line.line.material != material or (line.kind == "same" and not line.level_changed):
                continue
            out.append(Level(row, line.before, line.after, line.kind, () if shown else changed, line))
            shown = True
        if changed and not shown:
            out.append(Level(row, None, None, "record", changed, None))

    if story.unsaved is not None:
        look(None, story.unsaved, story.unsaved_records)
    for row in story.rows:
        look(row, row.lines, row.records)
    if not out:
        from fvc.names import suggestion

        raise Refusal(
            f"{story.name} never held {material}", next=suggestion(material, known, f"its ingredients: {', '.join(sorted(known))}")
        )
    return out
