"""What came from another maker and what went to them, as JSON."""

from __future__ import annotations

from collections.abc import Callable

from fvc.compare.diff import Diff
from fvc.errors import Fault
from fvc.git.remote import shown
from fvc.reading import Reading
from fvc.show.data import SCHEMA, Json, record_diffs
from fvc.show.data import diff as diff_data
from fvc.together.sharing import AWAY, SENT, Connected, Copied, Outcome
from fvc.together.work import Found, PlanWork, Work

Bill = Callable[[Diff, Reading, Reading], Diff]


def outcome(result: Outcome, bill: Bill) -> Json:
    """How a share went, or would go. bill: adds to a difference what it does to limits, label and cost."""
    return {
        "schema": SCHEMA,
        "state": result.state,
        "remote": result.link.remote,
        "address": shown(result.link.address),
        "branch": result.link.there,
        "came": _work(result.came, bill) if result.came else None,
        "merged": result.merged or None,
        "open": None if result.open is None else list(result.open),
        "unsaved": list(result.unsaved),
        "findings": [_found(each) for each in result.found],
        "standing": [_found(each) for each in result.standing],
        "changed_by_both": [{"plan": b.name, "revision_twice": b.twice, "next_revision": b.next} for b in result.both],
        "went": _work(result.went, bill) if result.went else None,
        "sent": result.state == SENT,
        "why_not": result.why.message if result.why else None,
        "next": result.why.next if result.why else None,
    }


def _found(each: Found) -> Json:
    return {
        "plan": each.plan,
        "level": each.finding.level,
        "where": each.finding.where,
        "rule": each.finding.rule,
        "message": each.finding.message,
        "source": each.finding.source,
        "mend": each.finding.mend or None,
    }


def _work(done: Work, bill: Bill) -> Json:
    return {
        "saves": [{"commit": c.id, "date": c.date, "author": c.author, "subject": c.subject} for c in done.commits],
        "plans": [_plan(plan, bill) for plan in done.plans],
        "trials": [
            {
                "trial": t.id,
                "kind": t.kind,
                "plan": t.trial.plan if t.trial else None,
                "by": (t.trial.by or None) if t.trial else None,
                "entries": t.entries,
                "verdict": (t.trial.verdict or None) if t.trial else None,
                "problem": t.problem or None,
            }
            for t in done.trials
        ],
        "materials": [
            {"material": r.id, "kind": r.kind, "changes": record_diffs(r.changes), "problem": r.problem or None} for r in done.materials
        ],
        "others": list(done.others),
        "settled": [{"name": s.name, "by": s.who, "day": s.day, "lines": list(s.lines)} for s in done.settled],
    }


def _plan(plan: PlanWork, bill: Bill) -> Json:
    change = bill(plan.change, plan.before, plan.after) if plan.change and plan.before and plan.after else None
    return {
        "plan": plan.name,
        "kind": plan.kind,
        "renamed_from": plan.earlier or None,
        "saves": [c.id for c in plan.commits],
        "diff": diff_data(change) if change else None,
        "problem": plan.problem or None,
    }


def unreachable(address: str, why: Fault) -> Json:
    """A place that could not be connected to."""
    return {"schema": SCHEMA, "address": shown(address), "state": AWAY, "why_not": why.message, "next": why.next}


def connected(result: Connected) -> Json:
    """How a formulary was connected."""
    return {
        "schema": SCHEMA,
        "remote": result.remote,
        "address": shown(result.address),
        "branch": result.branch,
        "added": result.added,
        "state": result.state,
        "there": list(result.there),
        "prepared": list(result.prepared),
    }


def copied(result: Copied) -> Json:
    """A copy that was fetched."""
    return {
        "schema": SCHEMA,
        "folder": str(result.folder),
        "formularies": [str(f) for f in result.formularies],
        "prepared": list(result.prepared),
    }
