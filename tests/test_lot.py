"""`fvc lot`: every batch that a lot went into and every lot in a batch, through premixes both ways; premixes as they were made."""

import datetime
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.lots import Ledger
from fvc.trial import Entry, Trial

MARCH = datetime.datetime.fromisoformat("2026-03-01T10:00:00+01:00")


@pytest.fixture
def here(studio, run_in):
    """A toner with a preservative premix in it, which is itself made with a stock of benzoate."""
    studio.material("propanediol", "humectant", {"Propanediol": 100}, 'supplier = "supplier A"\n')
    studio.material("benzoate", "preservative", {"Sodium Benzoate": 100})
    studio.material("sorbate", "preservative", {"Potassium Sorbate": 100})
    with (studio.root / "materials/benzoate.toml").open("a") as file:
        file.write('[[lot]]\nnumber = "SB-7"\nreceived = 2026-01-10\nuse_by = 2026-06-30\ngrams = 80\n')
    studio.formula("stock", {"A": {"water": "balance", "benzoate": "25.00"}}, extra='keeps = "60 days"\n')
    studio.formula("premix", {"A": {"stock": "80.00", "sorbate": "12.50", "water": "balance"}}, extra='keeps = "30 days"\n')
    studio.formula("toner", {"A": {"water": "balance", "propanediol": "3.00"}, "B": {"premix": "2.00"}})
    run = run_in(studio.root)
    for name in ("stock", "premix", "toner"):
        run("revise", name, "--reason", "first")
    return run


def make(here, plan: str, day: str, *weights: tuple[str, str, str]) -> str:
    """A batch made on a day; (material, grams, lot)."""
    id = here("trial", "start", plan, "--batch", "100g", "--at", f"{day} 10:00", "--json").data["id"]
    for material, grams, lot in weights:
        here("trial", "weighed", id, material, grams, "--at", f"{day} 10:01", "--sure", *(["--lot", lot] if lot else []))
    return id


@pytest.fixture
def chain(here):
    """stock -> premix -> toner, the stock with a slip: 30 g of benzoate in 100 instead of 25."""
    stock = make(here, "stock", "2026-03-01", ("water", "70", "W-1"), ("benzoate", "30", "SB-7"))
    premix = make(here, "premix", "2026-03-02", ("stock", "80", stock), ("sorbate", "12.50", "PS-1"), ("water", "7.50", "W-1"))
    toner = make(here, "toner", "2026-03-03", ("water", "95", "W-2"), ("prop", "3", "PD-114"), ("premix", "2", premix))
    assert (stock, premix, toner) == ("sto-260301-at-a", "pre-260302-at-a", "ton-260303-at-a")
    return here


def test_a_lot_is_found_however_deep_with_exact_grams(chain):
    (found,) = chain("lot", "SB-7", "--json").data["lots"]
    assert (found["material"], found["use_by"], found["grams_left"]) == ("benzoate", "2026-06-30", "80")
    uses = [(u["trial"], u["grams"], u["through"]) for u in found["uses"]]
    assert uses == [
        ("sto-260301-at-a", "30", []),
        ("pre-260302-at-a", "24", ["sto-260301-at-a"]),  # 30 % of 80 g
        ("ton-260303-at-a", "0.48", ["pre-260302-at-a", "sto-260301-at-a"]),  # 24 % of 2 g
    ]
    shown = chain("lot", "SB-7").out
    assert "It went into 3 batches, through premixes too:" in shown
    assert "in sto-260301-at-a, which is in pre-260302-at-a: ton-260303-at-a" in " ".join(shown.split())


def test_every_lot_in_a_batch_and_where_it_went_itself(chain):
    data = chain("lot", "ton-260303", "--json").data
    held = {(h["material"], h["lot"], tuple(h["through"])): h["grams"] for h in data["holds"]}
    assert held["propanediol", "PD-114", ()] == "3"
    assert held["benzoate", "SB-7", ("pre-260302-at-a", "sto-260301-at-a")] == "0.48"
    assert held["water", "W-1", ("pre-260302-at-a", "sto-260301-at-a")] == "1.12"  # 70 % of 80 % of 2 g
    assert held["water", "W-1", ("pre-260302-at-a",)] == "0.15"
    assert data["uses"] == []
    premix = chain("lot", "pre-260302-at-a", "--json").data
    assert [(u["trial"], u["grams"]) for u in premix["uses"]] == [("ton-260303-at-a", "2")]
    assert [u["trial"] for u in chain("lot", "sto-260301-at-a", "--json").data["uses"]] == ["pre-260302-at-a", "ton-260303-at-a"]


def test_water_that_left_a_premix_does_not_come_along(chain):
    """10 g of the 70 g of water evaporated: 80 g of what is left hold 30/90 of benzoate and 60/90 of water."""
    other = make(chain, "stock", "2026-03-04", ("water", "70", "W-9"), ("benzoate", "30", "SB-8"))
    chain("trial", "lost", other, "10", "--at", "2026-03-04 10:02")
    premix = make(chain, "premix", "2026-03-05", ("stock", "45", other))
    held = {(h["material"], h["lot"]): h["grams"] for h in chain("lot", premix, "--json").data["holds"]}
    assert held == {("stock", other): "45", ("water", "W-9"): "30", ("benzoate", "SB-8"): "15"}


def test_the_premix_enters_as_it_was_made_and_not_as_planned(chain):
    shares = {row["inci"]: F(row["percent"]) for row in chain("sheet", "ton-260303", "--json").data["composition"]}
    assert shares["Sodium Benzoate"] == F("0.48")  # planned: 25 % of 80 % of 2 g, 0.40
    assert shares["Potassium Sorbate"] == F("0.25")
    planned = {row["inci"]: F(row["percent"]) for row in chain("sheet", "toner", "--json").data["composition"]}
    assert planned["Sodium Benzoate"] == F("0.4")
    changed = {row["inci"]: F(row["points"]) for row in chain("diff", "toner.1", "ton-260303", "--json").data["composition"]}
    assert changed["Sodium Benzoate"] == F("0.08")


def test_two_batches_of_one_premix_are_mixed_by_their_grams(chain):
    other = make(chain, "premix", "2026-03-04", ("stock", "80", ""), ("sorbate", "12.50", ""), ("water", "7.50", ""))
    toner = make(
        chain, "toner", "2026-03-05", ("water", "95", ""), ("prop", "3", ""), ("premix", "1", "pre-260302-at-a"), ("premix", "1", other)
    )
    shares = {row["inci"]: F(row["percent"]) for row in chain("sheet", toner, "--json").data["composition"]}
    assert shares["Sodium Benzoate"] == F("0.24") + F("0.20")  # no batch of the stock named in the second: its plan, 25 %


def test_without_a_batch_the_plan_counts_as_it_was_then(here, studio):
    toner = make(here, "toner", "2026-03-03", ("water", "95", ""), ("prop", "3", ""), ("premix", "2", ""))
    here("set", "premix", "sorbate=20", "--reason", "stronger")
    shares = {row["inci"]: F(row["percent"]) for row in here("sheet", toner, "--json").data["composition"]}
    assert shares["Potassium Sorbate"] == F("0.25")


def test_a_corrected_entry_moves_the_lot(chain):
    entry = next(e for e in chain("trial", "show", "ton-260303", "--json").data["entries"] if e["of"] == "propanediol")["id"]
    chain("trial", "weighed", "ton-260303", "prop", "3", "--lot", "PD-115", "--corrects", entry)
    assert "no lot" in chain("lot", "PD-114", code=2).err
    assert chain("lot", "PD-115", "--json").data["lots"][0]["uses"][0]["trial"] == "ton-260303-at-a"


def test_case_beginnings_and_suggestions(chain):
    assert chain("lot", "sb-7", "--json").data["lots"][0]["lot"] == "SB-7"
    assert chain("lot", "PD", "--json").data["lots"][0]["lot"] == "PD-114"
    assert "is the beginning of 2 lots: W-1, W-2" in chain("lot", "W-", code=2).err
    assert "did you mean PD-114 or PS-1?" in chain("lot", "PD-141", code=2).err
    assert "no lot" in chain("lot", "SB-7", "--material", "water", code=2).err


def test_one_number_of_several_materials(chain):
    chain("trial", "weighed", make(chain, "toner", "2026-03-08"), "water", "95", "--lot", "PD-114")
    found = chain("lot", "PD-114", "--json").data["lots"]
    assert sorted(f["material"] for f in found) == ["propanediol", "water"]
    assert [f["material"] for f in chain("lot", "PD-114", "--material", "water", "--json").data["lots"]] == ["water"]


def test_no_lot_noted_and_a_lot_past_its_day(here, studio):
    id = make(here, "stock", "2026-07-01", ("water", "75", ""), ("benzoate", "25", "SB-7"))
    assert "no lot noted" in here("lot", id).out
    (found,) = here("lot", "SB-7", "--json").data["lots"]
    assert found["uses"][0]["past_use_by"] == "2026-06-30"
    assert "used after its last day, 2026-06-30" in here("lot", "SB-7").out


def test_a_ring_is_told_and_not_followed(chain):
    chain("trial", "added", "sto-260301", "premix", "1", "--lot", "pre-260302-at-a", "--sure")
    result = chain("lot", "SB-7")
    assert "a batch stands inside itself" in result.err
    assert "ton-260303-at-a" in result.out
    assert "a batch stands inside itself" in chain("sheet", "sto-260301", code=2).err


def test_a_record_that_cannot_be_read_hinders_nobody(chain, studio):
    studio.write("trials/toner/bad.toml", "format = 1\nplan = 3\n")
    result = chain("lot", "SB-7")
    assert "ton-260303-at-a" in result.out
    assert "trials/toner/bad.toml" in result.err


def test_nothing_on_record(here):
    assert "did you mean SB-7?" in here("lot", "SB-9", code=2).err
    assert "It went into no batch." in here("lot", "SB-7").out


# --- on the weigh sheet -----------------------------------------------------------------------------


def test_age_and_last_day_of_a_premix_stand_on_the_weigh_sheet(here, studio):
    today = datetime.date.today()
    day = today - datetime.timedelta(days=12)
    old = make(here, "premix", "2026-03-02", ("stock", "80", ""), ("sorbate", "12.50", ""), ("water", "7.50", ""))
    new = make(here, "premix", str(day), ("stock", "80", ""), ("sorbate", "12.50", ""), ("water", "7.50", ""))
    yesterday = str(today - datetime.timedelta(days=1))  # ten o'clock today may be still to come
    aside = make(here, "premix", yesterday, ("stock", "80", ""))
    here("trial", "close", aside, "--verdict", "set-aside", "--because", "cloudy")
    make(here, "toner", yesterday, ("premix", "1.50", new))
    (offer,) = here("weigh", "toner", "--batch", "100g", "--json").data["lots"]
    until = str(day + datetime.timedelta(days=30))
    assert offer["batches"] == [{"batch": new, "made_on": str(day), "age_days": 12, "use_by": until, "grams": "98.5"}]
    assert (offer["use"], offer["expired"], offer["short_g"]) == ([new], [old], "0")
    said = " ".join(here("weigh", "toner", "--batch", "100g").out.split())
    assert f"premix: batch {new}, 12 days old, use by {until}, 98.5 g left" in said
    assert f"premix: lot {old} is past its day (2026-04-01): do not use it" in said
    assert "100 g needed, 98.5 g on the shelf" in " ".join(here("weigh", "toner", "--batch", "5kg").out.split())


def test_a_batch_that_is_noted_late_asks_by_the_day_of_use(here):
    old = make(here, "premix", "2026-03-02", ("stock", "80", ""))
    toner = make(here, "toner", "2026-03-20")
    here("trial", "weighed", toner, "premix", "2", "--lot", old, "--at", "2026-04-01 10:00")
    assert "is past its last day" in here("trial", "added", toner, "premix", "2", "--lot", old, "--at", "2026-04-02", code=2).err


def test_a_premix_past_its_day_or_not_fit_is_asked_about(here):
    old = make(here, "premix", "2026-03-02", ("stock", "80", ""))
    toner = make(here, "toner", str(datetime.date.today() - datetime.timedelta(days=1)))
    assert "is past its last day, 2026-04-01" in here("trial", "weighed", toner, "premix", "2", "--lot", old, code=2).err
    here("trial", "close", old, "--verdict", "repeat", "--because", "crystals")
    assert f"{old} was closed as repeat" in here("trial", "weighed", toner, "premix", "2", "--lot", old, code=2).err
    here("trial", "weighed", toner, "premix", "2", "--lot", old, "--sure")
    assert [d["kind"] for d in here("trial", "show", toner, "--json").data["deviations"]] == ["lot"]


# --- a law ------------------------------------------------------------------------------------------


def batch(id: str, formula: str, *weights: tuple[str, F, str]) -> Trial:
    entries = tuple(Entry(f"{id}-{n}", MARCH, "weighed", m, grams=g, phase="A", lot=lot) for n, (m, g, lot) in enumerate(weights))
    return Trial(id=id, formula=formula, plan=f"{formula}.1", plan_id="", batch="100 g", scale="0.01 g", asked=(), entries=entries)


grams = st.integers(1, 5000).map(lambda n: F(n, 100))


@given(st.lists(st.tuples(grams, st.lists(st.tuples(st.integers(0, 9), grams), max_size=3)), min_size=1, max_size=8))
def test_law_what_was_weighed_of_a_lot_is_in_the_end_products_or_left_in_premixes(layers):
    """Each batch takes some of lot L itself and some of earlier batches, as much as they still have; nothing is lost."""
    trials: list[Trial] = []
    left: dict[str, F] = {}
    for n, (own, takes) in enumerate(layers):
        weights = [("salt", own, "L")]
        for pick, wanted in takes:
            if trials:
                source = trials[pick % len(trials)]
                taken = min(wanted, left[source.id])
                if taken > 0:
                    left[source.id] -= taken
                    weights.append((source.formula, taken, source.id))
        trials.append(batch(f"b{n}", f"f{n}", *weights))
        left[f"b{n}"] = sum(g for _, g, _ in weights)
    ledger = Ledger(trials)
    in_it = {t.id: sum((h.grams for h in ledger.held(t.id) if (h.material, h.lot) == ("salt", "L")), F(0)) for t in trials}
    whole = {t.id: sum(e.grams for e in t.entries) for t in trials}
    there = sum(in_it[id] * left[id] / whole[id] for id in left)
    assert there == sum(own for own, _ in layers)
    assert not ledger.rings
