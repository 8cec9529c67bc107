"""The bench: the entries of a batch played in their order give what is in each beaker, and the account of its mass.

Everything here is computed from the entries alone, exactly. Observations belong to what comes out of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, exact, round_to
from fvc.batch import parse_batch
from fvc.errors import Fault, Refusal
from fvc.scales import COMMON_SCALES, scale_from_text
from fvc.trial import LOSSES, WEIGHINGS, Entry, Trial, in_force


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
        self.lost_from: dict[str, str] = {}  # material -> the phase it was lost from last, where that was said

    def holder(self, phase: str) -> str:
        while phase in self.inside:
            phase = self.inside[phase]
        return phase

    def beaker(self, phase: str) -> Beaker:
        return self.beakers.setdefault(self.holder(phase), {})

    def apart(self) -> list[str]:
        """The phases that still have a beaker of their own."""
        return [p for p in self.beakers if p not in self.inside]

    def combine_all(self) -> Beaker:
        open_ones = self.apart()
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
        if entry.action == "replaced":  # back to where it was lost, never onto a line that is still to be weighed
            there = self.beakers.get(self._holding(material), {})
            back = self.lost_from.get(material) or next((p for p, m in there if m == material), "")
            if back:
                return back
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

    def play(self, entry: Entry) -> Key | None:
        """Do what an entry says. The line that a weighing went into; None for anything else."""
        grams = entry.grams or ZERO
        if entry.action in WEIGHINGS:
            phase = self.phase_of(entry.subject, entry)
            mixed = entry.action == "added" and not entry.phase
            back = entry.action == "replaced" and not entry.phase
            there = (self.lost_from.get(entry.subject) or self._holding(entry.subject) or phase) if back else phase
            beaker = self.combine_all() if mixed else self.beaker(there)
            key = (phase, entry.subject)
            beaker[key] = beaker.get(key, ZERO) + grams
            if entry.action != "replaced":
                self.weighed.add(key)
            return key
        if entry.action == "combined":
            self.combine(entry.subject, entry.into)
        elif entry.action == "lost":
            self.lost_from[entry.subject] = entry.phase
            beaker = self.beaker(entry.phase or self._holding(entry.subject))
            self.take(beaker, {k: g for k, g in beaker.items() if k[1] == entry.subject}, grams, entry)
        elif entry.action == "left":
            beaker = self.beaker(entry.subject)
            self.take(beaker, self.poured.get(entry.subject, dict(beaker)), grams, entry)
        elif entry.action in ("spilled", "sampled"):
            beaker = self.beaker(entry.phase) if entry.phase else self.combine_all()
            self.take(beaker, dict(beaker), grams, entry)
        return None

    def _holding(self, material: str) -> str:
        """The first beaker that has some of a material in it; "" when none has."""
        return next((p for p, beaker in self.beakers.items() if any(k[1] == material and g > 0 for k, g in beaker.items())), "")

    def total(self) -> Fraction:
        return sum((g for beaker in self.beakers.values() for g in beaker.values()), ZERO)

    def held(self) -> Beaker:
        held: Beaker = {}
        for beaker in self.beakers.values():
            for key, grams in beaker.items():
                held[key] = held.get(key, ZERO) + grams
        return held


def _played(trial: Trial, entries: Sequence[Entry] | None = None) -> _Bench:
    bench = _Bench(trial)
    for entry in in_force(trial.entries) if entries is None else entries:
        bench.play(entry)
    return bench


def as_made(trial: Trial) -> tuple[MadeLine, ...]:
    """What the batch holds after all entries, played in order; grams, exact.

    Water that evaporated takes nothing else along; a spill or a sample takes everything in its
    proportion; what was left on a phase's beaker takes that phase only, also when it is noted
    after pouring. Raises Refusal when nothing was weighed or when more is taken out than was there.
    """
    held = _played(trial).held()
    order = [(a.phase, a.material) for a in trial.asked]
    keys = [k for k in order if k in held] + [k for k in held if k not in order]
    lines = tuple(MadeLine(phase, material, held[phase, material]) for phase, material in keys)
    if sum((line.grams for line in lines), ZERO) == 0:
        raise Refusal(f"nothing has been weighed yet in {trial.id}", next=f"fvc trial weigh {trial.id}")
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
        key = bench.play(entry)
        if key is None:
            continue
        if entry.action == "replaced" and not replacements:
            again = min(grams, lost.get(entry.subject, ZERO))
            lost[entry.subject] = lost.get(entry.subject, ZERO) - again
            grams -= again
        order[key] = order.get(key, ZERO) + grams
    return tuple(MadeLine(phase, material, grams) for (phase, material), grams in order.items() if grams > 0)


def on_the_scale(trial: Trial, phase: str) -> Fraction:
    """Grams in the beaker that holds a phase now, its own or the one it was poured into."""
    bench = _played(trial)
    return sum(bench.beaker(phase).values(), ZERO)


def beakers_apart(trial: Trial) -> tuple[str, ...]:
    """The phases that have been begun and still stand in a beaker of their own, in the order in which they were begun."""
    return tuple(_played(trial).apart())


def same_beaker(trial: Trial, one: str, other: str) -> bool:
    """True when two phases stand in one beaker, poured together."""
    bench = _played(trial)
    return bench.holder(one) == bench.holder(other)


def check_playable(trial: Trial) -> None:
    """Refuse a batch out of which more was taken than had gone in."""
    _played(trial)


# --- what is still to be weighed --------------------------------------------------------------------


class Target(NamedTuple):
    """A line at the bench: what it is to reach, in grams, and what went in so far.

    grams: the target as it stands now; None for an open line that expects nothing. asked: as the sheet said.
    settled: weighed, or left out on purpose.
    """

    phase: str
    material: str
    asked: Fraction | None
    grams: Fraction | None
    weighed: Fraction
    open: bool = False
    settled: bool = False

    @property
    def missing(self) -> Fraction:
        """Grams that are still to go in; negative when there is too much."""
        return (self.grams or ZERO) - self.weighed


def step_of_scale(trial: Trial, phase: str = "", material: str = "") -> Fraction:
    """The resolution of the scale of a batch, or of one of its lines, in grams."""
    own = next((a.scale for a in trial.asked if a.scale and (a.phase, a.material) == (phase, material)), "")
    text = own or trial.scale
    return scale_from_text(text).step if text else COMMON_SCALES[0].step


def batch_now(trial: Trial) -> Fraction | None:
    """Theoretical yield in grams: the batch asked for, or the size that it was enlarged to.

    21 CFR 210.3(b)(17): "based upon the quantity of components to be used, in the absence of any loss or error
    in actual production". None where no line has a target.
    """
    larger = [e.grams for e in in_force(trial.entries) if e.action == "enlarged" and e.grams]
    return larger[-1] if larger else asked_batch(trial)


def asked_batch(trial: Trial) -> Fraction | None:
    """The batch in grams as asked for; where its text is a volume, what the lines of the sheet add up to."""
    try:
        grams = parse_batch(trial.batch).grams
    except ValueError:
        grams = None
    lines = [a.grams for a in trial.asked if a.grams is not None]
    return round_to(grams, step_of_scale(trial)) if grams is not None else sum(lines, ZERO) if lines else None


def targets(trial: Trial) -> tuple[Target, ...]:
    """Every line of the sheet as it stands at the bench: enlarged, retargeted, weighed or left out."""
    bench = _Bench(trial)
    grams = {(a.phase, a.material): a.grams for a in trial.asked}
    weighed: dict[Key, Fraction] = {}
    settled: set[Key] = set()
    size = asked_batch(trial)
    step = {(a.phase, a.material): step_of_scale(trial, a.phase, a.material) for a in trial.asked}

    def review(keys: Iterable[Key]) -> None:
        """What is in and has another target now is asked for again, but for a step of its scale; or is enough."""
        for key in keys:
            if weighed.get(key, ZERO):
                enough = round_to(grams[key] or ZERO, step[key]) <= weighed[key] + step[key]
                (settled.add if enough else settled.discard)(key)

    for entry in in_force(trial.entries):
        if entry.action in ("weighed", "added"):
            key = (bench.phase_of(entry.subject, entry), entry.subject)
            bench.weighed.add(key)
            weighed[key] = weighed.get(key, ZERO) + (entry.grams or ZERO)
            settled.add(key)
        elif entry.action == "enlarged" and entry.grams and size:
            grams = {k: None if g is None else g * entry.grams / size for k, g in grams.items()}
            size = entry.grams
            review(step)
        elif entry.action == "retargeted":
            key = (entry.phase or trial.phase_of_line(entry.subject), entry.subject)
            grams[key] = entry.grams
            review({key} & set(step))
        elif entry.action == "omitted":
            settled.add((entry.phase or trial.phase_of_line(entry.subject), entry.subject))
    out = []
    for a in trial.asked:
        key = (a.phase, a.material)
        now = grams[key]
        if now is not None and now != a.grams:
            now = round_to(now, step[key])
        out.append(Target(a.phase, a.material, a.grams, now, weighed.get(key, ZERO), a.open, key in settled))
    return tuple(out)


def at_the_bench(trial: Trial) -> bool:
    """True while a line of the sheet, other than an open one, is neither weighed nor left out, and no verdict was given."""
    return not trial.closed and any(not t.settled and not t.open for t in targets(trial))


# --- the account of the mass ------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Account:
    """Where the mass went, in grams. Mass in = product + lost + spilled + left + sampled + unaccounted, exactly.

    expected: what the entries leave in the beaker. bulk: as weighed last; None while it was not.
    unaccounted: what the entries leave and the scale did not find when the bulk was weighed; negative when it
    found more; None while it was not weighed. It is never spread over lines.
    theoretical: the batch asked for or enlarged to.
    """

    went_in: Fraction
    lost: Fraction
    spilled: Fraction
    left: Fraction
    sampled: Fraction
    expected: Fraction
    bulk: Fraction | None
    unaccounted: Fraction | None
    theoretical: Fraction | None

    @property
    def product(self) -> Fraction:
        """What is there: as weighed, less what came out of it since; else what the entries leave."""
        return self.expected - (self.unaccounted or ZERO)

    @property
    def percent_of_theoretical(self) -> Fraction | None:
        """Actual yield of bulk over theoretical yield (21 CFR 210.3(b)(18) and (19)); None while it was not weighed."""
        if self.bulk is None or not self.theoretical:
            return None
        return self.bulk * HUNDRED / self.theoretical


def account(trial: Trial) -> Account:
    """The account of a batch after all its entries. Refusal when more was taken out than went in."""
    entries = in_force(trial.entries)
    sums = dict.fromkeys((*WEIGHINGS, *LOSSES), ZERO)
    bench = _Bench(trial)
    bulk: Fraction | None = None
    found: Fraction | None = None
    for entry in entries:
        bench.play(entry)
        if entry.action in sums:
            sums[entry.action] += entry.grams or ZERO
        if entry.action == "bulk":
            bulk = entry.grams
            found = bench.total() - (bulk or ZERO)
    return Account(
        went_in=sum((sums[a] for a in WEIGHINGS), ZERO),
        lost=sums["lost"],
        spilled=sums["spilled"],
        left=sums["left"],
        sampled=sums["sampled"],
        expected=bench.total(),
        bulk=bulk,
        unaccounted=found,
        theoretical=batch_now(trial),
    )


def restoring(trial: Trial, material: str) -> Fraction:
    """Grams of a material that bring the composition back to what it would be without its losses; 0 when none is missing.

    What was spilled, left or sampled since the loss took its share of the gap along, so this is less than what
    would bring back the weight.
    """
    entries = in_force(trial.entries)
    try:
        meant = _played(trial, [e for e in entries if not (e.action in ("lost", "replaced") and e.subject == material)]).held()
    except Refusal:  # more was put back than was ever lost, and went out again: without it there is nothing to compare with
        return max(missing_of(trial, material), ZERO)
    now = _played(trial, entries).held()
    there = sum((g for (_, m), g in now.items() if m == material), ZERO)
    rest = sum((g for (_, m), g in now.items() if m != material), ZERO)
    wanted = sum((g for (_, m), g in meant.items() if m == material), ZERO)
    others = sum((g for (_, m), g in meant.items() if m != material), ZERO)
    if others == 0:  # alone in its beaker: what was lost of it is what is missing
        return max(wanted - there, ZERO)
    return max(wanted * rest / others - there, ZERO)


def short_of_weight(trial: Trial) -> Fraction:
    """Grams that would bring back the weight: all that was lost, spilled, left and sampled, less what was put back."""
    put_back = sum((e.grams or ZERO for e in in_force(trial.entries) if e.action == "replaced"), ZERO)
    mass = account(trial)
    return mass.lost + mass.spilled + mass.left + mass.sampled - put_back


def missing_of(trial: Trial, material: str) -> Fraction:
    """Grams of a material that were lost and not replaced."""
    lost = sum((e.grams or ZERO for e in in_force(trial.entries) if e.action == "lost" and e.subject == material), ZERO)
    back = sum((e.grams or ZERO for e in in_force(trial.entries) if e.action == "replaced" and e.subject == material), ZERO)
    return lost - back


def with_entries(trial: Trial, more: Sequence[Entry]) -> Trial:
    """The same batch with further entries behind those it has."""
    return replace(trial, entries=(*trial.entries, *more))


def lots_used(trial: Trial) -> tuple[tuple[str, str, Fraction], ...]:
    """(material, lot, grams) of everything that was weighed in, in order; lot "" where none was noted."""
    out: dict[tuple[str, str], Fraction] = {}
    for entry in in_force(trial.entries):
        if entry.action in WEIGHINGS:
            key = (entry.subject, entry.lot)
            out[key] = out.get(key, ZERO) + (entry.grams or ZERO)
    return tuple((material, lot, grams) for (material, lot), grams in out.items())


def vessel_before(trial: Trial, phase: str) -> Fraction | None:
    """What the vessel of a phase weighed last, if nothing went in or out of it since."""
    for entry in reversed(trial.entries):
        if entry.action == "vessel" and entry.subject == phase:
            return entry.grams
        if entry.action in ("weighed", "added", "replaced", "lost", "spilled", "sampled", "combined") and entry.phase in ("", phase):
            return None
    return None


def water_of(trial: Trial) -> str:
    """The material that evaporates: the one that is water and nothing else. Refusal where there is none or several."""
    found = [id for id in dict.fromkeys(a.material for a in trial.asked) if id in trial.materials and trial.materials[id].is_water]
    if len(found) != 1:
        raise Refusal(f"{trial.id} has {'no line' if not found else 'several lines'} that is water", next="say of what:  --of MATERIAL")
    return found[0]
