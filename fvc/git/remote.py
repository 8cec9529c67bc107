"""The other end: where another copy of the same history is kept, and what both have of it. Plain data.

Only fetching, sending and cloning speak to it. They are told to stop by Ctrl-C as git's own user would, and git, ssh
and their helpers reach the terminal for what they ask; where nobody sits there they are told not to ask.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from fvc import stopping
from fvc.errors import Refusal
from fvc.git.repository import NO_GIT, Repository, environment

# gitremote-helpers(7): "<transport>::<address>" starts the program git-remote-<transport>; `ext::` runs any command line.
_HELPER = re.compile(r"[A-Za-z0-9][A-Za-z0-9+.-]*::")
_KNOWN = ("https", "http", "ssh", "git", "file")
_SCHEME = re.compile(r"([A-Za-z][A-Za-z0-9+.-]*)://")


class Link(NamedTuple):
    """A branch here and what it is called at the other end. following: git knows already that they belong together."""

    remote: str
    address: str
    branch: str
    there: str
    following: bool

    @property
    def tracking(self) -> str:
        """Where git keeps what it fetched last."""
        return f"refs/remotes/{self.remote}/{self.there}"


class Said(NamedTuple):
    """How a conversation with the other end went, and git's words; `unheard`: those that stood on no terminal yet."""

    done: bool
    words: str
    unheard: str


class Joined(NamedTuple):
    """A commit that joins others."""

    id: str
    parents: tuple[str, ...]


class Moved(NamedTuple):
    """A file that differs between two commits, relative to the top; None on the side that lacks it. Two names: it was renamed."""

    before: str | None
    after: str | None


# --- addresses ---------------------------------------------------------------------------------------


def why_not_an_address(text: str) -> str:
    """Why git should not be given this address; "" where it may."""
    scheme = _SCHEME.match(text)
    if not text.strip() or not text.isprintable():
        return "it is empty, or has control characters in it"
    if text.startswith("-"):
        return "it begins with a hyphen, and git would take it for an option"
    if _HELPER.match(text):
        return "it names a helper for git to run, not a place"
    if scheme and scheme[1].lower() not in _KNOWN:
        return f"{scheme[1]}:// is not one of {', '.join(f'{k}://' for k in _KNOWN)}"
    return ""


def is_folder(text: str) -> bool:
    """True when git takes an address for a folder of this computer: no colon, or a slash before it (git-clone(1), GIT URLS)."""
    head, colon, _ = text.partition(":")
    return not colon or "/" in head or os.path.exists(text) or (os.name == "nt" and len(head) == 1)


def shown(text: str) -> str:
    """An address, or words of git with one in them, without the name and password in it; of ssh the name stays, which is no secret."""
    text = re.sub(r"\b(https?://)[^/\s]*@", r"\1", text)
    return re.sub(r"(://[^/\s:@]*):[^/\s]*@", r"\1@", text)


def holds_password(address: str) -> bool:
    """True when an address has a password in it, or a name that may be one."""
    return shown(address) != address


def folder_for(address: str) -> str:
    """What git calls the folder of a copy when nobody says."""
    return re.split(r"[/:\\]", address.rstrip("/\\").removesuffix("/.git"))[-1].removesuffix(".git")


# --- what is set -------------------------------------------------------------------------------------


def _get(folder: Path, *question: str) -> list[str]:
    """Values of git's configuration as they hold in a folder."""
    done = subprocess.run(["git", "-C", str(folder), "config", "--null", *question], capture_output=True, env=environment())
    return os.fsdecode(done.stdout).split("\0")[:-1]


def remotes(repository: Repository) -> dict[str, str]:
    """The names of other ends and their addresses."""
    found: dict[str, str] = {}
    for row in _get(repository.folder, "--get-regexp", r"^remote\..*\.url$"):
        key, _, value = row.partition("\n")
        found.setdefault(key[len("remote.") : -len(".url")], value)
    return {name: address for name, address in found.items() if not name.startswith("-")}


def link(repository: Repository, branch: str) -> Link | None:
    """The other end of a branch: the one it follows, else `origin`, else the only one there is; None where that is not plain."""
    known = remotes(repository)
    key = f"branch.{branch}."
    follows, merge = ("".join(_get(repository.folder, "--get", key + name)[-1:]) for name in ("remote", "merge"))
    following = follows in known and merge.startswith("refs/heads/")
    remote = follows if follows in known else "origin" if "origin" in known else next(iter(known)) if len(known) == 1 else None
    if remote is None:
        return None
    return Link(remote, known[remote], branch, merge.removeprefix("refs/heads/") if following else branch, following)


def add(repository: Repository, name: str, address: str) -> None:
    """Give another end a name."""
    repository.must("remote", "add", "--", name, address)


def remove(repository: Repository, name: str) -> None:
    """Forget another end, and all that was fetched from it."""
    repository.must("remote", "remove", "--", name)


def follow(repository: Repository, link: Link) -> None:
    """Let git know which branch of the other end belongs to which here."""
    repository.must("branch", "--quiet", f"--set-upstream-to={link.remote}/{link.there}", link.branch)


def branches(repository: Repository, remote: str) -> list[str]:
    """The branches of the other end, as fetched last."""
    lead = f"refs/remotes/{remote}/"
    rows = os.fsdecode(repository.must("for-each-ref", "--format=%(refname)", lead)).split("\n")
    return [row[len(lead) :] for row in rows if row and row != f"{lead}HEAD"]


# --- speaking to it ----------------------------------------------------------------------------------


def fetch_all(repository: Repository, remote: str, *, ask: bool) -> Said:
    """Fetch every branch of another end."""
    return _speak(repository.folder, ["fetch", "--quiet", remote, f"+refs/heads/*:refs/remotes/{remote}/*"], ask)


def fetch(repository: Repository, link: Link, *, ask: bool) -> Said:
    """Fetch the branch that belongs to ours, if the other end has it.

    A pattern, since git refuses a name that is not there; and said here, since a copy may be set to fetch something else.
    """
    return _speak(repository.folder, ["fetch", "--quiet", link.remote, f"+refs/heads/{link.there}*:{link.tracking}*"], ask)


def send(repository: Repository, link: Link, *, ask: bool) -> Said:
    """Send what is saved here. Never forced: git refuses where the other end has something that this does not."""
    follow = [] if link.following else ["--set-upstream"]
    return _speak(repository.folder, ["push", "--quiet", *follow, link.remote, f"HEAD:refs/heads/{link.there}"], ask)


_WHY = (
    (r"Could not resolve host|Name or service not known|Temporary failure in name resolution", "that computer is not found by its name"),
    (r"Connection refused|[Tt]imed out|Network is unreachable|No route to host|Connection reset|Failed to connect", "no way leads there now"),
    (r"Host key verification failed", "that computer has another key than the one known here"),
    (r"could not read (?:Username|Password)|Authentication failed|Permission denied|error: 40[13]", "it did not get the name, password or key it asks for"),
    (r"does not appear to be a git repository|repository not exported|[Rr]epository '?[^\n]*not found|does not exist", "no repository is there by that address"),
)  # fmt: skip


def why(said: Said) -> str:
    """Why the other end was not reached, in our words with git's in brackets; "" for what is not known."""
    return next((f"{words} ({found[0]})" for pattern, words in _WHY if (found := re.search(pattern, said.words))), "")


def clone(address: str, folder: Path, *, ask: bool) -> Said:
    """Fetch a whole copy into a folder that is empty or not there; git takes back what it made when it fails."""
    return _speak(Path.cwd(), ["clone", "--quiet", "--origin", "origin", "--", address, str(folder)], ask)


_FAILURE = re.compile(rb"fatal|error|ssh: |To | ! |hint: |.*Permission denied|.*Host key verification failed")


def _speak(folder: Path, arguments: Sequence[str], ask: bool) -> Said:
    """Run git with the other end. ask: somebody sits there who can be asked, and who reads what is said as it comes."""
    env = environment() | ({} if ask else _silent(folder))
    command = ["git", "-C", str(folder), *arguments]
    words, held = b"", b""
    with stopping.whole() as waiting:
        try:
            process = subprocess.Popen(
                command, stdin=None if ask else subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=env
            )
        except FileNotFoundError:
            raise Refusal(NO_GIT) from None
        waiting.child = process
        assert process.stdout is not None
        for line in process.stdout:  # whole lines, so that no password in one can slip through; questions go to the terminal directly
            words += line
            if held or not ask or _FAILURE.match(line):  # why it went wrong is told in our words
                held += line
            else:
                sys.stderr.write(shown(line.decode("utf-8", "replace")))
                sys.stderr.flush()
        process.stdout.close()
        process.wait()
        waiting.child = None
    text, unheard = (shown(each.decode("utf-8", "replace")).strip() for each in (words, held))
    return Said(process.returncode == 0, text, unheard)


def _silent(folder: Path) -> dict[str, str]:
    """Settings under which git and ssh fail where they would ask. GIT_SSH_COMMAND would go before a command of the user's own."""
    silent = {"GIT_TERMINAL_PROMPT": "0"}
    if not {"GIT_SSH", "GIT_SSH_COMMAND"} & os.environ.keys() and not _get(folder, "--get", "core.sshCommand"):
        silent["GIT_SSH_COMMAND"] = "ssh -o BatchMode=yes"
    return silent


# --- what both have ----------------------------------------------------------------------------------


def common(repository: Repository, one: str, other: str) -> str | None:
    """The commit from which two parted; None when they have nothing in common."""
    done = repository.run("merge-base", one, other)
    return done.stdout.decode().split()[0] if done.returncode == 0 else None


def holds(repository: Repository, later: str, earlier: str) -> bool:
    """True when a commit stands on another, or is it."""
    return repository.run("merge-base", "--is-ancestor", earlier, later).returncode == 0


def joined(repository: Repository, since: str, until: str) -> list[Joined]:
    """The merges that one has and the other has not, newest first."""
    rows = repository.must("rev-list", "--merges", "--parents", f"{since}..{until}").decode().splitlines()
    return [Joined(id, tuple(parents)) for id, *parents in (row.split() for row in rows)]


def nothing(repository: Repository) -> str:
    """The tree of a folder without files, to compare a first commit with."""
    return repository.must("mktree", input=b"").decode().strip()


def moved(repository: Repository, before: str, after: str) -> list[Moved]:
    """The files that differ between two commits, renames found."""
    options = ("-r", "-z", "--name-status", "--find-renames=50%", "--no-ext-diff", "--no-textconv")
    parts = iter(os.fsdecode(repository.must("-C", str(repository.top), "diff-tree", *options, before, after)).split("\0"))
    found = []
    for sign in parts:
        if sign:
            first = next(parts)
            second = next(parts) if sign[0] == "R" else first
            found.append(Moved(None if sign[0] == "A" else first, None if sign[0] == "D" else second))
    return found


def staged(repository: Repository) -> list[str]:
    """The files that are staged and differ there from what was last saved, relative to the top."""
    out = repository.must("-C", str(repository.top), "diff", "--cached", "--name-only", "-z", "--no-renames", "--no-ext-diff")
    return [path for path in os.fsdecode(out).split("\0") if path]


def files_called(repository: Repository, name: str) -> list[str]:
    """The files of this name that git knows, anywhere below the folder."""
    out = os.fsdecode(repository.must("ls-files", "-z")).split("\0")
    return [path for path in out if path.rpartition("/")[2] == name]


# --- bringing both together --------------------------------------------------------------------------


class Tried(NamedTuple):
    """A merge worked out beside the folder: the tree it would give, and the files that would be left open, relative to the top."""

    tree: str
    open: tuple[str, ...]


def try_merge(repository: Repository, one: str, other: str) -> Tried | None:
    """What a merge would give; no file, index or branch is touched. None where this git cannot tell (before 2.38)."""
    # git-merge-tree(1), OUTPUT: "<OID of toplevel tree> NUL", then the conflicted files, each with NUL
    done = repository.run("-C", str(repository.top), "merge-tree", "--write-tree", "--name-only", "--no-messages", "-z", one, other)
    if done.returncode not in (0, 1):
        return None
    tree, *paths = os.fsdecode(done.stdout).split("\0")
    return Tried(tree, tuple(dict.fromkeys(p for p in paths if p)))


def merge(repository: Repository, commit: str, message: str) -> Said:
    """Bring another's work to ours: go forward where nothing is ours alone, else a plain merge with this message.

    Whatever is set for merging here, nothing is squashed, put away or left uncommitted. `done` is False when git
    refused, or left files open, or could not save: the state of the repository tells which.
    """
    head = repository.head()
    plain = ("--quiet", "--no-squash", "--commit", "--no-autostash")
    way = ("--ff-only",) if head is None or holds(repository, commit, head) else ("--no-ff", "--no-edit", "-m", message)
    return _undisturbed(repository, ["merge", *plain, *way, commit])


def finish(repository: Repository) -> Said:
    """Save a merge in which nothing is open any more; of the message without git's own hints for an editor."""
    return _undisturbed(repository, ["commit", "--quiet", "--no-edit", "--cleanup=strip"])


def _undisturbed(repository: Repository, arguments: Sequence[str]) -> Said:
    """Run what changes many files, out of reach of Ctrl-C, which git would take in the middle of them; it counts afterwards.

    Away from the terminal a signature could not be asked for, so with signed commits git stays where Ctrl-C reaches it.
    """
    signed = _get(repository.folder, "--type=bool", "--get", "commit.gpgSign")[-1:] == ["true"]
    with stopping.whole():
        done = subprocess.run(
            ["git", "-C", str(repository.folder), *arguments],
            stdin=subprocess.DEVNULL, capture_output=True, env=environment(), process_group=None if signed else 0,
        )  # fmt: skip
    words = done.stderr or (done.stdout if done.returncode else b"")  # what hooks say, not how git went about it
    text = words.decode("utf-8", "replace").strip()
    return Said(done.returncode == 0, text, text)


def being_merged(repository: Repository) -> list[str]:
    """The commits that a merge, begun and not finished, brings in."""
    try:
        return (repository.git_dir / "MERGE_HEAD").read_text(encoding="utf-8").split()
    except OSError:
        return []
