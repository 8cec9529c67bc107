"""Commands that judge a product: check, label, cost."""

from __future__ import annotations

import datetime
import re
from fractions import Fraction
from typing import Annotated

import typer

from fvc.amounts import mass, volume
from fvc.archive import Archive
from fvc.cli.parsing import AsJson, BatchSize, Density, basis_of, batch_of, density_of, open_archive, percent_of, print_json, screen, warn
from fvc.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, EXIT_INPUT, Fault, Refusal
from fvc.names import nearest, printable
from fvc.references import resolve
from fvc.rules.basis import EU, HOUSE, US
from fvc.rules.cost import cost as cost_of
from fvc.rules.cost import in_bottles
from fvc.rules.label import label as label_of

RULE_SETS = (EU, US, HOUSE)

Ref = Annotated[str, typer.Argument(metavar="REF", help="face-toner, face-toner.4, face-toner/VARIANT, a trial's id.")]


def check(
    refs: Annotated[
        list[str] | None,
        typer.Argument(metavar="[REF ...]", help="What to check; without one every plan in the folder.", show_default=False),
    ] = None,
    rules: Annotated[
        list[str] | None,
        typer.Option("--rules", metavar="eu|us|house", help="Rule sets, else those of formulary.toml; may be given more than once."),
    ] = None,
    staged: Annotated[bool, typer.Option("--staged", help="Only the plans staged in git, with the records as staged.")] = False,
    merged: Annotated[bool, typer.Option("--merged", help="Only the plans that the last merge changed, or whose records it did.")] = False,
    stops: Annotated[bool, typer.Option("--stops", help="Print only what must be mended, and nothing where nothing must.")] = False,
    as_json: AsJson = False,
) -> int:
    """Check structure, use levels, limits, preservation and making; 1 when something must be mended."""
    if staged and refs:
        raise Refusal("--staged chooses the plans itself", next="fvc check --staged  or  fvc check NAME")
    if merged and (refs or staged):
        raise Refusal("--merged chooses the plans itself", next="fvc check --merged  or  fvc check NAME")
    return show_check(open_archive(), refs or [], rules or [], staged, stops, as_json, merged)


def show_check(
    archive: Archive,
    refs: list[str],
    rules: list[str],
    staged: bool = False,
    stops: bool = False,
    as_json: bool = False,
    merged: bool = False,
) -> int:
    """Print what the checks of one or more references found."""
    from fvc.experience import own_of
    from fvc.inspection import inspect, of_merge, staged_plans
    from fvc.science.own import NOTHING_SEEN

    asked = rule_sets(rules)
    plans = staged_plans(archive) if staged else None
    if not plans and staged and not as_json:
        if not stops:
            screen().say("No plan is staged that differs from what was last saved.")
        return EXIT_DONE
    basis = archive.now.settings().basis  # a faulty file is refused: to check by half of the rules would say too little
    chosen = basis.chosen(asked)
    # what own batches tell makes no stop; and clarity asks for every record, so only of what was named
    found = inspect(
        archive, refs, basis, asked, plans, (lambda r: own_of(archive, r, clarity=bool(refs))) if not stops else lambda _: NOTHING_SEEN
    )
    found, others = of_merge(archive, found) if merged else (found, [])
    reports = [each.report.only_stops if stops else each.report for each in found]
    if as_json:
        from fvc.show import judged_data

        print_json(judged_data.check(reports, chosen))
    else:
        from fvc.show import judged

        titles = [each.title for each in found]
        judged.stops(screen(), reports, titles) if stops else judged.check(screen(), reports, titles, chosen)
        standing = sum(not each.report.ok for each in others)
        if standing:
            what = "1 other has" if standing == 1 else f"{standing} others have"
            screen().say(f"{what} what must be mended, and not by this merge:  fvc check --stops")
        if staged and not all(r.ok for r in reports):
            screen().say("This is as staged: what is only in the folder counts once it is added.")
    return EXIT_DONE if all(r.ok for r in reports) else EXIT_ANSWER_IS_NO


def rule_sets(given: list[str]) -> tuple[str, ...]:
    """`--rules eu --rules house` or `--rules eu,house`. Refusal for a word that names no rule set."""
    words = [w for each in given for w in re.split(r"[\s,]+", each.lower()) if w]
    for word in words:
        if word not in RULE_SETS:
            near = nearest(word, RULE_SETS, 1)
            raise Refusal(f'no rule set "{printable(word)}"', next=f"--rules {near[0] if near else 'eu'}; known are {', '.join(RULE_SETS)}")
    return tuple(dict.fromkeys(words))


def label(
    ref: Ref,
    rules: Annotated[
        list[str] | None, typer.Option("--rules", metavar="eu|us", help="Whose law, else the first of formulary.toml.", show_default=False)
    ] = None,
    on: Annotated[
        str, typer.Option("--on", metavar="DATE", help="The day whose list of allergens holds, such as 2026-08-01; without it all lists.")
    ] = "",
    line: Annotated[bool, typer.Option("--line", help="Only the declaration, as one line to copy.")] = False,
    as_json: AsJson = False,
) -> int:
    """The ingredient declaration: INCI names in descending order, allergens, and what is uncertain. An aid, to be confirmed."""
    return show_label(open_archive(), ref, rules or [], on, line, as_json)


def show_label(archive: Archive, ref: str, rules: list[str], on: str = "", line: bool = False, as_json: bool = False) -> int:
    """Print the declaration of a reference; warnings say what stands against it."""
    asked = rule_sets(rules)
    if HOUSE in asked or len(asked) > 1:
        raise Refusal("a label follows one law", next="--rules eu  or  --rules us")
    day = _day(on)
    basis = basis_of(archive)
    chosen = next(iter(asked), next((r for r in basis.chosen() if r != HOUSE), EU))
    reading = resolve(archive, ref)
    result = label_of(reading, chosen, day, datetime.date.today(), basis.names)
    if as_json:
        from fvc.show import judged_data

        print_json(judged_data.label(result, reading))
    elif line:
        from fvc.rules.label import CONFIRM

        print(result.line)
        warn([Fault(each) for each in result.uncertain], "uncertain")
        warn([Fault(each) for each in result.unknown], "unknown")
        warn([Fault(CONFIRM)], "note")
    else:
        from fvc.show import judged

        judged.label(screen(), result, reading)
    if reading.faults:
        warn(reading.faults, "this plan does not close")
        return EXIT_INPUT
    return EXIT_DONE


def _day(text: str) -> datetime.date | None:
    if not text:
        return None
    try:
        if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
            raise ValueError
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise Refusal(f'there is no day "{printable(text)}"', next="write it as  --on 2026-08-01") from None


def cost(
    ref: Ref,
    batch: BatchSize = "",
    density: Density = "",
    bottles: Annotated[
        str,
        typer.Option("--bottles", metavar="'24 x 100 mL'", help="Filled bottles, which need a density; or jars by weight, '24 x 50 g'."),
    ] = "",
    loss: Annotated[str, typer.Option("--loss", metavar="PERCENT", help="What is lost in making and filling, percent of the batch.")] = "",
    as_json: AsJson = False,
) -> int:
    """What the raw materials cost: per kilogram, per batch, per filled bottle; unpriced lines are listed, never counted as nothing."""
    return show_cost(open_archive(), ref, batch, density, bottles, loss, as_json)


def show_cost(
    archive: Archive, ref: str, batch: str = "", density: str = "", bottles: str = "", loss: str = "", as_json: bool = False
) -> int:
    """Print the cost of a reference."""
    if loss and not bottles:
        raise Refusal("--loss goes with --bottles", next="for example  --bottles '24 x 100 mL' --loss 2.5%")
    reading = resolve(archive, ref)
    if not reading.sound:
        raise Refusal(reading.faults)
    grams, text = batch_of(reading, batch, density)
    result = cost_of(reading, basis_of(archive).currency, grams)
    if bottles:
        count, fill, millilitres = _bottles(bottles)
        weight = density_of(reading, density) if millilitres is not None else None
        if millilitres is not None and weight is None:
            raise Refusal(
                f"the density of {reading.plan.id} is not known, so bottles have no weight",
                next="add --density 1.01 (g/mL), or density = 1.01 under [spec] in the plan; or name a weight: '24 x 100 g'",
            )
        if millilitres is not None and weight is not None:
            fill = millilitres * weight
        if not batch:
            result = result._replace(batch=None)
        filled = in_bottles(result, count, fill, percent_of(loss, "the loss", "--loss 2.5%") if loss else Fraction(0), millilitres, weight)
        if not batch:  # the batch is what the bottles need
            result, text = result._replace(batch=filled.needed), f"for {count} bottles"
            filled = filled._replace(in_batch=None)
        result = result._replace(bottles=filled)
    if as_json:
        from fvc.show import judged_data

        print_json(judged_data.cost(result, reading))
    else:
        from fvc.show import judged

        judged.cost(screen(), result, reading, text)
    warn(reading.warnings)
    return EXIT_DONE


_BOTTLES = re.compile(r"([1-9][0-9]{0,6})\s*[x×]\s*(.+)")


def _bottles(text: str) -> tuple[int, Fraction, Fraction | None]:
    """`24 x 100 mL` as the number, grams (0 while the density is not known) and millilitres; `24 x 50 g` as number, grams and None."""
    found = _BOTTLES.fullmatch(" ".join(text.split()))
    try:
        if not found:
            raise ValueError("expected a number of bottles and what goes into each")
        try:
            return int(found[1]), Fraction(0), volume(found[2])
        except ValueError as no_volume:
            try:
                return int(found[1]), mass(found[2]), None
            except ValueError:
                raise no_volume from None
    except ValueError as error:
        raise Refusal(
            f'"{printable(text)}" cannot be read: {error}', next="for example  --bottles '24 x 100 mL'  or  '24 x 50 g'"
        ) from None
