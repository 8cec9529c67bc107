"""Toner T of the worked cases: an invented formula whose figures were worked out as exact fractions."""

from pathlib import Path

from tests.support import Studio

LINES = {
    "A": {"water": "balance", "propanediol": "3.00", "betaine": "1.50", "panthenol-75": "1.20", "rice-protein-25": "0.80"},
    "B": {"polysorbate-20": "1.60", "neroli-oil": "0.40"},
    "C": {"preservative-blend": "0.90", "lactic-acid-80": "0.18"},
}

MATERIALS = {
    "propanediol": ("humectant", {"Propanediol": 100}),
    "betaine": ("humectant", {"Betaine": 100}),
    "panthenol-75": ("humectant", {"Panthenol": 75, "Aqua": "balance"}),
    "rice-protein-25": (
        "conditioning agent",
        {"Hydrolyzed Rice Protein": 25, "Aqua": 74.4, "Sodium Benzoate": 0.4, "Potassium Sorbate": 0.2},
    ),
    "polysorbate-20": ("solubiliser", {"Polysorbate 20": 100}),
    "neroli-oil": ("essential oil", {"Citrus Aurantium Amara Flower Oil": 100}),
    "lactic-acid-80": ("pH adjuster", {"Lactic Acid": 80, "Aqua": "balance"}),
}

# declared water-free; `write(..., declared=False)` leaves it open
PRESERVATIVE = {"Benzyl Alcohol": 88, "Dehydroacetic Acid": 8, "Tocopherol": 4}


def write(studio: Studio, *, declared: bool = True, lines: dict[str, dict[str, str]] = LINES, batch: str = "180 g") -> None:
    """Write toner T and its materials into a studio."""
    for id, (function, composition) in MATERIALS.items():
        studio.material(id, function, composition)
    studio.material("preservative-blend", "preservative", PRESERVATIVE if declared else None)
    studio.formula("toner", lines, batch=batch)


def saved(folder: Path) -> Studio:
    """A new formulary with toner T, saved as revision 1."""
    studio = Studio.make(folder)
    write(studio)
    studio.ok("revise", "toner", "--reason", "first plan")
    return studio
