"""What salts, strong acids and bases give in water, and the acids that no label names: for the balance of charges."""

from __future__ import annotations

import re
from functools import cache
from typing import NamedTuple

from fvc.material import inci_key
from fvc.reference.lookup import known, salt_words
from fvc.reference.source import Source
from fvc.reference.substances import FULLY_PROTONATED, STABILITY, Known

# pKw at 25 °C: Marshall & Franck, J. Phys. Chem. Ref. Data 10 (1981); Davies' equation with his later 0.3
# (Davies, Ion Association, 1962), A = 0.510 for molalities in water at 25 °C.
PKW = 13.995
DAVIES_A, DAVIES_B = 0.510, 0.3
WATER_SOURCE = Source("Marshall & Franck, J. Phys. Chem. Ref. Data 10, 295: ion product of water at 25 °C", "1981", looked_up=False)
DAVIES_SOURCE = Source("Davies, Ion Association: log γ = -0.510 z² (√I/(1+√I) - 0.3 I)", "1962", looked_up=False)

CATIONS = {"Na": 1, "K": 1, "Li": 1, "Ca": 2, "Mg": 2, "Zn": 2, "Sr": 2}

# Weak bases that salts are made with, by how the name of the salt begins.
_AMINES = {"ammonium": "Ammonia", "mea-": "Ethanolamine", "tea-": "Triethanolamine", "tromethamine-": "Tromethamine"}


class Strong(NamedTuple):
    """What one formula unit gives, fully split: (charge, how many) of each ion; hydroxide and the proton are not named."""

    ions: tuple[tuple[int, int], ...]


STRONG = {
    "Sodium Hydroxide": Strong(((1, 1),)),
    "Potassium Hydroxide": Strong(((1, 1),)),
    "Calcium Hydroxide": Strong(((2, 1),)),
    "Magnesium Hydroxide": Strong(((2, 1),)),
    "Hydrochloric Acid": Strong(((-1, 1),)),
    "Sodium Chloride": Strong(((1, 1), (-1, 1))),
    "Potassium Chloride": Strong(((1, 1), (-1, 1))),
    "Magnesium Chloride": Strong(((2, 1), (-1, 2))),
    "Calcium Chloride": Strong(((2, 1), (-1, 2))),
}


class Weak(NamedTuple):
    """An acid by its constants. charge: of the form that holds every proton that `pka` counts."""

    name: str
    pka: tuple[str, ...]
    charge: int
    uncertain: bool
    source: Source


_CARBONIC = Weak("carbonic acid", ("6.352", "10.329"), 0, False, STABILITY)
# The first proton of sulfuric acid is gone at any pH of a product.
_SULFATE = Weak("hydrogen sulfate", ("1.99",), -1, False, STABILITY)
_SULFITE = Weak(
    "sulfurous acid",
    ("1.86", "7.18"),
    0,
    True,
    Source("CRC Handbook of Chemistry and Physics, sulfurous acid; sources differ", "2010", looked_up=False),
)
_PYROPHOSPHORIC = Weak(
    "pyrophosphoric acid",
    ("0.9", "2.28", "6.70", "9.40"),
    0,
    True,
    Source("Martell & Smith, Critical Stability Constants; sources differ", "1976", looked_up=False),
)
# Salts whose acid stands on no label: the acid, and how many of it a formula unit gives (sulfite: two of each metabisulfite).
_INORGANIC = {
    "Sodium Bicarbonate": (_CARBONIC, 1),
    "Potassium Bicarbonate": (_CARBONIC, 1),
    "Sodium Carbonate": (_CARBONIC, 1),
    "Potassium Carbonate": (_CARBONIC, 1),
    "Sodium Sulfate": (_SULFATE, 1),
    "Magnesium Sulfate": (_SULFATE, 1),
    "Zinc Sulfate": (_SULFATE, 1),
    "Sodium Sulfite": (_SULFITE, 1),
    "Sodium Metabisulfite": (_SULFITE, 2),
    "Tetrasodium Pyrophosphate": (_PYROPHOSPHORIC, 1),
}
GIVES_CARBON_DIOXIDE = frozenset(inci_key(name) for name, (acid, _) in _INORGANIC.items() if acid is _CARBONIC)

# Of these so little dissolves that they cannot be counted as if all of it did.
HARDLY_DISSOLVES = frozenset(
    inci_key(name)
    for name in (
        "Zinc Oxide", "Titanium Dioxide", "Silica", "Calcium Carbonate", "Magnesium Carbonate", "Magnesium Hydroxide", "Stearic Acid",
        "Palmitic Acid", "Myristic Acid", "Lauric Acid", "Oleic Acid", "Caprylic Acid", "Zinc Undecylenate",
    )
)  # fmt: skip

# Both an acid and a base, and neither in a product: the carboxylate stays one above pH 3, the nitrogen never gives its proton.
ZWITTERIONS = frozenset(inci_key(name) for name in ("Betaine", "Taurine", "Carnitine", "Creatine", "Ectoin", "Tranexamic Acid"))

# Bounds of a constant on which sources disagree by more than the usual; of the first constant.
BOUNDS = {"Gluconic Acid": ("3.6", "3.86")}
SURE, REMEMBERED, DISPUTED = 0.02, 0.05, 0.15  # how far a constant may be off: seen in a source, from memory, sources disagree


def spread_of(name: str, value: float, uncertain: bool, source: Source | None) -> tuple[float, float]:
    """The lowest and highest that a constant may be; `value` is its first or a later one."""
    if name in BOUNDS and uncertain:
        low, high = (float(text) for text in BOUNDS[name])
        if low <= value <= high:
            return low, high
    by = DISPUTED if uncertain else SURE if source and source.looked_up else REMEMBERED
    return value - by, value + by


class InWater(NamedTuple):
    """What one formula unit of a substance gives in water.

    weak: (acid or base, how many). ions: (charge, how many) of the ions that never change. lacking: in words, the acid
    of which no constant is known; nothing of the substance can be counted then.
    """

    weak: tuple[tuple[Weak, int], ...] = ()
    ions: tuple[tuple[int, int], ...] = ()
    lacking: str = ""


def weak_of(substance: Known) -> Weak:
    """The constants of a substance of the table as an acid or base of the balance."""
    source = substance.pka_source
    assert source is not None
    return Weak(substance.inci, substance.pka, FULLY_PROTONATED.get(substance.inci, 0), substance.uncertain_pka, source)


@cache
def in_water(inci: str) -> InWater | None:
    """What is known of an INCI name in water; None for what neither gives nor takes a proton, or is not in fvc."""
    substance = known(inci)
    name = substance.inci if substance else inci
    if name in STRONG:
        return InWater(ions=STRONG[name].ions)
    if substance is None:
        return InWater(lacking=words[0]) if (words := salt_words(inci)) else None
    metals = metals_in(substance.formula)
    if name in _INORGANIC:
        acid, count = _INORGANIC[name]
        return InWater(((acid, count),), metals)
    if substance.pka:
        return InWater(((weak_of(substance), 1),), metals)
    if substance.acid is None:
        return None
    acid_name, count = substance.acid
    acid_known = known(acid_name)
    if acid_known is None or not acid_known.pka:
        return InWater(lacking=acid_name)
    weak = [(weak_of(acid_known), count)]
    amine = next((base for begins, base in _AMINES.items() if inci_key(name).startswith(begins)), None)
    if amine is not None:
        base = known(amine)
        assert base is not None
        weak.append((weak_of(base), 1))
    return InWater(tuple(weak), metals)


_HOW_MANY = {"": 1, "mono": 1, "di": 2, "tri": 3, "tetra": 4, "penta": 5}
_BY_NAME = re.compile(r"(mono|di|tri|tetra|penta|)(sodium|potassium|lithium|calcium|magnesium|zinc|strontium|ammonium)\b", re.IGNORECASE)


def salt_cations(inci: str) -> tuple[tuple[int, int], ...]:
    """The metal ions that the name of a salt begins with, `Trisodium …`: (charge, how many); empty for any other name."""
    found = _BY_NAME.match(inci.strip())
    if found is None:
        return ()
    return ((2 if found[2].casefold() in ("calcium", "magnesium", "zinc", "strontium") else 1, _HOW_MANY[found[1].casefold()]),)


def metals_in(formula: str) -> tuple[tuple[int, int], ...]:
    """The metal ions of a molecular formula without its water: (charge, how many)."""
    found: dict[int, int] = {}
    for symbol, digits in re.findall(r"([A-Z][a-z]?)(\d*)", formula.partition(".")[0]):
        if symbol in CATIONS:
            found[CATIONS[symbol]] = found.get(CATIONS[symbol], 0) + int(digits or 1)
    return tuple(found.items())
