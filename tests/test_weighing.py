"""Batch sizes, scales, and who takes the rounding remainder of a weigh sheet."""

from fractions import Fraction as F

import pytest

from fvc.batch import batch_grams, parse_batch
from fvc.errors import Refusal
from fvc.files.materials import read_material
from fvc.files.plans import read_plan
from fvc.formula import close
from fvc.reading import Reading, Side
from fvc.scales import COMMON_SCALES, Scale, choose_scale, scale_from_text
from fvc.weighing import weigh_sheet

HUNDREDTH = [Scale(F(1, 100))]

RECORDS = {
    "neroli-oil": 'function = "essential oil"',
    "preservative-blend": 'function = "preservative"',
    "fragrant-preservative": 'function = ["fragrance", "preservative"]',
    "citric-acid-50": 'function = "pH adjuster"\nuse_level = [0.05, 1.0]',
    "polysorbate-20": 'function = "solubiliser"',
}


def reading(lines: str) -> Reading:
    """A plan of one phase, with records for the lines that need one."""
    plan = read_plan(f"format = 1\n[phase.A.percent]\n{lines}\n".encode(), "formulas/toner.toml", "toner").value
    materials = {}
    for id in plan.reached():
        materials[id] = read_material(f"format = 1\n{RECORDS.get(id, '')}\n".encode(), f"materials/{id}.toml", id).value
    closure = close(plan, {id: m.functions for id, m in materials.items()})
    return Reading(plan=plan, closure=closure, materials=materials, side=Side("toner"), faults=closure.faults)


def grams(lines: str, batch: str, scale: str = "0.01 g") -> dict[str, str]:
    """The weigh sheet of a plan on one scale: what is read off, by material."""
    sheet = weigh_sheet(reading(lines), F(batch), [scale_from_text(scale)])
    assert sheet.total == sheet.batch == F(batch)
    return {line.amount.line.material: str(float(line.grams)) for line in sheet.lines}


def taker(lines: str, batch: str, scale: str = "0.01 g") -> str:
    """Which line takes the rest."""
    sheet = weigh_sheet(reading(lines), F(batch), [scale_from_text(scale)])
    assert sheet.total == sheet.batch
    took = [line.amount.line.material for line in sheet.lines if line.takes_rest]
    assert len(took) == 1, took
    assert took[0] in sheet.rule
    return took[0]


# --- batch sizes ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text, grams",
    [
        ("200g", F(200)),
        ("1.5 kg", F(1500)),
        ("5 oz", F("141.747615625")),
        ("1 lb", F("453.59237")),
        ("3 x 50 g", F(150)),
        ("2×1 kg", F(2000)),
    ],
)
def test_a_batch_by_mass(text, grams):
    assert parse_batch(text).grams == grams


@pytest.mark.parametrize(
    "text, millilitres", [("6 x 30 mL", F(180)), ("6x30ml", F(180)), ("6 × 30 mL", F(180)), ("200 mL", F(200)), ("1.5 L", F(1500))]
)
def test_a_batch_by_volume(text, millilitres):
    batch = parse_batch(text)
    assert (batch.grams, batch.millilitres) == (None, millilitres)


@pytest.mark.parametrize("text", ["neroli-oil 3.2g", "neroli-oil  3.2 g"])
def test_a_batch_as_large_as_a_material_allows(text):
    batch = parse_batch(text)
    assert (batch.material, batch.material_grams) == ("neroli-oil", F("3.2"))
    plan = reading('water = "balance"\nneroli-oil = 0.40')
    assert batch_grams(batch, plan, None) == 800


def test_a_material_that_stands_in_the_plan_twice_is_shared_between_its_lines():
    text = b'format = 1\n[phase.A.percent]\nwater = "balance"\nneroli-oil = 0.30\n[phase.B.percent]\nneroli-oil = 0.10\n'
    plan = read_plan(text, "formulas/toner.toml", "toner").value
    twice = Reading(plan=plan, closure=close(plan, {}), materials={}, side=Side("toner"))
    assert batch_grams(parse_batch("neroli-oil 3.2g"), twice, None) == 800


@pytest.mark.parametrize("text", ["", "200", "g", "a lot", "0 g", "-5 g", "1e3 g", "0 x 30 mL", "neroli-oil", "neroli-oil lots", "5 stone"])
def test_what_is_no_batch_size(text):
    with pytest.raises(ValueError, match=r"."):
        parse_batch(text)


def test_a_volume_needs_a_density():
    plan = reading('water = "balance"\nbetaine = 1.5')
    assert batch_grams(parse_batch("6 x 30 mL"), plan, F("1.01")) == F("181.8")
    with pytest.raises(Refusal, match="density") as refused:
        batch_grams(parse_batch("6 x 30 mL"), plan, None)
    assert "--density" in refused.value.faults[0].next


def test_a_material_that_is_not_in_the_plan_gives_no_size():
    with pytest.raises(Refusal, match="sweet-orange-oil is not in toner") as refused:
        batch_grams(parse_batch("sweet-orange-oil 3g"), reading('water = "balance"\nneroli-oil = 0.4'), None)
    assert "water, neroli-oil" in refused.value.faults[0].next


def test_five_ounces_are_rounded_to_the_scale_and_both_figures_are_given(toner):
    sheet = toner.json("weigh", "toner", "--batch", "5 oz", "--scale", "0.01g")
    assert (sheet["asked_batch_g"], sheet["batch_g"], sheet["total_g"]) == ("141.747615625", "141.75", "141.75")


def test_bottles_with_a_density_and_a_bottle_of_oil(toner):
    assert toner.json("weigh", "toner", "--batch", "6 x 30 mL", "--density", "1.01")["batch_g"] == "181.8"
    assert toner.json("weigh", "toner", "--batch", "neroli-oil 3.2g")["batch_g"] == "800"
    assert "density" in toner.refused("weigh", "toner", "--batch", "6 x 30 mL")


# --- scales --------------------------------------------------------------------------------------


@pytest.mark.parametrize("text, step", [("0.01 g", F(1, 100)), ("0.1g", F(1, 10)), ("1", F(1)), ("0.05", F(1, 20)), ("1 mg", F(1, 1000))])
def test_scale_from_text(text, step):
    assert scale_from_text(text).step == step


@pytest.mark.parametrize("text", ["", "0", "0 g", "fine", "0,01 g", "2 kg"])
def test_what_is_no_scale(text):
    with pytest.raises(ValueError, match=r"."):
        scale_from_text(text)


def test_each_line_goes_to_the_finest_scale_that_carries_it():
    fine, coarse = COMMON_SCALES
    assert choose_scale(F(500), COMMON_SCALES) == fine
    assert choose_scale(F("500.01"), COMMON_SCALES) == coarse
    assert choose_scale(F(9000), COMMON_SCALES) == coarse  # nothing carries it: the one that carries most


def test_two_scales_and_each_line_names_its_own():
    sheet = weigh_sheet(reading('water = "balance"\nbetaine = 1.555\npropanediol = 3.00'), F(1000), COMMON_SCALES)
    found = {line.amount.line.material: (line.grams, line.scale.step) for line in sheet.lines}
    # betaine 15.55 and propanediol 30.00 on the fine scale; 954.45 of water reads 954 on the coarse one
    assert found == {"water": (F(954), F(1)), "betaine": (F("15.55"), F(1, 100)), "propanediol": (F(30), F(1, 100))}
    assert (sheet.batch, sheet.total) == (1000, F("999.55"))
    # 0.45 g is left over, less than half a step of the water's scale: nobody takes it, and nobody is said to
    assert sheet.rule == "Lines are rounded half up."


# --- the remainder -------------------------------------------------------------------------------


def test_the_balance_takes_the_rest_though_another_line_is_larger():
    # 3.333 % of 50 g is 1.6665 g, twice: reads 1.67 and 1.67; the balance gives the hundredth back
    lines = 'propanediol = 60\nwater = "balance"\nbetaine = 3.333\nurea = 3.333'
    assert grams(lines, "50") == {"propanediol": "30.0", "water": "16.66", "betaine": "1.67", "urea": "1.67"}
    assert taker(lines, "50") == "water"


def test_the_largest_free_line_takes_what_a_tiny_balance_cannot():
    # 60.01 + 20.01 + 10.01 + 9.98 is a hundredth too much, and the balance of 0.002 g reads 0: it has nothing to give
    lines = 'water = "balance"\npropanediol = 60.006\nbetaine = 20.005\nurea = 10.005\nsorbitol = 9.982'
    assert grams(lines, "100") == {"water": "0.0", "propanediol": "60.0", "betaine": "20.01", "urea": "10.01", "sorbitol": "9.98"}
    assert taker(lines, "100") == "propanediol"


def test_without_a_balance_the_largest_line_without_an_equal_takes_it():
    # 33.335 and 33.335 are equals: moving one of them would print two equal percents as unequal weights
    assert taker("propanediol = 33.335\nglycerin = 33.335\nbetaine = 33.330", "100") == "betaine"


def test_where_every_line_has_an_equal_the_first_of_the_largest_takes_it():
    assert taker("propanediol = 33.335\nglycerin = 33.335\nbetaine = 16.665\nurea = 16.665", "100") == "propanediol"


@pytest.mark.parametrize("protected", ["preservative-blend", "neroli-oil", "fragrant-preservative", "citric-acid-50"])
def test_a_protected_line_never_takes_it_while_another_can(protected):
    assert taker(f"{protected} = 59.995\nbetaine = 25.005\nurea = 15.000", "100") == "betaine"


def test_a_line_held_by_a_ratio_never_takes_it_while_another_can():
    assert taker('polysorbate-20 = "9 x urea"\nurea = 8.885\nbetaine = 11.150', "100") == "betaine"


def test_a_plan_of_protected_lines_alone_still_totals_its_batch():
    assert taker("preservative-blend = 50.005\nneroli-oil = 30.005\ncitric-acid-50 = 19.990", "100") == "preservative-blend"


def test_an_expected_open_line_is_weighed_at_what_is_expected():
    sheet = weigh_sheet(reading('water = "balance"\ncitric-acid-50 = { level = "open", expect = 0.40 }'), F(150), HUNDREDTH)
    assert [line.grams for line in sheet.lines] == [F("149.40"), F("0.60")]


def test_an_open_line_without_expectation_reserves_nothing():
    sheet = weigh_sheet(reading('water = "balance"\ncitric-acid-50 = "open"'), F(150), HUNDREDTH)
    assert [line.grams for line in sheet.lines] == [F(150), None]
    assert sheet.total == 150


def test_more_half_steps_than_any_one_line_can_give_are_shared():
    # ten lines of 0.5 g on a 1 g scale read 1 g each, 10 g in all, and 5 g were asked for
    lines = "\n".join(f"oil-{c} = 10" for c in "abcdefghij")
    sheet = weigh_sheet(reading(lines), F(5), [Scale(F(1))])
    assert sheet.total == sheet.batch == 5
    assert all(line.grams >= 0 for line in sheet.lines)


def test_the_rule_is_said_in_words():
    sheet = weigh_sheet(reading('water = "balance"\nbetaine = 3.333\nurea = 3.333'), F(50), HUNDREDTH)
    assert sheet.rule == "Lines are rounded half up; water, the balance, takes the rest (-0.01 g)."
    exact = weigh_sheet(reading('water = "balance"\nbetaine = 3.30'), F(100), HUNDREDTH)
    assert exact.rule == "Lines are rounded half up."


# --- too small, not makeable ---------------------------------------------------------------------


def line_of(lines: str, batch: str, scale: str, material: str):
    sheet = weigh_sheet(reading(lines), F(batch), [scale_from_text(scale)])
    return next(line for line in sheet.lines if line.amount.line.material == material)


def test_too_small_is_below_twenty_steps_whatever_the_rounding_gave():
    lines = 'water = "balance"\nxanthan-gum = {}'
    exactly = line_of(lines.format("0.20"), "100", "0.01 g", "xanthan-gum")  # 0.20 g: twenty steps
    below = line_of(lines.format("0.199"), "100", "0.01 g", "xanthan-gum")  # 0.199 g reads 0.20 and is still below
    assert (exactly.grams, exactly.too_small) == (F("0.20"), False)
    assert (below.grams, below.too_small) == (F("0.20"), True)


def test_not_makeable_is_what_reads_nothing():
    lines = 'water = "balance"\nxanthan-gum = 0.004'
    nothing = line_of(lines, "100", "0.01 g", "xanthan-gum")
    assert (nothing.grams, nothing.makeable, nothing.too_small) == (0, False, True)
    assert nothing.relative_error == -100
    something = line_of(lines, "125", "0.01 g", "xanthan-gum")  # 0.005 g rounds half up to 0.01
    assert (something.grams, something.makeable) == (F("0.01"), True)


def test_the_batch_and_the_stock_solution_that_would_mend_it():
    line = line_of('water = "balance"\nxanthan-gum = 0.05', "100", "0.01 g", "xanthan-gum")
    assert line.mending_batch == 400  # 20 x 0.01 g / 0.05 %
    strength, stock = line.stock
    assert (strength, stock) == (25, F("0.2"))  # 0.05 g as 0.20 g of a 25 % solution: twenty steps
    assert strength * stock / 100 == line.exact_grams


def test_a_line_at_zero_is_neither_too_small_nor_unmakeable():
    line = line_of('water = "balance"\nxanthan-gum = 0.00', "100", "0.01 g", "xanthan-gum")
    assert (line.grams, line.too_small, line.makeable, line.relative_error) == (0, False, True, None)


def test_a_formulary_says_for_itself_what_is_too_small(toner):
    toner.edit("formulary.toml", "currency", "small_below = 5\ncurrency")
    lines = {line["material"]: line for line in toner.json("weigh", "toner", "--batch", "50 g")["lines"]}
    # 0.09 g of acid is nine steps: too small below twenty, not below five
    assert (lines["lactic-acid-80"]["grams"], lines["lactic-acid-80"]["too_small"]) == ("0.09", False)


def test_a_batch_that_reads_nothing_on_the_scale(toner):
    assert "reads 0 on a scale of 1 g" in toner.refused("weigh", "toner", "--batch", "0.4 g", "--scale", "1g")


def test_a_plan_that_does_not_close_is_not_weighed(toner):
    toner.edit("formulas/toner.toml", 'water = "balance"', "water = 90.00")
    message = toner.refused("weigh", "toner")
    assert "the lines total 99.58, 0.42 short of 100" in message
    assert "formulas/toner.toml" in message


def test_a_line_that_no_scale_carries_is_said(toner):
    toner.edit("formulary.toml", 'scales = [{ step = "0.01 g" }]', 'scales = [{ step = "1 g", max = "5 kg" }]')
    assert "water is more than any scale here carries (5000 g): weigh it in parts." in toner.ok("weigh", "toner", "--batch", "9 kg").out
    assert "weigh it in parts" not in toner.ok("weigh", "toner", "--batch", "5 kg").out


def test_a_ratio_on_an_open_line_waits_for_the_bench(toner):
    toner.edit("formulas/toner.toml", "neroli-oil = 0.40", 'neroli-oil = "open"')
    toner.edit("formulas/toner.toml", "polysorbate-20 = 1.60", 'polysorbate-20 = "4 x neroli-oil"')
    result = toner.ok("weigh", "toner")
    row = next(r for r in result.out.splitlines() if "polysorbate-20" in r)
    assert "0.00" not in row
    assert "4 x neroli-oil, by what neroli-oil came to: ________ g" in result.out
    assert "not counted: neroli-oil, open" in result.out
    assert "counts 0 in the ratio 4 x neroli-oil" in result.err
