"""The table of substances and the list of INCI names: each figure with its source, and right by what is published."""

import re
import tomllib
from collections import Counter
from fractions import Fraction
from pathlib import Path

import molmass
import pytest

from fvc.amounts import round_to, step_of
from fvc.reference.inci import NAMES, SOURCE, US_NAMES, US_SOURCE
from fvc.reference.lookup import known, name_is_known
from fvc.reference.substances import FULLY_PROTONATED, HYDRATES, SUBSTANCES, Known

MATERIALS = Path(__file__).resolve().parent.parent / "demo_repo" / "materials"
FUNCTIONS = {
    *("solvent", "humectant", "emollient", "emulsifier", "solubiliser", "thickener", "film former", "conditioning agent", "surfactant"),
    *("preservative", "booster", "chelator", "antioxidant", "pH adjuster", "buffer", "fragrance", "essential oil", "hydrosol"),
    *("colourant", "extract", "active"),
}
CHARGES = {"anionic", "cationic", "non-ionic", "amphoteric", ""}
BY_NAME = {s.inci: s for s in SUBSTANCES}

# pKa at 25 °C. Martell & Smith, Critical Stability Constants (1976), through LibreTexts tables E1 and E5, and the CRC Handbook;
# triethanolammonium: Bates & Allen, J. Res. NBS 64A (1960); malic: CRC Handbook, from memory.
PUBLISHED_PKA = {
    "Acetic Acid": ("4.756",),
    "Lactic Acid": ("3.86",),
    "Citric Acid": ("3.128", "4.761", "6.396"),
    "Benzoic Acid": ("4.204",),
    "Sorbic Acid": ("4.76",),
    "Malic Acid": ("3.40", "5.11"),
    "Tartaric Acid": ("3.036", "4.366"),
    "Phosphoric Acid": ("2.148", "7.198", "12.375"),
    "Salicylic Acid": ("2.98",),
    "Glycolic Acid": ("3.83",),
    "Ammonia": ("9.244",),
    "Triethanolamine": ("7.76",),
    "Arginine": ("1.82", "8.99", "12.5"),
}

# IUPAC abridged standard atomic weights, 2021 (from memory); molmass has its own, from the isotopes as NIST gives them.
IUPAC = {
    "H": "1.0080",
    "C": "12.011",
    "N": "14.007",
    "O": "15.999",
    "Na": "22.990",
    "Mg": "24.305",
    "Si": "28.085",
    "P": "30.974",
    "S": "32.06",
    "Cl": "35.45",
    "K": "39.098",
    "Ca": "40.078",
    "Ti": "47.867",
    "Zn": "65.38",
    "Br": "79.904",
    "I": "126.90",
}


def parts(formula: str):
    """`C6H8O7.2H2O` as (1, "C6H8O7"), (2, "H2O")."""
    for part in formula.split("."):
        count, rest = re.fullmatch(r"(\d*)(.+)", part).groups()
        yield int(count or 1), rest


def by_molmass(formula: str) -> float:
    return sum(n * molmass.Formula(rest).mass for n, rest in parts(formula))


def atoms(formula: str) -> Counter:
    """How many atoms of each element, brackets resolved."""
    total: Counter = Counter()
    for n, rest in parts(formula):
        flat = re.sub(r"\((\w+)\)(\d+)", lambda m: m[1] * int(m[2]), rest)
        for element, count in re.findall(r"([A-Z][a-z]?)(\d*)", flat):
            total[element] += n * int(count or 1)
    return total


def by_iupac(formula: str) -> float:
    return sum(n * float(IUPAC[element]) for element, n in atoms(formula).items())


def has_words(source) -> bool:
    return source is not None and bool(source.title.strip()) and re.fullmatch(r"\d{4}(-\d\d-\d\d)?", source.date) is not None


MASSES = [(s.inci, s.formula, s.molar_mass) for s in SUBSTANCES if s.molar_mass] + [(h.name, h.formula, h.molar_mass) for h in HYDRATES]


@pytest.mark.parametrize("substance", SUBSTANCES, ids=lambda s: s.inci)
def test_every_value_has_its_source_with_title_and_date(substance: Known):
    assert has_words(substance.source)
    assert bool(substance.molar_mass) == bool(substance.formula) == has_words(substance.mass_source)
    assert bool(substance.pka) == has_words(substance.pka_source)
    assert bool(substance.ph_range) == has_words(substance.ph_source)


def test_hydrates_and_names_have_their_source():
    assert all(has_words(h.source) for h in HYDRATES)
    assert has_words(SOURCE)
    assert has_words(US_SOURCE)


def test_what_was_not_looked_up_says_so():
    assert "from memory" in BY_NAME["Malic Acid"].pka_source.words
    assert "from memory" in BY_NAME["Gluconic Acid"].pka_source.words
    assert not any(s.ph_source.looked_up for s in SUBSTANCES if s.ph_source)  # common practice, no source
    assert "from memory" not in BY_NAME["Citric Acid"].pka_source.words


@pytest.mark.parametrize("name, formula, mass", MASSES, ids=[m[0] for m in MASSES])
def test_molar_masses_agree_with_two_sets_of_atomic_weights(name, formula, mass):
    assert float(mass) == pytest.approx(by_molmass(formula), abs=0.02)
    assert float(mass) == pytest.approx(by_iupac(formula), abs=0.05)


@pytest.mark.parametrize(
    "name, mass",
    [
        # As in the records of the demo; dehydroacetic acid, its dry salt and triethanolamine from memory.
        *(("Sodium Benzoate", "144.10"), ("Benzoic Acid", "122.12"), ("Potassium Sorbate", "150.22"), ("Sorbic Acid", "112.13")),
        *(("Citric Acid", "192.12"), ("Lactic Acid", "90.08"), ("Sodium Lactate", "112.06"), ("Glycerin", "92.09")),
        *(("Betaine", "117.15"), ("Panthenol", "205.25"), ("Propanediol", "76.09"), ("Pentylene Glycol", "104.15")),
        *(("Sodium Dehydroacetate", "190.13"), ("Dehydroacetic Acid", "168.15"), ("Triethanolamine", "149.19")),
    ],
)
def test_masses_that_are_known_by_heart(name, mass):
    assert BY_NAME[name].molar_mass == mass


@pytest.mark.parametrize(
    "salt, ratio",
    [
        # Regulation (EC) No 1223/2009, Annex V: benzoic and sorbic acid are limited "as acid".
        ("Sodium Benzoate", "0.8475"),
        ("Potassium Sorbate", "0.7464"),
    ],
)
def test_salts_as_their_acid(salt, ratio):
    acid, count = BY_NAME[salt].acid
    assert round_to(count * Fraction(BY_NAME[acid].molar_mass) / Fraction(BY_NAME[salt].molar_mass), step_of(4)) == Fraction(ratio)


def test_citric_acid_monohydrate_to_anhydrous():
    """By IUPAC atomic weights: one gram anhydrous is 1.0938 g of the monohydrate."""
    hydrate = next(h for h in HYDRATES if h.name == "citric acid monohydrate")
    assert hydrate.molar_mass == "210.14"
    assert round_to(Fraction(hydrate.molar_mass) / Fraction(BY_NAME[hydrate.inci].molar_mass), step_of(4)) == Fraction("1.0938")
    assert by_iupac("C6H8O7.H2O") / by_iupac("C6H8O7") == pytest.approx(1.0938, abs=0.00005)


def test_hydrates_are_their_substance_with_water():
    for hydrate in HYDRATES:
        dry = BY_NAME[hydrate.inci]
        assert "." not in dry.formula, hydrate.name
        assert re.fullmatch(re.escape(dry.formula) + r"\.\d*H2O", hydrate.formula), hydrate.name
    names = [name.casefold() for h in HYDRATES for name in (h.name, *h.synonyms)]
    assert len(set(names)) == len(names)
    citrate = next(h for h in HYDRATES if h.name == "trisodium citrate dihydrate")
    assert (citrate.inci, citrate.molar_mass) == ("Sodium Citrate", "294.10")


@pytest.mark.parametrize("name", PUBLISHED_PKA)
def test_pka_as_published(name):
    assert BY_NAME[name].pka == PUBLISHED_PKA[name]
    assert not BY_NAME[name].uncertain_pka


def test_pka_that_sources_disagree_on_are_marked():
    """Gluconic 3.6 to 3.86, dehydroacetic about 5.27: origin unclear."""
    gluconic, dehydroacetic = BY_NAME["Gluconic Acid"], BY_NAME["Dehydroacetic Acid"]
    assert gluconic.uncertain_pka
    assert Fraction("3.6") <= Fraction(gluconic.pka[0]) <= Fraction("3.86")
    assert dehydroacetic.uncertain_pka
    assert dehydroacetic.pka == ("5.27",)
    assert all(s.pka for s in SUBSTANCES if s.uncertain_pka)


@pytest.mark.parametrize(
    ("name", "at_0_1"), [("EDTA", (2.0, 2.67, 6.16, 10.27)), ("Tetrasodium Glutamate Diacetate", (2.56, 3.49, 5.01, 9.36))]
)
def test_constants_at_ionic_strength_0_1_stand_at_0(name, at_0_1):
    """Davies at 0.1: 0.107 for charge 1, (2|z| - 1) times that for a base of charge z, from -1 to -4."""
    zero = [pka + 0.107 * (2 * z - 1) for z, pka in enumerate(at_0_1, start=1)]
    assert [float(text) for text in BY_NAME[name].pka] == pytest.approx(zero, abs=0.01)
    assert "ionic strength 0.1" in BY_NAME[name].pka_source.words


def test_pka_ascend():
    for substance in SUBSTANCES:
        values = [Fraction(p) for p in substance.pka]
        assert values == sorted(values), substance.inci
        assert all(-2 < v < 15 for v in values), substance.inci


def test_ph_ranges_are_ranges_and_those_in_common_use():
    for substance in SUBSTANCES:
        if substance.ph_range:
            low, high = map(Fraction, substance.ph_range)
            assert 0 <= low < high <= 14, substance.inci
            assert {"preservative", "booster"} & set(substance.functions), substance.inci
    # Pharmacy formularies, common practice.
    for names, range_ in (
        (("Benzoic Acid", "Sodium Benzoate"), ("2", "5")),
        (("Sorbic Acid", "Potassium Sorbate"), ("2", "6")),
        (("Benzyl Alcohol",), ("3", "7")),
        (("Phenoxyethanol",), ("3", "8")),
    ):
        assert all(BY_NAME[n].ph_range == range_ for n in names)


def test_no_name_twice_whatever_its_case():
    names = [n.casefold() for n in (*BY_NAME, *NAMES)]
    assert len(BY_NAME) == len(SUBSTANCES)
    assert [n for n, count in Counter(names).items() if count > 1] == []


def test_synonyms_are_no_other_name():
    names = {n.casefold() for n in (*BY_NAME, *NAMES)}
    synonyms = [n.casefold() for s in SUBSTANCES for n in s.synonyms]
    assert names & set(synonyms) == set()
    assert [n for n, count in Counter(synonyms).items() if count > 1] == []


def test_only_the_words_of_the_trade_are_used():
    for substance in SUBSTANCES:
        assert substance.functions, substance.inci
        assert set(substance.functions) <= FUNCTIONS, substance.inci
        assert len(set(substance.functions)) == len(substance.functions), substance.inci
        assert substance.charge in CHARGES, substance.inci


def test_preservatives_come_from_the_annex():
    for substance in SUBSTANCES:
        if "preservative" in substance.functions:
            assert "Annex V" in substance.source.title, substance.inci


@pytest.mark.parametrize("substance", [s for s in SUBSTANCES if s.acid], ids=lambda s: s.inci)
def test_the_acid_of_a_salt_is_there_and_fits_into_it(substance: Known):
    name, count = substance.acid
    acid = BY_NAME[name]
    assert acid.molar_mass
    assert acid.acid is None
    assert count >= 1
    if substance.formula and "paraben" not in substance.inci.casefold():  # an ester has more carbon than the acid it counts as
        extra = atoms(substance.formula)["C"] - count * atoms(acid.formula)["C"]
        assert extra == {"MEA-": 2, "TEA-": 6}.get(substance.inci[:4], 0)


def test_salts_are_neutral():
    """Protons that a salt has lost against its acids are made up for by its metal, so the formula is a salt of that acid."""
    charge = {"Na": 1, "K": 1, "Ca": 2, "Mg": 2, "Zn": 2}
    for substance in SUBSTANCES:
        if not substance.acid or not substance.formula or "paraben" in substance.inci.casefold():
            continue
        name, count = substance.acid
        have, acid = atoms(substance.formula), atoms(BY_NAME[name].formula)
        metal = sum(n * have[e] for e, n in charge.items())
        if metal:  # with an ammonium the base itself is in the formula
            assert have["H"] + metal == count * acid["H"], substance.inci
            assert have["O"] == count * acid["O"], substance.inci
        elif substance.inci.startswith("Ammonium"):
            assert have["H"] == count * acid["H"] + 3, substance.inci
            assert have["N"] == count * acid["N"] + 1, substance.inci


def test_bases_are_told_from_acids():
    assert all(BY_NAME[name].pka for name in FULLY_PROTONATED)
    assert all(charge <= len(BY_NAME[name].pka) for name, charge in FULLY_PROTONATED.items())
    # A substance without nitrogen is no base, and of those with nitrogen these are acids by their carboxyl groups.
    nitrogen = {s.inci for s in SUBSTANCES if s.pka and atoms(s.formula)["N"]}
    assert nitrogen - set(FULLY_PROTONATED) == {"EDTA", "PCA", "Tetrasodium Glutamate Diacetate", "Caprylhydroxamic Acid"}


@pytest.mark.parametrize(
    "name, charge",
    [
        *(
            ("Sodium Laureth Sulfate", "anionic"),
            ("Xanthan Gum", "anionic"),
            ("Carbomer", "anionic"),
            ("Glyceryl Stearate Citrate", "anionic"),
        ),
        *(("Behentrimonium Methosulfate", "cationic"), ("Polyquaternium-10", "cationic"), ("Benzalkonium Chloride", "cationic")),
        *(("Polysorbate 20", "non-ionic"), ("Coco-Glucoside", "non-ionic"), ("Cetearyl Olivate", "non-ionic")),
        *(("Hydroxyethylcellulose", "non-ionic"), ("Cocamidopropyl Betaine", "amphoteric"), ("Lecithin", "amphoteric")),
    ],
)
def test_charges_in_common_use(name, charge):
    """General chemistry of the groups in the name (sulfate, quaternary ammonium, ethoxylate or sugar, betaine)."""
    assert BY_NAME[name].charge == charge


def test_a_synonym_finds_its_substance():
    assert known("glycerol") is BY_NAME["Glycerin"]
    assert known("SODIUM ALGINATE") is BY_NAME["Algin"]
    assert known("bronopol") is BY_NAME["2-Bromo-2-Nitropropane-1,3-Diol"]


def test_names_are_sorted():
    assert list(NAMES) == sorted(NAMES, key=str.casefold)
    assert all(n == " ".join(n.split()) and n for n in NAMES)
    assert len(NAMES) >= 600


def test_american_names_are_of_known_names():
    everything = {*NAMES, *BY_NAME, *(n for s in SUBSTANCES for n in s.synonyms)}
    assert set(US_NAMES) <= everything
    assert all(name != american and american.strip() for name, american in US_NAMES.items())
    assert (US_NAMES["Aqua"], US_NAMES["Parfum"], US_NAMES["CI 77891"]) == ("Water", "Fragrance", "Titanium Dioxide")


def declared(file: Path) -> list[str]:
    record = tomllib.loads(file.read_text(encoding="utf-8"))
    return [*record.get("composition", {}), *record.get("constituents", {})]


@pytest.mark.parametrize("file", sorted(MATERIALS.glob("*.toml")), ids=lambda f: f.stem)
def test_every_inci_name_of_the_demo_is_known(file: Path):
    everything = {*NAMES, *BY_NAME}
    names = declared(file)
    assert names
    assert [n for n in names if n not in everything or not name_is_known(n)] == []
