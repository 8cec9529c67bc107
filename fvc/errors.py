"""The one kind of planned failure, and the shape of every message about it.

Anything the maker can mend is raised as `Refusal` and shown by one funnel (`cli/main.py`).
Every fault says what is wrong, where (file, line, dotted path) and the next thing to do.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from fvc.names import printable

EXIT_DONE = 0
EXIT_ANSWER_IS_NO = 1
EXIT_INPUT = 2
EXIT_FAULT_OF_TOOL = 3
EXIT_STOPPED = 130


class Fault(NamedTuple):
    """One thing that is wrong, for a person to read.

    message: what was expected and what was found.
    file, line, path: where; `path` is dotted (`phase.A.percent.water`), `line` counts from 1.
    next: the next thing to do.
    """

    message: str
    file: str = ""
    line: int | None = None
    path: str = ""
    next: str = ""

    def text(self) -> str:
        """The fault as one to three lines of plain text: where, what, next; nothing in it can drive a terminal."""
        where = self.file
        if self.line is not None:
            where = f"{where}:{self.line}" if where else f"line {self.line}"
        head = ": ".join(part for part in (where, self.path) if part)
        lines = [f"{head}: {self.message}" if head else self.message]
        if self.next:
            lines.append(f"  next: {self.next}")
        return "\n".join(printable(row) for row in "\n".join(lines).split("\n"))


class Refusal(Exception):
    """The input or the call is wrong and nothing was changed.

    faults: all of them, so that the maker mends a file in one go.
    code: the exit code of the command (2 unless the answer itself is no).
    """

    def __init__(self, faults: Fault | Iterable[Fault] | str, *, next: str = "", code: int = EXIT_INPUT) -> None:
        if isinstance(faults, str):
            faults = Fault(faults, next=next)
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        self.code = code
        super().__init__("\n".join(fault.text() for fault in self.faults))
