"""How much of each preservative is in the form that works, at a pH; pH ranges in common use; published antagonisms.

The undissociated share of a weak acid is 1 / (1 + 10^(pH - pKa)), by Henderson and Hasselbalch. The figure is that of the
thermodynamic pKa, as published tables give it; ions lower the pKa that counts, so the low end of the band has that in it. No
figure in here tells that a product keeps: that takes a challenge test, which no calculation replaces.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import ZERO, figure, fixed, round_to
from fvc.composition import Part, parts_of
from fvc.contents import times
from fvc.material import NOTHING, Material, Share, active_names, certain, inci_key
from fvc.reading import Reading
from fvc.reference.antagonisms import ANTAGONISMS, Antagonism
from fvc.reference.ions import DAVIES_A, DAVIES_B, DAVIES_SOURCE, SURE, spread_of
from fvc.reference.lookup import known, salt_words
from fvc.reference.solubility import SOLUBILITY, beyond_solubility
from fvc.reference.substances import Known
from fvc.science.dissolved import Mass, Solute, dissolved
from fvc.science.equilibrium import davies
from fvc.science.estimate import Step
from fvc.science.ph import MOST_IONIC, model

RULE = "Henderson and Hasselbalch: 1 / (1 + 10^(pH - pKa))"
PRACTICE = "common practice, no published source"
CHALLENGE = (
    "Whether a product keeps, no calculation tells. A laboratory finds out by a challenge test: ISO 11930:2019, Cosmetics - Microbiology - "
    "Evaluation of the antimicrobial protection of a cosmetic product, or the tests of the pharmacopoeias (Ph. Eur. 5.1.3, USP <51>)."
)
LEFT_OUT = (
    "the figure is with the thermodynamic pKa, as published tables give it; what ions do to it is in the low end alone",
    "what oil, micelles and polymers take up is not taken off",
    "the ion works too, though far less: that of sorbic acid 10 to 600 times less, by organism (J. Appl. Bacteriol. 54, 383, abstract, 1983)",
)
SAME = "stays about the same"
NONE_KNOWN = "nothing in it is a preservative that fvc knows; whether it needs one, or what else keeps it, is not known either"

TRACE = Fraction(5, 100)  # percent of a preservative below which it only came along with something
INSIDE, PARTLY, OUTSIDE = "inside", "partly", "outside"  # where the whole band of the pH lies in the range of common use


class AtPh(NamedTuple):
    """A pH with its band. value: None where only a range is given. how: `estimated`, `by the spec`, `as read 2026-03-02`."""

    value: Fraction | None
    low: Fraction
    high: Fraction
    how: str


USUAL_STRENGTH = 0.1  # mol/kg, where the product gives no ionic strength


class Pka(NamedTuple):
    """A dissociation constant with its bounds, and who says so. strength: ionic, of the product, in mol/kg; None where it is not known."""

    value: float
    low: float
    high: float
    source: str
    strength: float | None = None

    @property
    def ions(self) -> float:
        """The ionic strength to count with."""
        return USUAL_STRENGTH if self.strength is None else self.strength

    @property
    def lowest(self) -> float:
        """What an acid without charge behaves as among ions, at the lowest that the constant may be (Davies)."""
        return round(self.low - davies(self.ions), 3)


class PhRange(NamedTuple):
    """The pH within which a preservative is in common use, or works by the record of a raw material."""

    low: Fraction
    high: Fraction
    source: str

    def fits(self, low: Fraction, high: Fraction) -> str:
        """Where a band of pH lies in it: `inside`, `partly` or `outside`."""
        if self.low <= low and high <= self.high:
            return INSIDE
        return OUTSIDE if high < self.low or low > self.high else PARTLY


class Brought(NamedTuple):
    """What one raw material brings of a preservative: as weighed, and as its acid.

    factor: grams of acid for each gram; None where no molar mass tells it. ratio: the same as it is worked out. mass: of what
    is weighed.
    """

    part: Part
    inci: str
    weighed: Share
    factor: Fraction | None = Fraction(1)
    ratio: str = ""
    mass: Mass | None = None

    @property
    def as_acid(self) -> Share:
        """Percent of the product as acid; where no molar mass tells it, something between nothing and the whole."""
        if self.factor is None:
            return Share(None, ZERO, self.weighed.high)
        return self.weighed.of(self.factor * 100)


@dataclass(frozen=True, kw_only=True, eq=False)
class Working:
    """One preservative of a product, and how much of it is in the form that works.

    name: the INCI name, of the acid or phenol for a salt of one; the words of a raw material of which nothing more is known.
    percent: of the product, as acid. pka: None for what is no weak acid, or where none is known. undissociated: percent of the
    acid; its nominal is None where only a range of pH is given. concentration: percent of the product that is undissociated acid.
    fits: where the pH lies in `ph_range`, "" without either. crystals: that more is undissociated than dissolves. not_counted: why there is no share, "" where there is one or
    none is asked.
    """

    name: str
    brought: tuple[Brought, ...]
    percent: Share
    pka: Pka | None = None
    undissociated: Share | None = None
    concentration: Share | None = None
    ph_range: PhRange | None = None
    fits: str = ""
    crystals: str = ""
    not_counted: str = ""


class Change(NamedTuple):
    """One preservative before and after a change; None where it is not there. words: what became of what works."""

    name: str
    before: Working | None
    after: Working | None
    words: str


def undissociated(ph: float, pka: float) -> float:
    """The share of a weak acid that holds its proton, 0 to 1, by Henderson and Hasselbalch.

    With the thermodynamic pKa at 25 °C it is the published formula, which leaves the ions out: at an ionic strength of 0.1 the
    pKa that counts is 0.107 lower (Davies, for an acid without charge).
    """
    return 1 / (1 + 10 ** (ph - pka))


def free_form(inci: str) -> tuple[Known, int] | None:
    """What an INCI name preserves as, and how many of it a formula unit gives: the acid of a salt, the paraben of its sodium salt.

    None for what is no preservative that fvc knows.
    """
    substance = known(inci)
    if substance is None:
        words = salt_words(inci)
        acid = known(words[0]) if words else None
        return (acid, words[1]) if words and acid and acid.ph_range else None
    if substance.ph_range is None:
        return None
    if substance.pka:  # the acid or phenol, or the salt of a paraben, whose constants are those of the phenol
        return known(substance.inci.partition(" ")[2]) or substance, 1
    if substance.acid:
        acid = known(substance.acid[0])
        return (acid, substance.acid[1]) if acid else None
    return substance, 1


def range_of(material: Material | None, substance: Known | None) -> PhRange | None:
    """The pH that a preservative is used at: by the record of its raw material, else as published for the substance."""
    if material and material.ph_range:
        low, high = material.ph_range
        return PhRange(low.value, high.value, f"ph_range in the record of {material.id}")
    if substance is None or substance.ph_range is None:
        return None
    first, last = map(Fraction, substance.ph_range)
    return PhRange(first, last, substance.ph_source.words if substance.ph_source else PRACTICE)


def working(reading: Reading, ph: AtPh | None) -> tuple[Working, ...]:
    """Every preservative of a product, in the order of addition; ph: None where nothing tells it.

    Salts are summed as their acid, through premixes and extracts. What an essential oil or a fragrance holds is left out.
    """
    found: dict[str, tuple[Known, list[Brought]]] = {}
    for solute in dissolved(reading).solutes:
        free = free_form(solute.inci)
        if free is None or solute.part.material is None or solute.part.material.does("essential oil", "fragrance"):
            continue
        found.setdefault(free[0].inci, (free[0], []))[1].append(_brought(solute, *free))
    known_in = {each.part.id for _, brought in found.values() for each in brought}
    strength, water = _strength(reading) if found and ph else None, float(dissolved(reading).water.high)
    out = [_working(acid, brought, ph, strength, water) for acid, brought in found.values()]
    return (*out, *(_blank(part, ph) for part in parts_of(reading) if part.percent and part.id not in known_in and _preserves(part)))


def _strength(reading: Reading) -> float | None:
    """The ionic strength by the model of the pH, as far as its activity model goes; None where it gives none."""
    balance = model(reading).balance
    return min(balance.ionic_strength, MOST_IONIC) if balance else None


def _preserves(part: Part) -> bool:
    return part.material is not None and part.material.does("preservative")


def _brought(solute: Solute, acid: Known, count: int) -> Brought:
    if inci_key(solute.inci) == inci_key(acid.inci) or known(solute.inci) is acid:
        return Brought(solute.part, acid.inci, solute.percent)
    if solute.mass is None or not acid.molar_mass:
        return Brought(solute.part, solute.inci, solute.percent, None)
    # the shortest decimal text of a float is the figure as it was typed, so the factor stays exact
    mass = repr(solute.mass.grams)
    ratio = f"{f'{count} x ' if count > 1 else ''}{acid.molar_mass} / {mass}"
    return Brought(solute.part, solute.inci, solute.percent, count * Fraction(acid.molar_mass) / Fraction(mass), ratio, solute.mass)


def _working(acid: Known, brought: Sequence[Brought], ph: AtPh | None, strength: float | None, water: float) -> Working:
    by_most = sorted(brought, key=lambda each: -each.as_acid.high)
    percent = sum((each.as_acid for each in brought), NOTHING)
    ranges = (range_of(each.part.material, None) for each in by_most)
    ph_range = next(filter(None, ranges), None) or range_of(None, acid)
    pka = _pka(acid, by_most, strength)
    share = _share(pka, ph) if pka and ph else None
    works = times(share, percent) if share else None
    return Working(
        name=acid.inci,
        brought=tuple(brought),
        percent=percent,
        pka=pka,
        undissociated=share,
        concentration=works,
        ph_range=ph_range,
        fits=ph_range.fits(ph.low, ph.high) if ph_range and ph else "",
        crystals=beyond_solubility(acid.inci, float(works.low if works.nominal is None else works.nominal), water) if works else "",
        not_counted="; ".join(_lacking(acid, brought, pka, ph)),
    )


def _lacking(acid: Known, brought: Sequence[Brought], pka: Pka | None, ph: AtPh | None) -> Iterator[str]:
    """Why a share, or how much there is, is not known."""
    if pka is None and any(each.inci != acid.inci or each.inci.endswith(" Acid") for each in brought):
        yield f"no pKa of {_plain(acid.inci)} is known, so its undissociated share is not counted; a record can give it under [acid]"
    if pka is not None and ph is None:
        yield f"no pH is known, so the undissociated share of {_plain(acid.inci)} is not counted"
    for each in brought:
        if each.factor is None:
            yield f"no molar mass of {each.inci} is known, so how much acid it is lies between nothing and the whole"
        if each.weighed.nominal is None:
            yield f"how much {each.inci} is in {each.part.id} is not known"


def _pka(acid: Known, by_most: Sequence[Brought], strength: float | None) -> Pka | None:
    """The constant of an acid: by the record of what brings most of it, if that gives one for it, else the published one.

    Of two constants the first: where the second proton goes, hardly any acid is left.
    """
    for each in by_most:
        material = each.part.material
        own = material.acid if material else None
        first = free_form(active_names(material)[0]) if material and own and not own.base and active_names(material) else None
        if material and own and first and first[0] is acid:
            value = float(own.pka[0].value)
            return Pka(value, value - SURE, value + SURE, f"[acid] in the record of {material.id}", strength)
    if not acid.pka:
        return None
    value = float(acid.pka[0])
    doubt = "; sources disagree" if acid.uncertain_pka else ""
    source = (acid.pka_source.words if acid.pka_source else "") + doubt
    return Pka(value, *spread_of(acid.inci, value, acid.uncertain_pka, acid.pka_source), source, strength)


def _percent(ph: Fraction | float, pka: float) -> Fraction:
    """The undissociated share in percent, to six digits that count: three are shown, and nothing is rounded twice."""
    return Fraction(f"{100 * undissociated(float(ph), pka):.6g}")


def _share(pka: Pka, ph: AtPh) -> Share:
    """The share at a pH with the worst ends of both, the lower one among ions; no nominal where only a range of pH is given."""
    nominal = None if ph.value is None else _percent(ph.value, pka.value)
    return Share(nominal, _percent(ph.high, pka.lowest), _percent(ph.low, pka.high))


def _blank(part: Part, ph: AtPh | None) -> Working:
    """A raw material that is recorded as a preservative, of which no more is known."""
    assert part.material is not None
    why = (
        "its record does not say what is in it"
        if part.material.composition is None
        else "nothing in its record is a preservative that fvc knows"
    )
    ph_range = range_of(part.material, None)
    share = certain(part.percent)
    return Working(
        name=part.words,
        brought=(Brought(part, part.id, share),),
        percent=share,
        ph_range=ph_range,
        fits=ph_range.fits(ph.low, ph.high) if ph_range and ph else "",
        not_counted=f"{part.words}: {why}, so only its amount as supplied is counted",
    )


def not_known(reading: Reading, found: Sequence[Working]) -> tuple[str, ...]:
    """What these figures leave out, and what nobody can tell: no verdict on whether it is preserved."""
    out = [each.not_counted for each in found if each.not_counted]
    for part in parts_of(reading):
        if part.percent and (part.material is None or (part.material.composition is None and not _preserves(part))):
            what = "has no record" if part.material is None else "has no composition in its record"
            out.append(f"{part.words} {what}: a preservative in it is not counted")
    return (*dict.fromkeys(out), *(() if found else (NONE_KNOWN,)))


# --- before and after -----------------------------------------------------------------------------------


def compare(before: Sequence[Working], after: Sequence[Working]) -> tuple[Change, ...]:
    """What became of each preservative, in the order of `after` and then of what is gone; what stays as it is shown is left out.

    Of a weak acid it is the undissociated acid that is compared, where both sides have a pH; else the amount.
    """
    old, new = ({each.name: each for each in side} for side in (before, after))
    changes = (_change(name, old.get(name), new.get(name)) for name in dict.fromkeys([*new, *old]))
    return tuple(change for change in changes if change.words)


def _change(name: str, before: Working | None, after: Working | None) -> Change:
    there = [each for each in (before, after) if each]
    by_acid = all(each.concentration for each in there)
    amounts = [(each.concentration if by_acid else None) or each.percent for each in there]
    figures = [f"{said(amount)} %" for amount in amounts]
    kind = "undissociated: " if by_acid else ""
    if len(there) == 1:
        first, last = (figures[0], "none") if before else ("none", figures[0])
        return Change(name, before, after, f"{kind}{first} before, {last} after")
    if figures[0] == figures[1]:
        return Change(name, before, after, "")
    at_one_ph = by_acid and len({each.undissociated and each.undissociated.high for each in there}) == 1
    how = _relative(*(each.percent for each in there) if at_one_ph else amounts)
    return Change(name, before, after, f"{kind}{figures[0]} before, {figures[1]} after{': it ' if how else ''}{how}")


def _relative(before: Share, after: Share) -> str:
    """`halves`, `falls to 37 % of it`; by the ends of both where one is known only as a range."""
    if before.nominal is not None and after.nominal is not None:
        return _ratio(before.nominal, after.nominal)
    ends = {_ratio(before.low, after.low), _ratio(before.high, after.high)}
    return ends.pop() if len(ends) == 1 else ""


def _ratio(before: Fraction, after: Fraction) -> str:
    if not before:
        return ""
    ratio = float(after / before)
    for size, word in ((0.5, "halves"), (1.0, SAME), (2.0, "doubles")):
        if abs(ratio / size - 1) <= 0.02:
            return word
    if ratio > 2:
        return f"rises to {ratio:.2g} times as much"
    return (f"falls to {ratio:.0%} of it" if ratio < 1 else f"rises by {ratio - 1:.0%}").replace("%", " %")


def said(share: Share) -> str:
    """`0.142`, `0.05 to 0.142` where the nominal is not known; three digits that count."""
    if share.nominal is not None:
        return _digits(share.nominal)
    return _digits(share.low) if share.certain else f"{_digits(share.low)} to {_digits(share.high)}"


def _digits(value: Fraction) -> str:
    """Three digits that count, in plain decimals, rounded half up; what is below 0.00001 is nothing."""
    if value < Fraction(1, 100000):
        return "0"
    return figure(round_to(value, Fraction(10) ** (math.floor(math.log10(value)) - 2)))


# --- antagonisms ----------------------------------------------------------------------------------------


class Note(NamedTuple):
    """A published antagonism as it is found in a product, with its amounts."""

    words: str
    source: str


@lru_cache(maxsize=16)
def antagonisms(reading: Reading) -> tuple[Note, ...]:
    """Published antagonisms between the preservatives of a product and what else is in it."""
    solutes = dissolved(reading).solutes
    theirs = [s for s in solutes if free_form(s.inci)]
    out = []
    for row in ANTAGONISMS:
        who = [s for s in theirs if row.who.holds(s.inci, *_by_record(s))]
        keys = {inci_key(s.inci) for s in who}
        whom = [s for s in solutes if row.whom.holds(s.inci, *_by_record(s)) and inci_key(s.inci) not in keys] if who else []
        if whom and _most(whom) >= Fraction(row.least) and _most(who) >= TRACE:
            out.append(_note(row, who, whom))
    return tuple(out)


def notes(reading: Reading) -> tuple[str, ...]:
    """The same as sentences, each with its source."""
    return tuple(f"{note.words} ({note.source})" for note in antagonisms(reading))


def _by_record(solute: Solute) -> tuple[str, tuple[str, ...]]:
    """The ionic character and the functions that the record gives a raw material of one substance."""
    material = solute.part.material
    if material is None or len(active_names(material)) != 1:
        return "", ()
    return material.charge, material.functions


def _most(solutes: Iterable[Solute]) -> Fraction:
    return sum((s.percent.high for s in solutes), ZERO)


def _note(row: Antagonism, who: Sequence[Solute], whom: Sequence[Solute]) -> Note:
    least = sum((s.percent.low if s.percent.nominal is None else s.percent.nominal for s in who), ZERO)
    ratio = f", {fixed(_most(whom) / least, 1)} g on each gram of preservative" if row.ratio and least else ""
    return Note(f"{_names(who)} with {_names(whom)}{ratio}: {row.words}", row.source.words)


def _names(solutes: Sequence[Solute]) -> str:
    shares: dict[str, Share] = {}
    for solute in solutes:
        shares[solute.inci] = shares.get(solute.inci, NOTHING) + solute.percent
    return ", ".join(f"{said(share)} % {inci}" for inci, share in shares.items())


# --- the arithmetic -------------------------------------------------------------------------------------


def workings(reading: Reading, ph: AtPh | None) -> tuple[Step, ...]:
    """The arithmetic of every preservative, step by step, with the constants and their sources; then what it leaves out."""
    found = working(reading, ph)
    steps = [step for each in found for step in _steps(each, ph)]
    if any(each.undissociated for each in found):
        steps += [Step(text) for text in LEFT_OUT]
    steps += [Step(text) for text in (*not_known(reading, found), *notes(reading))]
    return (*steps, Step(CHALLENGE))


def _steps(each: Working, ph: AtPh | None) -> Iterator[Step]:
    name = _plain(each.name)
    for brought in each.brought:
        what = f"{brought.inci} in {brought.part.words}" if brought.inci != brought.part.id else f"{brought.part.words} as supplied"
        if not brought.mass:
            yield Step(what, "", f"{said(brought.as_acid)} %")
        else:
            sum_ = f"{said(brought.weighed)} % x {brought.ratio}"
            yield Step(f"{what}, as {name}", sum_, f"{said(brought.as_acid)} %", f"molar mass: {brought.mass.source}")
    if len(each.brought) > 1:
        yield Step(f"{name}, all of it", " + ".join(said(b.as_acid) for b in each.brought), f"{said(each.percent)} %")
    yield from _at_ph(each, ph)


def at_ph(reading: Reading, ph: AtPh) -> tuple[Step, ...]:
    """Only what a pH decides, at another one than that of `workings`: the undissociated shares, and where it lies in the ranges."""
    return tuple(step for each in working(reading, ph) for step in _at_ph(each, ph))


def _at_ph(each: Working, ph: AtPh | None) -> Iterator[Step]:
    name = _plain(each.name)
    if each.undissociated and each.pka and ph:
        yield from _acid_steps(each, each.undissociated, each.pka, ph)
    if each.ph_range and ph:
        low, high, source = each.ph_range
        used = f"in use from pH {figure(low)} to {figure(high)}"
        yield Step(f"{name}: the pH, {ph.how}", f"{_band(ph)}; {used}", each.fits, source)


def _acid_steps(each: Working, share: Share, pka: Pka, ph: AtPh) -> Iterator[Step]:
    name, constant = _plain(each.name), f"{RULE}; pKa {pka.value:g}: {pka.source}"
    if ph.value is not None and share.nominal is not None:
        what = f"undissociated share of {name} at pH {figure(ph.value)}, {ph.how}"
        yield Step(what, _sum(ph.value, pka.value), f"{_digits(share.nominal)} %", constant)
    if _digits(share.low) != _digits(share.high):
        yield _ions_step(pka)
        what = "the same from end to end" if share.nominal is not None else f"undissociated share of {name} at the ends of the pH, {ph.how}"
        sum_ = f"{_sum(ph.high, pka.lowest)} to {_sum(ph.low, pka.high)}"
        yield Step(what, sum_, f"{_digits(share.low)} to {_digits(share.high)} %", constant if share.nominal is None else "")
        middle = ph.value if ph.value is not None else (ph.low + ph.high) / 2
        doubt = f"{_digits(_percent(middle, pka.low))} to {_digits(_percent(middle, pka.high))} %"
        yield Step(f"what the doubt of the pKa alone does, at pH {figure(middle)}", f"pKa {pka.low:g} to {pka.high:g}", doubt)
    works = each.concentration
    if works is None:
        return
    what = f"undissociated {name} in the product"
    if works.nominal is not None:
        yield Step(what, f"{said(each.percent)} % x {said(share)} %", f"{_digits(works.nominal)} %")
    if _digits(works.low) != _digits(works.high):
        ends = [
            f"{_digits(amount)} % x {_digits(part)} %" for amount, part in ((each.percent.low, share.low), (each.percent.high, share.high))
        ]
        what = "the same from end to end" if works.nominal is not None else f"{what}, from end to end"
        yield Step(what, " to ".join(ends), f"{_digits(works.low)} to {_digits(works.high)} %")
    if each.crystals:
        most = SOLUBILITY[each.name]
        source = f"{most.grams} g in 1 kg of water at 25 °C: {most.source.words}; solvents, oil and micelles hold more"
        yield Step(f"whether so much {name} dissolves", "", each.crystals, source)


def _ions_step(pka: Pka) -> Step:
    """What ions do to the constant, for the low end."""
    where = f"at an ionic strength of {pka.ions:.3g} mol/kg" + (", assumed" if pka.strength is None else "")
    root = f"√{pka.ions:.3g}"
    lower = f"{DAVIES_A:g} x ({root} / (1 + {root}) - {DAVIES_B:g} x {pka.ions:.3g})"
    return Step(f"pKa that counts among ions, {where}, for the low end", f"{pka.low:g} - {lower}", f"{pka.lowest:g}", DAVIES_SOURCE.words)


def _sum(ph: Fraction, pka: float) -> str:
    return f"1 / (1 + 10^({figure(ph)} - {pka:g}))"


def _band(ph: AtPh) -> str:
    ends = f"{figure(ph.low)} to {figure(ph.high)}"
    return ends if ph.value is None else f"{figure(ph.value)} ({ends})"


def _plain(name: str) -> str:
    """An INCI name within a sentence: `benzoic acid`, `DMDM hydantoin`."""
    return " ".join(word if word.isupper() or word[1:2].isdigit() else word[:1].lower() + word[1:] for word in name.split())
