"""What tests use to act like a maker: a studio folder, the command line, plain git."""

import fcntl
import json
import os
import pty
import select
import subprocess
import sys
import termios
import time
from pathlib import Path
from typing import Any, NamedTuple


class Result(NamedTuple):
    """What a command did."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """The JSON it printed."""
        return json.loads(self.out)


class Studio:
    """A formulary in a folder. Paths are relative to it."""

    def __init__(self, root: Path) -> None:
        self.root = root

    @staticmethod
    def make(root: Path, *, git: bool = True) -> "Studio":
        """A new formulary with only formulary.toml and water, saved as one plain commit."""
        root.mkdir(parents=True)
        studio = Studio(root)
        studio.write("formulary.toml", 'format = 1\nname = "Test studio"\ncurrency = "EUR"\nscales = [{ step = "0.01 g" }]\n')
        studio.material("water", "solvent", {"Aqua": 100})
        if git:
            studio.git("init", "-q")
            studio.git("add", "-A")
            studio.git("commit", "-qm", "New formulary")
        return studio

    def write(self, path: str, text: str | bytes) -> Path:
        """Write a file; text is written as UTF-8 with the line ends it has."""
        file = self.root / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return file

    def read(self, path: str) -> str:
        """The text of a file."""
        return (self.root / path).read_bytes().decode()

    def edit(self, path: str, old: str, new: str) -> None:
        """Replace one piece of a file, as a maker does in an editor."""
        text = self.read(path)
        assert text.count(old) == 1, (path, old, text)
        self.write(path, text.replace(old, new))

    def material(self, id: str, function: str, composition: dict[str, Any] | None = None, extra: str = "") -> None:
        """A material record; composition values are written as given (strings quoted)."""
        text = f'format = 1\nname = "{id}"\nfunction = ["{function}"]\n{extra}'
        if composition is not None:
            text += "[composition]\n" + "".join(f'"{k}" = {json.dumps(v)}\n' for k, v in composition.items())
        self.write(f"materials/{id}.toml", text)

    def formula(self, id: str, phases: dict[str, dict[str, Any]], *, extra: str = "", batch: str = "100 g", revision: int = 0) -> None:
        """A plan; levels given as text are written quoted unless they are numbers."""
        text = f'format = 1\ntitle = "{id}"\nrevision = {revision}\nuse = "leave-on"\nbatch = "{batch}"\n{extra}'
        for phase, lines in phases.items():
            text += f"\n[phase.{phase}]\n[phase.{phase}.percent]\n"
            for material, level in lines.items():
                bare = level.replace(".", "", 1).isdigit() or level.startswith("{")
                text += f"{material} = {level}\n" if bare else f'{material} = "{level}"\n'
        self.write(f"formulas/{id}.toml", text)

    def fvc(self, *arguments: str, env: dict[str, str] | None = None, cwd: Path | None = None, input: str = "") -> Result:
        """Run the command line in a process of its own, as a maker does; not checked."""
        done = subprocess.run(
            [sys.executable, "-m", "fvc", *arguments],
            capture_output=True,
            cwd=cwd or self.root,
            env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1"} | (env or {}),
            input=input.encode(),
            timeout=120,
        )
        return Result(done.returncode, done.stdout.decode(), done.stderr.decode())

    def start(self, *arguments: str) -> subprocess.Popen[bytes]:
        """Start a command line and go on; what it prints is dropped."""
        env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1"}
        quiet = subprocess.DEVNULL
        return subprocess.Popen([sys.executable, "-m", "fvc", *arguments], cwd=self.root, env=env, stdout=quiet, stderr=quiet, stdin=quiet)

    def ok(self, *arguments: str, **options: Any) -> Result:
        """Run a command that must succeed."""
        result = self.fvc(*arguments, **options)
        assert result.code == 0, result
        return result

    def refused(self, *arguments: str, **options: Any) -> str:
        """Run a command that must be refused with exit 2, a message and a next step; the message."""
        result = self.fvc(*arguments, **options)
        assert result.code == 2, result
        assert "Traceback" not in result.err
        assert "next:" in result.err, result.err
        return result.err

    def json(self, *arguments: str, **options: Any) -> Any:
        """The data of a reading command."""
        return self.ok(*arguments, "--json", **options).data

    def git(self, *arguments: str, env: dict[str, str] | None = None, check: bool = True) -> str:
        """Plain git in the studio's folder."""
        done = subprocess.run(["git", "-C", str(self.root), *arguments], capture_output=True, env=os.environ | (env or {}))
        assert not check or done.returncode == 0, (arguments, done.stderr.decode())
        return done.stdout.decode()

    def save_as(self, name: str, day: str, *paths: str, message: str = "plain") -> str:
        """A plain commit by somebody on a day; its id."""
        who = {"GIT_AUTHOR_NAME": name, "GIT_AUTHOR_EMAIL": f"{name.lower()}@studio.example", "GIT_AUTHOR_DATE": f"{day}T12:00:00+01:00"}
        self.git("add", "-A", *paths)
        self.git("commit", "-qm", message, env=who | {"GIT_COMMITTER_DATE": f"{day}T12:00:00+01:00"})
        return self.git("rev-parse", "HEAD").strip()


def ready(stream: Any, seconds: float) -> bool:
    """True when something can be read within so many seconds; by poll, since select cannot take file numbers above 1,023."""
    waiting = select.poll()
    waiting.register(stream, select.POLLIN | select.POLLHUP)
    return bool(waiting.poll(seconds * 1000))


def in_terminal(studio: Studio, *steps: tuple[str, str], arguments: tuple[str, ...]) -> tuple[int, str]:
    """Wait for each piece of text, type what belongs to it; the exit code and all that was seen."""
    ours, theirs = pty.openpty()
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "TERM": "dumb", "COLUMNS": "200"}
    process = subprocess.Popen(
        [sys.executable, "-m", "fvc", *arguments],
        cwd=studio.root, stdin=theirs, stdout=theirs, stderr=theirs, env=env, start_new_session=True,
        preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),
    )  # fmt: skip
    os.close(theirs)
    seen, at = "", 0
    for question, answer in steps:
        while question not in seen[at:]:
            assert ready(ours, 20), seen
            seen += os.read(ours, 4096).decode()
        at += seen[at:].index(question) + len(question)
        if answer == "\x03":
            time.sleep(0.5)  # Python notices a signal only once it waits for what is typed, just after the question
        os.write(ours, answer.encode() + (b"" if answer in ("\x03", "\x04") else b"\n"))
    while ready(ours, 20):
        try:
            more = os.read(ours, 4096).decode()
        except OSError:  # nobody is left at the other end
            break
        seen += more
    return process.wait(20), "\n".join(row.rstrip() for row in seen.replace("\r", "").split("\n"))
