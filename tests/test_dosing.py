"""Readings as anchors, weighed additions as titration points, and doses that never overshoot in a product that the model does not know whole."""

import datetime
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.amounts import number
from fvc.reading import Reading
from fvc.science.dosing import (
    Dose,
    NoDose,
    Question,
    contradiction,
    dose,
    how_many_anchor,
    matched,
    measured,
    portion,
    to_start_from,
    unknown_of,
    usable_points,
)
from fvc.science.metering import Metered, Point, anchor_of, anchored, balance_read, read_ph
from fvc.science.mixture import Mixture, alone
from fvc.science.ph import as_estimate, model
from fvc.seeing import sure_to
from tests.test_ph import product

METER = float(sure_to("meter"))
PLAN = product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.50")
BARE = product("sodium-lactate-60 = 2.00")
BENCH = product("lactic-acid-80 = 1\nlye-25 = 1\nglycerin = 1\ncitric-acid-50 = 1\ntrisodium-citrate-dihydrate = 1\ntea-99 = 1")


def alone_of(id: str) -> Mixture | None:
    return alone(BENCH.materials[id])


def metered(ph: str, of: Reading = PLAN, **more: object) -> Metered:
    """A reading of a batch that was made exactly by a plan."""
    found = model(of)
    given: dict[str, object] = {
        "trial": "t-1", "entry": "t-1-01", "plan": "toner.1", "own": True, "at": datetime.datetime(2026, 3, 1, 10, 0), "day": 0,
        "condition": "room", "value": number(ph), "by": "meter", "dilution": "", "temperature": "", "model": found,
        "model_ph": read_ph(found, str(more.get("dilution", ""))), "grams": Fraction(150),
    }  # fmt: skip
    return Metered(**(given | more))  # type: ignore[arg-type]


def asked(
    target: float, of: Reading = PLAN, material: str = "lactic-acid-80", anchor: Metered | None = None, *, whole: bool = False
) -> Question:
    with_ = alone_of(material)
    mixture = model(of).mixture
    assert with_ is not None
    assert mixture is not None
    return Question(material=material, there=mixture, with_=with_, target=target, anchor=anchor, whole=whole)


def point(before: Metered, after: Metered, grams: str, material: str = "lactic-acid-80") -> Point:
    """A weighed addition to 150 g."""
    return Point("t-1", True, material, Fraction(grams), Fraction(150), before, after)


# --- anchors ----------------------------------------------------------------------------------------


def test_the_estimate_of_a_change_is_the_reading_and_the_move_of_the_model():
    anchor = metered("4.20")
    other = model(product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.80"))
    moved = anchored(other, anchor)
    assert moved.ph == pytest.approx(4.20 + other.ph - anchor.model.ph, abs=1e-9)
    assert moved.estimate.low < moved.estimate.value < moved.estimate.high
    own = anchored(anchor.model, anchor)
    assert own.estimate.value == Fraction("4.20")
    assert own.as_read
    assert (own.down, own.up) == (-METER, METER)
    assert as_estimate(other).value == Fraction(f"{other.ph:.2f}")


def test_a_reading_in_a_dilution_stays_a_reading_in_that_dilution():
    diluted = metered("4.40", dilution="10 % in water")
    assert diluted.model_ph != diluted.model.ph
    other = model(product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.80"))
    assert anchored(other, diluted).ph == pytest.approx(4.40 + read_ph(other, "10 % in water") - diluted.model_ph, abs=1e-9)
    assert metered("4.40", dilution="some water").why_no_anchor == "read in some water, of which there is no model"


def test_which_reading_counts():
    early, late = metered("4.40"), metered("4.42", at=datetime.datetime(2026, 3, 9))
    strip = metered("4.0", at=datetime.datetime(2026, 4, 1), by="strip")
    warm = metered("5.0", at=datetime.datetime(2026, 5, 1), condition="warm")
    other = metered("4.6", at=datetime.datetime(2026, 6, 1), own=False)
    assert anchor_of([early, late, strip, warm, other]) is late
    assert anchor_of([strip, other]) is strip
    assert anchor_of([warm, other]) is other
    assert anchor_of([]) is None


def test_a_model_far_from_the_meter_is_not_moved_by():
    far = metered("6.50")
    other = model(product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.60"))
    assert anchored(other, far) is None
    assert anchored(far.model, far).estimate.value == Fraction("6.50")  # of that batch the reading is what it is


def test_a_batch_that_the_model_declines_still_has_its_reading():
    plain = product("glycerin = 3")
    made = replace(plain, side=plain.side._replace(revision=None))
    read = metered("6.20", of=made)
    assert read.model.declined
    found = anchored(read.model, anchor_of([read]))
    assert (found.as_read, found.estimate.value, found.estimate.declined) == (True, Fraction("6.20"), "")
    assert anchored(model(plain), read) is None or anchored(model(plain), read).model.reading.side.made


def test_where_what_is_not_counted_changed_the_band_says_so():
    little, much = (product(f"sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.50\ngreen-tea = {p}") for p in (2, 6))
    moved = anchored(model(much), metered("4.40", of=little))
    assert "the amount of what is not counted changed (green-tea)" in moved.notes[0]
    assert moved.up > 0.1 + METER
    assert anchored(model(little), metered("4.40", of=little)).notes == ()


# --- the model set to a reading -----------------------------------------------------------------------


@given(
    st.floats(2.5, 9.5), st.sampled_from(["glycerin = 3", "sodium-lactate-60 = 2.00", "sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.50"])
)
def test_the_model_set_to_a_reading_reads_it(ph: float, lines: str):
    mixture = model(product(lines)).mixture
    assert matched(mixture, 1.0, ph).balance().ph == pytest.approx(ph, abs=1e-4)
    assert balance_read(matched(mixture, 0.1, ph), 0.1).ph == pytest.approx(ph, abs=1e-4)


TARGETS = st.floats(3.4, 5.2)


@given(
    TARGETS,
    st.floats(-0.3, 0.3),
    st.sampled_from(["", "citric-acid-50 = 0.20", "trisodium-citrate-dihydrate = 0.30", "tea-99 = 0.10"]),
    st.booleans(),
)
def test_a_first_part_never_overshoots_in_a_product_that_holds_more_than_is_counted(target: float, off: float, hidden: str, two: bool):
    """The truth: a product with something hidden; the model knows it without. What the meter reads of the truth is put down.

    However much acid or base or buffer is hidden, the first part of a dose stays short of the target, or by it within 0.1.
    """
    truth = model(product(f"sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.20\n{hidden}")).mixture
    seen = product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.20")
    read = truth.balance().ph
    anchor = metered(f"{read:.2f}", of=seen)
    if target >= read - 0.1:
        return
    question = asked(target, of=seen, anchor=anchor)
    found = dose(question, (), 2 if two else 0, alone_of)
    if isinstance(found, NoDose):
        return
    after = truth.with_more(question.with_, found.grams * float(found.first)).balance().ph
    assert after >= target - 0.1, (read, after, found)


# --- doses ------------------------------------------------------------------------------------------


def test_a_dose_by_the_model_reaches_its_target():
    question = asked(3.6)
    found = dose(question, (), 0, alone_of)
    assert isinstance(found, Dose)
    assert question.there.with_more(question.with_, found.grams).balance().ph == pytest.approx(3.6, abs=1e-6)
    assert (found.by, found.first, found.anchor) == ("model", Fraction(1, 2), None)


def test_a_dose_starts_where_the_meter_read_it_not_where_the_model_is():
    found = dose(asked(4.40, anchor=metered("4.60")), (), 0, alone_of)
    assert found.start == pytest.approx(4.60, abs=1e-4)
    assert model(PLAN).ph < 4.4  # by the model alone it would be there already
    assert isinstance(dose(asked(4.40), (), 0, alone_of), NoDose)


def test_uncounted_alkali_does_not_drag_the_dose_along():
    """A mist with 8 mmol/kg of base that nobody declared: shifting the model by pH units took twice what was right."""
    seen = product("trisodium-citrate-dihydrate = 0.20\nsodium-benzoate = 0.40\ncitric-acid-50 = 0.26")
    truth = model(product("trisodium-citrate-dihydrate = 0.20\nsodium-benzoate = 0.40\ncitric-acid-50 = 0.26\nlye-25 = 0.12")).mixture
    read = truth.balance().ph
    assert read - model(seen).ph > 0.3
    question = asked(4.8, of=seen, material="citric-acid-50", anchor=metered(f"{read:.2f}", of=seen))
    found = dose(question, (), 2, alone_of)
    assert truth.with_more(question.with_, found.grams).balance().ph == pytest.approx(4.8, abs=0.05)


def test_an_unbuffered_batch_is_dosed_from_its_reading():
    plain = product("glycerin = 3\nsodium-benzoate = 0.40")
    assert model(plain).declined
    read = metered("7.10", of=plain)
    assert to_start_from([read]) is read
    found = dose(asked(4.8, of=plain, material="citric-acid-50", anchor=read), (), 0, alone_of)
    assert found.start == pytest.approx(7.10, abs=1e-3)
    assert not found.unbuffered
    assert dose(asked(4.8, of=plain, material="citric-acid-50"), (), 0, alone_of).unbuffered


def test_what_is_known_by_weight_is_not_worked_out_again():
    """A batch of the plan took 0.50 % lactic acid and read 4.10: for 4.10 an open line needs just that, however far the model is off."""
    read = metered("4.10", of=PLAN)
    found = dose(asked(4.10, of=PLAN, anchor=read), (), 2, alone_of)
    assert isinstance(found, NoDose)  # on top of it: nothing
    question = asked(4.10, of=PLAN, anchor=read, whole=True)
    question = replace(question, there=question.there.with_more(question.with_, -0.50))
    assert dose(question, (), 2, alone_of).grams == pytest.approx(0.50, abs=0.001)


def added(seen: Reading, truth: Mixture, grams: float, more: Reading) -> tuple[Point, Mixture]:
    """What is put down when so many grams of lactic acid go into 100 g of the truth: a point, and the truth afterwards."""
    with_ = alone_of("lactic-acid-80")
    then = truth.with_more(with_, grams)
    before, after = metered(f"{truth.balance().ph:.3f}", of=seen), metered(f"{then.balance().ph:.3f}", of=more)
    return Point("t-1", True, "lactic-acid-80", Fraction(f"{grams * 1.5:.4f}"), Fraction(150), before, after), then


def test_measured_grams_correct_the_model_by_what_buffers_besides():
    """Citrate that nobody declared buffers too: half of it shows in the first addition, and the next dose reaches its target."""
    truth = model(product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.10\ntrisodium-citrate-dihydrate = 0.60")).mixture
    seen = product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.10")
    more = product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.25")
    first, then = added(seen, truth, 0.15, more)
    assert measured(first, alone_of("lactic-acid-80")).hidden > 0.0005  # 5 mmol per kg and pH unit
    target = then.balance().ph - 0.2
    question = asked(target, of=more, anchor=first.after)
    found = dose(question, [first], 2, alone_of)
    assert (found.by, found.first) == ("measured", Fraction(1, 2) if found.wild else Fraction(4, 5))
    assert found.factor > 1.3
    assert then.with_more(question.with_, found.grams).balance().ph == pytest.approx(target, abs=0.06)
    alone_by_model = dose(question, (), 2, alone_of)
    assert abs(then.with_more(question.with_, alone_by_model.grams).balance().ph - target) > 0.06


def test_a_point_of_another_material_corrects_too():
    truth = model(product("sodium-lactate-60 = 2.00\nlactic-acid-80 = 0.10\ntrisodium-citrate-dihydrate = 0.60")).mixture
    seen, more = (product(f"sodium-lactate-60 = 2.00\nlactic-acid-80 = {p}") for p in (0.10, 0.25))
    first, then = added(seen, truth, 0.15, more)
    found = dose(asked(then.balance().ph - 0.2, of=more, material="citric-acid-50", anchor=first.after), [first], 2, alone_of)
    assert found.by == "corrected"


def test_a_base_is_never_stretched_along_a_line_into_water_that_holds_nothing():
    """Lye took a mist from 5.6 to 6.7; to 7.0 it takes next to nothing, and a straight line through the two readings would end at 10."""
    seen, more = (product(f"sodium-lactate-60 = 0.50\nlye-25 = {p}\nlactic-acid-80 = 0.10") for p in (0.10, 0.135))
    truth = model(seen).mixture
    with_ = alone_of("lye-25")
    then = truth.with_more(with_, 0.035)
    addition = Point(
        "t-1", True, "lye-25", Fraction("0.0525"), Fraction(150),
        metered(f"{truth.balance().ph:.2f}", of=seen), metered(f"{then.balance().ph:.2f}", of=more),
    )  # fmt: skip
    found = dose(asked(then.balance().ph + 0.3, of=more, material="lye-25", anchor=addition.after), [addition], 2, alone_of)
    if isinstance(found, Dose):
        assert then.with_more(with_, found.grams).balance().ph < then.balance().ph + 0.6


def test_which_points_count():
    a, b = metered("4.80", of=BARE), metered("4.50")
    assert usable_points([point(a, b, "0.30")])
    for wrong in (
        point(a, metered("4.50", by="strip"), "0.30"),
        point(a, metered("4.50", condition="warm"), "0.30"),
        point(a, metered("4.50", dilution="10 % in water"), "0.30"),
        point(a, metered("4.79"), "0.30"),
        point(a, b, "0.30")._replace(own=False),
    ):
        assert not usable_points([wrong])


def test_a_point_beyond_belief_is_left_alone():
    a, b = metered("4.80", of=BARE), metered("4.60", of=BARE)
    found = dose(asked(4.30, of=BARE, anchor=b), [point(a, b, "30")], 2, alone_of)
    assert (found.by, found.point) == ("model", None)


def test_readings_that_contradict_an_addition_stop_it():
    a = metered("4.20")
    wrong = contradiction([point(a, metered("4.23"), "0.60")], alone_of)
    assert wrong.startswith("0.6 g lactic-acid-80 took it from 4.20 to 4.23, where -0.")
    assert contradiction([point(a, metered("4.10"), "0.60")], alone_of) == ""
    assert contradiction([point(a, metered("4.21"), "0.02")], alone_of) == ""  # too little to tell
    assert contradiction([], alone_of) == ""


def test_how_many_readings_anchor_a_plan():
    one, same_minute = metered("4.30"), metered("4.31")
    later, other_batch = metered("4.33", day=7), metered("4.28", trial="t-2")
    assert how_many_anchor([one, same_minute]) == 1
    assert how_many_anchor([one, later]) == 2
    assert how_many_anchor([one, other_batch]) == 2
    assert how_many_anchor([one, metered("4.9", trial="t-3")]) == 1  # they do not agree
    assert how_many_anchor([one, metered("4.3", trial="t-3", by="strip")]) == 1
    assert how_many_anchor([one, metered("4.3", trial="t-3", own=False)]) == 1


@pytest.mark.parametrize(
    ("material", "target", "why"),
    [
        ("lactic-acid-80", 6.0, "lactic-acid-80 lowers the pH, and it stands at"),
        ("lye-25", 3.0, "lye-25 raises the pH, and it stands at"),
        ("lactic-acid-80", 0.9, "20 g of lactic-acid-80 to 100 g do not bring it from"),
        ("glycerin", 3.0, "fvc knows no acid or base in glycerin"),
        ("trisodium-citrate-dihydrate", 5.7, "at that ionic strength"),
        ("lactic-acid-80", round(model(PLAN).ph, 2), "it stands at"),
    ],
)
def test_no_dose(material: str, target: float, why: str):
    found = dose(asked(target, material=material), (), 0, alone_of)
    assert isinstance(found, NoDose)
    assert why in found.why
    assert found.next


def test_no_dose_where_nothing_holds_the_pH():
    found = dose(asked(5.0, of=product("glycerin = 3")), (), 0, alone_of)
    assert found.why == "nothing holds the pH at 5: unbuffered: carbon dioxide and traces decide"


def test_a_dose_below_twenty_steps_comes_as_a_stock_solution():
    found = dose(asked(model(PLAN).ph - 0.06), (), 0, alone_of)
    question = asked(model(PLAN).ph - 0.06)
    weighed = portion(found, question, Fraction(150), Fraction(1, 100), Fraction(20), ())
    assert weighed.grams < Fraction("0.2")
    assert weighed.stock == 10
    assert abs(weighed.neat - weighed.first) <= Fraction("0.001")
    large = portion(found, question, Fraction(5000), Fraction(1, 100), Fraction(20), ())
    assert (large.stock, large.neat) == (100, large.weighed)
    tiny = portion(found, question, Fraction(1, 2), Fraction(1, 100), Fraction(20), ())
    assert (tiny.stock, tiny.too_small) == (1, True)


def test_a_reading_of_a_model_that_cannot_be_tried_gives_no_charge():
    assert unknown_of(metered("5.0", of=product("sunflower-oil = 99"))) is None
    assert unknown_of(metered("5.0", dilution="some water")) is None


def both(lines: str, hidden: str) -> Reading:
    """A plan with more in it; the same material twice is summed."""
    levels: dict[str, float] = {}
    for row in f"{lines}\n{hidden}".strip().split("\n"):
        id, _, level = row.partition(" = ")
        levels[id] = levels.get(id, 0.0) + float(level)
    return product("\n".join(f"{id} = {level:g}" for id, level in levels.items()))


HIDDEN = [
    "",
    "citric-acid-50 = 0.20",
    "trisodium-citrate-dihydrate = 0.50",
    "tea-99 = 0.20",
    "lye-25 = 0.05",
    "salt = 1.00",
    "cider-vinegar = 2.00",
]
DOWN = [("lactic-acid-80", 4.6), ("citric-acid-50", 4.8), ("citric-acid-50", 5.5), ("lactic-acid-80", 4.0)]
UP = [("lye-25", 5.0), ("tea-99", 5.0), ("lye-25", 6.0), ("trisodium-citrate-dihydrate", 4.5)]
FROM_ABOVE = ["glycerin = 3", "sodium-lactate-60 = 1.50", "trisodium-citrate-dihydrate = 0.30", "sodium-benzoate = 0.40"]
FROM_BELOW = [
    "lactic-acid-80 = 0.50",
    "citric-acid-50 = 1.0",
    "sodium-lactate-60 = 1\nlactic-acid-80 = 1",
    "sodium-benzoate = 0.4\ncitric-acid-50 = 0.5",
]


@given(
    st.sampled_from(HIDDEN),
    st.sampled_from([(lines, aim) for lines in FROM_ABOVE for aim in DOWN] + [(lines, aim) for lines in FROM_BELOW for aim in UP]),
)
def test_a_maker_who_follows_the_doses_gets_there_without_overshooting(hidden: str, case: tuple[str, tuple[str, float]]):
    """A batch with something that nobody declared: read, weigh the first part of the dose, read, and so on; readings to 0.01.

    She never passes the target by more than 0.15, and arrives within ten steps wherever a dose can be given.
    """
    lines, (material, target) = case
    with_ = alone_of(material)
    truth, seen = model(both(lines, hidden)).mixture, model(product(lines)).mixture
    readings: list[Metered] = []
    points: list[Point] = []
    grams = 0.0
    for step in range(11):
        then = replace(model(product(lines)), mixture=seen, balance=seen.balance())
        read = metered(f"{truth.balance().ph:.2f}", model=then, model_ph=seen.balance().ph, grams=Fraction(150 + step))
        if readings:
            points.append(Point("t-1", True, material, Fraction(f"{grams * 1.5:.4f}"), Fraction(150), readings[-1], read))
        readings.append(read)
        path = [r.ph for r in readings]
        assert all((ph - target) * (path[0] - target) > -0.15 * abs(path[0] - target) for ph in path[1:]), path
        question = Question(material=material, there=seen, with_=with_, target=target, anchor=read, whole=False)
        found = dose(question, points, how_many_anchor(readings), alone_of)
        if isinstance(found, NoDose):
            assert step == 0 or abs(read.ph - target) < 0.15 or "nothing holds" in found.why, (found, path)
            return
        grams = float(round(found.grams * float(found.first), 3))
        if grams == 0:
            return
        truth, seen = truth.with_more(with_, grams), seen.with_more(with_, grams)
    raise AssertionError(path)
