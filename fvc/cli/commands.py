"""The commands in the order of the maker's day: the one list behind help, dispatch and the docs.

Plain data, so that `fvc --help` and a mistyped command need no import of any command.
"""

from __future__ import annotations

from typing import NamedTuple


class Command(NamedTuple):
    """A command: the module that holds it, the usage line, one line of help, and examples.

    ahead: what git is asked before the module is imported: `moments`, the whole `story`, or nothing.
    words: of a command whose first argument is a word, each word as a command of its own; alone: the word that is
    meant when none is given. called: its function, where that cannot be called as the word is.
    """

    name: str
    module: str
    usage: str
    help: str
    examples: tuple[str, ...]
    ahead: str = ""
    words: tuple[Command, ...] = ()
    alone: str = ""
    called: str = ""

    @property
    def function(self) -> str:
        """What its function in the module is called; of a word, by the word."""
        return self.called or self.word.replace("-", "_")

    @property
    def word(self) -> str:
        """The word of a command with words, `start` of `trial start`."""
        return self.name.rpartition(" ")[2]


ON_PAPER, AT_THE_BENCH, AFTERWARDS, TOGETHER = "On paper", "At the bench", "Afterwards", "Together"

TRIAL = (
    Command(
        "trial start",
        "fvc.cli.trial",
        "trial start REF [--batch SIZE]",
        "begin a batch; its id goes on the bottle",
        (
            "fvc trial start face-toner --batch 150g",
            "fvc trial start face-toner.4 --batch 500g --for sale",
        ),
    ),
    Command(
        "trial weigh",
        "fvc.cli.session",
        "trial weigh [TRIAL]",
        "a session at the bench: the next line, its target, Enter",
        (
            "fvc trial weigh",
            "fvc trial weigh ft-260301-mt-a --cumulative",
            "fvc trial weigh --from sheet.csv",
        ),
    ),
    Command(
        "trial weighed",
        "fvc.cli.entries",
        "trial weighed [TRIAL] MATERIAL GRAMS",
        "a line of the sheet, weighed in",
        (
            "fvc trial weighed propanediol 4.52 --lot PD-114",
            "fvc trial weighed prop 342.60-338.08",
        ),
    ),
    Command(
        "trial added",
        "fvc.cli.entries",
        "trial added [TRIAL] MATERIAL GRAMS",
        "something that went into the mixed batch later",
        (
            "fvc trial added citric-acid-50 0.40",
            "fvc trial added citric-acid-50 31.42-31.02",
        ),
    ),
    Command(
        "trial lost",
        "fvc.cli.entries",
        "trial lost [TRIAL] GRAMS",
        "what evaporated: water and nothing else, unless said",
        (
            "fvc trial lost 6.45",
            "fvc trial lost 342.60-336.15 --phase A",
        ),
    ),
    Command(
        "trial replaced",
        "fvc.cli.entries",
        "trial replaced [TRIAL] GRAMS",
        "water that was put back",
        (
            "fvc trial replaced 6.30",
            "fvc trial replaced 6.30 --with water",
        ),
    ),
    Command("trial spilled", "fvc.cli.entries", "trial spilled [TRIAL] GRAMS", "mixed product that was lost", ("fvc trial spilled 0.30",)),
    Command(
        "trial left",
        "fvc.cli.entries",
        "trial left [TRIAL] GRAMS --phase PHASE",
        "what stayed on the beaker of a phase",
        ("fvc trial left 0.30 --phase B",),
    ),
    Command(
        "trial sampled", "fvc.cli.entries", "trial sampled [TRIAL] GRAMS", "what was taken out to look at", ("fvc trial sampled 4.00",)
    ),
    Command(
        "trial combined",
        "fvc.cli.entries",
        "trial combined [TRIAL] PHASE into PHASE",
        "a phase was poured into another",
        ("fvc trial combined B into A",),
    ),
    Command(
        "trial heated",
        "fvc.cli.entries",
        "trial heated [TRIAL] PHASE",
        "a phase was heated",
        ("fvc trial heated A --temperature 71C --hold 15min",),
    ),
    Command(
        "trial cooled",
        "fvc.cli.entries",
        "trial cooled [TRIAL] PHASE",
        "a phase was left to cool",
        ("fvc trial cooled A --temperature 38C",),
    ),
    Command(
        "trial stirred",
        "fvc.cli.entries",
        "trial stirred [TRIAL] PHASE",
        "a phase was stirred or homogenised",
        ("fvc trial stirred A --speed 3000rpm --hold 5min",),
    ),
    Command(
        "trial vessel",
        "fvc.cli.entries",
        "trial vessel [TRIAL] PHASE GRAMS",
        "the vessel of a phase on the scale, with all that is in it",
        ("fvc trial vessel A 342.60",),
    ),
    Command(
        "trial enlarged",
        "fvc.cli.entries",
        "trial enlarged [TRIAL] SIZE",
        "the batch was made larger; the targets follow",
        ("fvc trial enlarged 213.33g",),
    ),
    Command(
        "trial retargeted",
        "fvc.cli.entries",
        "trial retargeted [TRIAL] MATERIAL GRAMS",
        "a line not yet in gets another target",
        ("fvc trial retargeted propanediol 4.80",),
    ),
    Command(
        "trial omitted",
        "fvc.cli.entries",
        "trial omitted [TRIAL] MATERIAL",
        "a line was left out on purpose",
        ("fvc trial omitted betaine --because 'none left'",),
    ),
    Command(
        "trial bulk", "fvc.cli.entries", "trial bulk [TRIAL] GRAMS", "the finished product, weighed", ("fvc trial bulk 263.20-125.00",)
    ),
    Command(
        "trial noted",
        "fvc.cli.entries",
        "trial noted [TRIAL] TEXT",
        "anything else worth knowing",
        ("fvc trial noted 'foamed when the oils went in'",),
    ),
    Command(
        "trial show",
        "fvc.cli.trial",
        "trial show [TRIAL]",
        "the record of a batch: made, deviations, yield, what was seen",
        ("fvc trial show ft-260301-mt-a",),
    ),
    Command(
        "trial list",
        "fvc.cli.trial",
        "trial list [NAME]",
        "the batches, the latest last",
        (
            "fvc trial",
            "fvc trial list face-toner",
        ),
        called="list_trials",
    ),
    Command(
        "trial see",
        "fvc.cli.looks",
        "trial see [TRIAL] WORDS",
        "what you see, in one line of typing",
        (
            "fvc trial see clear pH 4.82",
            "fvc trial see fridge day 7 slightly hazy, ring",
            "fvc trial see nothing to report --photo look.jpg",
        ),
    ),
    Command("trial due", "fvc.cli.looks", "trial due", "what wants a look today, by the schedule", ("fvc trial due",)),
    Command(
        "trial close",
        "fvc.cli.trial",
        "trial close [TRIAL] --verdict WORD --because TEXT",
        "keep, set-aside, repeat, choose; for sale: release, hold, reject",
        (
            "fvc trial close --verdict keep --because 'clear for 30 days'",
            "fvc trial close ft-260301-mt-b --verdict hold --because 'waits for day 7'",
        ),
    ),
    Command(
        "trial to-plan",
        "fvc.cli.to_plan",
        "trial to-plan TRIAL",
        "write what was made back as a plan",
        (
            "fvc trial to-plan ft-260301-mt-a",
            "fvc trial to-plan ft-260301-mt-a --as as-made --question 'Better so?'",
        ),
    ),
    Command("trial save", "fvc.cli.trial", "trial save [TRIAL]", "save records in git that are on disk only", ("fvc trial save",)),
)

DAY: tuple[tuple[str, tuple[Command, ...]], ...] = (
    (
        ON_PAPER,
        (
            Command(
                "new",
                "fvc.cli.new",
                "new formulary|formula|material NAME [LINE ...]",
                "start a formulary, a formula or a material record",
                ("fvc new formulary my-studio", "fvc new material glycerin", "fvc new formula face-toner"),
            ),
            Command(
                "sheet",
                "fvc.cli.read",
                "sheet REF",
                "the formula sheet: percent, grams, active, functions, water",
                ("fvc sheet face-toner", "fvc sheet face-toner.4 --batch 500g --composition"),
                ahead="moments",
            ),
            Command(
                "set",
                "fvc.cli.change",
                "set NAME MATERIAL=LEVEL ...",
                "change levels; the balance and the ratios follow",
                ("fvc set face-toner propanediol=2.5", "fvc set face-toner propanediol=+0.5 B:neroli-oil=-20% --save"),
            ),
            Command(
                "swap",
                "fvc.cli.swapping",
                "swap NAME OLD NEW ... --basis BASIS",
                "substitute on a stated basis, and see the net change",
                (
                    "fvc swap face-toner propanediol glycerin --basis active",
                    "fvc swap face-toner propanediol glycerin:2 betaine:1 --basis moles",
                    "fvc swap face-toner --function humectant glycerin --level 4 --as simple",
                ),
                ahead="moments",
            ),
            Command(
                "stand-ins",
                "fvc.cli.swapping",
                "stand-ins NAME MATERIAL",
                "all that could take a place, side by side",
                ("fvc stand-ins face-toner propanediol", "fvc stand-ins face-toner propanediol --basis as-supplied --all"),
                ahead="moments",
            ),
            Command(
                "retotal",
                "fvc.cli.retotal",
                "retotal NAME --into MATERIAL | --all",
                "close a plan that does not total 100",
                ("fvc retotal face-toner --into water", "fvc retotal face-toner --all --keep neroli-oil --base 10kg"),
            ),
            Command(
                "variant",
                "fvc.cli.variants",
                "variant WORD NAME [VARIANT ...]",
                "what you try: list, show, compare, new, adopt, set-aside, carry",
                (
                    "fvc variant compare face-toner",
                    'fvc variant new face-toner less-scent --question "Still a scent?"',
                    "fvc variant adopt face-toner less-scent",
                ),
            ),
            Command(
                "ladder",
                "fvc.cli.series",
                "ladder NAME MATERIAL PERCENT ...",
                "variants that differ in one level, with one sheet",
                (
                    "fvc ladder face-toner propanediol 2.0 2.5 3.0 --batch 50g",
                    "fvc ladder face-toner neroli-oil 0.1 0.2 0.3 --batch 50g --overage 3%",
                ),
            ),
            Command(
                "knockout",
                "fvc.cli.series",
                "knockout NAME [MATERIAL ...]",
                "variants that each lack one ingredient",
                ("fvc knockout face-toner betaine propanediol", "fvc knockout face-toner --function humectant --batch 50g"),
            ),
            Command(
                "diff",
                "fvc.cli.read",
                "diff A [B]",
                "what changed, in percent and grams, and what it does",
                ("fvc diff face-toner", "fvc diff face-toner.4 face-toner.5"),
                ahead="moments",
            ),
            Command(
                "ph",
                "fvc.cli.properties",
                "ph REF [--to PH --with MATERIAL]",
                "the pH estimated, beside what the meter read; a dose to a pH",
                ("fvc ph face-toner", "fvc ph face-toner --to 4.8 --with citric-acid-50"),
                ahead="moments",
            ),
            Command(
                "workings",
                "fvc.cli.properties",
                "workings REF PROPERTY",
                "the arithmetic of a property, row by row, with sources",
                ("fvc workings face-toner ph", "fvc workings face-toner water-activity", "fvc workings face-toner solubiliser"),
                ahead="moments",
            ),
            Command(
                "check",
                "fvc.cli.judge",
                "check [REF ...]",
                "use levels, limits, preservation, heat, charges, house limits",
                ("fvc check face-toner", "fvc check", "fvc check face-toner.4 --rules eu --rules house"),
            ),
            Command(
                "label",
                "fvc.cli.judge",
                "label REF",
                "the ingredient declaration, with its allergens",
                ("fvc label face-toner", "fvc label face-toner --on 2026-08-01 --line", "fvc label face-toner --rules us"),
            ),
            Command(
                "cost",
                "fvc.cli.judge",
                "cost REF",
                "raw materials per kg, per batch, per bottle",
                ("fvc cost face-toner --batch 1kg", "fvc cost face-toner --bottles '24 x 100 mL' --density 1.01 --loss 2.5%"),
            ),
            Command(
                "material",
                "fvc.cli.materials",
                "material [list|show|reach] [MATERIAL]",
                "raw materials, their use, and the reach of a change",
                ("fvc material", "fvc material show neroli-oil", "fvc material reach neroli-oil --since 2026-03-01"),
            ),
        ),
    ),
    (
        AT_THE_BENCH,
        (
            Command(
                "weigh",
                "fvc.cli.read",
                "weigh REF",
                "the weigh sheet for one batch, to print",
                ("fvc weigh face-toner --batch 150g", "fvc weigh face-toner --batch '6 x 30 mL' --density 1.01"),
                ahead="moments",
            ),
            Command(
                "trial",
                "fvc.cli.trial",
                "trial WORD [TRIAL] ...",
                "a batch: start it, weigh, look again, close it",
                ("fvc trial start face-toner --batch 150g", "fvc trial weigh", "fvc trial due"),
                words=TRIAL,
                alone="list",
            ),
        ),
    ),
    (
        AFTERWARDS,
        (
            Command(
                "results",
                "fvc.cli.results",
                "results [NAME]",
                "what was tried and what came of it, in one table",
                (
                    "fvc results face-toner",
                    'fvc results --only "clarity = cloudy"',
                    "fvc results face-toner --learn propanediol ph",
                ),
            ),
            Command(
                "lot",
                "fvc.cli.lot",
                "lot LOT|TRIAL",
                "where a lot went, and every lot in a batch",
                ("fvc lot PD-114", "fvc lot ft-260301-mt-a"),
            ),
            Command(
                "revise",
                "fvc.cli.change",
                "revise NAME --reason TEXT",
                "save a revision with its reason",
                ('fvc revise face-toner --reason "less sticky: propanediol 3 to 2.5"',),
            ),
            Command(
                "history",
                "fvc.cli.past",
                "history NAME",
                "all revisions: when, who, why, and the net change",
                ("fvc history face-toner",),
                ahead="story",
            ),
            Command(
                "trace",
                "fvc.cli.past",
                "trace NAME MATERIAL",
                "why is this ingredient at this level?",
                ("fvc trace face-toner propanediol",),
                ahead="story",
            ),
        ),
    ),
    (
        TOGETHER,
        (
            Command(
                "demo",
                "fvc.cli.demo",
                "demo [DIR]",
                "build an example formulary with a history and look around",
                ("fvc demo", "fvc demo try-this"),
            ),
            Command(
                "setup",
                "fvc.cli.setup",
                "setup",
                "prepare git for this formulary, or a fresh copy of it",
                ("fvc setup", "fvc setup --check", "fvc setup --initials ak --hooks"),
            ),
            Command(
                "connect",
                "fvc.cli.sharing",
                "connect ADDRESS [DIR]",
                "name the place where you both leave and fetch versions",
                ("fvc connect ssh://git@host.example/studio.git", "fvc connect ../shared.git"),
            ),
            Command(
                "share",
                "fvc.cli.sharing",
                "share",
                "fetch what the other did, see it, merge, check, send yours",
                ("fvc share", "fvc share --preview"),
            ),
            Command(
                "settle",
                "fvc.cli.settling",
                "settle NAME",
                "decide what two people both changed, one question at a time",
                (
                    "fvc settle face-toner",
                    "fvc settle face-toner --take Joss",
                    "fvc settle face-toner --level propanediol=1.9",
                ),
            ),
            Command(
                "export",
                "fvc.cli.export",
                "export REF --for student|assessor|label",
                "hand a formula on: what it is for decides what goes along",
                (
                    "fvc export face-toner --for student",
                    "fvc export face-toner.4 --for assessor --with ft-260301-mt-a",
                ),
            ),
        ),
    ),
)

COMMANDS: dict[str, Command] = {c.name: c for _, group in DAY for c in group}
EVERY: dict[str, Command] = {each.name: each for c in COMMANDS.values() for each in (c, *c.words)}


def words_text(command: Command) -> str:
    """The page that `fvc trial --help` shows."""
    lines = [f"usage: fvc {command.usage}", "", command.help, ""]
    for word in command.words:
        lines += _folded(f"  {word.usage.partition(' ')[2]}  ", word.help)
    lines += ["", "Examples:", *(f"  {e}" for e in command.examples)]
    lines += ["", f"fvc {command.name} WORD --help shows options and more examples."]
    return "\n".join(lines)


def help_text(version: str) -> str:
    """The page that `fvc --help` shows."""
    lines = [f"fvc {version}: formula version control for makers of hair and skin products", ""]
    lines += ["usage: fvc COMMAND ...   in the folder of a formulary; fvc alone: today's page", ""]
    width = max(len(c.usage) for c in COMMANDS.values())
    for title, group in DAY:
        lines.append(f"{title}")
        for command in group:
            gap = " " * (width - len(command.usage))
            lines += _folded(f"  {command.usage}{gap}  ", command.help)
            lines.append(f"      {command.examples[0]}")
        lines.append("")
    lines += [
        "REF is a plan or a moment of it: face-toner, face-toner.4, face-toner.before,",
        "face-toner.2026-03-01, face-toner/VARIANT, or a trial's id.",
        "fvc COMMAND --help shows options and more examples.",
        "Every reading command takes --json.",
        "fvc --version shows the version.",
    ]
    return "\n".join(lines)


def _folded(lead: str, text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(lead + text, 79, subsequent_indent=" " * len(lead)) if len(lead + text) > 79 else [lead + text]
