"""The command `lot`: where a lot went, and every lot in a batch."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from fvc.cli.parsing import AsJson, open_archive, print_json, screen
from fvc.errors import EXIT_DONE, Refusal
from fvc.lots import Ledger, find_lots, ledger_of
from fvc.names import beginning


def lot(
    text: Annotated[
        str, typer.Argument(metavar="LOT|TRIAL", help="A lot of a raw material, or the id of a batch; the beginning is enough.")
    ],
    material: Annotated[str, typer.Option("--material", metavar="MATERIAL", help="Only lots of this one.")] = "",
    as_json: AsJson = False,
) -> int:
    """Every batch that a lot went into; for a batch every lot in it. Through premixes made in-house, both ways."""
    archive = open_archive()
    ledger, problems = ledger_of(archive)
    batch = "" if material else _batch(ledger, text)
    if batch:
        trial = ledger.trials[batch]
        held = ledger.held(batch)
        went = ledger.uses(trial.formula, batch, trial.use_by)
        if as_json:
            from fvc.show.lots_data import inside as inside_data

            print_json({"schema": 1} | inside_data(trial, held, went))
        else:
            from fvc.show.lots import inside

            inside(screen(), trial, held, went)
    else:
        found = find_lots(archive, ledger, text, material)
        if as_json:
            from fvc.show.lots_data import lots

            print_json({"schema": 1, "lots": lots(found)})
        else:
            from fvc.show.lots import lot as show_lot

            for index, each in enumerate(found):
                if index:
                    screen().print()
                show_lot(screen(), each)
    for ring in dict.fromkeys(ledger.rings):
        print(f"warning: a batch stands inside itself, by the lots noted: {' -> '.join(ring)}", file=sys.stderr)
    for problem in problems:
        print(f"warning: {problem}", file=sys.stderr)
    return EXIT_DONE


def _batch(ledger: Ledger, text: str) -> str:
    """The batch that is meant; "" where none is. Refusal for several."""
    found = beginning(text.lower(), ledger.trials) if "-" in text else [t for t in ledger.trials if t == text]
    lots = {lot for id in ledger.trials for _, lot, *_ in ledger.held(id)}
    if text in lots and text not in ledger.trials:
        return ""
    if len(found) > 1:
        raise Refusal(f'"{text}" is the beginning of {len(found)} batches: {", ".join(found[:8])}', next="write more of the id")
    return found[0] if found else ""
