"""`fvc results`: what was tried and what came of it, whether it was tried before, and what it teaches and does not."""

import datetime
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.amounts import brief
from fvc.compare.lessons import Made, Thing, View, differ, lesson, thing_of
from fvc.files.trials import read_trial
from tests import toner as t
from tests.support import Studio

SPEC = '[spec]\nph = [4.6, 5.2]\nclarity = "clear"\nseparation = "none"\n'
PLAN = {m: F(p) for lines in t.LINES.values() for m, p in lines.items() if p != "balance"}
PHASE = {m: phase for phase, lines in t.LINES.items() for m in lines}


def look(day: int, words: str, **seen: str) -> str:
    """An entry of a look; what was seen as in a file."""
    number = ("ph",)
    return f'seen = "{words}"\nday = {day}\n' + "".join(f"{k} = {v}\n" if k in number else f'{k} = "{v}"\n' for k, v in seen.items())


def batch(
    plan: str,
    made: str,
    *entries: str,
    asked: dict[str, str] | None = None,
    weighed: dict[str, str] | None = None,
    lots: dict[str, str] | None = None,
) -> str:
    """The file of a batch of 100 g, so that grams are percents. asked: levels that differ from toner T; weighed: grams that differ from them."""
    levels = PLAN | {m: F(p) for m, p in (asked or {}).items()}
    levels = {m: p for m, p in levels.items() if p}
    levels = {"water": 100 - sum(levels.values())} | levels
    rows = [
        f'    {{ phase = "{PHASE[m]}", material = "{m}", percent = {brief(p)}, grams = {brief(p)}{", balance = true" if m == "water" else ""} }},'
        for m, p in levels.items()
    ]
    text = (
        f'format = 1\nplan = "{plan}"\nbatch = "100 g"\nscale = "0.01 g"\nstarted = {made}T10:00:00+01:00\nasked = [\n'
        + "\n".join(rows)
        + "\n]\n"
    )
    grams = levels | {m: F(g) for m, g in (weighed or {}).items()}
    all_entries = [
        f'weighed = "{m}"\ngrams = {brief(g)}\n'
        + (f'phase = "{PHASE[m]}"\n' if m in PHASE else "")
        + (f'lot = "{lots[m]}"\n' if lots and m in lots else "")
        for m, g in grams.items()
        if g
    ]
    for index, entry in enumerate([*all_entries, *entries], start=1):
        day = next((int(row[6:]) for row in entry.split("\n") if row.startswith("day = ")), 0)
        at = datetime.date.fromisoformat(made) + datetime.timedelta(days=day)
        text += f'[[entry]]\nid = "e-{index:02}"\nat = {at}T11:00:00+01:00\n{entry}'
    return text


def closed(word: str, because: str) -> str:
    return f'closed = "{word}"\nbecause = "{because}"\nday = 0\n'


@pytest.fixture
def here(prepared, run_in):
    """Toner T with a spec, two revisions, two variants and six batches."""
    return run_in(prepared(_here, run_in))


def _here(folder, run_in) -> None:
    studio = Studio.make(folder)
    t.write(studio)
    studio.edit("formulas/toner.toml", "\n[phase.A]\n", f"\n{SPEC}\n[phase.A]\n")
    fvc = run_in(studio.root)
    fvc("revise", "toner", "--reason", "first plan")
    fvc("set", "toner", "propanediol=2.50", "--reason", "less sticky")
    for id, change in (("dry", "propanediol=1.00"), ("bare", "neroli-oil=none")):
        fvc("variant", "new", "toner", id, "--question", f"Is {id} enough?")
        fvc("set", f"toner/{id}", change, "--save")
        fvc("revise", f"toner/{id}", "--reason", "as kept")
    write(studio)


def write(studio: Studio) -> None:
    """Six batches, of both revisions and of one variant; the last has nothing in it yet, and a seventh file is torn."""
    first = batch(
        "toner.1",
        "2026-03-01",
        look(0, "clear pH 4.90", clarity="clear", ph="4.90"),
        look(8, "slightly hazy, pH 4.62", clarity="slightly hazy", ph="4.62"),
        look(7, "fridge cloudy, ring", clarity="cloudy", separation="ring", condition="fridge"),
        look(8, "slightly hazy, pH 4.82", clarity="slightly hazy", ph="4.82") + 'corrects = "e-11"\n',
        closed("set aside", "cloudy in the fridge"),
    )
    slip = batch("toner.1", "2026-03-04", look(7, "clear pH 4.80", clarity="clear", ph="4.80"), weighed={"propanediol": "4.00"})
    lost = batch(
        "toner.2",
        "2026-03-10",
        'lost = "water"\ngrams = 6.45\n',
        look(3, "colour pale amber", colour="pale amber"),
        asked={"propanediol": "2.5"},
    )
    later = batch(
        "toner.2",
        "2026-03-11",
        look(7, "clear pH 4.40", clarity="clear", ph="4.40"),
        closed("keep", "clear for a week"),
        asked={"propanediol": "2.5"},
        weighed={"betaine": "0"},
    )
    dry = batch("toner/dry.1", "2026-03-12", look(7, "clear pH 4.55", clarity="clear", ph="4.55"), asked={"propanediol": "1.00"})
    begun = batch("toner.1", "2026-03-13", weighed=dict.fromkeys((*PLAN, "water"), "0"))
    for id, text in {"t-f": begun, "t-a": first, "t-b": slip, "t-c": lost, "t-d": later, "t-e": dry}.items():
        studio.write(f"trials/toner/{id}.toml", text)
    studio.write("trials/toner/t-torn.toml", "format = 1\nplan = [\n")


def rows_of(data) -> dict[str, dict]:
    return {row["trial"] or row["plan"]: row for row in data["rows"]}


# --- all of it ---------------------------------------------------------------------------------------

SCREEN = """\
toner   toner: 6 trials and 2 variants

toner.1

  t-a   made 2026-03-01
    made      as asked
    day  where   what was seen           by the spec
      0  room    clear pH 4.90           pass (pH, clarity)
      7  fridge  fridge cloudy, ring     fail: clarity cloudy, asked clear;
                                         separation ring, asked none
      8  room    slightly hazy, pH 4.82  borderline: clarity slightly hazy,
                                         asked clear. pass: pH
    verdict   set aside: cloudy in the fridge

  t-b   made 2026-03-04
    made      propanediol 3.00 asked, 3.9604 made (over)
    day  where  what was seen  by the spec
      7  room   clear pH 4.80  pass (pH, clarity)
    verdict   none yet

  t-f   made 2026-03-13
    made      nothing has been weighed yet in t-f
    seen      nothing yet
    verdict   none yet

toner.2
  differs   from toner.1: propanediol 3.00 to 2.50 (-0.50); water 90.42 to 90.92
            (+0.50, followed)

  t-c   made 2026-03-10
    made      water 90.92 asked, 90.2940 made (6.45 g lost and not put back)
    day  where  what was seen      by the spec
      3  room   colour pale amber  not judged
    verdict   none yet

  t-d   made 2026-03-11
    made      betaine 1.50 asked (not weighed)
    day  where  what was seen  by the spec
      7  room   clear pH 4.40  fail: pH 4.40, asked 4.6 to 5.2. pass: clarity
    verdict   keep: clear for a week

toner/dry.1   open
  asks      Is dry enough?
  differs   from toner.2: propanediol 2.50 to 1.00 (-1.50); water 90.92 to 92.42
            (+1.50, followed)

  t-e   made 2026-03-12
    made      as asked
    day  where  what was seen  by the spec
      7  room   clear pH 4.55  fail: pH 4.55, asked 4.6 to 5.2. pass: clarity
    verdict   none yet

toner/bare   open
  asks      Is bare enough?
  differs   from toner.2: neroli-oil removed, was 0.40; water 90.92 to 91.32
            (+0.40, followed)
  made      not yet, no trial on record
"""


def test_everything_that_was_tried(here):
    result = here("results", "toner")
    assert result.out == SCREEN
    assert "trials/toner/t-torn.toml" in result.err


def test_the_same_as_data(here):
    data = here("results", "toner", "--json").data
    assert (data["schema"], data["formula"], data["trials_looked_at"], data["variants_looked_at"]) == (1, "toner", 6, 2)
    rows = rows_of(data)
    assert [*rows] == ["t-a", "t-b", "t-f", "t-c", "t-d", "t-e", "toner/bare"]
    fridge = rows["t-a"]["looks"][1]
    assert (fridge["day"], fridge["point"], fridge["condition"], fridge["seen"]) == (7, 7, "fridge", "fridge cloudy, ring")
    assert fridge["judged"][0] == {"property": "clarity", "value": "cloudy", "verdict": "fail", "asked": "clear"}
    assert [(k["day"], k["point"]) for k in rows["t-a"]["looks"]] == [(0, 0), (7, 7), (8, 7)]
    assert (rows["t-a"]["verdict"], rows["t-a"]["because"], rows["t-a"]["made_on"]) == ("set aside", "cloudy in the fridge", "2026-03-01")
    slip = {"phase": "A", "material": "propanediol", "before_percent": "3", "after_percent": "3.9603960396", "points": "0.9603960396"}
    assert rows["t-b"]["differs"] == [slip | {"why": "over"}]
    assert rows["t-d"]["differs"][0]["after_percent"] is None
    assert rows["t-d"]["plan_differs_from"] == "toner.1"
    bare = rows["toner/bare"]
    assert (bare["trial"], bare["differs_from"], bare["question"]) == (None, "toner.2", "Is bare enough?")
    assert [(d["material"], d["before_percent"], d["after_percent"], d["points"]) for d in bare["differs"]] == [
        ("neroli-oil", "0.4", None, "-0.4"),
        ("water", "90.92", "91.32", "0.4"),
    ]


def test_a_correction_takes_the_place_of_what_it_corrects(here):
    row = rows_of(here("results", "toner", "--json").data)["t-a"]
    assert "pH 4.62" not in str(row)
    assert "pH 4.82" in str(row)
    assert "Not tried before" in here("results", "--only", "ph = 4.62").out


@pytest.mark.parametrize("columns", [60, 80])
@pytest.mark.parametrize(
    "words", [("toner",), ("--only", "ph > 4"), ("toner", "--learn", "propanediol", "ph"), ("toner", "--learn", "betaine", "ph")]
)
def test_it_stays_within_the_width(here, monkeypatch, columns, words):
    monkeypatch.setenv("COLUMNS", str(columns))
    out = here("results", *words).out
    assert max(map(len, out.splitlines())) <= columns
    if "betaine" not in words:
        assert "3.9604" in out


def test_what_else_a_batch_can_depart_in(toner, run_in):
    plan = dict(t.LINES["C"]) | {"lactic-acid-80": "0.18"}
    more = (
        'added = "lactic-acid-80"\ngrams = 0.10\n',
        'added = "xanthan-gum"\ngrams = 0.20\nphase = "C"\n',
        'combined = "B"\ninto = "A"\n',
        'left = "B"\ngrams = 0.50\n',
        'omitted = "betaine"\n',
    )
    text = batch("toner.1", "2026-03-01", *more, weighed={"betaine": "0"})
    text = text.replace(
        f'material = "lactic-acid-80", percent = {plan["lactic-acid-80"]}', 'material = "lactic-acid-80", open = true, percent = 0.18'
    )
    toner.write("trials/toner/t-a.toml", text)
    out = run_in(toner.root)("results", "toner").out  # 100 - 1.50 + 0.10 + 0.20 - 0.50 = 98.30 g
    folded = " ".join(out.split())
    assert "betaine 1.50 asked (left out)" in folded
    assert "lactic-acid-80 0.18 asked, 0.2848 made (set at the bench)" in folded
    assert "xanthan-gum 0.2035 made (not on the sheet)" in folded
    assert "neroli-oil 0.40 asked, 0.3052 made (0.50 g of phase B left on its beaker)" in folded
    assert "preservative-blend" not in folded


def test_an_unsaved_plan_is_held_against_the_revision_it_came_from(toner, run_in):
    toner.write("trials/toner/t-a.toml", batch("toner.1, changed since", "2026-03-01", asked={"betaine": "2.00"}))
    row = rows_of(run_in(toner.root)("results", "toner", "--json").data)["t-a"]
    assert row["plan_differs_from"] == "toner.1"
    assert [(d["material"], d["points"]) for d in row["plan_differs"]] == [("betaine", "0.5"), ("water", "-0.5")]
    assert row["differs"] == []


def test_without_git_and_without_the_formula(plain_folder, run_in):
    studio = Studio.make(plain_folder / "studio", git=False)
    t.write(studio)
    write(studio)
    fvc = run_in(studio.root)
    assert "no trial on record" not in fvc("results", "toner").out
    assert "t-e" in fvc("results", "toner").out
    (studio.root / "formulas/toner.toml").unlink()
    assert "t-b" in fvc("results", "toner").out


def test_nothing_tried_yet(toner, run_in):
    fvc = run_in(toner.root)
    assert "Nothing was tried of toner yet" in fvc("results", "toner").out
    assert fvc("results", "toner", "--json").data["rows"] == []


# --- has this been tried before? ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("only", "rows"),
    [
        (["propanediol > 3"], ["t-b"]),
        (["propanediol = 3"], ["t-a"]),
        (["propanediol >= 3%"], ["t-a", "t-b"]),
        (["propanediol <= 1"], ["t-e"]),
        (["neroli-oil = 0"], ["toner/bare"]),
        (["propanediol != 3", "propanediol > 2.6"], ["t-b", "t-c"]),
        (["humectant > 5.5"], ["t-a", "t-b", "t-c"]),
        (["Humectant > 5.70"], ["t-b"]),
        (['"Propanediol" > 3.5'], ["t-b"]),
        (["Benzyl Alcohol < 0.5"], []),
        (["clarity = cloudy"], ["t-a"]),
        (["clarity = turbid"], ["t-a"]),
        (["clarity >= slightly hazy"], ["t-a"]),
        (["clarity = hazy"], []),
        (["ph < 4.5"], ["t-d"]),
        (["separation = ring"], ["t-a"]),
        (["colour = amber"], ["t-c"]),
        (["color = AMBER"], ["t-c"]),
        (["verdict = set aside"], ["t-a"]),
        (["verdict = set-aside"], ["t-a"]),
        (["verdict = keep"], ["t-d"]),
        (["condition = fridge"], ["t-a"]),
        (["condition = fridge", "clarity = clear"], []),
        (["condition = room", "clarity = clear", "day = 0"], ["t-a"]),
        (["day < 7", "condition = room"], ["t-a", "t-c"]),
        (["clarity = cloudy", "ph > 4.8"], ["t-a"]),
        (["clarity = cloudy", "verdict = keep"], []),
    ],
)
def test_conditions(here, only, rows):
    options = [word for text in only for word in ("--only", text)]
    assert [*rows_of(here("results", *options, "--json").data)] == rows
    assert [*rows_of(here("results", "toner", *options, "--json").data)] == rows
    out = here("results", *options).out
    assert ("found " in out) == bool(rows)
    said = "Not tried before: of 6 trials and 2 variants of all formulas, none has"
    assert (said in " ".join(out.split())) == (not rows)
    assert ("1 record cannot be read" in out) == (not rows)


def test_what_is_found_is_shown(here):
    assert rows_of(here("results", "--only", "condition = fridge", "--json").data)["t-a"]["found"] == ["day 7, fridge: fridge cloudy, ring"]
    assert "found     propanediol 3.9604 % as made" in here("results", "--only", "propanediol > 3").out
    assert "found     neroli-oil 0.00 % in the plan" in here("results", "--only", "neroli-oil = 0").out


def test_what_cannot_be_told_is_said(studio, run_in):
    t.write(studio, declared=False)
    studio.write("trials/toner/t-a.toml", batch("toner", "2026-03-01"))
    fvc = run_in(studio.root)
    out = fvc("results", "--only", '"Benzyl Alcohol" > 0.5').out
    assert "as far as the records tell" in out
    assert "cannot be told t-a: how much Benzyl Alcohol it holds is not known: 0.00 to 0.90 %" in " ".join(out.split())
    assert fvc("results", "--only", '"Benzyl Alcohol" > 1', "--json").data["undecided"] == []


@pytest.mark.parametrize(
    ("words", "said", "way"),
    [
        (("tonner",), 'no formula "tonner"', "did you mean toner?"),
        ((), "which formula?", "fvc results toner"),
        (("--only", "propandiol > 2"), '"propandiol" is no material', "did you mean propanediol?"),
        (("--only", "humectent > 2"), "no material, function or property", "humectant"),
        (("--only", "clarety = cloudy"), "no material, function or property", "did you mean clarity?"),
        (("--only", "clarity = cludy"), 'no clarity "cludy"', "did you mean cloudy?"),
        (("--only", "verdict = kept"), 'no verdict "kept"', "keep"),
        (("--only", "condition = frigde"), 'no condition "frigde"', "did you mean fridge?"),
        (("--only", '"Propandiol" > 2'), "no material here declares", "Propanediol"),
        (("--only", "propanediol"), "cannot be read", "sodium-pca > 2"),
        (("--only", "propanediol > much"), "not a plain number", "sodium-pca > 2"),
        (("--only", "propanediol > 2,5"), "2.5", "for example"),
        (("--only", "colour > amber"), "colour has no order", "colour = amber"),
        (("--learn", "propandiol", "ph"), 'no material "propandiol"', "did you mean propanediol?"),
        (("--learn", "propanediol", "ph-value"), 'no property "ph-value"', "ph"),
        (("--learn", "propanediol /", "ph"), "cannot be read", "--learn propanediol ph"),
        (("--learn", "betaine / (betaine + water)", "ph"), "twice", "--learn propanediol ph"),
        (("--learn", "propanediol", "ph", "--condition", "frigde"), "no condition", "fridge"),
        (("--learn", "propanediol"), "2 arguments", "usage"),
        (("toner", "--day", "7"), "--day and --condition go with --learn", "day = 7"),
    ],
)
def test_a_wrong_call_says_what_and_what_next(here, words, said, way):
    result = here("results", *words, code=2)
    assert said in result.err
    assert way in result.err


# --- what it teaches ---------------------------------------------------------------------------------


@pytest.fixture
def bench(toner, run_in):
    """Puts batches of toner T into the folder and learns from them."""

    def put(id: str, ph: str = "", day: int = 7, condition: str = "room", **more) -> None:
        looks = [look(day, f"pH {ph}", ph=ph, condition=condition)] if ph else []
        toner.write(f"trials/toner/{id}.toml", batch("toner.1", "2026-03-01", *looks, *more.pop("looks", ()), **more))

    fvc = run_in(toner.root)
    fvc.put = put
    fvc.learn = lambda *words, **options: fvc("results", "toner", "--learn", *words, **options)
    return fvc


def test_two_batches_are_a_pair_and_no_trend(bench):
    bench.put("t-a", "4.90", asked={"propanediol": "2.00"})
    bench.put("t-b", "4.70", asked={"propanediol": "3.00"})
    assert (
        bench.learn("propanediol", "ph").out
        == """\
pH against propanediol   toner; the last look, room

  trial  made %  day  pH
  t-a      2.00    7  4.90
  t-b      3.00    7  4.70

2 trials, 1 pair that differs in this alone.
  t-a and t-b:
    2.00 and 3.00: pH 4.90 and 4.70 (lower)

Too few to say: 2 trials differ in it alone, and 3 are the least.
"""
    )
    data = bench.learn("propanediol", "ph", "--json").data
    assert (data["trend"], data["trials_in_pairs"], len(data["pairs"])) == (None, 2, 1)
    assert data["pairs"][0]["way"] == "lower"


def test_four_that_agree_are_a_trend_and_no_cause(bench):
    for id, level, ph in (("t-a", "2.00", "4.90"), ("t-b", "3.00", "4.80"), ("t-c", "4.00", "4.70"), ("t-d", "5.00", "4.60")):
        bench.put(id, ph, asked={"propanediol": level})
    out = " ".join(bench.learn("propanediol", "ph").out.split())
    assert "4 trials, 6 pairs that differ in this alone." in out
    assert (
        "pH was lower each time propanediol was higher: 4 trials, 6 pairs that differ in it alone. That says nothing of the cause." in out
    )
    assert bench.learn("propanediol", "ph", "--json").data["trend"] == "lower"
    bench.put("t-e", "4.75", asked={"propanediol": "6.00"})  # one that goes the other way
    data = bench.learn("propanediol", "ph", "--json").data
    assert (data["trend"], data["why_none"]) == (
        None,
        "no trend: of 10 pairs that differ in it alone, higher in 2, lower in 8",
    )


def test_a_confounder_is_named_and_takes_no_part(bench):
    bench.put("t-a", "4.90", asked={"propanediol": "2.00"}, lots={"propanediol": "PD-1", "water": "W-1"})
    bench.put("t-b", "4.80", asked={"propanediol": "3.00"}, lots={"propanediol": "PD-2", "water": "W-1"})
    bench.put("t-c", "4.40", asked={"propanediol": "4.00", "lactic-acid-80": "0.30"})
    bench.put("t-d", "4.40", asked={"propanediol": "5.00", "lactic-acid-80": "0.30", "betaine": "2.00", "neroli-oil": "0.10"})
    out = " ".join(bench.learn("propanediol", "ph").out.split())
    assert "4 trials, 1 pair that differs in this alone." in out
    assert "note: lot of propanediol: PD-1 and PD-2" in out
    assert "also differs: lactic-acid-80 0.18 and 0.30 %" in out
    assert "Too few to say: 2 trials differ in it alone" in out
    data = bench.learn("propanediol", "ph", "--json").data
    assert {(p["first"], p["second"]) for p in data["near_pairs"]} == {("t-a", "t-c"), ("t-b", "t-c"), ("t-c", "t-d")}
    assert data["near_pairs"][0]["others"] == [{"what": "lactic-acid-80", "first": "0.18", "second": "0.3"}]


def test_water_that_was_not_put_back_is_one_thing(bench):
    bench.put("t-a", "4.90", asked={"propanediol": "2.00"})
    lost = 'lost = "water"\ngrams = 6.45\n'
    bench.put("t-b", "4.70", asked={"propanediol": "3.00"}, looks=[lost])
    data = bench.learn("propanediol", "ph", "--json").data
    assert [p["others"] for p in data["near_pairs"]] == [[{"what": "all other lines but water", "first": "", "second": "6.8947 % higher"}]]


def test_looks_of_other_days_are_listed_and_make_no_trend(bench):
    for id, level, ph, day in (("t-a", "2.00", "4.90", 7), ("t-b", "3.00", "4.80", 8), ("t-c", "4.00", "4.70", 30)):
        bench.put(id, ph, day, asked={"propanediol": level})
    out = " ".join(bench.learn("propanediol", "ph").out.split())
    assert "note: looked at on day: 8 and 30" in out
    assert "fewer than 3 were looked at on one day of the schedule" in out
    bench.put(
        "t-c",
        "4.70",
        7,
        asked={"propanediol": "4.00"},
        looks=[look(30, "pH 4.20", ph="4.20"), look(7, "pH 4.10", ph="4.10", condition="fridge")],
    )
    assert bench.learn("propanediol", "ph", "--json").data["trend"] is None
    assert bench.learn("propanediol", "ph", "--day", "7", "--json").data["trend"] == "lower"
    fridge = bench.learn("propanediol", "ph", "--condition", "fridge", "--json").data
    assert ([t["seen"] for t in fridge["trials"]], fridge["unseen"]) == (["4.10"], ["t-a", "t-b"])


def test_a_ratio(bench):
    for id, polysorbate, seen in (("t-a", "0.80", "cloudy"), ("t-b", "1.60", "hazy"), ("t-c", "2.40", "clear")):
        bench.put(id, asked={"polysorbate-20": polysorbate}, looks=[look(1, seen, clarity=seen)])
    bench.put("t-d", asked={"polysorbate-20": "1.20", "neroli-oil": "0.30"}, looks=[look(1, "hazy", clarity="hazy")])  # the ratio of t-b
    bench.put("t-e", asked={"polysorbate-20": "0", "neroli-oil": "0"}, looks=[look(1, "clear", clarity="clear")])
    out = " ".join(bench.learn("polysorbate-20 / neroli-oil", "clarity").out.split())
    assert "clarity was clearer each time polysorbate-20 / neroli-oil was higher: 3 trials, 3 pairs" in out
    assert "t-e: there is none of neroli-oil in it" in out
    data = bench.learn("polysorbate-20 / neroli-oil", "clarity", "--json").data
    assert [(t["trial"], t["value"]) for t in data["trials"]] == [("t-a", "2"), ("t-b", "4"), ("t-d", "4"), ("t-c", "6")]
    assert {"what": "neroli-oil", "first": "0.4", "second": "0.3"} in data["near_pairs"][0]["others"]


def test_readings_nearer_than_they_are_sure_are_the_same(bench):
    for id, level, ph in (("t-a", "2.00", "4.80"), ("t-b", "3.00", "4.82"), ("t-c", "4.00", "4.79")):
        bench.put(id, ph, asked={"propanediol": level})
    assert bench.learn("propanediol", "ph", "--json").data["trend"] == "the same"


def test_texts_are_only_listed(bench):
    for id, level, colour in (("t-a", "2.00", "straw"), ("t-b", "3.00", "amber"), ("t-c", "4.00", "brown")):
        bench.put(id, asked={"propanediol": level}, looks=[look(7, f"colour {colour}", colour=colour)])
    out = bench.learn("propanediol", "colour").out
    assert "What was seen has no order, so it is only listed." in out
    assert "colour straw and amber" in out


def test_batches_made_alike_show_the_scatter(bench):
    bench.put("t-a", "4.90")
    bench.put("t-b", "4.70")
    data = bench.learn("propanediol", "ph", "--json").data
    assert [(p["first"], p["second"]) for p in data["alike"]] == [("t-a", "t-b")]
    assert "what they show apart is scatter" in bench.learn("propanediol", "ph").out


def test_a_premix_enters_as_it_was_made(studio, run_in):
    t.write(studio)
    studio.material("citric-acid", "pH adjuster", {"Citric Acid": 100})
    studio.formula("acid-stock", {"A": {"water": "balance", "citric-acid": "50.00"}})
    stock = (
        'format = 1\nplan = "acid-stock"\nbatch = "100 g"\nasked = [{ phase = "A", material = "water", percent = 50, balance = true }]\n'
    )
    for id, grams in (("s-a", "50"), ("s-b", "40")):
        entries = '[[entry]]\nid = "e-1"\nat = 2026-02-01T10:00:00+01:00\nweighed = "water"\ngrams = 50\n'
        entries += f'[[entry]]\nid = "e-2"\nat = 2026-02-01T10:05:00+01:00\nweighed = "citric-acid"\nphase = "A"\ngrams = {grams}\n'
        studio.write(f"trials/acid-stock/{id}.toml", stock + entries)
    for id, level, lot, ph in (("t-a", "2.00", "s-a", "4.60"), ("t-b", "3.00", "s-a", "4.58"), ("t-c", "4.00", "s-b", "4.80")):
        acid = f'weighed = "acid-stock"\ngrams = 0.50\nphase = "C"\nlot = "{lot}"\n'
        studio.write(
            f"trials/toner/{id}.toml", batch("toner", "2026-03-01", acid, look(7, f"pH {ph}", ph=ph), asked={"propanediol": level})
        )
    fvc = run_in(studio.root)
    data = fvc("results", "toner", "--learn", "propanediol", "ph", "--json").data
    assert [(p["first"], p["second"]) for p in data["pairs"]] == [("t-a", "t-b")]
    others = {(p["first"], p["second"]): p["others"] for p in data["near_pairs"]}
    assert {o["what"] for o in others["t-a", "t-c"]} == {"water in acid-stock", "citric-acid in acid-stock"}
    assert {n["what"] for p in data["near_pairs"] for n in p["notes"]} == {"batch of acid-stock"}
    assert [*rows_of(fvc("results", "toner", "--only", "citric-acid > 0.24", "--json").data)] == ["t-a", "t-b"]
    assert [*rows_of(fvc("results", "toner", "--only", "premix > 0.4", "--json").data)] == ["t-a", "t-b", "t-c"]


def test_over_all_formulas_only_those_that_hold_it_speak(bench, toner):
    bench.put("t-a", "4.90", asked={"propanediol": "2.00"})
    toner.formula("other", {"A": {"water": "balance", "betaine": "1.00"}})
    text = batch("other", "2026-03-01", look(7, "pH 5.00", ph="5.00"), asked={"propanediol": "0"})
    toner.write("trials/other/o-a.toml", text)
    assert [t["trial"] for t in bench("results", "--learn", "propanediol", "ph", "--json").data["trials"]] == ["t-a"]
    assert [t["trial"] for t in bench("results", "--learn", "betaine", "ph", "--json").data["trials"]] == ["o-a", "t-a"]


@pytest.mark.parametrize(
    ("text", "thing"),
    [
        ("propanediol", Thing(("propanediol",))),
        ("polysorbate-20/neroli-oil", Thing(("polysorbate-20",), ("neroli-oil",))),
        ("polysorbate-20 / (neroli-oil + sweet-orange-oil)", Thing(("polysorbate-20",), ("neroli-oil", "sweet-orange-oil"))),
        ("(a + b) / c", Thing(("a", "b"), ("c",))),
    ],
)
def test_the_thing(text, thing):
    assert thing_of(text) == thing
    assert thing_of(thing.words) == thing


# --- laws --------------------------------------------------------------------------------------------

levels = st.sampled_from([F(1), F(2), F(3), F(4)])
batches = st.lists(
    st.tuples(levels, st.sampled_from([F(1), F(1), F(1), F(2)]), st.integers(0, 3), st.sampled_from([7, 7, 7, 30])), min_size=0, max_size=7
)


@given(batches)
def test_a_trend_has_three_batches_and_no_counterexample(drawn):
    made = [
        Made(
            id=f"t-{i}",
            lines={"water": 100 - x - other, "x": x, "other": other},
            view=View(str(y), day, day, "room", F(y)),
            balance="water",
        )
        for i, (x, other, y, day) in enumerate(drawn)
    ]
    found = lesson(made, Thing(("x",)))
    alone = [(a, b) for a in drawn for b in drawn if a[0] < b[0] and a[1] == b[1]]
    assert len(found.pairs) == len(alone)
    ways = {"higher": 1, "lower": -1, "the same": 0}
    agreeing = {b[2] - a[2] for a, b in alone}
    levels_by_rest = [{x for x, other, _, day in drawn if (other, day) == key} for key in {(o, d) for _, o, _, d in drawn}]
    enough = any(len(each) >= 3 for each in levels_by_rest)
    one_way = len({(d > 0) - (d < 0) for d in agreeing}) == 1
    assert bool(found.trend) == (enough and one_way)
    if found.trend:
        assert {(d > 0) - (d < 0) for d in agreeing} == {ways[found.trend]}
    assert bool(found.why) != bool(found.trend)


@given(st.fractions(0, 100, max_denominator=1000), st.fractions(0, 100, max_denominator=1000))
def test_two_levels_are_the_same_within_one_percent_of_the_larger(a, b):
    assert differ(a, b) == differ(b, a) == (100 * abs(a - b) > max(a, b))


def test_the_batches_of_these_tests_can_be_read():
    parsed = read_trial(batch("toner.1", "2026-03-01", look(0, "clear", clarity="clear")).encode(), "trials/toner/t.toml", "t", "toner")
    assert parsed.value is not None
    assert sum(line.percent or 0 for line in parsed.value.asked) == 100
