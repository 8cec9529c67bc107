"""A weight that misses its target: what it does to the batch, and the ways out with the grams of each.

| number | way | when it is offered |
|---|---|---|
| 1 | leave it | always |
| 2 | take some back | too much went in, its phase stands alone in its beaker, and was not stirred or heated since |
| 3 | add what is missing | too little went in |
| 4 | enlarge the batch | too much went in: every other line grows by the same factor |
| 5 | move it to the balance | the balance is not in yet, and can give or take the difference |

Nothing is chosen here, and nothing is recorded: the maker does that.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, brief, round_to, shown
from fvc.bench import Target, batch_now, step_of_scale, targets, with_entries
from fvc.material import Material
from fvc.scales import SLIP_ABOVE
from fvc.shelf import offer
from fvc.trial import Entry, Trial, in_force

LEAVE, TAKE_BACK, ADD, ENLARGE, BALANCE_GIVES = "leave", "take back", "add", "enlarge", "balance"

# A weight this many times above or below its target is more likely a wrong unit than a slip.
WILD = 3


class Portion(NamedTuple):
    """Grams of one line of the sheet."""

    phase: str
    material: str
    grams: Fraction


class WayOut(NamedTuple):
    """One way out of a slip. now: grams to add now (negative: to take back). later: new targets of lines not yet weighed.

    batch: the new batch size in grams, where it changes. against: what speaks against it, in words.
    """

    way: str
    now: tuple[Portion, ...] = ()
    later: tuple[Portion, ...] = ()
    batch: Fraction | None = None
    against: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Slip:
    """A line that missed its target. over: grams too much, negative when too little.

    planned, left: percent of the finished batch as planned, and if it is left and everything else is exact.
    others: by what factor every other line then moves.
    """

    target: Target
    over: Fraction
    planned: Fraction
    left: Fraction
    others: Fraction
    ways: tuple[WayOut, ...]


def tolerance(target: Fraction, step: Fraction, slip_above: Fraction = SLIP_ABOVE) -> Fraction:
    """Grams by which a weight may miss its target without a word: `slip_above` percent of it, and never less than one scale step."""
    return max(target * slip_above / HUNDRED, step)


def is_wild(grams: Fraction, target: Fraction | None) -> bool:
    """True for a weight so far from its target that it must be asked about: 1.5 kg where 1.5 g was meant."""
    return bool(target) and target is not None and (grams >= WILD * target or grams * WILD <= target)


def slip_of(
    trial: Trial,
    phase: str,
    material: str,
    *,
    balance: str,
    slip_above: Fraction = SLIP_ABOVE,
    stock: Mapping[str, Material] | None = None,
    density: Fraction | None = None,
    vessel: Fraction | None = None,
    today: datetime.date | None = None,
) -> Slip | None:
    """What a line that was weighed did, with the ways out; None when it is within tolerance, has no target, or is open.

    balance: the material of the balance, "" for a plan without one. stock: the records with the lots on the shelf.
    density: of the product in g/mL, taken as 1 where it is not known. vessel: mL that it holds.
    """
    lines = targets(trial)
    line = next((t for t in lines if (t.phase, t.material) == (phase, material)), None)
    batch, step = batch_now(trial), step_of_scale(trial, phase, material)
    if line is None or line.grams is None or line.open or not batch or line.weighed == 0:
        return None
    size = max(batch, line.grams)  # a target may have been set above the whole batch
    over = line.weighed - line.grams
    if abs(over) <= tolerance(line.grams, step, slip_above):
        return None
    ways = [WayOut(LEAVE)]
    if over > 0:
        if not _mixed(trial, phase):
            ways.append(WayOut(TAKE_BACK, (Portion(phase, material, -over),)))
        if line.grams > 0:
            ways.append(_enlarged(trial, line, size, stock or {}, density, vessel, today))
    else:
        ways.append(WayOut(ADD, (Portion(phase, material, -over),)))
    marked = {(a.phase, a.material) for a in trial.asked if a.balance}  # its material may stand in another phase too
    takes = [t for t in lines if t.material == balance and t.grams is not None and (not marked or (t.phase, t.material) in marked)]
    gives = takes[0] if takes else line
    rest = (gives.grams or ZERO) - over
    if gives != line and not gives.settled and round_to(rest, step_of_scale(trial, gives.phase, gives.material)) > gives.weighed:
        ways.append(WayOut(BALANCE_GIVES, later=(Portion(gives.phase, gives.material, rest),)))
    return Slip(
        target=line,
        over=over,
        planned=line.grams * HUNDRED / size,
        left=line.weighed * HUNDRED / (size + over),
        others=size / (size + over),
        ways=tuple(ways),
    )


def _mixed(trial: Trial, phase: str) -> bool:
    """True when a phase no longer stands alone in its beaker, or was stirred or heated since its last line went in."""
    done = [
        e.action
        for e in in_force(trial.entries)
        if (e.action == "weighed" and e.phase == phase) or (e.action in ("combined", "heated", "stirred") and phase in (e.subject, e.into))
    ]
    return "combined" in done or done[-1:] in (["heated"], ["stirred"])


def _enlarged(
    trial: Trial,
    line: Target,
    size: Fraction,
    stock: Mapping[str, Material],
    density: Fraction | None,
    vessel: Fraction | None,
    today: datetime.date | None,
) -> WayOut:
    assert line.grams
    factor = line.weighed / line.grams
    batch = round_to(size * factor, step_of_scale(trial))
    now, later = [], []
    needs: dict[str, Fraction] = {}
    # as the bench will ask for them once the batch is enlarged
    larger = Entry("", max(e.at for e in trial.entries), "enlarged", "batch", grams=batch)
    for other in targets(with_entries(trial, [larger])):
        if other.grams is None or (other.settled and not other.weighed):
            continue
        needs[other.material] = needs.get(other.material, ZERO) + max(other.grams, other.weighed)
        if other.settled or (other.phase, other.material) == (line.phase, line.material):
            continue
        if other.weighed:
            now.append(Portion(other.phase, other.material, other.missing))
        else:
            later.append(Portion(other.phase, other.material, other.grams))
    against = []
    for id, grams in needs.items():
        offered = offer(stock[id], grams, today) if today and id in stock else None
        if offered is not None and offered.short:
            against.append(f"{id}: {shown(grams, 2)} g needed, {shown(offered.short, 2)} g more than the shelf has")
    if vessel is not None and batch / (density or 1) > vessel:
        guess = "" if density else ", at 1 g/mL"
        against.append(f"the vessel holds {brief(vessel, 0)} mL, and this is {brief(batch / (density or 1), 0, 1)} mL{guess}")
    return WayOut(ENLARGE, tuple(now), tuple(later), batch, tuple(against))


def taken_back(trial: Trial, slip: Slip) -> Entry | None:
    """The last portion of a line from which as much can be taken as is too much; None where no one portion is so large."""
    line = slip.target
    portions = [e for e in in_force(trial.entries) if e.action in ("weighed", "added") and e.subject == line.material]
    own = [e for e in portions if (e.phase or line.phase) == line.phase]
    return next((e for e in reversed(own) if (e.grams or ZERO) > slip.over), None)
