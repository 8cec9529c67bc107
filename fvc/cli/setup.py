"""The command `setup`: git prepared for this formulary in this copy of it."""

from __future__ import annotations

from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.cli.parsing import AsJson, open_archive, print_json, screen, warn
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, Fault, Refusal
from fvc.names import printable
from fvc.together.setup import BEFORE_SAVE, MISSING, OPTIONAL, Part, parts, prepare, remove

_WHAT = {
    ".gitattributes": "which files are merged by fvc, for everybody",
    "info/attributes": "the same for this copy, at every commit",
    "merge.fvc": "merging, in git's configuration",
    "diff.fvc": "showing differences, in git's configuration",
    "fvc.initials": "yours, in the ids of batches",
    "post-merge": "hook: what must be mended is told after a merge",
    "pre-commit": "hook: no plan is saved that must be mended",
}


def setup(
    initials: Annotated[str, typer.Option("--initials", metavar="AB", help="Yours, if not those of your name.")] = "",
    hooks: Annotated[bool, typer.Option("--hooks", help="Also check the plans that are staged, before git saves them.")] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Only tell what is set, and what mends the rest; 1 when something is not.")
    ] = False,
    take_away: Annotated[bool, typer.Option("--remove", help="Take away what setup wrote, and nothing of anybody else's.")] = False,
    as_json: AsJson = False,
) -> int:
    """Prepare git for this formulary: once in each copy of it, and again when fvc has moved. A second run changes nothing."""
    if check + take_away + bool(initials or hooks) > 1:
        raise Refusal("--check and --remove stand alone", next="fvc setup --check  or  fvc setup --remove")
    if as_json and not check:
        raise Refusal("--json goes with --check", next="fvc setup --check --json")
    archive = open_archive()
    if check:
        return show_parts(archive, as_json)
    if take_away:
        _say(remove(archive) or ["Nothing of fvc's is set here; nothing was changed."])
        return EXIT_DONE
    _say(prepare(archive, initials=initials, hooks=hooks) or ["Everything was set up already; nothing was written."])
    found = parts(archive)
    if not hooks and any(p.name == BEFORE_SAVE and p.state == OPTIONAL for p in found):
        _say(["There is also a hook that checks the plans you save with git:  fvc setup --hooks"])
    left = [p for p in found if not p.fine or (hooks and p.state == OPTIONAL)]  # asked for, and not to be had without a hand
    warn((Fault(f"{p.name} is {MISSING if p.fine else p.state}", next=p.mend) for p in left), "still to do")
    return EXIT_DONE


def show_parts(archive: Archive, as_json: bool) -> int:
    """Print every part of the setup, its state, and what mends it."""
    found = parts(archive)
    fine = all(p.fine for p in found)
    if as_json:
        print_json({"schema": 1, "ok": fine, "parts": [{"part": p.name, "state": p.state, "mend": p.mend or None} for p in found]})
        return EXIT_DONE if fine else EXIT_ANSWER_IS_NO
    from fvc.show.screen import grid

    table = grid(("part", "left"), ("state", "left"), ("what it is", "left"))
    for part in found:
        table.add_row(part.name, part.state, _WHAT[part.name])
    screen().table(table)
    for mend in dict.fromkeys(p.mend for p in found if p.mend):
        print(f"\n{_of(found, mend)}:")
        for line in mend.split("\n"):  # not folded: it is typed, or pasted into a file
            print(f"    {printable(line.strip())}")
    return EXIT_DONE if fine else EXIT_ANSWER_IS_NO


def _of(found: tuple[Part, ...], mend: str) -> str:
    return ", ".join(p.name for p in found if p.mend == mend)


def _say(lines: list[str]) -> None:
    for line in lines:
        screen().say(line)
