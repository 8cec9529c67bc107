"""The three-way merge of plans: one test for each case of its table, and its laws."""

import re
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import fvc.compare.merge as module
from fvc.change.levels import typed_level
from fvc.compare.merge import Merge, Sided, merge, words
from fvc.compare.ordering import FIRST, SECOND
from fvc.compare.pairing import partners
from fvc.errors import Refusal
from fvc.files.plans import read_plan
from fvc.formula import Plan

FUNCTIONS = {
    "water": ("solvent",), "glycerin": ("humectant",), "betaine": ("humectant",), "gum": ("thickener",), "neroli": ("essential oil",),
    "polysorbate": ("solubiliser",), "benzoate": ("preservative",),
}  # fmt: skip


def plan(text: str, id: str = "toner") -> Plan:
    """A plan from its lines, `A water balance`, behind any texts as TOML; `#` cuts a note off: `A gum 0.2 # stays`."""
    top, phases = [], {}
    for row in text.strip().splitlines():
        found = re.fullmatch(r"\s*([A-Z]) ([a-z-]+) ([^#]+?)\s*(?:# (.*))?", row)
        if not found:
            top.append(row.strip())
            continue
        phase, material, level, note = found.groups()
        value = level if re.fullmatch(r"[0-9.]+", level) else f'"{level}"'
        phases.setdefault(phase, []).append(f"{material} = " + (f'{{ level = {value}, note = "{note}" }}' if note else value))
    tops = [t for t in top if not t.startswith("phase.")]
    inner = {p: [t.partition(".")[2].partition(".")[2] for t in top if t.startswith(f"phase.{p}.")] for p in phases}
    body = "\n".join(["format = 1", *tops])
    for phase, rows in phases.items():
        body += f"\n[phase.{phase}]\n" + "\n".join(inner[phase]) + f"\n[phase.{phase}.percent]\n" + "\n".join(rows)
    parsed = read_plan(body.encode() + b"\n", "formulas/toner.toml", id)
    assert parsed.value is not None, (parsed.faults, body)
    return parsed.value


def merged(base: str | None, first: str, second: str, answers=None) -> Merge:
    """The merge of three plans written as above."""
    sides = Sided("face-toner.12", plan(first)), Sided("lighter-scent", plan(second))
    return merge(plan(base) if base is not None else None, *sides, FUNCTIONS, answers or {})


def lines(result: Merge) -> list[str]:
    """The merged lines as they were written for `plan`."""
    return [f"{n.phase} {n.material} {n.level.text}" + (f" # {n.note}" if n.note else "") for n in result.lines]


def told(result: Merge, about: str) -> tuple[int, str]:
    """Case and outcome of the one decision about something."""
    found = [d for d in result.decisions if d.about == about]
    assert len(found) == 1, [d.about for d in result.decisions]
    return found[0].case, found[0].taken


BASE = "A water balance\nA glycerin 3.00\nB betaine 1.50"
GLYCERIN = "phase.A.percent.glycerin"
UP, DOWN = BASE.replace("3.00", "4.00"), BASE.replace("3.00", "2.00")
WITHOUT = BASE.replace("\nA glycerin 3.00", "")
GUM = BASE + "\nB gum 0.20"


# --- the case table: number, base, first, second, about, taken, a line that must (or, with -, must not) stand there ---
CASES = [
    (1, BASE, BASE, BASE, GLYCERIN, "base", "A glycerin 3.00"),
    (2, BASE, UP, BASE, GLYCERIN, FIRST, "A glycerin 4.00"),
    (2, BASE, BASE, DOWN, GLYCERIN, SECOND, "A glycerin 2.00"),
    (2, "title = 'T'\n" + BASE, "title = 'T'\n" + BASE, "title = 'U'\n" + BASE, "title", SECOND, None),
    (2, BASE, BASE.replace("A glycerin", "B glycerin"), BASE, f"{GLYCERIN}.phase", FIRST, "B glycerin 3.00"),
    (8, BASE, BASE.replace("3.00", "3.00 # less is dry"), BASE, f"{GLYCERIN}.note", FIRST, "A glycerin 3.00 # less is dry"),
    (2, BASE, BASE.replace("3.00", "2 x betaine"), BASE, GLYCERIN, FIRST, "A glycerin 2 x betaine"),
    (3, BASE, UP, UP, GLYCERIN, "both", "A glycerin 4.00"),
    (4, BASE, UP, DOWN, GLYCERIN, "", None),
    (4, "batch = '1 kg'\n" + BASE, "batch = '2 kg'\n" + BASE, "batch = '3 kg'\n" + BASE, "batch", "", None),
    (5, BASE, WITHOUT, BASE, GLYCERIN, FIRST, "-A glycerin"),
    (6, BASE, WITHOUT, WITHOUT, GLYCERIN, "both", "-A glycerin"),
    (7, BASE, WITHOUT, UP, GLYCERIN, "", "A glycerin 4.00"),
    (8, BASE, GUM, BASE, "phase.B.percent.gum", FIRST, "B gum 0.20"),
    (9, BASE, GUM, GUM, "phase.B.percent.gum", "both", "B gum 0.20"),
    (10, BASE, GUM, GUM.replace("0.20", "0.30"), "phase.B.percent.gum", "", "B gum 0.20"),
    (10, BASE, GUM, GUM.replace("B gum", "A gum").replace("0.20", "0.30"), "phase.A.percent.gum", "", None),
    (11, None, GUM, BASE, "phase.B.percent.gum", "", "B gum 0.20"),
    (12, BASE + "\nC gum 1.00", BASE + "\nB gum 1.00", BASE + "\nA gum 1.00", "phase.C.percent.gum.phase", "", None),
    (13, BASE, BASE.replace("A glycerin", "B glycerin"), UP, GLYCERIN, "", None),
    (14, "A water balance\nA glycerin 3\nA gum 1", "A gum 1\nA water balance\nA glycerin 3", "A water balance\nA glycerin 3\nA gum 1", "order", FIRST, "A gum 1"),
    (15, "A water balance\nA glycerin 3\nA gum 1", "A gum 1\nA water balance\nA glycerin 3", "A gum 1\nA water balance\nA glycerin 3", "order", "both", "A gum 1"),
    (16, "A water balance\nA glycerin 3\nA gum 1", "A glycerin 3\nA water balance\nA gum 1", "A water balance\nA gum 1\nA glycerin 3", "order", "", None),
    (19, "A water 10\nA glycerin 50\nB betaine 40", "A water 11\nA glycerin 49\nB betaine 40", "A water 10\nA glycerin 49\nB betaine 41", "total", "", None),
]  # fmt: skip


@pytest.mark.parametrize("number, base, first, second, about, taken, line", CASES)
def test_a_case_of_the_table(number, base, first, second, about, taken, line):
    result = merged(base, first, second)
    assert told(result, about) == (number, taken)
    assert result.settled == (taken != "")
    if line and line.startswith("-"):
        assert not any(n.startswith(line[1:]) for n in lines(result))
    elif line:
        assert line in lines(result)


def test_17_an_addition_stands_behind_its_predecessor():
    result = merged(BASE, BASE.replace("A glycerin 3.00", "A gum 0.20\nA glycerin 3.00"), GUM.replace("gum", "neroli"))
    assert lines(result) == ["A water balance", "A gum 0.20", "A glycerin 3.00", "B betaine 1.50", "B neroli 0.20"]


def test_18_two_additions_at_one_place_stand_by_their_names_whoever_is_first():
    one, other = BASE + "\nB neroli 0.10", BASE + "\nB gum 0.20"
    for sides in ((one, other), (other, one)):
        assert lines(merged(BASE, *sides))[-2:] == ["B gum 0.20", "B neroli 0.10"]


def test_20_a_line_that_both_replaced_by_another_one_is_a_question():
    base, first, second = (f"A water balance\nA {m} 3.00\nA gum 0.20" for m in ("glycerin", "betaine", "neroli"))
    result = merged(base, first, second)
    assert told(result, "phase.A.percent.glycerin") == (20, "")
    assert words(result.questions[0], result) == (
        "glycerin: 3.00 in the parent they share, betaine 3.00 in face-toner.12, neroli 3.00 in lighter-scent"
    )
    assert lines(result) == ["A water balance", "A betaine 3.00", "A neroli 3.00", "A gum 0.20"]
    for side, kept in ((FIRST, "betaine"), (SECOND, "neroli")):
        again = merged(base, first, second, answers={"phase.A.percent.glycerin": side})
        assert again.settled
        assert lines(again) == ["A water balance", f"A {kept} 3.00", "A gum 0.20"]
    by_its_new_name = merged(base, first, second, answers={"phase.A.percent.neroli": SECOND})
    assert lines(by_its_new_name)[1] == "A neroli 3.00"
    with pytest.raises(Refusal, match="only a line that is still there"):
        merged(base, first, second, answers={"phase.A.percent.glycerin": typed_level("2")})


def test_a_rival_that_the_other_side_put_into_another_phase_is_asked_about_twice():
    base = "A water balance\nA orange 2\nC gum 4"
    first, second = "A water balance\nA betaine 2\nC propanediol 4", "A water balance\nA propanediol 2\nC gum 4"
    result = merged(base, first, second)
    assert [(q.case, q.about) for q in result.questions] == [(10, "phase.C.percent.propanediol"), (20, "phase.A.percent.orange")]
    for side, lines_of in (
        (FIRST, ["A water", "A betaine", "C propanediol"]),
        (SECOND, ["A water", "A propanediol"]),
    ):
        taken = merged(base, first, second, {q.about: side for q in result.questions})
        assert [f"{line.phase} {line.material}" for line in taken.lines] == lines_of


def test_two_lines_taken_out_and_two_put_elsewhere_are_no_rivals():
    base = "A water balance\nA glycerin 3.00\nA gum 0.20"
    result = merged(base, "A water balance\nA gum 0.20\nA betaine 3.00", "A water balance\nA neroli 0.20\nA gum 0.20")
    assert result.settled
    assert lines(result) == ["A water balance", "A neroli 0.20", "A gum 0.20", "A betaine 3.00"]
    alike = merged(base, "A water balance\nA betaine 3.00\nA gum 0.20", "A water balance\nA betaine 3.00\nA gum 0.20")
    assert alike.settled


def test_each_may_put_another_line_elsewhere():
    """What each moved stands as that one has it; only where no order has it so for every two lines is there a question."""
    base = "A water balance\nA glycerin 3\nA betaine 2\nA gum 1"
    result = merged(base, "A glycerin 3\nA water balance\nA betaine 2\nA gum 1", "A water balance\nA glycerin 3\nA gum 1\nA betaine 2")
    assert [line.material for line in result.lines] == ["glycerin", "water", "gum", "betaine"]
    assert [(d.case, d.taken) for d in result.changes] == [(14, "both")]


def test_an_addition_stands_behind_a_line_that_nobody_moved():
    base = "A water balance\nA glycerin 3\nA betaine 2\nA gum 1"
    first = "A water balance\nA betaine 2\nA gum 1\nA glycerin 3"  # glycerin last
    second = "A water balance\nA glycerin 3\nA urea 1\nA betaine 2\nA gum 1"  # urea before betaine
    assert [line.material for line in merged(base, first, second).lines] == ["water", "urea", "betaine", "gum", "glycerin"]


def test_the_same_addition_at_two_places_is_a_question_of_order():
    base = "A water balance\nA glycerin 3\nA gum 1"
    early, late = base.replace("A glycerin", "A neroli 0.10\nA glycerin"), base + "\nA neroli 0.10"
    result = merged(base, early, late)
    assert [(q.case, q.about) for q in result.questions] == [(16, "order")]
    assert lines(merged(base, early, late, {"order": FIRST}))[1] == "A neroli 0.10"
    assert lines(merged(base, early, late, {"order": SECOND}))[3] == "A neroli 0.10"


def test_a_material_in_two_phases_is_told_apart_by_phase_when_one_of_them_moves():
    base = "A water balance\nA gum 1\nB gum 2"
    result = merged(base, "A water balance\nB gum 2\nC gum 1", base.replace("B gum 2", "B gum 3"))
    assert result.settled
    assert sorted(lines(result)) == ["A water balance", "B gum 3", "C gum 1"]


def test_every_case_of_the_table_has_a_test():
    table = module.__doc__.partition("  case ")[2]
    numbers = [int(n) for n in re.findall(r"^ +(\d+)  ", table, re.MULTILINE)]
    assert numbers == list(range(1, len(numbers) + 1))
    here = Path(__file__).read_text(encoding="utf-8")
    tested = {case[0] for case in CASES} | {int(n) for n in re.findall(r"def test_(\d+)_", here)}
    assert tested == set(numbers)


def test_a_clean_merge_of_two_correct_plans_may_total_101_and_says_so():
    """Base 10/50/40, one side 11/49/40, the other 10/49/41: each totals 100, line by line nothing is in conflict."""
    result = merged(*(case for case in CASES[-1][1:4]))
    assert lines(result) == ["A water 11", "A glycerin 49", "B betaine 41"]
    assert result.closure.total == 101
    assert [d.about for d in result.questions] == ["total"]
    assert "1 over 100" in result.questions[0].why
    assert "101" in words(result.questions[0], result)
    again = merged(*CASES[-1][1:4], answers={"phase.A.percent.water": typed_level("10")})
    assert again.settled
    assert again.closure.total == 100


def test_a_ratio_to_a_line_that_the_other_side_took_out_is_a_question():
    base = "A water balance\nB neroli 0.10\nB betaine 0.40"
    result = merged(base, "A water balance\nB betaine 0.40", base.replace("0.40", "4 x neroli"))
    assert [d.about for d in result.questions] == ["total"]
    assert "neroli" in result.questions[0].why


def test_two_balances_are_a_question():
    base = "A water 97\nA glycerin 3"
    result = merged(base, "A water balance\nA glycerin 3", "A water 97\nA glycerin balance")
    assert [d.about for d in result.questions] == ["total"]
    assert "two balance lines" in result.questions[0].why


@pytest.mark.parametrize(
    "answer, line",
    [(FIRST, "A glycerin 4.00"), (SECOND, "A glycerin 2.00"), (typed_level("2.8"), "A glycerin 2.8")],
)
def test_an_answer_settles_a_question(answer, line):
    result = merged(BASE, UP, DOWN, {GLYCERIN: answer})
    assert result.settled
    assert told(result, GLYCERIN) == (4, "answer")
    assert line in lines(result)


def test_a_line_that_was_removed_and_changed_can_go_or_stay():
    gone = merged(BASE, WITHOUT, UP, {GLYCERIN: FIRST})
    assert gone.settled
    assert len(gone.lines) == 2
    assert "A glycerin 4.00" in lines(merged(BASE, WITHOUT, UP, {GLYCERIN: SECOND}))


@pytest.mark.parametrize(
    "answers, said",
    [
        ({"phase.A.percent.glycerine": FIRST}, "nothing to decide"),
        ({GLYCERIN: "third"}, "neither"),
        ({"total": FIRST}, "the total cannot"),
        ({"batch": typed_level("3")}, "only a line"),
    ],
)
def test_an_answer_that_does_not_fit_is_refused_with_a_way_out(answers, said):
    texts = [f"batch = '{n} kg'\n" for n in (1, 2, 3)]
    with pytest.raises(Refusal) as refused:
        merged(texts[0] + BASE, texts[1] + UP, texts[2] + DOWN, answers)
    assert said in refused.value.faults[0].message
    assert refused.value.faults[0].next


def test_a_question_names_the_sides_as_they_are_called():
    result = merged(BASE, UP, DOWN)
    assert words(result.questions[0], result) == "glycerin: 3.00 in the parent they share, 4.00 in face-toner.12, 2.00 in lighter-scent"
    assert "not in face-toner.12" in words(merged(BASE, WITHOUT, UP).questions[0], merged(BASE, WITHOUT, UP))


def test_where_a_plan_stands_in_its_history_is_no_matter_of_the_merge():
    result = merged("revision = 1\n" + BASE, "revision = 2\n" + BASE, "revision = 3\n" + BASE)
    assert result.settled
    assert not result.changes
    assert ("revision",) not in result.texts


def test_texts_of_phases_and_lists_are_merged_whole():
    base = "use = ['leave-on']\nphase.A.heat = '70 °C'\n" + BASE
    one = base.replace("70", "75")
    other = base.replace("['leave-on']", "['leave-on', 'spray']")
    result = merged(base, one, other)
    assert result.settled
    assert result.texts["phase", "A", "heat"] == "75 °C"
    assert result.texts[("use",)] == ["leave-on", "spray"]


def test_lines_are_paired_by_phase_and_material_then_by_material():
    before, after = plan("A water 50\nB water 30\nC gum 20").lines, plan("A gum 20\nB water 50\nD water 30").lines
    assert partners(before, after) == {0: 2, 1: 1, 2: 0}


# --- laws ------------------------------------------------------------------------------------------

IDS = ["water", "glycerin", "betaine", "gum", "neroli", "benzoate"]
LEVELS = st.sampled_from(["1", "2.50", "0.30", "4", "12.5"])


@st.composite
def plans(draw) -> dict[tuple[str, str], str]:
    """A plan as phase and material -> level: a balance, and some lines with a number or a ratio."""
    some = draw(st.lists(st.sampled_from(IDS[1:]), unique=True, max_size=5))
    made = {("A", "water"): "balance"} | {(draw(st.sampled_from("AB")), m): draw(LEVELS) for m in some}
    numbers = [m for _, m in made if m != "water"]
    if numbers and draw(st.booleans()):
        made["B", "polysorbate"] = f"2 x {draw(st.sampled_from(numbers))}"
    return made


@st.composite
def edited(draw, made: dict[tuple[str, str], str]) -> dict[tuple[str, str], str]:
    """The plan after somebody's evening: levels changed, lines removed, added, moved."""
    out = dict(made)
    held = {level.split(" x ")[1] for level in out.values() if " x " in level}
    for _ in range(draw(st.integers(0, 3))):
        free = [k for k, level in out.items() if level != "balance" and k[1] not in held]
        what = draw(st.sampled_from(["level", "remove", "add", "move"]))
        new = [m for m in IDS[1:] if m not in {m for _, m in out}]
        if what == "add" and new:
            out[draw(st.sampled_from("AB")), draw(st.sampled_from(new))] = draw(LEVELS)
        elif what == "level" and free:
            key = draw(st.sampled_from(free))
            out[key] = draw(LEVELS)
        elif what == "remove" and free:
            del out[draw(st.sampled_from(free))]
        elif what == "move" and free:
            phase, m = draw(st.sampled_from(free))
            out["B" if phase == "A" else "A", m] = out.pop((phase, m))
    return out


def written(made: dict[tuple[str, str], str]) -> str:
    """For `plan`: phases together, lines in their order."""
    return "\n".join(f"{p} {m} {level}" for phase in "AB" for (p, m), level in made.items() if p == phase)


@st.composite
def three(draw) -> tuple[str, str, str]:
    """A shared plan and what two people made of it."""
    base = draw(plans())
    return written(base), written(draw(edited(base))), written(draw(edited(base)))


def same(one: Merge, other: Merge) -> bool:
    """Equal lines, texts and questions."""
    return one.lines == other.lines and one.texts == other.texts and {q.about for q in one.questions} == {q.about for q in other.questions}


@given(three())
def test_law_symmetric_but_for_the_names(sides):
    base, first, second = sides
    assert same(merged(base, first, second), merged(base, second, first))
    assert same(merged(None, first, second), merged(None, second, first))


@given(three())
def test_law_idempotent(sides):
    base, first, _ = sides
    for result in (merged(base, first, first), merged(base, base, first), merged(base, first, base), merged(None, first, first)):
        assert result.settled
        assert result.lines == plan(first).lines


@given(three())
def test_law_a_merge_merged_again_is_itself(sides):
    result = merged(*sides)
    if result.settled:
        text = written({(n.phase, n.material): n.level.text for n in result.lines})
        for base in (sides[0], sides[1], sides[2]):
            again = merged(base, text, text)
            assert again.settled
            assert again.lines == plan(text).lines


@given(three())
def test_law_no_line_that_neither_side_has(sides):
    result = merged(*sides)
    assert set(lines(result)) <= {row for side in sides[1:] for row in side.splitlines()}


@given(three())
def test_law_what_is_settled_totals_100_where_both_sides_did(sides):
    result = merged(*sides)
    closed = all(merged(side, side, side).closure.closed for side in sides[1:])
    if result.settled and closed:
        assert result.closure.total == Fraction(100)


@given(three())
def test_law_every_change_of_one_side_alone_arrives(sides):
    base, first, second = sides
    result = merged(base, first, second)
    rows = set(lines(result))
    before, one, other = (set(side.splitlines()) for side in sides)
    questions = {q.about.split(".")[3] for q in result.questions if q.about.startswith("phase.")}
    for row in one - before:
        material = row.split()[1]
        untouched = {r for r in other if r.split()[1] == material} == {r for r in before if r.split()[1] == material}
        if untouched and material not in questions:
            assert row in rows
