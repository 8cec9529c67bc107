"""What the bill of a change is made of: the limits that a product is beyond, and what the checks of the product itself find."""

from __future__ import annotations

from typing import NamedTuple

from fvc.reading import Reading
from fvc.rules.basis import HOUSE, Basis
from fvc.rules.case import case_of
from fvc.rules.finding import NOTE, Finding
from fvc.rules.levels import check_house, check_use_levels
from fvc.rules.limits import QUESTION, of_limits
from fvc.science.own import NOTHING_SEEN, Own


class Beyond(NamedTuple):
    """limits: stops and cautions by law, supplier and house. others: those of how the product is made and keeps, and use levels fallen short of."""

    limits: tuple[Finding, ...]
    others: tuple[Finding, ...]


def beyond(reading: Reading, basis: Basis, *, others: bool = True, own: Own = NOTHING_SEEN) -> Beyond:
    """Judge a product without what stands in files and records; never raises for what a plan says.

    others: also those, which take longer. own: what the maker's own batches tell of it.
    """
    case = case_of(reading, basis, basis.chosen(), own=own)
    house = (check_house,) if HOUSE in case.rules else ()
    found = [o for each in (of_limits, check_use_levels, *house) for o in each(case) if isinstance(o, Finding)]
    limits = tuple(f for f in found if f.level != NOTE and f.about != QUESTION)
    if not others:
        return Beyond(limits, ())
    from fvc.rules.check import CHECKS, OF_PRODUCT  # with all that estimates: only for those who ask

    below = [f for f in found if f.level == NOTE and f.rule == "use-level"]
    checks = [c for c in CHECKS if c.of == OF_PRODUCT and (not c.rules or set(c.rules) & set(case.rules))]
    made = [o for c in checks for o in c.run(case) if isinstance(o, Finding) and o.level != NOTE]
    return Beyond(limits, (*below, *made))
