"""The pH worked out row by row, so that it can be followed with a pocket calculator and taught."""

from __future__ import annotations

from collections.abc import Sequence

from fvc.reference.ions import DAVIES_A, DAVIES_B, DAVIES_SOURCE, PKW, WATER_SOURCE, Weak
from fvc.reference.solubility import SOLUBILITY
from fvc.science.equilibrium import Ions, Protolyte, davies, in_solution, shares
from fvc.science.estimate import Step
from fvc.science.metering import Anchored
from fvc.science.mixture import Item, Mixture
from fvc.science.ph import PhModel, windows

_LEAST = 0.0005  # pH units, below which an influence is not told one by one


def workings(found: PhModel, moved: Anchored | None = None) -> tuple[Step, ...]:
    """All rows. moved: the estimate that starts from a reading, where there is one. Ends with the reason where no figure is given."""
    mixture, balance = found.mixture, found.balance
    if mixture is None or balance is None:
        return (Step("no estimate", result=found.declined),)
    damping = davies(balance.ionic_strength)
    weak, ions = mixture.dissolved()
    return (
        Step("total water, over all solutions", result=f"{mixture.water:.4g} % of the product"),
        *_molalities(mixture),
        *_ions(ions),
        Step(
            "ionic strength I: half the sum of molality x charge² over all ions, at the pH below",
            result=f"{balance.ionic_strength:.4f} mol/kg",
        ),
        Step(
            "activity: log γ of an ion of charge z is -z² D, with D = A (√I/(1+√I) - b I)",
            f"{DAVIES_A} x ({balance.ionic_strength**0.5:.4f}/{1 + balance.ionic_strength**0.5:.4f} - {DAVIES_B} x {balance.ionic_strength:.4f})",
            f"D = {damping:.4f}; γ of charge 1 is {10**-damping:.3f}, of charge 2 {10 ** (-4 * damping):.3f}",
            DAVIES_SOURCE.words,
        ),
        *_forms(mixture, weak, balance.ph, damping),
        *_sum(weak, ions, balance.ph, damping),
        Step(
            "buffer value: 2.3026 x (sum of molality x spread of its charge, + H+ + OH-), at that ionic strength",
            result=f"{balance.buffer_value * 1000:.3g} mmol per kg of water and pH unit",
            source="Van Slyke, J. Biol. Chem. 52, 525 (1922, from memory)",
        ),
        *_end(found, moved),
    )


def _molalities(mixture: Mixture) -> list[Step]:
    out = []
    for item in mixture.items:
        molality = item.grams / item.mass.grams / mixture.water * 1000
        out.append(
            Step(
                f"{item.inci}, from {item.material}",
                f"{item.grams:.4g} % / {item.mass.grams:g} g/mol / {mixture.water:.4g} % x 1,000,000",
                f"{molality * 1000:.4g} mmol/kg{_gives(item)}",
                item.mass.source,
            )
        )
    return out


def _gives(item: Item) -> str:
    many = [f"{count} {weak.name}" for weak, count in item.gives.weak if weak.name != item.inci or count > 1]
    many += [f"{count} of charge {charge:+d}" for charge, count in item.gives.ions]
    return f", each gives {', '.join(many)}" if many else ""


def _ions(ions: Sequence[Ions]) -> list[Step]:
    return [
        Step(f"ions of charge {ion.charge:+d} that never change, together", result=f"{ion.molality * 1000:.4g} mmol/kg")
        for ion in sorted(ions, key=lambda each: -each.charge)
    ]


def _forms(mixture: Mixture, weak: Sequence[Protolyte], ph: float, damping: float) -> list[Step]:
    """Each acid or base: its constants at this ionic strength, the shares of its forms, and the charge that it brings."""
    out = []
    published: dict[str, Weak] = {w.name: w for item in mixture.items for w, _ in item.gives.weak}
    for each in weak:
        parts = shares(each, ph, damping)
        charges = [each.charge - index for index in range(len(parts))]
        here = ", ".join(f"{pka - damping * (1 - 2 * (each.charge - i)):.3f}" for i, pka in enumerate(each.pka))
        mean = sum(z * share for z, share in zip(charges, parts, strict=True))
        forms = ", ".join(f"{share * 100:.1f} % of charge {z}" for z, share in zip(charges, parts, strict=True))
        source, dissolved = published[each.name], in_solution(each, parts)
        uncertain = ", sources disagree" if source.uncertain else ""
        out.append(
            Step(
                f"{each.name}: pKa {', '.join(f'{pka:g}' for pka in each.pka)}; at this ionic strength {here}",
                f"at pH {ph:.3f}: {forms}",
                f"mean charge {mean:.4f} x {dissolved * 1000:.4g} = {mean * dissolved * 1000:.4g} mmol/kg",
                source.source.words + uncertain,
            )
        )
        if dissolved < each.molality:
            out.append(
                Step(
                    f"of {each.molality * 1000:.4g} mmol/kg {each.name} so much dissolves that the form without charge stands at its most",
                    f"{each.most * 1000:.4g} mmol/kg / {parts[each.charge] * 100:.1f} %",
                    f"{dissolved * 1000:.4g} mmol/kg dissolved; the rest stands as crystals",
                    SOLUBILITY[each.name].source.words,
                )
            )
    return out


def _sum(weak: Sequence[Protolyte], ions: Sequence[Ions], ph: float, damping: float) -> list[Step]:
    """The rows that end at 0, which is what makes this pH the answer."""
    proton, hydroxide = 10 ** (damping - ph), 10 ** (ph - PKW + damping)
    fixed = sum(i.charge * i.molality for i in ions)
    bound = sum(
        in_solution(w, parts) * sum((w.charge - k) * s for k, s in enumerate(parts)) for w in weak for parts in [shares(w, ph, damping)]
    )
    return [
        Step("H+ as molality: 10^(D - pH)", f"10^({damping:.4f} - {ph:.4f})", f"{proton * 1000:.4g} mmol/kg"),
        Step(
            "OH- as molality: 10^(pH - pKw + D)",
            f"10^({ph:.4f} - {PKW} + {damping:.4f})",
            f"{hydroxide * 1000:.3g} mmol/kg",
            WATER_SOURCE.words,
        ),
        Step(
            "the charges balance: ions that never change + acids and bases + H+ - OH- = 0",
            f"{fixed * 1000:.4g} + ({bound * 1000:.4g}) + {proton * 1000:.4g} - {hydroxide * 1000:.3g}",
            f"{(fixed + bound + proton - hydroxide) * 1000:.1g} mmol/kg at pH {ph:.2f}, and at no other pH",
        ),
    ]


def _end(found: PhModel, moved: Anchored | None) -> list[Step]:
    if found.declined:
        return [Step("no estimate", result=f"{found.declined}{'; ' + found.instead if found.instead else ''}")]
    out = []
    for influence in found.influences:
        if max(-influence.down, influence.up) < _LEAST:
            continue
        aside = "remembered or disputed; " if influence.remembered else ""
        out.append(
            Step(
                f"band: {influence.what}, {influence.given}",
                result=f"{aside}moves the pH by {influence.at_low:+.3f} to {influence.at_high:+.3f}",
                source=influence.source,
            )
        )
    low, high = found.ph + found.down, found.ph + found.up
    out.append(Step("band: all of these at their worst together", result=f"pH {low:.2f} to {high:.2f}"))
    out += [
        Step(
            f"window: strength of {w.material}, {w.by}{', assumed' if w.assumed else ''}",
            result=f"pH {w.weaker:.2f} with less of it, {w.stronger:.2f} with more",
        )
        for w in windows(found)
    ]
    if moved is not None:
        anchor = moved.anchor
        assert anchor.model_ph is not None
        out.append(
            Step(
                f"from the meter: {anchor.value.text} in {anchor.trial}, day {anchor.day}; + model of this product - model of that batch",
                f"{anchor.value.text} + {found.ph:.3f} - {anchor.model_ph:.3f}",
                f"pH {moved.ph:.2f}, {moved.ph + moved.down:.2f} to {moved.ph + moved.up:.2f}",
            )
        )
    return out
