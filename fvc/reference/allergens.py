"""Fragrance allergens that a label must name, by list and date.

Names to be declared, groups and entry numbers were compared with two public transcriptions of Annex III, of the
Official Journal text of 2023 and of the consolidated text of 18 May 2026, and with lists of the names to be declared.
An entry's Source covers its name and the names that the annex lists. The further names, marked `ours` below, are
what suppliers and analysis sheets write for the same thing: from memory, from common chemical and botanical naming.
"""

from __future__ import annotations

from typing import NamedTuple

from fvc.reference.source import Source


class Allergen(NamedTuple):
    """An entry of a list of allergens.

    name: as it is declared on the label. members: INCI and chemical names that count towards it, summed
    (the name itself included, and first). whole: True for an oil or extract that is an entry of its own.
    """

    name: str
    members: tuple[str, ...]
    source: Source
    whole: bool = False


class AllergenList(NamedTuple):
    """A list in force.

    key: ours, short. since: ISO day from which newly placed products must follow it. until: last ISO day on
    which products placed before may still be sold under the list before this one, or "".
    above: percent by use ("leave-on", "rinse-off") that must be exceeded.
    """

    key: str
    title: str
    rules: str
    since: str
    until: str
    above: tuple[tuple[str, str], ...]
    entries: tuple[Allergen, ...]
    source: Source


_ANNEX = "Regulation (EC) No 1223/2009, Annex III, entry "
_CORRECTED = " and its corrigendum OJ L, 2025/90876"


def _entry(text: str, date: str, name: str, listed: tuple[str, ...], ours: tuple[str, ...], whole: bool) -> Allergen:
    return Allergen(name, (name, *listed, *ours), Source(text, date), whole)


def _kept(number: int, name: str, ours: tuple[str, ...] = (), whole: bool = False) -> Allergen:
    """An entry that stands in both lists with the same words."""
    return _entry(f"{_ANNEX}{number}, consolidated text of 2026-05-18", "2026-05-18", name, (), ours, whole)


def _earlier(number: int, name: str, ours: tuple[str, ...] = ()) -> Allergen:
    """An entry as it stood before the amendment."""
    return _entry(f"{_ANNEX}{number}, before Regulation (EU) 2023/1545", "2009-11-30", name, (), ours, False)


def _replaced(number: int, name: str, listed: tuple[str, ...] = (), ours: tuple[str, ...] = (), whole: bool = False) -> Allergen:
    """An entry of Annex III that the amendment put into new words."""
    return _entry(f"{_ANNEX}{number}, as replaced by Regulation (EU) 2023/1545", "2023-07-26", name, listed, ours, whole)


def _added(number: int, name: str, listed: tuple[str, ...] = (), ours: tuple[str, ...] = (), whole: bool = False) -> Allergen:
    """An entry that the amendment added."""
    return _entry(f"{_ANNEX}{number}, added by Regulation (EU) 2023/1545", "2023-07-26", name, listed, ours, whole)


def _corrected(number: int, name: str, listed: tuple[str, ...] = (), ours: tuple[str, ...] = (), whole: bool = False) -> Allergen:
    """An entry of the amendment with names that its corrigendum of November 2025 changed."""
    return _entry(f"{_ANNEX}{number}, by Regulation (EU) 2023/1545{_CORRECTED}", "2025", name, listed, ours, whole)


_KEPT = (
    _kept(67, "Amyl Cinnamal", ours=("Alpha-Amyl Cinnamaldehyde", "α-Amyl Cinnamaldehyde", "Amyl Cinnamaldehyde", "2-Benzylideneheptanal")),
    _kept(69, "Cinnamyl Alcohol", ours=("Cinnamic Alcohol", "trans-Cinnamyl Alcohol", "(E)-Cinnamyl Alcohol")),
    _kept(71, "Eugenol", ours=("4-Allyl-2-methoxyphenol",)),
    _kept(72, "Hydroxycitronellal", ours=("7-Hydroxycitronellal",)),
    _kept(74, "Amylcinnamyl Alcohol", ours=("Amyl Cinnamyl Alcohol", "Alpha-Amyl Cinnamyl Alcohol", "α-Amyl Cinnamyl Alcohol")),
    _kept(75, "Benzyl Salicylate"),
    _kept(
        76, "Cinnamal", ours=("Cinnamaldehyde", "Cinnamic Aldehyde", "trans-Cinnamaldehyde", "(E)-Cinnamaldehyde", "3-Phenyl-2-propenal")
    ),
    _kept(77, "Coumarin", ours=("1-Benzopyran-2-one", "2H-1-Benzopyran-2-one")),
    _kept(78, "Geraniol", ours=("trans-Geraniol", "(E)-Geraniol")),
    _kept(80, "Anise Alcohol", ours=("Anisyl Alcohol", "4-Methoxybenzyl Alcohol", "p-Methoxybenzyl Alcohol", "p-Anisyl Alcohol")),
    _kept(81, "Benzyl Cinnamate"),
    _kept(
        82,
        "Farnesol",
        ours=("(E,E)-Farnesol", "(2E,6E)-Farnesol", "(2Z,6E)-Farnesol", "(E,Z)-Farnesol", "(2E,6Z)-Farnesol", "trans,trans-Farnesol"),
    ),
    _kept(
        84,
        "Linalool",
        ours=(
            *("d-Linalool", "l-Linalool", "dl-Linalool", "(R)-Linalool", "(S)-Linalool", "(+)-Linalool", "(-)-Linalool"),
            *("(R)-(-)-Linalool", "(S)-(+)-Linalool", "Licareol", "Coriandrol", "3,7-Dimethyl-1,6-octadien-3-ol"),
        ),
    ),
    _kept(85, "Benzyl Benzoate"),
    _kept(
        87, "Hexyl Cinnamal", ours=("Alpha-Hexyl Cinnamaldehyde", "α-Hexyl Cinnamaldehyde", "Hexyl Cinnamaldehyde", "2-Benzylideneoctanal")
    ),
    _kept(89, "Methyl 2-Octynoate", ours=("Methyl Heptine Carbonate", "Methyl Oct-2-ynoate")),
    _kept(
        90,
        "Alpha-Isomethyl Ionone",
        ours=(
            *("α-Isomethyl Ionone", "Alpha-Isomethylionone", "α-Isomethylionone", "Isomethyl-alpha-ionone", "Isomethyl-α-ionone"),
            "3-Methyl-4-(2,6,6-trimethyl-2-cyclohexen-1-yl)-3-buten-2-one",
        ),
    ),
    _kept(
        91,
        "Evernia Prunastri Extract",
        ours=("Evernia Prunastri (Oakmoss) Extract", "Evernia Prunastri (Oak Moss) Extract", "Oakmoss Extract", "Oak Moss Extract"),
        whole=True,
    ),
    _kept(
        92,
        "Evernia Furfuracea Extract",
        ours=("Evernia Furfuracea (Treemoss) Extract", "Evernia Furfuracea (Tree Moss) Extract", "Treemoss Extract", "Tree Moss Extract"),
        whole=True,
    ),
)

_CITRAL = ("cis-Citral", "trans-Citral", "(Z)-Citral", "(E)-Citral", "Alpha-Citral", "Beta-Citral", "α-Citral", "β-Citral")
_ISOEUGENOL = ("cis-Isoeugenol", "trans-Isoeugenol", "(Z)-Isoeugenol", "(E)-Isoeugenol")
_CITRONELLOL = (
    *("Beta-Citronellol", "β-Citronellol", "d-Citronellol", "l-Citronellol", "dl-Citronellol", "(R)-Citronellol", "(S)-Citronellol"),
    *("(+)-Citronellol", "(-)-Citronellol", "(R)-(+)-Citronellol", "(S)-(-)-Citronellol"),
)
_LIMONENE = (
    *("d-Limonene", "l-Limonene", "dl-Limonene", "(R)-Limonene", "(S)-Limonene", "(+)-Limonene", "(-)-Limonene"),
    *("(R)-(+)-Limonene", "(S)-(-)-Limonene", "Dipentene"),
)

# The list of Directive 2003/15/EC has 26 entries. Two of them are left out here, since the substances are banned
# and no product may hold them: Hydroxyisohexyl 3-Cyclohexene Carboxaldehyde (entry 79; Regulation (EU) 2017/1410)
# and Butylphenyl Methylpropional (entry 83; Regulation (EU) 2021/1902, from 1 March 2022).
# The earlier text names fewer isomers (of limonene, only the (R) form); all are counted, which is the safe side.
_EU_2003 = (
    _earlier(45, "Benzyl Alcohol"),
    _earlier(70, "Citral", ours=("Geranial", "Neral", *_CITRAL)),
    _earlier(73, "Isoeugenol", ours=_ISOEUGENOL),
    _earlier(86, "Citronellol", ours=_CITRONELLOL),
    _earlier(88, "Limonene", ours=_LIMONENE),
    *_KEPT,
)

# A few choices that the annex leaves to the reader:
# - Benzyl Alcohol: entry 45 binds it as a fragrance, not as a preservative (Annex V). fvc cannot tell the two apart.
# - 6-Methyl Coumarin: entry 46 allows it in oral products only. It is kept, since it is on the list.
# - Hydrosols (waters) are not on the list; the one exception is the bark water of Cedrus atlantica.
# - Only the plants and parts named count: spike lavender, cornmint, lemon eucalyptus, sambac jasmine, petitgrain,
#   cassia bark and cinnamon leaf oils are no entries. What is in them still counts by constituent.
_EU_2023 = (
    _replaced(45, "Benzyl Alcohol"),
    _replaced(46, "6-Methyl Coumarin", ours=("6-Methylcoumarin",)),
    _replaced(70, "Citral", ("Geranial", "Neral"), _CITRAL),
    _replaced(73, "Isoeugenol", ours=_ISOEUGENOL),
    _replaced(86, "Citronellol", ours=_CITRONELLOL),
    _replaced(88, "Limonene", ours=_LIMONENE),
    _replaced(
        109,
        "Pinus Mugo",
        ("Pinus Mugo Leaf Oil", "Pinus Mugo Twig Leaf Extract", "Pinus Mugo Twig Oil"),
        (
            "Pinus Mugo Twig Leaf Oil",
            "Pinus Mugo Twig/Leaf Extract",
            "Pinus Mugo Leaf Extract",
            "Pinus Mugo Twig/Leaf Oil",
            "Pinus Mugo Oil",
        ),
        whole=True,
    ),
    _replaced(
        114,
        "Pinus Pumila",
        ("Pinus Pumila Needle Extract", "Pinus Pumila Twig Leaf Extract", "Pinus Pumila Twig Leaf Oil"),
        ("Pinus Pumila Twig/Leaf Extract", "Pinus Pumila Twig/Leaf Oil", "Pinus Pumila Oil"),
        whole=True,
    ),
    _replaced(
        122,
        "Cedrus Atlantica Oil/Extract",
        (
            *("Cedrus Atlantica Bark Extract", "Cedrus Atlantica Bark Oil", "Cedrus Atlantica Bark Water"),
            *("Cedrus Atlantica Leaf Extract", "Cedrus Atlantica Wood Extract", "Cedrus Atlantica Wood Oil"),
        ),
        ("Cedrus Atlantica Oil", "Cedrus Atlantica Extract", "Cedrus Atlantica (Cedarwood) Bark Oil"),
        whole=True,
    ),
    _replaced(124, "Turpentine", ours=("Turpentine Oil", "Turpentine Gum", "Turpentine Oil/Extract"), whole=True),
    _replaced(131, "Alpha-Terpinene", ours=("α-Terpinene",)),
    _replaced(133, "Terpinolene", ours=("Alpha-Terpinolene", "α-Terpinolene")),
    _replaced(
        154,
        "Myroxylon Pereirae Oil/Extract",
        (
            *("Myroxylon Balsamum Pereirae Balsam Extract", "Myroxylon Balsamum Pereirae Balsam Oil"),
            *("Myroxylon Pereirae Oil", "Myroxylon Pereirae Resin Extract", "Myroxylon Pereirae Resin"),
        ),
        ("Myroxylon Pereirae Extract",),
        whole=True,
    ),
    _corrected(
        157,
        "Rose Ketones",
        (
            *("Alpha-Damascone", "cis-Rose Ketone 1", "trans-Rose Ketone 1", "Rose Ketone 4", "Damascenone"),
            *("Rose Ketone 3", "Delta-Damascone", "trans-Rose Ketone 3"),
            *("cis-Rose Ketone 2", "cis-Beta-Damascone", "trans-Rose Ketone 2", "trans-Beta-Damascone"),
        ),
        (
            *("α-Damascone", "Rose Ketone 1", "Beta-Damascone", "β-Damascone", "Rose Ketone 2", "δ-Damascone", "Damascone"),
            *("Beta-Damascenone", "β-Damascenone", "cis-Alpha-Damascone", "cis-α-Damascone", "trans-Alpha-Damascone"),
            *("trans-α-Damascone", "(E)-Alpha-Damascone", "(E)-α-Damascone", "(E)-Beta-Damascone", "(E)-β-Damascone"),
            *("cis-β-Damascone", "trans-β-Damascone", "(Z)-Beta-Damascone", "(Z)-β-Damascone"),
            *("trans-Delta-Damascone", "trans-δ-Damascone", "(E)-Beta-Damascenone", "(E)-β-Damascenone"),
        ),
    ),
    _replaced(175, "3-Propylidenephthalide", ours=("3-Propylidene Phthalide", "3-Propylidene-1(3H)-isobenzofuranone")),
    _replaced(196, "Lippia Citriodora Absolute", ours=("Verbena Absolute",), whole=True),
    _replaced(324, "Methyl Salicylate", ours=("Methyl 2-Hydroxybenzoate",)),
    *_KEPT,
    _added(327, "Acetyl Cedrene", ours=("Acetylcedrene", "Methyl Cedryl Ketone", "Cedryl Methyl Ketone")),
    _added(328, "Amyl Salicylate", ours=("Pentyl Salicylate", "n-Amyl Salicylate", "n-Pentyl Salicylate")),
    _added(329, "Anethole", ours=("trans-Anethole", "(E)-Anethole", "cis-Anethole", "(Z)-Anethole", "p-Propenylanisole")),
    _added(330, "Benzaldehyde"),
    _added(
        331,
        "Camphor",
        ours=(
            *("d-Camphor", "l-Camphor", "dl-Camphor", "(+)-Camphor", "(-)-Camphor", "(R)-Camphor", "(S)-Camphor"),
            *("(1R)-Camphor", "(1S)-Camphor", "Bornan-2-one", "2-Bornanone"),
        ),
    ),
    _added(
        332,
        "Beta-Caryophyllene",
        ours=(
            *("β-Caryophyllene", "Caryophyllene", "trans-Caryophyllene", "(E)-Caryophyllene", "(-)-Caryophyllene"),
            *("trans-Beta-Caryophyllene", "trans-β-Caryophyllene", "(E)-Beta-Caryophyllene", "(E)-β-Caryophyllene"),
        ),
    ),
    _added(
        333,
        "Carvone",
        ours=(
            *("d-Carvone", "l-Carvone", "dl-Carvone", "(R)-Carvone", "(S)-Carvone", "(+)-Carvone", "(-)-Carvone"),
            *("(R)-(-)-Carvone", "(S)-(+)-Carvone"),
        ),
    ),
    _added(
        334,
        "Dimethyl Phenethyl Acetate",
        ours=("Dimethyl Benzyl Carbinyl Acetate", "Dimethylbenzyl Carbinyl Acetate", "DMBCA", "1,1-Dimethyl-2-phenylethyl Acetate"),
    ),
    _added(335, "Hexadecanolactone", ours=("Hexadecanolide", "1,16-Hexadecanolide", "Dihydroambrettolide", "Oxacycloheptadecan-2-one")),
    _added(336, "Hexamethylindanopyran", ours=("HHCB",)),
    _added(337, "Linalyl Acetate", ours=("d-Linalyl Acetate", "l-Linalyl Acetate", "dl-Linalyl Acetate", "Linalool Acetate")),
    _added(
        338,
        "Menthol",
        ours=(
            *("d-Menthol", "l-Menthol", "dl-Menthol", "(+)-Menthol", "(-)-Menthol", "(±)-Menthol"),
            *("Levomenthol", "Racementhol", "Racemic Menthol", "(1R,2S,5R)-Menthol"),
        ),
    ),
    _added(
        339,
        "Trimethylcyclopentenyl Methylisopentenol",
        ours=("3-Methyl-5-(2,2,3-trimethyl-3-cyclopentenyl)pent-4-en-2-ol",),
    ),
    _added(340, "Salicylaldehyde", ours=("2-Hydroxybenzaldehyde", "o-Hydroxybenzaldehyde")),
    _added(
        341,
        "Santalol",
        ours=(
            *("Alpha-Santalol", "Beta-Santalol", "α-Santalol", "β-Santalol", "cis-Alpha-Santalol", "cis-α-Santalol"),
            *("cis-Beta-Santalol", "cis-β-Santalol", "(Z)-Alpha-Santalol", "(Z)-α-Santalol", "(Z)-Beta-Santalol", "(Z)-β-Santalol"),
        ),
    ),
    _added(342, "Sclareol"),
    _added(
        343,  # terpinen-4-ol ("4-terpineol") is another substance and not on the list
        "Terpineol",
        ours=("Alpha-Terpineol", "Beta-Terpineol", "Gamma-Terpineol", "α-Terpineol", "β-Terpineol", "γ-Terpineol"),
    ),
    _added(344, "Tetramethyl Acetyloctahydronaphthalenes", ours=("OTNE",)),
    _added(
        345,
        "Trimethylbenzenepropanol",
        ours=("3-(2,2-Dimethyl-3-hydroxypropyl)toluene", "2,2-Dimethyl-3-(3-methylphenyl)propanol"),
    ),
    _added(346, "Vanillin", ours=("4-Hydroxy-3-methoxybenzaldehyde",)),
    _added(
        347,
        "Cananga Odorata Oil/Extract",
        ("Cananga Odorata Flower Extract", "Cananga Odorata Flower Oil"),
        ("Cananga Odorata Oil", "Cananga Odorata Extract", "Cananga Odorata (Ylang Ylang) Flower Oil", "Ylang Ylang Oil"),
        whole=True,
    ),
    _added(348, "Cinnamomum Cassia Leaf Oil", ours=("Cinnamomum Cassia Oil",), whole=True),
    _added(349, "Cinnamomum Zeylanicum Bark Oil", ours=("Cinnamomum Verum Bark Oil", "Cinnamon Bark Oil"), whole=True),
    _added(
        350,
        "Citrus Aurantium Flower Oil",
        ("Citrus Aurantium Amara Flower Oil", "Citrus Aurantium Dulcis Flower Oil"),
        ("Citrus Aurantium Amara (Bitter Orange) Flower Oil", "Citrus Sinensis Flower Oil", "Neroli Oil"),
        whole=True,
    ),
    _added(
        351,
        "Citrus Aurantium Peel Oil",
        ("Citrus Aurantium Amara Peel Oil", "Citrus Aurantium Dulcis Peel Oil", "Citrus Sinensis Peel Oil"),
        (
            *("Citrus Aurantium Amara (Bitter Orange) Peel Oil", "Citrus Aurantium Dulcis (Orange) Peel Oil"),
            *("Citrus Aurantium Dulcis Oil", "Citrus Aurantium Dulcis (Orange) Oil", "Citrus Aurantium Dulcis Peel Oil Expressed"),
            *("Citrus Sinensis (Orange) Peel Oil", "Citrus Sinensis Oil", "Citrus Sinensis Peel Oil Expressed", "Sweet Orange Oil"),
        ),
        whole=True,
    ),
    _added(
        352,
        "Citrus Aurantium Bergamia Peel Oil",
        (),
        (
            *("Citrus Aurantium Bergamia (Bergamot) Peel Oil", "Citrus Aurantium Bergamia Fruit Oil", "Citrus Aurantium Bergamia Oil"),
            *("Citrus Aurantium Bergamia (Bergamot) Fruit Oil", "Citrus Bergamia Peel Oil", "Citrus Bergamia Fruit Oil"),
            *("Citrus Bergamia Oil", "Citrus Aurantium Bergamia Peel Oil Expressed", "Bergamot Oil"),
        ),
        whole=True,
    ),
    _added(
        353,
        "Citrus Limon Peel Oil",
        (),
        (
            *("Citrus Limon (Lemon) Peel Oil", "Citrus Limon Oil", "Citrus Limon Fruit Oil", "Citrus Limonum Peel Oil"),
            *("Citrus Medica Limonum Peel Oil", "Citrus Medica Limonum (Lemon) Peel Oil", "Citrus Limon Peel Oil Expressed", "Lemon Oil"),
        ),
        whole=True,
    ),
    _added(
        354,
        "Lemongrass Oil",
        ("Cymbopogon Schoenanthus Oil", "Cymbopogon Flexuosus Oil", "Cymbopogon Citratus Leaf Oil"),
        (
            *("Cymbopogon Citratus Oil", "Cymbopogon Citratus Herb Oil", "Cymbopogon Citratus (Lemongrass) Leaf Oil"),
            *("Cymbopogon Flexuosus Herb Oil", "Cymbopogon Flexuosus Leaf Oil"),
        ),
        whole=True,
    ),
    _added(
        355,
        "Eucalyptus Globulus Oil",
        ("Eucalyptus Globulus Leaf Oil", "Eucalyptus Globulus Leaf/Twig Oil"),
        ("Eucalyptus Globulus (Eucalyptus) Leaf Oil",),
        whole=True,
    ),
    _added(
        356,
        "Eugenia Caryophyllus Oil",
        (
            *("Eugenia Caryophyllus Leaf Oil", "Eugenia Caryophyllus Flower Oil"),
            *("Eugenia Caryophyllus Stem Oil", "Eugenia Caryophyllus Bud Oil"),
        ),
        (
            *("Eugenia Caryophyllus (Clove) Leaf Oil", "Eugenia Caryophyllus (Clove) Flower Oil", "Eugenia Caryophyllus (Clove) Bud Oil"),
            *("Syzygium Aromaticum Oil", "Syzygium Aromaticum Bud Oil", "Syzygium Aromaticum Leaf Oil", "Syzygium Aromaticum Flower Oil"),
            *("Syzygium Aromaticum Stem Oil", "Clove Oil", "Clove Bud Oil", "Clove Leaf Oil"),
        ),
        whole=True,
    ),
    _added(
        357,
        "Jasmine Oil/Extract",
        ("Jasminum Grandiflorum Flower Extract", "Jasminum Officinale Oil", "Jasminum Officinale Flower Extract"),
        (
            *("Jasminum Officinale (Jasmine) Oil", "Jasminum Officinale (Jasmine) Flower Extract", "Jasminum Officinale Extract"),
            *("Jasminum Officinale Flower Oil", "Jasminum Grandiflorum Flower Oil", "Jasminum Grandiflorum Oil"),
            *("Jasminum Grandiflorum Extract", "Jasminum Grandiflorum (Jasmine) Flower Extract"),
        ),
        whole=True,
    ),
    _added(358, "Juniperus Virginiana Oil", ("Juniperus Virginiana Wood Oil",), whole=True),
    _added(359, "Laurus Nobilis Leaf Oil", ours=("Laurus Nobilis Oil",), whole=True),
    _added(
        360,
        "Lavandula Oil/Extract",
        (
            *("Lavandula Hybrida Oil", "Lavandula Hybrida Extract", "Lavandula Hybrida Flower Extract"),
            *("Lavandula Intermedia Flower/Leaf/Stem Extract", "Lavandula Intermedia Flower/Leaf/Stem Oil", "Lavandula Intermedia Oil"),
            *("Lavandula Angustifolia Oil", "Lavandula Angustifolia Flower/Leaf/Stem Extract"),
        ),
        (
            *("Lavandula Angustifolia (Lavender) Oil", "Lavandula Angustifolia Flower Oil", "Lavandula Angustifolia (Lavender) Flower Oil"),
            *("Lavandula Angustifolia Herb Oil", "Lavandula Angustifolia Flower/Leaf/Stem Oil", "Lavandula Angustifolia Extract"),
            *("Lavandula Angustifolia Flower Extract", "Lavandula Angustifolia (Lavender) Flower Extract"),
            *("Lavandula Officinalis Oil", "Lavandula Officinalis Flower Oil", "Lavandula Vera Oil"),
            *("Lavandula Hybrida Flower Oil", "Lavandula Hybrida Herb Oil", "Lavandula Hybrida Herb Extract"),
            *("Lavandula Intermedia Flower Oil", "Lavandula Intermedia Extract", "Lavandula Intermedia (Lavandin) Oil"),
            *("Lavandula Oil", "Lavandula Extract", "Lavender Oil", "Lavandin Oil"),
        ),
        whole=True,
    ),
    _added(
        361,
        "Mentha Piperita Oil",
        (),
        ("Mentha Piperita (Peppermint) Oil", "Mentha Piperita Leaf Oil", "Mentha Piperita Herb Oil", "Peppermint Oil"),
        whole=True,
    ),
    _added(
        362,
        "Mentha Viridis Leaf Oil",
        (),
        (
            *("Mentha Viridis (Spearmint) Leaf Oil", "Mentha Viridis Oil", "Mentha Spicata Oil", "Mentha Spicata Leaf Oil"),
            *("Mentha Spicata Herb Oil", "Mentha Spicata Flower/Leaf/Stem Oil", "Spearmint Oil"),
        ),
        whole=True,
    ),
    _added(
        363,
        "Narcissus Extract",
        (
            *("Narcissus Poeticus Extract", "Narcissus Pseudonarcissus Flower Extract"),
            *("Narcissus Jonquilla Extract", "Narcissus Tazetta Extract"),
        ),
        ("Narcissus Poeticus Flower Extract", "Narcissus Jonquilla Flower Extract", "Narcissus Tazetta Flower Extract"),
        whole=True,
    ),
    _corrected(
        364,  # the corrigendum puts the oil and the leaf oil beside the flower oil; the name of 2023 is kept
        "Pelargonium Graveolens Flower Oil",
        ("Pelargonium Graveolens Oil", "Pelargonium Graveolens Leaf Oil"),
        ("Pelargonium Graveolens Flower/Leaf/Stem Oil", "Pelargonium Graveolens Herb Oil"),
        whole=True,
    ),
    _corrected(
        365,
        "Pogostemon Cablin Oil",
        ("Pogostemon Cablin Leaf Oil",),
        ("Pogostemon Cablin (Patchouli) Oil", "Pogostemon Cablin (Patchouli) Leaf Oil", "Patchouli Oil"),
        whole=True,
    ),
    _added(
        366,
        "Rose Flower Oil/Extract",
        (
            *("Rosa Damascena Flower Oil", "Rosa Damascena Flower Extract", "Rosa Alba Flower Oil", "Rosa Alba Flower Extract"),
            *("Rosa Canina Flower Oil", "Rosa Centifolia Flower Oil", "Rosa Centifolia Flower Extract", "Rosa Gallica Flower Oil"),
            *("Rosa Moschata Flower Oil", "Rosa Rugosa Flower Oil"),
        ),
        (
            *("Rose Flower Oil", "Rose Flower Extract", "Rosa Damascena Oil", "Rosa Damascena Extract", "Rosa Centifolia Oil"),
            *("Rosa Centifolia Extract", "Rosa Gallica Flower Extract", "Rosa Canina Flower Extract", "Rosa Rugosa Flower Extract"),
        ),
        whole=True,
    ),
    _added(
        367,
        "Santalum Album Oil",
        (),
        ("Santalum Album (Sandalwood) Oil", "Santalum Album Wood Oil", "Santalum Album (Sandalwood) Wood Oil"),
        whole=True,
    ),
    _added(368, "Eugenyl Acetate", ours=("Eugenol Acetate", "Acetyl Eugenol", "Acetyleugenol", "Aceteugenol")),
    _added(369, "Geranyl Acetate", ours=("Geraniol Acetate", "trans-Geranyl Acetate", "(E)-Geranyl Acetate")),
    _added(370, "Isoeugenyl Acetate", ours=("Isoeugenol Acetate", "Acetyl Isoeugenol", "Acetylisoeugenol")),
    _added(
        371,
        "Pinene",
        ours=(
            *("Alpha-Pinene", "Beta-Pinene", "α-Pinene", "β-Pinene", "a-Pinene", "b-Pinene", "d-Alpha-Pinene", "l-Alpha-Pinene"),
            *("(+)-Alpha-Pinene", "(-)-Alpha-Pinene", "(+)-α-Pinene", "(-)-α-Pinene"),
            *("(+)-Beta-Pinene", "(-)-Beta-Pinene", "(+)-β-Pinene", "(-)-β-Pinene", "l-Beta-Pinene"),
        ),
    ),
)

_ABOVE = (("leave-on", "0.001"), ("rinse-off", "0.01"))

# The amendment lets products that do not follow it be placed until, and sold until, 31 July 2026 and 2028. That
# day is taken as the first of the new rule in both cases: who labels by the new list on it is right either way.
LISTS: tuple[AllergenList, ...] = (
    AllergenList(
        key="eu-2003",
        title="the earlier list (26 entries of 2003, two of them banned since)",
        rules="eu",
        since="2005-03-11",
        until="",
        above=_ABOVE,
        entries=_EU_2003,
        source=Source("Directive 2003/15/EC, the day from which fragrance allergens are declared", "2003-02-27", looked_up=False),
    ),
    AllergenList(
        key="eu-2023",
        title="the list as widened in 2023",
        rules="eu",
        since="2026-07-31",
        until="2028-07-30",
        above=_ABOVE,
        entries=_EU_2023,
        source=Source("Regulation (EU) 2023/1545, amending Annex III of Regulation (EC) No 1223/2009", "2023-07-26"),
    ),
)

US_SILENCE = (
    "US law (Modernization of Cosmetics Regulation Act of 2022) has FDA name the fragrance allergens for labels by a rule, "
    "whose draft was due on 29 June 2024; the last state seen, the federal agenda of spring 2025 (RIN 0910-AI90), foresees the draft "
    "for May 2026. fvc holds no list for US labels: see whether a rule has come out since."
)
