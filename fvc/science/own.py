"""What the maker's own batches tell of a product. Light: what only passes it on, such as a bill, loads no arithmetic for it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fvc.science.metering import Metered
    from fvc.science.solubilising import Seen


@dataclass(frozen=True, kw_only=True, eq=False)
class Own:
    """The reading that the pH starts from, and looks at clarity."""

    anchor: Metered | None = None
    seen: tuple[Seen, ...] = ()


NOTHING_SEEN = Own()
