"""A difference as Markdown, for the page on which a host shows a proposed change."""

import io
import shutil
import subprocess

import pytest

from fvc.show.markdown import Markdown, escaped


def toner(studio):
    for id in ("propanediol", "betaine"):
        studio.material(id, "humectant", {id.title(): 100})
    studio.formula("toner", {"A": {"water": "balance", "propanediol": "3.00"}})
    studio.ok("revise", "toner", "--reason", "the start")
    studio.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.50\nbetaine = 1.00")


def test_a_diff_as_markdown(studio):
    toner(studio)
    out = studio.ok("diff", "toner", "--format", "markdown").out
    assert out.startswith("before toner.")
    assert (
        "### Lines (grams at 100 g)\n\n"
        "|  | material | phase | before % | after % | points | rel. % | g |\n"
        "| :-- | :-- | :-- | --: | --: | --: | --: | --: |\n"
        "| lowered | propanediol | A | 3.00 | 2.50 | -0.50 | -16.7 | -0.50 |\n"
        "| added | betaine | A | - | 1.00 | +1.00 |  | +1.00 |\n"
        "| followed | water | A | 97.00 | 96.50 | -0.50 | -0.5 | -0.50 |\n\n"
    ) in out


def test_another_form_is_refused_with_the_ones_there_are(studio):
    toner(studio)
    assert "--format markdown" in studio.refused("diff", "toner", "--format", "html")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a | b", "a \\| b"),
        ("<img src=x>", "\\<img src=x\\>"),
        ("[x](y)", "\\[x\\](y)"),
        ("@everybody", "@\u200beverybody"),
        ("a\nb", "a b"),
        ("# x", "\\# x"),
    ],
)
def test_text_of_a_file_means_nothing_to_markdown(text, shown):
    assert escaped(text) == shown


def test_lists_tables_and_paragraphs_are_kept_apart():
    out = io.StringIO()
    page = Markdown(out)
    page.say("one")
    page.say("two")
    page.say("a", 2)
    page.say("b", 4)
    page.say("", 0)
    page.head("Head", "aside")
    assert out.getvalue() == "one\n\ntwo\n\n- a\n  - b\n\n### Head (aside)\n"


def recipe(page: str) -> str:
    return page.partition("```sh\n")[2].partition("```")[0]


def test_the_recipe_of_the_page_runs_on_a_proposed_change(studio, tmp_path):
    """What docs/collaborator.md gives for a host is run as it stands there, on a real change."""
    from tests.test_driver import ROOT

    toner(studio)
    first = studio.git("rev-parse", "HEAD").strip()
    studio.save_as("Bea", "2026-03-04", "formulas", message="skin felt dry")
    bin = tmp_path / "bin"
    bin.mkdir()
    import os
    import sys

    (bin / "fvc").write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m fvc "$@"\n')
    (bin / "fvc").chmod(0o755)
    script = recipe((ROOT / "docs/collaborator.md").read_text())
    assert "fvc check" in script
    env = os.environ | {"PATH": f"{bin}:{os.environ['PATH']}", "BEFORE": first}
    shell = shutil.which("sh")
    assert shell
    done = subprocess.run([shell, "-c", script], cwd=studio.root, env=env, capture_output=True)
    assert done.returncode == studio.fvc("check").code == 1, done.stderr.decode()  # a water-based plan without preservative
    page = (studio.root / "review.md").read_text()
    assert "| lowered | propanediol | A | 3.00 | 2.50 |" in page
