"""Putting bytes on disk so that nothing is ever half written or silently written over."""

from __future__ import annotations

import contextlib
import errno
import glob
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from fvc.errors import Fault, Refusal
from fvc.stopping import Waiting, whole

LOCK_SECONDS = 5.0


@contextlib.contextmanager
def writing(folder: Path) -> Iterator[None]:
    """Hold the one lock of all writers while the block runs.

    folder: git's common directory, or a temporary one where there is no git. Waits 5 s,
    then raises Refusal naming the lock. The lock goes with the process, however it ends.
    """
    import filelock  # only writers pay for it

    file = folder / "fvc.lock"
    lock = filelock.FileLock(file, timeout=LOCK_SECONDS)
    try:
        lock.acquire()
    except filelock.Timeout:
        raise Refusal(
            Fault(f"another fvc is writing here; waited {LOCK_SECONDS:.0f} s for {file.name}", next="wait for it to end, then try again")
        ) from None
    except OSError as error:
        raise Refusal(cannot_write(file.name, error)) from None
    try:
        yield
    finally:
        lock.release()


def replace(file: Path, data: bytes, expected: bytes | None, name: str) -> bool:
    """Replace a file in one step; True when it was written, False when it held these bytes already.

    expected: the bytes that were read before (None: there was no file); Refusal when the disk
    holds something else by now. The old file stays whole on any failure. Mode and links are kept.
    """
    with whole():
        return _replace(file, data, expected, name)


def _replace(file: Path, data: bytes, expected: bytes | None, name: str) -> bool:
    target = Path(os.path.realpath(file))
    try:
        present = target.read_bytes()
    except FileNotFoundError:
        present = None
    except OSError as error:
        raise Refusal(cannot_write(name, error)) from None
    if present != expected:
        raise Refusal(Fault("the file changed on disk meanwhile; nothing was written", file=name, next="look at it, then try again"))
    if present == data:
        return False
    temporary = None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.", suffix=".new")
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
        mode = target.stat().st_mode & 0o7777 if present is not None else 0o666 & ~_umask()
        os.chmod(temporary, mode)
        if present is not None and not os.access(target, os.W_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        os.replace(temporary, target)
        temporary = None
        _settle(target.parent)
    except OSError as error:
        raise Refusal(cannot_write(name, error)) from None
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
    return True


def _settle(folder: Path) -> None:
    """Have the new name on the disk as well as the bytes, so that it outlives a dead battery; where a system has no such call, no more can be done."""
    with contextlib.suppress(OSError, AttributeError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def sweep(file: Path) -> None:
    """Take away what writers that were ended in the middle left beside `file`, of it and of its like.

    For whoever holds the writers' lock: nobody else writes then.
    """
    for left in file.parent.glob(f".*{glob.escape(file.suffix)}.*.new"):
        with contextlib.suppress(OSError):
            left.unlink()


@contextlib.contextmanager
def replaced(file: Path, data: bytes, expected: bytes | None, name: str, keep_in: Path) -> Iterator[Waiting]:
    """The file holds `data` while the block runs, and for good when it ends well; else it is as it was.

    keep_in: a folder where the old file stands meanwhile under a second name, so that putting it
    back needs no room on a disk that is full by then. Ctrl-C waits for the end of the block.
    """
    target = Path(os.path.realpath(file))
    kept = keep_in / f"fvc-{os.getpid()}-{id(data):x}-{target.name}"
    with whole() as waiting:
        try:
            with contextlib.suppress(OSError):  # not every disk can give a file two names
                os.link(target, kept)
            replace(file, data, expected, name)
            try:
                yield waiting
            except BaseException as failure:
                try:
                    _put_back(file, target, data, expected, name, kept)
                except Refusal as second:  # somebody else changed the file before it failed, such as a hook
                    if isinstance(failure, Refusal):
                        raise Refusal([*failure.faults, *second.faults]) from None
                raise
        finally:
            with contextlib.suppress(OSError):
                kept.unlink()


def _put_back(file: Path, target: Path, data: bytes, old: bytes | None, name: str, kept: Path) -> None:
    if kept.exists() and target.read_bytes() == data:
        try:
            os.replace(kept, target)
            return
        except OSError:
            pass
    replace(file, old or b"", data, name)


def cannot_write(name: str, error: OSError) -> Fault:
    """The message for a disk that is full, read-only or otherwise not writable."""
    what = {
        errno.ENOSPC: "the disk is full",
        errno.EROFS: "the disk is read-only",
        errno.EACCES: "it may not be written (permissions)",
        errno.EPERM: "it may not be written (permissions)",
    }.get(error.errno or 0, error.strerror or str(error))
    return Fault(f"cannot be written: {what}; nothing was changed", file=name, next="mend that, then try again")


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
