"""`fvc check` notices when an old entry of a batch was altered or removed, by the history."""

import pytest

ID = "ton-260301-at-a"
RECORD = f"trials/toner/{ID}.toml"


@pytest.fixture
def here(toner, run_in):
    run = run_in(toner.root)
    run("trial", "start", "toner", "--batch", "180g", "--at", "2026-03-01 10:00")
    run("trial", "weighed", "water", "162.76")
    run("trial", "weighed", "preserv", "1.62")
    run("trial", "see", "clear", "pH", "4.82")
    return run


def found(here, *words: str, code: int = 0) -> list[str]:
    data = here("check", *words, "--json", code=code).data
    findings = data["findings"] if "findings" in data else [f for plan in data["plans"] for f in plan["findings"]]
    return [f["message"] for f in findings if f["rule"] == "record-kept"]


def entry(here) -> str:
    return here("trial", "show", ID, "--json").data["looks"][0]["id"]


def test_a_record_that_only_grew_is_fine(toner, here):
    here("trial", "see", "cloudy")
    here("trial", "noted", "not saved yet")
    toner.write(RECORD, toner.read(RECORD).replace("\n", "\r\n"))  # a checkout with other line ends
    assert found(here) == found(here, ID) == []


def test_an_entry_that_was_altered(toner, here):
    id = entry(here)
    toner.edit(RECORD, "ph        = 4.82", "ph        = 4.92")
    for words in ((), (ID,)):
        (message,) = found(here, *words, code=1)
        assert message.startswith(f"entry {id} was altered: ph; so it was saved on ")
        assert message.endswith("by Ada Test")
    toner.git("commit", "-qam", "quietly")  # also when it was saved since
    assert len(found(here, code=1)) == 1


def test_an_entry_that_was_removed(toner, here):
    id = entry(here)
    text = toner.read(RECORD)
    toner.write(RECORD, text[: text.rindex("[[entry]]")])
    assert found(here, code=1)[0].startswith(f"entry {id} was removed")


def test_what_stands_above_the_entries(toner, here):
    toner.edit(RECORD, 'plan = "toner.1"', 'plan = "toner.2"')
    assert found(here, code=1)[0].startswith('"plan" was altered')


def test_a_record_that_is_gone(toner, here):
    (toner.root / RECORD).unlink()
    (message,) = found(here, code=1)
    assert message.startswith("the record of this batch is gone from the folder")
    toner.git("restore", RECORD)
    assert found(here) == []


def test_entries_in_another_order(toner, here):
    """Of two entries of one moment the one that stands first is played first, so their order is part of the record."""
    here("trial", "see", "still clear")
    text = toner.read(RECORD)
    head, *entries = text.split("[[entry]]")
    toner.write(RECORD, head + "".join(f"[[entry]]{e}" for e in reversed(entries)))
    assert found(here, code=1)[0].startswith("the order of entries was altered")


def test_the_record_of_an_addition_comes_with_it(toner, here):
    """Its material record is kept as it was then: what is changed on the shelf later does not change what was made."""
    toner.material("gum", "thickener", {"Xanthan Gum": 100})
    here("trial", "added", "gum", "2")
    assert "[materials.gum.composition]" in toner.read(RECORD)
    before = here("sheet", ID, "--json").data["composition"]
    toner.material("gum", "thickener", {"Xanthan Gum": 50, "Aqua": "balance"})
    assert here("sheet", ID, "--json").data["composition"] == before
    here("trial", "added", "gum", "1")
    assert toner.read(RECORD).count("[materials.gum]") == 1
    here("trial", "save")
    assert found(here) == []


def test_without_a_history_there_is_nothing_to_hold_it_against(plain_folder, run_in):
    from tests.support import Studio
    from tests.toner import write

    folder = Studio.make(plain_folder / "f", git=False)
    write(folder)
    here = run_in(folder.root)
    here("trial", "start", "toner", "--by", "Ada Test")
    here("trial", "weighed", "water", "162.76")
    assert found(here) == []
