"""The commands that give results: their words."""

from typing import TYPE_CHECKING

from api.command_words import command, result, with_format, with_person
from api.typed_words import above_zero, count, share, small_chance

if TYPE_CHECKING:
    from api.command_words import Commands


def result_commands(commands: "Commands") -> None:
    """Every command that gives results."""
    refit = result(
        commands, "refit", "Fit the wear rate of every brake type and brake.", "refit --brakes --format csv"
    )
    refit.add_argument(
        "--brakes", action="store_true", help="list every run too, finished and removed ones included"
    )
    due = result(
        commands,
        "changeouts",
        "When each installed brake reaches its limit.",
        "changeouts --base KOR --risk 0.25",
    )
    due.add_argument("--base", default="", help="only this base")
    due.add_argument(
        "--risk", type=share, default=0.1, help="chance of passing the limit to act before; default 0.1"
    )
    spares = result(
        commands,
        "spares",
        "Brakes needed per base and month.",
        "spares --months 36 --level 0.95 --format csv",
    )
    spares.add_argument("--months", type=count, default=24, help="months ahead; default 24")
    spares.add_argument(
        "--level", type=share, default=0.9, help="chance that stock covers demand; default 0.9"
    )
    _watch_commands(commands)
    result(commands, "cost", "Cost per braked landing of each brake type.", "cost --format json")
    brief = result(
        commands,
        "briefing",
        "Should one brake type replace another, and when does it pay back?",
        "briefing --from P-100 --to P-200 --format json",
        'briefing --from P-100 --to P-200 --freeze "for the board in March"',
    )
    brief.add_argument(
        "--from", dest="from_type", required=True, metavar="TYPE", help="brake type in service"
    )
    brief.add_argument("--to", dest="to_type", required=True, metavar="TYPE", help="brake type proposed")
    brief.add_argument(
        "--freeze", default="", metavar="TITLE", help="also keep it as an edition of this title"
    )
    with_person(brief, "who freezes")
    _edition_commands(commands)
    _claims_command(commands)
    past = result(
        commands,
        "score",
        "How right forecasts have been: made again from past days with what was known then, against what came.",
        "score --origins 8 --format json",
        "score --misses --format csv",
    )
    past.add_argument("--origins", type=count, default=4, help="past days to forecast from; default 4")
    past.add_argument("--misses", action="store_true", help="list the change-outs outside their range")


def _edition_commands(commands: "Commands") -> None:
    kept = result(
        commands,
        "editions",
        "Briefs that were frozen, each beside what the same question gives today; or one of them as frozen.",
        "editions",
        "editions --number 93120 --format json",
    )
    kept.set_defaults(does="editions:editions")
    kept.add_argument("--number", type=count, help="print this one as it was frozen")
    back = command(
        commands,
        "withdraw-edition",
        "editions:withdraw",
        "Withdraw an edition, with a reason; it stays readable.",
        'withdraw-edition 93120 --reason "the kit has another price"',
    )
    back.add_argument("number", type=count, help="as `pinledger editions` lists it")
    back.add_argument("--reason", required=True, help="why, in a few words")
    with_person(back, "who withdraws")
    with_format(back)


def _watch_commands(commands: "Commands") -> None:
    due = result(
        commands,
        "readings",
        "By when each installed brake must be read again, so that few pass their limit unread.",
        "readings --base KOR --level 0.02 --format csv",
    )
    due.add_argument("--base", default="", help="only this base")
    due.add_argument(
        "--level", type=small_chance, help="chance to pass the limit unread, at most 0.5; default as assumed"
    )
    result(
        commands,
        "removals",
        "Why brakes come off early, and how often, by type and cause.",
        "removals --format json",
    )
    fits = result(
        commands,
        "model-fit",
        "Does the wear model fit the records? Innovations, bends, a gamma process beside it, runs that move a rate.",
        "model-fit",
        "model-fit --type P-100 --format json",
    )
    fits.set_defaults(does="model_fit:model_fit")
    fits.add_argument("--type", default="", metavar="TYPE", help="only this brake type")


def _claims_command(commands: "Commands") -> None:
    claims = result(
        commands,
        "claims",
        "Does a brake last as long as is claimed, in landings or against another type?",
        "claims --type P-200 --landings 1800",
        "claims --type P-200 --against P-100 --ratio 1.5 --format json",
    )
    claims.add_argument("--type", required=True, metavar="TYPE", help="brake type that the claim is of")
    claims.add_argument("--against", default="", metavar="TYPE", help="brake type that a ratio is to")
    claimed = claims.add_mutually_exclusive_group(required=True)
    claimed.add_argument(
        "--landings", type=above_zero, metavar="N", help="claimed mean landings per heat sink run"
    )
    claimed.add_argument(
        "--ratio", type=above_zero, metavar="K", help="claimed ratio of them to the other type's"
    )
    claims.add_argument(
        "--guaranteed-cost", type=above_zero, metavar="COST", help="also value a guaranteed cost per landing"
    )
    claims.add_argument(
        "--guaranteed-landings",
        type=above_zero,
        default=1.0,
        metavar="N",
        help="landings under it; default 1",
    )
