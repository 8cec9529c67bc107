"""Which other material could take the place of one? All candidates side by side, with how little else changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO
from fvc.change.swap import Into, Substitution, Terms, plain_differences, substituted
from fvc.compare.bill import Bill
from fvc.compare.diff import PropertyDiff
from fvc.composition import Composition, explode
from fvc.errors import Refusal
from fvc.formula import PREMIX, Amount
from fvc.material import Material, active_names, inci_key
from fvc.reading import Reading
from fvc.rules.cost import KILOGRAM, per_gram

MUCH_PH = Fraction(1, 2)  # pH units, from which a stand-in changes what the product is


class StandIn(NamedTuple):
    """One candidate on a basis.

    change: the swap. water: percentage points of total water, None when unknown. elsewhere: points that move in everything
    but the active matter that goes and comes, both ways added up. cost: change of the raw materials per kg, None without a price.
    bill: limits, label and cautions; None where they were not worked out. notes: such as the same INCI name in another form.
    properties: estimated, before and after; empty where they were not worked out.
    """

    material: Material
    change: Substitution
    water: Fraction | None
    elsewhere: Fraction
    cost: Fraction | None
    notes: tuple[str, ...] = ()
    bill: Bill | None = None
    properties: tuple[PropertyDiff, ...] = ()

    @property
    def level(self) -> Fraction:
        """Percent that it would stand at, exact."""
        return self.change.levels[0][1]

    @property
    def ph(self) -> PropertyDiff | None:
        """The estimated pH of both sides; None where it was not worked out."""
        return next((p for p in self.properties if p.name == "pH"), None)

    @property
    def moves_ph(self) -> bool:
        """True where the pH moves by more than 0.5, is estimated of one side only, or leans to another side."""
        if self.ph is None:
            return False
        return self.ph.changed if self.ph.gained is None else abs(self.ph.gained) > MUCH_PH


class NoStandIn(NamedTuple):
    """A candidate that cannot be compared on this basis, and why."""

    material: Material
    why: str


def candidates(old: Material, materials: Iterable[Material], plan: str) -> list[Material]:
    """Every raw material that shares a function with `old`; of a premix, with anything in it but its solvents."""
    wanted = functions_of(old)
    return [m for m in materials if m.id not in (old.id, plan) and not m.nested and wanted & {f.casefold() for f in m.functions}]


def functions_of(old: Material) -> set[str]:
    """What a stand-in must do: one of the functions of a material, or of what a premix is made of."""
    if not old.nested:
        return {f.casefold() for f in old.functions}
    return {f.casefold() for inner in old.inside for f in inner.material.functions} - {PREMIX, "solvent"}


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
    gone = materials[old[0].line.material]
    found: list[StandIn] = []
    left: list[NoStandIn] = []
    for material in among:
        try:
            change = substituted(reading, old, [Into(material.id)], basis, materials, terms)
        except Refusal as refusal:
            left.append(NoStandIn(material, refusal.faults[0].message))
            continue
        goes, enters = _what_differs(reading, change.after)
        before, after = explode(goes, materials), explode(enters, materials)
        known = before.water.nominal is not None and after.water.nominal is not None
        water = (after.water.nominal or ZERO) - (before.water.nominal or ZERO) if known else None
        elsewhere = _elsewhere(before, after, gone, material)
        found.append(
            StandIn(material, change, water, elsewhere, _cost(goes, enters, materials, currency), tuple(plain_differences(gone, material)))
        )
    found.sort(key=lambda row: (row.elsewhere, row.material.id))
    return found, left


def by_how_little(rows: Iterable[StandIn]) -> list[StandIn]:
    """The rows with their bills in order: first those that cross no limit, then those that leave the pH about where it is.

    Then by cautions, allergens, how little moves elsewhere, new names, cost.
    """

    def weight(row: StandIn) -> tuple[int, bool, int, int, Fraction, int, Fraction, str]:
        bill = row.bill or Bill((), (), None)
        return (
            sum(each.kind == "crossed" for each in bill.limits),
            row.moves_ph,
            len(bill.cautions or ()),
            sum(len(each.allergens_gained) for each in bill.labels),
            row.elsewhere,
            sum(len(each.names_gained) for each in bill.labels),
            ZERO if row.cost is None else row.cost,
            row.material.id,
        )

    return sorted(rows, key=weight)


Parts = list[tuple[str, Fraction]]


def _what_differs(first: Reading, second: Reading) -> tuple[Parts, Parts]:
    """The lines of both sides without those that are the same on both: most are, and there may be hundreds of second sides."""
    one, other = ({(a.line.phase, a.line.material): a.counted for a in side.closure.amounts} for side in (first, second))
    return (
        [(m, p) for (phase, m), p in one.items() if other.get((phase, m)) != p],
        [(m, p) for (phase, m), p in other.items() if one.get((phase, m)) != p],
    )


def _elsewhere(before: Composition, after: Composition, gone: Material, comes: Material) -> Fraction:
    """Points that move in all but the active matter of the two, both ways added up."""
    own = {inci_key(n) for m in (gone, comes) for n in active_names(m)}
    first, second = ({inci_key(s.inci): s.share.nominal or ZERO for s in side.substances} for side in (before, after))
    moved = sum((abs(second.get(k, ZERO) - first.get(k, ZERO)) for k in {*first, *second} - own), ZERO)
    return moved + abs((after.undeclared.nominal or ZERO) - (before.undeclared.nominal or ZERO))


def _cost(before: Parts, after: Parts, materials: Mapping[str, Material], currency: str) -> Fraction | None:
    """Change of the raw materials per kg, from the lines that differ; None when one of them, or what it is made of, has no price."""
    change = ZERO
    for parts, sign in ((before, -1), (after, 1)):
        for id, percent in parts:
            material = materials[id]
            for inner, share in ((i.material, i.percent / HUNDRED) for i in material.inside) if material.nested else ((material, 1),):
                each, _ = per_gram(inner, currency)
                if each is None:
                    return None
                change += sign * percent * share * each
    return change * KILOGRAM / HUNDRED
