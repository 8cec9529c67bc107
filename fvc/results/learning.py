"""What batches teach about one thing: gathered here, compared in `compare/lessons`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from fvc.amounts import ZERO
from fvc.archive import Archive
from fvc.bench import lots_used
from fvc.compare.lessons import Lesson, Made, Thing, View, lesson, thing_of
from fvc.errors import Fault, Refusal
from fvc.names import printable, suggestion
from fvc.reading import Reading
from fvc.results.conditions import PROPERTIES, SPELLED, Known, figure_of, known_in, one_of, property_words, said, word_of
from fvc.results.records import Case, Records
from fvc.results.table import chosen_of
from fvc.schedule import stood
from fvc.seeing import CLARITY, ph_sure_to
from fvc.trial import Seen


@dataclass(frozen=True, kw_only=True, eq=False)
class Learned:
    """A lesson with what it was asked of. unseen: batches without such a look; left: batches that cannot be compared, in words."""

    lesson: Lesson
    property: str
    condition: str
    day: int | None
    unseen: tuple[str, ...]
    left: tuple[str, ...]
    problems: tuple[Fault, ...] = field(default=())


def learned(
    archive: Archive,
    formulas: Sequence[str],
    thing: str,
    property: str,
    *,
    condition: str = "room",
    day: int | None = None,
    only: Sequence[str] = (),
) -> Learned:
    """The property against the thing, over the batches of these formulas. Refusal for words that mean nothing here."""
    records = Records(archive, formulas)
    low = property.casefold()
    what = one_of("property", SPELLED.get(low, low), PROPERTIES)
    known = known_in(records)
    meant = _thing(known, thing)
    where = word_of("condition", " ".join(condition.split()), known)
    chosen, undecided = chosen_of(records, only)
    cases = [case for case, _ in chosen if case.trial is not None]
    made: list[Made] = []
    unseen: list[str] = []
    left = list(undecided)
    for case in cases:
        view = _view(case, what, where, day)
        if view is None:
            unseen.append(case.name)
            continue
        try:
            made.append(_made(case, view))
        except Refusal as refusal:
            left.append(f"{case.name}: {refusal.faults[0].message}")
    if len(formulas) > 1:  # a formula that never held it says nothing of it
        own = {case.name: case.formula for case in cases}
        hold = {own[each.id] for each in made if any(each.percent(m) for m in meant.materials)}
        made = [each for each in made if own[each.id] in hold]
        unseen = [id for id in unseen if own[id] in hold]
    found = lesson(made, meant)
    valued = {batch.id for batch, _ in found.batches}
    left += [f"{each.id}: there is none of {Thing(meant.per).words} in it" for each in made if each.id not in valued]
    return Learned(
        lesson=found,
        property=property_words(what),
        condition=where,
        day=day,
        unseen=tuple(unseen),
        left=tuple(left),
        problems=tuple(dict.fromkeys(records.problems)),
    )


def _thing(known: Known, text: str) -> Thing:
    try:
        thing = thing_of(text.strip())
    except ValueError as error:
        raise Refusal(f'--learn "{printable(text)}" cannot be read: {error}', next="for example  --learn propanediol ph") from None
    for id in thing.materials:
        if id not in known.materials:
            raise Refusal(f'no material "{id}" here', next=suggestion(id, known.materials, "fvc material  lists them"))
    return thing


def _view(case: Case, what: str, condition: str, day: int | None) -> View | None:
    """The last look at a property under a condition; of a day, the last one that answers its time point."""
    days = case.records.schedule.days
    found: View | None = None
    for look in case.looks:
        value = said(look.seen, what)
        if not value or not stood(look.seen.condition, condition):
            continue
        if day is not None and (look.point if day in days else look.day) != day:
            continue
        rank, unit, sure = _ranked(look.seen, what)
        how = ", ".join(part for part in (look.seen.ph_by, look.seen.dilution) if part) if what == "ph" else ""
        found = View(value, look.day, look.point, look.seen.condition, rank, unit, sure, how)
    return found


def _ranked(seen: Seen, what: str) -> tuple[Fraction | None, str, Fraction]:
    """Where a property stands in an order, its unit, and how far the reading may be off. None for texts that have no order."""
    if what == "ph" and seen.ph is not None:
        return seen.ph.value, "", ph_sure_to(seen)
    if what == "clarity" and seen.clarity.casefold() in CLARITY:
        return Fraction(CLARITY.index(seen.clarity.casefold())), "", ZERO
    if what == "viscosity":
        figure, unit = figure_of(seen.viscosity)
        return figure, unit, ZERO
    return None, "", ZERO


def _made(case: Case, view: View) -> Made:
    """A batch for comparing. Raises Refusal when it cannot be read as made."""
    trial, reading = case.trial, case.reading
    assert trial is not None
    unread = [id for id in trial.premixes if id not in reading.materials]
    if unread:
        raise Refusal(f"what is in {', '.join(unread)} is not known")
    lines: dict[str, Fraction] = {}
    phases: dict[str, frozenset[str]] = {}
    for amount in reading.closure.amounts:
        id = amount.line.material
        lines[id] = lines.get(id, ZERO) + amount.counted
        phases[id] = phases.get(id, frozenset()) | {amount.line.phase}
    inside: dict[str, dict[str, Fraction]] = {}
    for id in lines:
        material = reading.materials.get(id)
        if material is not None and material.nested:
            inner = inside.setdefault(id, {})
            for each in material.inside:
                inner[each.material.id] = inner.get(each.material.id, ZERO) + each.percent
    lots: dict[str, frozenset[str]] = {}
    for id, lot, _ in lots_used(trial):
        if lot:
            lots[id] = lots.get(id, frozenset()) | {lot}
    return Made(
        id=trial.id,
        lines=lines,
        view=view,
        inside=inside,
        phases=phases,
        balance=trial.balance,
        lots=lots,
        compositions=dict(_compositions(reading, lines)),
    )


def _compositions(reading: Reading, lines: Mapping[str, Fraction]) -> Iterator[tuple[str, object]]:
    """What the records said of what is in each material of a line; premixes are compared by what they are made of."""
    for id in lines:
        material = reading.materials.get(id)
        if material is not None and not material.nested:
            yield id, (material.record.get("composition"), material.record.get("constituents"))
