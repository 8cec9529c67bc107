"""What the balance of charges of a product is made of: grams of each acid, base and salt in its water; put on top, taken away, diluted."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.formula import FIXED, Amount, Closure, Level, Line, Phase, Plan
from fvc.material import Material
from fvc.reading import Reading, Side
from fvc.reference.ions import InWater, Weak
from fvc.reference.solubility import dissolves
from fvc.science.dissolved import Mass, dissolved
from fvc.science.equilibrium import Balance, Ions, Protolyte, solve
from fvc.science.protolytes import protolytes


class Item(NamedTuple):
    """A substance of the balance. grams: in 100 g of product; low, high: its bounds. material: the id of what brings it."""

    inci: str
    grams: float
    low: float
    high: float
    mass: Mass
    gives: InWater
    material: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Mixture:
    """What the balance is made of. water: grams in 100 g of product, with its bounds."""

    items: tuple[Item, ...]
    water: float
    water_low: float
    water_high: float

    def balance(self, grams: Callable[[Item], float] = lambda item: item.grams, water: float | None = None, start: float = 7.0) -> Balance:
        """The balance of charges. grams: of each item, where another figure than the nominal one is asked for."""
        return solve(*self.dissolved(grams, water), start)

    def dissolved(
        self, grams: Callable[[Item], float] = lambda item: item.grams, water: float | None = None
    ) -> tuple[list[Protolyte], list[Ions]]:
        """The protolytes, those of equal constants together, and the other ions, in mol per kg of water."""
        water = self.water if water is None else water
        weak: dict[Weak, float] = {}
        ions: dict[int, float] = {}
        for item in self.items:
            molality = grams(item) / item.mass.grams / water * 1000
            for each, count in item.gives.weak:
                weak[each] = weak.get(each, 0.0) + count * molality
            for charge, count in item.gives.ions:
                ions[charge] = ions.get(charge, 0.0) + count * molality
        return [protolyte(each, m) for each, m in weak.items()], [Ions(z, m) for z, m in ions.items()]

    def with_more(self, other: Mixture, grams: float) -> Mixture:
        """With grams of another mixture on top of the 100 g, as `alone` gives it of a material; negative grams take it away again."""
        part = grams / 100
        more = tuple(i._replace(grams=i.grams * part, low=i.low * part, high=i.high * part) for i in other.items)
        return Mixture(
            items=(*self.items, *more),
            water=self.water + other.water * part,
            water_low=self.water_low + other.water_low * part,
            water_high=self.water_high + other.water_high * part,
        )

    def diluted(self, part: float) -> Mixture:
        """`part` of the product, such as 0.1, made up with water to 100 g again."""
        items = tuple(i._replace(grams=i.grams * part, low=i.low * part, high=i.high * part) for i in self.items)
        more = 100 * (1 - part)
        return Mixture(
            items=items, water=self.water * part + more, water_low=self.water_low * part + more, water_high=self.water_high * part + more
        )


def protolyte(weak: Weak, molality: float) -> Protolyte:
    """An acid or base with its published constants as figures, and how much of it dissolves without a charge, where that is known."""
    most = dissolves(weak.name)
    return Protolyte(weak.name, molality, weak.charge, tuple(float(text) for text in weak.pka), math.inf if most is None else most)


def mixture_of(reading: Reading) -> Mixture:
    """What the balance of a product is made of, per 100 g."""
    water = dissolved(reading).water
    middle = water.nominal if water.nominal is not None else (water.low + water.high) / 2
    items = tuple(
        Item(
            c.solute.inci,
            float(c.solute.percent.nominal or 0),
            float(c.solute.percent.low),
            float(c.solute.percent.high),
            c.solute.mass,
            c.gives,
            c.solute.part.id,
        )
        for c in protolytes(reading).counted
        if c.solute.mass is not None
    )
    return Mixture(items=items, water=float(middle), water_low=float(water.low), water_high=float(water.high))


def alone(material: Material) -> Mixture:
    """100 g of one material, as it would stand in a beaker by itself."""
    line = Line("A", material.id, Level(FIXED, "100"))
    plan = Plan(id=material.id, title=material.name, revision=0, phases=(Phase("A"),), lines=(line,))
    closure = Closure(amounts=(Amount(line, Fraction(100), 0),), total=Fraction(100), faults=(), decimals=0)
    return mixture_of(Reading(plan=plan, closure=closure, materials={material.id: material}, side=Side(material.id)))
