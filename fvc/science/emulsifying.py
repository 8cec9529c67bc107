"""HLB by Griffin's scale: of the emulsifiers in a product, what its oil asks for, and the split of two that meets a target.

Each is a mean by weight. An `hlb` or `required_hlb` in a record is of the material as supplied, and weighs with all of it; a
published figure is of the substance, and weighs with its share in the material. The scale was made for non-ionic
emulsifiers and says which blends to try, not that an emulsion lasts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, figure
from fvc.composition import Part, parts_of
from fvc.errors import Refusal
from fvc.material import Material
from fvc.reading import Reading
from fvc.reference.hlb import EMULSIFIER_SURE_TO, GRIFFIN, REQUIRED_SURE_TO, Hlb, hlb_of, required_hlb_of
from fvc.reference.lookup import known
from fvc.science.estimate import Estimate, Step, rounded
from fvc.science.griffin import mean, share_of_first
from fvc.science.oils import acts_as, is_oil, largest

BLEND, REQUIRED = "HLB of the emulsifiers", "HLB that the oil asks for"
ENOUGH = Fraction(1, 2)  # of the oil, below which what has a figure does not speak for the rest
STRONG = Fraction(90)  # percent of active matter, below which a material weighs with much that is no emulsifier
OF_THE_SCALE = "Griffin's scale is for non-ionic emulsifiers"


class _Figure(NamedTuple):
    """An HLB with its band. weighs: the part of the material that it is of, from 0 to 1."""

    value: Fraction
    low: Fraction
    high: Fraction
    source: str
    weighs: Fraction = Fraction(1)


class _Counted(NamedTuple):
    """Parts of a product with their figures, and the parts that have none."""

    members: tuple[tuple[Part, _Figure], ...]
    without: tuple[Part, ...]

    @property
    def weight(self) -> Fraction:
        """Percent of the product that the figures are of."""
        return sum((part.percent * f.weighs for part, f in self.members), ZERO)

    def mean(self, of: Callable[[_Figure], Fraction]) -> Fraction:
        """The mean of the figures."""
        return mean((part.percent * f.weighs, of(f)) for part, f in self.members)


def _figure(material: Material, own: Fraction | None, where: str, published: Callable[[str], Hlb | None], sure_to: float) -> _Figure | None:
    """The record's own figure, else the mean of the published ones for what is in the material."""
    sure = Fraction(sure_to)
    if own is not None:
        return _Figure(own, max(own - sure, ZERO), own + sure, f"{where} in the record of {material.id}")
    rows = [
        (share.nominal if share.nominal is not None else (share.low + share.high) / 2, found)
        for inci, share in (material.composition or {}).items()
        if share.high and (found := published(inci))
    ]
    weight = sum((w for w, _ in rows), ZERO)
    if weight == 0:
        return None
    value = mean((w, Fraction(h.value)) for w, h in rows)
    low, high = (mean((w, Fraction(end)) for w, end in ends) for ends in ([(w, h.low) for w, h in rows], [(w, h.high) for w, h in rows]))
    sources = "; ".join(dict.fromkeys(h.source.words for _, h in rows))
    return _Figure(value, max(min(low, value - sure), ZERO), max(high, value + sure), sources, weight / HUNDRED)


def _emulsifier_figure(material: Material) -> _Figure | None:
    return _figure(material, material.hlb, "hlb", hlb_of, EMULSIFIER_SURE_TO)


def _counted(parts: Sequence[Part], of: Callable[[Material], _Figure | None]) -> _Counted:
    found = [(part, of(part.material) if part.material else None) for part in parts]
    return _Counted(tuple((p, f) for p, f in found if f), tuple(p for p, f in found if not f))


def _oil_figure(material: Material) -> _Figure | None:
    return _figure(material, material.required_hlb, "required_hlb", required_hlb_of, REQUIRED_SURE_TO)


def _emulsifies(part: Part) -> bool:
    return part.material is not None and (part.material.hlb is not None or acts_as(part.material, "emulsifier", "solubiliser"))


@lru_cache(maxsize=16)
def _emulsifiers(reading: Reading) -> _Counted:
    return _counted([p for p in parts_of(reading) if p.percent and _emulsifies(p)], _emulsifier_figure)


@lru_cache(maxsize=16)
def _oils(reading: Reading) -> _Counted:
    """The oil phase: all oil, and what a figure is known of as of an oil (stearic acid, which also emulsifies as a soap)."""
    parts = [p for p in parts_of(reading) if p.percent and p.material and not _emulsifies(p) and (is_oil(p) or _oil_figure(p.material))]
    return _counted(parts, _oil_figure)


def _estimate(name: str, counted: _Counted, not_counted: Sequence[str], notes: Sequence[str]) -> Estimate:
    value, low, high = (counted.mean(of) for of in (lambda f: f.value, lambda f: f.low, lambda f: f.high))
    return Estimate(
        property=name,
        decimals=1,
        value=rounded(float(value), 1),
        low=rounded(float(low), 1),
        high=rounded(float(high), 1),
        not_counted=tuple(not_counted),
        notes=tuple(notes),
    )


def blend(reading: Reading) -> Estimate:
    """The HLB of the emulsifiers and solubilisers of a product, by weight; declined where none has a figure."""
    counted = _emulsifiers(reading)
    not_counted = [f"{p.words} {figure(p.percent)} %: no hlb in its record and no published one in fvc" for p in counted.without]
    if not counted.members:
        why = "no emulsifier or solubiliser has an HLB" if counted.without else "there is no emulsifier or solubiliser"
        return Estimate(property=BLEND, decimals=1, declined=why, not_counted=tuple(not_counted))
    notes = []
    for part, found in counted.members:
        assert part.material is not None
        charge = _charge(part.material)
        if charge not in ("", "non-ionic"):
            notes.append(f"{part.words} is {charge}: {OF_THE_SCALE}, so with it the figure is a comparison only")
        strength = _active(part.material)
        if found.weighs == 1 and strength is not None and strength < STRONG:
            notes.append(f"{part.words} weighs as supplied, as the hlb in its record; {figure(strength)} % of it is active")
    return _estimate(BLEND, counted, not_counted, notes)


def required(reading: Reading) -> Estimate:
    """The HLB that the oil of a product asks for in an oil-in-water emulsion, by weight.

    Declined without oil, and where less than half of the oil has a figure; what part of it has one is said in the notes.
    """
    counted = _oils(reading)
    whole = sum((p.percent for p, _ in counted.members), ZERO) + sum((p.percent for p in counted.without), ZERO)
    not_counted = [f"{p.words} {figure(p.percent)} %: no required_hlb in its record and no published one in fvc" for p in counted.without]
    if not whole:
        return Estimate(property=REQUIRED, decimals=1, declined="there is no oil in it, as far as records tell")
    covered = counted.weight / whole
    said = f"figures cover {figure(counted.weight)} of {figure(whole)} % oil"
    if covered < ENOUGH:
        why = f"{said}, less than half" if covered else f"none of the {figure(whole)} % oil has a figure"
        return Estimate(property=REQUIRED, decimals=1, declined=why, not_counted=tuple(not_counted))
    return _estimate(REQUIRED, counted, not_counted, [said] if covered < 1 else [])


def charged(reading: Reading) -> bool:
    """True when an emulsifier of a product is not non-ionic, so that its HLB is a comparison only."""
    return any(_charge(p.material) not in ("", "non-ionic") for p, _ in _emulsifiers(reading).members if p.material)


def _charge(material: Material) -> str:
    substance = known(largest(material))
    return material.charge or (substance.charge if substance else "")


def _active(material: Material) -> Fraction | None:
    """Percent of a material that is not water."""
    water = material.water.nominal
    return None if water is None else HUNDRED - water


def blend_workings(reading: Reading) -> tuple[Step, ...]:
    """How the HLB of the emulsifiers comes about, row by row."""
    return _workings(_emulsifiers(reading), BLEND)


def required_workings(reading: Reading) -> tuple[Step, ...]:
    """How the HLB that the oil asks for comes about, row by row."""
    return _workings(_oils(reading), REQUIRED)


def _workings(counted: _Counted, name: str) -> tuple[Step, ...]:
    if not counted.members:
        return ()
    steps, products = [], []
    for part, f in counted.members:
        share = "" if f.weighs == 1 else f" x {figure(f.weighs)}"
        product = part.percent * f.weighs * f.value
        products.append(figure(product))
        steps.append(
            Step(f"{part.words}: percent x HLB", f"{figure(part.percent)}{share} x {figure(f.value)}", figure(product), _within(f))
        )
    top = " + ".join(products) if len(products) == 1 else f"({' + '.join(products)})"
    steps.append(Step("their weight", "", f"{figure(counted.weight)} %"))
    value = counted.mean(lambda f: f.value)
    steps.append(Step(name, f"{top} / {figure(counted.weight)}", figure(value), GRIFFIN.words))
    for end, of in (("lowest", lambda f: f.low), ("highest", lambda f: f.high)):
        steps.append(Step(f"{end}, with every HLB at its {end}", "", figure(counted.mean(of))))
    return tuple(steps)


def _within(f: _Figure) -> str:
    return f"{f.source}; {figure(f.low)} to {figure(f.high)}"


class Split(NamedTuple):
    """Two emulsifiers that together have an HLB: their ids, HLB, and shares as supplied in percent of both together.

    percents: of the product, when they come to `percent` of it.
    """

    target: Fraction
    names: tuple[str, str]
    hlb: tuple[Fraction, Fraction]
    shares: tuple[Fraction, Fraction]
    percents: tuple[Fraction, Fraction]

    @property
    def workings(self) -> tuple[Step, ...]:
        """The arithmetic, row by row, for two materials of which all is emulsifier."""
        (one, other), (a, b) = self.names, self.hlb
        return (
            Step(
                f"share of {one}",
                f"({figure(self.target)} - {figure(b)}) / ({figure(a)} - {figure(b)})",
                f"{figure(self.shares[0])} %",
                GRIFFIN.words,
            ),
            Step(f"share of {other}", f"100 - {figure(self.shares[0])}", f"{figure(self.shares[1])} %"),
        )


def split(target: Fraction, first: Material, second: Material, percent: Fraction = HUNDRED) -> Split:
    """What two emulsifiers must stand at so that together they have the target HLB, `percent` being both together.

    Raises Refusal, with the next thing to do, for one without HLB and for a target that is not between the two.
    """
    figures = []
    for material in (first, second):
        found = _emulsifier_figure(material)
        if found is None:
            raise Refusal(
                f"the HLB of {material.id} is not known: its record has no hlb, and fvc no published one",
                next=f"fill in  hlb = …  in the record of {material.id}, from the supplier's sheet",
            )
        figures.append(found)
    a, b = figures
    share = share_of_first(
        target, (first.id, a.value), (second.id, b.value), next="name two of which one is above the target and one below"
    )
    supplied = (share / a.weighs, (1 - share) / b.weighs)  # where a published HLB is of a part of the material, it takes more of it
    shares = (supplied[0] / sum(supplied), supplied[1] / sum(supplied))
    return Split(
        target,
        (first.id, second.id),
        (a.value, b.value),
        (shares[0] * HUNDRED, shares[1] * HUNDRED),
        (shares[0] * percent, shares[1] * percent),
    )


def split_in(reading: Reading, target: Fraction | None = None, names: Sequence[str] = ()) -> Split:
    """The split of exactly two emulsifiers of a product, or of two that are named, at the weight that they have together now.

    target: without one, what the oil asks for. Raises Refusal where there are not two, or no target.
    """
    counted = _emulsifiers(reading)
    there: dict[str, Fraction] = {}
    materials: dict[str, Material] = {}
    for part in (*(p for p, _ in counted.members), *counted.without):
        assert part.material is not None
        there[part.id] = there.get(part.id, ZERO) + part.percent
        materials[part.id] = part.material
    for name in names:
        if name not in there:
            raise Refusal(f"{name} is no emulsifier of {reading.plan.id}", next=f"name two of: {', '.join(there) or 'none here'}")
    two = list(dict.fromkeys(names)) or list(there)
    if len(two) != 2:
        raise Refusal(
            f"a split is of two emulsifiers, and {'these are' if names else f'{reading.plan.id} has'} {len(two)}: {', '.join(two) or 'none'}",
            next=f"name two of: {', '.join(there)}" if len(there) > 1 else "add a second emulsifier to the plan",
        )
    if target is None:
        asks = required(reading)
        if asks.value is None:
            raise Refusal(
                f"what the oil asks for is not known: {asks.declined}",
                next="give a target, or fill in  required_hlb  in the records of the oils",
            )
        target = asks.value
    return split(target, materials[two[0]], materials[two[1]], there[two[0]] + there[two[1]])
