"""Which substances of a product give or take protons, by what brings them, and which cannot be counted, and why."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from fvc.composition import composition_of, parts_of
from fvc.material import Material, active_names, inci_key
from fvc.reading import Reading
from fvc.reference.ions import HARDLY_DISSOLVES, ZWITTERIONS, InWater, Weak, in_water, is_salt, salt_of
from fvc.reference.neutral import ACID, ADJUSTER, BASE, LYE, Pull, is_charged, is_neutral, names_acid, pull_of
from fvc.reference.source import Source
from fvc.science.dissolved import Solute, dissolved, too_light


class Counted(NamedTuple):
    """A substance that takes part in the balance of charges. gives: what one formula unit gives in water."""

    solute: Solute
    gives: InWater


class Uncounted(NamedTuple):
    """What is left out of the balance. what: the substance or the material; why: in words; material: the id of what brings it.

    percent: the most of it in the product; pull: how it may move the pH, None for what hardly does or of which nothing is known.
    """

    what: str
    why: str
    material: str
    percent: float = 0.0
    pull: Pull | None = None

    @property
    def words(self) -> str:
        """`Camellia Sinensis Leaf Extract (green-tea-extract): its acidity is not known`."""
        return f"{self.what}: {self.why}" if self.what == self.material else f"{self.what} ({self.material}): {self.why}"

    @property
    def amount(self) -> str:
        """`Phytic Acid (phytic-50, 0.05 %)`."""
        by = "" if self.what == self.material else f"{self.material}, "
        return f"{self.what} ({by}{self.percent:.3g} %)"


class Protolytes(NamedTuple):
    """All of a product. open: lines that wait for a level at the bench, with nothing to expect."""

    counted: tuple[Counted, ...]
    uncounted: tuple[Uncounted, ...]
    open: tuple[str, ...]


UNKNOWN = "its acidity is not known"
NO_WATER_EITHER = f'{UNKNOWN}, nor is its water counted: give  "Aqua"  under [constituents]'
MISSING = "its record is missing or cannot be read"


@lru_cache(maxsize=16)
def protolytes(reading: Reading) -> Protolytes:
    """Sort the substances of a product: counted, not counted with the reason, and neutral ones, of which nothing is said.

    A zwitterion such as betaine counts as neutral. Acids inside an ingredient (the acetic acid of a vinegar) count; what
    stands around them is then taken to be told by the record. Neutral is what a name, a function or a charge tells to be so: oils,
    fatty alcohols, esters, silicones, non-ionic substances; of all else the acidity is not known. Constants in a record hold for
    that acid wherever it is in the product.
    """
    counted: list[Counted] = []
    uncounted: list[Uncounted] = []
    solutes = dissolved(reading).solutes
    own = {constants.name: constants for s in solutes if (constants := own_constants(s)) is not None}
    speaks = {s.part.id for s in solutes if s.inside and in_water(s.inci) is not None}
    for solute in solutes:
        gives = behaviour(solute.inci, own)
        why = _why_not(solute, gives, solute.part.id in speaks)
        if why:
            uncounted.append(Uncounted(solute.inci, why, solute.part.words, float(solute.percent.high), _pull(solute, gives)))
        elif gives is not None:
            counted.append(Counted(solute, gives))
    return Protolytes(tuple(counted), (*_each_once(uncounted), *_undeclared(reading)), _open(reading))


def _each_once(uncounted: list[Uncounted]) -> list[Uncounted]:
    """What one material brings in several lines, together."""
    percents: dict[Uncounted, float] = {}
    for each in uncounted:
        alike = each._replace(percent=0.0)
        percents[alike] = percents.get(alike, 0.0) + each.percent
    return [each._replace(percent=percent) for each, percent in percents.items()]


def behaviour(inci: str, own: Mapping[str, Weak]) -> InWater | None:
    """What a substance gives in water. own: constants that records of this product give in place of the published ones, by acid."""
    published = in_water(inci)
    if published is None:
        return _by_record(inci, own[inci]) if inci in own else None
    if published.lacking:
        return salt_of(inci, own[published.lacking]) if published.lacking in own else published
    return published._replace(weak=tuple((own.get(weak.name, weak), count) for weak, count in published.weak))


def _by_record(inci: str, own: Weak) -> InWater:
    """What a name of which nothing is published gives in water, by the constants of its record."""
    if inci_key(inci).endswith(" hcl") and own.charge > 0:
        return InWater(((own, 1),), ((-1, 1),))
    return salt_of(inci, own) if is_salt(inci) else InWater(((own, 1),))


def own_constants(solute: Solute) -> Weak | None:
    """The constants in the record of what brings a substance, when they are of it: of the first of the active ones.

    Their name is that of the acid: of a salt of a known acid, the acid's.
    """
    material = solute.part.material
    if material is None or material.acid is None or solute.inside:
        return None
    names = active_names(material)
    if not names or inci_key(names[0]) != inci_key(solute.inci):
        return None
    # beyond these bounds no proton moves at any pH, and powers of ten grow too large
    pka = tuple(typed.text if -4 <= typed.value <= 20 else ("-4" if typed.value < 0 else "20") for typed in material.acid.pka)
    published = in_water(solute.inci)
    of = published.weak[0][0].name if published and published.weak else published.lacking if published else ""
    charge = published.weak[0][0].charge if published and published.weak else int(material.acid.base)
    return Weak(of or solute.inci, pka, charge, False, Source(f"[acid] in the record of {material.id}", "the maker's own"))


def _why_not(solute: Solute, gives: InWater | None, speaks: bool) -> str:
    """Why a substance cannot be counted; "" when it can, or when there is nothing to count."""
    key, substance, material = inci_key(solute.inci), solute.substance, solute.part.material
    if key in HARDLY_DISSOLVES:
        return "hardly dissolves in water"
    if gives is not None:
        return _lacks(solute, gives)
    if key.endswith("glucoside") and material is not None and material.does("surfactant"):
        return "sold alkaline, and how much lye is in it its record does not say"
    if key == "gluconolactone":
        return "turns into gluconic acid within hours; weigh it as that"
    if key in ZWITTERIONS or is_neutral(solute.inci):
        return ""
    if names_acid(solute.inci):
        return f"no pKa of {solute.inci} is known; [acid] in its record can give it"
    if substance is not None and substance.charge in ("anionic", "cationic", "amphoteric"):
        return f"{substance.charge}, with counter-ions and an acidity that are not known"
    if is_salt(solute.inci):
        return "a salt whose acid is not known"
    if pull_of(solute.inci) == BASE:
        return f"a base, and no pKa of {solute.inci} is known; [acid] in its record can give it"
    if solute.inside or speaks or (material is not None and not is_charged(solute.inci) and _called_neutral(material)):
        return ""
    if material is not None and not material.constituents and (material.does("hydrosol") or key.endswith((" water", " juice", " aqua"))):
        return NO_WATER_EITHER
    return UNKNOWN


def _called_neutral(material: Material) -> bool:
    """True for what its record calls an oil, a scent, an emollient or non-ionic."""
    return material.does("essential oil", "fragrance", "emollient") or material.charge == "non-ionic"


def _lacks(solute: Solute, gives: InWater) -> str:
    """What is lacking to count a substance of which it is known, or partly known, what it gives; "" for nothing."""
    if gives.lacking:
        return f"no pKa of {gives.lacking} is known; [acid] in a record of its own can give it"
    if gives.why:
        return gives.why
    if solute.percent.nominal is None:
        return "its share is not known"
    if solute.mass is not None:
        return ""
    wrong = too_light(solute.part.material)
    return wrong or "its molar mass is not known; molar_mass in its record can give it"


def _pull(solute: Solute, gives: InWater | None) -> Pull | None:
    """How a substance that is not counted may move the pH, by its name or by what it gives in water."""
    material = solute.part.material
    if gives is None or gives.lacking or gives.why:
        return pull_of(solute.inci, material.functions if material else ())
    if not gives.weak:
        return LYE if sum(charge * count for charge, count in gives.ions) > 0 else None
    weak = gives.weak[0][0]
    if any(charge > 0 for charge, _ in gives.ions):
        return Pull(1, 100, float(weak.pka[-1]))
    return ACID._replace(pka=float(weak.pka[0])) if weak.charge == 0 else BASE


def _undeclared(reading: Reading) -> list[Uncounted]:
    """Materials whose records leave open what they hold, or are missing."""
    percents: dict[str, float] = {}
    for part in parts_of(reading):
        percents[part.id] = percents.get(part.id, 0.0) + float(part.percent)
    out = []
    for id in composition_of(reading).undeclared_from:
        material = reading.materials.get(id)
        if material is None or not material.nested:
            out.append(_silent(id, material, percents.get(id, 0.0)))
            continue
        out += [
            _silent(i.material.id, i.material, percents.get(i.material.id, 0.0))
            for i in material.inside
            if i.material.composition is None or i.material.undeclared.high
        ]
    return list(dict.fromkeys(out))


def _silent(id: str, material: Material | None, percent: float) -> Uncounted:
    if material is None:
        return Uncounted(id, MISSING, id, percent, ADJUSTER)
    pull = ADJUSTER if material.does("pH adjuster", "buffer") else None
    if material.composition is None:
        return Uncounted(id, "its record declares no composition", id, percent, pull)
    left = float(material.undeclared.high)
    return Uncounted(id, f"its record leaves up to {left:.3g} % open", id, percent * left / 100, pull)


def _open(reading: Reading) -> tuple[str, ...]:
    return tuple(dict.fromkeys(a.line.material for a in reading.closure.amounts if a.percent is None))
