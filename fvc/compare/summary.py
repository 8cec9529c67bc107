"""The net change of a revision in plain lines: the body of its message, and its row in the history."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.amounts import shown
from fvc.compare.diff import ADDED, FOLLOWED, MOVED, REMOVED, SAME, LineDiff, RecordDiff, TextDiff
from fvc.formula import Amount


def percent_text(amount: Amount | None) -> str:
    """The percent of one side as shown; `open` for an open line without expectation, `-` for none."""
    if amount is None:
        return "-"
    return amount.text if amount.text is not None else "open"


def points_text(line: LineDiff) -> str:
    """Points with a sign and the digits of the longer side: `+0.50`."""
    decimals = max((a.decimals for a in (line.before, line.after) if a is not None), default=0)
    text = shown(line.points, decimals)
    return text if line.points < 0 else f"+{text}"


def line_words(line: LineDiff) -> str:
    """One changed line in words: `propanediol 4.00 to 3.00 (-1.00)`."""
    name = line.line.material
    before, after = percent_text(line.before), percent_text(line.after)
    where = f", {line.before.line.phase} to {line.after.line.phase}" if line.phase_changed and line.before and line.after else ""
    if line.kind == ADDED:
        return f"{name} added at {after} in {line.line.phase}"
    if line.kind == REMOVED:
        return f"{name} removed, was {before}"
    if line.kind == MOVED and line.before and line.after:
        return f"{name} {after} moved from {line.before.line.phase} to {line.after.line.phase}"
    followed = ", followed" if line.kind == FOLLOWED else ""
    return f"{name} {before} to {after} ({points_text(line)}{followed}{where})"


def record_words(change: RecordDiff) -> str:
    """One changed field of a record in words."""
    if change.before is None:
        return f"{change.material}: {change.field} {change.after} new"
    if change.after is None:
        return f"{change.material}: {change.field} {change.before} gone"
    return f"{change.material}: {change.field} {change.before} to {change.after}"


def text_words(change: TextDiff) -> str:
    """One changed text in words; long ones only by their field."""
    before, after = change.before or "nothing", change.after or "nothing"
    parts = change.field.split(".")
    if len(parts) == 4 and parts[2] == "percent":  # a level that is written differently: always in full
        return f"{parts[3]}: {before} to {after}"
    if len(before) + len(after) <= 60:
        return f"{change.field}: {before} to {after}"
    return f"{change.field} rewritten"


def net_change(lines: Sequence[LineDiff], records: Sequence[RecordDiff] = (), texts: Sequence[TextDiff] = ()) -> list[str]:
    """The net change in plain lines: what was decided first, what followed behind it."""
    changed = [line for line in lines if line.kind != SAME]
    out = [line_words(line) for line in changed if line.kind != FOLLOWED]
    out += [line_words(line) for line in changed if line.kind == FOLLOWED]
    out += [record_words(r) for r in records]
    return out + [text_words(t) for t in texts]
