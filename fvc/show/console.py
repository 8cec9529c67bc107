"""Which screen a run writes on: one in a terminal, with colours, or plain text."""

from __future__ import annotations

import os
import sys
from typing import IO

from fvc.show.screen import PIPE_WIDTH, Screen


def console(file: IO[str] | None = None) -> Screen:
    """The screen on stdout (or `file`). What is not a terminal needs no colours, and is spared the import that makes them."""
    out = file or sys.stdout
    if not out.isatty():
        width = os.environ.get("COLUMNS", "")
        return Screen(out, int(width) if width.isdigit() else PIPE_WIDTH)
    from fvc.show.terminal import Terminal

    return Terminal(out)
