"""`fvc set`: change levels from the command line; the balance follows, ratios hold, the file keeps its shape."""

import os
import pty
import select
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support import Result, Studio

MIST = """\
# The mist for the window sill.
format   = 1
title    = "Orange flower mist"
revision = 0
use      = ["leave-on", "spray"]
batch    = "200 g"

[spec]
ph = [4.6, 5.2]

[phase.A]
method = "Stir cold."
[phase.A.percent]
water        = "balance"        # whatever is left
propanediol  = 3.00             # 3.5 was sticky
  betaine    =  1.5

[phase.B]                       # premix
[phase.B.percent]
neroli-oil   = 0.20
orange-oil   = 0.15
solubiliser  = "4 x (neroli-oil + orange-oil)"

[phase.C]
[phase.C.percent]
water        = 5.00             # to wet the extract
tea-extract  = { level = 2.00, note = "stays: it is the story" }
preservative = 0.90
citric-acid  = { level = "open", expect = 0.40 }
"""

PATH = "formulas/mist.toml"


def stock(studio: Studio) -> None:
    """The raw materials on the shelf."""
    for id, function in {
        "propanediol": "humectant",
        "betaine": "humectant",
        "glycerin": "humectant",
        "neroli-oil": "essential oil",
        "orange-oil": "essential oil",
        "solubiliser": "solubiliser",
        "tea-extract": "extract",
        "preservative": "preservative",
        "citric-acid": "pH adjuster",
    }.items():
        studio.material(id, function, {id.capitalize(): 100})


@pytest.fixture
def mist(studio) -> Studio:
    """A commented plan with a balance, a ratio, a note, an open line and water in two phases; not saved yet."""
    stock(studio)
    studio.write(PATH, MIST)
    return studio


@pytest.fixture
def here(mist, run_in) -> Callable[..., Result]:
    """Run a command line in this process: for long tables; elsewhere each run is a process of its own."""
    return run_in(mist.root)


@pytest.fixture
def scrub(studio) -> Studio:
    """A plan in which no line is the balance."""
    stock(studio)
    studio.formula("scrub", {"A": {"propanediol": "60.0", "glycerin": "38.5", "preservative": "1.5"}})
    return studio


def levels(studio: Studio, plan: str = "mist") -> dict[str, str]:
    """Phase:material -> level as written, of a plan in the folder."""
    return {f"{row['phase']}:{row['material']}": row["level"] for row in studio.json("sheet", plan)["lines"]}


def percents(data: dict) -> dict[str, tuple[str | None, str | None]]:
    """Phase:material -> percent before and after, of the data of a change."""
    return {f"{row['phase']}:{row['material']}": (row["before_percent"], row["after_percent"]) for row in data["lines"]}


# --- the forms, as they land in the file -----------------------------------------------------------


@pytest.mark.parametrize(
    "change, old, new",
    [
        ("propanediol=2.5", "3.00 ", "2.5 "),
        ("propanediol=2.50", "3.00 ", "2.50 "),
        ("propanediol=0", "3.00 ", "0 "),
        ("propanediol=+0.5", "3.00 ", "3.50 "),
        ("propanediol=-0.125", "3.00 ", "2.875 "),
        ("propanediol=-20%", "3.00 ", "2.40 "),
        ("propanediol=+12.5%", "3.00 ", "3.375 "),
        ("propanediol=3.0g", "3.00 ", "1.5 "),
        ("propanediol=250 mg", "3.00 ", "0.125 "),
        ("propanediol=open", "3.00 ", '"open" '),
        ("propanediol=open 0.45", "3.00 ", '{ level = "open", expect = 0.45 } '),
        ("propanediol=2 x betaine", "3.00 ", '"2 x betaine" '),
        ("tea-extract=1.75", "level = 2.00", "level = 1.75"),
        ("citric-acid=0.42", '{ level = "open", expect = 0.40 }', "{ level = 0.42 }"),
        ("citric-acid=open 0.5", "expect = 0.40", "expect = 0.5"),
        ("solubiliser=5 x (neroli-oil + orange-oil)", "4 x", "5 x"),
        ("solubiliser=6 x all essential oil", "4 x (neroli-oil + orange-oil)", "6 x all essential oil"),
        ("C:water=6", "5.00 ", "6 "),
        ("betaine=none", "  betaine    =  1.5\n", ""),
        ("A:glycerin=2.00", "  betaine    =  1.5\n", "  betaine    =  1.5\n  glycerin   = 2.00\n"),
        ("C:neroli-oil=0.05", "expect = 0.40 }\n", "expect = 0.40 }\nneroli-oil   = 0.05\n"),
        ("D:glycerin=1.0", "expect = 0.40 }\n", "expect = 0.40 }\n\n[phase.D.percent]\nglycerin = 1.0\n"),
    ],
)
def test_a_change_is_written_into_its_row_and_nowhere_else(mist, here, change, old, new):
    assert MIST.count(old) == 1
    here("set", "mist", change, "--save")
    assert mist.read(PATH) == MIST.replace(old, new)


def test_several_changes_are_one(mist):
    data = mist.json("set", "mist", "propanediol=2.5", "betaine=none", "C:glycerin=1", "neroli-oil=-50%", "--save")
    assert mist.read(PATH) == (
        MIST.replace("3.00 ", "2.5 ")
        .replace("  betaine    =  1.5\n", "")
        .replace("neroli-oil   = 0.20", "neroli-oil   = 0.10")
        .replace("expect = 0.40 }\n", "expect = 0.40 }\nglycerin     = 1\n")
    )
    kinds = {row["material"]: row["kind"] for row in data["lines"] if row["kind"] != "same"}
    assert kinds == {
        "water": "followed",
        "propanediol": "lowered",
        "betaine": "removed",
        "neroli-oil": "lowered",
        "solubiliser": "followed",
        "glycerin": "added",
    }


@pytest.mark.parametrize("newline, bom, final", [("\r\n", False, True), ("\n", True, True), ("\r\n", True, False), ("\n", False, False)])
def test_line_ends_mark_and_missing_final_newline_stay(mist, newline, bom, final):
    def as_typed(text: str) -> bytes:
        text = text if final else text.rstrip("\n")
        return (b"\xef\xbb\xbf" if bom else b"") + text.replace("\n", newline).encode()

    mist.write(PATH, as_typed(MIST))
    mist.ok("set", "mist", "propanediol=2.5", "tea-extract=1.5", "--save")
    assert (mist.root / PATH).read_bytes() == as_typed(MIST.replace("3.00 ", "2.5 ").replace("level = 2.00", "level = 1.5"))


def test_the_mode_of_the_file_stays(mist):
    (mist.root / PATH).chmod(0o640)
    mist.ok("set", "mist", "propanediol=2.5", "--save")
    assert (mist.root / PATH).stat().st_mode & 0o777 == 0o640
    assert sorted(p.name for p in (mist.root / "formulas").iterdir()) == ["mist.toml"]


# --- what follows, what holds -----------------------------------------------------------------------


def test_the_balance_follows_and_the_ratio_holds(mist):
    data = mist.json("set", "mist", "neroli-oil=0.30")
    assert percents(data) == {
        "A:water": ("85.45", "84.95"),
        "A:propanediol": ("3.00", "3.00"),
        "A:betaine": ("1.5", "1.5"),
        "B:neroli-oil": ("0.20", "0.30"),
        "B:orange-oil": ("0.15", "0.15"),
        "B:solubiliser": ("1.40", "1.80"),
        "C:water": ("5.00", "5.00"),
        "C:tea-extract": ("2.00", "2.00"),
        "C:preservative": ("0.90", "0.90"),
        "C:citric-acid": ("0.40", "0.40"),
    }


@pytest.mark.parametrize("value", ["1.6", "+0.5", "-20%", "3g", "open"])
def test_a_line_that_a_ratio_holds_is_refused_with_both_ways_out(mist, here, value):
    said = here("set", "mist", f"solubiliser={value}", "--save", code=2).err
    assert "solubiliser is held by the ratio 4 x (neroli-oil + orange-oil)" in said
    assert '"solubiliser=5 x (neroli-oil + orange-oil)"' in said
    assert "--free" in said
    assert mist.read(PATH) == MIST


@pytest.mark.parametrize("value", ["80", "+0.5", "-20%", "3g", "open"])
def test_the_balance_is_refused_with_both_ways_out(mist, here, value):
    said = here("set", "mist", f"A:water={value}", "--save", code=2).err
    assert "water is the balance: it takes whatever closes the total to 100" in said
    assert "change another line and it follows" in said
    assert "--free" in said
    assert mist.read(PATH) == MIST


def test_the_way_out_that_is_offered_works(mist):
    mist.ok("set", "mist", "solubiliser=5 x (neroli-oil + orange-oil)", "--save")
    assert levels(mist)["B:solubiliser"] == "5 x (neroli-oil + orange-oil)"


def test_free_gives_a_held_line_a_level_of_its_own(mist):
    mist.ok("set", "mist", "solubiliser=1.60", "--free", "--save")
    assert mist.read(PATH) == MIST.replace('"4 x (neroli-oil + orange-oil)"', "1.60")


def test_free_moves_the_balance_to_another_line(mist):
    data = mist.json("set", "mist", "A:water=80", "propanediol=balance", "--free", "--save")
    assert mist.read(PATH) == MIST.replace('"balance"  ', "80  ").replace("3.00 ", '"balance" ')
    assert percents(data)["A:propanediol"] == ("3.00", "8.45")


def test_a_line_that_a_ratio_counts_on_cannot_be_taken_out_alone(mist):
    said = mist.refused("set", "mist", "orange-oil=none", "--save")
    assert 'the ratio "4 x (neroli-oil + orange-oil)" refers to orange-oil, which is not in this plan' in said
    assert mist.read(PATH) == MIST
    mist.ok("set", "mist", "orange-oil=none", "solubiliser=4 x neroli-oil", "--save")


# --- what would not close ---------------------------------------------------------------------------


def test_too_much_is_refused_with_the_room_there_is(mist):
    said = mist.refused("set", "mist", "propanediol=95", "--save")
    assert "the balance water would be -6.55 %, below zero: the other lines total 106.55" in said
    assert "the room there is: 85.45 % of water, the balance" in said
    assert mist.read(PATH) == MIST


def test_all_of_the_room_may_be_taken(mist):
    data = mist.json("set", "mist", "propanediol=88.45", "--save")
    assert percents(data)["A:water"] == ("85.45", "0.00")
    mist.refused("set", "mist", "propanediol=88.46", "--save")


def test_taking_out_the_balance_is_refused(mist):
    said = mist.refused("set", "mist", "A:water=none", "--save")
    assert "the lines total 14.55, 85.45 short of 100" in said
    assert mist.read(PATH) == MIST


def test_a_plan_without_a_balance_needs_two_changes_in_one_command(scrub):
    before = scrub.read("formulas/scrub.toml")
    said = scrub.refused("set", "scrub", "glycerin=40", "--save")
    assert "the lines total 101.5, 1.5 over 100" in said
    assert "no line is the balance" in said
    assert "change two or more in one command" in said
    assert scrub.read("formulas/scrub.toml") == before
    scrub.ok("set", "scrub", "glycerin=+1.5", "propanediol=-1.5", "--save")
    assert levels(scrub, "scrub") == {"A:propanediol": "58.5", "A:glycerin": "40.0", "A:preservative": "1.5"}


def test_a_plan_that_does_not_close_can_be_mended(scrub):
    scrub.edit("formulas/scrub.toml", "38.5", "37.5")
    scrub.ok("set", "scrub", "propanediol=+1", "--save")
    assert levels(scrub, "scrub")["A:propanediol"] == "61.0"


# --- which line is meant ----------------------------------------------------------------------------


def test_a_material_in_two_phases_must_be_told_apart(mist):
    said = mist.refused("set", "mist", "water=4", "--save")
    assert "water stands in 2 phases" in said
    assert "say which: A:water=4 or C:water=4" in said


def test_an_unknown_material_gets_the_nearest_names(mist):
    assert "did you mean propanediol?" in mist.refused("set", "mist", "propandiol=2", "--save")
    said = mist.refused("set", "mist", "B:glycerine=2", "--save")
    assert 'unknown material "glycerine"' in said
    assert "did you mean glycerin?" in said
    assert "fvc new material shea-butter" in mist.refused("set", "mist", "A:shea-butter=2", "--save")
    assert mist.read(PATH) == MIST


def test_a_known_material_that_is_not_in_the_plan_asks_for_a_phase(mist):
    said = mist.refused("set", "mist", "glycerin=2", "--save")
    assert "glycerin is not in mist" in said
    assert "to add it, say where: C:glycerin=2" in said


def test_a_saved_premix_can_be_added(mist):
    mist.formula("stock", {"A": {"water": "balance", "preservative": "50"}})
    data = mist.json("set", "mist", "C:stock=1", "--save")
    assert percents(data)["C:stock"] == (None, "1")
    said = mist.refused("set", "stock", "A:mist=1", "--save")
    assert "a formula stands inside itself: stock -> mist -> stock" in said
    assert "mist" not in levels(mist, "stock")


def test_a_plan_cannot_be_added_to_itself(mist):
    said = mist.refused("set", "mist", "A:mist=1", "--save")
    assert 'unknown material "mist"' in said
    assert mist.read(PATH) == MIST


@pytest.mark.parametrize(
    "change, said",
    [
        ("propanediol", "expected MATERIAL=VALUE"),
        ("propanediol=", "expected MATERIAL=VALUE"),
        ("=2.5", "it is empty"),
        ("Propanediol=2", 'it has capitals; write "propanediol"'),
        ("glycerin-99.5=2", "it has a dot"),
        ("hot stage:water=2", "expected MATERIAL=VALUE"),
        ("propanediol=2,5", 'it has a comma; write "2.5" with a point'),
        ("propanediol=2.5%", "write 2.5 for a level, +2.5% or -2.5% for a change relative to it"),
        ("propanediol=101", "it is above 100"),
        ("propanediol=0.123456789", "it has 9 decimals; at most 8 are kept"),
        ("propanediol=1e1", "expected a number from 0 to 100"),
        ("propanediol=nan", "expected a number from 0 to 100"),
        ("propanediol=-3.5", "that would be -0.50, below zero: propanediol is at 3.00"),
        ("propanediol=-110%", "that would be -0.30, below zero: propanediol is at 3.00"),
        ("propanediol=3 mL", 'unknown unit "mL"'),
        ("propanediol=q.s.", 'write "balance" (closes to 100) or "open" (set at the bench)'),
        ("propanediol=some", "expected a number from 0 to 100"),
        ("propanediol=0.001mg", "which rounds to 0 at 4 decimals"),
        ("propanediol=4 x propanediol", "refers to propanediol itself"),
        ("propanediol=4 x shea-butter", "refers to shea-butter, which is not in this plan"),
        ("propanediol=balance", "two balance lines: A:water, A:propanediol"),
        ("propanediol=2 x water", "a ratio on the balance, which itself waits for the ratio"),
        ("orange-oil=2 x solubiliser", "a ring of ratios: orange-oil -> solubiliser -> orange-oil"),
        ("propanediol=200 x betaine", "comes to 300.00 %, above 100"),
        ("citric-acid=+0.1", "citric-acid has no level of its own to start from"),
        ("A:glycerin=+0.1", "glycerin is not in phase A, so there is no level to start from"),
        ("B:betaine=none", "betaine is not in phase B, so there is nothing to remove"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_changes(mist, here, change, said):
    assert said in here("set", "mist", change, "--save", code=2).err
    assert mist.read(PATH) == MIST


def test_the_same_line_twice_is_refused(mist):
    assert "A:propanediol is set twice" in mist.refused("set", "mist", "propanediol=2", "A:propanediol=3", "--save")


def test_all_that_is_wrong_is_told_at_once(mist):
    said = mist.refused("set", "mist", "propandiol=2", "betaine=2,5", "solubiliser=1", "orange-oil=0.2", "--save")
    assert "did you mean propanediol?" in said
    assert "it has a comma" in said
    assert "held by the ratio" in said
    assert mist.read(PATH) == MIST


# --- grams and rounding -----------------------------------------------------------------------------


def test_grams_count_at_the_batch_asked_for(mist):
    assert percents(mist.json("set", "mist", "propanediol=3.0g", "--batch", "50g"))["A:propanediol"] == ("3.00", "6")
    assert percents(mist.json("set", "mist", "propanediol=1 oz", "--batch", "10 oz"))["A:propanediol"] == ("3.00", "10")


def test_grams_at_a_volume_need_the_density(mist):
    said = mist.refused("set", "mist", "propanediol=3.0g", "--batch", "6 x 30 mL")
    assert "--density" in said
    data = mist.json("set", "mist", "propanediol=3.0g", "--batch", "6 x 30 mL", "--density", "1.25")
    assert (data["batch_g"], percents(data)["A:propanediol"][1]) == ("225", "1.3333")


def test_grams_are_also_shown_at_the_batch_asked_for(mist):
    data = mist.json("set", "mist", "propanediol=2", "--batch", "1 kg")
    row = next(r for r in data["lines"] if r["material"] == "propanediol")
    assert (data["batch_g"], row["before_grams"], row["after_grams"], row["grams"]) == ("1000", "30", "20", "-10")


def test_a_computed_level_that_was_rounded_says_so(mist):
    out = mist.ok("set", "mist", "propanediol=+33%", "betaine=1g", "--batch", "180 g", "--save").out
    assert "betaine: rounded to 0.5556, 0.00004444 points away from exact" in " ".join(out.split())
    assert "propanediol: rounded" not in out
    assert (levels(mist)["A:propanediol"], levels(mist)["A:betaine"]) == ("3.99", "0.5556")


def test_the_decimals_of_the_formulary_hold(mist):
    mist.edit("formulary.toml", "format = 1\n", "format = 1\ndecimals = 2\n")
    mist.ok("set", "mist", "betaine=1g", "--batch", "180 g", "--save")
    assert levels(mist)["A:betaine"] == "0.56"


# --- saving -----------------------------------------------------------------------------------------


def test_without_a_terminal_nothing_is_written_unless_told(mist):
    result = mist.ok("set", "mist", "propanediol=2.5", input="y\n")
    assert mist.read(PATH) == MIST
    assert "Nothing was written. Add --save to write it" in " ".join(result.out.split())
    assert "propanediol" in result.out
    assert "2.5" in result.out


def test_save_writes_and_says_that_it_is_no_revision_yet(mist):
    result = mist.ok("set", "mist", "propanediol=2.5", "--save")
    said = " ".join(result.out.split())
    assert "Written to formulas/mist.toml." in said
    assert "fvc revise mist --reason TEXT" in said
    assert mist.git("log", "--format=%s").split("\n")[0] == "New formulary"


def test_a_reason_also_saves_a_revision(mist):
    mist.ok("revise", "mist", "--reason", "first plan")
    result = mist.ok("set", "mist", "propanediol=2.5", "--reason", "less sticky")
    assert "Saved mist revision 2" in result.out
    assert mist.read(PATH) == MIST.replace("3.00 ", "2.5 ").replace("revision = 0", "revision = 2")
    assert mist.git("log", "-1", "--format=%s").strip() == "mist 2: less sticky"
    assert mist.git("status", "--porcelain", "formulas") == ""


def test_an_empty_reason_saves_nothing(mist):
    mist.ok("set", "mist", "propanediol=2.5", "--reason", "  ")
    assert mist.read(PATH) == MIST


def test_a_reason_without_an_identity_changes_nothing(mist):
    said = mist.refused("set", "mist", "propanediol=2.5", "--reason", "less sticky", env={"GIT_CONFIG_GLOBAL": os.devnull})
    assert "git config --global user.name" in said
    assert mist.read(PATH) == MIST


def test_a_save_that_fails_leaves_the_plan_as_it_was(mist):
    hook = mist.root / ".git/hooks/pre-commit"
    hook.parent.mkdir(exist_ok=True)
    hook.write_text("#!/bin/sh\necho 'not on a Sunday' >&2\nexit 1\n")
    hook.chmod(0o755)
    said = mist.refused("set", "mist", "propanediol=2.5", "--reason", "less sticky")
    assert "not on a Sunday" in said
    assert mist.read(PATH) == MIST


def test_data_of_a_change_is_that_of_a_difference_and_whether_it_was_saved(mist):
    data = mist.json("set", "mist", "propanediol=2.5")
    assert data["saved"] is False
    asked = {"schema", "before", "after", "batch_g", "lines", "order", "text", "swaps", "composition", "functions", "properties"}
    assert asked | {"materials_changed", "saved"} <= set(data)
    assert set(data["before"]) == {"ref", "commit", "revision", "saved"}
    assert data["batch_g"] == "200"
    row = next(r for r in data["lines"] if r["material"] == "propanediol")
    keys = ["phase", "before_phase", "material", "kind", "before_percent", "after_percent", "points", "relative_percent"]
    assert [row[k] for k in keys] == ["A", "A", "propanediol", "lowered", "3.00", "2.5", "-0.5", "-16.6666666667"]
    assert mist.read(PATH) == MIST
    assert mist.json("set", "mist", "propanediol=2.5", "--save")["saved"] is True
    assert mist.read(PATH) == MIST.replace("3.00 ", "2.5 ")
    assert mist.json("set", "mist", "propanediol=2.5", "--save")["saved"] is False


def test_a_refusal_prints_no_data(mist):
    result = mist.fvc("set", "mist", "propanediol=95", "--json", "--save")
    assert (result.code, result.out) == (2, "")


@pytest.mark.parametrize(
    "change", ["propanediol=3.00", "tea-extract=2.00", "solubiliser=4 x (neroli-oil + orange-oil)", "citric-acid=open"]
)
def test_a_change_to_what_it_is_already_writes_nothing(mist, here, change):
    (mist.root / PATH).chmod(0o444)
    stamp = (mist.root / PATH).stat().st_mtime_ns
    result = here("set", "mist", change, "--save")
    assert "The plan says this already" in result.out
    assert (mist.read(PATH), (mist.root / PATH).stat().st_mtime_ns) == (MIST, stamp)


def test_the_digits_typed_are_a_change_of_their_own(mist):
    mist.ok("set", "mist", "propanediol=3.0", "--save")
    assert mist.read(PATH) == MIST.replace("3.00 ", "3.0 ")


def test_a_locked_plan_is_refused(mist):
    mist.edit(PATH, "revision = 0", 'revision = 0\nstatus   = "locked"')
    mist.ok("revise", "mist", "--reason", "for sale as it is")
    before = mist.read(PATH)
    said = mist.refused("set", "mist", "propanediol=2.5", "--save")
    assert "mist is locked as revision 1" in said
    assert 'status = "chosen"' in said
    assert mist.read(PATH) == before


def test_a_saved_state_cannot_be_changed(mist):
    mist.ok("revise", "mist", "--reason", "first plan")
    said = mist.refused("set", "mist.1", "propanediol=2.5", "--save")
    assert "mist.1 is a saved state and stays as it is" in said


def test_a_variant_can_be_changed(mist):
    about = '\n[variant]\nparent = "mist.1"\nquestion = "Less sticky?"\nstate = "open"\n'
    mist.write("variants/mist/dry.toml", MIST + about)
    mist.ok("set", "mist/dry", "propanediol=2.5", "--save")
    assert mist.read("variants/mist/dry.toml") == MIST.replace("3.00 ", "2.5 ") + about
    assert mist.read(PATH) == MIST


def test_a_plan_that_does_not_exist_is_refused_with_the_nearest(mist):
    assert "did you mean mist?" in mist.refused("set", "mists", "propanediol=2.5", "--save")


def test_it_works_outside_git(tmp_path):
    studio = Studio.make(tmp_path / "no-git", git=False)
    stock(studio)
    studio.write(PATH, MIST)
    studio.ok("set", "mist", "propanediol=2.5", "--save")
    assert studio.read(PATH) == MIST.replace("3.00 ", "2.5 ")
    said = studio.refused("set", "mist", "propanediol=2", "--reason", "why not")
    assert "git init" in said
    assert studio.read(PATH) == MIST.replace("3.00 ", "2.5 ")


# --- in a terminal ----------------------------------------------------------------------------------


def in_terminal(studio: Studio, answer: str, *arguments: str) -> tuple[int, str]:
    """Run a command in a terminal, answer its question, give its exit code and what stood on the screen."""
    ours, theirs = pty.openpty()
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1", "TERM": "dumb"}
    process = subprocess.Popen(
        [sys.executable, "-m", "fvc", *arguments], cwd=studio.root, stdin=theirs, stdout=theirs, stderr=theirs, env=env, close_fds=True
    )
    os.close(theirs)
    seen, until = b"", time.monotonic() + 60
    asked = False
    while time.monotonic() < until:
        if select.select([ours], [], [], 0.2)[0]:
            try:
                piece = os.read(ours, 4096)
            except OSError:  # the other end is closed
                break
            if not piece:
                break
            seen += piece
        if not asked and b"[y/N]" in seen:
            asked = True
            os.write(ours, answer.encode())
    code = process.wait(timeout=60)
    os.close(ours)
    return code, seen.decode()


@pytest.mark.parametrize("answer, written", [("y\n", True), ("yes\n", True), ("n\n", False), ("\n", False), ("\x04", False)])
def test_in_a_terminal_it_shows_the_change_and_asks(mist, answer, written):
    code, seen = in_terminal(mist, answer, "set", "mist", "propanediol=2.5")
    assert code == 0
    assert seen.index("propanediol") < seen.index("write this into the plan? [y/N]")
    assert mist.read(PATH) == (MIST.replace("3.00 ", "2.5 ") if written else MIST)


def test_in_a_terminal_save_does_not_ask(mist):
    code, seen = in_terminal(mist, "", "set", "mist", "propanediol=2.5", "--save")
    assert (code, "[y/N]" in seen) == (0, False)
    assert mist.read(PATH) == MIST.replace("3.00 ", "2.5 ")


def test_a_phase_that_was_not_there_is_said(toner):
    assert "phase D is new, behind the others" in toner.ok("set", "toner", "D:betaine=0.10").out
    assert "is new" not in toner.ok("set", "toner", "C:betaine=0.10").out


def test_earlier_changes_that_go_along_with_a_reason_are_shown(toner):
    toner.ok("set", "toner", "betaine=1.00", "--save")
    out = toner.ok("set", "toner", "neroli-oil=0.30", "--reason", "lighter scent").out
    assert "betaine" in out.partition("Saved toner")[0]
    assert "Changes made before and not saved yet are among these" in " ".join(out.split())
    data = toner.json("set", "toner", "neroli-oil=0.20", "--reason", "lighter still")
    assert [line["material"] for line in data["lines"] if line["kind"] == "lowered"] == ["neroli-oil"]


def test_a_record_that_is_saved_by_set_counts_as_saved(toner):
    toner.edit("materials/lactic-acid-80.toml", '"Lactic Acid" = 80', '"Lactic Acid" = 78')
    data = toner.json("set", "toner", "lactic-acid-80=0.18", "--reason", "a new strength")
    assert data["saved"] is True
    assert [c["after"] for c in data["materials_changed"]] == ["78"]


def test_a_line_that_moves_in_one_command_stands_in_one_phase(toner):
    out = toner.ok("set", "toner", "B:neroli-oil=none", "C:neroli-oil=0.40").out
    assert "more than one phase" not in out
    assert "more than one phase" in toner.ok("set", "toner", "C:neroli-oil=0.40").out


def test_two_writers_leave_what_one_of_them_saved_or_nothing(toner):
    hooks = toner.root / ".git/hooks/pre-commit"
    hooks.write_text("#!/bin/sh\nsleep 1\nexit 1\n")
    hooks.chmod(0o755)
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.00")
    before = toner.read("formulas/toner.toml")
    first = toner.start("revise", "toner", "--reason", "one")
    second = toner.start("set", "toner", "propanediol=2.00", "--reason", "two")
    assert (first.wait(timeout=60), second.wait(timeout=60)) == (2, 2)
    assert toner.read("formulas/toner.toml") == before


def test_a_reader_that_goes_away_does_not_keep_a_change_from_being_written(toner):
    """`fvc set … --save | head -1`: what was told to be written is written before it is shown."""
    for words in (("set", "toner", "propanediol=2.5", "--save"), ("set", "toner", "betaine=1.25", "--reason", "less")):
        command = [sys.executable, "-m", "fvc", *words]
        env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1"}
        process = subprocess.Popen(command, cwd=toner.root, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        process.stdout.close()
        process.communicate()
    assert "propanediol = 2.5\n" in toner.read("formulas/toner.toml")
    assert toner.json("sheet", "toner.2")["lines"][2]["percent"] == "1.25"
