"""Candidates side by side as JSON."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.amounts import exact
from fvc.compare.standins import NoStandIn, StandIn
from fvc.formula import Amount
from fvc.reading import Reading
from fvc.show.data import SCHEMA, Json, bill_data, number, percent_texts, property_data, side


def stand_ins(reading: Reading, old: Sequence[Amount], basis: str, rows: Sequence[StandIn], left: Sequence[NoStandIn], whole: int) -> Json:
    """What could take a place; `candidates` counts those that are not listed too."""
    amounts = reading.closure.amounts
    percents = percent_texts(amounts)
    return {
        "schema": SCHEMA,
        "formula": reading.plan.id,
        **side(reading.side),
        "out": [
            {"phase": a.line.phase, "material": a.line.material, "percent": p} for a, p in zip(amounts, percents, strict=True) if a in old
        ],
        "basis": basis,
        "candidates": whole,
        "stand_ins": [
            {
                "material": row.material.id,
                "percent": exact(row.level),
                "written": next((e.level.text for e in row.change.edits if e.material == row.material.id and e.level), None),
                "water_points": number(row.water),
                "elsewhere_points": exact(row.elsewhere),
                "cost_per_kg": number(row.cost),
                "notes": [*row.change.notes, *row.notes],
                "properties": [property_data(p) for p in row.properties],
            }
            | (bill_data(row.bill) if row.bill else {})
            for row in rows
        ],
        "not_compared": [{"material": each.material.id, "why": each.why} for each in left],
    }
