"""Batch sizes as makers say them: a mass, a volume, a number of bottles, or as much as a material allows."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from fvc.amounts import ZERO, mass, volume
from fvc.errors import Refusal

if TYPE_CHECKING:  # what git calls for each file reads batch sizes and has no use for it
    from fvc.reading import Reading

_BOTTLES = re.compile(r"([1-9][0-9]*)\s*[x×]\s*(.+)")
_BY_MATERIAL = re.compile(r"(\S+)\s+(\S.*)")


class Batch(NamedTuple):
    """A batch size as asked for: grams, or a volume that needs a density, or as much as a material allows."""

    text: str
    grams: Fraction | None = None
    millilitres: Fraction | None = None
    material: str = ""
    material_grams: Fraction = ZERO


def parse_batch(text: str) -> Batch:
    """`500g`, `1.5 kg`, `5 oz`, `200 mL`, `6 x 30 mL`, or `neroli-oil 3.2g`. ValueError otherwise."""
    plain = " ".join(text.split())
    bottles = _BOTTLES.fullmatch(plain)
    count = int(bottles[1]) if bottles else 1
    each = bottles[2] if bottles else plain
    by_material = _BY_MATERIAL.fullmatch(plain)
    if by_material and not bottles and re.fullmatch(r"[a-z0-9-]*[a-z][a-z0-9-]*", by_material[1]) and not by_material[2].isalpha():
        return Batch(plain, material=by_material[1], material_grams=mass(by_material[2]))
    if re.search(r"(ml|l|fl oz)$", each, re.IGNORECASE):
        return Batch(plain, millilitres=volume(each) * count)
    try:
        return Batch(plain, grams=mass(each) * count)
    except ValueError as error:
        raise ValueError(f"{error}; a batch is such as 150g, 1.5 kg, 5 oz, 200 mL, 6 x 30 mL, or neroli-oil 3.2g") from None


def batch_grams(batch: Batch, reading: Reading, density: Fraction | None) -> Fraction:
    """The batch in grams. density: g/mL of the product, needed for a volume.

    Raises Refusal when a density is missing or the material gives no size.
    """
    if batch.grams is not None:
        return batch.grams
    if batch.millilitres is not None:
        if density is None:
            raise Refusal(
                f'the batch "{batch.text}" is a volume and the density of {reading.plan.id} is not known',
                next="add --density 1.01 (g/mL), or density = 1.01 under [spec] in the plan",
            )
        return batch.millilitres * density
    percent = sum((a.counted for a in reading.closure.amounts if a.line.material == batch.material), ZERO)
    if percent == 0:
        known = ", ".join(reading.plan.reached())
        raise Refusal(f"{batch.material} is not in {reading.plan.id}, so it gives no batch size", next=f"name one of: {known}")
    return batch.material_grams * 100 / percent
