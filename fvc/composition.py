"""From materials to substances: what a plan holds by INCI name, and how much water in all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO
from fvc.formula import PREMIX, Amount, Plan
from fvc.material import ANYTHING, NOTHING, WATER, Inner, Material, Share, inci_key
from fvc.reading import Reading


class Substance(NamedTuple):
    """One INCI name in a product; `brought` tells how much each material brings, by id, in order of first appearance."""

    inci: str
    share: Share
    brought: tuple[tuple[str, Share], ...]

    @property
    def sources(self) -> tuple[str, ...]:
        """The ids of the materials it comes with."""
        return tuple(id for id, _ in self.brought)


class Part(NamedTuple):
    """A raw material in a product: one that stands in a line, or inside a formula that does.

    amount: the line. percent: of the product, an open line without expectation counting 0.
    material: None when its record is missing or cannot be read. through: the formulas that it stands in,
    the one of the line first; empty for a line of its own.
    """

    amount: Amount
    material: Material | None
    percent: Fraction
    through: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """The id of the material."""
        return self.material.id if self.material else self.amount.line.material

    @property
    def words(self) -> str:
        """`citric-acid-50`, or `sodium-benzoate in preservative-premix`."""
        line = self.amount.line.material
        return line if self.id == line else f"{self.id} in {line}"


THERE, ADDED, SPENT = "there", "added", "spent"


@lru_cache(maxsize=16)
def parts_of(reading: Reading, of: str = THERE) -> tuple[Part, ...]:
    """Every raw material of a plan in the order of addition, formulas that stand in it taken apart.

    of: of a batch that was made, what is `there`, what was `added` (whatever was lost later; what
    replaced a loss is not counted twice), or what was `spent` (all that came from the shelf). A plan
    is the same by all three.
    """
    amounts = {ADDED: reading.added, SPENT: reading.spent}.get(of) or reading.closure.amounts
    found: list[Part] = []
    for amount in amounts:
        material = reading.materials.get(amount.line.material)
        if material is None or not material.nested:
            found.append(Part(amount, material, amount.counted))
        else:
            found += [
                Part(amount, inner.material, inner.percent * amount.counted / HUNDRED, (material.id, *inner.through))
                for inner in material.inside
            ]
    return tuple(found)


@dataclass(frozen=True, kw_only=True, eq=False)
class Composition:
    """A product at substance level, in percent of the product.

    substances: descending. undeclared: what no record declares, from the materials in
    `undeclared_from`. constituents: what is physically inside them, not additional matter.
    water: all water, that inside hydrosols and extracts included; its nominal is None when
    something undeclared may be water.
    """

    substances: tuple[Substance, ...]
    undeclared: Share
    undeclared_from: tuple[str, ...]
    constituents: Mapping[str, Share]
    water: Share

    def share(self, inci: str) -> Share | None:
        """The share of one INCI name; None when it is not there."""
        wanted = inci_key(inci)
        return next((s.share for s in self.substances if inci_key(s.inci) == wanted), None)


@lru_cache(maxsize=16)  # a reading never changes, and a screen asks several times
def composition_of(reading: Reading) -> Composition:
    """What a plan holds by INCI name, through blends, solutions and nested formulas; exact.

    Open lines count at their expected level. A material without a record counts as undeclared.
    """
    return explode(((a.line.material, a.counted) for a in reading.closure.amounts), reading.materials)


def explode(parts: Iterable[tuple[str, Fraction]], materials: Mapping[str, Material]) -> Composition:
    """Sum materials at their percents to substances. Shares add as intervals; nothing is guessed."""
    shares: dict[str, Share] = {}
    names: dict[str, str] = {}
    brought: dict[str, dict[str, Share]] = {}
    constituents: dict[str, Share] = {}
    inside: dict[str, str] = {}
    undeclared, water = NOTHING, NOTHING
    undeclared_from: dict[str, None] = {}
    for id, percent in parts:
        if percent == 0:
            continue
        material = materials.get(id)
        if material is None or material.composition is None:
            undeclared += Share(HUNDRED, HUNDRED, HUNDRED).of(percent)
            undeclared_from[id] = None
            water += (material.water if material else ANYTHING).of(percent)
        else:
            for inci, share in material.composition.items():
                key = inci_key(inci)
                names.setdefault(key, WATER if key == "aqua" else inci)
                part = share.of(percent)
                shares[key] = shares.get(key, NOTHING) + part
                by_material = brought.setdefault(key, {})
                by_material[id] = by_material.get(id, NOTHING) + part
            if material.undeclared.high > 0:
                undeclared += material.undeclared.of(percent)
                undeclared_from[id] = None
            water += material.water.of(percent)
        for inci, share in (material.constituents if material else {}).items():
            name = inside.setdefault(inci_key(inci), inci)
            constituents[name] = constituents.get(name, NOTHING) + share.of(percent)
    substances = tuple(
        Substance(names[key], share, tuple(brought[key].items()))
        for key, share in sorted(shares.items(), key=lambda item: (-_rank(item[1]), names[item[0]]))
    )
    return Composition(
        substances=substances,
        undeclared=undeclared,
        undeclared_from=tuple(undeclared_from),
        constituents=constituents,
        water=water,
    )


def _rank(share: Share) -> Fraction:
    return share.nominal if share.nominal is not None else (share.low + share.high) / 2


def as_material(plan: Plan, parts: Iterable[tuple[str, Fraction]], materials: Mapping[str, Material]) -> Material:
    """A closed formula as a material of other formulas: its function is `premix`."""
    lines = list(parts)
    inside = explode(lines, materials)
    raw: list[Inner] = []
    for id, percent in lines:
        material = materials[id]
        deeper = [Inner(i.material, i.percent * percent / HUNDRED, (id, *i.through)) for i in material.inside]
        raw += deeper if material.nested else [Inner(material, percent)]
    return Material(
        id=plan.id,
        name=plan.title,
        functions=(PREMIX,),
        composition={s.inci: s.share for s in inside.substances},
        undeclared=inside.undeclared,
        constituents=inside.constituents,
        water=inside.water,
        nested=True,
        inside=tuple(raw),
        record=plan.record,
    )


def totals_by_function(reading: Reading) -> dict[str | None, Fraction]:
    """Percent by the first function of each material, in the order of first appearance; None: no function known."""
    totals: dict[str | None, Fraction] = {}
    for amount in reading.closure.amounts:
        name = reading.function(amount.line.material)
        totals[name] = totals.get(name, ZERO) + amount.counted
    return totals
