"""The screen as Markdown, for the page on which a host shows a proposed change: the same result values, pipe tables, lists."""

from __future__ import annotations

import re
from typing import IO

from fvc.show.screen import Grid, Screen, visible

_SPECIAL = re.compile(r"([\\`*_<>\[\]#|])")


def escaped(text: str) -> str:
    """Text that means nothing to Markdown, on one row; `@name` calls nobody."""
    return re.sub(r"@(?=\w)", "@\u200b", _SPECIAL.sub(r"\\\1", " ".join(visible(text).split())))


class Markdown(Screen):
    """A screen whose tables are pipe tables and whose indented paragraphs are list items. Nothing is folded."""

    def __init__(self, file: IO[str]) -> None:
        super().__init__(file, 10_000)
        self._below = ""  # what stood last: a list or a table needs an empty row around it

    def _put(self, kind: str, text: str) -> None:
        gap = "" if not self._below or self._below == kind == "item" else "\n"
        self.file.write(f"{gap}{text}\n")
        self._below = kind

    def say(self, text: str, indent: int = 0, style: str = "") -> None:
        """A paragraph; an indented one is an item of a list."""
        if not text.strip():
            return
        plain = escaped(text)
        plain = f"**{plain}**" if style == "bold" else plain
        self._put("item" if indent else "text", f"{'  ' * (indent // 2 - 1)}- {plain}" if indent else plain)

    def head(self, text: str, aside: str = "") -> None:
        """A heading with something quieter behind it."""
        self._put("head", f"### {escaped(text)}" + (f" ({escaped(aside)})" if aside else ""))

    def item(self, lead: str, text: str, indent: int = 0, style: str = "") -> None:
        """A paragraph behind a short word."""
        self.say(f"{lead} {text}", indent or 2, style)

    def rule(self) -> None:
        """A line across the page."""
        self._put("head", "---")

    def table(self, table: Grid, indent: int = 0) -> None:
        """A pipe table; numbers stand right."""
        heads = [head if table.header else "" for head, _ in table.columns]
        sides = ["--:" if side == "right" else ":--" for _, side in table.columns]
        rows = [heads, sides, *([cell.text for cell in row] for row in table.rows)]
        text = "\n".join("| " + " | ".join(cell if row is sides else escaped(cell) for cell in row) + " |" for row in rows)
        self._put("table", text)
