"""formulas/ and variants/: the fields of a plan, and the Plan they become."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from fvc import amounts
from fvc.amounts import Typed
from fvc.batch import parse_batch
from fvc.errors import Fault
from fvc.files.fields import Choice, Field, LevelKind, ListOf, Notes, Number, Pair, Table, Text, Whole, by_id, by_phase, range_ends
from fvc.files.parsed import FORMAT_FIELD, Parsed, read_file
from fvc.formula import Line, Phase, Plan, VariantOf

PHASE = Table(
    Field("title", Text(), "name of the phase in words"),
    Field("method", Text(), "what to do"),
    Field("heat", Text('a temperature such as "70 °C"', amounts.celsius), "heat the phase to"),
    Field("hold", Text('a time such as "15 min"', amounts.minutes), "keep it there for"),
    Field("add_below", Text('a temperature such as "40 °C"', amounts.celsius), "goes in below"),
    Field("percent", by_id(LevelKind()), "a level for each material or formula, in the order of addition"),
)

USES = ListOf(Choice("leave-on", "rinse-off", "spray", "aerosol"), alone=True)
SPEC = Table(
    Field("ph", Pair(Number("0", "14")), "pH within [low, high]"),
    Field("density", Number("0", above=True), "g/mL, for batches given by volume"),
    Field("appearance", Text(), "what it should look like"),
    Field("clarity", Text(), "clear, slightly hazy, hazy, cloudy, opaque, or from one to another"),
    Field("separation", Text(), 'what is allowed, such as "none"'),
    Field("colour", Text(), "colour"),
    Field("odour", Text(), "odour"),
    Field("viscosity", Text(), "viscosity, with its method"),
)

PLAN_FIELDS = (
    FORMAT_FIELD,
    Field("title", Text(), "what the product is called"),
    Field("revision", Whole(0), "number of the last saved plan; written by fvc revise, 0 in a new one"),
    Field("use", USES, "how the product is used; one word or a list"),
    Field("status", Choice("idea", "tried", "chosen", "locked", "retired"), "how far it has come; a locked plan only changes its status"),
    Field("batch", Text('a batch size such as "200 g"', parse_batch), "usual batch size"),
    Field("code", Text(), "short code for bottles and trial ids"),
    Field("keeps", Text('a time such as "30 days"', amounts.days), "how long a batch of it may be used, for a premix"),
    Field("notes", Text(), "free text"),
    Field("spec", SPEC, "what the finished product must meet"),
    Field(
        "label",
        Table(Field("oils", Choice("named", "parfum"), "essential oils each by its name, or all of them as Parfum")),
        "how the ingredient declaration is to be written",
    ),
    Field(
        "phase",
        by_phase(PHASE),
        "the phases in their order, [phase.A] and [phase.A.percent]",
        required=True,
    ),
)
PLAN = Table(*PLAN_FIELDS)
PHASE_KEYS = frozenset(PHASE.fields)

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
            code=fields.get("code", ""),
            keeps=amounts.days(fields["keeps"]) if "keeps" in fields else None,
            oils_as_parfum=fields.get("label", {}).get("oils") == "parfum",
            record=notes.source.values,
            **given,
        )

    parsed = read_file(data, name, VARIANT if variant else PLAN, build)
    if parsed.value is None and parsed.text is not None and (total := _total_of_ranges(parsed.text.values)):
        return parsed._replace(faults=(*parsed.faults, total._replace(file=name)))
    return parsed


def _total_of_ranges(values: Mapping[str, Any]) -> Fault | None:
    """What a list whose levels are ranges can total; None without a range, or where a line closes it."""
    ends: list[tuple[Typed, Typed]] = []
    ranges = 0
    phases = values.get("phase")
    for phase in phases.values() if isinstance(phases, dict) else ():
        rows = phase.get("percent") if isinstance(phase, dict) else None
        for row in rows.values() if isinstance(rows, dict) else ():
            level = row.get("level") if isinstance(row, dict) else row
            pair = range_ends(level) or range_ends([level, level])
            if pair is None:
                return None
            ranges += pair[0].value != pair[1].value
            ends.append(pair)
    if not ranges:
        return None
    decimals = max(end.decimals for pair in ends for end in pair)
    low, high = (amounts.fixed(sum((pair[i].value for pair in ends), amounts.ZERO), decimals) for i in (0, 1))
    off = [amounts.fixed(abs(Fraction(total) - 100), decimals) for total in (low, high)]
    words = ["short of 100" if Fraction(total) < 100 else "over 100" for total in (low, high)]
    return Fault(
        f"with these ranges the lines total anything from {low} to {high}: {off[0]} {words[0]} to {off[1]} {words[1]}",
        path="phase",
        next='choose figures that total 100, or write "balance" for one line',
    )
