"""What a change does to the estimated properties of a product, and in words where a figure alone says too little."""

from __future__ import annotations

from typing import NamedTuple

from fvc.compare.diff import PropertyDiff
from fvc.material import Share
from fvc.reading import Reading
from fvc.science import preservation, solubilising
from fvc.science.estimate import Estimate
from fvc.science.properties import Own, moved_of, preservatives_of, properties_of


class Effects(NamedTuple):
    """properties: of both sides, changed or not. said: sentences on what changed, such as that what works of a preservative halves."""

    properties: tuple[PropertyDiff, ...]
    said: tuple[str, ...]


def effects(before: Reading, after: Reading, own_before: Own, own_after: Own) -> Effects:
    """Estimate both sides, from the readings that each starts from; works on plans that do not close as well."""
    rows = properties_of_both(before, after, own_before, own_after)
    changed = any(row.changed for row in rows)
    return Effects(rows, tuple(_said(before, after, own_before, own_after)) if changed else ())


def properties_of_both(before: Reading, after: Reading, own_before: Own, own_after: Own) -> tuple[PropertyDiff, ...]:
    """Every property of both sides, changed or not."""
    first = {e.property: e for e in properties_of(before, own_before)}
    second = {e.property: e for e in properties_of(after, own_after)}
    return tuple(_row(name, first.get(name), second.get(name)) for name in dict.fromkeys([*first, *second]))


def _row(name: str, before: Estimate | None, after: Estimate | None) -> PropertyDiff:
    one = after or before
    assert one is not None
    return PropertyDiff(name, one.unit, _share(before), _share(after), one.decimals, _instead(before), _instead(after))


def _share(estimate: Estimate | None) -> Share | None:
    """The figure with its band; None where there is none."""
    if estimate is None or estimate.value is None or estimate.low is None or estimate.high is None:
        return None
    return Share(estimate.value, estimate.low, estimate.high)


def _instead(estimate: Estimate | None) -> str:
    """Why there is no figure, and what can be said without one; "" for a property that the product does not have."""
    if estimate is None or estimate.value is not None:
        return ""
    return "; ".join(part for part in (estimate.declined, estimate.instead) if part)


def _said(before: Reading, after: Reading, own_before: Own, own_after: Own) -> list[str]:
    out = []
    moved = moved_of(after, own_after)
    if moved is not None:
        anchor = moved.anchor
        out.append(f"the pH starts from the meter, {anchor.value.text} in {anchor.trial} on day {anchor.day}, and moves as the model does")
    changes = preservation.compare(preservatives_of(before, own_before), preservatives_of(after, own_after))
    out += [f"{change.name}, {change.words}" for change in changes]
    ratios = {pair.what: pair.ratio for pair in solubilising.pairs_of(before)}
    for pair in solubilising.pairs_of(after):
        learned = solubilising.lesson(pair, own_after.seen)
        if ratios.get(pair.what) != pair.ratio and (words := learned.short or learned.mixed or "; ".join(learned.found)):
            out.append(f"{pair.words}: {words}")
    return out
