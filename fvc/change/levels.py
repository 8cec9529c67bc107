"""`propanediol=2.5`, `=+0.5`, `=-20%`, `=3.0g`, `=none`: what such words make of a plan's levels.

Pure: takes a reading and the words, gives the edits to make. Nothing is rescaled silently; the
balance and the ratios follow because they are worked out anew from the edited plan.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, fixed, mass, needed_decimals, number, round_to, shown, step_of
from fvc.errors import Fault, Refusal
from fvc.formula import BALANCE, FIXED, OPEN, Amount, Level, Line, level_number, level_words
from fvc.names import is_phase_name, printable, suggestion, why_not_an_id
from fvc.reading import Reading

FORMS = (
    "MATERIAL=2.5, =+0.5, =-20%, =3.0g, =none (remove), =balance, =open, '=open 0.45', '=4 x neroli-oil', "
    "or PHASE:MATERIAL=1.0 to add a line or to pick one of several"
)


class LevelEdit(NamedTuple):
    """One line to change. level None removes it; `adds` puts a new line at the end of its phase, or behind the line `behind`.

    replaces: the material whose line becomes this one, in its place. note: beside a new line. rounded: what was rounded away
    from the exact level, in points, when the level was computed.
    """

    phase: str
    material: str
    level: Level | None
    adds: bool = False
    rounded: Fraction = ZERO
    replaces: str = ""
    behind: str = ""
    note: str = ""


def carried_out(lines: Sequence[Line], edits: Sequence[LevelEdit]) -> tuple[Line, ...]:
    """The lines with edits carried out, as a file would be edited: the rest keeps its order, a note stays with its line."""
    out = list(lines)
    put: dict[tuple[str, str], int] = {}  # how many were put behind a line already: they stand in the order of the edits
    for edit in edits:
        where = [i for i, line in enumerate(out) if line.phase == edit.phase]
        named = edit.behind if edit.adds else (edit.replaces or edit.material)
        at = next((i for i in where if out[i].material == named), None)
        if edit.adds:
            assert edit.level is not None
            index = at + put.get((edit.phase, edit.behind), 0) if at is not None else max(where, default=len(out) - 1)
            put[edit.phase, edit.behind] = put.get((edit.phase, edit.behind), 0) + 1
            out.insert(index + 1, Line(edit.phase, edit.material, edit.level, edit.note))
        elif at is not None and edit.level is None:
            del out[at]
        elif at is not None and edit.level is not None:
            out[at] = Line(edit.phase, edit.material, edit.level, out[at].note)
    return tuple(out)


class Asked(NamedTuple):
    """An assignment taken apart, as typed."""

    text: str
    phase: str
    material: str
    value: str


def parse_assignment(text: str) -> Asked:
    """`[PHASE:]MATERIAL=VALUE`. Raises Refusal when it is none; nothing is looked up."""
    where, equals, value = text.partition("=")
    phase, colon, material = where.rpartition(":")
    material, phase, value = material.strip(), phase.strip(), value.strip()
    reason = why_not_an_id(material)
    if not equals or not value or reason or (colon and not is_phase_name(phase)):
        what = f'"{printable(material)}" is no id, {reason}' if equals and reason else "expected MATERIAL=VALUE"
        raise Refusal(f'"{printable(text)}" is not a change: {what}', next=f"write {FORMS}")
    return Asked(text, phase, material, value)


def edits_for(
    reading: Reading, assignments: Sequence[str], *, decimals: int, batch: Fraction | None, free: bool, known: Sequence[str]
) -> list[LevelEdit]:
    """The edits that the assignments ask for, all taken against the plan as it stands.

    decimals: most decimals of a level that is computed here. batch: grams, for `=3.0g`.
    free: allow a number for a line that a ratio or the balance holds. known: ids that may be
    added. Raises Refusal with all that is wrong.
    """
    edits: list[LevelEdit] = []
    faults: list[Fault] = []
    for text in assignments:
        try:
            asked = parse_assignment(text)
            edit = _edit(reading, asked, decimals, batch, free, known)
            twice = [e for e in edits if (e.phase, e.material) == (edit.phase, edit.material)]
            if twice:
                raise Refusal(f"{edit.phase}:{edit.material} is set twice", next="leave one of the two")
            edits.append(edit)
        except Refusal as refusal:
            faults += refusal.faults
    if faults:
        raise Refusal(faults)
    return edits


def _edit(reading: Reading, asked: Asked, decimals: int, batch: Fraction | None, free: bool, known: Sequence[str]) -> LevelEdit:
    line = _line(reading, asked, known)
    if line is None:
        if asked.value.lower() == "none":
            raise Refusal(f"{asked.material} is not in phase {asked.phase}, so there is nothing to remove", next="leave it out")
        level, rounded = _new_level(reading, asked, None, decimals, batch)
        return LevelEdit(asked.phase, asked.material, level, adds=True, rounded=rounded)
    if asked.value.lower() == "none":
        return LevelEdit(line.phase, line.material, None)
    if line.level.follows and not free and asked.value[0] in "+-":
        raise _held(line)
    level, rounded = _new_level(reading, asked, line, decimals, batch)
    if line.level.follows and level.kind != line.level.kind and not free:
        raise _held(line)
    return LevelEdit(line.phase, line.material, level, rounded=rounded)


def _held(line: Line) -> Refusal:
    """Why a line that follows others takes no level of its own, with both ways out."""
    if line.level.kind == BALANCE:
        return Refusal(
            f"{line.material} is the balance: it takes whatever closes the total to 100",
            next="change another line and it follows, or give it a level of its own with --free",
        )
    other = 4 if line.level.number and line.level.number.value == 5 else 5
    return Refusal(
        f"{line.material} is held by the ratio {line.level.text}",
        next=f'change the ratio:  "{line.material}={ratio_text(str(other), line.level)}"  or free the line with --free',
    )


def ratio_text(factor: str, level: Level) -> str:
    """The ratio of a level with another factor, as it would be typed."""
    behind = re.split(r"\s*[x×]\s*", level.text, maxsplit=1)[1]
    return f"{factor} x {behind}"


def _line(reading: Reading, asked: Asked, known: Sequence[str]) -> Line | None:
    """The line that is meant; None for a line to add."""
    lines = [line for line in reading.plan.lines if line.material == asked.material]
    if asked.phase:
        here = [line for line in lines if line.phase == asked.phase]
        if not here and asked.value.lower() != "none" and asked.material not in known:
            raise Refusal(
                f'unknown material "{asked.material}"',
                next=suggestion(asked.material, known, f"make its record with  fvc new material {asked.material}"),
            )
        return here[0] if here else None
    if len(lines) > 1:
        choices = " or ".join(f"{line.phase}:{line.material}={asked.value}" for line in lines)
        raise Refusal(f"{asked.material} stands in {len(lines)} phases", next=f"say which: {choices}")
    if not lines:
        phases = [p.name for p in reading.plan.phases] or ["A"]
        if asked.material in known:
            way = f"to add it, say where: {phases[-1]}:{asked.material}={asked.value}"
        else:
            way = suggestion(asked.material, reading.plan.reached(), "name a line of the plan")
        raise Refusal(f"{asked.material} is not in {reading.plan.id}", next=way)
    return lines[0]


def _new_level(reading: Reading, asked: Asked, line: Line | None, decimals: int, batch: Fraction | None) -> tuple[Level, Fraction]:
    """The level that a value means, and what was rounded away. Raises Refusal with the reason."""
    value = asked.value
    try:
        relative = re.fullmatch(r"([+-])\s*([0-9.,]+)\s*(%?)", value)
        if relative:
            return _relative(reading, asked, line, decimals, relative[1], number(relative[2]).value, bool(relative[3]))
        if re.fullmatch(r"[0-9.,]+\s*%", value):
            plain = value.rstrip("% ")
            raise ValueError(
                f"a % sign here could mean two things: write {plain} for a level, +{plain}% or -{plain}% for a change relative to it"
            )
        if re.fullmatch(r"[0-9.,]+\s*[A-Za-z]+", value):
            if batch is None:
                raise ValueError("grams need a batch size: add --batch 200g")
            exact = mass(value) * HUNDRED / batch
            return computed(exact, 0, decimals)
        level = typed_level(value)
        if level == Level(OPEN, "open") and line is not None and line.level.kind == OPEN:
            level = line.level
        return level, ZERO
    except ValueError as error:
        raise Refusal(f"{printable(asked.text)}: {error}", next=f"write {FORMS}") from None


def typed_level(value: str) -> Level:
    """A level as typed behind the equals sign: a number, words, or `open 0.45`. Raises ValueError with the reason."""
    open_at = re.fullmatch(r"open\s+([0-9.,]+)", value, re.IGNORECASE)
    if open_at:
        return Level(OPEN, "open", level_number(open_at[1]).number)
    return level_number(value) if re.fullmatch(r"[0-9.,]+", value) else level_words(value)


def _relative(
    reading: Reading, asked: Asked, line: Line | None, decimals: int, sign: str, amount: Fraction, percent: bool
) -> tuple[Level, Fraction]:
    if line is None:
        raise ValueError(f"{asked.material} is not in phase {asked.phase}, so there is no level to start from")
    if line.level.kind != FIXED or line.level.number is None:
        raise ValueError(f"{line.material} has no level of its own to start from: it is {line.level.text!r}")
    old = line.level.number
    change = old.value * amount / 100 if percent else amount
    new = old.value + (change if sign == "+" else -change)
    if new < 0:
        raise ValueError(f"that would be {shown(new, 2)}, below zero: {line.material} is at {old.text}")
    return computed(new, old.decimals, decimals)


def computed(exact: Fraction, least: int, most: int) -> tuple[Level, Fraction]:
    """A level worked out here: exact where it ends within `most` decimals, else rounded half up."""
    needed = needed_decimals(exact)
    places = max(least, most if needed is None or needed > most else needed)
    if needed is not None and needed <= 8 and needed <= least:
        places = least
    rounded = round_to(exact, step_of(places))
    if rounded == 0 and exact > 0:
        raise ValueError(f"that is {shown(exact, 6, 8)} %, which rounds to 0 at {places} decimals")
    return level_number(fixed(rounded, places)), exact - rounded


def room(reading: Reading) -> str:
    """In words, what there is to move within: the balance, or the gap of a plan without one."""
    balance = reading.closure.balance
    if balance is not None and balance.percent is not None:
        return f"the room there is: {balance.text} % of {balance.line.material}, the balance"
    return "no line is the balance, so the lines you set must total the same as before: change two or more in one command"


def amounts_named(reading: Reading, names: Sequence[str], function: str = "") -> tuple[Amount, ...]:
    """The lines that `MATERIAL` or `PHASE:MATERIAL` name, or all of a function, in the order of addition. Raises Refusal."""
    found: list[Amount] = []
    if function:
        found = [a for a in reading.closure.amounts if function.casefold() in (f.casefold() for f in reading.functions(a.line.material))]
        if not found:
            here = dict.fromkeys(f for a in reading.closure.amounts for f in reading.functions(a.line.material))
            raise Refusal(
                f"no line of {reading.plan.id} is a {printable(function)}",
                next=suggestion(function, here, f"functions here: {', '.join(here)}"),
            )
    for name in names:
        phase, colon, material = name.strip().rpartition(":")
        if not material:
            raise Refusal("a name of a line is missing", next="for example  propanediol,betaine  without blanks or empty places")
        lines = [a for a in reading.closure.amounts if a.line.material == material and (not colon or a.line.phase == phase)]
        if not lines:
            where = f"phase {printable(phase)} of " if colon else ""
            raise Refusal(
                f"{printable(material)} is not in {where}{reading.plan.id}",
                next=suggestion(material, reading.plan.reached(), "name a line of the plan"),
            )
        found += lines
    return tuple(a for a in reading.closure.amounts if a in found)
