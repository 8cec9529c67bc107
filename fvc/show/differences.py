"""Differences for a person: what changed, what followed, and what it does to the product."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from fvc.amounts import ZERO, brief, fixed, shown
from fvc.compare.diff import FOLLOWED, SAME, Diff, LineDiff, PropertyDiff
from fvc.compare.summary import percent_text, points_text, record_words
from fvc.material import Share
from fvc.reading import Side
from fvc.show.screen import QUIET, STYLES, Screen, align, fold, grid, share_text, styled

if TYPE_CHECKING:
    from fvc.compare.bill import Bill


def _side_words(side: Side) -> str:
    """`face-toner.4: revision 4 in 49153c5a`, `face-toner in the folder: revision 12, changed since`."""
    if side.commit:
        return f"{side.ref}: {side.words} in {side.commit[:8]}"
    return f"{side.ref}: {side.words}" if side.revision is None else f"{side.ref} in the folder: {side.words}"


def diff(out: Screen, result: Diff, *, every: bool = False, proposed: bool = False) -> None:
    """What changed, what followed, and what it does; unchanged lines are counted, `every` shows them.

    proposed: the second side is written nowhere yet.
    """
    out.say(f"before  {_side_words(result.before)}")
    out.say(f"after   {f'{result.after.ref} as it would be' if proposed else _side_words(result.after)}")
    if not result.different:
        out.say("")
        out.say(f"Nothing differs: {len(result.lines)} lines, the same levels, order, texts and material records.")
        return
    changed = [line for line in result.lines if line.kind not in (SAME, FOLLOWED)]
    followed = [line for line in result.lines if line.kind == FOLLOWED]
    same = [line for line in result.lines if line.kind == SAME]
    shown_lines = changed + followed + (same if every else [])
    if shown_lines:
        out.say("")
        batch = f"grams at {shown(result.batch, 0)} g" if result.batch is not None else "no grams: no common batch"
        out.head("Lines", batch)
        _lines(out, shown_lines)
    if same and not every:
        out.say(f"{len(same)} line{'s' if len(same) != 1 else ''} unchanged", 2)
    for swap in result.swaps:
        out.say(f"swap: {swap.out} out, {swap.into} in ({swap.function})", 2)
    if result.order:
        out.say("order of addition is now: " + ", ".join(m for _, m in result.order), 2)
    rows = what_it_does(out, result, heading="What it does to the product")
    if result.bill and result.bill.different:
        out.say("")
        if not rows:
            out.head("What it does")
        bill_rows(out, result.bill)
    if result.materials_changed:
        out.say("")
        out.head("Material records changed meanwhile")
        for record in result.materials_changed:
            out.say(record_words(record), 2)
    if result.text:
        out.say("")
        out.head("Text")
        for text in result.text:
            out.say(text.field, 2, "bold")
            out.say(f"before  {text.before if text.before is not None else '(nothing)'}", 4)
            out.say(f"after   {text.after if text.after is not None else '(nothing)'}", 4)


def _grams(value: Fraction) -> str:
    """Grams to the hundredth; the small ones, which would read 0.00, with the digits they need."""
    return fixed(value, 2) if abs(value) >= Fraction(1, 100) else brief(value)


def _signed(text: str, value: Fraction) -> str:
    return text if value < 0 else f"+{text}" if value > 0 else f" {text}"


def _lines(out: Screen, lines: Sequence[LineDiff]) -> None:
    """The lines as one table; where names and numbers do not fit side by side, each name stands above its numbers."""
    before = align([percent_text(line.before) for line in lines])
    after = align([percent_text(line.after) for line in lines])
    points = align([points_text(line) if line.points else "" for line in lines])
    relative = align([f"{_signed(fixed(line.relative, 1), line.relative)}" if line.relative else "" for line in lines])
    grams = align([_signed(_grams(g), g) if (g := line.grams(line.points)) else "" for line in lines])
    columns = (
        ("", "left"), ("material", "left"), ("phase", "left"), ("before %", "right"), ("after %", "right"),
        ("points", "right"), ("rel. %", "right"), ("g", "right"),
    )  # fmt: skip
    rows = []
    for i, line in enumerate(lines):
        phase = line.line.phase
        if line.phase_changed and line.before:
            phase = f"{line.before.line.phase} to {phase}"
        rows.append([line.kind, line.line.material, phase, before[i], after[i], points[i], relative[i], grams[i]])
    widths = [max([len(head), *(len(r[i]) for r in rows)]) for i, (head, _) in enumerate(columns)]
    over = sum(widths) + 2 * len(widths) - out.width
    if over <= widths[1] - 16 or over <= 0:
        widths[1] -= max(0, over)
        table = grid(*columns, widths=widths)
        for row in rows:
            table.add_row(styled(row[0], row[0]), fold(row[1], widths[1]), *row[2:5], *(styled(text, row[0]) for text in row[5:]))
        out.table(table)
        return
    for index, row in enumerate(rows):
        table = grid(*columns[3:], widths=widths[3:], header=index == 0)
        table.add_row(*row[3:5], *(styled(text, row[0]) for text in row[5:]))
        out.words(styled(row[0], row[0]), row[1], row[2], indent=2)
        out.table(table, 2)


def what_it_does(out: Screen, result: Diff, heading: str = "") -> int:
    """Properties, functions and substances that differ; how many there are. heading: printed above when there are any."""
    functions = [f for f in result.functions if _seen(f.points) or (f.before is None) != (f.after is None)]
    substances = [s for s in result.composition if _differs(s.before, s.after)]
    properties = [p for p in result.properties if p.decimals is None and p.before and p.after and _differs(p.before, p.after)]
    estimated = [p for p in result.properties if p.decimals is not None and p.changed]
    if not (functions or substances or properties or estimated):
        return 0
    if heading:
        out.say("")
        out.head(heading)
    _estimated(out, estimated, result.said)
    rows: list[tuple[str, str, str, str]] = []
    for p in properties:
        assert p.before
        assert p.after
        both = p.before.nominal is not None and p.after.nominal is not None
        gained = (p.after.nominal or ZERO) - (p.before.nominal or ZERO) if both else None
        rows.append(
            (
                p.name,
                share_text(p.before) if not both else brief(p.before.nominal or ZERO),
                share_text(p.after) if not both else brief(p.after.nominal or ZERO),
                _points(gained),
            )
        )
    for f in functions:
        rows.append((f"all {f.function or 'without a function'}", _maybe(f.before), _maybe(f.after), _points(f.points)))
    for s in substances:
        rows.append((s.inci or "undeclared", _share_or_none(s.before), _share_or_none(s.after), _points(s.points)))
    befores, afters, points = align([r[1] for r in rows]), align([r[2] for r in rows]), align([r[3] for r in rows])
    table = grid(("", "left"), ("before %", "right"), ("after %", "right"), ("points", "right"))
    for i, row in enumerate(rows):
        kind = "" if points[i].strip() in ("", "?") else "lowered" if points[i].startswith("-") else "raised"
        table.add_row(row[0], befores[i], afters[i], styled(points[i], kind))
    if rows:
        out.table(table)
    return len(rows) + len(estimated)


def _estimated(out: Screen, rows: Sequence[PropertyDiff], said: Sequence[str]) -> None:
    """Estimated properties that differ, with the band of the second side, and what is to be said of them.

    Of preservatives the sentences say it all, and a change that is lost in the band says nothing.
    """
    rows = [row for row in rows if not row.name.startswith("undissociated") and not _lost(row)]
    if not rows and not said:
        return
    befores, afters = (align([_estimate(row, side) for row in rows]) for side in ("before", "after"))
    changes = align([_signed(fixed(row.gained, row.decimals or 0), row.gained) if row.gained is not None else "" for row in rows])
    table = grid(("estimated", "left"), ("before", "right"), ("after", "right"), ("change", "right"), ("after, between", "left"))
    for i, row in enumerate(rows):
        kind = "lowered" if changes[i].strip().startswith("-") else "raised"
        table.add_row(row.name, befores[i], afters[i], styled(changes[i], kind), _band(row))
    if rows:
        out.table(table)
    for row in rows:
        for when, words in (("before", row.instead_before), ("after", row.instead_after)):
            if words:
                out.item(f"{row.name} {when}: ", words, 2)
    for sentence in said:
        out.say(sentence, 2)
    out.say("estimates; fvc workings NAME PROPERTY shows the arithmetic", 2, QUIET)
    out.say("")


def _lost(row: PropertyDiff) -> bool:
    """True for a change below a tenth of the band around it."""
    if row.gained is None or row.after is None:
        return False
    return abs(row.gained) * 10 < row.after.high - row.after.low


def _estimate(row: PropertyDiff, side: str) -> str:
    share: Share | None = getattr(row, side)
    if share is None or share.nominal is None:
        return "no figure" if getattr(row, f"instead_{side}") else "-"
    return fixed(share.nominal, row.decimals or 0)


def _band(row: PropertyDiff) -> str:
    """`4.21 to 4.40 % of it`; only the unit where the figure has no band."""
    if row.after is None:
        return row.unit
    low, high = (fixed(end, row.decimals or 0) for end in (row.after.low, row.after.high))
    return f"{'' if low == high else f'{low} to {high}'} {row.unit}".strip()


def bill_rows(out: Screen, bill: Bill) -> int:
    """Limits crossed or cleared, labels, cost, each only where it differs; how many there are."""
    for each in bill.limits:
        words = f"limit crossed: {each.finding.message}" if each.kind == "crossed" else f"limit cleared; before, {each.finding.message}"
        out.say(words, 2, "bold" if each.kind == "crossed" else "")
        out.say(f"{each.finding.where}; {each.finding.rule}: {each.finding.source}", 4, STYLES["followed"])
    for found in bill.cautions or ():
        out.say(f"{found.level}: {found.message}", 2, "bold" if found.level != "note" else "")
        out.say(f"{found.where}; {found.rule}: {found.source}", 4, STYLES["followed"])
    for found in bill.eased or ():
        out.say(f"no longer: {found.message}", 2)
    for label in bill.labels:
        law = f" ({label.rules})"
        more, fewer = label.names_gained, label.names_lost
        if more or fewer:
            moves = [f"gains {', '.join(more)}"] if more else []
            moves += [f"loses {', '.join(fewer)}"] if fewer else []
            out.say(f"label{law}: {'; '.join(moves)}", 2)
        if label.order_changed:
            out.say(f"label order{law} down to the 1 % line is now: {', '.join(label.ordered_after)}", 2)
        by = f" ({label.rules}, {label.listed})"
        if label.allergens_gained:
            out.say(f"declared allergens gained{by}: {', '.join(label.allergens_gained)}", 2)
        if label.allergens_lost:
            out.say(f"declared allergens lost{by}: {', '.join(label.allergens_lost)}", 2)
    if bill.cost:
        cost = bill.cost
        first, second, gained = fixed(cost.before, 2), fixed(cost.after, 2), cost.after - cost.before
        if cost.complete_before and cost.complete_after:
            change = f" ({'+' if gained > 0 else ''}{fixed(gained, 2)})"
            out.say(f"raw materials per kg: {first} to {second} {cost.currency}".rstrip() + change, 2)
        else:
            whole_of = [
                words for words, sure in ((f"{first} before", cost.complete_before), (f"{second} after", cost.complete_after)) if sure
            ]
            whole = f"; {', '.join(whole_of)} is the whole" if whole_of else ""
            priced = f"the lines that have a price come to {first} before and {second} after {cost.currency}".rstrip()
            out.say(f"raw materials per kg: not known, since lines have no price; {priced}{whole}", 2)
    return len(bill.limits) + len(bill.cautions or ()) + len(bill.eased or ()) + len(bill.labels) + (bill.cost is not None)


def _differs(before: Share | None, after: Share | None) -> bool:
    """True when two shares differ at the digits shown: a figure to the fourth decimal, the ends of its range, which are not, to 0.05."""
    if before is None or after is None or (before.nominal is None) != (after.nominal is None):
        return before is not after
    ends = (after.low - before.low, after.high - before.high)
    return _seen((after.nominal or ZERO) - (before.nominal or ZERO)) or any(abs(end) >= Fraction(1, 20) for end in ends)


def _seen(points: Fraction) -> bool:
    """False for what is no difference at the digits shown."""
    return abs(points) >= Fraction(1, 20_000)


def _maybe(value: Fraction | None) -> str:
    return "-" if value is None else brief(value)


def _share_or_none(share: Share | None) -> str:
    return "-" if share is None else "?" if share.nominal is None else brief(share.nominal)


def _points(value: Fraction | None) -> str:
    if value is None:
        return "?"
    text = brief(value)
    return f"+{text}" if value > 0 else text
