"""`fvc new`: starting files that are valid as they are, in git from the first minute."""

import json
import os
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from fvc.files.materials import read_material
from fvc.files.plans import read_plan
from fvc.files.schema import schema_files, schema_for
from fvc.files.settings import read_formulary
from tests.support import Result, Studio


@pytest.fixture
def bench(plain_folder) -> Studio:
    """A folder without a formulary and without git, to run commands in."""
    return Studio(plain_folder)


@pytest.fixture
def here(studio, run_in) -> Callable[..., Result]:
    """Run a command line in this process: for long tables; elsewhere each run is a process of its own."""
    return run_in(studio.root)


def valid(kind: str, text: str):
    """The value of a file that reader and schema both take without a word."""
    read = {
        "formulary": read_formulary,
        "material": lambda data: read_material(data, "m.toml", "m"),
        "formula": lambda data: read_plan(data, "f.toml", "f"),
    }[kind]
    parsed = read(text.encode())
    assert (parsed.faults, parsed.warnings) == ((), ())
    values = json.loads(json.dumps(tomllib.loads(text, parse_float=float), default=str))  # as an editor sees it: days are texts
    assert [e.message for e in Draft202012Validator(schema_for(kind)).iter_errors(values)] == []
    return parsed.value


def files(root: Path) -> list[str]:
    """All files below a folder, git's own left out."""
    return sorted(str(p.relative_to(root)) for p in root.rglob("*") if p.is_file() and ".git" not in p.relative_to(root).parts)


# --- a formulary ------------------------------------------------------------------------------------


def test_a_new_formulary_is_valid_saved_in_git_and_says_what_comes_next(bench):
    result = bench.ok("new", "formulary", "my-studio")
    studio = Studio(bench.root / "my-studio")
    assert files(studio.root) == [
        "formulary.toml",
        "materials/water.toml",
        *(f"schemas/{k}" for k in sorted(os.listdir(studio.root / "schemas"))),
    ]
    settings = valid("formulary", studio.read("formulary.toml"))
    assert (settings.name, settings.currency, settings.decimals, settings.small_below) == ("my-studio", "EUR", 4, 20)
    assert valid("material", studio.read("materials/water.toml")).function == "solvent"
    assert {p: studio.read(p) for p in schema_files()} == schema_files()
    assert studio.git("log", "--format=%an: %s") == "Ada Test: New formulary\n"
    assert studio.git("status", "--porcelain") == ""
    assert "cd my-studio" in result.out
    assert result.err == ""


def test_the_commands_that_are_offered_next_work(bench):
    offered = [row.strip() for row in bench.ok("new", "formulary", "my-studio").out.splitlines() if row.startswith("    fvc ")]
    assert len(offered) == 3
    studio = Studio(bench.root / "my-studio")
    for row in offered:
        result = studio.ok(*row.split()[1:])
    assert "97" in result.out
    studio.ok("revise", "face-toner", "--reason", "first plan")
    assert studio.git("log", "-1", "--format=%s").strip() == "face-toner 1: first plan"


def test_every_new_file_names_its_schema_at_the_right_place(bench):
    bench.ok("new", "formulary", "my-studio")
    studio = Studio(bench.root / "my-studio")
    studio.ok("new", "material", "glycerin")
    studio.ok("new", "formula", "cream")
    for path in ("formulary.toml", "materials/water.toml", "materials/glycerin.toml", "formulas/cream.toml"):
        first = studio.read(path).splitlines()[0]
        assert first.startswith("#:schema ")
        assert ((studio.root / path).parent / first.removeprefix("#:schema ")).is_file()


def test_new_files_end_their_lines_with_lf_in_utf_8(bench):
    bench.ok("new", "formulary", "my-studio", "--title", "Atelier für Rosenöl")
    for path in files(bench.root / "my-studio"):
        data = (bench.root / "my-studio" / path).read_bytes()
        assert b"\r" not in data
        assert data.endswith(b"\n")
        data.decode("utf-8")


@pytest.mark.parametrize(
    "title", ['The "blue" room', "back\\slash", "{braces}", "Rosenöl 玫瑰", "a flag \U0001f3f4\U000e0067\U000e0062\U000e007f", "tab\there"]
)
def test_a_title_may_be_any_text(here, studio, title):
    here("new", "material", "rose-water", "--title", title)
    here("new", "formula", "rose-mist", "--title", title)
    assert valid("material", studio.read("materials/rose-water.toml")).name == title
    assert valid("formula", studio.read("formulas/rose-mist.toml")).title == title


def test_the_folder_one_stands_in_may_become_the_formulary(bench):
    bench.ok("new", "formulary", ".")
    assert valid("formulary", bench.read("formulary.toml")).name == "plain"
    (bench.root / "a").mkdir()
    other = Studio(bench.root / "a")
    (bench.root / "formulary.toml").unlink()
    (bench.root / "materials/water.toml").unlink()
    for path in schema_files():
        (bench.root / path).unlink()
    other.ok("new", "formulary", "..")
    assert valid("formulary", bench.read("formulary.toml")).name == "plain"


def test_inside_a_repository_it_becomes_a_part_of_it(bench):
    bench.git("init", "-q")
    bench.write("shop/prices.txt", "staged, not saved\n")
    bench.git("add", "shop/prices.txt")
    bench.ok("new", "formulary", "shop/lab")
    lab = Studio(bench.root / "shop/lab")
    assert not (lab.root / ".git").exists()
    saved = bench.git("show", "--format=", "--name-only", "HEAD").split()
    assert saved == ["shop/lab/formulary.toml", "shop/lab/materials/water.toml", *(f"shop/lab/{p}" for p in sorted(schema_files()))]
    assert bench.git("status", "--porcelain").split() == ["A", "shop/prices.txt"]
    lab.ok("new", "material", "glycerin", "--inci", "Glycerin")
    lab.ok("new", "formula", "cream", "A:water=balance", "A:glycerin=5")
    lab.ok("revise", "cream", "--reason", "first plan")
    assert bench.git("show", "--format=", "--name-only", "HEAD").split() == [
        "shop/lab/formulas/cream.toml",
        "shop/lab/materials/glycerin.toml",
    ]
    assert lab.json("sheet", "cream.1")["lines"][1]["percent"] == "5"


def test_without_an_identity_the_files_are_there_and_the_two_commands_are_told(bench):
    nobody = {"GIT_CONFIG_GLOBAL": os.devnull}
    result = bench.ok("new", "formulary", "my-studio", env=nobody)
    assert 'git config --global user.name "Your Name"' in result.err
    assert "git config --global user.email you@example.org" in result.err
    assert "nothing was saved" in result.err
    studio = Studio(bench.root / "my-studio")
    valid("formulary", studio.read("formulary.toml"))
    assert studio.git("log", check=False) == ""
    studio.ok("new", "material", "glycerin", "--inci", "Glycerin", env=nobody)
    studio.ok("new", "formula", "cream", "A:water=balance", "A:glycerin=5", env=nobody)
    assert "git config --global" in studio.refused("revise", "cream", "--reason", "first plan", env=nobody)
    studio.ok("revise", "cream", "--reason", "first plan")


def test_without_git_on_the_machine_the_files_are_there_and_it_says_so(bench, tmp_path):
    (tmp_path / "no-programs").mkdir()
    result = bench.ok("new", "formulary", "my-studio", env={"PATH": str(tmp_path / "no-programs")})
    assert "git is not installed" in result.err
    assert valid("formulary", bench.read("my-studio/formulary.toml")).name == "my-studio"


def test_a_formulary_that_is_there_stays(bench):
    bench.ok("new", "formulary", "my-studio")
    before = {p: bench.read(f"my-studio/{p}") for p in files(bench.root / "my-studio")}
    assert "a formulary is there already" in bench.refused("new", "formulary", "my-studio", "--title", "Another")
    assert {p: bench.read(f"my-studio/{p}") for p in files(bench.root / "my-studio")} == before


def test_files_that_are_in_the_way_stay(bench):
    bench.write("my-studio/materials/water.toml", "mine\n")
    said = bench.refused("new", "formulary", "my-studio")
    assert "my-studio/materials/water.toml: a file of this name is there already" in said
    assert files(bench.root) == ["my-studio/materials/water.toml"]
    bench.write("notes", "a file\n")
    assert "notes cannot be made" in bench.refused("new", "formulary", "notes")
    assert bench.read("notes") == "a file\n"


def test_other_files_in_the_folder_are_left_out_of_the_first_save(bench):
    bench.write("my-studio/diary.txt", "private\n")
    bench.ok("new", "formulary", "my-studio")
    assert Studio(bench.root / "my-studio").git("status", "--porcelain") == "?? diary.txt\n"


@pytest.mark.parametrize("name", ["tab\there", "new\nline", "\x1b[31mred", "-studio"])
def test_a_folder_name_that_would_drive_a_terminal_is_refused(bench, name):
    said = bench.refused("new", "formulary", "--", name)
    assert "is no good name for a folder" in said
    assert "\x1b" not in said
    assert files(bench.root) == []


def test_a_folder_name_with_spaces_is_fine(bench):
    bench.ok("new", "formulary", "north window studio")
    assert valid("formulary", bench.read("north window studio/formulary.toml")).name == "north window studio"


# --- a material -------------------------------------------------------------------------------------


def test_a_new_material_is_valid_and_comes_with_hints(studio):
    result = studio.ok("new", "material", "glycerin", "--function", "humectant", "--function", "sweetener", "--inci", "Glycerin")
    text = studio.read("materials/glycerin.toml")
    glycerin = valid("material", text)
    assert (glycerin.name, glycerin.functions) == ("Glycerin", ("humectant", "sweetener"))
    assert glycerin.composition["Glycerin"].nominal == 100
    assert "# supplier" in text
    assert "fvc set FORMULA A:glycerin=1.0" in result.out


def test_a_material_of_which_nothing_is_known_is_valid_too(studio):
    studio.ok("new", "material", "mystery-extract")
    material = valid("material", studio.read("materials/mystery-extract.toml"))
    assert (material.name, material.functions, material.composition) == ("Mystery extract", (), None)


def test_the_hints_of_a_material_are_valid_when_the_marks_are_taken_away(studio):
    studio.ok("new", "material", "panthenol")
    text = studio.read("materials/panthenol.toml")
    rows = [row.removeprefix("# ") for row in text.splitlines() if "=" in row or row.startswith("# [")]
    material = valid("material", "\n".join(row for row in rows if not row.startswith("active")) + "\n")
    assert material.functions == ("humectant",)
    # what the estimates ask for is among them
    assert None not in (material.molar_mass, material.hlb, material.required_hlb, material.ph_range, material.acid, material.density)
    assert material.charge == "non-ionic"
    assert material.composition["Glycerin"].nominal + material.composition["Aqua"].nominal == 100


def test_a_material_is_not_saved_until_a_plan_that_uses_it_is(studio):
    studio.ok("new", "material", "glycerin", "--inci", "Glycerin")
    assert studio.git("status", "--porcelain", "-uall") == "?? materials/glycerin.toml\n"


# --- a formula --------------------------------------------------------------------------------------


def test_a_formula_without_lines_is_water_and_closes(studio):
    result = studio.ok("new", "formula", "face-toner")
    plan = valid("formula", studio.read("formulas/face-toner.toml"))
    assert (plan.title, plan.revision, plan.status, plan.batch) == ("Face toner", 0, "idea", "100 g")
    assert [(line.phase, line.material, line.level.text) for line in plan.lines] == [("A", "water", "balance")]
    assert "fvc sheet face-toner" in result.out
    assert studio.json("sheet", "face-toner")["total_percent"] == "100"


def test_the_hints_of_a_formula_are_valid_when_the_marks_are_taken_away(studio):
    studio.ok("new", "formula", "face-toner")
    text = studio.read("formulas/face-toner.toml")
    for mark in ("# [spec]", "# ph =", "# method =", "# heat ", "# hold "):
        assert text.count(mark) == 1
        text = text.replace(mark, mark.removeprefix("# "))
    plan = valid("formula", text)
    assert [t.text for t in plan.spec["ph"]] == ["4.6", "5.2"]
    assert (plan.phases[0].heat, plan.phases[0].hold) == ("70 °C", "15 min")


def test_a_formula_from_percent_keeps_phases_order_and_digits(studio):
    studio.ok(
        "new", "formula", "cream", "A:water=balance", "A:glycerin=3.00", "B:rose-oil=0.2", "B:solubiliser=4 x rose-oil", "C:acid=open 0.40",
        "C:water=5", "--title", "Rose cream", "--batch", "6 x 50 mL",
    )  # fmt: skip
    plan = valid("formula", studio.read("formulas/cream.toml"))
    assert (plan.title, plan.batch) == ("Rose cream", "6 x 50 mL")
    assert [(line.phase, line.material, line.level.text) for line in plan.lines] == [
        ("A", "water", "balance"),
        ("A", "glycerin", "3.00"),
        ("B", "rose-oil", "0.2"),
        ("B", "solubiliser", "4 x rose-oil"),
        ("C", "acid", "open"),
        ("C", "water", "5"),
    ]
    assert plan.lines[4].level.number.text == "0.40"


def test_lines_without_a_phase_go_to_phase_a(here, studio):
    here("new", "formula", "cream", "water=balance", "glycerin=3")
    assert [line.phase for line in valid("formula", studio.read("formulas/cream.toml")).lines] == ["A", "A"]


def test_a_formula_from_grams_totals_100_and_says_how_it_was_rounded(studio):
    result = studio.ok("new", "formula", "salve", "A:sunflower-oil=70g", "A:beeswax=13g", "A:shea-butter=7 g", "--decimals", "2")
    plan = valid("formula", studio.read("formulas/salve.toml"))
    assert {line.material: line.level.text for line in plan.lines} == {"sunflower-oil": "77.78", "beeswax": "14.44", "shea-butter": "7.78"}
    assert sum(line.level.number.value for line in plan.lines) == 100
    assert plan.batch == "90 g"
    assert "90 g in all; levels rounded half up to 2 decimals, the rest on the largest single line." in " ".join(result.out.split())


def test_grams_in_several_units_and_more_decimals(here, studio):
    here("new", "formula", "salve", "A:oil=1 kg", "A:wax=250g", "A:scent=500mg", "--decimals", "4", "--batch", "200 g")
    plan = valid("formula", studio.read("formulas/salve.toml"))
    assert [line.level.text for line in plan.lines] == ["79.9680", "19.9920", "0.0400"]
    assert plan.batch == "200 g"


def test_a_weight_that_would_round_to_nothing_is_refused(here, studio):
    said = here("new", "formula", "salve", "A:oil=300g", "A:dye=0.001g", "--decimals", "2", code=2).err
    assert "A:dye=0.001g: that is 0.00033333 %, which rounds to 0 at 2 decimals; add --decimals" in said
    assert not (studio.root / "formulas/salve.toml").exists()
    here("new", "formula", "salve", "A:oil=300g", "A:dye=0.001g", "--decimals", "6")


def test_equal_weights_stay_equal_and_what_is_missing_is_told(here, studio):
    result = here("new", "formula", "salve", "A:oil=10g", "A:wax=10g", "A:butter=10g")
    plan = valid("formula", studio.read("formulas/salve.toml"))
    assert [line.level.text for line in plan.lines] == ["33.3333", "33.3333", "33.3333"]
    assert "the lines total 99.9999, 0.0001 short of 100" in result.err


def test_what_is_still_to_do_is_told_and_the_file_is_there(here, studio):
    result = here("new", "formula", "cream", "A:water=80", "A:glycerine=3")
    assert "the lines total 83, 17 short of 100" in result.err
    assert 'unknown material "glycerine"' in result.err
    valid("formula", studio.read("formulas/cream.toml"))


@pytest.mark.parametrize(
    "lines, said",
    [
        (["A:water=80g", "A:glycerin=3"], "grams and percent are mixed: A:water=80g and A:glycerin=3"),
        (["A:water=balance", "A:glycerin=3g"], "grams and percent are mixed: A:glycerin=3g and A:water=balance"),
        (["A:water=80g", "A:glycerin=0g"], "A:glycerin=0g: it must be more than zero"),
        (["A:water=80,5g", "A:glycerin=3g"], 'A:water=80,5g: it has a comma; write "80.5" with a point'),
        (["A:water=80 mL", "A:glycerin=3"], "A:water=80 mL: expected a number from 0 to 100"),
        (["A:water=balance", "A:glycerin=101"], "A:glycerin=101: it is above 100"),
        (["A:water=balance", "A:glycerin=-1"], "A:glycerin=-1: expected a number from 0 to 100"),
        (["A:water=balance", "A:glycerin=3,5"], 'A:glycerin=3,5: it has a comma; write "3.5" with a point'),
        (["A:water=balance", "A:glycerin=3%"], "A:glycerin=3%: leave out the % sign"),
        (["A:water=balance", "A:glycerin=q.s."], 'A:glycerin=q.s.: "q.s." alone has two meanings'),
        (["A:water=balance", "A:water=3"], "water is given twice in phase A"),
        (["A:water"], "expected MATERIAL=VALUE"),
        (["A:Rose Oil=3"], '"Rose Oil" is no id'),
        (["hot stage:water=3"], "expected MATERIAL=VALUE"),
        (["water=balance", "--batch", "200"], "expected a number with a unit"),
        (["water=balance", "--decimals", "9"], "9 is not in the range 0<=x<=8"),
    ],
)
def test_lines_that_cannot_be_meant_are_refused_and_nothing_is_made(here, studio, lines, said):
    assert said in here("new", "formula", "cream", *lines, code=2).err
    assert not (studio.root / "formulas").exists()


# --- names ------------------------------------------------------------------------------------------

BAD_NAMES = [
    ("", "it is empty"),
    ("rose/water", "only small letters"),
    ("../rose", "it has a dot"),
    ("..", "it has a dot"),
    ("/etc/rose", "only small letters"),
    ("rose\\water", "only small letters"),
    ("-rose", "only small letters"),
    ("--rose", "only small letters"),
    (" rose", "only small letters"),
    ("rose water", "only small letters"),
    ("rose\nwater", "only small letters"),
    ("rose\x1b[31m", "only small letters"),
    ("rose\x7f", "only small letters"),
    ("rose.toml", "it has a dot"),
    ("citric-acid-50.5", "it has a dot"),
    ("Rose", 'it has capitals; write "rose"'),
    ("rosé", "only small letters"),
    ("ｒｏｓｅ", "only small letters"),
    ("rose_water", "only small letters"),
    ("rose:water", "only small letters"),
    ("rose=1", "only small letters"),
    ("$(rose)", "only small letters"),
    ("con", "it is the name of a device on some systems"),
    ("nul", "it is the name of a device on some systems"),
    ("com1", "it is the name of a device on some systems"),
    ("lpt9", "it is the name of a device on some systems"),
    ("2026", "it is all digits"),
    ("a" * 61, "it has 61 characters; at most 60 are allowed"),
]


@pytest.mark.parametrize("name, reason", BAD_NAMES, ids=[ascii(n)[:20] for n, _ in BAD_NAMES])
@pytest.mark.parametrize("kind", ["material", "formula"])
def test_a_bad_name_is_refused_with_the_reason_and_nothing_is_made(here, studio, kind, name, reason):
    before = files(studio.root.parent)
    said = here("new", kind, "--", name, code=2).err
    assert f"cannot be an id: {reason}" in said
    assert f"fvc new {kind} " in said
    assert all(c.isprintable() for c in said.replace("\n", ""))
    assert files(studio.root.parent) == before


@pytest.mark.parametrize("name", ["a", "7-herbs", "a" * 60, "x--y", "rose-", "com10", "99-5"])
def test_unusual_names_that_are_ids_are_taken(here, studio, name):
    here("new", "material", name, "--inci", "Aqua")
    here("new", "formula", "plan", f"A:{name}=100")
    assert studio.json("sheet", "plan")["lines"][0]["material"] == name


def test_bytes_that_are_no_text_are_refused(studio):
    done = subprocess.run(
        [sys.executable, "-m", "fvc", "new", "material", "rose", "--title", b"ros\xe9"],
        cwd=studio.root,
        capture_output=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent), "PYTHONUTF8": "1"},
    )
    assert done.returncode == 2
    assert b"is not UTF-8 text" in done.stderr
    assert b"next:" in done.stderr
    assert files(studio.root) == ["formulary.toml", "materials/water.toml"]


@pytest.mark.parametrize("kind", ["material", "formula"])
@pytest.mark.parametrize("taken, path", [("water", "materials/water.toml"), ("cream", "formulas/cream.toml")])
def test_a_name_that_is_taken_by_either_kind_is_refused(here, studio, kind, taken, path):
    studio.formula("cream", {"A": {"water": "balance"}})
    before = {p: studio.read(p) for p in files(studio.root)}
    said = here("new", kind, taken, code=2).err
    assert f"{path}: {taken} is there already" in said
    assert {p: studio.read(p) for p in files(studio.root)} == before


def test_a_file_where_a_folder_should_be_is_refused(here, studio):
    studio.write("formulas", "a file, not a folder\n")
    said = here("new", "formula", "cream", code=2).err
    assert "formulas/cream.toml: cannot be written" in said
    assert studio.read("formulas") == "a file, not a folder\n"


# --- the call itself --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "arguments, said",
    [
        ([], "Missing argument 'KIND'"),
        (["formula"], "Missing argument 'NAME'"),
        (["formulas", "cream"], "fvc new formula NAME"),
        (["recipe", "cream"], '"recipe" cannot be made'),
        (["material", "rose", "A:water=3"], "a material has no lines"),
        (["formulary", "rose", "A:water=3"], "a formulary has no lines"),
        (["material", "rose", "--fonction", "scent"], "No such option: --fonction"),
    ],
)
def test_a_wrong_call_is_refused_with_the_usage(here, studio, arguments, said):
    before = files(studio.root)
    assert said in here("new", *arguments, code=2).err
    assert files(studio.root) == before


def test_outside_a_formulary_it_says_how_to_start_one(bench):
    said = bench.refused("new", "material", "glycerin")
    assert "no formulary here" in said
    assert "fvc new formulary my-studio" in said
    assert files(bench.root) == []


def test_from_a_folder_below_it_finds_the_formulary(studio):
    studio.ok("new", "material", "glycerin", cwd=studio.root / "materials")
    assert (studio.root / "materials/glycerin.toml").is_file()
