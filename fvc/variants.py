"""Variants: plans that depart from a saved revision and ask a question; what became of each.

A variant is a whole plan in a file of its own. It names its parent, and keeps git's id of the
parent's text, which survives a rewritten history. Nothing here asks or prints; what is written is
given back as bytes, or saved through `saving`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from fvc.archive import Archive
from fvc.change.levels import LevelEdit
from fvc.compare.diff import Diff, diff
from fvc.errors import Fault, Refusal
from fvc.files.editor import edit_levels
from fvc.files.plans import read_plan
from fvc.files.toml_text import Path, TomlText
from fvc.files.variant_text import as_variant
from fvc.formula import VariantOf
from fvc.formulary import plan_path
from fvc.names import ID_LENGTH, printable, why_not_an_id
from fvc.reading import Reading, Side
from fvc.references import Reference, folder_reading, in_commit, in_folder, parent_of, parse_reference, resolve, with_side
from fvc.saving import saved_reading
from fvc.trial import Trial

OPEN, ADOPTED, SET_ASIDE = "open", "adopted", "set aside"


@dataclass(frozen=True, kw_only=True, eq=False)
class Variant:
    """A variant as it stands in the folder.

    about: its [variant] table. reading, parent: None where they cannot be read, with the reason in `problem`.
    moved_to: the revision that the formula has come to since, "" when its parent is still the last saved one.
    trials: batches made of it, the oldest first.
    """

    reference: Reference
    about: VariantOf | None
    reading: Reading | None
    parent: Reading | None
    moved_to: str = ""
    trials: tuple[Trial, ...] = ()
    problem: str = ""
    way_out: str = "mend its file"

    @property
    def id(self) -> str:
        """Its id, without that of the formula."""
        return self.reference.variant

    @property
    def change(self) -> Diff | None:
        """What differs from its parent; None where that cannot be told."""
        return None if self.reading is None or self.parent is None else diff(self.parent, self.reading, None)


def known_formula(archive: Archive, name: str) -> None:
    """Refuse a name that is no formula in the folder, with the nearest ones."""
    reference = parse_reference(name)
    if reference.ending or reference.variant:
        raise Refusal(f'"{printable(name)}" is not the name of a formula', next=f"write  {reference.name}")
    if name not in archive.now.formulas():
        raise Refusal(archive.now.no_plan(name))


def variants_of(archive: Archive, name: str, only: Sequence[str] = ()) -> list[Variant]:
    """The variants of a formula in the folder; `only` some of them. Refusal for a name that is not there."""
    known = archive.now.variants(name)
    for id in only:
        if id not in known:
            raise Refusal(archive.now.no_plan(name, id))
    tried = trials_by_plan(archive, name)
    return [_variant(archive, Reference(f"{name}/{id}", name, id), tried) for id in (only or known)]


def one_variant(archive: Archive, name: str, id: str) -> Variant:
    """One variant that can be read together with its parent. Refusal otherwise."""
    known_formula(archive, name)
    found = variants_of(archive, name, [id])[0]
    if found.reading is None:
        in_folder(archive, found.reference)  # says why
        raise Refusal(found.problem, next=found.way_out)
    return replace(found, reading=with_side(archive, found.reading, found.reference))


def _variant(archive: Archive, reference: Reference, tried: Mapping[str, tuple[Trial, ...]]) -> Variant:
    about, reading, parent, problem, moved, way = None, None, None, "", "", ""
    try:
        reading = folder_reading(archive, reference)
        about = reading.plan.variant
        parent = parent_of(archive, reading)
        moved = moved_to(archive, reference.name, parent)
        problem = reading.faults[0].message if reading.faults else ""
    except Refusal as refusal:
        problem, way = refusal.faults[0].message, refusal.faults[0].next
    return Variant(
        reference=reference,
        about=about,
        reading=reading,
        parent=parent,
        moved_to=moved,
        trials=tried.get(reference.plan_name, ()),
        problem=problem,
        way_out=way or "mend its file",
    )


def trials_by_plan(archive: Archive, name: str) -> dict[str, tuple[Trial, ...]]:
    """The batches of a formula and its variants, by the plan they were made from (`face-toner.4`, `face-toner/gum`), oldest first."""
    found: dict[str, list[Trial]] = {}
    for formula, id in archive.now.trials():
        if formula != name:
            continue
        try:
            trial = archive.now.trial(formula, id).value
        except Refusal:
            continue  # said where trials are the matter
        if trial is None:
            continue
        stated = trial.plan.partition(",")[0].strip()
        names = {stated, stated.partition(".")[0]} if "/" in stated else {stated}
        for each in names:
            found.setdefault(each, []).append(trial)
    return {plan: tuple(sorted(each, key=lambda t: t.id)) for plan, each in found.items()}


def moved_to(archive: Archive, name: str, parent: Reading) -> str:
    """The last saved state of a formula, as a reference, when its plan is another than `parent`'s; else ""."""
    last = saved_reading(archive, Reference(name, name))
    if last is None or parent.side.commit is None:
        return ""
    path = plan_path(name)
    assert last.side.commit is not None
    if archive.at(last.side.commit).source.key(path) == _text_id(archive, name, parent):
        return ""
    return saved_words(archive, name, last)


def _text_id(archive: Archive, name: str, parent: Reading) -> str | None:
    """Git's id of the text of a saved plan, under whatever name it had then."""
    assert parent.side.commit is not None
    source = archive.at(parent.side.commit).source
    path = plan_path(name)
    return source.key(path) or next((source.key(t.path) for t in archive.touches(path) if source.has(t.path)), None)


def saved_words(archive: Archive, name: str, saved: Reading) -> str:
    """How to refer to a saved plan: `face-toner.4`, or by its commit where it is no revision."""
    commit = saved.side.commit or ""
    if saved.plan.revision and not in_commit(archive, Reference(name, name), commit, plan_path(name)).side.later:
        return f"{name}.{saved.plan.revision}"
    return f"{name}.{commit[:8]}"


class Start(NamedTuple):
    """A plan that a variant may be made from: its text, and what the variant then names as its parent."""

    reading: Reading
    text: TomlText
    parent: str
    plan_id: str


def start_from(archive: Archive, text: str) -> Start:
    """The saved plan that `NAME`, `NAME.4` or `NAME/VARIANT` means as the start of a new variant.

    NAME alone is the last saved revision, and the folder must hold it unchanged. A variant in the folder gives its
    own lines, and its parent as the new one's. Raises Refusal when there is nothing saved to depart from.
    """
    reference = parse_reference(text)
    if reference.variant:
        reading = resolve(archive, text)
        about = reading.plan.variant
        if about is None:
            raise Refusal(f"{reference.plan_name} has no [variant] table", next="start from a revision of the formula")
        data = (archive.at(reading.side.commit) if reading.side.commit else archive.now).source.read(reference.path)
        assert data is not None
        return Start(reading, TomlText(data, reference.path), about.parent, about.plan_id)
    if not reference.ending:
        reading = in_folder(archive, reference)
        _ = archive.repository
        last = saved_reading(archive, reference)
        if last is None:
            raise Refusal(
                f"{reference.name} was never saved, so there is no revision to depart from",
                next=f"fvc revise {reference.name} --reason TEXT",
            )
        if not archive.unchanged(archive.at(last.side.commit or ""), reference.path):
            raise Refusal(
                f"{reference.name} has changes that are not saved, and a variant departs from a saved revision",
                next=f"save them:  fvc revise {reference.name} --reason TEXT;  or start from what was saved:  {saved_words(archive, reference.name, last)}",
            )
    else:
        last = resolve(archive, text)
    commit = last.side.commit
    assert commit is not None
    source = archive.at(commit).source
    path = reference.path if source.has(reference.path) else next(t.path for t in archive.touches(reference.path) if source.has(t.path))
    data = source.read(path)
    assert data is not None
    return Start(last, TomlText(data, reference.path), saved_words(archive, reference.name, last), source.key(path) or "")


def check_free(archive: Archive, name: str, ids: Sequence[str]) -> None:
    """Refuse ids that no variant can have, or that one has already, with what is free."""
    taken = archive.now.variants(name)
    faults = []
    for id in ids:
        reason = why_not_an_id(id)
        if reason:
            faults.append(Fault(f'"{printable(id)}" cannot be the id of a variant: {reason}', next="for example  less-scent"))
        elif id in taken:
            free = next(f"{id[: ID_LENGTH - 4]}-{n}" for n in range(2, 1000) if f"{id[: ID_LENGTH - 4]}-{n}" not in taken)
            faults.append(Fault(f"{name} has a variant {id} already", file=plan_path(name, id), next=f"choose another id, such as {free}"))
    if faults:
        raise Refusal(faults)


def variant_text(
    start: Start, question: str, expect: str = "", edits: Sequence[LevelEdit] = (), values: Mapping[Path, object] | None = None
) -> bytes:
    """The file of a new variant: the start's text with edits, asking a question. Refusal for an empty question."""
    asked = " ".join(question.split())
    if not asked:
        raise Refusal("a variant asks a question, and this one is empty", next='for example  --question "Does it feel less sticky?"')
    about = VariantOf(start.parent, start.plan_id, asked, " ".join(expect.split()), OPEN)
    own = start.reading.plan.variant
    changed = dict(values or {})
    if ("status",) in start.text.layout.places:
        changed["status",] = "idea"
    if own is not None:
        changed |= {("variant", "question"): asked, ("variant", "state"): OPEN}
        if about.expect or own.expect:
            changed["variant", "expect"] = about.expect or None
        if own.because:
            changed["variant", "because"] = None
    data = edit_levels(start.text, edits, revision=0, values=changed)
    return data if own is not None else as_variant(TomlText(data, start.text.name), about)


def read_variant(archive: Archive, name: str, id: str, data: bytes) -> Reading:
    """A variant's text read against the records in the folder. Refusal when it does not close."""
    reference = Reference(f"{name}/{id}", name, id)
    reading = archive.now.read(read_plan(data, reference.path, id, variant=True), Side(reference.plan_name, None, 0, False))
    if not reading.sound:
        raise Refusal(reading.faults)
    return reading


def set_aside_text(variant: Variant, old: bytes, because: str) -> bytes:
    """The file of a variant as set aside, with the reason. Refusal for an empty reason, or one that was adopted."""
    why = " ".join(because.split())
    if not why:
        raise Refusal("why is it set aside?", next='say it in a few words:  --reason "spits from day 3"')
    if variant.about and variant.about.state == SET_ASIDE:
        raise Refusal(
            f"{variant.reference.plan_name} is set aside already: {variant.about.because or 'no reason given'}", next="its reason stays"
        )
    if variant.about and variant.about.state == ADOPTED:
        raise Refusal(
            f"{variant.reference.plan_name} was adopted, so it is part of the formula", next="change the formula, or adopt another"
        )
    source = TomlText(old, variant.reference.path)
    return edit_levels(source, (), values={("variant", "state"): SET_ASIDE, ("variant", "because"): why})
