"""The pH solver against an independent one: PHREEQC (US Geological Survey), through `phreeqpython`.

Both have the same constants and nothing else in common. What a formula unit gives, the charges and the reactions are written
here by hand as PHREEQC has them; PHREEQC gets the totals in mol per kg of water and finds the pH itself, by the balance of
charges (`pH 7 charge`), and titrates for itself.

Its Davies equation is the same, with A worked out from the density and the permittivity of water (0.51002 at 25 °C, ours
0.510). Neutral forms it would salt out by 0.1·I unless told `-gamma 0 0`. It lowers the activity of water by 0.017 for
each mol/kg of solutes, which moves the pH where hydroxide decides: by 0.006 at pH 13.5 and by 0.002 in a neutral salt at
most, and by 0.00002 in a buffer below pH 9.
"""

import math
import random
import re
from collections.abc import Mapping
from functools import cache
from typing import NamedTuple

import pytest
from phreeqpython.viphreeqc import VIPhreeqc

from fvc.reference.ions import PKW, in_water
from fvc.reference.lookup import known
from fvc.reference.solubility import dissolves
from fvc.reference.substances import SUBSTANCES
from fvc.science.equilibrium import Ions, solve
from tests.test_ph_standards import mixture, without_activities

# PHREEQC's name for each acid or base; the INCI name under which the table has its constants; the charge without any proton
WEAK = {
    "Ace": ("Acetic Acid", -1), "Adi": ("Adipic Acid", -2), "Ani": ("p-Anisic Acid", -1), "Asc": ("Ascorbic Acid", -2),
    "Aze": ("Azelaic Acid", -2), "Ben": ("Benzoic Acid", -1), "Bpar": ("Butylparaben", -1),
    "Cit": ("Citric Acid", -3), "Dha": ("Dehydroacetic Acid", -1), "Edta": ("EDTA", -4),
    "Epar": ("Ethylparaben", -1), "Fer": ("Ferulic Acid", -1), "For": ("Formic Acid", -1), "Fum": ("Fumaric Acid", -2),
    "Glda": ("Tetrasodium Glutamate Diacetate", -4), "Glu": ("Gluconic Acid", -1), "Gly": ("Glycolic Acid", -1),
    "Hba": ("4-Hydroxybenzoic Acid", -2), "Lac": ("Lactic Acid", -1), "Lacb": ("Lactobionic Acid", -1), "Lev": ("Levulinic Acid", -1), "Mal": ("Malic Acid", -2), "Man": ("Mandelic Acid", -1), "Pca": ("PCA", -1),
    "Pho": ("Phosphoric Acid", -3), "Ppar": ("Propylparaben", -1), "Pro": ("Propionic Acid", -1), "Pyro": ("Tetrasodium Pyrophosphate", -4), "Sal": ("Salicylic Acid", -1), "Sor": ("Sorbic Acid", -1),
    "Suc": ("Succinic Acid", -2), "Tar": ("Tartaric Acid", -2), "Carb": ("Sodium Carbonate", -2), "Sulf": ("Sodium Sulfate", -2),
    "Sulfi": ("Sodium Sulfite", -2),
    "Aglc": ("Ascorbyl Glucoside", -1), "Easc": ("3-O-Ethyl Ascorbic Acid", -1), "Koj": ("Kojic Acid", -1), "Chx": ("Caprylhydroxamic Acid", -1),
    "Tgly": ("Thioglycolic Acid", -2), "Tranex": ("Tranexamic Acid", -1), "Carn": ("Carnitine", 0), "Lys": ("Lysine", -1),
    "His": ("Histidine", -1), "Niac": ("Niacin", -1), "Lamo": ("Lauramine Oxide", 0),
    "Mpar": ("Methylparaben", -1), "Glyc": ("Glycine", -1), "Arg": ("Arginine", -1),
    "Amm": ("Ammonia", 0), "Amp": ("Aminomethyl Propanol", 0), "Mea": ("Ethanolamine", 0), "Nia": ("Niacinamide", 0),
    "Tea": ("Triethanolamine", 0), "Tris": ("Tromethamine", 0),
}  # fmt: skip
STRONG = {"Na": 1, "K": 1, "Ca": 2, "Mg": 2, "Zn": 2, "Cl": -1}

# What one formula unit gives; the protons are left to the balance of charges
GIVES = {
    **{inci: name for name, (inci, _) in WEAK.items() if name not in ("Carb", "Glda", "Pyro", "Sulf", "Sulfi")},
    "Sodium Hydroxide": "Na", "Potassium Hydroxide": "K", "Calcium Hydroxide": "Ca", "Hydrochloric Acid": "Cl",
    "Ammonium Hydroxide": "Amm", "Sodium Chloride": "Na Cl", "Potassium Chloride": "K Cl", "Magnesium Chloride": "Mg Cl2",
    "Calcium Chloride": "Ca Cl2", "Sodium Sulfate": "Na2 Sulf", "Magnesium Sulfate": "Mg Sulf", "Zinc Sulfate": "Zn Sulf",
    "Sodium Bicarbonate": "Na Carb", "Potassium Bicarbonate": "K Carb", "Sodium Carbonate": "Na2 Carb", "Potassium Carbonate": "K2 Carb",
    "Sodium Citrate": "Na3 Cit", "Potassium Citrate": "K3 Cit", "Sodium Lactate": "Na Lac", "Potassium Lactate": "K Lac",
    "Ammonium Lactate": "Amm Lac", "Calcium Lactate": "Ca Lac2", "Magnesium Lactate": "Mg Lac2", "Zinc Lactate": "Zn Lac2",
    "Sodium Acetate": "Na Ace", "Potassium Acetate": "K Ace", "Sodium Malate": "Na2 Mal", "Sodium Tartrate": "Na2 Tar",
    "Potassium Sodium Tartrate": "Na K Tar", "Disodium Succinate": "Na2 Suc", "Sodium Phosphate": "Na Pho",
    "Disodium Phosphate": "Na2 Pho", "Trisodium Phosphate": "Na3 Pho", "Potassium Phosphate": "K Pho", "Dipotassium Phosphate": "K2 Pho",
    "Ammonium Glycolate": "Amm Gly", "Sodium Glycolate": "Na Gly", "Sodium Gluconate": "Na Glu", "Potassium Gluconate": "K Glu",
    "Calcium Gluconate": "Ca Glu2", "Magnesium Gluconate": "Mg Glu2", "Zinc Gluconate": "Zn Glu2", "Sodium Levulinate": "Na Lev",
    "Sodium Anisate": "Na Ani", "Sodium Ascorbate": "Na Asc", "Disodium EDTA": "Na2 Edta", "Trisodium EDTA": "Na3 Edta",
    "Tetrasodium EDTA": "Na4 Edta", "Tetrasodium Glutamate Diacetate": "Na4 Glda", "Sodium PCA": "Na Pca", "Magnesium PCA": "Mg Pca2",
    "Zinc PCA": "Zn Pca2", "Sodium Benzoate": "Na Ben", "Potassium Benzoate": "K Ben", "Calcium Benzoate": "Ca Ben2",
    "Ammonium Benzoate": "Amm Ben", "MEA-Benzoate": "Mea Ben", "Potassium Sorbate": "K Sor", "Sodium Sorbate": "Na Sor",
    "Calcium Sorbate": "Ca Sor2", "Sodium Dehydroacetate": "Na Dha", "Sodium Salicylate": "Na Sal", "Magnesium Salicylate": "Mg Sal2",
    "MEA-Salicylate": "Mea Sal", "TEA-Salicylate": "Tea Sal", "Sodium Propionate": "Na Pro", "Ammonium Propionate": "Amm Pro",
    "Potassium Propionate": "K Pro", "Calcium Propionate": "Ca Pro2", "Magnesium Propionate": "Mg Pro2", "Sodium Formate": "Na For",
    "Magnesium Benzoate": "Mg Ben2", "Potassium Salicylate": "K Sal", "Calcium Salicylate": "Ca Sal2", "Sodium Paraben": "Na Hba",
    "Potassium Paraben": "K Hba", "Sodium Methylparaben": "Na Mpar", "Potassium Methylparaben": "K Mpar", "Sodium Ethylparaben": "Na Epar",
    "Potassium Ethylparaben": "K Epar", "Sodium Propylparaben": "Na Ppar", "Potassium Propylparaben": "K Ppar",
    "Sodium Butylparaben": "Na Bpar", "Potassium Butylparaben": "K Bpar", "Sodium Sulfite": "Na2 Sulfi",
    "Ammonium Thioglycolate": "Amm Tgly", "Arginine HCl": "Arg Cl", "Lysine HCl": "Lys Cl",
    "Sodium Metabisulfite": "Na2 Sulfi2", "Tetrasodium Pyrophosphate": "Na4 Pyro", "Magnesium Hydroxide": "Mg",
}  # fmt: skip


def species(name: str, charge: int, protons: int = 0) -> str:
    """`CitH2-1`, `Ca+2`."""
    held = f"H{protons}" if protons else ""
    return f"{name}{held}{charge:+d}" if charge else f"{name}{held}"


def database() -> str:
    masters, reactions = [], []
    charges = {name: charge for name, (_, charge) in WEAK.items()} | STRONG
    for name, charge in charges.items():
        base = species(name, charge)
        masters.append(f"{name} {base} 0 100 100")
        constants = [float(text) for text in in_water(WEAK[name][0]).weak[0][0].pka] if name in WEAK else []
        for protons in range(len(constants) + 1):
            form = species(name, charge + protons, protons)
            reactions.append(f"{base} + {protons} H+ = {form}" if protons else f"{base} = {base}")
            reactions.append(f" log_k {sum(constants[len(constants) - protons :]):.4f}")
            if charge + protons == 0:
                reactions.append(" -gamma 0 0")
    lines = "\n".join
    return f"""
SOLUTION_MASTER_SPECIES
H     H+   -1  H  1.008
H(0)  H2    0  H
H(1)  H+   -1  0
E     e-    0  0  0
O     H2O   0  O  16.00
O(0)  O2    0  O
O(-2) H2O   0  0
{lines(masters)}
SOLUTION_SPECIES
H+ = H+
 log_k 0
e- = e-
 log_k 0
H2O = H2O
 log_k 0
H2O = OH- + H+
 log_k {-PKW}
2 H2O = O2 + 4 H+ + 4 e-
 log_k -86.08
2 H+ + 2 e- = H2
 log_k -3.15
{lines(reactions)}
END
"""


@cache
def engine() -> VIPhreeqc:
    started = VIPhreeqc()
    started.load_database_string(database())
    assert not started.phc_database_error_count, started.get_error_string()
    return started


class Found(NamedTuple):
    """PHREEQC's answer. titrated: sodium hydroxide per pH, by a step of its own; steady: the same at a constant ionic strength."""

    ph: float
    ionic_strength: float
    titrated: float
    steady: float


def by_phreeqc(molalities: Mapping[str, float], step: float) -> Found:
    """The mixture, then with `step` mol/kg of sodium hydroxide, then with as much sodium chloride.

    Hydroxide raises the ionic strength, which moves the pH by itself; how much is seen from the salt, and taken off for
    `steady`: 1/steady = dpH/dB - dpH/dS · (dI/dB)/(dI/dS).
    """
    totals: dict[str, float] = {}
    for inci, molality in molalities.items():
        for name, count in re.findall(r"([A-Z][a-z]*)(\d*)", GIVES[inci]):
            totals[name] = totals.get(name, 0) + molality * int(count or 1)
    amounts = "\n".join(f" {name} {molality!r}" for name, molality in totals.items())
    program = f"""
SOLUTION 1
 units mol/kgw
 pH 7 charge
{amounts}
KNOBS
 -convergence_tolerance 1e-12
SELECTED_OUTPUT
 -reset false
 -high_precision true
 -pH true
 -ionic_strength true
END
"""
    program += "".join(f"USE solution 1\nREACTION\n {what} 1\n {step!r} moles\nEND\n" for what in ("NaOH", "NaCl"))
    engine().run_string(program)
    (ph, strength), (base_ph, base_strength), (salt_ph, salt_strength) = engine().get_selected_output_array()[1:]
    by_salt = (salt_ph - ph) * (base_strength - strength) / (salt_strength - strength)
    return Found(ph, strength, step / (base_ph - ph), step / (base_ph - ph - by_salt))


def molalities_of(percents: Mapping[str, float]) -> dict[str, float]:
    """mol per kg of water: what stands beside the water is percent of the product, and the rest is water."""
    assert all(inci in GIVES or in_water(inci) is None for inci in percents)
    water = 100 - sum(percents.values())
    return {inci: percent / float(known(inci).molar_mass) / water * 1000 for inci, percent in percents.items() if inci in GIVES}


def agree(molalities: Mapping[str, float]) -> None:
    protolytes, ions = mixture(molalities)
    ours = solve(protolytes, ions)
    step = ours.buffer_value * 1e-3  # about a thousandth of a pH unit
    theirs = by_phreeqc(molalities, step)
    # 0.01 is the target; it is the activity of water alone, and so only alkaline mixtures, that come near it
    assert ours.ph == pytest.approx(theirs.ph, abs=0.01 if theirs.ph > 9 else 0.003), molalities
    assert ours.ionic_strength == pytest.approx(theirs.ionic_strength, rel=0.01), molalities
    assert ours.buffer_value == pytest.approx(theirs.steady, rel=0.02), molalities
    dosed = solve(protolytes, [*ions, Ions(1, step)])
    assert step / (dosed.ph - ours.ph) == pytest.approx(theirs.titrated, rel=0.02), molalities


# Percent of the product; names that neither give nor take a proton only take the place of water.
PLANS = {
    "toner, citrate": {"Glycerin": 3, "Sodium Citrate": 0.35, "Citric Acid": 0.2, "Sodium Benzoate": 0.4, "Potassium Sorbate": 0.3},
    "toner, lactate": {"Propanediol": 4, "Sodium Lactate": 1.8, "Lactic Acid": 0.4, "Sodium Levulinate": 0.6, "Sodium Anisate": 0.2},
    "mist, vinegar and lactate": {"Sodium Lactate": 1.2, "Acetic Acid": 0.15, "Glycerin": 2},
    "mist, vinegar alone": {"Acetic Acid": 0.25, "Glycerin": 1},
    "mist, hardly buffered": {"Lactic Acid": 0.001, "Glycerin": 3},
    "mist, salt only": {"Sodium Chloride": 0.9},
    "hair rinse, vinegar": {"Acetic Acid": 0.5, "Panthenol": 1, "Sodium Acetate": 0.05},
    "hand wash with salt": {
        "Coco-Glucoside": 8, "Sodium Chloride": 1.8, "Citric Acid": 0.25, "Sodium Benzoate": 0.5, "Tetrasodium Glutamate Diacetate": 0.2,
    },
    "shower gel, benzoate and sorbate": {
        "Decyl Glucoside": 12, "Sodium Chloride": 1, "Sodium Benzoate": 0.5, "Potassium Sorbate": 0.4, "Lactic Acid": 0.55,
    },
    "shampoo, EDTA": {"Lauryl Glucoside": 10, "Disodium EDTA": 0.1, "Citric Acid": 0.12, "Sodium Benzoate": 0.45, "Sodium Chloride": 2},
    "wash, tetrasodium EDTA and citric acid": {"Tetrasodium EDTA": 0.2, "Citric Acid": 0.3, "Sodium Chloride": 1},
    "lotion, dehydroacetate": {
        "Caprylic/Capric Triglyceride": 20, "Benzyl Alcohol": 0.9, "Dehydroacetic Acid": 0.1, "Sodium Gluconate": 0.2, "Sodium Hydroxide": 0.02,
    },
    "lotion, sodium dehydroacetate": {"Cetearyl Alcohol": 6, "Sodium Dehydroacetate": 0.5, "Citric Acid": 0.2, "Glycerin": 5},
    "lotion, PCA": {"Squalane": 10, "Sodium PCA": 2.5, "PCA": 0.4, "Potassium Sorbate": 0.3},
    "lotion, PCA and lactate": {"Sodium PCA": 1.5, "Sodium Lactate": 1.5, "Lactic Acid": 0.6, "Glycerin": 5, "Urea": 5},
    "lotion, gluconate": {"Sodium Gluconate": 0.5, "Gluconic Acid": 0.3, "Sodium Benzoate": 0.3, "Glycerin": 4},
    "serum, phosphate": {"Sodium Phosphate": 0.6, "Disodium Phosphate": 0.35, "Niacinamide": 4, "Propanediol": 5},
    "serum, niacinamide and citrate": {"Niacinamide": 5, "Sodium Citrate": 0.3, "Citric Acid": 0.1, "Glycerin": 5},
    "serum, ascorbate": {"Ascorbic Acid": 5, "Sodium Ascorbate": 3, "Sodium Hydroxide": 0.1, "Glycerin": 10},
    "salicylic with triethanolamine": {"Salicylic Acid": 0.5, "Triethanolamine": 0.6, "Propanediol": 10},
    "salicylic with arginine": {"Salicylic Acid": 0.5, "Arginine": 0.7, "Propanediol": 10},
    "salicylic with sodium hydroxide": {"Salicylic Acid": 0.5, "Sodium Hydroxide": 0.1, "Pentylene Glycol": 3},
    "glycolic acid, partly neutralised": {"Glycolic Acid": 5, "Sodium Hydroxide": 1.2, "Glycerin": 3},
    "glycolic acid and its ammonium salt": {"Glycolic Acid": 3, "Ammonium Glycolate": 2, "Xanthan Gum": 0.3},
    "peel, mandelic and lactic": {"Lactic Acid": 4, "Mandelic Acid": 3, "Potassium Hydroxide": 1.5},
    "ammonium lactate lotion": {"Ammonium Lactate": 4, "Lactic Acid": 0.5, "Petrolatum": 10},
    "carbonate, closed to air": {"Sodium Bicarbonate": 0.4, "Sodium Carbonate": 0.1, "Sodium Chloride": 0.5},
    "bicarbonate with citric acid, closed to air": {"Sodium Bicarbonate": 0.5, "Citric Acid": 0.3},
    "tromethamine": {"Tromethamine": 0.6, "Hydrochloric Acid": 0.12, "Glycerin": 5},
    "gel, tromethamine and lactic acid": {"Tromethamine": 0.5, "Lactic Acid": 0.3, "Hydroxyethylcellulose": 0.6},
    "hair colour base, ammonia": {"Ammonia": 1.5, "Ethanolamine": 1, "Tetrasodium EDTA": 0.2, "Sodium Sulfite": 0.3},
    "hair, aminomethyl propanol": {"Aminomethyl Propanol": 0.5, "Levulinic Acid": 0.4, "p-Anisic Acid": 0.1},
    "magnesium sulfate, no pairing": {"Magnesium Sulfate": 0.8, "Sodium Benzoate": 0.3, "Citric Acid": 0.1},
    "calcium lactate, no pairing": {"Calcium Lactate": 1, "Lactic Acid": 0.5, "Potassium Sorbate": 0.2},
    "zinc PCA, no pairing": {"Zinc PCA": 1, "Sodium Lactate": 0.5, "Lactic Acid": 0.1},
    "three preservatives near their limits": {"Sodium Benzoate": 0.59, "Potassium Sorbate": 0.8, "Sodium Dehydroacetate": 0.3, "Malic Acid": 0.7},
    "tartrate and malate": {"Tartaric Acid": 0.3, "Potassium Sodium Tartrate": 0.5, "Malic Acid": 0.2, "Sodium Malate": 0.3},
    "succinate buffer": {"Succinic Acid": 0.3, "Disodium Succinate": 0.5, "Sodium Propionate": 0.3},
    "parabens in alkali": {"Methylparaben": 0.2, "Sodium Methylparaben": 0.1, "Sodium Hydroxide": 0.02},
    "relaxer": {"Sodium Hydroxide": 1.6, "Propylene Glycol": 3},
    "much of everything, near ionic strength 0.5": {"Sodium Citrate": 1.0, "Sodium Lactate": 2.0, "Lactic Acid": 1.5, "Sodium Chloride": 0.5},
}  # fmt: skip


@pytest.mark.parametrize("plan", PLANS)
def test_phreeqc_has_the_same_ph_for_a_plan(plan):
    agree(molalities_of(PLANS[plan]))


def test_the_plans_are_wide_and_0_01_tells_right_from_wrong():
    """Without activities most of them come out wrong, some by a third of a unit."""
    mixtures = [mixture(molalities_of(percents)) for percents in PLANS.values()]
    answers = [solve(*each) for each in mixtures]
    assert min(a.ph for a in answers) < 3.2
    assert max(a.ph for a in answers) > 11
    assert 0.3 < max(a.ionic_strength for a in answers) < 0.5
    off = [abs(without_activities(*each) - answer.ph) for each, answer in zip(mixtures, answers, strict=True)]
    assert sum(each > 0.05 for each in off) > len(PLANS) / 2
    assert max(off) > 0.3


def test_every_substance_that_counts_for_the_ph_is_compared():
    counted = {s.inci for s in SUBSTANCES if (gives := in_water(s.inci)) and not gives.lacking}
    assert counted <= set(GIVES), f"add to GIVES (and a new acid or base to WEAK): {sorted(counted - set(GIVES))}"


@pytest.mark.parametrize("inci", GIVES)
def test_phreeqc_has_the_same_ph_for_a_substance_alone(inci):
    agree({inci: 0.02})


@pytest.mark.parametrize("seed", range(20))
def test_phreeqc_has_the_same_ph_for_any_mixture(seed):
    """Fifty of up to eight substances, 0.1 to 100 mmol each, at an ionic strength below 0.5."""
    chance, done = random.Random(seed), 0
    while done < 50:
        names = chance.sample(sorted(GIVES), chance.randint(1, 8))
        molalities = {name: 10 ** chance.uniform(-4, -1) for name in names}
        if solve(*mixture(molalities)).ionic_strength < 0.5:
            agree(molalities)
            done += 1


@pytest.mark.parametrize(
    ("inci", "base"),
    [
        ("Salicylic Acid", 0.0),
        ("Salicylic Acid", 0.05),
        ("Benzoic Acid", 0.0),
        ("Azelaic Acid", 0.3),
        ("Fumaric Acid", 0.1),
        ("Adipic Acid", 0.02),
    ],
)
def test_phreeqc_has_the_same_ph_beside_crystals(inci, base):
    """1 mol of an acid in 1 kg of water, with some sodium hydroxide: PHREEQC dissolves it from a phase of its own."""
    name, charge = next((name, charge) for name, (known_as, charge) in WEAK.items() if known_as == inci)
    most, acid = dissolves(inci), species(name, 0, -charge)
    engine().run_string(f"""
PHASES
Crystals
 {acid} = {acid}
 log_k {math.log10(most):.8f}
SOLUTION 1
 units mol/kgw
 pH 7 charge
 Na {base!r}
EQUILIBRIUM_PHASES 1
 Crystals 0 1
KNOBS
 -convergence_tolerance 1e-12
SELECTED_OUTPUT
 -reset false
 -high_precision true
 -pH true
 -ionic_strength true
END
""")
    ph, strength = engine().get_selected_output_array()[-1]
    (weak,), _ = mixture({inci: 1.0})
    ours = solve([weak._replace(most=most)], [Ions(1, base)])
    assert ours.ph == pytest.approx(ph, abs=0.003)
    assert ours.ionic_strength == pytest.approx(strength, rel=0.01)
