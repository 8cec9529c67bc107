"""What was tried and what came of it, a block for each batch; and a property against the one thing that differs."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from fvc.amounts import brief, shown
from fvc.compare.lessons import Other, Pair, Thing
from fvc.compare.summary import net_change
from fvc.deviations import Departure
from fvc.results.learning import Learned
from fvc.results.records import Looked, Results, Row, Tried
from fvc.seeing import BORDERLINE, FAIL, PASS
from fvc.show.screen import Screen, align, cell_width, counted, grid


def results(out: Screen, found: Results, name: str) -> None:
    """Plan after plan: what differs, every batch with what was seen of it, and the verdict."""
    looked = counted(found.trials, "trial") + (f" and {counted(found.variants, 'variant')}" if found.variants else "")
    shown_rows = [row for plan in found.plans for row in plan.rows]
    if found.only:
        asked = " and ".join(found.only)
        where = f"of {name}" if name else "of all formulas"
        if not shown_rows:
            unread = len({fault.file for fault in found.problems})
            but = f" {counted(unread, 'record')} cannot be read." if unread else ""
            lead = "Not tried before, as far as the records tell" if found.undecided else "Not tried before"
            out.say(f"{lead}: of {looked} {where}, none has {asked}.{but}")
            _undecided(out, found.undecided)
            return
        trials = sum(row.trial is not None for row in shown_rows)
        others = len(shown_rows) - trials
        untried = f" and {counted(others, 'variant')} not made yet" if others else ""
        out.say(f"{asked}: {counted(trials, 'trial')}{untried}, of {looked} {where}.")
    elif not shown_rows:
        out.say(f"Nothing was tried of {name} yet. Begin a batch:  fvc trial start {name} --batch 150g")
        return
    formula = ""
    for plan in found.plans:
        if plan.formula != formula:
            formula = plan.formula
            if found.only:
                out.say("")
            out.head(found.titles[formula] or formula, formula if found.only else f"{formula}: {looked}")
        _plan(out, plan)
    _undecided(out, found.undecided)


def _undecided(out: Screen, undecided: Sequence[str]) -> None:
    for words in undecided:
        out.item("cannot be told  ", words)


def _plan(out: Screen, plan: Tried) -> None:
    out.say("")
    out.head(plan.plan, plan.about.state if plan.about else "")
    if plan.about is not None:
        out.item("asks      ", plan.about.question, 2)
        if plan.about.because:
            out.item("since     ", plan.about.because, 2)
    if plan.against:
        words = "; ".join(net_change(plan.lines)) or "no line differs"
        out.item("differs   ", f"from {plan.against}: {words}", 2)
    elif plan.problem:
        out.item("differs   ", f"cannot be told: {plan.problem}", 2)
    for row in plan.rows:
        _row(out, row)


def _row(out: Screen, row: Row) -> None:
    trial = row.trial
    if trial is None:
        out.item("made      ", "not yet, no trial on record", 2)
    else:
        out.say("")
        out.head(f"  {trial.id}", f"made {trial.made_on}" if trial.made_on else "")
        out.item("made      ", row.problem or "; ".join(departure_words(d) for d in row.departures) or "as asked", 4)
    indent = 2 if trial is None else 4
    for words in row.found:
        out.item("found     ", words, indent)
    if trial is None:
        if row.problem:
            out.item("to mend   ", row.problem, indent)
        return
    if row.looks:
        _looks(out, row.looks)
    else:
        out.item("seen      ", "nothing yet", 4)
    closing = trial.closing
    verdict = f"{closing.subject}{f': {closing.because}' if closing.because else ''}" if closing else "none yet"
    out.item("verdict   ", verdict, 4)


def _looks(out: Screen, looks: Sequence[Looked]) -> None:
    """A row for each look; the two columns of words share the room, so that neither is folded to nothing."""
    rows = [(str(k.day), k.seen.condition, k.entry.subject or "-", judged_words(k)) for k in looks]
    heads = ("day", "where", "what was seen", "by the spec")
    day, where, seen, spec = (max(cell_width(each[i]) for each in (heads, *rows)) for i in range(4))
    room = out.width - 2 - day - where - 8
    if seen + spec > room:
        spec = min(spec, max(room - seen, room // 2))
        seen = room - spec
    table = grid((heads[0], "right"), *((head, "left") for head in heads[1:]), widths=(day, where, seen, spec))
    for each in rows:
        table.add_row(*each)
    out.table(table, 2)


def departure_words(each: Departure) -> str:
    """`propanediol 3.00 asked, 3.5359 made (over)`."""
    asked = "" if each.asked is None else f"{shown(each.asked, 2)} asked"
    made = "" if each.made is None else f"{brief(each.made)} made"
    return f"{each.material} {', '.join(part for part in (asked, made) if part)} ({each.why})"


def judged_words(look: Looked) -> str:
    """What the spec says to a look, the worst first; `not judged` where it names nothing of what was seen."""
    parts = []
    for verdict in (FAIL, BORDERLINE):
        those = [f"{j.what} {j.value}, asked {j.asked}" for j in look.judged if j.verdict == verdict]
        parts += [f"{verdict}: {'; '.join(those)}"] if those else []
    fine = [j.what for j in look.judged if j.verdict == PASS]
    if fine:
        parts.append(f"{PASS}: {', '.join(fine)}" if parts else f"{PASS} ({', '.join(fine)})")
    return ". ".join(parts) or "not judged"


# --- what it teaches --------------------------------------------------------------------------------


def learned(out: Screen, found: Learned, name: str) -> None:
    """The values side by side, the pairs, and what may be said of them."""
    lesson = found.lesson
    thing, unit = lesson.thing.words, "" if lesson.thing.per else " %"
    when = "the last look" if found.day is None else f"day {found.day}"
    out.head(f"{found.property} against {thing}", f"{name or 'all formulas'}; {when}, {found.condition}")
    out.say("")
    if lesson.batches:
        table = grid(("trial", "left"), (f"made{unit}", "right"), ("day", "right"), (found.property, "left"))
        for (made, _), value in zip(lesson.batches, align([value_words(v) for _, v in lesson.batches]), strict=True):
            table.add_row(made.id, value, str(made.view.day), made.view.text)
        out.table(table)
        out.say("")
    count = len(lesson.batches)
    alone = counted(len(lesson.pairs), "pair") if lesson.pairs else "no pair"
    out.say(f"{counted(count, 'trial')}, {alone} that {'differs' if len(lesson.pairs) < 2 else 'differ'} in this alone.", style="bold")
    _pairs(out, lesson.pairs, 40, found)
    near = f"Nearly: {counted(len(lesson.near), 'pair')} in which one or two other things differ too"
    alike = f"Made alike: {counted(len(lesson.alike), 'pair')}; what they show apart is scatter"
    for words, pairs in ((near, lesson.near), (alike, lesson.alike)):
        if pairs:
            out.say("")
            out.say(words)
        _pairs(out, pairs, 12, found)
    out.say("")
    out.say(_said(found), style="bold")
    for words in found.left:
        out.item("not compared  ", words, 2)
    if found.unseen:
        out.item("not seen      ", f"no {found.property} there of {', '.join(found.unseen)}", 2)


def _said(found: Learned) -> str:
    """What may be said, with its count; never a cause."""
    lesson = found.lesson
    if not lesson.trend:
        return lesson.why[:1].upper() + lesson.why[1:] + "."
    pairs = [pair for pair in lesson.pairs if pair.way]
    many = len({id(made) for pair in pairs for made in (pair.first, pair.second)})
    word = {"clarity": {"higher": "cloudier", "lower": "clearer"}}.get(found.property, {}).get(lesson.trend, lesson.trend)
    text = (
        f"{found.property} was {word} each time {lesson.thing.words} was higher: {many} trials, {len(pairs)} pairs that differ in it alone."
    )
    against = sum(pair.way not in ("", lesson.trend) for pair in lesson.near)
    if against:
        text += f" {counted(against, 'pair')} in which something else differs too {'goes' if against == 1 else 'go'} another way."
    return f"{text} That says nothing of the cause."


def value_words(value: Fraction) -> str:
    """A level or a ratio: two decimals at least, four at most."""
    return brief(value)


def _pairs(out: Screen, pairs: Sequence[Pair], most: int, found: Learned) -> None:
    for pair in pairs[:most]:
        _pair(out, pair, found.lesson.thing, found.property)
    if len(pairs) > most:
        out.say(f"and {len(pairs) - most} more; --json lists them all", 2)


def _pair(out: Screen, pair: Pair, thing: Thing, what: str) -> None:
    values = [value_words(v) for made in (pair.first, pair.second) if (v := made.value(thing)) is not None]
    way = f" ({pair.way})" if pair.way else ""
    out.say(f"{pair.first.id} and {pair.second.id}:", 2)
    out.say(f"{' and '.join(values)}: {what} {pair.first.view.text} and {pair.second.view.text}{way}", 4)
    for lead, others in (("also differs: ", pair.others), ("note: ", pair.notes)):
        if others:
            out.item(lead, "; ".join(other_words(o) for o in others), 4)


def other_words(other: Other) -> str:
    """`betaine 1.50 and 2.00 %`, `lot of propanediol: PD-114 and PD-120`."""
    if isinstance(other.first, str) or isinstance(other.second, str):
        sides = [str(each) for each in (other.first, other.second) if each]
        return f"{other.what}{':' if len(sides) > 1 else ''} {' and '.join(sides)}"
    return f"{other.what} {brief(other.first)} and {brief(other.second)} %"
