"""What a formulary is judged by: its rule sets, its own limits, its currency."""

from __future__ import annotations

from typing import NamedTuple

from fvc.amounts import Typed

EU, US, HOUSE = "eu", "us", "house"
DEFAULT_RULES = (EU,)


class HouseRule(NamedTuple):
    """A limit of the house. binds: `material`, `substance` or `function`; name: which one.

    use: only in products of this use; "" in all. low, high: percent of the product, None where unbounded.
    A lower bound holds for products that have the thing at all. place: where it is written.
    """

    binds: str
    name: str
    use: str = ""
    low: Typed | None = None
    high: Typed | None = None
    because: str = ""
    place: str = "a house limit"


class Basis(NamedTuple):
    """What the formulary says of rules and money.

    rules: the rule sets it names, empty where it names none. names: keys of INCI names that it vouches for.
    """

    rules: tuple[str, ...] = ()
    house: tuple[HouseRule, ...] = ()
    currency: str = ""
    names: frozenset[str] = frozenset()

    def chosen(self, asked: tuple[str, ...] = ()) -> tuple[str, ...]:
        """The rule sets to use: those asked for, else the formulary's, else EU. House limits come along unless others were asked for."""
        if asked:
            return tuple(dict.fromkeys(asked))
        rules = self.rules or DEFAULT_RULES
        return rules if not self.house or HOUSE in rules else (*rules, HOUSE)
