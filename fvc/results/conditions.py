"""Has this been tried before? Conditions as typed, `sodium-pca > 2` or `clarity = cloudy`, and what meets them."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from fvc.amounts import ZERO, brief, number
from fvc.compare.lessons import ALIKE
from fvc.composition import composition_of, parts_of
from fvc.errors import Refusal
from fvc.formula import PREMIX
from fvc.material import NOTHING, Share, certain, inci_key
from fvc.names import nearest, printable, suggestion
from fvc.reading import Reading
from fvc.reference.lookup import name_is_known
from fvc.results.records import Case, Looked, Records
from fvc.schedule import stood
from fvc.seeing import CLARITY, CONDITIONS, seen_from
from fvc.trial import SALE_VERDICTS, VERDICTS, WEIGHINGS, Seen
from fvc.variants import SET_ASIDE

PROPERTIES = ("ph", "clarity", "separation", "colour", "odour", "viscosity")  # that a lesson can be about
SPELLED = {"color": "colour", "odor": "odour"}
NO_VERDICT = "none"


_COMPARE: dict[str, Callable[[Fraction, Fraction], bool]] = {
    "<": operator.lt, "<=": operator.le, ">": operator.gt, ">=": operator.ge, "=": operator.eq, "!=": operator.ne,
}  # fmt: skip
_FORM = re.compile(r'\s*(?:"([^"]+)"|([^<>=!"]+?))\s*(<=|>=|!=|=|<|>)\s*([^<>=!]+?)\s*')
_EXAMPLE = 'for example  --only "sodium-pca > 2"  or  --only "clarity = cloudy"'
_IN_ORDER = ("ph", "day", "clarity", "viscosity")  # what was seen and can be more or less


class Sought(NamedTuple):
    """One condition. kind: material, function, inci, look, where or verdict; what: which of them.

    number: what it is compared with; None for a word.
    """

    kind: str
    what: str
    op: str
    word: str
    number: Fraction | None = None


class Known(NamedTuple):
    """The words that a condition may use, in the records at hand."""

    materials: frozenset[str]
    functions: Mapping[str, str]
    inci: Mapping[str, str]
    conditions: tuple[str, ...]
    clarities: tuple[str, ...]


def known_in(records: Records) -> Known:
    """The words that a condition on these records may use."""
    now = records.archive.now
    trials = [case.trial for case in records.cases if case.trial]
    found = [m for id in now.materials() if (m := now.ingredient(id)[0])] + [m for t in trials for m in t.materials.values()]
    ids = {*now.materials(), *now.formulas(), *(a.material for t in trials for a in t.asked), *(m for t in trials for m in t.materials)}
    seen = [e.seen for t in trials for e in t.seen if e.seen]
    return Known(
        frozenset(ids),
        {f.casefold(): f for m in found for f in m.functions} | {PREMIX: PREMIX},
        {inci_key(name): name for m in found for name in m.composition or ()},
        tuple(dict.fromkeys([*records.schedule.conditions, *CONDITIONS, *(s.condition for s in seen)])),
        tuple(dict.fromkeys([*CLARITY, *(s.clarity.casefold() for s in seen if s.clarity)])),
    )


def sought(known: Known, text: str) -> Sought:
    """A condition taken apart. Refusal for what is none, and for a word that is not known, with the nearest."""
    match = _FORM.fullmatch(text)
    if match is None:
        what = f'--only "{printable(text)}" cannot be read: expected WHAT, one of = != < <= > >=, and a number or a word'
        raise Refusal(what, next=_EXAMPLE)
    quoted, plain, op, right = match.groups()
    word = " ".join(right.strip("\"'").split())
    kind, what = ("inci", quoted) if quoted else _kind(plain, known)
    if kind == "inci" and not (inci_key(what) in known.inci or name_is_known(what)):
        hint = suggestion(what, known.inci.values(), "fvc material show MATERIAL  lists what one declares")
        raise Refusal(f'no material here declares "{printable(what)}"', next=hint)
    if kind in ("material", "function", "inci") or what in ("ph", "day") or (what == "viscosity" and op not in ("=", "!=")):
        try:
            return Sought(kind, what, op, word, number(word.removesuffix("%").strip()).value)
        except ValueError as error:
            raise Refusal(f'--only "{printable(text)}": "{printable(word)}": {error}', next=_EXAMPLE) from None
    if op not in ("=", "!=") and what not in _IN_ORDER:
        raise Refusal(f'--only "{printable(text)}": {what} has no order', next=f'write  --only "{what} = {printable(word)}"')
    return Sought(kind, what, op, word_of(what, word, known))


def _kind(left: str, known: Known) -> tuple[str, str]:
    low = " ".join(left.casefold().split())
    low = SPELLED.get(low, low)
    kinds = {"verdict": "verdict", "condition": "where", "day": "where"} | dict.fromkeys((*PROPERTIES, "spray"), "look")
    if low in kinds:
        return kinds[low], low
    if low in known.materials:
        return "material", low
    if low in known.functions:
        return "function", known.functions[low]
    if inci_key(left) in known.inci:
        return "inci", known.inci[inci_key(left)]
    hint = suggestion(low, [*known.materials, *known.functions, *kinds], f"a material, a function, an INCI name, or {', '.join(kinds)}")
    raise Refusal(f'"{printable(left)}" is no material, function or property known here', next=hint)


def word_of(what: str, word: str, known: Known) -> str:
    """The word of a condition as records have it. Refusal for one that none can have."""
    low = word.casefold()
    if what == "verdict":
        return one_of(what, low.replace("-", " "), (*VERDICTS, *SALE_VERDICTS, NO_VERDICT))
    if what == "clarity":
        return seen_from(low.split()).clarity or one_of(what, low, known.clarities)
    if what == "separation":
        return seen_from(low.split()).separation or low
    if what == "condition" and not any(stood(each, low) for each in known.conditions):
        return one_of(what, low, known.conditions)
    return low


def one_of(what: str, word: str, words: Sequence[str]) -> str:
    """The word itself. Refusal for one that is not among `words`, with the nearest."""
    if word in words:
        return word
    near = nearest(word, words)
    raise Refusal(f'no {what} "{printable(word)}"', next=f"did you mean {' or '.join(near)}?" if near else f"one of: {', '.join(words)}")


def meets(case: Case, conditions: Sequence[Sought]) -> tuple[str, ...] | None:
    """What of a row meets all conditions, in words; None where one does not hold. Raises Refusal where one cannot be told."""
    where = [c for c in conditions if c.kind == "where"]
    looks = [look for look in case.looks if all(_stands(look, c) for c in where)]
    if where and not looks:
        return None
    found: list[str] = []
    unsure: Refusal | None = None
    if where and not any(c.kind == "look" for c in conditions):
        found += [_look_words(look, look.entry.subject) for look in looks]
    for condition in conditions:
        if condition.kind == "look":
            those = [look for look in looks if _says(look.seen, condition)]
            if not those:
                return None
            found += [_look_words(look, f"{property_words(condition.what)} {said(look.seen, condition.what)}") for look in those]
        elif condition.kind == "verdict":
            verdict = (case.trial.verdict or NO_VERDICT) if case.trial else _set_aside(case.reading)
            if not verdict or (verdict == condition.word) != (condition.op == "="):
                return None
            found.append(f"verdict {verdict}")
        elif condition.kind != "where":
            if case.trial is not None and not any(e.action in WEIGHINGS for e in case.trial.entries):
                return None  # only begun: it holds nothing yet
            try:
                share = _share(case.reading, condition)
                if not _compares(share, condition):
                    return None
            except Refusal as refusal:
                unsure = refusal
                continue
            found.append(f"{condition.what} {_share_words(share)} % {'as made' if case.trial else 'in the plan'}")
    if unsure is not None:
        raise unsure
    return tuple(dict.fromkeys(found))


def _set_aside(planned: Reading) -> str:
    """Of a variant that was not made: `set aside` where it is, else ""."""
    about = planned.plan.variant
    return SET_ASIDE if about is not None and about.state == SET_ASIDE else ""


def _stands(look: Looked, condition: Sought) -> bool:
    if condition.number is not None:
        return _COMPARE[condition.op](Fraction(look.day), condition.number)
    return stood(look.seen.condition, condition.word) == (condition.op == "=")


def property_words(what: str) -> str:
    """How a property is written."""
    return "pH" if what == "ph" else what


def said(seen: Seen, what: str) -> str:
    """What was seen of a property, as typed; "" for what was not looked at."""
    if what == "ph":
        return seen.ph.text if seen.ph else ""
    return str(getattr(seen, what))


def _look_words(look: Looked, text: str) -> str:
    return f"day {look.day}, {look.seen.condition}: {text}"


def _says(seen: Seen, condition: Sought) -> bool:
    value = said(seen, condition.what)
    if not value:
        return False
    if condition.number is not None:
        figure = figure_of(value)[0]
        return figure is not None and _COMPARE[condition.op](figure, condition.number)
    low = value.casefold()
    if condition.op in ("=", "!="):
        exact = condition.what == "clarity"  # a slight haze is no haze; an amber may be pale
        same = low == condition.word if exact else re.search(rf"(?<!\w){re.escape(condition.word)}(?!\w)", low) is not None
        return same == (condition.op == "=")
    ranks = [Fraction(CLARITY.index(word)) for word in (low, condition.word) if word in CLARITY]
    return len(ranks) == 2 and _COMPARE[condition.op](*ranks)


_FIGURE = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*(.*)")


def figure_of(text: str) -> tuple[Fraction | None, str]:
    """The figure at the beginning of a text, and what stands behind it; None where it begins with none."""
    match = _FIGURE.match(text)
    return (Fraction(match[1]), match[2].casefold()) if match else (None, "")


def _share(reading: Reading, condition: Sought) -> Share:
    """How much a reading holds of what a condition names, in percent; what is in premixes counts."""
    if condition.kind == "inci":
        inside = composition_of(reading)
        named, rest = inside.share(condition.what) or NOTHING, inside.undeclared
        return Share(None, named.low, named.high + rest.high) if rest.high else named
    parts = parts_of(reading)
    lines = reading.closure.amounts
    if condition.kind == "material":
        own = [a.counted for a in lines if a.line.material == condition.what]
        return certain(sum([*own, *(p.percent for p in parts if p.through and p.id == condition.what)], ZERO))
    if condition.what == PREMIX:
        return certain(sum((a.counted for a in lines if (m := reading.materials.get(a.line.material)) and m.nested), ZERO))
    return certain(sum((p.percent for p in parts if p.material and p.material.function == condition.what), ZERO))


def _compares(share: Share, condition: Sought) -> bool:
    """Whether a share meets a condition; `=` and `!=` allow the 1 % within which a batch is as asked. Refusal where it cannot be told."""
    assert condition.number is not None
    wanted = condition.number

    def holds(value: Fraction) -> bool:
        if condition.op in ("=", "!="):
            return (abs(value - wanted) <= ALIKE * wanted) == (condition.op == "=")
        return _COMPARE[condition.op](value, wanted)

    if share.nominal is not None:
        return holds(share.nominal)
    answers = {holds(share.low), holds(share.high)}
    if len(answers) > 1 or (condition.op in ("=", "!=") and share.low < wanted < share.high):
        raise Refusal(f"how much {condition.what} it holds is not known: {brief(share.low)} to {brief(share.high)} %")
    return answers.pop()


def _share_words(share: Share) -> str:
    return brief(share.nominal) if share.nominal is not None else f"{brief(share.low)} to {brief(share.high)}"
