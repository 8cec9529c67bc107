"""Estimates for a person: all of them on a sheet, and the arithmetic of one."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.amounts import ZERO, fixed
from fvc.reading import Reading
from fvc.science.estimate import Estimate, Step
from fvc.show.screen import QUIET, Screen, grid

ESTIMATE_ONLY = "An estimate at 25 °C from published constants; the meter decides. It says nothing of whether a product keeps or is safe."


def figure_of(estimate: Estimate) -> str:
    """`4.60, between 4.55 and 4.65`; why there is none where it was declined."""
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return f"no estimate: {estimate.declined}" + (f"; {estimate.instead}" if estimate.instead else "")
    unit = f" {estimate.unit}" if estimate.unit else ""
    figures = [fixed(v, estimate.decimals) for v in (estimate.value, estimate.low, estimate.high)]
    return f"{figures[0]}{unit}" + (f", between {figures[1]} and {figures[2]}" if figures[1] != figures[2] else "")


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
