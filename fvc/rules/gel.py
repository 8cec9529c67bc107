"""Check of a gel that salt thins: an electrolyte together with an acrylic polymer."""

from __future__ import annotations

import re
from fractions import Fraction

from fvc.amounts import ZERO, figure
from fvc.material import inci_key
from fvc.reference.lookup import known
from fvc.rules.case import Case, Outcome, listed, where_of
from fvc.rules.finding import CAUTION, THE_PRODUCT, Finding, NotChecked
from fvc.science.preservation import PRACTICE

# Acrylic thickeners hold water by the charges along their chains, which salt screens; gums and cellulose ethers bear it better.
_GELS = re.compile(r"carbomer|(?<!polymethyl meth)acrylate|acryloyl", re.IGNORECASE)
_CATION = re.compile(
    r"((mono|di|tri|tetra|penta)?(sodium|potassium|ammonium)|lithium|magnesium|calcium|zinc|copper|alumin(i)?um) |(mea|dea|tea)-",
    re.IGNORECASE,
)
_NO_SALT = re.compile(r"hydroxide|hyaluronate|alginate|oxide|stearate|silicate|carbonate", re.IGNORECASE)
THICK = ("thickener", "film former")
ENOUGH = Fraction(1, 10)  # percent of salt in the product, from memory of how such gels behave; a little is always there


def check_gel(case: Case) -> Outcome:
    """No electrolyte in a gel of an acrylic polymer: salt thins it."""
    gels = {inci: share for inci, share, _ in _declared(case) if _GELS.search(inci) and share}
    salts = {inci: (share, sure) for inci, share, sure in _declared(case) if is_electrolyte(inci) and share}
    whole = sum((share for share, _ in salts.values()), ZERO)
    blank = [p for p in case.parts if p.material is None or p.material.composition is None]
    if gels and blank:
        yield NotChecked(f"salt from {listed(blank)} in a gel of {', '.join(gels)}", "no composition in its record")
    thick = [p for p in blank if p.material is not None and p.material.does(*THICK)]
    if not gels and thick and whole >= ENOUGH:
        yield NotChecked(f"whether {', '.join(salts)} thins {listed(thick)}", "no composition in its record")
    if not gels or whole < ENOUGH:
        return
    names = {inci_key(n) for n in (*salts, *gels)}
    parts = [p for p in case.parts if p.material and any(inci_key(n) in names for n in p.material.composition or ())]
    most = "" if all(sure for _, sure in salts.values()) else "up to "
    yield Finding(
        CAUTION,
        where_of(parts),
        "salt-in-gel",
        f"{most}{figure(whole)} % of electrolyte ({', '.join(salts)}) in a gel of {', '.join(gels)}: salt thins it, and it may turn watery",
        PRACTICE,
        case.way_out("take less salt or a non-ionic one in its place, or thicken with a gum or a cellulose ether; look again after a day"),
        THE_PRODUCT,
    )


def _declared(case: Case) -> list[tuple[str, Fraction, bool]]:
    """Every INCI name that a record declares, its percent of the product, and whether that is known; else it is the upper end."""
    return [
        (s.inci, s.share.high if s.share.nominal is None else s.share.nominal, s.share.nominal is not None)
        for s in case.composition.substances
    ]


def is_electrolyte(inci: str) -> bool:
    """True for a salt that dissolves into ions: one that the table of substances knows as such, or by its name."""
    if not _CATION.match(inci):  # esters of an acid, such as the parabens, have that acid in the table too
        return False
    entry = known(inci)
    return (entry is not None and entry.acid is not None) or not (_GELS.search(inci) or _NO_SALT.search(inci))
