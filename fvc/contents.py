"""Every substance of a product with where it comes from: what records declare, what is inside it, what oils typically hold.

A record's own figure wins over a typical one, constituent by constituent; what was used is kept
beside each figure, so that the output can say it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import cache, lru_cache
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, figure
from fvc.composition import THERE, Part, parts_of
from fvc.material import NOTHING, Material, Share, inci_key
from fvc.reading import Reading
from fvc.reference.allergens import LISTS
from fvc.reference.lookup import allergen, is_fixed, known, oil_named, same_substance

DECLARED, INSIDE, TYPICAL = "declared", "inside", "typical"


class Content(NamedTuple):
    """One substance that one raw material brings; share: of the product, in percent.

    how: `declared` in its composition, `inside` one of its ingredients by its record, or `typical` of an
    essential oil in it by published figures. source: of the typical figure.
    """

    inci: str
    share: Share
    part: Part
    how: str
    source: str = ""


class OilRange(NamedTuple):
    """A typical constituent of an essential oil, percent of the oil."""

    inci: str
    share: Share
    source: str


@cache
def typical_of(inci: str) -> tuple[OilRange, ...]:
    """What the oil of this INCI name typically holds; empty where fvc has no figures. Middle, lowest, highest."""
    oil = oil_named(inci)
    out = []
    for name, given in oil.constituents.items() if oil else ():
        low, high = Fraction(given.low), Fraction(given.high)
        out.append(OilRange(name, Share((low + high) / 2, low, high, low != high), given.source.words))
    return tuple(out)


class Contents(NamedTuple):
    """What is in a product, substance by substance.

    by_key: the contents by the key of their INCI name. parts: its raw materials in the order of addition.
    """

    parts: tuple[Part, ...]
    by_key: Mapping[str, tuple[Content, ...]]

    def of(self, *names: str) -> tuple[Content, ...]:
        """All that counts as one of these INCI names."""
        return tuple(c for name in names for c in self.by_key.get(inci_key(name), ()))


def total(contents: Sequence[Content]) -> Share:
    """The sum of shares."""
    return sum((c.share for c in contents), NOTHING)


@lru_cache(maxsize=16)
def contents_of(reading: Reading, of: str = THERE) -> Contents:
    """The contents of a product, formulas that stand in it taken apart; of: as for `parts_of`."""
    if of != THERE and not reading.added:
        return contents_of(reading)
    parts = parts_of(reading, of)
    found: dict[str, list[Content]] = {}
    for part in parts:
        if part.material is None or part.percent == 0:
            continue
        for content in brought(part.material, part):
            found.setdefault(inci_key(content.inci), []).append(content)
    return Contents(parts=parts, by_key={key: tuple(each) for key, each in found.items()})


def brought(material: Material, part: Part) -> list[Content]:
    """The substances that a raw material brings at the percent of its part: declared, inside, and typical ones."""
    out = []
    for inci, share in (material.composition or {}).items():
        if share.high:
            out.append(Content(inci, share.of(part.percent), part, DECLARED))
    for inci, share in material.constituents.items():
        if share.high:
            out.append(Content(inci, share.of(part.percent), part, INSIDE))
    for inci, given in typical_beyond(material):
        share = (material.composition or {})[inci]
        if share.high:
            out.append(Content(given.inci, times(given.share, share).of(part.percent), part, TYPICAL, given.source))
    return out


def typical_beyond(material: Material) -> list[tuple[str, OilRange]]:
    """Typical constituents that a record does not name, each with the oil that it is typical of."""
    return [
        (inci, given)
        for inci in material.composition or ()
        for given in typical_of(inci)
        if not any(same_substance(given.inci, name) for name in material.constituents)
    ]


def times(inner: Share, outer: Share) -> Share:
    """A share of a share; bounds by the worst ends."""
    nominal = None if inner.nominal is None or outer.nominal is None else inner.nominal * outer.nominal / HUNDRED
    return Share(nominal, inner.low * outer.low / HUNDRED, inner.high * outer.high / HUNDRED, inner.middle or outer.middle)


PERFUMES = frozenset({"parfum", "fragrance", "aroma", "parfum (fragrance)", "fragrance (parfum)", "flavor"})


def is_perfume(inci: str) -> bool:
    """True for the names under which a perfume stands as a whole, whatever is in it."""
    return inci_key(inci) in PERFUMES


# How the INCI names of what is distilled, pressed or drawn from a plant end.
_FROM_PLANTS = re.compile(r"\b(oil|extract|water|resin|balsam|absolute)$", re.IGNORECASE)
_MADE = re.compile(r"(peg|ppg|polyglyceryl)-|(hydrogenated|hydrolyzed) ", re.IGNORECASE)  # by a reaction, which leaves nothing of a scent
ENOUGH_NAMED = Fraction(1, 2)  # of an ingredient, from which its record is taken to speak for it
NONE_NAMED = "no [constituents] in its record and no typical values in fvc"


def without_figures(material: Material) -> str:
    """For a perfume, oil, hydrosol or extract of which too little is known below its INCI name: why, in words; else "".

    A record that names half of it or more is taken to speak for it; single chemicals hold nothing else.
    """
    blank = [share.high for inci, share in (material.composition or {}).items() if share.high and _holds_unnamed(inci, material)]
    if not blank:
        return ""
    named = sum((share.high for share in material.constituents.values()), ZERO)
    if all(inci_key(name) == "aqua" for name in material.constituents):
        return NONE_NAMED
    if named >= sum(blank) * ENOUGH_NAMED:
        return ""
    return f"the [constituents] in its record come to {figure(named)} % at most, so they say nothing of most of it"


def _holds_unnamed(inci: str, material: Material) -> bool:
    """True for an INCI name that stands for many substances, of which fvc has no figures."""
    if typical_of(inci) or inci_key(inci) == "aqua":
        return False
    if is_perfume(inci):
        return True
    if known(inci) is not None or any(not e.whole for listed in LISTS if (e := allergen(inci, listed))):
        return False
    if material.does("essential oil", "fragrance", "hydrosol", "extract"):
        return True
    ending = _FROM_PLANTS.search(inci.strip())
    if ending is None or _MADE.match(inci.strip()):
        return False
    return ending[1].casefold() != "oil" or not (material.does("emollient") or is_fixed(inci))
