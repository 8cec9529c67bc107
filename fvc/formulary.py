"""A formulary at one moment: the folder as it stands, or a commit. Plans and records together.

A reference means the whole formulary of a moment, since material records have versions too.
Files are read when they are needed, so a bad plan never hinders work on a good one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from fvc.composition import as_material
from fvc.errors import Fault, Refusal
from fvc.files.materials import read_material
from fvc.files.parsed import Parsed
from fvc.files.plans import PHASE_KEYS, read_plan
from fvc.files.toml_text import TomlText
from fvc.formula import OPEN, Plan, close
from fvc.git.repository import blob_id
from fvc.material import Material
from fvc.names import suggestion, why_not_an_id
from fvc.reading import Reading, Side
from fvc.sources import Source

if TYPE_CHECKING:  # most commands meet no trial and no settings, and start faster without them
    from fvc.files.settings import Settings
    from fvc.trial import Trial

SETTINGS_FILE = "formulary.toml"


def plan_path(name: str, variant: str = "") -> str:
    """Where a plan lives in a formulary."""
    return f"variants/{name}/{variant}.toml" if variant else f"formulas/{name}.toml"


def plan_of_path(path: str) -> tuple[str, str]:
    """The formula and the variant (or `""`) that `plan_path` made `path` from."""
    name, _, variant = path.partition("/")[2].removesuffix(".toml").partition("/")
    return name, variant


def material_path(name: str) -> str:
    """Where a material record lives in a formulary."""
    return f"materials/{name}.toml"


def trial_path(formula: str, id: str) -> str:
    """Where the record of a batch lives in a formulary."""
    return f"trials/{formula}/{id}.toml"


def _stems(names: Iterable[str]) -> list[str]:
    return [n[: -len(".toml")] for n in names if n.endswith(".toml")]


class Formulary:
    """All plans and records of one moment, read when needed."""

    def __init__(self, source: Source, parsed: dict[tuple[str, str], Parsed[object]] | None = None, alike: Formulary | None = None) -> None:
        """parsed: files parsed before, by their key and name. alike: a moment that holds the same ingredients."""
        self.source = source
        self._kept = parsed if parsed is not None else {}
        self._materials: dict[str, tuple[Material | None, tuple[Fault, ...], dict[str, Mapping[str, object]]]] = {}
        self._warned: dict[str, tuple[Fault, ...]] = {}
        self._trials: dict[str, tuple[bytes, Parsed[Trial]]] = {}  # with the bytes they were read from: a record grows while it is written
        if alike is not None:
            self._materials, self._warned = alike._materials, alike._warned

    # --- names ---------------------------------------------------------------------------------

    def formulas(self) -> list[str]:
        """Ids of the formulas."""
        return _stems(self.source.names("formulas"))

    def materials(self) -> list[str]:
        """Ids of the material records."""
        return _stems(self.source.names("materials"))

    def variants(self, formula: str) -> list[str]:
        """Ids of the variants of a formula."""
        return _stems(self.source.names(f"variants/{formula}"))

    def trials(self) -> list[tuple[str, str]]:
        """(formula, trial id) of every trial."""
        return [(f, t) for f in self.source.names("trials") for t in _stems(self.source.names(f"trials/{f}"))]

    # --- files ---------------------------------------------------------------------------------

    def settings(self) -> Settings:
        """The formulary's own file; defaults where there is none. Refusal when it is faulty."""
        from fvc.files.settings import Settings, read_formulary

        data = self.source.read(SETTINGS_FILE)
        if data is None:
            return Settings()
        parsed = read_formulary(data, SETTINGS_FILE)
        if parsed.value is None:
            raise Refusal(parsed.faults)
        return parsed.value

    def plan(self, name: str, variant: str = "") -> Parsed[Plan]:
        """A plan as parsed, faults and all. Refusal when there is no such file."""
        path = plan_path(name, variant)
        key = (self.source.key(path) or "", f"{name}/{variant}")
        if key[0] and key in self._kept:
            return self._kept[key]  # type: ignore[return-value]
        data = self.source.read(path)
        if data is None:
            raise Refusal(self.no_plan(name, variant))
        parsed = read_plan(data, path, variant or name, variant=bool(variant))
        if key[0]:
            self._kept[key] = parsed  # type: ignore[assignment]
        return parsed

    def no_plan(self, name: str, variant: str = "") -> Fault:
        """The message for a plan that does not exist, with the nearest names."""
        if variant:
            known = self.variants(name)
            otherwise = f"variants of {name}: {', '.join(known)}" if known else f"{name} has no variants"
            return Fault(f'no variant "{variant}" of {name}', file=plan_path(name, variant), next=suggestion(variant, known, otherwise))
        known = self.formulas()
        otherwise = f"formulas here: {', '.join(known[:12])}" if known else f"make one with  fvc new formula {name}"
        if name in self.materials():
            otherwise = f"{name} is a material; name a formula: {', '.join(known[:12])}"
            return Fault(f'no formula "{name}"', file=plan_path(name), next=otherwise)
        return Fault(f'no formula "{name}"', file=plan_path(name), next=suggestion(name, known, otherwise))

    def trial(self, formula: str, id: str) -> Parsed[Trial]:
        """A trial as parsed. Refusal when there is no such file."""
        from fvc.files.trials import read_trial

        path = trial_path(formula, id)
        data = self.source.read(path)
        if data is None:
            raise Refusal(Fault(f'no trial "{id}"', file=path, next="trials live in trials/<formula>/"))
        known = self._trials.get(path)
        if known is None or known[0] != data:
            known = self._trials[path] = data, read_trial(data, path, id, formula)
        return known[1]

    def read_path(self, path: str, side: Side) -> Reading:
        """The plan in a file of this moment, read together with what it reaches; Refusal when it cannot be read."""
        parsed = self.plan(*plan_of_path(path))
        if parsed.value is None:
            raise Refusal(parsed.faults)
        return self.read(parsed, side._replace(revision=parsed.value.revision))

    # --- reading a plan together with what it reaches --------------------------------------------

    def ingredient(
        self, id: str, trail: tuple[str, ...] = ()
    ) -> tuple[Material | None, tuple[Fault, ...], dict[str, Mapping[str, object]]]:
        """What an id stands for at this moment: a material, or a formula as a premix.

        trail: the formulas that are being read, outermost first. Returns the material (None when
        faulty or absent), the faults, and the records of everything reached.
        """
        if id in trail:
            ring = " -> ".join((*trail[trail.index(id) :], id))
            return None, (Fault(f"a formula stands inside itself: {ring}", next="take one of these lines out"),), {}
        if id not in self._materials:
            self._materials[id] = self._read_ingredient(id, trail)
        return self._materials[id]

    def _read_ingredient(
        self, id: str, trail: tuple[str, ...]
    ) -> tuple[Material | None, tuple[Fault, ...], dict[str, Mapping[str, object]]]:
        path = material_path(id)
        try:
            data_key = self.source.key(path)
            kept = self._kept.get((data_key or "", f"material {id}"))
            data = None if kept else self.source.read(path)
        except Refusal as refusal:
            return None, refusal.faults, {}
        is_formula = self.source.has(plan_path(id))
        if kept is None and data is None:
            if is_formula:
                return self._nested(id, trail)
            known = [*self.materials(), *self.formulas()]
            hint = suggestion(id, known, f"make its record with  fvc new material {id}")
            return None, (Fault(f'unknown material "{id}"', next=hint),), {}
        if is_formula:
            both = Fault(f'"{id}" is both a material and a formula', file=path, next="rename one of the two: they share one name space")
            return None, (both,), {}
        if kept is None:
            assert data is not None
            kept = read_material(data, path, id)  # type: ignore[assignment]
            if data_key:
                self._kept[data_key, f"material {id}"] = kept  # type: ignore[assignment]
        assert kept is not None
        self._warned[id] = kept.warnings
        material = kept.value
        assert material is None or isinstance(material, Material)
        return material, kept.faults, ({id: material.record} if material else {})

    def _nested(self, id: str, trail: tuple[str, ...]) -> tuple[Material | None, tuple[Fault, ...], dict[str, Mapping[str, object]]]:
        parsed = self.plan(id)
        if parsed.value is None:
            return None, parsed.faults, {}
        reading = self.read(parsed, Side(id), trail)
        records = dict(reading.records) | {id: reading.plan.record}
        faults = list(reading.faults)
        for amount in reading.closure.amounts:
            if amount.line.level.kind == OPEN:
                faults.append(
                    located(
                        Fault(
                            f"{id} stands as a material in another formula and its line {amount.line.material} is open",
                            path=amount.line.path,
                            next="give the line a number, or take the formula out of the other one",
                        ),
                        parsed.text,
                    )
                )
        if faults:
            return None, tuple(faults), records
        parts = [(a.line.material, a.counted) for a in reading.closure.amounts]
        return as_material(reading.plan, parts, reading.materials), (), records

    def read(self, parsed: Parsed[Plan], side: Side, trail: tuple[str, ...] = ()) -> Reading:
        """A parsed plan with its percents worked out and its materials found.

        Raises Refusal when the file itself is faulty. A plan that does not close, or that names
        unknown materials, is a Reading with faults.
        """
        if parsed.value is None:
            raise Refusal(parsed.faults)
        plan = parsed.value
        materials: dict[str, Material] = {}
        records: dict[str, Mapping[str, object]] = {}
        faults: list[Fault] = []
        warnings: list[Fault] = list(parsed.warnings)
        here = (*trail, plan.id) if plan.variant is None else trail
        unread = (material_path(id) for id in plan.reached() if id not in self._materials)
        self.source.expect(p for p in unread if (self.source.key(p) or "", f"material {p[10:-5]}") not in self._kept)
        seen: set[str] = set()  # not `records`: a nested formula further up may have brought the same material's record
        for line in plan.lines:
            if line.material in seen:
                continue
            seen.add(line.material)
            material, found, reached = self.ingredient(line.material, here)
            records.update(reached)
            warnings += self._warned.get(line.material, ())
            if material is not None:
                materials[line.material] = material
            else:
                faults += [located(f._replace(path=line.path), parsed.text) if not f.file else f for f in found]
                records.setdefault(line.material, {})
        closure = close(plan, {id: m.functions for id, m in materials.items()})
        closure = replace(closure, faults=tuple(located(f, parsed.text) for f in closure.faults))
        faults += self._outside(parsed)
        for amount in closure.amounts:
            if amount.waits_for:
                what = (
                    f"{', '.join(amount.waits_for)} is open and has no expected level, so it counts 0 in the ratio {amount.line.level.text}"
                )
                way = 'give it one:  { level = "open", expect = 0.40 }'
                warnings.append(located(Fault(what, path=amount.line.path, next=way), parsed.text))
        return Reading(
            plan=plan,
            closure=closure,
            materials=materials,
            side=side,
            records={id: record for id, record in records.items() if record},
            faults=(*faults, *closure.faults),
            in_records=in_records(faults),
            warnings=tuple(dict.fromkeys(warnings)),
        )

    def _outside(self, parsed: Parsed[Plan]) -> list[Fault]:
        """Materials that stand in a phase but not below its [phase.X.percent], where they would silently not count."""
        faults = []
        phases = parsed.text.values.get("phase", {}) if parsed.text else {}
        for name, table in phases.items() if isinstance(phases, dict) else ():
            for key in table if isinstance(table, dict) else ():
                if (
                    key not in PHASE_KEYS
                    and why_not_an_id(key) is None
                    and (self.source.has(material_path(key)) or self.source.has(plan_path(key)))
                ):
                    fault = Fault(
                        f"{key} stands outside [phase.{name}.percent], so it does not count",
                        path=f"phase.{name}.{key}",
                        next=f"put the line  [phase.{name}.percent]  above it",
                    )
                    faults.append(located(fault, parsed.text))
        return faults


def in_records(faults: Iterable[Fault]) -> frozenset[Fault]:
    """The faults that stand in records of raw materials."""
    return frozenset(f for f in faults if f.file.startswith("materials/"))


def located(fault: Fault, text: TomlText | None) -> Fault:
    """A fault of a plan with its file and line, found by its dotted path."""
    if text is None or fault.file:
        return fault
    line = text.line_of(tuple(fault.path.split("."))) if fault.path else None
    return fault._replace(file=text.name, line=line)


def same_bytes(data: bytes | None, id: str | None) -> bool:
    """True when a file is what git holds under `id`, whatever line ends the checkout uses."""
    if data is None or id is None:
        return data is None and id is None
    return id in (blob_id(data, len(id)), blob_id(data.replace(b"\r\n", b"\n"), len(id)))
