"""Finding a published figure by an INCI name, however it is spelled or whichever of its names is used."""

from __future__ import annotations

from functools import cache

from fvc.material import inci_key
from fvc.reference.allergens import LISTS, Allergen, AllergenList
from fvc.reference.limits import LIMITS, Limit
from fvc.reference.oils import FIXED, FIXED_OF, OILS, Oil
from fvc.reference.substances import HYDRATES, SUBSTANCES, Hydrate, Known

# The tables spell each name with single blanks (a test holds them to it), so that casefolding alone is
# their key: `inci_key` for some two thousand names would take longer than all look-ups of a run.


@cache
def _substances() -> dict[str, Known]:
    by_synonym = {name.casefold(): s for s in SUBSTANCES for name in s.synonyms}
    return by_synonym | {s.inci.casefold(): s for s in SUBSTANCES}


@cache
def _oils() -> dict[str, Oil]:
    return {name.casefold(): oil for oil in OILS for name in oil.inci}


@cache
def _limits() -> dict[str, tuple[Limit, ...]]:
    found: dict[str, list[Limit]] = {}
    for limit in LIMITS:
        for member in limit.members:
            found.setdefault(member.casefold(), []).append(limit)
    return {key: tuple(limits) for key, limits in found.items()}


# First words of the names of salts: "Lithium Benzoate" is one, "Benzyl Benzoate" is an ester.
# With the charge of each, which is how many of a simple acid it binds.
_CATIONS = {
    "aluminum": 3, "ammonium": 1, "calcium": 2, "lithium": 1, "magnesium": 2, "potassium": 1, "sodium": 1, "strontium": 2, "zinc": 2,
}  # fmt: skip
_AMINES = ("mea-", "dea-", "tea-", "tromethamine-")


@cache
def _by_acid() -> dict[str, tuple[Limit, ...]]:
    found: dict[str, list[Limit]] = {}
    for limit in LIMITS:
        if limit.salt_of:
            found.setdefault(inci_key(limit.as_acid), []).append(limit)
    return {acid: tuple(limits) for acid, limits in found.items()}


@cache
def _acid_by_ending() -> dict[str, str]:
    return {limit.salt_of.casefold(): inci_key(limit.as_acid) for limit in LIMITS if limit.salt_of}


@cache
def _members(key: str) -> dict[str, Allergen]:
    return {member.casefold(): entry for each in LISTS if each.key == key for entry in each.entries for member in entry.members}


def known(inci: str) -> Known | None:
    """The substance of an INCI name or a synonym; None when it is not in fvc."""
    return _substances().get(inci_key(inci))


@cache
def _hydrates() -> dict[str, Hydrate]:
    return {name.casefold(): hydrate for hydrate in HYDRATES for name in (hydrate.name, *hydrate.synonyms)}


def hydrate_named(name: str) -> Hydrate | None:
    """The form with water of crystallisation that a supplier's name means, `Sodium citrate, dihydrate (fine)`; None for none.

    What stands behind a comma or in brackets may be part of the name, or say something else of it.
    """
    plain = name.partition("(")[0]
    first = plain.partition(",")[0]
    for text in (plain.replace(",", " "), " ".join(plain.split(",")[:2]), first, first.replace("-", " ")):
        if found := _hydrates().get(inci_key(text)):
            return found
    return None


def oil_named(inci: str) -> Oil | None:
    """The essential oil of an INCI name; None when fvc has no typical values for it."""
    return _oils().get(inci_key(inci))


def is_fixed(inci: str) -> bool:
    """True for a fat oil by its INCI name, which is no essential oil: it has fatty acids inside, and hardly a scent."""
    key = inci_key(inci)
    return key in FIXED or (
        " ".join(key.split()[:2]) in FIXED_OF and not {"flower", "leaf", "root", "wood", "bark", "peel"} & set(key.split())
    )


def limits_of(inci: str) -> tuple[Limit, ...]:
    """The limits that an INCI name counts towards, by any of its names; those of its acid for a salt that is not listed."""
    key = inci_key(inci)
    for name in _names_of(key):
        if found := _limits().get(name):
            return found
    substance = _substances().get(key)
    if substance is not None:
        return _by_acid().get(inci_key(substance.acid[0]), ()) if substance.acid else ()
    found_acid = salt_words(inci)
    return _by_acid().get(found_acid[0], ()) if found_acid else ()


def salt_words(inci: str) -> tuple[str, int] | None:
    """For the name of a salt of a limited acid that no table lists: the key of the acid, and how many of it a formula unit yields."""
    first, _, last = inci_key(inci).rpartition(" ")
    if first in _CATIONS and last in _acid_by_ending():
        return _acid_by_ending()[last], _CATIONS[first]
    amine = next((a for a in _AMINES if inci_key(inci).startswith(a)), None)
    ending = inci_key(inci)[len(amine) :] if amine else ""
    return (_acid_by_ending()[ending], 1) if ending in _acid_by_ending() else None


@cache
def _names_of(key: str) -> tuple[str, ...]:
    """The keys of the names that a substance has: as written, its INCI name, its name on the lists of allergens."""
    names = [key]
    if (substance := _substances().get(key)) is not None:
        names.append(inci_key(substance.inci))
    for each in LISTS:
        entry = _members(each.key).get(key)
        if entry is not None and not entry.whole:
            names.append(inci_key(entry.name))
    return tuple(dict.fromkeys(names))


def same_substance(one: str, other: str) -> bool:
    """True when two names mean one substance, or one of them the group that the other belongs to (Pinene, Alpha-Pinene).

    Two members of one group (Alpha-Pinene, Beta-Pinene) are two substances.
    """
    first, second = inci_key(one), inci_key(other)
    return first == second or first in _names_of(second) or second in _names_of(first)


def allergen(inci: str, listed: AllergenList) -> Allergen | None:
    """The entry of a list that an INCI or chemical name counts towards."""
    return _members(listed.key).get(inci_key(inci))


@cache
def name_is_known(inci: str) -> bool:
    """True for a name of a substance, oil, constituent or allergen in fvc, or one in common use."""
    return inci_key(inci) in _names()


@cache
def _names() -> dict[str, str]:
    from fvc.reference.inci import NAMES, US_NAMES

    names = [*US_NAMES.values(), *NAMES, *(s.inci for s in SUBSTANCES), *(n for s in SUBSTANCES for n in s.synonyms)]
    names += [n for oil in OILS for n in (*oil.inci, *oil.constituents)]
    names += [m for each in LISTS for entry in each.entries for m in (entry.name, *entry.members)]
    names += [m for limit in LIMITS for m in limit.members]
    return {inci_key(name): name for name in names}


def has_colour_index(inci: str) -> bool:
    """True for `CI 77891`, the form in which a colour stands on a label."""
    word, _, number = inci.strip().partition(" ")
    return word.upper() == "CI" and number.replace(":", "").isdigit()


def label_name(inci: str) -> str:
    """The name under which labels have a substance that is written by another of its names; others as they are.

    A colour index stays: it is the label's own name for a colourant.
    """
    if has_colour_index(inci):
        return inci
    substance = _substances().get(inci_key(inci))
    return inci if substance is None or inci_key(substance.inci) == inci_key(inci) else substance.inci


@cache
def _proper_names() -> dict[str, str]:
    """Names that a record may well use: labels' names, and constituents as analyses name them; no synonyms."""
    from fvc.reference.inci import NAMES

    names = [*NAMES, *(s.inci for s in SUBSTANCES), *(n for oil in OILS for n in (oil.inci[0], *oil.constituents))]
    return {inci_key(name): name for name in [*names, *(entry.name for each in LISTS for entry in each.entries)]}


@cache
def names_like(inci: str) -> tuple[str, ...]:
    """Known names most like a mistyped one, best first; empty when none is near."""
    from difflib import get_close_matches

    key = inci_key(inci)
    names = _proper_names()
    # comparing with all of some two thousand names takes 15 ms, and a folder may hold hundreds of unknown ones
    like = [n for n in names if 5 * abs(len(n) - len(key)) <= 2 * len(key) and (n[:1] == key[:1] or n[-4:] == key[-4:])]
    return tuple(names[key] for key in get_close_matches(key, like, n=2, cutoff=0.8))


@cache
def us_name(inci: str) -> str:
    """The form of a name that an American label uses."""
    return "Water" if inci_key(inci) == "aqua" else _us_names().get(inci_key(inci), inci)


@cache
def _us_names() -> dict[str, str]:
    from fvc.reference.inci import US_NAMES

    return {inci_key(eu): us for eu, us in US_NAMES.items()}
