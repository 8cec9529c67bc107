"""The pH of a product, estimated: the balance of charges of all acids, bases and salts that its records declare.

The figure comes with a band, from the ranges of strengths and from what the constants may be off, and with all that was
not counted. It declines where the model says nothing, and gives a direction only where nothing holds the pH.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import figure
from fvc.formula import FIXED, Amount, Closure, Level, Line, Phase, Plan
from fvc.material import Material, Share, inci_key
from fvc.reading import Reading, Side
from fvc.reference.ions import GIVES_CARBON_DIOXIDE, InWater, Weak, spread_of
from fvc.reference.solubility import SOLUBILITY, dissolves, dissolves_percent, in_a_sentence
from fvc.science.dissolved import Mass, dissolved, hydrate_unknown
from fvc.science.equilibrium import Balance, Ions, Protolyte, charge_at, davies, in_solution, shares, solve
from fvc.science.estimate import Estimate, rounded
from fvc.science.protolytes import MISSING, Protolytes, Uncounted, protolytes

MOST_IONIC = 0.5  # mol/kg: beyond, Davies' equation is no longer of use (Davies 1962)
LEAST_WATER = 40.0  # percent: below, the constants in water do not hold
LEAST_BUFFER = 0.002  # mol per kg of water and pH unit: below, carbon dioxide and traces decide
WIDE_WATER = 10.0  # points between the bounds of water that is not known, up to which its middle is taken
MUCH_ALCOHOL, MOST_ALCOHOL = 10.0, 20.0  # percent from which the constants shift, and from which they no longer hold; common practice
BY_ALCOHOL = 0.02  # pH that one percent of alcohol raises the reading by at most; common practice without source
MOST_IONS = 30.0  # mol/kg of ions that never change: sodium hydroxide dissolves to about 25
FAR = 0.5  # pH that what is not counted may move it, beyond which there is no figure
SEEN = 0.05  # pH that it moves, from which it is told
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

    kind: `strength`, `constant`, `water`, `solubility`, `alcohol` or `model`. given: the figure and its range in words; source: of the figure;
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
    """An acid or base with its published constants as figures, and how much of it dissolves without a charge, where that is known."""
    most = dissolves(weak.name)
    return Protolyte(weak.name, molality, weak.charge, tuple(float(text) for text in weak.pka), math.inf if most is None else most)


@dataclass(frozen=True, kw_only=True, eq=False)
class PhModel:
    """The pH of a product by the model.

    mixture: what was counted; balance: what came out, None where it was not even tried. declined: why there is no
    figure; instead: what can be said without one. influences: what each uncertain figure does. lacks: True where it is declined
    because of something that is not counted and may move it far.
    """

    reading: Reading
    found: Protolytes
    mixture: Mixture | None
    balance: Balance | None
    declined: str = ""
    instead: str = ""
    influences: tuple[Influence, ...] = ()
    notes: tuple[str, ...] = field(default=())
    lacks: bool = False

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

    @property
    def buffer_value(self) -> float | None:
        """In mol per kg of water and pH unit; None where the model does not hold, or something that decides it is not counted."""
        return self.balance.buffer_value if self.balance is not None and self.declined in ("", UNBUFFERED) else None

    @property
    def correctable(self) -> bool:
        """True where the model holds but for what is not counted: a reading can put in what is missing."""
        return self.balance is not None and (self.declined in ("", UNBUFFERED) or self.lacks)


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

    Declined above ionic strength 0.5 mol/kg, below 40 % water, above 20 % alcohol, where the water is not known to 10 points,
    where a record is missing, and where what is not counted may move it by more than 0.5, or more of an acid is there than
    dissolves; below a buffer value of 2 mmol per kg of water and pH unit there is only a direction.
    """
    found = protolytes(reading)
    alcohol = _alcohol(reading)
    none = PhModel(reading=reading, found=found, mixture=None, balance=None, notes=_open_lines(found))
    declined = _missing(found) or _no_water(dissolved(reading).water)
    if declined:
        return replace(none, declined=declined)
    mixture = mixture_of(reading)
    none = replace(none, mixture=mixture)
    if declined := _beyond(mixture, alcohol):
        return replace(none, declined=declined)
    balance = mixture.balance()
    none = replace(none, balance=balance)
    if balance.ionic_strength > MOST_IONIC:
        return replace(none, declined=f"ionic strength {balance.ionic_strength:.2f} mol/kg, and the activity model ends at {MOST_IONIC}")
    pulls = _pulls(mixture, balance, found)
    down, up = _pulled(mixture, balance, found, -1), _pulled(mixture, balance, found, 1)
    if down < -FAR or up > FAR:
        return replace(none, declined=_not_counted(pulls), instead=_bound(balance.ph, down, up), lacks=True)
    solid = _solid(mixture, balance)
    if solid is not None and -solid.down > FAR:
        return replace(
            none, declined=solid.given, instead=f"about {balance.ph:.1f} while the rest of it stands as crystals, lower where it dissolves"
        )
    notes = (*_left_out(pulls), *_notes(mixture, found, alcohol))
    if balance.buffer_value < LEAST_BUFFER:
        to_give = "; ".join(_open_line(id) for id in found.open)
        return replace(none, declined=UNBUFFERED, instead=to_give or direction(balance.ph), notes=notes)
    influences = (
        *_strengths(mixture, balance),
        *_constants(mixture, balance),
        *_water(mixture, balance),
        *((solid,) if solid else ()),
        *_by_alcohol(alcohol),
        _of_model(balance),
    )
    more = [f"{solid.given}; it may fall out as crystals"] if solid else []
    more += [f"{id} is an open line without a level to expect: the estimate is of the product without it" for id in found.open]
    return replace(none, influences=influences, notes=(*notes, *more))


def _missing(found: Protolytes) -> str:
    missing = [each.material for each in found.uncounted if each.why == MISSING]
    return f"the record of {' and of '.join(missing)} is missing or cannot be read" if missing else ""


def _open_line(id: str) -> str:
    return f"{id} is open and counts nothing: give it  expect"


def _open_lines(found: Protolytes) -> tuple[str, ...]:
    return tuple(_open_line(id) for id in found.open)


def _beyond(mixture: Mixture, alcohol: float) -> str:
    """Why not even a balance can be tried; "" when it can."""
    if mixture.water < LEAST_WATER:
        return f"{mixture.water:.3g} % water, and the constants hold in water: none below {LEAST_WATER:.0f} %"
    if alcohol > MOST_ALCOHOL:
        return f"{alcohol:.3g} % alcohol, and the constants hold in water: none above {MOST_ALCOHOL:.0f} %"
    ions = sum(each.molality for each in mixture.dissolved()[1])
    if ions > MOST_IONS:
        return f"{ions:.3g} mol of ions per kg of water is more than dissolves: a percent or a molar mass cannot be right"
    return ""


def _no_water(water: Share) -> str:
    if water.high == 0:
        return "no water in it, and without water there is no pH"
    if water.nominal is None and float(water.high - water.low) > WIDE_WATER:
        return f"the water in it is not known: {figure(water.low)} to {figure(water.high)} %"
    return ""


def direction(ph: float) -> str:
    """Where an unbuffered product leans to, in words."""
    return "on the acid side" if ph < 6 else "on the alkaline side" if ph > 8 else "near neutral"


# --- what is not counted ---------------------------------------------------------------------------


def _pulls(mixture: Mixture, balance: Balance, found: Protolytes) -> list[tuple[Uncounted, float]]:
    """What is not counted but may move the pH, and by how much at most."""
    out = []
    for each in found.uncounted:
        ends = [_with_pulls(mixture, balance, [each], way) - balance.ph for way in (-1, 1)]
        moves = max(ends, key=abs)
        if moves:
            out.append((each, moves))
    return out


def _pulled(mixture: Mixture, balance: Balance, found: Protolytes, way: int) -> float:
    """How far all of it together may move the pH in one way."""
    return _with_pulls(mixture, balance, found.uncounted, way) - balance.ph


def _with_pulls(mixture: Mixture, balance: Balance, uncounted: Sequence[Uncounted], way: int) -> float:
    """The pH with what is not counted and pulls that way: its percent at the usual grams for one mole of protons."""
    more = []
    for each in uncounted:
        if each.pull is not None and each.pull.way in (way, 0) and each.percent:
            pka = each.pull.pka if each.pull.way else 7 + 5 * way
            more.append(Protolyte("", each.percent / each.pull.per / mixture.water * 1000, max(way, 0), (pka,)))
    if not more:
        return balance.ph
    weak, ions = mixture.dissolved()
    return solve([*weak, *more], ions, balance.ph).ph


def _bound(ph: float, down: float, up: float) -> str:
    if up <= SEEN:
        return f"at most {ph:.1f}"
    return f"at least {ph:.1f}" if down >= -SEEN else ""


_WAYS = {-1: "lowers it", 0: "may move it either way", 1: "raises it"}


def _way(each: Uncounted) -> str:
    assert each.pull is not None
    return _WAYS[each.pull.way]


def _not_counted(pulls: Sequence[tuple[Uncounted, float]]) -> str:
    """`Carbomer (carbomer, 0.5 %) lowers it, and how far is not known`; those that may move it most."""
    most = max(abs(moves) for _, moves in pulls)
    said = [f"{each.amount} {_way(each)}" for each, moves in pulls if abs(moves) >= most / 4]
    return f"{', '.join(said)}, and how far is not known"


def _left_out(pulls: Sequence[tuple[Uncounted, float]]) -> list[str]:
    return [f"without {each.amount}, which {_way(each)}: the band leaves that out" for each, moves in pulls if abs(moves) >= SEEN]


def _solid(mixture: Mixture, balance: Balance) -> Influence | None:
    """Acids of which more is there than dissolves: the pH if all of it did, as in much glycol, alcohol or micelles; None for none."""
    weak, ions = mixture.dissolved()
    damping = davies(balance.ionic_strength)
    names = [each.name for each in weak if in_solution(each, shares(each, balance.ph, damping)) < each.molality]
    if not names:
        return None
    moves = solve([each._replace(most=math.inf) for each in weak], ions, balance.ph).ph - balance.ph
    given = "; ".join(
        f"more {in_a_sentence(name)} than dissolves: about {dissolves_percent(name, mixture.water):.2g} % undissociated does"
        for name in names
    )
    return Influence("what dissolves", "solubility", min(moves, 0.0), max(moves, 0.0), given, SOLUBILITY[names[0]].source.words, True)


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


def _by_alcohol(alcohol: float) -> list[Influence]:
    if alcohol < MUCH_ALCOHOL:
        return []
    given = f"{alcohol:.3g} % alcohol, up to {BY_ALCOHOL} pH for each percent"
    return [Influence("alcohol", "alcohol", 0.0, BY_ALCOHOL * alcohol, given, "common practice, from memory", True)]


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
    out += [
        f"the name of {c.solute.part.words} says hydrate, and no molar mass of that one is known: it counts as {c.solute.inci} without water;"
        "  molar_mass  in its record can give it"
        for c in found.counted
        if hydrate_unknown(c.solute.inci, c.solute.part.material)
    ]
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
