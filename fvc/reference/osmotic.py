"""How much a dissolved substance lowers the activity of water at 25 °C: constants for molecules and for salts, by INCI name.

Tables are plain text, parsed on first use. The figures of salts that have no published ones in here are those of a like salt.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from fvc.material import inci_key
from fvc.reference.lookup import known
from fvc.reference.source import Source

WATER_KG = 0.018015  # kg/mol
A_PHI = 0.392  # kg^½ mol^-½, the slope of Debye and Hückel for osmotic coefficients in water at 25 °C

ALDITOLS = Source("constants of Norrish's equation at 25 °C, PMC2836749, table 3", "2010")
QUOTED = Source("Ferro Fontan, Chirife & Boquet, J. Food Technol. 16, through published code that quotes it", "1981")
CHIRIFE = Source("Chirife, Ferro Fontan & Benmergui, J. Food Technol. 15", "1980", looked_up=False)
ANALOGUES = Source("none of its own: that of maltose, xylose or sucrose as a like molecule, Chirife et al.", "1980", looked_up=False)
GLYCOL = Source("constant of Norrish's equation for propylene glycol, about 1, origin not noted", "1994", looked_up=False)
PEGS = Source("Chirife & Ferro Fontan on polyethylene glycols, J. Food Sci. 45", "1980", looked_up=False)
UREA = Source("osmotic coefficients of urea 0.96, 0.93 and 0.88 at 1, 2 and 4 mol/kg, Ellerton & Dunlop", "1966", looked_up=False)
BETAINE = Source("osmotic coefficient of betaine about 1.1 at 1 mol/kg, Smith & Smith", "1940", looked_up=False)
ETHANOL = Source("limiting activity coefficients of ethanol and water, about 3.7 and 2.6, by van Laar's equation", "2026", looked_up=False)
IDEAL_SOURCE = Source("no published constant in fvc: Raoult's law, a band of ±3 by that of like molecules", "2026", looked_up=False)

PITZER = Source("Pitzer & Mayorga, J. Phys. Chem. 77, 2300, through published code that quotes its tables", "1973")
PITZER_MEMORY = Source("Pitzer & Mayorga, J. Phys. Chem. 77, 2300 and 78, 2698", "1973", looked_up=False)

NORRISH_SOURCE = Source("Norrish, J. Food Technol. 1, 25: ln a_w = ln x_w - (Σ √K x)², the sum for mixtures from memory", "1966")
MIXED_SALTS = Source("Kusik & Meissner, AIChE Symp. Ser. 74 (173): each salt at the ionic strength of all", "1978", looked_up=False)
ROSS = Source("Ross, Food Technol. 29 (3), 26: the activities of the parts are multiplied", "1975", looked_up=False)
PITZER_EQUATION = Source("Pitzer & Mayorga, J. Phys. Chem. 77, 2300: osmotic coefficient φ, A = 0.392, b = 1.2", "1973")
GROWTH = Source("adapted from Beuchat, Cereal Foods World 26, 345, as a page quotes it", "1981")


class Molecule(NamedTuple):
    """A dissolved substance that does not split: K of Norrish's equation (natural logarithm), and how far it may be out.

    most: percent of it in the solution that it makes with the water, up to which K holds; None where only the band limits it.
    """

    inci: str
    k: float
    spread: float
    most: float | None
    source: Source

    @property
    def ideal(self) -> bool:
        """True where nothing is published in here and Raoult's law stands in."""
        return self.source is IDEAL_SOURCE


class Salt(NamedTuple):
    """A salt that splits into ions: their charges and numbers in one formula unit, and the parameters of Pitzer's equation.

    beta2: only of salts of two ions with two charges each. most: mol per kg of water up to which the figures hold, or the salt
    dissolves. fitted: up to where the parameters were fitted; beside other salts they are used a little further. spread:
    how far that may be out. like: the salt that the parameters are of; "" for its own.
    """

    inci: str
    charges: tuple[int, int]
    numbers: tuple[int, int]
    beta: tuple[float, float, float]
    c: float
    most: float
    fitted: float
    spread: float
    source: Source
    like: str = ""

    @property
    def ions(self) -> int:
        """Ions of one formula unit."""
        return sum(self.numbers)

    @property
    def strength(self) -> float:
        """Ionic strength of 1 mol/kg of it."""
        return sum(z * z * n for z, n in zip(self.charges, self.numbers, strict=True)) / 2


# INCI name; K; how far it may be out; percent up to which it holds
_MOLECULES = (
    (ALDITOLS, "Glycerin;1.16;0.05;70 Sorbitol;1.65;0.14;75 Xylitol;1.66;0.15;65 Erythritol;1.34;0.16;40 Mannitol;0.906;0.27;20"),
    (QUOTED, "Sucrose;6.47;0.1;68 Fructose;2.15;0.15;75"),
    (CHIRIFE, "Glucose;2.25;0.1;60 Lactose;10.2;2;25 Citric_Acid;6.17;0.6;60 Malic_Acid;1.82;0.5;50 Tartaric_Acid;4.68;0.6;55"),
    (ANALOGUES, "Maltitol;4.54;2.5;60 Rhamnose;1.54;1.5;50 Trehalose;6.5;3;45"),
    (GLYCOL, "Propylene_Glycol;1;1.5;70"),
    (PEGS, "PEG-4;6.1;1.5;60 PEG-8;26.6;5;60 PEG-12;56;10;60"),
    (UREA, "Urea;-1.5;0.6;50"),
    (BETAINE, "Betaine;6;3;40"),
    (ETHANOL, "Alcohol;-1.6;1;60"),
)  # fmt: skip

# Molecules that mix with water or dissolve in it, without a constant in here.
_IDEAL = """Lactic Acid;Acetic Acid;Succinic Acid;Phosphoric Acid;Glycolic Acid;Mandelic Acid;Gluconic Acid;Gluconolactone
Lactobionic Acid;Levulinic Acid;Ascorbic Acid;Ascorbyl Glucoside;3-O-Ethyl Ascorbic Acid;Tranexamic Acid;Phytic Acid;Etidronic Acid
Thioglycolic Acid;Glyceryl Thioglycolate;Triethanolamine;Ethanolamine;Aminomethyl Propanol;Tromethamine;Arginine;Glycine;Lysine;Histidine;Niacin;Ammonia
Ammonium Hydroxide;PCA;Propionic Acid;Formic Acid;Phenoxyethanol;Phenoxyisopropanol;Benzyl Alcohol;Imidazolidinyl Urea
Diazolidinyl Urea;DMDM Hydantoin;2-Bromo-2-Nitropropane-1,3-Diol;Methylisothiazolinone;Methylchloroisothiazolinone
Phenethyl Alcohol;Hexylene Glycol;Methylpropanediol;Ethyl Lactate;Diglycerin;Propanediol;Dipropylene Glycol;Butylene Glycol
Pentylene Glycol;1,2-Hexanediol;Ethoxydiglycol;Isopentyldiol;Dimethyl Isosorbide;Isopropyl Alcohol;Inositol;Panthenol
Hydroxyethyl Urea;Niacinamide;Caffeine;Ectoin;Creatine;Carnitine;Taurine;Acetyl Glucosamine;Triethyl Citrate"""
IDEAL_SPREAD = 3.0

# Of little solubility, or not soluble at all, although each has a molar mass: they lower nothing that could be seen.
_SPARING = """Fumaric Acid;Adipic Acid;p-Anisic Acid;Azelaic Acid;Ascorbyl Palmitate;Ferulic Acid;Kojic Acid;EDTA;Calcium Hydroxide
Magnesium Hydroxide;Calcium Carbonate;Zinc Oxide;Titanium Dioxide;Silica;Benzoic Acid;Sorbic Acid;Dehydroacetic Acid;Salicylic Acid
Undecylenic Acid;Zinc Undecylenate;4-Hydroxybenzoic Acid;Methylparaben;Ethylparaben;Propylparaben;Butylparaben;Chlorphenesin
Dichlorobenzyl Alcohol;Iodopropynyl Butylcarbamate;o-Cymen-5-ol;Piroctone Olamine;Climbazole;p-Chloro-m-Cresol;Chloroxylenol
Caprylyl Glycol;Ethylhexylglycerin;Hydroxyacetophenone;Caprylhydroxamic Acid;Phenylpropanol;Decylene Glycol;Propanediol Caprylate
Magnolol;Allantoin;Adenosine;Bisabolol;Menthol;Camphor;Thymol;Resveratrol;Retinol;Retinyl Palmitate;Retinyl Acetate;Methyl Benzoate
Ethyl Benzoate;Bakuchiol;Ubiquinone;Thioctic Acid;Tocopheryl Acetate;BHT;BHA;Cetyl Alcohol;Stearyl Alcohol;Behenyl Alcohol
Stearic Acid;Palmitic Acid;Myristic Acid;Lauric Acid;Oleic Acid;Caprylic Acid;Squalane;Squalene;Isopropyl Myristate
Isopropyl Palmitate;Dicaprylyl Ether;Dicaprylyl Carbonate"""

# INCI name; charges and numbers of cation and anion; beta0, beta1, beta2, C; mol/kg; spread. The tables give 4/3 β and 2^5/2 / 3 C
# for salts of three ions, 3/2 β and 3^3/2 / 2 C for four, 8/5 β and 16/5 C for five: taken out here. NaCl, KCl, the sulfates of sodium
# and magnesium and the chlorides of magnesium and calcium agree with another set of parameters (tests) within 0.0025 of a_w.
_SALTS = (
    (PITZER, """Sodium Chloride;1 1 1 1;0.0765 0.2664 0 0.00127;6.15;0.01
Potassium Chloride;1 1 1 1;0.04835 0.2122 0 -0.00084;4.8;0.01
Sodium Hydroxide;1 1 1 1;0.0864 0.2530 0 0.0044;6;0.02
Potassium Hydroxide;1 1 1 1;0.1298 0.32 0 0.0041;5.5;0.02
Hydrochloric Acid;1 1 1 1;0.1775 0.2945 0 0.0008;6;0.02
Sodium Phosphate;1 1 1 1;-0.0533 0.0396 0 0.00795;6;0.03
Potassium Phosphate;1 1 1 1;-0.0678 -0.1042 0 0;1.8;0.03
Magnesium Chloride;2 1 1 2;0.35235 1.6815 0 0.00519;4.5;0.03
Calcium Chloride;2 1 1 2;0.3159 1.614 0 -0.00034;2.5;0.03
Sodium Sulfate;1 2 2 1;0.019575 1.113 0 0.00497;1.97;0.02
Sodium Carbonate;1 2 2 1;0.18975 0.846 0 -0.04803;1.5;0.03
Disodium Phosphate;1 2 2 1;-0.058275 1.4655 0 0.02938;1;0.03
Dipotassium Phosphate;1 2 2 1;0.02475 1.27425 0 0.01639;1;0.03
Trisodium Phosphate;1 3 3 1;0.17813 3.85133 0 -0.05154;0.7;0.05
Tetrasodium Pyrophosphate;1 4 4 1;0.436875 10.725 0 0;0.2;0.05"""),
    (PITZER_MEMORY, """Sodium Acetate;1 1 1 1;0.1426 0.3237 0 -0.00629;3.5;0.02
Potassium Acetate;1 1 1 1;0.1587 0.3251 0 -0.0066;3.5;0.02
Sodium Propionate;1 1 1 1;0.1875 0.2789 0 -0.01277;3;0.03
Sodium Formate;1 1 1 1;0.082 0.2872 0 -0.00523;3.5;0.02
Magnesium Sulfate;2 2 1 1;0.221 3.343 -37.23 0.025;3;0.02
Zinc Sulfate;2 2 1 1;0.1949 2.883 -32.81 0.029;3.5;0.03"""),
)  # fmt: skip

# Salts without parameters in here: the salt whose parameters stand in; mol/kg up to which it is taken; how far that may be out.
_LIKE = (
    (
        "Sodium Acetate",
        3.5,
        0.15,
        "Sodium Lactate;Potassium Lactate;Ammonium Lactate;Ammonium Glycolate;Sodium Glycolate;Sodium Gluconate;Potassium Gluconate;"
        "Sodium Levulinate;Sodium Anisate;Sodium Ascorbate;Sodium PCA;Sodium Benzoate;Potassium Benzoate;Ammonium Benzoate;MEA-Benzoate;"
        "Potassium Sorbate;Sodium Sorbate;Sodium Dehydroacetate;Sodium Salicylate;Potassium Salicylate;MEA-Salicylate;TEA-Salicylate;"
        "Potassium Propionate;Ammonium Propionate;Sodium Undecylenate;Potassium Undecylenate;Sodium Paraben;Potassium Paraben;"
        "Sodium Methylparaben;Potassium Methylparaben;Sodium Ethylparaben;Potassium Ethylparaben;Sodium Propylparaben;"
        "Potassium Propylparaben;Sodium Butylparaben;Potassium Butylparaben;Ammonium Thioglycolate;Sodium Hydroxymethylglycinate;"
        "Sodium Bicarbonate;Potassium Bicarbonate;Arginine HCl;Lysine HCl",
    ),
    (
        "Sodium Sulfate",
        2,
        0.25,
        "Sodium Malate;Sodium Tartrate;Potassium Sodium Tartrate;Disodium Succinate;Disodium EDTA;Calcium Disodium EDTA;Sodium Sulfite;"
        "Sodium Metabisulfite;Potassium Carbonate;Calcium Lactate;Magnesium Lactate;Zinc Lactate;Calcium Gluconate;Magnesium Gluconate;"
        "Zinc Gluconate;Zinc PCA;Magnesium PCA;Calcium Benzoate;Magnesium Benzoate;Calcium Salicylate;Magnesium Salicylate;"
        "Calcium Propionate;Magnesium Propionate;Calcium Sorbate",
    ),
    (
        "Trisodium Phosphate",
        1.5,
        0.2,
        "Sodium Citrate;Potassium Citrate;Trisodium EDTA;Trisodium Ethylenediamine Disuccinate;Sodium Ascorbyl Phosphate",
    ),
    ("Tetrasodium Pyrophosphate", 0.5, 0.25, "Tetrasodium EDTA;Tetrasodium Glutamate Diacetate;Tetrasodium Etidronate"),
)


def ideal(inci: str) -> Molecule:
    """A substance without a constant: Raoult's law, with a band."""
    return Molecule(inci, 0.0, IDEAL_SPREAD, None, IDEAL_SOURCE)


def _names(text: str) -> list[str]:
    return text.replace("\n", ";").split(";")


@cache
def _table() -> dict[str, Molecule | Salt]:
    found: dict[str, Molecule | Salt] = {inci_key(name): ideal(name) for name in _names(_IDEAL)}
    for source, rows in _MOLECULES:
        for row in rows.split():
            name, k, spread, most = row.replace("_", " ").split(";")
            found[inci_key(name)] = Molecule(name, float(k), float(spread), float(most), source)
    salts = {}
    for source, rows in _SALTS:
        for row in rows.splitlines():
            name, ions, figures, most, spread = row.split(";")
            zc, za, nc, na = map(int, ions.split())
            b0, b1, b2, c = map(float, figures.split())
            salts[name] = Salt(name, (zc, za), (nc, na), (b0, b1, b2), c, float(most), float(most), float(spread), source)
    for like, most_like, spread_like, names in _LIKE:
        for name in names.split(";"):
            salts[name] = salts[like]._replace(inci=name, most=most_like, spread=spread_like, like=like)
    return found | {inci_key(name): salt for name, salt in salts.items()}


def constants_of(inci: str) -> Molecule | Salt | None:
    """The constants of a substance by its INCI name or a synonym; None when it is in no table here."""
    substance = known(inci)
    return _table().get(inci_key(substance.inci if substance else inci))


@cache
def _sparing() -> frozenset[str]:
    return frozenset(inci_key(name) for name in _names(_SPARING))


def dissolves_little(inci: str) -> bool:
    """True for a known substance of which so little dissolves that it does not count."""
    substance = known(inci)
    return inci_key(substance.inci if substance else inci) in _sparing()
