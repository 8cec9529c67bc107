"""A formula that is handed on, as a page of Markdown for a mail: only what `fvc.together.export` chose."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence

from fvc.amounts import brief, figure
from fvc.contents import TYPICAL
from fvc.material import Share
from fvc.show.markdown import Markdown
from fvc.show.screen import Grid, Screen, grid
from fvc.show.sheets import phase_steps, spec_words
from fvc.together.export import (
    CARE,
    NOT_ASSESSED,
    RANGES,
    Bought,
    Export,
    ForAssessor,
    ForLabel,
    ForStudent,
    Given,
    Handed,
    Head,
    Tested,
    percent_words,
)

UNKNOWN = "unknown"


def page(found: Export) -> str:
    """The whole page."""
    text = io.StringIO()
    out = Markdown(text)
    if isinstance(found, ForStudent):
        student(out, found)
    elif isinstance(found, ForAssessor):
        assessor(out, found)
    else:
        label(out, found)
    return text.getvalue()


def _head(out: Screen, head: Head, what: str) -> None:
    out.head(head.title)
    saved = f", saved as {head.moment}" if head.moment else ""
    out.say(f"{head.name}, {head.state}{saved}. Handed on {head.on}.{what and f' {what}'}")


def _facts(out: Screen, head: Head) -> None:
    out.say(f"Use: {', '.join(head.use) or UNKNOWN}", 2)
    out.say(f"Spec: {spec_words(head.spec) or 'none'}", 2)


def _table(out: Screen, columns: Sequence[tuple[str, str]], rows: Iterable[Sequence[str]]) -> None:
    """A table with its rows; nothing where there is no row."""
    table: Grid = grid(*columns)
    for row in rows:
        table.add_row(*row)
    if table.row_count:
        out.table(table)


def _texts(*names: str) -> list[tuple[str, str]]:
    return [(name, "left") for name in names]


# --- for a student ----------------------------------------------------------------------------------


def student(out: Screen, found: ForStudent) -> None:
    """The formula by phase, each formula that stands in it behind the phase it stands in; what asks for care once, at the end."""
    batch = f" Grams are for a batch of {figure(found.batch)} g, not yet rounded to a scale." if found.batch is not None else ""
    _head(out, found.head, f"Percent by weight.{batch}")
    _facts(out, found.head)
    _formula(out, found.formula, grams=found.batch is not None)
    if found.ranges:
        out.head("Ranges")
        out.say(RANGES)
    if found.care:
        out.head("Care")
        out.say(f"This formula holds {_listed(found.care)}. {CARE}")


def _formula(out: Screen, formula: Handed, *, grams: bool, within: str = "") -> None:
    columns = [*_texts("material", "INCI names", "function"), ("%", "right"), ("", "left"), *([("g", "right")] if grams else [])]
    for phase in formula.phases:
        lines = [line for line in formula.lines if line.phase == phase.name]
        out.head(f"{within}Phase {phase.name}" + (f", {phase.title}" if phase.title else ""), phase_steps(phase))
        if phase.method:
            out.say(phase.method)
        _table(out, columns, ([*_row(line), brief(line.grams) if line.grams is not None else ""][: len(columns)] for line in lines))
        for line in lines:
            if line.inside:
                _formula(out, line.inside, grams=grams, within=f"{line.material}, in percent of the whole: ")


def _row(line: Given) -> tuple[str, ...]:
    inci = "below" if line.inside else ", ".join(line.inci) or UNKNOWN
    level = line.text if line.between is None else " to ".join(dict.fromkeys(figure(end) for end in line.between))
    return line.material, inci, ", ".join(line.functions) or UNKNOWN, level, line.how


def _listed(words: Sequence[str]) -> str:
    """`a, b and c`."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


# --- for an assessor --------------------------------------------------------------------------------


_SHARE = [("%", "right"), ("low", "right"), ("high", "right")]


def _share(share: Share) -> tuple[str, ...]:
    """A share as three cells."""
    nominal = UNKNOWN if share.nominal is None else figure(share.nominal) + (" (middle)" if share.middle and not share.certain else "")
    return nominal, figure(share.low), figure(share.high)


def assessor(out: Screen, found: ForAssessor) -> None:
    """Percentages, raw materials, the product by INCI name, allergens, limits, results."""
    _head(out, found.head, "Percent by weight, raw materials as supplied.")
    out.say(NOT_ASSESSED)
    _facts(out, found.head)
    out.head("Formula", "what stands in it as a formula of its own is taken apart")
    rows = (
        (
            each.phase,
            " in ".join((each.material, *reversed(each.through))),
            ", ".join(each.functions) or UNKNOWN,
            each.text or UNKNOWN,
            each.how,
        )
        for each in found.lines
    )
    _table(out, [*_texts("phase", "raw material", "function"), ("%", "right"), ("", "left")], rows)
    out.head("Raw materials as bought")
    names = ((m.id, m.name, *(text or UNKNOWN for text in (m.supplier, m.code, m.source))) for m in found.bought)
    _table(out, _texts("raw material", "name as bought", "supplier", "supplier's code", "figures from"), names)
    out.head("What they are made of", "percent of the raw material")
    _table(out, [*_texts("raw material", "INCI name", ""), *_SHARE], (row for m in found.bought for row in _made_of(m)))
    _product(out, found)
    _rules(out, found)
    for batch in found.tested:
        _tested(out, batch)


def _made_of(m: Bought) -> Iterable[tuple[str, ...]]:
    """The rows of one raw material, what it does not declare the last but for what is inside."""
    if m.composition is None:
        yield m.id, UNKNOWN, "no composition is declared", *_share(m.undeclared)
    else:
        for inci, share in m.composition.items():
            yield m.id, inci, "", *_share(share)
        if m.undeclared.high:
            yield m.id, UNKNOWN, "not declared", *_share(m.undeclared)
    for inci, share in m.constituents.items():
        yield m.id, inci, "inside these", *_share(share)


def _product(out: Screen, found: ForAssessor) -> None:
    inside = found.composition
    out.head("The product by INCI name", "percent of the product")
    rows = [(s.inci, ", ".join(s.sources), *_share(s.share)) for s in inside.substances]
    if inside.undeclared.high:
        rows.append((UNKNOWN, ", ".join(inside.undeclared_from), *_share(inside.undeclared)))
    rows.append(("all water, that inside ingredients included", "", *_share(inside.water)))
    _table(out, [*_texts("INCI name", "comes with"), *_SHARE], rows)
    if found.inside:
        out.head("Inside these ingredients", "percent of the product, not added matter")
        by = (
            (each.inci, ", ".join(each.by), "typical figures" if each.how == TYPICAL else "by its record", *_share(each.share))
            for each in sorted(found.inside, key=lambda each: -each.share.high)
        )
        _table(out, [*_texts("name", "comes with", "known by"), *_SHARE], by)


def _rules(out: Screen, found: ForAssessor) -> None:
    """Allergens by every list of the first rule set, and the limits of all of them."""
    for each in sorted(found.label.by_list, key=lambda each: each.listed.since):
        out.head(f"Allergens by {each.listed.title}", f"for products placed on the market from {each.listed.since}")
        rows = ((a.name, figure(a.above), "" if a.sure else "by the worst end only", *_share(a.share)) for a in each.allergens)
        _table(out, [("name", "left"), ("declared above", "right"), ("", "left"), *_SHARE], rows)
        if not each.allergens:
            out.say("none above the threshold")
    if found.label.silence:
        out.head("Allergens")
        out.say(found.label.silence)
    for text in found.label.unknown:
        out.say(f"{UNKNOWN}: {text}", 2)
    out.head("Limits", f"rule sets: {', '.join(found.rules)}")
    for f in found.findings:
        out.say(f"{f.level}: {f.message} ({f.where}; {f.rule}: {f.source})", 2)
    if not found.findings:
        out.say("Nothing was found by the checks that were done.")
    for n in found.not_checked:
        out.say(f"not checked: {n.what}: {n.why}", 2)


def _tested(out: Screen, batch: Tested) -> None:
    """What came of one batch."""
    out.head(f"Batch {batch.id}", f"made {batch.made_on or UNKNOWN} from {batch.plan}; verdict: {batch.verdict or 'none yet'}")
    rows = (
        (line.phase, line.material, *("-" if percent is None else percent_words(percent) for percent in (line.percent, line.made)))
        for line in batch.lines
    )
    _table(out, [*_texts("phase", "material"), ("% of the formula above", "right"), ("% as made", "right")], rows)
    for deviation in batch.deviations:
        out.say(f"deviation: {deviation}", 2)
    if not batch.deviations:
        out.say("No deviation from its sheet.")
    out.say(f"Spec of the batch: {spec_words(batch.spec) or 'none'}. Remarks in free words are not part of this.")
    seen = (
        (str(look.day), look.condition, what, text, verdict)
        for look in batch.looks
        for what, text, verdict in look.seen or (("nothing of the spec", "", ""),)
    )
    _table(out, [("day", "right"), *_texts("where", "property", "seen", "by the spec")], seen)
    if not batch.looks:
        out.say("Nothing was seen of it yet.")


# --- for a label ------------------------------------------------------------------------------------


def label(out: Screen, found: ForLabel) -> None:
    """The names in order."""
    _head(out, found.head, "")
    out.say(found.label.line)
