"""What was tried, and what it teaches, as JSON."""

from __future__ import annotations

from fractions import Fraction

from fvc.amounts import ZERO, exact
from fvc.compare.diff import FOLLOWED, SAME
from fvc.compare.lessons import Made, Other, Pair
from fvc.deviations import Departure
from fvc.results.learning import Learned
from fvc.results.records import Looked, Results, Row, Tried
from fvc.show.data import SCHEMA, Json, number


def results(found: Results, name: str) -> Json:
    """All rows, by the plan they were made from."""
    return {
        "schema": SCHEMA,
        "formula": name or None,
        "only": list(found.only),
        "trials_looked_at": found.trials,
        "variants_looked_at": found.variants,
        "rows": [_row(plan, row) for plan in found.plans for row in plan.rows],
        "undecided": list(found.undecided),
    }


def _row(plan: Tried, row: Row) -> Json:
    trial = row.trial
    closing = trial.closing if trial else None
    from_parent = [
        {
            "phase": line.line.phase,
            "material": line.line.material,
            "before_percent": number(line.before_percent),
            "after_percent": number(line.after_percent),
            "points": exact(line.points),
            "why": line.kind,
        }
        for line in sorted((each for each in plan.lines if each.kind != SAME), key=lambda each: each.kind == FOLLOWED)
    ]
    return {
        "formula": plan.formula,
        "plan": plan.plan,
        "trial": trial.id if trial else None,
        "made_on": str(trial.made_on) if trial and trial.made_on else None,
        "differs_from": plan.plan if trial else plan.against or None,
        "differs": [_departure(each) for each in row.departures] if trial else from_parent,
        "plan_differs_from": plan.against or None,
        "plan_differs": from_parent,
        "question": plan.about.question if plan.about else None,
        "state": plan.about.state if plan.about else None,
        "looks": [_look(each) for each in row.looks],
        "verdict": trial.verdict or None if trial else None,
        "because": closing.because or None if closing else None,
        "found": list(row.found),
        "problem": row.problem or plan.problem or None,
    }


def _departure(each: Departure) -> Json:
    return {
        "phase": each.phase,
        "material": each.material,
        "before_percent": number(each.asked),
        "after_percent": number(each.made),
        "points": exact((each.made or ZERO) - (each.asked or ZERO)),
        "why": each.why,
    }


def _look(look: Looked) -> Json:
    return {
        "day": look.day,
        "point": look.point,
        "condition": look.seen.condition,
        "seen": look.entry.subject,
        "judged": [{"property": j.what, "value": j.value, "verdict": j.verdict, "asked": j.asked} for j in look.judged],
    }


def learned(found: Learned, name: str) -> Json:
    """A property against one thing."""
    lesson = found.lesson
    values = {id(made): value for made, value in lesson.batches}

    def pair(each: Pair) -> Json:
        return {
            "first": each.first.id,
            "second": each.second.id,
            "first_value": exact(values[id(each.first)]),
            "second_value": exact(values[id(each.second)]),
            "first_seen": each.first.view.text,
            "second_seen": each.second.view.text,
            "way": each.way or None,
            "others": [_other(o) for o in each.others],
            "notes": [_other(o) for o in each.notes],
        }

    return {
        "schema": SCHEMA,
        "formula": name or None,
        "thing": lesson.thing.words,
        "unit": None if lesson.thing.per else "%",
        "property": found.property,
        "condition": found.condition,
        "day": found.day,
        "trials": [_batch(made, value) for made, value in lesson.batches],
        "pairs": [pair(p) for p in lesson.pairs],
        "near_pairs": [pair(p) for p in lesson.near],
        "alike": [pair(p) for p in lesson.alike],
        "trials_in_pairs": lesson.batches_alone,
        "trend": lesson.trend or None,
        "why_none": lesson.why or None,
        "unseen": list(found.unseen),
        "left": list(found.left),
    }


def _batch(made: Made, value: Fraction) -> Json:
    view = made.view
    return {"trial": made.id, "value": exact(value), "seen": view.text, "day": view.day, "point": view.point, "condition": view.condition}


def _other(other: Other) -> Json:
    sides = (each if isinstance(each, str) else exact(each) for each in (other.first, other.second))
    return {"what": other.what} | dict(zip(("first", "second"), sides, strict=True))
