"""The three-way merge of one file of a formulary: bytes in, bytes out, or what must be decided first.

Plans and variants are merged line by line, other files value by value. What git would call a conflict is a list of
questions here, and the text as it would be with all of them answered by one side or by the other: where the two differ,
the markers stand. A plan whose lines total something else than 100, though both sides close, is a question too; the two
texts then have all lines as one side has them. So is any file that would have a fault which neither side has.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any, NamedTuple

from fvc.compare.merge import ORDER, TOTAL, Answer, Decision, Merge, Sided, Three, merge, merge_records
from fvc.compare.ordering import FIRST, QUESTION, SECOND
from fvc.errors import Fault, Refusal
from fvc.files.places import MATERIAL, SETTINGS, TRIAL, kind_of
from fvc.files.plans import read_plan
from fvc.files.rows import Name, OddLayout, Rows
from fvc.files.weaving import COMMENT, Wanted, Woven, weave
from fvc.formula import Line, Plan


class Joined(NamedTuple):
    """What came of three files.

    data: the merged bytes, None while questions are open. merge: of a plan, for the words of its questions.
    sides: the text with every open question answered by the first side, and by the second.
    around: where the total is the question, the lines stand there as one side has them: the rows of those that either changed.
    """

    questions: tuple[Decision, ...]
    decisions: tuple[Decision, ...]
    data: bytes | None
    sides: tuple[bytes, bytes]
    around: tuple[Sequence[int], Sequence[int]] | None = None
    merge: Merge | None = None


class Side(NamedTuple):
    """The bytes of a file on one side, and what that side is called."""

    name: str
    data: bytes


Functions = Callable[[Sequence[str]], Mapping[str, Sequence[str]] | None]
"""The functions of materials by id; None where they cannot be known."""


def join(
    base: bytes | None, first: Side, second: Side, path: str, functions: Functions = lambda ids: None, answers: Mapping[str, Answer] = {}
) -> Joined:
    """Merge one file. base: None or unreadable (empty, with conflict markers) where there is none that both come from.

    functions: asked only for a plan with a ratio by function. Raises Refusal when a side cannot be read, OddLayout when
    a side is not written in rows, AssertionError for a fault of ours; the caller then has only git's own merge.
    """
    docs = (_base(base, path), Rows(first.data, path), Rows(second.data, path))
    on_comments = {k: v for k, v in answers.items() if k.startswith(f"{COMMENT}.")}
    on_values = {k: v for k, v in answers.items() if k not in on_comments}
    if any(_is_plan(doc) for doc in docs[1:]):
        joined = _join_plans(docs, first, second, path, functions, on_values, on_comments)
    else:
        joined = _join_records(docs, first, second, path, on_values, on_comments)
    if not answers:  # whoever answered has chosen
        _check_comments(docs, joined.sides)
    return joined


def _is_plan(doc: Rows) -> bool:
    """True for a file with levels, wherever it lies: a plan under another name is no less a plan."""
    phases = doc.values.get("phase")
    return isinstance(phases, dict) and any(isinstance(phase, dict) and "percent" in phase for phase in phases.values())


def _base(data: bytes | None, path: str) -> Rows | None:
    try:
        return Rows(data, path) if data and data.strip() else None
    except (Refusal, OddLayout):
        return None


def _bookkeeping(docs: Three[Rows]) -> dict[Name, object]:
    """The format and the revision: the higher one stays, and the next save raises it."""
    out: dict[Name, object] = {}
    for key in ("format", "revision"):
        known = [doc.values[key] for doc in docs[1:] if doc and key in doc.values]
        if any(type(number) is not int for number in known):
            raise OddLayout(f"{key} is no whole number")
        if known:
            out[key,] = max(known)
    return out


def _join_records(
    docs: Three[Rows], first: Side, second: Side, path: str, on_values: Mapping[str, Answer], on_comments: Mapping[str, Answer]
) -> Joined:
    records: Three[Mapping[str, Any]] = tuple(doc.values if doc else None for doc in docs)  # type: ignore[assignment]

    def done(more: Sequence[Decision], side: str) -> tuple[list[Decision], bytes]:
        """With further questions answered by a side."""
        given = {q.about: side for q in more}
        decisions, values = merge_records(records, {**on_values, **{k: v for k, v in given.items() if not k.startswith(f"{COMMENT}.")}})
        woven = weave(docs, Wanted({**values, **_bookkeeping(docs)}), {**on_comments, **given}, side)
        return [*decisions, *woven.questions], woven.data

    decisions, data = done((), FIRST)
    questions = tuple(d for d in decisions if d.taken == QUESTION)
    fault = _new_fault(path, (first.data, second.data), data) if not questions else None
    if fault:
        why = _off(fault.message)
        return Joined((why,), (*decisions, why), None, (first.data, second.data), ((), ()))
    if not questions:
        return Joined((), tuple(decisions), data, (data, data))
    sides = [done(questions, side)[1] for side in (FIRST, SECOND)]
    return Joined(questions, tuple(decisions), None, (sides[0], sides[1]))


def _off(why: str) -> Decision:
    """The question about what comes of both as a whole."""
    return Decision(19, TOTAL, None, None, None, QUESTION, why)


def _new_fault(path: str, sides: Sequence[bytes], merged: bytes) -> Fault | None:
    """What keeps a merged record from being read while both sides can be: two shares raised to more than 100 in all."""
    kind, id = kind_of(path, below=True), path.rpartition("/")[2].removesuffix(".toml")
    reader: Callable[[bytes], Any] | None = None
    if kind == MATERIAL:
        from fvc.files.materials import read_material

        reader = partial(read_material, name=path, id=id)
    elif kind == TRIAL:
        from fvc.files.trials import read_trial

        reader = partial(read_trial, name=path, id=id)
    elif kind == SETTINGS:
        from fvc.files.settings import read_formulary

        reader = partial(read_formulary, name=path)
    if reader is None or any(reader(side).faults for side in sides):
        return None
    return next(iter(reader(merged).faults), None)


# --- plans ---


def _read(doc: Rows | None, path: str) -> Plan | None:
    if doc is None:
        return None
    parsed = read_plan(doc.source.data, path, path.rpartition("/")[2].removesuffix(".toml"), variant="variant" in doc.values)
    if parsed.value is None:
        raise Refusal(parsed.faults)
    return replace(parsed.value, record=doc.values)


def _join_plans(
    docs: Three[Rows],
    first: Side,
    second: Side,
    path: str,
    functions: Functions,
    on_lines: Mapping[str, Answer],
    on_comments: Mapping[str, Answer],
) -> Joined:
    try:
        base = _read(docs[0], path)
    except Refusal:
        base, docs = None, (None, docs[1], docs[2])
    plans = (base, _read(docs[1], path), _read(docs[2], path))
    assert plans[1]
    assert plans[2]
    sided = (Sided(first.name, plans[1]), Sided(second.name, plans[2]))
    by_function = any(line.level.function for plan in plans if plan for line in plan.lines)
    known = functions(sorted({line.material for plan in plans if plan for line in plan.lines})) if by_function else {}

    def merged(one: Sided, other: Sided, answers: Mapping[str, Answer]) -> Merge:
        return merge(base, one, other, known or {}, answers)

    lines_of: Three[Mapping[str, Line]] = tuple({line.path: line for line in p.lines} if p else None for p in plans)  # type: ignore[assignment]

    def woven(result: Merge, prefer: str) -> Woven:
        wanted = Wanted({**result.texts, **_bookkeeping(docs)}, result.lines, result.phases, result.origins, lines_of)
        out = weave(docs, wanted, on_comments, prefer)
        again = _read(out.rows, "merged")
        if again is None or again.lines != result.lines:
            raise AssertionError("the merged text would have had other lines")
        return out

    def one_side(side: str) -> tuple[Merge, bool]:
        """With every question answered by one side; True when the total is off or in doubt all the same."""
        result = _answered(lambda a: merged(*sided, a), on_lines, side)
        return result, bool(result.questions or _doubt(result, base, sided, known))

    def lines_of_one(side: str, taken: Plan) -> Merge:
        """With all lines as one side has them, and the texts of both."""
        one, other = (s._replace(plan=replace(s.plan, lines=taken.lines, phases=taken.phases)) for s in sided)
        on_texts = {k: v for k, v in on_lines.items() if not k.startswith("phase.") and k != ORDER}
        return _rows_of(_answered(lambda a: merged(one, other, a), on_texts, side), plans)

    result = merged(*sided, on_lines)
    doubt = _doubt(result, base, sided, known)
    _check_phases(result, base, sided)
    text = woven(result, FIRST)
    others = tuple(q for q in result.questions if q.about != TOTAL)
    total = doubt or tuple(q for q in result.questions if q.about == TOTAL)
    decisions = (*result.decisions, *doubt, *text.questions)
    if not (others or total or text.questions):
        return Joined((), decisions, text.data, (text.data, text.data), merge=result)
    answered = [one_side(side) for side in (FIRST, SECOND)]
    # until they are answered, both of two rivals stand in the plan: then the total is asked about only if an answer leaves it off
    whole = any(off for _, off in answered) if others and not doubt else bool(total)
    if not whole:
        sides = [woven(each, side) for (each, _), side in zip(answered, (FIRST, SECOND), strict=True)]
        return Joined((*others, *text.questions), decisions, None, (sides[0].data, sides[1].data), None, result)
    sides = [woven(lines_of_one(side, plan), side) for side, plan in ((FIRST, plans[1]), (SECOND, plans[2]))]
    around = (_changed_rows(sides[0].rows, base), _changed_rows(sides[1].rows, base))
    return Joined((*others, *total, *text.questions), decisions, None, (sides[0].data, sides[1].data), around, result)


def _changed_rows(doc: Rows, base: Plan | None) -> list[int]:
    """The rows of a text on which lines stand that the shared plan does not have so."""
    plan, known = _read(doc, "merged"), set(base.lines) if base else set()
    lines = (line for line in (plan.lines if plan else ()) if line not in known)
    return [row for line in lines if (row := doc.source.line_of(tuple(line.path.split(".")))) is not None]


def _answered(make: Callable[[Mapping[str, Answer]], Merge], answers: Mapping[str, Answer], side: str) -> Merge:
    """A merge with every question answered by one side; the total cannot be."""
    given = dict(answers)
    while True:
        result = make(given)
        more = {q.about: side for q in result.questions if q.about != TOTAL}
        if not more:
            return result
        given |= more


def _rows_of(result: Merge, plans: Three[Plan]) -> Merge:
    """A merge in which both sides were given the same lines, with the origins that the lines really have on each side."""
    paths = [{line.path for line in plan.lines} if plan else set() for plan in plans]
    origins = {}
    for path, (base, *sides) in result.origins.items():
        on = [p if p in there else base if base in there else None for p, there in zip(sides, paths[1:], strict=True)]
        origins[path] = (base, on[0], on[1])
    return replace(result, origins=origins)


def _doubt(result: Merge, base: Plan | None, sided: Sequence[Sided], known: Mapping[str, Sequence[str]] | None) -> tuple[Decision, ...]:
    """Questions about lines that are those of neither side: whether they total 100 cannot be told, or one side locked its own."""
    if any(result.lines == side.plan.lines for side in sided):
        return ()
    why = [
        f"{side.name} locked the plan with other lines than come of both"
        for side in sided
        if side.plan.status == "locked" and (base is None or base.status != "locked") and result.lines != side.plan.lines
    ]
    waiting = next((line for line in result.lines if line.level.function), None)
    if known is None and waiting:
        why.append(f'the ratio "{waiting.level.text}" cannot be worked out without the material records')
    return (_off("; ".join(why)),) if why else ()


def _check_phases(result: Merge, base: Plan | None, sided: Sequence[Sided]) -> None:
    """A phase that one side took out or renamed and to which the other added: which instructions hold is not for us to say."""
    named = [{phase.name for phase in plan.phases} for plan in (base, *(side.plan for side in sided)) if plan]
    for phase in result.phases if base else ():
        if phase in named[0] and (phase in named[1]) != (phase in named[2]):
            raise OddLayout(f"phase {phase} was taken out on one side, and the other has something new in it")


def _check_comments(docs: Three[Rows], texts: Sequence[bytes]) -> None:
    """Every comment that either side wrote must stand somewhere in what comes of it."""
    known = docs[0].comments if docs[0] else set()
    there = b"\n".join(texts).decode()
    for doc in docs[1:]:
        for comment in doc.comments - known if doc else ():
            if comment not in there:
                raise OddLayout(f'the comment "{comment[:40]}" has no place in what comes of both')
