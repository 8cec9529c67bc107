"""The table of essential oils: each range with its source, sound by itself, and right by what is published."""

import re
from collections import Counter
from fractions import Fraction

import pytest

from fvc.material import inci_key
from fvc.reference.allergens import LISTS
from fvc.reference.lookup import allergen, name_is_known, oil_named
from fvc.reference.oils import OILS, Oil, Range

RANGES = [(oil, name, held) for oil in OILS for name, held in oil.constituents.items()]

# The oils that the issue names, under the spellings a maker may have.
NAMED = {
    "tea tree": ("Melaleuca Alternifolia Leaf Oil",),
    "peppermint": ("Mentha Piperita Oil",),
    "lavender": ("Lavandula Angustifolia Oil",),
    "rosemary": ("Rosmarinus Officinalis Leaf Oil", "Salvia Rosmarinus Leaf Oil"),
    "sweet orange": ("Citrus Aurantium Dulcis Peel Oil", "Citrus Sinensis Peel Oil"),
    "neroli": ("Citrus Aurantium Amara Flower Oil",),
    "geranium": ("Pelargonium Graveolens Flower Oil", "Pelargonium Graveolens Oil"),
    "eucalyptus": ("Eucalyptus Globulus Leaf Oil",),
    "spearmint": ("Mentha Viridis Leaf Oil", "Mentha Spicata Herb Oil"),
    "lemongrass": ("Cymbopogon Flexuosus Oil", "Cymbopogon Citratus Leaf Oil", "Cymbopogon Schoenanthus Oil"),
}

# European Pharmacopoeia; peppermint by the older edition.
PUBLISHED = {
    "Lavandula Angustifolia Oil": {"Linalool": ("20", "45"), "Linalyl Acetate": ("25", "47"), "Limonene": ("0", "1")},
    "Mentha Piperita Oil": {"Menthol": ("30", "55"), "Menthone": ("14", "32"), "Limonene": ("1", "5"), "Pulegone": ("0", "4")},
}

# Two names for one thing would be counted twice.
SAME = (
    {"Citral", "Neral", "Geranial"},
    {"Eucalyptol", "1,8-Cineole", "Cineole"},
    {"Terpineol", "Alpha-Terpineol"},
    {"Pinene", "Alpha-Pinene"},
    {"Pinene", "Beta-Pinene"},
    {"Furocoumarins", "Bergapten"},
    {"Rose Ketones", "Damascenone"},
    {"Eugenyl Acetate", "Acetyleugenol"},
    {"Menthol", "Levomenthol"},
    {"Cinnamal", "Cinnamaldehyde"},
)


def oil(inci: str) -> Oil:
    """The oil of an INCI name, which must be there."""
    found = oil_named(inci)
    assert found is not None, inci
    return found


@pytest.mark.parametrize(("of", "name", "held"), [pytest.param(*r, id=f"{r[0].name}: {r[1]}") for r in RANGES])
def test_every_range_is_sound_and_says_where_it_is_from(of: Oil, name: str, held: Range):
    for text in (held.low, held.high):
        assert re.fullmatch(r"(0|[1-9]\d*)(\.\d*[1-9])?", text), f"{text} is not a plain number"
    assert 0 <= Fraction(held.low) <= Fraction(held.high) <= 100
    assert Fraction(held.high) > 0
    assert held.source.title.strip()
    assert re.fullmatch(r"(19|20)\d\d(-\d\d-\d\d)?", held.source.date)
    assert held.source.words.endswith("from memory)") != held.source.looked_up
    assert name == " ".join(name.split())
    assert name_is_known(name)


@pytest.mark.parametrize("of", OILS, ids=lambda o: o.name)
def test_an_oil_adds_up_and_counts_nothing_twice(of: Oil):
    assert sum(Fraction(r.low) for r in of.constituents.values()) <= 100
    assert len(of.constituents) >= 4
    assert len({inci_key(name) for name in of.constituents}) == len(of.constituents)
    for names in SAME:
        assert len(names & set(of.constituents)) <= 1, names & set(of.constituents)
    assert of.name
    assert of.inci


def test_an_inci_name_belongs_to_one_oil():
    spelled = Counter(inci_key(name) for each in OILS for name in each.inci)
    assert {name for name, times in spelled.items() if times > 1} == set()
    assert len({each.name for each in OILS}) == len(OILS)


@pytest.mark.parametrize("name", NAMED)
def test_the_oils_of_the_issue_are_there(name: str):
    found = [oil(spelling) for spelling in NAMED[name]]
    assert {each.name for each in found} == {name}
    assert found[0].inci[0] == NAMED[name][0]
    assert len(found[0].constituents) >= 4
    assert oil_named(NAMED[name][0].upper()) is found[0]


def test_there_are_at_least_sixteen():
    assert len(OILS) >= 16


@pytest.mark.parametrize(("inci", "name"), [(inci, name) for inci, held in PUBLISHED.items() for name in held])
def test_the_pharmacopoeia_figures_stand_as_published(inci: str, name: str):
    held = oil(inci).constituents[name]
    assert (held.low, held.high) == PUBLISHED[inci][name]
    assert "European Pharmacopoeia" in held.source.title
    assert "edition" in held.source.title


def test_the_edition_of_peppermint_is_named_with_what_changed():
    title = oil("Mentha Piperita Oil").constituents["Pulegone"].source.title
    for words in ("older edition", "limonene 1.0 to 3.5", "pulegone up to 3.0"):
        assert words in title


def test_tea_tree_holds_methyl_eugenol():
    """160 to 552 ppm: Raymond, Davies and Larkman, Anal. Bioanal. Chem. 409, 1779 (2017)."""
    held = oil("Melaleuca Alternifolia Leaf Oil").constituents["Methyl Eugenol"]
    assert (Fraction(held.low) * 10_000, Fraction(held.high) * 10_000) == (160, 552)


def test_bergamot_and_lemon_hold_bergapten():
    """Cold pressed bergamot 0.11 to 0.32 %: Flavour Fragr. J. 8, 17 (1993)."""
    held = oil("Citrus Aurantium Bergamia Peel Oil").constituents["Bergapten"]
    assert (held.low, held.high) == ("0.11", "0.32")
    assert "Bergapten" in oil("Citrus Limon Peel Oil").constituents


@pytest.mark.parametrize(
    ("inci", "name"),
    [
        ("Rosa Damascena Flower Oil", "Methyl Eugenol"),
        ("Ocimum Basilicum Oil", "Methyl Eugenol"),
        ("Ocimum Basilicum Oil", "Estragole"),
        ("Myristica Fragrans Kernel Oil", "Safrole"),
        ("Myristica Fragrans Kernel Oil", "Methyl Eugenol"),
        ("Cinnamomum Zeylanicum Leaf Oil", "Safrole"),
        ("Mentha Piperita Oil", "Menthofuran"),
        ("Mentha Viridis Leaf Oil", "Pulegone"),
        ("Rosmarinus Officinalis Leaf Oil", "Camphor"),
    ],
)
def test_notorious_constituents_are_not_left_out(inci: str, name: str):
    assert Fraction(oil(inci).constituents[name].high) > 0


@pytest.mark.parametrize(
    ("inci", "declared"),
    [
        ("Lavandula Angustifolia Oil", {"Linalool", "Linalyl Acetate", "Limonene", "Geraniol", "Coumarin", "Camphor"}),
        ("Cymbopogon Flexuosus Oil", {"Citral", "Geraniol", "Limonene", "Geranyl Acetate"}),
        ("Pelargonium Graveolens Flower Oil", {"Citronellol", "Geraniol", "Linalool", "Citral"}),
        ("Citrus Aurantium Amara Flower Oil", {"Linalool", "Farnesol", "Pinene", "Terpineol"}),
        ("Mentha Viridis Leaf Oil", {"Carvone", "Limonene", "Menthol"}),
        ("Eucalyptus Globulus Leaf Oil", {"Pinene", "Limonene", "Camphor"}),
    ],
)
def test_constituents_are_found_by_the_list_of_allergens(inci: str, declared: set[str]):
    entries = {entry.name for name in oil(inci).constituents if (entry := allergen(name, LISTS[-1]))}
    assert declared <= entries
