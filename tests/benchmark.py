"""How fast, as ratios within one run: `python tests/benchmark.py` (docs/speed.md says what it measures).

Run it with the Python of a virtual environment into which fvc was installed from a wheel
(`pip install .`), so that what is measured is compiled once, as it is for a maker. Prints a table
and exits with 1 when a bound is broken. It is no part of the tests: a loaded machine must not
turn a correct program red.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import sysconfig
import tempfile
import time
from pathlib import Path

PYTHON = sys.executable
FVC = str(Path(sysconfig.get_path("scripts")) / "fvc")
BARE = [PYTHON, "-c", "pass"]
YARDSTICK = [PYTHON, "-c", "import typer, rich.console, rich.table, tomllib, subprocess"]
ENV = os.environ | {
    "GIT_AUTHOR_NAME": "Bench",
    "GIT_AUTHOR_EMAIL": "bench@studio.example",
    "GIT_COMMITTER_NAME": "Bench",
    "GIT_COMMITTER_EMAIL": "bench@studio.example",
    "GIT_CONFIG_GLOBAL": os.devnull,
}
ENV.pop("PYTHONDONTWRITEBYTECODE", None)

FUNCTIONS = ["solvent", "humectant", "emollient", "thickener", "preservative", "extract", "solubiliser", "pH adjuster"]


# What is on such a shelf: humectants, buffers, preservatives, gums, fats, emulsifiers, an extract, an oil, some that fvc does not know.
INCI = (
    "Glycerin", "Propanediol", "Caprylic/Capric Triglyceride", "Xanthan Gum", "Sodium Benzoate", "Camellia Sinensis Leaf Extract",
    "Polysorbate 20", "Citric Acid", "Betaine", "Pentylene Glycol", "Helianthus Annuus Seed Oil", "Hydroxyethylcellulose",
    "Potassium Sorbate", "Hydrolyzed Rice Protein", "Sorbitan Oleate", "Sodium Lactate", "Panthenol", "Sodium Citrate", "Squalane",
    "Cetearyl Alcohol", "Phenoxyethanol", "Citrus Aurantium Amara Flower Oil", "Glyceryl Stearate", "Lactic Acid", "Invented Substance",
)  # fmt: skip


def material(index: int) -> str:
    """A record of the size that real ones have."""
    return (
        f'format    = 1\nname      = "Material {index}"\nfunction  = ["{FUNCTIONS[index % len(FUNCTIONS)]}"]\nuse_level = [0.1, 10]\n'
        f'price     = "{index + 1}.90 / 250 g"\ndensity   = 1.0{index % 10}\nsupplier  = "supplier {index % 4}"\n'
        f'source    = "sheet {index}, 2026-01 (invented)"\n[composition]\n"{INCI[index % len(INCI)]}" = {50 + index % 50}\n"Aqua" = "balance"\n'
    )


def plan(name: str, revision: int, levels: dict[str, str]) -> str:
    """A plan of 15 lines in three phases."""
    lines = list(levels.items())
    text = f'format   = 1\ntitle    = "{name}"\nrevision = {revision}\nuse      = ["leave-on"]\nbatch    = "200 g"\n'
    for phase, some in (("A", lines[:6]), ("B", lines[6:10]), ("C", lines[10:])):
        text += f'\n[phase.{phase}]\nmethod = "Stir until even."\n[phase.{phase}.percent]\n'
        text += "".join(f"{m} = {level}\n" for m, level in some)
    return text


def build(folder: Path, commits: int, formulas: int, revisions: int) -> None:
    """A repository by git fast-import: `revisions` of plan-0, the other commits spread over the other plans."""
    rng = random.Random(20260301)
    materials = [f"m{i:02d}" for i in range(40)]
    names = [f"plan-{i}" for i in range(formulas)]
    levels = {}
    for name in names:
        chosen = rng.sample(materials, 14)
        levels[name] = {"water": '"balance"'} | {m: f"{rng.randint(10, 400) / 100:.2f}" for m in chosen}
    numbers = dict.fromkeys(names, 1)
    stream: list[str] = []

    def data(text: str) -> str:
        return f"data {len(text.encode())}\n{text}\n"

    def commit(number: int, message: str, files: dict[str, str]) -> None:
        stream.append(f"commit refs/heads/main\nmark :{number}\ncommitter Bench <bench@studio.example> {1700000000 + number * 600} +0100\n")
        stream.append(data(message))
        stream.extend(f"M 100644 inline {path}\n{data(text)}" for path, text in files.items())

    first = {"formulary.toml": 'format = 1\nname = "Bench"\n', "materials/water.toml": material(0)}
    first |= {f"materials/{m}.toml": material(i) for i, m in enumerate(materials)}
    first |= {f"formulas/{n}.toml": plan(n, 1, levels[n]) for n in names}
    commit(1, "Start", first)
    due = set(rng.sample(range(2, commits + 1), revisions - 1))
    for number in range(2, commits + 1):
        name = names[0] if number in due or formulas == 1 else names[rng.randint(1, formulas - 1)]
        line = rng.choice([m for m in levels[name] if m != "water"])
        levels[name][line] = f"{rng.randint(10, 400) / 100:.2f}"
        numbers[name] += 1
        files = {f"formulas/{name}.toml": plan(name, numbers[name], levels[name])}
        if number % 500 == 0:  # a supplier's new sheet now and then
            index = rng.randrange(40)
            files[f"materials/m{index:02d}.toml"] = material(index).replace("2026-01", f"2026-{number % 12 + 1:02d}")
        commit(number, f"{name} {numbers[name]}: tried another level of {line}", files)
    folder.mkdir(parents=True)
    subprocess.run(["git", "init", "-q", "-b", "main", str(folder)], check=True, env=ENV)
    subprocess.run(["git", "-C", str(folder), "fast-import", "--quiet"], input="".join(stream).encode(), check=True, env=ENV)
    subprocess.run(["git", "-C", str(folder), "reset", "-q", "--hard", "main"], check=True, env=ENV)


def best(commands: dict[str, list[str]], folder: Path, rounds: int, *, fails: bool = False) -> dict[str, float]:
    """The fastest of `rounds` runs of each command, all interleaved; seconds. fails: an answer of no is an answer."""
    fastest = dict.fromkeys(commands, float("inf"))
    for _ in range(rounds):
        for name, command in commands.items():
            start = time.perf_counter()
            subprocess.run(command, cwd=folder, env=ENV, stdout=subprocess.DEVNULL, check=not fails)
            fastest[name] = min(fastest[name], time.perf_counter() - start)
    return fastest


ESTIMATED = """\
format = 1
title = "A mist of 25 lines"
revision = 1
use = ["leave-on"]
batch = "200 g"
[spec]
ph = [4.4, 4.9]
[phase.A]
[phase.A.percent]
water = "balance"
polysorbate-20 = "6 x (neroli-oil + sweet-orange-oil)"
neroli-oil = 0.12
sweet-orange-oil = 0.08
"""
# Of what a mist holds, each once: weak acids and their salts, other salts, solutes, preservatives, extracts.
HELD = {
    "Citric Acid": 0.3, "Sodium Citrate": 0.4, "Lactic Acid": 0.2, "Sodium Lactate": 0.9, "Sodium Benzoate": 0.4, "Potassium Sorbate": 0.2,
    "Sodium PCA": 0.5, "Sodium Chloride": 0.1, "Phytic Acid": 0.1, "Glycerin": 2, "Propanediol": 2, "Pentylene Glycol": 1, "Betaine": 1.5,
    "Panthenol": 0.5, "Sorbitol": 1, "Allantoin": 0.2, "Xanthan Gum": 0.1, "Phenoxyethanol": 0.5, "Inositol": 0.5, "Urea": 1, "Sucrose": 0.5,
}  # fmt: skip


def mist(folder: Path, batches: int) -> None:
    """A formulary with one plan of 25 lines, as many batches of it, each read by the meter and looked at twice; nothing is saved."""
    records = {"water": ("solvent", "Aqua"), "polysorbate-20": ("solubiliser", "Polysorbate 20")}
    records |= {"neroli-oil": ("essential oil", "Citrus Aurantium Amara Flower Oil")}
    records |= {"sweet-orange-oil": ("essential oil", "Citrus Aurantium Dulcis Peel Oil")}
    levels = {"water": 84.7, "polysorbate-20": 1.2, "neroli-oil": 0.12, "sweet-orange-oil": 0.08}
    text = ESTIMATED
    for inci, level in HELD.items():
        id = inci.lower().replace(" ", "-")
        records[id], levels[id] = ("humectant", inci), level
        text += f"{id} = {level}\n"
    for name in ("materials", "formulas", "trials/mist"):
        (folder / name).mkdir(parents=True)
    (folder / "formulary.toml").write_text('format = 1\nname = "Bench"\n', encoding="utf-8")
    (folder / "formulas/mist.toml").write_text(text, encoding="utf-8")
    bodies = {i: f'name = "{i}"\nfunction = ["{f}"]\n%s"{inci}" = 100\n' for i, (f, inci) in records.items()}
    for id, body in bodies.items():
        (folder / f"materials/{id}.toml").write_text("format = 1\n" + body % "[composition]\n", encoding="utf-8")
    asked = "".join(f'{{ phase = "A", material = "{i}", percent = {level} }},\n' for i, level in levels.items())
    own = "".join(f"[materials.{i}]\n" + body % f"[materials.{i}.composition]\n" for i, body in bodies.items())
    for number in range(batches):
        day = f"2026-{number // 28 + 1:02}-{number % 28 + 1:02}"
        entries = [f'weighed = "{i}"\ngrams = {2 * level:.2f}\nphase = "A"\n' for i, level in levels.items()]
        entries += ['seen = "clear, pH 4.62, meter"\ncondition = "room"\nday = 0\nph = 4.62\nph_by = "meter"\nclarity = "clear"\n']
        entries += ['seen = "clear"\ncondition = "fridge"\nday = 7\nclarity = "clear"\n']
        rows = (f'[[entry]]\nid = "e-{n}"\nat = {day}T11:{n:02}:00+01:00\n{each}' for n, each in enumerate(entries))
        head = f'format = 1\nplan = "mist.1"\nbatch = "200 g"\nscale = "0.01 g"\nstarted = {day}T10:00:00+01:00\nuse = ["leave-on"]\n'
        record = f"{head}asked = [\n{asked}]\n[phase.A]\n{own}{''.join(rows)}"
        (folder / f"trials/mist/mist-{number:03}.toml").write_text(record, encoding="utf-8")
    subprocess.run(["git", "init", "-q", "-b", "main", str(folder)], check=True, env=ENV)


MERGED = 200


def two_sides(folder: Path) -> None:
    """A formulary that is set up, with a branch on which each of 200 plans has another level raised than on this one."""

    def git(*arguments: str) -> None:
        subprocess.run(["git", "-C", str(folder), *arguments], check=True, env=ENV, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)

    files = sorted((folder / "formulas").glob("*.toml"))
    texts = [file.read_text(encoding="utf-8") for file in files]
    for branch, row in (("other", -1), ("main", 7)):
        git("checkout", "-q", "-b" if branch == "other" else "-q", branch)
        for file, text in zip(files, texts, strict=True):
            rows = text.splitlines(keepends=True)
            at = [i for i, line in enumerate(rows) if line.startswith("m")][row]
            rows[at] = rows[at].partition("=")[0] + "= 4.44\n"
            file.write_text("".join(rows), encoding="utf-8")
        git("commit", "-qam", branch)


def merge_each(folder: Path, rounds: int) -> float:
    """Seconds that one file takes in a git merge of all of them, the fastest of some rounds."""
    fastest, quiet = float("inf"), subprocess.DEVNULL
    for _ in range(rounds):
        start = time.perf_counter()
        subprocess.run(["git", "-C", str(folder), "merge", "-q", "--no-edit", "other"], check=True, env=ENV, stdout=quiet, stderr=quiet)
        fastest = min(fastest, time.perf_counter() - start)
        subprocess.run(["git", "-C", str(folder), "reset", "-q", "--hard", "HEAD^"], check=True, env=ENV)
    return fastest / MERGED


def main() -> int:
    """Measure and print; 1 when a bound is broken."""
    broken = []

    def row(what: str, value: float, bound: float, unit: str) -> None:
        verdict = "" if value <= bound else "   ABOVE THE BOUND"
        broken.extend([what] if verdict else [])
        print(f"  {what:<58} {value:7.2f} {unit:<18} at most {bound:g}{verdict}")

    with tempfile.TemporaryDirectory() as temporary:
        small, large, many = (Path(temporary) / name for name in ("small", "large", "many"))
        build(small, 6, 1, 6)
        print("Start-up, cold, the best of 25 runs each")
        took = best(
            {
                "bare": BARE,
                "yardstick": YARDSTICK,
                "diff": [FVC, "diff", "plan-0.4", "plan-0.5"],
                "version": [FVC, "--version"],
                "help": [FVC, "--help"],
            },
            small,
            25,
        )
        print(f"  a bare interpreter: {took['bare'] * 1000:.1f} ms; the yardstick of imports: {took['yardstick'] * 1000:.1f} ms")
        row("fvc diff of two saved revisions, 15 lines", took["diff"] / took["yardstick"], 1.3, "yardsticks")
        row("fvc diff of two saved revisions, 15 lines", took["diff"] / took["bare"], 15, "bare interpreters")
        row("fvc --version", took["version"] / took["bare"], 6, "bare interpreters")
        row("fvc --help", took["help"] / took["bare"], 8, "bare interpreters")
        print("A long history: 10,000 commits, 50 formulas, one of them with 200 revisions; the best of 5 runs")
        build(large, 10_000, 50, 200)
        took = best(
            {
                "git": ["git", "log", "-p", "--", "formulas/plan-0.toml"],
                "history": [FVC, "history", "plan-0"],
                "diff": [FVC, "diff", "plan-0"],
            },
            large,
            5,
        )
        print(f"  git log -p of the file: {took['git'] * 1000:.0f} ms; fvc history: {took['history'] * 1000:.0f} ms")
        row("fvc history, start of the interpreter included", took["history"] / took["git"], 3, "git log -p")
        alone = subprocess.run(
            [PYTHON, "-c", f"import resource,subprocess; subprocess.run([{FVC!r}, 'history', 'plan-0'], stdout=subprocess.DEVNULL); "
             "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024)"],
            cwd=large, env=ENV, capture_output=True, text=True, check=True,
        )  # fmt: skip
        row("fvc history, memory at its peak (git included)", float(alone.stdout), 150, "MB")
        print("A whole formulary checked: 500 plans of 15 lines; the best of 5 runs")
        build(many, 502, 500, 2)
        took = best({"bare": BARE, "one": [FVC, "check", "plan-0"], "all": [FVC, "check"]}, many, 5, fails=True)
        each = (took["all"] - took["one"]) / 499
        row("fvc check, a plan beyond start-up", each * 1000, 5, "ms")
        row("fvc check, a plan beyond start-up", each / took["bare"], 0.5, "bare interpreters")
        print("All properties of a plan of 25 lines; the best of 25 runs")
        for batches in (0, 14, 150):
            folder = Path(temporary) / f"mist{batches}"
            mist(folder, batches)
            took = best({"bare": BARE, "sheet": [FVC, "sheet", "mist"], "all": [FVC, "sheet", "mist", "--properties"]}, folder, 25)
            more = took["all"] - took["sheet"]
            if batches:
                print(
                    f"  with {batches} batches, each read and looked at: {more * 1000:.0f} ms, {more / took['bare']:.1f} bare interpreters"
                )
                continue
            row("fvc sheet --properties, beyond fvc sheet", more * 1000, 30, "ms")
            row("fvc sheet --properties, beyond fvc sheet", more / took["bare"], 3, "bare interpreters")
        print("A shelf of 500 more materials, one in eight with the function asked for; the best of 15 runs")
        shelf = Path(temporary) / "shelf"
        build(shelf, 6, 1, 6)
        for index in range(500):
            (shelf / f"materials/x{index:03d}.toml").write_text(material(index), encoding="utf-8")
        plan_text = (shelf / "formulas/plan-0.toml").read_text(encoding="utf-8")
        wanted = next(m for m in (f"m{i:02d}" for i in range(1, 40, len(FUNCTIONS))) if f"\n{m} = " in plan_text)
        took = best({"sheet": [FVC, "sheet", "plan-0"], "stand-ins": [FVC, "stand-ins", "plan-0", wanted]}, shelf, 15)
        row("fvc stand-ins", took["stand-ins"] / took["sheet"], 2, "fvc sheet")
        print(f"What git calls: the best of 25 starts, and one git merge of {MERGED} plans that both sides changed, the best of 3")
        pair = Path(temporary) / "pair"
        build(pair, MERGED + 1, MERGED, 1)
        subprocess.run([FVC, "setup"], cwd=pair, env=ENV, check=True, stdout=subprocess.DEVNULL)
        two_sides(pair)
        for name, commit in (("base", "HEAD^"), ("first", "HEAD"), ("second", "other")):
            shown = subprocess.run(
                ["git", "-C", str(pair), "show", f"{commit}:formulas/plan-0.toml"], check=True, env=ENV, capture_output=True
            )
            (Path(temporary) / name).write_bytes(shown.stdout)
        driver = [PYTHON, "-P", "-m", "fvc.driver"]
        took = best(
            {
                "bare": BARE,
                "merge": [*driver, "merge", "base", "first", "second", "7", "--path=formulas/plan-0.toml"],
                "text": [*driver, "text", "base"],
            },
            Path(temporary),
            25,
        )
        row("the merge of one plan", took["merge"] / took["bare"], 6, "bare interpreters")
        row("the text of a plan for git's diff", took["text"] / took["bare"], 6, "bare interpreters")
        each = merge_each(pair, 3)
        row("a plan in a merge of many", each * 1000, 60, "ms")
        row("a plan in a merge of many", each / took["bare"], 6, "bare interpreters")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
