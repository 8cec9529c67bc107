"""A plan and its raw materials from the text of their files, as a reading, without a folder."""

from collections.abc import Mapping

from fvc.files.materials import read_material
from fvc.files.plans import read_plan
from fvc.formula import close
from fvc.reading import Reading, Side


def reading(plan: str, records: Mapping[str, str]) -> Reading:
    """plan: the file from its first [phase] on. records: each file without format and name, by id."""
    parsed = read_plan(f'format = 1\ntitle = "Product"\nuse = "leave-on"\n{plan}'.encode(), "formulas/product.toml", "product").value
    assert parsed is not None
    materials = {
        id: read_material(f'format = 1\nname = "{id}"\n{records[id]}'.encode(), f"materials/{id}.toml", id).value for id in parsed.reached()
    }
    assert all(materials.values()), materials
    closure = close(parsed, {id: m.functions for id, m in materials.items()})
    return Reading(plan=parsed, closure=closure, materials=materials, side=Side("product", None, 1, True), faults=closure.faults)
