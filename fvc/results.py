"""Everything that was tried of a formula and what came of it, what of it meets some conditions, and what it teaches.

Rows are batches as they were made, and variants of which none was made, by the plan they were made from. Every
record of a batch is read once; history is asked only for the plans that are shown.
"""

from __future__ import annotations

import datetime
import operator
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, brief, needed_decimals, number
from fvc.archive import Archive
from fvc.batches import read_batch
from fvc.bench import lots_used
from fvc.compare.diff import LineDiff, pair_lines
from fvc.compare.lessons import ALIKE, Departure, Lesson, Made, Thing, View, departures, lesson, thing_of
from fvc.composition import composition_of, parts_of
from fvc.errors import Fault, Refusal
from fvc.formula import BALANCE, FIXED, OPEN, PREMIX, Amount, Level, Line, VariantOf
from fvc.formulary import plan_path
from fvc.material import NOTHING, Share, certain, inci_key
from fvc.names import nearest, printable, suggestion
from fvc.reading import Reading, Side
from fvc.reference.lookup import name_is_known
from fvc.references import Reference, folder_reading, parent_of, parse_reference, resolve
from fvc.schedule import Schedule, time_point
from fvc.seeing import CLARITY, CONDITIONS, PH_SURE_TO, Judged, judged, seen_from
from fvc.trial import SALE_VERDICTS, VERDICTS, WEIGHINGS, Entry, Seen, Trial
from fvc.variants import SET_ASIDE, known_formula

PROPERTIES = ("ph", "clarity", "separation", "colour", "odour", "viscosity")  # that a lesson can be about
_SPELLED = {"color": "colour", "odor": "odour"}
NO_VERDICT = "none"


# --- rows -------------------------------------------------------------------------------------------


class Looked(NamedTuple):
    """One look at a batch. point: the day of the schedule that it answers; judged: what the spec says to it."""

    entry: Entry
    day: int
    point: int | None
    judged: tuple[Judged, ...]

    @property
    def seen(self) -> Seen:
        """What was seen."""
        return self.entry.seen or Seen()


@dataclass(frozen=True, kw_only=True, eq=False)
class Row:
    """A batch as it was made, or (trial None) a variant of which none was made.

    looks: by day. departures: of a batch from its plan. found: what of it meets the conditions asked for, in words.
    problem: why it cannot be read as made.
    """

    trial: Trial | None
    looks: tuple[Looked, ...] = ()
    departures: tuple[Departure, ...] = ()
    found: tuple[str, ...] = ()
    problem: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Tried:
    """A plan with what was made of it, oldest first. plan: as the batches name it; of a variant not made, its reference.

    against: the plan that it is held against (its parent, the revision before, the revision that was changed); "" where
    there is none, or where that cannot be told: then `problem` says why. lines: all pairs of lines.
    """

    formula: str
    plan: str
    rows: tuple[Row, ...]
    against: str = ""
    lines: tuple[LineDiff, ...] = ()
    about: VariantOf | None = None
    problem: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Results:
    """What was tried. trials, variants: how many were looked at; undecided: rows of which a condition cannot be told, in words."""

    titles: Mapping[str, str]
    plans: tuple[Tried, ...]
    only: tuple[str, ...]
    trials: int
    variants: int
    undecided: tuple[str, ...]
    problems: tuple[Fault, ...]


class _Case:
    """A row before it is asked anything; what it holds is worked out when a condition asks."""

    def __init__(self, records: Records, formula: str, plan: str, trial: Trial | None, planned: Reading | None = None) -> None:
        self.records, self.formula, self.plan, self.trial, self.planned = records, formula, plan, trial, planned

    @property
    def name(self) -> str:
        return self.trial.id if self.trial else self.plan

    @cached_property
    def reading(self) -> Reading:
        """As made; of a variant that was not made, as planned. Refusal where nothing was weighed, and the like."""
        if self.trial is None:
            assert self.planned is not None
            return self.planned
        return read_batch(self.records.archive.now, self.trial, Side(self.trial.id), self.records.plan)

    @cached_property
    def looks(self) -> tuple[Looked, ...]:
        if self.trial is None:
            return ()
        spec, schedule = self.records.spec(self.trial), self.records.schedule
        found = []
        for entry in self.trial.seen:
            seen = entry.seen or Seen()
            day = seen.day if seen.day is not None else self.trial.day_of(entry.at)
            found.append(Looked(entry, day, time_point(day, schedule.days), judged(seen, spec)))
        return tuple(sorted(found, key=lambda each: (each.day, _place(each.seen.condition, schedule.conditions), each.entry.at)))

    def row(self, found: Sequence[str], slip_above: Fraction) -> Row:
        if self.trial is None:
            return Row(trial=None, found=tuple(found), problem=self.records.broken.get(self.plan, ""))
        row = Row(trial=self.trial, looks=self.looks, found=tuple(found))
        try:
            return replace(row, departures=departures(self.trial, slip_above))
        except Refusal as refusal:  # nothing weighed yet, or more taken out than had gone in
            return replace(row, problem=refusal.faults[0].message)


def _place(condition: str, known: Sequence[str]) -> tuple[int, str]:
    return next((i for i, name in enumerate(known) if stood(condition, name)), len(known)), condition


def stood(seen: str, asked: str) -> bool:
    """True when a sample stood where it is asked for; `freeze-thaw` is any of its cycles."""
    return seen.casefold() == asked.casefold() or seen.casefold().startswith(f"{asked.casefold()} ")


class Records:
    """The batches and variants of some formulas, each read once; `problems` are those that cannot be read."""

    def __init__(self, archive: Archive, formulas: Sequence[str]) -> None:
        self.archive, self.formulas = archive, formulas
        settings = archive.now.settings()
        self.schedule: Schedule = settings.schedule
        self.slip_above = settings.slip_above
        self.problems: list[Fault] = []
        self.broken: dict[str, str] = {}
        self.cases: list[_Case] = []
        self._plans: dict[str, Reading | Refusal] = {}
        trials = []
        for formula, id in archive.now.trials():
            if formula in formulas:
                try:
                    parsed = archive.now.trial(formula, id)
                except Refusal as refusal:
                    self.problems += refusal.faults
                    continue
                self.problems += parsed.faults
                trials += [parsed.value] if parsed.value else []
        for trial in sorted(trials, key=lambda t: (t.made_on or datetime.date.min, t.id)):
            self.cases.append(_Case(self, trial.formula, trial.plan, trial))
        made = {trial.plan_ref.partition(".")[0] for trial in trials}
        for formula in formulas:
            for id in archive.now.variants(formula):
                if f"{formula}/{id}" not in made:
                    self._variant(Reference(f"{formula}/{id}", formula, id))

    def _variant(self, reference: Reference) -> None:
        try:
            reading = folder_reading(self.archive, reference)
        except Refusal as refusal:
            self.problems += refusal.faults
            return
        if reading.faults:
            self.broken[reference.plan_name] = reading.faults[0].message
        self._plans[reference.plan_name] = reading
        self.cases.append(_Case(self, reference.name, reference.plan_name, None, reading))

    def plan(self, stated: str) -> Reading | None:
        """The plan that a reference means; None where it cannot be found."""
        found = self._found(stated)
        return None if isinstance(found, Refusal) else found

    def _found(self, stated: str) -> Reading | Refusal:
        if stated not in self._plans:
            try:
                self._plans[stated] = resolve(self.archive, stated)
            except Refusal as refusal:
                self._plans[stated] = refusal
        return self._plans[stated]

    @cached_property
    def known(self) -> _Known:
        """The words that a condition may use."""
        return _known(self)

    def spec(self, trial: Trial) -> Mapping[str, object]:
        """What a batch must meet: by its own record, else by its plan as it was."""
        found = None if trial.spec else self.plan(trial.plan_ref)
        return trial.spec or (found.plan.spec if found else {})

    # --- what differs from plan to plan ---

    def tried(self, cases: Sequence[tuple[_Case, Row]]) -> tuple[Tried, ...]:
        """Rows by the plan they were made from; of each formula the plan whose first batch is the oldest first, variants not made last."""
        grouped: dict[tuple[str, str, str], list[tuple[_Case, Row]]] = {}
        for case, row in cases:
            changed = case.trial.plan_id if case.trial and "," in case.plan else ""  # two unsaved states may bear one name
            grouped.setdefault((case.formula, case.plan, changed), []).append((case, row))
        ordered = sorted(grouped.items(), key=lambda item: self.formulas.index(item[0][0]))
        return tuple(self._tried(each[0][0], tuple(row for _, row in each)) for _, each in ordered)

    def _tried(self, case: _Case, rows: tuple[Row, ...]) -> Tried:
        tried = Tried(formula=case.formula, plan=case.plan, rows=rows)
        stated = case.trial.plan_ref if case.trial else case.plan
        try:
            about, before = self._before(case, parse_reference(stated))
            tried = replace(tried, about=about)
            if before is None:
                return tried
            if isinstance(before, Refusal):
                raise before
            return replace(tried, against=before.side.ref, lines=pair_lines(before.closure.amounts, self._amounts(case, stated)))
        except Refusal as refusal:
            return replace(tried, problem=refusal.faults[0].message)

    def _before(self, case: _Case, reference: Reference) -> tuple[VariantOf | None, Reading | Refusal | None]:
        """The [variant] table, and the plan to hold this one against; None where there is none before it."""
        if reference.variant:
            found = self._found(reference.text)
            if isinstance(found, Refusal):
                return None, found
            try:
                return found.plan.variant, parent_of(self.archive, found)
            except Refusal as refusal:
                return found.plan.variant, refusal
        if not reference.ending:
            return None, None
        if case.trial and "," in case.plan:  # changed since it was saved
            return None, self._found(reference.text)
        if not reference.ending.isdigit() or len(reference.ending) > 6:  # a state by its commit, behind the revision that it still says
            state = self._found(reference.text)
            said = 0 if isinstance(state, Refusal) else state.plan.revision
            return None, self._found(f"{reference.name}.{said}") if said else None
        numbers = self.archive.introductions(reference.path) if self.archive.head else {}
        earlier = [n for n in numbers if 0 < n < int(reference.ending)]
        return None, self._found(f"{reference.name}.{max(earlier)}") if earlier else None

    def _amounts(self, case: _Case, stated: str) -> Sequence[Amount]:
        """The lines of the plan that was tried: as saved; of one that was not, as the batch says that they were asked."""
        if case.trial is not None:
            saved = "," not in case.plan and parse_reference(stated).ending
            asked = asked_amounts(case.trial)
            if not saved and abs(sum((a.counted for a in asked), ZERO) - HUNDRED) < 1:
                return asked
        found = self._found(stated)
        if isinstance(found, Refusal):
            raise found
        return found.closure.amounts


def asked_amounts(trial: Trial) -> tuple[Amount, ...]:
    """The plan of a batch, as its record says that its lines were asked for."""
    out = []
    for line in trial.asked:
        decimals = 2 if line.percent is None else min(8, max(2, needed_decimals(line.percent) or 2))
        typed = None if line.percent is None else number(brief(line.percent, 2, decimals))
        kind = BALANCE if line.balance else OPEN if line.open else FIXED
        level = Level(kind, typed.text if typed and kind == FIXED else kind, typed)
        out.append(Amount(Line(line.phase, line.material, level), line.percent, decimals))
    return tuple(out)


# --- conditions that are asked for ------------------------------------------------------------------

_COMPARE: dict[str, Callable[[Fraction, Fraction], bool]] = {
    "<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge, "=": operator.eq, "!=": operator.ne,
}  # fmt: skip
_FORM = re.compile(r'\s*(?:"([^"]+)"|([^<>=!"]+?))\s*(<=|>=|!=|=|<|>)\s*([^<>=!]+?)\s*')
_EXAMPLE = 'for example  --only "sodium-pca > 2"  or  --only "clarity = cloudy"'
_IN_ORDER = ("ph", "day", "clarity", "viscosity")  # what was seen and can be more or less


class Sought(NamedTuple):
    """One condition. kind: material, function, inci, look, where or verdict; what: which of them.

    number: what it is compared with; None for a word.
    """

    kind: str
    what: str
    op: str
    word: str
    number: Fraction | None = None


class _Known(NamedTuple):
    """The words that a condition may use, in the records at hand."""

    materials: frozenset[str]
    functions: Mapping[str, str]
    inci: Mapping[str, str]
    conditions: tuple[str, ...]
    clarities: tuple[str, ...]


def _known(records: Records) -> _Known:
    now = records.archive.now
    trials = [case.trial for case in records.cases if case.trial]
    found = [m for id in now.materials() if (m := now.ingredient(id)[0])] + [m for t in trials for m in t.materials.values()]
    ids = {*now.materials(), *now.formulas(), *(a.material for t in trials for a in t.asked), *(m for t in trials for m in t.materials)}
    seen = [e.seen for t in trials for e in t.seen if e.seen]
    return _Known(
        frozenset(ids),
        {f.casefold(): f for m in found for f in m.functions} | {PREMIX: PREMIX},
        {inci_key(name): name for m in found for name in m.composition or ()},
        tuple(dict.fromkeys([*records.schedule.conditions, *CONDITIONS, *(s.condition for s in seen)])),
        tuple(dict.fromkeys([*CLARITY, *(s.clarity.casefold() for s in seen if s.clarity)])),
    )


def sought(known: _Known, text: str) -> Sought:
    """A condition taken apart. Refusal for what is none, and for a word that is not known, with the nearest."""
    match = _FORM.fullmatch(text)
    if match is None:
        what = f'--only "{printable(text)}" cannot be read: expected WHAT, one of = != < <= > >=, and a number or a word'
        raise Refusal(what, next=_EXAMPLE)
    quoted, plain, op, right = match.groups()
    word = " ".join(right.strip("\"'").split())
    kind, what = ("inci", quoted) if quoted else _kind(plain, known)
    if kind == "inci" and not (inci_key(what) in known.inci or name_is_known(what)):
        hint = suggestion(what, known.inci.values(), "fvc material show MATERIAL  lists what one declares")
        raise Refusal(f'no material here declares "{printable(what)}"', next=hint)
    if kind in ("material", "function", "inci") or what in ("ph", "day") or (what == "viscosity" and op not in ("=", "!=")):
        try:
            return Sought(kind, what, op, word, number(word.removesuffix("%").strip()).value)
        except ValueError as error:
            raise Refusal(f'--only "{printable(text)}": "{printable(word)}": {error}', next=_EXAMPLE) from None
    if op not in ("=", "!=") and what not in _IN_ORDER:
        raise Refusal(f'--only "{printable(text)}": {what} has no order', next=f'write  --only "{what} = {printable(word)}"')
    return Sought(kind, what, op, _word(what, word, known))


def _kind(left: str, known: _Known) -> tuple[str, str]:
    low = " ".join(left.casefold().split())
    low = _SPELLED.get(low, low)
    kinds = {"verdict": "verdict", "condition": "where", "day": "where"} | dict.fromkeys((*PROPERTIES, "spray"), "look")
    if low in kinds:
        return kinds[low], low
    if low in known.materials:
        return "material", low
    if low in known.functions:
        return "function", known.functions[low]
    if inci_key(left) in known.inci:
        return "inci", known.inci[inci_key(left)]
    hint = suggestion(low, [*known.materials, *known.functions, *kinds], f"a material, a function, an INCI name, or {', '.join(kinds)}")
    raise Refusal(f'"{printable(left)}" is no material, function or property known here', next=hint)


def _word(what: str, word: str, known: _Known) -> str:
    """The word of a condition as records have it. Refusal for one that none can have."""
    low = word.casefold()
    if what == "verdict":
        return one_of(what, low.replace("-", " "), (*VERDICTS, *SALE_VERDICTS, NO_VERDICT))
    if what == "clarity":
        return seen_from(low.split()).clarity or one_of(what, low, known.clarities)
    if what == "separation":
        return seen_from(low.split()).separation or low
    if what == "condition" and not any(stood(each, low) for each in known.conditions):
        return one_of(what, low, known.conditions)
    return low


def one_of(what: str, word: str, words: Sequence[str]) -> str:
    """The word itself. Refusal for one that is not among `words`, with the nearest."""
    if word in words:
        return word
    near = nearest(word, words)
    raise Refusal(f'no {what} "{printable(word)}"', next=f"did you mean {' or '.join(near)}?" if near else f"one of: {', '.join(words)}")


def _meets(case: _Case, conditions: Sequence[Sought]) -> tuple[str, ...] | None:
    """What of a row meets all conditions, in words; None where one does not hold. Raises Refusal where one cannot be told."""
    where = [c for c in conditions if c.kind == "where"]
    looks = [look for look in case.looks if all(_stands(look, c) for c in where)]
    if where and not looks:
        return None
    found: list[str] = []
    unsure: Refusal | None = None
    if where and not any(c.kind == "look" for c in conditions):
        found += [_look_words(look, look.entry.subject) for look in looks]
    for condition in conditions:
        if condition.kind == "look":
            those = [look for look in looks if _says(look.seen, condition)]
            if not those:
                return None
            found += [_look_words(look, f"{property_words(condition.what)} {_of(look.seen, condition.what)}") for look in those]
        elif condition.kind == "verdict":
            verdict = (case.trial.verdict or NO_VERDICT) if case.trial else _set_aside(case.reading)
            if not verdict or (verdict == condition.word) != (condition.op == "="):
                return None
            found.append(f"verdict {verdict}")
        elif condition.kind != "where":
            if case.trial is not None and not any(e.action in WEIGHINGS for e in case.trial.entries):
                return None  # only begun: it holds nothing yet
            try:
                share = _share(case.reading, condition)
                if not _compares(share, condition):
                    return None
            except Refusal as refusal:
                unsure = refusal
                continue
            found.append(f"{condition.what} {_share_words(share)} % {'as made' if case.trial else 'in the plan'}")
    if unsure is not None:
        raise unsure
    return tuple(dict.fromkeys(found))


def _set_aside(planned: Reading) -> str:
    """Of a variant that was not made: `set aside` where it is, else ""."""
    about = planned.plan.variant
    return SET_ASIDE if about is not None and about.state == SET_ASIDE else ""


def _stands(look: Looked, condition: Sought) -> bool:
    if condition.number is not None:
        return _COMPARE[condition.op](Fraction(look.day), condition.number)
    return stood(look.seen.condition, condition.word) == (condition.op == "=")


def property_words(what: str) -> str:
    """How a property is written."""
    return "pH" if what == "ph" else what


def _of(seen: Seen, what: str) -> str:
    """What was seen of a property, as typed; "" for what was not looked at."""
    if what == "ph":
        return seen.ph.text if seen.ph else ""
    return str(getattr(seen, what))


def _look_words(look: Looked, text: str) -> str:
    return f"day {look.day}, {look.seen.condition}: {text}"


def _says(seen: Seen, condition: Sought) -> bool:
    value = _of(seen, condition.what)
    if not value:
        return False
    if condition.number is not None:
        figure = _figure(value)[0]
        return figure is not None and _COMPARE[condition.op](figure, condition.number)
    low = value.casefold()
    if condition.op in ("=", "!="):
        exact = condition.what == "clarity"  # a slight haze is no haze; an amber may be pale
        same = low == condition.word if exact else re.search(rf"(?<!\w){re.escape(condition.word)}(?!\w)", low) is not None
        return same == (condition.op == "=")
    ranks = [Fraction(CLARITY.index(word)) for word in (low, condition.word) if word in CLARITY]
    return len(ranks) == 2 and _COMPARE[condition.op](*ranks)


_FIGURE = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(.*)")


def _figure(text: str) -> tuple[Fraction | None, str]:
    """The figure at the beginning of a text, and what stands behind it; None where it begins with none."""
    match = _FIGURE.match(text)
    return (Fraction(match[1]), match[2].casefold()) if match else (None, "")


def _share(reading: Reading, condition: Sought) -> Share:
    """How much a reading holds of what a condition names, in percent; what is in premixes counts."""
    if condition.kind == "inci":
        inside = composition_of(reading)
        named, rest = inside.share(condition.what) or NOTHING, inside.undeclared
        return Share(None, named.low, named.high + rest.high) if rest.high else named
    parts = parts_of(reading)
    lines = reading.closure.amounts
    if condition.kind == "material":
        own = [a.counted for a in lines if a.line.material == condition.what]
        return certain(sum([*own, *(p.percent for p in parts if p.through and p.id == condition.what)], ZERO))
    if condition.what == PREMIX:
        return certain(sum((a.counted for a in lines if (m := reading.materials.get(a.line.material)) and m.nested), ZERO))
    return certain(sum((p.percent for p in parts if p.material and p.material.function == condition.what), ZERO))


def _compares(share: Share, condition: Sought) -> bool:
    """Whether a share meets a condition; `=` and `!=` allow the 1 % within which a batch is as asked. Refusal where it cannot be told."""
    assert condition.number is not None
    wanted = condition.number

    def holds(value: Fraction) -> bool:
        if condition.op in ("=", "!="):
            return (abs(value - wanted) <= ALIKE * wanted) == (condition.op == "=")
        return _COMPARE[condition.op](value, wanted)

    if share.nominal is not None:
        return holds(share.nominal)
    answers = {holds(share.low), holds(share.high)}
    if len(answers) > 1 or (condition.op in ("=", "!=") and share.low < wanted < share.high):
        raise Refusal(f"how much {condition.what} it holds is not known: {brief(share.low)} to {brief(share.high)} %")
    return answers.pop()


def _share_words(share: Share) -> str:
    return brief(share.nominal) if share.nominal is not None else f"{brief(share.low)} to {brief(share.high)}"


# --- all of it --------------------------------------------------------------------------------------


def results(archive: Archive, formulas: Sequence[str], only: Sequence[str] = ()) -> Results:
    """What was tried of these formulas; `only` what meets all conditions. Refusal for a condition that means nothing."""
    records = Records(archive, formulas)
    chosen, undecided = _chosen(records, only)
    plans = records.tried([(case, case.row(found, records.slip_above)) for case, found in chosen])
    trials = sum(case.trial is not None for case in records.cases)
    return Results(
        titles={plan.formula: _title(archive, plan.formula) for plan in plans},
        plans=plans,
        only=tuple(only),
        trials=trials,
        variants=len({each.plan_ref.partition(".")[0] for case in records.cases if (each := case.trial) and "/" in each.plan_ref})
        + len(records.cases)
        - trials,
        undecided=tuple(undecided),
        problems=tuple(dict.fromkeys(records.problems)),
    )


def _chosen(records: Records, only: Sequence[str]) -> tuple[list[tuple[_Case, tuple[str, ...]]], list[str]]:
    conditions = [sought(records.known, text) for text in only]
    chosen: list[tuple[_Case, tuple[str, ...]]] = []
    undecided: list[str] = []
    for case in records.cases:
        try:
            found = _meets(case, conditions)
        except Refusal as refusal:
            undecided.append(f"{case.name}: {refusal.faults[0].message}")
            continue
        if found is not None:
            chosen.append((case, found))
    return chosen, undecided


def _title(archive: Archive, name: str) -> str:
    try:
        plan = archive.now.plan(name).value
    except Refusal:
        plan = None
    return plan.title if plan else ""


def with_results(archive: Archive) -> list[str]:
    """All formulas in the folder, and those of which only batches are left."""
    return list(dict.fromkeys([*archive.now.formulas(), *(formula for formula, _ in archive.now.trials())]))


def formula_named(archive: Archive, name: str) -> str:
    """The formula that a name means, also one of which only batches are left. Refusal with the nearest for any other."""
    if not any(formula == name for formula, _ in archive.now.trials()) or archive.now.source.has(plan_path(name)):
        known_formula(archive, name)
    return name


# --- what it teaches --------------------------------------------------------------------------------


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
    what = one_of("property", _SPELLED.get(low, low), PROPERTIES)
    meant = _thing(records.known, thing)
    where = _word("condition", " ".join(condition.split()), records.known)
    chosen, undecided = _chosen(records, only)
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


def _thing(known: _Known, text: str) -> Thing:
    try:
        thing = thing_of(text.strip())
    except ValueError as error:
        raise Refusal(f'--learn "{printable(text)}" cannot be read: {error}', next="for example  --learn propanediol ph") from None
    for id in thing.materials:
        if id not in known.materials:
            raise Refusal(f'no material "{id}" here', next=suggestion(id, known.materials, "fvc material  lists them"))
    return thing


def _view(case: _Case, what: str, condition: str, day: int | None) -> View | None:
    """The last look at a property under a condition; of a day, the last one that answers its time point."""
    days = case.records.schedule.days
    found: View | None = None
    for look in case.looks:
        value = _of(look.seen, what)
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
        return seen.ph.value, "", PH_SURE_TO.get(seen.ph_by, Fraction(1, 20))
    if what == "clarity" and seen.clarity.casefold() in CLARITY:
        return Fraction(CLARITY.index(seen.clarity.casefold())), "", ZERO
    if what == "viscosity":
        figure, unit = _figure(seen.viscosity)
        return figure, unit, ZERO
    return None, "", ZERO


def _made(case: _Case, view: View) -> Made:
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
