"""Several variants in one go: a ladder of one level, or knock-outs of one line each; and what each beaker gets.

The lines that are alike in all beakers are made once, as a common base, with as much of the balance as the
beaker that needs least of it; the base is split, and each beaker gets the rest: its own water, what differs
with all phases from there on, and what is open. Pure: takes a reading and gives edits and grams.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from math import ceil
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, Typed, number, round_to, shown
from fvc.change.levels import LevelEdit, carried_out, edits_for
from fvc.change.swap import amounts_named, holding
from fvc.errors import Refusal
from fvc.formula import BALANCE, RATIO, Level, Line, level_number, level_words
from fvc.material import Material
from fvc.names import printable
from fvc.reading import Reading
from fvc.scales import Scale, choose_scale

MOST_BEAKERS = 60


class Rung(NamedTuple):
    """One of several variants made in one go.

    id: of the variant. words: what is different. not_for_use: why it may not be used, "" when nothing says so.
    after: the plan with the edits carried out. notes: what went along.
    """

    id: str
    words: str
    edits: tuple[LevelEdit, ...]
    after: Reading
    not_for_use: str = ""
    notes: tuple[str, ...] = ()


def levels_from_text(texts: Sequence[str]) -> list[Typed]:
    """The levels of a ladder, as typed. Raises Refusal for fewer than two, one that is no level, or two alike."""
    out: list[Typed] = []
    for text in texts:
        try:
            level = level_number(text.strip().removesuffix("%").strip()).number
            assert level is not None
        except ValueError as error:
            raise Refusal(f'the level "{printable(text)}" cannot be read: {error}', next="for example  0.2 0.3 0.4") from None
        if any(level.value == other.value for other in out):
            raise Refusal(f"{text} stands twice in the ladder", next="leave one of the two")
        out.append(level)
    if len(out) < 2:
        raise Refusal("a ladder needs at least two levels", next="for example  fvc ladder face-toner propanediol 2.0 2.5 3.0")
    if len(out) > MOST_BEAKERS:
        raise Refusal(f"{len(out)} levels are more than {MOST_BEAKERS} beakers", next="take fewer")
    return out


def ladder(
    reading: Reading,
    material: str,
    levels: Sequence[Typed],
    materials: Mapping[str, Material],
    *,
    holds: Sequence[tuple[str, Level]] = (),
    prefix: str = "",
) -> tuple[Rung, ...]:
    """One variant for each level of `MATERIAL` or `PHASE:MATERIAL`; the balance follows, and so does what a ratio holds.

    holds: lines to hold by a ratio in all of them. prefix: of the ids; else the material's id. Raises Refusal where a
    level cannot be set, with the room there is.
    """
    held = holding(reading, holds)
    start = reading.with_lines(carried_out(reading.plan.lines, held), materials)
    name = material.rpartition(":")[2]
    out = []
    for level in levels:
        edits = [*held, *edits_for(start, [f"{material}={level.text}"], decimals=8, batch=None, free=False, known=list(materials))]
        after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
        _check_room(reading, after, f"{name} at {level.text}")
        out.append(Rung(f"{prefix or name}-{level.text.replace('.', '-')}", f"{name} at {level.text} %", tuple(edits), after))
    return tuple(out)


def _check_room(before: Reading, after: Reading, what: str) -> None:
    if after.closure.closed:
        return
    balance = next((a for a in before.closure.amounts if a.line.level.kind == BALANCE), None)
    if balance is None:
        raise Refusal(
            f"{what}: the lines would total {shown(after.closure.total, 2)}, and no line is the balance",
            next="make one line the balance first:  fvc set … MATERIAL=balance --free",
        )
    now = next((a.counted for a in after.closure.amounts if a.line.level.kind == BALANCE), None)
    if now is None or now >= 0:  # something else than the room
        raise Refusal(after.closure.faults)
    raise Refusal(
        f"{what}: {balance.line.material}, the balance, would be {shown(-now, 2)} below zero",
        next=f"the room there is: {balance.text} % of {balance.line.material} beyond what stands there now",
    )


def knockouts(
    reading: Reading, names: Sequence[str], materials: Mapping[str, Material], *, function: str = "", prefix: str = "without"
) -> tuple[Rung, ...]:
    """One variant for each material left out, the balance following; all but the balance where none is named.

    A line held by a ratio to nothing but what is left out goes with it, and that is noted. Raises Refusal for a name
    that is not there, the balance itself, or a plan without a balance.
    """
    if not any(a.line.level.kind == BALANCE for a in reading.closure.amounts):
        raise Refusal(
            f"{reading.plan.id} has no balance, so nothing takes the place of what is left out",
            next=f"make one line the balance first:  fvc set {reading.plan.id} MATERIAL=balance --free",
        )
    chosen = amounts_named(reading, [n for n in names if ":" not in n], function) if names or function else reading.closure.amounts
    wanted = list(dict.fromkeys((a.line.material, "") for a in chosen))
    wanted += [(a.line.material, a.line.phase) for n in names if ":" in n for a in amounts_named(reading, [n])]
    balance = next(a.line.material for a in reading.closure.amounts if a.line.level.kind == BALANCE)
    if (names or function) and balance in (material for material, _ in wanted):
        raise Refusal(f"{balance} is the balance, which closes every plan", next="name other lines")
    out = []
    for material, phase in wanted:
        if material == balance:
            continue
        edits, notes = _left_out(reading, material, phase)
        after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
        if not after.closure.closed:
            raise Refusal(after.closure.faults)
        gone = [materials[e.material] for e in edits if e.level is None and e.material in materials]
        unfit = "made without its preservative" if any(preserves(m) for m in gone) else ""
        id, where = (f"{prefix}-{phase.lower()}-{material}", f" in phase {phase}") if phase else (f"{prefix}-{material}", "")
        out.append(Rung(id, f"without {material}{where}", tuple(edits), after, unfit, tuple(notes)))
    if not out:
        raise Refusal("nothing is left out", next="name a line of the plan")
    return tuple(out)


def preserves(material: Material) -> bool:
    """True for a preservative, and for a formula that holds one."""
    return material.does("preservative") or any(inner.material.does("preservative") for inner in material.inside)


def _left_out(reading: Reading, material: str, phase: str) -> tuple[list[LevelEdit], list[str]]:
    """The edits that leave a material out (in one phase only, if named), with the ratios that refer to nothing else."""
    lines = [line for line in reading.plan.lines if line.material == material]
    edits = [LevelEdit(line.phase, line.material, None) for line in lines if not phase or line.phase == phase]
    gone = {material} if len(edits) == len(lines) else set()
    notes: list[str] = []
    changed = True
    while changed:  # a ratio to a line that goes may itself be referred to
        changed = False
        for line in reading.plan.lines:
            if line.level.kind != RATIO or line.material in gone:
                continue
            of = _still(reading, line, gone)
            if not of:
                gone.add(line.material)
                edits.append(LevelEdit(line.phase, line.material, None))
                notes.append(f'{line.material} goes too: it is held at "{line.level.text}"')
                changed = True
    for line in reading.plan.lines:
        if line.level.kind == RATIO and line.material not in gone and set(line.level.of) & gone:
            left = [id for id in line.level.of if id not in gone]
            assert line.level.number is not None
            text = f"{line.level.number.text} x {left[0] if len(left) == 1 else '(' + ' + '.join(left) + ')'}"
            edits.append(LevelEdit(line.phase, line.material, level_words(text)))
            notes.append(f'{line.material} is now held at "{text}"')
    return edits, notes


def _still(reading: Reading, line: Line, gone: set[str]) -> tuple[str, ...]:
    """What a ratio still refers to when some materials go."""
    if line.level.of:
        return tuple(id for id in line.level.of if id not in gone)
    wanted = line.level.function
    return tuple(id for id in reading.plan.reached() if id not in gone and wanted in (f.casefold() for f in reading.functions(id)))


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
    opened = {(a.line.phase, a.line.material) for r in rungs for a in r.after.closure.amounts if a.line.level.kind == "open"}
    balance = next((a.line.phase, a.line.material) for r in rungs for a in r.after.closure.amounts if a.line.level.kind == BALANCE)
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


def number_of(text: str, what: str, example: str) -> Fraction:
    """A plain number given on the command line, with or without a percent sign. Raises Refusal."""
    try:
        return number(text.strip().removesuffix("%").strip()).value
    except ValueError as error:
        raise Refusal(f'{what} "{printable(text)}" cannot be read: {error}', next=f"for example  {example}") from None
