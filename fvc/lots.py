"""Lots: every batch that a lot went into, and every lot in a batch, through premixes both ways.

A premix made in-house is a batch of its own, and its id is its lot where it is used. What of a lot came along in it
is its share of the premix as it was made.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO
from fvc.archive import Archive
from fvc.bench import account, as_made, lots_used
from fvc.errors import Refusal
from fvc.material import Lot, Material
from fvc.names import nearest, printable
from fvc.trial import Trial, in_force
from fvc.trials import all_trials

NOT_FOR_USE = ("set aside", "repeat", "reject", "hold")


class Held(NamedTuple):
    """Grams of one lot of one material in a batch. through: the premix batches it came in, the one weighed first; empty when it was weighed itself."""

    material: str
    lot: str
    grams: Fraction
    through: tuple[str, ...] = ()


class Use(NamedTuple):
    """One batch that a lot went into. past: the last day of the lot, where it was used later."""

    trial: Trial
    grams: Fraction
    through: tuple[str, ...]
    past: datetime.date | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class LotFound:
    """What is known of a lot of one material: where it went, the oldest batch first.

    material: the record, None where there is none. lot: what the record says of it. batch: the batch that it is, for a premix.
    """

    number: str
    material: str
    record: Material | None
    lot: Lot | None
    batch: Trial | None
    uses: tuple[Use, ...]


class Ledger:
    """All batches of a folder, each read once, and what is in them lot by lot."""

    def __init__(self, trials: Sequence[Trial]) -> None:
        self.trials = {t.id: t for t in trials}
        self.rings: list[tuple[str, ...]] = []
        self._held: dict[str, tuple[Held, ...]] = {}

    def is_batch(self, material: str, lot: str) -> bool:
        """True when a lot is a batch of this formula."""
        return lot in self.trials and self.trials[lot].formula == material

    def held(self, id: str, trail: tuple[str, ...] = ()) -> tuple[Held, ...]:
        """Every lot that went into a batch, with the grams that went in: weighed itself, and what came along in premixes."""
        if id in self._held:
            return self._held[id]
        out: list[Held] = []
        ring = False
        for material, lot, grams in lots_used(self.trials[id]):
            out.append(Held(material, lot, grams))
            if not self.is_batch(material, lot):
                continue
            if lot in (*trail, id):
                self.rings.append((*trail, id, lot))
                ring = True
                continue
            out += [Held(h.material, h.lot, h.grams * grams, (lot, *h.through)) for h in self._per_gram(lot, (*trail, id))]
        if not ring:
            self._held[id] = tuple(out)
        return tuple(out)

    def _per_gram(self, id: str, trail: tuple[str, ...]) -> list[Held]:
        """What is in one gram of a batch as it was made. What was lost of a material is taken from all its lots alike."""
        trial = self.trials[id]
        try:
            made = as_made(trial)
        except Refusal:
            return []
        whole = sum((m.grams for m in made), ZERO)
        there: dict[str, Fraction] = {}
        for m in made:
            there[m.material] = there.get(m.material, ZERO) + m.grams
        went_in: dict[str, Fraction] = {}
        for material, _, grams in lots_used(trial):
            went_in[material] = went_in.get(material, ZERO) + grams
        out = []
        for h in self.held(id, trail):
            # of what came in a premix, as much is left as of the premix
            carrier = self.trials[h.through[0]].formula if h.through else h.material
            share = there.get(carrier, ZERO) / went_in[carrier] if went_in.get(carrier) else ZERO
            out.append(h._replace(grams=h.grams * share / whole))
        return out

    def uses(self, material: str, lot: str, until: datetime.date | None) -> tuple[Use, ...]:
        """Every batch with this lot in it. until: its last day."""
        found = []
        for trial in self.trials.values():
            for h in self.held(trial.id):
                if (h.material, h.lot) == (material, lot):
                    day = _day_of_use(trial, h, material, lot)
                    found.append(Use(trial, h.grams, h.through, until if until and day and day > until else None))
        return tuple(found)


def _day_of_use(trial: Trial, held: Held, material: str, lot: str) -> datetime.date | None:
    if held.through:  # it was used when the premix was made
        return None
    return max((e.at.date() for e in in_force(trial.entries) if (e.subject, e.lot) == (material, lot)), default=None)


def ledger_of(archive: Archive) -> tuple[Ledger, tuple[str, ...]]:
    """All batches that can be read, and in words what is wrong with the others."""
    trials, problems = all_trials(archive)
    return Ledger(trials), tuple(p.text() for p in problems)


def find_lots(archive: Archive, ledger: Ledger, text: str, material: str = "") -> tuple[LotFound, ...]:
    """The lots that `text` means: exactly, in other letters of case, or by an unambiguous beginning; of several materials where they share it.

    Refusal for none, with the nearest.
    """
    records = {id: found for id in archive.now.materials() if (found := archive.now.ingredient(id)[0]) is not None}
    known = _known(ledger, records)
    pairs = [p for p in known if not material or p[0] == material]
    numbers = list(dict.fromkeys(n for _, n in pairs))
    wanted = text.strip()
    meant = (
        [n for n in numbers if n == wanted]
        or [n for n in numbers if n.casefold() == wanted.casefold()]
        or [n for n in numbers if wanted and n.casefold().startswith(wanted.casefold())]
    )
    if not meant:
        near = nearest(wanted, numbers)
        other = (
            f"lots on record: {', '.join(numbers[:8])}" if numbers else "lots are noted with  fvc trial weighed MATERIAL GRAMS --lot LOT"
        )
        of = f" of {material}" if material else ""
        raise Refusal(f'no lot "{printable(text)}"{of}', next=f"did you mean {' or '.join(near)}?" if near else other)
    if len({n.casefold() for n in meant}) > 1:
        raise Refusal(f'"{printable(text)}" is the beginning of {len(meant)} lots: {", ".join(meant[:8])}', next="write more of it")
    return tuple(_found(ledger, records, id, number) for id, number in pairs if number in meant)


def _known(ledger: Ledger, records: Mapping[str, Material]) -> list[tuple[str, str]]:
    """(material, lot) of everything that has a lot: in records, in batches, and the batches that were used as one."""
    pairs = [(id, lot.number) for id, m in records.items() for lot in m.lots]
    pairs += [(e.subject, e.lot) for t in ledger.trials.values() for e in in_force(t.entries) if e.lot]
    return list(dict.fromkeys(pairs))


def _found(ledger: Ledger, records: Mapping[str, Material], material: str, number: str) -> LotFound:
    record = records.get(material)
    lot = next((each for each in record.lots if each.number == number), None) if record else None
    batch = ledger.trials[number] if ledger.is_batch(material, number) else None
    until = lot.use_by if lot else batch.use_by if batch else None
    return LotFound(number=number, material=material, record=record, lot=lot, batch=batch, uses=ledger.uses(material, number, until))


def batches_on_shelf(ledger: Ledger, formula: str) -> tuple[Lot, ...]:
    """The batches of a premix that may be used, as lots: made on a day, to be used by one, with the grams that are left.

    Left out: those set aside, rejected, on hold or to be repeated, and those of which nothing was weighed.
    """
    out = []
    for trial in ledger.trials.values():
        if trial.formula != formula or trial.verdict in NOT_FOR_USE or not any(e.action == "weighed" for e in trial.entries):
            continue
        used = sum((g for t in ledger.trials.values() for m, lot, g in lots_used(t) if (m, lot) == (formula, trial.id)), ZERO)
        out.append(Lot(trial.id, trial.made_on, trial.use_by, max(account(trial).product - used, ZERO)))
    return tuple(out)
