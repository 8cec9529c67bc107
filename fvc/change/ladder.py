"""Several variants in one go: a ladder of one level, or knock-outs of one line each. Pure: takes a reading and gives edits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from fvc.amounts import MOST_DECIMALS, Typed, shown
from fvc.change.levels import LevelEdit, amounts_named, carried_out, edits_for
from fvc.change.swap import holding
from fvc.errors import Refusal
from fvc.formula import RATIO, Level, Line, level_number, ratio_of
from fvc.material import Material
from fvc.names import printable
from fvc.reading import Reading

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
        edits = [
            *held,
            *edits_for(start, [f"{material}={level.text}"], decimals=MOST_DECIMALS, batch=None, free=False, known=list(materials)),
        ]
        after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
        _check_room(reading, after, f"{name} at {level.text}")
        out.append(Rung(f"{prefix or name}-{level.text.replace('.', '-')}", f"{name} at {level.text} %", tuple(edits), after))
    return tuple(out)


def _check_room(before: Reading, after: Reading, what: str) -> None:
    if after.closure.closed:
        return
    balance = before.closure.balance
    if balance is None:
        raise Refusal(
            f"{what}: the lines would total {shown(after.closure.total, 2)}, and no line is the balance",
            next="make one line the balance first:  fvc set … MATERIAL=balance --free",
        )
    now = after.closure.balance
    if now is None or now.counted >= 0:  # something else than the room
        raise Refusal(after.closure.faults)
    raise Refusal(
        f"{what}: {balance.line.material}, the balance, would be {shown(-now.counted, 2)} below zero",
        next=f"the room there is: {balance.text} % of {balance.line.material} beyond what stands there now",
    )


def knockouts(
    reading: Reading, names: Sequence[str], materials: Mapping[str, Material], *, function: str = "", prefix: str = "without"
) -> tuple[Rung, ...]:
    """One variant for each material left out, the balance following; all but the balance where none is named.

    A line held by a ratio to nothing but what is left out goes with it, and that is noted. Raises Refusal for a name
    that is not there, the balance itself, or a plan without a balance.
    """
    if reading.closure.balance is None:
        raise Refusal(
            f"{reading.plan.id} has no balance, so nothing takes the place of what is left out",
            next=f"make one line the balance first:  fvc set {reading.plan.id} MATERIAL=balance --free",
        )
    chosen = amounts_named(reading, [n for n in names if ":" not in n], function) if names or function else reading.closure.amounts
    wanted = list(dict.fromkeys((a.line.material, "") for a in chosen))
    wanted += [(a.line.material, a.line.phase) for n in names if ":" in n for a in amounts_named(reading, [n])]
    balance = reading.closure.balance.line.material
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
        unfit = "made without its preservative" if any(m.holds("preservative") for m in gone) else ""
        id, where = (f"{prefix}-{phase.lower()}-{material}", f" in phase {phase}") if phase else (f"{prefix}-{material}", "")
        out.append(Rung(id, f"without {material}{where}", tuple(edits), after, unfit, tuple(notes)))
    if not out:
        raise Refusal("nothing is left out", next="name a line of the plan")
    return tuple(out)


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
            ratio = ratio_of(line.level.number.text, left)
            edits.append(LevelEdit(line.phase, line.material, ratio))
            notes.append(f'{line.material} is now held at "{ratio.text}"')
    return edits, notes


def _still(reading: Reading, line: Line, gone: set[str]) -> tuple[str, ...]:
    """What a ratio still refers to when some materials go."""
    if line.level.of:
        return tuple(id for id in line.level.of if id not in gone)
    wanted = line.level.function
    return tuple(id for id in reading.plan.reached() if id not in gone and wanted in (f.casefold() for f in reading.functions(id)))
