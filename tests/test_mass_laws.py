"""Laws of the bench: where the mass goes, slips and their ways out, corrections, steps, and the text of a record.

The oracle below keeps its own beakers in plain fractions and calls nothing of fvc. Percent of theoretical yield is by its
definition in 21 CFR 210.3(b)(17) to (19): actual over theoretical at the same stage.
"""

import datetime
from fractions import Fraction as F

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fvc.bench import account, as_made, batch_now, on_the_scale, restoring, targets
from fvc.errors import Refusal
from fvc.files.toml_text import TomlText
from fvc.files.trial_text import new_trial, with_entries
from fvc.files.trials import read_trial
from fvc.formula import Phase
from fvc.slips import BALANCE_GIVES, ENLARGE, TAKE_BACK, slip_of
from fvc.steps import COOL, HEAT, OPEN_LINE, POUR, WEIGH, Step, next_step
from fvc.trial import Asked, Entry, Seen, Trial, in_force

MORNING = datetime.datetime.fromisoformat("2026-03-01T10:00:00+01:00")
FEWER = settings(max_examples=max(30, 3 * settings.default.max_examples // 10))
LINES = (("A", "water"), ("A", "propanediol"), ("B", "neroli"), ("B", "polysorbate"), ("C", "preservative"))
weights = st.integers(1, 20_000).map(lambda n: F(n, 100))
parts = st.integers(1, 60).map(lambda n: F(n, 100))


def trial(entries: list[Entry], asked: tuple[Asked, ...] = (), **more) -> Trial:
    lines = asked or tuple(Asked(p, m, None, None) for p, m in LINES)
    given = {"id": "t", "plan": "toner.1", "plan_id": "", "batch": "200 g", "scale": "0.01 g", "started": MORNING}
    return Trial(**(given | {"asked": lines, "entries": tuple(entries)} | more))


def entry(number: int, action: str, subject: str, grams: F | None = None, **more) -> Entry:
    return Entry(f"e-{number:02}", MORNING + datetime.timedelta(minutes=number), action, subject, grams=grams, **more)


class Oracle:
    """Beakers by hand: one for each phase until they are poured together."""

    def __init__(self) -> None:
        self.beakers: dict[str, dict[tuple[str, str], F]] = {}
        self.went_in = self.lost = self.spilled = self.left = self.sampled = F(0)

    def total(self) -> F:
        return sum((sum(b.values()) for b in self.beakers.values()), F(0))

    def pour_all(self) -> dict[tuple[str, str], F]:
        first, *others = self.beakers
        for other in others:
            for key, grams in self.beakers.pop(other).items():
                self.beakers[first][key] = self.beakers[first].get(key, F(0)) + grams
        return self.beakers[first]

    def take(self, beaker: dict[tuple[str, str], F], part: F) -> F:
        taken = sum(beaker.values()) * part
        for key in beaker:
            beaker[key] *= 1 - part
        return taken


@st.composite
def histories(draw) -> tuple[list[Entry], Oracle]:
    """A batch that was weighed, and then lost, spilled, sampled, poured and added to, with what the oracle says of it."""
    oracle, entries = Oracle(), []
    for phase, material in draw(st.permutations(LINES)):
        grams = draw(weights)
        entries.append(entry(len(entries), "weighed", material, grams, phase=phase))
        oracle.beakers.setdefault(phase, {})[phase, material] = grams
        oracle.went_in += grams
    for what, part in draw(
        st.lists(st.tuples(st.sampled_from(["lost", "left", "sampled", "spilled", "added", "replaced"]), parts), max_size=6)
    ):
        n = len(entries)
        if what == "lost":
            beaker = next(b for b in oracle.beakers.values() if ("A", "water") in b)
            grams = beaker["A", "water"] * part
            assume(grams > 0)
            beaker["A", "water"] -= grams
            oracle.lost += grams
            entries.append(entry(n, "lost", "water", grams, phase="A"))
        elif what == "left":
            if "B" not in oracle.beakers or len(oracle.beakers) == 1:
                continue
            grams = oracle.take(oracle.beakers["B"], part)
            oracle.left += grams
            entries.append(entry(n, "left", "B", grams))
        elif what in ("sampled", "spilled"):
            grams = oracle.take(oracle.pour_all(), part)
            setattr(oracle, what, getattr(oracle, what) + grams)
            entries.append(entry(n, what, "product", grams))
        elif what == "added":
            beaker = oracle.pour_all()
            grams = draw(weights)
            key = ("C", "preservative")
            beaker[key] = beaker.get(key, F(0)) + grams
            oracle.went_in += grams
            entries.append(entry(n, "added", "preservative", grams))
        else:
            beaker = next(b for b in oracle.beakers.values() if ("A", "water") in b)
            grams = draw(weights)
            beaker["A", "water"] += grams
            oracle.went_in += grams
            entries.append(entry(n, "replaced", "water", grams, phase="A"))
    return entries, oracle


# --- where the mass goes ----------------------------------------------------------------------------


@given(histories())
def test_law_the_beaker_holds_what_the_oracle_says(history):
    entries, oracle = history
    found = {(line.phase, line.material): line.grams for line in as_made(trial(entries))}
    expected: dict[tuple[str, str], F] = {}
    for beaker in oracle.beakers.values():
        for key, grams in beaker.items():
            expected[key] = expected.get(key, F(0)) + grams
    assert found == expected


@given(histories(), st.none() | st.fractions(0, 2, max_denominator=100), parts)
def test_law_mass_in_is_product_and_all_that_went_elsewhere(history, found, late):
    """Also when the finished product was weighed, and when a sample is taken behind that."""
    entries, oracle = history
    bulk = oracle.total() * found if found else None
    if bulk:
        entries.append(entry(len(entries), "bulk", "product", bulk))
        grams = oracle.take(oracle.pour_all(), late)
        oracle.sampled += grams
        entries.append(entry(len(entries), "sampled", "product", grams))
    mass = account(trial(entries))
    assert (mass.went_in, mass.lost, mass.spilled, mass.left, mass.sampled) == (
        oracle.went_in, oracle.lost, oracle.spilled, oracle.left, oracle.sampled,
    )  # fmt: skip
    assert mass.went_in == mass.product + mass.lost + mass.spilled + mass.left + mass.sampled + (mass.unaccounted or 0)
    if bulk is None:
        assert mass.unaccounted is None
        assert mass.product == oracle.total()
    else:
        assert mass.product == bulk - grams
        assert mass.percent_of_theoretical == bulk * 100 / 200


def test_percent_of_theoretical_yield_by_its_definition():
    """487.3 g of 500 g is 97.46 %: 21 CFR 210.3(b)(17) to (19)."""
    made = trial([entry(0, "weighed", "water", F(500), phase="A"), entry(1, "bulk", "product", F("487.3"))], batch="500 g")
    assert account(made).percent_of_theoretical == F("97.46")
    assert account(made).unaccounted == F("12.7")


@given(histories(), st.randoms(use_true_random=False))
def test_law_entries_are_played_by_their_times_wherever_they_stand(history, random):
    entries, _ = history
    shuffled = list(entries)
    random.shuffle(shuffled)
    assert as_made(trial(shuffled)) == as_made(trial(entries))
    assert in_force(trial(shuffled).entries) == entries


def test_order_counts_from_the_first_sample_on():
    """Case 4: 0.40 g of acid into 179.676 g is 0.2221 %; 4.00 g sampled before it, 0.2272 %."""
    base = entry(0, "weighed", "water", F("179.676"), phase="A")
    acid, sample = ("added", "preservative", F("0.40")), ("sampled", "product", F("4.00"))

    def share(*steps: tuple[str, str, F]) -> str:
        made = as_made(trial([base, *(entry(n, *step) for n, step in enumerate(steps, start=1))]))
        return f"{float(made[-1].grams * 100 / sum(line.grams for line in made)):.4f}"

    assert share(acid, sample) == "0.2221"
    assert share(sample, acid) == "0.2272"


@given(histories(), st.integers(0, 4), weights)
def test_law_a_correction_gives_what_the_right_entry_would_have_given(history, which, right):
    entries, _ = history
    wrong = entries[which]
    meant = [*entries[:which], wrong._replace(grams=right), *entries[which + 1 :]]
    late = entry(90, wrong.action, wrong.subject, right, phase=wrong.phase, corrects=wrong.id)
    try:
        expected = as_made(trial(meant))
    except Refusal:
        with pytest.raises(Refusal):
            as_made(trial([*entries, late]))
        return
    assert as_made(trial([*entries, late])) == expected
    again = entry(91, wrong.action, wrong.subject, right, phase=wrong.phase, corrects=late.id)
    assert as_made(trial([*entries, late._replace(grams=right * 2), again])) == expected


@given(st.lists(weights, min_size=5, max_size=5), parts, parts, st.booleans())
def test_law_what_restores_the_composition(grams, lost, sampled, before):
    """Put back, every share is as it was without the loss; and it is never more than what would bring back the weight."""
    entries = [entry(n, "weighed", m, g, phase=p) for n, ((p, m), g) in enumerate(zip(LINES, grams, strict=True))]
    whole = sum(grams)
    gone = grams[0] * lost
    sample = (whole if before else whole - gone) * sampled
    assume(gone > 0)
    left = grams[0] * (1 - sampled) if before else grams[0]
    assume(gone < left)
    steps = (
        [("sampled", "product", sample), ("lost", "water", gone)] if before else [("lost", "water", gone), ("sampled", "product", sample)]
    )
    entries += [entry(n, *step) for n, step in enumerate(steps, start=5)]
    back = restoring(trial(entries), "water")
    assert back == (gone if before else gone * (1 - sampled))
    assert back <= gone
    made = as_made(trial([*entries, entry(9, "replaced", "water", back)]))
    there = sum(line.grams for line in made)
    assert [line.grams / there for line in made] == [g / whole for g in grams]


# --- slips ------------------------------------------------------------------------------------------


@st.composite
def sheets(draw) -> tuple[Asked, ...]:
    """A weigh sheet on a 0.01 g scale; the first line is the balance."""
    grams = [F(draw(st.integers(2000, 30_000)), 100), *(F(draw(st.integers(20, 2000)), 100) for _ in LINES[1:])]
    whole = sum(grams)
    return tuple(Asked(p, m, g * 100 / whole, g, False, n == 0) for n, ((p, m), g) in enumerate(zip(LINES, grams, strict=True)))


@given(sheets(), st.integers(1, 4), st.integers(-99, 300), st.booleans())
def test_law_every_way_out_does_what_it_says(asked, which, percent, balance_in):
    size = sum(a.grams for a in asked)
    line = asked[which]
    weighed = max(F(1, 100), (line.grams * (100 + percent) / 100).limit_denominator(100))
    weighed = F(round(weighed * 100), 100)
    start = [entry(0, "weighed", "water", asked[0].grams, phase="A")] if balance_in else []
    entries = [*start, entry(1, "weighed", line.material, weighed, phase=line.phase)]
    base = trial(entries, asked, batch=f"{float(size):.2f} g")
    found = slip_of(base, line.phase, line.material, balance="water")
    off = abs(weighed - line.grams)
    assert (found is None) == (off <= max(line.grams / 100, F(1, 100)))
    if found is None:
        return
    assert found.over == weighed - line.grams
    ways = {w.way: w for w in found.ways}
    assert (BALANCE_GIVES in ways) == (not balance_in and asked[0].grams - found.over > 0)
    for way in ways.values():
        assert all(p.grams >= 0 for p in (*way.later, *way.now)) or way.way == TAKE_BACK
    if BALANCE_GIVES in ways:
        to = ways[BALANCE_GIVES].later[0]
        moved = trial([*entries, entry(2, "retargeted", "water", to.grams, phase="A")], asked, batch=base.batch)
        rest = [
            entry(3 + n, "weighed", t.material, t.grams, phase=t.phase) for n, t in enumerate(targets(moved)) if not t.settled and t.grams
        ]
        assert sum(m.grams for m in as_made(trial([*moved.entries, *rest], asked))) == size
    if ENLARGE in ways:
        larger = trial([*entries, entry(2, "enlarged", "batch", ways[ENLARGE].batch)], asked, batch=base.batch)
        assert batch_now(larger) == ways[ENLARGE].batch
        factor = weighed / line.grams
        for target, first in zip(targets(larger), asked, strict=True):
            if target.material != line.material:
                assert abs(target.grams - first.grams * factor) <= F(1, 100) * (1 + first.grams / size) + F(1, 200)
        assert all((p.phase, p.material) != (line.phase, line.material) for p in (*ways[ENLARGE].now, *ways[ENLARGE].later))


# --- steps ------------------------------------------------------------------------------------------


def done_at(step: Step, n: int) -> Entry | None:
    """What Enter writes at a step; None where it writes nothing."""
    if step.kind == WEIGH:
        return entry(n, "weighed", step.line.material, step.line.missing, phase=step.phase)
    if step.kind == OPEN_LINE:
        return entry(n, "added", step.line.material, step.line.grams)
    if step.kind == POUR:
        return entry(n, "combined", step.phase, into="A")
    return entry(n, "heated" if step.kind == HEAT else "cooled", step.phase) if step.kind in (HEAT, COOL) else None


@FEWER
@given(sheets(), st.booleans(), st.booleans(), st.booleans())
def test_law_enter_at_every_step_comes_to_an_end_with_every_line_in(asked, heat, cool, opened):
    phases = (Phase("A", heat="70 °C" if heat else ""), Phase("B", add_below="40 °C" if cool else ""), Phase("C"))
    asked = (*asked[:-1], asked[-1]._replace(open=opened))
    made, passed = trial([], asked, phases=phases), set()
    kinds = []
    for n in range(60):
        step = next_step(made, passed)
        if step is None:
            break
        kinds.append(step.kind)
        more = done_at(step, n)
        if more is None:
            passed.add(step.name)
        else:
            made = trial([*made.entries, more], asked, phases=phases)
    else:
        raise AssertionError(f"it goes on for ever: {kinds}")
    assert {(m.phase, m.material): m.grams for m in as_made(made)} == {(a.phase, a.material): a.grams for a in asked}
    assert kinds.count(WEIGH) == 5 - opened
    assert (HEAT in kinds, COOL in kinds, OPEN_LINE in kinds) == (heat, cool, opened)
    assert on_the_scale(made, "A") == sum(a.grams for a in asked)


# --- the text of a record ---------------------------------------------------------------------------

words = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=30)
grams_in_files = st.integers(1, 10**10).map(lambda n: F(n, 10**6))


@st.composite
def entries_of_any_kind(draw) -> list[Entry]:
    out = []
    for n in range(draw(st.integers(1, 5))):
        at = MORNING + datetime.timedelta(minutes=draw(st.integers(0, 10_000)))
        more = {"by": draw(words), "because": draw(words), "lot": draw(words)}
        action = draw(st.sampled_from(["weighed", "noted", "seen", "combined", "heated"]))
        if action == "weighed":
            out.append(Entry(f"e-{n}", at, action, "water", grams=draw(grams_in_files), phase="A", **more))
        elif action == "seen":
            out.append(
                Entry(f"e-{n}", at, action, draw(words), seen=Seen(condition=draw(words) or "room", day=draw(st.integers(0, 400))), **more)
            )
        elif action == "combined":
            out.append(Entry(f"e-{n}", at, action, "B", into="A", **more))
        else:
            out.append(Entry(f"e-{n}", at, action, draw(words), **more))
    return out


@FEWER
@given(entries_of_any_kind(), sheets(), words)
def test_law_a_record_reads_as_it_was_written(entries, asked, name):
    fresh = trial([], tuple(a._replace(percent=None) for a in asked), by=name)
    text = TomlText(new_trial(fresh, {}, {}), "trials/toner/t.toml")
    data = with_entries(text, entries)
    assert data.startswith(text.data)
    read = read_trial(data, "trials/toner/t.toml", "t").value
    assert read is not None
    assert (read.by, read.asked, read.started) == (name, fresh.asked, MORNING)
    assert list(read.entries) == entries
    again = with_entries(TomlText(data, "trials/toner/t.toml"), [e._replace(id=f"x{e.id}") for e in entries])
    assert again.startswith(data)


@pytest.mark.parametrize(
    "end",
    [b"", b"\n", b"# a word at the end", b"\n\n\n", b'[materials.water]\nname = "Water"\n'],
    ids=["no line end", "line end", "comment", "blank lines", "a table"],
)
@pytest.mark.parametrize("crlf", [False, True])
def test_an_entry_is_added_whatever_stands_at_the_end(end, crlf):
    data = b'format = 1\nplan = "toner.1"\nbatch = "100 g"\nasked = [{ phase = "A", material = "water" }]\n'
    data += b'[[entry]]\nid = "a-01"\nat = 2026-03-01T10:00:00+01:00\nnoted = "first"\n' + end
    data = (data if end else data.rstrip(b"\n")).replace(b"\n", b"\r\n" if crlf else b"\n")
    source = TomlText(b"\xef\xbb\xbf" + data, "t.toml")
    new = with_entries(source, [entry(2, "noted", "second")])
    assert new.startswith(source.data)
    assert (b"\r\n" in new) == crlf
    assert new.count(b"\n") == new.count(b"\r\n") or not crlf
    assert [e.subject for e in read_trial(new, "t.toml", "t").value.entries] == ["first", "second"]
