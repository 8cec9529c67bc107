"""What one side did since both had the same, and what comes of a merge: read from two commits, nothing is changed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.archive import Archive
from fvc.batch import parse_batch
from fvc.compare.diff import Diff, RecordDiff, diff, record_differences
from fvc.errors import Refusal
from fvc.files.places import MATERIAL, PLANS, TRIAL, kind_of
from fvc.formulary import SETTINGS_FILE, Formulary, material_path, plan_of_path, plan_path
from fvc.git import remote
from fvc.git.conflicts import settled_in
from fvc.git.repository import Commit
from fvc.inspection import inspect
from fvc.reading import Reading, Side
from fvc.references import Reference, folder_reading, in_commit, plans_here
from fvc.rules.basis import Basis
from fvc.rules.finding import LEVELS, NOTE, STOP, Finding
from fvc.rules.structure import FILE_RULE
from fvc.saving import next_number, plan_name
from fvc.trial import Trial
from fvc.unaltered import altered_records

# --- what one side did -------------------------------------------------------------------------------

NEW, CHANGED, GONE = "new", "changed", "gone"


class PlanWork(NamedTuple):
    """What became of a plan. commits: those that changed it, newest first; change: None for a new one, one that is gone or cannot be read."""

    name: str
    path: str
    kind: str
    commits: tuple[Commit, ...]
    before: Reading | None
    after: Reading | None
    change: Diff | None
    earlier: str = ""
    problem: str = ""


class TrialWork(NamedTuple):
    """What became of a batch. entries: how many were added; trial: None where it is gone or cannot be read."""

    id: str
    kind: str
    entries: int
    trial: Trial | None
    problem: str = ""


class RecordWork(NamedTuple):
    """What became of the record of a material; a change without differing fields is one of its lots, or of how it is written."""

    id: str
    kind: str
    changes: tuple[RecordDiff, ...]
    problem: str = ""


class Settled(NamedTuple):
    """A file of which questions were settled in a merge: who did it, the day, the file's name and a line for each question."""

    who: str
    day: str
    name: str
    lines: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Work:
    """What one side did since both had the same. commits: newest first; others: further files of the formulary; settled: in merges."""

    commits: tuple[Commit, ...]
    plans: tuple[PlanWork, ...] = ()
    trials: tuple[TrialWork, ...] = ()
    materials: tuple[RecordWork, ...] = ()
    others: tuple[str, ...] = ()
    settled: tuple[Settled, ...] = ()

    @property
    def alike(self) -> bool:
        """True when all that was done comes to what was there before."""
        return not (self.plans or self.trials or self.materials or self.others)

    @property
    def who(self) -> str:
        """The names of those who did it."""
        return listed(dict.fromkeys(c.author for c in reversed(self.commits)))


def listed(names: Iterable[str]) -> str:
    """`Ada`, `Ada and Joss`, `Ada, Joss and Mirela`."""
    *first, last = [*names] or ["somebody"]
    return f"{', '.join(first)} and {last}" if first else last


def work_between(archive: Archive, before: str | None, after: str) -> Work:
    """What was done from one commit to another; before: None for all of it."""
    repository = archive.repository
    prefix = repository.prefix
    commits = tuple(repository.log([prefix or "."], f"{before}..{after}" if before else after))
    start = before or remote.nothing(repository)
    first, second = archive.at(start), archive.at(after)
    plans, trials, materials, others = [], [], [], []
    for moved in remote.moved(repository, start, after):
        old, new = (p[len(prefix) :] if p and p.startswith(prefix) else None for p in moved)
        path = new or old
        if path is None:
            continue
        kind = GONE if new is None else CHANGED if old and kind_of(old) == kind_of(new) else NEW
        what = kind_of(path)
        if what in PLANS:
            by = (c for c in commits if any(change.path in moved for change in c.changes))
            plans.append(_plan_work(archive, path, kind, _told(by), (start, old if kind != NEW else None), (after, new)))
        elif what == TRIAL:
            trials.append(_trial_work(path, kind, first, second, old))
        elif what == MATERIAL:
            materials.append(_record_work(path, kind, first, second))
        else:
            others.append(path)
    merges = (c for c in repository.log([], f"{before}..{after}") if len(c.parents) > 1) if before else ()
    return Work(
        commits=_told(commits),
        plans=tuple(plans),
        trials=tuple(trials),
        materials=tuple(materials),
        others=tuple(others),
        settled=tuple(Settled(c.author, c.day, name, lines) for c in merges for name, lines in settled_in(c.message)),
    )


def _told(commits: Iterable[Commit]) -> tuple[Commit, ...]:
    """Without the merges, which give no reason of their own; those where there is nothing else, such as a question settled in one."""
    found = tuple(commits)
    return tuple(c for c in found if len(c.parents) < 2) or found


def _plan_work(
    archive: Archive, path: str, kind: str, commits: tuple[Commit, ...], old: tuple[str, str | None], new: tuple[str, str | None]
) -> PlanWork:
    name, earlier = plan_name(path), plan_name(old[1]) if old[1] and new[1] and old[1] != new[1] else ""
    before = after = None
    try:
        after = _reading(archive, *new)
        before = _reading(archive, *old)
    except Refusal as refusal:
        return PlanWork(name, path, kind, commits, before, after, None, earlier, refusal.faults[0].message)
    change = diff(before, after, _batch(after)) if before and after else None
    problem = after.faults[0].message if after and after.faults else ""
    return PlanWork(name, path, kind, commits, before, after, change, earlier, problem)


def _reading(archive: Archive, commit: str, path: str | None) -> Reading | None:
    return archive.read_at(commit, path, Side(f"{plan_name(path)}.{commit[:8]}", commit, None, True)) if path else None


def _batch(reading: Reading) -> Fraction | None:
    try:
        return parse_batch(reading.plan.batch).grams
    except ValueError:
        return None


def _trial_work(path: str, kind: str, first: Formulary, second: Formulary, old: str | None) -> TrialWork:
    id = path.rpartition("/")[2].removesuffix(".toml")
    if kind == GONE:
        return TrialWork(id, kind, 0, None)
    try:
        after = second.trial(*plan_of_path(path))
        before = first.trial(*plan_of_path(old)).value if old and kind == CHANGED else None
    except Refusal as refusal:
        return TrialWork(id, kind, 0, None, refusal.faults[0].message)
    if after.value is None:
        return TrialWork(id, kind, 0, None, after.faults[0].message)
    known = {e.id for e in before.entries} if before else set()
    return TrialWork(id, kind, sum(e.id not in known for e in after.value.entries), after.value)


def _record_work(path: str, kind: str, first: Formulary, second: Formulary) -> RecordWork:
    id = path.rpartition("/")[2].removesuffix(".toml")
    if kind != CHANGED:
        return RecordWork(id, kind, ())
    after, faults, records = second.ingredient(id)
    return RecordWork(id, kind, record_differences(first.ingredient(id)[2], records), faults[0].message if after is None and faults else "")


# --- what the merged state has and neither side had ----------------------------------------------------


class Found(NamedTuple):
    """Something that the checks find in the merged state of a plan, and in neither of the states that were merged."""

    plan: str
    finding: Finding


def crossed(archive: Archive, merged: str, parents: Sequence[str]) -> list[Found]:
    """What must be mended or looked at in a merged state and in none of its parents, or was less grave there.

    Only plans that are new in it: what they say or reach, or the settings they are judged by, is that of neither parent.
    """
    here, *before = (moment_of(archive, commit) for commit in (merged, *parents))
    plans = [r for r in plans_here(here) if all(_reached(here, r, here) != _reached(here, r, other) for other in before)]
    earlier: dict[tuple[str, str, str], int] = {}
    for moment in before:
        for found in findings_in(moment, [r for r in plans if moment.now.source.has(r.path)]):
            earlier[key_of(*found)] = min(earlier.get(key_of(*found), len(LEVELS)), LEVELS.index(found.finding.level))
    return [
        found
        for found in (*findings_in(here, plans), *_records(here, before))
        if found.finding.level != NOTE and LEVELS.index(found.finding.level) < earlier.get(key_of(*found), len(LEVELS))
    ]


def key_of(plan: str, finding: Finding) -> tuple[str, str, str]:
    """What stays the same of a finding when only its figures change."""
    return plan, finding.rule, finding.about or finding.where


def moment_of(archive: Archive, commit: str) -> Archive:
    """The formulary as if the folder held a commit, and nothing was saved behind it."""
    moment = Archive(archive.root)
    moment.now = archive.at(commit)
    moment.__dict__ |= {"found": archive.repository, "head": commit}  # both are worked out once and kept
    return moment


def _reached(here: Archive, reference: Reference, there: Archive) -> list[str | None]:
    """The plan, the settings and all that the plan reaches `here`, by what their files are `there`."""
    paths = [reference.path, SETTINGS_FILE]
    try:
        paths += [path for id in folder_reading(here, reference).records for path in (plan_path(id), material_path(id))]
    except Refusal:
        pass  # said by the checks
    return [there.now.source.key(path) for path in paths]


def standing(archive: Archive, commit: str, done: Work, known: Iterable[Found]) -> tuple[Found, ...]:
    """What must be mended in the plans that one side wrote, as they are at its end, and is not known yet."""
    plans = [Reference(plan.name, *plan_of_path(plan.path)) for plan in done.plans if plan.kind != GONE]
    said = {key_of(*found) for found in known}
    return tuple(f for f in findings_in(moment_of(archive, commit), plans) if f.finding.level == STOP and key_of(*f) not in said)


def findings_in(moment: Archive, plans: Sequence[Reference]) -> Iterator[Found]:
    """What the checks find in plans of one moment, and in its settings where these cannot be read."""
    try:
        basis = moment.now.settings().basis
    except Refusal as refusal:
        basis = Basis()
        for fault in refusal.faults:
            yield Found(SETTINGS_FILE, Finding(STOP, SETTINGS_FILE, "file", fault.message, FILE_RULE, fault.next))
    for each in inspect(moment, [], basis, (), plans) if plans else ():
        for finding in each.report.findings:
            yield Found(each.report.plan, finding)


def _records(here: Archive, before: Sequence[Archive]) -> Iterator[Found]:
    """Records of batches that both sides wrote to, where the merged one cannot be read or has lost something."""
    for formula, id in here.now.trials():
        path = f"trials/{formula}/{id}.toml"
        keys = {moment.now.source.key(path) for moment in (here, *before)}
        if len(keys) > len(before):
            parsed = here.now.trial(formula, id)
            broken = [Finding(STOP, path, "file", f.message, FILE_RULE, f.next) for f in parsed.faults if parsed.value is None]
            for finding in broken or altered_records(here, path):
                yield Found(id, finding)


class Both(NamedTuple):
    """A plan that both changed, as it now stands merged and not yet saved as a revision. twice: a number that two different plans bear."""

    name: str
    twice: int | None
    next: int


def both_changed(archive: Archive, head: str, joined: remote.Joined) -> Iterator[Both]:
    """The plans that both sides of a merge changed, and that are no revision at `head`."""
    repository, (one, other) = archive.repository, joined.parents[:2]
    base = remote.common(repository, one, other)
    if base is None:
        return
    sides = [{p for m in remote.moved(repository, base, side) for p in m if p} for side in (one, other)]
    for path in sorted(p[len(repository.prefix) :] for p in sides[0] & sides[1] if p.startswith(repository.prefix)):
        blobs = [archive.at(c).source.key(path) for c in (base, one, other)]
        if kind_of(path) not in PLANS or archive.at(head).source.key(path) is None:
            continue
        numbers = [archive.revision_in(blob) for blob in blobs]
        twice = numbers[1] if numbers[1] == numbers[2] != numbers[0] and blobs[1] != blobs[2] else None
        name = plan_name(path)
        try:
            if in_commit(archive, Reference(name, *plan_of_path(path)), head, path).side.later:
                yield Both(name, twice, next_number(archive, path))
        except Refusal:
            continue  # it cannot be read, which the checks say
