"""All properties that are estimated of a product, in the order in which they are shown: one list behind sheet, diff, workings and docs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from fvc.material import Share
from fvc.reading import Reading
from fvc.science import emulsifying, filling, preservation, solubilising, water_activity
from fvc.science.estimate import Estimate, Step, rounded
from fvc.science.metering import Anchored, Metered, anchored
from fvc.science.ph import PhModel, as_estimate, model
from fvc.science.ph_workings import workings as ph_workings
from fvc.science.preservation import AtPh, Working


@dataclass(frozen=True, kw_only=True, eq=False)
class Own:
    """What the maker's own batches tell of a product: the reading that its pH starts from, and looks at clarity."""

    anchor: Metered | None = None
    seen: tuple[solubilising.Seen, ...] = ()


NOTHING_SEEN = Own()


class Property(NamedTuple):
    """One kind of estimate. key: the word to ask for it by; of: its figures, mostly one; workings: its arithmetic."""

    key: str
    title: str
    of: Callable[[Reading, Own], tuple[Estimate, ...]]
    workings: Callable[[Reading, Own], tuple[Step, ...]]


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
    """The pH that preservatives are judged at: from a reading, else by the model, else by the spec; None where nothing tells it."""
    estimate = ph_of(reading, own)
    if estimate.value is None or estimate.low is None or estimate.high is None:
        return spec_ph(reading)
    how = f"from the reading of {own.anchor.trial}" if own.anchor else "estimated"
    return AtPh(estimate.value, estimate.low, estimate.high, how)


def preservatives_of(reading: Reading, own: Own = NOTHING_SEEN) -> tuple[Working, ...]:
    """The preservatives at that pH."""
    return preservation.working(reading, at_ph(reading, own))


BUFFER_SURE_TO = 0.06  # by how much a titration shows more, since the base raises the ionic strength too (tests, against PHREEQC)


def _ph(reading: Reading, own: Own) -> tuple[Estimate, ...]:
    found: PhModel = model(reading)
    balance = found.balance
    if balance is None or (found.declined and not found.instead):
        return (ph_of(reading, own),)
    value, low, high = (rounded(balance.buffer_value * 1000 * part, 1) for part in (1, 1 - BUFFER_SURE_TO, 1 + BUFFER_SURE_TO))
    return ph_of(reading, own), Estimate(property="buffer value", unit="mmol/kg per pH", decimals=1, value=value, low=low, high=high)


def _preservation(reading: Reading, own: Own) -> tuple[Estimate, ...]:
    out = []
    notes = preservation.notes(reading)
    for each in preservatives_of(reading, own):
        name = each.name.lower() if each.pka else each.name
        for what, unit, share in (
            (f"undissociated share of {name}", "% of it", each.undissociated),
            (f"undissociated {name}", "%", each.concentration),
        ):
            if share is not None:
                out.append(_of_share(what, unit, share, notes))
        if each.pka is not None and each.undissociated is None:
            out.append(
                Estimate(property=f"undissociated share of {name}", unit="% of it", declined=each.not_counted or "its pH is not known")
            )
    return tuple(out)


def _of_share(name: str, unit: str, share: Share, notes: Sequence[str]) -> Estimate:
    decimals = 1 if unit == "% of it" else 3
    middle = share.nominal if share.nominal is not None else (share.low + share.high) / 2
    value, low, high = (rounded(float(each), decimals) for each in (middle, share.low, share.high))
    return Estimate(property=name, unit=unit, decimals=decimals, value=value, low=low, high=high, notes=tuple(notes))


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


def _filling_workings(reading: Reading, own: Own) -> tuple[Step, ...]:
    found = filling.density(reading)
    bottle = filling.weight(found, Fraction(100))
    more = () if bottle.value is None else (Step("a bottle of 100 mL", "100 mL x density", f"{float(bottle.value):.1f} g"),)
    return (*filling.density_workings(reading), *more)


PROPERTIES: tuple[Property, ...] = (
    Property("ph", "pH", _ph, lambda reading, own: ph_workings(model(reading), moved_of(reading, own))),
    Property("preservation", "preservation", _preservation, _preservation_workings),
    Property("water-activity", "water activity", _alone(water_activity.estimate), _plain(water_activity.workings)),
    Property(
        "solubiliser",
        "solubiliser to oil",
        lambda reading, own: (solubilising.estimate(reading, own.seen),),
        _plain(solubilising.workings),
    ),
    Property("hlb", "HLB of the emulsifiers", _alone(emulsifying.blend), _plain(emulsifying.blend_workings)),
    Property("required-hlb", "HLB that the oil asks for", _alone(emulsifying.required), _plain(emulsifying.required_workings)),
    Property("density", "density", _alone(filling.density), _filling_workings),
    Property("solids", "solids", _alone(filling.solids), _plain(filling.solids_workings)),
)
KEYS = tuple(each.key for each in PROPERTIES)
