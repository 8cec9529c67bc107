"""Closing a plan that does not total 100: into one line, or by bringing all lines but the kept ones to scale.

  reading        what it says                                         what it does
  into a line    this line was off, or takes what is missing          its level changes by the gap
  to scale       the figures are parts; or what was added on top is   every line not kept times (100 - kept) / (total - kept)
                 kept as a percent of the finished product

Two readings of "2 % into a finished base" differ: 2 % of the finished product (the line is kept, 204.082 g
to 10 kg of base) and 2 g to 100 g of base (nothing is kept, 1.9608 %). Neither is ever chosen silently.
Pure: takes a reading and gives edits.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, MOST_DECIMALS, ZERO, figure, fixed, round_to, shown, step_of
from fvc.change.levels import LevelEdit, carried_out, computed
from fvc.errors import Refusal
from fvc.formula import FIXED, OPEN, PROTECTED_FUNCTIONS, RATIO, Amount, Level, level_number
from fvc.material import Material
from fvc.reading import Reading
from fvc.reference.lookup import limits_of
from fvc.weighing import takers


class Retotal(NamedTuple):
    """A plan that was closed. way: in words. after: closed anew. took: the line that took the rounding remainder, if any.

    factor: by which the lines that are not kept were multiplied; None when one line took the gap.
    guarded: lines that moved and ought not to without a thought: preservatives, lines with a limit; (amount before, why).
    """

    way: str
    edits: tuple[LevelEdit, ...]
    after: Reading
    guarded: tuple[tuple[Amount, str], ...]
    factor: Fraction | None = None
    took: str = ""


def why_guarded(material: Material | None) -> str:
    """Why a line of this material should not move without a thought; "" when nothing says so."""
    if material is None:
        return ""
    words = [f for f in sorted(PROTECTED_FUNCTIONS, reverse=True) if material.holds(f)]
    if material.use_level is not None:
        words.append(f"use level {material.use_level[0].text} to {material.use_level[1].text} %")
    if limited := _limited(material):
        words.append(f"limited by law: {', '.join(limited[:3])}")
    return ", ".join(words)


def _limited(material: Material) -> list[str]:
    """The INCI names in a material that law limits."""
    return [n for n, share in (material.composition or {}).items() if share.high and limits_of(n)]


def check_open_to_retotal(reading: Reading) -> Fraction:
    """The gap to 100 of a plan that could be closed; Refusal where something else stands against it, or a line balances it."""
    closure = reading.closure
    balance = closure.balance
    if balance is not None:
        if balance.counted < 0:
            raise Refusal(
                f"{balance.line.material} is the balance and would be {shown(balance.counted, 2)} %: the other lines are {figure(-balance.counted)} over 100",
                next="take that much out of other lines (fvc set); a balance below zero cannot be brought to scale",
            )
        raise Refusal(
            f"{reading.plan.id} closes by itself: {balance.line.material} is the balance", next="change a level with fvc set and it follows"
        )
    others = [f for f in reading.faults if f not in closure.faults or not closure.misses]
    if others:
        raise Refusal(others)
    if not closure.amounts or closure.total == 0:
        raise Refusal(f"{reading.plan.id} has no lines with a level, so there is nothing to bring to 100", next="add lines with fvc set")
    return closure.gap


def into_line(reading: Reading, amount: Amount, materials: Mapping[str, Material]) -> Retotal:
    """Let one line take the gap. Raises Refusal when it has no level of its own or cannot give that much."""
    gap = check_open_to_retotal(reading)
    line = amount.line
    if line.level.kind != FIXED or line.level.number is None:
        way = (
            f"change what it refers to, or free it with  fvc set {reading.plan.id} {line.material}=… --free"
            if line.level.kind == RATIO
            else "name a line with a level of its own"
        )
        raise Refusal(f'{line.material} has no level of its own to change: it is "{line.level.text}"', next=way)
    new = line.level.number.value + gap
    if new < 0:
        raise Refusal(
            f"{line.material} at {line.level.text} cannot give {figure(-gap)}",
            next=f"the room there is: {line.level.text} %; name a larger line, or bring all to scale with --all",
        )
    level = _level(new, line.level.number.decimals, MOST_DECIMALS)
    edits = (LevelEdit(line.phase, line.material, level),)
    after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
    if not after.closure.closed:  # a ratio refers to it, and moved along
        raise Refusal(
            f"lines are held by a ratio to {line.material}, so they would move with it and the total would still be {shown(after.closure.total, 2)}",
            next="name a line that no ratio refers to, or bring all to scale with --all",
        )
    return Retotal(
        f"{line.material} takes the {'missing' if gap > 0 else 'surplus'} {shown(abs(gap), 2)}", edits, after, _guarded(reading, after)
    )


def to_scale(reading: Reading, kept: Sequence[Amount], materials: Mapping[str, Material], decimals: int) -> Retotal:
    """Bring every line that is not kept to scale, so that all of them total 100 at `decimals` decimals.

    Open lines stay at what is expected of them, since the bench decides. A line held by a ratio moves with
    the lines it refers to, so it is kept only when they are. The rounding remainder goes to the largest
    line that is free to move. Raises Refusal where nothing is left to scale, the kept lines alone are above
    100, or a line would round to nothing.
    """
    check_open_to_retotal(reading)
    amounts = reading.closure.amounts
    fixed_ones = [a for a in amounts if a.line.level.kind == FIXED and a not in kept]

    def scaled(factor: Fraction, places: int | None = None) -> list[LevelEdit]:
        out = []
        for a in fixed_ones:
            number = a.line.level.number
            assert number is not None
            exact = number.value * factor
            value = exact if places is None else round_to(exact, step_of(places))
            if value == 0 and exact and places is not None:
                raise Refusal(
                    f"{a.line.material} at {a.text} would be {shown(exact, 2)} % and round to nothing at {places} decimals",
                    next=f"ask for more decimals with --decimals, or keep it with  --keep {a.line.material}",
                )
            level = Level(FIXED, "", number._replace(value=value)) if places is None else _level(value, number.decimals, places)
            out.append(LevelEdit(a.line.phase, a.line.material, level))
        return out

    def total(factor: Fraction) -> Fraction:
        return reading.with_lines(carried_out(reading.plan.lines, scaled(factor)), materials).closure.total

    rest, moving = total(ZERO), total(Fraction(1)) - total(ZERO)
    if moving == 0:
        raise Refusal("no line is left to bring to scale", next="keep fewer lines, or name one that takes the gap with --into MATERIAL")
    factor = (HUNDRED - rest) / moving
    if factor <= 0:
        raise Refusal(f"the lines that stay total {shown(rest, 2)}, so nothing is left for the others", next="keep fewer lines")
    edits = scaled(factor, decimals)
    after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
    took = ""
    gap = HUNDRED - after.closure.total
    if gap:
        edits, took = _remainder(reading, after, edits, gap, decimals, materials)
        after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
    moved = [a for a, now in zip(amounts, after.closure.amounts, strict=True) if a in kept and a.counted != now.counted]
    if moved:  # only a ratio can carry a kept line along
        line = moved[0].line
        raise Refusal(
            f'{line.material} cannot be kept: it is held at "{line.level.text}" and moves with what it refers to',
            next=f"keep what it refers to as well, or free it first:  fvc set {reading.plan.id} {line.material}={moved[0].text} --free",
        )
    edits = [e for e, a in zip(edits, fixed_ones, strict=True) if e.level != a.line.level]
    names = ", ".join(dict.fromkeys(a.line.material for a in kept))
    way = f"all lines{f' but {names}' if names else ''} times {figure(factor)}"
    return Retotal(way, tuple(edits), after, _guarded(reading, after), factor, took)


def _remainder(
    reading: Reading, after: Reading, edits: Sequence[LevelEdit], gap: Fraction, decimals: int, materials: Mapping[str, Material]
) -> tuple[list[LevelEdit], str]:
    """The rounding remainder on one line: the largest that is free to move, and to which no ratio refers."""
    referred = {id for line in reading.plan.lines if line.level.kind == RATIO for id in line.level.of}
    words = {line.level.function for line in reading.plan.lines if line.level.function}
    may, last = takers(after, [a.percent for a in after.closure.amounts])
    for index in (*may, *last):
        amount = after.closure.amounts[index]
        at = next((i for i, e in enumerate(edits) if (e.phase, e.material) == (amount.line.phase, amount.line.material)), None)
        if at is None or amount.line.material in referred or words & {f.casefold() for f in reading.functions(amount.line.material)}:
            continue
        if amount.counted + gap > 0:
            out = list(edits)
            out[at] = out[at]._replace(level=_level(amount.counted + gap, amount.decimals, MOST_DECIMALS))
            return out, amount.line.material
    raise Refusal(
        f"the lines cannot be brought to exactly 100 at {decimals} decimals: every one that could take the rest is held by a ratio",
        next="ask for more decimals with --decimals, or free a line with fvc set … --free",
    )


def _level(value: Fraction, least: int, most: int) -> Level:
    """A level with the digits that the maker typed, or as many more as it needs, up to `most`."""
    if value == 0:
        return level_number(fixed(ZERO, least))
    try:
        return computed(value, least, most)[0]
    except ValueError as error:
        raise Refusal(f"a level cannot be written: {error}", next="ask for more decimals with --decimals") from None


def _guarded(before: Reading, after: Reading) -> tuple[tuple[Amount, str], ...]:
    """The lines that moved and are guarded: preservatives and what law limits first."""
    moved: list[tuple[bool, Amount, str]] = []
    for first, second in zip(before.closure.amounts, after.closure.amounts, strict=True):
        material = before.materials.get(first.line.material)
        why = why_guarded(material)
        if material and why and first.counted != second.counted and first.line.level.kind != OPEN:
            moved.append((not (material.holds("preservative") or _limited(material)), first, why))
    return tuple((amount, why) for _, amount, why in sorted(moved, key=lambda each: each[0]))


def on_top(reading: Reading) -> Amount | None:
    """The line that looks as if it was added on top of a finished base: its level is exactly what the lines are over 100. The last such one."""
    over = -reading.closure.gap
    found = [a for a in reading.closure.amounts if over > 0 and a.line.level.kind == FIXED and a.counted == over]
    return found[-1] if found else None


def to_add(reading: Reading, kept: Sequence[Amount], base: Fraction) -> dict[str, Fraction]:
    """Grams of each kept line to add to `base` grams of all the others, so that it stands at its percent of the whole."""
    there = HUNDRED - sum((a.counted for a in kept), ZERO)
    out: dict[str, Fraction] = {}
    for a in kept:  # a material that stands in two phases is one thing to add
        out[a.line.material] = out.get(a.line.material, ZERO) + a.counted * base / there
    return out
