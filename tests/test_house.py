"""How the house is built: upper floors import lower ones, never the other way round (DEVELOPERS.md)."""

import ast
import subprocess
import sys
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# From the ground up. A name stands for a module, or for a package with all that is in it.
FLOORS = (
    ("fvc.errors", "fvc.amounts", "fvc.names", "fvc.record"),
    ("fvc.formula", "fvc.material", "fvc.scales"),
    ("fvc.reading", "fvc.trial", "fvc.schedule", "fvc.reference"),
    (
        *("fvc.composition", "fvc.contents", "fvc.batch", "fvc.weighing", "fvc.shelf", "fvc.bench"),
        *("fvc.slips", "fvc.steps", "fvc.deviations", "fvc.seeing"),
    ),
    ("fvc.science",),
    ("fvc.rules",),
    ("fvc.change", "fvc.compare"),
    ("fvc.files", "fvc.git", "fvc.stopping"),
    ("fvc.sources", "fvc.driver"),
    ("fvc.formulary",),
    ("fvc.archive", "fvc.batches"),
    ("fvc.references", "fvc.chronicle"),
    ("fvc.saving", "fvc.chronicle", "fvc.story", "fvc.reach", "fvc.unaltered"),
    ("fvc.inspection", "fvc.variants", "fvc.adoption", "fvc.carrying", "fvc.trials", "fvc.lots", "fvc.photos", "fvc.metered"),
    ("fvc.experience", "fvc.sidebyside", "fvc.results", "fvc.together"),
    ("fvc.demo", "fvc.show"),
    ("fvc.cli",),
)
CORE = FLOORS[:7]  # values in, values out
OUTSIDE = {"os", "sys", "io", "pathlib", "shutil", "tempfile", "subprocess", "tomllib", "json", "typer", "rich", "filelock"}


def modules() -> dict[str, Path]:
    """Every module of the package by its name."""
    found = {}
    for file in sorted((ROOT / "fvc").rglob("*.py")):
        parts = file.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = file
    return found


MODULES = modules()


@cache
def imports(name: str) -> set[str]:
    """The modules that a module imports, wherever in it the import stands."""
    found = set()
    for node in ast.walk(ast.parse(MODULES[name].read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name} has a relative import"
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            found |= {i if i in MODULES else str(node.module) for i in inner}
    return found - {name}


def floor_of(name: str) -> int:
    """The floor a module stands on; the roof for one that was put nowhere yet."""
    return next((n for n, names in enumerate(FLOORS) if any(name == m or name.startswith(f"{m}.") for m in names)), len(FLOORS))


PLACED = [name for name in MODULES if name not in ("fvc", "fvc.__main__")]


def test_every_module_stands_on_a_floor():
    nowhere = [name for name in PLACED if floor_of(name) == len(FLOORS)]
    assert not nowhere, f"add to FLOORS and to the table in DEVELOPERS.md: {nowhere}"


@pytest.mark.parametrize("name", PLACED)
def test_a_module_imports_only_from_its_floor_or_below(name):
    above = {i for i in imports(name) if i.startswith("fvc.") and floor_of(i) > floor_of(name)}
    assert not above, f"{name} imports upwards: {sorted(above)}"


def test_no_module_imports_itself_in_a_ring():
    packages = {n for n, file in MODULES.items() if file.name == "__init__.py"}
    graph = {name: {i for i in imports(name) if i in MODULES and i not in packages} for name in MODULES if name not in packages}
    assert list(TopologicalSorter(graph).static_order())  # raises CycleError with the ring


@pytest.mark.parametrize("name", [n for n in PLACED if floor_of(n) < len(CORE)])
def test_the_core_knows_no_path_process_or_screen(name):
    used = {i.partition(".")[0] for i in imports(name)} & OUTSIDE
    assert not used, f"{name} imports {sorted(used)}"


@pytest.mark.parametrize(
    ("module", "allowed"),
    [
        ("subprocess", ("fvc.git", "fvc.stopping")),
        ("rich", ("fvc.show", "fvc.cli")),
        ("typer", ("fvc.cli",)),
        ("tomllib", ("fvc.files", "fvc.archive", "fvc.demo")),
        ("numpy", ()),
        ("scipy", ()),
        ("phreeqpython", ()),
    ],
)
def test_one_place_speaks_to_each_outside_thing(module, allowed):
    users = {n for n in MODULES if any(i.partition(".")[0] == module for i in imports(n))}
    strangers = {n for n in users if not any(n == a or n.startswith(f"{a}.") for a in allowed)}
    assert not strangers


def test_the_house_is_described():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for names in FLOORS:
        for name in names:
            path = name.replace(".", "/")
            assert f"`{path}.py`" in text or f"`{path}/`" in text, f"DEVELOPERS.md does not say what {name} is for"


@pytest.mark.parametrize("argument", ["--version", "--help"])
def test_the_fast_paths_import_nothing_slow(argument):
    slow = "typer rich click filelock subprocess tomllib"
    code = f"import sys; from fvc.cli.main import main; main([{argument!r}]); sys.exit(' '.join(m for m in {slow!r}.split() if m in sys.modules) or None)"
    done = subprocess.run([sys.executable, "-I", "-c", f"import sys; sys.path.insert(0, {str(ROOT)!r}); {code}"], capture_output=True)
    assert done.returncode == 0, done.stderr.decode()


WITHOUT_PROPERTIES = (
    "label toner",
    "cost toner",
    "sheet toner",
    "material",
    "material show water",
    "variant list",
    "export toner --for label",
)
WITH_PROPERTIES = ("sheet toner --properties", "ph toner", "workings toner water-activity", "check toner", "stand-ins toner propanediol")
# Values and two short formulas; all else in fvc/science/ is arithmetic with tables behind it.
LIGHT = {"fvc.science", "fvc.science.own", "fvc.science.griffin"}


@pytest.mark.parametrize("commands", [WITHOUT_PROPERTIES, WITH_PROPERTIES])
def test_what_estimates_is_loaded_only_by_those_who_ask(toner, commands):
    """All of them in one process; libraries of numbers are never loaded."""
    code = (
        f"import sys; sys.path.insert(0, {str(ROOT)!r}); from fvc.cli.main import main\n"
        "for command in sys.argv[1:]:\n"
        "    code = main(command.split())\n"
        "    assert code in (0, 1), (command, code)\n"
        "    print('loaded', command.replace(' ', '_'), *(m for m in sys.modules if m.startswith(('fvc.science', 'numpy', 'scipy', 'phreeqpython'))), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-I", "-c", code, *commands], capture_output=True, cwd=toner.root)
    assert done.returncode == 0, done.stderr.decode()
    rows = [row.split()[1:] for row in done.stderr.decode().splitlines() if row.startswith("loaded ")]
    assert len(rows) == len(commands)
    for command, *modules in rows:
        heavy = {m for m in modules if m.startswith("fvc.science")} - LIGHT
        assert bool(heavy) == (commands is WITH_PROPERTIES), f"{command} loads {sorted(heavy)}"
        assert not {"numpy", "scipy", "phreeqpython"} & set(modules), command
