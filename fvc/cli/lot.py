"""The command `lot`: where a lot went, and every lot in a batch."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from fvc.cli.parsing import AsJson, open_archive, print_json, screen, warn
from fvc.errors import EXIT_DONE, Refusal
from fvc.lots import find, ledger_of
from fvc.trial import Trial


def lot(
    text: Annotated[
        str, typer.Argument(metavar="LOT|TRIAL", help="A lot of a raw material, or the id of a batch; the beginning is enough.")
    ],
    material: Annotated[str, typer.Option("--material", metavar="MATERIAL", help="Only lots of this one.")] = "",
    as_json: AsJson = False,
) -> int:
    """Every batch that a lot went into; for a batch every lot in it. Through premixes made in-house, both ways."""
    ledger = ledger_of(open_archive())
    try:
        found = find(ledger, text, material)
    except Refusal:
        warn(ledger.problems)  # what was looked for may stand in a record that cannot be read
        raise
    if as_json:
        from fvc.show import lots_data

        print_json({"schema": 1} | (lots_data.inside(ledger, found) if isinstance(found, Trial) else {"lots": lots_data.lots(found)}))
    else:
        from fvc.show import lots

        if isinstance(found, Trial):
            lots.inside(screen(), ledger, found)
        else:
            for index, each in enumerate(found):
                if index:
                    screen().print()
                lots.lot(screen(), each)
    for ring in dict.fromkeys(ledger.rings):
        print(f"warning: a batch stands inside itself, by the lots noted: {' -> '.join(ring)}", file=sys.stderr)
    warn(ledger.problems)
    return EXIT_DONE
