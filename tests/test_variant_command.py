"""`fvc variant`: kept with its question, compared, adopted, set aside, brought along; nothing of a maker's is lost."""

import itertools
from fractions import Fraction as F

import pytest

from fvc.archive import Archive
from fvc.references import resolve
from tests import toner as t
from tests.support import Studio

PLAN = "formulas/toner.toml"
ASK = ("--question", "Is it less sticky?")

TRIAL = """\
format  = 1
plan    = "{plan}"
batch   = "100 g"
asked   = [ {{ phase = "A", material = "water", percent = 90, grams = 90 }} ]
[[entry]]
id = "t-01"
at = 2026-03-01T10:00:00+01:00
weighed = "water"
grams = 90
[[entry]]
id = "t-02"
at = 2026-03-03T10:00:00+01:00
seen = "clear, no haze"
"""
VERDICT = '[[entry]]\nid = "t-03"\nat = 2026-03-09T10:00:00+01:00\nclosed = "choose"\n'


@pytest.fixture
def here(toner, run_in):
    """The command line in the folder of toner T, saved as revision 1."""
    return run_in(toner.root)


def keep(here, id: str, *changes: str, start: str = "toner") -> None:
    """A variant with changed levels, saved as a revision of its own."""
    here("variant", "new", start, id, *ASK)
    if changes:
        here("set", f"toner/{id}", *changes, "--save")
    here("revise", f"toner/{id}", "--reason", "as kept")


def percents(studio: Studio, ref: str) -> dict[str, F]:
    """The lines of a reference by material."""
    return {line["material"]: F(line["percent"]) for line in studio.json("sheet", ref)["lines"]}


# --- keeping -----------------------------------------------------------------------------------------


def test_a_new_variant_is_the_whole_plan_with_its_question(toner, here):
    toner.edit(PLAN, 'title = "toner"', 'title = "toner"      # the mist')
    here("revise", "toner", "--reason", "a comment")
    data = here("variant", "new", "toner", "dry", *ASK, "--expect", "drier", "--json").data
    assert (data["variant"], data["parent"], data["saved"]) == ("dry", "toner.2", True)
    text = toner.read("variants/toner/dry.toml")
    head, _, rest = toner.read(PLAN).partition("\n[phase.A]")
    assert text.startswith(head.replace("revision = 2", "revision = 0") + "\n[variant]\n")
    assert text.endswith(rest)
    plan_id = toner.git("rev-parse", f"HEAD:{PLAN}").strip()
    for row in (
        'parent   = "toner.2"',
        f'plan_id  = "{plan_id}"',
        'question = "Is it less sticky?"',
        'expect   = "drier"',
        'state    = "open"',
    ):
        assert f"{row}\n" in text
    assert not here("diff", "toner/dry", "--json").data["text"]


def test_from_any_revision_and_from_another_variant(toner, here):
    here("set", "toner", "propanediol=2.00", "--reason", "less")
    keep(here, "early", start="toner.1")
    assert percents(toner, "toner/early")["propanediol"] == 3
    keep(here, "late", "betaine=1.00")
    here("variant", "new", "toner/late", "later", "--question", "And without scent?")
    shown = here("variant", "show", "toner", "later", "--json").data
    assert (shown["parent"], shown["question"], shown["state"]) == ("toner.2", "And without scent?", "open")
    assert percents(toner, "toner/later")["betaine"] == 1


def test_a_windows_file_stays_one(toner, here):
    toner.write(PLAN, toner.read(PLAN).replace("\n", "\r\n"))
    here("revise", "toner", "--reason", "on the other computer")
    keep(here, "dry", "propanediol=1.00")
    text = toner.read("variants/toner/dry.toml")
    assert text.count("\n") == text.count("\r\n")
    here("variant", "adopt", "toner", "dry", "--save")
    text = toner.read(PLAN)
    assert text.count("\n") == text.count("\r\n")


@pytest.mark.parametrize(
    "words, said, way",
    [
        (("new", "toner", "dry"), "this one is empty", "--question"),
        (("new", "toner", "dry", "--question", "  "), "this one is empty", "--question"),
        (("new", "toner", "Dry", *ASK), 'has capitals; write "dry"', "for example"),
        (("new", "toner", "12", *ASK), "all digits", "for example"),
        (("new", "toner", "kept", *ASK), "has a variant kept already", "such as kept-2"),
        (("new", "tonner", "dry", *ASK), 'no formula "tonner"', "did you mean toner?"),
        (("new", "toner.9", "dry", *ASK), "no revision 9", "revisions: 1"),
        (("new", "toner", *ASK), "takes a formula and a variant", "fvc variant new NAME VARIANT"),
        (("show", "toner", "kapt"), 'no variant "kapt"', "did you mean kept?"),
        (("show", "toner.1", "kept"), "is not the name of a formula", "write  toner"),
        (("adopt", "toner", "kapt"), 'no variant "kapt"', "kept"),
        (("set-aside", "toner", "kept"), "why is it set aside?", "--reason"),
        (("carry", "tonner", "kept"), 'no formula "tonner"', "toner"),
        (("compare", "toner", "kept", "kapt"), 'no variant "kapt"', "kept"),
        (("adopte", "toner", "kept"), "is not one of", "fvc variant adopt"),
        (("list", "--save"), "--save does not go with list", "adopt and carry"),
        (("compare",), "takes a formula", "fvc variant compare"),
    ],
)
def test_a_wrong_call_says_what_and_what_next(toner, here, words, said, way):
    keep(here, "kept")
    result = here("variant", *words, code=2)
    assert said in result.err
    assert way in result.err
    assert toner.git("status", "--short") == ""


def test_unsaved_changes_of_the_formula_are_no_start(toner, here):
    here("set", "toner", "propanediol=2.00", "--save")
    result = here("variant", "new", "toner", "dry", *ASK, code=2)
    assert "changes that are not saved" in result.err
    assert "toner.1" in result.err
    assert not (toner.root / "variants").exists()
    here("variant", "new", "toner.1", "dry", *ASK)


def test_without_a_saved_revision_there_is_nothing_to_depart_from(studio, run_in):
    t.write(studio)
    assert "never saved" in run_in(studio.root)("variant", "new", "toner", "dry", *ASK, code=2).err


# --- looking -----------------------------------------------------------------------------------------


def test_list_and_show(toner, here):
    assert "No variants yet" in here("variant").out
    keep(here, "dry", "propanediol=2.00")
    keep(here, "bare", "neroli-oil=none")
    toner.write("trials/toner/t1.toml", TRIAL.format(plan="toner/dry.1") + VERDICT)
    out = here("variant", "list", "toner").out
    assert "toner/dry   open, departs from toner.1" in out
    assert "differs  propanediol 3.00 to 2.00 (-1.00); water" in out
    assert "t1, choose: clear, no haze" in out
    listed = {v["variant"]: v for v in here("variant", "--json").data["variants"]}
    assert list(listed) == ["bare", "dry"]
    assert listed["dry"]["trials"] == [{"id": "t1", "verdict": "choose", "seen": ["clear, no haze"]}]
    shown = here("variant", "show", "toner", "dry", "--json").data
    assert {line["material"]: line["points"] for line in shown["diff"]["lines"] if line["kind"] != "same"} == {
        "propanediol": "-1",
        "water": "1",
    }


def test_side_by_side(toner, here):
    keep(here, "dry", "propanediol=2.00")
    keep(here, "bare", "neroli-oil=none", "polysorbate-20=none")
    here("set", "toner", "betaine=1.00", "--reason", "less betaine")
    keep(here, "new", "C:betaine=0.50")
    toner.write("trials/toner/t1.toml", TRIAL.format(plan="toner/dry") + VERDICT)
    data = here("variant", "compare", "toner", "--json").data
    assert [c["head"] for c in data["columns"]] == ["toner.1", "bare", "dry", "toner.2", "new"]
    rows = {(r["phase"], r["material"]): r["percents"] for r in data["rows"]}
    assert rows["A", "propanediol"] == ["3.00", "3.00", "2.00", "3.00", "3.00"]
    assert rows["B", "neroli-oil"] == ["0.40", None, "0.40", "0.40", "0.40"]
    assert rows["C", "betaine"] == [None, None, None, None, "0.50"]
    assert ("A", "panthenol-75") not in rows
    assert data["columns"][2]["trials"][0]["verdict"] == "choose"
    assert data["columns"][1]["cautions"] <= data["columns"][0]["cautions"]
    out = here("variant", "compare", "toner", "dry").out
    assert "t1, choose: clear, no haze" in out
    assert "Is it less sticky?" in out
    assert [row.split() for row in out.splitlines() if "propanediol" in row] == [["A", "propanediol", "3.00", "2.00"]]
    assert [row.split()[-2:] for row in out.splitlines() if "total water" in row] == [["91.3512", "92.3512"]]


@pytest.mark.parametrize("columns", ["40", "60", "80"])
def test_a_narrow_screen_keeps_every_number(toner, here, monkeypatch, columns):
    for index in range(6):
        keep(here, f"try-number-{index}", f"propanediol=2.{index}")
    monkeypatch.setenv("COLUMNS", columns)
    out = here("variant", "compare", "toner").out
    for index in range(6):
        assert f"2.{index}" in out
        assert f"try-number-{index}" in out


def test_a_broken_variant_does_not_hinder_the_others(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.write("variants/toner/torn.toml", "format = 1\ntitle = [\n")
    toner.write(
        "variants/toner/orphan.toml",
        toner.read("variants/toner/dry.toml").replace('"toner.1"', '"toner.7"').replace("plan_id", "# plan_id"),
    )
    assert "toner/torn   cannot be read" in here("variant").out
    result = here("variant", "compare", "toner")
    assert "dry" in result.out
    assert "torn" in result.err
    assert "orphan" in result.err
    here("variant", "adopt", "toner", "torn", code=2)
    assert "no revision 7" in here("variant", "adopt", "toner", "orphan", code=2).err


# --- adopting ----------------------------------------------------------------------------------------


def test_adopting_makes_the_next_revision_with_question_verdict_and_trials(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.edit("variants/toner/dry.toml", 'title = "toner"', 'title = "toner, dry"')
    toner.write("trials/toner/t1.toml", TRIAL.format(plan="toner/dry.1") + VERDICT)
    toner.write("trials/toner/t2.toml", TRIAL.format(plan="toner/dry"))
    toner.edit("materials/propanediol.toml", 'name = "propanediol"', 'name = "Propanediol"')
    before = toner.git("rev-parse", "HEAD")
    shown = here("variant", "adopt", "toner", "dry")
    assert "Nothing was written" in shown.out
    assert toner.git("rev-parse", "HEAD") == before
    data = here("variant", "adopt", "toner", "dry", "--reason", "all three preferred it", "--json").data
    assert (data["saved"], data["revision"]) == (True, 2)
    row = here("history", "toner", "--json").data["revisions"][0]
    for part in ("all three preferred it", "Is it less sticky?", "choose (t1)", "t2"):
        assert part in row["reason"]
    assert row["revision"] == 2
    files = toner.git("show", "--name-only", "--format=", "HEAD").split()
    assert files == [PLAN, "materials/propanediol.toml", "variants/toner/dry.toml"]
    text = toner.read(PLAN)
    assert "[variant]" not in text
    assert 'title = "toner"\n' in text
    assert percents(toner, "toner.2")["propanediol"] == 2
    assert here("variant", "show", "toner", "dry", "--json").data["state"] == "adopted"
    assert "is adopted already" in here("variant", "adopt", "toner", "dry", "--save", code=2).err
    assert "adopted already" in here("variant", "set-aside", "toner", "dry", "--reason", "no", code=2).err


def both(toner: Studio) -> tuple[str, str]:
    """The two files that an adoption would write."""
    return toner.read(PLAN), toner.read("variants/toner/dry.toml")


def test_adopting_over_unsaved_changes_loses_nothing(toner, here):
    keep(here, "dry", "propanediol=2.00")
    here("set", "toner", "betaine=1.00", "--save")
    before = both(toner)
    result = here("variant", "adopt", "toner", "dry", "--save", code=2)
    assert "has changes that are not saved" in result.err
    assert both(toner) == before


def test_adopting_when_the_formula_moved_on_asks_to_bring_it_along(toner, here):
    keep(here, "dry", "propanediol=2.00")
    here("set", "toner", "betaine=1.00", "--reason", "less betaine")
    before = both(toner)
    result = here("variant", "adopt", "toner", "dry", "--save", code=2)
    assert "has moved on to toner.2" in result.err
    assert "fvc variant carry toner dry" in result.err
    assert both(toner) == before


def test_a_locked_formula_adopts_nothing(toner, here):
    toner.edit(PLAN, 'use = "leave-on"', 'use = "leave-on"\nstatus = "locked"')
    here("revise", "toner", "--reason", "sold")
    keep(here, "dry", "propanediol=2.00")
    assert "is locked" in here("variant", "adopt", "toner", "dry", "--save", code=2).err


def test_a_variant_that_does_not_close_is_not_adopted(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.edit("variants/toner/dry.toml", '"balance"', "80")
    assert "short of 100" in here("variant", "adopt", "toner", "dry", "--save", code=2).err


def test_when_git_refuses_both_files_are_as_they_were(toner, here):
    keep(here, "dry", "propanediol=2.00")
    hook = toner.write(".git/hooks/pre-commit", "#!/bin/sh\necho not today >&2\nexit 1\n")
    hook.chmod(0o755)
    before = both(toner)
    assert "not today" in here("variant", "adopt", "toner", "dry", "--save", code=2).err
    assert both(toner) == before
    assert "not today" in here("variant", "set-aside", "toner", "dry", "--reason", "no", code=2).err
    assert both(toner) == before
    assert toner.git("status", "--short") == ""


def test_a_variant_that_changes_nothing_can_be_adopted_too(toner, here):
    keep(here, "same")
    here("variant", "adopt", "toner", "same", "--save")
    assert here("variant", "show", "toner", "same", "--json").data["state"] == "adopted"


def test_set_aside_keeps_the_record_with_its_reason(toner, here):
    keep(here, "dry", "propanediol=2.00")
    out = here("variant", "set-aside", "toner", "dry", "--reason", "tight after an hour").out
    assert "tight after an hour" in out
    shown = here("variant", "show", "toner", "dry", "--json").data
    assert (shown["state"], shown["because"]) == ("set aside", "tight after an hour")
    assert percents(toner, "toner/dry")["propanediol"] == 2
    assert toner.git("status", "--short") == ""
    assert "set aside: tight after an hour" in here("history", "toner/dry").out
    assert "is set aside already: tight after an hour" in here("variant", "adopt", "toner", "dry", "--save", code=2).err


# --- bringing along ----------------------------------------------------------------------------------


def test_carry_when_the_parent_did_not_move_is_the_identity(toner, here):
    keep(here, "dry", "propanediol=2.00")
    before = both(toner)
    result = here("variant", "carry", "toner", "dry", "--save")
    assert "nothing to bring along" in result.out
    assert both(toner) == before
    assert here("variant", "carry", "toner", "dry", "--json").data["moved"] is False


def test_carry_keeps_the_variants_own_changes_and_takes_the_formulas(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.edit("variants/toner/dry.toml", "propanediol = 2.00", "propanediol = 2.00  # 3 sticks")
    here("revise", "toner/dry", "--reason", "why")
    toner.edit(PLAN, "[phase.B]\n", '[phase.B]\nheat = "70 °C"\n')
    toner.edit(PLAN, "betaine = 1.50\n", 'betaine = { level = 1.25, note = "less is enough" }\n')
    toner.edit(PLAN, "panthenol-75 = 1.20\nrice-protein-25 = 0.80\n", "rice-protein-25 = 0.80\npanthenol-75 = 1.20\n")
    toner.edit(PLAN, "neroli-oil = 0.40\n", "")
    toner.write(PLAN, toner.read(PLAN) + '\n[phase.D]\nmethod = "last"\n[phase.D.percent]\nneroli-oil = 0.30\n')
    here("revise", "toner", "--reason", "many things")
    data = here("variant", "carry", "toner", "dry", "--save", "--json").data
    assert (data["saved"], data["questions"], data["parent"]) == (True, [], "toner.2")
    text = toner.read("variants/toner/dry.toml")
    assert "propanediol = 2.00  # 3 sticks\n" in text
    assert 'betaine = { level = 1.25, note = "less is enough" }' in text
    assert 'heat = "70 °C"' in text
    assert 'parent   = "toner.2"' in text
    mine, formula = resolve(Archive.open(toner.root), "toner/dry").plan, resolve(Archive.open(toner.root), "toner").plan
    assert [(n.phase, n.material) for n in mine.lines] == [(n.phase, n.material) for n in formula.lines]
    assert [p.method for p in mine.phases] == [p.method for p in formula.phases]
    changed = {line["material"] for line in here("diff", "toner/dry", "--json").data["lines"] if line["kind"] != "same"}
    assert changed == {"propanediol", "water"}
    here("revise", "toner/dry", "--reason", "brought along")
    assert here("variant", "carry", "toner", "dry", "--json").data["moved"] is False


def test_an_open_question_is_shown_per_line_and_answered_by_flags(toner, here):
    keep(here, "dry", "propanediol=2.00", "betaine=1.00")
    here("set", "toner", "propanediol=2.50", "neroli-oil=0.30", "--reason", "a little less of both")
    before = both(toner)
    result = here("variant", "carry", "toner", "dry", "--save", code=2)
    assert "1 question is open, and nothing was written" in result.err
    assert '--answer "propanediol=variant"' in result.err
    assert [row.split() for row in result.out.splitlines() if "OPEN" in row] == [["propanediol", "3.00", "2.50", "2.00", "OPEN"]]
    assert both(toner) == before
    silent = here("variant", "carry", "toner", "dry", "--json", code=2)
    assert silent.data["questions"] == ["phase.A.percent.propanediol"]
    for answer, level in (("parent", "2.50"), ("variant", "2.00"), ("2.2", "2.2")):
        data = here("variant", "carry", "toner", "dry", "--answer", f"propanediol={answer}", "--json").data
        assert data["questions"] == []
        assert {line["material"]: line["after_percent"] for line in data["diff"]["lines"]}["propanediol"] == level
    assert both(toner) == before
    for wrong in ("propanediol", "propandiol=parent", "propanediol=both", "propanediol="):
        assert "--answer" in here("variant", "carry", "toner", "dry", "--answer", wrong, code=2).err
    here("variant", "carry", "toner", "dry", "--answer", "propanediol=2.2", "--save")
    assert percents(toner, "toner/dry") | {"water": 0} == percents(toner, "toner") | {"water": 0, "propanediol": F("2.2"), "betaine": 1}


def test_a_line_that_was_removed_here_and_changed_there_is_a_question(toner, here):
    keep(here, "bare", "betaine=none")
    here("set", "toner", "betaine=1.00", "--reason", "less")
    assert "betaine" in here("variant", "carry", "toner", "bare", code=2).err
    here("variant", "carry", "toner", "bare", "--answer", "betaine=variant", "--save")
    assert "betaine" not in percents(toner, "toner/bare")


def test_two_correct_plans_that_total_101_together_are_a_question(studio, run_in):
    """Base 10/50/40, one side 11/49/40, the other 10/49/41: a clean merge by line totals 101, and a merge never re-totals."""
    here = run_in(studio.root)
    for id in ("salt", "sugar"):
        studio.material(id, "active", {id.capitalize(): 100})
    studio.formula("mix", {"A": {"water": "10", "salt": "50", "sugar": "40"}})
    here("revise", "mix", "--reason", "first")
    here("variant", "new", "mix", "sweet", *ASK)
    here("set", "mix/sweet", "salt=49", "sugar=41", "--save")
    here("revise", "mix/sweet", "--reason", "sweeter")
    here("set", "mix", "water=11", "salt=49", "--reason", "thinner")
    result = here("variant", "carry", "mix", "sweet", "--save", code=2)
    assert "1 over 100" in result.out
    assert "salt = 49\n" in studio.read("variants/mix/sweet.toml")
    here("variant", "carry", "mix", "sweet", "--answer", "water=10", "--save")
    assert percents(studio, "mix/sweet") == {"water": 10, "salt": 49, "sugar": 41}


def test_the_parent_is_found_again_when_history_was_rewritten(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.git("commit", "-q", "--amend", "-m", "another message", "--date", "2026-01-01T10:00:00")
    toner.git("rebase", "-q", "--root", "--exec", "git commit -q --amend --no-edit --date=2026-02-02T10:00:00")
    here("set", "toner", "betaine=1.00", "--reason", "less")
    here("variant", "carry", "toner", "dry", "--save")
    assert percents(toner, "toner/dry")["propanediol"] == 2
    assert percents(toner, "toner/dry")["betaine"] == 1


def test_a_renamed_formula_has_its_variants_carried_by_git_alone(toner, here):
    keep(here, "dry", "propanediol=2.00")
    assert here("variant", "show", "toner", "dry", "--json").data["problem"] is None


# --- a law -------------------------------------------------------------------------------------------

CHANGES = {"dry": ("propanediol=2.00",), "bare": ("neroli-oil=0.20",), "mild": ("lactic-acid-80=0.10", "betaine=1.00")}


@pytest.mark.parametrize("order", list(itertools.permutations(CHANGES)))
def test_law_variants_adopted_in_any_order_leave_a_history_that_rebuilds_each(toner, here, order):
    for id, changes in CHANGES.items():
        keep(here, id, *changes)
    adopted = {}
    for number, id in enumerate(order, 2):
        if number > 2:
            here("variant", "carry", "toner", id, "--save")
            here("revise", f"toner/{id}", "--reason", "brought along")
        adopted[number] = (id, percents(toner, f"toner/{id}"))
        here("variant", "adopt", "toner", id, "--save")
    for number, (id, lines) in adopted.items():
        assert percents(toner, f"toner.{number}") == lines
        assert f"{id} adopted" in next(r["reason"] for r in here("history", "toner", "--json").data["revisions"] if r["revision"] == number)
    last = percents(toner, "toner")
    wanted = {"propanediol": F(2), "neroli-oil": F("0.20"), "lactic-acid-80": F("0.10"), "betaine": F(1)}
    assert {m: last[m] for m in wanted} == wanted
    assert percents(toner, "toner.1")["propanediol"] == 3


def test_without_git_it_says_so_and_what_to_type(toner, here, plain_folder, run_in):
    keep(here, "dry", "propanediol=2.00")
    for path in ("formulary.toml", PLAN, "variants/toner/dry.toml", *(f"materials/{p.name}" for p in (toner.root / "materials").iterdir())):
        Studio(plain_folder).write(path, toner.read(path))
    there = run_in(plain_folder)
    for words in (("new", "toner", "x", *ASK), ("adopt", "toner", "dry", "--save"), ("carry", "toner", "dry"), ("compare", "toner"),
                  ("set-aside", "toner", "dry", "--reason", "no")):  # fmt: skip
        result = there("variant", *words, code=2)
        assert "not in a git repository" in result.err
        assert "git init" in result.err
    assert "asks  Is it less sticky?" in there("variant", "list").out
    there("swap", "toner", "betaine", "propanediol", "--basis", "as-supplied", "--save")
    there("ladder", "toner", "propanediol", "5", "6")


# --- nothing that somebody wrote is lost in silence --------------------------------------------------


def test_comments_of_the_formula_come_along_and_are_not_lost_by_adopting(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.edit(PLAN, "betaine = 1.50\n", "betaine = 1.50   # supplier warns: never above 3\n")
    here("revise", "toner", "--reason", "a warning")
    here("variant", "carry", "toner", "dry", "--save")
    assert "betaine = 1.50  # supplier warns: never above 3\n" in toner.read("variants/toner/dry.toml")
    here("revise", "toner/dry", "--reason", "brought along")
    toner.edit("variants/toner/dry.toml", "betaine = 1.50  # supplier warns: never above 3\n", "betaine = 1.50\n")
    shown = here("variant", "adopt", "toner", "dry").out
    assert "Comments of the formula that go with this:\n  betaine  # supplier warns: never above 3\n" in shown


def test_a_comment_that_changed_in_the_formula_alone_comes_along(toner, here):
    toner.edit(PLAN, "betaine = 1.50\n", "betaine = 1.50  # 2 was sticky\n")
    toner.edit(PLAN, "propanediol = 3.00\n", "propanediol = 3.00  # 4 was shiny\n")
    here("revise", "toner", "--reason", "why")
    keep(here, "dry", "rice-protein-25=0.50")
    toner.edit("variants/toner/dry.toml", "# 4 was shiny", "# 4 was shiny, 2 dry")
    here("revise", "toner/dry", "--reason", "more why")
    toner.edit(PLAN, "# 2 was sticky", "# NEW: crystals seen at 1.75")
    toner.edit(PLAN, "# 4 was shiny", "# 3.5 was shiny")
    toner.edit(PLAN, "\n[phase.C]\n", "\n# cool it first\n[phase.C]\n")
    here("revise", "toner", "--reason", "remarks")
    out = here("variant", "carry", "toner", "dry", "--save").out
    text = toner.read("variants/toner/dry.toml")
    assert "betaine = 1.50  # NEW: crystals seen at 1.75\n" in text  # changed by one side
    assert "propanediol = 3.00  # 4 was shiny, 2 dry\n" in text  # changed by both: its own stays, and the other is named
    assert "Comments of toner.3 that do not come along:\n" in out
    assert "  propanediol  # 3.5 was shiny\n" in out
    assert "  # cool it first\n" in out
    here("revise", "toner/dry", "--reason", "brought along")
    here("variant", "adopt", "toner", "dry", "--save")
    assert "# NEW: crystals seen at 1.75" in toner.read(PLAN)


def test_comments_of_the_variant_that_have_no_place_any_more_are_named(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.edit("variants/toner/dry.toml", "betaine = 1.50\n", "betaine = 1.50  # drum 7\n")
    here("revise", "toner/dry", "--reason", "a remark")
    toner.edit(PLAN, "betaine = 1.50\n", "")
    toner.write(PLAN, toner.read(PLAN) + "betaine = 1.50\n")  # it moved to the last phase
    here("revise", "toner", "--reason", "cool")
    assert "  betaine  # drum 7\n" in here("variant", "carry", "toner", "dry").out


def test_keys_that_nobody_here_knows_are_kept(toner, here):
    toner.edit(PLAN, "betaine = 1.50\n", 'betaine = { level = 1.50, note = "one", sheet = "S12" }\n')
    here("revise", "toner", "--reason", "a sheet")
    keep(here, "dry", "propanediol=2.00")
    toner.edit(PLAN, 'note = "one"', 'note = "two"')
    here("revise", "toner", "--reason", "another note")
    here("variant", "carry", "toner", "dry", "--save")
    row = next(r for r in toner.read("variants/toner/dry.toml").splitlines() if r.startswith("betaine"))
    assert 'sheet = "S12"' in row
    assert 'note = "two"' in row


def test_what_was_adopted_or_set_aside_stays_as_it_was_tried(toner, here):
    keep(here, "dry", "propanediol=2.00")
    keep(here, "bare", "neroli-oil=none")
    here("variant", "adopt", "toner", "dry", "--save")
    here("variant", "set-aside", "toner", "bare", "--reason", "flat")
    for id, state in (("dry", "adopted"), ("bare", "set aside: flat")):
        assert (
            f"toner/{id} is {state.replace('adopted', 'adopted already').replace('set aside', 'set aside already')}"
            in here("variant", "carry", "toner", id, "--save", code=2).err
        )
    assert "set aside already: flat" in here("variant", "set-aside", "toner", "bare", "--reason", "dull", code=2).err


def test_what_cannot_be_made_any_more_can_be_set_aside(toner, here):
    toner.material("rare", "humectant", {"Rare": 100})
    keep(here, "rare", "A:rare=1.00")
    (toner.root / "materials/rare.toml").unlink()
    here("variant", "set-aside", "toner", "rare", "--reason", "not sold any more")
    assert 'because = "not sold any more"' in toner.read("variants/toner/rare.toml").replace("because  =", "because =")
    assert "set aside: not sold any more" in toner.git("log", "-1", "--format=%s")


def test_a_variant_without_preservative_is_not_adopted(toner, here):
    here("knockout", "toner", "preservative-blend", "--save")
    result = here("variant", "adopt", "toner", "without-preservative-blend", "--save", code=2)
    assert "not for use" in result.err


def test_an_empty_table_hinders_nothing(toner, here):
    toner.edit(PLAN, "\n[phase.A]\n", "\n[spec]\n\n[phase.A]\n")
    here("revise", "toner", "--reason", "to be filled in")
    keep(here, "dry", "propanediol=2.00")
    here("set", "toner", "betaine=1.00", "--reason", "less")
    here("variant", "carry", "toner", "dry", "--save")
    assert percents(toner, "toner/dry")["betaine"] == 1


def test_a_line_in_two_phases_is_asked_about_by_phase(toner, here):
    here("set", "toner", "C:betaine=0.50", "--reason", "some of it cool")
    keep(here, "dry", "A:betaine=1.00", "C:betaine=0.40")
    here("set", "toner", "A:betaine=1.20", "C:betaine=0.30", "--reason", "less of both")
    result = here("variant", "carry", "toner", "dry", code=2)
    assert '--answer "A:betaine=variant" --answer "C:betaine=variant"' in result.err
    data = here("variant", "carry", "toner", "dry", "--answer", "A:betaine=variant", "--answer", "C:betaine=parent", "--json").data
    assert data["questions"] == []


def test_variants_of_a_formula_that_was_renamed_are_pointed_out(toner, here):
    keep(here, "dry", "propanediol=2.00")
    toner.git("mv", PLAN, "formulas/mist.toml")
    here("revise", "mist", "--reason", "another name")
    result = here("variant", "list")
    assert "git mv variants/toner variants/" in result.err
    toner.git("mv", "variants/toner", "variants/mist")
    assert "mist/dry" in here("variant", "list").out
