"""`fvc diff`: what changed between two references, and what that does to the product."""

from fractions import Fraction

import pytest

from tests.support import Studio

MIST = """\
format   = 1
title    = "Garden mist"
revision = 1
use      = "leave-on"
batch    = "200 g"

[phase.A]
method = "Stir until clear."
[phase.A.percent]
water    = "balance"
glycerin = 3.00
betaine  = 1.00

[phase.B]
[phase.B.percent]
neroli-oil     = 0.20
polysorbate-20 = "4 x neroli-oil"
"""

PLAN = "formulas/mist.toml"


@pytest.fixture
def mist(studio) -> Studio:
    """A mist saved as revision 1."""
    studio.material("glycerin", "humectant", {"Glycerin": 99.5, "Aqua": "balance"})
    studio.material("propanediol", "humectant", {"Propanediol": 100})
    studio.material("betaine", "humectant", {"Betaine": 100})
    studio.material("neroli-oil", "essential oil", {"Citrus Aurantium Amara Flower Oil": 100})
    studio.material("polysorbate-20", "solubiliser", {"Polysorbate 20": 100})
    studio.write(PLAN, MIST)
    studio.save_as("Ada", "2026-02-01", message="mist 1: a mist for the garden")
    return studio


def again(studio, number, *edits, day="2026-03-01") -> None:
    """The next revision with these pieces replaced."""
    for old, new in edits:
        studio.edit(PLAN, old, new)
    studio.edit(PLAN, f"revision = {number - 1}", f"revision = {number}")
    studio.save_as("Bea", day, message=f"mist {number}: another try")


def kinds(data) -> dict[str, str]:
    return {line["material"]: line["kind"] for line in data["lines"]}


def line(data, material) -> dict:
    return next(each for each in data["lines"] if each["material"] == material)


# --- which two sides -------------------------------------------------------------------------------


def test_alone_a_name_is_compared_with_what_was_last_saved(mist):
    mist.edit(PLAN, "glycerin = 3.00", "glycerin = 2.50")
    data = mist.json("diff", "mist")
    assert (data["before"]["revision"], data["before"]["saved"]) == (1, True)
    assert data["before"]["commit"] == mist.git("rev-parse", "HEAD").strip()
    assert data["after"] == {"ref": "mist", "commit": None, "revision": 1, "saved": False}
    assert line(data, "glycerin")["points"] == "-0.5"
    out = mist.ok("diff", "mist").out
    assert ": revision 1 in " in out
    assert "mist in the folder: revision 1, changed since" in out


def test_alone_an_old_revision_is_compared_with_the_folder(mist):
    again(mist, 2, ("glycerin = 3.00", "glycerin = 2.50"))
    mist.edit(PLAN, "glycerin = 2.50", "glycerin = 2.00")
    data = mist.json("diff", "mist.1")
    assert (data["before"]["ref"], data["after"]["ref"]) == ("mist.1", "mist")
    assert line(data, "glycerin")["points"] == "-1"
    assert line(mist.json("diff", "mist.2026-02-15"), "glycerin")["points"] == "-1"
    assert line(mist.json("diff", "mist.before"), "glycerin")["points"] == "-1"


def test_alone_a_variant_is_compared_with_its_parent(mist):
    again(mist, 2, ("glycerin = 3.00", "glycerin = 2.50"))
    about = '[variant]\nparent = "mist.1"\nquestion = "Less?"\nstate = "open"\n\n[phase.A]\n'
    mist.write("variants/mist/lighter.toml", MIST.replace("[phase.A]\n", about, 1).replace("3.00", "1.00"))
    data = mist.json("diff", "mist/lighter")
    assert (data["before"]["ref"], data["before"]["revision"], data["after"]["ref"]) == ("mist.1", 1, "mist/lighter")
    assert line(data, "glycerin")["points"] == "-2"
    assert line(mist.json("diff", "mist.2", "mist/lighter"), "glycerin")["points"] == "-1.5"


def test_alone_a_trial_is_compared_with_its_plan(mist):
    entries = "".join(
        f'[[entry]]\nid = "a-{n}"\nat = 2026-02-0{n}T10:00:00+01:00\nweighed = "{material}"\ngrams = {grams}\n'
        for n, (material, grams) in enumerate(
            [("water", "95.00"), ("glycerin", "4.00"), ("betaine", "1.00"), ("neroli-oil", "0.20"), ("polysorbate-20", "0.80")], 1
        )
    )
    asked = '{ phase = "A", material = "water", percent = 95.00, grams = 95.00 }'
    mist.write(
        "trials/mist/gm-1.toml",
        f'format = 1\nplan = "mist.1"\nplan_id = ""\nbatch = "100 g"\nscale = "0.01 g"\nasked = [{asked}]\n{entries}',
    )
    data = mist.json("diff", "gm-1")
    assert (data["before"]["ref"], data["before"]["revision"], data["after"]["revision"]) == ("mist.1", 1, None)
    assert line(data, "glycerin")["after_percent"].startswith("3.9603960396")  # 4 g in 101 g


def test_two_formulas_are_compared(mist):
    mist.write("formulas/rain.toml", MIST.replace("Garden mist", "Rain").replace("glycerin = 3.00", "propanediol = 4.00"))
    data = mist.json("diff", "mist", "rain")
    assert kinds(data) == {
        "water": "followed",
        "glycerin": "removed",
        "propanediol": "added",
        "betaine": "same",
        "neroli-oil": "same",
        "polysorbate-20": "same",
    }
    assert (data["before"]["ref"], data["after"]["ref"]) == ("mist", "rain")
    assert {"field": "title", "before": "Garden mist", "after": "Rain"} in data["text"]


def test_what_was_never_saved_has_no_other_side(mist):
    mist.write("formulas/rain.toml", MIST)
    said = mist.refused("diff", "rain")
    assert "rain has not been saved yet, so there is nothing to compare it with" in said
    assert "fvc revise rain --reason TEXT" in said


def test_either_side_may_be_wrong(mist):
    assert "did you mean mist?" in mist.refused("diff", "mist", "mits")
    assert "did you mean mist?" in mist.refused("diff", "mits")
    assert "no revision 9" in mist.refused("diff", "mist.9", "mist")
    mist.refused("diff")
    mist.refused("diff", "mist", "mist", "mist")


# --- what happened to a line -------------------------------------------------------------------------


def test_nothing_differs_says_so(mist):
    out = mist.ok("diff", "mist").out
    assert "Nothing differs: 5 lines, the same levels, order, texts and material records." in out
    data = mist.json("diff", "mist", "mist.1")
    assert set(kinds(data).values()) == {"same"}
    assert [data[key] for key in ("order", "text", "swaps", "materials_changed")] == [[], [], [], []]
    assert mist.fvc("diff", "mist", "--must-match").code == 0


def test_a_raised_and_a_lowered_line_and_what_followed(mist):
    again(mist, 2, ("glycerin = 3.00", "glycerin = 2.50"), ("betaine  = 1.00", "betaine  = 1.75"), ("0.20", "0.10"))
    data = mist.json("diff", "mist.1", "mist.2")
    assert kinds(data) == {
        "water": "followed",
        "glycerin": "lowered",
        "betaine": "raised",
        "neroli-oil": "lowered",
        "polysorbate-20": "followed",
    }
    assert line(data, "polysorbate-20")["points"] == "-0.4"
    assert line(data, "water")["points"] == "0.25"
    assert sum(Fraction(each["points"]) for each in data["lines"]) == 0
    out = mist.ok("diff", "mist.1", "mist.2").out
    rows = [row.split() for row in out.split("\n") if row.strip().startswith(("raised", "lowered", "followed"))]
    assert rows == [
        ["lowered", "glycerin", "A", "3.00", "2.50", "-0.50", "-16.7", "-1.00"],
        ["raised", "betaine", "A", "1.00", "1.75", "+0.75", "+75.0", "+1.50"],
        ["lowered", "neroli-oil", "B", "0.20", "0.10", "-0.10", "-50.0", "-0.20"],
        ["followed", "water", "A", "95.00", "95.25", "+0.25", "+0.3", "+0.50"],
        ["followed", "polysorbate-20", "B", "0.80", "0.40", "-0.40", "-50.0", "-0.80"],
    ]


def test_a_line_has_every_promised_key(mist):
    again(mist, 2, ("glycerin = 3.00", "glycerin = 2.50"))
    data = mist.json("diff", "mist.1", "mist.2")
    promised = {
        "phase",
        "before_phase",
        "material",
        "kind",
        "before_percent",
        "after_percent",
        "points",
        "relative_percent",
        "before_grams",
        "after_grams",
        "grams",
    }
    assert all(promised <= set(each) for each in data["lines"])
    glycerin = line(data, "glycerin")
    assert {key: glycerin[key] for key in promised} == {
        "phase": "A",
        "before_phase": "A",
        "material": "glycerin",
        "kind": "lowered",
        "before_percent": "3.00",
        "after_percent": "2.50",
        "points": "-0.5",
        "relative_percent": "-16.6666666667",
        "before_grams": "6",
        "after_grams": "5",
        "grams": "-1",
    }


def test_the_whole_has_every_promised_key(mist):
    again(mist, 2, ("glycerin = 3.00", "propanediol = 2.50"), ("Stir", "Shake"), day="2026-03-02")
    data = mist.json("diff", "mist.1", "mist.2")
    assert data["schema"] == 1
    assert data["batch_g"] == "200"
    for key in ("before", "after"):
        assert set(data[key]) == {"ref", "commit", "revision", "saved"}
    assert [each["material"] for each in data["lines"]] == ["water", "glycerin", "propanediol", "betaine", "neroli-oil", "polysorbate-20"]
    assert data["text"] == [{"field": "phase.A.method", "before": "Stir until clear.", "after": "Shake until clear."}]
    assert data["swaps"] == [{"out": "glycerin", "in": "propanediol", "function": "humectant"}]
    assert {"inci": "Propanediol", "before_percent": None, "after_percent": "2.5", "points": "2.5"} in data["composition"]
    assert {"inci": "Glycerin", "before_percent": "2.985", "after_percent": None, "points": "-2.985"} in data["composition"]
    assert {"function": "humectant", "before_percent": "4", "after_percent": "3.5", "points": "-0.5"} in data["functions"]
    water = next(each for each in data["properties"] if each["property"] == "total water")
    assert {"property", "unit", "before", "after", "low", "high"} <= set(water)
    assert (water["before"], water["after"], water["unit"]) == ("95.015", "95.5", "%")
    assert data["order"] == []
    assert data["materials_changed"] == []


def test_a_missing_side_is_null_and_counts_nothing(mist):
    again(mist, 2, ("glycerin = 3.00", "propanediol = 2.50"))
    data = mist.json("diff", "mist.1", "mist.2")
    added, removed = line(data, "propanediol"), line(data, "glycerin")
    assert (added["kind"], added["before_percent"], added["before_phase"], added["points"]) == ("added", None, None, "2.5")
    assert (added["relative_percent"], added["before_grams"], added["grams"]) == (None, None, "5")
    assert (removed["kind"], removed["after_percent"], removed["points"], removed["relative_percent"]) == ("removed", None, "-3", "-100")
    assert sum(Fraction(each["points"]) for each in data["lines"]) == 0


def test_a_swap_is_named_on_the_screen(mist):
    again(mist, 2, ("glycerin = 3.00", "propanediol = 2.50"))
    out = mist.ok("diff", "mist.1", "mist.2").out
    assert "swap: glycerin out, propanediol in (humectant)" in out
    assert "3 lines unchanged" in out


def test_lines_of_different_functions_are_no_swap(mist):
    mist.material("polysorbate-80", "solubiliser", {"Polysorbate 80": 100})
    again(mist, 2, ("betaine  = 1.00\n", ""), ("neroli-oil     = 0.20", "neroli-oil     = 0.20\npolysorbate-80 = 1.00"))
    assert mist.json("diff", "mist.1", "mist.2")["swaps"] == []


def test_one_out_and_two_in_are_told_as_pairs(mist):
    mist.material("urea", "humectant", {"Urea": 100})
    again(mist, 2, ("glycerin = 3.00", "propanediol = 2.00\nurea = 1.00"))
    pairs = mist.json("diff", "mist.1", "mist.2")["swaps"]
    assert [(pair["out"], pair["in"]) for pair in pairs] == [("glycerin", "propanediol"), ("glycerin", "urea")]


def test_a_line_that_only_changed_its_phase_has_moved(mist):
    again(mist, 2, ("betaine  = 1.00\n", ""), ("neroli-oil     = 0.20", "betaine = 1.00\nneroli-oil     = 0.20"))
    data = mist.json("diff", "mist.1", "mist.2")
    betaine = line(data, "betaine")
    assert (betaine["kind"], betaine["before_phase"], betaine["phase"], betaine["points"]) == ("moved", "A", "B", "0")
    assert "moved betaine A to B 1.00 1.00" in " ".join(mist.ok("diff", "mist.1", "mist.2").out.split())


def test_a_line_that_moved_and_changed_says_both(mist):
    again(mist, 2, ("betaine  = 1.00\n", ""), ("neroli-oil     = 0.20", "betaine = 1.50\nneroli-oil     = 0.20"))
    betaine = line(mist.json("diff", "mist.1", "mist.2"), "betaine")
    assert (betaine["kind"], betaine["before_phase"], betaine["phase"]) == ("raised", "A", "B")


def test_a_material_in_two_phases_is_paired_by_phase_first(mist):
    again(mist, 2, ("neroli-oil     = 0.20", "glycerin = 1.00\nneroli-oil     = 0.20"))
    data = mist.json("diff", "mist.1", "mist.2")
    assert [(each["phase"], each["kind"]) for each in data["lines"] if each["material"] == "glycerin"] == [("A", "same"), ("B", "added")]


def test_only_the_order_of_lines_changed(mist):
    again(mist, 2, ("glycerin = 3.00\nbetaine  = 1.00", "betaine  = 1.00\nglycerin = 3.00"))
    data = mist.json("diff", "mist.1", "mist.2")
    assert set(kinds(data).values()) == {"same"}
    assert [(each["phase"], each["material"]) for each in data["order"]] == [
        ("A", "water"),
        ("A", "betaine"),
        ("A", "glycerin"),
        ("B", "neroli-oil"),
        ("B", "polysorbate-20"),
    ]
    out = mist.ok("diff", "mist.1", "mist.2").out
    assert "order of addition is now: water, betaine, glycerin, neroli-oil, polysorbate-20" in " ".join(out.split())
    assert mist.fvc("diff", "mist.1", "mist.2", "--must-match").code == 1


def test_a_level_written_differently_at_the_same_percent_is_told_as_text(mist):
    again(mist, 2, ('"4 x neroli-oil"', "0.80"))
    data = mist.json("diff", "mist.1", "mist.2")
    assert kinds(data)["polysorbate-20"] == "same"
    assert data["text"] == [{"field": "phase.B.percent.polysorbate-20", "before": "4 x neroli-oil", "after": "0.80"}]
    assert mist.fvc("diff", "mist.1", "mist.2", "--must-match").code == 1


def test_texts_are_told_word_by_word(mist):
    again(
        mist,
        2,
        ("Garden mist", "Garden mist, orange flower"),
        ('"leave-on"', '["leave-on", "spray"]'),
        ("[phase.A]\n", '[spec]\nph = [4.6, 5.2]\n\n[phase.A]\nheat = "70 °C"\n'),
        ("glycerin = 3.00", 'glycerin = { level = 3.00, note = "from the new drum" }'),
    )
    text = {each["field"]: (each["before"], each["after"]) for each in mist.json("diff", "mist.1", "mist.2")["text"]}
    assert text == {
        "title": ("Garden mist", "Garden mist, orange flower"),
        "use": ("leave-on", "leave-on, spray"),
        "spec.ph": (None, "4.6, 5.2"),
        "phase.A.heat": (None, "70 °C"),
        "phase.A.percent.glycerin.note": (None, "from the new drum"),
    }
    out = mist.ok("diff", "mist.1", "mist.2").out
    assert "before  (nothing)" in out
    assert "after   70 °C" in out


def test_a_record_that_changed_meanwhile_is_told_and_counted(mist):
    mist.edit("materials/glycerin.toml", "99.5", "86.5")
    mist.save_as("Ada", "2026-02-20", message="The supplier sends 86.5 % now")
    again(mist, 2, ("betaine  = 1.00", "betaine  = 1.50"))
    data = mist.json("diff", "mist.1", "mist.2")
    assert data["materials_changed"] == [{"material": "glycerin", "field": "composition.Glycerin", "before": "99.5", "after": "86.5"}]
    assert kinds(data)["glycerin"] == "same"
    assert {"inci": "Glycerin", "before_percent": "2.985", "after_percent": "2.595", "points": "-0.39"} in data["composition"]
    out = mist.ok("diff", "mist.1", "mist.2").out
    assert "Material records changed meanwhile" in out
    assert "glycerin: composition.Glycerin 99.5 to 86.5" in out


def test_a_record_alone_makes_a_difference(mist):
    mist.edit("materials/glycerin.toml", "99.5", "86.5")
    assert mist.fvc("diff", "mist", "--must-match").code == 1
    out = mist.ok("diff", "mist").out
    assert "5 lines unchanged" in out
    assert "Nothing differs" not in out


def test_a_nested_formula_that_changed_is_told(mist):
    mist.formula("base", {"A": {"water": "90.00", "betaine": "10.00"}})
    again(mist, 2, ("glycerin = 3.00", "glycerin = 3.00\nbase = 10.00"))
    mist.edit("formulas/base.toml", "water = 90.00\nbetaine = 10.00", "water = 80.00\nbetaine = 20.00")
    data = mist.json("diff", "mist")
    assert [(each["field"], each["before"], each["after"]) for each in data["materials_changed"]] == [
        ("phase.A.percent.water", "90.00", "80.00"),
        ("phase.A.percent.betaine", "10.00", "20.00"),
    ]
    assert {"inci": "Betaine", "before_percent": "2", "after_percent": "3", "points": "1"} in data["composition"]


# --- options ---------------------------------------------------------------------------------------


def test_all_shows_the_lines_that_did_not_change(mist):
    again(mist, 2, ("glycerin = 3.00", "glycerin = 2.50"))
    short, long = mist.ok("diff", "mist.1").out, mist.ok("diff", "mist.1", "--all").out
    assert "3 lines unchanged" in short
    assert "betaine" not in short.partition("What it does")[0]
    assert "same      betaine" in long
    assert "unchanged" not in long


def test_must_match_is_no_with_1_and_still_shows(mist):
    mist.edit(PLAN, "glycerin = 3.00", "glycerin = 2.50")
    result = mist.fvc("diff", "mist", "--must-match")
    assert (result.code, result.err) == (1, "")
    assert "lowered" in result.out
    assert mist.fvc("diff", "mist", "--must-match", "--json").data["lines"][1]["kind"] == "lowered"
    assert mist.fvc("diff", "mist").code == 0
    mist.edit(PLAN, "glycerin = 2.50", "glycerin = 3.000")  # other digits, the same level
    assert mist.fvc("diff", "mist").code == 0


def test_the_batch_is_that_of_the_second_side(mist):
    again(mist, 2, ("glycerin = 3.00", "glycerin = 2.50"), ('"200 g"', '"1 kg"'))
    assert mist.json("diff", "mist.1", "mist.2")["batch_g"] == "1000"
    assert mist.json("diff", "mist.2", "mist.1")["batch_g"] == "200"
    assert line(mist.json("diff", "mist.1", "mist.2"), "glycerin")["grams"] == "-5"
    assert "grams at 1000 g" in mist.ok("diff", "mist.1", "mist.2").out


@pytest.mark.parametrize("batch, grams", [("500g", "-2.5"), ("1.5 kg", "-7.5"), ("10 oz", "-1.417476156"), ("1 lb", "-2.26796185")])
def test_a_batch_can_be_asked_for(mist, batch, grams):
    mist.edit(PLAN, "glycerin = 3.00", "glycerin = 2.50")
    found = Fraction(line(mist.json("diff", "mist", "--batch", batch), "glycerin")["grams"])
    assert abs(found - Fraction(grams)) < Fraction(1, 10**6)


def test_a_batch_by_volume_needs_a_density(mist):
    mist.edit(PLAN, "glycerin = 3.00", "glycerin = 2.50")
    assert mist.json("diff", "mist", "--batch", "6 x 30 mL", "--density", "1.01")["batch_g"] == "181.8"
    assert "density" in mist.refused("diff", "mist", "--batch", "6 x 30 mL")
    assert "--batch" in mist.refused("diff", "mist", "--batch", "a lot")


def test_a_side_that_does_not_close_is_shown_with_a_warning(mist):
    mist.edit(PLAN, 'water    = "balance"', "water    = 90.00")
    result = mist.ok("diff", "mist")
    assert "lowered" in result.out
    assert "water" in result.out
    assert "95" in result.err
    assert result.err.startswith("warning: formulas/mist.toml")
    data = mist.json("diff", "mist")
    assert line(data, "water")["points"] == "-5"
    assert any("95" in text for text in data["warnings"])


def test_a_side_with_an_unknown_material_is_shown_with_a_warning(mist):
    mist.edit(PLAN, "betaine  = 1.00", "betain   = 1.00")
    result = mist.ok("diff", "mist")
    assert 'unknown material "betain"' in result.err
    assert "did you mean betaine?" in result.err
    assert kinds(mist.json("diff", "mist"))["betain"] == "added"


def test_a_side_that_cannot_be_read_is_refused(mist):
    again(mist, 2, ("glycerin = 3.00", "glycerin = 2.50"))
    mist.edit(PLAN, "glycerin = 2.50", "glycerin = two")
    assert "formulas/mist.toml:" in mist.refused("diff", "mist")
    assert mist.json("diff", "mist.1", "mist.2")["before"]["revision"] == 1


def test_an_open_line_counts_as_expected(mist):
    mist.material("citric-acid-50", "pH adjuster", {"Citric Acid": 50, "Aqua": "balance"})
    again(mist, 2, ("neroli-oil     = 0.20", 'citric-acid-50 = { level = "open", expect = 0.40 }\nneroli-oil     = 0.20'))
    data = mist.json("diff", "mist.1", "mist.2")
    acid = line(data, "citric-acid-50")
    assert (acid["kind"], acid["after_percent"], acid["points"], acid["open"]) == ("added", "0.40", "0.4", True)
    assert line(data, "water")["points"] == "-0.4"


def test_percents_that_do_not_end_still_sum_to_zero(mist):
    again(mist, 2, ('"4 x neroli-oil"', '"3.333 x neroli-oil"'), ("0.20", "0.17"))
    data = mist.json("diff", "mist.1", "mist.2")
    assert sum(Fraction(each["points"]) for each in data["lines"]) == 0
    assert sum(Fraction(each["after_percent"]) for each in data["lines"]) == 100
