"""The five kinds of file, as makers type them: read, warned of, refused with everything at once."""

import datetime
import tomllib
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import event, given
from hypothesis import strategies as st

from fvc.errors import Refusal
from fvc.files.materials import read_material
from fvc.files.parsed import Parsed
from fvc.files.plans import read_plan
from fvc.files.settings import read_formulary
from fvc.files.toml_text import TomlText, dotted, scan
from fvc.files.trials import read_trial
from fvc.record import RawFloat

DEMO = Path(__file__).parent.parent / "demo_repo"

FORMULARY = """\
format   = 1
name     = "Garden shed studio"
currency = "EUR"
rules    = ["eu", "house"]
scales   = [{ step = "0.01 g", max = "500 g" }, { step = "1 g", max = "5 kg" }]
decimals = 3
small_below = 25

[observe]
days       = [0, 1, 7, 30]
conditions = ["room", "fridge"]

[[house]]
material = "neroli-oil"
use      = "leave-on"
max      = 0.40
because  = "our own nose"

[[house]]
function = "preservative"
min      = 0.5
"""

MATERIAL = """\
format    = 1
name      = "Panthenol, 75 % in water"
function  = ["humectant", "soothing agent"]
active    = ["Panthenol"]
use_level = [0.5, 5.0]
price     = "14.20 / 250 g"
density   = 1.14
supplier  = "the shop at the corner"
source    = "technical sheet, 2026-02"
heat_max  = "60 °C"
charge    = "non-ionic"
ph_range  = [4, 7]
[acid]
pka = [3.1, 4.8]
[[lot]]
number   = "PA-07"
received = 2026-01-15
grams    = 180.5
[composition]
"Panthenol" = { nominal = 75, low = 73, high = 77 }
"Aqua"      = "balance"
[constituents]
"Aminopropanol" = [0, 0.5]
"""

FORMULA = """\
# The mist that stands on the shelf by the door.
format   = 1
title    = "Rosemary hair rinse"
revision = 4
use      = ["rinse-off"]
status   = "tried"
batch    = "6 x 50 mL"

[spec]
ph      = [4.2, 4.8]
density = 1.01

[phase.A]
method = "Stir until clear."
heat   = "70 °C"
hold   = "15 min"
[phase.A.percent]
water          = "balance"              # whatever is left
glycerin       = 2.50
sodium-citrate = 0.4

[phase.cool-down]                       # everything that hates heat
add_below = "104 °F"
[phase.cool-down.percent]
rosemary-oil       = 0.10
solubiliser        = "4 x rosemary-oil"
rosemary-extract   = { level = 1.00, note = "stays: it gives the name" }
water              = 10
preservative-blend = 0.90
citric-acid-50     = { level = "open", expect = 0.40 }
"""

VARIANT = (
    FORMULA
    + """
[variant]
parent   = "rosemary-rinse.4"
plan_id  = "9f2c1e7"
question = "Does less glycerin leave the hair lighter?"
expect   = "lighter, same shine"
state    = "set aside"
because  = "nobody could tell"
"""
)

TRIAL = """\
format  = 1
plan    = "rosemary-rinse.4"
plan_id = "9f2c1e7"
batch   = "150 g"
scale   = "0.01 g"
by      = "Ada"
started = 2026-03-01T10:00:00+01:00
asked   = [
    { phase = "A", material = "water", percent = 97.5, grams = 146.25 },
    { phase = "A", material = "glycerin", percent = 2.5, grams = 3.75 },
    { phase = "B", material = "citric-acid-50", open = true },
]

[materials.glycerin]
name = "Glycerin, 99.5 %"
[materials.glycerin.composition]
"Glycerin" = 99.5
"Aqua"     = 0.5

[[entry]]
id      = "k7f3-01"
at      = 2026-03-01T10:22:10+01:00
by      = "Ada"
weighed = "water"
grams   = 146.31
[[entry]]
id      = "k7f3-02"
at      = 2026-03-01T10:25:00+01:00
weighed = "glycerin"
grams   = 3.77
lot     = "GL-03"
[[entry]]
id     = "k7f3-03"
at     = 2026-03-04T09:00:00+01:00
seen   = "clear, a little foam"
day    = 3
ph     = 4.62
"""

SAMPLES = {"formulary": FORMULARY, "material": MATERIAL, "formula": FORMULA, "variant": VARIANT, "trial": TRIAL}
NAMES = {
    "formulary": "formulary.toml",
    "material": "materials/panthenol-75.toml",
    "formula": "formulas/rosemary-rinse.toml",
    "variant": "variants/rosemary-rinse/lighter.toml",
    "trial": "trials/rosemary-rinse/k7f3.toml",
}


def read(kind: str, text: str | bytes) -> Parsed:
    """Read a file of a kind under its usual name."""
    data, name = text if isinstance(text, bytes) else text.encode(), NAMES[kind]
    if kind == "formulary":
        return read_formulary(data, name)
    if kind == "material":
        return read_material(data, name, "panthenol-75")
    if kind == "trial":
        return read_trial(data, name, "k7f3")
    return read_plan(data, name, "lighter" if kind == "variant" else "rosemary-rinse", variant=kind == "variant")


def good(kind: str, text: str | bytes):
    """The value of a file that must be read without faults or warnings."""
    parsed = read(kind, text)
    assert (parsed.faults, parsed.warnings) == ((), ())
    assert parsed.value is not None
    return parsed.value


def changed(kind: str, old: str, new: str) -> str:
    """The sample of a kind with one piece replaced."""
    assert SAMPLES[kind].count(old) == 1, old
    return SAMPLES[kind].replace(old, new)


# --- what each kind becomes -----------------------------------------------------------------------


def test_formulary_is_read():
    settings = good("formulary", FORMULARY)
    assert (settings.name, settings.currency, settings.rules) == ("Garden shed studio", "EUR", ("eu", "house"))
    assert [(s.step, s.most) for s in settings.scales] == [(Fraction(1, 100), 500), (1, 5000)]
    assert (settings.decimals, settings.small_below) == (3, 25)


def test_formulary_of_one_line_has_defaults():
    settings = good("formulary", "format = 1\n")
    assert (settings.decimals, settings.small_below) == (4, 20)
    assert [s.step for s in settings.scales] == [Fraction(1, 100), 1]


def test_material_is_read():
    panthenol = good("material", MATERIAL)
    assert panthenol.functions == ("humectant", "soothing agent")
    assert [t.text for t in panthenol.use_level] == ["0.5", "5.0"]
    assert panthenol.composition["Panthenol"] == (75, 73, 77, False)
    assert panthenol.composition["Aqua"] == (25, 23, 27, False)
    assert panthenol.constituents["Aminopropanol"] == (Fraction(1, 4), 0, Fraction(1, 2), True)


def test_formula_is_read_in_its_order_with_the_digits_typed():
    plan = good("formula", FORMULA)
    assert (plan.id, plan.title, plan.revision, plan.use) == ("rosemary-rinse", "Rosemary hair rinse", 4, ("rinse-off",))
    assert [p.name for p in plan.phases] == ["A", "cool-down"]
    assert (plan.phases[0].heat, plan.phases[1].add_below) == ("70 °C", "104 °F")
    assert [(line.phase, line.material, line.level.kind, line.level.text) for line in plan.lines] == [
        ("A", "water", "balance", "balance"),
        ("A", "glycerin", "fixed", "2.50"),
        ("A", "sodium-citrate", "fixed", "0.4"),
        ("cool-down", "rosemary-oil", "fixed", "0.10"),
        ("cool-down", "solubiliser", "ratio", "4 x rosemary-oil"),
        ("cool-down", "rosemary-extract", "fixed", "1.00"),
        ("cool-down", "water", "fixed", "10"),
        ("cool-down", "preservative-blend", "fixed", "0.90"),
        ("cool-down", "citric-acid-50", "open", "open"),
    ]
    assert plan.lines[5].note == "stays: it gives the name"
    assert plan.lines[8].level.number.text == "0.40"
    assert [t.text for t in plan.spec["ph"]] == ["4.2", "4.8"]


def test_one_word_of_use_needs_no_brackets():
    assert good("formula", changed("formula", '["rinse-off"]', '"rinse-off"')).use == ("rinse-off",)


@pytest.mark.parametrize("words", ['"balance"', '"Balance"', '"q.s. to 100"', '"qs to 100"', '"q.s. ad 100"', '"Q.S. 100"'])
def test_balance_has_the_spellings_of_the_trade(words):
    plan = good("formula", changed("formula", '"balance"', words))
    assert plan.lines[0].level == ("balance", "balance", None, (), "")


@pytest.mark.parametrize(
    "words, factor, ids, function",
    [
        ("4 x rosemary-oil", 4, ("rosemary-oil",), ""),
        ("0.5x glycerin", Fraction(1, 2), ("glycerin",), ""),
        ("2.25 × (glycerin + rosemary-oil)", Fraction(9, 4), ("glycerin", "rosemary-oil"), ""),
        ("4 x all essential oil", 4, (), "essential oil"),
        ("4 x All Essential Oil", 4, (), "essential oil"),
    ],
)
def test_ratios_are_read(words, factor, ids, function):
    level = good("formula", changed("formula", "4 x rosemary-oil", words)).lines[4].level
    assert (level.kind, level.number.value, level.of, level.function) == ("ratio", factor, ids, function)


def test_variant_is_read():
    about = good("variant", VARIANT).variant
    assert about == (
        "rosemary-rinse.4",
        "9f2c1e7",
        "Does less glycerin leave the hair lighter?",
        "lighter, same shine",
        "set aside",
        "nobody could tell",
    )


def test_trial_is_read():
    trial = good("trial", TRIAL)
    assert [(a.phase, a.material, a.percent, a.grams, a.open) for a in trial.asked] == [
        ("A", "water", Fraction("97.5"), Fraction("146.25"), False),
        ("A", "glycerin", Fraction("2.5"), Fraction("3.75"), False),
        ("B", "citric-acid-50", None, None, True),
    ]
    assert [(e.id, e.action, e.subject, e.grams, e.lot) for e in trial.entries] == [
        ("k7f3-01", "weighed", "water", Fraction("146.31"), ""),
        ("k7f3-02", "weighed", "glycerin", Fraction("3.77"), "GL-03"),
        ("k7f3-03", "seen", "clear, a little foam", None, ""),
    ]
    assert trial.entries[2].at == datetime.datetime.fromisoformat("2026-03-04T09:00:00+01:00")
    assert trial.materials["glycerin"].composition["Glycerin"].nominal == Fraction("99.5")
    assert not trial.closed


# --- unknown keys ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind, old, new, path, hint",
    [
        ("formulary", "decimals =", "decimal =", "decimal", "did you mean decimals?"),
        ("formulary", "days       =", "dayz =", "observe.dayz", "did you mean days?"),
        ("formulary", "because  =", "becuase =", "house[1].becuase", "did you mean because?"),
        ("material", "supplier  =", "suplier =", "suplier", "did you mean supplier?"),
        ("material", "pka =", "pKa =", "acid.pKa", "did you mean pka?"),
        ("material", "received =", "recieved =", "lot[1].recieved", "did you mean received?"),
        ("formula", "title    =", "titel =", "titel", "did you mean title?"),
        ("formula", "density = 1.01", "densitiy = 1.01", "spec.densitiy", "did you mean density?"),
        ("formula", "method =", "methods =", "phase.A.methods", "did you mean method?"),
        ("formula", "note =", "notes =", "phase.cool-down.percent.rosemary-extract.notes", "did you mean note?"),
        ("variant", "because  =", "why =", "variant.why", "known here: parent, plan_id, question, expect, state, because"),
        ("trial", "scale   =", "scales =", "scales", "did you mean scale?"),
        ("trial", "lot     =", "lott =", "entry[2].lott", "did you mean lot?"),
    ],
)
def test_unknown_keys_are_kept_and_warned_of_with_the_nearest(kind, old, new, path, hint):
    text = changed(kind, old, new)
    parsed = read(kind, text)
    assert parsed.faults == ()
    [warning] = parsed.warnings
    key = path.rpartition(".")[2]
    assert warning.message == f'unknown key "{key}"; it is kept and not used'
    assert (warning.file, warning.path, warning.next) == (NAMES[kind], path, hint)
    assert key in text.splitlines()[warning.line - 1]
    assert key in str(parsed.value.record)


# --- faults ---------------------------------------------------------------------------------------


def test_all_faults_of_a_formula_are_told_at_once():
    text = """\
format   = 1
title    = 7
use      = ["leave on"]
status   = "done"
batch    = "200"

[spec]
ph = [5.2, 4.6]

[phase.A]
heat = "hot"
[phase.A.percent]
water    = "balance"
Glycerin = 3.00
betaine  = -1.5
urea     = 3e0

[phase."hot stage".percent]
allantoin = 0.2
"""
    told = [(f.line, f.path, f.message, f.next) for f in read("formula", text).faults]
    assert told == [
        (2, "title", "expected a text in quotes, found 7", "put quotes around it"),
        (3, "use[1]", 'expected one of "leave-on", "rinse-off", "spray", "aerosol", found "leave on"', 'write "leave-on"'),
        (4, "status", 'expected one of "idea", "tried", "chosen", "locked", "retired", found "done"', "correct this value"),
        (
            5,
            "batch",
            'expected a batch size such as "200 g", found "200": expected a number with a unit (mg, g, kg, oz, lb); '
            "a batch is such as 150g, 1.5 kg, 5 oz, 200 mL, 6 x 30 mL, or neroli-oil 3.2g",
            "correct this value",
        ),
        (8, "spec.ph", "expected [low, high], found low 5.2 above high 4.6", "swap the two"),
        (
            11,
            "phase.A.heat",
            'expected a temperature such as "70 °C", found "hot"',
            "correct this value",
        ),
        (
            14,
            "phase.A.percent.Glycerin",
            '"Glycerin" is not an id: it has capitals; write "glycerin"',
            "rename it here, and the file it names",
        ),
        (
            15,
            "phase.A.percent.betaine",
            'expected a number from 0 to 100, "balance", "open", or a ratio such as "4 x neroli-oil", found -1.5: it is negative',
            "write a number such as 3.00, or one of the words",
        ),
        (
            16,
            "phase.A.percent.urea",
            'expected a number from 0 to 100, "balance", "open", or a ratio such as "4 x neroli-oil", found 3e0: it is in exponent form',
            "write a number such as 3.00, or one of the words",
        ),
        (
            18,
            'phase."hot stage"',
            '"hot stage" is not a phase name: up to 20 letters, digits, - and _',
            "rename it here",
        ),
    ]


def test_all_faults_of_a_material_are_told_at_once():
    text = """\
format    = 1
name      = "Citric acid"
use_level = [0.05]
price     = "7.90"
density   = 0
charge    = "positive"
[[lot]]
received = "2026-01-15"
[composition]
"Citric Acid" = 50,0
""".replace("50,0", "150")
    told = [(f.line, f.path, f.message) for f in read("material", text).faults]
    assert told == [
        (3, "use_level", "expected [low, high], each a number from 0 to 100, found a list"),
        (4, "price", 'expected a price such as "7.90 / 250 g", found "7.90": write it as "7.90 / 250 g"'),
        (5, "density", "expected a number above 0, found 0"),
        (6, "charge", 'expected one of "anionic", "cationic", "non-ionic", "amphoteric", found "positive"'),
        (8, "lot[1].received", 'expected a date such as 2026-03-01, without quotes, found "2026-01-15"'),
        (7, "lot[1]", '"number" is missing: lot number'),
        (
            10,
            'composition."Citric Acid"',
            "expected a number from 0 to 100, found 150",
        ),
    ]
    assert all(f.next and f.file == "materials/panthenol-75.toml" for f in read("material", text).faults)


@pytest.mark.parametrize(
    "kind, old, new, row, path, message",
    [
        (
            "formulary",
            '"EUR"',
            '"euro"',
            "currency =",
            "currency",
            'expected three capitals such as EUR, found "euro": a currency is an ISO 4217 code',
        ),
        ("formulary", '"eu", "house"', '"eu", "uk"', "rules ", "rules[2]", 'expected one of "eu", "us", "house", found "uk"'),
        ("formulary", "decimals = 3", "decimals = 12", "decimals", "decimals", "expected a whole number from 0 to 8, found 12"),
        ("formulary", 'step = "0.01 g", ', "", "scales", "scales[1]", '"step" is missing: what it resolves'),
        ("formulary", '"neroli-oil"', '"Neroli oil"', "material = ", "house[1].material", 'found "Neroli oil": only small letters'),
        ("material", '["Panthenol"]', '["Pantenol"]', "active", "active", '"Pantenol" is not in the composition'),
        (
            "material",
            '"Aqua"      =',
            '"PANTHENOL" =',
            '"PANTHENOL"',
            "composition.PANTHENOL",
            '"PANTHENOL" and "Panthenol" are one INCI name',
        ),
        ("material", "low = 73", "low = 76", '"Panthenol"', "composition.Panthenol", "expected low, nominal and high in ascending order"),
        ("formula", "format   = 1\n", "", None, "", '"format" is missing: version of the file format, 1'),
        ("formula", "format   = 1", 'format = "1"', "format", "format", 'expected a whole number from 1 up, found "1"'),
        ("formula", "format   = 1", "format = 2", "format", "format", "format 2 is newer than this fvc reads (format 1)"),
        ("formula", "revision = 4", "revision = -1", "revision", "revision", "expected a whole number from 0 up, found -1"),
        (
            "formula",
            "level = 1.00, note",
            "note",
            "rosemary-extract",
            "rosemary-extract",
            'expected { level = …, note = "…" }, found no level',
        ),
        ("formula", '"open", expect', "1.2, expect", "citric-acid-50", "citric-acid-50.expect", 'only an open line has "expect"'),
        (
            "formula",
            "expect = 0.40",
            "expect = 140",
            "citric-acid-50",
            "citric-acid-50.expect",
            "expected a number from 0 to 100, found 140: it is above 100",
        ),
        (
            "formula",
            'note = "stays: it gives the name"',
            "note = 3",
            "rosemary-extract",
            "rosemary-extract.note",
            "expected a text in quotes, found 3",
        ),
        (
            "formula",
            "4 x rosemary-oil",
            "x rosemary-oil",
            "solubiliser",
            "solubiliser",
            'found "x rosemary-oil": expected a number from 0 to 100',
        ),
        ("formula", "4 x rosemary-oil", "0 x rosemary-oil", "solubiliser", "solubiliser", "a ratio of 0 would always be nothing"),
        ("formula", "4 x rosemary-oil", "4 x Rosemary oil", "solubiliser", "solubiliser", '"Rosemary oil" in a ratio is not an id'),
        ("formula", '"4 x rosemary-oil"', '"0.40"', "solubiliser", "solubiliser", "write the number without quotes: 0.40"),
        (
            "variant",
            'parent   = "rosemary-rinse.4"\n',
            "",
            "[variant]",
            "variant",
            '"parent" is missing: the saved revision it departs from',
        ),
        (
            "variant",
            '"set aside"',
            '"shelved"',
            "state",
            "variant.state",
            'expected one of "open", "adopted", "set aside", found "shelved"',
        ),
        ("trial", "grams   = 3.77\n", "", "[[entry]]", "entry[2]", '"weighed" needs grams'),
        (
            "trial",
            'weighed = "water"',
            'weighed = "water"\nadded = "water"',
            "[[entry]]",
            "entry[1]",
            "expected one action in an entry, found weighed and added",
        ),
        ("trial", "k7f3-02", "k7f3-01", "k7f3-01", "entry[2].id", "two entries have the id k7f3-01"),
        ("trial", "2026-03-01T10:00:00+01:00", "2026-03-01", "started", "started", "found a date or time, 2026-03-01"),
        ("trial", "grams   = 146.31", "grams   = 0", "grams   = 0", "entry[1].grams", "expected a number above 0, found 0"),
        ("trial", "open = true", 'open = "yes"', "citric-acid-50", "asked[3].open", 'expected true or false, found "yes"'),
    ],
)
def test_one_fault_is_told_with_its_place_and_what_was_found(kind, old, new, row, path, message):
    text = changed(kind, old, new)
    [fault] = [f for f in read(kind, text).faults if message in f.message]
    assert fault.path.endswith(path)
    assert fault.file == NAMES[kind]
    assert fault.line is None if row is None else row in text.splitlines()[fault.line - 1]
    assert fault.next
    assert read(kind, text).value is None


def test_a_fault_reads_as_place_what_next():
    [fault] = read("formula", changed("formula", "2.50", "-2.50")).faults
    assert fault.text() == (
        "formulas/rosemary-rinse.toml:19: phase.A.percent.glycerin: "
        'expected a number from 0 to 100, "balance", "open", or a ratio such as "4 x neroli-oil", found -2.50: it is negative\n'
        "  next: write a number such as 3.00, or one of the words"
    )


# --- line ends and marks --------------------------------------------------------------------------


@pytest.mark.parametrize("kind", SAMPLES)
@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"], ids=["plain", "bom"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_crlf_and_a_byte_order_mark_say_the_same(kind, bom, newline):
    data = bom + SAMPLES[kind].replace("\n", newline).encode()
    value, plain = good(kind, data), good(kind, SAMPLES[kind])
    assert (repr(value), value.record) == (repr(plain), plain.record)


def test_a_fault_in_a_crlf_file_has_the_same_line():
    text = changed("formula", "2.50", "true").replace("\n", "\r\n")
    assert [f.line for f in read("formula", "\ufeff" + text).faults] == [19]


# --- the scanner against tomllib ------------------------------------------------------------------


def leaves(value, path=()):
    """Every value that is not a table or list with something in it, with its path."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    if not inner:
        yield path, value
    for key, below in inner:
        yield from leaves(below, (*path, key))


def at_path(values, path):
    for part in path:
        values = values[part]
    return values


def held_against_tomllib(text: str) -> None:
    """Every value of the text has a place, and what stands there parses to that value."""
    values = tomllib.loads(text, parse_float=RawFloat)
    layout = scan(text)
    headings = {h.path for h in layout.headings}
    for path, value in leaves(values):
        if path and not (value == {} and path in headings):
            assert path in layout.places, dotted(path)
    for path, place in layout.places.items():
        raw = text[place.start : place.end]
        assert tomllib.loads(f"v = {raw}", parse_float=RawFloat)["v"] == at_path(values, path), dotted(path)
        assert raw == raw.strip()
    for heading in layout.headings:
        assert isinstance(at_path(values, heading.path), dict)
        assert text[heading.start : heading.end].lstrip().startswith("[")


ODD_TEXTS = [
    "",
    "# only a remark",
    "a = 1",
    "a=1#x\nb = 2   # y = 3\r\n",
    "a.b.c = 1\na.b.d = 2\n\"a\".'e' = 3\n",
    "a . b  .c\t=\t 1\n",
    '"" = 1\n',
    '"dots. and = [signs]" = 1\n\'C:\\temp\' = "C:\\\\temp"\n',
    '"\\u00e9\\"\\n" = "x"\n',
    'text = "a # no remark"  # a remark\n',
    "text = 'it \"is\" # so'\n",
    'text = """\none\n  two # three\n"quoted" ""twice""\n"""\nafter = 1\n',
    'text = """ends with quotes"""""\nafter = 1\n',
    'text = """"begins"""\nafter = 1\n',
    'text = """a \\"""b\\\\"""\nafter = 1\n',
    'text = """folded \\\n     line"""\nafter = 1\n',
    "text = '''\n[not.a.table]\nk = 1\n''''\nafter = 1\n",
    "empty = \"\"\nalso = ''\nlong = \"\"\"\"\"\"\nraw = ''''''\nafter = 1\n",
    "list = [1, 2 , 3,]\nnested = [[1, [2]], []]\n",
    "list = [ # first\n  1, # one ]\n\n  # between\n  2 # two\n  , 3 ]\nafter = 1\n",
    'list = ["a,]", \'b}\', """c\n]"""]\n',
    'row = { level = 2.00, note = "a } in, it" }  # {\n',
    "row = {}\nother = { a.b = 1, a.c = { d = [1, { e = 2 }] } }\n",
    "when = 2026-03-01 10:22:10\nday = 2026-03-01\ntime = 10:22:10.5\nat = 2026-03-01T10:22:10+01:00 # x\n",
    "n = +1_000\nh = 0xDEAD_beef\no = 0o17\nb = 0b1\nf = -1.5e-3\ni = inf\nj = -nan\nt = true\n",
    "[a]\nx = 1\n[a.b]\nx = 2\n[c.d.e]\n",
    "[ a . 'b c' ]   # heading\nx = 1\n",
    "  [a]\n    x = 1\n\t[b]\n\ty = 2",
    "[[lot]]\nn = 1\n[[lot]]\nn = 2\n[lot.more]\nx = 3\n[[lot.part]]\ny = 4\n[[lot.part]]\ny = 5\n[[lot]]\n[lot.more]\nx = 6\n",
    "[a.b]\nx = 1\n[a]\ny.z = 2\n",
    "[[ 'a' . \"b\" ]]\nx = { y = 1 }\n",
    "a = 1\r\n[t]\r\nb = [\r\n 1,\r\n]\r\nc = '''x\r\ny'''\r\n",
]


@pytest.mark.parametrize("text", [*ODD_TEXTS, *SAMPLES.values()])
def test_the_scanner_agrees_with_tomllib(text):
    held_against_tomllib(text)


SCALARS = st.sampled_from(
    [
        "0",
        "7",
        "-17",
        "+3",
        "1_000",
        "0x1F",
        "0o17",
        "0b101",
        "3.00",
        "-0.50",
        "1e5",
        "6.02E+23",
        "inf",
        "-inf",
        "nan",
        "true",
        "false",
        "2026-03-01",
        "10:22:10",
        "10:22:10.25",
        "2026-03-01 10:22:10",
        "2026-03-01T10:22:10Z",
        "2026-03-01T10:22:10+01:00",
    ]
)
LETTERS = st.characters(exclude_categories=["Cs"], exclude_characters="\r")
SPACES = st.sampled_from(["", " ", "  ", "\t"])
GAPS = st.sampled_from(["", " ", "\n", ' # why ] } , = "\n', "\n\n  "])


def escaped(text: str) -> str:
    return "".join(c if " " <= c != "\x7f" and c not in '"\\' else f"\\U{ord(c):08X}" for c in text)


WORDS = st.one_of(
    st.text(LETTERS, max_size=8).map(lambda t: f'"{escaped(t)}"'),
    st.text(st.sampled_from('ab #[]{},="\\é'), max_size=8).map(lambda t: f"'{t}'"),
    st.text(st.sampled_from("ab #[]{},=\n'"), max_size=8).map(lambda t: f'"""{t}"""'),
    st.text(st.sampled_from('ab #[]{},=\n"'), max_size=8).map(lambda t: f"'''{t}'''"),
    st.sampled_from(['""""two""""', "'''''one'''''", '"""\\\n   x\\""""', '""', "''"]),
)


@st.composite
def keys(draw, first: str) -> str:
    """A dotted key whose first part begins with `first`, bare or quoted; its names are few, so that some collide."""
    parts = [first + draw(st.sampled_from(["1", "2", "3-x", "_"]))]
    parts += draw(st.lists(st.sampled_from(["a", "b", "7", "c d", "é", "", "x.y"]), max_size=2))
    shown = []
    for part in parts:
        bare = part.isascii() and part.replace("-", "").replace("_", "").isalnum()
        shown.append(part if bare and draw(st.booleans()) else draw(st.sampled_from([f'"{part}"', f"'{part}'"])))
    return draw(SPACES).join([shown[0], *(f".{draw(SPACES)}{p}" for p in shown[1:])])


def values(depth: int = 2):
    """The text of a value."""
    plain = SCALARS | WORDS
    if depth == 0:
        return plain
    return plain | lists(depth - 1) | tables(depth - 1)


@st.composite
def lists(draw, depth: int) -> str:
    items = draw(st.lists(values(depth), max_size=3))
    text = "[" + draw(GAPS)
    for index, item in enumerate(items):
        last = index == len(items) - 1
        text += item + draw(GAPS) + ("," if not last or draw(st.booleans()) else "") + draw(GAPS)
    return text + "]"


@st.composite
def tables(draw, depth: int) -> str:
    rows = [
        f"{draw(SPACES)}{draw(keys('k'))}{draw(SPACES)}={draw(SPACES)}{draw(values(depth))}{draw(SPACES)}"
        for _ in range(draw(st.integers(0, 3)))
    ]
    return "{" + ",".join(rows) + "}"


@st.composite
def toml_texts(draw) -> str:
    """A TOML text in many styles; a name used twice makes some of them faulty."""
    first = ["r", *draw(st.lists(st.sampled_from(["[t", "[[m", "[m1.s", "[[m1.n"]), max_size=5))]
    text = draw(st.sampled_from(["", "# top\n", "\n\n"]))
    for index, kind in enumerate(first):
        if index:
            brackets = kind.count("[")
            name = draw(st.sampled_from([f"{kind.strip('[')}{n}" for n in "12"]))
            text += f"{draw(SPACES)}{'[' * brackets}{draw(SPACES)}{name}{draw(SPACES)}{']' * brackets}{draw(SPACES)}# {index}\n"
        for _ in range(draw(st.integers(0, 4))):
            remark = draw(st.sampled_from(["", " # [x]", "\t# \"'", "#"]))
            text += f"{draw(SPACES)}{draw(keys('k'))}{draw(SPACES)}={draw(SPACES)}{draw(values())}{remark}\n"
        text += draw(st.sampled_from(["", "\n", "  # between\n"]))
    text = text if draw(st.booleans()) else text.rstrip("\n")
    return text.replace("\n", "\r\n") if draw(st.booleans()) else text


@given(toml_texts())
def test_the_scanner_agrees_with_tomllib_on_any_text(text):
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        event("faulty")
        with pytest.raises(Refusal) as refused:
            TomlText(text.encode(), "any.toml")
        [fault] = refused.value.faults
        assert (fault.file, bool(fault.next)) == ("any.toml", True)
        assert text.strip() == "" or 1 <= fault.line <= text.count("\n") + 1
        return
    event("sound")
    held_against_tomllib(text)


@given(st.text(st.sampled_from("ab1.\"'=[]{},# \t\n\\-")))
def test_any_scrap_of_text_is_read_or_refused_and_nothing_else(scrap):
    parsed = read("material", f'format = 1\nname = "x"\n{scrap}\n')
    assert (parsed.value is None) == bool(parsed.faults)
    assert all(fault.next for fault in parsed.faults)


@pytest.mark.parametrize(
    "text, path, first, second",
    [
        ("format = 1\nname = 'a'\nname = 'b'\n", "name", 2, 3),
        ("[composition]\n'Aqua' = 1\n\n# again\n\"Aqua\" = 2\n", "composition.Aqua", 2, 5),
        ("[acid]\n[composition]\n[acid]\n", "acid", 1, 3),
        ("acid.pka = 3\n[acid]\n", "acid", 1, 2),
        ("[[lot]]\nnumber = '1'\n[[lot]]\nnumber = '2'\nnumber = '3'\n", "lot[2].number", 4, 5),
    ],
)
def test_what_stands_twice_is_told_with_both_lines(text, path, first, second):
    [fault] = read("material", text).faults
    assert fault.message == f"{path} stands twice: on line {first} and on line {second}"
    assert (fault.line, fault.path, fault.next) == (second, path, "keep one of the two lines")


def test_a_wrong_escape_in_a_quoted_name_is_a_fault_of_the_file():
    [fault] = read("material", 'format = 1\n[composition]\n"Citrus \\Aurantium" = 3\n').faults
    assert fault.line == 3
    assert "not readable as TOML" in fault.message


@pytest.mark.parametrize("depth", [10, 300, 490, 491, 492, 493, 494, 495, 2000])
def test_deep_nesting_is_read_or_refused(depth):
    parsed = read("material", f"format = 1\nodd = {'[' * depth}{']' * depth}\n")
    if depth == 10:
        assert [w.path for w in parsed.warnings] == ["odd"]
    if depth == 2000:
        [fault] = parsed.faults
        assert fault.message == "not readable as TOML: it is nested too deeply"


# --- the demo's own files -------------------------------------------------------------------------

FOLDERS = {"formulas": "formula", "materials": "material", "variants": "variant", "trials": "trial"}


def demo_files():
    """(path, kind) of every formulary file of the demo, past versions included."""
    yield DEMO / "formulary.toml", "formulary"
    for path in sorted(DEMO.rglob("*.toml")):
        kind = next((FOLDERS[p] for p in path.relative_to(DEMO).parts if p in FOLDERS), None)
        if kind:
            yield path, kind


@pytest.mark.parametrize("path, kind", [pytest.param(p, k, id=str(p.relative_to(DEMO))) for p, k in demo_files()])
def test_the_demo_reads_without_faults_or_warnings(path, kind):
    good(kind, path.read_bytes())
    held_against_tomllib(path.read_text())


def test_the_demo_has_files_of_every_plan_kind():
    kinds = [kind for _, kind in demo_files()]
    assert kinds.count("material") >= 18
    assert kinds.count("variant") >= 2
    assert kinds.count("formula") > 14
    assert kinds.count("trial") >= 12
