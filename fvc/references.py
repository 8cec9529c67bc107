"""References: `NAME`, `NAME.4`, `NAME.before`, `NAME.2026-03-01`, `NAME.<commit>`, `NAME/VARIANT`, a trial's id.

Revision 4 is the commit that introduced 4: its plan says 4 and no parent's does, found over the
full history. Introductions with equal plans count as one; two that differ are refused with both.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from fvc.errors import Fault, Refusal
from fvc.files.parsed import Parsed
from fvc.formula import Plan
from fvc.formulary import SETTINGS_FILE, Formulary, material_path, plan_of_path, plan_path, same_bytes
from fvc.git import Begun, Change, Commit, Object, Repository, TreeEntry, begin
from fvc.names import printable, suggestion, why_not_an_id
from fvc.reading import Reading, Side
from fvc.sources import CommitSource, FolderSource, StateSource

MATERIALS = "materials"

GRAMMAR = "NAME, NAME.4, NAME.before, NAME.2026-03-01, NAME.<7 or more digits of a commit>, NAME/VARIANT, or a trial's id"

_REVISION = re.compile(r"[0-9]{1,6}")
_BEFORE = re.compile(r"before([1-9][0-9]{0,2})?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_COMMIT = re.compile(r"[0-9a-fA-F]{7,64}")
_STATED = re.compile(rb"^revision[ \t]*=[ \t]*([0-9]{1,6})[ \t]*(?:#[^\r\n]*)?\r?$", re.MULTILINE)


class Reference(NamedTuple):
    """A reference taken apart; `ending` is the text behind the dot, `""` for the folder."""

    text: str
    name: str
    variant: str = ""
    ending: str = ""

    @property
    def plan_name(self) -> str:
        """`NAME` or `NAME/VARIANT`."""
        return f"{self.name}/{self.variant}" if self.variant else self.name


def parse_reference(text: str) -> Reference:
    """Take a reference apart. Raises Refusal when it is none; nothing is looked up."""
    shown = printable(text)
    stem = re.fullmatch(r"(?:.*/)?(?:formulas|materials)/([a-z0-9-]+)\.toml|([a-z0-9-]+)\.toml", text)
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


class Touch(NamedTuple):
    """A commit that changed a plan, under the name the plan had then."""

    commit: Commit
    path: str
    before: tuple[str | None, ...]
    after: str | None


def touches_of(path: str, commits: Iterable[Commit]) -> list[Touch]:
    """Those of `commits` that changed the file at `path`; paths are relative to the formulary."""
    return [Touch(c, path, change.before, change.after) for c in commits for change in c.changes if change.path == path]


class Introduction(NamedTuple):
    """The commit in which a plan first said a revision number."""

    revision: int
    touch: Touch


def introducing(touches: list[Touch], revision_of: dict[str, int | None]) -> dict[int, list[Introduction]]:
    """Which commits introduced which number: the plan says it and no parent's plan does.

    touches: newest first. revision_of: the number each blob says, None where it cannot be read.
    """
    found: dict[int, list[Introduction]] = {}
    for touch in touches:
        number = revision_of.get(touch.after or "")
        if number is not None and all(revision_of.get(b or "") != number for b in touch.before):
            found.setdefault(number, []).append(Introduction(number, touch))
    return found


class Archive:
    """A formulary through time: the folder, and every commit of the repository around it."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.now = Formulary(FolderSource(root))
        self._trees: dict[str, dict[str, TreeEntry]] = {}
        self._parsed: dict[tuple[str, str], Parsed[object]] = {}
        self._moments: dict[str, Formulary] = {}
        self._begun: Begun | None = None
        self._blobs: dict[str, Object] = {}
        self._touches: dict[str, list[Touch]] = {}
        self._named: dict[tuple[str, str], list[Touch]] = {}
        self._stated: dict[str, int | None] = {"": None}

    @staticmethod
    def open(start: Path) -> Archive:
        """The formulary around `start`. Raises Refusal when there is none."""
        for folder in (start, *start.parents):
            if (folder / SETTINGS_FILE).exists() or (folder / "formulas").is_dir():
                return Archive(folder)
        raise Refusal(
            f"no formulary here: neither {SETTINGS_FILE} nor formulas/ in {printable(start.name) or start} or above it",
            next="make one with  fvc new formulary my-studio  or look at an example with  fvc demo",
        )

    @cached_property
    def found(self) -> Repository | Fault:
        """The repository around the formulary, or why there is none."""
        return Repository.find(self.root, self._begun)

    def begin(self, *references: str, story: bool = False) -> None:
        """Let git start answering for these references while the caller does something else, such as importing.

        story: the whole history will be asked for. It changes no result: what was not begun, or
        is not needed, is asked for or dropped later.
        """
        if self._begun is not None or "found" in self.__dict__:
            return
        try:
            taken = [parse_reference(r) for r in references if r]
            plans = [plan_path(r.name, r.variant) for r in taken if r.ending or story]
            paths = [self.concerning(p) if story else (p,) for p in dict.fromkeys(plans)]
        except Refusal:
            return  # said when it is resolved
        try:
            self._begun = begin(self.root, paths)
        except FileNotFoundError:
            return

    def concerning(self, path: str) -> tuple[str, ...]:
        """What to ask git for to tell the story of a plan: its file, the materials, the formulas that stand in it now."""
        try:
            plan = self.now.plan(*plan_of_path(path)).value
        except Refusal:
            plan = None
        ids = plan.reached() if plan else ()
        return (path, MATERIALS, *(plan_path(id) for id in ids if self.now.source.has(plan_path(id))))

    def commits(self, paths: tuple[str, ...]) -> list[Commit]:
        """Commits that changed anything under `paths` (relative to the formulary), newest first."""
        prefix = self.repository.prefix
        if self.head is None:
            return []
        return [self._inside(c) for c in self.repository.log([prefix + p for p in paths])]

    def _inside(self, commit: Commit) -> Commit:
        """A commit with the paths of its changes relative to the formulary."""
        length = len(self.repository.prefix)
        return commit._replace(changes=tuple(c._replace(path=c.path[length:]) for c in commit.changes)) if length else commit

    def known_commits(self, path: str, commits: list[Commit]) -> None:
        """Take the commits of a plan from a list that holds them all, instead of asking git again."""
        self._named.setdefault((path, "HEAD"), touches_of(path, commits))

    @property
    def repository(self) -> Repository:
        """The repository. Raises Refusal when there is none."""
        if isinstance(self.found, Fault):
            raise Refusal(self.found)
        return self.found

    @cached_property
    def head(self) -> str | None:
        """The commit last saved on this branch; None without repository or before the first save."""
        return None if isinstance(self.found, Fault) else self.found.head()

    def close(self) -> None:
        """End what was started."""
        found = self.__dict__.get("found")
        if isinstance(found, Repository):
            found.close()

    def at(self, commit: str) -> Formulary:
        """The formulary as a commit holds it."""
        if commit not in self._moments:
            if len(self._moments) > 64:  # a long history must not pile up; trees and parsed files are shared
                self._moments.clear()
            self._moments[commit] = Formulary(CommitSource(self.repository, commit, self._trees), self._parsed)
        return self._moments[commit]

    def in_state(self, files: Mapping[str, str]) -> Formulary:
        """A moment worked out from changes: some files by their blob ids."""
        return Formulary(StateSource(self.repository, files, self._blobs), self._parsed)

    def fetch(self, blobs: Iterable[str | None]) -> None:
        """Read objects with one question to git, for whoever needs them soon."""
        ids = [id for id in dict.fromkeys(blobs) if id and id not in self._blobs]
        self._blobs |= {found.id: found for found in self.repository.objects(ids) if found}

    def says_no_number(self, blob: str | None) -> None:
        """Let a text that turned out to be unreadable introduce no revision."""
        self._stated[blob or ""] = None

    # --- the commits of one plan -----------------------------------------------------------------

    def touches(self, path: str) -> list[Touch]:
        """Commits that changed the plan at `path` (relative to the formulary), newest first; renames followed."""
        if path not in self._touches:
            self._touches[path] = self._followed(path) if self.head else []
        return self._touches[path]

    def _under_this_name(self, path: str, start: str = "HEAD") -> list[Touch]:
        """Commits that changed the file while it had this name, newest first."""
        key = (path, start)
        if key not in self._named:
            log = self.repository.log([self.repository.prefix + path], start)
            self._named[key] = touches_of(path, [self._inside(c) for c in log])
        return self._named[key]

    def _followed(self, path: str) -> list[Touch]:
        """Commits under this name, then under the name before it, as far back as it goes."""
        repository, start, seen = self.repository, "HEAD", {path}
        found: list[Touch] = []
        while True:
            found += self._under_this_name(path, start)
            if not found:
                return found
            oldest = found[-1]
            full = repository.prefix + path
            old = repository.renamed_from(oldest.commit.id, full) if oldest.commit.parents and oldest.before == (None,) else None
            inside = old[len(repository.prefix) :] if old and old.startswith(repository.prefix) else None
            if inside is None or inside in seen:
                return found
            blob = repository.object(f"{oldest.commit.parents[0]}:{old}")
            found[-1] = oldest._replace(before=(blob.id if blob else None,))
            seen.add(inside)
            path, start = inside, oldest.commit.parents[0]

    def revision_in(self, blob: str | None) -> int | None:
        """The revision number that a plan's text states; None when it cannot be read."""
        key = blob or ""
        if key not in self._stated:
            found = self.repository.object(key)
            self._stated[key] = None if found is None else stated_revision(found.data)
        return self._stated[key]

    def introductions(self, path: str, wanted: int | None = None) -> dict[int, list[Introduction]]:
        """For each number the commits that introduced it, newest first.

        wanted: the only number that matters, if so: earlier names of the file are then looked up
        only when that number may have come in under one.
        """
        if wanted is not None and self.head and path not in self._touches:
            recent = self._under_this_name(path)
            found = self._introducing(recent)
            if wanted in found and all(i.touch is not recent[-1] for i in found[wanted]):
                return found
        return self._introducing(self.touches(path))

    def _introducing(self, touches: list[Touch]) -> dict[int, list[Introduction]]:
        blobs = [b for t in touches for b in (*t.before, t.after) if b and b not in self._stated]
        self.fetch(blobs)
        for id in blobs:
            self._stated[id] = stated_revision(self._blobs[id].data) if id in self._blobs else None
        return introducing(touches, self._stated)

    def _one(self, reference: Reference, found: list[Introduction]) -> Introduction:
        """The oldest of introductions that agree; Refusal naming them when they differ."""
        plans: list[tuple[Plan | None, Introduction]] = []
        for each in found:
            plan = self._parsed_in(each.touch).value
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
            next="name the one you mean by its commit, as above",
        )

    # --- resolving -------------------------------------------------------------------------------

    def resolve(self, text: str) -> Reading:
        """What a reference means, read at its moment. Raises Refusal with choices where it means none or several."""
        reference = parse_reference(text)
        if not reference.ending:
            if not reference.variant:
                trial = self._trial(reference)
                if trial is not None:
                    return trial
            return self.in_folder(reference)
        commit, path = self.commit_of(reference)
        return self.in_commit(reference, commit, path)

    def _trial(self, reference: Reference) -> Reading | None:
        trials = self.now.trials()
        exact = [t for t in trials if t[1] == reference.name]
        is_formula = reference.name in self.now.formulas()
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
        parsed = self.now.trial(formula, id)
        if parsed.value is None:
            raise Refusal(parsed.faults)
        saved = self.head is not None and self._unchanged(self.at(self.head), f"trials/{formula}/{id}.toml")
        return self.now.read_as_made(parsed.value, Side(reference.text, None, None, saved))

    def last_saved(self, reference: Reference) -> Reading:
        """The plan as last saved on this branch. Refusal when it never was."""
        path = plan_path(reference.name, reference.variant)
        _ = self.repository
        if self.head is None or self.at(self.head).source.key(path) is None:
            raise Refusal(
                f"{reference.plan_name} has not been saved yet, so there is nothing to compare it with",
                next=f"fvc revise {reference.plan_name} --reason TEXT  saves the first revision",
            )
        return self.in_commit(reference._replace(text=f"{reference.plan_name}.{self.head[:8]}"), self.head, path)

    def parent_of(self, variant: Reading) -> Reading:
        """The saved revision that a variant departs from, by its name or, when history was rewritten, by its text.

        The blob id that the variant keeps survives a rebase and a squash.
        """
        about = variant.plan.variant
        if about is None:
            raise Refusal(f"{variant.plan.id} is no variant: it has no [variant] table", next="name two references")
        reference = parse_reference(about.parent)
        try:
            named = self.resolve(about.parent)
            if not about.plan_id or named.side.commit is None:
                return named
            if self.at(named.side.commit).source.key(plan_path(reference.name, reference.variant)) == about.plan_id:
                return named
        except Refusal as refusal:
            if not about.plan_id:
                raise
            named = refusal  # type: ignore[assignment]
        for touch in self.touches(plan_path(reference.name, reference.variant)):
            if touch.after == about.plan_id:
                return self.read_at(
                    touch.commit.id, touch.path, Side(f"{reference.plan_name}.{touch.commit.id[:8]}", touch.commit.id, None, True)
                )
        if isinstance(named, Refusal):
            raise named
        return named

    def plan_of_trial(self, id: str) -> Reading:
        """The plan that a batch was made from."""
        formula = next(f for f, t in self.now.trials() if t == id)
        trial = self.now.trial(formula, id).value
        assert trial is not None
        return self.resolve(trial.plan.partition(",")[0].strip())

    def in_folder(self, reference: Reference) -> Reading:
        """The plan as it stands in the folder; needs no git."""
        if reference.name not in self.now.formulas() and not reference.variant:
            known = [*self.now.formulas(), *(t[1] for t in self.now.trials())]
            fault = self.now.no_plan(reference.name)
            path = plan_path(reference.name)
            if self.head and self.at(self.head).source.key(path) is not None:
                fault = fault._replace(next=f"it was saved before: {reference.name}.{self.head[:8]} shows it as last saved")
            elif touches := self.touches(path):
                gone = touches[0].commit
                fault = fault._replace(
                    next=f"{gone.author} took it out of the folder on {gone.day}; fvc history {reference.name}  shows what was saved"
                )
            elif "did you mean" not in fault.next and reference.name not in self.now.materials():
                fault = fault._replace(next=suggestion(reference.name, known, fault.next))
            raise Refusal(fault)
        return self.with_side(self.folder_reading(reference), reference)

    def folder_reading(self, reference: Reference) -> Reading:
        """The plan in the folder, without asking its history what it is."""
        reading = self.now.read(self.now.plan(reference.name, reference.variant), Side(reference.text))
        return replace(reading, side=reading.side._replace(revision=reading.plan.revision))

    def with_side(self, reading: Reading, reference: Reference) -> Reading:
        """The reading with what the folder's history says of it: saved, changed since, later than its revision."""
        saved = self.head is not None and not self.unsaved(reference, reading)
        later = False
        if saved and reading.plan.revision:
            path = plan_path(reference.name, reference.variant)
            later = self._later(path, path, reading.plan.revision, self.head or "")
        return replace(reading, side=Side(reference.text, None, reading.plan.revision, saved, later, not isinstance(self.found, Fault)))

    def unsaved(self, reference: Reference, reading: Reading) -> list[str]:
        """The files of a folder's plan that differ from what was last saved: the plan, and all it reaches."""
        path = plan_path(reference.name, reference.variant)
        if self.head is None:
            return [path]
        before = self.at(self.head)
        reached = [self.reached_path(id) for id in reading.records]
        return [p for p in (path, *reached) if not self._unchanged(before, p)]

    def reached_path(self, id: str) -> str:
        """Where a reached record lives: a material's file, or a nested formula's."""
        return plan_path(id) if self.now.source.has(plan_path(id)) else material_path(id)

    def _unchanged(self, before: Formulary, path: str) -> bool:
        return same_bytes(self.now.source.read(path), before.source.key(path))

    def _later(self, path: str, path_then: str, revision: int, commit: str) -> bool:
        """True when the plan in `commit` still says `revision` but is not the text that introduced it."""
        found = self.introductions(path, revision).get(revision, [])
        blob = self.at(commit).source.key(path_then)
        if any(i.touch.after == blob for i in found):
            return False
        if any(self.overlook(i.touch) for i in found):
            return self._later(path, path_then, revision, commit)
        return bool(found)

    def in_commit(self, reference: Reference, commit: str, path: str) -> Reading:
        """The plan as a commit holds it, under the path it had then."""
        if self.at(commit).source.key(path) is None:
            raise Refusal(
                Fault(
                    f"{reference.text}: {reference.plan_name} was not there in commit {commit[:8]}",
                    next=f"fvc history {reference.plan_name}  shows when it was saved",
                )
            )
        reading = self.read_at(commit, path, Side(reference.text, commit, None, True))
        now = plan_path(reference.name, reference.variant)
        later = bool(reading.plan.revision) and self._later(now, path, reading.plan.revision, commit)
        return replace(reading, side=reading.side._replace(later=later))

    def read_at(self, commit: str, path: str, side: Side) -> Reading:
        """The plan in a file of a commit, with the records of that commit. Refusal when it cannot be read."""
        try:
            return self.at(commit).read_path(path, side)
        except Refusal as refusal:
            raise Refusal(f._replace(file=f"{f.file} in commit {commit[:8]}") for f in refusal.faults) from None

    def commit_of(self, reference: Reference) -> tuple[str, str]:
        """The commit that a reference with an ending means, and the plan's path in it."""
        path, ending = plan_path(reference.name, reference.variant), reference.ending
        repository = self.repository
        if self.head is None:
            raise Refusal(
                f"{reference.text}: nothing has been saved in this repository yet", next=f"fvc revise {reference.plan_name} --reason TEXT"
            )
        if _DATE.fullmatch(ending):
            commit = self._by_date(reference)
            return commit, self._path_at(path, commit)
        if _REVISION.fullmatch(ending) or _BEFORE.fullmatch(ending):
            return self._by_number(reference, path)
        meant = repository.meant_by(ending.lower())
        if len(meant) > 1:
            raise Refusal(
                f"{reference.text}: {len(meant)} commits begin with {ending}: {', '.join(m[:12] for m in meant)}",
                next="write more of it",
            )
        if not meant:
            raise Refusal(
                f"{reference.text}: no commit begins with {ending}" + self._shallow_note(),
                next=f"fvc history {reference.plan_name}  lists them",
            )
        return meant[0], self._path_at(path, meant[0])

    def _path_at(self, path: str, commit: str) -> str:
        """The path a plan had in a commit: its present one, or an earlier name."""
        if self.at(commit).source.read(path) is not None:
            return path
        for name in dict.fromkeys(t.path for t in self.touches(path)):
            if self.at(commit).source.read(name) is not None:
                return name
        return path

    def _shallow_note(self) -> str:
        return ". This clone is shallow, so more history may exist: git fetch --unshallow" if self.repository.shallow else ""

    def _by_number(self, reference: Reference, path: str) -> tuple[str, str]:
        before = _BEFORE.fullmatch(reference.ending)
        wanted = None if before else int(reference.ending)
        found = self.introductions(path, wanted)
        numbers = sorted(n for n in found if n > 0)
        if not numbers:
            self.now.plan(reference.name, reference.variant)  # names the nearest ones when there is no such plan
            raise Refusal(
                f"{reference.text}: no revision of {reference.plan_name} has been saved yet" + self._shallow_note(),
                next=f"fvc revise {reference.plan_name} --reason TEXT  saves the first",
            )
        if before:
            back = int(before[1] or 1)
            last = self._last_saved_number(path)
            earlier = [n for n in numbers if n < last]
            if len(earlier) < back:
                raise Refusal(
                    f"{reference.text}: only {len(earlier)} revision{'s' if len(earlier) != 1 else ''} before the last saved, {last}"
                    + self._shallow_note(),
                    next=f"revisions of {reference.plan_name}: {_runs(numbers)}",
                )
            wanted = earlier[-back]
        assert wanted is not None
        while broken := [i.touch.after or "" for i in found.get(wanted, ()) if self._parsed_in(i.touch).text is None]:
            self._stated.update(dict.fromkeys(broken))  # a text that cannot be read says no number
            found = self.introductions(path)
        if wanted not in found:
            raise Refusal(
                f"{reference.text}: {reference.plan_name} has no revision {wanted}" + self._shallow_note(),
                next=f"revisions: {_runs(sorted(n for n in found if n > 0))}",
            )
        one = self._one(reference, found[wanted])
        return one.touch.commit.id, one.touch.path

    def overlook(self, touch: Touch) -> bool:
        """Let the text of a touch say no number when it cannot be read; True when that is so."""
        if touch.after is None or self._parsed_in(touch).text is not None:
            return False
        self._stated[touch.after] = None
        return True

    def _parsed_in(self, touch: Touch) -> Parsed[Plan]:
        """The plan of a touch as parsed, kept for when its moment is read."""
        return self.at(touch.commit.id).plan(*plan_of_path(touch.path))

    def _last_saved_number(self, path: str) -> int:
        assert self.head is not None
        data = self.at(self.head).source.read(path)
        stated = stated_revision(data) if data is not None else None
        if stated is None:
            return max(self.introductions(path)) + (1 if data is None else 0)
        return stated

    def _by_date(self, reference: Reference) -> str:
        day = reference.ending
        try:
            import datetime

            datetime.date.fromisoformat(day)
        except ValueError:
            raise Refusal(f"{reference.text}: there is no day {day}", next="write a date as 2026-03-01") from None
        first = ""
        for commit in self.repository.log([], first_parent=True):
            first = commit.day
            if commit.day <= day:
                return commit.id
        raise Refusal(
            f"{reference.text}: nothing was saved by {day}; the first save was on {first}" + self._shallow_note(),
            next="name a later day",
        )


def _runs(numbers: list[int]) -> str:
    """`1 to 5, 7`: sorted numbers in words."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][-1] + 1:
            runs[-1].append(n)
        else:
            runs.append([n])
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]} to {r[-1]}" for r in runs)


def stated_revision(data: bytes) -> int | None:
    """The revision number in a plan's text; 0 where it has none, None where it cannot be read.

    The number is looked up in the lines before the first heading, which is all that is needed in
    most plans; texts that could hide such a line are parsed.
    """
    head = re.split(rb"^[ \t]*\[", data, maxsplit=1, flags=re.MULTILINE)[0]
    plain = b'"""' not in head and b"'''" not in head
    stated = _STATED.findall(head) if plain else []
    if len(stated) == 1:
        return int(stated[0])
    import tomllib

    try:
        number = tomllib.loads(data.decode("utf-8-sig")).get("revision", 0)
    except (ValueError, RecursionError):
        return None
    return number if isinstance(number, int) and not isinstance(number, bool) and number >= 0 else None


__all__ = ["Archive", "Change", "Introduction", "Reference", "Touch", "parse_reference", "stated_revision"]
