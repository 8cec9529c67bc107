"""The bill of a change: limits newly crossed or cleared, the label and its allergens, the cost of raw materials."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.errors import Refusal
from fvc.reading import Reading
from fvc.rules.basis import HOUSE, Basis
from fvc.rules.beyond import beyond_limits
from fvc.rules.check import check
from fvc.rules.cost import cost
from fvc.rules.finding import LEVELS, NOTE, Finding
from fvc.rules.label import Label, gained, label


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


def bill(before: Reading, after: Reading, basis: Basis, today: datetime.date, *, cautions: bool = False) -> Bill:
    """Judge two readings by the rule sets, house limits and currency of the formulary.

    today: for the list of allergens in force. cautions: also what all other checks find on one side only, for a change
    that is only proposed. Works on plans that do not close as well.
    """
    limits = _limits(before, after, basis)
    new, gone = _cautions(before, after, basis, limits) if cautions else (None, None)
    return Bill(limits=limits, labels=_labels(before, after, basis, today), cost=_cost(before, after, basis), cautions=new, eased=gone)


def _cautions(
    before: Reading, after: Reading, basis: Basis, limits: Sequence[LimitDiff]
) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """What only the checks of the second side find, and only those of the first, but for limits, which are told apart."""
    told = {(each.finding.rule, each.finding.about) for each in limits}
    first, second = (
        {(f.rule, f.about or f.where): f for f in check(side, basis).findings if f.level != NOTE or f.rule == "use-level"}
        for side in (before, after)
    )
    return tuple(f for k, f in second.items() if k not in first and k not in told), tuple(
        f for k, f in first.items() if k not in second and k not in told
    )


def _limits(before: Reading, after: Reading, basis: Basis) -> tuple[LimitDiff, ...]:
    """Limits newly crossed or cleared: by law, house or supplier; a limit that both are beyond is no difference."""
    first, second = (_gravest(beyond_limits(side, basis)) for side in (before, after))
    crossed = [LimitDiff("crossed", f) for key, f in second.items() if _graver(f, first.get(key))]
    return (*crossed, *(LimitDiff("cleared", f) for key, f in first.items() if _graver(f, second.get(key))))


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


def _labels(before: Reading, after: Reading, basis: Basis, today: datetime.date) -> tuple[LabelDiff, ...]:
    out = []
    for rules in basis.chosen():
        if rules == HOUSE:
            continue
        first, second = (label(side, rules, today, today, basis.names) for side in (before, after))
        if first.ingredients != second.ingredients or first.allergens != second.allergens:
            out.append(
                LabelDiff(
                    rules,
                    first.ingredients,
                    second.ingredients,
                    first.allergens,
                    second.allergens,
                    first.ordered,
                    second.ordered,
                    _listed(second),
                )
            )
    return tuple(out)


def _listed(result: Label) -> str:
    return result.by_list[-1].listed.title if result.by_list else ""


def _cost(before: Reading, after: Reading, basis: Basis) -> CostDiff | None:
    try:
        first, second = (cost(side, basis.currency, None) for side in (before, after))
    except Refusal:  # two currencies and nothing that says which counts: `fvc cost` explains it
        return None
    complete = not first.unpriced, not second.unpriced
    if first.priced == second.priced and complete[0] == complete[1]:
        return None
    return CostDiff(second.currency or first.currency, first.priced, second.priced, *complete)
