"""Two people change one formula, git merges with the driver, and `fvc settle` decides what both changed."""

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support import Studio, ready

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
def pair(tmp_path):
    """A studio, set up, with one saved toner."""
    made = Studio.make(tmp_path / "studio")
    for id in ("propanediol", "allantoin", "extract", "betaine"):
        made.material(id, "humectant", {id.title(): 100})
    made.write("formulas/toner.toml", TONER)
    made.save_as("Ada", "2026-03-01", ".", message="toner 0: the start")
    made.ok("setup")
    return made


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


def test_asked_in_a_terminal_wrong_answers_are_asked_again(pair):
    both(pair, {"propanediol = 3.00": "propanediol = 2.50"}, {"propanediol = 3.00": "propanediol = 3.50"})
    ours, theirs = pty.openpty()
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "TERM": "dumb", "COLUMNS": "80"}
    process = subprocess.Popen(
        [sys.executable, "-m", "fvc", "settle", "toner"], cwd=pair.root, stdin=theirs, stdout=theirs, stderr=theirs, env=env
    )
    os.close(theirs)
    seen = ""
    for question, answer in (
        ("another level? (q leaves)", "Cleo"),
        ("names neither", "2,5"),
        ("another level? (q leaves)", "1.90"),
        ("[y/N]", "y"),
    ):
        while question not in seen:
            assert ready(ours, 20), seen
            seen += os.read(ours, 4096).decode()
        seen = seen.partition(question)[2]
        os.write(ours, answer.encode() + b"\n")
    assert process.wait(20) == 0
    assert "propanediol = 1.90" in pair.read("formulas/toner.toml")
    assert pair.git("status", "--porcelain") == ""
