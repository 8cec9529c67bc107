"""The ingredient declaration: order, the 1 % line, allergens by list and day, what is uncertain and what nobody knows."""

import datetime
from typing import Any

import pytest

from fvc.archive import Archive
from fvc.references import resolve
from fvc.rules.label import Label, label
from tests.support import Studio

TODAY = datetime.date(2026, 11, 25)
OLD_DAY, NEW_DAY = datetime.date(2026, 7, 30), datetime.date(2026, 7, 31)

SHELF: dict[str, tuple[str, dict[str, Any] | None]] = {
    "glycerin": ("humectant", {"Glycerin": 100}),
    "betaine": ("humectant", {"Betaine": 100}),
    "panthenol-75": ("humectant", {"Panthenol": 75, "Aqua": "balance"}),
    "sodium-benzoate": ("preservative", {"Sodium Benzoate": 100}),
    "polysorbate-20": ("solubiliser", {"Polysorbate 20": 100}),
    "mica": ("colourant", {"Mica": 100}),
    "titanium": ("colourant", {"CI 77891": 100}),
    "perfume": ("fragrance", {"Parfum": 100}),
    "lavender-oil": ("essential oil", {"Lavandula Angustifolia Oil": 100}),
    "orange-oil": ("essential oil", {"Citrus Aurantium Dulcis Peel Oil": 100}),
    "rice-protein-25": (
        "conditioning agent",
        {"Hydrolyzed Rice Protein": 25, "Aqua": 74.4, "Sodium Benzoate": 0.4, "Potassium Sorbate": 0.2},
    ),
}


@pytest.fixture
def shelf(plain_folder) -> Studio:
    studio = Studio(plain_folder)
    studio.write("formulary.toml", 'format = 1\nname = "Test"\nrules = ["eu"]\n')
    studio.material("water", "solvent", {"Aqua": 100})
    for id, (function, composition) in SHELF.items():
        studio.material(id, function, composition)
    return studio


def constituents(studio: Studio, id: str, **shares: Any) -> None:
    """Replace the constituents of a material; a name's `_` is a blank."""
    text = studio.read(f"materials/{id}.toml").partition("[constituents]")[0]
    lines = "".join(f'"{name.replace("_", " ")}" = {share}\n' for name, share in shares.items())
    studio.write(f"materials/{id}.toml", f"{text}[constituents]\n{lines}")


def plan(studio: Studio, lines: dict[str, str], *, use: str = "leave-on", extra: str = "") -> None:
    studio.formula("product", {"A": lines}, extra=extra)
    studio.edit("formulas/product.toml", 'use = "leave-on"\n', f'use = "{use}"\n' if use else "")


def declared(studio: Studio, rules: str = "eu", on: datetime.date | None = NEW_DAY, ref: str = "product") -> Label:
    return label(resolve(Archive.open(studio.root), ref), rules, on, TODAY)


# --- order and the 1 % line ------------------------------------------------------------------------------


def test_blends_are_split_and_summed_in_descending_order(shelf):
    plan(shelf, {"water": "balance", "glycerin": "2", "panthenol-75": "4", "betaine": "2.5", "sodium-benzoate": "0.4"})
    found = declared(shelf)
    assert found.ingredients == ("Aqua", "Panthenol", "Betaine", "Glycerin", "Sodium Benzoate")
    assert str(found.entries[0].share.nominal) == "921/10"  # 91.1 of water, and 1.00 that the panthenol brings
    assert found.one_percent_line == 4


@pytest.mark.parametrize(
    "level, eu, us",
    [
        # EU 1223/2009 Art. 19(1)(g): "less than 1 %" may stand in any order; US 21 CFR 701.3(f): "not more than 1 percent"
        ("0.99", 2, 2),
        ("1.00", 3, 2),
        ("1.01", 3, 3),
    ],
)
def test_exactly_one_percent_is_ordered_in_the_eu_and_free_in_the_us(shelf, level, eu, us):
    plan(shelf, {"water": "balance", "glycerin": "5", "betaine": level, "sodium-benzoate": "0.4"})
    assert declared(shelf, "eu").one_percent_line == eu
    assert declared(shelf, "us").one_percent_line == us


def test_colourants_stand_last_whatever_their_share(shelf):
    plan(shelf, {"water": "balance", "mica": "6", "titanium": "3", "glycerin": "2", "sodium-benzoate": "0.4"})
    found = declared(shelf)
    assert found.ingredients == ("Aqua", "Glycerin", "Sodium Benzoate", "Mica", "CI 77891")
    assert found.one_percent_line == 2


def test_names_by_region(shelf):
    plan(shelf, {"water": "balance", "perfume": "1.5", "lavender-oil": "0.1", "glycerin": "3", "titanium": "0.5"})
    assert declared(shelf, "eu").ingredients[:3] == ("Aqua", "Glycerin", "Parfum")
    american = declared(shelf, "us")
    assert american.ingredients[:3] == ("Water", "Glycerin", "Fragrance")
    assert "Titanium Dioxide" in american.ingredients
    assert "Lavandula Angustifolia (Lavender) Oil" in american.ingredients
    assert american.allergens == ()
    assert american.silence


def test_water_is_one_name_however_it_is_spelled(shelf):
    shelf.material("tap", "solvent", {"Water": 100})
    plan(shelf, {"water": "50", "tap": "47", "glycerin": "3"})
    assert declared(shelf).ingredients == ("Aqua", "Glycerin")


def test_a_formula_inside_is_taken_apart(shelf):
    shelf.formula("stock", {"A": {"water": "80", "sodium-benzoate": "20"}})
    plan(shelf, {"water": "balance", "glycerin": "3", "stock": "2"})
    assert declared(shelf).ingredients == ("Aqua", "Glycerin", "Sodium Benzoate")


# --- allergens -------------------------------------------------------------------------------------------------
# Regulation (EC) No 1223/2009, Annex III: to be named above 0.001 % leave-on and 0.01 % rinse-off ("exceeds").
# Regulation (EU) 2023/1545: the list of about 80, for new products from 31 July 2026.


@pytest.mark.parametrize(
    "use, percent, named",
    [
        ("leave-on", "1.000", False),  # 1 % of 0.1 % oil is 0.001 %: not more than the threshold
        ("leave-on", "1.001", True),
        ("rinse-off", "10.00", False),
        ("rinse-off", "10.01", True),
    ],
)
def test_an_allergen_at_the_threshold_is_not_named_and_above_it_is(shelf, use, percent, named):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    constituents(shelf, "oil", Linalool=percent)
    plan(shelf, {"water": "balance", "oil": "0.10", "polysorbate-20": "1"}, use=use)
    assert (declared(shelf).allergens == ("Linalool",)) is named


def test_one_allergen_over_all_oils_and_all_its_names(shelf):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    shelf.material("other", "essential oil", {"Another Test Oil": 100})
    constituents(shelf, "oil", **{"d-Limonene": 0.6})
    constituents(shelf, "other", Limonene=0.6)
    plan(shelf, {"water": "balance", "oil": "0.10", "other": "0.10", "polysorbate-20": "1"})
    assert declared(shelf).allergens == ("Limonene",)  # 0.0006 each, 0.0012 together


def test_the_list_in_force_on_a_day(shelf):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    constituents(shelf, "oil", Linalool=20, Linalyl_Acetate=30, Camphor=2)
    plan(shelf, {"water": "balance", "oil": "0.10", "polysorbate-20": "1"})
    assert declared(shelf, on=OLD_DAY).allergens == ("Linalool",)
    assert set(declared(shelf, on=NEW_DAY).allergens) == {"Linalool", "Linalyl Acetate", "Camphor"}
    assert declared(shelf, on=datetime.date(2004, 1, 1)).allergens == ()


def test_without_a_day_both_lists_and_the_difference(shelf):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    constituents(shelf, "oil", Linalool=20, Linalyl_Acetate=30)
    plan(shelf, {"water": "balance", "oil": "0.10", "polysorbate-20": "1"})
    data = shelf.json("label", "product")
    assert data["on"] is None
    assert [x["since"] for x in data["lists"]] == ["2005-03-11", "2026-07-31"]
    assert [[a["name"] for a in x["allergens"]] for x in data["lists"]] == [["Linalool"], ["Linalyl Acetate", "Linalool"]]
    assert data["difference"] == {"gained": ["Linalyl Acetate"], "lost": []}
    screen = shelf.ok("label", "product").out
    assert "only by the later list: Linalyl Acetate" in screen
    assert "only by the earlier list: none" in screen
    assert shelf.json("label", "product", "--on", "2026-08-01")["difference"] is None


def test_before_the_new_list_is_in_force_the_entries_follow_the_earlier_one(shelf):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    constituents(shelf, "oil", Linalool=20, Linalyl_Acetate=30)
    plan(shelf, {"water": "balance", "oil": "0.10", "polysorbate-20": "1"})
    found = label(resolve(Archive.open(shelf.root), "product"), "eu", None, datetime.date(2026, 1, 1))
    assert found.allergens == ("Linalool",)
    assert "Linalyl Acetate" not in found.ingredients


def test_whole_oils_are_entries_of_their_own(shelf):
    plan(shelf, {"water": "balance", "lavender-oil": "0.10", "polysorbate-20": "1"})
    new, old = declared(shelf), declared(shelf, on=OLD_DAY)
    assert "Lavandula Oil/Extract" in new.allergens
    assert "Lavandula Oil/Extract" in new.ingredients
    assert "Lavandula Angustifolia Oil" not in new.ingredients  # named once, as the list names it
    assert "Lavandula Angustifolia Oil" in old.ingredients


def test_oils_together_as_parfum(shelf):
    lines = {"water": "balance", "lavender-oil": "0.10", "orange-oil": "0.20", "polysorbate-20": "1"}
    plan(shelf, lines, extra='[label]\noils = "parfum"\n')
    found = declared(shelf)
    # the whole oils are named beside Parfum, since the list of 2023 has both as entries of their own
    assert found.ingredients[:5] == ("Aqua", "Polysorbate 20", "Parfum", "Citrus Aurantium Peel Oil", "Limonene")
    assert "Citrus Aurantium Dulcis Peel Oil" not in found.ingredients
    assert str(next(e for e in found.entries if e.name == "Parfum").share.nominal) == "3/10"
    assert "Lavandula Oil/Extract" in found.allergens  # the whole oil is named as well
    plan(shelf, lines)
    assert "Parfum" not in declared(shelf).ingredients


def test_an_allergen_that_is_an_ingredient_stands_once(shelf):
    shelf.material("benzyl-alcohol", "preservative", {"Benzyl Alcohol": 100})
    plan(shelf, {"water": "balance", "benzyl-alcohol": "0.8", "glycerin": "3"})
    found = declared(shelf)
    assert found.ingredients == ("Aqua", "Glycerin", "Benzyl Alcohol")
    assert found.allergens == ("Benzyl Alcohol",)


def test_typical_figures_are_said_to_be_typical(shelf):
    # lavender, European Pharmacopoeia: linalool 20 to 45 %
    plan(shelf, {"water": "balance", "lavender-oil": "0.10", "polysorbate-20": "1"})
    data = shelf.json("label", "product", "--on", "2026-08-01")
    linalool = next(a for a in data["lists"][0]["allergens"] if a["name"] == "Linalool")
    assert (linalool["low"], linalool["high"], linalool["by"]) == ("0.02", "0.045", ["typical"])
    assert any("Pharmacopoeia" in s or "Ph. Eur." in s for s in linalool["sources"])
    assert "typical figures" in shelf.ok("label", "product", "--on", "2026-08-01").out


def test_the_record_wins_over_what_is_typical(shelf):
    constituents(shelf, "lavender-oil", Linalool=0.5)
    plan(shelf, {"water": "balance", "lavender-oil": "0.10", "polysorbate-20": "1"})
    assert "Linalool" not in declared(shelf).allergens  # 0.0005 %


def test_an_allergen_that_only_the_worst_end_exceeds_is_named_and_uncertain(shelf):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    constituents(shelf, "oil", Linalool="[0.5, 2]")
    plan(shelf, {"water": "balance", "oil": "0.10", "polysorbate-20": "1"})
    found = declared(shelf)
    assert found.allergens == ("Linalool",)
    assert any(u.startswith("Linalool: named because it may exceed 0.001 %") for u in found.uncertain)


def test_an_oil_of_which_nothing_is_known_is_unknown_and_not_free_of_allergens(shelf):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    plan(shelf, {"water": "balance", "oil": "0.10", "polysorbate-20": "1"})
    assert any(u.startswith("oil: the allergens in it") for u in declared(shelf).unknown)


def test_without_a_use_the_strict_threshold_is_taken_and_said(shelf):
    plan(shelf, {"water": "balance", "lavender-oil": "0.10", "polysorbate-20": "1"}, use="")
    found = declared(shelf)
    assert "Linalool" in found.allergens
    assert any("the plan names no use" in u for u in found.uncertain)


# --- uncertain, carried in, unknown -------------------------------------------------------------------------


def test_ranges_that_overlap_make_the_order_uncertain(shelf):
    shelf.material("syrup", "humectant", {"Sorbitol": [60, 75], "Aqua": "balance"})
    plan(shelf, {"water": "balance", "glycerin": "3.3", "syrup": "5"})  # sorbitol 3.0 to 3.75
    found = declared(shelf)
    assert found.ingredients == ("Aqua", "Sorbitol", "Glycerin")
    assert any(u.startswith("the order of Sorbitol (3 to 3.75 %) and Glycerin (3.3 %)") for u in found.uncertain)
    plan(shelf, {"water": "balance", "glycerin": "2.9", "syrup": "5"})
    assert declared(shelf).uncertain == ()


def test_a_range_across_the_one_percent_line(shelf):
    shelf.material("syrup", "humectant", {"Sorbitol": [60, 75], "Aqua": "balance"})
    plan(shelf, {"water": "balance", "syrup": "1.5"})  # 0.9 to 1.125
    assert any("either side of the 1 % line" in u for u in declared(shelf).uncertain)


def test_what_a_raw_material_carries_in_is_marked(shelf):
    plan(shelf, {"water": "balance", "rice-protein-25": "2", "panthenol-75": "3"})
    found = declared(shelf)
    assert set(found.carried_in) == {"Sodium Benzoate", "Potassium Sorbate"}
    assert "Sodium Benzoate" in found.ingredients
    plan(shelf, {"water": "balance", "rice-protein-25": "2", "sodium-benzoate": "0.3"})
    assert declared(shelf).carried_in == ("Potassium Sorbate",)  # benzoate has a line of its own as well


def test_what_nobody_declared_is_unknown(shelf):
    shelf.material("mystery", "preservative", None)
    shelf.material("partly", "humectant", {"Sorbitol": 70})
    plan(shelf, {"water": "balance", "mystery": "1", "partly": "4", "glycerin": '{ level = "open" }'})
    found = declared(shelf)
    assert any(u.startswith("mystery: its record declares no composition (1 % of the product)") for u in found.unknown)
    assert any(u.startswith("glycerin: its line is open") for u in found.unknown)
    assert any("leaves undeclared (1.2 % of the product)" in u for u in found.uncertain)


# --- as made: the order of the amounts added -------------------------------------------------------------------

TRIAL = """format = 1
plan = "product.1"
batch = "100 g"
asked = [
  { phase = "A", material = "water", percent = 51, grams = 51 },
  { phase = "A", material = "glycerin", percent = 49, grams = 49 },
]
"""
ENTRIES = [
    ("weighed", "water", 51),
    ("weighed", "glycerin", 49),
    ("lost", "water", 10),
]


def entries(*rows: tuple[str, str, float]) -> str:
    return "".join(
        f'[[entry]]\nid = "e{i}"\nat = 2026-03-01T10:{i:02d}:00+01:00\n{action} = "{subject}"\ngrams = {grams}\n'
        for i, (action, subject, grams) in enumerate(rows)
    )


def test_of_a_batch_the_order_is_that_of_the_amounts_added(shelf):
    """Art. 19(1)(g): descending weight *at the time of addition*: water that evaporated counts."""
    plan(shelf, {"water": "51", "glycerin": "49"})
    shelf.write("trials/product/prd-260301-at-a.toml", TRIAL + entries(*ENTRIES))
    made = shelf.json("sheet", "prd-260301-at-a")
    assert [c["inci"] for c in made["composition"]] == ["Glycerin", "Aqua"]  # 49 and 41 g are in the beaker
    assert declared(shelf, ref="prd-260301-at-a").ingredients == ("Aqua", "Glycerin")


def test_water_that_was_put_back_is_not_added_twice(shelf):
    plan(shelf, {"water": "49", "glycerin": "51"})
    rows = [("weighed", "water", 49), ("weighed", "glycerin", 51), ("lost", "water", 10), ("replaced", "water", 10)]
    shelf.write("trials/product/prd-260301-at-a.toml", TRIAL + entries(*rows))
    assert declared(shelf, ref="prd-260301-at-a").ingredients == ("Glycerin", "Aqua")
    shelf.write("trials/product/prd-260301-at-a.toml", TRIAL + entries(*rows, ("replaced", "water", 5)))
    assert declared(shelf, ref="prd-260301-at-a").ingredients == ("Aqua", "Glycerin")  # 54 of 51: five grams more than were lost


# --- the command ------------------------------------------------------------------------------------------------


def test_one_line_to_copy(shelf):
    plan(shelf, {"water": "balance", "glycerin": "3", "sodium-benzoate": "0.4"})
    result = shelf.ok("label", "product", "--line")
    assert result.out == "Aqua, Glycerin, Sodium Benzoate\n"
    assert "the responsible person must confirm it" in result.err


def test_the_screen_says_that_it_is_an_aid(shelf):
    plan(shelf, {"water": "balance", "glycerin": "3", "sodium-benzoate": "0.4"})
    out = " ".join(shelf.ok("label", "product").out.split())
    assert "An aid to writing the label: the responsible person must confirm it" in out
    assert "--- less than 1 % from here, in any order" in out
    assert "--- 1 % or less from here, in any order" in " ".join(shelf.ok("label", "product", "--rules", "us").out.split())


def test_the_keys_of_the_data(shelf):
    plan(shelf, {"water": "balance", "glycerin": "3", "sodium-benzoate": "0.4"})
    data = shelf.json("label", "product", "--on", "2026-08-01")
    assert data["schema"] == 1
    assert (data["rules"], data["on"], data["one_percent_line"]) == ("eu", "2026-08-01", 2)
    assert data["ingredients"] == ["Aqua", "Glycerin", "Sodium Benzoate"]
    assert (data["allergens"], data["uncertain"], data["carried_in"], data["unknown"]) == ([], [], [], [])
    assert data["line"] == "Aqua, Glycerin, Sodium Benzoate"
    assert data["figures"][1] == {
        "name": "Glycerin", "percent": "3", "low": "3", "high": "3", "kind": "ingredient", "carried_in": False, "from": ["glycerin"],
    }  # fmt: skip


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["--on", "2026-02-30"], 'there is no day "2026-02-30"'),
        (["--on", "tomorrow"], 'there is no day "tomorrow"'),
        (["--rules", "house"], "a label follows one law"),
        (["--rules", "uk"], 'no rule set "uk"'),
    ],
)
def test_calls_that_cannot_be_answered(shelf, arguments, words):
    plan(shelf, {"water": "balance", "glycerin": "3"})
    assert words in shelf.refused("label", "product", *arguments)


def test_a_difference_shows_the_label_and_its_allergens(studio):
    for id, (function, composition) in SHELF.items():
        studio.material(id, function, composition)
    studio.formula("product", {"A": {"water": "balance", "glycerin": "3", "betaine": "2", "sodium-benzoate": "0.4"}})
    studio.ok("revise", "product", "--reason", "first")
    studio.ok("set", "product", "betaine=4", "--save")
    (change,) = studio.json("diff", "product")["labels"]
    assert (change["order_changed"], change["gained"], change["lost"]) == (True, [], [])
    assert "label order (eu) down to the 1 % line is now: Aqua, Betaine, Glycerin" in studio.ok("diff", "product").out
    studio.ok("set", "product", "betaine=2", "A:lavender-oil=0.1", "A:polysorbate-20=1", "--save")
    (change,) = studio.json("diff", "product")["labels"]
    assert "Linalool" in change["allergens_gained"]
    assert "declared allergens gained (eu, the list as widened in 2023): " in studio.ok("diff", "product").out
    studio.ok("set", "product", "lavender-oil=none", "polysorbate-20=none", "--save")
    assert studio.json("diff", "product")["labels"] == []


# --- what a newcomer found ---------------------------------------------------------------------------------


def test_one_substance_in_two_spellings_stands_once(shelf):
    shelf.material("other-salt", "preservative", {"sodium benzoate": 100})
    shelf.material("glycerine", "humectant", {"Glycerine": 100})
    plan(shelf, {"water": "balance", "sodium-benzoate": "0.25", "other-salt": "0.3", "glycerin": "2", "glycerine": "1"})
    assert declared(shelf).ingredients == ("Aqua", "Glycerin", "Sodium Benzoate")


def test_an_unknown_share_has_no_invented_figure(shelf):
    shelf.material("blend", "preservative", {"Phenoxyethanol": "unknown", "Glycerin": 30})
    plan(shelf, {"water": "balance", "betaine": "3", "blend": "5"})
    found = declared(shelf)
    assert found.ingredients[:3] == ("Aqua", "Betaine", "Glycerin")  # at least 0 %, so it stands last
    assert any(u.startswith("Phenoxyethanol: blend does not say how much it brings (0 to 3.5 % in all)") for u in found.uncertain)
    row = next(line for line in shelf.ok("label", "product", "--on", "2026-08-01").out.splitlines() if line.startswith("  Phenoxyethanol"))
    assert row.split()[1] == "?"
    assert next(f for f in shelf.json("label", "product")["figures"] if f["name"] == "Phenoxyethanol")["percent"] is None


def test_a_plan_that_does_not_close_has_no_label_to_rely_on(shelf):
    plan(shelf, {"water": "90", "glycerin": "3"})
    result = shelf.fvc("label", "product", "--line")
    assert result.code == 2
    assert "7 short of 100" in result.err


def test_a_name_that_is_not_known_is_uncertain(shelf):
    shelf.material("odd", "humectant", {"Mystericum Extract": 100})
    plan(shelf, {"water": "balance", "odd": "3"})
    assert any(u.startswith("Mystericum Extract: not an INCI name that fvc knows") for u in declared(shelf).uncertain)
    assert "not an INCI name" in shelf.ok("label", "product", "--line").err


def test_which_list_the_declaration_follows_is_said(shelf):
    plan(shelf, {"water": "balance", "lavender-oil": "0.1", "polysorbate-20": "1"})
    assert "It names allergens by the list as widened in 2023, in force today" in " ".join(shelf.ok("label", "product").out.split())
    said = " ".join(shelf.ok("label", "product", "--on", "2026-01-01").out.split())
    assert "It names allergens by the earlier list (26 entries of 2003, two of them banned since)" in said


def test_an_american_label_asks_for_no_allergens(shelf):
    shelf.material("oil", "essential oil", {"Invented Test Oil": 100})
    plan(shelf, {"water": "balance", "oil": "0.1", "polysorbate-20": "1"})
    assert declared(shelf, "us").unknown == ()


def test_two_laws_at_once_are_refused(shelf):
    plan(shelf, {"water": "balance", "glycerin": "3"})
    assert "a label follows one law" in shelf.refused("label", "product", "--rules", "eu", "--rules", "us")


@pytest.mark.parametrize("rules, uncertain", [("eu", True), ("us", False)])
def test_a_range_that_ends_at_exactly_one_percent(shelf, rules, uncertain):
    shelf.material("wide", "active", {"Allantoin": [50, 100], "Aqua": "balance"})
    plan(shelf, {"water": "balance", "glycerin": "3", "wide": "1"})  # 0.5 to 1.00
    assert any("either side of the 1 % line" in u for u in declared(shelf, rules).uncertain) is uncertain
