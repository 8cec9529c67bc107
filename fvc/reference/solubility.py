"""How much of a weak acid dissolves in water: of its undissociated form, which is what falls out as crystals when the pH goes down."""

from __future__ import annotations

from typing import NamedTuple

from fvc.reference.lookup import known
from fvc.reference.source import Source


class Solubility(NamedTuple):
    """grams: of the undissociated form in 1 kg of water at 25 °C, in equilibrium with crystals. Glycols, alcohol and micelles hold more."""

    grams: str
    source: Source


_LESS = "less what of it is dissociated there"
_MERCK = Source("The Merck Index: 2.4 g/L at 20 °C and 8.2 at 50 °C, so 3.0 at 25 °C; " + _LESS, "2006")
_HANDBOOK = Source("Chemist's Handbook 2 (Leningrad), 7.0 g/L at 25 °C; " + _LESS, "1964")


def _remembered(total: str) -> Source:
    return Source(f"published solubility of {total} g/L at 25 °C, {_LESS}", "2026", looked_up=False)


SOLUBILITY: dict[str, Solubility] = {
    "Benzoic Acid": Solubility("3.2", Source("pages on benzoic acid, 3.4 g/L at 25 °C (as read in 2026); " + _LESS, "2026")),
    "Sorbic Acid": Solubility("1.8", _remembered("1.9")),
    "Salicylic Acid": Solubility("1.7", _remembered("2.24")),
    "Dehydroacetic Acid": Solubility("0.66", _remembered("0.69")),
    "p-Anisic Acid": Solubility("0.22", _remembered("0.25")),
    "4-Hydroxybenzoic Acid": Solubility("5.8", _remembered("6")),
    "Azelaic Acid": Solubility("2.9", _MERCK),
    "Ferulic Acid": Solubility("0.72", _remembered("0.78")),
    "Fumaric Acid": Solubility("6.2", _HANDBOOK),
    "Adipic Acid": Solubility("23", _remembered("24")),
    "EDTA": Solubility("0.1", _remembered("0.5")),
}


def dissolves(name: str) -> float | None:
    """Of an acid by its INCI name: mol of undissociated acid that 1 kg of water holds at 25 °C; None where no figure is known."""
    entry, acid = SOLUBILITY.get(name), known(name)
    return float(entry.grams) / float(acid.molar_mass) if entry and acid else None


def dissolves_percent(name: str, water_percent: float) -> float | None:
    """The same in percent of a product with so much water; None where no figure is known."""
    entry = SOLUBILITY.get(name)
    return float(entry.grams) * water_percent / 1000 if entry else None


def beyond_solubility(name: str, percent_undissociated: float, water_percent: float) -> str:
    """`more than dissolves: about 0.16 % of undissociated salicylic acid does`, for percents of a product; "" where it dissolves.

    What solvents, oil and micelles hold besides is not counted.
    """
    most = dissolves_percent(name, water_percent)
    if most is None or percent_undissociated <= most:
        return ""
    return f"more than dissolves: about {most:.2g} % of undissociated {in_a_sentence(name)} does"


def in_a_sentence(name: str) -> str:
    """`salicylic acid`, `p-anisic acid`, `EDTA`."""
    return name if name.isupper() else name.lower()
