"""Saving a revision: the plan and every changed record it reaches, as one commit with its reason."""

from __future__ import annotations

import contextlib
import shlex
from collections.abc import Sequence
from dataclasses import dataclass

from fvc.archive import Archive, stated_revision
from fvc.batch import parse_batch
from fvc.compare.diff import Diff, diff
from fvc.compare.summary import net_change
from fvc.errors import Fault, Refusal
from fvc.files.editor import edit_levels
from fvc.files.toml_text import TomlText
from fvc.files.writer import replaced, writing
from fvc.formula import Plan
from fvc.formulary import SETTINGS_FILE, plan_of_path
from fvc.git.conflicts import unmerged
from fvc.git.repository import NO_IDENTITY
from fvc.reading import Reading, Side
from fvc.record import flatten
from fvc.references import Reference, folder_reading, in_commit, in_folder, plans_here


@dataclass(frozen=True, kw_only=True, eq=False)
class Saved:
    """A revision that was saved.

    change: against the last saved plan, None for a first one. paths: what the commit holds.
    others: other plans that use a record which changed. base: the revision that was the last.
    """

    name: str
    revision: int
    commit: str
    change: Diff | None
    paths: tuple[str, ...]
    others: tuple[str, ...]
    warnings: tuple[Fault, ...]
    renamed_from: str = ""


def revise(archive: Archive, reference: Reference, reason: str, *, locked: bool = False, also: Sequence[str] = ()) -> Saved | None:
    """Save `NAME` or `NAME/VARIANT` from the folder; None when there is nothing to save.

    locked: the caller holds the writers' lock already. also: other files that belong to this step and are saved with it.
    Raises Refusal for an empty reason, a plan that is not sound, a locked plan, a nested formula
    with unsaved edits, or a repository that cannot be saved to; the folder is then as it was.
    """
    if not reason.strip():
        raise Refusal("the reason is empty", next='say in a few words why:  --reason "less sticky: propanediol down"')
    if reference.ending:
        raise Refusal(f"{reference.text} is a saved state; a revision is saved from the folder", next=f"fvc revise {reference.plan_name}")
    ready_to_save(archive)
    with contextlib.nullcontext() if locked else writing(archive.repository.common_dir):
        return _revise(archive, reference, " ".join(reason.split()), also)


def ready_to_save(archive: Archive) -> None:
    """Raise Refusal where git would not take a save: mid-merge, detached, without identity."""
    repository = archive.repository
    unfinished = repository.unfinished()
    if unfinished:
        raise Refusal(f"the repository is in the middle of {unfinished}", next=_way_on(archive, unfinished))
    if repository.branch() is None:
        raise Refusal(
            "the repository is at an old commit, not on a branch (a detached head), where a save would be lost",
            next="go back with  git switch -  or keep this state with  git switch -c NEW-NAME",
        )
    if repository.identity() is None:
        raise Refusal(NO_IDENTITY)


def _way_on(archive: Archive, unfinished: str) -> str:
    """How to come out of the middle of what git has not finished."""
    prefix = archive.repository.prefix
    opened = [path.removeprefix(prefix) for path in unmerged(archive.repository) if path.startswith(prefix)]
    if opened:
        names = [plan_name(path) if path.startswith(("formulas/", "variants/")) else path for path in sorted(opened)]
        return "decide what both changed:  " + ",  ".join(f"fvc settle {shlex.quote(name)}" for name in names)
    if unfinished == "a merge":
        return "nothing is open any more:  fvc settle  saves it;  git merge --abort  takes it back"
    return "finish it or take it back with git first (git status says how)"


def _revise(archive: Archive, reference: Reference, reason: str, also: Sequence[str]) -> Saved | None:
    repository = archive.repository
    path = reference.path
    reading = in_folder(archive, reference)
    if not reading.sound:
        raise Refusal(reading.faults)
    paths = [path, *(archive.reached_path(id) for id in reading.records)]
    changed = [p[len(repository.prefix) :] for p in repository.changed([repository.prefix + p for p in paths])]
    nested = [p for p in changed if p.startswith("formulas/") and p != path]
    if nested:
        names = [p.removeprefix("formulas/").removesuffix(".toml") for p in nested]
        raise Refusal(
            [
                Fault(
                    f"{name} stands in {reference.plan_name} and has unsaved edits",
                    file=p,
                    next=f"save it first:  fvc revise {name} --reason TEXT",
                )
                for name, p in zip(names, nested, strict=True)
            ]
        )
    if not changed and not reading.side.later:  # what was merged, or saved with git alone, still bears the number of another plan
        return None
    earlier = renamed_from(archive, path)
    before = saved_reading(archive, reference, earlier)
    if before is not None and before.plan.status == "locked":
        check_locked(before, reading, [p for p in changed if p != path])
    number = next_number(archive, earlier or path)
    old = archive.now.source.read(path)
    assert old is not None
    new = edit_levels(TomlText(old, path), (), revision=number)
    change = diff(before, reading, parse_batch(reading.plan.batch).grams) if before is not None else None
    message = revision_message(reference.plan_name, number, reason, reading, change, earlier)
    saved_paths = list(dict.fromkeys([path, *([earlier] if earlier else []), *changed, *also]))
    with replaced(archive.root / path, new, old, path, repository.git_dir) as waiting:
        commit = repository.save([repository.prefix + p for p in saved_paths], message)
        waiting.stopped = False  # too late for Ctrl-C: it is saved, and that is said
    others = users_of(archive, changed, path)
    return Saved(
        name=reference.plan_name,
        revision=number,
        commit=commit,
        change=change,
        paths=tuple(saved_paths),
        others=others,
        warnings=reading.warnings,
        renamed_from=plan_name(earlier) if earlier else "",
    )


def renamed_from(archive: Archive, path: str) -> str | None:
    """The file that the plan at `path` was until it was renamed in the folder; None for one that is really new.

    It is a file beside it that was saved, is gone from the folder, and shares at least half of its
    lines, which is also from where on git takes two files for one.
    """
    if archive.head is None or archive.at(archive.head).source.has(path):
        return None
    folder = path.rpartition("/")[0]
    last, now = archive.at(archive.head).source, archive.now.source
    gone = [f"{folder}/{n}" for n in last.names(folder) if n.endswith(".toml") and not now.has(f"{folder}/{n}")]
    if not gone:
        return None
    from difflib import SequenceMatcher

    mine = (now.read(path) or b"").splitlines()
    alike = {p: SequenceMatcher(None, mine, (last.read(p) or b"").splitlines()).ratio() for p in gone}
    best = max(alike, key=lambda p: alike[p])
    return best if alike[best] >= 0.5 else None


def plan_name(path: str) -> str:
    """`NAME` or `NAME/VARIANT` of a plan's file."""
    return "/".join(part for part in plan_of_path(path) if part)


def settings_unsaved(archive: Archive) -> Fault | None:
    """A word about formulary.toml where it is not saved as it stands: a revision takes along only what its plan reaches."""
    if isinstance(archive.found, Fault) or not archive.now.source.has(SETTINGS_FILE):
        return None
    if archive.head is not None and archive.unchanged(archive.at(archive.head), SETTINGS_FILE):
        return None
    others = " schemas" if archive.now.source.has("schemas") else ""
    return Fault(
        f"{SETTINGS_FILE} is not saved as it stands; a copy of the formulary for somebody else would lack it",
        next=f"type\n    git add {SETTINGS_FILE}{others}\n    git commit -m Settings {SETTINGS_FILE}{others}",
    )


def revision_message(name: str, number: int, reason: str, after: Reading, change: Diff | None, earlier: str | None = None) -> str:
    """`NAME N: reason`, and the net change as body."""
    if change is None:
        body = [f"first saved plan, {len(after.closure.amounts)} lines"]
    else:
        body = net_change(change.lines, change.materials_changed, change.text)
        if change.order:
            body.append("the order of lines changed")
    if earlier:
        body.insert(0, f"renamed from {plan_name(earlier)}")
    return f"{name} {number}: {reason}\n\n" + "\n".join(body or ["no change of a level"]) + "\n"


def saved_reading(archive: Archive, reference: Reference, earlier: str | None = None) -> Reading | None:
    """The plan as last saved on this branch, `earlier` being its file then if it has been renamed since.

    Where that cannot be read, the newest saved state that can be; None when there is none.
    """
    path = earlier or reference.path
    if archive.head is None or archive.at(archive.head).source.key(path) is None:
        return None
    try:
        return in_commit(archive, Reference(reference.plan_name, reference.name, reference.variant), archive.head, path)
    except Refusal:
        for touch in archive.touches(path):
            try:
                if touch.after:
                    return archive.read_at(touch.commit.id, touch.path, Side(reference.plan_name, touch.commit.id, None, True))
            except Refusal:
                continue
        return None


def changed_fields(before: Plan, after: Plan) -> list[str]:
    """What differs in the texts of two plans, as dotted paths, but for the status and the revision number."""
    skip = {"status", "revision"}
    first = {k: v for k, v in flatten(before.record).items() if k not in skip}
    second = {k: v for k, v in flatten(after.record).items() if k not in skip}
    fields = [k for k in dict.fromkeys([*first, *second]) if first.get(k) != second.get(k)]
    return fields or (["the order of lines"] if before.lines != after.lines else [])


def locked_and_changed(archive: Archive, reference: Reference, plan: Plan) -> tuple[str, ...] | None:
    """What changed in the folder's plan since it was saved as locked; None where it was not, or nothing can tell."""
    path = reference.path
    if isinstance(archive.found, Fault) or archive.head is None:
        return None
    try:
        if archive.unchanged(archive.at(archive.head), path):
            if plan.status != "locked":
                return None
            found = archive.introductions_by_name(path).get(plan.revision, ())  # a plain commit may have changed it since
            saved = archive.parsed_in(found[-1].touch).value if found else None
        else:
            saved = archive.at(archive.head).plan(reference.name, reference.variant).value
    except Refusal:
        return None
    return tuple(changed_fields(saved, plan)) if saved and saved.status == "locked" else None


def check_locked(before: Reading, after: Reading, records: list[str]) -> None:
    """Refuse any change of a plan that was saved as locked, except of its status."""
    fields = [*changed_fields(before.plan, after.plan), *records]
    if fields:
        raise Refusal(
            f"{after.plan.id} is locked as revision {before.plan.revision}: only its status may change, and {', '.join(fields[:4])} did",
            next='put that back, or save status = "chosen" first and then change it',
        )


def next_number(archive: Archive, path: str) -> int:
    """One more than any number this plan was ever saved under."""
    known = list(archive.introductions(path)) if archive.head else []
    data = archive.at(archive.head).source.read(path) if archive.head else None
    stated = stated_revision(data) if data is not None else None
    return 1 + max([*known, stated or 0, 0])


def users_of(archive: Archive, records: list[str], path: str) -> tuple[str, ...]:
    """Other plans in the folder that use one of these records, the plan at `path` among them; unreadable ones are passed over."""
    ids = {p.removeprefix("materials/").removeprefix("formulas/").removesuffix(".toml") for p in records}
    users = []
    for reference in plans_here(archive):
        if reference.path == path:
            continue
        try:
            reading = folder_reading(archive, reference)
        except Refusal:
            continue
        if ids & set(reading.records):
            users.append(reference.plan_name)
    return tuple(users)
