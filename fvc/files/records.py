"""The five kinds of file of a formulary: their fields, and the typed values they become.

Every reader takes the bytes of one file and returns a `Parsed`: the value, or all the faults.
A format once released keeps its reader; a newer one is refused with what to do.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Generic, NamedTuple, TypeVar, cast

from fvc import amounts
from fvc.amounts import HUNDRED, ZERO, Typed
from fvc.errors import Fault, Refusal
from fvc.files.fields import (
    Choice,
    Day,
    Field,
    Flag,
    LevelKind,
    ListOf,
    Moment,
    Notes,
    Number,
    Pair,
    ShareKind,
    Table,
    TableBy,
    Text,
    Whole,
    any_name,
    by_id,
    by_phase,
    flatten,
    id_text,
)
from fvc.files.toml_text import TomlText
from fvc.formula import Line, Phase, Plan, VariantOf
from fvc.material import ANYTHING, NOTHING, Material, Share, inci_key, share_of, undeclared_rest, water_in
from fvc.trial import ACTIONS, LOSSES, WEIGHINGS, Asked, Entry, Trial
from fvc.weighing import COMMON_SCALES, SMALL_BELOW, Scale, parse_batch, scale_from_text

FORMAT = 1

_FORMAT = Field("format", Whole(1), "version of the file format, 1", required=True)
_UNIT = r"\s*[0-9]+(\.[0-9]+)?\s*"

PLAN_FIELDS = (
    _FORMAT,
    Field("title", Text(), "what the product is called"),
    Field("revision", Whole(0), "number of the last saved plan; written by fvc revise, 0 in a new one"),
    Field("use", ListOf(Choice("leave-on", "rinse-off", "spray", "aerosol"), alone=True), "how the product is used; one word or a list"),
    Field("status", Choice("idea", "tried", "chosen", "locked", "retired"), "how far it has come; a locked plan only changes its status"),
    Field("batch", Text('a batch size such as "200 g"', parse_batch), "usual batch size"),
    Field("code", Text(), "short code for bottles and trial ids"),
    Field("notes", Text(), "free text"),
    Field(
        "spec",
        Table(
            Field("ph", Pair(Number("0", "14")), "pH within [low, high]"),
            Field("density", Number("0", above=True), "g/mL, for batches given by volume"),
            Field("appearance", Text(), "what it should look like"),
            Field("clarity", Text(), "clear, hazy, opaque"),
            Field("colour", Text(), "colour"),
            Field("odour", Text(), "odour"),
            Field("viscosity", Text(), "viscosity, with its method"),
        ),
        "what the finished product must meet",
    ),
    Field(
        "phase",
        by_phase(
            Table(
                Field("title", Text(), "name of the phase in words"),
                Field("method", Text(), "what to do"),
                Field("heat", Text('a temperature such as "70 °C"', amounts.celsius), "heat the phase to"),
                Field("hold", Text('a time such as "15 min"', amounts.minutes), "keep it there for"),
                Field("add_below", Text('a temperature such as "40 °C"', amounts.celsius), "goes in below"),
                Field("percent", by_id(LevelKind()), "a level for each material or formula, in the order of addition"),
            ),
        ),
        "the phases in their order, [phase.A] and [phase.A.percent]",
        required=True,
    ),
)
PLAN = Table(*PLAN_FIELDS)

VARIANT = Table(
    *PLAN_FIELDS,
    Field(
        "variant",
        Table(
            Field("parent", Text(), "the saved revision it departs from, such as face-toner.4", required=True),
            Field("plan_id", Text(), "git's blob id of the parent's text"),
            Field("question", Text(), "what it asks", required=True),
            Field("expect", Text(), "what the maker expects"),
            Field("state", Choice("open", "adopted", "set aside"), "what became of it", required=True),
            Field("because", Text(), "why it was adopted or set aside"),
        ),
        "what this plan departs from, and why",
        required=True,
    ),
)


def _price(text: str) -> Fraction:
    """Price per gram or per mL; `"7.90 / 250 g"`."""
    money, slash, unit = (part.strip() for part in text.partition("/"))
    if not slash:
        raise ValueError('write it as "7.90 / 250 g"')
    per = amounts.volume(unit) if unit[-1:] in "lL" else amounts.mass(unit)
    return amounts.number(money).value / per


MATERIAL_FIELDS = (
    Field("name", Text(), "name of the material"),
    Field("function", ListOf(Text(), alone=True), "what it does; the first one counts in totals by function"),
    Field("active", ListOf(Text(), alone=True), "INCI names that count as active matter; without it, all that is not Aqua"),
    Field("use_level", Pair(Number("0", "100")), "percent as supplied, by the supplier, [low, high]"),
    Field("price", Text('a price such as "7.90 / 250 g"', _price), "price of a pack"),
    Field("density", Number("0", above=True), "g/mL"),
    Field("supplier", Text(), "who sells it"),
    Field("source", Text(), "where these figures come from, with a date"),
    Field("notes", Text(), "free text"),
    Field("heat_max", Text('a temperature such as "40 °C"', amounts.celsius), "not hotter than"),
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
            Field("molar_mass", Number("0", above=True), "g/mol"),
        ),
        "the acid or base in it",
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
MATERIAL = Table(_FORMAT, *MATERIAL_FIELDS)

FORMULARY = Table(
    _FORMAT,
    Field("name", Text(), "name of the formulary"),
    Field("currency", Text("three capitals such as EUR", lambda t: _three_capitals(t), "^[A-Z]{3}$"), "ISO 4217 code"),
    Field("rules", ListOf(Choice("eu", "us", "house"), alone=True), "rule sets to check against"),
    Field(
        "scales",
        ListOf(
            Table(
                Field("step", Text('a resolution such as "0.01 g"', scale_from_text), "what it resolves", required=True),
                Field("max", Text('a mass such as "500 g"', amounts.mass), "what it carries"),
            )
        ),
        "the scales on the bench",
    ),
    Field("decimals", Whole(0, 8), "decimals of a level that the tool computes and writes"),
    Field("small_below", Number("0"), "scale steps under which a line is too small"),
    Field(
        "observe",
        Table(
            Field("days", ListOf(Whole(0)), "days after making on which to look"),
            Field("conditions", ListOf(Text()), "where the samples stand"),
        ),
        "the observation schedule",
    ),
    Field(
        "house",
        ListOf(
            Table(
                Field("material", id_text("a material"), "the material it binds"),
                Field("substance", Text(), "or the INCI name"),
                Field("function", Text(), "or the function"),
                Field("use", Choice("leave-on", "rinse-off", "spray", "aerosol"), "only in this use"),
                Field("min", Number("0", "100"), "percent, at least"),
                Field("max", Number("0", "100"), "percent, at most"),
                Field("because", Text(), "why"),
            )
        ),
        "house limits, [[house]]",
    ),
)

TRIAL = Table(
    _FORMAT,
    Field("plan", Text(), 'the plan that was tried, such as "face-toner.4"; ", changed since" behind an unsaved one', required=True),
    Field("plan_id", Text(), "git's blob id of the plan's text"),
    Field("batch", Text("a batch size", parse_batch), "batch size asked for", required=True),
    Field("scale", Text("a resolution", scale_from_text), "resolution of the scale"),
    Field("by", Text(), "who made it"),
    Field("started", Moment(), "when it was begun"),
    Field("for_sale", Flag(), "true when the batch is for sale"),
    Field(
        "asked",
        ListOf(
            Table(
                Field("phase", Text(), "phase", required=True),
                Field("material", id_text("a material"), "material", required=True),
                Field("percent", Number("0", "100"), "percent asked for"),
                Field("grams", Number("0"), "grams asked for"),
                Field("open", Flag(), "true for an open line"),
            )
        ),
        "the lines of the weigh sheet",
        required=True,
    ),
    Field("materials", by_id(Table(*MATERIAL_FIELDS)), "the material records used, [materials.ID]"),
    Field(
        "entry",
        ListOf(
            Table(
                Field("id", Text(), "id of the entry", required=True),
                Field("at", Moment(), "when", required=True),
                Field("by", Text(), "who"),
                Field("weighed", id_text("a material"), "a line of the sheet, weighed in"),
                Field("added", id_text("a material"), "added to the mixed batch"),
                Field("replaced", id_text("a material"), "put back, such as lost water"),
                Field("lost", id_text("a material"), "evaporated: this and nothing else"),
                Field("spilled", Text(), "mixed product lost"),
                Field("left", Text(), "phase of which some stayed on its beaker"),
                Field("sampled", Text(), "taken out as a sample"),
                Field("combined", Text(), "phase that went into another"),
                Field("heated", Text(), "phase that was heated"),
                Field("seen", Text(), "what was seen"),
                Field("noted", Text(), "a note"),
                Field("closed", Choice("keep", "set aside", "repeat", "choose", "release", "hold", "reject"), "verdict"),
                Field("grams", Number("0", above=True), "grams"),
                Field("phase", Text(), "phase"),
                Field("into", Text(), "phase that a combined one went into"),
                Field("lot", Text(), "lot of the material"),
                Field("because", Text(), "why"),
                Field("corrects", Text(), "id of the entry that this one corrects"),
                Field("condition", Text(), "where the sample stood"),
                Field("day", Whole(0), "days after making"),
                Field("ph", Number("0", "14"), "pH reading"),
                Field("clarity", Text(), "clarity"),
                Field("separation", Text(), "separation"),
                Field("colour", Text(), "colour"),
                Field("odour", Text(), "odour"),
                Field("viscosity", Text(), "viscosity, with its method"),
                Field("temperature", Text("a temperature", amounts.celsius), "temperature"),
                Field("hold", Text("a time", amounts.minutes), "for how long"),
                Field("photo", Text(), "file of a photo"),
            )
        ),
        "what happened, in order, [[entry]]; only ever added to",
    ),
)

TABLES: dict[str, Table] = {"formulary": FORMULARY, "material": MATERIAL, "formula": PLAN, "variant": VARIANT, "trial": TRIAL}

T = TypeVar("T")


class Parsed(NamedTuple, Generic[T]):
    """One file read: the value (None when faulty), its faults and warnings, and its text."""

    value: T | None
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    text: TomlText | None


def _three_capitals(text: str) -> None:
    if not (len(text) == 3 and text.isascii() and text.isalpha() and text.isupper()):
        raise ValueError("a currency is an ISO 4217 code")


def _read(data: bytes, name: str, kind: str, build: Callable[[dict[str, Any], Notes], T]) -> Parsed[T]:
    try:
        text = TomlText(data, name)
    except Refusal as refusal:
        return Parsed(None, refusal.faults, (), None)
    notes = Notes(text)
    version = text.values.get("format")
    if isinstance(version, int) and not isinstance(version, bool) and version > FORMAT:
        fault = Fault(
            f"format {version} is newer than this fvc reads (format {FORMAT})",
            name,
            text.line_of(("format",)),
            "format",
            "install a newer fvc; this one leaves the file alone",
        )
        return Parsed(None, (fault,), (), text)
    fields = TABLES[kind].read(text.values, (), notes)
    value = build(fields, notes) if not notes.faults else None
    if notes.faults:
        value = None
    return Parsed(value, tuple(notes.faults), tuple(notes.warnings), text)


def read_plan(data: bytes, name: str, id: str, *, variant: bool = False) -> Parsed[Plan]:
    """A file under formulas/ or variants/. `name` is the file's name in messages."""

    def build(fields: dict[str, Any], notes: Notes) -> Plan:
        phases, lines = [], []
        for phase, table in fields.get("phase", {}).items():
            texts = {k: v for k, v in table.items() if k != "percent"}
            phases.append(Phase(phase, **texts))
            lines += [Line(phase, material, level, note) for material, (level, note) in table.get("percent", {}).items()]
        given = {k: fields[k] for k in ("use", "status", "batch", "spec") if k in fields}
        about = fields.get("variant")
        return Plan(
            id=id,
            title=fields.get("title", id),
            revision=fields.get("revision", 0),
            phases=tuple(phases),
            lines=tuple(lines),
            variant=VariantOf(**({"plan_id": "", "expect": ""} | about)) if about else None,
            record=notes.source.values,
            **given,
        )

    return _read(data, name, "variant" if variant else "formula", build)


def read_material(data: bytes, name: str, id: str) -> Parsed[Material]:
    """A file under materials/."""
    return _read(data, name, "material", lambda fields, notes: _material(id, fields, notes, (), notes.source.values))


def _material(id: str, fields: dict[str, Any], notes: Notes, at: tuple[str, ...], record: Mapping[str, object]) -> Material:
    composition = _shares(fields.get("composition"), (*at, "composition"), notes)
    constituents = _shares(fields.get("constituents"), (*at, "constituents"), notes) or {}
    balanced = "balance" in (fields.get("composition") or {}).values()
    undeclared = ANYTHING if composition is None else NOTHING if balanced else undeclared_rest(composition)
    active = fields.get("active", ())
    for name in active:
        if composition is not None and share_of(composition, name) is None:
            notes.fault((*at, "active"), f'"{name}" is not in the composition', "use an INCI name from [composition]")
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
        record=record,
    )


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
    if low > HUNDRED:
        notes.fault(
            path, f"the composition adds up to {amounts.shown(low, 0)} %, {amounts.shown(low - 100, 0)} above 100", "correct the shares"
        )
        return None
    if nominal > HUNDRED:
        notes.fault(
            path, f"the composition adds up to {amounts.shown(nominal, 0)} % by its nominal figures, above 100", "correct the shares"
        )
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


@dataclass(frozen=True, kw_only=True)
class Settings:
    """The formulary's own file: what holds for the whole folder."""

    name: str = ""
    currency: str = ""
    rules: tuple[str, ...] = ()
    scales: tuple[Scale, ...] = COMMON_SCALES
    decimals: int = 4
    small_below: Fraction = SMALL_BELOW
    record: Mapping[str, object] = field(default_factory=dict, compare=False, repr=False)


def read_formulary(data: bytes, name: str = "formulary.toml") -> Parsed[Settings]:
    """The file formulary.toml."""

    def build(fields: dict[str, Any], notes: Notes) -> Settings:
        scales = tuple(
            Scale(scale_from_text(s["step"]).step, amounts.mass(s["max"]) if "max" in s else None) for s in fields.get("scales", ())
        )
        small = fields.get("small_below")
        return Settings(
            name=fields.get("name", ""),
            currency=fields.get("currency", ""),
            rules=fields.get("rules", ()),
            scales=scales or COMMON_SCALES,
            decimals=fields.get("decimals", 4),
            small_below=small.value if small else SMALL_BELOW,
            record=notes.source.values,
        )

    return _read(data, name, "formulary", build)


def read_trial(data: bytes, name: str, id: str) -> Parsed[Trial]:
    """A file under trials/."""

    def build(fields: dict[str, Any], notes: Notes) -> Trial:
        entries = [_entry(e, i, notes) for i, e in enumerate(fields.get("entry", ()))]
        records = cast(dict[str, Any], notes.source.values.get("materials", {}))
        materials = {id: _material(id, given, notes, ("materials", id), records[id]) for id, given in fields.get("materials", {}).items()}
        asked = tuple(
            Asked(a["phase"], a["material"], _value(a.get("percent")), _value(a.get("grams")), a.get("open", False))
            for a in fields["asked"]
        )
        ids = [e.id for e in entries if e]
        for twice in {i for i in ids if ids.count(i) > 1}:
            notes.fault(("entry",), f"two entries have the id {twice}", "give each entry an id of its own")
        return Trial(
            id=id,
            plan=fields["plan"],
            plan_id=fields.get("plan_id", ""),
            batch=fields["batch"],
            scale=fields.get("scale", ""),
            asked=asked,
            entries=tuple(e for e in entries if e),
            materials=materials,
            record=notes.source.values,
        )

    return _read(data, name, "trial", build)


def _value(typed: Typed | None) -> Fraction | None:
    return typed.value if typed else None


def _entry(fields: dict[str, Any], index: int, notes: Notes) -> Entry | None:
    path = ("entry", index)
    actions = [a for a in ACTIONS if a in fields]
    if len(actions) != 1:
        named = " and ".join(actions) or "none"
        notes.fault(path, f"expected one action in an entry, found {named}", f"one of: {', '.join(ACTIONS)}")
        return None
    action = actions[0]
    if action in (*WEIGHINGS, *LOSSES) and "grams" not in fields:
        notes.fault(path, f'"{action}" needs grams', "add the line  grams = …")
        return None
    if action == "combined" and "into" not in fields:
        notes.fault(path, '"combined" needs the phase it went into', 'add the line  into = "A"')
        return None
    return Entry(
        id=fields["id"],
        at=fields["at"],
        action=action,
        subject=fields[action],
        by=fields.get("by", ""),
        grams=_value(fields.get("grams")),
        phase=fields.get("phase", ""),
        into=fields.get("into", ""),
        lot=fields.get("lot", ""),
    )


__all__ = [
    "FORMAT",
    "TABLES",
    "Parsed",
    "Settings",
    "flatten",
    "read_formulary",
    "read_material",
    "read_plan",
    "read_trial",
]
