"""Starting files with comments: what `fvc new` writes."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.files.editor import toml_string

SETTINGS = """\
#:schema schemas/formulary.schema.json
format   = 1
name     = {name}
currency = "EUR"
rules    = ["eu"]                   # eu, us, house
# Your scales: what each resolves and what it carries. A line goes to the finest that carries it.
scales   = [{{ step = "0.01 g", max = "500 g" }}, {{ step = "1 g", max = "5 kg" }}]
decimals = 4                        # of a level that fvc computes and writes
small_below = 20                    # scale steps under which a line is too small to weigh well

[observe]                           # when you look at what you made, and where it stands
days       = [0, 1, 3, 7, 14, 30, 60, 90]
conditions = ["room", "fridge", "warm"]
"""

WATER = """\
#:schema ../schemas/material.schema.json
format   = 1
name     = "Water, distilled or demineralised"
function = ["solvent"]
density  = 0.997                    # g/mL at 25 °C
[composition]
"Aqua" = 100
"""

MATERIAL = """\
#:schema ../schemas/material.schema.json
format    = 1
name      = {name}
{function}
# Fill in what you know from the supplier's sheet, and take the # away:
# use_level = [1.0, 5.0]            # percent as supplied, low and high
# price     = "7.90 / 250 g"        # or "44.50 / 10 mL", with a density
# density   = 1.26                  # g/mL
# molar_mass = 205.25               # g/mol of the active matter; of a hydrate with its water
# charge    = "non-ionic"           # anionic, cationic, non-ionic, amphoteric
# hlb       = 16.7                  # of an emulsifier or solubiliser
# required_hlb = 7                  # of an oil: the HLB that it asks for
# ph_range  = [3, 7]                # where it works or is stable, such as a preservative
# heat_max  = "40 °C"
# supplier  = "who sells it"
# source    = "technical sheet, 2026-02"
# active    = ["Panthenol"]         # INCI names that are the active matter; without it, all that is not Aqua
{composition}
# Of an acid, or the acid of a salt, that fvc does not know:
# [acid]
# pka = [3.13, 4.76, 6.40]          # one for each proton
# Inside an ingredient that has one INCI name of its own, such as an essential oil; from the supplier's analysis:
# [constituents]
# "Limonene" = [93, 96]
# What is on the shelf; fvc weigh offers the lot to use first:
# [[lot]]
# number   = "L-1"
# received = 2026-02-01
# use_by   = 2028-01-31
# grams    = 250
"""

FORMULA = """\
#:schema ../schemas/formula.schema.json
format   = 1
title    = {title}
revision = 0                        # written by fvc revise
use      = ["leave-on"]             # leave-on, rinse-off; spray, aerosol
status   = "idea"                   # idea, tried, chosen, locked, retired
batch    = {batch}

# [spec]                            # what the finished product must meet
# ph = [4.6, 5.2]
# [label]
# oils = "parfum"                   # essential oils together as Parfum; else each by its name

# A level is one value: a number, "balance" (closes to 100), "open" (set at the bench),
# or a ratio such as "4 x neroli-oil" or "4 x all essential oil".
# Further phases:  [phase.B]  with  method, heat, hold, add_below,  and  [phase.B.percent]
{phases}
"""


def settings(name: str) -> str:
    """formulary.toml of a new formulary."""
    return SETTINGS.format(name=toml_string(name))


def material(name: str, functions: Sequence[str], inci: str) -> str:
    """A new material record. inci: the one INCI name it consists of, or empty."""
    listed = ", ".join(toml_string(f) for f in functions)
    function = (
        f"function  = [{listed}]"
        if functions
        else '# function  = ["humectant"]         # solvent, humectant, emollient, emulsifier, solubiliser, thickener, preservative, …'
    )
    composition = (
        f"[composition]                       # percent of the material by INCI name\n{toml_string(inci)} = 100"
        if inci
        else '# [composition]                     # percent of the material by INCI name; goes to the label\n# "Glycerin" = 99.5\n# "Aqua"     = "balance"'
    )
    return MATERIAL.format(name=toml_string(name), function=function, composition=composition)


def formula(title: str, batch: str, phases: dict[str, dict[str, str]]) -> str:
    """A new plan. phases: phase -> material -> level as TOML text, in order."""
    text = ""
    for phase, lines in phases.items():
        width = max(len(m) for m in lines) + 1
        text += f'\n[phase.{phase}]\n# method = "what to do"\n# heat   = "70 °C"\n# hold   = "15 min"\n[phase.{phase}.percent]\n'
        text += "".join(f"{m.ljust(width)}= {level}\n" for m, level in lines.items())
    return FORMULA.format(title=toml_string(title), batch=toml_string(batch), phases=text.rstrip("\n"))
