"""Random merges with real git, held against an independent statement of what must be kept (tests/merge_cases.py).

Every chunk is one repository: each of its plans is changed on two lines of work, which one `git merge` brings together. The
quick profile draws 120 triples, CI 2,000; FVC_MERGES=20000 as many as you like.

`python -m tests.test_merge_random 2000` prints the figures of docs/merging.md: git's own text merge beside fvc's.
"""

import os
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import settings

from tests.merge_cases import HUNDRED, Triple, UnclosedError, Wish, faults, read, total_of, triple, wish

CHUNKS = 10
MERGES = int(os.environ.get("FVC_MERGES") or (2000 if settings.default.max_examples >= 1000 else 120))
ROOT = Path(__file__).parent.parent


def git(folder: Path, *arguments: str, fine: tuple[int, ...] = (0,)) -> str:
    """Plain git in a folder."""
    who = ("-c", "user.name=Ada Test", "-c", "user.email=ada@studio.example", "-c", "gc.auto=0")
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(["git", "-C", str(folder), *who, *arguments], capture_output=True, env=env)
    assert done.returncode in fine, (arguments, done.returncode, done.stderr.decode())
    return done.stdout.decode()


class Outcome(NamedTuple):
    """What a merge made of one triple."""

    text: str
    conflict: bool


def repository(folder: Path, triples: dict[int, Triple], *, fvc: bool) -> Path:
    """A formulary with two lines of work, `first` and `second`; with fvc's merge set up or as plain git has it."""
    (folder / "formulas").mkdir(parents=True)
    (folder / "materials").mkdir()
    (folder / "formulary.toml").write_bytes(b'format = 1\nname = "Test studio"\ncurrency = "EUR"\n')
    git(folder, "init", "-q", "-b", "first")
    if fvc:
        subprocess.run(
            [sys.executable, "-m", "fvc", "setup"], cwd=folder, env=os.environ | {"PYTHONPATH": str(ROOT)}, check=True, capture_output=True
        )
    for side, commands in (("base", ("branch second",)), ("first", ("checkout -q second",)), ("second", ("checkout -q first",))):
        for number, drawn in triples.items():
            (folder / f"formulas/p{number:05}.toml").write_bytes(getattr(drawn, side).encode())
        git(folder, "add", "-A")
        git(folder, "commit", "-q", "--no-verify", "-m", side)
        for command in commands:
            git(folder, *command.split())
    return folder


def merge(folder: Path, numbers: range) -> dict[int, Outcome]:
    """Bring both lines of work together."""
    git(folder, "merge", "-q", "--no-edit", "second", fine=(0, 1))
    unmerged = {line.partition("\t")[2] for line in git(folder, "ls-files", "-u", "-z").split("\0")}
    names = {n: f"formulas/p{n:05}.toml" for n in numbers}
    return {n: Outcome((folder / name).read_bytes().decode(), name in unmerged) for n, name in names.items()}


def chunk(number: int, merges: int = MERGES) -> dict[int, Triple]:
    """The triples of a chunk."""
    return {n: triple(n) for n in range(number * merges // CHUNKS, (number + 1) * merges // CHUNKS)}


def shown(number: int, drawn: Triple, outcome: Outcome, wrong: list[str]) -> str:
    """A merge that went wrong, to be read by a person."""
    sides = zip(("before", "first", "second", "merged"), (*drawn[:3], outcome.text), strict=True)
    return f"triple {number}, {drawn.edits}: {wrong}\n" + "".join(f"=== {name}\n{content}" for name, content in sides)


@pytest.mark.parametrize("number", range(CHUNKS))
def test_a_merge_keeps_what_both_did_and_asks_only_what_it_must(number, tmp_path):
    triples = chunk(number)
    merged = merge(repository(tmp_path / "studio", triples, fvc=True), triples)
    wrong = {n: (merged[n], f) for n, t in triples.items() if (f := faults(*t[:3], *merged[n]))}
    smallest = sorted(wrong, key=lambda n: len(triples[n].base))[:2]
    assert not wrong, f"{len(wrong)} of {len(triples)}\n" + "\n".join(shown(n, triples[n], *wrong[n]) for n in smallest)


# --- the oracle itself ----------------------------------------------------------------------------


def judged(drawn: Triple, want: Wish, outcome: Outcome) -> str:
    """In one word, what a merge came to."""
    if outcome.conflict:
        return "question" if want.may_ask else "needless"
    try:
        closes = total_of(read(outcome.text)) == HUNDRED
    except (UnclosedError, ValueError, AssertionError):
        closes = False
    if not closes:
        return "wrong total"
    if want.must_ask:
        return "not asked"
    return "otherwise wrong" if faults(*drawn[:3], *outcome, want) else "right"


def test_the_oracle_catches_a_text_merge(tmp_path):
    """Git's own merge goes wrong in every way that there is, and each is seen."""
    triples = {n: triple(n) for n in range(200)}
    merged = merge(repository(tmp_path / "studio", triples, fvc=False), triples)
    seen = Counter()
    for n, drawn in triples.items():
        want = wish(*(read(t) for t in drawn[:3]))
        word = judged(drawn, want, merged[n])
        seen[word] += 1
        assert bool(faults(*drawn[:3], *merged[n], want)) >= (word in ("needless", "wrong total", "not asked"))
    assert min(seen[word] for word in ("right", "needless", "wrong total", "question")) > 0, seen


def damaged(text: str, old: str, new: str) -> str:
    assert text.count(old) == 1, (old, text)
    return text.replace(old, new)


BASE = """\
title = "Toner"
revision = 1

[phase.A]
[phase.A.percent]
water = "balance"
glycerin = 3.00 # slowly
betaine = 1.00

[phase.B]
[phase.B.percent]
# from the new sack
oat-extract = 2.00
allantoin = 0.20
"""
FIRST = damaged(BASE, "glycerin = 3.00", "glycerin = 4.00")
SECOND = damaged(damaged(BASE, "oat-extract = 2.00", "oat-extract = 2.50"), "revision = 1", "revision = 2")
GOOD = damaged(SECOND, "glycerin = 3.00", "glycerin = 4.00")
BETAINE = damaged(FIRST, "betaine = 1.00", "betaine = 2.00")
ASKED = damaged(
    GOOD, "glycerin = 4.00 # slowly\n", "<<<<<<< one\nglycerin = 4.00 # slowly\n=======\nglycerin = 5.00 # slowly\n>>>>>>> two\n"
)


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("allantoin = 0.20\n", "", "lost: ('phase', 'B', 'percent', 'allantoin')"),
        ("allantoin = 0.20", "allantoin = 0.30", "level is"),
        ("betaine = 1.00\n", "betaine = 1.00\nsqualane = 1.00\n", "invented: squalane"),
        ("glycerin = 4.00 # slowly\nbetaine = 1.00", "betaine = 1.00\nglycerin = 4.00 # slowly", "stands below"),
        ("# from the new sack\n", "", "a comment is lost: from the new sack"),
        ("# slowly", "", "a comment is lost: slowly"),
        ("revision = 2", "revision = 3", "value is '3'"),
        ('"balance"', "92.30", "level is"),
        ("glycerin = 4.00", "glycerin = 99.00", "no total: the balance would be -"),
        ("allantoin = 0.20", "allantoin = ", "does not read"),
        ("allantoin = 0.20", "allantoin  =  0.20", "written anew though"),
    ],
)
def test_the_oracle_catches_a_clean_merge_that_is_damaged(old, new, said):
    assert faults(BASE, FIRST, SECOND, GOOD, False) == []
    assert any(said in fault for fault in faults(BASE, FIRST, SECOND, damaged(GOOD, old, new), False))


def test_the_oracle_catches_a_conflict_about_nothing():
    assert faults(BASE, FIRST, SECOND, GOOD, True) == ["a conflict about nothing"]


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("glycerin = 5.00", "glycerin = 6.00", "where one side says"),
        ("<<<<<<< one\n", "", "does not read"),
        ("betaine = 1.00\n", "", "lost"),
        ("=======\nglycerin = 5.00 # slowly\n>>>>>>> two\nbetaine = 1.00\n", "betaine = 1.00\n=======\nglycerin = 5.00 # slowly\nbetaine = 1.00\n>>>>>>> two\n", "in no question"),
        ("oat-extract = 2.50", "oat-extract = 2.00", "level is"),
    ],
)  # fmt: skip
def test_the_oracle_catches_markers_that_are_wrong(old, new, said):
    second = damaged(SECOND, "glycerin = 3.00", "glycerin = 5.00")
    assert faults(BASE, FIRST, second, ASKED, True) == []
    assert any(said in fault for fault in faults(BASE, FIRST, second, damaged(ASKED, old, new), True))
    assert any("merged without a question" in fault for fault in faults(BASE, FIRST, second, GOOD, False))


# --- the figures ----------------------------------------------------------------------------------

WORDS = {
    "right": "merged, and right",
    "wrong total": "merged without a word, and the total is wrong or there is none",
    "not asked": "merged without a word, where two people wanted different things",
    "otherwise wrong": "merged, and not as either wanted it",
    "question": "a conflict about a real question",
    "needless": "a conflict about nothing",
}


def figures(merges: int) -> str:
    """A table: what git's text merge and fvc's make of the same triples."""
    kinds = ("water typed", "with a balance line")
    counts = {(kind, way): Counter() for kind in kinds for way in (False, True)}
    for number in range(CHUNKS):
        triples = chunk(number, merges)
        for way in (False, True):
            with tempfile.TemporaryDirectory() as folder:
                merged = merge(repository(Path(folder) / "studio", triples, fvc=way), triples)
            for n, drawn in triples.items():
                word = judged(drawn, wish(*(read(t) for t in drawn[:3])), merged[n])
                counts[kinds[0] if drawn.typed_water else kinds[1], way][word] += 1
    rows = [f"| of {merges:,} merges | " + " | ".join(f"{k}: git's text merge | {k}: fvc" for k in kinds) + " |", "|---|--:|--:|--:|--:|"]
    for word, said in WORDS.items():
        rows.append(f"| {said} | " + " | ".join(_share(c[word], c.total()) for c in counts.values()) + " |")
    return "\n".join([*rows, "| all | " + " | ".join(f"{c.total():,}" for c in counts.values()) + " |"])


def _share(count: int, of: int) -> str:
    return f"{count:,} ({100 * count / of:.1f} %)"


if __name__ == "__main__":
    os.environ |= {"GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1"}
    print(figures(int(sys.argv[1]) if len(sys.argv) > 1 else 2000))
