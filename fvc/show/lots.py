"""Lots on a screen: where one went, and what is in a batch."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fvc.amounts import ZERO
from fvc.deviations import grams
from fvc.lots import Held, Ledger, LotFound, Use
from fvc.show.screen import Screen, align, grid
from fvc.show.trials import state
from fvc.trial import Trial


def lot(out: Screen, found: LotFound) -> None:
    """One lot: what the shelf says of it, and every batch it went into."""
    out.head(found.number, found.material)
    facts = [found.record.name] if found.record else []
    facts += [f"from {found.record.supplier}"] if found.record and found.record.supplier else []
    facts += [f"received {found.lot.received}"] if found.lot and found.lot.received else []
    facts += [f"a batch made on {found.batch.made_on}"] if found.batch else []
    facts += [f"use by {found.use_by}"] if found.use_by else []
    if found.left is not None:
        facts.append(_left(found.left) if found.batch else f"{grams(found.left)} g left by its record")
    if facts:
        out.say(", ".join(facts), 2)
    if found.alike:
        out.say(f"Noted in other capitals too, and not counted here: {', '.join(found.alike)}", 2)
    uses(out, found.uses)


def _left(value: Fraction) -> str:
    return f"{grams(value)} g left" if value >= 0 else f"{grams(-value)} g more used than there was"


def _amount(value: Fraction | None) -> str:
    return "not known" if value is None else grams(value)


_ITSELF = "weighed itself"


def _way(each: Use | Held) -> str:
    """`in sto-260301-at-a, which is in pre-260302-at-a`."""
    return f"in {', which is in '.join(reversed(each.through))}" if each.through else _ITSELF


def _past(each: Use | Held) -> str:
    return f"{f' {_way(each)}' if each.through else ''}: used after its last day, {each.past}"


def uses(out: Screen, found: Sequence[Use]) -> None:
    """The batches that something went into, a row for each, and below them in which premixes it came."""
    if not found:
        out.say("It went into no batch.", 2)
        return
    by_batch: dict[str, list[Use]] = {}
    for use in found:
        by_batch.setdefault(use.trial.id, []).append(use)
    totals = [None if any(u.grams is None for u in each) else sum((u.grams or ZERO for u in each), ZERO) for each in by_batch.values()]
    many = "1 batch" if len(by_batch) == 1 else f"{len(by_batch)} batches"
    out.say(f"It went into {many}{', through premixes too' if any(u.through for u in found) else ''}:", 2)
    table = grid(("batch", "left"), ("made from", "left"), ("made", "left"), ("g", "right"), ("state", "left"))
    ways: dict[str, list[str]] = {_ITSELF: []}
    makers: dict[str, None] = {}
    for (id, each), amount in zip(by_batch.items(), align([_amount(t) for t in totals]), strict=True):
        trial = each[0].trial
        table.add_row(id, trial.plan, str(trial.made_on or ""), amount, state(trial) + (", for sale" if trial.for_sale else ""))
        if trial.by:
            makers[f"{trial.by} ({id.rpartition('-')[0].rpartition('-')[2] or id})"] = None  # a name is too wide for a column
        for use in each:
            ways.setdefault(_way(use), []).append(f"{id} ({_amount(use.grams)} g)" if len(each) > 1 and use.grams is not None else id)
    out.table(table, 2)
    if any(u.through for u in found):
        for way, ids in ways.items():
            if ids:
                out.say(f"{way}: {', '.join(ids)}", 4)
    for use in found:
        if use.past:
            out.say(f"{use.trial.id}{_past(use)}", 4)
    if makers:
        out.say(f"Made by {', '.join(makers)}", 2)


def inside(out: Screen, ledger: Ledger, trial: Trial) -> None:
    """One batch: every lot in it, and where it went itself."""
    held = ledger.held(trial.id)
    left = ledger.left(trial.id) if ledger.is_premix(trial) else None
    out.head(trial.id, f"made from {trial.plan}")
    facts = [f"made on {trial.made_on}" if trial.made_on else "", f"by {trial.by}" if trial.by else "", state(trial)]
    facts += ["for sale" if trial.for_sale else "", f"use by {trial.use_by}" if trial.use_by else ""]
    facts += [_left(left) if left is not None and held else ""]
    out.say(", ".join(f for f in facts if f), 2)
    if held:
        table = grid(("material", "left"), ("lot", "left"), ("g", "right"), ("came in", "left"))
        for h, amount in zip(held, align([_amount(h.grams) for h in held]), strict=True):
            table.add_row(h.material, h.lot or "no lot noted", amount, " in ".join(reversed(h.through)))
        out.table(table, 2)
    else:
        out.say("Nothing was weighed into it.", 2)
    for h in held:
        if h.past:
            out.say(f"{h.material}, lot {h.lot}{_past(h)}", 4)
    out.print()
    uses(out, ledger.uses(trial.id))
