"""The table of limits: each with its source, in figures that can be compared, and right by what is published."""

import re
from collections import Counter
from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

import pytest

from fvc.material import inci_key
from fvc.reference.limits import LIMITS, US_SILENCE, USES, Limit
from fvc.reference.lookup import known, limits_of

BY_ID = {limit.id: limit for limit in LIMITS}
EACH = pytest.mark.parametrize("limit", LIMITS, ids=lambda limit: limit.id)

# Percent by use. Regulation (EC) No 1223/2009, Annexes II, III and V; the entry is in the name.
ANNEX_V = "Regulation (EC) No 1223/2009, Annex V"
ANNEX_III = "Regulation (EC) No 1223/2009, Annex III"
ANNEX_II = "Regulation (EC) No 1223/2009, Annex II"
PUBLISHED = (
    ("eu-v-1", {"leave-on": "0.5", "rinse-off": "2.5"}, "Benzoic Acid", f"{ANNEX_V}, entry 1"),
    ("eu-v-1a", {"": "0.5"}, "Benzoic Acid", f"{ANNEX_V}, entry 1a"),
    ("eu-v-2", {"": "2"}, "Propionic Acid", f"{ANNEX_V}, entry 2"),
    ("eu-v-3", {"": "0.5"}, "Salicylic Acid", f"{ANNEX_V}, entry 3"),
    ("eu-v-4", {"": "0.6"}, "Sorbic Acid", f"{ANNEX_V}, entry 4"),
    ("eu-v-12-methylparaben", {"": "0.4"}, "4-Hydroxybenzoic Acid", f"{ANNEX_V}, entry 12"),
    ("eu-v-12-ethylparaben", {"": "0.4"}, "4-Hydroxybenzoic Acid", f"{ANNEX_V}, entry 12"),
    ("eu-v-12a", {"": "0.14"}, "4-Hydroxybenzoic Acid", f"{ANNEX_V}, entry 12a"),
    ("eu-v-parabens-sum", {"": "0.8"}, "4-Hydroxybenzoic Acid", f"{ANNEX_V}, entries 12 and 12a"),
    ("eu-v-13", {"": "0.6", "aerosol": "0"}, "Dehydroacetic Acid", f"{ANNEX_V}, entry 13"),
    ("eu-v-14", {"": "0.5"}, "Formic Acid", f"{ANNEX_V}, entry 14"),
    ("eu-v-18", {"": "0.2"}, "Undecylenic Acid", f"{ANNEX_V}, entry 18"),
    ("eu-v-22", {"": "0.15"}, "", f"{ANNEX_V}, entry 22"),
    ("eu-v-27", {"": "0.6"}, "", f"{ANNEX_V}, entry 27"),
    ("eu-v-29", {"": "1.0"}, "", f"{ANNEX_V}, entry 29"),
    ("eu-v-33", {"": "0.6"}, "", f"{ANNEX_V}, entry 33"),
    ("eu-v-34", {"": "1.0"}, "", f"{ANNEX_V}, entry 34"),
    ("eu-v-39", {"rinse-off": "0.001125", "leave-on": "0"}, "", f"{ANNEX_V}, entry 39"),
    ("eu-v-43", {"rinse-off": "1.0", "leave-on": "0"}, "", f"{ANNEX_V}, entry 43"),
    ("eu-v-46", {"": "0.5"}, "", f"{ANNEX_V}, entry 46"),
    ("eu-v-50", {"": "0.3"}, "", f"{ANNEX_V}, entry 50"),
    ("eu-v-56", {"rinse-off": "0.02", "leave-on": "0.01"}, "", f"{ANNEX_V}, entry 56"),
    ("eu-v-57", {"rinse-off": "0.0015", "leave-on": "0"}, "", f"{ANNEX_V}, entry 57"),
    ("eu-iii-62", {"leave-on": "2.5"}, "", f"{ANNEX_III}, entry 62"),
    ("eu-iii-73", {"": "0.02"}, "", f"{ANNEX_III}, entry 73"),
    ("eu-iii-102", {"leave-on": "0.0002", "rinse-off": "0.001"}, "", f"{ANNEX_III}, entry 102"),
    ("eu-iii-286", {"rinse-off": "2.5", "leave-on": "1.0"}, "", f"{ANNEX_III}, entry 286"),
    ("eu-iii-287", {"rinse-off": "5.0", "leave-on": "3.0"}, "", f"{ANNEX_III}, entry 287"),
    ("eu-iii-376", {"": "0.3"}, "Retinol", f"{ANNEX_III}, entry 376"),
    ("eu-ii-360", {"": "0.01"}, "", f"{ANNEX_II}, entry 360: 100 mg/kg"),
    ("eu-ii-358", {"leave-on": "0.0001"}, "", f"{ANNEX_II}, entry 358: 1 mg/kg"),
    ("us-250-250", {"": "0.1"}, "", "21 CFR 250.250"),
    ("us-cir-aha", {"": "10"}, "", "Cosmetic Ingredient Review, 2017"),
)

# The names under which makers write them, and the limits they count towards.
NAMES = {
    "SODIUM BENZOATE": {"eu-v-1"},
    "potassium benzoate": {"eu-v-1a"},
    "Potassium Sorbate": {"eu-v-4"},
    "Magnesium Sorbate": {"eu-v-4"},
    "Potassium Dehydroacetate": {"eu-v-13"},
    "Propylparaben": {"eu-v-12a", "eu-v-parabens-sum"},
    "Methyleugenol": {"eu-iii-102"},
    "5-MOP": {"eu-ii-358"},
    "Safrole": {"eu-ii-360"},
    "Quaternium-15": {"eu-ii-quaternium-15"},
}

# Names that end like a salt of a limited acid and are none.
NO_SALTS = ("Benzyl Benzoate", "Denatonium Benzoate", "Ethylhexyl Palmitate", "Linalyl Formate", "Glyceryl Undecylenate", "Polysorbate 20")


@EACH
def test_every_limit_has_a_title_a_source_and_members_without_doubles(limit: Limit) -> None:
    assert re.fullmatch(r"(eu|us)-[a-z0-9-]+", limit.id)
    assert limit.rules == limit.id.split("-")[0]
    assert limit.title == limit.title.strip()
    assert limit.title
    assert not limit.title.endswith(".")
    assert limit.source.title
    assert re.fullmatch(r"\d{4}(-\d{2}-\d{2})?", limit.source.date)
    assert limit.members
    assert all(name == " ".join(name.split()) for name in limit.members)
    assert not [n for n, count in Counter(map(inci_key, limit.members)).items() if count > 1]


@EACH
def test_every_percent_can_be_compared(limit: Limit) -> None:
    assert set(limit.most) <= {*USES, ""}
    for text in limit.most.values():
        assert re.fullmatch(r"\d+(\.\d+)?", text)
        assert Decimal(0) <= Decimal(text) <= Decimal(100)
    if limit.ph:
        low, high = map(Decimal, limit.ph)
        assert 0 <= low < high <= 14


@EACH
def test_every_limit_can_find_something(limit: Limit) -> None:
    assert limit.most or limit.asks or limit.ph
    assert limit.level in ("stop", "caution")


@EACH
def test_every_question_is_a_use_and_words_that_end_a_sentence(limit: Limit) -> None:
    assert set(limit.asks) <= {*USES, ""}
    for words in limit.asks.values():
        assert words == words.strip()
        assert words
        assert not words.endswith(".")


def test_ids_are_used_once() -> None:
    assert not [id for id, count in Counter(limit.id for limit in LIMITS).items() if count > 1]


@EACH
def test_a_limit_as_acid_names_an_acid_with_a_molar_mass(limit: Limit) -> None:
    if limit.as_acid:
        acid = known(limit.as_acid)
        assert acid
        assert acid.molar_mass


@pytest.mark.parametrize(("id", "most", "as_acid", "source"), PUBLISHED, ids=[row[0] for row in PUBLISHED])
def test_the_figures_are_those_published(id: str, most: Mapping[str, str], as_acid: str, source: str) -> None:
    limit = BY_ID[id]
    assert {use: Decimal(text) for use, text in limit.most.items()} == {use: Decimal(text) for use, text in most.items()}, source
    assert limit.as_acid == as_acid
    assert limit.source.looked_up


@pytest.mark.parametrize(("salt", "acid", "percent"), [("Sodium Benzoate", "eu-v-1", "0.59"), ("Potassium Sorbate", "eu-v-4", "0.8038")])
def test_a_salt_comes_to_its_limit_at_the_published_percent(salt: str, acid: str, percent: str) -> None:
    """Sodium benzoate x 0.8475 and potassium sorbate x 0.7464, to four decimals: molar masses of the acid over the salt."""
    limit, of, whole = BY_ID[acid], known(BY_ID[acid].as_acid), known(salt)
    assert of
    assert whole
    assert whole.acid
    share = Fraction(percent) * whole.acid[1] * Fraction(of.molar_mass) / Fraction(whole.molar_mass)
    assert round(share, 4) == Fraction(limit.most.get("leave-on", limit.most.get("", "")))


@pytest.mark.parametrize(("id", "salt", "share"), [
    # 0.2 % as free sulfur dioxide (64.064 g/mol), 0.3 % as chlorhexidine (505.45), 6 % as ammonia (17.031)
    ("eu-v-9-sodium-metabisulfite", Fraction("190.11"), Fraction("0.2") / (2 * Fraction("64.064"))),
    ("eu-v-9-sodium-bisulfite", Fraction("104.06"), Fraction("0.2") / Fraction("64.064")),
    ("eu-v-9-sodium-sulfite", Fraction("126.04"), Fraction("0.2") / Fraction("64.064")),
    ("eu-v-9-potassium-metabisulfite", Fraction("222.32"), Fraction("0.2") / (2 * Fraction("64.064"))),
    ("eu-v-42-digluconate", Fraction("897.76"), Fraction("0.3") / Fraction("505.45")),
    ("eu-v-42-diacetate", Fraction("625.55"), Fraction("0.3") / Fraction("505.45")),
    ("eu-v-42-dihydrochloride", Fraction("578.37"), Fraction("0.3") / Fraction("505.45")),
    ("eu-iii-4-hydroxide", Fraction("35.05"), Fraction(6) / Fraction("17.031")),
    # 12 % and 4 % as hydrogen peroxide (34.015)
    ("eu-iii-12-urea", Fraction("94.07"), Fraction(12) / Fraction("34.015")),
    ("eu-iii-12-urea-skin", Fraction("94.07"), Fraction(4) / Fraction("34.015")),
])  # fmt: skip
def test_limits_expressed_as_another_substance_are_converted(id: str, salt: Fraction, share: Fraction) -> None:
    most = Fraction(BY_ID[id].most[""])
    assert most <= salt * share < most + Fraction(1, 100)


def test_dehydroacetic_acid_in_a_pump_spray_is_a_question() -> None:
    limit = BY_ID["eu-v-13"]
    assert "spray" in limit.asks
    assert "spray" not in limit.most


def test_what_must_not_be_claimed_as_a_ban_is_a_caution() -> None:
    assert BY_ID["eu-ii-358"].level == "caution"
    assert BY_ID["us-cir-aha"].level == "caution"
    assert BY_ID["us-cir-aha"].ph == ("3.5", "14")


def test_hydroxides_are_bound_by_ph_and_not_by_percent() -> None:
    for id in ("eu-iii-15a", "eu-iii-15c"):
        assert not BY_ID[id].most
        assert BY_ID[id].ph == ("0", "11")


@pytest.mark.parametrize("id", ["eu-ii-parabens", "eu-ii-zinc-pyrithione", "eu-ii-methyldibromo-glutaronitrile", "eu-ii-quaternium-15"])
def test_what_old_recipes_still_hold_and_is_prohibited(id: str) -> None:
    assert BY_ID[id].most == {"": "0"}
    assert BY_ID[id].level == "stop"


def test_what_american_law_prohibits_the_european_one_does_not_pass_over() -> None:
    banned = [m for limit in LIMITS if limit.rules == "us" and "0" in limit.most.values() for m in limit.members]
    propellants = BY_ID["us-700-23"].members  # not allowed as such, by a law that is none of cosmetics
    assert [m for m in banned if m not in propellants and not [x for x in limits_of(m) if x.rules == "eu"]] == []


@pytest.mark.parametrize("name", NAMES)
def test_a_name_counts_towards_its_limits(name: str) -> None:
    assert {limit.id for limit in limits_of(name)} == NAMES[name]


@pytest.mark.parametrize("name", NO_SALTS)
def test_an_ester_is_not_taken_for_a_salt(name: str) -> None:
    assert not limits_of(name)


def test_the_silence_of_us_law_is_said() -> None:
    assert "21 CFR 700" in US_SILENCE
    assert not US_SILENCE.endswith(".")
