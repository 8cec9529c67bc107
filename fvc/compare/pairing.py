"""Which line of one plan is which line of another."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.formula import Line


def partners(before: Sequence[Line], after: Sequence[Line]) -> dict[int, int]:
    """Index in `after` -> index in `before`: by phase and material, then by material alone among what is left."""
    partner: dict[int, int] = {}
    for key in (lambda line: (line.phase, line.material), lambda line: line.material):  # type: Callable[[Line], object]
        taken = set(partner.values())
        left: dict[object, list[int]] = {}
        for i, line in enumerate(before):
            if i not in taken:
                left.setdefault(key(line), []).append(i)
        for j, line in enumerate(after):
            if j not in partner and left.get(key(line)):
                partner[j] = left[key(line)].pop(0)
    return partner
