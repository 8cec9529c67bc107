"""Git asked before anything slow is imported: by the time the command is parsed, it has answered.

Reading a long history takes git about as long as Python needs to import what parses the command
line and draws the screen. What is asked here is a guess from the words of the command line; a
wrong guess costs nothing but an answer that nobody reads.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from fvc.archive import Archive
from fvc.errors import Refusal
from fvc.references import begin

_started: list[Archive] = []


def ask(words: Sequence[str], *, story: bool) -> None:
    """Let git start on the references among `words`; story: on their whole history."""
    if "--help" in words:
        return
    try:
        archive = Archive.open(Path.cwd())
    except (Refusal, OSError):
        return  # said by the command itself
    begin(archive, *(w for w in words if not w.startswith("-")), story=story)
    _started.append(archive)


def started() -> Archive | None:
    """The archive that was asked, once: whoever takes it has it alone."""
    return _started.pop() if _started else None
