"""A record as plain values, as a file said it: the digits as typed, and the whole as dotted path and text."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import NamedTuple


class RawFloat(NamedTuple):
    """A number with a point kept as the text that was typed (also `nan`, `inf` and exponent forms)."""

    text: str


def flatten(record: Mapping[str, object], above: str = "") -> dict[str, str]:
    """A record as dotted path -> text, lists as one text; for differences of records."""
    out: dict[str, str] = {}
    for key, value in record.items():
        path = f"{above}.{key}" if above else key
        if isinstance(value, dict):
            out.update(flatten(value, path))
        elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
            for index, inner in enumerate(value):
                out.update(flatten(inner, f"{path}[{index + 1}]"))
        else:
            out[path] = plain_text(value)
    return out


def plain_text(value: object) -> str:
    """A value as text for a person: numbers as typed, lists with commas."""
    if isinstance(value, RawFloat):
        return value.text
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list | tuple):
        return ", ".join(plain_text(v) for v in value)
    if isinstance(value, dict):
        return ", ".join(f"{k} {plain_text(v)}" for k, v in value.items())
    if isinstance(value, datetime.datetime | datetime.date):
        return value.isoformat()
    return str(value)
