"""Which substances of a product give or take protons, by what brings them, and which cannot be counted, and why."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from fvc.composition import composition_of
from fvc.material import Material, active_names, inci_key
from fvc.reading import Reading
from fvc.reference.ions import HARDLY_DISSOLVES, ZWITTERIONS, InWater, Weak, in_water, salt_cations
from fvc.reference.source import Source
from fvc.science.dissolved import Solute, dissolved


class Counted(NamedTuple):
    """A substance that takes part in the balance of charges. gives: what one formula unit gives in water."""

    solute: Solute
    gives: InWater


class Uncounted(NamedTuple):
    """What is left out of the balance. what: the substance or the material; why: in words; material: the id of what brings it."""

    what: str
    why: str
    material: str

    @property
    def words(self) -> str:
        """`Camellia Sinensis Leaf Extract (green-tea-extract): its acidity is not known`."""
        return f"{self.what}: {self.why}" if self.what == self.material else f"{self.what} ({self.material}): {self.why}"


class Protolytes(NamedTuple):
    """All of a product. open: lines that wait for a level at the bench, with nothing to expect."""

    counted: tuple[Counted, ...]
    uncounted: tuple[Uncounted, ...]
    open: tuple[str, ...]


UNKNOWN = "its acidity is not known"
# What is drawn from plants, animals and ferments holds acids and salts that no name tells.
_DRAWN = re.compile(
    r"\b(extract|juice|water|vinegar|ferment|filtrate|lysate|protein|collagen|elastin|keratin|silk|gelatin|peptides?|amino acids?|powder|honey)\b",
    re.IGNORECASE,
)
_ACID = re.compile(r"\bacid\b", re.IGNORECASE)
_OILY = ("essential oil", "fragrance", "emollient", "antioxidant")


@lru_cache(maxsize=16)
def protolytes(reading: Reading) -> Protolytes:
    """Sort the substances of a product: counted, not counted with the reason, and neutral ones, of which nothing is said.

    A zwitterion such as betaine counts as neutral. Acids inside an ingredient (the acetic acid of a vinegar) count; what
    stands around them is then taken to be told by the record. Oils, fatty alcohols, waxes and non-ionic substances are
    neutral by their names or functions. Constants in a record hold for that acid wherever it is in the product.
    """
    counted: list[Counted] = []
    uncounted: list[Uncounted] = []
    solutes = dissolved(reading).solutes
    own = {constants.name: constants for s in solutes if (constants := own_constants(s)) is not None}
    speaks = {s.part.id for s in solutes if s.inside and in_water(s.inci) is not None}
    for solute in solutes:
        gives = behaviour(solute.inci, own)
        why = _why_not(solute, gives, solute.part.id in speaks)
        if why:
            uncounted.append(Uncounted(solute.inci, why, solute.part.words))
        elif gives is not None:
            counted.append(Counted(solute, gives))
    return Protolytes(tuple(counted), (*dict.fromkeys(uncounted), *_undeclared(reading)), _open(reading))


def behaviour(inci: str, own: Mapping[str, Weak]) -> InWater | None:
    """What a substance gives in water. own: constants that records of this product give in place of the published ones, by acid."""
    published = in_water(inci)
    if published is not None:
        if published.lacking in own:
            return InWater(((own[published.lacking], 1),), salt_cations(inci))
        return published._replace(weak=tuple((own.get(weak.name, weak), count) for weak, count in published.weak))
    return InWater(((own[inci], 1),), salt_cations(inci)) if inci in own else None


def own_constants(solute: Solute) -> Weak | None:
    """The constants in the record of what brings a substance, when they are of it: of the first of the active ones.

    Their name is that of the acid: of a salt of a known acid, the acid's.
    """
    material = solute.part.material
    if material is None or material.acid is None or solute.inside:
        return None
    names = active_names(material)
    if not names or inci_key(names[0]) != inci_key(solute.inci):
        return None
    # beyond these bounds no proton moves at any pH, and powers of ten grow too large
    pka = tuple(typed.text if -4 <= typed.value <= 20 else ("-4" if typed.value < 0 else "20") for typed in material.acid.pka)
    published = in_water(solute.inci)
    of = published.weak[0][0].name if published and published.weak else published.lacking if published else ""
    charge = published.weak[0][0].charge if published and published.weak else int(material.acid.base)
    return Weak(of or solute.inci, pka, charge, False, Source(f"[acid] in the record of {material.id}", "the maker's own"))


def _why_not(solute: Solute, gives: InWater | None, speaks: bool) -> str:
    """Why a substance cannot be counted; "" when it can, or when there is nothing to count."""
    key, substance, material = inci_key(solute.inci), solute.substance, solute.part.material
    if key in HARDLY_DISSOLVES:
        return "hardly dissolves in water"
    if gives is not None and gives.lacking:
        return f"no pKa of {gives.lacking} is known; [acid] in a record of its own can give it"
    if gives is not None:
        if solute.percent.nominal is None:
            return "its share is not known"
        return "" if solute.mass is not None else "its molar mass is not known; molar_mass in its record can give it"
    if key.endswith("glucoside") and material is not None and material.does("surfactant"):
        return "sold alkaline, and how much lye is in it its record does not say"
    if key in ZWITTERIONS or (substance is not None and substance.charge == "non-ionic"):
        return ""
    if key == "gluconolactone":
        return "turns into gluconic acid within hours; weigh it as that"
    if _ACID.search(solute.inci) and "ester" not in key:
        return f"no pKa of {solute.inci} is known; [acid] in its record can give it"
    if substance is not None and substance.charge:
        return f"{substance.charge}, with counter-ions and an acidity that are not known"
    if salt_cations(solute.inci):
        return "a salt whose acid is not known"
    if substance is not None or (material is not None and (material.does(*_OILY) or material.charge == "non-ionic")):
        return ""
    if solute.inside:
        return ""
    drawn = _DRAWN.search(solute.inci) or (material is not None and material.does("extract", "hydrosol"))
    return UNKNOWN if drawn and not speaks else ""


def _undeclared(reading: Reading) -> list[Uncounted]:
    """Materials whose records leave open what they hold, or are missing."""
    out = []
    for id in composition_of(reading).undeclared_from:
        material = reading.materials.get(id)
        if material is None or not material.nested:
            out.append(_silent(id, material))
            continue
        out += [_silent(i.material.id, i.material) for i in material.inside if i.material.composition is None or i.material.undeclared.high]
    return out


def _silent(id: str, material: Material | None) -> Uncounted:
    if material is None:
        return Uncounted(id, "its record is missing or cannot be read", id)
    if material.composition is None:
        return Uncounted(id, "its record declares no composition", id)
    return Uncounted(id, f"its record leaves up to {float(material.undeclared.high):.3g} % open", id)


def _open(reading: Reading) -> tuple[str, ...]:
    return tuple(dict.fromkeys(a.line.material for a in reading.closure.amounts if a.percent is None))
