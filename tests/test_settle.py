"""Two people change one formula, git merges with the driver, and `fvc settle` decides what both changed."""

import os
import subprocess

import pytest

from tests.support import Studio, in_terminal

TONER = """\
format   = 1
title    = "Face toner"
revision = 0
use      = "leave-on"
batch    = "100 g"

[phase.A]
method = "Warm until clear."
[phase.A.percent]
water       = "balance"
propanediol = 3.00          # less sticky than it was
allantoin   = 0.20

[phase.B]
[phase.B.percent]
extract = 2.00
"""
TYPED = TONER.replace('"balance"', "94.80")
MERGED_BY = {"GIT_AUTHOR_DATE": "2026-03-09T12:00:00+01:00", "GIT_COMMITTER_DATE": "2026-03-09T12:00:00+01:00"}


@pytest.fixture
def pair(prepared):
    """A studio, set up, with one saved toner."""
    return Studio(prepared(_pair))


def _pair(folder):
    made = Studio.make(folder)
    for id in ("propanediol", "allantoin", "extract", "betaine"):
        made.material(id, "humectant", {id.title(): 100})
    made.write("formulas/toner.toml", TONER)
    made.save_as("Ada", "2026-03-01", ".", message="toner 0: the start")
    made.ok("setup")


def both(studio: Studio, first: dict[str, str], second: dict[str, str], base: str = TONER, merge: str = "merge") -> str:
    """Ada and Bea each change the toner, and git puts Bea's change to Ada's; what git printed."""
    if base != TONER:
        studio.write("formulas/toner.toml", base)
        studio.save_as("Ada", "2026-03-02", "formulas", message="typed water")
    studio.git("branch", "bea")
    for edits, who, day, why in (
        (first, "Ada", "2026-03-03", "toner 1: less sticky"),
        (second, "Bea", "2026-03-04", "toner 1: skin felt dry"),
    ):
        if who == "Bea":
            studio.git("checkout", "-q", "bea")
        text = base
        for old, new in edits.items():
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        studio.write("formulas/toner.toml", text)
        studio.save_as(who, day, "formulas", message=why)
    studio.git("checkout", "-q", "-")
    done = subprocess.run(["git", "-C", str(studio.root), merge, "--no-edit", "bea"], capture_output=True, env=os.environ | MERGED_BY)
    return done.stdout.decode() + done.stderr.decode()


def test_what_each_changed_alone_is_merged_and_nothing_is_open(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"allantoin   = 0.20": "allantoin   = 0.30"})
    text = pair.read("formulas/toner.toml")
    assert "propanediol = 2.50          # less sticky than it was\nallantoin   = 0.30\n" in text
    assert pair.ok("settle").out == "Nothing is open here.\n"


def test_a_question_is_shown_with_before_each_person_and_why(pair):
    said = both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    assert "propanediol: 3.00 in the parent they share" in said
    result = pair.fvc("settle", "toner")
    assert result.code == 1
    assert result.out == (
        "toner   1 question between Ada and Bea\n"
        "  Ada (2026-03-03): less sticky\n"
        "  Bea (2026-03-04): skin felt dry\n"
        "\n"
        "1 of 1  propanediol\n"
        "  before  3.00\n"
        "  Ada     2.50\n"
        "  Bea     3.50\n"
        "  total so far: 100.00 %\n"
    )
    assert "fvc settle toner --take Ada" in result.err
    assert "<<<<<<<" in pair.read("formulas/toner.toml")


@pytest.mark.parametrize(
    ("flags", "level"),
    [
        (("--take", "ada"), "2.50"),
        (("--take", "propanediol=Bea"), "3.50"),
        (("--level", "1.9"), "1.9"),
        (("--level", "propanediol=2.75"), "2.75"),
    ],
)
def test_it_is_settled_by_flags_and_the_merge_is_saved(pair, flags, level):
    both(
        pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50", "extract = 2.00": "extract = 2.50"}
    )
    said = pair.ok("settle", "toner", *flags).out
    assert "Nothing is open any more, and the merge is saved." in said
    assert f"propanediol = {level}          # less sticky than it was\n" in pair.read("formulas/toner.toml")
    assert "extract = 2.50\n" in pair.read("formulas/toner.toml")
    assert pair.git("status", "--porcelain") == ""
    assert len(pair.git("log", "-1", "--format=%P").split()) == 2


def test_two_correct_plans_that_total_101_are_a_question_and_never_retotalled(pair):
    both(
        pair,
        {"= 94.80": "= 93.80", "propanediol = 3.00": "propanediol = 4.00"},
        {"= 94.80": "= 93.80", "extract = 2.00": "extract = 3.00"},
        TYPED,
    )
    text = pair.read("formulas/toner.toml")
    start, end = text.index("<<<<<<<"), text.index(">>>>>>>")
    assert all(
        start < text.index(line) < end
        for line in ("water       = 93.80", "propanediol = 4.00", "propanediol = 3.00", "extract = 2.00", "extract = 3.00")
    )
    assert 'title    = "Face toner"' in text[:start]
    result = pair.fvc("settle", "toner")
    assert result.code == 1
    assert "1 of 1  total: the lines total 101.00, 1.00 over 100" in result.out
    assert pair.fvc("settle", "toner", "--level", "water=92.90").code == 1
    pair.ok("settle", "toner", "--level", "water=92.80")
    assert [pair.json("sheet", "toner")[k] for k in ("closed", "total_percent")] == [True, "100"]


def test_a_total_is_settled_by_taking_one_persons_lines(pair):
    edits = (
        {"= 94.80": "= 93.80", "propanediol = 3.00": "propanediol = 4.00"},
        {"= 94.80": "= 93.80", "extract = 2.00": "extract = 3.00", "Face toner": "Rose toner"},
    )
    both(pair, *edits, TYPED)
    said = pair.ok("settle", "toner", "--take", "Ada").out
    text = pair.read("formulas/toner.toml")
    assert "propanediol = 4.00" in text
    assert "extract = 2.00" in text
    assert "  extract 3.00 (Bea), back to 2.00\n" in said
    assert 'title    = "Rose toner"' in text  # a text that only Bea changed is no matter of the total


def test_a_balance_below_zero_is_a_question(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 60.00"}, {"extract = 2.00": "extract = 55.00"})
    assert "below zero" in pair.fvc("settle", "toner").out


def test_a_file_that_one_took_away_and_the_other_changed(pair):
    pair.git("branch", "bea")
    pair.git("rm", "-q", "formulas/toner.toml")
    pair.save_as("Ada", "2026-03-03", ".", message="not made any more")
    pair.git("checkout", "-q", "bea")
    pair.edit("formulas/toner.toml", "extract = 2.00", "extract = 2.50")
    pair.save_as("Bea", "2026-03-04", "formulas", message="more scent")
    pair.git("checkout", "-q", "-")
    pair.git("merge", "--no-edit", "bea", check=False)
    result = pair.fvc("settle", "toner")
    assert "the file: one took it away" in result.out
    pair.ok("settle", "toner", "--take", "Bea")
    assert "extract = 2.50" in pair.read("formulas/toner.toml")
    assert pair.git("status", "--porcelain") == ""


def test_a_file_that_goes_is_gone(pair):
    pair.git("branch", "bea")
    pair.edit("formulas/toner.toml", "extract = 2.00", "extract = 2.50")
    pair.save_as("Ada", "2026-03-03", "formulas", message="more scent")
    pair.git("checkout", "-q", "bea")
    pair.git("rm", "-q", "formulas/toner.toml")
    pair.save_as("Bea", "2026-03-04", ".", message="not made any more")
    pair.git("checkout", "-q", "-")
    pair.git("merge", "--no-edit", "bea", check=False)
    pair.ok("settle", "toner", "--take", "Bea")
    assert not (pair.root / "formulas/toner.toml").exists()
    assert pair.git("status", "--porcelain") == ""


def test_both_added_the_same_formula(pair):
    pair.git("branch", "bea")
    for who, day, level in (("Ada", "2026-03-03", "1.00"), ("Bea", "2026-03-04", "1.50")):
        if who == "Bea":
            pair.git("checkout", "-q", "bea")
        pair.formula("mist", {"A": {"water": "balance", "betaine": level}})
        pair.save_as(who, day, ".", message=f"mist 1: {who} begins")
    pair.git("checkout", "-q", "-")
    pair.git("merge", "--no-edit", "bea", check=False)
    out = pair.fvc("settle", "mist").out
    assert "1 of 1  betaine\n  Ada  1.00\n  Bea  1.50\n" in out
    pair.ok("settle", "mist", "--take", "Bea")


def test_comments_that_both_changed_are_asked_about(pair):
    both(pair, {"less sticky than it was": "sticky above 4"}, {"less sticky than it was": "from the new supplier"})
    result = pair.fvc("settle", "toner")
    assert result.code == 1
    assert "sticky above 4" in result.out
    pair.ok("settle", "toner", "--take", "Bea")
    assert "# from the new supplier" in pair.read("formulas/toner.toml")


def test_in_a_rebase_the_names_are_right_and_git_is_told_how_to_go_on(pair):
    pair.git("branch", "bea")
    for who, day, level in (("Ada", "2026-03-03", "2.50"), ("Bea", "2026-03-04", "3.50")):
        if who == "Bea":
            pair.git("checkout", "-q", "bea")
        pair.edit("formulas/toner.toml", "propanediol = 3.00", f"propanediol = {level}")
        pair.save_as(who, day, "formulas", message=f"toner 1: {who} tries")
    pair.git("rebase", "-", check=False)
    assert "  Ada     2.50\n  Bea     3.50\n" in pair.fvc("settle", "toner").out
    said = pair.ok("settle", "toner", "--take", "Bea").out
    assert "Go on with  git rebase --continue" in said
    pair.git("rebase", "--continue", env={"GIT_EDITOR": "true"})
    assert "propanediol = 3.50" in pair.read("formulas/toner.toml")


def test_what_was_changed_by_hand_since_the_merge_is_not_written_over(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    pair.edit("formulas/toner.toml", "propanediol = 2.50", "propanediol = 2.60")
    assert "has been changed by hand since the merge" in pair.refused("settle", "toner", "--take", "Bea")
    assert "propanediol = 2.60" in pair.read("formulas/toner.toml")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nothing",), "nothing is not open"),
        (("tonr",), "did you mean toner?"),
        (("toner", "--take", "Cleo"), "names neither of the two"),
        (("toner", "--level", "betaine=1"), "is neither a question nor a line"),
        (("toner", "--level", "much"), "expected a number"),
        (("toner", "--take", "water=Ada", "--level", "101"), "above 100"),
    ],
)
def test_a_wrong_call_says_what_would_be_right(pair, arguments, said):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    assert said in pair.refused("settle", *arguments)


def test_the_total_after_taking_one_persons_lines_is_that_of_the_file(pair):
    first = {"= 94.80": "= 93.80", "propanediol = 3.00": "propanediol = 4.00"}
    both(pair, first, {"= 94.80": "= 93.80", "extract = 2.00": "extract = 3.00"}, TYPED)
    assert "  total: 100.00 %\n" in pair.ok("settle", "toner", "--take", "Ada").out


def test_hand_work_on_a_file_that_one_took_away_is_kept(pair):
    pair.git("branch", "bea")
    pair.edit("formulas/toner.toml", "extract = 2.00", "extract = 2.50")
    pair.save_as("Ada", "2026-03-03", "formulas", message="more scent")
    pair.git("checkout", "-q", "bea")
    pair.git("rm", "-q", "formulas/toner.toml")
    pair.save_as("Bea", "2026-03-04", ".", message="not made any more")
    pair.git("checkout", "-q", "-")
    pair.git("merge", "--no-edit", "bea", check=False)
    pair.edit("formulas/toner.toml", "extract = 2.50", "extract = 2.75")
    assert "changed by hand" in pair.refused("settle", "toner", "--take", "Ada")
    assert "extract = 2.75" in pair.read("formulas/toner.toml")


def two_open(pair: Studio) -> None:
    """Both changed one level each of the toner and of a mist, and git merges."""
    pair.formula("mist", {"A": {"water": "balance", "betaine": "1.00"}})
    pair.save_as("Ada", "2026-03-01", ".", message="mist")
    pair.git("branch", "bea")
    for who, day, level in (("Ada", "2026-03-03", "2.50"), ("Bea", "2026-03-04", "3.50")):
        if who == "Bea":
            pair.git("checkout", "-q", "bea")
        pair.edit("formulas/toner.toml", "propanediol = 3.00", f"propanediol = {level}")
        pair.edit("formulas/mist.toml", "betaine = 1.00", f"betaine = {level}")
        pair.save_as(who, day, "formulas", message=f"{who} tries")
    pair.git("checkout", "-q", "-")
    pair.git("merge", "--no-edit", "bea", check=False)


def test_markers_in_another_file_are_not_saved_with_the_merge(pair):
    two_open(pair)
    pair.git("add", "formulas/mist.toml")
    result = pair.fvc("settle", "toner", "--take", "Ada")
    assert result.code == 1
    assert "markers of a conflict are left in formulas/mist.toml\n" in result.out
    pair.write("formulas/mist.toml", pair.git("show", "HEAD:formulas/mist.toml"))
    pair.git("add", "formulas/mist.toml")
    assert pair.ok("settle").out == "Nothing was open any more; the merge is saved.\n"


def test_a_merge_with_two_open_files_is_saved_with_the_last(pair):
    two_open(pair)
    assert pair.fvc("settle").out == "open:  fvc settle mist\nopen:  fvc settle toner\n"
    first = pair.fvc("settle", "toner", "--take", "Ada")
    assert (first.code, first.out.splitlines()[-1]) == (1, "Still open:  fvc settle mist")
    pair.ok("settle", "mist", "--take", "Bea")
    assert pair.git("status", "--porcelain") == ""


def test_as_data(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    result = pair.fvc("settle", "toner", "--json")
    assert result.code == 1
    assert result.data["people"][1] == {"name": "Bea", "reason": "skin felt dry", "day": "2026-03-04"}
    assert result.data["questions"] == [{"about": "propanediol", "before": "3.00", "first": "2.50", "second": "3.50", "why": None}]
    assert (result.data["settled"], result.data["saved"]) == (False, False)
    assert pair.json("settle", "toner", "--take", "Ada")["saved"] is True


def at_settle(pair: Studio, *steps: tuple[str, str]) -> tuple[int, str]:
    return in_terminal(pair, *steps, arguments=("settle", "toner"))


LEVEL, SURE = "another level? (q leaves)", "write this, and go on? [y/n]"


def test_asked_in_a_terminal_wrong_answers_are_asked_again(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    code, _ = at_settle(pair, (LEVEL, "Cleo"), ("names neither", "2,5"), (LEVEL, "1.90"), (SURE, "y"))
    assert code == 0
    assert "propanediol = 1.90" in pair.read("formulas/toner.toml")
    assert pair.git("status", "--porcelain") == ""


def test_a_wrong_word_at_the_last_question_loses_nothing(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    code, seen = at_settle(pair, (LEVEL, "1.90"), (SURE, "Ada"), (SURE, ""), (SURE, "yes"))
    assert code == 0
    assert seen.count("Type  y  to write it, or  n  to leave all as it was.") == 2
    assert "propanediol = 1.90" in pair.read("formulas/toner.toml")


@pytest.mark.parametrize(("last", "code"), [("n", 1), ("\x04", 130), ("\x03", 130)], ids=["no", "ctrl-d", "ctrl-c"])
def test_whoever_leaves_at_the_end_hears_that_nothing_was_written_and_how_to_say_the_same_again(pair, last, code):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    before = pair.read("formulas/toner.toml")
    left, seen = at_settle(pair, (LEVEL, "1.90"), (SURE, last))
    assert left == code
    assert "Nothing was written.\nTo give the same answers again:\n    fvc settle toner --level propanediol=1.90\n" in seen
    assert pair.read("formulas/toner.toml") == before
    assert "propanediol" in pair.fvc("settle", "toner").out


def test_whoever_leaves_in_the_middle_hears_that_nothing_was_written(pair):
    both(pair, *TWO_QUESTIONS)
    code, seen = at_settle(pair, (LEVEL, "bea"), (LEVEL, "\x04"))
    assert code == 130
    assert "Nothing was written.\nTo give the same answers again:\n    fvc settle toner --take propanediol=Bea --take extract=Ada\n" in seen
    code, seen = at_settle(pair, (LEVEL, "1.5"), (LEVEL, "q"))
    assert code == 2
    assert "next: fvc settle toner --level propanediol=1.5 --take extract=Ada  has the answers so far" in seen
    code, seen = at_settle(pair, (LEVEL, "\x04"))
    assert code == 130
    assert "Nothing was written.\n" in seen


TWO_QUESTIONS = (
    {"propanediol = 3.00": "propanediol = 2.50", "extract = 2.00": "extract = 1.00"},
    {"propanediol = 3.00": "propanediol = 3.50", "extract = 2.00": "extract = 1.50"},
)


def test_flags_that_answer_a_part_are_given_back_as_one_whole_command(pair):
    both(pair, *TWO_QUESTIONS)
    result = pair.fvc("settle", "toner", "--level", "propanediol=1.9")
    assert result.code == 1
    assert "1 open, and nothing was written" in result.err
    told = result.err.partition("all answers go into one call:  ")[2].partition("    ")[0]
    assert told == "fvc settle toner --level propanediol=1.9 --take extract=Ada"
    assert pair.git("diff", "--name-only", "--diff-filter=U").strip() == "formulas/toner.toml"
    pair.ok(*told.split()[1:])
    text = pair.read("formulas/toner.toml")
    assert "propanediol = 1.9 " in text
    assert "extract = 1.00\n" in text


def test_a_part_of_a_total_is_given_back_with_what_is_missing(pair):
    both(pair, *OFF_100, TYPED)
    said = pair.fvc("settle", "toner", "--level", "water=92.90").err
    assert "fvc settle toner --level water=92.90 --level LINE=PERCENT" in said
    pair.ok("settle", "toner", "--level", "A:water=92.80")


@pytest.mark.parametrize("word", ["method", "A:method", "phase.A.method"])
def test_a_text_of_a_phase_is_named_by_its_last_word_too(pair, word):
    both(pair, {"Warm until clear": "Warm slowly"}, {"Warm until clear": "Heat to 70 °C"})
    pair.ok("settle", "toner", "--take", f"{word}=Bea")
    assert 'method = "Heat to 70 °C."' in pair.read("formulas/toner.toml")


@pytest.mark.parametrize("name", ["method", "phase.A.method"])
def test_what_is_no_level_takes_none(pair, name):
    both(pair, {"Warm until clear": "Warm slowly"}, {"Warm until clear": "Heat to 70 °C"})
    said = pair.refused("settle", "toner", "--level", f"{name}=2")
    assert "phase.A.method is no level\n  next: take what one of the two has:  --take phase.A.method=Ada" in said


def test_a_line_beside_the_question_about_its_comment_takes_a_level(pair):
    both(pair, {"less sticky than it was": "sticky above 4"}, {"less sticky than it was": "from the new supplier"})
    comment = pair.fvc("settle", "toner", "--json").data["questions"][0]["about"]
    pair.ok("settle", "toner", "--level", "propanediol=2.75", "--take", f"{comment}=Ada")
    assert "propanediol = 2.75          # sticky above 4\n" in pair.read("formulas/toner.toml")
    assert f"  {comment}: " in message(pair)


def test_the_record_of_a_material_takes_no_level(pair):
    pair.git("branch", "bea")
    for who, day, price in (("Ada", "2026-03-03", "5 / 1 kg"), ("Bea", "2026-03-04", "6 / 1 kg")):
        if who == "Bea":
            pair.git("checkout", "-q", "bea")
        pair.material("betaine", "humectant", {"Betaine": 100}, f'price = "{price}"\n')
        pair.save_as(who, day, ".", message=f"betaine: {who} bought")
    pair.git("checkout", "-q", "-")
    pair.git("merge", "--no-edit", "bea", check=False)
    assert "price is no level" in pair.refused("settle", "betaine", "--level", "price=5")
    pair.ok("settle", "betaine", "--take", "price=Bea")
    assert message(pair).endswith("Settled betaine:\n  price: Ada 5 / 1 kg, Bea 6 / 1 kg; settled: as Bea has it")


def test_what_fits_no_question_names_the_questions_as_they_are_typed(pair):
    both(pair, {"Warm until clear": "Warm slowly"}, {"Warm until clear": "Heat to 70 °C"})
    said = pair.refused("settle", "toner", "--take", "heat=Bea")
    assert "next: --take LINE=PERSON; open questions: phase.A.method" in said


OFF_100 = (
    {"= 94.80": "= 93.80", "propanediol = 3.00": "propanediol = 4.00"},
    {"= 94.80": "= 93.80", "extract = 2.00": "extract = 3.00"},
)


def test_a_total_is_asked_about_with_the_lines_that_changed(pair):
    both(pair, *OFF_100, TYPED)
    assert pair.fvc("settle", "toner").out.partition("itself.\n")[2] == (
        "               before     Ada     Bea  together\n"
        "  water         94.80   93.80   93.80     93.80\n"
        "  propanediol    3.00    4.00    3.00      4.00\n"
        "  extract        2.00    2.00    3.00      3.00\n"
        "  total        100.00  100.00  100.00    101.00\n"
        "  total so far: 101.00 %\n"
    )
    rows = pair.fvc("settle", "toner", "--json").data["lines_in_question"]
    assert rows[1] == {"line": "propanediol", "before": "3.00", "first": "4.00", "second": "3.00", "together": "4.00"}


def message(pair: Studio) -> str:
    return pair.git("log", "-1", "--format=%B").strip()


def test_the_message_of_the_merge_says_who_had_what_and_what_was_decided(pair):
    both(pair, *TWO_QUESTIONS)
    pair.ok("settle", "toner", "--level", "propanediol=1.9", "--take", "extract=Bea")
    assert message(pair) == (
        "Merge branch 'bea'\n\nSettled toner:\n"
        "  propanediol: before 3.00, Ada 2.50, Bea 3.50; settled: 1.9\n"
        "  extract: before 2.00, Ada 1.00, Bea 1.50; settled: as Bea has it"
    )


def test_the_message_says_how_a_total_was_settled(pair):
    both(pair, *OFF_100, TYPED)
    pair.ok("settle", "toner", "--take", "Ada")
    assert "Settled toner:\n  total: the lines total 101.00, 1.00 over 100; all lines as Ada has them" in message(pair)


def test_the_message_names_lines_that_were_given_a_level(pair):
    both(pair, *OFF_100, TYPED)
    pair.ok("settle", "toner", "--level", "water=92.80")
    assert (
        "  total: the lines total 101.00, 1.00 over 100; settled by the lines named here\n"
        "  water: before 94.80, Ada 93.80, Bea 93.80; settled: 92.80" in message(pair)
    )


def test_the_message_names_every_file_once_and_is_kept_over_several_calls(pair):
    two_open(pair)
    assert pair.fvc("settle", "toner", "--take", "Ada").code == 1
    pair.git("checkout", "--merge", "--", "formulas/toner.toml")  # begun anew
    assert pair.fvc("settle", "toner", "--take", "Bea").code == 1
    pair.ok("settle", "mist", "--take", "Bea")
    assert message(pair) == (
        "Merge branch 'bea'\n\n"
        "Settled toner:\n  propanediol: before 3.00, Ada 2.50, Bea 3.50; settled: as Bea has it\n\n"
        "Settled mist:\n  betaine: before 1.00, Ada 2.50, Bea 3.50; settled: as Bea has it"
    )


def test_nothing_of_a_settling_outlives_a_merge_that_is_taken_back(pair):
    two_open(pair)
    assert pair.fvc("settle", "toner", "--take", "Ada").code == 1
    pair.git("merge", "--abort")
    pair.git("merge", "--no-edit", "bea", check=False)
    assert pair.fvc("settle", "mist", "--take", "Ada").code == 1
    pair.ok("settle", "toner", "--take", "Bea")
    assert "toner:\n  propanediol: before 3.00, Ada 2.50, Bea 3.50; settled: as Bea has it" in message(pair)
    assert message(pair).count("Settled toner") == 1


def test_whoever_settles_is_told_what_must_be_mended(pair):
    pair.material("extract", "extract", {"Extract": 100}, "use_level = [0.1, 2.2]\n")
    pair.material("phenoxyethanol", "preservative", {"Phenoxyethanol": 100})
    base = TONER.replace("extract = 2.00", "extract = 2.00\nphenoxyethanol = 0.80")
    pair.save_as("Ada", "2026-03-01", ".", message="materials")
    both(pair, {"= 0.80": "= 0.90"}, {"= 0.80": "= 0.70"}, base)
    result = pair.ok("settle", "toner", "--level", "phenoxyethanol=1.20")
    assert "must be mended: phase B, phenoxyethanol: Phenoxyethanol: 1.2 %, 0.2 above the 1 %" in result.err
    pair.git("reset", "-q", "--hard", "HEAD~1")
    pair.git("merge", "--no-edit", "bea", check=False)
    assert "must be mended" not in pair.ok("settle", "toner", "--take", "Bea").err


def test_a_stop_is_told_before_it_is_written(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    code, seen = at_settle(pair, (LEVEL, "1.90"), (SURE, "n"))
    assert code == 1
    assert seen.index("must be mended: ") < seen.index(SURE)
    stops = pair.json("settle", "toner", "--take", "Ada")["stops"]
    assert "no preservative" in stops[0]["message"]


def test_only_a_plan_that_is_new_is_to_be_saved_as_a_revision(pair):
    base = TONER.replace("revision = 0", "revision = 1")
    both(
        pair,
        {"propanediol = 3.00": "propanediol = 2.50", "revision = 1": "revision = 2"},
        {"propanediol = 3.00": "propanediol = 3.50", "revision = 1": "revision = 2"},
        base,
    )
    assert "fvc revise" not in pair.ok("settle", "toner", "--take", "Ada").out
    pair.git("reset", "-q", "--hard", "HEAD~1")
    pair.git("merge", "--no-edit", "bea", check=False)
    assert "    fvc revise toner --reason TEXT\n    fvc share\n" in pair.ok("settle", "toner", "--level", "2.9").out
    pair.ok("revise", "toner", "--reason", "between the two")


# --- where it is pointed to ----------------------------------------------------------------------------


def test_todays_page_and_revise_point_to_what_is_open(pair):
    two_open(pair)
    out = pair.ok().out
    assert "In the middle of a merge\n  both changed mist:  fvc settle mist\n  both changed toner:  fvc settle toner\n" in out
    assert "fvc revise" not in out
    assert "To mend" not in out
    assert [pair.json()[k] for k in ("to_settle", "unfinished")] == [["mist", "toner"], "a merge"]
    said = pair.refused("revise", "toner", "--reason", "merged")
    assert "in the middle of a merge\n  next: decide what both changed:  fvc settle mist,  fvc settle toner" in said


def test_a_merge_with_nothing_open_is_pointed_to_as_well(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    pair.write("formulas/toner.toml", pair.git("show", "HEAD:formulas/toner.toml"))
    pair.git("add", "formulas/toner.toml")
    assert "nothing is open any more:  fvc settle  saves it\n" in pair.ok().out
    assert "nothing is open any more:  fvc settle  saves it;" in pair.refused("revise", "toner", "--reason", "merged")
    pair.ok("settle")
    assert "In the middle" not in pair.ok().out
    assert pair.json()["unfinished"] is None
