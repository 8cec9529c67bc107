"""Raw materials for a person: the list with its use, one record in full, the reach of a change."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from fractions import Fraction

from fvc.amounts import brief, figure, fixed, shown
from fvc.compare.bill import Bill
from fvc.compare.summary import record_words
from fvc.contents import typical_beyond
from fvc.material import Lot, Material, active_share
from fvc.reach import Reach, Reached, Shelf, Use
from fvc.references import runs
from fvc.rules.cost import per_gram
from fvc.shelf import usable
from fvc.show.differences import bill_rows, what_it_does
from fvc.show.screen import QUIET, Screen, share_text


def use_words(use: Use) -> str:
    """`face-toner 1 to 12`, `hand-wash 2 (through preservative-premix)`, `old-toner 1 to 3, not now`."""
    words = use.plan
    if use.revisions:
        words += f" {runs(use.revisions)}"
    if use.through:
        words += f" (through {', '.join(use.through)})"
    return words if use.in_folder else f"{words}, not now"


def listing(out: Screen, shelf: Shelf, today: datetime.date) -> None:
    """Every material: what it does, what is left, and the plans with the saved revisions that name it."""
    out.head("Raw materials", f"{len(shelf.materials)}; with the plans and saved revisions that use each")
    width = max(map(len, shelf.materials), default=0)
    for id, material in shelf.materials.items():
        left = left_words(material, today)
        out.say(f"{id.ljust(width)}  {material.function or 'no function named'}" + (f", {left} left" if left else ""), 2)
        out.say("; ".join(map(use_words, shelf.uses.get(id, ()))) or "no plan uses it", 6, QUIET)


def left_words(material: Material, today: datetime.date) -> str:
    """What may be used of its lots: `340 g`, `340 g+` with a lot of unknown size, or nothing without lots."""
    if not material.lots:
        return ""
    fit = usable(material.lots, today)
    grams = sum((lot.grams for lot in fit if lot.grams is not None), Fraction(0))
    return f"{brief(grams, 0, 2)} g" + ("+" if any(lot.grams is None for lot in fit) else "")


def lot_words(lot: Lot, today: datetime.date) -> str:
    """`L-114: received 2026-02-01, use by 2027-02-01, 340 g left`."""
    words = []
    if lot.received:
        words.append(f"received {lot.received.isoformat()}")
    if lot.use_by:
        words.append(f"use by {lot.use_by.isoformat()}" + (", past" if lot.use_by < today else ""))
    words.append(f"{brief(lot.grams, 0, 2)} g left" if lot.grams is not None else "grams left not recorded")
    return f"{lot.number}: {', '.join(words)}"


def one(out: Screen, material: Material, uses: Sequence[Use], currency: str, today: datetime.date) -> None:
    """One record in full, with what fvc would add to it, and its use."""
    out.head(material.name, material.id)
    record = material.record
    facts: list[tuple[str, str]] = [("function", ", ".join(material.functions) or "none named")]
    if material.use_level:
        facts.append(("use level", f"{material.use_level[0].text} to {material.use_level[1].text} % as supplied"))
    active = active_share(material)
    facts.append(("active matter", f"{brief(active)} %" if active is not None else "not known"))
    facts.append(("water in all", f"{share_text(material.water)} %"))
    each, why = per_gram(material, currency)
    if material.price:
        facts.append(
            (
                "price",
                f"{material.price.text}"
                + (f" = {fixed(each * 1000, 2)} {currency or material.price.currency}/kg" if each is not None else f"; {why}"),
            )
        )
    for key, words in (
        ("density", "g/mL"), ("heat_max", ""), ("charge", ""), ("hlb", ""), ("required_hlb", ""), ("molar_mass", "g/mol"),
        ("supplier", ""), ("code", ""), ("source", ""), ("notes", ""),
    ):  # fmt: skip
        if key in record:
            value = getattr(record[key], "text", record[key])
            facts.append((key.replace("_", " "), f"{value} {words}".rstrip()))
    for name, text in facts:
        out.say(f"{name.ljust(14)}{text}", 2)
    _shares(out, material)
    if material.lots:
        out.say("")
        out.head("Lots", "the first is the one to use first")
        fit = usable(material.lots, today)
        for lot in [*fit, *(lot for lot in material.lots if lot not in fit)]:
            out.say(lot_words(lot, today), 2)
    out.say("")
    out.head("Used in", "" if uses else "no plan")
    for use in uses:
        out.say(use_words(use), 2)


def _shares(out: Screen, material: Material) -> None:
    out.say("")
    out.head("Composition", "% of the material, by INCI name")
    for inci, share in (material.composition or {}).items():
        out.say(f"{inci}  " + (share_text(share) if share.nominal is not None else f"unknown, up to {brief(share.high)}"), 2)
    if material.composition is None:
        out.say("none declared: what is in it counts as unknown", 2)
    elif material.undeclared.high:
        out.say(f"undeclared  {share_text(material.undeclared)}", 2)
    for inci, share in material.constituents.items():
        out.say(f"inside: {inci}  {share_text(share)}", 2)
    oil = ""
    for inci, given in typical_beyond(material):
        if inci != oil:
            out.say(f"typical of {inci}, used where the record says nothing:", 2, QUIET)
        oil = inci
        out.say(f"{given.inci}  {figure(given.share.low)} to {figure(given.share.high)}  ({given.source})", 4, QUIET)


def reach(out: Screen, result: Reach, bills: Sequence[Bill]) -> None:
    """What changed in a record, and what that did to every plan, the levels being what they are now."""
    out.head(f"Reach of {result.material}", f"its record now against that of {result.day} ({result.commit[:8]})")
    if not result.changes:
        out.say("The record is the same, so nothing changed in any plan by it.")
        return
    for change in result.changes:
        out.say(record_words(change), 2)
    if not result.plans:
        out.say("")
        out.say("No plan in the folder uses it.")
    for each, bill in zip(result.plans, bills, strict=True):
        out.say("")
        level = _level(each, result.material)
        out.head(each.plan, level)
        rows = what_it_does(out, each.diff) + bill_rows(out, bill)
        if not rows:
            out.say("no figure of the product changes", 2)


def _level(each: Reached, material: str) -> str:
    percent = sum((a.counted for a in each.after.closure.amounts if a.line.material == material), Fraction(0))
    return f"{material} at {shown(percent, 2)} %" if percent else "through a formula that stands in it"
