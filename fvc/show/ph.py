"""The pH for a person: the estimate beside what the meter read, and a dose with what to type."""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction

from fvc.amounts import ZERO, fixed, needed_decimals, shown
from fvc.metered import Readings
from fvc.reading import Reading
from fvc.science.dosing import BY_MODEL, FIRST_WHEN_ANCHORED, Portion, usable_points
from fvc.science.metering import Anchored, Metered, Point
from fvc.science.ph import PhModel, as_estimate, window_of_all, windows
from fvc.show.properties import ESTIMATE_ONLY, figure_of
from fvc.show.screen import QUIET, Screen, counted, grid

MOST_READINGS, MOST_POINTS = 8, 4
WITH_CARE = "Acids and lyes burn: goggles and gloves, and always a little of them into much product, stirring."


def ph(out: Screen, reading: Reading, found: PhModel, moved: Anchored | None, readings: Readings, spec: str, every: bool) -> None:
    """The estimate, what holds it, the window of strengths, readings with their distance from the model, and what was not counted."""
    plan = reading.plan
    out.head(f"pH: {plan.title or plan.id}", f"{reading.side.ref}, {reading.side.words}")
    by_model = as_estimate(found)
    notes = by_model.notes
    if moved:
        notes = moved.estimate.notes
        aside = f", as it reads {moved.anchor.dilution}; about {moved.neat:.2f} in the product itself" if moved.anchor.dilution else ""
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
            far = f"it is {abs(last.residual or 0):.2f} from the model, too far to go on from"
            why = last.why_no_anchor or ("of this plan the model gives no figure" if found.declined else far)
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
    points = usable_points(readings.points)
    for point in reversed(points[:MOST_POINTS]):
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
    elif found.first < FIRST_WHEN_ANCHORED:
        out.say("half only, since it is far to go, or much more buffers than is known", 2, QUIET)
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
    aside = "; less than its grams per pH, since the buffer gives out on the way" if found.runs_out else ""
    return f"{found.by}: {more}{aside}"
