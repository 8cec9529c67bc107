"""The JSON Schemas that editors use, held against the reader that decides."""

import copy
import datetime
import json
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from fvc.files.schema import TABLES, schema_files, schema_for
from fvc.record import RawFloat
from tests.test_files import DEMO, SAMPLES, changed, demo_files, read

KINDS = list(TABLES)
VALIDATORS = {kind: Draft202012Validator(schema_for(kind)) for kind in KINDS}


def as_json(value):
    """A TOML value as an editor hands it to a schema: dates as text, numbers as numbers."""
    if isinstance(value, RawFloat):
        return float(value.text)
    if isinstance(value, dict):
        return {k: as_json(v) for k, v in value.items()}
    if isinstance(value, list):
        return [as_json(v) for v in value]
    if isinstance(value, datetime.datetime | datetime.date | datetime.time):
        return value.isoformat()
    return value


def schema_says(kind: str, text: str) -> list[str]:
    """What the schema has against a document; empty when nothing."""
    values = as_json(tomllib.loads(text, parse_float=RawFloat))
    return [f"{list(e.absolute_path)}: {e.message}" for e in VALIDATORS[kind].iter_errors(values)]


def reader_says(kind: str, text: str) -> list[str]:
    """What the reader has against a document; empty when nothing."""
    return [fault.text() for fault in read(kind, text).faults]


# --- the schemas themselves -----------------------------------------------------------------------


def test_there_is_a_schema_for_each_of_the_five_kinds():
    assert sorted(KINDS) == ["formula", "formulary", "material", "trial", "variant"]
    assert sorted(schema_files()) == [f"schemas/{kind}.schema.json" for kind in sorted(KINDS)]


@pytest.mark.parametrize("kind", KINDS)
def test_schema_is_valid_by_its_own_dialect(kind):
    schema = schema_for(kind)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)


def described(schema, path=""):
    """Every property of a schema that an editor may show, with its text."""
    if isinstance(schema, dict):
        for key, inner in schema.get("properties", {}).items():
            yield f"{path}.{key}".lstrip("."), inner.get("description", "")
        for key, inner in schema.items():
            yield from described(inner, f"{path}.{key}")
    elif isinstance(schema, list):
        for inner in schema:
            yield from described(inner, path)


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_of_the_top_is_described_for_the_editor(kind):
    for path, text in described(schema_for(kind)):
        assert text or path.rpartition(".")[2] in ("level", "expect", "note", "nominal", "low", "high"), path


@pytest.mark.parametrize("file", schema_files())
def test_the_demo_ships_the_schemas_of_this_version(file):
    assert (DEMO / file).read_bytes().decode() == schema_files()[file]


@pytest.mark.parametrize("path, kind", [pytest.param(p, k, id=str(p.relative_to(DEMO))) for p, k in demo_files()])
def test_the_demo_passes_its_schemas(path, kind):
    assert schema_says(kind, path.read_text()) == []


# --- good and bad documents -----------------------------------------------------------------------

PLAN_GOOD = [
    ('["rinse-off"]', '"rinse-off"'),
    ('["rinse-off"]', '["leave-on", "spray"]'),
    ('"6 x 50 mL"', '"1.5 kg"'),
    ('"balance"', '"q.s. to 100"'),
    ('"balance"', '"QS ad 100"'),
    ('"balance"', '" Balance "'),
    ("2.50", "0"),
    ("2.50", "100"),
    ("2.50", "0.00000001"),
    ("2.50", '"open"'),
    ("2.50", '{ level = "open" }'),
    ("2.50", '{ level = "4 x rosemary-oil", note = "held" }'),
    ("2.50", '{ level = 3, remark = "kept" }'),
    ("4 x rosemary-oil", "4 x all essential oil"),
    ("4 x rosemary-oil", "4 x ALL  essential oil"),
    ("4 x rosemary-oil", "0.5×( glycerin+rosemary-oil )"),
    ("[phase.cool-down]", "[phase.C]\n[phase.cool-down]"),
    ("heat   =", "heats  ="),
    ('title    = "Rosemary hair rinse"\n', ""),
    ("revision = 4\n", ""),
    ("density = 1.01", 'clarity = "clear"'),
]
PLAN_BAD = [
    ("format   = 1\n", ""),
    ("format   = 1", "format = 0"),
    ("format   = 1", "format = true"),
    ("format   = 1", 'format = "1"'),
    ("revision = 4", "revision = -1"),
    ("revision = 4", "revision = 4.5"),
    ('"Rosemary hair rinse"', "2026"),
    ('["rinse-off"]', '["rinse"]'),
    ('["rinse-off"]', "[1]"),
    ('"tried"', '"done"'),
    ('"6 x 50 mL"', "300"),
    ("[4.2, 4.8]", "4.5"),
    ("[4.2, 4.8]", "[4.2]"),
    ("[4.2, 4.8]", "[4.2, 15]"),
    ("1.01", "0"),
    ("1.01", "-1.01"),
    ('"15 min"', "15"),
    ("[phase.cool-down.percent]", '[phase."cool down".percent]'),
    ("2.50", "-2.50"),
    ("2.50", "100.01"),
    ("2.50", "true"),
    ("2.50", "2026-03-01"),
    ("2.50", "[2.50]"),
    ("2.50", '"two and a half"'),
    ("2.50", '"2.50"'),
    ("2.50", '"q.s."'),
    ("2.50", '"4 x "'),
    ("2.50", '"x rosemary-oil"'),
    ("2.50", '"four x rosemary-oil"'),
    ("2.50", '"4 x Rosemary oil"'),
    ("2.50", '{ note = "no level" }'),
    ("2.50", "{ level = -1 }"),
    ("2.50", '{ level = "open", expect = 101 }'),
    ("2.50", '{ level = "open", expect = "0.4" }'),
    ("2.50", "{ level = 2.50, note = 7 }"),
    ("glycerin      ", '"glycerin.99"'),
    ("glycerin      ", "Glycerin"),
    ("glycerin      ", "a" * 61),
]

GOOD = {
    "formula": PLAN_GOOD,
    "variant": [*PLAN_GOOD, ('plan_id  = "9f2c1e7"\n', ""), ('"set aside"', '"open"'), ('because  = "nobody could tell"\n', "")],
    "formulary": [
        ('["eu", "house"]', '"eu"'),
        ('["eu", "house"]', "[]"),
        (', max = "500 g"', ""),
        ("decimals = 3", "decimals = 0"),
        ("small_below = 25", "small_below = 12.5"),
        ("[0, 1, 7, 30]", "[]"),
        ('name     = "Garden shed studio"', 'motto = "slowly"'),
    ],
    "material": [
        ('["humectant", "soothing agent"]', '"humectant"'),
        ("[0.5, 5.0]", "[5, 5]"),
        ('"balance"', '"unknown"'),
        ('"balance"', "25"),
        ('"balance"', "[20, 25]"),
        ("{ nominal = 75, low = 73, high = 77 }", "{ nominal = 75 }"),
        ("[3.1, 4.8]", "-1.5"),
        ("received = 2026-01-15\n", ""),
        ('"60 °C"', '"140 °F"'),
        ("[4, 7]", "[0, 14]"),
    ],
    "trial": [
        ('scale   = "0.01 g"\n', ""),
        ('seen   = "clear, a little foam"', 'closed = "keep"'),
        ("open = true", "open = false"),
        ("ph     = 4.62", "ph = 7"),
    ],
}
BAD = {
    "formula": PLAN_BAD,
    "variant": [
        *PLAN_BAD,
        ('parent   = "rosemary-rinse.4"\n', ""),
        ('question = "Does less glycerin leave the hair lighter?"\n', ""),
        ('state    = "set aside"\n', ""),
        ('"set aside"', '"shelved"'),
        ("[variant]", "[variants]"),
    ],
    "formulary": [
        ("format   = 1\n", ""),
        ('"EUR"', '"euro"'),
        ('"EUR"', "978"),
        ('"eu", "house"', '"eu", "uk"'),
        ('step = "0.01 g", ', ""),
        ('step = "0.01 g"', "step = 0.01"),
        ("decimals = 3", "decimals = 9"),
        ("decimals = 3", "decimals = 2.5"),
        ("small_below = 25", "small_below = -1"),
        ("[0, 1, 7, 30]", "[0, -1]"),
        ('"neroli-oil"', '"Neroli oil"'),
        ("0.40", "140"),
        ('"leave-on"', '"stay-on"'),
    ],
    "material": [
        ('"Panthenol, 75 % in water"', "75"),
        ('["humectant", "soothing agent"]', "[1, 2]"),
        ("[0.5, 5.0]", "[0.5, 5.0, 7]"),
        ("[0.5, 5.0]", "[0.5, 500]"),
        ("density   = 1.14", "density = 0"),
        ('"non-ionic"', '"neutral"'),
        ("[4, 7]", '["4", "7"]'),
        ('number   = "PA-07"\n', ""),
        ("2026-01-15", "20260115"),
        ("grams    = 180.5", "grams = -1"),
        ('"balance"', '"rest"'),
        ('"balance"', "-25"),
        ('"balance"', "125"),
        ('"balance"', "true"),
        ('"balance"', "[25]"),
        ("nominal = 75, ", ""),
        ("nominal = 75", 'nominal = "75"'),
        ("high = 77", "high = 177"),
    ],
    "trial": [
        ('plan    = "rosemary-rinse.4"\n', ""),
        ('batch   = "150 g"\n', ""),
        ('"150 g"', "150"),
        ("started = 2026-03-01T10:00:00+01:00", "started = 10"),
        ('phase = "A", material = "glycerin"', 'material = "glycerin"'),
        ("percent = 97.5", "percent = 975"),
        ("grams = 146.25", 'grams = "146.25"'),
        ("open = true", "open = 1"),
        ('id      = "k7f3-01"\n', ""),
        ("at      = 2026-03-01T10:22:10+01:00\n", ""),
        ("grams   = 146.31", "grams = 0"),
        ('weighed = "water"', 'weighed = "Water!"'),
        ("day    = 3", "day = -3"),
        ("ph     = 4.62", "ph = 46.2"),
        ('"Glycerin" = 99.5', '"Glycerin" = 995'),
        ('seen   = "clear, a little foam"', 'closed = "bin"'),
    ],
}


def table(documents):
    return [
        pytest.param(kind, old, new, id=f"{kind}: {new or 'without ' + old}"[:70]) for kind in documents for old, new in documents[kind]
    ]


@pytest.mark.parametrize("kind, old, new", table(GOOD))
def test_good_documents_pass_both(kind, old, new):
    text = changed(kind, old, new)
    assert reader_says(kind, text) == []
    assert schema_says(kind, text) == []


@pytest.mark.parametrize("kind, old, new", table(BAD))
def test_faults_of_structure_are_refused_by_both(kind, old, new):
    text = changed(kind, old, new)
    assert reader_says(kind, text)
    assert schema_says(kind, text)


# --- whatever the reader accepts the schema accepts ------------------------------------------------


def toml_value(value) -> str:
    """A value as TOML, tables inline."""
    if isinstance(value, RawFloat):
        return value.text
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_value, value)) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k, ensure_ascii=False)} = {toml_value(v)}" for k, v in value.items()) + "}"
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def toml_document(values: dict) -> str:
    return "".join(f"{json.dumps(k)} = {toml_value(v)}\n" for k, v in values.items())


def spots(value, path=()):
    """The paths of all values inside a document."""
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield (*path, key)
        yield from spots(inner, (*path, key))


NUMBERS = st.sampled_from(
    ["0", "-0.01", "0.005", "1", "4.8", "7.00", "14", "14.1", "50", "99.999", "100", "100.01", "1000000", "1e2", "nan", "inf"]
)
OTHERS = st.one_of(
    NUMBERS.map(lambda t: int(t) if t.isdigit() else RawFloat(t)),
    st.sampled_from([0, 1, 8, 9, -1, 1_000_001]),
    st.booleans(),
    st.sampled_from(
        ["", "balance", "open", "unknown", "EUR", "eu", "4 x water", "200 g", "70 °C", "15 min", "0.01 g", "0.01", "leave-on", "locked"]
    ),
    st.dates(datetime.date(2020, 1, 1), datetime.date(2030, 1, 1)),
    st.datetimes(datetime.datetime(2020, 1, 1), datetime.datetime(2030, 1, 1), timezones=st.just(datetime.UTC)),
    st.lists(st.sampled_from([1, 2, RawFloat("2.5"), "water", "eu", {}]), max_size=3),
    st.sampled_from([{}, {"level": 3}, {"level": "open", "expect": 1}, {"nominal": 50}, {"A": {}}, {"step": "1 g"}]),
)


@st.composite
def mutated(draw, kind: str) -> str:
    """A sample document with some values dropped, replaced or added."""
    values = copy.deepcopy(tomllib.loads(SAMPLES[kind], parse_float=RawFloat))
    for _ in range(draw(st.integers(1, 3))):
        *above, last = draw(st.sampled_from(list(spots(values))))
        holder = values
        for part in above:
            holder = holder[part]
        how = draw(st.sampled_from(["drop", "replace", "replace", "add"]))
        if how == "drop":
            del holder[last]
        elif how == "replace" or isinstance(holder, list):
            holder[last] = copy.deepcopy(draw(OTHERS))
        else:
            holder[draw(st.sampled_from(["note", "expect", "use", "min", "water", "lot", "by"]))] = copy.deepcopy(draw(OTHERS))
        if not list(spots(values)):
            break
    return toml_document(values)


@pytest.mark.parametrize("kind", KINDS)
def test_the_writer_of_these_tests_loses_nothing(kind):
    values = tomllib.loads(SAMPLES[kind], parse_float=RawFloat)
    assert tomllib.loads(toml_document(values), parse_float=RawFloat) == values


@pytest.mark.parametrize("kind", KINDS)
@given(data=st.data())
def test_what_the_reader_accepts_the_schema_accepts(kind, data):
    text = data.draw(mutated(kind))
    if not reader_says(kind, text):
        assert schema_says(kind, text) == []


BLANKS = st.sampled_from(["", " ", "  ", "\t", "\n"])


@st.composite
def cased(draw, word: str) -> str:
    return "".join(draw(st.sampled_from([c.lower(), c.upper()])) + draw(st.sampled_from(["", "", "", " ", ". "])) for c in word)


@st.composite
def level_texts(draw) -> str:
    """A level in words: what the trade writes, with stray spaces, points and capitals."""
    ids = ["water", "neroli-oil", "99-x", "Neroli", "a.b", "7", "-a"]
    one = draw(st.sampled_from(ids))
    many = draw(BLANKS).join(["(", one, "+", draw(st.sampled_from(ids)), ")"])
    of = draw(
        st.one_of(st.just(one), st.just(many), st.sampled_from(["all essential oil", "All oils", "all", "all  x", "ALL\tpreservative"]))
    )
    factor = draw(st.sampled_from(["4", "0.5", "04", "1e1", "0", "-2", "2,5", "", "0.123456789"]))
    ratio = factor + draw(BLANKS) + draw(st.sampled_from(["x", "×", "X", "*"])) + draw(BLANKS) + of
    word = draw(st.sampled_from(["balance", "open", "q.s. to 100", "qs to 100", "qsad100", "q.s.", "q.s. 100"]))
    return draw(BLANKS) + draw(st.one_of(st.just(ratio), st.just(word), cased(word))) + draw(BLANKS)


@given(level_texts())
def test_every_spelling_of_a_level_that_the_reader_accepts_passes_the_schema(words):
    text = changed("formula", "2.50", toml_value(words))
    if not reader_says("formula", text):
        assert schema_says("formula", text) == []
