"""Estimates for a person: the pH beside what the meter read, a dose, and the arithmetic of a property."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fvc.amounts import ZERO, fixed, needed_decimals, shown
from fvc.metered import Readings
from fvc.reading import Reading
from fvc.science.estimate import Estimate, Step
from fvc.science.metering import BY_MODEL, CORRECTED, Anchored, Metered, Point, Portion
from fvc.science.ph import PhModel, as_estimate, window_of_all, windows
from fvc.show.screen import QUIET, Screen, counted, grid

MOST_READINGS = 8
ESTIMATE_ONLY = "An estimate at 25 °C from published constants; the meter decides. It says nothing of whether a product keeps or is safe."
WITH_CARE = "Acids and lyes burn: goggles and gloves, and always a little of them into much product, stirring."


def figure_of(estimate: Estimate) -> str:
    """`4.60, between 4.55 and 4.65`; why there is none where it was declined."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return f"no estimate: {estimate.declined}" + (f"; {estimate.instead}" if estimate.instead else "")
    unit = f" {estimate.unit}" if estimate.unit else ""
    figures = [fixed(v, estimate.decimals) for v in (estimate.value, estimate.low, estimate.high)]
    return f"{figures[0]}{unit}" + (f", between {figures[1]} and {figures[2]}" if figures[1] != figures[2] else "")


def ph(out: Screen, reading: Reading, found: PhModel, moved: Anchored | None, readings: Readings, spec: str, every: bool) -> None:
    """The estimate, what holds it, the window of strengths, readings with their distance from the model, and what was not counted."""
    plan = reading.plan
    out.head(f"pH: {plan.title or plan.id}", f"{reading.side.ref}, {reading.side.words}")
    by_model = as_estimate(found)
    if moved:
        anchor = moved.anchor
        out.say(f"pH {figure_of(moved.estimate)}", 2, "bold")
        move = moved.ph - anchor.ph
        out.item(
            "starts from the meter: ",
            f"{anchor.value.text} in {_which(anchor)}{'' if abs(move) < 0.005 else f', moved by {move:+.2f} as the model moves'}",
            2,
        )
        out.say(f"the model alone: {figure_of(by_model)}", 2, QUIET)
    else:
        out.say(f"pH {figure_of(by_model)}" if not found.declined else figure_of(by_model), 2, "bold")
        if not readings.metered:
            out.say("no pH was read of any batch of it yet: the model alone", 2, QUIET)
    if spec:
        out.say(f"spec: {spec}", 2)
    if found.balance:
        out.say(
            f"buffer value {found.balance.buffer_value * 1000:.3g} mmol per kg of water and pH unit; ionic strength {found.balance.ionic_strength:.2f} mol/kg",
            2,
        )
    _window(out, found, moved.shift if moved else 0.0)
    _readings(out, readings, moved, every)
    if found.found.uncounted:
        out.say("")
        out.head("Not counted", "it buffers too, and no sheet says how much")
        for each in found.found.uncounted:
            out.item("- ", each.words, 2)
    for note in found.notes:
        out.item("note: ", note, 2)
    out.say("")
    out.say(ESTIMATE_ONLY, 0, QUIET)


def _which(reading: Metered) -> str:
    day = f"day {reading.day}" if reading.day else "on the day it was made"
    return f"{reading.trial} ({reading.plan}), {day}" + (f", read {reading.dilution}" if reading.dilution else "")


def _window(out: Screen, found: PhModel, shift: float) -> None:
    each = windows(found)
    if not each:
        return
    out.say("")
    out.head("When a strength varies", "the pH with less and with more of what it brings")
    table = grid(("material", "left"), ("strength", "left"), ("less", "right"), ("more", "right"))
    for w in each:
        table.add_row(w.material, w.by + (", assumed" if w.assumed else ""), f"{w.weaker + shift:.2f}", f"{w.stronger + shift:.2f}")
    low, high = window_of_all(found)
    table.add_row("all at their worst together", "", f"{low + shift:.2f}", f"{high + shift:.2f}")
    out.table(table)


def _readings(out: Screen, readings: Readings, moved: Anchored | None, every: bool) -> None:
    if not readings.metered:
        return
    # those of this plan last, so that they stand at the end where the eye is
    chosen = sorted(readings.metered, key=lambda r: (r.own, r.at))
    left = 0 if every else max(0, len(chosen) - MOST_READINGS)
    out.say("")
    out.head("What the meter read", "beside the model of that batch")
    table = grid(
        ("day", "left"), ("batch", "left"), ("revision", "left"), ("read", "right"), ("model", "right"), ("differs", "right"), ("", "left")
    )
    for each in chosen[left:]:
        here = moved is not None and each.trial == moved.anchor.trial and each.entry == moved.anchor.entry
        residual = "" if each.residual is None else f"{each.residual:+.2f}"
        model = "-" if each.model_ph is None else f"{each.model_ph:.2f}"
        aside = ", ".join(
            w for w in (each.by if each.by != "meter" else "", each.dilution, each.condition if each.condition != "room" else "") if w
        )
        table.add_row(
            each.at.date().isoformat(), each.trial, _plan(each), each.value.text, model, residual, "starts here" if here else aside
        )
    out.table(table)
    if left:
        out.say(f"{counted(left, 'earlier reading')} not shown; --all shows them", 2, QUIET)
    for point in readings.points:
        out.item("titration: ", point_words(point), 2)


def _plan(each: Metered) -> str:
    """What was made, without the name of the formula: `12`, `lighter-scent.1`."""
    name = each.plan.partition(",")[0]
    return min(name.partition("/")[2] or name.partition(".")[2] or name, name, key=len)


def point_words(point: Point) -> str:
    """A weighed addition between two readings, and what it comes to."""
    words = (
        f"{shown(point.grams, 0)} g {point.material} in {fixed(point.product, 1)} g took {point.trial} from {point.before.value.text} to "
        f"{point.after.value.text}"
    )
    return words + (f": {point.per_ph:.3g} g to 100 g for one pH unit" if point.moved else "")


def dose(out: Screen, portion: Portion, step: Fraction, expected: str) -> None:
    """What to weigh in first, as what, and how to go on."""
    found = portion.dose
    out.say("")
    whole = "in all" if portion.in_all else "on top of what is there"
    out.head(f"From pH {found.start:.2f} to {found.target:.2f} with {found.material}", f"{shown(portion.product, 0)} g of product")
    out.say(f"about {fixed(portion.grams, (needed_decimals(step) or 0) + 1)} g {whole}, {_basis(portion)}", 2)
    if expected:
        out.say(f"the plan expects {expected}", 2, QUIET)
    share = f"{shown(found.first * 100, 0)} % of it"
    if portion.stock == 100:
        out.say(f"first  {shown(portion.first_weighed, 0)} g of {found.material}, {share}", 2, "bold")
    else:
        out.say(
            f"first  {shown(portion.first_weighed, 0)} g of a {portion.stock} % stock solution of {found.material} in water, {share}",
            2,
            "bold",
        )
        small = ", and even that is little for it" if portion.too_small else ""
        out.say(
            f"neat it would be {float(portion.first):.2g} g, too small for a {shown(step, 0)} g scale{small}; the water it brings comes off the balance",
            9,
            QUIET,
        )
    out.say("then   stir until even, wait two minutes, read the pH, put it down, and ask again with the batch's id", 2)
    if found.readings < 2:
        out.say("half only, since fewer than two readings of this plan say how far the model is off", 9, QUIET)
    out.say(WITH_CARE, 2, QUIET)


def _basis(portion: Portion) -> str:
    found = portion.dose
    if found.by == BY_MODEL or found.point is None:
        return "by the model alone"
    measured = f"measured: {point_words(found.point)}"
    if found.by == CORRECTED:
        return f"by the model times {found.factor:.2f}, as {measured}"
    return measured + (f" (that is {found.factor:.2f} times what the model says)" if found.factor else "")


def workings(out: Screen, reading: Reading, title: str, estimates: Sequence[Estimate], steps: Sequence[Step]) -> None:
    """A property worked out row by row: what, the arithmetic, what comes out, and where each constant is from."""
    out.head(f"{title}: {reading.plan.title or reading.plan.id}", f"{reading.side.ref}, {reading.side.words}")
    for number, step in enumerate(steps, start=1):
        out.item(f"{number:>2}  ", step.what)
        if step.sum:
            out.item("=  ", step.sum, 4)
        if step.result:
            out.item("is ", step.result, 4, "bold")
        if step.source:
            out.item("by ", step.source, 4, QUIET)
    out.say("")
    if not estimates:
        out.say("nothing in it to estimate", 0, "bold")
    for each in estimates:
        out.say(f"{each.property}: {figure_of(each)}", 0, "bold")
    for left in dict.fromkeys(left for each in estimates for left in each.not_counted):
        out.item("not counted: ", left, 2)
    for note in dict.fromkeys(note for each in estimates for note in each.notes):
        out.item("note: ", note, 2)


def listing(out: Screen, estimates: Sequence[Estimate], ref: str) -> None:
    """All properties of a sheet; those that were declined with the reason, those that do not concern the product not at all."""
    out.say("")
    out.head("Properties, estimated", f"how each comes about:  fvc workings {ref} PROPERTY")
    table = grid(("", "left"), ("", "right"), ("", "left"), ("between", "left"))
    given = [e for e in estimates if e.value is not None and e.low is not None and e.high is not None]
    for each in given:
        low, high = (fixed(end, each.decimals) for end in (each.low or ZERO, each.high or ZERO))
        table.add_row(each.property, fixed(each.value or ZERO, each.decimals), each.unit, "" if low == high else f"{low} to {high}")
    if given:
        out.table(table)
    for each in estimates:
        if each.value is None:
            out.item(f"{each.property}: ", f"{each.declined}{'; ' + each.instead if each.instead else ''}", 2)
    for each in estimates:
        if each.not_counted:
            names = dict.fromkeys(left.partition(":")[0] for left in each.not_counted)
            out.item(f"not counted in {each.property}: ", ", ".join(names), 2, QUIET)
    out.say(ESTIMATE_ONLY, 0, QUIET)
