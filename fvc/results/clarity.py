"""What was seen of the clarity of batches, each look with the ratio of solubiliser to oil as it was made."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from functools import cache

from fvc.archive import Archive
from fvc.batches import read_batch
from fvc.errors import Refusal
from fvc.files.trials import read_trial
from fvc.formulary import trial_path
from fvc.metered import says
from fvc.reading import Reading, Side
from fvc.references import resolve
from fvc.schedule import place_of
from fvc.science.solubilising import Seen, pairs_of
from fvc.seeing import CLARITY
from fvc.trial import WEIGHINGS, Trial

_MATERIALS = re.compile(rb"^\[materials\..*?(?=^\[\[entry\]\])", re.MULTILINE | re.DOTALL)


def clarities(archive: Archive, formula: str, asked: Reading) -> tuple[Seen, ...]:
    """All looks at the clarity of batches of a formula that hold oil by a solubiliser, oldest batch first.

    asked: the plan that is asked about; a batch is taken apart as it is, by the records of the folder. Left out: batches without any
    of its solubilisers and oils, batches that cannot be read as made (`fvc results` names them), and clarities in words of the
    maker's own, which have no order.
    """
    pairs = pairs_of(asked)
    conditions = archive.now.settings().schedule.conditions
    names = {part.id for pair in pairs for part in (*pair.solubilisers, *pair.oils)}

    @cache
    def plan_of(stated: str) -> Reading | None:
        try:
            return resolve(archive, stated)
        except Refusal:
            return None

    found: list[Seen] = []
    for trial in sorted(_looked_at(archive, formula, names), key=lambda t: (t.made_on or datetime.date.min, t.id)):
        looks = sorted(
            (
                (seen.day if seen.day is not None else trial.day_of(entry.at), place_of(seen.condition, conditions), entry.at, seen.clarity)
                for entry in trial.seen
                if (seen := entry.seen) and seen.clarity in CLARITY
            ),
            key=lambda look: look[:3],
        )
        if not looks:
            continue
        try:  # the plan asked about stands for that of the batch, which says how it is used and made: no matter here
            made = pairs_of(read_batch(archive.now, trial, Side(trial.id), plan_of, tried=asked.plan), pairs)
        except Refusal:
            continue
        found += [Seen(trial.id, p.ratio, *p.what, clarity, condition, day) for p in made for day, (_, condition), _, clarity in looks]
    return tuple(found)


def _looked_at(archive: Archive, formula: str, names: set[str]) -> Iterator[Trial]:
    """The batches that may be of use, by the raw text: a clarity in an entry, and one of the materials, or a formula that may hold it."""
    inside = "|".join(map(re.escape, (*names, *archive.now.formulas())))
    holds = re.compile(rf"[\"']({inside})[\"']|\[premixes".encode())
    here = {*archive.now.materials(), *archive.now.formulas()}
    for each, id in archive.now.trials():
        data = archive.now.source.read(trial_path(each, id)) if each == formula else None
        if data and says(data, "clarity") and holds.search(data):
            # its own records of materials are most of the work, and only used where the folder has none any more
            trial = read_trial(_MATERIALS.sub(b"", data), "", id, formula).value
            if trial is None or not here.issuperset(e.subject for e in trial.entries if e.action in WEIGHINGS):
                trial = archive.now.trial(formula, id).value
            if trial is not None:
                yield trial
