"""Raw materials as JSON; `docs/json.md` lists the keys."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from fvc.amounts import exact
from fvc.compare.bill import Bill
from fvc.contents import typical_beyond
from fvc.material import Lot, Material, active_share
from fvc.reach import Reach, Shelf, Use
from fvc.shelf import usable
from fvc.show.data import SCHEMA, Json, bill_data, diff, number, record_diffs, share


def _use(use: Use) -> Json:
    return {"plan": use.plan, "in_folder": use.in_folder, "through": list(use.through), "revisions": list(use.revisions)}


def _lots(material: Material, today: datetime.date) -> list[Json]:
    fit = usable(material.lots, today)
    return [_lot(lot, lot in fit) for lot in [*fit, *(lot for lot in material.lots if lot not in fit)]]


def _lot(lot: Lot, may_be_used: bool) -> Json:
    return {
        "number": lot.number,
        "received": lot.received.isoformat() if lot.received else None,
        "use_by": lot.use_by.isoformat() if lot.use_by else None,
        "grams": number(lot.grams),
        "usable": may_be_used,
    }


def _material(material: Material, uses: Sequence[Use], today: datetime.date) -> Json:
    return {
        "material": material.id,
        "name": material.name,
        "functions": list(material.functions),
        "lots": _lots(material, today),
        "uses": [_use(u) for u in uses],
    }


def listing(shelf: Shelf, today: datetime.date) -> Json:
    """Every material with its use."""
    return {"schema": SCHEMA, "materials": [_material(m, shelf.uses.get(id, ()), today) for id, m in shelf.materials.items()]}


def one(material: Material, uses: Sequence[Use], today: datetime.date) -> Json:
    """One material in full."""
    return (
        {"schema": SCHEMA}
        | _material(material, uses, today)
        | {
            "active_percent": number(active_share(material)),
            "composition": None if material.composition is None else [{"inci": n} | share(s) for n, s in material.composition.items()],
            "undeclared": share(material.undeclared),
            "constituents": [{"inci": n} | share(s) for n, s in material.constituents.items()],
            "water": share(material.water),
            "use_level": [exact(t.value) for t in material.use_level] if material.use_level else None,
            "price": material.price.text if material.price else None,
            "density": number(material.density),
            "source": material.record.get("source"),
            "typical": [
                {"inci": t.inci, "low": exact(t.share.low), "high": exact(t.share.high), "source": t.source, "of": inci}
                for inci, t in typical_beyond(material)
            ],
        }
    )


def reach(result: Reach, bills: Sequence[Bill]) -> Json:
    """What a change of a record did to every plan: the keys of `diff`, lines left out since no level moves."""
    plans = []
    for each, bill in zip(result.plans, bills, strict=True):
        whole = diff(each.diff)
        plans.append({"plan": each.plan} | {k: whole[k] for k in ("composition", "functions", "properties")} | bill_data(bill))
    return {
        "schema": SCHEMA,
        "material": result.material,
        "commit": result.commit,
        "day": result.day,
        "changes": record_diffs(result.changes),
        "plans": plans,
    }
