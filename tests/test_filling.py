"""Density, volume and solids: published tables of mixtures, the laws of ideal mixing, and plans from files."""

import time
from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.science.filling import density, density_workings, solids, solids_workings, volume, weight
from fvc.science.own import NOTHING_SEEN
from fvc.science.properties import PROPERTIES, properties_of
from tests.readings import reading

SHELF = {
    "water": 'function = "solvent"\ndensity = 0.9982\n[composition]\n"Aqua" = 100\n',
    "tap": 'function = "solvent"\n[composition]\n"Aqua" = 100\n',
    "glycerin": 'function = "humectant"\ndensity = 1.2611\n[composition]\n"Glycerin" = 100\n',
    "ethanol": 'function = "solvent"\ndensity = 0.7893\n[composition]\n"Alcohol" = 100\n',
    "oil": 'function = "emollient"\ndensity = 0.92\n[composition]\n"Helianthus Annuus Seed Oil" = 100\n',
    "lactate": 'function = "humectant"\ndensity = 1.33\n[composition]\n"Sodium Lactate" = { nominal = 60, low = 58, high = 62 }\n"Aqua" = "balance"\n',
    "salt": 'function = "thickener"\n[composition]\n"Sodium Chloride" = 100\n',
    "gum": 'function = "thickener"\n[composition]\n"Xanthan Gum" = [90, 94]\n"Aqua" = "balance"\n',
    "secret": 'function = "active"\n',
    "neroli-oil": 'function = "essential oil"\ndensity = 0.871\n[composition]\n"Citrus Aurantium Amara Flower Oil" = 100\n',
    "flower-water": 'function = "hydrosol"\n[composition]\n"Citrus Aurantium Amara Flower Water" = 100\n[constituents]\n"Aqua" = [99, 99.9]\n',
    "extract": 'function = "extract"\n[composition]\n"Glycerin" = [48, 52]\n"Calendula Officinalis Flower Extract" = [1, 3]\n"Alcohol" = 5\n"Aqua" = "balance"\n',
}  # fmt: skip


def product(first: str = "water", **percents: object):
    lines = "".join(f"{id.replace('_', '-')} = {percent}\n" for id, percent in percents.items())
    return reading(f'[phase.A.percent]\n{first} = "balance"\n{lines}', SHELF)


# --- published tables ---------------------------------------------------------------------------------

# CRC Handbook of Chemistry and Physics, 102nd edition, concentrative properties of aqueous solutions, g/mL at 20 °C
GLYCEROL = [(2, "1.0028"), (5, "1.0097"), (10, "1.0215"), (20, "1.0459"), (40, "1.0984"), (60, "1.1530"), (80, "1.2085"), (96, "1.2508")]
ETHANOL = [(8, "0.9847"), (10, "0.9819"), (15, "0.9752"), (20, "0.9687")]
SODIUM_CHLORIDE = [(1, "1.0053"), (3, "1.0196"), (5, "1.0340")]  # the same, from memory


@pytest.mark.parametrize(("percent", "published"), GLYCEROL)
def test_glycerol_and_water(percent, published):
    found = density(product(glycerin=percent))
    assert found.low <= F(published) <= found.high
    assert float(found.value) == pytest.approx(float(published), rel=0.012)  # denser than ideal by 1.1 % at most: Volk and Kähler 2018
    assert found.high - found.low < F("0.035")


@pytest.mark.parametrize(("percent", "published"), ETHANOL)
def test_ethanol_and_water(percent, published):
    found = density(product(ethanol=percent))
    assert found.low <= F(published) <= found.high
    assert found.value < F(published), "it is denser than by ideal mixing"


@pytest.mark.parametrize(("percent", "published"), SODIUM_CHLORIDE)
def test_a_salt_without_density_is_in_the_band(percent, published):
    found = density(product(salt=percent))
    assert found.low <= F(published) <= found.high
    assert (found.not_counted, found.notes[0]) == ((), f"salt {percent} %: no density in its record, counts as 1 to 5.6 g/mL")


def test_much_alcohol_is_declined_with_the_reason():
    found = density(product(ethanol=60))  # ideal mixing gives 0.861, the table 0.8911
    assert found.value is None
    assert found.declined == (
        "60 % alcohol: with water it takes up to 3.7 % less room than both apart (CRC Handbook of Chemistry and Physics, 102nd edition, "
        "concentrative properties of aqueous solutions, 20 °C (2021)), so weigh a known volume of it"
    )


# --- plans ----------------------------------------------------------------------------------------------


def test_the_density_row_by_row():
    plan = product(glycerin=10, oil=5)
    found = density(plan)
    assert (found.value, found.low, found.high) == (F("1.015"), F("1.013"), F("1.024"))
    assert [(s.what, s.sum, s.result) for s in density_workings(plan)][:5] == [
        ("volume of water in 100 g", "85 / 0.9982", "85.1533 mL"),
        ("volume of glycerin in 100 g", "10 / 1.261", "7.9296 mL"),
        ("volume of oil in 100 g", "5 / 0.92", "5.4348 mL"),
        ("volume of 100 g", "85.1533 + 7.9296 + 5.4348", "98.5176 mL"),
        ("density", "100 / 98.5176", "1.0150 g/mL"),
    ]


def test_plain_water_without_density_counts_with_that_of_water():
    plan = product("tap", glycerin=1)
    assert (density(plan).not_counted, density(plan).value) == ((), F("0.999"))
    assert "water at 25 °C, Tanaka and others" in density_workings(plan)[0].source


@pytest.mark.parametrize(
    ("plan", "why", "left"),
    [
        (
            product(gum=3, secret="2.5"),
            "5.5 % has no density in its record, more than 5 %",
            ("gum 3 %: no density in its record", "secret 2.5 %: no density in its record"),
        ),
        (reading("[phase.A.percent]\nwater = 90\nglycerin = 5\n", SHELF), "the lines do not total 100", ()),
    ],
)
def test_what_gives_no_density(plan, why, left):
    found = density(plan)
    assert (found.value, found.declined, found.not_counted) == (None, why, left)
    assert [e.property for e in properties_of(plan) if e.unit in ("g/mL", "mL")] == ["density"]
    assert density_workings(plan) == ()
    assert volume(found, F(100)).declined == f"its density is not known: {why}"
    assert weight(found, F(100)).declined == f"its density is not known: {why}"


def test_unknown_ones_widen_the_band_and_say_with_what():
    found = density(product(gum=1, secret=1))
    assert found.notes[:2] == (
        "gum 1 %: no density in its record, counts as 0.8 to 1.6 g/mL",
        "secret 1 %: no density in its record, counts as 0.8 to 5.6 g/mL",
    )
    assert found.not_counted == ()  # once is enough
    assert found.high - found.low > F("0.01")


def test_volume_and_weight_for_filling():
    found = density(product(glycerin=10))
    assert (found.low, found.value, found.high) == (F("1.017"), F("1.019"), F("1.029"))  # 100 / (90 / 0.9982 + 10 / 1.2611) = 1.0195
    filled = volume(found, F(200))
    assert (filled.property, filled.unit, filled.low, filled.value, filled.high) == ("volume", "mL", F("194.4"), F("196.3"), F("196.7"))
    weighed = weight(found, F(30))
    assert (weighed.property, weighed.unit, weighed.low, weighed.value, weighed.high) == ("weight", "g", F("30.5"), F("30.6"), F("30.9"))


@pytest.mark.parametrize(
    ("batch", "rows"),
    [
        ("200 g", [("volume of the batch", "mL", F("194.4"), F("196.3"), F("196.7"))]),
        ("0.2 kg", [("volume of the batch", "mL", F("194.4"), F("196.3"), F("196.7"))]),
        ("6 x 30 mL", []),  # that is the volume
        ("glycerin 20 g", []),
    ],
)
def test_the_volume_of_the_batch_of_the_plan(batch, rows):
    plan = product(glycerin=10)
    plan = replace(plan, plan=replace(plan.plan, batch=batch))
    found = properties_of(plan)
    assert [(e.property, e.unit, e.low, e.value, e.high) for e in found if e.property.startswith("volume")] == rows
    steps = next(p for p in PROPERTIES if p.key == "density").workings(plan, NOTHING_SEEN)
    assert [(s.sum, s.result) for s in steps if s.what.startswith("volume of the")] == [(f"{batch} / density", "196.3 mL") for _ in rows]


# --- solids ---------------------------------------------------------------------------------------------


def test_solids_row_by_row():
    plan = product(glycerin=5, lactate=2, neroli_oil="0.2", flower_water=20, ethanol=3, extract=2)
    found = solids(plan)
    assert (found.value, found.low, found.high, found.unit) == (F("7.2"), F("7.1"), F("7.3"), "%")
    rows = [(s.what, s.sum, s.result) for s in solids_workings(plan)]
    assert ("solids of lactate", "2 x 60 / 100", "1.2 %") in rows
    assert ("solids of flower-water", "20 x 0 / 100", "0 %") in rows
    assert ("solids of extract", "2 x 52 / 100", "1.04 %") in rows
    assert rows[-1] == ("solids", "5 + 1.2 + 1.04", "7.2 %")


def test_oil_counts_as_solids():
    assert solids(product(oil=20)).value == 20


def test_undeclared_matter_leaves_the_solids_open():
    found = solids(product(secret=4, glycerin=3))
    assert (found.value, found.low, found.high) == (5, 3, 7)
    assert found.not_counted == ("secret 4 %: its record does not declare its water and what is volatile",)
    found = solids(product(secret=10, glycerin=3))
    assert (found.value, found.declined, found.instead) == (None, "10 points are not declared", "between 3 and 13 %")


# --- laws -------------------------------------------------------------------------------------------------

lines = st.dictionaries(st.sampled_from([n for n in SHELF if n != "water"]), st.integers(1, 900).map(lambda n: F(n, 100)), max_size=6)


@given(lines)
def test_the_band_of_any_plan_holds_its_value(rows):
    plan = product(**{id.replace("-", "_"): float(p) for id, p in rows.items()})
    for found in (density(plan), solids(plan), volume(density(plan), F(50)), weight(density(plan), F(50))):
        assert (found.value is None) == bool(found.declined)
        if found.value is not None:
            assert found.low <= found.value <= found.high


@given(lines.filter(lambda rows: not {"gum", "salt", "secret", "flower-water", "extract"} & set(rows)))
def test_the_density_lies_between_the_lightest_and_the_heaviest_part(rows):
    plan = product(**{id.replace("-", "_"): float(p) for id, p in rows.items()})
    each = [m.density or F("0.997") for m in plan.materials.values()]
    found = density(plan).value
    assert found is not None
    assert min(each) - F("0.0005") <= found <= max(each) + F("0.0005")


@given(lines)
def test_solids_water_and_volatile_matter_leave_no_less_than_nothing(rows):
    plan = product(**{id.replace("-", "_"): float(p) for id, p in rows.items()})
    found = solids(plan)
    if found.value is not None:
        assert 0 <= found.low <= found.high <= 100
        water = plan.closure.balance.counted
        assert found.high <= 100 - water + F("0.05")


def test_it_takes_well_under_two_milliseconds_for_a_long_plan():
    plan = product(**{n.replace("-", "_"): 1 for n in SHELF if n not in ("water", "secret")})
    density(plan)
    best = []
    for copy in [replace(plan) for _ in range(20)]:
        start = time.perf_counter()
        density(copy), solids(copy)
        best.append(time.perf_counter() - start)
    assert min(best) < 0.002
