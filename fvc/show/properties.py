"""Estimates for a person: the pH beside what the meter read, a dose, and the arithmetic of a property."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from fvc.amounts import ZERO, fixed, needed_decimals, shown
from fvc.metered import Readings
from fvc.reading import Reading
from fvc.science.dosing import BY_MODEL, Portion
from fvc.science.estimate import Estimate, Step
from fvc.science.metering import Anchored, Metered, Point
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
    notes = by_model.notes
    if moved:
        notes = moved.estimate.notes
        aside = f", as it reads {moved.anchor.dilution}" if moved.anchor.dilution else ""
        out.say(f"pH {figure_of(moved.estimate)}{aside}", 2, "bold")
        move = moved.ph - moved.anchor.ph
        read = "as it was read, and nothing went in since: " if reading.side.made else "as it was read: "
        how = read if moved.as_read else "starts from the meter: "
        moves = "" if moved.as_read or abs(move) < 0.005 else f", moved by {move:+.2f} as the model moves"
        out.item(how, f"{moved.anchor.words}, {_plan_words(moved.anchor)}{moves}", 2)
        out.say(f"the model alone: {figure_of(by_model)}", 2, QUIET)
    else:
        out.say(figure_of(by_model) if found.declined else f"pH {figure_of(by_model)}", 2, "bold")
        if not readings.metered and not found.declined:
            out.say("no pH was read of any batch of it yet: the model alone", 2, QUIET)
        elif readings.metered:
            last = readings.metered[-1]
            why = last.why_no_anchor or f"it is {abs(last.residual or 0):.2f} from the model, too far to go on from"
            out.item("not started from the last reading: ", why, 2)
    if spec:
        out.say(f"spec: {spec}", 2)
    for note in notes:
        out.item("note: ", note, 2)
    if found.balance and found.buffer_value is not None:
        strength = f"ionic strength {found.balance.ionic_strength:.2f} mol/kg"
        out.say(f"buffer value {found.buffer_value * 1000:.3g} mmol per kg of water and pH unit; {strength}", 2)
    _window(out, found, moved.shift if moved else 0.0)
    _readings(out, readings, moved, every)
    if found.found.uncounted:
        out.say("")
        out.head("Not counted", "it buffers too, and no sheet says how much")
        for each in found.found.uncounted:
            out.item("- ", each.words, 2)
    out.say("")
    out.say(ESTIMATE_ONLY, 0, QUIET)


def _plan_words(reading: Metered) -> str:
    return "a batch of this plan" if reading.own else f"a batch of {reading.plan}"


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


def dose(out: Screen, portion: Portion, step: Fraction, reading: Reading, water: str, settled: Collection[str]) -> None:
    """What to weigh in first, as what, what to type, and how to go on. settled: materials of which all is in that the sheet asked for."""
    found = portion.dose
    whole = "in all" if portion.in_all else "on top of what is there"
    start = "an unbuffered start" if found.unbuffered else f"pH {found.start:.2f}"
    dilution = f", as it reads {found.anchor.dilution}" if found.anchor and found.anchor.dilution else ""
    out.head(f"From {start} to {found.target:.2f}{dilution} with {found.material}", f"{shown(portion.product, 0)} g of product")
    if found.anchor:
        out.item("set to what the meter read: ", f"{found.anchor.words}, {_plan_words(found.anchor)}", 2)
    out.item("about ", f"{_grams(portion.grams, step)} g {whole}, {_basis(portion)}", 2)
    expected = sum((a.counted for a in reading.closure.amounts if a.line.material == found.material), ZERO)
    if portion.in_all and expected:
        out.say(f"the plan expects {shown(expected, 2)} %, {shown(expected * portion.product / 100, 2)} g", 2, QUIET)
    for caution in portion.cautions:
        out.item("caution: ", caution, 2, "bold")
    share = f"{shown(found.first * 100, 0)} % of it"
    trial = reading.plan.id if reading.side.made else "TRIAL"
    if portion.stock == 100:
        out.item("first: ", f"{fixed(portion.weighed, _decimals(step))} g of {found.material}, {share}", 2, "bold")
        went_in = {found.material: fixed(portion.weighed, _decimals(step))}
    else:
        parts = "1 g + 9 g" if portion.stock == 10 else "1 g + 99 g"
        out.item(
            "first: ",
            f"{fixed(portion.weighed, _decimals(step))} g of a stock solution, {parts} {water} ({portion.stock} % of {found.material} as it is): {share}",
            2,
            "bold",
        )
        small = "; even of that it is little" if portion.too_small else ""
        out.say(f"neat it would be {float(portion.first):.2g} g, too little for a scale of {shown(step, 0)} g{small}", 4, QUIET)
        fine = step / portion.stock
        went_in = {found.material: _grams(portion.neat, fine), water: _grams(portion.weighed - portion.neat, fine)}
    out.say("then stir until even, wait two minutes, read the pH, and put down what went in, as what it is:", 2)
    put_down = [f"fvc trial added {trial} {id} {grams}{' --sure' if id in settled else ''}" for id, grams in went_in.items()]
    for line in (*put_down, f'fvc trial see {trial} "pH … meter"', f"fvc ph {trial} --to {found.target:g} --with {found.material}"):
        out.say(line, 4)
    if found.anchors < 2:
        out.say("half only, since fewer than two readings of this plan agree on how far the model is off", 2, QUIET)
    out.say(WITH_CARE, 2, QUIET)


def _decimals(step: Fraction) -> int:
    return needed_decimals(step) or 0


def _grams(value: Fraction, step: Fraction) -> str:
    """Grams with one decimal more than a scale shows."""
    return fixed(value, min(_decimals(step) + 1, 5))


def _basis(portion: Portion) -> str:
    found = portion.dose
    if found.by == BY_MODEL or found.point is None:
        return "by the model" + (" alone" if found.anchor is None else " from there on")
    more = f"{found.factor:.2f} times what the model says, as {point_words(found.point)}"
    return f"{found.by}: {more}"


def workings(out: Screen, reading: Reading, title: str, estimates: Sequence[Estimate], steps: Sequence[Step]) -> None:
    """A property worked out row by row: what, the arithmetic, what comes out, and where each constant is from."""
    out.head(f"{title}: {reading.plan.title or reading.plan.id}", f"{reading.side.ref}, {reading.side.words}")
    for number, step in enumerate(steps, start=1):
        out.item(f"{number:>2}  ", step.what)
        if step.sum:
            out.item("=  ", step.sum, 4)
        if step.result:
            out.item("-> ", step.result, 4, "bold")
        if step.source:
            out.item("source: ", step.source, 4, QUIET)
    out.say("")
    if not estimates:
        out.say("nothing in it to estimate", 0, "bold")
    for each in estimates:
        out.say(f"{each.property}: {figure_of(each)}", 0, "bold")
    for left in dict.fromkeys(left for each in estimates for left in each.not_counted):
        out.item("not counted: ", left, 2)
    for note in dict.fromkeys(note for each in estimates for note in each.notes):
        out.item("note: ", note, 2)


# Of these a product that has no such thing in it is not told.
ONLY_IF_GIVEN = ("solubiliser to oil", "HLB of the emulsifiers", "HLB that the oil asks for")


def listing(out: Screen, estimates: Sequence[Estimate], ref: str) -> None:
    """All properties of a sheet; those that were declined with the reason, those that do not concern the product not at all."""
    out.say("")
    out.head("Properties, estimated", f"how each comes about:  fvc workings {ref} PROPERTY")
    table = grid(("", "left"), ("", "right"), ("", "left"), ("between", "left"))
    given = [e for e in estimates if e.value is not None]
    for each in given:
        low, high = (fixed(end, each.decimals) for end in (each.low or ZERO, each.high or ZERO))
        table.add_row(each.property, fixed(each.value or ZERO, each.decimals), each.unit, "" if low == high else f"{low} to {high}")
    if given:
        out.table(table)
    for each in estimates:
        if each.value is None and each.property not in ONLY_IF_GIVEN:
            out.item(f"{each.property}: ", f"{each.declined}{'; ' + each.instead if each.instead else ''}", 2)
    for each in estimates:
        if each.not_counted and (each.value is not None or each.property not in ONLY_IF_GIVEN):
            names = dict.fromkeys(left.partition(":")[0] for left in each.not_counted)
            out.item(f"not counted in {each.property}: ", ", ".join(names), 2, QUIET)
    if any(each.property.startswith("undissociated") for each in given):
        out.say("undissociated: the form of a preserving acid that works", 2, QUIET)
    out.say(ESTIMATE_ONLY, 0, QUIET)
