"""The record of a batch against what published rules ask of one, as far as a small maker needs it.

Sources: ISO 22716:2007, 7.2.1.2 (equipment; formula; raw materials with batch numbers and quantities; operations with order,
temperature, speed, time, sampling) and 7.2.3 (a batch number); 21 CFR 211.188(b)(1) to (12), batch production and control
records (a US drug rule, used as a checklist). Copies of both read on 2026-11-25; the wording is ours.
Temperatures: °F = 1.8 °C + 32. Masses: 1 oz = 28.349523125 g, 1 lb = 453.59237 g (international pound, NIST SP 811).
Common practice without source: heat-sensitive lines go in below about 40 °C (104 °F), a powder that its supplier wants
dissolved at 82 °C (180 °F), the beaker weighed before and after.
"""

import re

import pytest

from fvc.amounts import celsius, exact
from fvc.scales import weight_from_text

ID = "ton-260301-at-a"


@pytest.fixture
def record(toner, run_in):
    """A batch for sale with everything recorded, and how to ask for its record."""
    here = run_in(toner.root)
    toner.edit(
        "formulas/toner.toml",
        "[phase.B]\n",
        '[phase.B]\nadd_below = "104 °F"\n',
    )
    toner.edit("formulas/toner.toml", "[phase.A]\n", '[phase.A]\nmethod = "warm until clear"\nheat = "180 °F"\nhold = "20 min"\n')
    here("revise", "toner", "--reason", "how it is made")
    here("trial", "start", "toner", "--batch", "180g", "--for", "sale", "--vessel", "400mL", "--at", "2026-03-01 10:00")
    day = "2026-03-01"
    sheet = (
        ("water", "162.76", "W-1"), ("propanediol", "342.60-337.20", "PD-114"), ("betaine", "2.70", "BE-2"), ("panthenol-75", "2.16", "PA-9"),
        ("rice-protein-25", "1.44", "RP-3"), ("polysorbate-20", "2.88", "PS-7"), ("neroli-oil", "0.72", "NE-1"),
    )  # fmt: skip
    for minute, (material, grams, lot) in enumerate(sheet):
        here("trial", "weighed", material, grams, "--lot", lot, "--at", f"{day} 10:{minute:02}", "--checked-by", "Ben Second")
    here("trial", "vessel", "A", "412.30", "--at", f"{day} 10:10")
    here("trial", "heated", "A", "--temperature", "180F", "--hold", "20min", "--at", f"{day} 10:35")
    here("trial", "stirred", "A", "--speed", "600 rpm", "--hold", "10 min", "--at", f"{day} 10:36")
    here("trial", "vessel", "A", "406.10", "--at", f"{day} 10:40")
    here("trial", "lost", "6.20", "--phase", "A", "--at", f"{day} 10:41")
    here("trial", "replaced", "6.20", "--phase", "A", "--lot", "W-1", "--at", f"{day} 10:42")
    here("trial", "cooled", "B", "--temperature", "38 °C", "--at", f"{day} 11:20")
    here("trial", "combined", "B", "into", "A", "--at", f"{day} 11:25")
    here("trial", "weighed", "preservative-blend", "1.62", "--lot", "PB-5", "--at", f"{day} 11:30")
    here("trial", "added", "lactic-acid-80", "0.32", "--lot", "LA-8", "--at", f"{day} 11:40")
    here("trial", "see", "clear pH 4.82 meter", "--calibrated", day, "--temperature", "22C", "--at", f"{day} 11:50")
    here("trial", "sampled", "5.00", "--because", "retained", "--at", f"{day} 11:55")
    here("trial", "bulk", "172.40", "--at", f"{day} 12:00", "--checked-by", "Ben Second")
    here(
        "trial", "close", "--verdict", "release", "--because", "as the spec", "--filled", "5 x 30 mL", "--retained", "5 g",
        "--checked-by", "Ben Second", "--at", "2026-03-08",
    )  # fmt: skip
    return here


# (what the rule asks, the rule, where it stands in `trial show --json`, how it looks there)
ASKED = [
    ("the formula, and which version of it", "ISO 22716 7.2.1.2", "plan", "toner\\.2"),
    ("the formula, as a text that cannot change", "ISO 22716 7.2.1.2", "plan_id", "[0-9a-f]{40}"),
    ("a batch number", "ISO 22716 7.2.3", "id", ID),
    ("raw materials with quantities asked for", "ISO 22716 7.2.1.2", "lines.1.asked_grams", "5.4"),
    ("raw materials with quantities weighed", "21 CFR 211.188(b)(4) weights and measures of components", "lines.1.grams", "5.4"),
    ("raw materials with their batch numbers", "21 CFR 211.188(b)(3) identity of each component", "entries.1.lot", "PD-114"),
    ("how a weight was taken", "21 CFR 211.188(b)(4)", "entries.1.reading", "342.60-337.20"),
    ("operations in their order", "ISO 22716 7.2.1.2", "entries.8.action", "heated"),
    ("temperature", "ISO 22716 7.2.1.2", "entries.8.temperature", "180F"),
    ("time", "ISO 22716 7.2.1.2", "entries.8.hold", "20min"),
    ("speed", "ISO 22716 7.2.1.2", "entries.9.speed", "600 rpm"),
    ("dates", "21 CFR 211.188(b)(1)", "entries.0.at", "2026-03-01T10:00:00[+-].*"),
    ("identity of major equipment: the scale", "21 CFR 211.188(b)(2)", "scale", "0.01 g"),
    ("identity of major equipment: the vessel", "21 CFR 211.188(b)(2)", "vessel", "400mL"),
    ("in-process results", "21 CFR 211.188(b)(5)", "looks.0.ph", "4.82"),
    ("in-process results: with what they were taken", "21 CFR 211.188(b)(5)", "looks.0.calibrated", "2026-03-01"),
    ("actual yield", "21 CFR 211.188(b)(7)", "mass.bulk", "172.4"),
    ("percent of theoretical yield", "21 CFR 211.188(b)(7), 210.3(b)(19)", "mass.percent_of_theoretical", "95.77.*"),
    ("sampling performed", "21 CFR 211.188(b)(10)", "mass.sampled", "5"),
    ("persons performing each step", "21 CFR 211.188(b)(11)", "entries.0.by", "Ada Test"),
    ("persons checking each step", "21 CFR 211.188(b)(11)", "entries.0.checked_by", "Ben Second"),
    ("what went otherwise", "21 CFR 211.188(b)(12) by 211.192", "deviations.0.message", "2\\.60 g are unaccounted.*"),
    ("what was filled", "21 CFR 211.188(b)(9)", "filled", "5 x 30 mL"),
    ("a retained sample", "ISO 22716 7.2.1.2", "retained", "5 g"),
    ("the decision", "ISO 22716 7.2.1.2", "verdict", "release"),
]  # fmt: skip


def test_every_field_of_the_checklist_is_on_record(record):
    data = record("trial", "show", ID, "--json").data
    missing = []
    for what, rule, path, looks in ASKED:
        value = data
        for part in path.split("."):
            value = value[int(part)] if part.isdigit() else value[part]
        if not re.fullmatch(looks, str(value)):
            missing.append(f"{what} ({rule}): {path} is {value!r}")
    assert not missing, "\n".join(missing)


def test_the_screen_shows_them_too(record):
    shown = " ".join(record("trial", "show", ID).out.split())
    for words in (
        "made from toner.2",
        "for sale",
        "vessel 400mL",
        "PD-114",
        "180F (82 °C)",
        "600 rpm",
        "95.78 % of theoretical",
        "Ben Second",
    ):
        assert words in shown, words


def test_every_kind_of_component_has_its_lot(record):
    data = record("trial", "show", ID, "--json").data
    lots = {e["of"]: e.get("lot") for e in data["entries"] if e["action"] in ("weighed", "added", "replaced")}
    assert len(lots) == 9
    assert all(lots.values())


@pytest.mark.parametrize(
    ("text", "degrees"), [("104 °F", "40"), ("180 F", "82.2222222222"), ("82 °C", "82"), ("100F", "37.7777777778"), ("-4 °F", "-20")]
)
def test_temperatures(text, degrees):
    assert exact(celsius(text)) == degrees


@pytest.mark.parametrize(
    ("text", "grams"), [("1 oz", "28.349523125"), ("1 lb", "453.59237"), ("2.5 kg", "2500"), ("750 mg", "0.75"), ("5 oz", "141.747615625")]
)
def test_masses(text, grams):
    assert exact(weight_from_text(text).grams) == grams


def test_a_phase_that_went_in_too_warm_or_was_not_heated_far_enough(record):
    record("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-02 10:00")
    record("trial", "weighed", "water", "162.76", "--at", "2026-03-02 10:01")
    record("trial", "heated", "A", "--temperature", "75 °C", "--at", "2026-03-02 10:02")
    record("trial", "cooled", "B", "--temperature", "105F", "--at", "2026-03-02 10:03")
    found = {d["kind"]: d["message"] for d in record("trial", "show", "ton-260302", "--json").data["deviations"]}
    assert found["heat"] == "phase A came to 75 °C; the plan asks for 180 °F"  # 82.2 °C
    assert found["warm"] == "phase B went in at 105F; the plan asks for below 104 °F"
    record("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-03 10:00")
    record("trial", "cooled", "ton-260303", "B", "--temperature", "40 °C", "--at", "2026-03-03 10:03")  # 104 °F to the digit
    assert record("trial", "show", "ton-260303", "--json").data["deviations"] == []
