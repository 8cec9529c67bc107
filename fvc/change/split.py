"""One sheet for several variants: the base made once, and what each beaker gets.

The lines that are alike in all beakers are made once, as a common base, with as much of the balance as the
beaker that needs least of it; the base is split, and each beaker gets the rest: its own water, what differs
with all phases from there on, and what is open. Pure: takes variants and gives grams.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from math import ceil
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, round_to, shown
from fvc.change.ladder import Rung
from fvc.errors import Refusal
from fvc.formula import OPEN
from fvc.scales import Scale, choose_scale


class Portion(NamedTuple):
    """Grams of one line in the base or in a beaker. grams None: open, set at the bench, with what is expected in `exact`."""

    phase: str
    material: str
    exact: Fraction | None
    grams: Fraction | None
    scale: Scale
    small: bool = False


class Beaker(NamedTuple):
    """What one beaker gets: its part of the base, and the lines of its own."""

    rung: Rung
    base: Fraction
    portions: tuple[Portion, ...]


class SplitSheet(NamedTuple):
    """Several variants made from one base. batch: grams of each beaker. notes: what to look at, in words.

    own: (phase, material) of the lines that the beakers get one by one, in the order of addition.
    """

    batch: Fraction
    base: tuple[Portion, ...]
    base_total: Fraction
    beakers: tuple[Beaker, ...]
    own: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]


def split_sheet(
    rungs: Sequence[Rung], batch: Fraction, scales: Sequence[Scale], small_below: Fraction, overage: Fraction = ZERO
) -> SplitSheet:
    """One base for all beakers and what each gets, rounded half up to the scales; on one scale each beaker totals `batch` exactly, on several as nearly as they allow.

    batch: grams of a beaker. overage: percent of the base made beyond what the beakers take. The rounding remainder of
    a beaker is taken by its part of the base, that of the base by the balance.
    """
    batch = round_to(batch, choose_scale(batch, scales).step)
    if batch <= 0:
        raise Refusal("the beakers would hold nothing on this scale", next="ask for a larger --batch")
    keys = _keys(rungs)
    percents = {key: [_percent(r, key) for r in rungs] for key in keys}
    opened = {(a.line.phase, a.line.material) for r in rungs for a in r.after.closure.amounts if a.line.level.kind == OPEN}
    line = next(a.line for r in rungs if (a := r.after.closure.balance))
    balance = (line.phase, line.material)
    least = min(p or ZERO for p in percents[balance])
    differ = [k for k in keys if k != balance and k not in opened and len(set(percents[k])) > 1]
    apart = _from_where(keys, differ, balance)
    common = [k for k in keys if k not in opened and k != balance and k not in differ and k[0] not in apart]
    own = [balance] if any((p or ZERO) > least for p in percents[balance]) else []
    own += [k for k in keys if k not in common and k != balance]
    beakers = []
    for i, rung in enumerate(rungs):
        portions = []
        for key in own:
            percent = percents[key][i]
            exact = None if percent is None else ((percent - least) if key == balance else percent) * batch / HUNDRED
            there = key in {(a.line.phase, a.line.material) for a in rung.after.closure.amounts}
            portions.append(_portion(key, exact if there else ZERO, scales, small_below, key in opened and there, key == balance))
        used = sum((p.grams if p.grams is not None else p.exact or ZERO for p in portions), ZERO)
        beakers.append(Beaker(rung, round_to(batch - used, choose_scale(batch - used, scales).step), tuple(portions)))
    total = sum((b.base for b in beakers), ZERO) * (1 + overage / HUNDRED)
    total = round_to(total, choose_scale(total, scales).step)
    share = sum((percents[k][0] or ZERO for k in common), ZERO) + least
    base: list[Portion] = []
    for key in [k for k in keys if k in common or k == balance]:
        percent = least if key == balance else percents[key][0] or ZERO
        base.append(_portion(key, percent * total / share if share else ZERO, scales, small_below, False, False))
    rest = total - sum((p.grams or ZERO for p in base), ZERO)
    base = [p._replace(grams=(p.grams or ZERO) + round_to(rest, p.scale.step)) if (p.phase, p.material) == balance else p for p in base]
    total = sum((p.grams or ZERO for p in base), ZERO)
    return SplitSheet(
        batch,
        tuple(base),
        total,
        tuple(beakers),
        tuple(own),
        (*_small(beakers, base, batch, small_below), *_notes(rungs, own, balance, batch, scales, percents)),
    )


def _from_where(keys: Sequence[tuple[str, str]], differ: Sequence[tuple[str, str]], balance: tuple[str, str]) -> list[str]:
    """The phases that are made for each beaker by itself: the first one that differs, and what is added after it.

    A premix is blended as a whole (oils with what holds them), and what goes in cool must not be in a base to which a hot
    phase is still to come. The phase of the balance stays together: what differs there is added to the base, and noted.
    """
    phases = list(dict.fromkeys(p for p, _ in keys))
    first = next((i for i, p in enumerate(phases) if p != balance[0] and any(k[0] == p for k in differ)), len(phases))
    return [p for p in phases[first:] if p != balance[0]]


def _keys(rungs: Sequence[Rung]) -> list[tuple[str, str]]:
    """(phase, material) of all lines of all variants; phases in the order of the plan, lines in that of addition."""
    longest = max(rungs, key=lambda r: len(r.after.plan.lines))
    lines = dict.fromkeys((n.phase, n.material) for r in (longest, *rungs) for n in r.after.plan.lines)
    phases = list(dict.fromkeys(phase for phase, _ in lines))
    return sorted(lines, key=lambda k: phases.index(k[0]))


def _percent(rung: Rung, key: tuple[str, str]) -> Fraction | None:
    """The percent of a line; 0 where the variant has none, None where it is not known."""
    return next((a.percent for a in rung.after.closure.amounts if (a.line.phase, a.line.material) == key), ZERO)


def _portion(
    key: tuple[str, str], exact: Fraction | None, scales: Sequence[Scale], small_below: Fraction, opened: bool, water: bool
) -> Portion:
    scale = choose_scale(exact or ZERO, scales)
    small = bool(exact) and not water and (exact or ZERO) < small_below * scale.step
    return Portion(*key, exact, None if opened or exact is None else round_to(exact, scale.step), scale, small and not opened)


def _small(beakers: Sequence[Beaker], base: Sequence[Portion], batch: Fraction, small_below: Fraction) -> list[str]:
    """What is too small to weigh well, in which beakers or in the base, and the beaker from which on it is not."""
    found: dict[str, list[tuple[int, Fraction]]] = {}
    for place, beaker in enumerate(beakers, 1):
        for p in beaker.portions:
            if p.small and p.exact:
                found.setdefault(p.material, []).append((place, small_below * p.scale.step * batch / p.exact))
    out = []
    for material, each in found.items():
        where = "all beakers" if len(each) == len(beakers) else ", ".join(f"({n})" for n, _ in each)
        enough = ceil(max(grams for _, grams in each))
        reads = (
            ", where it reads 0," if any(p.grams == 0 and p.exact for b in beakers for p in b.portions if p.material == material) else ""
        )
        out.append(f"{material} is too small to weigh well in {where}{reads}: from {enough} g a beaker on, or as a stock solution")
    for p in base:
        if p.small and p.exact:
            enough, reads = ceil(small_below * p.scale.step * batch / p.exact), ", where it reads 0," if p.grams == 0 else ""
            out.append(f"{p.material} is too small to weigh well in the base{reads}: from {enough} g a beaker on, or as a stock solution")
    return out


def _notes(
    rungs: Sequence[Rung],
    own: Sequence[tuple[str, str]],
    balance: tuple[str, str],
    batch: Fraction,
    scales: Sequence[Scale],
    percents: Mapping[tuple[str, str], Sequence[Fraction | None]],
) -> tuple[str, ...]:
    out = []
    for key in own:
        if key == balance:
            continue
        known = sorted({p for p in percents[key] if p})
        for low, high in pairwise(known):
            step = choose_scale(high * batch / HUNDRED, scales).step
            if (high - low) * batch / HUNDRED < step:
                out.append(
                    f"{key[1]} at {shown(low, 2)} and {shown(high, 2)} % differ by {shown((high - low) * batch / HUNDRED, 2)} g, "
                    f"less than the scale can weigh ({shown(step, 0)} g): from {shown(step * HUNDRED / (high - low), 0, 0)} g a beaker on they differ by one step"
                )
    plan = rungs[0].after.plan
    for phase in plan.phases:
        names = [m for p, m in own if p == phase.name and (p, m) != balance]
        if names and phase.heat:
            out.append(
                f"phase {phase.name} is heated to {phase.heat} in the plan, and {', '.join(names)} would go in after the base: "
                "where that matters, make each beaker whole by its own weigh sheet"
            )
    return tuple(out)
