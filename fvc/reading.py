"""A plan read at one moment, together with the records it reaches: what every command works on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import NamedTuple

from fvc.errors import Fault
from fvc.formula import Amount, Closure, Line, Plan, close
from fvc.material import Material


class Side(NamedTuple):
    """Where a reading comes from.

    ref: the reference as typed. commit: full commit id, None for the folder.
    revision: the number in the plan; None for a batch as made.
    saved: True when the plan and all records it reaches are as they were last saved.
    under_git: False where there is no history that could tell.
    later: True for a plain commit after the revision was saved (shown as `4+`).
    """

    ref: str
    commit: str | None = None
    revision: int | None = None
    saved: bool = False
    later: bool = False
    under_git: bool = True

    @property
    def made(self) -> bool:
        """True for a batch as made; a plan has a revision, if only 0."""
        return self.revision is None

    @property
    def words(self) -> str:
        """The state in words: `revision 4`, `revision 4+`, `revision 4, changed since`, `as made`."""
        if self.made:
            return "as made"
        if not self.under_git:
            return f"revision {self.revision}, no git here" if self.revision else "no git here"
        if self.revision == 0:
            return "not saved yet" if not self.saved else "saved without a revision"
        plus = "+" if self.later else ""
        return f"revision {self.revision}{plus}" + ("" if self.saved else ", changed since")


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """A plan, its percents, and the materials of the same moment.

    materials: by id; a nested formula stands here as a material of its composition; an id that
    has no record is missing from the mapping and named in `faults`.
    records: the records of everything reached, through nested formulas too, by id.
    faults: all that keeps the plan from being weighed (structure, total, missing materials).
    in_records: those of them that are in records of raw materials, not in a plan.
    warnings: what was noticed and does not hinder.
    added: of a batch as made, every line at its percent of all that was added, what replaced a loss not
    counted twice; empty for a plan. spent: the same of all that was weighed in.
    kept: of a batch as made, what is there for each gram that was weighed in.
    """

    plan: Plan
    closure: Closure
    materials: Mapping[str, Material]
    side: Side
    records: Mapping[str, Mapping[str, object]] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    in_records: frozenset[Fault] = frozenset()
    warnings: tuple[Fault, ...] = ()
    added: tuple[Amount, ...] = ()
    spent: tuple[Amount, ...] = ()
    kept: Fraction = Fraction(1)

    @property
    def sound(self) -> bool:
        """True when the plan closes and every material it names is known."""
        return not self.faults

    def function(self, material: str) -> str | None:
        """The first function of a material by id; None when unknown."""
        known = self.materials.get(material)
        return known.function if known else None

    def functions(self, material: str) -> tuple[str, ...]:
        """All functions of a material by id."""
        known = self.materials.get(material)
        return known.functions if known else ()

    def with_lines(self, lines: Sequence[Line], materials: Mapping[str, Material]) -> Reading:
        """The same plan with other lines, closed anew: what a change would make of it, before any file is touched.

        materials: those of this moment by id; a line whose material is missing there is a fault.
        """
        plan = replace(self.plan, lines=tuple(lines))
        reached = {id: materials[id] for id in plan.reached() if id in materials}
        closure = close(plan, {id: m.functions for id, m in reached.items()})
        unknown = tuple(Fault(f'unknown material "{id}"') for id in plan.reached() if id not in reached)
        records = {id: m.record for id, m in reached.items()} | {
            i.material.id: i.material.record for m in reached.values() for i in m.inside
        }
        return replace(
            self,
            plan=plan,
            closure=closure,
            materials=reached,
            records=records,
            faults=(*unknown, *closure.faults),
            warnings=(),
            side=self.side._replace(saved=False, later=False),
        )
