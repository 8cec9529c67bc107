"""The command `results`: what was tried and what came of it, whether it was tried before, and what it teaches."""

from __future__ import annotations

from typing import Annotated

import typer

from fvc.cli.parsing import AsJson, open_archive, print_json, screen, warn
from fvc.errors import EXIT_DONE, Refusal
from fvc.results.learning import learned
from fvc.results.table import formula_named, with_results
from fvc.results.table import results as gathered


def results(
    name: Annotated[
        str,
        typer.Argument(metavar="[NAME]", help="A formula; with --only or --learn it may be left out: all formulas.", show_default=False),
    ] = "",
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--only", metavar="TEXT", help="Such as 'sodium-pca > 2', 'humectant > 5', 'clarity = cloudy'; several must all hold."
        ),
    ] = None,
    learn: Annotated[
        tuple[str, str],
        typer.Option(
            "--learn",
            metavar="X PROPERTY",
            help="A material, or a ratio such as 'polysorbate-20 / neroli-oil', and ph, clarity, viscosity …",
        ),
    ] = ("", ""),
    condition: Annotated[str, typer.Option("--condition", metavar="PLACE", help="With --learn: where the sample stood.")] = "room",
    day: Annotated[int | None, typer.Option("--day", metavar="N", min=0, help="With --learn: the look of this day; else the last.")] = None,
    as_json: AsJson = False,
) -> int:
    """All that was tried of a formula: what differs, what was seen at each time point against the spec, and the verdict."""
    archive = open_archive()
    conditions = tuple(only or ())
    teach = any(learn)
    if not name and not conditions and not teach:
        known = with_results(archive)
        raise Refusal("which formula?", next=f"fvc results {known[0] if known else 'NAME'}   or   fvc results --only 'clarity = cloudy'")
    if not teach and (day is not None or condition != "room"):
        other = f"condition = {condition}" if condition != "room" else f"day = {day}"
        raise Refusal("--day and --condition go with --learn", next=f'write  --only "{other}"')
    formulas = [formula_named(archive, name)] if name else with_results(archive)
    if teach:
        lesson = learned(archive, formulas, *learn, condition=condition, day=day, only=conditions)
        if as_json:
            from fvc.show import results_data

            print_json(results_data.learned(lesson, name))
        else:
            from fvc.show import results as shown

            shown.learned(screen(), lesson, name)
        warn(lesson.problems)
        return EXIT_DONE
    found = gathered(archive, formulas, conditions)
    if as_json:
        from fvc.show import results_data

        print_json(results_data.results(found, name))
    else:
        from fvc.show import results as shown

        shown.results(screen(), found, name)
    warn(found.problems)
    return EXIT_DONE
