"""Checks of what is written: the file and its total, names, words for functions, locked plans."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.contents import Content
from fvc.formula import PREMIX
from fvc.material import FUNCTIONS, inci_key
from fvc.names import nearest
from fvc.reference.lookup import label_name, name_is_known, names_like
from fvc.rules.case import Case, Outcome, listed, place_of, where_of
from fvc.rules.finding import CAUTION, NOTE, STOP, Finding, NotChecked

# Other words for the same, as makers and suppliers write them.
OTHER_WORDS = {
    "antimicrobial": "preservative",
    "antibacterial": "preservative",
    "carrier oil": "emollient",
    "oil": "emollient",
    "vegetable oil": "emollient",
    "butter": "emollient",
    "perfume": "fragrance",
    "parfum": "fragrance",
    "scent": "fragrance",
    "colorant": "colourant",
    "dye": "colourant",
    "pigment": "colourant",
    "moisturiser": "humectant",
    "moisturizer": "humectant",
    "gelling agent": "thickener",
    "viscosity agent": "thickener",
    "acid": "pH adjuster",
    "base": "pH adjuster",
    "chelating agent": "chelator",
    "detergent": "surfactant",
    "solubilizer": "solubiliser",
    "floral water": "hydrosol",
}

FILE_RULE = "the file formats of fvc"
PLAN_RULE = "a plan is closed: its lines total 100 and every material has a record"


def check_structure(case: Case) -> Outcome:
    """The file can be read, every material is known, the lines total exactly 100."""
    for fault in case.reading.faults:
        rule, source = ("file", FILE_RULE) if fault in case.reading.in_records else ("closed", PLAN_RULE)
        yield Finding(STOP, place_of(fault), rule, fault.message, source, fault.next)
    for fault in case.reading.warnings:
        yield Finding(CAUTION, place_of(fault), "file", fault.message, FILE_RULE, fault.next)
    if not case.uses and case.stands_in == ():
        yield Finding(
            CAUTION,
            "use",
            "use",
            "the plan names no use and stands in no other plan, so most of the checks were not done",
            "limits go by use",
            'if it is a product, add  use = "leave-on"  or  "rinse-off"',
        )
    open_lines = [a.line for a in case.reading.closure.amounts if a.percent is None]
    for line in open_lines:
        yield NotChecked(
            f"how much {line.material} there is", "its line is open, or waits for one that is, and says nothing of what to expect"
        )


def check_locked(case: Case) -> Outcome:
    """A plan that was saved as locked is still as it was, but for its status."""
    if case.locked:
        yield Finding(
            STOP,
            ", ".join(case.locked[:4]),
            "locked",
            "the plan was saved as locked, and this changed since",
            "only the status of a locked plan may change",
            'put that back, or save it with  status = "chosen"  first and then change it',
        )


def check_inci_names(case: Case) -> Outcome:
    """INCI names are spelled as they are known: a mistyped one is not counted towards any limit."""
    for key, contents in case.contents.by_key.items():
        name = contents[0].inci
        own = [c for c in contents if not c.source]
        if not own or key in case.basis.names:
            continue
        if name_is_known(name):
            proper = label_name(name)
            if proper != name and inci_key(proper) != key and any(c.how == "declared" for c in own):
                yield Finding(
                    NOTE,
                    where_of(c.part for c in own),
                    "inci-name",
                    f'"{name}" stands on a label as {proper}',
                    "list of INCI names in common use, in fvc",
                    f'write "{proper}" in the record, so that all of it is summed under one name',
                    _ids(own),
                )
            continue
        near = names_like(name)
        declared = any(c.how == "declared" for c in own)
        if not near and not declared:
            continue  # a constituent that nobody asks about
        mend = f"did you mean {' or '.join(near)}?" if near else ""
        vouch = "if the name is right, add it to  inci_names = [...]  in formulary.toml"
        yield Finding(
            CAUTION,
            where_of(c.part for c in own),
            "inci-name",
            f'"{name}" is not an INCI name that fvc knows, so no limit and no label rule can find it',
            "list of INCI names in common use, in fvc",
            f"{mend} {vouch}".strip(),
            _ids(own),
        )


def _ids(contents: Sequence[Content]) -> str:
    """The ids of the materials that a finding about a record is about."""
    return " ".join(dict.fromkeys(c.part.id for c in contents))


def check_functions(case: Case) -> Outcome:
    """Functions are in words that the checks know: a mistyped "preservitive" preserves nothing for them."""
    known = [*FUNCTIONS, PREMIX]
    seen: set[tuple[str, str]] = set()
    for part in case.parts:
        for function in part.material.functions if part.material else ():
            if (part.id, function) in seen or function.casefold() in {k.casefold() for k in known}:
                continue
            seen.add((part.id, function))
            meant = OTHER_WORDS.get(function.casefold()) or next(iter(nearest(function.casefold(), known, 1)), "")
            yield Finding(
                CAUTION if meant else NOTE,
                where_of([part]),
                "function-name",
                f'the function "{function}" is not a word that checks and totals know',
                "words of the trade, in fvc",
                f'write "{meant}"' if meant else f"if one of these says it too, add it: {', '.join(FUNCTIONS)}",
                part.id,
            )
    nameless = [p for p in case.parts if p.material and not p.material.functions]
    if nameless:
        yield NotChecked(f"what {listed(nameless)} is for", "its record names no function, and several checks go by function")


__all__ = [
    "check_functions",
    "check_inci_names",
    "check_locked",
    "check_structure",
]
