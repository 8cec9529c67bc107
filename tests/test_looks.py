"""`fvc trial see` and `fvc trial due`: one line of typing taken apart, held against the spec, kept for good, asked for in time."""

import datetime
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.amounts import number
from fvc.errors import Refusal
from fvc.schedule import DEFAULT_CONDITIONS, DEFAULT_DAYS, Schedule, due, next_look, time_point
from fvc.seeing import BORDERLINE, CLARITY, FAIL, PASS, judged, seen_from, worst
from fvc.trial import Asked, Entry, Seen, Trial

SPEC = {
    "ph": (number("4.6"), number("5.2")),
    "clarity": "clear",
    "separation": "none",
    "viscosity": "1000 to 2000 mPa.s",
    "colour": "pale straw",
}
MARCH = datetime.datetime.fromisoformat("2026-03-01T10:00:00+01:00")


def said(text: str) -> Seen:
    return seen_from(text.split())


# --- one line of typing -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("clear pH 4.82", {"clarity": "clear", "ph": "4.82"}),
        ("CLEAR, ph=4.8", {"clarity": "clear", "ph": "4.8"}),
        ("pH4.8 strip", {"ph": "4.8", "ph_by": "strip"}),
        ("pH 4.82 at 22 °C meter", {"ph": "4.82", "temperature": "22 °C", "ph_by": "meter"}),
        ("pH 4.82 at 72F", {"ph": "4.82", "temperature": "72F"}),
        ("cloudy", {"clarity": "cloudy"}),
        ("a slight haze", {"clarity": "slightly hazy"}),
        ("slightly hazy, ring", {"clarity": "slightly hazy", "separation": "ring"}),
        ("layer 3 mm", {"separation": "layer 3 mm"}),
        ("layer 3mm at the top", {"separation": "layer 3 mm"}),
        ("layer", {"separation": "layer"}),
        ("no separation", {"separation": "none"}),
        ("no ring", {"separation": "none"}),
        ("not clear yet", {}),
        ("never hazy", {}),
        ("fridge crystals", {"condition": "fridge", "separation": "crystals"}),
        ("warm colour amber, odour of hay", {"condition": "warm", "colour": "amber", "odour": "of hay"}),
        ("color pale straw pH 4.7", {"colour": "pale straw", "ph": "4.7"}),
        ("viscosity 1450 mPa.s spindle 3, creaming", {"viscosity": "1450 mPa.s spindle 3", "separation": "creaming"}),
        ("spray fine mist", {"spray": "fine mist"}),
        ("freeze-thaw 3 separated", {"condition": "freeze-thaw 3", "separation": "separated"}),
        ("freeze-thaw cycle 2 clear", {"condition": "freeze-thaw 2", "clarity": "clear"}),
        ("day 7 clear", {"day": 7, "clarity": "clear"}),
        ("not very clear", {}),
        ("no longer clear, pH 4.7", {"ph": "4.7"}),
        ("almost clear, ring", {"separation": "ring"}),
        ("faint ring gone", {}),
        ("separation none", {"separation": "none"}),
        ("pH unchanged", {}),
        ("colour light yellow", {"colour": "light yellow"}),
        ("clear, colour light amber, odour warm honey", {"clarity": "clear", "colour": "light amber", "odour": "warm honey"}),
        ("nothing to report", {}),
        ("smells of nothing", {}),
    ],
)
def test_what_the_words_say(text, found):
    seen = said(text)
    expected = Seen(**{k: number(v) if k == "ph" else v for k, v in found.items()})
    assert seen == expected


@pytest.mark.parametrize("text", ["pH 14.5", "pH -3", "pH 4,82", "pH 4.8.2"])
def test_a_ph_that_is_none(text):
    with pytest.raises(Refusal, match="pH"):
        said(text)


def test_a_condition_that_the_formulary_names():
    assert seen_from(["balcony", "clear"], ["balcony"]).condition == "balcony"
    assert seen_from(["balcony", "clear"]).condition == "room"


@given(
    st.lists(st.sampled_from(["clear", "not", "pH", "4.8", "layer", "3", "mm", "colour", "odour", ",", "day", "7", "fridge", "so-so", "ö"]))
)
def test_any_words_are_taken_apart_or_refused(words):
    try:
        seen = seen_from(words)
    except Refusal:
        return
    assert seen.clarity in ("", *CLARITY)


# --- against the spec -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seen", "verdict"),
    [
        ("pH 4.82", PASS), ("pH 4.6", BORDERLINE), ("pH 4.64", BORDERLINE), ("pH 4.65", PASS), ("pH 4.56", BORDERLINE), ("pH 4.55", FAIL),
        ("pH 5.2", BORDERLINE), ("pH 5.26", FAIL), ("pH 5.4 strip", BORDERLINE), ("pH 5.5 strip", FAIL), ("pH 4.9 strip", PASS),
        ("clear", PASS), ("slightly hazy", BORDERLINE), ("hazy", FAIL), ("opaque", FAIL), ("no separation", PASS), ("ring", FAIL),
        ("viscosity 1450 mPa.s", PASS), ("viscosity 900 mPa.s", FAIL), ("viscosity 900 cP", ""), ("viscosity thick", ""),
        ("colour pale straw", PASS), ("colour amber", ""), ("nothing to report", ""),
    ],
)  # fmt: skip
def test_what_the_spec_says(seen, verdict):
    """A reading as near to a limit as it can be told is borderline: 0.05 for a meter, 0.25 for a strip; common practice, no source."""
    assert worst(judged(said(seen), SPEC)) == verdict


@pytest.mark.parametrize(
    ("spec", "seen", "verdict"),
    [
        ({"separation": "no ring, no layer"}, "ring", FAIL), ({"separation": "no ring, no layer"}, "no separation", PASS),
        ({"separation": "no separation"}, "no separation", PASS), ({"separation": "a little creaming"}, "creaming", PASS),
        ({"separation": "as it should be"}, "ring", ""), ({"clarity": "no haze"}, "clear", PASS), ({"clarity": "no haze"}, "hazy", FAIL),
    ],
)  # fmt: skip
def test_specs_in_plain_words(spec, seen, verdict):
    assert worst(judged(said(seen), spec)) == verdict


def test_a_spec_from_one_clarity_to_another():
    spec = {"clarity": "clear to slightly hazy"}
    assert [worst(judged(Seen(clarity=c), spec)) for c in CLARITY] == [PASS, PASS, BORDERLINE, FAIL, FAIL]
    assert [worst(judged(Seen(clarity=c), {"clarity": "opaque"})) for c in CLARITY] == [FAIL, FAIL, FAIL, BORDERLINE, PASS]
    assert judged(Seen(clarity="clear"), {"clarity": "like rain"}) == ()
    assert judged(said("clear pH 4.82 ring"), {}) == ()


# --- the schedule -----------------------------------------------------------------------------------


def batch(*looks: tuple[int, str], verdict: str = "", conditions: tuple[str, ...] = ()) -> Trial:
    entries = [Entry("a-01", MARCH, "weighed", "water", grams=F(100), phase="A")]
    for day, condition in looks:
        at = MARCH + datetime.timedelta(days=day)
        entries.append(Entry(f"a-{len(entries) + 1:02}", at, "seen", "clear", seen=Seen(condition=condition, day=day)))
    if verdict:
        entries.append(Entry("a-99", MARCH + datetime.timedelta(days=99), "closed", verdict))
    asked = (Asked("A", "water", F(100), F(100)),)
    return Trial(
        id="t",
        plan="toner.1",
        plan_id="",
        batch="100 g",
        scale="0.01 g",
        asked=asked,
        entries=tuple(entries),
        started=MARCH,
        conditions=conditions,
    )


def looks(trial: Trial, day: int, schedule: Schedule = Schedule()) -> list[tuple[str, int, int]]:  # noqa: B008
    return [(each.condition, each.day, each.late) for each in due(trial, schedule, MARCH.date() + datetime.timedelta(days=day))]


def test_a_look_is_due_until_it_was_taken():
    assert (DEFAULT_DAYS, DEFAULT_CONDITIONS) == ((0, 1, 3, 7, 14, 30, 60, 90), ("room", "fridge", "warm"))
    assert looks(batch(), 0) == [("room", 0, 0), ("fridge", 0, 0), ("warm", 0, 0)]
    assert looks(batch((7, "room")), 9) == [("fridge", 7, 2), ("warm", 7, 2)]
    assert looks(batch((8, "room"), (7, "fridge"), (9, "warm")), 13) == []
    assert looks(batch((8, "room"), (7, "fridge"), (9, "warm")), 14) == [("room", 14, 0), ("fridge", 14, 0), ("warm", 14, 0)]
    assert looks(batch(conditions=("fridge",)), 1) == [("fridge", 1, 0)]
    freeze = Schedule((1, 2, 3), ("freeze-thaw",), True)
    assert looks(batch((2, "freeze-thaw 2")), 2, freeze) == []
    assert looks(batch((2, "freeze-thaw 2")), 3, freeze) == [("freeze-thaw", 3, 0)]


def test_a_premix_past_its_last_day_wants_no_look():
    premix = Trial(**(vars(batch()) | {"use_by": MARCH.date() + datetime.timedelta(days=30)}))
    assert looks(premix, 30)
    assert looks(premix, 31) == []


def test_whom_nobody_needs_to_look_at():
    assert all(looks(batch(verdict=v), 30) == [] for v in ("set aside", "repeat", "reject"))
    assert all(looks(batch(verdict=v), 30) for v in ("keep", "choose", "release", "hold"))
    empty = batch()
    assert due(Trial(**(vars(empty) | {"entries": ()})), Schedule(), MARCH.date()) == ()
    assert next_look(batch(), Schedule(), MARCH.date()) == MARCH.date() + datetime.timedelta(days=1)
    assert next_look(batch(), Schedule(), MARCH.date() + datetime.timedelta(days=90)) is None


@given(st.integers(0, 200), st.lists(st.integers(0, 120), min_size=1, max_size=8, unique=True))
def test_a_time_point_is_the_last_one_that_has_come(day, days):
    point = time_point(day, days)
    assert point == max((d for d in days if d <= day), default=None)


# --- the command ------------------------------------------------------------------------------------

ID = "ton-260301-at-a"
RECORD = f"trials/toner/{ID}.toml"


@pytest.fixture
def here(toner, run_in):
    """A batch of toner T made on 1 March 2026, with a spec."""
    toner.edit("formulas/toner.toml", 'batch = "180 g"\n', 'batch = "180 g"\n[spec]\nph = [4.6, 5.2]\nclarity = "clear"\n')
    toner.fvc("revise", "toner", "--reason", "a spec")
    run = run_in(toner.root)
    run("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-01 10:00")
    run("trial", "weighed", "water", "162.76", "--at", "2026-03-01 10:05")
    return run


def test_one_line_of_typing(toner, here):
    result = here("trial", "see", "clear", "pH", "4.82")
    assert "clear pH 4.82 -> pH pass, clarity pass" in result.out
    text = toner.read(RECORD)
    assert 'seen      = "clear pH 4.82"' in text
    assert "ph        = 4.82" in text
    assert toner.git("status", "--porcelain") == ""
    data = here("trial", "see", ID, "fridge", "cloudy,", "ring", "--json").data["look"]
    assert (data["condition"], data["clarity"], data["separation"], data["words"]) == ("fridge", "cloudy", "ring", "fridge cloudy, ring")
    assert data["judged"] == [{"property": "clarity", "value": "cloudy", "verdict": "fail", "asked": "clear"}]


def test_nothing_to_report_is_an_observation(here):
    here("trial", "see", "nothing", "to", "report", "--at", "2026-03-02")
    found = here("trial", "show", ID, "--json").data["looks"]
    assert [(e["day"], e["words"], e["condition"]) for e in found] == [(1, "nothing to report", "room")]


def test_all_that_belongs_to_a_reading(here):
    data = here(
        "trial", "see", "pH 4.9 meter", "--temperature", "22C", "--dilution", "10 % in water", "--calibrated", "2026-03-01",
        "--condition", "freeze-thaw 2", "--by", "Ben Second", "--at", "2026-03-08", "--json",
    ).data["look"]  # fmt: skip
    assert (data["ph"], data["ph_by"], data["temperature"], data["dilution"], data["calibrated"]) == (
        "4.9", "meter", "22C", "10 % in water", "2026-03-01",
    )  # fmt: skip
    assert (data["condition"], data["by"], data["day"]) == ("freeze-thaw 2", "Ben Second", 7)


def test_a_slip_of_the_keyboard_is_pointed_out(here):
    said = " ".join(here("trial", "see", "hazzy no seperation pH 4.9").out.split())
    assert '"hazzy" stays a word; if hazy was meant, say it again with --corrects' in said
    assert '"seperation" stays a word; if separation was meant' in said
    assert "stays a word" not in here("trial", "see", "clear, soft after ten minutes, no tack").out


def test_a_day_in_the_words_is_the_day_of_the_look(here):
    data = here("trial", "see", "day 7 clear", "--json").data["look"]
    assert (data["day"], data["at"][:10]) == (7, "2026-03-08")
    assert "still to come" in here("trial", "see", "day 99999 clear", code=2).err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["clear", "--at", "2026-02-28"], "before the batch was begun"),
        (["clear", "--at", "2199-01-01"], "still to come"),
        (["pH", "46.2"], "cannot be read"),
        (["clear", "--condition", "frigde"], "did you mean fridge?"),
        (["clear", "--temperature", "cold"], "--temperature 22C"),
        (["clear", "--calibrated", "last week"], "--calibrated 2026-03-01"),
        (["clear", "--calibrated", "2199-01-01"], "still to come"),
        ([" "], "what did you see?"),
        (["clear", "--corrects", "nope"], 'has no one entry "nope"'),
        (["clear", "--photo", "not-there.jpg"], "cannot be read"),
    ],
)
def test_what_cannot_be_seen(toner, here, words, said):
    before = toner.read(RECORD)
    assert said in here("trial", "see", *words, code=2).err
    assert toner.read(RECORD) == before


def test_nothing_weighed_is_nothing_to_look_at(toner, here):
    here("trial", "close", "--verdict", "keep", "--because", "x")
    here("trial", "start", "toner")
    assert "nothing was weighed" in here("trial", "see", "clear", code=2).err


def test_a_correction_is_a_new_entry(toner, here):
    here("trial", "see", "clear", "pH", "4.28", "--at", "2026-03-08 09:00")
    before = toner.read(RECORD)
    wrong = here("trial", "show", ID, "--json").data["looks"][0]["id"]
    here("trial", "see", "clear", "pH", "4.82", "--corrects", wrong)
    assert toner.read(RECORD).startswith(before)
    found = here("trial", "show", ID, "--json").data["looks"]
    assert [e["ph"] for e in found] == ["4.82"]


def test_a_correction_keeps_where_it_stood_and_is_no_correction_of_a_weight(here):
    here("trial", "see", "fridge", "cloudy", "pH", "4.7", "--at", "2026-03-08 09:00")
    wrong = here("trial", "show", ID, "--json").data["looks"][0]["id"]
    here("trial", "see", "hazy", "--corrects", wrong)
    assert [(e["condition"], e["clarity"], e["day"]) for e in here("trial", "show", ID, "--json").data["looks"]] == [("fridge", "hazy", 7)]
    weighing = here("trial", "show", ID, "--json").data["entries"][0]["id"]
    assert "is no such entry" in here("trial", "see", "hazy", "--corrects", weighing, code=2).err


def test_a_correction_stands_on_the_day_of_what_it_corrects(here):
    here("trial", "see", "clear", "pH", "4.28", "--at", "2026-03-08 09:00")
    wrong = here("trial", "show", ID, "--json").data["looks"][0]["id"]
    here("trial", "see", "clear", "pH", "4.82", "--corrects", wrong)
    assert [e["day"] for e in here("trial", "show", ID, "--json").data["looks"]] == [7]


# --- photos -----------------------------------------------------------------------------------------

PNG = b"\x89PNG\r\n\x1a\n" + b"\0" * 40


def test_a_photo_is_kept_in_the_formulary(toner, here, tmp_path):
    picture = tmp_path / "look.png"
    picture.write_bytes(PNG)
    data = here("trial", "see", "clear", "--photo", str(picture), "--json").data["look"]
    assert data["photo"] == f"trials/toner/photos/{ID}-1.png"
    assert (toner.root / data["photo"]).read_bytes() == PNG
    assert toner.git("status", "--porcelain") == ""
    assert here("trial", "see", "still clear", "--photo", data["photo"], "--json").data["look"]["photo"] == data["photo"]
    picture.write_bytes(PNG + b"1")
    assert here("trial", "see", "hazy", "--photo", str(picture), "--json").data["look"]["photo"] == f"trials/toner/photos/{ID}-2.png"


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("look.jpg", b"GIF89a", "no picture that fvc knows"),
        ("look.png", b"", "no picture that fvc knows"),
        ("look.png", b"<svg/>", "no picture that fvc knows"),
        ("huge.jpg", None, "200 MB; at most 10"),
    ],
)
def test_a_photo_that_is_none_or_too_large(toner, here, tmp_path, name, data, said):
    picture = tmp_path / name
    if data is None:
        with picture.open("wb") as file:
            file.write(b"\xff\xd8\xff")
            file.truncate(200_000_000)
    else:
        picture.write_bytes(data)
    before = toner.read(RECORD)
    assert said in here("trial", "see", "clear", "--photo", str(picture), code=2).err
    assert toner.read(RECORD) == before
    assert not (toner.root / "trials/toner/photos").exists()


def test_a_folder_is_no_photo(here, tmp_path):
    assert "next:" in here("trial", "see", "clear", "--photo", str(tmp_path), code=2).err


# --- what is due ------------------------------------------------------------------------------------


def test_what_wants_a_look_stands_on_todays_page_too(toner, here):
    for material, grams in (
        ("prop", "5.4"),
        ("betaine", "2.7"),
        ("panthenol", "2.16"),
        ("rice", "1.44"),
        ("poly", "2.88"),
        ("neroli", ".72"),
    ):
        here("trial", "weighed", material, grams.replace(".72", "0.72"))
    assert here("trial", "due", "--json").data["due"] == []  # still at the bench
    for material, grams in (("preserv", "1.62"), ("lactic", "0.32")):
        here("trial", "weighed", material, grams)
    found = here("trial", "due", "--json").data
    assert found["schedule"] == {"days": [0, 1, 3, 7, 14, 30, 60, 90], "conditions": ["room", "fridge", "warm"], "named": False}
    assert [(d["trial"], d["condition"], d["day"], d["since"]) for d in found["due"]] == [
        (ID, c, 90, "2026-05-30") for c in ("room", "fridge", "warm")
    ]
    assert "formulary.toml names no schedule" in here("trial", "due").out
    assert "To look at today" in here().out
    assert [d["condition"] for d in here("--json").data["due"]] == ["room", "fridge", "warm"]
    with (toner.root / "formulary.toml").open("a") as file:
        file.write("[observe]\ndays = [0, 60]\nconditions = ['balcony']\n")
    assert [(d["condition"], d["day"]) for d in here("trial", "due", "--json").data["due"]] == [("balcony", 60)]
    here("trial", "see", "balcony clear")
    assert here("trial", "due", "--json").data["due"] == []
    assert "Nothing wants a look today" in here("trial", "due").out


def test_the_longest_overdue_stands_first(toner, here):
    here("trial", "close", "--verdict", "set-aside", "--because", "x")
    for day in ("2026-06-10", "2026-06-01", "2026-06-20"):
        id = here("trial", "start", "toner", "--at", f"{day} 10:00", "--json").data["id"]
        here("trial", "weighed", id, "water", "162.76", "--at", f"{day} 10:01")
        for material in ("prop", "betaine", "panthenol", "rice", "poly", "neroli", "preserv", "lactic"):
            here("trial", "omitted", id, material, "--at", f"{day} 10:02")
    order = list(dict.fromkeys(d["trial"] for d in here("trial", "due", "--json").data["due"]))
    assert order == ["ton-260601-at-a", "ton-260610-at-a", "ton-260620-at-a"]
