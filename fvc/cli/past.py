"""Commands that look back: history, trace."""

from __future__ import annotations

from typing import Annotated

import typer

from fvc.archive import Archive
from fvc.cli.parsing import AsJson, open_archive, print_json, screen, warn
from fvc.errors import EXIT_DONE, Refusal
from fvc.references import parse_reference
from fvc.story import Story, story_of, trace_of

Name = Annotated[str, typer.Argument(metavar="NAME", help="A formula, or NAME/VARIANT.")]


def history(name: Name, as_json: AsJson = False) -> int:
    """All revisions, newest first: number, date, author, reason, and the net change of each."""
    return show_history(open_archive(), name, as_json)


def show_history(archive: Archive, name: str, as_json: bool = False) -> int:
    """Print the history of a plan."""
    if not as_json:
        from fvc.show import past  # while git is answering
    story = _story(archive, name)
    if as_json:
        from fvc.show import data

        print_json(data.history(story))
    else:
        past.history(screen(), story)
    warn(story.problems)
    return EXIT_DONE


def trace(
    name: Name,
    material: Annotated[str, typer.Argument(metavar="MATERIAL", help="The ingredient to follow.")],
    as_json: AsJson = False,
) -> int:
    """The level of one ingredient through time with the reason of each change: why is it at this level?"""
    return show_trace(open_archive(), name, material, as_json)


def show_trace(archive: Archive, name: str, material: str, as_json: bool = False) -> int:
    """Print the life of one ingredient in a plan."""
    if not as_json:
        from fvc.show import past  # while git is answering
    story = _story(archive, name)
    levels = trace_of(story, material)
    if as_json:
        from fvc.show import data

        print_json(data.trace(story, material, levels))
    else:
        past.trace(screen(), story, material, levels)
    warn(story.problems)
    return EXIT_DONE


def _story(archive: Archive, name: str) -> Story:
    reference = parse_reference(name)
    if reference.ending:
        raise Refusal(f"{name} is one moment; a history is of a plan", next=f"write  {reference.plan_name}")
    return story_of(archive, reference)
