"""The formula sheet and the weigh sheet, for a person: on screen, or printed at 80 columns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from fvc.amounts import ZERO, brief, figure, fixed, needed_decimals, shown
from fvc.compare.summary import percent_text
from fvc.composition import Composition, Substance, composition_of, totals_by_function
from fvc.formula import BALANCE, OPEN, RATIO, Amount, Phase
from fvc.material import Lot, active_share
from fvc.reading import Reading
from fvc.scales import Scale
from fvc.shelf import Offer
from fvc.show.screen import QUIET, STYLES, Screen, align, counted, fit_widths, fold, grid, share_text
from fvc.weighing import USP_41_STEPS, WeighLine, WeighSheet, weigh_sheet


def _head(out: Screen, reading: Reading, batch: str) -> None:
    plan = reading.plan
    out.head(plan.title or plan.id, f"{plan.id}, {reading.side.words}")
    facts = [plan.status] if reading.side.revision is not None else []
    if plan.use:
        facts.append(", ".join(plan.use))
    if batch:
        facts.append(f"batch {batch}")
    spec = spec_words(plan.spec)
    if spec:
        facts.append(f"spec {spec}")
    out.say("  ".join(facts), 0, QUIET)


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


def phase_steps(phase: Phase) -> str:
    """`heat to 70 °C, hold 15 min, add below 40 °C`."""
    steps = (("heat to", phase.heat), ("hold", phase.hold), ("add below", phase.add_below))
    return ", ".join(f"{word} {text}" for word, text in steps if text)


def _phase_head(out: Screen, phase: Phase, total: str = "") -> None:
    title = f"Phase {phase.name}" + (f", {phase.title}" if phase.title else "")
    out.say("")
    out.head(title, "  ".join([*([total] if total else []), phase_steps(phase)]).strip())
    if phase.method:
        out.say(phase.method, 2)


_KIND_WORD = {BALANCE: "balance", OPEN: "open", RATIO: "ratio"}


def sheet(
    out: Screen, reading: Reading, batch: Fraction | None, batch_text: str, scales: Sequence[Scale], *, composition: bool = False
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
    widths = fit_widths(columns, texts, out.width - 2)
    first = True
    for phase in reading.plan.phases:
        rows = [i for i, a in enumerate(amounts) if a.line.phase == phase.name]
        total = sum((amounts[i].counted for i in rows), ZERO)
        _phase_head(out, phase, f"{shown(total, reading.closure.decimals)} %")
        table = grid(*columns, widths=widths, header=first)
        first = False
        for i in rows:
            table.add_row(fold(texts[i][0], widths[0]), *texts[i][1:])
            notes = _line_notes(amounts[i])
            if notes:  # a note runs over the whole width, so the table is broken here
                out.table(table)
                out.say(notes, 4, STYLES["followed"])
                table = grid(*columns, widths=widths, header=False)
        if table.row_count:
            out.table(table)
    _totals(out, reading, batch_text if reading.sound else "")
    inside = composition_of(reading)
    if composition:
        _composition(out, inside, reading)
        unknown = [a.line.material for a in reading.closure.amounts if a.line.level.kind == OPEN and a.percent is None]
        if unknown:
            out.say(f"not in this list, since their level is open: {', '.join(unknown)}", 2)
    elif inside.undeclared.high:
        out.say(f"undeclared: {share_text(inside.undeclared)} %, from {', '.join(inside.undeclared_from)}")


def _line_notes(amount: Amount) -> str:
    level = amount.line.level
    notes = [f"= {level.text}"] if level.kind == RATIO else []
    if level.kind == OPEN:
        notes.append("set at the bench" + ("; the figure is what to expect" if level.number else ""))
    if amount.line.note:
        notes.append(amount.line.note)
    return "; ".join(notes)


def _active_text(reading: Reading, amount: Amount) -> str:
    material = reading.materials.get(amount.line.material)
    active = active_share(material) if material else None
    if active is None or amount.percent is None:
        return "-"
    return brief(amount.percent * active / 100)


def _totals(out: Screen, reading: Reading, batch_text: str) -> None:
    closure = reading.closure
    out.say("")
    batch = f"   {batch_text}" if batch_text else ""
    out.head(f"Total {shown(closure.total, closure.decimals)} %{batch}")
    totals = sorted(totals_by_function(reading).items(), key=lambda item: -item[1])
    names = [f or "no function in its record" for f, _ in totals]
    table = grid(("by function", "left"), ("%", "right"))
    for name, text in zip(names, align([shown(p, closure.decimals) for _, p in totals]), strict=True):
        table.add_row(name, text)
    out.table(table)
    water = composition_of(reading).water
    out.say(f"total water {share_text(water)} %, counted over all solutions")


def _composition(out: Screen, inside: Composition, reading: Reading) -> None:
    out.say("")
    out.head("Composition by INCI name", "% of the product")
    rows = [(s.inci, s.share, _brought(s)) for s in inside.substances]
    if inside.undeclared.high:
        rows.append(("undeclared", inside.undeclared, ", ".join(inside.undeclared_from)))
    texts = [
        [
            name,
            brief(share.nominal) if share.nominal is not None else "?",
            ""
            if share.certain
            else f"{brief(share.low)} to {brief(share.high)}" + (" (middle)" if share.middle and share.nominal is not None else ""),
            sources,
        ]
        for name, share, sources in rows
    ]
    for row, aligned in zip(texts, align([r[1] for r in texts]), strict=True):
        row[1] = aligned
    columns = (("INCI name", "left"), ("%", "right"), ("range", "left"), ("comes with", "left"))
    widths = fit_widths(columns, texts, out.width - 2)
    table = grid(*columns, widths=widths)
    for row in texts:
        table.add_row(fold(row[0], widths[0]), row[1], row[2], fold(row[3], widths[3]))
    out.table(table)
    _inside(out, reading)


def _inside(out: Screen, reading: Reading) -> None:
    """What is physically inside the ingredients above: by the records, and by what is typical where those say nothing."""
    from fvc.contents import INSIDE, TYPICAL, contents_of, total

    by_key = contents_of(reading).by_key.values()
    for how, words in (
        (INSIDE, "inside these by their records, not added matter"),
        (TYPICAL, "inside these by what is typical of the oils"),
    ):
        found = [(some[0].inci, total(some)) for each in by_key if (some := [c for c in each if c.how == how])]
        if found:
            found.sort(key=lambda item: -item[1].high)
            listed = ", ".join(f"{name} {figure(s.low)}" + ("" if s.certain else f" to {figure(s.high)}") for name, s in found)
            out.item("", f"{words}, in %: {listed}", 2)


def _brought(substance: Substance) -> str:
    """What it comes with; how much of each, when it comes with several."""
    if len(substance.brought) == 1:
        return substance.sources[0]
    return ", ".join(f"{id} {brief(s.nominal) if s.nominal is not None else '?'}" for id, s in substance.brought)


def weigh(out: Screen, reading: Reading, sheet: WeighSheet, batch_text: str, offers: Mapping[str, Offer]) -> None:
    """The weigh sheet: boxes for actual and lot, open lines with their target, one footer on small weights."""
    plan = reading.plan
    out.head(f"Weigh sheet: {plan.title or plan.id}", f"{plan.id}, {reading.side.words}")
    step = f"{shown(sheet.batch_scale.step, 0)} g"
    rounded = f", rounded to the {step} scale from {brief(sheet.asked)} g" if sheet.asked != sheet.batch else ""
    asked = f" ({batch_text})" if batch_text and not batch_text.replace(" ", "").lower().endswith(f"{shown(sheet.batch, 0)}g") else ""
    out.say(f"Batch {_grams(sheet.batch, sheet.batch_scale)} g{asked}{rounded}")
    spec = spec_words(plan.spec)
    if spec:
        out.say(f"Spec {spec}")
    out.say("Made by ____________________   Date ______________   Batch number ______________")
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
            _lot(offers.get(line.amount.line.material)) or "_" * 12,
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
            table.add_row(row[0], fold(row[1], widths[1]), *row[2:])
            note = _weigh_note(line, plan.spec)
            if note:
                out.table(table)
                out.say(note, 7, STYLES["followed"])
                table = grid(*columns, widths=widths, header=False)
        if table.row_count:
            out.table(table)
    out.say("")
    out.head(f"Total {_grams(sheet.total, _finest(sheet))} g", _open_words(reading))
    if sheet.total != sheet.batch:
        gap = sheet.batch - sheet.total
        out.say(
            f"The lines go to more than one scale, so they total {shown(abs(gap), 2)} g {'less' if gap > 0 else 'more'} than the batch."
        )
    out.say(f"Rule: {sheet.rule}")
    for line in sheet.lines:
        if line.over_scale and line.scale.most is not None:
            out.say(f"{line.amount.line.material} is more than any scale here carries ({shown(line.scale.most, 0)} g): weigh it in parts.")
    _lots(out, offers)
    _small_weights(out, sheet)


def _lot(offer: Offer | None) -> str:
    """The lot to use first, with room for another in its place."""
    return f"{offer.lots[0].number} ____" if offer and offer.lots else ""


def _lots(out: Screen, offers: Mapping[str, Offer]) -> None:
    """What the shelf says: second lots, what is past its day, what is short."""
    rows = []
    for each in offers.values():
        first = each.lots[0] if each.lots else None
        if first is not None and len(each.lots) > 1:
            parts = ", then ".join(
                f"{lot.number}" + (f" ({brief(lot.grams, 0, 2)} g)" if lot.grams is not None else "") for lot in each.lots
            )
            rows.append(f"{each.material}: {parts}")
        rows += [_batch(each, lot) for lot in each.lots if each.made]
        if each.short:
            rows.append(
                f"{each.material} is short: {brief(each.needed, 0, 2)} g needed, {brief(each.needed - each.short, 0, 2)} g on the shelf that may be used, {brief(each.short, 0, 2)} g missing"
            )
        for lot in each.expired:
            rows.append(f"{each.material}: lot {lot.number} is past its day ({lot.use_by}): do not use it")
    if rows:
        out.say("")
        out.head("Lots", "the first to use stands in the sheet")
        for row in rows:
            out.say(row, 2)


def _batch(offer: Offer, lot: Lot) -> str:
    """A batch made in-house: its age, its last day, what is left of it."""
    age = offer.age(lot)
    facts = [f"{counted(age, 'day')} old" if age is not None else "", f"use by {lot.use_by}" if lot.use_by else ""]
    facts += [f"{brief(lot.grams, 0, 2)} g left" if lot.grams is not None else ""]
    return f"{offer.material}: batch {lot.number}, {', '.join(f for f in facts if f)}"


def _open_words(reading: Reading) -> str:
    """How open lines count in a total, in words."""
    open_lines = [a for a in reading.closure.amounts if a.line.level.kind == OPEN]
    expected = any(a.percent is not None for a in open_lines)
    unknown = [a.line.material for a in open_lines if a.percent is None]
    words = ["open lines counted as expected"] if expected else []
    return "; ".join([*words, *([f"not counted: {', '.join(unknown)}, open"] if unknown else [])])


def _finest(sheet: WeighSheet) -> Scale:
    return min((line.scale for line in sheet.lines), key=lambda s: s.step, default=sheet.batch_scale)


def _grams(value: Fraction, scale: Scale) -> str:
    return fixed(value, max(scale.decimals, needed_decimals(value) or 0))


def _is_open(line: WeighLine) -> bool:
    """True for a line that is found at the bench: an open one, or a ratio of one whose level nobody can know yet."""
    return line.amount.line.level.kind == OPEN or bool(line.amount.waits_for)


def _mark(line: WeighLine) -> str:
    return "**  " if not line.makeable else "*  " if line.too_small else ""


def _weigh_note(line: WeighLine, spec: object) -> str:
    if not _is_open(line):
        return line.amount.line.note
    if line.amount.waits_for:
        return f"{line.amount.line.level.text}, by what {', '.join(line.amount.waits_for)} came to: ________ g"
    ph = spec.get("ph") if isinstance(spec, dict) else None
    target = f"to pH {ph[0].text} to {ph[1].text}" if isinstance(ph, tuple) else "to the target of the plan"
    expected = f", about {_grams(line.grams, line.scale)} g expected" if line.grams is not None else ""
    note = f"; {line.amount.line.note}" if line.amount.line.note else ""
    return f"{target}: ________ g{expected}{note}"


def _small_weights(out: Screen, sheet: WeighSheet) -> None:
    """One footer for all that is too small or reads nothing, with what would mend each."""
    small = [line for line in sheet.lines if line.too_small or not line.makeable]
    if not small:
        return
    out.say("")
    out.head("Small weights", f"* below {shown(sheet.small_below, 0)} steps of its scale   ** reads 0, not makeable")
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
            words += (
                f", or as a stock of {shown(strength, 0)} % or less in a liquid of the plan that dissolves it "
                f"(at {shown(strength, 0)} %: {fixed(grams, line.scale.decimals)} g, and {fixed(grams - exact, line.scale.decimals)} g less of that liquid)"
            )
        out.say(words, 2)
    out.say(
        f"For the record: USP <41> asks for {USP_41_STEPS} steps at least ({shown(USP_41_STEPS * _finest(sheet).step, 0)} g on the finest scale used here). Small makers work below that.",
        2,
    )
