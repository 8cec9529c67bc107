"""Checks of levels: the suppliers' use levels, and the formulary's own limits."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from fvc.amounts import figure
from fvc.composition import Part
from fvc.formula import PREMIX
from fvc.material import FUNCTIONS, NOTHING, Share, certain, inci_key
from fvc.names import nearest
from fvc.reference.lookup import name_is_known, names_like
from fvc.rules.basis import Basis, HouseRule
from fvc.rules.case import Case, Outcome, listed, percent_by_material, unless_used, where_of
from fvc.rules.finding import CAUTION, NOTE, STOP, Finding, NotChecked


def check_use_levels(case: Case) -> Outcome:
    """Every raw material is within the use level of its supplier, summed over all lines and premixes."""
    if not case.uses:
        yield unless_used(case, "suppliers' use levels")
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
                case.way_out(f"take it to {high.text} % or less, or ask the supplier"),
                material.id,
            )
        elif percent < low.value:
            yield Finding(
                NOTE,
                where_of(places),
                "use-level",
                f"{places[0].words}: {figure(percent)} % in all, {figure(low.value - percent)} below the {low.text} to {high.text} % of its record: it may do little",
                source,
                case.way_out(f"take it to {low.text} % or more, or leave it if it does what you want"),
                material.id,
            )
    if blank:
        yield NotChecked(f"use level of {listed(blank)}", "no use_level recorded; it stands on the supplier's sheet")


def _source(record: object) -> str:
    source = record.get("source") if isinstance(record, dict) else None
    return f": {source}" if isinstance(source, str) and source else ""


def check_house(case: Case) -> Outcome:
    """The formulary's own limits, by material, substance or function."""
    if not case.basis.house:
        yield NotChecked("house limits", "formulary.toml has no [[house]] rule", whole=True)
        return
    if not case.uses:
        yield unless_used(case, "house limits")
        return
    for rule in case.basis.house:
        if rule.use and rule.use not in case.uses:
            continue
        shares, parts = _amounts(case, rule)
        share = _sum(shares)
        if not parts:
            continue
        where = where_of(parts)
        source = "house limit of this formulary" + (f": {rule.because}" if rule.because else "")
        use = f" in {rule.use} products" if rule.use else ""
        known = _sum(p for p in shares if p.nominal is not None)
        above = rule.high is not None and share.high > rule.high.value
        below = rule.low is not None and share.low < rule.low.value <= share.high
        if share.nominal is None and (above or below):
            why = f"how much there is of it is unknown, from {figure(share.low)} to {figure(share.high)} %"
            yield NotChecked(f"house limit of {rule.name}", why)
        about = f"{rule.binds} {rule.name} {rule.use} {rule.low} {rule.high}"
        if rule.high and known.high > rule.high.value:
            over = f"{figure(known.high)} %, {figure(known.high - rule.high.value)} above the {rule.high.text} % of the house{use}"
            mend = case.way_out(f"take it to {rule.high.text} % or less, or change the rule")
            yield Finding(STOP, where, "house", f"{rule.name}: {over}", source, mend, about)
        surely = share.low if share.nominal is not None else share.high
        if rule.low and surely < rule.low.value:
            under = f"{figure(surely)} %, {figure(rule.low.value - surely)} below the {rule.low.text} % of the house{use}"
            mend = case.way_out(f"take it to {rule.low.text} % or more, or change the rule")
            yield Finding(STOP, where, "house", f"{rule.name}: {under}", source, mend, about)
    undeclared = [p for p in case.parts if p.material and p.material.composition is None]
    if undeclared and any(rule.binds == "substance" for rule in case.basis.house):
        yield NotChecked(
            f"house limits of what is in {listed(undeclared)}", "no composition is declared; take it from the supplier's sheet"
        )


def _sum(shares: Iterable[Share]) -> Share:
    return sum(shares, NOTHING)


def check_house_words(basis: Basis, ids: Collection[str], functions: Collection[str]) -> list[Finding]:
    """House limits that name nothing there is, and so bind nothing. ids: of materials and formulas; functions: of all records."""
    out = []
    known = {"material": ids, "function": [*FUNCTIONS, PREMIX, *functions]}
    for rule in basis.house:
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
        out.append(Finding(CAUTION, rule.place, "house-name", message, "house limits of this formulary", mend))
    return out


def _amounts(case: Case, rule: HouseRule) -> tuple[list[Share], list[Part]]:
    """How much of what a house rule binds is in the product, piece by piece, and where it stands."""
    if rule.binds == "substance":
        contents = case.contents.of(rule.name)
        return [c.share for c in contents], [c.part for c in contents]
    if rule.binds == "material":  # also a formula that stands in this one, however deep
        parts = [p for p in case.parts if rule.name == p.id or rule.name in p.through]
    elif rule.name.casefold() == PREMIX:
        parts = [p for p in case.parts if p.through]
    else:
        parts = [p for p in case.parts if p.material and p.material.does(rule.name)]
    return [certain(p.percent) for p in parts], parts
