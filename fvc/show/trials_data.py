"""Batches as JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fvc.amounts import DATA_DECIMALS, HUNDRED, ZERO, apportion, exact, step_of
from fvc.bench import account, as_made, targets
from fvc.deviations import Deviation
from fvc.errors import Refusal
from fvc.schedule import Look
from fvc.seeing import judged
from fvc.trial import Entry, Trial, in_force


def _number(value: Any) -> str | None:
    return None if value is None else exact(value)


def record(trial: Trial, found: Sequence[Deviation], spec: Mapping[str, object]) -> dict[str, Any]:
    """The record of a batch."""
    try:
        made = as_made(trial)
    except Refusal:
        made = ()
    whole = sum((m.grams for m in made), ZERO)
    largest = max(range(len(made)), key=lambda i: made[i].grams, default=None)
    percents = apportion([m.grams * HUNDRED / whole for m in made], step_of(DATA_DECIMALS), largest)  # so that they total 100
    mass = account(trial)
    closing = trial.closing
    return {
        "schema": 1,
        "id": trial.id,
        "formula": trial.formula,
        "plan": trial.plan,
        "plan_id": trial.plan_id or None,
        "batch": trial.batch,
        "by": trial.by or None,
        "started": trial.started.isoformat() if trial.started else None,
        "scale": trial.scale or None,
        "vessel": trial.vessel or None,
        "for_sale": trial.for_sale,
        "use_by": str(trial.use_by) if trial.use_by else None,
        "lines": [
            {"phase": t.phase, "material": t.material, "asked_grams": _number(t.asked), "target_grams": _number(t.grams)}
            | {"grams": exact(t.weighed), "open": t.open, "settled": t.settled}
            for t in targets(trial)
        ],
        "made": [
            {"phase": m.phase, "material": m.material, "grams": exact(m.grams), "percent": exact(percent)}
            for m, percent in zip(made, percents, strict=True)
        ],
        "entries": [entry_data(e) for e in in_force(trial.entries)],
        "mass": {
            "in": exact(mass.went_in),
            "lost": exact(mass.lost),
            "spilled": exact(mass.spilled),
            "left": exact(mass.left),
            "sampled": exact(mass.sampled),
            "product": exact(mass.product),
            "unaccounted": _number(mass.unaccounted),
            "bulk": _number(mass.bulk),
            "theoretical": _number(mass.theoretical),
            "percent_of_theoretical": _number(mass.percent_of_theoretical),
        },
        "deviations": [{"kind": d.kind, "about": d.about or None, "message": d.words} for d in found],
        "looks": [look(trial, e, spec) for e in trial.seen],
        "verdict": trial.verdict or None,
        "because": closing.because if closing else None,
        "filled": (closing.filled or None) if closing else None,
        "retained": (closing.retained or None) if closing else None,
    }


def entry_data(entry: Entry) -> dict[str, Any]:
    """One entry, with what it says."""
    texts = ("by", "phase", "into", "lot", "corrects", "because", "reading", "temperature", "hold", "speed", "checked_by")
    out: dict[str, Any] = {
        "id": entry.id,
        "at": entry.at.isoformat(),
        "action": entry.action,
        "of": entry.subject,
        "grams": _number(entry.grams),
    }
    return out | {k: getattr(entry, k) for k in texts if getattr(entry, k)}


def look(trial: Trial, entry: Entry, spec: Mapping[str, object]) -> dict[str, Any]:
    """One observation, and what the spec says to it."""
    seen = entry.seen
    assert seen is not None
    texts = ("ph_by", "temperature", "dilution", "clarity", "separation", "colour", "odour", "viscosity", "spray", "photo")
    return {
        "id": entry.id,
        "at": entry.at.isoformat(),
        "by": entry.by or None,
        "day": seen.day if seen.day is not None else trial.day_of(entry.at),
        "condition": seen.condition,
        "words": entry.subject,
        "ph": seen.ph.text if seen.ph else None,
        "calibrated": str(seen.calibrated) if seen.calibrated else None,
        **{k: getattr(seen, k) or None for k in texts},
        "judged": [{"property": j.what, "value": j.value, "verdict": j.verdict, "asked": j.asked} for j in judged(seen, spec)],
    }


def due(looks: Sequence[tuple[Trial, tuple[Look, ...]]]) -> list[dict[str, Any]]:
    """The looks that are due, overdue first."""
    return [
        {"trial": t.id, "plan": t.plan, "condition": each.condition, "day": each.day, "since": str(each.since), "days_late": each.late}
        for t, found in looks
        for each in found
    ]
