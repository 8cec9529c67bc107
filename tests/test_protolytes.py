"""Which substances count for the pH, which are named as not counted and why, and which are neutral, by their names."""

from fractions import Fraction

import pytest

from fvc.contents import is_perfume
from fvc.files.materials import read_material
from fvc.reference.inci import NAMES
from fvc.reference.ions import HARDLY_DISSOLVES, ZWITTERIONS, in_water
from fvc.reference.lookup import has_colour_index, is_fixed, known, oil_named
from fvc.reference.neutral import is_neutral, pull_of
from fvc.reference.solubility import SOLUBILITY, beyond_solubility, dissolves
from fvc.reference.substances import SUBSTANCES
from fvc.science.protolytes import Protolytes, protolytes
from tests.readings import reading


def of(inci: str, function: str = "active", more: str = "", percent: str = "1") -> Protolytes:
    """One substance in water."""
    records = {
        "water": 'function = ["solvent"]\n[composition]\nAqua = 100',
        "x": f'function = ["{function}"]\n{more}\n[composition]\n"{inci}" = 100',
    }
    return protolytes(reading(f'[phase.A]\n[phase.A.percent]\nwater = "balance"\nx = {percent}\n', records))


def why(inci: str, function: str = "active", more: str = "") -> str:
    """What is said of it; "" when it counts, or is neutral."""
    return ", ".join(u.why for u in of(inci, function, more).uncounted)


def names(text: str) -> list[str]:
    return [name.strip() for name in text.replace("\n", " ").split(";")]


# By general chemistry of the groups in the names: none of these is neutral in water, and of none is it said by silence.
SPEAKS = names("""
    Ornithine; Polylysine; Aminophylline; Cocamidopropyl Dimethylamine; Isostearamidopropyl Dimethylamine;
    Ricinoleamidopropyl Dimethylamine; Azelamidopropyl Dimethyl Amine; Cocamidopropylamine Oxide;
    VP/Dimethylaminoethylmethacrylate Copolymer; Vinyl Caprolactam/VP/Dimethylaminoethyl Methacrylate Copolymer;
    Acetyl Cysteine; Acetyl Tyrosine; Glutathione; Benzophenone-4; Capryloyl Glycine; Undecylenoyl Glycine; Sophorolipid; Rhamnolipids;
    Aminopropyl Ascorbyl Phosphate; Glucose Glutamate; Pyridoxine HCl; Thiamine HCl; Cysteamine HCl; Arginine PCA; Aluminum Chloride;
    Aluminum Chlorohydrate; Aluminum Hydroxide; Copper Sulfate; Copper Gluconate; Manganese Gluconate; Silver Citrate; TEA-Cocoyl Glutamate;
    TEA-Lauryl Sulfate; MIPA-Laureth Sulfate; Cetearyl Sulfosuccinate; Palmitamidopropyltrimonium Chloride;
    Shea Butteramidopropyltrimonium Chloride; Soyamidopropalkonium Chloride; Stearalkonium Chloride; Hydroxyethyl Cetyldimonium Phosphate;
    Acrylates/Palmeth-25 Acrylate Copolymer; Acrylates/Vinyl Isodecanoate Crosspolymer; Steareth-10 Allyl Ether/Acrylates Copolymer;
    Polyacrylate-13; Polyacrylate-33; Hydroxypropyl Starch Phosphate; Carboxymethyl Hydroxyethylcellulose; Bentonite; Hectorite;
    Montmorillonite; Kaolin; Solum Fullonum; Zeolite; Maris Aqua; Maris Sal; Maris Limus; Peat; Mel; Lac; Caprae Lac; Royal Jelly; Kombucha;
    Faex; Ovum; Propolis; Lactis Proteinum; Lactis Serum Proteinum; Serica; Hydrolyzed Oats; Hydrolyzed Quinoa; Algin;
    Hydrolyzed Glycosaminoglycans; Camellia Sinensis Leaf; Saccharide Isomerate; Piroctone Olamine; Aluminum Benzoate; A Name Of Nobody
""")
COUNTED = names("""
    Lysine; Histidine; Niacin; Ascorbyl Glucoside; Lauramine Oxide; Arginine HCl; Lysine HCl; Carnitine; Tranexamic Acid; Kojic Acid;
    3-O-Ethyl Ascorbic Acid; Caprylhydroxamic Acid; Thioglycolic Acid; Ammonium Thioglycolate
""")
# What ordinary plans are made of, whatever their records call it.
SILENT = names("""
    Glycerin; Propanediol; Pentylene Glycol; Betaine; Panthenol; Urea; Allantoin; Sorbitol; Squalane; Caprylic/Capric Triglyceride;
    C18-36 Acid Triglyceride; Acid Violet 43; CI 77491; Butyrospermum Parkii Butter; Helianthus Annuus Seed Oil; Cera Alba; Cetyl Palmitate;
    Isopropyl Isostearate; C12-15 Alkyl Benzoate; Coco-Caprylate/Caprate; Decyl Oleate; Cetearyl Alcohol; Glyceryl Stearate; Triolein;
    Polyglyceryl-6 Stearate; PEG-8 Stearate; Polysorbate 20; Ceteareth-30; Dimethicone; Dimethicone Crosspolymer; Cyclopentasiloxane;
    Tocopheryl Acetate; Tocopherol; Ceramide NP; Cholesterol; Bisabolol; Phenoxyethanol; Benzyl Alcohol; Caprylyl Glycol; Ethylhexylglycerin;
    Parfum; Linalool; Citral; Citrus Aurantium Amara Flower Oil; Pelargonium Graveolens Oil; Cinnamomum Camphora Leaf Oil; Glycine Soja Oil;
    Hydroxyethylcellulose; VP/VA Copolymer; Tapioca Starch; Mica; Talc; Octocrylene; Ethylhexyl Salicylate; Cetearyl Glucoside; Alanine;
    Serine; Taurine; Triethyl Citrate; Alcohol Denat.; Hydrogenated Castor Oil; Jojoba Esters; Retinyl Palmitate; Ubiquinone
""")


@pytest.mark.parametrize("inci", SPEAKS)
def test_what_is_not_neutral_is_named(inci: str):
    assert of(inci).counted == ()
    assert why(inci)


@pytest.mark.parametrize("inci", [name for name in SPEAKS if pull_of(name)])
def test_no_function_or_charge_in_the_record_hides_a_group_that_is_in_the_name(inci: str):
    assert why(inci, "emollient")
    assert why(inci, more='charge = "non-ionic"')


@pytest.mark.parametrize("inci", COUNTED)
def test_what_has_constants_counts(inci: str):
    assert [c.solute.inci for c in of(inci).counted] == [inci]
    assert why(inci) == ""


@pytest.mark.parametrize("function", ["active", "thickener", "humectant"])
@pytest.mark.parametrize("inci", SILENT)
def test_what_is_neutral_is_no_remark(inci: str, function: str):
    assert of(inci, function) == Protolytes((), (), ())


@pytest.mark.parametrize(
    ("function", "more"), [("emollient", ""), ("fragrance", ""), ("essential oil", ""), ("surfactant", 'charge = "non-ionic"')]
)
def test_a_record_may_call_a_name_neutral_that_is_not_known(function: str, more: str):
    assert why("Some New Ester", function, more) == ""
    assert why("Some New Ester", "humectant") == "its acidity is not known"


def test_every_name_that_stands_for_neutral_was_looked_at():
    """The count of names in common use beside oils, colours and scents that are silent; a new one is to be judged before it is raised."""
    silent = [
        n for n in NAMES if is_neutral(n) and not (oil_named(n) or is_fixed(n) or is_perfume(n) or has_colour_index(n) or n.endswith("Oil"))
    ]
    assert len(silent) == 499
    rows = [s.inci for s in SUBSTANCES if is_neutral(s.inci) and not s.charge and not in_water(s.inci)]
    assert len(rows) == 92


def test_nothing_is_neutral_and_counted_at_once():
    for name in (*NAMES, *(s.inci for s in SUBSTANCES)):
        substance = known(name)
        if is_neutral(name) and in_water(name) is not None:
            assert substance is not None, name
            assert substance.charge == "" or substance.pka, name
            # the judgement by name is not asked for these: what gives protons is looked up first
            assert of(name).counted or why(name), name


@pytest.mark.parametrize(
    "inci",
    ["Behenic Acid", "Arachidic Acid", "Isostearic Acid", "Capric Acid", "Coconut Acid", "Stearic Acid", "Ursolic Acid", "Zinc Stearate"],
)
def test_what_hardly_dissolves(inci: str):
    assert why(inci) == "hardly dissolves in water"


@pytest.mark.parametrize(
    ("inci", "more", "said"),
    [
        ("Lithium Benzoate", "", "its molar mass is not known; molar_mass in its record can give it"),
        ("Sodium Phytate", "molar_mass = 923\n[acid]\npka = [1.5, 2, 6, 9]", "how many metal ions or amines it holds is not known"),
        ("TEA-Phytate", "molar_mass = 923\n[acid]\npka = [1.5, 2, 6, 9]", "how many metal ions or amines it holds is not known"),
        ("Sodium Phytate", "", "no pKa of Phytic Acid is known; [acid] in a record of its own can give it"),
        ("DEA-Salicylate", "molar_mass = 243", "no pKa of the amine in it is known"),
        ("Aluminum Benzoate", "molar_mass = 390", "its metal takes up hydroxide, and how much is not known"),
        ("Decyl Glucoside", "", "sold alkaline, and how much lye is in it its record does not say"),
    ],
)
def test_why_a_salt_is_not_counted(inci: str, more: str, said: str):
    assert why(inci, "surfactant" if "Glucoside" in inci else "active", more) == said


@pytest.mark.parametrize(
    ("inci", "more", "weak", "ions"),
    [
        ("Lithium Benzoate", "molar_mass = 128.05", (("Benzoic Acid", 1),), ((1, 1),)),
        ("Sodium Some-ate", "molar_mass = 200\n[acid]\npka = [4]", (("Sodium Some-ate", 1),), ((1, 1),)),
        ("Calcium Some-ate", "molar_mass = 400\n[acid]\npka = [4]", (("Calcium Some-ate", 2),), ((2, 1),)),
        ("Disodium Some-ate", "molar_mass = 300\n[acid]\npka = [4, 6]", (("Disodium Some-ate", 1),), ((1, 2),)),
        ("TEA-Some-ate", "molar_mass = 300\n[acid]\npka = [4]", (("TEA-Some-ate", 1), ("Triethanolamine", 1)), ()),
        ("Ammonium Some-ate", "molar_mass = 300\n[acid]\npka = [4]", (("Ammonium Some-ate", 1), ("Ammonia", 1)), ()),
        ("Some Base HCl", "molar_mass = 300\n[acid]\npka = [8]\nbase = true", (("Some Base HCl", 1),), ((-1, 1),)),
        ("Sodium Ascorbyl Phosphate", "[acid]\npka = [1.5, 3.4, 6.3]", (("Sodium Ascorbyl Phosphate", 1),), ((1, 3),)),
    ],
)
def test_what_a_salt_gives_in_water(inci: str, more: str, weak: tuple, ions: tuple):
    (counted,) = of(inci, "active", more).counted
    assert tuple((acid.name, count) for acid, count in counted.gives.weak) == weak
    assert counted.gives.ions == ions


def test_a_hydrosol_without_constituents_is_told_to_name_its_water():
    assert why("Rosa Damascena Flower Water", "hydrosol") == (
        'its acidity is not known, nor is its water counted: give  "Aqua"  under [constituents]'
    )
    assert why("Camellia Sinensis Leaf Extract", "extract") == "its acidity is not known"


def test_how_much_of_it_there_is_and_which_way_it_pulls():
    (carbomer,) = of("Carbomer", "thickener", percent="0.5").uncounted
    assert (carbomer.amount, carbomer.pull.way) == ("Carbomer (x, 0.5 %)", -1)
    assert [of(n).uncounted[0].pull.way for n in ("Phytic Acid", "Sodium Cocoate", "Cocamidopropyl Dimethylamine", "Zinc Oxide")] == [
        -1,
        1,
        1,
        1,
    ]
    assert [pull_of(n) for n in ("Xanthan Gum", "Cocamidopropyl Betaine", "Sodium Laureth Sulfate", "Sodium Hyaluronate", "Kaolin")] == [
        None
    ] * 5


def test_zwitterions_and_what_hardly_dissolves_have_no_constants_that_would_count():
    """What is looked up first wins: a name in two of the lists would be judged by chance."""
    assert not ZWITTERIONS & HARDLY_DISSOLVES
    assert all(in_water(name) is None for name in ZWITTERIONS)


# --- how much dissolves --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("acid", "total"),
    [
        # g/L at 25 °C: benzoic 3.4 (looked up), salicylic 2.24, sorbic 1.9, adipic 24 (from memory), fumaric 7.0 (looked up)
        *(("Benzoic Acid", 3.4), ("Salicylic Acid", 2.24), ("Sorbic Acid", 1.9), ("Adipic Acid", 24), ("Fumaric Acid", 7.0)),
        *(("Azelaic Acid", 3.0), ("Dehydroacetic Acid", 0.69), ("Ferulic Acid", 0.78), ("p-Anisic Acid", 0.25)),
    ],
)
def test_a_saturated_solution_holds_what_is_published(acid: str, total: float):
    """Undissociated plus dissociated, x² = Ka S: a textbook's quadratic without activities."""
    mass, pka = float(known(acid).molar_mass), float(known(acid).pka[0])
    most = dissolves(acid)
    assert (most + (10**-pka * most) ** 0.5) * mass == pytest.approx(total, rel=0.04)


def test_beyond_solubility():
    assert beyond_solubility("Salicylic Acid", 0.5, 90) == "more than dissolves: about 0.15 % of undissociated salicylic acid does"
    assert beyond_solubility("Salicylic Acid", 0.15, 90) == ""
    assert beyond_solubility("EDTA", 0.5, 100) == "more than dissolves: about 0.01 % of undissociated EDTA does"
    assert beyond_solubility("Lactic Acid", 50, 50) == ""
    assert all(known(name).pka and float(entry.grams) > 0 and entry.source.words for name, entry in SOLUBILITY.items())


# --- bad input -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", ["molar_mass = 0.01", "[acid]\nmolar_mass = 0.01"])
def test_a_molar_mass_that_cannot_be_right_is_warned_of_and_hinders_nothing(place: str):
    read = read_material(f'format = 1\nname = "X"\n{place}'.encode(), "materials/x.toml", "x")
    assert read.value is not None
    assert read.value.molar_mass == Fraction("0.01")
    (warning,) = read.warnings
    assert "a molar mass of 0.01 g/mol cannot be right, and counts as not known" in str(warning)
    assert "write it in g/mol, such as 192.12" in str(warning)


def test_the_list_of_neutral_substances_says_what_the_rules_say():
    from fvc.reference.neutral import _KNOWN_NEUTRAL, by_rules
    from fvc.reference.oils import OILS
    from fvc.reference.substances import SUBSTANCES

    assert {s.inci.casefold() for s in SUBSTANCES if by_rules(s.inci)} == _KNOWN_NEUTRAL
    assert all(by_rules(name) for oil in OILS for name in oil.inci)
