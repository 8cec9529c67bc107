"""The text of a record: what is written reads back the same, and what stands there stays, byte for byte.

`tomllib` of the standard library (TOML 1.0.0) is the authority on what a text says.
"""

import datetime
import tomllib
from fractions import Fraction as F

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from fvc.amounts import Typed
from fvc.errors import Refusal
from fvc.files.materials import read_material
from fvc.files.toml_text import TomlText
from fvc.files.trial_text import entry_rows, new_trial, with_entries
from fvc.files.trials import read_trial
from fvc.formula import Phase
from fvc.material import Material
from fvc.trial import LOSSES, READINGS, REWORKINGS, SALE_VERDICTS, VERDICTS, WEIGHINGS, Asked, Entry, Seen, Trial

MORNING = datetime.datetime.fromisoformat("2026-03-01T10:00:00+01:00")
FEWER = settings(max_examples=max(30, 3 * settings.default.max_examples // 10))

# --- anything that a record may hold ----------------------------------------------------------------

HARD = ['"', '""" \'\'\'', "\\", "a\\nb", "two\nlines", "\r\n", "\ttab", "[[entry]]", "# no comment", "ä ö ü ß é", "🧴 👩‍🔬", "\x00\x1f\x7f",
        "\u2028\ufeff\uffff", "x = 1", "]]", "3.50", "2026-03-01", " ends with a blank "]  # fmt: skip
texts = st.one_of(st.sampled_from(HARD), st.text(st.characters(exclude_categories=["Cs"]), max_size=12))
said = texts.filter(bool)
some = st.just("") | texts
ids = st.from_regex(r"[a-z][a-z0-9-]{0,8}z", fullmatch=True)  # no name of a device
numbers = st.one_of(st.integers(1, 10**16).map(lambda n: F(n, 10**8)), st.integers(1, 500_000).map(lambda n: F(n, 100)))
percents = st.integers(0, 10**10).map(lambda n: F(n, 10**8))
moments = st.builds(
    lambda minutes, hours: (MORNING + datetime.timedelta(minutes=minutes)).astimezone(datetime.timezone(datetime.timedelta(minutes=hours))),
    st.integers(-500_000, 500_000), st.sampled_from([0, 60, 330, -210, 845]),
)  # fmt: skip
days = st.dates(datetime.date(2020, 1, 1), datetime.date(2040, 1, 1))
temperatures = st.sampled_from(["", "71 °C", "160 °F", "-4.5C"])
looks = st.builds(
    Seen, condition=said, day=st.none() | st.integers(0, 900), ph=st.none() | st.sampled_from(["4.82", "7", "5.00", "14.0"]).map(
        lambda t: Typed(t, F(t))), ph_by=st.sampled_from(["", "meter", "strip"]), calibrated=st.none() | days, temperature=temperatures,
    dilution=some, clarity=some, separation=some, colour=some, odour=some, viscosity=some, spray=some, photo=some,
)  # fmt: skip


@st.composite
def entries(draw) -> Entry:
    """Any one entry, its id left empty."""
    kind = draw(st.sampled_from(["grams", "phase", "combined", "seen", "noted", "closed", "omitted"]))
    more = {"by": draw(some), "because": draw(some), "written": draw(st.none() | moments), "checked_by": draw(some)}
    at = draw(moments)
    if kind == "grams":
        action = draw(st.sampled_from([*WEIGHINGS, *LOSSES, *REWORKINGS[:2], *READINGS]))
        subject = draw(ids if action in (*WEIGHINGS, "lost", "retargeted") else texts)
        more |= {"grams": draw(numbers), "lot": draw(some), "reading": draw(some), "phase": draw(some)}
    elif kind == "phase":
        action, subject = draw(st.sampled_from(["heated", "cooled", "stirred"])), draw(texts)
        more |= {"temperature": draw(temperatures), "hold": draw(st.sampled_from(["", "15 min"])), "speed": draw(some)}
    elif kind == "combined":
        action, subject = kind, draw(texts)
        more |= {"into": draw(said)}
    elif kind == "closed":
        action, subject = kind, draw(st.sampled_from([*VERDICTS, *SALE_VERDICTS]))
        more |= {"filled": draw(some), "retained": draw(some)}
    else:
        action, subject = kind, draw(ids if kind == "omitted" else texts)
        more |= {"seen": draw(looks)} if kind == "seen" else {}
    return Entry("", at, action, subject, **more)


def numbered(given: list[Entry], first: int = 1) -> list[Entry]:
    """With ids; each third one corrects the one before."""
    return [
        e._replace(id=f"k7f3-{n:02}", corrects=f"k7f3-{n - 1:02}" if n % 3 == 0 and n > first else "") for n, e in enumerate(given, first)
    ]


# Records as makers and suppliers write them: lists of tables, ranges, inline tables, and what nobody here knows.
RECORDS = [
    'format = 1\nname = "Water"\nfunction = "solvent"\n[composition]\n"Aqua" = 100\n',
    'format = 1\nname = "Protein, \\"25 %\\""\nuse_level = [0.50, 4.0]\nprice = "7.90 EUR / 250 g"\ndensity = 1.240\n'
    'heat_max = "104 °F"\nph_range = [3, 7.5]\n[composition]\n"Hydrolyzed Rice Protein" = { nominal = 25, low = 24.5, high = 26 }\n'
    '"Aqua" = [70, 74.40]\n"Sodium Benzoate" = "unknown"\n',
    'format = 1\nfunction = ["pH adjuster", "buffer"]\nactive = ["Lactic Acid"]\nacid = { pka = [3.86], molar_mass = 90.08 }\n'
    '[composition]\n"Lactic Acid" = 80.0\nAqua = "balance"\n[[lot]]\nnumber = "LA-1"\nuse_by = 2026-05-01\n[[lot]]\nnumber = "LA-2"\n',
    'format = 1\nseen = 2026-03-01\nsheets = [{ name = "sheet \\\\ 1", pages = [1, 2] }, { name = "ü\\n🧴", day = 2026-03-01T10:00:00Z }]\n'
    'odd = { "a key" = { deep = [[1.50, 2], [true]] } }\n[own]\nx = 1e3\n[own.deeper]\ny = [{ z = "]" }]\n[[tests]]\nwhat = "smell"\n'
    '[[tests]]\nwhat = "colour"\n[composition]\n"Citrus \\"Peel\\" Oil" = 100\n[constituents]\nLimonene = [1.0, 3.5]\n',
]  # fmt: skip
PLANS = [
    "",
    '[spec]\nph = [4.60, 5.2]\ndensity = 1.010\nclarity = "clear to \\"hazy\\""\nviscosity = "thin\\nspindle 2"\n[phase.A]\ntitle = "Water"\n'
    'heat = "70 °C"\nhold = "15 min"\n[phase.A.percent]\nwater = 100\n[phase.cool-down_2]\nmethod = "Warm \\\\ until\\nclear 🧴"\n'
    'add_below = "104 °F"\nown = { deep = [1, { x = 2 }] }\n[phase.B.percent]\noil = 1\n',
]


def material_of(id: str, text: str) -> Material:
    parsed = read_material(text.encode(), f"materials/{id}.toml", id)
    assert parsed.value is not None, parsed.faults
    return parsed.value


trials = st.builds(
    Trial,
    id=st.just("ton-260301-ak-a"), formula=st.just("toner"), plan=said, plan_id=some, batch=st.sampled_from(["180 g", "6 x 30 mL", "5 oz"]),
    scale=st.sampled_from(["0.01 g", "1 g", "0.001g"]), by=some, started=st.none() | moments, for_sale=st.booleans(),
    vessel=st.sampled_from(["", "600 mL", "1 kg"]), use_by=st.none() | days, conditions=st.lists(said, max_size=2).map(tuple),
    use=st.sampled_from([(), ("leave-on",), ("rinse-off", "spray")]), entries=st.just(()), premixes=st.dictionaries(ids, texts, max_size=2),
    asked=st.lists(
        st.builds(Asked, texts, ids, st.none() | percents, st.none() | numbers, st.booleans(), st.booleans(), st.sampled_from(["", "1 g"])),
        max_size=4,
    ).map(tuple),
    materials=st.dictionaries(ids, st.sampled_from(RECORDS), max_size=2).map(lambda given: {i: material_of(i, t) for i, t in given.items()}),
)  # fmt: skip
PLAIN = (
    "id", "formula", "plan", "plan_id", "batch", "scale", "by", "started", "for_sale", "vessel", "use_by", "conditions", "use", "asked",
    "entries", "premixes",
)  # fmt: skip


@FEWER
@given(trials, st.sampled_from(PLANS), st.lists(entries(), max_size=4))
def test_law_a_record_reads_as_what_it_was_written_from(trial, plan, happened):
    of_plan = TomlText(f"format = 1\n{plan}".encode(), "formulas/toner.toml").values
    data = new_trial(trial, of_plan.get("spec", {}), of_plan.get("phase", {}))
    written = with_entries(TomlText(data, "t.toml"), numbered(happened)) if happened else data
    parsed = read_trial(written, "trials/toner/t.toml", trial.id, "toner")
    assert parsed.value is not None, parsed.faults
    read = parsed.value
    expected = Trial(**{name: getattr(trial, name) for name in PLAIN} | {"entries": tuple(numbered(happened))})
    for name in PLAIN:
        assert getattr(read, name) == getattr(expected, name), name
    if plan:
        assert read.spec["ph"] == (Typed("4.60", F("4.6")), Typed("5.2", F("5.2")))  # with the digits that were typed
        assert read.spec["viscosity"] == "thin\nspindle 2"
        assert read.phases == (
            Phase("A", title="Water", heat="70 °C", hold="15 min"),
            Phase("cool-down_2", method="Warm \\ until\nclear 🧴", add_below="104 °F"),
        )
    assert read.materials.keys() == trial.materials.keys()
    for id, material in trial.materials.items():
        again = read.materials[id]
        assert {n: v for n, v in vars(again).items() if n not in ("record", "lots")} == {
            n: v for n, v in vars(material).items() if n not in ("record", "lots")
        }
        # all that is known of it, but for the shelf
        assert again.record == {k: v for k, v in material.record.items() if k not in ("format", "lot")}
        assert again.lots == ()


HEAD = 'format = 1\nplan = "toner.1"\nbatch = "180 g"\nasked = [{ phase = "A", material = "water", percent = 100, grams = 180 }]\n'
FIRST = '[[entry]]\nid = "first"\nat = 2026-03-01T10:00:00+01:00\nnoted = "first"\n'
ENDS = [
    "",
    "\n",
    "\n\n\n",
    "# a word",
    "# a word\n",
    "   ",
    '[materials.water]\nname = "W"',
    "[entry.own]\nx = 1\n",
    '[own]\nx = """\n[[entry]]\n"""\n',
]


@FEWER
@given(
    st.booleans(),
    st.booleans(),
    st.booleans(),
    st.sampled_from(ENDS),
    st.lists(entries(), min_size=1, max_size=3),
    st.none() | st.sampled_from(RECORDS),
)
@example(crlf=True, bom=True, begun=False, end="# a word", happened=[Entry("", MORNING, "noted", "two\nlines")], record=None)
def test_law_what_stands_there_stays_byte_for_byte(crlf, bom, begun, end, happened, record):
    """CRLF, a byte order mark, no end of the last line, a comment or a table behind the entries; with the record of what was added."""
    end = end.replace("[entry.own]", "[own]") if not begun else end
    text = (HEAD + (FIRST if begun else "") + end).replace("\n", "\r\n" if crlf else "\n")
    data = (b"\xef\xbb\xbf" if bom else b"") + text.encode()
    source = TomlText(data, "trials/toner/t.toml")
    more = {"late": material_of("late", record)} if record else {}
    new = with_entries(source, numbered(happened), more)
    assert new.startswith(data)
    behind = new[len(data) :]
    assert behind.count(b"\r\n") == (behind.count(b"\n") if crlf else 0)
    assert b"\xef\xbb\xbf" not in behind
    read = read_trial(new, "trials/toner/t.toml", "t").value
    assert list(read.entries) == ([Entry("first", MORNING, "noted", "first")] if begun else []) + numbered(happened)
    before, after = (tomllib.loads(d.decode("utf-8-sig").replace("\r\n", "\n")) for d in (data, new))
    if record:
        known = tomllib.loads(record)
        assert after["materials"].pop("late") == {k: v for k, v in known.items() if k not in ("format", "lot")}
        before.setdefault("materials", {})
    assert {k: v for k, v in after.items() if k != "entry"} == {k: v for k, v in before.items() if k != "entry"}
    assert after["entry"][: len(before.get("entry", []))] == before.get("entry", [])


@pytest.mark.parametrize(
    "entries_so_far",
    ["entry = []\n", 'entry = [{ id = "a", at = 2026-03-01T10:00:00+01:00, noted = "x" }]\n'],
    ids=["an empty list", "a list in brackets"],
)
def test_entries_in_brackets_cannot_be_added_to_and_it_is_said(entries_so_far):
    """TOML 1.0.0 forbids to append to a list in brackets; nothing is rewritten, and the message does not name a line that is not there."""
    source = TomlText((HEAD + entries_so_far).encode(), "trials/toner/t.toml")
    with pytest.raises(Refusal, match="an entry cannot be added at the end of this file") as refused:
        with_entries(source, numbered([Entry("", MORNING, "noted", "hello")]))
    fault = refused.value.faults[0]
    assert (fault.file, fault.line, fault.next) == ("trials/toner/t.toml", None, "write each of its entries under a row  [[entry]]")


@pytest.mark.parametrize(
    "entry, said",
    [
        (Entry("a", MORNING, "weighed", "water", grams=F(1, 10**9)), "a number above 0"),
        (Entry("a", MORNING, "noted", "x", corrects="b"), 'no entry before this one has the id "b"'),
        (Entry("first", MORNING, "noted", "x"), "two entries have the id first"),
        (Entry("a", MORNING, "weighed", "Wa.ter", grams=F(1)), "the id of a material"),
    ],
)
def test_an_entry_that_could_not_be_read_again_is_not_written(entry, said):
    with pytest.raises(Refusal) as refused:
        with_entries(TomlText((HEAD + FIRST).encode(), "trials/toner/t.toml"), [entry])
    assert said in refused.value.faults[0].message


@pytest.mark.parametrize(
    "grams, text",
    [(F("0.00000001"), "0.00000001"), (F("123456.12345678"), "123456.12345678"), (F(4), "4"), (F("28.349523125") / 5, "5.66990463")],
)
def test_grams_keep_eight_decimals(grams, text):
    """0.2 oz has nine (NIST SP 811, appendix B: 1 oz is 28.349523125 g); it is rounded half up to eight."""
    assert f"grams   = {text}" in entry_rows(Entry("a", MORNING, "weighed", "water", grams=grams))


def test_a_record_as_a_maker_sees_it():
    """Literal text out: the file of a small batch, and an entry behind it."""
    trial = Trial(
        id="ton-260301-ak-a", plan="toner.1", plan_id="9f2c", batch="180 g", scale="0.01 g", by="Ada Test", started=MORNING, use=("leave-on",),
        asked=(Asked("A", "water", F("99.5"), F("179.1"), False, True), Asked("B", "oil", None, None, True)), entries=(),
        materials={"oil": material_of("oil", 'format = 1\nfunction = "emollient"\n[composition]\n"Oil, \\"cold\\"" = [98.0, 100]\n')},
    )  # fmt: skip
    text = new_trial(trial, {}, {"A": {"heat": "70 °C", "percent": {"water": "balance"}}, "B": {"percent": {"oil": "open"}}})
    look = Seen(day=1, ph=Typed("4.80", F("4.8")), clarity="clear", odour='of tea; "green"')
    entry = Entry("k7f3-01", MORNING, "seen", "clear", by="Ada Test", seen=look)
    assert (
        with_entries(TomlText(text, "t.toml"), [entry]).decode()
        == """\
format = 1
plan = "toner.1"
plan_id = "9f2c"
batch = "180 g"
scale = "0.01 g"
by = "Ada Test"
started = 2026-03-01T10:00:00+01:00
use = ["leave-on"]
asked = [
    { phase = "A", material = "water", percent = 99.5, grams = 179.1, balance = true },
    { phase = "B", material = "oil", open = true },
]

[phase.A]
heat = "70 °C"

[materials.oil]
function = "emollient"
[materials.oil.composition]
"Oil, \\"cold\\"" = [98.0, 100]

[[entry]]
id        = "k7f3-01"
at        = 2026-03-01T10:00:00+01:00
by        = "Ada Test"
seen      = "clear"
condition = "room"
day       = 1
ph        = 4.80
clarity   = "clear"
odour     = "of tea; \\"green\\""
"""
    )
