"""What `fvc check` and the bill of a change find by what is estimated: the pH, preservatives at it, crystals, dry products."""

from typing import Any

import pytest

from fvc.archive import Archive
from fvc.references import resolve
from fvc.rules.check import check
from fvc.rules.finding import Finding, Report
from tests.support import Studio

SHELF: dict[str, tuple[str, dict[str, Any] | None, str]] = {
    "glycerin": ("humectant", {"Glycerin": 100}, ""),
    "sodium-benzoate": ("preservative", {"Sodium Benzoate": 100}, ""),
    "potassium-sorbate": ("preservative", {"Potassium Sorbate": 100}, ""),
    "phenoxyethanol": ("preservative", {"Phenoxyethanol": 100}, ""),
    "citric-acid": ("pH adjuster", {"Citric Acid": 100}, ""),
    "trisodium-citrate": ("pH adjuster", {"Sodium Citrate": 100}, ""),
    "sodium-lactate-60": ("humectant", {"Sodium Lactate": 60, "Aqua": 40}, ""),
    "cider-vinegar": (
        "pH adjuster",
        {"Vinegar": 100},
        'constituents = { "Acetic Acid" = { nominal = 5, low = 4.5, high = 5.5 }, "Aqua" = { nominal = 94, low = 93, high = 95 } }\n',
    ),
    "lye": ("pH adjuster", {"Sodium Hydroxide": 10, "Aqua": 90}, ""),
    "flower-water": ("hydrosol", {"Citrus Aurantium Amara Flower Water": 100}, 'constituents = { "Aqua" = 99.9 }\n'),
    "polysorbate-20": ("solubiliser", {"Polysorbate 20": 100}, ""),
    "glycol": ("humectant", {"Propylene Glycol": 100}, ""),
    "scent": ("fragrance", {"Parfum": 100}, ""),
    "sunflower-oil": ("emollient", {"Helianthus Annuus Seed Oil": 100}, ""),
    "emulsifier": ("emulsifier", {"Polyglyceryl-3 Diisostearate": 100}, ""),
}
MIST = {"water": "balance", "sodium-benzoate": "0.40", "potassium-sorbate": "0.20"}
SPEC = "[spec]\nph = [4.4, 4.9]\n"


@pytest.fixture
def shelf(studio) -> Studio:
    """Raw materials of a maker who preserves with acids."""
    for id, (function, composition, extra) in SHELF.items():
        studio.material(id, function, composition, extra)
    return studio


def plan(studio: Studio, lines: dict[str, str], spec: str = "") -> Report:
    """What is found in a plan of these lines."""
    studio.formula("mist", {"A": lines}, extra=spec)
    archive = Archive.open(studio.root)
    return check(resolve(archive, "mist"), archive.now.settings().basis)


def found(report: Report, rule: str) -> list[Finding]:
    return [f for f in report.findings if f.rule == rule]


# --- nothing holds the pH ---------------------------------------------------------------------------------


def test_preservative_salts_without_an_acid_hardly_work_and_that_is_a_caution(shelf):
    """0.4 % benzoate and 0.2 % sorbate in water stand near pH 8; the balance of charges calls it unbuffered, on the alkaline side."""
    result = plan(shelf, MIST)
    benzoic, sorbic = found(result, "preservative-at-ph")
    assert (benzoic.level, benzoic.where) == ("caution", "phase A, sodium-benzoate")
    assert benzoic.message == (
        "Benzoic Acid is in use from pH 2 to 5, and nothing in it holds the pH, which leans on the alkaline side: there it hardly works, "
        "at most 0.5 % of it is undissociated, the form that works"
    )  # 1 / (1 + 10^(6.5 - 4.224)) = 0.53 %
    assert (sorbic.level, sorbic.message[:41]) == ("caution", "Sorbic Acid is in use from pH 2 to 6, and")
    assert not [n for n in result.not_checked if "preservatives work" in n.what]


def test_one_that_works_at_any_ph_is_not_named_and_the_rest_stays_unchecked(shelf):
    result = plan(shelf, {"water": "balance", "phenoxyethanol": "0.8"})
    assert found(result, "preservative-at-ph") == []
    assert [n.what for n in result.not_checked if "preservatives work" in n.what]


@pytest.mark.parametrize(
    "line, cautions",
    [
        ({"citric-acid": '{ level = "open" }'}, 0),  # sets the pH at the bench
        ({"lye": '{ level = "open" }'}, 0),
        ({"scent": '{ level = "open" }'}, 2),
        ({"glycerin": '{ level = "open" }'}, 2),
    ],
)
def test_an_open_line_that_sets_the_ph_is_waited_for(shelf, line, cautions):
    result = plan(shelf, MIST | line)
    assert [f.level for f in found(result, "preservative-at-ph")] == ["caution"] * cautions
    assert bool([n for n in result.not_checked if "preservatives work" in n.what]) is (not cautions)


def test_a_spec_on_the_other_side_of_what_nothing_holds(shelf):
    (ph,) = found(plan(shelf, MIST, SPEC), "ph-estimate")
    assert (ph.level, ph.where) == ("caution", "the whole plan")
    assert ph.message == (
        "nothing in it holds the pH, which leans on the alkaline side (unbuffered: carbon dioxide and traces decide), and the spec is 4.4 to 4.9"
    )
    (ph,) = found(plan(shelf, MIST | {"flower-water": "20"}, SPEC), "ph-estimate")
    assert (ph.level, ph.message.rpartition("; ")[2]) == ("note", "not counted: Citrus Aurantium Amara Flower Water (flower-water)")
    assert found(plan(shelf, {"water": "balance", "phenoxyethanol": "0.8"}, "[spec]\nph = [5, 7]\n"), "ph-estimate") == []


def test_a_change_that_takes_the_acid_away_says_so_in_its_bill(shelf):
    """The command line of a maker who tries it without the vinegar."""
    shelf.formula("cider-mist", {"A": MIST | {"sodium-lactate-60": "1.00", "cider-vinegar": "4.00"}})
    shelf.ok("revise", "cider-mist", "--reason", "first")
    change = shelf.json("set", "cider-mist", "cider-vinegar=none")
    assert [(f["rule"], f["level"], f["where"]) for f in change["cautions"]] == [
        ("preservative-at-ph", "caution", "phase A, sodium-benzoate"),
        ("preservative-at-ph", "caution", "phase A, potassium-sorbate"),
    ]
    said = " ".join(shelf.ok("set", "cider-mist", "cider-vinegar=none").out.split())
    assert "Benzoic Acid is in use from pH 2 to 5, and nothing in it holds the pH, which leans on the alkaline side" in said


# --- an estimated pH --------------------------------------------------------------------------------------

NEUTRAL = MIST | {"trisodium-citrate": "1.00", "citric-acid": "0.08"}  # comes out at about 6.16


def test_a_preservative_outside_its_range_is_a_caution_without_any_reading_too(shelf):
    result = plan(shelf, NEUTRAL)
    benzoic = found(result, "preservative-at-ph")[0]
    assert benzoic.level == "caution"
    assert "and the pH comes out at about 6.16 (6.11 to 6.22); 1.1 % of it" in benzoic.message
    assert benzoic.message.endswith(" % of it is undissociated, the form that works")
    assert [n for n in result.not_checked if "preservatives work" in n.what] == []


def test_what_lies_partly_outside_is_a_note(shelf):
    lines = MIST | {"trisodium-citrate": "1.00", "citric-acid": "0.46"}  # comes out at about 5.01
    (benzoic,) = found(plan(shelf, lines), "preservative-at-ph")
    assert (benzoic.level, benzoic.message[:12]) == ("note", "Benzoic Acid")


@pytest.mark.parametrize("more, level", [({}, "caution"), ({"flower-water": "20"}, "note")])
def test_outside_the_spec_is_a_caution_unless_something_is_not_counted(shelf, more, level):
    (ph,) = found(plan(shelf, NEUTRAL | more, SPEC), "ph-estimate")
    assert ph.level == level
    assert ("not counted: Citrus Aurantium Amara Flower Water (flower-water)" in ph.message) is bool(more)


def test_from_a_reading_it_is_a_caution_all_the_same(shelf):
    shelf.formula("mist", {"A": NEUTRAL | {"flower-water": "20"}}, extra=SPEC)
    shelf.ok("revise", "mist", "--reason", "first")
    shelf.write(
        "trials/mist/mist-260301-at-a.toml",
        'format = 1\nplan = "mist.1"\nbatch = "100 g"\n'
        "asked = [" + ", ".join(f'{{ phase = "A", material = "{m}", grams = {g} }}' for m, g in NEUTRAL_GRAMS.items()) + "]\n"
        + "".join(
            f'[[entry]]\nid = "{chr(97 + n)}"\nat = 2026-03-01T10:0{n}:00Z\nweighed = "{m}"\ngrams = {g}\n'
            for n, (m, g) in enumerate(NEUTRAL_GRAMS.items())
        )
    )  # fmt: skip
    shelf.ok("trial", "see", "mist-260301-at-a", "pH 6.2 meter")
    (ph,) = [f for f in shelf.json("check", "mist")["findings"] if f["rule"] == "ph-estimate"]
    assert (ph["level"], ph["source"].rpartition(", ")[2]) == ("caution", "from the reading of mist-260301-at-a")


NEUTRAL_GRAMS = {
    "water": "78.32", "sodium-benzoate": "0.40", "potassium-sorbate": "0.20", "trisodium-citrate": "1.00", "citric-acid": "0.08",
    "flower-water": "20",
}  # fmt: skip


# --- antagonisms ------------------------------------------------------------------------------------------


def test_an_antagonism_has_its_words_and_its_whole_source(shelf):
    (note,) = [f for f in found(plan(shelf, MIST | {"polysorbate-20": "2"}), "antagonism") if "Benzoate" in f.message]
    assert note.message.startswith("0.4 % Sodium Benzoate, 0.2 % Potassium Sorbate with 2 % Polysorbate 20, 3.3 g on each gram")
    assert note.message.endswith("only what stays free works")
    assert note.source == (
        "Preservatives for pharmaceuticals, J. Soc. Cosmet. Chem. 23, 714: binding of phenolics and organic acids (1972)"
    )


# --- where nothing may grow -------------------------------------------------------------------------------

UNKNOWN = "whether anything grows in it is not known:"
WITHIN_DAYS = "bacteria and moulds grow in it within days"


@pytest.mark.parametrize(
    "lines, level, words",
    [
        ({"water": "balance", "citric-acid": "99"}, "caution", f"{UNKNOWN} its water activity has no estimate, only 1 % water"),
        ({"water": "balance", "citric-acid": "80"}, "caution", f"{UNKNOWN} its water activity has no estimate, Citric Acid makes 80 %"),
        ({"water": "balance", "lye": "50"}, "caution", f"{UNKNOWN} its pH comes out above 12"),
        ({"water": "balance", "glycerin": "85"}, "caution", f"{UNKNOWN} its water activity has no estimate, Glycerin makes 85 %"),
        ({"water": "balance", "glycerin": "40", "glycol": "30"}, "caution", f"{UNKNOWN} its water activity is about 0.59 (0.52 to 0.66)"),
        ({"water": "balance", "glycerin": "5"}, "stop", WITHIN_DAYS),
        ({"water": "balance", "glycerin": "60"}, "stop", WITHIN_DAYS),
        # of an emulsion with little water the droplets are as wet as any water
        ({"water": "balance", "emulsifier": "5", "sunflower-oil": "87"}, "stop", WITHIN_DAYS),
    ],
)  # fmt: skip
def test_what_grows_is_only_said_where_it_is_known(shelf, lines, level, words):
    (finding,) = found(plan(shelf, lines), "preservative")
    assert (finding.level, words in finding.message) == (level, True), finding
    assert (WITHIN_DAYS in finding.message) is (level == "stop")


# --- crystals ---------------------------------------------------------------------------------------------


def test_more_undissociated_acid_than_dissolves(shelf):
    """0.424 % of benzoic acid at pH 2.7 is nearly all undissociated; water of 98 % holds 0.31 % of it at 25 °C (3.2 g in 1 kg)."""
    lines = {"water": "balance", "sodium-benzoate": "0.50", "citric-acid": "1.50"}
    (crystals,) = found(plan(shelf, lines), "crystals")
    assert (crystals.level, crystals.where) == ("caution", "phase A, sodium-benzoate")
    assert crystals.message.endswith(
        "% of undissociated benzoic acid is more than dissolves: about 0.31 % of undissociated benzoic acid does: crystals may fall out"
    )
    assert "3.4 g/L at 25 °C" in crystals.source
    rows = shelf.json("workings", "mist", "preservation")["steps"]
    (row,) = [r for r in rows if r["what"] == "whether so much benzoic acid dissolves"]
    assert row["result"] == "more than dissolves: about 0.31 % of undissociated benzoic acid does"
    assert row["source"].startswith("3.2 g in 1 kg of water at 25 °C: ")


@pytest.mark.parametrize("lines", [MIST, {"water": "balance", "sodium-benzoate": "0.30", "citric-acid": "1.50"}])
def test_what_dissolves_makes_no_crystals(shelf, lines):
    assert found(plan(shelf, lines), "crystals") == []


# --- no figure from nothing -------------------------------------------------------------------------------


def undissociated(studio: Studio, name: str) -> Any:
    rows = studio.json("workings", "mist", "preservation")["estimates"]
    return [(r["value"], r["low"], r["high"], r["declined"], r["instead"]) for r in rows if name in r["property"]]


def test_a_blend_of_unknown_shares_gives_no_figure_but_the_range(shelf):
    shelf.material("blend", "preservative", {"Benzyl Alcohol": "unknown", "Dehydroacetic Acid": "unknown", "Aqua": "balance"})
    plan(shelf, {"water": "balance", "trisodium-citrate": "1.00", "citric-acid": "0.60", "blend": "0.80"})
    share, amount = undissociated(shelf, "dehydroacetic acid")
    assert share[0] is not None  # its pKa and the pH are known
    assert amount == (
        None,
        None,
        None,
        "how much of it there is, is not known",
        "0.000 to 0.703 %",
    )  # 0.8 % x 87.9 %, at the low end of the pH and the high one of the pKa


def test_a_ph_that_is_only_a_spec_gives_no_figure_but_the_range(shelf):
    """Nobody knows how much water is in the blend, so only the spec says where the pH is to be: 4.4 to 4.9."""
    shelf.material("secret", "active")
    plan(shelf, {"water": "balance", "sodium-benzoate": "0.50", "secret": "20"}, SPEC)
    why = "the pH is known only as a range, by the spec"
    # 4.184 - 0.107 at a usual ionic strength of 0.1: 1 / (1 + 10^(4.9 - 4.077)) = 13.1 %; 1 / (1 + 10^(4.4 - 4.224)) = 40.005 % of 0.42373 %
    assert undissociated(shelf, "benzoic acid") == [
        (None, None, None, why, "13.1 to 40.0 % of it"),
        (None, None, None, why, "0.055 to 0.170 %"),
    ]


@pytest.mark.parametrize("spec", ["", SPEC])
def test_where_nothing_holds_the_ph_a_spec_on_the_other_side_tells_nothing(shelf, spec):
    plan(shelf, {"water": "balance", "sodium-benzoate": "0.50"}, spec)
    why = "the pH is known only as a range, on the alkaline side"
    assert undissociated(shelf, "benzoic acid") == [
        (None, None, None, why, "0.0 to 0.5 % of it"),
        (None, None, None, why, "0.000 to 0.002 %"),
    ]
    plan(shelf, {"water": "balance", "sodium-benzoate": "0.50", "citric-acid": '{ level = "open" }'}, spec)
    brought_to_the_spec = ["0.059 to 0.170 %"] if spec else []
    assert [row[4] for row in undissociated(shelf, "benzoic acid")][1:] == brought_to_the_spec
