"""Batches in the folder: begun, found by the beginning of an id, written entry by entry, saved.

An entry is on disk when `add_entries` returns: written whole beside the old file, which it then replaces, under the
one lock of all writers. Nothing that was written is ever changed.
"""

from __future__ import annotations

import datetime
import re
import secrets
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from string import ascii_lowercase
from typing import NamedTuple

from fvc.amounts import brief
from fvc.archive import Archive
from fvc.bench import at_the_bench, check_playable
from fvc.errors import Fault, Refusal
from fvc.files.toml_text import TomlText
from fvc.files.trial_text import new_trial, with_entries
from fvc.files.trials import read_trial
from fvc.files.writer import cannot_write, replace, sweep, writing
from fvc.formula import BALANCE, OPEN, Plan
from fvc.formulary import same_bytes, trial_path
from fvc.git.repository import NO_IDENTITY, blob_id
from fvc.git.settings import get
from fvc.material import Material
from fvc.names import INITIALS, beginning, nearest, printable
from fvc.reading import Reading
from fvc.references import Reference, in_folder, parse_reference, path_at, resolve
from fvc.saving import ready_to_save
from fvc.schedule import Look
from fvc.schedule import due as due_looks
from fvc.trial import WEIGHINGS, Asked, Entry, Trial
from fvc.weighing import WeighSheet

Moment = datetime.datetime


def clock() -> Moment:
    """This moment, to the second, with the offset of the place."""
    return datetime.datetime.now().astimezone().replace(microsecond=0)


# --- finding ----------------------------------------------------------------------------------------


def all_trials(archive: Archive) -> tuple[list[Trial], list[Fault]]:
    """Every batch in the folder that can be read, the oldest first; and what is wrong with the others."""
    found: list[Trial] = []
    problems: list[Fault] = []
    for formula, id in archive.now.trials():
        try:
            parsed = archive.now.trial(formula, id)
        except Refusal as refusal:
            problems += refusal.faults
            continue
        problems += parsed.faults
        if parsed.value:
            found.append(parsed.value)
    return sorted(found, key=lambda t: (t.made_on or datetime.date.min, t.id)), problems


def trial_named(archive: Archive, text: str) -> Trial:
    """The batch whose id is `text` or begins so. Refusal for none, for several, and for one that cannot be read."""
    places = {id: formula for formula, id in archive.now.trials()}
    found = beginning(text.lower(), places)
    if not found:
        near = nearest(text, places)
        hint = f"did you mean {' or '.join(near)}?" if near else "fvc trial  lists the batches" if places else "fvc trial start NAME"
        raise Refusal(f'no batch "{printable(text)}"', next=hint)
    if len(found) > 1:
        raise Refusal(f'"{printable(text)}" is the beginning of {len(found)} batches: {", ".join(found[:8])}', next="write more of the id")
    parsed = archive.now.trial(places[found[0]], found[0])
    if parsed.value is None:
        raise Refusal(parsed.faults)
    return parsed.value


def the_open_one(archive: Archive, *, bench: bool) -> Trial:
    """The batch that is meant when none is named: the one open batch, or the one that still has lines to weigh.

    bench: what is about to be recorded belongs to the bench. Refusal, with the choices, when it is not plain.
    """
    trials, _ = all_trials(archive)
    open_ones = [t for t in trials if not t.closed]
    weighing = [t for t in open_ones if at_the_bench(t)] if bench else []
    chosen = open_ones if len(open_ones) == 1 else weighing
    if len(chosen) == 1:
        return chosen[0]
    if not open_ones:
        last = f"; the last one, {trials[-1].id}, is closed and can be named" if trials else ""
        raise Refusal(f"no batch is open{last}", next="fvc trial start NAME --batch 150g  begins one")
    listed = ", ".join(t.id for t in reversed(weighing or open_ones))
    raise Refusal(f"{len(weighing or open_ones)} batches are open: {listed}", next="name the one you mean, right behind the word")


def looks_due(archive: Archive, trials: list[Trial]) -> list[tuple[Trial, tuple[Look, ...]]]:
    """The looks that every batch wants by today, the longest overdue first."""
    schedule, today = archive.now.settings().schedule, clock().date()
    found = [(t, looks) for t in trials if not at_the_bench(t) and (looks := due_looks(t, schedule, today))]
    return sorted(found, key=lambda each: (-each[1][0].late, each[0].id))


# --- who and when -----------------------------------------------------------------------------------


class Maker(NamedTuple):
    """Who makes a batch, and the initials in its id."""

    name: str
    initials: str


def maker_of(archive: Archive, by: str = "", initials: str = "") -> Maker:
    """The maker by the name given, or else by git's identity.

    Initials: as given, as the formulary names them, as `fvc setup` noted them for whoever sits here, or of the name.

    Raises Refusal where nobody is known, where initials cannot be made of a name, and where they are somebody else's.
    """
    name = " ".join(by.split()) or _identity(archive)
    known = archive.now.settings().makers
    stated = initials.strip().lower() or listed_initials(archive, name) or _noted_initials(archive, by)
    chosen = stated or initials_of(name)
    if not re.fullmatch(INITIALS, chosen):
        what = (
            f'"{printable(initials or stated)}" cannot be initials'
            if stated
            else f'no initials can be made of the name "{printable(name)}"'
        )
        raise Refusal(f"{what}: two to four letters a to z", next="for example  --initials ak")
    others = {known[chosen]} if chosen in known else set()
    trials, _ = all_trials(archive)
    others |= {t.by for t in trials if t.by and re.search(rf"-[0-9]{{6}}-{chosen}-[a-z]+$", t.id)}
    other = next((o for o in sorted(others) if not _same(o, name)), None)
    if other:
        taken = set(known) | {m[1] for t in trials if (m := re.search(r"-[0-9]{6}-([a-z]{2,4})-[a-z]+$", t.id))}
        raise Refusal(
            f"the initials {chosen} are {printable(other)}'s in this formulary",
            next=f'choose others:  --initials {_free(name, taken)};  for good, in formulary.toml:  [makers]  {_free(name, taken)} = "{printable(name)}"',
        )
    return Maker(name, chosen)


def listed_initials(archive: Archive, name: str) -> str:
    """The initials that formulary.toml gives somebody in [makers]; "" where it names none."""
    return next((i for i, n in archive.now.settings().makers.items() if _same(n, name)), "")


def _noted_initials(archive: Archive, by: str) -> str:
    """Those in git's configuration of this copy, which are of whoever sits here and of nobody else."""
    if isinstance(archive.found, Fault) or (by and not _same(by, author(archive))):
        return ""
    return get(archive.found, "fvc.initials")


def author(archive: Archive, by: str = "") -> str:
    """The name that an entry carries: as given, or git's; "" where nobody is known."""
    try:
        return " ".join(by.split()) or _identity(archive)
    except Refusal:
        return ""


def _identity(archive: Archive) -> str:
    if isinstance(archive.found, Fault):
        raise Refusal("there is no git here to say who makes the batch", next='add  --by "Your Name"')
    identity = archive.found.identity()
    if identity is None:
        raise Refusal(NO_IDENTITY)
    return identity.rpartition(" <")[0]


def _same(one: str, other: str) -> bool:
    return " ".join(one.split()).casefold() == " ".join(other.split()).casefold()


def _letters(name: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", name)
    return ["".join(c for c in word.lower() if c in ascii_lowercase) for word in re.split(r"[\s-]+", plain)]


def initials_of(name: str) -> str:
    """`ak` of Anna Keller, `mi` of Mira; "" where a name has no letter from a to z."""
    words = [w for w in _letters(name) if w]
    return "".join(w[0] for w in words[:3]) if len(words) > 1 else "".join(words)[:2]


def _free(name: str, taken: set[str]) -> str:
    words = [w for w in _letters(name) if w]
    longer = [words[0][:1] + words[-1][:2], words[0][:2] + words[-1][:2]] if len(words) > 1 else ["".join(words)[:3]]
    letters = [initials_of(name) + c for c in ascii_lowercase]
    return next((i for i in [*longer, *letters] if i not in taken and re.fullmatch(INITIALS, i)), "xy")


_TIME = re.compile(r"([0-9]{1,2})[:.]([0-9]{2})")


def moment(text: str, now: Moment, earliest: Moment | None = None) -> Moment:
    """When something happened: `14:20` today, `2026-03-01`, `2026-03-01 14:20`, or with an offset. Refusal for the future, and before `earliest`.

    A day alone is noon, or now where that is still to come.
    """
    plain = " ".join(text.split())
    hours = _TIME.fullmatch(plain)
    try:
        if hours:
            at = now.replace(hour=int(hours[1]), minute=int(hours[2]), second=0)
        elif re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", plain):
            day = datetime.date.fromisoformat(plain)
            at = datetime.datetime.combine(day, datetime.time(12)).astimezone()
            at = min(at, now) if day == now.date() else at
            at = max(at, earliest) if earliest and day == earliest.date() else at
        else:
            at = datetime.datetime.fromisoformat(plain)
            at = at if at.tzinfo else at.astimezone()
    except (ValueError, OverflowError):
        raise Refusal(
            f'"{printable(text)}" is no time', next="for example  --at 14:20,  --at 2026-03-01  or  --at '2026-03-01 14:20'"
        ) from None
    if at > now:
        raise Refusal(f"{words(at)} is still to come", next="leave --at out for now, or write the day with it")
    if earliest and earliest - datetime.timedelta(minutes=1) < at < earliest:  # the minute in which it was begun
        return earliest
    if earliest and at < earliest:
        raise Refusal(f"{words(at)} is before the batch was begun ({words(earliest)})", next="correct the time")
    return at


def words(at: Moment) -> str:
    """A moment for a person."""
    return at.strftime("%Y-%m-%d %H:%M")


# --- beginning one ----------------------------------------------------------------------------------


def formula_code(plan: Plan, name: str) -> str:
    """The code of a formula in the ids of its trials: as the plan says, else the first letters of the words of its id."""
    stated = "".join(c for c in plan.code.lower() if c in ascii_lowercase + "0123456789")[:10]
    parts = name.split("-")
    return stated or ("".join(p[0] for p in parts[:6]) if len(parts) > 1 else name[:3])


def new_id(code: str, day: datetime.date, initials: str, taken: Iterable[str]) -> str:
    """`gtt-260301-ak-a`: formula, date, maker, and the next free letter. Short enough to write on a bottle."""
    base = f"{code}-{day:%y%m%d}-{initials}-"
    used = set(taken)
    letters: list[str] = [*ascii_lowercase, *(a + b for a in ascii_lowercase for b in ascii_lowercase)]
    return base + next(letter for letter in letters if base + letter not in used)


def plan_words(archive: Archive, reference: Reference, reading: Reading) -> str:
    """How a trial names its plan: `face-toner.4`; a state without a number by its commit; `, changed since` behind what was not saved."""
    name, side = reference.plan_name, reading.side
    numbered = f"{name}.{side.revision}" if side.revision else name
    if not side.under_git:
        return f"{name}, no git here"
    if side.commit is None and not side.saved:
        return f"{numbered}, changed since" if side.revision else f"{name}, not saved"
    if side.revision and not side.later:
        return numbered
    return f"{name}.{(side.commit or archive.head or '')[:8]}"


def start(
    archive: Archive,
    reading: Reading,
    sheet: WeighSheet,
    batch: str,
    maker: Maker,
    at: Moment,
    *,
    for_sale: bool = False,
    vessel: str = "",
    conditions: Sequence[str] = (),
) -> Trial:
    """Begin a batch: write its record, with everything that makes it readable without history. The caller saves it in git.

    Raises Refusal when it cannot be written. Not checked: whether the plan is fit for use.
    """
    reference = parse_reference(reading.side.ref)
    plan, commit = reading.plan, reading.side.commit
    source = archive.at(commit).source if commit else archive.now.source
    path = path_at(archive, reference.path, commit) if commit else reference.path
    data = source.read(path)
    assert data is not None
    text = TomlText(data, path)
    phases = {name: table for name, table in _table(text.values, "phase").items() if isinstance(table, dict)}
    last = commit or archive.head
    size = len(last or "") or 40
    saved_id = archive.at(last).source.key(path) if last else None  # of the text as git holds it, whatever line ends the folder has
    finest = min((line.scale.step for line in sheet.lines), default=sheet.batch_scale.step)
    nested = [id for id, m in reading.materials.items() if m.nested]
    trial = Trial(
        id=new_id(formula_code(plan, reference.name), at.date(), maker.initials, (t for _, t in archive.now.trials())),
        formula=reference.name,
        plan=plan_words(archive, reference, reading),
        plan_id=saved_id if saved_id and same_bytes(data, saved_id) else blob_id(data, size),
        batch=batch,
        scale=f"{brief(finest, 0, 8)} g",
        by=maker.name,
        started=at,
        for_sale=for_sale,
        vessel=vessel,
        use_by=at.date() + datetime.timedelta(days=plan.keeps) if plan.keeps else None,
        conditions=tuple(conditions),
        use=plan.use,
        asked=tuple(
            Asked(
                line.amount.line.phase,
                line.amount.line.material,
                line.amount.percent,
                line.grams,
                line.amount.line.level.kind == OPEN,
                line.amount.line.level.kind == BALANCE,
                f"{brief(line.scale.step, 0, 8)} g" if line.scale.step != finest else "",
            )
            for line in sheet.lines
        ),
        entries=(),
        premixes={id: _premix_words(archive, id, commit) for id in nested},
        materials={id: m for id, m in reading.materials.items() if not m.nested},
    )
    text_of_it = new_trial(trial, _table(text.values, "spec"), phases)
    where = trial_path(trial.formula, trial.id)
    parsed = read_trial(text_of_it, where, trial.id, trial.formula)
    if parsed.value is None:
        raise Refusal(parsed.faults)
    file = archive.root / where
    with writing(archive.lock_folder):
        try:
            file.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refusal(cannot_write(where, error)) from None
        replace(file, text_of_it, None, where)
    return parsed.value


def _table(values: Mapping[str, object], key: str) -> dict[str, object]:
    found = values.get(key)
    return found if isinstance(found, dict) else {}


def _premix_words(archive: Archive, id: str, commit: str | None) -> str:
    """The plan of a formula that stands in another as a material, at the same moment."""
    if commit:
        return f"{id}.{commit[:8]}"
    reference = parse_reference(id)
    return plan_words(archive, reference, in_folder(archive, reference)).partition(",")[0]


def batch_plan(archive: Archive, text: str) -> Reading:
    """The plan that a batch is to be made from. Refusal for a batch that was made, and for a plan that does not close."""
    reading = resolve(archive, text)
    if reading.side.made:
        trial = trial_named(archive, reading.plan.id)
        raise Refusal(f"{trial.id} is a batch that was made; a batch is made from a plan", next=f"fvc trial start {trial.plan_ref}")
    if not reading.sound:
        raise Refusal(reading.faults)
    return reading


UNSTAMPED = datetime.datetime.min  # the time of an entry before it is written, when `stamped` puts it in


# --- entries ----------------------------------------------------------------------------------------


def add_entries(archive: Archive, trial: Trial, make: Callable[[Trial], Sequence[Entry]]) -> Trial:
    """Write entries behind those that the record has by now, and give the record as it is then; on disk when this returns.

    make: gets the record as it stands, and gives the entries, their ids left empty. Somebody else may have written
    meanwhile: the lock is held from reading to writing. Raises Refusal, with nothing written, when the record cannot
    be read, more would be taken out than is there, or the disk does not take it.
    """
    where = trial_path(trial.formula, trial.id)
    file = archive.root / where
    with writing(archive.lock_folder):
        sweep(file)
        data = archive.now.source.read(where)
        if data is None:
            raise Refusal(Fault("the record of this batch is gone", file=where, next=f"git restore {where}"))
        source = TomlText(data, where)
        parsed = read_trial(data, where, trial.id, trial.formula)
        if parsed.value is None:
            raise Refusal(parsed.faults)
        entries = numbered(parsed.value, make(parsed.value))
        if not entries:
            return parsed.value
        new = with_entries(source, entries, _new_records(archive, parsed.value, entries))
        after = read_trial(new, where, trial.id, trial.formula).value
        assert after is not None
        check_playable(after)
        replace(file, new, data, where)
    return after


def _new_records(archive: Archive, trial: Trial, entries: Sequence[Entry]) -> dict[str, Material]:
    """The records of what these entries add that the trial has none of; a premix is known by the batch that is its lot."""
    ids = {e.subject for e in entries if e.action in WEIGHINGS} - set(trial.materials) - set(trial.premixes)
    found = {id: archive.now.ingredient(id)[0] for id in sorted(ids)}
    return {id: m for id, m in found.items() if m is not None and not m.nested}


def numbered(trial: Trial, entries: Sequence[Entry]) -> list[Entry]:
    """Entries with ids: four signs of this writing, which tell two writers apart, and the place in the record."""
    lead = "".join(secrets.choice(ascii_lowercase + "23456789") for _ in range(4))
    return [e._replace(id=f"{lead}-{len(trial.entries) + n:02d}") for n, e in enumerate(entries, start=1)]


def stamped(trial: Trial, at: str, now: Moment | None = None, corrects: str = "") -> tuple[Moment, Moment | None]:
    """(when it happened, when it was put down if that was later) for a new entry. at: as typed; "" for now.

    A correction happened when the entry that it corrects did. Where the clock of this machine is behind the last entry,
    a new one keeps its place behind it.
    """
    now = now or clock()
    if at:
        return moment(at, now, trial.started), now
    if corrects:
        return next(e.at for e in trial.entries if e.id == corrects), now
    last = max((e.at for e in trial.entries), default=trial.started or now)
    return (last, now) if last > now else (now, None)


def save_trial(archive: Archive, trial: Trial, message: str, also: Sequence[str] = ()) -> Fault | None:
    """Save the record of a batch in git, alone; None when done, or why it is on disk only."""
    return save_records(archive, [trial_path(trial.formula, trial.id), *also], f"{trial.id}: {message}")


def save_records(archive: Archive, files: Sequence[str], message: str) -> Fault | None:
    """Save these files in git, as one step; None when done, or why they are on disk only."""
    if isinstance(archive.found, Fault):
        return None
    repository = archive.found
    try:
        ready_to_save(archive)
        paths = [repository.prefix + p for p in files]
        changed = repository.changed(paths)
        with writing(archive.lock_folder):
            if changed:
                repository.save([p for p in paths if p in changed], f"{message}\n")
    except Refusal as refusal:
        first = refusal.faults[0]
        return Fault(f"the record is on disk, and not saved in git: {first.message}", next=first.next)
    return None


def unsaved_trials(archive: Archive) -> list[str]:
    """Ids of the batches whose records are not saved as they stand."""
    if isinstance(archive.found, Fault):
        return []
    head = archive.at(archive.head) if archive.head else None
    return [id for formula, id in archive.now.trials() if head is None or not archive.unchanged(head, trial_path(formula, id))]


def material_of(archive: Archive, trial: Trial, text: str) -> tuple[str, str]:
    """(phase, material) that `propanediol`, an unambiguous beginning of it, or `B:neroli` means; phase "" where none was named.

    Lines of the sheet come first, then what was added, then every record and formula of the folder.
    Raises Refusal with the choices.
    """
    phase, colon, name = text.partition(":")
    if not colon:
        phase, name = "", text
    on_sheet = [a.material for a in trial.asked if not phase or a.phase == phase]
    before = [e.subject for e in trial.entries if e.action in ("weighed", "added", "replaced")]
    for known in (on_sheet, before, [*archive.now.materials(), *archive.now.formulas()]):
        found = beginning(name.lower(), known)
        if len(found) == 1:
            return phase, found[0]
        if found:
            raise Refusal(f'"{printable(name)}" is the beginning of {", ".join(found)}', next="write more of it")
    everything = [*on_sheet, *archive.now.materials(), *archive.now.formulas()]
    near = nearest(name, everything)
    hint = f"did you mean {' or '.join(near)}?" if near else f"make its record with  fvc new material {printable(name)}"
    raise Refusal(f'unknown material "{printable(name)}"', next=hint)


def last_lot(archive: Archive, material: str, before: Trial | None = None) -> str:
    """The lot of a material that was noted last, in any batch; "" when none ever was."""
    trials, _ = all_trials(archive)
    noted = [(e.at, e.lot) for t in trials for e in t.entries if e.subject == material and e.lot]
    noted += [(e.at, e.lot) for e in before.entries if e.subject == material and e.lot] if before else []
    return max(noted, default=(None, ""))[1]
