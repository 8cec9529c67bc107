"""One batch: what was asked for, what went in and came out, what was seen, in the order in which it happened.

Values only. What the entries add up to is worked out in `bench`; what an observation says against
the spec, in `seeing`.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import Typed
from fvc.formula import Phase
from fvc.material import Material

# What an entry can record; its value names the material, the phase, or what was seen.
WEIGHINGS = ("weighed", "added", "replaced")
LOSSES = ("lost", "spilled", "left", "sampled")
# What was changed on the sheet after it was begun: a larger batch, another target for one line, a line left out.
REWORKINGS = ("enlarged", "retargeted", "omitted")
OPERATIONS = ("combined", "heated", "cooled", "stirred")
READINGS = ("vessel", "bulk")
ACTIONS = (*WEIGHINGS, *LOSSES, *REWORKINGS, *OPERATIONS, *READINGS, "seen", "noted", "closed")

# Verdicts on a trial; and on a batch for sale.
VERDICTS = ("keep", "set aside", "repeat", "choose")
SALE_VERDICTS = ("release", "hold", "reject")


class Asked(NamedTuple):
    """A line of the weigh sheet that this batch was made from; percent and grams as asked.

    balance: it takes what closes the total. scale: of this line, where it is another than that of the batch.
    """

    phase: str
    material: str
    percent: Fraction | None
    grams: Fraction | None
    open: bool = False
    balance: bool = False
    scale: str = ""


class Seen(NamedTuple):
    """One look at a batch. Texts as typed; "" or None for what was not looked at.

    condition: where the sample stood. day: days after making. ph_by: meter or strip; calibrated: the meter,
    last. dilution: what the pH was read in. separation: `none`, `ring`, `layer 3 mm` and such.
    photo: a file of the formulary.
    """

    condition: str = "room"
    day: int | None = None
    ph: Typed | None = None
    ph_by: str = ""
    calibrated: datetime.date | None = None
    temperature: str = ""
    dilution: str = ""
    clarity: str = ""
    separation: str = ""
    colour: str = ""
    odour: str = ""
    viscosity: str = ""
    spray: str = ""
    photo: str = ""


class Entry(NamedTuple):
    """One thing that happened. `subject` is the value of the action key; `corrects` names an earlier entry that it replaces.

    at: when it happened. written: when it was put down, where that was later.
    reading: what the scale showed, where a weight was taken by difference, in grams.
    lot: of the material; for a premix made in-house the id of its batch.
    filled, retained: of a batch for sale as it was closed, as typed.
    """

    id: str
    at: datetime.datetime
    action: str
    subject: str
    by: str = ""
    grams: Fraction | None = None
    phase: str = ""
    into: str = ""
    lot: str = ""
    corrects: str = ""
    written: datetime.datetime | None = None
    because: str = ""
    reading: str = ""
    temperature: str = ""
    hold: str = ""
    speed: str = ""
    checked_by: str = ""
    filled: str = ""
    retained: str = ""
    seen: Seen | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """A batch made from a plan; `materials` are the records as they were on that day.

    formula: the formula whose trial it is. use, spec, phases: of the plan at that moment.
    premixes: formulas that stand in the plan as materials, each with the reference of the plan it had then.
    vessel: what the vessel holds, as typed. use_by: the last day on which a premix may be used.
    """

    id: str
    plan: str
    plan_id: str
    batch: str
    scale: str
    asked: tuple[Asked, ...]
    entries: tuple[Entry, ...]
    formula: str = ""
    by: str = ""
    started: datetime.datetime | None = None
    for_sale: bool = False
    vessel: str = ""
    use_by: datetime.date | None = None
    conditions: tuple[str, ...] = ()
    use: tuple[str, ...] = ()
    spec: Mapping[str, object] = field(default_factory=dict)
    phases: tuple[Phase, ...] = ()
    premixes: Mapping[str, str] = field(default_factory=dict)
    materials: Mapping[str, Material] = field(default_factory=dict)
    record: Mapping[str, object] = field(default_factory=dict, repr=False)

    @property
    def closing(self) -> Entry | None:
        """The entry of the verdict recorded last; None while there is none."""
        return next((entry for entry in reversed(in_force(self.entries)) if entry.action == "closed"), None)

    @property
    def verdict(self) -> str:
        """The verdict recorded last; "" while there is none."""
        closing = self.closing
        return closing.subject if closing else ""

    @property
    def closed(self) -> bool:
        """True when a verdict was recorded; a batch on hold still waits for one."""
        return self.verdict not in ("", "hold")

    @property
    def seen(self) -> tuple[Entry, ...]:
        """What was seen, in order, without what a later entry corrects."""
        return tuple(entry for entry in in_force(self.entries) if entry.action == "seen")

    @property
    def plan_ref(self) -> str:
        """The reference of the plan, without what was said of its state."""
        return self.plan.partition(",")[0].strip()

    @property
    def made_on(self) -> datetime.date | None:
        """Day 0: the day on which it was begun; None for a record that has neither a start nor an entry."""
        if self.started is not None:
            return self.started.date()
        return min((entry.at for entry in self.entries), default=None).date() if self.entries else None  # type: ignore[union-attr]

    def day_of(self, at: datetime.datetime | datetime.date) -> int:
        """Days after making; 0 on the day itself."""
        made = self.made_on
        day = at.date() if isinstance(at, datetime.datetime) else at
        return (day - made).days if made else 0

    @property
    def balance(self) -> str:
        """The material of the balance; "" for a plan that has none."""
        return next((line.material for line in self.asked if line.balance), "")

    def phase_of_line(self, material: str) -> str:
        """The first phase whose sheet asks for a material; "" when none does."""
        return next((line.phase for line in self.asked if line.material == material), "")


def in_force(entries: Sequence[Entry]) -> list[Entry]:
    """The entries that count, in the order in which things happened.

    A correction stands in the place of the one it corrects, the latest last; it happened when the first
    one says, and gets its time, unless it was itself noted late and so names its own. Entries of one
    moment keep the order in which they were written.
    """
    corrected = {entry.corrects: entry for entry in entries if entry.corrects}
    out: list[Entry] = []
    for entry in entries:
        if entry.corrects:
            continue
        at = entry.at
        while entry.id in corrected:
            entry = corrected[entry.id]
            at = entry.at if entry.written is not None else at
        out.append(entry if entry.at == at else entry._replace(at=at))
    return sorted(out, key=lambda entry: entry.at)
