"""`fvc demo`: an invented formulary with a real history, and the main job shown on it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.cli.parsing import folder_name, screen
from fvc.errors import EXIT_DONE, Refusal

DEFAULT_FOLDER = "fvc-demo"
SHOWN_BATCH = "ft-260412-mt-a"


def demo(
    folder: Annotated[str, typer.Argument(metavar="[DIR]", help="Where to build it; a new folder.", show_default=False)] = DEFAULT_FOLDER,
) -> int:
    """Build an example formulary with a history of several months in DIR, and look around in it."""
    from fvc.demo import is_demo, rebuild

    target = Path(folder)
    out = screen()
    if is_demo(target):
        out.print(f"{folder_name(target)} is there already; looking at it again. Delete the folder to have it built anew.")
    else:
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            raise Refusal(f"{folder} is not empty, so no demo is built there", next="name a new folder:  fvc demo DIR")
        built = rebuild(target)
        out.print(
            f"Built {folder_name(target)}: {built.formulas} formulas, {built.revisions} saved revisions, {built.batches} batches by {built.people} makers."
        )
    out.print("North window studio, its makers, suppliers and formulas are invented. They show a tool, not a product:")
    out.print("nobody assessed their safety, so do not put them on skin and do not sell them.")
    with _archive(target) as archive:
        tour(archive)
    out.print()
    out.print("Now try it yourself:")
    for line in (
        f"cd {folder_name(target)}",
        "fvc                                      what is unsaved, what to mend",
        "fvc set face-toner propanediol=2.8       what if? nothing is written yet",
        'fvc set face-toner propanediol=2.8 --reason "drier on a humid day"',
        "fvc diff face-toner.before face-toner    the last two revisions",
        "fvc stand-ins face-toner propanediol     which humectant instead?",
        "fvc swap face-toner propanediol glycerin --basis active",
        "fvc variant compare face-toner           what was tried, side by side",
        "fvc weigh face-toner --batch 175g        the weigh sheet, to print",
        "fvc trial due                            which batches want a look today",
        "fvc results face-toner                   all that was tried and seen",
        "fvc --help                               everything, in the order of the day",
    ):
        out.print("    " + line)
    return EXIT_DONE


@contextmanager
def _archive(folder: Path) -> Iterator[Archive]:
    archive = Archive.open(folder.resolve())
    try:
        yield archive
    finally:
        archive.close()


def tour(archive: Archive) -> None:
    """The main job in four commands, and one batch."""
    from fvc.cli.past import show_history, show_trace
    from fvc.cli.read import show_diff, show_sheet
    from fvc.cli.trial import deviations_of, spec_of
    from fvc.show.trials import record
    from fvc.trials import trial_named

    out = screen()

    def step(title: str, command: str) -> None:
        out.print()
        out.rule()
        out.print(f"{title}\n$ {command}", style="bold")
        out.print()

    step("1. The formula sheet: percent, and grams for the plan's batch", "fvc sheet face-toner")
    show_sheet(archive, "face-toner")
    step("2. A swap: glycerin went out, betaine came in, and what that did", "fvc diff face-toner.4 face-toner.5")
    show_diff(archive, "face-toner.4", "face-toner.5")
    step("3. Why is propanediol at this level?", "fvc trace face-toner propanediol")
    show_trace(archive, "face-toner", "propanediol")
    step("4. All that happened to it", "fvc history face-toner")
    show_history(archive, "face-toner")
    step("5. One batch: a slip and its way out, where the mass went, what was seen", f"fvc trial show {SHOWN_BATCH}")
    trial = trial_named(archive, SHOWN_BATCH)
    record(out, trial, deviations_of(archive, trial), spec_of(archive, trial), unsaved=False)
