"""What batches teach: which pairs of them differ in one thing, and what was seen with it.

| number | two batches | are |
|---|---|---|
| 1 | X differs by more than 1 %, nothing else does | a pair that differs in X alone |
| 2 | X differs, and one or two other things | a near pair, with what else differed |
| 3 | X differs, and more than that | no pair |
| 4 | neither X nor anything else differs | alike: what they show apart is scatter |

The balance follows of itself and counts as nothing else; so it does on the other side of a ratio that keeps it.
Lots and the days of the looks are named and not counted. A trend is said only where three batches differ
in X alone, each from each other, seen at one time point, and no pair of case 1 goes another way. Never a cause.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, brief
from fvc.names import ID_PATTERN

ALIKE = Fraction(1, 100)  # two levels this near to each other, of the larger one, are the same
NEARLY = 2  # other things that may differ in a near pair
ENOUGH = 3  # batches without which no trend is said

HIGHER, LOWER, SAME = "higher", "lower", "the same"


# --- the one thing ----------------------------------------------------------------------------------

_SIDE = rf"\s*(?:({ID_PATTERN})|\(\s*({ID_PATTERN}(?:\s*\+\s*{ID_PATTERN})*)\s*\))\s*"
_THING = re.compile(rf"{_SIDE}(?:[/:]{_SIDE})?")


class Thing(NamedTuple):
    """What is looked at: the level of a material (or several), or a ratio of such. per: () where it is no ratio."""

    of: tuple[str, ...]
    per: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """As it would be typed."""
        sides = [side[0] if len(side) == 1 else f"({' + '.join(side)})" for side in (self.of, self.per) if side]
        return " / ".join(sides)

    @property
    def materials(self) -> tuple[str, ...]:
        """All ids in it."""
        return (*self.of, *self.per)


def thing_of(text: str) -> Thing:
    """`propanediol`, `polysorbate-20 / neroli-oil`, `polysorbate-20 / (neroli-oil + sweet-orange-oil)`. ValueError for anything else."""
    match = _THING.fullmatch(text)
    if match is None:
        raise ValueError("expected a material, or a ratio such as  polysorbate-20 / (neroli-oil + sweet-orange-oil)")
    sides = [tuple(part.strip() for part in (match[a] or match[a + 1] or "").split("+") if part.strip()) for a in (1, 3)]
    thing = Thing(*sides)
    if len(set(thing.materials)) != len(thing.materials):
        raise ValueError("it names a material twice")
    return thing


# --- batches and what was seen of them --------------------------------------------------------------


class View(NamedTuple):
    """A property of a batch at one look. rank: where it can be ordered, with its unit; sure: how far the reading may be off.

    point: the day of the schedule that the look answers. how: with what it was read, where that is known.
    """

    text: str
    day: int
    point: int | None
    condition: str
    rank: Fraction | None = None
    unit: str = ""
    sure: Fraction = ZERO
    how: str = ""


@dataclass(frozen=True, kw_only=True)
class Made:
    """A batch as it was made, for comparing: percent by material of a line, in the product and inside the premixes it holds.

    phases: in which each material stands. balance: the material that closes it, "" for none. lots: by material.
    compositions: what the record of each material said of what is in it.
    """

    id: str
    lines: Mapping[str, Fraction]
    view: View
    inside: Mapping[str, Mapping[str, Fraction]] = field(default_factory=dict)
    phases: Mapping[str, frozenset[str]] = field(default_factory=dict)
    balance: str = ""
    lots: Mapping[str, frozenset[str]] = field(default_factory=dict)
    compositions: Mapping[str, object] = field(default_factory=dict)

    def percent(self, material: str) -> Fraction:
        """Percent of the product, lines and premixes together."""
        within = sum((self.lines[id] * inner.get(material, ZERO) / HUNDRED for id, inner in self.inside.items()), ZERO)
        return self.lines.get(material, ZERO) + within

    def value(self, thing: Thing) -> Fraction | None:
        """Percent, or the ratio; None for a ratio to nothing."""
        of, per = (sum((self.percent(m) for m in side), ZERO) for side in (thing.of, thing.per))
        if not thing.per:
            return of
        return of / per if per else None


class Other(NamedTuple):
    """Something else that two batches differ in: percents, or words."""

    what: str
    first: Fraction | str
    second: Fraction | str


class Pair(NamedTuple):
    """Two batches, the one with less of the thing first. others: what else differed; notes: lots and looks, not counted.

    way: what the property did from the first to the second; "" where it has no order.
    """

    first: Made
    second: Made
    others: tuple[Other, ...]
    notes: tuple[Other, ...]
    way: str

    @property
    def alone(self) -> bool:
        """True when nothing else differed."""
        return not self.others

    @property
    def one_time(self) -> bool:
        """True when both were looked at for one time point of the schedule, under one condition."""
        return (self.first.view.point, self.first.view.condition) == (self.second.view.point, self.second.view.condition)


@dataclass(frozen=True, kw_only=True, eq=False)
class Lesson:
    """A property against one thing. batches: by the thing, least first, with its value; pairs, near, alike: see the table above.

    trend: higher, lower or the same, for more of the thing; "" where none is said, and then why. batches_alone: how many differ in it alone.
    """

    thing: Thing
    batches: tuple[tuple[Made, Fraction], ...]
    pairs: tuple[Pair, ...]
    near: tuple[Pair, ...]
    alike: tuple[Pair, ...]
    trend: str
    why: str

    @property
    def batches_alone(self) -> int:
        """How many batches stand in a pair that differs in the thing alone."""
        return len({id(made) for pair in self.pairs for made in (pair.first, pair.second)})


def differ(first: Fraction, second: Fraction) -> bool:
    """True when two levels are more than 1 % of the larger one apart."""
    return abs(first - second) > ALIKE * max(abs(first), abs(second))


def lesson(batches: Sequence[Made], thing: Thing) -> Lesson:
    """What the batches teach about the thing. Those for which it has no value are left out."""
    known = sorted(((made, value) for made in batches if (value := made.value(thing)) is not None), key=lambda each: (each[1], each[0].id))
    pairs: list[Pair] = []
    near: list[Pair] = []
    alike: list[Pair] = []
    for (first, less), (second, more) in combinations(known, 2):
        names = (first.lines.keys() ^ second.lines.keys()) - {*thing.materials, first.balance, second.balance}
        if len(names) > NEARLY:
            continue
        others = tuple(_others(first, second, thing))
        if len(others) > NEARLY or (others and not differ(less, more)):
            continue
        pair = Pair(first, second, others, tuple(_notes(first, second)), way(first.view, second.view))
        (near if others else pairs if differ(less, more) else alike).append(pair)
    trend, why = trend_of(pairs)
    return Lesson(thing=thing, batches=tuple(known), pairs=tuple(pairs), near=tuple(near), alike=tuple(alike), trend=trend, why=why)


def _others(first: Made, second: Made, thing: Thing) -> Iterator[Other]:
    balance = first.balance if first.balance == second.balance else ""
    names = [m for m in dict.fromkeys([*first.lines, *second.lines]) if m != balance and m not in thing.materials]
    levels = {m: (first.lines.get(m, ZERO), second.lines.get(m, ZERO)) for m in names}
    moved = [Other(m, *levels[m]) for m in names if differ(*levels[m])]
    factors = [b / a for a, b in levels.values() if a]
    if len(moved) >= ENOUGH and len(factors) == len(names) and not any(differ(f, factors[0]) for f in factors):
        percent = (factors[0] - 1) * HUNDRED
        yield Other(f"all other lines but {balance}" if balance else "all other lines", "", f"{brief(abs(percent))} % {_up(percent)}")
    else:
        yield from moved
    if balance != first.balance or balance != second.balance:
        yield Other("balance", first.balance or "none", second.balance or "none")
    yield from _within(first, second, thing)
    for m in first.phases.keys() & second.phases.keys():
        if first.phases[m] != second.phases[m]:
            yield Other(f"phase of {m}", *("+".join(sorted(p)) for p in (first.phases[m], second.phases[m])))
    for id in first.inside.keys() & second.inside.keys():
        for m in dict.fromkeys([*first.inside[id], *second.inside[id]]):
            shares = (first.inside[id].get(m, ZERO), second.inside[id].get(m, ZERO))
            if differ(*shares):
                yield Other(f"{m} in {id}", *shares)
    for m in first.compositions.keys() & second.compositions.keys():
        if first.compositions[m] != second.compositions[m]:
            yield Other(f"composition of {m}", "one record", "another record")


def _within(first: Made, second: Made, thing: Thing) -> Iterator[Other]:
    """What moved inside the thing itself: members of one side against each other, or both sides of a ratio at once."""
    sides = []
    for side in (thing.of, thing.per):
        sums = tuple(sum((made.percent(m) for m in side), ZERO) for made in (first, second))
        sides.append(sums)
        if len(side) > 1 and all(sums):
            for m in side:
                shares = (first.percent(m) / sums[0], second.percent(m) / sums[1])
                if differ(*shares):
                    yield Other(m, first.percent(m), second.percent(m))
    if thing.per and all(differ(*sums) for sums in sides):
        for side, sums in zip((thing.of, thing.per), sides, strict=True):
            yield Other(Thing(side).words, *sums)


def _notes(first: Made, second: Made) -> Iterator[Other]:
    for m in dict.fromkeys(m for m in first.lots if m in second.lots):
        if first.lots[m] != second.lots[m]:
            what = "batch of" if m in first.inside else "lot of"
            yield Other(f"{what} {m}", *(", ".join(sorted(lots)) for lots in (first.lots[m], second.lots[m])))
    a, b = first.view, second.view
    if a.point != b.point:
        yield Other("looked at on day", str(a.day), str(b.day))
    if a.condition != b.condition:
        yield Other("stood in", a.condition, b.condition)
    if a.how != b.how:
        yield Other("read", a.how or "not said how", b.how or "not said how")


def _up(by: Fraction) -> str:
    return HIGHER if by > 0 else LOWER


def way(first: View, second: View) -> str:
    """What the property did; readings nearer to each other than they are sure count as the same. "" where they have no order."""
    if first.rank is None or second.rank is None or first.unit != second.unit:
        return ""
    gained = second.rank - first.rank
    return SAME if gained == 0 or abs(gained) < max(first.sure, second.sure) else _up(gained)


def trend_of(pairs: Sequence[Pair]) -> tuple[str, str]:
    """What the property did for more of the thing, by pairs that differ in it alone; "" and the reason where nothing may be said."""
    batches = {id(made): made for pair in pairs for made in (pair.first, pair.second)}
    ordered = [pair for pair in pairs if pair.way]
    if len(batches) < ENOUGH:
        return "", f"too few to say: {len(batches) or 'no'} trials differ in it alone, and {ENOUGH} are the least"
    if not ordered:
        return "", "what was seen has no order, so it is only listed"
    ways = [pair.way for pair in ordered]
    if len(set(ways)) > 1:
        counts = ", ".join(f"{each} in {ways.count(each)}" for each in (HIGHER, LOWER, SAME) if each in ways)
        return "", f"no trend: of {len(ways)} pairs that differ in it alone, {counts}"
    if not _three({(id(p.first), id(p.second)) for p in ordered}, list(batches)):
        return "", f"too few to say: no {ENOUGH} trials differ in it alone, each from each other, with what was seen in an order"
    if not _three({(id(p.first), id(p.second)) for p in ordered if p.one_time}, list(batches)):
        return "", f"too few to say: fewer than {ENOUGH} were looked at on one day of the schedule; --day compares like with like"
    return ways[0], ""


def _three(joined: set[tuple[int, int]], batches: Sequence[int]) -> bool:
    """True when three batches are joined each with each other."""
    beside: dict[int, set[int]] = {each: set() for each in batches}
    for a, b in joined:
        beside[a].add(b)
        beside[b].add(a)
    return any(beside[a] & beside[b] for a, b in joined)
