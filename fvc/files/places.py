"""What a file of a formulary is, by where it lies."""

from __future__ import annotations

PLAN, VARIANT, MATERIAL, TRIAL, SETTINGS = "plan", "variant", "material", "trial", "settings"
PLANS = (PLAN, VARIANT)
_FOLDERS = {"formulas": (PLAN, 2), "variants": (VARIANT, 3), "materials": (MATERIAL, 2), "trials": (TRIAL, 3)}


def kind_of(path: str, *, below: bool = False) -> str:
    """The kind of a file by its path in the formulary; "" for any other. below: the formulary may lie in folders that the path begins with."""
    parts = path.split("/")
    if parts[-1] == "formulary.toml" and (below or len(parts) == 1):
        return SETTINGS
    for folder, (kind, length) in _FOLDERS.items():
        if path.endswith(".toml") and parts[-length : -length + 1] == [folder] and (below or len(parts) == length):
            return kind
    return ""
