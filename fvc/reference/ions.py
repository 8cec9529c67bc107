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

# Weak bases that salts are made with, by how the name of the salt begins; "" for those of which there are no constants here.
_AMINES = {
    "ammonium ": "Ammonia", "mea-": "Ethanolamine", "tea-": "Triethanolamine", "tromethamine-": "Tromethamine", "dea-": "", "mipa-": "",
    "dipa-": "", "tipa-": "",
}  # fmt: skip


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

FATTY_ACIDS = frozenset(
    f"{name} acid"
    for name in (
        "stearic", "palmitic", "myristic", "lauric", "oleic", "caprylic", "capric", "behenic", "arachidic", "isostearic", "coconut",
        "linoleic", "linolenic", "ricinoleic", "hydroxystearic", "undecylenic",
    )
)  # fmt: skip
# Of these so little dissolves that they cannot be counted as if all of it did.
HARDLY_DISSOLVES = FATTY_ACIDS | frozenset(
    inci_key(name)
    for name in (
        "Zinc Oxide", "Titanium Dioxide", "Silica", "Calcium Carbonate", "Magnesium Carbonate", "Magnesium Hydroxide", "Magnesium Oxide",
        "Zinc Carbonate", "Aluminum Hydroxide", "Zinc Undecylenate", "Magnesium Stearate", "Zinc Stearate", "Calcium Stearate",
        "Aluminum Stearate", "Zinc Ricinoleate", "Polyhydroxystearic Acid", "Polylactic Acid", "Ellagic Acid", "Ursolic Acid",
        "Oleanolic Acid", "Asiatic Acid", "Madecassic Acid", "Glycyrrhetinic Acid", "Thioctic Acid", "Ascorbyl Palmitate",
        "Lauroyl Lysine",
    )
)  # fmt: skip

# Both an acid and a base, and neither in a product: the carboxylate stays one above pH 3, the nitrogen never gives its proton.
ZWITTERIONS = frozenset(
    inci_key(name)
    for name in (
        "Betaine", "Taurine", "Creatine", "Ectoin", "Alanine", "Valine", "Leucine", "Isoleucine", "Serine", "Threonine", "Proline",
        "Hydroxyproline", "Phenylalanine", "Tyrosine", "Tryptophan", "Methionine", "Glutamine", "Citrulline", "Sarcosine",
    )
)  # fmt: skip

# Bounds of a constant on which sources disagree by more than the usual; of the first constant.
BOUNDS = {"Gluconic Acid": ("3.6", "3.86"), "Lauramine Oxide": ("5.0", "5.9")}
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

    weak: (acid or base, how many). ions: (charge, how many) of the ions that never change. lacking: the acid of which no
    constant is known; why: what else is not known of it. With one of these nothing of the substance can be counted.
    """

    weak: tuple[tuple[Weak, int], ...] = ()
    ions: tuple[tuple[int, int], ...] = ()
    lacking: str = ""
    why: str = ""


HYDROLYSES = "its metal takes up hydroxide, and how much is not known"
HOW_MANY = "how many metal ions or amines it holds is not known"


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
    if name.casefold().endswith(" hcl"):
        base = in_water(name[:-4])
        return InWater(base.weak, (*base.ions, (-1, 1))) if base and base.weak else None
    if substance is None:
        return _of_words(inci)
    metals = metals_in(substance.formula)
    if name in _INORGANIC:
        acid, count = _INORGANIC[name]
        return InWater(((acid, count),), metals)
    if substance.pka:
        return InWater(((weak_of(substance), 1),), metals)
    if substance.acid is None:
        return None
    acid_known = known(substance.acid[0])
    if acid_known is None or not acid_known.pka:
        return InWater(lacking=substance.acid[0])
    return salt_of(name, weak_of(acid_known))


def _of_words(inci: str) -> InWater | None:
    """What a salt gives that no table lists, of an acid that is known: `Lithium Benzoate`."""
    words = salt_words(inci)
    if words is None:
        return None
    acid = known(words[0])
    if acid is None or not acid.pka:
        return InWater(lacking=acid.inci if acid else words[0])
    return salt_of(inci, weak_of(acid))


def salt_of(inci: str, acid: Weak) -> InWater:
    """What a salt gives in water, by its formula or else by its name. acid: the constants of its acid, of the form with all protons.

    Without a formula, `Sodium Phytate` may hold any number of sodium; only an acid of one proton leaves no choice.
    """
    substance = known(inci)
    count = substance.acid[1] if substance and substance.acid else 1
    amine = amine_of(inci)
    if amine == "":
        return InWater(why="no pKa of the amine in it is known")
    if substance is not None and substance.formula:
        return InWater(((acid, count), *_base(amine)), metals_in(substance.formula))
    one = len(acid.pka) == 1 and acid.charge == 0
    if amine is not None:
        return InWater(((acid, 1), *_base(amine))) if one else InWater(why=HOW_MANY)
    found = _METAL.match(inci.strip())
    if found is None:
        return InWater(why=HYDROLYSES) if _OTHER_METAL.match(inci.strip()) else InWater(((acid, 1),))
    charge = 2 if found[2].casefold() in ("calcium", "magnesium", "zinc", "strontium") else 1
    if found[1]:
        return InWater(((acid, 1),), ((charge, _HOW_MANY[found[1].casefold()]),))
    return InWater(((acid, charge),), ((charge, 1),)) if one else InWater(why=HOW_MANY)


def _base(amine: str | None) -> tuple[tuple[Weak, int], ...]:
    base = known(amine) if amine else None
    return ((weak_of(base), 1),) if base else ()


_HOW_MANY = {"mono": 1, "di": 2, "tri": 3, "tetra": 4, "penta": 5}
_METAL = re.compile(r"(mono|di|tri|tetra|penta|)(sodium|potassium|lithium|calcium|magnesium|zinc|strontium)\b", re.IGNORECASE)
_OTHER_METAL = re.compile(r"(aluminum|copper|manganese|silver|iron|ferrous|ferric|tin|stannous|bismuth|chromium)\b", re.IGNORECASE)


def amine_of(inci: str) -> str | None:
    """The amine that the name of a salt begins with, `TEA-…`: "" where there are no constants of it, None for any other name."""
    key = inci_key(inci)
    return next((base for begins, base in _AMINES.items() if key.startswith(begins)), None)


def is_salt(inci: str) -> bool:
    """True for a name that begins with a metal or an amine."""
    return amine_of(inci) is not None or bool(_METAL.match(inci.strip()) or _OTHER_METAL.match(inci.strip()))


def metals_in(formula: str) -> tuple[tuple[int, int], ...]:
    """The metal ions of a molecular formula without its water: (charge, how many)."""
    found: dict[int, int] = {}
    for symbol, digits in re.findall(r"([A-Z][a-z]?)(\d*)", formula.partition(".")[0]):
        if symbol in CATIONS:
            found[CATIONS[symbol]] = found.get(CATIONS[symbol], 0) + int(digits or 1)
    return tuple(found.items())
