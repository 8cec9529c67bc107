"""What the maker's own batches say of a product: the reading that its pH starts from, and which ratios of solubiliser stayed clear."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fvc.archive import Archive
from fvc.reading import Reading
from fvc.science.own import NOTHING_SEEN, Own

if TYPE_CHECKING:  # what reads records of batches is only loaded where there are any
    from fvc.science.solubilising import Seen


def own_of(archive: Archive, reading: Reading, *, clarity: bool = True) -> Own:
    """What own batches tell of one product. clarity: also what was seen of it, for which many records are read."""
    if not archive.now.trials():
        return NOTHING_SEEN
    from fvc.metered import anchors_of
    from fvc.science.metering import anchor_of

    return Own(anchor=anchor_of(anchors_of(archive, reading)), seen=_clarities(archive, reading) if clarity else ())


def own_of_both(archive: Archive, before: Reading, after: Reading) -> tuple[Own, Own]:
    """The same of two sides of a change, which start from one reading where they are of one formula: of the first, else of the second.

    Clarity is only asked for where a ratio of solubiliser changed.
    """
    if not archive.now.trials():
        return NOTHING_SEEN, NOTHING_SEEN
    from fvc.metered import anchors_of, formula_of
    from fvc.science.metering import anchor_of
    from fvc.science.solubilising import pairs_of

    first = anchor_of(anchors_of(archive, before))
    second = anchor_of(anchors_of(archive, after)) if first is None or not first.own else None
    if formula_of(archive, before) == formula_of(archive, after):
        first = second = second if second is not None and second.own else first or second
    elif second is None:
        second = anchor_of(anchors_of(archive, after))
    ratios = [{pair.what: pair.ratio for pair in pairs_of(side)} for side in (before, after)]
    seen = _clarities(archive, after) if ratios[0] != ratios[1] else ()
    return Own(anchor=first, seen=seen), Own(anchor=second, seen=seen)


def _clarities(archive: Archive, reading: Reading) -> tuple[Seen, ...]:
    """Looks at the clarity of the batches of its formula; none where nothing is solubilised."""
    from fvc.metered import formula_of
    from fvc.results.clarity import clarities
    from fvc.science.solubilising import pairs_of

    if not pairs_of(reading):
        return ()
    return clarities(archive, formula_of(archive, reading), reading)
