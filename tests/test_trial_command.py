"""`fvc trial` as a maker types it: begin, record, show, close, write back as a plan. Toner T of the worked cases."""

import datetime
import os
import re
from fractions import Fraction as F
from pathlib import Path

import pytest

from fvc.trial import Asked, Entry, Trial
from fvc.trials import formula_code, initials_of, new_id, stamped
from tests.toner import LINES

TODAY = datetime.date.today()
ID = rf"ton-{TODAY:%y%m%d}-at-a"
RECORD = f"trials/toner/{ID}.toml"
EXACT = {
    "water": "162.76", "propanediol": "5.40", "betaine": "2.70", "panthenol-75": "2.16", "rice-protein-25": "1.44",
    "polysorbate-20": "2.88", "neroli-oil": "0.72", "preservative-blend": "1.62", "lactic-acid-80": "0.32",
}  # fmt: skip


@pytest.fixture
def here(toner, run_in):
    return run_in(toner.root)


@pytest.fixture
def begun(here):
    """A batch of 180 g begun now."""
    here("trial", "start", "toner", "--batch", "180g")
    return here


@pytest.fixture
def made(begun):
    """The same, with every line weighed as the sheet says."""
    for material, grams in EXACT.items():
        begun("trial", "weighed", material, grams)
    return begun


# --- beginning one ----------------------------------------------------------------------------------


def test_a_batch_keeps_all_that_makes_it_readable_without_history(toner, here):
    data = here("trial", "start", "toner", "--batch", "180g", "--vessel", "400mL", "--json").data
    blob = toner.git("rev-parse", "HEAD~1:formulas/toner.toml").strip()
    assert data == {"schema": 1, "id": ID, "plan": "toner.1", "plan_id": blob, "batch_g": "180"}
    text = toner.read(RECORD)
    for row in ('plan = "toner.1"', 'batch = "180g"', 'scale = "0.01 g"', 'by = "Ada Test"', 'vessel = "400mL"', 'use = ["leave-on"]'):
        assert row in text
    assert '{ phase = "A", material = "propanediol", percent = 3, grams = 5.4 }' in text
    assert '{ phase = "A", material = "water", percent = 90.42, grams = 162.76, balance = true }' in text
    assert "[materials.rice-protein-25.composition]" in text
    assert f"{ID}: batch begun from toner.1" in toner.git("log", "-1", "--format=%s")
    assert toner.git("status", "--porcelain") == ""
    # the plan, the records and the history are gone: the batch still says what is in it
    here("trial", "weighed", "water", "90")
    here("trial", "weighed", "rice-protein-25", "1.44")
    for path in ("formulas", "materials"):
        for file in (toner.root / path).iterdir():
            file.unlink()
    shares = {row["inci"]: row["percent"] for row in here("sheet", ID, "--json").data["composition"]}
    assert F(shares["Sodium Benzoate"]).limit_denominator(10**6) == (F("1.44") * F("0.4") / F("91.44")).limit_denominator(10**6)


def test_two_batches_of_one_plan_are_two_trials(here):
    first, second = (here("trial", "start", "toner", "--json").data["id"] for _ in range(2))
    assert (first, second) == (ID, ID[:-1] + "b")
    assert [t["id"] for t in here("trial", "--json").data["trials"]] == [first, second]


def test_what_came_of_the_same_plan_before_is_said(toner, made):
    made("trial", "close", "--verdict", "set-aside", "--because", "sticky")
    assert f"The same plan was made as {ID}, set aside: sticky." in " ".join(made("trial", "start", "toner").out.split())
    made("variant", "new", "toner", "dry", "--question", "Drier?")
    made("set", "toner/dry", "propanediol=2.5", "--reason", "kept")
    made("variant", "set-aside", "toner", "dry", "--reason", "no better")
    said = " ".join(made("trial", "start", "toner/dry").out.split())
    assert "This variant was set aside: no better." in said
    assert "The same plan" not in said


def test_an_unsaved_plan_may_be_tried_and_says_so(toner, here):
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.50")
    data = here("trial", "start", "toner", "--json").data
    assert data["plan"] == "toner.1, changed since"
    assert data["plan_id"] == toner.git("hash-object", "formulas/toner.toml").strip()
    assert 'material = "propanediol", percent = 2.5' in toner.read(RECORD)


def test_a_plan_that_was_never_saved(toner, here):
    toner.formula("mist", {"A": {"water": "balance", "propanediol": "2"}})
    assert here("trial", "start", "mist", "--json").data["plan"] == "mist, not saved"


def test_a_saved_revision_a_variant_and_a_plain_commit(toner, here):
    here("set", "toner", "propanediol=2.5", "--reason", "less sticky")
    assert here("trial", "start", "toner.1", "--json").data["plan"] == "toner.1"
    here("variant", "new", "toner", "dry", "--question", "Is it drier?")
    here("revise", "toner/dry", "--reason", "kept")
    assert here("trial", "start", "toner/dry", "--json").data["plan"] == "toner/dry.1"
    toner.edit("formulas/toner.toml", "propanediol = 2.5", "propanediol = 2.6")
    toner.git("commit", "-qam", "by hand")
    commit = toner.git("rev-parse", "HEAD")[:8]
    assert here("trial", "start", "toner", "--json").data["plan"] == f"toner.{commit}"
    assert here("diff", here("trial", "--json").data["trials"][-1]["id"], code=2).err.startswith("nothing has been weighed yet")


def test_a_batch_is_made_from_a_plan_that_closes(toner, made):
    assert "is a batch that was made" in made("trial", "start", ID, code=2).err
    toner.edit("formulas/toner.toml", 'water = "balance"', "water = 90.00")
    assert "0.42 short of 100" in made("trial", "start", "toner", code=2).err
    assert "did you mean toner?" in made("trial", "start", "tonner", code=2).err
    assert not list((toner.root / "trials/toner").glob("*-b.toml"))


@pytest.mark.parametrize(
    ("name", "initials"),
    [("Ada Test", "at"), ("Mira", "mi"), ("Zoë Ångström-Lee", "zal"), ("ak", "ak"), ("北", ""), ("Ana de la Cruz Vega", "adl")],
)
def test_initials_of_a_name(name, initials):
    assert initials_of(name) == initials


@pytest.mark.parametrize(("name", "code"), [("green-tea-toner", "gtt"), ("toner", "ton"), ("mist-2", "m2")])
def test_the_code_of_a_formula(toner, name, code):
    from fvc.archive import Archive
    from fvc.references import resolve

    assert formula_code(resolve(Archive.open(toner.root), "toner").plan, name) == code


def test_the_code_that_the_plan_states(toner, here):
    toner.edit("formulas/toner.toml", 'title = "toner"\n', 'title = "toner"\ncode = "GT-T"\n')
    assert here("trial", "start", "toner", "--json").data["id"].startswith("gtt-")


def test_the_next_free_letter():
    day = datetime.date(2026, 3, 1)
    taken = [f"ton-260301-at-{c}" for c in "abcdefghijklmnopqrstuvwxyz"]
    assert new_id("ton", day, "at", []) == "ton-260301-at-a"
    assert new_id("ton", day, "at", taken[:2]) == "ton-260301-at-c"
    assert new_id("ton", day, "at", taken) == "ton-260301-at-aa"


def test_initials_of_somebody_else_are_refused(toner, begun):
    toner.git("config", "user.name", "Alan Turner")
    said = begun("trial", "start", "toner", code=2).err
    assert "the initials at are Ada Test's" in said
    assert "--initials atu" in said
    assert begun("trial", "start", "toner", "--initials", "atu", "--json").data["id"].endswith("-atu-a")
    toner.git("config", "user.name", "ada  TEST")
    assert begun("trial", "start", "toner", "--json").data["id"].endswith("-at-b")


def test_initials_that_the_formulary_names(toner, here):
    with (toner.root / "formulary.toml").open("a") as file:
        file.write('[makers]\nat = "Alan Turner"\nada = "Ada Test"\n')
    assert "-ada-" in here("trial", "start", "toner", "--json").data["id"]
    assert "Alan Turner's" in here("trial", "start", "toner", "--initials", "at", code=2).err
    toner.edit("formulary.toml", "ada =", "ada1 =")
    assert "two to four small letters" in here("trial", "start", "toner", code=2).err


@pytest.mark.parametrize("initials", ["q", "abcde", "a1", "../x"])
def test_what_cannot_be_initials(here, initials):
    assert "two to four letters" in here("trial", "start", "toner", "--initials", initials, code=2).err


def test_without_git_the_maker_is_named(plain_folder, run_in):
    from tests.support import Studio
    from tests.toner import write

    folder = Studio.make(plain_folder / "f", git=False)
    write(folder)
    here = run_in(folder.root)
    assert "--by" in here("trial", "start", "toner", code=2).err
    data = here("trial", "start", "toner", "--by", "Ada Test", "--json").data
    assert (data["id"], data["plan"]) == (ID, "toner, no git here")
    here("trial", "weighed", "water", "90.42")
    assert here("sheet", ID, "--json").data["lines"][0]["percent"] == "100.0000"


def test_without_an_identity_nothing_is_begun(toner, here):
    (Path(os.environ["HOME"]) / ".gitconfig").write_text("")
    assert "git config --global user.name" in here("trial", "start", "toner", code=2).err
    assert not (toner.root / "trials").exists()


def test_a_batch_noted_later(here):
    data = here("trial", "start", "toner", "--at", "2026-03-01 10:05", "--json").data
    assert data["id"] == "ton-260301-at-a"
    assert "still to come" in here("trial", "start", "toner", "--at", "2199-01-01", code=2).err
    assert "is no time" in here("trial", "start", "toner", "--at", "yesterday", code=2).err


def test_a_vessel_and_a_purpose_that_cannot_be_read(here):
    assert "--vessel 600mL" in here("trial", "start", "toner", "--vessel", "big", code=2).err
    assert "--for sale" in here("trial", "start", "toner", "--for", "fun", code=2).err
    assert "--scale 0.01g" in here("trial", "start", "toner", "--scale", "fine", code=2).err


def test_when_git_cannot_save_the_record_is_on_disk(toner, here):
    toner.git("checkout", "-q", "--detach")
    result = here("trial", "start", "toner")
    assert "not saved in git" in result.err
    assert (toner.root / RECORD).is_file()
    toner.git("switch", "-q", "main")
    here("trial", "save")
    assert toner.git("status", "--porcelain") == ""


# --- entries ----------------------------------------------------------------------------------------


def test_the_whole_sheet_weighed_by_hand_is_the_sheet(made):
    made("trial", "weighed", "betaine", "2.70", "--corrects", _entry(made, "betaine"))  # said again, the same
    weights = {line["material"]: line["grams"] for line in made("trial", "show", ID, "--json").data["lines"]}
    assert {m: F(g) for m, g in weights.items()} == {m: F(g) for m, g in EXACT.items()}


def _entry(here, material: str) -> str:
    return next(e["id"] for e in here("trial", "show", ID, "--json").data["entries"] if e["of"] == material)


def test_a_beginning_of_a_material_and_of_a_trial(begun):
    begun("trial", "weighed", "prop", "5.40")
    begun("trial", "weighed", ID[:-4], "B:ner", "0.72")
    found = [(e["of"], e["phase"]) for e in begun("trial", "show", ID, "--json").data["entries"]]
    assert found == [("propanediol", "A"), ("neroli-oil", "B")]
    said = begun("trial", "weighed", "p", "5.40", code=2).err
    assert "propanediol, panthenol-75, polysorbate-20, preservative-blend" in said


def test_several_open_batches_must_be_named(here):
    here("trial", "start", "toner")
    here("trial", "start", "toner")
    said = here("trial", "weighed", "prop", "5.4", code=2).err
    assert "2 batches are open" in said
    assert f"{ID[:-1]}b" in said
    for material, grams in EXACT.items():
        here("trial", "weighed", ID, material, grams)
    here("trial", "weighed", "prop", "5.4")  # only one of them still has lines to weigh
    assert here("trial", "show", f"{ID[:-1]}b", "--json").data["entries"][0]["of"] == "propanediol"
    assert "is the beginning of 2 batches" in here("trial", "show", ID[:-1], code=2).err
    assert "did you mean ton-" in here("trial", "show", ID.replace("at", "ta"), code=2).err


def test_no_batch_is_open(here):
    assert "fvc trial start" in here("trial", "weighed", "prop", "5.4", code=2).err
    assert "No batch was made yet" in here("trial").out


@pytest.mark.parametrize(
    ("typed", "grams"),
    [(["5.40"], "5.4"), (["342.60-337.20"], "5.4"), (["5.40", "g"], "5.4"), (["5400", "mg"], "5.4"), (["0.19", "oz"], "5.38640939")],
)
def test_weights_as_they_are_typed(begun, typed, grams):
    data = begun("trial", "weighed", "prop", *typed, "--json").data
    assert data["grams"] == grams
    entry = begun("trial", "show", ID, "--json").data["entries"][0]
    assert entry.get("reading") == (typed[0] if "-" in typed[0] else None)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (["0"], "more than zero"), (["0.00"], "more than zero"), (["337.20-342.60"], "leaves nothing"), (["5-5"], "leaves nothing"),
        (["5,40"], 'write "5.40" with a point'), (["five"], "no weight"), (["5.4.1"], "no weight"), (["1e3"], "no weight"),
        (["5", "drops"], "unknown unit"), (["--", "-5.4"], "it is negative"), (["--", "-5.4 g"], "it is negative"),
    ],
)  # fmt: skip
def test_what_is_no_weight(toner, begun, typed, said):
    before = toner.read(RECORD)
    words = ["trial", "weighed", *(["--"] if typed[0] == "--" else []), "prop", *typed[typed[0] == "--" :]]
    assert said in begun(*words, code=2).err
    assert toner.read(RECORD) == before


def test_a_kilogram_where_a_gram_was_meant(toner, begun):
    before = toner.read(RECORD)
    assert "rice-protein-25: 1500.00 g, and 1.44 g are asked for" in begun("trial", "weighed", "rice", "1.5", "kg", code=2).err
    assert "0.01 g, and 162.76 g are asked for" in begun("trial", "weighed", "water", "0.01", code=2).err
    assert toner.read(RECORD) == before
    begun("trial", "weighed", "rice", "1.5", "kg", "--sure")
    assert begun("sheet", ID, "--json").data["batch_g"] == "1500"


def test_a_line_that_is_in_already(begun):
    begun("trial", "weighed", "prop", "5.40")
    said = begun("trial", "weighed", "prop", "5.40", code=2).err
    assert "is in already, 5.40 g of 5.40 g" in said
    assert f"--corrects {_entry(begun, 'propanediol')}" in said
    begun("trial", "weighed", "prop", "0.10", "--sure")
    assert begun("sheet", ID, "--json").data["batch_g"] == "5.5"


def test_a_material_that_is_not_in_the_plan_is_an_addition(toner, made):
    toner.material("glycerin", "humectant", {"Glycerin": 100})
    assert "it is an addition" in made("trial", "weighed", "glycerin", "1.00").out
    found = made("trial", "show", ID, "--json").data
    assert "addition" in [d["kind"] for d in found["deviations"]]
    assert {"phase": "C", "material": "glycerin", "grams": "1", "percent": found["made"][-1]["percent"]} == found["made"][-1]
    assert made("diff", "toner.1", ID, "--json").data["lines"][-1]["kind"] == "added"
    assert "unknown material" in made("trial", "weighed", "glyzerin-x", "1", code=2).err
    assert "did you mean glycerin?" in made("trial", "added", "glyzerin", "1", code=2).err


def test_a_slip_says_what_it_did_and_the_ways_out(begun):
    begun("trial", "weighed", "betaine", "2.70")
    data = begun("trial", "weighed", "prop", "6.40", "--json").data["slip"]
    assert (data["target"], data["over"], data["planned_percent"]) == ("5.4", "1", "3")
    assert data["percent"][:7] == "3.53591"  # 6.40 of 181: case 2
    ways = {w["way"]: w for w in data["ways"]}
    assert list(ways) == ["leave", "take back", "enlarge", "balance"]
    assert ways["take back"]["now"] == [{"phase": "A", "material": "propanediol", "grams": "-1"}]
    assert ways["enlarge"]["batch_g"] == "213.33"
    assert {"phase": "A", "material": "betaine", "grams": "0.5"} in ways["enlarge"]["now"]
    assert {"phase": "A", "material": "water", "grams": "192.9"} in ways["enlarge"]["later"]
    assert ways["balance"]["later"] == [{"phase": "A", "material": "water", "grams": "161.76"}]


def test_the_ways_out_can_be_typed(begun):
    said = begun("trial", "weighed", "prop", "6.40").out
    command = re.search(rf"fvc trial retargeted {ID} water 161.76", said)
    assert command, said
    begun("trial", "retargeted", "water", "161.76")
    line = begun("trial", "show", ID, "--json").data["lines"][0]
    assert (line["asked_grams"], line["target_grams"]) == ("162.76", "161.76")
    begun("trial", "enlarged", "213.33g", "--because", "propanediol")
    assert "no smaller" not in begun("trial", "enlarged", "100g", code=2).err
    assert begun("trial", "show", ID, "--json").data["lines"][1]["target_grams"] == "6.4"


def ways(data) -> dict:
    return {w["way"]: w for w in data["slip"]["ways"]} if data["slip"] else {}


def test_one_step_of_the_scale_is_no_slip(begun):
    assert begun("trial", "weighed", "lactic", "0.33", "--json").data["slip"] is None  # 3 % over, but one step of 0.01 g
    assert begun("trial", "weighed", "prop", "5.45", "--json").data["slip"] is None  # 0.9 %
    assert begun("trial", "weighed", "rice", "1.46", "--json").data["slip"]["over"] == "0.02"  # 1.4 %, two steps


def test_the_formulary_may_say_what_a_slip_is(toner, here):
    toner.edit("formulary.toml", "format = 1\n", "format = 1\nslip_above = 5\n")
    here("trial", "start", "toner", "--batch", "180g")
    assert here("trial", "weighed", "prop", "5.60", "--json").data["slip"] is None
    assert here("trial", "show", ID, "--json").data["deviations"] == []


def test_the_balance_is_offered_only_while_it_can_give(begun):
    assert "balance" in ways(begun("trial", "weighed", "prop", "10.00", "--json").data)
    assert "balance" not in ways(begun("trial", "weighed", "betaine", "200", "--sure", "--json").data)
    begun("trial", "weighed", "water", "162.76")
    assert "balance" not in ways(begun("trial", "weighed", "panthenol", "3.00", "--json").data)


def test_a_line_left_out_does_not_grow_with_the_batch(begun):
    begun("trial", "omitted", "betaine")
    found = ways(begun("trial", "weighed", "prop", "6.40", "--json").data)["enlarge"]
    assert "betaine" not in [p["material"] for p in (*found["now"], *found["later"])]


def test_what_is_too_much_is_taken_from_the_portion_that_has_it(begun):
    """4.00 and then 2.40 of 5.40 g: the printed command makes the second 1.40, and the total is the target."""
    begun("trial", "weighed", "prop", "4.00")
    said = begun("trial", "weighed", "prop", "2.40").out
    command = re.search(r"fvc (trial weighed .* --corrects \S+)", said)
    begun(*command[1].split())
    assert begun("trial", "show", ID, "--json").data["lines"][1]["grams"] == "5.4"


def test_a_correction_keeps_what_is_not_typed_again(toner, begun):
    begun("trial", "weighed", "betaine", "2.90", "--lot", "BT-7", "--checked-by", "Joss")
    wrong = _entry(begun, "betaine")
    begun("trial", "weighed", "betaine", "2.70", "--corrects", wrong)
    entry = begun("trial", "show", ID, "--json").data["entries"][0]
    assert (entry["grams"], entry["lot"], entry["checked_by"]) == ("2.7", "BT-7", "Joss")
    begun("trial", "added", "lactic", "0.40", "--sure")
    begun("trial", "weighed", "lactic", "0.32", "--corrects", _entry(begun, "lactic-acid-80"))
    assert begun("trial", "show", ID, "--json").data["entries"][1]["action"] == "added"


def test_a_mistyped_batch_is_not_taken_for_words(toner, begun):
    before = toner.read(RECORD)
    for words in (("noted", ID[:-1] + "b", "foamed"), ("see", ID[:-1] + "b", "clear"), ("weighed", ID[:-1] + "b", "prop", "5.4")):
        assert f"did you mean {ID}?" in begun("trial", *words, code=2).err
    assert toner.read(RECORD) == before


def test_a_closed_batch_takes_no_weight_without_a_reason(made):
    made("trial", "close", "--verdict", "keep", "--because", "x")
    for words in (("added", ID, "lactic", "0.10", "--sure"), ("lost", ID, "1"), ("combined", ID, "B", "into", "A"), ("weigh", ID)):
        assert "is closed: keep" in made("trial", *words, code=2).err
    made("trial", "added", ID, "lactic", "0.10", "--sure", "--because", "the bottle of the panel")
    made("trial", "noted", ID, "a word more")


def test_too_little_can_be_added(begun):
    data = begun("trial", "weighed", "prop", "4.40", "--json").data
    assert list(ways(data)) == ["leave", "add", "balance"]
    assert ways(data)["add"]["now"] == [{"phase": "A", "material": "propanediol", "grams": "1"}]
    assert ways(data)["balance"]["later"][0]["grams"] == "163.76"
    assert begun("trial", "weighed", "prop", "1.00", "--json").data["slip"] is None


def test_enlarged_twice_and_the_yield_of_what_it_became(begun):
    begun("trial", "weighed", "prop", "6.00")
    begun("trial", "enlarged", "200g")
    begun("trial", "enlarged", "250g")
    targets = {row["material"]: row["target_grams"] for row in begun("trial", "show", ID, "--json").data["lines"]}
    assert (targets["propanediol"], targets["water"], targets["neroli-oil"]) == ("7.5", "226.06", "1")  # 162.76 x 250/180
    assert begun("trial", "weighed", "prop", "1.50", "--json").data["slip"] is None
    assert "of the theoretical yield of 250.00 g" in begun("trial", "bulk", "7.00").out


def test_the_volume_of_a_larger_batch_goes_by_the_density(toner, here):
    toner.edit("formulas/toner.toml", 'batch = "180 g"\n', 'batch = "180 g"\n[spec]\ndensity = 1.10\n')
    here("trial", "start", "toner", "--batch", "180g", "--vessel", "200 mL")
    assert ways(here("trial", "weighed", "prop", "6.40", "--json").data)["enlarge"]["against"] == []  # 213.33 g are 193.9 mL
    assert ways(here("trial", "weighed", "betaine", "3.60", "--json").data)["enlarge"]["against"] == [
        "the vessel holds 200 mL, and this is 218.2 mL"
    ]


def test_a_correction_that_was_noted_late_has_its_own_time(here):
    here("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-01 10:00")
    here("trial", "weighed", "water", "160", "--at", "2026-03-01 10:01")
    here("trial", "sampled", "4", "--at", "2026-03-01 10:30")
    entry = here("trial", "show", "ton-260301", "--json").data["entries"][0]["id"]
    here("trial", "weighed", "water", "162.76", "--corrects", entry, "--at", "2026-03-01 10:02")
    first = here("trial", "show", "ton-260301", "--json").data["entries"][0]
    assert (first["grams"], first["at"][11:16]) == ("162.76", "10:02")
    here("trial", "weighed", "water", "162.70", "--corrects", first["id"])
    first = here("trial", "show", "ton-260301", "--json").data["entries"][0]
    assert (first["grams"], first["at"][11:16]) == ("162.7", "10:02")


def test_stock_and_vessel_are_held_against_a_larger_batch(toner, here):
    with (toner.root / "materials/neroli-oil.toml").open("a") as file:
        file.write('[[lot]]\nnumber = "N-1"\ngrams = 0.75\n')
    here("trial", "start", "toner", "--batch", "180g", "--vessel", "200 mL")
    ways = here("trial", "weighed", "prop", "6.40", "--json").data["slip"]["ways"]
    against = next(w for w in ways if w["way"] == "enlarge")["against"]
    assert against == [
        "neroli-oil: 0.85 g needed, 0.10 g more than the shelf has",
        "the vessel holds 200 mL, and this is 213.3 mL, at 1 g/mL",
    ]


def test_an_expired_lot_is_asked_about(toner, begun):
    with (toner.root / "materials/propanediol.toml").open("a") as file:
        file.write('[[lot]]\nnumber = "PD-1"\nuse_by = 2026-01-31\ngrams = 100\n')
    assert "PD-1, is past its last day, 2026-01-31" in begun("trial", "weighed", "prop", "5.40", "--lot", "PD-1", code=2).err
    begun("trial", "weighed", "prop", "5.40", "--lot", "PD-1", "--sure")
    assert [d["message"] for d in begun("trial", "show", ID, "--json").data["deviations"]] == [
        "propanediol, lot PD-1, was used after its last day, 2026-01-31"
    ]


def test_a_lot_may_be_used_on_its_last_day(toner, begun):
    with (toner.root / "materials/propanediol.toml").open("a") as file:
        file.write(f'[[lot]]\nnumber = "PD-1"\nuse_by = {TODAY}\ngrams = 100\n')
    begun("trial", "weighed", "prop", "5.40", "--lot", "PD-1")
    assert begun("trial", "show", ID, "--json").data["deviations"] == []


def test_entries_stand_in_the_order_in_which_things_happened(here):
    """4.00 g sampled before the acid: 0.2272 %; noted behind it, and with its own time, it still is before it (case 4)."""
    here("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-01 10:00")
    at = datetime.datetime(2026, 3, 1, 10, 1)
    exact = dict(EXACT) | {"water": "162.756"}
    for material, grams in exact.items():
        if material != "lactic-acid-80":
            here("trial", "weighed", material, grams, "--at", str(at), "--sure")
    here("trial", "added", "lactic-acid-80", "31.42-31.02", "--at", "2026-03-01 11:00")

    def acid() -> str:
        line = next(row for row in here("sheet", "ton-260301-at-a", "--json").data["lines"] if row["material"] == "lactic-acid-80")
        return f"{float(line['percent']):.4f}"

    assert acid() == "0.2221"
    here("trial", "sampled", "4.00", "--at", "2026-03-01 10:30")
    assert acid() == "0.2272"
    assert "before the batch was begun" in here("trial", "sampled", "1", "--at", "2026-03-01 09:00", code=2).err


def test_lost_water_and_what_brings_it_back(made):
    said = made("trial", "lost", "342.60-336.15").out
    assert "6.45 g of water bring the composition back" in said
    made("trial", "sampled", "4.00")
    assert (
        made("trial", "show", ID, "--json")
        .data["deviations"][-1]["message"]
        .startswith("6.45 g of water were lost and not put back; 6.3013 g")
    )
    assert "0.0013 g of water bring the composition back" in made("trial", "replaced", "6.30").out
    assert "needs no more water" in made("trial", "replaced", "0.01").out


@pytest.mark.parametrize("words", [("lost", "500"), ("spilled", "500"), ("left", "9", "--phase", "B"), ("sampled", "190")])
def test_more_than_is_there_cannot_come_out(toner, made, words):
    before = toner.read(RECORD)
    said = made("trial", *words, code=2).err
    assert "and only" in said
    assert toner.read(RECORD) == before


def test_a_clock_that_is_behind_does_not_change_the_order():
    """The clock of the machine was set back: the entry keeps its place behind the last one, and says when it was written."""
    late, now = (datetime.datetime.fromisoformat(f"2026-03-01T{t}:00+01:00") for t in ("10:30", "10:00"))
    asked = (Asked("A", "water", F(100), F(100)),)
    entry = Entry("a-01", late, "weighed", "water", grams=F(100), phase="A")
    trial = Trial(id="t", plan="toner.1", plan_id="", batch="100 g", scale="0.01 g", asked=asked, entries=(entry,), started=now)
    assert stamped(trial, "", now) == (late, now)
    assert stamped(trial, "", late) == (late, None)
    assert stamped(trial, "10:15", late) == (late.replace(minute=15), late)


def test_what_is_lost_is_water_unless_said(toner, begun):
    begun("trial", "weighed", "water", "162.76")
    begun("trial", "weighed", "neroli", "0.72")
    begun("trial", "lost", "0.10", "--of", "neroli")
    assert {m["material"]: m["grams"] for m in begun("trial", "show", ID, "--json").data["made"]} == {
        "water": "162.76",
        "neroli-oil": "0.62",
    }


def test_left_on_a_beaker_and_poured(made):
    made("trial", "combined", "B", "into", "A")
    made("trial", "left", "0.30", "--phase", "B")
    neroli = next(row for row in made("sheet", ID, "--json").data["lines"] if row["material"] == "neroli-oil")
    assert f"{float(neroli['percent']):.4f}" == "0.3673"  # case 7
    assert "of which phase?" in made("trial", "left", "0.3", code=2).err
    assert "stand in one beaker already" in made("trial", "combined", "B", "into", "A", code=2).err
    assert "which phase into which?" in made("trial", "combined", "B", "A", "now", code=2).err
    assert 'has no phase "X"' in made("trial", "left", "0.3", "--phase", "X", code=2).err
    made("trial", "spilled", "0.30")
    again = next(row for row in made("sheet", ID, "--json").data["lines"] if row["material"] == "neroli-oil")
    assert again["percent"] == neroli["percent"]


def test_what_is_added_to_a_phase_that_stands_apart_mixes_nothing(begun):
    begun("trial", "weighed", "water", "162.76")
    begun("trial", "weighed", "neroli", "0.72")
    begun("trial", "added", "lactic", "0.32", "--phase", "C")
    begun("trial", "sampled", "1.00", "--phase", "A")
    made = {m["material"]: m["grams"] for m in begun("trial", "show", ID, "--json").data["made"]}
    assert made == {"water": "161.76", "neroli-oil": "0.72", "lactic-acid-80": "0.32"}
    begun("trial", "added", "betaine", "2.70")  # to the mixed batch: now everything stands in one beaker
    begun("trial", "sampled", "1.00", "--phase", "A")
    assert begun("trial", "show", ID, "--json").data["made"][2]["grams"] != "0.72"


def test_operations_with_temperature_time_and_speed(begun):
    begun("trial", "weighed", "water", "162.76")
    begun("trial", "heated", "a", "--temperature", "180F", "--hold", "20min")
    begun("trial", "stirred", "A", "--speed", "3000 rpm", "--hold", "5 min", "--because", "lumps")
    begun("trial", "cooled", "A", "--temperature", "38 °C")
    assert "--temperature 71C" in begun("trial", "heated", "A", "--temperature", "hot", code=2).err
    assert "--hold 15min" in begun("trial", "heated", "A", "--hold", "a while", code=2).err
    shown = begun("trial", "show", ID).out
    assert "heated to 180F (82 °C), held 20min" in shown  # 180 °F = 82.2 °C: F = 1.8 C + 32
    assert "stirred, held 5 min, 3000 rpm: lumps" in shown
    assert "cooled to 38 °C (100 °F)" in shown


def test_the_vessel_before_and_after(begun):
    begun("trial", "weighed", "water", "162.76")
    begun("trial", "vessel", "A", "342.60")
    said = begun("trial", "vessel", "A", "336.15").out
    assert "6.45 g less than before" in said
    assert "fvc trial lost 6.45 --phase A" in said


def test_a_line_left_out_and_a_note(begun):
    begun("trial", "omitted", "betaine", "--because", "none left")
    begun("trial", "noted", "foamed", "a", "bit")
    assert "unknown material" in begun("trial", "omitted", "water-x", code=2).err
    found = begun("trial", "show", ID, "--json").data
    assert [e["of"] for e in found["entries"]] == ["betaine", "foamed a bit"]
    assert found["lines"][2]["settled"] is True
    assert "the note is empty" in begun("trial", "noted", " ", code=2).err


def test_a_line_on_a_coarser_scale_keeps_its_scale(toner, here):
    toner.edit("formulary.toml", '[{ step = "0.01 g" }]', '[{ step = "0.01 g", max = "500 g" }, { step = "1 g", max = "5 kg" }]')
    here("trial", "start", "toner", "--batch", "1kg")
    text = toner.read(RECORD)
    assert '{ phase = "A", material = "water", percent = 90.42, grams = 904, balance = true, scale = "1 g" }' in text
    assert 'material = "propanediol", percent = 3, grams = 30 }' in text
    here("trial", "weighed", "prop", "31.50")
    here("trial", "enlarged", "1050g")
    targets = {row["material"]: row["target_grams"] for row in here("trial", "show", ID, "--json").data["lines"]}
    assert (targets["water"], targets["neroli-oil"]) == ("949", "4.2")  # 904 x 1.05 = 949.2 on a 1 g scale


# --- the account ------------------------------------------------------------------------------------


def test_yield_is_actual_over_theoretical(here):
    """21 CFR 210.3(b)(17) to (19): 487.3 g of 500 g is 97.46 % of theoretical yield."""
    here("trial", "start", "toner", "--batch", "500g")
    for material, percent in {m: p for lines in LINES.values() for m, p in lines.items()}.items():
        here("trial", "weighed", material, "452.10" if percent == "balance" else str(float(F(percent) * 5)))
    said = here("trial", "bulk", "612.30-125.00").out
    assert "12.70 g unaccounted; 97.46 % of the theoretical yield of 500.00 g" in said
    mass = here("trial", "show", ID, "--json").data["mass"]
    assert (mass["in"], mass["product"], mass["unaccounted"], mass["percent_of_theoretical"]) == ("500", "487.3", "12.7", "97.46")
    lines = here("diff", "toner.1", ID, "--json").data["lines"]
    assert {row["kind"] for row in lines} <= {"same"}  # what is unaccounted is never spread over lines
    here("trial", "sampled", "7.30")
    mass = here("trial", "show", ID, "--json").data["mass"]
    assert (mass["product"], mass["unaccounted"], mass["sampled"]) == ("480", "12.7", "7.3")


# --- closing ----------------------------------------------------------------------------------------


def test_a_verdict_shows_in_history_variants_and_adoption(toner, made):
    made("trial", "close", "--verdict", "keep", "--because", "clear for 30 days")
    row = made("history", "toner", "--json").data["revisions"][0]
    assert (row["trials"], row["verdicts"]) == ([ID], {ID: "keep"})
    assert f"tried: {ID}  keep: clear for 30 days" in made("history", "toner").out
    assert toner.git("log", "-1", "--format=%s").strip() == f"{ID}: closed: keep: clear for 30 days"
    made("variant", "new", "toner", "dry", "--question", "Drier?")
    made("set", "toner/dry", "propanediol=2.5", "--reason", "kept")
    id = made("trial", "start", "toner/dry", "--json").data["id"]
    made("trial", "weighed", id, "water", "162.76")
    made("trial", "close", id, "--verdict", "choose", "--because", "dry and clear")
    assert "choose" in made("variant", "compare", "toner").out
    made("variant", "adopt", "toner", "dry", "--save")
    assert f"verdict: choose ({id})" in made("history", "toner", "--json").data["revisions"][0]["reason"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--verdict", "keep"], "a verdict has a reason"),
        (["--because", "x"], "which verdict?"),
        (["--verdict", "kepe", "--because", "x"], "did you mean keep?"),
        (["--verdict", "release", "--because", "x"], "is not for sale"),
        (["--verdict", "keep", "--because", "x", "--filled", "3 x 30 mL"], "goes with a batch for sale"),
        (["--verdict", "keep", "--because", "  "], "a verdict has a reason"),
    ],
)
def test_what_cannot_close_a_batch(made, words, said):
    assert said in made("trial", "close", *words, code=2).err
    assert made("trial", "show", ID, "--json").data["verdict"] is None


def test_nothing_weighed_is_nothing_to_judge(begun):
    assert "nothing was weighed" in begun("trial", "close", "--verdict", "keep", "--because", "x", code=2).err


def test_a_batch_for_sale(toner, here):
    toner.edit("formulas/toner.toml", 'batch = "180 g"\n', 'batch = "180 g"\n[spec]\ndensity = 1.01\n')
    here("trial", "start", "toner", "--batch", "180g", "--for", "sale")
    for material, grams in EXACT.items():
        here("trial", "weighed", material, grams)
    assert "is for sale, so it cannot be closed as keep" in here("trial", "close", "--verdict", "keep", "--because", "x", code=2).err
    missing = here("trial", "close", "--verdict", "release", "--because", "as the spec", code=2).err
    assert "--bulk, --filled, --retained is missing" in missing
    here("trial", "close", "--verdict", "hold", "--because", "waits for the day 7 look")
    assert here("trial", "--json").data["trials"][0]["verdict"] == "hold"
    said = here(
        "trial", "close", "--verdict", "release", "--because", "as the spec", "--bulk", "178.2", "--filled", "5 x 30 mL", "--retained", "10 mL",
        "--checked-by", "Ben Second",
    ).out  # fmt: skip
    assert "it was: hold" in said
    assert "bulk 178.20 g, 99.00 % of theoretical" in said
    assert "filled 5 x 30 mL, 151.50 g, 84.17 % of theoretical" in said  # 150 mL at 1.01 g/mL
    data = here("trial", "show", ID, "--json").data
    assert (data["verdict"], data["filled"], data["retained"], data["for_sale"]) == ("release", "5 x 30 mL", "10 mL", True)
    again = here(
        "trial", "close", ID, "--verdict", "release", "--because", "x", "--bulk", "1", "--filled", "lots", "--retained", "x", code=2
    )
    assert '--filled "lots"' in again.err


# --- back to a plan ---------------------------------------------------------------------------------


def test_what_was_made_becomes_the_next_revision(toner, begun):
    for material, grams in (EXACT | {"propanediol": "6.40"}).items():
        begun("trial", "weighed", material, grams)
    shown = begun("trial", "to-plan", ID)
    assert "Nothing was written" in shown.out
    assert "propanediol = 3.00" in toner.read("formulas/toner.toml")
    begun("trial", "to-plan", ID, "--reason", "the slip was the better one")
    plan = {row["material"]: row["percent"] for row in begun("sheet", "toner.2", "--json").data["lines"]}
    assert plan["propanediol"] == "3.54"  # 6.40 of 181.00 g is 3.5359 %
    assert 'water = "balance"' in toner.read("formulas/toner.toml")
    assert sum(F(p) for p in plan.values()) == 100


def test_what_was_made_becomes_a_variant_at_four_decimals(toner, begun):
    for material, grams in (EXACT | {"propanediol": "6.40"}).items():
        begun("trial", "weighed", material, grams)
    begun("trial", "to-plan", ID, "--as", "slip", "--decimals", "4", "--question", "Was the slip better?")
    plan = {row["material"]: row["percent"] for row in begun("sheet", "toner/slip", "--json").data["lines"]}
    assert plan["propanediol"] == "3.5359"
    assert begun("variant", "show", "toner", "slip", "--json").data["parent"] == "toner.1"


def test_to_plan_keeps_what_is_open_open_and_says_what_it_freed(studio, run_in):
    for id, function in (
        ("propanediol", "humectant"),
        ("neroli-oil", "essential oil"),
        ("polysorbate-20", "solubiliser"),
        ("acid", "pH adjuster"),
    ):
        studio.material(id, function, {id.title(): 100})
    studio.formula(
        "mist",
        {"A": {"water": "balance", "propanediol": "3.00"}, "B": {"neroli-oil": "0.40", "polysorbate-20": "4 x neroli-oil"},
         "C": {"acid": '{ level = "open", expect = 0.40 }'}},
    )  # fmt: skip
    here = run_in(studio.root)
    here("revise", "mist", "--reason", "first")
    here("trial", "start", "mist", "--batch", "100g")
    for material, grams in (("water", "94.60"), ("prop", "3.00"), ("neroli", "0.40"), ("poly", "1.70")):
        here("trial", "weighed", material, grams)
    here("trial", "added", "acid", "0.22")
    data = here("trial", "to-plan", "mis", "--json").data
    assert data["saved"] is False
    assert "acid stays open, and expects 0.22" in data["notes"]
    assert any(n.startswith("polysorbate-20 was held at 4 x neroli-oil; as made it is 1.70") for n in data["notes"])
    here("trial", "to-plan", "mis", "--save")
    text = studio.read("formulas/mist.toml")
    assert 'acid = { level = "open", expect = 0.22 }' in text
    assert "polysorbate-20 = 1.70" in text


def test_a_plan_without_a_balance_totals_100_again(studio, run_in):
    studio.material("propanediol", "humectant", {"Propanediol": 100})
    studio.material("betaine", "humectant", {"Betaine": 100})
    studio.formula("mist", {"A": {"water": "90.00", "propanediol": "6.00", "betaine": "4.00"}})
    here = run_in(studio.root)
    here("revise", "mist", "--reason", "first")
    here("trial", "start", "mist", "--batch", "100g")
    for material, grams in (("water", "90"), ("prop", "6.10"), ("bet", "4")):
        here("trial", "weighed", material, grams)
    here("trial", "to-plan", "mis", "--save", "--decimals", "1")
    lines = here("sheet", "mist", "--json").data["lines"]
    assert [row["percent"] for row in lines] == ["89.9", "6.1", "4.00"]


def test_what_does_not_round_to_100_is_made_to(studio, run_in):
    for id in ("propanediol", "betaine"):
        studio.material(id, "humectant", {id.title(): 100})
    studio.formula("mist", {"A": {"water": "50.00", "propanediol": "30.00", "betaine": "20.00"}})
    here = run_in(studio.root)
    here("revise", "mist", "--reason", "first")
    here("trial", "start", "mist", "--batch", "100g")
    for material, grams in (("water", "57"), ("prop", "30"), ("bet", "21")):
        here("trial", "weighed", material, grams)
    here("trial", "to-plan", "mis", "--save", "--decimals", "0")
    lines = here("sheet", "mist", "--json").data["lines"]  # of 108 g: 52.78, 27.78, 19.44 %; rounded 53 + 28 + 19
    assert [F(row["percent"]) for row in lines] == [53, 28, 19]
    here("trial", "to-plan", "mis", "--save", "--decimals", "1")
    lines = here("sheet", "mist", "--json").data["lines"]  # 52.8 + 27.8 + 19.4
    assert sum(F(row["percent"]) for row in lines) == 100
    here("trial", "start", "mist", "--batch", "100g")
    second = here("trial", "--json").data["trials"][-1]["id"]
    for material, grams in (("water", "31"), ("prop", "18"), ("bet", "17")):
        here("trial", "weighed", second, material, grams, "--sure")
    here("trial", "to-plan", second, "--save", "--decimals", "1")
    lines = here("sheet", "mist", "--json").data["lines"]  # of 66 g: 46.97, 27.27, 25.76 %: 47.0 + 27.3 + 25.8 = 100.1
    assert [F(row["percent"]) for row in lines] == [F("46.9"), F("27.3"), F("25.8")]


def test_a_line_that_rounds_to_nothing_needs_more_decimals(made):
    said = made("trial", "to-plan", ID, "--decimals", "0", code=2).err
    assert "neroli-oil, lactic-acid-80 would round to nothing" in said
    assert "--decimals 2" in said


# --- the words --------------------------------------------------------------------------------------


def test_words_are_listed_and_mistyped_ones_get_the_nearest(here):
    assert "weighed [TRIAL] MATERIAL GRAMS" in here("trial", "--help").out
    assert "did you mean weigh" in here("trial", "wegh", code=2).err
    assert "usage" in here("trial", "start", code=2).err
    assert "--vessel" in here("trial", "start", "--help").out


def test_a_record_that_cannot_be_read_hinders_nobody(toner, made):
    toner.write("trials/toner/bad.toml", "format = 1\nplan = 3\n")
    result = made("trial")
    assert ID in result.out
    assert "trials/toner/bad.toml" in result.err
    assert ID in made().out
    assert "trials/toner/bad.toml" in made("trial", "show", "bad", code=2).err


def test_the_screens_fit(made, monkeypatch):
    made("trial", "lost", "6.45")
    made("trial", "close", "--verdict", "keep", "--because", "x " * 60)
    for width in ("60", "80"):
        monkeypatch.setenv("COLUMNS", width)
        for words in (("trial", "show", ID), ("trial",), ("trial", "due"), ()):
            for row in made(*words).out.split("\n"):
                assert len(row) <= int(width), row
