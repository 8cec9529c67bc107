"""Commands that read one or two references: sheet, weigh, diff."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from fvc.archive import Archive
from fvc.cli.parsing import AsJson, BatchSize, Density, batch_of, markdown, open_archive, print_json, screen, warn, with_bill
from fvc.compare.diff import Diff
from fvc.compare.diff import diff as compare
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, EXIT_INPUT, Refusal
from fvc.names import printable
from fvc.reading import Reading
from fvc.references import last_saved, parent_of, parse_reference, plan_of_trial, resolve

if TYPE_CHECKING:
    from fvc.science.estimate import Estimate
    from fvc.shelf import Offer
    from fvc.weighing import WeighSheet

Ref = Annotated[str, typer.Argument(metavar="REF", help="face-toner, face-toner.4, face-toner.before, face-toner/VARIANT, a trial's id.")]


def sheet(
    ref: Ref,
    batch: BatchSize = "",
    density: Density = "",
    composition: Annotated[bool, typer.Option("--composition", help="Also what is in it by INCI name, and where it comes from.")] = False,
    properties: Annotated[
        bool, typer.Option("--properties", help="Also what it does, estimated: pH, preservation, water activity, HLB, density, solids.")
    ] = False,
    as_json: AsJson = False,
) -> int:
    """The formula sheet: lines by phase with percent, grams, active matter and function; totals and water."""
    return show_sheet(open_archive(), ref, batch, density, composition, properties, as_json)


def show_sheet(
    archive: Archive,
    ref: str,
    batch: str = "",
    density: str = "",
    composition: bool = False,
    properties: bool = False,
    as_json: bool = False,
) -> int:
    """Print the sheet of a reference; 2 when the plan does not close."""
    if not as_json:
        from fvc.show import sheets  # while git is answering
    reading = resolve(archive, ref)
    grams, text = batch_of(reading, batch, density) if reading.sound else (None, "")
    estimates = _estimates(archive, reading) if properties else None
    if as_json:
        from fvc.show import data, properties_data

        found = data.sheet(reading, grams)
        print_json(found if estimates is None else found | {"properties": [properties_data.estimate(e) for e in estimates]})
    else:
        out = screen()
        sheets.sheet(out, reading, grams, text, archive.now.settings().scales, composition=composition)
        if estimates is not None:
            from fvc.show.properties import listing

            listing(out, estimates, ref)
    warn(reading.warnings)
    if reading.faults:
        warn(reading.faults, "no grams")
        return EXIT_INPUT
    return EXIT_DONE


def _estimates(archive: Archive, reading: Reading) -> tuple[Estimate, ...]:
    from fvc.experience import own_of
    from fvc.science.properties import properties_of

    return properties_of(reading, own_of(archive, reading))


def weigh(
    ref: Ref,
    batch: BatchSize = "",
    scale: Annotated[str, typer.Option("--scale", metavar="STEP", help='Weigh everything on one scale, such as "0.01g".')] = "",
    density: Density = "",
    as_json: AsJson = False,
) -> int:
    """The weigh sheet: grams for one batch, rounded to the scales, with boxes to fill in at the bench."""
    return show_weigh(open_archive(), ref, batch, scale, density, as_json)


def show_weigh(archive: Archive, ref: str, batch: str = "", scale: str = "", density: str = "", as_json: bool = False) -> int:
    """Print the weigh sheet of a reference, on the scales of the formulary as it is today."""
    reading = resolve(archive, ref)
    result, text = weighing_of(archive, reading, batch, scale, density)
    shelf = _shelf(archive, result)
    if as_json:
        from fvc.show import data

        print_json(data.weigh(reading, result, shelf))
    else:
        from fvc.show import sheets

        sheets.weigh(screen(), reading, result, text, shelf)
    warn(reading.warnings)
    return EXIT_DONE


def weighing_of(archive: Archive, reading: Reading, batch: str, scale: str, density: str) -> tuple[WeighSheet, str]:
    """The weigh sheet that options ask for, and the batch as text. Refusal for a plan that does not close, and for a size that is not known."""
    from fvc.scales import scale_from_text
    from fvc.weighing import weigh_sheet

    if not reading.sound:
        raise Refusal(reading.faults)
    settings = archive.now.settings()
    try:
        scales = [scale_from_text(scale)] if scale else list(settings.scales)
    except ValueError as error:
        raise Refusal(f'--scale "{printable(scale)}": {error}', next="for example  --scale 0.01g") from None
    grams, text = batch_of(reading, batch, density)
    if grams is None:
        raise Refusal(f'the batch of the plan, "{text}", needs a density', next="add --density 1.01, or --batch 150g")
    return weigh_sheet(reading, grams, scales, settings.small_below), text


def _shelf(archive: Archive, sheet: WeighSheet) -> dict[str, Offer]:
    """Lots for the lines of a weigh sheet: those on the shelf today, whatever moment the plan is of; of a premix its batches."""
    import datetime
    from dataclasses import replace

    from fvc.shelf import offers

    needs = [(line.amount.line.material, line.grams) for line in sheet.lines if line.grams]
    found = {id: m for id, _ in needs if (m := archive.now.ingredient(id)[0]) is not None}
    if any(m.nested for m in found.values()) and archive.now.trials():
        from fvc.lots import batches_on_shelf, ledger_of

        ledger = ledger_of(archive)
        found = {id: replace(m, lots=batches_on_shelf(ledger, id)) if m.nested else m for id, m in found.items()}
        warn(ledger.problems)
    return offers(needs, found, datetime.date.today())


def diff(
    a: Annotated[
        str, typer.Argument(metavar="A", help="The first reference; alone: a plan's last saved state, or a variant's parent, comes before.")
    ],
    b: Annotated[
        str, typer.Argument(metavar="[B]", help="The second reference; without it the plan in the folder.", show_default=False)
    ] = "",
    batch: BatchSize = "",
    density: Density = "",
    every: Annotated[bool, typer.Option("--all", help="Also show the lines that did not change.")] = False,
    must_match: Annotated[bool, typer.Option("--must-match", help="Exit with 1 when anything differs.")] = False,
    form: Annotated[str, typer.Option("--format", metavar="FORM", help="text, or markdown for a page on a git host.")] = "text",
    as_json: AsJson = False,
) -> int:
    """What changed between two references: ingredients in percent and grams, and what it does to the product."""
    if form not in ("text", "markdown"):
        raise Refusal(f'"{printable(form)}" is no form of a diff', next="--format text, --format markdown, or --json")
    return show_diff(open_archive(), a, b, batch, density, every, must_match, as_json, for_host=form == "markdown")


def show_diff(
    archive: Archive,
    a: str,
    b: str = "",
    batch: str = "",
    density: str = "",
    every: bool = False,
    must_match: bool = False,
    as_json: bool = False,
    for_host: bool = False,
) -> int:
    """Print the difference of two references; 1 when it must match and does not."""
    if not as_json:
        from fvc.show import differences  # noqa: F401 - while git is answering
    before, after = sides(archive, a, b)
    grams, _ = batch_of(after, batch, density)
    result = with_bill(archive, compare(before, after, grams), before, after)
    show_result(result, every=every, as_json=as_json, for_host=for_host)
    return EXIT_ANSWER_IS_NO if must_match and result.different else EXIT_DONE


def show_result(result: Diff, *, every: bool = False, as_json: bool = False, for_host: bool = False) -> None:
    """Print a difference, and what stands against either side."""
    if as_json:
        from fvc.show import data

        print_json(data.diff(result))
    else:
        from fvc.show import differences

        differences.diff(markdown() if for_host else screen(), result, every=every)
    warn(result.warnings)


def sides(archive: Archive, a: str, b: str) -> tuple[Reading, Reading]:
    """The two readings that `diff A [B]` means; see the defaults in docs/references.md."""
    if b:
        return resolve(archive, a), resolve(archive, b)
    reference = parse_reference(a)
    if reference.ending:
        return resolve(archive, a), resolve(archive, reference.plan_name)
    after = resolve(archive, a)
    if after.side.revision is None:
        return plan_of_trial(archive, after.plan.id), after
    if reference.variant:
        return parent_of(archive, after), after
    return last_saved(archive, reference), after
