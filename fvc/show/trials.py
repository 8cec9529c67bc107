"""Batches on a screen: the list, the record of one, a slip with its ways out, what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from fvc.amounts import HUNDRED, ZERO, brief, celsius, shown
from fvc.bench import account, as_made, batch_now, lots_used, targets
from fvc.deviations import Deviation, grams
from fvc.errors import Refusal
from fvc.schedule import Look
from fvc.seeing import judged
from fvc.show.screen import Screen, align, counted, fold, grid
from fvc.slips import ADD, BALANCE_GIVES, ENLARGE, LEAVE, TAKE_BACK, Portion, Slip, WayOut
from fvc.trial import LOSSES, OPERATIONS, WEIGHINGS, Entry, Seen, Trial, in_force


def both_scales(text: str) -> str:
    """`70 °C` as `70 °C (158 °F)`, and the other way round; a text that is no temperature as it is."""
    try:
        value = celsius(text)
    except ValueError:
        return text
    if text.strip()[-1:] in "Ff":
        return f"{text} ({brief(value, 0, 0)} °C)"
    return f"{text} ({brief(value * Fraction(9, 5) + 32, 0, 0)} °F)"


# --- the list ---------------------------------------------------------------------------------------


def listed(out: Screen, trials: Sequence[Trial], unsaved: Sequence[str]) -> None:
    """All batches, a row each."""
    table = grid(("batch", "left"), ("plan", "left"), ("made", "left"), ("size", "right"), ("state", "left"))
    sizes = align([f"{grams(size)} g" if (size := batch_now(t)) else "" for t in trials])
    for trial, text in zip(trials, sizes, strict=True):
        table.add_row(trial.id, fold(trial.plan, 24), str(trial.made_on or ""), text, state(trial))
    out.table(table)
    if unsaved:
        out.say("")
        out.say(f"On disk and not saved in git: {', '.join(unsaved)}. To save them:  fvc trial save")


def state(trial: Trial) -> str:
    """How far a batch has come, in words."""
    if trial.verdict:
        return trial.verdict
    open_lines = [t for t in targets(trial) if not t.settled and not t.open]
    if not any(e.action == "weighed" for e in trial.entries):
        return "begun"
    if open_lines:
        return f"{counted(len(open_lines), 'line')} to weigh"
    return f"made, {counted(len(trial.seen), 'look')}"


# --- the record of one ------------------------------------------------------------------------------


def record(out: Screen, trial: Trial, found: Sequence[Deviation], spec: Mapping[str, object], unsaved: bool) -> None:
    """Everything that is known of one batch."""
    out.head(trial.id, f"made from {trial.plan}")
    size = batch_now(trial)
    facts = [f"batch {trial.batch}" + (f", now {grams(size)} g" if size and any(e.action == "enlarged" for e in trial.entries) else "")]
    facts += [f"by {trial.by}"] if trial.by else []
    facts += [f"begun {trial.started:%Y-%m-%d %H:%M}"] if trial.started else []
    facts += [f"scale {trial.scale}"] if trial.scale else []
    facts += [f"vessel {trial.vessel}"] if trial.vessel else []
    facts += ["for sale"] if trial.for_sale else []
    facts += [f"use by {trial.use_by}"] if trial.use_by else []
    out.say(", ".join(facts))
    out.print()
    _lines(out, trial)
    _happened(out, trial)
    _mass(out, trial)
    out.print()
    if found:
        out.head("Deviations")
        for deviation in found:
            out.item("- ", deviation.words, 2)
    else:
        out.say("No deviation from the sheet.")
    if trial.seen:
        out.print()
        _looks(out, trial, spec)
    closing = trial.closing
    if closing:
        out.print()
        out.head(f"Verdict: {closing.subject}", f"{closing.at:%Y-%m-%d} {closing.by}".strip())
        if closing.because:
            out.say(closing.because, 2)
        for word, text in (("filled", closing.filled), ("retained sample", closing.retained)):
            if text:
                out.say(f"{word}: {text}", 2)
    if unsaved:
        out.print()
        out.say("On disk and not saved in git:  fvc trial save")


def _lines(out: Screen, trial: Trial) -> None:
    lines = targets(trial)
    try:
        made = {(m.phase, m.material): m.grams for m in as_made(trial)}
    except Refusal:
        made = {}
    whole = sum(made.values(), ZERO)
    lots: dict[str, list[str]] = {}
    for material, lot, _ in lots_used(trial):
        if lot:
            lots.setdefault(material, []).append(lot)
    size = batch_now(trial)
    rows: list[tuple[str, ...]] = []
    for t in lines:
        target = grams(t.grams) if t.grams is not None else ""
        went = grams(t.weighed) if t.weighed else "left out" if t.settled else "____"
        planned = shown(t.grams * HUNDRED / size, 2, 2) if t.grams is not None and size else ""
        held = made.get((t.phase, t.material), ZERO)
        share = shown(held * HUNDRED / whole, 2, 4) if whole and held else ""
        rows.append(
            (t.phase, t.material + (" (open)" if t.open else ""), target, went, planned, share, ", ".join(lots.get(t.material, ())))
        )
    known = {(t.phase, t.material) for t in lines}
    for (phase, material), held in made.items():
        if (phase, material) not in known and held:
            share = shown(held * HUNDRED / whole, 2, 4)
            rows.append((phase, f"{material} (not on the sheet)", "", grams(held), "", share, ", ".join(lots.get(material, ()))))
    heads = ("", "material", "asked g", "in g", "asked %", "made %", "lot")
    sides = ("left", "left", "right", "right", "right", "right", "left")
    shown_columns = [i for i in range(7) if i < 6 or any(row[6] for row in rows)]
    columns = {i: align([row[i] for row in rows]) if 2 <= i <= 5 else [row[i] for row in rows] for i in shown_columns}
    table = grid(*((heads[i], sides[i]) for i in shown_columns))
    for n in range(len(rows)):
        table.add_row(*(columns[i][n] for i in shown_columns))
    out.table(table)
    weighings = [e for e in in_force(trial.entries) if e.action in WEIGHINGS]
    if weighings:
        first, last = weighings[0].at, weighings[-1].at
        until = f"{last:%H:%M}" if last.date() == first.date() else f"{last:%Y-%m-%d %H:%M}"
        people = ", ".join(dict.fromkeys(e.by for e in weighings if e.by))
        checked = ", ".join(dict.fromkeys(e.checked_by for e in weighings if e.checked_by))
        words = f"weighed {first:%Y-%m-%d %H:%M} to {until}" + (f" by {people}" if people else "")
        out.say(words + (f", checked by {checked}" if checked else ""))


def _happened(out: Screen, trial: Trial) -> None:
    """What was done, in order; weighings as the sheet asks stand in the table above."""
    shown_ones = [
        e
        for e in in_force(trial.entries)
        if e.action in (*OPERATIONS, *LOSSES, "replaced", "added", "enlarged", "retargeted", "omitted", "vessel", "noted")
    ]
    if not shown_ones:
        return
    out.print()
    out.head("What was done")
    for entry in shown_ones:
        out.item(f"{entry.at:%m-%d %H:%M}  ", happened(entry), 2)


def happened(entry: Entry) -> str:
    """One entry as a sentence."""
    amount, what = f"{grams(entry.grams)} g", entry.subject
    text = {
        "weighed": f"{what} {amount}",
        "added": f"{amount} of {what} added",
        "replaced": f"{amount} of {what} put back",
        "lost": f"{amount} of {what} lost",
        "spilled": f"{amount} spilled",
        "left": f"{amount} left on the beaker of phase {what}",
        "sampled": f"{amount} taken as a sample",
        "combined": f"phase {what} into phase {entry.into}",
        "heated": f"phase {what} heated",
        "cooled": f"phase {what} cooled",
        "stirred": f"phase {what} stirred",
        "vessel": f"vessel of phase {what}: {amount}",
        "bulk": f"finished product weighed: {amount}",
        "enlarged": f"batch enlarged to {amount}",
        "retargeted": f"target of {what} now {amount}",
        "omitted": f"{what} left out",
        "noted": what,
        "seen": what,
        "closed": f"closed: {what}",
    }[entry.action]
    if entry.temperature:
        text += f" {'to' if entry.action != 'seen' else 'at'} {both_scales(entry.temperature)}"
    text += f", held {entry.hold}" if entry.hold else ""
    text += f", {entry.speed}" if entry.speed else ""
    text += f" ({entry.reading})" if entry.reading else ""
    text += f", lot {entry.lot}" if entry.lot else ""
    text += f": {entry.because}" if entry.because else ""
    text += f"; checked by {entry.checked_by}" if entry.checked_by else ""
    return text


def _mass(out: Screen, trial: Trial) -> None:
    if not any(e.action in WEIGHINGS for e in trial.entries):
        return
    mass = account(trial)
    rows = [("went in", mass.went_in)]
    rows += [
        (word, amount)
        for word, amount in (("lost", mass.lost), ("spilled", mass.spilled), ("left on beakers", mass.left), ("samples", mass.sampled))
        if amount
    ]
    rows += [("unaccounted", mass.unaccounted)] if mass.unaccounted is not None else []
    rows += [("product", mass.product)]
    out.print()
    out.head("Where the mass went")
    table = grid(("", "left"), ("g", "right"), header=False)
    for (word, _), text in zip(rows, align([grams(value) if value >= 0 else f"-{grams(-value)}" for _, value in rows]), strict=True):
        table.add_row(word, text)
    out.table(table, 2)
    percent = mass.percent_of_theoretical
    if percent is not None and mass.theoretical:
        out.say(f"Yield {shown(percent, 2, 2)} % of theoretical: {grams(mass.bulk)} g of {grams(mass.theoretical)} g.", 2)
    elif mass.unaccounted is None:
        out.say("The finished product was not weighed, so nothing tells what is unaccounted:  fvc trial bulk GRAMS", 2)


def _looks(out: Screen, trial: Trial, spec: Mapping[str, object]) -> None:
    out.head("What was seen")
    for entry in trial.seen:
        assert entry.seen is not None
        day = f"day {entry.seen.day if entry.seen.day is not None else trial.day_of(entry.at)}"
        out.item(f"{day:<7} {entry.seen.condition:<8} ", look(entry, spec), 2)


def look(entry: Entry, spec: Mapping[str, object]) -> str:
    """One observation with what the spec says to it."""
    seen = entry.seen or Seen()
    results = judged(seen, spec)
    text = entry.subject
    if results:
        text += " -> " + ", ".join(f"{r.what} {r.verdict}" + ("" if r.verdict == "pass" else f" (spec: {r.asked})") for r in results)
    details = [d for d in (seen.ph_by, f"at {both_scales(seen.temperature)}" if seen.temperature else "", seen.dilution) if d]
    details += [f"calibrated {seen.calibrated}"] if seen.calibrated else []
    details += [f"photo {seen.photo}"] if seen.photo else []
    return text + (f"  [{', '.join(details)}]" if details else "")


# --- a slip -----------------------------------------------------------------------------------------


def slip(out: Screen, found: Slip, typed: Mapping[str, str] | None = None) -> None:
    """What a slip did, and the ways out, numbered. typed: the command of each way, where there is no session that asks."""
    t = found.target
    word = "over" if found.over > 0 else "short of"
    out.say(f"{t.material}: {grams(t.weighed)} g is {grams(abs(found.over))} g {word} its target of {grams(t.grams)} g.", style="bold")
    others = (found.others - 1) * 100
    moved = f"every other line {'falls' if others < 0 else 'rises'} by {shown(abs(others), 2, 2)} % of itself"
    out.say(f"Left so, it is {shown(found.left, 2, 4)} % instead of {shown(found.planned, 2, 4)} %, and {moved}.", 2)
    for number, way in enumerate(found.ways, start=1):
        out.item(f"{number}  ", way_words(found, way), 2)
        if typed and typed[way.way]:
            out.say(typed[way.way], 5)


def way_words(found: Slip, way: WayOut) -> str:
    """One way out, with its grams, as a sentence."""
    t = found.target
    if way.way == LEAVE:
        return "leave it as it is"
    if way.way == TAKE_BACK:
        return f"take {grams(found.over)} g back, if it still lies apart from the rest"
    if way.way == ADD:
        return f"add the {grams(-found.over)} g that are missing"
    if way.way == BALANCE_GIVES:
        line = way.later[0]
        return f"move it to {line.material}, which is not in yet: its target becomes {grams(line.grams)} g; {t.material} stays at {shown(found.left * (1 / found.others), 2, 4)} %"
    assert way.way == ENLARGE
    parts = [f"enlarge the batch to {grams(way.batch)} g"]
    parts += [f"add {_portions(way.now)} now"] if way.now else []
    parts += [f"then {_portions(way.later)}"] if way.later else []
    text = "; ".join(parts)
    return text + (f". Against it: {'; '.join(way.against)}" if way.against else "")


def _portions(portions: Sequence[Portion]) -> str:
    return ", ".join(f"{p.material} {grams(p.grams)} g" for p in portions)


# --- what is due ------------------------------------------------------------------------------------


def due(out: Screen, looks: Sequence[tuple[Trial, tuple[Look, ...]]], coming: str = "") -> None:
    """The looks that are due, overdue first."""
    table = grid(("batch", "left"), ("of", "left"), ("look of", "left"), ("due", "left"), ("where", "left"))
    for trial, found in looks:
        first = found[0]
        late = "today" if first.late == 0 else f"{counted(first.late, 'day')} ago"
        table.add_row(trial.id, fold(trial.plan, 20), f"day {first.day}", late, ", ".join(each.condition for each in found))
    out.table(table)
    if coming:
        out.say(coming)
