"""Lots as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fvc.lots import Held, Ledger, LotFound, Use
from fvc.show.data import number
from fvc.trial import Trial


def _text(value: object) -> str | None:
    """Text of a day or a word; null for none."""
    return str(value) if value else None


def use(found: Use) -> dict[str, Any]:
    """One batch that a lot went into, one way that it took."""
    t = found.trial
    return {
        "trial": t.id,
        "formula": t.formula,
        "plan": t.plan,
        "made_on": _text(t.made_on),
        "by": _text(t.by),
        "grams": number(found.grams),
        "through": list(found.through),
        "verdict": _text(t.verdict),
        "for_sale": t.for_sale,
        "past_use_by": _text(found.past),
    }


def lots(found: Sequence[LotFound]) -> list[dict[str, Any]]:
    """What is known of lots."""
    return [
        {
            "lot": each.number,
            "material": each.material,
            "supplier": _text(each.record and each.record.supplier),
            "received": _text(each.lot and each.lot.received),
            "use_by": _text(each.use_by),
            "grams_left": number(each.left),
            "batch": each.batch.id if each.batch else None,
            "alike": list(each.alike),
            "uses": [use(u) for u in each.uses],
        }
        for each in found
    ]


def inside(ledger: Ledger, trial: Trial) -> dict[str, Any]:
    """Every lot in a batch, and where it went itself."""

    def row(h: Held) -> dict[str, Any]:
        return {
            "material": h.material,
            "lot": _text(h.lot),
            "grams": number(h.grams),
            "through": list(h.through),
            "past_use_by": _text(h.past),
        }

    return {
        "trial": trial.id,
        "formula": trial.formula,
        "plan": trial.plan,
        "made_on": _text(trial.made_on),
        "by": _text(trial.by),
        "use_by": _text(trial.use_by),
        "grams_left": number(ledger.left(trial.id)) if ledger.is_premix(trial) else None,
        "verdict": _text(trial.verdict),
        "for_sale": trial.for_sale,
        "holds": [row(h) for h in ledger.held(trial.id)],
        "uses": [use(u) for u in ledger.uses(trial.id)],
    }
