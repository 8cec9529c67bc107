"""Trying it on paper: swap, stand-ins, retotal. The net change comes first; nothing is weighed and nothing is written unless told."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from fractions import Fraction
from typing import Annotated

import typer

from fvc.amounts import exact, figure, mass, shown
from fvc.change.retotal import Retotal, check_open_to_retotal, into_line, on_top, to_add, to_scale
from fvc.change.swap import (
    BASES,
    GIVEN,
    Into,
    Terms,
    amounts_named,
    hold_from_text,
    into_from_text,
    number_level,
    plain_differences,
    possible,
    settled_basis,
    substituted,
)
from fvc.cli.parsing import AsJson, BatchSize, Density, basis_of, interactive, open_archive, print_json, screen, warn
from fvc.cli.proposal import Draft, Reason, Save, check_can_change, draft_of, say, settle
from fvc.cli.tries import keep_as_variant
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.formula import FIXED, Amount
from fvc.formulary import material_path
from fvc.material import Material
from fvc.names import nearest, printable
from fvc.reading import Reading

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
        asked = question or _question(old, [i.material for i in comes])
        return keep_as_variant(draft, change.edits, as_variant, asked, expect, lead=lead, notes=notes, as_json=as_json)
    extra = {"basis": chosen, "levels": [{"material": m, "percent": exact(v)} for m, v in change.levels], "notes": notes}
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
    basis: BasisWord = "active",
    level: GivenLevel = "",
    balance: Balance = "",
    every: Annotated[bool, typer.Option("--all", help="Judge and show every candidate, not only the nearest ones.")] = False,
    as_json: AsJson = False,
) -> int:
    """Every material of the formulary that could take a place, side by side, sorted by how little else changes."""
    from fvc.compare.bill import bill
    from fvc.compare.standins import by_how_little, candidates, stand_ins

    chosen = GIVEN if level and basis == "active" else basis
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
    if not gone.functions:
        raise Refusal(f"the record of {gone.id} names no function, so nothing says what could take its place", next="fill in  function")
    among, problems = _with_functions(draft, gone)
    found = candidates(gone, among.values(), draft.reference.name)
    terms = Terms(level=number_level(level) if level else None, decimals=archive.now.settings().decimals, balance=balance)
    rows, left = stand_ins(draft.before, old, found, chosen, dict(draft.before.materials) | among, terms, archive.now.settings().currency)
    shown = rows if every else rows[:MOST_SHOWN]
    rules, today = basis_of(archive), datetime.date.today()
    judged = by_how_little(row._replace(bill=bill(draft.before, row.change.after, rules, today, cautions=True)) for row in shown)
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


def _with_functions(draft: Draft, gone: Material) -> tuple[dict[str, Material], list[Fault]]:
    """The materials whose record mentions a function of `gone`; the others are not even parsed, since a formulary may hold hundreds."""
    words = [f.casefold().encode() for f in gone.functions]
    found: dict[str, Material] = {}
    problems: list[Fault] = []
    for id in draft.moment.materials():
        text = draft.moment.source.read(material_path(id)) or b""
        if any(word in text.lower() for word in words):
            material, faults, _ = draft.moment.ingredient(id)
            problems += faults
            if material is not None:
                found[id] = material
    return found, problems


def retotal(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A formula, or NAME/VARIANT.")],
    into: Annotated[str, typer.Option("--into", metavar="MATERIAL", help="One line takes what is missing or over.")] = "",
    all_lines: Annotated[bool, typer.Option("--all", help="Bring all lines to scale, but those kept.")] = False,
    keep: Annotated[
        list[str] | None,
        typer.Option("--keep", metavar="MATERIAL", help="With --all: this line stays as it is; may be given more than once."),
    ] = None,
    base: Annotated[
        str, typer.Option("--base", metavar="SIZE", help="With --keep: so much of the rest is there already; says how much to add.")
    ] = "",
    decimals: Annotated[
        int | None,
        typer.Option("--decimals", min=0, max=8, help="Most decimals of a level; else as formulary.toml says.", show_default=False),
    ] = None,
    save: Save = False,
    reason: Reason = "",
    batch: BatchSize = "",
    density: Density = "",
    as_json: AsJson = False,
) -> int:
    """Close a plan that does not total 100: into one line, or by bringing all but the kept ones to scale. Both readings are shown."""
    if into and (all_lines or keep):
        raise Refusal("--into takes one line, --all brings all to scale", next="choose one of the two")
    draft = draft_of(open_archive(), name)
    before = draft.before
    places = draft.archive.now.settings().decimals if decimals is None else decimals
    materials = dict(before.materials)
    if before.sound:
        if as_json:
            raise Refusal(f"{name} totals 100 already", next="nothing is to be done")
        say(f"{name} totals 100 already; nothing to do.")
        return EXIT_DONE
    check_open_to_retotal(before)
    top = on_top(before)
    if into:
        found = amounts_named(before, [into])
        if len(found) > 1:
            raise Refusal(f"{into} stands in {len(found)} phases", next=f"say which: --into {found[0].line.phase}:{into}")
        result = into_line(before, found[0], materials)
        kept: tuple[Amount, ...] = ()
    elif all_lines or keep:
        kept = amounts_named(before, keep) if keep else ()
        result = to_scale(before, kept, materials, places)
    else:
        raise _which(draft, top, materials, places, as_json)
    other = _other_reading(before, top, kept, materials, places) if not into else None
    weight = _base(base, kept)
    lead = _guarded(result)
    extra = {
        "way": result.way,
        "factor": None if result.factor is None else exact(result.factor),
        "to_add": [{"material": m, "grams": exact(g)} for m, g in (to_add(before, kept, weight) if weight else {}).items()],
        "guarded": [{"phase": a.line.phase, "material": a.line.material, "why": why} for a, why in result.guarded],
    }

    def notes(_: Reading) -> list[str]:
        said = [f"Way: {result.way}, at no more than {places} decimals." if not into else f"Way: {result.way}."]
        if result.took:
            most = max(e.level.number.decimals for e in result.edits if e.level and e.level.number)
            finer = f", at {most} decimals, since a line that is kept or held by a ratio has as many" if most > places else ""
            said.append(f"{result.took} takes the rounding remainder{finer}.")
        if weight:
            said += [f"To {figure(weight)} g of the rest add {_grams(g)} g of {m}." for m, g in to_add(before, kept, weight).items()]
        return said + ([other] if other else [])

    return settle(
        draft, result.edits, save=save, reason=reason, batch=batch, density=density, as_json=as_json, lead=lead, notes=notes, extra=extra
    )


def _grams(value: Fraction) -> str:
    return shown(value, 2, 3)


def _base(text: str, kept: Sequence[Amount]) -> Fraction | None:
    if not text:
        return None
    if not kept:
        raise Refusal(
            "--base goes with --keep: it says how much of the kept lines goes into the rest", next="name them with  --keep MATERIAL"
        )
    try:
        return mass(text)
    except ValueError as error:
        raise Refusal(f'--base "{printable(text)}": {error}', next="for example  --base 10kg") from None


def _guarded(result: Retotal) -> list[str]:
    after = {(a.line.phase, a.line.material): a for a in result.after.closure.amounts}
    return [
        f"Moves, and should not without a thought: {a.line.material} {a.text} to {after[a.line.phase, a.line.material].text} ({why})"
        for a, why in result.guarded
    ]


def _other_reading(before: Reading, top: Amount | None, kept: Sequence[Amount], materials: dict[str, Material], places: int) -> str | None:
    """The reading of something added on top that was not chosen, in a sentence."""
    if top is None or (kept and list(kept) != [top]):
        return None
    m = top.line.material
    try:
        part = to_scale(before, (), materials, places).after.closure.amounts[before.closure.amounts.index(top)]
    except Refusal:  # then it is no reading of this plan
        return None
    whole = to_add(before, [top], Fraction(10_000))[m]
    as_whole = f"{top.text} % of the finished product: {_grams(whole)} g to 10 kg of the rest (--all --keep {_called(before, top)})"
    as_part = f"{top.text} g to 100 g of the rest, which is {part.text} %: {_grams(top.counted * 100)} g to 10 kg (--all)"
    return f"{m} may have been added on top of a finished base. Shown here: {as_whole if kept else as_part}. The other reading: {as_part if kept else as_whole}."


def _called(reading: Reading, amount: Amount) -> str:
    """How a line is named on the command line: with its phase where its material stands in several."""
    line = amount.line
    several = sum(a.line.material == line.material for a in reading.closure.amounts) > 1
    return f"{line.phase}:{line.material}" if several else line.material


def _which(draft: Draft, top: Amount | None, materials: dict[str, Material], places: int, as_json: bool) -> Refusal:
    """The question which reading is meant, with what each would do."""
    before = draft.before
    ways: list[tuple[str, Retotal]] = []
    largest = max((a for a in before.closure.amounts if a.line.level.kind == FIXED), key=lambda a: a.counted, default=None)
    readings: list[tuple[str, Amount | None, tuple[Amount, ...]]] = [("--all", None, ())]
    if largest is not None:
        readings.insert(0, (f"--into {_called(before, largest)}", largest, ()))
    if top is not None:
        readings.append((f"--all --keep {_called(before, top)}", None, (top,)))
    for flags, taker, kept in readings:
        try:
            ways.append((flags, into_line(before, taker, materials) if taker else to_scale(before, kept, materials, places)))
        except Refusal:
            continue
    if not as_json:
        from fvc.show import paper

        paper.ways(screen(), before, ways)
        if other := _other_reading(before, top, (), materials, places):
            say(other)
    listed = " or ".join(flags for flags, _ in ways) or "--into MATERIAL"
    return Refusal(f"{before.closure.faults[0].message}: which reading is meant?", next=f"add  {listed}")
