"""States a computer can be in: without git, without a repository, a full disk, Ctrl-C, a closed pipe."""

import errno
import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fvc.cli.main import main
from fvc.files import writer
from tests import toner as t
from tests.support import Studio

HOUSE = str(Path(__file__).parent.parent)


def environment(**more: str) -> dict[str, str]:
    return os.environ | {"PYTHONPATH": HOUSE, "PYTHONUTF8": "1"} | more


def everything(studio) -> dict[str, object]:
    """The folder, byte for byte, and what git has staged and saved."""
    files = {
        str(p.relative_to(studio.root)): p.read_bytes()
        for p in sorted(studio.root.rglob("*"))
        if p.is_file() and ".git" not in p.relative_to(studio.root).parts
    }
    git = [("ls-files", "--stage"), ("status", "--porcelain=v2", "--untracked-files=all"), ("log", "--all", "--format=%H")]
    return {"files": files} | {" ".join(words): studio.git(*words, check=False) for words in git}


def change(studio) -> None:
    """Unsaved work: a level, a new record, a changed record."""
    studio.material("urea", "humectant", {"Urea": 100})
    studio.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.50\nurea = 1.00")
    studio.edit("materials/panthenol-75.toml", '"Panthenol" = 75', '"Panthenol" = 74')


def hook(studio, name, script) -> None:
    studio.write(f".git/hooks/{name}", "#!/bin/sh\n" + script).chmod(0o755)


# --- without git, without a repository ---------------------------------------------------------------


@pytest.fixture
def no_git(tmp_path) -> dict[str, str]:
    """An environment in which no program called git is found."""
    (tmp_path / "empty").mkdir()
    return {"PATH": str(tmp_path / "empty")}


def test_without_git_the_folder_is_still_read(toner, no_git):
    sheet = toner.json("sheet", "toner", env=no_git)
    assert sheet["total_percent"] == "100"
    assert sheet["saved"] is False
    assert toner.json("weigh", "toner", "--batch", "175g", env=no_git)["total_g"] == "175"
    assert "no git here" in toner.ok("sheet", "toner", env=no_git).out
    assert "toner" in toner.ok(env=no_git).out


def test_without_git_what_needs_history_says_so(toner, no_git):
    for arguments in (
        ("diff", "toner"),
        ("sheet", "toner.1"),
        ("history", "toner"),
        ("trace", "toner", "water"),
        ("revise", "toner", "--reason", "x"),
    ):
        said = toner.refused(*arguments, env=no_git)
        assert "git is not installed, or not on the PATH" in said, arguments


def test_without_git_two_formulas_of_the_folder_are_compared(toner, no_git):
    toner.write("formulas/mist.toml", toner.read("formulas/toner.toml").replace("propanediol = 3.00", "propanediol = 2.00"))
    lines = toner.json("diff", "toner", "mist", env=no_git)["lines"]
    assert next(line["points"] for line in lines if line["material"] == "propanediol") == "-1"


def test_without_git_a_plan_can_be_changed_and_nothing_strange_is_left_behind(toner, no_git):
    toner.ok("set", "toner", "propanediol=2.5", "--save", env=no_git)
    assert "propanediol = 2.5\n" in toner.read("formulas/toner.toml")
    assert toner.git("status", "--porcelain") == " M formulas/toner.toml\n"


def test_without_git_a_new_formulary_can_be_begun(tmp_path, no_git):
    here = Studio(tmp_path)
    result = here.ok("new", "formulary", "studio", env=no_git)
    assert "git is not installed" in result.err
    studio = Studio(tmp_path / "studio")
    studio.ok("new", "formula", "mist", "A:water=balance", env=no_git)
    assert studio.json("sheet", "mist", env=no_git)["total_percent"] == "100"


def test_without_a_repository_sheets_work_and_history_says_what_to_do(plain_folder):
    studio = Studio.make(plain_folder / "shelf", git=False)
    t.write(studio)
    assert studio.json("sheet", "toner")["saved"] is False
    assert studio.json("weigh", "toner")["batch_g"] == "180"
    studio.ok("set", "toner", "propanediol=2.5", "--save")
    for arguments in (("diff", "toner"), ("history", "toner"), ("trace", "toner", "water"), ("revise", "toner", "--reason", "x")):
        said = studio.refused(*arguments)
        assert "not in a git repository" in said
        assert "git init" in said


def test_without_a_formulary_it_says_how_to_begin(plain_folder):
    here = Studio(plain_folder)
    assert "fvc new formulary" in here.refused("sheet", "toner")
    assert "fvc new formulary" in here.ok().out


def test_in_a_folder_that_is_gone(toner, tmp_path):
    gone = tmp_path / "gone"
    gone.mkdir()
    script = f'cd "{gone}" && rmdir "{gone}" && exec "{sys.executable}" -P -m fvc sheet toner'
    done = subprocess.run(["sh", "-c", script], env=environment(), capture_output=True, text=True)
    assert done.returncode == 2
    assert "the current folder does not exist any more" in done.stderr


# --- states of a repository --------------------------------------------------------------------------


def test_before_the_first_save(tmp_path):
    studio = Studio.make(tmp_path / "new", git=False)
    t.write(studio)
    studio.git("init", "-q")
    assert studio.json("sheet", "toner")["saved"] is False
    assert "has not been saved yet" in studio.refused("diff", "toner")
    assert "nothing has been saved in this repository yet" in studio.refused("sheet", "toner.1")
    assert "fvc revise toner --reason TEXT" in studio.ok("history", "toner").out
    assert studio.json("history", "toner")["revisions"] == []
    assert studio.json("trace", "toner", "propanediol")["levels"][0]["after_percent"] == "3.00"


def test_at_an_old_commit_everything_can_be_read(toner):
    toner.ok("set", "toner", "propanediol=2.50", "--reason", "less sticky")
    toner.git("checkout", "-q", "--detach", "HEAD~1")
    assert toner.json("sheet", "toner")["revision"] == 1
    assert toner.json("sheet", "toner")["saved"] is True
    assert [row["revision"] for row in toner.json("history", "toner")["revisions"]] == [1]
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.80")
    assert toner.json("diff", "toner")["before"]["revision"] == 1
    assert "no revision 2" in toner.refused("sheet", "toner.2")


def test_in_the_middle_of_a_merge_the_good_plans_can_be_read(toner):
    toner.formula("mist", {"A": {"water": "balance", "propanediol": "2.00"}})
    toner.ok("revise", "mist", "--reason", "first plan")
    toner.git("switch", "-qc", "bea")
    toner.ok("set", "toner", "propanediol=2.00", "--reason", "drier")
    toner.git("switch", "-q", "main")
    toner.ok("set", "toner", "propanediol=4.00", "--reason", "richer")
    toner.git("merge", "-q", "bea", check=False)
    assert "<<<<<<<" in toner.read("formulas/toner.toml")
    assert toner.json("sheet", "mist")["saved"] is True
    assert "formulas/toner.toml" in toner.refused("sheet", "toner")
    assert toner.json("sheet", "toner.2")["lines"][1]["percent"] == "4.00"


def test_a_repository_of_somebody_else_says_what_git_says(toner):
    # git's own switch for its tests of safe.directory
    foreign = {"GIT_TEST_ASSUME_DIFFERENT_OWNER": "1"}
    assert toner.json("sheet", "toner", env=foreign)["total_percent"] == "100"
    said = toner.refused("history", "toner", env=foreign)
    assert "dubious ownership" in said
    assert "git config --global --add safe.directory" in said


def test_a_repository_that_is_broken_says_so_and_the_folder_is_still_read(toner):
    (toner.root / ".git/HEAD").write_text("nonsense\n")
    assert toner.json("sheet", "toner")["total_percent"] == "100"
    assert toner.refused("history", "toner")


def test_an_object_that_is_missing_from_git_is_told(toner):
    toner.ok("set", "toner", "propanediol=2.50", "--reason", "less sticky")
    blob = toner.git("rev-parse", "HEAD~1:formulas/toner.toml").strip()
    (toner.root / ".git/objects" / blob[:2] / blob[2:]).unlink()
    assert toner.json("sheet", "toner")["revision"] == 2
    assert "git" in toner.refused("sheet", f"toner.{toner.git('rev-parse', 'HEAD~1').strip()}")


def test_git_in_another_language_says_the_same(plain_folder):
    studio = Studio.make(plain_folder / "shelf", git=False)
    t.write(studio)
    for language in ("de_DE.UTF-8", "fr_FR.UTF-8", "C"):
        env = {"LANG": language, "LC_ALL": language, "LANGUAGE": language[:2]}
        assert "not in a git repository" in studio.refused("history", "toner", env=env)


# --- a disk that is full or may not be written ---------------------------------------------------------


@pytest.mark.parametrize(
    "step, number, said",
    [
        ("os.fsync", errno.ENOSPC, "the disk is full; nothing was changed"),
        ("os.fsync", errno.EIO, "Input/output error; nothing was changed"),
        ("os.chmod", errno.EPERM, "it may not be written (permissions); nothing was changed"),
        ("os.replace", errno.ENOSPC, "the disk is full; nothing was changed"),
        ("os.replace", errno.EROFS, "the disk is read-only; nothing was changed"),
        ("tempfile.mkstemp", errno.ENOSPC, "the disk is full; nothing was changed"),
        ("tempfile.mkstemp", errno.EACCES, "it may not be written (permissions); nothing was changed"),
    ],
)
@pytest.mark.parametrize("command", [["set", "toner", "propanediol=2.5", "--save"], ["revise", "toner", "--reason", "drier"]])
def test_a_disk_that_fails_while_writing_loses_nothing(toner, monkeypatch, capsys, command, step, number, said):
    change(toner)
    before = everything(toner)
    monkeypatch.chdir(toner.root)
    module, function = step.split(".")
    module = getattr(writer, module)
    real = getattr(module, function)

    def fails(*arguments, **options):
        if "toner.toml" in str(options.get("prefix", "")) or any(".toner.toml." in str(a) for a in arguments) or function == "fsync":
            raise OSError(number, os.strerror(number))
        return real(*arguments, **options)

    monkeypatch.setattr(module, function, fails)
    assert main(command) == 2
    monkeypatch.undo()
    err = capsys.readouterr().err
    assert f"formulas/toner.toml: cannot be written: {said}" in err
    assert "next:" in err
    assert everything(toner) == before


@pytest.mark.parametrize("command", [["set", "toner", "propanediol=2.5", "--reason", "drier"], ["revise", "toner", "--reason", "drier"]])
def test_a_disk_that_is_full_by_the_time_git_has_failed_loses_nothing(toner, monkeypatch, capsys, command):
    change(toner)
    hook(toner, "pre-commit", "echo 'No space left on device' >&2\nexit 1\n")
    before = everything(toner)
    monkeypatch.chdir(toner.root)
    room = [2, 1][command[0] == "revise"]  # for as many new files as are written before git fails
    real = writer.tempfile.mkstemp

    def filling_up(**options):
        nonlocal room
        if not room:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        room -= 1
        return real(**options)

    monkeypatch.setattr(writer.tempfile, "mkstemp", filling_up)
    assert main(command) == 2
    err = capsys.readouterr().err
    assert "No space left on device" in err
    assert "changed on disk" not in err
    assert room == 0
    assert everything(toner) == before
    assert not list((toner.root / ".git").glob("fvc-*"))


def test_git_that_cannot_write_leaves_the_folder_as_it_was(toner):
    change(toner)
    before = everything(toner)
    objects = toner.root / ".git/objects"
    objects.rename(toner.root / ".git/kept")
    objects.write_text("no folder any more")
    said = toner.refused("revise", "toner", "--reason", "urea in")
    objects.unlink()
    (toner.root / ".git/kept").rename(objects)
    assert "git" in said
    assert everything(toner) == before


def test_a_file_that_may_not_be_written_is_left(toner, monkeypatch, capsys):
    monkeypatch.chdir(toner.root)
    plan = toner.root / "formulas/toner.toml"
    plan.chmod(0o444)
    monkeypatch.setattr(os, "access", lambda path, mode: mode != os.W_OK)  # as for anybody but root
    before = everything(toner)
    assert main(["set", "toner", "propanediol=2.5", "--save"]) == 2
    monkeypatch.undo()
    assert "it may not be written (permissions); nothing was changed" in capsys.readouterr().err
    assert everything(toner) == before


def test_the_mode_and_the_link_of_a_plan_are_kept(toner):
    plan = toner.root / "formulas/toner.toml"
    plan.rename(toner.root / "formulas/real.text")
    plan.symlink_to("real.text")
    plan.chmod(0o640)
    toner.ok("set", "toner", "propanediol=2.5", "--save")
    assert plan.is_symlink()
    assert (toner.root / "formulas/real.text").stat().st_mode & 0o777 == 0o640
    assert "propanediol = 2.5\n" in toner.read("formulas/real.text")


def test_a_full_disk_behind_the_output_is_no_fault_of_the_tool(toner):
    with open("/dev/full", "wb") as full:
        for arguments in (["sheet", "toner"], ["sheet", "toner", "--json"], ["--help"]):
            done = subprocess.run(
                [sys.executable, "-m", "fvc", *arguments], cwd=toner.root, env=environment(), stdout=full, stderr=subprocess.PIPE, text=True
            )
            assert done.returncode == 2, (arguments, done.stderr)
            assert "No space left on device" in done.stderr
            assert "next:" in done.stderr


# --- Ctrl-C ----------------------------------------------------------------------------------------


def wait_for(path: Path, process: subprocess.Popen) -> None:
    """Until a hook says that it runs."""
    end = time.monotonic() + 20
    while not path.exists():
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < end
        time.sleep(0.01)


def start(studio, *arguments) -> subprocess.Popen:
    return subprocess.Popen(
        [sys.executable, "-m", "fvc", *arguments],
        cwd=studio.root,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        text=True,
    )


@pytest.mark.parametrize("name", ["pre-commit", "commit-msg"])
@pytest.mark.parametrize("to", ["the tool alone", "everything in the terminal"])
def test_stopped_while_git_saves_the_folder_is_as_it_was(toner, to, name):
    change(toner)
    hook(toner, name, "touch .git/running\nsleep 30\n")
    before = everything(toner)
    process = start(toner, "revise", "toner", "--reason", "urea in")
    wait_for(toner.root / ".git/running", process)
    if to == "the tool alone":
        process.send_signal(signal.SIGINT)
    else:
        os.killpg(process.pid, signal.SIGINT)
    begun = time.monotonic()
    process.wait(timeout=20)
    assert time.monotonic() - begun < 10  # it does not wait for the hook to sleep its fill
    with_children_gone(process)
    assert process.returncode == 130
    assert process.stderr.read() == "stopped\n"
    assert everything(toner) == before
    assert not (toner.root / ".git/index.lock").exists()
    (toner.root / ".git/hooks" / name).unlink()
    assert toner.json("revise", "toner", "--reason", "urea in")["revision"] == 2


def with_children_gone(process) -> None:
    """End a hook that still sleeps in the session of the test, so that its pipes close."""
    try:
        os.killpg(process.pid, signal.SIGKILL)
    except ProcessLookupError:
        pass


def test_stopped_after_git_has_saved_it_stays_saved_as_a_whole(toner):
    change(toner)
    hook(toner, "post-commit", "touch .git/running\nsleep 30\n")
    process = start(toner, "revise", "toner", "--reason", "urea in")
    wait_for(toner.root / ".git/running", process)
    process.send_signal(signal.SIGINT)
    process.wait(timeout=20)
    with_children_gone(process)
    assert "Saved toner revision 2" in process.stdout.read()
    assert "revision = 2" in toner.read("formulas/toner.toml")
    assert toner.git("status", "--porcelain") == ""
    assert toner.json("sheet", "toner.2")["saved"] is True


def test_setting_with_a_reason_that_is_stopped_leaves_the_plan_as_it_was(toner):
    hook(toner, "pre-commit", "touch .git/running\nsleep 30\n")
    before = everything(toner)
    process = start(toner, "set", "toner", "propanediol=2.5", "--reason", "less sticky")
    wait_for(toner.root / ".git/running", process)
    process.send_signal(signal.SIGINT)
    process.wait(timeout=20)
    with_children_gone(process)
    assert process.returncode == 130
    assert everything(toner) == before


@pytest.mark.parametrize("command", [("revise", "toner", "--reason", "urea in"), ("set", "toner", "propanediol=2.5", "--save")])
def test_stopped_at_any_time_the_plan_is_old_or_new_and_never_half(toner, command):
    change(toner)
    old = toner.read("formulas/toner.toml")
    new = old.replace("revision = 1", "revision = 2") if command[0] == "revise" else old.replace("propanediol = 3.00", "propanediol = 2.5")
    before = everything(toner)
    begun = time.monotonic()
    toner.ok("sheet", "toner")
    step = (time.monotonic() - begun) / 8  # so that some moments fall into the writing, on any computer
    results = []
    while not results or results[-1] != 0:
        process = start(toner, *command)
        time.sleep(step * (1 + len(results)))
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=20)
        after = toner.read("formulas/toner.toml")
        assert after in (old, new)
        # -2, or one of these words of Python's own: it was stopped while Python itself was starting, before any line of fvc
        starting = any(words in str(said) for words in ("Could not import runpy", "Fatal Python error: init_"))
        assert process.returncode in (0, 130, -signal.SIGINT) or starting, said
        assert process.returncode != 0 or after == new
        if command[0] == "set":
            toner.write("formulas/toner.toml", old)
        elif after == new:  # then it is saved, and whole
            assert toner.git("status", "--porcelain") == ""
            toner.git("reset", "-q", "--hard", "HEAD~1")
            change(toner)
        assert not (toner.root / ".git/index.lock").exists()
        assert everything(toner) == before
        results.append(process.returncode)
    assert 130 in results


def test_a_question_that_is_stopped_writes_nothing(toner):
    import pty

    before = everything(toner)
    leader, follower = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "fvc", "set", "toner", "propanediol=2.5"],
        cwd=toner.root,
        env=environment(TERM="dumb"),
        stdin=follower,
        stdout=follower,
        stderr=follower,
        start_new_session=True,
    )
    os.close(follower)
    screen = b""
    while b"[y/N]" not in screen and select.select([leader], [], [], 30)[0]:
        screen += os.read(leader, 4096)
    for _ in range(10):  # Python looks up only once it reads: a person presses it again, too
        process.send_signal(signal.SIGINT)
        try:
            process.wait(timeout=1)
            break
        except subprocess.TimeoutExpired:
            pass
    os.close(leader)
    assert process.wait(timeout=20) == 130
    assert everything(toner) == before


# --- pipes -----------------------------------------------------------------------------------------


@pytest.fixture
def long_history(toner) -> Studio:
    """A history that is longer than what fits into a pipe."""
    text = toner.read("formulas/toner.toml")
    for n in range(2, 22):
        method = " ".join(f"Step {n}.{i}: stir, wait, and look." for i in range(200))
        toner.write(
            "formulas/toner.toml", text.replace("revision = 1", f"revision = {n}").replace("[phase.B]", f'[phase.B]\nmethod = "{method}"')
        )
        toner.save_as("Ada", "2026-03-01", message=f"toner {n}: again\n\n" + "x" * 2000)
    return toner


@pytest.mark.parametrize(
    "arguments", ["history toner", "history toner --json", "diff toner.1", "sheet toner --json", "", "--help", "set toner propanediol=2"]
)
def test_a_pipe_that_closes_ends_it_silently(long_history, arguments):
    command = f'set -o pipefail; "{sys.executable}" -m fvc {arguments} | head -n 1'
    done = subprocess.run(["bash", "-c", command], cwd=long_history.root, env=environment(), capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("\n") == 1


@pytest.mark.parametrize("arguments", ["history toner", "history toner --json", "sheet toner", "trace toner water"])
def test_a_reader_that_never_reads_ends_it_silently(long_history, arguments):
    command = f'set -o pipefail; "{sys.executable}" -m fvc {arguments} | true'
    done = subprocess.run(["bash", "-c", command], cwd=long_history.root, env=environment(), capture_output=True, text=True)
    assert (done.returncode, done.stderr, done.stdout) == (0, "", "")


@pytest.mark.parametrize("closed", [">&-", ">&- 2>&-", "<&-", "<&- >&- 2>&-"])
def test_closed_streams_are_no_fault(toner, closed):
    for arguments in ("sheet toner", "sheet toner --json", "set toner propanediol=2", "", "--version"):
        command = f'"{sys.executable}" -m fvc {arguments} {closed}'
        done = subprocess.run(["bash", "-c", command], cwd=toner.root, env=environment(), capture_output=True, text=True)
        assert (done.returncode, done.stderr) == (0, ""), arguments


def test_a_revision_is_saved_with_closed_streams(toner):
    change(toner)
    command = f'"{sys.executable}" -m fvc revise toner --reason "urea in" <&- >&- 2>&-'
    assert subprocess.run(["bash", "-c", command], cwd=toner.root, env=environment()).returncode == 0
    assert toner.git("log", "-1", "--format=%s").strip() == "toner 2: urea in"
    assert toner.git("status", "--porcelain") == ""


def test_a_screen_that_lacks_a_letter_shows_a_question_mark_and_data_stay_whole(toner):
    toner.edit("formulas/toner.toml", "[phase.A]\n", '[phase.A]\nheat = "70 °C"\n')
    plain = {"PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    assert "70 ?C" in toner.ok("sheet", "toner", env=plain).out
    toner.edit("formulas/toner.toml", 'title = "toner"', 'title = "Größe"')
    assert toner.json("sheet", "toner", env=plain)["title"] == "Größe"
