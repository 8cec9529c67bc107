"""Lots on a screen: where one went, and what is in a batch."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.deviations import grams
from fvc.lots import Held, LotFound, Use
from fvc.show.screen import Screen, align, counted, grid
from fvc.show.trials import state
from fvc.trial import Trial


def lot(out: Screen, found: LotFound) -> None:
    """One lot: what the shelf says of it, and every batch it went into."""
    out.head(found.number, found.material)
    facts = []
    if found.record is not None:
        facts += [found.record.name] + ([f"from {found.record.supplier}"] if found.record.supplier else [])
    if found.lot is not None:
        facts += [f"received {found.lot.received}"] if found.lot.received else []
        facts += [f"use by {found.lot.use_by}"] if found.lot.use_by else []
        facts += [f"{grams(found.lot.grams)} g left by its record"] if found.lot.grams is not None else []
    if found.batch is not None:
        facts += [f"a batch made on {found.batch.made_on}"] + ([f"use by {found.batch.use_by}"] if found.batch.use_by else [])
    if facts:
        out.say(", ".join(facts), 2)
    uses(out, found.uses)


def uses(out: Screen, found: Sequence[Use]) -> None:
    """The batches that something went into."""
    if not found:
        out.say("It went into no batch.", 2)
        return
    direct = [u for u in found if not u.through]
    words = f"It went into {counted(len({u.trial.id for u in found}), 'batch').replace('batchs', 'batches')}"
    out.say(f"{words}{'' if len(direct) == len(found) else ', through premixes too'}:", 2)
    table = grid(("batch", "left"), ("made from", "left"), ("made", "left"), ("g", "right"), ("state", "left"))
    for use, amount in zip(found, align([grams(u.grams) for u in found]), strict=True):
        sale = ", for sale" if use.trial.for_sale else ""
        table.add_row(use.trial.id, use.trial.plan, str(use.trial.made_on or ""), amount, state(use.trial) + sale)
    out.table(table, 2)
    for use in found:
        if use.through:
            out.say(f"{use.trial.id}: in {', which is in '.join(reversed(use.through))}", 4)
        if use.past:
            out.say(f"{use.trial.id}: used after its last day, {use.past}", 4)


def inside(out: Screen, trial: Trial, held: Sequence[Held], went: Sequence[Use]) -> None:
    """One batch: every lot in it, and where it went itself."""
    out.head(trial.id, f"made from {trial.plan}")
    out.say(", ".join(part for part in (f"made on {trial.made_on}", f"by {trial.by}" if trial.by else "", state(trial)) if part), 2)
    table = grid(("material", "left"), ("lot", "left"), ("g", "right"), ("in", "left"))
    for h, amount in zip(held, align([grams(h.grams) for h in held]), strict=True):
        table.add_row(h.material, h.lot or "no lot noted", amount, " in ".join(reversed(h.through)))
    out.table(table, 2)
    out.print()
    uses(out, went)
