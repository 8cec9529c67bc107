"""From materials to substances: strengths, ranges, what is undeclared, water, and formulas inside formulas."""

from fractions import Fraction as F

import pytest

from fvc.composition import as_material, composition_of, explode, totals_by_function
from fvc.files.materials import read_material
from fvc.files.plans import read_plan
from fvc.formula import close
from fvc.material import NOTHING, Material, Share, active_share
from fvc.reading import Reading, Side


def material(id: str, text: str) -> Material:
    """A material record from its file."""
    parsed = read_material(f"format = 1\n{text}".encode(), f"materials/{id}.toml", id)
    assert parsed.value is not None, parsed.faults
    return parsed.value


def share(nominal, low, high, middle=False) -> Share:
    return Share(None if nominal is None else F(nominal), F(low), F(high), middle)


def exactly(figure) -> Share:
    return share(figure, figure, figure)


# --- one record ----------------------------------------------------------------------------------


def test_the_balance_of_a_composition_is_what_is_left():
    acid = material("citric-acid-50", '[composition]\n"Citric Acid" = 50.0\n"Aqua" = "balance"\n')
    assert acid.composition == {"Citric Acid": exactly(50), "Aqua": exactly(50)}
    assert acid.undeclared == NOTHING


def test_a_bare_range_is_counted_by_its_middle_and_marked_so():
    oil = material("mandarin-oil", '[composition]\n"Citrus Peel Oil" = [60, 65]\n"Tocopherol" = "balance"\n')
    assert oil.composition == {"Citrus Peel Oil": share("62.5", 60, 65, True), "Tocopherol": share("37.5", 35, 40, True)}


def test_a_range_with_a_figure_of_its_own():
    syrup = material("syrup", '[composition]\n"Sodium Lactate" = { nominal = 60, low = 58, high = 62 }\n"Aqua" = "balance"\n')
    assert syrup.composition == {"Sodium Lactate": share(60, 58, 62), "Aqua": share(40, 38, 42)}


def test_half_a_range_with_a_figure_of_its_own():
    syrup = material("syrup", '[composition]\n"Sodium Lactate" = { nominal = 60, high = 62 }\n')
    assert syrup.composition == {"Sodium Lactate": share(60, 60, 62)}
    assert syrup.undeclared == share(40, 38, 40)


def test_an_unknown_share_has_whatever_room_is_left():
    blend = material("blend", '[composition]\n"Benzyl Alcohol" = [30, 40]\n"Tocopherol" = "unknown"\n')
    assert blend.composition == {"Benzyl Alcohol": share(35, 30, 40, True), "Tocopherol": share(None, 0, 70)}


def test_the_rest_of_a_partial_composition_is_undeclared():
    extract = material("extract", '[composition]\n"Camellia Sinensis Leaf Extract" = 1.0\n"Glycerin" = [20, 30]\n')
    assert extract.undeclared == share(74, 69, 79)


def test_figures_that_total_100_declare_everything_though_they_have_ranges():
    blend = material(
        "blend", '[composition]\n"Propanediol" = { nominal = 60, low = 55, high = 62 }\n"Betaine" = { nominal = 40, low = 38, high = 45 }\n'
    )
    assert blend.undeclared == NOTHING


@pytest.mark.parametrize(
    "text, message",
    [
        ('"Propanediol" = 60\n"Betaine" = 40.5\n', "the composition adds up to 100.5 %, 0.5 above 100"),
        ('"Propanediol" = { nominal = 60, low = 50 }\n"Betaine" = { nominal = 45, low = 40 }\n', "adds up to 105 % by its nominal figures"),
        ('"Propanediol" = "balance"\n"Betaine" = "balance"\n', 'two shares are "balance"'),
        ('"Aqua" = 60\n"Water" = 40\n', "are one INCI name"),
        ('"Propanediol" = [65, 60]\n', "low 65 above high 60"),
        ('"Propanediol" = { nominal = 50, low = 55 }\n', "expected low, nominal and high in ascending order"),
        ('"Propanediol" = "some"\n', 'found "some"'),
        ('"Propanediol" = -1\n', "it is negative"),
    ],
)
def test_what_is_no_composition(text, message):
    parsed = read_material(f"format = 1\n[composition]\n{text}".encode(), "materials/blend.toml", "blend")
    assert parsed.value is None
    assert message in parsed.faults[0].message
    assert parsed.faults[0].next
    assert parsed.faults[0].file == "materials/blend.toml"


@pytest.mark.parametrize(
    "text, water",
    [
        ('[composition]\n"Aqua" = 100\n', exactly(100)),
        ('[composition]\n"water" = 100\n', exactly(100)),
        ('[composition]\n"Propanediol" = 100\n', NOTHING),
        ("", share(None, 0, 100)),  # nothing is declared, so anything may be water
        ('[composition]\n"Glycerin" = 40\n', share(None, 0, 60)),  # what is left open may be water
        ('[composition]\n"Glycerin" = [40, 50]\n"Aqua" = "balance"\n', share(55, 50, 60, True)),
        # a hydrosol has one INCI name of its own and is water all the same
        ('[composition]\n"Citrus Flower Water" = 100\n[constituents]\n"Aqua" = [99, 99.9]\n', share("99.45", 99, "99.9", True)),
        ('[constituents]\n"Aqua" = 95\n', exactly(95)),
    ],
)
def test_all_the_water_of_a_material(text, water):
    assert material("x1", text).water == water


@pytest.mark.parametrize(
    "text, active",
    [
        ('[composition]\n"Panthenol" = 75\n"Aqua" = "balance"\n', "75"),
        ('active = ["Citric Acid"]\n[composition]\n"Citric Acid" = 50\n"Glycerin" = 10\n"Aqua" = "balance"\n', "50"),
        ('active = ["Citric Acid", "glycerin"]\n[composition]\n"Citric Acid" = 50\n"Glycerin" = 10\n"Aqua" = "balance"\n', "60"),
        ('[composition]\n"Propanediol" = 100\n', "100"),
        ('[composition]\n"Aqua" = 100\n', "0"),
        ("", None),
        ('[composition]\n"Glycerin" = 40\n', None),  # the rest may be water or not
    ],
)
def test_active_matter(text, active):
    assert active_share(material("x1", text)) == (None if active is None else F(active))


def test_active_matter_must_be_in_the_composition():
    parsed = read_material(b'format = 1\nactive = "Lactic Acid"\n[composition]\n"Citric Acid" = 50\n', "materials/x1.toml", "x1")
    assert '"Lactic Acid" is not in the composition' in parsed.faults[0].message


# --- a whole product -----------------------------------------------------------------------------

RECORDS = {
    "water": material("water", 'function = "solvent"\n[composition]\n"Aqua" = 100\n'),
    "propanediol": material("propanediol", 'function = "humectant"\n[composition]\n"Propanediol" = 100\n'),
    "sodium-lactate-60": material(
        "sodium-lactate-60",
        'function = "humectant"\n[composition]\n"Sodium Lactate" = { nominal = 60, low = 58, high = 62 }\n"Aqua" = "balance"\n',
    ),
    "rose-hydrosol": material(
        "rose-hydrosol", 'function = "hydrosol"\n[composition]\n"Rosa Damascena Flower Water" = 100\n[constituents]\n"Aqua" = [99, 99.9]\n'
    ),
    "extract": material("extract", 'function = "extract"\n[composition]\n"PROPANEDIOL" = 50\n'),
    "mystery": material("mystery", 'function = "extract"\n'),
}


def test_shares_of_one_name_are_summed_over_materials_however_they_are_spelled():
    found = explode([("propanediol", F(3)), ("extract", F(2))], RECORDS)
    assert [(s.inci, s.share, s.sources) for s in found.substances] == [("Propanediol", exactly(4), ("propanediol", "extract"))]
    assert found.undeclared == exactly(1)
    assert found.undeclared_from == ("extract",)


def test_ranges_add_end_by_end():
    found = explode([("water", F(90)), ("sodium-lactate-60", F(10))], RECORDS)
    assert found.share("Sodium Lactate") == share(6, "5.8", "6.2")
    assert found.share("aqua") == share(94, "93.8", "94.2")
    assert found.water == share(94, "93.8", "94.2")


def test_a_hydrosol_counts_as_water_and_is_not_labelled_as_such():
    found = explode([("water", F(50)), ("rose-hydrosol", F(50))], RECORDS)
    assert found.share("Aqua") == exactly(50)
    assert found.share("Rosa Damascena Flower Water") == exactly(50)
    assert found.water == share("99.725", "99.5", "99.95", True)
    assert found.constituents == {"Aqua": share("49.725", "49.5", "49.95", True)}


def test_a_record_without_a_composition_is_undeclared_and_may_be_water():
    found = explode([("water", F(98)), ("mystery", F(2))], RECORDS)
    assert found.undeclared == exactly(2)
    assert found.undeclared_from == ("mystery",)
    assert found.water == share(None, 98, 100)


def test_a_material_without_a_record_is_treated_the_same_way():
    assert explode([("water", F(98)), ("absent", F(2))], RECORDS).water == share(None, 98, 100)


def test_substances_come_in_descending_order():
    found = explode([("propanediol", F(3)), ("water", F(90)), ("sodium-lactate-60", F(7))], RECORDS)
    assert [s.inci for s in found.substances] == ["Aqua", "Sodium Lactate", "Propanediol"]


def reading(lines: str) -> Reading:
    plan = read_plan(f"format = 1\n[phase.A.percent]\n{lines}\n".encode(), "formulas/toner.toml", "toner").value
    functions = {id: RECORDS[id].functions for id in plan.reached()}
    return Reading(plan=plan, closure=close(plan, functions), materials=RECORDS, side=Side("toner"))


def test_an_open_line_counts_at_what_is_expected_of_it():
    found = composition_of(reading('water = "balance"\nsodium-lactate-60 = { level = "open", expect = 2.0 }\nextract = "open"'))
    assert found.share("Sodium Lactate").nominal == F("1.2")
    assert found.undeclared == NOTHING  # the extract counts nothing
    assert found.water.nominal == F("98.8")


def test_totals_by_first_function_in_order_of_appearance():
    found = totals_by_function(reading('water = "balance"\npropanediol = 3\nmystery = 1\nsodium-lactate-60 = 2.5\nextract = 0.5'))
    assert found == {"solvent": 93, "humectant": F("5.5"), "extract": F("1.5")}
    assert list(found) == ["solvent", "humectant", "extract"]


def test_a_nested_formula_hands_on_ranges_water_and_what_it_does_not_declare():
    stock = read_plan(b"format = 1\n[phase.A.percent]\nsodium-lactate-60 = 50\nrose-hydrosol = 40\nmystery = 10\n", "f", "stock").value
    parts = [(line.material, line.level.number.value) for line in stock.lines]
    premix = as_material(stock, parts, RECORDS)
    assert premix.functions == ("premix",)
    nested = explode([("water", F(80)), ("stock", F(20))], RECORDS | {"stock": premix})
    flat = explode([("water", F(80)), *((m, p / 5) for m, p in parts)], RECORDS)
    assert {s.inci: s.share for s in nested.substances} == {s.inci: s.share for s in flat.substances}
    assert (nested.water, nested.constituents, nested.undeclared) == (flat.water, flat.constituents, flat.undeclared)
    assert nested.undeclared_from == ("stock",)


def test_active_matter_goes_through_a_nested_formula():
    stock = read_plan(b"format = 1\n[phase.A.percent]\nsodium-lactate-60 = 50\npropanediol = 10\nwater = 40\n", "f", "stock").value
    premix = as_material(stock, [(line.material, line.level.number.value) for line in stock.lines], RECORDS)
    assert active_share(premix) == 40  # 30 sodium lactate and 10 propanediol


def test_a_formula_as_material_through_the_command_line(studio):
    studio.material("propanediol", "humectant", {"Propanediol": 100})
    studio.material("sodium-lactate-60", "humectant", {"Sodium Lactate": 60, "Aqua": "balance"})
    studio.formula("humectant-stock", {"A": {"sodium-lactate-60": "50", "propanediol": "50"}})
    studio.formula("toner", {"A": {"water": "balance", "humectant-stock": "10.00"}})
    sheet = studio.json("sheet", "toner", "--batch", "200g")
    assert sheet["composition"] == [
        {"inci": "Aqua", "percent": "92", "low": "92", "high": "92"},
        {"inci": "Propanediol", "percent": "5", "low": "5", "high": "5"},
        {"inci": "Sodium Lactate", "percent": "3", "low": "3", "high": "3"},
    ]
    stock = sheet["lines"][1]
    assert (stock["function"], stock["grams"], stock["active_percent"]) == ("premix", "20", "8")


@pytest.mark.parametrize(
    "stock, message",
    [
        ({"A": {"water": "90", "propanediol": "9"}}, "1 short of 100"),
        ({"A": {"water": "balance", "propanediol": '{ level = "open", expect = 5 }'}}, "its line propanediol is open"),
        ({"A": {"water": "balance", "toner": "5"}}, "toner -> stock -> toner"),
    ],
)
def test_a_formula_that_cannot_stand_inside_another(studio, stock, message):
    studio.material("propanediol", "humectant", {"Propanediol": 100})
    studio.formula("stock", stock)
    studio.formula("toner", {"A": {"water": "balance", "stock": "10.00"}})
    assert message in studio.refused("weigh", "toner")


def test_a_formula_inside_itself(studio):
    studio.formula("toner", {"A": {"water": "balance", "toner": "10.00"}})
    assert "toner -> toner" in studio.refused("weigh", "toner")


def test_a_name_that_is_spelled_otherwise_is_one_row_of_a_difference(studio):
    studio.material("preservative-blend", "preservative", {"Sodium Benzoate": 30, "Aqua": "balance"})
    studio.formula("toner", {"A": {"water": "balance", "preservative-blend": "1.0"}})
    studio.ok("revise", "toner", "--reason", "first plan")
    studio.material("preservative-blend", "preservative", {"SODIUM  BENZOATE": 25, "Water": "balance"})
    rows = studio.json("diff", "toner")["composition"]
    assert [(r["inci"], r["before_percent"], r["after_percent"], r["points"]) for r in rows] == [
        ("Aqua", "99.7", "99.75", "0.05"),
        ("SODIUM  BENZOATE", "0.3", "0.25", "-0.05"),
    ]


def test_an_active_named_twice_is_a_fault_and_not_counted_twice():
    text = b'format = 1\nactive = ["Citric Acid", "citric  acid"]\n[composition]\n"Citric Acid" = 50\n"Aqua" = "balance"\n'
    parsed = read_material(text, "materials/cit.toml", "cit")
    assert parsed.value is None
    assert [f.message for f in parsed.faults] == ['"citric  acid" is named twice']
