"""The text of a merge: rows of both sides put together, each taken as it was typed from the side whose value is kept.

What the values are was decided before (fvc/compare/merge.py); here it is decided which row says them, where it stands, and
what becomes of comments. A comment is changed by one side: that; by both alike: that; by both differently (21): a question.
Of a row that is gone, a comment that the other side wrote meanwhile stays, on a row of its own. Proved by reading again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from fvc.compare.merge import Answer, Decision, Three, leaves
from fvc.compare.ordering import FIRST, QUESTION, SECOND, ordering
from fvc.files.editor import level_toml, row_value, toml_string, value_toml
from fvc.files.rows import Name, Row, Rows
from fvc.formula import Line

COMMENT = "comment"


class Wanted(NamedTuple):
    """What the merged file must say.

    values: every value by its path, without levels. lines, phases: of a plan, in their order.
    origins: path of a line -> its path in the shared plan and on both sides. lines_of: the lines of the three plans by path.
    """

    values: Mapping[Name, object]
    lines: Sequence[Line] = ()
    phases: Sequence[str] = ()
    origins: Mapping[str, Three[str]] = {}
    lines_of: Three[Mapping[str, Line]] = (None, None, None)


class Woven(NamedTuple):
    """The text, and what nobody decided yet about comments (it stands as the preferred side has it)."""

    data: bytes
    rows: Rows
    questions: tuple[Decision, ...]


def weave(docs: Three[Rows], wanted: Wanted, answers: Mapping[str, Answer], prefer: str = FIRST) -> Woven:
    """The text of a merge. answers: on comments, by `comment.` and the path of the row. prefer: whose comment stands while it is asked.

    Raises AssertionError where the rows could not be made to say what is wanted.
    """
    loom = _Loom(docs, wanted, answers, prefer)
    data = loom.run()
    again = Rows(data, "merged")
    said = {path: values[1] for path, values in leaves((None, again.values, None), levels=not any(wanted.lines_of))}
    said |= {(key,): again.values[key] for key in ("format", "revision") if key in again.values}
    if said != dict(wanted.values) or [type(v) for v in said.values()] != [type(wanted.values[k]) for k in said]:
        odd = [".".join(k) for k in {**said, **wanted.values} if said.get(k) != wanted.values.get(k)]
        raise AssertionError(f"the merged text would say something else of {odd[:3]}")
    return Woven(data, again, tuple(loom.questions))


class _Loom:
    def __init__(self, docs: Three[Rows], wanted: Wanted, answers: Mapping[str, Answer], prefer: str) -> None:
        self.docs, self.wanted, self.answers, self.prefer = docs, wanted, answers, prefer
        self.questions: list[Decision] = []
        # every path at which or below which the merged file says something
        self.said = {path[:length] for path in wanted.values for length in range(1, len(path) + 1)}
        self.percent: dict[Name, list[Line]] = {}
        for line in wanted.lines:
            self.percent.setdefault(("phase", line.phase, "percent"), []).append(line)
        # the row of a line in the shared plan -> the row that it is now, in any phase
        of_base = ((wanted.origins[line.path][0], line.path) for line in wanted.lines)
        self.now = {tuple(base.split(".")): tuple(path.split(".")) for base, path in of_base if base}

    def run(self) -> bytes:
        out: list[str] = []
        for table in self._tables():
            heads = self._three(lambda doc, at=table: doc.heads.get(at))  # type: ignore[misc]
            if any(heads):
                out += self._put(table, heads, lambda there: (there[0].key, ""), ()).lines
            out += self._percent_rows(table) if table in self.percent else self._rows(table)
        style = self._one(self._three(lambda doc: doc))
        return style.bytes_of([*out, *self._decided("the end", self._three(lambda doc: doc.ends))])

    def _three(self, get: Callable[[Rows], Any]) -> Three[Any]:
        base, first, second = (get(doc) if doc else None for doc in self.docs)
        return base, first, second

    def _one(self, docs: Three[Rows]) -> Rows:
        """The side whose line ends and byte order mark are kept."""
        base, first, second = docs
        assert first
        assert second
        same = base is not None and (base.crlf, base.bom) == (first.crlf, first.bom)
        return second if same else first

    # --- which tables and rows there are, in which order ---

    def _tables(self) -> list[Name]:
        """The headings of the merged file in their order, the top first; phases in the order that was decided."""
        there: dict[Name, None] = {}
        for doc in self.docs:
            there |= dict.fromkeys(doc.tables if doc else ())
        kept = [t for t in there if t and self._stays(t)]
        order = [(), *self._ordered(kept, lambda doc: doc.tables)]
        phases = {name: i for i, name in enumerate(self.wanted.phases)}
        slots = [i for i, t in enumerate(order) if t[:1] == ("phase",) and len(t) > 1 and t[1] in phases]
        moved = sorted((order[i] for i in slots), key=lambda t: phases[t[1]])
        for slot, table in zip(slots, moved, strict=True):
            order[slot] = table
        return order

    def _stays(self, table: Name) -> bool:
        if table in self.percent or any(path in self.said for path in self._paths(table)):
            return True
        base, first, second = self._three(lambda doc: table in doc.heads)
        return (first and second) or (not base and bool(first or second) and not self._paths(table))

    def _paths(self, table: Name) -> list[Name]:
        found: dict[Name, None] = {}
        for doc in self.docs:
            found |= dict.fromkeys(doc.tables.get(table, ()) if doc else ())
        return list(found)

    def _ordered(self, there: Iterable[Name], names: Callable[[Rows], Iterable[Name]]) -> list[Name]:
        """Names in the order that comes of the three files; where both reordered them differently, by what they are called."""
        kept = set(there)
        keys = {"\0".join(name): name for name in kept}
        base, first, second = (["\0".join(n) for n in names(doc) if n in kept] if doc else [] for doc in self.docs)
        row = ordering("", base, first, second)
        return [keys[key] for key in row.woven(row.taken)]

    def _rows(self, table: Name) -> list[str]:
        paths = self._paths(table)
        kept = [p for p in paths if p in self.said]
        order = self._ordered(kept, lambda doc: doc.tables.get(table, ()))
        orphans = self._orphans(table, {p: p for p in kept})
        out: list[str] = orphans.get((), [])
        for path in order:
            value = self._value(path)

            def fits(doc: Rows, path: Name = path, value: object = value) -> bool:
                return _same(doc.value(path), value)

            rows = self._three(lambda doc, path=path: doc.tables.get(table, {}).get(path))  # type: ignore[misc]
            fitting = [doc.tables[table][path] for doc in self.docs if doc and path in doc.tables.get(table, {}) and fits(doc)]
            out += self._put(path, rows, lambda there, value=value: (there[0].key, value_toml(value)), fitting).lines  # type: ignore[misc]
            out += orphans.get(path, [])
        return out

    def _value(self, path: Name) -> object:
        if path in self.wanted.values:
            return self.wanted.values[path]
        table: dict[str, Any] = {}
        for below, value in self.wanted.values.items():
            if below[: len(path)] == path:
                inner = table
                for part in below[len(path) : -1]:
                    inner = inner.setdefault(part, {})
                inner[below[-1]] = value
        return table

    def _percent_rows(self, table: Name) -> list[str]:
        orphans = self._orphans(table, self.now)
        out = orphans.get((), [])
        for line in self.percent[table]:
            path = tuple(line.path.split("."))
            rows, fitting = [], []
            for doc, known, of_side in zip(self.docs, self.wanted.lines_of, self.wanted.origins[line.path], strict=True):
                at = tuple(of_side.split(".")) if of_side else None
                row = doc.tables.get(at[:3], {}).get(at) if doc and at else None
                rows.append(row)
                there = known[of_side] if known and of_side else None
                if row and there and there.material == line.material and (there.level, there.note) == (line.level, line.note):
                    fitting.append(row)
            base, first, second = rows
            out += self._put(path, (base, first, second), lambda _, line=line: _row(line, self.docs, self.wanted), fitting).lines  # type: ignore[misc]
            out += orphans.get(path, [])
        return out

    # --- one row ---

    def _put(self, path: Name, rows: Three[Row], make: Callable[[list[Row]], tuple[str, str]], fitting: Sequence[Row]) -> Row:
        """One row of the merged file. make: key and value where no side has the row as it is wanted. fitting: rows that say it."""
        there = [row for row in rows[1:] if row]
        texts = {(row.key, row.value) for row in fitting}
        if len(texts) > 1 and rows[0] and (rows[0].key, rows[0].value) in texts:
            texts.discard((rows[0].key, rows[0].value))
        key, value = min(texts) if texts else make(there)
        behind = self._decided(f"{'.'.join(path)} (behind)", _each(rows, lambda row: (row.comment.strip(),)))
        said = behind[0] if behind else ""
        taken = [*(row for row in fitting if (row.key, row.value) == (key, value)), *there]
        gap = next(
            (row.comment[: len(row.comment) - len(row.comment.lstrip())] for row in taken if said and row.comment.strip() == said), ""
        )
        return Row(
            self._decided(f"{'.'.join(path)} (above)", _each(rows, lambda row: row.lead)),
            key,
            value,
            gap + said,
            self._decided(f"{'.'.join(path)} (below)", _each(rows, lambda row: row.below)),
        )

    def _decided(self, about: str, values: Three[tuple[str, ...]]) -> tuple[str, ...]:
        """Which comment lines stand at a place; blank lines alone are no question."""
        base, first, second = values
        if first is None or second is None:
            return first or second or ()
        if first == second or second == base:
            return first
        if first == base:
            return second
        said = [tuple(line.strip() for line in side if line.strip()) for side in (first, second)]
        if said[0] == said[1]:
            return min(first, second)
        known = tuple(line.strip() for line in base or () if line.strip())
        if known == said[0]:
            return second
        if known == said[1]:
            return first
        about = f"{COMMENT}.{about}"
        answer = self.answers.get(about)
        was, one, other = (" ".join(line.strip() for line in side) if side is not None else None for side in (base, first, second))
        self.questions += [Decision(21, about, was, one, other, QUESTION)] if answer not in (FIRST, SECOND) else []
        return second if (answer if answer in (FIRST, SECOND) else self.prefer) == SECOND else first

    def _orphans(self, table: Name, now: Mapping[Name, Name]) -> dict[Name, list[str]]:
        """Comments that one side wrote to rows which the other took out, by the row behind which they stood in the shared file, () for the top.

        now: where every row of the shared file stands that is still there.
        """
        base, *sides = self.docs
        out: dict[Name, list[str]] = {}
        last: Name = ()
        for path, row in (base.tables.get(table, {}) if base else {}).items():
            if path in now:
                last = now[path] if now[path][: len(table)] == table else last
                continue
            for there in (side.tables.get(table, {}).get(path) for side in sides if side):
                if there is None:
                    continue
                lines = [line for line in (*there.lead, *there.below) if line.strip() and line not in (*row.lead, *row.below)]
                said = there.comment.strip()
                if said and said != row.comment.strip():
                    lines.append(f"# of {path[-1]}: {said.lstrip('# ')}")
                out.setdefault(last, []).extend(lines)
        return out


def _row(line: Line, docs: Three[Rows], wanted: Wanted) -> tuple[str, str]:
    """Key and value of a line that no side has just so: its level of one, its note of the other."""
    path = tuple(line.path.split("."))
    known: dict[str, object] = {}
    key = ""
    for doc, of_side in zip(docs, wanted.origins[line.path], strict=True):
        at = tuple(of_side.split(".")) if of_side else ()
        row = doc.tables.get(at[:3], {}).get(at) if doc and at else None
        if doc and row:
            there = doc.value(at)
            known |= there if isinstance(there, dict) else {}
            if at[-1] == path[-1]:
                key = key or row.key
    key = key or f"{line.material} = "
    others = {k: v for k, v in known.items() if k not in ("level", "expect", "note")}
    if not others:
        return key, level_toml(line.level, toml_string(line.note) if line.note else "")
    value = row_value(line.level, line.note)
    return key, value_toml((value if isinstance(value, dict) else {"level": value}) | others)


def _each(rows: Three[Row], get: Callable[[Row], tuple[str, ...]]) -> Three[tuple[str, ...]]:
    base, first, second = (get(row) if row else None for row in rows)
    return base, first, second


def _same(one: object, other: object) -> bool:
    """Equal, and alike inside: true is not 1."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_same(one[k], other[k]) for k in one)
    return type(one) is type(other) and one == other
