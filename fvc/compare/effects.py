"""What a change does to the estimated properties of a product, and in words where a figure alone says too little."""

from __future__ import annotations

from typing import NamedTuple

from fvc.compare.diff import PropertyDiff
from fvc.material import Share
from fvc.reading import Reading
from fvc.science import filling, preservation, solubilising
from fvc.science.estimate import Estimate
from fvc.science.own import Own
from fvc.science.properties import moved_of, preservatives_of, properties_of


class Effects(NamedTuple):
    """properties: of both sides, changed or not. said: sentences on what changed, such as that what works of a preservative halves."""

    properties: tuple[PropertyDiff, ...]
    said: tuple[str, ...]


def effects(before: Reading, after: Reading, own_before: Own, own_after: Own) -> Effects:
    """Estimate both sides, from the readings that each starts from; works on plans that do not close as well."""
    rows = properties_of_both(before, after, own_before, own_after)
    changed = {row.name for row in rows if row.changed}
    return Effects(rows, tuple(_said(before, after, own_before, own_after, "pH" in changed)) if changed else ())


def properties_of_both(before: Reading, after: Reading, own_before: Own, own_after: Own) -> tuple[PropertyDiff, ...]:
    """Every property of both sides, changed or not."""
    sides = ((before, own_before), (after, own_after))
    # the volume of a batch is a matter of its size
    first, second = ({e.property: e for e in properties_of(side, own) if e.property != filling.BATCH} for side, own in sides)
    return tuple(_row(name, first.get(name), second.get(name)) for name in dict.fromkeys([*first, *second]))


def _row(name: str, before: Estimate | None, after: Estimate | None) -> PropertyDiff:
    one = after or before
    assert one is not None
    leans = (before.instead if before else "", after.instead if after else "")
    return PropertyDiff(name, one.unit, _share(before), _share(after), one.decimals, _instead(before), _instead(after), *leans)


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


def _said(before: Reading, after: Reading, own_before: Own, own_after: Own, moves: bool) -> list[str]:
    """moves: the pH changes, so where it starts from must be said."""
    out = []
    moved = moved_of(after, own_after)
    if moved is not None and moves:
        how = "is as it was read" if moved.as_read else "starts from the meter and moves as the model does"
        out.append(f"the pH {how}: {moved.anchor.words}")
        out += moved.notes
    lost = {w.name for w in preservatives_of(after, own_after) if w.pka and w.undissociated is None}
    had = {w.name for w in preservatives_of(before, own_before) if w.undissociated is not None}
    out += [f"{name}: how much of it is undissociated, the form that works, cannot be told any more" for name in sorted(lost & had)]
    changes = preservation.compare(preservatives_of(before, own_before), preservatives_of(after, own_after))
    out += [f"{c.name}, {c.words}" for c in changes if c.name not in lost and not c.words.endswith(preservation.SAME)]
    ratios = {pair.what: pair.ratio for pair in solubilising.pairs_of(before)}
    for pair in solubilising.pairs_of(after):
        learned = solubilising.lesson(pair, own_after.seen)
        if ratios.get(pair.what) != pair.ratio and (words := learned.short or learned.mixed or "; ".join(learned.found)):
            out.append(f"{pair.words}: {words}")
    return out
