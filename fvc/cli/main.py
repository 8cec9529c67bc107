"""The entry point: the fast paths, the dispatch, and the one funnel for everything that goes wrong.

Only the module of the command asked for is imported, and `--version` and `--help` import nothing
that is slow: a tool that starts late is a tool that stays closed.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

from fvc import __version__
from fvc.errors import EXIT_DONE, EXIT_FAULT_OF_TOOL, EXIT_STOPPED, Refusal


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command line; the exit code. Data goes to stdout, messages to stderr."""
    given = list(sys.argv[1:] if arguments is None else arguments)
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
        return _fault_of_tool(error, given)


def _run(given: list[str]) -> int:
    if not given:
        from fvc.cli.today import today

        return today(as_json=False)
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
    import importlib

    from fvc.cli.commands import COMMANDS

    module = importlib.import_module(COMMANDS[name].module)
    from fvc.cli.parsing import run

    return run(COMMANDS[name], getattr(module, name), rest)


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
