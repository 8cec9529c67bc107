"""The batches and variants of some formulas, each read once, and by the plan they were made from.

Rows are batches as they were made, and variants of which none was made. History is asked only for the plans that are shown.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, brief, needed_decimals, number
from fvc.archive import Archive
from fvc.batches import read_batch
from fvc.compare.diff import LineDiff, pair_lines
from fvc.deviations import Departure, departures
from fvc.errors import Fault, Refusal
from fvc.formula import BALANCE, FIXED, OPEN, Amount, Level, Line, VariantOf
from fvc.reading import Reading, Side
from fvc.references import Reference, folder_reading, parent_of, parse_reference, saved_as
from fvc.schedule import Schedule, place_of, time_point
from fvc.seeing import Judged, judged
from fvc.trial import Entry, Seen, Trial


class Looked(NamedTuple):
    """One look at a batch. point: the day of the schedule that it answers; judged: what the spec says to it."""

    entry: Entry
    day: int
    point: int | None
    judged: tuple[Judged, ...]

    @property
    def seen(self) -> Seen:
        """What was seen."""
        return self.entry.seen or Seen()


@dataclass(frozen=True, kw_only=True, eq=False)
class Row:
    """A batch as it was made, or (trial None) a variant of which none was made.

    looks: by day. departures: of a batch from its plan. found: what of it meets the conditions asked for, in words.
    problem: why it cannot be read as made.
    """

    trial: Trial | None
    looks: tuple[Looked, ...] = ()
    departures: tuple[Departure, ...] = ()
    found: tuple[str, ...] = ()
    problem: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Tried:
    """A plan with what was made of it, oldest first. plan: as the batches name it; of a variant not made, its reference.

    against: the plan that it is held against (its parent, the revision before, the revision that was changed); "" where
    there is none, or where that cannot be told: then `problem` says why. lines: all pairs of lines.
    """

    formula: str
    plan: str
    rows: tuple[Row, ...]
    against: str = ""
    lines: tuple[LineDiff, ...] = ()
    about: VariantOf | None = None
    problem: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Results:
    """What was tried. trials, variants: how many were looked at; undecided: rows of which a condition cannot be told, in words."""

    titles: Mapping[str, str]
    plans: tuple[Tried, ...]
    only: tuple[str, ...]
    trials: int
    variants: int
    undecided: tuple[str, ...]
    problems: tuple[Fault, ...]


class Case:
    """A row before it is asked anything; what it holds is worked out when a condition asks."""

    def __init__(self, records: Records, formula: str, plan: str, trial: Trial | None, planned: Reading | None = None) -> None:
        self.records, self.formula, self.plan, self.trial, self.planned = records, formula, plan, trial, planned

    @property
    def name(self) -> str:
        """The batch; the variant where none was made."""
        return self.trial.id if self.trial else self.plan

    @cached_property
    def reading(self) -> Reading:
        """As made; of a variant that was not made, as planned. Refusal where nothing was weighed, and the like."""
        if self.trial is None:
            assert self.planned is not None
            return self.planned
        return read_batch(self.records.archive.now, self.trial, Side(self.trial.id), self.records.plan)

    @cached_property
    def looks(self) -> tuple[Looked, ...]:
        """What was seen, by day and place, held against the spec."""
        if self.trial is None:
            return ()
        spec, schedule = self.records.spec(self.trial), self.records.schedule
        found = []
        for entry in self.trial.seen:
            seen = entry.seen or Seen()
            day = seen.day if seen.day is not None else self.trial.day_of(entry.at)
            found.append(Looked(entry, day, time_point(day, schedule.days), judged(seen, spec)))
        return tuple(sorted(found, key=lambda each: (each.day, place_of(each.seen.condition, schedule.conditions), each.entry.at)))

    def row(self, found: Sequence[str], slip_above: Fraction) -> Row:
        """The row of it. found: what of it meets the conditions, in words."""
        if self.trial is None:
            return Row(trial=None, found=tuple(found), problem=self.records.broken.get(self.plan, ""))
        row = Row(trial=self.trial, looks=self.looks, found=tuple(found))
        try:
            return replace(row, departures=departures(self.trial, slip_above))
        except Refusal as refusal:  # nothing weighed yet, or more taken out than had gone in
            return replace(row, problem=refusal.faults[0].message)


class Records:
    """The batches and variants of some formulas, each read once; `problems` are those that cannot be read."""

    def __init__(self, archive: Archive, formulas: Sequence[str]) -> None:
        self.archive, self.formulas = archive, formulas
        settings = archive.now.settings()
        self.schedule: Schedule = settings.schedule
        self.slip_above = settings.slip_above
        self.problems: list[Fault] = []
        self.broken: dict[str, str] = {}
        self.cases: list[Case] = []
        self._plans: dict[str, Reading | Refusal] = {}
        trials = []
        for formula, id in archive.now.trials():
            if formula in formulas:
                try:
                    parsed = archive.now.trial(formula, id)
                except Refusal as refusal:
                    self.problems += refusal.faults
                    continue
                self.problems += parsed.faults
                trials += [parsed.value] if parsed.value else []
        for trial in sorted(trials, key=lambda t: (t.made_on or datetime.date.min, t.id)):
            self.cases.append(Case(self, trial.formula, trial.plan, trial))
        made = {trial.plan_ref.partition(".")[0] for trial in trials}
        for formula in formulas:
            for id in archive.now.variants(formula):
                if f"{formula}/{id}" not in made:
                    self._variant(Reference(f"{formula}/{id}", formula, id))

    def _variant(self, reference: Reference) -> None:
        try:
            reading = folder_reading(self.archive, reference)
        except Refusal as refusal:
            self.problems += refusal.faults
            return
        if reading.faults:
            self.broken[reference.plan_name] = reading.faults[0].message
        self._plans[reference.plan_name] = reading
        self.cases.append(Case(self, reference.name, reference.plan_name, None, reading))

    def plan(self, stated: str) -> Reading | None:
        """The plan that a reference means; None where it cannot be found."""
        found = self._found(stated)
        return None if isinstance(found, Refusal) else found

    def _found(self, stated: str, trial: Trial | None = None) -> Reading | Refusal:
        """The plan that a reference means; trial: that a batch means by it."""
        plan_id = trial.plan_id if trial and "," not in trial.plan else ""
        key = f"{stated} {plan_id}".rstrip()
        if key not in self._plans:
            try:
                self._plans[key] = saved_as(self.archive, stated, plan_id, exactly=True)
            except Refusal as refusal:
                self._plans[key] = refusal
        return self._plans[key]

    def spec(self, trial: Trial) -> Mapping[str, object]:
        """What a batch must meet: by its own record, else by its plan as it was."""
        found = None if trial.spec else self.plan(trial.plan_ref)
        return trial.spec or (found.plan.spec if found else {})

    # --- what differs from plan to plan ---

    def tried(self, cases: Sequence[tuple[Case, Row]]) -> tuple[Tried, ...]:
        """Rows by the plan they were made from; of each formula the plan whose first batch is the oldest first, variants not made last."""
        grouped: dict[tuple[str, str, str], list[tuple[Case, Row]]] = {}
        for case, row in cases:
            changed = case.trial.plan_id if case.trial and "," in case.plan else ""  # two unsaved states may bear one name
            grouped.setdefault((case.formula, case.plan, changed), []).append((case, row))
        ordered = sorted(grouped.items(), key=lambda item: self.formulas.index(item[0][0]))
        return tuple(self._tried(each[0][0], tuple(row for _, row in each)) for _, each in ordered)

    def _tried(self, case: Case, rows: tuple[Row, ...]) -> Tried:
        tried = Tried(formula=case.formula, plan=case.plan, rows=rows)
        stated = case.trial.plan_ref if case.trial else case.plan
        try:
            about, before = self._before(case, parse_reference(stated))
            tried = replace(tried, about=about)
            if before is None:
                return tried
            if isinstance(before, Refusal):
                raise before
            return replace(tried, against=before.side.ref, lines=pair_lines(before.closure.amounts, self._amounts(case, stated)))
        except Refusal as refusal:
            return replace(tried, problem=refusal.faults[0].message)

    def _before(self, case: Case, reference: Reference) -> tuple[VariantOf | None, Reading | Refusal | None]:
        """The [variant] table, and the plan to hold this one against; None where there is none before it."""
        if reference.variant:
            found = self._found(reference.text, case.trial)
            if isinstance(found, Refusal):
                return None, found
            try:
                return found.plan.variant, parent_of(self.archive, found)
            except Refusal as refusal:
                return found.plan.variant, refusal
        if not reference.ending:
            return None, None
        if case.trial and "," in case.plan:  # changed since it was saved
            return None, self._found(reference.text)
        if not reference.ending.isdigit() or len(reference.ending) > 6:  # a state by its commit, behind the revision that it still says
            state = self._found(reference.text, case.trial)
            said = 0 if isinstance(state, Refusal) else state.plan.revision
            return None, self._found(f"{reference.name}.{said}") if said else None
        numbers = self.archive.introductions(reference.path) if self.archive.head else {}
        earlier = [n for n in numbers if 0 < n < int(reference.ending)]
        return None, self._found(f"{reference.name}.{max(earlier)}") if earlier else None

    def _amounts(self, case: Case, stated: str) -> Sequence[Amount]:
        """The lines of the plan that was tried: as saved; of one that was not, as the batch says that they were asked."""
        saved = "," not in case.plan and parse_reference(stated).ending
        found = self._found(stated, case.trial) if saved or case.trial is None else None
        if not isinstance(found, Reading) and case.trial is not None:  # never saved, or gone when history was rewritten
            asked = asked_amounts(case.trial)
            if abs(sum((a.counted for a in asked), ZERO) - HUNDRED) < 1:
                return asked
            found = found or self._found(stated)
        if isinstance(found, Refusal):
            raise found
        assert found is not None
        return found.closure.amounts


def asked_amounts(trial: Trial) -> tuple[Amount, ...]:
    """The plan of a batch, as its record says that its lines were asked for."""
    out = []
    for line in trial.asked:
        decimals = 2 if line.percent is None else min(8, max(2, needed_decimals(line.percent) or 2))
        typed = None if line.percent is None else number(brief(line.percent, 2, decimals))
        kind = BALANCE if line.balance else OPEN if line.open else FIXED
        level = Level(kind, typed.text if typed and kind == FIXED else kind, typed)
        out.append(Amount(Line(line.phase, line.material, level), line.percent, decimals))
    return tuple(out)
