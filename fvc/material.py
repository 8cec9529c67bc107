"""A raw material as bought: what it is, what is in it, and within which bounds."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, Typed

# The words of the trade for what a material does. A record may use others; checks know these.
FUNCTIONS = (
    "solvent", "humectant", "emollient", "emulsifier", "solubiliser", "thickener", "film former", "conditioning agent", "surfactant",
    "preservative", "booster", "chelator", "antioxidant", "pH adjuster", "buffer", "fragrance", "essential oil", "hydrosol", "colourant",
    "extract", "active",
)  # fmt: skip

LEAST_MASS = 10  # g/mol: nothing that is weighed for a product is lighter, so that a smaller figure is a slip


class Share(NamedTuple):
    """A share in percent that may be known, bounded or unknown.

    nominal: the figure to count with; None when it is not known.
    low, high: the bounds, always known (0 and 100 at the worst).
    middle: True when nominal is only the middle of a bare range.
    """

    nominal: Fraction | None
    low: Fraction
    high: Fraction
    middle: bool = False

    def __add__(self, other: object) -> Share:
        """The sum of two shares; unknown when either is."""
        if not isinstance(other, Share):
            return NotImplemented
        known = self.nominal is not None and other.nominal is not None
        return Share(
            (self.nominal or ZERO) + (other.nominal or ZERO) if known else None,
            self.low + other.low,
            self.high + other.high,
            self.middle or other.middle,
        )

    def of(self, percent: Fraction) -> Share:
        """This share of something that itself stands at `percent`."""
        part = percent / 100
        return Share(None if self.nominal is None else self.nominal * part, self.low * part, self.high * part, self.middle)

    @property
    def certain(self) -> bool:
        """True when low, nominal and high are one figure."""
        return self.low == self.high


NOTHING = Share(ZERO, ZERO, ZERO)
ANYTHING = Share(None, ZERO, HUNDRED)


def certain(value: Fraction) -> Share:
    """A share that is known exactly."""
    return Share(value, value, value)


class Price(NamedTuple):
    """What a pack costs: `each` is money per gram, or per mL where `by_volume`; currency is "" when the text names none."""

    text: str
    each: Fraction
    by_volume: bool = False
    currency: str = ""


class Lot(NamedTuple):
    """A lot on the shelf: when it came, until when it may be used, and the grams left; None where the record does not say."""

    number: str
    received: datetime.date | None = None
    use_by: datetime.date | None = None
    grams: Fraction | None = None


class Constants(NamedTuple):
    """The acid or base in a material as its record gives it: pKa at 25 °C, one for each proton, ascending.

    base: True when they are of the conjugate acid of a base.
    """

    pka: tuple[Typed, ...]
    base: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Material:
    """A raw material record.

    composition: percent of the material by INCI name; None when the record declares none.
    undeclared: what the declared composition leaves open.
    constituents: percent of the material, physically inside an ingredient with an INCI name of
    its own; never on the label as such.
    water: all the water that is physically there, constituents included.
    active: INCI names counted as active matter; empty means all that is not water.
    heat_max: °C. density: g/mL. molar_mass: g/mol of the active. hlb: by Griffin's scale, of an emulsifier.
    required_hlb: that an oil asks for, oil in water.
    acid: constants that stand for its first active substance in place of the published ones.
    nested: True when this stands for a formula used as a material; `inside` then holds the materials
    it is made of, however deep.
    """

    id: str
    name: str
    functions: tuple[str, ...] = ()
    active: tuple[str, ...] = ()
    composition: Mapping[str, Share] | None = None
    undeclared: Share = ANYTHING
    constituents: Mapping[str, Share] = field(default_factory=dict)
    water: Share = ANYTHING
    use_level: tuple[Typed, Typed] | None = None
    heat_max: Fraction | None = None
    charge: str = ""
    ph_range: tuple[Typed, Typed] | None = None
    price: Price | None = None
    density: Fraction | None = None
    molar_mass: Fraction | None = None
    hlb: Fraction | None = None
    required_hlb: Fraction | None = None
    acid: Constants | None = None
    supplier: str = ""
    lots: tuple[Lot, ...] = ()
    nested: bool = False
    inside: tuple[Inner, ...] = field(default=(), repr=False)
    record: Mapping[str, object] = field(default_factory=dict, repr=False)

    @property
    def function(self) -> str | None:
        """The first function, the one that counts in totals; None when the record names none."""
        return self.functions[0] if self.functions else None

    def does(self, *functions: str) -> bool:
        """True when any of these is among its functions, however they are capitalised."""
        return any(f.casefold() == wanted.casefold() for f in self.functions for wanted in functions)

    @property
    def is_water(self) -> bool:
        """True for what is water and nothing else."""
        return bool(self.composition) and all(inci_key(name) == "aqua" for name in self.composition or ())

    def holds(self, *functions: str) -> bool:
        """True when it, or anything that a formula is made of, does any of these."""
        return self.does(*functions) or any(inner.material.does(*functions) for inner in self.inside)


class Inner(NamedTuple):
    """A raw material inside a formula: its percent of the formula, and the formulas between them, outermost first."""

    material: Material
    percent: Fraction
    through: tuple[str, ...] = ()


WATER = "Aqua"
_WATER_NAMES = frozenset({"aqua", "water", "aqua/water", "water/aqua", "aqua (water)", "water (aqua)"})


@lru_cache(maxsize=4096)
def inci_key(name: str) -> str:
    """The spelling under which an INCI name is summed: case and spaces do not tell names apart."""
    plain = " ".join(name.split()).casefold()
    return "aqua" if plain in _WATER_NAMES else plain


def share_of(shares: Mapping[str, Share], inci: str) -> Share | None:
    """The share of one INCI name, however it is spelled; None when it is not listed."""
    wanted = inci_key(inci)
    found = [share for name, share in shares.items() if inci_key(name) == wanted]
    return sum(found[1:], found[0]) if found else None


def water_in(composition: Mapping[str, Share] | None, undeclared: Share, constituents: Mapping[str, Share]) -> Share:
    """All the water in a material, as a share of it.

    Water that the composition names counts, and so does water inside a constituent. Where no
    water is named, whatever is undeclared may be water and widens the upper bound: a composition
    that names its water leaves no room for more of it.
    """
    inside = share_of(constituents, WATER)
    if composition is None:
        return inside or ANYTHING
    named = share_of(composition, WATER)
    if named is None and inside is None:
        if undeclared.high == 0:
            return NOTHING
        return Share(ZERO if undeclared.nominal == 0 else None, ZERO, undeclared.high, undeclared.nominal == 0)
    total = (named or NOTHING) + (inside or NOTHING)
    return total._replace(high=min(total.high, HUNDRED))


def active_names(material: Material) -> tuple[str, ...]:
    """The INCI names that count as active matter: those under `active`, or without them all that is not water."""
    return material.active or tuple(n for n in material.composition or () if inci_key(n) != "aqua")


def active_share(material: Material) -> Fraction | None:
    """The active matter of a material in percent of it; None when the record does not tell.

    The INCI names under `active`, or without them all that is not water in the composition.
    """
    if material.composition is None:
        return None
    if material.active:
        shares = [share_of(material.composition, name) for name in material.active]
        known = [s.nominal for s in shares if s is not None and s.nominal is not None]
        return sum(known, ZERO) if len(known) == len(shares) else None
    named = share_of(material.composition, WATER)
    if material.undeclared.nominal != 0 and (named is None or material.nested):
        return None
    if named is None:
        return HUNDRED
    return None if named.nominal is None else HUNDRED - named.nominal


def undeclared_rest(shares: Mapping[str, Share]) -> Share:
    """What a composition without a balance leaves open, as a share of its own.

    Nominal figures that total exactly 100 declare everything: their ranges vary against each other.
    """
    if any(s.nominal is None for s in shares.values()):
        return Share(None, ZERO, HUNDRED - sum((s.low for s in shares.values()), ZERO))
    nominal = HUNDRED - sum((s.nominal or ZERO for s in shares.values()), ZERO)
    if nominal <= 0:
        return NOTHING
    low = HUNDRED - sum((s.high for s in shares.values()), ZERO)
    return Share(nominal, max(low, ZERO), HUNDRED - sum((s.low for s in shares.values()), ZERO))
