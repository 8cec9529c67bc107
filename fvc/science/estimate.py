"""What every estimate is given as: a figure with its band, or the reason why there is none; and the rows of its working."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple


class Step(NamedTuple):
    """One row of a working, for somebody who follows it with a pocket calculator.

    what: what is worked out, in words. sum: the arithmetic with its figures and units ("" for a figure that is taken as
    it is). result: what comes out, with its unit. source: where the constant or the rule is from ("" for plain arithmetic);
    a figure from memory or an uncertain one says so there, with the influence that it has.
    """

    what: str
    sum: str = ""
    result: str = ""
    source: str = ""


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """One property of a product, estimated.

    property, unit: as shown, such as `water activity` and "". value, low, high: the figure and its band, rounded to
    `decimals`; all None where none can be given. declined: why not, in words. instead: what can be said without a
    figure, such as a direction. not_counted: what was left out of it, each with the reason. notes: limits of the
    figure that a reader must know.
    """

    property: str
    unit: str = ""
    decimals: int = 2
    value: Fraction | None = None
    low: Fraction | None = None
    high: Fraction | None = None
    declined: str = ""
    instead: str = ""
    not_counted: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def rounded(value: float, decimals: int) -> Fraction:
    """A float of a computation as the exact decimal that is shown of it."""
    return Fraction(f"{value:.{decimals}f}")
