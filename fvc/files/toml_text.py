"""The text of one TOML file: its bytes checked, its values parsed, and where each value stands.

`tomllib` is the authority on what a file says. It gives no positions, so a small scanner walks
the same text and records the span of every key and value: for messages with a line, for the
digits as typed, and for edits that touch nothing else. A test holds the two against each other.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from functools import cached_property
from typing import NamedTuple

from fvc.errors import Fault, Refusal
from fvc.record import RawFloat

MOST_BYTES = 1_000_000
MOST_DEEP = 40  # tables inside tables; what is read must also be copied and compared without trouble
BOM = b"\xef\xbb\xbf"

PathPart = str | int
Path = tuple[PathPart, ...]


class Place(NamedTuple):
    """Where a value stands: offsets into the text, and the line of its key (from 1)."""

    start: int
    end: int
    line: int
    key_start: int


class Heading(NamedTuple):
    """A `[table]` or `[[table]]` line: its path, and the offsets of the line's start and end."""

    path: Path
    start: int
    end: int
    line: int


class Layout(NamedTuple):
    """Places of all values, and the headings, in the order of the text."""

    places: dict[Path, Place]
    headings: list[Heading]


def dotted(path: Path) -> str:
    """`phase.A.percent.water`, `entry[1].grams`: a path for people; lists count from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += ("." if text else "") + (part if re.fullmatch(r"[A-Za-z0-9_-]+", part) else f'"{part}"')
    return text


class TomlText:
    """One file read: `name` for messages, the `text` without BOM, its values, its layout."""

    def __init__(self, data: bytes, name: str) -> None:
        """Check and decode `data`. Raises Refusal naming file and line for anything unreadable."""
        self.name = name
        self.data = data
        self.bom = data.startswith(BOM)
        self.text = _decode(data[len(BOM) :] if self.bom else data, name)
        self.newline = "\r\n" if "\r\n" in self.text else "\n"
        self.values = self._parse()

    def _parse(self) -> dict[str, object]:
        try:
            values = tomllib.loads(self.text, parse_float=RawFloat)
            if _depth(values) > MOST_DEEP:
                raise RecursionError
            return values
        except tomllib.TOMLDecodeError as error:
            raise Refusal(self._broken(str(error))) from None
        except (ValueError, RecursionError) as error:
            what = "it is nested too deeply" if isinstance(error, RecursionError) else str(error)
            raise Refusal(Fault(f"not readable as TOML: {what}", file=self.name, next="correct the file in an editor")) from None

    def _broken(self, reason: str) -> Fault:
        at = re.search(r"\(at line (\d+), column \d+\)", reason)
        line = int(at[1]) if at else self.text.count("\n") + 1
        what = reason[: at.start()].strip() if at else reason.replace(" (at end of document)", "").strip()
        rows = self.text.split("\n")
        row = rows[line - 1].strip() if line <= len(rows) else ""
        twice = self._duplicate(line)
        if twice:
            return twice
        return Fault(
            f'not readable as TOML: {what[:1].lower()}{what[1:]}, in "{row[:60]}"', file=self.name, line=line, next=_toml_hint(row)
        )

    def _duplicate(self, line: int) -> Fault | None:
        """The same key twice, or the same table twice, told with both lines."""
        seen: dict[Path, int] = {}
        for path, at, is_key in _walk(self.text):
            if not is_key and path in seen:
                first = seen[path]
                return Fault(
                    f"{dotted(path)} stands twice: on line {first} and on line {at}",
                    file=self.name,
                    line=at,
                    path=dotted(path),
                    next="keep one of the two lines",
                )
            seen.setdefault(path, at)
        return None

    @cached_property
    def layout(self) -> Layout:
        """Where every value stands; worked out only when asked for."""
        return scan(self.text)

    @cached_property
    def has_odd_integers(self) -> bool:
        """True when some number may be written with a sign, underscores or another base.

        tomllib turns integers into values, and only then can the digits differ from the value's.
        """
        return bool(re.search(r"[0-9]_[0-9]|[=\[,]\s*[+-]|\b0[xob]", self.text))

    def line_of(self, path: Path) -> int | None:
        """The line of a value, of the nearest thing around it that has one, or None."""
        places = self.layout.places
        while path:
            if path in places:
                return places[path].line
            for heading in self.layout.headings:
                if heading.path == path:
                    return heading.line
            inside = [h.line for h in self.layout.headings if h.path[: len(path)] == path]
            inside += [place.line for known, place in places.items() if known[: len(path)] == path]
            if inside:
                return min(inside)
            path = path[:-1]
        return None

    def raw(self, path: Path) -> str | None:
        """The text of a value exactly as typed, or None when there is none."""
        place = self.layout.places.get(path)
        return self.text[place.start : place.end] if place else None


def _decode(data: bytes, name: str) -> str:
    if not data.strip():
        raise Refusal(Fault("the file is empty", file=name, next="write its lines, or make a new one with fvc new"))
    if len(data) > MOST_BYTES:
        raise Refusal(too_large(len(data), name))
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in data[:200]:
        raise Refusal(Fault("the file is UTF-16 or not text", file=name, line=1, next="save it as UTF-8 in your editor"))
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise Refusal(
            Fault(
                f"not UTF-8: byte {data[error.start]:#04x} on line {line} (Latin-1 or Windows-1252?)",
                file=name,
                line=line,
                next="save the file as UTF-8 in your editor",
            )
        ) from None
    crlf = text.count("\r\n")
    if text.count("\r") != crlf:
        line = text.count("\n", 0, re.search(r"\r(?!\n)", text).start()) + 1  # type: ignore[union-attr]
        raise Refusal(Fault("a carriage return stands alone", file=name, line=line, next="save the file with LF line ends"))
    if crlf and text.count("\n") != crlf:
        odd = re.search(r"(?<!\r)\n", text)
        line = text.count("\n", 0, odd.start()) + 1 if odd else 1
        raise Refusal(
            Fault(
                f"mixed line ends: {crlf} lines end in CRLF and {text.count(chr(10)) - crlf} in LF (the first on line {line})",
                file=name,
                line=line,
                next="save the file with one kind of line end in your editor",
            )
        )
    return text


def _depth(values: object) -> int:
    """How many tables or lists stand inside each other."""
    deepest, waiting = 0, [(values, 1)]
    while waiting:
        value, depth = waiting.pop()
        deepest = max(deepest, depth)
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
        waiting += [(v, depth + 1) for v in inner if isinstance(v, dict | list)]
    return deepest


def too_large(size: int, name: str) -> Fault:
    """The message for a file above the size that any formula, material or trial could have."""
    return Fault(
        f"the file has {size:,} bytes; at most {MOST_BYTES:,} are read", file=name, next="is this really a formulary file? Move it away"
    )


def _toml_hint(row: str) -> str:
    if re.search(r"=\s*[0-9]+,[0-9]", row):
        return "write decimals with a point: 3.00, not 3,00"
    if re.search(r"=\s*\.[0-9]", row):
        return "write 0.5, not .5"
    if re.search(r"=\s*[0-9.]+\s*%", row):
        return "leave out the % sign: levels are percent by weight already"
    if re.search(r"=\s*[0-9.]+\s*[a-zA-Z°]", row):
        return 'put quotes around a value with a unit: "200 g"'
    if row.startswith(("<<<<<<<", "=======", ">>>>>>>")):
        return "two versions were merged and a conflict is left in this file:  fvc settle  asks about it; or keep the right lines, remove the marker lines"
    if re.search(r"=\s*[A-Za-z]", row):
        return 'put quotes around words: "balance"'
    if re.search(r"=\s*$", row):
        return "write a value behind the equals sign"
    return "correct the line in an editor; a text value needs quotes at both ends"


# --- the scanner --------------------------------------------------------------------------------

_BLANK = re.compile(r"[ \t\r\n]*(?:#[^\n]*[ \t\r\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}(?!")'
    r"|'''.*?'{3,5}(?!')"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\n]+")


class _Odd(Exception):
    """The text is not TOML here; tomllib has the say about that."""


def _key(text: str, at: int) -> tuple[list[str], int]:
    parts: list[str] = []
    while True:
        at = _SPACE.match(text, at).end()  # type: ignore[union-attr]
        bare = _BARE.match(text, at)
        if bare:
            parts.append(bare[0])
            at = bare.end()
        else:
            quoted = _STRING.match(text, at)
            if not quoted:
                raise _Odd
            try:
                parts.append(tomllib.loads("k = " + quoted[0])["k"] if quoted[0][0] == '"' else quoted[0][1:-1])
            except tomllib.TOMLDecodeError:
                raise _Odd from None
            at = quoted.end()
        at = _SPACE.match(text, at).end()  # type: ignore[union-attr]
        if text[at : at + 1] != ".":
            return parts, at
        at += 1


class _Scan:
    def __init__(self, text: str) -> None:
        self.text = text
        self.places: dict[Path, Place] = {}
        self.headings: list[Heading] = []
        self.counts: dict[Path, int] = {}
        self.events: list[tuple[Path, int, bool]] = []
        self.line_starts = [0, *(found.end() for found in re.finditer("\n", text))]

    def line(self, at: int) -> int:
        return bisect_right(self.line_starts, at)

    def resolve(self, names: list[str]) -> Path:
        """The path of a heading: through arrays of tables it runs into their newest element."""
        path: Path = ()
        for name in names:
            path = (*path, name)
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
        return path

    def run(self) -> None:
        text, at = self.text, 0
        table: Path = ()
        while True:
            at = _BLANK.match(text, at).end()  # type: ignore[union-attr]
            if at >= len(text):
                return
            if text[at] == "[":
                start = text.rfind("\n", 0, at) + 1
                many = text.startswith("[[", at)
                names, at = _key(text, at + (2 if many else 1))
                if not text.startswith("]]" if many else "]", at):
                    raise _Odd
                if many:
                    above = (*self.resolve(names[:-1]), names[-1])
                    self.counts[above] = self.counts.get(above, 0) + 1
                table = self.resolve(names)
                if not many:
                    self.events.append((table, self.line(start), False))
                end = text.find("\n", at)
                end = len(text) if end < 0 else end + 1
                self.headings.append(Heading(table, start, end, self.line(start)))
                at = end
            else:
                at = self.pair(at, table)

    def pair(self, at: int, table: Path) -> int:
        key_start = at
        names, at = _key(self.text, at)
        if self.text[at : at + 1] != "=":
            raise _Odd
        path = (*table, *names)
        for depth in range(len(table) + 1, len(path)):
            self.events.append((path[:depth], self.line(key_start), True))
        self.events.append((path, self.line(key_start), False))
        start = _SPACE.match(self.text, at + 1).end()  # type: ignore[union-attr]
        end = self.value(start, path)
        self.places[path] = Place(start, end, self.line(key_start), key_start)
        return end

    def value(self, at: int, path: Path) -> int:
        text = self.text
        if at >= len(text):
            raise _Odd
        if text[at] in "\"'":
            found = _STRING.match(text, at)
            if not found:
                raise _Odd
            return found.end()
        if text[at] == "[":
            return self.array(at, path)
        if text[at] == "{":
            return self.table(at, path)
        found = _SCALAR.match(text, at)
        if not found or not found[0].strip():
            raise _Odd
        return at + len(found[0].rstrip())

    def array(self, at: int, path: Path) -> int:
        at, index = at + 1, 0
        while True:
            at = _BLANK.match(self.text, at).end()  # type: ignore[union-attr]
            if self.text[at : at + 1] == "]":
                return at + 1
            end = self.value(at, (*path, index))
            self.places[(*path, index)] = Place(at, end, self.line(at), at)
            at = _BLANK.match(self.text, end).end()  # type: ignore[union-attr]
            if self.text[at : at + 1] == ",":
                at += 1
            elif self.text[at : at + 1] != "]":
                raise _Odd
            index += 1

    def table(self, at: int, path: Path) -> int:
        at += 1
        while True:
            at = _SPACE.match(self.text, at).end()  # type: ignore[union-attr]
            if self.text[at : at + 1] == "}":
                return at + 1
            at = self.pair(at, path)
            at = _SPACE.match(self.text, at).end()  # type: ignore[union-attr]
            if self.text[at : at + 1] == ",":
                at += 1
            elif self.text[at : at + 1] != "}":
                raise _Odd


def scan(text: str) -> Layout:
    """Where every value of a TOML text stands; as far as the text could be followed."""
    walker = _Scan(text)
    try:
        walker.run()
    except (_Odd, RecursionError):
        pass
    return Layout(walker.places, walker.headings)


def _walk(text: str) -> Iterator[tuple[Path, int, bool]]:
    """Every key and heading with its line; True where it is only passed through on the way."""
    walker = _Scan(text)
    try:
        walker.run()
    except (_Odd, RecursionError):
        pass
    return iter(walker.events)
