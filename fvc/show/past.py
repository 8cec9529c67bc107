"""The history of a plan and the life of one ingredient, for a person."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.compare.diff import FOLLOWED, SAME
from fvc.compare.summary import line_words, percent_text, points_text, record_words, text_words
from fvc.formula import BALANCE, OPEN, RATIO
from fvc.git.conflicts import settled_in
from fvc.show.screen import STYLES, Screen, align, fit_widths, grid, styled
from fvc.story import Level, Row, Story


def history(out: Screen, story: Story) -> None:
    """Newest first: number, date, author, reason, and the net change under each."""
    out.head(story.title, story.name)
    if story.unsaved is not None and (story.unsaved or story.unsaved_texts or story.unsaved_records):
        changed = [line for line in story.unsaved if line.kind != SAME]
        words = (
            [line_words(line) for line in changed]
            + [record_words(r) for r in story.unsaved_records]
            + [text_words(t) for t in story.unsaved_texts]
        )
        out.say("")
        out.say("in the folder, not saved", 0, "bold")
        for word in words[:12] if story.rows else [f"{len(changed)} lines, not saved yet: fvc revise {story.name} --reason TEXT"]:
            out.say(word, 4)
    for row in story.rows:
        out.say("")
        _history_row(out, row)
        for line in dict(settled_in(row.commit.message)).get(story.name, ()):
            out.say(f"settled: {line.replace('; settled: ', '; now ')}", 6)
    if story.shallow:
        out.say("")
        out.say("This clone is shallow, so more history may exist: git fetch --unshallow")


_ROW_WORDS = {
    "plain": "saved without a new revision",
    "revision": "",
    "records": "a record that it uses",
    "unreadable": "cannot be read",
    "deleted": "deleted",
}


def _history_row(out: Screen, row: Row) -> None:
    aside = _ROW_WORDS[row.kind]
    out.say(f"{row.label:>4}  {row.commit.day}  {row.commit.author}  {row.commit.id[:8]}" + (f"  ({aside})" if aside else ""), 0, "bold")
    out.say(row.reason, 6, "bold")
    if row.problem:
        out.say(f"cannot be read: {row.problem}" if row.kind == "unreadable" else row.problem, 6)
    if row.first:
        out.say(f"first saved, {len(row.lines)} lines", 6)
    else:
        decided = [line for line in row.lines if line.kind not in (SAME, FOLLOWED)]
        followed = [line for line in row.lines if line.kind == FOLLOWED]
        for line in decided + followed:
            out.say(line_words(line), 6, STYLES.get(line.kind, ""))
        for word in [record_words(r) for r in row.records] + [text_words(t) for t in row.texts]:
            out.say(word, 6)
    for trial in row.trials:
        closing = trial.closing
        because = f": {closing.because}" if closing and closing.because else ""
        state = trial.plan.partition(",")[2].strip()
        out.item(f"tried{f' ({state})' if state else ''}: {trial.id}  ", f"{trial.verdict or 'no verdict yet'}{because}", 6)


def trace(out: Screen, story: Story, material: str, levels: Sequence[Level]) -> None:
    """Why is it at this level: each change of one ingredient with its reason, newest first."""
    out.head(f"{material} in {story.title}", story.name)
    now = [a for a in story.now.closure.amounts if a.line.material == material] if story.now else []
    for amount in now:
        note = f"; {amount.line.note}" if amount.line.note else ""
        written = f" = {amount.line.level.text}" if amount.line.level.kind in (RATIO, BALANCE, OPEN) else ""
        out.say(f"now {percent_text(amount)} % in phase {amount.line.phase}{written}{note}")
    if not now:
        out.say("not in the plan now")
    out.say("")
    texts = []
    for level in levels:
        row = level.row
        label, day, author = (row.label, row.commit.day, row.commit.author) if row else ("-", "not saved", "")
        if level.line is None:
            before, after, points = "", "", ""
        else:
            before, after = percent_text(level.before), percent_text(level.after)
            points = points_text(level.line) if level.line.points else ""
        texts.append([label, day, author, level.kind if level.kind != "same" else "rewritten", before, after, points])
    for column in (4, 5, 6):
        for text, aligned in zip(texts, align([t[column] for t in texts]), strict=True):
            text[column] = aligned
    columns = (
        ("rev", "right"),
        ("date", "left"),
        ("by", "left"),
        ("", "left"),
        ("before %", "right"),
        ("after %", "right"),
        ("points", "right"),
    )
    widths = fit_widths(columns, texts, out.width)
    for index, (level, text) in enumerate(zip(levels, texts, strict=True)):
        table = grid(*columns, widths=widths, header=index == 0)
        kind = level.kind
        table.add_row(*text[:3], styled(text[3], kind), text[4], text[5], styled(text[6], kind))
        out.table(table)
        reasons = [level.row.reason] if level.row else []
        if level.line and level.line.level_changed and level.line.before and level.line.after:
            kinds = (level.line.before.line.level.kind, level.line.after.line.level.kind)
            if kinds != ("fixed", "fixed"):
                reasons.append(f"written {level.line.before.line.level.text} before, {level.line.after.line.level.text} after")
        reasons += [record_words(r) for r in level.records]
        for reason in reasons:
            out.say(reason, 6)
