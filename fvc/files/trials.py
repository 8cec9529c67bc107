"""trials/: the fields of one batch, and the Trial they become."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, cast

from fvc import amounts
from fvc.amounts import Typed
from fvc.batch import parse_batch
from fvc.files.fields import Choice, Day, Field, Flag, ListOf, Moment, Notes, Number, Table, Text, Whole, by_id, by_phase, id_text
from fvc.files.materials import MATERIAL_FIELDS, build_material
from fvc.files.parsed import FORMAT_FIELD, Parsed, read_file
from fvc.files.plans import PHASE, SPEC, USES
from fvc.formula import Phase
from fvc.scales import scale_from_text
from fvc.trial import ACTIONS, LOSSES, SALE_VERDICTS, VERDICTS, WEIGHINGS, Asked, Entry, Seen, Trial


def _holds(text: str) -> Fraction:
    """ML of a volume, or g of a mass."""
    try:
        return amounts.volume(text)
    except ValueError:
        return amounts.mass(text)


TRIAL = Table(
    FORMAT_FIELD,
    Field("plan", Text(), 'the plan that was tried, such as "face-toner.4"; ", changed since" behind an unsaved one', required=True),
    Field("plan_id", Text(), "git's blob id of the plan's text"),
    Field("batch", Text("a batch size", parse_batch), "batch size asked for", required=True),
    Field("scale", Text("a resolution", scale_from_text), "resolution of the scale"),
    Field("by", Text(), "who made it"),
    Field("started", Moment(), "when it was begun"),
    Field("for_sale", Flag(), "true when the batch is for sale"),
    Field("vessel", Text("a volume or a mass", _holds), "what the vessel holds"),
    Field("use_by", Day(), "last day on which it may be used"),
    Field("conditions", ListOf(Text()), "where samples of it stand, if not everywhere that the schedule says"),
    Field("use", USES, "how the product is used, by the plan"),
    Field("spec", SPEC, "what it must meet, by the plan"),
    Field("phase", by_phase(Table(*(f for k, f in PHASE.fields.items() if k != "percent"))), "what is done to each phase, by the plan"),
    Field("premixes", by_id(Text()), "formulas in it that stand as materials, each with the reference of its plan then"),
    Field(
        "asked",
        ListOf(
            Table(
                Field("phase", Text(), "phase", required=True),
                Field("material", id_text("a material"), "material", required=True),
                Field("percent", Number("0", "100"), "percent asked for"),
                Field("grams", Number("0"), "grams asked for"),
                Field("open", Flag(), "true for an open line"),
                Field("balance", Flag(), "true for the balance"),
                Field("scale", Text("a resolution", scale_from_text), "resolution of its scale, if another"),
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
                Field("omitted", id_text("a material"), "a line left out on purpose"),
                Field("retargeted", id_text("a material"), "a line that gets another target, in grams"),
                Field("enlarged", Text(), "the batch was made larger, grams in all; its value says by what"),
                Field("spilled", Text(), "mixed product lost"),
                Field("left", Text(), "phase of which some stayed on its beaker"),
                Field("sampled", Text(), "taken out as a sample"),
                Field("combined", Text(), "phase that went into another"),
                Field("heated", Text(), "phase that was heated"),
                Field("cooled", Text(), "phase that was cooled"),
                Field("stirred", Text(), "phase that was stirred or homogenised"),
                Field("vessel", Text(), "phase whose vessel stood on the scale, grams with all that is in it"),
                Field("bulk", Text(), "the finished product was weighed"),
                Field("seen", Text(), "what was seen"),
                Field("noted", Text(), "a note"),
                Field("closed", Choice(*VERDICTS, *SALE_VERDICTS), "verdict"),
                Field("written", Moment(), "when it was put down, if later than it happened"),
                Field("grams", Number("0", above=True), "grams"),
                Field("reading", Text(), "what the scale showed, for a weight by difference"),
                Field("phase", Text(), "phase"),
                Field("into", Text(), "phase that a combined one went into"),
                Field("lot", Text(), "lot of the material; of a premix the id of its batch"),
                Field("checked_by", Text(), "who looked over it"),
                Field("because", Text(), "why"),
                Field("corrects", Text(), "id of the entry that this one corrects"),
                Field("condition", Text(), "where the sample stood"),
                Field("day", Whole(0), "days after making"),
                Field("ph", Number("0", "14"), "pH reading"),
                Field("ph_by", Choice("meter", "strip"), "what it was read with"),
                Field("calibrated", Day(), "day on which the meter was calibrated"),
                Field("dilution", Text(), "what the pH was read in"),
                Field("clarity", Text(), "clarity"),
                Field("separation", Text(), "separation"),
                Field("colour", Text(), "colour"),
                Field("odour", Text(), "odour"),
                Field("viscosity", Text(), "viscosity, with its method"),
                Field("spray", Text(), "how it sprays"),
                Field("temperature", Text("a temperature", amounts.celsius), "temperature"),
                Field("hold", Text("a time", amounts.minutes), "for how long"),
                Field("speed", Text(), "of the stirrer"),
                Field("photo", Text(), "file of a photo"),
                Field("filled", Text(), "what was filled into bottles"),
                Field("retained", Text(), "what was kept as a sample"),
            )
        ),
        "what happened, in order, [[entry]]; only ever added to",
    ),
)


def read_trial(data: bytes, name: str, id: str, formula: str = "") -> Parsed[Trial]:
    """A file under trials/. formula: whose trial it is, by its folder."""

    def build(fields: dict[str, Any], notes: Notes) -> Trial:
        entries = [_entry(e, i, notes) for i, e in enumerate(fields.get("entry", ()))]
        records = cast(dict[str, Any], notes.source.values.get("materials", {}))
        materials = {
            id: build_material(id, given, notes, ("materials", id), records[id]) for id, given in fields.get("materials", {}).items()
        }
        asked = tuple(
            Asked(
                a["phase"],
                a["material"],
                _value(a.get("percent")),
                _value(a.get("grams")),
                a.get("open", False),
                a.get("balance", False),
                a.get("scale", ""),
            )
            for a in fields["asked"]
        )
        ids = [e["id"] for e in fields.get("entry", ())]
        for index, id_given in enumerate(ids):
            if id_given in ids[:index]:
                notes.fault(("entry", index, "id"), f"two entries have the id {id_given}", "give each entry an id of its own")
        for index, entry in enumerate(entries):
            if entry and entry.corrects and entry.corrects not in [e.id for e in entries[:index] if e]:
                notes.fault(
                    ("entry", index, "corrects"), f'no entry before this one has the id "{entry.corrects}"', "name an earlier entry"
                )
        return Trial(
            id=id,
            plan=fields["plan"],
            plan_id=fields.get("plan_id", ""),
            batch=fields["batch"],
            scale=fields.get("scale", ""),
            formula=formula,
            by=fields.get("by", ""),
            started=fields.get("started"),
            for_sale=fields.get("for_sale", False),
            vessel=fields.get("vessel", ""),
            use_by=fields.get("use_by"),
            conditions=fields.get("conditions", ()),
            use=fields.get("use", ()),
            spec=fields.get("spec", {}),
            phases=tuple(Phase(name, **texts) for name, texts in fields.get("phase", {}).items()),
            premixes=fields.get("premixes", {}),
            asked=asked,
            entries=tuple(e for e in entries if e),
            materials=materials,
            record=notes.source.values,
        )

    return read_file(data, name, TRIAL, build)


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
    needs = (*WEIGHINGS, *LOSSES, "vessel", "bulk", "enlarged", "retargeted")
    if action in needs and "grams" not in fields:
        notes.fault(path, f'"{action}" needs grams', "add the line  grams = …")
        return None
    if action == "combined" and "into" not in fields:
        notes.fault(path, '"combined" needs the phase it went into', 'add the line  into = "A"')
        return None
    texts = (
        "by",
        "phase",
        "into",
        "lot",
        "corrects",
        "because",
        "reading",
        "checked_by",
        "temperature",
        "hold",
        "speed",
        "filled",
        "retained",
    )
    looked = {k: fields[k] for k in Seen._fields if k in fields}
    return Entry(
        id=fields["id"],
        at=fields["at"],
        action=action,
        subject=fields[action],
        grams=_value(fields.get("grams")),
        written=fields.get("written"),
        seen=Seen(**looked) if action == "seen" else None,
        **{k: fields[k] for k in texts if k in fields and not (action == "seen" and k in Seen._fields)},
    )
