"""From percent to the scales: batch sizes, and the weigh sheet with its rounding rule.

The weigh sheet is what was asked for, rounded to what the scales can show. It is computed, never
stored, and never the truth: the plan is percent, the batch is what was really weighed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from fvc.amounts import HUNDRED, ZERO, apportion, fixed, needed_decimals, round_to, shown, step_of
from fvc.errors import Refusal
from fvc.formula import BALANCE, FIXED, MADE, PROTECTED_FUNCTIONS, Amount
from fvc.reading import Reading
from fvc.scales import SMALL_BELOW, Scale, choose_scale

# USP general chapter <41> (official 1 August 2019): smallest net weight 2000 x s, s never below
# 0.41 d, so 820 d. Information for the reader, not an error: home makers work below that.
USP_41_STEPS = 820


@dataclass(frozen=True, kw_only=True, eq=False)
class WeighLine:
    """One row of a weigh sheet; masses in grams.

    grams: rounded to `scale`; None for an open line without expectation, which reserves nothing.
    relative_error: of the rounding, in percent of the exact grams; None where there are none.
    over_scale: more than the scale carries at once.
    mending_batch: the batch from which the line is no longer too small, exact.
    stock: strength in percent and grams of a stock solution that would mend it in this batch.
    """

    amount: Amount
    scale: Scale
    grams: Fraction | None
    exact_grams: Fraction | None
    too_small: bool = False
    makeable: bool = True
    over_scale: bool = False
    takes_rest: bool = False
    mending_batch: Fraction | None = None
    stock: tuple[Fraction, Fraction] | None = None

    @property
    def relative_error(self) -> Fraction | None:
        """Rounding error in percent of the exact grams."""
        if self.grams is None or not self.exact_grams:
            return None
        return (self.grams - self.exact_grams) * 100 / self.exact_grams


@dataclass(frozen=True, kw_only=True, eq=False)
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


def takers(reading: Reading, exact: Sequence[Fraction | None]) -> tuple[list[int], list[int]]:
    """Lines that may take the rounding remainder, the best first, and those that should not.

    The balance; else the largest free line without an equal; then largest free lines that have
    equals. Never a preservative, an essential oil, a line with a limit of use, an open line or
    one held by a ratio: those are the second list, the largest first, for a plan that has nothing else.
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
        return not material.holds(*PROTECTED_FUNCTIONS) and material.use_level is None

    alone = [i for i in order if free(i) and sum(1 for g in exact if g == exact[i]) == 1]
    others = [i for i in order if free(i)]
    may = list(dict.fromkeys([*balance, *alone, *others]))
    return may, [i for i in order if i not in may]


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
    took = _placed(rest, grams, chosen, *takers(reading, exact))
    largest = max((g for g in exact if g is not None), default=ZERO)
    lines = []
    for i, amount in enumerate(amounts):
        g = grams[i]
        lines.append(
            _line(amount, chosen[i], None if g is None else g + took.get(i, ZERO), exact[i], i in took, batch, small_below, largest)
        )
    total = sum((line.grams for line in lines if line.grams is not None), ZERO)
    return WeighSheet(
        lines=tuple(lines),
        asked=asked,
        batch=batch,
        total=total,
        batch_scale=batch_scale,
        rule=_rule(reading, took),
        small_below=small_below,
    )


def _placed(
    rest: Fraction, grams: Sequence[Fraction | None], scales: Sequence[Scale], may: Sequence[int], last: Sequence[int]
) -> dict[int, Fraction]:
    """Who takes how much of the rounding remainder: the best line that can take it whole.

    Where none can give so much (a batch of few steps), each gives one step of its scale, the best first.
    """
    for i in may or last:
        given = round_to(rest, scales[i].step)
        if (grams[i] or ZERO) + given >= 0:
            return {i: given} if given else {}
    took: dict[int, Fraction] = {}
    for i in (*may, *last):
        given = max(round_to(rest, scales[i].step), -min(scales[i].step, grams[i] or ZERO))
        if given:
            took[i] = given
            rest -= given
    return took


def _line(
    amount: Amount,
    scale: Scale,
    grams: Fraction | None,
    exact: Fraction | None,
    takes_rest: bool,
    batch: Fraction,
    small_below: Fraction,
    largest: Fraction,
) -> WeighLine:
    smallest = small_below * scale.step
    small = exact is not None and 0 < exact < smallest
    makeable = not (exact is not None and exact > 0 and grams == 0)
    mending = stock = None
    if exact and (small or not makeable):
        mending = smallest * batch / exact
        strength = next((s for s in _STOCKS if exact * 100 / s >= smallest), None)
        # the carrier of a stock is taken off another line, which must have it to give
        if strength is not None and exact * 100 / strength - exact <= largest / 2:
            stock = (strength, exact * 100 / strength)
    return WeighLine(
        amount=amount,
        scale=scale,
        grams=grams,
        exact_grams=exact,
        too_small=small,
        makeable=makeable,
        over_scale=scale.most is not None and grams is not None and grams > scale.most,
        takes_rest=takes_rest,
        mending_batch=mending,
        stock=stock,
    )


def _rule(reading: Reading, took: Mapping[int, Fraction]) -> str:
    rule = "Lines are rounded half up"
    if not took:
        return rule + "."
    rest = sum(took.values(), ZERO)
    moved = f"{'+' if rest > 0 else ''}{fixed(rest, needed_decimals(rest) or 0)} g"
    taken = [reading.closure.amounts[i].line for i in took]
    if len(taken) > 1:
        names = ", ".join(line.material for line in taken)
        return f"{rule}; {names} share the rest ({moved}), which is more than any one of them can give."
    line = taken[0]
    what = "the balance" if line.level.kind == BALANCE else "the largest line free to move"
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
