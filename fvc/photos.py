"""Pictures of a batch: checked by their first bytes and their size, and kept in the formulary."""

from __future__ import annotations

import os
from pathlib import Path

from fvc.archive import Archive
from fvc.errors import Fault, Refusal
from fvc.files.writer import cannot_write, replace
from fvc.names import printable
from fvc.trial import Trial

MOST_BYTES = 10_000_000  # a repository keeps every picture for good
# What each kind of file begins with, by the documents of their formats (JPEG: ITU T.81; PNG: ISO/IEC 15948; WebP: RFC 9649).
_KINDS = ((b"\xff\xd8\xff", "jpg"), (b"\x89PNG\r\n\x1a\n", "png"))


def kind_of(head: bytes) -> str:
    """`jpg`, `png` or `webp` by the first bytes of a file; "" for anything else."""
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    return next((kind for start, kind in _KINDS if head.startswith(start)), "")


def kept_photo(archive: Archive, trial: Trial, text: str) -> str:
    """Copy a picture to `trials/<formula>/photos/`, and give its path there; a file that stands in the formulary already stays where it is.

    Raises Refusal for a file that is not there, is no picture, or is larger than 10 MB.
    """
    file = Path(text).expanduser()
    try:
        size = file.stat().st_size
        if not file.is_file():
            raise Refusal(f"{printable(text)} is no file", next="name a picture: a JPEG, PNG or WebP file")
        with file.open("rb") as opened:
            kind = kind_of(opened.read(16))
    except OSError as error:
        raise Refusal(f"{printable(text)} cannot be read: {error.strerror}", next="name the picture, as seen from this folder") from None
    if not kind:
        raise Refusal(f"{printable(text)} is no picture that fvc knows, by its first bytes", next="save it as JPEG, PNG or WebP")
    if size > MOST_BYTES:
        raise Refusal(
            f"{printable(text)} has {size / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} are kept, since a repository keeps them for good",
            next="make it smaller, 2000 pixels are plenty",
        )
    inside = Path(os.path.realpath(file))
    if inside.is_relative_to(os.path.realpath(archive.root)):
        return inside.relative_to(os.path.realpath(archive.root)).as_posix()
    folder = f"trials/{trial.formula}/photos"
    data = file.read_bytes()
    for number in range(1, 1000):
        name = f"{folder}/{trial.id}-{number}.{kind}"
        target = archive.root / name
        if target.exists() and target.read_bytes() != data:
            continue
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refusal(cannot_write(name, error)) from None
        replace(target, data, data if target.exists() else None, name)
        return name
    raise Refusal(Fault(f"{trial.id} has a thousand pictures already", file=folder, next="tidy that folder"))
