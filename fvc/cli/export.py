"""The command `export`: a formula handed on; what it is for decides what goes along."""

from __future__ import annotations

import datetime
import os
from pathlib import Path
from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.cli.parsing import AsJson, BatchSize, Density, basis_of, batch_of, markdown, open_archive, screen, warn
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.files.writer import replace
from fvc.names import nearest, printable
from fvc.reading import Reading
from fvc.references import resolve
from fvc.rules.label import CONFIRM
from fvc.together.export import (
    ASSESSOR,
    AUDIENCES,
    STUDENT,
    Export,
    Tested,
    for_assessor,
    for_label,
    for_student,
    tested,
    trial_of,
    without_reasons,
)


def export(
    ref: Annotated[str, typer.Argument(metavar="REF", help="face-toner, face-toner.4, face-toner/VARIANT; a trial's id for an assessor.")],
    audience: Annotated[str, typer.Option("--for", metavar="student|assessor|label", help="Whom it is for: decides what goes along.")] = "",
    ranges: Annotated[bool, typer.Option("--ranges", help="For a student: a range around each level instead of the level.")] = False,
    batch: BatchSize = "",
    density: Density = "",
    trials: Annotated[
        list[str] | None,
        typer.Option("--with", metavar="TRIAL", help="For an assessor: also the results of this batch; may be given more than once."),
    ] = None,
    out: Annotated[str, typer.Option("--out", metavar="FILE", help="Write it to a new file; else it is printed.")] = "",
    as_json: AsJson = False,
) -> int:
    """Hand a formula on as a page for a mail. Prices and private notes go to nobody; suppliers only to an assessor."""
    if audience not in AUDIENCES:
        near = nearest(audience, AUDIENCES, 1)
        what = f'nothing is handed on "for {printable(audience)}"' if audience else "whom is it for?"
        raise Refusal(what, next=f"--for {near[0]}" if near else "--for student, --for assessor  or  --for label")
    if audience != STUDENT and (ranges or batch or density):
        raise Refusal(
            "--ranges, --batch and --density go with --for student", next=f"leave them out, or  fvc export {printable(ref)} --for student"
        )
    if audience != ASSESSOR and trials:
        raise Refusal("results of batches go to an assessor only", next="leave out --with, or  --for assessor")
    if ranges and batch:
        raise Refusal("grams would give away what --ranges holds back", next="leave out one of the two")
    if out and os.path.lexists(out):
        raise Refusal(
            Fault("there is a file of this name already; nothing was written", file=out, next="name another, or take it away first")
        )
    archive = open_archive()
    reading = resolve(archive, ref)
    today = datetime.date.today()
    found: Export
    if audience == STUDENT:
        grams = batch_of(reading, batch, density)[0] if batch and reading.sound else None
        found = for_student(archive, reading, today, ranges=ranges, batch=grams)
    elif audience == ASSESSOR:
        found = for_assessor(
            archive, reading, today, basis_of(archive), [_tested(archive, reading, each) for each in dict.fromkeys(trials or ())]
        )
    else:
        named = found = for_label(archive, reading, today, basis_of(archive))
        warn([Fault(each) for each in (*named.label.uncertain, *named.label.unknown, CONFIRM)], "for you")
    if as_json:
        from fvc.show.data import dumps
        from fvc.show.export_data import handed

        text = dumps(handed(found)) + "\n"
    else:
        from fvc.show.export import page

        text = page(found)
    if not out:
        markdown().file.write(text)
    elif replace(Path(out), text.encode(), None, out):
        screen().say(f"Written: {out}. Read it before you send it: titles, methods and spec go along as you wrote them.")
    warn(reading.warnings)
    return EXIT_DONE


def _tested(archive: Archive, reading: Reading, named: str) -> Tested:
    """The results of a batch of the same formula."""
    from fvc.cli.trial import deviations_of, spec_of
    from fvc.formulary import trial_path
    from fvc.references import batch_reading
    from fvc.unaltered import altered_records

    trial = trial_of(archive, reading, named)
    warn(Fault(f.message, file=f.where, next=f.mend) for f in altered_records(archive, trial_path(trial.formula, trial.id)))
    found = [d.words for d in deviations_of(archive, without_reasons(trial))]
    return tested(reading, trial, batch_reading(archive, trial), found, spec_of(archive, trial))
