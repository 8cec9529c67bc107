"""The text of a trial: the file of a new one, and further entries behind those it has.

Nothing that stands in a trial is ever changed: an entry is added at the end, and the new text is proved to
say the same as before, and the entry.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from fvc.amounts import Typed, brief
from fvc.errors import Fault, Refusal
from fvc.files.editor import toml_string, value_toml
from fvc.files.toml_text import TomlText
from fvc.files.trials import read_trial
from fvc.material import Material
from fvc.trial import Asked, Entry, Seen, Trial

GRAM_DECIMALS = 8  # as many as a file may hold; a weight typed in ounces has more
# What belongs to the shelf, not to what a material is.
_NOT_COPIED = ("format", "lot")
_TEXTS = (
    "phase", "into", "lot", "because", "reading", "temperature", "hold", "speed", "checked_by", "filled", "retained", "corrects",
)  # fmt: skip


def new_trial(trial: Trial, spec: Mapping[str, object], phases: Mapping[str, Mapping[str, object]]) -> bytes:
    """The file of a batch that is about to be made. spec, phases: those tables of the plan, as its file says them."""
    head: list[tuple[str, object]] = [
        ("format", 1),
        ("plan", trial.plan),
        ("plan_id", trial.plan_id),
        ("batch", trial.batch),
        ("scale", trial.scale),
        ("by", trial.by),
        ("started", trial.started),
        ("for_sale", trial.for_sale or None),
        ("vessel", trial.vessel),
        ("use_by", trial.use_by),
        ("conditions", list(trial.conditions) or None),
        ("use", list(trial.use) or None),
    ]
    rows = [f"{key} = {_value(value)}" for key, value in head if value not in (None, "")]
    rows += ["asked = [", *(f"    {_asked(line)}," for line in trial.asked), "]"]
    if spec:
        rows += ["", "[spec]", *_rows(spec)]
    for name, texts in phases.items():
        kept = {k: v for k, v in texts.items() if k != "percent"}
        if kept:
            rows += ["", f"[phase.{_key(name)}]", *_rows(kept)]
    if trial.premixes:
        rows += ["", "[premixes]", *_rows(trial.premixes)]
    rows += _records(trial.materials)
    return ("\n".join(rows) + "\n").encode()


def _records(materials: Mapping[str, Material]) -> list[str]:
    """Material records as a trial keeps them."""
    rows: list[str] = []
    for id, material in materials.items():
        record = {k: v for k, v in material.record.items() if k not in _NOT_COPIED}
        plain = {k: v for k, v in record.items() if not isinstance(v, dict)}
        rows += ["", f"[materials.{_key(id)}]", *_rows(plain)]
        for key, table in record.items():
            if isinstance(table, dict):
                rows += [f"[materials.{_key(id)}.{_key(key)}]", *_rows(table)]
    return rows


def with_entries(source: TomlText, entries: Sequence[Entry], materials: Mapping[str, Material] | None = None) -> bytes:
    """The bytes of a trial with further entries at its end; everything before them stays byte for byte.

    materials: records of what was added and does not stand on the sheet, kept with it.

    Raises Refusal when the file cannot take them so (a table below the entries), and when the trial would not
    be readable with them.
    """
    text = source.text
    lead = "" if not text or text.endswith("\n") else source.newline
    more = "".join(source.newline + source.newline.join(entry_rows(entry)) + source.newline for entry in entries)
    records = "".join(row + source.newline for row in _records(materials or {}))
    data = source.data + (lead + records + more).encode()
    before = source.values.get("entry", [])
    stem = source.name.rpartition("/")[2].removesuffix(".toml")
    parsed = read_trial(data, source.name, stem)
    if parsed.value is None and parsed.text is not None:
        raise Refusal(parsed.faults)
    values = parsed.text.values if parsed.text else {}  # not TOML any more: its entries are a list in brackets, such as  entry = []
    now = values.get("entry", [])
    same = _but_for(values, materials or {}) == _but_for(source.values, materials or {})
    if not same or not isinstance(now, list) or now[: len(now) - len(entries)] != before or len(now) - len(entries) != _count(before):
        hint = "write each of its entries under a row  [[entry]]"
        raise Refusal(Fault("an entry cannot be added at the end of this file", file=source.name, next=hint))
    return data


def _but_for(values: Mapping[str, object], materials: Mapping[str, object]) -> dict[str, object]:
    """A trial without its entries and without these records."""
    records = values.get("materials")
    kept = {k: v for k, v in records.items() if k not in materials} if isinstance(records, dict) else {}
    return {k: v for k, v in values.items() if k not in ("entry", "materials")} | ({"materials": kept} if kept else {})


def _count(entries: object) -> int:
    return len(entries) if isinstance(entries, list) else 0


def entry_rows(entry: Entry) -> list[str]:
    """The rows of one entry, `[[entry]]` first."""
    pairs: list[tuple[str, object]] = [("id", entry.id), ("at", entry.at)]
    pairs += [("written", entry.written), ("by", entry.by), (entry.action, entry.subject), ("grams", entry.grams)]
    pairs += [(key, getattr(entry, key)) for key in _TEXTS]
    if entry.seen is not None:
        pairs += [(key, getattr(entry.seen, key)) for key in Seen._fields]
    kept = [(k, v) for k, v in pairs if v is not None and (v != "" or k == entry.action)]
    width = max(len(k) for k, _ in kept)
    return ["[[entry]]", *(f"{k:<{width}} = {_value(v)}" for k, v in kept)]


def _asked(line: Asked) -> str:
    pairs: list[tuple[str, object]] = [("phase", line.phase), ("material", line.material), ("percent", line.percent), ("grams", line.grams)]
    pairs += [("open", line.open or None), ("balance", line.balance or None), ("scale", line.scale or None)]
    return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in pairs if v is not None) + " }"


def _value(value: object) -> str:
    if isinstance(value, Typed):
        return value.text
    if isinstance(value, Fraction):
        return brief(value, 0, GRAM_DECIMALS)
    if isinstance(value, datetime.datetime):
        return value.isoformat(timespec="seconds")
    return value_toml(value)


def _key(key: str) -> str:
    return key if key.replace("-", "").replace("_", "").isalnum() and key.isascii() else toml_string(key)


def _rows(table: Mapping[str, object]) -> Iterable[str]:
    return [f"{_key(k)} = {value_toml(v)}" for k, v in table.items()]
