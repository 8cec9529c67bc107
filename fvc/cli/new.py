"""`fvc new formulary`, `new formula`, `new material`: a commented starting file."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from fvc.amounts import HUNDRED, ZERO, fixed, mass, shown
from fvc.archive import Archive
from fvc.batch import parse_batch
from fvc.change.levels import Asked, parse_assignment, typed_level
from fvc.cli.parsing import folder_name, open_archive, screen, warn
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.files import templates
from fvc.files.editor import level_toml
from fvc.files.plans import read_plan
from fvc.files.schema import schema_files
from fvc.files.writer import replace
from fvc.formulary import SETTINGS_FILE, material_path, plan_path
from fvc.git.repository import NO_IDENTITY, Repository
from fvc.names import nearest, printable, why_not_an_id
from fvc.references import Reference, folder_reading
from fvc.weighing import grams_to_percent

T = TypeVar("T")

KINDS = ("formulary", "formula", "material")


def new(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="formulary, formula or material.")],
    name: Annotated[str, typer.Argument(metavar="NAME", help="The folder of a new formulary, or the id of a formula or material.")],
    lines: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[LINE ...]",
            help="Lines of a formula: A:water=balance A:glycerin=3, or all in grams: A:water=300g A:glycerin=25g.",
            show_default=False,
        ),
    ] = None,
    title: Annotated[str, typer.Option("--title", metavar="TEXT", help="What the product or the material is called.")] = "",
    batch: Annotated[str, typer.Option("--batch", metavar="SIZE", help="Usual batch size of a formula.")] = "",
    function: Annotated[
        list[str] | None, typer.Option("--function", metavar="WORD", help="What a material does; may be given more than once.")
    ] = None,
    inci: Annotated[str, typer.Option("--inci", metavar="NAME", help="The INCI name, when a material is one substance.")] = "",
    decimals: Annotated[
        int | None,
        typer.Option(
            "--decimals", min=0, max=8, help="Decimals of levels worked out from grams; else as formulary.toml says.", show_default=False
        ),
    ] = None,
) -> int:
    """A commented starting file: a formulary, a formula, or the record of a raw material."""
    if kind not in KINDS:
        near = nearest(kind, KINDS, 1)
        raise Refusal(
            f'"{printable(kind)}" cannot be made', next=f"fvc new {near[0] if near else 'formula'} NAME; known are {', '.join(KINDS)}"
        )
    if kind != "formula" and lines:
        raise Refusal(f"a {kind} has no lines", next=f"fvc new {kind} {printable(name)}")
    if kind == "formulary":
        return new_formulary(Path(name), title)
    reason = why_not_an_id(name)
    if reason:
        example = "citric-acid-50" if kind == "material" else "face-toner"
        raise Refusal(f'"{printable(name)}" cannot be an id: {reason}', next=f"for example  fvc new {kind} {example}")
    archive = open_archive()
    taken = [p for p in (plan_path(name), material_path(name)) if archive.now.source.read(p) is not None]
    if taken:
        raise Refusal(Fault(f"{name} is there already", file=taken[0], next="open that file in your editor, or choose another id"))
    if kind == "material":
        text = templates.material(title or name.replace("-", " ").capitalize(), function or [], inci)
        path = material_path(name)
    else:
        text, path = (
            _formula(archive, name, title, batch, lines or [], archive.now.settings().decimals if decimals is None else decimals),
            plan_path(name),
        )
    replace(archive.root / path, text.encode(), None, path)
    out = screen()
    out.print(f"Made {folder_name(archive.root / path)}. Open it in your editor.")
    if kind == "formula":
        reading = folder_reading(archive, Reference(name, name))
        warn(reading.faults, "still to do")
        out.print(f"Then:  fvc sheet {name}   and   fvc revise {name} --reason TEXT")
    else:
        out.print(f"Then use it in a plan:  fvc set FORMULA A:{name}=1.0")
    return EXIT_DONE


def _formula(archive: Archive, name: str, title: str, batch: str, lines: list[str], decimals: int) -> str:
    """The text of a new plan from the lines asked for."""
    asked = [parse_assignment(line) for line in lines]
    in_grams = [a for a in asked if re.fullmatch(r"[0-9.,]+\s*(mg|g|kg|oz|lb)", a.value, re.IGNORECASE)]
    if in_grams and len(in_grams) != len(asked):
        rest = next(a for a in asked if a not in in_grams)
        raise Refusal(f"grams and percent are mixed: {in_grams[0].text} and {rest.text}", next="give all lines in grams, or all in percent")
    phases: dict[str, dict[str, str]] = {}
    try:
        parse_batch(batch or "100 g")
        if in_grams:
            weights = [_each(a, mass) for a in asked]
            levels = [fixed(p, decimals) for p in grams_to_percent(weights, decimals)]
            total = sum(weights, ZERO)
            for a, weight, level in zip(asked, weights, levels, strict=True):
                if not level.strip("0."):
                    share = shown(weight * HUNDRED / total, decimals, 8)
                    raise ValueError(f"{a.text}: that is {share} %, which rounds to 0 at {decimals} decimals; add --decimals")
            screen().print(
                f"{shown(total, 0)} g in all; levels rounded half up to {decimals} decimal{'s' if decimals != 1 else ''}, the rest on the largest single line."
            )
            batch = batch or f"{shown(total, 0)} g"
        else:
            levels = [level_toml(_each(a, typed_level)) for a in asked]
    except ValueError as error:
        raise Refusal(str(error), next="for example  A:water=balance A:glycerin=3  or  A:water=300g A:glycerin=25g") from None
    for a, level in zip(asked, levels, strict=True):
        phase = phases.setdefault(a.phase or "A", {})
        if a.material in phase:
            raise Refusal(f"{a.material} is given twice in phase {a.phase or 'A'}", next="leave one of the two")
        phase[a.material] = level
    if not phases:
        phases = {"A": {"water": '"balance"'}}
    text = templates.formula(title or name.replace("-", " ").capitalize(), batch or "100 g", phases)
    parsed = read_plan(text.encode(), plan_path(name), name)
    if parsed.value is None:
        raise Refusal(parsed.faults)
    return text


def _each(asked: Asked, read: Callable[[str], T]) -> T:
    """One value read, with the whole assignment named when it cannot be."""
    try:
        return read(asked.value)
    except ValueError as error:
        raise ValueError(f"{asked.text}: {error}") from None


def new_formulary(folder: Path, title: str) -> int:
    """A folder with formulary.toml, schemas, a first material, and git around it where there is none."""
    name = folder.resolve().name if folder.name in ("", "..") else folder.name
    if (folder / SETTINGS_FILE).exists():
        raise Refusal(Fault("a formulary is there already", file=f"{folder_name(folder)}/{SETTINGS_FILE}", next="cd there and go on"))
    if not name.isprintable() or name.startswith("-"):
        raise Refusal(f'"{printable(str(folder))}" is no good name for a folder', next="for example  fvc new formulary my-studio")
    files = {SETTINGS_FILE: templates.settings(title or name), "materials/water.toml": templates.WATER} | schema_files()
    present = [p for p in files if (folder / p).exists()]
    if present:
        raise Refusal(
            Fault("a file of this name is there already", file=f"{folder_name(folder)}/{present[0]}", next="choose another folder")
        )
    try:
        for path, text in files.items():
            (folder / path).parent.mkdir(parents=True, exist_ok=True)
            replace(folder / path, text.encode(), None, path)
        (folder / "formulas").mkdir(exist_ok=True)
    except OSError as error:
        raise Refusal(f"{printable(str(folder))} cannot be made: {error.strerror}", next="choose another folder") from None
    out = screen()
    out.print(f"Made {folder_name(folder)}: {SETTINGS_FILE}, schemas for your editor, and the material water.")
    _first_save(folder.resolve(), list(files))
    out.print("Next:")
    out.print(f"    cd {shlex.quote(folder_name(folder))}")
    out.print("    fvc new material glycerin --function humectant --inci Glycerin")
    out.print("    fvc new formula face-toner A:water=balance A:glycerin=3")
    out.print("    fvc sheet face-toner")
    return EXIT_DONE


def _first_save(root: Path, files: list[str]) -> None:
    """Put git around the folder where there is none, and save the first files."""
    found = Repository.find(root)
    if isinstance(found, Fault):
        try:
            found = Repository.create(root)
        except Refusal as refusal:
            warn(refusal.faults)
            return
    if found.identity() is None:
        warn([NO_IDENTITY._replace(message="git does not know who you are yet, so nothing was saved")], "before your first fvc revise")
        return
    if found.prefix:
        screen().say(f"It stands inside the git repository {printable(found.top.name)}, so its history is kept in that one.")
    try:
        found.save([found.prefix + f for f in files], "New formulary\n")
    except Refusal as refusal:
        warn(refusal.faults)
    finally:
        found.close()
