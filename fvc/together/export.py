"""What goes along when a formula is handed on: chosen field by field for a student, an assessor or a label.

Nothing of a record is taken as a whole, so a field that is new tomorrow stays at home until somebody adds it here.
Prices, notes, reasons, questions, lots and what was said in free words go to nobody.

Ranges for a student, case by case:
1  a level            from a step of the ladder 1, 2, 5, 10, 20, 50, 100 (and its tenths, hundredths …) to another, around the level
2  its upper end      the first step at or above the level; the supplier's highest use level where that is lower and the level keeps to it
3  its lower end      the highest step that is at most half of the upper end, so it is always below the level
4  the balance        "to 100", no figure; in a formula that stands in another "the rest of it"
5  without a balance  the largest line stands in its place: a total and all other lines but one would give that one away
6  nothing, or open   0 stays 0; an open line without expectation has no range
Steps do not depend on the level, so a range tells only between which two steps it lies; a level may move in it while the total stays.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import takewhile
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, Typed, figure, needed_decimals, shown
from fvc.archive import Archive
from fvc.compare.pairing import partners
from fvc.composition import ADDED, Composition, Part, composition_of, parts_of
from fvc.contents import INSIDE, TYPICAL, contents_of, total
from fvc.errors import Fault, Refusal
from fvc.formula import OPEN, RATIO, Amount, Phase
from fvc.formulary import Formulary
from fvc.material import Material, Share
from fvc.reading import Reading, Side
from fvc.reference.lookup import known, oil_named
from fvc.references import parse_reference
from fvc.rules.basis import EU, HOUSE, Basis
from fvc.rules.case import case_of
from fvc.rules.finding import Finding, NotChecked
from fvc.rules.label import Label, label
from fvc.seeing import judged
from fvc.trial import Entry, Seen, Trial
from fvc.trials import trial_named

STUDENT, ASSESSOR, LABEL = "student", "assessor", "label"
AUDIENCES = (STUDENT, ASSESSOR, LABEL)

TO_100, THE_REST = "to 100", "the rest of it"
CARE = (
    "Weigh them exactly, on a scale that resolves them; wear goggles and gloves with acids and lyes. What may be used, and how much of it, is for local "
    "regulation, the suppliers' documents and a qualified safety assessor to say: nobody assessed this formula by handing it on."
)
RANGES = (
    "Ranges are steps of a ladder (1, 2, 5, 10 and so on) around each level, cut at the supplier's highest use level. "
    "They say nothing of what is safe or allowed: an upper end may be beyond it."
)
NOT_ASSESSED = (
    "Figures are those of the maker's records, and typical ones where it says so. What is not known is said as unknown. "
    "This is not a safety assessment."
)


class Head(NamedTuple):
    """What it is, so that the receiver can name it.

    name: `face-toner`, `face-toner/less-scent`, or the id of a batch. state: in words. moment: the reference of the saved
    state, `face-toner.1da23e55`; "" for what is not saved. spec: its keys with their words.
    """

    title: str
    name: str
    side: Side
    state: str
    moment: str
    on: datetime.date
    use: tuple[str, ...]
    spec: Mapping[str, object]


# --- for a student ----------------------------------------------------------------------------------


class Given(NamedTuple):
    """A line as a student gets it.

    how: what sets it, in words; "" for a number. text: the percent of the whole as shown, "" where it is withheld or not known.
    between: its range, where ranges were asked for. inside: the formula that stands here as a material.
    """

    phase: str
    material: str
    inci: tuple[str, ...]
    functions: tuple[str, ...]
    kind: str
    how: str
    percent: Fraction | None
    text: str
    between: tuple[Fraction, Fraction] | None
    grams: Fraction | None
    inside: Handed | None


class Handed(NamedTuple):
    """A formula, or one that stands in another: its phases with what is done to them, and its lines at their percent of the whole."""

    title: str
    phases: tuple[Phase, ...]
    lines: tuple[Given, ...]


@dataclass(frozen=True, kw_only=True)
class ForStudent:
    """The formula without where anything comes from. care: what is in it that asks for care, in words."""

    head: Head
    formula: Handed
    ranges: bool
    batch: Fraction | None
    care: tuple[str, ...]


def for_student(
    archive: Archive, reading: Reading, on: datetime.date, *, ranges: bool = False, batch: Fraction | None = None
) -> ForStudent:
    """The formula by phase, formulas that stand in it as formulas of their own."""
    _check(reading)
    if reading.side.made:
        raise Refusal(
            f"{reading.plan.id} is a batch as it was made; a student gets a plan",
            next="name the plan, such as  face-toner  or  face-toner.4",
        )
    moment = archive.at(reading.side.commit) if reading.side.commit else archive.now
    return ForStudent(
        head=head_of(archive, reading, on),
        formula=_handed(moment, reading, Fraction(1), ranges, batch, TO_100),
        ranges=ranges,
        batch=batch,
        care=tuple(_care(reading)),
    )


def _handed(moment: Formulary, reading: Reading, part: Fraction, ranges: bool, batch: Fraction | None, rest: str) -> Handed:
    """part: how much of the whole this formula is. rest: what to say of the line that closes it."""
    amounts = reading.closure.amounts
    closing = reading.closure.balance or (max(amounts, key=lambda a: a.counted) if ranges else None)
    lines = [_given(moment, reading, a, part, ranges, batch, rest if a is closing else "") for a in amounts]
    return Handed(reading.plan.title, reading.plan.phases, tuple(lines))


def _given(
    moment: Formulary, reading: Reading, amount: Amount, part: Fraction, ranges: bool, batch: Fraction | None, closing: str
) -> Given:
    line, material = amount.line, reading.materials[amount.line.material]
    percent = None if amount.percent is None or amount.waits_for else amount.percent * part
    between = range_of(percent, material.use_level) if ranges and percent is not None and not closing else None
    inside = None
    if material.nested:
        of_it = moment.read(moment.plan(material.id), Side(material.id))
        inside = _handed(moment, of_it, part * amount.counted / HUNDRED, ranges, batch, THE_REST)
    return Given(
        phase=line.phase,
        material=line.material,
        inci=() if material.nested else tuple(material.composition or ()),
        functions=material.functions,
        kind=line.level.kind,
        how=closing or _how(amount, reading, ranges),
        percent=None if ranges else percent,
        text="" if ranges or percent is None else (amount.text or "") if part == 1 else percent_words(percent),
        between=between,
        grams=percent * batch / HUNDRED if batch is not None and percent is not None else None,
        inside=inside,
    )


def _how(amount: Amount, reading: Reading, ranges: bool) -> str:
    """What sets a line that has no number of its own."""
    level = amount.line.level
    if level.kind == OPEN:
        return open_words(amount, reading)
    if ranges:
        return "follows what is set at the bench" if amount.waits_for else ""
    return level.text if level.kind == RATIO else ""


def open_words(amount: Amount, reading: Reading) -> str:
    """What an open line is set to, by the spec: `set at the bench to pH 4.6 to 5.2; the figure is what to expect`."""
    ph = reading.plan.spec.get("ph")
    to = f" to pH {ph[0].text} to {ph[1].text}" if isinstance(ph, tuple) else ""
    return f"set at the bench{to}" + ("" if amount.percent is None else "; the figure is what to expect")


def range_of(level: Fraction, use_level: tuple[Typed, Typed] | None = None) -> tuple[Fraction, Fraction]:
    """The range around a level: cases 1, 2, 3 and 6 of the table."""
    if level == 0:  # case 6
        return ZERO, ZERO
    *_, top = takewhile(lambda step: step >= level, _ladder())  # case 2
    if use_level and level <= use_level[1].value < top:
        top = use_level[1].value
    return next(step for step in _ladder() if 2 * step <= top), top  # case 3


def _ladder() -> Iterator[Fraction]:
    """100, 50, 20, 10, 5, 2, 1 and on."""
    step = HUNDRED
    while True:
        yield from (step, step / 2, step / 5)
        step /= 10


def _care(reading: Reading) -> Iterator[str]:
    """The kinds of raw materials in a formula that ask for care, by their records or by what fvc knows of their names."""
    materials = [p.material for p in parts_of(reading) if p.material]
    names = [inci for m in materials for inci, share in (m.composition or {}).items() if share.high]
    first = {found.functions[0] for inci in names if (found := known(inci))}
    if any(m.does("essential oil", "fragrance") for m in materials) or any(map(oil_named, names)):
        yield "essential oils or fragrance"
    if any(m.does("preservative") for m in materials) or "preservative" in first:
        yield "preservatives"
    if any(m.does("pH adjuster") for m in materials) or "pH adjuster" in first:
        yield "acids or lyes"
    if any(m.composition is None for m in materials):
        yield "raw materials whose composition is not declared"


# --- for an assessor --------------------------------------------------------------------------------


class Assessed(NamedTuple):
    """A raw material in the product: percent as supplied, None where it is not known; how: what sets it, where that is the bench.

    through: the formulas that it stands in, the one of the line first.
    """

    phase: str
    material: str
    through: tuple[str, ...]
    functions: tuple[str, ...]
    percent: Fraction | None
    text: str
    how: str


class Bought(NamedTuple):
    """A raw material as bought; "" for what its record does not say. source: where the figures of its record come from.

    composition: percent of the material by INCI name, None where the record declares none. constituents: inside these.
    """

    id: str
    name: str
    supplier: str
    code: str
    source: str
    composition: Mapping[str, Share] | None
    undeclared: Share
    constituents: Mapping[str, Share]


class Inside(NamedTuple):
    """What is inside ingredients: how: by a record (`inside`) or by what is `typical` of an oil; by: of which materials."""

    inci: str
    share: Share
    how: str
    by: tuple[str, ...]


class Look(NamedTuple):
    """One look at a batch: what was seen of each property, with its verdict against the spec, "" where nothing was to compare."""

    day: int
    condition: str
    seen: tuple[tuple[str, str, str], ...]


class MadeLine(NamedTuple):
    """A line of a batch: percent of this formula and as made, None where one of the two does not have it."""

    phase: str
    material: str
    percent: Fraction | None
    made: Fraction | None


class Tested(NamedTuple):
    """What came of a batch; verdict: "" while there is none."""

    id: str
    plan: str
    made_on: datetime.date | None
    verdict: str
    spec: Mapping[str, object]
    lines: tuple[MadeLine, ...]
    deviations: tuple[str, ...]
    looks: tuple[Look, ...]


@dataclass(frozen=True, kw_only=True)
class ForAssessor:
    """Everything that is known of the product, and what is not; no prices, no private words.

    lines: in the order of addition, formulas that stand in it taken apart. rules: of law. findings, not_checked: of limits.
    """

    head: Head
    lines: tuple[Assessed, ...]
    bought: tuple[Bought, ...]
    composition: Composition
    inside: tuple[Inside, ...]
    label: Label
    rules: tuple[str, ...]
    findings: tuple[Finding, ...]
    not_checked: tuple[NotChecked, ...]
    tested: tuple[Tested, ...]


def for_assessor(archive: Archive, reading: Reading, on: datetime.date, basis: Basis, tested: Sequence[Tested]) -> ForAssessor:
    """Percentages, what the raw materials are and hold, the product by INCI name, allergens, limits of law, results."""
    from fvc.rules.check import CHECKS, OF_LIMIT  # with all that estimates: not for a label or a student

    _check(reading)
    parts = parts_of(reading)
    rules = laws(basis)
    case = case_of(reading, basis, rules)
    outcome = [o for c in CHECKS if c.of == OF_LIMIT and (not c.rules or set(c.rules) & set(rules)) for o in c.run(case)]
    return ForAssessor(
        head=head_of(archive, reading, on),
        lines=tuple(_assessed(p, reading) for p in parts),
        bought=tuple({p.id: _bought(p.material) for p in parts if p.material}.values()),
        composition=composition_of(reading),
        inside=tuple(_inside(reading)),
        label=label(reading, rules[0], None, on, basis.names),
        rules=rules,
        findings=tuple(o for o in outcome if isinstance(o, Finding)),
        not_checked=tuple(dict.fromkeys(o for o in outcome if isinstance(o, NotChecked))),
        tested=tuple(tested),
    )


def _assessed(part: Part, reading: Reading) -> Assessed:
    amount = part.amount
    percent = None if amount.percent is None or amount.waits_for else part.percent
    text = "" if percent is None else percent_words(percent) if part.through else amount.text or ""
    how = open_words(amount, reading) if amount.line.level.kind == OPEN else ""
    return Assessed(amount.line.phase, part.id, part.through, part.material.functions if part.material else (), percent, text, how)


def _bought(m: Material) -> Bought:
    return Bought(m.id, m.name, m.supplier, _of_record(m, "code"), _of_record(m, "source"), m.composition, m.undeclared, m.constituents)


def _of_record(material: Material, key: str) -> str:
    value = material.record.get(key)
    return value if isinstance(value, str) else ""


def _inside(reading: Reading) -> Iterator[Inside]:
    for each in contents_of(reading).by_key.values():
        for how in (INSIDE, TYPICAL):
            if some := [c for c in each if c.how == how]:
                yield Inside(some[0].inci, total(some), how, tuple(dict.fromkeys(c.part.id for c in some)))


def tested(reading: Reading, trial: Trial, made: Reading, deviations: Sequence[str], spec: Mapping[str, object]) -> Tested:
    """The results of a batch beside the formula that is handed on.

    made: the batch as a reading. deviations: without the maker's reasons. spec: what the batch had to meet.
    """
    here, there = reading.closure.amounts, made.closure.amounts
    partner = partners([a.line for a in here], [a.line for a in there])
    lines = [
        MadeLine(a.line.phase, a.line.material, here[partner[i]].percent if i in partner else None, a.percent) for i, a in enumerate(there)
    ]
    lines += [MadeLine(a.line.phase, a.line.material, a.percent, None) for i, a in enumerate(here) if i not in partner.values()]
    looks = tuple(_look(trial, entry, spec) for entry in trial.seen)
    return Tested(trial.id, trial.plan, trial.made_on, trial.verdict, spec, tuple(lines), tuple(deviations), looks)


def _look(trial: Trial, entry: Entry, spec: Mapping[str, object]) -> Look:
    seen = entry.seen or Seen()
    verdicts = {j.what: j.verdict for j in judged(seen, spec)}
    how = ", ".join(t for t in (seen.ph_by, f"at {seen.temperature}" if seen.temperature else "", seen.dilution) if t)
    found = {
        "pH": seen.ph.text + (f" ({how})" if how else "") if seen.ph else "",
        **{what: getattr(seen, what) for what in ("clarity", "separation", "colour", "odour", "viscosity")},
    }
    values = tuple((what, text, verdicts.get(what, "")) for what, text in found.items() if text)
    return Look(seen.day if seen.day is not None else trial.day_of(entry.at), seen.condition, values)


def trial_of(archive: Archive, reading: Reading, text: str) -> Trial:
    """The batch that is named. Refusal for one of another formula."""
    trial = trial_named(archive, text)
    if reading.side.made:
        formula = next(f for f, id in archive.now.trials() if id == reading.plan.id)
    else:
        formula = parse_reference(reading.side.ref).name
    if trial.formula != formula:
        raise Refusal(f"{trial.id} is a batch of {trial.formula}, not of {formula}", next=f"fvc trial list {formula}  lists its batches")
    return trial


def without_reasons(trial: Trial) -> Trial:
    """A batch without the maker's reasons, which deviations would quote."""
    return replace(trial, entries=tuple(e._replace(because="") for e in trial.entries))


# --- for a label ------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class ForLabel:
    """The names in order, and nothing else."""

    head: Head
    label: Label


def for_label(archive: Archive, reading: Reading, on: datetime.date, basis: Basis) -> ForLabel:
    """The ingredient declaration. Refusal where names are known to be missing from it: a list handed on is taken for whole."""
    _check(reading)
    faults = [
        Fault(
            f"{p.words} declares no composition, so its names would be missing",
            next="take it from the supplier's sheet, under [composition]",
        )
        for p in parts_of(reading, ADDED)
        if p.percent and p.material and p.material.composition is None
    ]
    faults += [
        Fault(f"{a.line.material} is open and says nothing of what to expect, so its names would be missing", next="give it  expect = 0.40")
        for a in reading.closure.amounts
        if a.line.level.kind == OPEN and a.percent is None
    ]
    if faults:
        raise Refusal(dict.fromkeys(faults))
    return ForLabel(head=head_of(archive, reading, on), label=label(reading, laws(basis)[0], None, on, basis.names))


Export = ForStudent | ForAssessor | ForLabel


# --- for all ----------------------------------------------------------------------------------------


def percent_words(value: Fraction) -> str:
    """A percent that was worked out: exact with at least two decimals where it ends, else the digits that count."""
    return figure(value) if needed_decimals(value) is None else shown(value, 2)


def laws(basis: Basis) -> tuple[str, ...]:
    """The rule sets of law that the formulary names; limits of the house are nobody else's business."""
    return tuple(r for r in basis.chosen() if r != HOUSE) or (EU,)


def _check(reading: Reading) -> None:
    if not reading.sound:
        raise Refusal(f if f.next else f._replace(next="mend the plan first; fvc sheet shows it") for f in reading.faults)


def head_of(archive: Archive, reading: Reading, on: datetime.date) -> Head:
    """What a reading is called and which saved state it is."""
    plan, side = reading.plan, reading.side
    name = plan.id if side.made else parse_reference(side.ref).plan_name
    commit = side.commit or (archive.head if side.saved else None)
    return Head(
        title=plan.title or plan.id,
        name=name,
        side=side,
        state=_state(side),
        moment=f"{name}.{commit[:8]}" if commit and not side.made else "",
        on=on,
        use=plan.use,
        spec=plan.spec,
    )


def _state(side: Side) -> str:
    """`revision 4`, `as in the folder, changed since revision 4`."""
    number = f"revision {side.revision}"
    if side.made:
        return "as made"
    if side.commit or side.saved:
        return (number if side.revision else "saved without a revision") + (", with later changes" if side.later else "")
    if not side.revision:
        return "as in the folder, not saved yet"
    return f"as in the folder, changed since {number}" if side.under_git else f"as in the folder, {number} by its file, without a history"
