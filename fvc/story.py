"""The history of one plan: every commit that changed it or a record it reached, and what changed.

Newest first. A row is a revision, a plain commit (shown as `4+`), a change of records alone, or
a state that cannot be read; each says what came of it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.archive import Archive
from fvc.batch import parse_batch
from fvc.chronicle import Chronicle
from fvc.compare.diff import LineDiff, RecordDiff, TextDiff, pair_lines, record_differences, text_differences
from fvc.errors import Fault, Refusal
from fvc.formula import Amount
from fvc.git.repository import Commit
from fvc.reading import Reading, Side
from fvc.references import Reference, in_folder, trials_by_plan
from fvc.trial import Trial

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
    trials: tuple[Trial, ...] = ()
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


@dataclass(frozen=True, kw_only=True, eq=False)
class Story:
    """The rows of one plan, newest first. unsaved: what the folder has changed since, if anything.

    problems: why the plan in the folder cannot be read, or does not close.
    """

    name: str
    title: str
    rows: tuple[Row, ...]
    unsaved: tuple[LineDiff, ...] | None
    unsaved_texts: tuple[TextDiff, ...]
    unsaved_records: tuple[RecordDiff, ...]
    shallow: bool
    now: Reading | None
    problems: tuple[Fault, ...] = ()


def story_of(archive: Archive, reference: Reference) -> Story:
    """The history of `NAME` or `NAME/VARIANT`. Raises Refusal when there is no such plan, saved or not."""
    path = reference.path
    chronicle = None if isinstance(archive.found, Fault) or archive.head is None else Chronicle(archive, path)
    now, problem = _in_folder(archive, reference)
    if problem is not None and not (chronicle and chronicle.touches):
        raise problem
    if chronicle is None:
        _ = archive.repository  # says why there is no history, if there is no repository
        return _story(archive, reference, (), now, None, problem)
    rows = [row for index in range(len(chronicle.commits)) if (row := _row(archive, chronicle, index)) is not None]
    _name_revisions(archive, path, rows, _trials(archive, reference))
    return _story(archive, reference, tuple(rows), now, archive.head, problem)


def _name_revisions(archive: Archive, path: str, rows: list[Row], trials: dict[int, tuple[Trial, ...]]) -> None:
    """Tell the rows that introduced a number from plain ones, and add what was tried of each."""
    introduced = {i.touch.commit.id for found in archive.introductions(path).values() for i in found}
    for index, row in enumerate(rows):
        if row.kind == PLAIN and row.revision and row.commit.id in introduced:
            rows[index] = row._replace(kind=REVISION, trials=trials.get(row.revision, ()))


def _in_folder(archive: Archive, reference: Reference) -> tuple[Reading | None, Refusal | None]:
    try:
        return in_folder(archive, reference), None
    except Refusal as refusal:
        return None, refusal


def _story(
    archive: Archive, reference: Reference, rows: tuple[Row, ...], now: Reading | None, head: str | None, problem: Refusal | None
) -> Story:
    unsaved: tuple[LineDiff, ...] | None = None
    texts: tuple[TextDiff, ...] = ()
    records: tuple[RecordDiff, ...] = ()
    if now is not None and not now.side.saved:
        before = _reading(archive, head, reference.path)
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
        problems=problem.faults if problem else now.faults if now else (),
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


def _row(archive: Archive, chronicle: Chronicle, index: int) -> Row | None:
    """What one commit did to the plan, or to what it reached; None when it did nothing to it."""
    commit = chronicle.commits[index]
    touch = chronicle.touches.get(commit.id)
    reason = reason_in(commit.subject)
    if touch is None and not chronicle.concerns(index):
        return None
    if touch is not None and touch.after is None:
        return Row(DELETED, archive.revision_in(touch.before[0]), commit, reason, problem="the plan was deleted")
    after, before = chronicle.after(index), chronicle.before(index)
    if not isinstance(after, Reading):
        if touch is None or after is None:
            return None
        if chronicle.is_broken(index):
            archive.says_no_number(touch.after)
        return Row(UNREADABLE, None, commit, reason, problem=after.faults[0].message)
    skipped = before is None and chronicle.was_unreadable(index)
    if skipped:
        before = chronicle.last_readable(index)
    lines = pair_lines(before.closure.amounts if before else (), after.closure.amounts, _batch(after))
    records = record_differences(before.records, after.records) if before else ()
    if touch is None:
        if before is None or not (records or any(line.kind != "same" for line in lines)):
            return None
        return Row(RECORDS, after.plan.revision, commit, reason, lines, (), records)
    return Row(
        PLAIN,
        after.plan.revision,
        commit,
        reason,
        lines,
        text_differences(before, after, lines) if before else (),
        records,
        first=before is None,
        problem=after.faults[0].message if not after.sound else "compared with the last state that can be read" if skipped else "",
    )


def reason_in(subject: str) -> str:
    """The reason in a subject `NAME 4: reason`; the whole subject where it has another form."""
    head, colon, reason = subject.partition(": ")
    name, _, number = head.rpartition(" ")
    return reason if colon and name and number.isdigit() else subject


def _trials(archive: Archive, reference: Reference) -> dict[int, tuple[Trial, ...]]:
    """The trials of each revision, by the plan that they name."""
    found: dict[int, tuple[Trial, ...]] = {}
    for plan, trials in trials_by_plan(archive, reference.name).items():
        name, _, number = plan.rpartition(".")
        if name == reference.plan_name and number.isdigit():
            found[int(number)] = trials
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
