"""`fvc swap`: substitute on a stated basis, see the net change, write it where the old line stood.

Figures without a source beside them are case 5 and 6 of the worked cases (exact fractions, invented toner), or are
worked out anew here with plain fractions.
"""

import contextlib
import re
from collections.abc import Callable, Iterable, Iterator
from fractions import Fraction as F

import molmass
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.change.levels import amounts_named
from fvc.change.swap import Into, Substitution, Terms, substituted
from fvc.cli.ahead import started
from fvc.errors import Refusal
from fvc.files.editor import edit_levels
from fvc.files.toml_text import TomlText
from fvc.formulary import Formulary
from fvc.reading import Reading, Side
from tests import toner as t
from tests.support import Result, Studio

TONER = """\
# The toner on the sill.
format   = 1
title    = "Toner T"
revision = 0
use      = "leave-on"
batch    = "180 g"

[phase.A]                        # warm
[phase.A.percent]
water           = "balance"
# sticky from 4 on
propanediol     = 3.00           # 3.5 was sticky
betaine         = 1.50
panthenol-75    = 1.20           # from the old bottle
rice-protein-25 = { level = 0.80, note = "stays: it is on the label" }

[phase.B]
[phase.B.percent]
polysorbate-20 = "4 x neroli-oil"
neroli-oil     = 0.40

[phase.C]
[phase.C.percent]
preservative-blend = 0.90
lactic-acid-80     = { level = "open", expect = 0.18 }
"""
PATH = "formulas/toner.toml"

# id: function, composition, other rows of the record
MORE = {
    "panthenol-50": ("humectant", {"Panthenol": 50, "Aqua": "balance"}, 'supplier = "the other one"\n'),
    "panthenol-98": ("humectant", {"Panthenol": 98}, 'active = ["Panthenol"]\n'),
    "lactate-60": ("humectant", {"Sodium Lactate": 60, "Aqua": "balance"}, "molar_mass = 112.06\n"),
    "pca-50": ("humectant", {"Sodium PCA": 50, "Aqua": "balance"}, "molar_mass = 151.10\n"),
    "glycerin": ("humectant", {"Glycerin": 99.5, "Aqua": 0.5}, 'charge = "non-ionic"\nmolar_mass = 92.09\n'),
    "glycerin-86": ("humectant", {"Glycerin": 86, "Aqua": "balance"}, ""),
    "pentylene-glycol": ("humectant", {"Pentylene Glycol": 100}, ""),
    "quat": ("humectant", {"Q": 100}, 'charge = "cationic"\n'),
    "salt": ("humectant", {"S": 100}, 'charge = "anionic"\n'),
    "mystery": ("humectant", None, ""),
    "half-known": ("humectant", {"Betaine": "unknown", "Aqua": 10}, 'active = ["Betaine"]\n'),
    "citric-acid-50": ("pH adjuster", {"Citric Acid": 50, "Aqua": "balance"}, ""),
    "orange-oil": ("essential oil", {"Citrus Sinensis Peel Oil": 100}, ""),
    "flower-water": ("solvent", {"Citrus Aurantium Amara Flower Water": 100}, ""),
    "solubiliser-b": ("solubiliser", {"PEG-40 Hydrogenated Castor Oil": 100}, ""),
    "polysorbate-80": ("emulsifier", {"Polysorbate 80": 100}, "hlb = 15.0\n"),
    "sorbitan-oleate": ("emulsifier", {"Sorbitan Oleate": 100}, "hlb = 4.3\n"),
    "sorbitan-laurate": ("emulsifier", {"Sorbitan Laurate": 100}, "hlb = 8.6\n"),
    "polysorbate-20-e": ("emulsifier", {"Polysorbate 20": 100}, "hlb = 16.7\n"),
    "emulsifier-8": ("emulsifier", {"Glyceryl Stearate": 100}, "hlb = 8.5\n"),
    "no-hlb": ("emulsifier", {"Cetearyl Alcohol": 100}, ""),
}


def stock(studio: Studio) -> None:
    """The toner's materials with a molar mass for none of them, and more that could stand in their places."""
    for id, (function, composition) in t.MATERIALS.items():
        studio.material(id, function, composition, 'supplier = "a house"\n' if id == "panthenol-75" else "")
    studio.material("preservative-blend", "preservative", t.PRESERVATIVE)
    for id, (function, composition, extra) in MORE.items():
        studio.material(id, function, composition, extra)


@pytest.fixture
def shelf(studio) -> Studio:
    """A toner with comments, a balance, a ratio, a note and an open line; not saved yet."""
    stock(studio)
    studio.write(PATH, TONER)
    return studio


@pytest.fixture
def here(shelf, run_in) -> Iterator[Callable[..., Result]]:
    """Run a command line in this process."""
    yield run_in(shelf.root)
    while started():  # of a command that was refused before it took what git was asked ahead: a process has but one
        pass


def percents(data: dict) -> dict[str, str | None]:
    """Phase:material -> percent afterwards, of what is there afterwards."""
    return {f"{r['phase']}:{r['material']}": r["after_percent"] for r in data["lines"] if r["kind"] != "removed"}


def changed(data: dict) -> dict[str, tuple[str | None, str | None]]:
    """Phase:material -> percent before and after, of all that differs."""
    return {f"{r['phase']}:{r['material']}": (r["before_percent"], r["after_percent"]) for r in data["lines"] if r["kind"] != "same"}


def plain(text: str) -> str:
    """Without line breaks, so that a sentence can be looked for."""
    return " ".join(text.split())


# --- the bases ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "old, new, basis, level, exact",
    [
        ("panthenol-75", "panthenol-50", "active", "1.80", F("1.2") * 75 / 50),
        ("panthenol-75", "panthenol-98", "active", "0.9184", F("1.2") * 75 / 98),
        ("panthenol-75", "panthenol-98", "as-supplied", "1.20", F("1.2")),
        ("propanediol", "glycerin", "active", "3.0151", F(3) * 100 / F("99.5")),
        ("propanediol", "glycerin-86", "level", "2.50", F("2.5")),
    ],
)
def test_the_level_that_keeps_something_equal(here, old, new, basis, level, exact):
    flags = ["--level", "2.50"] if basis == "level" else []
    data = here("swap", "toner", old, new, "--basis", basis, *flags, "--json").data
    assert data["basis"] == basis
    assert [row["material"] for row in data["levels"]] == [new]
    assert abs(F(data["levels"][0]["percent"]) - exact) <= F(1, 2 * 10**10)
    rows = {row["material"]: row for row in data["lines"]}
    assert F(rows[new]["after_percent"]) == F(level)
    assert rows[new]["kind"] == "added"
    assert rows[old]["kind"] == "removed"
    assert sum(F(row["points"]) for row in data["lines"]) == 0
    assert data["saved"] is False


def test_equal_moles_and_equal_mass_differ(shelf, here):
    """Case 5: 2.00 % of a 60 % lactate is 3.2361 % of a 50 % PCA by moles and 2.4000 % by mass."""
    shelf.edit(PATH, "betaine         = 1.50", "lactate-60      = 2.00")
    masses = {name: F(str(round(molmass.Formula(f).mass, 2))) for name, f in {"lactate": "C3H5NaO3", "pca": "C5H6NNaO3"}.items()}
    assert masses == {"lactate": F("112.06"), "pca": F("151.10")}
    moles = here("swap", "toner", "lactate-60", "pca-50", "--basis", "moles", "--json").data
    assert percents(moles)["A:pca-50"] == "3.2361"
    assert abs(F(moles["levels"][0]["percent"]) - 2 * F(60, 50) * masses["pca"] / masses["lactate"]) < F(1, 10**9)
    assert F(percents(here("swap", "toner", "lactate-60", "pca-50", "--basis", "active", "--json").data)["A:pca-50"]) == F("2.4")


def test_bases_that_differ_are_shown_and_one_is_asked_for(shelf, here):
    shelf.edit(PATH, "betaine         = 1.50", "lactate-60      = 2.00")
    before = shelf.read(PATH)
    result = here("swap", "toner", "lactate-60", "pca-50", "--save", code=2)
    rows = [line.split()[:2] for line in result.out.splitlines() if line.startswith("  ")]
    assert ["as-supplied", "2.00"] in rows
    assert ["active", "2.40"] in rows
    assert ["moles", "3.2361"] in rows
    for flag in ("--basis as-supplied", "--basis active", "--basis moles", "--basis level --level"):
        assert flag in result.err
    assert shelf.read(PATH) == before
    silent = here("swap", "toner", "lactate-60", "pca-50", "--json", code=2)
    assert silent.out == ""
    assert "--basis moles" in silent.err


@pytest.mark.parametrize(
    "answer, basis", [("active\n", "active"), (" moles \n", "moles"), ("\n", None), ("level\n", None), ("aktive\n", None), (None, None)]
)
def test_in_a_terminal_the_basis_is_asked_for(shelf, here, monkeypatch, answer, basis):
    shelf.edit(PATH, "betaine         = 1.50", "lactate-60      = 2.00")
    asked = []

    def typed(question: str) -> str:
        asked.append(question)
        if answer is None:
            raise EOFError
        return answer.rstrip("\n")

    monkeypatch.setattr("fvc.cli.swapping.interactive", lambda: True)
    monkeypatch.setattr("builtins.input", typed)
    result = here("swap", "toner", "lactate-60", "pca-50", code=0 if basis else 2)
    assert asked == ["which basis? [as-supplied, active, moles, level] "]
    if basis:
        assert {"active": "2.40", "moles": "3.2361"}[basis] in result.out.split("Basis: ")[1]
    else:
        assert "basis" in result.err


def test_each_basis_that_cannot_be_worked_out_says_which_field_to_fill(here):
    said = plain(here("swap", "toner", "panthenol-75", "panthenol-50", code=2).out)
    assert "moles: not known; the molar mass of panthenol-75 is not known: its record has no molar_mass" in said
    assert "fill in molar_mass" in said
    assert "205.25 for Panthenol" in said  # C9H19NO4


def test_bases_that_agree_need_no_asking_and_are_named(here):
    result = here("swap", "toner", "propanediol", "pentylene-glycol")
    assert "Basis: the same weight as supplied; active gives the same. Moles is not known (the molar mass of propanediol" in plain(
        result.out
    )
    assert "pentylene-glycol  A" in result.out


def test_names_keep_their_capitals_in_the_sentence_of_the_basis(shelf, here):
    said = plain(here("swap", "toner", "betaine", "half-known").out)
    assert (
        "Active is not known (the strength of half-known is not known: its record has no figures under [composition] for Betaine)" in said
    )


@pytest.mark.parametrize(
    "words, message, way",
    [
        (
            ("panthenol-75", "mystery", "--basis", "active"),
            "strength of mystery is not known: its record has no [composition]",
            "[composition]",
        ),
        (("betaine", "half-known", "--basis", "active"), "no figures under [composition] for Betaine", "active"),
        (("panthenol-75", "water", "--basis", "active"), "water has no active matter by its record", "as-supplied"),
        (("panthenol-75", "panthenol-50", "--basis", "moles"), "molar mass of panthenol-75 is not known", "molar_mass"),
        (("propanediol", "no-hlb", "--basis", "hlb"), "the HLB of propanediol is not known: its record has no hlb", "hlb"),
        (("betaine", "glycerin", "--basis", "level"), "the basis level needs the level", "--level 2.0"),
        (("betaine", "glycerin", "--basis", "active", "--level", "2"), "--level goes with --basis level", "--basis level --level 2"),
        (("betaine", "glycerin", "--basis", "aktive"), '"aktive" is no basis', "did you mean active?"),
        (("betaine", "glycerin", "--level", "0"), "0 would be nothing", "2.0"),
        (("betaine", "glycerin", "--level", "101"), "above 100", "2.0"),
        (("betaine", "glycerin", "--level", "1,5"), "comma", "2.0"),
        (("betaine", "glycerin:0"), "a share of 0 would be nothing", "glycerin:2 betaine:1"),
        (("betaine", "glycerin:"), "its share", "glycerin:2 betaine:1"),
        (("betaine", "glycerin:-1"), "its share: it is negative", "glycerin:2 betaine:1"),
        (("betaine", "glycerin", "glycerin"), "glycerin is named twice", "sum of its shares"),
        (("betaine", "Glycerin!"), "is no material", "glycerin"),
        (("betaine", "glicerin", "--basis", "as-supplied"), 'unknown material "glicerin"', "did you mean glycerin"),
        (("betain", "glycerin"), "betain is not in toner", "did you mean betaine?"),
        (("B:betaine", "glycerin"), "betaine is not in phase B of toner", ""),
        (("betaine,,propanediol", "glycerin"), "a name of a line is missing", "propanediol,betaine"),
        (("--function", "humektant", "glycerin"), "no line of toner is a humektant", "humectant"),
        (("betaine",), "what comes in?", "fvc stand-ins toner betaine"),
        (("betaine", "toner"), 'unknown material "toner"', ""),
        (("betaine", "glycerin", "--as", "x", "--save"), "--as keeps a variant", "leave one"),
        (("betaine", "glycerin", "--question", "why?"), "go with a variant", "--as"),
        (("betaine", "glycerin", "--basis", "ratio"), "no ratio holds betaine, and none refers to it", "--hold"),
        (("betaine", "glycerin", "--level", "1", "--hold", "polysorbate-20 4"), "expected LINE = RATIO", "4 x neroli-oil"),
        (("betaine", "glycerin", "--level", "1", "--hold", "polysorbate-20 = 4"), "holds nothing", "4 x neroli-oil"),
        (("betaine", "glycerin", "--level", "1", "--hold", "xanthan = 4 x glycerin"), "xanthan is not in toner", ""),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(shelf, here, words, message, way):
    said = here("swap", "toner", *words, code=2).err
    assert message in said
    assert way in said
    assert shelf.read(PATH) == TONER
    assert not (shelf.root / "variants").exists()


def test_a_level_that_would_round_to_nothing_is_refused(shelf, here):
    shelf.edit("formulary.toml", 'currency = "EUR"\n', 'currency = "EUR"\ndecimals = 0\n')
    said = here("swap", "toner", "betaine", "glycerin:1", "pentylene-glycol:999", "--basis", "as-supplied", code=2).err
    assert "glycerin would come to 0.0015 %" in said
    assert "rounds to 0" in said
    assert shelf.read(PATH) == TONER
    # what was typed is not worked out, and keeps its digits; nor is the same weight
    assert percents(here("swap", "toner", "betaine", "glycerin", "--basis", "as-supplied", "--json").data)["A:glycerin"] == "1.50"
    here("swap", "toner", "betaine", "glycerin", "--level", "0.3", "--save")
    assert "glycerin        = 0.30\n" in shelf.read(PATH)


def test_a_typed_level_keeps_all_its_digits(shelf, here):
    here("swap", "toner", "betaine", "glycerin", "--level", "1.123456", "--save")
    assert "glycerin        = 1.123456\n" in shelf.read(PATH)
    here("swap", "toner", "glycerin", "propanediol", "--level", "0.000001", "--save")
    assert "propanediol     = 3.000001 " in shelf.read(PATH)


# --- HLB (Griffin 1949: the share of A is (X - B) / (A - B)) ------------------------------------------


@pytest.fixture
def cream(shelf) -> Studio:
    shelf.formula("cream", {"A": {"water": "balance", "emulsifier-8": "2.00", "glycerin": "3.00"}, "B": {"emulsifier-8": "1.00"}})
    return shelf


def test_shares_are_worked_out_for_the_same_hlb(cream, here):
    """8.5 from 16.7 and 4.3: 33.87 and 66.13 % (facts: HLB)."""
    data = here("swap", "cream", "A:emulsifier-8", "polysorbate-20-e", "sorbitan-oleate", "--basis", "hlb", "--json").data
    share = (F("8.5") - F("4.3")) / (F("16.7") - F("4.3"))
    assert [round(float(s * 100), 2) for s in (share, 1 - share)] == [33.87, 66.13]
    assert [row["percent"] for row in data["levels"]] == ["0.6774193548", "1.3225806452"]
    assert percents(data)["A:polysorbate-20-e"] == "0.6774"
    assert percents(data)["A:sorbitan-oleate"] == "1.3226"
    assert F(percents(data)["A:water"]) == 94  # the same weight


def test_hlb_in_two_phases_keeps_the_weight_of_each(cream, here):
    data = here("swap", "cream", "emulsifier-8", "polysorbate-20-e", "sorbitan-oleate", "--basis", "hlb", "--json").data
    assert percents(data) == {
        "A:water": "94.0000",
        "A:polysorbate-20-e": "0.6774",
        "A:sorbitan-oleate": "1.3226",
        "A:glycerin": "3.00",
        "B:polysorbate-20-e": "0.3387",
        "B:sorbitan-oleate": "0.6613",
    }


@pytest.mark.parametrize(
    "comes, message",
    [
        (("polysorbate-20-e", "sorbitan-laurate"), "no blend of the two has an HLB of 8.5: it is not between theirs"),
        (("polysorbate-20-e", "emulsifier-8"), "no blend of the two has an HLB of 8.5"),
        (("polysorbate-20-e",), "has not the HLB of what goes, 8.5: polysorbate-20-e 16.7"),
        (("polysorbate-20-e", "sorbitan-oleate", "sorbitan-laurate"), "has not the HLB of what goes, 8.5"),
        (("polysorbate-20-e", "no-hlb"), "the HLB of no-hlb is not known: its record has no hlb"),
        (("polysorbate-20-e:1", "sorbitan-oleate:2"), "the shares follow from the HLB, so none can be asked for"),
    ],
)
def test_an_hlb_that_cannot_be_met_is_refused(cream, here, comes, message):
    assert message in here("swap", "cream", "emulsifier-8", *comes, "--basis", "hlb", code=2).err


def test_the_hlb_is_offered_when_all_have_one(cream, here):
    assert "--basis hlb" in here("swap", "cream", "A:emulsifier-8", "polysorbate-20-e", "sorbitan-oleate", code=2).err
    assert "--basis hlb" not in here("swap", "cream", "A:emulsifier-8", "glycerin", code=2).err


# --- several out, several in, phases ------------------------------------------------------------------


def test_several_out_and_several_in_with_shares(here):
    data = here("swap", "toner", "propanediol,betaine", "glycerin:2", "pentylene-glycol:1", "--basis", "as-supplied", "--json").data
    assert changed(data) == {
        "A:propanediol": ("3.00", None),
        "A:betaine": ("1.50", None),
        "A:glycerin": (None, "3.00"),
        "A:pentylene-glycol": (None, "1.50"),
    }


def test_shares_are_of_what_the_basis_keeps_equal(here):
    data = here("swap", "toner", "propanediol", "panthenol-50:2", "glycerin:1", "--basis", "active", "--json").data
    assert percents(data)["A:panthenol-50"] == "4.00"  # two thirds of 3 % active matter in a 50 % solution
    assert percents(data)["A:glycerin"] == "1.0050"


def test_a_whole_function_goes(here):
    data = here("swap", "toner", "--function", "HUMECTANT", "glycerin", "--level", "4", "--json").data
    assert changed(data) == {
        "A:water": ("90.42", "92.12"),
        "A:propanediol": ("3.00", None),
        "A:betaine": ("1.50", None),
        "A:panthenol-75": ("1.20", None),
        "A:glycerin": (None, "4.00"),
    }
    assert data["basis"] == "level"


def test_fewer_come_than_go_and_more(shelf, here):
    here("swap", "toner", "propanediol,panthenol-75", "glycerin", "--basis", "as-supplied", "--save")
    assert shelf.read(PATH) == TONER.replace(
        "propanediol     = 3.00           # 3.5", "glycerin        = 4.20           # of propanediol: 3.5"
    ).replace("panthenol-75    = 1.20           # from the old bottle\n", "")
    shelf.write(PATH, TONER)
    here("swap", "toner", "betaine", "glycerin", "quat", "salt", "--basis", "as-supplied", "--save")
    assert shelf.read(PATH) == TONER.replace(
        "betaine         = 1.50\n", "glycerin        = 0.50\nquat            = 0.50\nsalt            = 0.50\n"
    )


def test_a_material_in_two_phases_is_taken_out_of_each(shelf, here):
    shelf.edit(PATH, "neroli-oil     = 0.40\n", "neroli-oil     = 0.40\nbetaine        = 0.30\n")
    data = here("swap", "toner", "betaine", "panthenol-50", "--basis", "active", "--json").data
    assert changed(data) == {
        "A:water": ("90.12", "88.32"),
        "A:betaine": ("1.50", None),
        "A:panthenol-50": (None, "3.00"),
        "B:betaine": ("0.30", None),
        "B:panthenol-50": (None, "0.60"),
    }
    assert [row["percent"] for row in data["levels"]] == ["3.6"]
    only = here("swap", "toner", "B:betaine", "panthenol-50", "--basis", "active", "--json").data
    assert changed(only) == {"A:water": ("90.12", "89.82"), "B:betaine": ("0.30", None), "B:panthenol-50": (None, "0.60")}
    level = here("swap", "toner", "betaine", "glycerin", "--level", "1.2", "--json").data
    assert (percents(level)["A:glycerin"], percents(level)["B:glycerin"]) == ("1.00", "0.20")


def test_what_stands_there_already_rises_and_it_is_said(shelf, here):
    result = here("swap", "toner", "panthenol-75", "betaine", "--basis", "active", "--save")
    assert "betaine stood in phase A already: its level rises from 1.50 to 2.40" in plain(result.out)
    assert shelf.read(PATH) == TONER.replace("betaine         = 1.50", "betaine         = 2.40").replace(
        "panthenol-75    = 1.20           # from the old bottle\n", ""
    )


def test_what_stands_in_another_phase_is_said(here):
    data = here("swap", "toner", "B:neroli-oil", "lactic-acid-80", "--basis", "ratio", "--json").data
    assert "lactic-acid-80 now stands in phases B and C" in data["notes"]


def test_what_comes_may_be_among_what_goes(here):
    data = here("swap", "toner", "propanediol,betaine", "betaine", "--basis", "as-supplied", "--json").data
    assert changed(data) == {"A:propanediol": ("3.00", None), "A:betaine": ("1.50", "4.50")}


def test_the_same_in_its_own_place_changes_nothing(shelf, here):
    result = here("swap", "toner", "betaine", "betaine", "--basis", "active", "--save")
    assert "The plan says this already; nothing to write." in result.out
    assert shelf.read(PATH) == TONER


# --- balance, open, room --------------------------------------------------------------------------------


def test_too_much_is_refused_with_the_room_there_is(shelf, here):
    said = here("swap", "toner", "propanediol", "glycerin", "--level", "95", "--save", code=2).err
    assert "glycerin 95 % would take water, the balance, 1.58 below zero" in said
    assert "the room there is: 93.42 %, the 3 of what goes and the 90.42 of the balance" in said
    assert shelf.read(PATH) == TONER
    full = here("swap", "toner", "propanediol", "glycerin", "--level", "93.42", "--json").data
    assert percents(full)["A:water"] == "0.00"


def test_another_line_takes_the_difference(shelf, here):
    data = here("swap", "toner", "propanediol", "glycerin", "--level", "4", "--balance", "betaine", "--json").data
    assert changed(data) == {"A:propanediol": ("3.00", None), "A:glycerin": (None, "4.00"), "A:betaine": ("1.50", "0.50")}
    said = here("swap", "toner", "propanediol", "glycerin", "--level", "4.6", "--balance", "betaine", code=2).err
    assert "betaine at 1.50 cannot give 1.6" in said
    assert "the room there is: 1.50 % of betaine" in said


@pytest.mark.parametrize(
    "name, message",
    [
        ("glycerin", "glycerin comes in at a level of its own, so it cannot take the difference too"),
        ("polysorbate-20", "polysorbate-20 cannot take the difference"),
        ("lactic-acid-80", "lactic-acid-80 cannot take the difference"),
        ("water", "water cannot take the difference"),
        ("nothing", "nothing is not in toner"),
    ],
)
def test_only_a_line_with_a_level_that_is_free_takes_the_difference(here, name, message):
    assert message in here("swap", "toner", "propanediol", "glycerin", "--level", "4", "--balance", name, code=2).err


@pytest.fixture
def scrub(shelf) -> Studio:
    shelf.formula("scrub", {"A": {"propanediol": "60.0", "glycerin-86": "38.5", "preservative-blend": "1.5"}})
    return shelf


def test_a_plan_without_a_balance_asks_who_takes_the_difference(scrub, here):
    said = here("swap", "scrub", "propanediol", "betaine", "--level", "20", code=2).err
    assert "scrub has no balance, and the lines would total 60.00" in said
    assert "--balance MATERIAL" in said
    same = here("swap", "scrub", "propanediol", "betaine", "--basis", "as-supplied", "--json").data
    assert changed(same) == {"A:propanediol": ("60.0", None), "A:betaine": (None, "60.0")}
    here("swap", "scrub", "propanediol", "betaine", "--level", "20", "--balance", "glycerin-86", "--save")
    assert scrub.read("formulas/scrub.toml").endswith("betaine     = 20.0\nglycerin-86 = 78.5\npreservative-blend = 1.5\n")


def test_what_rises_by_the_swap_cannot_be_its_balance(scrub, here):
    said = here("swap", "scrub", "propanediol", "glycerin-86", "--level", "20", "--balance", "glycerin-86", code=2).err
    assert "glycerin-86 comes in at a level of its own" in said


def test_the_balance_itself_may_go_as_supplied(shelf, here):
    here("swap", "toner", "water", "flower-water", "--save")
    assert shelf.read(PATH) == TONER.replace('water           = "balance"', 'flower-water    = "balance"')
    shelf.write(PATH, TONER)
    data = here("swap", "toner", "water,propanediol", "flower-water", "--basis", "as-supplied", "--json").data
    assert percents(data)["A:flower-water"] == "93.42"
    said = here("swap", "toner", "water", "flower-water", "glycerin", "--basis", "as-supplied", code=2).err
    assert "water is the balance, which has no level of its own" in said
    assert "water is the balance" in here("swap", "toner", "water", "flower-water", "--level", "3", code=2).err


def test_what_stands_there_becomes_the_balance_when_the_balance_goes(shelf, here):
    shelf.edit(PATH, "betaine         = 1.50", "flower-water    = 20.00")
    result = here("swap", "toner", "water", "flower-water", "--basis", "as-supplied", "--save")
    assert "flower-water stood in phase A already, at 20.00, and is the balance from now on" in plain(result.out)
    text = shelf.read(PATH)
    assert 'flower-water    = "balance"\n' in text
    assert not re.search(r"^water ", text, re.MULTILINE)
    assert here("sheet", "toner", "--json").data["closed"]


def test_onto_the_balance_it_takes_what_goes(here):
    data = here("swap", "toner", "betaine", "water", "--basis", "as-supplied", "--json").data
    assert changed(data) == {"A:water": ("90.42", "91.92"), "A:betaine": ("1.50", None)}
    assert data["notes"][0] == "water is the balance and takes what goes out, whatever the basis"


def test_an_open_line_stays_open(shelf, here):
    here("swap", "toner", "lactic-acid-80", "citric-acid-50", "--basis", "active", "--save")
    assert shelf.read(PATH) == TONER.replace(
        'lactic-acid-80     = { level = "open", expect = 0.18 }', 'citric-acid-50     = { level = "open", expect = 0.288 }'
    )


def test_an_open_line_that_expects_nothing(shelf, here):
    shelf.edit(PATH, '{ level = "open", expect = 0.18 }', '"open"')
    bare = here("swap", "toner", "lactic-acid-80", "citric-acid-50", "--basis", "as-supplied", "--json").data
    row = next(r for r in bare["lines"] if r["material"] == "citric-acid-50")
    assert (row["open"], row["after_percent"]) == (True, None)
    here("swap", "toner", "lactic-acid-80", "citric-acid-50", "--level", "0.3", "--save")
    assert 'citric-acid-50     = { level = "open", expect = 0.3 }' in shelf.read(PATH)


def test_an_open_line_is_not_added_to_a_level_nor_split(shelf, here):
    shelf.edit(PATH, "preservative-blend = 0.90\n", "preservative-blend = 0.90\ncitric-acid-50     = 0.10\n")
    before = shelf.read(PATH)
    said = here("swap", "toner", "lactic-acid-80", "citric-acid-50", "--basis", "active", "--save", code=2).err
    assert "lactic-acid-80 is open, and citric-acid-50 stands in phase C already, at 0.10" in said
    assert "is open" in here("swap", "toner", "lactic-acid-80", "glycerin", "quat", "--basis", "as-supplied", code=2).err
    assert 'as "open"' in here("swap", "toner", "C:citric-acid-50", "lactic-acid-80", "--basis", "active", code=2).err
    assert shelf.read(PATH) == before


# --- ratios ---------------------------------------------------------------------------------------------


def test_the_ratio_follows_the_oil(shelf, here):
    """Case 6: held at 4 x neroli-oil, the oil from 0.40 to 0.30: polysorbate 1.20, water 90.92."""
    assert percents(here("set", "toner", "neroli-oil=0.30", "--json").data)["B:polysorbate-20"] == "1.20"
    flags = ("--level", "0.30", "--hold", "polysorbate-20 = 4 x orange-oil")
    data = here("swap", "toner", "neroli-oil", "orange-oil", *flags, "--json").data
    assert percents(data)["B:polysorbate-20"] == "1.20"
    assert percents(data)["A:water"] == "90.92"


def test_a_ratio_whose_other_half_goes_is_refused_with_the_ways_out(shelf, here):
    said = here("swap", "toner", "neroli-oil", "orange-oil", "--basis", "as-supplied", "--save", code=2).err
    assert 'polysorbate-20 is held at "4 x neroli-oil", and neroli-oil goes' in said
    assert '--hold "polysorbate-20 = 4 x orange-oil"' in said
    assert "--basis ratio" in said
    assert "fvc set toner polysorbate-20=LEVEL --free" in said
    assert shelf.read(PATH) == TONER
    here("swap", "toner", "neroli-oil", "orange-oil", "--basis", "ratio", "--save")
    assert shelf.read(PATH) == TONER.replace('"4 x neroli-oil"', '"4 x orange-oil"').replace("neroli-oil     =", "orange-oil     =")


def test_the_ratio_takes_all_that_comes(here, shelf):
    here("swap", "toner", "neroli-oil", "orange-oil:1", "glycerin:1", "--basis", "ratio", "--save")
    text = shelf.read(PATH)
    assert 'polysorbate-20 = "4 x (orange-oil + glycerin)"' in text
    assert "orange-oil     = 0.20\nglycerin       = 0.20\n" in text


def test_a_held_line_keeps_its_ratio_in_another_material(shelf, here):
    here("swap", "toner", "polysorbate-20", "solubiliser-b", "--basis", "ratio", "--save")
    assert shelf.read(PATH) == TONER.replace("polysorbate-20 = ", "solubiliser-b  = ")
    shelf.write(PATH, TONER)
    result = here("swap", "toner", "polysorbate-20", "solubiliser-b:2", "glycerin:1", "--basis", "ratio", "--save")
    text = shelf.read(PATH)
    assert 'solubiliser-b  = "2.6667 x neroli-oil"' in text
    assert 'glycerin       = "1.3333 x neroli-oil"' in text
    # 8/3 - 2.6667 is 1/30000 of the factor; at 0.40 % of oil that is 0.00001333 points
    assert "solubiliser-b: rounded to 2.6667 x neroli-oil, 0.00001333 points away from exact" in plain(result.out)


def test_a_held_line_that_gets_a_level_of_its_own_says_so(here):
    data = here("swap", "toner", "polysorbate-20", "solubiliser-b", "--basis", "as-supplied", "--json").data
    row = next(r for r in data["lines"] if r["material"] == "solubiliser-b")
    assert row["after_level"] == "1.60"
    assert any('polysorbate-20 was held at "4 x neroli-oil"' in n for n in data["notes"])
    held = here(
        "swap", "toner", "polysorbate-20", "solubiliser-b", "--basis", "as-supplied", "--hold", "solubiliser-b = 5 x neroli-oil", "--json"
    ).data
    assert percents(held)["B:solubiliser-b"] == "2.00"
    assert not any("was held" in n for n in held["notes"])


def test_a_ratio_by_function_goes_on_with_what_has_the_function(shelf, here):
    shelf.edit(PATH, '"4 x neroli-oil"', '"4 x all essential oil"')
    data = here("swap", "toner", "neroli-oil", "orange-oil", "--basis", "ratio", "--json").data
    assert percents(data)["B:polysorbate-20"] == "1.60"
    said = here("swap", "toner", "neroli-oil", "glycerin", "--basis", "ratio", code=2).err
    assert 'polysorbate-20 is held at "4 x all essential oil", and glycerin is no essential oil' in said
    said = here("swap", "toner", "neroli-oil", "glycerin", "--basis", "as-supplied", "--save", code=2).err
    assert 'the ratio "4 x all essential oil" finds no essential oil in this plan' in said


def test_a_ratio_by_function_that_loses_one_of_its_lines_says_so(shelf, here):
    shelf.material("orange-oil", "essential oil", {"Citrus Aurantium Dulcis Peel Oil": 100})
    shelf.edit(PATH, '"4 x neroli-oil"', '"4 x all essential oil"')
    shelf.edit(PATH, "neroli-oil     = 0.40\n", "neroli-oil     = 0.40\norange-oil     = 0.10\n")
    data = here("swap", "toner", "orange-oil", "glycerin", "--basis", "as-supplied", "--json").data
    assert (
        'polysorbate-20 is held at "4 x all essential oil", and glycerin is no essential oil: it follows only what stays of it; '
        'to hold it to what comes too:  --hold "polysorbate-20 = …"'
    ) in data["notes"]
    lines = {row["material"]: row["after_percent"] for row in data["lines"]}
    assert F(lines["polysorbate-20"]) == F("1.60")


def test_a_ratio_on_what_goes_in_one_phase_only(shelf, here):
    shelf.edit(PATH, "preservative-blend = 0.90\n", "preservative-blend = 0.90\nneroli-oil         = 0.10\n")
    data = here("swap", "toner", "C:neroli-oil", "orange-oil", "--basis", "ratio", "--json").data
    row = next(r for r in data["lines"] if r["material"] == "polysorbate-20")
    assert (row["after_level"], F(row["after_percent"])) == ("4 x (neroli-oil + orange-oil)", 2)
    fewer = here("swap", "toner", "C:neroli-oil", "orange-oil", "--basis", "as-supplied", "--json").data
    assert F(percents(fewer)["B:polysorbate-20"]) == F("1.6")
    assert any("polysorbate-20 is held" in n and "follows only what stays of it" in n for n in fewer["notes"])


# --- cautions ---------------------------------------------------------------------------------------------


def test_the_same_inci_name_is_a_warning(here):
    """A DL powder is another active under the same INCI name (case 5)."""
    result = here("swap", "toner", "panthenol-75", "panthenol-50", "--basis", "active")
    assert "panthenol-75 and panthenol-50 share the INCI name Panthenol, which does not tell the form" in plain(result.out)
    assert "another supplier (the other one, was a house)" in plain(result.out)
    notes = here("swap", "toner", "panthenol-75", "panthenol-98", "--basis", "active", "--json").data["notes"]
    assert [n for n in notes if "share the INCI name Panthenol" in n]
    assert not [n for n in notes if "another supplier" in n]  # the record names none
    assert not here("swap", "toner", "panthenol-75", "glycerin", "--basis", "active", "--json").data["notes"]


def test_unlike_charges_are_a_warning(shelf, here):
    shelf.edit(PATH, "betaine         = 1.50", "quat            = 1.50")
    notes = here("swap", "toner", "quat", "salt", "--basis", "active", "--json").data["notes"]
    assert notes == ["quat is cationic, salt is anionic"]


def test_a_note_in_the_row_stays_and_is_named(shelf, here):
    result = here("swap", "toner", "rice-protein-25", "glycerin", "--basis", "as-supplied", "--save")
    assert 'the note "stays: it is on the label" was written about rice-protein-25 and stays beside glycerin' in plain(result.out)
    assert shelf.read(PATH) == TONER.replace("rice-protein-25 =", "glycerin        =")


# --- the bill of it: limits, use levels, checks, label, cost -------------------------------------------


def test_limits_cautions_label_and_cost_are_of_the_change(shelf, here):
    shelf.material("glycerin", "humectant", {"Glycerin": 99.5, "Aqua": 0.5}, 'use_level = [1, 2.5]\nprice = "8.00 / 1 kg"\n')
    shelf.material("propanediol", "humectant", {"Propanediol": 100}, 'price = "20.00 / 1 kg"\n')
    data = here("swap", "toner", "propanediol", "glycerin", "--basis", "as-supplied", "--json").data
    assert [(each["kind"], each["rule"]) for each in data["limits"]] == [("crossed", "use-level")]
    assert "0.5 above the 1 to 2.5 % of its record" in data["limits"][0]["message"]
    assert (data["labels"][0]["gained"], data["labels"][0]["lost"]) == (["Glycerin"], ["Propanediol"])
    cost = data["cost"]
    assert F(cost["after_priced_per_kg"]) - F(cost["before_priced_per_kg"]) == (8 - 20) * F(3, 100)
    back = here("swap", "toner", "propanediol", "glycerin", "--level", "0.5", "--json").data
    assert ["note", "use-level"] in [[f["level"], f["rule"]] for f in back["cautions"]]  # fallen short of


def test_what_a_check_finds_before_and_after_is_told_once(shelf, here):
    """Taking the preservative out is a stop of its own; what stood against the plan before is not repeated."""
    data = here("swap", "toner", "preservative-blend", "pentylene-glycol", "--basis", "as-supplied", "--json").data
    assert [f["rule"] for f in data["cautions"]] == ["preservative"]
    assert {f["rule"] for f in data["eased"]} == {"preservative-at-ph", "crystals"}  # of the blend, at the pH of 2.9 of this plan
    shelf.edit(PATH, "preservative-blend = 0.90", "pentylene-glycol   = 0.90")
    data = here("swap", "toner", "pentylene-glycol", "preservative-blend", "--basis", "as-supplied", "--json").data
    assert "preservative" not in [f["rule"] for f in data["cautions"]]
    assert [f["rule"] for f in data["eased"]] == ["preservative"]


def test_allergens_gained_and_lost(here):
    data = here("swap", "toner", "neroli-oil", "orange-oil", "--basis", "ratio", "--json").data
    assert "Linalyl Acetate" in data["labels"][0]["allergens_lost"]
    assert "Limonene" not in data["labels"][0]["allergens_lost"]


# --- keeping it ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("newline, bom, final", [("\n", False, True), ("\r\n", False, True), ("\r\n", True, False), ("\n", True, True)])
def test_comments_order_and_line_ends_stay(shelf, here, newline, bom, final):
    def as_typed(text: str) -> bytes:
        text = text if final else text.rstrip("\n")
        return (b"\xef\xbb\xbf" if bom else b"") + text.replace("\n", newline).encode()

    shelf.write(PATH, as_typed(TONER))
    here("swap", "toner", "propanediol", "glycerin-86", "--basis", "active", "--save")
    written = TONER.replace("propanediol     = 3.00           # 3.5", "glycerin-86     = 3.4884           # of propanediol: 3.5")
    assert (shelf.root / PATH).read_bytes() == as_typed(written)


def test_nothing_is_written_unless_told(shelf):
    result = shelf.ok("swap", "toner", "propanediol", "glycerin", "--basis", "active")
    assert "Nothing was written. Add --save" in result.out
    assert "--as VARIANT" in result.out
    assert shelf.read(PATH) == TONER


def test_saving_with_a_reason_makes_a_revision(shelf):
    shelf.ok("revise", "toner", "--reason", "first")
    shelf.ok("swap", "toner", "propanediol", "glycerin", "--basis", "as-supplied", "--reason", "less sticky")
    newest = shelf.json("history", "toner")["revisions"][0]
    assert (newest["revision"], newest["reason"]) == (2, "less sticky")
    assert "revision = 2" in shelf.read(PATH)
    assert shelf.git("status", "--porcelain", "formulas") == ""


def test_kept_as_a_variant_the_plan_stays(shelf):
    shelf.ok("revise", "toner", "--reason", "first")
    plan = shelf.read(PATH)
    data = shelf.json("swap", "toner", "propanediol", "glycerin", "--basis", "as-supplied", "--as", "gly", "--question", "Less sticky?")
    assert (data["variant"], data["parent"], data["saved"]) == ("gly", "toner.1", True)
    assert shelf.read(PATH) == plan
    text = shelf.read("variants/toner/gly.toml")
    assert 'question = "Less sticky?"' in text
    assert "glycerin        = 3.00           # of propanediol: 3.5 was sticky\n" in text
    assert "has a variant gly already" in shelf.refused("swap", "toner", "betaine", "glycerin", "--basis", "as-supplied", "--as", "gly")
    shelf.ok("swap", "toner", "betaine", "glycerin", "--basis", "as-supplied", "--as", "two")
    assert 'question = "What does glycerin do in place of betaine?"' in shelf.read("variants/toner/two.toml")
    shelf.ok("swap", "toner/gly", "glycerin", "propanediol", "--basis", "as-supplied", "--save")
    assert "propanediol     = 3.00           # 3.5 was sticky\n" in shelf.read("variants/toner/gly.toml")
    assert shelf.read(PATH) == plan


def test_a_saved_revision_can_be_tried_and_kept_but_not_changed(shelf):
    shelf.ok("revise", "toner", "--reason", "first")
    shelf.ok("set", "toner", "propanediol=2.00", "--reason", "less")
    plan = shelf.read(PATH)
    data = shelf.json("swap", "toner.1", "propanediol", "glycerin", "--basis", "as-supplied")
    assert percents(data)["A:glycerin"] == "3.00"
    assert "toner.1 is a saved state" in shelf.refused("swap", "toner.1", "propanediol", "glycerin", "--basis", "as-supplied", "--save")
    shelf.ok("swap", "toner.1", "propanediol", "glycerin", "--basis", "as-supplied", "--as", "old")
    assert 'parent   = "toner.1"' in shelf.read("variants/toner/old.toml")
    assert shelf.read(PATH) == plan


def test_a_locked_plan_is_not_written_but_may_be_tried(shelf):
    shelf.edit(PATH, 'use      = "leave-on"', 'status   = "locked"\nuse      = "leave-on"')
    shelf.ok("revise", "toner", "--reason", "final")
    plan = shelf.read(PATH)
    words = ("swap", "toner", "propanediol", "glycerin", "--basis", "as-supplied")
    assert "toner is locked as revision 1" in shelf.refused(*words, "--save")
    assert "toner is locked" in shelf.refused(*words, "--reason", "still")
    # before any question is asked
    assert "toner is locked" in shelf.refused("swap", "toner", "propanediol", "glycerin", "--save")
    shelf.ok(*words)
    shelf.ok(*words, "--as", "try")
    assert shelf.read(PATH) == plan


def test_a_premix_goes_for_another_and_never_into_itself(shelf, here):
    shelf.formula("premix", {"A": {"water": "balance", "glycerin": "50"}})
    data = here("swap", "toner", "propanediol", "premix", "--basis", "as-supplied", "--json").data
    assert percents(data)["A:premix"] == "3.00"
    shelf.formula("outer", {"A": {"water": "balance", "premix": "5.0"}})
    said = here("swap", "premix", "glycerin", "outer", "--basis", "as-supplied", "--save", code=2).err
    assert "a formula would stand inside itself: premix -> outer -> premix" in said
    shelf.formula("outermost", {"A": {"water": "balance", "outer": "5.0"}})
    assert "premix -> outermost -> outer -> premix" in here("swap", "premix", "glycerin", "outermost", "--level", "5", code=2).err
    assert "glycerin = 50" in shelf.read("formulas/premix.toml")


# --- laws: there and back ------------------------------------------------------------------------------------


class Held:
    """The files of a formulary, in memory."""

    def __init__(self, files: dict[str, str]) -> None:
        self.files = {path: text.encode() for path, text in files.items()}

    def read(self, path: str) -> bytes | None:
        return self.files.get(path)

    def names(self, folder: str) -> list[str]:
        return sorted(path.rpartition("/")[2] for path in self.files if path.rpartition("/")[0] == folder)

    def has(self, path: str) -> bool:
        return path in self.files

    def key(self, path: str) -> str | None:
        return path if path.startswith("materials/") else None

    def expect(self, paths: Iterable[str]) -> None:
        pass


PARSED: dict = {}
STRENGTHS = {"m-a": 100, "m-b": 75, "m-c": 50, "m-d": 98, "m-e": 33, "m-f": 60}
MASSES = {"m-a": "92.09", "m-b": "205.25", "m-c": "151.1", "m-d": "112.06", "m-e": "76.09", "m-f": "117.15"}
RECORDS = {
    "materials/water.toml": 'format = 1\nname = "w"\nfunction = "solvent"\n[composition]\n"Aqua" = 100\n',
} | {
    f"materials/{id}.toml": f'format = 1\nname = "{id}"\nfunction = "humectant"\nmolar_mass = {MASSES[id]}\n'
    f'[composition]\n"Inci {id}" = {share}\n"Aqua" = "balance"\n'
    for id, share in STRENGTHS.items()
}


def read(text: str, records: dict[str, str] = RECORDS) -> Reading:
    """A plan as fvc reads it."""
    formulary = Formulary(Held(records | {"formulas/plan.toml": text}), PARSED if records is RECORDS else None)
    return formulary.read_path("formulas/plan.toml", Side("plan", None, 1, True))


def materials(records: dict[str, str] = RECORDS) -> dict:
    formulary = Formulary(Held(records), PARSED if records is RECORDS else None)
    return {id: formulary.ingredient(id)[0] for id in formulary.materials()}


ALL = materials()


def swapped(text: str, old: str, new: str, basis: str) -> tuple[str, Substitution]:
    """The text of a plan after a swap, and what it did."""
    reading = read(text)
    change = substituted(reading, amounts_named(reading, [old]), [Into(new)], basis, ALL, Terms())
    after = edit_levels(TomlText(text.encode(), "formulas/plan.toml"), change.edits).decode()
    assert [(a.line.phase, a.line.material, a.percent) for a in read(after).closure.amounts] == [
        (a.line.phase, a.line.material, a.percent) for a in change.after.closure.amounts
    ], "the file and the reading say the same"
    return after, change


@st.composite
def plans(draw) -> tuple[str, str, str]:
    """A plan as text, a material that stands in it, and one that does not."""
    ids = draw(st.permutations(sorted(STRENGTHS)))
    inside, new = ids[: draw(st.integers(1, 5))], ids[-1]
    out = 'format = 1\ntitle = "p"\nbatch = "100 g"\n\n'
    for phase in ("A", "B"):
        out += f"[phase.{phase}.percent]\n" + ('water = "balance"\n' if phase == "A" else "")
        for id in draw(st.permutations(inside))[: len(inside) if phase == "A" else draw(st.integers(0, len(inside)))]:
            places = draw(st.sampled_from([0, 1, 2, 2, 2, 3, 4, 6]))
            level = draw(st.integers(1, 6 * 10**places))
            text = f"{level // 10**places}" + (f".{level % 10**places:0{places}d}" if places else "")
            out += f"{id} = {text}{draw(st.sampled_from(['', '   # as it was', ' # of m-x: older']))}\n"
    return out, inside[0], new


def both_ways(text: str, old: str, new: str, basis: str) -> tuple[tuple[str, Substitution], tuple[str, Substitution]] | None:
    """There and back; None where one of the two is refused for want of room, which changes nothing."""
    try:
        there = swapped(text, old, new, basis)
        return there, swapped(there[0], new, old, basis)
    except Refusal as refusal:
        if not re.search("below zero|above 100|rounds to 0", refusal.faults[0].message):
            raise
        return None


@given(plans(), st.sampled_from(["as-supplied", "active", "moles"]))
def test_there_and_back_gives_the_plan_back_or_says_what_was_rounded(plan, basis):
    text, old, new = plan
    found = both_ways(text, old, new, basis)
    if found is None:
        return
    (_, first), (back, second) = found
    before, after = read(text), read(back)
    lines = [(a.line.phase, a.line.material) for a in before.closure.amounts]
    assert [(a.line.phase, a.line.material) for a in after.closure.amounts] == lines, "the order of addition"
    rounded = [e for e in (*first.edits, *second.edits) if e.rounded]
    if not rounded:
        assert [a.percent for a in after.closure.amounts] == [a.percent for a in before.closure.amounts]
        if basis == "as-supplied":
            assert back == text, "the file is as it was, byte for byte"
    # the comments are as they were, whatever was rounded
    assert re.findall("#.*", back) == re.findall("#.*", text)
    # and what is off is no more than what was said to be rounded away, scaled by the second swap
    factor = max(F(STRENGTHS[new], STRENGTHS[old]), 1) * max(F(MASSES[old]) / F(MASSES[new]), 1)
    for a, b in zip(before.closure.amounts, after.closure.amounts, strict=True):
        if a.line.material == old:
            assert abs(a.counted - b.counted) <= F(1, 20000) * (1 + factor)


@given(plans(), st.sampled_from(["active", "moles"]))
def test_what_the_basis_names_stays_equal_up_to_what_was_rounded(plan, basis):
    """The oracle: active matter, or moles of it, over all phases, from the figures above and no code of fvc."""
    text, old, new = plan

    def matter(reading: Reading, id: str) -> F:
        level = sum((a.counted for a in reading.closure.amounts if a.line.material == id), F(0))
        return level * STRENGTHS[id] / (F(MASSES[id]) if basis == "moles" else 1)

    with contextlib.suppress(Refusal):
        _, change = swapped(text, old, new, basis)
        exact = matter(read(text), old)
        one = F(STRENGTHS[new]) / (F(MASSES[new]) if basis == "moles" else 1)
        assert dict(change.levels)[new] == exact / one
        assert matter(change.after, new) == exact - sum((e.rounded for e in change.edits), F(0)) * one
        others = {(a.line.phase, a.line.material): a.percent for a in read(text).closure.amounts if a.line.material not in (old, "water")}
        assert others == {
            (a.line.phase, a.line.material): a.percent for a in change.after.closure.amounts if a.line.material not in (new, "water")
        }, "nothing else moves but the balance"
