"""The command `retotal`: close a plan that does not total 100, both readings shown."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Annotated

import typer

from fvc.amounts import HUNDRED, exact, figure, mass, shown
from fvc.change.levels import amounts_named
from fvc.change.retotal import Retotal, check_open_to_retotal, into_line, on_top, to_add, to_scale
from fvc.cli.parsing import AsJson, BatchSize, Density, open_archive, screen
from fvc.cli.proposal import Draft, Reason, Save, draft_of, say, settle
from fvc.errors import EXIT_DONE, Refusal
from fvc.formula import FIXED, Amount
from fvc.material import Material
from fvc.names import printable
from fvc.reading import Reading


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
            return settle(draft, (), save=False, reason="", batch=batch, density=density, as_json=True, extra={"way": "nothing to do"})
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


def _other_reading(
    before: Reading, top: Amount | None, kept: Sequence[Amount] | None, materials: dict[str, Material], places: int
) -> str | None:
    """The reading of something added on top that was not chosen, in a sentence; both while none is. kept None: nothing was chosen."""
    if top is None or (kept and list(kept) != [top]):
        return None
    m = top.line.material
    try:
        to_scale(before, (), materials, places)
    except Refusal:  # then it is no reading of this plan
        return None
    total = before.closure.total
    whole = to_add(before, [top], Fraction(10_000))[m]
    as_whole = f"{top.text} % of the finished product: {_grams(whole)} g to 10 kg of the rest (--all --keep {_called(before, top)})"
    as_part = f"{top.text} g to 100 g of the rest, which is {figure(top.counted * HUNDRED / total)} %: {_grams(top.counted * 100)} g to 10 kg (--all)"
    lead = f"{m} may have been added on top of a finished base."
    if kept is None:
        return f"{lead} One reading: {as_whole}. The other: {as_part}."
    return f"{lead} Shown here: {as_whole if kept else as_part}. The other reading: {as_part if kept else as_whole}."


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
        if other := _other_reading(before, top, None, materials, places):
            say(other)
    listed = " or ".join(flags for flags, _ in ways) or "--into MATERIAL"
    off = before.closure.faults[0].message
    return Refusal(f"{off}{'' if off.endswith('?') else ';'} say which reading is meant", next=f"add  {listed}")
