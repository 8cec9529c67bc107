"""A change of a plan that is shown first and written only when told: what set, swap and retotal share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace as altered
from fractions import Fraction
from typing import Annotated, Any, NamedTuple

import typer

from fvc.amounts import shown
from fvc.archive import Archive
from fvc.change.levels import LevelEdit, room
from fvc.cli.parsing import batch_of, confirmed, interactive, print_json, screen, warn, with_bill
from fvc.compare.diff import diff as compare
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.files.editor import edit_levels
from fvc.files.plans import read_plan
from fvc.files.toml_text import TomlText
from fvc.files.writer import replace, replaced, writing
from fvc.formulary import Formulary, material_path
from fvc.material import Material
from fvc.names import printable, suggestion
from fvc.reading import Reading
from fvc.references import Reference, commit_of, in_commit, in_folder, parse_reference
from fvc.saving import Saved, ready_to_save, saved_reading
from fvc.saving import revise as save_revision
from fvc.sources import OverlaidSource

Save = Annotated[bool, typer.Option("--save", help="Write the change into the plan without asking.")]
Reason = Annotated[str, typer.Option("--reason", metavar="TEXT", help="Write it, and save a revision with this reason.")]


class Draft(NamedTuple):
    """A plan that a change is tried on: the folder's, or a saved one, which can be shown or kept as a variant but not changed.

    moment: the formulary that it is read in. text: its file.
    """

    archive: Archive
    reference: Reference
    moment: Formulary
    before: Reading
    text: TomlText

    @property
    def known(self) -> list[str]:
        """What may be named in a line: materials, and other formulas."""
        return [*self.moment.materials(), *(f for f in self.moment.formulas() if f != self.reference.name)]

    def materials(self, ids: Sequence[str]) -> dict[str, Material]:
        """Those of the plan, and these. Refusal for one that is unknown or cannot be read."""
        found = dict(self.before.materials)
        for id in ids:
            if id not in found:
                if id not in self.known:
                    hint = suggestion(id, self.known, f"make its record with  fvc new material {printable(id)}")
                    raise Refusal(f'unknown material "{printable(id)}"', next=hint)
                material, faults, _ = self.moment.ingredient(id)
                if material is None:
                    raise Refusal(faults)
                found[id] = material
        return found

    def knowing(self, ids: Sequence[str]) -> Draft:
        """The same plan, in a moment that also has today's records of these materials, where it is an old one that lacks them."""
        today = self.archive.now.source
        late = [material_path(id) for id in ids if id not in self.known and today.has(material_path(id))]
        if not late:
            return self
        files = {path: data for path in late if (data := today.read(path)) is not None}
        return self._replace(moment=Formulary(OverlaidSource(self.moment.source, files)))

    def proposed(self, edits: Sequence[LevelEdit]) -> tuple[bytes, Reading]:
        """The file with edits, and what it says. Refusal when it does not close."""
        data = edit_levels(self.text, edits)
        parsed = read_plan(data, self.text.name, self.before.plan.id, variant=bool(self.reference.variant))
        after = self.moment.read(parsed, self.before.side)
        if not after.sound:
            left = [Fault(room(self.before))] if self.before.closure.closed and not after.closure.closed else []
            raise Refusal([*after.faults, *left])
        return data, after


def draft_of(archive: Archive, name: str) -> Draft:
    """A plan to try a change on: `NAME`, `NAME.4`, `NAME/VARIANT`. Refusal for one that was made or does not exist."""
    reference = parse_reference(name)
    if reference.ending:
        commit, path = commit_of(archive, reference)
        moment, before = archive.at(commit), in_commit(archive, reference, commit, path)
    else:
        moment, before, path = archive.now, in_folder(archive, reference), reference.path
    data = moment.source.read(path)
    assert data is not None
    return Draft(archive, reference, moment, before, TomlText(data, path))


def folder_reference(name: str) -> Reference:
    """A reference to a plan in the folder; Refusal for a saved state, which cannot be changed."""
    reference = parse_reference(name)
    if reference.ending:
        raise Refusal(f"{name} is a saved state and stays as it is", next=f"change the plan in the folder: {reference.plan_name}")
    return reference


def check_can_change(draft: Draft) -> None:
    """Refuse to change a saved state, or a plan that was saved as locked."""
    reference = folder_reference(draft.reference.text)
    saved = saved_reading(draft.archive, reference)
    if saved is not None and saved.plan.status == "locked":
        raise Refusal(
            f"{reference.plan_name} is locked as revision {saved.plan.revision}",
            next='save it with status = "chosen" first, or keep the change as a variant of its own',
        )


def settle(
    draft: Draft,
    edits: Sequence[LevelEdit],
    *,
    save: bool,
    reason: str,
    batch: str = "",
    density: str = "",
    as_json: bool = False,
    lead: Sequence[str] = (),
    notes: Callable[[Reading], Sequence[str]] | None = None,
    extra: dict[str, Any] | None = None,
    instead: str = "",
) -> int:
    """Show the net change of edits, ask in a terminal, write when told.

    lead: sentences before the table. notes: sentences behind it, by the plan as it would be. extra: keys added
    to the JSON. instead: another way to keep it, said where nothing was written.
    """
    archive, reference, before = draft.archive, draft.reference, draft.before
    path, old = draft.text.name, draft.text.data
    if save or reason.strip():
        check_can_change(draft)
    new, after = draft.proposed(edits)
    if reason.strip():
        ready_to_save(archive)
    earlier = saved_reading(archive, reference) if reason.strip() else None
    goes_along = earlier is not None and bool(compare(earlier, before, None).different)
    after = altered(after, side=after.side._replace(saved=after.side.saved and new == old, later=False))
    result = with_bill(archive, compare(earlier or before, after, _grams(after, batch, density)), earlier or before, after, cautions=True)
    told = bool(save or reason.strip())  # then it is written before it is shown, so that no closed pipe can come between
    saved: Saved | None = None

    def write() -> bool:
        nonlocal saved
        if reason.strip():
            with writing(archive.lock_folder), replaced(archive.root / path, new, old, path, archive.repository.git_dir):
                saved = save_revision(Archive.open(archive.root), reference, reason, locked=True)
            return saved is not None
        if new != old:
            with writing(archive.lock_folder):
                replace(archive.root / path, new, old, path)
        return new != old

    written = write() if told else False
    if not as_json:
        from fvc.show import differences

        for sentence in lead:
            say(sentence)
        differences.diff(screen(), result, proposed=True)
        for sentence in [*rounded_notes(edits), *(notes(after) if notes else ())]:
            say(sentence)
        if goes_along:
            say("Changes made before and not saved yet are among these, and will be saved with the same reason.")
        if not told and new != old and interactive() and not reference.ending:
            check_can_change(draft)
            written = confirmed("write this into the plan?") and write()
    if as_json:
        from fvc.show import data

        print_json(data.diff(result, saved=written) | (extra or {}))
    elif new == old:
        say("The plan says this already; nothing to write.")
    elif not written:
        ways = ["--save to write it", "--reason TEXT to save a revision as well", *([instead] if instead else [])]
        if reference.ending:
            ways = [instead] if instead else ["nothing: a saved state stays as it is"]
        say(f"Nothing was written. Add {', or '.join(ways)}.")
    else:
        say(
            f"Written to {path}."
            + ("" if reason.strip() else f" Not saved as a revision yet: fvc revise {reference.plan_name} --reason TEXT")
        )
    if not as_json and reason.strip():
        show_saved(saved, reference.plan_name)
    warn(after.warnings)
    return EXIT_DONE


def _grams(reading: Reading, batch: str, density: str) -> Fraction | None:
    return batch_of(reading, batch, density)[0]


def rounded_notes(edits: Sequence[LevelEdit]) -> list[str]:
    """What was rounded away, in words, a sentence a line."""
    return [
        f"{edit.material}: rounded to {edit.level.text if edit.level else ''}, {shown(abs(edit.rounded), 4, 8)} points away from exact"
        for edit in edits
        if edit.rounded
    ]


def say(text: str) -> None:
    """A sentence for a person, to stdout behind the table it belongs to."""
    screen().say(text)


def show_saved(result: Saved | None, name: str) -> None:
    """Say what was saved, and which other plans it concerns."""
    out = screen()
    if result is None:
        out.print(f"Nothing to save: {name} and the records it uses are as last saved.")
        return

    from fvc.compare.summary import net_change

    out.head(f"Saved {result.name} revision {result.revision}", result.commit[:8])
    if result.renamed_from:
        out.say(f"renamed from {result.renamed_from}, with its history", 2)
    change = result.change
    words = net_change(change.lines, change.materials_changed, change.text) if change else ["first saved plan"]
    for word in words:
        out.say(word, 2)
    records = [p.removeprefix("materials/").removesuffix(".toml") for p in result.paths if p.startswith("materials/")]
    if records:
        out.say(f"with the material records {', '.join(records)}")
    if result.others:
        out.say(
            f"what was saved is also used in {', '.join(result.others)}: look with  fvc diff {result.others[0].split('/')[0] if len(result.others) == 1 else 'NAME'}"
        )
