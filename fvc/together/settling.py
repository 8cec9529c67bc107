"""Settling a file that two people both changed: its open questions, each with what either has and why, and the text that comes of the answers."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import NamedTuple

from fvc.amounts import shown
from fvc.archive import Archive
from fvc.compare.merge import TOTAL, Answer, Decision, Merge, Three, level_text, short
from fvc.compare.ordering import FIRST, SECOND
from fvc.errors import Fault, Refusal
from fvc.files.joining import Joined, Side, join
from fvc.files.markers import marked
from fvc.files.places import MATERIAL, PLANS, TRIAL, kind_of
from fvc.files.plans import read_plan
from fvc.files.rows import OddLayout
from fvc.files.writer import replace
from fvc.formula import Level, close
from fvc.formulary import plan_of_path
from fvc.git import remote
from fvc.git.conflicts import Coming, Stages, coming, note_settled, people, settled, text_merge, unmerged, with_markers
from fvc.names import printable, suggestion
from fvc.reading import Side as Whose
from fvc.references import Reference, in_commit
from fvc.rules.basis import Basis
from fvc.rules.finding import STOP, Finding
from fvc.rules.structure import FILE_RULE
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
    before: the bytes on the disk, None where there is no file. asked: every question so far, by what it is about.
    answers: as given, with `whole` for what none of them is about, if anything was said of all.
    """

    open: Open
    texts: Three[bytes]
    people: tuple[Person, Person]
    coming: Coming
    joined: Joined | None
    questions: tuple[Decision, ...]
    data: bytes | None
    before: bytes | None
    asked: Mapping[str, Decision] = {}
    answers: Mapping[str, Answer] = {}
    whole: str = ""

    @property
    def merge(self) -> Merge | None:
        """The merge of a plan."""
        return self.joined.merge if self.joined else None

    def subject(self, about: str) -> str:
        """What a question or a line is called on the command line."""
        merge = self.merge
        known = next((d for d in (*self.asked.values(), *(merge.decisions if merge else ())) if d.about == about), None)
        if merge and known:
            return short(known, merge)
        line = next((n for n in merge.lines if n.path == about), None) if merge else None
        return f"{line.phase}:{line.material}" if line else about


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
    found = found._replace(answers=answers, whole=whole)
    if first is None or second is None:
        gone = "not there any more"
        question = Decision(
            7, REMOVED, "there" if base is not None else None,
            gone if first is None else "changed", gone if second is None else "changed", "",
        )  # fmt: skip
        answer = answers.get(REMOVED, whole)
        found = found._replace(asked={REMOVED: question})
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
    found = found._replace(asked={**found.asked, **{q.about: q for q in joined.questions}})
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


def lines_in_question(found: Settling) -> list[tuple[str, ...]]:
    """Of a plan whose total is asked about, the lines that either side changed: what it is, before, each side's, and both put together."""
    merge = found.merge
    if merge is None:
        return []
    together = {path: level_text(line.level) for line in merge.lines for path in merge.origins.get(line.path, ()) if path}
    rows = []
    for each in merge.decisions:
        parts = each.about.split(".")
        texts = (each.base, each.first, each.second, together.get(each.about))
        if parts[0] == "phase" and parts[2:3] == ["percent"] and len(parts) == 4 and len(set(texts)) > 1:
            rows.append((found.subject(each.about), *(text or "not in it" for text in texts)))
    return rows


def totals_in_question(found: Settling) -> tuple[str, ...]:
    """The total of the lines before, on each side and of both put together; "-" where it is not known."""
    merge = found.merge
    if merge is None:
        return ()
    return (*(total_of(text, merge) or "-" if text else "-" for text in found.texts), shown(merge.closure.total, merge.closure.decimals))


def decided(found: Settling) -> list[str]:
    """A line for each question of a settled file, and for each other line that was given a level: what each side had, and what was decided."""
    merge = found.merge
    known = {d.about: d for d in merge.decisions} if merge else {}
    return [_decided(found, about, found.asked.get(about) or known.get(about)) for about in dict.fromkeys((*found.asked, *found.answers))]


def _decided(found: Settling, about: str, question: Decision | None) -> str:
    answer = found.answers.get(about, found.whole)
    names = [person.name for person in found.people]
    what = level_text(answer) if isinstance(answer, Level) else f"as {names[answer == SECOND]} has it" if answer else ""
    if about == TOTAL and question:
        return f"total: {question.why}; " + (
            f"all lines as {names[found.whole == SECOND]} has them" if found.whole else "settled by the lines named here"
        )
    if question is None:
        return f"{found.subject(about)}: settled: {what}"
    had = [("before", question.base), (names[0], question.first), (names[1], question.second)]
    if question.base is None:
        del had[0]
    return f"{found.subject(about)}: {', '.join(f'{who} {_brief(text)}' for who, text in had)}; settled: {what or 'by the others'}"


def _brief(text: str | None) -> str:
    """A value in one row of a message."""
    words = " ".join(text.split()) if text is not None else "not in it"
    return words if len(words) <= 80 else f"{words[:77]}..."


def standing(archive: Archive, done: Settling) -> list[Finding]:
    """What `fvc check` will call a stop in a plan that is settled, with the materials and limits of the folder."""
    from fvc.rules.check import check  # with all that estimates: not for `fvc settle` alone

    path = done.open.path
    if not done.data or kind_of(path) not in PLANS:
        return []
    name, variant = plan_of_path(path)
    try:
        reading = archive.now.read(read_plan(done.data, path, variant or name, variant=bool(variant)), Whose(done.open.name, None, 0))
    except Refusal as refusal:
        return [Finding(STOP, path, "file", fault.message, FILE_RULE, fault.next) for fault in refusal.faults]
    try:
        basis = archive.now.settings().basis
    except Refusal:  # it is open itself, or said by every check
        basis = Basis()
    return [finding for finding in check(reading, basis).findings if finding.level == STOP]


def is_new(archive: Archive, done: Settling) -> bool:
    """True when a settled and saved plan is the text of no revision yet, so that it should become one."""
    path = done.open.path
    if not done.data or kind_of(path) not in PLANS:
        return False
    archive = Archive(archive.root)
    try:
        saved = in_commit(archive, Reference(done.open.name, *plan_of_path(path)), archive.head or "", path)
        return saved.side.later or not saved.plan.revision
    except Refusal:
        return False
    finally:
        archive.close()


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
    if done.coming.what == "merge":
        note_settled(repository, done.open.name, decided(done))
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
    """The two sides by the names of those who last changed the file there."""
    named = people(archive.repository, archive.head, now, archive.repository.prefix + each.path)
    first, second = (Person(name, reason_in(author.subject) if author else "", author.day if author else "") for name, author in named)
    return first, second._replace(reason="taken back") if now.what == "revert" else second


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
