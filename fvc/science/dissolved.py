"""What is dissolved in the water that is really there: every substance by what brings it, in moles per kilogram of water."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from fvc.composition import Part, composition_of
from fvc.contents import INSIDE, TYPICAL, contents_of
from fvc.material import LEAST_MASS, Material, Share, active_names, inci_key
from fvc.reading import Reading
from fvc.reference.lookup import hydrate_named, known
from fvc.reference.substances import Known


class Mass(NamedTuple):
    """A molar mass in g/mol, and where it is from: the record, a published table, or the hydrate that the record is named after."""

    grams: float
    source: str


class Solute(NamedTuple):
    """One substance as one raw material brings it.

    percent: of the product. substance: what is published of it, None for a name that is not in fvc. mass: of what is
    weighed, None where nothing tells it. inside: True for what is within an ingredient that has a name of its own.
    """

    inci: str
    percent: Share
    part: Part
    substance: Known | None
    mass: Mass | None
    inside: bool = False

    def molality(self, water: float, percent: float | None = None) -> float:
        """Molality in mol per kg of water, at `water` percent of water in the product; of another percent than the nominal one where given.

        0 where the molar mass or the percent is unknown.
        """
        if self.mass is None or water <= 0:
            return 0.0
        if percent is None:
            percent = float(self.percent.nominal) if self.percent.nominal is not None else 0.0
        return percent / self.mass.grams / water * 1000


class Dissolved(NamedTuple):
    """The substances of a product beside its water. water: all of it, in percent of the product, with its bounds."""

    water: Share
    solutes: tuple[Solute, ...]


@lru_cache(maxsize=16)
def dissolved(reading: Reading) -> Dissolved:
    """All substances but water that records declare, in their compositions or inside an ingredient, formulas taken apart.

    What is only typical of an essential oil is left out: it is oil. Whether something dissolves is not asked here.
    """
    solutes = tuple(
        Solute(c.inci, c.share, c.part, known(c.inci), molar_mass(c.inci, c.part.material), c.how == INSIDE)
        for contents in contents_of(reading).by_key.values()
        for c in contents
        if c.how != TYPICAL and inci_key(c.inci) != "aqua"
    )
    return Dissolved(composition_of(reading).water, solutes)


def molar_mass(inci: str, material: Material | None) -> Mass | None:
    """The molar mass of a substance in a raw material; None when nothing tells it.

    The record's own figure comes first, which is of its one active substance; then, for a record named after a hydrate
    ("Trisodium citrate dihydrate"), the hydrate; then the published one. Where the record's own cannot be right, there is none.
    """
    substance = known(inci)
    if material is not None and (material.molar_mass is not None or material.name):
        alone = _alone(inci, material)
        if alone and too_light(material):
            return None
        if alone and material.molar_mass is not None:
            return Mass(float(material.molar_mass), f"molar_mass in the record of {material.id}")
        hydrate = hydrate_named(material.name) if alone else None
        if hydrate is not None and substance is not None and inci_key(hydrate.inci) == inci_key(substance.inci):
            return Mass(float(hydrate.molar_mass), f"{hydrate.name}, {hydrate.source.words}")
    if substance is None or not substance.molar_mass:
        return None
    return Mass(float(substance.molar_mass), substance.mass_source.words if substance.mass_source else "")


def too_light(material: Material | None) -> str:
    """For a record whose molar mass cannot be right: why, in words; else ""."""
    if material is None or material.molar_mass is None or material.molar_mass >= LEAST_MASS:
        return ""
    return f"its molar mass of {float(material.molar_mass):.3g} g/mol cannot be right; mend  molar_mass  in its record"


def hydrate_unknown(inci: str, material: Material | None) -> bool:
    """True for a record that is named after a hydrate of which nothing is known, and that gives no molar mass: it counts as dry."""
    if material is None or material.molar_mass is not None or not _alone(inci, material):
        return False
    return _HYDRATE.search(material.name) is not None and hydrate_named(material.name) is None


_HYDRATE = re.compile(r"\b(?!carbo)(hemi|mono|sesqui|di|tri|tetra|penta|hexa|hepta|octa|nona|deca|dodeca|\d+-?)?hydrate\b", re.IGNORECASE)


def _alone(inci: str, material: Material) -> bool:
    """True when a substance is the one that is active in a raw material."""
    names = active_names(material)
    return len(names) == 1 and inci_key(names[0]) == inci_key(inci)


ALCOHOLS = frozenset({"alcohol", "alcohol denat.", "ethanol", "isopropyl alcohol", "propyl alcohol"})


def alcohol_in(reading: Reading) -> float:
    """Percent of the alcohols that mix with water and leave with it; of a share that is not known, the most that it may be."""
    found = (s.percent for s in dissolved(reading).solutes if inci_key(s.inci) in ALCOHOLS)
    return sum(float(share.nominal if share.nominal is not None else share.high) for share in found)
