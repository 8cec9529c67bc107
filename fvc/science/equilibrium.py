"""The balance of charges in water at 25 °C: pH, ionic strength and buffer value from what is dissolved.

Pure numbers: this module knows no product. Every acid and base stands at its equilibria at once, with single-ion activity
coefficients after Davies; the pH is that of activity, -log10 a(H+), as a meter calibrated with standard buffers reads it.

Not in here: pairs of ions and complexes (calcium or zinc with citrate), carbon dioxide of the air, other temperatures, solvents
beside water.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from fvc.reference.ions import DAVIES_A, DAVIES_B, PKW

LN10 = math.log(10)
_LOWEST, _HIGHEST = -2.0, 16.0
_STEPS = 60


class Protolyte(NamedTuple):
    """A weak acid or base. molality: mol per kg of water, all its forms together.

    charge: of the form that holds every proton; pka: thermodynamic, of one proton after the other. most: of the form without
    charge, in mol per kg of water; beyond it the rest stands as crystals, and takes no part.
    """

    name: str
    molality: float
    charge: int
    pka: tuple[float, ...]
    most: float = math.inf


class Ions(NamedTuple):
    """Ions that take no part in any equilibrium: sodium, chloride. molality: mol per kg of water."""

    charge: int
    molality: float


class Balance(NamedTuple):
    """What comes out.

    ph: of activity. ionic_strength: mol/kg. buffer_value: mol per kg of water and pH unit, at that ionic strength, of
    strong base that raises the pH by one (Van Slyke 1922); what a titration shows is up to 6 % more, since the base raises the
    ionic strength too. proton: the molality of H+.
    """

    ph: float
    ionic_strength: float
    buffer_value: float
    proton: float


def davies(ionic_strength: float) -> float:
    """-log10 of the activity coefficient of an ion of charge 1; of charge z it is z² times that. Neutral forms have 1."""
    root = math.sqrt(ionic_strength)
    return DAVIES_A * (root / (1 + root) - DAVIES_B * ionic_strength)


def shares(protolyte: Protolyte, ph: float, damping: float) -> list[float]:
    """The share of each form, the one with all protons first. damping: `davies` of the ionic strength."""
    weight, weights, charge = 1.0, [1.0], protolyte.charge
    for pka in protolyte.pka:
        # Ka = a(H) γ(A) m(A) / (γ(HA) m(HA)), so log m(A)/m(HA) = pH - pKa + damping (z(A)² - z(HA)²)
        weight *= 10 ** (ph - pka + damping * (1 - 2 * charge))
        weights.append(weight)
        charge -= 1
    total = sum(weights)
    return [w / total for w in weights]


def in_solution(protolyte: Protolyte, parts: Sequence[float]) -> float:
    """The molality that is dissolved, of all forms: all of it, unless the form without charge is at its most. parts: `shares`."""
    neutral = parts[protolyte.charge] if 0 <= protolyte.charge < len(parts) else 0.0
    return min(protolyte.molality, protolyte.most / neutral) if neutral > 0 else protolyte.molality


def charge_at(protolytes: Sequence[Protolyte], ions: Sequence[Ions], ph: float, damping: float) -> tuple[float, float, float]:
    """Net charge, how fast it falls with the pH, and the ionic strength, all in mol per kg of water."""
    proton, hydroxide = 10 ** (damping - ph), 10 ** (ph - PKW + damping)
    charge, slope, strength = proton - hydroxide, proton + hydroxide, proton + hydroxide
    for ion in ions:
        charge += ion.charge * ion.molality
        strength += ion.charge * ion.charge * ion.molality
    for protolyte in protolytes:
        mean = square = 0.0
        z = protolyte.charge
        parts = shares(protolyte, ph, damping)
        for share in parts:
            mean += z * share
            square += z * z * share
            z -= 1
        molality = in_solution(protolyte, parts)
        charge += molality * mean
        # beside crystals the form without charge stays as it is, and every other one follows the pH by its own charge
        slope += molality * (square - mean * mean if molality == protolyte.molality else square)
        strength += molality * square
    return charge, LN10 * slope, strength / 2


def solve(protolytes: Sequence[Protolyte], ions: Sequence[Ions] = (), start: float = 7.0) -> Balance:
    """The pH at which the charges balance. start: a guess, which only saves time.

    The charge falls steadily with the pH, so there is one answer; Newton's steps, and where they lead astray, halving within
    a bracket. Above ionic strength 1, where Davies' equation means nothing, the ionic strength may not settle.
    """
    damping, ph = davies(_first_strength(ions)), start
    for _ in range(_STEPS):  # pH and ionic strength together, which is quick from a good guess
        charge, slope, strength = charge_at(protolytes, ions, ph, damping)
        step, new = charge / slope, davies(strength)
        if abs(step) < 1e-9 and abs(new - damping) < 1e-9:
            return Balance(ph, strength, slope, 10 ** (damping - ph))
        if abs(step) > 1 or not _LOWEST < ph + step < _HIGHEST:
            break
        ph, damping = ph + step, new
    strength = 0.0
    for _ in range(_STEPS):
        ph = _root(protolytes, ions, damping, ph)
        _, _, new = charge_at(protolytes, ions, ph, damping)
        if abs(new - strength) < 1e-9 * max(new, 1e-6):
            break
        strength, damping = new, davies(new)
    _, slope, strength = charge_at(protolytes, ions, ph, damping)
    return Balance(ph, strength, slope, 10 ** (damping - ph))


def _first_strength(ions: Sequence[Ions]) -> float:
    return sum(ion.charge * ion.charge * ion.molality for ion in ions) / 2


def _root(protolytes: Sequence[Protolyte], ions: Sequence[Ions], damping: float, guess: float) -> float:
    low, high, ph = _LOWEST, _HIGHEST, guess
    for _ in range(200):
        charge, slope, _ = charge_at(protolytes, ions, ph, damping)
        low, high = (ph, high) if charge > 0 else (low, ph)
        step = charge / slope
        if abs(step) < 1e-10:
            return ph
        ph = ph + step if low < ph + step < high else (low + high) / 2
    return ph
