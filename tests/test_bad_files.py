"""Bad input through the command line: exit 2, a clear message with place and next step, and nothing lost."""

import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support import Result, Studio

PATH = "formulas/lotion.toml"

LOTION = """\
format   = 1
title    = "Body lotion"
revision = 0
batch    = "200 g"

[phase.A]
heat = "72 °C"
[phase.A.percent]
sunflower-oil = 12.00
emulsifier    = 4.50            # 5 was waxy

[phase.B]
[phase.B.percent]
water         = "balance"
glycerin      = 3.00
scent-oil     = 0.30
solubiliser   = "4 x scent-oil"
preservative  = 0.90
"""
LINE = LOTION.splitlines().index("glycerin      = 3.00") + 1


def stock(studio: Studio) -> None:
    """The raw materials on the shelf, and a second plan that has nothing to do with the first."""
    for id, function in {
        "sunflower-oil": "emollient",
        "emulsifier": "emulsifier",
        "glycerin": "humectant",
        "scent-oil": "essential oil",
        "solubiliser": "solubiliser",
        "preservative": "preservative",
    }.items():
        studio.material(id, function, {id.capitalize(): 100})
    studio.formula("balm", {"A": {"sunflower-oil": "80", "emulsifier": "20"}})


@pytest.fixture
def lotion(studio) -> Studio:
    """A studio with a sound lotion and an unrelated balm."""
    stock(studio)
    studio.write(PATH, LOTION)
    return studio


@pytest.fixture
def here(lotion, run_in) -> Callable[..., Result]:
    """Run a command line in this process: for long tables; elsewhere each run is a process of its own."""
    return run_in(lotion.root)


def with_glycerin(row: str) -> str:
    """The lotion with another row for glycerin."""
    return LOTION.replace("glycerin      = 3.00\n", row + "\n")


def snapshot(root: Path) -> dict[str, bytes | str]:
    """Every file of a folder with its bytes, links with where they lead; git's own left out."""
    kept: dict[str, bytes | str] = {}
    for path in sorted(root.rglob("*")):
        name = str(path.relative_to(root))
        if ".git" in path.relative_to(root).parts:
            continue
        kept[name] = os.readlink(path) if path.is_symlink() else path.read_bytes() if path.is_file() else "folder"
    return kept


# every command that takes a plan; each must refuse an unreadable one and leave the disk alone
COMMANDS = [
    ("sheet", "lotion"),
    ("weigh", "lotion"),
    ("set", "lotion", "glycerin=2", "--save"),
    ("revise", "lotion", "--reason", "try"),
    ("diff", "lotion", "balm"),
]


def unreadable(lotion: Studio, here: Callable[..., Result], text: str | bytes) -> str:
    """The message that all commands give for a lotion that cannot be read; the disk stays as it is."""
    lotion.write(PATH, text)
    before, head = snapshot(lotion.root), lotion.git("rev-parse", "HEAD")
    said = {here(*command, code=2).err for command in COMMANDS}
    assert snapshot(lotion.root) == before
    assert lotion.git("rev-parse", "HEAD") == head
    assert len(said) == 1, said
    [message] = said
    assert message.startswith(PATH)
    assert "Traceback" not in message
    return message


def not_closed(lotion: Studio, here: Callable[..., Result], text: str) -> str:
    """The message for a plan that can be read and not be weighed: the sheet shows it without grams."""
    lotion.write(PATH, text)
    before, head = snapshot(lotion.root), lotion.git("rev-parse", "HEAD")
    shown = here("sheet", "lotion", code=2)
    assert "sunflower-oil" in shown.out
    assert here("weigh", "lotion", code=2).out == ""
    assert here("revise", "lotion", "--reason", "try", code=2).out == ""
    data = here("sheet", "lotion", "--json", code=2)
    assert '"closed": false' in data.out
    assert '"batch_g": null' in data.out
    assert snapshot(lotion.root) == before
    assert lotion.git("rev-parse", "HEAD") == head
    return shown.err


def test_the_lotion_itself_is_sound(lotion):
    assert lotion.json("sheet", "lotion")["closed"] is True
    assert lotion.ok("weigh", "lotion").err == ""


# --- TOML that is none ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "row, said, next",
    [
        ("glycerin      = 3,00", "expected newline or end of document after a statement", "write decimals with a point: 3.00, not 3,00"),
        ("glycerin      = 3 %", "expected newline or end of document after a statement", "leave out the % sign"),
        ("glycerin      = .5", "invalid value", "write 0.5, not .5"),
        ("glycerin      = 3 g", "expected newline or end of document after a statement", "put quotes around a value with a unit"),
        ("glycerin      = balance", "invalid value", 'put quotes around words: "balance"'),
        ("glycerin      =", "invalid value", "write a value behind the equals sign"),
        ("glycerin        3.00", "expected '=' after a key in a key/value pair", "correct the line in an editor"),
        ('glycerin      = "balance', "", "a text value needs quotes at both ends"),
        ("glycerin oil  = 3.00", "expected '=' after a key in a key/value pair", "correct the line in an editor"),
        ("<<<<<<< HEAD", "invalid statement", "a conflict is left in this file"),
        (">>>>>>> theirs", "invalid statement", "a conflict is left in this file"),
    ],
)
def test_broken_toml_is_refused_with_its_line_and_a_hint(lotion, here, row, said, next):
    message = unreadable(lotion, here, with_glycerin(row))
    assert message.startswith(f"{PATH}:{LINE}: not readable as TOML: ")
    assert said in message
    assert row.strip() in message
    assert next in message


def test_an_open_bracket_is_told_where_it_shows(lotion, here):
    message = unreadable(lotion, here, LOTION.replace("[phase.B.percent]", "[phase.B.percent"))
    assert message.startswith(f"{PATH}:13: not readable as TOML")
    message = unreadable(lotion, here, LOTION + 'note = """never closed\n')
    assert "not readable as TOML" in message


def test_the_same_material_twice_in_a_phase_names_both_lines(lotion, here):
    message = unreadable(lotion, here, LOTION + "glycerin = 1.00\n")
    assert f"{PATH}:19: phase.B.percent.glycerin: phase.B.percent.glycerin stands twice: on line {LINE} and on line 19" in message
    assert "keep one of the two lines" in message


def test_the_same_phase_twice_names_both_lines(lotion, here):
    message = unreadable(lotion, here, LOTION + "\n[phase.B.percent]\nurea = 1.00\n")
    assert "phase.B.percent stands twice: on line 13 and on line 20" in message


def test_odd_signs_of_a_file_do_not_reach_the_terminal(lotion, here):
    message = unreadable(lotion, here, with_glycerin('"\x1b[31mred" = 3.00'))
    assert "\x1b" not in message
    message = unreadable(lotion, here, with_glycerin('"\\u001b[31mred" = 3.00'))
    assert "\x1b" not in message


# --- levels that are none ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "level, found",
    [
        ("-3.00", "found -3.00: it is negative"),
        ("-0.0", "found -0.0: it is negative"),
        ("100.01", "found 100.01: it is above 100"),
        ("101", "found 101: it is above 100"),
        ("99999999999999999999", "it has too many digits"),
        ("nan", "found nan: it is not a finite number"),
        ("-nan", "found -nan: it is not a finite number"),
        ("inf", "found inf: it is not a finite number"),
        ("-inf", "found -inf: it is not a finite number"),
        ('"some"', 'found "some": expected a number from 0 to 100'),
        ('""', "found an empty text: expected a number from 0 to 100"),
        ('"3.00"', "write the number without quotes: 3.00"),
        ('"3 %"', "leave out the % sign"),
        ('"3,00"', 'found "3,00"'),
        ("true", "found true"),
        ("2026-03-01", "found a date or time, 2026-03-01"),
        ("10:30:00", "found a date or time, 10:30:00"),
        ("[3.00]", "found a list"),
        ("[]", "found a list"),
        ("{ expect = 3 }", "found no level"),
        ("3e0", "found 3e0: it is in exponent form"),
        ("0.3E+1", "found 0.3E+1: it is in exponent form"),
        ("3.000000000", "found 3.000000000: it has 9 decimals; at most 8 are kept"),
        ("+3", "it has a sign"),
        ("+3.00", "found +3.00: it has a sign"),
        ("1_000", "it has an underscore"),
        ("3_0.5", "it has an underscore"),
        ("0x10", "it is not a plain number"),
        ("0o17", "it is not a plain number"),
        ("0b11", "it is not a plain number"),
        ('"q.s."', 'write "balance" (closes to 100) or "open" (set at the bench)'),
        ('"QS"', 'write "balance" (closes to 100) or "open" (set at the bench)'),
        ('"x scent-oil"', "expected a number from 0 to 100"),
        ('"4 times scent-oil"', "expected a number from 0 to 100"),
        ('"0 x scent-oil"', "a ratio of 0 would always be nothing"),
        ('"4 x Scent Oil"', '"Scent Oil" in a ratio is not an id'),
        ('"4 x (scent-oil, water)"', "in a ratio is not an id"),
        ("{ level = 3.00, expect = 3 }", 'only an open line has "expect"'),
        ('{ level = "open", expect = -1 }', "found -1: it is negative"),
    ],
)
def test_a_level_that_is_none_is_refused_with_what_was_found(lotion, here, level, found):
    message = unreadable(lotion, here, with_glycerin(f"glycerin      = {level}"))
    assert message.startswith(f"{PATH}:{LINE}: phase.B.percent.glycerin")
    assert found in message


@pytest.mark.parametrize("level", ["0", "0.00000001", "3.00000000", '"open"', '{ level = "open", expect = 0 }', '"q.s. to 100"'])
def test_levels_at_the_edge_are_taken(lotion, here, level):
    text = with_glycerin(f"glycerin      = {level}")
    if "q.s." in level:
        text = text.replace('"balance"', "78.10")
    lotion.write(PATH, text)
    here("weigh", "lotion")


@pytest.mark.parametrize(
    "row, said",
    [
        (
            "glycerin-99.5 = 3.00",
            '"glycerin-99.5" is not an id: it has a dot, which TOML reads as a table inside a table; write for example "glycerin-99-5"',
        ),
        ('"glycerin-99.5" = 3.00', '"glycerin-99.5" is not an id: it has a dot'),
        ("Glycerin = 3.00", '"Glycerin" is not an id: it has capitals; write "glycerin"'),
        ('"glycerin oil" = 3.00', '"glycerin oil" is not an id: only small letters'),
        ("99 = 3.00", '"99" is not an id: it is all digits'),
        ("nul = 3.00", '"nul" is not an id: it is the name of a device'),
        ('"../glycerin" = 3.00', "is not an id: it has a dot"),
        ('"" = 3.00', '"" is not an id: it is empty'),
    ],
)
def test_an_id_that_is_none_is_refused(lotion, here, row, said):
    message = unreadable(lotion, here, with_glycerin(row))
    assert message.startswith(f"{PATH}:{LINE}: phase.B.percent.")
    assert said in message


def test_all_that_is_wrong_in_a_file_is_told_at_once(lotion, here):
    text = (
        with_glycerin("glycerin      = -3")
        .replace("12.00", '"q.s."')
        .replace('"72 °C"', '"hot"')
        .replace("revision = 0", 'revision = "first"')
    )
    message = unreadable(lotion, here, text)
    starts = [row.partition(": ")[0] for row in message.splitlines() if row.startswith(PATH)]
    assert starts == [f"{PATH}:3", f"{PATH}:7", f"{PATH}:9", f"{PATH}:{LINE}"]
    assert message.count("next:") == 4


# --- plans that can be read and do not close --------------------------------------------------------


def test_a_total_that_is_not_100_says_by_how_much_which_way_and_the_likely_line(lotion, here):
    closed = LOTION.replace('"balance"', "78.10")
    said = not_closed(lotion, here, closed.replace("12.00", "9.00"))
    assert "the lines total 97.00, 3.00 short of 100; that is exactly the level of glycerin" in said
    assert 'write "balance" for one line (such as water)' in said
    said = not_closed(lotion, here, closed.replace("= 4.50", "= 5.40"))
    assert "the lines total 100.90, 0.90 over 100; that is exactly the level of preservative" in said
    said = not_closed(lotion, here, closed.replace("4.50", "45.0"))
    assert "the lines total 140.50, 40.50 over 100; emulsifier at 4.5 would close it: a slipped point?" in said
    said = not_closed(lotion, here, closed.replace("4.50", "0.45"))
    assert "4.05 short of 100; emulsifier at 4.5 would close it: a slipped point?" in said
    said = not_closed(lotion, here, closed.replace("78.10", "78.10000001"))
    assert "the lines total 100.00000001, 0.00000001 over 100" in said


def test_the_sheet_of_a_plan_that_does_not_close_shows_lines_and_the_gap_and_no_grams(lotion):
    lotion.write(PATH, LOTION.replace('"balance"', "70.00"))
    result = lotion.fvc("sheet", "lotion")
    assert result.code == 2
    rows = [row.split() for row in result.out.splitlines()]
    assert ["material", "%", "g", "active", "%", "function"] in rows
    for line in (
        ["sunflower-oil", "12.00", "12.00", "emollient"],  # percent, active percent, function: and nothing under g
        ["water", "70.00", "0.00", "solvent"],
        ["solubiliser", "1.20", "ratio", "1.20", "solubiliser"],
    ):
        assert line in rows
    assert "Total 91.90 %" in result.out
    assert " ".join(result.err.split()) == (
        "no grams: formulas/lotion.toml:6: phase: the lines total 91.90, 8.10 short of 100; preservative at 9 would close it: a slipped point? "
        'next: write "balance" for one line (such as water), or correct the line that is off'
    )
    data = lotion.fvc("sheet", "lotion", "--json").data
    assert (data["total_percent"], data["closed"], data["batch_g"]) == ("91.9", False, None)
    assert [row["grams"] for row in data["lines"]] == [None] * 7
    assert [row["percent"] for row in data["lines"]] == ["12.00", "4.50", "70.00", "3.00", "0.30", "1.20", "0.90"]


@pytest.mark.parametrize(
    "old, new, said",
    [
        ("glycerin      = 3.00", 'glycerin      = "balance"', "two balance lines: B:water, B:glycerin"),
        ("12.00", "97.00", "the balance water would be -6.90 %, below zero: the other lines total 106.90"),
        ("4 x scent-oil", "4 x solubiliser", 'the ratio "4 x solubiliser" refers to solubiliser itself'),
        ("4 x scent-oil", "4 x rose-oil", 'the ratio "4 x rose-oil" refers to rose-oil, which is not in this plan'),
        ("4 x scent-oil", "4 x sent-oil", "did you mean scent-oil?"),
        ("4 x scent-oil", "4 x all perfume", 'the ratio "4 x all perfume" finds no perfume in this plan'),
        ("4 x scent-oil", "400 x scent-oil", 'the ratio "400 x scent-oil" comes to 120.00 %, above 100'),
        ("4 x scent-oil", "0.1 x water", "a ratio on the balance, which itself waits for the ratio: solubiliser -> water"),
        ("= 0.30", '= "0.25 x solubiliser"', "a ring of ratios: scent-oil -> solubiliser -> scent-oil"),
        ("glycerin      = 3.00", "glycerine     = 3.00", 'unknown material "glycerine"'),
        ("glycerin      = 3.00", "glycerine     = 3.00", "did you mean glycerin?"),
        ("glycerin      = 3.00", "urea          = 3.00", "fvc new material urea"),
        ("glycerin      = 3.00", "lotion        = 3.00", "a formula stands inside itself: lotion -> lotion"),
    ],
)
def test_a_plan_that_cannot_be_weighed_says_why(lotion, here, old, new, said):
    assert LOTION.count(old) == 1
    message = not_closed(lotion, here, LOTION.replace(old, new))
    assert said in message
    assert f"{PATH}:" in message


def test_a_plan_without_lines_is_100_short(lotion, here):
    lotion.write(PATH, 'format = 1\ntitle = "Nothing yet"\n[phase.A]\n')
    message = here("sheet", "lotion", code=2).err
    assert "the plan has no lines" in message


def test_formulas_inside_each_other_are_refused_with_the_path(lotion, here):
    lotion.formula("base", {"A": {"water": "balance", "thick": "5"}})
    lotion.formula("thick", {"A": {"water": "balance", "lotion": "5"}})
    message = not_closed(lotion, here, with_glycerin("base = 3.00"))
    assert "a formula stands inside itself: lotion -> base -> thick -> lotion" in message


@pytest.mark.parametrize(
    "phases, said",
    [
        ({"A": {"water": "90", "preservative": "50"}}, "the lines total 140, 40 over 100"),
        (
            {"A": {"water": "balance", "preservative": "open"}},
            "base stands as a material in another formula and its line preservative is open",
        ),
        ({"A": {"water": "balance", "unheard-of": "5"}}, 'unknown material "unheard-of"'),
        ({"A": {"water": "{ level = -5 }"}}, "found -5: it is negative"),
    ],
)
def test_a_bad_premix_is_told_with_its_own_file(lotion, here, phases, said):
    lotion.formula("base", phases)
    message = not_closed(lotion, here, with_glycerin("base = 3.00"))
    assert said in message
    assert "formulas/base.toml" in message


def test_an_id_that_is_both_a_material_and_a_formula_is_refused(lotion, here):
    lotion.formula("glycerin", {"A": {"water": "balance"}})
    message = not_closed(lotion, here, LOTION)
    assert '"glycerin" is both a material and a formula' in message


# --- material records -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text, said",
    [
        ('[composition]\n"Glycerin" = 80\n"Aqua" = 20.5\n', "composition: the composition adds up to 100.5 %, 0.5 above 100"),
        ('[composition]\n"Glycerin" = [90, 99]\n"Aqua" = [20, 30]\n', "composition: the composition adds up to 110 %, 10 above 100"),
        ('[constituents]\n"Linalool" = 80\n"Limonene" = 20.5\n', "constituents: the constituents add up to 100.5 %, 0.5 above 100"),
        (
            '[constituents]\n"Linalool" = { nominal = 60, low = 50 }\n"Limonene" = { nominal = 45, low = 40 }\n',
            "constituents: the constituents add up to 105 % by their nominal figures, above 100",
        ),
        ('[composition]\n"Glycerin" = "balance"\n"Aqua" = "balance"\n', 'two shares are "balance"'),
        ('[composition]\n"Glycerin" = 101\n', "expected a number from 0 to 100, found 101"),
        ('[composition]\n"Glycerin" = nan\n', "found nan: it is not a finite number"),
        ("use_level = [5, 1]\n", "expected [low, high], found low 5 above high 1"),
        ('price = "cheap"\n', 'expected a price such as "7.90 / 250 g"'),
        ("density = 1,26\n", "write decimals with a point"),
    ],
)
def test_a_faulty_record_is_told_with_its_own_file(lotion, here, text, said):
    lotion.write("materials/glycerin.toml", 'format = 1\nname = "Glycerin"\n' + text)
    message = not_closed(lotion, here, LOTION)
    assert "materials/glycerin.toml:" in message
    assert said in message


def test_a_composition_of_exactly_100_is_fine(lotion, here):
    lotion.write("materials/glycerin.toml", 'format = 1\n[composition]\n"Glycerin" = 99.5\n"Aqua" = 0.5\n')
    here("weigh", "lotion")


# --- formats and encodings --------------------------------------------------------------------------


def test_a_newer_format_is_refused_with_what_to_do(lotion, here):
    message = unreadable(lotion, here, LOTION.replace("format   = 1", 'format   = 2\nlevels   = "elsewhere"'))
    assert message == (
        f"{PATH}:1: format: format 2 is newer than this fvc reads (format 1)\n  next: install a newer fvc; this one leaves the file alone\n"
    )


@pytest.mark.parametrize(
    "data, said",
    [
        (LOTION.encode("latin-1"), f"{PATH}:7: not UTF-8: byte 0xb0 on line 7 (Latin-1 or Windows-1252?)"),
        (LOTION.encode("utf-16"), f"{PATH}:1: the file is UTF-16 or not text"),
        (LOTION.encode("utf-16-le"), f"{PATH}:1: the file is UTF-16 or not text"),
        (LOTION.encode("utf-16-be"), f"{PATH}:1: the file is UTF-16 or not text"),
        (b"\x7fELF\x02\x01\x01\x00\x00\x00", f"{PATH}:1: the file is UTF-16 or not text"),
        (LOTION.replace("\n", "\r\n", 5).encode(), f"{PATH}:6: mixed line ends: 5 lines end in CRLF and 13 in LF (the first on line 6)"),
        (LOTION.replace("\n", "\r").encode(), f"{PATH}:1: a carriage return stands alone"),
        (b"", f"{PATH}: the file is empty"),
        (b" \n\t\n", f"{PATH}: the file is empty"),
        (b"\xef\xbb\xbf", f"{PATH}: the file is empty"),
        (b"# all of it put away\n", f'{PATH}: "format" is missing'),
        (b"\xef\xbb\xbf\xef\xbb\xbf" + LOTION.encode(), f"{PATH}:1: not readable as TOML"),
    ],
    ids=[
        "latin-1",
        "utf-16",
        "utf-16-le",
        "utf-16-be",
        "program",
        "mixed",
        "old-mac",
        "empty",
        "blank",
        "mark-only",
        "remarks",
        "two-marks",
    ],
)
def test_bytes_that_are_no_plan_are_refused(lotion, here, data, said):
    message = unreadable(lotion, here, data)
    assert message.startswith(said)
    assert "\x00" not in message


def test_the_formulary_file_itself_may_be_bad(lotion, here):
    lotion.write("formulary.toml", "format = 1\nscales = 0.01\n")
    before = snapshot(lotion.root)
    for command in COMMANDS[:3]:
        message = here(*command, code=2).err
        assert "formulary.toml:2: scales: expected a list" in message
    assert snapshot(lotion.root) == before


# --- odd things on the disk -------------------------------------------------------------------------


def limited(studio: Studio, *arguments: str, megabytes: int) -> tuple[Result, float]:
    """Run a command in a process that may not use more memory than this; its result and the seconds it took."""

    def less() -> None:
        resource.setrlimit(resource.RLIMIT_AS, (megabytes << 20, megabytes << 20))

    start = time.monotonic()
    done = subprocess.run(
        [sys.executable, "-m", "fvc", *arguments],
        cwd=studio.root,
        capture_output=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1"},
        preexec_fn=less,
        timeout=60,
    )
    return Result(done.returncode, done.stdout.decode(), done.stderr.decode()), time.monotonic() - start


@pytest.mark.parametrize("path", [PATH, "materials/glycerin.toml", "formulary.toml"])
def test_a_file_of_50_mb_is_refused_without_reading_it(lotion, path):
    with (lotion.root / path).open("wb") as file:
        file.write(b"# filler\n" * 16)
        file.truncate(50_000_000)
    _, usual = limited(lotion, "sheet", "balm", megabytes=2000)
    result, took = limited(lotion, "weigh", "lotion", megabytes=400)
    assert result.code == 2
    assert f"{path}: the file has 50,000,000 bytes; at most 1,000,000 are read" in result.err
    assert "next:" in result.err
    assert took < usual + 5
    assert (lotion.root / path).stat().st_size == 50_000_000


def test_a_large_file_within_the_limit_is_read_in_reasonable_time(lotion):
    rows = "".join(f"# {'-' * 90}\n" for _ in range(9000))
    lotion.write(PATH, LOTION + rows)
    start = time.monotonic()
    lotion.ok("set", "lotion", "glycerin=2", "--save")
    assert time.monotonic() - start < 20
    assert lotion.read(PATH) == LOTION.replace("3.00", "2") + rows


@pytest.mark.parametrize(
    "path, put, said",
    [
        (PATH, lambda p, out: p.mkdir(), "a folder stands where a file should be"),
        (PATH, lambda p, out: p.symlink_to("nowhere.toml"), "a link that leads nowhere"),
        (PATH, lambda p, out: p.symlink_to(out), "a link that leads out of the formulary"),
        (PATH, lambda p, out: p.symlink_to(Path("../../outside.toml")), "a link that leads out of the formulary"),
        (PATH, lambda p, out: p.symlink_to(p.name), "cannot be read: Too many levels of symbolic links"),
        (PATH, lambda p, out: os.mkfifo(p), "not a regular file"),
        ("materials/glycerin.toml", lambda p, out: p.mkdir(), "a folder stands where a file should be"),
        ("materials/glycerin.toml", lambda p, out: p.symlink_to("nowhere.toml"), "a link that leads nowhere"),
        ("materials/glycerin.toml", lambda p, out: p.symlink_to(out), "a link that leads out of the formulary"),
        ("materials/glycerin.toml", lambda p, out: os.mkfifo(p), "not a regular file"),
    ],
    ids=["folder", "dangling", "outside", "outside-relative", "loop", "pipe", "m-folder", "m-dangling", "m-outside", "m-pipe"],
)
def test_what_is_no_file_of_the_formulary_is_refused(lotion, path, put, said):
    outside = lotion.root.parent / "outside.toml"
    outside.write_text(LOTION)
    (lotion.root / path).unlink()
    put(lotion.root / path, outside)
    before = snapshot(lotion.root)
    for command in (COMMANDS[1], COMMANDS[3]):
        message = lotion.refused(*command)
        assert f"{path}: {said}" in message
    assert snapshot(lotion.root) == before
    assert outside.read_text() == LOTION


def test_a_link_inside_the_formulary_is_followed_and_kept(lotion):
    lotion.write("formulas/kept/lotion-2.txt", LOTION)
    (lotion.root / PATH).unlink()
    (lotion.root / PATH).symlink_to("kept/lotion-2.txt")
    lotion.ok("set", "lotion", "glycerin=2", "--save")
    assert (lotion.root / PATH).is_symlink()
    assert lotion.read("formulas/kept/lotion-2.txt") == LOTION.replace("3.00", "2")


def test_a_file_where_the_folder_of_formulas_should_be(studio):
    studio.write("formulas", "not a folder\n")
    said = studio.refused("sheet", "lotion")
    assert 'no formula "lotion"' in said
    assert studio.read("formulas") == "not a folder\n"


# --- bad neighbours ---------------------------------------------------------------------------------


def bad_neighbours(lotion: Studio) -> None:
    """Everything that can be bad, beside a good plan."""
    lotion.write("formulas/broken.toml", "format = = 1\n")
    lotion.write("formulas/latin.toml", "title = 'Ros\xe9'\n".encode("latin-1"))
    lotion.write("formulas/short.toml", LOTION.replace('"balance"', "1"))
    lotion.write("formulas/newer.toml", "format = 99\n")
    lotion.write("formulas/Odd Name.toml", LOTION)
    lotion.write("formulas/empty.toml", "")
    (lotion.root / "formulas/folder.toml").mkdir()
    (lotion.root / "formulas/dangling.toml").symlink_to("nowhere")
    lotion.write("materials/broken.toml", "name = \n")
    lotion.write("materials/too-much.toml", 'format = 1\n[composition]\n"Aqua" = [100, 100]\n"Glycerin" = 5\n')
    lotion.write("materials/latin.toml", "name = 'Ros\xe9'\n".encode("latin-1"))
    (lotion.root / "materials/dangling.toml").symlink_to("nowhere")
    lotion.write("variants/lotion/broken.toml", "[[[")
    lotion.write("trials/lotion/broken.toml", "[[[")
    with (lotion.root / "materials/huge.toml").open("wb") as file:
        file.truncate(50_000_000)


def test_bad_plans_and_records_do_not_hinder_work_on_a_good_one(lotion):
    bad_neighbours(lotion)
    assert lotion.json("sheet", "lotion")["closed"] is True
    assert lotion.ok("weigh", "lotion").err == ""
    lotion.ok("revise", "lotion", "--reason", "first plan")
    lotion.ok("set", "lotion", "glycerin=2.50", "--reason", "less sticky")
    assert lotion.json("diff", "lotion.1", "lotion.2")["before"]["revision"] == 1
    assert len(lotion.json("history", "lotion")["revisions"]) == 2
    assert "2.50" in lotion.ok("trace", "lotion", "glycerin").out
    assert lotion.git("show", "--format=", "--name-only", "HEAD").split() == [PATH]
    lotion.ok("new", "formula", "fresh", "A:water=balance")


def test_todays_page_shows_the_good_and_names_the_bad(lotion):
    lotion.ok("revise", "lotion", "--reason", "first plan")
    lotion.edit(PATH, "3.00", "2.50")
    bad_neighbours(lotion)
    result = lotion.ok()
    good, _, bad = result.out.partition("To mend")
    assert "fvc diff lotion   then   fvc revise lotion --reason TEXT" in good
    assert "fvc sheet balm   then   fvc revise balm --reason TEXT" in good
    assert good.count("fvc revise") == 2
    told = " ".join(bad.split())
    for name, why in {
        "Odd Name": '"Odd Name" is no id, only small letters a to z, digits and hyphens are allowed, starting with a letter or digit: rename its file',
        "broken": 'formulas/broken.toml:1: not readable as TOML: invalid value, in "format = = 1"',
        "dangling": "formulas/dangling.toml: a link that leads nowhere",
        "empty": "formulas/empty.toml: the file is empty",
        "folder": "formulas/folder.toml: a folder stands where a file should be",
        "latin": "formulas/latin.toml:1: not UTF-8: byte 0xe9 on line 1 (Latin-1 or Windows-1252?)",
        "newer": "formulas/newer.toml:1: format: format 99 is newer than this fvc reads (format 1)",
        "short": "the lines total 22.90, 77.10 short of 100",
        "lotion/broken": "variants/lotion/broken.toml:1: not readable as TOML",
    }.items():
        assert f"{name}: {why}" in told
    assert "trials/lotion/broken.toml:1: not readable as TOML" in result.err


def test_a_bad_plan_in_the_past_does_not_hinder_the_present(lotion):
    lotion.ok("revise", "lotion", "--reason", "first plan")
    lotion.write(PATH, "format = = 1\n")
    lotion.save_as("Bo", "2026-03-02", PATH, message="a slip")
    lotion.write(PATH, LOTION.replace("revision = 0", "revision = 1").replace("3.00", "2.50"))
    lotion.ok("revise", "lotion", "--reason", "mended, and less sticky")
    assert lotion.json("sheet", "lotion")["revision"] == 2
    assert lotion.ok("history", "lotion").out.count("a slip") == 1


def test_tables_inside_tables_without_end_are_refused(toner):
    toner.write("formulas/deep.toml", "format = 1\nx = " + "[" * 60 + "]" * 60 + "\n[phase.A.percent]\nwater = 100\n")
    assert "nested too deeply" in toner.refused("sheet", "deep")


def test_materials_that_stand_outside_the_percents_are_no_silent_loss(here, lotion):
    lotion.write(PATH, LOTION.replace("[phase.B.percent]\n", ""))
    for command in ("sheet", "weigh"):
        said = here(command, "lotion", code=2).err
        assert "stands outside [phase.B.percent], so it does not count" in said
    assert "stands outside" in here("revise", "lotion", "--reason", "x", code=2).err
