"""git's conflict markers around what two texts have otherwise, and around nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import SequenceMatcher


def marked(
    sides: tuple[bytes, bytes], labels: Sequence[str], size: int = 7, around: tuple[Sequence[int], Sequence[int]] | None = None
) -> bytes:
    """One text of two. around: row numbers of each (from 1) for one pair of markers from the first to the last of them and of the differences.

    Raises AssertionError when the two are alike: there would be nothing to see of what is asked.
    """
    first, second = ([row.rstrip(b"\r\n") for row in side.splitlines(keepends=True)] for side in sides)
    newline = b"\r\n" if b"\r\n" in sides[0] else b"\n"
    blocks = [b for b in SequenceMatcher(None, first, second, autojunk=False).get_opcodes() if b[0] != "equal"]
    assert blocks, "two sides that are alike leave nothing to mark"
    if around is not None:
        start = min([blocks[0][1], *(row - 1 for rows in around for row in rows)])  # above the first difference both are alike
        below = [len(side) - row for side, rows in zip((first, second), around, strict=True) for row in rows]
        tail = min([len(first) - blocks[-1][2], *below])
        blocks = [("replace", start, len(first) - tail, start, len(second) - tail)]
    out: list[bytes] = []
    at = 0
    for _, start, end, other_start, other_end in blocks:
        out += first[at:start]
        out += [b"<" * size + b" " + labels[0].encode(), *first[start:end], b"=" * size]
        out += [*second[other_start:other_end], b">" * size + b" " + labels[1].encode()]
        at = end
    return b"".join(row + newline for row in [*out, *first[at:]])
