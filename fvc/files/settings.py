"""formulary.toml: what holds for the whole folder."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from fvc import amounts
from fvc.files.fields import Choice, Field, ListOf, Notes, Number, Table, TableBy, Text, Whole, id_text
from fvc.files.parsed import FORMAT_FIELD, Parsed, read_file
from fvc.files.toml_text import Path
from fvc.material import inci_key
from fvc.names import INITIALS
from fvc.rules.basis import Basis, HouseRule
from fvc.scales import COMMON_SCALES, SLIP_ABOVE, SMALL_BELOW, Scale, scale_from_text
from fvc.schedule import Schedule


def _three_capitals(text: str) -> None:
    if not (len(text) == 3 and text.isascii() and text.isalpha() and text.isupper()):
        raise ValueError("a currency is an ISO 4217 code")


def _initials_key(key: str) -> str | None:
    return None if re.fullmatch(INITIALS, key) else f'"{key}" cannot be initials: two to four small letters'


FORMULARY = Table(
    FORMAT_FIELD,
    Field("name", Text(), "name of the formulary"),
    Field("currency", Text("three capitals such as EUR", _three_capitals, "^[A-Z]{3}$"), "ISO 4217 code"),
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
    Field("slip_above", Number("0", "100"), "percent of its target by which a weight may miss it without a word"),
    Field("makers", TableBy(Text(), _initials_key), "who makes trials, initials = name, [makers]"),
    Field("inci_names", ListOf(Text(), alone=True), "INCI names that are right although fvc does not know them"),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Settings:
    """The formulary's own file: what holds for the whole folder."""

    name: str = ""
    currency: str = ""
    rules: tuple[str, ...] = ()
    scales: tuple[Scale, ...] = COMMON_SCALES
    decimals: int = 4
    small_below: Fraction = SMALL_BELOW
    basis: Basis = field(default_factory=Basis)
    schedule: Schedule = field(default_factory=Schedule)
    slip_above: Fraction = SLIP_ABOVE
    makers: Mapping[str, str] = field(default_factory=dict)
    record: Mapping[str, object] = field(default_factory=dict, repr=False)


def _house_rule(given: dict[str, Any], path: Path, place: str, notes: Notes) -> HouseRule | None:
    """A [[house]] table as a rule; notes a fault where it binds nothing, or two things, or sets no bound."""
    binds = [k for k in ("material", "substance", "function") if k in given]
    if len(binds) != 1:
        named = " and ".join(binds) or "none of them"
        notes.fault(path, f"expected one of material, substance, function, found {named}", "name the one thing that the rule binds")
        return None
    low, high = given.get("min"), given.get("max")
    if low is None and high is None:
        notes.fault(path, 'expected "min" or "max", found neither', "add the line  max = …")
        return None
    if low is not None and high is not None and low.value > high.value:
        notes.fault(path, f"expected min not above max, found min {low.text} above max {high.text}", "swap the two")
        return None
    return HouseRule(binds[0], given[binds[0]], given.get("use", ""), low, high, given.get("because", ""), place)


def _schedule(given: dict[str, Any] | None) -> Schedule:
    if given is None:
        return Schedule()
    default = Schedule()
    return Schedule(tuple(sorted(set(given.get("days", default.days)))), given.get("conditions", default.conditions), True)


def read_formulary(data: bytes, name: str = "formulary.toml") -> Parsed[Settings]:
    """The file formulary.toml."""

    def build(fields: dict[str, Any], notes: Notes) -> Settings:
        scales = tuple(
            Scale(scale_from_text(s["step"]).step, amounts.mass(s["max"]) if "max" in s else None) for s in fields.get("scales", ())
        )
        small = fields.get("small_below")
        house = tuple(
            rule
            for i, given in enumerate(fields.get("house", ()))
            if (rule := _house_rule(given, ("house", i), f"{name}, house[{i + 1}]", notes))
        )
        return Settings(
            name=fields.get("name", ""),
            currency=fields.get("currency", ""),
            rules=fields.get("rules", ()),
            scales=scales or COMMON_SCALES,
            decimals=fields.get("decimals", 4),
            small_below=small.value if small else SMALL_BELOW,
            basis=Basis(
                rules=fields.get("rules", ()),
                house=house,
                currency=fields.get("currency", ""),
                names=frozenset(inci_key(n) for n in fields.get("inci_names", ())),
            ),
            schedule=_schedule(fields.get("observe")),
            slip_above=fields["slip_above"].value if "slip_above" in fields else SLIP_ABOVE,
            makers=fields.get("makers", {}),
            record=notes.source.values,
        )

    return read_file(data, name, FORMULARY, build)
