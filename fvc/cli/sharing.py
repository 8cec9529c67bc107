"""Commands that exchange work with another maker: connect, share."""

from __future__ import annotations

import sys
from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.cli.parsing import AsJson, folder_name, open_archive, print_json, screen, warn, with_bill
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, Fault, Refusal
from fvc.git.remote import Link, folder_for, holds_password, shown
from fvc.together import sharing
from fvc.together.sharing import AWAY, EMPTY, HELD, KEPT, NOTHING, OPEN, OTHER, Outcome
from fvc.together.work import Work


def connect(
    address: Annotated[str, typer.Argument(metavar="ADDRESS", help="A folder, or an address as your git hosting shows it.")],
    folder: Annotated[str, typer.Argument(metavar="[DIR]", help="Outside a formulary: where a copy goes.", show_default=False)] = "",
    as_json: AsJson = False,
) -> int:
    """Name the place where you both leave and fetch versions; outside a formulary, fetch a copy of what is there."""
    wanted = sharing.address_of(address)
    if holds_password(wanted):
        warn(
            [
                Fault(
                    "the address has a name or password in it, which git keeps in plain text",
                    next="leave it out; git asks for it, and a credential helper keeps it",
                )
            ]
        )
    try:
        return _connect(wanted, folder, as_json)
    except sharing.Unreachable as refusal:
        if as_json:
            from fvc.show.sharing_data import unreachable

            print_json(unreachable(wanted, refusal.faults[0]))
        raise


def _connect(address: str, folder: str, as_json: bool) -> int:
    try:
        archive = Archive.open(Path.cwd())
    except Refusal:
        return _copy(address, folder or folder_for(address), as_json)
    if folder:
        raise Refusal(
            "this is the folder of a formulary already, and a copy cannot go into it",
            next=f"cd out of it for a copy; to connect this one:  fvc connect {quote(shown(address))}",
        )
    result = sharing.connect(archive, address, ask=_somebody_there())
    if as_json:
        from fvc.show.sharing_data import connected

        print_json(connected(result))
        return EXIT_DONE
    out = screen()
    out.say(f"{result.remote} is {shown(result.address)}{'' if result.added else ', as before'}.")
    for line in result.prepared:
        out.say(line)
    if result.state == EMPTY:
        out.say("It answers, and nothing is there yet:  fvc share  sends yours.")
    elif result.state == OTHER:
        out.say(f"It has {', '.join(result.there)}, and yours is called {result.branch}:  fvc share  would put yours beside that.")
        out.say(f"To work on the same one:  git branch -m {result.there[0]}  then  fvc connect {quote(shown(address))}  again.")
    else:
        out.say("It answers, and has this formulary:  fvc share --preview  shows what would come and go.")
    return EXIT_DONE


def _copy(address: str, folder: str, as_json: bool) -> int:
    result = sharing.copy(address, Path.cwd() / folder, ask=_somebody_there())
    if as_json:
        from fvc.show.sharing_data import copied

        print_json(copied(result))
        return EXIT_DONE
    out = screen()
    out.say(f"A copy of {shown(address)} is in {folder_name(result.folder)}.")
    for line in result.prepared:
        out.say(line)
    for each in result.formularies:
        out.say(f"Next:  cd {folder_name(each)}  and  fvc")
    if not result.formularies:
        out.say("There is no formulary in it.")
    return EXIT_DONE


def share(
    preview: Annotated[bool, typer.Option("--preview", help="Only fetch, and show what would come and go.")] = False,
    sure: Annotated[bool, typer.Option("--sure", help="Send although the merge has something that must be mended.")] = False,
    as_json: AsJson = False,
) -> int:
    """Fetch what the other did, see it, merge, check, send yours. Never forces, never loses what is not saved."""
    if preview and sure:
        raise Refusal("--preview sends nothing, so there is nothing to be sure of", next="fvc share --preview  or  fvc share --sure")
    archive = open_archive()
    link = sharing.ready(archive)
    try:
        result = _shared(archive, link, preview, sure, as_json)
    except sharing.Unreachable as refusal:
        if as_json:
            from fvc.show.sharing_data import outcome

            print_json(outcome(Outcome(state=AWAY, link=link, why=refusal.faults[0]), lambda change, _, __: change))
        raise
    archive = Archive(archive.root)
    if as_json:
        from fvc.show.sharing_data import outcome

        print_json(outcome(result, lambda change, before, after: with_bill(archive, change, before, after)))
    elif preview:
        _show_preview(archive, result)
    else:
        _show(result)
    if not as_json:
        warn(sharing.not_saved(archive), "not saved, so not sent")
    warn(sharing.open_faults(archive.repository, result.open or ()) if result.state == OPEN else (), "open")
    warn((Fault(f.finding.message, file=f"{f.plan}, {f.finding.where}", next=f.finding.mend) for f in result.standing), "must be mended")
    warn(_left(result), "not sent")
    return EXIT_ANSWER_IS_NO if result.state in (OPEN, HELD, KEPT) else EXIT_DONE


def _shared(archive: Archive, link: Link, preview: bool, sure: bool, as_json: bool) -> Outcome:
    if not preview:
        return sharing.share(archive, link, ask=_somebody_there(), sure=sure, tell=(lambda _: None) if as_json else _came, note=_note)
    from fvc.together.setup import unprepared

    fault = unprepared(archive)
    warn([fault] if fault else [])
    return sharing.preview(archive, link, ask=_somebody_there())


def _somebody_there() -> bool:
    return sys.stdin.isatty() and sys.stderr.isatty()


def _came(work: Work) -> None:
    from fvc.show import sharing as show

    show.came(screen(), work, "")
    sys.stdout.flush()


def _note(lines: list[str]) -> None:
    for line in lines:
        print(line, file=sys.stderr)


def _left(result: Outcome) -> list[Fault]:
    """Why nothing was sent, and what to do."""
    if result.state == OPEN:
        return [
            Fault(
                "all else is merged in the folder",
                next="settle what is open, then  fvc share  goes on; to take it all back:  git merge --abort",
            )
        ]
    if result.state == HELD:
        return [
            Fault(
                "the merge has what must be mended, and neither side had it",
                next="mend it and save, then  fvc share;  to send it all the same:  fvc share --sure",
            )
        ]
    return [result.why] if result.why else []


def _show_preview(archive: Archive, result: Outcome) -> None:
    from fvc.show import sharing as show

    out = screen()
    show.came(out, result.came, show.place(result.link))
    show.went(out, result.went, result.link, sent=False)
    if result.open is None:
        out.say("Whether both changed the same cannot be told with this git (2.38 or later can).")
    for path in result.open or ():
        out.say(f"both changed the same: {sharing.open_name(archive.repository, path) or path}", 0, "bold")
    for path in result.unsaved:
        out.say(f"not saved, and changed there too: {path}", 0, "bold")
    if result.found:
        out.say("Merged, these would have what neither side has:")
        for each in result.found:
            show.found(out, each)


def _show(result: Outcome) -> None:
    from fvc.show import sharing as show

    out = screen()
    if result.came is None and result.state != KEPT:
        show.came(out, None, show.place(result.link))
    if result.merged and result.state != OPEN:
        out.say("")
        out.say("Merged with what was saved here." if result.merged == sharing.MERGE else "This folder has it now.")
    if result.found:
        out.say("The merge has what neither side had:")
        for each in result.found:
            show.found(out, each)
    if result.went:
        show.went(out, result.went, result.link, sent=True)
    elif result.state == NOTHING:
        out.say("Nothing to send.")
    for plan in result.both:
        out.say("")
        show.both(out, plan)
