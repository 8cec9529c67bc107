"""Building the demo formulary from `demo_repo/`: every step of its story and every batch as a real git commit."""

from __future__ import annotations

import datetime
import os
import shutil
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

from fvc.archive import Archive
from fvc.batch import parse_batch
from fvc.compare.diff import diff
from fvc.errors import Refusal
from fvc.git.repository import Repository
from fvc.references import Reference, folder_reading, parse_reference
from fvc.saving import revision_message, saved_reading


class Built(NamedTuple):
    """What was built, in numbers."""

    formulas: int
    revisions: int
    batches: int
    people: int


def source_folder() -> Path:
    """The demo data: inside the installed package, or beside it in a checkout."""
    here = Path(__file__).resolve().parent
    for folder in (here / "demo_repo", here.parent / "demo_repo"):
        if (folder / "story.toml").is_file():
            return folder
    raise Refusal("the demo data are missing from this installation", next="install fvc again: pip install --force-reinstall fvc")


def is_demo(folder: Path) -> bool:
    """True when `folder` holds a demo that was built before."""
    return (folder / ".git").is_dir() and (folder / "formulas" / "face-toner.toml").is_file()


def read_story(source: Path) -> dict[str, Any]:
    """The steps of the story and the batches in it, each oldest first, and the people."""
    return tomllib.loads((source / "story.toml").read_text(encoding="utf-8"))


def in_order(story: Mapping[str, Any]) -> list[tuple[dict[str, Any], Path]]:
    """Steps and batches in the order of their times, each with the folder for its texts that were changed again later.

    A step is named by its place among the steps, so that a batch that comes in between renames none of them.
    """
    each = [(step, Path("history") / f"{n:02d}") for n, step in enumerate(story["step"], start=1)]
    each += [(batch, Path("history/batches") / f"{n:02d}") for n, batch in enumerate(story["batch"], start=1)]
    return sorted(each, key=lambda pair: pair[0]["at"])


def text_at(source: Path, earlier: Path, path: str) -> bytes:
    """A file as of a step: in the step's own folder where a later one changed it again, else at the top."""
    own = source / earlier / path
    return (own if own.is_file() else source / path).read_bytes()


def rebuild(folder: Path) -> Built:
    """Make a git repository in `folder`, new or empty, with every step and batch of the story, by its author and date.

    Nothing is left in it when it cannot be finished: half a demo would be taken for a whole one.
    """
    folder.mkdir(parents=True, exist_ok=True)
    root = folder.resolve()
    try:
        return _build(root)
    except BaseException:
        for entry in root.iterdir():
            if entry.is_dir() and not entry.is_symlink():
                shutil.rmtree(entry, ignore_errors=True)
            else:
                entry.unlink(missing_ok=True)
        raise


def _build(root: Path) -> Built:
    source = source_folder()
    story = read_story(source)
    repository = Repository.create(root)
    for number, (step, earlier) in enumerate(in_order(story), start=1):
        before = None
        reference = parse_reference(step["saves"]) if "saves" in step else None
        if reference is not None:
            before = saved_reading(Archive(root), reference) if number > 1 else None
        for path in step["files"]:
            file = root / path
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(text_at(source, earlier, path))
        message = step.get("message", "")
        if reference is not None:
            message = _message(root, reference, step, before)
        repository.save(step["files"], message + ("\n" if not message.endswith("\n") else ""), _by(story["people"][step["by"]], step["at"]))
    repository.close()
    formulas = {s["saves"].partition("/")[0] for s in story["step"] if "saves" in s}
    batches = {path for batch in story["batch"] for path in batch["files"]}
    return Built(len(formulas), sum(1 for s in story["step"] if "saves" in s), len(batches), len(story["people"]))


def _message(root: Path, reference: Reference, step: Mapping[str, Any], before: Any) -> str:
    archive = Archive(root)
    after = folder_reading(archive, reference)
    change = diff(before, after, parse_batch(after.plan.batch).grams) if before is not None else None
    archive.close()
    return revision_message(reference.plan_name, step["revision"], step["reason"], after, change)


def _by(person: Mapping[str, str], at: datetime.datetime) -> dict[str, str]:
    when = at.isoformat()
    return {
        "GIT_AUTHOR_NAME": person["name"],
        "GIT_AUTHOR_EMAIL": person["email"],
        "GIT_AUTHOR_DATE": when,
        "GIT_COMMITTER_NAME": person["name"],
        "GIT_COMMITTER_EMAIL": person["email"],
        "GIT_COMMITTER_DATE": when,
        # the hooks and the signature of whoever looks at the demo have no business in it
        "GIT_CONFIG_COUNT": "2",
        "GIT_CONFIG_KEY_0": "core.hooksPath",
        "GIT_CONFIG_VALUE_0": os.devnull,
        "GIT_CONFIG_KEY_1": "commit.gpgSign",
        "GIT_CONFIG_VALUE_1": "false",
    }
