"""The check "salt in a polymer gel": an electrolyte together with an acrylic polymer. Common practice, no published source."""

from collections.abc import Callable
from typing import Any

import pytest

from fvc.rules.gel import is_electrolyte
from tests.support import Studio


@pytest.fixture
def shelf(studio) -> Studio:
    """Water, gel formers and salts."""
    for id, function, composition, extra in [
        ("carbomer", "thickener", {"Carbomer": 100}, ""),
        ("crosspolymer", "thickener", {"Acrylates/C10-30 Alkyl Acrylate Crosspolymer": 100}, ""),
        ("taurate-gel", "thickener", {"Ammonium Acryloyldimethyltaurate/VP Copolymer": 100}, ""),
        ("sodium-gel", "thickener", {"Sodium Polyacrylate": 100}, ""),
        ("gum", "thickener", {"Xanthan Gum": 100}, ""),
        ("secret-gel", "thickener", None, ""),
        ("lactate-60", "humectant", {"Sodium Lactate": 60, "Aqua": "balance"}, ""),
        ("pca-50", "humectant", {"Sodium PCA": 50, "Aqua": "balance"}, ""),
        ("salt", "thickener", {"Sodium Chloride": 100}, ""),
        ("unsure", "extract", {"Sodium Chloride": "unknown", "Aqua": 90}, ""),
        ("silent", "extract", None, ""),
        ("glycerin", "humectant", {"Glycerin": 100}, ""),
        ("parabens", "preservative", {"Methylparaben": 70, "Propylparaben": 30}, ""),
        ("lye-10", "pH adjuster", {"Sodium Hydroxide": 10, "Aqua": "balance"}, ""),
        ("acid-80", "pH adjuster", {"Lactic Acid": 80, "Aqua": "balance"}, ""),
    ]:
        studio.material(id, function, composition, extra)
    return studio


@pytest.fixture
def check(shelf, run_in) -> Callable[..., tuple[list[dict[str, Any]], ...]]:
    """Findings of the check on a plan of these lines, and what it could not check."""
    run = run_in(shelf.root)

    def of(**levels: str) -> tuple[list[dict[str, Any]], ...]:
        phases: dict[str, dict[str, Any]] = {"A": {"water": "balance"}, "B": {}}
        for name, level in levels.items():
            phases["B" if name.startswith("b__") else "A"][name.removeprefix("b__").replace("_", "-")] = level
        shelf.formula("gel", phases)
        result = run("check", "gel", "--json", code=0 if "parabens" in levels else 1)  # water without a preservative is a stop of its own
        blank = [n for n in result.data["not_checked"] if "salt from" in n["what"] or "thins" in n["what"]]
        return [f for f in result.data["findings"] if f["rule"] == "salt-in-gel"], blank

    return of


def test_salt_in_a_gel_is_a_caution_with_all_that_brings_it(check):
    found, blank = check(carbomer="0.30", lactate_60="2.00", b__pca_50="1.00")
    assert [f["level"] for f in found] == ["caution"]
    # 2.00 x 60 % + 1.00 x 50 %
    assert found[0]["message"] == (
        "1.7 % of electrolyte (Sodium Lactate, Sodium PCA) in a gel of Carbomer: salt thins it, and it may turn watery"
    )
    assert found[0]["where"] == "gel: phase A, carbomer; phase A, lactate-60; phase B, pca-50"
    assert blank == []


@pytest.mark.parametrize("gel", ["carbomer", "crosspolymer", "taurate_gel", "sodium_gel"])
def test_acrylic_polymers_are_known(check, gel):
    assert len(check(**{gel: "0.30", "salt": "0.50"})[0]) == 1


@pytest.mark.parametrize(
    "levels",
    [
        {"gum": "0.30", "salt": "0.50"},  # a gum bears it
        {"carbomer": "0.30", "glycerin": "5.0"},
        {"carbomer": "0.30", "salt": "0.09"},  # a little is always there
        {"carbomer": "0", "salt": "0.50"},
        {"carbomer": "0.30", "parabens": "0.40"},  # esters, not salts
        {"carbomer": "0.30", "lye_10": "1.0"},  # what neutralises the gel
        {"carbomer": "0.30", "acid_80": "1.0"},
        {"sodium_gel": "0.50"},  # the polymer itself is no salt
        {"salt": "0.50"},
    ],
)
def test_no_caution_where_there_is_nothing_to_warn_of(check, levels):
    assert check(**levels) == ([], [])


def test_from_a_tenth_of_a_percent_on(check):
    assert len(check(carbomer="0.30", salt="0.10")[0]) == 1
    assert check(carbomer="0.30", lactate_60="0.16")[0] == []  # 0.096 %
    assert len(check(carbomer="0.30", lactate_60="0.16", salt="0.01")[0]) == 1  # 0.106 % in all


def test_a_share_that_is_not_known_counts_at_most_and_says_so(check):
    found, _ = check(carbomer="0.30", unsure="2.00")
    assert found[0]["message"].startswith("up to 0.2 % of electrolyte (Sodium Chloride)")


def test_what_declares_nothing_is_not_checked(check):
    found, blank = check(carbomer="0.30", silent="1.00")
    assert found == []
    assert blank == [{"plan": "gel", "what": "salt from silent in a gel of Carbomer", "why": "no composition in its record"}]
    found, blank = check(secret_gel="0.30", salt="0.50")
    assert found == []
    assert blank == [{"plan": "gel", "what": "whether Sodium Chloride thins secret-gel", "why": "no composition in its record"}]
    assert check(secret_gel="0.30", salt="0.05") == ([], [])


def test_through_a_premix(shelf, check, run_in):
    shelf.formula("premix", {"A": {"water": "balance", "salt": "10"}})
    found, _ = check(carbomer="0.30", premix="2.00")
    assert found[0]["message"].startswith("0.2 % of electrolyte (Sodium Chloride)")
    assert "salt in premix" in found[0]["where"]


def test_a_swap_that_brings_salt_into_a_gel_warns(shelf, run_in):
    run = run_in(shelf.root)
    shelf.formula("gel", {"A": {"water": "balance", "carbomer": "0.30", "glycerin": "2.00"}})
    data = run("swap", "gel", "glycerin", "pca-50", "--basis", "as-supplied", "--json").data
    assert [(f["level"], f["rule"]) for f in data["cautions"]] == [("caution", "salt-in-gel")]
    run("swap", "gel", "glycerin", "pca-50", "--basis", "as-supplied", "--save")
    back = run("swap", "gel", "pca-50", "glycerin", "--basis", "as-supplied", "--json").data
    assert back["cautions"] == []
    assert [f["rule"] for f in back["eased"]] == ["salt-in-gel"]


@pytest.mark.parametrize(
    "inci, salt",
    [
        ("Sodium Chloride", True),
        ("SODIUM  LACTATE", True),
        ("Trisodium Citrate", True),
        ("Dipotassium Phosphate", True),
        ("Magnesium Sulfate", True),
        ("Zinc PCA", True),
        ("MEA-Salicylate", True),
        ("TEA-Lactate", True),
        ("Pentasodium Pentetate", True),
        ("Copper Gluconate", True),
        ("Methylparaben", False),
        ("Sodium Methylparaben", True),
        ("Citric Acid", False),
        ("Sodium Hydroxide", False),
        ("Sodium Hyaluronate", False),
        ("Zinc Oxide", False),
        ("Calcium Carbonate", False),
        ("Magnesium Aluminum Silicate", False),
        ("Magnesium Stearate", False),
        ("Sodium Acrylates Copolymer", False),
        ("Ammonium Polyacryloyldimethyl Taurate", False),
        ("Glycerin", False),
        ("Betaine", False),
    ],
)
def test_which_names_are_electrolytes(inci, salt):
    assert is_electrolyte(inci) is salt


def test_a_filler_is_no_gel(shelf, check):
    shelf.material("spheres", "thickener", {"Polymethyl Methacrylate": 100})
    assert check(spheres="2.00", salt="1.00") == ([], [])
    assert check(sodium_gel="2.00", salt="1.00")[0]
