"""Settling a file that two people both changed: its open questions, each with what either has and why, and the text that comes of the answers."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import NamedTuple

from fvc.amounts import shown
from fvc.archive import Archive
from fvc.compare.merge import TOTAL, Answer, Decision, Merge, Three
from fvc.compare.ordering import FIRST, SECOND
from fvc.errors import Fault, Refusal
from fvc.files.joining import Joined, Side, join
from fvc.files.markers import marked
from fvc.files.places import MATERIAL, PLANS, TRIAL, kind_of
from fvc.files.plans import read_plan
from fvc.files.rows import OddLayout
from fvc.files.writer import replace
from fvc.formula import close
from fvc.git import remote
from fvc.git.conflicts import Coming, Stages, author_of, coming, last_change, settled, text_merge, unmerged, with_markers
from fvc.names import printable, suggestion
from fvc.saving import plan_name
from fvc.story import reason_in

REMOVED = "file"  # the question about a file that one side took away
_LABEL = re.compile(rb"^(<{7}|\|{7}|>{7})[^\r\n]*", re.MULTILINE)


class Person(NamedTuple):
    """One side: what it is called, and why and when its file was last changed."""

    name: str
    reason: str = ""
    day: str = ""


class Open(NamedTuple):
    """A file that a merge left open. name: what it is called on the command line. path: relative to the formulary."""

    name: str
    path: str
    stages: Stages


class Settling(NamedTuple):
    """A file with its questions as far as they are answered.

    texts: of the shared file and both sides. joined: None where one side took the file away. data: the settled bytes, b"" for a file that goes, None while something is open.
    before: the bytes on the disk, None where there is no file.
    """

    open: Open
    texts: Three[bytes]
    people: tuple[Person, Person]
    coming: Coming
    joined: Joined | None
    questions: tuple[Decision, ...]
    data: bytes | None
    before: bytes | None


def total_of(data: bytes, merge: Merge) -> str | None:
    """The total of a plan that is about to be written; None where a ratio by function keeps it from being told from the file."""
    plan = read_plan(data, "", "plan", variant=b"[variant]" in data).value
    if plan is None or any(line.level.function for line in plan.lines):
        return shown(merge.closure.total, merge.closure.decimals) if plan and plan.lines == merge.lines else None
    closure = close(plan, {})
    return shown(closure.total, closure.decimals)


def merging(archive: Archive) -> bool:
    """True in the middle of a merge."""
    return coming(archive.repository).what == "merge"


def open_files(archive: Archive) -> list[Open]:
    """The files of the formulary that a merge left open."""
    prefix = archive.repository.prefix
    found = [(path[len(prefix) :], stages) for path, stages in unmerged(archive.repository).items() if path.startswith(prefix)]
    return [Open(_name(path), path, stages) for path, stages in sorted(found)]


def _name(path: str) -> str:
    """`face-toner`, `face-toner/lighter`, a material's or a batch's id; else the path."""
    kind = kind_of(path)
    if kind in PLANS:
        return plan_name(path)
    return path.rpartition("/")[2].removesuffix(".toml") if kind in (MATERIAL, TRIAL) else path


def open_file(archive: Archive, name: str) -> Open:
    """The open file of this name. Refusal with what is open when there is none."""
    found = open_files(archive)
    fits = [each for each in found if name in (each.name, each.path)]
    if len(fits) == 1:
        return fits[0]
    if not found:
        raise Refusal("nothing is open here: no file was left to decide by a merge", next="fvc share  brings what the other did")
    known = ", ".join(each.name for each in found)
    raise Refusal(f"{printable(name)} is not open", next=suggestion(name, [each.name for each in found], f"open: {known}"))


def settling(archive: Archive, each: Open) -> Settling:
    """An open file with all its questions. Refusal when a side cannot be read, and when somebody worked on the file by hand since the merge."""
    repository = archive.repository
    now = coming(repository)
    base, first, second = (blob.data if id and (blob := repository.object(id)) else None for id in each.stages)
    disk = archive.root / each.path
    before = disk.read_bytes() if disk.is_file() else None
    found = Settling(each, (base, first, second), _people(archive, each, now), now, None, (), None, before)
    found = answered(archive, found, {})
    _check_untouched(archive, found)
    return found


def answered(archive: Archive, found: Settling, answers: Mapping[str, Answer], *, whole: str = "") -> Settling:
    """The same file with answers. whole: FIRST or SECOND answers all that is left so, the total with all lines of that side."""
    base, first, second = found.texts
    if first is None or second is None:
        gone = "not there any more"
        question = Decision(
            7, REMOVED, "there" if base is not None else None,
            gone if first is None else "changed", gone if second is None else "changed", "",
        )  # fmt: skip
        answer = answers.get(REMOVED, whole)
        if answer not in (FIRST, SECOND):
            return found._replace(questions=(question,), data=None)
        return found._replace(questions=(), data=(first if answer == FIRST else second) or b"")
    sides = (Side(found.people[0].name, first), Side(found.people[1].name, second))
    path = found.open.path
    try:
        joined = join(base, *sides, path, lambda ids: _functions(archive, ids), answers)
        # an answer may bring a question of its own, such as about the order
        while whole and (more := {q.about: whole for q in joined.questions if q.about != TOTAL}):
            answers = {**answers, **more}
            joined = join(base, *sides, path, lambda ids: _functions(archive, ids), answers)
    except (OddLayout, AssertionError) as error:
        raise Refusal(
            Fault(f"{path} cannot be merged line by line: {error}", next=f"settle it in an editor, then  git add {path}")
        ) from None
    if whole and joined.data is None:
        return found._replace(joined=joined, questions=(), data=joined.sides[whole == SECOND])
    return found._replace(joined=joined, questions=joined.questions, data=joined.data)


def put_back(found: Settling, whole: str) -> list[str]:
    """What only the other person changed and does not stand when all lines are taken as one side has them, as lines in words."""
    joined = found.joined
    if joined is None or joined.merge is None or joined.data is not None:
        return []
    other = found.people[whole == FIRST].name
    side = SECOND if whole == FIRST else FIRST
    lost = [d for d in joined.merge.decisions if d.taken == side and d.about.startswith("phase.") and ".percent." in d.about]
    had = [(d.about.split(".")[3], d.second if side == SECOND else d.first, d.base) for d in lost]
    return [f"{material} {level or 'taken out'} ({other}), back to {base or 'not in it'}" for material, level, base in had]


def finish(archive: Archive, done: Settling) -> tuple[list[Open], str | None]:
    """Write the settled file and tell git; once nothing else is open, save the merge. What is still open, and what git said against saving.

    A rebase and its like are not gone on with: git asks for that by its own command.
    """
    assert done.data is not None
    repository = archive.repository
    path = repository.prefix + done.open.path
    if done.data:
        replace(archive.root / done.open.path, done.data, done.before, done.open.path)
    else:
        (archive.root / done.open.path).unlink(missing_ok=True)
    settled(repository, path)
    left = open_files(archive)
    outside = [p for p in unmerged(repository) if not p.startswith(repository.prefix)]
    if left or done.coming.what != "merge":
        return left, None
    if outside:
        return left, f"outside the formulary still open: {', '.join(outside)}"
    return left, conclude_merge(archive)


def conclude_merge(archive: Archive) -> str | None:
    """Save the merge in which nothing is open any more; None, or what stands against it."""
    marked_ones = with_markers(archive.repository)
    if marked_ones:
        return f"markers of a conflict are left in {', '.join(marked_ones)}"
    said = remote.finish(archive.repository)
    return None if said.done else said.words.strip()


def _check_untouched(archive: Archive, found: Settling) -> None:
    """Refuse to write over what a person made of the file by hand since the merge."""
    if found.before is None:
        return
    made = [text for text in found.texts if text is not None]
    base, first, second = found.texts
    if first is not None and second is not None:
        made.append(text_merge(archive.repository, base or b"", first, second))
    if found.joined is not None:
        with suppress(AssertionError):
            made.append(marked(found.joined.sides, ("a", "b"), 7, found.joined.around) if found.data is None else found.data)
    plain = _plain(found.before)
    if plain in [_plain(data) for data in made]:
        return
    what, way = "has been settled by hand", "look it over"
    if b"\n<<<<<<<" in b"\n" + plain:
        what, way = "has been changed by hand since the merge, and has markers left", "take out the markers and keep the right lines"
    elif found.joined is None:
        what = "has been changed by hand since the merge"
    raise Refusal(_by_hand(found.open, what, way))


def _by_hand(each: Open, what: str, way: str) -> Fault:
    return Fault(
        f"{each.path} {what}; nothing was written over it",
        next=f"{way}, then  git add {each.path};  or begin anew from both sides:  git checkout --merge -- {each.path}",
    )


def _plain(data: bytes) -> bytes:
    return _LABEL.sub(rb"\1", data.replace(b"\r\n", b"\n"))


def _functions(archive: Archive, ids: Sequence[str]) -> Mapping[str, Sequence[str]] | None:
    found = {id: archive.now.ingredient(id)[0] for id in ids}
    return None if None in found.values() else {id: material.functions for id, material in found.items() if material}


def _people(archive: Archive, each: Open, now: Coming) -> tuple[Person, Person]:
    """The two sides by the names of those who last changed the file there, told apart by the day or the commit where it is one person."""
    repository = archive.repository
    path = repository.prefix + each.path
    head = archive.head
    if now.what == "revert":
        second = Person(f"before {(now.commit or '')[:7]}", "taken back")
        first = last_change(repository, head, None, path) if head else None
        return Person(first.name, reason_in(first.subject), first.day) if first else Person("this side"), second
    alone = now.what != "merge" and now.commit
    of_first = last_change(repository, head, None if alone else now.commit, path) if head else None
    of_second = last_change(repository, now.commit, None if alone else head, path) if now.commit else None
    first = of_first or (last_change(repository, head, None, path) if head else None)
    if of_second is None and now.commit:  # under another name there
        of_second = author_of(repository, now.commit)
    names = [first.name or first.commit[:7] if first else "this side", of_second.name or of_second.commit[:7] if of_second else now.what]
    if names[0] == names[1] and first and of_second:
        apart = (first.day, of_second.day) if first.day != of_second.day else (first.commit[:7], of_second.commit[:7])
        names = [f"{name}, {word}" for name, word in zip(names, apart, strict=True)]
    out = [
        Person(name, reason_in(author.subject) if author else "", author.day if author else "")
        for name, author in zip(names, (first, of_second), strict=True)
    ]
    return out[0], out[1]


def side_named(people: tuple[Person, Person], text: str) -> str:
    """FIRST or SECOND by a name or its beginning, large or small letters alike. Refusal where it fits none or both."""
    exact = [side for side, person in zip((FIRST, SECOND), people, strict=True) if person.name == text.strip()]
    fits = exact or [
        side for side, person in zip((FIRST, SECOND), people, strict=True)
        if text.strip() and person.name.casefold().startswith(text.strip().casefold())
    ]  # fmt: skip
    if len(fits) != 1:
        raise Refusal(
            f'"{printable(text)}" names {"both" if fits else "neither"} of the two', next=f"{people[0].name}, or {people[1].name}"
        )
    return fits[0]
