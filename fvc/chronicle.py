"""The commits that concern one plan, and the formulary before and after each of them.

A commit concerns a plan when it changed the plan, under any name it had, or something that the
plan reached. Where the history is one line, each state is worked out from the next newer one by
taking back what the commit changed, so that no tree is read per commit. Where people worked side
by side, each state is read from its own commit; that shows in a merge, or, where both sides came to
the same and the merge is no commit of this plan, in a change that does not lead to the state it
should lead to.
"""

from __future__ import annotations

from collections.abc import Iterator

from fvc.archive import MATERIALS, Archive, Touch
from fvc.errors import Refusal
from fvc.formula import Plan
from fvc.formulary import Formulary, plan_of_path, plan_path
from fvc.reading import Reading, Side


class Chronicle:
    """The concerning commits of the plan at `path`, newest first, with the readings around each."""

    def __init__(self, archive: Archive, path: str) -> None:
        """Ask git, once where the plan kept its name and reached the same formulas all the time."""
        self.archive = archive
        asked = archive.concerning(path)
        while True:
            self.commits = archive.commits(asked)
            archive.known_commits(path, self.commits)
            self.touches: dict[str, Touch] = {t.commit.id: t for t in archive.touches(path)}
            archive.fetch(t.after for t in self.touches.values())
            self.names = tuple(dict.fromkeys([path, *(t.path for t in self.touches.values())]))
            self._moments = self._along_one_line(asked) if all(len(c.parents) < 2 for c in self.commits) else []
            self._own: dict[str, Formulary] = {}
            self._others = tuple(p for p in asked if p != MATERIALS and p not in self.names)
            self._alike: dict[tuple[object, ...], Formulary] = {}
            if not self._moments:
                folders = (MATERIALS, *dict.fromkeys(p.rpartition("/")[0] for p in asked if p != MATERIALS))
                archive.trees.fetch((i for c in self.commits for i in (c.id, *c.parents[:1])), folders)
            self._readings: dict[tuple[int, str], Reading | Refusal | None] = {}
            needed = (*dict.fromkeys((*asked, *self.names, *self._formulas_reached())),)
            if needed == asked:
                return
            asked = needed

    # --- the moments: number i is after commit i, number i + 1 before it ---------------------------

    def _along_one_line(self, asked: tuple[str, ...]) -> list[Formulary | None]:
        """All moments, each from the next newer one; empty when the changes do not follow from one another."""
        archive = self.archive
        files: dict[str, str] = {}
        assert archive.head is not None
        newest = archive.at(archive.head).source
        for name in newest.names(MATERIALS):
            files[f"{MATERIALS}/{name}"] = newest.key(f"{MATERIALS}/{name}") or ""
        for path in asked[:1] + asked[2:]:
            if key := newest.key(path):
                files[path] = key
        moments: list[Formulary | None] = [archive.in_state(files)]
        for commit in self.commits:
            files = dict(files)
            for change in commit.changes:
                if files.get(change.path) != change.after:
                    return []
                if change.before[0] is None:
                    files.pop(change.path, None)
                else:
                    files[change.path] = change.before[0]
            only_the_plan = all(change.path in self.names for change in commit.changes)
            moments.append(archive.in_state(files, moments[-1] if only_the_plan else None))
        return moments

    def _moment(self, index: int, before: bool) -> Formulary | None:
        if self._moments:
            return self._moments[index + before]
        commit = self.commits[index]
        if not before:
            return self._at(commit.id)
        return self._at(commit.parents[0]) if commit.parents else None

    def _at(self, commit: str) -> Formulary:
        """A moment of its own commit; moments with the same materials and nested formulas share their readings of them."""
        if commit not in self._own:
            formulas = self.archive.trees.folder(commit, "formulas")
            others = (formulas.get(p.rpartition("/")[2]) for p in self._others)
            key = (id(self.archive.trees.folder(commit, MATERIALS)), *others)
            self._own[commit] = self.archive.moment(commit, self._alike.get(key))
            self._alike.setdefault(key, self._own[commit])
        return self._own[commit]

    # --- readings ------------------------------------------------------------------------------

    def after(self, index: int) -> Reading | Refusal | None:
        """The plan after commit number `index`; a Refusal when it cannot be read, None when it is not there."""
        return self._reading(index, before=False)

    def before(self, index: int) -> Reading | None:
        """The plan before commit number `index`, under the name it had then; None when there was none to read."""
        found = self._reading(index, before=True)
        return None if isinstance(found, Refusal) else found

    def last_readable(self, index: int) -> Reading | None:
        """The newest state older than commit number `index` that can be read."""
        older = range(index + 1, len(self.commits))
        return next((r for i in older if self.commits[i].id in self.touches and isinstance(r := self.after(i), Reading)), None)

    def was_unreadable(self, index: int) -> bool:
        """True when there was a plan before commit number `index`, and it cannot be read."""
        return isinstance(self._reading(index, before=True), Refusal)

    def _reading(self, index: int, *, before: bool) -> Reading | Refusal | None:
        key = (index + before, "") if self._moments else (index, "before" if before else "after")
        if key not in self._readings:
            self._readings[key] = self._read(self._moment(index, before))
        return self._readings[key]

    def _read(self, moment: Formulary | None) -> Reading | Refusal | None:
        path = next((p for p in self.names if moment and moment.source.key(p) is not None), None)
        if moment is None or path is None:
            return None
        try:
            return moment.read_path(path, Side(path))
        except Refusal as refusal:
            return refusal

    def is_broken(self, index: int) -> bool:
        """True when the plan after commit number `index` is no TOML, so that it cannot say a number."""
        touch, moment = self.touches[self.commits[index].id], self._moment(index, before=False)
        try:
            return moment is not None and touch.after is not None and moment.plan(*plan_of_path(touch.path)).text is None
        except Refusal:
            return True

    def concerns(self, index: int) -> bool:
        """False for a commit that changed only records which the plan did not reach then."""
        commit = self.commits[index]
        if commit.id in self.touches:
            return True
        after = self.after(index)
        if not isinstance(after, Reading):
            return False
        before = self.before(index)
        reached = {*after.records, *(before.records if before else ())}
        return any(c.path.rpartition("/")[2].removesuffix(".toml") in reached for c in commit.changes)

    # --- nested formulas -----------------------------------------------------------------------

    def _formulas_reached(self) -> Iterator[str]:
        """Paths of the formulas that stood in the plan, or in one of those, at any time."""
        for index, commit in enumerate(self.commits):
            moment = self._moment(index, before=False)
            if commit.id not in self.touches or moment is None:
                continue
            for name in self.names:
                if moment.source.has(name):
                    yield from self._nested(moment, name, (name,))
                    break

    def _nested(self, moment: Formulary, path: str, trail: tuple[str, ...]) -> Iterator[str]:
        plan = self._plan(moment, path)
        for id in plan.reached() if plan else ():
            inner = plan_path(id)
            # not a material then, so a formula, or nothing at all, which asking for does no harm
            if not moment.source.has(f"{MATERIALS}/{id}.toml") and inner not in trail:
                yield inner
                if moment.source.has(inner):
                    yield from self._nested(moment, inner, (*trail, inner))

    @staticmethod
    def _plan(moment: Formulary, path: str) -> Plan | None:
        try:
            return moment.plan(*plan_of_path(path)).value
        except Refusal:
            return None
