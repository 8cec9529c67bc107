"""`fvc trial weigh --from FILE`: a weigh sheet that was filled in by hand and typed up, taken in as a whole or not at all."""

from __future__ import annotations

import csv
import datetime
import re
from pathlib import Path

from fvc.archive import Archive
from fvc.bench import targets
from fvc.cli.entries import check_lot, check_weight, known_phase, phase_for, slip_in
from fvc.cli.parsing import screen, warn
from fvc.deviations import grams as in_grams
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.names import nearest, printable
from fvc.scales import weight_from_text
from fvc.show.trials import slip as show_slip
from fvc.trial import Entry, Trial, in_force
from fvc.trials import add_entries, author, material_of, save_trial, stamped

COLUMNS = ("phase", "material", "grams", "lot", "at")
MOST_BYTES = 1_000_000


def weigh_from(archive: Archive, trial: Trial, name: str, by: str, *, said: bool) -> int:
    """Take a typed-up sheet: every row checked first, then all of them written at once. What is in already, just so, is passed over."""
    rows, faults = _rows(name)
    entries: list[Entry] = []
    already = 0
    file = printable(Path(name).name)
    seen: dict[tuple[str, str], int] = {}
    for line, row in rows:
        if not row.get("grams", ""):
            continue  # not weighed yet
        try:
            entry = _entry(archive, trial, row, said)
        except Refusal as refusal:
            faults += [f._replace(file=f.file or file, line=line) for f in refusal.faults]
            continue
        key = (entry.phase, entry.subject)
        if key in seen:
            where = f"{entry.subject} stands here and on line {seen[key]}"
            faults.append(Fault(where, file=file, line=line, next="keep one of them; if they are of two phases, add a column  phase"))
        seen[key] = line
        if _in_already(trial, entry):
            already += 1
        else:
            entries.append(entry)
    if faults:
        raise Refusal(sorted(faults, key=lambda f: f.line or 0))
    if not entries and not already:
        raise Refusal(f"{printable(name)} has no row with grams", next=f"columns: {', '.join(COLUMNS)}; material and grams are needed")
    who = author(archive, by)

    def make(now: Trial) -> list[Entry]:
        if len(now.entries) != len(trial.entries):
            raise Refusal("somebody else has written in this batch meanwhile; nothing was written", next="try again")
        return [e._replace(by=who) for e in entries]

    after = add_entries(archive, trial, make)
    problem = save_trial(archive, after, f"{len(entries)} weights from a typed-up sheet")
    out = screen()
    passed_over = f"; {already} were in already" if already else ""
    out.say(f"{trial.id}: {len(entries)} weights written{passed_over}. To look at them:  fvc trial show {trial.id}")
    asked = {a.material for a in trial.asked}
    for entry in entries:
        if entry.subject not in asked:
            out.say(f"{entry.subject} does not stand on the sheet: it is an addition, and will be listed as one.")
        slip = slip_in(archive, after, entry.phase, entry.subject)
        if slip is not None:
            show_slip(out, slip)
    waiting = [t.material for t in targets(after) if not t.settled and not t.open]
    if waiting:
        out.say(f"Still to be weighed: {', '.join(waiting)}")
    warn([problem] if problem else [])
    return EXIT_DONE


def _in_already(trial: Trial, entry: Entry) -> bool:
    """True when a line was weighed just so; Refusal when it was weighed otherwise: more of it, or a correction, is not to be guessed."""
    line = next((t for t in targets(trial) if (t.phase, t.material) == (entry.phase, entry.subject)), None)
    if line is None or not line.weighed or not line.settled:
        return False
    if line.weighed == entry.grams:
        return True
    noted = next(e.id for e in reversed(in_force(trial.entries)) if e.subject == entry.subject and e.action in ("weighed", "added"))
    raise Refusal(
        f"{entry.subject} is in already, {in_grams(line.weighed)} g, and this says {in_grams(entry.grams)} g",
        next=f"take the row out; to correct what was noted:  fvc trial weighed {entry.subject} {in_grams(entry.grams)} --corrects {noted}",
    )


def _rows(name: str) -> tuple[list[tuple[int, dict[str, str]]], list[Fault]]:
    """The rows of a sheet with their line numbers, and what is wrong with others.

    Comma, semicolon or tab between columns; decimal commas with a semicolon or a tab.
    """
    file = Path(name).expanduser()
    try:
        if file.stat().st_size > MOST_BYTES:
            raise Refusal(f"{printable(name)} is too large for a weigh sheet", next="name the right file")
        text = file.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise Refusal(f"{printable(name)} cannot be read: {error.strerror}", next="name the file as seen from this folder") from None
    except UnicodeDecodeError:
        raise Refusal(f"{printable(name)} is not UTF-8 text", next="save it as CSV, UTF-8") from None
    lines = text.splitlines()
    first = next((n for n, line in enumerate(lines) if line.strip(";\t, ")), 0)
    lines = lines[first:]
    mark = max(";\t,", key="".join(lines[:1]).count)
    table = _cells(lines, mark, file.name)
    heads = [h.strip().lower() for h in (table or [(1, [])])[0][1]]
    _check_heads(heads, printable(file.name), first + 1)
    out: list[tuple[int, dict[str, str]]] = []
    faults = []
    for number, cells in table[1:]:
        if not any(c.strip() for c in cells):
            continue
        if any(c.strip() for c in cells[len(heads) :]):
            faults.append(
                Fault(
                    f"{len(cells)} cells, and the first row names {len(heads)} columns",
                    file=printable(file.name),
                    line=first + number,
                    next="a decimal comma needs a semicolon or a tab between the columns; or write a point",
                )
            )
            continue
        row = dict(zip(heads, (c.strip() for c in cells), strict=False))
        if mark != "," and "," in row.get("grams", "") and "." not in row["grams"]:
            row["grams"] = row["grams"].replace(",", ".")
        out.append((first + number, row))
    return out, faults


def _cells(lines: list[str], mark: str, name: str) -> list[tuple[int, list[str]]]:
    """The cells of each row, with the number of its line."""
    reader = csv.reader(lines, delimiter=mark)
    try:
        return [(reader.line_num, cells) for cells in reader]
    except csv.Error as error:
        raise Refusal(Fault(f"cannot be read as CSV: {error}", file=printable(name), next="save it as CSV, UTF-8, once more")) from None


def _check_heads(heads: list[str], file: str, line: int) -> None:
    unknown = [h for h in heads if h and h not in COLUMNS]
    if unknown:
        near = nearest(unknown[0], COLUMNS, 1)
        hint = f"did you mean {near[0]}?" if near else f"columns: {', '.join(COLUMNS)}"
        raise Refusal(Fault(f'unknown column "{printable(unknown[0])}"', file=file, line=line, next=hint))
    twice = [h for n, h in enumerate(heads) if h and h in heads[:n]]
    if twice:
        raise Refusal(Fault(f"two columns are called {twice[0]}", file=file, line=line, next="keep one of them"))
    if not {"material", "grams"} <= set(heads):
        raise Refusal(Fault("the first row must name the columns material and grams", file=file, line=line, next="material,grams,lot"))


def _entry(archive: Archive, trial: Trial, row: dict[str, str], said: bool) -> Entry:
    named, material = material_of(archive, trial, row.get("material", ""))
    phase = known_phase(trial, row["phase"]) if row.get("phase") else named
    there, _ = phase_for(trial, named, phase, material)
    try:
        weight = weight_from_text(row["grams"])
    except ValueError as error:
        raise Refusal(f'{material}: "{printable(row["grams"])}" is no weight: {error}', next="correct the cell") from None
    at, later = _when(trial, row.get("at", ""))
    entry = Entry("", at, "weighed", material, grams=weight.grams, reading=weight.reading, phase=there, written=later)
    if _in_already(trial, entry):
        return entry
    check_weight(trial, there, material, weight, said=said)
    return entry._replace(lot=check_lot(archive, material, row.get("lot", ""), said=said, on=at.date(), grams=weight.grams))


def _when(trial: Trial, text: str) -> tuple[datetime.datetime, datetime.datetime | None]:
    """When a row happened, and when it was put down; a time alone is of the day on which the batch was begun."""
    hours = re.fullmatch(r"([0-9]{1,2})[:.]([0-9]{2})", text)
    if hours and trial.made_on:
        text = f"{trial.made_on} {int(hours[1]):02}:{hours[2]}"
    return stamped(trial, text)
