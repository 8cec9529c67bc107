"""The line that is to be weighed, large enough to be read from across the bench."""

from __future__ import annotations

from fractions import Fraction

from fvc.deviations import grams
from fvc.show.screen import Screen
from fvc.steps import Step

# Five rows for each digit, drawn for this tool.
_DIGITS = {
    "0": ("#####", "#   #", "#   #", "#   #", "#####"),
    "1": ("  #  ", " ##  ", "  #  ", "  #  ", " ### "),
    "2": ("#####", "    #", "#####", "#    ", "#####"),
    "3": ("#####", "    #", " ####", "    #", "#####"),
    "4": ("#   #", "#   #", "#####", "    #", "    #"),
    "5": ("#####", "#    ", "#####", "    #", "#####"),
    "6": ("#####", "#    ", "#####", "#   #", "#####"),
    "7": ("#####", "    #", "   # ", "  #  ", "  #  "),
    "8": ("#####", "#   #", "#####", "#   #", "#####"),
    "9": ("#####", "#   #", "#####", "    #", "#####"),
    ".": ("  ", "  ", "  ", "  ", "##"),
}


def large(text: str, block: str = "#") -> list[str]:
    """Digits and a point as five rows; `block` is what they are drawn with."""
    return [" ".join(_DIGITS[c][row] for c in text if c in _DIGITS).replace("#", block) for row in range(5)]


def line_screen(out: Screen, step: Step, target: Fraction, so_far: Fraction, lot: str, shows: Fraction | None) -> None:
    """One line: material, target in large, what is in the beaker so far. shows: what a scale that is not tared will show, in large too."""
    line = step.line
    assert line is not None
    block = "█" if (getattr(out.file, "encoding", "") or "").lower().startswith("utf") else "#"
    out.say("")
    out.say(f"phase {step.phase}, line {step.place} of {step.of}" + (f", lot {lot}" if lot else ""))
    out.say(line.material.upper(), style="bold")
    out.say("")
    for row in large(grams(target), block):
        out.print(f"    {row}")
    out.say("")
    more = f" more, {grams(line.weighed)} g are in" if line.weighed else ""
    out.say(f"target {grams(target)} g{more}; in the beaker so far {grams(so_far)} g")
    if shows is not None:
        out.say(f"the scale will show {grams(shows)}:")
        for row in large(grams(shows), block):
            out.print(f"    {row}")
        out.say("")
