"""Commands that change a plan or save it: set, revise. The net change is shown first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.change.levels import LevelEdit, edits_for
from fvc.cli.parsing import AsJson, BatchSize, Density, batch_of, interactive, open_archive, print_json, warn
from fvc.cli.proposal import Reason, Save, check_can_change, draft_of, folder_reference, settle, show_saved
from fvc.errors import EXIT_DONE
from fvc.reading import Reading
from fvc.references import in_folder
from fvc.saving import revise as save_revision
from fvc.saving import settings_unsaved

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
    save: Save = False,
    reason: Reason = "",
    free: Annotated[bool, typer.Option("--free", help="Give a line that a ratio or the balance holds a level of its own.")] = False,
    batch: BatchSize = "",
    density: Density = "",
    as_json: AsJson = False,
) -> int:
    """Change levels of a plan. The balance and the ratios follow; comments and order stay; nothing is rescaled."""
    draft = draft_of(open_archive(), name)
    check_can_change(draft)
    before = draft.before
    grams, _ = batch_of(before, batch, density) if before.sound or not batch else (None, "")
    edits = edits_for(before, changes, decimals=draft.archive.now.settings().decimals, batch=grams, free=free, known=draft.known)
    return settle(
        draft,
        edits,
        save=save,
        reason=reason,
        batch=batch,
        density=density,
        as_json=as_json,
        notes=lambda after: _placed(before, after, edits),
    )


def _placed(before: Reading, after: Reading, edits: Sequence[LevelEdit]) -> list[str]:
    """What is worth saying of lines that were added."""
    notes = []
    for edit in edits:
        if edit.adds and sum(line.material == edit.material for line in after.plan.lines) > 1:
            notes.append(f"{edit.material} now stands in more than one phase")
        if edit.adds and not any(phase.name == edit.phase for phase in before.plan.phases):
            notes.append(f"phase {edit.phase} is new, behind the others")
    return notes


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
