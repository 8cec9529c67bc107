"""What is oil in a product and what holds it in water, as far as the records tell."""

from __future__ import annotations

import re
from fractions import Fraction

from fvc.composition import Part
from fvc.contents import is_perfume
from fvc.material import Material
from fvc.reference.lookup import known, oil_named

SCENTED = ("essential oil", "fragrance")
HOLDING = ("solubiliser", "emulsifier", "surfactant")
WATERY = Fraction(1)  # percent of water in a material, from which it is no oil
_OILY = re.compile(r"\b(oil|butter|triglyceride|squalane|squalene|jojoba)\b", re.IGNORECASE)
_WATERY = re.compile(r"\b(juice|water)$", re.IGNORECASE)
_MIXES = re.compile(r"(peg|ppg|glycereth|polysorbate|methyl gluceth|sucrose)\b", re.IGNORECASE)


def is_oil(part: Part) -> bool:
    """True for a raw material that does not mix with water by itself, as far as its record tells."""
    material = part.material
    if material is None or holds(part):
        return False
    if material.does(*SCENTED):
        return True
    main = largest(material)
    if material.water.low >= WATERY or _WATERY.search(main) or _mixes_with_water(main):
        return False
    if material.does("emollient") and main:  # esters, silicones, fats; those with many ethylene oxides or sugars mix with water
        return not _MIXES.match(main)
    return bool(_OILY.search(main)) or oil_named(main) is not None


def is_scent(part: Part) -> bool:
    """True for an essential oil or a fragrance: by its record, or without a function there by its INCI name."""
    material = part.material
    if material is None:
        return False
    main = largest(material)
    return material.does(*SCENTED) if material.functions else oil_named(main) is not None or is_perfume(main)


def _mixes_with_water(inci: str) -> bool:
    """True for a known humectant or solvent, such as glycerin, which records often call an emollient as well."""
    substance = known(inci)
    return substance is not None and {"humectant", "solvent"} & set(substance.functions) != set() and "emollient" not in substance.functions


def largest(material: Material) -> str:
    """The INCI name of which there is most in a material; "" when it declares none."""
    return max((material.composition or {}).items(), key=lambda item: item[1].high, default=("", None))[0]


def holds(part: Part) -> bool:
    """True for a raw material that holds oil in water: by its record, or by what the largest substance in it is known as."""
    return part.material is not None and (part.material.does(*HOLDING) or _known_to(part.material, *HOLDING))


def acts_as(material: Material, *functions: str) -> bool:
    """True when it does any of these: by its record, or without a function there by what the largest substance in it is known as."""
    return material.does(*functions) if material.functions else _known_to(material, *functions)


def _known_to(material: Material, *functions: str) -> bool:
    substance = known(largest(material)) if material.composition else None
    return substance is not None and any(f in functions for f in substance.functions)
