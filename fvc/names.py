"""Ids of materials, formulas, variants and trials, and the nearest name to a mistyped one."""

from __future__ import annotations

import re
from collections.abc import Iterable

ID_LENGTH = 60
ID_PATTERN = r"[a-z0-9][a-z0-9-]*"
_ID = re.compile(ID_PATTERN)

# Names that Windows reserves for devices, with or without an ending
# (Microsoft Learn, "Naming Files, Paths, and Namespaces").
_DEVICES = frozenset({"con", "prn", "aux", "nul"} | {f"{p}{n}" for p in ("com", "lpt") for n in "0123456789"})

PHASE_PATTERN = r"[A-Za-z0-9][A-Za-z0-9_-]{0,19}"
_PHASE = re.compile(PHASE_PATTERN)

INITIALS = "[a-z]{2,4}"  # of a maker, in the id of a trial


def why_not_an_id(text: str) -> str | None:
    """None when `text` may be an id, else the reason in words."""
    if not text:
        return "it is empty"
    if len(text) > ID_LENGTH:
        return f"it has {len(text)} characters; at most {ID_LENGTH} are allowed"
    if not _ID.fullmatch(text):
        if "." in text:
            return "it has a dot, which TOML reads as a table inside a table"
        if text != text.lower() and _ID.fullmatch(text.lower()):
            return f'it has capitals; write "{text.lower()}"'
        return "only small letters a to z, digits and hyphens are allowed, starting with a letter or digit"
    if text.isdigit():
        return "it is all digits"
    if text in _DEVICES:
        return "it is the name of a device on some systems"
    return None


def is_phase_name(text: str) -> bool:
    """True for `A`, `B2`, `cool-down`: up to 20 letters, digits, hyphens and underscores."""
    return bool(_PHASE.fullmatch(text))


def nearest(text: str, known: Iterable[str], most: int = 3) -> list[str]:
    """The known names most like `text`, best first; empty when none is near."""
    from difflib import get_close_matches

    names = sorted(set(known))
    near = get_close_matches(text, names, n=most, cutoff=0.6)
    near += [name for name in names if text and (name.startswith(text) or text in name.split("-")) and name not in near]
    return near[:most]


def suggestion(text: str, known: Iterable[str], otherwise: str = "") -> str:
    """`did you mean glycerin or glycerol?`, or `otherwise` when nothing is near."""
    near = nearest(text, known)
    return f"did you mean {' or '.join(near)}?" if near else otherwise


def beginning(text: str, known: Iterable[str]) -> list[str]:
    """The known names that are `text`, or else begin with it, in their order, each once."""
    names = list(dict.fromkeys(known))
    return [text] if text in names else [name for name in names if text and name.startswith(text)]


def printable(text: str) -> str:
    """`text` with control characters made visible, so that a file name cannot drive a terminal."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
