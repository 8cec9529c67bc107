"""Ctrl-C while something must be done as a whole or not at all: it waits until that is so."""

from __future__ import annotations

import contextlib
import signal
import subprocess
import threading
from collections.abc import Iterator
from typing import Any


class Waiting:
    """What stands in for Ctrl-C's usual handler in the meantime. It is passed on to the program that is being waited for."""

    def __init__(self) -> None:
        self.stopped = False
        self.child: subprocess.Popen[bytes] | None = None

    def __call__(self, *_: Any) -> None:
        """Ctrl-C was pressed."""
        self.stopped = True
        if self.child is not None:
            self.child.send_signal(signal.SIGINT)


@contextlib.contextmanager
def whole() -> Iterator[Waiting]:
    """Run the block to its end even when Ctrl-C is pressed, then raise KeyboardInterrupt.

    The block sees `stopped` and may end early by itself. Inside another such block, that one decides.
    """
    present = signal.getsignal(signal.SIGINT)
    if isinstance(present, Waiting):
        yield present
        return
    waiting = Waiting()
    if present in (None, signal.SIG_IGN) or threading.current_thread() is not threading.main_thread():
        yield waiting  # not ours to change
        return
    signal.signal(signal.SIGINT, waiting)
    try:
        yield waiting
    finally:
        signal.signal(signal.SIGINT, present)
        if waiting.stopped:
            raise KeyboardInterrupt


def run(command: list[str], *, env: dict[str, str], input: bytes) -> subprocess.CompletedProcess[bytes]:
    """Run a program that may take long (a hook, a signature) as part of a block that must be whole.

    Ctrl-C ends the program, by its own means, so that it can tidy up after itself. What it started
    and left behind is not waited for.
    """
    with whole() as waiting:
        pipe = subprocess.PIPE
        process = subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, env=env)
        waiting.child = process
        if waiting.stopped:  # it came before there was a program to pass it on to
            process.send_signal(signal.SIGINT)
        given: bytes | None = input
        while True:
            try:
                out, said = process.communicate(given, timeout=0.5)
                break
            except subprocess.TimeoutExpired:
                given = None
                if waiting.stopped and process.poll() is not None:
                    out, said = b"", b"stopped"
                    break
        waiting.child = None
    return subprocess.CompletedProcess(command, process.returncode, out, said)
