"""Edits of a plan's text: only the bytes that must change do, whatever way the maker types."""

from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.change.levels import LevelEdit
from fvc.errors import Refusal
from fvc.files.editor import edit_levels, toml_string
from fvc.files.plans import read_plan
from fvc.files.toml_text import TomlText
from fvc.formula import Level, level_number, level_words

NAME = "formulas/hand-cream.toml"
BOM = b"\xef\xbb\xbf"

CREAM = """\
#:schema ../schemas/formula.schema.json
# For cracked hands, winter only.
format   = 1
title    = "Hand cream"
revision = 3                            # written by fvc revise
batch    = "150 g"

[phase.A]   # fat phase
heat = "72 °C"
[phase.A.percent]
sunflower-oil    = 14.00                # the shop was out of almond oil
cetearyl-alcohol=4
  emulsifier     =   5.50

# everything below is water phase
[phase.B]
[phase.B.percent]
water            = "balance"
glycerin         = { level = 3.00, note = "3.5 was sticky" }   # see the trial of March
citric-acid-50   = { level = "open", expect = 0.40, note = "to pH 5" }
scent            = "0.5 x glycerin"
"""


def level(text: str) -> Level:
    """A level as a maker would type it behind `=`."""
    if text.startswith("open "):
        return Level("open", "open", level_number(text[5:]).number)
    return level_number(text) if text[0].isdigit() and "x" not in text else level_words(text)


def edited(text: str | bytes, *edits: LevelEdit, revision: int | None = None) -> str:
    """The text after some edits."""
    data = text if isinstance(text, bytes) else text.encode()
    return edit_levels(TomlText(data, NAME), edits, revision).decode()


def rows(text: str | bytes) -> list[tuple[str, str, str, str | None, str]]:
    """Phase, material, level, number and note of every line of a readable plan."""
    parsed = read_plan(text if isinstance(text, bytes) else text.encode(), NAME, "hand-cream")
    assert parsed.value is not None, parsed.faults
    return [
        (line.phase, line.material, line.level.text, line.level.number.text if line.level.number else None, line.note)
        for line in parsed.value.lines
    ]


# --- one edit at a time, as seen in the file --------------------------------------------------------


@pytest.mark.parametrize(
    "phase, material, to, old, new",
    [
        ("A", "sunflower-oil", "13.50", "= 14.00                # the", "= 13.50                # the"),
        ("A", "cetearyl-alcohol", "4.25", "cetearyl-alcohol=4\n", "cetearyl-alcohol=4.25\n"),
        ("A", "emulsifier", "balance", "=   5.50", '=   "balance"'),
        ("A", "emulsifier", "0.4 x sunflower-oil", "=   5.50", '=   "0.4 x sunflower-oil"'),
        ("A", "emulsifier", "open", "=   5.50", '=   "open"'),
        ("A", "emulsifier", "open 5.00", "=   5.50", '=   { level = "open", expect = 5.00 }'),
        ("B", "water", "70", '= "balance"', "= 70"),
        ("B", "glycerin", "2.5", "{ level = 3.00, note", "{ level = 2.5, note"),
        ("B", "glycerin", "open 3.00", "level = 3.00, note", 'level = "open", expect = 3.00, note'),
        ("B", "citric-acid-50", "open 0.5", "expect = 0.40", "expect = 0.5"),
        ("B", "citric-acid-50", "open", "expect = 0.40, ", ""),
        ("B", "citric-acid-50", "0.42", '"open", expect = 0.40, note', "0.42, note"),
        ("B", "scent", "0.6 x glycerin", '"0.5 x glycerin"', '"0.6 x glycerin"'),
        ("B", "scent", "1", '"0.5 x glycerin"', "1"),
    ],
)
def test_a_change_of_a_level_touches_its_value_only(phase, material, to, old, new):
    assert CREAM.count(old) == 1
    assert edited(CREAM, LevelEdit(phase, material, level(to))) == CREAM.replace(old, new)


@pytest.mark.parametrize(
    "phase, material, row",
    [
        ("A", "sunflower-oil", "sunflower-oil    = 14.00                # the shop was out of almond oil\n"),
        ("A", "emulsifier", "  emulsifier     =   5.50\n"),
        ("B", "glycerin", 'glycerin         = { level = 3.00, note = "3.5 was sticky" }   # see the trial of March\n'),
        ("B", "scent", 'scent            = "0.5 x glycerin"\n'),
    ],
)
def test_taking_out_a_line_takes_its_row_only(phase, material, row):
    assert CREAM.count(row) == 1
    assert edited(CREAM, LevelEdit(phase, material, None)) == CREAM.replace(row, "")


def test_a_new_line_goes_behind_the_last_of_its_phase_with_its_equals_sign_under_the_others():
    out = edited(CREAM, LevelEdit("A", "shea-butter", level("3.00"), adds=True))
    assert out == CREAM.replace("  emulsifier     =   5.50\n", "  emulsifier     =   5.50\n  shea-butter    = 3.00\n")
    out = edited(CREAM, LevelEdit("B", "preservative", level("0.90"), adds=True))
    assert out == CREAM + "preservative     = 0.90\n"


def test_a_long_name_gets_a_space_before_its_equals_sign():
    out = edited(CREAM, LevelEdit("B", "hydroxypropyl-methylcellulose", level("0.3"), adds=True))
    assert out == CREAM + "hydroxypropyl-methylcellulose = 0.3\n"


def test_a_new_line_in_a_file_without_final_newline_starts_on_a_line_of_its_own():
    text = CREAM.rstrip("\n")
    assert edited(text, LevelEdit("B", "urea", level("5"), adds=True)) == CREAM + "urea             = 5\n"


def test_a_new_line_in_a_phase_that_has_none_yet():
    text = CREAM + '\n[phase.C]\nmethod = """\nStir in\nby hand."""  # no machine\n\n[phase.D]\nadd_below = "40 °C"\n'
    out = edited(text, LevelEdit("C", "scent", level("0.2"), adds=True))
    assert out == text.replace("# no machine\n", "# no machine\n[phase.C.percent]\nscent = 0.2\n")
    out = edited(text, LevelEdit("D", "scent", level("0.2"), adds=True), LevelEdit("D", "vitamin", level("1"), adds=True))
    assert out == text + "[phase.D.percent]\nscent   = 0.2\nvitamin = 1\n"


def test_a_new_phase_goes_to_the_end():
    out = edited(CREAM, LevelEdit("C", "scent", level("0.2"), adds=True))
    assert out == CREAM + "\n[phase.C.percent]\nscent = 0.2\n"
    assert edited(CREAM.rstrip("\n"), LevelEdit("C", "scent", level("0.2"), adds=True)) == out


def test_several_edits_in_one_go():
    out = edited(
        CREAM,
        LevelEdit("B", "scent", None),
        LevelEdit("A", "sunflower-oil", level("12")),
        LevelEdit("B", "urea", level("5.00"), adds=True),
        LevelEdit("B", "glycerin", level("4")),
        revision=4,
    )
    assert out == (
        CREAM.replace('scent            = "0.5 x glycerin"\n', "urea             = 5.00\n")
        .replace("14.00", "12")
        .replace("level = 3.00", "level = 4")
        .replace("revision = 3 ", "revision = 4 ")
    )


def test_the_revision_alone():
    assert edited(CREAM, revision=12) == CREAM.replace("revision = 3 ", "revision = 12 ")


def test_a_plan_without_a_revision_gets_one_below_its_title():
    text = CREAM.replace("revision = 3                            # written by fvc revise\n", "")
    assert edited(text, revision=1) == text.replace('"Hand cream"\n', '"Hand cream"\nrevision = 1\n')
    untitled = text.replace('title    = "Hand cream"\n', "")
    assert edited(untitled, revision=1) == untitled.replace("format   = 1\n", "format   = 1\nrevision = 1\n")


def test_nothing_asked_changes_nothing():
    assert edited(CREAM) == CREAM
    assert edited(CREAM, LevelEdit("A", "sunflower-oil", level("14.00")), revision=3) == CREAM


def test_an_expectation_on_a_row_of_its_own_goes_without_touching_a_remark_above_it():
    text = """\
format = 1
[phase.A.percent]
water = "balance"
[phase.A.percent.citric-acid-50]
level  = "open"  # in drops, slowly,
expect = 0.40    # as in March
"""
    out = edited(text, LevelEdit("A", "citric-acid-50", level("0.42")))
    assert out == text.replace('"open"', "0.42").replace("expect = 0.40", "")


# --- rows that cannot be edited in place ------------------------------------------------------------

INLINE = 'format = 1\n[phase.A]\npercent = { water = "balance", glycerin = 3.00 }\n'
DOTTED = 'format = 1\n[phase.A.percent]\nwater = "balance"\nglycerin.level = 3.00\nglycerin.note = "dotted"\n'
SPREAD = 'format = 1\n[phase.A.percent]\nwater = "balance"\n[phase.A.percent.glycerin]\nlevel = 3.00\n'
EMPTY = "format = 1\n[phase.A]\npercent = {}\n"
FLAT = 'format = 1\nphase.A.percent.water = "balance"\nphase.A.percent.glycerin = 3.00\n'


@pytest.mark.parametrize("text", [INLINE, DOTTED, SPREAD, FLAT], ids=["inline", "dotted", "spread", "flat"])
def test_levels_can_be_changed_however_they_are_written(text):
    assert edited(text, LevelEdit("A", "glycerin", level("2.75"))) == text.replace("3.00", "2.75")


@pytest.mark.parametrize(
    "text, edit, what, path",
    [
        (INLINE, LevelEdit("A", "urea", level("5"), adds=True), "adding a line", "phase.A.percent"),
        (INLINE, LevelEdit("A", "glycerin", None), "taking out the line", "phase.A.percent.glycerin"),
        (DOTTED, LevelEdit("A", "urea", level("5"), adds=True), "adding a line", "phase.A.percent"),
        (DOTTED, LevelEdit("A", "glycerin", None), "taking out the line", "phase.A.percent.glycerin"),
        (DOTTED, LevelEdit("A", "glycerin", level("open 3")), "a change of the level", "phase.A.percent.glycerin"),
        (SPREAD, LevelEdit("A", "urea", level("5"), adds=True), "adding a line", "phase.A.percent"),
        (SPREAD, LevelEdit("A", "glycerin", None), "taking out the line", "phase.A.percent.glycerin"),
        (SPREAD, LevelEdit("A", "glycerin", level("open 3")), "a change of the level", "phase.A.percent.glycerin"),
        (EMPTY, LevelEdit("A", "urea", level("5"), adds=True), "adding a line", "phase.A.percent"),
        (FLAT, LevelEdit("A", "urea", level("5"), adds=True), "adding a line", "phase.A.percent.glycerin"),
    ],
)
def test_rows_that_cannot_be_edited_in_place_are_left_to_the_maker(text, edit, what, path):
    with pytest.raises(Refusal) as refused:
        edited(text, edit)
    [fault] = refused.value.faults
    assert fault.message == f"{what} cannot be done in place, because of how this row is written"
    assert (fault.file, fault.path) == (NAME, path)
    assert fault.line is not None
    assert fault.next == "make the change in your editor; fvc diff shows it"


@pytest.mark.parametrize(
    "text",
    [
        "plain",
        'quotes " and \\ strokes',
        "line\nend",
        "é, ß, 水",
        "\x00\x1f\x7f",
        "hidden \u200b mark",
        "waving \U0001f3f4\U000e0067\U000e007f flag",
    ],
)
def test_any_text_becomes_a_toml_string_that_says_it_again(text):
    assert TomlText(f"v = {toml_string(text)}\n".encode(), "").values["v"] == text


@pytest.mark.parametrize("function", ['so-called "oil"', "back\\slash"])
def test_a_ratio_by_a_function_with_odd_signs_is_written_so_that_it_reads_the_same(function):
    out = edited(CREAM, LevelEdit("B", "scent", level(f"2 x all {function}")))
    assert rows(out)[-1] == ("B", "scent", f"2 x all {function}", "2", "")


# --- any plan, any edit -----------------------------------------------------------------------------


class Row(NamedTuple):
    """A row of the plan as it was typed: what stands before its level, the level, and what stands behind."""

    phase: str
    material: str
    before: str
    value: str
    after: str

    @property
    def text(self) -> str:
        return self.before + self.value + self.after


class Typed(NamedTuple):
    """A whole plan as pieces: text between rows, and rows."""

    pieces: tuple[str | Row, ...]
    encode: tuple[str, bool, bool]  # newline, byte order mark, final newline

    def data(self) -> bytes:
        newline, bom, final = self.encode
        text = "".join(p if isinstance(p, str) else p.text for p in self.pieces)
        text = text if final else text.removesuffix("\n")
        return (BOM if bom else b"") + text.replace("\n", newline).encode()

    @property
    def rows(self) -> list[Row]:
        return [p for p in self.pieces if isinstance(p, Row)]

    def swap(self, old: Row, new: Row | None) -> "Typed":
        """The same plan with one row in other words, or without it."""
        return self._replace(pieces=tuple(q for p in self.pieces if (q := new if p is old else p) is not None))


MATERIALS = ["water", "glycerin", "neroli-oil", "7-herbs", "a", "x-and-y", "preservative-blend", "citric-acid-50"]
BLANK = st.sampled_from(["", " ", "   ", "\t", " \t "])
REMARK = st.sampled_from(["", "", " # why = 3", "\t#", '# "balance" }', "   # é, 2 %"])
BETWEEN = st.sampled_from(["", "", "\n", "# 3.00 is enough\n", "  \n\t# [phase.Z]\n\n"])
PLAIN = st.sampled_from(["3.00", "0", "12", "0.5", "100", '"balance"', '"open"', "'open'", '"4 x water"', '"0.5  x (water + a)"'])
NEW = st.sampled_from(["2.5", "0.00000001", "99", "balance", "open", "4 x (water + glycerin)", "2 x all essential oil"])


@st.composite
def typed_rows(draw, phase: str, material: str) -> Row:
    lead, gap, space = draw(BLANK), draw(BLANK), draw(BLANK)
    key = draw(st.sampled_from([material, f'"{material}"', f"'{material}'"]))
    before, value, after = f"{lead}{key}{gap}={space}", draw(PLAIN), f"{draw(BLANK)}{draw(REMARK)}\n"
    if draw(st.integers(0, 2)) == 0:
        note = draw(st.sampled_from(['note = "a } and, a # sign"', "note='level = 3.00'", 'note = "é"']))
        level_key = f"level{draw(BLANK)}={draw(BLANK)}"
        if draw(st.booleans()):
            before, after = f"{before}{{ {level_key}", f", {note} }}{after}"
        else:
            before, after = f"{before}{{{note} ,{level_key}", f"}}{after}"
    return Row(phase, material, before, value, after)


@st.composite
def typed_plans(draw) -> Typed:
    pieces: list[str | Row] = [draw(BETWEEN), f"format{draw(BLANK)}=1\ntitle = \"Any, # 'plan'\"\n", draw(BETWEEN)]
    pieces += [Row("", "revision", f"{draw(BLANK)}revision{draw(BLANK)}=", str(draw(st.integers(0, 12))), f"{draw(BLANK)}{draw(REMARK)}\n")]
    for phase in draw(st.sampled_from([["A"], ["A", "B"], ["cool", "A", "B"]])):
        pieces.append(
            draw(st.sampled_from([f"[phase.{phase}]\nmethod = '''\nwater = 3.00\n'''\n", f"\n  [ phase . {phase} ] # water = 1\n", ""]))
        )
        pieces.append(f"[phase.{phase}.percent]{draw(BLANK)}{draw(REMARK)}\n")
        for material in draw(st.lists(st.sampled_from(MATERIALS), min_size=1, max_size=5, unique=True)):
            pieces += [draw(BETWEEN), draw(typed_rows(phase, material))]
        pieces.append(draw(BETWEEN))
    encode = (draw(st.sampled_from(["\n", "\r\n"])), draw(st.booleans()), draw(st.booleans()))
    return Typed(tuple(pieces), encode)


def as_toml(value: str) -> str:
    return value if value[0].isdigit() and "x" not in value else f'"{value}"'


def lines_only(plan: Typed) -> list[Row]:
    return [row for row in plan.rows if row.phase]


@given(typed_plans(), st.data())
def test_a_changed_level_leaves_every_other_byte(plan, data):
    row, to = data.draw(st.sampled_from(lines_only(plan))), data.draw(NEW)
    new = edit_levels(TomlText(plan.data(), NAME), [LevelEdit(row.phase, row.material, level(to))])
    assert new == plan.swap(row, row._replace(value=as_toml(to))).data()
    was, now = rows(plan.data()), rows(new)
    assert [r[:2] for r in now] == [r[:2] for r in was]
    for old_row, new_row in zip(was, now, strict=True):
        if old_row[:2] == (row.phase, row.material):
            assert new_row[2:] == (level(to).text, level(to).number.text if level(to).number else None, old_row[4])
        else:
            assert new_row == old_row


@given(typed_plans(), st.data())
def test_a_line_taken_out_leaves_every_other_byte(plan, data):
    row = data.draw(st.sampled_from(lines_only(plan)))
    new = edit_levels(TomlText(plan.data(), NAME), [LevelEdit(row.phase, row.material, None)])
    last = plan.pieces[-1] is row or not any(p.text if isinstance(p, Row) else p for p in plan.pieces[plan.pieces.index(row) + 1 :])
    expected = plan.swap(row, None)
    if last:  # the newline before it now ends the file
        expected = expected._replace(encode=(*plan.encode[:2], True))
    assert new == expected.data()
    assert rows(new) == [r for r in rows(plan.data()) if r[:2] != (row.phase, row.material)]


@given(typed_plans(), st.data())
def test_an_added_line_stands_last_in_its_phase_and_leaves_every_other_byte(plan, data):
    phase = data.draw(st.sampled_from(sorted({r.phase for r in lines_only(plan)})))
    to = data.draw(NEW)
    old = plan.data()
    new = edit_levels(TomlText(old, NAME), [LevelEdit(phase, "betaine", level(to), adds=True)])
    newline = plan.encode[0].encode()
    last = [r for r in lines_only(plan) if r.phase == phase][-1]
    above = Typed(plan.pieces[: plan.pieces.index(last) + 1], (*plan.encode[:2], True)).data()
    below = old[len(above) :]
    assert new.startswith(above)
    assert new.endswith(below)
    added = new[len(above) : len(new) - len(below)].decode()
    assert added.endswith(newline.decode())
    assert added.count(newline.decode()) == 1
    assert added.split("=", 1)[0].strip() == "betaine"
    assert added.split("=", 1)[1].strip() == as_toml(to)
    was, now = rows(old), rows(new)
    at = max(i for i, r in enumerate(was) if r[0] == phase) + 1
    assert now == [*was[:at], (phase, "betaine", level(to).text, level(to).number.text if level(to).number else None, ""), *was[at:]]


@given(typed_plans(), st.integers(0, 999))
def test_a_new_revision_leaves_every_other_byte(plan, number):
    row = next(r for r in plan.rows if r.material == "revision")
    new = edit_levels(TomlText(plan.data(), NAME), (), revision=number)
    assert new == plan.swap(row, row._replace(value=str(number))).data()
    assert read_plan(new, NAME, "hand-cream").value.revision == number
    assert rows(new) == rows(plan.data())


@given(typed_plans(), st.data())
def test_many_edits_at_once_give_what_they_give_one_by_one(plan, data):
    edits = []
    for row in lines_only(plan):
        to = data.draw(st.none() | NEW)
        if to or len([r for r in lines_only(plan) if r.phase == row.phase]) > 1:
            edits.append(LevelEdit(row.phase, row.material, level(to) if to else None))
    one_by_one = plan.data()
    for edit in data.draw(st.permutations(edits)):
        one_by_one = edit_levels(TomlText(one_by_one, NAME), [edit])
    assert edit_levels(TomlText(plan.data(), NAME), edits) == one_by_one
