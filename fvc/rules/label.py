"""The ingredient declaration of a product: an aid, which the responsible person must confirm.

EU: Regulation (EC) No 1223/2009, Article 19(1)(g): descending weight at the time of addition; less
than 1 % in any order after the others; colourants in any order after the others; `parfum`.
US: 21 CFR 701.3: the any-order group is "not more than 1 percent", so at exactly 1.00 % the two differ.
"""

from __future__ import annotations

import datetime
from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO, figure
from fvc.composition import ADDED, parts_of
from fvc.contents import DECLARED, TYPICAL, Content, contents_of, is_perfume, total, without_figures
from fvc.formula import OPEN
from fvc.material import Share, inci_key
from fvc.reading import Reading
from fvc.reference.allergens import LISTS, AllergenList
from fvc.reference.lookup import allergen, has_colour_index, known, label_name, name_is_known, us_name
from fvc.rules.basis import US

PARFUM, FRAGRANCE = "Parfum", "Fragrance"
SCENTS = ("essential oil", "fragrance")
ONE = Fraction(1)
CARRIED_BELOW = Fraction(10)  # percent of a raw material, below which an aid of its own is taken as carried in
TRACE_BELOW = Fraction(1)
CONFIRM = "An aid to writing the label: the responsible person must confirm it against the suppliers' documents and the law in force."


class Entry(NamedTuple):
    """A name on the declaration.

    name: as printed. share: of the product as added, percent. contents: what it is made of.
    kind: "" for an ingredient, `colourant`, or `allergen` for one named because it is inside another.
    """

    name: str
    share: Share
    contents: tuple[Content, ...]
    kind: str = ""

    @property
    def rank(self) -> Fraction:
        """The figure that decides the order: the nominal one; where it is not known, what there is at least."""
        return self.share.nominal if self.share.nominal is not None else self.share.low


class Declared(NamedTuple):
    """An allergen that the label must name. above: the threshold in percent; sure: False when only the worst end exceeds it."""

    name: str
    share: Share
    above: Fraction
    sure: bool
    contents: tuple[Content, ...]
    whole: bool = False


class ByList(NamedTuple):
    """The allergens that one list asks for."""

    listed: AllergenList
    allergens: tuple[Declared, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Their names as declared."""
        return tuple(a.name for a in self.allergens)


class Label(NamedTuple):
    """An ingredient declaration.

    on: the day for which it holds, None where none was given. entries: in order. one_percent_line: how
    many stand before the group that may be in any order. by_list: the allergens of each list that
    matters, the one that `entries` follow last. uncertain, unknown: what may be otherwise, in words.
    carried_in: names that only come along with a raw material. silence: what the rules do not cover.
    """

    rules: str
    on: datetime.date | None
    entries: tuple[Entry, ...]
    one_percent_line: int
    by_list: tuple[ByList, ...]
    uncertain: tuple[str, ...]
    carried_in: tuple[str, ...]
    unknown: tuple[str, ...]
    silence: str = ""

    @property
    def ingredients(self) -> tuple[str, ...]:
        """The names in order: what is printed."""
        return tuple(e.name for e in self.entries)

    @property
    def ordered(self) -> tuple[str, ...]:
        """The names whose order is prescribed: those above the 1 % line."""
        return self.ingredients[: self.one_percent_line]

    @property
    def allergens(self) -> tuple[str, ...]:
        """The declared allergens, by the list that the entries follow."""
        return self.by_list[-1].names if self.by_list else ()

    @property
    def line(self) -> str:
        """The declaration as one line."""
        return ", ".join(self.ingredients)


def list_on(day: datetime.date, rules: str) -> AllergenList | None:
    """The list that a product newly placed on the market on this day must follow; None where there is none."""
    fit = [each for each in LISTS if each.rules == rules and each.since <= day.isoformat()]
    return max(fit, key=lambda each: each.since, default=None)


def label(reading: Reading, rules: str, on: datetime.date | None, today: datetime.date, vouched: Collection[str] = ()) -> Label:
    """The declaration of a plan, a variant or an as-made (by the amounts added, whatever evaporated later).

    on: the day whose list of allergens is in force; None: all lists, the one of `today` in the entries.
    vouched: keys of INCI names that the formulary vouches for.
    Not checked: national languages, type sizes, nanomaterials, the name of a colour mixture, claims.
    """
    contents = contents_of(reading, ADDED).by_key
    if rules == US:
        lists: list[AllergenList] = []
    elif on is not None:
        lists = [found] if (found := list_on(on, rules)) else []
    else:
        now = list_on(today, rules)
        lists = sorted((each for each in LISTS if each.rules == rules), key=lambda each: (each is now, each.since))
    by_list = tuple(ByList(each, _allergens(contents, each, _uses(reading))) for each in lists)
    asked = by_list[-1].allergens if by_list else ()
    entries = _entries(reading, contents, asked, rules)
    strict = [e for e in entries if e.kind != "colourant" and (e.rank > ONE if rules == US else e.rank >= ONE)]
    return Label(
        rules=rules,
        on=on,
        entries=tuple(entries),
        one_percent_line=len(strict),
        by_list=by_list,
        uncertain=tuple(_uncertain(reading, entries, strict, asked, rules, vouched)),
        carried_in=tuple(e.name for e in entries if e.kind == "" and e.contents and all(_carried(c) for c in e.contents)),
        unknown=tuple(_unknown(reading, allergens=rules != US)),
        silence=_silence(rules),
    )


def _silence(rules: str) -> str:
    from fvc.reference.allergens import US_SILENCE

    return US_SILENCE if rules == US else ""


def _uses(reading: Reading) -> tuple[str, ...]:
    uses = tuple(u for u in reading.plan.use if u in ("leave-on", "rinse-off"))
    return uses or ("leave-on",)


def threshold(listed: AllergenList, uses: Sequence[str]) -> Fraction:
    """The percent that must be exceeded, the lowest of the uses."""
    return min(Fraction(percent) for use, percent in listed.above if use in uses)


def _allergens(contents: Mapping[str, Sequence[Content]], listed: AllergenList, uses: Sequence[str]) -> tuple[Declared, ...]:
    above = threshold(listed, uses)
    found: dict[str, list[Content]] = {}
    whole: dict[str, bool] = {}
    for each in contents.values():
        entry = allergen(each[0].inci, listed)
        if entry is not None:
            found.setdefault(entry.name, []).extend(c for c in each if not entry.whole or c.how == DECLARED)
            whole[entry.name] = entry.whole
    out = []
    for name, counted in found.items():
        share = total(counted)
        if share.high > above:
            out.append(Declared(name, share, above, share.low > above, tuple(counted), whole[name]))
    return tuple(sorted(out, key=lambda d: (-d.share.high, d.name)))


def _entries(reading: Reading, contents: Mapping[str, Sequence[Content]], asked: Sequence[Declared], rules: str) -> list[Entry]:
    """All names in order: descending, colourants last."""
    rows: dict[str, list[Content]] = {}
    first: dict[str, str] = {}  # one spelling for each name
    for each in contents.values():
        for content in each:
            if content.how == DECLARED:
                name = _printed(content, reading, asked, rules)
                rows.setdefault(first.setdefault(inci_key(name), name), []).append(content)
    order = {name: i for i, name in enumerate(rows)}
    entries = [Entry(name, total(each), tuple(each), "colourant" if _is_colour(name, each) else "") for name, each in rows.items()]
    here = {inci_key(e.name) for e in entries} | {inci_key(c.inci) for e in entries for c in e.contents if e.name != PARFUM}
    for allergen_ in asked:
        if inci_key(allergen_.name) not in here:
            entries.append(Entry(allergen_.name, allergen_.share, allergen_.contents, "allergen"))
    entries.sort(key=lambda e: (_sorting(e), order.get(e.name, len(order)), e.name))
    return entries


def _sorting(entry: Entry) -> tuple[bool, bool, Fraction]:
    """Colourants last; an allergen inside another ingredient behind the others unless there is 1 % of it, since it stands in no order by law."""
    return entry.kind == "colourant", entry.kind == "allergen" and entry.rank < ONE, -entry.rank


def _printed(content: Content, reading: Reading, asked: Sequence[Declared], rules: str) -> str:
    """The name under which a content is printed."""
    key = inci_key(content.inci)
    if is_perfume(content.inci):
        return FRAGRANCE if rules == US else PARFUM
    if reading.plan.oils_as_parfum and content.part.material and content.part.material.does(*SCENTS):
        return FRAGRANCE if rules == US else PARFUM
    if rules == US:
        return us_name(label_name(content.inci))
    for each in asked:  # a whole oil that is an entry of its own is named as the list names it
        if each.whole and any(c is content for c in each.contents):
            return each.name
    return "Aqua" if key == "aqua" else label_name(content.inci)


def _is_colour(name: str, contents: Sequence[Content]) -> bool:
    if any(has_colour_index(c.inci) for c in contents):
        return True
    return all(c.part.material is not None and c.part.material.does("colourant") and inci_key(c.inci) != "aqua" for c in contents)


def _carried(content: Content) -> bool:
    """True for an aid of a raw material, such as the preservative of an extract: a small part, and not what it is bought for."""
    material = content.part.material
    if material is None or material.composition is None or inci_key(content.inci) == "aqua":
        return False
    if inci_key(content.inci) in {inci_key(n) for n in material.active}:
        return False
    within = max((s.high for n, s in material.composition.items() if inci_key(n) == inci_key(content.inci)), default=ZERO)
    substance = known(content.inci)
    if substance is None:
        return within < TRACE_BELOW
    return within < CARRIED_BELOW and not material.does(*substance.functions)


def _range(share: Share) -> str:
    return figure(share.low) if share.certain else f"{figure(share.low)} to {figure(share.high)}"


def _uncertain(
    reading: Reading, entries: Sequence[Entry], strict: Sequence[Entry], asked: Sequence[Declared], rules: str, vouched: Collection[str]
) -> list[str]:
    out = []
    for entry in entries:
        if entry.kind == "" and entry.share.nominal is None:
            who = ", ".join(dict.fromkeys(c.part.words for c in entry.contents if c.share.nominal is None))
            out.append(f"{entry.name}: {who} does not say how much it brings ({_range(entry.share)} % in all), so its place is not known")
        if any(not name_is_known(c.inci) and inci_key(c.inci) not in vouched for c in entry.contents):
            out.append(f"{entry.name}: not an INCI name that fvc knows; check how it is spelled")
    for i, entry in enumerate(strict):
        swaps = [e for e in strict[i + 1 :] if e.share.high > entry.share.low]
        if swaps:
            names = ", ".join(f"{e.name} ({_range(e.share)} %)" for e in swaps)
            out.append(f"the order of {entry.name} ({_range(entry.share)} %) and {names}: their ranges overlap")
    for entry in entries:
        low, high = entry.share.low, entry.share.high
        crosses = low <= ONE < high if rules == US else low < ONE <= high
        if entry.kind == "" and crosses:
            out.append(f"{entry.name} ({_range(entry.share)} %) may stand on either side of the 1 % line")
    for each in asked:
        if not each.sure:
            how = " by what is typical of the oil" if any(c.how == TYPICAL for c in each.contents) else ""
            out.append(
                f"{each.name}: named because it may exceed {figure(each.above)} % ({_range(each.share)} %{how}); the supplier's allergen list decides"
            )
    if asked and not {"leave-on", "rinse-off"} & set(reading.plan.use):
        out.append("allergens: the plan names no use, so the threshold of leave-on products was taken")
    for part in parts_of(reading, ADDED):
        if part.material and part.percent and part.material.composition is not None and part.material.undeclared.high > 0:
            share = part.material.undeclared.of(part.percent)
            out.append(f"what the record of {part.words} leaves undeclared ({_range(share)} % of the product) is not on the list")
    return list(dict.fromkeys(out))


def _unknown(reading: Reading, *, allergens: bool) -> list[str]:
    out = []
    for part in parts_of(reading, ADDED):
        if part.percent and part.material is None:
            out.append(f"{part.words}: its record is missing or cannot be read ({figure(part.percent)} % of the product)")
        elif part.percent and part.material and part.material.composition is None:
            out.append(f"{part.words}: its record declares no composition ({figure(part.percent)} % of the product)")
        elif allergens and part.material and part.percent and (why := without_figures(part.material)):
            out.append(f"{part.words}: the allergens in it: {why}")
    for amount in reading.closure.amounts:
        if amount.line.level.kind == OPEN and amount.percent is None:
            out.append(f"{amount.line.material}: its line is open and says nothing of what to expect")
    return list(dict.fromkeys(out))


def gained(before: Sequence[str], after: Sequence[str]) -> list[str]:
    """Names on the second list that are not on the first."""
    here = {inci_key(n) for n in before}
    return [n for n in after if inci_key(n) not in here]


__all__ = ["CONFIRM", "ByList", "Declared", "Entry", "Label", "gained", "label", "list_on", "threshold"]
