"""All that was tried of some formulas, or what of it meets conditions."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.archive import Archive
from fvc.errors import Refusal
from fvc.formulary import plan_path
from fvc.results.conditions import known_in, meets, sought
from fvc.results.records import Case, Records, Results
from fvc.variants import known_formula


def results(archive: Archive, formulas: Sequence[str], only: Sequence[str] = ()) -> Results:
    """What was tried of these formulas; `only` what meets all conditions. Refusal for a condition that means nothing."""
    records = Records(archive, formulas)
    chosen, undecided = chosen_of(records, only)
    plans = records.tried([(case, case.row(found, records.slip_above)) for case, found in chosen])
    trials = sum(case.trial is not None for case in records.cases)
    return Results(
        titles={plan.formula: _title(archive, plan.formula) for plan in plans},
        plans=plans,
        only=tuple(only),
        trials=trials,
        variants=len({each.plan_ref.partition(".")[0] for case in records.cases if (each := case.trial) and "/" in each.plan_ref})
        + len(records.cases)
        - trials,
        undecided=tuple(undecided),
        problems=tuple(dict.fromkeys(records.problems)),
    )


def chosen_of(records: Records, only: Sequence[str]) -> tuple[list[tuple[Case, tuple[str, ...]]], list[str]]:
    """What meets all conditions, each with what does; and in words of what a condition cannot be told."""
    known = known_in(records)
    conditions = [sought(known, text) for text in only]
    chosen: list[tuple[Case, tuple[str, ...]]] = []
    undecided: list[str] = []
    for case in records.cases:
        try:
            found = meets(case, conditions)
        except Refusal as refusal:
            undecided.append(f"{case.name}: {refusal.faults[0].message}")
            continue
        if found is not None:
            chosen.append((case, found))
    return chosen, undecided


def _title(archive: Archive, name: str) -> str:
    try:
        plan = archive.now.plan(name).value
    except Refusal:
        plan = None
    return plan.title if plan else ""


def with_results(archive: Archive) -> list[str]:
    """All formulas in the folder, and those of which only batches are left."""
    return list(dict.fromkeys([*archive.now.formulas(), *(formula for formula, _ in archive.now.trials())]))


def formula_named(archive: Archive, name: str) -> str:
    """The formula that a name means, also one of which only batches are left. Refusal with the nearest for any other."""
    if not any(formula == name for formula, _ in archive.now.trials()) or archive.now.source.has(plan_path(name)):
        known_formula(archive, name)
    return name
