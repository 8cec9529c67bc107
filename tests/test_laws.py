"""Laws that hold for every formula, tried on random ones (hypothesis).

Under the profile "ci" each law sees 1,000 formulas, some 300. The oracle below works everything out a
second time from the text of the files, with the standard library's TOML reader and plain fractions:
it calls nothing of fvc, so a mistake would have to be made twice to pass.
"""

import datetime
import functools
import re
import tomllib
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction as F
from pathlib import Path
from typing import NamedTuple

from hypothesis import example, given, settings
from hypothesis import strategies as st

from fvc import amounts
from fvc.batches import read_batch
from fvc.bench import as_made
from fvc.compare.diff import diff, new_order
from fvc.composition import composition_of, totals_by_function
from fvc.files.editor import level_toml
from fvc.files.materials import read_material
from fvc.files.plans import read_plan
from fvc.formula import BALANCE, close
from fvc.formulary import Formulary
from fvc.reading import Reading, Side
from fvc.scales import COMMON_SCALES, Scale
from fvc.show import data
from fvc.sources import FolderSource
from fvc.trial import Asked, Entry, Trial
from fvc.weighing import grams_to_percent, weigh_sheet

FEWER = settings(max_examples=max(30, 3 * settings.default.max_examples // 10))  # for laws that others imply in part

# --- the shelf -----------------------------------------------------------------------------------

SHELF = {
    "water": 'function = "solvent"\n[composition]\n"Aqua" = 100\n',
    "propanediol": 'function = "humectant"\n[composition]\n"Propanediol" = 100\n',
    "glycerin-50": 'function = "humectant"\n[composition]\n"Glycerin" = 50\n"Aqua" = "balance"\n',
    "sodium-lactate-60": 'function = "humectant"\n[composition]\n"Sodium Lactate" = { nominal = 60, low = 58, high = 62 }\n"Water" = "balance"\n',
    "rice-protein-25": 'function = "conditioning agent"\n[composition]\n"Hydrolyzed Rice Protein" = 25\n"aqua" = 74.4\n"Sodium Benzoate" = 0.4\n',
    "rose-hydrosol": 'function = "hydrosol"\n[composition]\n"Rosa Damascena Flower Water" = 100\n[constituents]\n"Aqua" = [99, 99.9]\n',
    "green-tea-extract": 'function = "extract"\n[composition]\n"Camellia Sinensis Leaf Extract" = [0.5, 2]\n"Glycerin" = [20, 40]\n',
    "squalane": 'function = "emollient"\n[composition]\n"Squalane" = { nominal = 98, low = 92 }\n',
    "secret-blend": 'function = "emollient"\n[composition]\n"Propanediol" = [30, 40]\n"Betaine" = "unknown"\n',
    "citric-acid-50": 'function = "pH adjuster"\nuse_level = [0.05, 1.0]\n[composition]\n"Citric Acid" = 50.0\n"Aqua" = "balance"\n',
    "neroli-oil": 'function = "essential oil"\n[composition]\n"Citrus Flower Oil" = 100\n[constituents]\n"Limonene" = [1.0, 3.5]\n',
    "sweet-orange-oil": 'function = ["essential oil", "fragrance"]\n[composition]\n"Citrus Peel Oil" = 100\n[constituents]\n"Limonene" = 94\n',
    "polysorbate-20": 'function = "solubiliser"\n[composition]\n"Polysorbate 20" = { nominal = 97, low = 95, high = 100 }\n"Aqua" = "balance"\n',
    "glyceryl-caprylate": 'function = "booster"\n[composition]\n"Glyceryl Caprylate" = 100\n',
    "sodium-benzoate": 'function = "preservative"\n[composition]\n"SODIUM BENZOATE" = 100\n',
    "preservative-blend": 'function = "preservative"\n',
}
MATERIALS = {id: read_material(f"format = 1\n{text}".encode(), id, id).value for id, text in SHELF.items()}
OILS = ("neroli-oil", "sweet-orange-oil")
PROTECTED = {"neroli-oil", "sweet-orange-oil", "sodium-benzoate", "preservative-blend", "citric-acid-50"}


# --- random formulas -----------------------------------------------------------------------------

CLOSER = "closes to 100"  # the value of the line that takes whatever is left


class Row(NamedTuple):
    """A line as a maker thinks of it; a ratio is held by what is there to hold it."""

    phase: str
    material: str
    value: str
    ratio: str = ""  # the factor; the row falls back on `value` where there is nothing to refer to


Recipe = tuple[Row, ...]


# What is drawn for one line: phase, decimals, thousandths, and which of the less usual forms.
DRAWN = st.tuples(st.integers(0, 2), st.integers(0, 3), st.integers(0, 5000), st.integers(0, 9))
OTHERS = sorted(set(SHELF) - {"water"})
LINE = st.tuples(st.sampled_from(OTHERS), DRAWN)


def row(material: str, drawn: tuple[int, int, int, int], phases: str = "ABC") -> Row:
    """One line out of what was drawn for it."""
    at, places, thousandths, form = drawn
    steps = (thousandths // 5 if material in OILS else thousandths) // 10 ** (3 - places)
    value = exact_text(F(steps, 10**places), places)
    if material == "citric-acid-50" and form < 5:
        value = '"open"' if form < 2 else f'{{ level = "open", expect = {value} }}'
    elif form == 9:
        value = f'{{ level = {value}, note = "stays" }}'
    held = material in ("polysorbate-20", "glyceryl-caprylate") and form < 8
    return Row(phases[at % len(phases)], material, value, ("4", "0.5", "1.25", "3")[form // 2] if held else "")


def recipe(phases: str, lines: list, twice: tuple | None, at: int, where: int, balance: bool) -> Recipe:
    """Up to ten lines, perhaps one material in two phases, and water that closes the total."""
    found = [row(material, drawn, phases) for material, drawn in lines]
    if lines and twice:
        found.append(row(lines[0][0], twice, phases))
    closer = Row(phases[where % len(phases)], "water", CLOSER, "balance" if balance else "")
    found.insert(at % (len(found) + 1), closer)
    return tidy(found)


recipes = st.builds(
    recipe,
    phases=st.sampled_from(["A", "AB", "ABC"]),
    lines=st.lists(LINE, max_size=9, unique_by=lambda line: line[0]),
    twice=st.none() | DRAWN,
    at=st.integers(0, 9),
    where=st.integers(0, 2),
    balance=st.sampled_from([True, True, False]),
)


def tidy(found: list[Row]) -> Recipe:
    """Each material once in a phase, and the lines of a phase together, as a file has them."""
    once = list({(r.phase, r.material): r for r in found}.values())
    order = list(dict.fromkeys(r.phase for r in once))
    return tuple(sorted(once, key=lambda r: order.index(r.phase)))


CHANGE = st.tuples(st.sampled_from(["level", "move", "remove", "add", "reorder", "closer"]), st.integers(0, 9), LINE)


def changed(before: Recipe, what: list[tuple]) -> Recipe:
    """The same formula after some of the things that makers do to one."""
    found = list(before)
    for action, number, (material, drawn) in what:
        at = number % len(found)
        here = found[at]
        if action == "add":
            found.insert(at, row(material, drawn))
        elif action == "move":
            found[at] = here._replace(phase="ABC"[drawn[0]])
        elif action == "reorder":
            found = [*found[at:], *reversed(found[:at])]
        elif action == "closer":
            found = [r._replace(ratio="" if r.ratio else "balance") if r.value == CLOSER else r for r in found]
        elif here.value != CLOSER:
            found[at : at + 1] = [] if action == "remove" else [row(here.material, drawn, here.phase)]
    return tidy(found)


# The texts of two plans: one and what became of it, or two that have little in common.
pairs = st.builds(
    lambda first, what, other: (text_of(first), text_of(changed(first, what) if other is None else other)),
    recipes,
    st.lists(CHANGE, max_size=4),
    st.one_of(st.none(), st.none(), recipes),
)


def written(of: Row, present: set[str]) -> str:
    """A level as the file has it."""
    if not of.ratio:
        return of.value
    oils = [o for o in OILS if o in present]
    if of.material == "polysorbate-20":
        forms = {
            "4": "4 x all essential oil",
            "0.5": f"0.5 × {' '.join(oils)}",
            "1.25": f"1.25 x ({' + '.join(oils)})",
            "3": f"3x {' '.join(oils[:1])}",
        }
        usable = oils and (len(oils) == 1 or of.ratio != "0.5")
        return f'"{forms[of.ratio]}"' if usable else of.value
    return f'"{of.ratio} x polysorbate-20"' if "polysorbate-20" in present else of.value


def text_of(recipe: Recipe, off: F = F(0)) -> str:
    """A plan as a maker would type it, closed to 100 (or `off` from it, without a balance)."""
    present = {r.material for r in recipe}
    values = {(r.phase, r.material): '"balance"' if r.value == CLOSER else written(r, present) for r in recipe}
    closer = next(r for r in recipe if r.value == CLOSER)
    key = (closer.phase, closer.material)
    if not closer.ratio or off:
        values[key] = exact_text(solve(file_of(values))[key] + off)
    return file_of(values)


def file_of(values: dict[tuple[str, str], str]) -> str:
    text = 'format = 1\ntitle = "Face toner"\nbatch = "200 g"\n'
    for phase in dict.fromkeys(phase for phase, _ in values):
        text += f"\n[phase.{phase}.percent]\n" + "".join(f"{m} = {v}\n" for (p, m), v in values.items() if p == phase)
    return text


def exact_text(value: F, places: int = 0) -> str:
    """A fraction that ends, as decimal text with at least so many places."""
    number = Decimal(value.numerator) / Decimal(value.denominator)
    assert F(number) == value
    return f"{number:f}" if -number.as_tuple().exponent >= places else f"{number:.{places}f}"


plans = recipes.map(text_of)
batches = st.one_of(st.integers(1, 5000).map(F), st.integers(1, 100_000).map(lambda n: F(n, 100)), st.just(F("141.747615625")))
steps = st.sampled_from([F(s) for s in ("0.001", "0.01", "0.02", "0.05", "0.1", "0.5", "1")])


# --- the oracle: files in, fractions out, nothing of fvc ------------------------------------------


def load(text: str) -> dict:
    return tomllib.loads(text, parse_float=F)


@functools.lru_cache(maxsize=256)
def plan_rows(text: str) -> dict[tuple[str, str], object]:
    phases = load(text)["phase"]
    return {(p, m): v for p, table in phases.items() for m, v in table["percent"].items()}


@functools.lru_cache(maxsize=256)
def functions_of(material: str) -> list[str]:
    given = load(SHELF[material])["function"]
    return given if isinstance(given, list) else [given]


@functools.lru_cache(maxsize=256)
def solve(text: str) -> dict[tuple[str, str], F | None]:
    """The percent of every line: numbers, then ratios as they become known, then the balance."""
    found: dict[tuple[str, str], F | None] = {}
    waiting, balance = {}, None
    for key, value in plan_rows(text).items():
        level = value["level"] if isinstance(value, dict) else value
        if level == "balance":
            balance = key
        elif level == "open":
            found[key] = F(value["expect"]) if isinstance(value, dict) and "expect" in value else None
        elif isinstance(level, str):
            factor, of = re.split(r"\s*[x×]\s*", level, maxsplit=1)
            group = re.fullmatch(r"all (.*)", of)
            everything = {m for _, m in plan_rows(text)}
            names = {m for m in everything if group[1] in functions_of(m)} if group else set(re.findall(r"[a-z0-9-]+", of))
            waiting[key] = (F(factor), names)
        else:
            found[key] = F(level)
    while waiting:
        for key, (factor, names) in list(waiting.items()):
            if not any(m in names for _, m in waiting):
                found[key] = factor * sum(p or 0 for (_, m), p in found.items() if m in names)
                del waiting[key]
    if balance:
        found[balance] = F(100) - sum(p for p in found.values() if p is not None)
    return {key: found[key] for key in plan_rows(text)}


def half_up(value: F, step: F) -> F:
    """The nearest multiple of `step`; halves go away from zero."""
    count = Decimal(1) * (abs(value) / step).__floor__()
    if abs(value) / step - F(count) >= F(1, 2):
        count += 1
    return F(count) * step * (1 if value >= 0 else -1)


class Bounds(NamedTuple):
    """A share: what to count with (None when unknown), and its two ends."""

    nominal: F | None
    low: F
    high: F

    def plus(self, other: "Bounds", factor: F) -> "Bounds":
        known = self.nominal is not None and other.nominal is not None
        return Bounds(
            self.nominal + other.nominal * factor if known else None, self.low + other.low * factor, self.high + other.high * factor
        )


NONE = Bounds(F(0), F(0), F(0))


def bounds(value: object) -> Bounds:
    if isinstance(value, list):
        return Bounds(F(value[0] + value[1]) / 2, F(value[0]), F(value[1]))
    if isinstance(value, dict):
        nominal = F(value["nominal"])
        return Bounds(nominal, F(value.get("low", nominal)), F(value.get("high", nominal)))
    return Bounds(F(value), F(value), F(value))


def plain_inci(name: str) -> str:
    return "aqua" if name.lower() in ("aqua", "water") else name.lower()


@functools.lru_cache(maxsize=256)
def declared(material: str) -> tuple[dict[str, Bounds], Bounds]:
    """The composition of a record by plain INCI name, and what it leaves open."""
    written = load(SHELF[material]).get("composition")
    if written is None:
        return {}, Bounds(F(100), F(100), F(100))
    shares = {plain_inci(n): bounds(v) for n, v in written.items() if not isinstance(v, str)}
    low, high = sum(s.low for s in shares.values()), sum(s.high for s in shares.values())
    nominal = sum(s.nominal for s in shares.values())
    rest = NONE if nominal == 100 else Bounds(100 - nominal, max(F(0), 100 - high), 100 - low)
    for name, word in written.items():
        if word == "balance":
            shares[plain_inci(name)], rest = rest, NONE
        elif word == "unknown":
            shares[plain_inci(name)] = rest = Bounds(None, F(0), 100 - low)
    return shares, rest


def inside(text: str) -> tuple[dict[str, Bounds], Bounds]:
    """The composition of a plan by plain INCI name, and what is undeclared."""
    total, open_part = {}, NONE
    for (_, material), percent in solve(text).items():
        if percent:
            shares, rest = declared(material)
            for name, share in shares.items():
                total[name] = total.get(name, NONE).plus(share, percent / 100)
            open_part = open_part.plus(rest, percent / 100)
    return total, open_part


# --- fvc's reading of the same files --------------------------------------------------------------


def reading(text: str, name: str = "toner") -> Reading:
    parsed = read_plan(text.encode(), f"formulas/{name}.toml", name)
    assert parsed.value is not None, parsed.faults
    closure = close(parsed.value, {id: m.functions for id, m in MATERIALS.items()})
    return Reading(plan=parsed.value, closure=closure, materials=MATERIALS, side=Side(name, None, 1, True), faults=closure.faults)


def percents(of: Reading) -> dict[tuple[str, str], F | None]:
    return {(a.line.phase, a.line.material): a.percent for a in of.closure.amounts}


def near(text: str | None, value: F | None) -> bool:
    """True when a number of the data is `value`: exactly where it ends, else half up to 10 decimals."""
    if text is None or value is None:
        return text is None and value is None
    ends = re.fullmatch(r"0*", str(10**400 % value.denominator)) is not None
    return F(text) == (value if ends else half_up(value, F(1, 10**10)))


# --- laws of the plan ----------------------------------------------------------------------------


@given(plans)
def test_every_closed_plan_totals_exactly_100(text):
    found = reading(text)
    assert found.sound
    assert found.closure.total == sum(p for p in percents(found).values() if p is not None) == 100
    sheet = data.sheet(found, F(200))
    assert sheet["total_percent"] == "100"
    assert sum(F(line["percent"] or 0) for line in sheet["lines"]) == 100
    assert sum(F(line["grams"] or 0) for line in sheet["lines"]) == 200
    assert sum(F(f["percent"]) for f in sheet["functions"]) == 100


@given(plans)
def test_percents_are_those_of_the_oracle(text):
    assert percents(reading(text)) == solve(text)


@FEWER
@given(recipes, st.integers(-500, 500).filter(bool), st.integers(0, 4))
def test_a_list_that_is_off_says_by_how_much_and_which_way(recipe, steps_off, places):
    off = F(steps_off, 10 ** (places + 2))
    base = solve(text_of(recipe))
    closer = next(r for r in recipe if r.value == CLOSER)
    if base[closer.phase, closer.material] + off < 0 or base[closer.phase, closer.material] + off > 100:
        off = -off
    found = reading(text_of(recipe, off))
    assert not found.sound
    assert found.closure.gap == -off
    message = found.faults[0].message
    stated = re.match(r"the lines total ([0-9.]+), ([0-9.]+) (short of|over) 100", message)
    assert stated, message
    assert (F(stated[1]), F(stated[2])) == (100 + off, abs(off))
    assert stated[3] == ("over" if off > 0 else "short of")


@FEWER
@given(plans)
def test_typed_digits_are_shown_and_a_balance_has_the_decimals_of_the_longest_line(text):
    found = reading(text)
    longest = 0
    for amount in found.closure.amounts:
        raw = re.search(rf"^{amount.line.material} = (.*)$", text.split(f"[phase.{amount.line.phase}.percent]")[1], re.MULTILINE)[1]
        plain = re.fullmatch(r"(?:\{ level = )?([0-9.]+)(?:, note = \"stays\" \})?", raw)
        if plain:
            assert amount.text == plain[1]
        if amount.text is not None and amount.line.level.kind != BALANCE:
            longest = max(longest, len(amount.text.partition(".")[2]))
    for amount in found.closure.amounts:
        if amount.line.level.kind == BALANCE:
            assert len(amount.text.partition(".")[2]) == longest


# --- laws of the weigh sheet ---------------------------------------------------------------------


def check_sheet(sheet, step: F) -> None:
    """What holds on every weigh sheet of one scale."""
    assert sheet.total == sheet.batch == sum(line.grams for line in sheet.lines if line.grams is not None)
    assert sheet.batch == half_up(sheet.asked, step)
    for line in sheet.lines:
        if line.grams is None:
            assert line.amount.percent is None
            continue
        assert line.grams >= 0
        assert line.grams % step == 0
        if not line.takes_rest:
            assert line.grams == half_up(line.exact_grams, step)
        assert line.too_small == (0 < line.exact_grams < 20 * step)
        assert line.makeable == (line.grams > 0 or line.exact_grams == 0)


@given(plans, batches, steps)
def test_every_one_scale_weigh_sheet_totals_exactly_its_batch(text, batch, step):
    batch = max(batch, step)
    check_sheet(weigh_sheet(reading(text), batch, [Scale(step)]), step)


@st.composite
def lists_without_balance(draw, shelf: list[str]) -> str:
    """Lines of whole steps that total 100, many of them equal."""
    chosen = draw(st.lists(st.sampled_from(shelf), min_size=1, unique=True))
    parts = draw(st.lists(st.integers(1, 9), min_size=len(chosen), max_size=len(chosen)))
    shares = [100_000 * p // sum(parts) for p in parts]
    shares[draw(st.integers(0, len(shares) - 1))] += 100_000 - sum(shares)
    return file_of({("A", m): exact_text(F(s, 1000)) for m, s in zip(chosen, shares, strict=True)})


@given(lists_without_balance(sorted(PROTECTED)), batches, steps)
def test_a_sheet_of_protected_lines_alone_totals_its_batch_too(text, batch, step):
    batch = max(batch, step)
    check_sheet(weigh_sheet(reading(text), batch, [Scale(step)]), step)


@given(lists_without_balance(sorted(SHELF)), st.integers(1, 12), steps)
@example(file_of({("A", m): "10" for m in sorted(SHELF)[:10]}), 5, F(1))
@example(file_of({("A", m): exact_text(F(25, 2)) for m in sorted(SHELF)[:8]}), 4, F("0.05"))
def test_a_batch_of_a_few_steps_totals_itself(text, count, step):
    check_sheet(weigh_sheet(reading(text), count * step, [Scale(step)]), step)


@FEWER
@given(recipes, steps, st.integers(1, 9))
def test_a_balance_of_less_than_a_step_is_never_driven_below_zero(recipe, step, tenths):
    text = text_of(recipe)
    water = next(key for key in solve(text) if key[1] == "water")
    free = {key: p for key, p in solve(text).items() if key != water}
    tiny = F(tenths, 100)
    whole = 100 - tiny - sum(p for p in free.values() if p is not None)
    values = {key: f'{{ level = "open", expect = {exact_text(p)} }}' if p is not None else '"open"' for key, p in free.items()}
    found = reading(file_of({("Z", "water"): '"balance"', ("Z", "propanediol"): exact_text(whole)} | values))
    check_sheet(weigh_sheet(found, 20 * step, [Scale(step)]), step)


@given(lists_without_balance(sorted(SHELF)), st.integers(100, 9000))
def test_without_a_balance_the_oracle_names_the_line_that_takes_the_rest(text, hundredths):
    step, batch = F(1, 100), F(hundredths, 10)
    exact = {key: p * batch / 100 for key, p in solve(text).items()}
    expected = {key: half_up(g, step) for key, g in exact.items()}
    rest = batch - sum(expected.values())
    free = [key for key in exact if key[1] not in PROTECTED]
    alone = [key for key in free if list(exact.values()).count(exact[key]) == 1]
    able = [key for key in (alone or free or list(exact)) if expected[key] + rest >= 0]
    if able:
        expected[max(able, key=lambda key: exact[key])] += rest  # max gives the first of equals
        sheet = weigh_sheet(reading(text), batch, [Scale(step)])
        assert {(line.amount.line.phase, line.amount.line.material): line.grams for line in sheet.lines} == expected


@given(plans, batches, steps)
def test_with_a_balance_the_weigh_sheet_is_that_of_the_oracle(text, batch, step):
    batch = half_up(max(batch, step), step)
    exact = {key: None if p is None else p * batch / 100 for key, p in solve(text).items()}
    expected = {key: None if g is None else half_up(g, step) for key, g in exact.items()}
    rest = batch - sum(g for g in expected.values() if g is not None)
    balance = next((key for key, level in plan_rows(text).items() if level == "balance"), None)
    if balance and expected[balance] + rest >= 0:
        expected[balance] += rest
        found = reading(text)
        lines = data.weigh(found, weigh_sheet(found, batch, [Scale(step)]))["lines"]
        for line in lines:
            key = line["phase"], line["material"]
            assert near(line["grams"], expected[key])
            assert near(line["exact_grams"], exact[key])
            assert F(line["scale_g"]) == step
            error = (expected[key] - exact[key]) * 100 / exact[key] if exact[key] else None
            assert near(line["relative_error_percent"], error)
            small = bool(exact[key]) and exact[key] < 20 * step
            assert (line["too_small"], line["makeable"]) == (small, not (exact[key] and expected[key] == 0))


@FEWER
@given(plans, st.integers(1, 6000).map(F))
def test_on_two_scales_each_line_is_read_on_the_finest_that_carries_it(text, batch):
    sheet = weigh_sheet(reading(text), batch, COMMON_SCALES)
    for line in sheet.lines:
        if line.grams is not None:
            carries = [s for s in COMMON_SCALES if line.exact_grams <= s.most] or [COMMON_SCALES[-1]]
            assert line.scale == min(carries, key=lambda s: s.step)
            assert line.grams >= 0
            assert line.grams % line.scale.step == 0
    coarsest = max(line.scale.step for line in sheet.lines if line.grams is not None)
    assert abs(sheet.batch - sheet.total) <= coarsest / 2


# --- laws of composition -------------------------------------------------------------------------


@given(plans)
def test_composition_is_that_of_the_oracle(text):
    found = composition_of(reading(text))
    expected, open_part = inside(text)
    assert {plain_inci(s.inci): tuple(s.share)[:3] for s in found.substances} == {n: tuple(b) for n, b in expected.items()}
    assert tuple(found.undeclared)[:3] == tuple(open_part)


@FEWER
@given(plans)
def test_composition_and_what_is_undeclared_make_100(text):
    found = composition_of(reading(text))
    parts = [*(s.share for s in found.substances), found.undeclared]
    assert sum(s.low for s in parts) <= 100 <= sum(s.high for s in parts)
    if all(s.nominal is not None for s in parts):
        assert sum(s.nominal for s in parts) == 100
    for part in parts:
        assert 0 <= part.low <= part.high <= 100
        assert part.nominal is None or part.low <= part.nominal <= part.high


@FEWER
@given(plans)
def test_total_water_is_at_least_what_is_named_and_at_most_that_and_what_is_open(text):
    found = composition_of(reading(text))
    named, open_part = inside(text)
    hydrosol = sum((p for (_, m), p in solve(text).items() if m == "rose-hydrosol" and p), F(0))
    aqua = named.get("aqua", NONE)
    assert found.water.low == aqua.low + hydrosol * 99 / 100
    assert aqua.high + hydrosol * F("99.9") / 100 <= found.water.high
    assert found.water.high <= aqua.high + hydrosol * F("99.9") / 100 + open_part.high
    if found.water.nominal is not None:
        assert found.water.low <= found.water.nominal <= found.water.high


@FEWER
@given(plans)
def test_totals_by_function_are_those_of_the_oracle(text):
    expected: dict[str, F] = {}
    for (_, material), percent in solve(text).items():
        expected[functions_of(material)[0]] = expected.get(functions_of(material)[0], F(0)) + (percent or 0)
    assert totals_by_function(reading(text)) == expected


# --- laws of differences -------------------------------------------------------------------------


def rows_of(text: str) -> list[tuple[str, str, str]]:
    """Phase, material and level of every line, as the plan has them."""
    return [(line.phase, line.material, line.level) for line in reading(text).plan.lines]


@given(pairs)
def test_applying_a_difference_to_the_first_gives_the_second(both):
    a, b = (reading(text) for text in both)
    found = diff(a, b, F(200))
    assert [tuple(line)[:3] for line in new_order(a.plan.lines, found.lines)] == rows_of(both[1])


def sheet_lines(of: Reading) -> dict[tuple[str, str], tuple[str, F | None]]:
    """The level and percent of every line of a sheet, as its JSON has them."""
    lines = data.sheet(of, F(200))["lines"]
    return {(line["phase"], line["material"]): (line["level"], line["percent"] and F(line["percent"])) for line in lines}


@given(pairs)
def test_the_data_of_a_difference_carry_the_first_sheet_into_the_second(both):
    """A script's view: only the two JSON texts are used, and only what differs is taken from the difference."""
    a, b = (reading(text) for text in both)
    change = data.diff(diff(a, b, F(200)))
    old = sheet_lines(a)
    left, new = dict(old), {}
    for line in change["lines"]:
        if line["kind"] == "removed":
            del left[line["before_phase"], line["material"]]
        elif line["kind"] == "added":
            new[line["phase"], line["material"]] = (line["after_level"], line["after_percent"] and F(line["after_percent"]))
        else:
            level, percent = left.pop((line["before_phase"], line["material"]))
            if line["after_level"] != line["before_level"]:
                level = line["after_level"]
            # an open line that expects 0 counts as one that expects nothing, and has another percent all the same
            if line["kind"] not in ("same", "moved") or (percent is None) != (line["after_percent"] is None):
                percent = percent if percent is None and line["after_percent"] is None else F(line["after_percent"] or 0)
            new[line["phase"], line["material"]] = (level, percent)
    assert not left  # every line of the first side was accounted for, once
    wanted = sheet_lines(b)
    unknown = {key for key, (_, percent) in wanted.items() if percent is None}
    assert {k: (level, None if k in unknown else p) for k, (level, p) in new.items()} == wanted
    # the order: the listed lines stand as on the second side, and `order` says so when shared lines changed places
    assert list(new) == list(wanted)
    shared = [(line["before_phase"], line["material"]) for line in change["lines"] if line["kind"] not in ("added", "removed")]
    moved = shared != [key for key in old if key in shared]
    assert [(o["phase"], o["material"]) for o in change["order"]] == (list(wanted) if moved else [])


@given(plans)
def test_a_plan_does_not_differ_from_itself(text):
    found = diff(reading(text), reading(text), F(200))
    assert not found.different
    assert (found.changed, found.order, found.text, found.swaps, found.materials_changed) == ((), (), (), (), ())
    for line in data.diff(found)["lines"]:
        assert (line["kind"], line["points"]) == ("same", "0")
        assert line["before_percent"] == line["after_percent"]
    assert all(s.points == 0 for s in found.composition if s.points is not None)


@FEWER
@given(pairs)
def test_two_plans_differ_exactly_when_their_lines_do(both):
    a, b = (reading(text) for text in both)
    plain = [
        [(p, m, level.kind, level.of, level.function, level.number and level.number.value) for p, m, level in rows_of(t)] for t in both
    ]
    notes = [{(line.phase, line.material): line.note for line in r.plan.lines} for r in (a, b)]
    assert diff(a, b, F(200)).different == (plain[0] != plain[1] or notes[0] != notes[1])


@given(pairs)
def test_points_of_two_closed_plans_sum_to_zero(both):
    a, b = (reading(text) for text in both)
    found = diff(a, b, F(200))
    assert sum(line.points for line in found.lines) == 0
    assert sum(f.points for f in found.functions) == 0
    lines = data.line_diffs(found.lines)
    assert sum(F(line["points"]) for line in lines) == 0
    assert sum(F(line["grams"]) for line in lines) == 0
    for line in lines:
        assert F(line["points"]) == F(line["after_percent"] or 0) - F(line["before_percent"] or 0)


@given(pairs, st.integers(1, 5000).map(F))
def test_differences_are_those_of_the_oracle(both, batch):
    found = data.diff(diff(*(reading(text) for text in both), batch))
    before, after = (solve(text) for text in both)
    follows = [{k for k, v in plan_rows(t).items() if isinstance(v, str) and v != "open"} for t in both]
    partner = {key: key for key in after if key in before}
    for key in after:
        if key not in partner:
            left = [k for k in before if k not in partner.values() and k[1] == key[1]]
            if left:
                partner[key] = left[0]
    lines = {(line["phase"], line["material"]): line for line in found["lines"] if line["kind"] != "removed"}
    assert list(lines) == list(after)
    for key, line in lines.items():
        old, new = before.get(partner.get(key)), after[key]
        points = (new or 0) - (old or 0)
        assert line["before_phase"] == (partner[key][0] if key in partner else None)
        assert near(line["before_percent"], old)
        assert near(line["after_percent"], new)
        assert near(line["points"], F(points))
        assert near(line["relative_percent"], points * 100 / old if old else None)
        assert near(line["before_grams"], None if old is None else old * batch / 100)
        assert near(line["after_grams"], None if new is None else new * batch / 100)
        if key not in partner:
            kind = "added"
        elif points == 0:
            kind = "same" if partner[key] == key else "moved"
        elif partner[key] in follows[0] and key in follows[1]:
            kind = "followed"
        else:
            kind = "raised" if points > 0 else "lowered"
        assert line["kind"] == kind
    removed = {(line["phase"], line["material"]) for line in found["lines"] if line["kind"] == "removed"}
    assert removed == set(before) - set(partner.values())
    shares, totals = [inside(text)[0] for text in both], {plain_inci(s["inci"]): s for s in found["composition"] if s["inci"]}
    assert set(totals) == set(shares[0]) | set(shares[1])
    for name, row in totals.items():
        figures = [s[name].nominal if name in s else None for s in shares]
        assert near(row["before_percent"], figures[0])
        assert near(row["after_percent"], figures[1])
        if all(name not in s or s[name].nominal is not None for s in shares):
            assert near(row["points"], F((figures[1] or 0) - (figures[0] or 0)))


# --- laws of a batch as made ---------------------------------------------------------------------

MORNING = datetime.datetime.fromisoformat("2026-03-01T10:00:00+01:00")


def made(lines: list[tuple[str, str]], entries: list[tuple[str, str, F]]) -> Trial:
    """A batch of these lines in which these things happened."""
    return Trial(
        id="k7f3",
        plan="toner.1",
        plan_id="",
        batch="200 g",
        scale="0.01 g",
        asked=tuple(Asked(phase, material, None, None) for phase, material in lines),
        entries=tuple(
            Entry(id=f"k7f3-{n}", at=MORNING, action=action, subject=subject, grams=grams, phase=phase)
            for n, (action, phase, subject, grams) in enumerate(entries)
        ),
        materials=MATERIALS,
    )


@st.composite
def benches(draw) -> tuple[list[tuple[str, str]], list[tuple[str, str, str, F]]]:
    """The lines of a plan, each weighed in once, in any order; weights as a scale shows them."""
    lines = list(solve(draw(plans)))
    weights = draw(st.lists(st.integers(1, 30_000), min_size=len(lines), max_size=len(lines)))
    entries = [("weighed", phase, material, F(w, 100)) for (phase, material), w in zip(lines, weights, strict=True)]
    return lines, draw(st.permutations(entries))


def grams(trial: Trial) -> dict[tuple[str, str], F]:
    return {(line.phase, line.material): line.grams for line in as_made(trial)}


@FEWER
@given(benches())
def test_the_order_of_weighings_does_not_matter(bench):
    lines, entries = bench
    assert grams(made(lines, entries)) == {(p, m): g for _, p, m, g in entries}
    assert list(grams(made(lines, entries))) == lines


@given(
    benches(),
    st.lists(st.tuples(st.sampled_from(["lost", "sampled", "spilled", "left", "added", "replaced"]), st.integers(1, 40)), max_size=5),
)
def test_what_went_in_less_what_came_out_is_what_is_there(bench, happened):
    lines, entries = bench
    mixed = False
    held = {(p, m): g for _, p, m, g in entries}
    for what, parts in happened:
        if what in ("sampled", "spilled"):
            entries = [*entries, (what, "", "the finished product", sum(held.values()) * parts / 100)]
            held, mixed = {key: g * (100 - parts) / 100 for key, g in held.items()}, True
        elif what == "left" and not mixed:
            phase = lines[0][0]
            taken = sum(g for key, g in held.items() if key[0] == phase) * parts / 100
            entries = [*entries, ("left", "", phase, taken)]
            held = {key: g * (100 - parts) / 100 if key[0] == phase else g for key, g in held.items()}
        else:
            key = next(key for key in lines if key[1] == "water")
            weight = held[key] * parts / 100
            entries = [*entries, (what if what != "left" else "lost", key[0], "water", weight)]
            held[key] += -weight if what in ("lost", "left") else weight
            mixed = mixed or what == "added"
    assert grams(made(lines, entries)) == held


@given(benches(), benches(), plans)
def test_points_of_as_made_percents_that_do_not_end_sum_to_zero_in_print(first, second, text):
    folder = Formulary(FolderSource(Path()))
    sides = [read_batch(folder, made(*bench), Side("k7f3")) for bench in (first, second)]
    for a, b in ((sides[0], sides[1]), (reading(text), sides[0]), (sides[1], reading(text))):
        lines = data.line_diffs(diff(a, b, F(200)).lines)
        assert sum(F(line["points"]) for line in lines) == 0
        for side in ("before_percent", "after_percent"):
            assert sum(F(line[side] or 0) for line in lines) == 100
    for side in sides:
        printed = data.sheet(side, F(200))["lines"]
        assert sum(F(line["percent"]) for line in printed) == 100
        whole = sum(line.grams for line in as_made(made(*first)))
        if side is sides[0]:
            exact = [g * 100 / whole for g in grams(made(*first)).values()]
            assert all(abs(F(line["percent"]) - p) <= F(len(exact), 10**10) for line, p in zip(printed, exact, strict=True))


# --- laws of numbers -----------------------------------------------------------------------------

typed = st.from_regex(r"(0|[1-9][0-9]{0,2})(\.[0-9]{1,8})?", fullmatch=True)


@given(typed)
def test_reading_and_writing_a_number_changes_nothing(text):
    read = amounts.number(text)
    assert amounts.fixed(read.value, read.decimals) == text
    assert amounts.number(amounts.exact(read.value)).value == read.value
    assert amounts.shown(read.value, read.decimals) == text


@given(st.fractions(-1000, 1000, max_denominator=10**6), st.integers(0, 6))
@example(F("0.285"), 2)
@example(F(-1, 2000), 3)
def test_rounding_agrees_with_the_decimal_module(value, places):
    """Half up, away from zero: ROUND_HALF_UP of the decimal module, fed with more digits than it needs."""
    digits = Decimal(value.numerator * 10**40 // value.denominator if value >= 0 else -(-value.numerator * 10**40 // value.denominator))
    expected = digits.scaleb(-40).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)
    assert Decimal(amounts.fixed(value, places)) == expected
    assert F(amounts.fixed(value, places)) == half_up(value, F(1, 10**places))


@given(st.lists(st.integers(1, 5000).map(lambda n: F(n, 10)), min_size=1, max_size=12), st.integers(0, 4))
def test_grams_to_percent_total_100_and_equal_weights_stay_equal(weights, places):
    found = grams_to_percent(weights, places)
    if any(weights.count(w) == 1 for w in weights):
        assert sum(found) == 100
    for weight in weights:
        assert len({p for p, w in zip(found, weights, strict=True) if w == weight}) == 1
    moved = [p for p, w in zip(found, weights, strict=True) if p != half_up(w * 100 / sum(weights), F(1, 10**places))]
    assert len(moved) <= 1


@given(plans)
def test_reading_writing_and_reading_a_plan_again_changes_nothing(text):
    plan = reading(text).plan
    values = {(line.phase, line.material): level_toml(line.level, '"stays"' if line.note else "") for line in plan.lines}
    again = reading(file_of(values))
    assert again.plan.lines == plan.lines
    assert percents(again) == percents(reading(text))
    assert file_of(
        {(line.phase, line.material): level_toml(line.level, '"stays"' if line.note else "") for line in again.plan.lines}
    ) == file_of(values)
