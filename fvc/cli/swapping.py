"""Substituting on paper: swap, stand-ins. The net change comes first; nothing is written unless told."""

from __future__ import annotations

import datetime
from collections.abc import Collection, Sequence
from fractions import Fraction
from typing import Annotated

import typer

from fvc.amounts import brief, exact, figure
from fvc.change.levels import amounts_named
from fvc.change.swap import (
    ACTIVE,
    BASES,
    GIVEN,
    SAME_RATIO,
    Into,
    Terms,
    active_matter,
    hold_from_text,
    into_from_text,
    number_level,
    plain_differences,
    possible,
    ratio_goes_on,
    settled_basis,
    substituted,
)
from fvc.cli.parsing import AsJson, BatchSize, Density, interactive, open_archive, print_json, screen, warn
from fvc.cli.proposal import Draft, Reason, Save, check_can_change, draft_of, settle
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.formula import Amount
from fvc.formulary import material_path
from fvc.material import Material
from fvc.names import nearest, printable

Name = Annotated[str, typer.Argument(metavar="NAME", help="A formula, NAME/VARIANT, or a saved revision to look at or keep as a variant.")]
BasisWord = Annotated[
    str, typer.Option("--basis", metavar="BASIS", help="What stays equal: as-supplied, active, moles, ratio, hlb; or level.")
]
GivenLevel = Annotated[str, typer.Option("--level", metavar="PERCENT", help="The level of what comes in, for the basis level.")]
Balance = Annotated[str, typer.Option("--balance", metavar="MATERIAL", help="The line that takes the difference; else the plan's balance.")]
Function = Annotated[str, typer.Option("--function", metavar="WORD", help="All lines of a function, such as humectant.")]
Hold = Annotated[
    list[str] | None, typer.Option("--hold", metavar="RATIO", help='Hold a line by a ratio afterwards: "polysorbate-20 = 4 x neroli-oil".')
]


def swap(
    name: Name,
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="OLD NEW ...",
            help="What goes (a material, PHASE:MATERIAL, or several with commas), then what comes, with shares if several: glycerin:2 betaine:1.",
        ),
    ],
    basis: BasisWord = "",
    level: GivenLevel = "",
    balance: Balance = "",
    function: Function = "",
    hold: Hold = None,
    save: Save = False,
    reason: Reason = "",
    as_variant: Annotated[str, typer.Option("--as", metavar="VARIANT", help="Keep it as a variant of this id instead.")] = "",
    question: Annotated[str, typer.Option("--question", metavar="TEXT", help="What the variant asks.")] = "",
    expect: Annotated[str, typer.Option("--expect", metavar="TEXT", help="What you expect of it.")] = "",
    batch: BatchSize = "",
    density: Density = "",
    as_json: AsJson = False,
) -> int:
    """Substitute on a stated basis: what goes out, what comes in at what level, and the net change before anything is weighed."""
    if as_variant and (save or reason.strip()):
        raise Refusal("--as keeps a variant, --save and --reason change the plan", next="leave one of them")
    if (question or expect) and not as_variant:
        raise Refusal("--question and --expect go with a variant", next="add  --as VARIANT")
    draft = draft_of(open_archive(), name)
    if save or reason.strip():
        check_can_change(draft)
    out = [] if function else words[0].split(",")
    if not function and len(words) < 2:
        raise Refusal("what comes in?", next=f"fvc swap {name} {words[0]} NEW;  fvc stand-ins {name} {words[0]}  shows what could")
    comes = into_from_text(words if function else words[1:])
    draft = draft.knowing([i.material for i in comes])
    old = amounts_named(draft.before, out, function)
    materials = draft.materials([i.material for i in comes])
    terms = Terms(
        level=number_level(level) if level else None,
        decimals=draft.archive.now.settings().decimals,
        holds=tuple(hold_from_text(h) for h in hold or ()),
        balance=balance,
    )
    chosen, lead = _basis(draft, old, comes, materials, basis, terms, as_json)
    change = substituted(draft.before, old, comes, chosen, materials, terms)
    notes = [*change.notes, *_forms(draft, old, [i.material for i in comes], materials)]
    if as_variant:
        from fvc.cli.variants import keep_as_variant

        asked = question or _question(old, [i.material for i in comes])
        return keep_as_variant(draft, change.edits, as_variant, asked, expect, lead=lead, notes=notes, as_json=as_json)
    ids = {*(a.line.material for a in old), *(i.material for i in comes)}
    goes, enters = (
        active_matter([a for a in side.closure.amounts if a.line.material in ids], side.materials) for side in (draft.before, change.after)
    )
    extra = {
        "basis": chosen,
        "levels": [{"material": m, "percent": exact(v)} for m, v in change.levels],
        "active": {"before": None if goes is None else exact(goes), "after": None if enters is None else exact(enters)},
        "notes": notes,
    }
    lead = [*lead, f"Active matter of what goes and comes: {_known(goes)} before, {_known(enters)} after."]
    return settle(
        draft,
        change.edits,
        save=save,
        reason=reason,
        batch=batch,
        density=density,
        as_json=as_json,
        lead=lead,
        notes=lambda _: [f"look at: {n}" for n in notes],
        extra=extra,
        instead="--as VARIANT to keep it as a variant",
    )


def _known(percent: Fraction | None) -> str:
    return "not known" if percent is None else f"{brief(percent)} %"


def _question(old: Sequence[Amount], comes: Sequence[str]) -> str:
    gone = ", ".join(dict.fromkeys(a.line.material for a in old))
    return f"What does {' and '.join(comes)} do in place of {gone}?"


def _basis(
    draft: Draft, old: Sequence[Amount], into: Sequence[Into], materials: dict[str, Material], basis: str, terms: Terms, as_json: bool
) -> tuple[str, list[str]]:
    """The basis to use, and a sentence that states it. Where the bases differ and none was named, they are shown and one is asked for."""
    if basis:
        check_basis(basis)
        if terms.level is not None and basis != GIVEN:
            raise Refusal(
                "--level goes with --basis level", next=f"leave out --level, or write  --basis level --level {figure(terms.level)}"
            )
        return basis, [f"Basis: {BASES[basis]}."]
    if terms.level is not None:
        return GIVEN, [f"Basis: {BASES[GIVEN]}, {figure(terms.level)} %."]
    found = possible(draft.before, old, into, materials)
    settled = settled_basis(found)
    if settled:
        unknown = [f"{b} is not known ({r.faults[0].message})" for b, r in found.items() if isinstance(r, Refusal)]
        agree = [b for b, r in found.items() if not isinstance(r, Refusal) and b != settled]
        more = f"; {' and '.join(agree)} give{'s' if len(agree) == 1 else ''} the same" if agree else ""
        return settled, [f"Basis: {BASES[settled]}{more}." + (f" {_capital('; '.join(unknown))}." if unknown else "")]
    if not as_json:
        from fvc.show import paper

        paper.bases(screen(), found, [i.material for i in into], old)
    named = [b for b, r in found.items() if not isinstance(r, Refusal)]
    if interactive() and not as_json:
        try:
            answer = input(f"which basis? [{', '.join(named)}, level] ").strip()
        except EOFError:  # nothing was answered
            answer = ""
        if answer in named:
            return answer, [f"Basis: {BASES[answer]}."]
        if answer:
            check_basis(answer)
    raise Refusal(
        "the bases give different levels, so the basis must be said",
        next=f"add  --basis {' or --basis '.join(named)},  or  --basis level --level PERCENT",
    )


def _capital(text: str) -> str:
    """A sentence with its first letter raised; the names in it stay as they are."""
    return text[:1].upper() + text[1:]


def check_basis(basis: str) -> None:
    """Refuse a word that is no basis, with the nearest one."""
    if basis not in BASES:
        near = nearest(basis, BASES, 1)
        hint = f"did you mean {near[0]}? " if near else ""
        raise Refusal(f'"{printable(basis)}" is no basis', next=f"{hint}known are {', '.join(BASES)}")


def _forms(draft: Draft, old: Sequence[Amount], comes: Sequence[str], materials: dict[str, Material]) -> list[str]:
    gone = [m for id in dict.fromkeys(a.line.material for a in old) if (m := draft.before.materials.get(id))]
    return [note for m in gone for id in comes if id != m.id for note in plain_differences(m, materials[id])]


def stand_ins(
    name: Name,
    material: Annotated[str, typer.Argument(metavar="MATERIAL", help="The line whose place is to be taken, or PHASE:MATERIAL.")],
    basis: BasisWord = "",
    level: GivenLevel = "",
    balance: Balance = "",
    every: Annotated[bool, typer.Option("--all", help="Judge and show every candidate, not only the nearest ones.")] = False,
    as_json: AsJson = False,
) -> int:
    """Every material of the formulary that could take a place, side by side, sorted by how little else changes."""
    from fvc.compare.bill import bill
    from fvc.compare.effects import properties_of_both
    from fvc.compare.standins import by_how_little, candidates, functions_of, stand_ins
    from fvc.experience import own_of

    chosen = basis or (GIVEN if level else "")
    if chosen:
        check_basis(chosen)
    if bool(level) != (chosen == GIVEN):
        raise Refusal(
            "--level goes with --basis level" if level else "the basis level needs the level",
            next="leave out --level, or take  --basis level" if level else "add  --level 2.0",
        )
    archive = open_archive()
    draft = draft_of(archive, name)
    old = amounts_named(draft.before, [material])
    gone = draft.before.materials.get(old[0].line.material)
    if gone is None:
        raise Refusal(draft.before.faults)
    chosen = chosen or (SAME_RATIO if ratio_goes_on(draft.before, old) else ACTIVE)
    wanted = functions_of(gone)
    if not wanted:
        raise Refusal(f"the record of {gone.id} names no function, so nothing says what could take its place", next="fill in  function")
    among, problems = _with_functions(draft, wanted)
    found = candidates(gone, among.values(), draft.reference.name)
    settings = archive.now.settings()
    terms = Terms(level=number_level(level) if level else None, decimals=settings.decimals, balance=balance)
    rows, left = stand_ins(draft.before, old, found, chosen, dict(draft.before.materials) | among, terms, settings.currency)
    shown = rows if every else rows[:MOST_SHOWN]
    rules, today = settings.basis, datetime.date.today()
    own = own_of(archive, draft.before, clarity=False)
    judged = by_how_little(
        row._replace(
            bill=bill(draft.before, row.change.after, rules, today, cautions=True, own=(own, own)),
            properties=properties_of_both(draft.before, row.change.after, own, own),
        )
        for row in shown
    )
    if as_json:
        from fvc.show import paper_data

        print_json(paper_data.stand_ins(draft.before, old, chosen, judged, left, len(rows)))
    else:
        from fvc.show import paper

        asked = f"--basis {chosen}{f' --level {level}' if level else ''}{f' --balance {balance}' if balance else ''}"
        paper.stand_ins(screen(), draft.before, old, chosen, judged, left, len(rows), f"{name} {material}", asked)
    warn(problems)
    return EXIT_DONE


MOST_SHOWN = 10  # candidates that are judged by all the rules and fit one screen


def _with_functions(draft: Draft, functions: Collection[str]) -> tuple[dict[str, Material], list[Fault]]:
    """The materials whose record mentions one of these functions; the others are not even parsed, since a formulary may hold hundreds."""
    words = [f"{quote}{f}{quote}".encode() for f in functions for quote in "\"'"]
    found: dict[str, Material] = {}
    problems: list[Fault] = []
    for id in draft.moment.materials():
        text = (draft.moment.source.read(material_path(id)) or b"").lower()
        if any(word in text for word in words):
            material, faults, _ = draft.moment.ingredient(id)
            problems += faults
            if material is not None:
                found[id] = material
    return found, problems
