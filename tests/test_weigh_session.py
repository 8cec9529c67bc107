"""A session at the bench, answers typed one behind the other: what each does to the record. Toner T, 180 g."""

import io

import pytest

ID_END = "-at-a"


@pytest.fixture
def bench(toner, run_in, monkeypatch):
    """Begin a batch, and give what answers into a session: `bench("", "6.40", "2")`; afterwards its record as data."""
    toner.edit("formulas/toner.toml", "[phase.A]\n", '[phase.A]\nheat = "70 °C"\nhold = "15 min"\n')
    toner.edit("formulas/toner.toml", "[phase.B]\n", '[phase.B]\nadd_below = "104 °F"\n')
    here = run_in(toner.root)
    here("revise", "toner", "--reason", "heat")
    id = here("trial", "start", "toner", "--batch", "180g", "--json").data["id"]
    assert id.endswith(ID_END)

    def session(*answers: str, options: tuple[str, ...] = ()):
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{a}\n" for a in answers)))
        session.said = here("trial", "weigh", id, *options)
        return here("trial", "show", id, "--json").data

    session.here, session.id = here, id
    return session


def grams(data) -> dict[str, str]:
    return {e["of"]: e["grams"] for e in data["entries"] if e["action"] == "weighed"}


def test_enter_takes_the_target_and_a_number_is_the_actual(bench):
    data = bench("", "5.43", "342.60-339.90", "q")
    assert grams(data) == {"water": "162.76", "propanediol": "5.43", "betaine": "2.7"}
    assert data["entries"][2]["reading"] == "342.60-339.90"
    assert "PROPANEDIOL" in bench.said.out
    assert "6 of 9 lines are still to be weighed" in bench.said.out


def test_it_resumes_where_it_was(bench):
    bench("", "q")
    data = bench("", "q")
    assert list(grams(data)) == ["water", "propanediol"]


@pytest.mark.parametrize(
    ("answers", "water", "propanediol", "entries"),
    [
        (["", "6.40", "1"], "162.76", "6.4", 2),
        (["", "6.40", "2", ""], "162.76", "5.4", 3 - 1),
        (["", "6.40", "2", "5.50"], "162.76", "5.5", 3 - 1),
        (["", "4.40", "2", ""], "162.76", "5.4", 3),
    ],
)
def test_the_ways_out_of_a_slip(bench, answers, water, propanediol, entries):
    data = bench(*answers, "q")
    lines = {row["material"]: row["grams"] for row in data["lines"]}
    assert (lines["water"], lines["propanediol"]) == (water, propanediol)
    assert len([e for e in data["entries"] if e["action"] == "weighed"]) == entries


def test_an_enlarged_batch_tops_up_what_is_in(bench):
    data = bench("", "6.40", "3", "", "q")
    assert data["mass"]["theoretical"] == "213.33"
    lines = {row["material"]: (row["target_grams"], row["grams"]) for row in data["lines"]}
    assert lines["water"] == ("192.9", "192.9")
    assert lines["betaine"] == ("3.2", "0")


def test_the_difference_goes_to_the_balance_while_it_is_not_in(bench):
    bench("s", "", "q")  # not left out: the answer to the question was Enter
    bench.here("trial", "weighed", bench.id, "prop", "6.40")
    data = bench("q")
    assert data["lines"][0]["settled"] is False
    bench.here("trial", "retargeted", bench.id, "water", "161.76")
    assert bench("", "q")["lines"][0]["grams"] == "161.76"


def test_a_kilogram_where_a_gram_was_meant_is_asked_about_and_no_means_no(bench):
    data = bench("", "5.4 kg", "n", "5.40", "q")
    assert grams(data) == {"water": "162.76", "propanediol": "5.4"}
    assert [e for e in data["entries"] if e["action"] == "noted"] == []


def test_what_is_no_weight_is_asked_again(bench):
    data = bench("", "-5", "0", "abc", "5,4", "338-342", "5.40", "q")
    assert grams(data) == {"water": "162.76", "propanediol": "5.4"}
    assert bench.said.err.count("not written") == 5


def test_notes_and_lots(bench):
    data = bench("n warm day", "l W-1", "", "q")
    assert [e["of"] for e in data["entries"] if e["action"] == "noted"] == ["warm day"]
    assert next(e for e in data["entries"] if e["of"] == "water")["lot"] == "W-1"


def test_a_scale_that_is_not_tared(bench):
    data = bench("120", "282.76", "288.16", "280", "", "q", options=("--cumulative",))
    assert grams(data) == {"water": "162.76", "propanediol": "5.4", "betaine": "2.7"}
    assert "not more than" in bench.said.err


def test_heat_vessel_water_and_cooling(bench):
    bench("", "", "", "", "", "q")
    data = bench("420.00", "160F, 16", "413.55", "", "q")
    heated = next(e for e in data["entries"] if e["action"] == "heated")
    assert (heated["temperature"], heated["hold"]) == ("160F", "16 min")
    assert [(e["action"], e["of"], e["grams"]) for e in data["entries"] if e["action"] in ("lost", "replaced")] == [
        ("lost", "water", "6.45"), ("replaced", "water", "6.45"),
    ]  # fmt: skip


def test_the_vessel_behind_the_heating_is_asked_for_after_a_break(bench):
    bench("", "", "", "", "", "420.00", "", "", "q")
    data = bench("413.55", "0", "q")
    assert data["mass"]["lost"] == "6.45"
    assert [d["kind"] for d in data["deviations"]] == ["loss"]


def test_to_the_end(bench):
    answers = ["", "", "", "", "", "", "", "", "", "", ""]
    bench(*answers, *[""] * 12)
    data = bench.here("trial", "show", bench.id, "--json").data
    assert all(row["settled"] for row in data["lines"])
    assert data["mass"]["in"] == "180"
    assert [e["of"] for e in data["entries"] if e["action"] == "combined"] == ["B", "C"]
