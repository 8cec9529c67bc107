"""What every screen is made of: plain text of a given width, aligned numbers, and words beside each colour.

Colours are from the palette of Okabe and Ito (2008), made for colour-blind readers, and never
carry a meaning alone: every coloured cell has its word. Numbers are never cut; names may fold.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from typing import IO, NamedTuple

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

_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]")


class Cell(NamedTuple):
    """A text in a table with its style."""

    text: str
    style: str = ""


class Grid:
    """A table without lines: columns with a heading and a side, rows of texts. Left columns may fold, right ones never."""

    def __init__(self, columns: Sequence[tuple[str, str]], widths: Sequence[int | None], header: bool) -> None:
        self.columns = columns
        self.widths = [*widths, *[None] * (len(columns) - len(widths))]
        self.header = header
        self.rows: list[list[Cell]] = []

    def add_row(self, *cells: str | Cell) -> None:
        """Add a row, a cell for each column."""
        self.rows.append([c if isinstance(c, Cell) else Cell(visible(c)) for c in cells])

    @property
    def row_count(self) -> int:
        """How many rows there are."""
        return len(self.rows)

    def fitted(self, room: int) -> list[int]:
        """The width of each column: every number whole; names fold, the longest first, where the room is short."""
        widths = [self._natural(i) if given is None else given for i, given in enumerate(self.widths)]
        over = sum(widths) + 2 * len(widths) - room
        names = [i for i, (_, side) in enumerate(self.columns) if side != "right"]
        for index in sorted(names, key=lambda i: -widths[i]):
            give = min(max(0, over), max(0, widths[index] - _SHORTEST))
            widths[index] -= give
            over -= give
        return widths

    def _natural(self, index: int) -> int:
        cells = [self.columns[index][0], *(row[index].text for row in self.rows)]
        return max(cell_width(line) for cell in cells for line in cell.split("\n"))


_SHORTEST = 8  # characters to which a name may be folded


class Screen:
    """Plain text of a given width: what a pipe or a file gets. `Terminal` is the one with colours.

    No text from a file or a commit can drive it: control characters are made visible. A closed
    pipe is left to `main`.
    """

    def __init__(self, file: IO[str], width: int) -> None:
        self.file, self.width = file, max(width, 20)

    def print(self, text: str = "", style: str = "") -> None:
        """A paragraph, or an empty line."""
        for row in text.split("\n"):
            self.say(row, 0, style)

    def say(self, text: str, indent: int = 0, style: str = "") -> None:
        """A paragraph, folded to the width, every line moved in by `indent`."""
        room = max(self.width - indent, 20)
        plain = visible(text)
        rows = [plain] if cell_width(plain) <= room else wrapped(plain, room)
        self.file.write("".join(f"{' ' * indent}{row}".rstrip(" ") + "\n" for row in rows))

    def head(self, text: str, aside: str = "") -> None:
        """A heading with something quieter behind it."""
        self.say(f"{text}   {aside}" if aside else text)

    def rule(self) -> None:
        """A line across the screen."""
        self.say("-" * self.width)

    def item(self, lead: str, text: str, indent: int = 0, style: str = "") -> None:
        """A paragraph behind a short word, its further rows below its first letter."""
        room = max(self.width - indent - len(lead), 20)
        rows = wrapped(visible(text), room)
        for index, row in enumerate(rows):
            self.say(f"{lead if index == 0 else ' ' * len(lead)}{row}", indent, style)

    def words(self, *cells: str | Cell, indent: int = 0) -> None:
        """Texts in a row, each in its style, two blanks between them."""
        self.say("  ".join(c.text if isinstance(c, Cell) else c for c in cells), indent)

    def table(self, table: Grid, indent: int = 0) -> None:
        """A table with every number whole: names fold first, and where even that is not enough the lines grow longer."""
        widths = table.fitted(self.width - indent)
        rows = [[Cell(head) for head, _ in table.columns], *table.rows] if table.header else table.rows
        out = []
        for row in rows:
            cells = [_folded(cell.text, width, side) for cell, width, (_, side) in zip(row, widths, table.columns, strict=True)]
            for line in range(max(map(len, cells), default=0)):
                text = " " * indent
                for lines, width, (_, side) in zip(cells, widths, table.columns, strict=True):
                    part = lines[line] if line < len(lines) else ""
                    text += "  " + (set_right(part, width) if side == "right" else part + " " * (width - cell_width(part)))
                out.append(text.rstrip(" ") + "\n")
        self.file.write("".join(out))


def visible(text: str) -> str:
    """A text with its control characters made visible; line ends stay."""
    return _CONTROL.sub(lambda c: printable(c[0]), text)


def cell_width(text: str) -> int:
    """How many columns of a terminal a text takes."""
    if text.isascii():
        return len(text)
    from unicodedata import combining, east_asian_width

    return sum(0 if combining(c) else 2 if east_asian_width(c) in "WF" else 1 for c in text)


def wrapped(text: str, width: int) -> list[str]:
    """The rows of a text, none wider than `width` columns of a terminal; a word that is wider is cut."""
    if text.isascii():
        return textwrap.wrap(text, width, break_on_hyphens=False) or [""]
    rows, row = [], ""
    for word in re.findall(r"\s*\S+", text):
        if cell_width(row + word) <= width:
            row += word
            continue
        rows += [row] if row.strip() else []
        row = ""
        for letter in word.lstrip():
            if cell_width(row + letter) > width:
                rows.append(row)
                row = ""
            row += letter
    return [*rows, row]


def set_right(text: str, width: int) -> str:
    """A text at the right edge of its column; its own trailing blanks stay, since they align decimal points."""
    return " " * (width - cell_width(text)) + text


def _folded(text: str, width: int, side: str) -> list[str]:
    """The lines of a cell; one that may fold is folded to its width."""
    out: list[str] = []
    for line in text.split("\n"):
        fits = side == "right" or cell_width(line) <= width
        out += [line] if fits else wrapped(line, width)
    return out


def align(texts: Sequence[str]) -> list[str]:
    """Pad texts so that their decimal points stand in one column; texts without digits stand left of it."""
    tails = [len(t.partition(".")[2]) + ("." in t) for t in texts]
    widest = max(tails, default=0)
    return [t + " " * (widest - tail) for t, tail in zip(texts, tails, strict=True)]


def grid(*columns: tuple[str, str], widths: Sequence[int | None] = (), header: bool = True) -> Grid:
    """A table without lines, two blanks before each column; columns are (heading, "left" | "right")."""
    return Grid(columns, widths, header)


def fold(text: str, width: int) -> str:
    """A name folded to `width`, at its hyphens and blanks where it has any."""
    if text.isascii():  # at hyphens as well
        return text if len(text) <= width else "\n".join(textwrap.wrap(text, width))
    return "\n".join(wrapped(text, width))


def styled(text: str, kind: str) -> Cell:
    """A text in the colour of its kind; the word itself is shown as well, elsewhere in its row."""
    return Cell(visible(text), STYLES.get(kind, ""))


def counted(many: int, one: str) -> str:
    """`1 check`, `14 checks`."""
    return f"{many} {one}" + ("" if many == 1 else "s")


def share_text(share: Share, decimals: int = 2) -> str:
    """`91.35`, `71.46 (71.44 to 71.48)`, or `91.35 to 92.25` when the figure itself is not known."""
    low, high = brief(share.low, decimals), brief(share.high, decimals)
    if share.nominal is None:
        return f"{low} to {high}"
    nominal = brief(share.nominal, decimals)
    return nominal if share.certain else f"{nominal} ({low} to {high})"


def fit_widths(columns: Sequence[tuple[str, str]], rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """Widths that hold every number whole; the first column folds when the room is short."""
    widths = [max([cell_width(head), *(cell_width(r[i]) for r in rows)]) for i, (head, _) in enumerate(columns)]
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
