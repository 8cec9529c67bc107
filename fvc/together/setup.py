"""Git prepared for a formulary: which files it merges and shows through fvc, who sits here, and what runs after a merge.

| part | where | for whom |
|---|---|---|
| `.gitattributes` | the formulary's folder, saved with it | everybody |
| `info/attributes` | git's own folder | this copy, at every commit, also one from before the file above |
| `merge.fvc`, `diff.fvc`, `fvc.initials` | git's configuration | this copy |
| `post-merge`, `pre-commit` | the folder of hooks | this copy |

Git reads a driver only from the configuration, which never travels with a clone: each copy is set up once.
"""

from __future__ import annotations

import os
import re
import shlex
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from fvc.archive import Archive
from fvc.errors import Fault, Refusal
from fvc.files.writer import cannot_write, replace, writing
from fvc.git.repository import NO_IDENTITY, Repository
from fvc.git.settings import attributes_file, drop, finds_fvc, hooks_folder, in_force, local, put
from fvc.saving import ready_to_save
from fvc.trials import listed_initials, maker_of

SET, MISSING, STALE, NOWHERE = "set", "missing", "stale", "pointing nowhere"
OVERRULED, UNSAVED, OPTIONAL = "overruled", "not saved", "optional"

SHARED, PRIVATE, MERGING, SHOWING, INITIALS = ".gitattributes", "info/attributes", "merge.fvc", "diff.fvc", "fvc.initials"
AFTER_MERGE, BEFORE_SAVE = "post-merge", "pre-commit"

_PLANS, _RECORDS = "text eol=lf merge=fvc diff=fvc", "text eol=lf merge=fvc"
ROWS = {
    "formulary.toml": _RECORDS, "formulas/*.toml": _PLANS, "variants/*/*.toml": _PLANS, "materials/*.toml": _RECORDS, "trials/*/*.toml": _RECORDS,
}  # fmt: skip
MESSAGE = "Settings for merging formulas"
_SETUP = "fvc setup"


class Part(NamedTuple):
    """One thing that setup sets: its name, its state in words, and the command that mends it ("" where nothing is to mend)."""

    name: str
    state: str
    mend: str

    @property
    def fine(self) -> bool:
        """True when nothing needs mending."""
        return self.state in (SET, OPTIONAL)


# --- what is written --------------------------------------------------------------------------------


def configuration() -> dict[str, str]:
    """What git's configuration says of merging and showing. The interpreter is absolute: git runs it from anywhere.

    Where it is gone, or fvc is, git's own text merge takes over with its markers, and the file is shown as it is.
    """
    interpreter = shlex.quote(sys.executable)
    driver = f"{interpreter} -P -m fvc.driver".replace("%", "%%")  # git puts file names in the place of % and a letter
    # gitattributes(5): %P is quoted by git itself, and a second pair of quotes would undo that
    merge = f"{driver} merge %O %A %B %L --path=%P --parent=%S --first=%X --second=%Y"
    return {
        "merge.fvc.name": "formulas and records, by what their lines mean",
        "merge.fvc.driver": f"{merge}; case $? in 0) exit 0;; 64) exit 1;; esac; git merge-file --marker-size=%L %A %O %B; exit 1",
        "merge.fvc.recursive": "binary",
        "diff.fvc.textconv": f'f() {{ {interpreter} -P -m fvc.driver text "$1" || cat "$1"; }}; f',
        "diff.fvc.xfuncname": r"^\[.*\]",
    }


def attribute_rows(folder: str = "") -> tuple[bytes, ...]:
    """The lines for git's attributes; folder: where the formulary lies below the file they stand in, `""` or `shop/`."""
    return tuple(os.fsencode(f"{_pattern(folder, pattern)} {attributes}") for pattern, attributes in ROWS.items())


def _pattern(folder: str, pattern: str) -> str:
    """A pattern below a folder whose name is meant letter by letter, quoted where gitattributes(5) asks for it."""
    literal = re.sub(r"[\\*?\[]", r"\\\g<0>", folder)
    literal = f"\\{literal}" if folder[:1] == "!" else literal  # a leading "!" would turn the pattern round
    whole = literal + pattern
    if re.search(r'[\s"\\\x00-\x1f\x7f]', whole) or whole[:1] == "#":
        return '"' + re.sub(r'["\\\x00-\x1f\x7f]', lambda c: f"\\{c[0]}" if c[0] in '"\\' else f"\\{ord(c[0]):03o}", whole) + '"'
    return whole


def hook_line(name: str, folder: str) -> str:
    """The line of shell that a hook consists of. It hinders nothing where fvc is gone, or where this commit has no such folder."""
    here, run = shlex.quote(f"./{folder}"), f"{shlex.quote(sys.executable)} -P"
    gone = "fvc is not where it was when this hook was made; in the folder of the formulary,  fvc setup  mends that"
    check, end = ("check --merged --stops", ":") if name == AFTER_MERGE else ("check --staged --stops", "case $? in 1|2) exit 1;; esac")
    found = f"{run} -c 'import fvc' 2>/dev/null || {{ echo '{gone}' >&2; exit 0; }}"
    return f"(cd {here} 2>/dev/null || exit 0; {found}; {run} -m fvc {check}) || {end}"


# --- a block of ours in a file that others write too -------------------------------------------------

_OURS = b"# fvc setup"


class _Block(NamedTuple):
    """Our lines in one file, between two comment lines.

    name: the file as told to a person. where: the formulary's folder below the top, in files that may hold a block for
    each formulary. head: what a new file begins with.
    """

    part: str
    file: Path
    name: str
    where: str
    rows: tuple[bytes, ...]
    head: bytes = b""

    @property
    def hook(self) -> bool:
        return bool(self.head)

    def _marks(self) -> tuple[bytes, bytes]:
        where = os.fsencode(f" {_pattern('', self.where.rstrip('/'))}" if self.where else "")
        return _OURS + b": from here" + where, _OURS + b": to here" + where

    def _found(self) -> re.Pattern[bytes]:
        first, last = (re.escape(m) for m in self._marks())
        return re.compile(rb"^" + first + rb"\r?\n((?:(?!" + _OURS + rb")[^\n]*\n)*)" + last + rb"\r?(?:\n|\Z)", re.MULTILINE)

    def read(self) -> bytes | None:
        """The bytes of the file, None where there is none."""
        try:
            return self.file.read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return None
        except OSError as error:
            raise Refusal(Fault(f"cannot be read: {error.strerror}", file=self.name, next="check it and its permissions")) from None

    def inside(self, data: bytes) -> bytes | None:
        """What stands between our comment lines; None where they are not there."""
        found = self._found().search(data)
        return found[1] if found else None

    def put(self, data: bytes | None) -> bytes:
        """The file with our block as it is today, where it stood or at the end; its line ends are those of the file."""
        data = self.head if data is None else data
        end = b"\r\n" if b"\r\n" in data else b"\n"
        first, last = self._marks()
        block = end.join([first, *self.rows, last]) + end
        found = self._found().search(data)
        if found:
            return data[: found.start()] + block + self._others(found[1]) + data[found.end() :]
        return data + (end if data and not data.endswith(b"\n") else b"") + block

    def out(self, data: bytes) -> bytes:
        """The file without our block; empty where nothing else is in it."""
        rest = self._found().sub(lambda found: self._others(found[1]), data)
        return b"" if rest.strip() == self.head.strip() else rest

    def _others(self, inside: bytes) -> bytes:
        """Lines that somebody put between ours."""
        return b"" if self.hook else b"".join(row for row in inside.splitlines(keepends=True) if b"merge=fvc" not in row)

    def foreign(self, data: bytes | None) -> bool:
        """True for a hook that somebody else wrote."""
        return self.hook and data is not None and _OURS not in data

    def state(self) -> str:
        """Set, missing or stale; a hook of somebody else's that has our line is set."""
        data = self.read() or b""
        if self.hook and self.foreign(data) and all(row in data for row in self.rows):
            return SET
        if self.inside(data) is None:
            return MISSING
        return SET if self.runs and self.put(data) == data else STALE

    @property
    def runs(self) -> bool:
        """False for a hook that git passes over, since it may not be run."""
        return not self.hook or os.access(self.file, os.X_OK)


def _blocks(repository: Repository) -> dict[str, _Block]:
    found = [_Block(SHARED, repository.folder / SHARED, SHARED, "", attribute_rows()), _private(repository)]
    for name in (AFTER_MERGE, BEFORE_SAVE):
        file = hooks_folder(repository) / name
        line = os.fsencode(hook_line(name, repository.prefix))
        found.append(_Block(name, file, _told(repository, file), repository.prefix, (line,), b"#!/bin/sh\n"))
    return {block.part: block for block in found}


def _private(repository: Repository) -> _Block:
    file = attributes_file(repository)
    return _Block(PRIVATE, file, _told(repository, file), repository.prefix, attribute_rows(repository.prefix))


def _told(repository: Repository, file: Path) -> str:
    return str(file.relative_to(repository.top) if file.is_relative_to(repository.top) else file)


def _may_write(repository: Repository, block: _Block) -> bool:
    """False for a hook of somebody else's, and for a folder of hooks that lies outside the repository."""
    folder = Path(os.path.realpath(block.file.parent))
    homes = (repository.common_dir, Path(os.path.realpath(repository.top)))
    return not block.foreign(block.read()) and (not block.hook or any(folder.is_relative_to(home) for home in homes))


# --- doing it ----------------------------------------------------------------------------------------


def prepare(archive: Archive, *, initials: str = "", hooks: bool = False, shared: bool = True) -> list[str]:
    """Set up what is not as it should be, and say what was done; empty where all is set.

    initials: as given, else those a batch would get. hooks: also the one before a save. shared: False leaves all alone
    that is saved with the formulary. Raises Refusal, with nothing written, without a repository, for initials that are
    somebody else's, and where git's folder cannot be written. What is left to do is told by `parts`.
    """
    repository = archive.repository
    wanted = configuration() | _initials(archive, initials)
    blocks = _blocks(repository)
    if shared and blocks[SHARED].file.is_symlink():
        raise Refusal(Fault("is a link, which git does not follow here", file=SHARED, next="put the file itself in its place"))
    skipped = {BEFORE_SAVE} if not hooks and blocks[BEFORE_SAVE].inside(blocks[BEFORE_SAVE].read() or b"") is None else set()
    skipped |= set() if shared else {SHARED}
    done: list[str] = []
    with writing(archive.lock_folder):
        before = local(repository)
        others = _others_in_force(repository)
        changed = [key for key, value in wanted.items() if before.get(key) != (value,)]
        for key in changed:
            put(repository, key, wanted[key])
        if changed:
            done.append(f"Set in git's configuration of this copy: {', '.join(changed)}.")
        wrote = [b for part, b in blocks.items() if part not in skipped and _may_write(repository, b) and _write(b)]
        for block in wrote:
            done.append(f"Wrote {block.name}" + (" (for everybody who has this formulary)." if block.part == SHARED else "."))
            if block.hook and not block.file.is_relative_to(repository.common_dir):
                done.append(f"{block.name} lies among your files and names a Python of this computer: keep it out of what you save.")
        if shared and _save(archive, blocks[SHARED]):
            done.append(f'Saved {SHARED}: "{MESSAGE}".')
    if wrote:
        done += [
            f"{path} had {setting} from a line of somebody else's; fvc's stands before it now, in this copy." for path, setting in others
        ]
        done += _line_ends(repository)
    return done


def _initials(archive: Archive, asked: str) -> dict[str, str]:
    """The initials to set: none where git does not know who sits here, or those of the name are taken. Refusal for asked ones that cannot be."""
    try:
        maker = maker_of(archive, initials=asked)
    except Refusal as refusal:
        if asked and refusal.faults != (NO_IDENTITY,):
            raise
        return {}  # told by `parts`
    listed = listed_initials(archive, maker.name)
    if listed and listed != maker.initials:
        raise Refusal(f"formulary.toml says in [makers] that yours are {listed}", next="change them there, which holds for every copy")
    return {INITIALS: maker.initials}


def _initials_part(archive: Archive, noted: str) -> Part:
    try:
        known = maker_of(archive).initials
    except Refusal as refusal:
        return Part(INITIALS, STALE if noted else MISSING, f"{refusal.faults[0].message}: {refusal.faults[0].next}")
    return Part(INITIALS, SET, "") if noted == known else Part(INITIALS, STALE if noted else MISSING, _SETUP)


def _others_in_force(repository: Repository) -> list[tuple[str, str]]:
    """(path, `merge=union`) where something else than fvc is set for merging or showing our files."""
    samples = {pattern.replace("*", "x"): pattern for pattern in ROWS}
    found = in_force(repository, list(samples), "merge", "diff")
    plain = ("unspecified", "fvc")
    return [(samples[path], f"{name}={value}") for (path, name), value in found.items() if value not in plain]


def _write(block: _Block) -> bool:
    data = block.read()
    new = block.put(data)
    if new == data and block.runs:
        return False
    replace(block.file, new, data, block.name)
    if block.hook:
        try:
            mode = block.file.stat().st_mode & 0o777
            block.file.chmod(mode | (mode & 0o444) >> 2)  # whoever may read it may run it
        except OSError as error:
            raise Refusal(cannot_write(block.name, error)) from None
    return True


def _save(archive: Archive, block: _Block) -> bool:
    """Save .gitattributes where our lines are all that is new in it, and git takes a save."""
    repository = archive.repository
    path = repository.prefix + SHARED
    if not repository.changed([path]):
        return False
    head = repository.object(f"HEAD:{path}")
    if _plain(block.put(head.data if head else None)) != _plain(block.read() or b""):
        return False
    try:
        ready_to_save(archive)
        repository.save([path], f"{MESSAGE}\n")
    except Refusal:  # told by `parts`, with the commands
        return False
    return True


def _plain(data: bytes) -> bytes:
    return data.replace(b"\r\n", b"\n")


def _line_ends(repository: Repository) -> Iterator[str]:
    """A word about files that were saved with Windows line ends: with `eol=lf` git shows each as changed until it is saved again."""
    # git-ls-files(1), --eol: "i/<eolinfo> SPACES w/<eolinfo> SPACES attr/<eolattr> SPACES TAB <path>"
    rows = os.fsdecode(repository.must("ls-files", "--eol", "-z", "--", "formulary.toml", "formulas", "variants", "materials", "trials"))
    odd = sum(row.startswith(("i/crlf", "i/mixed")) for row in rows.split("\0"))
    if odd:
        yield f"{odd} file{'s were' if odd > 1 else ' was'} saved with Windows line ends, and git shows such as changed from now on."
        yield "To save them with plain ones, once, for everybody:"
        yield "    git add --renormalize .  then  git commit -m 'Plain line ends'"


def remove(archive: Archive) -> list[str]:
    """Take away what is ours, and say what was; lines of others stay byte for byte. Empty where there was nothing."""
    repository = archive.repository
    done: list[str] = []
    with writing(archive.lock_folder):
        for block in _blocks(repository).values():
            data = block.read()
            rest = block.out(data) if data is not None else b""
            if data is None or rest == data or not _may_write(repository, block):
                continue
            if rest:
                replace(block.file, rest, data, block.name)
            else:
                try:
                    block.file.unlink()
                except OSError as error:
                    raise Refusal(cannot_write(block.name, error)) from None
            done.append(f"Took our lines out of {block.name}." if rest else f"Removed {block.name}, which held only our lines.")
        if b"merge=fvc" in (_blocks(repository)[PRIVATE].read() or b""):
            done.append("Git's configuration stays as it is: another formulary of this repository uses it.")
        else:
            present = local(repository)
            ours = [key for key in (*configuration(), INITIALS) if key in present]
            for key in ours:
                drop(repository, key)
            if ours:
                done.append(f"Took out of git's configuration of this copy: {', '.join(ours)}.")
        if repository.changed([repository.prefix + SHARED]) and any(SHARED in line for line in done):
            done += ["That holds for everybody once it is saved:", f"    git commit -m 'No settings for merging' {SHARED}"]
    return done


# --- looking -----------------------------------------------------------------------------------------


def parts(archive: Archive) -> tuple[Part, ...]:
    """Every part of the setup with its state; a Python that stands in one of them is run once to see whether it finds fvc."""
    repository = archive.repository
    present, blocks = local(repository), _blocks(repository)
    tried: dict[str, bool] = {}

    def reaches(text: str) -> bool:
        python = _python_in(text)
        if python and python not in tried:
            tried[python] = finds_fvc(python)
        return tried.get(python, True)

    def part(name: str, state: str, text: str, mend: str = _SETUP) -> Part:
        if state in (SET, STALE) and not reaches(text):
            ways = "install fvc for this Python: it runs from its source folder" if _python_in(text) == sys.executable else mend
            return Part(name, NOWHERE, ways)
        return Part(name, state, "" if state == SET else mend)

    found = [_shared_part(repository, blocks[SHARED]), _private_part(repository, blocks[PRIVATE])]
    for name, key in ((MERGING, "merge.fvc.driver"), (SHOWING, "diff.fvc.textconv")):
        text = "".join(present.get(key, ()))
        found.append(part(name, _config_state(present, name), text.replace("%%", "%") if name == MERGING else text))
    found.append(_initials_part(archive, "".join(present.get(INITIALS, ()))))
    for name in (AFTER_MERGE, BEFORE_SAVE):
        block, state = blocks[name], blocks[name].state()
        mend = _SETUP if name == AFTER_MERGE else f"{_SETUP} --hooks"
        if state == MISSING and name == BEFORE_SAVE:
            found.append(Part(name, OPTIONAL, mend if _may_write(repository, block) else _by_hand(block)))
        else:
            text = os.fsdecode(block.inside(block.read() or b"") or b"".join(block.rows))
            found.append(part(name, state, text, mend if _may_write(repository, block) else _by_hand(block)))
    return tuple(found)


def _by_hand(block: _Block) -> str:
    return f"it is left alone; add this line to {block.name} yourself:  {os.fsdecode(block.rows[0])}"


def _config_state(present: dict[str, tuple[str, ...]], section: str) -> str:
    wanted = {key: (value,) for key, value in configuration().items() if key.startswith(section)}
    here = {key: present[key] for key in wanted if key in present}
    return SET if here == wanted else STALE if here else MISSING


def _shared_part(repository: Repository, block: _Block) -> Part:
    state = block.state()
    if state == SET and repository.changed([repository.prefix + SHARED]):
        return Part(SHARED, UNSAVED, f"git add {SHARED}  then  git commit -m '{MESSAGE}' {SHARED}")
    return Part(SHARED, state, "" if state == SET else _SETUP)


def _private_part(repository: Repository, block: _Block) -> Part:
    state = block.state()
    others = _others_in_force(repository) if state == SET else []
    if others:
        named = ", ".join(f"{path} {setting}" for path, setting in others)
        return Part(PRIVATE, OVERRULED, f"a line behind ours says {named}: take it out of {block.name}, then  {_SETUP} --check")
    return Part(PRIVATE, state, "" if state == SET else _SETUP)


_PYTHON = re.compile(r"""((?:'[^']*'|"'"|[^\s'"])+) -P -[mc] """)  # as shlex.quote writes it


def _python_in(text: str) -> str:
    found = _PYTHON.search(text)
    return "".join(shlex.split(found[1])) if found else ""


def meant_for_fvc(archive: Archive) -> bool:
    """True when the formulary itself says that fvc merges it, as it does from a first `fvc setup` until `fvc setup --remove`."""
    block = _blocks(archive.repository)[SHARED]
    return block.inside(block.read() or b"") is not None


def unprepared(archive: Archive, *, if_shared: bool = False) -> Fault | None:
    """Why git would merge formulas line by line in this copy; None where it is set up, or there is no git.

    if_shared: asked only of a copy that has another to exchange with. Cheap: one question to git, one file.
    """
    if isinstance(archive.found, Fault):
        return None
    present = local(archive.found)
    if if_shared and not any(key.startswith("remote.") for key in present):
        return None
    states = {_config_state(present, MERGING), _config_state(present, SHOWING)}
    states.add(_private(archive.found).state())
    if states == {SET}:
        return None
    what = "is not set up for fvc" if states == {MISSING} else "was set up by another installation of fvc, or only in part"
    return Fault(f"this copy {what}: git may merge formulas as mere text, and a total can go wrong unseen", next=_SETUP)
