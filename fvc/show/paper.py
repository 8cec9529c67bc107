"""What is tried on paper, for a person: the bases of a swap, candidates side by side, the ways to close a plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from fvc.amounts import brief, fixed, shown
from fvc.change.retotal import Retotal
from fvc.change.swap import BASES
from fvc.compare.standins import MUCH_PH, NoStandIn, StandIn
from fvc.errors import Refusal
from fvc.formula import Amount
from fvc.reading import Reading
from fvc.show.screen import Screen, align, grid


def _gone(old: Sequence[Amount]) -> str:
    return ", ".join(f"{a.line.material} {a.text or 'open'} %" for a in old)


def bases(out: Screen, found: Mapping[str, tuple[Fraction, ...] | Refusal], comes: Sequence[str], old: Sequence[Amount]) -> None:
    """What each basis gives for what comes in, or why it gives nothing."""
    out.head(f"{_gone(old)} out, {', '.join(comes)} in", "percent by what stays equal")
    table = grid(("basis", "left"), *((c, "right") for c in comes), ("", "left"))
    known = {basis: levels for basis, levels in found.items() if not isinstance(levels, Refusal)}
    columns = [align([shown(levels[i], 2, 4) for levels in known.values()]) for i in range(len(comes))]
    for index, (basis, _) in enumerate(known.items()):
        table.add_row(basis, *(column[index] for column in columns), BASES[basis])
    out.table(table)
    for basis, why in found.items():
        if isinstance(why, Refusal):
            out.item(f"{basis}: not known; ", why.faults[0].message, 2)
            if why.faults[0].next:
                out.say(why.faults[0].next, 4)


def _signed(value: Fraction | None, decimals: int = 2) -> str:
    if value is None:
        return "?"
    text = fixed(value, decimals)
    return f"+{text}" if value > 0 and text.strip("0.") else text


def stand_ins(
    out: Screen,
    reading: Reading,
    old: Sequence[Amount],
    basis: str,
    rows: Sequence[StandIn],
    left: Sequence[NoStandIn],
    whole: int,
    place: str,
    asked: str,
) -> None:
    """Candidates side by side, the one that changes least first; below, what each crosses, needs or gains.

    place: the plan and the line as they were named. asked: the basis as it would be typed.
    """
    out.head(f"In place of {_gone(old)} in {reading.plan.title}", f"{place.split()[0]}, {reading.side.words}")
    out.say(f"on the basis: {BASES[basis]}")
    if not rows:
        out.say("No other material here has a function of it, or none can be compared on this basis.")
    else:
        out.say("")
        table = grid(
            ("material", "left"), ("%", "right"), ("water", "right"), ("rest", "right"), ("pH", "right"), ("per kg", "right"),
            ("limits", "right"), ("cautions", "right"), ("allergens", "right"),
        )  # fmt: skip
        levels = align([brief(r.level) for r in rows])
        for level, row in zip(levels, rows, strict=True):
            bill = row.bill
            crossed = sum(each.kind == "crossed" for each in bill.limits) if bill else 0
            gained = sorted({a for each in bill.labels for a in each.allergens_gained}) if bill else []
            lost = sorted({a for each in bill.labels for a in each.allergens_lost}) if bill else []
            table.add_row(
                row.material.id,
                level,
                _signed(row.water),
                fixed(row.elsewhere, 2),
                _signed(row.ph.gained if row.ph else None),
                _signed(row.cost),
                str(crossed),
                str(len((bill.cautions if bill else None) or ())),
                _counts(len(gained), len(lost)),
            )
        out.table(table)
        out.say(
            "water, rest: percentage points; rest is all that moves but the active matter that goes and comes, added up; "
            "pH: estimated, by how much it moves, ? without a figure before or after",
            2,
        )
        before = next((row.ph.instead_before for row in rows if row.ph and row.ph.instead_before), "")
        if before:
            out.item("pH before: ", f"no figure: {before}", 2)
        out.say(
            f"sorted by limits crossed, whether the pH moves by more than {float(MUCH_PH):g} or has no figure on one side, cautions, "
            "allergens gained, how little moves in the rest, new names on the label, cost",
            2,
        )
        for row in rows:
            said = _words(row)
            if said:
                out.say("")
                out.say(row.material.id, 0, "bold")
                for sentence in said:
                    out.say(sentence, 2)
    if whole > len(rows):
        out.say("")
        out.say(f"{whole - len(rows)} more could take the place and move more in the rest; --all shows them")
    if left:
        out.say("")
        out.head("Cannot be compared on this basis")
        for each in left:
            out.item(f"{each.material.id}: ", each.why, 2)
    if rows:
        out.say("")
        out.say(f"Look closer:  fvc swap {place} {rows[0].material.id} {asked}")


def _counts(gained: int, lost: int) -> str:
    return f"+{gained} -{lost}" if gained and lost else f"+{gained}" if gained else f"-{lost}" if lost else "0"


def _ph_words(row: StandIn) -> list[str]:
    """Where the pH goes: when it goes far, has a figure on one side only, or leans to another side."""
    if row.ph is None or not row.moves_ph:
        return []
    sides = ((row.ph.before, row.ph.leans_before or row.ph.instead_before), (row.ph.after, row.ph.leans_after or row.ph.instead_after))
    before, after = (
        f"about {fixed(share.nominal, 2)}" if share and share.nominal is not None else f"without a figure ({why})" for share, why in sides
    )
    return [f"pH {before} before, {after} after"]


def _words(row: StandIn) -> list[str]:
    bill = row.bill
    said = _ph_words(row)
    if bill:
        said += [f"limit crossed: {each.finding.message}" for each in bill.limits if each.kind == "crossed"]
        said += [f"{f.level}: {f.message}" for f in bill.cautions or ()]
        gained = sorted({a for each in bill.labels for a in each.allergens_gained})
        said += [f"declared allergens gained: {', '.join(gained)}"] if gained else []
        said += [f"label ({each.rules}) gains {', '.join(each.names_gained)}" for each in bill.labels if each.names_gained]
    return said + list(row.change.notes) + list(row.notes)


def ways(out: Screen, reading: Reading, found: Sequence[tuple[str, Retotal]]) -> None:
    """The ways to close a plan side by side: each line before, and after each way."""
    out.head(f"{reading.plan.title} totals {shown(reading.closure.total, 2)}", "what each reading would make of it")
    table = grid(("", "left"), ("before", "right"), *((flags, "right") for flags, _ in found))
    befores = align([a.text or "open" for a in reading.closure.amounts])
    afters = [align([a.text or "open" for a in way.after.closure.amounts]) for _, way in found]
    for index, amount in enumerate(reading.closure.amounts):
        table.add_row(f"{amount.line.phase}  {amount.line.material}", befores[index], *(column[index] for column in afters))
    out.table(table)
    for flags, way in found:
        if way.guarded:
            listed = "; ".join(f"{amount.line.material} ({why})" for amount, why in way.guarded)
            out.item(f"{flags} moves what should not move without a thought: ", listed, 2)
