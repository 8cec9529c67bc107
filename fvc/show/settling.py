"""Open questions between two people, for a person and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fvc.amounts import shown
from fvc.compare.merge import TOTAL, Decision
from fvc.rules.finding import Finding
from fvc.show.screen import Screen, counted, grid
from fvc.together.settling import REMOVED, Open, Settling, lines_in_question, total_of, totals_in_question

SCHEMA = 1


def heading(out: Screen, found: Settling) -> None:
    """Whose file it is, and what each did to it last."""
    first, second = found.people
    out.head(found.open.name, f"{counted(len(found.questions), 'question')} between {first.name} and {second.name}")
    for person in found.people:
        when = f" ({person.day})" if person.day else ""
        out.say(f"{person.name}{when}: {person.reason or 'gave no reason'}", 2)


def question(out: Screen, each: Decision, found: Settling, number: int, many: int) -> None:
    """One question: what there was before, and what each person has."""
    out.say("")
    if each.about == TOTAL:
        out.say(f"{number} of {many}  total: {each.why}", 0, "bold")
        first, second = found.people
        out.say(f"{first.name}'s plan and {second.name}'s, put together, do not close. Nothing is re-totalled by itself.", 2)
        lines = grid(("", "left"), ("before", "right"), (first.name, "right"), (second.name, "right"), ("together", "right"))
        for row in (*lines_in_question(found), ("total", *totals_in_question(found))):
            lines.add_row(*row)
        out.table(lines)
        return
    what = "the file: one took it away, the other changed it" if each.about == REMOVED else found.subject(each.about)
    out.say(f"{number} of {many}  {what}", 0, "bold")
    table = grid(("", "left"), ("", "left"), header=False)
    rows = [("before", each.base)] if each.base is not None or (found.merge and found.merge.shared) else []
    for who, text in (*rows, (found.people[0].name, each.first), (found.people[1].name, each.second)):
        table.add_row(who, text if text is not None else "not in it")
    out.table(table)


def put_back(out: Screen, lost: Sequence[str]) -> None:
    """What one person alone had changed, and goes back with the lines of the other."""
    if lost:
        out.say("With these lines goes back what only the other changed:", 2, "bold")
        for line in lost:
            out.say(line, 4)


def total(out: Screen, found: Settling) -> None:
    """What the lines total with the answers so far."""
    words = _total(found)
    if words is not None:
        out.say(f"total{' so far' if found.questions else ''}: {words} %", 2)


def _total(found: Settling) -> str | None:
    """The total of a plan: of what would be written, once that is known."""
    merge = found.merge
    if merge is None:
        return None
    return total_of(found.data, merge) if found.data else shown(merge.closure.total, merge.closure.decimals)


def data(found: Settling, left: Sequence[Open], saved: bool, stops: Sequence[Finding]) -> dict[str, Any]:
    """The open questions of a file as JSON."""
    names = ("line", "before", "first", "second", "together")
    lines = lines_in_question(found) if any(q.about == TOTAL for q in found.questions) else ()
    return {
        "schema": SCHEMA,
        "name": found.open.name,
        "people": [{"name": p.name, "reason": p.reason or None, "day": p.day or None} for p in found.people],
        "questions": [
            {"about": found.subject(q.about), "before": q.base, "first": q.first, "second": q.second, "why": q.why or None}
            for q in found.questions
        ],
        "lines_in_question": [dict(zip(names, row, strict=True)) for row in lines],
        "total_percent": _total(found),
        "settled": found.data is not None,
        "saved": saved,
        "open": [each.name for each in left],
        "stops": [{"where": f.where, "rule": f.rule, "message": f.message, "source": f.source, "mend": f.mend or None} for f in stops],
    }
