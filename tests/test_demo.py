"""`fvc demo`: an invented studio with a history that is worth looking at."""

import os
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path

import pytest

from fvc.demo import in_order, read_story, source_folder
from tests.support import Studio

SOURCE = source_folder()


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> tuple[Studio, str]:
    """The demo, built once for all tests that only look at it, and what it printed."""
    here = Studio(tmp_path_factory.mktemp("demo"))
    out = here.ok("demo", "try this").out
    return Studio(here.root / "try this"), out


@pytest.fixture
def demo(built) -> Studio:
    """The folder of the demo."""
    return built[0]


def files(folder: Path, *kinds: str) -> dict[str, bytes]:
    """Files below a folder by their path, of some folders only."""
    found = (p for kind in kinds for p in folder.glob(f"{kind}/**/*.toml"))
    return {str(p.relative_to(folder)): p.read_bytes() for p in found}


def plans(studio) -> list[str]:
    return [row["plan"] for row in studio.json()["plans"]]


def test_it_shows_the_main_job_and_says_what_to_try_next(built):
    _, out = built
    assert out.startswith("Built try this: ")
    shown = [
        "$ fvc sheet face-toner",
        "$ fvc diff face-toner.4 face-toner.5",
        "$ fvc trace face-toner propanediol",
        "$ fvc history face-toner",
        "$ fvc trial show ft-260412-mt-a",
    ]
    places = [out.index(command) for command in [*shown, "Now try it yourself:"]]
    assert places == sorted(places)
    assert "swap: glycerin out, betaine in (humectant)" in out
    assert "invented" in out
    assert max(map(len, out.split("\n"))) <= 80


def test_what_it_says_to_try_works(built):
    demo, out = built
    tried = [line.strip() for line in out.partition("Now try it yourself:")[2].split("\n") if line.strip().startswith("fvc")]
    assert len(tried) >= 5
    for line in tried:
        words = line.split("   ")[0].split()
        if "--reason" not in words:
            demo.ok(*words[1:])


def test_building_it_step_by_step_ends_in_what_the_folder_shows(demo):
    kinds = ("formulas", "materials", "variants", "trials")
    assert files(demo.root, *kinds) == files(SOURCE, *kinds)
    assert demo.read("formulary.toml") == (SOURCE / "formulary.toml").read_text(encoding="utf-8")
    assert demo.git("status", "--porcelain") == ""


def test_every_step_and_batch_of_the_story_is_a_commit_by_its_author_on_its_day(demo):
    story = read_story(SOURCE)
    log = demo.git("log", "--reverse", "--format=%an|%aI|%cn|%cI").strip().split("\n")
    assert log == [
        "|".join([person := story["people"][step["by"]]["name"], when := step["at"].isoformat(), person, when])
        for step, _ in in_order(story)
    ]
    times = [step["at"] for step, _ in in_order(story)]
    assert times == sorted(times)
    assert len(times) == len(story["step"]) + len(story["batch"])


def test_it_has_what_was_promised(demo):
    assert len(files(demo.root, "materials")) >= 18
    assert len(plans(demo)) == len(set(plans(demo)))
    variants = files(demo.root, "variants")
    assert len(variants) >= 2
    revisions = [(plan, row) for plan in plans(demo) for row in demo.json("history", plan)["revisions"] if row["kind"] == "revision"]
    assert len(revisions) >= 14
    assert len({row["author"] for _, row in revisions}) == 2
    days = sorted(row["date"][:10] for _, row in revisions)
    assert days[0][:7] < days[-1][:7]
    assert all(len(row["reason"]) >= 20 for _, row in revisions)
    assert len({row["reason"] for _, row in revisions}) == len(revisions)


def test_a_supplier_changed_a_strength(demo):
    changes = [
        change
        for row in demo.json("history", "face-toner")["revisions"]
        for change in row["materials_changed"]
        if change["field"].startswith("composition.") and change["material"] in {p.stem for p in (SOURCE / "materials").iterdir()}
    ]
    assert [(c["material"], c["before"], c["after"]) for c in changes] == [("sodium-lactate-solution", "60.0", "58.0")]


def test_the_toner_is_the_one_of_the_story(demo):
    sheet = demo.json("sheet", "face-toner")
    levels = {line["material"]: line["level"] for line in sheet["lines"]}
    functions = {line["material"]: line["function"] for line in sheet["lines"]}
    assert "balance" in levels.values()
    assert "open" in levels.values()
    assert any(" x (" in level for level in levels.values())  # oils held by a solubiliser
    assert list(functions.values()).count("essential oil") == 2
    assert {"humectant", "hydrosol", "extract", "premix", "buffer", "pH adjuster"} <= set(functions.values())
    assert functions["preservative-premix"] == "premix"  # a formula that stands as a material
    plan = tomllib.loads(demo.read("formulas/face-toner.toml"))
    assert "heat" in plan["phase"]["A"]
    assert "ph" in plan["spec"]


def test_every_plan_of_today_can_be_weighed(demo):
    for plan in plans(demo):
        result = demo.ok("sheet", plan)
        assert "warning" not in result.err, plan
        sheet = demo.json("sheet", plan)
        assert (sheet["total_percent"], sheet["closed"], sheet["saved"]) == ("100", True, True)
        weigh = demo.json("weigh", plan, "--scale", "0.01g")
        assert weigh["total_g"] == weigh["batch_g"]


def test_every_revision_closes_and_says_its_number(demo):
    for plan in plans(demo):
        for row in demo.json("history", plan)["revisions"]:
            assert row["problem"] is None, row
            if row["kind"] == "revision":
                sheet = demo.json("sheet", f"{plan}.{row['revision']}")
                assert (sheet["commit"], sheet["total_percent"], sheet["closed"]) == (row["commit"], "100", True)
                assert row["label"] == str(row["revision"])


def test_the_numbers_of_every_plan_run_on_without_a_gap(demo):
    for plan in plans(demo):
        numbers = [row["revision"] for row in demo.json("history", plan)["revisions"] if row["kind"] == "revision"]
        assert numbers == list(range(len(numbers), 0, -1)), plan


def test_reasons_and_figures_agree(demo):
    body = demo.git("log", "--grep", "^face-toner 2:", "--format=%b").strip().split("\n")
    assert body[:2] == ["propanediol 4.00 to 3.00 (-1.00)", "water 68.75 to 69.75 (+1.00, followed)"]


def test_variants_are_compared_with_the_revision_they_depart_from(demo):
    for path in files(demo.root, "variants"):
        name = path.removeprefix("variants/").removesuffix(".toml")
        about = tomllib.loads(demo.read(path))["variant"]
        data = demo.json("diff", name)
        assert data["before"]["ref"] == about["parent"]
        assert about["plan_id"] == demo.git("rev-parse", f"{data['before']['commit']}:formulas/face-toner.toml").strip()
        assert any(line["kind"] != "same" for line in data["lines"])


def test_run_twice_it_looks_again_and_builds_nothing(tmp_path):
    here = Studio(tmp_path)
    here.ok("demo", "studio")
    studio = Studio(tmp_path / "studio")
    studio.edit("formulas/face-toner.toml", "propanediol                 = 3.20", "propanediol                 = 3.10")
    before = (studio.git("log", "--format=%H"), studio.read("formulas/face-toner.toml"))
    out = here.ok("demo", "studio").out
    assert "studio is there already" in out
    assert "$ fvc history face-toner" in out
    assert (studio.git("log", "--format=%H"), studio.read("formulas/face-toner.toml")) == before
    assert studio.json("revise", "face-toner", "--reason", "my own first try")["revision"] == 13


def test_two_demos_are_the_same_to_the_last_commit(built, tmp_path):
    Studio(tmp_path).ok("demo", "again")
    assert Studio(tmp_path / "again").git("rev-parse", "HEAD") == built[0].git("rev-parse", "HEAD")


def test_a_folder_that_holds_something_is_left_alone(tmp_path):
    here = Studio(tmp_path)
    here.write("mine/notes.txt", "do not lose me\n")
    said = here.refused("demo", "mine")
    assert "mine is not empty" in said
    assert "fvc demo DIR" in said
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["notes.txt"]
    here.write("file", "a file\n")
    assert "is not empty" in here.refused("demo", "file")
    (tmp_path / "empty").mkdir()
    assert here.ok("demo", "empty").out.startswith("Built empty")


def test_without_git_it_says_so_and_leaves_nothing(tmp_path):
    here = Studio(tmp_path)
    (tmp_path / "bin").mkdir()
    assert "git is not installed" in here.refused("demo", "studio", env={"PATH": str(tmp_path / "bin")})
    assert not (tmp_path / "studio").exists() or not any((tmp_path / "studio").iterdir())


def test_stopped_in_the_middle_it_leaves_no_half_of_it(tmp_path):
    here = Studio(tmp_path)
    process = subprocess.Popen(
        [sys.executable, "-m", "fvc", "demo", "studio"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    while not (tmp_path / "studio/formulas/hand-wash.toml").exists():
        assert process.poll() is None, process.communicate()
        time.sleep(0.005)
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=30)
    assert process.returncode == 130
    assert list((tmp_path / "studio").iterdir()) == []
    assert here.ok("demo", "studio").out.startswith("Built studio")


def test_without_a_name_of_ones_own_it_is_still_built(tmp_path):
    Studio(tmp_path).ok("demo", "studio", env={"GIT_CONFIG_GLOBAL": "/dev/null"})


def test_hooks_and_signing_of_the_maker_do_not_touch_it(tmp_path):
    hooks = tmp_path / "hooks"
    hooks.mkdir()
    (hooks / "pre-commit").write_text("#!/bin/sh\nexit 1\n")
    (hooks / "pre-commit").chmod(0o755)
    with open(os.environ["GIT_CONFIG_GLOBAL"], "a") as config:
        config.write(f'[core]\n\thooksPath = "{hooks}"\n[commit]\n\tgpgSign = true\n[gpg]\n\tprogram = /no/such/program\n')
    Studio(tmp_path).ok("demo", "studio")


def test_it_can_be_read_without_the_tool():
    readme = (SOURCE / "README.md").read_text(encoding="utf-8")
    assert "invented" in readme
    assert "face-toner" in readme


def test_no_file_of_the_story_is_missing_or_left_over():
    moments = in_order(read_story(SOURCE))
    used = set()
    last = {path: earlier for step, earlier in moments for path in step["files"]}
    for step, earlier in moments:
        for path in step["files"]:
            used.add(f"{earlier.as_posix()}/{path}" if earlier != last[path] else path)
    have = {p.relative_to(SOURCE).as_posix() for p in SOURCE.rglob("*.toml")} - {"story.toml"}
    assert have == used
