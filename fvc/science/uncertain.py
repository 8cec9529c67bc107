"""What each uncertain figure does to the pH: ranges of strengths, constants, the water, what dissolves, alcohol, the model itself."""

from __future__ import annotations

import math
from typing import NamedTuple

from fvc.reference.ions import spread_of
from fvc.reference.solubility import SOLUBILITY, dissolves_percent, in_a_sentence
from fvc.science.equilibrium import Balance, charge_at, davies, in_solution, shares, solve
from fvc.science.mixture import Mixture

MUCH_ALCOHOL, MOST_ALCOHOL = 10.0, 20.0  # percent from which the constants shift, and from which they no longer hold; common practice
BY_ALCOHOL = 0.02  # pH that one percent of alcohol raises the reading by at most; common practice without source


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


def influences_of(mixture: Mixture, balance: Balance, alcohol: float) -> tuple[Influence, ...]:
    """All of them but what dissolves. alcohol: percent of the product."""
    return (
        *_strengths(mixture, balance),
        *_constants(mixture, balance),
        *_water(mixture, balance),
        *_by_alcohol(alcohol),
        *_crowded(mixture),
        _of_model(balance),
    )


CROWDED = 0.5  # mol/kg of acids and bases from which neutral forms do not behave as if they were alone; by judgement, no source


def _crowded(mixture: Mixture) -> list[Influence]:
    """What strong solutions add: the model takes neutral forms as ideal."""
    weak, _ = mixture.dissolved()
    molality = sum(each.molality for each in weak)
    if molality <= CROWDED:
        return []
    by = 0.1 * (molality - CROWDED)
    return [Influence("a strong solution", "model", -by, by, f"{molality:.2g} mol/kg of acids and bases, counted as if they were dilute")]


def _strengths(mixture: Mixture, balance: Balance) -> list[Influence]:
    """Each material whose record gives a range for an acid, base or salt: the pH at both ends."""
    out = []
    for material in dict.fromkeys(i.material for i in mixture.items if i.high > i.low):
        ranges = [(i.inci, i.low, i.high) for i in mixture.items if i.material == material and i.high > i.low]
        at_low, at_high = (with_strength(mixture, material, end, balance.ph) - balance.ph for end in ("low", "high"))
        given = ", ".join(f"{inci} {low:.3g} to {high:.3g} % of the product" for inci, low, high in ranges)
        out.append(Influence(material, "strength", at_low, at_high, given, f"the record of {material}"))
    return out


def with_strength(mixture: Mixture, material: str, end: str, start: float) -> float:
    """The pH with all that one material brings at the `low` or `high` end of its range."""
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


def solid(mixture: Mixture, balance: Balance) -> Influence | None:
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
