"""What came from another maker and what went to them, for a person."""

from __future__ import annotations

from fvc.compare.summary import net_change, record_words
from fvc.git.remote import Link, shown
from fvc.git.repository import Commit
from fvc.show.screen import Screen, counted
from fvc.story import reason_in
from fvc.together.work import CHANGED, GONE, NEW, Both, Found, PlanWork, RecordWork, TrialWork, Work

_MOST_NEW = 12  # things told one by one when nothing was there before


def work(out: Screen, done: Work) -> None:
    """Plans with what changed in them and why; batches, materials and other files in a line each. Of a whole formulary only what it holds."""
    everything: list[PlanWork | TrialWork | RecordWork] = [*done.plans, *done.trials, *done.materials]
    if len(everything) > _MOST_NEW and all(each.kind == NEW for each in everything):
        out.item("new  ", ", ".join(plan.name for plan in done.plans), 2)
        out.say(f"     {counted(len(done.trials), 'record')} of batches, {counted(len(done.materials), 'material')}", 2)
        return
    for plan in done.plans:
        _plan(out, plan)
    for trial in done.trials:
        out.item(f"batch {trial.id}  ", _trial(trial), 2)
    for record in done.materials:
        out.item(f"material {record.id}  ", _record(record), 2)
    if done.others:
        first = ", ".join(done.others[:6])
        more = len(done.others) - 6
        out.item("other files  ", first + (f" and {more} more" if more > 0 else ""), 2)
    if done.alike:
        out.say("It all comes to what was there before: no plan, material or batch differs.", 2)
    for each in done.settled:
        out.say(f"Settled by {each.who}, {each.day}: {each.name}", 2, "bold")
        for line in each.lines:
            out.say(line, 6)


def _plan(out: Screen, plan: PlanWork) -> None:
    renamed = f", {plan.earlier} before" if plan.earlier else ""
    out.say(f"{plan.name}{renamed}  {_revisions(plan)}".rstrip(), 2, "bold")
    for commit in plan.commits:
        out.say(_who(commit), 6)
    if plan.problem:
        out.say(plan.problem, 6)
    if plan.change:
        words = net_change(plan.change.lines, (), plan.change.text)
        words += ["the order of lines changed"] if plan.change.order else []
        for word in words:
            out.say(word, 6)


def _who(commit: Commit) -> str:
    return f"{commit.author}, {commit.day}: {reason_in(commit.subject)}"


def _revisions(plan: PlanWork) -> str:
    before, after = (reading.plan.revision if reading else None for reading in (plan.before, plan.after))
    if plan.kind == GONE:
        return "taken out of the formulary"
    if plan.kind == NEW:
        return "new" + (f", {counted(len(plan.after.closure.amounts), 'line')}" if plan.after else "")
    if before == after or before is None or after is None:
        return ""
    return f"revision {before} to {after}"


def _trial(trial: TrialWork) -> str:
    if trial.problem:
        return f"cannot be read: {trial.problem}"
    if trial.trial is None:
        return "its record is gone"
    made = trial.trial
    entries = counted(trial.entries, "entry" if trial.entries == 1 else "entrie")
    what = f"of {made.plan}" + (f", by {made.by}" if made.by else "") if trial.kind == NEW else f"{entries} added"
    closing = made.closing
    if closing is None:
        return what
    return f"{what}: {closing.subject}" + (f", {closing.because}" if closing.because else "")


def _record(record: RecordWork) -> str:
    if record.problem:
        return f"cannot be read: {record.problem}"
    if record.kind != CHANGED:
        return "new" if record.kind == NEW else "taken out of the formulary"
    words = [record_words(change).partition(": ")[2] for change in record.changes]
    return "; ".join(words) or "lots, or only how it is written"


def came(out: Screen, done: Work | None, who: str) -> None:
    """What the other did, before it is merged."""
    if done is None:
        out.say(f"Nothing new from {who}.")
        return
    out.head(f"From {done.who}", counted(len(done.commits), "save"))
    work(out, done)


def went(out: Screen, done: Work | None, link: Link, *, sent: bool) -> None:
    """What was sent, or would be."""
    if done is None:
        out.say(f"Nothing {'to send' if sent else 'would be sent'}.")
        return
    out.say("")
    out.head(f"{'Sent' if sent else 'To send'} to {place(link)}", counted(len(done.commits), "save"))
    work(out, done)


def place(link: Link) -> str:
    """The other end in a word or two."""
    return f"{link.remote} ({shown(link.address)})"


def found(out: Screen, each: Found) -> None:
    """Something that neither side had and the merge has."""
    out.say(f"{each.finding.level}: {each.plan}: {each.finding.message}", 2, "bold")
    out.say(f"{each.finding.where}; {each.finding.rule}: {each.finding.source}", 4)
    if each.finding.mend:
        out.say(f"mend: {each.finding.mend}", 4)


def both(out: Screen, each: Both) -> None:
    """A plan that both changed, and how it becomes a revision."""
    out.say(
        f"{each.name} was changed by both, and stands merged in the folder. To save that as revision {each.next}, here and nowhere else:"
    )
    out.say(f"fvc revise {each.name} --reason TEXT", 4)
    if each.twice is not None:
        out.say(f"Two different plans were saved as revision {each.twice}: {each.name}.{each.twice} names both, and fvc will ask which.", 4)
