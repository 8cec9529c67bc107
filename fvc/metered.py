"""What the meter read of the batches of a formula, each reading beside the model of what was in the beaker at that moment."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

from fvc.amounts import ZERO
from fvc.archive import Archive
from fvc.bench import as_made
from fvc.errors import Fault, Refusal
from fvc.formula import BALANCE, OPEN
from fvc.formulary import trial_path
from fvc.reading import Reading, Side
from fvc.references import batch_reading, parse_reference
from fvc.science.metering import Metered, Point, read_ph
from fvc.science.ph import model
from fvc.trial import LOSSES, WEIGHINGS, Entry, Trial, in_force

SAME_PERCENT = Fraction(1, 10**6)  # below what any level is written to


class Readings(NamedTuple):
    """All pH readings of a formula's batches, oldest first, and the weighed additions between two of one batch; what could not be read."""

    metered: tuple[Metered, ...] = ()
    points: tuple[Point, ...] = ()
    problems: tuple[Fault, ...] = ()

    @property
    def own(self) -> tuple[Metered, ...]:
        """Those of the plan that was asked about."""
        return tuple(r for r in self.metered if r.own)


def formula_of(archive: Archive, reading: Reading) -> str:
    """The formula that a plan, a variant or a batch belongs to."""
    if reading.side.made:
        return next((formula for formula, id in archive.now.trials() if id == reading.plan.id), "")
    return parse_reference(reading.side.ref).name


def readings_of(archive: Archive, reading: Reading) -> Readings:
    """Every reading of the meter on any batch of the formula of `reading`."""
    metered: list[Metered] = []
    points: list[Point] = []
    problems: list[Fault] = []
    for trial in _trials(archive, reading, problems):
        try:
            found = list(_of_trial(archive, trial, _is_own(reading, trial)))
        except Refusal as refusal:  # nothing weighed, or more taken out than went in
            problems += refusal.faults
            continue
        metered += [each for each in found if isinstance(each, Metered)]
        points += [each for each in found if isinstance(each, Point)]
    return Readings(tuple(sorted(metered, key=lambda r: r.at)), tuple(points), tuple(problems))


def anchors_of(archive: Archive, reading: Reading) -> tuple[Metered, ...]:
    """The readings among which is the one that an estimate of `reading` starts from; empty where no batch was ever read.

    Only as many records are read as it takes to find one by a meter: those of the same plan first, then the latest.
    """
    read: list[Metered] = []
    for trial in _trials(archive, reading, []):
        try:
            read += [r for r in _of_trial(archive, trial, _is_own(reading, trial)) if isinstance(r, Metered)]
        except Refusal:  # said where readings are the matter
            continue
        if any(not r.why_no_anchor and r.by != "strip" for r in read):
            break
    return tuple(read)


_PLAN = re.compile(rb'^plan\s*=\s*"([^",]*)', re.MULTILINE)
_AT = re.compile(rb"^at\s*=\s*([0-9T:+.\- Z]+)", re.MULTILINE)


def says(data: bytes, key: str) -> bool:
    """True when an entry of a batch's record has this key, by the raw text: for not reading hundreds. Never wrongly False."""
    return re.compile(rf"\b{key}[\"']?\s*=".encode()).search(data, max(data.find(b"[[entry]]"), 0)) is not None


def _trials(archive: Archive, reading: Reading, problems: list[Fault]) -> Iterator[Trial]:
    """The batches of a formula in which a pH was read: those of the same plan first, the latest first.

    The order comes from the raw text, so that whoever needs only one record does not read hundreds.
    """
    formula = formula_of(archive, reading)
    found = []
    for each, id in archive.now.trials():
        data = archive.now.source.read(trial_path(each, id)) if each == formula else None
        if data and says(data, "ph"):
            stated = _PLAN.search(data)
            times = _AT.findall(data)
            found.append((_likely_own(reading, stated[1].decode("utf-8", "replace") if stated else "", id), max(times, default=b""), id))
    for _, _, id in sorted(found, reverse=True):
        try:
            parsed = archive.now.trial(formula, id)
        except Refusal as refusal:
            problems += refusal.faults
            continue
        problems += parsed.faults
        if parsed.value is not None:
            yield parsed.value


def _is_own(reading: Reading, trial: Trial) -> bool:
    """True for the batch that is asked about, and for one that was asked to be weighed by the very lines of the plan, whatever it is called.

    Open lines and the balance may differ: they are found at the bench, and follow.
    """
    if reading.side.made:
        return trial.id == reading.plan.id
    lines = {(a.line.phase, a.line.material): a for a in reading.closure.amounts}
    asked = {(a.phase, a.material): a for a in trial.asked}
    return lines.keys() == asked.keys() and all(
        lines[key].line.level.kind in (OPEN, BALANCE)
        or (each.percent is not None and abs(each.percent - lines[key].counted) < SAME_PERCENT)
        for key, each in asked.items()
    )


def _likely_own(reading: Reading, stated: str, id: str) -> bool:
    """A guess by the name alone, which only says what is read first."""
    if reading.side.made:
        return id == reading.plan.id
    name = parse_reference(reading.side.ref).plan_name
    return stated in (name, f"{name}.{reading.plan.revision}")


def _of_trial(archive: Archive, trial: Trial, own: bool) -> Iterator[Metered | Point]:
    """Readings of one batch in order; at the end the points of a titration that they make.

    A reading that was taken too early is followed by another: of all that stand between two additions, on one day, the last counts.
    """
    entries = [entry._replace(corrects="") for entry in in_force(trial.entries)]
    then: Reading | None = None
    stages: list[tuple[list[Entry], list[Metered]]] = [([], [])]  # what went in or out, and what was read after it
    for index, entry in enumerate(entries):
        if entry.action in (*WEIGHINGS, *LOSSES, "combined"):
            if stages[-1][1]:
                stages.append(([], []))
            stages[-1][0].append(entry)
            then = None
        seen = entry.seen
        if seen is None or seen.ph is None:
            continue
        until = replace(trial, entries=tuple(entries[: index + 1]))
        then = then or batch_reading(archive, until, Side(trial.id))
        grams = sum((line.grams for line in as_made(until)), ZERO)
        of_product = model(then)
        now = Metered(
            trial=trial.id,
            entry=entry.id,
            plan=trial.plan,
            own=own,
            at=entry.at,
            day=seen.day if seen.day is not None else trial.day_of(entry.at),
            condition=seen.condition,
            value=seen.ph,
            by=seen.ph_by,
            dilution=seen.dilution,
            temperature=seen.temperature,
            model=of_product,
            model_ph=read_ph(of_product, seen.dilution),
            grams=grams,
        )
        stages[-1][1].append(now)
        yield now
    for (_, before), (since, after) in pairwise(stages):
        point = _point(trial, own, before, since, after)
        if point is not None:
            yield point


def _point(trial: Trial, own: bool, before: list[Metered], since: list[Entry], after: list[Metered]) -> Point | None:
    """A titration point: one material went in between two readings, and nothing else but water, or what was taken out as a sample."""
    added = [e for e in since if e.action in WEIGHINGS]
    names = {e.subject for e in added if not ((m := trial.materials.get(e.subject)) and m.is_water)}
    if not before or not after or len(names) != 1 or any(e.action in ("lost", "combined") for e in since):
        return None
    name = names.pop()
    grams = sum((e.grams or ZERO for e in added if e.subject == name), ZERO)
    taken = sum((e.grams or ZERO for e in since if e.action in LOSSES), ZERO)
    first, last = before[-1], _settled(before[-1], after)
    product = first.grams - taken
    return Point(trial.id, own, name, grams, product, first, last) if grams > 0 and product > Fraction(0) else None


def _settled(first: Metered, after: list[Metered]) -> Metered:
    """The last reading of the day of the first one after an addition that was taken as the one before it was."""
    alike = [r for r in after if (r.condition, r.dilution) == (first.condition, first.dilution) and r.at.date() == after[0].at.date()]
    return alike[-1] if alike else after[0]
