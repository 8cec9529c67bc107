"""Variants as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fvc.amounts import exact
from fvc.carrying import Carried
from fvc.change.split import Portion, SplitSheet
from fvc.compare.diff import Diff
from fvc.reading import Reading
from fvc.show.data import SCHEMA, Json, diff, number, percent_texts, share, side
from fvc.trial import Trial
from fvc.variants import Variant

if TYPE_CHECKING:
    from fvc.sidebyside import SideBySide


def _about(variant: Variant) -> Json:
    about = variant.about
    return {
        "formula": variant.reference.name,
        "variant": variant.id,
        "state": about.state if about else None,
        "parent": about.parent if about else None,
        "moved_to": variant.moved_to or None,
        "question": about.question if about else None,
        "expect": about.expect or None if about else None,
        "because": about.because or None if about else None,
        "trials": [_trial(t) for t in variant.trials],
        "problem": variant.problem or None,
    }


def _trial(trial: Trial) -> Json:
    return {"id": trial.id, "verdict": trial.verdict or None, "seen": [e.subject for e in trial.seen]}


def listing(found: Sequence[Variant]) -> Json:
    """Every variant, without what differs."""
    return {"schema": SCHEMA, "variants": [_about(v) for v in found]}


def one(variant: Variant, result: Diff | None) -> Json:
    """One variant, with the diff from its parent; null where that cannot be told."""
    return {"schema": SCHEMA, **_about(variant), "diff": diff(result) if result is not None else None}


def compared(result: SideBySide) -> Json:
    """The matrix."""
    from fvc.show.properties_data import estimate

    texts = [
        {(a.line.phase, a.line.material): text for a, text in zip(amounts, percent_texts(amounts), strict=True)}
        for amounts in (c.reading.closure.amounts for c in result.columns)
    ]
    return {
        "schema": SCHEMA,
        "formula": result.name,
        "columns": [
            {
                "head": c.head,
                "variant": c.variant.id if c.variant else None,
                "state": c.variant.about.state if c.variant and c.variant.about else None,
                "total_water": share(c.water),
                "functions": [{"function": f, "percent": exact(p)} for f, p in c.functions.items()],
                "stops": c.stops,
                "cautions": c.cautions,
                "allergens": list(c.allergens),
                "per_kg": number(c.per_kg),
                "trials": [_trial(t) for t in c.trials],
                "properties": [estimate(e) for e in c.properties],
            }
            for c in result.columns
        ],
        "rows": [
            {"phase": r.phase, "material": r.material, "percents": [column.get((r.phase, r.material)) for column in texts]}
            for r in result.rows
        ],
        "same": result.same,
        "left": [{"variant": v.id, "problem": v.problem} for v in result.left],
    }


def carried(found: Carried, result: Diff | None, saved: bool) -> Json:
    """The decisions of a merge, its open questions among them, and the net change for the variant once none is open."""
    return {
        "schema": SCHEMA,
        "variant": found.variant.id,
        "moved": True,
        "parent": found.parent,
        "decisions": [
            {"case": d.case, "about": d.about, "base": d.base, "parent": d.first, "variant": d.second, "taken": d.taken or None}
            for d in found.merge.decisions
        ],
        "questions": [d.about for d in found.merge.questions],
        "diff": diff(result) if result is not None else None,
        "saved": saved,
    }


def _portion(portion: Portion) -> Json:
    return {
        "phase": portion.phase,
        "material": portion.material,
        "grams": number(portion.grams),
        "exact_grams": number(portion.exact),
        "too_small": portion.small,
    }


def series(reading: Reading, sheet: SplitSheet, saved: bool) -> Json:
    """The one sheet of a series; a line without grams is open."""
    return {
        "schema": SCHEMA,
        "formula": reading.plan.id,
        **side(reading.side),
        "batch_g": exact(sheet.batch),
        "base_g": exact(sheet.base_total),
        "base": [_portion(p) for p in sheet.base],
        "beakers": [
            {
                "variant": b.rung.id,
                "what": b.rung.words,
                "not_for_use": b.rung.not_for_use or None,
                "base_g": exact(b.base),
                "lines": [_portion(p) for p in b.portions],
                "notes": list(b.rung.notes),
            }
            for b in sheet.beakers
        ],
        "notes": list(sheet.notes),
        "kept": saved,
    }
