"""References: `NAME`, `NAME.4`, `NAME.before`, `NAME.2026-03-01`, `NAME.<commit>`, `NAME/VARIANT`, a trial's id.

Revision 4 is the commit that introduced 4: its plan says 4 and no parent's does, found over the
full history. Introductions with equal plans count as one; two that differ are refused with both.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from fvc.archive import Archive, Introduction, stated_revision
from fvc.errors import Fault, Refusal
from fvc.formula import Plan
from fvc.formulary import plan_path, trial_path
from fvc.names import printable, suggestion, why_not_an_id
from fvc.reading import Reading, Side
from fvc.trial import Trial

GRAMMAR = "NAME, NAME.4, NAME.before, NAME.2026-03-01, NAME.<7 or more digits of a commit>, NAME/VARIANT, or a trial's id"

_REVISION = re.compile(r"[0-9]{1,6}")
_BEFORE = re.compile(r"before([1-9][0-9]{0,2})?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_COMMIT = re.compile(r"[0-9a-fA-F]{7,64}")


class Reference(NamedTuple):
    """A reference taken apart; `ending` is the text behind the dot, `""` for the folder."""

    text: str
    name: str
    variant: str = ""
    ending: str = ""

    @property
    def path(self) -> str:
        """Where the plan lives in a formulary today."""
        return plan_path(self.name, self.variant)

    @property
    def plan_name(self) -> str:
        """`NAME` or `NAME/VARIANT`."""
        return f"{self.name}/{self.variant}" if self.variant else self.name


def parse_reference(text: str) -> Reference:
    """Take a reference apart. Raises Refusal when it is none; nothing is looked up."""
    shown = printable(text)
    stem = re.fullmatch(r"(?:.*/)?(?:formulas|materials)/([a-z0-9-]+)\.toml|([a-z0-9-]+)\.toml", text) if text.endswith(".toml") else None
    if stem:
        raise Refusal(f'"{shown}" is a file, not a reference', next=f"write  {stem[1] or stem[2]}")
    head, dot, ending = text.partition(".")
    name, slash, variant = head.partition("/")
    for part, what in ((name, "name"), (variant, "variant")):
        reason = why_not_an_id(part) if part or what == "name" or slash else None
        if reason:
            raise Refusal(
                f'"{shown}" is not a reference: its {what} "{printable(part)}" is no id, {reason}', next=f"a reference is {GRAMMAR}"
            )
    if dot and not any(p.fullmatch(ending) for p in (_REVISION, _BEFORE, _DATE, _COMMIT)):
        raise Refusal(f'"{shown}" is not a reference: nothing is meant by ".{printable(ending)}"', next=f"a reference is {GRAMMAR}")
    return Reference(text, name, variant, ending)


def plans_here(archive: Archive) -> list[Reference]:
    """All plans in the folder, variants behind their formula."""
    out = []
    for formula in archive.now.formulas():
        out.append(Reference(formula, formula))
        out += [Reference(f"{formula}/{v}", formula, v) for v in archive.now.variants(formula)]
    return out


def begin(archive: Archive, *texts: str, story: bool = False) -> None:
    """Let git start answering for these references; see `Archive.begin`.

    story: the whole history of a plan will be asked for.
    """
    try:
        plans = [r.path for t in texts if t and ((r := parse_reference(t)).ending or story)]
        groups = [archive.concerning(p) if story else (p,) for p in dict.fromkeys(plans)]
    except Refusal:
        return  # said when it is resolved
    archive.begin(*groups)


def resolve(archive: Archive, text: str) -> Reading:
    """What a reference means, read at its moment. Raises Refusal with choices where it means none or several."""
    reference = parse_reference(text)
    if not reference.ending:
        if not reference.variant:
            trial = _trial(archive, reference)
            if trial is not None:
                return trial
        return in_folder(archive, reference)
    commit, path = commit_of(archive, reference)
    return in_commit(archive, reference, commit, path)


def _trial(archive: Archive, reference: Reference) -> Reading | None:
    trials = archive.now.trials()
    exact = [t for t in trials if t[1] == reference.name]
    is_formula = reference.name in archive.now.formulas()
    if exact and is_formula:
        raise Refusal(f'"{reference.name}" is both a formula and a trial', next="rename one of the two files")
    if is_formula:
        return None
    matching = exact or [t for t in trials if t[1].startswith(reference.name)]
    if not matching:
        return None
    if len(matching) > 1:
        listed = ", ".join(t[1] for t in matching[:8])
        raise Refusal(f'"{reference.text}" is the beginning of {len(matching)} trials: {listed}', next="write more of the id")
    formula, id = matching[0]
    parsed = archive.now.trial(formula, id)
    if parsed.value is None:
        raise Refusal(parsed.faults)
    saved = archive.head is not None and archive.unchanged(archive.at(archive.head), trial_path(formula, id))
    return batch_reading(archive, parsed.value, Side(reference.text, None, None, saved))


def batch_reading(archive: Archive, trial: Trial, side: Side | None = None) -> Reading:
    """A batch as it was made, read against the folder and, where it must, against history. Refusal where nothing was weighed."""
    from fvc.batches import read_batch

    def plan_of(stated: str) -> Reading | None:
        try:
            return resolve(archive, stated)
        except Refusal:
            return None

    return read_batch(archive.now, trial, side or Side(trial.id), plan_of)


def last_saved(archive: Archive, reference: Reference) -> Reading:
    """The plan as last saved on this branch. Refusal when it never was."""
    path = reference.path
    _ = archive.repository
    if archive.head is None or archive.at(archive.head).source.key(path) is None:
        raise Refusal(
            f"{reference.plan_name} has not been saved yet, so there is nothing to compare it with",
            next=f"fvc revise {reference.plan_name} --reason TEXT  saves the first revision",
        )
    return in_commit(archive, reference._replace(text=f"{reference.plan_name}.{archive.head[:8]}"), archive.head, path)


def parent_of(archive: Archive, variant: Reading) -> Reading:
    """The saved revision that a variant departs from."""
    about = variant.plan.variant
    if about is None:
        raise Refusal(f"{variant.plan.id} is no variant: it has no [variant] table", next="name two references")
    return saved_as(archive, about.parent, about.plan_id)


def plan_of_trial(archive: Archive, id: str) -> Reading:
    """The plan that a batch was made from; as last saved before, where it had changed since. A warning says where it may be another."""
    formula = next(f for f, t in archive.now.trials() if t == id)
    trial = archive.now.trial(formula, id).value
    assert trial is not None
    try:
        return saved_as(archive, trial.plan_ref, "" if "," in trial.plan else trial.plan_id, exactly=True)
    except Refusal as refusal:
        named = resolve(archive, trial.plan_ref)
        return replace(named, warnings=(*named.warnings, *refusal.faults))


def saved_as(archive: Archive, text: str, plan_id: str, *, exactly: bool = False) -> Reading:
    """What a record means by the plan that it names: by that name or, when history was rewritten since, by git's id of the plan's text.

    The id survives a rebase and a squash, and tells two plans apart that were saved under one number. Refusal where neither finds it;
    exactly: also where the name is found and stands for another text.
    """
    reference = parse_reference(text)
    named: Reading | Refusal
    try:
        named = resolve(archive, text)
        if not plan_id or named.side.commit is None:
            return named
        path = path_at(archive, reference.path, named.side.commit)
        if archive.at(named.side.commit).source.key(path) == plan_id:
            return named
    except Refusal as refusal:
        if not plan_id:
            raise
        named = refusal
    for touch in archive.touches(reference.path):
        if touch.after == plan_id:
            id = touch.commit.id
            return archive.read_at(id, touch.path, Side(f"{reference.plan_name}.{id[:8]}", id, None, True))
    if isinstance(named, Refusal):
        raise named
    if exactly:
        raise Refusal(
            f"{text} is another plan by now than the one that was meant, which is not in the history any more",
            next=f"fvc history {reference.plan_name}  lists what was saved",
        )
    return named


def in_folder(archive: Archive, reference: Reference) -> Reading:
    """The plan as it stands in the folder; needs no git."""
    if reference.name not in archive.now.formulas() and not reference.variant:
        known = [*archive.now.formulas(), *(t[1] for t in archive.now.trials())]
        fault = archive.now.no_plan(reference.name)
        path = plan_path(reference.name)
        if archive.head and archive.at(archive.head).source.key(path) is not None:
            fault = fault._replace(next=f"it was saved before: {reference.name}.{archive.head[:8]} shows it as last saved")
        elif touches := archive.touches(path):
            gone = touches[0].commit
            fault = fault._replace(
                next=f"{gone.author} took it out of the folder on {gone.day}; fvc history {reference.name}  shows what was saved"
            )
        elif "did you mean" not in fault.next and reference.name not in archive.now.materials():
            fault = fault._replace(next=suggestion(reference.name, known, fault.next))
        raise Refusal(fault)
    return with_side(archive, folder_reading(archive, reference), reference)


def folder_reading(archive: Archive, reference: Reference) -> Reading:
    """The plan in the folder, without asking its history what it is."""
    reading = archive.now.read(archive.now.plan(reference.name, reference.variant), Side(reference.text))
    return replace(reading, side=reading.side._replace(revision=reading.plan.revision))


def with_side(archive: Archive, reading: Reading, reference: Reference) -> Reading:
    """The reading with what the folder's history says of it: saved, changed since, later than its revision."""
    saved = archive.head is not None and not archive.altered(reference.path, reading)
    later = False
    if saved and reading.plan.revision:
        path = reference.path
        later = archive.is_later(path, path, reading, archive.head or "")
    return replace(reading, side=Side(reference.text, None, reading.plan.revision, saved, later, not isinstance(archive.found, Fault)))


def in_commit(archive: Archive, reference: Reference, commit: str, path: str) -> Reading:
    """The plan as a commit holds it, under the path it had then."""
    if archive.at(commit).source.key(path) is None:
        raise Refusal(
            Fault(
                f"{reference.text}: {reference.plan_name} was not there in commit {commit[:8]}",
                next=f"fvc history {reference.plan_name}  shows when it was saved",
            )
        )
    reading = archive.read_at(commit, path, Side(reference.text, commit, None, True))
    now = reference.path
    later = bool(reading.plan.revision) and archive.is_later(now, path, reading, commit)
    return replace(reading, side=reading.side._replace(later=later))


def commit_of(archive: Archive, reference: Reference) -> tuple[str, str]:
    """The commit that a reference with an ending means, and the plan's path in it."""
    path, ending = reference.path, reference.ending
    _ = archive.repository  # says why there is no history, if there is none
    if archive.head is None:
        raise Refusal(
            f"{reference.text}: nothing has been saved in this repository yet", next=f"fvc revise {reference.plan_name} --reason TEXT"
        )
    if _DATE.fullmatch(ending):
        commit = _by_date(archive, reference)
        return commit, path_at(archive, path, commit)
    if _REVISION.fullmatch(ending) or _BEFORE.fullmatch(ending):
        return _by_number(archive, reference, path)
    commit = _commit_beginning(archive, ending, f"{reference.text}: ", reference.plan_name)
    return commit, path_at(archive, path, commit)


def _commit_beginning(archive: Archive, text: str, lead: str = "", name: str = "NAME") -> str:
    """The one commit whose id begins so. Refusal, its message behind `lead`, when there are several or none."""
    meant = archive.repository.meant_by(text.lower())
    if len(meant) > 1:
        raise Refusal(f"{lead}{len(meant)} commits begin with {text}: {', '.join(m[:12] for m in meant)}", next="write more of it")
    if not meant:
        raise Refusal(f"{lead}no commit begins with {text}" + _shallow_note(archive), next=f"fvc history {name}  lists them")
    return meant[0]


def path_at(archive: Archive, path: str, commit: str) -> str:
    """The path a plan had in a commit: its present one, or an earlier name."""
    if archive.at(commit).source.read(path) is not None:
        return path
    for name in dict.fromkeys(t.path for t in archive.touches(path)):
        if archive.at(commit).source.read(name) is not None:
            return name
    return path


def _shallow_note(archive: Archive) -> str:
    return ". This clone is shallow, so more history may exist: git fetch --unshallow" if archive.repository.shallow else ""


def _by_number(archive: Archive, reference: Reference, path: str) -> tuple[str, str]:
    before = _BEFORE.fullmatch(reference.ending)
    wanted = None if before else int(reference.ending)
    found = archive.introductions(path, wanted)
    numbers = sorted(n for n in found if n > 0)
    if not numbers:
        archive.now.plan(reference.name, reference.variant)  # names the nearest ones when there is no such plan
        raise Refusal(
            f"{reference.text}: no revision of {reference.plan_name} has been saved yet" + _shallow_note(archive),
            next=f"fvc revise {reference.plan_name} --reason TEXT  saves the first",
        )
    if before:
        back = int(before[1] or 1)
        last = _last_saved_number(archive, path)
        earlier = [n for n in numbers if n < last]
        if len(earlier) < back:
            raise Refusal(
                f"{reference.text}: only {len(earlier)} revision{'s' if len(earlier) != 1 else ''} before the last saved, {last}"
                + _shallow_note(archive),
                next=f"revisions of {reference.plan_name}: {runs(numbers)}",
            )
        wanted = earlier[-back]
    assert wanted is not None
    while broken := [i.touch.after or "" for i in found.get(wanted, ()) if archive.parsed_in(i.touch).text is None]:
        for blob in broken:
            archive.says_no_number(blob)
        found = archive.introductions(path)
    if wanted not in found:
        raise Refusal(
            f"{reference.text}: {reference.plan_name} has no revision {wanted}" + _shallow_note(archive),
            next=f"revisions: {runs(sorted(n for n in found if n > 0))}",
        )
    one = _one(archive, reference, found[wanted])
    return one.touch.commit.id, one.touch.path


def _one(archive: Archive, reference: Reference, found: list[Introduction]) -> Introduction:
    """The oldest of introductions that agree; Refusal naming them when they differ."""
    plans: list[tuple[Plan | None, Introduction]] = []
    for each in found:
        plan = archive.parsed_in(each.touch).value
        if not any(each.touch.after == other.touch.after or (plan is not None and plan == known) for known, other in plans):
            plans.append((plan, each))
    if len(plans) == 1:
        return found[-1]
    listed = "\n".join(
        f"    {reference.plan_name}.{i.touch.commit.id[:8]}  {i.touch.commit.day}  {i.touch.commit.author}: {i.touch.commit.subject}"
        for _, i in plans
    )
    raise Refusal(
        f"revision {found[0].revision} of {reference.plan_name} was saved {len(plans)} times with different plans:\n{listed}",
        next="name the one you mean by its commit, as above; the next  fvc revise  takes a number of its own",
    )


def _last_saved_number(archive: Archive, path: str) -> int:
    assert archive.head is not None
    data = archive.at(archive.head).source.read(path)
    stated = stated_revision(data) if data is not None else None
    if stated is None:
        return max(archive.introductions(path)) + (1 if data is None else 0)
    return stated


def commit_since(archive: Archive, text: str) -> str:
    """The commit that `2026-03-01` (as saved by that day) or the beginning of a commit's id means. Refusal otherwise."""
    _ = archive.repository
    if archive.head is None:
        raise Refusal("nothing has been saved in this repository yet", next="save first, then there is something to compare with")
    if not text:
        return archive.head
    if _DATE.fullmatch(text):
        return _commit_by_day(archive, text, text)
    if not _COMMIT.fullmatch(text):
        raise Refusal(f'"{printable(text)}" is neither a day nor a commit', next="for example  --since 2026-03-01  or  --since 49153c5a")
    return _commit_beginning(archive, text)


def _by_date(archive: Archive, reference: Reference) -> str:
    return _commit_by_day(archive, reference.ending, reference.text)


def _commit_by_day(archive: Archive, day: str, text: str) -> str:
    try:
        import datetime

        datetime.date.fromisoformat(day)
    except ValueError:
        raise Refusal(f"{text}: there is no day {day}", next="write a date as 2026-03-01") from None
    first = ""
    for commit in archive.repository.log([], first_parent=True):
        first = commit.day
        if commit.day <= day:
            return commit.id
    raise Refusal(
        f"{text}: nothing was saved by {day}; the first save was on {first}" + _shallow_note(archive),
        next="name a later day",
    )


def runs(numbers: Sequence[int]) -> str:
    """`1 to 5, 7`: sorted numbers in words."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]} to {r[-1]}" for r in runs)


def trials_by_plan(archive: Archive, name: str) -> dict[str, tuple[Trial, ...]]:
    """The batches of a formula and its variants, by the plan they were made from (`face-toner.4`, `face-toner/gum`), oldest first."""
    found: dict[str, list[Trial]] = {}
    for formula, id in archive.now.trials():
        if formula != name:
            continue
        try:
            trial = archive.now.trial(formula, id).value
        except Refusal:
            continue  # said where trials are the matter
        if trial is None:
            continue
        stated = trial.plan_ref
        names = {stated, stated.partition(".")[0]} if "/" in stated else {stated}
        for each in names:
            found.setdefault(each, []).append(trial)
    return {plan: tuple(sorted(each, key=lambda t: t.id)) for plan, each in found.items()}
