"""A formula that is handed on, as JSON: only what `fvc.together.export` chose; `docs/json.md` lists the keys."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from fvc.amounts import Typed, needed_decimals
from fvc.material import Share
from fvc.show.data import SCHEMA, Json, number, share, side
from fvc.show.judged_data import allergens
from fvc.together.export import (
    ASSESSOR,
    CARE,
    LABEL,
    NOT_ASSESSED,
    RANGES,
    STUDENT,
    Bought,
    Export,
    ForAssessor,
    ForLabel,
    ForStudent,
    Given,
    Handed,
    Head,
    Tested,
)


def handed(found: Export) -> Json:
    """All of it."""
    if isinstance(found, ForStudent):
        return student(found)
    return assessor(found) if isinstance(found, ForAssessor) else label(found)


def _head(head: Head, audience: str) -> Json:
    return {
        "schema": SCHEMA,
        "for": audience,
        "formula": head.name,
        "title": head.title,
        **side(head.side),
        "state": head.state,
        "saved_as": head.moment or None,
        "handed_on": str(head.on),
    }


def _facts(head: Head) -> Json:
    return {"use": list(head.use), "spec": _spec(head.spec)}


def _spec(spec: Mapping[str, object]) -> Json:
    return {key: [_text(v) for v in value] if isinstance(value, tuple) else _text(value) for key, value in spec.items()}


def _text(value: Any) -> str:
    return value.text if isinstance(value, Typed) else str(value)


def student(found: ForStudent) -> Json:
    """The formula without where anything comes from."""
    notes = [*([RANGES] if found.ranges else []), *([CARE] if found.care else [])]
    return (
        _head(found.head, STUDENT)
        | _facts(found.head)
        | {
            "ranges": found.ranges,
            "batch_g": number(found.batch),
            "phases": _phases(found.formula),
            "care": list(found.care),
            "notes": notes,
        }
    )


def _phases(formula: Handed) -> list[Json]:
    return [
        {
            "phase": p.name,
            "title": p.title or None,
            "method": p.method or None,
            "heat": p.heat or None,
            "hold": p.hold or None,
            "add_below": p.add_below or None,
            "lines": [_line(line) for line in formula.lines if line.phase == p.name],
        }
        for p in formula.phases
    ]


def _percent(text: str, value: Fraction | None) -> str | None:
    """The digits as typed or shown, where they are all of them."""
    return text if value is not None and needed_decimals(value) is not None else number(value)


def _line(line: Given) -> Json:
    low, high = line.between or (None, None)
    return {
        "material": line.material,
        "inci": list(line.inci),
        "functions": list(line.functions),
        "kind": line.kind,
        "how": line.how or None,
        "percent": _percent(line.text, line.percent),
        "low": number(low),
        "high": number(high),
        "grams": number(line.grams),
        "inside": None if line.inside is None else {"title": line.inside.title, "phases": _phases(line.inside)},
    }


def assessor(found: ForAssessor) -> Json:
    """Everything that is known of the product, and what is not."""
    inside = found.composition
    substances: list[Json] = [{"inci": s.inci} | share(s.share) | {"from": list(s.sources)} for s in inside.substances]
    if inside.undeclared.high:
        substances.append({"inci": None} | share(inside.undeclared) | {"from": list(inside.undeclared_from)})
    return (
        _head(found.head, ASSESSOR)
        | _facts(found.head)
        | {
            "lines": [
                {
                    "phase": each.phase,
                    "material": each.material,
                    "through": list(each.through),
                    "functions": list(each.functions),
                    "percent": _percent(each.text, each.percent),
                    "how": each.how or None,
                }
                for each in found.lines
            ],
            "materials": [_bought(each) for each in found.bought],
            "composition": substances,
            "constituents": [{"inci": e.inci} | share(e.share) | {"by": e.how, "from": list(e.by)} for e in found.inside],
            "total_water": share(inside.water),
            "rules": list(found.rules),
            "allergens": allergens(found.label),
            "allergens_unknown": list(found.label.unknown),
            "limits": [
                {"level": f.level, "where": f.where, "rule": f.rule, "message": f.message, "source": f.source} for f in found.findings
            ],
            "not_checked": [{"what": n.what, "why": n.why} for n in found.not_checked],
            "batches": [_tested(each) for each in found.tested],
            "notes": [n for n in (found.label.silence, NOT_ASSESSED) if n],
            "safety_assessment": False,
        }
    )


def _bought(each: Bought) -> Json:
    def shares(found: Mapping[str, Share]) -> list[Json]:
        return [{"inci": inci} | share(value) for inci, value in found.items()]

    return {
        "material": each.id,
        "name": each.name,
        "supplier": each.supplier or None,
        "code": each.code or None,
        "source": each.source or None,
        "composition": None if each.composition is None else shares(each.composition),
        "undeclared": share(each.undeclared),
        "constituents": shares(each.constituents),
    }


def _tested(batch: Tested) -> Json:
    return {
        "trial": batch.id,
        "plan": batch.plan,
        "made_on": str(batch.made_on) if batch.made_on else None,
        "verdict": batch.verdict or None,
        "spec": _spec(batch.spec),
        "lines": [
            {"phase": line.phase, "material": line.material, "percent": number(line.percent), "made_percent": number(line.made)}
            for line in batch.lines
        ],
        "deviations": list(batch.deviations),
        "looks": [
            {
                "day": look.day,
                "condition": look.condition,
                "seen": [{"property": what, "value": text, "verdict": verdict or None} for what, text, verdict in look.seen],
            }
            for look in batch.looks
        ],
    }


def label(found: ForLabel) -> Json:
    """The names in order."""
    return _head(found.head, LABEL) | {"ingredients": list(found.label.ingredients)}
