"""Laws of the bench on random batches: phases with a beaker each, a material in two of them, weighings in any order, losses, spills,
samples, pourings, late additions, and records that were written late, wrongly at first, or in another order.

A story is what really happened, in order; the oracle plays it with shares of pots, in fractions, and calls nothing of fvc. Its record
is what somebody wrote down of it, in the end rightly. Percents and grams are exact throughout.
"""

import datetime
from fractions import Fraction as F
from typing import NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st

from fvc.bench import account, as_added, as_made, at_the_bench, batch_now, missing_of, on_the_scale, restoring, short_of_weight, targets
from fvc.formula import Phase
from fvc.slips import BALANCE_GIVES, ENLARGE, TAKE_BACK, slip_of
from fvc.steps import BULK, COOL, HEAT, POUR, WEIGH, next_step
from fvc.trial import Asked, Entry, Trial

MORNING = datetime.datetime.fromisoformat("2026-03-01T10:00:00+01:00")
ZONES = [datetime.timezone(datetime.timedelta(hours=h)) for h in (-8, 0, 1, 5)]
MATERIALS = ("water", "propanediol", "betaine", "neroli-oil", "preservative-blend")
FEWER = settings(max_examples=max(30, 3 * settings.default.max_examples // 10))

Key = tuple[str, str]  # phase, material
CENTS = st.integers(1, 30_000)
LINES = st.lists(st.tuples(st.integers(0, 2), st.integers(0, 4), CENTS), min_size=2, max_size=7, unique_by=lambda line: line[:2])


def sheet(lines: list[tuple[int, int, int]]) -> dict[Key, F]:
    """The lines of a sheet in grams, phase by phase."""
    return {("ABC"[p], MATERIALS[m]): F(cents, 100) for p, m, cents in sorted(lines, key=lambda line: line[0])}


def trial_of(lines: dict[Key, F], entries: list[Entry], **more) -> Trial:
    """A batch of a sheet; its percents are those of the grams, and its first line is the balance."""
    size = sum(lines.values())
    asked = tuple(Asked(p, m, g * 100 / size, g, False, n == 0) for n, ((p, m), g) in enumerate(lines.items()))
    given = {"id": "t", "plan": "toner.1", "plan_id": "", "batch": f"{float(size):.2f} g", "scale": "0.01 g", "started": MORNING}
    return Trial(**(given | {"asked": asked, "entries": tuple(entries)} | more))


def entry(number: int, action: str, subject: str, grams: F | None = None, **more) -> Entry:
    """What happened in the minute `number`."""
    return Entry(f"e-{number:02}", MORNING + datetime.timedelta(minutes=number), action, subject, grams=grams, **more)


# --- the oracle -------------------------------------------------------------------------------------


class Pots:
    """What stands on the bench. A pot is a dictionary; a phase that was poured points to the pot it went into."""

    def __init__(self, lines: dict[Key, F]) -> None:
        self.lines = list(lines)
        self.of: dict[str, dict[Key, F]] = {}  # phase -> pot; two phases in one pot share the dictionary
        self.begun: list[str] = []
        self.when_poured: dict[str, dict[Key, F]] = {}
        self.in_already: list[Key] = []
        self.sums = dict.fromkeys(("in", "lost", "spilled", "left", "sampled"), F(0))

    def pot(self, phase: str) -> dict[Key, F]:
        if phase not in self.of:
            self.of[phase] = {}
            self.begun.append(phase)
        return self.of[phase]

    def apart(self) -> list[str]:
        """One phase for each pot, the one that was begun first."""
        first = {id(self.of[p]): p for p in reversed(self.begun)}
        return [p for p in self.begun if first[id(self.of[p])] == p]

    def pour(self, source: str, into: str) -> None:
        from_pot, to = self.of[source], self.of[into]
        if from_pot is to:
            return
        for phase, pot in self.of.items():  # of a pot that holds another phase already, that one was poured before
            if pot is from_pot:
                self.when_poured.setdefault(phase, dict(from_pot))
        for key, grams in from_pot.items():
            to[key] = to.get(key, F(0)) + grams
        for phase, pot in list(self.of.items()):
            if pot is from_pot:
                self.of[phase] = to

    def mixed(self) -> dict[Key, F]:
        first, *others = self.apart()
        for other in others:
            self.pour(other, first)
        return self.of[first]

    def put(self, pot: dict[Key, F], key: Key, grams: F) -> None:
        pot[key] = pot.get(key, F(0)) + grams
        self.sums["in"] += grams

    def take(self, pot: dict[Key, F], portion: dict[Key, F], grams: F, why: str) -> None:
        there = sum(portion.values())
        for key, part in portion.items():
            pot[key] -= grams * part / there
        self.sums[why] += grams

    def held(self) -> dict[Key, F]:
        out: dict[Key, F] = {}
        for phase in self.apart():
            for key, grams in self.of[phase].items():
                out[key] = out.get(key, F(0)) + grams
        return out


# --- random stories ---------------------------------------------------------------------------------


class Story(NamedTuple):
    """lines: the sheet. truth: what happened, in order. record: as it was written down. pots: what the oracle found at the end."""

    lines: dict[Key, F]
    truth: list[Entry]
    record: list[Entry]
    pots: Pots


def story(lines, order, doings, slips_of_the_pen) -> Story:
    """Play what was drawn; what cannot be done as things stand is left out."""
    asked = sheet(lines)
    pots, truth = Pots(asked), []
    todo = list(asked)
    for pick, named, off in order:
        if not todo:
            break
        phase, material = todo.pop(pick % len(todo))
        of_material = [p for p, m in asked if m == material]
        fresh = [p for p in of_material if (p, material) not in pots.in_already]
        named = named or fresh[0] != phase  # unnamed, it belongs to its first line that is not in yet
        grams = asked[phase, material] * (100 + off) / 100
        pots.put(pots.pot(phase), (phase, material), grams)
        pots.in_already.append((phase, material))
        truth.append(entry(len(truth), "weighed", material, grams, phase=phase if named else ""))
    for what, a, percent in doings if truth else ():
        n = len(truth)
        phase = pots.begun[a % len(pots.begun)]
        pot = pots.of[phase]
        if what == "lost":
            key = next((k for k, g in pot.items() if g > 0 and k[1] == "water"), None)
            portion = {k: g for k, g in pot.items() if k[1] == "water"}
            if key:
                grams = sum(portion.values()) * percent / 100
                pots.take(pot, portion, grams, "lost")
                truth.append(entry(n, "lost", "water", grams, phase=phase))
        elif what == "replaced":
            # where a loss was noted last; else into the first pot that has some
            lost = [e.phase for e in truth if e.action == "lost"]
            have = [(p, k[0]) for p in pots.apart() for k, g in pots.of[p].items() if g > 0 and k[1] == "water"]
            pot_of, line = (lost[-1], lost[-1]) if lost else have[0] if have else ("", "")
            if pot_of:
                pots.put(pots.of[pot_of], (line, "water"), F(percent))
                truth.append(entry(n, "replaced", "water", F(percent), phase=lost[-1] if lost and a % 2 else ""))
        elif what == "left":
            portion = pots.when_poured.get(phase, dict(pot))
            grams = sum(portion.values()) * percent / 1000
            if grams and all(grams * part <= pot[k] * sum(portion.values()) for k, part in portion.items()):
                pots.take(pot, portion, grams, "left")
                truth.append(entry(n, "left", phase, grams))
        elif what in ("spilled", "sampled"):
            apart = a % 2 == 0
            pot = pot if apart else pots.mixed()
            grams = sum(pot.values()) * percent / 100
            if grams:
                pots.take(pot, dict(pot), grams, what)
                truth.append(entry(n, what, "product", grams, phase=phase if apart else ""))
            elif not apart:
                truth.append(entry(n, "added", "betaine", F(1)))
                pots.put(pot, (_line(pots, "betaine"), "betaine"), F(1))
        elif what == "combined":
            into = pots.begun[(a + 1) % len(pots.begun)]
            if phase in pots.apart() and pots.of[into] is not pot:
                pots.pour(phase, into)
                truth.append(entry(n, "combined", phase, into=into))
        else:
            material = MATERIALS[a]
            line = _line(pots, material)
            pots.put(pots.mixed(), (line, material), F(percent, 7))
            pots.in_already.append((line, material))
            truth.append(entry(n, "added", material, F(percent, 7)))
    return Story(asked, truth, written_down(truth, slips_of_the_pen), pots)


def _line(pots: Pots, material: str) -> str:
    """The line of the sheet that a late addition closes: the first that is not in yet, else the first; without one the first pot's phase."""
    of_material = [p for p, m in pots.lines if m == material]
    fresh = [p for p in of_material if (p, material) not in pots.in_already]
    return (fresh or of_material or pots.begun)[0]


def written_down(truth: list[Entry], pens: list[tuple[str, int, int]]) -> list[Entry]:
    """The same story with entries noted late, wrong at first and corrected, taken back, and in other time zones."""
    record = list(truth)
    for n, (how, a, b) in enumerate(pens if truth else ()):
        at = a % len(record)
        one = record[at]
        evening = MORNING + datetime.timedelta(minutes=600 + n)
        corrected = {e.corrects for e in record}
        if one.id in corrected or one.corrects:
            continue
        if how == "late":  # with its own time, and the time at which it was put down
            record.insert(at + b % (len(record) - at), record.pop(at)._replace(written=evening))
        elif how == "zone":
            record[at] = one._replace(at=one.at.astimezone(ZONES[b % 4]))
        elif how == "never":  # it was another batch: the entry is taken back by a note
            wrong = entry(at, "spilled", "product", F(b, 3))._replace(id=f"w-{n}")
            record.insert(at, wrong)
            record.append(Entry(f"c-{n}", evening, "noted", "that was another batch", corrects=wrong.id))
        elif one.grams is not None:
            record[at] = one._replace(grams=one.grams * (b + 1))
            right = one._replace(id=f"c-{n}", at=evening, corrects=one.id, written=None)
            if how == "at first twice":
                record.append(right._replace(id=f"d-{n}", grams=one.grams * 2))
                right = right._replace(corrects=f"d-{n}")
            if how == "and its time":  # the first one had a wrong time too
                record[at] = record[at]._replace(at=evening)
                right = right._replace(at=one.at, written=evening)
            record.append(right)
    return record


DOINGS = st.lists(
    st.tuples(
        st.sampled_from(["lost", "replaced", "left", "spilled", "sampled", "combined", "added"]), st.integers(0, 4), st.integers(1, 60)
    ),
    max_size=7,
)
PENS = st.lists(
    st.tuples(st.sampled_from(["late", "zone", "never", "wrong", "at first twice", "and its time"]), st.integers(0, 12), st.integers(0, 9)),
    max_size=4,
)
WEIGHED = st.lists(st.tuples(st.integers(0, 6), st.booleans(), st.integers(-60, 60)), min_size=1, max_size=7)
stories = st.builds(story, LINES, WEIGHED, DOINGS, PENS)


def shares(lines: dict[Key, F]) -> dict[Key, F]:
    whole = sum(lines.values())
    return {key: grams / whole for key, grams in lines.items()}


def made(trial: Trial) -> dict[Key, F]:
    return {(line.phase, line.material): line.grams for line in as_made(trial)}


# --- where the mass goes ----------------------------------------------------------------------------


@given(stories)
def test_law_a_record_plays_as_it_happened(told):
    """Noted late, in another order or zone, wrong at first: what counts is what was right in the end, at the time it happened."""
    assert made(trial_of(told.lines, told.record)) == told.pots.held()


@given(stories, st.none() | st.integers(0, 200), st.integers(0, 90))
def test_law_mass_in_is_product_and_all_that_went_elsewhere(told, found, late):
    """With and without a weighing of the bulk, and when more is sampled and added behind it."""
    pots, entries = told.pots, list(told.record)
    there = sum(pots.held().values())
    if found:
        bulk, taken = there * found / 100, there * late / 100
        entries.append(entry(700, "bulk", "product", bulk))
        entries += [entry(701, "sampled", "product", taken)] if taken else []
        entries.append(entry(702, "added", "neroli-oil", F(1)))
        pots.sums["sampled"] += taken
        pots.sums["in"] += 1
    mass = account(trial_of(told.lines, entries))
    sums = {"in": mass.went_in, "lost": mass.lost, "spilled": mass.spilled, "left": mass.left, "sampled": mass.sampled}
    assert sums == pots.sums
    assert mass.went_in == mass.product + mass.lost + mass.spilled + mass.left + mass.sampled + (mass.unaccounted or 0)
    assert mass.unaccounted == (there - bulk if found else None)
    assert mass.product == (bulk - taken + 1 if found else there)


@given(stories)
def test_law_what_went_in_is_counted_once_wherever_it_is_counted(told):
    """As weighed in, by line at the bench, and by beaker."""
    trial = trial_of(told.lines, told.record)
    added = {(line.phase, line.material): line.grams for line in as_added(trial, replacements=True)}
    assert sum(added.values()) == told.pots.sums["in"]
    put_back = sum(e.grams for e in told.truth if e.action == "replaced")
    at_the_lines = sum(t.weighed for t in targets(trial))
    beside = sum(e.grams for e in told.truth if e.action == "added" and e.subject not in {m for _, m in told.lines})
    assert at_the_lines + beside + put_back == sum(added.values())
    for phase, pot in told.pots.of.items():
        assert on_the_scale(trial, phase) == sum(pot.values())


@given(LINES, st.permutations(range(7)), st.permutations(range(7)), st.booleans())
def test_law_exact_weights_are_the_plan_in_whatever_order_they_went_in(lines, one, other, pour):
    asked = sheet(lines)
    keys = list(asked)

    def weighed(order) -> Trial:
        picked = [keys[n] for n in order if n < len(keys)]
        entries = [entry(n, "weighed", m, asked[p, m], phase=p) for n, (p, m) in enumerate(picked)]
        begun = list(dict.fromkeys(p for p, _ in picked))
        entries += [entry(20, "combined", p, into=begun[0]) for p in begun[1:] if pour]
        return trial_of(asked, entries)

    assert as_made(weighed(one)) == as_made(weighed(other))
    trial = weighed(one)
    whole = sum(asked.values())
    assert [line.grams * 100 / whole for line in as_made(trial)] == [a.percent for a in trial.asked]
    assert account(trial).product == batch_now(trial) == whole


@given(LINES, st.lists(st.tuples(st.sampled_from(["lost", "sampled", "spilled", "replaced"]), st.integers(1, 50)), min_size=1, max_size=6))
def test_law_what_is_put_back_restores_every_share_and_is_never_more_than_the_weight(lines, steps):
    """The gap: a loss widens it, what is put back narrows it, a sample or a spill takes its share of it along (case 3)."""
    asked = {("A", "water"): F(200)} | sheet(lines) | {("C", "preservative-blend"): F(2)}
    entries = [entry(n, "weighed", m, g, phase=p) for n, ((p, m), g) in enumerate(asked.items())]
    there, water, gap, missing, taken = sum(asked.values()), sum(g for (_, m), g in asked.items() if m == "water"), F(0), F(0), F(0)
    for n, (what, percent) in enumerate(steps, start=20):
        part = F(percent, 100)
        if what == "lost":
            first = next(k for k in asked if k[1] == "water")
            grams = min(made(trial_of(asked, entries))[first], water) * part
            entries.append(entry(n, what, "water", grams))
            water, there, gap, missing = water - grams, there - grams, gap + grams, missing + grams
        elif what == "replaced":
            grams = missing * part
            if grams:
                entries.append(entry(n, what, "water", grams))
                water, there, gap, missing = water + grams, there + grams, gap - grams, missing - grams
        else:
            entries.append(entry(n, what, "product", there * part))
            taken += there * part
            water, there, gap = water * (1 - part), there * (1 - part), gap * (1 - part)
    trial = trial_of(asked, entries)
    back = restoring(trial, "water")
    assert back == max(gap, 0)
    assert back <= missing_of(trial, "water") == missing
    assert missing + taken == short_of_weight(trial)
    if back:
        entries.append(entry(90, "replaced", "water", back))
        after = made(trial_of(asked, entries))
        by_material = {m: sum(g for (_, n), g in after.items() if n == m) for _, m in after}
        whole, planned = sum(after.values()), sum(asked.values())
        assert by_material == {m: sum(g for (_, n), g in asked.items() if n == m) * whole / planned for m in by_material}
        assert restoring(trial_of(asked, entries), "water") == 0


# --- slips ------------------------------------------------------------------------------------------


def enter_to_the_end(trial: Trial) -> tuple[Trial, list[str]]:
    """Play Enter at every step as a session does; fails where it does not stop. The batch then, and the kinds of steps.

    Enter takes a target, says that it was poured, heated or came down, and passes over every other question.
    """
    kinds: list[str] = []
    passed: set[str] = set()
    entries = list(trial.entries)
    into = trial.asked[0].phase
    for n in range(3 * len(trial.asked) + 24):
        now = trial_of_entries(trial, entries)
        step = next_step(now, passed)
        if step is None:
            return now, kinds
        kinds.append(step.kind)
        if step.kind == WEIGH:
            line = step.line
            grams = line.missing if line.weighed else line.grams
            assert grams > 0, f"Enter cannot take {grams} g"
            entries.append(entry(500 + n, "weighed", line.material, grams, phase=step.phase))
        elif step.kind == POUR:
            entries.append(entry(500 + n, "combined", step.phase, into=into))
        elif step.kind in (HEAT, COOL):
            entries.append(entry(500 + n, "heated" if step.kind == HEAT else "cooled", step.phase))
        else:
            assert step.name not in passed
            passed.add(step.name)
    raise AssertionError(f"it goes on for ever: {kinds}")


def trial_of_entries(trial: Trial, entries: list[Entry]) -> Trial:
    given = {name: getattr(trial, name) for name in ("id", "plan", "plan_id", "batch", "scale", "started", "asked", "phases")}
    return Trial(**given, entries=tuple(entries))


@given(LINES, st.integers(0, 6), st.integers(-95, 300), st.lists(st.integers(0, 6), max_size=4))
def test_law_no_way_out_makes_a_target_negative_and_the_balance_keeps_the_batch(lines, which, percent, before):
    """Also where the material of the balance stands in a second phase, and whatever else is in already."""
    asked = sheet(lines)
    keys = list(asked)
    phase, material = keys[which % len(keys)]
    balance = keys[0]
    weighed = max(F(1, 100), F(round(asked[phase, material] * (100 + percent)), 100))
    done = [keys[b % len(keys)] for b in dict.fromkeys(before)]
    entries = [entry(n, "weighed", m, asked[p, m], phase=p) for n, (p, m) in enumerate(dict.fromkeys(done)) if (p, m) != (phase, material)]
    entries.append(entry(50, "weighed", material, weighed, phase=phase))
    trial = trial_of(asked, entries)
    found = slip_of(trial, phase, material, balance=trial.balance)
    over = weighed - asked[phase, material]
    assert (found is None) == (abs(over) <= max(asked[phase, material] / 100, F(1, 100)))
    if found is None:
        return
    size = sum(asked.values())
    assert (found.left, found.others) == (weighed * 100 / (size + over), size / (size + over))
    ways = {way.way: way for way in found.ways}
    for way in found.ways:
        assert all(p.grams > 0 for p in way.later), "a target of nothing can neither be written nor weighed"
        assert all(p.grams > 0 or (way.way == TAKE_BACK and weighed + p.grams >= 0) for p in way.now)
    gives = balance not in done and balance != (phase, material) and asked[balance] - over > 0
    assert (BALANCE_GIVES in ways) == gives
    if gives:
        assert [p[:2] for p in ways[BALANCE_GIVES].later] == [balance]
        entries.append(entry(51, "retargeted", balance[1], ways[BALANCE_GIVES].later[0].grams, phase=balance[0]))
        end, _ = enter_to_the_end(trial_of(asked, entries))
        assert sum(made(end).values()) == size == batch_now(end)


@given(LINES, st.integers(0, 6), st.integers(2, 300), st.lists(st.integers(0, 6), max_size=4))
def test_law_an_enlarged_batch_is_the_plan_again_within_the_steps_of_the_scale(lines, which, percent, before):
    """What the way out named is what the bench then asks for, gram for gram; with all of it in, every percent is as planned."""
    asked = sheet([(p, m, 50 + cents) for p, m, cents in lines])
    keys = list(asked)
    phase, material = keys[which % len(keys)]
    weighed = F(round(asked[phase, material] * (100 + percent)), 100)
    done = dict.fromkeys(keys[b % len(keys)] for b in before)
    entries = [entry(n, "weighed", m, asked[p, m], phase=p) for n, (p, m) in enumerate(done) if (p, m) != (phase, material)]
    entries.append(entry(50, "weighed", material, weighed, phase=phase))
    slip = slip_of(trial_of(asked, entries), phase, material, balance="")
    way = next((w for w in slip.ways if w.way == ENLARGE), None) if slip else None
    if way is None:
        return
    entries.append(entry(51, "enlarged", "batch", way.batch))
    larger = trial_of(asked, entries)
    still = {(t.phase, t.material): t.missing for t in targets(larger) if not t.settled}
    assert still == {(p.phase, p.material): p.grams for p in (*way.now, *way.later)}
    end, _ = enter_to_the_end(larger)
    found = made(end)
    step, factor = F(1, 100), weighed / asked[phase, material]
    for key in keys:  # half a step by its rounding, half by that of the batch, and one more where a step is no slip
        assert abs(found[key] - asked[key] * factor) <= (2 * step if key in done else step)
    whole, planned = sum(found.values()), sum(asked.values())
    assert all(abs(found[key] / whole - asked[key] / planned) <= 2 * step * (1 + len(keys)) / whole for key in keys)


# --- steps ------------------------------------------------------------------------------------------

STATES = st.lists(
    st.tuples(st.sampled_from(["weighed", "omitted", "enlarged", "retargeted", "combined", "lost"]), st.integers(0, 6), CENTS), max_size=6
)


@given(LINES, STATES, st.integers(0, 7), st.booleans())
def test_law_enter_settles_every_line_and_stops_from_wherever_it_begins(lines, states, how, opened):
    """After weighings in any order and of any weight, lines left out, larger batches, other targets and early pourings."""
    asked = sheet(lines)
    keys = list(asked)
    entries: list[Entry] = []
    for n, (what, a, cents) in enumerate(states):
        phase, material = keys[a % len(keys)]
        begun = {e.phase for e in entries if e.action == "weighed"}
        if what in ("weighed", "retargeted"):
            entries.append(entry(n, what, material, F(cents, 100), phase=phase))
        elif what == "omitted":
            entries.append(entry(n, what, material, phase=phase))
        elif what == "enlarged":
            size = batch_now(trial_of(asked, entries))
            entries.append(entry(n, what, "batch", size + F(cents, 100)))
        elif what == "combined" and phase in begun and keys[0][0] in begun and phase != keys[0][0]:
            entries.append(entry(n, what, phase, into=keys[0][0]))
        elif what == "lost" and (there := made(trial_of(asked, entries)).get((phase, material), F(0)) if begun else F(0)):
            entries.append(entry(n, what, material, there / 10, phase=phase))
    phases = tuple(Phase(p, heat="70 °C" if how & 1 << n else "", add_below="40 °C" if n and how & 1 else "") for n, p in enumerate("ABC"))
    trial = trial_of(asked, entries, phases=phases)
    last = len(trial.asked) - 1
    trial = trial_of(asked, entries, phases=phases, asked=tuple(a._replace(open=opened and n == last) for n, a in enumerate(trial.asked)))
    end, kinds = enter_to_the_end(trial)
    assert all(t.settled or t.open for t in targets(end))
    assert not at_the_bench(end)
    assert kinds.count(BULK) == (1 if any(t.weighed for t in targets(end)) else 0)
    # poured together: nothing of the sheet stands in a beaker of its own
    begun = [a.phase for a in end.asked if any(e.phase == a.phase and e.action == "weighed" for e in end.entries)]
    assert len({on_the_scale(end, p) for p in begun}) <= 1
