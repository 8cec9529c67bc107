"""Checks of levels: the suppliers' use levels, and the formulary's own limits."""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction

from fvc.amounts import ZERO, figure
from fvc.composition import Part
from fvc.formula import PREMIX
from fvc.material import FUNCTIONS, Share, certain, inci_key
from fvc.names import nearest
from fvc.reference.lookup import name_is_known, names_like
from fvc.rules.basis import Basis, HouseRule
from fvc.rules.case import Case, Outcome, listed, percent_by_material, unless_used, where_of
from fvc.rules.contents import total
from fvc.rules.finding import CAUTION, NOTE, STOP, Finding, NotChecked


def check_use_levels(case: Case) -> Outcome:
    """Every raw material is within the use level of its supplier, summed over all lines and premixes."""
    if not case.uses:
        yield unless_used("suppliers' use levels")
        return
    blank: list[Part] = []
    for percent, places in percent_by_material(case.parts).values():
        material = places[0].material
        only_water = material is not None and material.composition and all(inci_key(n) == "aqua" for n in material.composition)
        if material is None or only_water:
            continue
        if material.use_level is None:
            blank.append(places[0])
            continue
        low, high = material.use_level
        source = f"use level of the supplier{_source(material.record)}"
        if percent > high.value:
            yield Finding(
                CAUTION,
                where_of(places),
                "use-level",
                f"{places[0].words}: {figure(percent)} % in all, {figure(percent - high.value)} above the {low.text} to {high.text} % of its record",
                source,
                f"take it to {high.text} % or less, or ask the supplier",
                material.id,
            )
        elif percent < low.value:
            yield Finding(
                NOTE,
                where_of(places),
                "use-level",
                f"{places[0].words}: {figure(percent)} % in all, {figure(low.value - percent)} below the {low.text} to {high.text} % of its record: it may do little",
                source,
                f"take it to {low.text} % or more, or leave it if it does what you want",
                material.id,
            )
    if blank:
        yield NotChecked(f"use level of {listed(blank)}", "no use_level in its record; it stands on the supplier's sheet")


def _source(record: object) -> str:
    source = record.get("source") if isinstance(record, dict) else None
    return f": {source}" if isinstance(source, str) and source else ""


def check_house(case: Case) -> Outcome:
    """The formulary's own limits, by material, substance or function."""
    if not case.basis.house:
        yield NotChecked("house limits", "formulary.toml has no [[house]] rule", whole=True)
        return
    if not case.uses:
        yield unless_used("house limits")
        return
    for rule in case.basis.house:
        if rule.use and rule.use not in case.uses:
            continue
        share, parts = _amount(case, rule)
        if not parts:
            continue
        where = where_of(parts)
        source = "house limit of this formulary" + (f": {rule.because}" if rule.because else "")
        use = f" in {rule.use} products" if rule.use else ""
        if share.nominal is None and rule.high and share.high > rule.high.value >= share.low:
            yield NotChecked(
                f"house limit of {rule.name}", f"how much there is of it is unknown, from {figure(share.low)} to {figure(share.high)} %"
            )
        elif rule.high and share.high > rule.high.value:
            over = f"{figure(share.high)} %, {figure(share.high - rule.high.value)} above the {rule.high.text} % of the house{use}"
            yield Finding(
                STOP,
                where,
                "house",
                f"{rule.name}: {over}",
                source,
                f"take it to {rule.high.text} % or less, or change the rule",
                rule.name,
            )
        if rule.low and share.low < rule.low.value:
            under = f"{figure(share.low)} %, {figure(rule.low.value - share.low)} below the {rule.low.text} % of the house{use}"
            yield Finding(
                STOP,
                where,
                "house",
                f"{rule.name}: {under}",
                source,
                f"take it to {rule.low.text} % or more, or change the rule",
                rule.name,
            )


def check_house_words(basis: Basis, ids: Collection[str], functions: Collection[str]) -> list[Finding]:
    """House limits that name nothing there is, and so bind nothing. ids: of materials and formulas; functions: of all records."""
    out = []
    known = {"material": ids, "function": [*FUNCTIONS, PREMIX, *functions]}
    for number, rule in enumerate(basis.house, 1):
        if rule.binds == "substance":
            if name_is_known(rule.name) or inci_key(rule.name) in basis.names:
                continue
            near = list(names_like(rule.name))
        else:
            if rule.name.casefold() in {k.casefold() for k in known[rule.binds]}:
                continue
            near = nearest(rule.name, known[rule.binds], 2)
        mend = f"did you mean {' or '.join(near)}?" if near else "write it as the records do"
        message = f'the house limit of the {rule.binds} "{rule.name}" binds nothing: no record has that name'
        out.append(Finding(CAUTION, f"formulary.toml, house[{number}]", "house-name", message, "house limits of this formulary", mend))
    return out


def _amount(case: Case, rule: HouseRule) -> tuple[Share, list[Part]]:
    """How much of what a house rule binds is in the product, and where it stands."""
    if rule.binds == "substance":
        contents = case.contents.of(rule.name)
        return total(contents), [c.part for c in contents]
    if rule.binds == "material":  # also a formula that stands in this one
        parts = [p for p in case.parts if rule.name in (p.id, p.amount.line.material)]
    else:
        parts = [p for p in case.parts if p.material and p.material.does(rule.name)]
    return certain(sum((p.percent for p in parts), Fraction(ZERO))), parts
