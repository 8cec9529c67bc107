"""Ingredient-level differences between any two readings, and what they do to the product.

Lines are paired by phase and material, then what is left over by material alone:

  case                                                        kind
  1  only on the second side                                  added
  2  only on the first side                                   removed
  3  a balance or ratio on both sides, percent differs        followed
  4  percent higher on the second side                        raised
  5  percent lower on the second side                         lowered
  6  percent equal, phase differs                             moved
  7  percent and phase equal                                  same

In 3 to 5 the phase may differ as well; `before_phase` tells. A missing or unknown percent counts
0 in points, so the points of two closed plans sum to exactly zero.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from fvc.amounts import HUNDRED, ZERO
from fvc.compare.pairing import partners
from fvc.composition import composition_of, totals_by_function
from fvc.errors import Fault
from fvc.formula import FIXED, MADE, OPEN, Amount, Line
from fvc.material import Share, inci_key
from fvc.reading import Reading, Side
from fvc.record import flatten

if TYPE_CHECKING:  # most commands ask for no bill, and start faster without the rules
    from fvc.compare.bill import Bill

ADDED, REMOVED, RAISED, LOWERED = "added", "removed", "raised", "lowered"
FOLLOWED, MOVED, SAME = "followed", "moved", "same"


class LineDiff(NamedTuple):
    """One line on both sides; a side is None where the line is missing."""

    kind: str
    before: Amount | None
    after: Amount | None
    batch: Fraction | None

    @property
    def line(self) -> Line:
        """The line on the second side, or on the first where it was removed."""
        amount = self.after or self.before
        assert amount is not None
        return amount.line

    @property
    def before_percent(self) -> Fraction | None:
        """Percent on the first side."""
        return self.before.percent if self.before else None

    @property
    def after_percent(self) -> Fraction | None:
        """Percent on the second side."""
        return self.after.percent if self.after else None

    @property
    def points(self) -> Fraction:
        """Percentage points gained (negative: lost)."""
        return (self.after_percent or ZERO) - (self.before_percent or ZERO)

    @property
    def relative(self) -> Fraction | None:
        """Points in percent of the first side; None from nothing or 0."""
        return self.points * 100 / self.before_percent if self.before_percent else None

    def grams(self, percent: Fraction | None) -> Fraction | None:
        """Grams of a percent at the common batch size."""
        return None if percent is None or self.batch is None else percent * self.batch / HUNDRED

    @property
    def phase_changed(self) -> bool:
        """True when the line stands in another phase."""
        return bool(self.before and self.after and self.before.line.phase != self.after.line.phase)

    @property
    def level_changed(self) -> bool:
        """True when the line is written differently, even where its percent is equal."""
        return bool(self.before and self.after and self.before.line.level != self.after.line.level)


class TextDiff(NamedTuple):
    """A text that differs; None where it is missing."""

    field: str
    before: str | None
    after: str | None


class Swap(NamedTuple):
    """A removed and an added line of one function."""

    out: str
    into: str
    function: str


class FunctionDiff(NamedTuple):
    """Percent by function on both sides; None where the function is absent, name None where unknown."""

    function: str | None
    before: Fraction | None
    after: Fraction | None

    @property
    def points(self) -> Fraction:
        """Points gained."""
        return (self.after or ZERO) - (self.before or ZERO)


class SubstanceDiff(NamedTuple):
    """An INCI name on both sides; None where it is absent; `inci` None is what is undeclared."""

    inci: str | None
    before: Share | None
    after: Share | None

    @property
    def points(self) -> Fraction | None:
        """Points gained by the nominal figures; None when one side is not known."""
        before = self.before.nominal if self.before else ZERO
        after = self.after.nominal if self.after else ZERO
        return None if before is None or after is None else after - before


class PropertyDiff(NamedTuple):
    """A property of the product on both sides; None where there is no figure, and then what can be said instead.

    instead: why there is none, in full; leans: only what can be said without one, such as a direction. decimals: of a figure that was estimated and rounded to them; None for one that is exact.
    """

    name: str
    unit: str
    before: Share | None
    after: Share | None
    decimals: int | None = None
    instead_before: str = ""
    instead_after: str = ""
    leans_before: str = ""
    leans_after: str = ""

    @property
    def gained(self) -> Fraction | None:
        """By how much it rose; None where one side has no figure."""
        if self.before is None or self.after is None or self.before.nominal is None or self.after.nominal is None:
            return None
        return self.after.nominal - self.before.nominal

    @property
    def changed(self) -> bool:
        """True when the figure differs as it is shown, or what is said in its place."""
        if self.gained is not None:
            return self.gained != 0
        # why there is no figure may differ by a digit: that is no change
        return (self.before is None) != (self.after is None) or self.leans_before != self.leans_after


class RecordDiff(NamedTuple):
    """A field of a material record (or nested formula) that differs between the two moments."""

    material: str
    field: str
    before: str | None
    after: str | None


@dataclass(frozen=True, kw_only=True, eq=False)
class Diff:
    """Everything that differs between two readings; `lines` holds the unchanged ones too.

    lines: in the order of the second side, a removed line behind its predecessor of the first.
    order: (phase, material) in the order of the second side when shared lines changed order.
    batch: grams common to both sides; None when one does not close.
    bill: what it does to limits, label and cost (`compare/bill.py`); None where nobody asked.
    said: sentences on what it does to estimated properties (`compare/effects.py`), which `properties` then holds as well.
    """

    before: Side
    after: Side
    batch: Fraction | None
    lines: tuple[LineDiff, ...]
    order: tuple[tuple[str, str], ...]
    text: tuple[TextDiff, ...]
    swaps: tuple[Swap, ...]
    composition: tuple[SubstanceDiff, ...]
    functions: tuple[FunctionDiff, ...]
    properties: tuple[PropertyDiff, ...]
    materials_changed: tuple[RecordDiff, ...]
    bill: Bill | None = None
    said: tuple[str, ...] = ()
    warnings: tuple[Fault, ...] = ()

    @property
    def changed(self) -> tuple[LineDiff, ...]:
        """The lines that are not the same."""
        return tuple(line for line in self.lines if line.kind != SAME)

    @property
    def different(self) -> bool:
        """True when anything differs: a line, its order, a text, or a record that is used."""
        return bool(self.changed or self.order or self.text or self.materials_changed)


def pair_lines(before: Sequence[Amount], after: Sequence[Amount], batch: Fraction | None = None) -> tuple[LineDiff, ...]:
    """Pair the lines of two sides and name what happened to each; see the table above."""
    partner = partners([a.line for a in before], [a.line for a in after])
    lines = [_line(before[partner[j]] if j in partner else None, amount, batch) for j, amount in enumerate(after)]
    place = {i: j for j, i in partner.items()}
    placed: list[tuple[int, int, LineDiff]] = [(j, -1, line) for j, line in enumerate(lines)]
    for i, amount in enumerate(before):
        if i not in place:
            earlier = [place[k] for k in range(i) if k in place]
            placed.append((earlier[-1] if earlier else -1, i, _line(amount, None, batch)))
    placed.sort(key=lambda item: (item[0], item[1]))
    return tuple(line for _, _, line in placed)


def _line(before: Amount | None, after: Amount | None, batch: Fraction | None) -> LineDiff:
    if before is None or after is None:
        return LineDiff(ADDED if before is None else REMOVED, before, after, batch)
    gained = after.counted - before.counted
    if gained == 0:
        kind = SAME if before.line.phase == after.line.phase else MOVED
    elif before.line.level.follows and after.line.level.follows:
        kind = FOLLOWED
    else:
        kind = RAISED if gained > 0 else LOWERED
    return LineDiff(kind, before, after, batch)


def diff(before: Reading, after: Reading, batch: Fraction | None) -> Diff:
    """What differs between two readings, at one common batch size in grams.

    Works on plans that do not close as well: their faults become warnings, and no composition,
    totals or grams are left out for it, since a line that has no percent counts 0.
    """
    lines = pair_lines(before.closure.amounts, after.closure.amounts, batch)
    warnings = [*before.faults, *after.faults, *before.warnings, *after.warnings]
    return Diff(
        before=before.side,
        after=after.side,
        batch=batch,
        lines=lines,
        order=_order(before.closure.amounts, lines),
        text=text_differences(before, after, lines),
        swaps=_swaps(before, after, lines),
        composition=_composition(before, after),
        functions=_functions(before, after),
        properties=_properties(before, after),
        materials_changed=record_differences(before.records, after.records),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _order(before: Sequence[Amount], lines: Sequence[LineDiff]) -> tuple[tuple[str, str], ...]:
    index = {id(a): i for i, a in enumerate(before)}
    kept = [index[id(line.before)] for line in lines if line.before and line.after]
    if kept == sorted(kept):
        return ()
    return tuple((line.after.line.phase, line.after.line.material) for line in lines if line.after)


def new_order(before: Sequence[Line], lines: Sequence[LineDiff]) -> list[Line]:
    """Lines of the first side with the differences carried out: levels, phases and order of the second.

    The inverse reading of a Diff; what it gives must be the second side's lines.
    """
    by_key = {(line.phase, line.material): line for line in before}
    out: list[Line] = []
    for change in lines:
        if change.after is None:
            continue
        target = change.after.line
        if change.before is None:
            out.append(Line(target.phase, target.material, target.level))
            continue
        source = by_key[change.before.line.phase, change.before.line.material]
        level = target.level if change.level_changed else source.level
        out.append(Line(target.phase if change.phase_changed else source.phase, source.material, level))
    return out


def text_differences(before: Reading, after: Reading, lines: Sequence[LineDiff]) -> tuple[TextDiff, ...]:
    """What differs in words: texts of the plans, then levels that are written differently in a way the figures do not tell."""
    # a batch as it was made has no texts of its own
    made = any(a.line.level.kind == MADE for side in (before, after) for a in side.closure.amounts)
    first, second = ({}, {}) if made else (_plan_texts(before), _plan_texts(after))
    if (before.plan.variant is None) != (after.plan.variant is None):  # a plan beside a variant of it: what makes it one is no difference
        first, second = ({k: v for k, v in texts.items() if k != "status" and not k.startswith("variant.")} for texts in (first, second))
    out = [TextDiff(key, first.get(key), second.get(key)) for key in dict.fromkeys([*first, *second]) if first.get(key) != second.get(key)]
    for line in lines:
        if line.level_changed and line.before and line.after:
            first_level, second_level = line.before.line.level, line.after.line.level
            figures_tell = first_level.kind == second_level.kind in (FIXED, OPEN)
            if not figures_tell and MADE not in (first_level.kind, second_level.kind):
                out.append(TextDiff(line.line.path, first_level.text, second_level.text))
    return tuple(out)


# Fields that say where a plan stands in its history, not what the product is.
_BOOKKEEPING = frozenset({"format", "revision", "variant.parent", "variant.plan_id"})


def _plan_texts(reading: Reading) -> dict[str, str]:
    """The texts of a plan by dotted path: all of its record but the levels, and the notes beside those."""
    record = dict(reading.plan.record)
    phases = record.pop("phase", {})
    out = {k: v for k, v in flatten(record).items() if k not in _BOOKKEEPING}
    for name, phase in phases.items() if isinstance(phases, dict) else ():
        out |= flatten({k: v for k, v in phase.items() if k != "percent"}, f"phase.{name}")
    return out | {f"{line.path}.note": line.note for line in reading.plan.lines if line.note}


def _swaps(before: Reading, after: Reading, lines: Sequence[LineDiff]) -> tuple[Swap, ...]:
    gone: dict[str, list[LineDiff]] = {}
    come: dict[str, list[LineDiff]] = {}
    for line in lines:
        if line.kind == REMOVED and (function := before.function(line.line.material)):
            gone.setdefault(function, []).append(line)
        elif line.kind == ADDED and (function := after.function(line.line.material)):
            come.setdefault(function, []).append(line)
    swaps = []
    for function, out in gone.items():
        into = come.get(function, [])
        one_sided = len(out) == 1 or len(into) == 1
        pairs = [(o, i) for o in out for i in into] if one_sided else list(zip(out, into, strict=False))
        swaps += [Swap(o.line.material, i.line.material, function) for o, i in pairs]
    return tuple(swaps)


def _composition(before: Reading, after: Reading) -> tuple[SubstanceDiff, ...]:
    first, second = composition_of(before), composition_of(after)
    names = dict.fromkeys([*(s.inci for s in second.substances), *(s.inci for s in first.substances)])
    seen: set[str] = set()
    rows = []
    for name in names:
        key = inci_key(name)
        if key not in seen:
            seen.add(key)
            rows.append(SubstanceDiff(name, first.share(name), second.share(name)))
    if first.undeclared.high or second.undeclared.high:
        rows.append(SubstanceDiff(None, first.undeclared, second.undeclared))
    return tuple(rows)


def _functions(before: Reading, after: Reading) -> tuple[FunctionDiff, ...]:
    first, second = totals_by_function(before), totals_by_function(after)
    return tuple(FunctionDiff(f, first.get(f), second.get(f)) for f in dict.fromkeys([*second, *first]))


def _properties(before: Reading, after: Reading) -> tuple[PropertyDiff, ...]:
    return (PropertyDiff("total water", "%", composition_of(before).water, composition_of(after).water),)


def record_differences(before: Mapping[str, Mapping[str, object]], after: Mapping[str, Mapping[str, object]]) -> tuple[RecordDiff, ...]:
    """Fields that differ in the records which both sides reach; what is on the shelf is no part of what a material is."""
    out = []
    for id in after:
        if id not in before or before[id] == after[id]:
            continue
        first, second = flatten(before[id]), flatten(after[id])
        for key in dict.fromkeys([*first, *second]):
            if key not in ("revision", "format") and not key.startswith("lot") and first.get(key) != second.get(key):
                out.append(RecordDiff(id, key, first.get(key), second.get(key)))
    return tuple(out)
