"""What a check gives: findings, what could not be checked, and how much was done."""

from __future__ import annotations

from typing import NamedTuple

STOP, CAUTION, NOTE = "stop", "caution", "note"
LEVELS = (STOP, CAUTION, NOTE)


THE_PRODUCT = "the product"  # what a finding is about that stays one and the same, whichever lines it names


class Finding(NamedTuple):
    """Something that a check found.

    level: `stop` (must be mended), `caution` (look at it), `note` (good to know). where: the lines or
    materials. rule: its name, ours or that of the law. message: what, and by how much. source: who says
    so. mend: what would mend it, "" where nothing needs mending.
    """

    level: str
    where: str
    rule: str
    message: str
    source: str
    mend: str = ""
    about: str = ""


class NotChecked(NamedTuple):
    """Something that could not be checked, and why; `whole` when for that reason a check was not done at all."""

    what: str
    why: str
    whole: bool = False


class Report(NamedTuple):
    """What the checks of one plan gave. done: how many were carried out.

    of_plan: False where it is about the records or the settings of the formulary, and `plan` only names what.
    """

    plan: str
    findings: tuple[Finding, ...]
    done: int
    not_checked: tuple[NotChecked, ...]
    of_plan: bool = True

    @property
    def ok(self) -> bool:
        """True when nothing must be mended; never that the product is safe."""
        return not any(f.level == STOP for f in self.findings)

    @property
    def only_stops(self) -> Report:
        """The same without the findings that need not be mended."""
        return self._replace(findings=tuple(f for f in self.findings if f.level == STOP))
