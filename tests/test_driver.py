"""What git calls: the merge of one file and the text of a plan; every way it can go wrong ends in git's own merge, never in a lost side."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.driver import text_of
from tests.support import Studio

ROOT = Path(__file__).parent.parent
PLAN = """\
# For the spring.
format   = 1
title    = "Face toner"
revision = 4
use      = "leave-on"
batch    = "100 g"

[spec]
ph = [4.6, 5.2]

[phase.A]
method = "Warm until clear."
heat   = "70 °C"
[phase.A.percent]
water       = "balance"
propanediol = 3.00          # less sticky
# soothing
allantoin   = 0.20

[phase.B]                   # premix
[phase.B.percent]
neroli-oil     = 0.20
polysorbate-20 = "4 x neroli-oil"

[phase.C]
add_below = "40 °C"
[phase.C.percent]
extract = { level = 2.00, note = "stays" }
acid    = { level = "open", expect = 0.40 }
"""
NO_BALANCE = PLAN.replace('"balance"', "93.80").replace('{ level = "open", expect = 0.40 }', "0.40").replace('"4 x neroli-oil"', "0.40")
PATH = "formulas/toner.toml"


def driver(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[bytes]:
    """Run what git runs."""
    env = os.environ | {"PYTHONPATH": str(ROOT)}
    return subprocess.run([sys.executable, "-P", "-m", "fvc.driver", *arguments], capture_output=True, cwd=cwd, env=env)


def merged(folder: Path, base: str | bytes, first: str | bytes, second: str | bytes, path: str = PATH) -> tuple[int, str, str]:
    """Exit code, the file that is left and what was said."""
    for name, text in (("base", base), ("first", first), ("second", second)):
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    done = driver("merge", "base", "first", "second", "7", f"--path={path}", "--parent=%S", "--first=%X", "--second=%Y", cwd=folder)
    return done.returncode, (folder / "first").read_bytes().decode(), done.stderr.decode()


def edited(text: str, *pairs: tuple[str, str]) -> str:
    """A text with pieces replaced, each of which stands in it once."""
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


CLEAN = {
    "each a level": ([("= 3.00", "= 2.50")], [("= 0.20\n\n", "= 0.30\n\n")], ["propanediol = 2.50          # less sticky\n# soothing\nallantoin   = 0.30\n"]),
    "the same level": ([("= 3.00", "= 2.50")], [("= 3.00", "= 2.50")], ["propanediol = 2.50          # less sticky\n"]),
    "a level and its comment": ([("= 3.00", "= 2.50")], [("# less sticky", "# sticky above 3")], ["propanediol = 2.50          # sticky above 3\n"]),
    "a level and its note": (
        [("level = 2.00", "level = 2.50")], [('note = "stays"', 'note = "the story"')], ['extract = { level = 2.50, note = "the story" }\n'],
    ),
    "both add, at one place": (
        [("# less sticky\n", "# less sticky\nbetaine = 1.00\n")], [("# less sticky\n", "# less sticky\nurea = 0.50\n")],
        ["betaine = 1.00\nurea = 0.50\n# soothing\nallantoin"],
    ),
    "one adds a phase, the other a line": (
        [("[phase.C]\n", "[phase.W]\n[phase.W.percent]\nxanthan = 0.30\n\n[phase.C]\n")], [("neroli-oil     = 0.20\n", "neroli-oil     = 0.20\nrose-oil = 0.05\n")],
        ["rose-oil = 0.05\n", "[phase.W]\n[phase.W.percent]\nxanthan = 0.30\n\n[phase.C]\n"],
    ),
    "the balance moves, another level changes": (
        [('= "balance"', "= 80.00"), ("= 0.20\n\n", '= "balance"\n\n')], [("= 3.00", "= 2.50")], ["water       = 80.00\npropanediol = 2.50", 'allantoin   = "balance"\n'],
    ),
    "the ratio and a text": ([('"4 x', '"5 x')], [('"70 °C"', '"75 °C"')], ['"5 x neroli-oil"', 'heat   = "75 °C"']),
    "one reorders, the other changes": (
        [("neroli-oil     = 0.20\n", ""), ('"4 x neroli-oil"\n', '"4 x neroli-oil"\nneroli-oil     = 0.20\n')], [("4 x", "5 x")],
        ['polysorbate-20 = "5 x neroli-oil"\nneroli-oil     = 0.20\n'],
    ),
    "one removes, the other changes elsewhere": ([("# soothing\nallantoin   = 0.20\n", "")], [("= 3.00", "= 2.50")], ["= 2.50          # less sticky\n\n[phase.B]"]),
    "one removes a row, the other wrote beside it": (
        [("# soothing\nallantoin   = 0.20\n", "")], [("= 0.20\n\n", "= 0.20  # from the new supplier\n\n")], ["# of allantoin: from the new supplier\n"],
    ),
    "a revision each": ([("revision = 4", "revision = 5"), ("= 3.00", "= 2.50")], [("revision = 4", "revision = 6")], ["revision = 6\n", "= 2.50"]),
    "comments at the top and the end": ([("# For the spring.\n", "# For the spring.\n# Of two.\n")], [("expect = 0.40 }\n", "expect = 0.40 }\n# The end.\n")], ["# Of two.\n", "\n# The end.\n"]),
    "both add a spec": ([("ph = [4.6, 5.2]\n", 'ph = [4.6, 5.2]\nclarity = "clear"\n')], [("ph = [4.6, 5.2]\n", 'ph = [4.6, 5.2]\ncolour = "none"\n')], ['clarity = "clear"\ncolour = "none"\n']),
    "a phase goes to another place, a level changes": (
        [('[phase.B]                   # premix\n[phase.B.percent]\nneroli-oil     = 0.20\npolysorbate-20 = "4 x neroli-oil"\n\n', ""),
         ("expect = 0.40 }\n", 'expect = 0.40 }\n\n[phase.B]                   # premix\n[phase.B.percent]\nneroli-oil     = 0.20\npolysorbate-20 = "4 x neroli-oil"\n')],
        [("neroli-oil     = 0.20", "neroli-oil     = 0.25")], ["expect = 0.40 }\n\n[phase.B]                   # premix\n[phase.B.percent]\nneroli-oil     = 0.25\n"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CLEAN)
@pytest.mark.parametrize("swapped", [False, True], ids=["", "swapped"])
def test_two_good_changes_are_both_kept(tmp_path, name, swapped):
    first, second, there = CLEAN[name]
    sides = [edited(PLAN, *first), edited(PLAN, *second)]
    code, text, said = merged(tmp_path, PLAN, *(reversed(sides) if swapped else sides))
    assert (code, said) == (0, "")
    assert all(piece in text for piece in there), text
    assert merged(tmp_path, PLAN, *sides)[1] == merged(tmp_path, PLAN, *reversed(sides))[1]


ASKED = {
    "one level differently": ([("= 3.00", "= 2.50")], [("= 3.00", "= 3.50")], "propanediol = 2.50          # less sticky\n", "propanediol = 3.50          # less sticky\n"),
    "removed and changed": ([("# soothing\nallantoin   = 0.20\n", "")], [("= 0.20\n\n", "= 0.30\n\n")], "", "# soothing\nallantoin   = 0.30\n"),
    "added at two levels": ([("# less sticky\n", "# less sticky\nbetaine = 1.00\n")], [("# less sticky\n", "# less sticky\nbetaine = 2.00\n")], "betaine = 1.00\n", "betaine = 2.00\n"),
    "a title": ([('"Face toner"', '"Rose toner"')], [('"Face toner"', '"Green toner"')], 'title    = "Rose toner"\n', 'title    = "Green toner"\n'),
    "a comment": ([("# less sticky", "# a")], [("# less sticky", "# b")], "propanediol = 3.00          # a\n", "propanediol = 3.00          # b\n"),
    "a ratio": ([('"4 x', '"5 x')], [('"4 x', '"3 x')], 'polysorbate-20 = "5 x neroli-oil"\n', 'polysorbate-20 = "3 x neroli-oil"\n'),
}  # fmt: skip


@pytest.mark.parametrize("name", ASKED)
def test_markers_stand_around_what_is_asked_and_nothing_else(tmp_path, name):
    first, second, one, other = ASKED[name]
    code, text, said = merged(tmp_path, PLAN, edited(PLAN, *first), edited(PLAN, *second))
    assert code == 64
    assert f"<<<<<<< one side\n{one}=======\n{other}>>>>>>> the other side\n" in text
    assert text.count("<<<<<<<") == 1
    before, _, after = text.partition("<<<<<<<")
    assert PLAN.startswith(before)
    assert PLAN.endswith(after.partition(">>>>>>> the other side\n")[2])
    assert said.startswith(f"fvc: {PATH}: ")


def test_a_total_off_100_is_marked_from_the_first_to_the_last_changed_line(tmp_path):
    first = edited(NO_BALANCE, ("93.80", "93.70"), ("= 3.00", "= 3.10"))
    second = edited(NO_BALANCE, ("93.80", "93.70"), ("neroli-oil     = 0.20", "neroli-oil     = 0.30"))
    code, text, said = merged(tmp_path, NO_BALANCE, first, second)
    assert code == 64
    assert "the lines total 100.10, 0.10 over 100" in said
    one, other = text.partition("<<<<<<< one side\n")[2].partition(">>>>>>>")[0].split("=======\n")
    assert one.startswith("water       = 93.70\npropanediol = 3.10")
    assert one.endswith("neroli-oil     = 0.20\n")
    assert other.startswith("water       = 93.70\npropanediol = 3.00")
    assert other.endswith("neroli-oil     = 0.30\n")
    for side in (one, other):  # either half makes a plan that totals 100
        whole = text[: text.index("<<<<<<<")] + side + text.partition(">>>>>>> the other side\n")[2]
        assert whole in (first, second)


def test_an_empty_base_and_one_with_markers_are_no_base(tmp_path):
    for base in ("", "<<<<<<< a\n" + PLAN + "=======\n>>>>>>> b\n"):
        assert merged(tmp_path, base, PLAN, PLAN)[:2] == (0, PLAN)
        code, text, _ = merged(tmp_path, base, PLAN, edited(PLAN, ("= 3.00", "= 2.50")))
        assert code == 64
        assert "propanediol = 3.00" in text
        assert "propanediol = 2.50" in text


@pytest.mark.parametrize(
    "broken",
    [PLAN.replace("ph = [4.6, 5.2]", "ph = 4,6"), PLAN.replace("\n", "\r\n", 3), PLAN.replace("3.00 ", '"much" '), b"\xff\xfe" + PLAN.encode(), "phase = { A = { percent = { water = 100 } } }\n", ""],
    ids=["toml", "line ends", "level", "utf-16", "inline", "empty"],
)  # fmt: skip
def test_a_side_that_cannot_be_read_is_left_to_git(tmp_path, broken):
    code, text, said = merged(tmp_path, PLAN, edited(PLAN, ("= 3.00", "= 2.50")), broken)
    assert code == 70
    assert text == edited(PLAN, ("= 3.00", "= 2.50"))  # untouched: git's own merge works on it
    assert said.endswith("git's text merge stands in the file\n")


@pytest.mark.parametrize("path", ["toner.toml", "formulas/new\nline.toml", "old/formulas/deeper/toner.toml"])
def test_a_plan_anywhere_is_merged_as_a_plan(tmp_path, path):
    code, text, _ = merged(tmp_path, PLAN, edited(PLAN, ("= 3.00", "= 2.50")), edited(PLAN, ("= 0.20\n\n", "= 0.30\n\n")), path)
    assert code == 0
    assert text == edited(PLAN, ("= 3.00", "= 2.50"), ("= 0.20\n\n", "= 0.30\n\n"))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ([("[phase.C]\n", "# fragrance\n[phase.C]\n")], [("[phase.C]", "[phase.X]"), ("[phase.C.percent]", "[phase.X.percent]")]),
        ([("extract = {", "rose-oil = 0.10\nextract = {")], [("[phase.C]", "[phase.X]"), ("[phase.C.percent]", "[phase.X.percent]")]),
    ],
    ids=["a comment on a phase that is renamed", "a line into a phase that is renamed"],
)
def test_what_has_no_place_any_more_is_left_to_git(tmp_path, first, second):
    code, _, said = merged(tmp_path, PLAN, edited(PLAN, *first), edited(PLAN, *second))
    assert code == 70
    assert "git's text merge stands in the file" in said


def test_a_plan_locked_by_one_is_not_changed_by_the_other_without_a_question(tmp_path):
    plan = PLAN.replace("revision = 4", 'revision = 4\nstatus = "tried"')
    locked = plan.replace('"tried"', '"locked"').replace("= 3.00", "= 2.50")
    code, _, said = merged(tmp_path, plan, locked, edited(plan, ("level = 2.00", "level = 2.50")))
    assert code == 64
    assert "locked the plan" in said


def test_a_total_that_was_off_on_one_side_is_asked_about(tmp_path):
    first = edited(NO_BALANCE, ("= 3.00", "= 4.00"))
    second = edited(NO_BALANCE, ("93.80", "93.70"), ("neroli-oil     = 0.20", "neroli-oil     = 0.30"))
    assert merged(tmp_path, NO_BALANCE, first, second)[0] == 64


def test_an_empty_table_and_lines_of_several_rows_stay(tmp_path):
    base = MATERIAL.replace("[composition]", 'prices = {} # none yet\nnotes = """one\ntwo"""\n\n[composition]').replace("\n", "\r\n")
    first, second = base.replace("7.90", "8.20"), base.replace("grams  = 100", "grams  = 60")
    for name, text in (("base", base), ("first", first), ("second", second)):
        (tmp_path / name).write_bytes(text.encode())
    done = driver("merge", "base", "first", "second", "7", "--path=materials/acid.toml", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "first").read_bytes().decode() == first.replace("grams  = 100", "grams  = 60")


def test_line_ends_of_windows_stay(tmp_path):
    windows = PLAN.replace("\n", "\r\n").encode()
    code, text, _ = merged(tmp_path, windows, windows.replace(b"3.00 ", b"2.50 "), windows.replace(b"0.20\r\n\r\n", b"0.30\r\n\r\n"))
    assert code == 0
    assert text == edited(PLAN, ("= 3.00", "= 2.50"), ("= 0.20\n\n", "= 0.30\n\n")).replace("\n", "\r\n")


MATERIAL = """\
format   = 1
name     = "Citric acid, 50 % solution"
function = ["pH adjuster"]
price    = "7.90 / 250 g"

[composition]
"Citric Acid" = 50.0
"Sodium Citrate" = 10.0
"Aqua" = 40.0

[[lot]]
number = "CA-1"
grams  = 100
"""


def test_materials_are_merged_value_by_value_and_both_lots_are_kept(tmp_path):
    first = MATERIAL.replace("7.90", "8.20") + '\n[[lot]]\nnumber = "CA-2"\ngrams = 250\n'
    second = MATERIAL.replace("grams  = 100", "grams  = 60") + '\n[[lot]]\nnumber = "CA-3"\n'
    code, text, _ = merged(tmp_path, MATERIAL, first, second, "materials/citric-acid-50.toml")
    assert code == 0
    assert all(piece in text for piece in ('"8.20 / 250 g"', "grams  = 60", 'number = "CA-2"\ngrams = 250', 'number = "CA-3"'))


def test_a_composition_that_neither_has_above_100_is_a_question(tmp_path):
    first, second = (
        MATERIAL.replace("= 50.0", "= 60.0").replace("= 40.0", "= 30.0"),
        MATERIAL.replace("= 10.0", "= 20.0").replace("= 40.0", "= 30.0"),
    )
    code, text, said = merged(tmp_path, MATERIAL, first, second, "materials/citric-acid-50.toml")
    assert code == 64
    assert "110 %" in said
    assert "<<<<<<<" in text


TRIAL = """\
format  = 1
plan    = "toner.4"
batch   = "100 g"
asked   = [
    { phase = "A", material = "water", percent = 100, grams = 100.00 },
]

[[entry]]
id      = "k7f3-01"
at      = 2026-03-01T10:22:10+01:00
weighed = "water"
grams   = 100.00
"""


def entry(id: str, hour: int, more: str) -> str:
    return f'\n[[entry]]\nid = "{id}"\nat = 2026-03-02T{hour:02}:00:00+01:00\n{more}\n'


def test_entries_of_both_are_kept_each_in_its_order(tmp_path):
    first = TRIAL + entry("a-1", 9, 'seen = "clear"\nph = 4.82') + entry("a-2", 11, 'noted = "no smell"')
    second = TRIAL + entry("b-1", 8, 'noted = "first"') + entry("b-2", 10, 'seen = "hazy"')
    code, text, _ = merged(tmp_path, TRIAL, first, second, "trials/toner/t-1.toml")
    assert code == 0
    assert text.startswith(TRIAL)
    places = [text.index(f'id = "{id}"') for id in ("a-1", "a-2", "b-1", "b-2")]
    assert places[0] < places[1]
    assert places[2] < places[3]


def test_a_variant_keeps_what_each_changed_of_its_question(tmp_path):
    variant = PLAN.replace("[spec]", '[variant]\nparent   = "toner.4"\nquestion = "Less sticky?"\nstate    = "open"\n\n[spec]')
    first = variant.replace('"open"\n', '"set aside"\nbecause = "dull"\n', 1)
    second = variant.replace("Less sticky?", "Less sticky, same clarity?")
    code, text, _ = merged(tmp_path, variant, first, second, "variants/toner/dry.toml")
    assert code == 0
    assert 'question = "Less sticky, same clarity?"\nstate    = "set aside"\nbecause = "dull"\n' in text


# --- a ratio by function needs the records beside the plan ---

BY_FUNCTION = PLAN.replace('"4 x neroli-oil"', '"4 x all essential oil"')


def test_a_ratio_by_function_is_worked_out_with_the_records_beside_the_plan(tmp_path):
    studio = Studio.make(tmp_path / "studio", git=False)
    for id in ("propanediol", "allantoin", "polysorbate-20", "extract", "acid"):
        studio.material(id, "humectant")
    studio.material("neroli-oil", "essential oil")
    first, second = edited(BY_FUNCTION, ("neroli-oil     = 0.20", "neroli-oil     = 10.00")), edited(BY_FUNCTION, ("= 3.00", "= 60.00"))
    code, _, said = merged(studio.root, BY_FUNCTION, first, second)
    assert code == 64
    assert "below zero" in said
    (studio.root / "materials/neroli-oil.toml").unlink()  # what cannot be known is asked, not guessed
    code, _, said = merged(studio.root, BY_FUNCTION, first, second)
    assert code == 64
    assert "cannot be worked out without the material records" in said
    first, second = edited(BY_FUNCTION, ("= 3.00", "= 2.50")), edited(BY_FUNCTION, ('"70 °C"', '"75 °C"'))
    assert merged(studio.root, BY_FUNCTION, first, second)[0] == 0  # the lines are those of one side


# --- the text of a plan for git's own diff ---


def printed(folder: Path, data: bytes) -> bytes:
    (folder / "file").write_bytes(data)
    done = driver("text", "file", cwd=folder)
    assert (done.returncode, done.stderr) == (0, b"")
    return done.stdout


def test_the_text_is_the_file_with_computed_percents_behind(tmp_path):
    out = printed(tmp_path, PLAN.encode()).decode()
    assert out == (
        PLAN.replace('water       = "balance"', 'water       = "balance"   # = 93.40 %').replace(
            '"4 x neroli-oil"', '"4 x neroli-oil"   # = 0.80 %'
        )
        + "# total 100.00 %\n"
    )


def test_a_plan_that_does_not_close_says_so(tmp_path):
    out = printed(tmp_path, NO_BALANCE.replace("93.80", "94.80").encode()).decode()
    assert out.splitlines()[-1].startswith("# total 101.00 %; the lines total 101.00, 1.00 over 100")


def test_the_order_of_lines_shows_in_a_diff(tmp_path):
    turned = edited(
        PLAN,
        ("# soothing\nallantoin   = 0.20\n", ""),
        ('water       = "balance"\n', 'water       = "balance"\n# soothing\nallantoin   = 0.20\n'),
    )
    assert printed(tmp_path, turned.encode()) != printed(tmp_path, PLAN.encode())


PIECES = [
    "format = 1\n",
    "[phase.A]\n",
    "[phase.A.percent]\n",
    'water = "balance"\n',
    'oil = "4 x water"',
    "gum = 2\r\n",
    "<<<<<<< a\n",
    '"""',
    "é",
    "# x",
    "\n",
]


@given(st.one_of(st.binary(max_size=200), st.lists(st.sampled_from(PIECES), max_size=12).map(lambda pieces: "".join(pieces).encode())))
def test_whatever_a_file_holds_every_row_of_it_is_in_the_text(data):
    rows = [row.rstrip(b"\r") for row in data.split(b"\n")]
    rows = rows if rows[-1] else rows[:-1]  # below the last row stands the total
    out = [row.rstrip(b"\r") for row in text_of(data).split(b"\n")][: len(rows)]
    assert all(shown == row or shown.startswith(row + b"   # = ") for row, shown in zip(rows, out, strict=True))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x00\xff",
        b"<<<<<<< a\n",
        b"format = 1\n",
        PLAN.encode()[:-30],
        b"\xef\xbb\xbf" + PLAN.encode(),
        PLAN.replace("\n", "\r\n").encode(),
    ],
)
def test_odd_files_are_printed_and_hide_nothing(tmp_path, data):
    rows = [row.rstrip(b"\r") for row in data.split(b"\n")]
    out = printed(tmp_path, data)
    assert [row.rstrip(b"\r").partition(b"   # = ")[0] for row in out.split(b"\n")][: len(rows) - 1] == rows[:-1]


# --- with real git ---


@pytest.fixture
def studio(prepared):
    return Studio(prepared(_studio))


def _studio(folder):
    made = Studio.make(folder)
    made.write(PATH, PLAN)
    made.save_as("Ada", "2026-03-01", ".", message="toner")
    made.ok("setup")


def test_git_shows_the_computed_percents_in_diff_log_show_and_blame(studio):
    studio.edit(PATH, "= 3.00", "= 2.50")
    assert '+water       = "balance"   # = 93.90 %\n' in studio.git("diff")
    assert "@@ [phase.A.percent]" in studio.git("diff", "-U0")
    studio.save_as("Ada", "2026-03-02", PATH)
    assert "# = 93.90 %" in studio.git("log", "-p", "-1")
    assert "# = 93.90 %" in studio.git("show", "--textconv", f"HEAD:{PATH}")
    assert "# total 100.00 %" in studio.git("blame", PATH)


def test_a_package_that_is_gone_leaves_both_sides_with_markers(studio, tmp_path):
    """The interpreter is there and fvc is not: Python ends with 1, which git alone would read as a conflict with nothing but one side."""
    command = studio.git("config", "merge.fvc.driver").strip()
    assert sys.executable in command
    bare = shutil.which("python3", path="/usr/bin:/bin") or sys.executable
    studio.git("config", "merge.fvc.driver", command.replace(sys.executable, bare).replace("-P -m fvc.driver", "-I -S -m fvc.driver"))
    studio.git("branch", "bea")
    studio.edit(PATH, "= 3.00", "= 2.50")
    studio.save_as("Ada", "2026-03-03", PATH)
    studio.git("checkout", "-q", "bea")
    studio.edit(PATH, "= 3.00", "= 3.50")
    studio.save_as("Bea", "2026-03-04", PATH)
    studio.git("checkout", "-q", "-")
    studio.git("merge", "--no-edit", "bea", check=False)
    text = studio.read(PATH)
    assert "<<<<<<<" in text
    assert "2.50" in text
    assert "3.50" in text
    assert PATH in studio.git("ls-files", "-u")


def test_the_driver_imports_nothing_of_the_command_line():
    code = "import sys; import fvc.driver, fvc.files.joining; print([m for m in ('typer', 'rich', 'click', 'fvc.cli', 'fvc.composition', 'subprocess') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, env=os.environ | {"PYTHONPATH": str(ROOT)})
    assert done.stdout.decode().strip() == "[]"


# --- whose sides they are -----------------------------------------------------------------------------


@pytest.fixture
def parted(studio) -> Studio:
    """Ada's toner on main and Bea's on the branch bea, each with another level of one line."""
    studio.git("branch", "bea")
    for who, day, level in (("Ada", "2026-03-03", "2.50"), ("Bea", "2026-03-04", "3.50")):
        if who == "Bea":
            studio.git("checkout", "-q", "bea")
        studio.edit(PATH, "propanediol = 3.00", f"propanediol = {level}")
        studio.save_as(who, day, "formulas", message=f"{who} tries")
    studio.git("checkout", "-q", "-")
    return studio


def said_by_git(studio: Studio, *arguments: str) -> str:
    done = subprocess.run(["git", "-C", str(studio.root), *arguments], capture_output=True, text=True)
    return done.stdout + done.stderr


MARKED = "<<<<<<< {}\npropanediol = {}          # less sticky\n=======\npropanediol = {}          # less sticky\n>>>>>>> {}\n"


def test_in_a_merge_markers_and_questions_name_the_people(parted):
    said = said_by_git(parted, "merge", "bea")
    assert f"fvc: {PATH}: propanediol: 3.00 in the parent they share, 2.50 in Ada's plan, 3.50 in Bea's plan\n" in said
    assert MARKED.format("Ada", "2.50", "3.50", "Bea") in parted.read(PATH)


def test_in_a_rebase_markers_and_questions_name_the_people(parted):
    said = said_by_git(parted, "rebase", "bea")
    assert "3.50 in Bea's plan, 2.50 in Ada's plan\n" in said
    assert MARKED.format("Bea", "3.50", "2.50", "Ada") in parted.read(PATH)


def test_two_states_of_one_person_are_told_apart_by_their_days(parted):
    parted.git("commit", "-q", "--amend", "--no-edit", "--author", "Bea <bea@studio.example>")
    said_by_git(parted, "merge", "bea")
    assert MARKED.format("Bea, 2026-03-03", "2.50", "3.50", "Bea, 2026-03-04") in parted.read(PATH)


def test_where_git_tells_of_nobody_it_is_one_side_and_the_other(parted):
    parted.edit(PATH, "propanediol = 2.50", "propanediol = 2.70")
    parted.git("stash", "-q")
    parted.edit(PATH, "propanediol = 2.50", "propanediol = 2.60")
    parted.save_as("Ada", "2026-03-05", "formulas", message="again")
    said = said_by_git(parted, "stash", "pop")
    assert "2.60 in one side, 2.70 in the other side" in said


@pytest.mark.parametrize(
    ("label", "second"),
    [("{} (Bea tries)", "Bea"), ("parent of {} (Bea tries)", "before {}"), ("Stashed changes", "Stashed changes")],
)
def test_later_gits_tell_whose_a_side_is_by_its_label(parted, label, second):
    """gitattributes(5), %X and %Y, from git 2.44 on: of a cherry-pick, a revert and a stash."""
    commit = parted.git("rev-parse", "--short=7", "bea").strip()
    for name, text in (("base", PLAN), ("first", parted.read(PATH)), ("second", parted.git("show", f"bea:{PATH}"))):
        parted.write(name, text)
    options = (f"--path={PATH}", "--parent=%S", "--first=HEAD", f"--second={label.format(commit)}")
    assert driver("merge", "base", "first", "second", "7", *options, cwd=parted.root).returncode == 64
    first = "HEAD" if second == "Stashed changes" else "Ada"
    assert MARKED.format(first, "2.50", "3.50", second.format(commit)) in parted.read("first")
