"""The model corrected by the meter: readings of batches as anchors, weighed additions between two readings as titration points.

What is not counted buffers too, and no sheet tells how much. A reading therefore outranks the model: an estimate starts from the
last one and moves by the difference of two models, in which most of what the model does not know cancels.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import Typed, round_to
from fvc.science.estimate import Estimate, rounded
from fvc.science.ph import LEAST_BUFFER, UNBUFFERED, Influence, Mixture, PhModel, as_estimate

# How far a reading may be from what it says; common practice without source (a strip steps by 0.5 or less).
METER, STRIP, UNSAID = 0.05, 0.3, 0.1
LEAST_STEP = 0.05  # pH between two readings, below which no slope comes out of them, however well they were read
NEAR = 0.05  # pH from the target, within which it is reached
FIRST, FIRST_WHEN_ANCHORED = Fraction(1, 2), Fraction(4, 5)
MOST = 20.0  # grams of a pH adjuster to 100 g of product, beyond which it is no adjusting any more


class Metered(NamedTuple):
    """A pH that was read, beside the model of what was in the beaker then.

    trial: its id; entry: of the reading. plan: that it was made from, as its record names it; own: True for a batch of the plan
    that is asked about. by: meter or strip, "" where it was not said. grams: in the beaker. model: of the product; model_ph: of what was
    read, which differs where it was diluted for it; None where the model gives no figure.
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
    def why_no_anchor(self) -> str:
        """Why nothing may start from it, in words; "" when it can be an anchor."""
        if self.model.declined:
            return f"no model of it: {self.model.declined}"
        if self.model_ph is None:
            return f"read in {self.dilution}, of which there is no model"
        if self.condition not in ("", "room"):
            return f"stood in: {self.condition}"
        return ""

    @property
    def sure_to(self) -> float:
        """How far the reading may be off, in pH units."""
        return {"meter": METER, "strip": STRIP}.get(self.by, UNSAID)


_PART = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*%")


def read_ph(model: PhModel, dilution: str) -> float | None:
    """The model's pH of what was held under the meter: the product, or a part of it in water (`10 % in water`); None for no figure."""
    if model.declined or model.mixture is None:
        return None
    if not dilution:
        return model.ph
    part = _PART.search(dilution)
    if part is None or not 0 < float(part[1]) <= 100:
        return None
    diluted = model.mixture.diluted(float(part[1]) / 100).balance(start=model.ph)
    return diluted.ph if diluted.buffer_value >= LEAST_BUFFER / 10 else None


class Point(NamedTuple):
    """A weighed addition between two readings of one batch: a point of a titration. grams: of the material; product: in the beaker before it."""

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


@dataclass(frozen=True, kw_only=True, eq=False)
class Anchored:
    """An estimate that starts from a reading: shift is what the meter read beyond the model of that batch; down, up: the band around it."""

    model: PhModel
    anchor: Metered
    down: float
    up: float

    @property
    def shift(self) -> float:
        """From the model to the meter, in pH units."""
        assert self.anchor.residual is not None
        return self.anchor.residual

    @property
    def ph(self) -> float:
        """Reading + (model of this product - model of the batch that was read)."""
        return self.model.ph + self.shift

    @property
    def estimate(self) -> Estimate:
        """As one of the properties of the product."""
        return as_estimate(self.model, self.shift, (self.down, self.up))


def anchor_of(readings: Iterable[Metered]) -> Metered | None:
    """The reading to start from: the last one of this plan's own batches, else the last of the formula; a meter before a strip."""
    usable = [r for r in readings if not r.why_no_anchor]
    # of readings in one second the one that was put down last: max takes the first of equals
    return max(reversed(usable), key=lambda r: (r.own, r.by != "strip", r.at), default=None)


def anchored(model: PhModel, anchor: Metered | None) -> Anchored | None:
    """A model moved to what the meter read; None where one of the two gives no figure."""
    if anchor is None or model.declined:
        return None
    down, up = spread_of_move(anchor.model.influences, model.influences)
    return Anchored(model=model, anchor=anchor, down=down - anchor.sure_to, up=up + anchor.sure_to)


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


def last_point(points: Iterable[Point], material: str) -> Point | None:
    """The titration point that counts: the last of this plan's own batches, else the last at all; of that material, if there is one."""
    usable = [
        p
        for p in points
        if abs(p.moved) >= max(LEAST_STEP, p.before.sure_to + p.after.sure_to) and not (p.before.dilution or p.after.dilution)
    ]
    return max(reversed(usable), key=lambda p: (p.own, p.material == material, p.after.at), default=None)


@dataclass(frozen=True, kw_only=True, eq=False)
class Dose:
    """What brings a product to a pH. grams: to 100 g of product, all of it; first: the part to begin with.

    start: the pH it begins at. by: `measured` from a titration point of this material, `corrected` by one of another, `model`.
    factor: measured grams over those of the model; None without a point. readings: of this plan that anchor it.
    """

    material: str
    start: float
    target: float
    grams: float
    by: str
    point: Point | None
    factor: float | None
    readings: int

    @property
    def first(self) -> Fraction:
        """The share of it that is weighed in first: half; 80 % where two readings of this plan anchor it."""
        return FIRST_WHEN_ANCHORED if self.readings >= 2 else FIRST


class NoDose(NamedTuple):
    """Why no dose can be given, and what else to do."""

    why: str
    next: str


MEASURED, CORRECTED, BY_MODEL = "measured", "corrected", "model"
AROUND = 0.3  # pH beyond the two readings of a titration point, up to which its grams per pH are taken as they are
WILDEST = 4.0  # times the model; a point that says more, or less than a fourth, is rather a slip than a buffer


def dose(
    material: str, there: Mixture, with_: Mixture, target: float, shift: float, titrated: tuple[Point, Mixture] | None, readings: int
) -> Dose | NoDose:
    """Grams of a material to 100 g of product that bring it from where it is to `target`.

    there: the product without what is to be weighed in. with_: 100 g of the material. shift: from the model to the meter.
    titrated: a titration point and 100 g of its material. Where it is of this material and the whole way lies by its two
    readings, its grams per pH stand in the model's place; further off, or of another material, it says by how much the
    model is off between the two, and corrects it by that. readings: of this plan that anchor it.
    """
    start = there.balance().ph + shift
    if abs(target - start) < NEAR:
        return NoDose(f"it stands at {start:.2f} already, within {NEAR} of {target:g}", "read the meter again before anything goes in")
    by_model = _solved(there, with_, target - shift)
    if by_model is None:
        way = "lowers" if target < start else "raises"
        return NoDose(
            f"{material} does not bring it from {start:.2f} to {target:g}: {MOST:.0f} g to 100 g are not enough, or it moves the other way",
            f"take an adjuster that {way} the pH",
        )
    if titrated is None and there.with_more(with_, by_model).balance().buffer_value < LEAST_BUFFER:
        return NoDose(
            f"nothing holds the pH at {target:g}: {UNBUFFERED}",
            "add a buffer to the plan, such as a citrate or lactate with its acid; without one, go by drops and the meter alone",
        )
    grams, by, point, factor = by_model, BY_MODEL, None, None
    if titrated is not None:
        found, its = titrated
        reach = sorted((found.before.ph, found.after.ph))
        if found.material == material and reach[0] - AROUND <= min(start, target) and max(start, target) <= reach[1] + AROUND:
            grams, by, point = found.per_ph * abs(target - start), MEASURED, found
            factor = grams / by_model
        elif (off := _measured_over_model(there, its, shift, found)) is not None:
            grams, by, point, factor = by_model * off, CORRECTED, found, off
    return Dose(material=material, start=start, target=target, grams=grams, by=by, point=point, factor=factor, readings=readings)


def _measured_over_model(there: Mixture, with_: Mixture, shift: float, point: Point) -> float | None:
    """Measured grams over those that the model takes between the same two readings; None where it cannot go there, or is off beyond belief."""
    ends = [_solved(there, with_, ph - shift) for ph in (point.before.ph, point.after.ph)]
    if ends[0] is None or ends[1] is None or abs(ends[1] - ends[0]) < 1e-6:
        return None
    factor = float(point.grams / point.product) * 100 / abs(ends[1] - ends[0])
    return factor if 1 / WILDEST < factor < WILDEST else None


def _solved(there: Mixture, with_: Mixture, target: float) -> float | None:
    """Grams to 100 g at which the model reaches a pH, by halving; None where it does not within MOST grams."""
    start = there.balance().ph
    low, high = 0.0, MOST
    end = there.with_more(with_, high).balance().ph
    if not min(start, end) <= target <= max(start, end):
        return None
    for _ in range(40):
        middle = (low + high) / 2
        reached = there.with_more(with_, middle).balance().ph
        gone_too_far = (reached >= target) == (end > start)
        low, high = (low, middle) if gone_too_far else (middle, high)
    return (low + high) / 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Portion:
    """A dose at the bench. product: grams that it goes into; grams: all of it; first: what goes in first, on the scale.

    stock: percent of the solution to weigh it as, 100 for the material as it is; first_weighed: grams of that. too_small: True
    where even that is below what the scale weighs well. in_all: True for the whole of an open line, not on top of what is there.
    """

    dose: Dose
    product: Fraction
    grams: Fraction
    first: Fraction
    stock: int
    first_weighed: Fraction
    too_small: bool
    in_all: bool


def portion(found: Dose, product: Fraction, step: Fraction, small_below: Fraction, *, in_all: bool) -> Portion:
    """A dose for so many grams of product on a scale of this step; as a stock solution when it is below `small_below` steps."""
    grams = rounded(found.grams, 6) * product / 100
    smallest = small_below * step
    stock = next((percent for percent in (100, 10, 1) if grams * 100 / percent >= smallest), 1)
    first = grams * found.first
    return Portion(
        dose=found,
        product=product,
        grams=grams,
        first=first,
        stock=stock,
        first_weighed=round_to(first * 100 / stock, step),
        too_small=grams * 100 / stock < smallest,
        in_all=in_all,
    )
