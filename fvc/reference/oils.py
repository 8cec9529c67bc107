"""Typical constituents of essential oils: for an oil whose own analysis is not at hand.

Ranges are those of a pharmacopoeia, a standard or a paper. An older or wider text is taken where it is on the safe
side, since a check computes with the highest value. One INCI name covers several qualities: pressed and
furocoumarin-free bergamot, the types of rosemary, the grades of ylang ylang. The range then spans them.
Neral and geranial stand together as Citral, 1,8-cineole as Eucalyptol, alpha-terpineol as Terpineol.
A constituent that is left out is not one that is absent: no figure was found.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from fvc.reference.source import Source


class Range(NamedTuple):
    """Percent of the oil, lowest and highest, as text, and where that is said."""

    low: str
    high: str
    source: Source


class Oil(NamedTuple):
    """An essential oil: its INCI names (the usual first), its common name, and what is in it."""

    inci: tuple[str, ...]
    name: str
    constituents: Mapping[str, Range]


COMMON = Source("contents often reported in analyses and reviews, no single source", "2026", looked_up=False)
_SAFETY = Source("Tisserand and Young, Essential Oil Safety, 2nd edition", "2014", looked_up=False)

_TEA_TREE = Source("ISO 4730, an edition before 2017, which is wider, through Oral & Implantology 10, page 59, Table 1 of 2017", "2017")
_TEA_TREE_MAIN = Source(
    "ISO 4730, an edition before 2017: at least 30, with 48 proposed as the highest, through Oral & Implantology 10, page 59, Table 1 of 2017",
    "2017",
)
_TEA_TREE_METHYL_EUGENOL = Source(
    "Raymond, Davies and Larkman, Anal. Bioanal. Chem. 409, 1779, abstract: 160 to 552 ppm in oils of known origin", "2017"
)

_PEPPERMINT = Source(
    "European Pharmacopoeia, peppermint oil, an older edition (the 6th, from memory), through a page that quotes it (a newer one, from memory: "
    "limonene 1.0 to 3.5, pulegone up to 3.0)",
    "2008",
)

_LAVENDER = Source("European Pharmacopoeia, 10th edition, lavender oil, through Molecules 27, 3216, Table 2", "2020")
_LAVENDER_ISO = Source("ISO 3515:2002, lavender oil of other origin, through Molecules 27, 3216, Table 2", "2002")

_ROSEMARY = Source("European Pharmacopoeia, rosemary oil, Spanish type and Moroccan and Tunisian type together", "2020", looked_up=False)
_ROSEMARY_TRACES = Source("highest contents stated for rosemary oil on a supplier's page (undated, as read in 2026)", "2026")

_ORANGE = Source("European Pharmacopoeia, edition 6.2, sweet orange oil, through a page that quotes it", "2008")
_ORANGE_CITRAL = Source(
    "European Pharmacopoeia, edition 6.2, sweet orange oil, neral 0.02 to 0.10 and geranial 0.03 to 0.20 together", "2008", looked_up=False
)

_NEROLI = Source("European Pharmacopoeia, neroli oil (bitter-orange-flower oil)", "2008", looked_up=False)
_NEROLI_FRENCH = Source("Guenther, The Essential Oils, French neroli oil, through a review's abstract", "1949")
_NEROLI_GERANIOL = Source(
    "Guenther, The Essential Oils, French neroli oil, geraniol and nerol together, through a review's abstract", "1949"
)
_PETITGRAIN = Source("Implementing Regulation (EU) 2022/347, Annex, petitgrain bigarade essential oil", "2022")

_GERANIUM_CITRONELLOL = Source(
    "reviews: from 18 by gas chromatography; ISO 4731 of 1972, geranium oil, as quoted: up to 58", "1972", looked_up=False
)

_EUCALYPTUS = Source("British Pharmacopoeia, eucalyptus oil, through a page that quotes it (undated, as read in 2026)", "2026")
_EUCALYPTUS_LIMONENE = Source(
    "European Pharmacopoeia, eucalyptus oil, limonene up to 15 (the British text says 12)", "2008", looked_up=False
)
_EUCALYPTUS_MAIN = Source(
    "British Pharmacopoeia, eucalyptus oil: at least 70, no highest; up to 90 in rectified oil by a trade dictionary; both through pages "
    "that quote them (undated, as read in 2026)",
    "2026",
)

_SPEARMINT = Source("ISO 3033 and Food Chemicals Codex, spearmint oil, Chinese type of 80 % included", "2005", looked_up=False)

_LEMONGRASS = Source("The Merck Index, oil of lemon grass, through a page that quotes it (undated, as read in 2026)", "2026")
_LITSEA = Source("Implementing Regulation (EU) 2022/593, Annex, litsea berry essential oil", "2022")
_LITSEA_CITRAL = Source("Implementing Regulation (EU) 2022/593, Annex, litsea berry essential oil, geranial and neral together", "2022")
_CITRONELLA_CITRAL = Source("European Pharmacopoeia, citronella oil (Java type), neral and geranial together", "2008", looked_up=False)
_CITRONELLA = Source("European Pharmacopoeia, citronella oil (Java type)", "2008", looked_up=False)

_LEMON = Source("European Pharmacopoeia, edition 6.2, lemon oil, through a page that quotes it", "2008")
_LEMON_CITRAL = Source("European Pharmacopoeia, edition 6.2, lemon oil, neral and geranial together, through a page that quotes it", "2008")

_BERGAMOT = Source("European Medicines Agency, assessment report on bergamot oil, through a page that quotes it", "2012")
_BERGAMOT_REST = Source(
    "European Medicines Agency, assessment report on bergamot oil, others below 1 each, through a page that quotes it", "2012"
)
_BERGAMOT_PRESSED = Source("Flavour Fragr. J. 8, 17: 128 cold pressed Calabrian bergamot oils, abstract", "1993")

_CLOVE = Source("European Pharmacopoeia, clove oil", "2008", looked_up=False)
_CLOVE_LEAF = Source("ISO 3141, clove leaf oil", "1997", looked_up=False)
_CLOVE_METHYL_EUGENOL = Source("EFSA Journal 2023, opinion on clove bud and leaf oils, abstract: up to 0.13", "2023")
_CINNAMON_LEAF = Source("European Pharmacopoeia, cinnamon leaf oil, Sri Lanka", "2008", looked_up=False)
_NUTMEG = Source("European Pharmacopoeia, nutmeg oil", "2008", looked_up=False)
_NUTMEG_EFSA = Source("EFSA Journal 2023, opinion on nutmeg oil, abstract", "2023")

_ROSE = Source("ISO 9842, rose oil, Bulgarian, Turkish and Moroccan together", "2003", looked_up=False)
_ROSE_TRACES = Source("Ohloff, Perfumer & Flavorist 3, Bulgarian rose oil", "1978", looked_up=False)
_PATCHOULI = Source("ISO 3757, patchouli oil", "2002", looked_up=False)

OILS: tuple[Oil, ...] = (
    Oil(
        (
            *("Melaleuca Alternifolia Leaf Oil", "Melaleuca Alternifolia (Tea Tree) Leaf Oil", "Melaleuca Alternifolia Oil"),
            "Melaleuca Alternifolia (Tea Tree) Oil",
        ),
        "tea tree",
        {
            "Terpinen-4-ol": Range("30", "48", _TEA_TREE_MAIN),
            "Gamma-Terpinene": Range("10", "28", _TEA_TREE),
            "Alpha-Terpinene": Range("5", "13", _TEA_TREE),
            "Eucalyptol": Range("0", "15", _TEA_TREE),
            "Terpinolene": Range("1.5", "5", _TEA_TREE),
            "p-Cymene": Range("0.5", "12", _TEA_TREE),
            "Alpha-Pinene": Range("1", "6", _TEA_TREE),
            "Beta-Pinene": Range("0", "1", COMMON),
            "Terpineol": Range("1.5", "8", _TEA_TREE),
            "Limonene": Range("0.5", "4", _TEA_TREE),
            "Aromadendrene": Range("0", "7", _TEA_TREE),
            "Delta-Cadinene": Range("0", "8", _TEA_TREE),
            "Sabinene": Range("0", "3.5", _TEA_TREE),
            "Globulol": Range("0", "3", _TEA_TREE),
            "Viridiflorol": Range("0", "1.5", _TEA_TREE),
            "Beta-Caryophyllene": Range("0", "1", COMMON),
            "Linalool": Range("0", "0.2", COMMON),
            "Methyl Eugenol": Range("0.016", "0.0552", _TEA_TREE_METHYL_EUGENOL),
        },
    ),
    Oil(
        ("Mentha Piperita Oil", "Mentha Piperita (Peppermint) Oil", "Mentha Piperita Leaf Oil", "Mentha Piperita Herb Oil"),
        "peppermint",
        {
            "Menthol": Range("30", "55", _PEPPERMINT),
            "Menthone": Range("14", "32", _PEPPERMINT),
            "Isomenthone": Range("1.5", "10", _PEPPERMINT),
            "Menthyl Acetate": Range("2.8", "10", _PEPPERMINT),
            "Eucalyptol": Range("3.5", "14", _PEPPERMINT),
            "Menthofuran": Range("1", "9", _PEPPERMINT),
            "Limonene": Range("1", "5", _PEPPERMINT),
            "Pulegone": Range("0", "4", _PEPPERMINT),
            "Carvone": Range("0", "1", _PEPPERMINT),
            "Beta-Caryophyllene": Range("0", "4", COMMON),
            "Alpha-Pinene": Range("0", "1.5", COMMON),
            "Beta-Pinene": Range("0", "2", COMMON),
            "Linalool": Range("0", "0.5", COMMON),
            "Terpineol": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        (
            *("Lavandula Angustifolia Oil", "Lavandula Angustifolia (Lavender) Oil", "Lavandula Angustifolia Flower Oil"),
            *("Lavandula Angustifolia (Lavender) Flower Oil", "Lavandula Angustifolia Herb Oil"),
            *("Lavandula Angustifolia Flower/Leaf/Stem Oil", "Lavandula Officinalis Oil", "Lavandula Officinalis Flower Oil"),
        ),
        "lavender",
        {
            "Linalool": Range("20", "45", _LAVENDER),
            "Linalyl Acetate": Range("25", "47", _LAVENDER),
            "Limonene": Range("0", "1", _LAVENDER),
            "Eucalyptol": Range("0", "2.5", _LAVENDER),
            "Camphor": Range("0", "1.2", _LAVENDER),
            "3-Octanone": Range("0.1", "5", _LAVENDER),
            "Terpinen-4-ol": Range("0.1", "8", _LAVENDER),
            "Terpineol": Range("0", "2", _LAVENDER),
            "Lavandulyl Acetate": Range("0", "8", _LAVENDER_ISO),
            "Lavandulol": Range("0", "3", _LAVENDER_ISO),
            "cis-Beta-Ocimene": Range("1", "10", _LAVENDER_ISO),
            "trans-Beta-Ocimene": Range("0.5", "6", _LAVENDER_ISO),
            "Beta-Caryophyllene": Range("0", "8", COMMON),
            "Geraniol": Range("0", "1", COMMON),
            "Geranyl Acetate": Range("0", "1", COMMON),
            "Alpha-Pinene": Range("0", "1", COMMON),
            "Coumarin": Range("0", "0.1", COMMON),
        },
    ),
    Oil(
        (
            *("Rosmarinus Officinalis Leaf Oil", "Rosmarinus Officinalis (Rosemary) Leaf Oil", "Salvia Rosmarinus Leaf Oil"),
            *("Rosmarinus Officinalis Oil", "Rosmarinus Officinalis (Rosemary) Oil", "Salvia Rosmarinus Oil"),
            *("Rosmarinus Officinalis Flower/Leaf/Stem Oil", "Salvia Rosmarinus (Rosemary) Leaf Oil"),
        ),
        "rosemary",
        {
            "Eucalyptol": Range("16", "55", _ROSEMARY),
            "Alpha-Pinene": Range("9", "26", _ROSEMARY),
            "Camphor": Range("5", "21", _ROSEMARY),
            "Camphene": Range("2.5", "12", _ROSEMARY),
            "Beta-Pinene": Range("2", "9", _ROSEMARY),
            "Myrcene": Range("1", "5", _ROSEMARY),
            "Limonene": Range("1.5", "5", _ROSEMARY),
            "p-Cymene": Range("0.8", "2.5", _ROSEMARY),
            "Borneol": Range("1.5", "5", _ROSEMARY),
            "Bornyl Acetate": Range("0.1", "2.5", _ROSEMARY),
            "Terpineol": Range("1", "3.5", _ROSEMARY),
            "Verbenone": Range("0", "2.5", _ROSEMARY),
            "Beta-Caryophyllene": Range("0", "5", COMMON),
            "Linalool": Range("0", "3", COMMON),
            "Terpinolene": Range("0", "1", COMMON),
            "Alpha-Terpinene": Range("0", "1", COMMON),
            "Methyl Eugenol": Range("0", "0.05", _ROSEMARY_TRACES),
            "Eugenol": Range("0", "0.02", _ROSEMARY_TRACES),
            "Citronellol": Range("0", "0.05", _ROSEMARY_TRACES),
            "Citral": Range("0", "0.01", _ROSEMARY_TRACES),
            "Geraniol": Range("0", "0.01", _ROSEMARY_TRACES),
        },
    ),
    Oil(
        (
            *("Citrus Aurantium Dulcis Peel Oil", "Citrus Aurantium Dulcis (Orange) Peel Oil", "Citrus Sinensis Peel Oil"),
            *("Citrus Sinensis (Orange) Peel Oil", "Citrus Aurantium Dulcis Oil", "Citrus Aurantium Dulcis (Orange) Oil"),
            *("Citrus Sinensis Oil", "Citrus Aurantium Dulcis Peel Oil Expressed", "Citrus Sinensis Peel Oil Expressed"),
        ),
        "sweet orange",
        {
            "Limonene": Range("92", "97", _ORANGE),
            "Myrcene": Range("1.7", "2.5", _ORANGE),
            "Alpha-Pinene": Range("0.4", "0.6", _ORANGE),
            "Beta-Pinene": Range("0.02", "0.3", _ORANGE),
            "Sabinene": Range("0.2", "1.1", _ORANGE),
            "Octanal": Range("0.1", "0.4", _ORANGE),
            "Decanal": Range("0.1", "0.4", _ORANGE),
            "Linalool": Range("0.2", "0.7", _ORANGE),
            "Citral": Range("0.05", "0.3", _ORANGE_CITRAL),
            "Valencene": Range("0.02", "0.5", _ORANGE),
            "Terpineol": Range("0", "0.2", COMMON),
            "Citronellol": Range("0", "0.1", COMMON),
            "Geraniol": Range("0", "0.1", COMMON),
            "Beta-Caryophyllene": Range("0", "0.1", COMMON),
        },
    ),
    Oil(
        (
            *("Citrus Aurantium Amara Flower Oil", "Citrus Aurantium Amara (Bitter Orange) Flower Oil"),
            *("Citrus Aurantium Flower Oil", "Citrus Aurantium (Neroli) Flower Oil"),
        ),
        "neroli",
        {
            "Linalool": Range("28", "44", _NEROLI),
            "Limonene": Range("9", "18", _NEROLI),
            "Beta-Pinene": Range("7", "17", _NEROLI),
            "Linalyl Acetate": Range("2", "15", _NEROLI),
            "Terpineol": Range("2", "5.5", _NEROLI),
            "Geranyl Acetate": Range("1", "5", _NEROLI),
            "Neryl Acetate": Range("0", "2.5", _NEROLI),
            "Nerolidol": Range("1", "5", _NEROLI),
            "Farnesol": Range("0.8", "4", _NEROLI),
            "Methyl Anthranilate": Range("0.1", "1", _NEROLI),
            "trans-Beta-Ocimene": Range("0", "8", COMMON),
            "Geraniol": Range("0", "4", _NEROLI_GERANIOL),
            "Indole": Range("0", "0.1", _NEROLI_FRENCH),
            "Alpha-Pinene": Range("0", "2", COMMON),
            "Beta-Caryophyllene": Range("0", "1", COMMON),
            "Terpinolene": Range("0", "0.7", COMMON),
            "Citral": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        (
            *("Pelargonium Graveolens Flower Oil", "Pelargonium Graveolens (Geranium) Flower Oil", "Pelargonium Graveolens Oil"),
            *("Pelargonium Graveolens (Geranium) Oil", "Pelargonium Graveolens Leaf Oil", "Pelargonium Graveolens Herb Oil"),
            *("Pelargonium Graveolens Flower/Leaf/Stem Oil", "Pelargonium Roseum Leaf Oil", "Pelargonium Asperum Flower/Leaf/Stem Oil"),
        ),
        "geranium",
        {
            "Citronellol": Range("18", "58", _GERANIUM_CITRONELLOL),
            "Geraniol": Range("5", "20", COMMON),
            "Linalool": Range("2", "13", COMMON),
            "Isomenthone": Range("4", "10", COMMON),
            "Citronellyl Formate": Range("5", "14", COMMON),
            "Geranyl Formate": Range("1", "8", COMMON),
            "Menthone": Range("0", "2.5", COMMON),
            "10-epi-Gamma-Eudesmol": Range("0", "7", COMMON),
            "Guaia-6,9-diene": Range("0", "8", COMMON),
            "Rose Oxide": Range("0", "3", COMMON),
            "Geranyl Acetate": Range("0", "1", COMMON),
            "Citral": Range("0", "1.5", COMMON),
            "Beta-Caryophyllene": Range("0", "2", COMMON),
            "Terpineol": Range("0", "1", COMMON),
            "Alpha-Pinene": Range("0", "1", COMMON),
            "Limonene": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        (
            *("Eucalyptus Globulus Leaf Oil", "Eucalyptus Globulus (Eucalyptus) Leaf Oil", "Eucalyptus Globulus Oil"),
            "Eucalyptus Globulus Leaf/Twig Oil",
        ),
        "eucalyptus",
        {
            "Eucalyptol": Range("70", "90", _EUCALYPTUS_MAIN),
            "Alpha-Pinene": Range("0", "14.7", _SAFETY),
            "Limonene": Range("0", "15", _EUCALYPTUS_LIMONENE),
            "Beta-Pinene": Range("0", "1.5", _EUCALYPTUS),
            "Alpha-Phellandrene": Range("0", "1.5", _EUCALYPTUS),
            "Camphor": Range("0", "0.1", _EUCALYPTUS),
            "Sabinene": Range("0", "0.3", _EUCALYPTUS),
            "p-Cymene": Range("0", "5", COMMON),
            "Gamma-Terpinene": Range("0", "3", COMMON),
            "Aromadendrene": Range("0", "5", COMMON),
            "Globulol": Range("0", "5.3", _SAFETY),
            "Terpineol": Range("0", "1", COMMON),
            "Linalool": Range("0", "0.5", COMMON),
            "Geranyl Acetate": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        (
            *("Mentha Viridis Leaf Oil", "Mentha Viridis (Spearmint) Leaf Oil", "Mentha Viridis Oil", "Mentha Spicata Herb Oil"),
            *("Mentha Spicata Oil", "Mentha Spicata Leaf Oil", "Mentha Spicata (Spearmint) Leaf Oil", "Mentha Spicata (Spearmint) Oil"),
            "Mentha Spicata Flower/Leaf/Stem Oil",
        ),
        "spearmint",
        {
            "Carvone": Range("55", "85", _SPEARMINT),
            "Limonene": Range("2", "25", COMMON),
            "Dihydrocarvone": Range("0", "10", COMMON),
            "Eucalyptol": Range("0", "6", COMMON),
            "Myrcene": Range("0", "5", COMMON),
            "Menthone": Range("0", "3", COMMON),
            "Menthol": Range("0", "2", COMMON),
            "Pulegone": Range("0", "1.5", COMMON),
            "Beta-Caryophyllene": Range("0", "3", COMMON),
            "Alpha-Pinene": Range("0", "1.5", COMMON),
            "Beta-Pinene": Range("0", "1.5", COMMON),
            "Terpineol": Range("0", "0.5", COMMON),
            "Linalool": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        (
            *("Cymbopogon Flexuosus Oil", "Cymbopogon Citratus Leaf Oil", "Cymbopogon Schoenanthus Oil", "Cymbopogon Citratus Oil"),
            *("Cymbopogon Citratus (Lemongrass) Leaf Oil", "Cymbopogon Citratus Herb Oil", "Cymbopogon Flexuosus Herb Oil"),
            *("Cymbopogon Flexuosus Leaf Oil", "Cymbopogon Flexuosus (Lemongrass) Oil", "Cymbopogon Citratus (Lemongrass) Oil"),
        ),
        "lemongrass",
        {
            "Citral": Range("75", "85", _LEMONGRASS),
            "Geraniol": Range("0", "8", COMMON),
            "Geranyl Acetate": Range("0", "5", COMMON),
            "Limonene": Range("0", "5", COMMON),
            "Linalool": Range("0", "2", COMMON),
            "Citronellol": Range("0", "1", COMMON),
            "Citronellal": Range("0", "2", COMMON),
            "Myrcene": Range("0", "20", COMMON),
            "6-Methyl-5-hepten-2-one": Range("0", "3", COMMON),
            "Beta-Caryophyllene": Range("0", "3", COMMON),
            "Terpineol": Range("0", "1", COMMON),
            "Eugenol": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        (
            *("Citrus Limon Peel Oil", "Citrus Limon (Lemon) Peel Oil", "Citrus Limon Oil", "Citrus Limonum Peel Oil"),
            *("Citrus Medica Limonum Peel Oil", "Citrus Medica Limonum (Lemon) Peel Oil", "Citrus Limon Fruit Oil"),
            "Citrus Limon Peel Oil Expressed",
        ),
        "lemon, cold pressed",
        {
            "Limonene": Range("56", "78", _LEMON),
            "Beta-Pinene": Range("7", "17", _LEMON),
            "Gamma-Terpinene": Range("6", "12", _LEMON),
            "Sabinene": Range("1", "3", _LEMON),
            "Citral": Range("0.8", "3.8", _LEMON_CITRAL),
            "Neryl Acetate": Range("0.2", "0.9", _LEMON),
            "Geranyl Acetate": Range("0.1", "0.8", _LEMON),
            "Terpineol": Range("0", "0.6", _LEMON),
            "Beta-Caryophyllene": Range("0", "0.5", _LEMON),
            "Alpha-Pinene": Range("1", "3", COMMON),
            "Terpinolene": Range("0", "1", COMMON),
            "Alpha-Terpinene": Range("0", "0.5", COMMON),
            "Linalool": Range("0", "0.3", COMMON),
            "Geraniol": Range("0", "0.1", COMMON),
            "Citronellal": Range("0", "0.3", COMMON),
            "Bergapten": Range("0", "0.035", _SAFETY),
            "Bergamottin": Range("0.16", "0.54", _SAFETY),
            "Oxypeucedanin": Range("0.09", "0.82", _SAFETY),
        },
    ),
    Oil(
        (
            *("Citrus Aurantium Bergamia Peel Oil", "Citrus Aurantium Bergamia (Bergamot) Peel Oil", "Citrus Aurantium Bergamia Fruit Oil"),
            *("Citrus Aurantium Bergamia (Bergamot) Fruit Oil", "Citrus Aurantium Bergamia Oil", "Citrus Bergamia Peel Oil"),
            *("Citrus Bergamia Fruit Oil", "Citrus Bergamia Oil", "Citrus Aurantium Bergamia Peel Oil Expressed"),
        ),
        "bergamot, cold pressed",
        {
            "Limonene": Range("30", "50", _BERGAMOT),
            "Linalyl Acetate": Range("23", "35", _BERGAMOT),
            "Linalool": Range("6", "15", _BERGAMOT),
            "Gamma-Terpinene": Range("6", "19", _BERGAMOT),
            "Beta-Pinene": Range("5", "10", _BERGAMOT),
            "Alpha-Pinene": Range("0.7", "2", COMMON),
            "Citral": Range("0", "1", COMMON),
            "Geranyl Acetate": Range("0", "1", _BERGAMOT_REST),
            "Beta-Caryophyllene": Range("0", "1", _BERGAMOT_REST),
            "Terpineol": Range("0", "1", _BERGAMOT_REST),
            "Terpinolene": Range("0", "1", _BERGAMOT_REST),
            "Bergapten": Range("0.11", "0.32", _BERGAMOT_PRESSED),
            "Bergamottin": Range("1.02", "2.75", _BERGAMOT_PRESSED),
            "Citropten": Range("0.14", "0.35", _BERGAMOT_PRESSED),
            "5-Geranyloxy-7-methoxycoumarin": Range("0.08", "0.22", _BERGAMOT_PRESSED),
        },
    ),
    Oil(
        ("Citrus Aurantium Amara Leaf/Twig Oil", "Citrus Aurantium Amara (Bitter Orange) Leaf/Twig Oil", "Citrus Aurantium Amara Leaf Oil"),
        "petitgrain",
        {
            "Linalyl Acetate": Range("40", "72", _PETITGRAIN),
            "Linalool": Range("10", "32", _PETITGRAIN),
            "Terpineol": Range("1", "7", _PETITGRAIN),
            "Limonene": Range("1", "6", _PETITGRAIN),
            "Geranyl Acetate": Range("1.5", "5.5", _PETITGRAIN),
            "Geraniol": Range("1", "4", _PETITGRAIN),
            "Neryl Acetate": Range("0", "3", COMMON),
            "Beta-Pinene": Range("0", "3", COMMON),
            "Alpha-Pinene": Range("0", "0.5", COMMON),
            "Beta-Caryophyllene": Range("0", "1", COMMON),
            "Terpinolene": Range("0", "0.7", COMMON),
            "Citral": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        (
            *("Eugenia Caryophyllus Bud Oil", "Eugenia Caryophyllus (Clove) Bud Oil", "Eugenia Caryophyllus Flower Oil"),
            *("Eugenia Caryophyllus (Clove) Flower Oil", "Eugenia Caryophyllus Oil", "Syzygium Aromaticum Bud Oil"),
            *("Syzygium Aromaticum Flower Oil", "Syzygium Aromaticum Oil"),
        ),
        "clove bud",
        {
            "Eugenol": Range("75", "88", _CLOVE),
            "Eugenyl Acetate": Range("4", "15", _CLOVE),
            "Beta-Caryophyllene": Range("5", "14", _CLOVE),
            "Alpha-Humulene": Range("0", "3", COMMON),
            "Methyl Eugenol": Range("0", "0.13", _CLOVE_METHYL_EUGENOL),
            "Isoeugenol": Range("0", "0.2", COMMON),
            "Methyl Salicylate": Range("0", "0.2", COMMON),
            "Vanillin": Range("0", "0.2", COMMON),
        },
    ),
    Oil(
        ("Eugenia Caryophyllus Leaf Oil", "Eugenia Caryophyllus (Clove) Leaf Oil", "Syzygium Aromaticum Leaf Oil"),
        "clove leaf",
        {
            "Eugenol": Range("80", "92", _CLOVE_LEAF),
            "Beta-Caryophyllene": Range("4", "17", _CLOVE_LEAF),
            "Eugenyl Acetate": Range("0", "4", _CLOVE_LEAF),
            "Alpha-Humulene": Range("0", "3", COMMON),
            "Methyl Eugenol": Range("0", "0.13", _CLOVE_METHYL_EUGENOL),
            "Isoeugenol": Range("0", "0.2", COMMON),
        },
    ),
    Oil(
        (
            *("Cinnamomum Zeylanicum Leaf Oil", "Cinnamomum Zeylanicum (Cinnamon) Leaf Oil", "Cinnamomum Verum Leaf Oil"),
            "Cinnamomum Verum (Cinnamon) Leaf Oil",
        ),
        "cinnamon leaf",
        {
            "Eugenol": Range("70", "85", _CINNAMON_LEAF),
            "Beta-Caryophyllene": Range("1.5", "7", _CINNAMON_LEAF),
            "Linalool": Range("1.5", "3.5", _CINNAMON_LEAF),
            "Cinnamal": Range("0", "3", _CINNAMON_LEAF),
            "Cinnamyl Acetate": Range("0", "2", _CINNAMON_LEAF),
            "Safrole": Range("0", "3", _CINNAMON_LEAF),
            "Coumarin": Range("0", "1", _CINNAMON_LEAF),
            "Eucalyptol": Range("0", "1", _CINNAMON_LEAF),
            "Benzyl Benzoate": Range("0", "5", COMMON),
            "Eugenyl Acetate": Range("0", "3", COMMON),
            "Cinnamyl Alcohol": Range("0", "1", COMMON),
            "Alpha-Pinene": Range("0", "2", COMMON),
            "Limonene": Range("0", "1", COMMON),
            "Terpineol": Range("0", "1", COMMON),
        },
    ),
    Oil(
        (
            *("Cananga Odorata Flower Oil", "Cananga Odorata (Ylang Ylang) Flower Oil", "Cananga Odorata Oil"),
            "Cananga Odorata (Ylang Ylang) Oil",
        ),
        "ylang ylang",
        {
            "Benzyl Benzoate": Range("2", "15", COMMON),
            "Benzyl Salicylate": Range("0.5", "6", COMMON),
            "Linalool": Range("0.5", "24", COMMON),
            "Farnesol": Range("0.5", "5.6", COMMON),
            "Geranyl Acetate": Range("0.5", "15", COMMON),
            "Benzyl Acetate": Range("0", "25.1", COMMON),
            "p-Cresyl Methyl Ether": Range("0", "16.5", COMMON),
            "Methyl Benzoate": Range("0", "9", COMMON),
            "Beta-Caryophyllene": Range("1", "22", COMMON),
            "Germacrene D": Range("5", "35", COMMON),
            "Alpha-Farnesene": Range("1", "29", COMMON),
            "Geraniol": Range("0", "3", COMMON),
            "Isoeugenol": Range("0", "1", COMMON),
            "Eugenol": Range("0", "1", COMMON),
            "Methyl Salicylate": Range("0", "0.5", COMMON),
            "Benzyl Alcohol": Range("0", "1", COMMON),
        },
    ),
    Oil(
        ("Rosa Damascena Flower Oil", "Rosa Damascena (Rose) Flower Oil", "Rosa Damascena Oil"),
        "rose",
        {
            "Citronellol": Range("20", "49", _ROSE),
            "Geraniol": Range("6", "23", _ROSE),
            "Nerol": Range("3", "12", _ROSE),
            "Phenethyl Alcohol": Range("0", "3.5", _ROSE),
            "Nonadecane": Range("6", "16", COMMON),
            "Heneicosane": Range("2", "6", COMMON),
            "Heptadecane": Range("0.5", "3", COMMON),
            "Methyl Eugenol": Range("0", "3.3", _SAFETY),
            "Eugenol": Range("0", "2", COMMON),
            "Farnesol": Range("0", "2", COMMON),
            "Linalool": Range("0", "3", COMMON),
            "Citral": Range("0", "1.5", COMMON),
            "Geranyl Acetate": Range("0", "2", COMMON),
            "Beta-Caryophyllene": Range("0", "1.5", COMMON),
            "Alpha-Pinene": Range("0", "1.5", COMMON),
            "Terpineol": Range("0", "0.5", COMMON),
            "Rose Oxide": Range("0", "0.46", _ROSE_TRACES),
            "Damascenone": Range("0", "0.14", _ROSE_TRACES),
        },
    ),
    Oil(
        (
            *("Pogostemon Cablin Leaf Oil", "Pogostemon Cablin (Patchouli) Leaf Oil", "Pogostemon Cablin Oil"),
            "Pogostemon Cablin (Patchouli) Oil",
        ),
        "patchouli",
        {
            "Patchoulol": Range("27", "35", _PATCHOULI),
            "Alpha-Bulnesene": Range("13", "21", _PATCHOULI),
            "Alpha-Guaiene": Range("11", "16", _PATCHOULI),
            "Beta-Caryophyllene": Range("2", "5", _PATCHOULI),
            "Beta-Patchoulene": Range("1.8", "3.5", _PATCHOULI),
            "Pogostol": Range("1", "2.5", _PATCHOULI),
            "Norpatchoulenol": Range("0.35", "1", _PATCHOULI),
            "Alpha-Copaene": Range("0", "1", _PATCHOULI),
            "Alpha-Pinene": Range("0", "0.5", COMMON),
            "Beta-Pinene": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        ("Anthemis Nobilis Flower Oil", "Anthemis Nobilis (Chamomile) Flower Oil", "Chamaemelum Nobile Flower Oil", "Anthemis Nobilis Oil"),
        "chamomile, Roman",
        {
            "Isobutyl Angelate": Range("0", "38", COMMON),
            "Butyl Angelate": Range("0", "35", COMMON),
            "3-Methylpentyl Angelate": Range("0", "23", COMMON),
            "Isoamyl Angelate": Range("0", "23", COMMON),
            "Isobutyl Butyrate": Range("0", "21", COMMON),
            "Pinocarvone": Range("0", "5", COMMON),
            "Alpha-Pinene": Range("0", "6", COMMON),
            "Beta-Pinene": Range("0", "1.5", COMMON),
            "Alpha-Terpinene": Range("0", "4.5", COMMON),
            "Camphene": Range("0", "6", COMMON),
            "Borneol": Range("0", "5", COMMON),
            "Limonene": Range("0", "1", COMMON),
            "Beta-Caryophyllene": Range("0", "1.5", COMMON),
        },
    ),
    Oil(
        ("Ocimum Basilicum Oil", "Ocimum Basilicum (Basil) Oil", "Ocimum Basilicum Herb Oil", "Ocimum Basilicum (Basil) Herb Oil"),
        "basil, linalool and estragole types",
        {
            "Linalool": Range("0", "75", COMMON),
            "Estragole": Range("0", "88", COMMON),
            "Methyl Eugenol": Range("0", "5", COMMON),
            "Eugenol": Range("0", "15", COMMON),
            "Eucalyptol": Range("0", "12", COMMON),
            "Methyl Cinnamate": Range("0", "5", COMMON),
            "Geraniol": Range("0", "5", COMMON),
            "Limonene": Range("0", "5", COMMON),
            "Camphor": Range("0", "3", COMMON),
            "Beta-Caryophyllene": Range("0", "3", COMMON),
            "Terpineol": Range("0", "2", COMMON),
            "Citral": Range("0", "2", COMMON),
            "Alpha-Pinene": Range("0", "1", COMMON),
            "Beta-Pinene": Range("0", "1.5", COMMON),
        },
    ),
    Oil(
        (
            *("Myristica Fragrans Kernel Oil", "Myristica Fragrans (Nutmeg) Kernel Oil", "Myristica Fragrans Oil"),
            "Myristica Fragrans (Nutmeg) Oil",
        ),
        "nutmeg",
        {
            "Alpha-Pinene": Range("15", "28", _NUTMEG),
            "Sabinene": Range("14", "29", _NUTMEG),
            "Beta-Pinene": Range("13", "18", _NUTMEG),
            "Limonene": Range("2", "7", _NUTMEG),
            "Gamma-Terpinene": Range("2", "6", _NUTMEG),
            "Terpinen-4-ol": Range("2", "6", _NUTMEG),
            "Delta-3-Carene": Range("0.5", "2", _NUTMEG),
            "Myristicin": Range("0", "12", _NUTMEG_EFSA),
            "Safrole": Range("0", "2.5", _NUTMEG),
            "Elemicin": Range("0", "0.4", _NUTMEG_EFSA),
            "Methyl Eugenol": Range("0", "0.33", _NUTMEG_EFSA),
            "Alpha-Terpinene": Range("0", "4", COMMON),
            "Terpinolene": Range("0", "4", COMMON),
            "Eugenol": Range("0", "1", COMMON),
            "Linalool": Range("0", "1", COMMON),
            "Terpineol": Range("0", "1", COMMON),
            "Beta-Caryophyllene": Range("0", "0.5", COMMON),
        },
    ),
    Oil(
        ("Cymbopogon Winterianus Herb Oil", "Cymbopogon Winterianus (Citronella) Herb Oil", "Cymbopogon Winterianus Oil"),
        "citronella, Java type",
        {
            "Citronellal": Range("30", "45", _CITRONELLA),
            "Geraniol": Range("20", "25", _CITRONELLA),
            "Citronellol": Range("9", "15", _CITRONELLA),
            "Geranyl Acetate": Range("3", "8", _CITRONELLA),
            "Citronellyl Acetate": Range("2", "4", _CITRONELLA),
            "Limonene": Range("1", "5", _CITRONELLA),
            "Citral": Range("0", "4", _CITRONELLA_CITRAL),
            "Eugenol": Range("0", "2", COMMON),
            "Linalool": Range("0", "1.5", COMMON),
            "Beta-Caryophyllene": Range("0", "1", COMMON),
        },
    ),
    Oil(
        ("Litsea Cubeba Fruit Oil", "Litsea Cubeba Oil", "Litsea Cubeba (May Chang) Fruit Oil"),
        "litsea (may chang)",
        {
            "Citral": Range("61", "80", _LITSEA_CITRAL),
            "Limonene": Range("9", "15", _LITSEA),
            "Linalool": Range("0.4", "3", _LITSEA),
            "Geraniol": Range("1", "4", _LITSEA),
            "Alpha-Pinene": Range("0", "2", COMMON),
            "Beta-Pinene": Range("0", "2", COMMON),
            "Terpineol": Range("0", "1", COMMON),
            "Beta-Caryophyllene": Range("0", "1.5", COMMON),
            "Citronellol": Range("0", "1", COMMON),
        },
    ),
)

# Fat oils, by the plant that is pressed (an oil of its flower, leaf, root, wood, bark or peel is none) or by their whole name.
FIXED_OF = frozenset({
    "adansonia digitata", "aleurites moluccanus", "arachis hypogaea", "argania spinosa", "avena sativa", "azadirachta indica",
    "bertholletia excelsa", "bixa orellana", "borago officinalis", "brassica campestris", "brassica napus", "brassica oleracea",
    "butyrospermum parkii", "calophyllum inophyllum", "camelina sativa", "camellia japonica", "camellia oleifera", "camellia sinensis",
    "carapa guianensis", "carthamus tinctorius", "caryocar brasiliense", "chenopodium quinoa", "citrullus lanatus", "cocos nucifera",
    "coffea arabica", "corylus avellana", "crambe abyssinica", "cucumis sativus", "cucurbita pepo", "echium plantagineum", "elaeis guineensis",
    "euterpe oleracea", "fragaria ananassa", "glycine soja", "gossypium herbaceum", "helianthus annuus", "hippophae rhamnoides", "juglans regia",
    "limnanthes alba", "linum usitatissimum", "macadamia integrifolia", "macadamia ternifolia", "mangifera indica", "mauritia flexuosa",
    "moringa oleifera", "nigella sativa", "oenothera biennis", "olea europaea", "opuntia ficus-indica", "orbignya oleifera", "oryza sativa",
    "papaver somniferum", "passiflora edulis", "passiflora incarnata", "pentaclethra macroloba", "perilla ocymoides", "persea gratissima",
    "pistacia vera", "plukenetia volubilis", "pongamia glabra", "prunus amygdalus", "prunus armeniaca", "prunus avium", "prunus domestica",
    "prunus persica", "punica granatum", "ribes nigrum", "ricinus communis", "rosa canina", "rosa moschata", "rosa rubiginosa",
    "rubus fruticosus", "rubus idaeus", "salvia hispanica", "schinziophyton rautanenii", "sclerocarya birrea", "sesamum indicum",
    "silybum marianum", "simmondsia chinensis", "solanum lycopersicum", "triticum vulgare", "vaccinium macrocarpon", "vaccinium myrtillus",
    "virola sebifera", "vitis vinifera", "ximenia americana", "zea mays",
})  # fmt: skip
FIXED = frozenset(
    {"olus oil", "lanolin oil", "emu oil", "mink oil", "cod liver oil", "mineral oil", "canola oil", "cannabis sativa seed oil"}
)
