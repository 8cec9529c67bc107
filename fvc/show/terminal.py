"""The screen in a terminal: the same text, with its colours and weights."""

from __future__ import annotations

from collections.abc import Iterator
from typing import IO, Any

from rich.console import Console
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from fvc.show.screen import Cell, Grid, Screen, set_right, visible


class _Console(Console):
    """No markup, no guessing of what to highlight; control characters are made visible, a closed pipe is left to `main`."""

    def render(self, *arguments: Any, **options: Any) -> Iterator[Segment]:
        """What rich makes of a thing, with control characters made visible."""
        for segment in super().render(*arguments, **options):
            yield segment if segment.control else Segment(visible(segment.text), segment.style)

    def on_broken_pipe(self) -> None:
        """Let the error through that is being handled: `main` ends silently, rich would exit with 1."""
        raise


class Terminal(Screen):
    """A screen on a terminal, by rich."""

    def __init__(self, file: IO[str]) -> None:
        self.rich = _Console(file=file, markup=False, highlight=False, emoji=False, soft_wrap=False)
        super().__init__(file, self.rich.width)

    def say(self, text: str, indent: int = 0, style: str = "") -> None:
        """A paragraph, folded to the width, every line moved in by `indent`."""
        self.rich.print(Padding(Text(text, style=style), (0, 0, 0, indent)))

    def head(self, text: str, aside: str = "") -> None:
        """A heading with something quieter behind it."""
        line = Text(text, style="bold")
        if aside:
            line.append(f"   {aside}", style="default not bold")
        self.rich.print(line)

    def words(self, *cells: str | Cell, indent: int = 0) -> None:
        """Texts in a row, each in its style, two blanks between them."""
        line = Text()
        for index, cell in enumerate(cells):
            text, style = (cell.text, cell.style) if isinstance(cell, Cell) else (cell, "")
            line.append(("  " if index else "") + text, style=style or None)
        self.rich.print(Padding(line, (0, 0, 0, indent)))

    def table(self, table: Grid, indent: int = 0) -> None:
        """A table with every number whole: names fold first, and where even that is not enough the terminal folds the lines."""
        widths = table.fitted(self.width - indent)
        shown = Table(box=None, padding=(0, 0, 0, 2), show_header=table.header, header_style="bold", pad_edge=True)
        for (heading, side), width in zip(table.columns, widths, strict=True):
            shown.add_column(heading.rjust(width) if side == "right" else heading, no_wrap=side == "right", overflow="fold", width=width)
        for row in table.rows:
            # numbers are set to the right by us: rich would drop the blanks that keep their points in one column
            cells = [
                c.text if side != "right" else set_right(c.text, w) for c, w, (_, side) in zip(row, widths, table.columns, strict=True)
            ]
            shown.add_row(*(Text(text, style=cell.style) for text, cell in zip(cells, row, strict=True)))
        needed = sum(widths) + 2 * len(widths) + indent
        self.rich.width = max(self.width, needed)
        self.rich.print(Padding(shown, (0, 0, 0, indent)) if indent else shown)
        self.rich.width = self.width
