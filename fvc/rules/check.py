"""All checks of one product, in order. The one list behind `fvc check`, its docs and its count.

A check that finds nothing has still been done; one that lacks what it needs says so, and silence
never stands for "fine". Nothing in here makes a product safe: that is for a qualified assessor.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from fvc.reading import Reading
from fvc.rules.basis import EU, HOUSE, US, Basis
from fvc.rules.case import Case, Outcome, case_of
from fvc.rules.estimates import check_antagonisms, check_estimated_ph, check_hlb, check_oil_carried, check_preserved_at_ph
from fvc.rules.finding import LEVELS, Finding, NotChecked, Report
from fvc.rules.gel import check_gel
from fvc.rules.levels import check_house, check_use_levels
from fvc.rules.limits import check_limits, check_oils
from fvc.rules.making import check_charges, check_heat, check_oil_held
from fvc.rules.preservation import check_acid_order, check_listed, check_ph, check_present
from fvc.rules.structure import check_functions, check_inci_names, check_locked, check_structure
from fvc.science.own import NOTHING_SEEN, Own

OF_FILE, OF_LIMIT, OF_PRODUCT = "file", "limit", "product"


class Check(NamedTuple):
    """One check: what it looks at, in words, and how; rules: the rule sets of which one must be chosen, empty for always.

    of: what its findings are about: the `file` and its records, a `limit`, or how the `product` is made and keeps.
    """

    title: str
    run: Callable[[Case], Outcome]
    rules: tuple[str, ...] = ()
    of: str = OF_PRODUCT


CHECKS = (
    Check("the file and its total", check_structure, of=OF_FILE),
    Check("a locked plan is as it was saved", check_locked, of=OF_FILE),
    Check("INCI names", check_inci_names, of=OF_FILE),
    Check("words for functions", check_functions, of=OF_FILE),
    Check("suppliers' use levels", check_use_levels, of=OF_LIMIT),
    Check("limits of substances", check_limits, (EU, US), OF_LIMIT),
    Check("limits of what is inside essential oils and extracts", check_oils, (EU, US), OF_LIMIT),
    Check("a preservative where there is water", check_present),
    Check("preservatives are among those that the law lists", check_listed, (EU,)),
    Check("the preservative works at the pH of the spec", check_ph),
    Check("benzoate and sorbate before the acid", check_acid_order),
    Check("oil is held", check_oil_held),
    Check("heat", check_heat),
    Check("unlike charges", check_charges),
    Check("salt in a polymer gel", check_gel),
    Check("the estimated pH is within the spec", check_estimated_ph),
    Check("preservatives are in use at the estimated pH", check_preserved_at_ph),
    Check("published antagonisms of preservatives", check_antagonisms),
    Check("enough solubiliser for the oil", check_oil_carried),
    Check("the HLB that the oil asks for", check_hlb),
    Check("house limits", check_house, (HOUSE,), OF_LIMIT),
)


def check(
    reading: Reading,
    basis: Basis,
    rules: tuple[str, ...] = (),
    locked: tuple[str, ...] | None = None,
    stands_in: tuple[str, ...] | None = None,
    own: Own = NOTHING_SEEN,
) -> Report:
    """Run all checks on a plan, a variant or an as-made.

    rules: the rule sets asked for, `eu`, `us`, `house`; empty for those of the formulary.
    locked: what changed in a plan that was saved as locked. stands_in: the plans that this one stands in,
    None where nobody looked. own: what the maker's own batches tell of it. Never raises for what a plan says.
    Not checked: interactions that are not in the list above, stability, the supplier's documents,
    claims, and whatever the report lists.
    """
    case = case_of(reading, basis, basis.chosen(rules), locked, stands_in, own)
    findings: list[Finding] = []
    missing: list[NotChecked] = []
    done = 0
    for each in CHECKS:
        if each.rules and not set(each.rules) & set(case.rules):
            continue
        outcome = list(each.run(case))
        findings += [o for o in outcome if isinstance(o, Finding)]
        not_done = [o for o in outcome if isinstance(o, NotChecked)]
        missing += not_done
        done += not any(o.whole for o in not_done)
    findings.sort(key=lambda f: LEVELS.index(f.level))
    return Report(plan=reading.side.ref, findings=tuple(findings), done=done, not_checked=tuple(dict.fromkeys(missing)))
