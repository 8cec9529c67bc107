"""Variants side by side with what they depart from: the lines that differ, the figures that matter, what was seen."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.archive import Archive
from fvc.composition import composition_of, totals_by_function
from fvc.errors import Refusal
from fvc.experience import own_of
from fvc.formula import Amount
from fvc.material import Share
from fvc.reading import Reading
from fvc.references import trials_by_plan
from fvc.rules.basis import HOUSE, Basis
from fvc.rules.check import check
from fvc.rules.cost import cost
from fvc.rules.finding import CAUTION, STOP
from fvc.rules.label import label
from fvc.science.estimate import Estimate
from fvc.science.properties import properties_of
from fvc.trial import Trial
from fvc.variants import Variant, saved_words, variants_of


class Column(NamedTuple):
    """A plan in the matrix. variant: None for a parent. stops, cautions: of `fvc check`; per_kg: None where a price is missing. properties: estimated."""

    head: str
    variant: Variant | None
    reading: Reading
    water: Share
    functions: dict[str | None, Fraction]
    stops: int
    cautions: int
    allergens: tuple[str, ...]
    per_kg: Fraction | None
    trials: tuple[Trial, ...]
    properties: tuple[Estimate, ...]


class Row(NamedTuple):
    """An ingredient that differs in at least one column; None where a column has no such line."""

    phase: str
    material: str
    amounts: tuple[Amount | None, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class SideBySide:
    """The matrix. columns: each parent before its variants. same: how many lines are alike in all. left: variants that cannot be shown."""

    name: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    same: int
    currency: str
    left: tuple[Variant, ...]


def side_by_side(archive: Archive, name: str, ids: Sequence[str], basis: Basis, today: datetime.date) -> SideBySide:
    """All variants of a formula, or those named. Refusal when there is none to show."""
    found = variants_of(archive, name, ids)
    shown = [v for v in found if v.reading is not None and v.parent is not None]
    left = [v for v in found if v not in shown]
    if not shown:
        if left:
            raise Refusal(left[0].problem, next=left[0].way_out)
        raise Refusal(f"{name} has no variants", next=f'keep one:  fvc variant new {name} VARIANT --question "…"')
    tried = trials_by_plan(archive, name)
    currency = basis.currency
    columns: list[Column] = []
    parents: dict[str, list[Variant]] = {}
    for variant in shown:
        assert variant.parent is not None
        parents.setdefault(saved_words(archive, name, variant.parent), []).append(variant)
    for parent, those in sorted(parents.items(), key=lambda item: _number(item[0])):
        assert those[0].parent is not None
        columns.append(_column(archive, parent, None, those[0].parent, tried.get(parent, ()), basis, currency, today))
        for variant in those:
            assert variant.reading is not None
            columns.append(_column(archive, variant.id, variant, variant.reading, variant.trials, basis, currency, today))
    keys = dict.fromkeys((a.line.phase, a.line.material) for c in columns for a in c.reading.closure.amounts)
    phases = list(dict.fromkeys(p for p, _ in keys))
    rows = []
    for phase, material in sorted(keys, key=lambda k: phases.index(k[0])):
        amounts = tuple(_amount(c.reading, phase, material) for c in columns)
        if len({(a.percent, a.line.level.text if not a.line.level.number else "") if a else None for a in amounts}) > 1:
            rows.append(Row(phase, material, amounts))
    return SideBySide(
        name=name,
        title=columns[0].reading.plan.title,
        columns=tuple(columns),
        rows=tuple(rows),
        same=len(keys) - len(rows),
        currency=currency,
        left=tuple(left),
    )


def _number(reference: str) -> tuple[int, str]:
    ending = reference.partition(".")[2]
    return (int(ending), "") if ending.isdigit() and len(ending) < 7 else (10**9, ending)


def _amount(reading: Reading, phase: str, material: str) -> Amount | None:
    return next((a for a in reading.closure.amounts if (a.line.phase, a.line.material) == (phase, material)), None)


def _column(
    archive: Archive,
    head: str,
    variant: Variant | None,
    reading: Reading,
    trials: Sequence[Trial],
    basis: Basis,
    currency: str,
    today: datetime.date,
) -> Column:
    own = own_of(archive, reading, clarity=False)
    report = check(reading, basis, own=own)
    law = next((r for r in basis.chosen() if r != HOUSE), None)
    allergens = label(reading, law, today, today, basis.names).allergens if law else ()
    try:
        per_kg = cost(reading, currency, None).per_kg
    except Refusal:  # two currencies; `fvc cost` explains
        per_kg = None
    return Column(
        head,
        variant,
        reading,
        composition_of(reading).water,
        totals_by_function(reading),
        sum(f.level == STOP for f in report.findings),
        sum(f.level == CAUTION for f in report.findings),
        tuple(allergens),
        per_kg,
        tuple(trials),
        properties_of(reading, own),
    )
