"""Limits of substances by law: summed over all raw materials, salts as their acid, at the worst end of every range.

case                                                                         finding
1  even the lowest end of the ranges is above the limit                      stop
2  the worst end is above it, by figures of the maker's own records          stop
3  the worst end is above it only by typical figures of essential oils       caution, or a stop when their lowest end is (1)
4  the use is one in which the substance may not be used                     stop; caution where there may as well be none of it
5  a condition of the law that cannot be seen here                           a question: caution by use, note otherwise
6  the pH of the spec is outside what the law allows                         stop
7  how much there is of it is unknown                                        not checked
8  a salt without a molar mass                                               counted at its full weight, and said so
9  the limit is for preservatives, and no record calls what brings it one    caution, as a question
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO, figure, round_to, step_of
from fvc.composition import Part
from fvc.contents import DECLARED, TYPICAL, Content, without_figures
from fvc.material import NOTHING, Share, certain, inci_key
from fvc.reference.limits import COLOURANTS, NOT_COVERED, US_SILENCE, USES, Limit
from fvc.reference.lookup import has_colour_index, known, limits_of, salt_words
from fvc.rules.basis import EU, US
from fvc.rules.case import Case, Outcome, listed, unless_used, where_of
from fvc.rules.finding import CAUTION, NOTE, STOP, Finding, NotChecked

# Molar masses are given to two decimals, so a figure converted by them is good to four digits, and what
# counts as an acid is compared at four decimals: 0.59 % sodium benzoate is 0.5000 % as acid, at the limit and not above it.
CONVERTED_DECIMALS = 4
QUESTION = "question"  # what a finding is about that asks for a condition of the law, and says of no limit that it is exceeded


class Counted(NamedTuple):
    """What counts towards one limit: the contents, and their share as the limit counts (salts as acid)."""

    limit: Limit
    contents: tuple[Content, ...]
    share: Share
    without_mass: tuple[str, ...] = ()

    @property
    def from_oils(self) -> bool:
        """True when some of it is inside another ingredient, such as an essential oil."""
        return any(c.how != DECLARED for c in self.contents)

    @property
    def of_known(self) -> Counted:
        """The same, of an unknown share only what there is at least."""
        if self.share.nominal is not None:
            return self
        known = [c if c.share.nominal is not None else c._replace(share=certain(c.share.low)) for c in self.contents]
        share, lacking = as_counted(self.limit, known)
        return Counted(self.limit, tuple(known), share, lacking)

    @property
    def preserves(self) -> bool:
        """True when anything that brings it is there to preserve, or nobody says what it is there for."""
        materials = [c.part.material for c in self.contents if c.part.material]
        return any(m.does("preservative") or not m.functions for m in materials)

    @property
    def without_typical(self) -> Share:
        """The share without what is only typical of an essential oil."""
        own = [c for c in self.contents if c.how != TYPICAL]
        return as_counted(self.limit, own)[0]


def factor(limit: Limit, content: Content) -> Fraction | None:
    """What one gram of a content counts for; None when that needs a molar mass that is not known."""
    acid = limit.as_acid
    if not acid or inci_key(content.inci) == inci_key(acid):
        return Fraction(1)
    salt, target = known(content.inci), known(acid)
    if target is None or not target.molar_mass:
        return None
    of_acid = salt.acid if salt and salt.acid and inci_key(salt.acid[0]) == inci_key(target.inci) else salt_words(content.inci)
    count = of_acid[1] if of_acid else 1
    material = content.part.material
    own = material.molar_mass if material and _only_active(content) else None  # the maker's own record wins
    mass = own or (Fraction(salt.molar_mass) if salt and salt.molar_mass else None)
    return count * Fraction(target.molar_mass) / mass if mass else None


def _only_active(content: Content) -> bool:
    material = content.part.material
    if material is None or content.how != DECLARED:
        return False
    names = material.active or tuple(n for n in material.composition or () if inci_key(n) != "aqua")
    return [inci_key(n) for n in names] == [inci_key(content.inci)]


def as_counted(limit: Limit, contents: Sequence[Content]) -> tuple[Share, tuple[str, ...]]:
    """The sum of contents as a limit counts them, and the names that lack a molar mass (counted whole)."""
    share, lacking = NOTHING, []
    for content in contents:
        by = factor(limit, content)
        if by is None and content.how != TYPICAL:
            lacking.append(content.inci)
        share += _scaled(content.share, by or Fraction(1))
    if limit.as_acid:
        step = step_of(CONVERTED_DECIMALS)
        nominal = None if share.nominal is None else round_to(share.nominal, step)
        share = Share(nominal, round_to(share.low, step), round_to(share.high, step), share.middle)
    return share, tuple(dict.fromkeys(lacking))


def _scaled(share: Share, by: Fraction) -> Share:
    return Share(None if share.nominal is None else share.nominal * by, share.low * by, share.high * by, share.middle)


def counted(case: Case) -> Iterator[Counted]:
    """Everything in a product that counts towards a limit of the rule sets chosen."""
    found: dict[str, tuple[Limit, list[Content]]] = {}
    for contents in case.contents.by_key.values():
        for limit in limits_of(contents[0].inci):
            if limit.rules in case.rules:
                found.setdefault(limit.id, (limit, []))[1].extend(contents)
    for limit, each in found.values():
        share, lacking = as_counted(limit, each)
        if share.high:
            yield Counted(limit, tuple(each), share, lacking)


def most_for(limit: Limit, uses: Sequence[str]) -> tuple[Fraction, str] | None:
    """The lowest percent that a limit allows for these uses, and the use it is for; None when it sets none."""
    found = []
    for use in uses:
        text = limit.most.get(use, limit.most.get("", ""))
        if text:
            found.append((Fraction(text), use if use in limit.most else "any use"))
    return min(found, default=None, key=lambda each: each[0])


def check_limits(case: Case) -> Outcome:
    """Limits of substances that are added as such: preservatives, acids and the like."""
    if EU in case.rules:
        yield from _not_in_fvc(case)
    yield from _check(case, oils=False)
    if US in case.rules:
        yield NotChecked("limits of preservatives in the United States", US_SILENCE)
    unread = [p for p in case.parts if p.material is None]
    if unread:
        yield NotChecked(f"limits of what is in {listed(unread)}", "its record is missing or cannot be read")
    for part in case.parts:
        for inci, amount in (part.material.composition or {}).items() if part.material else ():
            if amount.nominal is None and amount.high and inci_key(inci) != "aqua" and not limits_of(inci):
                most = figure(amount.of(part.percent).high)
                why = f"its record does not say how much, so it may be anything up to {most} % of the product"
                yield NotChecked(f"how much {inci} {part.words} brings", why)
    undeclared = [p for p in case.parts if p.material and p.material.composition is None]
    if undeclared:
        yield NotChecked(f"limits of what is in {listed(undeclared)}", "no composition is declared; take it from the supplier's sheet")
    partly = [p for p in case.parts if p.material and p.material.composition is not None and p.material.undeclared.high > 0]
    if partly:
        yield NotChecked(f"limits of the undeclared rest of {listed(partly)}", "its composition does not add up to 100")


def _not_in_fvc(case: Case) -> Outcome:
    """What the law rules in annexes that are not among the reference data."""
    found = {what: [c.part for name in names for c in case.contents.of(name)] for what, names in NOT_COVERED}
    found[COLOURANTS] += [
        p for p in case.parts if p.material and (p.material.does("colourant") or any(map(has_colour_index, p.material.composition or ())))
    ]
    for what, parts in found.items():
        if parts:
            yield NotChecked(f"{what}: {listed(parts)}", "these limits are not in fvc; look them up in the law itself")


def check_oils(case: Case) -> Outcome:
    """Limits of what is inside other ingredients, such as restricted constituents of essential oils."""
    yield from _check(case, oils=True)
    blank: dict[str, list[Part]] = {}
    for part in case.parts:
        if part.material and (why := without_figures(part.material)):
            blank.setdefault(why, []).append(part)
    for why, parts in blank.items():
        yield NotChecked(
            f"restricted constituents and allergens in {listed(parts)}", f"{why}; ask the supplier for an analysis and an allergen list"
        )


def _check(case: Case, *, oils: bool) -> Outcome:
    if not case.uses:
        yield unless_used(case, "limits of what is inside oils and extracts" if oils else "limits of substances by use")
        return
    for each in counted(case):
        if each.from_oils == oils:
            yield from _judge(case, each)


def of_limits(case: Case) -> Outcome:
    """What both checks of limits say of the limits themselves, what is added as such first; nothing of a plan without a use."""
    for each in sorted(counted(case), key=lambda each: each.from_oils) if case.uses else ():
        yield from _judge(case, each)


def _judge(case: Case, each: Counted) -> Outcome:
    limit, share = each.limit, each.share
    places = where_of(c.part for c in each.contents)
    if each.without_mass:  # case 8; of what is only typical of an oil no record could say it
        yield NotChecked(
            f"{', '.join(each.without_mass)} as {limit.as_acid}",
            "no molar mass is known, so it is counted at its full weight; add  molar_mass = …  to its record",
        )
    found = most_for(limit, case.uses)
    if found is not None:
        most, use = found
        if share.nominal is None and share.high > most:  # case 7, whatever the known part comes to
            unknown = listed(c.part for c in each.contents if c.share.nominal is None)
            why = f"{unknown} does not say how much of it there is; anything from {figure(share.low)} to {figure(share.high)} % of the product"
            yield NotChecked(f"{limit.title}, {figure(most)} % at most", why)
        if each.of_known.share.high > most:
            yield _over(case, each.of_known, most, use, places)
    for use in ("", *case.uses):  # case 5
        if use in limit.asks:
            message = f"{limit.title}, {_amount(each)} in it: {limit.asks[use]}"
            yield Finding(CAUTION if use else NOTE, places, limit.id, message, limit.source.words, about=QUESTION)
    if limit.ph and case.ph is None:
        yield NotChecked(f"{limit.title}: pH {limit.ph[0]} to {limit.ph[1]}", "the plan has no pH in its spec")
    elif limit.ph and case.ph and not (Fraction(limit.ph[0]) <= case.ph[0] and case.ph[1] <= Fraction(limit.ph[1])):  # case 6
        yield Finding(
            STOP if limit.level == STOP else CAUTION,
            places,
            limit.id,
            f"{limit.title}: the spec, pH {figure(case.ph[0])} to {figure(case.ph[1])}, goes outside pH {limit.ph[0]} to {limit.ph[1]}",
            limit.source.words,
            "narrow the pH of the spec",
            "pH",
        )


def _amount(each: Counted) -> str:
    low, high = figure(each.share.low), figure(each.share.high)
    return f"{high} %" if low == high else f"{low} to {high} %"


def _over(case: Case, each: Counted, most: Fraction, use: str, places: str) -> Finding:
    limit, share = each.limit, each.share
    in_use = f"for {use}" if use != "any use" else "in any use"
    as_acid = f" as {limit.as_acid.lower()}" if limit.as_acid else ""
    brought = ", ".join(_brought(each))
    only_typical = each.without_typical.high <= most and share.low <= most  # case 3
    asked = limit.if_preserving and not each.preserves  # case 9
    level = CAUTION if only_typical or asked else limit.level
    if most == 0:  # case 4
        perhaps = share.low == 0
        there = (
            f"there may be up to {figure(share.high)}"
            if perhaps
            else f"there is {'up to ' if not share.certain else ''}{figure(share.high)}"
        )
        message = f"{limit.title}: not allowed {in_use.replace('any use', 'any product')}; {there} % of it ({brought})"
        mend = _way_out(case, each, most, only_typical)
        return Finding(CAUTION if perhaps else level, places, limit.id, message, limit.source.words, mend)
    certain = share.low > most or share.certain
    end = "" if certain else " at the worst end"
    message = (
        f"{limit.title}: {figure(share.high)} %{as_acid}{end}, {figure(share.high - most)} above the {figure(most)} % {in_use} ({brought})"
    )
    if asked:
        message += "; no record calls it a preservative: is it here for another purpose?"
    return Finding(level, places, limit.id, message, limit.source.words, _way_out(case, each, most, only_typical))


def _brought(each: Counted) -> list[str]:
    """Who brings how much as the limit counts it, by its worst end, and by which figures."""
    amounts: dict[tuple[str, str], Fraction] = {}
    for content in each.contents:
        how = {TYPICAL: ", typical of this oil", DECLARED: ""}.get(content.how, ", by its record")
        counts = content.share.high * (factor(each.limit, content) or 1)
        amounts[content.part.words, how] = amounts.get((content.part.words, how), ZERO) + counts
    ranked = sorted(amounts.items(), key=lambda item: -item[1])
    return [f"{figure(round_to(amount, step_of(6)))} from {words}{how}" for (words, how), amount in ranked]


def _way_out(case: Case, each: Counted, most: Fraction, only_typical: bool) -> str:
    ways = []
    if only_typical:
        ways.append("ask the supplier for this lot's analysis and enter the figure under [constituents]")
    if most == 0:
        others = [
            use for use in USES if (use not in each.limit.most and "" not in each.limit.most) or Fraction(each.limit.most.get(use, "0"))
        ]
        bringing = listed(c.part for c in each.contents if c.share.high)
        if each.share.low == 0 and not only_typical:
            ways.append(f"ask the supplier whether there is any in {bringing}, and enter the figure in its record")
        ways.append(case.way_out(f"take out {bringing}" + (f", or make it a {others[0]} product" if others else "")))
        return "; or ".join(ways)
    largest = max(each.contents, key=lambda c: c.share.high * (factor(each.limit, c) or 1)).part.amount
    same = [c for c in each.contents if c.part.amount is largest]
    mine = as_counted(each.limit, same)[0].high
    room = most - (each.share.high - mine)
    if room > 0 and mine > 0:
        step = step_of(CONVERTED_DECIMALS)
        allowed = largest.counted * room / mine // step * step
        ways.append(case.way_out(f"take {largest.line.material} from {figure(largest.counted)} to {figure(allowed)} % or less"))
    else:
        ways.append(case.way_out(f"take out what brings it: {listed(c.part for c in each.contents)}"))
    return "; or ".join(ways)


__all__ = ["Counted", "check_limits", "check_oils", "counted", "most_for", "of_limits"]
