"""The text of a variant made from that of its parent, and the other way round; comments stay. Proved by reading again."""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping
from typing import Any

from fvc.errors import Fault, Refusal
from fvc.files.editor import toml_string
from fvc.files.toml_text import BOM, TomlText
from fvc.formula import VariantOf

_SCHEMA = re.compile(r"#:schema [^\r\n]*\b(?:formula|variant)\.schema\.json[ \t]*\r?\n")


def _lead(source: TomlText) -> int:
    """Where the first key or heading of a file stands: what is above it are comments."""
    starts = [p.key_start for p in source.layout.places.values()] + [h.start for h in source.layout.headings]
    first = min(starts, default=len(source.text))
    return source.text.rfind("\n", 0, first) + 1


def _above(source: TomlText, at: int) -> int:
    """The start of the comment lines that stand right above a place."""
    while at > 0:
        start = source.text.rfind("\n", 0, at - 1) + 1
        if not source.text[start:at].lstrip().startswith("#"):
            return at
        at = start
    return at


def _bytes(source: TomlText, text: str, wanted: Mapping[str, Any]) -> bytes:
    data = (BOM if source.bom else b"") + text.encode("utf-8")
    again = TomlText(data, source.name)
    if again.values != wanted or list(again.values.get("phase", {})) != list(wanted.get("phase", {})):  # type: ignore[call-overload]
        raise AssertionError(f"a copy of {source.name} would have said something else; nothing was written")
    return data


def as_variant(source: TomlText, about: VariantOf) -> bytes:
    """The text of a plan as a variant: with a [variant] table before its first other table, and the schema of variants."""
    nl = source.newline
    rows = [
        "[variant]",
        f"parent   = {toml_string(about.parent)}",
        f"plan_id  = {toml_string(about.plan_id)}",
        f"question = {toml_string(about.question)}",
        *([f"expect   = {toml_string(about.expect)}"] if about.expect else []),
        f"state    = {toml_string(about.state)}",
    ]
    table = "".join(row + nl for row in rows) + nl
    if not source.layout.headings:
        at, table = len(source.text), (nl if source.text.endswith("\n") else nl * 2) + table
    else:
        at = _above(source, source.layout.headings[0].start)
    text = source.text[:at] + table + source.text[at:]
    found = _SCHEMA.match(text)
    if found:
        text = f"#:schema ../../schemas/variant.schema.json{nl}" + text[found.end() :]
    wanted = copy.deepcopy(source.values)
    wanted["variant"] = {
        "parent": about.parent, "plan_id": about.plan_id, "question": about.question,
        **({"expect": about.expect} if about.expect else {}), "state": about.state,
    }  # fmt: skip
    return _bytes(source, text, wanted)


def as_formula(source: TomlText, parent: TomlText) -> bytes:
    """The text of a variant as a plan of its own: without its [variant] table, below the leading comments of its parent's file."""
    own = [h for h in source.layout.headings if h.path == ("variant",)]
    if len(own) != 1:
        raise Refusal(
            Fault(
                "the [variant] table is written in a way that cannot be taken out in place",
                source.name,
                source.line_of(("variant",)),
                "variant",
                "write it as a table of its own, headed [variant]",
            )
        )
    behind = [h.start for h in source.layout.headings if h.start > own[0].start]
    end = _above(source, min(behind)) if behind else len(source.text)
    text = source.text[: own[0].start] + source.text[end:]
    text = parent.text[: _lead(parent)].replace(parent.newline, source.newline) + text[_lead(source) :]
    wanted = copy.deepcopy(source.values)
    del wanted["variant"]
    return _bytes(source, text, wanted)


def comments_of(source: TomlText) -> dict[str, str]:
    """Every comment of a file: by the dotted path of the value it stands behind, or by its own text where it has a line to itself."""
    found: dict[str, str] = {}
    for line in source.text.splitlines():
        if line.lstrip().startswith("#") and not line.lstrip().startswith("#:schema"):
            found[line.strip()] = line.strip()
    for path, place in source.layout.places.items():
        behind = source.text[place.end :].split("\n", 1)[0].strip()
        if behind.startswith("#"):
            found[".".join(str(p) for p in path)] = behind
    return found


def lost_comments(before: TomlText, after: TomlText) -> list[str]:
    """Comments of one text that the other does not have anywhere, in words."""
    there = set(comments_of(after).values())
    return [c if where == c else f"{where.rpartition('.')[2]}  {c}" for where, c in comments_of(before).items() if c not in there]


def with_row_comments(source: TomlText, other: TomlText) -> bytes:
    """The text with the comments that stand behind rows of another, where its own rows have none."""
    own, theirs = comments_of(source), comments_of(other)
    text = source.text
    for path, place in sorted(source.layout.places.items(), key=lambda item: -item[1].end):
        name = ".".join(str(p) for p in path)
        end = text.find("\n", place.end)
        behind = text[place.end : len(text) if end < 0 else end].strip()
        if len(path) == 4 and path[0] == "phase" and name in theirs and name not in own and not behind:
            rest = text[place.end :].lstrip(" \t")
            text = f"{text[: place.end]}  {theirs[name]}{rest}"
    return _bytes(source, text, source.values)
