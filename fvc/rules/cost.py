"""What a product costs in raw materials: per kilogram, per batch, per filled bottle. Unpriced is never free."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import HUNDRED, ZERO
from fvc.composition import SPENT, Part, parts_of
from fvc.errors import Refusal
from fvc.formula import OPEN
from fvc.material import Material
from fvc.reading import Reading

KILOGRAM = Fraction(1000)


class CostLine(NamedTuple):
    """One raw material of a product. percent: of what is weighed in. per_gram: its price; None with `why` in words.

    kept: what is there for each gram weighed in.
    """

    part: Part
    percent: Fraction
    per_gram: Fraction | None
    why: str = ""

    kept: Fraction = Fraction(1)

    @property
    def per_kg(self) -> Fraction | None:
        """What it costs in a kilogram of product; of a batch as made, what was lost is paid for by the rest."""
        return None if self.per_gram is None else self.per_gram * self.percent / HUNDRED * KILOGRAM / self.kept


class Bottles(NamedTuple):
    """Filled bottles, or jars filled by weight. fill: grams in each. needed: grams of product to make, losses included.

    millilitres, density: None where the fill was given by weight. priced: the cost of a bottle in what has a price;
    per_bottle: None where a line has none.
    """

    bottles: int
    fill: Fraction
    millilitres: Fraction | None
    density: Fraction | None
    loss: Fraction
    needed: Fraction
    priced: Fraction
    per_bottle: Fraction | None
    in_batch: int | None


class Cost(NamedTuple):
    """What a product costs in raw materials, without work, packaging and tests.

    priced: the sum of the lines that have a price, per kilogram; the cost of the product only where
    `unpriced` is empty. batch: grams, None when no batch is known.
    """

    lines: tuple[CostLine, ...]
    currency: str
    priced: Fraction
    batch: Fraction | None
    bottles: Bottles | None = None

    @property
    def unpriced(self) -> tuple[CostLine, ...]:
        """The lines whose cost is not known."""
        return tuple(line for line in self.lines if line.per_gram is None)

    @property
    def per_kg(self) -> Fraction | None:
        """The cost of a kilogram; None where a line has no price."""
        return None if self.unpriced else self.priced

    def in_batch(self, per_kg: Fraction | None) -> Fraction | None:
        """What costs so much in a kilogram costs in the batch; None where either is not known."""
        return None if per_kg is None or self.batch is None else per_kg * self.batch / KILOGRAM

    def share(self, line: CostLine) -> Fraction | None:
        """The share of a line in what is priced, in percent."""
        return None if line.per_kg is None or self.priced == 0 else line.per_kg * HUNDRED / self.priced


def per_gram(material: Material | None, currency: str) -> tuple[Fraction | None, str]:
    """The price of a gram in the currency of the formulary, or why there is none, in words."""
    if material is None:
        return None, "it has no record"
    price = material.price
    if price is None:
        return None, "no price in its record"
    if price.currency and currency and price.currency != currency:
        return None, f"its price is in {price.currency} and the formulary counts in {currency}: enter it in {currency}"
    if not price.by_volume:
        return price.each, ""
    if material.density is None:
        return None, f'its price is by volume, "{price.text}", and its record has no density'
    return price.each / material.density, ""


def cost(reading: Reading, currency: str, batch: Fraction | None) -> Cost:
    """What a plan costs, formulas that stand in it taken apart; of a batch as made, all that was weighed in.

    currency: of the formulary; prices that name another are not converted and count as unpriced. Where
    the formulary names none, the prices must not name two.
    """
    parts = [p for p in parts_of(reading, SPENT) if p.percent or p.amount.line.level.kind == OPEN]
    merged: dict[tuple[str, str], tuple[Part, Fraction]] = {}
    for part in parts:
        key = (part.words, part.amount.line.phase)
        first, percent = merged.get(key, (part, ZERO))
        merged[key] = (first, percent + part.percent)
    counted_in = currency or _only_currency(parts)
    lines = []
    for part, percent in merged.values():
        each, why = per_gram(part.material, counted_in)
        if percent == 0 and part.amount.percent is None:
            each, why = None, "its line is open and says nothing of what to expect"
        lines.append(CostLine(part, percent, each, why, reading.kept))
    return Cost(
        lines=tuple(lines),
        currency=counted_in,
        priced=sum((line.per_kg for line in lines if line.per_kg is not None), ZERO),
        batch=batch,
    )


def _only_currency(parts: Iterable[Part]) -> str:
    named = dict.fromkeys(p.material.price.currency for p in parts if p.material and p.material.price and p.material.price.currency)
    if len(named) > 1:
        raise Refusal(
            f"prices are in {' and '.join(named)}, and nothing says which one counts",
            next=f'write  currency = "{next(iter(named))}"  in formulary.toml and enter every price in it',
        )
    return next(iter(named), "")


def in_bottles(
    result: Cost, count: int, fill: Fraction, loss: Fraction, millilitres: Fraction | None = None, density: Fraction | None = None
) -> Bottles:
    """Filled bottles of a product. fill: grams in each. loss: percent of what is made that never reaches a bottle.

    The loss is of what is made, so the batch is the filled grams divided by what is left of it.
    """
    if not 0 <= loss < HUNDRED:
        raise Refusal("a loss is from 0 to below 100 percent", next="for example  --loss 2.5%")
    left = (HUNDRED - loss) / HUNDRED
    needed = fill * count / left
    priced = result.priced * fill / left / KILOGRAM
    in_batch = None if result.batch is None else int(result.batch * left / fill)
    return Bottles(count, fill, millilitres, density, loss, needed, priced, None if result.unpriced else priced, in_batch)
