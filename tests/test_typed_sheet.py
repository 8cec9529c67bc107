"""`fvc trial weigh --from`: sheets as they are typed up in a spreadsheet or an editor; taken as a whole, or not at all. Toner T at 180 g."""

import datetime
from fractions import Fraction as F

import pytest

from fvc.files.trials import read_trial
from fvc.trial import Entry
from tests.support import Result

ROWS = {
    "water": "162.76", "propanediol": "5.40", "betaine": "2.70", "panthenol-75": "2.16", "rice-protein-25": "1.44",
    "polysorbate-20": "2.88", "neroli-oil": "0.72", "preservative-blend": "1.62", "lactic-acid-80": "0.32",
}  # fmt: skip
WHOLE = "material,grams\n" + "".join(f"{m},{g}\n" for m, g in ROWS.items())


class Sheet:
    """One batch, and the sheets that are typed up of it."""

    def __init__(self, studio, here, id: str) -> None:
        self.studio, self.here, self.id = studio, here, id
        self.file = studio.root / f"trials/toner/{id}.toml"

    def takes(self, text: str | bytes, *words: str, code: int = 0) -> Result:
        """Type it up and have it taken; a sheet that is refused leaves the record byte for byte as it was."""
        self.studio.write("sheet.csv", text)
        before = self.file.read_bytes()
        result = self.here("trial", "weigh", self.id, "--from", "sheet.csv", *words, code=code)
        assert code == 0 or self.file.read_bytes() == before
        return result

    def refuses(self, text: str | bytes, *words: str) -> str:
        return self.takes(text, *words, code=2).err

    @property
    def entries(self) -> tuple[Entry, ...]:
        parsed = read_trial(self.file.read_bytes(), self.file.name, self.id)
        assert parsed.value is not None, parsed.faults
        return parsed.value.entries

    @property
    def weights(self) -> dict[str, str]:
        return {e.subject: f"{float(e.grams):.2f}" for e in self.entries if e.action == "weighed"}


@pytest.fixture
def sheet(toner, run_in) -> Sheet:
    """A batch that was begun an hour ago."""
    here = run_in(toner.root)
    began = datetime.datetime.now().astimezone() - datetime.timedelta(hours=1)
    return Sheet(toner, here, here("trial", "start", "toner", "--batch", "180g", "--at", f"{began:%Y-%m-%d %H:%M}", "--json").data["id"])


def test_the_whole_sheet(sheet):
    done = sheet.takes(WHOLE)
    assert " ".join(done.out.split()) == f"{sheet.id}: 9 weights written. To look at them: fvc trial show {sheet.id}"
    assert sheet.weights == ROWS
    assert [e.phase for e in sheet.entries] == ["A"] * 5 + ["B"] * 2 + ["C"] * 2
    assert {e.by for e in sheet.entries} == {"Ada Test"}
    assert sheet.studio.git("log", "-1", "--format=%s").strip() == f"{sheet.id}: 9 weights from a typed-up sheet"
    lines = sheet.here("sheet", sheet.id, "--json").data["lines"]
    assert [line["material"] for line in lines] == list(ROWS)
    assert all(abs(F(line["percent"]) - F(ROWS[line["material"]]) / F("1.8")) < F(1, 10**9) for line in lines)


@pytest.mark.parametrize(
    "text",
    [
        WHOLE,
        WHOLE.replace(",", ";"),
        WHOLE.replace(",", ";").replace(".", ","),
        WHOLE.replace(",", "\t"),
        WHOLE.replace(",", "\t").replace(".", ","),
        "\ufeff" + WHOLE.replace(",", ";").replace(".", ","),
        WHOLE.replace("\n", "\r\n"),
        WHOLE.replace("\n", "\n\n"),
        "\n;;\n" + WHOLE.replace(",", ";").replace("\n", ";\n"),
        WHOLE.replace("material,grams", " Material , GRAMS ").replace("water,", " WATER , "),
        'material,grams\n' + "".join(f'"{m}","{g} g"\n' for m, g in ROWS.items()),
        WHOLE.replace("162.76", "342.60-179.84"),
        WHOLE.replace(",", ";").replace("162.76", "342,60-179,84"),
        WHOLE.replace("propanediol,5.40", "prop,5400 mg"),
        "grams,lot,material\n" + "".join(f"{g},,{m}\n" for m, g in reversed(ROWS.items())),
        WHOLE.rstrip("\n"),
    ],
    ids=["comma", "semicolon", "decimal comma", "tab", "tab and decimal comma", "BOM", "CRLF", "blank rows", "blank cells", "blanks and capitals",
         "quoted, with units", "difference", "difference with commas", "beginnings and mg", "another order", "no last line end"],
)  # fmt: skip
def test_sheets_of_all_kinds_say_the_same(sheet, text):
    sheet.takes(text)
    assert sheet.weights == ROWS


def test_phase_lot_and_time(sheet):
    began = read_trial(sheet.file.read_bytes(), "x", sheet.id).value.started
    at = (began + datetime.timedelta(minutes=20)).replace(second=0)
    sheet.takes(
        f"phase,material,grams,lot,at\na,water,162.76,,{at:%H:%M}\nA,propanediol,5.40,PD-114,{at:%Y-%m-%d %H:%M}\nB,neroli,0.72,N-1,\n"
    )
    assert [(e.phase, e.lot) for e in sheet.entries] == [("A", ""), ("A", "PD-114"), ("B", "N-1")]
    assert [e.at for e in sheet.entries[:2]] == [at, at]
    assert all(e.written is not None for e in sheet.entries[:2])
    assert sheet.entries[2].written is None


def test_a_time_alone_is_of_the_day_of_the_batch(toner, run_in):
    """Typed up days later; and what is to come is refused."""
    here = run_in(toner.root)
    sheet = Sheet(toner, here, here("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-01 10:00", "--json").data["id"])
    sheet.takes("material,grams,at\nwater,162.76,10:05\npropanediol,5.40,9.70\n".replace("9.70", "10.07"))
    assert [f"{e.at:%Y-%m-%d %H:%M}" for e in sheet.entries] == ["2026-03-01 10:05", "2026-03-01 10:07"]
    said = sheet.refuses("material,grams,at\nbetaine,2.70,9:30\npanthenol,2.16,2999-01-01\nrice,1.44,25:10\nneroli,0.72,noon\n")
    assert "sheet.csv:2: 2026-03-01 09:30 is before the batch was begun (2026-03-01 10:00)" in said
    assert "sheet.csv:3: 2999-01-01 12:00 is still to come" in said
    assert 'sheet.csv:4: "2026-03-01 25:10" is no time' in said
    assert 'sheet.csv:5: "noon" is no time' in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("material,gramms\nwater,162.76\n", 'sheet.csv:1: unknown column "gramms"\n  next: did you mean grams?'),
        ("material,grams,colour\nwater,162.76,\n", 'sheet.csv:1: unknown column "colour"\n  next: columns: phase, material, grams, lot, at'),
        ("\n\nmaterial,weight\nwater,162.76\n", 'sheet.csv:3: unknown column "weight"'),
        ("material,lot\nwater,1\n", "sheet.csv:1: the first row must name the columns material and grams"),
        ("water,162.76\n", 'sheet.csv:1: unknown column "water"'),
        ("material,grams,grams\nwater,162.76,162.76\n", "sheet.csv:1: two columns are called grams"),
        ("material,grams\nwater,162,76\n", "sheet.csv:2: 3 cells, and the first row names 2 columns"),
        ('material,grams\nwater,"162,76"\n', 'sheet.csv:2: water: "162,76" is no weight: it has a comma; write "162.76" with a point'),
        ("material,grams\nglyzerin,1\n", 'sheet.csv:2: unknown material "glyzerin"'),
        ("material,grams\np,1\n", 'sheet.csv:2: "p" is the beginning of propanediol, panthenol-75, polysorbate-20, preservative-blend'),
        ("material,grams\n,1\n", 'sheet.csv:2: unknown material ""'),
        ("material,grams\nwater,162.76\n\nwater,162.70\n", "sheet.csv:4: water stands here and on line 2"),
        ("material,grams\nwater,-1\n", 'sheet.csv:2: water: "-1" is no weight: it is negative'),
        ("material,grams\nwater,0\n", "it must be more than zero"),
        ("material,grams\nwater,179.84-342.60\n", "leaves nothing: the first number is the larger one"),
        ("material,grams\nwater,____\n", 'water: "____" is no weight'),
        ("material,grams\nwater,\x1b[2J\n", r'water: "\x1b[2J" is no weight'),
        ("phase,material,grams\nX,water,162.76\n", 'has no phase "X"'),
        ("material,grams\nwater,1.5 kg\n", "sheet.csv:2: water: 1500.00 g, and 162.76 g are asked for."),
        ("material,grams\nwater,\nbetaine,\n", "sheet.csv has no row with grams"),
        ("material,grams\n", "sheet.csv has no row with grams"),
        ("", "the first row must name the columns material and grams"),
        (b"material,grams\nwater,162.76 \xb5g\n", "sheet.csv is not UTF-8 text"),
        ("material,grams\n".encode("utf-16"), "sheet.csv is not UTF-8 text"),
        ("material,grams\nwater," + "9" * 200_000 + "\n", "cannot be read as CSV"),
        ("x" * 200_000 + ",grams\n", "cannot be read as CSV"),
        ("material,grams\n" + "#\n" * 600_000, "is too large for a weigh sheet"),
    ],
)  # fmt: skip
def test_what_is_refused_is_named_and_nothing_is_written(sheet, text, said):
    found = sheet.refuses(text)
    assert said in found
    assert "\x1b" not in found


def test_every_fault_is_named_at_once(sheet):
    said = sheet.refuses(WHOLE.replace("162.76", "1.5 kg").replace("betaine", "betane").replace("0.72", "0,72"))
    assert [row.partition(": ")[0] for row in said.split("\n") if row.startswith("sheet.csv")] == [
        "sheet.csv:2",
        "sheet.csv:4",
        "sheet.csv:8",
    ]


def test_no_such_file(sheet):
    assert "sheet.csv cannot be read" in sheet.here("trial", "weigh", sheet.id, "--from", "sheet.csv", code=2).err
    assert "trials cannot be read" in sheet.here("trial", "weigh", sheet.id, "--from", "trials", code=2).err


def test_far_off_and_sure(sheet):
    text = "material,grams\nwater,162.76\nrice-protein-25,1.5 kg\n"
    said = sheet.refuses(text)
    assert "rice-protein-25: 1500.00 g, and 1.44 g are asked for." in said
    assert "--sure" in said
    sheet.takes(text, "--sure")
    assert sheet.weights["rice-protein-25"] == "1500.00"


def test_an_expired_lot(sheet):
    with (sheet.studio.root / "materials/propanediol.toml").open("a") as file:
        file.write('[[lot]]\nnumber = "PD-1"\nuse_by = 2026-01-31\n')
    text = "material,grams,lot\npropanediol,5.40,PD-1\n"
    assert "sheet.csv:2: propanediol, lot PD-1, is past its last day, 2026-01-31." in sheet.refuses(text)
    sheet.takes(text, "--sure")
    assert [e.lot for e in sheet.entries] == ["PD-1"]


def test_missing_lines_stay_open_and_the_sheet_is_filled_in_later(sheet):
    """The same file once more, with more of it filled in: what is in is passed over, also with --sure; nothing goes in twice."""
    half = WHOLE.replace("0.72", "").replace("1.62", "").replace("0.32", "")
    done = sheet.takes(half)
    assert "Still to be weighed: neroli-oil, preservative-blend, lactic-acid-80" in done.out
    first = sheet.file.read_bytes()
    done = sheet.takes(WHOLE, "--sure")
    assert f"{sheet.id}: 3 weights written; 6 were in already." in done.out
    assert sheet.weights == ROWS
    assert len(sheet.entries) == 9
    assert sheet.file.read_bytes().startswith(first)
    assert f"{sheet.id}: 0 weights written; 9 were in already." in sheet.takes(WHOLE).out
    assert len(sheet.entries) == 9


def test_a_weighed_line_with_another_weight_is_refused_and_the_correction_named(sheet):
    sheet.takes("material,grams\nwater,162.76\n")
    for words in ((), ("--sure",)):
        said = sheet.refuses("material,grams\nwater,162.70\npropanediol,5.40\n", *words)
        assert "sheet.csv:2: water is in already, 162.76 g, and this says 162.70 g" in said
    command = said.partition("fvc trial weighed ")[2].split()
    sheet.here("trial", "weighed", *command)
    assert sheet.here("trial", "show", sheet.id, "--json").data["lines"][0]["grams"] == "162.7"


def test_a_slip_is_told_at_once(sheet):
    done = sheet.takes(WHOLE.replace("5.40", "6.40"))
    assert "propanediol: 6.40 g is 1.00 g over its target of 5.40 g." in done.out
    assert "it is 3.5359 % instead of 3.00 %" in done.out


def test_what_does_not_stand_on_the_sheet_is_an_addition(sheet):
    sheet.studio.material("glycerin", "humectant", {"Glycerin": 100})
    done = sheet.takes(WHOLE + "glycerin,1.00\n")
    assert "glycerin does not stand on the sheet: it is an addition, and will be listed as one." in " ".join(done.out.split())
    assert [d["kind"] for d in sheet.here("trial", "show", sheet.id, "--json").data["deviations"]] == ["addition"]


def test_a_material_in_two_phases_wants_its_phase(studio, run_in):
    studio.material("salt", "active", {"Salt": 100})
    studio.formula("toner", {"A": {"water": "60"}, "B": {"salt": "10"}, "C": {"water": "balance"}})
    studio.ok("revise", "toner", "--reason", "first")
    here = run_in(studio.root)
    sheet = Sheet(studio, here, here("trial", "start", "toner", "--batch", "100g", "--json").data["id"])
    said = sheet.refuses("material,grams\nwater,60\nsalt,10\nwater,30\n")
    assert "sheet.csv:4: water stands here and on line 2\n  next: keep one of them; if they are of two phases, add a column  phase" in said
    sheet.takes("material,grams,phase\nwater,60,A\nsalt,10,\nwater,30,C\n")
    assert [(e.phase, e.subject, e.grams) for e in sheet.entries] == [("A", "water", 60), ("B", "salt", 10), ("C", "water", 30)]


def test_a_closed_batch_takes_no_sheet(sheet):
    sheet.takes("material,grams\nwater,162.76\n")
    sheet.here("trial", "close", sheet.id, "--verdict", "set aside", "--because", "enough")
    assert f"{sheet.id} is closed: set aside" in sheet.refuses(WHOLE)


def test_a_session_goes_on_where_the_sheet_ends(sheet):
    sheet.takes("material,grams\nwater,162.76\npropanediol,5.40\nbetaine,2.70\n")
    done = sheet.studio.ok("trial", "weigh", sheet.id, input="\nq\n")
    assert "PANTHENOL-75" in done.out
    assert sheet.weights["panthenol-75"] == "2.16"
