"""The words of `fvc trial` that are about a whole batch: start, list, show, close, to-plan, save."""

from __future__ import annotations

import datetime
from fractions import Fraction
from typing import Annotated

import typer

from fvc.amounts import exact, mass, shown, volume
from fvc.archive import Archive
from fvc.bench import Account, account
from fvc.cli.entries import At, By, CheckedBy, chosen, grams_of, record
from fvc.cli.parsing import AsJson, BatchSize, Density, interactive, open_archive, print_json, screen, warn
from fvc.cli.read import weighing_of
from fvc.deviations import Deviation, deviations
from fvc.deviations import grams as in_grams
from fvc.errors import EXIT_DONE, Refusal
from fvc.formulary import trial_path
from fvc.names import nearest, printable
from fvc.reading import Reading
from fvc.references import resolve
from fvc.seeing import FAIL, judged
from fvc.trial import SALE_VERDICTS, VERDICTS, Entry, Trial
from fvc.trials import all_trials, batch_plan, clock, maker_of, moment, save_records, save_trial, trial_named, unsaved_trials
from fvc.trials import (
    start as begin,
)
from fvc.variants import SET_ASIDE

Ref = Annotated[str, typer.Argument(metavar="REF", help="The plan: face-toner, face-toner.4, face-toner/VARIANT.")]


# --- begin ------------------------------------------------------------------------------------------


def start(
    ref: Ref,
    batch: BatchSize = "",
    purpose: Annotated[str, typer.Option("--for", metavar="sale", help="--for sale: it will be closed as release, hold or reject.")] = "",
    scale: Annotated[str, typer.Option("--scale", metavar="STEP", help='Weigh everything on one scale, such as "0.01g".')] = "",
    density: Density = "",
    vessel: Annotated[str, typer.Option("--vessel", metavar="SIZE", help="What the vessel holds, such as 600mL.")] = "",
    conditions: Annotated[
        str, typer.Option("--in", metavar="PLACES", help="Where samples will stand, if not everywhere: 'room, fridge'.")
    ] = "",
    by: By = "",
    initials: Annotated[str, typer.Option("--initials", metavar="AB", help="Yours, if not those of your name.")] = "",
    at: Annotated[str, typer.Option("--at", metavar="TIME", help="When it was begun, if earlier.")] = "",
    as_json: AsJson = False,
) -> int:
    """Begin a batch of a plan: its record, with an id short enough to write on the bottle. Weigh with fvc trial weigh."""
    if purpose not in ("", "sale"):
        raise Refusal(f'a batch is for "sale" or for nothing in particular, not for "{printable(purpose)}"', next="--for sale")
    archive = open_archive()
    reading = batch_plan(archive, ref)
    _check_vessel(vessel)
    sheet, text = weighing_of(archive, reading, batch, scale, density)
    now = clock()
    began = moment(at, now) if at else now
    maker = maker_of(archive, by, initials)
    trial = begin(
        archive,
        reading,
        sheet,
        text,
        maker,
        began,
        for_sale=purpose == "sale",
        vessel=vessel,
        conditions=[c.strip() for c in conditions.split(",") if c.strip()],
    )
    problem = save_trial(archive, trial, f"batch begun from {trial.plan}")
    if as_json:
        print_json({"schema": 1, "id": trial.id, "plan": trial.plan, "plan_id": trial.plan_id, "batch_g": exact(sheet.batch)})
    else:
        out = screen()
        out.head(trial.id, f"{trial.batch} of {trial.plan}, by {trial.by}")
        out.say(
            "Write the id on the bottle. To weigh:  fvc trial weigh;  the sheet to print:  "
            + f"fvc weigh {trial.plan_ref.partition('.')[0] if ',' in trial.plan else trial.plan_ref} --batch '{trial.batch}'"
        )
        if trial.use_by:
            out.say(f"use by {trial.use_by}")
        fine = [line.amount.line.material for line in sheet.lines if line.too_small or not line.makeable]
        if fine:
            out.say(f"Too small for the scale at this batch: {', '.join(fine)}. fvc weigh says which batch or stock solution mends it.")
        _tried_before(archive, trial, reading)
        _before_sale(archive, trial, ref)
    warn([*reading.warnings, *([problem] if problem else [])])
    return EXIT_DONE


def _tried_before(archive: Archive, trial: Trial, reading: Reading) -> None:
    """What came of the same plan before, so that nothing is tried twice without knowing it."""
    out = screen()
    about = reading.plan.variant
    if about is not None and about.state == SET_ASIDE:
        out.say(f"This variant was set aside{f': {about.because}' if about.because else ''}.")
    for other in all_trials(archive)[0]:
        if other.plan_id == trial.plan_id and other.id != trial.id:
            why = f": {other.closing.because}" if other.closing and other.closing.because else ""
            out.say(f"The same plan was made as {other.id}, {other.verdict or 'without a verdict yet'}{why}.")


def _check_vessel(text: str) -> None:
    for kind in (volume, mass):
        try:
            if text:
                kind(text)
            return
        except ValueError:
            continue
    raise Refusal(f'--vessel "{printable(text)}" cannot be read', next="for example  --vessel 600mL")


def _before_sale(archive: Archive, trial: Trial, ref: str) -> None:
    """What the rules say of a plan that is made to be sold: before it is weighed, not behind it."""
    if not trial.for_sale:
        return
    from fvc.cli.parsing import basis_of
    from fvc.rules.check import check
    from fvc.rules.finding import STOP

    stops = [f for f in check(resolve(archive, ref), basis_of(archive)).findings if f.level == STOP]
    out = screen()
    for finding in stops:
        out.item("stop: ", finding.message)
    out.say(
        "For sale: local rules, the suppliers' documents and a qualified safety assessor decide whether this may be sold; "
        f"fvc check {trial.plan_ref}  shows what fvc knows."
    )


# --- look -------------------------------------------------------------------------------------------


def list_trials(
    name: Annotated[str, typer.Argument(metavar="[NAME]", help="Only those of this formula.", show_default=False)] = "",
    as_json: AsJson = False,
) -> int:
    """The batches in the folder: what each was made from, and how far it has come."""
    from fvc.show import trials as show_trials

    archive = open_archive()
    trials, problems = all_trials(archive)
    if name:
        known = {t.formula for t in trials} | set(archive.now.formulas())
        if name not in known:
            near = nearest(name, known)
            raise Refusal(f'no formula "{printable(name)}"', next=f"did you mean {' or '.join(near)}?" if near else "fvc trial  lists all")
        trials = [t for t in trials if t.formula == name]
    unsaved = unsaved_trials(archive)
    if as_json:
        rows: list[dict[str, object]] = [
            {"id": t.id, "formula": t.formula, "plan": t.plan, "made_on": str(t.made_on), "state": show_trials.state(t)}
            | {"verdict": t.verdict or None, "for_sale": t.for_sale, "saved": t.id not in unsaved}
            for t in trials
        ]
        print_json({"schema": 1, "trials": rows})
    elif trials:
        show_trials.listed(screen(), trials, unsaved)
    else:
        screen().say("No batch was made yet. Begin one:  fvc trial start NAME --batch 150g")
    warn(problems)
    return EXIT_DONE


def show(
    words: Annotated[str, typer.Argument(metavar="[TRIAL]", help="The batch; without it the one that is open.", show_default=False)] = "",
    as_json: AsJson = False,
) -> int:
    """The record of a batch: what was asked and what went in, what was done, where the mass went, deviations, what was seen, verdict."""
    from fvc.show import trials as show_trials
    from fvc.show import trials_data

    archive = open_archive()
    trial = trial_named(archive, words) if words else chosen(archive, [], 0)[0]
    found = deviations_of(archive, trial)
    spec = spec_of(archive, trial)
    if as_json:
        print_json(trials_data.record(trial, found, spec))
    else:
        show_trials.record(screen(), trial, found, spec, trial.id in unsaved_trials(archive))
    return EXIT_DONE


def deviations_of(archive: Archive, trial: Trial) -> tuple[Deviation, ...]:
    """What went otherwise than the sheet asked, by the tolerance of the formulary and the lots on the shelf."""
    materials = {e.subject for e in trial.entries if e.lot}
    shelf = {id: found for id in materials if (found := archive.now.ingredient(id)[0]) is not None}
    premixes = {t.id: t for t in all_trials(archive)[0]} if any(e.lot for e in trial.entries) else {}
    return deviations(trial, slip_above=archive.now.settings().slip_above, shelf=shelf, premixes=premixes)


def spec_of(archive: Archive, trial: Trial) -> dict[str, object]:
    """What a batch must meet: by its own record, else by its plan as it was."""
    if trial.spec:
        return dict(trial.spec)
    try:
        return dict(resolve(archive, trial.plan_ref).plan.spec)
    except Refusal:
        return {}


# --- close ------------------------------------------------------------------------------------------


def close(
    words: Annotated[str, typer.Argument(metavar="[TRIAL]", help="The batch; without it the one that is open.", show_default=False)] = "",
    verdict: Annotated[
        str, typer.Option("--verdict", metavar="WORD", help="keep, set-aside, repeat, choose; for sale: release, hold, reject.")
    ] = "",
    because: Annotated[str, typer.Option("--because", metavar="TEXT", help="Why, in a few words.")] = "",
    bulk: Annotated[
        str, typer.Option("--bulk", metavar="GRAMS", help="The finished product, weighed; 612.30-125.00 is by difference.")
    ] = "",
    filled: Annotated[str, typer.Option("--filled", metavar="BOTTLES", help="What was filled: '15 x 30 mL' or '412g'.")] = "",
    retained: Annotated[str, typer.Option("--retained", metavar="SIZE", help="The sample that is kept back, such as '30 mL'.")] = "",
    at: At = "",
    by: By = "",
    checked_by: CheckedBy = "",
    as_json: AsJson = False,
) -> int:
    """Close a batch with a verdict and its reason; one for sale with its yields of bulk and bottles, and the retained sample."""
    archive = open_archive()
    trial = trial_named(archive, words) if words else chosen(archive, [], 0, bench=False)[0]
    word = _verdict(trial, verdict)
    why = " ".join(because.split())
    if not why and interactive() and not as_json:
        why = " ".join(input("because: ").split())
    if not why:
        raise Refusal("a verdict has a reason, and this one has none", next="for example  --because 'clear for 30 days'")
    if not any(e.action == "weighed" for e in trial.entries):
        raise Refusal(f"nothing was weighed of {trial.id}, so there is nothing to judge", next=f"fvc trial weigh {trial.id}")
    for text, option in ((filled, "--filled"), (retained, "--retained")):
        if text and not trial.for_sale:
            raise Refusal(
                f"{option} goes with a batch for sale, and {trial.id} is not",
                next="leave it out; a new batch:  fvc trial start NAME --for sale",
            )
        _size(trial, text, option)
    if word == "release":
        missing = [o for o, t in (("--filled", filled), ("--retained", retained)) if not t]
        has_bulk = bulk or account(trial).bulk is not None
        missing = missing if has_bulk else ["--bulk", *missing]
        if missing:
            raise Refusal(
                f"a batch that is released has its yields and a retained sample on record; {', '.join(missing)} is missing",
                next="for example  --bulk 487.3 --filled '15 x 30 mL' --retained '30 mL'",
            )
    if bulk:
        weight = grams_of([bulk], "--bulk 487.3")
        trial, _ = record(
            archive,
            trial,
            at,
            by,
            lambda _, t, w: Entry("", t, "bulk", "product", grams=weight.grams, reading=weight.reading, written=w, checked_by=checked_by),
        )
    before = trial.verdict
    closing = Entry("", datetime.datetime.min, "closed", word, because=why, filled=filled, retained=retained, checked_by=checked_by)
    trial, entry = record(archive, trial, at, by, lambda _, t, w: closing._replace(at=t, written=w))
    problem = save_trial(archive, trial, f"closed: {word}: {why}")
    if as_json:
        print_json({"schema": 1, "trial": trial.id, "entry": entry.id, "verdict": word, "because": why, "before": before or None})
    else:
        _closed(archive, trial, entry, before)
    warn([problem] if problem else [])
    return EXIT_DONE


def _verdict(trial: Trial, given: str) -> str:
    """The verdict as it is written. Refusal for one that a batch of this kind cannot have."""
    word = " ".join(given.lower().replace("-", " ").split())
    fitting = SALE_VERDICTS if trial.for_sale else VERDICTS
    if word in fitting:
        return word
    typed = ", ".join(v.replace(" ", "-") for v in fitting)
    if not word:
        raise Refusal("which verdict?", next=f"--verdict  {typed}")
    other = word in (*VERDICTS, *SALE_VERDICTS)
    kind = "is for sale" if trial.for_sale else "is not for sale"
    what = f"{trial.id} {kind}, so it cannot be closed as {word}" if other else f'"{printable(given)}" is no verdict'
    near = nearest(word, fitting, 1)
    raise Refusal(what, next=f"did you mean {near[0].replace(' ', '-')}?" if near and not other else f"one of: {typed}")


def _size(trial: Trial, text: str, option: str) -> Fraction | None:
    """Grams of `15 x 30 mL` or `412 g`; None without a text, or for a volume without a density."""
    if not text:
        return None
    from fvc.batch import parse_batch

    try:
        parsed = parse_batch(text)
    except ValueError as error:
        raise Refusal(f'{option} "{printable(text)}": {error}', next=f"for example  {option} '15 x 30 mL'") from None
    density = getattr(trial.spec.get("density"), "value", None)
    if parsed.grams is not None:
        return parsed.grams
    return parsed.millilitres * density if parsed.millilitres is not None and density is not None else None


def _closed(archive: Archive, trial: Trial, entry: Entry, before: str) -> None:
    out = screen()
    out.head(f"{trial.id}: {entry.subject}", f"it was: {before}" if before else "")
    out.say(entry.because, 2)
    mass_of = account(trial)
    if mass_of.percent_of_theoretical is not None:
        out.say(f"bulk {in_grams(mass_of.bulk)} g, {shown(mass_of.percent_of_theoretical, 2, 2)} % of theoretical", 2)
    if entry.filled:
        out.say(f"filled {entry.filled}{_filled_percent(trial, entry, mass_of)}", 2)
    if entry.retained:
        out.say(f"retained sample {entry.retained}", 2)
    found = deviations_of(archive, trial)
    if found:
        out.say("Deviations:", 2)
        for deviation in found:
            out.item("- ", deviation.words, 4)
    spec = spec_of(archive, trial)
    fails = {
        j.what: f"{j.what} {j.value} on day {e.seen.day}" for e in trial.seen if e.seen for j in judged(e.seen, spec) if j.verdict == FAIL
    }
    if fails:
        out.say(f"Outside the spec at some time: {', '.join(fails.values())}.", 2)


def _filled_percent(trial: Trial, entry: Entry, found: Account) -> str:
    """The yield of filled bottles in words; "" where a density is missing."""
    amount = _size(trial, entry.filled, "--filled")
    if amount is None or not found.theoretical:
        return " (its grams need a density in the spec)" if amount is None else ""
    return f", {in_grams(amount)} g, {shown(amount * 100 / found.theoretical, 2, 2)} % of theoretical"


def save(
    words: Annotated[str, typer.Argument(metavar="[TRIAL]", help="The batch; without it all of them.", show_default=False)] = "",
) -> int:
    """Save records in git that are on disk only; start, see, close and the end of a session do it by themselves."""
    archive = open_archive()
    unsaved = unsaved_trials(archive)
    ids = [id for id in ([trial_named(archive, words).id] if words else unsaved) if id in unsaved]
    formulas = {id: formula for formula, id in archive.now.trials()}
    problem = save_records(archive, [trial_path(formulas[id], id) for id in ids], f"{', '.join(ids)}: entries") if ids else None
    if problem:
        raise Refusal(problem)
    screen().say(f"Saved {', '.join(ids)}." if ids else "Everything is saved.")
    return EXIT_DONE
