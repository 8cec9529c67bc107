"""What one check is given: the product, taken apart once, and what the formulary is judged by."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO, celsius
from fvc.composition import Composition, Part, composition_of
from fvc.contents import Contents, contents_of
from fvc.errors import Fault
from fvc.reading import Reading
from fvc.rules.basis import Basis
from fvc.rules.finding import Finding, NotChecked
from fvc.science.own import NOTHING_SEEN, Own

MADE_MEND = "this batch is made: set it aside, or enlarge it by what it lacks; mend the plan for the next one"
Outcome = Iterator[Finding | NotChecked]

NO_PLAN = "the plan that this batch was made from is not to be found, so nothing says how it is used"
NO_USE = 'the plan names no use, so it is taken for a premix and judged in the plans that it stands in; else add  use = "leave-on"'


class Case(NamedTuple):
    """One product under check.

    rules: the rule sets chosen. locked: what changed in a plan that was saved as locked, as dotted
    paths; empty where nothing did, None where there is no saved plan to tell. stands_in: the plans that
    it stands in as a premix; None where nobody looked. own: what the maker's own batches tell of it.
    """

    reading: Reading
    contents: Contents
    composition: Composition
    basis: Basis
    rules: tuple[str, ...]
    locked: tuple[str, ...] | None = None
    stands_in: tuple[str, ...] | None = None
    own: Own = NOTHING_SEEN

    @property
    def uses(self) -> tuple[str, ...]:
        """How the product is used; a spray or aerosol of which no more is said stays on the skin."""
        uses = self.reading.plan.use
        return uses if not uses or {"leave-on", "rinse-off"} & set(uses) else ("leave-on", *uses)

    @property
    def parts(self) -> tuple[Part, ...]:
        """The raw materials of which something is in the product, in the order of addition."""
        return tuple(p for p in self.contents.parts if p.percent)

    @property
    def watery(self) -> bool:
        """True when there is enough water in it for anything to grow, or for oil to part from: 1 % or more."""
        water = self.composition.water
        return (water.low if water.nominal is None else water.nominal) >= 1

    @property
    def maybe_watery(self) -> bool:
        """True when what nobody declared may hold that much water."""
        return not self.watery and self.composition.water.high >= 1

    @property
    def all_parts(self) -> tuple[Part, ...]:
        """The raw materials of the plan, those of open lines among them."""
        return tuple(p for p in self.contents.parts if p.percent or p.amount.percent is None)

    @property
    def ph(self) -> tuple[Fraction, Fraction] | None:
        """The pH of the spec, lowest and highest; None without one."""
        given = self.reading.plan.spec.get("ph")
        return (given[0].value, given[1].value) if isinstance(given, tuple) else None

    @property
    def ethanol(self) -> Fraction:
        """Percent of ethanol that there is at least."""
        return sum((c.share.low for c in self.contents.of("Alcohol", "Alcohol Denat.", "Ethanol")), ZERO)

    def way_out(self, amend: str) -> str:
        """What mends an amount: `amend` in a plan; what is in the beaker is in the beaker."""
        return MADE_MEND if self.reading.side.made else amend


def case_of(
    reading: Reading,
    basis: Basis,
    rules: tuple[str, ...],
    locked: tuple[str, ...] | None = None,
    stands_in: tuple[str, ...] | None = None,
    own: Own = NOTHING_SEEN,
) -> Case:
    """Take a product apart for checking."""
    return Case(
        reading=reading,
        contents=contents_of(reading),
        composition=composition_of(reading),
        basis=basis,
        rules=rules,
        locked=locked,
        stands_in=stands_in,
        own=own,
    )


def unless_used(case: Case, what: str) -> NotChecked:
    """That a check was not done at all, since nothing says how the product is used."""
    return NotChecked(what, NO_PLAN if case.reading.side.made else NO_USE, whole=True)


def where_of(parts: Iterable[Part]) -> str:
    """`phase C, sodium-benzoate in preservative-premix; phase A, green-tea-extract`; each once."""
    return "; ".join(dict.fromkeys(f"phase {p.amount.line.phase}, {p.words}" for p in parts))


def listed(parts: Iterable[Part]) -> str:
    """`green-tea-extract, sodium-benzoate in preservative-premix`; each once."""
    return ", ".join(dict.fromkeys(p.words for p in parts))


def place_of(fault: Fault) -> str:
    """Where a fault is, in one line."""
    where = f"{fault.file}:{fault.line}" if fault.line is not None else fault.file
    return ", ".join(part for part in (where, fault.path) if part)


def degrees(text: str) -> Fraction | None:
    """°C of a temperature as typed; None without one."""
    return celsius(text) if text else None


def percent_by_material(parts: Iterable[Part]) -> dict[str, tuple[Fraction, tuple[Part, ...]]]:
    """For each raw material by id: its percent of the product over all lines, and where it stands."""
    out: dict[str, tuple[Fraction, tuple[Part, ...]]] = {}
    for part in parts:
        percent, places = out.get(part.id, (ZERO, ()))
        out[part.id] = (percent + part.percent, (*places, part))
    return out
