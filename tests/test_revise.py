"""Saving a revision: exactly what belongs to it, and the folder as it was when it fails."""

import os
import subprocess
import sys
import textwrap

import pytest

from fvc.cli.main import main
from tests.support import Studio


def change(studio, level="2.50", was="3.00") -> None:
    """Less propanediol in the toner, typed in an editor."""
    studio.edit("formulas/toner.toml", f"propanediol = {was}", f"propanediol = {level}")


def head(studio) -> str:
    return studio.git("rev-parse", "HEAD").strip()


def saved_files(studio, commit="HEAD") -> list[str]:
    """The files that a commit changed."""
    return studio.git("show", "--name-only", "--format=", commit).split()


def everything(studio) -> dict[str, object]:
    """The folder, byte for byte, and what git has staged."""
    files = {
        str(p.relative_to(studio.root)): p.read_bytes()
        for p in sorted(studio.root.rglob("*"))
        if p.is_file() and ".git" not in p.relative_to(studio.root).parts
    }
    return {
        "files": files,
        "index": studio.git("ls-files", "--stage"),
        "status": studio.git("status", "--porcelain=v2", "--untracked-files=all"),
        "log": log(studio),
    }


def log(studio) -> str:
    return studio.git("log", "--all", "--format=%H %s", check=False)


def hook(studio, name, script) -> None:
    path = studio.write(f".git/hooks/{name}", "#!/bin/sh\n" + textwrap.dedent(script))
    path.chmod(0o755)


# --- what is saved ---------------------------------------------------------------------------------


def test_the_commit_has_the_reason_as_subject_and_the_net_change_as_body(toner):
    change(toner)
    said = toner.ok("revise", "toner", "--reason", "less sticky:  propanediol 3 to 2.5 ").out
    assert said.startswith("Saved toner revision 2")
    assert "propanediol 3.00 to 2.50 (-0.50)" in said
    assert toner.git("log", "-1", "--format=%B") == (
        "toner 2: less sticky: propanediol 3 to 2.5\n\npropanediol 3.00 to 2.50 (-0.50)\nwater 90.42 to 90.92 (+0.50, followed)\n\n"
    )
    assert toner.git("log", "-1", "--format=%an <%ae>").strip() == "Ada Test <ada@studio.example>"


def test_only_the_number_is_written_into_the_plan(toner):
    change(toner)
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine      = 1.50     # holds water without the tack")
    before = toner.read("formulas/toner.toml")
    assert before.count("revision = 1\n") == 1
    toner.ok("revise", "toner", "--reason", "less sticky")
    assert toner.read("formulas/toner.toml") == before.replace("revision = 1\n", "revision = 2\n")
    assert toner.git("status", "--porcelain") == ""


def test_a_plan_without_a_number_gets_one(toner):
    text = toner.read("formulas/toner.toml")
    toner.write("formulas/mist.toml", text.replace("revision = 1\n", ""))
    assert toner.json("revise", "mist", "--reason", "first plan")["revision"] == 1
    assert toner.json("sheet", "mist.1")["revision"] == 1
    assert sorted(toner.read("formulas/mist.toml").split("\n")) == sorted(text.split("\n"))


def test_the_first_revision_takes_the_plan_and_the_new_records_it_uses_and_no_others(studio):
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    studio.material("urea", "humectant", {"Urea": 100})  # not used by the mist
    studio.formula("mist", {"A": {"water": "balance", "glycerin": "3.00"}})
    data = studio.json("revise", "mist", "--reason", "first plan")
    assert data["files"] == ["formulas/mist.toml", "materials/glycerin.toml"]
    assert sorted(saved_files(studio)) == ["formulas/mist.toml", "materials/glycerin.toml"]
    assert data["commit"] == head(studio)
    assert studio.git("status", "--porcelain") == "?? materials/urea.toml\n"
    assert studio.git("log", "-1", "--format=%B").strip() == "mist 1: first plan\n\nfirst saved plan, 2 lines"


def test_other_work_stays_as_it_is_staged_or_not(toner):
    toner.write("notes.txt", "panel of six\n")
    toner.write("old.txt", "to be thrown away\n")
    toner.save_as("Ada", "2026-02-01", message="notes")
    toner.formula("cream", {"A": {"water": "balance", "propanediol": "5.00"}})
    toner.git("add", "formulas/cream.toml")  # staged, new
    toner.write("notes.txt", "panel of six, one dropped out\n")
    toner.git("add", "notes.txt")  # staged, then edited again
    toner.write("notes.txt", "panel of six, two dropped out\n")
    toner.git("rm", "-q", "old.txt")  # staged deletion
    toner.edit("materials/neroli-oil.toml", "essential oil", "perfume")  # used by the toner
    toner.write("materials/urea.toml", "not finished")  # not known to git, not even readable
    change(toner)
    toner.ok("revise", "toner", "--reason", "less sticky")
    assert sorted(saved_files(toner)) == ["formulas/toner.toml", "materials/neroli-oil.toml"]
    assert toner.git("status", "--porcelain") == "A  formulas/cream.toml\nMM notes.txt\nD  old.txt\n?? materials/urea.toml\n"
    assert toner.git("show", ":notes.txt") == "panel of six, one dropped out\n"


def test_what_was_staged_of_the_plan_itself_gives_way_to_the_folder(toner):
    change(toner, "2.80")
    toner.git("add", "formulas/toner.toml")
    change(toner, "2.50", was="2.80")
    toner.ok("revise", "toner", "--reason", "less sticky")
    assert "propanediol = 2.50" in toner.git("show", "HEAD:formulas/toner.toml")
    assert toner.git("status", "--porcelain") == ""


def test_a_changed_material_record_alone_is_worth_a_revision(toner):
    toner.edit("materials/panthenol-75.toml", '"Panthenol" = 75', '"Panthenol" = 74')
    data = toner.json("revise", "toner", "--reason", "the new drum is weaker")
    assert data["revision"] == 2
    assert sorted(saved_files(toner)) == ["formulas/toner.toml", "materials/panthenol-75.toml"]
    body = toner.git("log", "-1", "--format=%b")
    assert body.strip() == "panthenol-75: composition.Panthenol 75 to 74"
    assert toner.json("diff", "toner.1", "toner.2")["materials_changed"] == [
        {"material": "panthenol-75", "field": "composition.Panthenol", "before": "75", "after": "74"}
    ]


def test_other_plans_that_use_a_changed_record_are_named(toner):
    toner.formula("cream", {"A": {"water": "balance", "panthenol-75": "2.00"}})
    toner.formula("balm", {"A": {"propanediol": "100"}})
    toner.formula("base", {"A": {"water": "90.00", "panthenol-75": "10.00"}})
    toner.formula("lotion", {"A": {"water": "balance", "base": "10.00"}})  # through the base
    toner.write("formulas/half.toml", "not finished")
    toner.edit("materials/panthenol-75.toml", '"Panthenol" = 75', '"Panthenol" = 74')
    said = toner.ok("revise", "toner", "--reason", "the new drum is weaker").out
    assert "with the material records panthenol-75" in said
    assert "what was saved is also used in base, cream, lotion" in said


def test_a_variant_is_revised_under_its_own_name(toner):
    plan = toner.read("formulas/toner.toml").replace("revision = 1", "revision = 0").replace("propanediol = 3.00", "propanediol = 2.00")
    about = '[variant]\nparent = "toner.1"\nquestion = "Is less enough?"\nstate = "open"\n\n'
    toner.write("variants/toner/lighter.toml", plan.replace("[phase.A]\n", about + "[phase.A]\n", 1))
    assert toner.json("revise", "toner/lighter", "--reason", "try two percent")["revision"] == 1
    assert saved_files(toner) == ["variants/toner/lighter.toml"]
    assert toner.git("log", "-1", "--format=%s").strip() == "toner/lighter 1: try two percent"
    assert toner.json("sheet", "toner/lighter.1")["lines"][1]["percent"] == "2.00"
    assert toner.json("sheet", "toner.1")["revision"] == 1


@pytest.mark.parametrize(
    "reason, subject",
    [
        ("#3 of the panel: drier", "toner 2: #3 of the panel: drier"),
        ("first line\nsecond line", "toner 2: first line second line"),
        ("für die Tage mit 30 °C", "toner 2: für die Tage mit 30 °C"),
        ("-0.5 propanediol", "toner 2: -0.5 propanediol"),
        ('"; rm -rf ~ $(date)', 'toner 2: "; rm -rf ~ $(date)'),
    ],
)
def test_a_reason_is_kept_as_typed_on_one_line(toner, reason, subject):
    change(toner)
    toner.ok("revise", "toner", f"--reason={reason}")
    assert toner.git("log", "-1", "--format=%s").rstrip("\n") == subject


def test_settings_of_git_that_change_messages_and_lists_do_not_matter(toner):
    for key, value in {
        "commit.verbose": "true",
        "commit.cleanup": "strip",
        "core.commentChar": "t",
        "status.showUntrackedFiles": "no",
        "status.relativePaths": "false",
        "core.quotePath": "true",
        "color.ui": "always",
        "diff.noprefix": "true",
        "log.showSignature": "true",
        "log.follow": "true",
    }.items():
        toner.git("config", key, value)
    toner.write("template.txt", "why?\n")
    toner.git("config", "commit.template", str(toner.root / "template.txt"))
    toner.material("urea", "humectant", {"Urea": 100})
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.50\nurea = 1.00")
    toner.ok("revise", "toner", "--reason", "urea in")
    assert sorted(saved_files(toner)) == ["formulas/toner.toml", "materials/urea.toml"]
    assert toner.git("log", "-1", "--format=%s").strip() == "toner 2: urea in"
    assert [r["revision"] for r in toner.json("history", "toner")["revisions"]] == [2, 1]


# --- numbers ---------------------------------------------------------------------------------------


def test_the_number_after_a_revert_is_a_new_one(toner):
    change(toner)
    toner.ok("revise", "toner", "--reason", "less sticky")
    toner.git("revert", "--no-edit", "HEAD")
    assert "revision = 1" in toner.read("formulas/toner.toml")
    change(toner, "2.80")
    assert toner.json("revise", "toner", "--reason", "a little less")["revision"] == 3


def test_the_number_is_counted_from_what_was_saved_not_from_what_was_typed(toner):
    change(toner)
    toner.edit("formulas/toner.toml", "revision = 1", "revision = 40")
    assert toner.json("revise", "toner", "--reason", "less sticky")["revision"] == 2


def test_the_number_after_a_rename_goes_on(toner):
    toner.git("mv", "formulas/toner.toml", "formulas/mist.toml")
    toner.save_as("Ada", "2026-02-01", message="a better name")
    toner.edit("formulas/mist.toml", "propanediol = 3.00", "propanediol = 2.50")
    assert toner.json("revise", "mist", "--reason", "less sticky")["revision"] == 2


# --- what is refused -------------------------------------------------------------------------------


def test_nothing_to_save_says_so(toner):
    before = everything(toner)
    assert "Nothing to save: toner and the records it uses are as last saved." in toner.ok("revise", "toner", "--reason", "again").out
    assert toner.json("revise", "toner", "--reason", "again")["revision"] is None
    os.utime(toner.root / "formulas/toner.toml")  # touched, not changed
    assert toner.json("revise", "toner", "--reason", "again")["commit"] is None
    assert everything(toner) == before


@pytest.mark.parametrize("reason", [(), ("--reason", ""), ("--reason", " \t\n")])
def test_an_empty_reason_is_refused(toner, reason):
    change(toner)
    before = everything(toner)
    assert "the reason is empty" in toner.refused("revise", "toner", *reason)
    assert everything(toner) == before


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("propanediol = 3.00", "propanediol = 3.00\npropanediol = 2.00", "propanediol"),
        ("propanediol = 3.00", "propanediol = 103.00", "propanediol"),
        ('water = "balance"', "water = 91.42", "101"),
        ("propanediol = 3.00", "propandiol = 3.00", "did you mean propanediol?"),
        ("[phase.B]", "[phase.B", "formulas/toner.toml:"),
    ],
)
def test_a_plan_that_is_not_sound_is_not_saved(toner, old, new, said):
    toner.write("formulas/toner.toml", toner.read("formulas/toner.toml").replace(old, new, 1))
    before = everything(toner)
    assert said in toner.refused("revise", "toner", "--reason", "in a hurry")
    assert everything(toner) == before


def test_a_bad_plan_does_not_hinder_saving_a_good_one(toner):
    toner.write("formulas/half.toml", "[phase.A")
    change(toner)
    assert toner.json("revise", "toner", "--reason", "less sticky")["revision"] == 2


def test_a_nested_formula_with_unsaved_edits_goes_first(toner):
    toner.formula("base", {"A": {"water": "90.00", "propanediol": "10.00"}})
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.50\nbase = 2.00")
    before = everything(toner)
    said = toner.refused("revise", "toner", "--reason", "with the base")
    assert "formulas/base.toml: base stands in toner and has unsaved edits" in said
    assert "fvc revise base --reason TEXT" in said
    assert everything(toner) == before
    toner.ok("revise", "base", "--reason", "first plan")
    assert toner.json("revise", "toner", "--reason", "with the base")["files"] == ["formulas/toner.toml"]


@pytest.mark.parametrize(
    "old, new, named",
    [
        ("propanediol = 3.00", "propanediol = 2.50", "propanediol"),
        ('title = "toner"', 'title = "Toner"', "title"),
        ("propanediol = 3.00\nbetaine = 1.50", "betaine = 1.50\npropanediol = 3.00", "the order of lines"),
    ],
)
def test_a_locked_plan_takes_no_change(toner, old, new, named):
    lock(toner)
    toner.edit("formulas/toner.toml", old, new)
    before = everything(toner)
    said = toner.refused("revise", "toner", "--reason", "just this once")
    assert "toner is locked as revision 2" in said
    assert named in said
    assert everything(toner) == before


def lock(studio) -> None:
    studio.edit("formulas/toner.toml", 'use = "leave-on"', 'use = "leave-on"\nstatus = "locked"')
    studio.ok("revise", "toner", "--reason", "this is the one")


def test_a_locked_plan_takes_no_change_of_its_materials_either(toner):
    lock(toner)
    toner.edit("materials/panthenol-75.toml", '"Panthenol" = 75', '"Panthenol" = 74')
    assert "panthenol-75" in toner.refused("revise", "toner", "--reason", "the new drum is weaker")


def test_a_locked_plan_may_change_its_status_and_is_then_free(toner):
    lock(toner)
    toner.edit("formulas/toner.toml", '"locked"', '"chosen"')
    assert toner.json("revise", "toner", "--reason", "once more to the bench")["revision"] == 3
    change(toner)
    assert toner.json("revise", "toner", "--reason", "less sticky")["revision"] == 4


def test_a_saved_state_and_an_unknown_name_cannot_be_revised(toner):
    assert "saved state" in toner.refused("revise", "toner.1", "--reason", "x")
    assert "did you mean toner?" in toner.refused("revise", "tonner", "--reason", "x")


# --- when the save fails ---------------------------------------------------------------------------


def busy(studio) -> None:
    """A folder in the middle of work: other staged and unstaged edits, new files, a new record."""
    studio.write("notes.txt", "panel of six\n")
    studio.git("add", "notes.txt")
    studio.write("notes.txt", "panel of six, one dropped out\n")
    studio.material("urea", "humectant", {"Urea": 100})
    studio.material("unused", "humectant", {"Urea": 100})
    studio.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.50\nurea = 1.00")
    studio.edit("materials/panthenol-75.toml", '"Panthenol" = 75', '"Panthenol" = 74')


@pytest.mark.parametrize("name", ["pre-commit", "commit-msg", "prepare-commit-msg"])
def test_a_hook_that_says_no_leaves_folder_and_index_as_they_were(toner, name):
    busy(toner)
    hook(toner, name, "echo 'not on a Friday' >&2\nexit 1\n")
    before = everything(toner)
    said = toner.refused("revise", "toner", "--reason", "urea in")
    assert "not on a Friday" in said
    assert everything(toner) == before
    (toner.root / ".git/hooks" / name).unlink()
    assert toner.json("revise", "toner", "--reason", "urea in")["revision"] == 2


def test_a_signature_that_cannot_be_made_leaves_folder_and_index_as_they_were(toner):
    busy(toner)
    toner.git("config", "commit.gpgSign", "true")
    toner.git("config", "gpg.program", str(toner.root / "no-such-program"))
    before = everything(toner)
    assert "nothing was saved" in toner.refused("revise", "toner", "--reason", "urea in")
    assert everything(toner) == before


def test_a_locked_index_leaves_folder_and_index_as_they_were(toner):
    change(toner)
    before = everything(toner)
    toner.write(".git/index.lock", "")
    assert "index.lock" in toner.refused("revise", "toner", "--reason", "less sticky")
    (toner.root / ".git/index.lock").unlink()
    assert everything(toner) == before


def test_a_first_save_that_fails_leaves_an_unborn_branch_as_it_was(tmp_path):
    studio = Studio.make(tmp_path / "new", git=False)
    studio.git("init", "-q")
    studio.formula("mist", {"A": {"water": "balance"}})
    hook(studio, "pre-commit", "exit 1\n")
    before = everything(studio)
    studio.refused("revise", "mist", "--reason", "first plan")
    assert everything(studio) == before
    assert "?? formulas/mist.toml" in studio.git("status", "--porcelain", "--untracked-files=all")


def test_a_hook_that_edits_the_plan_and_then_says_no_is_not_written_over(toner):
    change(toner)
    hook(toner, "pre-commit", "echo '# tidied by the hook' >> formulas/toner.toml\necho tidied >&2\nexit 1\n")
    said = toner.refused("revise", "toner", "--reason", "less sticky")
    assert "tidied" in said
    assert "changed on disk meanwhile" in said
    assert toner.read("formulas/toner.toml").endswith("# tidied by the hook\n")


def test_hooks_run_and_see_what_is_saved(toner):
    change(toner)
    toner.write("notes.txt", "staged, not part of it\n")
    toner.git("add", "notes.txt")
    hook(toner, "pre-commit", "git diff --cached --name-only > .git/seen\n")
    toner.ok("revise", "toner", "--reason", "less sticky")
    assert toner.read(".git/seen") == "formulas/toner.toml\n"


def test_setting_with_a_reason_leaves_the_plan_as_it_was_when_the_save_fails(toner):
    hook(toner, "pre-commit", "exit 1\n")
    before = everything(toner)
    toner.refused("set", "toner", "propanediol=2.5", "--reason", "less sticky")
    assert everything(toner) == before


def test_setting_with_a_reason_saves_a_revision(toner):
    toner.ok("set", "toner", "propanediol=2.5", "--reason", "less sticky")
    assert toner.git("log", "-1", "--format=%s").strip() == "toner 2: less sticky"
    assert toner.git("status", "--porcelain") == ""


# --- line ends, ignored files ------------------------------------------------------------------------


def test_a_plan_with_windows_line_ends_keeps_them(toner):
    toner.git("config", "core.autocrlf", "true")
    text = toner.read("formulas/toner.toml").replace("propanediol = 3.00", "propanediol = 2.50").replace("\n", "\r\n")
    toner.write("formulas/toner.toml", text)
    assert toner.json("revise", "toner", "--reason", "less sticky")["revision"] == 2
    assert toner.read("formulas/toner.toml") == text.replace("revision = 1\r\n", "revision = 2\r\n")
    assert "\r" not in toner.git("show", "HEAD:formulas/toner.toml")
    assert toner.git("status", "--porcelain") == ""
    assert toner.json("sheet", "toner")["saved"] is True
    assert "Nothing to save" in toner.ok("revise", "toner", "--reason", "again").out


def test_windows_line_ends_that_git_keeps_are_kept(toner):
    toner.git("config", "core.autocrlf", "false")
    toner.write("formulas/toner.toml", toner.read("formulas/toner.toml").replace("\n", "\r\n"))
    toner.ok("revise", "toner", "--reason", "from another editor")
    assert toner.git("cat-file", "-s", "HEAD:formulas/toner.toml").strip() == str((toner.root / "formulas/toner.toml").stat().st_size)
    assert toner.json("sheet", "toner")["saved"] is True


def test_a_record_that_git_ignores_is_saved_all_the_same(toner):
    toner.write(".gitignore", "materials/urea.toml\n*.bak\n")
    toner.save_as("Ada", "2026-02-01", message="ignore")
    toner.material("urea", "humectant", {"Urea": 100})
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.50\nurea = 1.00")
    toner.ok("revise", "toner", "--reason", "urea in")
    assert sorted(saved_files(toner)) == ["formulas/toner.toml", "materials/urea.toml"]
    assert toner.json("sheet", "toner.2")["lines"][3]["material"] == "urea"


def test_an_ignored_record_is_ignored_again_when_the_save_fails(toner):
    toner.write(".gitignore", "materials/urea.toml\n")
    toner.save_as("Ada", "2026-02-01", message="ignore")
    toner.material("urea", "humectant", {"Urea": 100})
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.50\nurea = 1.00")
    hook(toner, "pre-commit", "exit 1\n")
    before = everything(toner)
    toner.refused("revise", "toner", "--reason", "urea in")
    assert everything(toner) == before


# --- states of the repository ------------------------------------------------------------------------


def test_the_first_save_of_all(tmp_path):
    studio = Studio.make(tmp_path / "new", git=False)
    studio.git("init", "-q")
    studio.formula("mist", {"A": {"water": "balance"}})
    assert studio.json("revise", "mist", "--reason", "first plan")["revision"] == 1
    assert sorted(saved_files(studio)) == ["formulas/mist.toml", "materials/water.toml"]
    assert studio.git("status", "--porcelain") == "?? formulary.toml\n"


def test_without_a_repository_it_says_how_to_make_one(tmp_path):
    studio = Studio.make(tmp_path / "shelf", git=False)
    studio.formula("mist", {"A": {"water": "balance"}})
    said = studio.refused("revise", "mist", "--reason", "first plan")
    assert "not in a git repository" in said
    assert "git init" in said
    assert "revision = 0" in studio.read("formulas/mist.toml")


def test_a_detached_head_is_refused(toner):
    change(toner)
    toner.git("commit", "-qam", "plain")
    toner.git("checkout", "-q", "--detach", "HEAD~1")
    change(toner, "2.80")
    before = everything(toner)
    said = toner.refused("revise", "toner", "--reason", "less sticky")
    assert "detached head" in said
    assert "git switch" in said
    assert everything(toner) == before


def stopped_halfway(studio, how) -> None:
    """Two branches changed the propanediol; joining them stops with a conflict."""
    studio.git("switch", "-qc", "bea")
    change(studio, "2.00")
    studio.save_as("Bea", "2026-03-02", message="drier")
    studio.git("switch", "-q", "main")
    change(studio, "4.00")
    studio.save_as("Ada", "2026-03-03", message="richer")
    studio.git(*how, check=False)


@pytest.mark.parametrize(
    "how, said",
    [
        (("merge", "bea"), "in the middle of a merge"),
        (("rebase", "bea"), "in the middle of a rebase"),
        (("rebase", "--apply", "bea"), "in the middle of a rebase"),
        (("cherry-pick", "bea"), "in the middle of a cherry-pick"),
        (("revert", "--no-edit", "HEAD~1"), "in the middle of a revert"),
    ],
)
def test_in_the_middle_of_something_nothing_is_saved(toner, how, said):
    stopped_halfway(toner, how)
    before = everything(toner)
    assert said in toner.refused("revise", "toner", "--reason", "less sticky")
    assert everything(toner) == before
    # also when the conflict itself is settled in the folder
    toner.git("checkout", "-q", "--ours", "formulas/toner.toml", check=False)
    assert said in toner.refused("revise", "toner", "--reason", "less sticky")


@pytest.mark.parametrize("known", [{}, {"GIT_AUTHOR_NAME": "Ada", "GIT_AUTHOR_EMAIL": "ada@studio.example"}])
def test_without_a_name_it_gives_the_two_commands_to_type(toner, known):
    change(toner)
    before = everything(toner)
    said = toner.refused("revise", "toner", "--reason", "less sticky", env={"GIT_CONFIG_GLOBAL": os.devnull, "EMAIL": "", **known})
    assert 'git config --global user.name "Your Name"' in said
    assert "git config --global user.email you@example.org" in said
    assert everything(toner) == before


def test_a_name_from_the_environment_is_taken(toner):
    change(toner)
    who = {f"GIT_{role}_{what}": value for role in ("AUTHOR", "COMMITTER") for what, value in (("NAME", "Bea"), ("EMAIL", "bea@x.example"))}
    toner.ok("revise", "toner", "--reason", "less sticky", env={"GIT_CONFIG_GLOBAL": os.devnull, **who})
    assert toner.git("log", "-1", "--format=%an").strip() == "Bea"


def test_an_environment_that_points_git_elsewhere_is_not_followed(toner, tmp_path):
    other = Studio.make(tmp_path / "other")
    untouched = (log(other), other.git("status", "--porcelain"))
    change(toner)
    where = str(other.root / ".git")
    env = {
        "GIT_DIR": where,
        "GIT_WORK_TREE": str(other.root),
        "GIT_INDEX_FILE": f"{where}/other-index",
        "GIT_COMMON_DIR": where,
        "GIT_OBJECT_DIRECTORY": f"{where}/objects",
        "GIT_NAMESPACE": "elsewhere",
        "GIT_PREFIX": "sub/",
        "GIT_EXTERNAL_DIFF": "/bin/false",
        "GIT_LITERAL_PATHSPECS": "0",
        "GIT_TRACE": "1",
    }
    result = toner.ok("revise", "toner", "--reason", "less sticky", "--json", env=env)
    assert result.err == ""
    assert result.data["commit"] == head(toner)
    assert toner.git("status", "--porcelain") == ""
    assert [r["revision"] for r in toner.json("history", "toner", env=env)["revisions"]] == [2, 1]
    assert (log(other), other.git("status", "--porcelain")) == untouched
    assert not (other.root / ".git/other-index").exists()


def test_a_linked_worktree_is_a_place_to_work(toner, tmp_path):
    linked = Studio(tmp_path / "bench copy")
    toner.git("worktree", "add", "-q", "-b", "bench", str(linked.root))
    change(linked)
    assert linked.json("revise", "toner", "--reason", "less sticky")["revision"] == 2
    assert linked.git("status", "--porcelain") == ""
    assert linked.git("log", "-1", "--format=%s").strip() == "toner 2: less sticky"
    assert toner.json("sheet", "toner")["revision"] == 1
    assert toner.git("status", "--porcelain") == ""
    assert linked.json("sheet", "toner.1")["lines"][1]["percent"] == "3.00"


def test_a_formulary_in_a_folder_of_the_repository(tmp_path):
    outer = Studio(tmp_path / "my shop")
    outer.write("accounts.txt", "not ours\n")
    outer.git("init", "-q")
    inner = Studio.make(outer.root / "the formulary", git=False)
    inner.formula("mist", {"A": {"water": "balance"}})
    data = inner.json("revise", "mist", "--reason", "first plan", cwd=inner.root / "formulas")
    assert data["files"] == ["formulas/mist.toml", "materials/water.toml"]
    assert outer.git("show", "--name-only", "-z", "--format=", "HEAD").strip("\0").split("\0") == [
        "the formulary/formulas/mist.toml",
        "the formulary/materials/water.toml",
    ]
    assert not (inner.root / "fvc.lock").exists()
    hook(outer, "pre-commit", "exit 1\n")
    inner.edit("formulas/mist.toml", '"100 g"', '"200 g"')
    before = everything(outer)
    inner.refused("revise", "mist", "--reason", "a larger batch")
    assert everything(outer) == before


# --- others at work --------------------------------------------------------------------------------


def test_another_fvc_that_is_writing_is_waited_for_and_then_named(toner, monkeypatch, capsys):
    change(toner)
    before = everything(toner)
    hold = (
        "import sys, filelock\n"
        "with filelock.FileLock(sys.argv[1]):\n"
        "    print('held', flush=True)\n"
        "    sys.stdin.read()\n"
    )  # fmt: skip
    monkeypatch.chdir(toner.root)
    monkeypatch.setattr("fvc.files.writer.LOCK_SECONDS", 0.3)
    command = [sys.executable, "-c", hold, str(toner.root / ".git/fvc.lock")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout.readline() == b"held\n"
        for arguments in (["revise", "toner", "--reason", "less sticky"], ["set", "toner", "propanediol=2", "--save"]):
            assert main(arguments) == 2
            said = capsys.readouterr().err
            assert "another fvc is writing here" in said
            assert "fvc.lock" in said
        other.stdin.close()
    assert everything(toner) == before
    assert main(["revise", "toner", "--reason", "less sticky"]) == 0


def test_it_waits_five_seconds_for_another_fvc():
    from fvc.files import writer

    assert writer.LOCK_SECONDS == 5


def test_two_makers_who_save_at_once_both_save(toner):
    toner.formula("mist", {"A": {"water": "balance", "propanediol": "2.00"}})
    change(toner)
    environment = os.environ | {"PYTHONPATH": os.path.dirname(os.path.dirname(os.path.abspath(__file__)))}
    both = [
        subprocess.Popen(
            [sys.executable, "-m", "fvc", "revise", name, "--reason", "at once"],
            cwd=toner.root,
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
        for name in ("mist", "toner")
    ]
    for process in both:
        _, said = process.communicate(timeout=60)
        assert (process.returncode, said) == (0, b"")
    subjects = toner.git("log", "-2", "--format=%s").split("\n")[:2]
    assert sorted(subjects) == ["mist 1: at once", "toner 2: at once"]
    assert toner.git("status", "--porcelain") == ""


def test_a_plan_that_changed_on_disk_meanwhile_is_not_written_over(toner, monkeypatch, capsys):
    change(toner)
    monkeypatch.chdir(toner.root)
    from fvc import saving

    real = saving.edit_levels

    def meanwhile(*arguments, **options):
        toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.80")  # an editor saves just now
        return real(*arguments, **options)

    monkeypatch.setattr(saving, "edit_levels", meanwhile)
    commit = head(toner)
    assert main(["revise", "toner", "--reason", "less sticky"]) == 2
    assert "formulas/toner.toml: the file changed on disk meanwhile; nothing was written" in capsys.readouterr().err
    assert "betaine = 1.80" in toner.read("formulas/toner.toml")
    assert "revision = 1" in toner.read("formulas/toner.toml")
    assert head(toner) == commit


@pytest.mark.parametrize("how", ["git mv", "by hand"])
def test_a_renamed_plan_keeps_its_number_and_its_history(toner, how):
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.50")
    toner.ok("revise", "toner", "--reason", "less sticky")
    if how == "git mv":
        toner.git("mv", "formulas/toner.toml", "formulas/mist.toml")
    else:
        (toner.root / "formulas/toner.toml").rename(toner.root / "formulas/mist.toml")
    said = toner.ok("revise", "mist", "--reason", "it is a mist now").out
    assert "Saved mist revision 3" in said
    assert "renamed from toner, with its history" in said
    assert toner.git("status", "--porcelain") == ""
    rows = toner.json("history", "mist")["revisions"]
    assert [(r["kind"], r["revision"], r["reason"]) for r in rows] == [
        ("revision", 3, "it is a mist now"),
        ("revision", 2, "less sticky"),
        ("revision", 1, "first plan"),
    ]
    assert toner.json("sheet", "mist.1")["lines"][1]["percent"] == "3.00"


def test_a_copy_is_a_plan_of_its_own(toner):
    toner.write("formulas/mist.toml", toner.read("formulas/toner.toml"))
    assert "Saved mist revision 1" in toner.ok("revise", "mist", "--reason", "the same, for the body").out
    assert (toner.root / "formulas/toner.toml").exists()
