"""Laws of limits, the label, the cost and the bill of a change, tried on random plans; and figures from outside.

The oracle takes the text of the files and works everything out a second time with plain fractions. It calls
nothing of fvc for it: of `fvc.reference` it takes the published figures as they stand (what counts towards which
limit, what an oil typically holds), and molar masses are typed in below and held to an independent library.
"""

import contextlib
import datetime
import functools
import itertools
import json
import math
import re
import tomllib
from collections import Counter
from collections.abc import Iterable
from fractions import Fraction as F
from typing import NamedTuple

import molmass
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fvc.compare.bill import bill
from fvc.composition import composition_of
from fvc.contents import contents_of, total
from fvc.errors import Refusal
from fvc.formulary import Formulary
from fvc.reading import Reading, Side
from fvc.reference.allergens import LISTS
from fvc.reference.limits import LIMITS
from fvc.reference.lookup import known, limits_of
from fvc.reference.oils import OILS
from fvc.reference.substances import HYDRATES, SUBSTANCES
from fvc.rules.basis import Basis, HouseRule
from fvc.rules.case import case_of
from fvc.rules.check import CHECKS, check
from fvc.rules.cost import cost, in_bottles
from fvc.rules.finding import NotChecked
from fvc.rules.label import label
from fvc.rules.limits import counted
from fvc.show import data, judged_data
from tests.support import Studio

FEWER = settings(max_examples=max(30, 3 * settings.default.max_examples // 10))  # for laws that read several plans each, or are slow

OLD_DAY, NEW_DAY = datetime.date(2026, 7, 30), datetime.date(2026, 7, 31)

# --- the shelf -------------------------------------------------------------------------------------------

SHELF = {
    "water": 'function = "solvent"\nprice = "1.00 / 1 kg"\n[composition]\n"Aqua" = 100\n',
    "glycerin-50": 'function = "humectant"\nprice = "3.00 / 500 g"\nuse_level = [1, 4]\n[composition]\n"Glycerin" = 50\n"Water" = "balance"\n',
    "sodium-benzoate": 'function = "preservative"\nprice = "4.20 / 250 g"\nuse_level = [0.1, 1.0]\n[composition]\n"Sodium Benzoate" = 100\n',
    "benzoate-33": 'function = "preservative"\nprice = "7 / 1 L"\ndensity = 1.15\n[composition]\n'
    '"Sodium Benzoate" = { nominal = 33, low = 31, high = 35 }\n"AQUA" = "balance"\n',
    "benzoic-acid-4": 'function = "preservative"\n[composition]\n"Benzoic Acid" = 4.5\n"Propanediol" = "balance"\n',
    "potassium-sorbate": 'function = "preservative"\nprice = "6 EUR / 250 g"\n[composition]\n"Potassium Sorbate" = 100\n',
    "sorbate-own": 'function = "preservative"\nmolar_mass = 151.30\n[composition]\n"Potassium Sorbate" = 99\n"Aqua" = 1\n',
    "calcium-sorbate": 'function = "preservative"\n[composition]\n"Calcium Sorbate" = [97, 100]\n',
    "methylparaben": 'function = "preservative"\n[composition]\n"Methylparaben" = 100\n',
    "phenoxy-blend": 'function = "preservative"\nprice = "9.90 / 100 mL"\ndensity = 1.1\n[composition]\n'
    '"Phenoxyethanol" = { nominal = 90, low = 88, high = 92 }\n"Ethylhexylglycerin" = 10\n',
    "extract": 'function = "extract"\nprice = "8 / 100 g"\n[composition]\n"Camellia Sinensis Leaf Extract" = [0.5, 2]\n'
    '"Sodium Benzoate" = [3, 5]\n"Potassium Sorbate" = 0.2\n"Aqua" = "balance"\n',
    "triethanolamine": 'function = "pH adjuster"\n[composition]\n"Triethanolamine" = { nominal = 99, low = 98, high = 100 }\n"Aqua" = "balance"\n',
    "secret": 'function = "preservative"\n[composition]\n"Phenoxyethanol" = "unknown"\n"Propanediol" = [30, 40]\n',
    "silent": 'function = "film former"\nprice = "12 / 50 g"\n',
    "lavender-oil": 'function = "essential oil"\nprice = "11 / 10 mL"\ndensity = 0.885\n[composition]\n"Lavandula Angustifolia Oil" = 100\n'
    '[constituents]\n"Linalool" = [25, 38]\n"Coumarin" = 0\n',
    "tea-tree-oil": 'function = "essential oil"\n[composition]\n"Melaleuca Alternifolia Leaf Oil" = 100\n',
    "juniper-oil": 'function = "essential oil"\n[composition]\n"Juniperus Virginiana Oil" = 100\n',
    "perfume": 'function = "fragrance"\n[composition]\n"Parfum" = 100\n[constituents]\n"Limonene" = 5\n"Linalool" = [1, 2]\n"Geraniol" = 0.1\n',
    "limonene": 'function = "fragrance"\n[composition]\n"Limonene" = 100\n',
    "iron-oxide": 'function = "colourant"\n[composition]\n"CI 77491" = 100\n',
    "mica-mix": 'function = "colourant"\nprice = "3 / 20 g"\n[composition]\n"Mica" = 70\n"CI 77891" = 30\n',
}

# g/mol, two decimals, as IUPAC abridged atomic weights of 2021 give them (the outside checks below hold them to molmass)
MASSES = {
    "benzoic acid": "122.12",
    "sodium benzoate": "144.10",
    "sorbic acid": "112.13",
    "potassium sorbate": "150.22",
    "calcium sorbate": "262.32",
    "4-hydroxybenzoic acid": "138.12",
    "methylparaben": "152.15",
}
ACIDS_IN_ONE = {"calcium sorbate": 2}


class Held:
    """The files of a formulary, in memory."""

    def __init__(self, files: dict[str, str]) -> None:
        self.files = {path: text.encode() for path, text in files.items()}

    def read(self, path: str) -> bytes | None:
        return self.files.get(path)

    def names(self, folder: str) -> list[str]:
        return sorted(path.rpartition("/")[2] for path in self.files if path.rpartition("/")[0] == folder)

    def has(self, path: str) -> bool:
        return path in self.files

    def key(self, path: str) -> str | None:
        return path if path.startswith("materials/") else None

    def expect(self, paths: Iterable[str]) -> None:
        pass


PARSED: dict = {}  # the records of the shelf, parsed once; a test with records of its own keeps none
RECORDS = {f"materials/{id}.toml": f"format = 1\n{text}" for id, text in SHELF.items()}


def read(files: dict[str, str], own: dict[str, str] | None = None, name: str = "product") -> Reading:
    """The plan formulas/product.toml as fvc reads it, with the shelf, or records of one's own."""
    records = RECORDS if own is None else {f"materials/{id}.toml": f"format = 1\n{text}" for id, text in own.items()}
    formulary = Formulary(Held(records | files), PARSED if own is None else None)
    return formulary.read_path(f"formulas/{name}.toml", Side(name, None, 1, True))


# --- random plans ----------------------------------------------------------------------------------------


class Row(NamedTuple):
    """A line: phase, material or premix, percent."""

    phase: str
    id: str
    level: F


class Recipe(NamedTuple):
    """A plan that water closes, with the premixes that stand in it, by id, whose lines water closes as well."""

    rows: tuple[Row, ...]
    premixes: tuple[tuple[str, tuple[Row, ...]], ...] = ()
    use: tuple[str, ...] = ("leave-on",)
    parfum: bool = False

    def files(self, name: str = "product") -> dict[str, str]:
        head = f"use = {json.dumps(self.use)}\n" + ('[label]\noils = "parfum"\n' if self.parfum else "")
        out = {f"formulas/{name}.toml": head_of(name) + head + "[spec]\nph = [4.5, 4.9]\n" + text_of(self.rows)}
        return out | {f"formulas/{id}.toml": head_of(id) + text_of(rows) for id, rows in self.premixes}

    def mix(self) -> list[tuple[str, F]]:
        """Raw materials in the order of addition at their percents, premixes taken apart: the oracle."""
        return self._apart(closed(self.rows), F(100))

    def _apart(self, rows: Iterable[Row], of: F) -> list[tuple[str, F]]:
        inside, out = dict(self.premixes), []
        for row in rows:
            percent = row.level * of / 100
            out += self._apart(closed(inside[row.id]), percent) if row.id in inside else [(row.id, percent)]
        return out

    def flat(self) -> "Recipe":
        """The same product without premixes; each raw material where its premix stood."""
        inside, out = dict(self.premixes), []
        for row in self.rows:
            apart = self._apart(closed(inside[row.id]), row.level) if row.id in inside else [(row.id, row.level)]
            out += [Row(row.phase, id, percent) for id, percent in apart]
        merged: dict[tuple[str, str], F] = {}
        for phase, id, percent in out:
            merged[phase, id] = merged.get((phase, id), F(0)) + percent
        merged.pop(("A", "water"), None)  # part of the line that closes
        return self._replace(rows=tuple(Row(p, i, v) for (p, i), v in merged.items()), premixes=())


def head_of(name: str) -> str:
    return f'format = 1\ntitle = "{name}"\nbatch = "100 g"\n'


def closed(rows: tuple[Row, ...]) -> list[Row]:
    """The lines with the water that closes them, which stands first."""
    return [Row("A", "water", 100 - sum((r.level for r in rows), F(0))), *rows]


def decimal(value: F) -> str:
    """A fraction of at most eight decimals as text."""
    assert (value * 10**8).denominator == 1, value
    whole, behind = divmod(int(value * 10**8), 10**8)
    return f"{whole}.{behind:08d}".rstrip("0").rstrip(".")


def text_of(rows: tuple[Row, ...]) -> str:
    out = ""
    for phase in sorted({"A", *(r.phase for r in rows)}):
        out += f"[phase.{phase}.percent]\n" + ('water = "balance"\n' if phase == "A" else "")
        out += "".join(f"{r.id} = {decimal(r.level)}\n" for r in rows if r.phase == phase)
    return out


def ordered(rows: list[Row]) -> tuple[Row, ...]:
    """In the order of the file: by phase, and no material twice in one."""
    return tuple(sorted({(r.phase, r.id): r for r in rows}.values(), key=lambda r: r.phase))


# Levels on both sides of the limits: 0.59 and 0.60 of sodium benzoate, 1.00 of phenoxyethanol as such, ...
EDGES = [
    F(t) for t in ("0.4", "0.59", "0.5901", "0.60", "0.8038", "0.8039", "1", "1.01", "1.0869", "1.087", "2.5", "2.5001", "0.001", "0.0111")
]
ACTIVE = sorted(set(SHELF) - {"water"})
levels = st.one_of(
    st.sampled_from(EDGES),
    st.integers(1, 150).map(lambda n: F(n, 100)),
    st.integers(1, 40_000).map(lambda n: F(n, 10_000)),
    st.integers(1, 500).map(lambda n: F(n, 10_000)),
)
lines = st.builds(Row, st.sampled_from("ABC"), st.sampled_from(ACTIVE), levels)
rough = st.lists(st.builds(Row, st.sampled_from("AB"), st.sampled_from(ACTIVE), st.integers(1, 240).map(lambda n: F(n, 10))), max_size=3)
USES = [("leave-on",), ("leave-on",), ("rinse-off",), ("rinse-off",), ("leave-on", "rinse-off"), ("spray",), ("leave-on", "spray"), ()]


def build(rows: list[Row], base: list[Row] | None, core: list[Row] | None, at: F, deeper: F, use: tuple[str, ...], parfum: bool) -> Recipe:
    premixes = {}
    if base is not None:
        if core is not None:
            premixes["core"] = ordered(core)
            base = [*base, Row("B", "core", deeper)]
        premixes["base"] = ordered(base)
        rows = [*rows, Row("C", "base", at)]
    return Recipe(ordered(rows), tuple(premixes.items()), use, parfum)


recipes = st.builds(
    build,
    rows=st.lists(lines, max_size=7),
    base=st.none() | rough,
    core=st.none() | rough,
    at=st.integers(1, 200).map(lambda n: F(n, 10)),
    deeper=st.integers(1, 250).map(lambda n: F(n, 10)),
    use=st.sampled_from(USES),
    parfum=st.booleans(),
)
nested = st.builds(
    build,
    rows=st.lists(lines, max_size=5),
    base=rough,
    core=st.none() | rough,
    at=st.integers(1, 200).map(lambda n: F(n, 10)),
    deeper=st.integers(1, 250).map(lambda n: F(n, 10)),
    use=st.sampled_from(USES),
    parfum=st.booleans(),
)


# --- the oracle: files in, fractions out -----------------------------------------------------------------


class Bounds(NamedTuple):
    """A share: what to count with (None when unknown), and its two ends."""

    nominal: F | None
    low: F
    high: F

    def __add__(self, other):
        unknown = self.nominal is None or other.nominal is None
        return Bounds(None if unknown else self.nominal + other.nominal, self.low + other.low, self.high + other.high)

    def __mul__(self, by: F):
        return Bounds(None if self.nominal is None else self.nominal * by, self.low * by, self.high * by)


NONE = Bounds(F(0), F(0), F(0))


class Found(NamedTuple):
    """A substance that a raw material brings. how: declared, inside, typical."""

    key: str
    inci: str
    share: Bounds
    material: str
    how: str


def summed(found: Iterable[Found]) -> Bounds:
    return functools.reduce(lambda a, b: a + b.share, found, NONE)


def plain(name: str) -> str:
    return "aqua" if name.lower() in ("aqua", "water") else name.lower()


@functools.cache
def record(id: str) -> dict:
    return tomllib.loads(SHELF[id], parse_float=F)


def functions(id: str) -> list[str]:
    return [record(id)["function"]]


def bounds(value: object) -> Bounds:
    if isinstance(value, list):
        return Bounds(F(value[0] + value[1]) / 2, F(value[0]), F(value[1]))
    ends = (value["nominal"], value["low"], value["high"]) if isinstance(value, dict) else (value, value, value)
    return Bounds(*map(F, ends))


TYPICAL = {
    name.lower(): {c: Bounds((F(r.low) + F(r.high)) / 2, F(r.low), F(r.high)) for c, r in o.constituents.items()}
    for o in OILS
    for name in o.inci
}


@functools.cache
def brings(id: str) -> tuple[Found, ...]:
    """What a raw material holds, in percent of itself."""
    written = record(id).get("composition", {})
    out = {name: bounds(v) for name, v in written.items() if not isinstance(v, str)}
    low, high, nominal = (sum((getattr(b, end) for b in out.values()), F(0)) for end in ("low", "high", "nominal"))
    for name, word in written.items():
        if word == "balance":
            out[name] = Bounds(100 - nominal, max(F(0), 100 - high), 100 - low)
        elif word == "unknown":
            out[name] = Bounds(None, F(0), 100 - low)
    found = [Found(plain(name), name, share, id, "declared") for name, share in out.items()]
    inside = {name: bounds(v) for name, v in record(id).get("constituents", {}).items()}
    found += [Found(plain(name), name, share, id, "inside") for name, share in inside.items()]
    for name, share in out.items():
        for typical, of in TYPICAL.get(name.lower(), {}).items():
            if typical not in inside:
                found.append(Found(plain(typical), typical, Bounds(*(a * b / 100 for a, b in zip(of, share, strict=True))), id, "typical"))
    return tuple(f for f in found if f.share.high)


def contents(recipe: Recipe) -> list[Found]:
    """Everything in a product, in percent of it."""
    return [f._replace(share=f.share * (percent / 100)) for id, percent in recipe.mix() if percent for f in brings(id)]


def molar(found: Found, acid: str) -> F:
    """What one gram counts for as the acid of a limit."""
    if not acid or found.key == acid.lower():
        return F(1)
    own = record(found.material).get("molar_mass")  # on this shelf, only of a material with one active
    mass = own if own and found.how == "declared" else F(MASSES[found.key])
    return ACIDS_IN_ONE.get(found.key, 1) * F(MASSES[acid.lower()]) / mass


def half_up(value: F | None) -> F | None:
    """To four decimals."""
    return None if value is None else F(math.floor(value * 10_000 + F(1, 2)), 10_000)


def towards(limit, found: list[Found]) -> Bounds:
    """What counts towards a limit; one that is expressed as an acid is compared at four decimals."""
    names = {m.lower() for m in limit.members}
    share = summed(f._replace(share=f.share * molar(f, limit.as_acid)) for f in found if f.key in names)
    return Bounds(*map(half_up, share)) if limit.as_acid else share


def most_of(limit, uses: tuple[str, ...]) -> F | None:
    """The lowest percent that a limit allows in a product of these uses."""
    if uses and not {"leave-on", "rinse-off"} & set(uses):
        uses = ("leave-on", *uses)
    texts = [limit.most.get(use, limit.most.get("", "")) for use in uses]
    return min((F(t) for t in texts if t), default=None)


def known_part(found: list[Found]) -> list[Found]:
    """The same, of an unknown share only what there is at least."""
    return [f if f.share.nominal is not None else f._replace(share=Bounds(f.share.low, f.share.low, f.share.low)) for f in found]


def verdicts(recipe: Recipe, rules: tuple[str, ...] = ("eu",)) -> dict[str, set[str]]:
    """For each limit that the product is beyond, or may be: stop or caution, and whether a part is unknown."""
    found, out = contents(recipe), {}
    of_known = known_part(found)
    for limit in LIMITS:
        most = most_of(limit, recipe.use)
        if limit.rules not in rules or most is None:
            continue
        share, sure = towards(limit, found), towards(limit, of_known)
        own = towards(limit, [f for f in of_known if f.how != "typical"])
        words = {"unknown"} if share.nominal is None and share.high > most else set()
        if sure.high > most:
            words.add("caution" if own.high <= most and sure.low <= most else limit.level)
        if words:
            out[limit.id] = words
    return out


# --- what fvc says of the same ---------------------------------------------------------------------------

BASIS = Basis(rules=("eu",), currency="EUR")
TITLES = {limit.id: limit.title for limit in LIMITS}


def said(recipe: Recipe, rules: tuple[str, ...] = ("eu",)) -> dict[str, set[str]]:
    """What a report of fvc says of the limits that the product is beyond, or may be."""
    report = check(read(recipe.files()), BASIS, rules)
    over = [f for f in report.findings if f.rule in TITLES and re.search(r"[0-9.]+ above the [0-9.]+ % |not allowed ", f.message)]
    out = {f.rule: {f.level} for f in over}
    assert len(out) == len(over), "one finding for each limit"
    for id, title in TITLES.items():
        if any(re.fullmatch(rf"{re.escape(title)}, [0-9.]+ % at most", n.what) for n in report.not_checked):
            out.setdefault(id, set()).add("unknown")
    return out


def stops(recipe: Recipe) -> set[str]:
    return {id for id, levels in said(recipe).items() if "stop" in levels}


def limits_in(recipe: Recipe) -> dict[str, tuple]:
    reading = read(recipe.files())
    return {c.limit.id: tuple(c.share)[:3] for c in counted(case_of(reading, BASIS, ("eu", "us")))}


# --- (a), (b) limits -------------------------------------------------------------------------------------


@given(recipes)
def test_what_counts_towards_a_limit_is_the_sum_over_all_materials_and_premixes(recipe):
    found, expected = contents(recipe), {}
    for limit in LIMITS:
        share = towards(limit, found)
        if share.high:
            expected[limit.id] = tuple(share)
    assert limits_in(recipe) == expected


@FEWER
@given(recipes)
def test_substances_are_summed_exactly_through_premixes(recipe):
    reading, found = read(recipe.files()), contents(recipe)
    by_key = contents_of(reading).by_key
    assert {key: tuple(total(each))[:3] for key, each in by_key.items()} == {
        key: tuple(summed(f for f in found if f.key == key)) for key in {f.key for f in found}
    }
    declared = [f for f in found if f.how == "declared"]
    assert {plain(s.inci): tuple(s.share)[:3] for s in composition_of(reading).substances} == {
        key: tuple(summed(f for f in declared if f.key == key)) for key in {f.key for f in declared}
    }


@given(recipes, st.sampled_from([("eu",), ("us",), ("eu", "us")]))
def test_a_limit_is_found_exactly_when_the_worst_end_is_above_it(recipe, rules):
    assert said(recipe, rules) == verdicts(recipe, rules)


@FEWER
@given(recipes, st.sampled_from([F(n, 100) for n in (20, 40, 60, 100)]), st.sampled_from(["Sodium Benzoate", "Phenoxyethanol", "Linalool"]))
def test_a_house_limit_of_a_substance_holds_over_all_that_brings_it(recipe, most, name):
    house = read_house(f'substance = "{name}"\nmax = {decimal(most)}\n')
    report = check(read(recipe.files()), BASIS._replace(house=house), ("house",))
    share = summed(f for f in contents(recipe) if f.key == name.lower())
    sure = summed(known_part([f for f in contents(recipe) if f.key == name.lower()]))
    assert [f.level for f in report.findings if f.rule == "house"] == (["stop"] if recipe.use and sure.high > most else [])
    unsure = bool(recipe.use) and share.high > most and share.nominal is None
    assert any(n.what == f"house limit of {name}" for n in report.not_checked) == unsure


def read_house(rule: str) -> tuple[HouseRule, ...]:
    from fvc.files.settings import read_formulary

    return read_formulary(f"format = 1\n[[house]]\n{rule}".encode()).value.basis.house


# --- (c) more is never better ----------------------------------------------------------------------------


@FEWER
@given(recipes, st.integers(0, 20), st.one_of(st.integers(1, 400), st.integers(1, 20_000)).map(lambda n: F(n, 10_000)), st.booleans())
def test_raising_a_level_removes_no_stop_and_lowering_it_adds_none(recipe, which, by, to_nothing):
    assume(recipe.rows)
    row = recipe.rows[which % len(recipe.rows)]
    low = F(0) if to_nothing else row.level
    at = recipe.rows.index(row)
    less, more = (recipe._replace(rows=(*recipe.rows[:at], row._replace(level=v), *recipe.rows[at + 1 :])) for v in (low, row.level + by))
    lost = stops(less) - stops(more)
    assert lost == set()


@pytest.mark.parametrize("level, over", [("1.00008", False), ("1.0002", True)])  # 0.50004 %, which is compared as 0.5000 %; 0.5001 %
def test_a_trace_of_a_salt_makes_no_difference_to_the_rounding(level, over):
    own = {"benzoic-acid-50": 'function = "preservative"\n[composition]\n"Benzoic Acid" = 50\n"Propanediol" = 50\n'}
    for lines in ({"benzoic-acid-50": level}, {"benzoic-acid-50": level, "sodium-benzoate": "0.00001"}):
        assert stopped(of_these(lines, own)) == over


# --- (d) how it is written does not matter ---------------------------------------------------------------


def judged(recipe: Recipe) -> dict[str, object]:
    """Everything that the same substances in another order of writing must leave alone."""
    reading = read(recipe.files())
    assert reading.sound, reading.faults
    house = read_house('function = "essential oil"\nmax = 0.3\n') + read_house('material = "glycerin-50"\nmin = 1\nmax = 3\n')
    report = check(reading, BASIS._replace(house=house), ("eu", "us", "house"))
    out: dict[str, object] = {
        "limits": limits_in(recipe),
        "findings": Counter((f.level, f.rule, f.about) for f in report.findings if f.rule in (*TITLES, "house", "use-level")),
        "done": report.done,
    }
    for rules, on in (("eu", OLD_DAY), ("eu", NEW_DAY), ("us", NEW_DAY)):
        result = label(reading, rules, on, NEW_DAY)
        # names of equal amount may stand in either order
        out[f"label {rules} {on}"] = [
            (rank, sorted((e.name, e.kind, tuple(e.share)[:3], e.name in result.carried_in) for e in group))
            for rank, group in itertools.groupby(
                result.entries, key=lambda e: (e.kind == "colourant", e.kind == "allergen" and e.rank < 1, e.rank)
            )
        ]
        out[f"line {rules} {on}"] = result.one_percent_line
        out[f"allergens {rules} {on}"] = [[(d.name, tuple(d.share)[:3], d.sure) for d in each.allergens] for each in result.by_list]
    priced = cost(reading, "EUR", F(250))
    out["cost"] = (priced.priced, priced.per_kg, {line.part.id for line in priced.unpriced})
    return out


@FEWER
@given(nested)
def test_a_premix_changes_neither_limits_nor_label_nor_cost(recipe):
    assert judged(recipe) == judged(recipe.flat())


@FEWER
@given(recipes, st.integers(0, 20), st.integers(1, 99))
def test_a_line_in_two_phases_is_the_same_product(recipe, which, percent):
    assume(recipe.rows)
    row = recipe.rows[which % len(recipe.rows)]
    part = F(math.floor(row.level * percent * 100), 10_000)
    at = recipe.rows.index(row)
    first, second = row._replace(level=row.level - part), Row("D", row.id, part)
    split = recipe._replace(rows=(*recipe.rows[:at], first, *recipe.rows[at + 1 :], second))
    assert judged(split) == judged(recipe)


# --- (e), (f) the label ----------------------------------------------------------------------------------


def expected_allergens(recipe: Recipe, day: datetime.date) -> dict[str, tuple[Bounds, bool]]:
    """The allergens to be named: summed worst ends above 0.001 % leave-on, 0.01 % rinse-off (Annex III: "exceeds")."""
    listed = max((each for each in LISTS if each.since <= day.isoformat()), key=lambda each: each.since)
    above = F("0.01") if recipe.use and "rinse-off" in recipe.use and "leave-on" not in recipe.use else F("0.001")
    found, out = contents(recipe), {}
    for entry in listed.entries:
        names = {m.lower() for m in entry.members}
        share = summed(f for f in found if f.key in names and (f.how == "declared" or not entry.whole))
        if share.high > above:
            out[entry.name] = (share, share.low > above)
    return out


@given(recipes, st.sampled_from([OLD_DAY, NEW_DAY]))
def test_an_allergen_is_declared_exactly_when_its_worst_end_is_above_the_threshold(recipe, day):
    result = label(read(recipe.files()), "eu", day, day)
    (by_list,) = result.by_list
    assert {d.name: (Bounds(*tuple(d.share)[:3]), d.sure) for d in by_list.allergens} == expected_allergens(recipe, day)
    assert set(result.allergens) <= set(result.ingredients) | {n for n in result.allergens if plain(n) in map(plain, result.ingredients)}


def printed(recipe: Recipe, day: datetime.date) -> dict[str, list[Found]]:
    """The names that a European label must carry for what is declared, each with what stands behind it."""
    listed = max((each for each in LISTS if each.since <= day.isoformat()), key=lambda each: each.since)
    named = expected_allergens(recipe, day)
    whole = {m.lower(): e.name for e in listed.entries if e.whole and e.name in named for m in e.members}
    out: dict[str, list[Found]] = {}
    for f in contents(recipe):
        if f.how == "declared":
            scent = recipe.parfum and {"essential oil", "fragrance"} & set(functions(f.material))
            name = "Parfum" if f.key == "parfum" or scent else "Aqua" if f.key == "aqua" else whole.get(f.key, f.inci)
            out.setdefault(name, []).append(f)
    return out


def is_colour(found: list[Found]) -> bool:
    return any(f.inci.startswith("CI ") for f in found) or all("colourant" in functions(f.material) for f in found)


@given(recipes, st.sampled_from([OLD_DAY, NEW_DAY]))
def test_every_declared_name_stands_once_on_a_european_label_in_descending_order(recipe, day):
    result = label(read(recipe.files()), "eu", day, day)
    names, expected = list(result.ingredients), printed(recipe, day)
    assert len({plain(n) for n in names}) == len(names)
    assert {e.name: tuple(e.share)[:3] for e in result.entries if e.kind != "allergen"} == {
        n: tuple(summed(f)) for n, f in expected.items()
    }
    # what is named besides is an allergen inside something else
    assert {e.name for e in result.entries if e.kind == "allergen"} == {
        a
        for a in expected_allergens(recipe, day)
        if plain(a) not in {plain(n) for n in expected} | {f.key for n, found in expected.items() if n != "Parfum" for f in found}
    }
    check_order(result.entries, result.one_percent_line, lambda rank: rank >= 1)
    assert [e.name for e in result.entries if e.kind == "colourant"] == [n for n in names if n in expected and is_colour(expected[n])]


@FEWER
@given(recipes)
def test_an_american_label_has_the_same_amounts_and_its_own_line(recipe):
    result = label(read(recipe.files()), "us", NEW_DAY, NEW_DAY)
    expected = printed(recipe._replace(use=()), OLD_DAY)  # no oil on this shelf is a whole entry of the earlier list
    assert "Water" in result.ingredients
    assert result.by_list == ()
    assert sorted(tuple(e.share)[:3] for e in result.entries if e.share.nominal is not None) == sorted(
        tuple(s) for f in expected.values() if (s := summed(f)).nominal is not None
    )
    check_order(result.entries, result.one_percent_line, lambda rank: rank > 1)
    assert ("Fragrance" in result.ingredients) == ("Parfum" in expected)


def check_order(entries, line: int, above) -> None:
    """Descending above the 1 % line, which counts exactly those; colourants last."""
    colours = [e.kind == "colourant" for e in entries]
    assert colours == sorted(colours)
    # what there is; where nobody knows, what there is at least
    free = [e.share.low if e.share.nominal is None else e.share.nominal for e in entries if e.kind != "colourant"]
    assert line == sum(above(rank) for rank in free)
    assert free[:line] == sorted(free, reverse=True)[:line]


def of_these(lines: dict[str, str], own: dict[str, str], use: str = '"leave-on"') -> Reading:
    """Water with these lines; records besides those of the shelf."""
    text = head_of("product") + f'use = {use}\n[phase.A.percent]\nwater = "balance"\n'
    return read({"formulas/product.toml": text + "".join(f"{id} = {level}\n" for id, level in lines.items())}, SHELF | own)


def test_a_name_in_two_spellings_stands_once_on_the_label():
    own = {"loud": 'function = "preservative"\n[composition]\n"SODIUM BENZOATE" = 100\n'}
    result = label(of_these({"sodium-benzoate": "0.2", "loud": "0.2"}, own), "eu", NEW_DAY, NEW_DAY)
    assert [plain(n) for n in result.ingredients] == ["aqua", "sodium benzoate"]


# --- (g) the cost ----------------------------------------------------------------------------------------

GRAMS, MILLILITRES = {"g": F(1), "kg": F(1000)}, {"mL": F(1), "L": F(1000)}


def gram_price(id: str) -> F | None:
    written = record(id).get("price")
    if written is None:
        return None
    money, per, unit = re.fullmatch(r"([0-9.]+)(?: EUR)? / ([0-9.]+) (\w+)", written).groups()
    grams = F(per) * GRAMS[unit] if unit in GRAMS else F(per) * MILLILITRES[unit] * F(record(id)["density"])
    return F(money) / grams


def ends(value: F) -> bool:
    return 10**400 % value.denominator == 0


def same(text: str | None, value: F | None) -> bool:
    """True when a number of the data is `value`: exactly where it ends, else half up to 10 decimals."""
    if text is None or value is None:
        return text is None and value is None
    return F(text) == (value if ends(value) else F(math.floor(value * 10**10 + F(1, 2)), 10**10))


@given(recipes, st.integers(1, 5000).map(F), st.integers(2, 9))
def test_the_cost_is_the_sum_of_the_lines_and_grows_with_the_batch(recipe, batch, times):
    reading = read(recipe.files())
    mix = [(id, percent) for id, percent in recipe.mix() if percent]
    priced = sum((percent / 100 * 1000 * gram_price(id) for id, percent in mix if gram_price(id) is not None), F(0))
    missing = {id for id, _ in mix if gram_price(id) is None}
    found = cost(reading, "EUR", batch)
    assert found.priced == priced
    assert found.per_kg == (None if missing else priced)
    assert {line.part.id for line in found.unpriced} == missing
    assert sum(line.percent for line in found.lines) == 100
    shares = [found.share(line) for line in found.lines]
    assert sum(s for s in shares if s is not None) == 100  # water has a price, and there is always some
    assert all((s is None) == (line.per_gram is None) for s, line in zip(shares, found.lines, strict=True))
    small, large = (judged_data.cost(cost(reading, "EUR", size), reading) for size in (batch, batch * times))
    for size, shown in ((batch, small), (batch * times, large)):
        assert same(shown["per_batch"], None if missing else priced * size / 1000)
        assert same(shown["per_kg"], None if missing else priced)
        assert same(shown["priced_per_kg"], priced)
    # so many grams in each bottle, and what is lost is made on top
    made = in_bottles(found, times, 30 * F("0.95"), F("2.5"))
    assert made.needed * F("0.975") == 30 * F("0.95") * times
    assert made.per_bottle == (None if missing else priced / 1000 * 30 * F("0.95") / F("0.975"))
    assert made.in_batch * 30 * F("0.95") <= batch * F("0.975") < (made.in_batch + 1) * 30 * F("0.95")


@FEWER
@given(recipes, st.sampled_from(sorted(id for id in SHELF if "price" in SHELF[id])))
def test_a_price_that_is_taken_away_makes_the_total_unknown_and_leaves_the_others_as_they_are(recipe, id):
    without = {each: re.sub("price = .*\n", "", text) if each == id else text for each, text in SHELF.items()}
    there = any(each == id and percent for each, percent in recipe.mix())
    before, after = (cost(reading, "EUR", None) for reading in (read(recipe.files()), read(recipe.files(), without)))
    assert (after.per_kg is None) == (before.per_kg is None or there)
    kept = [(line.part.words, line.per_kg) for line in before.lines if line.part.id != id]
    assert [(line.part.words, line.per_kg) for line in after.lines if line.part.id != id] == kept
    assert after.priced == sum((each for _, each in kept if each is not None), F(0))
    assert {line.part.id for line in after.unpriced} == {line.part.id for line in before.unpriced} | ({id} if there else set())


# --- (h) any readable plan -------------------------------------------------------------------------------

ODD_RECORDS = {
    **SHELF,
    "odd": 'function = ["preservitive", "Essential Oil"]\ncharge = "cationic"\nheat_max = "35 °C"\n[composition]\n"Betain" = "unknown"\n',
    "empty": "[composition]\n",
    "sour": 'function = "pH adjuster"\nuse_level = [0, 0]\n[composition]\n"Citric Acid" = [0, 100]\n"Water" = [0, 100]\n',
    "other-money": 'function = "emollient"\nprice = "1 USD / 1 g"\n[composition]\n"Squalane" = 0\n',
    "broken": "function = 3\n",
}
WORDS = [
    '"balance"',
    '"open"',
    '{ level = "open", expect = 0.4 }',
    '"2 x water"',
    '"2 x all essential oil"',
    '"3 x ghost"',
    '"1 x base"',
    "100",
    "0",
    "0.6",
]
odd_lines = st.dictionaries(
    st.sampled_from([*ODD_RECORDS, "ghost", "base", "core"]), st.one_of(st.sampled_from(WORDS), levels.map(decimal)), max_size=6
)
odd_phases = st.lists(
    st.tuples(
        st.sampled_from(["", 'heat = "75 °C"\n', 'add_below = "45 °C"\n', 'heat = "104 °F"\nadd_below = "40 °C"\n']),
        odd_lines,
    ),
    max_size=3,
)
HEADS = [
    "",
    'use = "leave-on"\n[spec]\nph = [4.5, 5.5]\n',
    'use = ["rinse-off", "aerosol"]\n[spec]\nph = [0, 14]\n',
    'use = "spray"\nstatus = "locked"\n[label]\noils = "parfum"\n',
]


def odd_plan(name: str, head: str, phases: list) -> str:
    out = head_of(name) + head + ("[phase.A]\n" if not phases else "")
    for letter, (how, rows) in zip("ABC", phases, strict=False):
        out += f"[phase.{letter}]\n{how}[phase.{letter}.percent]\n" + "".join(f"{id} = {level}\n" for id, level in rows.items())
    return out


@FEWER
@given(
    st.tuples(odd_phases, odd_phases, odd_phases),
    st.sampled_from(HEADS),
    st.sampled_from([(), ("eu",), ("us",), ("house",), ("eu", "us", "house")]),
    st.sampled_from([(), read_house('function = "preservative"\nmin = 0.2\n') + read_house('substance = "Betain"\nmax = 0.1\n')]),
    st.sampled_from([None, (), ("phase.A.percent.water",)]),
)
def test_a_readable_plan_is_always_checked_and_every_check_is_done_or_said_not_to_be(odd, head, rules, house, locked):
    files = {
        f"formulas/{n}.toml": odd_plan(n, head if n == "product" else "", p) for n, p in zip(("product", "base", "core"), odd, strict=True)
    }
    reading = read(files, ODD_RECORDS)
    basis = Basis(house=house)
    report = check(reading, basis, rules, locked)
    wholly = [n for n in report.not_checked if n.whole]
    chosen = rules or ("eu", *(["house"] if house else []))
    asked = [each for each in CHECKS if not each.rules or set(each.rules) & set(chosen)]
    assert len(asked) == len(CHECKS) or set(chosen) != {"eu", "us", "house"}
    assert report.done + len(wholly) == len(asked)
    if "use = " not in head:  # use levels, presence and pH of a preservative, both limits by law, the house: each hangs on the use
        assert len(wholly) >= 3 + 2 * bool({"eu", "us"} & set(chosen)) + ("house" in chosen)
    assert report.ok == (not any(f.level == "stop" for f in report.findings))
    assert reading.sound or not report.ok
    assert all(n.what and n.why for n in report.not_checked if isinstance(n, NotChecked))
    assert all(f.where and f.rule and f.message and f.source for f in report.findings)
    data.dumps(judged_data.check([report], rules))
    for region in ("eu", "us"):
        data.dumps(judged_data.label(label(reading, region, None, NEW_DAY), reading))
    data.dumps(judged_data.cost(cost(reading, "EUR", F(100)), reading))
    with contextlib.suppress(Refusal):  # two currencies, and nothing that says which counts
        cost(reading, "", None)
    bill(reading, reading, basis, NEW_DAY)


# --- (i) the bill of a change ----------------------------------------------------------------------------


@FEWER
@given(recipes, recipes)
def test_the_bill_of_the_way_back_is_the_bill_turned_round(first, second):
    one, two = read(first.files()), read(second.files())
    there, back = bill(one, two, BASIS, NEW_DAY), bill(two, one, BASIS, NEW_DAY)
    kinds = {"crossed": "cleared", "cleared": "crossed"}
    assert Counter((kinds[d.kind], d.finding) for d in there.limits) == Counter((d.kind, d.finding) for d in back.limits)
    for gone, come in zip(there.labels, back.labels, strict=True):
        assert (gone.before, gone.after) == (come.after, come.before)
        assert (gone.names_gained, gone.names_lost) == (come.names_lost, come.names_gained)
        assert (gone.allergens_gained, gone.allergens_lost) == (come.allergens_lost, come.allergens_gained)
        assert gone.order_changed == come.order_changed
    assert (there.cost is None) == (back.cost is None)
    if there.cost and back.cost:
        assert (there.cost.before, there.cost.complete_before) == (back.cost.after, back.cost.complete_after)
        assert (there.cost.after, there.cost.complete_after) == (back.cost.before, back.cost.complete_before)


@FEWER
@given(recipes, recipes)
def test_the_bill_tells_exactly_the_limits_that_one_side_alone_is_beyond(first, second):
    # how grave it is on each side, 0 where it is not beyond: a caution that becomes a stop is crossed too
    graver = [{id: 1 + ("stop" in levels) for id, levels in verdicts(each).items() if levels != {"unknown"}} for each in (first, second)]
    found = bill(read(first.files()), read(second.files()), BASIS, NEW_DAY).limits
    by_law = set(TITLES)
    for kind, (one, other) in (("crossed", graver), ("cleared", reversed(graver))):
        assert {d.finding.rule for d in found if d.kind == kind} & by_law == {id for id, how in other.items() if how > one.get(id, 0)}


@FEWER
@given(recipes)
def test_a_product_and_itself_have_no_bill(recipe):
    assert not bill(read(recipe.files()), read(recipe.files()), BASIS, NEW_DAY).different


DEHYDROACETATE = {"dehydroacetate": 'function = "preservative"\n[composition]\n"Sodium Dehydroacetate" = 100\n'}


def dehydroacetate(level: str) -> Reading:
    return of_these({"dehydroacetate": level}, DEHYDROACETATE, '["leave-on", "spray"]')


def test_a_question_does_not_hide_a_limit_that_was_crossed():
    """Annex V, entry 13: 0.6 % as acid; and of a pump spray fvc asks whether it can be breathed in."""
    before, after = dehydroacetate("0.5"), dehydroacetate("0.9")
    assert (stopped(before), stopped(after)) == (False, True)
    assert [d.kind for d in bill(before, after, BASIS, NEW_DAY).limits] == ["crossed"]


def test_a_question_is_no_limit_that_was_crossed():
    before, after = dehydroacetate("0"), dehydroacetate("0.1")
    assert not stopped(after)
    assert bill(before, after, BASIS, NEW_DAY).limits == ()


# --- published: molar masses and Annex V -----------------------------------------------------------------
# The library molmass works molar masses out from the formula and the isotopes as NIST gives them. Regulation (EC)
# No 1223/2009, Annex V: entry 1, benzoic acid and its sodium salt 0.5 % leave-on, 2.5 % rinse-off; entry 1a, its
# other salts 0.5 %; entry 2, propionic 2 %; entry 3, salicylic 0.5 %; entry 4, sorbic 0.6 %; entry 13,
# dehydroacetic 0.6 %; entry 14, formic 0.5 %: each as the acid. Annex III, entry 62: triethanolamine 2.5 % leave-on.

SALTS = [
    ("Sodium Benzoate", "C7H5NaO2", "C7H6O2", 1, "leave-on", "0.5"),
    ("Sodium Benzoate", "C7H5NaO2", "C7H6O2", 1, "rinse-off", "2.5"),
    ("Potassium Benzoate", "C7H5KO2", "C7H6O2", 1, "leave-on", "0.5"),
    ("Calcium Benzoate", "C14H10CaO4", "C7H6O2", 2, "rinse-off", "0.5"),
    ("Sodium Propionate", "C3H5NaO2", "C3H6O2", 1, "leave-on", "2"),
    ("Sodium Salicylate", "C7H5NaO3", "C7H6O3", 1, "leave-on", "0.5"),
    ("Potassium Sorbate", "C6H7KO2", "C6H8O2", 1, "leave-on", "0.6"),
    ("Calcium Sorbate", "C12H14CaO4", "C6H8O2", 2, "leave-on", "0.6"),
    ("Sodium Dehydroacetate", "C8H7NaO4", "C8H8O4", 1, "leave-on", "0.6"),
    ("Sodium Formate", "CHNaO2", "CH2O2", 1, "leave-on", "0.5"),
    ("Phenoxyethanol", "C8H10O2", "C8H10O2", 1, "leave-on", "1.0"),
    ("Triethanolamine", "C6H15NO3", "C6H15NO3", 1, "leave-on", "2.5"),
]


def mass(formula: str) -> float:
    return sum(molmass.Formula(part).mass for part in formula.split("."))


def of_one(name: str, level: str, use: str = "leave-on", extra: str = "") -> Reading:
    """Water with so much of one substance as a raw material of its own."""
    record = f'function = "preservative"\n{extra}[composition]\n"{name}" = 100\n'
    text = head_of("product") + f'use = "{use}"\n[phase.A.percent]\nwater = "balance"\nthat = {level}\n'
    return read({"formulas/product.toml": text}, {"water": SHELF["water"], "that": record})


def stopped(reading: Reading) -> bool:
    return any(f.level == "stop" and f.rule in TITLES for f in check(reading, BASIS).findings)


@pytest.mark.parametrize("name, salt, acid, count, use, most", SALTS)
def test_annex_v_counts_salts_as_their_acid_by_an_independent_library(name, salt, acid, count, use, most):
    ratio = count * mass(acid) / mass(salt)
    (found, *_) = [
        c for c in counted(case_of(of_one(name, "1", use), BASIS, ("eu",))) if c.limit.most.get(use, c.limit.most.get("")) == most
    ]
    assert float(found.share.high) == pytest.approx(ratio, abs=1.0001e-4)  # molar masses of two decimals
    assert not stopped(of_one(name, f"{float(most) / ratio * 0.9995:.6f}", use))
    assert stopped(of_one(name, f"{float(most) / ratio * 1.0005:.6f}", use))


@pytest.mark.parametrize("name, formula", [("sodium benzoate", "C7H5NaO2"), ("potassium sorbate", "C6H7KO2"), ("calcium sorbate", "C12H14CaO4"),
    ("benzoic acid", "C7H6O2"), ("sorbic acid", "C6H8O2"), ("methylparaben", "C8H8O3"), ("4-hydroxybenzoic acid", "C7H6O3")])  # fmt: skip
def test_the_masses_of_the_oracle(name, formula):
    assert float(MASSES[name]) == pytest.approx(mass(formula), abs=0.0075)


def test_factors_and_limits_as_published():
    """Sodium benzoate x 0.8475, so 0.5900 % is at the limit; potassium sorbate x 0.7464, so 0.8038 % (worked from Annex V)."""
    assert round(mass("C7H6O2") / mass("C7H5NaO2"), 4) == pytest.approx(0.8475, abs=1e-4)
    assert round(mass("C6H8O2") / mass("C6H7KO2"), 4) == pytest.approx(0.7464, abs=1e-4)
    for name, at, over in (("Sodium Benzoate", "0.5900", "0.60"), ("Potassium Sorbate", "0.8038", "0.81")):
        assert not stopped(of_one(name, at))
        assert stopped(of_one(name, over))


def test_a_synonym_counts_towards_the_limits_of_its_substance():
    assert stopped(of_one("Phenoxyethanol", "1.40"))
    assert stopped(of_one("2-Phenoxyethanol", "1.40"))
    assert {n: {each.id for each in limits_of(n)} for s in SUBSTANCES for n in s.synonyms} == {
        n: {each.id for each in limits_of(s.inci)} for s in SUBSTANCES for n in s.synonyms
    }


def test_a_share_that_nobody_knows_removes_no_stop():
    own = {"vague": 'function = "preservative"\n[composition]\n"Sodium Benzoate" = "unknown"\n"Glycerin" = 50\n'}
    assert stopped(of_these({"benzoate-33": "1.75"}, own))  # 35 % of it is 0.6125 %: 0.5191 % as acid at the worst end
    assert stopped(of_these({"benzoate-33": "1.75", "vague": "0.1"}, own))


def test_the_molar_mass_of_the_record_wins():
    """A hydrate sold as such: sodium benzoate with one water would be 162.12 g/mol, so 0.66 % is 0.4972 % as acid."""
    assert stopped(of_one("Sodium Benzoate", "0.66"))
    assert not stopped(of_one("Sodium Benzoate", "0.66", extra=f"molar_mass = {mass('C7H5NaO2.H2O'):.2f}\n"))


def test_hydrates():
    """Citric acid: a gram of the anhydrous is 1.0938 g of the monohydrate (molar masses 192.12 and 210.14)."""
    assert mass("C6H8O7.H2O") / mass("C6H8O7") == pytest.approx(1.0938, abs=0.00005)
    monohydrate = next(h for h in HYDRATES if h.name == "citric acid monohydrate")
    assert float(F(monohydrate.molar_mass) / F(known("Citric Acid").molar_mass)) == pytest.approx(1.0938, abs=0.00005)
    dry = 100 * mass("C6H8O7") / mass("C6H8O7.H2O")
    own = {"water": SHELF["water"], "citric": f'function = "pH adjuster"\n[composition]\n"Citric Acid" = {dry:.4f}\n"Aqua" = "balance"\n'}
    text = head_of("product") + '[phase.A.percent]\nwater = "balance"\ncitric = 1.0938\n'
    inside = composition_of(read({"formulas/product.toml": text}, own))
    assert float(inside.share("Citric Acid").nominal) == pytest.approx(1, abs=0.00005)
    assert inside.share("Citric Acid").nominal + inside.share("Aqua").nominal == 100


# --- published: a surfactant three formulas deep ---------------------------------------------------------
# From memory: British Pharmacopoeia: Emulsifying Wax, cetostearyl alcohol with 10 % sodium lauryl sulfate; Emulsifying
# Ointment, 30 % of it with 50 % white soft paraffin and 20 % liquid paraffin; Aqueous Cream, 30 % of that with 1 %
# phenoxyethanol and 69 % purified water. MHRA Drug Safety Update, March 2013: about 1 % sodium lauryl sulfate in it.


@pytest.fixture
def cream(plain_folder) -> Studio:
    studio = Studio(plain_folder)
    studio.write("formulary.toml", 'format = 1\nname = "Test"\nrules = ["eu"]\n')
    for id, function, inci in (
        ("water", "solvent", "Aqua"),
        ("cetostearyl-alcohol", "emulsifier", "Cetearyl Alcohol"),
        ("sodium-lauryl-sulfate", "surfactant", "Sodium Lauryl Sulfate"),
        ("white-soft-paraffin", "emollient", "Petrolatum"),
        ("liquid-paraffin", "emollient", "Paraffinum Liquidum"),
        ("phenoxyethanol", "preservative", "Phenoxyethanol"),
    ):
        studio.material(id, function, {inci: 100})
    studio.formula("emulsifying-wax", {"A": {"cetostearyl-alcohol": "90", "sodium-lauryl-sulfate": "10"}})
    studio.formula("emulsifying-ointment", {"A": {"emulsifying-wax": "30", "white-soft-paraffin": "50", "liquid-paraffin": "20"}})
    studio.formula("aqueous-cream", {"A": {"emulsifying-ointment": "30"}, "B": {"phenoxyethanol": "1", "water": "69"}})
    return studio


def test_aqueous_cream_by_substance(cream):
    data = cream.json("sheet", "aqueous-cream", "--composition")
    inside = {s["inci"]: F(s["percent"]) for s in data["composition"]}
    assert inside["Sodium Lauryl Sulfate"] == F("0.9")
    assert inside["Sodium Lauryl Sulfate"] + inside["Cetearyl Alcohol"] == 9  # the emulsifying wax
    assert inside == {
        "Aqua": 69,
        "Petrolatum": 15,
        "Cetearyl Alcohol": F("8.1"),
        "Paraffinum Liquidum": 6,
        "Phenoxyethanol": 1,
        "Sodium Lauryl Sulfate": F("0.9"),
    }
    assert all(s["low"] == s["percent"] == s["high"] for s in data["composition"])
    assert data["total_water"]["percent"] == "69"


def test_aqueous_cream_is_checked_three_formulas_deep(cream):
    found = cream.json("check", "aqueous-cream")
    assert (found["ok"], [f for f in found["findings"] if f["rule"] == "eu-v-29"]) == (True, [])  # 1.0 % phenoxyethanol is allowed
    house = '[[house]]\nsubstance = "Sodium Lauryl Sulfate"\nmax = {}\n'
    cream.write("formulary.toml", 'format = 1\nrules = ["eu"]\n' + house.format("0.90"))
    assert cream.fvc("check", "aqueous-cream").code == 0
    cream.write("formulary.toml", 'format = 1\nrules = ["eu"]\n' + house.format("0.89"))
    result = cream.fvc("check", "aqueous-cream", "--json")
    assert result.code == 1
    (finding,) = [f for f in result.data["findings"] if f["level"] == "stop"]
    assert finding["message"].startswith("Sodium Lauryl Sulfate: 0.9 %, 0.01 above the 0.89 % of the house")
    assert "sodium-lauryl-sulfate in emulsifying-ointment" in finding["where"]
    cream.formula("aqueous-cream", {"A": {"emulsifying-ointment": "30"}, "B": {"phenoxyethanol": "1.01", "water": "68.99"}})
    assert "eu-v-29" in {f["rule"] for f in cream.fvc("check", "aqueous-cream", "--rules", "eu", "--json").data["findings"]}


def test_aqueous_cream_on_the_label(cream):
    """At exactly 1.00 % phenoxyethanol stands above the European line and below the American one."""
    eu, us = (cream.json("label", "aqueous-cream", "--rules", rules) for rules in ("eu", "us"))
    assert eu["ingredients"] == ["Aqua", "Petrolatum", "Cetearyl Alcohol", "Paraffinum Liquidum", "Phenoxyethanol", "Sodium Lauryl Sulfate"]
    assert us["ingredients"] == ["Water", "Petrolatum", "Cetearyl Alcohol", "Mineral Oil", "Phenoxyethanol", "Sodium Lauryl Sulfate"]
    assert (eu["one_percent_line"], us["one_percent_line"]) == (5, 4)


# --- published: preservation, the 1 % line, allergens, by the real command line ----------------------------


@pytest.mark.parametrize(
    "inci, ph, share, acid",
    [
        # Henderson and Hasselbalch, 1 / (1 + 10^(pH - pKa)); pKa of benzoic acid 4.204, of sorbic acid 4.76 (Martell & Smith)
        ("Sodium Benzoate", ("1.0", "4.5"), "33.6", "benzoic acid"),
        ("Sodium Benzoate", ("4.5", "5.5"), "4.8", "benzoic acid"),
        ("Potassium Sorbate", ("0.5", "5.0"), "36.5", "sorbic acid"),
    ],
)
def test_the_undissociated_share(plain_folder, inci, ph, share, acid):
    studio = Studio(plain_folder)
    studio.material("water", "solvent", {"Aqua": 100})
    studio.material("that", "preservative", {inci: 100})
    studio.formula("product", {"A": {"water": "balance", "that": "0.40"}}, extra=f"[spec]\nph = [{', '.join(ph)}]\n")
    messages = [f["message"] for f in studio.fvc("check", "product", "--json").data["findings"] if f["rule"] == "preservative-ph"]
    assert len(messages) == 1, messages
    assert f"{share} % of {acid} is undissociated" in messages[0]
    constant = {"benzoic acid": 4.204, "sorbic acid": 4.76}[acid]
    assert f"{100 / (1 + 10 ** (float(ph[1]) - constant)):.1f}" == share


@pytest.mark.parametrize("level, eu, us", [("0.99", 1, 1), ("1.00", 2, 1), ("1.01", 2, 2)])
def test_the_two_laws_differ_at_exactly_one_percent(cream, level, eu, us):
    """EU Regulation 1223/2009, Article 19(1)(g): "less than 1 %" in any order; 21 CFR 701.3: "not more than 1 percent"."""
    cream.formula("lotion", {"A": {"water": "balance", "phenoxyethanol": level}})
    for rules, line in (("eu", eu), ("us", us)):
        found = cream.json("label", "lotion", "--rules", rules)
        assert (found["one_percent_line"], len(found["ingredients"])) == (line, 2)


@pytest.mark.parametrize(
    "use, inside, level, named",
    [
        # Regulation (EC) No 1223/2009, Annex III: when the concentration exceeds 0.001 % leave-on, 0.01 % rinse-off
        ("leave-on", "1", "0.10", False),  # 0.001 %
        ("leave-on", "1", "0.1001", True),
        ("leave-on", "1.0001", "0.10", True),
        ("leave-on", "[0.2, 1]", "0.10", False),
        ("leave-on", "[0.2, 1.0001]", "0.10", True),  # the worst end
        ("rinse-off", "10", "0.10", False),  # 0.01 %
        ("rinse-off", "10", "0.1001", True),
        ("rinse-off", "10.0001", "0.10", True),
        ("rinse-off", "1", "0.50", False),  # well above the threshold of what stays on the skin
    ],
)
def test_allergens_at_and_just_above_the_thresholds(plain_folder, use, inside, level, named):
    studio = Studio(plain_folder)
    studio.material("water", "solvent", {"Aqua": 100})
    studio.write(
        "materials/scent.toml",
        f'format = 1\nfunction = "fragrance"\n[composition]\n"Parfum" = 100\n[constituents]\n"Linalool" = {inside}\n',
    )
    studio.formula("product", {"A": {"water": "balance", "scent": level}})
    studio.edit("formulas/product.toml", 'use = "leave-on"', f'use = "{use}"')
    for day in ("2026-07-30", "2026-07-31"):
        found = studio.json("label", "product", "--on", day)
        assert found["allergens"] == (["Linalool"] if named else [])
        assert ("Linalool" in found["ingredients"]) == named
