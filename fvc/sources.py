"""Where the files of a formulary come from: the folder, a commit, or a state between commits."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Protocol

from fvc.errors import Fault, Refusal
from fvc.files.toml_text import MOST_BYTES, too_large
from fvc.git.repository import Object, Repository, TreeEntry, parse_tree


class Source(Protocol):
    """Where the files of a formulary come from; paths are relative to it, with slashes."""

    def read(self, path: str) -> bytes | None:
        """The bytes of a file, None when there is none; Refusal when it cannot be read."""

    def names(self, folder: str) -> list[str]:
        """Names of the entries of a folder, sorted; empty when there is none."""

    def has(self, path: str) -> bool:
        """True when there is something at this path."""

    def key(self, path: str) -> str | None:
        """Something that changes when the file does, for keeping what was parsed; None: do not keep."""

    def expect(self, paths: Iterable[str]) -> None:
        """Say which files will be read next, so that they can be fetched together."""


class FolderSource:
    """The folder as it stands. Links are followed only inside the formulary."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._real = Path(os.path.realpath(root))
        self._inside: dict[str, bool] = {}  # folders: whether they lie in the formulary once links are followed

    def read(self, path: str) -> bytes | None:
        """The bytes of a regular file of sensible size inside the formulary."""
        file = f"{self.root}{os.sep}{path}"  # plain text: hundreds of files may be read in one run
        try:
            info = os.lstat(file)
            if stat.S_ISLNK(info.st_mode):
                if not Path(os.path.realpath(file)).is_relative_to(self._real):
                    raise Refusal(Fault("a link that leads out of the formulary", file=path, next="put the file itself here"))
                info = os.stat(file)
            elif not self._holds(path.rpartition("/")[0]):
                raise Refusal(Fault("a link that leads out of the formulary", file=path, next="put the file itself here"))
        except FileNotFoundError:
            if os.path.islink(file):
                raise Refusal(Fault("a link that leads nowhere", file=path, next="remove the link, or put back what it names")) from None
            return None
        except NotADirectoryError:
            return None
        except OSError as error:
            raise Refusal(Fault(f"cannot be read: {error.strerror}", file=path, next="check the file and its permissions")) from None
        if stat.S_ISDIR(info.st_mode):
            raise Refusal(Fault("a folder stands where a file should be", file=path, next="move the folder away"))
        if not stat.S_ISREG(info.st_mode):
            raise Refusal(Fault("not a regular file", file=path, next="put a plain TOML file here"))
        if info.st_size > MOST_BYTES:
            raise Refusal(too_large(info.st_size, path))
        try:
            with open(file, "rb") as opened:
                return opened.read()
        except OSError as error:
            raise Refusal(Fault(f"cannot be read: {error.strerror}", file=path, next="check the file and its permissions")) from None

    def _holds(self, folder: str) -> bool:
        """True when a folder lies in the formulary once its links are followed; asked for every file, worked out once."""
        if folder not in self._inside:
            self._inside[folder] = Path(os.path.realpath(self.root / folder)).is_relative_to(self._real)
        return self._inside[folder]

    def names(self, folder: str) -> list[str]:
        """Entries of a folder."""
        try:
            return sorted(os.listdir(self.root / folder))
        except (FileNotFoundError, NotADirectoryError):
            return []
        except OSError as error:
            raise Refusal(Fault(f"cannot be listed: {error.strerror}", file=folder, next="check the folder and its permissions")) from None

    def has(self, path: str) -> bool:
        """Something stands there, be it a broken link."""
        return os.path.lexists(self.root / path)

    def key(self, path: str) -> str | None:
        """Never kept: the folder may change at any time."""
        return None

    def expect(self, paths: Iterable[str]) -> None:
        """Nothing to fetch: the files are at hand."""


Entries = Mapping[str, TreeEntry]


class Trees:
    """Folders of commits. Most commits share theirs, so each tree is taken apart once, by its id."""

    def __init__(self, repository: Repository) -> None:
        self.repository = repository
        self._by_id: dict[str, Entries] = {}
        self._by_commit: dict[tuple[str, str], Entries] = {}

    def fetch(self, commits: Iterable[str], folders: Sequence[str]) -> None:
        """Read these folders of all these commits with one question to git."""
        keys = [(c, f) for c in dict.fromkeys(commits) for f in folders if (c, f) not in self._by_commit]
        names = [f"{commit}:{(self.repository.prefix + folder).strip('/')}" for commit, folder in keys]
        for key, found in zip(keys, self.repository.objects(names) if names else (), strict=True):
            if found is None or found.kind != "tree":
                self._by_commit[key] = {}
                continue
            if found.id not in self._by_id:
                self._by_id[found.id] = parse_tree(found.data, len(found.id) // 2)
            self._by_commit[key] = self._by_id[found.id]

    def folder(self, commit: str, folder: str) -> Entries:
        """The entries of a folder in a commit, empty where there is none; one object for one tree."""
        self.fetch((commit,), (folder,))
        return self._by_commit[commit, folder]


class CommitSource:
    """The formulary as a commit holds it."""

    def __init__(self, repository: Repository, commit: str, trees: Trees) -> None:
        self.repository, self.commit = repository, commit
        self._trees = trees
        self._fetched: dict[str, Object] = {}

    def _folder(self, folder: str) -> Entries:
        return self._trees.folder(self.commit, folder)

    def _entry(self, path: str) -> TreeEntry | None:
        folder, _, name = path.rpartition("/")
        return self._folder(folder).get(name)

    def read(self, path: str) -> bytes | None:
        """The bytes of a file in the commit."""
        entry = self._entry(path)
        if entry is None:
            return None
        if not entry.mode.startswith("100"):
            what = "a link" if entry.mode == "120000" else "not a file"
            raise Refusal(Fault(f"{what} in commit {self.commit[:8]}", file=path, next="choose another revision"))
        found = self._fetched.pop(entry.id, None) or self.repository.object(entry.id)
        if found is None:
            raise Refusal(Fault(f"missing from git in commit {self.commit[:8]}", file=path, next="run  git fsck"))
        if len(found.data) > MOST_BYTES:
            raise Refusal(too_large(len(found.data), path))
        return found.data

    def expect(self, paths: Iterable[str]) -> None:
        """Fetch files with one question to git."""
        ids = [entry.id for path in paths if (entry := self._entry(path))]
        self._fetched |= {found.id: found for found in self.repository.objects(ids) if found}

    def names(self, folder: str) -> list[str]:
        """Entries of a folder in the commit."""
        return sorted(self._folder(folder))

    def has(self, path: str) -> bool:
        """True when the commit holds it."""
        return self._entry(path) is not None

    def key(self, path: str) -> str | None:
        """The blob id: equal ids, equal bytes."""
        entry = self._entry(path)
        return entry.id if entry else None


class StateSource:
    """Some files of a formulary by their blob ids: a moment worked out from changes, without its commit."""

    def __init__(self, repository: Repository, files: Mapping[str, str], fetched: dict[str, Object]) -> None:
        """files: path -> blob id. fetched: objects that were read already, shared by all states."""
        self.repository, self.files, self._fetched = repository, files, fetched

    def read(self, path: str) -> bytes | None:
        """The bytes of a file in this state."""
        id = self.files.get(path)
        found = (self._fetched.get(id) or self.repository.object(id)) if id else None
        if found is not None and len(found.data) > MOST_BYTES:
            raise Refusal(too_large(len(found.data), path))
        return found.data if found else None

    def expect(self, paths: Iterable[str]) -> None:
        """Fetch files with one question to git."""
        ids = [id for path in paths if (id := self.files.get(path)) and id not in self._fetched]
        self._fetched |= {found.id: found for found in self.repository.objects(ids) if found}

    def names(self, folder: str) -> list[str]:
        """Those of a folder's entries that are in this state."""
        return sorted(p.rpartition("/")[2] for p in self.files if p.rpartition("/")[0] == folder)

    def has(self, path: str) -> bool:
        """True when the state holds it."""
        return path in self.files

    def key(self, path: str) -> str | None:
        """The blob id."""
        return self.files.get(path)


class IndexSource(StateSource):
    """The formulary as it is staged, which is what the next save with git would hold.

    changed: the files that differ there from what was last saved, without those that are gone.
    """

    def __init__(self, repository: Repository) -> None:
        # githooks(5): a hook runs with GIT_INDEX_FILE set. For `git commit --only`, with which fvc saves, it names an index
        # of its own beside the usual one. environment() drops it, since elsewhere it would lead astray; here it is what is
        # asked about. A relative one is relative to the top of the work tree.
        named = os.environ.get("GIT_INDEX_FILE")
        env = {"GIT_INDEX_FILE": str(repository.top / named)} if named else {}
        files: dict[str, str] = {}
        self._open: set[str] = set()
        # ls-files(1), --stage: "<mode> SP <object> SP <stage> TAB <file>", relative to the folder it is run in
        for row in os.fsdecode(repository.must("ls-files", "--stage", "-z", extra_env=env)).split("\0"):
            meta, _, path = row.partition("\t")
            if meta.endswith(" 0"):
                files[path] = meta.split()[1]
            elif meta:
                self._open.add(path)
        super().__init__(repository, files, {})
        options = ("--cached", "--name-only", "-z", "--no-renames", "--diff-filter=d", "--relative", "--no-ext-diff", "--no-textconv")
        out = os.fsdecode(repository.must("diff", *options, "--", ".", extra_env=env))
        self.changed = [path for path in out.split("\0") if path]

    def read(self, path: str) -> bytes | None:
        """The bytes of a file as staged. Refusal where a merge left it open."""
        if path in self._open:
            name = path.rpartition("/")[2].removesuffix(".toml")
            raise Refusal(Fault("what two people made of it is not settled yet", file=path, next=f"fvc settle {name}"))
        return super().read(path)

    def names(self, folder: str) -> list[str]:
        """Entries of a folder, with the folders in it."""
        lead = f"{folder}/"
        return sorted({p[len(lead) :].partition("/")[0] for p in (*self.files, *self._open) if p.startswith(lead)})


class OverlaidSource:
    """Another source with some files replaced: what if this record were as it was then?"""

    def __init__(self, under: Source, files: Mapping[str, bytes]) -> None:
        self.under, self.files = under, files

    def read(self, path: str) -> bytes | None:
        """The replaced bytes, else those below."""
        return self.files[path] if path in self.files else self.under.read(path)

    def names(self, folder: str) -> list[str]:
        """Entries of both."""
        own = {p.rpartition("/")[2] for p in self.files if p.rpartition("/")[0] == folder}
        return sorted(own | set(self.under.names(folder)))

    def has(self, path: str) -> bool:
        """True when either holds it."""
        return path in self.files or self.under.has(path)

    def key(self, path: str) -> str | None:
        """Never kept for a replaced file."""
        return None if path in self.files else self.under.key(path)

    def expect(self, paths: Iterable[str]) -> None:
        """Passed on."""
        self.under.expect(p for p in paths if p not in self.files)
