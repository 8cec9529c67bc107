"""The command reference and the field tables in `docs/`, made from the code that they describe.

    python -m fvc.cli.reference [DOCS]

writes `commands.md` and the tables between the marks in `file-formats.md`. A test holds both
against the code, so neither can drift.
"""

from __future__ import annotations

import importlib
import inspect
import re
import sys
import typing
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import typer.models

from fvc.cli.commands import DAY, Command
from fvc.errors import EXIT_DONE, EXIT_INPUT
from fvc.files.fields import Field, Kind, LevelKind, ListOf, ShareKind, Table, TableBy
from fvc.files.schema import TABLES

COMMANDS_FILE, FORMATS_FILE = "commands.md", "file-formats.md"

_INTRO = """\
# Commands

This page is made from the code by `python -m fvc.cli.reference`; a test compares the two. `fvc COMMAND --help` shows the same in
the terminal.

- A **reference** (REF, A, B below) is a plan or a moment of it, such as `face-toner`, `face-toner.4`, `face-toner.before`,
  `face-toner.2026-03-01` or `face-toner/lighter-scent`: see [references](references.md).
- `--json` prints the same result as data for a script: see [json](json.md), which also lists the exit codes.
- `fvc` alone shows today's page: which plans are not saved, which do not close. `fvc --version` and `fvc --help` do what they say.
- Data go to the standard output, messages for you to the error output. No command asks a question when there is no terminal.
"""


class Option(NamedTuple):
    """One argument or option of a command, as a person types it."""

    words: str
    help: str


def parameters(function: Callable[..., Any]) -> tuple[list[Option], list[Option]]:
    """The arguments and the options of a command, in the order of its help page."""
    arguments: list[Option] = []
    options: list[Option] = []
    hints = typing.get_type_hints(function, include_extras=True)
    for name, parameter in inspect.signature(function).parameters.items():
        base, *extras = typing.get_args(hints[name])
        for info in extras:
            if isinstance(info, typer.models.ArgumentInfo):
                arguments.append(Option(info.metavar or name.upper(), info.help or ""))
            elif isinstance(info, typer.models.OptionInfo):
                # in Annotated, typer takes the first name for the default and sorts it out later
                named = [n for n in (info.default, *(info.param_decls or ())) if isinstance(n, str) and n.startswith("-")]
                spelled = ", ".join(named or [f"--{name.replace('_', '-')}"])
                value = "" if base is bool else f" {info.metavar or 'N'}"
                default = parameter.default
                given = f" Without it: {default}." if isinstance(default, int) and base is not bool else ""
                options.append(Option(spelled + value, (info.help or "") + given))
    return arguments, options


def command_section(command: Command) -> str:
    """One command: what it does, how it is typed, its options, examples; of one with words, each of them."""
    if command.words:
        head = [
            f"### fvc {command.name}",
            "",
            f"{command.help[:1].upper()}{command.help[1:]}.",
            "",
            "```text",
            f"fvc {command.usage}",
            "```",
            "",
        ]
        return "\n".join(head) + "\n" + "\n".join(command_section(word) for word in command.words)
    function = getattr(importlib.import_module(command.module), command.function)
    arguments, options = parameters(function)
    out = [f"### fvc {command.name}", "", inspect.cleandoc(function.__doc__ or ""), "", "```text", f"fvc {command.usage}", "```", ""]
    for title, rows in (("argument", arguments), ("option", options)):
        if rows:
            out += [f"| {title} | |", "|---|---|", *(f"| `{_cell(row.words)}` | {_cell(row.help)} |" for row in rows), ""]
    out += ["Examples:", "", "```sh", *command.examples, "```", ""]
    return "\n".join(out)


def command_page() -> str:
    """The whole of docs/commands.md."""
    parts = [_INTRO]
    for title, group in DAY:
        parts.append(f"## {title}\n")
        parts += [command_section(command) for command in group]
    return "\n".join(parts).rstrip("\n") + "\n"


# --- fields of the files ------------------------------------------------------------------------


def field_rows(table: Table, above: str = "") -> Iterator[tuple[str, str, str, bool]]:
    """(dotted key, what may stand there, meaning, required) of every field, nested tables below their parent."""
    for field in table.fields.values():
        key = f"{above}{field.key}"
        yield key, _value_words(field.kind), field.doc, field.required
        yield from _inner_rows(field, key)


def _inner_rows(field: Field, key: str) -> Iterator[tuple[str, str, str, bool]]:
    kind: Kind = field.kind
    if isinstance(kind, Table):
        yield from field_rows(kind, f"{key}.")
    elif isinstance(kind, ListOf) and isinstance(kind.each, Table):
        yield from field_rows(kind.each, f"{key}[n].")
    elif isinstance(kind, TableBy) and isinstance(kind.each, Table):
        if set(kind.each.fields) == set(TABLES["material"].fields) - {"format"}:
            yield f"{key}.ID.…", "", "the fields of a material record, without `format`", False
        else:
            yield from field_rows(kind.each, f"{key}.A." if field.key == "phase" else f"{key}.ID.")


def _value_words(kind: Kind) -> str:
    if isinstance(kind, TableBy) and isinstance(kind.each, LevelKind):
        return "one line for each: a level"
    if isinstance(kind, TableBy) and isinstance(kind.each, ShareKind):
        return "one line for each: a share"
    if isinstance(kind, TableBy):
        return "tables by name"
    if isinstance(kind, ListOf) and isinstance(kind.each, Table):
        return "a list of tables"
    return kind.words


def field_table(kind: str) -> str:
    """The fields of one kind of file as a Markdown table."""
    rows = ["| key | value | meaning |", "|---|---|---|"]
    for key, value, doc, required in field_rows(TABLES[kind]):
        rows.append(f"| `{key}` | {_cell(value)} | {_cell(doc)}{' **(required)**' if required else ''} |")
    return "\n".join(rows)


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


_MARKED = re.compile(r"(<!-- fields of ([a-z]+)[^>]*-->\n).*?(<!-- end of fields -->)", re.DOTALL)


def with_field_tables(page: str) -> str:
    """The page with every table between its marks made anew."""
    return _MARKED.sub(lambda m: f"{m[1]}\n{field_table(m[2])}\n\n{m[3]}", page)


def main(arguments: list[str]) -> int:
    """Write both pages into the docs folder; the exit code."""
    docs = Path(arguments[0]) if arguments else Path(__file__).resolve().parents[2] / "docs"
    formats = docs / FORMATS_FILE
    if not formats.is_file():
        print(
            f"{FORMATS_FILE} is not in {docs}\n  next: name the docs folder of a checkout: python -m fvc.cli.reference docs",
            file=sys.stderr,
        )
        return EXIT_INPUT
    (docs / COMMANDS_FILE).write_text(command_page(), encoding="utf-8", newline="\n")
    formats.write_text(with_field_tables(formats.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")
    return EXIT_DONE


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
