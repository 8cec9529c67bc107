"""fvc ph, fvc workings and properties in the flow, as a maker uses them: before weighing, at the bench, and after a change."""

from pathlib import Path

import pytest

from tests.support import Studio

MATERIALS = {
    "citric-acid-50": ("pH adjuster", {"Citric Acid": 50, "Aqua": "balance"}, ""),
    "lactic-acid-80": ("pH adjuster", {"Lactic Acid": 80, "Aqua": "balance"}, ""),
    "lye-25": ("pH adjuster", {"Sodium Hydroxide": 25, "Aqua": "balance"}, ""),
    "sodium-lactate-60": ("humectant", {"Sodium Lactate": 60, "Aqua": "balance"}, ""),
    "trisodium-citrate-dihydrate": ("buffer", {"Sodium Citrate": 100}, "molar_mass = 294.10\n"),
    "sodium-benzoate": ("preservative", {"Sodium Benzoate": 100}, ""),
    "rose-water": ("hydrosol", {"Rosa Damascena Flower Water": 100}, ""),
    "polysorbate-20": ("solubiliser", {"Polysorbate 20": 100}, 'charge = "non-ionic"\nhlb = 16.7\n'),
    "neroli-oil": ("essential oil", {"Citrus Aurantium Amara Flower Oil": 100}, ""),
    "glycerin": ("humectant", {"Glycerin": 100}, "density = 1.26\n"),
}
LINES = {
    "A": {"water": "balance", "glycerin": "3.00", "sodium-lactate-60": "1.50", "trisodium-citrate-dihydrate": "0.40"},
    "B": {"neroli-oil": "0.20", "polysorbate-20": "4 x neroli-oil"},
    "C": {"sodium-benzoate": "0.40", "citric-acid-50": "0.90"},
}
SPEC = "\n[spec]\nph = [4.4, 4.9]\n"


@pytest.fixture
def here(prepared) -> Studio:
    """A studio with a buffered toner, saved as revision 1."""
    return Studio(prepared(_here))


def _here(folder: Path) -> None:
    studio = Studio.make(folder)
    for id, (function, composition, extra) in MATERIALS.items():
        studio.material(id, function, composition, extra)
    studio.formula("toner", LINES, batch="150 g", extra=SPEC)
    studio.ok("revise", "toner", "--reason", "first")


def made(studio: Studio, *seen: str, plan: str = "toner", skip: str = "") -> str:
    """A batch weighed exactly as asked but for `skip`, then looked at; its id."""
    id = str(studio.json("trial", "start", plan)["id"])
    for line in studio.json("weigh", plan)["lines"]:
        if line["material"] != skip:
            studio.ok("trial", "weighed", id, line["material"], line["grams"])
    for words in seen:
        studio.ok("trial", "see", id, words)
    return id


def plain(text: str) -> str:
    return " ".join(text.split())


# --- fvc ph -----------------------------------------------------------------------------------------


def test_the_keys_that_scripts_rely_on(here: Studio):
    data = here.json("ph", "toner")
    assert {
        "schema",
        "estimate",
        "low",
        "high",
        "buffer_value",
        "ionic_strength",
        "not_counted",
        "readings",
        "anchored",
        "declined",
    } <= set(data)
    assert (data["anchored"], data["declined"], data["readings"], data["not_counted"]) == (False, None, [], [])
    assert data["low"] < data["estimate"] < data["high"]
    assert data["estimate"] == "4.52"


def test_the_screen_before_anything_was_made(here: Studio):
    out = plain(here.ok("ph", "toner").out)
    assert "pH 4.52, between 4.48 and 4.57" in out
    assert "no pH was read of any batch of it yet: the model alone" in out
    assert "spec: pH 4.4 to 4.9" in out
    assert "buffer value" in out
    assert "citric-acid-50 0.95 to 1.05 times, assumed" in out
    assert "the meter decides" in out


def test_a_reading_is_where_it_starts_from(here: Studio):
    id = made(here, "clear pH 4.48 meter")
    data = here.json("ph", "toner")
    assert data["anchored"] is True
    assert data["estimate"] == "4.48"
    (reading,) = data["readings"]
    assert (reading["trial"], reading["ph"], reading["by"], reading["own"], reading["anchor"]) == (id, "4.48", "meter", True, True)
    assert reading["residual"] == "-0.04"
    assert f"as it was read: 4.48 in {id}, on the day it was made, a batch of this plan" in plain(here.ok("ph", "toner").out)
    assert f"as it was read, and nothing went in since: 4.48 in {id}" in plain(here.ok("ph", id).out)
    # a change moves from the reading by what the model moves
    here.ok("set", "toner", "citric-acid-50=1.20", "--save")
    after = here.json("ph", "toner")
    assert after["anchored"] is True
    assert "starts from the meter: 4.48 in" in plain(here.ok("ph", "toner").out)
    assert float(after["estimate"]) == pytest.approx(4.48 + float(after["model"]["estimate"]) - 4.52, abs=0.011)


def test_a_strip_is_no_better_than_it_is_and_a_meter_goes_before_it(here: Studio):
    made(here, "clear pH 4.5 strip")
    first = here.json("ph", "toner")
    assert float(first["high"]) - float(first["low"]) >= 0.5
    made(here, "clear pH 4.55 meter")
    made(here, "clear pH 5.0 strip")
    assert here.json("ph", "toner")["estimate"] == "4.55"


def test_a_reading_of_a_warm_sample_is_shown_and_not_started_from(here: Studio):
    made(here, "clear pH 4.50 meter", "warm cloudy pH 4.90 meter")
    data = here.json("ph", "toner")
    assert data["estimate"] == "4.50"
    assert [r["condition"] for r in data["readings"]] == ["room", "warm"]


def test_readings_of_another_revision_serve_until_there_are_own_ones(here: Studio):
    made(here, "pH 4.50 meter")
    here.ok("set", "toner", "glycerin=2.00", "--reason", "less")
    data = here.json("ph", "toner")
    assert (data["anchored"], data["readings"][0]["own"]) == (True, False)
    made(here, "pH 4.70 meter")
    assert here.json("ph", "toner")["estimate"] == "4.70"
    assert here.json("ph", "toner.1")["estimate"] == "4.50"


def test_declined_in_words_and_in_data(here: Studio):
    here.formula("mist", {"A": {"water": "balance", "glycerin": "3.00"}})
    data = here.json("ph", "mist")
    assert (data["estimate"], data["low"], data["high"]) == (None, None, None)
    assert data["declined"] == "unbuffered: carbon dioxide and traces decide"
    assert data["direction"] == "near neutral"
    assert "no estimate: unbuffered: carbon dioxide and traces decide; near neutral" in plain(here.ok("ph", "mist").out)
    here.formula("balm", {"A": {"neroli-oil": "balance"}})
    assert here.json("ph", "balm")["declined"] == "no water in it, and without water there is no pH"


def test_what_is_not_counted_is_listed(here: Studio):
    here.ok("set", "toner", "A:rose-water=10", "--save")
    (left,) = here.json("ph", "toner")["not_counted"]
    assert left.startswith("Rosa Damascena Flower Water (rose-water): its acidity is not known, nor is its water counted")


# --- a dose -----------------------------------------------------------------------------------------


def test_a_dose_for_the_plan_by_the_model(here: Studio):
    here.ok("set", "toner", "citric-acid-50=none", "--save")
    data = here.json("ph", "toner", "--to", "4.6", "--with", "citric-acid-50")["dose"]
    assert (data["by"], data["first_share"], data["stock_percent"]) == ("model", "50", None)
    grams = float(data["grams"])
    assert float(data["first_grams"]) == pytest.approx(grams / 2, abs=0.005)
    # written as a level it comes out at the target
    here.ok("set", "toner", f"C:citric-acid-50={grams / (150 + grams) * 100:.4f}", "--save")
    assert here.json("ph", "toner")["estimate"] == "4.60"


def test_an_open_line_is_dosed_as_a_whole_and_told_what_the_plan_expects(here: Studio):
    here.edit("formulas/toner.toml", "citric-acid-50 = 0.90", 'citric-acid-50 = { level = "open", expect = 0.90 }')
    result = here.ok("ph", "toner", "--to", "4.52", "--with", "citric-acid-50")
    assert "in all, by the model alone" in plain(result.out)
    assert "the plan expects 0.90 %, 1.35 g" in plain(result.out)
    data = here.json("ph", "toner", "--to", "4.52", "--with", "citric-acid-50")["dose"]
    assert data["in_all"] is True
    assert float(data["grams"]) == pytest.approx(1.35, abs=0.02)


def test_at_the_bench_two_readings_around_a_weighed_addition_measure_it(here: Studio):
    id = made(here, skip="citric-acid-50")
    here.ok("trial", "weighed", id, "citric-acid-50", "0.80")
    here.ok("trial", "see", id, "pH 4.90 meter")
    here.ok("trial", "added", id, "citric-acid-50", "0.30")
    here.ok("trial", "see", id, "pH 4.78 meter")
    data = here.json("ph", id, "--to", "4.66", "--with", "citric-acid-50")
    (point,) = data["titration"]
    assert (point["material"], point["grams"], point["before"], point["after"]) == ("citric-acid-50", "0.3", "4.90", "4.78")
    product = float(point["product_g"])
    assert float(point["grams_per_100g_and_ph"]) == pytest.approx(0.30 / product * 100 / 0.12, abs=0.0001)
    dose = data["dose"]
    # 0.30 g moved it by 0.12, so another 0.12 take 0.30 g times what the batch has grown by
    assert dose["by"] == "measured"
    assert float(dose["grams"]) == pytest.approx(0.30 * (product + 0.30) / product, abs=0.002)
    assert dose["first_share"] == "80"
    out = plain(here.ok("ph", id, "--to", "4.66", "--with", "citric-acid-50").out)
    assert "on top of what is there, measured:" in out
    assert "as 0.3 g citric-acid-50 in" in out
    assert f"fvc trial added {id} citric-acid-50 0.24" in out
    assert f'fvc trial see {id} "pH … meter"' in out
    assert "stir until even, wait two minutes, read the pH" in out


def test_acid_that_does_not_move_it_stops_the_advice(here: Studio):
    id = made(here, "pH 4.70 meter")
    here.ok("trial", "added", id, "citric-acid-50", "0.60", "--sure")
    here.ok("trial", "see", id, "pH 4.72 meter")
    result = here.fvc("ph", id, "--to", "4.5", "--with", "citric-acid-50")
    assert result.code == 1
    assert "0.6 g citric-acid-50 took it from 4.70 to 4.72, where -0." in plain(result.err)
    assert "nothing more goes in before that" in plain(result.err)


def test_a_later_reading_takes_the_place_of_one_that_was_taken_too_early(here: Studio):
    id = made(here, "pH 4.70 meter")
    here.ok("trial", "added", id, "citric-acid-50", "0.60", "--sure")
    here.ok("trial", "see", id, "pH 4.72 meter")
    assert here.fvc("ph", id, "--to", "4.3", "--with", "citric-acid-50").code == 1
    here.ok("trial", "see", id, "pH 4.58 meter")
    data = here.json("ph", id, "--to", "4.3", "--with", "citric-acid-50")
    (point,) = data["titration"]
    assert (point["before"], point["after"]) == ("4.70", "4.58")
    assert data["dose"]["by"] == "measured"


def test_water_beside_an_addition_is_no_second_material(here: Studio):
    id = made(here, "pH 4.70 meter")
    here.ok("trial", "added", id, "citric-acid-50", "0.40", "--sure")
    here.ok("trial", "added", id, "water", "3.60", "--sure")
    here.ok("trial", "see", id, "pH 4.58 meter")
    (point,) = here.json("ph", id)["titration"]
    assert (point["material"], point["grams"]) == ("citric-acid-50", "0.4")


def test_a_hot_reading_is_no_start(here: Studio):
    id = made(here, "pH 4.20 meter at 65 °C")
    data = here.json("ph", "toner")
    assert (data["anchored"], data["readings"][0]["temperature"]) == (False, "65 °C")
    assert "not started from the last reading: read at 65 °C" in plain(here.ok("ph", id).out)


def test_a_strip_too_near_to_the_target_says_nothing(here: Studio):
    id = made(here, "pH 4.5 strip")
    result = here.fvc("ph", id, "--to", "4.4", "--with", "citric-acid-50")
    assert result.code == 1
    assert "a strip read 4.5, which may be 0.25 off" in plain(result.err)


def test_a_reading_in_a_dilution_says_what_the_product_is(here: Studio):
    id = str(made(here))
    here.ok("trial", "see", id, "pH 4.60 meter", "--dilution", "10 % in water")
    out = plain(here.ok("ph", "toner").out)
    assert "as it reads 10 % in water; about 4." in out


def test_cautions_before_a_dose_goes_in(here: Studio):
    here.edit("materials/citric-acid-50.toml", "[composition]", "use_level = [0.1, 1.5]\n[composition]")
    data = here.json("ph", "toner", "--to", "3.2", "--with", "citric-acid-50")["dose"]
    first, second, third = data["cautions"]
    assert first == "pH 3.2 is outside the spec, 4.4 to 4.9"
    assert second.endswith("% citric-acid-50 in all, and its record allows 1.5 %")
    assert "a qualified assessor says" in third
    assert "caution: pH 3.2 is outside the spec" in plain(here.ok("ph", "toner", "--to", "3.2", "--with", "citric-acid-50").out)


def test_a_declined_model_gives_no_dose(here: Studio):
    here.formula("peel", {"A": {"citric-acid-50": "balance", "glycerin": "1.00"}})
    result = here.fvc("ph", "peel", "--to", "4.0", "--with", "lye-25")
    assert result.code == 1
    assert "does not bring" not in result.err
    assert "no dose:" in result.err


def test_a_batch_that_nothing_holds_still_has_its_reading(here: Studio):
    here.formula("mist", {"A": {"water": "balance", "glycerin": "3.00"}}, batch="150 g")
    here.ok("revise", "mist", "--reason", "first")
    id = made(here, "clear pH 6.20 meter", plan="mist")
    data = here.json("ph", id)
    assert (data["estimate"], data["anchored"], data["declined"]) == ("6.20", True, None)
    assert here.json("ph", "mist")["declined"].startswith("unbuffered")
    out = plain(here.fvc("ph", id, "--to", "5.0", "--with", "citric-acid-50").err)
    assert "nothing holds the pH at 5" in out


def test_an_unsaved_change_makes_readings_those_of_another_plan(here: Studio):
    made(here, "pH 4.50 meter")
    made(here, "pH 4.52 meter")
    assert here.json("ph", "toner", "--to", "4.2", "--with", "citric-acid-50")["dose"]["first_share"] == "80"
    here.ok("set", "toner", "sodium-lactate-60=3.00", "--save")
    assert here.json("ph", "toner", "--to", "4.2", "--with", "citric-acid-50")["dose"]["first_share"] == "50"


def test_the_stock_solution_is_put_down_as_what_it_is(here: Studio):
    id = made(here, "pH 4.70 meter")
    out = here.ok("ph", id, "--to", "4.63", "--with", "citric-acid-50").out
    added = [line.split()[2:] for line in out.splitlines() if line.strip().startswith("fvc trial added")]
    assert [each[2] for each in added] == ["citric-acid-50", "water"]
    neat, water = (float(each[3]) for each in added)
    assert water == pytest.approx(9 * neat, rel=0.01)
    for each in added:
        here.ok("trial", *each)
    assert 4.63 < float(here.json("ph", id)["estimate"]) < 4.70


def test_a_small_dose_comes_as_a_stock_solution(here: Studio):
    id = made(here, "pH 4.70 meter")
    out = plain(here.ok("ph", id, "--to", "4.63", "--with", "citric-acid-50").out)
    assert "g of a stock solution, 1 g + 9 g water (10 % of citric-acid-50 as it is): 50 % of it" in out
    assert "half only, since fewer than two readings of this plan" in out
    assert "goggles and gloves" in out
    data = here.json("ph", id, "--to", "4.63", "--with", "citric-acid-50")["dose"]
    assert data["stock_percent"] == "10"
    assert float(data["first_stock_grams"]) == pytest.approx(float(data["first_grams"]) * 10, abs=0.006)


def test_a_base_where_an_acid_is_needed_is_told(here: Studio):
    result = here.fvc("ph", "toner", "--to", "4.0", "--with", "lye-25")
    assert result.code == 1
    assert "lye-25 raises the pH, and it stands at 4.52 already" in result.err
    assert "take an adjuster that lowers it" in result.err
    data = here.fvc("ph", "toner", "--to", "4.0", "--with", "lye-25", "--json").data
    assert data["dose"] is None
    assert data["no_dose"]["why"].startswith("lye-25 raises the pH")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--to", "4.8"], "add --with"),
        (["--with", "citric-acid-50"], "a pH to go to is missing"),
        (["--to", "44", "--with", "citric-acid-50"], "no product stands at that pH"),
        (["--to", "sour", "--with", "citric-acid-50"], '--to "sour" cannot be read'),
        (["--to", "4,8", "--with", "citric-acid-50"], "with a point"),
        (["--to", "4.8", "--with", "citric-acid"], "citric-acid-50"),
    ],
)
def test_mistakes(here: Studio, arguments: list[str], said: str):
    assert said in plain(here.refused("ph", "toner", *arguments))


def test_a_plan_that_does_not_close_is_estimated_and_said_to_be_open(here: Studio):
    here.edit("formulas/toner.toml", 'water = "balance"', "water = 90")
    result = here.fvc("ph", "toner")
    assert result.code == 2
    assert "pH 4." in result.out
    assert "note: the lines total 97.2 %: it is of these lines alone" in plain(result.out)
    assert "short of 100" in here.refused("ph", "toner", "--to", "4.5", "--with", "citric-acid-50")


# --- workings ---------------------------------------------------------------------------------------


def test_a_property_goes_by_what_a_sheet_prints_of_it(here: Studio):
    for printed in ("buffer value", "HLB of the emulsifiers", "undissociated benzoic acid", "water activity", "Density"):
        assert here.ok("workings", "toner", printed).out


@pytest.mark.parametrize("key", ["ph", "preservation", "water-activity", "solubiliser", "hlb", "required-hlb", "density", "solids"])
def test_workings_of_every_property(here: Studio, key: str):
    data = here.json("workings", "toner", key)
    assert data["property"] == key
    assert data["estimates"] or key == "preservation"
    assert here.ok("workings", "toner", key).out


def test_the_workings_can_be_followed(here: Studio):
    out = plain(here.ok("workings", "toner", "preservation").out)
    assert "0.4 % x 122.12 / 144.1 -> 0.339 %" in out
    assert "1 / (1 + 10^(4.52 - 4.204))" in out
    assert "challenge test" in out


def test_the_split_of_two_emulsifiers(here: Studio):
    """Polysorbate 20 (16.7) and sorbitan oleate (4.3) at a required HLB of 8.5: 33.87 and 66.13 % (Griffin 1949)."""
    here.material("sorbitan-oleate", "emulsifier", {"Sorbitan Oleate": 100}, "hlb = 4.3\n")
    here.material("polysorbate-20", "emulsifier", {"Polysorbate 20": 100}, "hlb = 16.7\n")
    here.material("squalane", "emollient", {"Squalane": 100})
    here.formula("cream", {"A": {"water": "balance"}, "B": {"squalane": "20", "polysorbate-20": "1", "sorbitan-oleate": "3"}})
    out = plain(here.ok("workings", "cream", "hlb", "--target", "8.5").out)
    assert "33.871 %" in out or "33.87" in out
    assert "1.3548 % polysorbate-20, 2.6452 % sorbitan-oleate" in out
    refused = here.refused("workings", "cream", "hlb", "--target", "18")
    assert "18" in refused


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["toner", "viscosity"], "known are ph, preservation"),
        (["toner", "hbl"], "hlb"),
        (["toner", "sollids"], "solids"),
        (["toner", "ph", "--target", "8"], "go with hlb"),
        (["tonr", "ph"], "toner"),
    ],
)
def test_mistakes_of_workings(here: Studio, arguments: list[str], said: str):
    assert said in plain(here.refused("workings", *arguments))


# --- in the flow ------------------------------------------------------------------------------------


def test_the_sheet_with_its_properties(here: Studio):
    assert "Properties" not in here.ok("sheet", "toner").out
    out = plain(here.ok("sheet", "toner", "--properties").out)
    for said in (
        "pH 4.52",
        "undissociated benzoic acid",
        "water activity 0.98",
        "solubiliser to oil 4.0",
        "HLB of the emulsifiers 16.7",
        "solids",
    ):
        assert said in out, said
    names = [p["property"] for p in here.json("sheet", "toner", "--properties")["properties"]]
    assert names[0] == "pH"
    assert "properties" not in here.json("sheet", "toner")


def row(data: dict, name: str) -> dict:
    """One property of a diff."""
    return next(p for p in data["properties"] if p["property"] == name)


def test_a_change_says_what_it_does(here: Studio):
    made(here, "clear pH 4.60 meter")
    change = ("set", "toner", "trisodium-citrate-dihydrate=0.80")
    data = here.json(*change)
    ph = row(data, "pH")
    assert ph["before"] == "4.60"
    assert float(ph["after"]) > 4.75
    assert float(ph["low"]) < float(ph["after"]) < float(ph["high"])
    out = plain(here.ok(*change).out)
    assert "estimated before after change" in out
    assert "pH 4.60 4." in out
    assert "the pH starts from the meter and moves as the model does: 4.60 in" in out
    assert "Benzoic Acid, undissociated: 0.0972 % before," in out
    assert "falls to" in out


def test_what_does_not_change_is_not_told(here: Studio):
    out = plain(here.ok("set", "toner", "glycerin=3.10").out)
    assert "buffer value" not in out
    assert "solubiliser to oil" not in out
    assert row(here.json("set", "toner", "glycerin=3.10"), "solubiliser to oil")["after"] == "4.0"


def test_halving_what_works_is_said_in_words(here: Studio):
    out = plain(here.ok("set", "toner", "sodium-benzoate=0.20").out)
    assert "Benzoic Acid, undissociated:" in out
    assert "it falls to 5" in out or "it halves" in out


def test_a_diff_where_one_side_has_no_figure(here: Studio):
    here.ok(
        "set",
        "toner",
        "trisodium-citrate-dihydrate=none",
        "sodium-lactate-60=none",
        "citric-acid-50=none",
        "sodium-benzoate=none",
        "--save",
    )
    data = here.json("diff", "toner.1", "toner")
    assert row(data, "pH")["after"] is None
    assert row(data, "pH")["instead"].startswith("unbuffered")
    assert "pH after: unbuffered: carbon dioxide and traces decide; near neutral" in plain(here.ok("diff", "toner.1", "toner").out)


def test_own_batches_say_whether_the_solubiliser_carries_the_oil(here: Studio):
    made(here, "clear")
    here.ok("set", "toner", "polysorbate-20=2 x neroli-oil", "--reason", "less")
    made(here, "hazy")
    here.ok("set", "toner", "polysorbate-20=4 x neroli-oil", "--reason", "back")
    out = plain(here.ok("set", "toner", "polysorbate-20=2 x neroli-oil").out)
    assert "polysorbate-20 to neroli-oil: 2.0 is a ratio that was hazy" in out
    assert "caution" in out
    report = here.fvc("check", "toner.2", "--json").data
    found = next(f for f in report["findings"] if f["rule"] == "solubiliser")
    assert found["level"] == "caution"


def test_check_holds_the_estimate_against_the_spec(here: Studio):
    made(here, "pH 4.60 meter")
    here.ok("set", "toner", "citric-acid-50=0.20", "--save")
    report = here.fvc("check", "toner", "--json").data
    (found,) = [f for f in report["findings"] if f["rule"] == "ph-estimate"]
    assert found["level"] == "caution"
    assert "and the spec is 4.4 to 4.9" in found["message"]
    assert "from the reading of" in found["source"]
    here.ok("set", "toner", "citric-acid-50=0.90", "--save")
    assert not [f for f in here.fvc("check", "toner", "--json").data["findings"] if f["rule"] == "ph-estimate"]


def test_stand_ins_say_how_the_ph_moves(here: Studio):
    here.material("sodium-citrate-anhydrous", "buffer", {"Sodium Citrate": 100})
    data = here.json("stand-ins", "toner", "trisodium-citrate-dihydrate", "--basis", "as-supplied")
    (candidate,) = data["stand_ins"]
    ph = next(p for p in candidate["properties"] if p["property"] == "pH")
    assert float(ph["after"]) > float(ph["before"])
    assert "pH: estimated, by how much it moves" in plain(
        here.ok("stand-ins", "toner", "trisodium-citrate-dihydrate", "--basis", "as-supplied").out
    )


def test_variants_side_by_side_with_their_properties(here: Studio):
    here.ok("variant", "new", "toner", "sour", "--question", "Sharper?")
    here.edit("variants/toner/sour.toml", "citric-acid-50 = 0.90", "citric-acid-50 = 1.20")
    out = plain(here.ok("variant", "compare", "toner").out)
    assert "pH 4.52 4.35" in out, out
    columns = here.json("variant", "compare", "toner")["columns"]
    assert columns[0]["properties"][0]["property"] == "pH"
