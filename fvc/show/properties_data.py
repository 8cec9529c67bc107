"""Estimates, readings and workings as JSON."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.amounts import exact, fixed
from fvc.metered import Readings
from fvc.reading import Reading
from fvc.science.dosing import NoDose, Portion
from fvc.science.estimate import Estimate, Step, rounded
from fvc.science.metering import Anchored, Metered, Point
from fvc.science.ph import PhModel, as_estimate, window_of_all, windows
from fvc.show.data import Json, side


def ph(reading: Reading, found: PhModel, moved: Anchored | None, readings: Readings, worked: Portion | NoDose | None) -> Json:
    """`fvc ph --json`; the keys are listed in docs/json.md."""
    estimate = moved.estimate if moved else as_estimate(found)
    by_model = as_estimate(found)
    holds = found.buffer_value
    shift = moved.shift if moved else 0.0
    return {
        "schema": 1,
        **side(reading.side),
        "formula": reading.plan.id,
        **_figures(estimate, "estimate"),
        "buffer_value": _text(None if holds is None else holds * 1000, 2),
        "ionic_strength": _text(found.balance.ionic_strength if found.balance and holds is not None else None, 4),
        "not_counted": list(estimate.not_counted),
        "readings": [_reading(r, moved) for r in readings.metered],
        "anchored": moved is not None,
        "declined": estimate.declined or None,
        "direction": estimate.instead or None,
        "model": _figures(by_model, "estimate"),
        "notes": list(estimate.notes),
        "window": [
            {
                "material": w.material,
                "less": _text(w.weaker + shift, 2),
                "more": _text(w.stronger + shift, 2),
                "by": w.by,
                "assumed": w.assumed,
            }
            for w in windows(found)
        ],
        "window_of_all": None if found.declined else [_text(end + shift, 2) for end in window_of_all(found)],
        "titration": [_point(p) for p in readings.points],
        "dose": _dose(worked) if isinstance(worked, Portion) else None,
        "no_dose": {"why": worked.why, "next": worked.next} if isinstance(worked, NoDose) else None,
    }


def _figures(each: Estimate, name: str) -> Json:
    """The figure with its band, each with the decimals that it is sure to; null where it was declined."""
    return {key: None if v is None else fixed(v, each.decimals) for key, v in ((name, each.value), ("low", each.low), ("high", each.high))}


def _text(value: float | None, decimals: int) -> str | None:
    return None if value is None else f"{value:.{decimals}f}"


def _reading(each: Metered, moved: Anchored | None) -> Json:
    return {
        "trial": each.trial,
        "plan": each.plan,
        "own": each.own,
        "at": each.at.isoformat(),
        "day": each.day,
        "condition": each.condition,
        "ph": each.value.text,
        "by": each.by or None,
        "dilution": each.dilution or None,
        "temperature": each.temperature or None,
        "model": _text(each.model_ph, 2),
        "residual": _text(each.residual, 2),
        "anchor": moved is not None and each.entry == moved.anchor.entry and each.trial == moved.anchor.trial,
    }


def _point(each: Point) -> Json:
    return {
        "trial": each.trial,
        "own": each.own,
        "material": each.material,
        "grams": exact(each.grams),
        "product_g": exact(each.product),
        "before": each.before.value.text,
        "after": each.after.value.text,
        "grams_per_100g_and_ph": _text(each.per_ph, 4) if each.moved else None,
    }


def _dose(portion: Portion) -> Json:
    dose = portion.dose
    return {
        "with": dose.material,
        "from": None if dose.unbuffered else _text(dose.start, 2),
        "to": _text(dose.target, 2),
        "product_g": exact(portion.product),
        "grams": exact(rounded(float(portion.grams), 4)),
        "first_share": exact(dose.first * 100),
        "first_grams": exact(rounded(float(portion.weighed if portion.stock == 100 else portion.neat), 4)),
        "stock_percent": None if portion.stock == 100 else str(portion.stock),
        "first_stock_grams": None if portion.stock == 100 else exact(portion.weighed),
        "by": dose.by,
        "factor": _text(dose.factor, 2),
        "in_all": portion.in_all,
        "cautions": list(portion.cautions),
    }


def workings(reading: Reading, name: str, estimates: Sequence[Estimate], steps: Sequence[Step]) -> Json:
    """`fvc workings --json`."""
    return {
        "schema": 1,
        **side(reading.side),
        "formula": reading.plan.id,
        "property": name,
        "estimates": [estimate(each) for each in estimates],
        "steps": [{"what": s.what, "sum": s.sum or None, "result": s.result or None, "source": s.source or None} for s in steps],
    }


def estimate(each: Estimate) -> Json:
    """One estimated property; numbers null where it was declined."""
    return {
        "property": each.property,
        "unit": each.unit,
        **_figures(each, "value"),
        "declined": each.declined or None,
        "instead": each.instead or None,
        "not_counted": list(each.not_counted),
        "notes": list(each.notes),
    }
