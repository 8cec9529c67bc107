"""What every screen is made of: one console, aligned numbers, and words beside each colour.

Colours are from the palette of Okabe and Ito (2008), made for colour-blind readers, and never
carry a meaning alone: every coloured cell has its word. Numbers are never cut; names may fold.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Sequence
from typing import IO

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

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


def console(file: IO[str] | None = None) -> Console:
    """A console on stdout (or `file`): no markup, no guessing of what to highlight."""
    out = file or sys.stdout
    width = None if out.isatty() or os.environ.get("COLUMNS") else PIPE_WIDTH
    return Console(file=out, markup=False, highlight=False, emoji=False, width=width, soft_wrap=False)


def align(texts: Sequence[str]) -> list[str]:
    """Pad texts so that their decimal points stand in one column; texts without digits stand left of it."""
    tails = [len(t.partition(".")[2]) + ("." in t) for t in texts]
    widest = max(tails, default=0)
    return [t + " " * (widest - tail) for t, tail in zip(texts, tails, strict=True)]


def grid(*columns: tuple[str, str], widths: Sequence[int | None] = (), header: bool = True) -> Table:
    """A table without lines; columns are (heading, "left" | "right"). Left columns may fold, right ones never."""
    table = Table(box=None, padding=(0, 2, 0, 0), show_header=header, header_style="bold", pad_edge=False)
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


def messages(out: Console, faults: Iterable[object], lead: str) -> None:
    """Faults or warnings as plain text under a lead word."""
    for fault in faults:
        out.print(Text(f"{lead}: {fault}"), soft_wrap=True)
