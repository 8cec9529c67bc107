"""The session at the bench, as a maker with wet gloves types it: in a terminal, through a pipe, broken off anywhere.

Toner T at 180 g. What each test expects of the batch is worked out here, from the grams on the sheet and what was typed.
"""

import io
import os
import re
import signal
import struct
import subprocess
import sys
import time
from fractions import Fraction as F
from pathlib import Path

import pytest

from fvc.files.trials import read_trial
from fvc.trial import Entry, in_force
from tests.support import Result, Studio, ready

SHEET = {
    "water": F("162.76"), "propanediol": F("5.40"), "betaine": F("2.70"), "panthenol-75": F("2.16"), "rice-protein-25": F("1.44"),
    "polysorbate-20": F("2.88"), "neroli-oil": F("0.72"), "preservative-blend": F("1.62"), "lactic-acid-80": F("0.32"),
}  # fmt: skip
A = list(SHEET)[:5]


class Desk:
    """One batch and who weighs it."""

    def __init__(self, studio: Studio, here, monkeypatch) -> None:
        self.studio, self.here, self.monkeypatch = studio, here, monkeypatch
        self.id = ""

    def start(self, name: str = "toner", *words: str) -> "Desk":
        self.id = self.here("trial", "start", name, *(words or ("--batch", "180g")), "--json").data["id"]
        return self

    @property
    def file(self) -> Path:
        return next((self.studio.root / "trials").glob(f"*/{self.id}.toml"))

    def types(self, *answers: str, options: tuple[str, ...] = ()) -> Result:
        """A session in which these are typed, Enter behind each; then the keyboard falls silent."""
        self.monkeypatch.setattr(sys, "stdin", io.StringIO("".join(a + "\n" for a in answers)))
        return self.here("trial", "weigh", self.id, *options)

    @property
    def entries(self) -> list[Entry]:
        """What counts, as it is on disk."""
        parsed = read_trial(self.file.read_bytes(), self.file.name, self.id)
        assert parsed.value is not None, parsed.faults
        return in_force(parsed.value.entries)

    @property
    def told(self) -> list[tuple[str, str, str]]:
        """Action, subject and grams of every entry that counts."""
        return [(e.action, e.subject, "" if e.grams is None else f"{float(e.grams):g}") for e in self.entries]

    @property
    def percents(self) -> dict[str, F]:
        """The batch as made, by the sheet that any reference gives."""
        lines = self.here("sheet", self.id, "--json").data["lines"]
        found: dict[str, F] = {}
        for line in lines:
            found[line["material"]] = found.get(line["material"], F(0)) + F(line["percent"])
        return found


def flat(text: str) -> str:
    """What was said as one row, wherever it was folded."""
    return " ".join(text.split())


def near(found: dict[str, F], grams: dict[str, F]) -> bool:
    """True when percents are those of these grams, to the ten decimals of the data."""
    whole = sum(grams.values())
    return set(found) == set(grams) and all(abs(found[m] - g * 100 / whole) <= F(1, 10**9) for m, g in grams.items())


@pytest.fixture
def desk(toner, run_in, monkeypatch) -> Desk:
    """Toner T without a word about heat; nothing is weighed yet."""
    return Desk(toner, run_in(toner.root), monkeypatch).start()


WARM = ('heat = "70 °C"\nhold = "15 min"\nmethod = "Warm until clear."\n', 'add_below = "40 °C"\n')
WARM_F = ('heat = "158 °F"\nhold = "15 min"\n', 'add_below = "104 °F"\n')


def warmed(toner: Studio, run_in, monkeypatch, texts: tuple[str, str]) -> Desk:
    toner.edit("formulas/toner.toml", "[phase.A]\n", f"[phase.A]\n{texts[0]}")
    toner.edit("formulas/toner.toml", "[phase.C]\n", f"[phase.C]\n{texts[1]}")
    toner.fvc("revise", "toner", "--reason", "warm")
    return Desk(toner, run_in(toner.root), monkeypatch).start()


@pytest.fixture
def warm(toner, run_in, monkeypatch) -> Desk:
    """Toner T with phase A heated and phase C below 40 °C."""
    return warmed(toner, run_in, monkeypatch, WARM)


# --- a terminal -------------------------------------------------------------------------------------

pty = pytest.importorskip("pty", reason="a terminal is made with pty")

# Where a session waits: behind these it asks, and says nothing more.
WAITS = re.compile(r"(?:\n> |\]: |\[y/N\] |note: )$")


def _plain(said: bytes) -> str:
    """What was said, without colours and without the blanks that a terminal is filled with."""
    return re.sub(r" *\r\n", "\n", re.sub(r"\x1b\[[0-9;]*m", "", said.decode(errors="replace")))


class Terminal:
    """A session in a terminal of its own."""

    def __init__(self, desk: Desk, *options: str, columns: int = 80) -> None:
        import fcntl
        import termios

        size = struct.pack("HHHH", 24, columns, 0, 0)
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, size)
        env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1", "TERM": "xterm"}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "fvc", "trial", "weigh", desk.id, *options],
            cwd=desk.studio.root, env=env, stdin=slave, stdout=slave, stderr=slave, start_new_session=True, close_fds=True,
        )  # fmt: skip
        os.close(slave)
        self.asked = ""

    def read(self, seconds: float = 20) -> str:
        """What stands on the screen by the next question; without colours."""
        said, end = b"", time.monotonic() + seconds
        while time.monotonic() < end:
            if not ready(self.master, 0.05):
                text = _plain(said)
                if WAITS.search(text):
                    self.asked = text
                    return text
                continue
            try:
                more = os.read(self.master, 65536)
            except OSError:
                more = b""
            if not more:
                return _plain(said)
            said += more
        raise AssertionError(f"it does not ask: {said.decode(errors='replace')}")

    def type(self, text: str) -> str:
        """Type keys and Enter, and read on."""
        os.write(self.master, f"{text}\n".encode())
        return self.read()

    def end(self, how: int | None = None) -> int:
        """A signal, or `q`; how it ended."""
        if how is None:
            os.write(self.master, b"q\n")
        else:
            self.process.send_signal(how)
        while True:  # what is still said must be read, or it could not end
            try:
                if not os.read(self.master, 65536):
                    break
            except OSError:
                break
        code = self.process.wait(timeout=20)
        os.close(self.master)
        return code


@pytest.fixture
def terminal():
    """`terminal(desk)` opens a session in a terminal; closed at the end, whatever happened."""
    opened: list[Terminal] = []

    def make(desk: Desk, *options: str, columns: int = 80) -> Terminal:
        opened.append(Terminal(desk, *options, columns=columns))
        return opened[-1]

    yield make
    for each in opened:
        if each.process.poll() is None:
            each.process.kill()
            each.process.wait()


def test_the_next_line_in_large_with_its_target_and_what_is_there(desk, terminal):
    at = terminal(desk)
    assert "phase A, line 1 of 5\nWATER" in at.read()
    said = at.type("")
    assert "phase A, line 2 of 5\nPROPANEDIOL" in said
    assert (
        "    █████    █   █ █████\n    █        █   █ █   █\n    █████    █████ █   █\n        █        █ █   █\n    █████ ██     █ █████\n"
        in said
    )
    assert said.endswith("target 5.40 g; in the beaker so far 162.76 g\n> ")
    assert desk.told == [("weighed", "water", "162.76")]
    assert at.end() == 0
    assert desk.studio.git("status", "--porcelain") == ""  # saved as it was left


def test_one_key_for_a_line_that_is_exact(desk, terminal):
    """Nine lines, two phases poured with nothing left, and no bulk: fourteen times Enter, and no other key."""
    at = terminal(desk)
    at.read()
    for _ in range(13):
        at.type("")
    os.write(at.master, b"\n")
    said = at.read()
    assert at.process.wait(timeout=20) == 0
    assert "All lines are in. No deviation from the sheet." in said
    assert near(desk.percents, SHEET)
    assert [e.action for e in desk.entries] == ["weighed"] * 7 + ["combined"] + ["weighed"] * 2 + ["combined"]


@pytest.mark.parametrize("columns", [80, 60])
def test_every_question_is_seen_as_a_whole(warm, terminal, columns):
    """From an answer to the next question no more than 24 rows, and no row wider than the terminal: also a slip of a long plan."""
    lines = {"A": {"water": "balance"} | {f"hydrolysed-thing-{n:02}": "1.00" for n in range(20)}}
    for material in list(lines["A"])[1:]:
        warm.studio.material(material, "active", {"Thing": 100})
    warm.studio.formula("long", lines)
    warm.studio.fvc("revise", "long", "--reason", "many lines")
    seen = []
    for desk, keys in (
        (warm, ["", "", "6.40", "4", "3", "?", "30.14", "", "", "", "n", "a bit of foam", "420", "70, 15", "413.55", "0", "", "b", ""]),
        (Desk(warm.studio, warm.here, warm.monkeypatch).start("long", "--batch", "500g"), ["", "6.30", "b", ""]),
    ):
        at = terminal(desk, columns=columns)
        at.read()
        for key in keys:
            seen.append(at.type(key))
        assert at.end() == 0
    assert any("enlarge the batch to 630.00 g" in " ".join(s.split()) for s in seen)
    for text in seen:
        rows = [max(1, -(-len(row) // columns)) for row in text.split("\n")]  # the terminal itself folds what is too wide
        assert sum(rows) <= 24, text


QUESTIONS = [
    # what the question says, what is typed, what then is on disk as the last entry
    ("WATER", "", ("weighed", "water", "162.76")),
    ("PROPANEDIOL", "6.40", ("weighed", "propanediol", "6.4")),
    ("which [1 to 3; Enter: 1]: ", "2", None),
    ("which [1 to 3; Enter: 1]: ", "2\n5.50", ("weighed", "propanediol", "5.5")),
    ("which [1 to 3; Enter: 1]: ", "2\n5.40", ("weighed", "propanediol", "5.4")),
    ("BETAINE", "l BT-1\n2.70", ("weighed", "betaine", "2.7")),
    ("PANTHENOL-75", "n it clumps", ("noted", "it clumps", "")),
    ("PANTHENOL-75", "", ("weighed", "panthenol-75", "2.16")),
    ("RICE-PROTEIN-25", "", ("weighed", "rice-protein-25", "1.44")),
    ("before heating, the vessel with all of it, g", "420.00", ("vessel", "A", "420")),
    ("heated to [70 °C, 15 min; s: it was not heated]", "72, 20", ("heated", "A", "")),
    ("after heating, the vessel with all of it, g", "413.55", ("lost", "water", "6.45")),
    ("water put back, g [6.45; 0: none]: ", "6.40", ("replaced", "water", "6.4")),
    ("POLYSORBATE-20", "2.88", ("weighed", "polysorbate-20", "2.88")),
    ("NEROLI-OIL", "", ("weighed", "neroli-oil", "0.72")),
    ("phase B into phase A [Enter: poured; s: stays apart]: ", "", ("combined", "B", "")),
    ("left on the beaker of phase B, g", "0.30", ("left", "B", "0.3")),
    ("PRESERVATIVE-BLEND", "", ("weighed", "preservative-blend", "1.62")),
    ("temperature now [Enter: it is below; s: go on without]: ", "39", ("cooled", "C", "")),
    ("phase C into phase A [Enter: poured; s: stays apart]: ", "", ("combined", "C", "")),
    ("left on the beaker of phase C, g", "0.02", ("left", "C", "0.02")),
    ("lactic-acid-80 is open", "0.30", ("added", "lactic-acid-80", "0.3")),
    ("finished product, g [Enter: not weighed]: ", "304.13-125.00", ("bulk", "product", "179.13")),
]


def test_nothing_is_lost_at_any_question_and_the_session_resumes_there(toner, run_in, monkeypatch, terminal):
    """A session is opened, asks, gets its answer, and has it on disk when the next question stands there; then it is ended the hard way."""
    toner.edit("formulas/toner.toml", "lactic-acid-80 = 0.18", 'lactic-acid-80 = { level = "open", expect = 0.18 }')
    desk = warmed(toner, run_in, monkeypatch, WARM)
    ends = [signal.SIGKILL, signal.SIGHUP, signal.SIGINT]
    before: list[tuple[str, str, str]] = []
    for number, (question, keys, last) in enumerate(QUESTIONS):
        at = terminal(desk)
        assert question in " ".join(at.read().split("\n")), (question, at.asked)
        assert desk.told == before  # what had been there when the last one was ended
        for key in keys.split("\n"):
            said = at.type(key) if question != QUESTIONS[-1][0] else (os.write(at.master, f"{key}\n".encode()), at.read())[1]
        now = desk.told
        if last is not None:
            written = read_trial(desk.file.read_bytes(), desk.file.name, desk.id).value.entries
            assert (written[-1].action, written[-1].subject, "" if written[-1].grams is None else f"{float(written[-1].grams):g}") == last
        before = now
        if question == QUESTIONS[-1][0]:
            assert at.process.wait(timeout=20) == 0
            assert "All lines are in. Deviations:" in said
        else:
            how = ends[number % 3]
            assert at.end(how) == (130 if how == signal.SIGINT else -how)
    # 6.45 g of water lost and 6.40 put back; 0.30 g of phase B and 0.02 g of phase C stayed on their beakers
    b, c = (F("3.60") - F("0.30")) / F("3.60"), (F("1.62") - F("0.02")) / F("1.62")
    assert near(
        desk.percents,
        SHEET
        | {"water": SHEET["water"] - F("0.05"), "polysorbate-20": F("2.88") * b, "neroli-oil": F("0.72") * b}
        | {"preservative-blend": F("1.62") * c, "lactic-acid-80": F("0.30")},
    )
    heated = next(e for e in desk.entries if e.action == "heated")
    assert (heated.temperature, heated.hold) == ("72 °C", "20 min")
    assert next(e.lot for e in desk.entries if e.subject == "betaine") == "BT-1"
    assert next(e.temperature for e in desk.entries if e.action == "cooled") == "39 °C"


def test_a_question_in_a_terminal_is_asked_once(desk, terminal):
    at = terminal(desk)
    at.read()
    said = at.type("1.5 kg")
    assert said.endswith("water: 1500.00 g, and 162.76 g are asked for. Is that right? [y/N] ")
    assert at.type("n").endswith("target 162.76 g; in the beaker so far 0.00 g\n> ")  # no: and not asked again
    assert desk.told == []
    at.type("1.5 kg")
    assert "which [1 to 3" in at.type("y")
    assert desk.told == [("weighed", "water", "1500")]
    at.end()


def test_ctrl_c_says_that_all_is_there(desk):
    done = subprocess.Popen(
        [sys.executable, "-m", "fvc", "trial", "weigh", desk.id], cwd=desk.studio.root, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert done.stdin
    assert done.stdout
    done.stdin.write(b"\n")
    done.stdin.flush()
    said = b""
    while not (b"PROPANEDIOL" in said and said.endswith(b"> ")):
        said += os.read(done.stdout.fileno(), 65536)
    done.send_signal(signal.SIGINT)
    assert f"Everything up to here is on disk. To go on:  fvc trial weigh {desk.id}".encode() in done.communicate(timeout=20)[0]
    assert done.returncode == 130


# --- weights ----------------------------------------------------------------------------------------


def test_actual_difference_and_units(desk):
    done = desk.types("342.60-179.84", "5400 mg", "  2.70 g ", "0.0762 oz")
    assert desk.told[:3] == [("weighed", "water", "162.76"), ("weighed", "propanediol", "5.4"), ("weighed", "betaine", "2.7")]
    assert desk.entries[0].reading == "342.60-179.84"
    assert desk.entries[3].grams == round(F("0.0762") * F("28.349523125") * 10**8) / F(10**8)
    assert "5 of 9 lines are still to be weighed" in done.out


BAD_WEIGHTS = {
    "abc": "is no weight", "-4": "it is negative", "0": "it must be more than zero", "0 g": "more than zero", "162,76": "162.76",
    "100-200": "leaves nothing", "5-5": "leaves nothing", "1e3": "is no weight", "12 pounds": "is no weight", "4.5.2": "is no weight",
    "9" * 5000: "is no weight", "\x1b[A": "is no weight", "\x00": "is no weight", "１２": "is no weight", "5.40 5.40": "is no weight",
    "nan": "is no weight", "--cumulative": "is no weight", "sx": "is no weight", "4.123456789": "at most 8 are kept", "-": "is no weight",
}  # fmt: skip


@pytest.mark.parametrize(
    "before",
    [
        (),
        ("", "b"),
        ("", "6.40", "2"),
        ("", "4.40", "2"),
        ("", "", "", "", ""),  # the vessel before
        ("", "", "", "", "", "420", ""),  # the vessel behind
        ("", "", "", "", "", "420", "", "413.55"),  # what is put back
        ("", "", "", "", "", "", "", "", "", ""),  # what is left
        ("", "", "", "", "", "", "", "", "", "", "", "", "", "38", "", ""),  # the finished product
    ],
    ids=["line", "back", "take back", "add", "vessel", "after", "put back", "left", "bulk"],
)
def test_what_is_no_weight_is_told_and_asked_again(warm, before):
    """At every question that takes one: nothing is written, and the session goes on."""
    warm.types(*before[:-1] if before[-1:] in (("b",), ("2",)) else before)
    there = warm.file.read_bytes()
    again = before[-1:] if before[-1:] in (("b",), ("2",)) else ()
    bad = {k: v for k, v in BAD_WEIGHTS.items() if k != "0"} if before[-1:] in (("413.55",), ("",)) else BAD_WEIGHTS
    done = warm.types(*(key for each in bad for key in (*again, each)), "", "q")
    assert done.err.count("not written: ") == len(bad), done.err
    for text in bad.values():
        assert text in done.err
    assert "\x1b" not in done.err
    assert warm.file.read_bytes().startswith(there)
    assert len(warm.entries) <= len(read_trial(there, "x", warm.id).value.entries) + 1


@pytest.mark.parametrize(
    ("before", "bad"),
    [
        (("", "6.40"), ["0", "4", "-1", "1.5", "take", "99999999999999999999", "²"]),
        (("", "", "", "", "", ""), ["hot", "70 K", "70 C, soon", "1.2.3", ", ", "70,,5", "70 C 15 min"]),
        (("", "", "", "", "", "", "", "", ""), ["0.30", "yes", "C into A"]),
        (("", "", "", "", "", "", "", "", "", "", "", "", ""), ["cold", "38 X", "--5"]),
    ],
    ids=["slip", "heat", "pour", "cool"],
)
def test_other_answers_that_cannot_stand(warm, before, bad):
    warm.types(*before)
    there = warm.told
    done = warm.types(*bad, "q")
    assert warm.told == there
    assert done.err.count("not written: ") == len(bad), (done.out, done.err)
    assert done.err.count("  next: ") == len(bad)


def test_a_weight_that_is_far_off_is_asked_about(warm):
    """1.5 kg where 1.5 g was meant; at the lines, the vessel, what is put back, and the finished product. No is the answer of Enter."""
    done = warm.types(
        "", "", "", "", "1.5 kg", "", "0.01", "no", "1.44", "1.5", "n", "420", "70", "100", "n", "421", "n", "413.55", "64.5", ""
    )
    for question in (
        "rice-protein-25: 1500.00 g, and 1.44 g are asked for",
        "rice-protein-25: 0.01 g, and 1.44 g are asked for",
        "1.50 g is less than the 174.46 g that are in it",
        "320.00 g less than before",
        "421.00 g is more than the 420.00 g before",
        "64.50 g, and 6.45 g are missing",
    ):
        assert f"{question}. Is that right? [y/N]" in flat(done.out), question
    assert [t for t in warm.told if t[0] != "weighed"] == [("vessel", "A", "420"), ("heated", "A", ""), ("vessel", "A", "413.55"), ("lost", "water", "6.45")]  # fmt: skip
    done = warm.types("", "", "", "", "", "", "", "", "", "", "1.8 kg", "", "18", "n", "179.50")
    assert "1800.00 g, and 180.00 g went in. Less the vessel? [y/N]" in flat(done.out)
    assert "18.00 g, and 180.00 g went in. Less the vessel? [y/N]" in flat(done.out)
    assert warm.told[-1] == ("bulk", "product", "179.5")


def test_a_temperature_of_the_other_scale_is_asked_about(toner, run_in, monkeypatch):
    """A plan in °F, and a thermometer in °C: 70 alone would be 70 °F."""
    desk = warmed(toner, run_in, monkeypatch, WARM_F)
    done = desk.types(*[""] * 5, "420", "70", "n", "70 C, 20", "419")
    assert "heat to 158 °F (70 °C), hold 15 min" in done.out
    assert "70 °F (21 °C), and 158 °F (70 °C) is asked for. Is that right? [y/N]" in flat(done.out)
    heated = next(e for e in desk.entries if e.action == "heated")
    assert (heated.temperature, heated.hold) == ("70 C", "20 min")
    done = desk.types(*[""] * 5, "", "", "40", "n", "120", "n", "39c", "", "")
    assert "Phase C goes in below 104 °F (40 °C)." in done.out
    assert "40 °F (4 °C), and 104 °F (40 °C) is asked for" in done.out
    assert "120 °F (49 °C) is too warm for it" in done.out
    assert [(e.subject, e.temperature) for e in desk.entries if e.action == "cooled"] == [("C", "39c")]
    assert "No deviation" in done.out  # 1 g of water was lost; it was put back
    assert [t for t in desk.told if t[0] in ("lost", "replaced")] == [("lost", "water", "1"), ("replaced", "water", "1")]


def test_what_was_not_measured_is_not_made_up(warm):
    """Enter all the way: no vessel, so nothing evaporated; below 40 °C by word and not by a figure."""
    done = warm.types(*[""] * 20)
    assert "All lines are in. No deviation from the sheet." in done.out
    assert [t for t in warm.told if t[0] != "weighed"] == [
        ("heated", "A", ""),
        ("combined", "B", ""),
        ("cooled", "C", ""),
        ("combined", "C", ""),
    ]
    cooled = next(e for e in warm.entries if e.action == "cooled")
    assert (cooled.temperature, cooled.because) == ("", "below 40 °C")


def test_passed_over(warm):
    """Not heated, not cooled, left apart, nothing put back: said once, not noted, not asked again in this session."""
    done = warm.types("", "", "", "", "", "", "s", "", "", "s", "", "", "s", "s", "")
    assert [t for t in warm.told if t[0] != "weighed"] == []
    assert "All lines are in." in done.out
    assert near(warm.percents, SHEET)  # also of beakers that stand apart


def test_left_out(desk):
    desk.types("", "s", "", "s", "none on the shelf", "s", "y", "q")
    assert [(e.action, e.subject, e.because) for e in desk.entries[1:]] == [
        ("omitted", "propanediol", "none on the shelf"),
        ("omitted", "betaine", ""),
    ]


def test_heat_without_water_asks_what_was_lost(studio, run_in, monkeypatch):
    """A phase of oil is lighter behind the heating: not water, so it is not taken as water."""
    studio.material("oil", "emollient", {"Oil": 100})
    studio.material("wax", "emulsifier", {"Wax": 100})
    studio.formula("balm", {"A": {"oil": "80", "wax": "10"}, "B": {"water": "balance"}})
    studio.edit("formulas/balm.toml", "[phase.A]\n", '[phase.A]\nheat = "75 °C"\n')
    studio.fvc("revise", "balm", "--reason", "first")
    desk = Desk(studio, run_in(studio.root), monkeypatch).start("balm", "--batch", "100g")
    done = desk.types("", "", "190", "", "189.70", "oi", "0", "q")
    assert "0.30 g less than before; of which material [Enter: not noted]: " in done.out
    assert desk.told[-1] == ("lost", "oil", "0.3")
    assert "heated to [75 °C; s: it was not heated]" in done.out


# --- a slip, and every way out of it ----------------------------------------------------------------


def ways(out: str) -> list[str]:
    """The ways out as offered, the last time that any were."""
    text = " ".join(out.split())
    return re.findall(r"(?<= )[1-5] ((?:leave|take|add|enlarge|move) .*?)(?= [1-5] (?:leave|take|add|enlarge|move) |which \[)", text)


def test_way_leave(desk):
    done = desk.types("", "6.40", "1", *[""] * 20)
    assert [w.split()[0] for w in ways(done.out)] == ["leave", "take", "enlarge"]
    assert "6.40 g is 1.00 g over its target of 5.40 g" in done.out
    assert "it is 3.5359 % instead of 3.00 %" in done.out
    made = SHEET | {"propanediol": F("6.40")}
    assert near(desk.percents, made)
    assert abs(desk.percents["propanediol"] - F("3.5359")) < F(1, 10_000)
    assert "propanediol (A): 6.40 g, 1.00 g over its target" in done.out


def test_way_take_back(desk):
    done = desk.types("", "6.40", "2", "5.60", "2", "", *[""] * 20)
    assert "5.60 g is 0.20 g over" in done.out  # still a slip: told again
    assert near(desk.percents, SHEET)
    assert "No deviation" in done.out


def test_way_take_back_of_the_second_portion(desk):
    """3.00 of 5.40, then 3.40 more: what comes out comes out of the line, not of everything that was weighed of it."""
    desk.types("", "3.00", "2", "3.40", "2", "5.45", *[""] * 20)
    assert near(desk.percents, SHEET | {"propanediol": F("5.45")})


def test_way_add(desk):
    done = desk.types("", "4.40", "2", "0.90", "2", "", *[""] * 20)
    assert "4.40 g is 1.00 g short of its target" in done.out
    assert "propanediol to add [1.00]: " in done.out
    assert "propanediol to add [0.10]: " in done.out
    assert near(desk.percents, SHEET)
    assert [t for t in desk.told if t[1] == "propanediol"] == [("weighed", "propanediol", g) for g in ("4.4", "0.9", "0.1")]


def test_what_is_added_is_asked_about_too(desk):
    done = desk.types("", "4.40", "2", "1.00 kg", "n", "2", "1.00", "q")
    assert "1000.00 g, and 1.00 g are asked for. Is that right?" in done.out
    assert desk.told[1:] == [("weighed", "propanediol", "4.4"), ("weighed", "propanediol", "1")]


def test_way_enlarge(desk):
    done = desk.types("", "6.40", "3", *[""] * 20)
    assert "enlarge the batch to 213.33 g; add water 30.14 g now; then betaine 3.20 g" in " ".join(done.out.split())
    assert "target 30.14 g more, 162.76 g are in; in the beaker so far 169.16 g" in done.out
    larger = {m: F(int(g * F("213.33") / 180 * 100 + F(1, 2)), 100) for m, g in SHEET.items()}
    assert desk.told[2] == ("enlarged", "batch", "213.33")
    assert near(desk.percents, larger | {"propanediol": F("6.40")})
    assert sum(larger.values()) == F("213.33") + F("-0.01") + F("0.01")
    assert all(abs(desk.percents[m] - g / F("1.8")) < F(1, 100) for m, g in SHEET.items())  # as planned, but for the scale


def test_stock_and_vessel_are_said_with_it(toner, run_in, monkeypatch):
    with (toner.root / "materials/neroli-oil.toml").open("a") as file:
        file.write('[[lot]]\nnumber = "N-1"\ngrams = 0.75\n')
    desk = Desk(toner, run_in(toner.root), monkeypatch).start("toner", "--batch", "180g", "--vessel", "200 mL")
    said = " ".join(desk.types("", "6.40", "q").out.split())
    assert "Against it: neroli-oil: 0.85 g needed, 0.10 g more than the shelf has; the vessel holds 200 mL, and this is 213.3 mL" in said


@pytest.fixture
def late(toner, run_in, monkeypatch) -> Desk:
    """The same toner with its water last in phase A."""
    text = (
        toner.read("formulas/toner.toml")
        .replace('water = "balance"\n', "")
        .replace("rice-protein-25 = 0.80\n", 'rice-protein-25 = 0.80\nwater = "balance"\n')
    )
    toner.write("formulas/toner.toml", text)
    toner.fvc("revise", "toner", "--reason", "water last")
    return Desk(toner, run_in(toner.root), monkeypatch).start()


@pytest.mark.parametrize(("weighed", "number"), [("6.40", "4"), ("4.40", "3")])
def test_way_balance(late, weighed, number):
    done = late.types(weighed, number, *[""] * 20)
    water = SHEET["water"] + SHEET["propanediol"] - F(weighed)
    assert f"move it to water, which is not in yet: its target becomes {float(water):.2f} g" in " ".join(done.out.split())
    assert near(late.percents, SHEET | {"propanediol": F(weighed), "water": water})
    assert sum(e.grams for e in late.entries if e.action == "weighed") == 180


def test_a_slip_in_the_balance_itself(desk):
    done = desk.types("170.00", "3", *[""] * 20)
    assert [w.split()[0] for w in ways(done.out)] == ["leave", "take", "enlarge"]
    size = F("188.01")  # 180 x 170 / 162.76, on the scale
    assert f"enlarge the batch to {float(size)} g" in done.out
    larger = {m: F(int(g * size / 180 * 100 + F(1, 2)), 100) for m, g in SHEET.items()}
    assert near(desk.percents, larger | {"water": F("170.00")})
    assert desk.told[1] == ("enlarged", "batch", "188.01")


def test_too_little_of_the_balance_can_only_be_added(desk):
    done = desk.types("150.00", "2", "", "q")
    assert [w.split()[0] for w in ways(done.out)] == ["leave", "add"]
    assert desk.told == [("weighed", "water", "150"), ("weighed", "water", "12.76")]


def test_what_is_mixed_cannot_be_taken_back(desk):
    """Phase B was poured with one line still missing: a slip of that line falls into the mixed batch."""
    desk.types(*[""] * 6, "q")
    desk.here("trial", "combined", "B", "into", "A")
    done = desk.types("", "1.00", "q")
    assert [w.split()[0] for w in ways(done.out)] == ["leave", "enlarge"]
    done = desk.types("2", *[""] * 30)
    size = F(180) / F("0.72")
    larger = {m: F(int(g * size / 180 * 100 + F(1, 2)), 100) for m, g in SHEET.items()}
    assert near(desk.percents, larger)


def test_a_phase_in_its_own_beaker_can_be_taken_back_after_others_are_mixed(desk):
    done = desk.types(*[""] * 9, "2.00", "2", "", *[""] * 9)
    assert "take 0.38 g back" in done.out
    assert near(desk.percents, SHEET)


def test_what_was_stirred_in_cannot_be_taken_back(warm):
    """A correction behind the heating says that there was more of it all the time."""
    done = warm.types("", "", "", "", "", "", "", "b", "b", "2.00", "q")
    assert warm.told[4] == ("weighed", "rice-protein-25", "2")
    assert [w.split()[0] for w in ways(done.out)] == ["leave", "enlarge"]


# --- back -------------------------------------------------------------------------------------------


def test_back_once_twice_and_to_another_phase(desk):
    """Two lines of phase B are in; the one before, the one before that, and a line of phase A."""
    done = desk.types(*[""] * 6, "b", "2.90", "b", "b", "b", "2.18", *["b"] * 7, "q")
    assert desk.told == [
        ("weighed", "water", "162.76"),
        ("weighed", "propanediol", "5.4"),
        ("weighed", "betaine", "2.7"),
        ("weighed", "panthenol-75", "2.18"),
        ("weighed", "rice-protein-25", "1.44"),
        ("weighed", "polysorbate-20", "2.9"),
    ]
    assert "Nothing was noted before that." in done.out
    assert done.err == ""


def test_back_over_two_phases_corrects_the_right_entry(desk):
    desk.types(*[""] * 6, "b", "b", "b", "2.18", "q")
    assert desk.told[3] == ("weighed", "panthenol-75", "2.18")
    assert desk.told[5] == ("weighed", "polysorbate-20", "2.88")
    desk.types("b", "l P-7", "b", "", "q")
    assert [e.lot for e in desk.entries] == ["", "", "", "", "", "P-7"]


def test_enter_too_often_is_taken_back(desk):
    """The next line was noted as weighed though it was not: x, and it is asked again."""
    done = desk.types("", "", "b", "x", "5.45", "q")
    assert done.out.count("PROPANEDIOL") == 2
    assert desk.told == [
        ("weighed", "water", "162.76"),
        ("noted", "did not happen: propanediol 5.40 g", ""),
        ("weighed", "propanediol", "5.45"),
    ]
    text = desk.file.read_text()
    assert text.count('weighed = "propanediol"') == 2  # nothing that was written is changed
    assert text.count("corrects") == 1


def test_poured_too_soon_is_taken_back(desk):
    done = desk.types(*[""] * 7, "", "b", "x", "s", "q")
    assert "did not happen: phase B into phase A" in [t[1] for t in desk.told]
    assert done.out.count("phase B into phase A [Enter: poured; s: stays apart]") == 2
    assert "PRESERVATIVE-BLEND" in done.out


def test_the_vessel_corrected_takes_what_evaporated_along(warm):
    warm.types("", "", "", "", "", "420", "", "410", "b", "b", "413.55", "", "q")
    assert [t for t in warm.told if t[0] in ("vessel", "lost", "replaced")] == [
        ("vessel", "A", "420"),
        ("vessel", "A", "413.55"),
        ("lost", "water", "6.45"),
        ("replaced", "water", "6.45"),
    ]
    warm.types("b", "b", "b", "420", "q")
    assert [t[:1] for t in warm.told if t[0] == "lost"] == []


def test_only_a_weight_has_grams_to_correct(warm):
    done = warm.types(*[""] * 7, "b", "72", "b", "x", "70", "q")
    assert '"72" cannot stand there' in done.err
    assert [e.temperature for e in warm.entries if e.action == "heated"] == ["70 °C"]


def test_back_with_nothing_behind(desk):
    assert "Nothing was noted so far." in desk.types("b", "q").out


# --- notes and lots ---------------------------------------------------------------------------------


def test_a_note_at_any_question(warm):
    """Also at one that takes a number; `n` at yes or no is no."""
    done = warm.types(
        "n", "cold in here", "n foams", "1.5 kg", "n", "N with \x1b[31m and \x07 and \x00", "", "6.40", "n spilled a bit", "n", "", "q"
    )
    assert [e.subject for e in warm.entries if e.action == "noted"] == [
        "cold in here",
        "foams",
        "with \x1b[31m and \x07 and \x00",
        "spilled a bit",
    ]
    assert "\x1b" not in done.out
    assert "\x1b" not in warm.here("trial", "show", warm.id).out
    warm.types("n " + "x" * 200_000, "q")
    assert len(warm.entries[-1].subject) == 200_000


def test_bytes_that_are_no_text(desk):
    """A keyboard in another encoding: no reason to stop."""
    done = subprocess.run(
        [sys.executable, "-m", "fvc", "trial", "weigh", desk.id], cwd=desk.studio.root, input=b"\xff\xfe4\nn caf\xe9\n\n\xf0\x9f\n",
        capture_output=True, env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "LC_ALL": "C.UTF-8"},
    )  # fmt: skip
    assert done.returncode == 0, done
    assert b"Traceback" not in done.stderr
    assert desk.told == [("noted", "caf\ufffd", ""), ("weighed", "water", "162.76")]


def test_the_last_lot_is_offered(toner, run_in, monkeypatch):
    here = run_in(toner.root)
    first = Desk(toner, here, monkeypatch).start()
    first.types("", "l PD-114", "", "l", "", "", "q")
    assert [e.lot for e in first.entries] == ["", "PD-114", ""]
    second = Desk(toner, here, monkeypatch).start()
    done = second.types("", "L", "", "5.40", "q")
    assert "lot of propanediol [PD-114]: " in done.out
    assert second.entries[1].lot == "PD-114"


def test_the_shelf_offers_where_no_batch_has_used_one(toner, run_in, monkeypatch):
    with (toner.root / "materials/propanediol.toml").open("a") as file:
        file.write('[[lot]]\nnumber = "PD-0"\nuse_by = 2026-01-31\n[[lot]]\nnumber = "PD-1"\ngrams = 500\n')
    desk = Desk(toner, run_in(toner.root), monkeypatch).start()
    done = desk.types("", "l", "", "l PD-9", "", "l PD-9", "n", "l PD-0", "no", "", "q")
    assert "lot of propanediol [PD-1]: " in done.out
    assert "PD-9 is none of its lots (PD-0, PD-1). Is that right? [y/N]" in flat(done.out)
    assert "propanediol, lot PD-0, is past its last day, 2026-01-31. Is that right? [y/N]" in flat(done.out)
    assert desk.entries[1].lot == "PD-1"  # what was refused leaves what had been chosen
    desk.types("b", "l PD-0", "y", "q")
    assert desk.entries[1].lot == "PD-0"
    assert "was used after its last day, 2026-01-31" in desk.here("trial", "show", desk.id).out


# --- a scale that is not tared ----------------------------------------------------------------------


def test_cumulative(desk):
    """The beaker weighs 125.30 g; what is typed is what the scale shows."""
    done = desk.types("125.30", "288.06", "293.46", "200", "293.46", "342.60-339.90", "", "q", options=("--cumulative",))
    assert "The scale shows now, with the beaker of phase A [0.00]: " in done.out
    assert "the scale will show 288.06:" in done.out
    assert desk.told == [("weighed", m, f"{float(SHEET[m]):g}") for m in A[:4]]
    assert [e.reading for e in desk.entries] == ["288.06-125.30", "293.46-288.06", "342.60-339.90", ""]
    assert "the scale shows 200.00 g, not more than the 293.46 g before" in done.err
    assert done.err.count("not written") == 2


def test_cumulative_resumed_in_the_middle_of_a_phase(desk):
    desk.types("", "", "q", options=("--cumulative",))
    done = desk.types("", "168.16", "q", options=("--cumulative",))
    assert "with the beaker of phase A [162.76]: " in done.out
    done = desk.types("300.00", "302.72", "", "q", options=("--cumulative",))  # another beaker, or the scale was switched off
    assert "the scale will show 302.70:" in done.out
    assert desk.told == [("weighed", "water", "162.76"), ("weighed", "propanediol", "5.4"), ("weighed", "betaine", "2.72"), ("weighed", "panthenol-75", "2.16")]  # fmt: skip


def test_cumulative_through_a_slip(desk):
    """Over by 1.00 g: the scale is to show 168.16 again. Then short by 0.70 g: it is to show 170.86."""
    done = desk.types("0", "162.76", "169.16", "2", "168.16", "170.16", "2", "170.86", "q", options=("--cumulative",))
    assert "the scale shows now [168.16]: " in done.out
    assert "betaine to add [0.70; the scale will show 170.86]: " in done.out
    weights = {m: sum((e.grams for e in desk.entries if e.subject == m), F(0)) for m in A[:3]}
    assert weights == {m: SHEET[m] for m in A[:3]}


def test_cumulative_asks_for_each_beaker(desk):
    done = desk.types("", *[""] * 5, "80.00", "82.88", "83.60", "q", options=("--cumulative",))
    assert "The scale shows now, with the beaker of phase B [0.00]: " in done.out
    assert desk.told[5:] == [("weighed", "polysorbate-20", "2.88"), ("weighed", "neroli-oil", "0.72")]


def test_cumulative_bad_beaker(desk):
    done = desk.types("heavy", "-3", "", "162.76", "q", options=("--cumulative",))
    assert done.err.count("is no weight") == 2
    assert desk.told == [("weighed", "water", "162.76")]


# --- plans of all kinds -----------------------------------------------------------------------------


@pytest.fixture
def bare(studio, run_in, monkeypatch):
    """`bare(phases)`: a plan of salt, acid and water, saved, and a batch of 100 g of it begun."""
    for id in ("salt", "acid"):
        studio.material(id, "active", {id.title(): 100})

    def make(phases, extra: str = "") -> Desk:
        studio.formula("plan", phases, extra=extra)
        studio.ok("revise", "plan", "--reason", "first")
        return Desk(studio, run_in(studio.root), monkeypatch).start("plan", "--batch", "100g")

    return make


def test_one_phase_and_no_heat(bare):
    desk = bare({"A": {"water": "balance", "salt": "1.00"}})
    done = desk.types("", "", "99.80")
    assert "All lines are in. Deviations:\n  - 0.20 g are unaccounted" in done.out
    assert desk.told == [("weighed", "water", "99"), ("weighed", "salt", "1"), ("bulk", "product", "99.8")]


def test_the_same_material_in_two_phases(bare):
    """A slip and its correction stay in their phase, and so does what is taken back."""
    desk = bare({"A": {"water": "60"}, "B": {"salt": "10"}, "C": {"water": "balance"}})
    done = desk.types("66.00", "2", "", "", "", "", "33.00", "2", "30.05", "b", "b", "b", "b", "60.30", *[""] * 5)
    assert "take 3.00 g back" in done.out
    assert [(e.phase, e.subject, float(e.grams)) for e in desk.entries if e.action == "weighed"] == [
        ("A", "water", 60.3),
        ("B", "salt", 10.0),
        ("C", "water", 30.05),
    ]
    lines = desk.here("sheet", desk.id, "--json").data["lines"]
    assert {(line["phase"], line["material"]) for line in lines} == {("A", "water"), ("B", "salt"), ("C", "water")}
    assert near(desk.percents, {"water": F("90.35"), "salt": F(10)})


def test_a_plan_without_a_balance(bare):
    desk = bare({"A": {"water": "90", "salt": "10"}})
    done = desk.types("92.00", "1", "", "")
    assert [w.split()[0] for w in ways(done.out)] == ["leave", "take", "enlarge"]
    assert near(desk.percents, {"water": F(92), "salt": F(10)})


@pytest.mark.parametrize("expects", [True, False])
def test_an_open_line(bare, expects):
    level = '{ level = "open", expect = 0.40 }' if expects else "open"
    desk = bare({"A": {"water": "balance", "salt": "1.00"}, "B": {"acid": level}}, extra="[spec]\nph = [4.6, 5.2]\n")
    done = desk.types("", "", "", "", "q")
    assert "acid is open: to pH 4.6 to 5.2" in done.out
    assert ("about 0.40 g are expected" in done.out) == expects
    assert [t[1] for t in desk.told] == ["water", "salt"]  # none yet: not noted
    done = desk.types("-1", "0.0.3", "l AC-2", "31.42-31.02", "", "q")
    assert done.err.count("is no weight") == 2
    assert (desk.entries[-1].action, desk.entries[-1].grams, desk.entries[-1].lot) == ("added", F("0.40"), "AC-2")
    assert near(desk.percents, {"water": F("98.60") if expects else F(99), "salt": F(1), "acid": F("0.40")})
    assert "is open" not in desk.types("q").out


def test_an_open_line_that_goes_in_cool(bare):
    desk = bare({"A": {"water": "balance"}, "C": {"acid": "open"}})
    desk.studio.edit("formulas/plan.toml", "[phase.C]\n", '[phase.C]\nadd_below = "40 °C"\n')
    desk.start("plan", "--batch", "100g")
    desk.types("", "39", "0.40", "q")
    assert desk.told == [("weighed", "water", "100"), ("cooled", "C", ""), ("added", "acid", "0.4")]


def test_a_premix_by_the_batch_that_is_its_lot(studio, run_in, monkeypatch):
    """As made, not as planned: 12 g of salt in 100 where 10 were meant."""
    here = run_in(studio.root)
    studio.material("salt", "active", {"Salt": 100})
    studio.formula("brine", {"A": {"water": "balance", "salt": "10"}}, extra='keeps = "30 days"\n')
    studio.formula("mist", {"A": {"water": "balance", "brine": "20"}})
    studio.ok("revise", "brine", "--reason", "first")
    studio.ok("revise", "mist", "--reason", "first")
    premix = Desk(studio, here, monkeypatch).start("brine", "--batch", "100g")
    premix.types("88", "", "12", "1", "")
    desk = Desk(studio, here, monkeypatch).start("mist", "--batch", "100g")
    desk.types("", f"l {premix.id[:3]}", "", "q")
    assert desk.entries[-1].lot == premix.id  # by its beginning, noted in full
    salt = next(c for c in here("sheet", desk.id, "--json").data["composition"] if c["inci"] == "Salt")
    assert F(salt["percent"]) == F("2.4")
    again = Desk(studio, here, monkeypatch).start("mist", "--batch", "100g")
    done = again.types("", "l", "", "", "b", "l bri-000000-xx-a", "n", "q")
    assert f"lot of brine [{premix.id}]: " in done.out
    assert "is no batch of brine, so its plan would count instead of what was made. Is that right? [y/N]" in flat(done.out)
    assert again.entries[-1].lot == premix.id


# --- who else, and the end --------------------------------------------------------------------------


def test_somebody_else_at_the_same_batch(desk, terminal):
    """Both stand at the water; the other one is quicker. Enter does not weigh it twice."""
    at = terminal(desk)
    at.read()
    desk.here("trial", "weighed", desk.id, "water", "162.70", "--by", "Joss")
    said = at.type("")
    assert "not written: somebody else has written meanwhile: water 162.70 g" in said
    assert "PROPANEDIOL" in said
    at.type("")
    at.end()
    assert desk.told == [("weighed", "water", "162.7"), ("weighed", "propanediol", "5.4")]


def test_a_closed_batch_and_one_that_is_none(desk):
    desk.types("", "q")
    desk.here("trial", "close", desk.id, "--verdict", "set aside", "--because", "enough")
    assert f"{desk.id} is closed: set aside" in desk.here("trial", "weigh", desk.id, code=2).err
    assert "no batch" in desk.here("trial", "weigh", "ton-000000-zz-z", code=2).err
    assert "no batch is open" in desk.here("trial", "weigh", code=2).err


def test_a_formulary_that_cannot_be_read_does_not_ask_for_ever(desk):
    """It broke between two lines: the weight is there, the slip cannot be told, and the session goes on."""
    desk.studio.edit("formulary.toml", "format = 1\n", "format = 1\nslip_above = many\n")
    done = desk.types("", "6.40", "", "q")
    assert [t[1] for t in desk.told] == ["water", "propanediol", "betaine"]
    assert "formulary.toml" in done.err


def test_through_a_pipe_with_the_real_command(desk):
    done = desk.studio.ok("trial", "weigh", desk.id, input="\n6.40\n2\n\n")
    assert "which [1 to 3; Enter: 1]: propanediol in the beaker now [5.40]: " in done.out
    assert "7 of 9 lines are still to be weighed" in done.out
    assert desk.told == [("weighed", "water", "162.76"), ("weighed", "propanediol", "5.4")]
    assert desk.studio.git("log", "-1", "--format=%s").strip() == f"{desk.id}: weighed at the bench"
