"""For filling: the density of a product, what a weight of it takes as a volume and the other way round, and its solids.

Density by ideal mixing: the volumes of the parts add. They do not quite, since water and what mixes with it take less room
together, so the band reaches further up than down.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, figure
from fvc.composition import Part, composition_of, parts_of
from fvc.contents import is_perfume
from fvc.material import ANYTHING, NOTHING, Material, Share, inci_key
from fvc.reading import Reading
from fvc.reference.lookup import oil_named
from fvc.reference.source import Source
from fvc.science.dissolved import ALCOHOLS, alcohol_in
from fvc.science.estimate import Estimate, Step, rounded
from fvc.science.oils import is_oil

DENSITY, VOLUME, WEIGHT, SOLIDS, BATCH = "density", "volume", "weight", "solids", "volume of the batch"

WATER = 0.997  # g/mL at 25 °C; 0.99705, and 0.9982 at 20 °C
WATER_SOURCE = Source("Tanaka and others, Metrologia 38, 301, through a page that quotes the values", "2001")
TABLES = Source("CRC Handbook of Chemistry and Physics, 102nd edition, concentrative properties of aqueous solutions, 20 °C", "2021")
CONTRACTION = Source(
    "Volk and Kähler, Exp. Fluids 59, 75: glycerol and water up to 1.1 % denser than ideal; of glycols up to 2 %, from memory", "2018"
)
# How much denser than by ideal mixing, as a share: these times the product of both mass fractions. The published tables of ethanol
# and of glycerol in water stay below (ethanol 3.7 % at 44 %, glycerol 1.1 % at 55 %).
_BY_ALCOHOL, _BY_OTHERS = 0.16, 0.08
_READ = 0.002  # of a density in a record: its temperature and its rounding
MOST_ALCOHOL = 20.0  # percent, above which no figure is given
MOST_UNKNOWN = 5.0  # percent without density, above which no figure is given
# g/mL that something without a figure may count with, dissolved: from an essential oil to a sugar; salts and minerals are heavier.
_LIGHTEST, _HEAVIEST, _LIGHT_SALT, _HEAVY_SALT = 0.8, 1.6, 1.0, 5.6
_SALT = re.compile(
    r"((di|tri|tetra)?(sodium|potassium)|magnesium|calcium|ammonium|zinc|titanium|iron|mica|kaolin|talc|silica|ci 77)", re.IGNORECASE
)
# What leaves with the water; of oils and perfumes all, as is usual for solids.
VOLATILE = ALCOHOLS | {"isododecane", "cyclopentasiloxane", "cyclotetrasiloxane", "cyclohexasiloxane"}
_EVAPORATES = ("essential oil", "fragrance", "hydrosol")


class _Weighed(NamedTuple):
    """A part with its density in g/mL: the figure that counts, lowest, highest; source "" where there is none."""

    part: Part
    value: float
    low: float
    high: float
    source: str

    @property
    def percent(self) -> float:
        return float(self.part.percent)

    @property
    def volume(self) -> float:
        """What it takes of 100 g of product, in mL."""
        return self.percent / self.value


def _weighed(part: Part) -> _Weighed:
    material = part.material
    if material is not None and material.density:
        value = float(material.density)
        return _Weighed(part, value, value * (1 - _READ), value * (1 + _READ), f"density in the record of {part.id}")
    if material is not None and [inci_key(name) for name in material.composition or ()] == ["aqua"]:
        return _Weighed(part, WATER, WATER * (1 - _READ), WATER * (1 + _READ), f"water at 25 °C, {WATER_SOURCE.words}")
    low, high = _unknown(material)
    return _Weighed(part, round(2 / (1 / low + 1 / high), 3), low, high, "")  # the middle of the volumes


def _unknown(material: Material | None) -> tuple[float, float]:
    if material is None or not material.composition:
        return _LIGHTEST, _HEAVY_SALT
    salts = [bool(_SALT.match(name)) for name in material.composition if inci_key(name) != "aqua"]
    return _LIGHTEST if not all(salts) else _LIGHT_SALT, _HEAVY_SALT if any(salts) else _HEAVIEST


@lru_cache(maxsize=16)
def _parts(reading: Reading) -> tuple[_Weighed, ...]:
    return tuple(_weighed(p) for p in parts_of(reading) if p.percent)


def density(reading: Reading) -> Estimate:
    """g/mL at 20 to 25 °C by ideal mixing, 100 / sum(percent / density), with the band of what ideal mixing leaves out.

    What has no density counts with 0.8 to 1.6 g/mL (salts and minerals 1.0 to 5.6) up to 5 % in all. Declined above that, above
    20 % of alcohol, and where the lines do not total 100. Not checked: air stirred in.
    """
    parts = _parts(reading)
    unknown = [w for w in parts if not w.source]
    missing = sum(w.percent for w in unknown)
    lacking = tuple(f"{w.part.words} {figure(w.part.percent)} %: no density in its record" for w in unknown)
    alcohol = alcohol_in(reading)
    why = ""
    if not reading.closure.closed:
        why = "the lines do not total 100"
    elif missing > MOST_UNKNOWN:
        why = f"{figure(Fraction(str(round(missing, 4))))} % has no density in its record, more than {MOST_UNKNOWN:g} %"
    elif alcohol > MOST_ALCOHOL:
        why = (
            f"{alcohol:.3g} % alcohol: with water it takes up to 3.7 % less room than both apart ({TABLES.words}), "
            "so weigh a known volume of it"
        )
    if why:
        return Estimate(property=DENSITY, unit="g/mL", decimals=3, declined=why, not_counted=lacking)
    value, low, high = _mixed(reading, parts)
    notes = [f"{words}, counts as {w.low:g} to {w.high:g} g/mL" for words, w in zip(lacking, unknown, strict=True)]
    notes.append("by ideal mixing; air stirred in makes it lighter, and only a weighed volume tells")
    return Estimate(
        property=DENSITY,
        unit="g/mL",
        decimals=3,
        value=rounded(value, 3),
        low=rounded(low, 3),
        high=rounded(high, 3),
        notes=tuple(notes),
    )


def _mixed(reading: Reading, parts: tuple[_Weighed, ...]) -> tuple[float, float, float]:
    total = sum(w.percent for w in parts)
    value, low, high = (total / sum(w.percent / d for w, d in each) for each in _ends(parts))
    return value, low, high * (1 + _contraction(reading))


def _ends(parts: tuple[_Weighed, ...]) -> Iterator[list[tuple[_Weighed, float]]]:
    yield [(w, w.value) for w in parts]
    yield [(w, w.low) for w in parts]
    yield [(w, w.high) for w in parts]


def _contraction(reading: Reading) -> float:
    """By how much a product may be denser than by ideal mixing, as a share."""
    water = composition_of(reading).water
    share = float(water.nominal if water.nominal is not None else water.high) / 100
    alcohol = alcohol_in(reading) / 100
    oil = float(sum((p.percent for p in parts_of(reading) if is_oil(p)), ZERO)) / 100
    others = max(0.0, 1 - share - alcohol - oil)
    return _BY_ALCOHOL * alcohol * (1 - alcohol) + _BY_OTHERS * others * share


def density_workings(reading: Reading) -> tuple[Step, ...]:
    """How the density comes about, row by row."""
    if density(reading).value is None:
        return ()
    parts = _parts(reading)
    steps = [
        Step(
            f"volume of {w.part.words} in 100 g",
            f"{figure(w.part.percent)} / {w.value:.4g}",
            f"{w.volume:.4f} mL",
            w.source
            or f"no density in its record: {w.low:g} to {w.high:g} g/mL, so {w.percent / w.high:.3f} to {w.percent / w.low:.3f} mL",
        )
        for w in parts
    ]
    value, low, high = _mixed(reading, parts)
    whole = sum(w.volume for w in parts)
    steps.append(Step("volume of 100 g", " + ".join(f"{w.volume:.4f}" for w in parts), f"{whole:.4f} mL"))
    steps.append(Step(DENSITY, f"100 / {whole:.4f}", f"{value:.4f} g/mL", "ideal mixing: the volumes add"))
    steps.append(
        Step("lowest, with every density at its lowest", "", f"{low:.4f} g/mL", f"a density in a record is taken to {_READ * 100:g} %")
    )
    more = _contraction(reading)
    steps.append(
        Step(
            "highest, with every density at its highest and less room taken by water and what mixes with it",
            f"{high / (1 + more):.4f} x {1 + more:.4f}",
            f"{high:.4f} g/mL",
            f"{CONTRACTION.words}; {TABLES.words}",
        )
    )
    return tuple(steps)


def volume(of: Estimate, grams: Fraction) -> Estimate:
    """The mL that a weight of a product takes, from its density; declined where that is."""
    return _through(of, VOLUME, "mL", *(grams / d if d else None for d in (of.value, of.high, of.low)))


def weight(of: Estimate, millilitres: Fraction) -> Estimate:
    """The grams that fill a volume with a product, from its density; declined where that is."""
    return _through(of, WEIGHT, "g", *(millilitres * d if d else None for d in (of.value, of.low, of.high)))


def _through(of: Estimate, name: str, unit: str, value: Fraction | None, low: Fraction | None, high: Fraction | None) -> Estimate:
    if value is None or low is None or high is None:
        return Estimate(property=name, unit=unit, decimals=1, declined=f"its density is not known: {of.declined}")
    value, low, high = (rounded(float(each), 1) for each in (value, low, high))
    return Estimate(property=name, unit=unit, decimals=1, value=value, low=low, high=high)


# --- solids -----------------------------------------------------------------------------------------


def _solids_of(part: Part) -> Share:
    """What of a material stays when water and volatile matter are gone, as a share of the material."""
    material = part.material
    if material is None or (material.composition is None and not material.does(*_EVAPORATES)):
        return ANYTHING
    if material.does(*_EVAPORATES):
        return NOTHING
    composition = material.composition or {}
    gone = sum((s for name, s in composition.items() if _volatile(name)), material.water)
    low, high = max(ZERO, HUNDRED - gone.high), HUNDRED - min(gone.low, HUNDRED)
    if any(inci_key(name) == "aqua" for name in composition):
        low = max(ZERO, low - material.undeclared.high)  # that it is not water is known; not that it stays
    return Share(None if gone.nominal is None else min(max(HUNDRED - gone.nominal, low), high), low, high)


def _volatile(inci: str) -> bool:
    return inci_key(inci) in VOLATILE or is_perfume(inci) or oil_named(inci) is not None


def solids(reading: Reading) -> Estimate:
    """Percent that is neither water nor volatile: not alcohol, essential oil, fragrance, or a hydrosol.

    Unknown shares count with their middle while they leave less than 5 points open; declined above. Water of
    crystallisation counts as solids.
    """
    shares = [(p, _solids_of(p).of(p.percent)) for p in parts_of(reading) if p.percent]
    open_ended = [(p, s) for p, s in shares if s.nominal is None]
    low, high = sum((s.low for _, s in shares), ZERO), sum((s.high for _, s in shares), ZERO)
    value = sum(((s.low + s.high) / 2 if s.nominal is None else s.nominal for _, s in shares), ZERO)
    not_counted = tuple(
        f"{p.words} {figure(p.percent)} %: its record does not declare its water and what is volatile" for p, _ in open_ended
    )
    width = sum((s.high - s.low for _, s in open_ended), ZERO)
    if not reading.closure.closed or width > MOST_UNKNOWN:
        why = f"{figure(width)} points are not declared" if reading.closure.closed else "the lines do not total 100"
        return Estimate(
            property=SOLIDS,
            unit="%",
            decimals=1,
            declined=why,
            instead=f"between {figure(rounded(float(low), 1))} and {figure(rounded(float(high), 1))} %",
            not_counted=not_counted,
        )
    return Estimate(
        property=SOLIDS,
        unit="%",
        decimals=1,
        value=rounded(float(value), 1),
        low=rounded(float(low), 1),
        high=rounded(float(high), 1),
        not_counted=not_counted,
    )


def solids_workings(reading: Reading) -> tuple[Step, ...]:
    """How the solids come about, row by row."""
    if solids(reading).value is None:
        return ()
    steps, rows = [], []
    for part in (p for p in parts_of(reading) if p.percent):
        share = _solids_of(part)
        value = (share.low + share.high) / 2 if share.nominal is None else share.nominal
        solid = part.percent * value / HUNDRED
        steps.append(
            Step(
                f"solids of {part.words}",
                f"{figure(part.percent)} x {figure(value)} / 100",
                f"{figure(solid)} %",
                "" if share.certain else f"{figure(share.low)} to {figure(share.high)} % of it",
            )
        )
        rows += [figure(solid)] if solid else []
    steps.append(Step(SOLIDS, " + ".join(rows), f"{figure(rounded(float(solids(reading).value or ZERO), 1))} %"))
    return tuple(steps)
