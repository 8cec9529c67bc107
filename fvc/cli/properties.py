"""Commands that estimate what a product does: ph, workings."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Annotated

import typer

from fvc.amounts import figure, fixed, number, shown
from fvc.archive import Archive
from fvc.bench import step_of_scale
from fvc.cli.parsing import AsJson, BatchSize, Density, batch_of, open_archive, print_json, screen, warn
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, EXIT_INPUT, Fault, Refusal
from fvc.experience import own_of
from fvc.formula import OPEN
from fvc.material import Material
from fvc.metered import Readings, formula_of, readings_of
from fvc.names import printable, suggestion
from fvc.reading import Reading
from fvc.references import resolve
from fvc.science.estimate import Step
from fvc.science.metering import Anchored, NoDose, Portion, anchor_of, anchored, dose, last_point, portion
from fvc.science.ph import LEAST_BUFFER, PhModel, alone, model
from fvc.science.properties import KEYS, PROPERTIES

Ref = Annotated[str, typer.Argument(metavar="REF", help="face-toner, face-toner.4, face-toner/VARIANT, a trial's id.")]


def ph(
    ref: Ref,
    to: Annotated[str, typer.Option("--to", metavar="PH", help="Work out what brings it to this pH; with --with.")] = "",
    with_: Annotated[str, typer.Option("--with", metavar="MATERIAL", help="The acid or base to do it with.")] = "",
    batch: BatchSize = "",
    density: Density = "",
    every: Annotated[bool, typer.Option("--all", help="Show every reading, not only the last.")] = False,
    as_json: AsJson = False,
) -> int:
    """The pH estimated from what the records declare, corrected by the readings of your own batches; with --to, a dose."""
    archive = open_archive()
    reading = resolve(archive, ref)
    asked = _asked(archive, to, with_)
    found = model(reading)
    readings = readings_of(archive, reading)
    moved = anchored(found, anchor_of(readings.metered))
    worked = None if asked is None else _portion(archive, reading, found, moved, readings, asked, batch_of(reading, batch, density)[0])
    given = worked if isinstance(worked, Portion) else None
    if as_json:
        from fvc.show import properties_data

        print_json(properties_data.ph(reading, found, moved, readings, given))
    else:
        from fvc.show import properties
        from fvc.show.sheets import spec_words

        out = screen()
        if asked is None:
            properties.ph(out, reading, found, moved, readings, _spec(reading, spec_words), every)
        elif given is not None:
            properties.dose(out, given, _step(archive, reading), _expected(reading, given))
    warn(reading.warnings)
    warn(readings.problems)
    if isinstance(worked, NoDose):
        warn([Fault(worked.why, next=worked.next)], "no dose")
        return EXIT_ANSWER_IS_NO
    if reading.faults:
        warn(reading.faults, "the plan is not closed")
        return EXIT_INPUT
    return EXIT_DONE


def workings(
    ref: Ref,
    property: Annotated[str, typer.Argument(metavar="PROPERTY", help=", ".join(KEYS) + ".")],
    target: Annotated[
        str, typer.Option("--target", metavar="HLB", help="With hlb: split the emulsifiers for this HLB, not for what the oil asks for.")
    ] = "",
    emulsifiers: Annotated[
        list[str] | None, typer.Option("--of", metavar="MATERIAL", help="With hlb: the two emulsifiers to split; give it twice.")
    ] = None,
    as_json: AsJson = False,
) -> int:
    """The arithmetic of an estimated property, row by row, with its constants and their sources: to check it, or to teach it."""
    archive = open_archive()
    key = property.strip().casefold().replace("_", "-").replace(" ", "-")
    chosen = next((p for p in PROPERTIES if p.key == key), None)
    if chosen is None:
        raise Refusal(f'no property "{printable(property)}"', next=suggestion(key, KEYS, f"known are {', '.join(KEYS)}"))
    if (target or emulsifiers) and key != "hlb":
        raise Refusal("--target and --of go with hlb", next=f"fvc workings {printable(ref)} hlb --target 8.5")
    reading = resolve(archive, ref)
    own = own_of(archive, reading, clarity=key == "solubiliser")
    estimates = chosen.of(reading, own)
    steps = (*chosen.workings(reading, own), *(_split(reading, target, emulsifiers or ()) if key == "hlb" else ()))
    if as_json:
        from fvc.show import properties_data

        print_json(properties_data.workings(reading, chosen.key, estimates, steps))
    else:
        from fvc.show import properties

        properties.workings(screen(), reading, chosen.title, estimates, steps)
    warn(reading.warnings)
    if reading.faults:
        warn(reading.faults, "the plan is not closed")
        return EXIT_INPUT
    return EXIT_DONE


def _split(reading: Reading, target: str, emulsifiers: Sequence[str]) -> tuple[Step, ...]:
    """The split of two emulsifiers that meets a target; nothing where none was asked for and the plan gives none."""
    from fvc.science.emulsifying import split_in

    try:
        wanted = number(target.strip()).value if target else None
    except ValueError as error:
        raise Refusal(f'--target "{printable(target)}" cannot be read: {error}', next="for example  --target 8.5") from None
    try:
        found = split_in(reading, wanted, emulsifiers)
    except Refusal:
        if target or emulsifiers:
            raise
        return ()
    return (
        Step(
            f"to meet HLB {figure(found.target)}",
            result=f"{fixed(found.percents[0], 4)} % {found.names[0]}, {fixed(found.percents[1], 4)} % {found.names[1]}",
        ),
        *found.workings,
    )


def _expected(reading: Reading, given: Portion) -> str:
    """What an open line expects of the dose, in percent and grams of this batch; "" where it is none."""
    percent = sum((a.counted for a in reading.closure.amounts if a.line.material == given.dose.material), Fraction(0))
    return f"{shown(percent, 2)} %, {shown(percent * given.product / 100, 2)} g" if given.in_all and percent else ""


def _spec(reading: Reading, words: object) -> str:
    given = reading.plan.spec.get("ph")
    return words({"ph": given}) if given and callable(words) else ""


class _Asked:
    """A target and the material to reach it with, both as they are in this formulary."""

    def __init__(self, target: Fraction, material: Material) -> None:
        self.target, self.material = target, material


def _asked(archive: Archive, to: str, with_: str) -> _Asked | None:
    if not to and not with_:
        return None
    if not to:
        raise Refusal("a pH to go to is missing", next=f"fvc ph REF --to 4.8 --with {printable(with_)}")
    try:
        target = number(to.strip()).value
    except ValueError as error:
        raise Refusal(f'--to "{printable(to)}" cannot be read: {error}', next="for example  --to 4.8") from None
    if not 1 <= target <= 13:
        raise Refusal(f"--to {shown(target, 0)}: no product stands at that pH", next="name one from 1 to 13; most are between 3.5 and 9")
    known = [id for id in archive.now.materials() if (m := archive.now.ingredient(id)[0]) is not None and m.does("pH adjuster")]
    if not with_:
        raise Refusal("it does not say with which acid or base", next=f"add  --with {known[0] if known else 'MATERIAL'}")
    material, faults, _ = archive.now.ingredient(with_)
    if material is None:
        names = archive.now.materials()
        raise Refusal(
            faults or f'unknown material "{printable(with_)}"', next=suggestion(with_, names, f"pH adjusters here: {', '.join(known)}")
        )
    return _Asked(target, material)


def _portion(
    archive: Archive, reading: Reading, found: PhModel, moved: Anchored | None, readings: Readings, asked: _Asked, grams: Fraction | None
) -> Portion | NoDose:
    """The dose for this batch, or why there is none."""
    if found.mixture is None or (found.declined and found.balance is not None and found.balance.buffer_value >= LEAST_BUFFER):
        return NoDose(found.declined, "read the pH, and go by small additions and the meter alone")
    if not reading.sound or grams is None:
        return NoDose("the plan does not close, or its batch is not known in grams", "mend it first, or add  --batch 150g")
    material = asked.material
    with_ = alone(material)
    there, in_all = found.mixture, False
    for amount in reading.closure.amounts:
        if amount.line.material == material.id and amount.line.level.kind == OPEN:
            # what the line expects is already in the balance: the dose is the whole of it
            there, in_all = there.with_more(with_, -float(amount.counted)), True
    usable = [r for r in readings.own if not r.why_no_anchor]
    point = last_point(readings.points, material.id)
    its = reading.materials.get(point.material) or archive.now.ingredient(point.material)[0] if point else None
    titrated = (point, alone(its)) if point and its else None
    worked = dose(material.id, there, with_, float(asked.target), moved.shift if moved else 0.0, titrated, len(usable))
    if isinstance(worked, NoDose):
        return worked
    settings = archive.now.settings()
    return portion(worked, grams, _step(archive, reading), settings.small_below, in_all=in_all)


def _step(archive: Archive, reading: Reading) -> Fraction:
    """The step of the scale that a dose is weighed on: of the batch, else the finest of the formulary."""
    if reading.side.made:
        trial = archive.now.trial(formula_of(archive, reading), reading.plan.id).value
        if trial is not None:
            return step_of_scale(trial)
    return min(scale.step for scale in archive.now.settings().scales)
