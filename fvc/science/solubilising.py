"""How much solubiliser there is for the oil that it must hold, and what the maker's own batches say of that ratio.

A ratio in the plan that names its oils ("4 x (neroli-oil + sweet-orange-oil)") declares a pair. The other solubilisers take the
essential oils and fragrances that no pair names: those of their phase where each phase has its own, else those of the plan.
What the maker saw of the same pair stands in place of any rule of thumb. Both are of weights as supplied.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO, figure, fixed
from fvc.composition import Part, parts_of
from fvc.formula import RATIO
from fvc.reading import Reading
from fvc.science.estimate import Estimate, Step, rounded
from fvc.science.oils import acts_as, holds, is_oil, is_scent
from fvc.seeing import CLARITY

PROPERTY = "solubiliser to oil"
RULE_OF_THUMB = (
    "1 to 10 parts of solubiliser, often 2 to 5, hold one of oil (common practice, no source): a place to start, "
    "since oils differ and a trial decides"
)
CLEAR = CLARITY[0]
# Days after which a mist that was hazy when fresh has cleared, if it does (common practice, no source).
SETTLED = 2


class Pair(NamedTuple):
    """Solubilisers and the oils that they hold. named: True when a ratio in the plan says so."""

    solubilisers: tuple[Part, ...]
    oils: tuple[Part, ...]
    named: bool = False

    @property
    def ratio(self) -> Fraction:
        """Grams of solubiliser for each gram of oil."""
        return _percent(self.solubilisers) / _percent(self.oils)

    @property
    def oil(self) -> Fraction:
        """Grams of oil in 100 g."""
        return _percent(self.oils)

    @property
    def what(self) -> tuple[frozenset[str], frozenset[str]]:
        """The ids of the solubilisers and of the oils: what makes two pairs the same."""
        return frozenset(p.id for p in self.solubilisers), frozenset(p.id for p in self.oils)

    @property
    def words(self) -> str:
        """`polysorbate-20 to neroli-oil + sweet-orange-oil`."""
        return " to ".join(" + ".join(dict.fromkeys(p.words for p in parts)) for parts in (self.solubilisers, self.oils))


def _percent(parts: Iterable[Part]) -> Fraction:
    return sum((p.percent for p in parts), ZERO)


@lru_cache(maxsize=16)
def pairs_of(reading: Reading, like: tuple[Pair, ...] = ()) -> tuple[Pair, ...]:
    """Solubilisers with their oils, by declared pairs first.

    like: pairs of the plan that a batch was made from, since a batch as made has no ratios of its own.
    """
    parts = [p for p in parts_of(reading) if p.percent]
    pairs = [pair for what in (*_declared(reading, parts), *(p.what for p in like if p.named)) if (pair := _pair(parts, *what))]
    taken = {id(p) for pair in pairs for p in (*pair.solubilisers, *pair.oils)}
    free = [p for p in parts if id(p) not in taken]
    oils = [p for p in free if is_scent(p)]
    holding = [p for p in free if p.material and acts_as(p.material, "solubiliser")]
    if not oils or not holding or _percent(p for p in free if is_oil(p) and not is_scent(p)) > _percent(holding):
        return tuple(pairs)  # with more of other oil it is an emulsion, and the scent goes with its oil
    phases = {p.amount.line.phase for p in oils}
    if phases <= {p.amount.line.phase for p in holding}:
        groups: Iterable[tuple[list[Part], list[Part]]] = (
            ([p for p in holding if p.amount.line.phase == phase], [p for p in oils if p.amount.line.phase == phase])
            for phase in dict.fromkeys(p.amount.line.phase for p in oils)
        )
    else:
        groups = ((holding, oils),)
    return (*pairs, *(Pair(tuple(one), tuple(other)) for one, other in groups))


def _declared(reading: Reading, parts: Sequence[Part]) -> Iterator[tuple[frozenset[str], frozenset[str]]]:
    """What the ratios of the plan say: a solubiliser held to oils, or an oil held to solubilisers."""
    for part in parts:
        level = part.amount.line.level
        if level.kind != RATIO:
            continue
        referred = [
            p
            for p in parts
            if p is not part
            and (
                p.amount.line.material in level.of
                or (level.function and level.function in (f.lower() for f in reading.functions(p.amount.line.material)))
            )
        ]
        if holds(part) and (oils := frozenset(p.id for p in referred if is_oil(p))):
            yield frozenset({part.id}), oils
        elif is_oil(part) and (holding := frozenset(p.id for p in referred if holds(p))):
            yield holding, frozenset({part.id})


def _pair(parts: Sequence[Part], holding: frozenset[str], oils: frozenset[str]) -> Pair | None:
    pair = Pair(tuple(p for p in parts if p.id in holding), tuple(p for p in parts if p.id in oils), named=True)
    return pair if pair.solubilisers and pair.oils else None


# --- what the maker saw -----------------------------------------------------------------------------


class Seen(NamedTuple):
    """One look at the clarity of a batch: the ratio as made, of which solubilisers to which oils, and where it stood on which day."""

    trial: str
    ratio: Fraction
    solubilisers: frozenset[str]
    oils: frozenset[str]
    clarity: str
    condition: str
    day: int


class _Batch(NamedTuple):
    """A batch by its worst look that counts; of one that was clear throughout, by the last look in each condition.

    conditions: where it was clear, or where it was not.
    """

    ratio: Fraction
    clarity: str
    words: str
    conditions: frozenset[str]
    days: int


class Lesson(NamedTuple):
    """What own batches say of a ratio.

    found: `clear at 6.0 (...)`, by ratio, then what was not; empty when nobody looked. short: why the ratio of the plan is too low
    by them; "" when it is not. mixed: that batches contradict each other; "" when they do not. other: looks at other oils or
    another solubiliser, as notes.
    """

    found: tuple[str, ...] = ()
    short: str = ""
    mixed: str = ""
    other: tuple[str, ...] = ()


def lesson(pair: Pair, seen: Sequence[Seen]) -> Lesson:
    """What own looks say of a pair. A look within the first two days counts only while there is no later one in that place.

    Ratios are compared by one decimal, which is about what a scale can tell of so little oil. A batch that was clear contradicts
    one that was not only where it stood in the same conditions; what contradicts is said as it is.
    """
    other = []
    for what in dict.fromkeys((s.solubilisers, s.oils) for s in seen):
        if what != pair.what and (what[0] | what[1]) & (pair.what[0] | pair.what[1]):
            group = [s for s in seen if (s.solubilisers, s.oils) == what]
            other.append(f"{_with(group[0])}: {'; '.join(_by_ratio(_batches(group)))}")
    batches = _batches([s for s in seen if (s.solubilisers, s.oils) == pair.what])
    if not batches:
        return Lesson(other=tuple(other))
    ratio, short, mixed = _tenth(pair.ratio), "", ""
    clear = [b for b in batches if b.clarity == CLEAR]
    for spoilt in sorted((b for b in batches if b.clarity != CLEAR and b.ratio >= ratio), key=lambda b: b.ratio, reverse=True):
        place = f"{_one(ratio)} is {'a' if spoilt.ratio == ratio else 'below a'} ratio that was {spoilt.clarity} ({spoilt.words})"
        against = [b for b in clear if b.ratio <= ratio and spoilt.conditions <= b.conditions]
        if against:
            mixed = f"{place}, and clear in another batch ({_longest(against).words}): something else decides as well"
        else:
            short = place if spoilt.ratio == ratio else f"{place} at {_one(spoilt.ratio)}"
    if not short and clear and ratio < (lowest := min(b.ratio for b in clear)):
        short = f"{_one(ratio)} is below the lowest ratio that was clear, {_one(lowest)}"
    return Lesson(tuple(_by_ratio(batches)), short, mixed, tuple(other))


def _batches(seen: Sequence[Seen]) -> list[_Batch]:
    """One row a batch, by what counts of its looks."""
    out = []
    for trial in dict.fromkeys(s.trial for s in seen):
        looks = [s for s in seen if s.trial == trial]
        counts = sorted((s for s in looks if s.day >= SETTLED or not _later(s, looks)), key=lambda s: s.day)
        spoilt = [s for s in counts if s.clarity != CLEAR]
        ratio, days = _tenth(looks[0].ratio), counts[-1].day
        if spoilt:
            worst = max(spoilt, key=lambda s: CLARITY.index(s.clarity))  # the first of equals
            words = f"{trial}, {worst.condition} day {worst.day}"
            out.append(_Batch(ratio, worst.clarity, words, frozenset(s.condition for s in spoilt), days))
        else:
            last = {s.condition: s.day for s in counts}
            words = f"{trial}, {', '.join(f'{condition} day {day}' for condition, day in last.items())}"
            out.append(_Batch(ratio, CLEAR, words, frozenset(last), days))
    return out


def _later(look: Seen, looks: Sequence[Seen]) -> bool:
    """True when the same place was looked at again on a later day."""
    return any(o.condition == look.condition and o.day > look.day for o in looks)


def _longest(batches: Sequence[_Batch]) -> _Batch:
    """Of batches that agree, the one that was looked at in most places, and for longest."""
    return max(batches, key=lambda b: (len(b.conditions), b.days))


def _by_ratio(batches: Sequence[_Batch]) -> Iterator[str]:
    """`clear at 6.0 (ft-260322-mt-a, fridge day 90)`: what was clear first, by ratio; of several that agree the longest."""
    for rank, ratio in sorted({(CLARITY.index(b.clarity), b.ratio) for b in batches}):
        same = [b for b in batches if (b.clarity, b.ratio) == (CLARITY[rank], ratio)]
        several = f"{len(same)} batches, such as " if len(same) > 1 else ""
        yield f"{CLARITY[rank]} at {_one(ratio)} ({several}{_longest(same).words})"


def _with(seen: Seen) -> str:
    return f"{' + '.join(sorted(seen.solubilisers))} to {' + '.join(sorted(seen.oils))}"


def _tenth(ratio: Fraction) -> Fraction:
    return rounded(float(ratio), 1)


def _one(ratio: Fraction) -> str:
    return fixed(ratio, 1)


# --- the estimate -----------------------------------------------------------------------------------


def estimate(reading: Reading, seen: Sequence[Seen] = ()) -> Estimate:
    """Grams of solubiliser for each gram of oil; of several pairs that with the lowest ratio, and all of them in the notes.

    seen: the maker's own looks (`fvc.results.clarity` gathers them); with some of this pair the rule of thumb is not shown.
    Declined without essential oil or fragrance, without a solubiliser, and in an emulsion (more of other oil than of solubiliser),
    unless a ratio names the oils.
    """
    pairs = pairs_of(reading)
    oils = [p for p in parts_of(reading) if p.percent and is_scent(p)]
    held = {id(p) for pair in pairs for p in pair.oils}
    not_counted = tuple(f"{p.words} {figure(p.percent)} %: with no solubiliser of its own" for p in oils if id(p) not in held)
    if not pairs:
        why = "no solubiliser holds its scent by itself" if oils else "there is no essential oil or fragrance in it"
        return Estimate(property=PROPERTY, decimals=1, declined=why, not_counted=not_counted)
    notes: list[str] = []
    for pair in pairs:
        notes.append(f"{pair.words}: {_one(pair.ratio)} to 1, {figure(pair.oil)} g of oil in 100 g{', as the plan names it' * pair.named}")
        learned = lesson(pair, seen)
        notes += [note for note in (learned.short, learned.mixed, *learned.found) if note]
        notes += [] if learned.found else [RULE_OF_THUMB]
        notes += [f"other oils or another solubiliser, {note}" for note in learned.other]
    value = rounded(float(min(pair.ratio for pair in pairs)), 1)
    return Estimate(
        property=PROPERTY, decimals=1, value=value, low=value, high=value, not_counted=not_counted, notes=tuple(dict.fromkeys(notes))
    )


def workings(reading: Reading) -> tuple[Step, ...]:
    """How the ratio of each pair comes about."""
    steps: list[Step] = []
    for pair in pairs_of(reading):
        for what, parts in (("solubiliser", pair.solubilisers), ("oil", pair.oils)):
            total = figure(_percent(parts))
            rows = " + ".join(figure(p.percent) for p in parts)
            steps.append(Step(f"{what}: {' + '.join(p.words for p in parts)}", rows if len(parts) > 1 else "", f"{total} g in 100 g"))
        top, below = figure(_percent(pair.solubilisers)), figure(pair.oil)
        why = "the ratio in the plan names its oils" if pair.named else "no ratio names its oils: it takes those that no pair names"
        steps.append(Step(PROPERTY, f"{top} / {below}", f"{figure(pair.ratio)} to 1", why))
        steps.append(Step("oil for each 100 g of solubiliser", f"100 / {figure(pair.ratio)}", f"{figure(HUNDRED / pair.ratio)} g"))
    return tuple(steps)
