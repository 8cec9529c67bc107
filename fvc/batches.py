"""A batch as it was made, as a reading like any other: what `sheet`, `diff`, `check`, `label` and `cost` work on.

A premix that was made in-house goes in as what it was, by the batch that is named as its lot, and not as
what its plan says.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction

from fvc.amounts import HUNDRED, ZERO, brief
from fvc.bench import MadeLine, as_added, as_made, lots_used
from fvc.composition import as_material
from fvc.errors import Fault, Refusal
from fvc.formula import MADE, Amount, Closure, Level, Line, Phase, Plan
from fvc.formulary import Formulary, in_records
from fvc.material import Material
from fvc.reading import Reading, Side
from fvc.trial import Trial

# The plan that a reference means; None where it cannot be found, since a trial is readable without history.
PlanOf = Callable[[str], Reading | None]


def read_batch(
    formulary: Formulary, trial: Trial, side: Side, plan_of: PlanOf = lambda _: None, trail: tuple[str, ...] = (), tried: Plan | None = None
) -> Reading:
    """A batch as it was made; its own records come first, then those of the formulary.

    plan_of: finds the plan that it was made from, for what the record itself does not carry (use, spec, phases),
    and the plans of premixes of which no batch was named. trail: batches that are being read, outermost first.
    tried: the plan, where it is known already. The percents are of what is in the beaker, exact, so they
    seldom end. Raises Refusal when nothing was weighed, more was taken out than went in, or a premix stands in itself.
    """
    if trial.id in trail:
        raise Refusal(
            f"a batch stands inside itself: {' -> '.join((*trail[trail.index(trial.id) :], trial.id))}",
            next="correct the lot of one of them",
        )
    made, all_added, all_spent = as_made(trial), as_added(trial), as_added(trial, replacements=True)
    whole, whole_spent = (sum((line.grams for line in lines), ZERO) for lines in (made, all_spent))
    if tried is None and not (trial.use and trial.phases):
        found_plan = plan_of(trial.plan_ref)
        tried = found_plan.plan if found_plan else None
    faults: list[Fault] = []
    materials: dict[str, Material] = dict(trial.materials)
    records: dict[str, Mapping[str, object]] = {id: m.record for id, m in materials.items()}
    formulas = set(formulary.formulas())
    for id in dict.fromkeys(line.material for line in (*made, *all_spent)):
        if id in formulas or id in trial.premixes:
            premix, found = _premix(formulary, trial, id, plan_of, (*trail, trial.id))
            if premix is not None:
                materials[id] = premix
                records[id] = premix.record
                records.update({i.material.id: i.material.record for i in premix.inside if i.material.id not in records})
                continue
            faults += found
        if id not in materials:
            material, problems, reached = formulary.ingredient(id)
            faults += problems
            records.update(reached)
            if material:
                materials[id] = material
    amounts = tuple(
        Amount(Line(line.phase, line.material, Level(MADE, "as made")), line.grams * HUNDRED / whole, 4) for line in made if line.grams > 0
    )
    known = {phase.name: phase for phase in (trial.phases or (tried.phases if tried else ()))}
    plan = Plan(
        id=trial.id,
        title=f"{trial.id}, as made from {trial.plan}",
        revision=0,
        phases=tuple(known.get(name, Phase(name)) for name in dict.fromkeys(line.phase for line in made)),
        lines=tuple(a.line for a in amounts),
        use=trial.use or (tried.use if tried else ()),
        spec=trial.spec or (tried.spec if tried else {}),
        oils_as_parfum=tried.oils_as_parfum if tried else False,
        status="tried",
        batch=f"{brief(whole, 0, 8)} g",
        record={},
    )
    return Reading(
        plan=plan,
        closure=Closure(amounts=amounts, total=HUNDRED, faults=(), decimals=4),
        materials=materials,
        side=side,
        records=records,
        faults=tuple(dict.fromkeys(faults)),
        in_records=in_records(faults),
        added=_shares(all_added, "as added"),
        spent=_shares(all_spent, "as weighed in"),
        kept=whole / whole_spent,
    )


def _shares(lines: Sequence[MadeLine], words: str) -> tuple[Amount, ...]:
    """Weighed lines at their percent of all of them."""
    whole = sum((line.grams for line in lines), ZERO)
    return tuple(Amount(Line(line.phase, line.material, Level(MADE, words)), line.grams * HUNDRED / whole, 4) for line in lines)


def _premix(
    formulary: Formulary, trial: Trial, id: str, plan_of: PlanOf, trail: tuple[str, ...]
) -> tuple[Material | None, tuple[Fault, ...]]:
    """A formula that stands in a batch as a material: its batches by their lots, mixed by their grams; without a batch its plan."""
    batches = {t for f, t in formulary.trials() if f == id}
    parts: dict[str, Fraction] = {}
    for material, lot, grams in lots_used(trial):
        if material == id:
            key = lot if lot in batches else ""
            parts[key] = parts.get(key, ZERO) + grams
    if not parts:
        return None, ()
    whole = sum(parts.values(), ZERO)
    made: dict[str, Material] = {}
    plan: Plan | None = None
    for lot in parts:
        reading = _batch_of(formulary, id, lot, plan_of, trail) if lot else _plan_then(formulary, trial, id, plan_of)
        if reading is None:
            return None, ()
        if reading.faults:
            return None, reading.faults
        plan = reading.plan
        named = Plan(id=id, title=reading.plan.title, revision=0, phases=(), lines=(), record=reading.plan.record)
        made[lot] = as_material(named, [(a.line.material, a.counted) for a in reading.closure.amounts], reading.materials)
    if len(parts) == 1:
        return next(iter(made.values())), ()
    assert plan is not None
    shares = [(lot or id, grams * HUNDRED / whole) for lot, grams in parts.items()]
    named = Plan(id=id, title=f"{id}, {len(parts)} batches of it", revision=0, phases=(), lines=())
    return as_material(named, shares, {lot or id: m for lot, m in made.items()}), ()


def _batch_of(formulary: Formulary, id: str, lot: str, plan_of: PlanOf, trail: tuple[str, ...]) -> Reading | None:
    parsed = formulary.trial(id, lot)
    if parsed.value is None:
        raise Refusal(parsed.faults)
    return read_batch(formulary, parsed.value, Side(lot), plan_of, trail)


def _plan_then(formulary: Formulary, trial: Trial, id: str, plan_of: PlanOf) -> Reading | None:
    """The plan of a premix as it was then; as it is in the folder where that cannot be found."""
    return plan_of(trial.premixes[id]) if id in trial.premixes else None
