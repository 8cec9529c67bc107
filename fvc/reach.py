"""Where a raw material is used, and what a change of its record did to every plan that it reaches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from fvc.archive import Archive
from fvc.compare.diff import Diff, RecordDiff, diff, record_differences
from fvc.errors import Fault, Refusal
from fvc.formulary import Formulary, material_path
from fvc.material import Material
from fvc.names import suggestion
from fvc.reading import Reading, Side
from fvc.references import Reference, commit_since, folder_reading, plans_here
from fvc.sources import OverlaidSource


class Use(NamedTuple):
    """A plan that holds a material. through: the formulas between them; revisions: saved ones whose lines name it."""

    plan: str
    in_folder: bool
    through: tuple[str, ...]
    revisions: tuple[int, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Shelf:
    """Every material record with its use; `problems` are records and plans that cannot be read."""

    materials: Mapping[str, Material]
    uses: Mapping[str, tuple[Use, ...]]
    problems: tuple[Fault, ...]


def know_commits(archive: Archive, plans: Sequence[Reference]) -> None:
    """Ask git once for the commits of all these plans, for whoever will look at the revisions of each."""
    if not isinstance(archive.found, Fault) and archive.head is not None:
        commits = archive.commits(("formulas", "variants"))
        for reference in plans:
            archive.known_commits(reference.path, commits)


def shelf_of(archive: Archive) -> Shelf:
    """Every material of the folder, and the plans and saved revisions that use it."""
    materials: dict[str, Material] = {}
    problems: list[Fault] = []
    for id in archive.now.materials():
        material, faults, _ = archive.now.ingredient(id)
        problems += faults
        if material is not None:
            materials[id] = material
    plans = plans_here(archive)
    know_commits(archive, plans)
    uses: dict[str, list[Use]] = {}
    for reference in plans:
        saved = _revisions(archive, reference.path)
        here: dict[str, tuple[str, ...]] = {}
        try:
            here = _through(folder_reading(archive, reference))
        except Refusal as refusal:
            problems += refusal.faults
        for id in dict.fromkeys([*here, *saved]):
            uses.setdefault(id, []).append(Use(reference.plan_name, id in here, here.get(id, ()), tuple(saved.get(id, ()))))
    return Shelf(materials=materials, uses={id: tuple(u) for id, u in uses.items()}, problems=tuple(dict.fromkeys(problems)))


def _revisions(archive: Archive, path: str) -> dict[str, list[int]]:
    """The saved revisions of a plan by the materials that they name; unreadable ones are passed over."""
    found: dict[str, list[int]] = {}
    for number, introductions in sorted(archive.introductions_by_name(path).items()):
        plan = archive.parsed_in(introductions[-1].touch).value if number else None
        for id in plan.reached() if plan else ():
            found.setdefault(id, []).append(number)
    return found


def _through(reading: Reading) -> dict[str, tuple[str, ...]]:
    """Everything that a plan reaches, each with the premix lines it comes through, or none where it has a line of its own."""
    found: dict[str, tuple[str, ...]] = dict.fromkeys(reading.plan.reached(), ())
    for id in reading.plan.reached():
        material = reading.materials.get(id)
        for inner in material.inside if material else ():
            if inner.material.id not in reading.plan.reached():
                found[inner.material.id] = tuple(dict.fromkeys((*found.get(inner.material.id, ()), id)))
    return found


class Reached(NamedTuple):
    """A plan of the folder, with the record as it was then and as it is now; the levels are the same."""

    plan: str
    before: Reading
    after: Reading
    diff: Diff


@dataclass(frozen=True, kw_only=True, eq=False)
class Reach:
    """What a change of a record did. commit: what it is compared with; changes: of the record itself."""

    material: str
    commit: str
    day: str
    changes: tuple[RecordDiff, ...]
    plans: tuple[Reached, ...]
    problems: tuple[Fault, ...]


def known_material(archive: Archive, id: str) -> None:
    """Refuse an id that has no record in the folder, with the nearest ones."""
    if id not in archive.now.materials():
        if id in archive.now.formulas():
            raise Refusal(f"{id} is a formula, not a raw material", next=f"fvc history {id}  tells what changed in it")
        known = archive.now.materials()
        raise Refusal(Fault(f'no material "{id}"', file=material_path(id), next=suggestion(id, known, "fvc material  lists them")))


def reach(archive: Archive, id: str, since: str = "") -> Reach:
    """What the record of a material, as it stands in the folder, changed for every plan since a day or a commit.

    since: "" for what was last saved. Only the record differs between the two readings of a plan: the
    plan and all other records are those of the folder. Raises Refusal when the record is not there now or was not there then.
    """
    known_material(archive, id)
    commit = commit_since(archive, since)
    path = material_path(id)
    old = archive.at(commit).source.read(path)
    day = next((c.day for c in archive.repository.log([], commit, first_parent=True)), "")
    if old is None:
        raise Refusal(f"{id} had no record by then (commit {commit[:8]}, {day})", next="name a later day or commit")
    then = Formulary(OverlaidSource(archive.now.source, {path: old}))
    material, faults, records = then.ingredient(id)
    if material is None:
        raise Refusal(f._replace(file=f"{f.file} in commit {commit[:8]}") for f in faults)
    now, faults, records_now = archive.now.ingredient(id)
    if now is None:
        raise Refusal(faults)
    plans: list[Reached] = []
    problems: list[Fault] = []
    for reference in plans_here(archive):
        try:
            after = folder_reading(archive, reference)
            if id not in after.records:
                continue
            before = then.read(then.plan(reference.name, reference.variant), Side(f"{reference.plan_name} with the record of {day}"))
        except Refusal as refusal:
            problems += refusal.faults
            continue
        plans.append(Reached(reference.plan_name, before, after, diff(before, after, None)))
    return Reach(
        material=id,
        commit=commit,
        day=day,
        changes=record_differences(records, records_now),
        plans=tuple(plans),
        problems=tuple(problems),
    )


__all__ = ["Reach", "Reached", "Shelf", "Use", "know_commits", "known_material", "reach", "shelf_of"]
