"""HLB by Griffin's scale: of emulsifiers and solubilisers, and what oils ask for in an oil-in-water emulsion.

A record's own figure always wins. The scale is for non-ionic emulsifiers, so anionic ones are not in here. Commercial grades
are mixtures, and required values were found by trial: the band of each row is what sources say of it, widened to
`EMULSIFIER_SURE_TO` and `REQUIRED_SURE_TO` where they agree more closely than any two grades do.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from fvc.material import inci_key
from fvc.reference.source import Source

# How far a figure may be off at least, common practice without source: of an emulsifier, and of what an oil asks for.
EMULSIFIER_SURE_TO, REQUIRED_SURE_TO = 0.5, 1.0


class Hlb(NamedTuple):
    """A published figure with its band, as text."""

    value: str
    low: str
    high: str
    source: Source


GRIFFIN = Source('Griffin, Classification of surface-active agents by "HLB", J. Soc. Cosmet. Chem. 1, 311', "1949", looked_up=False)
_BLENDS = Source("mixing ratios of non-ionic emulsifiers for HLB 8 to 15, PMC3969497, Table I (as read in 2026)", "2026")
_PAIR = Source("HLB of polysorbate 80, sorbitan oleate and their blends, PMC4137601, Table 2 (as read in 2026)", "2026")
_CREAM = Source("HLB of the parts of five creams, OCL 2022 (ocl210096), Tables 4 and 5", "2022")
_EXCIPIENTS = Source("Handbook of Pharmaceutical Excipients, 5th and 6th edition, through pages that quote it", "2009")
_LIST = Source("a published list of HLB values of common emulsifiers (undated page, as read in 2026)", "2026")
_COMMON = Source("HLB figures in common use", "2026", looked_up=False)

_THREE_OILS = Source("Boonme and Maneenuan, Int. J. Pharm. Compd. 18 (6), abstract", "2014")
_CITRUS = Source("Lee and Yoon, J. Cosmet. Sci. 71, 411, abstract", "2020")
_COCONUT = Source("Hong, Zhu, Zuo and Lee, Appl. Chem. Eng. 30, 453, abstract: the best of 6, 8 and 10", "2019")
_TEXTBOOK = Source(
    "a textbook exercise on liquid paraffin, wool fat and cetyl alcohol, through pages that quote it (as read in 2026)", "2026"
)
_WORKED = Source("worked examples of required HLB on a page", "2011")

_EMULSIFIERS = (
    ("Polysorbate 20", "16.7", "16.7", "16.7", _BLENDS),
    ("Polysorbate 40", "15.6", "15.6", "15.6", _COMMON),
    ("Polysorbate 60", "14.9", "14.9", "14.9", _LIST),
    ("Polysorbate 65", "10.5", "10.5", "10.5", _COMMON),
    ("Polysorbate 80", "15.0", "15.0", "15.0", _PAIR),
    ("Polysorbate 85", "11.0", "11.0", "11.0", _LIST),
    ("Sorbitan Laurate", "8.6", "8.6", "8.6", _BLENDS),
    ("Sorbitan Palmitate", "6.7", "6.7", "6.7", _COMMON),
    ("Sorbitan Stearate", "4.7", "4.7", "4.7", _CREAM),
    ("Sorbitan Oleate", "4.3", "4.3", "4.3", _PAIR),
    ("Sorbitan Isostearate", "4.7", "4.7", "4.7", _LIST),
    ("Sorbitan Sesquioleate", "3.7", "3.7", "3.7", _EXCIPIENTS),
    ("Sorbitan Trioleate", "1.8", "1.8", "1.8", _LIST),
    ("PEG-40 Hydrogenated Castor Oil", "15", "14", "16", _BLENDS),
    ("PEG-60 Hydrogenated Castor Oil", "15.5", "14", "17", _COMMON),
    ("PEG-35 Castor Oil", "13", "12", "14", _BLENDS),
    ("PEG-40 Stearate", "16.9", "16.9", "16.9", _COMMON),
    ("PEG-100 Stearate", "18.8", "18.8", "18.8", _COMMON),
    ("PEG-30 Dipolyhydroxystearate", "5.5", "5.5", "5.5", _LIST),
    ("PEG-20 Methyl Glucose Sesquistearate", "15", "15", "15", _LIST),
    ("Methyl Glucose Sesquistearate", "6.6", "5", "6.6", _LIST),
    ("Polyglyceryl-3 Methylglucose Distearate", "12", "12", "12", _LIST),
    ("Steareth-2", "4.9", "4.9", "4.9", _LIST),
    ("Steareth-20", "15.3", "15.3", "15.3", _LIST),
    ("Ceteareth-20", "15.2", "15", "17", _LIST),
    ("Oleth-20", "15.3", "15.3", "15.3", _LIST),
    ("Glyceryl Stearate", "3.8", "3", "3.8", _CREAM),
    ("Glyceryl Laurate", "5.2", "5.2", "5.2", _LIST),
    ("Glycol Stearate", "2.9", "2.9", "2.9", _LIST),
    ("Glycol Distearate", "1", "1", "1", _LIST),
)

_OILS = (
    ("Cera Alba", "12", "9", "12", _CREAM),
    ("Isopropyl Myristate", "11.5", "11.5", "11.5", _CREAM),
    ("Stearic Acid", "15", "15", "15", _CREAM),
    ("Paraffinum Liquidum", "12", "10", "12", _TEXTBOOK),
    ("Lanolin", "10", "10", "10", _TEXTBOOK),
    ("Cetyl Alcohol", "15", "15", "15.5", _TEXTBOOK),
    ("Olea Europaea Fruit Oil", "7", "7", "7", _THREE_OILS),
    ("Oryza Sativa Bran Oil", "7", "7", "7", _THREE_OILS),
    ("Sesamum Indicum Seed Oil", "7", "7", "7", _THREE_OILS),
    ("Camellia Japonica Seed Oil", "6.1", "5.94", "6.3", _CITRUS),
    ("Citrus Unshiu Peel Oil", "15.4", "15.35", "15.4", _CITRUS),
    ("Cocos Nucifera Oil", "8", "6", "10", _COCONUT),
    ("Glycine Soja Oil", "7", "7", "7", _WORKED),
    ("Theobroma Cacao Seed Butter", "6", "6", "6", _WORKED),
    ("Mangifera Indica Seed Butter", "8", "8", "8", _WORKED),
    ("Simmondsia Chinensis Seed Oil", "6.5", "6", "7", _WORKED),
    ("Caprylic/Capric Triglyceride", "5", "5", "5.5", _COMMON),
    ("Helianthus Annuus Seed Oil", "7", "7", "7", _COMMON),
    ("Prunus Amygdalus Dulcis Oil", "6.5", "6", "7", _COMMON),
    ("Persea Gratissima Oil", "7", "7", "7", _COMMON),
    ("Ricinus Communis Seed Oil", "14", "14", "14", _COMMON),
    ("Butyrospermum Parkii Butter", "8", "7", "10", _COMMON),
    ("Cetearyl Alcohol", "15.5", "15", "15.5", _COMMON),
    ("Stearyl Alcohol", "15.5", "14", "15.5", _COMMON),
    ("Isopropyl Palmitate", "11.5", "11.5", "11.5", _COMMON),
    ("C12-15 Alkyl Benzoate", "13", "12", "13", _COMMON),
    ("Dimethicone", "5", "5", "9", _COMMON),
)


@cache
def _by_name(oils: bool) -> dict[str, Hlb]:
    return {row[0].casefold(): Hlb(*row[1:]) for row in (_OILS if oils else _EMULSIFIERS)}


def hlb_of(inci: str) -> Hlb | None:
    """The published HLB of an emulsifier or solubiliser; None where there is none."""
    return _by_name(oils=False).get(inci_key(inci))


def required_hlb_of(inci: str) -> Hlb | None:
    """The published HLB that an oil asks for, oil in water; None where there is none."""
    return _by_name(oils=True).get(inci_key(inci))
