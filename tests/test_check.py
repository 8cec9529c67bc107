"""`fvc check`: every check of the list, its levels and reasons, and what it says when it cannot tell."""

from typing import Any

import pytest

from fvc.archive import Archive
from fvc.references import resolve
from fvc.rules.basis import Basis
from fvc.rules.check import CHECKS, check
from fvc.rules.finding import Report
from tests.support import Studio

# Materials as a maker would record them; levels are chosen test by test.
SHELF: dict[str, tuple[str, dict[str, Any] | None, str]] = {
    "glycerin": ("humectant", {"Glycerin": 99.5, "Aqua": "balance"}, "use_level = [1, 10]\n"),
    "sodium-benzoate": ("preservative", {"Sodium Benzoate": 100}, "use_level = [0.1, 1.0]\n"),
    "potassium-sorbate": ("preservative", {"Potassium Sorbate": 100}, "use_level = [0.1, 1.0]\n"),
    "dehydroacetate": ("preservative", {"Sodium Dehydroacetate": 100}, "use_level = [0.1, 1.0]\n"),
    "phenoxyethanol": ("preservative", {"Phenoxyethanol": 100}, "use_level = [0.2, 1.5]\n"),
    "benzyl-alcohol": ("preservative", {"Benzyl Alcohol": 100}, "use_level = [0.2, 1.5]\n"),
    "citric-acid-50": ("pH adjuster", {"Citric Acid": 50, "Aqua": "balance"}, "use_level = [0.05, 2]\n"),
    "triethanolamine": ("pH adjuster", {"Triethanolamine": 100}, "use_level = [0.05, 5]\n"),
    "tea-tree-oil": ("essential oil", {"Melaleuca Alternifolia Leaf Oil": 100}, "use_level = [0.01, 5]\n"),
    "polysorbate-20": ("solubiliser", {"Polysorbate 20": 100}, "use_level = [0.1, 10]\n"),
    "sunflower-oil": ("emollient", {"Helianthus Annuus Seed Oil": 100}, "use_level = [1, 30]\n"),
    "xanthan-gum": ("thickener", {"Xanthan Gum": 100}, "use_level = [0.05, 1]\n"),
    "behentrimonium": ("conditioning agent", {"Behentrimonium Chloride": 80, "Aqua": "balance"}, "use_level = [0.1, 5]\n"),
    "extract": ("extract", {"Camellia Sinensis Leaf Extract": 2, "Aqua": "balance", "Sodium Benzoate": 5}, "use_level = [0.1, 10]\n"),
}

COUNT = sum(1 for c in CHECKS if not c.rules or "eu" in c.rules)  # with the rules of the EU alone
PRESERVED = {"water": "balance", "glycerin": "3", "sodium-benzoate": "0.40", "citric-acid-50": "0.15"}  # comes out at about pH 4.66


@pytest.fixture
def shelf(plain_folder) -> Studio:
    """A formulary without git, with the materials above."""
    studio = Studio(plain_folder)
    studio.write("formulary.toml", 'format = 1\nname = "Test"\nrules = ["eu"]\n')
    studio.material("water", "solvent", {"Aqua": 100})
    for id, (function, composition, extra) in SHELF.items():
        studio.material(id, function, composition, extra)
    return studio


def report(studio: Studio, ref: str = "product", rules: tuple[str, ...] = ()) -> Report:
    archive = Archive.open(studio.root)
    basis: Basis = archive.now.settings().basis
    return check(resolve(archive, ref), basis, rules)


def plan(studio: Studio, lines: dict[str, str], *, use: str = '"leave-on"', spec: str = "ph = [4.5, 4.9]", phases: str = "") -> Report:
    """A plan of these lines in phase A (or with `phases` as typed), and what is found in it."""
    text = f'format = 1\ntitle = "product"\nuse = {use}\n' if use else 'format = 1\ntitle = "product"\n'
    text += f"[spec]\n{spec}\n" if spec else ""
    if phases:
        text += phases
    else:
        text += "[phase.A.percent]\n" + "".join(
            f"{m} = {v if v[0].isdigit() or v[0] == '{' else repr(v)}\n".replace("'", '"') for m, v in lines.items()
        )
    studio.write("formulas/product.toml", text)
    return report(studio)


def found(result: Report, rule: str) -> list[tuple[str, str]]:
    return [(f.level, f.message) for f in result.findings if f.rule == rule]


def the(result: Report, rule: str):
    findings = [f for f in result.findings if f.rule == rule]
    assert len(findings) == 1, (rule, result)
    assert all((findings[0].source, findings[0].where, findings[0].message))
    return findings[0]


def why(result: Report, words: str) -> list[str]:
    return [n.why for n in result.not_checked if words in n.what]


# --- nothing to find -------------------------------------------------------------------------------


def test_a_plan_with_nothing_to_find(shelf):
    result = plan(shelf, PRESERVED)
    assert result.findings == ()
    assert result.not_checked == ()
    assert (result.done, result.ok) == (COUNT, True)


# --- limits of Annex V, salts as acid ----------------------------------------------------------------
# Regulation (EC) No 1223/2009, Annex V: benzoic acid and its sodium salt 0.5 % leave-on, 2.5 % rinse-off, as
# acid; sorbic acid 0.6 % as acid. Sodium benzoate x 0.8475, potassium sorbate x 0.7464.


@pytest.mark.parametrize(
    "lines, use, over",
    [
        ({"sodium-benzoate": "0.59"}, '"leave-on"', False),
        ({"sodium-benzoate": "0.60"}, '"leave-on"', True),
        ({"sodium-benzoate": "0.60"}, '"rinse-off"', False),
        ({"sodium-benzoate": "2.95"}, '"rinse-off"', False),
        ({"sodium-benzoate": "2.96"}, '"rinse-off"', True),
        ({"sodium-benzoate": "0.60"}, '["rinse-off", "leave-on"]', True),  # the stricter of two uses
        ({"sodium-benzoate": "0.60"}, '"spray"', True),  # a spray stays on the skin unless more is said
        ({"potassium-sorbate": "0.8038"}, '"leave-on"', False),
        ({"potassium-sorbate": "0.81"}, '"leave-on"', True),
        ({"phenoxyethanol": "1.00"}, '"leave-on"', False),
        ({"phenoxyethanol": "1.01"}, '"leave-on"', True),
        ({"benzyl-alcohol": "1.00"}, '"leave-on"', False),
        ({"benzyl-alcohol": "1.01"}, '"leave-on"', True),
        # one substance over all materials: 0.40 and 5 % of 4.00 is 0.60
        ({"sodium-benzoate": "0.40", "extract": "4.00"}, '"leave-on"', True),
        ({"sodium-benzoate": "0.40", "extract": "3.80"}, '"leave-on"', False),
        ({"triethanolamine": "2.5", "sodium-benzoate": "0.4"}, '"leave-on"', False),
        ({"triethanolamine": "2.6", "sodium-benzoate": "0.4"}, '"leave-on"', True),
    ],
)
def test_limits_by_law(shelf, lines, use, over):
    result = plan(shelf, {"water": "balance"} | lines, use=use)
    stops = [f for f in result.findings if f.level == "stop" and f.rule.startswith("eu-")]
    assert bool(stops) is over, result
    assert result.ok is not over


def test_a_limit_says_by_how_much_where_from_whom_and_what_would_mend_it(shelf):
    result = plan(shelf, {"water": "balance", "sodium-benzoate": "0.40", "extract": "4.00"})
    (stop,) = [f for f in result.findings if f.level == "stop"]
    assert "0.5085 % as benzoic acid, 0.0085 above the 0.5 % for leave-on" in stop.message
    assert "(0.339 from sodium-benzoate, 0.1695 from extract)" in stop.message
    assert stop.where == "phase A, sodium-benzoate; phase A, extract"
    assert "1223/2009, Annex V" in stop.source
    assert "take sodium-benzoate from 0.4 to 0.3899 % or less" in stop.mend


def test_what_mends_a_limit_mends_it(shelf):
    assert plan(shelf, {"water": "balance", "sodium-benzoate": "0.3899", "extract": "4.00"}).ok


def test_the_worst_end_of_a_range_counts(shelf):
    shelf.material("blend", "preservative", {"Phenoxyethanol": [40, 60], "Glycerin": "balance"}, "use_level = [0.1, 5]\n")
    result = plan(shelf, {"water": "balance", "blend": "1.80"})  # 0.72 to 1.08
    (stop,) = [f for f in result.findings if f.level == "stop"]
    assert "1.08 % at the worst end, 0.08 above the 1 %" in stop.message
    assert plan(shelf, {"water": "balance", "blend": "1.60"}).ok  # 0.96 at most


def test_an_unknown_share_is_not_checked_and_not_fine(shelf):
    shelf.material("blend", "preservative", {"Phenoxyethanol": "unknown", "Glycerin": 30}, "use_level = [0.1, 5]\n")
    result = plan(shelf, {"water": "balance", "blend": "2.00"})
    assert result.ok
    assert why(result, "henoxyethanol") == ["blend does not say how much of it there is; anything from 0 to 1.4 % of the product"]
    shelf.material("blend", "preservative", {"Camellia Sinensis Leaf Extract": "unknown", "Phenoxyethanol": 30}, "use_level = [0.1, 5]\n")
    reasons = why(report(shelf), "how much Camellia Sinensis Leaf Extract blend brings")
    assert reasons == ["its record does not say how much, so it may be anything up to 1.4 % of the product"]


def test_a_material_without_composition_is_not_checked(shelf):
    shelf.material("mystery", "preservative", None, "use_level = [0.1, 5]\n")
    result = plan(shelf, {"water": "balance", "mystery": "1.00"})
    assert why(result, "limits of what is in mystery") == ["no composition is declared; take it from the supplier's sheet"]
    assert why(result, "the pH at which mystery works") == ["no composition and no ph_range in its record"]


def test_a_composition_that_leaves_a_rest(shelf):
    shelf.material("partly", "humectant", {"Glycerin": 80}, "use_level = [0.1, 5]\n")
    assert why(plan(shelf, PRESERVED | {"partly": "1"}), "the undeclared rest of partly")


def test_aerosol_and_pump(shelf):
    # Annex V: dehydroacetic acid and its salts not in aerosol dispensers; of a pump spray the tool asks
    lines = {"water": "balance", "dehydroacetate": "0.30"}
    stops = [f for f in plan(shelf, lines, use='["leave-on", "aerosol"]').findings if f.level == "stop"]
    assert "not allowed for aerosol" in stops[0].message
    pump = plan(shelf, lines, use='["leave-on", "spray"]')
    assert pump.ok
    assert [f.level for f in pump.findings if f.rule == stops[0].rule] == ["caution"]
    assert found(plan(shelf, lines), stops[0].rule) == []


def test_a_salt_without_a_molar_mass_is_counted_whole_and_said(shelf):
    shelf.material("lithium-benzoate", "preservative", {"Lithium Benzoate": 100}, "use_level = [0.1, 1.0]\n")
    result = plan(shelf, {"water": "balance", "lithium-benzoate": "0.45", "phenoxyethanol": "0.5"})
    (reason,) = why(result, "Lithium Benzoate as Benzoic Acid")
    assert "no molar mass is known, so it is counted at its full weight" in reason
    # with the mass of the record, 128.05 g/mol, it counts 0.9537 times
    shelf.material("lithium-benzoate", "preservative", {"Lithium Benzoate": 100}, "use_level = [0.1, 1.0]\nmolar_mass = 128.05\n")
    assert not why(plan(shelf, {"water": "balance", "lithium-benzoate": "0.45", "phenoxyethanol": "0.5"}), "Lithium")


def test_no_use_no_limits(shelf):
    result = plan(shelf, {"water": "75", "sodium-benzoate": "25"}, use="")
    assert result.ok
    assert result.done < len(CHECKS)
    assert "the plan names no use" in why(result, "limits of substances")[0]


def test_a_premix_is_taken_apart(shelf):
    shelf.formula("premix", {"A": {"water": "75", "sodium-benzoate": "25"}})
    shelf.edit("formulas/premix.toml", 'use = "leave-on"\n', "")
    result = plan(shelf, {"water": "balance", "premix": "2.40"})
    (stop,) = [f for f in result.findings if f.level == "stop"]
    assert stop.where == "phase A, sodium-benzoate in premix"


# --- what is inside essential oils -------------------------------------------------------------------
# Annex III: methyl eugenol 0.0002 % leave-on, 0.001 % rinse-off.

OILED = {"water": "balance", "sodium-benzoate": "0.40", "polysorbate-20": "4.0"}


def oil(shelf: Studio, constituents: str, name: str = "Ocimum Basilicum Oil") -> None:
    shelf.material("oil", "essential oil", {name: 100}, "use_level = [0.01, 2]\n")
    shelf.write("materials/oil.toml", shelf.read("materials/oil.toml") + f"[constituents]\n{constituents}\n")


@pytest.mark.parametrize(
    "constituents, level, use, expected",
    [
        ('"Methyl Eugenol" = 0.10', "0.20", '"leave-on"', "none"),  # 0.0002 is the limit, and not above it
        ('"Methyl Eugenol" = 0.10', "0.21", '"leave-on"', "stop"),
        ('"Methyl Eugenol" = 0.10', "0.21", '"rinse-off"', "none"),
        ('"Methyl Eugenol" = 0.10', "1.01", '"rinse-off"', "stop"),
        ('"Methyl Eugenol" = [0.01, 0.10]', "0.21", '"leave-on"', "stop"),  # the record says that it may be so
        ('"Methyl Eugenol" = 0', "1.00", '"leave-on"', "none"),
        ('"Safrole" = 1.0', "1.01", '"leave-on"', "stop"),  # Annex II 360: 100 mg/kg, which is 0.01 %
    ],
)
def test_restricted_constituents_by_the_record(shelf, constituents, level, use, expected):
    oil(shelf, constituents, "Invented Test Oil")
    result = plan(shelf, OILED | {"oil": level}, use=use)
    levels = {f.level for f in result.findings if f.rule.startswith("eu-ii")}
    assert levels == (set() if expected == "none" else {expected}), result


def test_typical_figures_stand_in_where_the_record_says_nothing(shelf):
    """Tea tree: methyl eugenol 160 to 552 ppm (SCCP/1155/08); 1 % of the worst end is 0.000552 % in the product."""
    result = plan(shelf, OILED | {"tea-tree-oil": "1.00"})
    findings = [f for f in result.findings if "ethyl eugenol" in f.message.lower()]
    assert [f.level for f in findings] == ["caution"]
    assert "typical of this oil" in findings[0].message
    assert "ask the supplier for this lot's analysis" in findings[0].mend
    assert result.ok


def test_the_record_wins_over_what_is_typical(shelf):
    shelf.write("materials/tea-tree-oil.toml", shelf.read("materials/tea-tree-oil.toml") + '[constituents]\n"Methyl Eugenol" = 0.01\n')
    result = plan(shelf, OILED | {"tea-tree-oil": "1.00"})  # 0.0001 %: below
    assert not [f for f in result.findings if "ethyl eugenol" in f.message.lower()]
    shelf.edit("materials/tea-tree-oil.toml", '"Methyl Eugenol" = 0.01', '"Methyl Eugenol" = 0.05')
    (stop,) = [f for f in plan(shelf, OILED | {"tea-tree-oil": "1.00"}).findings if "ethyl eugenol" in f.message.lower()]
    assert stop.level == "stop"
    assert "by its record" in stop.message


def test_an_oil_of_which_nothing_is_known(shelf):
    shelf.material("rare-oil", "essential oil", {"Invented Test Oil": 100}, "use_level = [0.01, 2]\n")
    result = plan(shelf, OILED | {"rare-oil": "0.50"})
    (reason,) = why(result, "restricted constituents and allergens in rare-oil")
    assert "ask the supplier" in reason


# --- structure, names, use levels --------------------------------------------------------------------


def test_a_total_that_is_off_is_a_stop(shelf):
    result = plan(shelf, {"water": "95", "glycerin": "3", "sodium-benzoate": "0.4"})
    finding = the(result, "closed")
    assert finding.level == "stop"
    assert "the lines total 98.4, 1.6 short of 100" in finding.message
    assert finding.where.startswith("formulas/product.toml")


def test_an_unknown_material_is_a_stop(shelf):
    result = plan(shelf, PRESERVED | {"glycerine": "1"})
    finding = the(result, "closed")
    assert (finding.level, finding.mend) == ("stop", "did you mean glycerin?")


@pytest.mark.parametrize("level, expected", [("0.99", "note"), ("1", None), ("10", None), ("10.01", "caution")])
def test_the_suppliers_use_level(shelf, level, expected):
    result = plan(shelf, PRESERVED | {"glycerin": level})
    assert [f.level for f in result.findings if f.rule == "use-level"] == ([expected] if expected else [])


def test_a_use_level_counts_all_lines_and_premixes(shelf):
    shelf.formula("stock", {"A": {"water": "50", "glycerin": "50"}})
    phases = '[phase.A.percent]\nwater = "balance"\nglycerin = 4\nsodium-benzoate = 0.4\n[phase.B.percent]\nglycerin = 4\nstock = 6\n'
    finding = the(plan(shelf, {}, phases=phases), "use-level")
    assert "11 % in all, 1 above the 1 to 10 % of its record" in finding.message
    assert finding.where == "phase A, glycerin; phase B, glycerin; phase B, glycerin in stock"


def test_a_material_without_use_level_is_named(shelf):
    shelf.material("plain", "humectant", {"Betaine": 100})
    assert why(plan(shelf, PRESERVED | {"plain": "1"}), "use level of plain")


def test_an_unknown_inci_name_gets_a_suggestion(shelf):
    shelf.material("betain", "humectant", {"Betain": 100}, "use_level = [0.1, 5]\n")
    finding = the(plan(shelf, PRESERVED | {"betain": "1"}), "inci-name")
    assert finding.level == "caution"
    assert "did you mean Betaine" in finding.mend
    shelf.edit("formulary.toml", 'rules = ["eu"]\n', 'rules = ["eu"]\ninci_names = ["Betain"]\n')
    assert found(report(shelf), "inci-name") == []


def test_a_mistyped_function_gets_a_suggestion(shelf):
    shelf.material("sodium-benzoate", "preservitive", {"Sodium Benzoate": 100}, "use_level = [0.1, 1.0]\n")
    result = plan(shelf, PRESERVED)
    assert the(result, "function-name").mend == 'write "preservative"'


def test_capitals_in_a_function_are_no_mistake(shelf):
    shelf.material("sodium-benzoate", "Preservative", {"Sodium Benzoate": 100}, "use_level = [0.1, 1.0]\n")
    assert plan(shelf, PRESERVED).findings == ()


# --- preservation --------------------------------------------------------------------------------------


def test_water_without_a_preservative_is_a_stop(shelf):
    finding = the(plan(shelf, {"water": "balance", "glycerin": "5"}), "preservative")
    assert finding.level == "stop"
    assert "95.025 % water and no preservative" in finding.message


def test_no_water_needs_no_preservative(shelf):
    assert found(plan(shelf, {"sunflower-oil": "100"}), "preservative") == []


def test_a_booster_alone_preserves_nothing(shelf):
    shelf.material("pentylene-glycol", "booster", {"Pentylene Glycol": 100}, "use_level = [1, 5]\n")
    finding = the(plan(shelf, {"water": "balance", "pentylene-glycol": "3"}), "preservative")
    assert finding.level == "stop"
    assert "pentylene-glycol alone is a booster" in finding.message


def test_a_trace_that_an_extract_carries_in_is_no_preservation(shelf):
    assert the(plan(shelf, {"water": "balance", "extract": "0.5"}), "preservative").level == "stop"  # 0.025 % benzoate


@pytest.mark.parametrize(
    "lines, spec, expected",
    [
        ({"sodium-benzoate": "0.4"}, "ph = [4.5, 5.0]", []),
        ({"sodium-benzoate": "0.4"}, "ph = [4.5, 5.5]", ["stop"]),  # and nothing else preserves it there
        ({"sodium-benzoate": "0.4", "potassium-sorbate": "0.3"}, "ph = [4.5, 5.5]", ["caution"]),
        ({"sodium-benzoate": "0.4", "phenoxyethanol": "0.8"}, "ph = [5.5, 6.5]", ["caution"]),
        ({"phenoxyethanol": "0.8"}, "ph = [5.5, 6.5]", []),
        ({"sodium-benzoate": "0.4", "potassium-sorbate": "0.3"}, "ph = [6.2, 6.8]", ["stop", "stop"]),
    ],
)
def test_a_preservative_must_work_at_the_ph_of_the_spec(shelf, lines, spec, expected):
    result = plan(shelf, {"water": "balance"} | lines, spec=spec)
    assert [f.level for f in result.findings if f.rule == "preservative-ph"] == expected


def test_the_undissociated_share_is_given(shelf):
    # 1 / (1 + 10^(5.5 - 4.204)) = 4.8 %: the textbook relation of Henderson and Hasselbalch
    result = plan(shelf, {"water": "balance", "sodium-benzoate": "0.4"}, spec="ph = [4.5, 5.5]")
    assert "at pH 5.5 4.8 % of benzoic acid is undissociated" in the(result, "preservative-ph").message


def test_without_a_spec_the_ph_is_not_checked(shelf):
    nothing_holds_it = {"water": "balance", "phenoxyethanol": "0.8"}
    assert "the plan has no pH in its spec" in why(plan(shelf, nothing_holds_it, spec=""), "work at the pH")[0]
    told_by_the_estimate = plan(shelf, PRESERVED, spec="")
    assert (told_by_the_estimate.not_checked, told_by_the_estimate.findings) == ((), ())


def test_the_ph_range_of_the_record_wins(shelf):
    shelf.material("sodium-benzoate", "preservative", {"Sodium Benzoate": 100}, "use_level = [0.1, 1]\nph_range = [2, 6]\n")
    lines = PRESERVED | {"citric-acid-50": "0.05"}  # comes out at about 5.2
    assert plan(shelf, lines, spec="ph = [5.0, 5.5]").findings == ()


# --- how it is made ------------------------------------------------------------------------------------


def test_benzoate_after_the_acid_may_crystallise(shelf):
    result = plan(shelf, {"water": "balance", "citric-acid-50": "0.4", "sodium-benzoate": "0.4"})
    finding = the(result, "acid-first")
    assert finding.level == "note"
    assert "crystals" in finding.message
    assert found(plan(shelf, {"water": "balance", "sodium-benzoate": "0.4", "citric-acid-50": "0.4"}), "acid-first") == []


def test_a_trace_of_benzoate_after_the_acid_is_nothing(shelf):
    lines = {"water": "balance", "phenoxyethanol": "0.8", "citric-acid-50": "0.4", "extract": "0.5"}
    assert found(plan(shelf, lines), "acid-first") == []


def test_oil_needs_something_that_holds_it(shelf):
    lines = PRESERVED | {"tea-tree-oil": "0.1"}
    assert the(plan(shelf, lines), "oil-held").level == "caution"
    assert found(plan(shelf, lines | {"polysorbate-20": "1"}), "oil-held") == []
    assert the(plan(shelf, PRESERVED | {"sunflower-oil": "5"}), "oil-held").level == "caution"


HOT = """[phase.A]
heat = "{heat}"
[phase.A.percent]
water = "balance"
sodium-benzoate = 0.4
polysorbate-20 = 1
[phase.B]
{below}
[phase.B.percent]
tea-tree-oil = 0.1
"""


@pytest.mark.parametrize(
    "heat, below, level",
    [
        ("70 °C", 'heat = "41 °C"', "caution"),
        ("70 °C", 'heat = "104 °F"', None),  # 40 °C
        ("70 °C", 'heat = "106 °F"', "caution"),
        ("70 °C", 'add_below = "45 °C"', "caution"),
        ("70 °C", 'add_below = "40 °C"', None),
        ("70 °C", "", "note"),  # nothing says that it has cooled
        ("35 °C", "", None),
    ],
)
def test_heat(shelf, heat, below, level):
    result = plan(shelf, {}, phases=HOT.format(heat=heat, below=below))
    assert [f.level for f in result.findings if f.rule == "heat"] == ([level] if level else [])


def test_the_heat_of_the_record_wins(shelf):
    shelf.material("tea-tree-oil", "essential oil", SHELF["tea-tree-oil"][1], 'use_level = [0.01, 5]\nheat_max = "60 °C"\n')
    assert found(plan(shelf, {}, phases=HOT.format(heat="70 °C", below='heat = "55 °C"')), "heat") == []
    finding = the(plan(shelf, {}, phases=HOT.format(heat="70 °C", below='heat = "65 °C"')), "heat")
    assert "5 °C above the 60 °C" in finding.message


def test_unlike_charges(shelf):
    finding = the(plan(shelf, PRESERVED | {"xanthan-gum": "0.3", "behentrimonium": "1"}), "charges")
    assert finding.level == "caution"
    assert "anionic xanthan-gum with cationic behentrimonium" in finding.message
    shelf.material("xanthan-gum", "thickener", {"Xanthan Gum": 100}, 'use_level = [0.05, 1]\ncharge = "non-ionic"\n')  # the record wins
    assert found(report(shelf), "charges") == []


# --- house limits and rule sets ---------------------------------------------------------------------------

HOUSE = """
[[house]]
function = "essential oil"
max = 0.30
use = "leave-on"
because = "sensitive noses"
[[house]]
material = "glycerin"
min = 2
max = 4
[[house]]
substance = "Sodium Benzoate"
max = 0.45
"""


@pytest.fixture
def housed(shelf) -> Studio:
    shelf.write("formulary.toml", shelf.read("formulary.toml") + HOUSE)
    return shelf


@pytest.mark.parametrize(
    "lines, use, expected",
    [
        ({}, '"leave-on"', []),
        ({"tea-tree-oil": "0.31", "polysorbate-20": "2"}, '"leave-on"', ["essential oil: 0.31 %, 0.01 above the 0.30 % of the house"]),
        ({"tea-tree-oil": "0.31", "polysorbate-20": "2"}, '"rinse-off"', []),
        ({"glycerin": "4.5"}, '"leave-on"', ["glycerin: 4.5 %, 0.5 above the 4 % of the house"]),
        ({"glycerin": "1.5"}, '"leave-on"', ["glycerin: 1.5 %, 0.5 below the 2 % of the house"]),
        ({"extract": "2"}, '"leave-on"', ["Sodium Benzoate: 0.5 %, 0.05 above the 0.45 % of the house"]),
    ],
)
def test_house_limits(housed, lines, use, expected):
    result = plan(housed, PRESERVED | lines, use=use)
    messages = [f.message for f in result.findings if f.rule == "house"]
    assert len(messages) == len(expected)
    assert all(m.startswith(e) for m, e in zip(messages, expected, strict=True)), messages
    assert all(f.level == "stop" for f in result.findings if f.rule == "house")


def test_house_limits_come_along_unless_other_rules_are_asked_for(housed):
    plan(housed, PRESERVED | {"glycerin": "4.5", "sodium-benzoate": "0.44"})
    assert found(report(housed), "house")
    assert found(report(housed, rules=("house",)), "house")
    assert not found(report(housed, rules=("eu",)), "house")


def test_house_alone_leaves_the_law_out(housed):
    plan(housed, {"water": "balance", "phenoxyethanol": "1.4"})
    assert not report(housed).ok
    assert report(housed, rules=("house",)).ok


def test_the_united_states_limit_few_preservatives_and_that_is_said(shelf):
    plan(shelf, {"water": "balance", "phenoxyethanol": "1.4"})
    result = report(shelf, rules=("us",))
    assert result.ok
    assert why(result, "United States")


@pytest.mark.parametrize(
    "rule, words",
    [
        ("max = 1", "expected one of material, substance, function, found none of them"),
        ('material = "glycerin"\nfunction = "humectant"\nmax = 1', "found material and function"),
        ('material = "glycerin"', 'expected "min" or "max", found neither'),
        ('material = "glycerin"\nmin = 3\nmax = 2', "expected min not above max, found min 3 above max 2"),
    ],
)
def test_house_rules_that_cannot_be(studio, rule, words):
    studio.write("formulary.toml", f"format = 1\n[[house]]\n{rule}\n")
    studio.formula("gel", {"A": {"water": "100"}})
    assert words in studio.fvc("check", "gel").err


# --- the command ------------------------------------------------------------------------------------------


def test_exit_codes_and_the_last_line(shelf):
    plan(shelf, PRESERVED)
    fine = shelf.ok("check", "product")
    assert fine.out.endswith(f"no stop in {COUNT} checks, 0 not done; not a safety assessment\n")
    plan(shelf, {"water": "balance", "sodium-benzoate": "0.60"})
    bad = shelf.fvc("check", "product")
    assert bad.code == 1
    assert bad.out.endswith(f"1 stop in {COUNT} checks, 0 not done; not a safety assessment\n")
    data = shelf.fvc("check", "product", "--json").data
    assert (data["schema"], data["ok"], data["done"], data["not_checked"]) == (1, False, COUNT, [])
    assert set(data["findings"][0]) >= {"level", "where", "rule", "message", "source"}
    assert data["findings"][0]["where"].startswith("product: phase A, sodium-benzoate")


def test_what_is_not_done_is_listed_with_its_reason(shelf):
    plan(shelf, {"water": "balance", "phenoxyethanol": "0.8"}, spec="")
    out = " ".join(shelf.ok("check", "product").out.split())
    assert "Not checked" in out
    assert "the plan has no pH in its spec" in out
    assert "1 not done; not a safety assessment" in out


def test_all_plans_of_a_formulary(shelf):
    plan(shelf, PRESERVED)
    shelf.formula("gel", {"A": {"water": "balance", "glycerin": "5"}})
    shelf.write("formulas/broken.toml", "format = 1\n[phase.A.percent]\nwater = oops\n")
    shelf.write("materials/unused.toml", "format = 1\nfunction = 3\n")
    result = shelf.fvc("check")
    assert result.code == 1
    assert f"2 stops in {2 * COUNT + 1} checks of 3 plans" in result.out
    assert "formulas/broken.toml:3" in result.out
    assert "materials/unused.toml:2" in result.out
    data = shelf.fvc("check", "--json").data
    assert data["plans"] == ["broken", "gel", "product"]
    (unused,) = [f for f in data["findings"] if "unused" in f["where"]]
    assert (unused["plan"], unused["where"]) == (None, "materials/unused.toml:2, function")


def test_several_references_in_one_run(toner):
    toner.ok("revise", "toner", "--reason", "first")
    data = toner.fvc("check", "toner.1", "toner", "--json").data
    assert data["plans"] == ["toner.1", "toner"]


def test_calls_that_cannot_be_answered(shelf):
    plan(shelf, PRESERVED)
    assert 'no formula "produkt"' in shelf.refused("check", "produkt")
    assert 'no rule set "ue"' in shelf.refused("check", "product", "--rules", "ue")
    assert shelf.ok("check", "product", "--rules", "eu,us").out.startswith("Rule sets: eu, us\nCheck: product, product")


def test_a_batch_as_it_was_made_is_checked_by_what_is_in_it(toner):
    """The plan is within the limit, the slip at the bench is not: 0.65 g of benzoate in 100.25 g, leave-on."""
    toner.material("sodium-benzoate", "preservative", {"Sodium Benzoate": 100}, "use_level = [0.1, 0.9]\n")
    toner.formula("gel", {"A": {"water": "balance", "sodium-benzoate": "0.40"}}, extra="[spec]\nph = [4, 5]\n")
    toner.ok("revise", "gel", "--reason", "first")
    assert toner.ok("check", "gel.1")
    toner.write(
        "trials/gel/gel-260301-at-a.toml",
        'format = 1\nplan = "gel.1"\nbatch = "100 g"\n'
        'asked = [{ phase = "A", material = "water", grams = 99.6 }, { phase = "A", material = "sodium-benzoate", grams = 0.4 }]\n'
        '[[entry]]\nid = "a"\nat = 2026-03-01T10:00:00Z\nweighed = "water"\ngrams = 99.6\n'
        '[[entry]]\nid = "b"\nat = 2026-03-01T10:01:00Z\nweighed = "sodium-benzoate"\ngrams = 0.65\n',
    )
    result = toner.fvc("check", "gel-260301", "--json")
    assert result.code == 1
    (stop,) = [f for f in result.data["findings"] if f["level"] == "stop"]
    assert "0.5495 % as benzoic acid, 0.0495 above the 0.5 % for leave-on" in stop["message"]
    made = "this batch is made: set it aside, or enlarge it by what it lacks; mend the plan for the next one"
    assert stop["mend"] == made
    toner.material("sodium-benzoate", "preservative", {"Sodium Benzoate": 100}, "use_level = [0.1, 0.6]\n")
    graver = toner.fvc("check", "gel-260301", "--json").data["findings"]
    assert [f["mend"] for f in graver if f["rule"] in ("use-level", stop["rule"])] == [made, made]


def test_an_edited_locked_plan_is_a_stop(toner):
    toner.edit("formulas/toner.toml", 'use = "leave-on"\n', 'use = "leave-on"\nstatus = "locked"\n')
    toner.ok("revise", "toner", "--reason", "this is it")
    assert not [f for f in toner.fvc("check", "toner", "--json").data["findings"] if f["rule"] == "locked"]
    toner.edit("formulas/toner.toml", "propanediol = 3.00", "propanediol = 4.00")
    (finding,) = [f for f in toner.fvc("check", "toner", "--json").data["findings"] if f["rule"] == "locked"]
    assert finding["level"] == "stop"
    assert "phase.A.percent.propanediol" in finding["where"]
    toner.save_as("Joss", "2026-11-01", "formulas")  # a plain commit does not make it right
    assert [f for f in toner.fvc("check", "toner", "--json").data["findings"] if f["rule"] == "locked"]


def test_a_locked_plan_may_change_its_status(toner):
    toner.edit("formulas/toner.toml", 'use = "leave-on"\n', 'use = "leave-on"\nstatus = "locked"\n')
    toner.ok("revise", "toner", "--reason", "this is it")
    toner.edit("formulas/toner.toml", '"locked"', '"retired"')
    assert not [f for f in toner.fvc("check", "toner", "--json").data["findings"] if f["rule"] == "locked"]


def test_a_difference_shows_the_limits_that_were_crossed(shelf, studio):
    for id, (function, composition, extra) in SHELF.items():
        studio.material(id, function, composition, extra)
    studio.formula("product", {"A": {"water": "balance", "sodium-benzoate": "0.50"}})
    studio.ok("revise", "product", "--reason", "first")
    studio.ok("set", "product", "sodium-benzoate=0.60", "--save")
    (limit,) = studio.json("diff", "product")["limits"]
    assert (limit["kind"], limit["level"]) == ("crossed", "stop")
    assert "limit crossed: " in studio.ok("diff", "product").out
    studio.ok("revise", "product", "--reason", "too much")
    studio.ok("set", "product", "sodium-benzoate=0.50", "--save")
    assert [x["kind"] for x in studio.json("diff", "product")["limits"]] == ["cleared"]
    studio.ok("revise", "product", "--reason", "back")
    studio.ok("set", "product", "sodium-benzoate=0.55", "--save")
    assert studio.json("diff", "product")["limits"] == []


# --- what a newcomer found ---------------------------------------------------------------------------------


def test_what_an_extract_carries_in_does_not_preserve_the_product(shelf):
    shelf.material("chamomile", "extract", {"Aqua": "balance", "Sodium Benzoate": 0.3, "Potassium Sorbate": 0.2}, "use_level = [1, 50]\n")
    finding = the(plan(shelf, {"water": "balance", "chamomile": "30"}), "preservative")
    assert finding.level == "caution"
    assert "only what chamomile carries in for itself" in finding.message


def test_next_to_no_preservative(shelf):
    assert the(plan(shelf, {"water": "balance", "phenoxyethanol": "0.05"}), "preservative").level == "caution"


def test_perfume_in_anything_is_not_checked(shelf):
    for function, composition in (("emollient", {"Parfum": 20, "Glycerin": 80}), ("perfume", {"Fragrance": 100})):
        shelf.material("scented", function, composition, "use_level = [0.1, 5]\n")
        result = plan(shelf, PRESERVED | {"scented": "1"})
        assert why(result, "restricted constituents and allergens in scented"), function


def test_a_single_scent_chemical_holds_nothing_unknown(shelf):
    shelf.material("linalool", "fragrance", {"Linalool": 100}, "use_level = [0.01, 5]\n")
    assert not why(plan(shelf, PRESERVED | {"linalool": "0.1", "polysorbate-20": "1"}), "restricted")


@pytest.mark.parametrize("rule, words", [
    ('material = "glicerin"\nmax = 5', "did you mean glycerin?"),
    ('substance = "Sodium Benzoat"\nmax = 5', "did you mean Sodium Benzoate or Sodium Borate?"),
    ('function = "preservitive"\nmax = 5', "did you mean preservative?"),
])  # fmt: skip
def test_a_house_limit_that_binds_nothing(shelf, rule, words):
    plan(shelf, PRESERVED)
    shelf.write("formulary.toml", shelf.read("formulary.toml") + f"[[house]]\n{rule}\n")
    data = shelf.json("check", "product")
    assert data["plans"] == ["product"]
    (finding,) = [f for f in data["findings"] if f["rule"] == "house-name"]
    assert (finding["plan"], finding["where"]) == (None, "formulary.toml, house[1]")
    assert " checks, " in shelf.ok("check", "product").out.splitlines()[-1]  # of one plan
    assert (finding["level"], finding["mend"]) == ("caution", words)


def test_a_faulty_house_limit_is_not_passed_over(shelf):
    plan(shelf, PRESERVED)
    shelf.write("formulary.toml", shelf.read("formulary.toml") + '[[house]]\nmaterial = "glycerin"\nmin = 3\nmax = 2\n')
    assert "found min 3 above max 2" in shelf.refused("check", "product")


def test_checks_that_were_not_asked_for_do_not_count(shelf):
    plan(shelf, PRESERVED)
    counts = {rules: report(shelf, rules=rules).done for rules in (("eu",), ("us",), ("house",), ("eu", "us", "house"))}
    assert counts[("eu",)] == counts[("us",)] + 1  # what the law lists as preservatives
    assert counts[("house",)] == counts[("us",)] - 2  # limits; and no [[house]] rule, so house limits were not done
    assert report(shelf, rules=("eu",)).done == COUNT


def test_a_check_without_what_it_needs_is_not_counted_as_done(shelf):
    assert plan(shelf, {"water": "balance", "phenoxyethanol": "0.8"}, spec="").done == COUNT - 1


def test_a_plan_without_use_that_stands_in_no_other_is_asked(shelf):
    plan(shelf, {"water": "97", "sodium-benzoate": "3"}, use="")
    (finding,) = [f for f in shelf.json("check", "product")["findings"] if f["rule"] == "use"]
    assert finding["level"] == "caution"
    shelf.formula("outer", {"A": {"water": "balance", "product": "10"}})
    assert [f for f in shelf.json("check", "product")["findings"] if f["rule"] == "use"] == []


def test_what_no_table_holds_is_said(shelf):
    shelf.material("filter", "active", {"Ethylhexyl Methoxycinnamate": 100}, "use_level = [1, 15]\n")
    shelf.material("white", "colourant", {"CI 77891": 100}, "use_level = [0.1, 25]\n")
    result = plan(shelf, PRESERVED | {"filter": "12", "white": "1", "polysorbate-20": "3"})
    assert why(result, "UV filters (Annex VI): filter")
    assert why(result, "colourants (Annex IV): white")


def test_a_preservative_that_the_law_does_not_list(shelf):
    shelf.material("odd", "preservative", {"Caprylyl Glycol": 100}, "use_level = [0.1, 2]\n")
    assert the(plan(shelf, PRESERVED | {"odd": "0.5"}), "preservative-listed").level == "caution"


def test_a_record_that_cannot_be_read_makes_no_false_findings(shelf):
    shelf.write("materials/sodium-benzoate.toml", 'format = 1\nfunction = "preservative"\n[composition]\n"Sodium Benzoate" = 103\n')
    result = plan(shelf, PRESERVED)
    assert [f.rule for f in result.findings] == ["file"]
    assert why(result, "limits of what is in sodium-benzoate") == ["its record is missing or cannot be read"]
    unread = ["the record of sodium-benzoate is missing or cannot be read"]
    assert why(result, "whether it is preserved") == why(result, "whether the pH comes out") == unread


def test_isothiazolinones_alone_and_in_their_mixture(shelf):
    shelf.material("mi", "preservative", {"Methylisothiazolinone": 10, "Aqua": "balance"}, "use_level = [0.001, 1]\n")
    result = plan(shelf, {"water": "balance", "mi": "0.05", "phenoxyethanol": "0.5"})
    assert {f.rule for f in result.findings if f.level == "stop"} == {"eu-v-57"}


def test_a_synonym_is_named_as_the_label_names_it(shelf):
    shelf.material("glycerine", "humectant", {"Glycerine": 100}, "use_level = [1, 10]\n")
    finding = the(plan(shelf, PRESERVED | {"glycerine": "2"}), "inci-name")
    assert (finding.level, finding.message) == ("note", '"Glycerine" stands on a label as Glycerin')


@pytest.mark.parametrize(
    "word, meant", [("antimicrobial", "preservative"), ("perfume", "fragrance"), ("carrier oil", "emollient"), ("propellant", "")]
)
def test_other_words_for_functions(shelf, word, meant):
    shelf.material("odd", word, {"Glycerin": 100}, "use_level = [1, 10]\n")
    finding = the(plan(shelf, PRESERVED | {"odd": "2"}), "function-name")
    assert (finding.level, meant in finding.mend) == ("caution" if meant else "note", True)


def test_a_batch_is_checked_in_the_order_in_which_it_was_weighed(toner):
    toner.material("sodium-benzoate", "preservative", {"Sodium Benzoate": 100}, "use_level = [0.1, 0.9]\n")
    toner.formula("gel", {"A": {"water": "balance", "sodium-benzoate": "0.40", "lactic-acid-80": "0.30"}}, extra="[spec]\nph = [4, 5]\n")
    asked = "".join(f'{{ phase = "A", material = "{m}" }}, ' for m in ("water", "sodium-benzoate", "lactic-acid-80"))
    weighed = (("water", 99.3), ("lactic-acid-80", 0.3), ("sodium-benzoate", 0.4))
    rows = "".join(
        f'[[entry]]\nid = "{i}"\nat = 2026-03-01T10:0{i}:00Z\nweighed = "{m}"\ngrams = {g}\n' for i, (m, g) in enumerate(weighed)
    )
    toner.write("trials/gel/gel-260301-at-a.toml", f'format = 1\nplan = "gel"\nbatch = "100 g"\nasked = [{asked}]\n{rows}')
    assert [f["rule"] for f in toner.json("check", "gel-260301")["findings"]].count("acid-first") == 1
    assert [f["rule"] for f in toner.json("check", "gel")["findings"]].count("acid-first") == 0


# --- what a critic found -----------------------------------------------------------------------------------


def test_an_unknown_share_takes_no_proven_stop_away(shelf):
    shelf.material("blend", "preservative", {"Phenoxyethanol": [40, 60], "Glycerin": "balance"}, "use_level = [0.1, 5]\n")
    shelf.material("murky", "extract", {"Phenoxyethanol": "unknown", "Aqua": "balance"}, "use_level = [0.01, 5]\n")
    result = plan(shelf, {"water": "balance", "blend": "1.80", "murky": "0.1"})
    (stop,) = [f for f in result.findings if f.level == "stop"]
    assert "1.08 % at the worst end" in stop.message
    assert why(result, "Phenoxyethanol")


@pytest.mark.parametrize(
    "name, rule", [("2-Phenoxyethanol", "eu-v-29"), ("Trolamine", "eu-iii-62"), ("Methyl Heptine Carbonate", "eu-iii-89")]
)
def test_a_substance_is_limited_under_all_its_names(shelf, name, rule):
    shelf.material("other", "preservative", {name: 100}, "use_level = [0.1, 9]\n")
    result = plan(shelf, {"water": "balance", "other": "5", "phenoxyethanol": "0.5"})
    assert rule in {f.rule for f in result.findings if f.level == "stop"}


@pytest.mark.parametrize("name", ["Methyleugenol", "methyl  eugenol"])
def test_the_record_wins_under_any_of_its_names(shelf, name):
    shelf.write("materials/tea-tree-oil.toml", shelf.read("materials/tea-tree-oil.toml") + f'[constituents]\n"{name}" = 0.01\n')
    result = plan(shelf, OILED | {"tea-tree-oil": "1.00"})
    assert not [f for f in result.findings if "ethyl eugenol" in f.message.lower()]


def test_two_members_of_a_group_are_two_substances(shelf):
    """A record that names alpha-pinene says nothing of beta-pinene."""
    shelf.write("materials/tea-tree-oil.toml", shelf.read("materials/tea-tree-oil.toml") + '[constituents]\n"Alpha-Pinene" = 1\n')
    plan(shelf, OILED | {"tea-tree-oil": "1.00"})
    by = {(c["inci"], c["by"]) for c in shelf.json("sheet", "product")["constituents"]}
    assert ("Alpha-Pinene", "inside") in by
    assert ("Alpha-Pinene", "typical") not in by


def test_what_may_be_water_is_no_water(shelf):
    shelf.material("scent", "fragrance", None, "use_level = [0.1, 5]\n")
    result = plan(shelf, {"sunflower-oil": "98", "scent": "2"})
    assert result.ok
    assert found(result, "oil-held") == []
    assert "may hold up to 2 % water" in why(result, "whether it needs a preservative")[0]


def test_an_open_line_can_be_the_preservative(shelf):
    result = plan(shelf, {"water": "balance", "glycerin": "3", "phenoxyethanol": '{ level = "open" }'})
    assert found(result, "preservative") == []
    assert why(result, "how much phenoxyethanol there is")


def test_a_preservative_that_nobody_knows_may_work(shelf):
    shelf.material("mystery", "preservative", None, "use_level = [0.1, 5]\n")
    result = plan(shelf, {"water": "balance", "sodium-benzoate": "0.4", "mystery": "1"}, spec="ph = [5.5, 6]")
    assert the(result, "preservative-ph").level == "caution"
    assert "nothing else preserves it" not in the(result, "preservative-ph").message


def test_a_preservative_without_a_known_range_is_said(shelf):
    shelf.material("odd", "preservative", {"Ethylhexylglycerin": 100}, "use_level = [0.1, 2]\n")
    assert why(plan(shelf, {"water": "balance", "odd": "0.8"}, spec="ph = [8, 9]"), "the pH at which odd works")


def test_a_house_minimum_on_an_unknown_share_is_not_checked(shelf):
    shelf.write("formulary.toml", shelf.read("formulary.toml") + '[[house]]\nsubstance = "Panthenol"\nmin = 0.5\n')
    shelf.material("murky", "humectant", {"Panthenol": "unknown", "Aqua": "balance"}, "use_level = [0.1, 5]\n")
    result = plan(shelf, PRESERVED | {"murky": "2"})
    assert found(result, "house") == []
    assert why(result, "house limit of Panthenol")
    shelf.edit("formulary.toml", "min = 0.5", "min = 2.5")  # more than all of it could bring
    assert the(report(shelf), "house").level == "stop"


def test_a_house_limit_of_a_premix_however_deep(shelf):
    shelf.write("formulary.toml", shelf.read("formulary.toml") + '[[house]]\nmaterial = "inner"\nmax = 0.5\n')
    shelf.formula("inner", {"A": {"water": "50", "glycerin": "50"}})
    shelf.formula("outer", {"A": {"water": "60", "inner": "40"}})
    assert "inner: 0.8 %, 0.3 above the 0.5 %" in the(plan(shelf, PRESERVED | {"outer": "2"}), "house").message


def test_house_limits_of_substances_in_what_is_not_declared(shelf):
    shelf.write("formulary.toml", shelf.read("formulary.toml") + '[[house]]\nsubstance = "Sodium Benzoate"\nmax = 0.5\n')
    shelf.material("mystery", "humectant", None, "use_level = [0.1, 5]\n")
    plan(shelf, PRESERVED | {"mystery": "5"})
    assert why(report(shelf, rules=("house",)), "house limits of what is in mystery")


def test_a_limit_for_preservatives_asks_when_nothing_preserves(shelf):
    """Regulation (EC) No 1223/2009: salicylic acid has 0.5 % as a preservative (Annex V), 2.0 % leave-on for another purpose (Annex III, 98)."""
    shelf.material("salicylic", "active", {"Salicylic Acid": 100}, "use_level = [0.1, 3]\n")
    lines = {"water": "balance", "phenoxyethanol": "0.8", "salicylic": "1.5"}
    result = plan(shelf, lines, spec="ph = [3.5, 4]")
    assert [f.level for f in result.findings if f.rule == "eu-v-3" and "above" in f.message] == ["caution"]
    assert result.ok
    shelf.material("salicylic", "preservative", {"Salicylic Acid": 100}, "use_level = [0.1, 3]\n")
    assert [f.level for f in plan(shelf, lines, spec="ph = [3.5, 4]").findings if f.rule == "eu-v-3" and "above" in f.message] == ["stop"]


def test_a_salt_of_a_metal_with_two_charges_counts_twice(shelf):
    # zinc sorbate, 287.6 g/mol, yields two sorbic acids of 112.13: 0.80 % is 0.6238 % as acid
    shelf.material("zinc", "preservative", {"Zinc Sorbate": 100}, "use_level = [0.1, 1]\nmolar_mass = 287.6\n")
    (stop,) = [f for f in plan(shelf, {"water": "balance", "zinc": "0.80"}).findings if f.level == "stop"]
    assert "0.6238 % as sorbic acid" in stop.message


@pytest.mark.parametrize("inci, oily", [("Isopropyl Myristate", True), ("Dimethicone", True), ("PEG-7 Glyceryl Cocoate", False)])
def test_emollients_are_oils_unless_they_mix(shelf, inci, oily):
    shelf.material("soft", "emollient", {inci: 100}, "use_level = [1, 30]\n")
    assert bool(found(plan(shelf, PRESERVED | {"soft": "10"}), "oil-held")) is oily


def test_a_solubiliser_is_one_whatever_its_record_calls_it(shelf):
    shelf.material("soft", "emollient", {"PEG-40 Hydrogenated Castor Oil": 100}, "use_level = [1, 30]\n")
    assert found(plan(shelf, PRESERVED | {"soft": "2", "tea-tree-oil": "0.1"}), "oil-held") == []


def test_acid_and_benzoate_in_one_premix(shelf):
    shelf.formula("pre", {"A": {"water": "balance", "citric-acid-50": "20", "sodium-benzoate": "20"}})
    finding = the(plan(shelf, {"water": "balance", "pre": "2"}), "acid-first")
    assert finding.mend.startswith("put sodium-benzoate in pre before citric-acid-50 in pre")


def test_an_acid_is_one_whatever_its_record_calls_it(shelf):
    shelf.material("lactic", "active", {"Lactic Acid": 80, "Aqua": "balance"}, "use_level = [0.1, 5]\n")
    assert the(plan(shelf, {"water": "balance", "lactic": "0.5", "sodium-benzoate": "0.4"}), "acid-first").level == "note"


@pytest.mark.parametrize("inci", ["Stearalkonium Chloride", "Polyquaternium-47", "Laurtrimonium Chloride"])
def test_charges_by_the_ending_of_the_name(shelf, inci):
    shelf.material("quat", "conditioning agent", {inci: 100}, "use_level = [0.1, 5]\n")
    assert the(plan(shelf, PRESERVED | {"xanthan-gum": "0.3", "quat": "1"}), "charges").level == "caution"


def test_a_batch_whose_plan_is_gone_says_so(shelf):
    shelf.write(
        "trials/product/prd-260301-at-a.toml",
        'format = 1\nplan = "gone.4"\nbatch = "100 g"\nasked = [{ phase = "A", material = "water", grams = 100 }]\n'
        '[[entry]]\nid = "a"\nat = 2026-03-01T10:00:00Z\nweighed = "water"\ngrams = 100\n',
    )
    result = report(shelf, "prd-260301-at-a")
    assert why(result, "limits of substances by use") == [
        "the plan that this batch was made from is not to be found, so nothing says how it is used"
    ]


def test_a_difference_tells_a_limit_that_became_graver_and_ignores_questions(studio):
    for id, (function, composition, extra) in SHELF.items():
        studio.material(id, function, composition, extra)
    lines = {"water": "balance", "dehydroacetate": "0.5", "tea-tree-oil": "1", "polysorbate-20": "5"}
    studio.formula("product", {"A": lines})
    studio.edit("formulas/product.toml", 'use = "leave-on"', 'use = ["leave-on", "spray"]')
    studio.ok("revise", "product", "--reason", "first")
    studio.ok("set", "product", "dehydroacetate=1.0", "tea-tree-oil=5", "--save")
    crossed = {x["rule"]: x["level"] for x in studio.json("diff", "product")["limits"] if x["kind"] == "crossed"}
    assert crossed["eu-v-13"] == "stop"  # though the question about sprays stands on both sides
    assert crossed["eu-iii-102"] == "stop"  # a caution before: 5 % of the lowest end, 0.016 %, is 0.0008 %


def test_what_is_wrong_in_a_record_is_told_once_for_all_plans(shelf):
    shelf.material("betain", "humectant", {"Betain": 100}, "use_level = [0.1, 5]\n")
    for name in ("one", "two"):
        shelf.formula(name, {"A": PRESERVED | {"betain": "1"}}, extra="[spec]\nph = [4, 5]\n")
    data = shelf.json("check")
    assert [(f["plan"], f["where"]) for f in data["findings"]] == [(None, "materials/betain.toml")]


def test_a_salt_of_a_small_acid_is_no_unlike_charge(shelf):
    assert found(plan(shelf, PRESERVED | {"behentrimonium": "1"}), "charges") == []  # sodium benzoate beside a cationic conditioner


# --- silent passes and false alarms ------------------------------------------------------------------------

ALLERGENS = "restricted constituents and allergens in thing"


@pytest.mark.parametrize(
    "function, inci, said",
    [
        ("active", "Salvia Sclarea Oil", True),
        ("conditioning agent", "Calendula Officinalis Flower Extract", True),
        ("solvent", "Rosa Damascena Flower Water", True),
        ("emollient", "Calendula Officinalis Flower Extract", True),  # a macerate
        ("emollient", "Carapa Guianensis Seed Oil", False),
        ("antioxidant", "Helianthus Annuus Seed Oil", False),  # what tocopherol is sold in
        ("active", "Rosa Canina Flower Oil", True),
        ("active", "PEG-7 Hydrogenated Castor Oil", False),
        ("solvent", "Water", False),
    ],
)
def test_an_oil_extract_or_hydrosol_is_one_whatever_its_record_calls_it(shelf, function, inci, said):
    shelf.material("thing", function, {inci: 100}, "use_level = [0.01, 50]\n")
    assert bool(why(plan(shelf, PRESERVED | {"thing": "0.5"}), ALLERGENS)) is said
    shelf.write("materials/thing.toml", f'format = 1\nname = "thing"\nuse_level = [0.01, 50]\n[composition]\n"{inci}" = 100\n')
    assert bool(why(report(shelf), ALLERGENS)) is said


@pytest.mark.parametrize(
    "constituents, reason",
    [
        ('"Linalool" = 0.2', "the [constituents] in its record come to 0.2 % at most, so they say nothing of most of it"),
        ('"Linalool" = [20, 30]\n"Limonene" = [10, 19]', "the [constituents] in its record come to 49 % at most"),
        ('"Linalool" = [20, 30]\n"Limonene" = [10, 20]', ""),
        ('"Aqua" = 99', "no [constituents] in its record and no typical values in fvc"),
    ],
)
def test_a_record_speaks_for_an_oil_from_half_of_it_on(shelf, constituents, reason):
    oil(shelf, constituents, "Invented Test Oil")
    reasons = why(plan(shelf, OILED | {"oil": "0.5"}), "restricted constituents and allergens in oil")
    assert len(reasons) == bool(reason)
    assert all(r.startswith(reason) and r.endswith("; ask the supplier for an analysis and an allergen list") for r in reasons)


def test_a_record_speaks_for_a_diluted_extract_by_what_there_is_of_it(shelf):
    """2 % of extract in glycerin, and 1.2 % named: more than half of what could hide anything."""
    text = SHELF["extract"]
    shelf.material("extract", *text)
    shelf.write("materials/extract.toml", shelf.read("materials/extract.toml") + '[constituents]\n"Caffeine" = [0.8, 1.2]\n')
    assert not why(plan(shelf, PRESERVED | {"extract": "1"}), "restricted constituents and allergens in extract")


# Regulation (EC) No 1223/2009: Annex II and III by ECHA's list of 2024-05-16 and the acts beside each limit; None: only a question.
@pytest.mark.parametrize(
    "inci, use, percent, rule, level",
    [
        ("Resorcinol", "rinse-off", "0.51", "eu-iii-22", "stop"),
        ("Resorcinol", "rinse-off", "0.50", "eu-iii-22", None),
        ("Thioglycolic Acid", "leave-on", "0.1", "eu-iii-2a", "stop"),
        ("Ammonium Thioglycolate", "rinse-off", "13.0", "eu-iii-2a", None),  # x 0.844: 10.97 % as the acid
        ("Ammonium Thioglycolate", "rinse-off", "13.1", "eu-iii-2a", "stop"),
        ("Ammonium Thioglycolate", "rinse-off", "2.4", "eu-iii-2a-hair", "caution"),
        ("Glyceryl Thioglycolate", "rinse-off", "19.8", "eu-iii-2b", None),  # x 0.5543: 10.97 % as the acid
        ("Glyceryl Thioglycolate", "rinse-off", "19.9", "eu-iii-2b", "stop"),
        ("Urea Peroxide", "leave-on", "11.07", "eu-iii-12-urea-skin", "caution"),
        ("Selenium Sulfide", "rinse-off", "1.01", "eu-iii-49", "stop"),
        ("Sodium Selenite", "leave-on", "0.01", "eu-ii-297", "stop"),
        ("Tetrasodium Etidronate", "leave-on", "2.14", "eu-iii-53", None),  # x 0.7009: 1.4999 % as the acid
        ("Tetrasodium Etidronate", "leave-on", "2.15", "eu-iii-53", "stop"),
        ("Strontium Chloride", "leave-on", "1", "eu-iii-57", None),
        ("Talc", "leave-on", "5", "eu-iii-59", None),
        ("Benzoyl Peroxide", "leave-on", "2.5", "eu-iii-94", "stop"),
        ("Pinus Sylvestris Leaf Oil", "leave-on", "0.1", "eu-iii-103", None),
        ("Turpentine", "leave-on", "0.1", "eu-iii-119", None),
        ("Ethoxydiglycol", "leave-on", "2.61", "eu-iii-ethoxydiglycol", "stop"),
        ("Ethoxydiglycol", "rinse-off", "10", "eu-iii-ethoxydiglycol", None),
        ("Cyclomethicone", "rinse-off", "2", "eu-reach-70-cyclomethicone", "caution"),
        ("Cyclomethicone", "leave-on", "2", "eu-reach-70-cyclomethicone", None),
        ("Coal Tar", "rinse-off", "0.5", "eu-ii-420", "stop"),
        ("Dihydrocoumarin", "leave-on", "0.1", "eu-ii-427", "stop"),
        ("Thimerosal", "leave-on", "0.01", "eu-ii-221", "stop"),
        ("Colloidal Silver", "leave-on", "0.1", "eu-ii-nano", "caution"),
        ("Petrolatum", "leave-on", "5", "eu-ii-904", None),
    ],
)
def test_what_the_law_limits_and_no_row_said(shelf, inci, use, percent, rule, level):
    shelf.material("thing", "active", {inci: 100}, "use_level = [0.01, 50]\n")
    result = plan(shelf, {"water": "balance", "phenoxyethanol": "0.8", "thing": percent}, use=f'"{use}"', spec="ph = [7, 8]")
    findings = [f for f in result.findings if f.rule == rule]
    over = [f.level for f in findings if " above the " in f.message or "not allowed for" in f.message or "not allowed in any" in f.message]
    assert over == ([level] if level else [])
    assert findings, "a limit that is kept still asks what must hold"


@pytest.mark.parametrize("inci", ["Sodium Hydroxide", "Potassium Hydroxide", "Calcium Hydroxide"])
def test_a_hydroxide_asks_what_must_hold_though_the_ph_of_the_spec_is_fine(shelf, inci):
    shelf.material("lye", "pH adjuster", {inci: 10, "Aqua": "balance"}, "use_level = [0.01, 5]\n")
    (finding,) = [f for f in plan(shelf, PRESERVED | {"lye": "1"}).findings if f.rule.startswith("eu-iii-15")]
    assert finding.level == "note"
    assert "0.1 % in it: only to adjust the pH, which must stay below 11" in finding.message


@pytest.mark.parametrize(
    "inci, what",
    [
        ("Basic Blue 99", "hair dyes (Annex III): thing"),
        ("Sodium Fluoride", "products for the mouth (Annex III): thing"),
        ("Beetroot Red", "colourants (Annex IV): thing"),
    ],
)
def test_what_stands_in_no_table_is_not_passed_over(shelf, inci, what):
    shelf.material("thing", "active", {inci: 100}, "use_level = [0.01, 50]\n")
    assert why(plan(shelf, PRESERVED | {"thing": "0.1"}), what) == ["these limits are not in fvc; look them up in the law itself"]


@pytest.mark.parametrize(
    "composition, extra, percent, levels, unknown",
    [
        ({"Phenoxyethanol": 100}, "", "0.09", ["caution"], False),  # at most 1 %: less than a tenth of it
        ({"Phenoxyethanol": 100}, "", "0.1", [], False),
        ({"Phenoxyethanol": 1, "Glycerin": 99}, "", "1", ["caution"], False),  # 0.01 %, whatever the record calls it
        ({"Sodium Benzoate": 100}, "", "0.058", ["caution"], False),  # x 0.8475: 0.0492 of 0.5 % as acid
        ({"Sodium Benzoate": 100}, "", "0.06", [], False),
        ({"Glycerin": 100}, "", "1", [], True),
        ({"Glycerin": 100}, "ph_range = [3, 8]\n", "1", [], False),  # the maker's own record vouches for it
        ({"Glycerin": 100}, "ph_range = [3, 8]\n", "0.05", ["caution"], False),
        ({"Phenoxyethanol": "unknown", "Glycerin": 30}, "", "1", [], True),
        ({"Sodium Benzoate": 4, "Potassium Sorbate": 3, "Aqua": "balance"}, "", "1", [], False),  # 0.068 and 0.037 of theirs, together
    ],
)
def test_a_preservative_counts_by_what_is_in_it(shelf, composition, extra, percent, levels, unknown):
    shelf.material("thing", "preservative", composition, f"use_level = [0.01, 50]\n{extra}")
    result = plan(shelf, {"water": "balance", "thing": percent})
    assert [f.level for f in result.findings if f.rule == "preservative"] == levels
    assert bool(why(result, "whether thing preserves it")) is unknown


@pytest.mark.parametrize("percent, levels", [("0.09", ["caution"]), ("0.1", [])])
def test_a_trace_of_solubiliser_holds_no_oil(shelf, percent, levels):
    result = plan(shelf, PRESERVED | {"tea-tree-oil": "0.5", "polysorbate-20": percent})
    assert [f.level for f in result.findings if f.rule == "oil-held"] == levels


@pytest.mark.parametrize(
    "composition, oily",
    [
        ({"Glycerin": 100}, False),
        ({"Butylene Glycol": 100}, False),
        ({"Sodium PCA": 50, "Aqua": "balance"}, False),
        ({"Aloe Barbadensis Leaf Juice": 100}, False),
        ({"Dimethicone": 60, "Aqua": "balance"}, False),  # an emulsion as bought
        ({"Dimethicone": 99.5, "Aqua": "balance"}, True),
        ({"Caprylic/Capric Triglyceride": 100}, True),
        ({"C12-15 Alkyl Benzoate": 100}, True),
    ],
)
def test_what_mixes_with_water_is_no_oil_though_its_record_says_emollient(shelf, composition, oily):
    shelf.material("soft", "emollient", composition, "use_level = [1, 30]\n")
    assert bool(found(plan(shelf, PRESERVED | {"soft": "10"}), "oil-held")) is oily


@pytest.mark.parametrize(
    "share, level, message, mend",
    [
        (
            [0, 2],
            "caution",
            "there may be up to 0.1 % of it (0.1 from thing)",
            "ask the supplier whether there is any in thing, and enter the figure",
        ),
        ([1, 2], "stop", "there is up to 0.1 % of it (0.1 from thing)", "take out thing"),
        (2, "stop", "there is 0.1 % of it (0.1 from thing)", "take out thing"),
    ],
)
def test_a_trace_of_what_is_not_allowed_names_what_brings_it(shelf, share, level, message, mend):
    shelf.material("thing", "solvent", {"Chloroform": share, "Glycerin": "balance"}, "use_level = [0.01, 50]\n")
    (finding,) = [f for f in plan(shelf, PRESERVED | {"thing": "5"}).findings if f.rule == "eu-ii-chlorinated"]
    assert finding.level == level
    assert finding.message == f"Chloroform, vinyl chloride and bithionol: not allowed in any product; {message}"
    assert finding.mend.startswith(mend)
    assert finding.mend.endswith("take out thing")


def test_a_plan_may_be_called_materials(shelf):
    shelf.formula("materials", {"A": PRESERVED}, extra="[spec]\nph = [4, 5]\n")
    shelf.write("materials/unused.toml", "format = 1\nfunction = 3\n")
    data = shelf.json("check")
    assert data["plans"] == ["materials"]
    assert [f["plan"] for f in data["findings"]] == [None]


@pytest.mark.parametrize(
    "inci, rule, percent", [("Cetrimonium Chloride", "eu-iii-286", "2.6"), ("Behentrimonium Chloride", "eu-iii-287", "5.1")]
)
def test_a_limit_for_conditioners_is_no_question_where_no_record_says_preservative(shelf, inci, rule, percent):
    """Annex III, 286 and 287: rinsed off the hair 2.5 % and 5.0 %, for another purpose than preserving."""
    shelf.material("quat", "conditioning agent", {inci: 100}, "use_level = [0.1, 9]\n")
    lines = {"water": "balance", "phenoxyethanol": "0.8", "quat": percent}
    over = [f for f in plan(shelf, lines, use='"rinse-off"').findings if f.rule == rule and " above the " in f.message]
    assert [(f.level, "is it here for another purpose" in f.message) for f in over] == [("stop", False)]
