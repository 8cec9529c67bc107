"""The model corrected by the meter: readings of batches as anchors, weighed additions between two readings as titration points.

What is not counted buffers too, and no sheet tells how much. A reading therefore outranks the model: an estimate starts from the
last one and moves by the difference of two models, in which most of what the model does not know cancels.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import Typed, celsius
from fvc.composition import parts_of
from fvc.reading import Reading
from fvc.science.equilibrium import Balance
from fvc.science.estimate import Estimate, rounded
from fvc.science.mixture import Mixture
from fvc.science.ph import LEAST_BUFFER, PhModel, as_estimate
from fvc.science.uncertain import Influence
from fvc.seeing import sure_to

COLDEST, HOTTEST = 10, 35  # °C of a reading that can be held against a model of 25 °C
FURTHEST = 1.0  # pH between meter and model, beyond which the model is too wrong to move by
UNSURE_MOVE = 0.1  # pH by which a band grows at least where the amounts of what is not counted change


class Metered(NamedTuple):
    """A pH that was read, beside the model of what was in the beaker then.

    trial: its id; entry: of the reading. plan: that it was made from, as its record names it; own: True for a batch of the plan
    that is asked about. by: meter or strip, "" where it was not said. grams: in the beaker. model: of the product; model_ph: of what
    was read, which differs where it was diluted for it; None where the model gives no figure.
    """

    trial: str
    entry: str
    plan: str
    own: bool
    at: datetime.datetime
    day: int
    condition: str
    value: Typed
    by: str
    dilution: str
    temperature: str
    model: PhModel
    model_ph: float | None
    grams: Fraction

    @property
    def ph(self) -> float:
        """The reading as a figure."""
        return float(self.value.value)

    @property
    def residual(self) -> float | None:
        """Reading minus model; None where the model gives no figure."""
        return None if self.model_ph is None else self.ph - self.model_ph

    @property
    def at_room(self) -> bool:
        """False for a sample that stood elsewhere, or was read hot or cold."""
        return self.condition in ("", "room") and not self._hot_or_cold

    @property
    def _hot_or_cold(self) -> bool:
        try:
            return bool(self.temperature) and not COLDEST <= celsius(self.temperature) <= HOTTEST
        except ValueError:
            return False

    @property
    def why_no_anchor(self) -> str:
        """Why nothing may start from it, in words; "" when it can be an anchor."""
        if not self.at_room:
            return f"read at {self.temperature}" if self._hot_or_cold else f"stood in: {self.condition}"
        if not moves(self.model):
            return f"no model of it: {self.model.declined}"
        if self.model_ph is None:
            return f"read in {self.dilution}, of which there is no model"
        return ""

    @property
    def sure_to(self) -> float:
        """How far the reading may be off, in pH units."""
        return float(sure_to(self.by))

    @property
    def words(self) -> str:
        """`4.81 in hw-260523-jw-a, day 14, read 10 % in water`."""
        day = f", day {self.day}" if self.day else ", on the day it was made"
        return f"{self.value.text} in {self.trial}{day}" + (f", read {self.dilution}" if self.dilution else "")


def moves(model: PhModel) -> bool:
    """True for a model whose differences mean something: also of a product in which something is not counted that a reading makes up for."""
    return not model.declined or model.lacks


_PART = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*%")


def part_read(dilution: str) -> float | None:
    """The part of the product in what was held under the meter: 1, or 0.1 for `10 % in water`; None for words that do not tell."""
    if not dilution:
        return 1.0
    found = _PART.search(dilution)
    return float(found[1]) / 100 if found and 0 < float(found[1]) <= 100 else None


def balance_read(mixture: Mixture, part: float, start: float = 7.0) -> Balance:
    """The balance of what is held under the meter."""
    return mixture.balance(start=start) if part == 1.0 else mixture.diluted(part).balance(start=start)


def read_ph(model: PhModel, dilution: str) -> float | None:
    """The model's pH of what was held under the meter; None for no figure."""
    part = part_read(dilution)
    if not moves(model) or model.mixture is None or part is None:
        return None
    if part == 1.0:
        return model.ph
    found = balance_read(model.mixture, part, model.ph)
    return found.ph if found.buffer_value >= LEAST_BUFFER / 10 else None


class Point(NamedTuple):
    """A weighed addition between two readings of one batch: a point of a titration.

    grams: of the material; product: in the beaker before it.
    """

    trial: str
    own: bool
    material: str
    grams: Fraction
    product: Fraction
    before: Metered
    after: Metered

    @property
    def moved(self) -> float:
        """How far it moved the pH; negative for an acid."""
        return self.after.ph - self.before.ph

    @property
    def per_ph(self) -> float:
        """Grams of it for 100 g of product and one pH unit, measured."""
        return float(self.grams / self.product) * 100 / abs(self.moved)

    @property
    def alike(self) -> bool:
        """True when both readings were taken of the same kind of sample, by a meter: two that can be compared."""
        first, second = self.before, self.after
        return (
            first.condition == second.condition
            and first.dilution == second.dilution
            and first.at_room
            and "strip" not in (first.by, second.by)
            and part_read(first.dilution) is not None
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Anchored:
    """An estimate that starts from a reading. ph: as it would be read the same way; down, up: the band around it.

    as_read: True where nothing went in or out since, so that it is the reading itself. notes: what makes it less sure.
    """

    model: PhModel
    anchor: Metered
    ph: float
    down: float
    up: float
    as_read: bool = False
    notes: tuple[str, ...] = ()

    @property
    def shift(self) -> float:
        """From the model to the meter, in pH units; 0 where the model gives no figure."""
        return self.anchor.residual or 0.0

    @property
    def neat(self) -> float:
        """The pH of the product itself, where it was read in a dilution; else the same."""
        if not self.anchor.dilution or self.anchor.residual is None or not moves(self.model):
            return self.ph
        return self.model.ph + self.anchor.residual

    @property
    def estimate(self) -> Estimate:
        """As one of the properties of the product."""
        found = as_estimate(self.model)
        value, low, high = (rounded(each, found.decimals) for each in (self.ph, self.ph + self.down, self.ph + self.up))
        # what is not counted is in the reading, so that the model lacks it is no remark any more
        notes = (*(note for note in found.notes if not note.startswith("without ")), *self.notes)
        return replace(found, value=value, low=low, high=high, declined="", instead="", notes=notes)


def anchor_of(readings: Iterable[Metered]) -> Metered | None:
    """The reading to start from: the last one of this plan's own batches, else the last of the formula; a meter before a strip.

    Where the model gives no figure of any, the last one of an own batch, which can still stand for itself.
    """
    listed = list(readings)
    # of readings in one second the one that was put down last: max takes the first of equals
    usable = [r for r in reversed(listed) if not r.why_no_anchor] or [r for r in reversed(listed) if r.own and r.at_room and not r.dilution]
    return max(usable, key=lambda r: (r.own, r.by != "strip", r.at), default=None)


def anchored(model: PhModel, anchor: Metered | None) -> Anchored | None:
    """A model moved to what the meter read: reading + (model of this product - model of the batch that was read).

    None where one of the two gives no figure, unless the reading is of this very batch as it is now; and where meter and model
    are so far apart that the model says nothing of a change.
    """
    if anchor is None:
        return None
    if _same_product(model.reading, anchor.model.reading):
        if model.reading.side.made or not model.declined:
            return Anchored(model=model, anchor=anchor, ph=anchor.ph, down=-anchor.sure_to, up=anchor.sure_to, as_read=True)
        return None
    now = read_ph(model, anchor.dilution)
    if now is None or anchor.model_ph is None or anchor.residual is None or abs(anchor.residual) > FURTHEST:
        return None
    down, up = spread_of_move(anchor.model.influences, model.influences)
    by, notes = _uncounted_changed(anchor, model)
    ph = anchor.ph + now - anchor.model_ph
    return Anchored(model=model, anchor=anchor, ph=ph, down=down - anchor.sure_to - by, up=up + anchor.sure_to + by, notes=notes)


def _same_product(one: Reading, other: Reading) -> bool:
    """True for the same lines at the same percents, of the same substances: one batch as it stands, or made exactly by its plan."""
    return one is other or (_amounts(one) == _amounts(other) and mixture_key(one) == mixture_key(other))


def _amounts(reading: Reading) -> list[tuple[str, str, float]]:
    return [(a.line.phase, a.line.material, round(float(a.counted), 6)) for a in reading.closure.amounts]


def mixture_key(reading: Reading) -> tuple[object, ...]:
    """What tells two readings of the same lines apart: the records that they are made of."""
    return tuple(sorted((id, repr(sorted((m.composition or {}).items()))) for id, m in reading.materials.items()))


def _uncounted_changed(anchor: Metered, model: PhModel) -> tuple[float, tuple[str, ...]]:
    """How much wider the band must be where the amounts of what is not counted changed, and the sentence that says it."""
    before, after = _uncounted(anchor.model), _uncounted(model)
    whole = sum(before.values())
    changed = sum(abs(after.get(id, 0.0) - before.get(id, 0.0)) for id in {*before, *after})
    share = changed / whole if whole else 1.0
    if changed < 0.01 or share < 0.02:
        return 0.0, ()
    names = ", ".join(sorted(id for id in {*before, *after} if abs(after.get(id, 0.0) - before.get(id, 0.0)) >= 0.01))
    by = max(UNSURE_MOVE, abs(anchor.residual or 0.0) * min(share, 3.0)) if whole else UNSURE_MOVE
    return by, (f"the amount of what is not counted changed ({names}): the model does not see what that does",)


def _uncounted(model: PhModel) -> dict[str, float]:
    """Percent of the materials that bring something which is not counted, by their words."""
    names = {u.material for u in model.found.uncounted}
    out: dict[str, float] = {}
    for part in parts_of(model.reading):
        if part.words in names:
            out[part.words] = out.get(part.words, 0.0) + float(part.percent)
    return out


def spread_of_move(first: Sequence[Influence], second: Sequence[Influence]) -> tuple[float, float]:
    """How far the difference of two models may be off, each way: what is uncertain in both alike cancels."""
    one, other = ({i.what: i for i in each} for each in (first, second))
    down = up = 0.0
    for what in dict.fromkeys([*one, *other]):
        before, after = one.get(what), other.get(what)
        ends = [getattr(after, end, 0.0) - getattr(before, end, 0.0) for end in ("at_low", "at_high")]
        down += min(0.0, *ends)
        up += max(0.0, *ends)
    return down, up
