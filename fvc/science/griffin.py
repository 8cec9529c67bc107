"""The two formulas of Griffin's scale, exact: the HLB of a blend, and the split of two that meets a target."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from fvc.amounts import ZERO, figure
from fvc.errors import Refusal


def mean(weighted: Iterable[tuple[Fraction, Fraction]]) -> Fraction:
    """The mean of values by their weights, exact (Griffin 1949 for HLB). The weights must come to more than 0."""
    pairs = list(weighted)
    return sum((w * v for w, v in pairs), ZERO) / sum((w for w, _ in pairs), ZERO)


def share_of_first(target: Fraction, first: tuple[str, Fraction], second: tuple[str, Fraction], *, next: str) -> Fraction:
    """The share of the first of two in a blend of a target HLB, a = (X - B) / (A - B), from 0 to 1 (Griffin 1949).

    first, second: name and HLB. Raises Refusal, with `next`, for a target that is not between the two.
    """
    (one, a), (other, b) = first, second
    if not min(a, b) < target < max(a, b):
        raise Refusal(
            f"no blend of the two has an HLB of {figure(target)}: it is not between theirs ({one} {figure(a)}, {other} {figure(b)})",
            next=next,
        )
    return (target - b) / (a - b)
