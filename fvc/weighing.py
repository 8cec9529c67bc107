"""From percent to the scales: batch sizes, and the weigh sheet with its rounding rule.

The weigh sheet is what was asked for, rounded to what the scales can show. It is computed, never
stored, and never the truth: the plan is percent, the batch is what was really weighed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, apportion, fixed, mass, needed_decimals, number, round_to, shown, step_of, volume
from fvc.errors import Refusal
from fvc.formula import BALANCE, FIXED, MADE, PROTECTED_FUNCTIONS, Amount
from fvc.reading import Reading


class Scale(NamedTuple):
    """A balance on the bench: what it resolves and what it carries, in grams; most None: no limit."""

    step: Fraction
    most: Fraction | None = None

    @property
    def decimals(self) -> int:
        """Decimals that its display needs."""
        return needed_decimals(self.step) or 0


COMMON_SCALES = (Scale(Fraction(1, 100), Fraction(500)), Scale(Fraction(1), Fraction(5000)))
SMALL_BELOW = Fraction(20)  # steps; half a step is then 2.5 %

# USP general chapter <41> (official 1 August 2019): smallest net weight 2000 x s, s never below
# 0.41 d, so 820 d. Information for the reader, not an error: home makers work below that.
USP_41_STEPS = 820

_BOTTLES = re.compile(r"([1-9][0-9]*)\s*[x×]\s*(.+)")
_BY_MATERIAL = re.compile(r"(\S+)\s+(\S.*)")


class Batch(NamedTuple):
    """A batch size as asked for: grams, or a volume that needs a density, or as much as a material allows."""

    text: str
    grams: Fraction | None = None
    millilitres: Fraction | None = None
    material: str = ""
    material_grams: Fraction = ZERO


def parse_batch(text: str) -> Batch:
    """`500g`, `1.5 kg`, `5 oz`, `200 mL`, `6 x 30 mL`, or `neroli-oil 3.2g`. ValueError otherwise."""
    plain = " ".join(text.split())
    bottles = _BOTTLES.fullmatch(plain)
    count = int(bottles[1]) if bottles else 1
    each = bottles[2] if bottles else plain
    by_material = _BY_MATERIAL.fullmatch(plain)
    if by_material and not bottles and re.fullmatch(r"[a-z0-9-]*[a-z][a-z0-9-]*", by_material[1]) and not by_material[2].isalpha():
        return Batch(plain, material=by_material[1], material_grams=mass(by_material[2]))
    if re.search(r"(ml|l)$", each, re.IGNORECASE):
        return Batch(plain, millilitres=volume(each) * count)
    try:
        return Batch(plain, grams=mass(each) * count)
    except ValueError as error:
        raise ValueError(f"{error}; a batch is such as 150g, 1.5 kg, 5 oz, 200 mL, 6 x 30 mL, or neroli-oil 3.2g") from None


def batch_grams(batch: Batch, reading: Reading, density: Fraction | None) -> Fraction:
    """The batch in grams. density: g/mL of the product, needed for a volume.

    Raises Refusal when a density is missing or the material gives no size.
    """
    if batch.grams is not None:
        return batch.grams
    if batch.millilitres is not None:
        if density is None:
            raise Refusal(
                f'the batch "{batch.text}" is a volume and the density of {reading.plan.id} is not known',
                next="add --density 1.01 (g/mL), or density = 1.01 under [spec] in the plan",
            )
        return batch.millilitres * density
    percent = sum((a.counted for a in reading.closure.amounts if a.line.material == batch.material), ZERO)
    if percent == 0:
        known = ", ".join(reading.plan.reached())
        raise Refusal(f"{batch.material} is not in {reading.plan.id}, so it gives no batch size", next=f"name one of: {known}")
    return batch.material_grams * 100 / percent


def scale_from_text(text: str) -> Scale:
    """`0.01 g`, `0.1g` or `1` (grams). ValueError otherwise."""
    plain = text.strip()
    step = number(plain).value if re.fullmatch(r"[0-9.,]+", plain) else mass(plain)
    if step == 0:
        raise ValueError("a scale resolves more than zero")
    if needed_decimals(step) is None or step > 1000:
        raise ValueError("a scale steps in a decimal fraction of a gram, such as 0.01 g")
    return Scale(step)


@dataclass(frozen=True, kw_only=True)
class WeighLine:
    """One row of a weigh sheet; masses in grams.

    grams: rounded to `scale`; None for an open line without expectation, which reserves nothing.
    relative_error: of the rounding, in percent of the exact grams; None where there are none.
    mending_batch: the batch from which the line is no longer too small, exact.
    stock: strength in percent and grams of a stock solution that would mend it in this batch.
    """

    amount: Amount
    scale: Scale
    grams: Fraction | None
    exact_grams: Fraction | None
    too_small: bool = False
    makeable: bool = True
    takes_rest: bool = False
    mending_batch: Fraction | None = None
    stock: tuple[Fraction, Fraction] | None = None

    @property
    def relative_error(self) -> Fraction | None:
        """Rounding error in percent of the exact grams."""
        if self.grams is None or not self.exact_grams:
            return None
        return (self.grams - self.exact_grams) * 100 / self.exact_grams


@dataclass(frozen=True, kw_only=True)
class WeighSheet:
    """Grams for one batch.

    asked: the batch as asked for; batch: rounded to the scale; total: what the lines add up to,
    an open line counted at its expected grams. With one scale total and batch are equal.
    rule: how the lines were rounded and which one takes the rest, in words.
    """

    lines: tuple[WeighLine, ...]
    asked: Fraction
    batch: Fraction
    total: Fraction
    batch_scale: Scale
    rule: str
    small_below: Fraction


# Strengths of stock solutions that are easy to make, strongest first.
_STOCKS = tuple(Fraction(s) for s in ("50", "25", "20", "10", "5", "2", "1", "0.5", "0.2", "0.1"))


def choose_scale(grams: Fraction, scales: Sequence[Scale]) -> Scale:
    """The finest scale that carries `grams`; where none does, the one that carries most."""
    fit = [s for s in scales if s.most is None or grams <= s.most]
    return min(fit, key=lambda s: s.step) if fit else max(scales, key=lambda s: s.most or ZERO)


def takers(reading: Reading, exact: Sequence[Fraction | None]) -> list[int]:
    """Lines that may take the rounding remainder, the best first.

    The balance; else the largest free line without an equal; then largest free lines that have
    equals. Never a preservative, an essential oil, a line with a limit of use, an open line or
    one held by a ratio: those stand last, the largest first, for a plan that has nothing else.
    """
    amounts = reading.closure.amounts
    order = sorted((i for i, g in enumerate(exact) if g is not None), key=lambda i: (-(exact[i] or ZERO), i))
    balance = [i for i in order if amounts[i].line.level.kind == BALANCE]

    def free(i: int) -> bool:
        if amounts[i].line.level.kind not in (FIXED, MADE):
            return False
        material = reading.materials.get(amounts[i].line.material)
        if material is None:
            return True
        return not (PROTECTED_FUNCTIONS & {f.lower() for f in material.functions}) and material.use_level is None

    alone = [i for i in order if free(i) and sum(1 for g in exact if g == exact[i]) == 1]
    others = [i for i in order if free(i)]
    return list(dict.fromkeys([*balance, *alone, *others, *order]))


def weigh_sheet(reading: Reading, asked: Fraction, scales: Sequence[Scale], small_below: Fraction = SMALL_BELOW) -> WeighSheet:
    """Grams for a batch of `asked` grams, rounded half up to the scales.

    With one scale the batch is rounded to it and the lines total it exactly; with several, each
    line goes to the finest that carries it and the rest is kept as near as the scales allow.
    Raises Refusal when the plan does not close or the batch rounds to nothing. Not checked:
    vessel size.
    """
    if not reading.sound:
        raise Refusal(reading.faults)
    batch_scale = choose_scale(asked, scales)
    batch = round_to(asked, batch_scale.step)
    if batch <= 0:
        raise Refusal(
            f"a batch of {shown(asked, 0, 6)} g reads 0 on a scale of {shown(batch_scale.step, 0)} g",
            next="ask for a larger batch or name a finer scale with --scale",
        )
    amounts = reading.closure.amounts
    exact = [None if a.percent is None else a.percent * batch / HUNDRED for a in amounts]
    chosen = [choose_scale(g or ZERO, scales) for g in exact]
    grams = [None if g is None else round_to(g, s.step) for g, s in zip(exact, chosen, strict=True)]
    rest = batch - sum((g for g in grams if g is not None), ZERO)
    taker = None
    for i in takers(reading, exact):
        moved = (grams[i] or ZERO) + round_to(rest, chosen[i].step)
        if moved >= 0:
            taker, grams[i] = i, moved
            break
    lines = []
    for i, amount in enumerate(amounts):
        lines.append(_line(amount, chosen[i], grams[i], exact[i], i == taker and rest != 0, batch, small_below))
    total = sum((g for g in grams if g is not None), ZERO)
    return WeighSheet(
        lines=tuple(lines),
        asked=asked,
        batch=batch,
        total=total,
        batch_scale=batch_scale,
        rule=_rule(reading, taker, rest),
        small_below=small_below,
    )


def _line(
    amount: Amount,
    scale: Scale,
    grams: Fraction | None,
    exact: Fraction | None,
    takes_rest: bool,
    batch: Fraction,
    small_below: Fraction,
) -> WeighLine:
    smallest = small_below * scale.step
    small = exact is not None and 0 < exact < smallest
    makeable = not (exact is not None and exact > 0 and grams == 0)
    mending = stock = None
    if exact and (small or not makeable):
        mending = smallest * batch / exact
        strength = next((s for s in _STOCKS if exact * 100 / s >= smallest), None)
        if strength is not None and exact * 100 / strength <= batch:
            stock = (strength, exact * 100 / strength)
    return WeighLine(
        amount=amount,
        scale=scale,
        grams=grams,
        exact_grams=exact,
        too_small=small,
        makeable=makeable,
        takes_rest=takes_rest,
        mending_batch=mending,
        stock=stock,
    )


def _rule(reading: Reading, taker: int | None, rest: Fraction) -> str:
    rule = "Lines are rounded half up"
    if taker is None or rest == 0:
        return rule + "."
    line = reading.closure.amounts[taker].line
    what = "the balance" if line.level.kind == BALANCE else "the largest line free to move"
    moved = f"{'+' if rest > 0 else ''}{fixed(rest, needed_decimals(rest) or 0)} g"
    return f"{rule}; {line.material}, {what}, takes the rest ({moved})."


def grams_to_percent(weights: Sequence[Fraction], decimals: int) -> list[Fraction]:
    """Weights to percent, rounded half up to `decimals` with the rest placed so that they total 100.

    The largest weight without an equal takes the rest, so that equal weights stay equal; where
    every weight has an equal nothing is moved. Zero and negative weights are for the caller to refuse.
    """
    whole = sum(weights, ZERO)
    exact = [w * 100 / whole for w in weights]
    alone = [i for i, w in enumerate(weights) if sum(1 for x in weights if x == w) == 1]
    taker = max(alone, key=lambda i: weights[i]) if alone else None
    return apportion(exact, step_of(decimals), taker)
