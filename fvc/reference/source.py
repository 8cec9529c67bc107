"""Where a published figure comes from, and when it was looked at."""

from __future__ import annotations

from typing import NamedTuple


class Source(NamedTuple):
    """A source as it is shown beside a figure.

    title: what was published, with entry or page. date: of that text or edition, ISO (`2023-07-26`, or only
    the year). looked_up: False for a figure from memory, which the output says.
    """

    title: str
    date: str
    looked_up: bool = True

    @property
    def words(self) -> str:
        """`Regulation (EC) No 1223/2009, Annex V, entry 1 (2009)`; a figure from memory says so."""
        return f"{self.title} ({self.date}{'' if self.looked_up else ', from memory'})"
