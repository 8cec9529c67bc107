"""What every reader of a file does alike: check the format, collect faults, build the value.

Every reader takes the bytes of one file and returns a `Parsed`: the value, or all the faults.
A format once released keeps its reader; a newer one is refused with what to do.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, NamedTuple, TypeVar

from fvc.errors import Fault, Refusal
from fvc.files.fields import Field, Notes, Table, Whole
from fvc.files.toml_text import TomlText

FORMAT = 1

FORMAT_FIELD = Field("format", Whole(1), "version of the file format, 1", required=True)

T = TypeVar("T")


class Parsed(NamedTuple, Generic[T]):
    """One file read: the value (None when faulty), its faults and warnings, and its text."""

    value: T | None
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    text: TomlText | None


def read_file(data: bytes, name: str, table: Table, build: Callable[[dict[str, Any], Notes], T]) -> Parsed[T]:
    """Read one file by its table of fields and build its value from them."""
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
    fields = table.read(text.values, (), notes)
    value = build(fields, notes) if not notes.faults else None
    if notes.faults:
        value = None
    return Parsed(value, tuple(notes.faults), tuple(notes.warnings), text)
