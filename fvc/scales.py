"""The scales on the bench: what each resolves, what it carries, and which one a weight goes to."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO, mass, needed_decimals, number


class Scale(NamedTuple):
    """A balance on the bench: what it resolves and what it carries, in grams; most None: no limit."""

    step: Fraction
    most: Fraction | None = None

    @property
    def decimals(self) -> int:
        """Decimals that its display needs."""
        return needed_decimals(self.step) or 0


COMMON_SCALES = (Scale(Fraction(1, 100), Fraction(500)), Scale(Fraction(1), Fraction(5000)))
SMALL_BELOW = Fraction(20)  # steps; half a step is then 2.5 %
SLIP_ABOVE = Fraction(1)  # percent of its target by which a weight may miss it without a word


def scale_from_text(text: str) -> Scale:
    """`0.01 g`, `0.1g` or `1` (grams). ValueError otherwise."""
    plain = text.strip()
    step = number(plain).value if re.fullmatch(r"[0-9.,]+", plain) else mass(plain)
    if step == 0:
        raise ValueError("a scale resolves more than zero")
    if needed_decimals(step) is None or step > 1000:
        raise ValueError("a scale steps in a decimal fraction of a gram, such as 0.01 g")
    return Scale(step)


class Weight(NamedTuple):
    """A weight in grams, and what the scale showed where it was taken by difference."""

    grams: Fraction
    reading: str = ""


def weight_from_text(text: str) -> Weight:
    """`4.52`, `4.52 g`, `1.5 kg`, `0.2 oz`, or `342.60-336.15` by difference. ValueError with the reason in words otherwise.

    A number alone is grams. Zero and less are refused, and a gross that is not above its tare.
    """
    plain = " ".join(text.split())
    by_difference = re.fullmatch(r"([0-9.,]+)\s*g?\s*[-–]\s*([0-9.,]+)\s*g?", plain)
    if by_difference:
        gross, tare = (number(part) for part in by_difference.groups())
        if gross.value <= tare.value:
            raise ValueError(f"{gross.text} less {tare.text} leaves nothing: the first number is the larger one")
        return Weight(gross.value - tare.value, f"{gross.text}-{tare.text}")
    if re.fullmatch(r"[-+]?[0-9.,]+", plain):
        typed = number(plain)
        if typed.value == 0:
            raise ValueError("it must be more than zero")
        return Weight(typed.value)
    if plain.startswith("-"):
        raise ValueError("it is negative")
    return Weight(mass(plain))


def choose_scale(grams: Fraction, scales: Sequence[Scale]) -> Scale:
    """The finest scale that carries `grams`; where none does, the one that carries most."""
    fit = [s for s in scales if s.most is None or grams <= s.most]
    return min(fit, key=lambda s: s.step) if fit else max(scales, key=lambda s: s.most or ZERO)
