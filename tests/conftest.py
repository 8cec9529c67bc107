"""Real files, real git, and a home folder that no test can touch."""

import gc
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from fvc.cli.main import main
from tests import toner as t
from tests.support import Result, Studio

# a shell that starts the tests in the background lets them ignore Ctrl-C, and so all they start
signal.signal(signal.SIGINT, signal.default_int_handler)

# "ci" is what .ci/run uses; the counts in docs/numbers.md are of that profile.
settings.register_profile("ci", max_examples=1000, deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True)
settings.register_profile("quick", max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("FVC_TEST_PROFILE", "ci" if os.environ.get("CI") else "quick"))


def pytest_collection_modifyitems(items):
    """What forks this process goes first, while it is small: copying a large one takes longer than what is tested."""
    items.sort(key=lambda item: item.path.name != "test_record_survives.py")


def pytest_collection_finish():
    """What was collected stays to the end, so Python need not look through it for garbage again and again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def _home(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("home")


@pytest.fixture(autouse=True)
def _own_home(_home, monkeypatch):
    """Every test has a home with nothing in it: git reads no configuration of whoever runs the tests."""
    home = _home
    for name in list(os.environ):
        if name.startswith("GIT_"):
            monkeypatch.delenv(name)
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(home / ".config"))
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", str(home / ".gitconfig"))
    # the checkout's own fvc, compiled once for all the tests instead of at each of some thousand starts
    monkeypatch.delenv("PYTHONDONTWRITEBYTECODE", raising=False)
    monkeypatch.setenv(
        "PYTHONPYCACHEPREFIX", os.environ.get("PYTHONPYCACHEPREFIX") or str(Path(tempfile.gettempdir()) / "fvc-tests-compiled")
    )
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.delenv("FORCE_COLOR", raising=False)
    (home / ".gitconfig").write_text("[user]\n\tname = Ada Test\n\temail = ada@studio.example\n[init]\n\tdefaultBranch = main\n")
    yield home
    left = sorted(p.name for p in home.iterdir())
    if left != [".gitconfig"]:
        shutil.rmtree(home)
        home.mkdir()
    assert left == [".gitconfig"], f"a test wrote into the home folder: {left}"


_MADE: dict[Callable[..., object], Path] = {}


@pytest.fixture
def prepared(tmp_path, tmp_path_factory) -> Callable[..., Path]:
    """A folder that takes many processes to make: made once for all tests of a process, each of which has a copy of its own.

    `prepared(make, *more)` gives a copy of what `make(folder, *more)` made there.
    """

    def copy(make: Callable[..., object], *more: object) -> Path:
        if make not in _MADE:
            made = tmp_path_factory.mktemp("prepared") / "studio"
            make(made, *more)
            _MADE[make] = made
        folder = tmp_path / "studio"
        shutil.copytree(_MADE[make], folder, symlinks=True)
        for config in (*folder.glob(".git/config"), *folder.glob("*/.git/config")):  # its own, or those of several makers in it
            config.write_text(config.read_text().replace(str(_MADE[make]), str(folder)))  # a place beside it
            subprocess.run(["git", "-C", str(config.parent.parent), "update-index", "-q", "--refresh"], check=True)  # other inodes
        return folder

    return copy


@pytest.fixture
def studio(tmp_path) -> Studio:
    """An empty formulary in a git repository, with the means to fill and question it."""
    return Studio.make(tmp_path / "studio")


@pytest.fixture
def toner(prepared) -> Studio:
    """The formulary of toner T (tests/toner.py), saved as revision 1."""
    return Studio(prepared(t.saved))


@pytest.fixture
def plain_folder(tmp_path) -> Path:
    """A folder that is in no git repository."""
    folder = tmp_path / "plain"
    folder.mkdir()
    done = subprocess.run(["git", "-C", str(folder), "rev-parse"], capture_output=True)
    assert done.returncode != 0, "the temporary folder of the tests lies inside a git repository"
    return folder


@pytest.fixture
def run_in(monkeypatch, capsys):
    """Command lines run in this process in a folder: `run_in(folder)(*arguments, code=0)` gives a Result."""

    def in_folder(folder):
        monkeypatch.chdir(folder)

        def run(*arguments: str, code: int = 0) -> Result:
            result = Result(main(arguments), *capsys.readouterr())
            assert result.code == code, result
            assert code != 2 or "next:" in result.err
            return result

        return run

    return in_folder
