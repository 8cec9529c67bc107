"""`fvc stand-ins`: every material that could take a place, on a stated basis, the one that changes least else first."""

from collections.abc import Callable, Iterator
from fractions import Fraction as F

import pytest

from fvc.cli.ahead import started
from tests.support import Result, Studio
from tests.test_swap import plain

TONER = {"A": {"water": "balance", "propanediol": "3.00", "betaine": "1.50"}, "B": {"preservative": "0.90", "neroli-oil": "0.10"}}


@pytest.fixture
def shelf(studio) -> Studio:
    """A toner, and humectants that differ in one thing each."""
    studio.material("water", "solvent", {"Aqua": 100}, 'price = "1.00 / 1 kg"\n')
    for id, function, composition, extra in [
        ("propanediol", "humectant", {"Propanediol": 100}, 'price = "20.00 / 1 kg"\n'),
        ("betaine", "humectant", {"Betaine": 100}, 'price = "30.00 / 1 kg"\n'),
        ("neat", "humectant", {"Neat": 100}, 'price = "10.00 / 1 kg"\n'),
        ("half", "humectant", {"Half": 50, "Aqua": "balance"}, 'price = "5.00 / 1 kg"\nmolar_mass = 100\n'),
        ("syrup", "humectant", {"Syrup": 80, "Other": 20}, 'active = ["Syrup"]\n'),
        ("bounded", "humectant", {"Bounded": 100}, "use_level = [0.1, 2]\n"),
        ("hot", "Humectant", {"Hot": 100}, 'heat_max = "50 °C"\n'),
        ("no-strength", "humectant", None, ""),
        ("zero", "humectant", {"Aqua": 100}, ""),
        ("gum", "thickener", {"Gum": 100}, ""),
        ("also", "solvent", {"Also": 100}, ""),
        ("preservative", "preservative", {"Phenoxyethanol": 100}, ""),
        ("neroli-oil", "essential oil", {"Citrus Aurantium Amara Flower Oil": 100}, ""),
        ("orange-oil", "essential oil", {"Citrus Sinensis Peel Oil": 100}, ""),
        ("lime-oil", "essential oil", {"Citrus Limon Peel Oil": 100}, ""),
    ]:
        studio.material(id, function, composition, extra)
    studio.edit("materials/also.toml", '["solvent"]', '["solvent", "humectant"]')
    studio.formula("toner", TONER)
    studio.edit("formulas/toner.toml", "[phase.A]\n", '[phase.A]\nheat = "70 °C"\n')
    return studio


@pytest.fixture
def here(shelf, run_in) -> Iterator[Callable[..., Result]]:
    """Run a command line in this process."""
    yield run_in(shelf.root)
    while started():  # of a command that was refused before it took what git was asked ahead: a process has but one
        pass


def test_all_that_share_a_function_are_there_and_nothing_else(here):
    data = here("stand-ins", "toner", "propanediol", "--json").data
    listed = [row["material"] for row in data["stand_ins"]]
    assert sorted(listed) == ["also", "betaine", "bounded", "half", "hot", "neat", "syrup"]
    assert {row["material"]: row["why"] for row in data["not_compared"]} == {
        "no-strength": "the strength of no-strength is not known: its record has no [composition]",
        "zero": "zero has no active matter by its record",
    }
    assert data["candidates"] == 7


def test_sorted_by_how_little_else_changes(here):
    """What crosses a limit is last, what needs a caution before it; of the rest the one that moves least elsewhere is first."""
    data = here("stand-ins", "toner", "propanediol", "--json").data
    rows = {row["material"]: row for row in data["stand_ins"]}
    # elsewhere, by hand: 6 % of half brings 3 points of water and takes 3 off the balance; 3.75 % of syrup brings 0.75 of Other
    # and takes 0.75 off the balance
    assert [F(rows[m]["elsewhere_points"]) for m in ("neat", "betaine", "half", "syrup")] == [0, 0, 0, F("1.5")]
    assert [F(rows[m]["water_points"]) for m in ("neat", "half", "syrup")] == [0, 0, F("-0.75")]
    assert [F(rows[m]["percent"]) for m in ("neat", "half", "syrup")] == [3, 6, F("3.75")]
    weights = [
        (
            len([x for x in row["limits"] if x["kind"] == "crossed"]),
            False,  # of the pH nothing is known on any side
            len(row["cautions"]),
            sum(len(x["allergens_gained"]) for x in row["labels"]),
            F(row["elsewhere_points"]),
            sum(len(x["gained"]) for x in row["labels"]),
            F(row["cost_per_kg"] or 0),
            row["material"],
        )
        for row in data["stand_ins"]
    ]
    assert weights == sorted(weights)
    assert [row["material"] for row in data["stand_ins"]][-3:] == ["syrup", "hot", "bounded"]


def test_water_that_moves_counts_elsewhere_and_is_a_question_where_it_is_not_known(here):
    rows = {r["material"]: r for r in here("stand-ins", "toner", "propanediol", "--basis", "as-supplied", "--json").data["stand_ins"]}
    # 3 % of half is 1.5 % of it and 1.5 % of water more; 3 % of syrup brings 0.6 % of Other
    assert [(F(rows[m]["water_points"]), F(rows[m]["elsewhere_points"])) for m in ("half", "syrup")] == [
        (F("1.5"), F("1.5")),
        (0, F("0.6")),
    ]
    assert rows["no-strength"]["water_points"] is None
    said = here("stand-ins", "toner", "propanediol", "--basis", "as-supplied").out
    assert next(line.split()[2] for line in said.splitlines() if line.strip().startswith("no-strength ")) == "?"


def test_the_net_change_of_each_is_in_the_figures_that_matter(here):
    rows = {row["material"]: row for row in here("stand-ins", "toner", "propanediol", "--json").data["stand_ins"]}
    # per kg: 30 g of propanediol at 20/kg out; 30 g at 10/kg in; 60 g at 5/kg in and 30 g of water at 1/kg out
    assert F(rows["neat"]["cost_per_kg"]) == 30 * F(10 - 20, 1000)
    assert F(rows["half"]["cost_per_kg"]) == 60 * F(5, 1000) - 30 * F(1, 1000) - 30 * F(20, 1000)
    assert rows["syrup"]["cost_per_kg"] is None
    assert [(x["kind"], x["rule"]) for x in rows["bounded"]["limits"]] == [("crossed", "use-level")]
    assert [x["rule"] for x in rows["hot"]["cautions"]] == ["heat"]
    assert rows["betaine"]["notes"] == ["betaine stood in phase A already: its level rises from 1.50 to 4.50"]
    assert rows["betaine"]["written"] == "4.50"
    assert rows["half"]["written"] == "6.00"


def test_one_screen_says_it_in_words(here):
    said = here("stand-ins", "toner", "propanediol").out
    assert "on the basis: the same weight of active matter" in said
    row = next(line.split() for line in said.splitlines() if line.strip().startswith("half "))
    assert row == ["half", "6.00", "0.00", "0.00", "?", "-0.33", "0", "0", "0"]
    row = next(line.split() for line in said.splitlines() if line.strip().startswith("syrup "))
    assert row == ["syrup", "3.75", "-0.75", "1.50", "?", "?", "0", "0", "0"]
    flat = plain(said)
    assert "pH: estimated, by how much it moves, ? without a figure before or after" in flat
    assert "pH before: no figure: unbuffered: carbon dioxide and traces decide; near neutral" in flat
    assert "cautions" in flat.partition("sorted by limits crossed, whether the pH moves by more than 0.5 or has no figure on one side, ")[2]
    assert "limit crossed: bounded: 3 % in all" in flat
    assert "caution: phase A is heated to 70 °C, 20 °C above the 50 °C that hot stands" in flat
    assert "Cannot be compared on this basis" in said
    assert "zero: zero has no active matter by its record" in flat


@pytest.mark.parametrize(
    "flags, levels",
    [
        (("--basis", "as-supplied"), {"half": "3", "syrup": "3", "no-strength": "3"}),
        (("--basis", "active"), {"half": "6", "syrup": "3.75"}),
        (("--level", "2.5"), {"half": "2.5", "syrup": "2.5", "zero": "2.5"}),
        (("--basis", "level", "--level", "2.5"), {"half": "2.5"}),
    ],
)
def test_on_a_stated_basis(here, flags, levels):
    data = here("stand-ins", "toner", "propanediol", *flags, "--json").data
    found = {row["material"]: row["percent"] for row in data["stand_ins"]}
    assert {m: found[m] for m in levels} == levels
    assert data["basis"] == ("level" if "--level" in flags else flags[1])


def test_a_basis_that_records_cannot_serve_lists_each_with_its_reason(here):
    data = here("stand-ins", "toner", "propanediol", "--basis", "moles", "--json").data
    assert data["stand_ins"] == []
    assert data["candidates"] == 0
    assert len(data["not_compared"]) == 9
    assert {row["why"] for row in data["not_compared"]} == {"the molar mass of propanediol is not known: its record has no molar_mass"}
    said = here("stand-ins", "toner", "propanediol", "--basis", "moles").out
    assert "No other material here has a function of it, or none can be compared on this basis." in plain(said)
    assert "Look closer" not in said


@pytest.mark.parametrize(
    "flags, hint",
    [
        ((), "fvc swap toner {place} {first} --basis active"),
        (("--level", "2.5"), "fvc swap toner {place} {first} --basis level --level 2.5"),
        (("--basis", "as-supplied", "--balance", "betaine"), "fvc swap toner {place} {first} --basis as-supplied --balance betaine"),
    ],
)
@pytest.mark.parametrize("place", ["propanediol", "A:propanediol"])
def test_the_way_to_look_closer_works_as_it_is_written(here, flags, hint, place):
    said = plain(here("stand-ins", "toner", place, *flags).out)
    first = here("stand-ins", "toner", place, *flags, "--json").data["stand_ins"][0]["material"]
    assert said.endswith(hint.format(place=place, first=first))
    here(*hint.format(place=place, first=first).split()[1:])


def test_no_more_than_fit_a_screen_are_judged_unless_asked(shelf, here):
    for n in range(12):
        shelf.material(f"extra-{n:02d}", "humectant", {f"Extra {n}": 90, "Aqua": "balance"})
    data = here("stand-ins", "toner", "propanediol", "--json").data
    assert (len(data["stand_ins"]), data["candidates"]) == (10, 19)
    every = here("stand-ins", "toner", "propanediol", "--all", "--json").data
    assert (len(every["stand_ins"]), every["candidates"]) == (19, 19)
    assert "9 more could take the place and move more in the rest; --all shows them" in plain(here("stand-ins", "toner", "propanediol").out)
    assert "--all shows them" not in here("stand-ins", "toner", "propanediol", "--all").out


@pytest.fixture
def acids(studio, run_in) -> Callable[..., Result]:
    """A mist that vinegar brings to about pH 4.6, and other pH adjusters."""
    for id, function, composition, extra in [
        ("sodium-benzoate", "preservative", {"Sodium Benzoate": 100}, ""),
        ("lactate", "humectant", {"Sodium Lactate": 60, "Aqua": 40}, ""),
        ("vinegar", "pH adjuster", {"Vinegar": 100}, 'constituents = { "Acetic Acid" = 5, "Aqua" = 94 }\n'),
        ("citric-acid", "pH adjuster", {"Citric Acid": 100}, ""),
        ("lactic-acid-80", "pH adjuster", {"Lactic Acid": 80, "Aqua": 20}, ""),
        ("lye-10", "pH adjuster", {"Sodium Hydroxide": 10, "Aqua": 90}, ""),
        ("triethanolamine", "pH adjuster", {"Triethanolamine": 100}, ""),
        ("arginine", "pH adjuster", {"Arginine": 100}, ""),
        ("soda", "pH adjuster", {"Sodium Carbonate": 100}, ""),
        ("salt", "pH adjuster", {"Sodium Chloride": 100}, ""),
    ]:
        studio.material(id, function, composition, extra)
    lines = {"water": "balance", "sodium-benzoate": "0.40", "lactate": "1.50", "vinegar": "4.00"}
    studio.formula("cider", {"A": lines}, extra="[spec]\nph = [4.3, 4.9]\n")
    return run_in(studio.root)


def test_what_moves_the_ph_far_stands_behind_and_has_its_cautions(acids):
    rows = acids("stand-ins", "cider", "vinegar", "--level", "0.30", "--json").data["stand_ins"]
    assert [r["material"] for r in rows][:2] == ["citric-acid", "lactic-acid-80"]  # though soda moves as little in the rest
    ph = {r["material"]: next(p for p in r["properties"] if p["property"] == "pH") for r in rows}
    cautions = {r["material"]: sorted({c["rule"] for c in r["cautions"]}) for r in rows}
    for acid in ("citric-acid", "lactic-acid-80"):
        assert abs(F(ph[acid]["after"]) - F(ph[acid]["before"])) < F(1, 2)
        assert cautions[acid] == []
    for other in ("lye-10", "triethanolamine", "arginine", "soda", "salt"):
        assert ph[other]["after"] is None or F(ph[other]["after"]) > 10
        assert cautions[other] == ["ph-estimate", "preservative-at-ph"], other
    assert {m for m, p in ph.items() if p["after"] is None} == {"salt", "triethanolamine"}  # nothing holds the pH


def test_a_ph_without_a_figure_is_explained_on_the_screen(acids):
    said = plain(acids("stand-ins", "cider", "vinegar", "--level", "0.30").out)
    assert "salt pH about 4.62 before, without a figure (on the alkaline side) after" in said
    assert "arginine pH about 4.62 before, about 10.51 after" in said
    assert "less than 0.1 % of it is undissociated" in said
    assert "citric-acid pH" not in said


def test_allergens_weigh_before_what_moves(here):
    data = here("stand-ins", "toner", "neroli-oil", "--basis", "as-supplied", "--json").data
    gained = {row["material"]: sum(len(x["allergens_gained"]) for x in row["labels"]) for row in data["stand_ins"]}
    assert set(gained) == {"orange-oil", "lime-oil"}
    assert [gained[row["material"]] for row in data["stand_ins"]] == sorted(gained.values())


@pytest.mark.parametrize(
    "words, message, way",
    [
        (("toner", "propandiol"), "propandiol is not in toner", "did you mean propanediol?"),
        (("toner", "neat"), "neat is not in toner", ""),
        (("tuner", "propanediol"), "tuner", "toner"),
        (("toner", "propanediol", "--basis", "activ"), '"activ" is no basis', "did you mean active?"),
        (("toner", "propanediol", "--basis", "level"), "the basis level needs the level", "--level 2.0"),
        (("toner", "propanediol", "--basis", "moles", "--level", "2"), "--level goes with --basis level", "leave out --level"),
        (("toner", "propanediol", "--level", "x"), 'the level "x" cannot be read', "--level 2.0"),
        (("toner", "propanediol", "--basis", "ratio", "--json"), None, ""),
    ],
)
def test_what_cannot_be_asked(here, words, message, way):
    if message is None:  # a basis that none can serve is an answer, not a wrong call
        assert here("stand-ins", *words).data["stand_ins"] == []
        return
    said = here("stand-ins", *words, code=2).err
    assert message in said
    assert way in said


def test_a_record_without_a_function_says_so(shelf, here):
    shelf.write("materials/propanediol.toml", 'format = 1\nname = "p"\n[composition]\n"Propanediol" = 100\n')
    said = here("stand-ins", "toner", "propanediol", code=2).err
    assert "the record of propanediol names no function, so nothing says what could take its place" in said
    assert "fill in  function" in said


def test_one_record_that_cannot_be_read_does_not_hinder_the_others(shelf, here):
    shelf.write("materials/bad.toml", 'format = 1\nname = "bad"\nfunction = ["humectant"]\n[composition]\n"X" = "much"\n')
    result = here("stand-ins", "toner", "propanediol", "--json")
    assert "materials/bad.toml" in result.err
    assert "neat" in [row["material"] for row in result.data["stand_ins"]]
    assert "bad" not in result.out


def test_a_plan_without_a_balance(shelf, here):
    shelf.formula("scrub", {"A": {"propanediol": "60", "gum": "40"}})
    data = here("stand-ins", "scrub", "propanediol", "--json").data
    assert {row["material"] for row in data["stand_ins"]} == {"neat", "also", "bounded", "hot", "betaine"}
    why = {row["material"]: row["why"] for row in data["not_compared"]}
    assert why["syrup"] == "scrub has no balance, and the lines would total 115.00"
    assert "would come to 120.00 %: it is above 100" in why["half"]
    named = here("stand-ins", "scrub", "propanediol", "--balance", "gum", "--json").data
    assert "syrup" in {row["material"] for row in named["stand_ins"]}


def test_a_saved_revision_and_a_variant_can_be_asked(shelf):
    shelf.ok("revise", "toner", "--reason", "first")
    shelf.ok("set", "toner", "propanediol=2.00", "--save")
    old = shelf.json("stand-ins", "toner.1", "propanediol")
    assert (old["revision"], old["out"]) == (1, [{"phase": "A", "material": "propanediol", "percent": "3.00"}])
    shelf.ok("swap", "toner.1", "propanediol", "neat", "--level", "1.5", "--as", "try")
    assert shelf.json("stand-ins", "toner/try", "neat")["out"][0]["percent"] == "1.50"


def test_a_material_in_two_phases(shelf, here):
    shelf.edit("formulas/toner.toml", "neroli-oil = 0.10\n", "neroli-oil = 0.10\npropanediol = 1.00\n")
    both = here("stand-ins", "toner", "propanediol", "--json").data
    assert [row["phase"] for row in both["out"]] == ["A", "B"]
    assert next(row["percent"] for row in both["stand_ins"] if row["material"] == "half") == "8"
    one = here("stand-ins", "toner", "B:propanediol", "--json").data
    assert next(row["percent"] for row in one["stand_ins"] if row["material"] == "half") == "2"


def test_the_data_has_its_keys(here):
    data = here("stand-ins", "toner", "propanediol", "--json").data
    assert set(data) == {
        "schema",
        "formula",
        "ref",
        "commit",
        "revision",
        "saved",
        "out",
        "basis",
        "candidates",
        "stand_ins",
        "not_compared",
    }
    keys = {
        "material",
        "percent",
        "written",
        "water_points",
        "elsewhere_points",
        "cost_per_kg",
        "notes",
        "properties",
        "limits",
        "cautions",
        "eased",
        "labels",
        "cost",
    }
    assert all(set(row) == keys for row in data["stand_ins"])


def test_the_row_and_the_swap_agree(here):
    """What a row says is what the swap would do."""
    for row in here("stand-ins", "toner", "propanediol", "--json").data["stand_ins"]:
        change = here("swap", "toner", "propanediol", row["material"], "--basis", "active", "--json").data
        assert change["levels"] == [{"material": row["material"], "percent": row["percent"]}]
        assert change["limits"] == row["limits"]
        assert change["cautions"] == row["cautions"]
        assert change["labels"] == row["labels"]
        water = change["properties"][0]
        assert row["water_points"] is not None
        assert F(water["after"]) - F(water["before"]) == F(row["water_points"])
        if row["cost"] and row["cost_per_kg"] is not None:
            cost = change["cost"]
            assert F(cost["after_priced_per_kg"]) - F(cost["before_priced_per_kg"]) == F(row["cost_per_kg"])


def test_nothing_is_written(shelf, here):
    before = shelf.git("status", "--porcelain")
    here("stand-ins", "toner", "propanediol", "--all")
    assert shelf.git("status", "--porcelain") == before
