"""Raw materials: the list with its use, one record in full, the reach of a change, and lots on the weigh sheet."""

import datetime
from fractions import Fraction as F

import pytest

from fvc.material import Lot, Material
from fvc.shelf import offer, usable
from tests.support import Studio

TODAY = datetime.date(2026, 3, 1)


@pytest.fixture
def shop(studio) -> Studio:
    """Two plans, a stock solution in one of them, saved on known days."""
    studio.material("glycerin", "humectant", {"Glycerin": 99.5, "Aqua": "balance"})
    studio.material("lactate", "humectant", {"Sodium Lactate": 60, "Aqua": "balance"}, 'active = ["Sodium Lactate"]\n')
    studio.material("sorbate", "preservative", {"Potassium Sorbate": 100})
    studio.material("betaine", "humectant", {"Betaine": 100})
    studio.formula("stock", {"A": {"water": "80", "sorbate": "20"}}, revision=1)
    studio.formula("toner", {"A": {"water": "balance", "glycerin": "3.00", "lactate": "2.00"}, "B": {"stock": "2.00"}}, revision=1)
    studio.formula("gel", {"A": {"water": "balance", "glycerin": "5.00"}}, revision=1)
    studio.save_as("Ada", "2026-01-10", ".", message="start")
    studio.formula("gel", {"A": {"water": "balance", "betaine": "5.00"}}, revision=2)
    studio.save_as("Ada", "2026-02-10", ".", message="gel 2: betaine instead")
    return studio


def test_the_list_tells_which_plans_and_revisions_use_each(shop):
    uses = {m["material"]: m["uses"] for m in shop.json("material")["materials"]}
    assert uses["glycerin"] == [
        {"plan": "gel", "in_folder": False, "through": [], "revisions": [1]},
        {"plan": "toner", "in_folder": True, "through": [], "revisions": [1]},
    ]
    assert uses["betaine"] == [{"plan": "gel", "in_folder": True, "through": [], "revisions": [2]}]
    assert uses["sorbate"] == [
        {"plan": "stock", "in_folder": True, "through": [], "revisions": [1]},
        {"plan": "toner", "in_folder": True, "through": ["stock"], "revisions": []},
    ]
    screen = shop.ok("material", "list").out
    assert screen == shop.ok("material").out
    assert "      gel 1, not now; toner 1\n" in screen
    assert "      stock 1; toner (through stock)\n" in screen


def test_a_material_that_no_plan_uses_and_one_that_cannot_be_read(shop):
    shop.material("spare", "humectant", {"Urea": 100})
    shop.write("materials/broken.toml", "format = 1\nfunction = 3\n")
    result = shop.ok("material")
    assert "no plan uses it" in result.out
    assert "materials/broken.toml:2: function:" in result.err
    assert "broken" not in result.out


def test_one_material_in_full(shop):
    out = shop.ok("material", "show", "lactate").out
    assert "active matter 60.00 %" in out
    assert "water in all  40.00 %" in out
    assert "Sodium Lactate  60.00" in out
    assert "  toner 1\n" in out
    data = shop.json("material", "show", "lactate")
    assert (data["active_percent"], data["water"]["percent"], data["price"]) == ("60", "40", None)


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["show", "lactat"], "did you mean lactate?"),
        (["show", "toner"], "toner is a formula, not a raw material"),
        (["show"], "which material?"),
        (["reac", "lactate"], "fvc material reach lactate"),
        (["reach", "lactate", "--since", "yesterday"], '"yesterday" is neither a day nor a commit'),
        (["reach", "lactate", "--since", "2026-02-31"], "there is no day 2026-02-31"),
        (["reach", "lactate", "--since", "2025-12-31"], "nothing was saved by 2025-12-31"),
        (["reach", "lactate", "--since", "0123456789"], "no commit begins with 0123456789"),
        (["show", "lactate", "--since", "2026-01-10"], "--since goes with reach"),
        (["list", "lactate"], "list takes no name"),
    ],
)
def test_calls_that_cannot_be_answered(shop, arguments, words):
    assert words in shop.refused("material", *arguments)


def test_the_reach_of_a_change_is_the_record_alone(shop):
    """A supplier went from 60 to 58 %: no level moved, and every plan with it has another product."""
    commit = shop.git("rev-parse", "HEAD").strip()
    shop.edit("materials/lactate.toml", '"Sodium Lactate" = 60', '"Sodium Lactate" = 58')
    shop.edit("formulas/toner.toml", "glycerin = 3.00", "glycerin = 4.00")  # a change of the plan is not part of the reach
    for since in ([], ["--since", "2026-02-10"], ["--since", commit[:9]], ["--since", "2026-01-15"]):
        data = shop.json("material", "reach", "lactate", *since)
        assert data["changes"] == [{"material": "lactate", "field": "composition.Sodium Lactate", "before": "60", "after": "58"}]
        (plan,) = data["plans"]
        moved = {c["inci"]: (c["before_percent"], c["after_percent"]) for c in plan["composition"] if c["points"] != "0"}
        # 2 % of the solution: 1.20 to 1.16; water from 93.0 + 0.8 + 1.6 (stock) less 1 point of glycerin's own balance
        assert plan["plan"] == "toner"
        assert moved["Sodium Lactate"] == ("1.2", "1.16")
        assert F(moved["Aqua"][1]) - F(moved["Aqua"][0]) == F("0.04")
        assert set(moved) == {"Sodium Lactate", "Aqua"}
    screen = shop.ok("material", "reach", "lactate").out
    assert "lactate: composition.Sodium Lactate 60 to 58" in screen
    assert "lactate at 2.00 %" in screen


def test_the_reach_goes_through_formulas(shop):
    shop.edit("materials/sorbate.toml", '"Potassium Sorbate" = 100', '"Potassium Sorbate" = 99\n"Aqua" = "balance"')
    plans = {p["plan"]: p for p in shop.json("material", "reach", "sorbate")["plans"]}
    assert set(plans) == {"stock", "toner"}
    (moved,) = (c for c in plans["toner"]["composition"] if c["inci"] == "Potassium Sorbate")
    assert (moved["before_percent"], moved["after_percent"]) == ("0.4", "0.396")


def test_a_record_that_did_not_change_reaches_nothing(shop):
    out = shop.ok("material", "reach", "lactate", "--since", "2026-01-10").out
    assert "The record is the same, so nothing changed in any plan by it." in out


def test_a_record_that_came_later(shop):
    shop.material("urea", "humectant", {"Urea": 100})
    shop.save_as("Ada", "2026-03-10", ".", message="urea")
    assert "urea had no record by then" in shop.refused("material", "reach", "urea", "--since", "2026-02-10")


# --- lots ----------------------------------------------------------------------------------------


def material(*lots: Lot) -> Material:
    return Material(id="glycerin", name="Glycerin", lots=lots)


OLD = Lot("G-1", datetime.date(2025, 1, 5), datetime.date(2026, 2, 28), F(50))
FIRST = Lot("G-2", datetime.date(2026, 2, 1), datetime.date(2026, 6, 30), F(30))
SECOND = Lot("G-3", datetime.date(2025, 9, 1), datetime.date(2027, 1, 31), F(200))
OPEN_ENDED = Lot("G-4", datetime.date(2025, 1, 1))
EMPTY = Lot("G-5", None, datetime.date(2026, 4, 1), F(0))


def test_the_lot_that_must_be_used_first_is_the_one_that_spoils_first():
    assert usable([SECOND, OPEN_ENDED, OLD, EMPTY, FIRST], TODAY) == [FIRST, SECOND, OPEN_ENDED]
    assert usable([FIRST], datetime.date(2026, 6, 30)) == [FIRST]  # use by: that day included
    assert usable([FIRST], datetime.date(2026, 7, 1)) == []


@pytest.mark.parametrize(
    "lots, needed, use, short",
    [
        ([FIRST, SECOND], F(20), ["G-2"], F(0)),
        ([FIRST, SECOND], F(30), ["G-2"], F(0)),
        ([FIRST, SECOND], F("30.01"), ["G-2", "G-3"], F(0)),
        ([FIRST, SECOND], F(300), ["G-2", "G-3"], F(70)),
        ([FIRST, OPEN_ENDED], F(300), ["G-2", "G-4"], None),  # nobody wrote down how much is left
        ([OLD], F(10), [], F(10)),
    ],
)
def test_what_the_shelf_offers(lots, needed, use, short):
    found = offer(material(*lots), needed, TODAY)
    assert [lot.number for lot in found.lots] == use
    assert found.short == short


def test_no_lots_no_offer():
    assert offer(material(), F(10), TODAY) is None


LOTS = """
[[lot]]
number = "PG-7"
received = 2026-01-10
use_by = 2099-12-31
grams = 3
[[lot]]
number = "PG-8"
received = 2026-02-10
grams = 2.5
[[lot]]
number = "PG-2"
use_by = 2020-01-01
grams = 100
"""


def test_the_weigh_sheet_names_the_lot_and_says_what_is_short(shop):
    shop.write("materials/glycerin.toml", shop.read("materials/glycerin.toml") + LOTS)
    data = shop.json("weigh", "toner", "--batch", "200g")  # 6 g of glycerin, 5.5 on the shelf
    assert next(line["lot"] for line in data["lines"] if line["material"] == "glycerin") == "PG-7"
    assert data["lots"] == [
        {"material": "glycerin", "needed_g": "6", "use": ["PG-7", "PG-8"], "expired": ["PG-2"], "short_g": "0.5"},
    ]
    screen = shop.ok("weigh", "toner", "--batch", "200g").out
    assert "PG-7 ____" in screen
    assert "glycerin: PG-7 (3 g), then PG-8 (2.5 g)" in screen
    assert "glycerin is short: 6 g needed, 5.5 g on the shelf that may be used, 0.5 g missing" in " ".join(screen.split())
    assert "lot PG-2 is past its day (2020-01-01): do not use it" in screen
    # an old revision is weighed from the shelf of today
    assert "PG-7 ____" in shop.ok("weigh", "toner.1", "--batch", "200g").out
    assert "PG-7: received 2026-01-10, use by 2099-12-31, 3 g left" in shop.ok("material", "show", "glycerin").out


def test_what_is_on_the_shelf_makes_no_other_product(shop):
    """Counting grams left must not turn every plan into one that changed since it was saved."""
    shop.write("materials/glycerin.toml", shop.read("materials/glycerin.toml") + LOTS)
    assert shop.json("sheet", "toner")["saved"] is True
    assert shop.json("diff", "toner")["materials_changed"] == []
    shop.save_as("Ada", "2026-03-10", ".", message="counted")
    assert "revision 1\n" in shop.ok("sheet", "toner").out.replace("toner, revision 1", "revision 1")
    assert "1+" not in shop.ok("sheet", "toner").out
    shop.edit("materials/glycerin.toml", '"Glycerin" = 99.5', '"Glycerin" = 99')
    assert shop.json("sheet", "toner")["saved"] is False


def test_two_lots_of_one_number(shop):
    shop.write("materials/glycerin.toml", shop.read("materials/glycerin.toml") + '[[lot]]\nnumber = "1"\n[[lot]]\nnumber = "1"\n')
    assert 'two lots have the number "1"' in shop.refused("sheet", "toner")
