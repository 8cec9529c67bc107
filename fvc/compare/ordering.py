"""What became of an order that two sides share: the phases of a plan, the lines of a phase, the rows of a table."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import combinations
from typing import NamedTuple

FIRST, SECOND = "first", "second"
BASE, BOTH, QUESTION = "base", "both", ""


class Ordering(NamedTuple):
    """One thing that has an order: the phases, or the lines of one of them.

    base, first, second: what both sides have, in the order of each. sides: all that is there, in the order of each side.
    taken: `base`, FIRST, SECOND, `both`, or nothing for a question.
    merged: the order that comes of both where each moved something else. moved: what each side put elsewhere.
    """

    name: str
    base: list[str]
    first: list[str]
    second: list[str]
    sides: tuple[list[str], list[str]]
    taken: str
    merged: tuple[str, ...] = ()
    moved: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())

    def woven(self, side: str) -> list[str]:
        """The order of the merged plan; side: whose order of the shared ones stands, nothing where that is open."""
        core: Sequence[str] = min(self.first, self.second) if side == QUESTION else self.second if side == SECOND else self.first
        core = self.merged if self.merged and side == BOTH else core
        behind: dict[str, list[list[str]]] = {}
        for items, elsewhere in zip(self.sides, reversed(self.moved), strict=True):
            last, run = "", list[str]()
            for item in items:
                if item in core:  # behind one that the other side put elsewhere nothing follows it there
                    last, run = (last, run) if item in elsewhere else (item, [])
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


def ordering(name: str, base: list[str], first: list[str], second: list[str], kept_ones: Collection[str] | None = None) -> Ordering:
    """What became of an order: only what both sides have can be reordered, the rest is placed behind its predecessor.

    kept_ones: what will be there, where that is not all.
    """
    moved = (_moved(base, first), _moved(base, second))
    if kept_ones is not None:
        base, first, second = ([item for item in items if item in kept_ones] for items in (base, first, second))
    sides = (first, second)
    base, first, second = ([item for item in items if item in first and item in second] for items in (base, first, second))
    kept = [[item for item in side if item in base] for side in (first, second)]
    behind = [{item: last for last, item in zip(["", *side], side, strict=False) if item not in base} for side in (first, second)]
    if first == second:
        taken = BASE if base == kept[0] else BOTH
    elif behind[0] == behind[1] and base in kept:
        taken = SECOND if base == kept[0] else FIRST
    else:
        merged = _each_pair(base, first, second)
        return Ordering(name, base, first, second, sides, BOTH if merged else QUESTION, merged, moved)
    return Ordering(name, base, first, second, sides, taken, (), moved)


def _moved(base: list[str], side: list[str]) -> frozenset[str]:
    """What a side put elsewhere: all but the longest run of items that still follow each other as they did."""
    place = {item: i for i, item in enumerate(base)}
    shared = [item for item in side if item in place]
    if [place[item] for item in shared] == sorted(place[item] for item in shared):
        return frozenset()
    runs: list[list[str]] = []  # the longest run that ends with each
    for item in shared:
        longest: list[str] = []
        for run in runs:
            if place[run[-1]] < place[item] and len(run) > len(longest):
                longest = run
        runs.append([*longest, item])
    return frozenset(shared) - set(sorted(runs, key=lambda run: len(run))[-1])


def _each_pair(base: list[str], first: list[str], second: list[str]) -> tuple[str, ...]:
    """The order in which any two items stand as the side has them that turned them round; empty where there is none.

    Of two items both sides can only have made the same, so a pair is never in question but for one that is new; what
    may not exist is one order for all pairs: of a b c one makes b a c and the other a c b.
    """
    places = [{item: i for i, item in enumerate(side)} for side in (base, first, second)]
    behind = dict.fromkeys(first, 0)  # how many stand before each
    for a, b in combinations(first, 2):
        of_base, of_first, of_second = (known[a] < known[b] if a in known and b in known else None for known in places)
        if of_base is None and of_first != of_second:
            return ()
        ahead = of_first if of_second == of_base else of_second
        behind[b if ahead else a] += 1
    order = sorted(first, key=lambda item: behind[item])
    return tuple(order) if [behind[item] for item in order] == list(range(len(order))) else ()
