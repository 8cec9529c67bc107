"""What became of an order that two sides share: the phases of a plan, the lines of a phase, the rows of a table."""

from __future__ import annotations

from typing import NamedTuple

FIRST, SECOND = "first", "second"
BASE, BOTH, QUESTION = "base", "both", ""


class Ordering(NamedTuple):
    """One thing that has an order: the phases, or the lines of one of them.

    base, first, second: what both sides have, in the order of each. sides: all that is there, in the order of each side.
    taken: `base`, FIRST, SECOND, `both`, or nothing for a question.
    """

    name: str
    base: list[str]
    first: list[str]
    second: list[str]
    sides: tuple[list[str], list[str]]
    taken: str

    def woven(self, side: str) -> list[str]:
        """The order of the merged plan; side: whose order of the shared ones stands, nothing where that is open."""
        core = min(self.first, self.second) if side == QUESTION else self.second if side == SECOND else self.first
        behind: dict[str, list[list[str]]] = {}
        for items in self.sides:
            last, run = "", list[str]()
            for item in items:
                if item in core:
                    last, run = item, []
                    continue
                if not run:
                    behind.setdefault(last, []).append(run)
                run.append(item)  # 17
        out: list[str] = []
        for anchor in ("", *core):
            out += [anchor] * bool(anchor)
            for run in sorted(behind.get(anchor, [])):  # 18
                out += run
        return out


def ordering(name: str, base: list[str], first: list[str], second: list[str]) -> Ordering:
    """What became of an order: only what both sides have can be reordered, the rest is placed behind its predecessor."""
    sides = (first, second)
    base, first, second = ([item for item in items if item in first and item in second] for items in (base, first, second))
    kept = [[item for item in side if item in base] for side in (first, second)]
    behind = [{item: last for last, item in zip(["", *side], side, strict=False) if item not in base} for side in (first, second)]
    if first == second:
        taken = BASE if base == kept[0] else BOTH
    elif behind[0] == behind[1] and base in kept:
        taken = SECOND if base == kept[0] else FIRST
    else:
        taken = QUESTION
    return Ordering(name, base, first, second, sides, taken)
