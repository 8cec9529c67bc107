"""Water activity at 25 °C, from what is dissolved in the water that is really there.

Molecules by Norrish's equation, salts by osmotic coefficients after Pitzer, the two parts multiplied after Ross. Weak acids count
as undissociated and salts as they were weighed, which is small against the rest. Not in here: polymers, surfactants in their
micelles, other temperatures, and whether anything grows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import NamedTuple

from fvc.composition import composition_of
from fvc.contents import is_perfume
from fvc.material import Share, inci_key
from fvc.reading import Reading
from fvc.reference.lookup import is_fixed, oil_named
from fvc.reference.osmotic import (
    A_PHI,
    GROWTH,
    MIXED_SALTS,
    NORRISH_SOURCE,
    PITZER_EQUATION,
    ROSS,
    WATER_KG,
    Molecule,
    Salt,
    constants_of,
    dissolves_little,
    ideal,
)
from fvc.science.dissolved import Solute, dissolved
from fvc.science.estimate import Estimate, Step, rounded

NAME, DECIMALS = "water activity", 3
LEAST_WATER = 10.0  # percent of the product
WIDE_WATER = 5  # points between the bounds of water that is not known, up to which its middle is taken
MOST_DISSOLVED = 75.0  # percent of water and solutes together: above, the constants were not fitted
WIDEST = 0.05  # either side, by the constants alone: a wider band says nothing
MODEL = 0.05  # share of the lowering by which the equations themselves miss published tables (tests)
FURTHER = 1.5  # times the range of its parameters, in which a salt beside others is followed (tests, against PHREEQC)
ROUNDED_MASS = 0.1  # g/mol by which masses with and without crystal water differ in the last figure
SHOWN = 0.0005  # an influence below half of the last decimal shown

GATHERS = ("surfactant", "solubiliser", "emulsifier")
OILY = ("essential oil", "fragrance", "emollient", "colourant")

Constants = Molecule | Salt


class Term(NamedTuple):
    """What one substance does. part: mole fraction of a molecule, osmotic coefficient of a salt. influence: of its spread, on a_w."""

    constants: Constants
    molality: float
    part: float
    influence: float


class Activity(NamedTuple):
    """What comes out for plain molalities.

    value: a_w. water: mole fraction of water beside the molecules. pull, push: sums of √|K| x of positive and negative K.
    strength: ionic strength, mol/kg. molecules, salts: the natural logarithms of the two parts. spread: by the constants and
    rules, either side of the value.
    """

    value: float
    water: float
    pull: float
    push: float
    strength: float
    molecules: float
    salts: float
    spread: float
    terms: tuple[Term, ...]


def activity(molalities: Mapping[str, float], constants: Mapping[str, Constants] | None = None) -> Activity:
    """The water activity of a solution, mol per kg of water by INCI name; every name needs constants, in the table or given."""
    known = {name: (constants or {}).get(name) or constants_of(name) for name in molalities}
    molecules = [(c, molalities[name]) for name, c in known.items() if isinstance(c, Molecule)]
    salts = [(c, molalities[name]) for name, c in known.items() if isinstance(c, Salt)]
    assert len(molecules) + len(salts) == len(molalities), "a substance without constants"

    moles = 1 / WATER_KG + sum(m for _, m in molecules)
    fractions = [(c, m, m / moles) for c, m in molecules]
    # Norrish sums √K x, which has no meaning for a negative K: those are summed by themselves, and raise what the others lower.
    pull = sum(math.sqrt(c.k) * x for c, _, x in fractions if c.k > 0)
    push = sum(math.sqrt(-c.k) * x for c, _, x in fractions if c.k < 0)
    water = 1 / WATER_KG / moles
    by_molecules = math.log(water) - pull**2 + push**2
    # The other published rule for mixtures (Ferro Fontan, Chirife & Boquet 1981) takes the mean of the K by moles.
    other_rule = math.log(water) - (1 - water) * sum(c.k * x for c, _, x in fractions)

    strength = sum(c.strength * m for c, m in salts)
    coefficients = [(c, m, osmotic_coefficient(c, strength)) for c, m in salts]
    by_salts = -WATER_KG * sum(c.ions * m * phi for c, m, phi in coefficients)

    value = math.exp(by_molecules + by_salts)
    terms = [Term(c, m, x, value * (1 - water) * c.spread * x) for c, m, x in fractions]
    terms += [Term(c, m, phi, value * WATER_KG * c.ions * m * c.spread) for c, m, phi in coefficients]
    spread = sum(t.influence for t in terms) + value * abs(by_molecules - other_rule)
    return Activity(value, water, pull, push, strength, by_molecules, by_salts, spread, tuple(terms))


def used_strength(salt: Salt, strength: float) -> float:
    """The ionic strength to work out a coefficient at: that of all salts, but not far above where the parameters were fitted."""
    return min(strength, FURTHER * salt.fitted * salt.strength)


def osmotic_coefficient(salt: Salt, strength: float) -> float:
    """Of the salt alone in water at an ionic strength in mol/kg, by Pitzer's equation; `used_strength` of it."""
    strength = used_strength(salt, strength)
    root, m = math.sqrt(strength), strength / salt.strength
    (zc, za), (nc, na), (b0, b1, b2) = salt.charges, salt.numbers, salt.beta
    b = b0 + b1 * math.exp(-(1.4 if b2 else 2.0) * root) + b2 * math.exp(-12 * root)
    debye = -zc * za * A_PHI * root / (1 + 1.2 * root)
    third = 2 * math.sqrt(nc * na) ** 3 / salt.ions * salt.c
    return 1 + debye + m * 2 * nc * na / salt.ions * b + m * m * third


class Counted(NamedTuple):
    """A substance that is counted, as one raw material brings it."""

    solute: Solute
    constants: Constants


class Worked(NamedTuple):
    """All that estimate and workings share. nominal is None when declined."""

    water: Share
    crystal: float
    counted: tuple[Counted, ...]
    not_counted: tuple[str, ...]
    declined: str
    nominal: Activity | None = None
    low: float = 0.0
    high: float = 1.0


def estimate(reading: Reading) -> Estimate:
    """The water activity of a plan, with its band; declined where the models say nothing."""
    worked = _worked(reading)
    if worked.nominal is None:
        return Estimate(property=NAME, decimals=DECIMALS, declined=worked.declined, not_counted=worked.not_counted)
    return Estimate(
        property=NAME,
        decimals=DECIMALS,
        value=rounded(worked.nominal.value, DECIMALS),
        low=rounded(worked.low, DECIMALS),
        high=rounded(worked.high, DECIMALS),
        not_counted=worked.not_counted,
        notes=_notes(worked.nominal, worked.counted),
    )


def _notes(nominal: Activity, counted: Sequence[Counted]) -> tuple[str, ...]:
    notes = ["at 25 °C; acids are counted as undissociated, salts as they were weighed"]
    for term in nominal.terms:
        c = term.constants
        if term.influence < SHOWN:
            continue
        if isinstance(c, Molecule) and c.ideal:
            notes.append(f"no published constant for {c.inci} in fvc: counted as ideal, which may be out by {term.influence:.3f}")
        elif isinstance(c, Salt) and c.like:
            notes.append(f"no published coefficients for {c.inci} in fvc: those of {c.like}, which may be out by {term.influence:.3f}")
        elif not c.source.looked_up:
            notes.append(f"the constant of {c.inci} is from memory and may be out by {term.influence:.3f}")
    vague = dict.fromkeys(c.solute.inci for c in counted if c.solute.percent.nominal is None)
    if vague:
        notes.append(f"how much {', '.join(vague)} there is, is not known: the figure counts the least, the band all that it may be")
    notes.append(
        "in general most bacteria grow above 0.91, many yeasts above 0.87, most moulds above 0.80 and a few of them down to about 0.60 "
        f"({GROWTH.words}); an estimate replaces no test of the product"
    )
    return tuple(notes)


@lru_cache(maxsize=16)
def _worked(reading: Reading) -> Worked:
    solution = dissolved(reading)
    counted, not_counted = _sorted(solution.solutes)
    undeclared = composition_of(reading).undeclared_from
    not_counted += [f"{id}: what its record does not declare" for id in undeclared]
    crystal = sum(_crystal_water(c.solute) for c in counted)
    worked = Worked(solution.water, crystal, tuple(counted), tuple(dict.fromkeys(not_counted)), "")

    if solution.water.nominal is None and solution.water.high - solution.water.low > WIDE_WATER:
        whose = f": what {', '.join(undeclared)} holds beside what the record declares may be water" if undeclared else ""
        return worked._replace(declined=f"the share of water is not known{whose}")
    water = _middle(solution.water) + crystal
    if water < LEAST_WATER:
        how = f"only {water:.3g} % water" if water else "no water"
        return worked._replace(declined=f"{how}: the equations hold for solutions in water, from {LEAST_WATER:g} % of it")
    nominal = _at(counted, water, _least)
    if declined := _beyond(counted, water, nominal):
        return worked._replace(declined=declined)
    model = MODEL * (1 - nominal.value)
    lean = max(float(solution.water.low) + crystal, LEAST_WATER)
    rich = float(solution.water.high) + crystal
    lowest = _at(counted, lean, lambda share: share.high).value
    highest = _at(counted, rich, lambda share: share.low).value
    return worked._replace(
        nominal=nominal,
        low=max(min(lowest, nominal.value) - nominal.spread - model, 0.0),
        high=min(max(highest, nominal.value) + nominal.spread + model, 1.0),
    )


def _middle(water: Share) -> float:
    """The water to count with; where it is not known to the point, the middle of its bounds, which the band holds."""
    return float(water.nominal if water.nominal is not None else (water.low + water.high) / 2)


def _at(counted: Sequence[Counted], water: float, percent: Callable[[Share], Fraction]) -> Activity:
    """The activity at some percent of water in the product, and a percent that is taken from each share."""
    molalities: dict[str, float] = {}
    for solute, constants in counted:
        brought = solute.molality(water, float(percent(solute.percent)))
        molalities[constants.inci] = molalities.get(constants.inci, 0.0) + brought
    return activity(molalities, {c.constants.inci: c.constants for c in counted})


def _least(share: Share) -> Fraction:
    """The share to count with; of one that is not known, its least."""
    return share.low if share.nominal is None else share.nominal


def _crystal_water(solute: Solute) -> float:
    """Water, in percent of the product, that comes in the crystals of a hydrate and that its record does not name."""
    published = solute.substance.molar_mass if solute.substance else ""
    material = solute.part.material
    if solute.mass is None or not published or (material is not None and any(inci_key(n) == "aqua" for n in material.constituents)):
        return 0.0
    beyond = solute.mass.grams - float(published)
    waters = round(beyond / WATER_KG / 1000)
    if waters < 1 or abs(beyond - waters * WATER_KG * 1000) > ROUNDED_MASS:
        return 0.0
    return float(_least(solute.percent)) * beyond / solute.mass.grams


def _sorted(solutes: Sequence[Solute]) -> tuple[list[Counted], list[str]]:
    """Those that are counted, and the names with reasons of those that are not; what does not dissolve is in neither."""
    counted, not_counted = [], []
    for solute in solutes:
        found = _constants_or_reason(solute)
        if isinstance(found, str):
            if found:
                not_counted.append(f"{solute.inci}: {found}")
        else:
            counted.append(Counted(solute, found))
    return counted, not_counted


def _constants_or_reason(solute: Solute) -> Constants | str:
    """The constants to count with; else why it is not counted, "" for what does not dissolve."""
    inci, substance, material = solute.inci, solute.substance, solute.part.material
    constants = constants_of(inci)
    if constants is not None:
        return constants if solute.mass else "no molar mass in its record"
    functions = substance.functions if substance else material.functions if material else ()
    if any(f in GATHERS for f in functions) or (substance and substance.charge == "cationic"):
        return "it gathers in big particles, of which there are few"
    if dissolves_little(inci) or any(f in OILY for f in functions) or oil_named(inci) or is_fixed(inci) or is_perfume(inci):
        return ""
    if solute.mass is not None:
        return ideal(inci)
    if material is not None and not any(inci_key(name) == inci_key(inci) for name in material.composition or {}):
        return ""  # inside an ingredient, which is named itself
    if substance and any(f in ("thickener", "film former") for f in functions):
        return "a polymer, of few and big molecules"
    return "no molar mass is known"


def _beyond(counted: Sequence[Counted], water: float, nominal: Activity) -> str:
    """Why no figure is given for this solution, in words; "" when one is."""
    percents: dict[str, float] = {}
    for solute, constants in counted:
        percents[constants.inci] = percents.get(constants.inci, 0.0) + float(_least(solute.percent))
    for term in nominal.terms:
        c = term.constants
        if isinstance(c, Salt):
            if term.molality > c.most:
                return f"{c.inci} at {term.molality:.3g} mol per kg of water: its figures end, or it stops dissolving, at {c.most:g}"
        elif c.most is not None and (share := 100 * percents[c.inci] / (percents[c.inci] + water)) > c.most:
            return f"{c.inci} makes {share:.3g} % of what it and the water weigh: its constant holds up to {c.most:g} %"
    dissolved_share = 100 * sum(percents.values()) / (sum(percents.values()) + water)
    if dissolved_share > MOST_DISSOLVED:
        return f"dissolved substances make {dissolved_share:.3g} % of what they and the water weigh: the models hold up to {MOST_DISSOLVED:g} %"
    if nominal.spread > WIDEST:
        most = max(nominal.terms, key=lambda t: t.influence).constants.inci
        return f"the constants leave {nominal.spread:.2g} to either side of it, above all that of {most}: too wide to say anything"
    return ""


def workings(reading: Reading) -> tuple[Step, ...]:
    """The arithmetic of `estimate`, row by row; of a plan without a figure, as far as it goes and why it stops."""
    worked = _worked(reading)
    nominal = worked.nominal
    if nominal is None:
        return (Step("no figure", result=worked.declined),)
    dry = _middle(worked.water)
    water = dry + worked.crystal
    steps = [Step("water in 100 g", result=f"{dry:.4g} g", source="compositions in the records")]
    if worked.crystal:
        steps.append(Step("with the water in crystals", f"{dry:.4g} + {worked.crystal:.4g}", f"{water:.4g} g"))
    for solute, constants in worked.counted:
        assert solute.mass is not None
        percent = float(_least(solute.percent))
        steps.append(
            Step(
                f"{constants.inci} from {solute.part.words}",
                f"{percent:.4g} g / {solute.mass.grams:.5g} g/mol / {water:.4g} g * 1000",
                f"{solute.molality(water, percent):.4f} mol/kg",
                solute.mass.source,
            )
        )
    steps += _steps_of_molecules(nominal) + _steps_of_salts(nominal)
    steps.append(Step("water activity", f"exp({nominal.molecules:.5f} + {nominal.salts:.5f})", f"{nominal.value:.{DECIMALS}f}", ROSS.words))
    steps.append(
        Step(
            "band",
            f"constants and rules {nominal.spread:.4f}, the equations {MODEL:g} * (1 - {nominal.value:.4f}), and the shares",
            f"{worked.low:.{DECIMALS}f} to {worked.high:.{DECIMALS}f}",
        )
    )
    return tuple(steps)


def _steps_of_molecules(nominal: Activity) -> list[Step]:
    terms = [(t, t.constants) for t in nominal.terms if isinstance(t.constants, Molecule)]
    if not terms:
        return []
    total = sum(t.molality for t, _ in terms)
    steps = [Step("mole fraction of water, x_w", f"55.51 / (55.51 + {total:.4f})", f"{nominal.water:.5f}")]
    for t, c in terms:
        raises = ", raises a_w" if c.k < 0 else ""
        of_k = f"; K may be out by {c.spread:g}, which is {t.influence:.4f} of a_w"
        root = f"√{abs(c.k):g} * {t.molality:.4f} / (55.51 + {total:.4f})"
        steps.append(Step(f"√K x of {c.inci}{raises}", root, f"{math.sqrt(abs(c.k)) * t.part:.5f}", c.source.words + of_k))
    if nominal.push:
        what = "natural logarithm by the molecules, those of negative K summed by themselves"
        sums = f"ln {nominal.water:.5f} - {nominal.pull:.5f}² + {nominal.push:.5f}²"
    else:
        what, sums = "natural logarithm by the molecules", f"ln {nominal.water:.5f} - {nominal.pull:.5f}²"
    return [*steps, Step(what, sums, f"{nominal.molecules:.5f}", NORRISH_SOURCE.words)]


def _steps_of_salts(nominal: Activity) -> list[Step]:
    terms = [(t, t.constants) for t in nominal.terms if isinstance(t.constants, Salt)]
    if not terms:
        return []
    steps = [
        Step(
            "ionic strength I of the salts",
            " + ".join(f"{c.strength:g} * {t.molality:.4f}" for t, c in terms),
            f"{nominal.strength:.4f} mol/kg",
            MIXED_SALTS.words if len(terms) > 1 else "",
        )
    ]
    for t, c in terms:
        strength = used_strength(c, nominal.strength)
        m, (b0, b1, b2) = strength / c.strength, c.beta
        (zc, za), (nc, na) = c.charges, c.numbers
        b = f"({b0:.5g} + {b1:.5g} exp(-{1.4 if b2 else 2:g} √I){f' - {-b2:g} exp(-12 √I)' if b2 else ''})"
        debye = f"1 - {zc * za * A_PHI:.3f} √I / (1 + 1.2 √I)"
        virial = f"{m:.4f} * {2 * nc * na / c.ions:.4g} * {b} + {m:.4f}² * {2 * (nc * na) ** 1.5 / c.ions * c.c:.4g}"
        of = f" of {c.like}" if c.like else ""
        source = (
            f"{PITZER_EQUATION.words}; parameters{of}: {c.source.words}; φ may be out by {c.spread:g}, which is {t.influence:.4f} of a_w"
        )
        steps.append(Step(f"osmotic coefficient φ of {c.inci} at I = {strength:.4f}", f"{debye} + {virial}", f"{t.part:.4f}", source))
    return [
        *steps,
        Step(
            "natural logarithm by the salts",
            f"-{WATER_KG:g} * (" + " + ".join(f"{c.ions} * {t.molality:.4f} * {t.part:.4f}" for t, c in terms) + ")",
            f"{nominal.salts:.5f}",
        ),
    ]
