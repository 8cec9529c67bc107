"""One batch: what was asked for, what went in and came out, in the order in which it happened.

The as-made is computed from the entries alone, exactly, and is what observations belong to.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO, exact
from fvc.errors import Fault, Refusal
from fvc.material import Material

# What an entry can record; its value names the material, the phase, or what was seen.
WEIGHINGS = ("weighed", "added", "replaced")
LOSSES = ("lost", "spilled", "left", "sampled")
ACTIONS = (*WEIGHINGS, *LOSSES, "combined", "heated", "seen", "noted", "closed")


class Asked(NamedTuple):
    """A line of the weigh sheet that this batch was made from; percent and grams as asked."""

    phase: str
    material: str
    percent: Fraction | None
    grams: Fraction | None
    open: bool = False


class Entry(NamedTuple):
    """One thing that happened. `subject` is the value of the action key; `corrects` names an earlier entry that it replaces."""

    id: str
    at: datetime.datetime
    action: str
    subject: str
    by: str = ""
    grams: Fraction | None = None
    phase: str = ""
    into: str = ""
    lot: str = ""
    corrects: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """A batch made from a plan; `materials` are the records as they were on that day."""

    id: str
    plan: str
    plan_id: str
    batch: str
    scale: str
    asked: tuple[Asked, ...]
    entries: tuple[Entry, ...]
    materials: Mapping[str, Material] = field(default_factory=dict)
    record: Mapping[str, object] = field(default_factory=dict, repr=False)

    @property
    def closed(self) -> bool:
        """True when a verdict was recorded."""
        return bool(self.verdict)

    @property
    def verdict(self) -> str:
        """The verdict recorded last; "" while there is none."""
        return next((entry.subject for entry in reversed(self.entries) if entry.action == "closed"), "")

    @property
    def seen(self) -> tuple[Entry, ...]:
        """What was seen, in order, without what a later entry corrects."""
        corrected = {entry.corrects for entry in self.entries}
        return tuple(entry for entry in self.entries if entry.action == "seen" and entry.id not in corrected)


class MadeLine(NamedTuple):
    """What is in the beaker of one material that went in with one phase, in grams."""

    phase: str
    material: str
    grams: Fraction


Key = tuple[str, str]  # phase it belongs to, material
Beaker = dict[Key, Fraction]


class _Bench:
    """The beakers as the entries are played; every phase has its own until they are combined."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.beakers: dict[str, Beaker] = {}
        self.inside: dict[str, str] = {}  # a combined phase -> the phase whose beaker holds it now
        self.poured: dict[str, Beaker] = {}  # a combined phase -> what was in its beaker when it was poured
        self.weighed: set[Key] = set()

    def holder(self, phase: str) -> str:
        while phase in self.inside:
            phase = self.inside[phase]
        return phase

    def beaker(self, phase: str) -> Beaker:
        return self.beakers.setdefault(self.holder(phase), {})

    def combine_all(self) -> Beaker:
        open_ones = [p for p in self.beakers if p not in self.inside]
        if not open_ones:
            return self.beakers.setdefault("", {})
        first = open_ones[0]
        for phase in open_ones[1:]:
            self.combine(phase, first)
        return self.beakers[first]

    def combine(self, phase: str, into: str) -> None:
        source, target = self.beaker(phase), self.beaker(into)
        if source is target:
            return
        self.poured[self.holder(phase)] = dict(source)
        for key, grams in source.items():
            target[key] = target.get(key, ZERO) + grams
        source.clear()
        self.inside[self.holder(phase)] = self.holder(into)

    def phase_of(self, material: str, entry: Entry) -> str:
        if entry.phase:
            return entry.phase
        phases = [a.phase for a in self.trial.asked if a.material == material]
        fresh = [p for p in phases if (p, material) not in self.weighed]
        return (fresh or phases or [next(iter(self.beakers), "")])[0]

    def take(self, beaker: Beaker, portion: Beaker, grams: Fraction, entry: Entry) -> None:
        """Take `grams` out of a beaker in the proportions of `portion`."""
        there = sum(portion.values(), ZERO)
        if grams > there or any(grams * part > beaker[key] * there for key, part in portion.items()):
            raise Refusal(
                Fault(
                    f"entry {entry.id}: {entry.action} {exact(grams)} g, and only {exact(there)} g were there",
                    path=entry.id,
                    next="correct the entry with a new one, or add what was forgotten before it",
                )
            )
        for key, part in portion.items():
            beaker[key] -= grams * part / there

    def play(self, entry: Entry) -> None:
        grams = entry.grams or ZERO
        if entry.action in WEIGHINGS:
            phase = self.phase_of(entry.subject, entry)
            beaker = self.beaker(phase) if entry.action != "added" else self.combine_all()
            key = (phase, entry.subject)
            beaker[key] = beaker.get(key, ZERO) + grams
            self.weighed.add(key)
        elif entry.action == "combined":
            self.combine(entry.subject, entry.into)
        elif entry.action == "lost":
            beaker = self.beaker(entry.phase) if entry.phase else self._holding(entry.subject)
            self.take(beaker, {k: g for k, g in beaker.items() if k[1] == entry.subject}, grams, entry)
        elif entry.action == "left":
            beaker = self.beaker(entry.subject)
            self.take(beaker, self.poured.get(entry.subject, dict(beaker)), grams, entry)
        elif entry.action in ("spilled", "sampled"):
            beaker = self.beaker(entry.phase) if entry.phase else self.combine_all()
            self.take(beaker, dict(beaker), grams, entry)

    def _holding(self, material: str) -> Beaker:
        for beaker in self.beakers.values():
            if any(k[1] == material and g > 0 for k, g in beaker.items()):
                return beaker
        return self.combine_all()


def in_force(entries: Sequence[Entry]) -> list[Entry]:
    """The entries that count: a correction stands in the place of the one it corrects, the latest last."""
    corrected = {entry.corrects: entry for entry in entries if entry.corrects}
    out = []
    for entry in entries:
        if entry.corrects:
            continue
        while entry.id in corrected:
            entry = corrected[entry.id]
        out.append(entry)
    return out


def as_made(trial: Trial) -> tuple[MadeLine, ...]:
    """What the batch holds after all entries, played in order; grams, exact.

    Water that evaporated takes nothing else along; a spill or a sample takes everything in its
    proportion; what was left on a phase's beaker takes that phase only, also when it is noted
    after pouring. Raises Refusal when nothing was weighed or when more is taken out than was there.
    """
    bench = _Bench(trial)
    for entry in in_force(trial.entries):
        bench.play(entry)
    held: Beaker = {}
    for beaker in bench.beakers.values():
        for key, grams in beaker.items():
            held[key] = held.get(key, ZERO) + grams
    order = [(a.phase, a.material) for a in trial.asked]
    keys = [k for k in order if k in held] + [k for k in held if k not in order]
    lines = tuple(MadeLine(phase, material, held[phase, material]) for phase, material in keys)
    if sum((line.grams for line in lines), ZERO) == 0:
        raise Refusal(f"nothing has been weighed yet in {trial.id}", next="record what was weighed in its file under [[entry]]")
    return lines


def as_added(trial: Trial, *, replacements: bool = False) -> tuple[MadeLine, ...]:
    """What went into the batch in all, in grams and in the order in which it went in, whatever was lost later.

    replacements: also count what replaced a loss of the same material (evaporated water): it came from
    the shelf, but stands for what had been added before. Raises Refusal as `as_made` does.
    """
    lost: dict[str, Fraction] = {}
    bench = _Bench(trial)
    order: dict[Key, Fraction] = {}
    for entry in in_force(trial.entries):
        grams = entry.grams or ZERO
        if entry.action == "lost":
            lost[entry.subject] = lost.get(entry.subject, ZERO) + grams
        if entry.action not in WEIGHINGS:
            continue
        key = (bench.phase_of(entry.subject, entry), entry.subject)
        bench.weighed.add(key)
        if entry.action == "replaced" and not replacements:
            again = min(grams, lost.get(entry.subject, ZERO))
            lost[entry.subject] = lost.get(entry.subject, ZERO) - again
            grams -= again
        order[key] = order.get(key, ZERO) + grams
    return tuple(MadeLine(phase, material, grams) for (phase, material), grams in order.items() if grams > 0)
