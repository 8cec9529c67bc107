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


def new_comments(base: TomlText, other: TomlText, text: TomlText) -> list[str]:
    """Comments that another text has gained since `base` and that a third one does not have, in words."""
    known = set(comments_of(base).values())
    return [c for c in lost_comments(other, text) if not any(c.endswith(k) for k in known)]


def with_row_comments(source: TomlText, base: TomlText, other: TomlText) -> bytes:
    """The text with what another made of the comments behind rows since `base`, wherever its own are still those of `base`.

    Where both changed one, its own stays. Comments on lines of their own stay as they are.
    """
    first, theirs, own = comments_of(base), comments_of(other), comments_of(source)
    text = source.text
    for path, place in sorted(source.layout.places.items(), key=lambda item: -item[1].end):
        name = ".".join(str(p) for p in path)
        there = name in {".".join(str(p) for p in known) for known in other.layout.places}
        if path[:1] != ("phase",) or len(path) != 4 or not there or theirs.get(name) == own.get(name) or own.get(name) != first.get(name):
            continue
        behind = text[place.end :].split("\n", 1)[0].rstrip("\r")
        if behind.strip() and not behind.strip().startswith("#"):
            continue  # more stands in this row than a comment
        gap = behind[: len(behind) - len(behind.lstrip())] or "  "
        new = gap + theirs[name] if name in theirs else ""
        text = text[: place.end] + new + text[place.end + len(behind) :]
    return _bytes(source, text, source.values)
