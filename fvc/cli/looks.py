"""Looking at a batch again: `fvc trial see` in one line of typing, and `fvc trial due` for what wants a look today."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Annotated

import typer

from fvc.amounts import celsius
from fvc.cli.entries import At, By, Corrects, Words, check_corrects, chosen, entry_of, record
from fvc.cli.parsing import AsJson, open_archive, print_json, screen, warn
from fvc.cli.trial import spec_of
from fvc.errors import EXIT_DONE, Refusal
from fvc.names import nearest, printable
from fvc.photos import kept_photo
from fvc.schedule import next_look
from fvc.seeing import CONDITIONS, nearly_understood, seen_from
from fvc.trial import Entry, Seen, Trial
from fvc.trials import all_trials, clock, looks_due, moment, save_trial


def see(
    words: Words,
    condition: Annotated[
        str, typer.Option("--condition", metavar="PLACE", help="Where it stood: room, fridge, warm, light, 'freeze-thaw 3'.")
    ] = "",
    temperature: Annotated[str, typer.Option("--temperature", metavar="T", help="Of the sample when the pH was read, such as 22C.")] = "",
    dilution: Annotated[str, typer.Option("--dilution", metavar="TEXT", help="What the pH was read in, such as '10 % in water'.")] = "",
    calibrated: Annotated[str, typer.Option("--calibrated", metavar="DAY", help="When the meter was calibrated, such as 2026-03-01.")] = "",
    photo: Annotated[str, typer.Option("--photo", metavar="FILE", help="A picture; a copy of it is kept in the formulary.")] = "",
    corrects: Corrects = "",
    at: At = "",
    by: By = "",
    as_json: AsJson = False,
) -> int:
    """What you see, dated: fvc trial see clear pH 4.82. "nothing to report" is an observation too. Entries are only ever added."""
    archive = open_archive()
    trial, rest = chosen(archive, words, 1, bench=False)
    text = " ".join(rest).strip()
    if not text:
        raise Refusal("what did you see?", next="fvc trial see clear pH 4.82   or   fvc trial see nothing to report")
    if not any(e.action in ("weighed", "added") for e in trial.entries):
        raise Refusal(f"nothing was weighed of {trial.id} yet, so there is nothing to look at", next=f"fvc trial weigh {trial.id}")
    schedule = archive.now.settings().schedule
    seen = seen_from(rest, schedule.conditions)
    if condition:
        seen = seen._replace(condition=" ".join(condition.split()))
    for text_of, check, example in (
        (temperature, celsius, "--temperature 22C"),
        (calibrated, datetime.date.fromisoformat, "--calibrated 2026-03-01"),
    ):
        try:
            if text_of:
                check(text_of)
        except ValueError as error:
            raise Refusal(f'"{printable(text_of)}": {error}', next=f"for example  {example}") from None
    seen = seen._replace(
        temperature=temperature or seen.temperature,
        dilution=dilution,
        calibrated=datetime.date.fromisoformat(calibrated) if calibrated else None,
    )
    if seen.calibrated and seen.calibrated > clock().date():
        raise Refusal(f"the meter cannot have been calibrated on {seen.calibrated}: that day is still to come", next="correct the day")
    wrong = check_corrects(trial, corrects, ("seen",))
    old = entry_of(trial, wrong).seen if wrong else None
    if old is not None:  # where it stood, and its picture, stay as they were noted
        seen = seen._replace(
            condition=seen.condition if _says_where(rest, condition, schedule.conditions) else old.condition, photo=old.photo
        )
    _check_place(seen.condition, schedule.conditions)
    at = at or ("" if wrong else _at_day(trial, seen.day))
    if at:
        moment(at, clock(), trial.started)  # refused before a photo is copied
    kept = kept_photo(archive, trial, photo) if photo else ""

    def make(now: Trial, happened: datetime.datetime, written: datetime.datetime | None) -> Entry:
        looked = seen._replace(day=now.day_of(happened), photo=kept or seen.photo)
        return Entry("", happened, "seen", text, written=written, corrects=wrong, seen=looked)

    trial, entry = record(archive, trial, at, by, make, corrects=wrong)
    assert entry.seen is not None
    problem = save_trial(archive, trial, f"day {entry.seen.day}, {entry.seen.condition}: {text}"[:200], [kept] if kept else [])
    if as_json:
        from fvc.show.trials_data import look as look_data

        print_json({"schema": 1, "trial": trial.id, "entry": entry.id, "look": look_data(trial, entry, spec_of(archive, trial))})
    else:
        from fvc.show.trials import look

        out = screen()
        out.say(f"{trial.id}  day {entry.seen.day}  {entry.seen.condition}: {look(entry, spec_of(archive, trial))}")
        out.say(f"understood: {_understood(entry.seen)}", 2)
        for typed, meant in nearly_understood(rest):
            out.say(f'"{typed}" stays a word; if {meant} was meant, say it again with  --corrects {entry.id}', 2)
        following = next_look(trial, schedule, clock().date())
        if following:
            out.say(f"next look: {following}", 2)
    warn([problem] if problem else [])
    return EXIT_DONE


def _says_where(words: Sequence[str], condition: str, known: Sequence[str]) -> bool:
    """True when the words, or the option, name a place."""
    return bool(condition) or seen_from(words, known).condition != "room" or "room" in {w.strip(",").lower() for w in words}


def _check_place(condition: str, known: Sequence[str]) -> None:
    """Refuse a place that is nearly one that is known: a mistyped fridge would never be looked into again."""
    places = dict.fromkeys((*CONDITIONS, *known))
    if condition in places or any(condition.startswith(f"{p} ") for p in places):
        return
    near = nearest(condition.lower(), places, 1)
    if near:
        raise Refusal(
            f'"{printable(condition)}" is no place that is known',
            next=f"did you mean {near[0]}?  Others go into [observe] of formulary.toml",
        )


def _understood(seen: Seen) -> str:
    """What was taken from the words, so that nobody is misled by them."""
    names = ("clarity", "separation", "colour", "odour", "viscosity", "spray")
    parts = [f"pH {seen.ph.text}"] if seen.ph else []
    parts += [f"{name} {getattr(seen, name)}" for name in names if getattr(seen, name)]
    return ", ".join([*parts, f"in the place {seen.condition}"]) if parts else f"words only, in the place {seen.condition}"


def _at_day(trial: Trial, day: int | None) -> str:
    """The day that "day 7" in the words means, as a time; "" where none was said or it is today."""
    made = trial.made_on
    if day is None or made is None:
        return ""
    if day > 36_500:
        raise Refusal(f"day {day} is still to come", next="for example  day 7")
    meant = made + datetime.timedelta(days=day)
    return "" if meant == clock().date() else meant.isoformat()


def due(as_json: AsJson = False) -> int:
    """What wants a look today, by the schedule of the formulary, overdue first."""
    archive = open_archive()
    trials, problems = all_trials(archive)
    looks = looks_due(archive, trials)
    schedule = archive.now.settings().schedule
    today = clock().date()
    if as_json:
        from fvc.show.trials_data import due as due_data

        print_json(
            {
                "schema": 1,
                "on": str(today),
                "due": due_data(looks),
                "schedule": {"days": [*schedule.days], "conditions": [*schedule.conditions], "named": schedule.named},
            }
        )
        warn(problems)
        return EXIT_DONE
    out = screen()
    coming = sorted((day, t.id) for t in trials if (day := next_look(t, schedule, today)))
    later = f"Next: {coming[0][0]}, {coming[0][1]}." if coming else ""
    if looks:
        from fvc.show.trials import due as show_due

        show_due(out, looks, later)
    else:
        out.say(f"Nothing wants a look today. {later}".strip())
    if not schedule.named:
        days, places = ", ".join(map(str, schedule.days)), ", ".join(f'"{c}"' for c in schedule.conditions)
        out.say("formulary.toml names no schedule; this one is often used at home. To take it or another one over, write into it:")
        for row in ("[observe]", f"days       = [{days}]", f"conditions = [{places}]"):
            out.say(row, 4)
    warn(problems)
    return EXIT_DONE
