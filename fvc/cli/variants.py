"""The command `variant`: keep what is tried with its question, compare, adopt, set aside, bring along."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated

import typer

from fvc.adoption import Adoption, adopt, adoption
from fvc.archive import Archive
from fvc.carrying import Carried, carry
from fvc.change.levels import LevelEdit, typed_level
from fvc.cli.parsing import AsJson, batch_of, confirmed, interactive, open_archive, print_json, screen, warn, with_bill
from fvc.cli.proposal import Draft, draft_of, rounded_notes, say, show_saved
from fvc.compare.diff import diff as compare
from fvc.compare.merge import TOTAL, Answer, short
from fvc.compare.ordering import FIRST, SECOND
from fvc.errors import EXIT_DONE, Fault, Refusal
from fvc.files.writer import replace, writing
from fvc.formula import Level
from fvc.formulary import plan_path
from fvc.names import nearest, printable
from fvc.saving import Saved, ready_to_save
from fvc.variants import (
    Start,
    check_free,
    known_formula,
    one_variant,
    read_variant,
    set_aside,
    start_from,
    variant_text,
    variants_of,
)

WORDS = ("list", "show", "compare", "new", "adopt", "set-aside", "carry")


def variant(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[list|show|compare|new|adopt|set-aside|carry] [NAME] [VARIANT ...]",
            help="What to do, the formula (new: or any revision of it), and the variant; compare: none for all. Alone: list.",
            show_default=False,
        ),
    ] = None,
    question: Annotated[str, typer.Option("--question", metavar="TEXT", help="new: what it asks.")] = "",
    expect: Annotated[str, typer.Option("--expect", metavar="TEXT", help="new: what you expect of it.")] = "",
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="adopt, set-aside: why, in a few words.")] = "",
    answer: Annotated[
        list[str] | None,
        typer.Option("--answer", metavar="LINE=SIDE", help="carry: LINE=parent, LINE=variant or LINE=2.5, for each open question."),
    ] = None,
    save: Annotated[bool, typer.Option("--save", help="adopt, carry: do it without asking.")] = False,
    as_json: AsJson = False,
) -> int:
    """Variants of a formula: keep one with its question, see what differs, adopt it, set it aside, or bring it along."""
    what, *rest = words or ["list"]
    if what not in WORDS:
        near = nearest(what, WORDS, 1)
        raise Refusal(
            f'"{printable(what)}" is not one of {", ".join(WORDS)}',
            next=f"fvc variant {near[0] if near else 'list'} {printable(' '.join(rest))}".rstrip(),
        )
    _options_fit(what, {"--question": question, "--expect": expect, "--reason": reason, "--answer": answer, "--save": save})
    archive = open_archive()
    if what == "list":
        _count(what, rest, 0, 1)
        return show_list(archive, rest[0] if rest else "", as_json)
    if what == "compare":
        _count(what, rest, 1, 60)
        return show_compare(archive, rest[0], rest[1:], as_json)
    _count(what, rest, 2, 2)
    name, id = rest
    if what == "show":
        return show_one(archive, name, id, as_json)
    if what == "new":
        draft = draft_of(archive, name)
        if not question.strip() and interactive() and not as_json:
            question = input("what does it ask? ")
        return keep_as_variant(draft, (), id, question, expect, as_json=as_json, start=start_from(archive, name))
    if what == "adopt":
        return do_adopt(archive, name, id, reason, save, as_json)
    if what == "set-aside":
        return do_set_aside(archive, name, id, reason, as_json)
    return do_carry(archive, name, id, answer or (), save, as_json)


_GOES_WITH = {
    "--question": ("new",), "--expect": ("new",), "--reason": ("adopt", "set-aside"), "--answer": ("carry",), "--save": ("adopt", "carry"),
}  # fmt: skip


def _options_fit(what: str, given: Mapping[str, object]) -> None:
    for option, value in given.items():
        if value and what not in _GOES_WITH[option]:
            raise Refusal(f"{option} does not go with {what}", next=f"it goes with {' and '.join(_GOES_WITH[option])}")


_USAGE = {
    "list": "fvc variant list [NAME]", "show": "fvc variant show NAME VARIANT", "compare": "fvc variant compare NAME [VARIANT ...]",
    "new": 'fvc variant new NAME VARIANT --question "…"', "adopt": "fvc variant adopt NAME VARIANT",
    "set-aside": 'fvc variant set-aside NAME VARIANT --reason "…"', "carry": "fvc variant carry NAME VARIANT",
}  # fmt: skip


def _count(what: str, rest: Sequence[str], least: int, most: int) -> None:
    if not least <= len(rest) <= most:
        raise Refusal(f"{what} takes {'a formula and a variant' if least == 2 else 'a formula'}", next=_USAGE[what])


# --- looking ---


def show_list(archive: Archive, name: str, as_json: bool) -> int:
    """Print the variants of one formula, or of all."""
    if name:
        known_formula(archive, name)
    found = [v for n in ([name] if name else archive.now.formulas()) for v in variants_of(archive, n)]
    orphans = [n for n in archive.now.source.names("variants") if n not in archive.now.formulas() and archive.now.variants(n)]
    warn(
        Fault(
            f"variants/{n} holds variants of a formula that is not here", next=f"if it was renamed:  git mv variants/{n} variants/NEW-NAME"
        )
        for n in orphans
    )
    if as_json:
        from fvc.show import tries_data

        print_json(tries_data.listing(found))
    else:
        from fvc.show import tries

        tries.listing(screen(), found, name)
    return EXIT_DONE


def show_one(archive: Archive, name: str, id: str, as_json: bool) -> int:
    """Print one variant: its question, what differs from its parent, what was tried."""
    found = one_variant(archive, name, id)
    reading, parent = found.reading, found.parent
    result = None
    if reading is not None and parent is not None:
        result = with_bill(archive, compare(parent, reading, batch_of(reading, "", "")[0]), parent, reading, cautions=True)
    if as_json:
        from fvc.show import tries_data

        print_json(tries_data.one(found, result))
    else:
        from fvc.show import tries

        tries.one(screen(), found, result)
    if reading is not None:
        warn(reading.warnings)
    warn([Fault(found.problem, file=found.reference.path)] if found.problem else [])
    return EXIT_DONE


def show_compare(archive: Archive, name: str, ids: Sequence[str], as_json: bool) -> int:
    """Print variants side by side with what they depart from."""
    import datetime

    from fvc.cli.parsing import basis_of
    from fvc.sidebyside import side_by_side

    known_formula(archive, name)
    result = side_by_side(archive, name, ids, basis_of(archive), datetime.date.today())
    if as_json:
        from fvc.show import tries_data

        print_json(tries_data.compared(result))
    else:
        from fvc.show import tries

        tries.compared(screen(), result)
    warn(Fault(v.problem, file=v.reference.path) for v in result.left)
    return EXIT_DONE


# --- keeping ---


def keep_as_variant(
    draft: Draft,
    edits: Sequence[LevelEdit],
    id: str,
    question: str,
    expect: str = "",
    *,
    lead: Sequence[str] = (),
    notes: Sequence[str] = (),
    as_json: bool = False,
    start: Start | None = None,
) -> int:
    """Write a new variant and show what differs from what it departs from."""
    archive, name = draft.archive, draft.reference.name
    check_free(archive, name, [id])
    start = start or start_from(archive, draft.reference.text)
    data = variant_text(start, question, expect, edits)
    after = read_variant(archive, name, id, data)
    path = plan_path(name, id)
    with writing(archive.lock_folder):
        replace(archive.root / path, data, None, path)
    result = with_bill(archive, compare(draft.before, after, batch_of(after, "", "")[0]), draft.before, after, cautions=True)
    if as_json:
        from fvc.show import data as as_data

        print_json(as_data.diff(result, saved=True) | {"variant": id, "parent": start.parent})
        return EXIT_DONE
    if edits:
        from fvc.show import differences

        for sentence in lead:
            say(sentence)
        differences.diff(screen(), result)
        for sentence in [*rounded_notes(edits), *(f"look at: {n}" for n in notes)]:
            say(sentence)
    say(f"Kept as {name}/{id}, which departs from {start.parent}: {path}.")
    if not edits:
        say(f"Change it:  fvc set {name}/{id} MATERIAL=LEVEL --save,  or  fvc swap {name}/{id} OLD NEW --save")
    say(f"Save it:  fvc revise {name}/{id} --reason TEXT")
    return EXIT_DONE


def do_adopt(archive: Archive, name: str, id: str, reason: str, save: bool, as_json: bool) -> int:
    """Show what adopting would change, and do it when told."""
    found = adoption(archive, name, id, reason)
    before = draft_of(archive, name).before
    result = with_bill(archive, compare(before, found.after, batch_of(found.after, "", "")[0]), before, found.after, cautions=True)
    saved = _adopt(archive, found) if save or reason.strip() else None
    if not as_json:
        from fvc.show import differences

        differences.diff(screen(), result, proposed=True)
        _say_comments("Comments of the formula that go with this:", found.lost)
        say(f"Reason of the revision: {found.reason}")
        if saved is None and interactive() and confirmed(f"adopt {id} as the next revision of {name}?"):
            saved = _adopt(archive, found)
    if as_json:
        from fvc.show import data

        print_json(data.diff(result, saved=saved is not None) | {"reason": found.reason, "revision": saved.revision if saved else None})
    elif saved is not None:
        show_saved(saved, name)
    else:
        say("Nothing was written. Add --save, or --reason TEXT with a word of your own, to adopt it.")
    return EXIT_DONE


def _adopt(archive: Archive, found: Adoption) -> Saved:
    ready_to_save(archive)
    with writing(archive.lock_folder):
        return adopt(archive, found)


def do_set_aside(archive: Archive, name: str, id: str, reason: str, as_json: bool) -> int:
    """Set a variant aside with its reason; its record stays."""
    found = one_variant(archive, name, id)
    if not reason.strip() and interactive() and not as_json:
        reason = input("why? ")
    with writing(archive.lock_folder):
        saved = set_aside(archive, found, reason)
    if as_json:
        from fvc.show import data

        print_json(data.saved(saved, found.reference.plan_name))
    else:
        say(f"{name}/{id} is set aside: {' '.join(reason.split())}. Its record stays.")
        if saved is not None:
            show_saved(saved, found.reference.plan_name)
    return EXIT_DONE


def do_carry(archive: Archive, name: str, id: str, given: Sequence[str], save: bool, as_json: bool) -> int:
    """Bring a variant along to what its formula has become; open questions are shown line by line."""
    known_formula(archive, name)
    found = carry(archive, name, id, {})
    if found is None:
        if as_json:
            print_json({"schema": 1, "variant": id, "moved": False, "saved": False, "questions": [], "decisions": []})
        else:
            say(f"{name}/{id} departs from {name} as last saved; there is nothing to bring along.")
        return EXIT_DONE
    found = _answered(archive, name, id, found, given)
    open_ones = list(found.merge.questions)
    if open_ones and interactive() and not as_json:
        from fvc.show import tries

        tries.carried(screen(), found)
        answers = list(given)
        for question in open_ones:
            if question.about == TOTAL:
                said = input("which line takes which level? LINE=LEVEL ").strip()
            else:
                said = input(f"{short(question, found.merge)}: parent, variant or a level? ").strip()
                said = f"{short(question, found.merge)}={said}" if said else ""
            answers += [said] if said else []
        found = _answered(archive, name, id, found, answers)
        open_ones = list(found.merge.questions)
    result = None
    if found.after is not None and found.variant.reading is not None:
        before = found.variant.reading
        result = with_bill(archive, compare(before, found.after, batch_of(found.after, "", "")[0]), before, found.after, cautions=True)
    write = save and not open_ones
    if write:
        _write_carried(archive, found)
    if not as_json:
        from fvc.show import differences, tries

        tries.carried(screen(), found)
        if result is not None:
            differences.diff(screen(), result, proposed=True)
            _say_comments("Comments of the variant's file that go with this:", found.lost)
            _say_comments(f"Comments of {found.parent} that do not come along:", found.left)
            if not write and interactive() and confirmed("write this into the variant?"):
                _write_carried(archive, found)
                write = True
    if as_json:
        from fvc.show import tries_data

        print_json(tries_data.carried(found, result, write))
    if open_ones:
        example = " ".join(
            '--answer "LINE=LEVEL"' if q.about == TOTAL else f'--answer "{short(q, found.merge)}=variant"' for q in open_ones
        )
        raise Refusal(
            f"{len(open_ones)} question{'s are' if len(open_ones) > 1 else ' is'} open, and nothing was written",
            next=f"answer with parent, variant or a level:  fvc variant carry {name} {id} {example} --save",
        )
    if not as_json:
        if write:
            say(
                f"Written to {found.variant.reference.path}, which now departs from {found.parent}. Save it:  fvc revise {name}/{id} --reason TEXT"
            )
        else:
            say("Nothing was written. Add --save to write it.")
    return EXIT_DONE


def _say_comments(lead: str, comments: Sequence[str]) -> None:
    if comments:
        say(lead)
        for comment in comments:
            screen().say(comment, 2)


def _write_carried(archive: Archive, found: Carried) -> None:
    path = found.variant.reference.path
    with writing(archive.lock_folder):
        replace(archive.root / path, found.text, found.old, path)


def _answered(archive: Archive, name: str, id: str, found: Carried, given: Sequence[str]) -> Carried:
    """The merge with answers: `propanediol=parent`, `=variant`, `=2.5`; `A:water=90` for a line without a question. Refusal for an odd one."""
    answers: dict[str, Answer] = {}
    for text in given:
        what, equals, value = (part.strip() for part in text.partition("="))
        fits = [q.about for q in found.merge.questions if what in (short(q, found.merge), q.about)]
        phase, colon, material = what.rpartition(":")
        lines = [
            f"phase.{n.phase}.percent.{n.material}" for n in found.merge.lines if n.material == material and (not colon or n.phase == phase)
        ]
        about = list(dict.fromkeys(fits or lines))
        if not equals or len(about) != 1:
            known = ", ".join(short(q, found.merge) for q in found.merge.questions)
            why = "names several lines" if len(about) > 1 else "answers no question"
            raise Refusal(
                f'--answer "{printable(text)}" {why}', next=f"open questions: {known}; write  LINE=parent, LINE=variant or LINE=2.5"
            )
        answers[about[0]] = _side(value, text)
    again = carry(archive, name, id, answers) if answers else found
    assert again is not None
    return again


def _side(value: str, text: str) -> Answer:
    if value in ("parent", "variant"):
        return FIRST if value == "parent" else SECOND
    try:
        level: Level = typed_level(value)
        return level
    except ValueError as error:
        raise Refusal(f'--answer "{printable(text)}": {error}', next="write  LINE=parent, LINE=variant or LINE=2.5") from None
