"""A formulary through time: the folder as it stands, every commit around it, and the revisions of a plan.

Revision 4 is the commit that introduced 4: its plan says 4 and no parent's does, found over the
full history. What git was asked and what was parsed is kept for the run.
"""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from collections.abc import Iterable, Mapping
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from fvc.errors import Fault, Refusal
from fvc.files.parsed import Parsed
from fvc.formula import Plan
from fvc.formulary import SETTINGS_FILE, Formulary, material_path, plan_of_path, plan_path, same_bytes
from fvc.git.repository import Begun, Commit, Object, Repository, begin
from fvc.names import printable
from fvc.reading import Reading, Side
from fvc.sources import CommitSource, FolderSource, StateSource, Trees

MATERIALS = "materials"

_STATED = re.compile(rb"^revision[ \t]*=[ \t]*([0-9]{1,6})[ \t]*(?:#[^\r\n]*)?\r?$", re.MULTILINE)


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

    def begin(self, *groups: tuple[str, ...]) -> None:
        """Let git start on the log of each group of paths while the caller does something else, such as importing.

        It changes no result: what was not begun, or is not needed, is asked for or dropped later.
        """
        if self._begun is None and "found" not in self.__dict__:
            with contextlib.suppress(FileNotFoundError):  # no git: said when it is needed
                self._begun = begin(self.root, groups)

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

    @property
    def lock_folder(self) -> Path:
        """Where writers meet: git's own folder; without git one in the system's temporary folder, so that nothing is left among the plans."""
        if not isinstance(self.found, Fault):
            return self.found.common_dir
        folder = Path(tempfile.gettempdir()) / f"fvc-{os.getuid() if hasattr(os, 'getuid') else 'lock'}"
        folder.mkdir(exist_ok=True)
        return folder

    def close(self) -> None:
        """End what was started."""
        found = self.__dict__.get("found")
        if isinstance(found, Repository):
            found.close()

    @cached_property
    def trees(self) -> Trees:
        """The folders of commits, each read once."""
        return Trees(self.repository)

    def at(self, commit: str) -> Formulary:
        """The formulary as a commit holds it."""
        if commit not in self._moments:
            if len(self._moments) > 64:  # a long history must not pile up; trees and parsed files are shared
                self._moments.clear()
            self._moments[commit] = self.moment(commit)
        return self._moments[commit]

    def moment(self, commit: str, alike: Formulary | None = None) -> Formulary:
        """The formulary as a commit holds it, made anew for whoever keeps it; alike as for `in_state`."""
        return Formulary(CommitSource(self.repository, commit, self.trees), self._parsed, alike)

    def in_state(self, files: Mapping[str, str], alike: Formulary | None = None) -> Formulary:
        """A moment worked out from changes: some files by their blob ids.

        alike: a moment with the same materials and nested formulas, whose readings of them are shared.
        """
        return Formulary(StateSource(self.repository, files, self._blobs), self._parsed, alike)

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

    def introductions_by_name(self, path: str) -> dict[int, list[Introduction]]:
        """The same, from the commits under the plan's present name alone: one question less to git for each of many plans."""
        return self._introducing(self._under_this_name(path)) if self.head else {}

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

    def is_later(self, path: str, path_then: str, reading: Reading, commit: str) -> bool:
        """True when the plan in `commit` still says its revision, and it or a record it reaches is not what was saved as that."""
        revision = reading.plan.revision
        found = self.introductions(path, revision).get(revision, [])
        here = self.at(commit).source
        for each in found:
            if each.touch.commit.id == commit:
                return False
            then = self.at(each.touch.commit.id)
            reached = (p for id in reading.records for p in (plan_path(id), material_path(id)))
            if each.touch.after == here.key(path_then) and all(self._same_product(then, self.at(commit), p) for p in reached):
                return False
        if any(self.overlook(each.touch) for each in found):
            return self.is_later(path, path_then, reading, commit)
        return bool(found)

    def overlook(self, touch: Touch) -> bool:
        """Let the text of a touch say no number when it cannot be read; True when that is so."""
        if touch.after is None or self.parsed_in(touch).text is not None:
            return False
        self._stated[touch.after] = None
        return True

    def parsed_in(self, touch: Touch) -> Parsed[Plan]:
        """The plan of a touch as parsed, kept for when its moment is read."""
        return self.at(touch.commit.id).plan(*plan_of_path(touch.path))

    # --- readings ---

    def read_at(self, commit: str, path: str, side: Side) -> Reading:
        """The plan in a file of a commit, with the records of that commit. Refusal when it cannot be read."""
        try:
            return self.at(commit).read_path(path, side)
        except Refusal as refusal:
            raise Refusal(f._replace(file=f"{f.file} in commit {commit[:8]}") for f in refusal.faults) from None

    def unsaved(self, path: str, reading: Reading) -> list[str]:
        """The files of the folder's plan at `path` that differ from what was last saved: the plan, and all it reaches."""
        if self.head is None:
            return [path]
        before = self.at(self.head)
        reached = [self.reached_path(id) for id in reading.records]
        return [p for p in (path, *reached) if not self.unchanged(before, p)]

    def altered(self, path: str, reading: Reading) -> list[str]:
        """Those of the unsaved files that make another product: of a material whose lots alone differ, only the shelf has changed."""
        found = self.unsaved(path, reading)
        if self.head is None:
            return found
        before = self.at(self.head)
        return [p for p in found if not self._same_product(before, self.now, p)]

    def _same_product(self, before: Formulary, after: Formulary, path: str) -> bool:
        """True when a file says the same of the product at two moments: equal bytes, or a material that differs in its lots."""
        first = before.source.key(path)
        if first is not None and first == after.source.key(path):
            return True
        if not (path.startswith(f"{MATERIALS}/") and before.source.has(path) and after.source.has(path)):
            return first is None and not after.source.has(path)
        records = [moment.ingredient(path[len(MATERIALS) + 1 : -len(".toml")])[0] for moment in (before, after)]
        plain = [{k: v for k, v in m.record.items() if k != "lot"} for m in records if m is not None]
        return len(plain) == 2 and plain[0] == plain[1]

    def reached_path(self, id: str) -> str:
        """Where a reached record lives: a material's file, or a nested formula's."""
        return plan_path(id) if self.now.source.has(plan_path(id)) else material_path(id)

    def unchanged(self, before: Formulary, path: str) -> bool:
        """True when the file in the folder is what the formulary of another moment holds."""
        return same_bytes(self.now.source.read(path), before.source.key(path))


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
