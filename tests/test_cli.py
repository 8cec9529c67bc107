"""The command line itself: help, wrong calls, what goes where, colours, widths, and a fault of the tool."""

import json
import os
import pty
import re
import select
import struct
import subprocess
import sys
import termios
from fcntl import ioctl
from pathlib import Path

import pytest

import fvc
from fvc.cli.commands import COMMANDS, DAY, EVERY
from fvc.cli.main import main
from tests import toner as t
from tests.support import Studio

ESCAPE = "\x1b"
COLOUR = re.compile(r"\x1b\[[0-9;]*(?:3[0-7]|38;|9[0-7])[0-9;]*m")


def screen(studio, *arguments, width=80, typed=b"", **env) -> tuple[int, str]:
    """Run a command in a terminal of its own; its exit code and what was seen on the screen."""
    leader, follower = pty.openpty()
    ioctl(follower, termios.TIOCSWINSZ, struct.pack("HHHH", 40, width, 0, 0))
    process = subprocess.Popen(
        [sys.executable, "-m", "fvc", *arguments],
        cwd=studio.root,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1", "TERM": "xterm-256color"} | env,
        stdin=follower,
        stdout=follower,
        stderr=follower,
        start_new_session=True,
    )
    os.close(follower)
    if typed:
        os.write(leader, typed)
    seen = b""
    while select.select([leader], [], [], 30)[0]:
        try:
            piece = os.read(leader, 65536)
        except OSError:  # the terminal is gone when the last program in it ends
            break
        if not piece:
            break
        seen += piece
    os.close(leader)  # ends a program that still waits for an answer
    return process.wait(timeout=30), seen.decode().replace("\r\n", "\n")


# --- help ------------------------------------------------------------------------------------------


def test_help_follows_the_makers_day(studio):
    out = studio.ok("--help").out
    assert out.startswith(f"fvc {fvc.__version__}")
    titles = ["On paper", "At the bench", "Afterwards", "Together"]
    assert [title for title, _ in DAY] == titles
    places = [out.index(f"\n{title}\n") for title in titles]
    assert places == sorted(places)
    day = [
        "new",
        "sheet",
        "set",
        "swap",
        "stand-ins",
        "retotal",
        "variant",
        "ladder",
        "knockout",
        "diff",
        "ph",
        "workings",
        "check",
        "label",
        "cost",
        "material",
        "weigh",
        "trial",
        "results",
        "lot",
        "revise",
        "history",
        "trace",
        "demo",
        "setup",
        "connect",
        "share",
        "settle",
        "export",
    ]
    assert list(COMMANDS) == day
    places = [re.search(rf"^  {name} ", out, re.MULTILINE).start() for name in day]
    assert places == sorted(places)
    for command in COMMANDS.values():
        assert command.examples
        assert f"      {command.examples[0]}\n" in out
    assert max(map(len, out.split("\n"))) <= 80


def test_help_can_be_asked_for_in_several_ways(plain_folder):
    here = Studio(plain_folder)
    out = here.ok("--help").out
    assert here.ok("-h").out == out
    assert here.ok("help").out == out
    assert here.ok("help", "diff").out == here.ok("diff", "--help").out


@pytest.mark.parametrize("name", list(EVERY))
def test_every_command_has_help_with_examples(plain_folder, run_in, name):
    result = run_in(plain_folder)(*name.split(), "--help")
    assert result.err == ""
    assert f"fvc {name}" in result.out
    assert "Examples:" in result.out
    for example in EVERY[name].examples:
        assert example in result.out
    assert max(map(len, result.out.split("\n"))) <= 80
    assert ESCAPE not in result.out


def test_every_example_of_the_help_is_a_call_that_is_understood(toner):
    toner.write("formulas/face-toner.toml", toner.read("formulas/toner.toml"))
    toner.ok("set", "face-toner", "propanediol=3", "neroli-oil=0.2", "--reason", "first plan")
    for n in range(2, 6):
        toner.ok("set", "face-toner", f"propanediol=2.{n}", "--reason", f"try 2.{n}")
    toner.write("note.txt", "kept since then\n")
    toner.save_as("Ada", "2026-02-01", "note.txt")  # the day in an example needs something saved by it
    import shlex

    for command in COMMANDS.values():
        if command.name in AT_THE_BENCH:
            continue
        if command.name == "swap":  # by then `new` has made the record, and `set` has left a change unsaved
            toner.material("glycerin", "humectant", {"Glycerin": 99.5, "Aqua": "balance"}, "molar_mass = 92.09\n")
            toner.edit("materials/propanediol.toml", "[composition]", "molar_mass = 76.09\n[composition]")
            toner.edit("materials/betaine.toml", "[composition]", "molar_mass = 117.15\n[composition]")
            toner.ok("revise", "face-toner", "--reason", "as tried")
        if command.name == "ph":  # from a buffer with no acid in it yet
            toner.material("citric-acid-50", "pH adjuster", {"Citric Acid": 50, "Aqua": "balance"})
            toner.material("sodium-citrate", "buffer", {"Sodium Citrate": 100})
            toner.ok("set", "face-toner", "C:lactic-acid-80=none", "A:sodium-citrate=0.5", "--reason", "a buffer")
        for example in command.examples:
            words = shlex.split(example)
            assert words[0] == "fvc"
            if words[1] == "new":
                words[-1] = words[-1] if words[2] != "formula" else "hand-cream"  # the face toner is there by now
            result = toner.fvc(*words[1:])
            if command.name in WITH_ANOTHER:  # there is none here: understood, and answered so
                assert result.code in (0, 2), (example, result)
                assert "option" not in result.err
                assert "next:" in result.err or not result.err
            else:
                assert result.code == 0 or (words[1], result.code) == ("check", 1), (example, result)


WITH_ANOTHER = ("connect", "share", "settle", "export")
AT_THE_BENCH = ("trial", "results", "lot")


@pytest.fixture
def bench(prepared, run_in):
    """A face toner of which one batch is being made and another was released: what the examples of the bench are about."""
    return run_in(prepared(_bench, run_in))


def _bench(folder, run_in) -> None:
    toner = t.saved(folder)
    toner.write("formulas/face-toner.toml", toner.read("formulas/toner.toml"))
    toner.material("citric-acid-50", "pH adjuster", {"Citric Acid": 50, "Aqua": "balance"})
    toner.write("sheet.csv", "material,grams,lot\nbetaine,2.25,BE-2\n")
    toner.write("look.jpg", b"\xff\xd8\xff\xe0" + b"0" * 100)
    here = run_in(toner.root)
    here("set", "face-toner", "propanediol=3", "neroli-oil=0.2", "--reason", "first plan")
    for n in (2, 3, 4):
        here("set", "face-toner", f"propanediol=2.{n}", "--reason", f"try 2.{n}")
    here("trial", "start", "face-toner", "--batch", "150g", "--for", "sale", "--at", "2026-03-01 10:00", "--by", "Mirela Tann")
    toner.git("mv", "trials/face-toner/ft-260301-mt-a.toml", "trials/face-toner/ft-260301-mt-b.toml")
    here("trial", "weighed", "water", "135.6", "--lot", "W-1")
    here("trial", "close", "--verdict", "reject", "--because", "a trial of the tool", "--bulk", "135")
    here("trial", "start", "face-toner", "--batch", "150g", "--at", "2026-03-01 10:00", "--by", "Mirela Tann")
    for material, grams in (("water", "135.9"), ("neroli", "0.30"), ("poly", "2.40")):
        here("trial", "weighed", material, grams, "--lot", "PD-114")


@pytest.mark.parametrize("example", [e for name, c in EVERY.items() if name.split()[0] in AT_THE_BENCH for e in c.examples])
def test_every_example_of_the_bench_is_a_call_that_is_understood(bench, monkeypatch, example):
    import io
    import shlex

    words = shlex.split(example)
    assert words[0] == "fvc"
    monkeypatch.setattr("sys.stdin", io.StringIO(""))  # nobody at the keyboard: a session ends at once
    bench(*words[1:])


def test_version(plain_folder):
    here = Studio(plain_folder)
    assert here.ok("--version").out == here.ok("-V").out == f"fvc {fvc.__version__}\n"


# --- wrong calls -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "arguments, said",
    [
        (["shet", "toner"], "did you mean sheet or set or share?"),
        (["histroy", "toner"], "did you mean history?"),
        (["frobnicate"], "fvc --help lists the commands"),
        (["--josn"], "fvc --help lists the commands"),
        (["sh\x1b[2Jeet"], r"sh\x1b[2Jeet"),
        (["sheet"], "fvc sheet --help"),
        (["sheet", "toner", "--bacth", "100g"], "--batch"),
        (["sheet", "toner", "extra"], "extra"),
        (["sheet", "toner", "--batch"], "--batch"),
        (["diff", "toner", "--must-macth"], "--must-match"),
        (["revise", "toner", "--reson", "x"], "--reason"),
        (["weigh", "toner", "--scale", "small"], "--scale"),
        (["set", "toner"], "fvc set --help"),
        (["set", "toner", "propanediol"], "write MATERIAL=2.5"),
        (["new", "formla", "x"], "fvc new formula NAME"),
    ],
)
def test_a_wrong_call_is_refused_with_the_way_out(toner, arguments, said):
    result = toner.fvc(*arguments)
    assert (result.code, result.out) == (2, ""), result
    assert said in result.err
    assert "next:" in result.err
    assert "Traceback" not in result.err
    assert ESCAPE not in result.err


def test_bytes_that_are_no_text_are_refused(toner):
    done = subprocess.run(
        [sys.executable.encode(), b"-m", b"fvc", b"sheet", b"t\xf6ner"],
        cwd=toner.root,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent)},
        capture_output=True,
    )
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr


# --- what goes where -------------------------------------------------------------------------------


def test_data_go_to_stdout_and_messages_to_stderr(toner):
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 3.00\nextra-key = 1.00")
    result = toner.fvc("sheet", "toner", "--json")
    assert result.code == 2
    assert json.loads(result.out)["closed"] is False
    assert 'unknown material "extra-key"' in result.err
    result = toner.fvc("sheet", "tonner")
    assert result.out == ""
    assert result.err.startswith("formulas/tonner.toml: no formula")


def test_every_reading_command_gives_one_value_of_json_and_nothing_else(toner):
    for arguments in (["sheet", "toner"], ["weigh", "toner"], ["diff", "toner"], ["history", "toner"], ["trace", "toner", "water"], []):
        result = toner.ok(*arguments, "--json")
        assert result.data["schema"] == 1
        assert result.out.endswith("}\n")
        assert result.err == ""


def test_numbers_in_json_are_texts_and_never_floats(toner):
    def floats(value):
        if isinstance(value, dict):
            return [f for v in value.values() for f in floats(v)]
        if isinstance(value, list):
            return [f for v in value for f in floats(v)]
        return [value] if isinstance(value, float) else []

    for arguments in (["sheet", "toner"], ["weigh", "toner"], ["diff", "toner"], ["history", "toner"]):
        assert floats(toner.json(*arguments)) == []


def test_today_shows_what_is_unsaved_and_what_is_to_mend(toner):
    assert "Everything is saved and closes." in toner.ok().out
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.50")
    toner.formula("mist", {"A": {"water": "90.00"}})
    toner.write("formulas/half.toml", "[phase.A")
    out = toner.ok().out
    assert "fvc diff toner   then   fvc revise toner --reason TEXT" in out
    assert "half: formulas/half.toml" in out
    assert "mist: " in out.partition("To mend")[2]
    plans = {row["plan"]: row for row in toner.json()["plans"]}
    assert plans["toner"]["saved"] is False
    assert plans["toner"]["problem"] is None
    assert plans["half"]["problem"]


# --- colours ---------------------------------------------------------------------------------------


SCREENS = (
    ["sheet", "toner", "--composition"],
    ["weigh", "toner"],
    ["diff", "toner"],
    ["history", "toner"],
    ["trace", "toner", "propanediol"],
    ["set", "toner", "propanediol=1"],
    [],
)


@pytest.fixture
def changed(toner) -> Studio:
    """The toner with two revisions and unsaved work."""
    toner.ok("set", "toner", "propanediol=2.75", "--reason", "less sticky")
    toner.edit("formulas/toner.toml", "betaine = 1.50", "betaine = 1.80")
    return toner


def test_a_pipe_gets_no_escape_codes_whatever_the_terminal_is(changed):
    for arguments in SCREENS:
        result = changed.ok(*arguments, env={"TERM": "xterm-256color", "COLORTERM": "truecolor"})
        assert ESCAPE not in result.out + result.err, arguments


def test_a_terminal_gets_colours_and_the_same_words(changed):
    for arguments in (["diff", "toner"], ["history", "toner"], ["trace", "toner", "propanediol"]):
        code, seen = screen(changed, *arguments)
        assert code == 0
        assert COLOUR.search(seen), arguments
        plain = re.sub(r"\x1b\[[0-9;]*m", "", seen)
        # nothing is said by colour alone: without it the words are those that a pipe gets
        assert plain.split() == changed.ok(*arguments).out.split()


def test_no_color_is_honoured_in_a_terminal(changed):
    for arguments in SCREENS:
        _, seen = screen(changed, *arguments, typed=b"n\n", NO_COLOR="1")
        assert not COLOUR.search(seen), arguments
    code, seen = screen(changed, "diff", "toner", TERM="dumb")
    assert code == 0
    assert ESCAPE not in seen


def test_in_a_terminal_a_change_is_asked_about(toner):
    code, seen = screen(toner, "set", "toner", "propanediol=2.5", typed=b"n\n")
    assert code == 0
    assert "write this into the plan? [y/N]" in seen
    assert "propanediol = 3.00" in toner.read("formulas/toner.toml")
    code, seen = screen(toner, "set", "toner", "propanediol=2.5", typed=b"y\n")
    assert code == 0
    assert "propanediol = 2.5\n" in toner.read("formulas/toner.toml")


def test_in_a_terminal_a_missing_reason_is_asked_for(toner):
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.50")
    code, seen = screen(toner, "revise", "toner", typed=b"less sticky\n")
    assert code == 0
    assert "why?" in seen
    assert toner.git("log", "-1", "--format=%s").strip() == "toner 2: less sticky"


def test_without_a_terminal_nothing_is_written_unless_told(toner):
    result = toner.ok("set", "toner", "propanediol=2.5", input="y\n")
    assert "Nothing was written." in result.out
    assert "propanediol = 3.00" in toner.read("formulas/toner.toml")


# --- 80 columns ------------------------------------------------------------------------------------


LONG = "sodium-lactate-solution-sixty-percent-from-the-second-stores"
OTHER = "sodium-pyrrolidone-carboxylate-solution-fifty-percent-drum-7"
NUMBERS = ("12.12345678", "11.87654321", "0.00000001", "75.12345678")


@pytest.fixture
def wide(studio) -> Studio:
    """A plan with the longest names and numbers there may be."""
    assert (len(LONG), len(OTHER)) == (60, 60)
    for id, inci in ((LONG, "Sodium Lactate"), (OTHER, "Sodium PCA")):
        studio.material(id, "humectant and skin conditioning agent", {inci: 60, "Aqua": "balance"})
    text = f"""\
format = 1
title = "A plan with the longest names and the longest numbers that there may be, in a long title"
revision = 0
use = ["leave-on", "spray"]
batch = "123456.78 g"

[spec]
ph = [4.6, 5.2]

[phase.the-hot-water-phase1]
method = "{"Stir slowly, and wait. " * 20}"
[phase.the-hot-water-phase1.percent]
water = "balance"
{LONG} = 12.12345678

[phase.cool-down-below-40-c]
[phase.cool-down-below-40-c.percent]
{OTHER} = 0.00000001
"""
    studio.write("formulas/wide.toml", text)
    studio.ok("revise", "wide", "--reason", "a first plan with a reason that goes on and on, " * 5)
    studio.edit("formulas/wide.toml", f"{LONG} = 12.12345678\n", "")
    studio.edit("formulas/wide.toml", f"{OTHER} = 0.00000001", f"{OTHER} = 0.00000002\n{LONG} = 11.87654321")
    return studio


@pytest.mark.parametrize(
    "arguments, numbers",
    [
        (["sheet", "wide.1", "--composition"], ["87.87654321", "12.12345678", "0.00000001", "108489.55"]),
        (["weigh", "wide.1"], ["108489.55", "14967.23"]),
        (["weigh", "wide.1", "--scale", "0.001g"], ["108489.551", "14967.229"]),
        (["diff", "wide"], ["12.12345678", "11.87654321", "-0.24691357", "0.00000002", "-304.83"]),
        (["diff", "wide", "--all"], ["12.12345678", "11.87654321", "-0.24691357"]),
        (["history", "wide"], ["12.12345678", "11.87654321", "-0.24691357"]),
        (["trace", "wide", LONG], ["12.12345678", "11.87654321", "-0.24691357"]),
        (["trace", "wide", OTHER], ["0.00000001", "0.00000002"]),
        ([], []),
    ],
)
def test_no_number_is_cut_and_no_line_is_longer_than_80(wide, arguments, numbers):
    out = wide.ok(*arguments).out
    assert max(map(len, out.split("\n"))) <= 80
    for number in numbers:
        assert re.search(rf"(?<![0-9.]){re.escape(number)}(?![0-9])", out), f"{number} is not whole in\n{out}"
    assert "…" not in out


def test_a_narrow_terminal_cuts_no_number_either(wide):
    for width in (80, 100):
        _, seen = screen(wide, "diff", "wide", width=width, NO_COLOR="1")
        for number in ("12.12345678", "11.87654321", "-0.24691357"):
            assert number in seen


def test_a_refusal_with_the_longest_name_keeps_it_whole(wide):
    assert LONG in wide.refused("trace", "wide", LONG[:-1] + "x")


def test_a_text_cannot_drive_the_terminal(toner):
    toner.edit("formulas/toner.toml", 'title = "toner"', r'title = "to\u001b[31mner\u0007\u009b2J"')
    toner.edit("formulas/toner.toml", "[phase.A]\n", '[phase.A]\nmethod = "stir\\u001b]0;owned\\u0007"\n')
    for arguments in (["sheet", "toner"], ["weigh", "toner"], ["diff", "toner"], ["history", "toner"], ["trace", "toner", "water"], []):
        result = toner.ok(*arguments)
        for letter in ("\x1b", "\x07", "\x9b"):
            assert letter not in result.out + result.err, arguments


# --- a fault of the tool ---------------------------------------------------------------------------


def test_a_fault_of_the_tool_is_3_with_a_block_to_report(toner, monkeypatch, capsys):
    import fvc.show.sheets

    def broken(*_, **__):
        raise ZeroDivisionError("a secret of the formula: 12.5 of the scent")

    monkeypatch.chdir(toner.root)
    monkeypatch.setattr(fvc.show.sheets, "sheet", broken)
    before = toner.read("formulas/toner.toml")
    assert main(["sheet", "toner"]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    block = err.split("---\n")[1]
    assert err.startswith("This is a fault of fvc, not yours.")
    assert "next: please report it with the block below." in err
    assert f"fvc {fvc.__version__}, Python {sys.version.split()[0]}" in block
    assert "command: sheet\n" in block
    assert "ZeroDivisionError" in block
    assert "cli/read.py:" in block
    assert str(toner.root) not in err  # the maker's folders are nobody's business
    assert toner.read("formulas/toner.toml") == before


def test_a_planned_refusal_is_never_a_fault(toner, monkeypatch, capsys):
    monkeypatch.chdir(toner.root)
    assert main(["sheet", "nothing"]) == 2
    assert main(["sheet", "toner"]) == 0
    assert "fault of fvc" not in capsys.readouterr().err


def test_settings_that_are_not_saved_are_said_with_the_commands_whole(toner):
    toner.edit("formulary.toml", "Test studio", "Other studio")
    page = toner.ok().out
    assert "    git add formulary.toml\n    git commit -m Settings formulary.toml\n" in page
    assert toner.ok("--json").data["settings_saved"] is False
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 2.50")
    assert "by the way: formulary.toml is not saved" in toner.ok("revise", "toner", "--reason", "less sticky").err
    toner.git("add", "formulary.toml")
    toner.git("commit", "-qm", "Settings", "formulary.toml")
    assert toner.ok("--json").data["settings_saved"] is True
    assert "formulary.toml" not in toner.ok().out


@pytest.mark.parametrize("width", [30, 44, 60])
def test_a_narrow_terminal_cuts_no_digit(toner, width):
    for arguments, number in (
        (["weigh", "toner", "--batch", "20kg"], "18084.00"),
        (["sheet", "toner"], "162.76"),
        (["trace", "toner", "water"], "90.42"),
    ):
        assert number in toner.ok(*arguments, env={"COLUMNS": str(width)}).out


def test_a_formula_that_is_gone_from_the_folder_is_missed(toner):
    (toner.root / "formulas/toner.toml").unlink()
    page = " ".join(toner.ok().out.split())
    assert "toner: it was saved and is gone from the folder; to have it back: git restore formulas/toner.toml" in page
    toner.git("restore", "formulas/toner.toml")
    assert "gone" not in toner.ok().out


def test_a_plain_locale_without_utf8_ends_in_no_fault(toner):
    toner.edit("formulas/toner.toml", 'title = "toner"', 'title = "Öl"')
    result = toner.fvc("sheet", "toner", env={"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"})
    assert result.code == 0, result
