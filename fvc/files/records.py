"""TEMPORARY face."""

from fvc.files.materials import MATERIAL, MATERIAL_FIELDS, read_material
from fvc.files.parsed import FORMAT, Parsed
from fvc.files.plans import PLAN, VARIANT, read_plan
from fvc.files.schema import TABLES
from fvc.files.settings import FORMULARY, Settings, read_formulary
from fvc.files.trials import TRIAL, read_trial

__all__ = [
    "FORMAT",
    "FORMULARY",
    "MATERIAL",
    "MATERIAL_FIELDS",
    "PLAN",
    "TABLES",
    "TRIAL",
    "VARIANT",
    "Parsed",
    "Settings",
    "read_formulary",
    "read_material",
    "read_plan",
    "read_trial",
]
