"""Whether the records of batches still say all that was ever saved of them: entries are only added, never altered or removed."""

from __future__ import annotations

import re
from typing import NamedTuple

from fvc.archive import Archive
from fvc.errors import Fault, Refusal
from fvc.files.toml_text import TomlText
from fvc.git.repository import Commit
from fvc.rules.finding import STOP, Finding

FOLDER = "trials"
RULE = "record-kept"
_SOURCE = "entries are only ever added: a correction is a new entry that names the one it corrects"
_RECORD = re.compile(r"trials/[^/]+/[^/]+\.toml")


class _Saved(NamedTuple):
    """One saved state of a record."""

    blob: str
    commit: Commit


def altered_records(archive: Archive, only: str = "") -> list[Finding]:
    """What was saved of a batch and is no longer said by its record in the folder, one finding for each record and kind.

    Every saved state is held against the folder: where the file begins with it, nothing was touched; else entry by
    entry and key by key. only: one record, by its path; all of them without it. Nothing to find without a history.
    Not noticed: what was altered before it was ever saved.
    """
    if isinstance(archive.found, Fault) or archive.head is None:
        return []
    states: dict[str, list[_Saved]] = {}
    for commit in archive.commits((only or FOLDER,)):
        for change in commit.changes:
            if change.after and _RECORD.fullmatch(change.path):
                states.setdefault(change.path, []).append(_Saved(change.after, commit))
    blobs = list(dict.fromkeys(s.blob for saved in states.values() for s in saved))
    texts = {found.id: found.data for found in archive.repository.objects(blobs) if found}
    return [finding for path in sorted(states) for finding in _of_record(archive, path, states[path], texts)]


def _of_record(archive: Archive, path: str, saved: list[_Saved], texts: dict[str, bytes]) -> list[Finding]:
    """saved: the newest state first."""
    data = archive.now.source.read(path)
    if data is None:
        last = saved[0].commit
        return [
            Finding(
                STOP,
                path,
                RULE,
                f"the record of this batch is gone from the folder; it was saved on {last.day} by {last.author}",
                _SOURCE,
                f"git restore --source={last.id[:8]} -- {path}",
            )
        ]
    plain = data.replace(b"\r\n", b"\n")
    now: dict[str, object] | None = None
    faults: dict[str, Finding] = {}
    for state in saved:
        text = texts.get(state.blob, b"").replace(b"\r\n", b"\n")
        if plain.startswith(text):
            continue
        try:
            now = now if now is not None else TomlText(data, path).values
            then = TomlText(text, path).values
        except Refusal:
            continue  # a text that cannot be read is told where it is read
        for what, message in _lost(then, now).items():
            words = f"{message}; so it was saved on {state.commit.day} by {state.commit.author}"
            mend = f"put it back as it was:  git diff {state.commit.id[:8]} -- {path};  and correct it by a new entry, with --corrects"
            faults.setdefault(what, Finding(STOP, path, RULE, words, _SOURCE, mend))
    return list(faults.values())


def _lost(then: dict[str, object], now: dict[str, object]) -> dict[str, str]:
    """What an earlier state said and the present one does not, by what it is about."""
    out: dict[str, str] = {}
    entries = {str(e.get("id")): e for e in _entries(now)}
    for entry in _entries(then):
        id = str(entry.get("id"))
        if id not in entries:
            out[id] = f"entry {id} was removed"
        elif entries[id] != entry:
            keys = [k for k in dict.fromkeys([*entry, *entries[id]]) if entry.get(k) != entries[id].get(k)]
            out[id] = f"entry {id} was altered: {', '.join(keys)}"
    order = [str(e.get("id")) for e in _entries(then)]
    if not out and [id for id in entries if id in set(order)] != order:
        out["order"] = "the order of entries was altered"
    for key in then:
        if key != "entry" and not _still_there(then[key], now.get(key), grows=key == "materials"):
            out[key] = f'"{key}" was altered'
    return out


def _still_there(then: object, now: object, *, grows: bool) -> bool:
    """True when a value is as it was; a table of records may have got further ones."""
    if grows and isinstance(then, dict) and isinstance(now, dict):
        return all(now.get(k) == v for k, v in then.items())
    return then == now


def _entries(values: dict[str, object]) -> list[dict[str, object]]:
    found = values.get("entry")
    return [e for e in found if isinstance(e, dict)] if isinstance(found, list) else []
