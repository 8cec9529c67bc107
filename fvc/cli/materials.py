"""The command `material`: what is on the shelf, where it is used, and what a change of a record did."""

from __future__ import annotations

import datetime
from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.cli.parsing import AsJson, basis_of, open_archive, print_json, screen, warn
from fvc.errors import EXIT_DONE, Refusal
from fvc.names import nearest, printable
from fvc.reach import known_material, reach, shelf_of

WORDS = ("list", "show", "reach")


def material(
    what: Annotated[str, typer.Argument(metavar="[list|show|reach]", help="What to do; alone: list.", show_default=False)] = "list",
    name: Annotated[str, typer.Argument(metavar="[MATERIAL]", help="The id of a record, for show and reach.", show_default=False)] = "",
    since: Annotated[
        str, typer.Option("--since", metavar="DATE|COMMIT", help="For reach: compare with the record as saved by then; else as last saved.")
    ] = "",
    as_json: AsJson = False,
) -> int:
    """Raw materials: all with their use, one in full, or what a change of its record did to every plan."""
    if what not in WORDS:
        near = nearest(what, WORDS, 1)
        raise Refusal(
            f'"{printable(what)}" is not one of {", ".join(WORDS)}',
            next=f"fvc material {near[0] if near else 'show'} {printable(name or what)}",
        )
    if what == "list" and (name or since):
        raise Refusal("list takes no name", next=f"fvc material show {printable(name)}".rstrip())
    if what != "list" and not name:
        raise Refusal("which material?", next=f"fvc material {what} MATERIAL; fvc material  lists them")
    if since and what != "reach":
        raise Refusal("--since goes with reach", next=f"fvc material reach {printable(name)} --since {printable(since)}")
    archive = open_archive()
    if what == "reach":
        return show_reach(archive, name, since, as_json)
    return show_list(archive, as_json) if what == "list" else show_one(archive, name, as_json)


def show_list(archive: Archive, as_json: bool = False) -> int:
    """Print every material with its use."""
    shelf = shelf_of(archive)
    today = datetime.date.today()
    if as_json:
        from fvc.show import materials_data

        print_json(materials_data.listing(shelf, today))
    else:
        from fvc.show import materials

        materials.listing(screen(), shelf, today)
    warn(shelf.problems)
    return EXIT_DONE


def show_one(archive: Archive, name: str, as_json: bool = False) -> int:
    """Print one material in full."""
    known_material(archive, name)
    found, faults, _ = archive.now.ingredient(name)
    if found is None:
        raise Refusal(faults)
    shelf = shelf_of(archive)
    today = datetime.date.today()
    if as_json:
        from fvc.show import materials_data

        print_json(materials_data.one(found, shelf.uses.get(name, ()), today))
    else:
        from fvc.show import materials

        materials.one(screen(), found, shelf.uses.get(name, ()), basis_of(archive).currency, today)
    return EXIT_DONE


def show_reach(archive: Archive, name: str, since: str, as_json: bool = False) -> int:
    """Print what a change of a record did to every plan."""
    from fvc.compare.bill import bill

    result = reach(archive, name, since)
    basis, today = basis_of(archive), datetime.date.today()
    bills = [bill(each.before, each.after, basis, today) for each in result.plans]
    if as_json:
        from fvc.show import materials_data

        print_json(materials_data.reach(result, bills))
    else:
        from fvc.show import materials

        materials.reach(screen(), result, bills)
    warn(result.problems)
    return EXIT_DONE
