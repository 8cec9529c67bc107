"""The pH of a product, estimated: the balance of charges of all acids, bases and salts that its records declare.

The figure comes with a band, from the ranges of strengths and from what the constants may be off, and with all that was
not counted. It declines where the model says nothing, and gives a direction only where nothing holds the pH.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import figure
from fvc.material import Share, inci_key
from fvc.reading import Reading
from fvc.reference.ions import GIVES_CARBON_DIOXIDE
from fvc.science.dissolved import alcohol_in, dissolved, hydrate_unknown
from fvc.science.equilibrium import Balance, Protolyte, solve
from fvc.science.estimate import Estimate, rounded
from fvc.science.mixture import Mixture, mixture_of
from fvc.science.protolytes import MISSING, Protolytes, Uncounted, protolytes
from fvc.science.uncertain import MOST_ALCOHOL, MUCH_ALCOHOL, Influence, influences_of, solid, with_strength

MOST_IONIC = 0.5  # mol/kg: beyond, Davies' equation is no longer of use (Davies 1962)
LEAST_WATER = 40.0  # percent: below, the constants in water do not hold
LEAST_BUFFER = 0.002  # mol per kg of water and pH unit: below, carbon dioxide and traces decide
WIDE_WATER = 10.0  # points between the bounds of water that is not known, up to which its middle is taken
MOST_IONS = 30.0  # mol/kg of ions that never change: sodium hydroxide dissolves to about 25
FAR = 0.5  # pH that what is not counted may move it, beyond which there is no figure
SEEN = 0.05  # pH that it moves, from which it is told
DECIMALS = 2
UNBUFFERED = "unbuffered: carbon dioxide and traces decide"


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


@lru_cache(maxsize=16)
def model(reading: Reading) -> PhModel:
    """The pH of a plan or of a batch as made, at 25 °C. Never raises for what a plan says: it declines with the reason.

    Declined above ionic strength 0.5 mol/kg, below 40 % water, above 20 % alcohol, where the water is not known to 10 points,
    where a record is missing, and where what is not counted may move it by more than 0.5, or more of an acid is there than
    dissolves; below a buffer value of 2 mmol per kg of water and pH unit there is only a direction.
    """
    found = protolytes(reading)
    alcohol = alcohol_in(reading)
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
    crystals = solid(mixture, balance)
    if crystals is not None and -crystals.down > FAR:
        return replace(
            none,
            declined=crystals.given,
            instead=f"about {balance.ph:.1f} while the rest of it stands as crystals, lower where it dissolves",
        )
    notes = (*_left_out(pulls), *_notes(mixture, found, alcohol))
    if balance.buffer_value < LEAST_BUFFER:
        to_give = "; ".join(_open_line(id) for id in found.open)
        return replace(none, declined=UNBUFFERED, instead=to_give or direction(balance.ph), notes=notes)
    influences = (*influences_of(mixture, balance, alcohol), *((crystals,) if crystals else ()))
    more = [f"{crystals.given}; it may fall out as crystals"] if crystals else []
    if not reading.closure.closed:
        more.append(f"the lines total {figure(reading.closure.total)} %: it is of these lines alone")
    more += [f"{id} is an open line without a level to expect: the estimate is of the product without it" for id in found.open]
    return replace(none, influences=influences, notes=(*notes, *more))


def _missing(found: Protolytes) -> str:
    missing = [each.material for each in found.uncounted if each.why == MISSING]
    return f"the record of {' and of '.join(missing)} is missing or cannot be read" if missing else ""


def _open_line(id: str) -> str:
    return f"{id} is open and counts nothing: give it  expect"


def _open_lines(found: Protolytes) -> tuple[str, ...]:
    return tuple(_open_line(id) for id in found.open)


MOST_PROTOLYTES = 3.0  # mol/kg of acids and bases, beyond which nothing is dilute any more


def _beyond(mixture: Mixture, alcohol: float) -> str:
    """Why not even a balance can be tried; "" when it can."""
    if mixture.water < LEAST_WATER:
        return f"{mixture.water:.3g} % water, and the constants hold in water: none below {LEAST_WATER:.0f} %"
    if alcohol > MOST_ALCOHOL:
        return f"{alcohol:.3g} % alcohol, and the constants hold in water: none above {MOST_ALCOHOL:.0f} %"
    weak, salts = mixture.dissolved()
    ions, acids = (sum(each.molality for each in some) for some in (salts, weak))
    if ions > MOST_IONS:
        return f"{ions:.3g} mol of ions per kg of water is more than dissolves: a percent or a molar mass cannot be right"
    if acids > MOST_PROTOLYTES:
        return f"{acids:.2g} mol of acids and bases per kg of water: the model is of dilute solutions, up to {MOST_PROTOLYTES:g}"
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
                ends.append(with_strength(mixture, material, end, balance.ph))
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


def as_estimate(found: PhModel) -> Estimate:
    """A model as an estimate; without a figure where it was declined."""
    not_counted = tuple(u.words for u in found.found.uncounted)
    if found.declined:
        return Estimate(
            property="pH", decimals=DECIMALS, declined=found.declined, instead=found.instead, not_counted=not_counted, notes=found.notes
        )
    value, low, high = (rounded(ph, DECIMALS) for ph in (found.ph, found.ph + found.down, found.ph + found.up))
    return Estimate(property="pH", decimals=DECIMALS, value=value, low=low, high=high, not_counted=not_counted, notes=found.notes)
