"""The lots on the shelf: which one to use first for a weigh sheet, and what is short."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO
from fvc.material import Lot, Material


class Offer(NamedTuple):
    """What the shelf offers for one material. needed: grams.

    lots: those to use, first one first, as far as the need goes; lots whose grams are not recorded end it.
    expired: lots past their use-by day, never offered. short: grams missing; 0 when there is enough,
    None when the record does not say how much is left. made: True when the lots are batches made in-house. on: the day of the offer, from which their age counts.
    """

    material: str
    needed: Fraction
    lots: tuple[Lot, ...]
    expired: tuple[Lot, ...]
    short: Fraction | None
    made: bool = False
    on: datetime.date | None = None

    def age(self, lot: Lot) -> int | None:
        """Days since a lot came or was made; None where that is not known."""
        return (self.on - lot.received).days if self.on and lot.received else None


_LATE = datetime.date.max


def usable(lots: Iterable[Lot], today: datetime.date) -> list[Lot]:
    """Lots that may be used today: the one with the earliest use-by day first, then the one that came first; empty ones left out."""
    fit = [lot for lot in lots if (lot.use_by is None or lot.use_by >= today) and lot.grams != 0]
    return sorted(fit, key=lambda lot: (lot.use_by or _LATE, lot.received or _LATE))


def offer(material: Material, needed: Fraction, today: datetime.date) -> Offer | None:
    """The lots for `needed` grams of a material; None when its record has no lots."""
    if not material.lots:
        return None
    expired = tuple(lot for lot in material.lots if lot.use_by is not None and lot.use_by < today and lot.grams != 0)
    chosen: list[Lot] = []
    rest = needed
    for lot in usable(material.lots, today):
        if rest <= 0 and chosen:
            break
        chosen.append(lot)
        if lot.grams is None:
            return Offer(material.id, needed, tuple(chosen), expired, None, material.nested, today)
        rest -= lot.grams
    return Offer(material.id, needed, tuple(chosen), expired, max(rest, ZERO), material.nested, today)


def offers(needs: Iterable[tuple[str, Fraction]], materials: Mapping[str, Material], today: datetime.date) -> dict[str, Offer]:
    """Offers by material id for the lines of a weigh sheet; several lines of one material share its lots."""
    needed: dict[str, Fraction] = {}
    for id, grams in needs:
        needed[id] = needed.get(id, ZERO) + grams
    found = {id: offer(materials[id], grams, today) for id, grams in needed.items() if id in materials}
    return {id: each for id, each in found.items() if each is not None}
