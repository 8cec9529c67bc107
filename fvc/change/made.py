"""A batch as it was made, written back as a plan: rounded to a stated number of decimals, and closed."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO, apportion, fixed, needed_decimals, number, round_to, shown, step_of
from fvc.change.levels import LevelEdit
from fvc.errors import Refusal
from fvc.formula import BALANCE, FIXED, OPEN, RATIO, Level, level_number
from fvc.reading import Reading
from fvc.weighing import takers


class Made(NamedTuple):
    """The edits that make a plan of a batch, and what is worth knowing of them, in words."""

    edits: tuple[LevelEdit, ...]
    notes: tuple[str, ...]


def made_into(plan: Reading, made: Reading, decimals: int) -> Made:
    """Edits that bring a plan to what was made of it.

    plan: what is edited; made: the batch. Every line gets its percent as made, rounded half up to `decimals`.
    The balance stays the balance and takes the rest; without one the largest line free to move takes what rounding
    left, so that the lines total 100 exactly. An open line stays open and expects what was found; a line held by a
    ratio gets a number, and that is said. Raises Refusal when a line would round to nothing.
    """
    percents = {(a.line.phase, a.line.material): a.counted for a in made.closure.amounts}
    lines = {(a.line.phase, a.line.material): a for a in plan.closure.amounts}
    balance = next((key for key, a in lines.items() if a.line.level.kind == BALANCE), None)
    free, _ = takers(made, [a.counted for a in made.closure.amounts])
    keys = list(percents)
    levels: Sequence[Fraction] = list(percents.values())
    if balance is None or balance not in percents:
        levels = apportion(levels, step_of(decimals), free[0] if free else None)
    else:
        levels = [round_to(value, step_of(decimals)) for value in levels]
    notes: list[str] = []
    edits: list[LevelEdit] = []
    nothing = [m for (_, m), level in zip(keys, levels, strict=True) if level == 0]
    if nothing:
        raise Refusal(
            f"at {decimals} decimals {', '.join(nothing)} would round to nothing", next=f"more decimals:  --decimals {decimals + 2}"
        )
    phases = [p.name for p in plan.plan.phases]
    for key, level in zip(keys, levels, strict=True):
        phase, material = key
        if key == balance:
            continue
        text = fixed(level, max(min(decimals, 2), needed_decimals(level) or 0))
        amount = lines.get(key)
        off = level - percents[key]
        if amount is None:
            where = phase if phase in phases else phases[-1]
            edits.append(LevelEdit(where, material, level_number(text), adds=True, rounded=off))
            notes.append(f"{material} did not stand in the plan: it is added to phase {where}")
        elif amount.line.level.kind == OPEN:
            edits.append(LevelEdit(phase, material, Level(OPEN, "open", number(text)), rounded=off))
            notes.append(f"{material} stays open, and expects {text}")
        elif amount.line.level.kind == RATIO or amount.percent != level:
            if amount.line.level.kind == RATIO:
                notes.append(f"{material} was held at {amount.line.level.text}; as made it is {text}, a number of its own")
            edits.append(LevelEdit(phase, material, Level(FIXED, text, number(text)), rounded=off))
    for phase, material in lines:
        if (phase, material) not in percents and (phase, material) != balance and lines[phase, material].line.level.kind != OPEN:
            edits.append(LevelEdit(phase, material, None))
            notes.append(f"{material} was not in the batch: its line goes")
    if balance is not None and balance not in percents:
        raise Refusal(f"{balance[1]}, the balance of the plan, was not in the batch", next="write the plan by hand, or retotal it")
    worst = max((abs(e.rounded) for e in edits), default=ZERO)
    if worst:
        notes.append(f"rounded to {decimals} decimals, half up; no line is more than {shown(worst, 4, 8)} points from what was made")
    return Made(tuple(e._replace(rounded=ZERO) for e in edits), tuple(notes))
