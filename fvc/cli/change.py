"""Commands that change a plan or save it: set, revise. The net change is shown first."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from fvc.amounts import shown
from fvc.archive import Archive
from fvc.change.levels import LevelEdit, edits_for, room
from fvc.cli.parsing import (
    AsJson,
    BatchSize,
    Density,
    batch_of,
    confirmed,
    interactive,
    open_archive,
    print_json,
    screen,
    warn,
    with_bill,
)
from fvc.compare.diff import Diff
from fvc.compare.diff import diff as compare
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.files.editor import edit_levels
from fvc.files.plans import read_plan
from fvc.files.toml_text import TomlText
from fvc.files.writer import replace, replaced, writing
from fvc.reading import Reading
from fvc.references import Reference, in_folder, parse_reference
from fvc.saving import Saved, ready_to_save, saved_reading, settings_unsaved
from fvc.saving import revise as save_revision

Name = Annotated[str, typer.Argument(metavar="NAME", help="A formula, or NAME/VARIANT.")]


def set(  # the command's own word
    name: Name,
    changes: Annotated[
        list[str],
        typer.Argument(
            metavar="MATERIAL=LEVEL ...",
            help="=2.5, =+0.5, =-20%, =3.0g, =none, =balance, =open, '=4 x neroli-oil'; PHASE:MATERIAL=1.0 adds a line.",
        ),
    ],
    save: Annotated[bool, typer.Option("--save", help="Write the change into the plan without asking.")] = False,
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Write it, and save a revision with this reason.")] = "",
    free: Annotated[bool, typer.Option("--free", help="Give a line that a ratio or the balance holds a level of its own.")] = False,
    batch: BatchSize = "",
    density: Density = "",
    as_json: AsJson = False,
) -> int:
    """Change levels of a plan. The balance and the ratios follow; comments and order stay; nothing is rescaled."""
    archive = open_archive()
    reference = folder_reference(name)
    path = reference.path
    before = in_folder(archive, reference)
    check_not_locked(archive, reference)
    old = archive.now.source.read(path)
    assert old is not None
    grams, _ = batch_of(before, batch, density) if before.sound or not batch else (None, "")
    known = [*archive.now.materials(), *(f for f in archive.now.formulas() if f != reference.name)]
    edits = edits_for(before, changes, decimals=archive.now.settings().decimals, batch=grams, free=free, known=known)
    new = edit_levels(TomlText(old, path), edits)
    after = archive.now.read(read_plan(new, path, before.plan.id, variant=bool(reference.variant)), before.side)
    if not after.sound:
        raise Refusal([*after.faults, *_room(before, after)])
    if reason.strip():
        ready_to_save(archive)
    earlier = saved_reading(archive, reference) if reason.strip() else None
    goes_along = earlier is not None and bool(compare(earlier, before, None).different)
    after = _unsaved(after, new != old)
    result = with_bill(archive, compare(earlier or before, after, batch_of(after, batch, density)[0]), earlier or before, after)
    write = bool(save or reason.strip())
    if not as_json:
        _show(result, before, after, edits)
        if goes_along:
            print_note("Changes made before and not saved yet are among these, and will be saved with the same reason.")
        if not write and new != old and interactive():
            write = confirmed("write this into the plan?")
    saved: Saved | None = None
    if reason.strip():
        with writing(_lock_folder(archive)), replaced(archive.root / path, new, old, path, archive.repository.git_dir):
            saved = save_revision(Archive.open(archive.root), reference, reason, locked=True)
    elif write and new != old:
        with writing(_lock_folder(archive)):
            replace(archive.root / path, new, old, path)
    if as_json:
        from fvc.show import data

        print_json(data.diff(result, saved=saved is not None or (write and new != old)))
    elif new == old:
        print_note("The plan says this already; nothing to write.")
    elif not write:
        print_note("Nothing was written. Add --save to write it, or --reason TEXT to save a revision as well.")
    else:
        print_note(f"Written to {path}." + ("" if reason.strip() else f" Not saved as a revision yet: fvc revise {name} --reason TEXT"))
    if not as_json and reason.strip():
        show_saved(saved, reference.plan_name)
    warn(after.warnings)
    return EXIT_DONE


def _unsaved(reading: Reading, changed: bool) -> Reading:
    from dataclasses import replace as altered

    return altered(reading, side=reading.side._replace(saved=reading.side.saved and not changed, later=False))


def _room(before: Reading, after: Reading) -> list[Fault]:
    return [Fault(room(before))] if before.closure.closed and not after.closure.closed else []


def _show(result: Diff, before: Reading, after: Reading, edits: list[LevelEdit]) -> None:
    from fvc.show import differences

    differences.diff(screen(), result, proposed=True)
    for edit in edits:
        if edit.rounded:
            print_note(
                f"{edit.material}: rounded to {edit.level.text if edit.level else ''}, {shown(abs(edit.rounded), 4, 8)} points away from exact"
            )
        if edit.adds and sum(line.material == edit.material for line in after.plan.lines) > 1:
            print_note(f"{edit.material} now stands in more than one phase")
        if edit.adds and not any(phase.name == edit.phase for phase in before.plan.phases):
            print_note(f"phase {edit.phase} is new, behind the others")


def print_note(text: str) -> None:
    """A sentence for a person, to stdout behind the table it belongs to."""
    screen().say(text)


def folder_reference(name: str) -> Reference:
    """A reference to a plan in the folder; Refusal for a saved state, which cannot be changed."""
    reference = parse_reference(name)
    if reference.ending:
        raise Refusal(f"{name} is a saved state and stays as it is", next=f"change the plan in the folder: {reference.plan_name}")
    return reference


def check_not_locked(archive: Archive, reference: Reference) -> None:
    """Refuse to change a plan that was saved as locked."""
    saved = saved_reading(archive, reference)
    if saved is not None and saved.plan.status == "locked":
        raise Refusal(
            f"{reference.plan_name} is locked as revision {saved.plan.revision}",
            next='save it with status = "chosen" first, or keep the change as a variant of its own',
        )


def _lock_folder(archive: Archive) -> Path:
    """Git's own folder; without git one in the system's temporary folder, so that nothing is left among the plans."""
    if not isinstance(archive.found, Fault):
        return archive.found.common_dir
    folder = Path(tempfile.gettempdir()) / f"fvc-{os.getuid() if hasattr(os, 'getuid') else 'lock'}"
    folder.mkdir(exist_ok=True)
    return folder


def revise(
    name: Name,
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why, in a few words; it stays with the revision.")] = "",
    as_json: AsJson = False,
) -> int:
    """Save a revision: the plan and every changed or new material record that it reaches, with its reason."""
    archive = open_archive()
    reference = folder_reference(name)
    if not reason.strip() and interactive() and not as_json:
        in_folder(archive, reference)
        reason = input("why? ")
    result = save_revision(archive, reference, reason)
    if as_json:
        from fvc.show import data

        print_json(data.saved(result, reference.plan_name))
    else:
        show_saved(result, reference.plan_name)
    if result:
        warn(result.warnings)
        unsaved = settings_unsaved(Archive.open(archive.root))
        warn([unsaved] if unsaved else [], "by the way")
    return EXIT_DONE


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
