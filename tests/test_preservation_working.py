"""How much of a preservative works at a pH: published shares, plans as makers write them, and the laws it must keep."""

import time
from fractions import Fraction as F

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fvc.formulary import Formulary
from fvc.reading import Reading, Side
from fvc.reference.antagonisms import ANTAGONISMS
from fvc.reference.lookup import known
from fvc.reference.substances import SUBSTANCES
from fvc.science.equilibrium import Protolyte, davies, shares
from fvc.science.ph import model
from fvc.science.preservation import (
    CHALLENGE,
    LEFT_OUT,
    NONE_KNOWN,
    AtPh,
    Pka,
    Working,
    antagonisms,
    compare,
    free_form,
    not_known,
    notes,
    said,
    undissociated,
    working,
    workings,
)  # fmt: skip
from fvc.sources import FolderSource
from tests.support import Studio


@pytest.fixture
def shelf(plain_folder) -> Studio:
    """Raw materials of a maker who preserves with acids."""
    studio = Studio.make(plain_folder / "studio", git=False)
    studio.material("sodium-benzoate", "preservative", {"Sodium Benzoate": 100})
    studio.material("benzoic-acid", "preservative", {"Benzoic Acid": 100})
    studio.material("potassium-sorbate", "preservative", {"Potassium Sorbate": 100})
    studio.material("calcium-sorbate", "preservative", {"Calcium Sorbate": 100})
    studio.material("acid-blend", "preservative", {"Benzyl Alcohol": 87, "Dehydroacetic Acid": 8, "Aqua": "balance"})
    studio.material("phenoxyethanol", "preservative", {"Phenoxyethanol": 100})
    studio.material("methylparaben", "preservative", {"Methylparaben": 100})
    studio.material("sodium-methylparaben", "preservative", {"Sodium Methylparaben": 100})
    studio.material("undecylenic-acid", "preservative", {"Undecylenic Acid": 100})
    studio.material("extract", "extract", {"Camellia Sinensis Leaf Extract": 2, "Sodium Benzoate": 0.5, "Aqua": "balance"})
    studio.material("vague-extract", "extract", {"Camellia Sinensis Leaf Extract": 2, "Sodium Benzoate": "unknown", "Aqua": "balance"})
    studio.material("polysorbate-20", "solubiliser", {"Polysorbate 20": 100})
    studio.material("vitamin-c", "active", {"Ascorbic Acid": 100})
    studio.material("secret", "preservative")
    studio.material("silent", "film former")
    studio.formula("preserve", {"A": {"water": "balance", "sodium-benzoate": "20", "potassium-sorbate": "10"}})
    return studio


def plan(studio: Studio, lines: dict[str, str], name: str = "mist") -> Reading:
    """The plan of these lines, which water closes, as fvc reads it."""
    studio.formula(name, {"A": {"water": "balance"} | lines})
    return Formulary(FolderSource(studio.root)).read_path(f"formulas/{name}.toml", Side(name))


def at(ph: str, low: str = "", high: str = "", how: str = "estimated") -> AtPh:
    return AtPh(F(ph), F(low or ph), F(high or ph), how)


def the(found: tuple[Working, ...], name: str) -> Working:
    return next(each for each in found if each.name == name)


# --- published shares -----------------------------------------------------------------------------------

# The chemistry of preservatives, J. Cosmet. Sci. 56, 361 (2005): percent active at pH 3, 4, 5, 6 and 7, printed in whole percent
# or cut off there, with pKa that differ by up to 0.02 from ours. Dehydroacetic 5.27, benzoic 4.18, sorbic 4.76, salicylic 2.97,
# formic 3.75, propionic 4.87. A pKa that is off by 0.1 is off by up to 5.8.
ACTIVE = {
    "Dehydroacetic Acid": ("100", "95", "65", "16", "2"),
    "Benzoic Acid": ("94", "61", "13", "1.5", "0"),
    "Sorbic Acid": ("98", "85", "37", "5.5", "0"),
    "Salicylic Acid": ("48", "9", "1", "0", "0"),
    "Formic Acid": ("85", "36", "5", "1", "0"),
    "Propionic Acid": ("99", "88", "43", "7", "1"),
}


@pytest.mark.parametrize("acid", ACTIVE)
def test_the_table_of_active_shares(acid):
    pka = float(known(acid).pka[0])
    table = [float(text) for text in ACTIVE[acid]]

    def furthest(constant: float) -> float:
        return max(abs(100 * undissociated(ph, constant) - share) for ph, share in zip(range(3, 8), table, strict=True))

    assert furthest(pka) < 1
    assert furthest(pka + 0.1) > 1
    assert furthest(pka - 0.1) > 1


# A data book of food additives, benzoic acid, pK 4.19: at pH 3 to 7 (its own figures follow a pK of 4.16 to 4.17).
@pytest.mark.parametrize("ph, share", [(3, 93.5), (4, 59.3), (5, 12.8), (6, 1.44), (7, 0.144)])
def test_benzoic_acid_in_a_data_book(ph, share):
    assert 100 * undissociated(ph, 4.204) == pytest.approx(share, rel=0.1, abs=0.02)
    assert abs(100 * undissociated(ph, 4.204) - share) < 2.5


@pytest.mark.parametrize(
    "inci, ph, share",
    [
        # Henderson and Hasselbalch with benzoic 4.204 and sorbic 4.76 (Martell & Smith)
        ("Benzoic Acid", 4.5, "33.6"),
        ("Benzoic Acid", 5.5, "4.8"),
        ("Sorbic Acid", 5.0, "36.5"),
        # what suppliers print of potassium sorbate: 70 % at pH 4.4, 37 % at 5.0, 6 % at 6.0, all with a pKa near 4.77
        ("Sorbic Acid", 4.4, "69.6"),
        ("Sorbic Acid", 6.0, "5.4"),
    ],
)
def test_shares_that_makers_know(inci, ph, share):
    assert f"{100 * undissociated(ph, float(known(inci).pka[0])):.1f}" == share


def test_what_ions_do_is_in_the_low_end(shelf):
    """The solver of the pH, which has it, sees at an ionic strength of 0.1 what a pKa 0.107 lower gives (Davies)."""
    weak, damping = Protolyte("benzoic acid", 1, 0, (4.204,)), davies(0.1)
    for ph in (3.5, 4.2, 5.0, 6.0):
        assert shares(weak, ph, damping)[0] == pytest.approx(undissociated(ph, 4.204 - 0.107), abs=0.001)
        assert shares(weak, ph, 0.0)[0] == pytest.approx(undissociated(ph, 4.204), abs=1e-9)
    assert "in the low end alone" in LEFT_OUT[0]
    assert Pka(4.204, 4.184, 4.224, "", 0.1).lowest == 4.077  # 4.184 - 0.107


def test_what_the_solver_sees_lies_in_the_band(shelf):
    """Much salt: the solver, with activities, sees 23.0 % of benzoic acid undissociated at pH 4.60 and an ionic strength of 0.21."""
    shelf.material("salt", "thickener", {"Sodium Chloride": 100})
    for salt in ("0", "0.9", "2"):
        reading = plan(shelf, {"sodium-benzoate": "0.5", "salt": salt})
        strength = model(reading).balance.ionic_strength
        benzoic = working(reading, at("4.60", "4.55", "4.65"))[0]
        truth = 100 * shares(Protolyte("benzoic acid", 1, 0, (4.204,)), 4.60, davies(strength))[0]
        assert benzoic.undissociated.low < truth < benzoic.undissociated.nominal
    assert (round(strength, 2), round(truth, 1)) == (0.39, 22.7)
    assert 100 * shares(Protolyte("benzoic acid", 1, 0, (4.204,)), 4.60, davies(0.21))[0] == pytest.approx(23.0, abs=0.05)


def test_where_the_model_gives_no_ionic_strength_a_usual_one_is_taken_and_said(shelf):
    reading = plan(shelf, {"sodium-benzoate": "0.5", "polysorbate-20": "70"})
    assert model(reading).balance is None
    assert "0.1 mol/kg, assumed" in next(step.what for step in workings(reading, at("4.5", "4.4", "4.6")) if "among ions" in step.what)


# --- plans ----------------------------------------------------------------------------------------------


def test_a_benzoate_and_sorbate_mist(shelf):
    found = working(plan(shelf, {"sodium-benzoate": "0.5", "potassium-sorbate": "0.3"}), at("4.5", "4.3", "4.7"))
    benzoic, sorbic = found
    # as acid: sodium benzoate x 0.8475, potassium sorbate x 0.7464 (molar masses 122.12 / 144.10 and 112.13 / 150.22)
    assert (benzoic.name, said(benzoic.percent)) == ("Benzoic Acid", "0.424")
    assert float(benzoic.percent.nominal) == pytest.approx(0.5 * 0.8475, abs=0.00005)
    assert float(sorbic.percent.nominal) == pytest.approx(0.3 * 0.7464, abs=0.00005)
    assert [said(each.undissociated) for each in found] == ["33.6", "64.5"]
    assert [said(each.concentration) for each in found] == ["0.142", "0.145"]
    assert (said(benzoic.undissociated._replace(nominal=None)), benzoic.fits) == ("19.9 to 45.6", "inside")  # pKa 4.095 to 4.224
    assert not benzoic.not_counted


def test_salts_of_one_acid_are_one_preservative(shelf):
    reading = plan(shelf, {"potassium-sorbate": "0.3", "calcium-sorbate": "0.2", "preserve": "1", "extract": "4"})
    sorbic, benzoic = working(reading, at("5"))
    # calcium sorbate holds two of the acid: 2 x 112.13 / 262.32 = 0.8549
    assert sorbic.percent.nominal == (F("0.3") + F("0.1")) * F("112.13") / F("150.22") + F("0.2") * 2 * F("112.13") / F("262.32")
    assert [brought.part.words for brought in sorbic.brought] == ["potassium-sorbate", "potassium-sorbate in preserve", "calcium-sorbate"]
    assert benzoic.percent.nominal == (F("0.2") + F("0.02")) * F("122.12") / F("144.1")
    assert sorbic.fits == "inside"


def test_the_ranges_in_common_use(shelf):
    reading = plan(shelf, {"sodium-benzoate": "0.5", "phenoxyethanol": "0.9", "acid-blend": "0.8"})

    def fits(ph: AtPh) -> dict[str, str]:
        return {each.name: each.fits for each in working(reading, ph)}

    assert fits(at("4.8", "4.6", "5.0")) == dict.fromkeys(fits(at("5")), "inside")
    assert fits(at("5.0", "4.8", "5.2"))["Benzoic Acid"] == "partly"
    assert fits(at("5.4", "5.2", "5.6"))["Benzoic Acid"] == "outside"
    assert fits(at("5.4", "5.2", "5.6"))["Phenoxyethanol"] == "inside"
    shelf.edit("materials/sodium-benzoate.toml", "[composition]", "ph_range = [2, 6]\n[composition]")
    benzoic = working(plan(shelf, {"sodium-benzoate": "0.5"}), at("5.4", "5.2", "5.6"))[0]
    assert (benzoic.fits, benzoic.ph_range.source) == ("inside", "ph_range in the record of sodium-benzoate")


def test_a_spec_gives_both_ends_and_no_middle(shelf):
    spec = AtPh(None, F("4.5"), F("5.5"), "by the spec")
    benzoic = working(plan(shelf, {"sodium-benzoate": "0.5"}), spec)[0]
    # 0.0349 mol/kg of salt: 4.184 - 0.510 (√0.0349 / (1 + √0.0349) - 0.3 · 0.0349) is 4.109
    # 1/(1 + 10^(5.5 - 4.109)) and 1/(1 + 10^(4.5 - 4.224))
    assert said(benzoic.undissociated) == "3.91 to 34.6"
    assert said(benzoic.concentration) == "0.0165 to 0.147"
    assert (benzoic.undissociated.nominal, benzoic.fits) == (None, "partly")
    assert [s.what for s in workings(plan(shelf, {"sodium-benzoate": "0.5"}), spec)][2].endswith("at the ends of the pH, by the spec")


def test_without_a_ph_only_the_amount_is_known(shelf):
    reading = plan(shelf, {"sodium-benzoate": "0.5"})
    benzoic = working(reading, None)[0]
    assert (benzoic.undissociated, benzoic.concentration, benzoic.fits) == (None, None, "")
    assert not_known(reading, (benzoic,)) == ("no pH is known, so the undissociated share of benzoic acid is not counted",)


def test_parabens_are_weak_acids_by_their_phenol(shelf):
    paraben = working(plan(shelf, {"methylparaben": "0.1", "sodium-methylparaben": "0.1"}), at("8"))[0]
    assert paraben.name == "Methylparaben"
    assert paraben.percent.nominal == F("0.1") + F("0.1") * F("152.15") / F("174.13")
    # "at a pH of 8 about half is dissociated": J. Cosmet. Sci. 56, 362 (2005); pKa 8.17, uncertain
    assert said(paraben.undissociated) == "59.7"
    assert paraben.undissociated.low < 52 < 60 < paraben.undissociated.high


def test_what_is_no_weak_acid_has_its_amount_and_its_range_only(shelf):
    alcohol = the(working(plan(shelf, {"acid-blend": "0.8"}), at("4.5")), "Benzyl Alcohol")
    assert (said(alcohol.percent), alcohol.pka, alcohol.undissociated, alcohol.not_counted) == ("0.696", None, None, "")
    assert alcohol.ph_range[:2] == (3, 7)


# --- bad input ------------------------------------------------------------------------------------------


def test_an_acid_without_a_constant_is_not_counted_and_said(shelf):
    reading = plan(shelf, {"undecylenic-acid": "0.2"})
    (acid,) = working(reading, at("5"))
    assert (acid.undissociated, acid.concentration) == (None, None)
    assert acid.not_counted == (
        "no pKa of undecylenic acid is known, so its undissociated share is not counted; a record can give it under [acid]"
    )
    assert acid.not_counted in [step.what for step in workings(reading, at("5"))]
    shelf.edit("materials/undecylenic-acid.toml", "[composition]", "[acid]\npka = 5.0\n\n[composition]")
    (acid,) = working(plan(shelf, {"undecylenic-acid": "0.2"}), at("5"))
    assert (said(acid.undissociated), said(acid.concentration), acid.not_counted) == ("50", "0.1", "")
    assert acid.pka.source == "[acid] in the record of undecylenic-acid"


def test_the_constant_of_the_record_wins_for_its_acid_alone(shelf):
    shelf.edit("materials/sodium-benzoate.toml", "[composition]", "[acid]\npka = 4.0\n\n[composition]")
    found = working(plan(shelf, {"sodium-benzoate": "0.5", "benzoic-acid": "0.1", "potassium-sorbate": "0.3"}), at("4"))
    assert [each.pka.value for each in found] == [4.0, 4.76]
    assert said(found[0].undissociated) == "50"
    shelf.edit("materials/sodium-benzoate.toml", "pka = 4.0", "pka = 4.0\nbase = true")
    assert working(plan(shelf, {"sodium-benzoate": "0.5"}), at("4"))[0].pka.value == 4.204


def test_an_unknown_amount_is_a_range_and_said(shelf):
    reading = plan(shelf, {"sodium-benzoate": "0.4", "vague-extract": "2"})
    (benzoic,) = working(reading, at("4.204"))
    assert benzoic.percent.nominal is None
    assert said(benzoic.percent) == "0.339 to 2"  # 0.4 % and up to 1.96 % of sodium benzoate
    assert benzoic.not_counted == "how much Sodium Benzoate is in vague-extract is not known"


def test_a_preservative_that_nobody_describes(shelf):
    reading = plan(shelf, {"secret": "0.5", "silent": "1"})
    (secret,) = found = working(reading, at("5"))
    assert (secret.name, said(secret.percent), secret.concentration, secret.fits) == ("secret", "0.5", None, "")
    assert not_known(reading, found) == (
        "secret: its record does not say what is in it, so only its amount as supplied is counted",
        "silent has no composition in its record: a preservative in it is not counted",
    )


def test_a_salt_that_no_table_has(shelf):
    shelf.material("lithium-benzoate", "preservative", {"Lithium Benzoate": 100})
    (benzoic,) = working(plan(shelf, {"lithium-benzoate": "0.4"}), at("4.204"))
    assert (benzoic.percent.nominal, said(benzoic.percent)) == (None, "0 to 0.4")
    assert benzoic.not_counted == "no molar mass of Lithium Benzoate is known, so how much acid it is lies between nothing and the whole"
    shelf.edit("materials/lithium-benzoate.toml", "[composition]", "molar_mass = 128.06\n[composition]")
    (benzoic,) = working(plan(shelf, {"lithium-benzoate": "0.4"}), at("4.204"))
    assert benzoic.percent.nominal == F("0.4") * F("122.12") / F("128.06")


def test_nothing_known_is_no_verdict(shelf):
    reading = plan(shelf, {"polysorbate-20": "1"})
    assert working(reading, at("5")) == ()
    assert not_known(reading, ()) == (NONE_KNOWN,)
    assert [step.what for step in workings(reading, at("5"))] == [NONE_KNOWN, CHALLENGE]


def test_no_sentence_says_that_a_product_is_preserved(shelf):
    reading = plan(shelf, {"sodium-benzoate": "0.5", "polysorbate-20": "2", "vitamin-c": "0.2", "secret": "1", "acid-blend": "0.8"})
    steps = workings(reading, at("4.5"))
    text = " ".join(part for step in steps for part in step).casefold()
    assert "iso 11930:2019" in text
    assert not [word for word in ("is preserved", "well preserved", "is safe", "is stable", "is protected") if word in text]


# --- before and after -----------------------------------------------------------------------------------


def test_what_a_change_does(shelf):
    before = working(plan(shelf, {"sodium-benzoate": "0.5", "phenoxyethanol": "0.8"}), at("4.5", "4.4", "4.6"))
    less = working(plan(shelf, {"sodium-benzoate": "0.25", "phenoxyethanol": "0.8"}), at("4.5", "4.4", "4.6"))
    sour = working(plan(shelf, {"sodium-benzoate": "0.5", "phenoxyethanol": "0.8"}), at("4.2", "4.1", "4.3"))
    other = working(plan(shelf, {"potassium-sorbate": "0.3", "phenoxyethanol": "0.9"}), at("4.5", "4.4", "4.6"))

    def words(*sides: tuple[Working, ...]) -> list[str]:
        return [f"{change.name}: {change.words}" for change in compare(*sides)]

    assert words(before, before) == []
    assert words(before, less) == ["Benzoic Acid: undissociated: 0.142 % before, 0.0712 % after: it halves"]
    assert words(less, before) == ["Benzoic Acid: undissociated: 0.0712 % before, 0.142 % after: it doubles"]
    assert words(before, sour) == ["Benzoic Acid: undissociated: 0.142 % before, 0.213 % after: it rises by 50 %"]
    assert words(before, other) == [
        "Sorbic Acid: undissociated: none before, 0.145 % after",
        "Phenoxyethanol: 0.8 % before, 0.9 % after: it rises by 12 %",
        "Benzoic Acid: undissociated: 0.142 % before, none after",
    ]


def test_a_change_at_a_spec_is_told_by_its_ends(shelf):
    spec = AtPh(None, F("4.5"), F("5.5"), "by the spec")
    sides = [working(plan(shelf, {"sodium-benzoate": level}), spec) for level in ("0.5", "0.25")]
    assert [change.words for change in compare(*sides)] == ["undissociated: 0.0165 to 0.147 % before, 0.00861 to 0.0734 % after: it halves"]


# --- antagonisms ----------------------------------------------------------------------------------------


def test_non_ionic_load_and_vitamin_c(shelf):
    lines = {"sodium-benzoate": "0.5", "methylparaben": "0.2", "polysorbate-20": "2", "vitamin-c": "0.2"}
    found = notes(plan(shelf, lines))
    heads = [note.partition(":")[0] for note in found]
    assert heads == [
        "0.2 % Methylparaben with 2 % Polysorbate 20, 10.0 g on each gram of preservative",
        "0.5 % Sodium Benzoate with 2 % Polysorbate 20, 4.0 g on each gram of preservative",
        "0.5 % Sodium Benzoate with 0.2 % Ascorbic Acid",
    ]
    assert found[2].endswith("(BfR Expert Opinion No. 013/2006: possible formation of benzene from benzoic acid in foods (2005-12-01))")
    assert notes(plan(shelf, lines | {"polysorbate-20": "0.4", "vitamin-c": "0"})) == ()


@pytest.mark.parametrize(
    "preservative, other, words",
    [
        ("Benzalkonium Chloride", "Sodium Laureth Sulfate", "not compatible"),
        ("Chlorhexidine Digluconate", "Carbomer", "pairs with what is anionic"),
        ("Chlorhexidine Digluconate", "Sodium Citrate", "hardly dissolve"),
        ("Sodium Benzoate", "Cetrimonium Chloride", "pairs with quaternary"),
        ("Potassium Sorbate", "Hydrogen Peroxide", "is oxidised"),
        ("Potassium Sorbate", "Cysteine", "hold sulfur"),
        ("Methylparaben", "Methylcellulose", "polymers bind parabens"),
        ("Methylparaben", "PEG-32", "binds parabens weakly"),
        ("Propylparaben", "Helianthus Annuus Seed Oil", "vegetable oil"),
        ("Ethylparaben", "Kaolin", "powder"),
        ("Phenoxyethanol", "Cellulose Gum", "cellulose derivatives"),
        ("Phenoxyethanol", "Decyl Glucoside", "aromatic alcohols"),
        ("Benzyl Alcohol", "Ceteareth-20", "aromatic alcohols"),
        ("Chloroxylenol", "Hydrolyzed Wheat Protein", "phenols often lose"),
        ("DMDM Hydantoin", "Hydrolyzed Keratin", "formaldehyde"),
        ("Imidazolidinyl Urea", "Sodium Metabisulfite", "formaldehyde"),
        ("2-Bromo-2-Nitropropane-1,3-Diol", "Cysteine", "uses the preservative up"),
        ("Methylisothiazolinone", "Cysteine", "open the ring"),
    ],
)
def test_a_published_antagonism_is_named_with_its_source(shelf, preservative, other, words):
    shelf.material("one", "preservative", {preservative: 100})
    shelf.material("other", "active", {other: 100})
    found = [note for note in notes(plan(shelf, {"one": "0.4", "other": "6"})) if words in note]
    assert len(found) == 1, found
    assert found[0].startswith(f"0.4 % {preservative} with 6 % {other}")
    assert found[0].endswith("))")  # the source with its date


@pytest.mark.parametrize(
    "preservative, other",
    [
        ("Sodium Benzoate", "Glycerin"),
        ("Sodium Benzoate", "Benzyl Benzoate"),
        ("Methylparaben", "PEG-8 "),  # a little of it
        ("Methylparaben", "Cetearyl Alcohol"),
        ("Phenoxyethanol", "Sodium Laureth Sulfate"),
        ("Benzalkonium Chloride", "Cetrimonium Chloride"),
        ("Potassium Sorbate", "Ascorbic Acid"),
    ],
)
def test_what_nobody_published_is_not_named(shelf, preservative, other):
    shelf.material("one", "preservative", {preservative: 100})
    shelf.material("other", "active", {other.strip(): 100})
    assert notes(plan(shelf, {"one": "0.4", "other": "1"})) == ()


def test_the_charge_of_a_record_counts_where_fvc_knows_none(shelf):
    shelf.material("one", "preservative", {"Chlorhexidine Digluconate": 100})
    shelf.material("own", "thickener", {"Somebody's Polymer": 100}, 'charge = "anionic"\n')
    assert len(notes(plan(shelf, {"one": "0.2", "own": "1"}))) == 1


def test_the_table_names_what_the_table_of_substances_has():
    for row in ANTAGONISMS:
        names = (*row.who.names, *row.whom.names)
        assert [name for name in names if known(name) is None or known(name).inci != name] == []
        assert any(row.who.holds(s.inci) for s in SUBSTANCES if free_form(s.inci)), row.words
        assert row.source.title
        assert F(row.least) >= 0


# --- the arithmetic -------------------------------------------------------------------------------------


def test_the_working_can_be_followed_with_a_calculator(shelf):
    steps = workings(plan(shelf, {"potassium-sorbate": "0.3", "calcium-sorbate": "0.2"}), at("5", "4.8", "5.2", "as read 2026-03-02"))
    assert [(step.what, step.sum, step.result) for step in steps[:9]] == [
        ("Potassium Sorbate in potassium-sorbate, as sorbic acid", "0.3 % x 112.13 / 150.22", "0.224 %"),
        ("Calcium Sorbate in calcium-sorbate, as sorbic acid", "0.2 % x 2 x 112.13 / 262.32", "0.171 %"),
        ("sorbic acid, all of it", "0.224 + 0.171", "0.395 %"),
        ("undissociated share of sorbic acid at pH 5, as read 2026-03-02", "1 / (1 + 10^(5 - 4.76))", "36.5 %"),
        (
            "pKa that counts among ions, at an ionic strength of 0.0431 mol/kg, for the low end",
            "4.74 - 0.51 x (√0.0431 / (1 + √0.0431) - 0.3 x 0.0431)",
            "4.659",
        ),
        ("the same from end to end", "1 / (1 + 10^(5.2 - 4.659)) to 1 / (1 + 10^(4.8 - 4.78))", "22.3 to 48.8 %"),
        ("what the doubt of the pKa alone does, at pH 5", "pKa 4.74 to 4.78", "35.5 to 37.6 %"),
        ("undissociated sorbic acid in the product", "0.395 % x 36.5 %", "0.144 %"),
        ("the same from end to end", "0.395 % x 22.3 % to 0.395 % x 48.8 %", "0.0882 to 0.193 %"),
    ]
    assert "pKa 4.76: Martell & Smith" in steps[3].source
    assert steps[-1].what == CHALLENGE


def test_a_constant_that_is_only_remembered_is_marked_with_its_influence(shelf):
    steps = workings(plan(shelf, {"acid-blend": "0.8"}), at("5"))
    share, doubt = (next(step for step in steps if words in step.what) for words in ("share of dehydroacetic acid", "doubt of the pKa"))
    assert share.source.endswith("sources disagree")
    assert (doubt.sum, doubt.result) == ("pKa 5.12 to 5.42", "56.9 to 72.5 %")


# --- laws -----------------------------------------------------------------------------------------------

PH, PKA = st.floats(0, 14), st.floats(2, 10)


@given(PH, PH, PKA)
def test_the_share_falls_as_the_ph_rises(one, other, pka):
    assume(abs(one - other) > 1e-6)
    assert (undissociated(one, pka) > undissociated(other, pka)) == (one < other)


@given(PH, PKA)
def test_half_of_it_at_the_pka_and_the_mirror_around_it(ph, pka):
    assert undissociated(pka, pka) == 0.5
    assert undissociated(ph, pka) + undissociated(2 * pka - ph, pka) == pytest.approx(1)
    assert 0 < undissociated(ph, pka) < 1


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A plan whose levels are varied in memory: acids and salts of them, all lines open to any level."""
    studio = Studio.make(tmp_path_factory.mktemp("laws") / "studio", git=False)
    studio.material("salt", "preservative", {"Sodium Benzoate": 100})
    studio.material("solution", "preservative", {"Potassium Benzoate": [28, 35], "Aqua": "balance"})
    studio.material("acid", "preservative", {"Benzoic Acid": 100})
    studio.material("sorbate", "preservative", {"Potassium Sorbate": 100})

    def read(levels: dict[str, str]) -> Reading:
        return plan(studio, levels, "laws")

    return read


LEVELS = st.decimals("0.01", "5", places=2).map(str)


@given(salt=LEVELS, solution=LEVELS, acid=LEVELS, ph=st.decimals("2", "9", places=2), wide=st.decimals("0", "1", places=2))
def test_the_laws_of_one_acid(bench, salt, solution, acid, ph, wide):
    where = AtPh(F(ph), F(ph) - F(wide), F(ph) + F(wide), "estimated")
    (whole,) = working(bench({"salt": salt, "solution": solution, "acid": acid}), where)
    parts = [working(bench({name: level}), where)[0] for name, level in (("salt", salt), ("solution", solution), ("acid", acid))]
    for each in (whole, *parts):
        share, amount = each.concentration, each.percent
        assert share.low <= share.nominal <= share.high
        assert share.nominal <= amount.nominal
        assert share.high <= amount.high
        assert 0 <= each.undissociated.low <= each.undissociated.nominal <= each.undissociated.high <= 100
    for of in ("low", "nominal", "high"):
        assert sum(getattr(each.percent, of) for each in parts) == getattr(whole.percent, of)
    for of in ("nominal", "high"):
        assert sum(getattr(each.concentration, of) for each in parts) == getattr(whole.concentration, of)
    assert whole.pka.lowest < whole.pka.low  # the low end moves with the ions of each plan
    (sourer,) = working(bench({"salt": salt, "solution": solution, "acid": acid}), AtPh(F(ph) - 1, where.low - 1, where.high - 1, ""))
    assert sourer.concentration.nominal > whole.concentration.nominal


def test_it_is_quick(shelf):
    """Well below 2 ms for 25 lines; the bound leaves room for a busy machine."""
    lines = {"sodium-benzoate": "0.5", "potassium-sorbate": "0.3", "acid-blend": "0.8", "polysorbate-20": "2", "vitamin-c": "0.2"}
    for n in range(20):
        shelf.material(f"other-{n}", "active", {f"Some Substance {n}": 60, "Glycerin": "balance"})
    reading = plan(shelf, lines | {f"other-{n}": "0.5" for n in range(20)})
    ph = at("4.5", "4.3", "4.7")
    working(reading, ph)
    took = []
    for _ in range(20):
        start = time.perf_counter()
        working(reading, ph)
        antagonisms.__wrapped__(reading)
        took.append(time.perf_counter() - start)
    assert min(took) < 0.004
