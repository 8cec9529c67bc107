"""What a reference means: every form of it, and everything that could mean two things.

The formula of these tests is one line of glycerin in water. Its level tells which state was read:
revision N was saved at N percent, unless a test says otherwise.
"""

import hashlib
import re

import pytest

from tests.support import Studio

MIST = """\
format   = 1
title    = "Garden mist"
revision = {revision}
use      = "leave-on"
batch    = "100 g"

[phase.A]
[phase.A.percent]
water    = "balance"
glycerin = {glycerin}
"""


@pytest.fixture
def mist(studio) -> Studio:
    """A studio with glycerin in it, and no formula yet."""
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    studio.save_as("Ada", "2026-01-05", message="Glycerin bought")
    return studio


def save(studio, revision, glycerin=None, *, who="Ada", day="2026-02-01", message=None, path="formulas/mist.toml") -> str:
    """Type the plan in an editor and save it with plain git; the commit."""
    studio.write(path, MIST.format(revision=revision, glycerin=glycerin or f"{revision}.00"))
    return studio.save_as(who, day, message=message or f"mist {revision}: because")


def three(studio) -> list[str]:
    """Revisions 1 to 3 on the first days of February, March and April."""
    return [save(studio, n, day=f"2026-0{n + 1}-01") for n in (1, 2, 3)]


def glycerin(studio, reference) -> str:
    """The percent of glycerin that a reference means."""
    lines = studio.json("sheet", reference)["lines"]
    return next(line["percent"] for line in lines if line["material"] == "glycerin")


# --- the folder ------------------------------------------------------------------------------------


def test_a_name_alone_is_the_folder_and_needs_no_git(tmp_path):
    studio = Studio.make(tmp_path / "shelf", git=False)
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    studio.write("formulas/mist.toml", MIST.format(revision=3, glycerin="2.50"))
    sheet = studio.json("sheet", "mist")
    assert (sheet["ref"], sheet["commit"], sheet["revision"], sheet["saved"]) == ("mist", None, 3, False)
    assert "revision 3, no git here" in studio.ok("sheet", "mist").out
    assert "not in a git repository" in studio.refused("sheet", "mist.3")


def test_the_folder_is_read_as_it_stands_and_says_that_it_changed_since(mist):
    three(mist)
    assert "mist, revision 3\n" in mist.ok("sheet", "mist").out
    mist.edit("formulas/mist.toml", "glycerin = 3.00", "glycerin = 3.50")
    assert glycerin(mist, "mist") == "3.50"
    assert glycerin(mist, "mist.3") == "3.00"
    assert "revision 3, changed since" in mist.ok("sheet", "mist").out


def test_a_changed_material_record_makes_the_folder_changed_since(mist):
    three(mist)
    mist.edit("materials/glycerin.toml", '"Glycerin" = 100', '"Glycerin" = 86.5\n"Aqua" = "balance"')
    assert mist.json("sheet", "mist")["saved"] is False
    assert "revision 3, changed since" in mist.ok("sheet", "mist").out


# --- numbers ---------------------------------------------------------------------------------------


def test_a_number_is_the_commit_that_introduced_it(mist):
    commits = three(mist)
    sheet = mist.json("sheet", "mist.2")
    assert (sheet["commit"], sheet["revision"], sheet["saved"], sheet["ref"]) == (commits[1], 2, True, "mist.2")
    assert [glycerin(mist, f"mist.{n}") for n in (1, 2, 3)] == ["1.00", "2.00", "3.00"]


def test_later_plain_commits_still_say_the_number_and_are_shown_with_a_plus(mist):
    commits = three(mist)
    later = save(mist, 3, "3.25", message="a little more, not a revision yet")
    assert mist.json("sheet", "mist.3")["commit"] == commits[2]
    assert glycerin(mist, "mist.3") == "3.00"
    assert "revision 3+" in mist.ok("sheet", f"mist.{later[:8]}").out
    assert "revision 3+" in mist.ok("sheet", "mist").out
    assert "revision 3+" not in mist.ok("sheet", f"mist.{commits[2][:8]}").out


def test_the_number_in_the_file_beats_any_number_in_a_message(mist):
    save(mist, 1)
    commit = save(mist, 2, message="mist 9: a number typed wrong in the message")
    assert mist.json("sheet", "mist.2")["commit"] == commit
    assert "mist has no revision 9" in mist.refused("sheet", "mist.9")


def test_a_number_that_does_not_exist_lists_those_that_do(mist):
    three(mist)
    save(mist, 5)
    said = mist.refused("sheet", "mist.4")
    assert "mist has no revision 4" in said
    assert "1 to 3, 5" in said


def test_a_number_before_anything_was_saved_says_how_to_save(mist):
    mist.write("formulas/mist.toml", MIST.format(revision=0, glycerin="1.00"))
    assert "fvc revise mist --reason TEXT" in mist.refused("sheet", "mist.1")
    mist.save_as("Ada", "2026-02-01", message="typed, not revised")
    assert "no revision of mist has been saved yet" in mist.refused("sheet", "mist.1")


def test_before_counts_back_from_the_last_saved_revision(mist):
    three(mist)
    mist.edit("formulas/mist.toml", "glycerin = 3.00", "glycerin = 3.50")  # the unsaved plan does not count
    assert glycerin(mist, "mist.before") == "2.00"
    assert glycerin(mist, "mist.before2") == "1.00"
    said = mist.refused("sheet", "mist.before3")
    assert "only 2 revisions before the last saved, 3" in said


def test_before_skips_plain_commits_and_gaps_in_the_numbers(mist):
    save(mist, 1)
    save(mist, 4)
    save(mist, 4, "4.40", message="plain")
    assert glycerin(mist, "mist.before") == "1.00"


# --- dates -----------------------------------------------------------------------------------------


def test_a_date_is_what_was_saved_by_that_day(mist):
    three(mist)
    assert glycerin(mist, "mist.2026-02-01") == "1.00"
    assert glycerin(mist, "mist.2026-02-28") == "1.00"
    assert glycerin(mist, "mist.2026-03-01") == "2.00"
    assert glycerin(mist, "mist.2031-12-31") == "3.00"


def test_a_date_is_the_authors_own_day_whatever_the_reader_and_the_clock_say(mist):
    def at(revision, author, committer):
        mist.write("formulas/mist.toml", MIST.format(revision=revision, glycerin=f"{revision}.00"))
        mist.git("add", "-A")
        mist.git("commit", "-qm", "by post", env={"GIT_AUTHOR_DATE": author, "GIT_COMMITTER_DATE": committer})

    # half past midnight of 1 March in one place is still 28 February in UTC
    at(1, "2026-02-27T12:00:00+01:00", "2026-02-27T12:00:00+01:00")
    at(2, "2026-03-01T00:30:00+13:00", "2026-02-28T11:30:00+00:00")
    # the evening of 2 March here is 3 March in UTC; it was committed again, in May
    at(3, "2026-03-02T22:00:00-10:00", "2026-05-20T09:00:00+02:00")
    for zone in ("UTC", "Pacific/Auckland", "America/Los_Angeles"):
        found = [mist.ok("sheet", f"mist.2026-{day}", env={"TZ": zone}).out for day in ("02-28", "03-01", "03-02")]
        assert [re.search(r"mist, (revision \d)", out)[1] for out in found] == ["revision 1", "revision 2", "revision 3"]


def test_a_date_follows_the_main_line_and_not_what_lay_on_a_side_branch_that_day(mist):
    save(mist, 1, day="2026-02-01")
    mist.git("switch", "-qc", "side")
    save(mist, 2, day="2026-02-10", who="Bea")
    mist.git("switch", "-q", "main")
    mist.write("notes.txt", "a rainy day\n")
    mist.save_as("Ada", "2026-02-20", message="notes")
    when = "2026-03-01T12:00:00+01:00"
    mist.git("merge", "-q", "--no-ff", "-m", "Bea's", "side", env={"GIT_AUTHOR_DATE": when, "GIT_COMMITTER_DATE": when})
    assert glycerin(mist, "mist.2026-02-15") == "1.00"
    assert glycerin(mist, "mist.2026-03-01") == "2.00"
    assert glycerin(mist, "mist.2") == "2.00"


def test_a_date_before_the_first_save_or_not_in_the_calendar(mist):
    three(mist)
    assert "there is no day 2026-02-30" in mist.refused("sheet", "mist.2026-02-30")
    assert "the first save was on" in mist.refused("sheet", "mist.2019-01-01")
    said = mist.refused("sheet", "mist.2026-01-20")  # glycerin was there that day, the mist was not
    assert "mist" in said
    assert "2026-01-20" in said


# --- commits ---------------------------------------------------------------------------------------


def test_a_commit_is_named_by_seven_or_more_digits_in_either_case(mist):
    commits = three(mist)
    first = commits[0]
    for digits in (first[:7], first[:12], first, first[:10].upper()):
        if digits.isdigit() and len(digits) < 7:
            continue
        assert mist.json("sheet", f"mist.{digits}")["commit"] == first


def test_fewer_than_seven_digits_are_no_commit(mist):
    commit = next(c for c in three(mist) if not c[:6].isdigit())
    assert "nothing is meant by" in mist.refused("sheet", f"mist.{commit[:6]}")


def test_a_commit_that_does_not_exist_and_one_from_before_the_plan(mist):
    three(mist)
    assert "no commit begins with 0123456789abcdef" in mist.refused("sheet", "mist.0123456789abcdef")
    root = mist.git("rev-list", "--max-parents=0", "HEAD").strip()
    said = mist.refused("sheet", f"mist.{root[:10]}")
    assert root[:8] in said


def test_the_id_of_a_file_in_git_is_no_commit(mist):
    three(mist)
    blob = mist.git("rev-parse", "HEAD:formulas/mist.toml").strip()
    assert "no commit begins with" in mist.refused("sheet", f"mist.{blob[:12]}")


def test_a_branch_called_like_a_commit_does_not_stand_for_it(mist):
    commits = three(mist)
    mist.git("branch", commits[0][:8], commits[2])
    assert mist.json("sheet", f"mist.{commits[0][:8]}")["commit"] == commits[0]


def craft(studio, wanted) -> list[str]:
    """Commits on top of HEAD with the same tree whose ids `wanted` likes, made by trying messages."""
    tree = studio.git("rev-parse", "HEAD^{tree}").strip()
    head = studio.git("rev-parse", "HEAD").strip()
    texts = {}
    for n in range(400_000):
        text = (
            f"tree {tree}\nparent {head}\nauthor Ada Test <ada@studio.example> 1780000000 +0200\n"
            f"committer Ada Test <ada@studio.example> 1780000000 +0200\n\ntry {n}\n"
        ).encode()
        id = hashlib.sha1(b"commit %d\0" % len(text) + text).hexdigest()
        texts[id] = text
        found = wanted(id, texts)
        if found:
            for each in found:
                studio.write("crafted", texts[each])
                assert studio.git("hash-object", "-t", "commit", "-w", "crafted").strip() == each
            (studio.root / "crafted").unlink()
            return found
    raise AssertionError("no such commit was found")


def test_seven_decimal_digits_are_a_commit_and_six_a_revision(mist):
    three(mist)
    commit = craft(mist, lambda commit, _: [commit] if commit[:7].isdigit() else None)[0]
    assert mist.json("sheet", f"mist.{commit[:7]}")["commit"] == commit
    assert f"mist has no revision {int(commit[:6])}" in mist.refused("sheet", f"mist.{commit[:6]}")


def test_the_beginning_of_two_commits_is_refused_with_both(mist):
    three(mist)
    seen = {}

    def twins(id, _):
        other = seen.setdefault(id[:7], id)
        return [other, id] if other != id else None

    one, two = craft(mist, twins)
    said = mist.refused("sheet", f"mist.{one[:7]}")
    assert "2 commits begin with" in said
    assert one[:12] in said
    assert two[:12] in said
    assert mist.json("sheet", f"mist.{two[:20]}")["commit"] == two


# --- variants --------------------------------------------------------------------------------------


def variant(studio, revision, level, *, parent="mist.2", plan_id="") -> None:
    text = MIST.format(revision=revision, glycerin=level)
    about = f'[variant]\nparent = "{parent}"\n' + (f'plan_id = "{plan_id}"\n' if plan_id else "")
    studio.write(
        "variants/mist/lighter.toml", text.replace("[phase.A]\n", about + 'question = "Is less enough?"\nstate = "open"\n\n[phase.A]\n', 1)
    )


def test_a_variant_has_the_same_endings(mist):
    three(mist)
    variant(mist, 1, "0.50")
    first = mist.save_as("Ada", "2026-05-01", message="a variant")
    variant(mist, 2, "0.25")
    mist.save_as("Ada", "2026-06-01", message="lighter still")
    variant(mist, 2, "0.20")
    assert glycerin(mist, "mist/lighter") == "0.20"
    assert glycerin(mist, "mist/lighter.1") == "0.50"
    assert glycerin(mist, "mist/lighter.2") == "0.25"
    assert glycerin(mist, "mist/lighter.before") == "0.50"
    assert glycerin(mist, "mist/lighter.2026-05-30") == "0.50"
    assert glycerin(mist, f"mist/lighter.{first[:7]}") == "0.50"


def test_an_unknown_variant_suggests_the_nearest(mist):
    three(mist)
    variant(mist, 1, "0.50")
    assert "did you mean lighter?" in mist.refused("sheet", "mist/ligther")
    assert "variants of mist: lighter" in mist.refused("sheet", "mist/zzz")


def test_the_parent_of_a_variant_is_found_by_its_text_when_its_commit_is_gone(mist):
    commits = three(mist)
    kept = mist.git("rev-parse", f"{commits[1]}:formulas/mist.toml").strip()
    variant(mist, 1, "0.50", parent=f"mist.{commits[1][:10]}", plan_id=kept)
    mist.save_as("Ada", "2026-05-01", message="a variant")
    # the history is rewritten: every commit gets a new id, the texts stay
    mist.git("rebase", "-q", "--root", "--exec", "git commit -q --amend --no-edit --reset-author")
    mist.git("reflog", "expire", "--expire=now", "--all")
    mist.git("gc", "-q", "--prune=now")
    assert "no commit begins with" in mist.refused("sheet", f"mist.{commits[1][:10]}")
    before = mist.json("diff", "mist/lighter")["before"]
    assert before["revision"] == 2
    assert before["commit"] not in commits


def test_the_parent_of_a_variant_is_found_by_its_text_when_its_number_means_two_plans(mist):
    ours, theirs = both_saved_two(mist)
    for commit, level in ((ours, "2.20"), (theirs, "2.80")):
        variant(mist, 1, "0.50", parent="mist.2", plan_id=mist.git("rev-parse", f"{commit}:formulas/mist.toml").strip())
        lines = mist.json("diff", "mist/lighter")["lines"]
        assert next(line["before_percent"] for line in lines if line["material"] == "glycerin") == level


# --- trials ----------------------------------------------------------------------------------------


TRIAL = """\
format  = 1
plan    = "mist.3"
plan_id = ""
batch   = "100 g"
scale   = "0.01 g"
asked   = [
    { phase = "A", material = "water", percent = 97.00, grams = 97.00 },
    { phase = "A", material = "glycerin", percent = 3.00, grams = 3.00 },
]

[[entry]]
id = "a-01"
at = 2026-05-02T10:00:00+02:00
weighed = "water"
grams = 97.00

[[entry]]
id = "a-02"
at = 2026-05-02T10:01:00+02:00
weighed = "glycerin"
grams = 4.00
"""


def test_a_trial_is_named_by_its_id_or_an_unambiguous_beginning(mist):
    three(mist)
    mist.write("trials/mist/gm-260502.toml", TRIAL)
    mist.write("trials/mist/gm-260517.toml", TRIAL)
    for reference in ("gm-260502", "gm-26050"):
        sheet = mist.json("sheet", reference)
        assert sheet["formula"] == "gm-260502"
        assert sheet["revision"] is None
        assert sheet["lines"][1]["percent"].startswith("3.9603960396")  # 4 g in 101 g
    said = mist.refused("sheet", "gm-26")
    assert "2 trials" in said
    assert "gm-260502, gm-260517" in said


def test_a_formula_is_meant_before_the_beginning_of_a_trial(mist):
    three(mist)
    mist.write("trials/mist/mist-1.toml", TRIAL)
    assert mist.json("sheet", "mist")["formula"] == "mist"
    mist.write("trials/mist/mist.toml", TRIAL)
    assert "both a formula and a trial" in mist.refused("sheet", "mist")


def test_an_unknown_name_suggests_trials_as_well(mist):
    three(mist)
    mist.write("trials/mist/gm-260502.toml", TRIAL)
    assert "did you mean gm-260502?" in mist.refused("sheet", "gn-260502")


# --- two people ------------------------------------------------------------------------------------


def both_saved_two(studio, theirs="2.80", *, settle="2.80", message="Merge Bea's work") -> tuple[str, str]:
    """Ada and Bea both saved a revision 2, and the branches were merged; the two commits."""
    save(studio, 1)
    studio.git("switch", "-qc", "bea")
    second = save(studio, 2, theirs, who="Bea", day="2026-03-02", message="mist 2: softer")
    studio.git("switch", "-q", "main")
    first = save(studio, 2, "2.20", day="2026-03-04", message="mist 2: drier")
    studio.git("merge", "-q", "bea", check=False)
    studio.write("formulas/mist.toml", MIST.format(revision=2, glycerin=settle))
    studio.save_as("Ada", "2026-03-05", message=message)
    return first, second


def test_two_different_plans_under_one_number_are_refused_with_both(mist):
    first, second = both_saved_two(mist)
    said = mist.refused("sheet", "mist.2")
    assert "saved 2 times with different plans" in said
    assert f"mist.{first[:8]}  2026-03-04  Ada: mist 2: drier" in said
    assert f"mist.{second[:8]}  2026-03-02  Bea: mist 2: softer" in said
    assert glycerin(mist, f"mist.{first[:8]}") == "2.20"
    assert glycerin(mist, f"mist.{second[:8]}") == "2.80"


def test_work_goes_on_after_two_plans_under_one_number(mist):
    both_saved_two(mist)
    mist.edit("formulas/mist.toml", "glycerin = 2.80", "glycerin = 2.50")
    saved = mist.json("revise", "mist", "--reason", "we met in the middle")
    assert saved["revision"] == 3
    assert glycerin(mist, "mist.3") == "2.50"
    assert glycerin(mist, "mist.1") == "1.00"
    assert "different plans" in mist.refused("sheet", "mist.before")


def test_a_merge_that_settles_on_a_number_of_its_own_introduces_it(mist):
    save(mist, 1)
    mist.git("switch", "-qc", "bea")
    save(mist, 2, "2.80", who="Bea")
    mist.git("switch", "-q", "main")
    save(mist, 2, "2.20")
    mist.git("merge", "-q", "bea", check=False)
    merge = save(mist, 3, "2.50", message="Merge, settled at the bench")
    assert len(mist.git("rev-list", "--parents", "-1", merge).split()) == 3
    assert mist.json("sheet", "mist.3")["commit"] == merge


@pytest.mark.parametrize("difference", ["", "# Bea writes a comment\n"])
def test_two_equal_plans_under_one_number_count_as_one(mist, difference):
    save(mist, 1)
    mist.git("switch", "-qc", "bea")
    mist.write("formulas/mist.toml", difference + MIST.format(revision=2, glycerin="2.20"))
    mist.save_as("Bea", "2026-03-02", message="mist 2: drier")
    mist.git("switch", "-q", "main")
    save(mist, 2, "2.20", day="2026-03-04")
    mist.git("merge", "-q", "-X", "ours", "bea")
    assert glycerin(mist, "mist.2") == "2.20"


def test_a_revision_from_a_side_branch_is_found_after_the_merge(mist):
    save(mist, 1)
    mist.git("switch", "-qc", "bea")
    commit = save(mist, 2, who="Bea")
    mist.git("switch", "-q", "main")
    mist.write("notes.txt", "meanwhile\n")
    mist.save_as("Ada", "2026-03-04", message="notes")
    assert "no revision 2" in mist.refused("sheet", "mist.2")
    mist.git("merge", "-q", "--no-ff", "-m", "Bea's", "bea")
    assert mist.json("sheet", "mist.2")["commit"] == commit


# --- histories that were worked on -------------------------------------------------------------------


def test_a_revert_brings_the_old_number_back_and_means_the_same_revision(mist):
    commits = three(mist)
    mist.git("revert", "--no-edit", "HEAD")
    sheet = mist.json("sheet", "mist.2")
    assert sheet["commit"] == commits[1]
    assert glycerin(mist, "mist") == "2.00"
    assert glycerin(mist, "mist.before") == "1.00"
    assert glycerin(mist, "mist.3") == "3.00"
    assert "revision 2\n" in mist.ok("sheet", "mist").out


def test_a_cherry_picked_revision_is_the_same_revision(mist):
    save(mist, 1)
    mist.git("switch", "-qc", "bea")
    save(mist, 2, who="Bea")
    mist.git("switch", "-q", "main")
    mist.write("notes.txt", "meanwhile\n")
    mist.save_as("Ada", "2026-03-04", message="notes")
    mist.git("cherry-pick", "bea")
    mist.git("merge", "-q", "--no-ff", "-m", "Bea's", "bea")
    assert glycerin(mist, "mist.2") == "2.00"


def test_old_revisions_are_found_under_the_new_name(mist):
    commits = three(mist)
    mist.git("mv", "formulas/mist.toml", "formulas/garden-mist.toml")
    mist.save_as("Ada", "2026-05-01", message="a better name")
    save(mist, 4, path="formulas/garden-mist.toml", day="2026-05-02")
    assert mist.json("sheet", "garden-mist.2")["commit"] == commits[1]
    assert [glycerin(mist, f"garden-mist.{n}") for n in (1, 2, 3, 4)] == ["1.00", "2.00", "3.00", "4.00"]
    assert glycerin(mist, "garden-mist.before") == "3.00"
    assert glycerin(mist, "garden-mist.2026-03-15") == "2.00"
    assert glycerin(mist, f"garden-mist.{commits[0][:8]}") == "1.00"


def test_a_rename_with_an_edit_in_the_same_commit_is_followed(mist):
    three(mist)
    mist.git("mv", "formulas/mist.toml", "formulas/garden-mist.toml")
    save(mist, 4, path="formulas/garden-mist.toml")
    mist.git("mv", "formulas/garden-mist.toml", "formulas/lawn-mist.toml")
    mist.save_as("Ada", "2026-06-01", message="named once more")
    assert [glycerin(mist, f"lawn-mist.{n}") for n in (1, 3, 4)] == ["1.00", "3.00", "4.00"]


def test_a_deleted_formula_keeps_its_revisions(mist):
    three(mist)
    (mist.root / "formulas/mist.toml").unlink()
    said = mist.refused("sheet", "mist")
    assert 'no formula "mist"' in said
    assert "mist." in said  # how to see it as last saved
    mist.save_as("Ada", "2026-05-01", message="given up")
    assert glycerin(mist, "mist.2") == "2.00"
    assert "fvc history mist" in mist.refused("sheet", "mist")


def test_a_text_that_cannot_be_read_does_not_become_the_revision_it_names(mist):
    save(mist, 1)
    mist.write("formulas/mist.toml", MIST.format(revision=2, glycerin="2.00").replace('"balance"', '"balance'))
    broken = mist.save_as("Ada", "2026-03-01", message="mist 2: a quote went missing")
    mended = save(mist, 2, "2.20", message="mist 2: mended")
    assert mist.json("sheet", "mist.2")["commit"] == mended
    said = mist.refused("sheet", f"mist.{broken[:8]}")
    assert f"formulas/mist.toml in commit {broken[:8]}" in said


def test_a_moment_has_the_material_records_of_its_day(mist):
    mist.material("sodium-lactate", "humectant", {"Sodium Lactate": 60, "Aqua": "balance"})
    mist.write("formulas/mist.toml", MIST.format(revision=1, glycerin="1.00") + "sodium-lactate = 2.00\n")
    mist.save_as("Ada", "2026-02-01", message="mist 1: lactate in")
    mist.edit("materials/sodium-lactate.toml", "60", "58")
    mist.save_as("Ada", "2026-03-01", message="the supplier sends 58 now")

    def active(reference):
        return mist.json("sheet", reference)["lines"][2]["active_percent"]

    assert active("mist.1") == "1.2"
    assert active("mist.2026-02-15") == "1.2"
    assert active("mist") == "1.16"
    changed = mist.json("diff", "mist.1")["materials_changed"]
    assert {"material": "sodium-lactate", "field": "composition.Sodium Lactate", "before": "60", "after": "58"} in changed


def test_a_material_record_that_is_gone_today_is_still_there_in_an_old_moment(mist):
    three(mist)
    (mist.root / "materials/glycerin.toml").unlink()
    mist.save_as("Ada", "2026-05-01", message="not bought any more")
    assert glycerin(mist, "mist.3") == "3.00"
    assert 'unknown material "glycerin"' in mist.fvc("sheet", "mist").err


# --- where the formulary lies ----------------------------------------------------------------------


def test_a_formulary_in_a_folder_of_the_repository_with_spaces_in_its_name(tmp_path):
    outer = Studio(tmp_path / "my shop")
    outer.write("accounts.txt", "not ours\n")
    outer.git("init", "-q")
    inner = Studio.make(outer.root / "hair & skin (new)" / "formulary", git=False)
    inner.material("glycerin", "humectant", {"Glycerin": 100})
    commits = three(inner)
    assert inner.json("sheet", "mist.2")["commit"] == commits[1]
    assert glycerin(inner, "mist.before") == "2.00"
    assert glycerin(inner, "mist.2026-02-15") == "1.00"
    inner.git("mv", "formulas/mist.toml", "formulas/garden-mist.toml")
    inner.save_as("Ada", "2026-05-01", message="a better name")
    assert glycerin(inner, "garden-mist.2") == "2.00"
    # and from a folder further down
    assert inner.json("sheet", "garden-mist.2", cwd=inner.root / "formulas")["commit"] == commits[1]


def test_a_folder_with_letters_of_other_scripts(tmp_path):
    outer = Studio(tmp_path / "größer 製品")
    outer.write("a.txt", "a\n")
    outer.git("init", "-q")
    inner = Studio.make(outer.root / "crème", git=False)
    inner.material("glycerin", "humectant", {"Glycerin": 100})
    three(inner)
    assert [glycerin(inner, f"mist.{n}") for n in (1, 3)] == ["1.00", "3.00"]


def test_a_repository_with_the_longer_ids_of_git(tmp_path):
    studio = Studio.make(tmp_path / "long", git=False)
    studio.material("glycerin", "humectant", {"Glycerin": 100})
    studio.git("init", "-q", "--object-format=sha256")
    commits = three(studio)
    assert len(commits[0]) == 64
    assert studio.json("sheet", "mist.1")["commit"] == commits[0]
    assert studio.json("sheet", "mist")["saved"] is True
    assert glycerin(studio, f"mist.{commits[1]}") == "2.00"


def test_a_shallow_clone_says_that_more_history_may_exist(mist, tmp_path):
    three(mist)
    copy = Studio(tmp_path / "copy")
    mist.git("clone", "-q", "--depth", "1", f"file://{mist.root}", str(copy.root))
    assert glycerin(copy, "mist") == "3.00"
    assert glycerin(copy, "mist.3") == "3.00"
    for reference in ("mist.2", "mist.before", "mist.2026-02-15", "mist.0123456789abcdef"):
        assert "git fetch --unshallow" in copy.refused("sheet", reference), reference
    assert "git fetch --unshallow" in copy.ok("history", "mist").out
    assert "git fetch --unshallow" not in mist.ok("history", "mist").out


# --- names that are none ---------------------------------------------------------------------------


def test_an_unknown_name_suggests_the_nearest(mist):
    three(mist)
    assert "did you mean mist?" in mist.refused("sheet", "mits")
    assert "did you mean mist?" in mist.refused("sheet", "mits.2")
    assert "formulas here: mist" in mist.refused("sheet", "zzzzzz")
    assert "glycerin is a material" in mist.refused("sheet", "glycerin")


@pytest.mark.parametrize(
    "text, said",
    [
        ("../mist", '"../mist" is not a reference'),
        ("..", '".." is not a reference'),
        ("mist/../../secret", "is not a reference"),
        ("mist/lighter/more", "is not a reference"),
        ("mist/", "is not a reference"),
        ("/mist", "is not a reference"),
        ("garden mist", "is not a reference"),
        (" mist", "is not a reference"),
        ("mist.", "is not a reference"),
        ("mist.latest", "is not a reference"),
        ("mist.HEAD", "is not a reference"),
        ("mist.3.1", "is not a reference"),
        ("mist.before0", "is not a reference"),
        ("mist.2026-3-1", "is not a reference"),
        ("Mist", 'write "mist"'),
        ("4711", "it is all digits"),
        ("nul", "the name of a device"),
        ("mi\nst", r"mi\nst"),
        ("mist\x1b[31m", r"mist\x1b[31m"),
        ("m" * 61, "it has 61 characters"),
        ("", "it is empty"),
        ("formulas/mist.toml", "write  mist"),
        ("mist.toml", "write  mist"),
        ("crème", "is not a reference"),
    ],
)
def test_what_is_no_reference_is_refused_with_the_grammar(mist, text, said):
    refusal = mist.refused("sheet", text)
    assert said in refusal
    assert "\x1b" not in refusal


@pytest.mark.parametrize("text", ["-mist", "--mist", "-"])
def test_a_leading_dash_is_an_option_that_does_not_exist(mist, text):
    mist.refused("sheet", text)
    assert "is not a reference" in mist.refused("sheet", "--", text)
