"""The lists of fragrance allergens: what is named, from which day, above which share, and with what source."""

import re
from collections import Counter

import pytest

from fvc.material import inci_key
from fvc.reference.allergens import LISTS, US_SILENCE, Allergen, AllergenList

BY_KEY = {each.key: each for each in LISTS}
EARLIER = BY_KEY["eu-2003"]
LATER = BY_KEY["eu-2023"]
BANNED = ("Butylphenyl Methylpropional", "Hydroxyisohexyl 3-Cyclohexene Carboxaldehyde")

# Regulation (EC) No 1223/2009, Annex III, consolidated text of 18 May 2026: the names of the glossary by entry, where
# the entry groups several (substances with one name are in SINGLE), with the name that the text asks to be declared.
GROUPS = {
    70: ("Citral", ["Citral", "Geranial", "Neral"]),
    109: ("Pinus Mugo", ["Pinus Mugo Leaf Oil", "Pinus Mugo Twig Leaf Extract", "Pinus Mugo Twig Oil"]),
    114: ("Pinus Pumila", ["Pinus Pumila Needle Extract", "Pinus Pumila Twig Leaf Extract", "Pinus Pumila Twig Leaf Oil"]),
    122: ("Cedrus Atlantica Oil/Extract", [f"Cedrus Atlantica {p}" for p in ("Bark Extract", "Bark Oil", "Leaf Extract", "Wood Oil")]),
    154: ("Myroxylon Pereirae Oil/Extract", ["Myroxylon Balsamum Pereirae Balsam Oil", "Myroxylon Pereirae Resin Extract"]),
    157: ("Rose Ketones", ["Alpha-Damascone", "Damascenone", "Delta-Damascone", "cis-beta-Damascone", "trans-Rose ketone 3"]),
    347: ("Cananga Odorata Oil/Extract", ["Cananga Odorata Flower Extract", "Cananga Odorata Flower Oil"]),
    350: ("Citrus Aurantium Flower Oil", ["Citrus Aurantium Amara Flower Oil", "Citrus Aurantium Dulcis Flower Oil"]),
    351: ("Citrus Aurantium Peel Oil", [f"Citrus {p} Peel Oil" for p in ("Aurantium Amara", "Aurantium Dulcis", "Sinensis")]),
    354: ("Lemongrass Oil", ["Cymbopogon Schoenanthus Oil", "Cymbopogon Flexuosus Oil", "Cymbopogon Citratus Leaf Oil"]),
    355: ("Eucalyptus Globulus Oil", ["Eucalyptus Globulus Leaf Oil", "Eucalyptus Globulus Leaf/Twig Oil"]),
    356: ("Eugenia Caryophyllus Oil", [f"Eugenia Caryophyllus {p} Oil" for p in ("Leaf", "Flower", "Stem", "Bud")]),
    357: ("Jasmine Oil/Extract", ["Jasminum Grandiflorum Flower Extract", "Jasminum Officinale Oil", "Jasminum Officinale Flower Extract"]),
    358: ("Juniperus Virginiana Oil", ["Juniperus Virginiana Wood Oil"]),
    360: (
        "Lavandula Oil/Extract",
        [
            *("Lavandula Hybrida Oil", "Lavandula Hybrida Extract", "Lavandula Intermedia Oil", "Lavandula Angustifolia Oil"),
            *("Lavandula Intermedia Flower/Leaf/Stem Oil", "Lavandula Angustifolia Flower/Leaf/Stem Extract"),
        ],
    ),
    363: ("Narcissus Extract", ["Narcissus Poeticus Extract", "Narcissus Pseudonarcissus Flower Extract", "Narcissus Tazetta Extract"]),
    364: ("Pelargonium Graveolens Flower Oil", ["Pelargonium Graveolens Oil", "Pelargonium Graveolens Leaf Oil"]),
    365: ("Pogostemon Cablin Oil", ["Pogostemon Cablin Leaf Oil"]),
    366: (
        "Rose Flower Oil/Extract",
        [
            *(f"Rosa {p} Flower Oil" for p in ("Damascena", "Alba", "Canina", "Centifolia", "Gallica", "Moschata", "Rugosa")),
            *(f"Rosa {p} Flower Extract" for p in ("Damascena", "Alba", "Centifolia")),
        ],
    ),
}
SINGLE = {
    45: "Benzyl Alcohol",
    46: "6-Methyl Coumarin",
    67: "Amyl Cinnamal",
    69: "Cinnamyl Alcohol",
    71: "Eugenol",
    72: "Hydroxycitronellal",
    73: "Isoeugenol",
    74: "Amylcinnamyl Alcohol",
    75: "Benzyl Salicylate",
    76: "Cinnamal",
    77: "Coumarin",
    78: "Geraniol",
    80: "Anise Alcohol",
    81: "Benzyl Cinnamate",
    82: "Farnesol",
    84: "Linalool",
    85: "Benzyl Benzoate",
    86: "Citronellol",
    87: "Hexyl Cinnamal",
    88: "Limonene",
    89: "Methyl 2-Octynoate",
    90: "Alpha-Isomethyl Ionone",
    91: "Evernia Prunastri Extract",
    92: "Evernia Furfuracea Extract",
    124: "Turpentine",
    131: "Alpha-Terpinene",
    133: "Terpinolene",
    175: "3-Propylidenephthalide",
    196: "Lippia Citriodora Absolute",
    324: "Methyl Salicylate",
    327: "Acetyl Cedrene",
    328: "Amyl Salicylate",
    329: "Anethole",
    330: "Benzaldehyde",
    331: "Camphor",
    332: "Beta-Caryophyllene",
    333: "Carvone",
    334: "Dimethyl Phenethyl Acetate",
    335: "Hexadecanolactone",
    336: "Hexamethylindanopyran",
    337: "Linalyl Acetate",
    338: "Menthol",
    339: "Trimethylcyclopentenyl Methylisopentenol",
    340: "Salicylaldehyde",
    341: "Santalol",
    342: "Sclareol",
    343: "Terpineol",
    344: "Tetramethyl Acetyloctahydronaphthalenes",
    345: "Trimethylbenzenepropanol",
    346: "Vanillin",
    348: "Cinnamomum Cassia Leaf Oil",
    349: "Cinnamomum Zeylanicum Bark Oil",
    352: "Citrus Aurantium Bergamia Peel Oil",
    353: "Citrus Limon Peel Oil",
    359: "Laurus Nobilis Leaf Oil",
    361: "Mentha Piperita Oil",
    362: "Mentha Viridis Leaf Oil",
    367: "Santalum Album Oil",
    368: "Eugenyl Acetate",
    369: "Geranyl Acetate",
    370: "Isoeugenyl Acetate",
    371: "Pinene",
}


def entry_for(name: str, listed: AllergenList) -> Allergen | None:
    """The entry under which a name stands."""
    return next((e for e in listed.entries if inci_key(name) in map(inci_key, e.members)), None)


def declared_as(name: str, listed: AllergenList = LATER) -> str:
    """The name on the label, or "" for what is not on the list."""
    found = entry_for(name, listed)
    return found.name if found else ""


def number_of(entry: Allergen) -> int:
    """The number of the entry in Annex III, from its source."""
    found = re.search(r"Annex III, entry (\d+)", entry.source.title)
    assert found, entry.source.title
    return int(found[1])


def test_there_are_two_lists_for_europe():
    assert [(each.key, each.rules) for each in LISTS] == [("eu-2003", "eu"), ("eu-2023", "eu")]


@pytest.mark.parametrize("listed", LISTS, ids=lambda each: each.key)
def test_every_entry_has_a_source_with_title_and_date(listed):
    for source in (listed.source, *(e.source for e in listed.entries)):
        assert source.title.strip() == source.title != ""
        assert re.fullmatch(r"\d{4}(-\d\d-\d\d)?", source.date), source


@pytest.mark.parametrize("listed", LISTS, ids=lambda each: each.key)
def test_names_are_unique_and_members_stand_once(listed):
    names = Counter(inci_key(e.name) for e in listed.entries)
    assert [n for n, count in names.items() if count > 1] == []
    members = Counter(inci_key(m) for e in listed.entries for m in e.members)
    assert [m for m, count in members.items() if count > 1] == []


@pytest.mark.parametrize("listed", LISTS, ids=lambda each: each.key)
def test_the_name_is_the_first_member_and_nothing_is_blank(listed):
    for entry in listed.entries:
        assert entry.members[0] == entry.name
        assert all(m == " ".join(m.split()) != "" for m in entry.members)


@pytest.mark.parametrize("listed", LISTS, ids=lambda each: each.key)
def test_an_entry_of_the_annex_stands_once(listed):
    numbers = Counter(number_of(e) for e in listed.entries)
    assert [n for n, count in numbers.items() if count > 1] == []


@pytest.mark.parametrize("listed", LISTS, ids=lambda each: each.key)
def test_thresholds(listed):
    # Regulation (EC) No 1223/2009, Annex III, entries 67 to 92, and Regulation (EU) 2023/1545: exceeds 0.001 % leave-on, 0.01 % rinse-off.
    assert listed.above == (("leave-on", "0.001"), ("rinse-off", "0.01"))


def test_days():
    # Directive 2003/15/EC: applied from 11 March 2005 (from memory, and so it says).
    assert (EARLIER.since, EARLIER.until) == ("2005-03-11", "")
    assert not EARLIER.source.looked_up
    # Regulation (EU) 2023/1545: new products from 31 July 2026, all from 31 July 2028.
    assert (LATER.since, LATER.until) == ("2026-07-31", "2028-07-30")


def test_counts():
    # Regulation (EU) 2023/1545: about 80 entries, by how groups are counted; 45 of them added, 17 put into new words.
    assert 75 <= len(LATER.entries) <= 90
    assert sum("added by" in e.source.title or number_of(e) > 326 for e in LATER.entries) == 45
    assert len(LATER.entries) == len(SINGLE) + len(GROUPS) == 81
    # Directive 2003/15/EC: 26 entries, two of them banned since.
    assert len(EARLIER.entries) == 26 - len(BANNED)


def test_the_banned_are_on_no_list():
    assert [n for n in BANNED for each in LISTS if entry_for(n, each)] == []


def test_the_later_list_is_annex_iii_entry_by_entry():
    expected = {**SINGLE, **{number: name for number, (name, _) in GROUPS.items()}}
    assert {number_of(e): e.name for e in LATER.entries} == expected


@pytest.mark.parametrize("number", GROUPS)
def test_what_a_group_of_annex_iii_holds(number):
    name, listed = GROUPS[number]
    assert {each: declared_as(each) for each in listed} == dict.fromkeys(listed, name)


def test_the_earlier_list_is_inside_the_later_one():
    for entry in EARLIER.entries:
        assert {declared_as(m, LATER) for m in entry.members} == {entry.name}


@pytest.mark.parametrize(
    ("written", "declared"),
    [
        ("Lavandula Angustifolia Flower Oil", "Lavandula Oil/Extract"),
        ("Lavandula Hybrida Oil", "Lavandula Oil/Extract"),
        ("MENTHA PIPERITA OIL", "Mentha Piperita Oil"),
        ("Mentha Piperita (Peppermint) Oil", "Mentha Piperita Oil"),
        ("Mentha Spicata Herb Oil", "Mentha Viridis Leaf Oil"),
        ("Eucalyptus Globulus Leaf Oil", "Eucalyptus Globulus Oil"),
        ("Citrus Aurantium Amara Flower Oil", "Citrus Aurantium Flower Oil"),
        ("Citrus Sinensis Peel Oil", "Citrus Aurantium Peel Oil"),
        ("Citrus Aurantium Bergamia Fruit Oil", "Citrus Aurantium Bergamia Peel Oil"),
        ("Cymbopogon Flexuosus Oil", "Lemongrass Oil"),
        ("Syzygium Aromaticum Bud Oil", "Eugenia Caryophyllus Oil"),
        ("Evernia Prunastri Extract", "Evernia Prunastri Extract"),
    ],
)
def test_whole_oils_and_extracts(written, declared):
    found = entry_for(written, LATER)
    assert found is not None
    assert (found.name, found.whole) == (declared, True)


@pytest.mark.parametrize(
    ("written", "declared"),
    [
        ("d-Limonene", "Limonene"),
        ("L-LIMONENE", "Limonene"),
        ("(R)-Limonene", "Limonene"),
        ("Neral", "Citral"),
        ("Geranial", "Citral"),
        ("α-Pinene", "Pinene"),
        ("Beta-Pinene", "Pinene"),
        ("l-Menthol", "Menthol"),
        ("(-)-Carvone", "Carvone"),
        ("β-Damascone", "Rose Ketones"),
        ("alpha-terpineol", "Terpineol"),
        ("trans-Anethole", "Anethole"),
        ("l-Linalool", "Linalool"),
        ("Cinnamaldehyde", "Cinnamal"),
        ("Anisyl Alcohol", "Anise Alcohol"),
        ("β-Caryophyllene", "Beta-Caryophyllene"),
    ],
)
def test_names_of_substances_on_analysis_sheets(written, declared):
    found = entry_for(written, LATER)
    assert found is not None
    assert (found.name, found.whole) == (declared, False)


@pytest.mark.parametrize(
    "written",
    [
        *("Terpinen-4-ol", "Gamma-Terpinene", "Menthone", "Nerol", "Eucalyptol", "Isoamyl Salicylate", "Citronellal"),
        *("Lavandula Angustifolia Flower Water", "Lavandula Latifolia Herb Oil", "Citrus Aurantium Amara Leaf/Twig Oil"),
        *("Rosa Canina Seed Oil", "Eucalyptus Citriodora Oil", "Mentha Arvensis Leaf Oil", "Cinnamomum Zeylanicum Leaf Oil", "Parfum"),
    ],
)
def test_what_is_near_but_not_on_the_list(written):
    assert [declared_as(written, each) for each in LISTS] == ["", ""]


def test_an_oil_was_no_entry_before_the_amendment():
    assert [declared_as(n, EARLIER) for n in ("Lavandula Angustifolia Oil", "Mentha Piperita Oil", "Menthol", "Pinene")] == [""] * 4
    assert {e.name for e in EARLIER.entries if e.whole} == {"Evernia Prunastri Extract", "Evernia Furfuracea Extract"}


def test_the_us_silence_says_what_is_missing():
    assert "FDA" in US_SILENCE
    assert "no list" in US_SILENCE
    assert "2024" in US_SILENCE
