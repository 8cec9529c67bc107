"""HLB of emulsifiers and oils: published tables and worked examples, the laws of a mean, and plans from files."""

import time
from dataclasses import replace
from fractions import Fraction as F

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fvc.amounts import figure
from fvc.errors import Refusal
from fvc.reference import hlb as table
from fvc.science.emulsifying import blend, blend_workings, mean, required, required_workings, share_of_first, split, split_in
from tests.readings import reading

# What makers write into records; the figures are those of suppliers' sheets in the worked examples.
SHELF = {
    "water": 'function = "solvent"\n[composition]\n"Aqua" = 100\n',
    "polysorbate-20": 'function = ["solubiliser", "emulsifier"]\n[composition]\n"Polysorbate 20" = 100\n',
    "polysorbate-60": 'function = "emulsifier"\n[composition]\n"Polysorbate 60" = 100\n',
    "polysorbate-80": 'function = "emulsifier"\nhlb = 15.0\n[composition]\n"Polysorbate 80" = 100\n',
    "sorbitan-oleate": 'function = "emulsifier"\nhlb = 4.3\n[composition]\n"Sorbitan Oleate" = 100\n',
    "sorbitan-stearate": 'function = "emulsifier"\nhlb = 4.7\n[composition]\n"Sorbitan Stearate" = 100\n',
    "wax": 'function = "emulsifier"\n[composition]\n"Cetearyl Alcohol" = 70\n"Ceteareth-20" = 30\n',
    "half": 'function = "emulsifier"\nhlb = 12\n[composition]\n"Decyl Glucoside" = 50\n"Aqua" = "balance"\n',
    "citrate-ester": 'function = "emulsifier"\nhlb = 11\ncharge = "anionic"\n[composition]\n"Glyceryl Stearate Citrate" = 100\n',
    "new-ester": 'function = "emulsifier"\n[composition]\n"Polyglyceryl-6 Distearate" = 100\n',
    "oil-7": 'function = "emollient"\nrequired_hlb = 7\n[composition]\n"Glycine Soja Oil" = 100\n',
    "butter-6": 'function = "emollient"\nrequired_hlb = 6\n[composition]\n"Theobroma Cacao Seed Butter" = 100\n',
    "butter-8": 'function = "emollient"\nrequired_hlb = 8\n[composition]\n"Mangifera Indica Seed Butter" = 100\n',
    "olive-oil": 'function = "emollient"\n[composition]\n"Olea Europaea Fruit Oil" = 100\n',
    "paraffin": 'function = "emollient"\n[composition]\n"Paraffinum Liquidum" = 100\n',
    "lanolin": 'function = "emollient"\n[composition]\n"Lanolin" = 100\n',
    "cetyl-alcohol": 'function = ["thickener", "emollient"]\n[composition]\n"Cetyl Alcohol" = 100\n',
    "stearic-acid": 'function = "emollient"\n[composition]\n"Stearic Acid" = 100\n',
    "neroli-oil": 'function = "essential oil"\n[composition]\n"Citrus Aurantium Amara Flower Oil" = 100\n',
}


def cream(**percents: float):
    lines = "".join(f"{id.replace('_', '-')} = {percent}\n" for id, percent in percents.items())
    return reading(f'[phase.A.percent]\nwater = "balance"\n{lines}', SHELF)


# --- published figures -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("target", "first", "second", "published"),
    [
        (F("8.5"), "16.7", "4.3", "33.9"),  # PMC3969497, Table I: polysorbate 20 and sorbitan oleate
        (F(10), "16.7", "4.3", "46.0"),
        (F("12.5"), "16.7", "4.3", "66.1"),
        (F(15), "16.7", "4.3", "86.3"),
        (F(9), "16.7", "8.6", "4.9"),  # the same, polysorbate 20 and sorbitan laurate
        (F(13), "16.7", "8.6", "54.3"),
        (F(8), "15", "4.3", "34.6"),  # the same, polysorbate 80 and sorbitan oleate
        (F(14), "15", "4.3", "90.7"),
        (F(11), "13", "4.3", "77.0"),  # the same, PEG-35 castor oil and sorbitan oleate
        (F(14), "16.7", "4.7", "77.5"),  # a card of worked examples: polysorbate 20 and sorbitan stearate for 14.0
        (F("14.5"), "14.9", "4.3", "96.2"),  # the same: polysorbate 60 and sorbitan oleate for 14.5
    ],
)
def test_published_splits(target, first, second, published):
    share = share_of_first(target, ("one", F(first)), ("other", F(second)), next="-")
    assert float(share * 100) == pytest.approx(float(published), abs=0.051)


def test_the_split_of_the_facts_to_two_decimals():
    """8.5 from polysorbate 20 (16.7) and sorbitan oleate (4.3): 33.87 and 66.13 % (Griffin 1949)."""
    found = split_in(cream(polysorbate_20=1, sorbitan_oleate=2), F("8.5"))
    assert [f"{float(share):.2f}" for share in found.shares] == ["33.87", "66.13"]
    assert [f"{float(percent):.4f}" for percent in found.percents] == ["1.0161", "1.9839"]
    assert [(s.sum, s.result) for s in found.workings] == [
        ("(8.5 - 4.3) / (16.7 - 4.3)", "33.871 %"),
        ("100 - 33.871", "66.129 %"),
    ]


@pytest.mark.parametrize(
    ("of_the_first", "published"),
    [(90, "13.93"), (80, "12.86"), (70, "11.79")],  # PMC4137601, Table 2: polysorbate 80 (15.00) and sorbitan oleate (4.30)
)
def test_published_blends(of_the_first, published):
    assert mean([(F(of_the_first), F(15)), (F(100 - of_the_first), F("4.3"))]) == F(published)


@pytest.mark.parametrize(
    ("stearic", "isopropyl", "glyceryl", "asked"),
    # OCL 2022 (ocl210096), Table 4: beeswax 12, isopropyl myristate 11.5, glyceryl stearate 3.8, stearic acid 15, a seed oil 6.2.
    # The table rounds each contribution to two decimals before it adds, so its sums are off by up to 0.02.
    [("12.5", "7.5", "7.5", "10.33"), ("10.5", "7.5", "7.5", "10.04"), ("8.5", "7.5", "7.5", "9.71"), ("6.5", "7.5", "7.5", "9.33"), ("10.5", "10", "10", "9.72")],
)  # fmt: skip
def test_a_published_oil_phase(stearic, isopropyl, glyceryl, asked):
    rows = [("1.5", "12"), (isopropyl, "11.5"), (glyceryl, "3.8"), (stearic, "15"), ("5", "6.2")]
    assert float(mean((F(w), F(h)) for w, h in rows)) == pytest.approx(float(asked), abs=0.021)


def test_the_oil_phase_of_the_facts():
    """10 % at 7, 7.5 % at 6, 7.5 % at 8 give 7.00."""
    found = required(cream(oil_7=10, butter_6="7.5", butter_8="7.5", polysorbate_80=3))
    assert (found.value, found.low, found.high, found.not_counted, found.notes) == (7, 6, 8, (), ())


def test_a_textbook_exercise():
    """Liquid paraffin 35 %, wool fat 1 %, cetyl alcohol 1 %: (35 x 12 + 10 + 15) / 37 is 12.0; the pages that quote it round to 12.1."""
    plan = cream(paraffin=35, lanolin=1, cetyl_alcohol=1, polysorbate_80=3, sorbitan_oleate=4)
    assert required(plan).value == F("12.0")
    found = split_in(plan, F("12.1"))
    assert [f"{float(share):.1f}" for share in found.shares] == ["72.9", "27.1"]


def test_another_worked_example():
    """Stearic acid 8 %, cetyl alcohol 1 %, lanolin 1 % ask for 14.5; 4 % of polysorbate 60 and sorbitan oleate: 96.2 and 3.8 % of it."""
    plan = cream(stearic_acid=8, cetyl_alcohol=1, lanolin=1, polysorbate_60=2, sorbitan_oleate=2)
    assert required(plan).value == F("14.5")
    found = split_in(plan)
    assert (found.target, [f"{float(p):.2f}" for p in found.percents]) == (F("14.5"), ["3.85", "0.15"])


# --- plans -------------------------------------------------------------------------------------------


def test_the_blend_of_a_plan_row_by_row():
    plan = cream(polysorbate_80=3, sorbitan_stearate=1, oil_7=10)
    found = blend(plan)
    assert (found.value, found.low, found.high) == (F("12.4"), F("11.9"), F("12.9"))
    assert [(s.what, s.sum, s.result) for s in blend_workings(plan)][:4] == [
        ("polysorbate-80: percent x HLB", "3 x 15", "45"),
        ("sorbitan-stearate: percent x HLB", "1 x 4.7", "4.7"),
        ("their weight", "", "4 %"),
        ("HLB of the emulsifiers", "(45 + 4.7) / 4", "12.425"),
    ]
    assert "from memory" in blend_workings(plan)[3].source


def test_the_records_own_figure_wins():
    records = SHELF | {"polysorbate-20": SHELF["polysorbate-20"].replace("[composition]", "hlb = 16.0\n[composition]")}
    plan = '[phase.A.percent]\nwater = "balance"\npolysorbate-20 = 2\n'
    assert blend(reading(plan, records)).value == 16
    assert blend(reading(plan, SHELF)).value == F("16.7")
    assert blend_workings(reading(plan, records))[0].source == "hlb in the record of polysorbate-20; 15.5 to 16.5"


def test_a_published_figure_weighs_with_its_share_in_the_material():
    """An emulsifying wax of which 30 % is the emulsifier counts with those 30 %."""
    plan = cream(wax=10, sorbitan_oleate=3, oil_7=10)
    assert blend(plan).value == F("9.8")  # (10 x 0.3 x 15.2 + 3 x 4.3) / 6
    found = split(F("9.75"), plan.materials["wax"], plan.materials["sorbitan-oleate"], F(13))
    assert [f"{float(p):.4f}" for p in found.percents] == ["10.0000", "3.0000"]


def test_a_record_of_a_solution_weighs_as_supplied_and_says_so():
    found = blend(cream(half=4, sorbitan_oleate=4, oil_7=10))
    assert found.value == F("8.2")  # (12 + 4.3) / 2
    assert found.notes == ("half weighs as supplied, as the hlb in its record; 50 % of it is active",)


def test_an_anionic_emulsifier_is_said_to_be_none_of_the_scale():
    found = blend(cream(citrate_ester=3, oil_7=10))
    assert found.notes == (
        "citrate-ester is anionic: Griffin's scale is for non-ionic emulsifiers, so with it the figure is a comparison only",
    )


def test_what_has_no_figure_is_listed():
    found = blend(cream(new_ester=2, polysorbate_80=2, oil_7=10))
    assert (found.value, found.not_counted) == (15, ("new-ester 2 %: no hlb in its record and no published one in fvc",))
    assert blend(cream(new_ester=2)).declined == "no emulsifier or solubiliser has an HLB"
    assert blend(cream(oil_7=2)).declined == "there is no emulsifier or solubiliser"


def test_what_part_of_the_oil_is_covered():
    found = required(cream(oil_7=9, neroli_oil=1))
    assert (found.value, found.notes) == (7, ("figures cover 9 of 10 % oil",))
    assert found.not_counted == ("neroli-oil 1 %: no required_hlb in its record and no published one in fvc",)
    assert required(cream(oil_7=1, neroli_oil=2)).declined == "figures cover 1 of 3 % oil, less than half"
    assert required(cream(neroli_oil=2)).declined == "none of the 2 % oil has a figure"
    assert required(cream(polysorbate_80=2)).declined == "there is no oil in it, as far as records tell"
    assert required_workings(cream(neroli_oil=2)) == ()


@pytest.mark.parametrize(
    ("plan", "names", "target", "message", "way_out"),
    [
        (
            cream(polysorbate_80=2, sorbitan_oleate=2),
            (),
            F("15.1"),
            "no blend of the two has an HLB of 15.1: it is not between theirs (polysorbate-80 15, sorbitan-oleate 4.3)",
            "name two of which one is above the target and one below",
        ),
        (
            cream(polysorbate_80=2),
            (),
            F(9),
            "a split is of two emulsifiers, and product has 1: polysorbate-80",
            "add a second emulsifier to the plan",
        ),
        (
            cream(polysorbate_80=2, sorbitan_oleate=2, wax=1),
            (),
            F(9),
            "a split is of two emulsifiers, and product has 3: polysorbate-80, sorbitan-oleate, wax",
            "name two of: polysorbate-80, sorbitan-oleate, wax",
        ),
        (
            cream(polysorbate_80=2, sorbitan_oleate=2),
            ("oil-7",),
            F(9),
            "oil-7 is no emulsifier of product",
            "name two of: polysorbate-80, sorbitan-oleate",
        ),
        (
            cream(polysorbate_80=2, new_ester=2),
            (),
            F(9),
            "the HLB of new-ester is not known: its record has no hlb, and fvc no published one",
            "fill in  hlb = …  in the record of new-ester, from the supplier's sheet",
        ),
        (
            cream(polysorbate_80=2, sorbitan_oleate=2),
            (),
            None,
            "what the oil asks for is not known: there is no oil in it, as far as records tell",
            "give a target, or fill in  required_hlb  in the records of the oils",
        ),
    ],
)
def test_a_split_that_cannot_be_is_refused(plan, names, target, message, way_out):
    with pytest.raises(Refusal) as refused:
        split_in(plan, target, names)
    assert [(f.message, f.next) for f in refused.value.faults] == [(message, way_out)]


def test_two_of_three_can_be_named():
    found = split_in(cream(polysorbate_80=2, sorbitan_oleate=2, wax=1), F(9), ("sorbitan-oleate", "polysorbate-80"))
    assert found.names == ("sorbitan-oleate", "polysorbate-80")
    assert sum(found.percents) == 4


# --- the table -----------------------------------------------------------------------------------------


def test_every_published_figure_lies_in_its_band_on_the_scale_and_has_a_source():
    for rows in (table._EMULSIFIERS, table._OILS):
        assert len({name.casefold() for name, *_ in rows}) == len(rows)
        for name, value, low, high, source in rows:
            assert 0 < F(low) <= F(value) <= F(high) <= 20, name
            assert source.words, name


# --- laws ------------------------------------------------------------------------------------------------

hlbs = st.integers(5, 400).map(lambda n: F(n, 20))
weights = st.integers(1, 5000).map(lambda n: F(n, 100))


@given(st.lists(st.tuples(weights, hlbs), min_size=1, max_size=6))
def test_a_blend_lies_between_its_members(rows):
    assert min(h for _, h in rows) <= mean(rows) <= max(h for _, h in rows)


@given(hlbs, hlbs, hlbs)
def test_the_split_gives_the_target(target, a, b):
    assume(min(a, b) < target < max(a, b))
    share = share_of_first(target, ("one", a), ("other", b), next="-")
    assert 0 < share < 1
    assert mean([(share, a), (1 - share, b)]) == target


@given(
    st.dictionaries(
        st.sampled_from(["polysorbate-20", "polysorbate-80", "sorbitan-oleate", "wax", "half", "new-ester", "citrate-ester"]),
        st.integers(1, 900).map(lambda n: F(n, 100)),
        min_size=1,
        max_size=5,
    ),
    st.dictionaries(
        st.sampled_from(["oil-7", "butter-6", "olive-oil", "neroli-oil", "paraffin"]), st.integers(1, 900).map(lambda n: F(n, 100))
    ),
)
def test_the_band_of_any_plan_holds_its_value_and_a_split_reproduces_its_target(emulsifiers, oils):
    plan = cream(**{id.replace("-", "_"): figure(p) for id, p in (emulsifiers | oils).items()})
    for found in (blend(plan), required(plan)):
        assert (found.value is None) == bool(found.declined)
        if found.value is not None:
            assert 0 <= found.low <= found.value <= found.high <= F("21.2")
    try:
        two = split_in(plan, F("9.3"))
    except Refusal:
        return
    after = cream(**{id.replace("-", "_"): f"{float(p):.8f}" for id, p in zip(two.names, two.percents, strict=True)})
    assert blend(after).value == F("9.3")


def test_it_takes_well_under_two_milliseconds_for_a_long_plan():
    names = [n for n in SHELF if n != "water"]
    plan = cream(**{n.replace("-", "_"): 1 for n in names})
    blend(plan)
    best = []
    for copy in [replace(plan) for _ in range(20)]:
        start = time.perf_counter()
        blend(copy), required(copy)
        best.append(time.perf_counter() - start)
    assert min(best) < 0.002
