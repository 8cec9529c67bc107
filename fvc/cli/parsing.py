"""One command parsed by typer, and what all commands share: the formulary, batch sizes, printing."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fvc.amounts import number
from fvc.archive import Archive
from fvc.batch import batch_grams, parse_batch
from fvc.cli.ahead import started
from fvc.cli.commands import Command
from fvc.errors import EXIT_DONE, EXIT_STOPPED, Fault, Refusal
from fvc.names import printable
from fvc.reading import Reading

if TYPE_CHECKING:
    from fvc.compare.diff import Diff
    from fvc.rules.basis import Basis
    from fvc.show.screen import Screen

AsJson = Annotated[bool, typer.Option("--json", help="Print data for a script instead of a screen.")]
BatchSize = Annotated[
    str, typer.Option("--batch", metavar="SIZE", help='500g, "1.5 kg", "5 oz", "6 x 30 mL" (with a density), or "neroli-oil 3.2g".')
]
Density = Annotated[str, typer.Option("--density", metavar="G_PER_ML", help="Density of the product, for a batch given by volume.")]


def build(command: Command, function: Callable[..., Any]) -> typer.Typer:
    """The typer application of one command; only this one is ever built in a run."""
    app = typer.Typer(add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False)
    examples = "\b\nExamples:\n" + "\n".join(f"  {e}" for e in command.examples)
    app.command(name=command.name, epilog=examples)(function)
    return app


def run(command: Command, function: Callable[..., Any], arguments: Sequence[str]) -> int:
    """Parse `arguments`, call `function`, give its exit code. A wrong call becomes a Refusal."""
    try:
        result = build(command, function)(args=list(arguments), prog_name=f"fvc {command.name}", standalone_mode=False)
    except Refusal:
        raise
    except typer.Abort:
        raise KeyboardInterrupt from None
    except SystemExit as left:  # so typer ends when the reader of a pipe has gone
        if isinstance(left.__context__, BrokenPipeError):
            raise BrokenPipeError from None
        raise
    except Exception as error:
        # typer's usage errors, whichever package they come from in its version
        say = getattr(error, "format_message", None)
        if say is None:
            raise
        raise Refusal(printable(str(say())).rstrip("."), next=f"usage: fvc {command.usage}   (fvc {command.name} --help)") from None
    if result == EXIT_STOPPED:  # what newer versions of typer make of Ctrl-C
        raise KeyboardInterrupt
    return result if isinstance(result, int) else EXIT_DONE


def open_archive() -> Archive:
    """The formulary around the current folder."""
    try:
        return started() or Archive.open(Path.cwd())
    except FileNotFoundError:
        raise Refusal("the current folder does not exist any more", next="cd to the folder of your formulary") from None


def batch_of(reading: Reading, asked: str, density: str) -> tuple[Fraction | None, str]:
    """The batch in grams and as text: as asked for, else the plan's own.

    The plan's own may be unknown (a volume without density): then None. What was asked for on the
    command line must be known. Raises Refusal otherwise.
    """
    try:
        parsed = parse_batch(asked or reading.plan.batch)
    except ValueError as error:
        raise Refusal(f'"{printable(asked)}" cannot be read: {error}', next="for example  --batch 150g") from None
    given = density_of(reading, density)
    try:
        return batch_grams(parsed, reading, given), parsed.text
    except Refusal:
        if asked:
            raise
        return None, parsed.text


def density_of(reading: Reading, asked: str) -> Fraction | None:
    """The density of the product in g/mL: as asked for, else of the spec; None when neither is there."""
    if not asked:
        return _spec_density(reading)
    try:
        given = number(asked).value
    except ValueError as error:
        raise Refusal(f'"{printable(asked)}" cannot be read: {error}', next="for example  --density 1.01") from None
    if given == 0:
        raise Refusal("a density of 0 g/mL is no density", next="for example  --density 1.01")
    return given


def _spec_density(reading: Reading) -> Fraction | None:
    typed = reading.plan.spec.get("density")
    value = getattr(typed, "value", None)
    return value if isinstance(value, Fraction) else None


def percent_of(text: str, what: str, example: str) -> Fraction:
    """A percent given on the command line, with or without its sign. Raises Refusal naming what it is."""
    try:
        return number(text.strip().removesuffix("%").strip()).value
    except ValueError as error:
        raise Refusal(f'{what} "{printable(text)}" cannot be read: {error}', next=f"for example  {example}") from None


def basis_of(archive: Archive) -> Basis:
    """Rule sets, house limits and currency of the formulary as it is today; those of an empty one, and a warning, where its file is faulty."""
    from fvc.rules.basis import Basis

    try:
        return archive.now.settings().basis
    except Refusal as refusal:
        warn(refusal.faults)
        return Basis()


def with_bill(archive: Archive, result: Diff, before: Reading, after: Reading, *, cautions: bool = False) -> Diff:
    """A difference with what it does to estimated properties, and to limits, label and cost by the rules of the formulary and today's lists.

    cautions: also what the other checks find on one side alone, for a change that is only proposed.
    """
    import datetime
    from dataclasses import replace

    from fvc.compare.bill import bill
    from fvc.compare.effects import effects
    from fvc.experience import own_of_both

    own = own_of_both(archive, before, after)
    found = effects(before, after, *own)
    return replace(
        result,
        properties=(*result.properties, *found.properties),
        said=found.said,
        bill=bill(before, after, basis_of(archive), datetime.date.today(), cautions=cautions, own=own),
    )


def print_json(value: dict[str, Any]) -> None:
    """Data to stdout, in UTF-8 whatever the terminal uses."""
    from fvc.show.data import dumps

    _in_utf8()
    sys.stdout.write(dumps(value) + "\n")


def markdown() -> Screen:
    """A Markdown page on stdout."""
    from fvc.show.markdown import Markdown

    _in_utf8()
    return Markdown(sys.stdout)


def _in_utf8() -> None:
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(encoding="utf-8")


def screen() -> Screen:
    """The console on stdout."""
    from fvc.show.console import console

    return console()


def warn(faults: Iterable[Fault], lead: str = "warning") -> None:
    """Messages for a person, to stderr."""
    for fault in faults:
        print(f"{lead}: {fault.text()}", file=sys.stderr)


def interactive() -> bool:
    """True when a question can be asked: a terminal on both ends."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def confirmed(question: str) -> bool:
    """Ask in a terminal; anything but y or yes is no."""
    try:
        return input(f"{question} [y/N] ").strip().lower() in ("y", "yes")
    except EOFError:
        return False


def folder_name(path: Path) -> str:
    """A folder as shown to a person: relative to where they stand when it is below."""
    try:
        return os.path.relpath(path)
    except ValueError:
        return str(path)
