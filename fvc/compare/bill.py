"""The bill of a change: limits newly crossed or cleared, the label and its allergens, the cost of raw materials."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.errors import Refusal
from fvc.reading import Reading
from fvc.rules.basis import HOUSE, Basis
from fvc.rules.beyond import beyond
from fvc.rules.cost import Cost, cost
from fvc.rules.finding import LEVELS, Finding
from fvc.rules.label import Label, gained, label
from fvc.science.own import NOTHING_SEEN, Own


class LimitDiff(NamedTuple):
    """A limit that one side is beyond and the other is not. kind: `crossed` or `cleared`; finding: of the side beyond it."""

    kind: str
    finding: Finding


class LabelDiff(NamedTuple):
    """The ingredient declarations of both sides, by one rule set, and the allergens they must name.

    ordered_before, ordered_after: the names above the 1 % line, the only ones whose order is prescribed.
    listed: the list of allergens that both follow, in words.
    """

    rules: str
    before: tuple[str, ...]
    after: tuple[str, ...]
    allergens_before: tuple[str, ...]
    allergens_after: tuple[str, ...]
    ordered_before: tuple[str, ...] = ()
    ordered_after: tuple[str, ...] = ()
    listed: str = ""

    @property
    def names_gained(self) -> tuple[str, ...]:
        """Names that only the second label has."""
        return tuple(gained(self.before, self.after))

    @property
    def names_lost(self) -> tuple[str, ...]:
        """Names that only the first label has."""
        return tuple(gained(self.after, self.before))

    @property
    def order_changed(self) -> bool:
        """True when names that both labels have stand in another order above the 1 % line, or cross it."""
        more, fewer = set(self.names_gained), set(self.names_lost)
        return [n for n in self.ordered_before if n not in fewer] != [n for n in self.ordered_after if n not in more]

    @property
    def allergens_gained(self) -> tuple[str, ...]:
        """Allergens that only the second side must name."""
        return tuple(gained(self.allergens_before, self.allergens_after))

    @property
    def allergens_lost(self) -> tuple[str, ...]:
        """Allergens that only the first side must name."""
        return tuple(gained(self.allergens_after, self.allergens_before))


class CostDiff(NamedTuple):
    """Raw materials per kilogram on both sides; a sum of what has a price, `complete` when every line has one."""

    currency: str
    before: Fraction
    after: Fraction
    complete_before: bool
    complete_after: bool


class Bill(NamedTuple):
    """What a change does beyond the product itself; each empty or None where nothing differs.

    cautions: what the checks find on the second side alone; eased: on the first alone; None where nobody asked.
    """

    limits: tuple[LimitDiff, ...]
    labels: tuple[LabelDiff, ...]
    cost: CostDiff | None
    cautions: tuple[Finding, ...] | None = None
    eased: tuple[Finding, ...] | None = None

    @property
    def different(self) -> bool:
        """True when there is anything to tell."""
        return bool(self.limits or self.labels or self.cost or self.cautions or self.eased)


def bill(
    before: Reading,
    after: Reading,
    basis: Basis,
    today: datetime.date,
    *,
    cautions: bool = False,
    own: tuple[Own, Own] = (NOTHING_SEEN, NOTHING_SEEN),
) -> Bill:
    """Judge two readings by the rule sets, house limits and currency of the formulary.

    today: for the list of allergens in force. cautions: also what all other checks find on one side only, for a change
    that is only proposed. own: what the maker's own batches tell of each side. Works on plans that do not close as well.
    """
    first, second = (_judged(side, basis, today, cautions, its) for side, its in zip((before, after), own, strict=True))
    crossed = [LimitDiff("crossed", f) for key, f in second.limits.items() if _graver(f, first.limits.get(key))]
    cleared = [LimitDiff("cleared", f) for key, f in first.limits.items() if _graver(f, second.limits.get(key))]
    return Bill(
        limits=(*crossed, *cleared),
        labels=tuple(_label(one, two) for one, two in zip(first.labels, second.labels, strict=True) if _differ(one, two)),
        cost=_cost(first.cost, second.cost),
        cautions=tuple(f for k, f in second.others.items() if k not in first.others) if cautions else None,
        eased=tuple(f for k, f in first.others.items() if k not in second.others) if cautions else None,
    )


class _Judged(NamedTuple):
    """One side. limits: the gravest finding about each limit; others: what else was found, by rule and place; cost None: in two currencies."""

    limits: dict[tuple[str, str], Finding]
    others: dict[tuple[str, str], Finding]
    labels: tuple[Label, ...]
    cost: Cost | None


@lru_cache(maxsize=4)  # one side against many: a plan beside every candidate for one of its places
def _judged(reading: Reading, basis: Basis, today: datetime.date, others: bool, own: Own) -> _Judged:
    found = beyond(reading, basis, others=others, own=own)
    try:
        price = cost(reading, basis.currency, None)
    except Refusal:  # two currencies and nothing that says which counts: `fvc cost` explains it
        price = None
    return _Judged(
        _gravest(found.limits),
        {(f.rule, f.about or f.where): f for f in found.others},
        tuple(label(reading, rules, today, today, basis.names) for rules in basis.chosen() if rules != HOUSE),
        price,
    )


def _gravest(findings: Sequence[Finding]) -> dict[tuple[str, str], Finding]:
    """For every limit the gravest finding about it."""
    found: dict[tuple[str, str], Finding] = {}
    for finding in findings:
        key = (finding.rule, finding.about)
        if _graver(finding, found.get(key)):
            found[key] = finding
    return found


def _graver(finding: Finding, other: Finding | None) -> bool:
    return other is None or LEVELS.index(finding.level) < LEVELS.index(other.level)


def _differ(first: Label, second: Label) -> bool:
    return first.ingredients != second.ingredients or first.allergens != second.allergens


def _label(first: Label, second: Label) -> LabelDiff:
    return LabelDiff(
        second.rules,
        first.ingredients,
        second.ingredients,
        first.allergens,
        second.allergens,
        first.ordered,
        second.ordered,
        second.by_list[-1].listed.title if second.by_list else "",
    )


def _cost(first: Cost | None, second: Cost | None) -> CostDiff | None:
    if first is None or second is None:
        return None
    complete = not first.unpriced, not second.unpriced
    if first.priced == second.priced and complete[0] == complete[1]:
        return None
    return CostDiff(second.currency or first.currency, first.priced, second.priced, *complete)
