"""JSON Schemas of the five kinds of file, for editors; made from the field lists that the reader uses."""

from __future__ import annotations

import json

from fvc.files.fields import Json, Table
from fvc.files.materials import MATERIAL
from fvc.files.plans import PLAN, VARIANT
from fvc.files.settings import FORMULARY
from fvc.files.trials import TRIAL

TABLES: dict[str, Table] = {"formulary": FORMULARY, "material": MATERIAL, "formula": PLAN, "variant": VARIANT, "trial": TRIAL}

FOLDER = "schemas"
DIALECT = "https://json-schema.org/draft/2020-12/schema"

_TITLES = {
    "formulary": "fvc formulary.toml",
    "material": "fvc raw material",
    "formula": "fvc formula",
    "variant": "fvc variant of a formula",
    "trial": "fvc trial: one batch",
}


def schema_for(kind: str) -> Json:
    """The schema of one kind of file. Unknown keys are allowed, as the reader keeps them."""
    return {"$schema": DIALECT, "title": _TITLES[kind]} | TABLES[kind].schema()


def schema_files() -> dict[str, str]:
    """File name below a formulary -> text, for all five kinds."""
    return {
        f"{FOLDER}/{kind}.schema.json": json.dumps(schema_for(kind), indent=1, ensure_ascii=False, sort_keys=False) + "\n"
        for kind in TABLES
    }
