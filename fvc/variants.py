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
from fvc.files.writer import replaced
from fvc.formula import VariantOf
from fvc.formulary import plan_path
from fvc.names import ID_LENGTH, printable, why_not_an_id
from fvc.reading import Reading, Side
from fvc.references import (
    Reference,
    folder_reading,
    in_commit,
    in_folder,
    parent_of,
    parse_reference,
    path_at,
    resolve,
    trials_by_plan,
    with_side,
)
from fvc.saving import Saved, ready_to_save, revise, saved_reading
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
    last = None if isinstance(archive.found, Fault) else saved_reading(archive, Reference(name, name))
    return [_variant(archive, Reference(f"{name}/{id}", name, id), tried, last) for id in (only or known)]


def one_variant(archive: Archive, name: str, id: str) -> Variant:
    """One variant that can be read together with its parent. Refusal otherwise."""
    known_formula(archive, name)
    found = variants_of(archive, name, [id])[0]
    if found.reading is None:
        in_folder(archive, found.reference)  # says why
        raise Refusal(found.problem, next=found.way_out)
    return replace(found, reading=with_side(archive, found.reading, found.reference))


def _variant(archive: Archive, reference: Reference, tried: Mapping[str, tuple[Trial, ...]], last: Reading | None) -> Variant:
    about, reading, parent, problem, moved, way = None, None, None, "", "", ""
    try:
        reading = folder_reading(archive, reference)
        about = reading.plan.variant
        parent = parent_of(archive, reading)
        moved = moved_to(archive, reference.name, parent, last)
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


def moved_to(archive: Archive, name: str, parent: Reading, last: Reading | None) -> str:
    """The last saved state of a formula, as a reference, when its plan is another than `parent`'s; else ""."""
    if last is None or parent.side.commit is None or saved_text(archive, name, last)[1] == saved_text(archive, name, parent)[1]:
        return ""
    return saved_words(archive, name, last)


def saved_text(archive: Archive, name: str, saved: Reading) -> tuple[bytes, str]:
    """The text of a saved plan, under whatever name it had then, and git's id of it."""
    commit = saved.side.commit or ""
    source = archive.at(commit).source
    path = path_at(archive, plan_path(name), commit)
    return source.read(path) or b"", source.key(path) or ""


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
    data, id = saved_text(archive, reference.name, last)
    return Start(last, TomlText(data, reference.path), saved_words(archive, reference.name, last), id)


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


def check_open(variant: Variant) -> None:
    """Refuse a variant that was adopted or set aside: it stays as it was tried."""
    about = variant.about
    if about is not None and about.state != OPEN:
        raise Refusal(
            f"{variant.reference.plan_name} is {about.state} already{f': {about.because}' if about.because else ''}",
            next=f'it stays as it was tried; to take it up again, write  state = "open"  into {variant.reference.path}',
        )


def set_aside(archive: Archive, variant: Variant, because: str) -> Saved | None:
    """Set a variant aside with its reason, as a saved revision; None where it cannot be made any more and only its file is saved.

    The caller holds the writers' lock. Refusal for an empty reason or one that is not open; when it cannot be saved, the file is as it was.
    """
    why = " ".join(because.split())
    if not why:
        raise Refusal("why is it set aside?", next='say it in a few words:  --reason "spits from day 3"')
    check_open(variant)
    ready_to_save(archive)
    path, repository = variant.reference.path, archive.repository
    old = archive.now.source.read(path) or b""
    new = edit_levels(TomlText(old, path), (), values={("variant", "state"): SET_ASIDE, ("variant", "because"): why})
    with replaced(archive.root / path, new, old, path, repository.git_dir):
        if variant.reading is not None and variant.reading.sound:
            return revise(Archive.open(archive.root), variant.reference, f"set aside: {why}", locked=True)
        repository.save([repository.prefix + path], f"{variant.reference.plan_name}: set aside: {why}\n")
        return None
