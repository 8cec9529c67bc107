"""Adopting a variant: it becomes the next revision of its formula, with what it asked and what was tried in the reason."""

from __future__ import annotations

from typing import NamedTuple

from fvc.archive import Archive
from fvc.errors import Refusal
from fvc.files.editor import edit_levels
from fvc.files.plans import read_plan
from fvc.files.toml_text import Path, TomlText
from fvc.files.variant_text import as_formula, lost_comments
from fvc.files.writer import replaced
from fvc.reading import Reading, Side
from fvc.references import Reference
from fvc.saving import Saved, ready_to_save, revise, saved_reading
from fvc.variants import ADOPTED, Variant, check_open, one_variant


class Adoption(NamedTuple):
    """A variant about to become the next revision: the formula's new text, the variant's, and the reason. lost: comments of the formula that go."""

    variant: Variant
    formula: bytes
    old_formula: bytes
    kept: bytes
    old_kept: bytes
    reason: str
    after: Reading
    lost: tuple[str, ...] = ()


def adoption(archive: Archive, name: str, id: str, because: str = "") -> Adoption:
    """What adopting a variant would do.

    Refusal when it does not close, was adopted or set aside before, or the formula is locked, has unsaved changes, or has moved on.
    """
    variant = one_variant(archive, name, id)
    reading, about, parent = variant.reading, variant.about, variant.parent
    assert reading is not None
    _ = archive.repository
    if not reading.sound:
        raise Refusal(reading.faults)
    if about is None or parent is None:
        raise Refusal(variant.problem, next=variant.way_out)
    check_open(variant)
    formula = Reference(name, name)
    last = saved_reading(archive, formula)
    if last is None or last.side.commit is None:
        raise Refusal(f"{name} was never saved", next=f"fvc revise {name} --reason TEXT")
    if last.plan.status == "locked":
        raise Refusal(f"{name} is locked as revision {last.plan.revision}", next='save it with status = "chosen" first')
    if not archive.unchanged(archive.at(last.side.commit), formula.path):
        raise Refusal(
            f"{name} has changes that are not saved, and adopting would write over them; nothing was changed",
            next=f"save them:  fvc revise {name} --reason TEXT,  then  fvc variant carry {name} {id};  or put them back",
        )
    if variant.moved_to:
        raise Refusal(
            f"{name}/{id} departs from {about.parent}, and {name} has moved on to {variant.moved_to}: adopting it now would take that back",
            next=f"bring it along first:  fvc variant carry {name} {id}",
        )
    old_formula, old_kept = (archive.now.source.read(p) for p in (formula.path, variant.reference.path))
    assert old_formula is not None
    assert old_kept is not None
    source = TomlText(old_formula, formula.path)
    mine = TomlText(old_kept, variant.reference.path)
    bare = TomlText(as_formula(mine, source), formula.path)
    stays: dict[Path, object] = {
        (k,): source.values.get(k) for k in ("title", "code", "status") if source.values.get(k) != bare.values.get(k)
    }
    text = edit_levels(bare, (), revision=last.plan.revision, values=stays)
    reason = _reason(variant, because)
    kept = edit_levels(mine, (), values={("variant", "state"): ADOPTED, ("variant", "because"): reason})
    after = archive.now.read(read_plan(text, formula.path, name), Side(name, None, last.plan.revision, False))
    if not after.sound:
        raise Refusal(after.faults)
    if any(m.holds("preservative") for m in last.materials.values()) and not any(m.holds("preservative") for m in after.materials.values()):
        raise Refusal(
            f"{name}/{id} has no preservative and {name} has: it is not for use, so it is not adopted",
            next=f"if that is what you mean, take it out of the formula itself:  fvc set {name} MATERIAL=none --reason TEXT",
        )
    return Adoption(variant, text, old_formula, kept, old_kept, reason, after, tuple(lost_comments(source, TomlText(text, formula.path))))


def _reason(variant: Variant, because: str) -> str:
    """Question, verdict and trials of a variant as the reason of the revision that it becomes."""
    about = variant.about
    assert about is not None
    parts = [f"{variant.id} adopted" + (f": {because.strip()}" if because.strip() else "")]
    parts.append(f'asked: "{about.question}"')
    if about.expect:
        parts.append(f'expected: "{about.expect}"')
    verdicts = [f"{t.verdict} ({t.id})" for t in variant.trials if t.verdict]
    if verdicts:
        parts.append(f"verdict: {', '.join(verdicts)}")
    open_ones = [t.id for t in variant.trials if not t.verdict]
    if open_ones:
        parts.append(f"trials: {', '.join(open_ones)}")
    if not variant.trials:
        parts.append("no trial on record")
    return " ".join("; ".join(parts).split())


def adopt(archive: Archive, found: Adoption) -> Saved:
    """Carry an adoption out: one commit with the formula, the variant and the records. The caller holds the writers' lock.

    When it cannot be saved, both files are as they were.
    """
    ready_to_save(archive)
    formula, kept = Reference(found.variant.reference.name, found.variant.reference.name), found.variant.reference.path
    git_dir = archive.repository.git_dir
    with replaced(archive.root / kept, found.kept, found.old_kept, kept, git_dir):
        if found.formula == found.old_formula:  # it changed nothing: the formula is what it was, and says that this was tried
            saved = revise(Archive.open(archive.root), found.variant.reference, found.reason, locked=True)
        else:
            with replaced(archive.root / formula.path, found.formula, found.old_formula, formula.path, git_dir):
                saved = revise(Archive.open(archive.root), formula, found.reason, locked=True, also=[kept])
    assert saved is not None
    return saved
