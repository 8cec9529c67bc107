"""`fvc trial weigh --from FILE`: a weigh sheet that was filled in by hand and typed up, taken in as a whole or not at all."""

from __future__ import annotations

import csv
import datetime
from pathlib import Path

from fvc.archive import Archive
from fvc.cli.entries import check_lot, check_weight, known_phase, phase_for
from fvc.cli.parsing import screen, warn
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.names import nearest, printable
from fvc.scales import weight_from_text
from fvc.trial import Entry, Trial
from fvc.trials import add_entries, author, clock, material_of, moment, save_trial

COLUMNS = ("phase", "material", "grams", "lot", "at")
MOST_BYTES = 1_000_000


def weigh_from(archive: Archive, trial: Trial, name: str, by: str, *, said: bool) -> int:
    """Take a typed-up sheet: every row checked first, then all of them written at once."""
    rows = _rows(name)
    faults: list[Fault] = []
    entries: list[Entry] = []
    now = clock()
    seen: dict[tuple[str, str], int] = {}
    for line, row in rows:
        if not row.get("grams", "").strip():
            continue  # not weighed yet
        try:
            entry = _entry(archive, trial, row, now, said)
        except Refusal as refusal:
            faults += [f._replace(file=f.file or printable(Path(name).name), line=line) for f in refusal.faults]
            continue
        key = (entry.phase, entry.subject)
        if key in seen:
            faults.append(
                Fault(f"{entry.subject} stands here and on line {seen[key]}", file=Path(name).name, line=line, next="keep one of them")
            )
        seen[key] = line
        entries.append(entry)
    if faults:
        raise Refusal(faults)
    if not entries:
        raise Refusal(f"{printable(name)} has no row with grams", next=f"columns: {', '.join(COLUMNS)}; material and grams are needed")
    who = author(archive, by)
    trial = add_entries(archive, trial, lambda _: [e._replace(by=who) for e in entries])
    problem = save_trial(archive, trial, f"{len(entries)} weights from a typed-up sheet")
    screen().say(f"{trial.id}: {len(entries)} weights written. To look at them:  fvc trial show {trial.id}")
    warn([problem] if problem else [])
    return EXIT_DONE


def _rows(name: str) -> list[tuple[int, dict[str, str]]]:
    """The rows of a sheet with their line numbers; comma, semicolon or tab between columns, decimal commas with a semicolon."""
    file = Path(name).expanduser()
    try:
        if file.stat().st_size > MOST_BYTES:
            raise Refusal(f"{printable(name)} is too large for a weigh sheet", next="name the right file")
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise Refusal(f"{printable(name)} cannot be read: {error.strerror}", next="name the file as seen from this folder") from None
    except UnicodeDecodeError:
        raise Refusal(f"{printable(name)} is not UTF-8 text", next="save it as CSV, UTF-8") from None
    head = text.partition("\n")[0]
    mark = max(";\t,", key=head.count)
    reader = csv.reader(text.splitlines(), delimiter=mark)
    heads = [h.strip().lower() for h in next(reader, [])]
    unknown = [h for h in heads if h and h not in COLUMNS]
    if unknown:
        near = nearest(unknown[0], COLUMNS, 1)
        raise Refusal(
            Fault(
                f'unknown column "{printable(unknown[0])}"',
                file=printable(file.name),
                line=1,
                next=f"did you mean {near[0]}?" if near else f"columns: {', '.join(COLUMNS)}",
            )
        )
    if not {"material", "grams"} <= set(heads):
        raise Refusal(
            Fault("the first row must name the columns material and grams", file=printable(file.name), line=1, next="material,grams,lot")
        )
    out = []
    for cells in reader:
        if any(c.strip() for c in cells):
            row = dict(zip(heads, (c.strip() for c in cells), strict=False))
            if mark == ";" and "," in row.get("grams", "") and "." not in row["grams"]:
                row["grams"] = row["grams"].replace(",", ".")
            out.append((reader.line_num, row))
    return out


def _entry(archive: Archive, trial: Trial, row: dict[str, str], now: datetime.datetime, said: bool) -> Entry:
    named, material = material_of(archive, trial, row.get("material", ""))
    phase = known_phase(trial, row["phase"]) if row.get("phase") else named
    there, _ = phase_for(trial, named, phase, material)
    try:
        weight = weight_from_text(row["grams"])
    except ValueError as error:
        raise Refusal(f'{material}: "{printable(row["grams"])}" is no weight: {error}', next="correct the cell") from None
    lot = row.get("lot", "")
    at = moment(row["at"], now, trial.started) if row.get("at") else now
    check_lot(archive, material, lot, said=said, on=at.date())
    check_weight(trial, there, material, weight, said=said)
    return Entry(
        "",
        at,
        "weighed",
        material,
        grams=weight.grams,
        reading=weight.reading,
        phase=there,
        lot=lot,
        written=now if row.get("at") else None,
    )
