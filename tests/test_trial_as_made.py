"""What is in the beaker: slips, late acid, lost water, spills, samples and corrections (cases 2, 3, 4 and 7)."""

import datetime
from fractions import Fraction as F

import pytest

from fvc.amounts import fixed
from fvc.bench import as_made
from fvc.errors import Refusal
from fvc.files.trials import read_trial
from fvc.trial import Asked, Entry, Trial

# Toner T at 180 g, exact: computed from its percents.
EXACT = {
    ("A", "water"): F("162.756"),
    ("A", "propanediol"): F("5.40"),
    ("A", "betaine"): F("2.70"),
    ("A", "panthenol-75"): F("2.16"),
    ("A", "rice-protein-25"): F("1.44"),
    ("B", "polysorbate-20"): F("2.88"),
    ("B", "neroli-oil"): F("0.72"),
    ("C", "preservative-blend"): F("1.62"),
    ("C", "lactic-acid-80"): F("0.324"),
}
ASKED = tuple(Asked(phase, material, grams / F("1.8"), grams) for (phase, material), grams in EXACT.items())
MORNING = datetime.datetime.fromisoformat("2026-03-01T10:00:00+01:00")

Step = tuple[str, str, str]  # action, subject, grams


def trial(*steps: Step | dict) -> Trial:
    """A batch of toner T in which these things happened, in this order."""
    entries = []
    for number, step in enumerate(steps):
        at = MORNING + datetime.timedelta(minutes=number)
        if isinstance(step, tuple):
            action, subject, grams = step
            step = {"action": action, "subject": subject, "grams": F(grams) if grams else None}
        entries.append(Entry(**({"id": f"k7f3-{number:02}", "at": at} | step)))
    return Trial(id="k7f3", plan="toner.1", plan_id="", batch="180 g", scale="0.01 g", asked=ASKED, entries=tuple(entries))


def weighings(*, but: dict[str, str] | None = None, without: tuple[str, ...] = ()) -> list[Step]:
    """Every line of the sheet weighed exactly, but for these."""
    return [("weighed", m, (but or {}).get(m, str(float(g)))) for (_, m), g in EXACT.items() if m not in without]


def percents(made, decimals: int = 4) -> dict[str, str]:
    lines = as_made(made)
    whole = sum(line.grams for line in lines)
    return {line.material: fixed(line.grams * 100 / whole, decimals) for line in lines}


def total(made) -> F:
    return sum(line.grams for line in as_made(made))


PLAN = {m: fixed(g / F("1.8"), 4) for (_, m), g in EXACT.items()}


def test_exact_weights_give_the_plan():
    assert percents(trial(*weighings())) == PLAN
    assert [(line.phase, line.material) for line in as_made(trial(*weighings()))] == list(EXACT)


def test_the_order_of_weighing_does_not_matter():
    assert as_made(trial(*reversed(weighings()))) == as_made(trial(*weighings()))


# --- case 2 (computed) ---------------------------------------------------------------------------


def test_case_2_a_slip_moves_every_line():
    found = percents(trial(*weighings(but={"propanediol": "6.40"})))
    assert found["propanediol"] == "3.5359"
    assert found["water"] == "89.9204"
    assert found["neroli-oil"] == "0.3978"
    assert all(found[m] != PLAN[m] for m in PLAN)


# --- case 3 (computed) ---------------------------------------------------------------------------


def test_case_3_water_lost_and_not_replaced():
    made = trial(*weighings(), ("lost", "water", "6.45"))
    found = percents(made)
    assert (found["preservative-blend"], found["propanediol"], found["water"]) == ("0.9334", "3.1115", "90.0640")
    assert total(made) == F("173.55")


def test_case_3_what_restores_the_composition_after_a_sample():
    # the sample took its share of the water that was still there, so less has to come back than was lost
    water = F("6.45") * F("169.55") / F("173.55")
    assert fixed(water, 4) == "6.3013"
    happened = [*weighings(), ("lost", "water", "6.45"), ("sampled", "to the fridge", "4.00")]
    mended = trial(*happened, {"action": "replaced", "subject": "water", "grams": water})
    assert percents(mended, 8) == {m: fixed(g / F("1.8"), 8) for (_, m), g in EXACT.items()}
    # "back to the old weight" would be 10.45 g: too much water
    assert total(trial(*happened, ("replaced", "water", "10.45"))) == 180
    assert percents(trial(*happened, ("replaced", "water", "10.45"))) != PLAN


def test_case_3_a_sample_before_the_loss():
    mended = trial(*weighings(), ("sampled", "to the fridge", "4.00"), ("lost", "water", "6.45"), ("replaced", "water", "6.45"))
    assert percents(mended) == PLAN


# --- case 4 (computed) ---------------------------------------------------------------------------


def test_case_4_the_acid_goes_in_late():
    # its bottle went from 31.42 to 31.02 g
    added = F("31.42") - F("31.02")
    made = trial(*weighings(without=("lactic-acid-80",)), {"action": "added", "subject": "lactic-acid-80", "grams": added})
    found = percents(made)
    assert total(made) == F("180.076")
    assert found["lactic-acid-80"] == "0.2221"
    assert (found["water"], found["preservative-blend"]) == ("90.3818", "0.8996")
    active = next(line.grams for line in as_made(made) if line.material == "lactic-acid-80") * F("0.80") * 100 / total(made)
    assert fixed(active, 4) == "0.1777"


def test_case_4_order_counts():
    first = [*weighings(without=("lactic-acid-80",))]
    before = trial(*first, ("sampled", "pH", "4.00"), ("added", "lactic-acid-80", "0.40"))
    after = trial(*first, ("added", "lactic-acid-80", "0.40"), ("sampled", "pH", "4.00"))
    assert percents(before)["lactic-acid-80"] == "0.2272"
    assert percents(after)["lactic-acid-80"] == "0.2221"


# --- case 7 (computed) ---------------------------------------------------------------------------


def test_case_7_left_on_the_beaker_of_phase_b():
    found = percents(trial(*weighings(), ("left", "B", "0.30")))
    assert found["neroli-oil"] == "0.3673"


def test_case_7_noted_after_pouring_it_is_still_phase_b_that_was_left():
    pour = {"action": "combined", "subject": "B", "into": "A"}
    found = percents(trial(*weighings(), pour, ("left", "B", "0.30")))
    assert found == percents(trial(*weighings(), ("left", "B", "0.30")))
    late = percents(trial(*weighings(without=("lactic-acid-80",)), ("added", "lactic-acid-80", "0.324"), ("left", "B", "0.30")))
    assert late == found


def test_case_7_a_spill_of_the_finished_product_changes_nothing():
    made = trial(*weighings(), ("spilled", "on the bench", "0.30"))
    assert percents(made) == PLAN
    assert percents(made)["neroli-oil"] == "0.4000"
    assert total(made) == F("179.70")


def test_case_7_water_takes_nothing_along():
    # the third kind of loss: it leaves more of everything else behind
    assert percents(trial(*weighings(), ("lost", "water", "0.30")))["neroli-oil"] == "0.4007"


# --- beakers -------------------------------------------------------------------------------------


def test_a_spill_of_one_phase_before_the_phases_meet():
    spill = {"action": "spilled", "subject": "phase A", "grams": F("17.4456"), "phase": "A"}  # a tenth of phase A
    grams = {line.material: line.grams for line in as_made(trial(*weighings(), spill))}
    assert (grams["betaine"], grams["neroli-oil"]) == (F("2.43"), F("0.72"))


def test_phases_poured_one_into_the_other_and_that_into_a_third():
    pours = [{"action": "combined", "subject": "B", "into": "C"}, {"action": "combined", "subject": "C", "into": "A"}]
    made = trial(*weighings(), *pours, ("left", "C", "0.5544"))  # a tenth of B and C together
    grams = {line.material: line.grams for line in as_made(made)}
    assert (grams["neroli-oil"], grams["preservative-blend"], grams["betaine"]) == (F("0.648"), F("1.458"), F("2.70"))


def test_pouring_a_phase_twice_changes_nothing():
    pour = {"action": "combined", "subject": "B", "into": "A"}
    assert percents(trial(*weighings(), pour, pour)) == PLAN


def test_more_cannot_be_lost_than_was_there():
    with pytest.raises(Refusal, match=r"lost 200 g, and only 162\.756 g were there") as refused:
        as_made(trial(*weighings(), ("lost", "water", "200")))
    assert refused.value.faults[0].next


def test_nothing_weighed_yet():
    with pytest.raises(Refusal, match="nothing has been weighed yet in k7f3"):
        as_made(trial())


def test_a_material_that_was_not_on_the_sheet_comes_last():
    made = trial(*weighings(), ("added", "xanthan-gum", "0.36"))
    assert [line.material for line in as_made(made)][-1] == "xanthan-gum"
    assert percents(made)["xanthan-gum"] == "0.1996"


def test_a_material_of_two_phases_is_weighed_into_the_first_then_the_second():
    asked = (Asked("A", "propanediol", F(60), F(60)), Asked("B", "propanediol", F(40), F(40)))
    entries = tuple(Entry(id=str(n), at=MORNING, action="weighed", subject="propanediol", grams=F(g)) for n, g in enumerate((61, 39)))
    made = Trial(id="k7f3", plan="stock.1", plan_id="", batch="100 g", scale="1 g", asked=asked, entries=entries)
    assert [(line.phase, line.grams) for line in as_made(made)] == [("A", 61), ("B", 39)]


# --- corrections ---------------------------------------------------------------------------------


def test_a_correction_stands_in_the_place_of_what_it_corrects():
    slip = weighings(but={"propanediol": "6.40"})
    number = [m for _, m, _ in slip].index("propanediol")
    right = {"action": "weighed", "subject": "propanediol", "grams": F("5.40"), "corrects": f"k7f3-{number:02}"}
    assert percents(trial(*slip, right)) == PLAN


def test_a_correction_of_a_correction():
    first = {"action": "weighed", "subject": "water", "grams": F(100), "corrects": "k7f3-00"}
    second = {"action": "weighed", "subject": "water", "grams": F("162.756"), "corrects": "k7f3-09"}
    assert percents(trial(*weighings(), first, second)) == PLAN


def test_an_entry_is_taken_back_by_a_note():
    never = {"action": "noted", "subject": "that was another beaker", "corrects": "k7f3-09"}
    assert percents(trial(*weighings(), ("spilled", "phase A", "3"), never)) == PLAN
    assert total(trial(*weighings(), ("spilled", "phase A", "3"), never)) == 180


def test_a_corrected_loss_keeps_its_place_in_the_order():
    happened = [*weighings(without=("lactic-acid-80",)), ("sampled", "pH", "14.00"), ("added", "lactic-acid-80", "0.40")]
    right = {"action": "sampled", "subject": "pH", "grams": F("4.00"), "corrects": "k7f3-08"}
    assert percents(trial(*happened, right))["lactic-acid-80"] == "0.2272"


# --- the file ------------------------------------------------------------------------------------

FILE = """\
format  = 1
plan    = "toner.1"
batch   = "180 g"
scale   = "0.01 g"
asked   = [
{asked}
]

{entries}
[materials.lactic-acid-80]
function = "pH adjuster"
[materials.lactic-acid-80.composition]
"Lactic Acid" = 79.0        # this lot, by its certificate
"Aqua" = "balance"
"""


def file_of(steps: list[Step]) -> str:
    asked = "\n".join(
        f'  {{ phase = "{p}", material = "{m}", percent = {PLAN[m]}, grams = {fixed(g, 2)} }},' for (p, m), g in EXACT.items()
    )
    entries = "".join(
        f'[[entry]]\nid = "k7f3-{n:02}"\nat = 2026-03-01T10:{n:02}:00+01:00\n{action} = "{subject}"\n'
        + (f"grams = {grams}\n" if grams else "")
        + "\n"
        for n, (action, subject, grams) in enumerate(steps)
    )
    return FILE.format(asked=asked, entries=entries)


def test_case_2_from_a_trial_file(toner):
    toner.write("trials/toner/k7f3.toml", file_of([*weighings(but={"propanediol": "6.40"}), ("seen", "clear", "")]))
    sheet = toner.json("sheet", "k7f3")
    lines = {line["material"]: line for line in sheet["lines"]}
    assert (sheet["formula"], sheet["batch_g"], sheet["total_percent"], sheet["revision"]) == ("k7f3", "181", "100", None)
    assert lines["propanediol"]["percent"] == "3.5359116022"
    assert lines["propanediol"]["grams"] == "6.4"
    assert lines["water"]["percent"].startswith("89.9204")
    assert sum(F(line["percent"]) for line in sheet["lines"]) == 100
    # the records of that day, kept in the file, count; the others are today's
    assert lines["lactic-acid-80"]["active_percent"] == fixed(F("0.324") * 79 / 181, 10)
    assert lines["panthenol-75"]["function"] == "humectant"


def test_case_2_the_report_says_that_every_line_moved(toner):
    toner.write("trials/toner/k7f3.toml", file_of(weighings(but={"propanediol": "6.40"})))
    found = toner.json("diff", "toner.1", "k7f3")
    kinds = {line["material"]: line["kind"] for line in found["lines"]}
    assert kinds == {m: ("raised" if m == "propanediol" else "lowered") for m in PLAN}
    assert sum(F(line["points"]) for line in found["lines"]) == 0
    assert found["text"] == []  # a batch has no title, method or spec of its own that could differ
    # a trial alone is compared with its plan
    assert toner.json("diff", "k7f3")["lines"] == found["lines"]


def test_a_trial_answers_to_the_beginning_of_its_id(toner):
    toner.write("trials/toner/k7f3-one.toml", file_of(weighings()))
    assert toner.json("sheet", "k7f3")["formula"] == "k7f3-one"
    toner.write("trials/toner/k7f3-two.toml", file_of(weighings()))
    assert "k7f3-one, k7f3-two" in toner.refused("sheet", "k7f3")


@pytest.mark.parametrize(
    "entry, message",
    [
        ('weighed = "water"', '"weighed" needs grams'),
        ('combined = "B"', '"combined" needs the phase it went into'),
        ('weighed = "water"\nlost = "water"\ngrams = 1', "expected one action in an entry, found weighed and lost"),
        ("grams = 1", "expected one action in an entry, found none"),
        ('weighed = "water"\ngrams = 0', "a number above 0"),
        ('weighed = "water"\ngrams = 1\ncorrects = "k7f3-77"', 'no entry before this one has the id "k7f3-77"'),
    ],
)
def test_an_entry_that_says_too_little(entry, message):
    text = file_of([]).replace("[materials", f'[[entry]]\nid = "k7f3-01"\nat = 2026-03-01T10:00:00+01:00\n{entry}\n\n[materials', 1)
    parsed = read_trial(text.encode(), "trials/toner/k7f3.toml", "k7f3")
    assert parsed.value is None
    assert message in parsed.faults[0].message
    assert parsed.faults[0].line is not None


def test_two_entries_with_one_id():
    text = file_of([("weighed", "water", "100")]).replace(
        "[materials", '[[entry]]\nid = "k7f3-00"\nat = 2026-03-01T10:05:00+01:00\nweighed = "water"\ngrams = 5\n\n[materials', 1
    )
    parsed = read_trial(text.encode(), "trials/toner/k7f3.toml", "k7f3")
    assert "two entries have the id k7f3-00" in parsed.faults[0].message
