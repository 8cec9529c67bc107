"""The three-way merge of plans: what two sides made of the plan they share, line by line, as a list of decisions.

Lines are paired as in a difference, by phase and material, then by material alone; a material that stands in
several lines and moved between them is paired by phase alone, so that no two lines can meet in one place.
What is merged is a value: the level of a line, its phase, its note, or a text of the plan by its dotted path.

  case                                                                        taken
   1  the same everywhere                                                     base
   2  changed by one side                                                     that side
   3  changed by both alike                                                   both
   4  changed by both differently                                             question
   5  removed by one, untouched by the other                                  that side
   6  removed by both                                                         both
   7  removed by one, changed by the other                                    question
   8  added by one                                                            that side
   9  added by both alike                                                     both
  10  added by both differently; another phase differs too                    question
  11  no plan that both come from, and only one side has it                   question
  12  moved by both to different phases, the level alike                      question about the phase
  13  moved by one, its level changed by the other                            question
  14  order of shared lines or phases changed by one, or by each elsewhere    that side; both
  15  order changed by both alike                                             both
  16  order changed by both differently, or the same addition placed apart    question
  17  a line or phase of one side alone                                       stands behind its predecessor there
  18  two such at one place                                                   stand by their names
  19  what comes of both does not close, and its lines are those of neither   question about the total
  20  both put something else in the place of one line, each another          question: one or the other

13 is a question since nobody has weighed that line: with 4, 10 and 12 it sees to it that no line comes out (phase, material
and level together) that neither side has. Where an answer gives the level, the phase is merged by itself. Without a plan that
both come from, whatever differs is a question: 10, 11 or 16. Until it is answered, a line or text that only one side has stays,
the lower level stays, or what comes first by the alphabet, whichever side is called first. A total is never made right here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple, TypeVar

from fvc.amounts import ZERO, shown
from fvc.compare.ordering import BASE, BOTH, FIRST, QUESTION, SECOND, Ordering, ordering
from fvc.compare.pairing import partners
from fvc.errors import Fault, Refusal
from fvc.formula import OPEN, Closure, Level, Line, Plan, close
from fvc.names import suggestion
from fvc.record import plain_text

ANSWER = "answer"  # what `taken` says beside the words of an ordering
ORDER, TOTAL = "order", "total"

# Fields that say where a plan stands in its history; whoever writes the merged plan writes them.
_BOOKKEEPING = frozenset({("format",), ("revision",)})

Answer = str | Level
"""FIRST or SECOND takes that side; a Level is the level of a line."""

T = TypeVar("T")
U = TypeVar("U")
Three = tuple[T | None, T | None, T | None]  # what the shared plan, the first and the second side have; None where it is missing


class Sided(NamedTuple):
    """A plan, and what its side is called in words: `face-toner.12`, `lighter-scent`, a person's name."""

    name: str
    plan: Plan


class Decision(NamedTuple):
    """One thing that was decided or must be.

    case: number in the table above. about: dotted path (`phase.A.percent.water`, the same with `.note` or `.phase`,
    `title`, `phase.A.heat`), `order` or `total`; a line that moved goes by its path in the shared plan.
    base, first, second: what each has, None where it is missing.
    taken: `base`, FIRST, SECOND, `both`, `answer`, or nothing for an open question.
    why: of the total, by how much and which way it is off.
    """

    case: int
    about: str
    base: str | None
    first: str | None
    second: str | None
    taken: str
    why: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Merge:
    """What comes of two sides.

    shared: False when there is no plan that both come from.
    decisions: on lines in the order of the shared plan, then added ones; on texts; on the order; on the total.
    lines, phases: in the order of the merged plan. texts: every value of the merged record by its path but the levels
    and what the caller writes (format, revision). closure: of the lines as they stand, open questions included.
    origins: the path of every line, and the path of the same line in the shared plan and on both sides.
    """

    first_name: str
    second_name: str
    shared: bool
    decisions: tuple[Decision, ...]
    lines: tuple[Line, ...]
    phases: tuple[str, ...]
    texts: Mapping[tuple[str, ...], object]
    closure: Closure
    origins: Mapping[str, Three[str]] = field(default_factory=dict)

    @property
    def questions(self) -> tuple[Decision, ...]:
        """What nobody decided yet."""
        return tuple(d for d in self.decisions if d.taken == QUESTION)

    @property
    def settled(self) -> bool:
        """True when nothing is left to ask."""
        return not self.questions

    @property
    def changes(self) -> tuple[Decision, ...]:
        """The decisions on what is not the same everywhere."""
        return tuple(d for d in self.decisions if d.case != 1 or d.taken == ANSWER)


def merge(
    base: Plan | None, first: Sided, second: Sided, functions: Mapping[str, Sequence[str]], answers: Mapping[str, Answer] = {}
) -> Merge:
    """Merge what two sides made of `base`; None where no plan is known that both come from.

    functions: of each material by id, as for `close`. answers: by `about`; a level may be given for any line, also one
    that is no question, by its path on any side. Refused: an answer about nothing here, and one that does not fit.
    """
    plans: Three[Plan] = (base, first.plan, second.plan)
    trios = _trios(base.lines if base else (), first.plan.lines, second.plan.lines)
    trios, rivals, torn = _with_rivals(plans, trios)
    names = {line.path: _about(trio) for trio in trios for line in trio if line}
    names |= {line.path: _about(each[0]) for each in rivals for trio in each for line in trio if line}
    desk = _Desk(base is not None, {names.get(about, about): answer for about, answer in answers.items()})
    of_rivals = [trio for each in rivals for trio in each]
    placed = [(line, trio) for trio in trios if trio not in of_rivals and (line := _line(desk, trio, asked=trio in torn))]
    placed += [(line, each[1] if line is each[1][1] else each[2]) for each in rivals for line in _one_of(desk, *each)]
    chosen = {(line.phase, line.material): line for line, _ in placed}
    texts = _texts(desk, _each(plans, lambda plan: plan.record))
    order = _order(desk, plans, chosen, {path[1] for path in texts if path[0] == "phase" and len(path) > 2})
    lines = tuple(chosen[phase, material] for phase, materials in order.items() for material in materials)
    closures = _each(plans, lambda plan: close(plan, functions))
    merged = close(replace(first.plan, lines=lines), functions)
    if merged.faults and lines not in (first.plan.lines, second.plan.lines):  # 19
        totals = _each(closures, lambda side: shown(side.total, side.decimals))
        desk.decisions.append(Decision(19, TOTAL, *totals, QUESTION, "; ".join(fault.message for fault in merged.faults)))
    desk.check(first.name, second.name)
    return Merge(
        first_name=first.name,
        second_name=second.name,
        shared=base is not None,
        decisions=tuple(desk.decisions),
        lines=lines,
        phases=tuple(order),
        texts=texts,
        closure=merged,
        origins={line.path: _each(trio, lambda of_side: of_side.path) for line, trio in placed},
    )


def merge_records(
    records: Three[Mapping[str, Any]], answers: Mapping[str, Answer] = {}
) -> tuple[list[Decision], dict[tuple[str, ...], object]]:
    """Merge records that are no plans (a material, a batch, settings), value by value: the decisions, and every value by its path.

    A list is one value; whoever wants its items merged by what they are called gives them as a table.
    """
    desk = _Desk(records[0] is not None, answers)
    return desk.decisions, _texts(desk, records, levels=True)


def _texts(desk: _Desk, records: Three[Mapping[str, Any]], *, levels: bool = False) -> dict[tuple[str, ...], object]:
    """What is decided on the values of three records."""
    return {
        path: value
        for path, values in leaves(records, levels=levels)
        if (value := desk.decide(_dotted(path), values, plain_text, lambda v: (plain_text(v), type(v).__name__))) is not None
    }


def words(decision: Decision, merge: Merge) -> str:
    """A decision for a person: `propanediol: 3.00 in the parent they share, 3.20 in face-toner.12, 2.50 in lighter-scent`."""
    if decision.about == TOTAL:
        others = any(d.about != TOTAL for d in merge.questions)
        return f"total{', other questions still open' if others else ''}: {decision.why}"
    parts = decision.about.split(".")
    subject = decision.about
    if parts[0] == "phase" and parts[2:3] == ["percent"]:
        subject = parts[3]
        if len({d.about for d in merge.decisions if d.about.split(".")[2:] == ["percent", subject]}) > 1:
            subject += f" in {parts[1]}"
        subject = " of ".join([*parts[4:], subject])
    sides = [(decision.first, merge.first_name), (decision.second, merge.second_name)]
    if merge.shared:
        sides.insert(0, (decision.base, "the parent they share"))
    return f"{subject}: " + ", ".join(f"not in {name}" if text is None else f"{' '.join(text.split())} in {name}" for text, name in sides)


def short(decision: Decision, merge: Merge) -> str:
    """What a decision is about, as briefly as it is named on the command line: the material (with its phase if it has several), or the field."""
    parts = decision.about.split(".")
    if parts[0] != "phase" or parts[2:3] != ["percent"]:
        return decision.about
    several = {d.about.split(".")[1] for d in merge.decisions if d.about.split(".")[2:4] == ["percent", parts[3]]}
    return (f"{parts[1]}:" if len(several) > 1 else "") + ".".join(parts[3:])


def _trios(base: Sequence[Line], first: Sequence[Line], second: Sequence[Line]) -> list[Three[Line]]:
    """Every line with its partners, those of the shared plan in their order, then what was added."""
    to_base = [partners(base, side) for side in (first, second)]
    of_base = [{i: side[j] for j, i in pairs.items()} for side, pairs in zip((first, second), to_base, strict=True)]
    trios: list[Three[Line]] = [(line, of_base[0].get(i), of_base[1].get(i)) for i, line in enumerate(base)]
    new = [[line for j, line in enumerate(side) if j not in pairs] for side, pairs in zip((first, second), to_base, strict=True)]
    alike = partners(*new)
    trios += [(None, new[0][alike[j]] if j in alike else None, line) for j, line in enumerate(new[1])]
    trios += [(None, line, None) for i, line in enumerate(new[0]) if i not in alike.values()]

    by_material: dict[str, list[Three[Line]]] = {}
    for trio in trios:
        by_material.setdefault(next(line.material for line in trio if line), []).append(trio)
    out: list[Three[Line]] = []
    for material, found in by_material.items():
        if len(found) > 1 and any(len({line.phase for line in trio if line}) > 1 for trio in found):
            sides = [{line.phase: line for line in side if line.material == material} for side in (base, first, second)]
            found = [(sides[0].get(p), sides[1].get(p), sides[2].get(p)) for p in dict.fromkeys(p for side in sides for p in side)]
        out += found
    place = {line.path: i for i, line in enumerate(base)}
    return sorted(out, key=lambda trio: (place[trio[0].path] if trio[0] else len(base), _about(trio)))


def _each(values: Three[T], make: Callable[[T], U]) -> Three[U]:
    """The same of each that is there."""
    base, first, second = values
    return None if base is None else make(base), None if first is None else make(first), None if second is None else make(second)


def _about(trio: Three[Line]) -> str:
    """What a line is called: its path in the shared plan; of an added one its path, of two the first by the alphabet."""
    return trio[0].path if trio[0] else min(line.path for line in trio if line)


def _case(values: Three[Any], shared: bool) -> tuple[int, str]:
    """The case of a value, 1 to 11, and what is taken."""

    def same(a: object, b: object) -> bool:
        return type(a) is type(b) and a == b  # true is not 1

    base, first, second = values
    if same(first, second):
        if first is None:
            return 6, BOTH
        return (9, BOTH) if base is None else (1, BASE) if same(base, first) else (3, BOTH)
    if base is None:
        if first is not None and second is not None:
            return 10, QUESTION
        return (8, SECOND if first is None else FIRST) if shared else (11, QUESTION)
    if same(base, first) or same(base, second):
        side, value = (SECOND, second) if same(base, first) else (FIRST, first)
        return 5 if value is None else 2, side
    return 7 if first is None or second is None else 4, QUESTION


class _Desk:
    """Where decisions are made and noted, with the answers that are there.

    can_level: what takes a level as its answer.
    """

    def __init__(self, shared: bool, answers: Mapping[str, Answer]) -> None:
        self.shared, self.answers = shared, answers
        self.decisions: list[Decision] = []
        self.can_level: set[str] = set()

    def level(self, about: str) -> Level | None:
        """The level that an answer gives to a line, if any."""
        self.can_level.add(about)
        answer = self.answers.get(about)
        return answer if isinstance(answer, Level) else None

    def decide(
        self,
        about: str,
        values: Three[T],
        text: Callable[[T], str],
        key: Callable[[T], Any],
        *,
        given: T | None = None,
        instead: Mapping[int, int] | None = None,
        asked: bool = False,
    ) -> T | None:
        """Note what is decided on a value, and give it.

        key: of two values the lesser stands while the question is open. given: what an answer made of it.
        instead: the number to note for a case that has one of its own here. asked: a question, whatever the case.
        """
        case, taken = _case(values, self.shared)
        taken = QUESTION if asked else taken
        answer = self.answers.get(about)
        _, first, second = values
        value: T | None
        if given is not None:
            taken, value = ANSWER, given
        elif answer in (FIRST, SECOND):
            taken, value = ANSWER, first if answer == FIRST else second
        elif taken == QUESTION:
            value = min((v for v in (first, second) if v is not None), key=key)
        else:
            value = second if taken == SECOND else first
        self.decisions.append(Decision((instead or {}).get(case, case), about, *_each(values, text), taken))
        return value

    def check(self, first_name: str, second_name: str) -> None:
        """Refuse the answers that are about nothing here, or do not fit."""
        known = {d.about for d in self.decisions}
        faults = []
        for about, answer in self.answers.items():
            sides = f"answer with {first_name} or with {second_name}"
            if about == TOTAL:
                faults.append(Fault("the total cannot be taken from one side", path=about, next="give lines a level until they total 100"))
            elif about not in known:
                faults.append(
                    Fault(f'nothing to decide is called "{about}"', next=suggestion(about, known, "look at the list of questions"))
                )
            elif isinstance(answer, Level):
                if about not in self.can_level:
                    faults.append(Fault("only a line that is still there takes a level", path=about, next=sides))
            elif answer not in (FIRST, SECOND):
                faults.append(Fault(f'"{answer}" is neither of the two sides', path=about, next=sides))
        if faults:
            raise Refusal(faults)


def _rivals(plans: Three[Plan], trios: Sequence[Three[Line]]) -> list[tuple[Three[Line], Three[Line], Three[Line]]]:
    """Lines that both sides took out and replaced by different ones: what went, and what each put there instead (20).

    Something stands in the place of a line when it alone was added between the same two lines that stayed.
    """
    base, *sides = plans
    if base is None:
        return []
    gone = {t[0].path: t for t in trios if t[0] and not t[1] and not t[2]}
    new = [{t[n].path: t for t in trios if not t[0] and t[n] and not t[3 - n]} for n in (1, 2)]  # type: ignore[union-attr]
    stays = {t[0].path: t for t in trios if t[0] and t[1] and t[2]}
    paths = {each.path: path for path, t in stays.items() for each in t if each}  # a line that moved goes by its first name

    def gaps(plan: Plan, inner: Mapping[str, object]) -> dict[tuple[str, str], list[str]]:
        """What of `inner` stands between lines that stayed, by phase and the line before."""
        found: dict[tuple[str, str], list[str]] = {}
        before: dict[str, str] = {}
        for line in plan.lines:
            if line.path in paths:
                before[line.phase] = paths[line.path]
            elif line.path in inner:
                found.setdefault((line.phase, before.get(line.phase, "")), []).append(line.path)
        return found

    went = gaps(base, gone)
    came = [gaps(side, added) for side, added in zip(sides, new, strict=True) if side]
    out = []
    for place, path in ((place, paths_there[0]) for place, paths_there in went.items() if len(paths_there) == 1):
        there = [each.get(place, []) for each in came]
        if [len(each) for each in there] == [1, 1]:
            out.append((gone[path], new[0][there[0][0]], new[1][there[1][0]]))
    return out


def _with_rivals(
    plans: Three[Plan], trios: list[Three[Line]]
) -> tuple[list[Three[Line]], list[tuple[Three[Line], Three[Line], Three[Line]]], list[Three[Line]]]:
    """The lines, their rivals (20), and what of a rival the other side put into another phase.

    A material that both added, each in another phase, is one line (10), unless one of the two stands in the place of
    what the other replaced otherwise: then it is two, and whether the second one stays is asked as well.
    """
    halves: dict[Three[Line], list[Three[Line]]] = {
        trio: [(None, trio[1], None), (None, None, trio[2])]
        for trio in trios
        if trio[0] is None and trio[1] and trio[2] and trio[1].phase != trio[2].phase
    }
    rivals = _rivals(plans, [part for trio in trios for part in halves.get(trio, [trio])])
    of_rivals = [trio for each in rivals for trio in each]
    split = {trio: parts for trio, parts in halves.items() if any(part in of_rivals for part in parts)}
    torn = [part for parts in split.values() for part in parts if part not in of_rivals]
    return [part for trio in trios for part in split.get(trio, [trio])], rivals, torn


def _one_of(desk: _Desk, gone: Three[Line], of_first: Three[Line], of_second: Three[Line]) -> list[Line]:
    """What comes of a line that both replaced: that of the side which was answered; both while it is open."""
    went, first, second = gone[0], of_first[1], of_second[2]
    assert went
    assert first
    assert second
    answer = desk.answers.get(went.path)
    one, other = (f"{line.material} {level_text(line.level)}" for line in (first, second))
    desk.decisions.append(Decision(20, went.path, level_text(went.level), one, other, ANSWER if answer in (FIRST, SECOND) else QUESTION))
    return [first] if answer == FIRST else [second] if answer == SECOND else [first, second]


def level_text(level: Level) -> str:
    """A level as typed, with what is expected of an open one."""
    return f"{level.text}, expected {level.number.text}" if level.kind == OPEN and level.number else level.text


def _level_key(level: Level) -> Any:
    typed = level.number
    return (typed is None, typed.value if typed else ZERO, typed.text if typed else "", level.text)


def _line(desk: _Desk, trio: Three[Line], *, asked: bool = False) -> Line | None:
    """What comes of a line; None when it is gone. asked: added by one, and a question all the same."""
    base, first, second = trio
    about = _about(trio)
    moved = len({line.phase for line in trio if line}) > 1

    def whole(line: Line) -> str:
        where = f" in {line.phase}" if moved else ""
        noted = len({each.note for each in trio if each}) > 1
        return level_text(line.level) + where + (f', note "{line.note}"' if noted and line.note else "")

    if first is None or second is None:  # 5, 6, 7, 8, 11
        there = first or second
        given = desk.level(about) if there else None
        put = there._replace(level=given) if there and given else None
        return desk.decide(about, trio, whole, _line_key, given=put, instead={8: 10} if asked else None, asked=asked)

    given = desk.level(about)
    if first.phase != second.phase and first.level != second.level and not given:  # a move and its level go together
        pairs: Three[tuple[str, Level]] = (base and (base.phase, base.level), (first.phase, first.level), (second.phase, second.level))
        crossed = base and (base.phase in (first.phase, second.phase)) and (base.level in (first.level, second.level))
        pair = desk.decide(
            about,
            pairs,
            lambda p: f"{level_text(p[1])} in {p[0]}",
            lambda p: (_level_key(p[1]), p[0]),
            instead={4: 13} if crossed else None,
        )
        assert pair is not None
        phase, level = pair
    else:
        levels = (base and base.level, first.level, second.level)
        level = desk.decide(about, levels, level_text, _level_key, given=given) or first.level
        phase = first.phase
        if moved:
            phases = (base and base.phase, first.phase, second.phase)
            phase = desk.decide(f"{about}.phase", phases, str, str, instead={4: 12}) or phase
    note = None
    if any(line and line.note for line in trio):
        note = desk.decide(f"{about}.note", ((base and base.note) or None, first.note or None, second.note or None), str, str)
    return Line(phase, first.material, level, note or "")


def _line_key(line: Line) -> Any:
    return _level_key(line.level)


def leaves(
    records: Three[Mapping[str, Any]], above: tuple[str, ...] = (), *, levels: bool = False
) -> list[tuple[tuple[str, ...], Three[object]]]:
    """Every value of three records by its path, without bookkeeping; what is a table on one side alone is one value. levels: those of a plan too."""
    base, first, second = (record or {} for record in records)
    out: list[tuple[tuple[str, ...], Three[object]]] = []
    for key in [*base, *sorted((first.keys() | second.keys()) - base.keys())]:
        path = (*above, key)
        if path in _BOOKKEEPING or (not levels and path[0] == "phase" and path[2:] == ("percent",)):
            continue
        values = (base.get(key), first.get(key), second.get(key))
        if all(value is None or isinstance(value, dict) for value in values) and any(values):
            out += leaves(values, path, levels=levels)
        else:
            out.append((path, values))
    return out


def _dotted(path: Sequence[str]) -> str:
    """A path as text; in quotes where it would read like another one, or like `order` and `total`."""
    text = ".".join(f'"{key}"' if "." in key else key for key in path)
    return f'"{text}"' if text in (ORDER, TOTAL) else text


def _order(desk: _Desk, plans: Three[Plan], chosen: Mapping[tuple[str, str], Line], told: set[str]) -> dict[str, list[str]]:
    """The phases of the merged plan in their order, each with its materials in their order.

    told: the phases of which the texts tell something, with or without lines.
    """
    there = {phase for phase, _ in chosen} | told
    phases: list[list[str]] = [[p.name for p in plan.phases if p.name in there] if plan else [] for plan in plans]
    materials: list[dict[str, list[str]]] = [{phase: [] for phase in there} for _ in plans]
    for plan, of_plan in zip(plans, materials, strict=True):
        for line in plan.lines if plan else ():
            if line.phase in there:
                of_plan[line.phase].append(line.material)
    rows = [ordering("phases", *phases)]
    for phase in sorted(there):
        base, first, second = (of_plan[phase] for of_plan in materials)
        rows.append(ordering(phase, base, first, second, {material for at, material in chosen if at == phase}))
    other = [row for row in rows if row.taken != BASE]
    asked = [row for row in other if row.taken == QUESTION]
    answer = desk.answers.get(ORDER)
    side = str(answer) if answer in (FIRST, SECOND) else QUESTION
    if other:
        takers = {row.taken for row in other} - {BOTH}
        case = 16 if asked else 14 if takers or any(row.merged for row in other) else 15
        taken = QUESTION if asked else takers.pop() if len(takers) == 1 else BOTH

        def text(items: Callable[[Ordering], list[str]]) -> str | None:
            return "; ".join(f"{row.name}: {', '.join(items(row))}" for row in other if items(row)) or None

        texts = (text(lambda row: row.base), text(lambda row: row.first), text(lambda row: row.second))
        desk.decisions.append(Decision(case, ORDER, *texts, ANSWER if side else taken))
    # an answer is about what was asked; where nothing was, about all that was reordered
    of_answer = (asked or other) if side else []
    order, *inner = (row.woven(side if row in of_answer else row.taken) for row in rows)
    by_phase = dict(zip(sorted(there), inner, strict=True))
    return {phase: by_phase[phase] for phase in order}
