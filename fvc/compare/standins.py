"""Which other material could take the place of one? All candidates side by side, with how little else changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO
from fvc.change.swap import Into, Substitution, Terms, plain_differences, substituted
from fvc.compare.bill import Bill
from fvc.composition import Composition, composition_of, parts_of
from fvc.errors import Refusal
from fvc.formula import PREMIX, Amount
from fvc.material import Material, inci_key
from fvc.reading import Reading
from fvc.rules.cost import KILOGRAM, per_gram


class StandIn(NamedTuple):
    """One candidate on a basis.

    change: the swap. water: percentage points of total water, None when unknown. elsewhere: points that move in everything
    but the active matter that goes and comes, both ways added up. cost: change of the raw materials per kg, None without a price.
    bill: limits, label and cautions; None where they were not worked out. notes: such as the same INCI name in another form.
    """

    material: Material
    change: Substitution
    water: Fraction | None
    elsewhere: Fraction
    cost: Fraction | None
    notes: tuple[str, ...] = ()
    bill: Bill | None = None

    @property
    def level(self) -> Fraction:
        """Percent that it would stand at, exact."""
        return self.change.levels[0][1]


class NoStandIn(NamedTuple):
    """A candidate that cannot be compared on this basis, and why."""

    material: Material
    why: str


def candidates(old: Material, materials: Iterable[Material], plan: str) -> list[Material]:
    """Every material that shares a function with `old`, formulas among them only when they are premixes of that function's kind."""
    wanted = {f.casefold() for f in old.functions} - {PREMIX}
    return [m for m in materials if m.id not in (old.id, plan) and not m.nested and wanted & {f.casefold() for f in m.functions}]


def stand_ins(
    reading: Reading,
    old: Sequence[Amount],
    among: Iterable[Material],
    basis: str,
    materials: Mapping[str, Material],
    terms: Terms,
    currency: str = "",
) -> tuple[list[StandIn], list[NoStandIn]]:
    """Each candidate put in the place of `old` by itself, sorted by how little else changes; and those that cannot be compared."""
    before = composition_of(reading)
    gone = materials[old[0].line.material]
    found: list[StandIn] = []
    left: list[NoStandIn] = []
    for material in among:
        try:
            change = substituted(reading, old, [Into(material.id)], basis, materials, terms)
        except Refusal as refusal:
            left.append(NoStandIn(material, refusal.faults[0].message))
            continue
        after = composition_of(change.after)
        known = before.water.nominal is not None and after.water.nominal is not None
        water = (after.water.nominal or ZERO) - (before.water.nominal or ZERO) if known else None
        elsewhere = _elsewhere(before, after, gone, material)
        found.append(
            StandIn(material, change, water, elsewhere, _cost(reading, change.after, currency), tuple(plain_differences(gone, material)))
        )
    found.sort(key=lambda row: (row.elsewhere, row.material.id))
    return found, left


def by_how_little(rows: Iterable[StandIn]) -> list[StandIn]:
    """The rows with their bills in order: those that cross no limit first, then by cautions, allergens, how little moves elsewhere, new names, cost."""

    def weight(row: StandIn) -> tuple[int, int, int, Fraction, int, Fraction, str]:
        bill = row.bill or Bill((), (), None)
        return (
            sum(each.kind == "crossed" for each in bill.limits),
            len(bill.cautions or ()),
            sum(len(each.allergens_gained) for each in bill.labels),
            row.elsewhere,
            sum(len(each.names_gained) for each in bill.labels),
            ZERO if row.cost is None else row.cost,
            row.material.id,
        )

    return sorted(rows, key=weight)


def _elsewhere(before: Composition, after: Composition, gone: Material, comes: Material) -> Fraction:
    """Points that move in all but the active matter of the two, both ways added up."""
    own = {inci_key(n) for m in (gone, comes) for n in (m.active or m.composition or ()) if inci_key(n) != "aqua"}
    first, second = ({inci_key(s.inci): s.share.nominal or ZERO for s in side.substances} for side in (before, after))
    moved = sum((abs(second.get(k, ZERO) - first.get(k, ZERO)) for k in {*first, *second} - own), ZERO)
    return moved + abs((after.undeclared.nominal or ZERO) - (before.undeclared.nominal or ZERO))


def _cost(before: Reading, after: Reading, currency: str) -> Fraction | None:
    """Change of the raw materials per kg, from those whose percent differs; None when one of them has no price."""
    points: dict[str, Fraction] = {}
    materials: dict[str, Material | None] = {}
    for side, sign in ((before, -1), (after, 1)):
        for part in parts_of(side):
            points[part.id] = points.get(part.id, ZERO) + sign * part.percent
            materials[part.id] = part.material
    change = ZERO
    for id, moved in points.items():
        if moved:
            each, _ = per_gram(materials[id], currency)
            if each is None:
                return None
            change += moved * each * KILOGRAM / HUNDRED
    return change
