"""What a merge, rebase, cherry-pick or revert left open, and whose sides these are."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from typing import NamedTuple

from fvc.git.repository import Repository
from fvc.names import printable


class Stages(NamedTuple):
    """The blob ids of one file that git could not bring together; None where a side does not have it.

    first: what this branch has (in a rebase: what was there to put the change on). second: what comes to it.
    """

    base: str | None
    first: str | None
    second: str | None


def unmerged(repository: Repository) -> dict[str, Stages]:
    """The files left open, by their paths relative to the top of the work tree; empty where all is settled."""
    found: dict[str, list[str | None]] = {}
    # ls-files(1), -u: "<mode> SP <object> SP <stage> TAB <file>"; stages 1, 2 and 3 are base, ours and theirs of gitglossary(7)
    for row in os.fsdecode(repository.must("-C", str(repository.top), "ls-files", "-u", "-z")).split("\0"):
        if row:
            meta, _, path = row.partition("\t")
            _, blob, stage = meta.split()
            found.setdefault(path, [None, None, None])[int(stage) - 1] = blob
    return {path: Stages(*stages) for path, stages in found.items()}


class Coming(NamedTuple):
    """Whose change is being put on this branch. commit: None for changes that were put aside. command: how git goes on."""

    what: str
    commit: str | None
    command: str


_COMING = (
    ("MERGE_HEAD", "merge", ""),
    ("CHERRY_PICK_HEAD", "cherry-pick", "git cherry-pick --continue"),
    ("REVERT_HEAD", "revert", "git revert --continue"),
    ("REBASE_HEAD", "rebase", "git rebase --continue"),
)


def coming(repository: Repository) -> Coming:
    """What git is in the middle of; with changes that were put aside and came back, of no commit at all."""
    for name, what, command in _COMING:
        file = repository.git_dir / name
        if file.exists():
            return Coming(what, file.read_text("utf-8", "replace").split()[0], command)
    return Coming("changes that were put aside", None, "")


class Author(NamedTuple):
    """Who last changed a file on one side, when and why."""

    name: str
    day: str
    subject: str
    commit: str


def last_change(repository: Repository, start: str, without: str | None, path: str) -> Author | None:
    """The newest commit from `start` back that changed the file at `path` (relative to the top); without: not those it shares with this one."""
    span = [f"^{without}"] if without else []
    form = "--format=%an%x00%aI%x00%s%x00%H"
    paths = ["--no-merges", start, *span, "--", path] if path else [start]
    done = repository.run("-C", str(repository.top), "-c", "log.showSignature=false", "log", "-1", form, *paths)
    parts = done.stdout.decode("utf-8", "replace").strip("\n").split("\0")
    return Author(printable(parts[0]), parts[1][:10], printable(parts[2]), parts[3]) if done.returncode == 0 and len(parts) == 4 else None


def author_of(repository: Repository, commit: str) -> Author | None:
    """Who made a commit, when and why."""
    return last_change(repository, commit, None, "")


def people(repository: Repository, head: str | None, now: Coming, path: str) -> tuple[tuple[str, Author | None], tuple[str, Author | None]]:
    """What the two sides of an open file are called, and who last changed it there, `path` being relative to the top.

    The names of people, told apart by the day or the commit where it is one person; words where git knows of nobody.
    """
    if now.what == "revert":
        author = last_change(repository, head, None, path) if head else None
        return (author.name if author else "this side", author), (f"before {(now.commit or '')[:7]}", None)
    alone = now.what != "merge" and now.commit
    of_first = last_change(repository, head, None if alone else now.commit, path) if head else None
    of_second = last_change(repository, now.commit, None if alone else head, path) if now.commit else None
    first = of_first or (last_change(repository, head, None, path) if head else None)
    if of_second is None and now.commit:  # under another name there
        of_second = author_of(repository, now.commit)
    names = [first.name or first.commit[:7] if first else "this side", of_second.name or of_second.commit[:7] if of_second else now.what]
    if names[0] == names[1] and first and of_second:
        apart = (first.day, of_second.day) if first.day != of_second.day else (first.commit[:7], of_second.commit[:7])
        names = [f"{name}, {word}" for name, word in zip(names, apart, strict=True)]
    return (names[0], first), (names[1], of_second)


def with_markers(repository: Repository) -> list[str]:
    """TOML files that would be saved with git's markers in them."""
    done = repository.run("-C", str(repository.top), "grep", "--cached", "-l", "-z", "-I", "-e", "^<<<<<<< ")
    return [path for path in os.fsdecode(done.stdout).split("\0") if path.endswith(".toml")]


_SETTLED = re.compile(r"^Settled (.+):\n((?:  .*\n?)+)", re.MULTILINE)
_HINTS = re.compile(r"^. Conflicts:$", re.MULTILINE)  # git's own list of what was open, as comments at the end


def settled_in(message: str) -> list[tuple[str, tuple[str, ...]]]:
    """What the message of a merge says of questions: the name of each file, and a line for each question."""
    return [(name, tuple(row.strip() for row in rows.splitlines())) for name, rows in _SETTLED.findall(message)]


def note_settled(repository: Repository, name: str, lines: Sequence[str]) -> None:
    """Put what was decided on a file into the message that git keeps for the merge; what stood there of this file goes.

    git drops the message with the merge when that is taken back, so nothing of it can outlive the merge.
    """
    file = repository.git_dir / "MERGE_MSG"
    text = file.read_text("utf-8", "surrogateescape") if file.exists() else ""
    text = _SETTLED.sub(lambda found: "" if found[1] == name else found[0], text)
    hints = _HINTS.search(text)
    at = hints.start() if hints else len(text)
    block = "".join(f"  {printable(line)}\n" for line in lines)
    said = text[:at].rstrip("\n") or "Merge"
    new = f"{said}\n\nSettled {printable(name)}:\n{block}" + (f"\n{text[at:]}" if hints else "")
    file.write_text(new, "utf-8", "surrogateescape", newline="")


def brought(repository: Repository) -> list[str] | None:
    """The files, relative to the formulary, that the last merge changed against what the branch had; also one whose result is only staged.

    None where git has noted no such state.
    """
    done = repository.run("diff", "--cached", "--name-only", "-z", "--no-renames", "--no-ext-diff", "--relative", "ORIG_HEAD", "--")
    return [path for path in os.fsdecode(done.stdout).split("\0") if path] if done.returncode == 0 else None


def settled(repository: Repository, path: str) -> None:
    """Tell git that the file at `path` is settled as it stands on the disk, or that it is gone."""
    repository.must("-C", str(repository.top), "add", "--all", "--force", "--", path)


def text_merge(repository: Repository, base: bytes, first: bytes, second: bytes) -> bytes:
    """Git's own merge of three texts, with its markers."""
    import tempfile  # slow, and the merge driver needs all else in here

    with tempfile.TemporaryDirectory() as folder:
        files = [os.path.join(folder, name) for name in ("first", "base", "second")]
        for file, data in zip(files, (first, base, second), strict=True):
            with open(file, "wb") as out:
                out.write(data)
        return repository.run("merge-file", "-p", "-q", *files).stdout
