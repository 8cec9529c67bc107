"""All properties that are estimated of a product, in the order in which they are shown: one list behind sheet, diff, workings and docs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import fixed
from fvc.batch import parse_batch
from fvc.material import Share
from fvc.reading import Reading
from fvc.science import emulsifying, filling, preservation, solubilising, water_activity
from fvc.science.estimate import Estimate, Step, rounded
from fvc.science.metering import Anchored, anchored
from fvc.science.own import NOTHING_SEEN, Own
from fvc.science.ph import UNBUFFERED, as_estimate, model
from fvc.science.ph_workings import workings as ph_workings
from fvc.science.preservation import AtPh, Working


class Property(NamedTuple):
    """One kind of estimate. key: the word to ask for it by; of: its figures, mostly one; workings: its arithmetic.

    printed: how the names of its figures begin that are printed besides the title.
    """

    key: str
    title: str
    of: Callable[[Reading, Own], tuple[Estimate, ...]]
    workings: Callable[[Reading, Own], tuple[Step, ...]]
    printed: tuple[str, ...] = ()

    def answers(self, word: str) -> bool:
        """True when a word, as typed, means this property: its key, its title, or what is printed of it."""
        plain = " ".join(word.replace("_", " ").replace("-", " ").casefold().split())
        return plain in (self.key.replace("-", " "), self.title.casefold()) or plain.startswith(self.printed)


def properties_of(reading: Reading, own: Own = NOTHING_SEEN) -> tuple[Estimate, ...]:
    """Every property of a product, those that were declined with the reason. Not asked here: whether it is good, safe or keeps."""
    return tuple(estimate for each in PROPERTIES for estimate in each.of(reading, own))


def ph_of(reading: Reading, own: Own = NOTHING_SEEN) -> Estimate:
    """The pH: from the last reading where there is one, else by the model alone."""
    moved = moved_of(reading, own)
    return moved.estimate if moved else as_estimate(model(reading))


def moved_of(reading: Reading, own: Own) -> Anchored | None:
    """The pH as it moves from a reading; None without one."""
    return anchored(model(reading), own.anchor)


def spec_ph(reading: Reading) -> AtPh | None:
    """The pH of the spec as a range."""
    given = reading.plan.spec.get("ph")
    return AtPh(None, given[0].value, given[1].value, "by the spec") if isinstance(given, tuple) else None


def at_ph(reading: Reading, own: Own = NOTHING_SEEN) -> AtPh | None:
    """The pH that preservatives are judged at: from a reading, else by the model, else by the spec; None where nothing tells it.

    Without a value by the spec, and where nothing holds the pH and it leans to where the spec is not.
    """
    moved, estimate = moved_of(reading, own), ph_of(reading, own)
    if estimate.value is None or estimate.low is None or estimate.high is None:
        spec, lean = spec_ph(reading), None if model(reading).found.open else leaning(reading, own)
        return lean if lean and not (spec and lean.low <= spec.high and spec.low <= lean.high) else spec
    if moved is None:
        return AtPh(estimate.value, estimate.low, estimate.high, "estimated")
    # of the product itself, where it was read in a dilution
    value, low, high = (rounded(moved.neat + by, estimate.decimals) for by in (0.0, moved.down, moved.up))
    return AtPh(value, low, high, f"from the reading of {moved.anchor.trial}")


def leaning(reading: Reading, own: Own = NOTHING_SEEN) -> AtPh | None:
    """Where a product may stand of which nothing holds the pH, with the carbon dioxide of the air in it; None for any other.

    By the balance of charges 0.4 % of sodium benzoate comes to 8.3 by itself and to 6.9 with carbon dioxide, 0.1 % to 8.0 and 6.6.
    """
    found = model(reading)
    if found.declined != UNBUFFERED or found.balance is None or ph_of(reading, own).value is not None:
        return None
    low, high = ("3", "6") if found.balance.ph < 6 else ("6.5", "11") if found.balance.ph > 8 else ("5.5", "8")
    return AtPh(None, Fraction(low), Fraction(high), found.instead)


def preservatives_of(reading: Reading, own: Own = NOTHING_SEEN) -> tuple[Working, ...]:
    """The preservatives at that pH."""
    return preservation.working(reading, at_ph(reading, own))


BUFFER_SURE_TO = 0.06  # by how much a titration shows more, since the base raises the ionic strength too (tests, against PHREEQC)


def _ph(reading: Reading, own: Own) -> tuple[Estimate, ...]:
    holds = model(reading).buffer_value
    if holds is None:
        return (ph_of(reading, own),)
    value, low, high = (rounded(holds * 1000 * part, 1) for part in (1, 1 - BUFFER_SURE_TO, 1 + BUFFER_SURE_TO))
    return ph_of(reading, own), Estimate(property="buffer value", unit="mmol/kg per pH", decimals=1, value=value, low=low, high=high)


def _preservation(reading: Reading, own: Own) -> tuple[Estimate, ...]:
    out = []
    at, notes = at_ph(reading, own), preservation.notes(reading)
    ranged = f"the pH is known only as a range, {at.how}" if at and at.value is None else ""
    for each in preservation.working(reading, at):
        name = each.name.lower() if each.pka else each.name
        vague = "how much of it there is, is not known" if each.percent.nominal is None else ""
        if each.undissociated is not None and each.concentration is not None:
            out.append(_of_share(f"undissociated share of {name}", "% of it", each.undissociated, ranged, notes))
            out.append(_of_share(f"undissociated {name}", "%", each.concentration, "; ".join(filter(None, (vague, ranged))), notes))
        elif each.pka is not None:
            out.append(
                Estimate(property=f"undissociated share of {name}", unit="% of it", declined=each.not_counted or "its pH is not known")
            )
    return tuple(out)


def _of_share(name: str, unit: str, share: Share, why: str, notes: tuple[str, ...]) -> Estimate:
    """A share as an estimate; no figure is made up where there is none, and then `why` says so."""
    decimals = 1 if unit == "% of it" else 3
    low, high = (rounded(float(each), decimals) for each in (share.low, share.high))
    if share.nominal is None:
        between = f"{fixed(low, decimals)} to {fixed(high, decimals)} {unit}"
        return Estimate(property=name, unit=unit, decimals=decimals, declined=why, instead=between, notes=notes)
    return Estimate(
        property=name, unit=unit, decimals=decimals, value=rounded(float(share.nominal), decimals), low=low, high=high, notes=notes
    )


def _alone(of: Callable[[Reading], Estimate]) -> Callable[[Reading, Own], tuple[Estimate, ...]]:
    return lambda reading, own: (of(reading),)


def _plain(of: Callable[[Reading], tuple[Step, ...]]) -> Callable[[Reading, Own], tuple[Step, ...]]:
    return lambda reading, own: of(reading)


def _preservation_workings(reading: Reading, own: Own) -> tuple[Step, ...]:
    """At the pH that is estimated, then once more at the ends of the spec."""
    at, spec = at_ph(reading, own), spec_ph(reading)
    steps = preservation.workings(reading, at)
    if spec is None or at is None or at == spec:
        return steps
    return (*steps, *preservation.at_ph(reading, spec))


def _filling(reading: Reading, own: Own) -> tuple[Estimate, ...]:
    """The density, and the volume of the plan's batch where that is in grams."""
    found, grams = filling.density(reading), parse_batch(reading.plan.batch).grams
    if grams is None or found.value is None:
        return (found,)
    return found, replace(filling.volume(found, grams), property=filling.BATCH)


def _filling_workings(reading: Reading, own: Own) -> tuple[Step, ...]:
    found, *batch = _filling(reading, own)
    bottle = filling.weight(found, Fraction(100))
    more = () if bottle.value is None else (Step("a bottle of 100 mL", "100 mL x density", f"{float(bottle.value):.1f} g"),)
    grams = f"{reading.plan.batch} / density"
    whole = [Step(each.property, grams, f"{fixed(each.value, each.decimals)} {each.unit}") for each in batch if each.value is not None]
    return (*filling.density_workings(reading), *more, *whole)


PROPERTIES: tuple[Property, ...] = (
    Property("ph", "pH", _ph, lambda reading, own: ph_workings(model(reading), moved_of(reading, own)), ("buffer value", "ionic strength")),
    Property("preservation", "preservation", _preservation, _preservation_workings, ("undissociated", "preservative")),
    Property("water-activity", "water activity", _alone(water_activity.estimate), _plain(water_activity.workings)),
    Property(
        "solubiliser",
        "solubiliser to oil",
        lambda reading, own: (solubilising.estimate(reading, own.seen),),
        _plain(solubilising.workings),
    ),
    Property("hlb", "HLB of the emulsifiers", _alone(emulsifying.blend), _plain(emulsifying.blend_workings)),
    Property("required-hlb", "HLB that the oil asks for", _alone(emulsifying.required), _plain(emulsifying.required_workings)),
    Property("density", "density", _filling, _filling_workings),
    Property("solids", "solids", _alone(filling.solids), _plain(filling.solids_workings)),
)
KEYS = tuple(each.key for each in PROPERTIES)
