"""What may stand in a file, said once: each kind of value knows how to read itself and its JSON Schema.

The reader, the schemas that editors use, the hints for mistyped keys and the tables in
`docs/file-formats.md` all come from the same field lists, so they cannot drift apart.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

from fvc import amounts
from fvc.amounts import Typed
from fvc.errors import Fault
from fvc.files.toml_text import Path, TomlText, dotted
from fvc.formula import FIXED, LEVEL_FORMS, OPEN, Level, level_words
from fvc.material import Share
from fvc.names import ID_LENGTH, ID_PATTERN, PHASE_PATTERN, is_phase_name, nearest, why_not_an_id
from fvc.record import RawFloat

Json = dict[str, Any]
_WRONG = object()  # a value that was faulty; its fault is noted already


class Notes:
    """Collects the faults and warnings of one file, each with its line and dotted path."""

    def __init__(self, source: TomlText) -> None:
        self.source = source
        self.faults: list[Fault] = []
        self.warnings: list[Fault] = []

    def fault(self, path: Path, message: str, next: str = "") -> Any:
        """Note a fault; returns the marker that says so."""
        self.faults.append(Fault(message, self.source.name, self.source.line_of(path), dotted(path), next))
        return _WRONG

    def warn(self, path: Path, message: str, next: str = "") -> None:
        """Note something that does not hinder."""
        self.warnings.append(Fault(message, self.source.name, self.source.line_of(path), dotted(path), next))


def found(value: object) -> str:
    """A value in the words of a maker: `the text "abc"`, `a date`, `true`."""
    if isinstance(value, RawFloat):
        return value.text
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value[:40]}"' if value else "an empty text"
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return f"a date or time, {value}"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return str(value)


class Kind:
    """A kind of value. `words` says what is expected; `read` returns the value or notes a fault."""

    words = "a value"

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        raise NotImplementedError  # pragma: no cover - every kind has its own

    def schema(self) -> Json:
        raise NotImplementedError  # pragma: no cover - every kind has its own

    def wrong(self, value: object, path: Path, notes: Notes, next: str = "") -> Any:
        """Note that something else was expected."""
        return notes.fault(path, f"expected {self.words}, found {found(value)}", next or "correct this value")


class Text(Kind):
    """A text; `check` may parse it further and raise ValueError with the reason."""

    def __init__(
        self, words: str = "a text in quotes", check: Callable[[str], object] | None = None, pattern: str = "", convert: bool = False
    ) -> None:
        self.words, self.check, self.pattern, self.convert = words, check, pattern, convert

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        if not isinstance(value, str):
            return self.wrong(value, path, notes, "put quotes around it" if isinstance(value, int | RawFloat) else "")
        if self.check:
            try:
                checked = self.check(value)
            except ValueError as error:
                reason = "" if str(error).startswith(f"expected {self.words}") else f": {error}"
                return notes.fault(path, f"expected {self.words}, found {found(value)}{reason}", "correct this value")
            if self.convert:
                return checked
        return value

    def schema(self) -> Json:
        return {"type": "string"} | ({"pattern": self.pattern} if self.pattern else {})


class Choice(Kind):
    """One of a few words."""

    def __init__(self, *choices: str) -> None:
        self.choices = choices
        self.words = "one of " + ", ".join(f'"{c}"' for c in choices)

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        if isinstance(value, str) and value in self.choices:
            return value
        near = nearest(value.lower(), self.choices, 1) if isinstance(value, str) else []
        return self.wrong(value, path, notes, f'write "{near[0]}"' if near else "")

    def schema(self) -> Json:
        return {"enum": list(self.choices)}


class Whole(Kind):
    """A whole number within bounds."""

    def __init__(self, low: int, high: int = 1_000_000) -> None:
        self.low, self.high = low, high
        self.words = f"a whole number from {low} up" if high == 1_000_000 else f"a whole number from {low} to {high}"

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        if isinstance(value, int) and not isinstance(value, bool) and self.low <= value <= self.high:
            return value
        return self.wrong(value, path, notes)

    def schema(self) -> Json:
        return {"type": "integer", "minimum": self.low, "maximum": self.high}


class Flag(Kind):
    """true or false."""

    words = "true or false"

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        return value if isinstance(value, bool) else self.wrong(value, path, notes)

    def schema(self) -> Json:
        return {"type": "boolean"}


def typed_number(value: object, path: Path, notes: Notes, *, signed: bool = False) -> Typed | str:
    """A number with its digits as typed, or the reason in words why it is none."""
    if isinstance(value, bool) or not isinstance(value, int | RawFloat):
        return "not a number"
    text = value.text if isinstance(value, RawFloat) else str(value)
    if isinstance(value, int) and notes.source.has_odd_integers:
        text = notes.source.raw(path) or text
    sign = -1 if signed and text.startswith("-") else 1
    reason = amounts.why_not_a_number(text[1:] if sign < 0 else text)
    if reason:
        return reason
    return Typed(text, amounts.fraction(text) if sign > 0 else -amounts.fraction(text[1:]))


class Number(Kind):
    """A plain number within bounds, kept exactly with its digits."""

    def __init__(self, low: str | None = "0", high: str | None = None, *, above: bool = False) -> None:
        self.low = None if low is None else Fraction(low)
        self.high = None if high is None else Fraction(high)
        self.above = above
        self.low_text, self.high_text = low, high
        if low is not None and high is not None:
            self.words = f"a number from {low} to {high}"
        else:
            self.words = f"a number above {low}" if above else f"a number from {low} up" if low is not None else "a number"

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        typed = typed_number(value, path, notes, signed=self.low is None or self.low < 0)
        if isinstance(typed, str):
            return notes.fault(path, f"expected {self.words}, found {found(value)}: {typed}", "correct this value")
        low = self.low is not None and (typed.value <= self.low if self.above else typed.value < self.low)
        if low or (self.high is not None and typed.value > self.high):
            return self.wrong(value, path, notes)
        return typed

    def schema(self) -> Json:
        out: Json = {"type": "number"}
        if self.low_text is not None:
            out["exclusiveMinimum" if self.above else "minimum"] = float(self.low_text)  # schema bounds, not an amount
        if self.high_text is not None:
            out["maximum"] = float(self.high_text)  # schema bounds, not an amount
        return out


class Pair(Kind):
    """`[low, high]`, low not above high."""

    def __init__(self, each: Number) -> None:
        self.each = each
        self.words = f"[low, high], each {each.words}"

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        if not isinstance(value, list) or len(value) != 2:
            return self.wrong(value, path, notes, "write it as [low, high]")
        both = [self.each.read(v, (*path, i), notes) for i, v in enumerate(value)]
        if any(b is _WRONG for b in both):
            return _WRONG
        if both[0].value > both[1].value:
            return notes.fault(path, f"expected [low, high], found low {both[0].text} above high {both[1].text}", "swap the two")
        return (both[0], both[1])

    def schema(self) -> Json:
        return {"type": "array", "items": self.each.schema(), "minItems": 2, "maxItems": 2}


class Day(Kind):
    """A date without quotes: 2026-03-01."""

    words = "a date such as 2026-03-01, without quotes"

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        plain = isinstance(value, datetime.date) and not isinstance(value, datetime.datetime)
        return value if plain else self.wrong(value, path, notes)

    def schema(self) -> Json:
        return {"type": "string", "format": "date"}


class Moment(Kind):
    """A date and time with its offset: 2026-03-01T10:22:10+01:00."""

    words = "a date and time with its offset such as 2026-03-01T10:22:10+01:00, without quotes"

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        fine = isinstance(value, datetime.datetime) and value.tzinfo is not None
        return value if fine else self.wrong(value, path, notes)

    def schema(self) -> Json:
        return {"type": "string", "format": "date-time"}


class ListOf(Kind):
    """A list of one kind; `alone` also takes a single value without brackets."""

    def __init__(self, each: Kind, *, alone: bool = False) -> None:
        self.each, self.alone = each, alone
        self.words = f"a list, each {each.words}" + (", or one alone" if alone else "")

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        if not isinstance(value, list):
            if not self.alone:
                return self.wrong(value, path, notes, "put square brackets around it")
            one = self.each.read(value, path, notes)
            return _WRONG if one is _WRONG else (one,)
        every = [self.each.read(v, (*path, i), notes) for i, v in enumerate(value)]
        return _WRONG if any(v is _WRONG for v in every) else tuple(every)

    def schema(self) -> Json:
        many: Json = {"type": "array", "items": self.each.schema()}
        return {"anyOf": [self.each.schema(), many]} if self.alone else many


class Field:
    """A key of a table: its kind, one line of documentation, and whether it must be there."""

    def __init__(self, key: str, kind: Kind, doc: str, *, required: bool = False) -> None:
        self.key, self.kind, self.doc, self.required = key, kind, doc, required


class Table(Kind):
    """A table with known keys. Unknown keys are kept and warned of, with the nearest known one."""

    words = "a table"

    def __init__(self, *fields: Field, open: bool = False) -> None:
        self.fields = {f.key: f for f in fields}
        self.open = open

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        if not isinstance(value, dict):
            return self.wrong(value, path, notes)
        out: dict[str, Any] = {}
        for key, inner in value.items():
            known = self.fields.get(key)
            if known is None:
                if not self.open:
                    near = nearest(key, self.fields, 1)
                    hint = f"did you mean {near[0]}?" if near else f"known here: {', '.join(self.fields)}"
                    notes.warn((*path, key), f'unknown key "{key}"; it is kept and not used', hint)
                continue
            read = known.kind.read(inner, (*path, key), notes)
            if read is not _WRONG:
                out[key] = read
        for known in self.fields.values():
            if known.required and known.key not in value:
                notes.fault(path, f'"{known.key}" is missing: {known.doc}', f"add the line  {known.key} = …")
        return out

    def schema(self) -> Json:
        out: Json = {
            "type": "object",
            "properties": {f.key: f.kind.schema() | {"description": f.doc} for f in self.fields.values()},
        }
        required = [f.key for f in self.fields.values() if f.required]
        return out | ({"required": required} if required else {})


class TableBy(Kind):
    """A table whose keys the maker chooses (ids, phases, INCI names)."""

    words = "a table"

    def __init__(self, each: Kind, key: Callable[[str], str | None], pattern: str = "", most: int = 0) -> None:
        self.each, self.key, self.pattern, self.most = each, key, pattern, most

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        if not isinstance(value, dict):
            return self.wrong(value, path, notes)
        out = {}
        for key, inner in value.items():
            reason = self.key(key)
            if reason is None and isinstance(inner, dict) and isinstance(self.each, LevelKind):
                reason = self.each.dotted_id(key, inner)
            if reason:
                notes.fault((*path, key), reason, "rename it here" + (", and the file it names" if self.key is id_key else ""))
                continue
            read = self.each.read(inner, (*path, key), notes)
            if read is not _WRONG:
                out[key] = read
        return out

    def schema(self) -> Json:
        if not self.pattern:
            return {"type": "object", "additionalProperties": self.each.schema()}
        names: Json = {"pattern": f"^{self.pattern}$"} | ({"maxLength": self.most} if self.most else {})
        return {"type": "object", "propertyNames": names, "additionalProperties": self.each.schema()}


def id_key(key: str) -> str | None:
    """What is wrong with an id used as a key, in words; None when nothing is."""
    reason = why_not_an_id(key)
    return f'"{key}" is not an id: {reason}' if reason else None


def phase_key(key: str) -> str | None:
    """What is wrong with a phase name, in words; None when nothing is."""
    return None if is_phase_name(key) else f'"{key}" is not a phase name: up to 20 letters, digits, - and _'


_RANGE = re.compile(r"([0-9.]+)\s*(?:-|–|\.\.|to)\s*([0-9.]+)\s*%?")


def range_ends(value: object) -> tuple[Typed, Typed] | None:
    """The ends of a level written as a range, `[1, 3]` or `"1 - 3"` or `"1 to 3"`; None for anything else."""
    if isinstance(value, str):
        match = _RANGE.fullmatch(value.strip())
        texts = list(match.groups()) if match else []
    elif isinstance(value, list) and len(value) == 2 and all(isinstance(v, int | RawFloat) for v in value):
        texts = [found(v) for v in value]
    else:
        return None
    if len(texts) != 2 or any(amounts.why_not_a_number(t) for t in texts):
        return None
    low, high = (amounts.number(t) for t in texts)
    return (low, high) if low.value <= high.value else None


class LevelKind(Kind):
    """A level of a plan: a number, words, or { level, expect, note }."""

    words = LEVEL_FORMS
    keys = ("level", "expect", "note")

    def dotted_id(self, key: str, inner: Mapping[str, object]) -> str | None:
        """The message for `glycerin-99.5 = 3`, which TOML reads as a table inside a table."""
        if inner and not set(inner) & set(self.keys) and all(isinstance(k, str) and k[:1].isdigit() for k in inner):
            whole = f"{key}.{next(iter(inner))}"
            return f'"{whole}" is not an id: it has a dot, which TOML reads as a table inside a table; write for example "{whole.replace(".", "-")}"'
        return None

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        """A (Level, note) pair."""
        if not isinstance(value, dict):
            level = self._level(value, path, notes)
            return _WRONG if level is _WRONG else (level, "")
        for key in value:
            if key not in self.keys:
                near = nearest(key, self.keys, 1)
                notes.warn(
                    (*path, key),
                    f'unknown key "{key}"; it is kept and not used',
                    f"did you mean {near[0]}?" if near else "known: level, expect, note",
                )
        if "level" not in value:
            return notes.fault(path, 'expected { level = …, note = "…" }, found no level', "add level = 2.00")
        level = self._level(value["level"], (*path, "level"), notes)
        note = value.get("note", "")
        if not isinstance(note, str):
            notes.fault((*path, "note"), f"expected a text in quotes, found {found(note)}", "put quotes around it")
        if level is _WRONG:
            return _WRONG
        if "expect" in value:
            expected = typed_number(value["expect"], (*path, "expect"), notes)
            if level.kind != OPEN:
                return notes.fault((*path, "expect"), 'only an open line has "expect"', 'remove it, or set level = "open"')
            if isinstance(expected, str) or expected.value > 100:
                reason = expected if isinstance(expected, str) else "it is above 100"
                return notes.fault(
                    (*path, "expect"), f"expected a number from 0 to 100, found {found(value['expect'])}: {reason}", "correct this value"
                )
            level = level._replace(number=expected)
        return (level, note if isinstance(note, str) else "")

    def _level(self, value: object, path: Path, notes: Notes) -> Any:
        ends = range_ends(value)
        if ends:
            return notes.fault(
                path,
                f"expected one figure, found a range, {ends[0].text} to {ends[1].text}",
                "choose a figure within it; the range itself may stand in a note",
            )
        if isinstance(value, str):
            try:
                return level_words(value)
            except ValueError as error:
                reason = str(error)
                message = reason if reason.startswith('"q.s."') else f"found {found(value)}: {reason}"
                return notes.fault(path, message, "write a number such as 3.00, or one of the words")
        typed = typed_number(value, path, notes)
        if isinstance(typed, str):
            what = "" if typed == "not a number" else f": {typed}"
            return notes.fault(
                path, f"expected {self.words}, found {found(value)}{what}", "write a number such as 3.00, or one of the words"
            )
        if typed.value > 100:
            return notes.fault(path, f"expected a number from 0 to 100, found {typed.text}: it is above 100", "correct the level")
        return Level(FIXED, typed.text, typed)

    def schema(self) -> Json:
        ratio = rf"^\s*[0-9]+(\.[0-9]+)?\s*[x×]\s*([Aa][Ll][Ll]\s+\S[\s\S]*|\(\s*{ID_PATTERN}(\s*\+\s*{ID_PATTERN})*\s*\)|{ID_PATTERN})\s*$"
        plain: list[Json] = [
            {"type": "number", "minimum": 0, "maximum": 100},
            {"enum": ["balance", "open", "q.s. to 100"]},
            {"type": "string", "pattern": ratio},
            {
                "type": "string",
                "pattern": r"^\s*([Bb][Aa][Ll][Aa][Nn][Cc][Ee]|[Oo][Pp][Ee][Nn]|[Qq]\.?\s*[Ss]\.?\s*(([Tt][Oo]|[Aa][Dd])\s*)?100)\s*$",
            },
        ]
        table: Json = {
            "type": "object",
            "required": ["level"],
            "properties": {
                "level": {"anyOf": plain},
                "expect": {"type": "number", "minimum": 0, "maximum": 100},
                "note": {"type": "string"},
            },
        }
        return {"anyOf": [*plain, table]}


class ShareKind(Kind):
    """A share of a composition: a number, "balance", "unknown", [low, high], or { nominal, low, high }."""

    words = 'a percent from 0 to 100, "balance", "unknown", [low, high] or { nominal = 60, low = 58, high = 62 }'
    _percent = Number("0", "100")

    def read(self, value: object, path: Path, notes: Notes) -> Any:
        """A Share, or the text "balance" or "unknown"."""
        if isinstance(value, str):
            return value if value in ("balance", "unknown") else self.wrong(value, path, notes)
        if isinstance(value, list):
            pair = Pair(self._percent).read(value, path, notes)
            if pair is _WRONG:
                return _WRONG
            low, high = pair[0].value, pair[1].value
            return Share((low + high) / 2, low, high, low != high)
        if isinstance(value, dict):
            read = Table(
                Field("nominal", self._percent, "the figure to count with", required=True),
                Field("low", self._percent, "lower bound"),
                Field("high", self._percent, "upper bound"),
            ).read(value, path, notes)
            if read is _WRONG or "nominal" not in read or set(value) & {"low", "high"} - set(read):
                return _WRONG
            nominal = read["nominal"].value
            low, high = (read[k].value if k in read else nominal for k in ("low", "high"))
            if not low <= nominal <= high:
                return notes.fault(path, "expected low, nominal and high in ascending order", "put the three in order")
            return Share(nominal, low, high)
        typed = self._percent.read(value, path, notes)
        return _WRONG if typed is _WRONG else Share(typed.value, typed.value, typed.value)

    def schema(self) -> Json:
        percent = self._percent.schema()
        table = {"type": "object", "required": ["nominal"], "properties": {"nominal": percent, "low": percent, "high": percent}}
        return {"anyOf": [percent, {"enum": ["balance", "unknown"]}, Pair(self._percent).schema(), table]}


def id_text(what: str) -> Text:
    """A text that must be an id."""

    def check(text: str) -> None:
        reason = why_not_an_id(text)
        if reason:
            raise ValueError(reason)

    return Text(f"the id of {what}", check, f"^{ID_PATTERN}$")


def by_id(each: Kind) -> TableBy:
    """A table keyed by ids of materials or formulas."""
    return TableBy(each, id_key, ID_PATTERN, ID_LENGTH)


def by_phase(each: Kind) -> TableBy:
    """A table keyed by phases."""
    return TableBy(each, phase_key, PHASE_PATTERN)


def any_name(key: str) -> str | None:
    """A free name, such as an INCI name: anything but nothing."""
    return None if key.strip() else "a name is empty"


def is_wrong(value: object) -> bool:
    """True for the marker of a value whose fault was noted."""
    return value is _WRONG


__all__ = [
    "Choice",
    "Day",
    "Field",
    "Flag",
    "Json",
    "Kind",
    "LevelKind",
    "ListOf",
    "Moment",
    "Notes",
    "Number",
    "Pair",
    "ShareKind",
    "Table",
    "TableBy",
    "Text",
    "Whole",
    "any_name",
    "by_id",
    "by_phase",
    "id_text",
    "is_wrong",
    "range_ends",
]
