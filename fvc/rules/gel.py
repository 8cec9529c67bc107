"""Check of a gel that salt thins: an electrolyte together with an acrylic polymer."""

from __future__ import annotations

import re
from fractions import Fraction

from fvc.amounts import ZERO, figure
from fvc.material import inci_key
from fvc.reference.lookup import known
from fvc.rules.case import Case, Outcome, where_of
from fvc.rules.finding import CAUTION, Finding
from fvc.rules.preservation import PRACTICE

# Acrylic thickeners hold water by the charges along their chains, which salt screens; gums and cellulose ethers bear it better.
_GELS = re.compile(r"carbomer|acrylate|acryloyl", re.IGNORECASE)
_METAL = re.compile(
    r"(disodium|trisodium|tetrasodium|sodium|potassium|magnesium|calcium|zinc|ammonium|tripotassium|aluminum) ", re.IGNORECASE
)
_NO_SALT = re.compile(r"hydroxide|hyaluronate|alginate|oxide|stearate|silicate|carbonate", re.IGNORECASE)
ENOUGH = Fraction(1, 10)  # percent of salt in the product, from memory of how such gels behave; a little is always there


def check_gel(case: Case) -> Outcome:
    """No electrolyte in a gel of an acrylic polymer: salt thins it."""
    gels = [(inci, share) for inci, share in _declared(case) if _GELS.search(inci) and share]
    if not gels:
        return
    salts: dict[str, Fraction] = {}
    for inci, share in _declared(case):
        if is_electrolyte(inci):
            salts[inci] = salts.get(inci, ZERO) + share
    whole = sum(salts.values(), ZERO)
    if whole < ENOUGH:
        return
    names = {inci_key(n) for n in (*salts, *(inci for inci, _ in gels))}
    parts = [p for p in case.parts if p.material and any(inci_key(n) in names for n in p.material.composition or ())]
    polymer = ", ".join(dict.fromkeys(inci for inci, _ in gels))
    yield Finding(
        CAUTION,
        where_of(parts),
        "salt-in-gel",
        f"{figure(whole)} % of electrolyte ({', '.join(salts)}) in a gel of {polymer}: salt thins it, and it may turn watery",
        PRACTICE,
        "take less salt or a non-ionic one in its place, or thicken with a gum or a cellulose ether; look again after a day",
    )


def _declared(case: Case) -> list[tuple[str, Fraction]]:
    """Every INCI name that a record declares, with its percent of the product (the upper end where the share is not known)."""
    found = []
    for substance in case.composition.substances:
        share = substance.share.nominal if substance.share.nominal is not None else substance.share.high
        found.append((substance.inci, share))
    return found


def is_electrolyte(inci: str) -> bool:
    """True for a salt that dissolves into ions: one that the table of substances knows as such, or by its name."""
    entry = known(inci)
    if entry is not None and entry.acid is not None:
        return True
    return bool(_METAL.match(inci)) and not _GELS.search(inci) and not _NO_SALT.search(inci)
