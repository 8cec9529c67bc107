"""Looking at a batch: one line of typing taken apart, and what was seen held against the spec."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import celsius, fraction, number, why_not_a_number
from fvc.errors import Refusal
from fvc.names import printable
from fvc.trial import Seen

# From see-through to not at all; the word that is recorded, and others that mean it.
CLARITY = ("clear", "slightly hazy", "hazy", "cloudy", "opaque")
_CLARITY_WORDS = {
    "clear": "clear", "hazy": "hazy", "haze": "hazy", "cloudy": "cloudy", "turbid": "cloudy", "milky": "opaque", "opaque": "opaque",
}  # fmt: skip
SEPARATION = ("none", "ring", "layer", "creaming", "sediment", "crystals", "separated")
_OWN_WORDS = {"colour": "colour", "color": "colour", "odour": "odour", "odor": "odour", "viscosity": "viscosity", "spray": "spray"}
CONDITIONS = ("room", "fridge", "warm", "light", "freeze-thaw")

PASS, BORDERLINE, FAIL = "pass", "borderline", "fail"
# How far a reading may be from what it says; common practice without source (a strip steps by 0.5 or less).
_SURE_TO = {"strip": Fraction(1, 4)}
_METER = Fraction(1, 20)


def sure_to(by: str) -> Fraction:
    """How far a pH that was read may be off. by: `meter`, `strip`, or "" where nobody said, which is taken for a meter."""
    return _SURE_TO.get(by, _METER)


class Judged(NamedTuple):
    """One property that was seen, held against the spec: pass, borderline or fail. asked: what the spec says."""

    what: str
    value: str
    verdict: str
    asked: str


# --- one line of typing -----------------------------------------------------------------------------


def seen_from(words: Sequence[str], conditions: Sequence[str] = ()) -> Seen:
    """`clear pH 4.82`, `fridge cloudy, ring`, `odour of hay, layer 3 mm`: what the words say of each property.

    conditions: names that the formulary uses beyond the common ones. What is not understood stays in the words
    of the entry alone. Raises Refusal for a pH that is none. Not understood on purpose: clarity and separation
    between two commas where a word takes them back ("not very clear", "almost clear"), except "no separation".
    """
    tokens = _tokens(" ".join(words))
    known = {c.lower(): c for c in (*CONDITIONS, *conditions)}
    found: dict[str, object] = {}
    hedged = _hedged(tokens)
    i = 0
    while i < len(tokens):
        low = tokens[i].lower()
        after = tokens[i + 1].lower() if i + 1 < len(tokens) else ""
        if low in ("no", "without") and (after.startswith("separat") or after in SEPARATION):
            found["separation"] = "none"
            i += 2
        elif low.startswith("separation") and after in SEPARATION:
            found["separation"] = after
            i += 2
        elif i in hedged and (low in _CLARITY_WORDS or low in ("slightly", "slight", "layer", *SEPARATION[1:])):
            i += 1
        elif low == "ph":
            i = _ph(tokens, i + 1, found)
        elif (low == "slightly" and after in ("hazy", "cloudy")) or (low == "slight" and after == "haze"):
            found["clarity"] = "slightly hazy"
            i += 2
        elif low in _OWN_WORDS:
            i = _phrase(tokens, i + 1, found, _OWN_WORDS[low], known)
        elif low == "layer":
            i = _layer(tokens, i + 1, found)
        elif low in _CLARITY_WORDS:
            found["clarity"] = _CLARITY_WORDS[low]
            i += 1
        elif low in SEPARATION[1:]:
            found["separation"] = low
            i += 1
        elif low in ("meter", "strip"):
            found["ph_by"] = low
            i += 1
        elif low == "day" and after.isdigit():
            found["day"] = int(after)
            i += 2
        elif low in known:
            i = _condition(tokens, i, found, known[low])
        else:
            i += 1
    return Seen(**found)  # type: ignore[arg-type]


def _tokens(text: str) -> list[str]:
    """Words, with commas and semicolons as words of their own; `pH=4.82`, `ph4.8` and `3mm` come apart."""
    text = re.sub(r"(?i)\bph\s*[=:]?\s*(?=[0-9-])", "pH ", text)
    text = re.sub(r"(?i)\bday\s*(?=[0-9])", "day ", text)
    return re.findall(r"[,;]|[^\s,;]+", text)


def nearly_understood(words: Sequence[str]) -> list[tuple[str, str]]:
    """(word as typed, the word that was probably meant) for slips of the keyboard in what is looked for."""
    from difflib import get_close_matches

    known = [*_CLARITY_WORDS, *_OWN_WORDS, *SEPARATION[1:], "separation", "slightly"]
    tokens = [t.lower() for t in _tokens(" ".join(words)) if len(t) > 3 and t.isalpha() and t.lower() not in known]
    return [(t, near[0]) for t in tokens if (near := get_close_matches(t, known, 1, 0.8))]


# Words that take back, or half take back, what stands beside them up to the next comma.
_HEDGES = {"not", "no", "never", "without", "almost", "nearly", "hardly", "barely", "longer", "gone", "less", "more", "isn't", "wasn't"}


def _hedged(tokens: Sequence[str]) -> set[int]:
    """The places between two commas where a word hedges."""
    out: set[int] = set()
    start = 0
    for end in [i for i, t in enumerate(tokens) if t in (",", ";")] + [len(tokens)]:
        if _HEDGES & {t.lower() for t in tokens[start:end]}:
            out |= set(range(start, end))
        start = end + 1
    return out


def _ph(tokens: Sequence[str], at: int, found: dict[str, object]) -> int:
    text = tokens[at] if at < len(tokens) else ""
    if not re.search("[0-9]", text):  # "pH unchanged": words, no reading
        return at
    if text and at + 2 < len(tokens) and tokens[at + 1] == "," and tokens[at + 2].isdigit():
        text += "," + tokens[at + 2]
    reason = why_not_a_number(text) if text else "no number follows"
    if reason or fraction(text) > 14:
        raise Refusal(f'pH "{printable(text)}" cannot be read: {reason or "it is above 14"}', next="for example  pH 4.82")
    found["ph"] = number(text)
    at += 1
    if at < len(tokens) and tokens[at].lower() in ("meter", "strip"):  # before the temperature as well as behind it
        found["ph_by"] = tokens[at].lower()
        at += 1
    if at < len(tokens) and tokens[at].lower() == "at" and at + 1 < len(tokens):
        for length in (2, 1):
            words = "".join(tokens[at + 1 : at + 1 + length])
            try:
                celsius(words)
            except ValueError:
                continue
            found["temperature"] = " ".join(tokens[at + 1 : at + 1 + length])
            return at + 1 + length
    return at


def _phrase(tokens: Sequence[str], at: int, found: dict[str, object], what: str, known: Mapping[str, str]) -> int:
    """The words behind `colour` and such, up to a comma or the next property."""
    ends = {"ph", "layer", *_OWN_WORDS, *SEPARATION[1:], *_CLARITY_WORDS, *known} - {"light", "warm"}  # a light yellow, a warm smell
    ends -= {"clear"} if what == "colour" else set()
    start = at
    while at < len(tokens) and tokens[at] not in (",", ";") and tokens[at].lower() not in ends:
        at += 1
    if at > start:
        found[what] = " ".join(tokens[start:at])
    return at


def _layer(tokens: Sequence[str], at: int, found: dict[str, object]) -> int:
    match = re.fullmatch(r"(?i)([0-9.]+)(mm)?", tokens[at]) if at < len(tokens) else None
    if match is None or why_not_a_number(match[1]):
        found["separation"] = "layer"
        return at
    found["separation"] = f"layer {match[1]} mm"
    return at + (2 if not match[2] and at + 1 < len(tokens) and tokens[at + 1].lower() == "mm" else 1)


def _condition(tokens: Sequence[str], at: int, found: dict[str, object], name: str) -> int:
    found["condition"] = name
    if name == "freeze-thaw":
        more = at + 1
        if more < len(tokens) and tokens[more].lower() == "cycle":
            more += 1
        if more < len(tokens) and tokens[more].isdigit():
            found["condition"] = f"freeze-thaw {tokens[more]}"
            return more + 1
    return at + 1


# --- against the spec -------------------------------------------------------------------------------


def judged(seen: Seen, spec: Mapping[str, object]) -> tuple[Judged, ...]:
    """What was seen of each property that the spec names. Texts that cannot be compared are left to the maker's eye."""
    out: list[Judged] = []
    asked = spec.get("ph")
    if seen.ph is not None and isinstance(asked, tuple):
        low, high = asked
        sure = ph_sure_to(seen)
        value = seen.ph.value
        near = min(abs(value - low.value), abs(value - high.value)) < sure
        inside = low.value <= value <= high.value
        out.append(Judged("pH", seen.ph.text, BORDERLINE if near else PASS if inside else FAIL, f"{low.text} to {high.text}"))
    asked = spec.get("clarity")
    if seen.clarity and isinstance(asked, str) and (ranks := _ranks(asked)):
        rank = CLARITY.index(seen.clarity) if seen.clarity in CLARITY else -1
        if rank >= 0:
            off = max(ranks[0] - rank, rank - ranks[-1], 0)
            out.append(Judged("clarity", seen.clarity, PASS if off == 0 else BORDERLINE if off == 1 else FAIL, asked))
    asked = spec.get("separation")
    if seen.separation and isinstance(asked, str):
        allowed = _separations(asked)
        if allowed:
            out.append(Judged("separation", seen.separation, PASS if seen.separation.split()[0] in allowed else FAIL, asked))
    asked = spec.get("viscosity")
    if seen.viscosity and isinstance(asked, str) and (verdict := _measured(seen.viscosity, asked)):
        out.append(Judged("viscosity", seen.viscosity, verdict, asked))
    for what in ("colour", "odour"):
        asked, value_seen = spec.get(what), getattr(seen, what)
        if value_seen and isinstance(asked, str) and value_seen.strip().lower() == asked.strip().lower():
            out.append(Judged(what, value_seen, PASS, asked))
    return tuple(out)


def ph_sure_to(seen: Seen) -> Fraction:
    """How far a pH may be from what was read; that of a meter where nothing says what it was read with."""
    return sure_to(seen.ph_by)


def worst(results: Sequence[Judged]) -> str:
    """The worst verdict of several; "" for none."""
    return max((r.verdict for r in results), key=(PASS, BORDERLINE, FAIL).index, default="")


def _separations(asked: str) -> set[str]:
    """What a spec allows, `none`, `no ring, no layer`, `creaming`; empty where it names nothing known."""
    low = asked.lower()
    named = {word for word in SEPARATION if re.search(rf"(?<!no )\b{word}\b", low)}
    return named | ({"none"} if re.search(r"\b(no|none|without)\b", low) else set())


def _ranks(asked: str) -> list[int]:
    """The clarities that a spec allows, as places in CLARITY: `clear to slightly hazy`; `no haze` is clear."""
    low, denied = re.subn(r"\b(no|not|without)\s+(any\s+)?(haze|hazy|cloudy|cloudiness|turbid|turbidity)\b", "", asked.lower())
    if denied and not any(re.search(rf"\b{word}\b", low) for word in _CLARITY_WORDS):
        return [0]
    found = {CLARITY.index("slightly hazy")} if re.search(r"slight(ly)? haz", low) else set()
    low = re.sub(r"slight(ly)? (hazy|haze)", "", low)
    found |= {CLARITY.index(name) for word, name in _CLARITY_WORDS.items() if re.search(rf"\b{word}\b", low)}
    return sorted(found)


_RANGE = re.compile(r"([0-9.]+)\s*(?:to|-|–)\s*([0-9.]+)\s*(\S*)")


def _measured(value: str, asked: str) -> str:
    """A figure with its unit against a range in the same unit; "" where they cannot be compared."""
    bounds, given = _RANGE.search(asked), re.search(r"([0-9.]+)\s*(\S*)", value)
    if not bounds or not given or given[2].lower() != bounds[3].lower():
        return ""
    texts = (bounds[1], bounds[2], given[1])
    if any(why_not_a_number(t) for t in texts):
        return ""
    low, high, found = (fraction(t) for t in texts)
    return PASS if low <= found <= high else FAIL
