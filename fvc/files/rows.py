"""A TOML file as the rows it is written in: every heading and every `key = value` with the comments that belong to it.

A comment belongs to the row it stands behind or above; one right below the last row of a table, before any blank line,
to that row. Put together again the rows are the file. Elements of `[[entry]]` and its like go by what
they are called (their id, number or name), not by where they stand, so that two sides that both add one can be told apart.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from fvc.files.toml_text import BOM, Path, TomlText

Name = tuple[str, ...]
_CALLED = ("id", "number", "name")
_HEADING = re.compile(r"([ \t]*\[.*?\]\]?)([ \t]*(?:#.*)?)")


class OddLayout(Exception):
    """The file is written in a way that has no rows of its own for everything."""


class Row(NamedTuple):
    """One row. key: what stands before the value, with the equals sign; of a heading all of it. comment: with the gap before it."""

    lead: tuple[str, ...]
    key: str
    value: str
    comment: str
    below: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, ...]:
        """The row as it stands in the file."""
        return (*self.lead, self.key + self.value + self.comment, *self.below)


class Rows:
    """The rows of one file. tables: heading -> rows by path, the top of the file under (). heads: the headings. values: as parsed, lists of tables by name."""

    def __init__(self, data: bytes, name: str) -> None:
        """Refusal for what is no TOML, OddLayout for what has no rows."""
        self.crlf = b"\r\n" in data
        if self.crlf:
            TomlText(data, name)  # refuses mixed line ends
        source = TomlText(data.replace(b"\r\n", b"\n"), name)
        self.bom = source.bom
        self.source = source
        self.names: dict[Path, Name] = {}
        self.values = self._by_name(source.values, (), ())
        self.tables: dict[Name, dict[Name, Row]] = {(): {}}
        self.heads: dict[Name, Row] = {}
        self.ends: tuple[str, ...] = ()
        self._read()

    def _by_name(self, table: Mapping[str, Any], at: Path, called: Name) -> dict[str, Any]:
        """A table with every list of tables in it as a table by name; notes what each place is called."""
        out: dict[str, Any] = {}
        self.names[at] = called
        headed = {h.path[: len(at) + 2] for h in self.source.layout.headings if h.path[: len(at)] == at}
        for key, value in table.items():
            if isinstance(value, dict):
                out[key] = self._by_name(value, (*at, key), (*called, key))
            elif isinstance(value, list) and (*at, key, 0) in headed:
                names = [next((e[k] for k in _CALLED if isinstance(e.get(k), str)), f"no. {i + 1}") for i, e in enumerate(value)]
                if len(set(names)) < len(names):
                    raise OddLayout(f"two elements of {key} are called alike")
                out[key] = {
                    n: self._by_name(e, (*at, key, i), (*called, key, n)) for i, (n, e) in enumerate(zip(names, value, strict=True))
                }
            else:
                out[key] = value
        return out

    def _called(self, path: Path) -> Name:
        for length in range(len(path), -1, -1):
            if path[:length] in self.names:
                return (*self.names[path[:length]], *(str(p) for p in path[length:]))
        raise AssertionError(path)

    def _read(self) -> None:
        text, layout = self.source.text, self.source.layout
        found: list[tuple[int, int, int, Path, bool]] = [(h.start, h.start, h.end, h.path, True) for h in layout.headings]
        last = 0
        for path, place in sorted(layout.places.items(), key=lambda item: item[1].key_start):
            if place.key_start >= last:  # what stands inside another value has no row of its own
                found.append((place.key_start, place.start, place.end, path, False))
                last = place.end
        at = 0
        table: Name = ()
        previous: tuple[Name, Name | None] | None = None
        for start, value_start, end, path, heading in sorted(found):
            begins = text.rfind("\n", 0, start) + 1
            if begins < at:
                raise OddLayout("two values stand on one row")
            ends = text.find("\n", end - 1 if heading else end)
            ends = len(text) if ends < 0 else ends
            lead = tuple(text[at:begins].split("\n")[:-1])
            name = self._called(path)
            if heading:
                match = _HEADING.fullmatch(text[begins:ends])
                if match is None or name in self.heads:
                    raise OddLayout("a heading that is not understood")
                lead = self._below(previous, lead)
                table = name
                self.heads[table] = Row(lead, match[1], "", match[2])
                self.tables.setdefault(table, {})
                previous = (table, None)
            else:
                if name[: len(table)] != table or name in self.tables[table]:
                    raise OddLayout("a value stands under another heading than its own")
                self.tables[table][name] = Row(lead, text[begins:value_start], text[value_start:end], text[end:ends])
                previous = (table, name)
            at = min(ends + 1, len(text))
        rest = text[at:]
        self.ends = self._below(previous, tuple(rest.split("\n")[:-1] if rest.endswith("\n") else rest.split("\n") if rest else ()))

    def _below(self, previous: tuple[Name, Name | None] | None, between: tuple[str, ...]) -> tuple[str, ...]:
        """Give comment lines right below the last row of a table to that row; what is left stands above the next heading."""
        count = next((i for i, line in enumerate(between) if not line.strip()), len(between))
        if previous is None or not count or count == len(between):
            return between
        table, name = previous
        if name is None:
            self.heads[table] = self.heads[table]._replace(below=between[:count])
        else:
            self.tables[table][name] = self.tables[table][name]._replace(below=between[:count])
        return between[count:]

    def value(self, name: Name) -> object:
        """What stands at a path; None where there is nothing."""
        found: object = self.values
        for part in name:
            if not isinstance(found, dict) or part not in found:
                return None
            found = found[part]
        return found

    def bytes_of(self, rows: Iterable[str]) -> bytes:
        """Lines as the bytes of a file, with this file's line ends and byte order mark."""
        text = "".join(row + "\n" for row in rows)  # a value of several rows holds line ends of its own
        return (BOM if self.bom else b"") + (text.replace("\n", "\r\n") if self.crlf else text).encode()

    @property
    def comments(self) -> set[str]:
        """What all comments say, those inside a list too."""
        rows = [row for table in self.tables.values() for row in table.values()] + [*self.heads.values()]
        texts = [line for row in rows for line in (*row.lead, *row.below, row.comment)] + [*self.ends]
        inside = [line for row in rows if row.value.startswith("[") for line in row.value.split("\n")]
        texts += [line[line.index("#") :] for line in inside if "#" in line and not re.search(r"[\"'].*#.*[\"']", line)]
        return {said for text in texts if (said := text.strip().lstrip("# ").strip())}

    @property
    def lines(self) -> list[str]:
        """The rows in their order: the file again."""
        out: list[str] = []
        for table, rows in self.tables.items():
            if table in self.heads:
                out += self.heads[table].lines
            for row in rows.values():
                out += row.lines
        return [*out, *self.ends]
