"""The pH of a product, estimated: the balance of charges of all acids, bases and salts that its records declare.

The figure comes with a band, from the ranges of strengths and from what the constants may be off, and with all that was
not counted. It declines where the model says nothing, and gives a direction only where nothing holds the pH.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import figure
from fvc.formula import FIXED, Amount, Closure, Level, Line, Phase, Plan
from fvc.material import Material, Share, inci_key
from fvc.reading import Reading, Side
from fvc.reference.ions import GIVES_CARBON_DIOXIDE, InWater, Weak, spread_of
from fvc.science.dissolved import Mass, dissolved
from fvc.science.equilibrium import Balance, Ions, Protolyte, charge_at, davies, solve
from fvc.science.estimate import Estimate, rounded
from fvc.science.protolytes import Protolytes, protolytes

MOST_IONIC = 0.5  # mol/kg: beyond, Davies' equation is no longer of use (Davies 1962)
LEAST_WATER = 40.0  # percent: below, the constants in water do not hold
LEAST_BUFFER = 0.002  # mol per kg of water and pH unit: below, carbon dioxide and traces decide
WIDE_WATER = 10.0  # points between the bounds of water that is not known, up to which its middle is taken
MUCH_ALCOHOL = 10.0  # percent of ethanol from which the constants shift; common practice without source
DECIMALS = 2
UNBUFFERED = "unbuffered: carbon dioxide and traces decide"


class Item(NamedTuple):
    """A substance of the balance. grams: in 100 g of product; low, high: its bounds. material: the id of what brings it."""

    inci: str
    grams: float
    low: float
    high: float
    mass: Mass
    gives: InWater
    material: str


class Influence(NamedTuple):
    """What one uncertain figure does to the pH. down, up: at its ends, the lower one first, in pH units from the estimate.

    kind: `strength`, `constant`, `water` or `model`. given: the figure and its range in words; source: of the figure;
    remembered: True for one from memory, or on which sources disagree.
    """

    what: str
    kind: str
    at_low: float
    at_high: float
    given: str
    source: str = ""
    remembered: bool = False

    @property
    def down(self) -> float:
        """The most that it lowers the pH; negative or 0."""
        return min(self.at_low, self.at_high, 0.0)

    @property
    def up(self) -> float:
        """The most that it raises the pH."""
        return max(self.at_low, self.at_high, 0.0)


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
    """An acid or base with its published constants as figures."""
    return Protolyte(weak.name, molality, weak.charge, tuple(float(text) for text in weak.pka))


@dataclass(frozen=True, kw_only=True, eq=False)
class PhModel:
    """The pH of a product by the model.

    mixture: what was counted; balance: what came out, None where it was not even tried. declined: why there is no
    figure; instead: what can be said without one. influences: what each uncertain figure does.
    """

    reading: Reading
    found: Protolytes
    mixture: Mixture | None
    balance: Balance | None
    declined: str = ""
    instead: str = ""
    influences: tuple[Influence, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def ph(self) -> float:
        """The pH of the balance, also where it is too uncertain to be given."""
        assert self.balance is not None
        return self.balance.ph

    @property
    def down(self) -> float:
        """From the estimate to the lower end of its band, negative."""
        return sum(i.down for i in self.influences)

    @property
    def up(self) -> float:
        """From the estimate to the upper end of its band."""
        return sum(i.up for i in self.influences)


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


@lru_cache(maxsize=16)
def model(reading: Reading) -> PhModel:
    """The pH of a plan or of a batch as made, at 25 °C. Never raises for what a plan says: it declines with the reason.

    Declined above ionic strength 0.5 mol/kg, below 40 % water, and where the water is not known to 10 points; below a
    buffer value of 2 mmol per kg of water and pH unit there is only a direction.
    """
    found = protolytes(reading)
    water = dissolved(reading).water
    declined = _no_water(water)
    if declined:
        return PhModel(reading=reading, found=found, mixture=None, balance=None, declined=declined)
    mixture = mixture_of(reading)
    if mixture.water < LEAST_WATER:
        declined = f"{mixture.water:.3g} % water, and the constants hold in water: none below {LEAST_WATER:.0f} %"
        return PhModel(reading=reading, found=found, mixture=mixture, balance=None, declined=declined)
    balance = mixture.balance()
    if balance.ionic_strength > MOST_IONIC:
        declined = f"ionic strength {balance.ionic_strength:.2f} mol/kg, and the activity model ends at {MOST_IONIC}"
        return PhModel(reading=reading, found=found, mixture=mixture, balance=balance, declined=declined)
    if balance.buffer_value < LEAST_BUFFER:
        return PhModel(reading=reading, found=found, mixture=mixture, balance=balance, declined=UNBUFFERED, instead=direction(balance.ph))
    influences = (*_strengths(mixture, balance), *_constants(mixture, balance), *_water(mixture, balance), _of_model(balance))
    return PhModel(
        reading=reading,
        found=found,
        mixture=mixture,
        balance=balance,
        influences=influences,
        notes=_notes(mixture, found, _alcohol(reading)),
    )


def _no_water(water: Share) -> str:
    if water.high == 0:
        return "no water in it, and without water there is no pH"
    if water.nominal is None and float(water.high - water.low) > WIDE_WATER:
        return f"the water in it is not known: {figure(water.low)} to {figure(water.high)} %"
    return ""


def direction(ph: float) -> str:
    """Where an unbuffered product leans to, in words."""
    return "on the acid side" if ph < 6 else "on the alkaline side" if ph > 8 else "near neutral"


# --- what the uncertain figures do ------------------------------------------------------------------


def _strengths(mixture: Mixture, balance: Balance) -> list[Influence]:
    """Each material whose record gives a range for an acid, base or salt: the pH at both ends."""
    out = []
    for material in dict.fromkeys(i.material for i in mixture.items if i.high > i.low):
        ranges = [(i.inci, i.low, i.high) for i in mixture.items if i.material == material and i.high > i.low]
        at_low, at_high = (_with_strength(mixture, material, end, balance.ph) - balance.ph for end in ("low", "high"))
        given = ", ".join(f"{inci} {low:.3g} to {high:.3g} % of the product" for inci, low, high in ranges)
        out.append(Influence(material, "strength", at_low, at_high, given, f"the record of {material}"))
    return out


def _with_strength(mixture: Mixture, material: str, end: str, start: float) -> float:
    return mixture.balance(lambda i: getattr(i, end) if i.material == material else i.grams, start=start).ph


def _constants(mixture: Mixture, balance: Balance) -> list[Influence]:
    """Each constant at both its ends, to first order: the charge that it moves, over the slope."""
    weak, ions = mixture.dissolved()
    damping = davies(balance.ionic_strength)
    _, slope, _ = charge_at(weak, ions, balance.ph, damping)
    out = []
    sources = {w.name: w for item in mixture.items for w, _ in item.gives.weak}
    for place, each in enumerate(weak):
        published = sources[each.name]
        for index, value in enumerate(each.pka):
            low, high = spread_of(each.name, value, published.uncertain, published.source)
            moved = []
            for end in (low, high):
                shifted = each._replace(pka=(*each.pka[:index], end, *each.pka[index + 1 :]))
                charge, _, _ = charge_at([*weak[:place], shifted, *weak[place + 1 :]], ions, balance.ph, damping)
                moved.append(charge / slope)
            if max(abs(m) for m in moved) >= 0.0005:
                which = f"pKa {index + 1} of {each.name}" if len(each.pka) > 1 else f"pKa of {each.name}"
                remembered = published.uncertain or not published.source.looked_up
                given = f"{value:g}, between {low:g} and {high:g}"
                out.append(Influence(which, "constant", moved[0], moved[1], given, published.source.words, remembered))
    return out


def _water(mixture: Mixture, balance: Balance) -> list[Influence]:
    if mixture.water_high - mixture.water_low < 0.05:
        return []
    at_low, at_high = (
        mixture.balance(water=max(w, 1.0), start=balance.ph).ph - balance.ph for w in (mixture.water_low, mixture.water_high)
    )
    return [Influence("total water", "water", at_low, at_high, f"{mixture.water_low:.4g} to {mixture.water_high:.4g} %")]


def _of_model(balance: Balance) -> Influence:
    """What the model itself may be off: 0.02 on standard buffers up to ionic strength 0.1, more beyond."""
    by = 0.02 + 0.1 * max(0.0, balance.ionic_strength - 0.1)
    return Influence(
        "activity model", "model", -by, by, f"0.02 up to ionic strength 0.1, growing beyond; here {balance.ionic_strength:.2f} mol/kg"
    )


def _notes(mixture: Mixture, found: Protolytes, alcohol: float) -> tuple[str, ...]:
    out = []
    if any(inci_key(i.inci) in GIVES_CARBON_DIOXIDE for i in mixture.items):
        out.append("carbonate gives off carbon dioxide for hours after mixing: the pH rises meanwhile")
    if any(charge == 2 for i in mixture.items for charge, _ in i.gives.ions) and any(
        len(w.pka) > 2 for i in mixture.items for w, _ in i.gives.weak
    ):
        out.append("what citrate, phosphate or EDTA binds of calcium, magnesium or zinc is not counted; it lowers the pH")
    if alcohol >= MUCH_ALCOHOL:
        out.append(f"{alcohol:.3g} % alcohol: acids are weaker in it, so the meter may read higher by some tenths")
    out += [f"{material} is an open line without a level to expect: the estimate is of the product without it" for material in found.open]
    return tuple(out)


def _alcohol(reading: Reading) -> float:
    names = ("alcohol", "alcohol denat.", "isopropyl alcohol")
    return sum(float(s.percent.nominal or s.percent.low) for s in dissolved(reading).solutes if inci_key(s.inci) in names)


class Window(NamedTuple):
    """The pH at both ends of the strength of one material, all else as it is. percent: of the material in the product.

    weaker, stronger: the pH where there is less and more of what it brings; by: how far, such as `0.95 to 1.05 times`;
    assumed: True where its record gives one figure, and a usual tolerance was taken.
    """

    material: str
    weaker: float
    stronger: float
    by: str
    assumed: bool


TOLERANCE = 0.05  # of a strength of which the record gives one figure: common practice of suppliers' sheets, no source


def windows(found: PhModel) -> tuple[Window, ...]:
    """How far the pH goes when the strength of each acid, base or salt varies, one material at a time; those that move it by 0.01 or more."""
    mixture, balance = found.mixture, found.balance
    if mixture is None or balance is None or found.declined:
        return ()
    out = []
    for material in dict.fromkeys(i.material for i in mixture.items):
        ranged = any(i.high > i.low for i in mixture.items if i.material == material)
        ends = []
        for end, factor in (("low", 1 - TOLERANCE), ("high", 1 + TOLERANCE)):
            if ranged:
                ends.append(_with_strength(mixture, material, end, balance.ph))
            else:
                grams = {i: i.grams * factor for i in mixture.items if i.material == material}
                ends.append(mixture.balance(lambda i, grams=grams: grams.get(i, i.grams), start=balance.ph).ph)  # type: ignore[misc]
        by = "as its record says" if ranged else f"{1 - TOLERANCE:.2f} to {1 + TOLERANCE:.2f} times"
        if max(abs(end - balance.ph) for end in ends) >= 0.005:
            out.append(Window(material, ends[0], ends[1], by, not ranged))
    return tuple(out)


def window_of_all(found: PhModel) -> tuple[float, float]:
    """The pH window when all strengths are at their worst ends together: the sum of what each does."""
    each = windows(found)
    down = sum(min(w.weaker - found.ph, w.stronger - found.ph, 0.0) for w in each)
    up = sum(max(w.weaker - found.ph, w.stronger - found.ph, 0.0) for w in each)
    return found.ph + down, found.ph + up


# --- as an estimate ---------------------------------------------------------------------------------


def estimate(reading: Reading) -> Estimate:
    """The pH as one of the properties of a product: the model alone, without any reading of the meter."""
    return as_estimate(model(reading))


def as_estimate(found: PhModel, shift: float = 0.0, spread: tuple[float, float] | None = None) -> Estimate:
    """A model as an estimate. shift: from the model to what a meter read. spread: of the band, where it is not the model's own."""
    not_counted = tuple(u.words for u in found.found.uncounted)
    if found.declined:
        return Estimate(
            property="pH", decimals=DECIMALS, declined=found.declined, instead=found.instead, not_counted=not_counted, notes=found.notes
        )
    ph = found.ph + shift
    down, up = spread if spread is not None else (found.down, found.up)
    return Estimate(
        property="pH",
        decimals=DECIMALS,
        value=rounded(ph, DECIMALS),
        low=rounded(ph + down, DECIMALS),
        high=rounded(ph + up, DECIMALS),
        not_counted=not_counted,
        notes=found.notes,
    )
