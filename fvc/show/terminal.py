"""Screens for a person: the sheet, the weigh sheet, differences, the history, one ingredient's life."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from rich.console import Console
from rich.table import Table
from rich.text import Text

from fvc.amounts import ZERO, brief, fixed, needed_decimals, shown
from fvc.compare.diff import FOLLOWED, SAME, Diff, LineDiff
from fvc.compare.summary import line_words, percent_text, points_text, record_words, text_words
from fvc.composition import Composition, composition_of, totals_by_function
from fvc.formula import BALANCE, OPEN, RATIO, Amount, Phase
from fvc.material import Share, active_share
from fvc.reading import Reading, Side
from fvc.show.screen import QUIET, STYLES, align, grid, heading, indented, styled
from fvc.story import Level, Row, Story
from fvc.weighing import USP_41_STEPS, Scale, WeighLine, WeighSheet, weigh_sheet


def _head(out: Console, reading: Reading, batch: str) -> None:
    plan = reading.plan
    out.print(heading(plan.title or plan.id, f"{plan.id}, {reading.side.words}"))
    facts = [plan.status] if reading.side.revision is not None else []
    if plan.use:
        facts.append(", ".join(plan.use))
    if batch:
        facts.append(f"batch {batch}")
    spec = spec_words(plan.spec)
    if spec:
        facts.append(f"spec {spec}")
    out.print(Text("  ".join(facts)), style=QUIET if out.is_terminal else "")


def spec_words(spec: object) -> str:
    """`pH 4.4 to 4.9, density 1.01 g/mL`."""
    words = []
    for key, value in spec.items() if isinstance(spec, dict) else ():
        name = "pH" if key == "ph" else key
        if isinstance(value, tuple) and len(value) == 2 and hasattr(value[0], "text"):
            text = f"{value[0].text} to {value[1].text}"
        else:
            text = getattr(value, "text", str(value))
        words.append(f"{name} {text}" + (" g/mL" if key == "density" else ""))
    return ", ".join(words)


def _phase_head(out: Console, phase: Phase, total: str = "") -> None:
    steps = []
    if phase.heat:
        steps.append(f"heat to {phase.heat}")
    if phase.hold:
        steps.append(f"hold {phase.hold}")
    if phase.add_below:
        steps.append(f"add below {phase.add_below}")
    title = f"Phase {phase.name}" + (f", {phase.title}" if phase.title else "")
    out.print()
    out.print(heading(title, "  ".join([*([total] if total else []), ", ".join(steps)]).strip()))
    if phase.method:
        out.print(indented(Text(phase.method)))


def share_text(share: Share, decimals: int = 2) -> str:
    """`91.35`, `71.46 (71.44 to 71.48)`, or `91.35 to 92.25` when the figure itself is not known."""
    low, high = brief(share.low, decimals), brief(share.high, decimals)
    if share.nominal is None:
        return f"{low} to {high}"
    nominal = brief(share.nominal, decimals)
    return nominal if share.certain else f"{nominal} ({low} to {high})"


_KIND_WORD = {BALANCE: "balance", OPEN: "open", RATIO: "ratio"}


def sheet(
    out: Console, reading: Reading, batch: Fraction | None, batch_text: str, scales: Sequence[Scale], *, composition: bool = False
) -> None:
    """The formula sheet: lines by phase, totals, water, composition on request.

    Grams are shown as the finest scale would, so that they total the batch; none when the plan
    does not close.
    """
    _head(out, reading, batch_text)
    amounts = reading.closure.amounts
    grams: list[str] = [""] * len(amounts)
    if batch is not None and reading.sound:
        finest = min(scales, key=lambda s: s.step)
        asked = weigh_sheet(reading, batch, [Scale(finest.step)])
        grams = align([fixed(line.grams, finest.decimals) if line.grams is not None else "" for line in asked.lines])
    percents = align([percent_text(a) for a in amounts])
    actives = align([_active_text(reading, a) for a in amounts])
    texts = [
        [a.line.material, p, _KIND_WORD.get(a.line.level.kind, ""), g, act, reading.function(a.line.material) or "-"]
        for a, p, g, act in zip(amounts, percents, grams, actives, strict=True)
    ]
    columns = (("material", "left"), ("%", "right"), ("", "left"), ("g", "right"), ("active %", "right"), ("function", "left"))
    widths = _widths(columns, texts, out.width - 2)
    first = True
    for phase in reading.plan.phases:
        rows = [i for i, a in enumerate(amounts) if a.line.phase == phase.name]
        total = sum((amounts[i].counted for i in rows), ZERO)
        _phase_head(out, phase, f"{shown(total, reading.closure.decimals)} %")
        table = grid(*columns, widths=widths, header=first)
        first = False
        for i in rows:
            table.add_row(*texts[i])
            notes = _line_notes(amounts[i])
            if notes:  # a note runs over the whole width, so the table is broken here
                out.print(indented(table))
                out.print(indented(Text(notes, style=STYLES["followed"] if out.is_terminal else ""), 4))
                table = grid(*columns, widths=widths, header=False)
        if table.row_count:
            out.print(indented(table))
    _totals(out, reading, batch_text if reading.sound else "")
    inside = composition_of(reading)
    if composition:
        _composition(out, inside)
    elif inside.undeclared.high:
        out.print(Text(f"undeclared: {share_text(inside.undeclared)} %, from {', '.join(inside.undeclared_from)}"))


def _line_notes(amount: Amount) -> str:
    level = amount.line.level
    notes = [f"= {level.text}"] if level.kind == RATIO else []
    if level.kind == OPEN:
        notes.append("set at the bench" + ("; the figure is what to expect" if level.number else ""))
    if amount.line.note:
        notes.append(amount.line.note)
    return "; ".join(notes)


def _widths(columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """Widths that hold every number whole; the first column folds when the room is short."""
    widths = [max([len(head), *(len(r[i]) for r in rows)]) for i, (head, _) in enumerate(columns)]
    over = sum(widths) + 2 * len(widths) - 2 - room
    if over > 0:
        last = len(widths) - 1
        give = min(over, max(0, widths[0] - 16))
        widths[0] -= give
        if columns[last][1] == "left" and over > give:
            widths[last] = max(8, widths[last] - (over - give))
    return widths


def _active_text(reading: Reading, amount: Amount) -> str:
    material = reading.materials.get(amount.line.material)
    active = active_share(material) if material else None
    if active is None or amount.percent is None:
        return "-"
    return brief(amount.percent * active / 100)


def _totals(out: Console, reading: Reading, batch_text: str) -> None:
    closure = reading.closure
    out.print()
    batch = f"   {batch_text}" if batch_text else ""
    out.print(heading(f"Total {shown(closure.total, closure.decimals)} %{batch}"))
    totals = sorted(totals_by_function(reading).items(), key=lambda item: -item[1])
    names = [f or "no function in its record" for f, _ in totals]
    table = grid(("by function", "left"), ("%", "right"))
    for name, text in zip(names, align([shown(p, closure.decimals) for _, p in totals]), strict=True):
        table.add_row(name, text)
    out.print(indented(table))
    water = composition_of(reading).water
    out.print(Text(f"total water {share_text(water)} %, counted over all solutions"))


def _composition(out: Console, inside: Composition) -> None:
    out.print()
    out.print(heading("Composition by INCI name", "% of the product"))
    rows = [(s.inci, s.share, ", ".join(s.sources)) for s in inside.substances]
    if inside.undeclared.high:
        rows.append(("undeclared", inside.undeclared, ", ".join(inside.undeclared_from)))
    texts = [
        [
            name,
            brief(share.nominal) if share.nominal is not None else "?",
            "" if share.certain else f"{brief(share.low)} to {brief(share.high)}" + (" (middle)" if share.middle else ""),
            sources,
        ]
        for name, share, sources in rows
    ]
    for row, aligned in zip(texts, align([r[1] for r in texts]), strict=True):
        row[1] = aligned
    table = grid(("INCI name", "left"), ("%", "right"), ("range", "left"), ("comes with", "left"))
    for row in texts:
        table.add_row(*row)
    out.print(indented(table))
    if inside.constituents:
        listed = ", ".join(f"{name} {share_text(share)} %" for name, share in inside.constituents.items() if share.high)
        out.print(indented(Text(f"inside these, not added matter: {listed}")))


# --- weigh sheet ---------------------------------------------------------------------------------


def weigh(out: Console, reading: Reading, sheet: WeighSheet, batch_text: str) -> None:
    """The weigh sheet: boxes for actual and lot, open lines with their target, one footer on small weights."""
    plan = reading.plan
    out.print(heading(f"Weigh sheet: {plan.title or plan.id}", f"{plan.id}, {reading.side.words}"))
    step = f"{shown(sheet.batch_scale.step, 0)} g"
    rounded = f", rounded to the {step} scale from {brief(sheet.asked)} g" if sheet.asked != sheet.batch else ""
    asked = f" ({batch_text})" if batch_text and not batch_text.replace(" ", "").lower().endswith(f"{shown(sheet.batch, 0)}g") else ""
    out.print(Text(f"Batch {_grams(sheet.batch, sheet.batch_scale)} g{asked}{rounded}"))
    spec = spec_words(plan.spec)
    if spec:
        out.print(Text(f"Spec {spec}"))
    out.print(Text("Made by ____________________   Date ______________   Batch number ______________"[: out.width]))
    several = len({line.scale.step for line in sheet.lines}) > 1
    texts = align(
        [
            _grams(line.grams, line.scale) if line.grams is not None and not _is_open(line) else "____" if _is_open(line) else ""
            for line in sheet.lines
        ]
    )
    columns = (("", "left"), ("material", "left"), ("target g", "right"), ("", "left"), ("actual g", "left"), ("lot", "left"))
    rows = [
        [
            "[ ]",
            line.amount.line.material,
            text,
            _mark(line) + (f"{shown(line.scale.step, 0)} g scale" if several else ""),
            "_" * 10,
            "_" * 12,
        ]
        for line, text in zip(sheet.lines, texts, strict=True)
    ]
    widths = [max([len(head), *(len(r[i]) for r in rows)]) for i, (head, _) in enumerate(columns)]
    over = sum(widths) + 2 * len(widths) - 2 - (out.width - 2)
    widths[1] = max(12, widths[1] - max(0, over))
    first = True
    for phase in plan.phases:
        _phase_head(out, phase)
        table = grid(*columns, widths=widths, header=first)
        first = False
        for line, row in zip(sheet.lines, rows, strict=True):
            if line.amount.line.phase != phase.name:
                continue
            table.add_row(*row)
            note = _weigh_note(line, plan.spec)
            if note:
                out.print(indented(table))
                out.print(indented(Text(note, style=STYLES["followed"] if out.is_terminal else ""), 7))
                table = grid(*columns, widths=widths, header=False)
        if table.row_count:
            out.print(indented(table))
    out.print()
    out.print(
        heading(
            f"Total {_grams(sheet.total, _finest(sheet))} g", "open lines counted as expected" if any(map(_is_open, sheet.lines)) else ""
        )
    )
    if sheet.total != sheet.batch:
        gap = sheet.batch - sheet.total
        out.print(
            Text(
                f"The lines go to more than one scale, so they total {shown(abs(gap), 2)} g {'less' if gap > 0 else 'more'} than the batch."
            )
        )
    out.print(Text(f"Rule: {sheet.rule}"))
    _small_weights(out, sheet)


def _finest(sheet: WeighSheet) -> Scale:
    return min((line.scale for line in sheet.lines), key=lambda s: s.step, default=sheet.batch_scale)


def _grams(value: Fraction, scale: Scale) -> str:
    return fixed(value, max(scale.decimals, needed_decimals(value) or 0))


def _is_open(line: WeighLine) -> bool:
    return line.amount.line.level.kind == OPEN


def _mark(line: WeighLine) -> str:
    return "**  " if not line.makeable else "*  " if line.too_small else ""


def _weigh_note(line: WeighLine, spec: object) -> str:
    if not _is_open(line):
        return line.amount.line.note
    ph = spec.get("ph") if isinstance(spec, dict) else None
    target = f"to pH {ph[0].text} to {ph[1].text}" if isinstance(ph, tuple) else "to the target of the plan"
    expected = f", about {_grams(line.grams, line.scale)} g expected" if line.grams is not None else ""
    note = f"; {line.amount.line.note}" if line.amount.line.note else ""
    return f"{target}: ________ g{expected}{note}"


def _small_weights(out: Console, sheet: WeighSheet) -> None:
    """One footer for all that is too small or reads nothing, with what would mend each."""
    small = [line for line in sheet.lines if line.too_small or not line.makeable]
    if not small:
        return
    out.print()
    out.print(heading("Small weights", f"* below {shown(sheet.small_below, 0)} steps of its scale   ** reads 0, not makeable"))
    for line in small:
        name, exact = line.amount.line.material, line.exact_grams or ZERO
        error = line.relative_error
        reads = "reads 0" if not line.makeable else f"reads {_grams(line.grams or ZERO, line.scale)}"
        if line.makeable and error:
            reads += f", {'+' if error > 0 else ''}{fixed(error, 1)} %"
        words = f"{_mark(line).strip()} {name}: {brief(exact)} g {reads} on a {shown(line.scale.step, 0)} g scale"
        if line.mending_batch is not None:
            words += f"; large enough from a batch of {fixed(line.mending_batch, 0)} g"
        if line.stock is not None:
            strength, grams = line.stock
            words += f", or as a {shown(strength, 0)} % stock in a liquid of the plan: {fixed(grams, line.scale.decimals)} g, and {fixed(grams - exact, line.scale.decimals)} g less of that liquid"
        out.print(indented(Text(words)))
    out.print(
        indented(
            Text(
                f"For the record: USP <41> asks for {USP_41_STEPS} steps at least ({shown(USP_41_STEPS * _finest(sheet).step, 0)} g on the finest scale used here). Small makers work below that."
            )
        )
    )


# --- differences ---------------------------------------------------------------------------------


def _side_words(side: Side, name: str) -> str:
    where = f" in {side.commit[:8]}" if side.commit else "" if side.revision is None else " in the folder"
    return f"{side.ref or name} ({side.words}{where})"


def diff(out: Console, result: Diff, *, every: bool = False) -> None:
    """What changed, what followed, and what it does; unchanged lines are counted, `every` shows them."""
    out.print(Text(f"before  {_side_words(result.before, '')}"))
    out.print(Text(f"after   {_side_words(result.after, '')}"))
    if not result.different:
        out.print()
        out.print(Text(f"Nothing differs: {len(result.lines)} lines, the same levels, order, texts and material records."))
        return
    changed = [line for line in result.lines if line.kind not in (SAME, FOLLOWED)]
    followed = [line for line in result.lines if line.kind == FOLLOWED]
    same = [line for line in result.lines if line.kind == SAME]
    shown_lines = changed + followed + (same if every else [])
    if shown_lines:
        out.print()
        batch = f"grams at {shown(result.batch, 0)} g" if result.batch is not None else "no grams: no common batch"
        out.print(heading("Lines", batch))
        out.print(indented(_line_table(out, shown_lines)))
    if same and not every:
        out.print(indented(Text(f"{len(same)} line{'s' if len(same) != 1 else ''} unchanged")))
    for swap in result.swaps:
        out.print(indented(Text(f"swap: {swap.out} out, {swap.into} in ({swap.function})")))
    if result.order:
        out.print(indented(Text("order of addition is now: " + ", ".join(m for _, m in result.order))))
    _what_it_does(out, result)
    if result.materials_changed:
        out.print()
        out.print(heading("Material records changed meanwhile"))
        for record in result.materials_changed:
            out.print(indented(Text(record_words(record))))
    if result.text:
        out.print()
        out.print(heading("Text"))
        for text in result.text:
            out.print(indented(Text(f"{text.field}", style="bold")))
            out.print(indented(Text(f"before  {text.before if text.before is not None else '(nothing)'}"), 4))
            out.print(indented(Text(f"after   {text.after if text.after is not None else '(nothing)'}"), 4))


def _signed(text: str, value: Fraction) -> str:
    return text if value < 0 else f"+{text}" if value > 0 else f" {text}"


def _line_table(out: Console, lines: Sequence[LineDiff]) -> Table:
    before = align([percent_text(line.before) for line in lines])
    after = align([percent_text(line.after) for line in lines])
    points = align([points_text(line) if line.points else "" for line in lines])
    relative = align([f"{_signed(fixed(line.relative, 1), line.relative)}" if line.relative else "" for line in lines])
    grams = align([_signed(fixed(g, 2), g) if (g := line.grams(line.points)) else "" for line in lines])
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
    over = sum(widths) + 2 * len(widths) - 2 - (out.width - 2)
    if over > 0:
        widths[1] = max(12, widths[1] - over)
    table = grid(*columns, widths=widths)
    for row in rows:
        kind = row[0]
        table.add_row(styled(kind, kind), row[1], row[2], row[3], row[4], styled(row[5], kind), styled(row[6], kind), styled(row[7], kind))
    return table


def _what_it_does(out: Console, result: Diff) -> None:
    functions = [f for f in result.functions if f.points or (f.before is None) != (f.after is None)]
    substances = [s for s in result.composition if s.points != 0 or _bounds(s.before) != _bounds(s.after)]
    properties = [p for p in result.properties if p.before != p.after]
    if not (functions or substances or properties):
        return
    out.print()
    out.print(heading("What it does to the product"))
    rows: list[tuple[str, str, str, str]] = []
    for p in properties:
        both = p.before.nominal is not None and p.after.nominal is not None
        gained = (p.after.nominal or ZERO) - (p.before.nominal or ZERO) if both else None
        rows.append(
            (
                p.property,
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
    out.print(indented(table))


def _bounds(share: Share | None) -> tuple[object, ...]:
    return (None,) if share is None else (share.nominal, share.low, share.high)


def _maybe(value: Fraction | None) -> str:
    return "-" if value is None else brief(value)


def _share_or_none(share: Share | None) -> str:
    return "-" if share is None else "?" if share.nominal is None else brief(share.nominal)


def _points(value: Fraction | None) -> str:
    if value is None:
        return "?"
    text = brief(value)
    return f"+{text}" if value > 0 else text


# --- history and trace -----------------------------------------------------------------------------


def history(out: Console, story: Story) -> None:
    """Newest first: number, date, author, reason, and the net change under each."""
    out.print(heading(story.title, story.name))
    if story.unsaved is not None and (story.unsaved or story.unsaved_texts or story.unsaved_records):
        changed = [line for line in story.unsaved if line.kind != SAME]
        words = (
            [line_words(line) for line in changed]
            + [record_words(r) for r in story.unsaved_records]
            + [text_words(t) for t in story.unsaved_texts]
        )
        out.print()
        out.print(Text("in the folder, not saved", style="bold"))
        for word in words[:12] if story.rows else [f"{len(changed)} lines, not saved yet: fvc revise {story.name} --reason TEXT"]:
            out.print(indented(Text(word), 4))
    for row in story.rows:
        out.print()
        _history_row(out, row)
    if story.shallow:
        out.print()
        out.print(Text("This clone is shallow: more history may exist. Fetch it with  git fetch --unshallow"))


_ROW_WORDS = {"plain": "", "revision": "", "records": "material record", "unreadable": "cannot be read", "deleted": "deleted"}


def _history_row(out: Console, row: Row) -> None:
    label = row.label if row.kind != "records" else f"{row.label}"
    head = Text()
    head.append(f"{label:>4}", style="bold")
    head.append(f"  {row.commit.day}  {row.commit.author}")
    aside = _ROW_WORDS[row.kind]
    if row.kind == "plain":
        aside = "saved without a new revision"
    head.append(f"  {row.commit.id[:8]}" + (f"  ({aside})" if aside else ""), style=STYLES["followed"] if out.is_terminal else "")
    out.print(head)
    out.print(indented(Text(row.reason, style="bold" if out.is_terminal else ""), 6))
    if row.problem:
        out.print(indented(Text(f"cannot be read: {row.problem}" if row.kind == "unreadable" else row.problem), 6))
    if row.first:
        out.print(indented(Text(f"first saved, {len(row.lines)} lines"), 6))
    else:
        decided = [line for line in row.lines if line.kind not in (SAME, FOLLOWED)]
        followed = [line for line in row.lines if line.kind == FOLLOWED]
        for line in decided + followed:
            out.print(indented(Text(line_words(line), style=STYLES.get(line.kind, "") if out.is_terminal else ""), 6))
        for word in [record_words(r) for r in row.records] + [text_words(t) for t in row.texts]:
            out.print(indented(Text(word), 6))
    if row.trials:
        out.print(indented(Text(f"tried: {', '.join(row.trials)}"), 6))


def trace(out: Console, story: Story, material: str, levels: Sequence[Level]) -> None:
    """Why is it at this level: each change of one ingredient with its reason, newest first."""
    out.print(heading(f"{material} in {story.title}", story.name))
    now = [a for a in story.now.closure.amounts if a.line.material == material] if story.now else []
    for amount in now:
        note = f"; {amount.line.note}" if amount.line.note else ""
        written = f" = {amount.line.level.text}" if amount.line.level.kind in (RATIO, BALANCE, OPEN) else ""
        out.print(Text(f"now {percent_text(amount)} % in phase {amount.line.phase}{written}{note}"))
    if not now:
        out.print(Text("not in the plan now"))
    out.print()
    texts = []
    for level in levels:
        row = level.row
        label, day, author = (row.label, row.commit.day, row.commit.author) if row else ("-", "not saved", "")
        if level.line is None:
            before, after, points = "", "", ""
        else:
            before, after = percent_text(level.before), percent_text(level.after)
            points = points_text(level.line) if level.line.points else ""
        texts.append([label, day, author, level.kind if level.kind != "same" else "rewritten", before, after, points])
    for column in (4, 5, 6):
        for text, aligned in zip(texts, align([t[column] for t in texts]), strict=True):
            text[column] = aligned
    columns = (
        ("rev", "right"),
        ("date", "left"),
        ("by", "left"),
        ("", "left"),
        ("before %", "right"),
        ("after %", "right"),
        ("points", "right"),
    )
    widths = _widths(columns, texts, out.width)
    for index, (level, text) in enumerate(zip(levels, texts, strict=True)):
        table = grid(*columns, widths=widths, header=index == 0)
        kind = level.kind
        table.add_row(*text[:3], styled(text[3], kind), text[4], text[5], styled(text[6], kind))
        out.print(table)
        reasons = [level.row.reason] if level.row else []
        if level.line and level.line.level_changed and level.line.before and level.line.after:
            kinds = (level.line.before.line.level.kind, level.line.after.line.level.kind)
            if kinds != ("fixed", "fixed"):
                reasons.append(f"written {level.line.before.line.level.text} before, {level.line.after.line.level.text} after")
        reasons += [record_words(r) for r in level.records]
        for reason in reasons:
            out.print(indented(Text(reason), 6))
