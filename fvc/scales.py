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


def choose_scale(grams: Fraction, scales: Sequence[Scale]) -> Scale:
    """The finest scale that carries `grams`; where none does, the one that carries most."""
    fit = [s for s in scales if s.most is None or grams <= s.most]
    return min(fit, key=lambda s: s.step) if fit else max(scales, key=lambda s: s.most or ZERO)
