"""Checks of how it is made: oil in water, heat, charges."""

from __future__ import annotations

import re
from fractions import Fraction

from fvc.amounts import ZERO, figure
from fvc.composition import Part
from fvc.reference.lookup import known
from fvc.rules.case import Case, Outcome, degrees, listed, where_of
from fvc.rules.finding import CAUTION, NOTE, THE_PRODUCT, Finding, NotChecked
from fvc.science.oils import holds, is_oil
from fvc.science.preservation import PRACTICE

COOL = Fraction(40)  # °C, common practice: heat-sensitive lines go in below, unless the record says otherwise
SENSITIVE = ("essential oil", "fragrance", "extract", "hydrosol")
# How INCI names end: quaternary ammonium salts, and the common anionic surfactants.
_CATIONIC = re.compile(r"(onium (chloride|bromide|methosulfate|ethosulfate)|quaternium-\d+)$", re.IGNORECASE)
_ANIONIC = re.compile(
    r"((lauryl|laureth|coco|cetearyl|cetyl|myreth)[- ]sulfate|sarcosinate|taurate|isethionate|sulfosuccinate)$", re.IGNORECASE
)
# What falls out with a cationic partner is a big anion: a surfactant or a polymer, not a benzoate or a citrate.
BIG = ("surfactant", "emulsifier", "thickener", "film former", "conditioning agent", "solubiliser")
HELD_BY_ALCOHOL = Fraction(50)
HOLDS_FROM = Fraction(1, 10)  # percent of the product, all that holds together; less is a trace from elsewhere


def check_oil_held(case: Case) -> Outcome:
    """Oil in a product with water has a solubiliser or an emulsifier to hold it."""
    oils = [p for p in case.parts if is_oil(p)]
    if not oils or not case.watery:
        return
    if sum((p.percent for p in case.parts if holds(p)), ZERO) >= HOLDS_FROM:
        return
    if case.ethanol >= HELD_BY_ALCOHOL:
        return
    percent = sum((p.percent for p in oils), ZERO)
    yield Finding(
        CAUTION,
        where_of(oils),
        "oil-held",
        f"{figure(percent)} % oil ({listed(oils)}) in a product with water, with neither solubiliser nor emulsifier: it will part, and come out undiluted in places",
        PRACTICE,
        "add a solubiliser for little oil, an emulsifier for much",
        THE_PRODUCT,
    )


def check_heat(case: Case) -> Outcome:
    """Nothing stands in a phase that is heated above what its record allows, or goes in while the batch may still be that hot."""
    hottest: Fraction | None = None
    heated_in = ""
    for phase in case.reading.plan.phases:
        heat, below = degrees(phase.heat), degrees(phase.add_below)
        for part in case.parts:
            if part.amount.line.phase != phase.name or part.material is None:
                continue
            limit, source = _stands(part)
            if limit is None:
                continue
            if heat is not None and heat > limit:
                yield Finding(
                    CAUTION,
                    where_of([part]),
                    "heat",
                    f"phase {phase.name} is heated to {phase.heat}, {figure(heat - limit)} °C above the {figure(limit)} °C that {part.words} stands",
                    source,
                    "move it to a phase that goes in cool",
                )
            elif heat is None and below is not None and below > limit:
                yield Finding(
                    CAUTION,
                    where_of([part]),
                    "heat",
                    f"phase {phase.name} goes in below {phase.add_below}, and {part.words} stands {figure(limit)} °C",
                    source,
                    f"let it cool to {figure(limit)} °C first, and say so in add_below",
                )
            elif heat is None and below is None and hottest is not None and hottest > limit:
                yield Finding(
                    NOTE,
                    where_of([part]),
                    "heat",
                    f"phase {heated_in} is heated to {figure(hottest)} °C and nothing says that the batch has cooled when {part.words} goes in ({figure(limit)} °C at most)",
                    source,
                    f'add  add_below = "{figure(limit)} °C"  to phase {phase.name}',
                )
        if heat is not None and (hottest is None or heat > hottest):
            hottest, heated_in = heat, phase.name


def _stands(part: Part) -> tuple[Fraction | None, str]:
    """The heat that a material stands in °C, and who says so."""
    assert part.material is not None
    if part.material.heat_max is not None:
        return part.material.heat_max, f"heat_max in the record of {part.id}"
    if part.material.does(*SENSITIVE):
        return COOL, PRACTICE + ": heat-sensitive lines go in below about 40 °C"
    return None, ""


def check_charges(case: Case) -> Outcome:
    """No anionic material meets a cationic one: the two may fall out together or lose their effect."""
    by_charge: dict[str, list[Part]] = {}
    for part in case.parts:
        for charge in _charges(part):
            by_charge.setdefault(charge, []).append(part)
    if by_charge.get("anionic") and by_charge.get("cationic"):
        anionic, cationic = by_charge["anionic"], by_charge["cationic"]
        yield Finding(
            CAUTION,
            where_of([*anionic, *cationic]),
            "charges",
            f"anionic {listed(anionic)} with cationic {listed(cationic)}: they may fall out together, or one take the effect of the other",
            PRACTICE,
            "replace one of them by a non-ionic or amphoteric one, or try it small first",
            THE_PRODUCT,
        )
    blank = [p for p in case.parts if p.material and p.material.composition is None and not p.material.charge]
    if blank:
        yield NotChecked(f"the charge of {listed(blank)}", "neither charge nor composition in its record")


def _charges(part: Part) -> set[str]:
    """The charges that a material brings: its record's word, else those of the substances in it."""
    material = part.material
    if material is None:
        return set()
    if material.charge:
        return {material.charge}
    found = {_charge_of(inci) for inci, share in (material.composition or {}).items() if share.high}
    return found & {"anionic", "cationic"}


def _charge_of(inci: str) -> str:
    """The charge of a substance: of the table, else what the ending of its name tells."""
    substance = known(inci)
    if substance is not None and substance.charge:
        small = substance.charge == "anionic" and not any(f in BIG for f in substance.functions)
        return "" if small else substance.charge
    if _CATIONIC.search(inci):
        return "cationic"
    return "anionic" if _ANIONIC.search(inci) else ""
