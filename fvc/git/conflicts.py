"""What a merge, rebase, cherry-pick or revert left open, and whose sides these are."""

from __future__ import annotations

import os
from typing import NamedTuple

from fvc.git.repository import Repository


class Stages(NamedTuple):
    """The blob ids of one file that git could not bring together; None where a side does not have it.

    first: what this branch has (in a rebase: what was there to put the change on). second: what comes to it.
    """

    base: str | None
    first: str | None
    second: str | None


def unmerged(repository: Repository) -> dict[str, Stages]:
    """The files left open, by their paths relative to the top of the work tree; empty where all is settled."""
    found: dict[str, list[str | None]] = {}
    # ls-files(1), -u: "<mode> SP <object> SP <stage> TAB <file>"; stages 1, 2 and 3 are base, ours and theirs of gitglossary(7)
    for row in os.fsdecode(repository.must("-C", str(repository.top), "ls-files", "-u", "-z")).split("\0"):
        if row:
            meta, _, path = row.partition("\t")
            _, blob, stage = meta.split()
            found.setdefault(path, [None, None, None])[int(stage) - 1] = blob
    return {path: Stages(*stages) for path, stages in found.items()}
