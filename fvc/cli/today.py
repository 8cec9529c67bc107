"""`fvc` alone: today's page. Which plans are unsaved or do not close, which batches are open."""

from __future__ import annotations

from shlex import quote
from typing import TYPE_CHECKING, Any

from fvc.archive import Archive
from fvc.cli.parsing import open_archive, print_json, screen, warn
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.formulary import plan_path
from fvc.names import why_not_an_id
from fvc.references import Reference, folder_reading, plans_here
from fvc.saving import renamed_from, settings_unsaved
from fvc.together.setup import unprepared
from fvc.trials import all_trials, looks_due, unsaved_trials

if TYPE_CHECKING:
    from fvc.show.screen import Screen
    from fvc.trial import Trial


def today(as_json: bool) -> int:
    """Print today's page of the formulary around the current folder, or where to begin without one."""
    try:
        archive = open_archive()
    except Refusal as refusal:
        if as_json:
            raise
        from fvc import __version__
        from fvc.cli.commands import help_text

        print(help_text(__version__))
        print(f"\nHere: {refusal.faults[0].message}.\n{refusal.faults[0].next}")
        return EXIT_DONE
    return show_today(archive, as_json)


def show_today(archive: Archive, as_json: bool = False) -> int:
    """Print today's page."""
    plans = [_plan(archive, reference) for reference in sorted(plans_here(archive), key=lambda r: bool(r.variant))]
    plans += [_gone(f) for f in _missing(archive)]
    trials, problems = all_trials(archive) if archive.now.trials() else ([], [])
    settings = settings_unsaved(archive)
    unfinished = None if isinstance(archive.found, Fault) else archive.found.unfinished()
    to_settle = _to_settle(archive) if unfinished else []
    if as_json:
        from fvc.show.trials_data import due as due_data

        name = archive.now.settings().name
        page = {"schema": 1, "formulary": name, "plans": plans, "open_trials": [t.id for t in trials if not t.closed]}
        more = {
            "due": due_data(looks_due(archive, trials)),
            "unsaved_trials": unsaved_trials(archive),
            "to_settle": to_settle,
            "unfinished": unfinished,
        }
        print_json(page | {"settings_saved": settings is None} | more)
    else:
        _page(archive, [p for p in plans if p["plan"] not in to_settle], trials, settings, to_settle, unfinished)
    warn(problems)
    not_set_up = unprepared(archive, if_shared=True)
    warn([not_set_up] if not_set_up else [])
    return EXIT_DONE


def _plan(archive: Archive, reference: Reference) -> dict[str, Any]:
    row: dict[str, Any] = {"plan": reference.plan_name, "title": None, "status": None, "revision": None, "saved": False, "problem": None}
    try:
        for id in (reference.name, reference.variant):
            reason = why_not_an_id(id) if id else None
            if reason:
                raise Refusal(f'"{id}" is no id, {reason}: rename its file')
        reading = folder_reading(archive, reference)
        saved = archive.head is not None and not archive.altered(reference.path, reading)
        row |= {"title": reading.plan.title, "status": reading.plan.status, "revision": reading.plan.revision, "saved": saved}
        if reading.faults:
            row["problem"] = reading.faults[0].message
    except Refusal as refusal:
        row["problem"] = refusal.faults[0].text().splitlines()[0]
    return row


def _missing(archive: Archive) -> list[str]:
    """Formulas that were saved and are gone from the folder; one that was renamed is not gone."""
    if archive.head is None:
        return []
    here = archive.now.formulas()
    renamed = {renamed_from(archive, plan_path(f)) for f in here}
    return [f for f in archive.at(archive.head).formulas() if f not in here and plan_path(f) not in renamed]


def _gone(name: str) -> dict[str, Any]:
    way_back = f"it was saved and is gone from the folder; to have it back:  git restore {plan_path(name)}"
    return {"plan": name, "title": None, "status": None, "revision": None, "saved": False, "problem": way_back}


def _page(
    archive: Archive, plans: list[dict[str, Any]], trials: list[Trial], settings: Fault | None, to_settle: list[str], unfinished: str | None
) -> None:
    from fvc.show.screen import grid

    out = screen()
    out.head(archive.now.settings().name or archive.root.name)
    if unfinished:
        _unfinished(out, unfinished, to_settle)
    if not plans and not unfinished:
        out.print("No formulas yet. Begin with  fvc new formula my-first-toner")
        return
    table = grid(("plan", "left"), ("revision", "left"), ("status", "left"), ("title", "left"))
    for row in plans:
        if row["title"] is None:
            table.add_row(row["plan"], "gone" if "gone from" in row["problem"] else "cannot be read", "", "")
            continue
        state = f"{row['revision']}" if row["revision"] else "none yet"
        table.add_row(
            row["plan"],
            state if row["saved"] else f"{state}, changed since" if row["revision"] else "not saved yet",
            row["status"],
            row["title"],
        )
    if plans:
        out.table(table)
    unsaved = [r for r in plans if not r["saved"] and not r["problem"]]
    if unsaved or settings:
        out.say("")
        out.head("Not saved")
        if settings:
            out.say(f"{settings.message}:", 2)
            for command in settings.next.split("\n")[1:]:
                out.say(command.strip(), 4)
        for row in unsaved:
            look = "diff" if row["revision"] else "sheet"  # a plan that was never saved has nothing to be compared with
            out.say(f"fvc {look} {row['plan']}   then   fvc revise {row['plan']} --reason TEXT", 2)
    broken = [r for r in plans if r["problem"]]
    if broken:
        out.say("")
        out.head("To mend")
        for row in broken:
            out.say(f"{row['plan']}: {row['problem']}", 2)
    said = _batches(archive, out, trials)
    if not (unsaved or settings or broken or said or unfinished):
        out.say("")
        out.print("Everything is saved and closes. Next:  fvc sheet NAME,  fvc weigh NAME,  fvc set NAME MATERIAL=LEVEL")


def _to_settle(archive: Archive) -> list[str]:
    from fvc.together.settling import open_files

    return [each.name for each in open_files(archive)]


def _unfinished(out: Screen, what: str, to_settle: list[str]) -> None:
    """What git is in the middle of, which nothing can be saved before."""
    out.head(f"In the middle of {what}")
    for name in to_settle:
        out.say(f"both changed {name}:  fvc settle {quote(name)}", 2)
    if not to_settle:
        out.say("nothing is open any more:  fvc settle  saves it" if what == "a merge" else "git status  says how it goes on", 2)
    out.say("")


def _batches(archive: Archive, out: Screen, trials: list[Trial]) -> bool:
    """What waits at the bench, for a look, or to be saved; True when anything does."""
    from fvc.bench import at_the_bench
    from fvc.show.trials import due, state

    bench = [t for t in trials if at_the_bench(t)]
    looks, unsaved = looks_due(archive, trials), unsaved_trials(archive)
    if bench:
        out.say("")
        out.head("At the bench")
        for trial in bench:
            out.say(f"{trial.id}  {trial.plan}: {state(trial)}   fvc trial weigh {trial.id}", 2)
    if looks:
        out.say("")
        out.head("To look at today")
        due(out, looks)
        out.say("fvc trial see TRIAL clear pH 4.82", 2)
    waiting = [t for t in trials if not t.closed and t not in bench and t.id not in {each.id for each, _ in looks}]
    if waiting:
        out.say("")
        out.head("Without a verdict")
        for trial in waiting:
            out.say(f"{trial.id}  {trial.plan}: {state(trial)}", 2)
    if unsaved:
        out.say("")
        out.say(f"On disk and not saved in git: {', '.join(unsaved)}. To save them:  fvc trial save")
    return bool(bench or looks or waiting or unsaved)
