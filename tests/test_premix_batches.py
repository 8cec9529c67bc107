"""Premixes made in-house as lots: several ways into one batch, records that contradict themselves, what is left on the shelf."""

import datetime
import inspect
import sys
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fvc.lots import Held, Ledger
from fvc.trial import Entry, Trial

TODAY = datetime.date.today()


@pytest.fixture
def here(studio, run_in):
    """A toner with a preservative premix in it, made of benzoate in water."""
    studio.material("benzoate", "preservative", {"Sodium Benzoate": 100}, 'supplier = "supplier B"\n')
    with (studio.root / "materials/benzoate.toml").open("a") as file:
        file.write('[[lot]]\nnumber = "SB-7"\nreceived = 2026-01-10\nuse_by = 2026-03-01\ngrams = 80\n')
    studio.formula("premix", {"A": {"benzoate": "30.00", "water": "balance"}}, extra='keeps = "30 days"\n')
    studio.formula("toner", {"A": {"water": "balance"}, "B": {"premix": "4.00"}})
    return run_in(studio.root)


def write(studio, id: str, formula: str, *entries: str, head: str = "") -> str:
    """The record of a batch as a file. An entry: `03-02 weighed water 75 W-1`, day, action, its value, grams and lot."""
    day = entries[0].split()[0] if entries else "03-02"
    text = f'format = 1\nplan = "{formula}, not saved"\nbatch = "100 g"\nscale = "0.01 g"\nby = "Ada Test"\n'
    text += f'started = 2026-{day}T09:00:00+01:00\n{head}asked = [{{ phase = "A", material = "water", open = true }}]\n'
    for number, entry in enumerate(entries):
        day, action, value, *rest = entry.split()
        text += f'\n[[entry]]\nid = "{id}-{number}"\nat = 2026-{day}T10:00:00+01:00\n{action} = "{value}"\nphase = "A"\n'
        text += "".join(f"{key} = {v}\n" for key, v in zip(("grams", "lot"), [*rest[:1], *(f'"{r}"' for r in rest[1:])], strict=False))
    studio.write(f"trials/{formula}/{id}.toml", text)
    return id


def uses_of(here, lot: str, *more: str) -> list[tuple[str, str | None, list[str]]]:
    (found,) = here("lot", lot, *more, "--json").data["lots"]
    return [(u["trial"], u["grams"], u["through"]) for u in found["uses"]]


def flat(text: str) -> str:
    return " ".join(text.split())


# --- several ways ---------------------------------------------------------------------------------------


def test_one_lot_by_three_ways_into_one_batch_is_one_row_with_their_sum(here, studio):
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed benzoate 30 SB-7", "02-25 weighed water 70 W-1")
    write(studio, "pre-260226-at-a", "premix", "02-26 weighed benzoate 20 SB-7", "02-26 weighed water 80")
    entries = ("weighed premix 2 pre-260225-at-a", "weighed premix 3 pre-260226-at-a", "weighed benzoate 0.50 SB-7", "weighed water 94.5")
    write(studio, "ton-260227-at-a", "toner", *(f"02-27 {e}" for e in entries), head="for_sale = true\n")
    assert uses_of(here, "SB-7") == [
        ("pre-260225-at-a", "30", []),
        ("pre-260226-at-a", "20", []),
        ("ton-260227-at-a", "0.6", ["pre-260225-at-a"]),
        ("ton-260227-at-a", "0.6", ["pre-260226-at-a"]),
        ("ton-260227-at-a", "0.5", []),
    ]
    assert here("lot", "SB-7").out == (
        "SB-7   benzoate\n"
        "  benzoate, from supplier B, received 2026-01-10, use by 2026-03-01, 80.00 g\n"
        "  left by its record\n"
        "  It went into 3 batches, through premixes too:\n"
        "    batch            made from          made            g  state\n"
        "    pre-260225-at-a  premix, not saved  2026-02-25  30.00  made, 0 looks\n"
        "    pre-260226-at-a  premix, not saved  2026-02-26  20.00  made, 0 looks\n"
        "    ton-260227-at-a  toner, not saved   2026-02-27   1.70  made, 0 looks, for\n"
        "                                                           sale\n"
        "    weighed itself: pre-260225-at-a, pre-260226-at-a, ton-260227-at-a (0.50 g)\n"
        "    in pre-260225-at-a: ton-260227-at-a (0.60 g)\n"
        "    in pre-260226-at-a: ton-260227-at-a (0.60 g)\n"
        "  Made by Ada Test (at)\n"
    )
    inside = here("lot", "ton-260227-at-a").out
    assert inside.startswith("ton-260227-at-a   made from toner, not saved\n  made on 2026-02-27, by Ada Test, made, 0 looks, for sale\n")
    assert "    water     no lot noted      2.40  pre-260226-at-a\n" in inside
    assert " g left" not in inside  # what became of a product is not in these records
    premix = here("lot", "pre-260225-at-a")
    assert "98.00 g left" in premix.out
    assert "It went into 1 batch:" in premix.out


def test_the_grams_of_a_lot_are_those_of_the_composition(here, studio):
    """A premix with a slip (32 for 30), lost water and a spill: both ways of looking agree to the last digit."""
    premix = ("weighed benzoate 32 SB-7", "weighed water 52 W-1", "lost water 4", "spilled some 16")
    write(studio, "pre-260225-at-a", "premix", *(f"02-25 {e}" for e in premix))
    write(studio, "ton-260227-at-a", "toner", "02-27 weighed water 96", "02-27 weighed premix 4 pre-260225-at-a")
    by_lot = {u[0]: F(u[1]) for u in uses_of(here, "SB-7")}
    shares = {row["inci"]: F(row["percent"]) for row in here("sheet", "ton-260227-at-a", "--json").data["composition"]}
    assert by_lot["ton-260227-at-a"] == shares["Sodium Benzoate"]  # of 100 g
    assert by_lot["ton-260227-at-a"] == F("1.6")  # 32 of 80 g: the spill took its share of all, the water left alone


def test_a_last_day_that_had_passed_is_told_where_the_premix_went_too(here, studio):
    write(studio, "pre-260302-at-a", "premix", "03-02 weighed benzoate 30 SB-7", "03-02 weighed water 70", head="use_by = 2026-04-01\n")
    write(studio, "ton-260401-at-a", "toner", "04-01 weighed premix 4 pre-260302-at-a")
    write(studio, "ton-260402-at-a", "toner", "04-02 weighed premix 4 pre-260302-at-a")
    write(studio, "pre-260301-at-a", "premix", "03-01 weighed benzoate 30 SB-7")
    (found,) = here("lot", "SB-7", "--json").data["lots"]
    assert {u["trial"]: u["past_use_by"] for u in found["uses"]} == {
        "pre-260301-at-a": None,  # on its last day
        "pre-260302-at-a": "2026-03-01",
        "ton-260401-at-a": "2026-03-01",
        "ton-260402-at-a": "2026-03-01",
    }
    assert "ton-260401-at-a in pre-260302-at-a: used after its last day, 2026-03-01" in here("lot", "SB-7").out
    of_premix = here("lot", "pre-260302-at-a", "--json").data
    assert [(u["trial"], u["past_use_by"]) for u in of_premix["uses"]] == [("ton-260401-at-a", None), ("ton-260402-at-a", "2026-04-01")]
    assert "premix, lot pre-260302-at-a: used after its last day, 2026-04-01" in here("lot", "ton-260402-at-a").out
    assert "benzoate, lot SB-7 in pre-260302-at-a: used after its last day, 2026-03-01" in here("lot", "ton-260402-at-a").out


def test_a_batch_noted_in_capitals_or_under_another_name_is_still_that_batch(here, studio):
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed benzoate 30 SB-7", "02-25 weighed water 70")
    write(studio, "ton-260226-at-a", "toner", "02-26 weighed premix 4 PRE-260225-AT-A")
    write(studio, "ton-260227-at-a", "toner", "02-27 weighed old-premix 5 pre-260225-at-a")
    assert uses_of(here, "SB-7")[1:] == [
        ("ton-260226-at-a", "1.2", ["pre-260225-at-a"]),
        ("ton-260227-at-a", "1.5", ["pre-260225-at-a"]),
    ]
    data = here("lot", "PRE-260225", "--json").data
    assert [u["trial"] for u in data["uses"]] == ["ton-260226-at-a", "ton-260227-at-a"]
    assert data["grams_left"] == "91"


# --- which one is meant ---------------------------------------------------------------------------------


def test_a_lot_as_typed_comes_before_other_capitals_and_beginnings(here, studio):
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed water 70 pre-26", "02-25 weighed benzoate 30 sb-7")
    assert here("lot", "pre-26", "--json").data["lots"][0]["lot"] == "pre-26"  # a lot of water, and the beginning of a batch
    assert here("lot", "PRE-26", "--json").data["lots"][0]["lot"] == "pre-26"
    assert here("lot", "PRE-260", "--json").data["trial"] == "pre-260225-at-a"
    assert '"pr" is the beginning of 2 lots and batches: pre-26, pre-260225-at-a' in here("lot", "pr", code=2).err
    assert uses_of(here, "SB-7") == []
    assert "Noted in other capitals too, and not counted here: sb-7" in here("lot", "SB-7").out
    assert uses_of(here, "sb-7") == [("pre-260225-at-a", "30", [])]
    assert len(here("lot", "Sb-7", "--json").data["lots"]) == 2


def test_a_material_narrows_by_its_beginning_and_a_premix_is_one(here, studio):
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed water 70 SB-7", "02-25 weighed benzoate 30 SB-7")
    assert uses_of(here, "SB-7", "--material", "wat") == [("pre-260225-at-a", "70", [])]
    (found,) = here("lot", "pre-2", "--material", "premix", "--json").data["lots"]
    assert (found["lot"], found["batch"], found["grams_left"], found["uses"]) == ("pre-260225-at-a", "pre-260225-at-a", "100", [])
    assert "a batch made on 2026-02-25, 100.00 g left" in here("lot", "pre-2", "--material", "premix").out
    assert 'no lot "SB-7" of toner' in here("lot", "SB-7", "--material", "toner", code=2).err


def test_the_nearest_is_named_whatever_its_capitals(here, studio):
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed water 70 W-1")
    assert "next: did you mean SB-7?" in here("lot", "sb-9", code=2).err
    assert "next: did you mean pre-260225-at-a?" in here("lot", "PRE-260226-AT-A", code=2).err
    assert "next: lots on record: SB-7, W-1, pre-260225-at-a" in here("lot", "?", code=2).err


# --- records that contradict themselves ----------------------------------------------------------------


def test_a_premix_that_cannot_be_worked_out_hides_no_batch(here, studio):
    """More water lost than went in: whose fault is open, but the lot did go on into the toner."""
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed benzoate 30 SB-7", "02-25 weighed water 40", "02-25 lost water 50")
    write(studio, "ton-260227-at-a", "toner", "02-27 weighed premix 4 pre-260225-at-a")
    assert uses_of(here, "SB-7") == [("pre-260225-at-a", "30", []), ("ton-260227-at-a", None, ["pre-260225-at-a"])]
    result = here("lot", "SB-7")
    assert "ton-260227-at-a toner, not saved 2026-02-27 not known made, 0 looks" in flat(result.out)
    assert "trials/premix/pre-260225-at-a.toml: pre-260225-at-a: what is in it cannot be worked out: entry pre-260225-at-a-2:" in result.err
    assert result.err.count("cannot be worked out") == 1
    assert here("lot", "pre-260225-at-a").err.count("cannot be worked out") == 1
    weighing = here("weigh", "toner", "--json")
    assert weighing.data["lots"] == []
    assert "pre-260225-at-a: what is in it cannot be worked out" in weighing.err


def test_a_ring_counts_nothing_twice_wherever_one_comes_in(here, studio):
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed benzoate 30 SB-7", "02-25 weighed toner 10 ton-260227-at-a")
    write(studio, "ton-260227-at-a", "toner", "02-27 weighed benzoate 6 SB-7", "02-27 weighed premix 4 pre-260225-at-a")
    result = here("lot", "SB-7", "--json")
    assert [(u["trial"], u["grams"], u["through"]) for u in result.data["lots"][0]["uses"]] == [
        ("pre-260225-at-a", "30", []),
        ("pre-260225-at-a", "6", ["ton-260227-at-a"]),
        ("ton-260227-at-a", "6", []),
        ("ton-260227-at-a", "3", ["pre-260225-at-a"]),
    ]
    assert result.err.count("a batch stands inside itself") == 1
    assert "pre-260225-at-a -> ton-260227-at-a -> pre-260225-at-a" in result.err


def test_a_batch_that_names_itself(here, studio):
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed benzoate 30 SB-7", "02-25 weighed premix 5 pre-260225-at-a")
    result = here("lot", "pre-260225-at-a", "--json")
    assert [(h["material"], h["grams"]) for h in result.data["holds"]] == [("benzoate", "30"), ("premix", "5")]
    assert "pre-260225-at-a -> pre-260225-at-a" in result.err


def test_a_record_that_cannot_be_read_is_named_and_still_found_as_a_lot(here, studio):
    studio.write("trials/premix/pre-260225-at-a.toml", "format = 1\nplan = 3\n")
    write(studio, "ton-260227-at-a", "toner", "02-27 weighed premix 4 pre-260225-at-a")
    result = here("lot", "pre-2", "--json")
    assert [u["trial"] for u in result.data["lots"][0]["uses"]] == ["ton-260227-at-a"]
    assert "trials/premix/pre-260225-at-a.toml" in result.err
    assert "trials/premix/pre-260225-at-a.toml" in here("lot", "nothing", code=2).err
    assert "trials/premix/pre-260225-at-a.toml" in here("weigh", "toner").err


def test_one_id_in_two_folders_is_told(here, studio):
    for formula in ("premix", "toner"):
        write(studio, "pre-260225-at-a", formula, f"02-25 weighed benzoate 30 {formula}-lot")
    assert "pre-260225-at-a stands in trials/premix too, and only that one is searched" in here("lot", "premix-lot").err


def test_each_record_is_parsed_once(here, studio, monkeypatch):
    from fvc.files import trials

    read: list[str] = []
    real = trials.read_trial
    monkeypatch.setattr(trials, "read_trial", lambda data, name, *more: read.append(name) or real(data, name, *more))
    write(studio, "pre-260225-at-a", "premix", "02-25 weighed benzoate 30 SB-7")
    write(studio, "ton-260227-at-a", "toner", "02-27 weighed premix 4 pre-260225-at-a")
    for arguments in (("lot", "SB-7"), ("lot", "pre-260225-at-a"), ("weigh", "toner")):
        read.clear()
        here(*arguments)
        assert sorted(read) == ["trials/premix/pre-260225-at-a.toml", "trials/toner/ton-260227-at-a.toml"], arguments


# --- on the weigh sheet ---------------------------------------------------------------------------------


def batch_on(studio, days_ago: int, letter: str, *entries: str, keeps: int | None = 30) -> str:
    """A premix batch made some days before today; 50 g unless entries say otherwise."""
    day = TODAY - datetime.timedelta(days=days_ago)
    id = f"pre-{day:%y%m%d}-at-{letter}"
    until = f"use_by = {day + datetime.timedelta(days=keeps)}\n" if keeps is not None else ""
    write(studio, id, "premix", *(f"03-02 {e}" for e in entries or ("weighed water 50",)), head=until)
    for moment in ("T09:00", "T10:00"):
        text = studio.read(f"trials/premix/{id}.toml")
        studio.write(f"trials/premix/{id}.toml", text.replace(f"2026-03-02{moment}", f"{day}{moment}"))
    return id


def shelf(here, batch: str = "100g"):
    """What the weigh sheet of the toner says of its premix, 4 % of the batch; None for nothing."""
    found = here("weigh", "toner", "--batch", batch, "--json").data["lots"]
    return found[0] if found else None


def test_the_oldest_usable_batch_comes_first_and_the_next_when_it_is_not_enough(here, studio):
    young, old = batch_on(studio, 3, "a"), batch_on(studio, 20, "a")
    assert shelf(here)["use"] == [old]
    both = shelf(here, "1500g")  # 60 g of it
    assert both["use"] == [old, young]
    assert [(b["batch"], b["age_days"], b["grams"]) for b in both["batches"]] == [(old, 20, "50"), (young, 3, "50")]
    assert both["short_g"] == "0"
    assert shelf(here, "3kg")["short_g"] == "20"
    said = flat(here("weigh", "toner", "--batch", "3kg").out)
    assert f"premix: {old} (50 g), then {young} (50 g)" in said
    assert f"premix: batch {young}, 3 days old, use by {TODAY + datetime.timedelta(days=27)}, 50 g left" in said
    assert "premix is short: 120 g needed, 100 g on the shelf that may be used, 20 g missing" in said


def test_the_last_day_itself_is_still_good_and_the_next_is_not(here, studio):
    gone, last = batch_on(studio, 31, "a"), batch_on(studio, 30, "a")
    found = shelf(here)
    assert (found["use"], found["expired"]) == ([last], [gone])


@pytest.mark.parametrize(
    ("verdict", "offered"),
    [("keep", True), ("choose", True), ("release", True), ("set aside", False), ("repeat", False), ("reject", False), ("hold", False)],
)
def test_the_verdict_decides_whether_a_batch_is_offered(here, studio, verdict, offered):
    id = batch_on(studio, 1, "a", "weighed water 50", "closed VERDICT")
    studio.edit(f"trials/premix/{id}.toml", '"VERDICT"', f'"{verdict}"')
    assert (shelf(here) is not None) == offered


def test_a_batch_of_which_nothing_was_weighed_is_not_offered(here, studio):
    batch_on(studio, 1, "a", "noted begun")
    assert shelf(here) is None


def test_what_is_left_counts_losses_samples_the_scale_and_what_others_took(here, studio):
    entries = ("weighed benzoate 30", "weighed water 70", "lost water 4", "spilled some 2", "bulk whole 93", "sampled some 5")
    id = batch_on(studio, 5, "a", *entries)
    assert shelf(here)["batches"][0]["grams"] == "88"  # the scale found 93 where 94 should be, and a sample went
    write(studio, "ton-260302-at-a", "toner", f"03-02 weighed premix 80 {id}")
    assert shelf(here)["batches"][0]["grams"] == "8"
    write(studio, "ton-260303-at-a", "toner", f"03-03 added premix 8 {id}")
    used_up = shelf(here)
    assert (used_up["use"], used_up["short_g"]) == ([], "4")
    write(studio, "ton-260304-at-a", "toner", f"03-04 weighed premix 1 {id}")
    assert "1.00 g more used than there was" in flat(here("lot", id).out)
    assert shelf(here)["short_g"] == "4"


def test_a_batch_without_a_last_day_says_its_age_alone(here, studio):
    id = batch_on(studio, 1, "a", keeps=None)
    assert f"premix: batch {id}, 1 day old, 50 g left" in flat(here("weigh", "toner", "--batch", "100g").out)


# --- laws -----------------------------------------------------------------------------------------------

NOON = datetime.datetime.fromisoformat("2026-03-01T12:00:00+01:00")


def batch(id: str, formula: str, *entries: tuple[str, str, F, str]) -> Trial:
    """A batch of (action, value, grams, lot)."""
    made = tuple(Entry(f"{id}-{n}", NOON, a, v, grams=g, phase="A", lot=lot) for n, (a, v, g, lot) in enumerate(entries))
    return Trial(id=id, formula=formula, plan=f"{formula}.1", plan_id="", batch="100 g", scale="0.01 g", asked=(), entries=made)


grams = st.integers(1, 5000).map(lambda n: F(n, 100))
parts = st.integers(0, 99).map(lambda n: F(n, 100))


@given(
    st.lists(st.tuples(grams, grams, parts, parts, st.lists(st.tuples(st.integers(0, 9), parts), max_size=3)), min_size=1, max_size=7),
    st.randoms(use_true_random=False),
)
def test_law_a_lot_is_in_the_end_products_the_rests_the_samples_or_what_was_lost(layers, random):
    """Each batch takes salt of lot L, water and of earlier batches; some salt is lost, a sample is taken. In the end all rests go into one."""
    trials: list[Trial] = []
    left: dict[str, F] = {}
    taken_out: dict[str, F] = {}
    lost = weighed = F(0)
    for n, (salt, water, loss, sample, takes) in enumerate(layers):
        entries = [("weighed", "salt", salt, "L"), ("weighed", "water", water, "")]
        for pick, part in takes:
            if trials:
                source = trials[pick % len(trials)]
                taken = left[source.id] * part
                if taken > 0:
                    left[source.id] -= taken
                    entries.append(("weighed", source.formula, taken, source.id))
        whole = sum((g for _, _, g, _ in entries), F(0))
        gone = salt * loss
        if gone:
            entries.append(("lost", "salt", gone, ""))
        sampled = (whole - gone) * sample
        if sampled:
            entries.append(("sampled", "some", sampled, ""))
        trials.append(batch(f"b{n}", f"f{n}", *entries))
        left[f"b{n}"], taken_out[f"b{n}"] = whole - gone - sampled, sampled
        lost, weighed = lost + gone, weighed + salt
    rests = batch("rests", "r", *(("weighed", f"f{id[1:]}", g, id) for id, g in left.items() if g))
    samples = batch("samples", "s", *(("weighed", f"f{id[1:]}", g, id) for id, g in taken_out.items() if g))
    everything = [*trials, rests, samples]
    random.shuffle(everything)  # in whatever order the folder gives them
    ledger = Ledger(everything)
    found = sum((h.grams or F(0) for id in ("rests", "samples") for h in ledger.held(id) if h.lot == "L"), F(0))
    assert found == weighed - lost
    assert not ledger.rings
    assert not ledger.problems
    assert all(ledger.left(id) == taken_out[id] * -1 for id in left)  # the sink took the samples too, which the account had taken out


def test_leftovers_that_go_from_batch_to_batch_for_years():
    """Each batch takes up what was left of the one before: however many they are, the youngest is not followed down step by step."""
    trials = [batch("b0", "f", ("weighed", "salt", F(1), "L"), ("weighed", "water", F(99), ""))]
    trials += [batch(f"b{n}", "f", ("weighed", "f", F(50), f"b{n - 1}"), ("weighed", "water", F(50), "")) for n in range(1, 150)]
    before = sys.getrecursionlimit()
    sys.setrecursionlimit(len(inspect.stack()) + 100)
    try:
        held = Ledger(trials).held("b149")
    finally:
        sys.setrecursionlimit(before)
    assert [h for h in held if h.lot == "L"] == [Held("salt", "L", F(1, 2**149), tuple(f"b{n}" for n in range(148, -1, -1)))]
