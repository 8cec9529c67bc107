"""The batches of the demo: each is what its plan asked for on that day, and together they tell the story of the formulas."""

import datetime
import tomllib
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest

from fvc.archive import Archive
from fvc.demo import read_story, source_folder
from fvc.schedule import due
from fvc.trials import all_trials
from tests.support import Studio

FILES = sorted((source_folder() / "trials").glob("*/*.toml"))
IDS = [file.stem for file in FILES]
each = pytest.mark.parametrize("id", IDS)


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> Studio:
    """The demo, built once."""
    here = Studio(tmp_path_factory.mktemp("batches"))
    here.ok("demo", "studio")
    return Studio(here.root / "studio")


@pytest.fixture(scope="module")
def records(demo) -> dict[str, dict]:
    """What `fvc trial show ID --json` says of every batch."""
    return {id: demo.json("trial", "show", id) for id in IDS}


def written(id: str) -> dict:
    """The file of a batch as any TOML reader sees it."""
    return tomllib.loads(next(f for f in FILES if f.stem == id).read_text(encoding="utf-8"))


def started(record) -> datetime.datetime:
    return datetime.datetime.fromisoformat(record["started"])


def weighings(record, *actions: str) -> list[dict]:
    return [e for e in record["entries"] if e["action"] in actions]


def sum_of(record, action: str, material: str) -> Fraction:
    return sum((Fraction(e["grams"]) for e in weighings(record, action) if e["of"] == material), Fraction(0))


def looks(record, condition: str) -> list[dict]:
    return [look for look in record["looks"] if look["condition"] == condition]


def those(records, is_so) -> list[dict]:
    return [record for record in records.values() if is_so(record)]


# --- each is what it says -----------------------------------------------------------------------------


def text_in(demo, commit: str, path: str) -> dict:
    return tomllib.loads(demo.git("show", f"{commit}:{path}"))


def plan_of(demo, trial: dict) -> tuple[str, str]:
    """(commit, path in it) of the plan that a batch names."""
    name = trial["plan"].rpartition(".")[0]
    path = f"variants/{name}.toml" if "/" in name else f"formulas/{name}.toml"
    return demo.json("sheet", trial["plan"])["commit"], path


@each
def test_it_asks_for_what_the_weigh_sheet_of_its_plan_says(demo, id):
    trial = written(id)
    sheet = demo.json("weigh", trial["plan"], "--batch", trial["batch"])
    asked = [(a["phase"], a["material"], str(a["grams"]), a.get("open", False)) for a in trial["asked"]]
    lines = [(line["phase"], line["material"], line["grams"], line["open"]) for line in sheet["lines"]]
    assert [(p, m, Fraction(g), o) for p, m, g, o in asked] == [(p, m, Fraction(g), o) for p, m, g, o in lines]


@each
def test_its_plan_and_its_materials_are_those_of_that_day(demo, id):
    trial = written(id)
    commit, path = plan_of(demo, trial)
    assert trial["plan_id"] == demo.git("rev-parse", f"{commit}:{path}").strip()
    assert datetime.datetime.fromisoformat(demo.git("log", "-1", "--format=%aI", commit).strip()) < trial["started"]
    plan = text_in(demo, commit, path)
    assert trial.get("spec", {}) == plan.get("spec", {})
    assert trial["phase"] == {name: {k: v for k, v in phase.items() if k != "percent"} for name, phase in plan["phase"].items()}
    premixes = {a["material"] for a in trial["asked"]} - set(trial["materials"])
    assert set(trial.get("premixes", {})) == premixes <= {"preservative-premix"}
    # the state of the folder on that day, which may be later than the plan: a price, a strength
    then = demo.git("rev-list", "-1", "--first-parent", f"--before={trial['started'].isoformat()}", "HEAD").strip()
    for material, record in trial["materials"].items():
        whole = text_in(demo, then, f"materials/{material}.toml")
        assert record == {k: v for k, v in whole.items() if k not in ("format", "lot")}, material
    for premix, reference in trial.get("premixes", {}).items():
        same = demo.git("rev-parse", f"{then}:formulas/{premix}.toml")
        assert demo.git("rev-parse", f"{demo.json('sheet', reference)['commit']}:formulas/{premix}.toml") == same


@each
def test_what_was_made_closes_and_was_weighed_as_a_scale_does(demo, records, id):
    record = records[id]
    sheet = demo.ok("sheet", id)
    assert sheet.err == ""
    assert sum(Fraction(m["percent"]) for m in record["made"]) == pytest.approx(100, abs=1e-8)
    assert all(line["settled"] for line in record["lines"])
    assert any(line["grams"] != line["target_grams"] for line in record["lines"] if not line["open"])
    assert "weight" not in {d["kind"] for d in record["deviations"]}
    mass = {k: Fraction(v) for k, v in record["mass"].items() if v is not None}
    assert mass["in"] == sum(mass[k] for k in ("product", "lost", "spilled", "left", "sampled", "unaccounted"))
    assert 0 < mass["unaccounted"] * 100 < mass["in"]
    noted = [e for e in weighings(record, "weighed", "added") if e["of"] != "water"]
    assert sum("lot" in e for e in noted) * 2 > len(noted)


def test_each_is_saved_with_its_last_entry_by_the_one_who_wrote_it(records):
    story = read_story(source_folder())
    saved = {Path(batch["files"][0]).stem: (batch["at"], story["people"][batch["by"]]["name"]) for batch in story["batch"]}
    last = {id: max(written(id)["entry"], key=lambda e: e["at"]) for id in IDS}
    assert saved == {id: (entry["at"], entry["by"]) for id, entry in last.items()}
    assert not [id for id in IDS if "written" in {key for entry in written(id)["entry"] for key in entry}]


def test_ids_name_formula_day_and_maker(records):
    code = {"face-toner": "ft", "hand-wash": "hw", "body-lotion": "bl", "preservative-premix": "pp"}
    initials = {"Mirela Tann": "mt", "Joss Werrick": "jw"}
    for id, record in records.items():
        assert id == f"{code[record['formula']]}-{started(record):%y%m%d}-{initials[record['by']]}-a"


# --- together they tell the story -----------------------------------------------------------------------


def test_most_are_of_the_toner_and_both_made_them(records):
    formulas = Counter(record["formula"] for record in records.values())
    assert len(records) >= 12
    assert formulas["face-toner"] * 2 > len(records)
    assert set(formulas) == {"face-toner", "hand-wash", "body-lotion", "preservative-premix"}
    assert min(Counter(record["by"] for record in records.values()).values()) >= 5
    days = sorted(started(record) for record in records.values())
    assert (days[-1] - days[0]).days > 200


def test_the_water_of_one_batch_was_not_added_back(records):
    short = those(records, lambda r: sum_of(r, "lost", "water") != sum_of(r, "replaced", "water"))
    assert len(short) == 1
    [loss] = [d["message"] for d in short[0]["deviations"] if d["kind"] == "loss"]
    assert "of water were lost and not put back" in loss
    assert sum_of(short[0], "replaced", "water") == 0


def test_one_slip_of_a_gram_was_made_good_by_a_larger_batch(records):
    def over(record):
        """Weighings that were well over what the sheet asked, before anything was done about it."""
        asked = {line["material"]: Fraction(line["asked_grams"]) for line in record["lines"]}
        larger = next((e["at"] for e in weighings(record, "enlarged")), "9999")
        before = [e for e in weighings(record, "weighed") if e["at"] < larger]
        return [e for e in before if Fraction(e["grams"]) > asked[e["of"]] * Fraction("1.1")]

    [record] = those(records, over)
    [slip] = over(record)
    asked = {line["asked_grams"] for line in record["lines"] if line["material"] == slip["of"]}
    assert (slip["of"], slip["grams"], asked) == ("propanediol", "4.75", {"3.75"})
    [larger] = weighings(record, "enlarged")
    assert (larger["grams"], "propanediol" in larger["because"]) == ("190", True)
    assert those(records, lambda r: weighings(r, "enlarged")) == [record]


def test_the_acid_of_one_batch_came_the_day_after_and_after_a_sample(records):
    def later(record):
        return [e for e in weighings(record, "added") if e["at"][:10] != record["started"][:10]]

    [record] = those(records, later)
    [open_line] = [line["material"] for line in record["lines"] if line["open"]]
    assert {e["of"] for e in later(record)} == {open_line}
    [sample] = weighings(record, "sampled")
    assert sample["at"] < later(record)[0]["at"]
    assert [look["judged"][0]["verdict"] for look in record["looks"] if look["ph"]][:2] == ["fail", "pass"]


def test_a_haze_clears_by_day_2(records):
    def clears(record):
        seen = [(look["day"], look["clarity"]) for look in record["looks"] if look["clarity"]]
        before = {clarity for day, clarity in seen if day < 2}
        return "hazy" in before and "clear" not in before and {clarity for day, clarity in seen if day >= 2} == {"clear"}

    assert [record["plan"] for record in those(records, clears)] == ["face-toner.4"]


def test_with_less_solubiliser_it_turns_hazy_in_the_fridge_on_day_3(records):
    def hazy(record):
        days = [look["day"] for look in looks(record, "fridge") if look["clarity"] == "hazy"]
        return days[:1] == [3] and {look["clarity"] for look in looks(record, "room")} == {"clear"}

    assert [record["plan"] for record in those(records, hazy)] == ["face-toner.3"]


def test_an_extract_darkens_by_day_14_and_not_in_the_fridge(records):
    def colours(record, condition):
        return {look["day"]: look["colour"] for look in looks(record, condition) if look["colour"]}

    [record] = those(
        records, lambda r: colours(r, "room").get(14) == "amber" and colours(r, "fridge").get(14) == "pale straw" and len(r["looks"]) > 10
    )
    assert colours(record, "room") == {0: "pale straw", 7: "straw", 14: "amber", 30: "amber", 60: "amber", 90: "amber"}
    assert colours(record, "fridge")[90] == "straw"


def test_a_ph_drifts_in_the_warm_and_more_citrate_holds_it(records):
    def drift(record, condition):
        read = [Fraction(look["ph"]) for look in looks(record, condition) if look["ph"] and look["day"] <= 60]
        return read[-1] - read[0] if len(read) >= 4 else None

    read = {
        record["plan"]: (drift(record, "room"), drift(record, "warm")) for record in records.values() if drift(record, "warm") is not None
    }
    assert sorted(read) == ["face-toner.10", "face-toner.7"]
    assert read["face-toner.7"][1] > Fraction("0.25") > Fraction("0.06") > read["face-toner.7"][0]
    assert read["face-toner.10"][1] <= Fraction("0.05")


def test_the_variant_that_was_set_aside_was_made_once(demo, records):
    about = {f.stem: tomllib.loads(f.read_text())["variant"] for f in demo.root.glob("variants/*/*.toml")}
    aside = [name for name, variant in about.items() if variant["state"] == "set aside"]
    made = [r for r in records.values() if r["plan"].partition("/")[2].rpartition(".")[0] in aside]
    assert [(record["verdict"], record["because"]) for record in made] == [("set aside", about[aside[0]]["because"])]
    sprays = {look["day"]: look["spray"] for look in made[0]["looks"] if look["spray"]}
    assert {day: spray == "fine" for day, spray in sprays.items()} == {0: True, 1: True, 3: False, 7: False, 14: False}


def test_one_was_made_for_sale_and_released_with_its_yields(records):
    [sold] = those(records, lambda r: r["for_sale"])
    assert (sold["verdict"], sold["filled"], sold["retained"]) == ("release", "31 x 30 mL", "30 mL")
    assert 95 < Fraction(sold["mass"]["percent_of_theoretical"]) < 100
    assert {j["verdict"] for look in sold["looks"] for j in look["judged"]} == {"pass"}
    assert {look["condition"] for look in sold["looks"] if look["day"] == 3} == {"room", "fridge", "warm"}
    assert all("lot" in e for e in weighings(sold, "weighed", "added", "replaced"))


def test_one_reading_was_corrected_and_both_stand_in_the_record(records):
    corrected = [(id, entry) for id in IDS for entry in written(id)["entry"] if "corrects" in entry]
    [(id, later)] = corrected
    [first] = [entry for entry in written(id)["entry"] if entry["id"] == later["corrects"]]
    assert (first["ph"], later["ph"]) == (4.31, 4.60)
    assert next(look["ph"] for look in records[id]["looks"]) == "4.60"
    assert first["id"] not in {look["id"] for look in records[id]["looks"]}


def test_a_premix_made_in_house_is_the_lot_where_it_is_used_and_in_time(records):
    used = [
        (entry["lot"], record)
        for record in records.values()
        for entry in record["entries"]
        if entry["of"] == "preservative-premix" and "lot" in entry
    ]
    assert sum(record["formula"] == "face-toner" for _, record in used) >= 3
    for lot, record in used:
        premix = records[lot]
        assert started(premix) < started(record)
        assert record["started"][:10] <= premix["use_by"]
    assert {lot for lot, _ in used} == {id for id, record in records.items() if record["formula"] == "preservative-premix"}
    [use_by] = {(datetime.date.fromisoformat(r["use_by"]) - started(r).date()).days for r in records.values() if r["use_by"]}
    assert use_by == 30


def test_no_lot_of_the_shelf_was_used_before_it_came(demo, records):
    came = {
        (file.stem, lot["number"]): lot["received"]
        for file in demo.root.glob("materials/*.toml")
        for lot in tomllib.loads(file.read_text(encoding="utf-8")).get("lot", ())
    }
    used = [((e["of"], e["lot"]), e["at"][:10]) for record in records.values() for e in record["entries"] if "lot" in e]
    assert {lot for lot, _ in used} >= set(came)
    assert [lot for lot, day in used if lot in came and day < str(came[lot])] == []


def test_one_is_open_and_few_want_a_look_whenever_the_demo_is_looked_at(demo, records):
    open_ones = those(records, lambda r: r["verdict"] is None)
    assert [record["plan"] for record in open_ones] == ["face-toner/lighter-scent.1"]
    assert Counter(r["verdict"] for r in records.values()).keys() == {None, "keep", "set aside", "repeat", "choose", "release"}
    archive = Archive(demo.root)
    trials, problems = all_trials(archive)
    assert (problems, sorted(t.id for t in trials)) == ([], sorted(IDS))
    for day in (datetime.date(2026, 10, 18), datetime.date(2026, 12, 24), datetime.date(2031, 1, 1)):
        wanted = {t.id for t in trials if due(t, archive.now.settings().schedule, day)}
        assert open_ones[0]["id"] in wanted
        assert len(wanted) == (4 if day < datetime.date(2026, 11, 10) else 3)  # a premix past its last day wants no look
    archive.close()


def test_the_pages_about_batches_have_nothing_to_complain_of(demo):
    for words in ((), ("trial",), ("trial", "list", "face-toner"), ("trial", "due"), ("check", "face-toner"), ("results", "face-toner")):
        result = demo.ok(*words)
        assert result.err == "", words
    assert demo.json()["open_trials"] == ["ft-261003-mt-a"]
    assert demo.json()["unsaved_trials"] == []
    tried = [row for row in demo.json("trial", "list")["trials"] if row["formula"] == "face-toner"]
    assert all(row["saved"] for row in tried)
    out = demo.ok("results", "face-toner").out
    assert [row["id"] for row in tried if row["id"] not in out] == []


def test_the_readme_names_every_batch():
    readme = (source_folder() / "README.md").read_text(encoding="utf-8")
    rows = [line.split(" | ") for line in readme.split("\n") if line.startswith("| ") and line.split(" | ")[0][2:] in IDS]
    assert sorted(row[0][2:] for row in rows) == sorted(IDS)
    verdicts = {id: next((e["closed"] for e in reversed(written(id)["entry"]) if "closed" in e), "still **open**") for id in IDS}
    assert {row[0][2:]: row[3].removesuffix(" |") for row in rows} == verdicts
    plans = {row[0][2:]: row[1].replace(" ", ".") for row in rows}
    assert plans == {id: written(id)["plan"] for id in IDS}
