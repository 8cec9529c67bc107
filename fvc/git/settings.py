"""How git is set up around a formulary: its local configuration, the attributes in force, its hooks, and a Python named in one of them."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Sequence
from pathlib import Path

from fvc.git.repository import Repository, environment


def local(repository: Repository) -> dict[str, tuple[str, ...]]:
    """The configuration of this clone alone, every value of each key; section and variable in small letters."""
    # git-config(1), --null: "always end values with the null character", "newline as a delimiter between keys and values"
    found: dict[str, tuple[str, ...]] = {}
    for row in os.fsdecode(repository.must("config", "--local", "--null", "--list")).split("\0"):
        if row:
            key, _, value = row.partition("\n")
            found[key] = (*found.get(key, ()), value)
    return found


def get(repository: Repository, key: str) -> str:
    """A value of the configuration of this clone alone; "" where there is none."""
    return os.fsdecode(repository.run("config", "--local", "--get", key).stdout).removesuffix("\n")


def put(repository: Repository, key: str, value: str) -> None:
    """Set a value in the configuration of this clone, in the place of all that the key has there."""
    repository.must("config", "--local", "--replace-all", key, value)


def drop(repository: Repository, key: str) -> None:
    """Take a key out of the configuration of this clone; git drops its section with the last one."""
    repository.must("config", "--local", "--unset-all", key)


def attributes_file(repository: Repository) -> Path:
    """Where the attributes stand that are private to this clone and its linked worktrees."""
    return repository.common_dir / "info" / "attributes"


def in_force(repository: Repository, paths: Sequence[str], *names: str) -> dict[tuple[str, str], str]:
    """What git makes of these attributes for these paths, relative to the formulary: a value, or `set`, `unset`, `unspecified`."""
    # git-check-attr(1), -z: "<path> NUL <attribute> NUL <info> NUL"
    out = os.fsdecode(repository.must("check-attr", "-z", *names, "--", *paths)).split("\0")
    return {(path, name): value for path, name, value in zip(out[::3], out[1::3], out[2::3], strict=False)}


def hooks_folder(repository: Repository) -> Path:
    """Where git looks for hooks, which core.hooksPath may have moved."""
    # git-config(1): "A relative path is taken as relative to the directory where the hooks are run", the top of the work tree
    done = repository.run("config", "--null", "--type=path", "--get", "core.hooksPath")
    if done.returncode != 0:
        return repository.common_dir / "hooks"
    return repository.top / (os.fsdecode(done.stdout).removesuffix("\0") or os.devnull)


def finds_fvc(python: str) -> bool:
    """True when this Python is there and finds fvc from wherever it is started."""
    try:
        return subprocess.run([python, "-P", "-c", "import fvc.driver"], capture_output=True, env=environment(), timeout=60).returncode == 0
    except (OSError, ValueError, subprocess.TimeoutExpired):
        return False
