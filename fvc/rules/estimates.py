"""Checks against what is estimated: the pH and the spec, preservatives at that pH, and whether the oil is carried.

Estimates are from published chemistry and from the maker's own readings; what they find is a caution or a note, never a stop.
"""

from __future__ import annotations

from fractions import Fraction

from fvc.amounts import figure, fixed
from fvc.composition import parts_of
from fvc.reference.hlb import GRIFFIN
from fvc.reference.solubility import SOLUBILITY
from fvc.rules.case import Case, Outcome, listed, where_of
from fvc.rules.finding import CAUTION, NOTE, Finding, NotChecked
from fvc.rules.preservation import at_estimate
from fvc.science import emulsifying, preservation, solubilising
from fvc.science.estimate import Estimate
from fvc.science.ph import UNBUFFERED
from fvc.science.preservation import AtPh, PhRange, Working
from fvc.science.properties import leaning, moved_of, ph_of

THE_PLAN = "the whole plan"
MODEL = "balance of charges with published constants, 25 °C (fvc workings NAME ph)"
TO_THE_SPEC = "fvc ph NAME --to … --with …  says how much of an acid or base brings it there; then read it"
LESS = "take less of it, or a higher pH, and look at it after a week in the fridge; solvents, oil and micelles hold more"
TO_THE_RANGE = "bring it within that (fvc ph NAME --to … --with …), or choose a preservative for this pH"
CHALLENGE = "a challenge test by a laboratory shows whether it keeps; no calculation does"
APART = Fraction(2)  # units of HLB between what there is and what the oil asks for, beyond both bands: worth a look; common practice


def _source(case: Case) -> str:
    moved = moved_of(case.reading, case.own)
    return f"{MODEL}, from the reading of {moved.anchor.trial}" if moved else MODEL


def _words(estimate: Estimate) -> str:
    """`about 5.31 (5.20 to 5.42)`."""
    value, low, high = (fixed(v or Fraction(0), estimate.decimals) for v in (estimate.value, estimate.low, estimate.high))
    return f"about {value} ({low} to {high})"


def check_estimated_ph(case: Case) -> Outcome:
    """The pH that is estimated lies in the spec."""
    if case.ph is None or not case.watery:
        return
    waits = [p for p in case.all_parts if p.amount.percent is None]
    unread = [p for p in case.parts if p.material is None]
    if waits or unread:
        why = (
            f"{waits[0].words} is open, with nothing to expect" if waits else f"the record of {listed(unread)} is missing or cannot be read"
        )
        yield NotChecked("whether the pH comes out within the spec", why, whole=True)
        return
    estimate = ph_of(case.reading, case.own)
    low, high = case.ph
    missing = [left.partition(":")[0] for left in estimate.not_counted]
    aside = f"; not counted: {', '.join(missing)}" if missing else ""
    at = leaning(case.reading, case.own)
    if at is not None and (high < at.low or low > at.high):
        yield Finding(
            NOTE if missing else CAUTION,
            THE_PLAN,
            "ph-estimate",
            f"nothing in it holds the pH, which leans {at.how} ({UNBUFFERED}), and the spec is {figure(low)} to {figure(high)}{aside}",
            MODEL,
            TO_THE_SPEC,
        )
        return
    if estimate.value is None or estimate.low is None or estimate.high is None:
        why = estimate.declined + (f"; {estimate.instead}" if estimate.instead else "")
        yield NotChecked("whether the pH comes out within the spec", why, whole=True)
        return
    if low <= estimate.low and estimate.high <= high:
        return
    outside = estimate.high < low or estimate.low > high
    way = "up" if estimate.value < low else "down"
    yield Finding(
        CAUTION if outside and (not missing or moved_of(case.reading, case.own)) else NOTE,
        THE_PLAN,
        "ph-estimate",
        f"the pH comes out at {_words(estimate)}, and the spec is {figure(low)} to {figure(high)}{aside}",
        _source(case),
        f"read it; fvc ph NAME --to … --with … says what brings it {way}" if outside else "read it with the meter when it is made",
    )


def check_preserved_at_ph(case: Case) -> Outcome:
    """Each preservative is at the estimated pH within the range that it is in common use at, and its acid stays dissolved."""
    at = at_estimate(case)
    if not case.uses or at is None:
        return
    for each in preservation.working(case.reading, at):
        where = where_of(b.part for b in each.brought)
        outside = each.fits == preservation.OUTSIDE
        if each.ph_range and (outside or (each.fits == preservation.PARTLY and at.value is not None)):
            words = _at(each, each.ph_range, at)
            mend = f"{TO_THE_RANGE}; {CHALLENGE}" if outside else CHALLENGE
            yield Finding(CAUTION if outside else NOTE, where, "preservative-at-ph", words, _source(case), mend)
        if each.crystals and each.concentration:
            words = (
                f"{preservation.said(each.concentration)} % of undissociated {each.name.lower()} is {each.crystals}: crystals may fall out"
            )
            yield Finding(CAUTION, where, "crystals", words, SOLUBILITY[each.name].source.words, LESS)


def _at(each: Working, used: PhRange, at: AtPh) -> str:
    """A preservative beside the pH, and how much of it is in the form that works."""
    share, works = each.undissociated, "of it is undissociated, the form that works"
    if at.value is None:
        there = f"nothing in it holds the pH, which leans {at.how}"
        left = f": there it hardly works, at most {fixed(share.high, 1)} % {works}" if share else ""
    else:
        there = f"the pH comes out at about {fixed(at.value, 2)} ({fixed(at.low, 2)} to {fixed(at.high, 2)})"
        left = f"; {_some(share.nominal)} % {works}" if share and share.nominal is not None else ""
    return f"{each.name} is in use from pH {figure(used.low)} to {figure(used.high)}, and {there}{left}"


def _some(percent: Fraction) -> str:
    return fixed(percent, 1) if percent >= Fraction(1, 20) else "less than 0.1"


def check_antagonisms(case: Case) -> Outcome:
    """Published antagonisms between the preservatives and what else is in it."""
    if not case.uses or not case.watery:
        return
    for note in preservation.antagonisms(case.reading):
        yield Finding(NOTE, THE_PLAN, "antagonism", note.words, note.source, "a challenge test shows whether what stays free is enough")


def check_oil_carried(case: Case) -> Outcome:
    """There is enough solubiliser for the oil, by the maker's own batches; the rule of thumb where there are none."""
    for pair in solubilising.pairs_of(case.reading):
        learned = solubilising.lesson(pair, case.own.seen)
        where = where_of((*pair.solubilisers, *pair.oils))
        if learned.short or learned.mixed:
            yield Finding(
                CAUTION if learned.short else NOTE,
                where,
                "solubiliser",
                f"{pair.words}: {learned.short or learned.mixed}",
                "own batches, by what was seen of their clarity",
                case.way_out("raise the ratio, or try it and look again after two days"),
            )
        elif not learned.found and pair.ratio < 1:
            yield Finding(
                NOTE,
                where,
                "solubiliser",
                f"{pair.words}: {fixed(pair.ratio, 1)} to 1, less solubiliser than oil, which seldom comes out clear",
                "common practice, no published source",
                "try it first; oils differ",
            )


def check_hlb(case: Case) -> Outcome:
    """The HLB of non-ionic emulsifiers meets what the oil asks for."""
    if not case.watery or any(True for _ in solubilising.pairs_of(case.reading)):
        return
    has, asks = emulsifying.blend(case.reading), emulsifying.required(case.reading)
    if has.value is None or asks.value is None or emulsifying.charged(case.reading):
        return
    if abs(has.value - asks.value) >= APART and ((has.high or 0) < (asks.low or 0) or (has.low or 0) > (asks.high or 0)):
        yield Finding(
            NOTE,
            where_of(p for p in parts_of(case.reading) if p.material and p.material.does("emulsifier")),
            "hlb",
            f"the emulsifiers have an HLB of {_words(has)}, and the oil asks for {_words(asks)}",
            GRIFFIN.words,
            "fvc workings NAME hlb  gives the split; a place to start, since polymers and waxes hold emulsions too",
        )
