"""Water activity against published figures, the laws that any such figure keeps, and plans from files."""

import math
import time
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st
from phreeqpython import PhreeqPython

from fvc.files.materials import read_material
from fvc.files.plans import read_plan
from fvc.formula import close
from fvc.material import Material
from fvc.reading import Reading, Side
from fvc.reference.osmotic import IDEAL_SOURCE, Molecule, Salt, constants_of, dissolves_little
from fvc.reference.substances import SUBSTANCES
from fvc.science.water_activity import GATHERS, activity, estimate, osmotic_coefficient, workings

MASS = {s.inci: float(s.molar_mass) for s in SUBSTANCES if s.molar_mass}


def by_weight(**percents: float) -> float:
    """a_w of a solution of these percents by weight, the rest water."""
    water = 100 - sum(percents.values())
    named = {name.replace("_", " "): percent for name, percent in percents.items()}
    return activity({name: percent / MASS[name] / water * 1000 for name, percent in named.items()}).value


# --- published figures: molecules ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("percent", "published", "within"),
    [
        (10, 0.978, 0.001),  # the task's facts, after published tables
        (20, 0.951, 0.001),
        (50, 0.81, 0.005),
        # Forney & Brandl 1992, after Braun & Braun 1958, from memory: specific gravity = (19.9 - 0.189 RH)^0.0806, with the
        # specific gravities of the CRC Handbook at 20 °C, from memory: 1.0221, 1.0727, 1.0993, 1.1538, 1.1808
        (30, 0.923, 0.01),
        (40, 0.883, 0.015),
        (60, 0.736, 0.015),
        (70, 0.637, 0.03),
    ],
)
def test_glycerol_solutions(percent, published, within):
    assert by_weight(Glycerin=percent) == pytest.approx(published, abs=within)


@pytest.mark.parametrize(
    ("molality", "osmotic"),
    # Robinson & Stokes, Electrolyte Solutions (1959), appendix, from memory; the first agrees with the 0.98 for one molal sugar
    # of published teaching pages
    [(0.5, 1.041), (1.0, 1.0878), (2.0, 1.1884), (3.0, 1.2879), (4.0, 1.3742), (5.0, 1.4430), (6.0, 1.4988)],
)
def test_sucrose_solutions(molality, osmotic):
    published = math.exp(-0.018015 * molality * osmotic)
    percent = 100 * molality * 342.3 / (1000 + molality * 342.3)
    assert activity({"Sucrose": molality}).value == pytest.approx(published, abs=0.001 if percent < 50 else 0.003)


@pytest.mark.parametrize(
    ("inci", "grams_of_water", "published"),
    # Sloan & Labuza 1975, as a page quotes their table: g of water held by 100 g of the amorphous substance
    [("Sorbitol", 110, 0.90), ("Sorbitol", 55, 0.80), ("Sorbitol", 35, 0.70), ("Sucrose", 65, 0.90)],
)
def test_sorbitol_and_sucrose_by_the_water_they_hold(inci, grams_of_water, published):
    assert activity({inci: 100 / MASS[inci] / grams_of_water * 1000}).value == pytest.approx(published, abs=0.02)


@pytest.mark.parametrize(("molality", "osmotic"), [(1.0, 0.960), (2.0, 0.928), (4.0, 0.881)])  # Ellerton & Dunlop 1966, from memory
def test_urea_raises_what_raoult_gives(molality, osmotic):
    found = activity({"Urea": molality}).value
    assert found == pytest.approx(math.exp(-0.018015 * molality * osmotic), abs=0.002)
    assert found > 1 / (1 + 0.018015 * molality)


def test_a_constant_of_norrish_gives_his_equation():
    # a_w = x_w exp(-K x²) with K 1.66 for xylitol, PMC2836749 table 3; 30 % of it by hand
    moles, water = 30 / 152.15, 70 / 18.015
    x = moles / (moles + water)
    assert by_weight(Xylitol=30) == pytest.approx((1 - x) * math.exp(-1.66 * x * x), abs=1e-6)


def test_two_molecules_add_their_roots():
    # ln a_w = ln x_w - (√1.16 x1 + √1.65 x2)²; 20 % glycerol and 10 % sorbitol by hand
    one, two, water = 20 / 92.09, 10 / 182.17, 70 / 18.015
    n = one + two + water
    by_hand = water / n * math.exp(-((math.sqrt(1.16) * one / n + math.sqrt(1.65) * two / n) ** 2))
    assert by_weight(Glycerin=20, Sorbitol=10) == pytest.approx(by_hand, abs=1e-6)


# --- published figures: salts --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inci", "molality", "osmotic"),
    # Robinson & Stokes, Electrolyte Solutions (1959), appendix 8.10, from memory
    [
        *[("Sodium Chloride", *row) for row in ((0.1, 0.9324), (0.5, 0.9209), (1, 0.9355), (2, 0.9833), (3, 1.0453))],
        *[("Sodium Chloride", *row) for row in ((4, 1.1158), (5, 1.1916), (6, 1.2706))],
        *[("Potassium Chloride", *row) for row in ((0.1, 0.9266), (1, 0.8974), (2, 0.9124), (3, 0.9367), (4, 0.9647))],
    ],
)
def test_osmotic_coefficients_of_sodium_and_potassium_chloride(inci, molality, osmotic):
    assert osmotic_coefficient(constants_of(inci), molality) == pytest.approx(osmotic, abs=0.003)


@pytest.mark.parametrize(
    ("molality", "published", "within"),
    [
        (1, 0.9669, 0.0005),  # a published teaching page on water activity
        (6, 0.760, 0.001),  # Robinson & Stokes 1965, as the manual of a meter quotes them
        (6.144, 0.754, 0.002),  # saturated: 0.753 to 0.755, Greenspan, J. Res. NBS 81A, 1977
    ],
)
def test_sodium_chloride_solutions(molality, published, within):
    assert activity({"Sodium Chloride": molality}).value == pytest.approx(published, abs=within)


def test_saturated_potassium_chloride():
    # 0.843 (Greenspan 1977, 84 % in the CRC table after it), at 4.8 mol/kg
    assert activity({"Potassium Chloride": 4.8}).value == pytest.approx(0.843, abs=0.002)


PHREEQC_NAMES = {
    "Sodium Chloride": {"Na": 1, "Cl": 1},
    "Potassium Chloride": {"K": 1, "Cl": 1},
    "Magnesium Chloride": {"Mg": 1, "Cl": 2},
    "Calcium Chloride": {"Ca": 1, "Cl": 2},
    "Sodium Sulfate": {"Na": 2, "S(6)": 1},
    "Magnesium Sulfate": {"Mg": 1, "S(6)": 1},
}


@pytest.fixture(scope="module")
def by_phreeqc():
    """a_w by PHREEQC with its own set of Pitzer parameters, the interactions of unlike ions in it."""
    phreeqc = PhreeqPython(database="pitzer.dat").ip

    def solve(salts: dict[str, float]) -> float:
        elements: dict[str, float] = {}
        for name, molality in salts.items():
            for element, count in PHREEQC_NAMES[name].items():
                elements[element] = elements.get(element, 0) + count * molality
        lines = "".join(f" {element} {amount}\n" for element, amount in elements.items())
        phreeqc.run_string(f'SOLUTION 1\n units mol/kgw\n{lines}SELECTED_OUTPUT\n -reset false\nUSER_PUNCH\n 10 PUNCH ACT("H2O")\nEND\n')
        return phreeqc.get_selected_output_array()[-1][0]

    return solve


@pytest.mark.parametrize(
    "salts",
    [
        *[{name: m} for name in PHREEQC_NAMES for m in (0.1, 0.5, 1.0, 1.9)],
        {"Sodium Chloride": 6.1},
        {"Magnesium Chloride": 3},
        {"Magnesium Sulfate": 2.8},
        {"Sodium Chloride": 1, "Potassium Chloride": 1},
        {"Sodium Chloride": 2.1, "Potassium Chloride": 1.5},
        {"Sodium Chloride": 1, "Magnesium Sulfate": 1},
        {"Sodium Chloride": 0.5, "Magnesium Sulfate": 2},
        {"Sodium Chloride": 0.9, "Magnesium Chloride": 0.5},
        {"Sodium Chloride": 2, "Calcium Chloride": 1},
        {"Sodium Chloride": 1, "Sodium Sulfate": 0.5},
        {"Potassium Chloride": 1, "Magnesium Sulfate": 0.8},
    ],
    ids=str,
)
def test_salts_agree_with_phreeqc(by_phreeqc, salts):
    assert activity(salts).value == pytest.approx(by_phreeqc(salts), abs=0.0025)


def test_a_salt_beside_a_molecule_multiplies():
    # Ross 1975: each part at its own molality in all the water
    both = activity({"Glycerin": 2, "Sodium Chloride": 1}).value
    assert both == pytest.approx(activity({"Glycerin": 2}).value * activity({"Sodium Chloride": 1}).value, rel=1e-9)


# --- laws ----------------------------------------------------------------------------------------

TAKEN = sorted(s.inci for s in SUBSTANCES if constants_of(s.inci))
SOLUTIONS = st.dictionaries(st.sampled_from(TAKEN), st.floats(0.001, 1.5), max_size=6)


def test_pure_water_has_activity_1():
    assert activity({}).value == 1


@given(SOLUTIONS)
def test_activity_lies_between_0_and_1(solution):
    found = activity(solution)
    assert 0 < found.value <= 1
    assert found.spread >= 0


@given(SOLUTIONS, st.sampled_from(TAKEN), st.floats(0.01, 1))
def test_more_of_a_substance_lowers_it(solution, more, amount):
    raised = solution | {more: solution.get(more, 0) + amount}
    assert activity(raised).value < activity(solution).value


@given(SOLUTIONS)
def test_the_order_of_the_substances_does_not_matter(solution):
    assert activity(dict(reversed(solution.items()))).value == pytest.approx(activity(solution).value, rel=1e-12)


# --- the tables ----------------------------------------------------------------------------------


@pytest.mark.parametrize("substance", [s for s in SUBSTANCES if s.molar_mass and s.inci != "Aqua"], ids=lambda s: s.inci)
def test_every_substance_with_a_molar_mass_is_sorted_once(substance):
    gathers = any(f in GATHERS for f in substance.functions) or substance.charge == "cationic"
    assert constants_of(substance.inci) is None or not dissolves_little(substance.inci)
    assert constants_of(substance.inci) or dissolves_little(substance.inci) or gathers


@pytest.mark.parametrize("inci", TAKEN)
def test_constants_are_sound(inci):
    found = constants_of(inci)
    assert found.inci == inci
    assert found.source.title
    if isinstance(found, Salt):
        (zc, za), (nc, na) = found.charges, found.numbers
        assert zc * nc == za * na, "a salt has no charge"
        assert 0.3 < osmotic_coefficient(found, found.strength * found.most) < 3
    else:
        assert (found.k == 0) == (found.source is IDEAL_SOURCE)


def test_a_synonym_means_the_same():
    assert constants_of("glycerol") == constants_of("Glycerin")
    assert isinstance(constants_of("Glycerin"), Molecule)


# --- plans from files ----------------------------------------------------------------------------


def material(id: str, function: str, composition: str, extra: str = "") -> Material:
    text = f'format = 1\nfunction = ["{function}"]\n{extra}\n[composition]\n{composition}\n'
    parsed = read_material(text.encode(), f"materials/{id}.toml", id)
    assert parsed.value is not None, parsed.faults
    return parsed.value


RECORDS = {
    m.id: m
    for m in (
        material("water", "solvent", "Aqua = 100"),
        material("glycerin", "humectant", "Glycerin = 100"),
        material("glycerin-86", "humectant", "Glycerin = { nominal = 86, low = 84, high = 88 }\nAqua = 'balance'"),
        material("propanediol", "humectant", "Propanediol = 100"),
        material("sodium-citrate", "buffer", "'Sodium Citrate' = 100", 'name = "Trisodium citrate dihydrate"'),
        material("epsom-salt", "thickener", "'Magnesium Sulfate' = 100", 'name = "Magnesium sulfate heptahydrate"'),
        material("salt", "thickener", "'Sodium Chloride' = 100"),
        material("sodium-lactate-60", "humectant", "'Sodium Lactate' = 60\nAqua = 40"),
        material("citric-acid", "pH adjuster", "'Citric Acid' = 100"),
        material("alcohol", "solvent", "Alcohol = 100"),
        material("xanthan", "thickener", "'Xanthan Gum' = 100"),
        material("polysorbate", "solubiliser", "'Polysorbate 20' = 100"),
        material("lavender-oil", "essential oil", "'Lavandula Angustifolia Oil' = 100"),
        material("almond-oil", "emollient", "'Prunus Amygdalus Dulcis Oil' = 100"),
        material("rose-extract", "extract", "'Rosa Damascena Flower Extract' = 5\nGlycerin = 45\nAqua = 50"),
        material("mystery", "active", "'Panthenol' = 40"),
        material("novel-glycol", "humectant", "'Novel Glycol' = 100", "molar_mass = 90.1"),
    )
}


def reading(lines: str, records: dict[str, Material] = RECORDS) -> Reading:
    plan = read_plan(f"format = 1\n[phase.A.percent]\n{lines}\n".encode(), "formulas/mist.toml", "mist").value
    return Reading(
        plan=plan, closure=close(plan, {id: records[id].functions for id in plan.reached()}), materials=records, side=Side("mist")
    )


def test_a_mist_with_glycerin_propanediol_and_citrate():
    found = estimate(reading('water = "balance"\nglycerin = 3\npropanediol = 5\nsodium-citrate = 0.4'))
    # by hand: 91.6 g water and 0.049 g of the crystals; glycerin 0.3554, propanediol 0.7170, citrate 0.0148 mol/kg;
    # x_w 0.98104, less (√1.16 * 0.00628)²; the citrate takes 4 * 0.0148 * 0.79 * 0.018 = 0.0008
    assert found.value == F("0.980")
    assert found.low <= found.value <= found.high
    assert found.high - found.low < F("0.006")
    assert (found.declined, found.not_counted, found.unit) == ("", (), "")
    assert any("replaces no test" in note for note in found.notes)


def test_it_declines_where_much_may_be_water():
    found = estimate(reading('water = "balance"\nglycerin = 5\nmystery = 30'))
    assert found.declined.startswith("the share of water is not known: what mystery holds")


def test_what_is_not_counted_is_named_and_what_does_not_dissolve_is_not():
    found = estimate(
        reading(
            'water = "balance"\nglycerin = 5\nxanthan = 0.3\npolysorbate = 2\nlavender-oil = 0.2\nalmond-oil = 3\nrose-extract = 2\nmystery = 1'
        )
    )
    assert found.declined == ""  # a point of water more or less only widens the band
    assert found.not_counted == (
        "Xanthan Gum: a polymer, of few and big molecules",
        "Polysorbate 20: it gathers in big particles, of which there are few",
        "Rosa Damascena Flower Extract: no molar mass is known",
        "mystery: what its record does not declare",
    )


def test_a_range_in_a_record_widens_the_band():
    exact = estimate(reading('water = "balance"\nglycerin = 34.4'))
    ranged = estimate(reading('water = "balance"\nglycerin-86 = 40'))
    assert ranged.value == exact.value
    assert ranged.high - ranged.low > exact.high - exact.low


def test_the_water_in_the_crystals_of_a_salt_is_water():
    found = {step.what: step for step in workings(reading('water = "balance"\nepsom-salt = 20'))}
    assert found["with the water in crystals"].sum == "80 + 10.23"
    assert found["Magnesium Sulfate from epsom-salt"].result == "0.8993 mol/kg"  # 20 / 246.47 / 90.23 * 1000


@pytest.mark.parametrize(
    ("lines", "declined"),
    [
        ("almond-oil = 100", "no water: the equations hold for solutions in water, from 10 % of it"),
        ('citric-acid = 99\nwater = "balance"', "only 1 % water: the equations hold for solutions in water, from 10 % of it"),
        ('glycerin = 85\nwater = "balance"', "Glycerin makes 85 % of what it and the water weigh: its constant holds up to 70 %"),
        (
            'salt = 30\nwater = "balance"',
            "Sodium Chloride at 7.33 mol per kg of water: its figures end, or it stops dissolving, at 6.15",
        ),
        (
            'propanediol = 60\nwater = "balance"',
            "the constants leave 0.15 to either side of it, above all that of Propanediol: too wide to say anything",
        ),
        (
            'glycerin = 50\nsodium-lactate-60 = 20\npropanediol = 15\nwater = "balance"',
            "Sodium Lactate at 4.66 mol per kg of water: its figures end, or it stops dissolving, at 3.5",
        ),
    ],
)
def test_it_declines_with_the_reason(lines, declined):
    found = estimate(reading(lines))
    assert (found.declined, found.value, found.low, found.high) == (declined, None, None, None)
    assert [step.result for step in workings(reading(lines))] == [declined]


def test_a_substance_that_only_the_record_knows_counts_as_ideal_and_says_so():
    found = estimate(reading('water = "balance"\nnovel-glycol = 10'))
    assert found.value == F("0.978")  # 1 / (1 + 0.018015 * 10 / 90.1 / 90 * 1000) = 0.9783
    assert any("Novel Glycol" in note and "ideal" in note for note in found.notes)


def test_a_figure_from_memory_is_marked_with_its_influence():
    found = estimate(reading('water = "balance"\nalcohol = 15'))
    assert "the constant of Alcohol is from memory and may be out by 0.004" in found.notes
    steps = workings(reading('water = "balance"\nalcohol = 15'))
    assert any("from memory" in step.source and "0.0039 of a_w" in step.source for step in steps)


def test_the_workings_can_be_followed_with_a_calculator():
    steps = workings(reading('water = "balance"\nglycerin = 10\nsalt = 1'))
    assert [(step.what, step.sum, step.result) for step in steps] == [
        ("water in 100 g", "", "89 g"),
        ("Glycerin from glycerin", "10 g / 92.09 g/mol / 89 g * 1000", "1.2201 mol/kg"),
        ("Sodium Chloride from salt", "1 g / 58.44 g/mol / 89 g * 1000", "0.1923 mol/kg"),
        ("mole fraction of water, x_w", "55.51 / (55.51 + 1.2201)", "0.97849"),
        ("√K x of Glycerin", "√1.16 * 1.2201 / (55.51 + 1.2201)", "0.02316"),
        ("natural logarithm by the molecules", "ln 0.97849 - 0.02316²", "-0.02228"),
        ("ionic strength I of the salts", "1 * 0.1923", "0.1923 mol/kg"),
        (
            "osmotic coefficient φ of Sodium Chloride at I = 0.1923",
            "1 - 0.392 √I / (1 + 1.2 √I) + 0.1923 * 1 * (0.0765 + 0.2664 exp(-2 √I)) + 0.1923² * 0.00127",
            "0.9234",
        ),
        ("natural logarithm by the salts", "-0.018015 * (2 * 0.1923 * 0.9234)", "-0.00640"),
        ("water activity", "exp(-0.02228 + -0.00640)", "0.972"),
        ("band", "constants and rules 0.0001, the equations 0.05 * (1 - 0.9717), and the shares", "0.970 to 0.973"),
    ]
    assert math.log(0.97849) - 0.02316**2 == pytest.approx(-0.02228, abs=2e-5)
    root = math.sqrt(0.1923)
    by_hand = 1 - 0.392 * root / (1 + 1.2 * root) + 0.1923 * (0.0765 + 0.2664 * math.exp(-2 * root)) + 0.1923**2 * 0.00127
    assert by_hand == pytest.approx(0.9234, abs=1e-4)
    assert steps[4].source == (
        "constants of Norrish's equation at 25 °C, PMC2836749, table 3 (2010); K may be out by 0.05, which is 0.0000 of a_w"
    )


PERCENTS = st.fixed_dictionaries(
    {name: st.integers(0, 8) for name in ("glycerin-86", "propanediol", "salt", "sodium-lactate-60", "alcohol")}
)


@given(PERCENTS)
def test_the_figure_lies_in_its_band(percents):
    lines = "\n".join(f"{name} = {percent}" for name, percent in percents.items() if percent)
    found = estimate(reading(f'water = "balance"\n{lines}'))
    assert found.value is not None
    assert 0 <= found.low <= found.value <= found.high <= 1


def test_a_plan_of_25_lines_takes_well_below_3_ms():
    names = [s.inci for s in SUBSTANCES if constants_of(s.inci)][:24]
    records = {"water": RECORDS["water"]} | {f"m{n}": material(f"m{n}", "active", f"'{name}' = 100") for n, name in enumerate(names)}
    lines = "\n".join(f"m{n} = 0.5" for n in range(24))
    best = 1.0
    estimate(reading(f'water = "balance"\n{lines}', records))  # the tables are parsed once
    for _ in range(5):
        fresh = reading(f'water = "balance"\n{lines}', records)
        start = time.perf_counter()
        assert estimate(fresh).value is not None
        best = min(best, time.perf_counter() - start)
    assert best < 0.003
