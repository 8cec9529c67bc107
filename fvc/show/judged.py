"""What was checked, the declaration, and the cost, for a person."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fvc.amounts import brief, figure, fixed, shown
from fvc.contents import INSIDE, TYPICAL
from fvc.reading import Reading
from fvc.reference.allergens import AllergenList
from fvc.rules.cost import Cost
from fvc.rules.finding import LEVELS, Finding, NotChecked, Report
from fvc.rules.label import CONFIRM, Entry, Label
from fvc.show.screen import QUIET, Screen, align, counted, fit_widths, fold, grid

NOT_SAFETY = "not a safety assessment"


def verdict(reports: Sequence[Report]) -> str:
    """`no stop in 14 checks, 3 not done; not a safety assessment`."""
    stops = sum(1 for r in reports for f in r.findings if f.level == "stop")
    done = sum(r.done for r in reports)
    missing = sum(len(r.not_checked) for r in reports)
    many = sum(r.of_plan for r in reports)
    plans = f" of {counted(many, 'plan')}" if many != 1 else ""
    first = counted(stops, "stop") if stops else "no stop"
    return f"{first} in {counted(done, 'check')}{plans}, {missing} not done; {NOT_SAFETY}"


def check(out: Screen, reports: Sequence[Report], titles: Sequence[str], rules: Sequence[str]) -> None:
    """Findings by plan, the gravest first; then what could not be checked, each reason once; then the verdict."""
    out.say(f"Rule sets: {', '.join(rules)}", 0, QUIET)
    quiet: list[str] = []
    for report, title in zip(reports, titles, strict=True):
        if not report.findings and len(reports) > 1:
            quiet.append(report.plan)
            continue
        out.head(f"Check: {title}")
        for finding in report.findings:
            _finding(out, finding)
        if not report.findings:
            out.say("nothing found by the checks that were done", 2)
        out.say("")
    if quiet:
        out.head("Nothing found by the checks that were done")
        out.say(", ".join(quiet), 2)
        out.say("")
    missing: dict[tuple[str, tuple[str, ...]], list[str]] = {}  # what, by why and the plans it is so in
    plans: dict[NotChecked, list[str]] = {}
    for report in reports:
        for each in report.not_checked:
            plans.setdefault(each._replace(whole=False), []).append(report.plan)
    for each, where in plans.items():
        missing.setdefault((each.why, tuple(where)), []).append(each.what)
    if missing:
        out.head("Not checked")
        for (why, where_all), what in missing.items():
            aside = f"  ({', '.join(where_all)})" if len(reports) > 1 else ""
            out.item("- ", f"{'; '.join(what)}: {why}{aside}", 2)
        out.say("")
    out.say(verdict(reports))


def stops(out: Screen, reports: Sequence[Report], titles: Sequence[str]) -> None:
    """Only what must be mended, and nothing where nothing must."""
    for report, title in zip(reports, titles, strict=True):
        if not report.ok:
            out.head(f"Must be mended: {title}")
            for finding in report.only_stops.findings:
                _finding(out, finding)


_STYLE = {"stop": "bold", "caution": "", "note": QUIET}


def _finding(out: Screen, finding: Finding) -> None:
    out.item(f"{finding.level.ljust(max(map(len, LEVELS)))}  ", finding.message, 2, _STYLE[finding.level])
    out.item("where: ", finding.where, 11)
    out.item("rule:  ", f"{finding.rule}: {finding.source}", 11, QUIET)
    if finding.mend:
        out.item("mend:  ", finding.mend, 11)


def label(out: Screen, result: Label, reading: Reading) -> None:
    """The declaration with its figures, what is uncertain about it, and the line to copy."""
    day = f", on {result.on.isoformat()}" if result.on else ""
    out.head(f"Ingredient declaration: {reading.plan.title or reading.plan.id}", f"{reading.side.ref}, rules: {result.rules}{day}")
    _entries(out, result)
    out.say("")
    out.say(result.line)
    if result.by_list and result.on is None:
        out.say("")
        out.say(f"It names allergens by {result.by_list[-1].listed.title}, in force today; --on DATE asks for another day.")
    for each in result.by_list if result.on is None else ():
        out.say("")
        out.head(f"Allergens by {each.listed.title}")
        out.say(f"for products placed on the market from {each.listed.since}{_until(each.listed)}", 2, QUIET)
        out.say(", ".join(each.names) or "none above the threshold", 2)
    if result.on is None and len(result.by_list) > 1:
        _difference(out, result)
    if result.on is not None and result.by_list:
        listed = result.by_list[-1].listed
        out.say("")
        out.say(f"It names allergens by {listed.title}, in force from {listed.since}{_until(listed)}.")
    for title, rows in (
        ("Carried in by a raw material", [", ".join(result.carried_in)] if result.carried_in else []),
        ("Uncertain", result.uncertain),
        ("Unknown", result.unknown),
    ):
        if rows:
            out.say("")
            out.head(title)
            for row in rows:
                out.item("- " if len(rows) > 1 else "", row, 2)
    out.say("")
    if result.silence:
        out.say(result.silence)
    out.say(CONFIRM)


def _until(listed: AllergenList) -> str:
    """How long what was on the market before may be sold by the list before; "" where none says."""
    return f"; what was placed on the market before may be sold under the earlier list until {listed.until}" if listed.until else ""


def _entries(out: Screen, result: Label) -> None:
    columns = (("", "left"), ("%", "right"), ("range", "left"), ("", "left"))
    rows = [
        [
            e.name,
            figure(e.rank) if e.share.nominal is not None else "?",
            "" if e.share.certain else f"{figure(e.share.low)} to {figure(e.share.high)}",
            _aside(e, result),
        ]
        for e in result.entries
    ]
    for row, text in zip(rows, align([r[1] for r in rows]), strict=True):
        row[1] = text
    widths = fit_widths(columns, rows, out.width - 2)
    table = grid(*columns, widths=widths)
    for index, row in enumerate(rows):
        if index == result.one_percent_line and index:
            out.table(table)
            edge = "1 % or less" if result.rules == "us" else "less than 1 %"
            out.say(f"--- {edge} from here, in any order", 2, QUIET)
            table = grid(*columns, widths=widths, header=False)
        table.add_row(fold(row[0], widths[0]), row[1], row[2], fold(row[3], widths[3]))
    if table.row_count:
        out.table(table)


def _aside(entry: Entry, result: Label) -> str:
    words = []
    if entry.kind == "allergen" or entry.name in result.allergens:
        words.append("declared allergen")
        inside = [c for c in entry.contents if c.how in (INSIDE, TYPICAL)]
        if inside:
            words.append("in " + ", ".join(dict.fromkeys(c.part.words for c in inside)))
        if any(c.how == TYPICAL for c in inside):
            words.append("typical figures")
    if entry.kind == "colourant":
        words.append("colourant")
    if entry.name in result.carried_in:
        words.append("carried in by " + ", ".join(dict.fromkeys(c.part.words for c in entry.contents)))
    return ", ".join(words)


def _difference(out: Screen, result: Label) -> None:
    from fvc.rules.label import gained

    ordered = sorted(result.by_list, key=lambda each: each.listed.since)
    first, second = ordered[-2].names, ordered[-1].names
    out.say("")
    more, fewer = gained(first, second), gained(second, first)
    out.say(f"only by the later list: {', '.join(more) or 'none'}", 2)
    out.say(f"only by the earlier list: {', '.join(fewer) or 'none'}", 2)


def money(value: Fraction | None, currency: str, decimals: int = 2) -> str:
    """`12.40 EUR`; small sums with the digits they need."""
    if value is None:
        return "not known"
    places = decimals if value >= Fraction(1, 10) or value == 0 else 4
    return f"{fixed(value, places)} {currency}".rstrip()


def cost(out: Screen, result: Cost, reading: Reading, batch_text: str) -> None:
    """What each line costs, what has no price, and the sums."""
    out.head(f"Cost of raw materials: {reading.plan.title or reading.plan.id}", f"{reading.side.ref}, {reading.side.words}")
    rows = []
    for line in sorted(result.lines, key=lambda each: -(each.per_kg or 0)):
        share = result.share(line)
        each = line.per_gram
        rows.append(
            [
                line.part.words,
                shown(line.percent, 2),
                "no price" if each is None else fixed(each * 1000, 2),
                "?" if line.per_kg is None else fixed(line.per_kg, 3),
                "" if result.batch is None else "?" if (in_batch := result.in_batch(line.per_kg)) is None else fixed(in_batch, 3),
                "?" if share is None else fixed(share, 1),
            ]
        )
    code = result.currency or "money"
    columns = (
        ("material", "left"), ("%", "right"), (f"{code}/kg", "right"), ("in 1 kg", "right"), ("in the batch", "right"),
        ("share %", "right"),
    )  # fmt: skip
    for i in (1, 2, 3, 4, 5):
        for row, text in zip(rows, align([r[i] for r in rows]), strict=True):
            row[i] = text
    widths = fit_widths(columns, rows, out.width - 2)
    table = grid(*columns, widths=widths)
    for row in rows:
        table.add_row(fold(row[0], widths[0]), *row[1:])
    out.table(table)
    out.say("")
    if result.unpriced:
        out.head("Not priced", "so these sums and shares are of the other lines alone")
        for line in result.unpriced:
            out.say(f"{line.part.words}, {shown(line.percent, 2)} %: {line.why}", 2)
        out.say("")
    at_least = "at least " if result.unpriced else ""
    if result.priced == 0 and result.unpriced:
        out.say("Not known: no line that has a price costs anything.")
        return
    out.say(f"per kg       {at_least}{money(result.priced, result.currency)}")
    if result.batch is not None:
        out.say(
            f"per batch    {at_least}{money(result.in_batch(result.priced), result.currency)}   ({brief(result.batch, 0, 2)} g{_asked(batch_text)})"
        )
    if result.bottles:
        b = result.bottles
        volume = "" if b.millilitres is None else f"{brief(b.millilitres, 0, 2)} mL, "
        density = "" if b.density is None else f" at {brief(b.density, 0)} g/mL"
        filled = f"{volume}{brief(b.fill)} g{density}, {brief(b.loss, 0)} % lost in making and filling"
        out.say(f"per bottle   {at_least}{money(b.priced, result.currency)}   ({filled})")
        out.say(
            f"for {b.bottles} bottles make {brief(b.needed, 0, 2)} g"
            + (f"; the batch fills {b.in_batch}" if b.in_batch is not None else "")
        )
    out.say("Raw materials only: no work, packaging, tests or postage.")


def _asked(text: str) -> str:
    return f", {text}" if text and not text.replace(" ", "").endswith("g") else ""
