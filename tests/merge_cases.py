"""Random merges as two makers make them, and what each of them must keep: written without a look at fvc.

Two halves that know nothing of each other:

- the generator draws a plan and two edited copies, each of them valid and exactly 100 %;
- the oracle reads the texts of such a triple (tomllib and a scan of lines) and says what both sides together
  ask for: the facts that must stand in the result, the questions that need a person, and whether the total closes.
  `faults` holds a result against that, `judge` says in one word what a merge came to.

`python -m tests.merge_cases 123` prints triple 123 and what the oracle says of it.
"""

import copy
import random
import re
import sys
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import accumulate, combinations
from typing import Any, NamedTuple

HUNDRED = Decimal(100)

# --- the generator --------------------------------------------------------------------------------

FUNCTIONS = {
    "water": "solvent",
    "glycerin": "humectant",
    "propanediol": "humectant",
    "betaine": "humectant",
    "pentylene-glycol": "humectant",
    "sodium-lactate-solution": "humectant",
    "panthenol-75": "active",
    "niacinamide": "active",
    "allantoin": "active",
    "green-tea-extract": "extract",
    "oat-extract": "extract",
    "xanthan-gum": "thickener",
    "hydroxyethylcellulose": "thickener",
    "sunflower-oil": "emollient",
    "squalane": "emollient",
    "shea-butter": "emollient",
    "cetearyl-alcohol": "thickener",
    "glyceryl-stearate-citrate": "emulsifier",
    "coco-glucoside": "surfactant",
    "tocopherol": "antioxidant",
    "neroli-oil": "essential oil",
    "sweet-orange-oil": "essential oil",
    "lavender-oil": "essential oil",
    "polysorbate-20": "solubiliser",
    "preservative-premix": "preservative",
    "sodium-benzoate": "preservative",
    "trisodium-citrate-dihydrate": "buffer",
    "citric-acid-50": "pH adjuster",
}
OILS = tuple(m for m, f in FUNCTIONS.items() if f == "essential oil")
COMMENTS = (
    "from the new sack",
    "sticky at 4",
    "0.20 stays in solution",
    "slowly",
    "see the sheet of March",
    "smelled of old nuts",
    "keep cold",
)
NOTES = ("stays: it is the story", "weigh last", "the fine grade", "sieve first", "never above 40 °C")
STEPS = ("0.10", "0.20", "0.50", "0.50", "1.00", "1.00")


@dataclass
class Row:
    """A line of a plan. level: a number, `balance`, `open` or a ratio; above: whole lines, blank ones too."""

    material: str
    level: str
    note: str = ""
    expect: str = ""
    above: list[str] = field(default_factory=list)
    behind: str = ""


@dataclass
class Phase:
    """A phase with its texts, as TOML values."""

    name: str
    texts: dict[str, str]
    rows: list[Row]
    behind: str = ""


@dataclass
class Plan:
    """A plan as somebody types it.

    width: to which the names are filled up, so that the signs stand below each other.
    near: materials that both makers have an eye on, so that their edits meet.
    """

    head: dict[str, str]
    spec: dict[str, str]
    phases: list[Phase]
    width: int
    top: list[str]
    near: tuple[str, ...] = ()

    def rows(self) -> Iterator[tuple[Phase, Row]]:
        for phase in self.phases:
            for row in phase.rows:
                yield phase, row

    def row(self, material: str) -> Row | None:
        return next((r for _, r in self.rows() if r.material == material), None)

    def held(self, material: str) -> list[Row]:
        """The lines held at a ratio to a material."""
        return [r for _, r in self.rows() if material in re.findall(r"[a-z0-9-]+", r.level.partition(" x ")[2])]


def typed(level: str) -> bool:
    """True for a plain number."""
    return level[0].isdigit() and " " not in level


def write(plan: Plan) -> str:
    """The file."""

    def line(name: str, value: str, behind: str = "") -> str:
        left = f"{name:<{plan.width}} = {value}"
        return f"{left:<40} # {behind}" if behind else left

    out = [*plan.top, *(line(k, v) for k, v in plan.head.items())]
    if plan.spec:
        out += ["", "[spec]", *(line(k, v) for k, v in plan.spec.items())]
    for phase in plan.phases:
        out += ["", f"[phase.{phase.name}]" + (f"{'':<20} # {phase.behind}" if phase.behind else "")]
        out += [*(line(k, v) for k, v in phase.texts.items()), f"[phase.{phase.name}.percent]"]
        for row in phase.rows:
            level = row.level if typed(row.level) else f'"{row.level}"'
            more = (f", expect = {row.expect}" if row.expect else "") + (f', note = "{row.note}"' if row.note else "")
            out += [*row.above, line(row.material, f"{{ level = {level}{more} }}" if more else level, row.behind)]
    return "\n".join(out) + "\n"


def parent(dice: random.Random) -> Plan:
    """A plan, exactly 100 %: mostly with a balance line, in a third of them with the water typed; a few with hardly any balance left."""
    some = dice.sample([m for m in FUNCTIONS if m != "water"], dice.randint(5, 14))
    phases = [Phase(name, {}, [Row("water", "balance")] if name == "A" else []) for name in "ABCD"[: dice.randint(2, 4)]]
    for material in some:
        dice.choice(phases).rows.append(Row(material, f"{dice.choice((0.1, 0.2, 0.3, 0.5, 1, 1.5, 2, 3, 4, 6)):.2f}"))
    for phase in phases:
        dice.shuffle(phase.rows)
        phase.behind = dice.choice(("", "", "premix", "cool-down"))
        if dice.random() < 0.7:
            phase.texts["method"] = f'"{dice.choice(("Warm until clear.", "Stir the oils in, one by one.", "Slowly, no foam."))}"'
        if dice.random() < 0.4:
            phase.texts["heat"] = f'"{dice.choice((60, 70, 75))} °C"'
    phases = [p for p in phases if p.rows]
    head = {"format": "1", "title": '"Face toner, green tea"', "revision": str(dice.randint(1, 9)), "use": '"leave-on"', "batch": '"200 g"'}
    plan = Plan(head, {"ph": "[4.6, 5.2]"} if dice.random() < 0.6 else {}, phases, dice.choice((0, 16, 28)), ["# For the market stall."])
    oils = [m for m in some if m in OILS]
    for _, row in plan.rows():
        if row.material == "citric-acid-50":
            row.level, row.expect = "open", dice.choice(("", "0.40"))
        elif row.material == "polysorbate-20" and oils:
            row.level = f"{dice.choice((3, 4, 5))} x " + (oils[0] if len(oils) == 1 else f"({' + '.join(oils)})")
        if dice.random() < 0.15:
            row.note = dice.choice(NOTES)
        if dice.random() < 0.25:
            row.behind = dice.choice(COMMENTS)
        if dice.random() < 0.15:
            row.above = [*dice.choice(([], [""])), f"# {dice.choice(COMMENTS)}"]
    second = plan.row("propanediol")
    if second and typed(second.level) and dice.random() < 0.3:  # the same material in two phases
        other = [p for p in plan.phases if second not in p.rows]
        if other:
            dice.choice(other).rows.append(Row("propanediol", "0.80"))
    water = plan.row("water")
    assert water
    if dice.random() < 0.35:
        water.level = "0.00"
        close(plan)
    elif dice.random() < 0.12:  # a balm: the balance is nearly used up
        plan.phases[0].rows.append(Row("castor-oil", f"{left(plan) - Decimal(dice.choice(('0.60', '1.20')))}"))
    return plan


def left(plan: Plan) -> Decimal:
    """What the lines leave of 100, the balance line not counted. A plan's own arithmetic, on the model."""
    typed_sum: Counter[str] = Counter()
    for _, row in plan.rows():
        if typed(row.level) or row.expect:
            typed_sum[row.material] += Decimal(row.level if typed(row.level) else row.expect)  # type: ignore[assignment]
    total = sum(typed_sum.values(), Decimal(0))
    for _, row in plan.rows():
        if " x " in row.level:
            times, _, of = row.level.partition(" x ")
            total += Decimal(times) * sum((Decimal(typed_sum[m]) for m in re.findall(r"[a-z0-9-]+", of)), Decimal(0))
    return HUNDRED - total


def close(plan: Plan) -> None:
    """Type the water line anew where there is no balance, as a maker does."""
    if any(r.level == "balance" for _, r in plan.rows()):
        return
    water = plan.row("water")
    if water and typed(water.level):
        water.level = str(Decimal(water.level) + left(plan))


def valid(plan: Plan) -> bool:
    """True for a plan that reads and totals exactly 100."""
    rows = [r for _, r in plan.rows()]
    names = [(p.name, r.material) for p, r in plan.rows()]
    balances = sum(r.level == "balance" for r in rows)
    taken_up = {r.material for r in rows if " x " in r.level or r.level == "balance"}
    for row in rows:
        if " x " in row.level and any(not plan.row(m) or m in taken_up for m in re.findall(r"[a-z0-9-]+", row.level.partition(" x ")[2])):
            return False
    levels = all(0 <= Decimal(r.level) <= HUNDRED for r in rows if typed(r.level) or r.level.startswith("-"))
    closed = left(plan) >= 0 if balances else left(plan) == 0
    return levels and closed and balances <= 1 and len(names) == len(set(names)) and all(p.rows for p in plan.phases)


# Edits. Each changes the plan in place and may fail by doing nothing or by leaving it invalid; then another is drawn.


def _pick(plan: Plan, dice: random.Random, fits: Callable[[Row], bool] = lambda row: True) -> tuple[Phase, Row]:
    """A line that fits, and its phase."""
    fitting = [(p, r) for p, r in plan.rows() if fits(r)]
    near = [(p, r) for p, r in fitting if r.material in plan.near]
    return dice.choice(near if near and dice.random() < 0.8 else fitting)


def _free(plan: Plan, dice: random.Random) -> Row:
    """A line with a typed level, other than the water."""
    return _pick(plan, dice, lambda r: typed(r.level) and r.material != "water")[1]


def level(plan: Plan, dice: random.Random) -> None:
    """Raise or lower a level."""
    row = _free(plan, dice)
    row.level = str(Decimal(row.level) + Decimal(dice.choice(STEPS)) * dice.choice((1, 1, -1)))


def two_levels(plan: Plan, dice: random.Random) -> None:
    """Take from one line what another gets."""
    one, other, step = _free(plan, dice), _free(plan, dice), Decimal(dice.choice(STEPS))
    if one is not other:
        one.level, other.level = str(Decimal(one.level) + step), str(Decimal(other.level) - step)


def expected(plan: Plan, dice: random.Random) -> None:
    """Expect more or less of an open line."""
    for row in [r for _, r in plan.rows() if r.level == "open"]:
        row.expect = dice.choice(("0.30", "0.50", "0.60"))


def _new_material(plan: Plan, dice: random.Random) -> str:
    free = [m for m in FUNCTIONS if not plan.row(m) and m not in ("polysorbate-20", "citric-acid-50")]
    return dice.choice(free[:2] if plan.near else free)


def add(plan: Plan, dice: random.Random) -> None:
    """Add a line somewhere."""
    rows = _pick(plan, dice)[0].rows
    new = Row(_new_material(plan, dice), dice.choice(STEPS), behind=dice.choice(("", "", "new")))
    rows.insert(dice.choice((len(rows), dice.randint(0, len(rows)))), new)


def remove(plan: Plan, dice: random.Random) -> None:
    """Take a line out, with the comments above it or without."""
    phase, row = _pick(plan, dice, lambda r: r.level != "balance" and r.material != "water")
    here = phase.rows.index(row)
    if row.above and here + 1 < len(phase.rows) and dice.random() < 0.5:
        phase.rows[here + 1].above = row.above + phase.rows[here + 1].above
    phase.rows.remove(row)


def move(plan: Plan, dice: random.Random) -> None:
    """Put a line into another phase."""
    phase, row = _pick(plan, dice, lambda r: r.material != "water")
    to = dice.choice([p for p in plan.phases if p is not phase])
    phase.rows = [r for r in phase.rows if r is not row]
    to.rows.insert(dice.randint(0, len(to.rows)), row)


def replace(plan: Plan, dice: random.Random) -> None:
    """Put one material in the place of another, and let ratios follow it."""
    row, new = _free(plan, dice), _new_material(plan, dice)
    if sum(r.material == row.material for _, r in plan.rows()) == 1:
        for held in plan.held(row.material):
            held.level = re.sub(rf"(?<![a-z0-9-]){row.material}(?![a-z0-9-])", new, held.level)
        row.material = new
        if dice.random() < 0.3:
            row.level = str(Decimal(row.level) + Decimal(dice.choice(STEPS)))


def ratio(plan: Plan, dice: random.Random) -> None:
    """Change a ratio."""
    for row in [r for _, r in plan.rows() if " x " in r.level]:
        row.level = f"{dice.choice((2, 3, 4, 5, 6))} x {row.level.partition(' x ')[2]}"


def balance(plan: Plan, dice: random.Random) -> None:
    """Let another line take the rest."""
    for row in [r for _, r in plan.rows() if r.level == "balance"]:
        other = _free(plan, dice)
        row.level, other.level = str(left(plan)), "balance"


def note(plan: Plan, dice: random.Random) -> None:
    """Write, change or strike a note."""
    _pick(plan, dice)[1].note = dice.choice((*NOTES, ""))


def comment(plan: Plan, dice: random.Random) -> None:
    """Write, change or strike a comment, behind a line or above it."""
    row = _pick(plan, dice)[1]
    if dice.random() < 0.6:
        row.behind = dice.choice((*COMMENTS, ""))
    else:
        row.above = dice.choice(([], [f"# {dice.choice(COMMENTS)}"], [*row.above, f"# {dice.choice(COMMENTS)}"]))


def text(plan: Plan, dice: random.Random) -> None:
    """Change one of the texts."""
    where = plan.head if plan.near else dice.choice([plan.head, plan.spec, *(p.texts for p in plan.phases)])
    if where is plan.head:
        key = dice.choice(("title", "batch", "status"))
        choices = {"title": ("Face toner, light", "Face toner, winter"), "batch": ("300 g", "100 g"), "status": ("tried", "chosen")}[key]
        where[key] = f'"{dice.choice(choices)}"'
    elif where is plan.spec:
        where["ph"] = dice.choice(("[4.4, 4.9]", "[4.6, 5.0]", "[5.0, 5.5]"))
    elif dice.random() < 0.5:
        where["method"] = f'"{dice.choice(("Warm, cover, cool.", "One by one, in this order.", "Stir 5 min."))}"'
    else:
        where["heat"] = f'"{dice.choice((65, 80))} °C"'


def reorder(plan: Plan, dice: random.Random) -> None:
    """Move a line up or down within its phase."""
    phase, row = _pick(plan, dice)
    rows = phase.rows
    rows.remove(row)
    rows.insert(dice.randint(0, len(rows)), row)


def revise(plan: Plan, dice: random.Random) -> None:
    """Save a revision."""
    plan.head["revision"] = str(int(plan.head["revision"]) + 1)


def align(plan: Plan, dice: random.Random) -> None:
    """Let an editor line up the signs."""
    plan.width = dice.choice([w for w in (0, 16, 28) if w != plan.width])


EDITS: dict[Callable[[Plan, random.Random], None], int] = {
    level: 10, two_levels: 4, expected: 1, add: 6, remove: 5, move: 3, replace: 4, ratio: 2,
    balance: 2, note: 3, comment: 5, text: 4, reorder: 4, revise: 3, align: 1,
}  # fmt: skip


class Triple(NamedTuple):
    """What a merge is given, and what was done to it."""

    base: str
    first: str
    second: str
    edits: tuple[tuple[str, ...], tuple[str, ...]]
    typed_water: bool
    near: bool


def child(plan: Plan, dice: random.Random) -> tuple[Plan, tuple[str, ...]]:
    """A copy with one to three ordinary edits, valid and exactly 100 %."""
    for _ in range(10_000):
        edited, done = copy.deepcopy(plan), dice.choices(list(EDITS), list(EDITS.values()), k=dice.choice((1, 1, 2, 2, 3)))
        try:
            for edit in done:
                edit(edited, dice)
        except (IndexError, ValueError):  # nothing there to be edited so
            continue
        close(edited)
        if valid(edited) and write(edited) != write(plan):
            return edited, tuple(edit.__name__ for edit in done)
    raise AssertionError("no edit fits this plan")


def triple(number: int, seed: str = "merge") -> Triple:
    """The plan and two edited copies with this number, the same on every machine; in every third, the edits are near each other."""
    dice = random.Random(f"{seed} {number}")
    base = parent(dice)
    while not valid(base):
        base = parent(dice)
    if number % 3 == 0:
        base.near = tuple(dice.sample(sorted({r.material for _, r in base.rows()}), 3))
    first, done_first = child(base, dice)
    second, done_second = child(base, dice)
    texts = [write(p) for p in (base, first, second)]
    for one in texts:
        assert total_of(read(one)) == HUNDRED, one
    return Triple(*texts, (done_first, done_second), not any(r.level == "balance" for _, r in base.rows()), bool(base.near))


# --- the oracle: reading --------------------------------------------------------------------------

Key = tuple[str, ...]  # ("phase", "A", "percent", "water"); a heading has the key of its table
END: Key = ("", "end of file")


class Level(NamedTuple):
    """A level as typed, and what is expected of an open one."""

    amount: str
    expect: str = "0"


class Line(NamedTuple):
    """A line that says something. facts: value, or level and note; behind and above, its comments."""

    key: Key
    whole: str
    facts: dict[str, Any]


def is_row(key: Key) -> bool:
    """True for a line with a level."""
    return len(key) == 4 and key[0] == "phase" and key[2] == "percent"


class File(NamedTuple):
    """What a text says. order: the keys of each table as they stand; the headings under ()."""

    lines: dict[Key, Line]
    order: dict[Key, list[Key]]

    @property
    def rows(self) -> dict[Key, Line]:
        return {k: line for k, line in self.lines.items() if is_row(k)}


def apart(line: str) -> tuple[str, str]:
    """What a line says, and the comment behind it."""
    quoted = False
    for n, sign in enumerate(line):
        if sign == '"':
            quoted = not quoted
        elif sign == "#" and not quoted:
            return line[:n].strip(), line[n + 1 :].strip()
    return line.strip(), ""


def read(content: str) -> File:
    """Read a text line by line and hold that against tomllib; raises ValueError (tomllib's is one) when it is no plan."""
    whole_file = tomllib.loads(content, parse_float=str)
    lines: dict[Key, Line] = {}
    order: dict[Key, list[Key]] = {(): []}
    table: Key = ()
    above: list[str] = []
    for whole in content.splitlines():
        said, remark = apart(whole)
        if not said:
            above += [remark] * bool(remark)
            continue
        if said.startswith("["):
            key = table = tuple(said.strip("[]").split("."))
            order[()].append(key)
            order[key] = []
            facts: dict[str, Any] = {"value": ""}
        else:
            name, _, raw = said.partition("=")
            key = (*table, name.strip())
            order.setdefault(table or ("top",), []).append(key)
            value = tomllib.loads(f"x = {raw}", parse_float=str)["x"]
            found: Any = whole_file
            for part in key:
                found = found[part]
            assert found == value, (key, found, value)
            facts = {"value": raw.strip()}
            if is_row(key):
                more = value if isinstance(value, dict) else {"level": value}
                facts = {"level": Level(str(more["level"]), str(more.get("expect", 0))), "note": more.get("note", "")}
        lines[key] = Line(key, whole.rstrip(), facts | {"behind": remark, "above": tuple(above)})
        above = []
    lines[END] = Line(END, "", {"value": "", "behind": "", "above": tuple(above)})
    return File(lines, order)


class UnclosedError(Exception):
    """Lines that come to no total, with the reason."""


def total(rows: Iterable[tuple[Key, Level]]) -> Decimal:
    """The percent that lines come to, worked out with plain decimals; raises UnclosedError."""
    plain: dict[str, Decimal] = {}
    ratios: list[tuple[str, str]] = []
    balances = 0
    for key, (amount, expect) in rows:
        material = key[3]
        if amount == "balance":
            balances += 1
        elif " x " in amount:
            ratios.append((material, amount))
        else:
            plain[material] = plain.get(material, Decimal(0)) + Decimal(expect if amount == "open" else amount)
    out = sum(plain.values(), Decimal(0))
    for material, amount in ratios:
        times, _, of = amount.partition(" x ")
        for name in re.findall(r"[a-z0-9-]+", of):
            if name not in plain:
                raise UnclosedError(f"{material} is held to {name}, which has no level of its own")
            out += Decimal(times) * plain[name]
    if balances > 1:
        raise UnclosedError("two lines take the rest")
    if balances and out > HUNDRED:
        raise UnclosedError(f"the balance would be {HUNDRED - out}")
    return HUNDRED if balances else out


def total_of(file: File) -> Decimal:
    """The total of a file."""
    return total((k, line.facts["level"]) for k, line in file.rows.items())


# --- the oracle: what both sides together ask for -------------------------------------------------

OPEN = "both changed it, each in a way of their own"
ADRIFT = "a comment that lost its line"


def agreed(base: Any, first: Any, second: Any) -> Any:
    """What three say of one thing: the one who changed it, or both when they agree; else it is OPEN."""
    if first == second or second == base:
        return first
    return second if first == base else OPEN


@dataclass
class Wish:
    """What the result of a merge must be.

    lines: the facts of each line that must be there.
    disputed: keys on which only people can decide, with why: both sides' lines must stand between markers.
    may: keys on which a merge may ask and need not, with why.
    parts: what is known of the lines in question, such as the note where only the level is.
    total: why the combined lines do not come to 100, if they do not, whichever side is taken where there is a question.
    """

    lines: dict[Key, dict[str, Any]] = field(default_factory=dict)
    disputed: dict[Key, str] = field(default_factory=dict)
    may: dict[Key, str] = field(default_factory=dict)
    parts: dict[Key, dict[str, Any]] = field(default_factory=dict)
    total: str = ""
    order: set[tuple[Key, Key]] = field(default_factory=set)  # the first stands above the second
    comments: Counter[str] = field(default_factory=Counter)  # at least so often in the result
    changed: set[Key] = field(default_factory=set)  # rows whose level or phase either side changed, or that are there on one side alone
    touched: set[Key] = field(default_factory=set)  # rows that either side changed in any way, moving them up or down included
    orders: dict[Key, set[Key]] = field(default_factory=dict)  # tables in which both moved lines, and not alike: these keys
    orphans: set[str] = field(default_factory=set)  # comments on a row that the other side took out: they stay, above whatever follows
    mixed: bool = False  # several levels are in question in a plan without a balance: one answer from each side makes a wrong total

    @property
    def must_ask(self) -> bool:
        """True when no merge may be clean."""
        return bool(self.disputed or self.orders or self.total)

    @property
    def may_ask(self) -> bool:
        """True when a conflict is no fault."""
        return self.must_ask or bool(self.may)

    def why(self) -> set[str]:
        """The reasons to ask."""
        return {*self.disputed.values(), *["lines moved to different places"] * bool(self.orders), *["the total"] * bool(self.total)}


class Thread(NamedTuple):
    """One row through the three files: its key in each, or None."""

    base: Key | None
    first: Key | None
    second: Key | None


def threads(base: File, first: File, second: File) -> list[Thread]:
    """Every row of three files, followed through moves to another phase."""
    found: list[Thread] = []
    everything = [list(file.rows) for file in (base, first, second)]
    for material in sorted({k[3] for keys in everything for k in keys}):
        here, *sides = ({k for k in keys if k[3] == material} for keys in everything)
        moves, news = [], []
        for side in sides:
            gone, new = here - side, side - here
            moves.append(dict(zip(gone, new, strict=True)) if len(gone) == len(new) == 1 else {})
            news.append(new - set(moves[-1].values()))
        found += [Thread(k, *(k if k in side else move.get(k) for side, move in zip(sides, moves, strict=True))) for k in sorted(here)]
        both, one, other = news[0] & news[1], news[0] - news[1], news[1] - news[0]
        found += [Thread(None, k, k) for k in sorted(both)]
        if len(one) == len(other) == 1:  # the same material, added by both in different phases
            found += [Thread(None, *one, *other)]
        else:
            found += [Thread(None, k, None) for k in sorted(one)] + [Thread(None, None, k) for k in sorted(other)]
    return found


def wish(base: File, first: File, second: File) -> Wish:
    """What must come out of the merge of two edited copies."""
    want = Wish()
    files = (base, first, second)
    _rows(files, want)
    _texts(files, want)
    for table in dict.fromkeys(t for file in files for t in file.order):
        _order(table, [file.order.get(table, []) for file in files], want)

    counts = [Counter(c for line in file.lines.values() for c in (*line.facts["above"], line.facts["behind"]) if c) for file in files]
    for remark in set().union(*counts):
        old, one, other = (c[remark] for c in counts)
        # both struck one: two different ones, for all we know here
        want.comments[remark] = (
            agreed(old, one, other) if old in (one, other) else max(0, one + other - old) if one < old else min(one, other)
        )

    # whichever side is taken where there is a question, the lines must come to 100
    for side in (first, second):
        asked = {k: line.facts for k, line in side.rows.items() if k in want.disputed}
        try:
            lines = {k: said for k, said in want.lines.items() if is_row(k) and k not in want.disputed} | asked
            comes_to = total((k, said["level"]) for k, said in lines.items())
            want.total = want.total or ("" if comes_to == HUNDRED else f"the lines come to {comes_to}")
        except UnclosedError as reason:
            want.total = want.total or str(reason)
        want.mixed |= len({k[3] for k in asked}) > 1 and not any(f["level"].amount == "balance" for f in lines.values())
    return want


def _rows(files: tuple[File, File, File], want: Wish) -> None:
    """Presence, phase, level, note and comments: each its own matter, so that two people may each have theirs."""
    landed: Counter[Key] = Counter()
    gone: list[set[Key]] = [set(), set()]  # rows that a side took out altogether
    new: list[set[Key]] = [set(), set()]
    for thread in threads(*files):
        old, *sides = (file.lines[key] if key else None for file, key in zip(files, thread, strict=True))
        for n, side in enumerate(sides):
            if old and not side:
                gone[n].add(old.key)
            if side and not old:
                new[n].add(side.key)
            keys = {line.key for line in (side, old) if line}
            if not (old and side) or old.facts != side.facts or old.key != side.key:
                want.touched |= keys
            if not (old and side) or old.facts["level"] != side.facts["level"] or old.key != side.key:
                want.changed |= keys
        there = [side for side in sides if side]
        if len(there) == 2:
            one, other = there
            key = agreed(thread.base, thread.first, thread.second)
            before = old.facts if old else {"level": None, "note": "", "behind": "", "above": ()}
            said = {name: agreed(before[name], one.facts[name], other.facts[name]) for name in one.facts}
            why = (
                "put into different phases"
                if key is OPEN
                else "different levels"
                if said["level"] is OPEN
                else "different notes"
                if said["note"] is OPEN
                else ""
            )
            if why:
                want.disputed |= {line.key: why for line in there}
                want.parts |= {line.key: said for line in there}
                continue
            if old and one.key != other.key:
                going, staying = (one, other) if one.key != old.key else (other, one)
                if staying.facts["level"] not in (old.facts["level"], going.facts["level"]):
                    want.disputed |= {line.key: "moved by one, its level changed by the other" for line in there}
                    want.parts |= {line.key: said for line in there}
                    continue
            if OPEN in said.values():
                want.may[key] = "different comments"
            elsewhere = {c for k, line in files[0].lines.items() if not old or k != old.key for c in line.facts["above"]}
            if said["above"] is not OPEN and set(said["above"]) - set(before["above"]) & elsewhere and one.key != other.key:
                said["above"] = ADRIFT  # it stood above a line that went: who can say whether it goes along with the next
                want.orphans |= elsewhere
        elif not there:
            continue
        else:
            key, said = there[0].key, there[0].facts
            if old:  # the other one took it out
                if (said["behind"], said["above"]) != (old.facts["behind"], old.facts["above"]):
                    want.orphans |= {*said["above"], said["behind"], f"of {key[3]}: {said['behind']}"}
                if (key, said["level"], said["note"]) != (old.key, old.facts["level"], old.facts["note"]):
                    want.disputed[key] = "removed by one, changed by the other"
                elif said != old.facts:
                    want.may[key] = "removed by one, its comment changed by the other"
                continue
        want.lines[key] = said
        landed[key] += 1
        if landed[key] > 1:
            want.disputed[key] = "two lines come to stand in one place"

    for table in {t for file in files for t in file.order if is_row((*t, ""))}:
        old_order, *orders = (file.order.get(table, []) for file in files)
        by = [replaced(old_order, keys, gone[n], new[n]) for n, keys in enumerate(orders)]
        for key in set(by[0]) & set(by[1]):
            one_by, other_by = by[0][key], by[1][key]
            if one_by != other_by:
                sure = all(len(b[key]) == 1 and list(b.values()).count(b[key]) == 1 for b in by)
                doubt = want.disputed if sure else want.may
                for added in one_by ^ other_by:
                    doubt.setdefault(
                        added, "one line replaced by different ones" if sure else "one line gone, perhaps replaced by different ones"
                    )


def replaced(base: list[Key], side: list[Key], gone: set[Key], new: set[Key]) -> dict[Key, set[Key]]:
    """For each row that a side took out, the new rows that stand in its place: between the same two lines that stayed."""
    steady = {k for k in base if k in side} - moved(base, side)[1]

    def between(keys: list[Key], wanted: set[Key]) -> list[set[Key]]:
        out: list[set[Key]] = [set()]
        for key in keys:
            if key in steady:
                out.append(set())
            out[-1] |= {key} & wanted
        return out

    return {key: added for went, added in zip(between(base, gone), between(side, new), strict=True) for key in went}


def _texts(files: tuple[File, File, File], want: Wish) -> None:
    """Headings and texts; the revision is the higher one."""
    for key in dict.fromkeys(k for file in files for k in file.lines if not is_row(k)):
        lines = [file.lines.get(key) for file in files]
        said = {name: agreed(*(line and line.facts[name] for line in lines)) for name in ("value", "behind", "above")}
        if key == ("revision",):
            said["value"] = max((line.facts["value"] for line in lines if line), key=int)
        if said["value"] is OPEN:
            want.disputed[key] = "different texts"
        elif said["value"] is not None:
            want.lines[key] = said
            if OPEN in said.values():
                want.may[key] = "different comments"


def moved(base: list[Key], side: list[Key]) -> tuple[set[Key], set[Key]]:
    """The keys that certainly moved, and those that may have: in none, or not in all, of the longest common orders."""
    one, other = [k for k in base if k in side], [k for k in side if k in base]

    def longest(a: list[Key], b: list[Key]) -> int:
        row = [0] * (len(b) + 1)
        for x in a:
            row = list(accumulate(range(len(b)), lambda left, j, x=x, row=row: max(left, row[j + 1], row[j] + (x == b[j])), initial=0))
        return row[-1]

    if one == other:
        return set(), set()
    best = longest(one, other)
    certain, possible = set(), set()
    for key in one:
        i, j = one.index(key), other.index(key)
        if longest(one[:i], other[:j]) + 1 + longest(one[i + 1 :], other[j + 1 :]) < best:
            certain.add(key)
        if longest(one[:i] + one[i + 1 :], other[:j] + other[j + 1 :]) == best:
            possible.add(key)
    return certain, possible


def _order(table: Key, orders: list[list[Key]], want: Wish) -> None:
    """The order in one table: what one side turned round is turned round; new lines stand where their side put them."""
    base, *sides = orders
    common = [k for k in base if all(k in side for side in sides) and k in want.lines]
    places = [{k: n for n, k in enumerate(keys)} for keys in orders]
    turned = [{(x, y) for x, y in combinations(common, 2) if place[x] > place[y]} for place in places[1:]]
    moves = [moved(base, side) for side in sides]
    want.touched |= {k for _, possible in moves for k in possible if is_row(k)}

    def ask(why: str) -> None:  # an order in question is that of the whole table
        for key in {k for side in sides for k in side}:
            want.may.setdefault(key, why)

    pairs = {(y, x) if any((x, y) in t for t in turned) else (x, y) for x, y in combinations(common, 2)}

    if turned[0] != turned[1]:
        fought = {
            k
            for k in moves[0][0] & moves[1][0] & set(common)
            if {x for x in common if places[1][x] < places[1][k]} != {x for x in common if places[2][x] < places[2][k]}
        }
        if len(set(Counter(above for above, _ in pairs).values()) | {0}) < len(common):  # a ring: a stands above b, b above c, c above a
            fought = {k for pairs in turned for pair in pairs for k in pair}
        if fought:
            want.orders[table] = set(common)
        if fought or moves[0][1] & moves[1][1]:
            ask("perhaps the same line moved by both")
        pairs = {p for p in pairs if not fought & set(p)}
    want.order |= pairs

    for n, side in enumerate(sides):
        fresh = [k for k in side if k not in base and (k in want.lines or k in want.disputed)]
        steady = [k for k in common if k not in moves[1 - n][1]]
        for x, y in combinations([k for k in side if k in fresh or k in steady], 2):
            if x in fresh or y in fresh:
                want.order.add((x, y))
    for x, y in list(want.order):
        if (y, x) in want.order:  # the same line added by both, each in another place
            want.order -= {(x, y), (y, x)}
            want.orders[table] = want.orders.get(table, set()) | {k for k in (x, y) if k not in want.disputed}
            ask("beside a line added in different places")


# --- the oracle: a result held against it ---------------------------------------------------------


class Side(NamedTuple):
    """A file with markers, resolved for one side. inside: the keys that stood between markers, block by block."""

    file: File
    inside: list[list[Key]]


def resolved(merged: str, second: bool) -> Side:
    """What is left of a file with markers when one side is taken throughout."""
    kept: list[str] = []
    spans: list[tuple[int, int]] = []
    state = start = 0  # 0 outside, 1 the first side, 2 the base (diff3), 3 the second side
    for line in merged.splitlines():
        marker = line[:7] if line[7:8] in ("", " ") else ""
        if marker == "<<<<<<<" and state == 0:
            state, start = 1, len(kept)
        elif marker == "|||||||" and state == 1:
            state = 2
        elif marker == "=======" and state in (1, 2):
            state = 3
        elif marker == ">>>>>>>" and state == 3:
            state = 0
            spans.append((start, len(kept)))
        elif state == 0 or state == (3 if second else 1):
            kept.append(line)
    if state or not spans:
        raise ValueError("markers that do not pair")
    file = read("\n".join(kept) + "\n")
    numbered: dict[int, Key] = {}
    table: Key = ()
    for n, line in enumerate(kept):
        said = apart(line)[0]
        if said.startswith("["):
            numbered[n] = table = tuple(said.strip("[]").split("."))
        elif said:
            numbered[n] = (*table, said.partition("=")[0].strip())
    return Side(file, [[numbered[n] for n in range(a, b) if n in numbered] for a, b in spans])


def faults(base: str, first: str, second: str, merged: str, conflict: bool, want: Wish | None = None) -> list[str]:
    """What is wrong with a merge, in plain words; nothing when it is as it must be."""
    files = read(base), read(first), read(second)
    want = want or wish(*files)
    if conflict:
        return _conflict_faults(files, want, merged)
    if want.must_ask:
        return [f"merged without a question: {want.why()}: {want.total} {want.disputed}"]
    try:
        result = read(merged)
    except (ValueError, AssertionError) as problem:
        return [f"does not read: {problem}"]
    found = _line_faults(files, want, result, set())
    try:
        comes_to = total_of(result)
        found += [f"totals {comes_to}"] * (comes_to != HUNDRED)
    except UnclosedError as reason:
        found.append(f"no total: {reason}")
    return found + _lost_comments(want, merged)


def _with_orphans(wanted: Any, found: Any, want: Wish) -> Any:
    """What is wanted above a line, with the comments among it whose own row is gone."""
    if isinstance(wanted, tuple) and [c for c in found if c in wanted or c not in want.orphans] == list(wanted):
        return found
    return wanted


def _lost_comments(want: Wish, merged: str) -> list[str]:
    have = Counter(re.sub(r"^of [a-z0-9-]+: ", "", apart(line)[1]) for line in merged.splitlines())
    return [f"a comment is lost: {remark}" for remark, times in want.comments.items() if have[remark] < times]


def _line_faults(files: tuple[File, File, File], want: Wish, result: File, exempt: set[Key]) -> list[str]:
    """Lines lost, invented, changed or out of order, but for those in question."""
    found = [f"lost: {k}" for k in want.lines if k not in result.lines and k not in exempt]
    for key, line in result.lines.items():
        if key in exempt:
            continue
        said = want.lines.get(key)
        if said is None:
            found.append(f"not taken out, or invented: {line.whole}")
            continue
        for name, value in said.items():
            if value not in (OPEN, ADRIFT) and line.facts[name] not in (value, _with_orphans(value, line.facts[name], want)):
                found.append(f"{key}: {name} is {line.facts[name]!r}, not {value!r}")
        wholes = [file.lines[key].whole for file in files if key in file.lines]
        if line.whole not in wholes and len(set(wholes)) < 3 and not any(k[3:] == key[3:] and k != key for f in files for k in f.rows):
            found.append(f"written anew though only one side changed it: {line.whole}")
    place = {k: n for keys in result.order.values() for n, k in enumerate(keys)}
    found += [f"{x} stands below {y}" for x, y in want.order if not {x, y} & exempt and x in place and y in place and place[x] > place[y]]
    return found


def _conflict_faults(files: tuple[File, File, File], want: Wish, merged: str) -> list[str]:
    if not want.may_ask:
        return ["a conflict about nothing"]
    found = _lost_comments(want, merged)
    try:
        taken = [resolved(merged, second=n == 1) for n in (0, 1)]
    except (ValueError, AssertionError) as problem:
        return [f"does not read when one side is taken: {problem}"]
    between = {k for side in taken for block in side.inside for k in block}
    for side in taken:
        try:
            comes_to = total_of(side.file)
            found += [f"totals {comes_to} when one side is taken throughout"] * (comes_to != HUNDRED)
        except UnclosedError as reason:
            found.append(f"no total when one side is taken throughout: {reason}")
    for own, side in zip(files[1:], taken, strict=True):
        for key in want.disputed:
            line, mine = side.file.lines.get(key), own.lines.get(key)
            said, wanted = (it and it.facts.get("level", it.facts.get("value")) for it in (line, mine))
            if said != wanted and (not said or not wanted or said != want.parts.get(key, {}).get("level")):
                found.append(f"{key} is in question, and is {said!r} where one side says {wanted!r}")
        for table, keys in want.orders.items():
            if [k for k in side.file.order[table] if k in keys] != [k for k in own.order[table] if k in keys]:
                found.append(f"the order of {table} is in question, and is not that of the side")
        found += _line_faults(files, want, side.file, between | set(want.disputed))
        for key in between & set(side.file.lines):
            for name, value in side.file.lines[key].facts.items():
                known = [said[key] for said in (want.lines, want.parts) if key in said]
                known += [file.lines[key].facts for file in (own,) if key in file.lines]
                allowed = [said[name] for said in known]
                allowed += [file.lines[key].facts[name] for file in files if key in file.lines and OPEN in allowed]
                if value not in allowed and not any(value == _with_orphans(a, value, want) for a in allowed):
                    found.append(f"{key}: {name} is {value!r} between the markers, where that side says {allowed}")
    found += [f"{key} is in question and stands outside the markers" for key in want.disputed if key not in between]
    needless = [
        f"{key} is in no question and stands between markers" for key in between if key not in want.disputed and key not in want.may
    ]
    found += _span_faults(want, taken) if want.total or (want.mixed and needless) else needless
    return found


def _span_faults(want: Wish, taken: list[Side]) -> list[str]:
    """A wrong total: the markers go from the first to the last row that either side changed."""
    between = {k for side in taken for block in side.inside for k in block}
    there = {k for side in taken for k in side.file.lines}
    found = [f"{key} was changed, the total is wrong, and it stands outside the markers" for key in want.changed & there - between]
    spans = [n for n, _ in enumerate(taken[0].inside) if any(is_row(k) for side in taken for k in side.inside[n])]
    if len(spans) != 1:
        return [*found, f"{len(spans)} pairs of markers for one total"]
    for end, where in ((0, "first"), (-1, "last")):
        edges = {side.inside[spans[0]][end] for side in taken if side.inside[spans[0]]}
        if not edges & {*want.touched, *want.disputed}:
            found.append(f"the {where} line between the markers was changed by nobody: {edges}")
    return found


def main(number: int) -> None:
    """Print a triple and what the oracle says of it."""
    drawn = triple(number)
    for name, content in zip(("before", "first", "second"), drawn[:3], strict=True):
        print(f"=== {name}\n{content}")
    want = wish(read(drawn.base), read(drawn.first), read(drawn.second))
    print(
        f"=== edits: {drawn.edits}\nin question: {want.disputed} {want.orders}\nmay be asked: {want.may}\ntotal: {want.total or 'closes'}"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]))
