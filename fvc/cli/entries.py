"""Entries of a batch without a session: each of `fvc trial weighed, added, lost …` writes one, in the order in which things happened."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Annotated, Any

import typer

from fvc.amounts import ZERO, celsius, exact, minutes, shown, volume
from fvc.archive import Archive
from fvc.bench import (
    account,
    batch_now,
    beakers_apart,
    on_the_scale,
    restoring,
    same_beaker,
    short_of_weight,
    step_of_scale,
    targets,
    vessel_before,
    water_of,
)
from fvc.cli.parsing import AsJson, confirmed, interactive, open_archive, print_json, screen
from fvc.deviations import grams as in_grams
from fvc.errors import EXIT_DONE, Refusal
from fvc.names import beginning, printable
from fvc.scales import Weight, weight_from_text
from fvc.slips import ADD, BALANCE_GIVES, ENLARGE, TAKE_BACK, Slip, WayOut, is_wild, slip_of, taken_back
from fvc.trial import LOSSES, OPERATIONS, REWORKINGS, WEIGHINGS, Entry, Trial, in_force
from fvc.trials import UNSTAMPED, add_entries, all_trials, author, material_of, stamped, the_open_one, trial_named

Words = Annotated[list[str], typer.Argument(metavar="[TRIAL] ...", help="The batch, where several are open, and what the usage line says.")]
At = Annotated[str, typer.Option("--at", metavar="TIME", help="When it happened, if earlier: 14:20, or '2026-03-01 14:20'.")]
Phase = Annotated[str, typer.Option("--phase", metavar="PHASE", help="The phase, before phases are combined.")]
Lot = Annotated[str, typer.Option("--lot", metavar="LOT", help="Lot of the material; of a premix the id of its batch.")]
Because = Annotated[str, typer.Option("--because", metavar="TEXT", help="Why.")]
Corrects = Annotated[str, typer.Option("--corrects", metavar="ENTRY", help="The entry that this one corrects, by its id.")]
By = Annotated[str, typer.Option("--by", metavar="NAME", help="Who did it; without it, git's identity.")]
CheckedBy = Annotated[str, typer.Option("--checked-by", metavar="NAME", help="Who looked over it.")]
Sure = Annotated[bool, typer.Option("--sure", help="Yes, it is meant so: a weight far from its target, a lot past its day.")]
Temperature = Annotated[str, typer.Option("--temperature", metavar="T", help="71C or 160F.")]
Hold = Annotated[str, typer.Option("--hold", metavar="TIME", help="For how long, such as 15min.")]
Speed = Annotated[str, typer.Option("--speed", metavar="TEXT", help="Of the stirrer, such as 3000rpm.")]


def chosen(archive: Archive, words: Sequence[str], fewest: int, *, bench: bool = True) -> tuple[Trial, list[str]]:
    """The batch that is meant, and the words behind it: named first, or the open one.

    The first word is the batch when it is the beginning of an id that has a hyphen, and enough words follow it.
    """
    rest = list(words)
    ids = [id for _, id in archive.now.trials()]
    first = rest[0].lower() if rest else ""
    if "-" in first and len(rest) > fewest and beginning(first, ids):
        return trial_named(archive, first), rest[1:]
    if (rest and first in ids) or re.fullmatch(r"[a-z0-9]{1,10}-[0-9]{6}-[a-z0-9-]*", first):  # an id, if only a mistyped one
        return trial_named(archive, first), rest[1:]
    return the_open_one(archive, bench=bench), rest


def grams_of(words: Sequence[str], example: str) -> Weight:
    """The weight that words say. Refusal naming what is wrong."""
    text = " ".join(words)
    try:
        return weight_from_text(text)
    except ValueError as error:
        raise Refusal(f'"{printable(text)}" is no weight: {error}', next=f"for example  {example}") from None


def record(
    archive: Archive,
    trial: Trial,
    at: str,
    by: str,
    make: Callable[[Trial, datetime.datetime, datetime.datetime | None], Entry],
    *,
    corrects: str = "",
    said: bool = False,
) -> tuple[Trial, Entry]:
    """Write one entry; the record as it is then, and the entry in it.

    corrects: the entry that it corrects, whose time it takes over where none is typed. said: a closed batch may take it.
    """
    who = author(archive, by)

    def entries(now: Trial) -> list[Entry]:
        happened, written = stamped(now, at, corrects=corrects)
        entry = make(now, happened, written)._replace(by=who)
        check_open(now, entry, said=said)
        return [entry]

    after = add_entries(archive, trial, entries)
    return after, after.entries[-1]


def enter(
    words: Sequence[str],
    fewest: int,
    usage: str,
    make: Callable[[Archive, Trial, list[str]], Entry],
    *,
    at: str,
    by: str,
    as_json: bool,
    hint: Callable[[Trial], str] = lambda _: "",
) -> int:
    """What all words that write one entry do: find the batch, make the entry, have it on disk, say what it did.

    fewest: words that must follow the batch. make: gives the entry without its time. hint: a sentence about the record with it.
    """
    archive = open_archive()
    trial, rest = chosen(archive, words, fewest)
    if len(rest) < fewest:
        raise Refusal("something is missing", next=f"fvc trial {usage}")
    entry = make(archive, trial, rest)
    after, written = record(archive, trial, at, by, lambda _, t, w: entry._replace(at=t, written=w), corrects=entry.corrects)
    return _told(after, written, as_json, hint=hint(after))


def sure(question: str, way: str, *, said: bool) -> None:
    """Go on when told or when the answer is yes; Refusal, with the flag that says yes, otherwise."""
    if said or (interactive() and confirmed(f"{question} Is that right?")):
        return
    raise Refusal(question, next=way)


def too_much(question: str, *, said: bool) -> None:
    """Ask about a weight of the product that cannot be right."""
    sure(question, "for example  fvc trial bulk 612.30-125.00;  or add  --sure", said=said)


def check_open(trial: Trial, entry: Entry, *, said: bool) -> None:
    """Refuse what changes a batch that was closed, unless it is said why."""
    changes = (*WEIGHINGS, *LOSSES, *REWORKINGS, *OPERATIONS)
    if trial.closed and entry.action in changes and not entry.because and not said:
        raise Refusal(f"{trial.id} is closed: {trial.verdict}", next="if it is still to be noted, say why:  --because TEXT")


def check_corrects(trial: Trial, corrects: str, kinds: Sequence[str] = ()) -> str:
    """The id of the entry that is corrected, by its beginning. Refusal for none, and for one of another kind. kinds: empty for any."""
    if not corrects:
        return ""
    found = beginning(corrects, [e.id for e in trial.entries])
    if len(found) != 1:
        listed = ", ".join(f"{e.id} ({e.action} {e.subject})" for e in trial.entries[-6:])
        raise Refusal(f'{trial.id} has no one entry "{printable(corrects)}"', next=f"the last ones: {listed}")
    wrong = entry_of(trial, found[0])
    if kinds and wrong.action not in kinds:
        raise Refusal(
            f"{wrong.id} is no such entry: {wrong.action} {wrong.subject}",
            next=f"what should not have happened is taken back by a note:  fvc trial noted {trial.id} TEXT --corrects {wrong.id}",
        )
    return found[0]


def entry_of(trial: Trial, id: str) -> Entry:
    """An entry by its id."""
    return next(e for e in trial.entries if e.id == id)


def known_phase(trial: Trial, name: str) -> str:
    """A phase of the batch as it is written there. Refusal with the choices."""
    known = list(dict.fromkeys([a.phase for a in trial.asked]))
    match = next((p for p in known if p.lower() == name.lower()), None)
    if match is None:
        raise Refusal(f'{trial.id} has no phase "{printable(name)}"', next=f"its phases: {', '.join(known)}")
    return match


def slip_in(archive: Archive, trial: Trial, phase: str, material: str) -> Slip | None:
    """The slip of a line that was just weighed, with what stock and vessel say; None when it is within tolerance."""
    settings = archive.now.settings()
    stock = {}
    for line in trial.asked:
        found, _, _ = archive.now.ingredient(line.material)
        if found is not None:
            stock[line.material] = found
    try:
        vessel = volume(trial.vessel) if trial.vessel else None
    except ValueError:  # its size in grams: as good as mL at 1 g/mL
        vessel = weight_from_text(trial.vessel).grams
    density = getattr(trial.spec.get("density"), "value", None)
    return slip_of(
        trial,
        phase,
        material,
        balance=trial.balance,
        slip_above=settings.slip_above,
        stock=stock,
        density=density,
        vessel=vessel,
        today=datetime.date.today(),
    )


def check_lot(archive: Archive, material: str, lot: str, *, said: bool, on: datetime.date | None = None, grams: Fraction = ZERO) -> str:
    """The lot as it is to be noted: of a premix the whole id of its batch.

    Asks about a lot past its last day, a batch that was not fit, one that has not so much left, and one that is none.
    on: the day of use; today without it.
    """
    if not lot:
        return lot
    known, _, _ = archive.now.ingredient(material)
    until = next((each.use_by for each in known.lots if each.number == lot), None) if known else None
    if known is not None and known.nested:
        from fvc.lots import NOT_FOR_USE, batches_on_shelf, ledger_of

        trials, _ = all_trials(archive)
        batches = {t.id: t for t in trials if t.formula == material}
        found = beginning(lot.lower(), batches)
        if len(found) != 1:
            what = "several batches" if found else "no batch"
            sure(
                f"{lot} is {what} of {material}, so its plan would count instead of what was made.",
                f"batches of it: {', '.join(found or batches) or 'none'}; or add  --sure",
                said=said,
            )
        else:
            lot = found[0]
            until = batches[lot].use_by
            if batches[lot].verdict in NOT_FOR_USE:
                sure(f"{lot} was closed as {batches[lot].verdict}.", "add  --sure  to use it all the same", said=said)
            left = next((b.grams for b in batches_on_shelf(ledger_of(archive), material) if b.number == lot), None)
            if left is not None and grams > left:
                sure(f"{lot} has {in_grams(left)} g left, and this would be {in_grams(grams)} g.", "correct it, or add  --sure", said=said)
    if until is not None and until < (on or datetime.date.today()):
        sure(f"{material}, lot {lot}, is past its last day, {until}.", "use another lot, or add  --sure  to use it all the same", said=said)
    return lot


def check_weight(trial: Trial, phase: str, material: str, weight: Weight, *, said: bool, correcting: bool = False) -> None:
    """Ask about a weight that is far from what is asked: 1.5 kg where 1.5 g was meant."""
    line = next((t for t in targets(trial) if t.material == material and (t.phase == phase or not phase)), None)
    if line is None or line.grams is None:
        size = on_the_scale(trial, phase) if phase else ZERO
        if size and weight.grams > 2 * size:
            sure(f"{in_grams(weight.grams)} g of {material} is more than all that is there.", "correct it, or add  --sure", said=said)
        return
    if line.open:  # it goes in by portions, to a reading; only what is more than all that is there is asked about
        whole = batch_now(trial)
        if whole and weight.grams > whole:
            sure(f"{in_grams(weight.grams)} g of {material} is more than the whole batch.", "correct it, or add  --sure", said=said)
        return
    if line.settled and not correcting and line.missing <= step_of_scale(trial) and line.weighed:
        sure(
            f"{material} is in already, {in_grams(line.weighed)} g of {in_grams(line.grams)} g, and this would be {in_grams(weight.grams)} g more.",
            f"to correct what was noted:  --corrects {_weighing_of(trial, material)};  if more of it did go in:  --sure",
            said=said,
        )
        return
    wanted = line.grams if correcting or line.weighed == 0 else line.missing
    if is_wild(weight.grams, wanted) and not (line.weighed and weight.grams < wanted):
        sure(
            f"{material}: {in_grams(weight.grams)} g, and {in_grams(wanted)} g are asked for.",
            "correct it, or add  --sure  if it is meant so",
            said=said,
        )


def _weighing_of(trial: Trial, material: str) -> str:
    return next(e.id for e in reversed(in_force(trial.entries)) if e.subject == material and e.action in ("weighed", "added"))


def _told(trial: Trial, entry: Entry, as_json: bool, slip: Slip | None = None, hint: str = "") -> int:
    """Say what was written, what it did, and what comes next."""
    if as_json:
        print_json(
            {"schema": 1, "trial": trial.id, "entry": entry.id, "action": entry.action, "of": entry.subject}
            | {"grams": exact(entry.grams) if entry.grams is not None else None, "at": entry.at.isoformat(), "slip": _slip_data(slip)}
        )
        return EXIT_DONE
    from fvc.show.trials import happened
    from fvc.show.trials import slip as show_slip

    out = screen()
    out.say(f"{trial.id}  {entry.id}  {happened(entry)}")
    if slip is not None:
        show_slip(out, slip, {way.way: _typed(trial, entry, slip, way) for way in slip.ways})
    if hint:
        out.say(hint)
    following = next((t for t in targets(trial) if not t.settled and not t.open), None)
    if following is not None and entry.action in ("weighed", "added", "omitted", "retargeted", "enlarged"):
        out.say(f"next: {following.material} {in_grams(following.missing)} g (phase {following.phase})")
    return EXIT_DONE


def _typed(trial: Trial, entry: Entry, slip: Slip, way: WayOut) -> str:
    """The command that carries a way out, since there is no session to do it; "" where there is nothing to do."""
    material = called(trial, slip.target.phase, slip.target.material)
    if way.way == TAKE_BACK:
        portion = taken_back(trial, slip)
        if portion is None:
            return ""
        left = (portion.grams or ZERO) - slip.over
        return f"fvc trial {portion.action} {trial.id} {material} {in_grams(left)} --corrects {portion.id}"
    if way.way == ADD:
        return f"fvc trial {entry.action} {trial.id} {material} {in_grams(-slip.over)}"
    if way.way == ENLARGE:
        return f"fvc trial enlarged {trial.id} {in_grams(way.batch)}g --because {slip.target.material}"
    if way.way == BALANCE_GIVES:
        line = way.later[0]
        return f"fvc trial retargeted {trial.id} {called(trial, line.phase, line.material)} {in_grams(line.grams)}"
    return ""


def called(trial: Trial, phase: str, material: str) -> str:
    """How a line is named on the command line: with its phase where its material stands in several."""
    return f"{phase}:{material}" if len({a.phase for a in trial.asked if a.material == material}) > 1 else material


def _slip_data(slip: Slip | None) -> dict[str, Any] | None:
    if slip is None:
        return None

    def portions(given: Sequence[Any]) -> list[dict[str, str]]:
        return [{"phase": p.phase, "material": p.material, "grams": exact(p.grams)} for p in given]

    return {
        "material": slip.target.material,
        "phase": slip.target.phase,
        "target": exact(slip.target.grams or ZERO),
        "over": exact(slip.over),
        "planned_percent": exact(slip.planned),
        "percent": exact(slip.left),
        "ways": [
            {
                "way": w.way,
                "now": portions(w.now),
                "later": portions(w.later),
                "batch_g": exact(w.batch) if w.batch is not None else None,
                "against": list(w.against),
            }
            for w in slip.ways
        ],
    }


def phase_for(trial: Trial, named: str, phase: str, material: str) -> tuple[str, bool]:
    """(phase that a weighing belongs to, True when the sheet does not ask for it there)."""
    if named or phase:
        return known_phase(trial, named or phase), False
    lines = [t for t in targets(trial) if t.material == material]
    waiting = [t for t in lines if not t.settled]
    if lines:
        return (waiting or lines)[0].phase, False
    last = next((e.phase for e in reversed(trial.entries) if e.action == "weighed" and e.phase), "")
    return last or (trial.asked[0].phase if trial.asked else ""), True


# --- the words --------------------------------------------------------------------------------------


def weighed(
    words: Words,
    lot: Lot = "",
    phase: Phase = "",
    at: At = "",
    corrects: Corrects = "",
    because: Because = "",
    by: By = "",
    checked_by: CheckedBy = "",
    sure: Sure = False,
    as_json: AsJson = False,
) -> int:
    """A line of the sheet was weighed in; 342.60-336.15 is by difference. Says at once what a slip did, and the ways out."""
    return _in("weighed", words, lot, phase, at, corrects, because, by, checked_by, sure, as_json)


def added(
    words: Words,
    lot: Lot = "",
    phase: Phase = "",
    at: At = "",
    corrects: Corrects = "",
    because: Because = "",
    by: By = "",
    checked_by: CheckedBy = "",
    sure: Sure = False,
    as_json: AsJson = False,
) -> int:
    """Something went into the mixed batch later, such as an acid to the pH; it closes an open line of the sheet."""
    return _in("added", words, lot, phase, at, corrects, because, by, checked_by, sure, as_json)


def _in(
    action: str,
    words: Sequence[str],
    lot: str,
    phase: str,
    at: str,
    corrects: str,
    because: str,
    by: str,
    checked_by: str,
    said: bool,
    as_json: bool,
) -> int:
    archive = open_archive()
    trial, rest = chosen(archive, words, 2)
    if len(rest) < 2:
        raise Refusal("something is missing", next=f"fvc trial {action} [TRIAL] MATERIAL GRAMS")
    if re.match("[0-9.]+[a-z]*$", rest[0]) and not re.match("[0-9]", rest[-1]):
        raise Refusal("the material comes first, then the grams", next=f"fvc trial {action} {printable(rest[-1])} {printable(rest[0])}")
    named, material = material_of(archive, trial, rest[0])
    weight = grams_of(rest[1:], f"fvc trial {action} {material} 4.52")
    wrong = check_corrects(trial, corrects, ("weighed", "added"))
    old = entry_of(trial, wrong) if wrong else None
    if old is not None and old.subject == material:  # what is not typed again stays as it was noted
        action, phase = old.action, phase or old.phase
        lot, because, checked_by = lot or old.lot, because or old.because, checked_by or old.checked_by
    there, extra = phase_for(trial, named, phase, material)
    lot = check_lot(
        archive, material, lot, said=said, on=stamped(trial, at, corrects=wrong)[0].date(), grams=ZERO if wrong else weight.grams
    )
    check_weight(trial, there, material, weight, said=said, correcting=bool(wrong))

    def make(now: Trial, happened: datetime.datetime, written: datetime.datetime | None) -> Entry:
        return Entry(
            "",
            happened,
            action,
            material,
            grams=weight.grams,
            reading=weight.reading,
            phase=there if action == "weighed" or named or phase else "",
            lot=lot,
            corrects=wrong,
            written=written,
            because=because,
            checked_by=checked_by,
        )

    after, entry = record(archive, trial, at, by, make, corrects=wrong, said=said and bool(because))
    hint = f"{material} does not stand on the sheet: it is an addition, and will be listed as one." if extra else ""
    return _told(
        after, entry, as_json, slip_in(archive, after, there, material), " ".join(h for h in (hint, lot_words(archive, material, lot)) if h)
    )


def lot_words(archive: Archive, material: str, lot: str) -> str:
    """A word about a lot that the shelf does not know, since a recall would miss a mistyped one; "" where there is nothing to say."""
    known, _, _ = archive.now.ingredient(material)
    numbers = [each.number for each in known.lots] if known and not known.nested else []
    if not lot or not numbers or lot in numbers:
        return ""
    return f"{lot} is none of the lots of {material} on record ({', '.join(numbers)}); if it is mistyped, say it again with --corrects."


def lost(
    words: Words,
    of: Annotated[str, typer.Option("--of", metavar="MATERIAL", help="What evaporated, if not water.")] = "",
    phase: Phase = "",
    at: At = "",
    corrects: Corrects = "",
    because: Because = "",
    by: By = "",
    as_json: AsJson = False,
) -> int:
    """Something evaporated: water and nothing else, unless said. Says how much brings the composition back, and how much only the weight."""

    def make(archive: Archive, trial: Trial, rest: list[str]) -> Entry:
        material = material_of(archive, trial, of)[1] if of else water_of(trial)
        return _amount("lost", material, rest, trial, phase, corrects)._replace(because=because)

    return enter(
        words, 1, "lost [TRIAL] GRAMS", make, at=at, by=by, as_json=as_json, hint=lambda t: put_back_words(t, t.entries[-1].subject)
    )


def put_back_words(trial: Trial, material: str) -> str:
    """How much of what was lost would bring back the composition, and how much the weight."""
    back, weight = restoring(trial, material), short_of_weight(trial)
    if back * 10_000 < 1:  # less than any scale here shows
        return f"The composition needs no more {material}."
    same = "" if in_grams(back) == in_grams(weight) else f"; {in_grams(weight)} g would bring back the weight only"
    try:
        other = "" if water_of(trial) == material else f" --with {material}"
    except Refusal:
        other = f" --with {material}"
    return f"{in_grams(back)} g of {material} bring the composition back{same}:  fvc trial replaced {trial.id} {in_grams(back)}{other}"


def replaced(
    words: Words,
    material_given: Annotated[str, typer.Option("--with", metavar="MATERIAL", help="What was put back, if not water.")] = "",
    lot: Lot = "",
    phase: Phase = "",
    at: At = "",
    corrects: Corrects = "",
    by: By = "",
    sure: Sure = False,
    as_json: AsJson = False,
) -> int:
    """What had evaporated was put back: water, unless said."""

    def make(archive: Archive, trial: Trial, rest: list[str]) -> Entry:
        material = material_of(archive, trial, material_given)[1] if material_given else water_of(trial)
        known = check_lot(archive, material, lot, said=sure, on=stamped(trial, at)[0].date())
        return _amount("replaced", material, rest, trial, phase, corrects)._replace(lot=known)

    return enter(
        words, 1, "replaced [TRIAL] GRAMS", make, at=at, by=by, as_json=as_json, hint=lambda t: put_back_words(t, t.entries[-1].subject)
    )


def spilled(
    words: Words, phase: Phase = "", at: At = "", corrects: Corrects = "", because: Because = "", by: By = "", as_json: AsJson = False
) -> int:
    """Mixed product was lost: takes everything there in its proportion, so no percent changes."""

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        return _amount("spilled", "product", rest, trial, phase, corrects)._replace(because=because)

    return enter(words, 1, "spilled [TRIAL] GRAMS", make, at=at, by=by, as_json=as_json, hint=mixed_words)


def sampled(
    words: Words, phase: Phase = "", at: At = "", corrects: Corrects = "", because: Because = "", by: By = "", as_json: AsJson = False
) -> int:
    """A sample was taken out. What goes in afterwards goes into less: order counts."""

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        return _amount("sampled", "product", rest, trial, phase, corrects)._replace(because=because)

    return enter(words, 1, "sampled [TRIAL] GRAMS", make, at=at, by=by, as_json=as_json, hint=mixed_words)


def mixed_words(trial: Trial) -> str:
    """What a spill or a sample without a phase takes for granted, where nothing says that the phases were poured together."""
    entry = trial.entries[-1]
    before = replace(trial, entries=trial.entries[:-1])
    apart = beakers_apart(before)
    if entry.phase or len(apart) < 2:
        return ""
    return (
        f"Phases {', '.join(apart)} count as poured together from here on. If they still stand apart:  "
        f"fvc trial {entry.action} {trial.id} {in_grams(entry.grams)} --phase {apart[0]} --corrects {entry.id}"
    )


def left(
    words: Words, phase: Phase = "", at: At = "", corrects: Corrects = "", because: Because = "", by: By = "", as_json: AsJson = False
) -> int:
    """Some of a phase stayed on its beaker: takes that phase only, also when it is noted after pouring."""
    if not phase:
        raise Refusal("of which phase?", next=f"fvc trial left {printable(' '.join(words))} --phase B")

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        return _amount("left", known_phase(trial, phase), rest, trial, "", corrects)._replace(because=because)

    return enter(words, 1, "left [TRIAL] GRAMS --phase PHASE", make, at=at, by=by, as_json=as_json)


def _amount(action: str, subject: str, rest: Sequence[str], trial: Trial, phase: str = "", corrects: str = "") -> Entry:
    """An entry with the grams that the words say."""
    weight = grams_of(rest, f"fvc trial {action} 0.30")
    wrong = check_corrects(trial, corrects, (action,))
    there = known_phase(trial, phase) if phase else entry_of(trial, wrong).phase if wrong else ""
    return Entry("", UNSTAMPED, action, subject, grams=weight.grams, reading=weight.reading, phase=there, corrects=wrong)


def combined(words: Words, at: At = "", by: By = "", as_json: AsJson = False) -> int:
    """A phase was poured into another: B into A."""

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        if len(rest) != 3 or rest[1].lower() != "into":
            raise Refusal("which phase into which?", next="fvc trial combined B into A")
        source, into = known_phase(trial, rest[0]), known_phase(trial, rest[2])
        if source == into:
            raise Refusal(f"phase {source} cannot go into itself", next="fvc trial combined B into A")
        if same_beaker(trial, source, into):
            raise Refusal(f"phases {source} and {into} stand in one beaker already", next=f"fvc trial show {trial.id}")
        if source not in beakers_apart(trial):
            why = ", nothing of it was weighed" if on_the_scale(trial, source) == 0 else " any more"
            raise Refusal(f"phase {source} has no beaker of its own{why}", next=f"fvc trial show {trial.id}")
        return Entry("", UNSTAMPED, "combined", source, into=into)

    return enter(words, 3, "combined [TRIAL] PHASE into PHASE", make, at=at, by=by, as_json=as_json)


def heated(
    words: Words, temperature: Temperature = "", hold: Hold = "", at: At = "", by: By = "", because: Because = "", as_json: AsJson = False
) -> int:
    """A phase was heated: to what temperature, held for how long."""
    return _operation("heated", words, temperature, hold, "", at, by, because, as_json)


def cooled(words: Words, temperature: Temperature = "", at: At = "", by: By = "", because: Because = "", as_json: AsJson = False) -> int:
    """A phase, or what another goes into, came down to a temperature."""
    return _operation("cooled", words, temperature, "", "", at, by, because, as_json)


def stirred(
    words: Words,
    temperature: Temperature = "",
    speed: Speed = "",
    hold: Hold = "",
    at: At = "",
    by: By = "",
    because: Because = "",
    as_json: AsJson = False,
) -> int:
    """A phase was stirred or homogenised: speed and time."""
    return _operation("stirred", words, temperature, hold, speed, at, by, because, as_json)


def _operation(
    action: str, words: Sequence[str], temperature: str, hold: str, speed: str, at: str, by: str, because: str, as_json: bool
) -> int:
    for text, check, example in ((temperature, celsius, "--temperature 71C"), (hold, minutes, "--hold 15min")):
        try:
            if text:
                check(text)
        except ValueError as error:
            raise Refusal(f'"{printable(text)}": {error}', next=f"for example  {example}") from None

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        if len(rest) != 1:
            raise Refusal("which phase?", next=f"fvc trial {action} A")
        return Entry("", UNSTAMPED, action, known_phase(trial, rest[0]), temperature=temperature, hold=hold, speed=speed, because=because)

    return enter(words, 1, f"{action} [TRIAL] PHASE", make, at=at, by=by, as_json=as_json)


def vessel(words: Words, at: At = "", by: By = "", as_json: AsJson = False) -> int:
    """The vessel of a phase stood on the scale, with all that is in it: before and after heating, what is missing is what evaporated."""
    before: list[Fraction | None] = []

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        entry = _amount("vessel", known_phase(trial, rest[0]), rest[1:], trial)
        before.append(vessel_before(trial, entry.subject))
        return entry

    def hint(trial: Trial) -> str:
        entry = trial.entries[-1]
        less = (before[0] or ZERO) - (entry.grams or ZERO)
        return f"{in_grams(less)} g less than before:  fvc trial lost {in_grams(less)} --phase {entry.subject}" if less > 0 else ""

    return enter(words, 2, "vessel [TRIAL] PHASE GRAMS", make, at=at, by=by, as_json=as_json, hint=hint)


def enlarged(words: Words, because: Because = "", at: At = "", by: By = "", as_json: AsJson = False) -> int:
    """The batch was made larger: every target grows with it, also of what is in already."""

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        entry = _amount("enlarged", "batch", rest, trial)._replace(because=because)
        size = batch_now(trial)
        if size is not None and (entry.grams or ZERO) <= size:
            raise Refusal(
                f"the batch is {in_grams(size)} g already", next="name a larger size; a batch cannot be made smaller once it is begun"
            )
        return entry

    return enter(words, 1, "enlarged [TRIAL] 213.33g", make, at=at, by=by, as_json=as_json)


def retargeted(words: Words, phase: Phase = "", because: Because = "", at: At = "", by: By = "", as_json: AsJson = False) -> int:
    """A line that is not in yet gets another target, so that a slip is made good there."""

    def make(archive: Archive, trial: Trial, rest: list[str]) -> Entry:
        there, material = _line_of(archive, trial, rest[0], phase, "only a line of the sheet has a target")
        return _amount("retargeted", material, rest[1:], trial)._replace(phase=there, because=because)

    return enter(words, 2, "retargeted [TRIAL] MATERIAL GRAMS", make, at=at, by=by, as_json=as_json)


def omitted(words: Words, phase: Phase = "", because: Because = "", at: At = "", by: By = "", as_json: AsJson = False) -> int:
    """A line of the sheet was left out on purpose."""

    def make(archive: Archive, trial: Trial, rest: list[str]) -> Entry:
        there, material = _line_of(archive, trial, rest[0], phase, "only a line of the sheet can be left out")
        return Entry("", UNSTAMPED, "omitted", material, phase=there, because=because)

    return enter(words, 1, "omitted [TRIAL] MATERIAL", make, at=at, by=by, as_json=as_json)


def _line_of(archive: Archive, trial: Trial, text: str, phase: str, otherwise: str) -> tuple[str, str]:
    """(phase, material) of a line of the sheet. Refusal for what does not stand on it."""
    named, material = material_of(archive, trial, text)
    there, extra = phase_for(trial, named, phase, material)
    if extra:
        raise Refusal(f"{material} does not stand on the sheet", next=otherwise)
    line = next((t for t in targets(trial) if (t.phase, t.material) == (there, material)), None)
    if line is not None and line.weighed:
        raise Refusal(f"{material} is in already, {in_grams(line.weighed)} g", next=f"fvc trial show {trial.id}")
    return there, material


def bulk(
    words: Words, at: At = "", by: By = "", checked_by: CheckedBy = "", corrects: Corrects = "", sure: Sure = False, as_json: AsJson = False
) -> int:
    """The finished product was weighed: what the entries leave and the scale does not find is unaccounted."""

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        entry = _amount("bulk", "product", rest, trial, "", corrects)._replace(checked_by=checked_by)
        there = account(trial).expected
        if (entry.grams or ZERO) * 10 > there * 11:
            too_much(f"{in_grams(entry.grams)} g is more than the {in_grams(there)} g that the entries leave: less the vessel?", said=sure)
        return entry

    def hint(trial: Trial) -> str:
        mass = account(trial)
        unaccounted = mass.unaccounted or ZERO
        text = f"{in_grams(abs(unaccounted))} g {'unaccounted' if unaccounted >= 0 else 'more than the entries leave'}"
        percent = mass.percent_of_theoretical
        of = f"; {shown(percent, 2, 2)} % of the theoretical yield of {in_grams(mass.theoretical)} g" if percent is not None else ""
        return f"{text}{of}."

    return enter(words, 1, "bulk [TRIAL] GRAMS", make, at=at, by=by, as_json=as_json, hint=hint)


def noted(words: Words, at: At = "", by: By = "", corrects: Corrects = "", as_json: AsJson = False) -> int:
    """Anything else worth knowing, in free words."""

    def make(_: Archive, trial: Trial, rest: list[str]) -> Entry:
        text = " ".join(rest).strip()
        if not text:
            raise Refusal("the note is empty", next="fvc trial noted 'foamed when the oils went in'")
        return Entry("", UNSTAMPED, "noted", text, corrects=check_corrects(trial, corrects))

    return enter(words, 1, "noted [TRIAL] TEXT", make, at=at, by=by, as_json=as_json)
