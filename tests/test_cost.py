"""What raw materials cost: per kilogram, per batch, per bottle; what has no price is never free."""

from fractions import Fraction as F

import pytest

from fvc.files.materials import price_from_text
from tests.support import Studio

# Worked by hand: 80 % water at 1.00 per kg is 0.80, 15 % glycerin at 8.00 is 1.20, 5 % oil at 40 per
# litre and 0.80 g/mL is 50 per kg, so 2.50. In all 4.50 per kg.
PLAN = {"A": {"water": "balance", "glycerin": "15.00"}, "B": {"sunflower-oil": "5.00"}}


@pytest.fixture
def priced(studio) -> Studio:
    studio.material("water", "solvent", {"Aqua": 100}, 'price = "1.00 / 1 kg"\n')
    studio.material("glycerin", "humectant", {"Glycerin": 100}, 'price = "2.00 / 250 g"\n')
    studio.material("sunflower-oil", "emollient", {"Helianthus Annuus Seed Oil": 100}, 'price = "40 / 1 L"\ndensity = 0.80\n')
    studio.formula("lotion", PLAN, batch="200 g")
    return studio


def test_per_kilogram_per_batch_and_the_share_of_each_line(priced):
    data = priced.json("cost", "lotion")
    assert (data["currency"], data["per_kg"], data["per_batch"], data["batch_g"]) == ("EUR", "4.5", "0.9", "200")
    assert [(x["material"], x["price_per_kg"], x["per_kg"], x["per_batch"]) for x in data["lines"]] == [
        ("water", "1", "0.8", "0.16"),
        ("glycerin", "8", "1.2", "0.24"),
        ("sunflower-oil", "50", "2.5", "0.5"),
    ]
    assert sum(F(x["share_percent"]) for x in data["lines"]) == pytest.approx(100)
    assert data["unpriced"] == []
    assert data["bottles"] is None


def test_another_batch(priced):
    assert priced.json("cost", "lotion", "--batch", "1 kg")["per_batch"] == "4.5"


def test_bottles_with_density_and_loss(priced):
    # 24 x 100 mL at 1.00 g/mL is 2,400 g filled; with 4 % lost 2,500 g are made: 11.25 in all, 0.46875 a bottle
    data = priced.json("cost", "lotion", "--bottles", "24 x 100 mL", "--density", "1.00", "--loss", "4%")
    b = data["bottles"]
    assert (b["batch_needed_g"], b["per_bottle"], b["count"], b["filled_from_batch"]) == ("2500", "0.46875", 24, None)
    assert (data["batch_g"], data["per_batch"]) == ("2500", "11.25")
    screen = priced.ok("cost", "lotion", "--bottles", "24 x 100 mL", "--density", "1.00", "--loss", "4%").out
    screen = " ".join(screen.split())
    assert "per bottle 0.47 EUR (100 mL, 100.00 g at 1 g/mL, 4 % lost in making and filling)" in screen
    assert "for 24 bottles make 2500 g" in screen


def test_bottles_from_a_batch_that_is_named(priced):
    # 1,000 g with 4 % lost fill 960 g: nine bottles of 100 g and a rest
    data = priced.json("cost", "lotion", "--batch", "1kg", "--bottles", "24 x 100 mL", "--density", "1.00", "--loss", "4")
    assert data["bottles"]["filled_from_batch"] == 9
    assert data["per_batch"] == "4.5"


def test_jars_are_filled_by_weight_and_bottles_by_the_fluid_ounce(priced):
    jars = priced.json("cost", "lotion", "--bottles", "10 x 50 g")["bottles"]
    assert (jars["fill_g"], jars["ml"], jars["batch_needed_g"], jars["per_bottle"]) == ("50", None, "500", "0.225")
    # NIST Handbook 44, appendix C: 1 US fluid ounce is 29.5735295625 mL
    assert priced.json("cost", "lotion", "--bottles", "2 x 4 fl oz", "--density", "1")["bottles"]["fill_g"] == "118.29411825"


def test_without_any_price_nothing_is_said_to_cost_nothing(priced):
    for id, function in (("water", "solvent"), ("glycerin", "humectant"), ("sunflower-oil", "emollient")):
        priced.material(id, function, {"Aqua": 100})
    out = priced.ok("cost", "lotion").out
    assert "Not known: no line that has a price costs anything." in out
    assert "per kg" not in out


def test_bottles_take_the_density_of_the_spec(priced):
    priced.edit("formulas/lotion.toml", 'batch = "200 g"\n', 'batch = "200 g"\n[spec]\ndensity = 1.25\n')
    assert priced.json("cost", "lotion", "--bottles", "2 x 100 mL")["bottles"]["batch_needed_g"] == "250"


def test_an_unpriced_line_is_listed_and_never_counted_as_nothing(priced):
    priced.material("glycerin", "humectant", {"Glycerin": 100})
    data = priced.json("cost", "lotion")
    assert (data["per_kg"], data["per_batch"]) == (None, None)
    assert data["priced_per_kg"] == "3.3"
    assert data["unpriced"] == [{"material": "glycerin", "percent": "15", "why": "no price in its record"}]
    assert data["lines"][1]["per_kg"] is None
    screen = priced.ok("cost", "lotion").out
    assert "glycerin, 15.00 %: no price in its record" in screen
    assert "per kg       at least 3.30 EUR" in screen


def test_a_price_by_volume_needs_a_density(priced):
    priced.material("sunflower-oil", "emollient", {"Helianthus Annuus Seed Oil": 100}, 'price = "40 / 1 L"\n')
    (left,) = priced.json("cost", "lotion")["unpriced"]
    assert left["why"] == 'its price is by volume, "40 / 1 L", and its record has no density'


def test_a_price_in_another_currency_is_not_converted_and_not_added(priced):
    priced.material("glycerin", "humectant", {"Glycerin": 100}, 'price = "2.00 USD / 250 g"\n')
    data = priced.json("cost", "lotion")
    assert data["unpriced"][0]["why"] == "its price is in USD and the formulary counts in EUR: enter it in EUR"
    assert data["per_kg"] is None


def test_two_currencies_and_nothing_that_says_which_counts(priced):
    priced.edit("formulary.toml", 'currency = "EUR"\n', "")
    priced.material("glycerin", "humectant", {"Glycerin": 100}, 'price = "2.00 USD / 250 g"\n')
    priced.material("water", "solvent", {"Aqua": 100}, 'price = "EUR 1.00 / 1 kg"\n')
    said = priced.refused("cost", "lotion")
    assert "prices are in EUR and USD, and nothing says which one counts" in said
    assert 'write  currency = "EUR"  in formulary.toml' in said
    priced.material("water", "solvent", {"Aqua": 100}, 'price = "USD 1.00 / 1 kg"\n')
    assert priced.json("cost", "lotion")["currency"] == "USD"


@pytest.mark.parametrize(
    "price, reason",
    [
        ("-2.00 / 250 g", 'the price "-2.00": it is negative'),
        ("2,00 / 250 g", 'write "2.00" with a point'),
        ("2.00", 'write it as "7.90 / 250 g"'),
        ("2.00 EUR USD / 250 g", "with one ISO 4217 code at most"),
        ("2.00 / 0 g", "it must be more than zero"),
        ("2.00 / ", "expected a number with a unit"),
    ],
)
def test_a_price_that_is_none(priced, price, reason):
    priced.material("glycerin", "humectant", {"Glycerin": 100}, f'price = "{price}"\n')
    said = priced.refused("cost", "lotion")
    assert "materials/glycerin.toml:4: price:" in said
    assert reason in said


@pytest.mark.parametrize(
    "text, each, by_volume, currency",
    [
        ("7.90 / 250 g", F("0.0316"), False, ""),
        ("7.90 EUR / 250 g", F("0.0316"), False, "EUR"),
        ("USD 44.50 / 10 mL", F("4.45"), True, "USD"),
        ("0 / 1 kg", F(0), False, ""),
    ],
)
def test_prices(text, each, by_volume, currency):
    price = price_from_text(text)
    assert (price.each, price.by_volume, price.currency) == (each, by_volume, currency)


def test_a_free_material_has_a_price_of_nothing(priced):
    priced.material("water", "solvent", {"Aqua": 100}, 'price = "0 / 1 kg"\n')
    assert priced.json("cost", "lotion")["per_kg"] == "3.7"


def test_a_formula_inside_a_formula_costs_what_is_in_it(priced):
    priced.formula("stock", {"A": {"water": "50", "glycerin": "50"}})  # 4.50 per kg
    priced.formula("outer", {"A": {"water": "balance", "stock": "20"}})  # 0.8 x 1 + 0.2 x 4.5 = 1.7
    data = priced.json("cost", "outer")
    assert data["per_kg"] == "1.7"
    assert [(x["material"], x["line"], x["percent"]) for x in data["lines"]] == [
        ("water", "water", "80"),
        ("water", "stock", "10"),
        ("glycerin", "stock", "10"),
    ]


def test_an_open_line_without_expectation_is_not_free(priced):
    priced.material("citric-acid-50", "pH adjuster", {"Citric Acid": 50, "Aqua": "balance"}, 'price = "8 / 1 kg"\n')
    priced.formula("toner", {"A": {"water": "balance", "citric-acid-50": "open"}})
    (left,) = priced.json("cost", "toner")["unpriced"]
    assert (left["material"], left["why"]) == ("citric-acid-50", "its line is open and says nothing of what to expect")


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["--loss", "2%"], "--loss goes with --bottles"),
        (["--bottles", "24 x 100 mL"], "the density of lotion is not known"),
        (["--bottles", "100 mL", "--density", "1"], "expected a number of bottles and what goes into each"),
        (["--bottles", "24 x 100 pt", "--density", "1"], 'unknown unit "pt"'),
        (["--bottles", "24 x 100 mL", "--density", "0"], "a density of 0 g/mL is no density"),
        (["--bottles", "24 x 100 mL", "--density", "1", "--loss", "100"], "a loss is from 0 to below 100 percent"),
        (["--bottles", "24 x 100 mL", "--density", "1", "--loss", "two"], 'the loss "two" cannot be read'),
    ],
)
def test_calls_that_cannot_be_answered(priced, arguments, words):
    assert words in priced.refused("cost", "lotion", *arguments)


def test_a_plan_that_does_not_close_has_no_cost(priced):
    priced.formula("short", {"A": {"water": "90", "glycerin": "5"}})
    assert "the lines total 95, 5 short of 100" in priced.refused("cost", "short")


def test_the_difference_of_two_plans_shows_what_it_costs(priced):
    priced.ok("revise", "lotion", "--reason", "first")
    priced.ok("set", "lotion", "sunflower-oil=2.00", "--save")
    data = priced.json("diff", "lotion")["cost"]
    # 3 points of oil (50 per kg) become water (1 per kg): 1.47 less
    assert (data["before_per_kg"], data["after_per_kg"], data["currency"]) == ("4.5", "3.03", "EUR")
    assert "raw materials per kg: 4.50 to 3.03 EUR (-1.47)" in priced.ok("diff", "lotion").out
    priced.ok("set", "lotion", "sunflower-oil=5.00", "--save")
    assert priced.json("diff", "lotion")["cost"] is None


def test_a_batch_as_made_pays_for_what_was_put_back_and_what_was_lost(priced):
    """10 g of alcohol at 100 per kg, 8 g of it lost and replaced: 18 g came from the shelf, 1.80; with 90 g of water 0.09."""
    priced.material("alcohol", "solvent", {"Alcohol": 100}, 'price = "100 / 1 kg"\n')
    priced.formula("splash", {"A": {"water": "90", "alcohol": "10"}}, batch="100 g")
    rows = [("weighed", "water", 90), ("weighed", "alcohol", 10), ("lost", "alcohol", 8), ("replaced", "alcohol", 8)]
    text = "".join(
        f'[[entry]]\nid = "{i}"\nat = 2026-03-01T10:0{i}:00Z\n{action} = "{m}"\ngrams = {g}\n' for i, (action, m, g) in enumerate(rows)
    )
    asked = '{ phase = "A", material = "water" }, { phase = "A", material = "alcohol" }'
    priced.write("trials/splash/spl-260301-at-a.toml", f'format = 1\nplan = "splash"\nbatch = "100 g"\nasked = [{asked}]\n{text}')
    data = priced.json("cost", "spl-260301-at-a")
    assert (data["batch_g"], data["per_batch"]) == ("100", "1.89")
    assert data["per_kg"] == "18.9"


def test_a_line_without_a_price_leaves_names_whole(priced):
    """At 80 columns a name of 22 letters has room beside every figure."""
    priced.material("orange-flower-water-bio", "hydrosol", {"Citrus Aurantium Amara Flower Water": 100})
    priced.formula("lotion", {"A": PLAN["A"] | {"orange-flower-water-bio": "20.00"}}, batch="200 g")
    out = priced.ok("cost", "lotion").out
    assert "  orange-flower-water-bio  20.00  no price" in out
    assert "Not priced   so these sums and shares are of the other lines alone" in out
