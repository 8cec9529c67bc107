"""What git calls: the merge of one file of a formulary, and the text of a plan with its computed percents.

`python -m fvc.driver merge BASE FIRST SECOND SIZE --path=PATH [--parent=NAME --first=NAME --second=NAME]` writes the merged
file over FIRST. It ends with 0 when all is merged, and with 64 when markers stand in the file. Anything else (a crash, no
interpreter, no package) means that nothing was written, and the command that `fvc setup` gives to git then has git's own
text merge with its markers: git takes any other failure for a conflict in which the second side is already in the file.

`python -m fvc.driver text FILE` prints the file as it is, with the percent behind each balance and ratio and the total at the
end. It reads this file and nothing else, and prints the bytes as they are where anything is wrong with them: a failure
would end git's whole diff.

Both start in every run of git, once a file: only what they need is imported.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fvc.compare.merge import Decision, Merge
    from fvc.git.conflicts import Coming
    from fvc.git.repository import Repository

CLEAN, MARKED, FAILED = 0, 64, 70
_MOST_SAID = 6  # questions told on the screen; all of them stand in the file


def main(arguments: Sequence[str]) -> int:
    """Run one of the two; never raises."""
    try:
        if arguments[:1] == ["text"] and len(arguments) == 2:
            return _print_text(arguments[1])
        return _merge(arguments[1:])
    except BaseException as error:  # whatever it is, git goes on with its own merge
        _say(f"fvc: not merged by line ({type(error).__name__}: {' '.join(str(error).split())[:200]}); git's text merge stands in the file")
        return FAILED


def _say(text: str) -> None:
    try:
        sys.stderr.buffer.write(text.encode("utf-8", "replace") + b"\n")
    except (OSError, AttributeError):
        pass


# --- merge ---


def _merge(arguments: Sequence[str]) -> int:
    files = [a for a in arguments if not a.startswith("--")]
    # gitattributes(5): %S, %X and %Y are the names of base and sides; git before 2.44 passes them on as they stand
    options = dict(a[2:].split("=", 1) for a in arguments if a.startswith("--"))
    base, first, second = (_read(file) for file in files[:3])
    size, path = int(files[3]), options["path"]
    given = {key: name for key, name in options.items() if name and not name.startswith("%")}
    labels = (given.get("first", "one side"), given.get("second", "the other side"))

    from fvc.errors import Refusal
    from fvc.files.joining import Side, join

    try:
        result = join(base, Side(labels[0], first), Side(labels[1], second), path, _functions_beside(path))
        people = _people(path, given.get("second", "")) if result.data is None else None
        if people:
            labels = people
            result = join(base, Side(labels[0], first), Side(labels[1], second), path, _functions_beside(path))
    except Refusal as refusal:
        _say(f"fvc: {path} is not merged by line: {refusal.faults[0].message}; git's text merge stands in the file")
        return FAILED
    if result.data is not None:
        _write(files[1], result.data)
        return CLEAN
    from dataclasses import replace

    from fvc.files.markers import marked

    data = marked(result.sides, labels, size, result.around)
    _write(files[1], data)
    merge = result.merge
    if merge is not None and people:
        merge = replace(merge, first_name=f"{labels[0]}'s plan", second_name=f"{labels[1]}'s plan")
    for question in result.questions[:_MOST_SAID]:
        _say(f"fvc: {path}: {_words(question, merge)}")
    if len(result.questions) > _MOST_SAID:
        _say(f"fvc: {path}: and {len(result.questions) - _MOST_SAID} more")
    return MARKED


def _words(question: Decision, merge: Merge | None) -> str:
    from fvc.compare.merge import words

    if merge is not None:
        return words(question, merge)
    return question.why or f"{question.about}: both changed it, each otherwise"


def _people(path: str, label: str) -> tuple[str, str] | None:
    """The names of those whose sides these are, where git tells: only asked for a file with questions, since it starts git again.

    A merge names the commit that comes to ours in its environment; later gits than 2.43 give it in the label; a rebase has noted it.
    """
    try:
        from pathlib import Path

        from fvc.git.conflicts import people
        from fvc.git.repository import Repository

        here = Path.cwd()  # git runs a merge driver at the top of the work tree
        repository = Repository(here, here, here, here, "", False)
        coming = _coming(repository, label)
        if coming is None:
            return None
        (first, _), (second, _) = people(repository, "HEAD", coming, path)
        return first, second
    except Exception:
        return None


def _coming(repository: Repository, label: str) -> Coming | None:
    import re

    from fvc.git.conflicts import Coming

    merged = [key.removeprefix("GITHEAD_") for key in os.environ if re.fullmatch(r"GITHEAD_[0-9a-f]{40,64}", key)]
    if len(merged) == 1:
        return Coming("merge", merged[0], "")
    told = re.match(r"(parent of )?([0-9a-f]{7,64})\b", label)
    if told:
        return Coming("revert" if told[1] else "pick", told[2], "")
    done = os.fsdecode(repository.must("rev-parse", "--git-path", "rebase-merge/done")).strip()
    if not os.path.exists(done):
        return None
    _, commit, *_ = _read(done).decode("utf-8", "replace").rstrip("\n").rpartition("\n")[2].split(" ")
    return Coming("rebase", commit, "") if re.fullmatch(r"[0-9a-f]{7,64}", commit) else None


def _functions_beside(path: str) -> Callable[[Sequence[str]], Mapping[str, Sequence[str]] | None]:
    """What the records beside the plan say of functions, for a ratio such as "4 x all essential oil".

    git runs a merge driver at the top of the work tree, which is still one side's; the function of a material hardly ever
    changes, and where a record is missing nothing is known, which is a question and no guess.
    """
    folder = path.rpartition("formulas/" if "formulas/" in path else "variants/")[0]

    def functions(ids: Sequence[str]) -> Mapping[str, Sequence[str]] | None:
        from fvc.files.toml_text import TomlText

        found: dict[str, Sequence[str]] = {}
        for id in ids:
            try:
                if os.path.exists(f"{folder}formulas/{id}.toml"):
                    found[id] = ("premix",)
                    continue
                said = TomlText(_read(f"{folder}materials/{id}.toml"), id).values.get("function", [])
                found[id] = [said] if isinstance(said, str) else [str(word) for word in said] if isinstance(said, list) else []
            except Exception:
                return None
        return found

    return functions


def _read(file: str) -> bytes:
    with open(file, "rb") as opened:
        return opened.read()


def _write(file: str, data: bytes) -> None:
    """All of it or nothing: half a file would be what git goes on with."""
    new = f"{file}.fvc"
    with open(new, "wb") as opened:
        opened.write(data)
    os.replace(new, file)


# --- text ---


def _print_text(file: str) -> int:
    sys.stdout.buffer.write(text_of(_read(file)))
    sys.stdout.buffer.flush()
    return 0


def text_of(data: bytes) -> bytes:
    """The file with its computed percents; as it is where anything is wrong with it."""
    try:
        return _with_percents(data)
    except Exception:
        return data


def _with_percents(data: bytes) -> bytes:
    """The text with the percent behind every line that takes it from others, and the total at the end."""
    from fvc.amounts import shown
    from fvc.files.plans import read_plan
    from fvc.formula import close

    parsed = read_plan(data, "", "plan", variant=b"[variant]" in data)
    if parsed.value is None or parsed.text is None:
        return data
    source, closure = parsed.text, close(parsed.value, {})
    by_function = any(line.level.function for line in parsed.value.lines)
    text, newline = source.text, source.newline
    for amount in reversed(closure.amounts):
        place = source.layout.places.get(tuple(amount.line.path.split(".")))
        if not amount.line.level.follows or place is None:
            continue
        known = amount.percent is not None and not (by_function and amount.line.level.kind == "balance")
        said = f"   # = {amount.text} %" if known else "   # = by the functions of the materials" if by_function else "   # = ?"
        end = text.find("\n", place.end)
        end = len(text) if end < 0 else end - text[end - 1 : end].count("\r")
        text = text[:end] + said + text[end:]
    if by_function:
        total = "# total: by the functions of the materials, see  fvc sheet"
    else:
        total = f"# total {shown(closure.total, closure.decimals)} %" + "".join(f"; {fault.message}" for fault in closure.faults)
    gap = "" if text.endswith("\n") or not text else newline
    return (b"\xef\xbb\xbf" if source.bom else b"") + (text + gap + total + newline).encode()


if __name__ == "__main__":
    # a process for one file: nothing to collect, and nothing to take down at its end
    gc.disable()
    code = main(sys.argv[1:])
    sys.stderr.flush()
    os._exit(code)
