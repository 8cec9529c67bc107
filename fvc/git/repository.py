"""The one module that speaks to git. It runs the `git` program and returns plain data.

Reading goes through one `git cat-file --batch` process and one `git log`; saving through
`git commit --only`, which keeps staged work, hooks, signing and line ends. The environment is
cleared of what would point git at another repository; identity, ssh and configuration stay.
Option names quoted in comments are from the git manual pages.
"""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import IO, NamedTuple

from fvc import stopping
from fvc.errors import Fault, Refusal
from fvc.names import printable

# git(1), "Environment Variables": these redirect git to another repository, index or pathspec
# meaning, or change what it prints. GIT_AUTHOR_*, GIT_COMMITTER_*, GIT_SSH*, GIT_CONFIG_* stay.
_REDIRECTING = frozenset(
    {
        "GIT_DIR",
        "GIT_WORK_TREE",
        "GIT_INDEX_FILE",
        "GIT_OBJECT_DIRECTORY",
        "GIT_ALTERNATE_OBJECT_DIRECTORIES",
        "GIT_COMMON_DIR",
        "GIT_NAMESPACE",
        "GIT_PREFIX",
        "GIT_EXTERNAL_DIFF",
        "GIT_DIFF_OPTS",
        "GIT_PAGER",
        "GIT_QUARANTINE_PATH",
        "GIT_REPLACE_REF_BASE",
        "GIT_GRAFT_FILE",
        "GIT_SHALLOW_FILE",
        "GIT_LITERAL_PATHSPECS",
        "GIT_GLOB_PATHSPECS",
        "GIT_NOGLOB_PATHSPECS",
        "GIT_ICASE_PATHSPECS",
    }
)
_TRACING = re.compile(r"GIT_TRACE.*")

# Questions to cat-file in one go: few enough to fit into a pipe, so that writing them never waits
# for git, which may itself be waiting for its answers to be read.
_AT_ONCE = 200


class Object(NamedTuple):
    """A git object: its full id, its type (`blob`, `tree`, `commit`) and its bytes."""

    id: str
    kind: str
    data: bytes


class TreeEntry(NamedTuple):
    """A name in a tree: mode as git writes it (`100644`, `120000` for a link), and object id."""

    mode: str
    id: str


class Change(NamedTuple):
    """One path that a commit changed: blob ids before and after, None where it was absent.

    before: one id for each parent.
    """

    path: str
    before: tuple[str | None, ...]
    after: str | None


class Commit(NamedTuple):
    """A commit as the history needs it. date: the author's own, ISO 8601 with offset."""

    id: str
    parents: tuple[str, ...]
    author: str
    date: str
    message: str
    changes: tuple[Change, ...]

    @property
    def subject(self) -> str:
        """The first line of the message."""
        return self.message.partition("\n")[0]

    @property
    def day(self) -> str:
        """The author's own date, YYYY-MM-DD."""
        return self.date[:10]


def environment() -> dict[str, str]:
    """The environment for git: without what redirects it, and without prompts on a closed terminal."""
    kept = {k: v for k, v in os.environ.items() if k not in _REDIRECTING and not _TRACING.fullmatch(k)}
    return kept | {"GIT_OPTIONAL_LOCKS": "0"}


NO_GIT = Fault("git is not installed, or not on the PATH", next="install git (https://git-scm.com), then try again")


def not_a_repository(folder: Path) -> Fault:
    """The message for a command that needs history where there is none."""
    return Fault(
        f"{printable(folder.name) or 'this folder'} is not in a git repository, so nothing has been saved here yet",
        next="type  git init  in the formulary's folder, then save a first revision with fvc revise",
    )


class Begun(NamedTuple):
    """Processes of git started ahead, so that they answer while Python is still importing.

    logs: by the paths asked for, relative to the formulary.
    """

    find: subprocess.Popen[bytes]
    batch: subprocess.Popen[bytes]
    logs: dict[tuple[str, ...], subprocess.Popen[bytes]]

    def abandon(self) -> None:
        """End them: there is no repository that could answer."""
        for process in (self.batch, *self.logs.values()):
            _end(process)


def begin(folder: Path, logs: Sequence[tuple[str, ...]] = ()) -> Begun:
    """Start what every look into history needs, and the log of each group of paths (relative to `folder`).

    Raises FileNotFoundError when there is no git.
    """
    # rev-parse(1): each option prints one line, in the order given.
    asked = ["--show-toplevel", "--absolute-git-dir", "--git-common-dir", "--show-prefix", "--is-shallow-repository"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "env": environment()}
    find = subprocess.Popen(["git", "-C", str(folder), "rev-parse", *asked], **pipes)  # type: ignore[call-overload]
    return Begun(find, _start_batch(folder), {paths: _start_log(folder, paths, "HEAD", False) for paths in logs})


def _start_batch(folder: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        ["git", "-C", str(folder), "cat-file", "--batch"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=environment(),
    )


def _start_log(folder: Path, paths: Sequence[str], start: str, first_parent: bool) -> subprocess.Popen[bytes]:
    """Start `git log`; `paths` are relative to `folder`, the paths it prints to the top (--no-relative)."""
    options = ["-c", "log.showRoot=true", "-c", "log.showSignature=false", "log", "-z", "--no-color"]
    shape = ["--first-parent"] if first_parent else ["--full-history", "-c", "--topo-order"]
    raw = ["--raw", "-O/dev/null", "--no-abbrev", "--no-renames", "--no-ext-diff", "--no-textconv", "--no-relative"] if paths else []
    form = "--format=%x01%H%x00%P%x00%an%x00%aI%x00%B%x00"
    command = ["git", "-C", str(folder), "--literal-pathspecs", *options, *shape, *raw, form, "--end-of-options", start, "--", *paths]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment())


def _end(process: subprocess.Popen[bytes] | None) -> None:
    if process is not None:
        for pipe in (process.stdin, process.stdout, process.stderr):
            if pipe:
                pipe.close()
        process.wait()


class Repository:
    """A git repository and the place of a formulary in it.

    prefix: the formulary's folder below the top of the work tree, `""` or `shop/formulary/`.
    """

    def __init__(self, folder: Path, top: Path, git_dir: Path, common_dir: Path, prefix: str, shallow: bool) -> None:
        self.folder, self.top, self.git_dir, self.common_dir = folder, top, git_dir, common_dir
        self.prefix, self.shallow = prefix, shallow
        self._batch: subprocess.Popen[bytes] | None = None
        self._logs: dict[tuple[str, ...], subprocess.Popen[bytes]] = {}

    @staticmethod
    def find(folder: Path, begun: Begun | None = None) -> Repository | Fault:
        """The repository around `folder`, or the fault that says why there is none.

        begun: what `begin` started for this folder earlier.
        """
        try:
            begun = begun or begin(folder)
        except FileNotFoundError:
            return NO_GIT
        stdout, stderr = begun.find.communicate()
        found = Repository._found(folder, begun.find.returncode, stdout, stderr)
        if isinstance(found, Fault):
            begun.abandon()
            return found
        found._batch = begun.batch
        found._logs = {tuple(found.prefix + p for p in paths): process for paths, process in begun.logs.items()}
        return found

    @staticmethod
    def _found(folder: Path, code: int, stdout: bytes, stderr: bytes) -> Repository | Fault:
        lines = os.fsdecode(stdout).split("\n")
        if code != 0 or len(lines) < 5:
            said = os.fsdecode(stderr).strip()
            if "not a git repository" in said or not said:
                return not_a_repository(folder)
            words = "\n    ".join(line.strip() for line in said.splitlines() if line.strip())
            return Fault(f"git cannot be used here:\n    {words}", next="mend this first; git's message says how")
        return Repository(
            folder,
            Path(lines[0]),
            Path(lines[1]),
            (folder / lines[2]).resolve(),
            lines[3],
            lines[4] == "true",
        )

    @staticmethod
    def create(folder: Path) -> Repository:
        """A new repository in `folder`. Raises Refusal when git cannot make one."""
        try:
            done = subprocess.run(["git", "-C", str(folder), "init", "--quiet"], capture_output=True, env=environment())
        except FileNotFoundError:
            raise Refusal(NO_GIT) from None
        if done.returncode != 0:
            raise Refusal(_git_said("init", done))
        made = Repository.find(folder)
        if isinstance(made, Fault):
            raise Refusal(made)
        return made

    # --- running -------------------------------------------------------------------------------

    def run(
        self, *arguments: str, input: bytes | None = None, extra_env: Mapping[str, str] | None = None
    ) -> subprocess.CompletedProcess[bytes]:
        """Run git in the formulary's folder and give what came of it; raises Refusal when git is missing."""
        command = ["git", "-C", str(self.folder), "--literal-pathspecs", *arguments]
        try:
            return subprocess.run(command, capture_output=True, env=environment() | dict(extra_env or {}), input=input)
        except FileNotFoundError:
            raise Refusal(NO_GIT) from None

    def must(self, *arguments: str, input: bytes | None = None, extra_env: Mapping[str, str] | None = None) -> bytes:
        """Run git; its output, or a Refusal with its own words."""
        done = self.run(*arguments, input=input, extra_env=extra_env)
        if done.returncode != 0:
            raise Refusal(_git_said(arguments[0], done))
        return done.stdout

    # --- reading -------------------------------------------------------------------------------

    def object(self, name: str) -> Object | None:
        """The object that `name` means (`HEAD:path`, an id); None when there is none or it is ambiguous."""
        return self.objects([name])[0]

    def objects(self, names: Sequence[str]) -> list[Object | None]:
        """Several objects with one question; as `object`, in the order of `names`."""
        found: list[Object | None] = []
        for start in range(0, len(names), _AT_ONCE):
            found += self._ask(names[start : start + _AT_ONCE])
        return found

    def _ask(self, names: Sequence[str]) -> list[Object | None]:
        batch = self._batch_process()
        out, into = batch.stdout, batch.stdin
        assert out is not None
        assert into is not None
        try:
            # a name with a line break would be read as two; git knows no object by an empty name
            into.write(b"".join((b"-" if "\n" in name else os.fsencode(name)) + b"\n" for name in names))
            into.flush()
        except BrokenPipeError:
            pass  # said below, when no answer comes
        return [self._answer(out) for _ in names]

    @staticmethod
    def _answer(out: IO[bytes]) -> Object | None:
        head = out.readline()
        if not head:
            raise Refusal("git cat-file ended before it answered", next="run  git fsck  to see whether the repository is sound")
        # cat-file(1), BATCH OUTPUT: "<oid> SP <type> SP <size> LF <contents> LF", or
        # "<object> SP missing LF" / "<object> SP ambiguous LF".
        parts = head.rstrip(b"\n").rsplit(b" ", 2)
        if len(parts) != 3 or not parts[2].isdigit():
            return None
        size = int(parts[2])
        data = _exactly(out, size)
        out.read(1)
        return Object(parts[0].decode(), parts[1].decode(), data)

    def _batch_process(self) -> subprocess.Popen[bytes]:
        if self._batch is None or self._batch.poll() is not None:
            self._batch = _start_batch(self.folder)
        return self._batch

    def close(self) -> None:
        """End the reading processes."""
        for process in (self._batch, *self._logs.values()):
            _end(process)
        self._batch, self._logs = None, {}

    def commit_id(self, name: str) -> str | None:
        """The full id of the commit that `name` means; None when there is none."""
        found = self.object(f"{name}^{{commit}}")
        return found.id if found and found.kind == "commit" else None

    def head(self) -> str | None:
        """The commit that is checked out; None on an unborn branch."""
        return self.commit_id("HEAD")

    def meant_by(self, short: str) -> list[str]:
        """Full ids of the commits that a full or shortened id could mean; never a branch or tag of that name."""
        ids = self.must("rev-parse", f"--disambiguate={short}").decode().split()
        return [i for i in ids if (o := self.object(i)) and o.kind == "commit"]

    def log(self, paths: Sequence[str], start: str = "HEAD", *, first_parent: bool = False) -> Iterator[Commit]:
        """Commits that touch `paths` (relative to the top), newest first, over the full history.

        --full-history: "does not prune some history"; -c: a merge lists only what differs from
        every parent; paths come NUL-terminated and unquoted with -z. first_parent walks the main
        line only and, without paths, gives every commit on it.
        """
        started = self._logs.pop(tuple(paths), None) if start == "HEAD" and not first_parent else None
        try:
            process = started or _start_log(self.top, paths, start, first_parent)
        except FileNotFoundError:
            raise Refusal(NO_GIT) from None
        out, said = process.communicate()
        if process.returncode != 0:
            raise Refusal(f"git log failed: {os.fsdecode(said).strip()}", next="run  git fsck  to see whether the repository is sound")
        return _commits(out)

    def renamed_from(self, commit: str, path: str) -> str | None:
        """The name that `path`, new in `commit`, had before it; None when it was really new."""
        out = self.must(
            "diff-tree", "-r", "-z", "--no-commit-id", "--root", "--name-status", "--find-renames=50%", "--end-of-options", commit
        )
        parts = os.fsdecode(out).split("\0")
        index = 0
        while index < len(parts) - 1:
            if parts[index][:1] == "R":
                if parts[index + 2] == path:
                    return parts[index + 1]
                index += 3
            else:
                index += 2
        return None

    def changed(self, paths: Sequence[str]) -> dict[str, str]:
        """Those of `paths` (relative to the top) that differ from what was last saved, with git's two-letter state."""
        if not paths:
            return {}
        out = os.fsdecode(
            self.must(
                "-C", str(self.top), "status", "--porcelain=v1", "-z", "--no-renames", "--untracked-files=all", "--ignored", "--", *paths
            )
        )
        return {row[3:]: row[:2] for row in out.split("\0") if row}

    def branch(self) -> str | None:
        """The name of the branch that is checked out; None on a detached head."""
        done = self.run("symbolic-ref", "--quiet", "--short", "HEAD")
        return os.fsdecode(done.stdout).strip() if done.returncode == 0 else None

    def unfinished(self) -> str | None:
        """What git is in the middle of (`a merge`), or None."""
        signs = {
            "MERGE_HEAD": ("a merge", "git merge"),
            "rebase-merge": ("a rebase", "git rebase"),
            "rebase-apply": ("a rebase", "git rebase"),
            "CHERRY_PICK_HEAD": ("a cherry-pick", "git cherry-pick"),
            "REVERT_HEAD": ("a revert", "git revert"),
        }
        for name, (what, _) in signs.items():
            if (self.git_dir / name).exists():
                return what
        return None

    def identity(self) -> str | None:
        """`Name <mail>` that a save would carry; None when git knows none, or not who commits."""
        asked = [self.run("-c", "user.useConfigOnly=true", "var", f"GIT_{role}_IDENT") for role in ("COMMITTER", "AUTHOR")]
        if any(done.returncode != 0 for done in asked):
            return None
        return os.fsdecode(asked[-1].stdout).strip().rpartition(">")[0] + ">"

    # --- saving --------------------------------------------------------------------------------

    def _head_now(self) -> str | None:
        """The commit checked out, asked of a process of its own: Ctrl-C may just have ended the one that reads."""
        done = self.run("rev-parse", "--verify", "--quiet", "HEAD")
        return done.stdout.decode().strip() if done.returncode == 0 else None

    def save(self, paths: Sequence[str], message: str, extra_env: Mapping[str, str] | None = None) -> str:
        """Save exactly `paths` (relative to the top) as one commit; the id of it.

        commit(1), --only: "Make a commit by taking the updated working tree contents of the paths
        specified on the command line, disregarding any contents that have been staged for other
        paths." New files are first made known with `add --intent-to-add`; that is taken back when
        the save fails, so that staged work is as it was. Ctrl-C ends git, and is otherwise like a
        save that failed.
        """
        at_top = ("-C", str(self.top))
        before = self._head_now()
        fresh = [p for p, state in self.changed(paths).items() if state in ("??", "!!")]
        options = ("--quiet", "--only", "--cleanup=verbatim", "--file=-")
        command = ["git", "-C", str(self.top), "--literal-pathspecs", "commit", *options, "--", *paths]
        with stopping.whole():
            if fresh:
                self.must(*at_top, "add", "--intent-to-add", "--force", "--", *fresh)
            done = stopping.run(command, env=environment() | dict(extra_env or {}), input=message.encode())
            saved = self._head_now()
            if done.returncode != 0:
                # it may have failed behind the save itself, in a hook or when writing the index
                if saved is None or saved == before or self.run(*at_top, "diff", "--quiet", "HEAD", "--", *paths).returncode != 0:
                    if fresh:
                        self.run(*at_top, "rm", "--cached", "--quiet", "--force", "--", *fresh)
                    raise Refusal(_git_said("commit", done))
                self.run(*at_top, "reset", "--quiet", "--", *paths)
        assert saved is not None
        return saved


NO_IDENTITY = Fault(
    "git does not know who you are, and every saved revision carries its author",
    next='type these two commands with your own name, then try again:\n    git config --global user.name "Your Name"\n    git config --global user.email you@example.org',
)


def _git_said(what: str, done: subprocess.CompletedProcess[bytes]) -> Fault:
    said = (os.fsdecode(done.stderr).strip() or os.fsdecode(done.stdout).strip()) or f"exit code {done.returncode}"
    return Fault(
        f"git {what} failed and nothing was saved:\n    " + "\n    ".join(said.splitlines()[-12:]),
        next="mend what git names, then try again",
    )


def _exactly(pipe: IO[bytes], size: int) -> bytes:
    data = pipe.read(size)
    if len(data) != size:
        raise Refusal("git cat-file ended in the middle of an object", next="run  git fsck  to see whether the repository is sound")
    return data


def parse_tree(data: bytes, id_size: int = 20) -> dict[str, TreeEntry]:
    """A raw tree object: `<mode> SP <name> NUL <binary id>`, one after the other."""
    entries, at = {}, 0
    while at < len(data):
        space = data.index(b" ", at)
        end = data.index(b"\0", space)
        id = data[end + 1 : end + 1 + id_size]
        entries[os.fsdecode(data[space + 1 : end])] = TreeEntry(data[at:space].decode(), id.hex())
        at = end + 1 + id_size
    return entries


def _commits(out: bytes) -> Iterator[Commit]:
    """The commits in what `_start_log` printed: five fields each, then pairs of change and path."""
    parts = out.split(b"\0")
    at = 0
    while at < len(parts):
        head = parts[at].lstrip(b"\n")
        if not head.startswith(b"\x01"):  # the empty piece between two commits, and at the end
            at += 1
            continue
        parents, author, date, message = parts[at + 1 : at + 5]
        at += 5
        while at < len(parts) and not parts[at].strip(b"\n"):
            at += 1
        changes = []
        while at < len(parts) and parts[at].lstrip(b"\n").startswith(b":"):
            changes.append(_change(parts[at].lstrip(b"\n").decode(), os.fsdecode(parts[at + 1])))
            at += 2
        yield Commit(
            head[1:].decode(),
            tuple(parents.decode().split()),
            printable(author.decode("utf-8", "replace")),
            date.decode(),
            message.decode("utf-8", "replace").strip("\n"),
            tuple(changes),
        )


def _change(meta: str, path: str) -> Change:
    # diff-format: ":<mode> <mode> <id> <id> <status>"; with -c one colon, mode and id more a parent.
    words = meta.split(" ")
    parents = len(words[0]) - len(words[0].lstrip(":"))
    ids = [i if i.strip("0") else None for i in words[parents + 1 : 2 * parents + 2]]
    return Change(path, tuple(ids[:-1]), ids[-1])


def blob_id(data: bytes, size: int = 40) -> str:
    """The id git gives to a blob of these bytes (gitformat: `blob <size> NUL <bytes>`)."""
    import hashlib

    make = hashlib.sha1 if size == 40 else hashlib.sha256
    return make(b"blob %d\0" % len(data) + data, usedforsecurity=False).hexdigest()
