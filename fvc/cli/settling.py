"""The command `settle`: decide what two people both changed, one question at a time."""

from __future__ import annotations

import shlex
from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.change.levels import typed_level
from fvc.cli.parsing import AsJson, confirmed, interactive, open_archive, print_json, screen
from fvc.cli.proposal import say
from fvc.compare.merge import TOTAL, Answer, Decision
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, Refusal
from fvc.files.writer import writing
from fvc.names import printable
from fvc.show import settling as show
from fvc.together.settling import Settling, answered, conclude_merge, finish, merging, open_file, open_files, put_back, settling, side_named


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
        answers[_about(found, line if equals else "")] = _level(percent)
    if answers or whole:
        found = answered(archive, found, answers, whole=whole)
        lost = put_back(found, whole) if whole else []
    asked = False
    if found.questions and interactive() and not as_json:
        asked = True
        found, lost = _ask(archive, found, answers)
    if found.data is None:
        return _still_open(found, as_json)
    if asked and not confirmed("write this, and go on?"):
        say("Nothing was written.")
        return EXIT_ANSWER_IS_NO
    with writing(archive.lock_folder):
        left, said = finish(archive, found)
    if as_json:
        print_json(show.data(found, left, not left and not said))
    else:
        _done(found, len(left), said, lost if not asked else [])
        for other in left:
            say(f"Still open:  fvc settle {other.name}")
    return EXIT_ANSWER_IS_NO if left or said else EXIT_DONE


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
        say(f"open:  fvc settle {each.name}")
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
    fits = [q.about for q in found.questions if line in (show.subject(q, found), q.about)]
    merge = found.joined.merge if found.joined else None
    phase, colon, material = line.rpartition(":")
    fits = fits or [n.path for n in (merge.lines if merge else ()) if n.material == material and (not colon or n.phase == phase)]
    if len(fits) != 1:
        known = ", ".join(show.subject(q, found) for q in found.questions if q.about != TOTAL)
        why = "stands in several phases" if fits else "is neither a question nor a line"
        raise Refusal(f'"{printable(line)}" {why}', next=f"name it as PHASE:LINE; open questions: {known or 'the total'}")
    return fits[0]


def _level(text: str) -> Answer:
    try:
        return typed_level(text.strip())
    except ValueError as error:
        raise Refusal(f'"{printable(text)}": {error}', next="a level is such as  1.9  or  balance") from None


def _ask(archive: Archive, found: Settling, answers: dict[str, Answer]) -> tuple[Settling, list[str]]:
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
            said = input(_prompt(question, found)).strip()
            if said in ("q", "quit"):
                raise Refusal("left; nothing was written", next=f"fvc settle {found.open.name}  begins anew")
            try:
                found, lost = _answer(archive, found, question, said, answers)
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


def _answer(archive: Archive, found: Settling, question: Decision, said: str, answers: dict[str, Answer]) -> tuple[Settling, list[str]]:
    line, equals, value = said.rpartition("=")
    if question.about == TOTAL and not equals:
        whole = side_named(found.people, said)
        done = answered(archive, found, answers, whole=whole)
        return done, put_back(done, whole)
    if equals:
        given: dict[str, Answer] = {_about(found, line): _level(value)}
    elif said[:1].isdigit() or said in ("balance", "open"):
        given = {question.about: _level(said)}
    else:
        given = {question.about: side_named(found.people, said)}
    done = answered(archive, found, {**answers, **given})
    answers.update(given)
    return done, []


def _still_open(found: Settling, as_json: bool) -> int:
    if as_json:
        print_json(show.data(found, (), False))
        return EXIT_ANSWER_IS_NO
    out = screen()
    show.heading(out, found)
    for number, question in enumerate(found.questions, 1):
        show.question(out, question, found, number, len(found.questions))
    show.total(out, found)
    first = shlex.quote(found.people[0].name)
    raise Refusal(
        f"{len(found.questions)} open, and nothing was written",
        next=f"fvc settle {found.open.name} --take {first}  for all,  --take LINE={first}  for one,  or  --level LINE=PERCENT",
        code=EXIT_ANSWER_IS_NO,
    )


def _done(found: Settling, left: int, said: str | None, lost: list[str]) -> None:
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
        say("Nothing is open any more, and the merge is saved. Send it:  fvc share")
        merge = found.joined.merge if found.joined else None
        if merge is not None:
            say(f"Save the plan as a revision of its own:  fvc revise {found.open.name} --reason TEXT")
    elif found.coming.command:
        say(f"Go on with  {found.coming.command}")
