"""Checks of preservation: whether there is a preservative where there is water, and whether it works at the pH of the spec.

What is judged at the pH that is estimated stands in `estimates.py`.

None of them tells that a product keeps: that takes a challenge test, which no calculation replaces.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, figure, fixed
from fvc.composition import ADDED, Part, parts_of
from fvc.contents import DECLARED, Content
from fvc.reference.lookup import known, limits_of
from fvc.reference.osmotic import GROWTH
from fvc.reference.substances import Known
from fvc.rules.basis import EU
from fvc.rules.case import Case, Outcome, listed, unless_used, where_of
from fvc.rules.finding import CAUTION, NOTE, STOP, Finding, NotChecked
from fvc.rules.limits import factor
from fvc.science import water_activity
from fvc.science.oils import is_oil
from fvc.science.ph import model
from fvc.science.preservation import INSIDE, OUTSIDE, PRACTICE, TRACE, AtPh, PhRange, free_form, range_of, undissociated
from fvc.science.properties import at_ph, leaning, ph_of

MEANT = Fraction(10)  # percent of a raw material from which a preserving substance in it is no mere aid of its own
LITTLE = Fraction(1, 10)  # percent of the product, of preservatives of which only their records tell
TENTH = Fraction(1, 10)  # of what the law allows, from which a preservative may be there to preserve
MUCH_ALCOHOL = Fraction(20)  # percent of ethanol from which a product is often taken to keep by itself


class Preserving(NamedTuple):
    """A preserving substance in the product: what is known of it, how much, and what brings it."""

    substance: Known
    percent: Fraction
    part: Part


def preserving(case: Case) -> list[Preserving]:
    """Substances that preserve, of which there is more than a trace, by what brings most of each."""
    found = []
    for contents in case.contents.by_key.values():
        substance = known(contents[0].inci)
        declared = [c for c in contents if c.how == DECLARED]
        if substance is None or "preservative" not in substance.functions[:1] or not declared:
            continue
        percent = sum((c.share.nominal if c.share.nominal is not None else c.share.low for c in declared), ZERO)
        if percent >= TRACE:
            found.append(Preserving(substance, percent, max(declared, key=lambda c: c.share.high).part))
    return found


def _is_much_of(each: Preserving) -> bool:
    """True when a preserving substance is a good part of what brings it, so that it may be there to preserve the product."""
    material = each.part.material
    shares = (material.composition or {}).items() if material else ()
    return any(share.high >= MEANT for inci, share in shares if known(inci) is each.substance)


def _undeclared(case: Case) -> list[Part]:
    return [p for p in case.parts if p.material is None or p.material.water.nominal is None]


def _of_most(content: Content, percent: Fraction) -> Fraction | None:
    """What part an amount is of the most that the law allows of this preservative; None for what is none that the law lists."""
    parts = [
        percent * (factor(limit, content) or 1) / min(allowed)
        for limit in limits_of(content.inci)
        if limit.for_preservatives and (allowed := [most for text in limit.most.values() if (most := Fraction(text))])
    ]
    return max(parts, default=None)


def _enough(case: Case, named: Sequence[Part]) -> Outcome:
    """There is enough of what preserves: a tenth of what the law allows, all together; where only the record can tell, 0.1 %."""
    sure = possible = ZERO
    amounts: dict[str, Fraction] = {}
    known_in, vague = set(), []
    for content in (c for contents in case.contents.by_key.values() for c in contents):
        if content.how != DECLARED or content.part not in named:
            continue
        least = content.share.nominal if content.share.nominal is not None else content.share.low
        part = _of_most(content, least)
        if part is None:
            continue
        known_in.add(content.part.id)
        amounts[content.inci] = amounts.get(content.inci, ZERO) + least
        sure += part
        possible += _of_most(content, content.share.high) or ZERO
        vague += [content.part] if content.share.nominal is None else []
    by_record = [p for p in named if p.id not in known_in and p.material and p.material.ph_range]
    if sure >= TENTH or sum((p.percent for p in by_record), ZERO) >= LITTLE:
        return
    silent = [p for p in named if p.id not in known_in and p not in by_record]
    if silent:
        why = (
            "nothing in it is a preservative that fvc knows, and its record has no ph_range; ask the supplier at what level and pH it works"
        )
        yield NotChecked(f"whether {listed(silent)} preserves it", why, whole=True)
    elif vague and possible >= TENTH:
        yield NotChecked(
            f"whether {listed(vague)} preserves it", "its record does not say how much of the preservative is in it", whole=True
        )
    else:
        little = [f"{figure(percent)} % {inci}" for inci, percent in amounts.items()]
        little += [f"{figure(p.percent)} % of {p.words}" for p in by_record]
        measure = "less than a tenth of what the law allows, and " if amounts else ""
        yield Finding(
            CAUTION,
            where_of(named),
            "preservative",
            f"only {', '.join(little)}: {measure}hardly any preservative works at so little",
            PRACTICE,
            "look up the level on the supplier's sheet; a challenge test shows whether it is enough",
        )


DRIEST = Fraction(6, 10)  # water activity below which nothing is known to grow
LEAN = Fraction(1, 4)  # of what is not oil, the share of water below which the models of water activity end
NO_PRODUCT = (2, 12)  # pH beyond which no product for skin or hair stands; common practice


def _perhaps_nothing_grows(case: Case) -> str:
    """Why it is not known whether anything grows in a plan without preservative: dry as it is, or at such a pH; "" where it is known."""
    found = water_activity.estimate(case.reading)
    if found.value is not None and found.value < DRIEST:
        low, high = (fixed(end or ZERO, 2) for end in (found.low, found.high))
        about = f"its water activity is about {fixed(found.value, 2)} ({low} to {high})"
        return f"{about}, and below {fixed(DRIEST, 2)} nothing is known to grow ({GROWTH.words})"
    oil = sum((p.percent for p in case.parts if is_oil(p)), ZERO)
    if found.value is None and case.composition.water.high < LEAN * (HUNDRED - oil):
        return f"its water activity has no estimate, {found.declined}"
    by_model, read = model(case.reading), ph_of(case.reading, case.own).value
    # where something that is not counted decides, such as a carbomer beside its lye, the balance says nothing
    holds = by_model.balance is not None and not by_model.lacks
    ph = float(read) if read is not None else by_model.ph if holds else 7.0
    if not NO_PRODUCT[0] <= ph <= NO_PRODUCT[1]:
        side = f"below {NO_PRODUCT[0]}" if ph < NO_PRODUCT[0] else f"above {NO_PRODUCT[1]}"
        return f"its pH comes out {side}, where no product for skin or hair stands"
    return ""


def check_present(case: Case) -> Outcome:
    """A product with water has a preservative."""
    if not case.uses:
        yield unless_used(case, "whether it is preserved")
        return
    if not case.watery:
        if case.maybe_watery:
            why = f"nobody declared what is in {listed(_undeclared(case))}, which may hold up to {figure(case.composition.water.high)} % water"
            yield NotChecked("whether it needs a preservative", why, whole=True)
        return
    unread = [p for p in case.parts if p.material is None]
    if unread:
        yield NotChecked("whether it is preserved", f"the record of {listed(unread)} is missing or cannot be read", whole=True)
        return
    named = [p for p in case.all_parts if p.material and p.material.does("preservative")]
    if named:
        if all(p.amount.percent is not None for p in named):
            yield from _enough(case, named)
        return
    water = figure(case.composition.water.high)
    found = preserving(case)
    meant = [p for p in found if _is_much_of(p)]
    if found and not meant:
        what = ", ".join(f"{figure(p.percent)} % {p.substance.inci}" for p in found)
        yield Finding(
            CAUTION,
            where_of(p.part for p in found),
            "preservative",
            f"up to {water} % water and no preservative of its own, only what {listed(p.part for p in found)} carries in for itself: {what}",
            PRACTICE,
            "add a preservative that works at the pH of the product; what an extract needs to keep is seldom enough for the product",
        )
        return
    if found:
        what = ", ".join(f"{figure(p.percent)} % {p.substance.inci}" for p in found)
        yield Finding(
            NOTE,
            where_of(p.part for p in found),
            "preservative",
            f"no raw material is recorded as a preservative, but there is {what}",
            PRACTICE,
            'if that is what preserves it, add  "preservative"  to the functions of its record',
        )
        return
    alcohol = case.ethanol
    boosters = [p for p in case.parts if p.material and p.material.does("booster")]
    if alcohol >= MUCH_ALCOHOL:
        yield Finding(
            NOTE,
            "the whole plan",
            "preservative",
            f"no preservative, {figure(alcohol)} % ethanol: that much often keeps a product, which only a test can show",
            PRACTICE,
        )
        return
    more = f"; {listed(boosters)} alone is a booster, not a preservative" if boosters else ""
    if why := _perhaps_nothing_grows(case):
        words = f"up to {water} % water and no preservative{more}; whether anything grows in it is not known: {why}"
        yield Finding(CAUTION, "the whole plan", "preservative", words, PRACTICE, "a laboratory tells whether anything grows in it")
        return
    yield Finding(
        STOP,
        "the whole plan",
        "preservative",
        f"up to {water} % water and no preservative{more}: bacteria and moulds grow in it within days",
        PRACTICE,
        "add a preservative that works at the pH of the product; a product without one is not for use",
    )


def check_ph(case: Case) -> Outcome:
    """What preserves it works at the pH of the spec."""
    if not case.uses:
        yield unless_used(case, "whether the preservatives work at its pH")
        return
    named = [p for p in case.parts if p.material and p.material.does("preservative")]
    blank = [p for p in named if p.material and p.material.composition is None and p.material.ph_range is None]
    if blank:
        yield NotChecked(f"the pH at which {listed(blank)} works", "no composition and no ph_range in its record")
    judged = _ranges(case, named)
    silent = [p for p in named if p not in blank and p.id not in {part.id for _, _, part, _ in judged}]
    if silent:
        yield NotChecked(f"the pH at which {listed(silent)} works", "no ph_range in its record, and none in fvc")
    if not judged:
        return
    if case.ph is None:
        at = at_estimate(case)
        if at is not None and (at.value is not None or any(each[1].fits(at.low, at.high) == OUTSIDE for each in judged)):
            return  # the estimate tells it
        yield NotChecked(
            "whether the preservatives work at the pH of the product",
            "the plan has no pH in its spec; add  ph = [low, high]  under [spec]",
            whole=True,
        )
        return
    low, high = case.ph
    unusable = [each for each in judged if each[1].fits(low, high) != INSIDE]
    for name, (first, last, source), part, substance in unusable:
        none_left = len(unusable) == len(judged) and not blank and not silent
        yield Finding(
            STOP if none_left else CAUTION,
            where_of([part]),
            "preservative-ph",
            f"{name} is in use from pH {figure(first)} to {figure(last)}, and the spec is pH {figure(low)} to {figure(high)}{_share_left(substance, high)}"
            + ("; nothing else preserves it there" if none_left else ""),
            source,
            f"bring the spec within pH {figure(first)} to {figure(last)}, or choose a preservative for this pH",
        )


def waits_for_acid(case: Case) -> list[Part]:
    """Open lines without a level to expect that are to set the pH at the bench, or of which nobody knows what they are."""
    waits = [p for p in case.all_parts if p.amount.percent is None]
    return [p for p in waits if p.material is None or p.material.does("pH adjuster") or is_acid(p)]


def at_estimate(case: Case) -> AtPh | None:
    """The pH that preservatives are judged at by an estimate; without a value where it only leans to one side.

    None where there is no estimate, too little water for one, a record that cannot be read, or an acid that waits for its level.
    """
    if not case.watery or waits_for_acid(case) or any(p.material is None for p in case.parts):
        return None
    lean, at = leaning(case.reading, case.own), at_ph(case.reading, case.own)
    return lean or (at if at is not None and at.value is not None else None)


def check_listed(case: Case) -> Outcome:
    """Under EU rules, what preserves is on the list of preservatives that may."""
    if EU not in case.rules:
        return
    for part in case.parts:
        material = part.material
        if material is None or not material.does("preservative") or not material.composition:
            continue
        names = [inci for inci in material.composition if any(limit.for_preservatives for limit in limits_of(inci))]
        if not names:
            yield Finding(
                CAUTION,
                where_of([part]),
                "preservative-listed",
                f"nothing in {part.words} is a preservative that the law lists, as far as fvc knows ({', '.join(material.composition)})",
                "Regulation (EC) No 1223/2009, Annex V: only listed substances may preserve",
                "ask the supplier under which entry it preserves; if it only helps others to, its function is  booster",
            )


def _ranges(case: Case, named: list[Part]) -> list[tuple[str, PhRange, Part, Known | None]]:
    """What preserves, the pH it is used at and who says so; the maker's own record wins."""
    by_record: set[str] = set()
    out: list[tuple[str, PhRange, Part, Known | None]] = []
    for part in named:
        if part.id not in by_record and (found := range_of(part.material, None)):
            by_record.add(part.id)
            out.append((part.words, found, part, None))
    for each in preserving(case):
        if each.part.id in by_record or (named and each.part.material and not each.part.material.does("preservative")):
            continue
        if found := range_of(None, each.substance):
            out.append((each.substance.inci, found, each.part, each.substance))
    return out


def _share_left(substance: Known | None, ph: Fraction) -> str:
    """How much of a preserving acid is undissociated, the form that works."""
    free = free_form(substance.inci) if substance else None
    if free is None or len(free[0].pka) != 1:
        return ""
    share = fixed(Fraction(100 * undissociated(float(ph), float(free[0].pka[0]))), 1)
    return f" (at pH {figure(ph)} {share} % of {free[0].inci.lower()} is undissociated, the form that works)"


def is_acid(part: Part) -> bool:
    """True for a raw material that is weighed in as an acid: it is one for a good part, or a pH adjuster that holds one."""
    material = part.material
    if material is None:
        return False
    for inci, share in (material.composition or {}).items():
        if share.high < MEANT and not material.does("pH adjuster"):
            continue
        substance = known(inci)
        if (
            substance
            and substance.pka
            and substance.acid is None
            and "pH adjuster" in substance.functions
            and Fraction(substance.pka[0]) < 6
        ):
            return True
    return False


def _line_or_part(part: Part, other: Part) -> str:
    """The line to move; within one premix the material in it."""
    return part.words if part.amount is other.amount else part.amount.line.material


CRYSTALLISING = ("Benzoic Acid", "Sorbic Acid")


def check_acid_order(case: Case) -> Outcome:
    """Benzoate and sorbate go in before the acid: into an acid water they fall out as crystals of their acid."""
    parts = parts_of(case.reading, ADDED)  # of a batch as made: as it went in
    acids = [i for i, part in enumerate(parts) if is_acid(part)]
    if not acids:
        return
    first = acids[0]
    for index, part in enumerate(parts):
        if index <= first or part.material is None:
            continue
        for inci, share in (part.material.composition or {}).items():
            substance = known(inci)
            if substance is None or substance.acid is None or substance.acid[0] not in CRYSTALLISING:
                continue
            if share.high * part.percent / 100 >= TRACE:
                acid = parts[first]
                yield Finding(
                    NOTE,
                    where_of([part]),
                    "acid-first",
                    f"{inci} goes in after {acid.words}: {substance.acid[0].lower()} may fall out as crystals where it meets the acid",
                    PRACTICE,
                    f"put {_line_or_part(part, acid)} before {_line_or_part(acid, part)}, well stirred in and diluted",
                )


__all__ = ["PRACTICE", "check_acid_order", "check_listed", "check_ph", "check_present", "is_acid", "preserving"]
