"""`fvc ladder`, `fvc knockout`: several variants in one go, and one sheet that makes each of them exactly."""

from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.change.ladder import knockouts, ladder, levels_from_text
from fvc.change.split import split_sheet
from fvc.errors import Refusal
from fvc.formula import Line, Plan, close, level_number, level_words
from fvc.material import Material, certain
from fvc.reading import Reading, Side
from fvc.scales import Scale
from tests.support import Studio

FINE = (Scale(F("0.01")),)


@pytest.fixture
def here(toner, run_in):
    """The command line in the folder of toner T, saved as revision 1."""
    return run_in(toner.root)


def made(data: dict, index: int) -> dict[str, F]:
    """What one beaker holds in grams, by material: its part of the base, taken apart, and its own lines."""
    base = sum(F(line["exact_grams"]) for line in data["base"])
    beaker = data["beakers"][index]
    own = {line["material"]: F(line["exact_grams"]) for line in beaker["lines"]}
    part = F(data["batch_g"]) - sum(own.values())
    for line in data["base"]:
        own[line["material"]] = own.get(line["material"], F(0)) + F(line["exact_grams"]) * part / base
    return {m: g for m, g in own.items() if g}


def percents(studio: Studio, ref: str) -> dict[str, F]:
    """The lines of a reference by material."""
    return {line["material"]: F(line["percent"]) for line in studio.json("sheet", ref)["lines"]}


# --- ladder ------------------------------------------------------------------------------------------


def test_a_ladder_shows_one_sheet_and_keeps_the_variants_when_told(toner, here):
    shown = here("ladder", "toner", "propanediol", "2.0", "2.5", "3.0", "--batch", "50g")
    assert "Nothing was written" in shown.out
    assert not (toner.root / "variants").exists()
    data = here("ladder", "toner", "propanediol", "2.0", "2.5", "3.0", "--batch", "50g", "--save", "--json").data
    assert data["kept"] is True
    assert [b["variant"] for b in data["beakers"]] == ["propanediol-2-0", "propanediol-2-5", "propanediol-3-0"]
    assert "propanediol" not in [line["material"] for line in data["base"]]
    # worked by hand: 50 g; the base is all but propanediol, with the water of the beaker that has most propanediol, 90.42 %
    assert [[F(line["grams"]) for line in b["lines"]] for b in data["beakers"]] == [
        [F("0.50"), F("1.00")],
        [F("0.25"), F("1.25")],
        [F("0.00"), F("1.50")],
    ]
    assert [F(b["base_g"]) for b in data["beakers"]] == [F("48.5")] * 3
    assert F(data["base_g"]) == F("145.5")
    for index, level in enumerate(("2.0", "2.5", "3.0")):
        id = data["beakers"][index]["variant"]
        plan = percents(toner, f"toner/{id}")
        assert plan["propanediol"] == F(level)
        assert plan["water"] == F("93.42") - F(level)
        assert made(data, index) == {m: p / 2 for m, p in plan.items()}
        assert "2.0, 2.5, 3.0 %: which?" in toner.read(f"variants/toner/{id}.toml")


def test_a_ratio_held_in_all_of_them_follows(toner, here):
    data = here("ladder", "toner", "neroli-oil", "0.1", "0.3", "--hold", "polysorbate-20 = 4 x all essential oil", "--save", "--json").data
    for level, id in (("0.1", "neroli-oil-0-1"), ("0.3", "neroli-oil-0-3")):
        plan = percents(toner, f"toner/{id}")
        assert plan["polysorbate-20"] == 4 * F(level)
        assert sum(plan.values()) == 100
    # a premix is blended as a whole, and what is added after it is not in the base
    assert {line["phase"] for line in data["base"]} == {"A"}
    wanted = {m: p * F(180) / 100 for m, p in percents(toner, "toner/neroli-oil-0-1").items()}
    assert made(data, 0).keys() == wanted.keys()
    assert all(abs(g - wanted[m]) < F(1, 10**8) for m, g in made(data, 0).items())  # JSON has 10 decimals


def test_steps_that_the_scale_cannot_tell_apart_are_said(toner, here):
    out = " ".join(here("ladder", "toner", "betaine", "1.50", "1.51", "1.60", "--batch", "50g").out.split())
    assert "betaine at 1.50 and 1.51 % differ by 0.005 g, less than the scale can weigh (0.01 g): from 100 g a beaker on" in out
    assert "1.51 and 1.60" not in out
    assert "differ by" not in here("ladder", "toner", "betaine", "1.50", "1.52", "--batch", "50g").out
    small = here("ladder", "toner", "lactic-acid-80", "0.1", "0.2", "--batch", "50g")
    # 20 steps of 0.01 g are 0.2 g: 0.1 % of 200 g
    assert "lactic-acid-80 is too small to weigh well in all beakers: from 200 g a beaker on" in " ".join(small.out.split())


def test_more_of_the_base_can_be_made(here):
    plain = here("ladder", "toner", "propanediol", "2", "3", "--batch", "100g", "--json").data
    more = here("ladder", "toner", "propanediol", "2", "3", "--batch", "100g", "--overage", "5%", "--json").data
    assert F(more["base_g"]) == F(plain["base_g"]) * F("1.05")
    assert sum(F(line["grams"]) for line in more["base"]) == F(more["base_g"])
    assert more["beakers"] == plain["beakers"]


def test_open_lines_are_set_in_each_beaker(toner, here):
    toner.edit("formulas/toner.toml", "lactic-acid-80 = 0.18", 'lactic-acid-80 = { level = "open", expect = 0.18 }')
    here("revise", "toner", "--reason", "to the pH")
    data = here("ladder", "toner", "propanediol", "2", "3", "--batch", "100g", "--json").data
    for beaker in data["beakers"]:
        acid = next(line for line in beaker["lines"] if line["material"] == "lactic-acid-80")
        assert (acid["grams"], acid["exact_grams"]) == (None, "0.18")
    out = here("ladder", "toner", "propanediol", "2", "3", "--batch", "100g").out
    assert "(0.18) ____" in out
    assert "lactic-acid-80 (phase C) is open" in out


def test_a_line_that_is_new_can_be_varied(toner, here):
    toner.material("gum", "thickener", {"Xanthan Gum": 100})
    here("ladder", "toner", "A:gum", "0.1", "0.2", "--save")
    assert percents(toner, "toner/gum-0-1")["gum"] == F("0.1")


@pytest.mark.parametrize(
    "words, said, way",
    [
        (("propanediol", "2"), "at least two levels", "fvc ladder"),
        (("propanediol", "2", "2.0"), "stands twice", "leave one"),
        (("propanediol", "2", "x"), 'the level "x" cannot be read', "for example"),
        (("propanediol", "2", "-3"), "", ""),
        (
            ("propanediol", "60", "95"),
            "propanediol at 95: water, the balance, would be 1.58 below zero",
            "the room there is: 90.42 % of water",
        ),
        (("water", "60", "70"), "is the balance", "--free"),
        (("propandiol", "1", "2"), "is not in toner", "did you mean propanediol?"),
        (("propanediol", "1", "2", "--hold", "polysorbate-20"), "holds nothing", "--hold"),
        (("propanediol", "1", "2", "--hold", "polysorbate = 4 x neroli-oil"), "is not in toner", "polysorbate-20"),
        (("propanediol", "1", "2", "--overage", "much"), "the overage", "--overage 3%"),
        (("propanediol", "1", "2", "--batch", "0.001g"), "on this scale", "--batch"),
        (("propanediol", "1", "2", "--as", "A b", "--save"), "cannot be the id", "for example"),
    ],
)
def test_a_wrong_call_says_what_and_what_next(toner, here, words, said, way):
    result = here("ladder", "toner", *words, code=2)
    assert said in result.err
    assert way in result.err
    assert not (toner.root / "variants").exists()


def test_a_held_line_is_not_varied_and_a_plan_without_a_balance_has_nothing_that_follows(toner, here):
    toner.edit("formulas/toner.toml", "polysorbate-20 = 1.60", 'polysorbate-20 = "4 x neroli-oil"')
    here("revise", "toner", "--reason", "held")
    assert "is held by the ratio" in here("ladder", "toner", "polysorbate-20", "1", "2", code=2).err
    toner.formula("flat", {"A": {"water": "97", "betaine": "3"}})
    here("revise", "flat", "--reason", "first")
    assert "no line is the balance" in here("ladder", "flat", "betaine", "1", "2", code=2).err
    assert "has no balance" in here("knockout", "flat", code=2).err


def test_all_are_kept_or_none(toner, here):
    here("variant", "new", "toner", "propanediol-3", "--question", "already?")
    result = here("ladder", "toner", "propanediol", "2", "3", "--save", code=2)
    assert "has a variant propanediol-3 already" in result.err
    assert not (toner.root / "variants/toner/propanediol-2.toml").exists()
    here("ladder", "toner", "propanediol", "2", "3", "--save", "--as", "again")
    assert (toner.root / "variants/toner/again-3.toml").exists()


def test_over_unsaved_changes_nothing_is_kept(toner, here):
    here("set", "toner", "betaine=1.00", "--save")
    assert "not saved" in here("ladder", "toner", "propanediol", "2", "3", "--save", code=2).err
    assert not (toner.root / "variants").exists()
    here("ladder", "toner", "propanediol", "2", "3")  # to look at, it may be


# --- knock-outs --------------------------------------------------------------------------------------


def test_knockouts_of_everything_but_the_balance(toner, here):
    data = here("knockout", "toner", "--save", "--json").data
    ids = [b["variant"] for b in data["beakers"]]
    assert len(ids) == 8
    assert "without-water" not in ids
    for index, id in enumerate(ids):
        plan = percents(toner, f"toner/{id}")
        assert id.removeprefix("without-") not in plan
        assert sum(plan.values()) == 100
        assert made(data, index) == {m: p * F(180) / 100 for m, p in plan.items() if p}


def test_without_its_preservative_it_is_marked_not_for_use(toner, here):
    data = here("knockout", "toner", "betaine", "preservative-blend", "--save", "--json").data
    assert [b["not_for_use"] for b in data["beakers"]] == [None, "made without its preservative"]
    out = here("knockout", "toner", "preservative-blend", "--as", "no").out
    assert out.count("NOT FOR USE") == 2
    assert "(not for use: made without its preservative)" in toner.read("variants/toner/without-preservative-blend.toml")
    assert "not for use" in here("weigh", "toner/without-preservative-blend").out
    assert "not for use" not in toner.read("variants/toner/without-betaine.toml")


def test_a_premix_that_holds_a_preservative_is_one(studio, run_in):
    here = run_in(studio.root)
    studio.material("benzoate", "preservative", {"Sodium Benzoate": 100})
    studio.formula("premix", {"A": {"water": "balance", "benzoate": "20"}})
    studio.formula("mist", {"A": {"water": "balance", "premix": "2.00"}})
    here("revise", "premix", "--reason", "first")
    here("revise", "mist", "--reason", "first")
    assert here("knockout", "mist", "--json").data["beakers"][0]["not_for_use"] == "made without its preservative"


def test_what_a_ratio_refers_to_takes_it_along_or_leaves_it_the_rest(toner, here):
    toner.material("orange-oil", "essential oil", {"Citrus Aurantium Dulcis Peel Oil": 100})
    toner.edit("formulas/toner.toml", "polysorbate-20 = 1.60", 'polysorbate-20 = "4 x (neroli-oil + orange-oil)"\norange-oil = 0.10')
    here("revise", "toner", "--reason", "two oils")
    data = here("knockout", "toner", "neroli-oil", "--save", "--json").data
    assert data["beakers"][0]["notes"] == ['polysorbate-20 is now held at "4 x orange-oil"']
    assert percents(toner, "toner/without-neroli-oil")["polysorbate-20"] == F("0.40")
    toner.edit("formulas/toner.toml", '"4 x (neroli-oil + orange-oil)"\norange-oil = 0.10', '"4 x all essential oil"')
    here("revise", "toner", "--reason", "one oil")
    data = here("knockout", "toner", "neroli-oil", "--as", "no", "--save", "--json").data
    assert 'polysorbate-20 goes too: it is held at "4 x all essential oil"' in data["beakers"][0]["notes"]
    assert "polysorbate-20" not in percents(toner, "toner/no-neroli-oil")


@pytest.mark.parametrize(
    "words, said",
    [(("water",), "is the balance"), (("betain",), "is not in toner"), (("--function", "humectan"), "did you mean humectant?")],
)
def test_a_wrong_knockout_says_what(here, words, said):
    assert said in here("knockout", "toner", *words, code=2).err


def test_a_whole_function_is_left_out_one_by_one(here):
    data = here("knockout", "toner", "--function", "humectant", "--json").data
    assert [b["what"] for b in data["beakers"]] == ["without propanediol", "without betaine", "without panthenol-75"]


def test_one_line_of_a_material_in_two_phases_is_left_out_by_its_phase(toner, here):
    here("set", "toner", "C:betaine=0.50", "--reason", "some of it cool")
    data = here("knockout", "toner", "C:betaine", "--save", "--json").data
    id = data["beakers"][0]["variant"]
    lines = [(n["phase"], n["material"]) for n in toner.json("sheet", f"toner/{id}")["lines"]]
    assert ("A", "betaine") in lines
    assert ("C", "betaine") not in lines


# --- the law of the split sheet ----------------------------------------------------------------------

IDS = ["glycerin", "betaine", "gum", "oil", "solubiliser", "benzoate"]
MATERIALS = {
    id: Material(id=id, name=id, functions=(function,), composition={id: certain(F(100))})
    for id, function in {
        "water": "solvent", "glycerin": "humectant", "betaine": "humectant", "gum": "thickener", "oil": "essential oil",
        "solubiliser": "solubiliser", "benzoate": "preservative",
    }.items()
}  # fmt: skip


@st.composite
def readings(draw) -> Reading:
    """A closed plan with a balance in any of three phases, fixed lines, perhaps a ratio."""
    some = draw(st.lists(st.sampled_from(IDS), min_size=1, unique=True))
    lines = [Line(draw(st.sampled_from("ABC")), m, level_number(f"{draw(st.integers(1, 1500)) / 100:.2f}")) for m in some]
    if "oil" in some and "solubiliser" in some and draw(st.booleans()):
        lines = [n._replace(level=level_words("3 x oil")) if n.material == "solubiliser" else n for n in lines]
    lines.insert(draw(st.integers(0, len(lines))), Line(draw(st.sampled_from("ABC")), "water", level_words("balance")))
    lines.sort(key=lambda n: n.phase)
    plan = Plan(id="p", title="p", revision=1, phases=(), lines=tuple(lines))
    closure = close(plan, {id: m.functions for id, m in MATERIALS.items()})
    return Reading(plan=plan, closure=closure, materials=MATERIALS, side=Side("p"))


@given(readings(), st.integers(20, 400), st.integers(0, 30), st.data())
def test_law_base_and_beaker_together_are_the_variant(reading, batch, overage, data):
    if reading.faults or not reading.closure.closed:
        return
    free = [n.material for n in reading.plan.lines if n.level.kind == "fixed"]
    if free and data.draw(st.booleans()):
        levels = data.draw(st.lists(st.integers(0, 800), min_size=2, max_size=5, unique=True))
        varied = data.draw(st.sampled_from(free))
        try:
            rungs = ladder(reading, varied, levels_from_text([f"{n / 100:.2f}" for n in levels]), MATERIALS)
        except Refusal:
            rungs = ()
        if not rungs:  # only where more is asked for than there is now
            assert max(levels) > next(a.counted for a in reading.closure.amounts if a.line.material == varied) * 100
            return
    else:
        rungs = knockouts(reading, (), MATERIALS)
    sheet = split_sheet(rungs, F(batch), FINE, F(20), F(overage))
    base = sum(p.exact for p in sheet.base)
    for beaker in sheet.beakers:
        own = {(p.phase, p.material): p.exact for p in beaker.portions}
        part = F(batch) - sum(own.values())
        for p in sheet.base:
            own[p.phase, p.material] = own.get((p.phase, p.material), F(0)) + (p.exact * part / base if base else 0)
        plan = {(a.line.phase, a.line.material): a.counted * batch / 100 for a in beaker.rung.after.closure.amounts}
        assert {k: g for k, g in own.items() if g} == {k: g for k, g in plan.items() if g}
        assert beaker.base + sum(p.grams for p in beaker.portions) == batch
        assert all(p.grams >= 0 for p in beaker.portions)
    assert sum(p.grams for p in sheet.base) == sheet.base_total
    assert all(p.exact >= 0 for p in sheet.base)


def test_what_reads_0_on_the_scale_is_said_in_a_beaker_and_in_the_base(toner, here):
    toner.write("formulary.toml", 'format = 1\nname = "Test studio"\ncurrency = "EUR"\nscales = [{ step = "0.1 g" }]\n')
    out = " ".join(here("ladder", "toner", "lactic-acid-80", "0.02", "0.04", "--batch", "50g").out.split())
    assert "lactic-acid-80 is too small to weigh well in all beakers, where it reads 0," in out
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 0.02")
    out = " ".join(here("ladder", "toner", "propanediol", "2", "3", "--batch", "50g").out.split())
    assert "betaine is too small to weigh well in the base, where it reads 0," in out


def test_looking_again_needs_no_free_names(toner, here):
    words = ("ladder", "toner", "propanediol", "2", "3")
    here(*words, "--save")
    here(*words, "--batch", "50g")
    assert "already" in here(*words, "--save", code=2).err
