"""Checks, labels and costs as JSON; `docs/json.md` lists the keys."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.amounts import exact
from fvc.reading import Reading
from fvc.rules.cost import Cost
from fvc.rules.finding import Report
from fvc.rules.label import CONFIRM, Declared, Entry, Label, gained
from fvc.show.data import SCHEMA, Json, number, share, side


def check(reports: Sequence[Report], rules: Sequence[str]) -> Json:
    """What was found, how much was done, and what could not be."""
    return {
        "schema": SCHEMA,
        "ok": all(r.ok for r in reports),
        "rules": list(rules),
        "plans": [r.plan for r in reports if r.of_plan],
        "findings": [
            {
                "level": f.level,
                "plan": r.plan if r.of_plan else None,
                "where": f"{r.plan}: {f.where}" if r.of_plan else f.where,
                "rule": f.rule,
                "message": f.message,
                "source": f.source,
                "mend": f.mend or None,
            }
            for r in reports
            for f in r.findings
        ],
        "done": sum(r.done for r in reports),
        "not_checked": [{"plan": r.plan, "what": n.what, "why": n.why} for r in reports for n in r.not_checked],
        "safety_assessment": False,
    }


def _entry(entry: Entry, result: Label) -> Json:
    return (
        {"name": entry.name}
        | share(entry.share)
        | {
            "kind": entry.kind or "ingredient",
            "carried_in": entry.name in result.carried_in,
            "from": list(dict.fromkeys(c.part.words for c in entry.contents)),
        }
    )


def _allergen(each: Declared) -> Json:
    return (
        {"name": each.name}
        | share(each.share)
        | {
            "above": exact(each.above),
            "sure": each.sure,
            "by": sorted({c.how for c in each.contents}),
            "sources": sorted({c.source for c in each.contents if c.source}),
        }
    )


def allergens(result: Label) -> list[Json]:
    """The allergens of each list, the earliest list first."""
    return [
        {
            "list": each.listed.key,
            "title": each.listed.title,
            "since": each.listed.since,
            "until": each.listed.until or None,
            "allergens": [_allergen(a) for a in each.allergens],
        }
        for each in sorted(result.by_list, key=lambda each: each.listed.since)
    ]


def label(result: Label, reading: Reading) -> Json:
    """The ingredient declaration; `ingredients` and `allergens` by the list in force."""
    names = [each.names for each in sorted(result.by_list, key=lambda each: each.listed.since)]
    return {
        "schema": SCHEMA,
        "formula": reading.plan.id,
        **side(reading.side),
        "closed": reading.sound,
        "rules": result.rules,
        "on": result.on.isoformat() if result.on else None,
        "ingredients": list(result.ingredients),
        "one_percent_line": result.one_percent_line,
        "allergens": list(result.allergens),
        "uncertain": list(result.uncertain),
        "carried_in": list(result.carried_in),
        "unknown": list(result.unknown),
        "line": result.line,
        "figures": [_entry(e, result) for e in result.entries],
        "lists": allergens(result),
        "difference": {"gained": gained(names[-2], names[-1]), "lost": gained(names[-1], names[-2])} if len(names) > 1 else None,
        "notes": [n for n in (result.silence, CONFIRM) if n],
    }


def cost(result: Cost, reading: Reading) -> Json:
    """What a product costs; sums are null where a line has no price."""
    b = result.bottles
    return {
        "schema": SCHEMA,
        "formula": reading.plan.id,
        **side(reading.side),
        "currency": result.currency or None,
        "batch_g": number(result.batch),
        "lines": [
            {
                "phase": line.part.amount.line.phase,
                "material": line.part.id,
                "line": line.part.amount.line.material,
                "percent": exact(line.percent),
                "price_per_kg": number(None if line.per_gram is None else line.per_gram * 1000),
                "per_kg": number(line.per_kg),
                "per_batch": number(result.in_batch(line.per_kg)),
                "share_percent": number(result.share(line)),
            }
            for line in result.lines
        ],
        "per_kg": number(result.per_kg),
        "per_batch": number(result.in_batch(result.per_kg)),
        "priced_per_kg": exact(result.priced),
        "unpriced": [{"material": line.part.id, "percent": exact(line.percent), "why": line.why} for line in result.unpriced],
        "bottles": None
        if b is None
        else {
            "count": b.bottles,
            "fill_g": exact(b.fill),
            "ml": number(b.millilitres),
            "density": number(b.density),
            "loss_percent": exact(b.loss),
            "batch_needed_g": exact(b.needed),
            "per_bottle": number(b.per_bottle),
            "filled_from_batch": b.in_batch,
        },
    }


__all__ = ["allergens", "check", "cost", "label"]
