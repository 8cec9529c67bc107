"""The entry point: the fast paths, the dispatch, and the one funnel for everything that goes wrong.

Only the module of the command asked for is imported, and `--version` and `--help` import nothing
that is slow: a tool that starts late is a tool that stays closed.
"""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fvc import __version__
from fvc.errors import EXIT_DONE, EXIT_FAULT_OF_TOOL, EXIT_INPUT, EXIT_STOPPED, Refusal

if TYPE_CHECKING:
    from fvc.cli.commands import Command


def console() -> None:
    """Run the console command: `main`, and then leave at once.

    A run is short and its memory goes back to the system as a whole, so neither collecting
    cycles nor taking every module apart at the end is worth the time it takes (together about
    two bare interpreter starts, see docs/speed.md). Everything written is flushed before.
    """
    import gc

    gc.disable()
    code = main()
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            pass
    os._exit(code)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line; the exit code. Data goes to stdout, messages to stderr."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    _streams()
    try:
        code = _run(given)
        sys.stdout.flush()
        return code
    except Refusal as refusal:
        _say("\n".join(fault.text() for fault in refusal.faults))
        return refusal.code
    except KeyboardInterrupt:
        _say("stopped")
        return EXIT_STOPPED
    except BrokenPipeError:
        # the reader has gone (`fvc history x | head`): end silently, also at interpreter exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return EXIT_DONE
    except Exception as error:
        if isinstance(error, OSError) and error.errno == errno.ENOSPC:
            _say(f"cannot be written: {error.strerror}\n  next: make room on that disk, then try again")
            return EXIT_INPUT
        if isinstance(error.__cause__, KeyboardInterrupt):  # Python 3.11 wraps it while a class is made
            _say("stopped")
            return EXIT_STOPPED
        return _fault_of_tool(error, given)


def _streams() -> None:
    """Make do with the streams we are given: a closed one swallows, and what an encoding lacks becomes `?`."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:  # `fvc sheet x >&-`
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115  (for the rest of the run)
    if isinstance(sys.stdout, io.TextIOWrapper) and sys.stdout.errors in ("strict", "surrogateescape"):
        sys.stdout.reconfigure(errors="replace")


def _run(given: list[str]) -> int:
    if not given:
        from fvc.cli.today import today

        return today(as_json=False)
    for text in given:
        if any("\ud800" <= c <= "\udfff" for c in text):  # bytes that are no UTF-8 reach us as lone surrogates
            from fvc.names import printable

            raise Refusal(f'"{printable(text)}" is not UTF-8 text', next="type it again in a terminal that is set to UTF-8")
    word = given[0]
    if word in ("--version", "-V"):
        print(f"fvc {__version__}")
        return EXIT_DONE
    from fvc.cli.commands import COMMANDS, help_text

    if word in ("--help", "-h", "help"):
        if word == "help" and len(given) > 1 and given[1] in COMMANDS:
            return _command(given[1], ["--help"])
        print(help_text(__version__))
        return EXIT_DONE
    if word == "--json":
        from fvc.cli.today import today

        return today(as_json=True)
    if word not in COMMANDS:
        from fvc.names import printable, suggestion

        hint = suggestion(word, COMMANDS, "fvc --help lists the commands")
        raise Refusal(f'no command "{printable(word)}"', next=hint)
    return _command(word, given[1:])


def _command(name: str, rest: list[str]) -> int:
    from fvc.cli.commands import COMMANDS

    if COMMANDS[name].ahead:
        from fvc.cli.ahead import ask

        ask(rest[:1] if COMMANDS[name].ahead == "story" else rest, story=COMMANDS[name].ahead == "story")
    return _run_command(COMMANDS[name], rest)


def _run_command(command: Command, rest: list[str]) -> int:
    import importlib

    if command.words:
        return _run_word(command, rest)
    module = importlib.import_module(command.module)
    from fvc.cli.parsing import run

    return run(command, getattr(module, command.function), rest)


def _run_word(command: Command, rest: list[str]) -> int:
    """A command whose first argument is a word: `fvc trial weigh`; a word that is none gets the nearest."""
    from fvc.cli.commands import words_text

    if rest[:1] in (["--help"], ["-h"]):
        print(words_text(command))
        return EXIT_DONE
    words = {w.word: w for w in command.words}
    given = rest[0] if rest and not rest[0].startswith("-") else command.alone
    if given not in words:
        from fvc.names import printable, suggestion

        hint = suggestion(given, words, f"fvc {command.name} --help lists them")
        raise Refusal(f'fvc {command.name} has no word "{printable(given)}"', next=hint)
    return _run_command(words[given], rest[1:] if rest[:1] == [given] else rest)


def _say(text: str) -> None:
    try:
        print(text, file=sys.stderr)
    except (BrokenPipeError, ValueError):
        pass


def _fault_of_tool(error: Exception, given: list[str]) -> int:
    """A fault of ours: say so plainly, with a block to paste into a report. No contents of files in it."""
    import platform
    import traceback

    frames = traceback.extract_tb(error.__traceback__)
    here = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    rows = [
        f"  {os.path.relpath(f.filename, here) if f.filename.startswith(here) else os.path.basename(f.filename)}:{f.lineno} {f.name}"
        for f in frames
    ]
    _say(
        "\n".join(
            [
                "This is a fault of fvc, not yours. Nothing more was written after it.",
                "next: please report it with the block below.",
                "---",
                f"fvc {__version__}, Python {platform.python_version()}, {platform.system()}",
                f"command: {given[0] if given else '(none)'}",
                f"{type(error).__name__}: {error}",
                *rows[-12:],
                "---",
            ]
        )
    )
    return EXIT_FAULT_OF_TOOL
