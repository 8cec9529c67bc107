"""Substituting in a plan on a stated basis: what the new material must stand at so that something stays equal.

  basis         what stays equal                              level of a new material, s being its share of the whole
  as-supplied   the weight on the scale                       s x old percent
  active        the weight of active matter                   s x old active matter / strength
  moles         the moles of active matter                    s x old moles x molar mass / strength
  ratio         the ratio in which the old line stands        the same factor, or the same place in the ratio of another line
  hlb           the HLB of what goes, at the same weight      shares worked out: a = (X - B) / (A - B) (Griffin 1949)
  level         nothing: the level is given                   s x level

Pure: takes a reading and gives edits. Each phase is worked out for itself, so that nothing moves to
another place in the order of addition. The balance and the ratios follow because the edited plan is
closed anew; nothing else is rescaled.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, MOST_DECIMALS, ZERO, figure, needed_decimals, number, shown
from fvc.change.levels import LevelEdit, amounts_named, carried_out, computed, ratio_text
from fvc.errors import Refusal
from fvc.formula import BALANCE, FIXED, MADE, OPEN, RATIO, Amount, Level, Line, level_number, level_words, ratio_of
from fvc.material import Material, active_names, active_share, inci_key
from fvc.names import printable, suggestion, why_not_an_id
from fvc.reading import Reading
from fvc.reference.lookup import known
from fvc.science.griffin import mean, share_of_first

AS_SUPPLIED, ACTIVE, MOLES, SAME_RATIO, HLB, GIVEN = "as-supplied", "active", "moles", "ratio", "hlb", "level"
BASES = {
    AS_SUPPLIED: "the same weight as supplied",
    ACTIVE: "the same weight of active matter",
    MOLES: "the same moles of active matter",
    SAME_RATIO: "the same ratio",
    HLB: "the same HLB at the same weight",
    GIVEN: "a level of its own",
}


class Into(NamedTuple):
    """A material that comes in, and its share among those that do (by what the basis keeps equal)."""

    material: str
    share: Fraction = Fraction(1)


class Substitution(NamedTuple):
    """What a swap does on one basis.

    levels: the exact percent of each new material, before rounding. edits: to the plan. notes: what to
    look at, in words. after: the plan with the edits carried out and closed anew.
    """

    basis: str
    levels: tuple[tuple[str, Fraction], ...]
    edits: tuple[LevelEdit, ...]
    notes: tuple[str, ...]
    after: Reading


class Terms(NamedTuple):
    """The terms of a swap besides its basis.

    level: percent, for the basis `level`. decimals: most of a level that is computed here. holds: lines
    to hold by a ratio afterwards. balance: the line that takes the difference, `""` for the plan's own balance.
    """

    level: Fraction | None = None
    decimals: int = 4
    holds: tuple[tuple[str, Level], ...] = ()
    balance: str = ""


def into_from_text(words: Sequence[str]) -> tuple[Into, ...]:
    """`glycerin`, or `glycerin:2 betaine:1`. Raises Refusal; nothing is looked up."""
    out: list[Into] = []
    for word in words:
        material, colon, share = word.partition(":")
        reason = why_not_an_id(material)
        if reason:
            raise Refusal(f'"{printable(word)}" is no material: {reason}', next="for example  glycerin  or  glycerin:2 betaine:1")
        try:
            value = number(share).value if colon else Fraction(1)
            if value == 0:
                raise ValueError("a share of 0 would be nothing")
        except ValueError as error:
            raise Refusal(f'"{printable(word)}": its share: {error}', next="for example  glycerin:2 betaine:1") from None
        if material in (i.material for i in out):
            raise Refusal(f"{material} is named twice", next="name it once, with the sum of its shares")
        out.append(Into(material, value))
    if not out:
        raise Refusal("nothing is named that comes in", next="name one material or several:  glycerin:2 betaine:1")
    return tuple(out)


def hold_from_text(text: str) -> tuple[str, Level]:
    """`polysorbate-20 = 4 x all essential oil` as the line and its ratio. Raises Refusal."""
    line, equals, ratio = (part.strip() for part in text.partition("="))
    material = line.rpartition(":")[2]
    try:
        reason = why_not_an_id(material)
        if not equals or reason:
            raise ValueError(f'"{printable(material)}" is no id, {reason}' if equals else "expected LINE = RATIO")
        level = level_words(ratio)
        if level.kind != RATIO:
            raise ValueError(f'"{printable(ratio)}" is no ratio')
    except ValueError as error:
        raise Refusal(f'"{printable(text)}" holds nothing: {error}', next='for example  --hold "polysorbate-20 = 4 x neroli-oil"') from None
    return line, level


def active_of(material: Material) -> Fraction:
    """Active matter in percent of a material. Raises Refusal naming the field to fill."""
    share = active_share(material)
    if share is None:
        what = (
            "[composition]"
            if material.composition is None
            else f"figures under [composition] for {', '.join(material.active) or 'all of it'}"
        )
        raise Refusal(
            f"the strength of {material.id} is not known: its record has no {what}",
            next=f"fill in [composition], and active where not all but water is active, in the record of {material.id}; or take another basis",
        )
    if share == 0:
        raise Refusal(f"{material.id} has no active matter by its record", next="take another basis, such as as-supplied")
    return share


def active_matter(amounts: Sequence[Amount], materials: Mapping[str, Material]) -> Fraction | None:
    """Active matter of some lines in percent of the product; None where a record does not tell."""
    shares = [(a.counted, active_share(m) if (m := materials.get(a.line.material)) else None) for a in amounts]
    known_ones = [percent * share / HUNDRED for percent, share in shares if share is not None]
    return sum(known_ones, ZERO) if len(known_ones) == len(shares) else None


def _moles_per_percent(material: Material) -> Fraction:
    share = active_of(material)
    if material.molar_mass is None:
        hint = ""
        if len(names := active_names(material)) == 1 and (entry := known(names[0])):
            hint = (
                f" (the table of substances has {entry.molar_mass} for {names[0]}; hydrates and other forms differ)"
                if entry.molar_mass
                else ""
            )
        raise Refusal(
            f"the molar mass of {material.id} is not known: its record has no molar_mass",
            next=f"fill in  molar_mass = …  in g/mol of the active, in the record of {material.id}{hint}; or take another basis",
        )
    return share / HUNDRED / material.molar_mass


def _hlb_of(material: Material) -> Fraction:
    if material.hlb is None:
        raise Refusal(
            f"the HLB of {material.id} is not known: its record has no hlb",
            next=f"fill in  hlb = …  in the record of {material.id}, from the supplier's sheet; or take another basis",
        )
    return material.hlb


def _known_material(materials: Mapping[str, Material], id: str) -> Material:
    if id not in materials:
        raise Refusal(f'unknown material "{printable(id)}"', next=suggestion(id, materials, f"make its record with  fvc new material {id}"))
    return materials[id]


def exact_levels(
    basis: str, old: Sequence[Amount], into: Sequence[Into], materials: Mapping[str, Material], level: Fraction | None = None
) -> tuple[Fraction, ...]:
    """Percent of each new material, exact, over all lines that go. Raises Refusal where the basis cannot be worked out.

    materials: by id, those that go among them. level: for the basis `level`.
    Source: equal active and equal moles by proportion; HLB as the weighted mean, Griffin 1949.
    """
    comes = [_known_material(materials, i.material) for i in into]
    whole = sum((i.share for i in into), ZERO)
    shares = [i.share / whole for i in into]
    gone = sum((a.counted for a in old), ZERO)
    if basis == GIVEN:
        if level is None:
            raise Refusal("the basis level needs the level", next="add  --level 2.0")
        return tuple(s * level for s in shares)
    if basis in (AS_SUPPLIED, SAME_RATIO):
        return tuple(s * gone for s in shares)
    goes = [_known_material(materials, a.line.material) for a in old]
    if basis == HLB:
        return tuple(s * gone for s in _hlb_shares(goes, [a.counted for a in old], comes, shares))
    measure = (lambda m: active_of(m) / HUNDRED) if basis == ACTIVE else _moles_per_percent
    matter = sum((a.counted * measure(m) for a, m in zip(old, goes, strict=True)), ZERO)
    return tuple(s * matter / measure(m) for s, m in zip(shares, comes, strict=True))


def _hlb_shares(
    goes: Sequence[Material], weights: Sequence[Fraction], comes: Sequence[Material], shares: Sequence[Fraction]
) -> Sequence[Fraction]:
    whole = sum(weights, ZERO)
    if whole == 0:
        raise Refusal("what goes has no weight, so no HLB", next="take another basis")
    wanted = mean((w, _hlb_of(m)) for w, m in zip(weights, goes, strict=True))
    values = [_hlb_of(m) for m in comes]
    if len(comes) == 2 and values[0] != values[1]:
        if shares[0] != shares[1]:
            raise Refusal("the shares follow from the HLB, so none can be asked for", next="leave the shares out, or take another basis")
        first, second = ((m.id, v) for m, v in zip(comes, values, strict=True))
        share = share_of_first(wanted, first, second, next="name two of which one is above and one below, or take another basis")
        return share, 1 - share
    if mean(zip(shares, values, strict=True)) != wanted:
        listed = ", ".join(f"{m.id} {figure(v)}" for m, v in zip(comes, values, strict=True))
        raise Refusal(
            f"what comes in has not the HLB of what goes, {figure(wanted)}: {listed}",
            next="name two, one above and one below, and their shares are worked out; or take another basis",
        )
    return shares


def possible(
    reading: Reading, old: Sequence[Amount], into: Sequence[Into], materials: Mapping[str, Material]
) -> dict[str, tuple[Fraction, ...] | Refusal]:
    """What each basis that makes sense here gives for the new materials, or why it gives nothing. The one for the line's kind is first."""
    bases = [AS_SUPPLIED, ACTIVE, MOLES]
    if ratio_goes_on(reading, old, into, materials):
        bases.insert(0, SAME_RATIO)
    if all(
        m is not None and m.hlb is not None
        for m in (materials.get(id) for id in (*(a.line.material for a in old), *(i.material for i in into)))
    ):
        bases.append(HLB)
    out: dict[str, tuple[Fraction, ...] | Refusal] = {}
    for basis in bases:
        try:
            out[basis] = exact_levels(basis, old, into, materials)
        except Refusal as refusal:
            out[basis] = refusal
    return out


def settled_basis(found: Mapping[str, tuple[Fraction, ...] | Refusal]) -> str:
    """The basis that needs no asking: the first of those that can be worked out when all of them agree; "" when they differ."""
    known_ones = {basis: levels for basis, levels in found.items() if not isinstance(levels, Refusal)}
    return next(iter(known_ones)) if len(set(known_ones.values())) == 1 else ""


def ratio_goes_on(
    reading: Reading, old: Sequence[Amount], into: Sequence[Into] = (), materials: Mapping[str, Material] | None = None
) -> bool:
    """True when what goes is held by a ratio, or a line that stays is held by a ratio to it that can go on with what comes."""
    ids = {a.line.material for a in old}
    return any(a.line.level.kind == RATIO for a in old) or any(
        _referred(reading, line.level, ids) and not _strangers(line.level, into, materials or {})
        for line in reading.plan.lines
        if line.material not in ids
    )


def _referred(reading: Reading, level: Level, ids: Iterable[str]) -> list[str]:
    """Those of the ids that a ratio refers to, by name or by function."""
    return [id for id in ids if id in level.of or (level.function and level.function in (f.lower() for f in reading.functions(id)))]


def _strangers(level: Level, into: Sequence[Into], materials: Mapping[str, Material]) -> list[str]:
    """What comes in and is none of the function that a ratio counts; nothing for a ratio that names its lines."""
    return [i.material for i in into if level.function and i.material in materials and not materials[i.material].does(level.function)]


def substituted(
    reading: Reading, old: Sequence[Amount], into: Sequence[Into], basis: str, materials: Mapping[str, Material], terms: Terms
) -> Substitution:
    """Take lines out of a plan and put others in their place, on a basis.

    old: lines of `reading`. materials: all of this moment that may stand in the plan, by id.
    Raises Refusal for what cannot be: a basis that lacks a figure, a ratio that would refer to nothing, a balance below
    zero (with the room there is), a plan without a balance where no line takes the difference.
    Not checked: whether the product is still what it was; `fvc check` and a trial tell.
    """
    if not old:
        raise Refusal("nothing is named that goes out", next="name a line of the plan")
    if any(a.line.level.kind == MADE for a in old):
        raise Refusal("a batch that was made stays as it is", next="swap in its plan")
    for each in (materials[i.material] for i in into if i.material in materials):
        through = next((inner.through for inner in each.inside if reading.plan.id in inner.through), None)
        if through is not None:
            ring = " -> ".join((reading.plan.id, each.id, *through[: through.index(reading.plan.id) + 1]))
            raise Refusal(f"a formula would stand inside itself: {ring}", next="take another material")
    levels = exact_levels(basis, old, into, materials, terms.level)
    edits: list[LevelEdit] = []
    notes: list[str] = []
    weights = [a.counted for a in old]
    whole = sum(weights, ZERO)
    for phase in dict.fromkeys(a.line.phase for a in old):
        rows = [a for a in old if a.line.phase == phase]
        if len(rows) == len(old):
            here = levels
        elif basis in (GIVEN, HLB) or whole == 0:
            part = sum((a.counted for a in rows), ZERO) / whole if whole else Fraction(phase == old[0].line.phase)
            here = tuple(level * part for level in levels)
        else:
            here = exact_levels(basis, rows, into, materials)
        edits += _in_phase(reading, phase, rows, into, here, basis, terms.decimals, notes)
    lines = carried_out(reading.plan.lines, edits)
    edits += _followed_ratios(reading, old, into, materials, lines, basis, terms, notes)
    edits = _held(reading, edits, terms.holds)
    if basis != SAME_RATIO:
        ratios = {e.replaces or e.material: e.level for e in edits if e.level is not None and e.level.kind == RATIO}
        notes += [
            f'{a.line.material} was held at "{a.line.level.text}"; what comes has a level of its own (--basis ratio holds it)'
            for a in old
            if a.line.level.kind == RATIO and a.line.material not in ratios
        ]
    after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
    if terms.balance or (not after.closure.closed and after.closure.balance is None):
        edits.append(_difference(reading, after, terms.balance, [(e.phase, e.material) for e in edits]))
        after = reading.with_lines(carried_out(reading.plan.lines, edits), materials)
    below = after.closure.balance
    if below is not None and below.counted < 0:
        raise _no_room(reading, old, below, levels, into)
    for material in (i.material for i in into):
        phases = [line.phase for line in after.plan.lines if line.material == material]
        if len(phases) > len({a.line.phase for a in old}):
            notes.append(f"{material} now stands in phases {' and '.join(phases)}")
    return Substitution(basis, tuple((i.material, level) for i, level in zip(into, levels, strict=True)), tuple(edits), tuple(notes), after)


def _in_phase(
    reading: Reading,
    phase: str,
    rows: Sequence[Amount],
    into: Sequence[Into],
    levels: Sequence[Fraction],
    basis: str,
    decimals: int,
    notes: list[str],
) -> list[LevelEdit]:
    """The edits of one phase: rows of what goes become those of what comes, in their place."""
    ids = [i.material for i in into]
    standing = {a.line.material: a for a in reading.closure.amounts if a.line.phase == phase and a not in rows}
    free = [a.line for a in rows if a.line.material not in ids]
    edits: list[LevelEdit] = []
    anchor = next((m for m in ids if m in (a.line.material for a in rows)), "")
    for material, exact in zip(ids, levels, strict=True):
        there = standing.get(material)
        if there is not None:
            edits += _onto(there, rows, len(ids), exact, basis, decimals, notes)
            continue
        level, rounded = _new_level(material, rows, len(ids), exact, basis, decimals)
        if material in (a.line.material for a in rows):
            edits.append(LevelEdit(phase, material, level, rounded=rounded))
        elif free:
            gone = free.pop(0)
            edits.append(LevelEdit(phase, material, level, replaces=gone.material, rounded=rounded))
            if gone.note:
                notes.append(f'the note "{gone.note}" was written about {gone.material} and stays beside {material}')
            anchor = material
        else:
            edits.append(LevelEdit(phase, material, level, adds=True, behind=anchor, rounded=rounded))
    return edits + [LevelEdit(phase, line.material, None) for line in free]


def _onto(
    there: Amount, rows: Sequence[Amount], count: int, exact: Fraction, basis: str, decimals: int, notes: list[str]
) -> list[LevelEdit]:
    """What comes in stands in this phase already: its level rises; it becomes the balance when the balance goes."""
    line = there.line
    opened = next((a.line.material for a in rows if a.line.level.kind == OPEN), None)
    if opened is not None:  # what the bench is to find would be added to what the maker has set
        raise Refusal(
            f"{opened} is open, and {line.material} stands in phase {line.phase} already, at {line.level.text}",
            next=f"give {opened} a level first (fvc set), or take another material",
        )
    if line.level.kind == BALANCE:
        notes.append(f"{line.material} is the balance and takes what goes out, whatever the basis")
        return []
    if line.level.kind != FIXED or line.level.number is None:
        raise Refusal(
            f'{line.material} stands in phase {line.phase} already, as "{line.level.text}", so nothing can be added to it',
            next="give it a level of its own first (fvc set, --free), or take another material",
        )
    if any(a.line.level.kind == BALANCE for a in rows):
        notes.append(f"{line.material} stood in phase {line.phase} already, at {line.level.text}, and is the balance from now on")
        return [LevelEdit(line.phase, line.material, _new_level(line.material, rows, count, exact, basis, decimals)[0])]
    level, rounded = _number(line.level.number.value + exact, line.level.number.decimals, decimals, line.material, basis)
    notes.append(f"{line.material} stood in phase {line.phase} already: its level rises from {line.level.text} to {level.text}")
    return [LevelEdit(line.phase, line.material, level, rounded=rounded)]


def _number(exact: Fraction, least: int, most: int, material: str, basis: str = "") -> tuple[Level, Fraction]:
    """A level for a file. On the basis `level` it was typed, not worked out, and keeps all of its digits."""
    needed = needed_decimals(exact)
    if basis == GIVEN and needed is not None and needed <= MOST_DECIMALS:
        most = max(most, needed)
    try:
        return computed(exact, least, most)
    except ValueError as error:
        raise Refusal(f"{material} would come to {shown(exact, 2, 4)} %: {error}", next="take another basis or a lower level") from None


def _new_level(material: str, rows: Sequence[Amount], count: int, exact: Fraction, basis: str, decimals: int) -> tuple[Level, Fraction]:
    """The level that a new line is written with: a number, or what the old line was (balance, open, ratio)."""
    balance = next((a for a in rows if a.line.level.kind == BALANCE), None)
    if balance is not None:
        if basis != AS_SUPPLIED or count > 1:
            raise Refusal(
                f"{balance.line.material} is the balance, which has no level of its own",
                next="one material can take its place with  --basis as-supplied;  for anything else give it a level first (fvc set, --free)",
            )
        return balance.line.level, ZERO
    opened = next((a for a in rows if a.line.level.kind == OPEN), None)
    if opened is not None:
        if len(rows) > 1 or count > 1:
            raise Refusal(f"{opened.line.material} is open", next="swap an open line by itself, for one material")
        if opened.line.level.number is None and basis != GIVEN:
            return opened.line.level, ZERO
        level, rounded = _number(exact, opened.decimals, decimals, material, basis)
        return Level(OPEN, "open", level.number), rounded
    held = [a for a in rows if a.line.level.kind == RATIO]
    if basis == SAME_RATIO and held:
        if len(rows) > 1:
            raise Refusal("several lines go, so there is no one ratio to keep", next="swap a held line by itself, or take another basis")
        whole = rows[0].counted
        factor = held[0].line.level.number
        assert factor is not None
        share = exact / whole if whole else Fraction(1, count)
        level, rounded = _number(factor.value * share, factor.decimals, max(decimals, factor.decimals), material)
        return level_words(ratio_text(level.text, held[0].line.level)), rounded * whole / factor.value  # in points, not in the factor
    # the digits that were typed are kept, however many; those of a ratio were worked out
    least = max(a.decimals if a.line.level.kind == FIXED else min(a.decimals, decimals) for a in rows)
    return _number(exact, least, decimals, material, basis)


def _followed_ratios(
    reading: Reading,
    old: Sequence[Amount],
    into: Sequence[Into],
    materials: Mapping[str, Material],
    lines: Sequence[Line],
    basis: str,
    terms: Terms,
    notes: list[str],
) -> list[LevelEdit]:
    """Ratios of lines that stay and refer to what goes: on the basis `ratio` they refer to what comes; else it is refused."""
    left = {line.material for line in lines}
    ids = list(dict.fromkeys(a.line.material for a in old))
    gone = [id for id in ids if id not in left]
    comes = [i.material for i in into]
    held = {name for name, _ in terms.holds}
    edits: list[LevelEdit] = []
    touched = False
    for line in lines:
        concerned = _referred(reading, line.level, ids)
        if not concerned:
            continue
        if {line.material, f"{line.phase}:{line.material}"} & held:
            touched = True
            continue
        if line.level.function:  # it goes on with whatever has the function
            touched = True
            if strangers := _strangers(line.level, into, materials):
                what = f'{line.material} is held at "{line.level.text}", and {", ".join(strangers)} is no {line.level.function}'
                if basis == SAME_RATIO:
                    raise Refusal(what, next=f'say what it is held to with  --hold "{line.material} = …",  or take another basis')
                notes.append(f'{what}: it follows only what stays of it; to hold it to what comes too:  --hold "{line.material} = …"')
            continue
        if basis != SAME_RATIO and not set(concerned) & set(gone):
            notes.append(f'{line.material} is held at "{line.level.text}" and follows only what stays of it')
            continue
        of = tuple(dict.fromkeys(n for id in line.level.of for n in ([] if id in gone else [id]) + (comes if id in concerned else [])))
        assert line.level.number is not None
        ratio = ratio_of(line.level.number.text, of)
        if basis != SAME_RATIO:
            raise Refusal(
                f'{line.material} is held at "{line.level.text}", and {", ".join(id for id in gone if id in line.level.of)} goes',
                next=f'let the ratio follow with  --hold "{line.material} = {ratio.text}"  or  --basis ratio,  or free it first:  fvc set {reading.plan.id} {line.material}=LEVEL --free',
            )
        touched = True
        edits.append(LevelEdit(line.phase, line.material, ratio))
    if basis == SAME_RATIO and not touched and not any(a.line.level.kind == RATIO for a in old):
        raise Refusal(
            f"no ratio holds {', '.join(dict.fromkeys(a.line.material for a in old))}, and none refers to it",
            next='take another basis, or add one with  --hold "LINE = 4 x MATERIAL"',
        )
    return edits


def _held(reading: Reading, edits: Sequence[LevelEdit], holds: Sequence[tuple[str, Level]]) -> list[LevelEdit]:
    """The edits, with lines held by the ratios asked for."""
    out = list(edits)
    for name, level in holds:
        lines = carried_out(reading.plan.lines, out)
        phase, colon, material = name.rpartition(":")
        found = [line for line in lines if line.material == material and (not colon or line.phase == phase)]
        if len(found) != 1:
            where = f"stands in {len(found)} phases" if found else f"is not in {reading.plan.id}"
            way = (
                f"say which: {found[0].phase}:{material} = …" if found else suggestion(material, (n.material for n in lines), "name a line")
            )
            raise Refusal(f"{material} {where}, so it cannot be held", next=way)
        line = found[0]
        mine = next((i for i, e in enumerate(out) if (e.phase, e.material) == (line.phase, material) and e.level is not None), None)
        if mine is None:
            out.append(LevelEdit(line.phase, material, level))
        else:
            out[mine] = out[mine]._replace(level=level, rounded=ZERO)
    return out


def holding(reading: Reading, holds: Sequence[tuple[str, Level]]) -> list[LevelEdit]:
    """The edits that hold lines of a plan by ratios. Raises Refusal for a line that is not there."""
    return _held(reading, (), holds)


def _difference(before: Reading, after: Reading, name: str, touched: Sequence[tuple[str, str]]) -> LevelEdit:
    """The line that takes the difference, so that the total (and the plan's own balance, if it has one) stays as it was.

    touched: phase and material of the lines whose levels the swap itself sets.
    """
    own, now = before.closure.balance, after.closure.balance
    if not name:
        raise Refusal(
            f"{before.plan.id} has no balance, and the lines would total {shown(after.closure.total, 2)}",
            next="say which line takes the difference:  --balance MATERIAL",
        )
    found = [a for a in amounts_named(after, [name]) if not a.line.level.follows]
    if len(found) != 1 or found[0].line.level.kind != FIXED:
        raise Refusal(
            f"{name} cannot take the difference: it must be one line with a level of its own, in one phase",
            next="name another line with  --balance,  or  --balance PHASE:MATERIAL",
        )
    amount = found[0]
    if (amount.line.phase, amount.line.material) in touched:
        raise Refusal(
            f"{amount.line.material} comes in at a level of its own, so it cannot take the difference too",
            next="name another line with  --balance",
        )
    gap = HUNDRED - after.closure.total if now is None else now.counted - (own.counted if own else ZERO)
    new = amount.counted + gap
    if new < 0:
        raise Refusal(
            f"{amount.line.material} at {amount.text} cannot give {figure(-gap)}",
            next=f"the room there is: {amount.text} % of {amount.line.material}; name another line with --balance, or take a lower level",
        )
    assert amount.line.level.number is not None
    level, rounded = _number(new, amount.line.level.number.decimals, MOST_DECIMALS, amount.line.material)
    return LevelEdit(amount.line.phase, amount.line.material, level, rounded=rounded)


def _no_room(reading: Reading, old: Sequence[Amount], below: Amount, levels: Sequence[Fraction], into: Sequence[Into]) -> Refusal:
    gone = sum((a.counted for a in old), ZERO)
    there = reading.closure.balance.counted if reading.closure.balance else ZERO
    wanted = " and ".join(f"{i.material} {figure(level)} %" for i, level in zip(into, levels, strict=True))
    return Refusal(
        f"{wanted} would take {below.line.material}, the balance, {figure(-below.counted)} below zero",
        next=f"the room there is: {figure(gone + there)} %, the {figure(gone)} of what goes and the {figure(there)} of the balance",
    )


def plain_differences(before: Material, after: Material) -> list[str]:
    """What to look at when one raw material takes the place of another: the same INCI name in another form, another charge."""
    notes = []
    first = {inci_key(n) for n in active_names(before)}
    shared = [n for n in active_names(after) if inci_key(n) in first]
    if shared and before.id != after.id:
        who = f"; and another supplier ({after.supplier}, was {before.supplier})" if _differ(before.supplier, after.supplier) else ""
        notes.append(
            f"{before.id} and {after.id} share the INCI name {', '.join(shared)}, which does not tell the form "
            f"(D or DL, salt or hydrate, chain length, grade): another form may be another active at the same figures{who}"
        )
    if _differ(before.charge, after.charge):
        notes.append(f"{before.id} is {before.charge}, {after.id} is {after.charge}")
    return notes


def _differ(one: str, other: str) -> bool:
    return bool(one and other and one != other)


def number_level(text: str) -> Fraction:
    """A level in percent as typed on the command line. Raises Refusal."""
    try:
        level = level_number(text)
        assert level.number is not None
        if level.number.value == 0:
            raise ValueError("0 would be nothing; to take a line out use  fvc set … =none")
        return level.number.value
    except ValueError as error:
        raise Refusal(f'the level "{printable(text)}" cannot be read: {error}', next="for example  --level 2.0") from None
