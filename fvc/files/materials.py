"""materials/: the fields of a raw material record, and the Material they become."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from fvc import amounts
from fvc.amounts import HUNDRED, ZERO, Typed
from fvc.files.fields import Choice, Day, Field, Flag, ListOf, Notes, Number, Pair, ShareKind, Table, TableBy, Text, any_name
from fvc.files.parsed import FORMAT_FIELD, Parsed, read_file
from fvc.material import (
    ANYTHING,
    LEAST_MASS,
    NOTHING,
    Constants,
    Lot,
    Material,
    Price,
    Share,
    inci_key,
    share_of,
    undeclared_rest,
    water_in,
)


def price_from_text(text: str) -> Price:
    """`"7.90 / 250 g"`, `"7.90 EUR / 250 g"` or `"44.50 / 10 mL"`. ValueError with the reason in words otherwise."""
    money, slash, unit = (part.strip() for part in text.partition("/"))
    if not slash:
        raise ValueError('write it as "7.90 / 250 g"')
    words = money.split()
    codes = [w for w in words if re.fullmatch("[A-Z]{3}", w)]
    figures = [w for w in words if w not in codes]
    if len(figures) != 1 or len(codes) > 1:
        raise ValueError('write it as "7.90 / 250 g", with one ISO 4217 code at most, as in "7.90 EUR / 250 g"')
    by_volume = unit[-1:] in ("l", "L")
    per = amounts.volume(unit) if by_volume else amounts.mass(unit)
    try:
        amount = amounts.number(figures[0]).value
    except ValueError as error:
        raise ValueError(f'the price "{figures[0]}": {error}') from None
    return Price(text, amount / per, by_volume, codes[0] if codes else "")


MATERIAL_FIELDS = (
    Field("name", Text(), "name of the material"),
    Field("function", ListOf(Text(), alone=True), "what it does; the first one counts in totals by function"),
    Field("active", ListOf(Text(), alone=True), "INCI names that count as active matter; without it, all that is not Aqua"),
    Field("use_level", Pair(Number("0", "100")), "percent as supplied, by the supplier, [low, high]"),
    Field("price", Text('a price such as "7.90 / 250 g"', price_from_text, convert=True), "price of a pack"),
    Field("density", Number("0", above=True), "g/mL"),
    Field("supplier", Text(), "who sells it"),
    Field("source", Text(), "where these figures come from, with a date"),
    Field("notes", Text(), "free text"),
    Field("heat_max", Text('a temperature such as "40 °C"', amounts.celsius, convert=True), "not hotter than"),
    Field("charge", Choice("anionic", "cationic", "non-ionic", "amphoteric"), "charge"),
    Field("hlb", Number("0", "50"), "HLB of an emulsifier or solubiliser"),
    Field("required_hlb", Number("0", "50"), "HLB that an oil asks for"),
    Field("ph_range", Pair(Number("0", "14")), "pH within which it works"),
    Field("molar_mass", Number("0", above=True), "g/mol of the active"),
    Field("code", Text(), "the supplier's code"),
    Field(
        "acid",
        Table(
            Field("pka", ListOf(Number(None), alone=True), "pKa values at 25 °C"),
            Field("base", Flag(), "true when it is a base, and the constants are of its conjugate acid"),
            Field("molar_mass", Number("0", above=True), "g/mol"),
        ),
        "the acid or base in it: of its first active substance, in place of the published constants",
    ),
    Field(
        "lot",
        ListOf(
            Table(
                Field("number", Text(), "lot number", required=True),
                Field("received", Day(), "day it came"),
                Field("use_by", Day(), "use by"),
                Field("grams", Number("0"), "grams left"),
            )
        ),
        "lots on the shelf, [[lot]]",
    ),
    Field("composition", TableBy(ShareKind(), any_name), "percent of the material by INCI name; goes to the label"),
    Field("constituents", TableBy(ShareKind(), any_name), "percent physically inside an ingredient that has one INCI name of its own"),
)
MATERIAL = Table(FORMAT_FIELD, *MATERIAL_FIELDS)


def read_material(data: bytes, name: str, id: str) -> Parsed[Material]:
    """A file under materials/."""
    return read_file(data, name, MATERIAL, lambda fields, notes: build_material(id, fields, notes, (), notes.source.values))


def build_material(id: str, fields: dict[str, Any], notes: Notes, at: tuple[str, ...], record: Mapping[str, object]) -> Material:
    """A Material from read fields; `at` is where they stand in their file."""
    composition = _shares(fields.get("composition"), (*at, "composition"), notes)
    constituents = _shares(fields.get("constituents"), (*at, "constituents"), notes) or {}
    balanced = "balance" in (fields.get("composition") or {}).values()
    undeclared = ANYTHING if composition is None else NOTHING if balanced else undeclared_rest(composition)
    active = fields.get("active", ())
    for index, name in enumerate(active):
        if inci_key(name) in {inci_key(earlier) for earlier in active[:index]}:
            notes.fault((*at, "active"), f'"{name}" is named twice', "leave one of the two")
        if composition is not None and share_of(composition, name) is None:
            notes.fault((*at, "active"), f'"{name}" is not in the composition', "use an INCI name from [composition]")
    for path, typed in ((("molar_mass",), fields.get("molar_mass")), (("acid", "molar_mass"), fields.get("acid", {}).get("molar_mass"))):
        if typed and typed.value < LEAST_MASS:
            notes.warn(
                (*at, *path),
                f"a molar mass of {typed.text} g/mol cannot be right, and counts as not known",
                "write it in g/mol, such as 192.12",
            )
    return Material(
        id=id,
        name=fields.get("name", id),
        functions=fields.get("function", ()),
        active=active,
        composition=composition,
        undeclared=undeclared,
        constituents=constituents,
        water=water_in(composition, undeclared, constituents),
        use_level=fields.get("use_level"),
        heat_max=fields.get("heat_max"),
        charge=fields.get("charge", ""),
        ph_range=fields.get("ph_range"),
        price=fields.get("price"),
        density=_value(fields.get("density")),
        molar_mass=_value(fields.get("molar_mass") or fields.get("acid", {}).get("molar_mass")),
        hlb=_value(fields.get("hlb")),
        required_hlb=_value(fields.get("required_hlb")),
        acid=_constants(fields.get("acid", {})),
        supplier=fields.get("supplier", ""),
        lots=_lots(fields.get("lot", ()), notes, at),
        record=record,
    )


def _value(typed: Typed | None) -> Fraction | None:
    return typed.value if typed else None


def _constants(given: dict[str, Any]) -> Constants | None:
    """The table [acid]; None where it names no pKa, since a molar mass alone says nothing of an acid."""
    if not given.get("pka"):
        return None
    return Constants(tuple(sorted(given["pka"], key=lambda typed: typed.value)), given.get("base", False))


def _lots(given: Sequence[dict[str, Any]], notes: Notes, at: tuple[str, ...]) -> tuple[Lot, ...]:
    lots = tuple(Lot(g["number"], g.get("received"), g.get("use_by"), _value(g.get("grams"))) for g in given if "number" in g)
    for index, lot in enumerate(lots):
        if lot.number in [earlier.number for earlier in lots[:index]]:
            notes.fault((*at, "lot"), f'two lots have the number "{lot.number}"', "make one of them, with the grams of both")
    return lots


def _shares(raw: dict[str, Share | str] | None, path: tuple[str, ...], notes: Notes) -> dict[str, Share] | None:
    """A composition with "balance" and "unknown" worked out; notes a fault when it is above 100."""
    if raw is None:
        return None
    seen: dict[str, str] = {}
    for name in raw:
        first = seen.setdefault(inci_key(name), name)
        if first != name:
            notes.fault((*path, name), f'"{name}" and "{first}" are one INCI name', "keep one of the two lines")
    given = [s for s in raw.values() if isinstance(s, Share)]
    low = sum((s.low for s in given), ZERO)
    high = sum((s.high for s in given), ZERO)
    nominal = sum((s.nominal or ZERO for s in given), ZERO)
    add_up, its = ("the constituents add up to", "their") if path[-1] == "constituents" else ("the composition adds up to", "its")
    if low > HUNDRED:
        notes.fault(path, f"{add_up} {amounts.shown(low, 0)} %, {amounts.shown(low - 100, 0)} above 100", "correct the shares")
        return None
    if nominal > HUNDRED:
        notes.fault(path, f"{add_up} {amounts.shown(nominal, 0)} % by {its} nominal figures, above 100", "correct the shares")
        return None
    balances = [name for name, share in raw.items() if share == "balance"]
    if len(balances) > 1:
        notes.fault((*path, balances[1]), 'two shares are "balance"', "give one of them a number")
        return None
    open_ended = "unknown" in raw.values()
    room = Share(None, ZERO, HUNDRED - low)
    rest = room if open_ended else Share(HUNDRED - nominal, max(ZERO, HUNDRED - high), HUNDRED - low, any(s.middle for s in given))
    out: dict[str, Share] = {}
    for name, share in raw.items():
        out[name] = share if isinstance(share, Share) else rest if share == "balance" else room
    return out
