"""Commands that estimate what a product does: ph, workings."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Annotated, NamedTuple

import typer

from fvc.amounts import figure, fixed, number, shown
from fvc.archive import Archive
from fvc.bench import step_of_scale, targets
from fvc.cli.parsing import AsJson, BatchSize, Density, batch_of, open_archive, print_json, screen, warn
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, EXIT_INPUT, Fault, Refusal
from fvc.experience import own_of
from fvc.formula import OPEN
from fvc.material import Material
from fvc.metered import Readings, formula_of, readings_of
from fvc.names import printable, suggestion
from fvc.reading import Reading
from fvc.references import resolve
from fvc.science.dosing import (
    NoDose,
    Portion,
    Question,
    cautions,
    contradiction,
    dose,
    how_many_anchor,
    model_for_dose,
    portion,
    to_start_from,
)
from fvc.science.estimate import Step
from fvc.science.metering import FURTHEST, anchor_of, anchored
from fvc.science.mixture import Mixture, alone
from fvc.science.ph import PhModel, model
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
    worked = None if asked is None else _portion(archive, reading, found, readings, asked, batch_of(reading, batch, density)[0])
    if as_json:
        from fvc.show import properties_data

        print_json(properties_data.ph(reading, found, moved, readings, worked))
    else:
        from fvc.show import ph as shown_ph
        from fvc.show.sheets import spec_words

        given = reading.plan.spec.get("ph")
        if asked is None:
            shown_ph.ph(screen(), reading, found, moved, readings, spec_words({"ph": given}) if given else "", every)
        elif isinstance(worked, Portion):
            shown_ph.dose(screen(), worked, _step(archive, reading), reading, _water(reading), _settled(archive, reading))
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
    chosen = next((p for p in PROPERTIES if p.answers(property)), None)
    if chosen is None:
        raise Refusal(
            f'no property "{printable(property)}"', next=suggestion(property.strip().casefold(), KEYS, f"known are {', '.join(KEYS)}")
        )
    key = chosen.key
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


class _Asked(NamedTuple):
    """A target and the material to reach it with, as it is in this formulary."""

    target: Fraction
    material: Material


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
    archive: Archive, reading: Reading, found: PhModel, readings: Readings, asked: _Asked, grams: Fraction | None
) -> Portion | NoDose:
    """The dose for this batch, or why there is none. Refusal for a plan that cannot be weighed, or whose batch is not known in grams."""
    if not reading.sound:
        raise Refusal(reading.faults)
    if grams is None:
        raise Refusal("the batch of the plan is not known in grams", next="add  --batch 150g, or  --density 1.01")
    if why := model_for_dose(found):
        return NoDose(why, "read the pH, and go by small additions and the meter alone")
    assert found.mixture is not None

    def alone_of(id: str) -> Mixture | None:
        known = reading.materials.get(id) or archive.now.ingredient(id)[0]
        return alone(known) if known else None

    here = [p for p in readings.points if reading.side.made and p.trial == reading.plan.id]
    if wrong := contradiction(here, alone_of):
        return NoDose(
            wrong,
            "stir until even, wait, check the meter in a buffer and read again; nothing more goes in before that. Then put the reading down:  fvc trial see",
        )
    anchor = to_start_from(readings.metered)
    if found.lacks and anchor is None:
        return NoDose(found.declined, "make a batch and read it first: a reading makes up for what is not counted")
    of_it = anchor is not None and reading.side.made and anchor.trial == reading.plan.id
    if anchor is not None and not of_it and (found.lacks or abs(anchor.residual or 0) > FURTHEST):
        why = found.declined if found.lacks else f"{anchor.trial} read {abs(anchor.residual or 0):.2f} beside its model"
        return NoDose(why, "what is not counted decides: read the batch itself, and ask with its id")
    with_, there, whole = alone(asked.material), found.mixture, False
    for amount in reading.closure.amounts:
        if amount.line.material == asked.material.id and amount.line.level.kind == OPEN:
            # what the line expects is already in the balance: the dose is the whole of it
            there, whole = there.with_more(with_, -float(amount.counted)), True
    question = Question(
        material=asked.material.id,
        there=there,
        with_=with_,
        target=float(asked.target),
        anchor=anchor,
        whole=whole,
    )
    worked = dose(question, readings.points, how_many_anchor(readings.metered), alone_of)
    if isinstance(worked, NoDose):
        return worked
    warned = cautions(worked, asked.material, reading, whole)
    return portion(worked, question, grams, _step(archive, reading), archive.now.settings().small_below, warned)


def _step(archive: Archive, reading: Reading) -> Fraction:
    """The step of the scale that a dose is weighed on: of the batch, else the finest of the formulary."""
    if reading.side.made:
        trial = archive.now.trial(formula_of(archive, reading), reading.plan.id).value
        if trial is not None:
            return step_of_scale(trial)
    return min(scale.step for scale in archive.now.settings().scales)


def _settled(archive: Archive, reading: Reading) -> frozenset[str]:
    """Materials of which a batch has all that its sheet asked for, so that `trial added` wants to be told that it is meant."""
    if not reading.side.made:
        return frozenset()
    trial = archive.now.trial(formula_of(archive, reading), reading.plan.id).value
    return frozenset(t.material for t in targets(trial) if t.settled and not t.open) if trial else frozenset()


def _water(reading: Reading) -> str:
    """The material that is water and nothing else, which a stock solution is made with."""
    return next((id for id, material in reading.materials.items() if material.is_water), "water")
