"""`fvc setup`: git prepared in one copy of a formulary, told, mended and taken away; the hooks; what is staged."""

import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from fvc.archive import Archive
from fvc.together import setup as setting_up
from tests.support import Result, Studio

HOUSE = Path(__file__).parent.parent
ODD = """it's "a" $(touch x) [b]* studio"""  # a folder that a careless shell line or pattern would stumble over

ROWS = """\
# fvc setup: from here
formulary.toml text eol=lf merge=fvc
formulas/*.toml text eol=lf merge=fvc diff=fvc
variants/*/*.toml text eol=lf merge=fvc diff=fvc
materials/*.toml text eol=lf merge=fvc
trials/*/*.toml text eol=lf merge=fvc
# fvc setup: to here
"""
FILES = ("formulary.toml", "formulas/a.toml", "variants/a/b.toml", "materials/m.toml", "trials/a/t.toml")
MEANT = {"formulas/a.toml": "fvc", "variants/a/b.toml": "fvc"}  # diff; merge is fvc for all


def everything(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every file below a folder with its mode, git's own included, but for what git writes whenever it is asked."""
    skip = ("objects", "logs", "refs", "index", "COMMIT_EDITMSG", "fvc.lock")
    found = (p for p in folder.rglob("*") if p.is_file() and not set(skip) & set(p.relative_to(folder).parts))
    return {str(p.relative_to(folder)): (p.read_bytes(), p.stat().st_mode) for p in found}


def states(studio: Studio, **options) -> dict[str, str]:
    result = studio.fvc("setup", "--check", "--json", **options)
    found = {p["part"]: p["state"] for p in result.data["parts"]}
    assert result.data["schema"] == 1
    assert result.data["ok"] is (result.code == 0) is (set(found.values()) <= {"set", "optional"})
    assert all(p["mend"] for p in result.data["parts"] if p["state"] != "set")
    return found


def in_force(studio: Studio, folder: str = "") -> dict[str, tuple[str, ...]]:
    """What git makes of our attributes, by file below the formulary."""
    out = studio.git("check-attr", "-z", "merge", "diff", "text", "eol", "--", *(folder + f for f in FILES)).split("\0")
    found: dict[str, tuple[str, ...]] = {}
    for path, value in zip(out[::3], out[2::3], strict=False):
        found[path.removeprefix(folder)] = (*found.get(path.removeprefix(folder), ()), value)
    return found


MERGED = {f: ("fvc", MEANT.get(f, "unspecified"), "set", "lf") for f in FILES}
UNTOUCHED = dict.fromkeys(FILES, ("unspecified",) * 4)


def python_nowhere(studio: Studio) -> None:
    """As after the virtual environment was deleted: every Python that setup named is gone."""
    for file in (".git/config", ".git/hooks/post-merge", ".git/hooks/pre-commit"):
        if (studio.root / file).exists():
            studio.write(file, studio.read(file).replace(sys.executable, "/nowhere/bin/python"))


def both_edit(studio: Studio) -> None:
    """Two people change neighbouring lines of one formula; the folder stands on the first one's side."""
    studio.formula("mist", {"A": {"water": "90.00", "glycerin": "10.00"}})
    studio.save_as("Mirela", "2026-03-01")
    studio.git("switch", "-qc", "other")
    studio.edit("formulas/mist.toml", "glycerin = 10.00", "glycerin = 9.00")
    studio.save_as("Joss", "2026-03-02")
    studio.git("switch", "-q", "-")
    studio.edit("formulas/mist.toml", "water = 90.00", "water = 91.00")
    studio.save_as("Mirela", "2026-03-02")


def merge(studio: Studio, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["git", "-C", str(studio.root), "merge", "--no-edit", "other"], capture_output=True, text=True, env=os.environ | env
    )


# --- what is written ---------------------------------------------------------------------------------


def test_a_formulary_is_set_up_and_git_merges_its_files_through_fvc(studio):
    result = studio.ok("setup")
    assert studio.read(".gitattributes") == ROWS
    assert studio.read(".git/info/attributes") == ROWS
    assert in_force(studio) == MERGED
    assert studio.git("check-attr", "merge", "--", "README.md", "formulas/a/b.toml", "materials/a/b.toml").count("unspecified") == 3
    assert studio.git("log", "-1", "--format=%s%n%b%an", "--name-only") == "Settings for merging formulas\nAda Test\n\n.gitattributes\n"
    assert studio.git("status", "--porcelain") == ""
    assert 'Saved .gitattributes: "Settings for merging formulas".' in result.out
    assert "fvc setup --hooks" in result.out
    assert result.err == ""
    assert states(studio) == dict.fromkeys(
        (".gitattributes", "info/attributes", "merge.fvc", "diff.fvc", "fvc.initials", "post-merge"), "set"
    ) | {"pre-commit": "optional"}


def test_the_configuration_that_is_written(studio):
    studio.ok("setup")
    python = shlex.quote(sys.executable)
    assert {key: studio.git("config", "--local", "--get", key).rstrip("\n") for key in setting_up.configuration()} == {
        "merge.fvc.name": "formulas and records, by what their lines mean",
        "merge.fvc.driver": f"{python} -P -m fvc.driver merge %O %A %B %L --path=%P --parent=%S --first=%X --second=%Y;"
        " case $? in 0) exit 0;; 64) exit 1;; esac; git merge-file --marker-size=%L %A %O %B; exit 1",
        "merge.fvc.recursive": "binary",
        "diff.fvc.textconv": f'f() {{ {python} -P -m fvc.driver text "$1" || cat "$1"; }}; f',
        "diff.fvc.xfuncname": r"^\[.*\]",
    }
    assert studio.git("config", "--get", "fvc.initials") == "at\n"


def test_a_second_run_changes_no_byte_and_says_so(studio):
    studio.ok("setup", "--hooks")
    before, head = everything(studio.root), studio.git("rev-parse", "HEAD")
    assert studio.ok("setup").out.startswith("Everything was set up already; nothing was written.\n")
    assert studio.ok("setup", "--hooks").out == "Everything was set up already; nothing was written.\n"
    assert (everything(studio.root), studio.git("rev-parse", "HEAD")) == (before, head)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (b"*.txt text", b"*.txt text\n"),  # no final newline
        (b"*.txt text\n\n# end\n", b"*.txt text\n\n# end\n"),
        (b"*.txt text\r\n*.md text", b"*.txt text\r\n*.md text\r\n"),
        (b"", b""),
        (b"\xff.txt text\n", b"\xff.txt text\n"),
    ],
)
def test_lines_of_others_in_gitattributes_are_kept(studio, before, after):
    studio.write(".gitattributes", before)
    studio.save_as("Joss", "2026-03-01")
    studio.ok("setup")
    block = ROWS.encode().replace(b"\n", b"\r\n") if b"\r\n" in before else ROWS.encode()
    assert (studio.root / ".gitattributes").read_bytes() == after + block
    assert in_force(studio) == MERGED
    assert studio.git("check-attr", "text", "--", "a.txt") == "a.txt: text: " + ("set\n" if before.startswith(b"*") else "unspecified\n")
    assert studio.ok("setup").out.startswith("Everything was set up")
    studio.ok("setup", "--remove")
    left = studio.root / ".gitattributes"
    assert (left.read_bytes() if left.exists() else b"") == after


def test_somebody_elses_merge_setting_is_said_and_one_that_is_stronger_is_told_by_the_check(studio):
    studio.write(".gitattributes", "*.toml merge=union\n")
    said = studio.ok("setup").out.replace("\n", " ")
    assert "formulas/*.toml had merge=union from a line of somebody else's" in said
    assert in_force(studio) == MERGED
    studio.write(".git/info/attributes", studio.read(".git/info/attributes") + "materials/* -merge\n")
    assert states(studio)["info/attributes"] == "overruled"
    assert "a line behind ours says materials/*.toml merge=unset: take it out of .git/info/attributes" in studio.fvc("setup", "--check").out


def test_what_others_have_not_saved_in_gitattributes_is_not_saved_for_them(studio):
    studio.write(".gitattributes", "*.txt text\n")
    head = studio.git("rev-parse", "HEAD")
    result = studio.ok("setup")
    assert studio.git("rev-parse", "HEAD") == head
    assert ".gitattributes is not saved" in result.err
    assert "git add .gitattributes  then  git commit -m 'Settings for merging formulas' .gitattributes" in result.err
    assert states(studio)[".gitattributes"] == "not saved"


def test_staged_work_stays_staged_and_unsaved_work_unsaved(studio):
    studio.write("notes.txt", "staged")
    studio.git("add", "notes.txt")
    studio.edit("formulary.toml", "Test studio", "Our studio")
    studio.ok("setup")
    assert studio.git("status", "--porcelain") == " M formulary.toml\nA  notes.txt\n"


def test_before_the_first_save_and_in_the_middle_of_a_merge(tmp_path, studio):
    fresh = Studio.make(tmp_path / "fresh", git=False)
    fresh.git("init", "-q")
    fresh.ok("setup")
    assert fresh.git("ls-files") == ".gitattributes\n"
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    both_edit(studio)
    assert merge(studio).returncode == 1
    result = studio.ok("setup")
    assert ".gitattributes is not saved" in result.err
    assert studio.git("rev-parse", "--verify", "MERGE_HEAD")
    studio.formula("mist", {"A": {"water": "91.00", "glycerin": "9.00"}})
    studio.save_as("Mirela", "2026-03-03", "formulas")
    assert "Saved .gitattributes" in studio.ok("setup").out


def test_files_with_windows_line_ends_are_said(studio):
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    studio.write("materials/glycerin.toml", studio.read("materials/glycerin.toml").replace("\n", "\r\n"))
    studio.save_as("Joss", "2026-03-01")
    result = studio.ok("setup")
    assert "1 file was saved with Windows line ends" in result.out
    assert "    git add --renormalize .  then  git commit -m 'Plain line ends'\n" in result.out


# --- who sits here -----------------------------------------------------------------------------------


def test_initials_are_those_a_batch_would_get_and_a_batch_gets_those_given(toner):
    toner.ok("setup", "--initials", "Adt")
    assert toner.git("config", "--local", "fvc.initials") == "adt\n"
    assert "-adt-a" in toner.json("trial", "start", "toner", "--batch", "150g")["id"]
    assert "-jo-a" in toner.json("trial", "start", "toner", "--batch", "150g", "--by", "Joss")["id"]  # not his
    toner.ok("setup")
    assert toner.git("config", "--local", "fvc.initials") == "adt\n"


def test_initials_of_somebody_else_are_refused_and_nothing_is_written(studio):
    studio.write("formulary.toml", studio.read("formulary.toml") + '[makers]\njw = "Joss Werrick"\n')
    before = everything(studio.root)
    assert "the initials jw are Joss Werrick's" in studio.refused("setup", "--initials", "jw")
    assert "two to four letters" in studio.refused("setup", "--initials", "x1")
    assert everything(studio.root) == before


def test_what_formulary_toml_says_of_initials_holds(studio):
    studio.write("formulary.toml", studio.read("formulary.toml") + '[makers]\nada = "Ada Test"\n')
    assert "your" in studio.refused("setup", "--initials", "zz")
    studio.ok("setup")
    assert studio.git("config", "--local", "fvc.initials") == "ada\n"
    studio.edit("formulary.toml", "ada =", "adt =")
    assert states(studio)["fvc.initials"] == "stale"
    studio.ok("setup")
    assert studio.git("config", "--local", "fvc.initials") == "adt\n"
    studio.edit("formulary.toml", 'adt = "Ada Test"', 'adt = "Adam Tull"')
    assert states(studio)["fvc.initials"] == "stale"
    assert "the initials adt are Adam Tull's" in studio.ok("setup").err


def test_initials_that_are_taken_already_are_left_to_their_owner(studio):
    studio.write("formulary.toml", studio.read("formulary.toml") + '[makers]\nat = "Anna Tool"\n')
    result = studio.ok("setup")
    assert "fvc.initials is missing" in result.err
    assert "the initials at are Anna Tool's" in result.err
    assert "--initials" in result.err
    assert states(studio)["fvc.initials"] == "missing"


def test_without_an_identity_all_the_rest_is_set_up_and_the_two_commands_are_said(studio):
    Path(os.environ["GIT_CONFIG_GLOBAL"]).write_text("")
    result = studio.ok("setup")
    assert 'git config --global user.name "Your Name"' in result.err
    assert "git config --global user.email" in result.err
    assert in_force(studio) == MERGED
    assert states(studio) | {".gitattributes": "not saved", "fvc.initials": "missing", "merge.fvc": "set", "post-merge": "set"} == states(
        studio
    )
    assert 'git config --global user.name "Your Name"' in studio.fvc("setup", "--check").out


# --- where it cannot be done -------------------------------------------------------------------------


def test_without_a_repository_it_says_git_init(plain_folder):
    studio = Studio.make(plain_folder / "shelf", git=False)
    for arguments in (("setup",), ("setup", "--check"), ("setup", "--remove"), ("check", "--staged")):
        assert "git init" in studio.refused(*arguments)
    assert not (studio.root / ".gitattributes").exists()


def test_options_that_do_not_go_together(studio):
    assert "--json goes with --check" in studio.refused("setup", "--json")
    for words in (("--check", "--remove"), ("--check", "--hooks"), ("--remove", "--initials", "ak")):
        assert "stand alone" in studio.refused("setup", *words)
    assert "--staged chooses" in studio.refused("check", "mist", "--staged")


def test_a_link_in_the_place_of_gitattributes_is_not_written_through(studio, tmp_path):
    (tmp_path / "elsewhere").write_text("*.txt text\n")
    (studio.root / ".gitattributes").symlink_to(tmp_path / "elsewhere")
    assert "is a link" in studio.refused("setup")
    assert (tmp_path / "elsewhere").read_text() == "*.txt text\n"


def test_a_git_folder_that_may_not_be_written(studio):
    """Also as root, who is stopped by no permission unless that right is given up (capabilities(7), CAP_DAC_OVERRIDE)."""
    before = everything(studio.root)
    (studio.root / ".git").chmod(0o555)
    give_up = "import ctypes, os, sys; ctypes.CDLL(None).prctl(24, 1, 0, 0, 0); os.execv(sys.executable, [sys.executable, *sys.argv[1:]])"
    command = [sys.executable, "-c", give_up, "-m", "fvc", "setup"]
    done = subprocess.run(command, cwd=studio.root, capture_output=True, text=True, env=os.environ | {"PYTHONPATH": str(HOUSE)})
    (studio.root / ".git").chmod(0o755)
    assert done.returncode == 2, done
    assert "cannot be written" in done.stderr
    assert "next:" in done.stderr
    assert everything(studio.root) == before


def test_a_configuration_that_somebody_else_is_writing(studio):
    studio.write(".git/config.lock", "")
    assert "could not lock config file" in studio.refused("setup")
    assert not (studio.root / ".gitattributes").exists()


# --- folders ------------------------------------------------------------------------------------------


def test_a_clone_in_an_oddly_named_folder(studio, tmp_path):
    studio.ok("setup")
    studio.git("clone", "-q", str(studio.root), str(tmp_path / ODD))
    clone = Studio(tmp_path / ODD)
    found = states(clone)
    assert found[".gitattributes"] == "set"  # came along, and means nothing yet
    assert found["merge.fvc"] == found["info/attributes"] == found["post-merge"] == "missing"
    clone.ok("setup")
    assert set(states(clone).values()) == {"set", "optional"}
    assert in_force(clone) == MERGED
    clone.material("glycerin", "humectant", {"Glycerin": 100})
    both_edit(clone)
    merge(clone)
    assert not list(tmp_path.rglob("x"))


@pytest.mark.parametrize("name", ["shop", ODD, "!a", "#b", "-c", "a\\b", "tab\there", "Ümlaut?", "[attr]d"])
def test_a_formulary_in_a_sub_folder(tmp_path, name):
    top = Studio(tmp_path / "top")
    studio = Studio.make(top.root / "all" / name, git=False)
    top.git("init", "-q")
    top.git("add", "-A")
    top.git("commit", "-qm", "all")
    studio.ok("setup", "--hooks")
    assert not (top.root / ".gitattributes").exists()
    folder = f"all/{name}/"
    assert in_force(top, folder) == MERGED
    studio.git("rm", "-q", ".gitattributes")  # as in an old commit that has none
    assert in_force(top, folder) == MERGED
    assert in_force(top) == UNTOUCHED
    assert in_force(top, f"all/{name}x/") == UNTOUCHED
    studio.git("restore", "--staged", "--worktree", ".gitattributes")
    assert set(states(studio).values()) == {"set"}
    studio.formula("mist", {"A": {"water": "91.00"}})
    top.git("add", "-A")
    refused = subprocess.run(["git", "-C", str(top.root), "commit", "-m", "x"], capture_output=True, text=True)
    assert refused.returncode == 1
    assert "9.00 short of 100" in refused.stderr
    before = top.git("config", "--list", "--local")
    assert studio.ok("setup", "--hooks").out.startswith("Everything")
    studio.ok("setup", "--remove")
    assert not (top.root / ".git/info/attributes").exists()
    assert top.git("config", "--list", "--local") != before
    assert not list(tmp_path.rglob("x"))


@pytest.mark.parametrize("name", ["!a", "#b", "-c", "[attr]d", 'q"q', "a b"])
def test_a_folder_right_at_the_top_whose_name_would_begin_a_line_of_another_meaning(tmp_path, name):
    top = Studio(tmp_path / "top")
    studio = Studio.make(top.root / name, git=False)
    top.git("init", "-q")
    studio.ok("setup")
    studio.git("rm", "-q", ".gitattributes")
    assert in_force(top, f"{name}/") == MERGED


def test_two_formularies_in_one_repository_have_each_their_own(tmp_path):
    top = Studio(tmp_path / "top")
    one, two = (Studio.make(top.root / name, git=False) for name in ("one", "two"))
    top.git("init", "-q")
    one.ok("setup", "--hooks")
    assert states(two)["info/attributes"] == "missing"
    two.ok("setup", "--hooks")
    both = everything(top.root)
    assert one.ok("setup", "--hooks").out == two.ok("setup", "--hooks").out == "Everything was set up already; nothing was written.\n"
    assert everything(top.root) == both
    for each in (one, two):
        each.git("rm", "-q", ".gitattributes")
    assert in_force(top, "one/") == in_force(top, "two/") == MERGED
    hook = top.read(".git/hooks/pre-commit")
    assert hook.startswith("#!/bin/sh\n# fvc setup: from here one\n(cd ./one/")
    assert hook.count("--staged") == 2
    said = one.ok("setup", "--remove").out
    assert "another formulary of this repository uses it" in said.replace("\n", " ")
    assert in_force(top, "one/") == UNTOUCHED
    assert in_force(top, "two/") == MERGED
    assert top.read(".git/hooks/pre-commit").count("--staged") == 1
    two.ok("setup", "--remove")
    assert "fvc" not in top.read(".git/config")
    assert not (top.root / ".git/hooks/pre-commit").exists()


def test_a_linked_worktree_is_set_up_with_all_others(studio, tmp_path):
    studio.git("worktree", "add", "-q", str(tmp_path / "side"), "-b", "side")
    side = Studio(tmp_path / "side")
    side.ok("setup", "--hooks")
    assert (studio.root / ".git/info/attributes").read_text() == ROWS
    assert (studio.root / ".git/hooks/pre-commit").exists()
    assert set(states(side).values()) == {"set"}
    assert in_force(side) == MERGED
    assert in_force(studio) == MERGED
    assert {p: s for p, s in states(studio).items() if s != "set"} == {".gitattributes": "missing"}  # not on this branch yet
    side.formula("mist", {"A": {"water": "91.00"}})
    side.git("add", "-A")
    refused = subprocess.run(["git", "-C", str(side.root), "commit", "-m", "x"], capture_output=True, text=True)
    assert "9.00 short of 100" in refused.stderr
    assert studio.git("commit", "--allow-empty", "-qm", "there nothing is staged") == ""


# --- told, mended, taken away ------------------------------------------------------------------------


def test_the_check_as_a_person_sees_it(studio):
    result = studio.fvc("setup", "--check")
    assert result.code == 1
    assert (
        result.out
        == """\
  part             state     what it is
  .gitattributes   missing   which files are merged by fvc, for everybody
  info/attributes  missing   the same for this copy, at every commit
  merge.fvc        missing   merging, in git's configuration
  diff.fvc         missing   showing differences, in git's configuration
  fvc.initials     missing   yours, in the ids of batches
  post-merge       missing   hook: what must be mended is told after a merge
  pre-commit       optional  hook: no plan is saved that must be mended

.gitattributes, info/attributes, merge.fvc, diff.fvc, fvc.initials, post-merge:
    fvc setup

pre-commit:
    fvc setup --hooks
"""
    )


def test_after_the_python_went_away_the_check_says_so_and_setup_mends_it(studio):
    studio.ok("setup", "--hooks")
    before = everything(studio.root)
    python_nowhere(studio)
    nowhere = {
        "merge.fvc": "pointing nowhere",
        "diff.fvc": "pointing nowhere",
        "post-merge": "pointing nowhere",
        "pre-commit": "pointing nowhere",
    }
    found = states(studio)
    assert {part: state for part, state in found.items() if state != "set"} == nowhere
    studio.ok("setup")
    assert everything(studio.root) == before


def test_a_python_in_an_odd_place_then_moved(studio, tmp_path):
    """A real virtual environment whose path a shell, a pattern and git's own % would all take apart."""
    place = tmp_path / """100%P it's "$(touch x)" venv"""
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(place)], check=True)
    packages = ":".join([str(HOUSE), *(p for p in sys.path if "site-packages" in p)])
    env = os.environ | {"PYTHONPATH": packages}
    subprocess.run([place / "bin/python", "-P", "-m", "fvc", "setup", "--hooks"], cwd=studio.root, env=env, check=True, capture_output=True)
    assert studio.git("config", "merge.fvc.driver").startswith(
        shlex.quote(str(place / "bin/python")).replace("%", "%%") + " -P -m fvc.driver "
    )
    here = subprocess.run([place / "bin/python", "-P", "-m", "fvc", "setup", "--check"], cwd=studio.root, env=env, capture_output=True)
    assert here.returncode == 0, here
    assert states(studio)["merge.fvc"] == "stale"  # of another installation than this one, which works
    stub = driver(tmp_path, "record", 0)
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    both_edit(studio)
    assert merge(studio, PYTHONPATH=f"{stub}:{packages}").returncode == 0
    assert "--path=formulas/mist.toml" in (stub / "said").read_text()
    place.rename(tmp_path / "moved")
    assert states(studio)["merge.fvc"] == states(studio)["pre-commit"] == "pointing nowhere"
    studio.ok("setup")
    assert set(states(studio).values()) == {"set"}
    assert not list(tmp_path.rglob("x"))


def test_what_an_older_fvc_wrote_is_stale_and_is_written_anew(studio):
    studio.ok("setup")
    before = everything(studio.root)
    studio.edit(".git/info/attributes", "trials/*/*.toml text eol=lf merge=fvc\n", "trials/*.toml merge=fvc\n")
    studio.edit(".git/hooks/post-merge", "check --merged --stops", "check")
    studio.git("config", "merge.fvc.recursive", "text")
    studio.git("config", "--add", "diff.fvc.xfuncname", "twice")
    stale = ("info/attributes", "merge.fvc", "diff.fvc", "post-merge")
    assert {part: state for part, state in states(studio).items() if state != "set"} == dict.fromkeys(stale, "stale") | {
        "pre-commit": "optional"
    }
    studio.ok("setup")
    assert everything(studio.root) == before


def test_a_hook_that_may_not_be_run_is_made_so(studio):
    studio.ok("setup")
    (studio.root / ".git/hooks/post-merge").chmod(0o644)
    assert states(studio)["post-merge"] == "stale"
    studio.ok("setup")
    assert os.access(studio.root / ".git/hooks/post-merge", os.X_OK)


def test_remove_takes_away_only_what_is_ours(studio):
    before = everything(studio.root)
    studio.ok("setup", "--hooks", "--initials", "adt")
    result = studio.ok("setup", "--remove")
    assert everything(studio.root) == before
    assert "git commit -m 'No settings for merging' .gitattributes" in result.out
    assert studio.ok("setup", "--remove").out == "Nothing of fvc's is set here; nothing was changed.\n"


def test_remove_after_somebody_added_lines(studio):
    studio.ok("setup", "--hooks")
    text = studio.read(".gitattributes")
    studio.write(".gitattributes", "*.png binary\n" + text.replace("formulas/", "*.md text\nformulas/") + "*.txt text")
    studio.write(".git/info/attributes", studio.read(".git/info/attributes") + "*.csv text\r\n")
    studio.write(".git/hooks/post-merge", studio.read(".git/hooks/post-merge") + "echo merged\n")
    studio.git("config", "merge.fvc.note", "mine")
    studio.ok("setup", "--remove")
    assert studio.read(".gitattributes") == "*.png binary\n*.md text\n*.txt text"
    assert studio.read(".git/info/attributes") == "*.csv text\r\n"
    assert studio.read(".git/hooks/post-merge") == "#!/bin/sh\necho merged\n"
    assert not (studio.root / ".git/hooks/pre-commit").exists()
    assert studio.git("config", "--local", "--get-regexp", "fvc") == "merge.fvc.note mine\n"


def test_a_block_that_lost_one_of_its_marks_takes_nothing_along(studio):
    studio.ok("setup")
    text = studio.read(".gitattributes").replace("# fvc setup: to here\n", "*.png binary\n")
    studio.write(".gitattributes", text)
    studio.ok("setup")
    assert studio.read(".gitattributes") == text + ROWS
    studio.ok("setup", "--remove")
    assert "*.png binary\n" in studio.read(".gitattributes")


# --- hooks --------------------------------------------------------------------------------------------


def test_a_hook_of_somebody_else_is_never_touched_and_the_line_to_add_is_said(studio):
    theirs = '#!/bin/sh\necho "theirs"\n'
    studio.write(".git/hooks/post-merge", theirs)
    result = studio.ok("setup")
    assert studio.read(".git/hooks/post-merge") == theirs
    line = setting_up.hook_line("post-merge", "")
    assert f"add this line to .git/hooks/post-merge yourself:  {line}\n" in result.err
    assert states(studio)["post-merge"] == "missing"
    assert line in studio.fvc("setup", "--check").out
    studio.write(".git/hooks/post-merge", theirs + line + "\n").chmod(0o755)
    assert states(studio)["post-merge"] == "set"
    studio.ok("setup", "--remove")
    assert studio.read(".git/hooks/post-merge") == theirs + line + "\n"


def test_the_folder_of_hooks_that_git_is_told_of(studio, tmp_path):
    studio.git("config", "core.hooksPath", str(tmp_path / "outside"))
    result = studio.ok("setup", "--hooks")
    assert not (tmp_path / "outside").exists()
    assert f"add this line to {tmp_path}/outside/post-merge yourself" in result.err
    assert f"pre-commit is missing\n  next: it is left alone; add this line to {tmp_path}/outside/pre-commit yourself" in result.err
    assert "fvc setup --hooks" not in result.out
    studio.git("config", "core.hooksPath", ".hooks")
    result = studio.ok("setup", "--hooks")
    assert os.access(studio.root / ".hooks/pre-commit", os.X_OK)
    assert "keep it out of what you save" in result.out.replace("\n", " ")
    assert not (studio.root / ".git/hooks/pre-commit").exists()
    studio.git("config", "core.hooksPath", "")
    assert states(studio)["post-merge"] == "missing"


def saved_with_git(studio: Studio, *arguments: str, **env: str) -> Result:
    done = subprocess.run(["git", "-C", str(studio.root), "commit", *arguments], capture_output=True, text=True, env=os.environ | env)
    return Result(done.returncode, done.stdout, done.stderr)


@pytest.fixture
def watched(toner) -> Studio:
    """Toner T with a pH, so that nothing must be mended, and both hooks."""
    toner.ok("setup", "--hooks")
    return toner


def closed(studio: Studio) -> None:
    assert studio.fvc("check", "toner", "--stops") == Result(0, "", "")


def test_the_hook_before_a_save_refuses_only_what_must_be_mended(watched):
    closed(watched)
    watched.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.00")
    assert saved_with_git(watched, "-am", "fine").code == 0
    head = watched.git("rev-parse", "HEAD")
    for old, new, said in (
        ('water = "balance"', "water = 90.00", "the lines total"),
        ("propanediol = 2.00", "propanediol = = 2", "not readable as TOML"),
        ("preservative-blend = 0.90", "", "no preservative"),
    ):
        watched.edit("formulas/toner.toml", old, new)
        result = saved_with_git(watched, "-am", "x")
        assert result.code == 1, (new, result)
        assert said in " ".join(result.err.split()), result.err
        assert watched.git("rev-parse", "HEAD") == head
        watched.git("restore", "--staged", "--worktree", "formulas")
    watched.write("notes.txt", "a text")
    watched.git("add", "notes.txt")
    assert saved_with_git(watched, "-qm", "no plan in it") == Result(0, "", "")


def test_the_hook_looks_at_what_is_staged_not_at_the_folder(watched):
    watched.edit("formulas/toner.toml", 'water = "balance"', "water = 90.00")
    watched.git("add", "formulas")
    watched.edit("formulas/toner.toml", "water = 90.00", 'water = "balance"')
    assert saved_with_git(watched, "-m", "x").code == 1
    watched.git("add", "formulas")
    watched.edit("formulas/toner.toml", 'water = "balance"', "water = 90.00")
    watched.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.00")
    assert saved_with_git(watched, "--allow-empty", "-m", "x").code == 0
    assert saved_with_git(watched, "--only", "-m", "x", "formulas/toner.toml").code == 1


def test_records_count_as_they_are_staged(watched):
    watched.material("urea", "humectant", {"Urea": 100})
    watched.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.50\nurea = 1.00")
    watched.git("add", "formulas")
    result = saved_with_git(watched, "-m", "x")
    assert result.code == 1
    assert 'unknown material "urea"' in result.err
    assert "what is only in the folder counts once it is added" in " ".join(result.err.split())
    watched.git("add", "materials")
    assert saved_with_git(watched, "-m", "x").code == 0


def test_with_commit_only_the_index_that_git_names_is_read(watched):
    """git saves --only from an index beside the usual one, in which what is staged elsewhere is not."""
    watched.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.00")
    watched.formula("mist", {"A": {"water": "91.00"}})
    watched.git("add", "formulas/mist.toml")
    assert watched.ok("revise", "toner", "--reason", "less sticky").err == ""
    assert watched.git("status", "--porcelain") == "A  formulas/mist.toml\n"
    assert saved_with_git(watched, "-m", "x").code == 1


def test_staged_as_a_command(watched):
    assert watched.ok("check", "--staged").out == "No plan is staged that differs from what was last saved.\n"
    assert watched.json("check", "--staged")["plans"] == []
    watched.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.00")
    watched.write(
        "variants/toner/dry.toml",
        watched.read("formulas/toner.toml").replace("2.00", "1.00") + '\n[variant]\nparent = "toner.1"\nquestion = "Q?"\nstate = "open"\n',
    )
    watched.git("add", "-A")
    assert watched.json("check", "--staged")["plans"] == ["toner", "toner/dry"]
    watched.git("rm", "-q", "--cached", "formulas/toner.toml")
    assert watched.json("check", "--staged")["plans"] == ["toner/dry"]


def test_a_plan_that_a_merge_left_open_is_a_stop(studio):
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    both_edit(studio)
    merge(studio)
    result = studio.fvc("check", "--staged")
    assert result.code == 1
    assert "not settled yet" in result.out
    assert "fvc settle mist" in result.out


def test_the_hook_after_a_merge_tells_what_must_be_mended_and_never_fails(watched):
    watched.git("switch", "-qc", "other")
    watched.edit("formulas/toner.toml", 'water = "balance"', "water = 90.00")
    watched.git("commit", "-qam", "open", "--no-verify")
    watched.git("switch", "-q", "-")
    done = merge(watched)
    assert done.returncode == 0
    assert "Must be mended: toner, toner" in done.stdout + done.stderr
    watched.git("reset", "-q", "--hard", "HEAD~1")
    watched.git("switch", "-q", "other")
    watched.git("reset", "-q", "--hard", "main")
    watched.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.00")
    watched.git("commit", "-qam", "fine")
    watched.git("switch", "-q", "main")
    done = merge(watched)
    assert done.returncode == 0
    assert "mended" not in done.stdout + done.stderr


def test_the_hook_after_a_merge_names_only_what_the_merge_changed_and_counts_the_rest(watched):
    for name in ("mist", "foam"):
        watched.formula(name, {"A": {"water": "99.00"}})
    watched.git("add", "-A")
    watched.git("commit", "-qm", "not closed yet", "--no-verify")
    watched.git("switch", "-qc", "other")
    watched.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.00")
    watched.git("commit", "-qam", "fine")
    watched.git("switch", "-q", "main")
    done = merge(watched)
    assert (done.returncode, "mended:" in done.stdout + done.stderr) == (0, False)
    assert "2 others have what must be mended, and not by this merge: fvc check --stops" in " ".join((done.stdout + done.stderr).split())
    watched.git("switch", "-q", "other")
    watched.edit("formulas/mist.toml", "99.00", "98.00")
    watched.git("commit", "-qam", "worse", "--no-verify")
    watched.git("switch", "-q", "main")
    done = merge(watched)
    said = " ".join((done.stdout + done.stderr).split())
    assert "Must be mended: mist, mist" in said
    assert "foam" not in said
    assert "1 other has what must be mended" in said


def test_a_record_that_a_merge_brings_concerns_the_plans_that_use_it(watched):
    watched.formula("mist", {"A": {"water": "99.00"}})
    watched.git("add", "-A")
    watched.git("commit", "-qm", "not closed yet", "--no-verify")
    watched.git("switch", "-qc", "other")
    watched.edit("materials/propanediol.toml", "format = 1", "format = = 1")
    watched.git("commit", "-qam", "broken", "--no-verify")
    watched.git("switch", "-q", "main")
    done = merge(watched)
    said = " ".join((done.stdout + done.stderr).split())
    assert "Must be mended: toner, toner" in said
    assert "Must be mended: mist" not in said
    assert [p["plan"] if isinstance(p, dict) else p for p in watched.fvc("check", "--merged", "--json").data["plans"]] == ["toner"]
    assert "--merged chooses the plans itself" in watched.refused("check", "toner", "--merged")


def test_hooks_without_their_python_hinder_nothing_and_say_a_word(watched):
    python_nowhere(watched)
    watched.edit("formulas/toner.toml", 'water = "balance"', "water = 90.00")
    result = saved_with_git(watched, "-am", "x")
    assert result.code == 0
    assert "fvc is not where it was when this hook was made; in the folder of the formulary,  fvc setup  mends that" in result.err


def test_hooks_hinder_nothing_at_a_commit_before_the_formulary(tmp_path):
    top = Studio(tmp_path / "top")
    top.root.mkdir()
    top.git("init", "-q")
    top.git("commit", "-q", "--allow-empty", "-m", "nothing yet")
    studio = Studio.make(top.root / "shop", git=False)
    top.git("add", "-A")
    top.git("commit", "-qm", "shop")
    studio.ok("setup", "--hooks")
    top.git("switch", "-q", "--detach", "HEAD~2")
    assert not studio.root.exists()
    assert saved_with_git(top, "--allow-empty", "-qm", "x") == Result(0, "", "")


# --- for other commands -------------------------------------------------------------------------------


def test_only_the_private_part_for_who_asks_so(studio):
    archive = Archive.open(studio.root)
    assert "is not set up for fvc" in setting_up.unprepared(archive).message
    assert any("attributes" in line for line in setting_up.prepare(archive, shared=False))
    assert studio.git("status", "--porcelain") == ""
    assert in_force(studio) == MERGED
    assert setting_up.unprepared(archive) is None
    assert setting_up.prepare(archive, shared=False) == []
    assert {p.name: p.state for p in setting_up.parts(archive)}[".gitattributes"] == "missing"
    studio.git("config", "--unset", "diff.fvc.textconv")
    assert "only in part" in setting_up.unprepared(archive).message
    archive.close()


def test_todays_page_says_it_only_where_there_is_somebody_to_exchange_with(studio, tmp_path):
    assert studio.ok().err == ""
    studio.git("remote", "add", "origin", str(tmp_path / "shared.git"))
    assert "this copy is not set up for fvc" in studio.ok().err
    assert "fvc setup" in studio.ok().err
    studio.ok("setup")
    assert studio.ok().err == ""


# --- what git does with it ----------------------------------------------------------------------------


def driver(folder: Path, name: str, code: int) -> Path:
    """A folder to put before all others on Python's path, with a driver of the same name as ours that ends with this code."""
    stub = folder / name
    (stub / "fvc").mkdir(parents=True)
    (stub / "fvc/__init__.py").write_text("")
    (stub / "fvc/driver.py").write_text(
        f"import sys, pathlib\npathlib.Path({str(stub / 'said')!r}).write_text(' '.join(sys.argv[1:]))\n"
        f"if sys.argv[1] == 'merge' and {code} in (0, 64):\n    pathlib.Path(sys.argv[3]).write_text('merged\\n')\nsys.exit({code})\n"
    )
    return stub


@pytest.fixture
def two_edits(studio) -> Studio:
    studio.ok("setup")
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    both_edit(studio)
    return studio


def text_merge(studio: Studio, done: subprocess.CompletedProcess[str]) -> None:
    """git's own text merge took over: markers, both sides' lines, and a conflict that git knows of."""
    assert done.returncode == 1, done
    assert "CONFLICT" in done.stdout
    text = studio.read("formulas/mist.toml")
    for line in ("<<<<<<<", "water = 91.00", "glycerin = 10.00", "=======", "water = 90.00", "glycerin = 9.00", ">>>>>>>"):
        assert line in text
    assert studio.git("status", "--porcelain", "formulas") == "UU formulas/mist.toml\n"
    assert "water = 91.00" in studio.git("diff")
    assert "glycerin = 9.00" in studio.git("log", "-p", "other", "-1")
    assert "+glycerin = 9.00" in studio.git("diff", "main...other", "--", "formulas")


@pytest.mark.parametrize("code", [1, 2, 3, 70, 130])
def test_a_driver_that_fails_leaves_gits_own_merge_with_both_sides(two_edits, tmp_path, code):
    stub = driver(tmp_path, "stub", code)
    text_merge(two_edits, merge(two_edits, PYTHONPATH=str(stub)))


def test_a_python_that_is_gone_leaves_gits_own_merge_with_both_sides(two_edits):
    python_nowhere(two_edits)
    text_merge(two_edits, merge(two_edits))


def test_an_fvc_that_is_gone_leaves_gits_own_merge_with_both_sides(two_edits, tmp_path):
    empty = tmp_path / "stub"
    (empty / "fvc").mkdir(parents=True)
    (empty / "fvc/__init__.py").write_text("")
    text_merge(two_edits, merge(two_edits, PYTHONPATH=str(empty)))


def test_what_the_driver_wrote_is_kept_whether_it_settled_all_or_not(two_edits, tmp_path):
    done = merge(two_edits, PYTHONPATH=str(driver(tmp_path, "open", 64)))
    assert done.returncode == 1
    assert "CONFLICT" in done.stdout
    assert two_edits.read("formulas/mist.toml") == "merged\n"
    two_edits.git("merge", "--abort")
    stub = driver(tmp_path, "done", 0)
    assert merge(two_edits, PYTHONPATH=str(stub)).returncode == 0
    assert two_edits.git("show", "HEAD:formulas/mist.toml") == "merged\n"
    assert (stub / "said").read_text().startswith("merge .merge_file_")
