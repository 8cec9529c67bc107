"""Several variants in one go: ladder, knockout, with one sheet for all the beakers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Annotated, Any

import typer

from fvc.amounts import ZERO
from fvc.change.ladder import Rung, knockouts, levels_from_text
from fvc.change.ladder import ladder as rungs_of
from fvc.change.split import split_sheet
from fvc.change.swap import hold_from_text
from fvc.cli.parsing import AsJson, BatchSize, Density, batch_of, confirmed, interactive, open_archive, percent_of, print_json, screen, warn
from fvc.cli.proposal import Draft, draft_of, say
from fvc.errors import EXIT_DONE, Refusal
from fvc.files.writer import replace, writing
from fvc.formulary import plan_path
from fvc.variants import (
    check_free,
    read_variant,
    start_from,
    variant_text,
)

Prefix = Annotated[str, typer.Option("--as", metavar="PREFIX", help="What the ids of the variants begin with.")]
KeepThem = Annotated[bool, typer.Option("--save", help="Keep them all as variants without asking.")]
Question = Annotated[str, typer.Option("--question", metavar="TEXT", help="What they ask; else a plain question each.")]
Overage = Annotated[
    str, typer.Option("--overage", metavar="PERCENT", help="Make so much more of the base, against what stays behind on splitting.")
]


def ladder(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A formula, or a saved revision of it.")],
    material: Annotated[str, typer.Argument(metavar="MATERIAL", help="The line to vary, or PHASE:MATERIAL.")],
    levels: Annotated[list[str], typer.Argument(metavar="PERCENT ...", help="Its levels: 0.2 0.3 0.4.")],
    hold: Annotated[
        list[str] | None,
        typer.Option("--hold", metavar="RATIO", help='Hold a line by a ratio in all of them: "polysorbate-20 = 4 x all essential oil".'),
    ] = None,
    prefix: Prefix = "",
    question: Question = "",
    overage: Overage = "",
    save: KeepThem = False,
    batch: BatchSize = "",
    density: Density = "",
    as_json: AsJson = False,
) -> int:
    """A series of variants that differ in one level, the balance following, with one sheet: a common base, and what each beaker gets."""
    draft = draft_of(open_archive(), name)
    _check_sound(draft)
    typed = levels_from_text(levels)
    varied = material.rpartition(":")[2]
    holds = [hold_from_text(h) for h in hold or ()]
    found = rungs_of(
        draft.before,
        material,
        typed,
        draft.materials([varied] if varied in draft.known else []),
        holds=holds,
        prefix=prefix,
    )
    listed = ", ".join(t.text for t in typed)
    asked = question or f"{varied} at {listed} %: which?"
    return _series(draft, found, lambda _: asked, overage, save, batch, density, as_json)


def knockout(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A formula, or a saved revision of it.")],
    materials: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[MATERIAL ...]", help="What to leave out, one variant each; else everything but the balance.", show_default=False
        ),
    ] = None,
    function: Annotated[str, typer.Option("--function", metavar="WORD", help="Leave out every line of a function, one variant each.")] = "",
    prefix: Prefix = "without",
    question: Question = "",
    overage: Overage = "",
    save: KeepThem = False,
    batch: BatchSize = "",
    density: Density = "",
    as_json: AsJson = False,
) -> int:
    """A series of variants that each lack one ingredient, the balance following: what does each one do? With one sheet for all."""
    draft = draft_of(open_archive(), name)
    _check_sound(draft)
    found = knockouts(draft.before, materials or (), draft.materials(()), function=function, prefix=prefix)

    def asked(rung: Rung) -> str:
        return question or f"What does {rung.words.removeprefix('without ')} do in {draft.before.plan.title}?"

    return _series(draft, found, asked, overage, save, batch, density, as_json)


def _check_sound(draft: Draft) -> None:
    if not draft.before.sound:
        raise Refusal(draft.before.faults)


def _series(
    draft: Draft,
    rungs: Sequence[Rung],
    asked: Callable[[Rung], str],
    overage: str,
    save: bool,
    batch: str,
    density: str,
    as_json: bool,
) -> int:
    """Show a series of variants with their one sheet, and keep them when told."""
    archive, name = draft.archive, draft.reference.name
    if save:
        check_free(archive, name, [r.id for r in rungs])
    settings = archive.now.settings()
    grams, text = batch_of(draft.before, batch, density)
    if grams is None:
        raise Refusal(f'the batch of the plan, "{text}", needs a density', next="add --density 1.01, or --batch 100g")
    more = percent_of(overage, "the overage", "--overage 3%") if overage else ZERO
    sheet = split_sheet(rungs, grams, settings.scales, settings.small_below, more)
    if save:
        _keep_all(draft, rungs, asked)
    if not as_json:
        from fvc.show import tries

        tries.series(screen(), draft.before, sheet, more)
        if not save and interactive() and confirmed(f"keep these {len(rungs)} as variants of {name}?"):
            _keep_all(draft, rungs, asked)
            save = True
    if as_json:
        from fvc.show import tries_data

        print_json(tries_data.series(draft.before, sheet, save))
    elif save:
        say(
            f"Kept as variants of {name}: {', '.join(r.id for r in rungs)}. Compare them:  fvc variant compare {name} {' '.join(r.id for r in rungs[:3])}"
        )
    else:
        say("Nothing was written. Add --save to keep them as variants.")
    warn(draft.before.warnings)
    return EXIT_DONE


def _keep_all(draft: Draft, rungs: Sequence[Rung], asked: Callable[[Rung], str]) -> None:
    """Write all the variants, or none of them."""
    archive, name = draft.archive, draft.reference.name
    check_free(archive, name, [r.id for r in rungs])
    start = start_from(archive, draft.reference.text)
    texts: dict[str, bytes] = {}
    for rung in rungs:
        title: dict[Any, object] = {("title",): f"{draft.before.plan.title} (not for use: {rung.not_for_use})"} if rung.not_for_use else {}
        texts[rung.id] = variant_text(start, asked(rung), "", rung.edits, title)
        read_variant(archive, name, rung.id, texts[rung.id])
    written: dict[str, bytes] = {}
    with writing(archive.lock_folder):
        try:
            for id, data in texts.items():
                path = plan_path(name, id)
                written[path] = data  # before it is: Ctrl-C may come right behind it
                replace(archive.root / path, data, None, path)
        except BaseException:
            for path, data in written.items():
                file = archive.root / path
                if file.exists() and file.read_bytes() == data:
                    file.unlink()
            raise
