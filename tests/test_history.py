"""Reading the history of a plan back: what changed when, by whom and why, and the life of one ingredient."""

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

[phase.B]
[phase.B.percent]
neroli-oil     = 0.20
polysorbate-20 = "4 x neroli-oil"
"""

PLAN = "formulas/mist.toml"


def tidy(text: str) -> list[str]:
    """The lines of a screen without the spaces at their ends."""
    return [line.rstrip() for line in text.rstrip("\n").split("\n")]


@pytest.fixture
def mist(studio) -> Studio:
    """A mist that was saved once, by Ada."""
    studio.material("glycerin", "humectant", {"Glycerin": 99.5, "Aqua": "balance"})
    studio.material("neroli-oil", "essential oil", {"Citrus Aurantium Amara Flower Oil": 100})
    studio.material("polysorbate-20", "solubiliser", {"Polysorbate 20": 100})
    studio.write(PLAN, MIST)
    studio.save_as("Ada", "2026-02-01", message="mist 1: an orange flower mist for the garden\n\nfirst saved plan, 4 lines")
    return studio


def revision(studio, number, old, new, *, who="Ada", day, reason) -> str:
    """Change one piece of the plan and save it under a number."""
    studio.edit(PLAN, old, new)
    studio.edit(PLAN, f"revision = {number - 1}", f"revision = {number}")
    return studio.save_as(who, day, message=f"mist {number}: {reason}")


def season(studio) -> dict[str, str]:
    """Some weeks of work on the mist; commits by a word for each."""
    ids = {"first": studio.git("rev-parse", "HEAD").strip()}
    ids["drier"] = revision(studio, 2, "3.00", "2.00", who="Bea", day="2026-02-10", reason="less sticky on a warm day")
    studio.edit(PLAN, "Stir until clear.", "Stir slowly until clear.")
    ids["method"] = studio.save_as("Ada", "2026-02-12", message="Slowly")
    studio.edit("materials/glycerin.toml", "99.5", "86.5")
    ids["weaker"] = studio.save_as("Ada", "2026-02-20", message="The supplier sends 86.5 % now")
    ids["scent"] = revision(studio, 3, "0.20", "0.30", who="Bea", day="2026-03-01", reason="the scent was gone by noon")
    return ids


def rows(studio, name="mist") -> list[dict]:
    return studio.json("history", name)["revisions"]


def words(row) -> list[str]:
    """The changed lines of a row, as `material kind points`."""
    return [f"{line['material']} {line['kind']} {line['points']}" for line in row["lines"]]


# --- history ---------------------------------------------------------------------------------------


def test_the_screen_tells_the_whole_story_newest_first(mist):
    ids = {word: commit[:8] for word, commit in season(mist).items()}
    mist.edit(PLAN, "glycerin = 2.00", "glycerin = 1.50")
    assert tidy(mist.ok("history", "mist").out) == [
        "Garden mist   mist",
        "",
        "in the folder, not saved",
        "    water 96.50 to 97.00 (+0.50, followed)",
        "    glycerin 2.00 to 1.50 (-0.50)",
        "",
        f"   3  2026-03-01  Bea  {ids['scent']}",
        "      the scent was gone by noon",
        "      neroli-oil 0.20 to 0.30 (+0.10)",
        "      water 97.00 to 96.50 (-0.50, followed)",
        "      polysorbate-20 0.80 to 1.20 (+0.40, followed)",
        "",
        f"  2+  2026-02-20  Ada  {ids['weaker']}  (a record that it uses)",
        "      The supplier sends 86.5 % now",
        "      glycerin: composition.Glycerin 99.5 to 86.5",
        "",
        f"  2+  2026-02-12  Ada  {ids['method']}  (saved without a new revision)",
        "      Slowly",
        "      phase.A.method: Stir until clear. to Stir slowly until clear.",
        "",
        f"   2  2026-02-10  Bea  {ids['drier']}",
        "      less sticky on a warm day",
        "      glycerin 3.00 to 2.00 (-1.00)",
        "      water 96.00 to 97.00 (+1.00, followed)",
        "",
        f"   1  2026-02-01  Ada  {ids['first']}",
        "      an orange flower mist for the garden",
        "      first saved, 4 lines",
    ]


def test_the_data_has_the_promised_keys_and_newest_comes_first(mist):
    ids = season(mist)
    data = mist.json("history", "mist")
    assert (data["schema"], data["formula"], data["shallow"], data["unsaved"]) == (1, "mist", False, None)
    found = data["revisions"]
    for row in found:
        assert {"revision", "commit", "date", "author", "reason", "lines", "trials"} <= set(row)
    assert [row["commit"] for row in found] == [ids[w] for w in ("scent", "weaker", "method", "drier", "first")]
    assert [row["revision"] for row in found] == [3, 2, 2, 2, 1]
    assert [row["label"] for row in found] == ["3", "2+", "2+", "2", "1"]
    assert [row["kind"] for row in found] == ["revision", "records", "plain", "revision", "revision"]
    assert [row["author"] for row in found] == ["Bea", "Ada", "Ada", "Bea", "Ada"]
    assert found[3]["date"] == "2026-02-10T12:00:00+01:00"
    assert found[3]["reason"] == "less sticky on a warm day"
    assert found[1]["reason"] == "The supplier sends 86.5 % now"
    line = found[0]["lines"][1]
    assert line | {"material": "neroli-oil", "kind": "raised", "before_percent": "0.20", "after_percent": "0.30", "points": "0.1"} == line
    assert words(found[3]) == ["water followed 1", "glycerin lowered -1"]
    assert found[2]["text"] == [{"field": "phase.A.method", "before": "Stir until clear.", "after": "Stir slowly until clear."}]
    assert found[1]["materials_changed"] == [{"material": "glycerin", "field": "composition.Glycerin", "before": "99.5", "after": "86.5"}]


def test_what_the_folder_has_and_nobody_saved_comes_on_top(mist):
    season(mist)
    mist.edit(PLAN, "glycerin = 2.00", "glycerin = 1.50")
    mist.edit("materials/neroli-oil.toml", '"essential oil"', '"perfume"')
    unsaved = mist.json("history", "mist")["unsaved"]
    assert [(line["material"], line["kind"]) for line in unsaved] == [("water", "followed"), ("glycerin", "lowered")]
    assert "neroli-oil: function essential oil to perfume" in mist.ok("history", "mist").out


def test_a_plan_that_was_never_saved_says_how_to_save_it(mist):
    mist.write("formulas/mask.toml", MIST.replace("revision = 1", "revision = 0"))
    out = mist.ok("history", "mask").out
    assert "4 lines, not saved yet: fvc revise mask --reason TEXT" in out
    assert rows(mist, "mask") == []


def test_a_plain_first_save_is_a_row_without_a_number(mist):
    mist.write("formulas/mask.toml", MIST.replace("revision = 1", "revision = 0"))
    mist.save_as("Bea", "2026-03-01", message="A mask, typed in")
    assert [(row["label"], row["reason"]) for row in rows(mist, "mask")] == [("-", "A mask, typed in")]
    mist.edit("formulas/mask.toml", "3.00", "4.00")
    mist.ok("revise", "mask", "--reason", "worth a number: it feels good")
    assert [row["label"] for row in rows(mist, "mask")] == ["1", "-"]


def test_a_state_that_cannot_be_read_is_a_row_that_says_so(mist):
    mist.edit(PLAN, "glycerin = 3.00", "glycerin = 3.00 percent")
    mist.edit(PLAN, "revision = 1", "revision = 2")
    broken = mist.save_as("Bea", "2026-02-10", message="mist 2: typed in a hurry")
    mist.edit(PLAN, "glycerin = 3.00 percent", "glycerin = 2.50")
    mended = mist.save_as("Ada", "2026-02-11", message="mist 2: mended")
    found = rows(mist)
    assert [(row["commit"], row["kind"], row["label"]) for row in found[:2]] == [(mended, "revision", "2"), (broken, "unreadable", "?")]
    assert found[1]["lines"] == []
    assert found[1]["problem"]
    out = mist.ok("history", "mist").out
    assert f"   ?  2026-02-10  Bea  {broken[:8]}  (cannot be read)" in out
    # the number means the state that can be read, here as in a reference
    assert mist.json("sheet", "mist.2")["commit"] == mended


def test_a_plan_in_the_folder_that_cannot_be_read_does_not_hide_the_history(mist):
    season(mist)
    mist.edit(PLAN, "glycerin = 2.00", "glycerin = two")
    result = mist.ok("history", "mist")
    assert "the scent was gone by noon" in result.out
    assert "formulas/mist.toml:" in result.err
    assert "the scent was gone by noon" in mist.ok("trace", "mist", "neroli-oil").out


def test_a_plan_that_does_not_close_is_shown_with_a_warning(mist):
    season(mist)
    mist.edit(PLAN, 'water    = "balance"', "water    = 90.00")
    result = mist.ok("history", "mist")
    assert "water 96.50 to 90.00" in result.out
    assert "93.5" in result.err


def test_a_saved_state_that_did_not_close_is_a_row_that_says_so(mist):
    mist.edit(PLAN, 'water    = "balance"', "water    = 90.00")
    mist.save_as("Bea", "2026-02-10", message="half done")
    problem = rows(mist)[0]["problem"]
    assert "94" in problem
    assert problem.split("\n")[0] in " ".join(mist.ok("history", "mist").out.split())


def test_a_change_of_a_nested_formula_is_a_row_of_the_plan_that_uses_it(mist):
    mist.write("formulas/base.toml", MIST.replace('title    = "Garden mist"', 'title    = "Base"'))
    mist.save_as("Ada", "2026-02-02", message="base 1: a base")
    revision(mist, 2, "glycerin = 3.00", "glycerin = 3.00\nbase = 10.00", day="2026-02-03", reason="with the base")
    mist.edit("formulas/base.toml", "glycerin = 3.00", "glycerin = 5.00")
    mist.save_as("Bea", "2026-02-04", message="base 2: richer")
    top = rows(mist)[0]
    assert (top["kind"], top["label"], top["reason"]) == ("records", "2+", "richer")
    assert {"material": "base", "field": "phase.A.percent.glycerin", "before": "3.00", "after": "5.00"} in top["materials_changed"]


def test_a_record_that_the_plan_does_not_use_is_no_row(mist):
    season(mist)
    mist.material("urea", "humectant", {"Urea": 100})
    mist.save_as("Ada", "2026-04-01", message="urea bought")
    mist.write("notes.txt", "rain\n")
    mist.save_as("Ada", "2026-04-02", message="notes")
    assert len(rows(mist)) == 5


def test_a_record_that_was_used_once_counts_while_it_was_used(mist):
    mist.material("urea", "humectant", {"Urea": 100})
    revision(mist, 2, "glycerin = 3.00", "glycerin = 3.00\nurea = 1.00", day="2026-02-03", reason="urea in")
    mist.edit("materials/urea.toml", "100", "99")
    mist.save_as("Ada", "2026-02-04", message="urea: the new sheet says 99")
    revision(mist, 3, "\nurea = 1.00", "", day="2026-02-05", reason="urea out, it smelled")
    mist.edit("materials/urea.toml", "99", "98")
    mist.save_as("Ada", "2026-02-06", message="urea: 98, but nobody uses it")
    assert [row["reason"] for row in rows(mist)] == [
        "urea out, it smelled",
        "urea: the new sheet says 99",
        "urea in",
        "an orange flower mist for the garden",
    ]


def test_a_rename_is_followed(mist):
    season(mist)
    mist.git("mv", PLAN, "formulas/garden-mist.toml")
    mist.save_as("Ada", "2026-04-01", message="A better name")
    found = rows(mist, "garden-mist")
    assert [row["label"] for row in found] == ["3+", "3", "2+", "2+", "2", "1"]
    assert found[0]["lines"] == []
    assert found[0]["reason"] == "A better name"
    assert "glycerin 3.00 to 2.00 (-1.00)" in mist.ok("history", "garden-mist").out
    assert mist.json("trace", "garden-mist", "glycerin")["levels"][-1]["after_percent"] == "3.00"


def test_a_rename_with_an_edit_shows_the_edit(mist):
    season(mist)
    mist.git("mv", PLAN, "formulas/garden-mist.toml")
    mist.edit("formulas/garden-mist.toml", "glycerin = 2.00", "glycerin = 1.00")
    mist.edit("formulas/garden-mist.toml", "revision = 3", "revision = 4")
    mist.save_as("Ada", "2026-04-01", message="garden-mist 4: half of it")
    top = rows(mist, "garden-mist")[0]
    assert (top["label"], words(top)) == ("4", ["water followed 1", "glycerin lowered -1"])


def test_a_deleted_plan_keeps_its_history(mist):
    season(mist)
    (mist.root / PLAN).unlink()
    gone = mist.save_as("Bea", "2026-04-01", message="Given up: nobody bought it")
    found = rows(mist)
    assert (found[0]["commit"], found[0]["kind"], found[0]["problem"]) == (gone, "deleted", "the plan was deleted")
    assert found[1]["label"] == "3"
    assert "Given up: nobody bought it" in mist.ok("history", "mist").out


def test_both_sides_of_a_merge_are_told(mist):
    mist.git("switch", "-qc", "bea")
    revision(mist, 2, "glycerin = 3.00", "glycerin = 2.00", who="Bea", day="2026-02-10", reason="less sticky")
    mist.git("switch", "-q", "main")
    mist.edit("materials/glycerin.toml", "99.5", "86.5")
    mist.save_as("Ada", "2026-02-12", message="The supplier sends 86.5 % now")
    mist.git("merge", "-q", "--no-ff", "-m", "Bea's work", "bea")
    found = rows(mist)
    assert {row["reason"] for row in found} >= {"less sticky", "The supplier sends 86.5 % now", "an orange flower mist for the garden"}
    assert [row["label"] for row in found if row["kind"] == "revision"] == ["2", "1"]
    assert "less sticky" in mist.ok("history", "mist").out


def test_two_people_under_one_number_are_both_rows(mist):
    mist.git("switch", "-qc", "bea")
    revision(mist, 2, "glycerin = 3.00", "glycerin = 2.00", who="Bea", day="2026-02-10", reason="less sticky")
    mist.git("switch", "-q", "main")
    revision(mist, 2, "glycerin = 3.00", "glycerin = 4.00", day="2026-02-11", reason="richer")
    mist.git("merge", "-q", "bea", check=False)
    mist.write(PLAN, MIST.replace("revision = 1", "revision = 3").replace("3.00", "2.50"))
    mist.save_as("Ada", "2026-02-12", message="mist 3: we met in the middle")
    found = rows(mist)
    assert found[0]["label"] == "3"
    assert {(row["label"], row["author"], row["reason"]) for row in found[1:3]} == {("2", "Bea", "less sticky"), ("2", "Ada", "richer")}


def test_a_variant_has_a_history_of_its_own(mist):
    season(mist)
    plan = mist.read(PLAN).replace("revision = 3", "revision = 1")
    mist.write(
        "variants/mist/lighter.toml",
        plan.replace("[phase.A]\n", '[variant]\nparent = "mist.3"\nquestion = "Less?"\nstate = "open"\n\n[phase.A]\n', 1),
    )
    mist.save_as("Bea", "2026-04-01", message="mist/lighter 1: half the scent")
    assert [(row["label"], row["reason"]) for row in rows(mist, "mist/lighter")] == [("1", "half the scent")]
    assert len(rows(mist)) == 5


def test_trials_stand_with_the_revision_that_was_made(mist):
    season(mist)
    entry = '[[entry]]\nid = "a-01"\nat = 2026-02-11T10:00:00+01:00\nweighed = "water"\ngrams = 97.00\n'
    for id, plan in (("gm-1", "mist.2"), ("gm-2", "mist.2"), ("gm-3", "mist.3, changed since"), ("gm-4", "mist/lighter.2")):
        mist.write(
            f"trials/mist/{id}.toml", f'format = 1\nplan = "{plan}"\nplan_id = ""\nbatch = "100 g"\nscale = "0.01 g"\nasked = []\n\n{entry}'
        )
    assert {row["label"]: row["trials"] for row in rows(mist)} == {"3": ["gm-3"], "2+": [], "2": ["gm-1", "gm-2"], "1": []}
    shown = tidy(mist.ok("history", "mist").out)
    for row in ("tried: gm-1  no verdict yet", "tried: gm-2  no verdict yet", "tried (changed since): gm-3  no verdict yet"):
        assert f"      {row}" in shown


def test_an_author_with_a_strange_name_cannot_drive_the_terminal(mist):
    mist.edit(PLAN, "3.00", "2.00")
    mist.git("commit", "-qam", "less \x1b[31mred\x07", env={"GIT_AUTHOR_NAME": "B\x1b[2Jea"})
    out = mist.ok("history", "mist").out + mist.ok("trace", "mist", "glycerin").out
    assert "\x1b" not in out
    assert "\x07" not in out


def test_what_has_no_history(mist, tmp_path):
    assert "one moment" in mist.refused("history", "mist.1")
    assert "did you mean mist?" in mist.refused("history", "mits")
    bare = Studio.make(tmp_path / "shelf", git=False)
    bare.write("formulas/plain.toml", 'format = 1\ntitle = "Plain"\nuse = "leave-on"\nbatch = "1 g"\n[phase.A.percent]\nwater = 100\n')
    assert "not in a git repository" in bare.refused("history", "plain")


# --- trace -----------------------------------------------------------------------------------------


def test_the_screen_of_one_ingredient_answers_why_it_is_at_this_level(mist):
    season(mist)
    lines = tidy(mist.ok("trace", "mist", "glycerin").out)
    assert [" ".join(line.split()) for line in lines] == [
        "glycerin in Garden mist mist",
        "now 2.00 % in phase A",
        "",
        "rev date by before % after % points",
        "2+ 2026-02-20 Ada record",
        "The supplier sends 86.5 % now",
        "glycerin: composition.Glycerin 99.5 to 86.5",
        "2 2026-02-10 Bea lowered 3.00 2.00 -1.00",
        "less sticky on a warm day",
        "1 2026-02-01 Ada added - 3.00 +3.00",
        "an orange flower mist for the garden",
    ]
    # the columns of the rows stand under each other, decimal points too
    table = [line for line in lines if "2026-" in line]
    assert len({line.index("2026-") for line in table}) == 1
    assert len({line.rindex(".") for line in table if "." in line}) == 1


def test_a_line_that_follows_is_traced_too(mist):
    season(mist)
    out = mist.ok("trace", "mist", "polysorbate-20").out
    assert "now 1.20 % in phase B = 4 x neroli-oil" in out
    levels = mist.json("trace", "mist", "polysorbate-20")["levels"]
    assert [(step["label"], step["kind"], step["before_percent"], step["after_percent"]) for step in levels] == [
        ("3", "followed", "0.80", "1.20"),
        ("1", "added", None, "0.80"),
    ]
    assert [step["kind"] for step in mist.json("trace", "mist", "water")["levels"]] == ["followed", "followed", "added"]


def test_a_ratio_that_changes_shows_how_it_was_written(mist):
    revision(mist, 2, '"4 x neroli-oil"', '"6 x neroli-oil"', day="2026-02-10", reason="haze in the fridge")
    assert "written 4 x neroli-oil before, 6 x neroli-oil after" in mist.ok("trace", "mist", "polysorbate-20").out


def test_a_line_rewritten_at_the_same_percent_is_told(mist):
    revision(mist, 2, '"4 x neroli-oil"', "0.80", day="2026-02-10", reason="the ratio goes, the figure stays")
    step = mist.json("trace", "mist", "polysorbate-20")["levels"][0]
    assert (step["kind"], step["points"], step["level"], step["reason"]) == ("same", "0", "0.80", "the ratio goes, the figure stays")
    assert "rewritten" in mist.ok("trace", "mist", "polysorbate-20").out


def test_added_moved_removed_and_added_again(mist):
    mist.material("urea", "humectant", {"Urea": 100})
    revision(mist, 2, "glycerin = 3.00", "glycerin = 3.00\nurea = 1.00", day="2026-02-03", reason="urea in")
    revision(mist, 3, "\nurea = 1.00", "", day="2026-02-05", reason="urea out, it smelled")
    assert "not in the plan now" in mist.ok("trace", "mist", "urea").out
    revision(mist, 4, "neroli-oil     = 0.20", "urea = 0.50\nneroli-oil     = 0.20", day="2026-02-08", reason="less of it, late")
    mist.edit(PLAN, "urea = 0.50\n", "")
    revision(mist, 5, "glycerin = 3.00", "glycerin = 3.00\nurea = 0.50", day="2026-02-09", reason="back to A")
    levels = mist.json("trace", "mist", "urea")["levels"]
    assert [(step["label"], step["kind"], step["phase"], step["points"]) for step in levels] == [
        ("5", "moved", "A", "0"),
        ("4", "added", "B", "0.5"),
        ("3", "removed", "A", "-1"),
        ("2", "added", "A", "1"),
    ]
    assert [step["reason"] for step in levels] == ["back to A", "less of it, late", "urea out, it smelled", "urea in"]


def test_an_unsaved_change_is_the_newest_step(mist):
    season(mist)
    mist.edit(PLAN, "glycerin = 2.00", "glycerin = 1.50")
    top = mist.json("trace", "mist", "glycerin")["levels"][0]
    assert (top["label"], top["commit"], top["reason"], top["after_percent"]) == (None, None, None, "1.50")
    assert "not saved" in mist.ok("trace", "mist", "glycerin").out


def test_an_ingredient_that_was_never_there_suggests_the_nearest(mist):
    season(mist)
    said = mist.refused("trace", "mist", "glycerine")
    assert "mist never held glycerine" in said
    assert "did you mean glycerin?" in said
    assert "its ingredients: glycerin, neroli-oil, polysorbate-20, water" in mist.refused("trace", "mist", "zzz")
    assert "mist never held" in mist.refused("trace", "mist", "../water")


def test_an_ingredient_that_never_changed_still_says_since_when(mist):
    season(mist)
    levels = mist.json("trace", "mist", "water")["levels"]
    assert levels[-1]["reason"] == "an orange flower mist for the garden"
    assert [step["label"] for step in mist.json("trace", "mist", "neroli-oil")["levels"]] == ["3", "1"]


def test_a_long_name_and_a_long_author_never_cut_a_number(mist):
    long = "sodium-lactate-solution-sixty-percent-from-the-second-stores"
    assert len(long) == 60
    mist.material(long, "humectant", {"Sodium Lactate": 60, "Aqua": "balance"})
    mist.edit(PLAN, "glycerin = 3.00", f"glycerin = 3.00\n{long} = 1.12345678")
    mist.git("add", "-A")
    author = "Wilhelmina Bartholomea van der Woude-Featherstonehaugh of the Studio"
    mist.git("commit", "-qm", "lactate in", env={"GIT_AUTHOR_NAME": author})
    for arguments in (("trace", "mist", long), ("history", "mist")):
        out = mist.ok(*arguments).out
        assert "1.12345678" in out
        assert max(map(len, out.split("\n"))) <= 80


def levels_told(studio: Studio, name: str) -> list[tuple[str, str, str]]:
    """(reason, material, before to after) of every change of a line in a history, but for what followed."""
    told = []
    for row in studio.json("history", name)["revisions"]:
        for change in row["lines"]:
            if change["kind"] != "followed":
                told.append((row["reason"], change["material"], f"{change['before_percent']} to {change['after_percent']}"))
    return told


@pytest.fixture
def plain(studio) -> Studio:
    """A small plan, saved once."""
    for id in ("oil", "gly"):
        studio.material(id, "humectant", {id.capitalize(): 100})
    studio.formula("t", {"A": {"water": "balance", "oil": "0.10", "gly": "1.00"}})
    studio.ok("revise", "t", "--reason", "first")
    return studio


def test_both_sides_of_a_merge_that_came_to_the_same_tell_only_what_happened(plain):
    plain.git("checkout", "-qb", "side")
    plain.ok("set", "t", "oil=0.50", "--reason", "sideoil")
    plain.ok("set", "t", "gly=3.00", "--reason", "sidegly")
    plain.git("checkout", "-q", "main")
    plain.write("other.txt", "x")
    plain.save_as("Ada", "2026-03-01", "other.txt")
    plain.git("cherry-pick", "side~1", "side")
    plain.git("merge", "-q", "--no-edit", "side")
    told = levels_told(plain, "t")
    assert {t for t in told if t[0] != "first"} == {("sideoil", "oil", "0.10 to 0.50"), ("sidegly", "gly", "1.00 to 3.00")}


def test_an_old_row_never_changes_when_a_commit_is_added(plain):
    plain.formula("pre", {"A": {"water": "balance", "gly": "10.00"}})
    plain.ok("revise", "pre", "--reason", "p1")
    plain.ok("set", "t", "A:pre=5.00", "--reason", "with premix")
    plain.ok("set", "pre", "gly=20.00", "--reason", "p2")
    plain.ok("set", "pre", "gly=30.00", "--reason", "p3")
    plain.git("checkout", "-qb", "side")
    plain.edit("materials/oil.toml", 'name = "oil"', 'name = "oil, pressed"')
    plain.save_as("Joss", "2026-03-01", "materials/oil.toml", message="a better name")
    plain.git("checkout", "-q", "main")
    plain.ok("set", "t", "oil=0.20", "--reason", "more oil")
    plain.git("merge", "-q", "--no-edit", "side")
    before = plain.json("history", "t")["revisions"]
    changes = [c for row in before for c in row["materials_changed"] if c["material"] == "pre"]
    assert [(c["before"], c["after"]) for c in changes] == [("20.00", "30.00"), ("10.00", "20.00")]
    plain.ok("set", "t", "pre=none", "--reason", "drop")
    assert plain.json("history", "t")["revisions"][1:] == before


def broken_and_mended(plain: Studio, status: str = "idea") -> None:
    """A plan saved, then broken by a plain commit."""
    plain.edit("formulas/t.toml", 'use = "leave-on"', f'use = "leave-on"\nstatus = "{status}"')
    plain.ok("revise", "t", "--reason", "second")
    plain.edit("formulas/t.toml", "gly = 1.00", "gly = = 2")
    plain.save_as("Joss", "2026-03-02", "formulas/t.toml", message="oops")


def test_behind_a_state_that_cannot_be_read_only_what_changed_is_told(plain):
    broken_and_mended(plain)
    plain.edit("formulas/t.toml", "gly = = 2", "gly = 2.00")
    plain.ok("revise", "t", "--reason", "mended")
    assert ("mended", "gly", "1.00 to 2.00") in levels_told(plain, "t")
    assert [t for t in levels_told(plain, "t") if t[1] == "oil"] == [("first", "oil", "None to 0.10")]
    assert "gly 1.00 to 2.00" in plain.git("log", "-1", "--format=%b")
    assert "compared with the last state that can be read" in plain.ok("history", "t").out


def test_a_lock_is_not_broken_by_a_state_that_cannot_be_read(plain):
    broken_and_mended(plain, status="locked")
    plain.edit("formulas/t.toml", "gly = = 2", "gly = 5.00")
    assert "t is locked as revision 2" in plain.refused("revise", "t", "--reason", "sneak")


def test_the_same_plan_over_a_changed_premix_is_later_than_its_revision(plain):
    plain.formula("pre", {"A": {"water": "balance", "gly": "10.00"}})
    plain.ok("revise", "pre", "--reason", "p1")
    plain.ok("set", "t", "A:pre=5.00", "--reason", "with premix")
    assert "t, revision 2\n" in plain.ok("sheet", "t").out
    said = plain.ok("set", "pre", "gly=20.00", "--reason", "p2").out
    assert "what was saved is also used in t" in said
    assert "t, revision 2+\n" in plain.ok("sheet", "t").out
    assert "t, revision 2\n" in plain.ok("sheet", "t.2").out
