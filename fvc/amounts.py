"""Exact amounts: numbers as typed, masses, percents, and rounding.

Text becomes an exact `Fraction` at the door and decimal text again on the way out; no binary
float ever holds a percent or a gram. Rounding is half up (0.285 becomes 0.29): NIST SP 811
B.7.1 rounds half to even, makers' scales and spreadsheets round half up, and every sheet says
which rule it used.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

MOST_DECIMALS = 8
HUNDRED = Fraction(100)
ZERO = Fraction(0)

# Exact by definition: International Yard and Pound Agreement 1959; NIST SP 811 appendix B.
GRAMS = {
    "mg": Fraction(1, 1000),
    "g": Fraction(1),
    "kg": Fraction(1000),
    "oz": Fraction("28.349523125"),
    "lb": Fraction("453.59237"),
}
# The US fluid ounce: 231 cubic inches to the gallon of 128, 1 inch = 25.4 mm (NIST Handbook 44, appendix C).
MILLILITRES = {"ml": Fraction(1), "l": Fraction(1000), "fl oz": Fraction("29.5735295625")}

_NUMBER = re.compile(r"(?:0|[1-9][0-9]{0,14})(?:\.[0-9]+)?")
_QUANTITY = re.compile(r"([0-9.,]+)\s*([A-Za-z]+(?: oz)?)")


class Typed(NamedTuple):
    """A number as the maker typed it: the text is kept so that its digits are shown again."""

    text: str
    value: Fraction

    @property
    def decimals(self) -> int:
        """Digits behind the point, as typed: 2 for `3.00`."""
        return decimals_of(self.text)


def decimals_of(text: str) -> int:
    """Digits behind the decimal point of a plain number."""
    return len(text.partition(".")[2])


def why_not_a_number(text: str) -> str | None:
    """None when `text` is a plain number, else what is wrong with it in words.

    Plain: digits with at most one point and at most 8 decimals; no sign, no exponent, no
    underscore, no `nan` or `inf`.
    """
    if _NUMBER.fullmatch(text):
        count = decimals_of(text)
        return f"it has {count} decimals; at most {MOST_DECIMALS} are kept" if count > MOST_DECIMALS else None
    if "," in text:
        return f'it has a comma; write "{text.replace(",", ".")}" with a point'
    if text.lower().lstrip("+-") in ("nan", "inf"):
        return "it is not a finite number"
    if text[:1] == "-":
        return "it is negative"
    if text[:1] == "+":
        return "it has a sign"
    if "_" in text:
        return "it has an underscore"
    if re.fullmatch(r"[0-9.]+[eE][+-]?[0-9]+", text):
        return "it is in exponent form"
    if re.fullmatch(r"\.[0-9]+", text):
        return f'write "0{text}"'
    if re.fullmatch(r"0[0-9]+(\.[0-9]+)?", text):
        return "it begins with a zero"
    if re.fullmatch(r"[0-9]{16,}(\.[0-9]*)?", text):
        return "it has too many digits"
    return "it is not a plain number"


def fraction(text: str) -> Fraction:
    """The exact value of a plain number; what `text` is was checked before."""
    whole, _, behind = text.partition(".")
    return Fraction(int(whole + behind), 10 ** len(behind))


def number(text: str) -> Typed:
    """A plain number as typed. Raises ValueError with the reason in words."""
    reason = why_not_a_number(text)
    if reason:
        raise ValueError(reason)
    return Typed(text, fraction(text))


def quantity(text: str, units: dict[str, Fraction]) -> Fraction:
    """`"200 g"`, `"1.5kg"` in the base unit of `units`. Raises ValueError with the reason in words.

    Zero is refused: nothing that a maker names by mass or volume may be nothing.
    """
    match = _QUANTITY.fullmatch(" ".join(text.split()))
    if not match:
        raise ValueError(f"expected a number with a unit ({', '.join(units)})")
    amount = number(match[1])
    factor = units.get(match[2].lower())
    if factor is None:
        raise ValueError(f'unknown unit "{match[2]}"; known are {", ".join(units)}')
    if amount.value == 0:
        raise ValueError("it must be more than zero")
    return amount.value * factor


def mass(text: str) -> Fraction:
    """Grams in `"200 g"`, `"1.5 kg"`, `"5 oz"`, `"1 lb"`, `"500 mg"`; ValueError otherwise."""
    return quantity(text, GRAMS)


def volume(text: str) -> Fraction:
    """Millilitres in `"30 mL"` or `"1.5 L"`; ValueError otherwise."""
    return quantity(text, MILLILITRES)


def celsius(text: str) -> Fraction:
    """°C in `"70 °C"`, `"158 °F"` or `"70 C"`; °F = 1.8 °C + 32. ValueError otherwise."""
    match = re.fullmatch(r"(-?)([0-9.,]+)\s*°?\s*([CFcf])", text.strip())
    if not match:
        raise ValueError('expected a temperature such as "70 °C" or "158 °F"')
    value = number(match[2]).value * (-1 if match[1] else 1)
    return value if match[3] in "Cc" else (value - 32) * Fraction(5, 9)


def minutes(text: str) -> Fraction:
    """Minutes in `"15 min"`, `"1 h"` or `"90 s"`; ValueError otherwise."""
    return quantity(text, {"min": Fraction(1), "h": Fraction(60), "s": Fraction(1, 60)})


def days(text: str) -> int:
    """Whole days in `"30 days"`, `"6 weeks"` or `"3 months"` (of 30 days); ValueError otherwise."""
    match = re.fullmatch(r"([1-9][0-9]{0,3})\s*(day|week|month)s?", text.strip().lower())
    if not match:
        raise ValueError('expected a time such as "30 days"')
    return int(match[1]) * {"day": 1, "week": 7, "month": 30}[match[2]]


def round_to(value: Fraction, step: Fraction) -> Fraction:
    """The multiple of `step` nearest to `value`, a half going up (away from zero)."""
    count = (2 * abs(value) + step) // (2 * step)
    return step * count if value >= 0 else -step * count


def step_of(decimals: int) -> Fraction:
    """The smallest step that `decimals` digits can show: 0.01 for 2."""
    return Fraction(1, 10**decimals)


def fixed(value: Fraction, decimals: int) -> str:
    """`value` with exactly `decimals` digits behind the point, rounded half up; never `-0.00`."""
    # whole numbers throughout: this runs for every figure of every screen
    over, under = abs(value.numerator) * 10**decimals, value.denominator
    count = (2 * over + under) // (2 * under)
    digits = str(count).rjust(decimals + 1, "0")
    sign = "-" if value < 0 and count else ""
    return sign + (f"{digits[:-decimals]}.{digits[-decimals:]}" if decimals else digits)


def needed_decimals(value: Fraction) -> int | None:
    """Digits behind the point that show `value` exactly; None when it does not end (1/3)."""
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    return max(twos, fives) if rest == 1 else None


DATA_DECIMALS = 10


def exact(value: Fraction) -> str:
    """Decimal text for data: exact when it ends, else rounded half up to 10 decimals."""
    needed = needed_decimals(value)
    return fixed(value, DATA_DECIMALS if needed is None else needed)


def shown(value: Fraction, least: int, most: int = 4) -> str:
    """Decimal text for a screen: exact with at least `least` decimals where it ends, else `most`."""
    needed = needed_decimals(value)
    return fixed(value, max(least, most if needed is None else needed))


def brief(value: Fraction, least: int = 2, most: int = 4) -> str:
    """Decimal text of a computed figure: between `least` and `most` decimals, no more than it needs."""
    needed = needed_decimals(value)
    return fixed(value, most if needed is None else min(max(needed, least), most))


def figure(value: Fraction) -> str:
    """Decimal text of a computed figure that may be very small: four decimals, or three digits that count."""
    places, size = 4, abs(value)
    while 0 < size < Fraction(100, 10**places) and places < DATA_DECIMALS:
        places += 1
    text = brief(value, 0, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def apportion(values: Sequence[Fraction], step: Fraction, taker: int | None) -> list[Fraction]:
    """Round each value half up to `step`; `taker` then gets what keeps the rounded sum.

    The sum kept is that of `values` rounded to `step`. With no taker nothing is moved.
    """
    rounded = [round_to(value, step) for value in values]
    if taker is not None:
        rounded[taker] += round_to(sum(values, ZERO), step) - sum(rounded, ZERO)
    return rounded
