"""What comes next at the bench: the steps of a batch worked out from its record, so that a session resumes where it was.

| number | step | when |
|---|---|---|
| 1 | cool | the next line's phase goes in below a temperature, and nothing says that it has come down yet |
| 2 | weigh | a line of the sheet is neither weighed to its target nor left out |
| 3 | heat | a phase that is to be heated is complete, nothing of a later one is in, and nothing says that it was heated |
| 4 | pour | a later phase is complete and stands in a beaker of its own |
| 5 | open | an open line of the sheet, to be found at the bench |
| 6 | bulk | the finished product was not weighed |

What was passed over in a session is not asked again in it.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from fvc.bench import Target, beakers_apart, targets
from fvc.formula import Phase
from fvc.trial import Trial, in_force

COOL, WEIGH, HEAT, POUR, OPEN_LINE, BULK = "cool", "weigh", "heat", "pour", "open", "bulk"


class Step(NamedTuple):
    """The next thing to do. line: of a weighing. place, of: which line of its phase it is, counted from 1."""

    kind: str
    phase: str = ""
    line: Target | None = None
    place: int = 0
    of: int = 0

    @property
    def name(self) -> str:
        """What tells this step from others, for those that were passed over."""
        return f"{self.kind} {self.phase} {self.line.material if self.line else ''}"


def next_step(trial: Trial, passed: Collection[str] = ()) -> Step | None:
    """The next step of a batch; None when there is none left. passed: names of steps that were passed over."""
    lines = targets(trial)
    order = list(dict.fromkeys(t.phase for t in lines))
    done = {(e.action, e.subject) for e in in_force(trial.entries)}
    known = {p.name: p for p in trial.phases}
    begun = {t.phase for t in lines if t.weighed}
    for position, name in enumerate(order):
        own = [t for t in lines if t.phase == name and not t.open]
        about = known.get(name, Phase(name))
        waiting = next((t for t in own if not t.settled), None)
        if waiting is not None:
            cool = Step(COOL, name)
            if about.add_below and name not in begun and ("cooled", name) not in done and cool.name not in passed:
                return cool
            return Step(WEIGH, name, waiting, own.index(waiting) + 1, len(own))
        later = any(p in begun for p in order[position + 1 :])
        heat = Step(HEAT, name)
        if about.heat and name in begun and not later and ("heated", name) not in done and heat.name not in passed:
            return heat
        pour = Step(POUR, name)
        apart = set(beakers_apart(trial))  # into the first phase of the sheet that is there, whichever was begun first
        if name in apart and name != next(p for p in order if p in apart) and pour.name not in passed:
            return pour
    for line in lines:
        step = Step(OPEN_LINE, line.phase, line)
        if line.open and not line.settled and step.name not in passed:
            return step
    bulk = Step(BULK)
    if begun and not any(action == "bulk" for action, _ in done) and bulk.name not in passed:
        return bulk
    return None
