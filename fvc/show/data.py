"""Result values as JSON: the keys that scripts rely on, numbers as decimal strings, unknown as null.

Keys once released stay; new ones may be added. `docs/json.md` lists them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from fvc.amounts import DATA_DECIMALS, HUNDRED, ZERO, apportion, exact, fixed, needed_decimals, step_of
from fvc.compare.diff import Diff, LineDiff, PropertyDiff, RecordDiff, TextDiff
from fvc.composition import composition_of, totals_by_function
from fvc.formula import BALANCE, OPEN, Amount
from fvc.material import Lot, Share, active_share
from fvc.reading import Reading, Side

if TYPE_CHECKING:
    from fvc.compare.bill import Bill
    from fvc.rules.finding import Finding
    from fvc.saving import Saved
    from fvc.shelf import Offer
    from fvc.story import Level, Row, Story
    from fvc.weighing import WeighSheet

SCHEMA = 1
Json = dict[str, Any]


def dumps(value: Json) -> str:
    """JSON text, one value, with a final newline added by the printer."""
    return json.dumps(value, indent=2, ensure_ascii=False)


def number(value: Fraction | None) -> str | None:
    """A figure as decimal text; null when it is not known."""
    return None if value is None else exact(value)


def percent_texts(amounts: Sequence[Amount]) -> list[str | None]:
    """The percents of one side as text: typed digits where typed, exact where they end.

    Percents that do not end are rounded half up to 10 decimals, and the rest is placed on the
    balance or the largest line, so that what totals 100 still does and points still sum to 0.
    """
    values = [a.counted for a in amounts]
    if all(needed_decimals(v) is not None for v in values):
        return [a.text for a in amounts]
    taker = next((i for i, a in enumerate(amounts) if a.line.level.kind == BALANCE), None)
    if taker is None:
        taker = max(range(len(values)), key=lambda i: (values.count(values[i]) == 1, values[i]))  # equal lines stay equal
    rounded = apportion(values, step_of(DATA_DECIMALS), taker)
    return [None if a.percent is None else exact(r) for a, r in zip(amounts, rounded, strict=True)]


def side(value: Side) -> Json:
    """A side: where a reading comes from."""
    return {"ref": value.ref, "commit": value.commit, "revision": value.revision, "saved": value.saved}


def share(value: Share | None) -> Json:
    """A share with its bounds; percent null when it is not known."""
    if value is None:
        return {"percent": None, "low": None, "high": None}
    return {"percent": number(value.nominal), "low": exact(value.low), "high": exact(value.high)}


def sheet(reading: Reading, batch: Fraction | None) -> Json:
    """The formula sheet."""
    amounts = reading.closure.amounts
    lines = []
    for amount, percent in zip(amounts, percent_texts(amounts), strict=True):
        material = reading.materials.get(amount.line.material)
        active = active_share(material) if material else None
        known = amount.percent is not None
        lines.append(
            {
                "phase": amount.line.phase,
                "material": amount.line.material,
                "level": amount.line.level.text,
                "percent": percent,
                "grams": number(amount.counted * batch / HUNDRED) if batch is not None and known else None,
                "active_percent": number(amount.counted * active / HUNDRED) if active is not None and known else None,
                "function": reading.function(amount.line.material),
                "open": amount.line.level.kind == OPEN,
            }
        )
    inside = composition_of(reading)
    composition: list[Json] = [{"inci": s.inci} | share(s.share) for s in inside.substances]
    if inside.undeclared.high:
        composition.append({"inci": None} | share(inside.undeclared) | {"from": list(inside.undeclared_from)})
    return {
        "schema": SCHEMA,
        "formula": reading.plan.id,
        "title": reading.plan.title,
        **side(reading.side),
        "batch_g": number(batch),
        "total_percent": exact(reading.closure.total),
        "closed": reading.sound,
        "lines": lines,
        "composition": composition,
        "constituents": _constituents(reading),
        "functions": [{"function": f, "percent": exact(p)} for f, p in totals_by_function(reading).items()],
        "total_water": share(inside.water),
        "faults": [f.text() for f in reading.faults],
    }


def _constituents(reading: Reading) -> list[Json]:
    """What is inside ingredients: by a record, or typical of an oil."""
    from fvc.contents import INSIDE, TYPICAL, contents_of, total

    out = []
    for each in contents_of(reading).by_key.values():
        for how in (INSIDE, TYPICAL):
            some = [c for c in each if c.how == how]
            if some:
                out.append({"inci": some[0].inci} | share(total(some)) | {"by": how, "from": list(dict.fromkeys(c.part.id for c in some))})
    return out


def weigh(reading: Reading, result: WeighSheet, offers: Mapping[str, Offer] | None = None) -> Json:
    """The weigh sheet. offers: lots by material id."""
    return {
        "schema": SCHEMA,
        "formula": reading.plan.id,
        **side(reading.side),
        "batch_g": exact(result.batch),
        "asked_batch_g": exact(result.asked),
        "total_g": exact(result.total),
        "rule": result.rule,
        "lines": [
            {
                "phase": line.amount.line.phase,
                "material": line.amount.line.material,
                "grams": number(line.grams),
                "exact_grams": number(line.exact_grams),
                "scale_g": exact(line.scale.step),
                "relative_error_percent": number(line.relative_error),
                "too_small": line.too_small,
                "makeable": line.makeable,
                "open": line.amount.line.level.kind == OPEN,
                "from_batch_g": number(line.mending_batch),
                "lot": next((lot.number for each in [(offers or {}).get(line.amount.line.material)] if each for lot in each.lots), None),
            }
            for line in result.lines
        ],
        "lots": [
            {
                "material": each.material,
                "needed_g": exact(each.needed),
                "use": [lot.number for lot in each.lots],
                "expired": [lot.number for lot in each.expired],
                "short_g": number(each.short),
            }
            | ({"batches": [_batch(each, lot) for lot in each.lots]} if each.made else {})
            for each in (offers or {}).values()
        ],
    }


def _batch(offer: Offer, lot: Lot) -> Json:
    """A batch of a premix on the shelf."""
    return {
        "batch": lot.number,
        "made_on": str(lot.received) if lot.received else None,
        "age_days": offer.age(lot),
        "use_by": str(lot.use_by) if lot.use_by else None,
        "grams": number(lot.grams),
    }


def line_diffs(lines: Sequence[LineDiff]) -> list[Json]:
    """Paired lines, each side's percents rounded together so that points still sum to 0."""
    first = [line.before for line in lines if line.before]
    second = [line.after for line in lines if line.after]
    before = {id(a): t for a, t in zip(first, percent_texts(first), strict=True)}
    after = {id(a): t for a, t in zip(second, percent_texts(second), strict=True)}
    out = []
    for line in lines:
        b = before[id(line.before)] if line.before else None
        a = after[id(line.after)] if line.after else None
        points = Fraction(a or 0) - Fraction(b or 0)
        grams = [line.grams(line.before_percent), line.grams(line.after_percent)]
        known = line.batch is not None
        out.append(
            {
                "phase": line.line.phase,
                "before_phase": line.before.line.phase if line.before else None,
                "material": line.line.material,
                "kind": line.kind,
                "before_percent": b,
                "after_percent": a,
                "points": exact(points),
                "relative_percent": number(line.relative),
                "before_grams": number(grams[0]),
                "after_grams": number(grams[1]),
                "grams": exact((grams[1] or ZERO) - (grams[0] or ZERO)) if known else None,
                "before_level": line.before.line.level.text if line.before else None,
                "after_level": line.after.line.level.text if line.after else None,
                "open": line.line.level.kind == OPEN,
            }
        )
    return out


def _text_diffs(changes: Sequence[TextDiff]) -> list[Json]:
    return [{"field": c.field, "before": c.before, "after": c.after} for c in changes]


def record_diffs(changes: Sequence[RecordDiff]) -> list[Json]:
    """Changed fields of records."""
    return [{"material": c.material, "field": c.field, "before": c.before, "after": c.after} for c in changes]


def diff(result: Diff, *, saved: bool | None = None) -> Json:
    """The difference of two readings; `saved` is added for commands that may write."""
    out: Json = {
        "schema": SCHEMA,
        "before": side(result.before),
        "after": side(result.after),
        "batch_g": number(result.batch),
        "lines": line_diffs(result.lines),
        "order": [{"phase": p, "material": m} for p, m in result.order],
        "text": _text_diffs(result.text),
        "swaps": [{"out": s.out, "in": s.into, "function": s.function} for s in result.swaps],
        "composition": [
            {
                "inci": s.inci,
                "before_percent": number(s.before.nominal) if s.before else None,
                "after_percent": number(s.after.nominal) if s.after else None,
                "points": number(s.points),
            }
            for s in result.composition
        ],
        "functions": [
            {"function": f.function, "before_percent": number(f.before), "after_percent": number(f.after), "points": exact(f.points)}
            for f in result.functions
        ],
        "properties": [property_data(p) for p in result.properties],
        "said": list(result.said),
        "materials_changed": record_diffs(result.materials_changed),
        "warnings": [w.text() for w in result.warnings],
    }
    if result.bill is not None:
        out |= bill_data(result.bill)
    return out if saved is None else out | {"saved": saved}


def property_data(p: PropertyDiff) -> Json:
    """A property on both sides; null where there is no figure, and then `instead` says what can be said."""

    def text(value: Fraction | None) -> str | None:
        return None if value is None else exact(value) if p.decimals is None else fixed(value, p.decimals)

    before, after = p.before or _NO_FIGURE, p.after or _NO_FIGURE
    return {
        "property": p.name,
        "unit": p.unit,
        "before": text(before.nominal),
        "after": text(after.nominal),
        "low": text(after.low) if p.after else None,
        "high": text(after.high) if p.after else None,
        "before_low": text(before.low) if p.before else None,
        "before_high": text(before.high) if p.before else None,
        "instead_before": p.instead_before or None,
        "instead": p.instead_after or None,
    }


_NO_FIGURE = Share(None, ZERO, ZERO)


def bill_data(bill: Bill) -> Json:
    """What a change does to limits, labels and cost; empty or null where nothing differs."""
    return {
        "limits": [{"kind": each.kind} | _finding(each.finding) for each in bill.limits],
        "cautions": None if bill.cautions is None else [_finding(f) for f in bill.cautions],
        "eased": None if bill.eased is None else [_finding(f) for f in bill.eased],
        "labels": [
            {
                "rules": each.rules,
                "before": list(each.before),
                "after": list(each.after),
                "gained": list(each.names_gained),
                "lost": list(each.names_lost),
                "order_changed": each.order_changed,
                "allergens_gained": list(each.allergens_gained),
                "allergens_lost": list(each.allergens_lost),
            }
            for each in bill.labels
        ],
        "cost": None
        if bill.cost is None
        else {
            "currency": bill.cost.currency or None,
            "before_per_kg": number(bill.cost.before) if bill.cost.complete_before else None,
            "after_per_kg": number(bill.cost.after) if bill.cost.complete_after else None,
            "before_priced_per_kg": exact(bill.cost.before),
            "after_priced_per_kg": exact(bill.cost.after),
        },
    }


def _finding(found: Finding) -> Json:
    return {"level": found.level, "where": found.where, "rule": found.rule, "message": found.message, "source": found.source}


def saved(result: Saved | None, name: str) -> Json:
    """What `revise` saved; `revision` null when there was nothing to save."""
    if result is None:
        return {"schema": SCHEMA, "formula": name, "revision": None, "commit": None, "files": [], "also_used_in": []}
    return {
        "schema": SCHEMA,
        "formula": result.name,
        "revision": result.revision,
        "commit": result.commit,
        "files": list(result.paths),
        "also_used_in": list(result.others),
    }


def _row(row: Row) -> Json:
    changed = [line for line in row.lines if line.kind != "same"]
    return {
        "kind": row.kind,
        "revision": row.revision,
        "label": row.label,
        "commit": row.commit.id,
        "date": row.commit.date,
        "author": row.commit.author,
        "reason": row.reason,
        "lines": line_diffs(row.lines) if len(changed) == len(row.lines) else [d for d in line_diffs(row.lines) if d["kind"] != "same"],
        "text": _text_diffs(row.texts),
        "materials_changed": record_diffs(row.records),
        "trials": [t.id for t in row.trials],
        "verdicts": {t.id: t.verdict or None for t in row.trials},
        "problem": row.problem or None,
    }


def history(story: Story) -> Json:
    """The history, newest first."""
    return {
        "schema": SCHEMA,
        "formula": story.name,
        "shallow": story.shallow,
        "unsaved": None if story.unsaved is None else [d for d in line_diffs(story.unsaved) if d["kind"] != "same"],
        "revisions": [_row(row) for row in story.rows],
    }


def trace(story: Story, material: str, levels: Sequence[Level]) -> Json:
    """The level of one ingredient through time, newest first."""
    out = []
    for level in levels:
        amount = level.after or level.before
        out.append(
            {
                "revision": level.row.revision if level.row else None,
                "label": level.row.label if level.row else None,
                "commit": level.row.commit.id if level.row else None,
                "date": level.row.commit.date if level.row else None,
                "author": level.row.commit.author if level.row else None,
                "reason": level.row.reason if level.row else None,
                "kind": level.kind,
                "phase": amount.line.phase if amount else None,
                "before_percent": level.before.text if level.before else None,
                "after_percent": level.after.text if level.after else None,
                "points": exact(level.line.points) if level.line else "0",
                "level": level.after.line.level.text if level.after else None,
                "materials_changed": record_diffs(level.records),
            }
        )
    return {"schema": SCHEMA, "formula": story.name, "material": material, "levels": out}


__all__ = ["diff", "dumps", "history", "saved", "sheet", "trace", "weigh"]
