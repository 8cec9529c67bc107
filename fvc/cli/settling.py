"""The command `settle`: decide what two people both changed, one question at a time."""

from __future__ import annotations

import shlex
from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.change.levels import typed_level
from fvc.cli.parsing import AsJson, interactive, open_archive, print_json, screen, warn
from fvc.cli.proposal import say
from fvc.compare.merge import TOTAL, Answer, Decision
from fvc.compare.ordering import SECOND
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, Fault, Refusal
from fvc.files.writer import writing
from fvc.formula import Level
from fvc.names import printable
from fvc.rules.finding import Finding
from fvc.show import settling as show
from fvc.together.settling import (
    Settling,
    answered,
    conclude_merge,
    finish,
    is_new,
    merging,
    open_file,
    open_files,
    put_back,
    settling,
    side_named,
    standing,
)  # fmt: skip


def settle(
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="The formula, variant, material or batch; none lists what is open.")] = "",
    take: Annotated[
        list[str] | None,
        typer.Option("--take", metavar="[LINE=]PERSON", help="What this person has: for one line, or for all that is open."),
    ] = None,
    level: Annotated[
        list[str] | None,
        typer.Option("--level", metavar="[LINE=]PERCENT", help="Another level, also for a line that is no question."),
    ] = None,
    as_json: AsJson = False,
) -> int:
    """Decide what two people both changed: before, what each has and why, the total as it goes; then the merge is saved."""
    archive = open_archive()
    if not name:
        return _list(archive, as_json)
    found = settling(archive, open_file(archive, name))
    answers: dict[str, Answer] = {}
    whole, lost = "", list[str]()
    for text in take or ():
        line, equals, who = ("", "", text) if text in [person.name for person in found.people] else text.rpartition("=")
        side = side_named(found.people, who)
        if whole and not equals:
            raise Refusal("--take names two people for all that is open", next="one of them, and  --take LINE=PERSON  for single lines")
        if equals:
            answers[_about(found, line)] = side
        else:
            whole = side
    for text in level or ():
        line, equals, percent = text.rpartition("=")
        answers.update(_to_level(found, line if equals else "", percent))
    if answers or whole:
        found = answered(archive, found, answers, whole=whole)
        lost = put_back(found, whole) if whole else []
    asked = bool(found.questions) and interactive() and not as_json
    if asked:
        found, lost = _ask(archive, found)
    if found.data is None:
        return _still_open(found, as_json)
    stops = standing(archive, found)
    if not as_json:
        _tell(stops)
    if asked and not _sure(found):
        _left(found)
        return EXIT_ANSWER_IS_NO
    with writing(archive.lock_folder):
        left, said = finish(archive, found)
    if as_json:
        print_json(show.data(found, left, not left and not said, stops))
    else:
        _done(archive, found, len(left), said, lost if not asked else [])
        for other in left:
            say(f"Still open:  fvc settle {shlex.quote(other.name)}")
    return EXIT_ANSWER_IS_NO if left or said else EXIT_DONE


def _tell(stops: list[Finding]) -> None:
    """What whoever settles should know before everybody else hears of it."""
    warn((Fault(f.message, file=f.where, next=f.mend) for f in stops), "must be mended")


def _sure(found: Settling) -> bool:
    """Whether to write it; asked until one of the two words is typed."""
    while True:
        said = _typed("write this, and go on? [y/n] ", found).lower()
        if said in ("y", "yes"):
            return True
        if said in ("n", "no", "q", "quit"):
            return False
        say("Type  y  to write it, or  n  to leave all as it was.")


def _typed(prompt: str, found: Settling) -> str:
    """What somebody types; Ctrl-C and Ctrl-D leave, and say that nothing was written."""
    try:
        return input(prompt).strip()
    except (EOFError, KeyboardInterrupt):
        say("")
        _left(found)
        raise KeyboardInterrupt from None


def _left(found: Settling) -> None:
    """Nothing was written, and how to say the same again; a line that is to be typed is never folded."""
    say("Nothing was written.")
    if found.answers or found.whole:
        say("To give the same answers again:")
        print(f"    {printable(_command(found))}")


def _command(found: Settling) -> str:
    """The command line with every answer given so far, and the first person's for what is still open."""
    first = found.people[0].name
    flags = ["--take", found.people[found.whole == SECOND].name] if found.whole else []
    for about, answer in found.answers.items():
        level = isinstance(answer, Level)
        value = answer.text if isinstance(answer, Level) else found.people[answer == SECOND].name
        flags += ["--level" if level else "--take", f"{found.subject(about)}={value}"]
    for question in found.questions:
        flags += ["--level", "LINE=PERCENT"] if question.about == TOTAL else ["--take", f"{found.subject(question.about)}={first}"]
    return shlex.join(["fvc", "settle", found.open.name, *flags])


def _list(archive: Archive, as_json: bool) -> int:
    found = open_files(archive)
    if as_json:
        print_json({"schema": 1, "open": [each.name for each in found]})
    elif not found and merging(archive):
        said = conclude_merge(archive)
        say(f"Nothing is open; the merge is not saved: {said}" if said else "Nothing was open any more; the merge is saved.")
        return EXIT_ANSWER_IS_NO if said else EXIT_DONE
    elif not found:
        say("Nothing is open here.")
    for each in found if not as_json else ():
        say(f"open:  fvc settle {shlex.quote(each.name)}")
    return EXIT_ANSWER_IS_NO if found else EXIT_DONE


def _about(found: Settling, line: str) -> str:
    """The question or line that is meant on the command line; without a word the only question about a level."""
    if not line.strip():
        levels = [q.about for q in found.questions if q.about.startswith("phase.") and ".percent." in q.about]
        if len(levels) != 1:
            raise Refusal(
                f"{len(levels)} levels are open, so it must be said which is meant",
                next="--level LINE=PERCENT, such as  --level propanediol=1.9",
            )
        return levels[0]
    line = line.strip()
    names = {q.about: found.subject(q.about) for q in found.questions if q.about != TOTAL}
    fits = [about for about, name in names.items() if line in (name, about)]
    phase, colon, material = line.rpartition(":")
    lines = found.merge.lines if found.merge else ()
    fits = fits or [n.path for n in lines if n.material == material and (not colon or n.phase == phase)]
    fits = fits or [about for about in names if about.endswith(f".{line}") or about == f"phase.{line.replace(':', '.')}"]
    if len(fits) == 1:
        return fits[0]
    if fits:
        raise Refusal(f'"{printable(line)}" may be several', next=f"name one of them: {', '.join(found.subject(about) for about in fits)}")
    way = "--take LINE=PERSON" if names else "--level LINE=PERCENT"
    raise Refusal(
        f'"{printable(line)}" is neither a question nor a line', next=f"{way}; open questions: {', '.join(names.values()) or 'the total'}"
    )


def _to_level(found: Settling, line: str, text: str) -> dict[str, Answer]:
    """A line with the level that it is given. Refusal for what takes none."""
    about = _about(found, line)
    parts = about.split(".")
    if parts[0] != "phase" or parts[2:3] != ["percent"] or len(parts) != 4:
        name = found.subject(about)
        raise Refusal(
            f"{name} is no level", next="take what one of the two has:  " + shlex.join(["--take", f"{name}={found.people[0].name}"])
        )
    return {about: _level(text)}


def _level(text: str) -> Answer:
    try:
        return typed_level(text.strip())
    except ValueError as error:
        raise Refusal(f'"{printable(text)}": {error}', next="a level is such as  1.9  or  balance") from None


def _ask(archive: Archive, found: Settling) -> tuple[Settling, list[str]]:
    """Ask one question after the other in a terminal; a wrong answer is asked again, q leaves. Also what goes back with a person's lines."""
    out = screen()
    lost: list[str] = []
    show.heading(out, found)
    many, number = len(found.questions), 0
    while found.questions:
        question = found.questions[0]
        number += 1
        show.question(out, question, found, number, max(many, number))
        while True:
            said = _typed(_prompt(question, found), found)
            if said in ("q", "quit"):
                raise Refusal(
                    "left; nothing was written",
                    next=f"{_command(found)}  has the answers so far; or begin anew:  fvc settle {shlex.quote(found.open.name)}",
                )
            try:
                found, lost = _answer(archive, found, question, said)
                break
            except Refusal as refusal:
                say(str(refusal))
        show.total(out, found)
        show.put_back(out, lost)
    return found, lost


def _prompt(question: Decision, found: Settling) -> str:
    names = " or ".join(person.name for person in found.people)
    if question.about == TOTAL:
        return f"all lines as {names} has them, or LINE=PERCENT? (q leaves) "
    level = ", or another level" if ".percent." in question.about and not question.about.endswith((".note", ".phase")) else ""
    return f"{names}{level}? (q leaves) "


def _answer(archive: Archive, found: Settling, question: Decision, said: str) -> tuple[Settling, list[str]]:
    line, equals, value = said.rpartition("=")
    if question.about == TOTAL and not equals:
        whole = side_named(found.people, said)
        done = answered(archive, found, found.answers, whole=whole)
        return done, put_back(done, whole)
    if equals:
        given = _to_level(found, line, value)
    elif said[:1].isdigit() or said in ("balance", "open"):
        given = _to_level(found, question.about, said)
    else:
        given = {question.about: side_named(found.people, said)}
    return answered(archive, found, {**found.answers, **given}), []


def _still_open(found: Settling, as_json: bool) -> int:
    if as_json:
        print_json(show.data(found, (), False, ()))
        return EXIT_ANSWER_IS_NO
    out = screen()
    show.heading(out, found)
    for number, question in enumerate(found.questions, 1):
        show.question(out, question, found, number, len(found.questions))
    show.total(out, found)
    first, second = (shlex.quote(person.name) for person in found.people)
    name = shlex.quote(found.open.name)
    if found.answers:
        way = f"all answers go into one call:  {_command(found)}    (or {second}; LINE=PERCENT with --level)"
    else:
        way = (
            f"fvc settle {name} --take {first}  for all,  --take LINE={first}  for one,  or  --level LINE=PERCENT;  all of them in one call"
        )
    raise Refusal(f"{len(found.questions)} open, and nothing was written", next=way, code=EXIT_ANSWER_IS_NO)


def _done(archive: Archive, found: Settling, left: int, said: str | None, lost: list[str]) -> None:
    show.total(screen(), found)
    show.put_back(screen(), lost)
    say(f"{found.open.name} is settled." + ("" if found.data else " The file is gone."))
    if said:
        say("The merge is not saved yet:")
        for row in said.splitlines():
            screen().say(row, 4)
        say("Mend that, then  fvc settle  saves it.")
    elif left:
        return
    elif found.coming.what == "merge":
        if is_new(archive, found):
            say("Nothing is open any more, and the merge is saved. Save the plan as a revision of its own, and send it:")
            screen().say(f"fvc revise {shlex.quote(found.open.name)} --reason TEXT", 4)
            screen().say("fvc share", 4)
        else:
            say("Nothing is open any more, and the merge is saved. Send it:  fvc share")
    elif found.coming.command:
        say(f"Go on with  {found.coming.command}")
