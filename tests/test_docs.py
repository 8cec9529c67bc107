"""The documentation as tests: its examples are run, its generated parts are compared with the code.

How an example is written, in README.md and docs/*.md:

- a fenced block with the info string `console` is run: a line `$ ...` is a command, the lines below
  it are what it prints (both outputs, in order). The blocks of a page run in order, in one shell, in
  a temporary folder of the page's own; `fvc` is the tool under test;
- what is printed must be the same, except for spaces at line ends; a word of eight hexadecimal
  digits stands for any commit id; a line `...` stands for any number of lines, and `...` inside a
  line for any text;
- a command must end with 0, unless the next command is `echo $?`;
- a block after the mark `<!-- save as PATH -->` is written to that path, as if typed in an editor.

`python -m tests.test_docs` runs the examples and writes what they print today into the pages;
where a block holds `...` and more than its spacing differs, it says so and leaves the block to you.
"""

import difflib
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

import pytest

from fvc.cli import reference
from fvc.cli.commands import EVERY
from fvc.files.materials import read_material
from fvc.files.plans import read_plan
from fvc.files.schema import TABLES
from fvc.files.settings import read_formulary
from fvc.files.trials import read_trial

ROOT = Path(__file__).resolve().parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
SET_UP = "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/fvc demo"
TEST = ".venv/bin/pip install '.[test]' && .venv/bin/python -m pytest"

READERS = {
    "formulary": lambda data: read_formulary(data),
    "material": lambda data: read_material(data, "x", "x"),
    "formula": lambda data: read_plan(data, "x", "x"),
    "variant": lambda data: read_plan(data, "x", "x", variant=True),
    "trial": lambda data: read_trial(data, "x", "x"),
}

_BLOCK = re.compile(r"^(?:<!-- save as (?P<file>\S+) -->\n)?```(?P<kind>\w*)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)


class Step(NamedTuple):
    """A command of an example with the lines that it is said to print, or a file to write."""

    line: int
    command: str
    says: tuple[str, ...] = ()
    file: str = ""


def steps_of(page: str) -> list[Step]:
    """The runnable steps of a page, in order; `line` is where each stands."""
    steps = []
    for block in _BLOCK.finditer(page):
        line = page.count("\n", 0, block.start("text")) + 1
        if block["file"]:
            steps.append(Step(line, block["text"], file=block["file"]))
        elif block["kind"] == "console":
            rows = block["text"].splitlines()
            assert rows[0].startswith("$ "), f"line {line}: a console block begins with a command"
            starts = [i for i, row in enumerate(rows) if row.startswith("$ ")]
            for start, end in zip(starts, [*starts[1:], len(rows)], strict=True):
                steps.append(Step(line + start, rows[start][2:], tuple(rows[start + 1 : end])))
    return steps


def run(steps: list[Step], folder: Path) -> list[tuple[int, list[str]]]:
    """Run the steps in one shell; the exit code and the printed lines of each."""
    tools = folder / "tools"
    work = folder / "work"
    tools.mkdir()
    work.mkdir()
    tool = tools / "fvc"
    tool.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m fvc "$@"\n')
    tool.chmod(0o755)
    script = ["exec 2>&1"]
    for number, step in enumerate(steps):
        if step.file:
            script.append(f"cat > '{step.file}' <<'END-OF-FILE'\n{step.command}END-OF-FILE")
        else:
            script.append(step.command)
        script.append(f"__code=$?; printf '\\001%s %s\\n' {number} $__code; (exit $__code)")
    me = {"NAME": "Your Name", "EMAIL": "you@example.org", "DATE": "2026-03-01T10:00:00+01:00"}
    who = {f"GIT_{role}_{k}": v for role in ("AUTHOR", "COMMITTER") for k, v in me.items()}
    done = subprocess.run(
        ["bash", "-c", "\n".join(script)],
        capture_output=True,
        stdin=subprocess.DEVNULL,
        cwd=work,
        env=os.environ
        | who
        | {"PATH": f"{tools}{os.pathsep}{os.environ['PATH']}", "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1", "PYTHONUTF8": "1"},
        timeout=300,
    )
    pieces = re.split(r"\001(\d+) (\d+)\n", done.stdout.decode())
    assert [int(n) for n in pieces[1::3]] == list(range(len(steps))), done.stdout.decode() + done.stderr.decode()
    return [(int(code), [row.rstrip() for row in text.splitlines()]) for text, code in zip(pieces[0::3], pieces[2::3], strict=False)]


def pattern(says: tuple[str, ...]) -> re.Pattern[str]:
    """What a step may print, as a pattern over its lines."""
    out = ""
    for row in says:
        if row == "...":
            out += r"(?:.*\n)*?"
            continue
        row = re.escape(row.rstrip()).replace(r"\.\.\.", ".*")
        out += re.sub(r"\b(?=[0-9a-f]*[0-9])[0-9a-f]{8}\b", "[0-9a-f]{8}", row) + "\n"
    return re.compile(out)


def matches(step: Step, printed: list[str]) -> bool:
    """True when what was printed is what the page says."""
    return bool(pattern(step.says).fullmatch("".join(f"{row}\n" for row in printed)))


def examples() -> list[Path]:
    """The pages that hold examples to run."""
    return [page for page in PAGES if page.is_file() and any(not s.file for s in steps_of(page.read_text(encoding="utf-8")))]


@pytest.mark.parametrize("page", examples(), ids=lambda p: p.name)
def test_examples_of_a_page_print_what_it_says(page, tmp_path):
    steps = steps_of(page.read_text(encoding="utf-8"))
    results = run(steps, tmp_path)
    wrong = []
    for index, (step, (code, printed)) in enumerate(zip(steps, results, strict=True)):
        may_fail = index + 1 < len(steps) and steps[index + 1].command == "echo $?"
        if code != 0 and not may_fail:
            wrong.append(f"{page.name}:{step.line}: exit {code}: {step.command}\n" + "\n".join(printed))
        if not step.file and not matches(step, printed):
            lines = difflib.unified_diff([s.rstrip() for s in step.says], printed, "the page", "the tool", lineterm="")
            wrong.append(f"{page.name}:{step.line}: {step.command}\n" + "\n".join(lines))
    assert not wrong, "\n\n".join(wrong) + "\n\nlook, then renew with  python -m tests.test_docs"


def test_the_readme_opens_with_a_job_and_the_two_commands():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = [b["text"] for b in _BLOCK.finditer(text)]
    assert blocks[0] == SET_UP + "\n"
    assert blocks[1] == TEST + "\n"


def test_ci_runs_the_test_command_of_the_readme():
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "[test,lint]" in script
    assert "-m pytest" in script
    assert os.access(ROOT / ".ci" / "run", os.X_OK)


def test_command_reference_is_current():
    assert (ROOT / "docs" / "commands.md").read_text(encoding="utf-8") == reference.command_page(), "renew: python -m fvc.cli.reference"


@pytest.mark.parametrize("name", EVERY)
def test_command_reference_says_all_that_the_help_says(name):
    done = subprocess.run(
        [sys.executable, "-m", "fvc", *name.split(), "--help"],
        capture_output=True,
        cwd=ROOT,
        env=os.environ | {"COLUMNS": "200", "PYTHONUTF8": "1"},
        check=True,
    )
    section = reference.command_section(EVERY[name])
    for option in re.findall(r"^\s+(--[a-z-]+)", done.stdout.decode(), re.MULTILINE):
        assert option == "--help" or f"`{option}" in section


def test_field_tables_are_current():
    page = (ROOT / "docs" / "file-formats.md").read_text(encoding="utf-8")
    assert sorted(re.findall(r"<!-- fields of ([a-z]+)", page)) == sorted(TABLES)
    assert reference.with_field_tables(page) == page, "renew: python -m fvc.cli.reference"


@pytest.mark.parametrize("kind", TABLES)
def test_example_files_can_be_read(kind):
    page = (ROOT / "docs" / "file-formats.md").read_text(encoding="utf-8")
    data = _toml_of(page, kind) if kind != "variant" else _toml_of(page, "formula") + _toml_of(page, "variant")
    parsed = READERS[kind](data.encode())
    assert parsed.value is not None, parsed.faults
    assert not parsed.warnings


def _toml_of(page: str, kind: str) -> str:
    section = next(s for s in re.split(r"^## ", page, flags=re.MULTILINE) if f"<!-- fields of {kind}," in s)
    return re.search(r"^```toml\n(.*?)^```$", section, re.MULTILINE | re.DOTALL)[1]


def test_json_page_names_every_key(toner):
    page = (ROOT / "docs" / "json.md").read_text(encoding="utf-8")
    known = set(re.findall(r"`\"?([a-z_]+)\"?`", page))

    def keys(value):
        if isinstance(value, dict):
            return set(value) | set().union(*(keys(v) for v in value.values()), set())
        return set().union(*(keys(v) for v in value), set()) if isinstance(value, list) else set()

    calls = [
        ("sheet", "toner"), ("weigh", "toner"), ("diff", "toner"), ("set", "toner", "betaine=1.0", "--save"), ("diff", "toner"),
        ("revise", "toner", "--reason", "less"), ("history", "toner"), ("trace", "toner", "betaine"), (),
        ("swap", "toner", "propanediol", "panthenol-75", "--basis", "active"), ("stand-ins", "toner", "betaine"),
        ("swap", "toner", "propanediol", "betaine", "--basis", "as-supplied", "--as", "dry"), ("variant", "list"),
        ("variant", "show", "toner", "dry"), ("variant", "compare", "toner"), ("variant", "carry", "toner", "dry"),
        ("variant", "adopt", "toner", "dry"), ("ladder", "toner", "betaine", "1", "2"), ("knockout", "toner", "betaine"),
    ]  # fmt: skip
    for call in calls:
        missing = keys(toner.json(*call)) - known
        assert not missing, f"docs/json.md does not name {sorted(missing)} of {call}"
    toner.edit("formulas/toner.toml", '"balance"', "92")
    for way in (("--all", "--keep", "betaine", "--base", "1kg"), ("--into", "water")):
        assert not keys(toner.json("retotal", "toner", *way)) - known


@pytest.mark.parametrize("page", [p for p in PAGES if p.is_file()], ids=lambda p: p.name)
def test_links_lead_somewhere(page):
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text):
        assert (page.parent / target).exists(), f"{page.name} links to {target}"
    for target, anchor in re.findall(r"\]\(([^)#:]*)#([^)]*)\)", text):
        other = (page.parent / target) if target else page
        heads = re.findall(r"^#+ (.*)$", other.read_text(encoding="utf-8"), re.MULTILINE)
        anchors = {re.sub(r"[^\w\- ]", "", h.lower()).replace(" ", "-") for h in heads}
        assert anchor in anchors, f"{page.name} links to {target}#{anchor}"


def realigned(says: tuple[str, ...], printed: list[str]) -> list[str]:
    """The lines of a page spaced as the tool spaces them today; those that it does not print stay as they are."""
    out, start = [], 0
    for row in says:
        found = next((i for i in range(start, len(printed)) if printed[i].split() == row.split()), None)
        if row != "..." and found is not None:
            start = found + 1
        out.append(row if row == "..." or found is None else printed[found])
    return out


def renew(page: Path) -> None:
    """Write what the examples of a page print today into it; where lines are left out, only the spacing."""
    text = page.read_text(encoding="utf-8")
    steps = steps_of(text)
    with tempfile.TemporaryDirectory() as folder:
        results = run(steps, Path(folder))
    rows = text.split("\n")
    for step, (_, printed) in reversed(list(zip(steps, results, strict=True))):
        if step.file or matches(step, printed):
            continue
        now = realigned(step.says, printed) if any("..." in row for row in step.says) else printed
        if not matches(step._replace(says=tuple(now)), printed):
            print(f"{page.name}:{step.line}: differs and holds ..., mend it by hand: {step.command}\n" + "\n".join(printed))
            continue
        rows[step.line : step.line + len(step.says)] = now
        print(f"{page.name}:{step.line}: renewed: {step.command}")
    page.write_text("\n".join(rows), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    for each in examples():
        renew(each)
