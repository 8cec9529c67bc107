"""What was seen of the clarity of batches, each look with the ratio of solubiliser to oil as it was made."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.errors import Refusal
from fvc.results.records import Records
from fvc.science.solubilising import Pair, Seen, pairs_of
from fvc.seeing import CLARITY


def clarities(records: Records, like: Sequence[Pair] = ()) -> tuple[Seen, ...]:
    """All looks at the clarity of batches that hold oil by a solubiliser, oldest batch first.

    like: the pairs of the plan that is asked about, so that a batch is taken apart as that plan is. Left out: batches that cannot
    be read as made (`records` names them elsewhere), and clarities in words of the maker's own, which have no order.
    """
    found: list[Seen] = []
    for case in records.cases:
        looks = [look for look in case.looks if look.seen.clarity in CLARITY]
        if not looks:
            continue
        try:
            pairs = pairs_of(case.reading, tuple(like))
        except Refusal:
            continue
        found += [
            Seen(case.name, pair.ratio, *pair.what, look.seen.clarity, look.seen.condition, look.day) for pair in pairs for look in looks
        ]
    return tuple(found)
