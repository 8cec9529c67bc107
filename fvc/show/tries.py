"""Variants for a person: the list, one, the matrix, what is carried over, and the sheet of a series."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

from fvc.amounts import brief, fixed, shown
from fvc.carrying import Carried
from fvc.change.split import Portion, SplitSheet
from fvc.compare.diff import Diff
from fvc.compare.merge import ANSWER, TOTAL, Decision, short
from fvc.compare.merge import words as decision_words
from fvc.compare.ordering import BASE, BOTH, FIRST, QUESTION, SECOND
from fvc.compare.summary import net_change
from fvc.formula import Amount
from fvc.reading import Reading
from fvc.show.screen import Screen, align, counted, grid
from fvc.trial import Trial
from fvc.variants import OPEN, Variant

if TYPE_CHECKING:
    from fvc.sidebyside import Column, SideBySide  # with all that estimates: a list does without


def listing(out: Screen, found: Sequence[Variant], name: str) -> None:
    """Every variant with its question and what became of it."""
    if not found:
        out.say(f"No variants yet. Keep one:  fvc variant new {name or 'NAME'} VARIANT --question TEXT")
        return
    for index, variant in enumerate(found):
        about = variant.about
        if index:
            out.say("")
        out.head(variant.reference.plan_name, _state(variant))
        if about is not None:
            out.item("asks  ", about.question, 2)
            if about.because:
                out.item("since  ", about.because, 2)
        if variant.change is not None:
            change = variant.change
            said = net_change(change.lines)
            out.item("differs  ", "; ".join(said) or "in nothing", 2)
        for trial in variant.trials:
            out.item("tried  ", _trial(trial), 2)
        if variant.problem:
            out.item("to mend  ", variant.problem, 2)


def _state(variant: Variant) -> str:
    about = variant.about
    if about is None:
        return "cannot be read"
    moved = f"; {variant.reference.name} has moved on to {variant.moved_to}" if variant.moved_to and about.state == OPEN else ""
    return f"{about.state}, departs from {about.parent}{moved}"


def _trial(trial: Trial) -> str:
    seen = [e.subject for e in trial.seen]
    words = trial.id + (f", {trial.verdict}" if trial.verdict else ", no verdict yet")
    return words + (f": {'; '.join(seen[-3:])}" if seen else "")


def one(out: Screen, variant: Variant, result: Diff | None) -> None:
    """One variant in full."""
    out.head(variant.reading.plan.title if variant.reading else variant.id, f"{variant.reference.plan_name}: {_state(variant)}")
    about = variant.about
    if about is not None:
        out.item("asks     ", about.question, 2)
        if about.expect:
            out.item("expects  ", about.expect, 2)
        if about.because:
            out.item("since    ", about.because, 2)
    for trial in variant.trials:
        out.item("tried    ", _trial(trial), 2)
    if not variant.trials:
        out.say("no trial on record", 2)
    if result is not None:
        from fvc.show import differences

        out.say("")
        differences.diff(out, result)
    if variant.moved_to and about is not None and about.state == OPEN:
        out.say("")
        out.say(f"Bring it along:  fvc variant carry {variant.reference.name} {variant.id}")


# --- the matrix ---


def compared(out: Screen, result: SideBySide) -> None:
    """The lines that differ, the figures that matter, and what was seen; in as many blocks as the width asks for."""
    out.head(
        result.title,
        f"{result.name}: {counted(sum(c.variant is not None for c in result.columns), 'variant')} beside what they depart from",
    )
    for block in _blocks(result, out.width):
        out.say("")
        _matrix(out, result, block)
    out.say(f"{counted(result.same, 'line')} alike in all", 2)
    for column in result.columns:
        if column.variant is not None and column.variant.about is not None:
            out.say("")
            out.head(column.head, _state(column.variant))
            out.item("asks  ", column.variant.about.question, 2)
            if column.variant.about.because:
                out.item("since  ", column.variant.about.because, 2)
        elif column.trials:
            out.say("")
            out.head(column.head, "what it departs from" if column.variant is None else "")
        for trial in column.trials:
            out.item("tried  ", _trial(trial), 2)


def _blocks(result: SideBySide, width: int) -> list[list[int]]:
    """Columns that fit the width together; a variant never stands without its parent."""
    names = max([12, *(len(r.material) + 3 for r in result.rows)])
    blocks: list[list[int]] = []
    parent = 0
    for index, column in enumerate(result.columns):
        if column.variant is None:
            parent = index
            continue
        more = [index] if blocks and parent in blocks[-1] else [parent, index]
        if blocks and names + sum(max(len(result.columns[i].head), 8) + 2 for i in [*blocks[-1], *more]) <= width:
            blocks[-1] += more
        else:
            blocks.append([parent, index])
    return blocks


def _matrix(out: Screen, result: SideBySide, block: Sequence[int]) -> None:
    columns = [result.columns[i] for i in block]
    table = grid(("percent", "left"), *((c.head, "right") for c in columns))
    rows: list[tuple[str, list[str]]] = []
    for row in result.rows:
        cells = [_amount(row.amounts[i]) for i in block]
        if len(set(cells)) > 1:
            rows.append((f"{row.phase}  {row.material}", cells))
    figures: list[tuple[str, Callable[[Column], str]]] = [("total water", _water)]
    words = dict.fromkeys(f for c in columns for f in c.functions)
    for function in words:
        values = [c.functions.get(function) for c in columns]
        if len(set(values)) > 1:
            figures.append((f"all {function or 'without a function'}", partial(_function, function)))
    figures += [(name, partial(_property, name)) for name in _that_differ(columns)]
    rows += [(name, [value(c) for c in columns]) for name, value in figures]
    rows += [
        (f"per kg {result.currency}".rstrip(), ["?" if c.per_kg is None else fixed(c.per_kg, 2) for c in columns]),
        ("stops, cautions", [f"{c.stops}, {c.cautions}" for c in columns]),
        ("declared allergens", [str(len(c.allergens)) for c in columns]),
        ("trials", [str(len(c.trials)) for c in columns]),
        ("verdict", [_verdict(c) for c in columns]),
    ]
    aligned = [align([cells[i] for _, cells in rows]) for i in range(len(columns))]
    for index, (name, _) in enumerate(rows):
        table.add_row(name, *(column[index] for column in aligned))
    out.table(table)


def _that_differ(columns: Sequence[Column]) -> list[str]:
    """Estimated properties that differ as they are shown; of preservatives what works, without its share."""
    names = dict.fromkeys(e.property for c in columns for e in c.properties if not e.property.startswith(("undissociated share", "volume")))
    return [name for name in names if len({_property(name, c) for c in columns}) > 1]


def _property(name: str, column: Column) -> str:
    found = next((e for e in column.properties if e.property == name), None)
    return "-" if found is None or found.value is None else fixed(found.value, found.decimals)


def _water(column: Column) -> str:
    water = column.water
    return brief(water.nominal) if water.nominal is not None else f"{brief(water.low)} to {brief(water.high)}"


def _function(function: str | None, column: Column) -> str:
    return _maybe(column.functions.get(function))


def _verdict(column: Column) -> str:
    verdicts = [t.verdict for t in column.trials if t.verdict]
    return ", ".join(dict.fromkeys(verdicts)) or "-"


def _maybe(value: Fraction | None) -> str:
    return "-" if value is None else brief(value)


def _amount(amount: Amount | None) -> str:
    return "-" if amount is None else amount.text or "open"


# --- carrying over ---


def carried(out: Screen, found: Carried) -> None:
    """What the merge decided line by line; open questions last."""
    out.head(f"{found.variant.reference.plan_name}, brought along to {found.parent}")
    about = found.variant.about
    table = grid(
        ("", "left"), (about.parent if about else "before", "right"), (found.parent, "right"), (found.variant.id, "right"), ("", "left")
    )
    words = {FIRST: f"from {found.parent}", SECOND: "the variant's own", BOTH: "the same in both", ANSWER: "answered", QUESTION: "OPEN"}
    long: list[Decision] = []
    for decision in found.merge.decisions:
        texts = [t if t is not None else "-" for t in (decision.base, decision.first, decision.second)]
        if decision.taken == BASE:
            continue
        if max(map(len, texts)) > 14 or decision.about == TOTAL:
            long.append(decision)
        else:
            table.add_row(short(decision, found.merge), *texts, words[decision.taken])
    if table.row_count:
        out.table(table)
    for decision in long:
        out.item(f"{words[decision.taken]}  ", decision_words(decision, found.merge), 2)
    if not (table.row_count or long):
        out.say("nothing but the parent's name changes", 2)
    out.say("")


# --- a series ---


def series(out: Screen, reading: Reading, sheet: SplitSheet, overage: Fraction) -> None:
    """One sheet for all beakers of a series: the base, then what each gets."""
    count = len(sheet.beakers)
    out.head(f"{counted(count, 'beaker')} of {shown(sheet.batch, 0)} g: {reading.plan.title}", f"{reading.side.ref}, {reading.side.words}")
    for beaker in sheet.beakers:
        if beaker.rung.not_for_use:
            out.say(f"NOT FOR USE: {beaker.rung.id}, {beaker.rung.not_for_use}. Not on skin, and not kept: only to look at.", 0, "bold")
    out.say("Made by ____________________   Date ______________")
    out.say("")
    more = f", {shown(overage, 0)} % more than the beakers take" if overage else ""
    out.head(f"1. The base, once, for all of them: {shown(sheet.base_total, 0)} g", f"in the order of addition{more}")
    table = grid(("", "left"), ("material", "left"), ("target g", "right"), ("actual g", "right"))
    grams = align([_grams(p) for p in sheet.base])
    for portion, text in zip(sheet.base, grams, strict=True):
        table.add_row(portion.phase, portion.material, text, "__________")
    out.table(table)
    out.say("")
    out.head("2. Split it, and add to each", "grams; the base first")
    for block in _beaker_blocks(sheet, out.width):
        beakers = [sheet.beakers[i] for i in block]
        table = grid(("", "left"), ("material", "left"), *((f"({i + 1})", "right") for i in block))
        rows = [("", "base", [shown(b.base, _decimals(b.portions)) for b in beakers])]
        for index, (phase, material) in enumerate(sheet.own):
            rows.append((phase, material, [_grams(b.portions[index]) for b in beakers]))
        aligned = [align([cells[i] for _, _, cells in rows]) for i in range(len(beakers))]
        for index, (phase, material, _) in enumerate(rows):
            table.add_row(phase, material, *(column[index] for column in aligned))
        out.table(table)
        out.say("")
    for index, beaker in enumerate(sheet.beakers):
        rung = beaker.rung
        mark = f"   NOT FOR USE: {rung.not_for_use}" if rung.not_for_use else ""
        out.item(f"({index + 1}) ", f"{rung.id}: {'; '.join([rung.words, *rung.notes])}{mark}", 2)
    opened = [(p, m) for i, (p, m) in enumerate(sheet.own) if any(b.portions[i].grams is None for b in sheet.beakers)]
    for phase, material in opened:
        out.say(f"{material} (phase {phase}) is open: in each beaker to the spec; the base leaves room for what is expected", 2)
    for note in sheet.notes:
        out.say(note, 2)
    if not overage:
        out.say("Some of the base stays behind on splitting: --overage 3% makes a little more.", 2)


def _beaker_blocks(sheet: SplitSheet, width: int) -> list[list[int]]:
    names = max([8, *(len(m) for _, m in sheet.own)]) + 8
    fit = max(1, (width - names) // 10)
    return [list(range(i, min(i + fit, len(sheet.beakers)))) for i in range(0, len(sheet.beakers), fit)]


def _decimals(portions: Sequence[Portion]) -> int:
    return max((p.scale.decimals for p in portions), default=2)


def _grams(portion: Portion) -> str:
    if portion.grams is None:
        return "______" if portion.exact is None else f"({shown(portion.exact, 2, 2)}) ____"
    return "-" if portion.exact == 0 else fixed(portion.grams, portion.scale.decimals)
