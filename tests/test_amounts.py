"""Numbers as typed, masses, percents, rounding, and how a plan closes to 100."""

from fractions import Fraction as F

import pytest

from fvc import amounts
from fvc.files.plans import read_plan
from fvc.formula import BALANCE, FIXED, OPEN, RATIO, close, level_number, level_words
from fvc.weighing import grams_to_percent

# --- numbers as typed ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text, value, decimals", [("0", F(0), 0), ("3.00", F(3), 2), ("0.12345678", F(12345678, 10**8), 8), ("100", F(100), 0)]
)
def test_a_number_keeps_its_digits(text, value, decimals):
    typed = amounts.number(text)
    assert (typed.text, typed.value, typed.decimals) == (text, value, decimals)


@pytest.mark.parametrize(
    "text, reason",
    [
        ("-1", "it is negative"),
        ("+1", "it has a sign"),
        ("1e2", "it is in exponent form"),
        ("1.5E-3", "it is in exponent form"),
        ("1_000", "it has an underscore"),
        ("nan", "it is not a finite number"),
        ("-inf", "it is not a finite number"),
        ("2,5", 'write "2.5" with a point'),
        (".5", 'write "0.5"'),
        ("05", "it begins with a zero"),
        ("1.123456789", "it has 9 decimals; at most 8 are kept"),
        ("1234567890123456", "it has too many digits"),
        ("1.", "it is not a plain number"),
        ("", "it is not a plain number"),
        ("two", "it is not a plain number"),
        ("٣", "it is not a plain number"),  # digits, but not those of a formula
    ],
)
def test_what_is_no_number_is_refused_with_the_reason(text, reason):
    with pytest.raises(ValueError, match=r".") as refused:
        amounts.number(text)
    assert reason in str(refused.value)


# --- quantities ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text, grams",
    [
        ("200 g", F(200)),
        ("200g", F(200)),
        (" 1.5 kg ", F(1500)),
        ("500 mg", F(1, 2)),
        ("5 oz", F("141.747615625")),  # International Yard and Pound Agreement 1959: 1 oz = 28.349523125 g
        ("1 lb", F("453.59237")),  # the same agreement
        ("2 KG", F(2000)),
    ],
)
def test_mass(text, grams):
    assert amounts.mass(text) == grams


@pytest.mark.parametrize(
    "text, reason",
    [
        ("200", "a number with a unit"),
        ("200 mL", 'unknown unit "mL"'),
        ("0 g", "more than zero"),
        ("-5 g", "a number with a unit"),
        ("1,5 kg", 'write "1.5" with a point'),
        ("1e3 g", "a number with a unit"),
    ],
)
def test_what_is_no_mass(text, reason):
    with pytest.raises(ValueError, match=r".") as refused:
        amounts.mass(text)
    assert reason in str(refused.value)


def test_volume_and_time():
    assert amounts.volume("30 mL") == 30
    assert amounts.volume("1.5 L") == 1500
    assert amounts.minutes("90 s") == F(3, 2)
    assert amounts.minutes("1 h") == 60


@pytest.mark.parametrize(
    "text, celsius",
    [
        ("70 °C", F(70)),
        ("70 C", F(70)),
        ("104 °F", F(40)),  # °F = 1.8 °C + 32
        ("158°F", F(70)),
        ("-18 °C", F(-18)),
        ("37.5 °C", F(75, 2)),
        ("100 f", F(340, 9)),
    ],
)
def test_temperature(text, celsius):
    assert amounts.celsius(text) == celsius


@pytest.mark.parametrize("text", ["70", "hot", "70 K", "°C", "7o °C"])
def test_what_is_no_temperature(text):
    with pytest.raises(ValueError, match="temperature"):
        amounts.celsius(text)


# --- rounding ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "value, decimals, text",
    [
        ("6.9749515", 6, "6.974952"),  # NIST SP 811 B.7.1 gives 6.974 952: more than half, both rules agree
        ("6.9749505", 6, "6.974951"),  # NIST SP 811 B.7.1 rounds half to even, 6.974 950; ours is half up
        ("0.285", 2, "0.29"),  # computed; a float prints 0.28
        ("2.675", 2, "2.68"),  # computed; a float prints 2.67
        ("-0.285", 2, "-0.29"),
        ("-0.004", 2, "0.00"),  # never -0.00
        ("99.995", 2, "100.00"),
        ("0.5", 0, "1"),
        ("0.05", 3, "0.050"),
    ],
)
def test_fixed_rounds_half_up(value, decimals, text):
    assert amounts.fixed(F(value), decimals) == text


@pytest.mark.parametrize(
    "value, step, result",
    [("0.025", "0.05", "0.05"), ("0.0249", "0.05", "0"), ("2.5", "1", "3"), ("-2.5", "1", "-3"), ("7.31", "0.2", "7.4")],
)
def test_rounding_to_the_steps_of_a_scale(value, step, result):
    assert amounts.round_to(F(value), F(step)) == F(result)


def test_text_of_numbers_that_end_and_that_do_not():
    assert amounts.exact(F(1, 8)) == "0.125"
    assert amounts.exact(F(2, 3)) == "0.6666666667"
    assert amounts.exact(F(1, 10**12)) == "0.000000000001"  # it ends, so it is exact whatever its length
    assert amounts.needed_decimals(F(1, 3)) is None
    assert amounts.needed_decimals(F(3, 40)) == 3
    assert amounts.shown(F(3), 2) == "3.00"
    assert amounts.shown(F(1, 3), 2) == "0.3333"
    assert amounts.brief(F("0.123456"), 2, 4) == "0.1235"


def test_apportion_places_the_rest_on_the_taker_only():
    thirds = [F(100, 3)] * 3
    assert amounts.apportion(thirds, F(1, 100), 1) == [F("33.33"), F("33.34"), F("33.33")]
    assert amounts.apportion(thirds, F(1, 100), None) == [F("33.33")] * 3


def test_equal_weights_stay_equal_even_when_nothing_else_can_take_the_rest():
    assert grams_to_percent([F(1), F(1), F(1)], 2) == [F("33.33")] * 3
    assert grams_to_percent([F(2), F(2), F(3)], 1) == [F("28.6"), F("28.6"), F("42.8")]


# --- levels --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", ["balance", "Balance", "q.s. to 100", "Q.S. to 100", "qs to 100", "q.s. ad 100", "qs ad 100", "q.s. 100", "qs100"]
)
def test_spellings_of_the_balance(text):
    assert level_words(text).kind == BALANCE


@pytest.mark.parametrize("text", ["q.s.", "qs", "Q.S.", "q.s"])
def test_a_bare_qs_is_refused_with_the_two_words_to_choose_from(text):
    with pytest.raises(ValueError, match='"balance"') as refused:
        level_words(text)
    assert '"open"' in str(refused.value)


@pytest.mark.parametrize(
    "text, factor, of, function",
    [
        ("4 x neroli-oil", "4", ("neroli-oil",), ""),
        ("4 × neroli-oil", "4", ("neroli-oil",), ""),
        ("0.5x neroli-oil", "0.5", ("neroli-oil",), ""),
        ("4 x (neroli-oil + sweet-orange-oil)", "4", ("neroli-oil", "sweet-orange-oil"), ""),
        ("4 x ( neroli-oil+sweet-orange-oil )", "4", ("neroli-oil", "sweet-orange-oil"), ""),
        ("4 x (neroli-oil)", "4", ("neroli-oil",), ""),
        ("4 x all essential oil", "4", (), "essential oil"),
        ("1.25 x ALL Essential Oil", "1.25", (), "essential oil"),
    ],
)
def test_ratio_grammar(text, factor, of, function):
    level = level_words(text)
    assert (level.kind, level.number.text, level.of, level.function) == (RATIO, factor, of, function)


@pytest.mark.parametrize(
    "text, reason",
    [
        ("0 x neroli-oil", "a ratio of 0"),
        ("4 x Neroli-Oil", 'write "neroli-oil"'),
        ("4 x (neroli-oil - sweet-orange-oil)", "is not an id"),
        ("4 x neroli-oil + sweet-orange-oil", "is not an id"),
        ("4 x ()", "is not an id"),
        ("-4 x neroli-oil", "it is negative"),
        ("2.5 %", "leave out the % sign"),
        ("2.5", "write the number without quotes: 2.5"),
        ("some", "expected a number from 0 to 100"),
        ("", "expected a number from 0 to 100"),
    ],
)
def test_levels_in_words_that_mean_nothing(text, reason):
    with pytest.raises(ValueError, match=r".") as refused:
        level_words(text)
    assert reason in str(refused.value)


def test_a_fixed_level_reaches_100_and_no_further():
    assert level_number("100.00").kind == FIXED
    assert level_number("0").number.value == 0
    with pytest.raises(ValueError, match="above 100"):
        level_number("100.01")


# --- closing to 100 ------------------------------------------------------------------------------

OILS = {"neroli-oil": ("essential oil",), "sweet-orange-oil": ("essential oil", "fragrance"), "polysorbate-20": ("solubiliser",)}


def closure(lines: str, functions=OILS):
    """A plan of one phase unless the text brings its own headings, closed."""
    if "[phase" not in lines:
        lines = "[phase.A.percent]\n" + lines
    parsed = read_plan(f"format = 1\n{lines}".encode(), "formulas/toner.toml", "toner")
    assert parsed.value is not None, parsed.faults
    return close(parsed.value, functions)


def percents(lines: str, functions=OILS) -> list[str | None]:
    found = closure(lines, functions)
    assert found.closed, found.faults
    assert found.total == 100
    return [a.text for a in found.amounts]


def fault(lines: str, functions=OILS) -> str:
    found = closure(lines, functions)
    assert len(found.faults) == 1, found.faults
    assert found.faults[0].next
    return found.faults[0].message


def test_the_balance_prints_with_the_decimals_of_the_longest_line():
    assert percents('water = "balance"\nbetaine = 1.5\nxanthan-gum = 0.125') == ["98.375", "1.5", "0.125"]


def test_typed_digits_are_the_digits_shown():
    assert percents("water = 97.000\nbetaine = 3.0") == ["97.000", "3.0"]


def test_an_expected_open_line_is_reserved_and_an_unexpected_one_counts_nothing():
    assert percents('water = "balance"\nacid = { level = "open", expect = 0.40 }') == ["99.60", "0.40"]
    assert percents('water = "balance"\nacid = "open"\nbetaine = 1.50') == ["98.50", None, "1.50"]
    assert closure('water = "balance"\nacid = "open"').amounts[1].line.level.kind == OPEN


def test_a_ratio_takes_the_sum_of_a_material_in_all_phases():
    text = """
[phase.A.percent]
water = "balance"
neroli-oil = 0.20
[phase.B.percent]
neroli-oil = 0.15
polysorbate-20 = "4 x neroli-oil"
"""
    assert percents(text) == ["98.25", "0.20", "0.15", "1.40"]


def test_a_ratio_by_function_finds_every_material_of_that_function():
    text = 'water = "balance"\nneroli-oil = 0.20\nsweet-orange-oil = 0.15\npolysorbate-20 = "4 x all essential oil"'
    assert percents(text) == ["98.25", "0.20", "0.15", "1.40"]


def test_a_ratio_may_stand_on_a_ratio_in_any_order():
    text = 'polysorbate-20 = "4 x neroli-oil"\nneroli-oil = "0.5 x sweet-orange-oil"\nsweet-orange-oil = 0.30\nwater = "balance"'
    assert percents(text) == ["0.60", "0.15", "0.30", "98.95"]


def test_a_ratio_shows_every_digit_it_came_to():
    assert percents('water = "balance"\nneroli-oil = 0.15\npolysorbate-20 = "0.333 x neroli-oil"') == ["99.80005", "0.15", "0.04995"]


def test_a_ratio_on_an_open_line_uses_what_is_expected_of_it():
    assert percents('water = "balance"\nacid = { level = "open", expect = 0.4 }\nlye = "0.5 x acid"') == ["99.4", "0.4", "0.2"]


def test_a_ratio_on_itself():
    assert "refers to neroli-oil itself" in fault('water = "balance"\nneroli-oil = "4 x neroli-oil"')
    text = 'water = "balance"\nneroli-oil = 0.2\nsweet-orange-oil = "2 x all essential oil"'
    assert "refers to sweet-orange-oil itself" in fault(text)


def test_a_ring_of_ratios_prints_its_path_once():
    text = 'water = "balance"\na = "2 x b"\nb = "2 x c"\nc = "2 x a"'
    assert "a ring of ratios: a -> b -> c -> a" in fault(text)


def test_a_line_that_leads_into_a_ring_is_not_printed_as_part_of_it():
    text = 'water = "balance"\nlead = "2 x a"\na = "2 x b"\nb = "2 x a"'
    assert "a ring of ratios: a -> b -> a" in fault(text)


def test_a_ratio_on_something_absent_suggests_the_nearest_line():
    found = closure('water = "balance"\nneroli-oil = 0.2\npolysorbate-20 = "4 x neroly-oil"')
    assert "neroly-oil, which is not in this plan" in found.faults[0].message
    assert found.faults[0].next == "did you mean neroli-oil?"


def test_a_ratio_on_a_function_that_no_line_has():
    found = closure('water = "balance"\nneroli-oil = 0.2\npolysorbate-20 = "4 x all essential oils"')
    assert "finds no essential oils in this plan" in found.faults[0].message
    assert found.faults[0].next == "did you mean essential oil?"


def test_a_ratio_on_the_balance():
    assert "a ratio on the balance" in fault('water = "balance"\nbetaine = "0.1 x water"')


def test_a_ratio_that_comes_to_more_than_100():
    messages = [f.message for f in closure('water = "balance"\nneroli-oil = 30\npolysorbate-20 = "4 x neroli-oil"').faults]
    assert any("comes to 120.00 %, above 100" in m for m in messages)


def test_two_balance_lines_are_both_named():
    text = '[phase.A.percent]\nwater = "balance"\n[phase.B.percent]\nbetaine = "balance"'
    assert fault(text) == "two balance lines: A:water, B:betaine"


def test_a_balance_below_zero_says_how_far_and_what_to_take_out():
    found = closure('water = "balance"\nbetaine = 60.00\npropanediol = 40.25')
    assert "the balance water would be -0.25 %, below zero: the other lines total 100.25" in found.faults[0].message
    assert found.faults[0].next == "take 0.25 points or more out of other lines"


def test_a_balance_of_exactly_nothing_closes():
    assert percents('water = "balance"\nbetaine = 60.00\npropanediol = 40.00') == ["0.00", "60.00", "40.00"]


def test_every_structural_fault_is_found_at_once():
    text = 'water = "balance"\na = "2 x a"\nb = "2 x absent"\nbetaine = "0.1 x water"'
    messages = "\n".join(f.message for f in closure(text).faults)
    assert "refers to a itself" in messages
    assert "refers to absent" in messages
    assert "a ratio on the balance" in messages


@pytest.mark.parametrize(
    "lines, message",
    [
        ("water = 95.00\nbetaine = 4.90", "the lines total 99.90, 0.10 short of 100"),
        ("water = 95.00\nbetaine = 5.10", "the lines total 100.10, 0.10 over 100"),
        ("water = 98.6\nbetaine = 0.9\nurea = 0.5", None),
    ],
)
def test_a_total_that_is_not_100_says_by_how_much_and_which_way(lines, message):
    if message is None:
        assert closure(lines).closed
    else:
        assert fault(lines).startswith(message)


@pytest.mark.parametrize(
    "lines, clue",
    [
        # 99.10: the preservative was never counted
        ("water = 96.70\nbetaine = 1.50\npreservative-blend = 0.90", "that is exactly the level of preservative-blend"),
        # 102.50: betaine came in and nothing went out for it
        ("water = 97.50\nglycerin = 2.50\nbetaine = 2.5", "that is exactly the level of glycerin: added without taking it out elsewhere?"),
        # 97.3: 0.3 meant as 3
        ("water = 97.0\nbetaine = 0.3", "betaine at 3 would close it: a slipped point?"),
        # 113.5: 15.0 meant as 1.5
        ("water = 98.5\nbetaine = 15.0", "betaine at 1.5 would close it: a slipped point?"),
    ],
)
def test_the_likely_line(lines, clue):
    assert clue in fault(lines)


def test_no_likely_line_where_nothing_explains_the_gap():
    assert fault("water = 95.00\nbetaine = 4.93") == "the lines total 99.93, 0.07 short of 100"


def test_a_plan_without_lines():
    assert "no lines" in fault("")


def test_a_ratio_names_each_line_once():
    with pytest.raises(ValueError, match="stands twice in the ratio"):
        level_words("4 x (oil + oil)")
