"""A session at the bench: the next line in large, Enter takes the target, and every entry is on disk before the next question."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Annotated

import typer

from fvc.amounts import ZERO, celsius
from fvc.archive import Archive
from fvc.bench import Target, on_the_scale, restoring, targets
from fvc.cli.entries import check_lot, check_weight, chosen, put_back_words, slip_in, vessel_before, water_of
from fvc.cli.parsing import open_archive, screen, warn
from fvc.deviations import grams as in_grams
from fvc.errors import EXIT_DONE, Refusal
from fvc.formula import Phase
from fvc.names import printable
from fvc.scales import Weight, weight_from_text
from fvc.show.bench import line_screen
from fvc.show.trials import both_scales
from fvc.show.trials import slip as show_slip
from fvc.slips import ADD, BALANCE_GIVES, ENLARGE, LEAVE, TAKE_BACK, Slip, WayOut
from fvc.steps import BULK, COOL, HEAT, OPEN_LINE, POUR, WEIGH, Step, next_step
from fvc.trial import Entry, Trial, in_force
from fvc.trials import add_entries, author, last_lot, save_trial, stamped, trial_named

HELP = """\
Enter       the target was weighed
4.52        this was weighed; 342.60-338.08 by difference; 0.2 oz, 4520 mg
b           back: correct the weight before
n TEXT      a note
l LOT       its lot; l alone takes the last one
s           leave this line out
q           stop for now; fvc trial weigh goes on here"""


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
    if sheet:
        from fvc.cli.typed_sheet import weigh_from

        return weigh_from(archive, trial, sheet, by, said=sure)
    if trial.closed:
        raise Refusal(f"{trial.id} is closed: {trial.verdict}", next=f"fvc trial show {trial.id};  a further entry:  fvc trial added …")
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
        out = screen()
        out.say(f"{self.trial.id}   {self.trial.batch} of {self.trial.plan}.   ? shows what can be typed.")
        do = {WEIGH: self._weigh, HEAT: self._heat, COOL: self._cool, POUR: self._pour, OPEN_LINE: self._open_line, BULK: self._bulk}
        try:
            while (step := next_step(self.trial, self.passed)) is not None:
                self._method(step.phase)
                try:
                    do[step.kind](step)
                except Refusal as refusal:  # told, and asked again: nothing was written
                    warn(refusal.faults, "not written")
        except _Leave:
            pass

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

    def _ask(self, prompt: str, *, everywhere: bool = True) -> str:
        """An answer; `q`, `n` and `?` are taken care of wherever they are typed."""
        while True:
            text = " ".join(input(prompt).split())
            low = text.lower()
            if not everywhere:
                return text
            if low == "q":
                raise _Leave
            if low == "?":
                for row in HELP.split("\n"):
                    screen().say(row, 4)
            elif low == "n" or low.startswith("n "):
                self._note(text[1:].strip())
            else:
                return text

    def _note(self, text: str) -> None:
        text = text or input("note: ").strip()
        if text:
            self._write(Entry("", _LATER, "noted", text))

    def _yes(self, question: str) -> bool:
        return self._ask(f"{question} [y/N] ").lower() in ("y", "yes")

    def _write(self, *entries: Entry) -> Trial:
        """Have entries on disk, stamped now; nothing is asked before they are."""

        def make(now: Trial) -> list[Entry]:
            at, written = stamped(now, "")
            return [e._replace(at=at, written=written, by=self.by) for e in entries]

        self.trial = add_entries(self.archive, self.trial, make)
        return self.trial

    def _sure(self, check: Callable[[], None]) -> bool:
        """Run a check that may have a question; True when there is none or the answer is yes."""
        try:
            check()
        except Refusal as refusal:
            return self._yes(f"{refusal.faults[0].message} Is that right?")
        return True

    # --- the steps ---

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

    def _so_far(self, phase: str) -> Fraction:
        return on_the_scale(self.trial, phase) + self.empty.get(phase, ZERO)

    def _weigh(self, step: Step) -> None:
        line = step.line
        assert line is not None
        if self.cumulative and step.phase not in self.empty:
            self._ask_empty(step.phase)
        so_far = self._so_far(step.phase)
        target = line.missing if line.weighed else (line.grams or ZERO)
        line_screen(screen(), step, target, so_far, self.lots.get(line.material, ""), so_far + target if self.cumulative else None)
        text = self._ask("> ")
        low = text.lower()
        if low == "b":
            self._back()
        elif low == "s":
            self._omit(line)
        elif low == "l" or low.startswith("l "):
            self._lot(line.material, text[1:].strip())
        else:
            self._take(step, line, target, so_far, text)

    def _ask_empty(self, phase: str) -> None:
        there = on_the_scale(self.trial, phase)
        text = self._ask(f"The scale shows now, with the beaker of phase {phase} [{in_grams(there)}]: ")
        try:
            shows = weight_from_text(text).grams if text and text not in ("0", "0.0", "0.00") else there if not text else ZERO
        except ValueError as error:
            raise Refusal(f'"{printable(text)}" is no weight: {error}') from None
        self.empty[phase] = shows - there

    def _take(self, step: Step, line: Target, target: Fraction, so_far: Fraction, text: str) -> None:
        if text:
            try:
                weight = weight_from_text(text)
            except ValueError as error:
                raise Refusal(
                    f'"{printable(text)}" is no weight: {error}', next="Enter takes the target; ? shows what can be typed"
                ) from None
            if self.cumulative and not weight.reading:
                if weight.grams <= so_far:
                    raise Refusal(
                        f"the scale shows {in_grams(weight.grams)} g, not more than the {in_grams(so_far)} g before",
                        next="type what it shows with everything on it",
                    )
                weight = Weight(weight.grams - so_far, f"{in_grams(weight.grams)}-{in_grams(so_far)}")
        elif target > 0:
            weight = Weight(target)
        else:
            raise Refusal(f"{line.material} has no target", next="type what was weighed, or s to leave it out")
        if not self._sure(lambda: check_weight(self.trial, step.phase, line.material, weight, said=False)):
            return
        lot = self.lots.get(line.material, "")
        self._write(Entry("", _LATER, "weighed", line.material, grams=weight.grams, reading=weight.reading, phase=step.phase, lot=lot))
        slip = slip_in(self.archive, self.trial, step.phase, line.material)
        if slip is not None:
            self._slip(slip)

    def _slip(self, slip: Slip) -> None:
        out = screen()
        show_slip(out, slip)
        while True:
            answer = self._ask(f"which [1 to {len(slip.ways)}; Enter: 1]: ")
            if answer in ("", "1"):
                return
            if answer.isdigit() and 1 < int(answer) <= len(slip.ways):
                self._go(slip, slip.ways[int(answer) - 1])
                return
            out.say(f'"{printable(answer)}" is none of them.')

    def _go(self, slip: Slip, way: WayOut) -> None:
        line = slip.target
        if way.way == LEAVE:
            return
        if way.way == TAKE_BACK:
            text = self._ask(f"{line.material} in the beaker now [{in_grams(line.grams)}]: ")
            weight = self._weight(text, line.grams or ZERO)
            self._correct(self._last_of(line.material), weight)
        elif way.way == ADD:
            text = self._ask(f"{line.material} added [{in_grams(-slip.over)}]: ")
            weight = self._weight(text, -slip.over)
            lot = self.lots.get(line.material, "")
            self._write(Entry("", _LATER, "weighed", line.material, grams=weight.grams, reading=weight.reading, phase=line.phase, lot=lot))
        elif way.way == ENLARGE:
            self._write(
                Entry("", _LATER, "enlarged", "batch", grams=way.batch, because=f"{line.material} was {in_grams(slip.over)} g over")
            )
        elif way.way == BALANCE_GIVES:
            to = way.later[0]
            why = f"{line.material} was {in_grams(abs(slip.over))} g {'over' if slip.over > 0 else 'short'}"
            self._write(Entry("", _LATER, "retargeted", to.material, grams=to.grams, phase=to.phase, because=why))

    def _weight(self, text: str, otherwise: Fraction) -> Weight:
        try:
            return weight_from_text(text) if text else Weight(otherwise)
        except ValueError as error:
            raise Refusal(f'"{printable(text)}" is no weight: {error}') from None

    def _last_of(self, material: str) -> Entry:
        return next(e for e in reversed(in_force(self.trial.entries)) if e.action == "weighed" and e.subject == material)

    def _correct(self, entry: Entry, weight: Weight) -> None:
        again = entry._replace(id="", grams=weight.grams, reading=weight.reading, corrects=entry.id, written=None, because="")
        self._write(again)

    def _back(self) -> None:
        """Correct the weight that was written last."""
        entry = next((e for e in reversed(in_force(self.trial.entries)) if e.action == "weighed"), None)
        if entry is None:
            screen().say("Nothing was weighed before this line.")
            return
        text = self._ask(f"{entry.subject}: {in_grams(entry.grams)} g was noted; right is [Enter: leave it]: ")
        if not text:
            return
        weight = self._weight(text, entry.grams or ZERO)
        if not self._sure(lambda: check_weight(self.trial, entry.phase, entry.subject, weight, said=False, correcting=True)):
            return
        self._correct(entry, weight)
        slip = slip_in(self.archive, self.trial, entry.phase, entry.subject)
        if slip is not None:
            self._slip(slip)

    def _omit(self, line: Target) -> None:
        if self._yes(f"leave {line.material} out?"):
            why = self._ask("why: ")
            self._write(Entry("", _LATER, "omitted", line.material, phase=line.phase, because=why))

    def _lot(self, material: str, given: str) -> None:
        last = last_lot(self.archive, material, self.trial)
        lot = given or self._ask(f"lot of {material}{f' [{last}]' if last else ''}: ") or last
        if lot and self._sure(lambda: check_lot(self.archive, material, lot, said=False)):
            self.lots[material] = lot

    def _heat(self, step: Step) -> None:
        about = self._phase(step.phase)
        out = screen()
        out.say("")
        held = f", hold {about.hold}" if about.hold else ""
        out.say(
            f"Phase {step.phase} is complete: heat to {both_scales(about.heat)}{held}. A hot vessel is weighed on a dry cloth, never bare.",
            style="bold",
        )
        before = vessel_before(self.trial, step.phase)
        if before is None:
            before = self._vessel(step.phase, "vessel with all of it, before heating")
        reached = self._ask(f"temperature reached [Enter: {about.heat}; s: it was not heated]: ")
        if reached.lower() == "s":
            self.passed.add(step.name)
            return
        temperature = self._temperature(reached, about.heat)
        hold = self._ask(f"held for [Enter: {about.hold}]: ") or about.hold if about.hold else ""
        self._write(Entry("", _LATER, "heated", step.phase, temperature=temperature, hold=hold))
        if before is None:
            return
        after = self._vessel(step.phase, "vessel with all of it, now")
        if after is None or after >= before:
            return
        self._evaporated(step.phase, before - after)

    def _vessel(self, phase: str, what: str) -> Fraction | None:
        text = self._ask(f"{what}, g [Enter: not weighed]: ")
        if not text:
            return None
        weight = self._weight(text, ZERO)
        self._write(Entry("", _LATER, "vessel", phase, grams=weight.grams))
        return weight.grams

    def _evaporated(self, phase: str, lost: Fraction) -> None:
        water = water_of(self.trial)
        self._write(Entry("", _LATER, "lost", water, grams=lost, phase=phase))
        out = screen()
        out.say(f"{in_grams(lost)} g evaporated, taken as {water}. {put_back_words(self.trial, water).partition(':  fvc')[0]}.")
        back = restoring(self.trial, water)
        text = self._ask(f"{water} put back [Enter: {in_grams(back)}; 0: none]: ")
        if text in ("0", "0.0", "0.00"):
            return
        weight = self._weight(text, back)
        self._write(
            Entry("", _LATER, "replaced", water, grams=weight.grams, reading=weight.reading, phase=phase, lot=self.lots.get(water, ""))
        )

    def _temperature(self, text: str, asked: str) -> str:
        """A temperature as typed; a number alone is in the unit of what was asked."""
        if not text:
            return asked
        unit = "°F" if asked.strip()[-1:] in "Ff" else "°C"
        full = text if text[-1:] in "CcFf" else f"{text} {unit}"
        try:
            celsius(full)
        except ValueError as error:
            raise Refusal(f'"{printable(text)}": {error}') from None
        return full

    def _cool(self, step: Step) -> None:
        about = self._phase(step.phase)
        screen().say(f"Phase {step.phase} goes in below {both_scales(about.add_below)}.", style="bold")
        text = self._ask("temperature now [Enter: it is below; s: go on without]: ")
        if text.lower() == "s":
            self.passed.add(step.name)
            return
        if not text:  # no reading was named, so none is noted
            self._write(Entry("", _LATER, "cooled", step.phase, because=f"below {about.add_below}"))
            return
        temperature = self._temperature(text, about.add_below)
        if celsius(temperature) > celsius(about.add_below) and not self._yes(
            f"{both_scales(temperature)} is too warm for it: let it cool, and type again. Go on all the same?"
        ):
            return
        self._write(Entry("", _LATER, "cooled", step.phase, temperature=temperature))

    def _pour(self, step: Step) -> None:
        order = list(dict.fromkeys(a.phase for a in self.trial.asked))
        into = order[0]
        answer = self._ask(f"phase {step.phase} into phase {into} [Enter: poured; s: it stays apart]: ").lower()
        if answer == "s":
            self.passed.add(step.name)
            return
        self._write(Entry("", _LATER, "combined", step.phase, into=into))
        text = self._ask(f"left on the beaker of phase {step.phase}, g [Enter: not weighed]: ")
        if text and text not in ("0", "0.0", "0.00"):
            weight = self._weight(text, ZERO)
            self._write(Entry("", _LATER, "left", step.phase, grams=weight.grams, reading=weight.reading))

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
        text = self._ask("added in all, g [Enter: none yet]: ")
        if not text:
            self.passed.add(step.name)
            return
        weight = self._weight(text, ZERO)
        if self._sure(lambda: check_weight(self.trial, line.phase, line.material, weight, said=False)):
            self._write(
                Entry("", _LATER, "added", line.material, grams=weight.grams, reading=weight.reading, lot=self.lots.get(line.material, ""))
            )

    def _bulk(self, step: Step) -> None:
        text = self._ask("finished product, g; 612.30-125.00 less the vessel [Enter: not weighed]: ")
        if not text:
            self.passed.add(step.name)
            return
        weight = self._weight(text, ZERO)
        there = sum((on_the_scale(self.trial, p) for p in dict.fromkeys(a.phase for a in self.trial.asked[:1])), ZERO)
        if (
            there
            and weight.grams > there * Fraction(11, 10)
            and not self._yes(f"{in_grams(weight.grams)} g is more than the {in_grams(there)} g that went in. Less the vessel?")
        ):
            return
        self._write(Entry("", _LATER, "bulk", "product", grams=weight.grams, reading=weight.reading))


_LATER = datetime.datetime.min  # the time is put in when the entry is written
