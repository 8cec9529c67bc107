"""A session at the bench: the next line in large, Enter takes the target, and every entry is on disk before the next question."""

from __future__ import annotations

import datetime
import io
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Annotated, Any

import typer

from fvc.amounts import ZERO, celsius, minutes
from fvc.archive import Archive
from fvc.bench import (
    Target,
    account,
    beakers_apart,
    check_playable,
    on_the_scale,
    restoring,
    targets,
    vessel_before,
    water_of,
    with_entries,
)
from fvc.cli.entries import check_lot, check_weight, chosen, put_back_words, slip_in
from fvc.cli.parsing import interactive, open_archive, screen, warn
from fvc.deviations import grams as in_grams
from fvc.errors import EXIT_DONE, Refusal
from fvc.formula import Phase
from fvc.names import printable
from fvc.scales import Weight, weight_from_text
from fvc.shelf import usable
from fvc.show.bench import line_screen
from fvc.show.screen import cell_width
from fvc.show.trials import both_scales, happened
from fvc.show.trials import slip as show_slip
from fvc.slips import ADD, BALANCE_GIVES, ENLARGE, LEAVE, TAKE_BACK, Slip, WayOut, is_wild, taken_back
from fvc.steps import AFTER, BULK, COOL, HEAT, LEFT, OPEN_LINE, POUR, PUT_BACK, VESSEL, WEIGH, Step, next_step, written
from fvc.trial import REWORKINGS, WEIGHINGS, Entry, Trial, in_force
from fvc.trials import UNSTAMPED, add_entries, author, last_lot, material_of, save_trial, stamped, trial_named

HELP = """\
Enter       what is asked: the target was weighed
4.52        this was weighed; 342.60-338.08 by difference; 0.2 oz, 4520 mg
b           back: correct what was noted last, or take it back; b again: the one before
n TEXT      a note
l LOT       the lot of this line; l alone offers the last one
s           leave this line out
q           stop for now; fvc trial weigh goes on here"""

NOTHING = ("0", "0.0", "0.00")
DEGREES_OFF = 25  # °C by which a temperature may miss what is asked before it is more likely the other scale
EVAPORATED_ABOVE = Fraction(1, 5)  # of what is in the vessel: more than that is more likely a slip of the pen


def weigh(
    words: Annotated[
        str, typer.Argument(metavar="[TRIAL]", help="The batch; without it the one that is at the bench.", show_default=False)
    ] = "",
    cumulative: Annotated[bool, typer.Option("--cumulative", help="The scale is not tared between lines: type what it shows.")] = False,
    sheet: Annotated[str, typer.Option("--from", metavar="FILE", help="A typed-up sheet, CSV: material, grams, and phase, lot, at.")] = "",
    by: Annotated[str, typer.Option("--by", metavar="NAME", help="Who weighs; without it, git's identity.")] = "",
    sure: Annotated[bool, typer.Option("--sure", help="--from: take weights that are far from their targets.")] = False,
) -> int:
    """A session at the bench: the next line in large, with its target and what is on the scale. Stop at any time; it resumes where it was."""
    archive = open_archive()
    trial = trial_named(archive, words) if words else chosen(archive, [], 0)[0]
    if trial.closed:
        raise Refusal(
            f"{trial.id} is closed: {trial.verdict}", next=f"fvc trial show {trial.id};  a further entry says why:  --because TEXT"
        )
    if sheet:
        from fvc.cli.typed_sheet import weigh_from

        return weigh_from(archive, trial, sheet, by, said=sure)
    session = Session(archive, trial, author(archive, by), cumulative)
    try:
        session.run()
    except EOFError:
        pass
    except KeyboardInterrupt:
        screen().say("")
        screen().say(f"Everything up to here is on disk. To go on:  fvc trial weigh {trial.id}")
        raise
    session.end()
    return EXIT_DONE


class _Leave(Exception):
    """The maker stops for now."""


class _Back(Exception):
    """The maker goes back to what was noted before."""


@dataclass
class Session:
    """One session: the record as it stands, and what was passed over."""

    archive: Archive
    trial: Trial
    by: str
    cumulative: bool = False
    passed: set[str] = field(default_factory=set)
    empty: dict[str, Fraction] = field(default_factory=dict)  # what the scale shows without what we know of, by phase
    told: set[str] = field(default_factory=set)  # phases whose method was shown
    lots: dict[str, str] = field(default_factory=dict)

    def run(self) -> None:
        """Step by step, until there is none left or the maker stops."""
        screen().say(f"{self.trial.id}   {self.trial.batch} of {self.trial.plan}.   ? shows what can be typed.")
        if isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="replace")  # a slip of the keyboard is no reason to stop
        going = True
        while going:
            try:
                try:
                    going = self._next()
                except _Back:
                    self._back()
            except Refusal as refusal:  # told, and asked again: nothing was written
                warn(refusal.faults, "not written")
                self.trial = trial_named(self.archive, self.trial.id)  # somebody else may have written meanwhile
            except _Leave:
                going = False

    def _next(self) -> bool:
        """Ask the next question; False when there is none left. Each writes what it asked for before the next one."""
        last = written(self.trial)[-1:]
        if last and last[0].action == "weighed" and last[0].id not in self.passed:
            self._after_weighing(last[0])
            return True
        step = next_step(self.trial, self.passed)
        if step is None:
            return False
        do = {
            LEFT: self._left,
            PUT_BACK: self._put_back,
            WEIGH: self._weigh,
            VESSEL: self._vessel,
            HEAT: self._heat,
            AFTER: self._after,
            COOL: self._cool,
            POUR: self._pour,
            OPEN_LINE: self._open_line,
            BULK: self._bulk,
        }
        self._method(step.phase)
        do[step.kind](step)
        return True

    def end(self) -> None:
        """Say where things stand, and save the record in git."""
        out = screen()
        problem = save_trial(self.archive, self.trial, "weighed at the bench")
        left = [t for t in targets(self.trial) if not t.settled and not t.open]
        if left:
            out.say(f"{len(left)} of {len(self.trial.asked)} lines are still to be weighed. To go on:  fvc trial weigh {self.trial.id}")
        else:
            from fvc.cli.trial import deviations_of

            found = deviations_of(self.archive, self.trial)
            out.say(f"All lines are in.{' Deviations:' if found else ' No deviation from the sheet.'}")
            for deviation in found:
                out.item("- ", deviation.words, 2)
            out.say(f"To note what you see:  fvc trial see {self.trial.id} clear pH 4.82")
        warn([problem] if problem else [])

    # --- asking and writing ---

    def _ask(self, prompt: str, own: str = "", material: str = "") -> str:
        """An answer; what can be typed anywhere is taken care of here.

        own: letters that this question takes for itself. material: the one that a lot may be given for.
        """
        out = screen()
        while True:
            room = 4 if prompt.endswith("[y/N] ") else 14
            if cell_width(prompt) > out.width - room:  # the answer stands on the row of its question, or the question is folded
                out.say(prompt.rstrip(" :>"))
                prompt = "> "
            text = " ".join(input(prompt).split())
            low = text.lower()
            if low in tuple(own):
                return low
            if low == "q":
                raise _Leave
            if low == "b":
                raise _Back
            if low == "?":
                for row in HELP.split("\n"):
                    out.say(row, 4)
            elif low == "n" or low.startswith("n "):
                self._note(text[1:].strip())
            elif material and (low == "l" or low.startswith("l ")):
                self.lots[material] = self._lot(material, text[1:].strip()) or self.lots.get(material, "")
                out.say(f"lot of {material}: {self.lots[material] or 'none noted'}")
            else:
                return text

    def _note(self, text: str) -> None:
        text = text or input("note: ").strip()
        if text:
            self._write(Entry("", UNSTAMPED, "noted", text))

    def _yes(self, question: str) -> bool:
        """A plain yes or no: here `n` is no note."""
        return self._ask(f"{question} [y/N] ", own="nb").lower() in ("y", "yes")

    def _write(self, *entries: Entry) -> None:
        """Have entries on disk, stamped now; nothing is asked before they are. Refusal when somebody else has written meanwhile."""

        def make(now: Trial) -> list[Entry]:
            known = {e.id for e in self.trial.entries}
            others = [e for e in now.entries if e.id not in known and e.action not in ("noted", "seen")]
            if others and any(e.action != "noted" for e in entries):
                raise Refusal(f"somebody else has written meanwhile: {happened(others[-1])}", next="look at what is asked now")
            out = []
            for entry in entries:
                at, later = stamped(now, "", corrects=entry.corrects)
                out.append(entry._replace(at=at, written=later, by=self.by))
            return out

        self.trial = add_entries(self.archive, self.trial, make)

    def _sure(self, check: Callable[[], object]) -> bool:
        """Run a check that may have a question; True when there is none or the answer is yes. In a terminal the check itself has asked."""
        try:
            check()
        except Refusal as refusal:
            return not interactive() and self._yes(f"{refusal.faults[0].message} Is that right?")
        return True

    def _weight(self, text: str, otherwise: Fraction) -> Weight:
        try:
            return weight_from_text(text) if text else Weight(otherwise)
        except ValueError as error:
            raise Refusal(
                f'"{printable(text)}" is no weight: {error}', next="Enter takes what is asked; ? shows what can be typed"
            ) from None

    # --- what is shown before a question ---

    def _method(self, phase: str) -> None:
        about = self._phase(phase)
        if phase and phase not in self.told:
            self.told.add(phase)
            out = screen()
            out.say("")
            out.head(f"Phase {phase}" + (f": {about.title}" if about.title else ""))
            if about.method:
                out.say(about.method, 2)

    def _phase(self, name: str) -> Phase:
        return next((p for p in self.trial.phases if p.name == name), Phase(name))

    def _shows(self, phase: str) -> Fraction:
        """What a scale that is not tared shows with the beaker of a phase on it."""
        return on_the_scale(self.trial, phase) + self.empty.get(phase, ZERO)

    # --- a line ---

    def _weigh(self, step: Step) -> None:
        line = step.line
        assert line is not None
        if self.cumulative and step.phase not in self.empty:
            self._ask_empty(step.phase)
        target = line.missing if line.weighed else (line.grams or ZERO)
        shows = self._shows(step.phase) + target if self.cumulative else None
        line_screen(screen(), step, target, on_the_scale(self.trial, step.phase), self.lots.get(line.material, ""), shows)
        text = self._ask("> ", own="s", material=line.material)
        if text == "s":
            self._omit(line)
        elif text:
            self._portion("weighed", line, self._net(text, target, step.phase))
        elif target > 0:
            self._portion("weighed", line, Weight(target))
        else:
            raise Refusal(f"{line.material} has no target", next="type what was weighed, or s to leave it out")

    def _ask_empty(self, phase: str) -> None:
        there = on_the_scale(self.trial, phase)
        text = self._ask(f"The scale shows now, with the beaker of phase {phase} [{in_grams(there)}]: ")
        shows = ZERO if text in NOTHING else self._weight(text, there).grams
        self.empty[phase] = shows - there

    def _net(self, text: str, otherwise: Fraction, phase: str) -> Weight:
        """A weight as typed; on a scale that is not tared less what was on it before."""
        weight = self._weight(text, otherwise)
        if text and self.cumulative and not weight.reading:
            before = self._shows(phase)
            if weight.grams <= before:
                raise Refusal(
                    f"the scale shows {in_grams(weight.grams)} g, not more than the {in_grams(before)} g before",
                    next="type what it shows with everything on it",
                )
            return Weight(weight.grams - before, f"{in_grams(weight.grams)}-{in_grams(before)}")
        return weight

    def _portion(self, action: str, line: Target, weight: Weight) -> None:
        """Every weight of a line goes this way: asked about when it is wild, and written; a slip is then told by itself."""
        if not self._sure(lambda: check_weight(self.trial, line.phase, line.material, weight, said=False)):
            return
        lot = self.lots.get(line.material, "")
        phase = line.phase if action == "weighed" else ""
        self._write(Entry("", UNSTAMPED, action, line.material, grams=weight.grams, reading=weight.reading, phase=phase, lot=lot))

    def _omit(self, line: Target) -> None:
        why = self._ask(f"leave {line.material} out? Type why, or y; [Enter: no]: ", own="nby")
        if why not in ("", "n", "b", "no"):
            self._write(
                Entry("", UNSTAMPED, "omitted", line.material, phase=line.phase, because="" if why.lower() in ("y", "yes") else why)
            )

    def _lot(self, material: str, given: str) -> str:
        """A lot as it is to be noted: as typed, or the last one, which is offered; "" when it is not to be."""
        known = self.archive.now.ingredient(material)[0]
        shelf = known.lots if known and not known.nested else ()
        first = next((lot.number for lot in usable(shelf, datetime.date.today())), "")
        last = last_lot(self.archive, material, self.trial) or first
        lot = given or self._ask(f"lot of {material}{f' [{last}]' if last else ''}: ") or last
        if not lot or not self._sure(lambda: check_lot(self.archive, material, lot, said=False)):
            return ""
        numbers = [each.number for each in shelf]
        if numbers and lot not in numbers and not self._yes(f"{lot} is none of its lots ({', '.join(numbers)}). Is that right?"):
            return ""
        return check_lot(self.archive, material, lot, said=True)

    # --- a slip ---

    def _after_weighing(self, entry: Entry) -> None:
        """Tell at once what a slip did, and go the way out that is chosen; asked again where that was broken off."""
        self.passed.add(entry.id)  # also when it cannot be told whether it is one
        slip = slip_in(self.archive, self.trial, entry.phase, entry.subject)
        if slip is None:
            return
        self.passed.discard(entry.id)
        show_slip(screen(), slip)
        numbers = [str(n) for n in range(1, len(slip.ways) + 1)]
        answer = self._ask(f"which [1 to {len(slip.ways)}; Enter: 1]: ") or "1"
        if answer not in numbers:
            raise Refusal(f'"{printable(answer)}" is none of them', next=f"one of {', '.join(numbers)}")
        way = slip.ways[int(answer) - 1]
        if way.way == LEAVE:
            self.passed.add(entry.id)
        else:
            self._go(slip, way)

    def _go(self, slip: Slip, way: WayOut) -> None:
        line = slip.target
        if way.way == TAKE_BACK:
            self._take_back(slip)
        elif way.way == ADD:
            shows = f"; the scale will show {in_grams(self._shows(line.phase) - slip.over)}" if self.cumulative else ""
            text = self._ask(f"{line.material} to add [{in_grams(-slip.over)}{shows}]: ", material=line.material)
            self._portion("weighed", line, self._net(text, -slip.over, line.phase))
        elif way.way == ENLARGE:
            self._write(
                Entry("", UNSTAMPED, "enlarged", "batch", grams=way.batch, because=f"{line.material} was {in_grams(slip.over)} g over")
            )
        elif way.way == BALANCE_GIVES:
            to = way.later[0]
            why = f"{line.material} was {in_grams(abs(slip.over))} g {'over' if slip.over > 0 else 'short'}"
            self._write(Entry("", UNSTAMPED, "retargeted", to.material, grams=to.grams, phase=to.phase, because=why))

    def _take_back(self, slip: Slip) -> None:
        """Take some of a line back: its last portion that is large enough becomes less by as much as came out."""
        line = slip.target
        portion = taken_back(self.trial, slip)
        if portion is None:
            raise Refusal(
                f"no one portion of {line.material} is as large as what is too much",
                next=f"fvc trial show {self.trial.id}; then --corrects",
            )
        before = self._shows(line.phase) if self.cumulative else line.weighed
        what = "the scale shows now" if self.cumulative else f"{line.material} in the beaker now"
        wanted = before - slip.over
        weight = self._weight(self._ask(f"{what} [{in_grams(wanted)}]: "), wanted)
        rest = (portion.grams or ZERO) - (before - weight.grams)
        if weight.grams >= before or rest <= 0:
            raise Refusal(
                f"{in_grams(weight.grams)} g does not fit: {in_grams(line.weighed)} g of {line.material} were in", next="type it again"
            )
        self._correct(portion, grams=rest, reading="")

    # --- back ---

    def _back(self) -> None:
        """Go back through what was noted, the last first, until something is corrected or left as it is."""
        out = screen()
        entries = [e for e in reversed(in_force(self.trial.entries)) if e.action not in ("noted", "seen", "closed")]
        for entry in entries:
            grams = "grams, " if self._has_weight(entry) else ""
            lot = "l LOT, " if entry.action in WEIGHINGS else ""
            out.say("")
            out.say(happened(entry), style="bold")
            text = self._ask(f"right is [{grams}{lot}x: it did not happen; b: the one before; Enter: as it is]: ", own="b")
            if text == "b":
                continue
            if text:
                self._amend(entry, text)
            return
        out.say("Nothing was noted before that." if entries else "Nothing was noted so far.")

    def _has_weight(self, entry: Entry) -> bool:
        return entry.grams is not None and entry.action not in REWORKINGS

    def _amend(self, entry: Entry, text: str) -> None:
        low = text.lower()
        if low == "x":
            self._write(_taken_back_by_a_note(entry))
        elif entry.action in WEIGHINGS and (low == "l" or low.startswith("l ")):
            lot = self._lot(entry.subject, text[1:].strip())
            if lot:
                self._correct(entry, lot=lot)
        elif not self._has_weight(entry):
            raise Refusal(f'"{printable(text)}" cannot stand there', next="x takes it back, and it is asked again")
        else:
            weight = self._weight(text, ZERO)
            if entry.action == "vessel":
                self._amend_vessel(entry, weight)
            elif entry.action != "weighed" or self._sure(
                lambda: check_weight(self.trial, entry.phase, entry.subject, weight, said=False, correcting=True)
            ):
                self._correct(entry, grams=weight.grams, reading=weight.reading)

    def _correct(self, entry: Entry, **what: Any) -> None:
        self._write(_again(entry, **what))

    def _amend_vessel(self, entry: Entry, weight: Weight) -> None:
        """Another weight of a vessel: what evaporated by it goes along."""
        vessels = [e for e in in_force(self.trial.entries) if e.action == "vessel" and e.subject == entry.subject]
        new = [weight.grams if e.id == entry.id else e.grams or ZERO for e in vessels]
        by_it = [e for e in in_force(self.trial.entries) if e.action == "lost" and e.phase == entry.subject]
        more = []
        if len(vessels) > 1 and by_it and by_it[-1].grams == (vessels[-2].grams or ZERO) - (vessels[-1].grams or ZERO):
            gone = new[-2] - new[-1]
            more = [_again(by_it[-1], grams=gone) if gone > 0 else _taken_back_by_a_note(by_it[-1])]
        self._write(_again(entry, grams=weight.grams, reading=weight.reading), *more)

    # --- heat, cool, pour ---

    def _vessel(self, step: Step) -> None:
        about = self._phase(step.phase)
        out = screen()
        held = f", hold {about.hold}" if about.hold else ""
        out.say("")
        out.say(
            f"Phase {step.phase} is complete: heat to {both_scales(about.heat)}{held}. A hot vessel is weighed on a dry cloth, never bare.",
            style="bold",
        )
        text = self._ask("before heating, the vessel with all of it, g [Enter: not weighed]: ")
        if not text:
            self.passed.add(step.name)
            return
        weight = self._weight(text, ZERO)
        there = on_the_scale(self.trial, step.phase)
        less = f"{in_grams(weight.grams)} g is less than the {in_grams(there)} g that are in it. Is that right?"
        if weight.grams >= there or self._yes(less):
            self._write(Entry("", UNSTAMPED, "vessel", step.phase, grams=weight.grams, reading=weight.reading))

    def _heat(self, step: Step) -> None:
        about = self._phase(step.phase)
        asked = about.heat + (f", {about.hold}" if about.hold else "")
        text = self._ask(f"heated to [{asked}; s: it was not heated]: ", own="s")
        if text == "s":
            self.passed.add(step.name)
            return
        reached, _, held = (text or asked).partition(",")
        temperature = self._temperature(reached.strip(), about.heat)
        hold = self._hold(held.strip(), about.hold)
        if self._likely(temperature, about.heat):
            self._write(Entry("", UNSTAMPED, "heated", step.phase, temperature=temperature, hold=hold))

    def _likely(self, temperature: str, asked: str) -> bool:
        """Ask about a temperature that is more likely of the other scale."""
        far = abs(celsius(temperature) - celsius(asked)) > DEGREES_OFF
        return not far or self._yes(f"{both_scales(temperature)}, and {both_scales(asked)} is asked for. Is that right?")

    def _temperature(self, text: str, asked: str) -> str:
        """A temperature as typed; a number alone is in the unit of what was asked."""
        unit = "°F" if asked.strip()[-1:] in "Ff" else "°C"
        full = text if text[-1:] in "CcFf" else f"{text} {unit}"
        try:
            celsius(full)
        except ValueError as error:
            raise Refusal(f'"{printable(text)}": {error}', next="for example  70 C, or 158 F") from None
        return full

    def _hold(self, text: str, asked: str) -> str:
        """A time as typed; a number alone is in the unit of what was asked."""
        full = text or asked
        if full.replace(".", "", 1).isdecimal():
            full = f"{full} {asked.lstrip('0123456789. ') or 'min'}"
        try:
            if full:
                minutes(full)
        except ValueError as error:
            raise Refusal(f'"{printable(text)}" is no time: {error}', next="for example  70 C, 15 min") from None
        return full

    def _after(self, step: Step) -> None:
        """The vessel behind the heating: what it is lighter by has evaporated, and both are written at once."""
        before = vessel_before(self.trial, step.phase)
        text = self._ask("after heating, the vessel with all of it, g [Enter: not weighed]: ")
        if not text or before is None:
            self.passed.add(step.name)
            return
        weight = self._weight(text, ZERO)
        vessel = Entry("", UNSTAMPED, "vessel", step.phase, grams=weight.grams, reading=weight.reading)
        lost = before - weight.grams
        out = screen()
        if lost < 0:
            if self._yes(f"{in_grams(weight.grams)} g is more than the {in_grams(before)} g before. Is that right?"):
                self._write(vessel)
            return
        if lost > on_the_scale(self.trial, step.phase) * EVAPORATED_ABOVE and not self._yes(
            f"{in_grams(lost)} g less than before. Is that right?"
        ):
            return
        material = self._evaporates(step.phase, lost) if lost else ""
        if lost and not material:
            text = self._ask(f"{in_grams(lost)} g less than before; of which material [Enter: not noted]: ")
            material = material_of(self.archive, self.trial, text)[1] if text else ""
        self._write(vessel, *([Entry("", UNSTAMPED, "lost", material, grams=lost, phase=step.phase)] if material else []))
        if material:
            words = put_back_words(self.trial, material).partition(":  fvc")[0]
            out.say(f"{in_grams(lost)} g evaporated, taken as {material}. {words}.")

    def _evaporates(self, phase: str, lost: Fraction) -> str:
        """The material that evaporates from a phase: its own line of water and nothing else, or the one of the batch; "" where that is not plain."""
        records = self.trial.materials
        own = {a.material for a in self.trial.asked if a.phase == phase and a.material in records}
        plain = [id for id in own if records[id].is_water]
        try:
            water = plain[0] if len(plain) == 1 else water_of(self.trial)
            at, _ = stamped(self.trial, "")
            check_playable(with_entries(self.trial, [Entry("", at, "lost", water, grams=lost, phase=phase)]))
        except Refusal:
            return ""
        return water

    def _put_back(self, step: Step) -> None:
        water = next(e.subject for e in self.trial.entries if e.id == step.entry)
        back = restoring(self.trial, water)
        if back <= 0:
            self.passed.add(step.name)
            return
        text = self._ask(f"{water} put back, g [{in_grams(back)}; 0: none]: ", material=water)
        if text in NOTHING:
            self.passed.add(step.name)
            return
        weight = self._weight(text, back)
        if not is_wild(weight.grams, back) or self._yes(f"{in_grams(weight.grams)} g, and {in_grams(back)} g are missing. Is that right?"):
            entry = Entry("", UNSTAMPED, "replaced", water, grams=weight.grams, reading=weight.reading, phase=step.phase)
            self._write(entry._replace(lot=self.lots.get(water, "")))

    def _cool(self, step: Step) -> None:
        about = self._phase(step.phase)
        screen().say(f"Phase {step.phase} goes in below {both_scales(about.add_below)}.", style="bold")
        text = self._ask("temperature now [Enter: it is below; s: go on without]: ", own="s")
        if text == "s":
            self.passed.add(step.name)
            return
        if not text:  # no reading was named, so none is noted
            self._write(Entry("", UNSTAMPED, "cooled", step.phase, because=f"below {about.add_below}"))
            return
        temperature = self._temperature(text, about.add_below)
        if celsius(temperature) > celsius(about.add_below):
            if not self._yes(f"{both_scales(temperature)} is too warm for it: let it cool, and type again. Go on all the same?"):
                return
        elif not self._likely(temperature, about.add_below):
            return
        self._write(Entry("", UNSTAMPED, "cooled", step.phase, temperature=temperature))

    def _pour(self, step: Step) -> None:
        apart = beakers_apart(self.trial)
        into = next(a.phase for a in self.trial.asked if a.phase in apart)
        text = self._ask(f"phase {step.phase} into phase {into} [Enter: poured; s: stays apart]: ", own="s")
        if text == "s":
            self.passed.add(step.name)
            return
        if text:
            raise Refusal(f'"{printable(text)}" is neither', next="Enter when it was poured; what stayed on its beaker is asked behind it")
        self._write(Entry("", UNSTAMPED, "combined", step.phase, into=into))

    def _left(self, step: Step) -> None:
        text = self._ask(f"left on the beaker of phase {step.phase}, g [Enter: nothing weighed]: ")
        if not text or text in NOTHING:
            self.passed.add(step.name)
            return
        weight = self._weight(text, ZERO)
        self._write(Entry("", UNSTAMPED, "left", step.phase, grams=weight.grams, reading=weight.reading))

    # --- the end ---

    def _open_line(self, step: Step) -> None:
        line = step.line
        assert line is not None
        spec = self.trial.spec.get("ph")
        to = f" to pH {spec[0].text} to {spec[1].text}" if isinstance(spec, tuple) else ""
        expected = f", about {in_grams(line.grams)} g are expected" if line.grams else ""
        screen().say("")
        screen().say(
            f"{line.material} is open:{to or ' to what the plan asks'}{expected}. In drops, with a stir and a reading between.",
            style="bold",
        )
        text = self._ask("added in all, g [Enter: none yet]: ", material=line.material)
        if not text or text in NOTHING:
            self.passed.add(step.name)
            return
        self._portion("added", line, self._weight(text, ZERO))

    def _bulk(self, step: Step) -> None:
        screen().say("The finished product, less the vessel: 612.30-125.00")
        text = self._ask("finished product, g [Enter: not weighed]: ")
        if not text:
            self.passed.add(step.name)
            return
        weight = self._weight(text, ZERO)
        there = account(self.trial).expected
        if (weight.grams <= there * Fraction(11, 10) and not is_wild(weight.grams, there)) or self._yes(
            f"{in_grams(weight.grams)} g, and {in_grams(there)} g went in. Less the vessel?"
        ):
            self._write(Entry("", UNSTAMPED, "bulk", "product", grams=weight.grams, reading=weight.reading))


def _again(entry: Entry, **what: Any) -> Entry:
    """An entry that corrects another."""
    return entry._replace(id="", corrects=entry.id, because="", **what)


def _taken_back_by_a_note(entry: Entry) -> Entry:
    """The note that stands in the place of what did not happen."""
    return Entry("", UNSTAMPED, "noted", f"did not happen: {happened(entry)}", corrects=entry.id)
