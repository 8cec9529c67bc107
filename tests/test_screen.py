"""The two screens: plain text for a pipe or a file, the same words with colours in a terminal."""

import io
import re

import pytest

from fvc.show.screen import Grid, Screen, cell_width, grid, styled
from fvc.show.terminal import Terminal
from tests.support import Studio

ANSI = re.compile(r"\x1b\[[0-9;]*m")


class Tty(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def both(monkeypatch):
    """Draw on both screens, 60 columns wide; the lines of each, colours and trailing blanks taken off."""
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)

    def draw(what):
        out = []
        for screen in (Screen(io.StringIO(), 60), Terminal(Tty())):
            what(screen)
            out.append(screen.file.getvalue())
        plain, coloured = out
        return plain, coloured, [line.rstrip() for line in ANSI.sub("", coloured).splitlines()]

    return draw


def table() -> Grid:
    made = grid(("", "left"), ("material", "left"), ("%", "right"), ("points", "right"))
    made.add_row(styled("raised", "raised"), "propanediol", "3.20 ", styled("+0.50 ", "raised"))
    made.add_row(
        styled("lowered", "lowered"), "caprylic capric triglyceride of a very long name indeed", "12.125", styled("-0.125", "lowered")
    )
    made.add_row("", "water", "84    ", "")
    return made


@pytest.mark.parametrize(
    "what",
    [
        lambda s: s.say("a paragraph that is much longer than sixty columns and has to be folded somewhere behind a word", 4),
        lambda s: s.head("Lines", "grams at 200 g"),
        lambda s: s.head("緑茶とオレンジの花のフェイストナー、夏のための軽い香り", "green-tea-toner, revision 12, changed since"),
        lambda s: s.say("Größe und Duft, " * 6 + "軽い香り" * 9 + " am Ende"),
        lambda s: s.item("mend:  ", "take preservative-premix from 2.4 to 2.3358 % of the product, or a little less than that", 6),
        lambda s: s.words(styled("raised", "raised"), "propanediol", "A", indent=2),
        lambda s: s.print("one\ntwo"),
        lambda s: s.print(),
        lambda s: s.rule(),
        lambda s: s.table(table()),
        lambda s: s.table(table(), 4),
    ],
)
def test_a_terminal_shows_the_words_of_a_pipe(both, what):
    plain, _, stripped = both(what)
    assert plain.splitlines() == stripped
    assert all(cell_width(line) <= 60 for line in stripped)


def test_colour_comes_with_its_word_and_only_in_a_terminal(both):
    plain, coloured, _ = both(lambda s: s.table(table()))
    assert "\x1b" not in plain
    assert "\x1b" in coloured
    assert "raised" in plain


def test_numbers_are_whole_and_their_points_in_one_column(both):
    plain, _, _ = both(lambda s: s.table(table()))
    rows = plain.splitlines()
    assert [row.index(".") for row in rows if "+0.50" in row] == [row.index(".") for row in rows if "-0.125" in row]
    assert all(len(row) <= 60 for row in rows)
    narrow = io.StringIO()
    Screen(narrow, 30).table(table())
    assert "-0.125" in narrow.getvalue()
    assert "12.125" in narrow.getvalue()


def test_no_text_can_drive_the_terminal(both):
    def draw(screen):
        evil = "name\x1b[2J\x07\r"
        screen.say(evil)
        screen.head(evil, evil)
        screen.item("x ", evil)
        made = grid(("name", "left"))
        made.add_row(evil)
        screen.table(made)

    plain, coloured, stripped = both(draw)
    assert not set(plain) & {"\x1b", "\x07", "\r"}
    assert not any(set(line) & {"\x1b", "\x07", "\r"} for line in stripped)
    assert "[2J" in coloured  # visible, as text
    assert "\x1b[2J" not in coloured


@pytest.mark.parametrize("text, width", [("abc", 3), ("Öl", 2), ("香水", 4), ("e\u0301", 1)])
def test_how_wide_a_text_is(text, width):
    assert cell_width(text) == width


def test_a_heading_in_wide_letters_keeps_to_the_width(plain_folder):
    studio = Studio(plain_folder)
    studio.write("formulary.toml", 'format = 1\nname = "Test"\n')
    studio.material("water", "solvent", {"Aqua": 100})
    studio.formula("toner", {"A": {"water": "balance"}})
    studio.edit(
        "formulas/toner.toml",
        'title = "toner"',
        'title = "緑茶とオレンジの花のフェイストナー、夏のための軽い香り、三番目の試作品、スプレー"',
    )
    for command in ("check", "label", "cost", "sheet"):
        lines = studio.fvc(command, "toner").out.splitlines()
        assert lines
        assert [line for line in lines if cell_width(line) > 80] == [], command
