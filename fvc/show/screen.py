"""What every screen is made of: one console, aligned numbers, and words beside each colour.

Colours are from the palette of Okabe and Ito (2008), made for colour-blind readers, and never
carry a meaning alone: every coloured cell has its word. Numbers are never cut; names may fold.
"""

from __future__ import annotations

import os
import re
import sys
import textwrap
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import IO, Any, cast

from rich.console import Console
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Column, Table
from rich.text import Text

from fvc.amounts import brief
from fvc.material import Share
from fvc.names import printable

MORE = "#0072B2"  # raised, added
LESS = "#D55E00"  # lowered, removed
QUIET = "grey50"  # followed by itself
STYLES = {
    "raised": MORE,
    "added": MORE,
    "lowered": LESS,
    "removed": LESS,
    "followed": QUIET,
    "moved": "bold",
    "same": "",
    "record": "bold",
}
PIPE_WIDTH = 80


def console(file: IO[str] | None = None) -> Screen:
    """A console on stdout (or `file`): no markup, no guessing of what to highlight."""
    out = file or sys.stdout
    width = None if out.isatty() or os.environ.get("COLUMNS") else PIPE_WIDTH
    if not out.isatty():
        out = cast(IO[str], _Trimmed(out))
    return Screen(file=out, markup=False, highlight=False, emoji=False, width=width, soft_wrap=False)


_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")


class Screen(Console):
    """A console that no text from a file or a commit can drive, and that leaves a closed pipe to `main`."""

    def render(self, *arguments: Any, **options: Any) -> Iterator[Segment]:
        """What rich makes of a thing, with control characters made visible."""
        for segment in super().render(*arguments, **options):
            if segment.control or not _CONTROL.search(segment.text):
                yield segment
            else:
                yield Segment(_CONTROL.sub(lambda c: printable(c[0]), segment.text), segment.style)

    @cached_property
    def plain(self) -> bool:
        """True where nothing is styled: a pipe, a file."""
        return not self.is_terminal

    @cached_property
    def room(self) -> int:
        """The width, asked for once."""
        return self.width

    def table(self, table: Table, indent: int = 0) -> None:
        """A table with every number whole: names fold first, and where even that is not enough the terminal folds the lines."""
        widths = [_natural(column) for column in table.columns]
        over = sum(widths) + 2 * len(widths) + indent - self.width
        if over > 0:
            names = [i for i, column in enumerate(table.columns) if column.justify != "right"]
            for index in sorted(names, key=lambda i: -widths[i]):
                give = min(over, max(0, widths[index] - _SHORTEST))
                widths[index] -= give
                over -= give
            for column, width in zip(table.columns, widths, strict=True):
                column.width = width
        full = self.width
        self.width = full + max(0, over)
        self.print(Padding(table, (0, 0, 0, indent)) if indent else table)
        self.width = full

    def head(self, text: str, aside: str = "") -> None:
        """A heading with something quieter behind it."""
        if self.plain:
            self.say(f"{text}   {aside}" if aside else text)
        else:
            self.print(heading(text, aside))

    def say(self, text: str, indent: int = 0, style: str = "") -> None:
        """A paragraph, folded to the width, every line moved in by `indent`.

        Without a terminal it is written as it is: a long history is a thousand paragraphs, and
        laying out each of them as styled text would take longer than finding them.
        """
        if not self.plain:
            self.print(Padding(Text(text, style=style), (0, 0, 0, indent)))
            return
        room = max(self.room - indent, 20)
        plain = _CONTROL.sub(lambda c: printable(c[0]), text)
        rows = [plain] if len(plain) <= room else textwrap.wrap(plain, room, break_on_hyphens=False) or [""]
        self.file.write("".join(f"{' ' * indent}{row}\n" for row in rows))

    def item(self, lead: str, text: str, indent: int = 0, style: str = "") -> None:
        """A paragraph behind a short word, its further rows below its first letter."""
        room = max((self.room if self.plain else self.width) - indent - len(lead), 20)
        plain = _CONTROL.sub(lambda c: printable(c[0]), text)
        rows = textwrap.wrap(plain, room, break_on_hyphens=False) or [""]
        for index, row in enumerate(rows):
            self.say(f"{lead if index == 0 else ' ' * len(lead)}{row}", indent, style)

    def on_broken_pipe(self) -> None:
        """Let the error through that is being handled: `main` ends silently, rich would exit with 1."""
        raise


_SHORTEST = 8  # characters to which a name may be folded


def _natural(column: Column) -> int:
    """The width that a column has, or that its longest cell needs."""
    if column.width is not None:
        return column.width
    cells = [str(column.header), *map(str, column.cells)]
    return max(len(row) for cell in cells for row in cell.split("\n"))


class _Trimmed:
    """A stream that drops the blanks with which a table fills its lines: nobody wants them in a file."""

    def __init__(self, stream: IO[str]) -> None:
        self.stream = stream
        self.encoding: str = getattr(stream, "encoding", "utf-8")

    def write(self, text: str) -> int:
        self.stream.write("\n".join(line.rstrip(" ") for line in text.split("\n")))
        return len(text)

    def flush(self) -> None:
        self.stream.flush()

    def isatty(self) -> bool:
        return False

    def fileno(self) -> int:
        return self.stream.fileno()


def align(texts: Sequence[str]) -> list[str]:
    """Pad texts so that their decimal points stand in one column; texts without digits stand left of it."""
    tails = [len(t.partition(".")[2]) + ("." in t) for t in texts]
    widest = max(tails, default=0)
    return [t + " " * (widest - tail) for t, tail in zip(texts, tails, strict=True)]


def grid(*columns: tuple[str, str], widths: Sequence[int | None] = (), header: bool = True) -> Table:
    """A table without lines, two blanks before each column; columns are (heading, "left" | "right").

    Left columns may fold, right ones never.
    """
    table = Table(box=None, padding=(0, 0, 0, 2), show_header=header, header_style="bold", pad_edge=True)
    for index, (heading, justify) in enumerate(columns):
        width = widths[index] if index < len(widths) else None
        table.add_column(
            heading,
            justify="right" if justify == "right" else "left",
            no_wrap=justify == "right",
            overflow="fold",
            width=width,
        )
    return table


def fold(text: str, width: int) -> str:
    """A name folded to `width`, at its hyphens and blanks where it has any."""
    return text if len(text) <= width else "\n".join(textwrap.wrap(text, width))


def indented(thing: Table | Text, by: int = 2) -> Padding:
    """Something moved in from the left edge."""
    return Padding(thing, (0, 0, 0, by))


def heading(text: str, aside: str = "") -> Text:
    """A heading with something quieter behind it."""
    line = Text(text, style="bold")
    if aside:
        line.append(f"   {aside}", style="default not bold")
    return line


def styled(text: str, kind: str) -> Text:
    """A text in the colour of its kind; the word itself is shown as well, elsewhere in its row."""
    return Text(text, style=STYLES.get(kind, ""))


def share_text(share: Share, decimals: int = 2) -> str:
    """`91.35`, `71.46 (71.44 to 71.48)`, or `91.35 to 92.25` when the figure itself is not known."""
    low, high = brief(share.low, decimals), brief(share.high, decimals)
    if share.nominal is None:
        return f"{low} to {high}"
    nominal = brief(share.nominal, decimals)
    return nominal if share.certain else f"{nominal} ({low} to {high})"


def fit_widths(columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """Widths that hold every number whole; the first column folds when the room is short."""
    widths = [max([len(head), *(len(r[i]) for r in rows)]) for i, (head, _) in enumerate(columns)]
    over = sum(widths) + 2 * len(widths) - 2 - room
    if over > 0:
        last = len(widths) - 1
        if columns[last][1] == "left" and widths[last] > 24:  # a list of names folds better than a name
            give = min(over, widths[last] - 24)
            widths[last] -= give
            over -= give
        give = min(over, max(0, widths[0] - 16))
        widths[0] -= give
        if columns[last][1] == "left" and over > give:
            widths[last] = max(8, widths[last] - (over - give))
    return widths
