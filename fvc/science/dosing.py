"""How much of an acid or base brings a product to a pH: the model set to what the meter read, and corrected by titration points.

What is not counted is put in as a fixed charge, as much as makes the model read what the meter read; so the dose starts where the
product is. Where a weighed addition stands between two readings, the grams that it took over those that the model takes say how much
more buffers than is counted. A dose is never more than a first part of what the figures say.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import figure, round_to
from fvc.material import Material
from fvc.reading import Reading
from fvc.reference.ions import InWater
from fvc.science.dissolved import Mass
from fvc.science.equilibrium import Ions, charge_at, davies, shares
from fvc.science.estimate import rounded
from fvc.science.metering import Metered, Point, balance_read, part_read
from fvc.science.mixture import Item, Mixture, protolyte
from fvc.science.ph import LEAST_BUFFER, MOST_IONIC, UNBUFFERED, PhModel

NEAR = 0.05  # pH from the target, within which it is reached
LEAST_STEP = 0.1  # pH between two readings, below which no figure comes out of them, however well they were read
LONG_WAY = 1.5  # pH, a way of which only half goes in at first, however well it is anchored
WILD = 2.5  # times the model, from which only half goes in, with a caution
MOST_TIMES = 4.0  # times the model that one addition by itself is believed: what was read too early looks like a buffer
FIRST, FIRST_WHEN_ANCHORED = Fraction(1, 2), Fraction(4, 5)
AGREE = 0.2  # pH within which the readings of a plan differ from the model alike, so that two of them anchor it
MOST = 20.0  # grams of a pH adjuster to 100 g of product, beyond which it is no adjusting any more
WILDEST = 0.3  # mol per kg and pH unit, a buffer that no product has: a point that says more is rather a slip
CLOSE = 0.5  # pH between two readings, up to which their grams per pH hold for a way beside them, however short it is
AROUND = 0.5  # pH beyond its two readings, up to which a titration point says what else buffers
HARDLY = 0.1  # of the move that the model expects; less of it, or the other way, and something is wrong with the readings
SOUREST, MOST_ALKALINE = 3.5, 8.5  # pH beyond which a product is for an assessor to judge; common practice without source
WITHOUT_UNIT = Mass(1.0, "")


class NoDose(NamedTuple):
    """Why no dose can be given, and what else to do."""

    why: str
    next: str


BY_MODEL, MEASURED, CORRECTED = "model", "measured", "corrected"


@dataclass(frozen=True, kw_only=True, eq=False)
class Dose:
    """What brings a product to a pH. grams: to 100 g of product, all of it; first: the share of it to begin with.

    start: the pH it begins at, as it would be read; unbuffered: True where that is only a direction. end: the ionic strength
    when it is there. by: `measured` from a titration point of this material, `corrected` by one of another, `model`. factor: measured
    grams over those of the model; None without a point. anchor: the reading that the model was set to. anchors: how many of this
    plan agree. unknown: pH of the way that nobody has gone yet, by weight, in a batch that was read. runs_out: True where it is less than the measured grams per pH say, since the buffer gives out on the way.
    """

    material: str
    start: float
    unbuffered: bool
    target: float
    grams: float
    by: str
    point: Point | None
    factor: float | None
    anchor: Metered | None
    anchors: int
    unknown: float
    runs_out: bool = False

    @property
    def first(self) -> Fraction:
        """Half of it; 80 % where two readings of this plan anchor it and it is not far to go."""
        return FIRST_WHEN_ANCHORED if self.anchors >= 2 and self.unknown <= LONG_WAY and not self.wild else FIRST

    @property
    def wild(self) -> bool:
        """True where a weighed addition says that much more buffers than is known."""
        return self.factor is not None and self.factor > WILD


# --- the model set to a reading ----------------------------------------------------------------------


def matched(mixture: Mixture, part: float, ph: float) -> Mixture:
    """A mixture with so much fixed charge of what is not counted that what is held under the meter reads `ph`.

    part: of the product in it. The charge stands in 100 g of product like any other substance, in moles.
    """
    under = mixture if part == 1.0 else mixture.diluted(part)
    weak, ions = under.dissolved()
    charge, damping = 0.0, davies(sum(i.charge**2 * i.molality for i in ions) / 2)
    for _ in range(100):
        more = [Ions(1 if charge > 0 else -1, abs(charge))]
        net, _, strength = charge_at(weak, [*ions, *more], ph, damping)
        if abs(net) < 1e-12:
            break
        charge, damping = charge - net, davies(min(strength, 1.0))
    grams = abs(charge) * under.water / 1000 / part
    kind = InWater(ions=((1 if charge > 0 else -1, 1),))
    item = Item("what is not counted", grams, grams, grams, WITHOUT_UNIT, kind, "")
    return replace(mixture, items=(*mixture.items, item))


def unknown_of(metered: Metered) -> tuple[Item, float] | None:
    """The fixed charge that makes the model of a batch read what the meter read, and the part that was held under it.

    Also where nothing holds the pH; None where the model cannot be tried, or the dilution does not tell.
    """
    part = part_read(metered.dilution)
    model = metered.model
    if part is None or model.mixture is None or not model.correctable:
        return None
    return matched(model.mixture, part, metered.ph).items[-1], part


def to_start_from(readings: Iterable[Metered]) -> Metered | None:
    """The reading that a dose starts from: the last of this plan's own batches, else of the formula; a meter before a strip."""
    usable = [r for r in reversed(list(readings)) if r.at_room and unknown_of(r) is not None]
    return max(usable, key=lambda r: (r.own, r.by != "strip", r.at), default=None)


def how_many_anchor(readings: Iterable[Metered]) -> int:
    """How many readings of this plan say alike how far the model is off: by a meter, of different batches, days or compositions."""
    own = [r for r in readings if r.own and r.by != "strip" and r.at_room and r.residual is not None]
    if not own:
        return 0
    last = own[-1].residual or 0.0
    return len({(r.trial, r.day, r.grams) for r in own if abs((r.residual or 0.0) - last) <= AGREE})


# --- titration points -------------------------------------------------------------------------------


def usable_points(points: Iterable[Point]) -> list[Point]:
    """Points of this plan's own batches, by a meter, of two readings that can be compared and are far enough apart; the last first."""
    found = [p for p in points if p.own and p.alike and abs(p.moved) >= max(LEAST_STEP, p.before.sure_to + p.after.sure_to)]
    return sorted(found, key=lambda p: p.after.at)[::-1]  # the sort keeps the order of one moment


class Measured(NamedTuple):
    """What a titration point says of the model. hidden: what buffers besides, mol in 100 g of product and pH unit, from `low` to `high`.

    part: of the model's grams, where they were too many; else 1.
    """

    hidden: float
    part: float
    low: float
    high: float

    def corrected(self, by_model: float, start: float, end: float, per_gram: float) -> float:
        """Grams of something that gives `per_gram` equivalents, from one pH to another, where the model takes `by_model`.

        Buffers add: what is hidden is added to what the model knows, and not multiplied with it.
        """
        low, high = max(min(start, end), self.low), min(max(start, end), self.high)
        return by_model * self.part + self.hidden * max(high - low, 0.0) / per_gram


def equivalents(material: Mixture, ph: float) -> float:
    """Mol of charge that a gram of a material brings at a pH, by its declared acids, bases and salts; positive for either sign."""
    charge = 0.0
    for item in material.items:
        moles = item.grams / item.mass.grams / 100
        charge += moles * sum(z * count for z, count in item.gives.ions)
        for weak, count in item.gives.weak:
            forms = shares(protolyte(weak, 1.0), ph, davies(0.1))
            charge += moles * count * sum((weak.charge - lost) * share for lost, share in enumerate(forms))
    return abs(charge)


def measured(point: Point, with_: Mixture) -> Measured | None:
    """What an addition between two readings says of the model that is set to the first; None where it says nothing, or too much."""
    found = unknown_of(point.before)
    if found is None or point.before.model.mixture is None:
        return None
    item, part = found
    there = replace(point.before.model.mixture, items=(*point.before.model.mixture.items, item))
    by_model = _solved(there, with_, part, point.after.ph)
    ends = sorted((point.before.ph, point.after.ph))
    per_gram = equivalents(with_, sum(ends) / 2)
    grams = float(point.grams / point.product) * 100
    if by_model is None or not per_gram or grams * per_gram * 10 / abs(point.moved) > WILDEST:
        return None
    less = min(grams / by_model, 1.0) if by_model else 1.0
    hidden = max(grams - by_model, 0.0) * per_gram / abs(point.moved)
    return Measured(hidden, less, ends[0] - AROUND, ends[1] + AROUND)


def contradiction(points: Sequence[Point], alone_of: Callable[[str], Mixture | None]) -> str:
    """What is wrong with the last addition to a batch: it did not move the pH, or moved it the other way; "" when nothing is."""
    if not points:
        return ""
    point = points[-1]
    with_, found = alone_of(point.material), unknown_of(point.before)
    if with_ is None or found is None or not point.alike or point.before.model.mixture is None:
        return ""
    item, part = found
    there = replace(point.before.model.mixture, items=(*point.before.model.mixture.items, item))
    grams = float(point.grams / point.product) * 100
    expected = balance_read(there.with_more(with_, grams), part, point.before.ph).ph - point.before.ph
    if abs(expected) < LEAST_STEP or point.moved / expected >= HARDLY:
        return ""
    return (
        f"{figure(point.grams)} g {point.material} took it from {point.before.value.text} to {point.after.value.text}, where {expected:+.2f} was to be "
        "expected"
    )


# --- the dose ---------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class Question:
    """What is asked. there: the product without what is to be weighed in; with_: 100 g of the material, `material` its id.

    anchor: the reading that the model is set to, None without one. whole: True when the dose is the whole of an open line.
    """

    material: str
    there: Mixture
    with_: Mixture
    target: float
    anchor: Metered | None
    whole: bool


def dose(asked: Question, points: Sequence[Point], anchors: int, alone_of: Callable[[str], Mixture | None]) -> Dose | NoDose:
    """Grams of a material to 100 g of product that bring it to a pH, as it would be read in the way of the anchor.

    points: titration points. anchors: readings of this plan that anchor it. alone_of: 100 g of a material by its id.
    """
    there, part = asked.there, 1.0
    if asked.anchor is not None and (found := unknown_of(asked.anchor)) is not None:
        there, part = replace(there, items=(*there.items, found[0])), found[1]
    begin = balance_read(there, part)
    if asked.anchor is not None and asked.anchor.by == "strip" and abs(asked.target - begin.ph) < asked.anchor.sure_to:
        return NoDose(
            f"a strip read {asked.anchor.value.text}, which may be {asked.anchor.sure_to:g} off: too near to {asked.target:g} to say anything",
            "read it with a meter",
        )
    if abs(asked.target - begin.ph) < NEAR:
        return NoDose(
            f"it stands at {begin.ph:.2f} already, within {NEAR} of {asked.target:g}", "read the meter again before anything goes in"
        )
    whole = _solved(there, asked.with_, part, asked.target, begin.ph)
    if whole is None:
        return _unreachable(asked, there, part, begin.ph)
    end = balance_read(there.with_more(asked.with_, whole), part, asked.target)
    in_product = there.with_more(asked.with_, whole).balance(start=asked.target)
    if in_product.ionic_strength > MOST_IONIC:
        return NoDose(
            f"it would take about {whole:.2g} g of {asked.material} to 100 g, and at that ionic strength ({in_product.ionic_strength:.2f} mol/kg) "
            "the model says nothing",
            "take a stronger one, or change the buffer of the plan",
        )
    if end.buffer_value < LEAST_BUFFER * part:
        return NoDose(
            f"nothing holds the pH at {asked.target:g}: {UNBUFFERED}",
            "add a buffer to the plan, such as a citrate or lactate with its acid; without one, go by drops and the meter alone",
        )
    # what went into the batch that was read is known by weight: only the way from there to the target is the model's
    known = 0.0
    if asked.whole and asked.anchor is not None:
        known = _solved(there, asked.with_, part, asked.anchor.ph, begin.ph) or 0.0
    here = asked.anchor is not None and abs(begin.ph - asked.anchor.ph) < NEAR
    unbuffered = begin.buffer_value < LEAST_BUFFER * part and not here
    spoken: list[tuple[Point, Measured]] = []
    for point in usable_points(points):
        with_ = alone_of(point.material)
        if with_ is not None and (says := measured(point, with_)) is not None:
            spoken.append((point, says))
    if not spoken:
        return _dose(asked, begin.ph, unbuffered, whole, BY_MODEL, None, anchors)
    # of the last two the one that says less: what was read too early looks like a buffer
    point, says = min(spoken[:2], key=lambda each: each[1].hidden)
    by_model = abs(whole - known)
    way = (asked.anchor.ph if known and asked.anchor else begin.ph, asked.target)
    more = says.corrected(by_model, *way, equivalents(asked.with_, sum(way) / 2))
    if len(spoken) == 1:
        more = min(more, MOST_TIMES * by_model)
    length, runs_out = abs(way[1] - way[0]), False
    near = says.low <= min(way) and max(way) <= says.high and abs(point.moved) <= max(2 * length, CLOSE)
    if point.material == asked.material and near:
        # its grams per pH as they were measured, unless the buffer runs out on the way
        runs_out = more < 0.9 * point.per_ph * length
        more = min(more, point.per_ph * length)
    grams = known + (more if whole >= known else -more)
    by = MEASURED if point.material == asked.material else CORRECTED
    worked = _dose(asked, begin.ph, unbuffered, grams, by, point, anchors)
    return replace(worked, factor=grams / whole, runs_out=runs_out)


def _dose(asked: Question, start: float, unbuffered: bool, grams: float, by: str, point: Point | None, anchors: int) -> Dose:
    gone = asked.anchor.ph if asked.whole and asked.anchor is not None and asked.anchor.own else start
    return Dose(
        material=asked.material,
        start=start,
        unbuffered=unbuffered,
        target=asked.target,
        grams=grams,
        by=by,
        point=point,
        factor=None,
        anchor=asked.anchor,
        anchors=anchors,
        unknown=abs(asked.target - gone),
    )


def _unreachable(asked: Question, there: Mixture, part: float, start: float) -> NoDose:
    moves = balance_read(there.with_more(asked.with_, MOST), part, start).ph - start
    if not asked.with_.items or abs(moves) < NEAR:
        return NoDose(
            f"fvc knows no acid or base in {asked.material}",
            f"take a pH adjuster; or give  [acid] pka  in the record of {asked.material}, if it is one",
        )
    needed = "lowers" if asked.target < start else "raises"
    if (moves < 0) != (asked.target < start):
        does = "lowers" if moves < 0 else "raises"
        return NoDose(f"{asked.material} {does} the pH, and it stands at {start:.2f} already", f"take an adjuster that {needed} it")
    return NoDose(
        f"{MOST:.0f} g of {asked.material} to 100 g do not bring it from {start:.2f} to {asked.target:g}",
        f"take a stronger one that {needed} it",
    )


def _solved(there: Mixture, with_: Mixture, part: float, target: float, start: float | None = None) -> float | None:
    """Grams to 100 g at which what is held under the meter reads the target, by halving; None where it does not within MOST grams."""
    start = balance_read(there, part).ph if start is None else start
    low, high = 0.0, MOST
    end = balance_read(there.with_more(with_, high), part).ph
    if not min(start, end) <= target <= max(start, end):
        return None
    guess = target
    for _ in range(34):
        middle = (low + high) / 2
        reached = balance_read(there.with_more(with_, middle), part, guess).ph
        gone_too_far = (reached >= target) == (end > start)
        low, high = (low, middle) if gone_too_far else (middle, high)
    return (low + high) / 2


# --- at the bench -----------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class Portion:
    """A dose at the bench. product: grams that it goes into; grams: all of it; first: what goes in first, neat.

    stock: percent of the material in the solution to weigh it as, 100 for the material as it is; weighed: grams of that, on the scale.
    too_small: True where even that is below what the scale weighs well. in_all: True for the whole of an open line, not on top.
    cautions: in words.
    """

    dose: Dose
    product: Fraction
    grams: Fraction
    first: Fraction
    stock: int
    weighed: Fraction
    too_small: bool
    in_all: bool
    cautions: tuple[str, ...]

    @property
    def neat(self) -> Fraction:
        """Grams of the material in what is weighed."""
        return self.weighed * self.stock / 100


def portion(found: Dose, asked: Question, product: Fraction, step: Fraction, small_below: Fraction, cautions: Sequence[str]) -> Portion:
    """A dose for so many grams of product on a scale of this step; as a stock solution when it is below `small_below` steps."""
    grams = rounded(found.grams, 6) * product / 100
    first = grams * found.first
    smallest = small_below * step
    small = grams < smallest
    stock = next((percent for percent in (10, 1) if first * 100 / percent >= smallest), 1) if small else 100
    weighed = round_to(first * 100 / stock, step)
    return Portion(
        dose=found,
        product=product,
        grams=grams,
        first=first,
        stock=stock,
        weighed=weighed,
        too_small=weighed < smallest / 2,
        in_all=asked.whole,
        cautions=tuple(cautions),
    )


def cautions(found: Dose, material: Material, reading: Reading, whole: bool) -> list[str]:
    """What is to be thought of before a dose goes in: the spec, the supplier's use level, and a pH that is for an assessor to judge."""
    out = []
    given = reading.plan.spec.get("ph")
    if isinstance(given, tuple) and not given[0].value <= rounded(found.target, 4) <= given[1].value:
        out.append(f"pH {found.target:g} is outside the spec, {given[0].text} to {given[1].text}")
    there = sum(float(a.counted) for a in reading.closure.amounts if a.line.material == material.id)
    level = (found.grams if whole else there + found.grams) * 100 / (100 + (0 if whole else found.grams))
    if material.use_level is not None and level > float(material.use_level[1].value):
        out.append(f"that makes {level:.2g} % {material.id} in all, and its record allows {material.use_level[1].text} %")
    if not SOUREST <= found.target <= MOST_ALKALINE:
        out.append(f"a product at pH {found.target:g} can hurt the skin: whether it may be that, a qualified assessor says")
    if found.wild and found.point is not None:
        out.append(
            f"by that addition it takes {found.factor:.1f} times what the model says: a pH that was read too early looks the same, so read again"
        )
    if found.unknown > LONG_WAY:
        out.append(f"it is {found.unknown:.1f} pH to go: in several parts, with a reading after each")
    if found.anchor is not None and found.anchor.by == "strip":
        out.append(f"it starts from a strip, which may be {found.anchor.sure_to:g} off: read a meter before it goes in")
    return out


def model_for_dose(model: PhModel) -> str:
    """Why no dose can come from a model; "" when one can, also where only the pH itself is too uncertain to be given."""
    return "" if model.mixture is not None and model.correctable else model.declined or "there is no model of it"
