"""Finding reference figures by name: spelling, synonyms, salts, and the one place where each thing is kept."""

import pytest

from fvc.material import inci_key
from fvc.reference.allergens import LISTS
from fvc.reference.inci import NAMES, US_NAMES
from fvc.reference.limits import LIMITS
from fvc.reference.lookup import allergen, known, limits_of, name_is_known, names_like, oil_named, us_name
from fvc.reference.oils import OILS
from fvc.reference.substances import SUBSTANCES

EARLIER, LATER = LISTS


def all_names() -> list[str]:
    names = [*NAMES, *US_NAMES, *(n for s in SUBSTANCES for n in (s.inci, *s.synonyms))]
    names += [n for oil in OILS for n in (*oil.inci, *oil.constituents)]
    names += [m for each in LISTS for entry in each.entries for m in entry.members]
    return [*names, *(m for limit in LIMITS for m in limit.members)]


def test_the_tables_spell_names_so_that_casefolding_is_their_key():
    odd = [n for n in all_names() if inci_key(n) != n.casefold() and inci_key(n) != "aqua"]
    assert odd == []


@pytest.mark.parametrize("name", ["Sodium Benzoate", "sodium benzoate", " SODIUM  BENZOATE "])
def test_spelling_does_not_matter(name):
    assert known(name).inci == "Sodium Benzoate"
    assert [limit.id for limit in limits_of(name)] == ["eu-v-1"]


def test_an_unknown_name_is_none():
    assert known("Unobtainium Extract") is None
    assert oil_named("Unobtainium Oil") is None
    assert allergen("Unobtainium", LATER) is None
    assert limits_of("Unobtainium") == ()
    assert not name_is_known("Unobtainium")


@pytest.mark.parametrize("wrong, right", [("Betain", "Betaine"), ("Glycerine", "Glycerin"), ("Sodum Benzoate", "Sodium Benzoate")])
def test_a_mistyped_name_finds_the_right_one(wrong, right):
    assert name_is_known(wrong) or right in names_like(wrong)


@pytest.mark.parametrize(
    "name, expected",
    [
        ("Lithium Benzoate", ["eu-v-1a"]),  # a salt that no table names
        ("Zinc Undecylenate", ["eu-v-18"]),
        ("MEA-Sorbate", ["eu-v-4"]),
        ("Benzyl Benzoate", []),  # an ester that is no preservative
        ("C12-15 Alkyl Benzoate", []),
    ],
)
def test_salts_of_a_limited_acid_count_and_esters_that_are_none_do_not(name, expected):
    assert [limit.id for limit in limits_of(name) if limit.id.startswith("eu-v-")] == expected


def test_every_synonym_has_the_limits_of_its_substance():
    differing = [(s.inci, n) for s in SUBSTANCES for n in s.synonyms if limits_of(n) != limits_of(s.inci) and n[:3] != "CI "]
    assert differing == []


def test_every_name_of_an_allergen_has_its_limits():
    differing = []
    for listed in LISTS:
        for entry in listed.entries:
            if not entry.whole and limits_of(entry.name):
                differing += [m for m in entry.members if not limits_of(m)]
    assert differing == []


def test_every_salt_of_a_limited_acid_counts_towards_a_limit():
    acids = {limit.as_acid for limit in LIMITS if limit.salt_of}
    assert len(acids) >= 6
    assert [s.inci for s in SUBSTANCES if s.acid and s.acid[0] in acids and not limits_of(s.inci)] == []


def test_an_allergen_is_found_by_any_of_its_names():
    assert {allergen(n, LATER).name for n in ("d-Limonene", "LIMONENE", "(R)-Limonene")} == {"Limonene"}
    assert allergen("Lavandula Angustifolia Oil", LATER).whole
    assert allergen("Lavandula Angustifolia Oil", EARLIER) is None


@pytest.mark.parametrize("name, american", [("aqua", "Water"), ("Aqua", "Water"), ("Cera Alba", "Beeswax"), ("Glycerin", "Glycerin")])
def test_american_names(name, american):
    assert us_name(name) == american
