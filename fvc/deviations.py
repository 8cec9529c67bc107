"""What went otherwise than the sheet asked: listed with the batch, so that nobody has to find it in the entries.

Deviations are of the making, in grams and words; departures are lines of the product that are not what the plan asked, in percent.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, brief, celsius, minutes, needed_decimals, shown
from fvc.bench import Account, account, as_made, asked_batch, batch_now, missing_of, restoring, step_of_scale, targets
from fvc.material import Material
from fvc.scales import SLIP_ABOVE
from fvc.slips import tolerance
from fvc.trial import WEIGHINGS, Trial, in_force


class Deviation(NamedTuple):
    """One of them: its kind in one word, whom it concerns, and a sentence.

    kind: weight, missing, omitted, addition, larger, target, loss, heat, warm, lot, unaccounted.
    """

    kind: str
    about: str
    words: str


def deviations(
    trial: Trial,
    *,
    slip_above: Fraction = SLIP_ABOVE,
    shelf: Mapping[str, Material] | None = None,
    premixes: Mapping[str, Trial] | None = None,
) -> tuple[Deviation, ...]:
    """All of them, in the order of the sheet and of what happened.

    slip_above: percent of its target by which a weight may miss it. shelf: records with their lots as they are now;
    premixes: batches made in-house, by id. Not checked: what no entry says.
    """
    done = _done(trial)
    out: list[Deviation] = []
    for t in targets(trial):
        name = f"{t.material} ({t.phase})"
        target = t.grams
        if t.open:
            continue
        if not t.settled:
            if done:
                out.append(Deviation("missing", t.material, f"{name} was not weighed{f': {grams(target)} g were asked' if target else ''}"))
        elif t.weighed == 0:
            out.append(Deviation("omitted", t.material, f"{name} was left out{f': {grams(target)} g were asked' if target else ''}"))
        elif target is not None and abs(t.weighed - target) > tolerance(target, step_of_scale(trial, t.phase, t.material), slip_above):
            off = t.weighed - target
            percent = f", {shown(abs(off) * 100 / target, 1, 1)} % of it" if target else ""
            word = "over" if off > 0 else "short of"
            out.append(Deviation("weight", t.material, f"{name}: {grams(t.weighed)} g, {grams(abs(off))} g {word} its target{percent}"))
    on_sheet = {(a.phase, a.material) for a in trial.asked}
    materials = {a.material for a in trial.asked}
    extra: dict[str, Fraction] = {}
    for entry in in_force(trial.entries):
        because = f": {entry.because}" if entry.because else ""
        if entry.action in WEIGHINGS and (entry.subject not in materials or (entry.phase and (entry.phase, entry.subject) not in on_sheet)):
            name = entry.subject if entry.subject not in materials else f"{entry.subject} in phase {entry.phase}"
            extra[name] = extra.get(name, ZERO) + (entry.grams or ZERO)
        elif entry.action == "enlarged":
            out.append(Deviation("larger", entry.subject, f"the batch was enlarged to {grams(entry.grams)} g{because}"))
        elif entry.action == "retargeted":
            out.append(Deviation("target", entry.subject, f"{entry.subject} got another target, {grams(entry.grams)} g{because}"))
        out += _too_cool(trial, entry.action, entry.subject, entry.temperature, entry.hold)
        out += _past_use(trial, entry.subject, entry.lot, entry.at.date(), shelf or {}, premixes or {})
    out += [Deviation("addition", m, f"{m} does not stand on the sheet: {grams(g)} g went in") for m, g in extra.items()]
    return tuple(dict.fromkeys([*out, *_losses(trial)]))


def _done(trial: Trial) -> bool:
    """True when the making is over; before that a line is only not weighed yet."""
    return trial.closed or any(e.action in ("bulk", "seen", "closed") for e in trial.entries)


def _losses(trial: Trial) -> list[Deviation]:
    found: list[Deviation] = []
    lost = dict.fromkeys(e.subject for e in in_force(trial.entries) if e.action == "lost")
    for material in lost:
        missing = missing_of(trial, material)
        if missing > 0:
            back = restoring(trial, material)
            found.append(
                Deviation(
                    "loss",
                    material,
                    f"{grams(missing)} g of {material} were lost and not put back; {grams(back)} g would bring the composition back",
                )
            )
        elif missing < 0:
            found.append(Deviation("loss", material, f"{grams(-missing)} g more {material} were put back than was lost"))
    mass = account(trial)
    found += [
        Deviation("loss", what, f"{grams(amount)} g {words}")
        for what, amount, words in (("spilled", mass.spilled, "were spilled"), ("left", mass.left, "stayed on the beakers"))
        if amount
    ]
    return [*found, *_unaccounted(trial, mass)]


def _unaccounted(trial: Trial, mass: Account) -> list[Deviation]:
    if not mass.unaccounted:
        return []
    part = f", {shown(abs(mass.unaccounted) * 100 / mass.went_in, 2, 2)} % of what went in" if mass.went_in else ""
    if mass.unaccounted > 0:
        return [Deviation("unaccounted", "", f"{grams(mass.unaccounted)} g are unaccounted{part}; no line is changed by it")]
    return [Deviation("unaccounted", "", f"{grams(-mass.unaccounted)} g more were found than the entries leave{part}")]


def _too_cool(trial: Trial, action: str, phase: str, temperature: str, hold: str) -> list[Deviation]:
    """A phase that was not heated as far or as long, or not cooled as far, as its plan asks."""
    if action == "heated" and hold:
        asked_hold = next((p.hold for p in trial.phases if p.name == phase), "")
        try:
            if asked_hold and minutes(hold) < minutes(asked_hold):
                return [Deviation("heat", phase, f"phase {phase} was held for {hold}; the plan asks for {asked_hold}")]
        except ValueError:
            return []
    if action not in ("heated", "cooled") or not temperature:
        return []
    asked = next(((p.heat, p.add_below) for p in trial.phases if p.name == phase), ("", ""))
    try:
        reached = celsius(temperature)
        if action == "heated" and asked[0] and reached < celsius(asked[0]):
            return [Deviation("heat", phase, f"phase {phase} came to {temperature}; the plan asks for {asked[0]}")]
        if action == "cooled" and asked[1] and reached > celsius(asked[1]):
            return [Deviation("warm", phase, f"phase {phase} went in at {temperature}; the plan asks for below {asked[1]}")]
    except ValueError:
        return []
    return []


def _past_use(
    trial: Trial, material: str, lot: str, day: datetime.date, shelf: Mapping[str, Material], premixes: Mapping[str, Trial]
) -> list[Deviation]:
    if not lot:
        return []
    known = shelf.get(material)
    until = next((each.use_by for each in known.lots if each.number == lot), None) if known else None
    if lot in premixes:
        until = premixes[lot].use_by
    return [Deviation("lot", material, f"{material}, lot {lot}, was used after its last day, {until}")] if until and day > until else []


def grams(value: Fraction | None) -> str:
    """Grams as a scale shows them: two decimals at least, four at most."""
    return shown(value or ZERO, 2, max(2, min(4, needed_decimals(value or ZERO) or 4)))


# --- the same in percent of the product ----------------------------------------------------------------


class Departure(NamedTuple):
    """A line of a batch that is not what its plan asked, in percent; a side is None where the line is missing. why: in words."""

    phase: str
    material: str
    asked: Fraction | None
    made: Fraction | None
    why: str


def departures(trial: Trial, slip_above: Fraction = SLIP_ABOVE) -> tuple[Departure, ...]:
    """The lines that were off by more than the tolerance, left out, added, set at the bench, left on a beaker, or lost and not put back.

    Lines that moved only because another one did are not named. Raises Refusal as `as_made` does.
    """
    lines = as_made(trial)
    whole = sum((line.grams for line in lines), ZERO)
    made = {(line.phase, line.material): line.grams * HUNDRED / whole for line in lines if line.grams > 0}
    asked = {(line.phase, line.material): line.percent for line in trial.asked}
    now, first = batch_now(trial), asked_batch(trial)
    factor = now / first if now and first else Fraction(1)
    done = _done(trial)
    left = {e.subject: e.grams or ZERO for e in in_force(trial.entries) if e.action == "left"}
    told: set[str] = set()
    out: list[Departure] = []
    for line in targets(trial):
        key = (line.phase, line.material)
        wanted = None if line.asked is None else line.asked * factor
        near = tolerance(wanted or ZERO, step_of_scale(trial, *key), slip_above)
        why = ""
        if line.weighed == 0:
            why = ("not weighed" if not line.settled else "left out") if (done or line.settled) and wanted else ""
        elif wanted is None or abs(line.weighed - wanted) > near:
            why = "set at the bench" if line.open else "" if wanted is None else "over" if line.weighed > wanted else "short"
        missing = missing_of(trial, line.material) if line.material not in told else ZERO
        told.add(line.material)
        if abs(missing) > step_of_scale(trial, *key):
            words = f"{brief(abs(missing))} g {'lost and not put back' if missing > 0 else 'more put back than was lost'}"
            why = f"{why}, {words}" if why else words
        before, after = asked[key], made.get(key)
        if not why and line.phase in left and before and abs((after or ZERO) - before) * HUNDRED > slip_above * before:
            why = f"{brief(left[line.phase])} g of phase {line.phase} left on its beaker"
        if why:
            out.append(Departure(*key, before, after, why))
    return (*out, *(Departure(*key, None, percent, "not on the sheet") for key, percent in made.items() if key not in asked))
