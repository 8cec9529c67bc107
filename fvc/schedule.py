"""When to look at a batch again: the schedule that a formulary names, and the looks that are due by it."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:  # settings carry a schedule, and few commands meet a trial
    from fvc.trial import Trial

# A schedule often used at home; no standard sets days or conditions (ISO/TR 18811:2018), the maker names them.
DEFAULT_DAYS = (0, 1, 3, 7, 14, 30, 60, 90)
DEFAULT_CONDITIONS = ("room", "fridge", "warm")
# Verdicts after which nobody needs to look any more.
NO_MORE_LOOKS = ("set aside", "repeat", "reject")


class Schedule(NamedTuple):
    """When and where to look. named: False for the default, which the formulary has not named itself."""

    days: tuple[int, ...] = DEFAULT_DAYS
    conditions: tuple[str, ...] = DEFAULT_CONDITIONS
    named: bool = False


class Look(NamedTuple):
    """A look that is due: at which batch, where it stands, of which day, since when. late: days; 0 for one of today."""

    trial: str
    condition: str
    day: int
    since: datetime.date
    late: int


def time_point(day: int, days: Sequence[int]) -> int | None:
    """The day of the schedule that a look on `day` answers: the last one by then; None before the first."""
    return max((d for d in days if d <= day), default=None)


def due(trial: Trial, schedule: Schedule, today: datetime.date) -> tuple[Look, ...]:
    """The looks that this batch wants by today, one for each condition: the last day of the schedule that has come and was not answered.

    An earlier look that was missed cannot be made up and is not asked for. A batch that was set aside,
    rejected or is to be repeated wants none, nor a premix past its last day, nor one of which nothing was weighed yet.
    """
    made = trial.made_on
    if made is None or trial.verdict in NO_MORE_LOOKS or not any(e.action == "weighed" for e in trial.entries):
        return ()
    if trial.use_by is not None and today > trial.use_by:
        return ()
    point = time_point((today - made).days, schedule.days)
    if point is None:
        return ()
    out = []
    for condition in trial.conditions or schedule.conditions:
        last = max((trial.day_of(e.at) for e in trial.seen if e.seen and stood(e.seen.condition, condition)), default=-1)
        if last < point:
            since = made + datetime.timedelta(days=point)
            out.append(Look(trial.id, condition, point, since, (today - since).days))
    return tuple(out)


def place_of(condition: str, known: Sequence[str]) -> tuple[int, str]:
    """What places are ordered by: as the schedule names them, others behind."""
    return next((i for i, name in enumerate(known) if stood(condition, name)), len(known)), condition


def stood(seen: str, asked: str) -> bool:
    """True when a sample stood where it is asked for; `freeze-thaw` is any of its cycles."""
    return seen.casefold() == asked.casefold() or seen.casefold().startswith(f"{asked.casefold()} ")


def next_look(trial: Trial, schedule: Schedule, today: datetime.date) -> datetime.date | None:
    """The next day of the schedule after today; None when it is over or nobody needs to look."""
    made = trial.made_on
    if made is None or trial.verdict in NO_MORE_LOOKS:
        return None
    days = [made + datetime.timedelta(days=d) for d in schedule.days]
    return min((d for d in days if d > today), default=None)
