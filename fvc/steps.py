"""What comes next at the bench: the steps of a batch worked out from its record, so that a session resumes where it was.

| number | step | when |
|---|---|---|
| 1 | left | the last thing written is that a phase was poured: what stayed on its beaker |
| 2 | put back | the last thing written is what evaporated by the vessel: what is put back of it |
| 3 | weigh | a line of the sheet is neither weighed to its target nor left out |
| 4 | vessel | a phase that is to be heated is complete, and its vessel was not weighed since |
| 5 | heat | such a phase, nothing of a later one is in, and nothing says that it was heated |
| 6 | after | the phase was heated, its vessel stood on the scale before and not since, and nothing of a later one is in |
| 7 | cool | a phase goes in below a temperature, and nothing says that it has come down: the first phase before it is weighed, a later one before it is poured |
| 8 | pour | a later phase is complete and stands in a beaker of its own |
| 9 | open | an open line of the sheet, to be found at the bench |
| 10 | bulk | the finished product was not weighed |

What was passed over in a session is not asked again in it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from fvc.bench import Target, beakers_apart, targets
from fvc.formula import Phase
from fvc.trial import Entry, Trial, in_force

LEFT, PUT_BACK, WEIGH, VESSEL, HEAT, AFTER = "left", "put back", "weigh", "vessel", "heat", "after"
COOL, POUR, OPEN_LINE, BULK = "cool", "pour", "open", "bulk"


class Step(NamedTuple):
    """The next thing to do. line: of a weighing. place, of: which line of its phase it is, counted from 1. entry: what it follows from."""

    kind: str
    phase: str = ""
    line: Target | None = None
    place: int = 0
    of: int = 0
    entry: str = ""

    @property
    def name(self) -> str:
        """What tells this step from others, for those that were passed over."""
        return f"{self.kind} {self.phase} {self.line.material if self.line else ''} {self.entry}"


def next_step(trial: Trial, passed: Collection[str] = ()) -> Step | None:
    """The next step of a batch; None when there is none left. passed: names of steps that were passed over."""
    behind = _behind(written(trial))
    if behind is not None and behind.name not in passed:
        return behind
    lines = targets(trial)
    order = list(dict.fromkeys(t.phase for t in lines))
    done = {(e.action, e.subject) for e in in_force(trial.entries)}
    known = {p.name: p for p in trial.phases}
    begun = {t.phase for t in lines if t.weighed}
    for position, name in enumerate(order):
        own = [t for t in lines if t.phase == name and not t.open]
        about = known.get(name, Phase(name))
        cool = Step(COOL, name)
        warm = bool(about.add_below) and ("cooled", name) not in done and cool.name not in passed
        waiting = next((t for t in own if not t.settled), None)
        if waiting is not None:
            if warm and not position and name not in begun:
                return cool
            return Step(WEIGH, name, waiting, own.index(waiting) + 1, len(own))
        if name in begun and not any(p in begun for p in order[position + 1 :]):
            for step in _heating(trial, about, ("heated", name) in done):
                if step.name not in passed:
                    return step
        pour = Step(POUR, name)
        apart = set(beakers_apart(trial))  # into the first phase of the sheet that is there, whichever was begun first
        if name in apart and name != next(p for p in order if p in apart) and pour.name not in passed:
            return cool if warm else pour
    for line in lines:
        step = Step(OPEN_LINE, line.phase, line)
        if line.open and not line.settled and step.name not in passed:
            cool = Step(COOL, line.phase)
            warm = bool(known.get(line.phase, Phase("")).add_below) and ("cooled", line.phase) not in done and cool.name not in passed
            return cool if warm else step
    bulk = Step(BULK)
    if begun and not any(action == "bulk" for action, _ in done) and bulk.name not in passed:
        return bulk
    return None


def written(trial: Trial) -> list[Entry]:
    """The entries that count, in the order in which they were written, without notes: the last one says where a session stood."""
    corrected = {e.corrects for e in trial.entries}
    return [e for e in trial.entries if e.action != "noted" and e.id not in corrected]


def _behind(entries: Sequence[Entry]) -> Step | None:
    """What is asked behind the entry that was written last."""
    if not entries:
        return None
    last = entries[-1]
    if last.action == "combined":
        return Step(LEFT, last.subject, entry=last.id)
    if last.action == "lost" and last.phase and [e.action for e in entries[-2:-1] if e.subject == last.phase] == ["vessel"]:
        return Step(PUT_BACK, last.phase, entry=last.id)
    return None


def _heating(trial: Trial, about: Phase, heated: bool) -> list[Step]:
    """What a complete phase still wants by its heating, in order."""
    stood = [e.action for e in in_force(trial.entries) if e.subject == about.name and e.action in ("vessel", "heated")]
    if about.heat and not heated:
        return [*([] if stood else [Step(VESSEL, about.name)]), Step(HEAT, about.name)]
    return [Step(AFTER, about.name)] if stood[-2:] == ["vessel", "heated"] else []
