"""Only the limits that a product is beyond: what the bill of a change is made of, without the other checks."""

from __future__ import annotations

from fvc.reading import Reading
from fvc.rules.basis import HOUSE, Basis
from fvc.rules.case import case_of
from fvc.rules.finding import NOTE, Finding
from fvc.rules.levels import check_house, check_use_levels
from fvc.rules.limits import QUESTION, of_limits


def beyond_limits(reading: Reading, basis: Basis) -> list[Finding]:
    """Stops and cautions of the limits by law, supplier and house; never raises for what a plan says."""
    case = case_of(reading, basis, basis.chosen())
    house = (check_house,) if HOUSE in case.rules else ()
    outcome = [o for each in (of_limits, check_use_levels, *house) for o in each(case)]
    return [o for o in outcome if isinstance(o, Finding) and o.level != NOTE and o.about != QUESTION]
