"""Whatever git does that ends in a merge: two good changes are both there, a question has markers, and no side is lost."""

import pytest

from tests.support import Studio

PLAN = """\
format   = 1
title    = "Face toner"
revision = 1
use      = "leave-on"

[phase.A]
[phase.A.percent]
water       = "balance"
glycerin    = 3.00
allantoin   = 0.20

[phase.B]
[phase.B.percent]
oat-extract = 2.00
"""
TONER = "formulas/toner.toml"


def lines(text: str) -> str:
    """What the rows say, with markers, without the spaces that line them up."""
    return " ".join(text.partition("[phase.A.percent]\n")[2].replace('"', "").replace(" ", "").split())


def unlabelled(text: str) -> str:
    """A text without what stands behind the markers."""
    return "\n".join(row[:7] if row[:7] in ("<<<<<<<", ">>>>>>>") else row for row in text.splitlines()) + "\n"


@pytest.fixture
def shared(prepared) -> Studio:
    """A formulary that is set up, with one plan saved."""
    return Studio(prepared(_shared))


def _shared(folder) -> None:
    studio = Studio.make(folder)
    studio.write(TONER, PLAN)
    studio.save_as("Mirela", "2026-02-01")
    studio.ok("setup")
    studio.save_as("Mirela", "2026-02-01") if studio.git("status", "--porcelain") else None


def change(studio: Studio, branch: str, *pairs: tuple[str, str], path: str = TONER, start: str = "main") -> None:
    """A line of work from `start` with one saved change; the folder is back on main afterwards."""
    if not studio.git("branch", "--list", branch):
        studio.git("branch", branch, start)
    studio.git("checkout", "-q", branch)
    for old, new in pairs:
        studio.edit(path, old, new)
    studio.save_as("Joss", "2026-02-02")
    studio.git("checkout", "-q", "main")


def unmerged(studio: Studio) -> set[str]:
    """The files that git left open."""
    return {row.partition("\t")[2] for row in studio.git("ls-files", "-u", "-z").split("\0") if row}


GLYCERIN, ALLANTOIN, EXTRACT = ("glycerin    = 3.00", "glycerin    = 4.00"), ("= 0.20", "= 0.30"), ("= 2.00", "= 2.50")
OTHER = ("glycerin    = 3.00", "glycerin    = 5.00")
BOTH = "water=balance glycerin=4.00 allantoin=0.30 [phase.B] [phase.B.percent] oat-extract=2.00"
QUESTION = "water=balance <<<<<<< glycerin=4.00 ======= glycerin=5.00 >>>>>>> allantoin=0.20 [phase.B] [phase.B.percent] oat-extract=2.00"
SWAPPED = QUESTION.replace("4.00", "*").replace("5.00", "4.00").replace("*", "5.00")


@pytest.mark.parametrize(
    "command",
    [("merge", "-q", "--no-edit", "second"), ("rebase", "-q", "second"), ("cherry-pick", "second")],
    ids=["merge", "rebase", "cherry-pick"],
)
@pytest.mark.parametrize("style", ["merge", "diff3", "zdiff3"])
def test_merge_rebase_and_cherry_pick(shared, command, style):
    """In a rebase the sides change places: the first is what the work is put on."""
    shared.git("config", "merge.conflictStyle", style)
    for name, edit in (("first", GLYCERIN), ("second", ALLANTOIN), ("third", OTHER)):
        change(shared, name, edit)
    shared.git("checkout", "-q", "first")
    shared.git(*command)  # neighbouring rows: git's own merge makes a conflict of them
    assert lines(shared.read(TONER)) == BOTH

    shared.git("reset", "-q", "--hard", "HEAD@{1}" if command[0] != "rebase" else "ORIG_HEAD")
    shared.git(*(word.replace("second", "third") for word in command), check=False)
    assert unmerged(shared) == {TONER}
    assert lines(unlabelled(shared.read(TONER))) == (SWAPPED if command[0] == "rebase" else QUESTION)


def test_revert_takes_back_one_change_and_keeps_the_later_one_beside_it(shared):
    for edit in (GLYCERIN, ALLANTOIN):
        shared.edit(TONER, *edit)
        shared.save_as("Mirela", "2026-02-03")
    shared.git("revert", "--no-edit", "HEAD~1")
    assert lines(shared.read(TONER)) == BOTH.replace("4.00", "3.00")
    shared.edit(TONER, "glycerin    = 3.00", "glycerin    = 6.00")
    shared.save_as("Mirela", "2026-02-04")
    shared.git("revert", "--no-edit", "HEAD~3", check=False)  # the change to 4.00 once more
    assert unmerged(shared) == {TONER}
    text = shared.read(TONER)
    assert "glycerin    = 6.00" in text
    assert "glycerin    = 3.00" in text


def test_work_put_aside_comes_back_beside_what_was_saved_meanwhile(shared):
    shared.edit(TONER, *GLYCERIN)
    shared.git("stash", "-q")
    shared.edit(TONER, *ALLANTOIN)
    shared.save_as("Mirela", "2026-02-03")
    shared.git("stash", "pop", "-q")
    assert lines(shared.read(TONER)) == BOTH
    assert shared.git("stash", "list") == ""

    shared.git("reset", "-q", "--hard")
    shared.edit(TONER, *OTHER)
    shared.git("stash", "-q")
    shared.edit(TONER, *GLYCERIN)
    shared.save_as("Mirela", "2026-02-04")
    shared.git("stash", "pop", "-q", check=False)
    assert unmerged(shared) == {TONER}
    assert lines(unlabelled(shared.read(TONER))) == QUESTION.replace("0.20", "0.30")
    assert shared.git("stash", "list").count("\n") == 1  # git keeps it until it is settled


def criss_cross(studio: Studio, first: str, second: str) -> None:
    """Two lines of work that merged each other, settled differently: the base of the next merge is itself a merge."""
    change(studio, "first", ("glycerin    = 3.00", f"glycerin    = {first}"))
    change(studio, "second", ("glycerin    = 3.00", f"glycerin    = {second}"))
    for here, there, level in (("first", "second", "7.00"), ("second", "first~1", "7.00")):
        studio.git("checkout", "-q", here)
        studio.git("merge", "-q", "--no-edit", there, check=False)
        studio.write(TONER, PLAN.replace("glycerin    = 3.00", f"glycerin    = {level}"))
        studio.git("commit", "-qam", "settled")
    bases = studio.git("merge-base", "--all", "first", "second")
    assert bases.count("\n") == 2


def test_a_criss_cross_whose_own_base_is_a_question(shared):
    criss_cross(shared, "4.00", "5.00")
    change(shared, "first", ALLANTOIN)
    change(shared, "second", EXTRACT)
    shared.git("checkout", "-q", "first")
    shared.git("merge", "-q", "--no-edit", "second", check=False)
    text = shared.read(TONER)
    for level in ("glycerin    = 7.00", "allantoin   = 0.30", "oat-extract = 2.50"):
        assert level in text, text
    # with two bases that contradict each other git takes the first side for the base ("binary"), or there is none: asked, or both kept
    assert unmerged(shared) == ({TONER} if "<<<<<<<" in text else set())


def test_a_criss_cross_in_which_both_go_on_differently(shared):
    criss_cross(shared, "4.00", "5.00")
    change(shared, "first", ("glycerin    = 7.00", "glycerin    = 6.00"))
    change(shared, "second", ("glycerin    = 7.00", "glycerin    = 8.00"))
    shared.git("checkout", "-q", "first")
    shared.git("merge", "-q", "--no-edit", "second", check=False)
    assert unmerged(shared) == {TONER}
    text = shared.read(TONER)
    assert (
        text.index("<<<<<<<")
        < text.index("glycerin    = 6.00")
        < text.index("=======")
        < text.index("glycerin    = 8.00")
        < text.index(">>>>>>>")
    )
    assert text.count("<<<<<<<") == 1


def test_linked_worktrees(shared, tmp_path):
    """A linked worktree has GIT_DIR set while git runs the driver."""
    change(shared, "first", GLYCERIN)
    change(shared, "second", ALLANTOIN)
    change(shared, "third", OTHER)
    shared.git("worktree", "add", "-q", str(tmp_path / "a b"), "first")
    beside = Studio(tmp_path / "a b")
    beside.git("merge", "-q", "--no-edit", "second")
    assert lines(beside.read(TONER)) == BOTH
    beside.git("merge", "-q", "--no-edit", "third", check=False)
    assert unmerged(beside) == {TONER}
    assert "glycerin    = 5.00" in beside.read(TONER)
    assert unmerged(shared) == set()


@pytest.mark.parametrize("setting", ["true", "input"])
def test_line_ends_that_git_turns_round(shared, setting):
    shared.git("config", "core.autocrlf", setting)
    shared.write(TONER, shared.read(TONER).replace("\n", "\r\n"))  # typed on a system that writes them so
    shared.edit(TONER, "title    = ", "title    =  ")
    shared.save_as("Mirela", "2026-02-03")
    change(shared, "first", GLYCERIN)
    change(shared, "second", ALLANTOIN)
    shared.git("checkout", "-q", "first")
    shared.git("merge", "-q", "--no-edit", "second")
    assert lines(shared.read(TONER)) == BOTH
    assert "\r" not in shared.git("show", f"HEAD:{TONER}")
    assert shared.git("status", "--porcelain") == ""


def test_plans_that_were_saved_with_windows_line_ends_before_the_set_up(studio):
    studio.write(TONER, PLAN.replace("\n", "\r\n"))
    studio.git("-c", "core.autocrlf=false", "add", "-A")
    studio.git("commit", "-qm", "as typed")
    studio.write(TONER, PLAN.replace(*GLYCERIN).replace("\n", "\r\n"))
    studio.git("checkout", "-qb", "first")
    studio.git("commit", "-qam", "first")
    studio.git("checkout", "-qb", "second", "main")
    studio.write(TONER, PLAN.replace(*ALLANTOIN).replace("\n", "\r\n"))
    studio.git("commit", "-qam", "second")
    studio.ok("setup")
    studio.git("add", "--renormalize", ".")
    studio.git("commit", "-qm", "line ends")
    studio.git("merge", "-q", "--no-edit", "-Xrenormalize", "first")
    assert lines(studio.read(TONER)) == BOTH


@pytest.mark.parametrize("folder", ["shop", "Mirela's shop, 2. floor", "$(touch ran) `touch ran`"])
def test_a_formulary_in_a_sub_folder(tmp_path, folder):
    top = tmp_path / "top"
    studio = Studio.make(top / folder, git=False)
    studio.git("init", "-q", str(top))
    studio.write(TONER, PLAN)
    studio.save_as("Mirela", "2026-02-01", ".")
    studio.ok("setup")
    change(studio, "first", GLYCERIN)
    change(studio, "second", ALLANTOIN)
    change(studio, "third", OTHER)
    studio.git("checkout", "-q", "first")
    studio.git("merge", "-q", "--no-edit", "second")
    assert lines(studio.read(TONER)) == BOTH
    studio.git("merge", "-q", "--no-edit", "third", check=False)
    assert lines(unlabelled(studio.read(TONER))) == QUESTION.replace("0.20", "0.30")
    assert not list(tmp_path.rglob("ran"))


ODD = [
    "two words",
    "it's",
    'a "quoted" one',
    "$(touch ran)",
    "`touch ran`",
    "; touch ran",
    "-rf",
    "--path=x",
    "%A %B",
    "new\nline",
    "ätherisch",
    "back\\slash",
    "*",
    "a & touch ran",
]


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("path", ["{}/formulas/toner.toml", "formulas/{}.toml", "{}.toml"])
def test_odd_names_run_nothing_and_lose_nothing(shared, name, path):
    """fvc refuses such ids; git still merges the file, whoever made it, and hands its name to a shell."""
    path = path.format(name)
    shared.write(path, PLAN)
    shared.write(".git/info/attributes", "*.toml text eol=lf merge=fvc\n")  # every file, wherever it lies
    shared.git("add", "-A")
    shared.git("commit", "-qm", "odd")
    for branch, edit in (("first", GLYCERIN), ("second", ALLANTOIN), ("third", OTHER)):
        change(shared, branch, edit, path=path)
    shared.git("checkout", "-q", "first")
    shared.git("merge", "-q", "--no-edit", "second", check=False)
    text = shared.read(path)
    assert "glycerin    = 4.00" in text, text
    assert "allantoin   = 0.30" in text, text
    assert ("<<<<<<<" in text) == (path in unmerged(shared))
    shared.git("reset", "-q", "--hard", "first")
    shared.git("merge", "-q", "--no-edit", "third", check=False)
    assert unmerged(shared) == {path}
    assert "glycerin    = 4.00" in shared.read(path)
    assert "glycerin    = 5.00" in shared.read(path)
    assert not [file for file in shared.root.rglob("ran*") if ".git" not in file.parts]


def test_one_renames_the_other_changes(shared):
    shared.git("checkout", "-qb", "first")
    shared.git("mv", TONER, "formulas/rose-toner.toml")
    shared.edit("formulas/rose-toner.toml", *GLYCERIN)
    shared.save_as("Mirela", "2026-02-03")
    shared.git("checkout", "-q", "main")
    change(shared, "second", ALLANTOIN)
    for here, there in (("first", "second"), ("second", "first")):
        shared.git("checkout", "-q", "-B", "try", here)
        shared.git("merge", "-q", "--no-edit", there)
        assert lines(shared.read("formulas/rose-toner.toml")) == BOTH
        assert not (shared.root / TONER).exists()


def test_one_takes_the_plan_away_the_other_changes_it(shared):
    """git calls no driver for this: the plan stays in the folder, and it is a question."""
    shared.git("checkout", "-qb", "first")
    shared.git("rm", "-q", TONER)
    shared.save_as("Mirela", "2026-02-03")
    shared.git("checkout", "-q", "main")
    change(shared, "second", GLYCERIN)
    for here, there in (("first", "second"), ("second", "first")):
        shared.git("checkout", "-q", "-f", "-B", "try", here)
        shared.git("merge", "-q", "--no-edit", there, check=False)
        assert unmerged(shared) == {TONER}
        assert "glycerin    = 4.00" in shared.read(TONER)
        shared.git("reset", "-q", "--hard")


def test_both_make_the_same_plan_anew(shared):
    for name, edit in (("first", GLYCERIN), ("second", OTHER), ("third", GLYCERIN)):
        shared.git("checkout", "-qb", name, "main")
        shared.write("formulas/mist.toml", PLAN.replace(*edit))
        shared.save_as("Joss", "2026-02-03")
    shared.git("checkout", "-q", "first")
    shared.git("merge", "-q", "--no-edit", "third")  # alike: nothing to ask
    assert lines(shared.read("formulas/mist.toml")) == lines(PLAN.replace(*GLYCERIN))
    shared.git("merge", "-q", "--no-edit", "second", check=False)
    assert unmerged(shared) == {"formulas/mist.toml"}
    assert lines(unlabelled(shared.read("formulas/mist.toml"))) == QUESTION


def test_a_plan_that_was_empty_and_that_both_filled(shared):
    shared.write("formulas/mist.toml", "")
    shared.save_as("Mirela", "2026-02-02")
    for name, edit in (("first", GLYCERIN), ("second", OTHER)):
        shared.git("checkout", "-qb", name, "main")
        shared.write("formulas/mist.toml", PLAN.replace(*edit))
        shared.save_as("Joss", "2026-02-03")
    shared.git("merge", "-q", "--no-edit", "first", check=False)
    assert unmerged(shared) == {"formulas/mist.toml"}
    assert lines(unlabelled(shared.read("formulas/mist.toml"))) == SWAPPED


@pytest.mark.parametrize("broken", ["glycerin    = = 3", "glycerin    = 3.00\nglycerin = 2.00", '"""'], ids=["value", "twice", "quotes"])
def test_a_side_that_is_no_plan_gets_the_text_merge_with_both_sides(shared, broken):
    change(shared, "first", ("glycerin    = 3.00", broken))
    change(shared, "second", GLYCERIN)
    shared.git("checkout", "-q", "first")
    shared.git("merge", "-q", "--no-edit", "second", check=False)
    assert unmerged(shared) == {TONER}
    text = shared.read(TONER)
    assert broken in text
    assert "glycerin    = 4.00" in text
    assert "<<<<<<<" in text


def test_a_clone_that_was_never_set_up_keeps_both_sides(shared, tmp_path):
    """Git falls back to its own merge: the attributes came along, the driver did not."""
    for name, edit in (("first", GLYCERIN), ("second", OTHER)):
        change(shared, name, edit)
    shared.git("clone", "-q", str(shared.root), str(tmp_path / "clone"))
    clone = Studio(tmp_path / "clone")
    clone.git("checkout", "-q", "first")
    clone.git("merge", "-q", "--no-edit", "origin/second", check=False)
    assert unmerged(clone) == {TONER}
    text = clone.read(TONER)
    assert "glycerin    = 4.00" in text
    assert "glycerin    = 5.00" in text
    assert (clone.root / ".gitattributes").exists()
