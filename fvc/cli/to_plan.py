"""`fvc trial to-plan`: what was made, written back as the next state of its plan or as a variant; shown first."""

from __future__ import annotations

from typing import Annotated

import typer

from fvc.bench import account
from fvc.change.made import made_into
from fvc.cli.parsing import AsJson, open_archive
from fvc.cli.proposal import Reason, Save, draft_of, settle
from fvc.deviations import grams
from fvc.errors import Refusal
from fvc.references import batch_reading, parse_reference
from fvc.trials import trial_named


def to_plan(
    trial_id: Annotated[str, typer.Argument(metavar="TRIAL", help="The batch.")],
    decimals: Annotated[int, typer.Option("--decimals", metavar="N", min=0, max=8, help="Decimals of the levels.")] = 2,
    as_variant: Annotated[
        str, typer.Option("--as", metavar="ID", help="Keep it as a variant of this id instead of changing the plan.")
    ] = "",
    question: Annotated[str, typer.Option("--question", metavar="TEXT", help="--as: what the variant asks.")] = "",
    expect: Annotated[str, typer.Option("--expect", metavar="TEXT", help="--as: what you expect of it.")] = "",
    save: Save = False,
    reason: Reason = "",
    as_json: AsJson = False,
) -> int:
    """Write what was made back as a plan, closed at a stated number of decimals: the next revision, or a variant with --as. Shown first."""
    archive = open_archive()
    trial = trial_named(archive, trial_id)
    made = batch_reading(archive, trial)
    if made.faults:
        raise Refusal(made.faults)
    reference = parse_reference(trial.plan_ref)
    draft = draft_of(archive, trial.plan_ref if as_variant else reference.plan_name)
    found = made_into(draft.before, made, decimals)
    missing = account(trial).unaccounted
    unaccounted = [f"{grams(missing)} g of the batch are unaccounted; no line is changed for it"] if missing and missing > 0 else []
    lead = [f"{trial.id} as made, at {decimals} decimals:"]
    notes = [*found.notes, *unaccounted]
    if as_variant:
        from fvc.cli.variants import keep_as_variant

        asked = question or f"Is {trial.id}, as it was made, the better one?"
        return keep_as_variant(draft, found.edits, as_variant, asked, expect, lead=lead, notes=notes, as_json=as_json)
    return settle(
        draft,
        found.edits,
        save=save,
        reason=reason,
        as_json=as_json,
        lead=lead,
        notes=lambda _: notes,
        extra={"trial": trial.id, "decimals": decimals, "notes": notes},
        instead="--as ID to keep it as a variant",
    )
