"""Two people, or one person and an editor, at the record of one batch: nothing of either is lost, and nobody waits without a word."""

import datetime
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fvc.archive import Archive
from fvc.errors import Refusal
from fvc.files.trials import read_trial
from fvc.files.writer import writing
from fvc.trial import Entry, Trial
from fvc.trials import add_entries, trial_named
from tests.support import ready

WRITERS, EACH = 8, 6
NOW = datetime.datetime.fromisoformat("2026-03-01T10:30:00+01:00")


@pytest.fixture
def record(toner, run_in) -> Path:
    """The file of a batch that was begun."""
    data = run_in(toner.root)("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-01 10:00", "--json").data
    return toner.root / f"trials/toner/{data['id']}.toml"


def read(record: Path) -> Trial:
    parsed = read_trial(record.read_bytes(), record.name, record.stem)
    assert parsed.value is not None, parsed.faults
    return parsed.value


def open_session(record: Path, *words: str) -> subprocess.Popen[bytes]:
    """A session in a process of its own, with a pipe for a keyboard."""
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}
    pipe = subprocess.PIPE
    command = [sys.executable, "-m", "fvc", "trial", "weigh", record.stem, *words]
    return subprocess.Popen(command, cwd=record.parents[2], env=env, stdin=pipe, stdout=pipe, stderr=pipe)


def until_asked(session: subprocess.Popen[bytes], seconds: float = 20) -> str:
    """What a session says until it asks."""
    assert session.stdout
    said, end = b"", time.monotonic() + seconds
    while not said.endswith(b"> "):
        left = end - time.monotonic()
        assert left > 0, said
        assert ready(session.stdout, left), said
        more = os.read(session.stdout.fileno(), 65536)
        assert more, f"it ended: {said!r}"
        said += more
    return said.decode()


def test_eight_sessions_at_one_batch_lose_nothing(toner, record):
    """Each writes its notes as fast as it can, and saves at its end; all are there, each maker's in the order they were typed."""
    sessions = [open_session(record, "--by", f"Maker {n}") for n in range(WRITERS)]
    for session in sessions:  # all are at their first question before any of them writes
        until_asked(session)
    for n, session in enumerate(sessions):
        assert session.stdin
        session.stdin.write(("".join(f"n {n}-{k}\n" for k in range(EACH)) + "q\n").encode())
        session.stdin.flush()
    ends = [session.communicate(timeout=60) for session in sessions]
    assert [session.returncode for session in sessions] == [0] * WRITERS, ends
    entries = read(record).entries
    assert len({e.id for e in entries}) == len(entries) == WRITERS * EACH
    for n in range(WRITERS):
        assert [e.subject for e in entries if e.by == f"Maker {n}"] == [f"{n}-{k}" for k in range(EACH)]
    assert [e.at for e in entries] == sorted(e.at for e in entries)
    assert not list(record.parent.glob(".*")), "nothing half written is left"
    assert toner.git("status", "--porcelain") == ""


def test_a_line_that_the_other_has_weighed_meanwhile_is_not_weighed_twice(record):
    """Two sessions stand at the same question. The second answer is not written: it is said why, and the next line is asked for."""
    first, second = open_session(record), open_session(record)
    for session in (first, second):
        assert "WATER" in until_asked(session)
    for session in (first, second):
        assert session.stdin
        session.stdin.write(b"\n")
        session.stdin.flush()
        assert "PROPANEDIOL" in until_asked(session)
    _, err = second.communicate(b"q\n", timeout=20)
    assert "not written: somebody else has written" in err.decode()
    assert "water" in err.decode()
    assert first.communicate(b"q\n", timeout=20)[1] == b""
    assert [(e.subject, str(float(e.grams))) for e in read(record).entries] == [("water", "162.76")]


def test_the_lock_is_waited_for(toner, record):
    """Somebody writes for a second: the other one waits, and is done a little later."""
    before = record.read_bytes()
    with writing(toner.root / ".git"):
        waits = toner.start("trial", "noted", record.stem, "after you")
        time.sleep(1)
        assert waits.poll() is None
        assert record.read_bytes() == before
    assert waits.wait(timeout=20) == 0
    assert [e.subject for e in read(record).entries] == ["after you"]


def test_a_lock_that_is_held_too_long_is_named(toner, record):
    before = record.read_bytes()
    with writing(toner.root / ".git"):
        session = open_session(record)
        until_asked(session)
        assert session.stdin
        session.stdin.write(b"n hello\n")
        session.stdin.flush()
        said = toner.refused("trial", "noted", record.stem, "me too")
        assert "another fvc is writing here; waited 5 s for fvc.lock" in said
        until_asked(session)  # it asks again
        assert record.read_bytes() == before
    session.stdin.write(b"n hello again\nq\n")
    _, err = session.communicate(timeout=20)
    assert "another fvc is writing here; waited 5 s for fvc.lock" in err.decode()
    assert [e.subject for e in read(record).entries] == ["hello again"]


def test_a_record_that_is_changed_by_hand_between_reading_and_writing_is_not_written_over(toner, record):
    """An editor knows of no lock: it saves just when the entry is made up."""
    archive = Archive.open(toner.root)
    by_hand = record.read_bytes() + b"# written in an editor\n"

    def make(trial: Trial) -> list[Entry]:
        record.write_bytes(by_hand)
        return [Entry("", NOW, "noted", "hello")]

    with pytest.raises(Refusal, match="the file changed on disk meanwhile; nothing was written") as refused:
        add_entries(archive, trial_named(archive, record.stem), make)
    assert refused.value.faults[0].next
    assert record.read_bytes() == by_hand
    assert not list(record.parent.glob(".*"))


def test_what_was_written_by_hand_between_two_questions_stays(record):
    session = open_session(record)
    until_asked(session)
    by_hand = record.read_bytes() + b'\n[[entry]]\nid = "hand-1"\nat = 2026-03-01T10:05:00+01:00\nnoted = "by hand"  # in an editor\n'
    record.write_bytes(by_hand)
    _, err = session.communicate(b"n hello\nq\n", timeout=20)
    assert session.returncode == 0, err
    assert record.read_bytes().startswith(by_hand)
    assert [e.subject for e in read(record).entries] == ["by hand", "hello"]


def test_a_record_that_was_broken_by_hand_is_left_alone_and_named(toner, record):
    """The session says what is wrong and on which line, and ends; mended, the next one goes on."""
    session = open_session(record)
    until_asked(session)
    whole = record.read_bytes()
    broken = whole + b"[[entry]\n"
    record.write_bytes(broken)
    _, err = session.communicate(b"n hello\nq\n", timeout=20)
    assert session.returncode == 2
    assert f"{record.name}:{broken.count(10)}: not readable as TOML" in err.decode()
    assert record.read_bytes() == broken
    record.write_bytes(whole)
    toner.ok("trial", "weigh", record.stem, input="n hello again\nq\n")
    assert [e.subject for e in read(record).entries] == ["hello again"]


def test_a_record_that_is_gone_is_not_made_anew(record):
    archive = Archive.open(record.parents[2])
    trial = trial_named(archive, record.stem)
    record.unlink()
    with pytest.raises(Refusal, match="the record of this batch is gone") as refused:
        add_entries(archive, trial, lambda _: [Entry("", NOW, "noted", "hello")])
    assert f"git restore trials/toner/{record.name}" in refused.value.faults[0].next
    assert not record.exists()


def test_what_a_killed_writer_left_is_taken_away_by_the_next_one(toner, record):
    """Of this record, and of another one beside it; a file of somebody else that begins with a point stays."""
    lefts = [record.parent / f".{name}.k3j_x9q2.new" for name in (record.name, "ton-260101-at-a.toml")]
    other = record.parent / ".notes.new"
    for file in (*lefts, other):
        file.write_bytes(b"half")
    toner.ok("trial", "noted", record.stem, "hello")
    assert list(record.parent.glob(".*")) == [other]
