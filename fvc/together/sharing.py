"""Exchanging with another maker: connect to the place where both leave their work, see what came, merge, check, send.

Nothing is forced, rewritten or put away. A merge stands in the folder before anything is sent, so whatever ends a share,
the next one goes on from there.
"""

from __future__ import annotations

import os
import shlex
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from fvc.archive import Archive
from fvc.errors import EXIT_ANSWER_IS_NO, Fault, Refusal
from fvc.files.places import PLANS, TRIAL, kind_of
from fvc.files.writer import writing
from fvc.formulary import SETTINGS_FILE
from fvc.git import remote
from fvc.git.conflicts import unmerged
from fvc.git.remote import Link, Said
from fvc.git.repository import NO_IDENTITY, Repository
from fvc.names import printable
from fvc.rules.finding import STOP
from fvc.saving import plan_name, ready_to_save
from fvc.together.work import Both, Found, Work, both_changed, crossed, key_of, standing, work_between

TURNS = 5  # how often a share merges again because the other was faster

# --- a share -----------------------------------------------------------------------------------------

SENT, NOTHING, OPEN, HELD, KEPT, PREVIEW, AWAY = "sent", "nothing", "open", "held", "kept", "preview", "unreachable"
FORWARD, MERGE = "forward", "merge"


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """How a share went.

    state: `sent`; `nothing` (the other end has all of it); `open` (both changed the same); `held` (the merge has something
    that must be mended); `kept` (merged, and the other end did not take it: `why`); `preview` (nothing was done); `unreachable` (nothing was changed: `why`).
    merged: `forward`, `merge` or "". open: files relative to the top, None where git cannot tell ahead. unsaved: files
    in the way of a merge. standing: what must be mended in the plans that went (or would go) and is not among `found`.
    """

    state: str
    link: Link
    came: Work | None = None
    went: Work | None = None
    merged: str = ""
    open: tuple[str, ...] | None = ()
    found: tuple[Found, ...] = ()
    both: tuple[Both, ...] = ()
    unsaved: tuple[str, ...] = ()
    standing: tuple[Found, ...] = ()
    why: Fault | None = None


def ready(archive: Archive) -> Link:
    """The other end of what is saved here. Refusal where a share cannot begin, with the way to make it so."""
    repository = archive.repository
    opened = unmerged(repository)
    if opened:
        raise Refusal(open_faults(repository, opened), code=EXIT_ANSWER_IS_NO)
    if not remote.being_merged(repository):
        ready_to_save(archive)
    branch = repository.branch()
    if branch is None:
        raise Refusal("the repository is on no branch (a detached head)", next="go back with  git switch -")
    if repository.identity() is None:
        raise Refusal(NO_IDENTITY)
    if archive.head is None:
        raise Refusal("nothing has been saved here yet", next="fvc revise NAME --reason TEXT  saves a first revision")
    found = remote.link(repository, branch)
    if found is None:
        known = remote.remotes(repository)
        if not known:
            raise Refusal(
                "there is nowhere to share with yet", next="fvc connect ADDRESS  names the place where you both leave and fetch versions"
            )
        way = f"git branch --set-upstream-to=REMOTE/{branch}"
        raise Refusal(f"there are several places to share with: {', '.join(map(printable, known))}", next=f"say which one:  {way}")
    return found


def open_faults(repository: Repository, paths: Iterable[str]) -> list[Fault]:
    """What a merge left open, each with the way to settle it."""
    faults = []
    for path in paths:
        name = open_name(repository, path)
        way = f"fvc settle {name}" if name else f"edit it, then  git add {shlex.quote(path)}"
        faults.append(Fault("both of you changed the same here, and it is not settled", file=path, next=way))
    return faults


def open_name(repository: Repository, path: str) -> str:
    """The plan in a file that was left open, as `fvc settle` takes it; "" for any other file."""
    inside = path.removeprefix(repository.prefix)
    return plan_name(inside) if path.startswith(repository.prefix) and kind_of(inside) in PLANS else ""


def preview(archive: Archive, link: Link, *, ask: bool) -> Outcome:
    """What a share would bring and send; only what git fetched is new afterwards. Refusal where the other end cannot be reached."""
    archive, theirs, base = _fetched(archive, link, ask)
    head = archive.head or ""
    came = work_between(archive, base, theirs) if theirs and base and base != theirs else None
    went = work_between(archive, base, head) if base != head else None
    opened: tuple[str, ...] | None = ()
    found: list[Found] = []
    if came and went and theirs:
        tried = remote.try_merge(archive.repository, head, theirs)
        opened = tried.open if tried else None
        found = crossed(archive, tried.tree, (head, theirs)) if tried and not tried.open else []
    unsaved = _unsaved(archive.repository, base, theirs) if came and base and theirs else ()
    stands = standing(archive, head, went, found) if went else ()
    return Outcome(state=PREVIEW, link=link, came=came, went=went, open=opened, found=tuple(found), unsaved=unsaved, standing=stands)


def share(
    archive: Archive,
    link: Link,
    *,
    ask: bool,
    sure: bool = False,
    tell: Callable[[Work], object] = lambda _: None,
    note: Callable[[list[str]], object] = lambda _: None,
) -> Outcome:
    """Fetch, merge, check, send.

    ask: somebody sits at the terminal. sure: send a merge that has something to mend. tell: hears what the other did,
    before it is merged. note: hears what had to be set up. Refusal where nothing was merged.
    """
    start: str | None = None
    theirs: str | None = None
    merged, refused = "", None

    def outcome(state: str, **more: object) -> Outcome:
        came = work_between(archive, start, theirs) if start and theirs else None
        return Outcome(state=state, link=link, came=came, merged=merged, **more)  # type: ignore[arg-type]

    for _ in range(TURNS):
        try:
            archive, theirs, base = _fetched(archive, link, ask)
        except Refusal as refusal:
            if refused is None:
                raise
            return outcome(KEPT, why=refusal.faults[0])
        repository, head = archive.repository, archive.head or ""
        if refused is not None and (theirs is None or theirs == base):
            return outcome(KEPT, why=_not_taken(refused))
        if remote.being_merged(repository):
            _finish(archive, theirs)
            archive, merged = Archive(archive.root), MERGE
            repository, head = archive.repository, archive.head or ""
        elif theirs and base and base != theirs:
            start = start or base
            coming = work_between(archive, base, theirs)
            tell(coming)
            _bring(archive, link, base, theirs, coming, note)
            archive, merged = Archive(archive.root), MERGE if merged or base != head else FORWARD
            repository, head = archive.repository, archive.head or ""
            opened = unmerged(repository)
            if opened:
                return outcome(OPEN, open=tuple(opened))
        joins = remote.joined(repository, theirs, head) if theirs else []
        found = _still(archive, head, joins)
        both = tuple({b.name: b for join in joins for b in both_changed(archive, head, join)}.values())
        if any(f.finding.level == STOP for f in found) and not sure:
            return outcome(HELD, found=found, both=both)
        if theirs == head:
            return outcome(NOTHING)
        went = work_between(archive, theirs, head)
        refused = remote.send(repository, link, ask=ask)
        if refused.done:
            return outcome(SENT, went=went, found=found, both=both, standing=standing(archive, head, went, found))
    return outcome(
        KEPT, why=Fault(f"somebody else sent something {TURNS} times while this was being merged", next="fvc share  tries again")
    )


def _fetched(archive: Archive, link: Link, ask: bool) -> tuple[Archive, str | None, str | None]:
    """Fetch, and look anew: what the other end has, and what both have in common. Refusal where they share nothing."""
    said = remote.fetch(archive.repository, link, ask=ask)
    if not said.done:
        way = "look at the connection, then  fvc share  again; what you saved is safe here"
        raise _unreachable(link.remote, link.address, said, f"{way}. If the address is wrong:  git remote set-url {link.remote} ADDRESS")
    archive.close()
    archive = Archive(archive.root)
    theirs = archive.repository.commit_id(link.tracking)
    base = remote.common(archive.repository, archive.head or "", theirs) if theirs else None
    if theirs and base is None:
        raise Refusal(_unrelated(archive.repository, link.remote))
    return archive, theirs, base


class Unreachable(Refusal):
    """The other end was not reached, and nothing was changed."""


def _unreachable(name: str, address: str, said: Said, way: str) -> Unreachable:
    why = remote.why(said)
    words = f":\n    {_indented(said.unheard)}" if said.unheard and not why else ""
    return Unreachable(
        f"{printable(name)} ({printable(remote.shown(address))}) does not answer, or does not let you in{': ' if why else ''}{why}; "
        f"nothing was changed{words}",
        next=way,
    )


def _indented(words: str) -> str:
    return "\n    ".join(words.splitlines()[-12:])


def _unrelated(repository: Repository, name: str) -> Fault:
    if repository.shallow:
        return Fault("this copy holds only the end of the history, and where both parted is not in it", next="git fetch --unshallow")
    return Fault(
        f"what {printable(name)} has and what is saved here have no beginning in common, so they cannot be merged",
        next="take an empty place for this formulary; or fetch a copy of what is there, outside of this folder, with  fvc connect ADDRESS DIR",
    )


def _not_taken(said: Said) -> Fault:
    words = f":\n    {_indented(said.unheard)}" if said.unheard else ""
    return Fault(
        f"the other end did not take what you sent{words}",
        next="your work is saved and merged here; ask whoever looks after that place to let you send, then  fvc share",
    )


def _unsaved(repository: Repository, base: str, theirs: str) -> tuple[str, ...]:
    """Files with work that is not saved, which a merge would have to touch."""
    return tuple(repository.changed(list(dict.fromkeys(p for m in remote.moved(repository, base, theirs) for p in m if p))))


def _bring(archive: Archive, link: Link, base: str, theirs: str, coming: Work, note: Callable[[list[str]], object]) -> None:
    """Merge what came; Refusal with everything as it was where unsaved work is in the way, or git will not begin."""
    from fvc.together.setup import meant_for_fvc, prepare, unprepared

    repository = archive.repository
    fault = unprepared(archive)
    if fault and not meant_for_fvc(archive):  # taken away by hand, or never there: that is for the maker to decide
        if base != archive.head:
            way = f"fvc setup  then  fvc share;  or merge it yourself:  git merge {link.remote}/{link.there}  then  fvc share"
            raise Refusal(f"{fault.message}; nothing was merged", next=way)
    elif fault:
        note([f"{fault.message}. So it is set up now:", *prepare(archive, shared=False)])
    with writing(archive.lock_folder):
        faults = [
            Fault(f"has changes that are not saved, and {coming.who} changed it too", file=p, next=_way(repository, p))
            for p in _unsaved(repository, base, theirs)
        ]
        if base != archive.head and not faults:
            faults = [
                Fault(
                    "is staged in git, which merges only where nothing is",
                    file=p,
                    next=f"save it, or  git restore --staged {shlex.quote(p)}",
                )
                for p in remote.staged(repository)
            ]
        if faults:
            raise Refusal(faults)
        said = remote.merge(repository, theirs, f"Merge what {coming.who} did")
    if said.done:
        note(said.words.splitlines())
    elif not unmerged(repository):
        way = "mend what git names, then  fvc share  goes on" if remote.being_merged(repository) else "mend what git names, then try again"
        raise Refusal(f"git could not merge:\n    {_indented(said.words)}", next=way)


def not_saved(archive: Archive) -> list[Fault]:
    """The files of the formulary that differ from what was last saved, each with how to save it; none in the middle of a merge."""
    repository = archive.repository
    if repository.unfinished():
        return []
    changed = repository.changed([repository.prefix or "."])
    ours = sorted(p for p, state in changed.items() if state != "!!" and kind_of(p[len(repository.prefix) :]))
    return [Fault(path[len(repository.prefix) :], next=_way(repository, path)) for path in ours]


def _way(repository: Repository, path: str) -> str:
    """How to save one file."""
    inside = path.removeprefix(repository.prefix)
    kind = kind_of(inside) if path.startswith(repository.prefix) else ""
    if kind in PLANS:
        return f"save it:  fvc revise {plan_name(inside)} --reason TEXT"
    if kind == TRIAL:
        return f"save it:  fvc trial save {inside.rpartition('/')[2].removesuffix('.toml')}"
    return f"save it:  git add {shlex.quote(path)}  then  git commit -m TEXT {shlex.quote(path)}"


def _finish(archive: Archive, theirs: str | None) -> None:
    """Save a merge of an earlier share in which all is settled. Refusal where it is of something else."""
    repository = archive.repository
    if theirs is None or not all(remote.holds(repository, theirs, c) for c in remote.being_merged(repository)):
        raise Refusal(
            "the repository is in the middle of a merge that no share began",
            next="finish it with  git commit --no-edit  or take it back with  git merge --abort",
        )
    with writing(archive.lock_folder):
        said = remote.finish(repository)
    if not said.done:
        raise Refusal(f"git could not save the merge:\n    {_indented(said.words)}", next="mend what git names, then  fvc share  goes on")


def _still(archive: Archive, head: str, joins: Sequence[remote.Joined]) -> tuple[Found, ...]:
    """What merges that were never sent brought about, and is not mended yet."""
    found: dict[tuple[str, str, str], Found] = {}
    for join in joins:
        new = {key_of(*f): f for f in crossed(archive, join.id, join.parents)}
        if new and join.id != head:
            now = {key_of(*f) for f in crossed(archive, head, join.parents)}
            new = {key: f for key, f in new.items() if key in now}
        found |= new
    return tuple(found.values())


# --- connecting --------------------------------------------------------------------------------------

EMPTY, SAME, OTHER = "empty", "same", "other"


class Connected(NamedTuple):
    """How a formulary was connected.

    added: False where it was already. state: the other end is `empty`; has the `same` branch, which ours now follows; or has
    only `other` ones. there: its branches. prepared: what was set up.
    """

    remote: str
    address: str
    branch: str
    added: bool
    state: str
    there: tuple[str, ...]
    prepared: tuple[str, ...]


def address_of(text: str) -> str:
    """An address as git keeps it: a folder by its full path, since git reads it from elsewhere later. Refusal for what is none."""
    why = remote.why_not_an_address(text)
    if why:
        raise Refusal(
            f'"{printable(remote.shown(text))}" is no address to share through: {why}',
            next="for example  fvc connect ssh://git@host.example/studio.git  or  fvc connect ../shared.git",
        )
    return os.path.abspath(text) if remote.is_folder(text) else text


def connect(archive: Archive, address: str, *, ask: bool) -> Connected:
    """Name the other end of a formulary `origin`, and look at what is there. Refusal, with nothing set, where it does not answer or does not fit."""
    from fvc.together.setup import prepare

    repository = archive.repository
    known = remote.remotes(repository)
    name = next((n for n, a in known.items() if a == address), "origin")
    if known.get(name, address) != address:
        raise Refusal(
            f"{name} is {printable(remote.shown(known[name]))} already",
            next=f"if that place is no longer used:  git remote set-url {name} {shlex.quote(printable(remote.shown(address)))}",
        )
    branch = repository.branch()
    if branch is None:
        raise Refusal("the repository is on no branch (a detached head)", next="go back with  git switch -")
    if name not in known:
        remote.add(repository, name, address)
    try:
        there = _looked(archive, name, address, ask, kept=name in known)
    except BaseException:
        if name not in known:
            remote.remove(repository, name)
        raise
    link = remote.link(repository, branch)
    if branch in there and link and not link.following:
        remote.follow(repository, link._replace(remote=name, there=branch))
    state = SAME if branch in there else OTHER if there else EMPTY
    return Connected(name, address, branch, name not in known, state, tuple(there), tuple(prepare(archive)))


def _looked(archive: Archive, name: str, address: str, ask: bool, *, kept: bool) -> list[str]:
    """The branches of the other end. Refusal where it does not answer, or where none of them began as ours did."""
    repository = archive.repository
    said = remote.fetch_all(repository, name, ask=ask)
    if not said.done:
        way = "look at the address and the connection, then  fvc connect ADDRESS  again; "
        way += f"{name} stays what it was:  git remote set-url {name} ADDRESS  changes it" if kept else "this one was not kept"
        raise _unreachable(name, address, said, way)
    there, ours = remote.branches(repository, name), repository.branch()
    tips = [f"refs/remotes/{name}/{b}" for b in ([ours] if ours in there else there)]
    if tips and not (archive.head and any(remote.common(repository, archive.head, tip) for tip in tips)):
        raise Refusal(_unrelated(repository, name))
    return there


class Copied(NamedTuple):
    """A copy that was fetched: its formularies, and what was set up in them."""

    folder: Path
    formularies: tuple[Path, ...]
    prepared: tuple[str, ...]


def copy(address: str, folder: Path, *, ask: bool) -> Copied:
    """Fetch a copy of a formulary into a folder that is empty or not there. Refusal, with nothing left behind, where that cannot be."""
    from fvc.together.setup import prepare

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Refusal(
            f"{printable(str(folder))} has something in it already",
            next=f"name another folder:  fvc connect {shlex.quote(printable(remote.shown(address)))} DIR",
        )
    fresh = not folder.exists()
    said = remote.clone(address, folder, ask=ask)
    if not said.done:
        raise _unreachable("the place", address, said, "look at the address and the connection, then  fvc connect ADDRESS DIR  again")
    repository = Repository.find(folder)
    if isinstance(repository, Fault):
        raise Refusal(repository)
    if repository.head() is None:
        there = remote.branches(repository, "origin")
        if not there:
            shutil.rmtree(folder / ".git")
            if fresh:
                folder.rmdir()
            raise Refusal(
                "nothing is there yet, so there is nothing to copy",
                next="in the folder of your formulary:  fvc connect ADDRESS  then  fvc share  sends it there",
            )
        if len(there) > 1:
            ways = " or ".join(f"git switch {shlex.quote(b)}" for b in there)
            raise Refusal(
                f"a copy is in {printable(str(folder))}, but the place does not say which of its branches is meant",
                next=f"in that folder:  {ways},  then  fvc setup",
            )
        repository.must("switch", "--quiet", there[0])
    repository.close()
    found = [folder / p for p in remote.files_called(repository, SETTINGS_FILE)]
    done = [line for file in found for line in prepare(Archive(file.parent.resolve()), shared=False)]
    return Copied(folder, tuple(file.parent for file in found), tuple(done))
