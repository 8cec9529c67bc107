"""Lots as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fvc.amounts import exact
from fvc.lots import Held, LotFound, Use
from fvc.trial import Trial


def use(found: Use) -> dict[str, Any]:
    """One batch that a lot went into."""
    t = found.trial
    return {
        "trial": t.id,
        "formula": t.formula,
        "plan": t.plan,
        "made_on": str(t.made_on) if t.made_on else None,
        "by": t.by or None,
        "grams": exact(found.grams),
        "through": list(found.through),
        "verdict": t.verdict or None,
        "for_sale": t.for_sale,
        "past_use_by": str(found.past) if found.past else None,
    }


def lots(found: Sequence[LotFound]) -> list[dict[str, Any]]:
    """What is known of lots."""
    out = []
    for each in found:
        shelf = each.lot
        until = shelf.use_by if shelf else each.batch.use_by if each.batch else None
        out.append(
            {
                "lot": each.number,
                "material": each.material,
                "supplier": (each.record.supplier or None) if each.record else None,
                "received": str(shelf.received) if shelf and shelf.received else None,
                "use_by": str(until) if until else None,
                "grams_left": exact(shelf.grams) if shelf and shelf.grams is not None else None,
                "batch": each.batch.id if each.batch else None,
                "uses": [use(u) for u in each.uses],
            }
        )
    return out


def inside(trial: Trial, held: Sequence[Held], went: Sequence[Use]) -> dict[str, Any]:
    """Every lot in a batch, and where it went itself."""
    return {
        "trial": trial.id,
        "plan": trial.plan,
        "holds": [{"material": h.material, "lot": h.lot or None, "grams": exact(h.grams), "through": list(h.through)} for h in held],
        "uses": [use(u) for u in went],
    }
