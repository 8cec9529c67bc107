"""Checking references, or all plans of a folder: what the rules find, and what only the formulary as a whole can tell."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import NamedTuple

from fvc.archive import Archive
from fvc.errors import Fault, Refusal
from fvc.formulary import SETTINGS_FILE, Formulary, material_path, plan_of_path, plan_path, trial_path
from fvc.git.conflicts import brought
from fvc.reach import know_commits
from fvc.reading import Reading
from fvc.references import Reference, folder_reading, parse_reference, plans_here, resolve
from fvc.rules.basis import HOUSE, Basis
from fvc.rules.case import place_of
from fvc.rules.finding import CAUTION, STOP, Finding, Report
from fvc.rules.levels import check_house_words
from fvc.rules.structure import FILE_RULE
from fvc.saving import locked_and_changed
from fvc.science.own import NOTHING_SEEN, Own
from fvc.sources import IndexSource
from fvc.unaltered import altered_records

OF_RECORDS = ("inci-name", "function-name")  # what is wrong in a record is told once, not with every plan that uses it


class Inspected(NamedTuple):
    """A report with a title for a person."""

    title: str
    report: Report


def staged_plans(archive: Archive) -> list[Reference]:
    """Let what is staged stand in the folder's place, and give the plans that differ there from what was last saved."""
    source = IndexSource(archive.repository)
    archive.now = Formulary(source)
    plans = [p for p in source.changed if re.fullmatch(r"formulas/[^/]+\.toml|variants/[^/]+/[^/]+\.toml", p)]
    return [Reference("/".join(part for part in plan_of_path(p) if part), *plan_of_path(p)) for p in plans]


OwnOf = Callable[[Reading], Own]


def of_merge(archive: Archive, found: Sequence[Inspected]) -> tuple[list[Inspected], list[Inspected]]:
    """The reports that the last merge may have changed, as the plan, a record that it reaches or the settings came with it; and the others."""
    paths = brought(archive.repository)
    if paths is None or SETTINGS_FILE in paths:
        return list(found), []
    concerned = [each for each in found if _came(archive, each.report, paths)]
    return concerned, [each for each in found if each not in concerned]


def _came(archive: Archive, report: Report, paths: Sequence[str]) -> bool:
    if not report.of_plan:
        return any(path.startswith(report.plan) for path in paths)  # `materials`, `trials` or the settings
    reference = parse_reference(report.plan)
    try:
        reading = folder_reading(archive, reference)
    except Refusal:
        return reference.path in paths
    reached = {*reading.plan.reached(), *reading.records}  # also those that cannot be read, and those of a formula in it
    return not {reference.path, *(path(id) for id in reached for path in (material_path, plan_path))}.isdisjoint(paths)


def inspect(
    archive: Archive,
    refs: Sequence[str],
    basis: Basis,
    rules: tuple[str, ...],
    plans: Sequence[Reference] | None = None,
    own_of: OwnOf = lambda _: NOTHING_SEEN,
) -> list[Inspected]:
    """Check these references, or every plan in the folder where there are none. Refusal for a reference that cannot be read.

    rules: the rule sets asked for, empty for those of the formulary. plans: only these, one that cannot be read included. own_of: gives what the
    maker's own batches tell of a product.
    """
    found = (
        [_of_reference(archive, ref, basis, rules, own_of) for ref in refs] if refs else _of_folder(archive, basis, rules, plans, own_of)
    )
    if HOUSE in basis.chosen(rules) and basis.house:
        records = (archive.now.ingredient(id)[0] for id in archive.now.materials())
        functions = {f for m in records if m for f in m.functions}
        words = check_house_words(basis, [*archive.now.materials(), *archive.now.formulas()], functions)
        if words:
            found.append(Inspected("house limits, formulary.toml", _report_of("formulary.toml", words, of_plan=False)))
    return found


def _of_reference(archive: Archive, ref: str, basis: Basis, rules: tuple[str, ...], own_of: OwnOf) -> Inspected:
    reading = resolve(archive, ref)
    title = f"{reading.plan.title or reading.plan.id}, {ref} ({reading.side.words})"
    report = _checked(archive, reading, basis, rules, own_of)
    if reading.side.made:
        formula = next(f for f, t in archive.now.trials() if t == reading.plan.id)
        report = report._replace(findings=(*altered_records(archive, trial_path(formula, reading.plan.id)), *report.findings))
    return Inspected(title, report)


def _checked(archive: Archive, reading: Reading, basis: Basis, rules: tuple[str, ...], own_of: OwnOf) -> Report:
    locked = None
    if reading.side.commit is None and reading.side.revision is not None:
        locked = locked_and_changed(archive, parse_reference(reading.side.ref), reading.plan)
    stands_in = None if reading.plan.use or reading.side.revision is None else _users(archive).get(reading.plan.id, ())
    from fvc.rules.check import check  # with all that estimates: `fvc share` imports this module before it is known whether it checks

    return check(reading, basis, rules, locked, stands_in, own_of(reading))


@lru_cache(maxsize=1)
def _users(archive: Archive) -> dict[str, tuple[str, ...]]:
    """For every id that is named in a line, the plans in the folder that name it; unreadable ones are passed over."""
    found: dict[str, tuple[str, ...]] = {}
    for reference in plans_here(archive):
        plan = archive.now.plan(reference.name, reference.variant).value
        for id in plan.reached() if plan else ():
            found[id] = (*found.get(id, ()), reference.plan_name)
    return found


def _of_folder(archive: Archive, basis: Basis, rules: tuple[str, ...], only: Sequence[Reference] | None, own_of: OwnOf) -> list[Inspected]:
    """Every plan in the folder, or only these; then what is wrong in records, used or not."""
    plans = plans_here(archive) if only is None else only
    if not plans and only is None:
        raise Refusal("there is no formula here to check", next="fvc new formula face-toner")
    readings = {reference: _in_folder(archive, reference) for reference in plans}
    if any(isinstance(each, Reading) and each.plan.status == "locked" for each in readings.values()):
        know_commits(archive, plans)
    found: list[Inspected] = []
    used: set[str] = set()
    of_records: dict[tuple[str, str], Finding] = {}
    for reference, reading in readings.items():
        if isinstance(reading, Refusal):
            faults = [f if f.file else f._replace(file=reference.path) for f in reading.faults]
            found.append(
                Inspected(f"{reference.plan_name} (cannot be read)", _report_of(reference.plan_name, _as_findings(faults, STOP), 0))
            )
            continue
        used |= set(reading.plan.reached())
        report = _checked(archive, reading, basis, rules, own_of)
        of_records |= {(f.message, f.about): f for f in report.findings if f.rule in OF_RECORDS}
        report = report._replace(findings=tuple(f for f in report.findings if f.rule not in OF_RECORDS))
        found.append(Inspected(f"{reading.plan.title or reference.plan_name}, {reference.plan_name}", report))
    in_records = [f._replace(where=", ".join(material_path(id) for id in f.about.split())) for f in of_records.values()]
    broken = [fault for id in archive.now.materials() if id not in used for fault in _faults(archive, id)] if only is None else []
    in_records += _as_findings(broken, CAUTION)  # of those that a plan uses, the plan has said it
    if in_records:
        found.append(Inspected("the records of raw materials", _report_of("materials", in_records, 1 if broken else 0, of_plan=False)))
    altered = altered_records(archive) if only is None else []
    if altered or (only is None and archive.now.trials()):
        found.append(Inspected("the records of batches", _report_of("trials", altered, of_plan=False)))
    return found


def _in_folder(archive: Archive, reference: Reference) -> Reading | Refusal:
    try:
        return folder_reading(archive, reference)
    except Refusal as refusal:
        return refusal


def _faults(archive: Archive, id: str) -> tuple[Fault, ...]:
    """What keeps the record of a material from being read."""
    material, faults, _ = archive.now.ingredient(id)
    return tuple(f if f.file else f._replace(file=material_path(id)) for f in faults) if material is None else ()


def _as_findings(faults: Sequence[Fault], level: str) -> list[Finding]:
    return [Finding(level, place_of(f), "file", f.message, FILE_RULE, f.next) for f in faults]


def _report_of(plan: str, findings: Sequence[Finding], done: int = 1, *, of_plan: bool = True) -> Report:
    return Report(plan=plan, findings=tuple(findings), done=done, not_checked=(), of_plan=of_plan)
