"""The record of a batch outlives whoever writes it: real processes killed at any write, and several that write at once."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fvc.cli.main import main
from fvc.files.trials import read_trial
from tests.support import ready

KILLS = 320
SESSIONS = 12
SHEET = ("water", "propanediol", "betaine", "panthenol-75", "rice-protein-25", "polysorbate-20", "neroli-oil", "preservative-blend")


def begin(here, root: Path) -> Path:
    """A new batch, and its file."""
    return root / "trials/toner" / f"{here('trial', 'start', 'toner', '--batch', '180g', '--json').data['id']}.toml"


def notes_without_end(root: Path, id: str, pipe: int, lead: str) -> None:
    """The child: real command lines, one entry each, what they say going into the pipe. Never returns."""
    try:
        os.dup2(pipe, 1)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        sys.stdout = os.fdopen(1, "w", buffering=1)
        os.chdir(root)
        for number in range(10_000):
            if main(["trial", "noted", id, f"{lead}-{number}"]) != 0:
                break
    finally:
        os._exit(1)


def confirmed_until_killed(pipe: int, child: int, moments: random.Random) -> list[str]:
    """Read what was said, kill at a moment of chance, and give the notes whose writing was said to the end of the line."""
    wait_for = moments.randrange(4)
    said = b""
    until = time.monotonic() + 10
    while said.count(b"\n") < wait_for and time.monotonic() < until:
        if ready(pipe, 1):
            said += os.read(pipe, 65536)
    time.sleep(moments.random() * 0.04)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while ready(pipe, 0) and (more := os.read(pipe, 65536)):
        said += more
    return [row.split()[-1] for row in said.decode().split("\n")[:-1]]


def test_a_process_killed_at_any_write_loses_no_entry_that_was_confirmed(toner, run_in):
    here = run_in(toner.root)
    moments = random.Random(7)
    kills = written = between = 0
    record, before = None, b""
    for kill in range(KILLS):
        if kill % 40 == 0:  # a long record takes longer to write, and a short one is hit at other moments
            record = begin(here, toner.root)
            before = record.read_bytes()
        assert record is not None
        ends = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(ends[0])
            notes_without_end(toner.root, record.stem, ends[1], f"k{kill}")
        os.close(ends[1])
        confirmed = confirmed_until_killed(ends[0], child, moments)
        os.close(ends[0])
        kills += 1
        data = record.read_bytes()
        assert data.startswith(before)  # what stood there stands there, byte for byte
        parsed = read_trial(data, record.name, record.stem)
        assert parsed.value is not None, parsed.faults
        noted = [e.subject for e in parsed.value.entries if e.subject.startswith(f"k{kill}-")]
        assert noted[: len(confirmed)] == confirmed
        assert len(noted) - len(confirmed) in (0, 1)  # the one that was on disk and not said yet
        written += len(noted)
        between += len(noted) - len(confirmed)
        before = data
    assert kills == KILLS >= 300
    assert written > KILLS  # the moments were spread over the writing, not before it
    assert between > 0
    here("trial", "noted", record.stem, "after all of it")
    assert not list(record.parent.glob(f".{record.name}.*.new")), "what a killed writer left is taken away by the next one"


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGHUP, signal.SIGINT])
def test_a_session_that_is_ended_resumes_where_it_was(toner, run_in, how):
    here = run_in(toner.root)
    moments = random.Random(int(how))
    record = begin(here, toner.root)
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}
    for _ in range(SESSIONS // 3):
        session = subprocess.Popen(
            [sys.executable, "-m", "fvc", "trial", "weigh", record.stem],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            cwd=toner.root,
            env=env,
            preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_DFL),  # whoever runs the tests may ignore it
        )
        assert session.stdin
        assert session.stdout
        had = weighed(record)
        if len(had) > 5:  # behind the oils it asks for more than weights
            session.kill()
            session.wait()
            break
        asked = SHEET[len(had)].upper()
        said = b""
        while asked.encode() not in said or not said.endswith(b"> "):
            more = os.read(session.stdout.fileno(), 65536)
            assert more, said.decode()
            said += more
        session.stdin.write(b"\n\n" if moments.random() < 0.5 else b"\n")
        session.stdin.flush()
        time.sleep(moments.random() * 0.05)
        session.send_signal(how)
        session.wait()
        now = weighed(record)
        assert now[: len(had)] == had
        assert now == list(SHEET[: len(now)])  # in the order of the sheet, none twice, none left out
    lines = len(weighed(record))
    toner.fvc("trial", "weigh", record.stem, input="\n" * (len(SHEET) - lines + 2) + "q\n")  # two more: poured, nothing left
    assert weighed(record)[: len(SHEET)] == list(SHEET)


def weighed(record: Path) -> list[str]:
    """The materials that were weighed so far, in the order of the record."""
    parsed = read_trial(record.read_bytes(), record.name, record.stem)
    assert parsed.value is not None, parsed.faults
    return [e.subject for e in parsed.value.entries if e.action == "weighed"]
