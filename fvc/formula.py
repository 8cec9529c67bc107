"""The plan: a formula in percent by weight, what was meant; and how it closes to 100.

Pure values. A plan may be readable and yet not closed; `close` says by how much, in which
direction and which line is the likely one, and changes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, Typed, needed_decimals, number, shown
from fvc.errors import Fault
from fvc.names import ID_PATTERN, suggestion, why_not_an_id

FIXED, BALANCE, OPEN, RATIO, MADE = "fixed", "balance", "open", "ratio", "made"

# Functions whose lines never take the rounding remainder of a weigh sheet.
PROTECTED_FUNCTIONS = frozenset({"preservative", "essential oil"})

MOST_RATIOS = 50  # that refer to each other in a row; no maker's plan comes near
PREMIX = "premix"  # the function of a formula that stands as a material in another


class Level(NamedTuple):
    """What the maker wrote for a line, one value.

    kind: `fixed`, `balance`, `open`, `ratio`; `made` for a line of a batch as it was made.
    text: as typed, without quotes.
    number: the fixed level, the expected level of an open line (or None), or the factor of a ratio.
    of: the ids a ratio refers to; function: the function in `4 x all essential oil`.
    """

    kind: str
    text: str
    number: Typed | None = None
    of: tuple[str, ...] = ()
    function: str = ""

    @property
    def follows(self) -> bool:
        """True when the line takes its percent from others: a balance or a ratio."""
        return self.kind in (BALANCE, RATIO)


class Line(NamedTuple):
    """One line of a plan: a material (or nested formula) in a phase at a level."""

    phase: str
    material: str
    level: Level
    note: str = ""

    @property
    def path(self) -> str:
        """Where the line stands in its file."""
        return f"phase.{self.phase}.percent.{self.material}"


class Phase(NamedTuple):
    """A phase and what is done to it; texts as typed."""

    name: str
    title: str = ""
    method: str = ""
    heat: str = ""
    hold: str = ""
    add_below: str = ""


class VariantOf(NamedTuple):
    """The [variant] table: which saved revision a variant departs from, and what it asks."""

    parent: str
    plan_id: str
    question: str
    expect: str
    state: str
    because: str = ""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """A formula as written. `record` is the whole file as plain values, for text differences.

    oils_as_parfum: the label names essential oils together as Parfum, not each by its name.
    code: for bottles and the ids of trials. keeps: days for which a batch may be used; None where the plan does not say.
    """

    id: str
    title: str
    revision: int
    phases: tuple[Phase, ...]
    lines: tuple[Line, ...]
    use: tuple[str, ...] = ()
    status: str = "idea"
    batch: str = "100 g"
    spec: Mapping[str, object] = field(default_factory=dict)
    oils_as_parfum: bool = False
    code: str = ""
    keeps: int | None = None
    variant: VariantOf | None = None
    record: Mapping[str, object] = field(default_factory=dict, compare=False, repr=False)

    def reached(self) -> tuple[str, ...]:
        """The ids of the materials and formulas in this plan, each once, in order."""
        return tuple(dict.fromkeys(line.material for line in self.lines))


def ratio_of(factor: str, ids: Sequence[str]) -> Level:
    """`4 x neroli-oil`, `4 x (neroli-oil + sweet-orange-oil)`: a ratio to these lines, as it would be typed."""
    return level_words(f"{factor} x {ids[0] if len(ids) == 1 else '(' + ' + '.join(ids) + ')'}")


_RATIO = re.compile(r"([^\sx×]+)\s*[x×]\s*(.+)", re.DOTALL)
_TO_100 = re.compile(r"q\.? ?s\.? ?(?:(?:to|ad) ?)?100")
_SUM = re.compile(rf"\(\s*({ID_PATTERN}(?:\s*\+\s*{ID_PATTERN})*)\s*\)")

LEVEL_FORMS = 'a number from 0 to 100, "balance", "open", or a ratio such as "4 x neroli-oil"'


def level_number(text: str) -> Level:
    """A fixed level from the digits typed. Raises ValueError with the reason in words."""
    typed = number(text)
    if typed.value > 100:
        raise ValueError("it is above 100")
    return Level(FIXED, text, typed)


def level_words(text: str) -> Level:
    """A level written as words: balance, open, or a ratio. Raises ValueError with the reason."""
    plain = " ".join(text.split())
    low = plain.lower()
    if low == "balance" or _TO_100.fullmatch(low):
        return Level(BALANCE, "balance")
    if low == "open":
        return Level(OPEN, "open")
    if low in ("q.s.", "q. s.", "qs", "q.s"):
        raise ValueError('"q.s." alone has two meanings: write "balance" (closes to 100) or "open" (set at the bench)')
    if "%" in plain:
        raise ValueError("leave out the % sign: levels are percent by weight already")
    match = _RATIO.fullmatch(plain)
    if not match:
        try:
            number(plain)
        except ValueError:
            raise ValueError(f"expected {LEVEL_FORMS}") from None
        raise ValueError(f"write the number without quotes: {plain}")
    factor = number(match[1])
    if factor.value == 0:
        raise ValueError("a ratio of 0 would always be nothing")
    rest = match[2].strip()
    if rest.lower().startswith("all "):
        return Level(RATIO, plain, factor, function=rest[4:].strip().lower())
    listed = _SUM.fullmatch(rest)
    ids = [part.strip() for part in listed[1].split("+")] if listed else [rest]
    for name in ids:
        reason = why_not_an_id(name)
        if reason:
            raise ValueError(f'"{name}" in a ratio is not an id: {reason}; a ratio is "4 x ID", "4 x (ID + ID)" or "4 x all FUNCTION"')
    twice = next((name for name in ids if ids.count(name) > 1), None)
    if twice:
        raise ValueError(f'"{twice}" stands twice in the ratio: name it once, and double the number instead')
    return Level(RATIO, plain, factor, tuple(ids))


class Amount(NamedTuple):
    """A line with its percent worked out.

    percent: exact, None when it cannot be known (an open line without expectation, a broken ratio).
    decimals: the digits to show, by what was typed.
    waits_for: for a ratio, the open lines without expectation that it refers to; they count 0 in it.
    """

    line: Line
    percent: Fraction | None
    decimals: int
    waits_for: tuple[str, ...] = ()

    @property
    def counted(self) -> Fraction:
        """The percent as it counts in totals: an unknown one counts 0."""
        return ZERO if self.percent is None else self.percent

    @property
    def text(self) -> str | None:
        """The percent with the digits that were typed; every digit of one that followed."""
        if self.percent is None:
            return None
        if self.line.level.kind == FIXED:
            return self.line.level.text
        return shown(self.percent, self.decimals)


@dataclass(frozen=True, kw_only=True, eq=False)
class Closure:
    """A plan with every percent worked out, and whether it closes.

    total: percent, exact. faults: what keeps it from closing; empty when it totals exactly 100.
    decimals: of the longest line. misses: nothing stands against it but that the lines do not total 100.
    """

    amounts: tuple[Amount, ...]
    total: Fraction
    faults: tuple[Fault, ...]
    decimals: int
    misses: bool = False

    @property
    def closed(self) -> bool:
        """True when the lines total exactly 100 and nothing stands against it."""
        return not self.faults

    @property
    def balance(self) -> Amount | None:
        """The line that takes what the others leave; None in a plan without one."""
        return next((a for a in self.amounts if a.line.level.kind == BALANCE), None)

    @property
    def gap(self) -> Fraction:
        """What is missing to 100; negative when the lines are over."""
        return HUNDRED - self.total


def close(plan: Plan, functions: Mapping[str, Sequence[str]]) -> Closure:
    """Work out every percent of `plan`, exactly.

    functions: the functions of each material by id, for ratios by function.
    A ratio on itself, in a ring, on the balance or on something absent is a fault, as are two
    balance lines, a balance below zero, and a total that is not 100 where nothing balances.
    Not checked: whether the materials exist.
    """
    lines = plan.lines
    faults: list[Fault] = []
    by_material: dict[str, list[int]] = {}
    for index, line in enumerate(lines):
        by_material.setdefault(line.material, []).append(index)
    balances = [i for i, line in enumerate(lines) if line.level.kind == BALANCE]
    percents: dict[int, Fraction | None] = {}
    waits: dict[int, tuple[str, ...]] = {}
    decimals: dict[int, int] = {}

    for i, line in enumerate(lines):
        if line.level.kind in (FIXED, OPEN):
            typed = line.level.number
            percents[i], decimals[i] = (typed.value, typed.decimals) if typed else (None, 0)

    def referred(i: int) -> tuple[str, ...] | Fault:
        line, level = lines[i], lines[i].level
        if not level.function:
            ids = level.of
        else:
            ids = tuple(m for m in by_material if level.function in (f.lower() for f in functions.get(m, ())))
            if not ids:
                known = {f for m in by_material for f in functions.get(m, ())}
                return Fault(
                    f'the ratio "{level.text}" finds no {level.function} in this plan',
                    path=line.path,
                    next=suggestion(level.function, known, f"functions here: {', '.join(sorted(known)) or 'none'}"),
                )
        if line.material in ids:
            return Fault(f'the ratio "{level.text}" refers to {line.material} itself', path=line.path, next="name the other lines")
        for name in ids:
            if name not in by_material:
                return Fault(
                    f'the ratio "{level.text}" refers to {name}, which is not in this plan',
                    path=line.path,
                    next=suggestion(name, by_material, "add that line or change the ratio"),
                )
        return ids

    def work_out(i: int, trail: tuple[int, ...]) -> bool:
        """Fill in line i; False when it cannot be worked out (its fault is noted once)."""
        if i in percents:
            return lines[i].level.kind != RATIO or percents[i] is not None
        if len(trail) > MOST_RATIOS:
            faults.append(
                Fault(f"more than {MOST_RATIOS} ratios wait for each other", path=lines[i].path, next="give one of these lines a number")
            )
            percents[i], decimals[i] = None, 0
            return False
        if i in trail or lines[i].level.kind == BALANCE:
            start = trail.index(i) if i in trail else 0
            ring = " -> ".join(lines[k].material for k in (*trail[start:], i))
            why = "a ring of ratios" if i in trail else "a ratio on the balance, which itself waits for the ratio"
            faults.append(Fault(f"{why}: {ring}", path=lines[trail[-1]].path, next="give one of these lines a number"))
            percents[trail[-1]], decimals[trail[-1]] = None, 0
            return False
        ids = referred(i)
        if isinstance(ids, Fault):
            faults.append(ids)
            percents[i], decimals[i] = None, 0
            return False
        wanted = [k for name in ids for k in by_material[name]]
        worked = [work_out(k, (*trail, i)) for k in wanted]  # all of them, so that every fault is found
        if not all(worked) or i in percents:
            percents[i], decimals[i] = None, 0
            return False
        factor = lines[i].level.number
        assert factor is not None
        value = factor.value * sum((percents[k] or ZERO for k in wanted), ZERO)
        percents[i] = value
        unset = [lines[k].material for k in wanted if lines[k].level.kind == OPEN and percents[k] is None]
        waits[i] = tuple(dict.fromkeys([*unset, *(id for k in wanted for id in waits.get(k, ()))]))
        decimals[i] = max([decimals[k] for k in wanted] + [needed_decimals(value) or 0])
        if value > 100:
            faults.append(
                Fault(
                    f'the ratio "{lines[i].level.text}" comes to {shown(value, 2)} %, above 100',
                    path=lines[i].path,
                    next="lower the ratio or the lines it refers to",
                )
            )
        return True

    for i, line in enumerate(lines):
        if line.level.kind == RATIO:
            work_out(i, ())

    most = max(decimals.values(), default=0)
    rest = HUNDRED - sum((p for p in percents.values() if p is not None), ZERO)
    broken = bool(faults)
    if len(balances) > 1:
        names = ", ".join(f"{lines[i].phase}:{lines[i].material}" for i in balances)
        faults.append(
            Fault(
                f"two balance lines: {names}", path=lines[balances[1]].path, next='leave "balance" in one of them, give the other a number'
            )
        )
    elif len(balances) == 1 and not broken:
        i = balances[0]
        percents[i] = rest
        if rest < 0:
            faults.append(
                Fault(
                    f"the balance {lines[i].material} would be {shown(rest, most)} %, below zero: the other lines total {shown(HUNDRED - rest, most)}",
                    path=lines[i].path,
                    next=f"take {shown(-rest, most)} points or more out of other lines",
                )
            )
    for i in balances:
        percents.setdefault(i, None)
        decimals[i] = most

    amounts = tuple(Amount(line, percents[i], decimals[i], waits.get(i, ())) for i, line in enumerate(lines))
    total = sum((a.counted for a in amounts), ZERO)
    misses = not faults and total != HUNDRED
    if misses:
        faults.append(total_fault(amounts, total))
    return Closure(amounts=amounts, total=total, faults=tuple(faults), decimals=most, misses=misses)


def total_fault(amounts: Sequence[Amount], total: Fraction) -> Fault:
    """What to say of lines that do not total 100: by how much, which way, and the likely line."""
    gap = HUNDRED - total
    direction = "short of" if gap > 0 else "over"
    decimals = max((a.decimals for a in amounts), default=0)
    message = f"the lines total {shown(total, decimals)}, {shown(abs(gap), decimals)} {direction} 100"
    clues = likely_lines(amounts, gap)
    if clues:
        message += "; " + "; or ".join(clues)
    if not amounts:
        return Fault("the plan has no lines: it is 100 short of 100", next='add lines under [phase.A.percent], one of them "balance"')
    largest = max(amounts, key=lambda a: a.counted)
    way_out = f'write "balance" for one line (such as {largest.line.material}), or correct the line that is off'
    return Fault(message, path="phase", next=way_out)


def likely_lines(amounts: Sequence[Amount], gap: Fraction) -> list[str]:
    """At most three lines that would explain a total that is off by `gap`, in words."""
    clues: list[str] = []

    def look(fits: Callable[[Fraction], bool], words: Callable[[Amount], str]) -> None:
        for amount in amounts:
            if amount.counted > 0 and amount.line.level.kind == FIXED and fits(amount.counted):
                clues.append(words(amount))

    off = abs(gap)
    if gap > 0:
        look(lambda p: p == off, lambda a: f"that is exactly the level of {a.line.material}")
        look(
            lambda p: p * 9 == off,
            lambda a: f"{a.line.material} at {shown(a.counted * 10, 0)} would close it: a slipped point?",
        )
    else:
        look(lambda p: p == off, lambda a: f"that is exactly the level of {a.line.material}: added without taking it out elsewhere?")
        look(
            lambda p: p * 9 == off * 10,
            lambda a: f"{a.line.material} at {shown(a.counted / 10, 0)} would close it: a slipped point?",
        )
    return clues[:3]
