"""Lots: every batch that a lot went into, and every lot in a batch, through premixes both ways.

A premix made in-house is a batch of its own, and its id is its lot where it is used. What of a lot came along in it
is its share of the premix as it was made.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO
from fvc.archive import Archive
from fvc.bench import account, as_made, lots_used
from fvc.errors import Fault, Refusal
from fvc.formulary import trial_path
from fvc.material import Lot, Material
from fvc.names import beginning, nearest, printable
from fvc.schedule import NO_MORE_LOOKS
from fvc.trial import Trial, in_force
from fvc.trials import all_trials

NOT_FOR_USE = (*NO_MORE_LOOKS, "hold")


class Held(NamedTuple):
    """Grams of one lot of one material in a batch; None where a premix on its way cannot be worked out.

    through: the premix batches it came in, the one weighed into this batch first; empty when it was weighed itself.
    past: its last day, where it was weighed later than that.
    """

    material: str
    lot: str
    grams: Fraction | None
    through: tuple[str, ...] = ()
    past: datetime.date | None = None


class Use(NamedTuple):
    """One batch that a lot went into, one way that it took; the fields as in `Held`."""

    trial: Trial
    grams: Fraction | None
    through: tuple[str, ...]
    past: datetime.date | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class LotFound:
    """What is known of a lot of one material: where it went, the oldest batch first.

    material: the record, None where there is none. lot: what the record says of it. batch: the batch that it is, for a premix.
    use_by: its last day. left: grams. alike: lots of this material that differ in capitals only.
    """

    number: str
    material: str
    record: Material | None
    lot: Lot | None
    batch: Trial | None
    use_by: datetime.date | None
    left: Fraction | None
    uses: tuple[Use, ...]
    alike: tuple[str, ...]


class Ledger:
    """All batches of a folder, the oldest first, each read once, and what is in them lot by lot.

    rings: batches that stand inside themselves by the lots noted, found on the way. problems: what stood in the way.
    """

    def __init__(self, trials: Sequence[Trial], records: Mapping[str, Material] | None = None, problems: Iterable[Fault] = ()) -> None:
        self.trials: dict[str, Trial] = {}
        self.records = records or {}
        self.problems = list(problems)
        self.rings: list[tuple[str, ...]] = []
        for trial in trials:
            first = self.trials.setdefault(trial.id, trial)
            if first is not trial:
                self.problems.append(
                    Fault(
                        f"{trial.id} stands in trials/{first.formula} too, and only that one is searched",
                        file=trial_path(trial.formula, trial.id),
                        next="give one of them another id",
                    )
                )
        self.used = {
            id: tuple((material, self.batch_of(lot) or lot, grams) for material, lot, grams in lots_used(t))
            for id, t in self.trials.items()
        }
        self._taken: dict[str, Fraction] = {}  # grams of each batch that went into others
        for rows in self.used.values():
            for _, lot, grams in rows:
                self._taken[lot] = self._taken.get(lot, ZERO) + grams
        self._materials = {a.material for t in self.trials.values() for a in t.asked} | {m for rows in self.used.values() for m, *_ in rows}
        self._known: dict[str, tuple[tuple[Held, ...], ...]] = {}
        self._share_of: dict[str, dict[str, Fraction] | None] = {}

    def batch_of(self, lot: str) -> str:
        """The id of the batch that a lot is, in whatever capitals it was noted; "" for a lot that came from outside."""
        id = lot.strip().lower()
        return id if id in self.trials else ""

    def last_day(self, material: str, lot: str) -> datetime.date | None:
        """Until when a lot may be used; None where nobody says."""
        if lot in self.trials:
            return self.trials[lot].use_by
        found = self.on_record(material, lot)
        return found.use_by if found else None

    def on_record(self, material: str, lot: str) -> Lot | None:
        """What the record of a material says of a lot."""
        record = self.records.get(material)
        return next((each for each in record.lots if each.number == lot), None) if record else None

    def is_premix(self, trial: Trial) -> bool:
        """True for a batch of something that other batches take: what they left of it is there, which nobody can say of bottles sold."""
        return trial.formula in self._materials or trial.id in self._taken

    def left(self, id: str) -> Fraction | None:
        """Grams of a batch that no other batch took; negative when they took more than there was, None when it cannot be worked out."""
        try:
            return account(self.trials[id]).product - self._taken.get(id, ZERO)
        except Refusal as refusal:
            self._not_worked_out(id, refusal)
            return None

    def held(self, id: str) -> tuple[Held, ...]:
        """Every lot that went into a batch, with the grams that went in: each weighed itself, and behind it what came along in it."""
        if not self._known:
            for each in self.trials:  # premixes are older than what they went into: no deep recursion for a long chain
                self._weighed(each, ())
        return tuple(h for group in self._weighed(id, ()) for h in group)

    def _weighed(self, id: str, trail: tuple[str, ...]) -> tuple[tuple[Held, ...], ...]:
        """One group for each lot weighed in: itself, then what came along in it. trail: batches being read, outermost first."""
        if id in self._known:
            return self._known[id]
        rings = len(self.rings)
        out = []
        for material, lot, grams in self.used[id]:
            group = [Held(material, lot, grams, (), self._past(id, material, lot))]
            if lot in (*trail, id):
                self._note_ring((*trail, id), lot)
            elif lot in self.trials:
                group += [
                    h._replace(grams=None if h.grams is None else h.grams * grams, through=(lot, *h.through))
                    for h in self._per_gram(lot, (*trail, id))
                ]
            out.append(tuple(group))
        if len(self.rings) == rings:  # inside a ring, what is found depends on where one came in
            self._known[id] = tuple(out)
        return tuple(out)

    def _per_gram(self, id: str, trail: tuple[str, ...]) -> list[Held]:
        """What is in one gram of a batch as it was made. What was lost of a material is taken from all its lots alike."""
        shares = self._shares(id)
        return [
            h._replace(grams=None if shares is None or h.grams is None else h.grams * shares[group[0].material])
            for group in self._weighed(id, trail)
            for h in group
        ]

    def _shares(self, id: str) -> dict[str, Fraction] | None:
        """By material, how much of each gram that went into a batch is in one gram of it as made."""
        if id not in self._share_of:
            there: dict[str, Fraction] = {}
            went_in: dict[str, Fraction] = {}
            try:
                for line in as_made(self.trials[id]):
                    there[line.material] = there.get(line.material, ZERO) + line.grams
            except Refusal as refusal:
                self._not_worked_out(id, refusal)
                self._share_of[id] = None
                return None
            for material, _, grams in self.used[id]:
                went_in[material] = went_in.get(material, ZERO) + grams
            whole = sum(there.values(), ZERO)
            self._share_of[id] = {m: there.get(m, ZERO) / grams / whole for m, grams in went_in.items()}
        return self._share_of[id]

    def _not_worked_out(self, id: str, refusal: Refusal) -> None:
        fault = refusal.faults[0]
        found = Fault(
            f"{id}: what is in it cannot be worked out: {fault.message}", file=trial_path(self.trials[id].formula, id), next=fault.next
        )
        if found not in self.problems:
            self.problems.append(found)

    def _note_ring(self, trail: tuple[str, ...], lot: str) -> None:
        ring = trail[trail.index(lot) :]
        start = ring.index(min(ring))  # the same ring, wherever one came in
        self.rings.append((*ring[start:], *ring[:start], ring[start]))

    def _past(self, id: str, material: str, lot: str) -> datetime.date | None:
        """The last day of a lot, where it was weighed in later."""
        until = self.last_day(material, lot) if lot else None
        if until is None:
            return None
        entries = in_force(self.trials[id].entries)
        days = [e.at.date() for e in entries if e.subject == material and (self.batch_of(e.lot) or e.lot) == lot]
        return until if max(days) > until else None

    def uses(self, lot: str, material: str = "") -> tuple[Use, ...]:
        """Every batch with this lot in it, a row for each way it took. material: of this one; of any where none is named."""
        return tuple(
            Use(trial, h.grams, h.through, h.past)
            for trial in self.trials.values()
            for h in self.held(trial.id)
            if h.lot == lot and material in ("", h.material)
        )


def ledger_of(archive: Archive) -> Ledger:
    """All batches that can be read, and the records with their lots; what is wrong with the others is among the problems."""
    trials, problems = all_trials(archive)
    records = {id: found for id in archive.now.materials() if (found := archive.now.ingredient(id)[0]) is not None}
    return Ledger(trials, records, problems)


def find(ledger: Ledger, text: str, material: str = "") -> Trial | tuple[LotFound, ...]:
    """What `text` means: a batch, or a lot, of each material that has one of this number.

    As typed, then in other capitals, then as an unambiguous beginning. material: lots of this one only, by its beginning.
    Raises Refusal for nothing, with the nearest, and for a beginning of several.
    """
    pairs = [(id, lot.number) for id, m in ledger.records.items() for lot in m.lots]
    pairs += [(m, lot) for rows in ledger.used.values() for m, lot, _ in rows if lot]
    if material:
        pairs += [(t.formula, t.id) for t in ledger.trials.values()]
        chosen = beginning(material.strip().lower(), (id for id, _ in pairs))
        pairs = [p for p in pairs if p[0] in chosen]
    pairs = list(dict.fromkeys(pairs))
    names = list(dict.fromkeys([n for _, n in pairs] + ([] if material else list(ledger.trials))))
    meant = _meant(text.strip(), names)
    kinds = {id in ledger.trials for id in meant}
    if not meant:
        of = f" of {printable(material)}" if material else ""
        raise Refusal(f'no lot "{printable(text)}"{of}', next=_instead(text.strip(), names))
    if len({n.casefold() for n in meant}) > 1:
        what = "lots and batches" if len(kinds) > 1 else "batches" if True in kinds else "lots"
        shown = ", ".join(meant[:8]) + (" and others" if len(meant) > 8 else "")
        raise Refusal(f'"{printable(text)}" is the beginning of {len(meant)} {what}: {shown}', next="write more of it")
    if not material and True in kinds:
        return ledger.trials[ledger.batch_of(meant[0])]
    return tuple(_found(ledger, id, number, pairs) for id, number in pairs if number in meant)


def _meant(text: str, names: Sequence[str]) -> list[str]:
    folded = text.casefold()
    return (
        [n for n in names if n == text]
        or [n for n in names if n.casefold() == folded]
        or [n for n in names if text and n.startswith(text)]
        or [n for n in names if text and n.casefold().startswith(folded)]
    )


def _instead(text: str, names: Sequence[str]) -> str:
    """The nearest names whatever their capitals, else some that there are."""
    near = nearest(text.casefold(), (n.casefold() for n in names))
    if near:
        return f"did you mean {' or '.join(next(n for n in names if n.casefold() == each) for each in near)}?"
    return f"lots on record: {', '.join(names[:8])}" if names else "lots are noted with  fvc trial weighed MATERIAL GRAMS --lot LOT"


def _found(ledger: Ledger, material: str, number: str, pairs: Sequence[tuple[str, str]]) -> LotFound:
    lot = ledger.on_record(material, number)
    batch = ledger.trials.get(number)
    return LotFound(
        number=number,
        material=material,
        record=ledger.records.get(material),
        lot=lot,
        batch=batch,
        use_by=ledger.last_day(material, number),
        left=ledger.left(number) if batch else lot.grams if lot else None,
        uses=ledger.uses(number, material),
        alike=tuple(n for id, n in pairs if id == material and n != number and n.casefold() == number.casefold()),
    )


def batches_on_shelf(ledger: Ledger, formula: str) -> tuple[Lot, ...]:
    """The batches of a premix that may be used, as lots: made on a day, to be used by one, with the grams that are left.

    Left out: those set aside, rejected, on hold or to be repeated, those of which nothing was weighed, and those that cannot be worked out.
    """
    out = []
    for id, trial in ledger.trials.items():
        if trial.formula != formula or trial.verdict in NOT_FOR_USE or not ledger.used[id]:
            continue
        left = ledger.left(id)
        if left is not None:
            out.append(Lot(id, trial.made_on, trial.use_by, max(left, ZERO)))
    return tuple(out)
