"""What is published to weaken a preservative, or not to go with it: who, with what, from how much, and who says so."""

from __future__ import annotations

import re
from typing import NamedTuple

from fvc.material import inci_key
from fvc.reference.lookup import is_fixed, known
from fvc.reference.source import Source


class Group(NamedTuple):
    """Substances that have something in common; any one sign is enough.

    names: INCI names as the table of substances has them, a salt by that of its acid. pattern: found in the INCI name. charge: ionic character, with
    `functions` only of what does one of these. oil: a fat oil by its INCI name.
    """

    names: tuple[str, ...] = ()
    pattern: str = ""
    charge: str = ""
    functions: tuple[str, ...] = ()
    oil: bool = False

    def holds(self, inci: str, charge: str = "", functions: tuple[str, ...] = ()) -> bool:
        """True for an INCI name that belongs to it. charge, functions: by its record, where fvc knows none."""
        substance = known(inci)
        if substance and not {substance.inci, *(substance.acid[:1] if substance.acid else ())}.isdisjoint(self.names):
            return True
        if self.pattern and re.search(self.pattern, inci_key(inci)):
            return True
        if self.charge and self.charge == (substance.charge if substance and substance.charge else charge):
            return not self.functions or not {*self.functions}.isdisjoint(substance.functions if substance else functions)
        return self.oil and is_fixed(inci)


class Antagonism(NamedTuple):
    """A published antagonism.

    who: the preservatives. whom: what weakens them, or does not go with them. least: percent of that in the product from
    which it is named, a choice of ours. ratio: True when what counts is how much of it comes on each gram of preservative.
    """

    who: Group
    whom: Group
    least: str
    words: str
    source: Source
    ratio: bool = False


_PARABENS = Group(pattern=r"paraben$")
_ACIDS = Group(
    names=(
        "Benzoic Acid", "Sorbic Acid", "Dehydroacetic Acid", "Salicylic Acid", "p-Anisic Acid", "Levulinic Acid", "Propionic Acid",
        "Formic Acid", "Undecylenic Acid",
    )
)  # fmt: skip
_ALCOHOLS = Group(names=("Phenoxyethanol", "Phenoxyisopropanol", "Benzyl Alcohol", "Dichlorobenzyl Alcohol", "Chlorphenesin"))
_PHENOLS = Group(names=("Chloroxylenol", "p-Chloro-m-Cresol", "o-Cymen-5-ol"))
_QUATS = Group(names=("Benzalkonium Chloride", "Benzethonium Chloride"))
_CATIONIC = Group(charge="cationic")
_DONORS = Group(names=("Imidazolidinyl Urea", "Diazolidinyl Urea", "DMDM Hydantoin", "Sodium Hydroxymethylglycinate"))
_ISOTHIAZOLINONES = Group(pattern=r"isothiazolinone$")

# Names that end in -eth-20, or begin with PEG-40 and go on; a plain PEG-8 is a humectant, and sulfates and phosphates are anionic.
_NON_IONIC = Group(
    pattern=r"polysorbate|poloxamer|^peg-\d+ |eth-\d+$|^peg/ppg-", charge="non-ionic", functions=("solubiliser", "surfactant")
)
_PROTEINS = r"protein|keratin|collagen|gelatin|silk|casein|albumin"
_THIOLS = r"cystei|cystea|thioglycol|glutathione|thiolact"
_SULFITES = r"sulfite|thiosulfate|dithionite"
_POWDERS = r"kaolin|bentonite|montmorillonite|hectorite|talc|titanium dioxide|iron oxide|ci 7749[129]|ultramarine|ci 77007|magnesium aluminum silicate"

_BINDING = Source("Preservatives for pharmaceuticals, J. Soc. Cosmet. Chem. 23, 714: binding of phenolics and organic acids", "1972")
_HIGH_SURFACTANT = Source(
    "preservatives in emulsions with PEG-40 hydrogenated castor oil and polysorbate 80, by challenge test, through the abstract in a "
    "library's list (undated, as read in 2026)",
    "2026",
)
_CHOOSING = Source(
    "Antimicrobial preservatives, part two: choosing a preservative, a review for the pharmaceutical trade, through a page that quotes it "
    "(undated, as read in 2026)",
    "2026",
)
_EXCIPIENTS = Source("Handbook of Pharmaceutical Excipients, through a page that repeats its text (undated, as read in 2026)", "2026")
_EXCIPIENTS_MEMORY = Source("Handbook of Pharmaceutical Excipients, incompatibilities", "2009", looked_up=False)
_CELLULOSE = Source("a study of preservatives with polymers, through a page that sums it up (undated, as read in 2026)", "2026")
_PIGMENTS = Source("a study of parabens with inorganic powders, through a page that sums it up", "2010")
_COMMON = Source("common practice", "2026", looked_up=False)

ANTAGONISMS: tuple[Antagonism, ...] = (
    Antagonism(
        _PARABENS,
        _NON_IONIC,
        "0.5",
        "micelles of non-ionics take parabens up; polysorbate 80 and PEG-40 hydrogenated castor oil undid methylparaben in a challenge test",
        _HIGH_SURFACTANT,
        ratio=True,
    ),
    Antagonism(
        _ACIDS,
        _NON_IONIC,
        "0.5",
        "micelles of non-ionics take up undissociated acid, the more of it the more surfactant there is, and only what stays free works",
        _BINDING,
        ratio=True,
    ),
    Antagonism(
        _ALCOHOLS,
        _NON_IONIC,
        "0.5",
        "non-ionics weaken aromatic alcohols by taking them up, as a rule less than they do parabens",
        _CHOOSING,
        ratio=True,
    ),
    Antagonism(
        _PHENOLS,
        Group(
            pattern=f"{_NON_IONIC.pattern}|{_PROTEINS}",
            charge="anionic",
            functions=("surfactant",),
        ),
        "0.5",
        "phenols often lose their effect with non-ionics, anionics and proteins",
        Source("Cosmetic preservation, J. Soc. Cosmet. Chem. 24, 671", "1973"),
        ratio=True,
    ),
    Antagonism(
        _PARABENS,
        Group(pattern=r"^peg-\d+[mk]?$"),
        "2",
        "polyethylene glycol binds parabens weakly, but much of it binds much",
        Source("Shimamoto, Mima & Nakagaki, Chem. Pharm. Bull. 27, 2557, abstract", "1979"),
        ratio=True,
    ),
    Antagonism(
        _PARABENS,
        Group(oil=True),
        "5",
        "parabens go over into vegetable oil: of 0.2 % methylparaben, water with a fifth of soya oil keeps 0.012 %",
        Source("Preservatives for pharmaceuticals, J. Soc. Cosmet. Chem. 23, 716, table VIII", "1972"),
    ),
    Antagonism(_PARABENS, Group(names=("Methylcellulose", "PVP"), pattern=r"^gelatin"), "0.1", "such polymers bind parabens", _CELLULOSE),
    Antagonism(
        Group(names=("Phenoxyethanol",)),
        Group(names=("Methylcellulose", "Cellulose Gum", "Hydroxypropyl Methylcellulose")),
        "0.1",
        "cellulose derivatives lower the effect of phenoxyethanol",
        _CELLULOSE,
    ),
    Antagonism(
        _PARABENS, Group(names=("Astragalus Gummifer Gum", "Algin", "Alginic Acid")), "0.1", "the gum binds parabens", _EXCIPIENTS_MEMORY
    ),
    Antagonism(_PARABENS, Group(pattern=_POWDERS), "0.5", "the powder holds parabens on its surface", _PIGMENTS),
    Antagonism(
        Group(names=_ACIDS.names, pattern=_PARABENS.pattern),
        Group(pattern=r"cyclodextrin"),
        "0.1",
        "cyclodextrins take small preservatives in",
        Source("inclusion of preservatives in cyclodextrins, published in many places", "2000", looked_up=False),
        ratio=True,
    ),
    Antagonism(
        Group(pattern=_PARABENS.pattern, charge="cationic"),
        Group(pattern=r"lecithin"),
        "0.1",
        "test laboratories use lecithin, with polysorbate 80, to stop such preservatives",
        Source("neutralisers in the tests of the pharmacopoeias", "2019", looked_up=False),
    ),
    Antagonism(
        Group(names=("Chlorhexidine Digluconate", "Hexamidine Diisethionate", "Polyaminopropyl Biguanide", "Ethyl Lauroyl Arginate HCl")),
        Group(charge="anionic"),
        "0",
        "a cationic preservative pairs with what is anionic, loses its effect and may fall out; shown of chlorhexidine with sodium lauryl "
        "sulfate, carbomer and acrylate thickeners",
        Source(
            "Tran et al., J. Surg. Dermatol.: incompatibility of anionic agents with chlorhexidine gluconate, abstract (undated, as read in "
            "2026)",
            "2026",
        ),
    ),
    Antagonism(
        Group(names=("Chlorhexidine Digluconate",)),
        Group(
            names=("Citric Acid", "Phosphoric Acid", "Algin", "Astragalus Gummifer Gum"),
            pattern=r"carbonate|borate$|kaolin|^(zinc|calcium) ",
        ),
        "0",
        "it forms salts of chlorhexidine that hardly dissolve, or holds it fast",
        Source("Martindale, chlorhexidine, through a page that repeats its text (undated, as read in 2026)", "2026"),
    ),
    Antagonism(
        _QUATS,
        Group(
            names=("Citric Acid", "Tartaric Acid", "Salicylic Acid", "Hydroxypropyl Methylcellulose", "Zinc Oxide"),
            pattern=f"{_PROTEINS}|kaolin|lanolin|hydrogen peroxide",
            charge="anionic",
        ),
        "0",
        "not compatible with such a quaternary preservative",
        _EXCIPIENTS,
    ),
    Antagonism(_QUATS, _NON_IONIC, "2", "non-ionics in high concentration weaken it", _EXCIPIENTS, ratio=True),
    Antagonism(
        Group(names=("Benzoic Acid",)),
        _CATIONIC,
        "0.1",
        "benzoate pairs with quaternary ammonium compounds",
        Source(
            "Pharmaceutical Suspensions: From Formulation Development to Manufacturing, page 121, through a page that quotes it", "2010"
        ),
    ),
    Antagonism(
        Group(names=("Sorbic Acid",)),
        _CATIONIC,
        "0.1",
        "sorbate, an anion, may pair with quaternary ammonium compounds as benzoate does",
        _COMMON,
    ),
    Antagonism(
        Group(names=("Benzoic Acid",)),
        Group(names=("Ascorbic Acid", "Sodium Ascorbate"), pattern=r"^(sodium|calcium|magnesium) ascorbate$|^erythorbic|erythorbate$"),
        "0",
        "traces of benzene may form from benzoic acid with ascorbic acid, the more with copper or iron, heat and light; shown in drinks",
        Source("BfR Expert Opinion No. 013/2006: possible formation of benzene from benzoic acid in foods", "2005-12-01"),
    ),
    Antagonism(
        Group(names=("Sorbic Acid",)),
        Group(pattern=rf"peroxide|persulfate|hypochlorite|bromate|{_SULFITES}|^(ferric|ferrous|iron|copper|manganese) |{_THIOLS}"),
        "0",
        "sorbic acid is oxidised, faster with heavy metals, and reacts with reducing agents and with amino acids that hold sulfur",
        _EXCIPIENTS,
    ),
    Antagonism(
        Group(names=("Benzyl Alcohol",)),
        Group(pattern=r"peroxide|persulfate|hypochlorite|bromate"),
        "0",
        "oxidisers turn benzyl alcohol into benzaldehyde",
        _EXCIPIENTS_MEMORY,
    ),
    Antagonism(
        Group(names=("2-Bromo-2-Nitropropane-1,3-Diol",)),
        Group(pattern=rf"{_THIOLS}|{_SULFITES}"),
        "0",
        "an excess of thiols such as cysteine uses the preservative up",
        Source("Shepherd, Waigh & Gilbert, Antimicrob. Agents Chemother. 32, 1693, abstract", "1988"),
    ),
    Antagonism(
        _ISOTHIAZOLINONES,
        Group(pattern=rf"{_THIOLS}|{_SULFITES}"),
        "0",
        "thiols open the ring of isothiazolinones, which is what works",
        Source("Collier et al., J. Appl. Bacteriol. 69, 578, abstract", "1990"),
    ),
    Antagonism(
        _DONORS,
        Group(pattern=rf"{_PROTEINS}|{_SULFITES}|{_THIOLS}"),
        "0",
        "proteins, sulfites and thiols bind the formaldehyde that such a preservative sets free",
        _COMMON,
    ),
)
