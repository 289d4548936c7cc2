"""The command line: words in, one command called, exit status out. Heavy imports wait until a command needs them."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from importlib.metadata import version
from typing import Final

from api.typed_words import above_zero, address, count, day, separator, share, small_chance

DONE: Final = 0
REFUSED: Final = 1


def main(words: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 1 refused or "no", 2 wrong use."""
    asked = _parser().parse_args(words)
    # Threads of the linear algebra library cost more than they bring on matrices as small as ours.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    module, _, function = asked.does.partition(":")
    command = getattr(importlib.import_module(f"api.commands.{module}"), function)
    try:
        return int(command(asked))
    except KeyboardInterrupt:
        return REFUSED
    except BrokenPipeError:
        # The reader of our output has left (`| head`); nothing of ours is wrong.
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123 - kept open to the end on purpose
        return DONE
    except Exception as error:
        report = importlib.import_module("api.commands.refusal").report
        if not report(error, asked.format if "format" in asked else "table"):
            raise
        return REFUSED


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="pinledger",
        description="Aircraft brake wear ledger: landings and pin readings in; change-out dates, spares, cost out.",
        epilog="Planning records. Follow the approved maintenance manual. This tool does not release aircraft.",
    )
    parser.add_argument("--version", action="version", version=f"pinledger {version('pinledger')}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _ledger_commands(commands)
    _load_commands(commands)
    _backup_commands(commands)
    _result_commands(commands)
    _service_commands(commands)
    _people_commands(commands)
    return parser


def _command(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]",
    name: str,
    does: str,
    text: str,
    *examples: str,
) -> argparse.ArgumentParser:
    made = commands.add_parser(
        name,
        help=text,
        description=text,
        epilog="examples:\n" + "\n".join(f"  pinledger {example}" for example in examples),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    made.set_defaults(does=does)
    made.add_argument(
        "--db",
        metavar="URL",
        type=address,
        default=os.environ.get("PINLEDGER_DB", "pinledger.db"),
        help="a file (SQLite) or postgresql://...; default $PINLEDGER_DB, else pinledger.db",
    )
    return made


def _with_format(command: argparse.ArgumentParser) -> None:
    command.add_argument("--format", choices=("table", "json", "csv"), default="table", help="default table")


def _ledger_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    made = _command(
        commands,
        "migrate",
        "ledger:migrate",
        "Make the database, or bring it to this version.",
        "migrate --db fleet.db",
        "migrate --db postgresql://owner@host/fleet --app-role pinledger",
    )
    made.add_argument(
        "--app-role",
        metavar="NAME",
        help="PostgreSQL: set up this role for the service, which may add and read facts and change none; "
        "later migrations remember it",
    )
    out = _command(
        commands,
        "export",
        "ledger:export",
        "Write the whole ledger as the folder that import reads.",
        "export out/ --known-on 2026-06-30",
    )
    out.add_argument("folder", help="folder to write (made if missing), or a name ending in .xlsx")
    out.add_argument("--known-on", type=day, metavar="DATE", help="as recorded by then; default now")
    _with_format(out)
    check = _command(
        commands,
        "verify",
        "ledger:verify",
        "Recompute the hash chain of the log; exit 1 names the first broken sequence number.",
        "verify --rebuild",
        "verify --anchor /elsewhere/anchors.csv",
    )
    check.add_argument(
        "--anchor",
        metavar="FILE",
        help="heads kept elsewhere, every line checked: a file of anchors or what verify --format json printed; "
        "default $PINLEDGER_ANCHORS, which also gets a line a day",
    )
    check.add_argument(
        "--rebuild", action="store_true", help="also rebuild every table from the log and compare"
    )
    _with_format(check)


def _backup_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    out = _command(
        commands,
        "backup",
        "ledger:backup",
        "Write the whole ledger, history and people included, into one verified file, while work goes on.",
        "backup /elsewhere/ --db fleet.db",
        "backup fleet.zip --db postgresql://ledger@host/fleet",
    )
    out.add_argument("file", help="file to write, or a folder that gets one named by the moment")
    _with_format(out)
    back = _command(
        commands,
        "restore",
        "ledger:restore",
        "Bring a backup to a database without a ledger, of either kind, and prove it there.",
        "restore fleet.zip --db again.db",
        "restore fleet.zip --db fleet.db --replace",
    )
    back.add_argument("file", help="what backup wrote")
    back.add_argument(
        "--replace",
        action="store_true",
        help="over the SQLite ledger that is there, which is first kept beside it",
    )
    _with_format(back)


def _load_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    load = _command(
        commands,
        "import",
        "loads:bring_in",
        "Load a folder of CSV files or a workbook: checked whole, all or nothing; the same again adds nothing.",
        "import records/ --db fleet.db",
        "import records.xlsx --dry-run",
        "import records/ --encoding windows-1252 --separator semicolon --decimal comma --days day-month-year",
        'import list.csv --source "hangar list"',
    )
    load.add_argument("folder", help="folder of CSV files, or one .xlsx with a sheet a file")
    load.add_argument("--dry-run", action="store_true", help="check everything, keep nothing")
    load.add_argument("--encoding", metavar="NAME", default="", help="of text files; default utf-8")
    load.add_argument("--separator", type=separator, help="comma (default), semicolon, tab or stroke")
    load.add_argument("--decimal", choices=("point", "comma"), default="", help="default point")
    load.add_argument(
        "--days",
        choices=("year-month-day", "day-month-year", "month-day-year"),
        default="",
        help="default year-month-day",
    )
    load.add_argument(
        "--source", metavar="NAME", default="", help="whose columns were matched under Bring in records"
    )
    _with_person(load, "who loads")
    _with_format(load)
    listed = _command(
        commands, "loads", "loads:loads", "List the loads that were made, the latest first.", "loads"
    )
    _with_format(listed)
    back = _command(
        commands,
        "withdraw-load",
        "loads:withdraw",
        "Withdraw a load whole, with a reason; refused where later records rest on it.",
        'withdraw-load 7 --reason "the file of another year"',
    )
    back.add_argument("number", type=count, help="as `pinledger loads` lists it")
    back.add_argument("--reason", required=True, help="why, in a few words")
    _with_person(back, "who withdraws")
    _with_format(back)


def _with_person(command: argparse.ArgumentParser, what: str) -> None:
    user = os.environ.get("USER", "command line")
    command.add_argument("--person", default=user, help=f"{what}; default $USER")


def _result(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]", name: str, text: str, *examples: str
) -> argparse.ArgumentParser:
    made = _command(commands, name, f"results:{name}", text, *examples)
    made.add_argument(
        "--on", type=day, metavar="DATE", help="day forecast from; default the last day on record"
    )
    made.add_argument("--known-on", type=day, metavar="DATE", help="as recorded by then; default now")
    made.add_argument("--seed", type=int, default=1, help="seed of every random draw; default 1")
    _with_format(made)
    return made


def _result_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    refit = _result(
        commands, "refit", "Fit the wear rate of every brake type and brake.", "refit --brakes --format csv"
    )
    refit.add_argument(
        "--brakes", action="store_true", help="list every run too, finished and removed ones included"
    )
    due = _result(
        commands,
        "changeouts",
        "When each installed brake reaches its limit.",
        "changeouts --base KOR --risk 0.25",
    )
    due.add_argument("--base", default="", help="only this base")
    due.add_argument(
        "--risk", type=share, default=0.1, help="chance of passing the limit to act before; default 0.1"
    )
    spares = _result(
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
    _result(commands, "cost", "Cost per braked landing of each brake type.", "cost --format json")
    brief = _result(
        commands,
        "briefing",
        "Should one brake type replace another, and when does it pay back?",
        "briefing --from P-100 --to P-200 --format json",
    )
    brief.add_argument(
        "--from", dest="from_type", required=True, metavar="TYPE", help="brake type in service"
    )
    brief.add_argument("--to", dest="to_type", required=True, metavar="TYPE", help="brake type proposed")
    _claims_command(commands)
    past = _result(
        commands,
        "score",
        "How right forecasts have been: made again from past days with what was known then, against what came.",
        "score --origins 8 --format json",
        "score --misses --format csv",
    )
    past.add_argument("--origins", type=count, default=4, help="past days to forecast from; default 4")
    past.add_argument("--misses", action="store_true", help="list the change-outs outside their range")


def _watch_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    due = _result(
        commands,
        "readings",
        "By when each installed brake must be read again, so that few pass their limit unread.",
        "readings --base KOR --level 0.02 --format csv",
    )
    due.add_argument("--base", default="", help="only this base")
    due.add_argument(
        "--level", type=small_chance, help="chance to pass the limit unread, at most 0.5; default as assumed"
    )
    _result(
        commands,
        "removals",
        "Why brakes come off early, and how often, by type and cause.",
        "removals --format json",
    )


def _claims_command(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    claims = _result(
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


def _service_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    demo = _command(
        commands,
        "demo",
        "service:demo",
        "Make the invented fleet and open it: one process, this machine only, a one-time link.",
        "demo",
        "demo --folder demo/ --no-serve",
    )
    demo.add_argument("--folder", help="where to put its files and database; default a new temporary folder")
    demo.add_argument("--port", type=int, default=8765, help="default 8765; 0 takes a free one")
    demo.add_argument("--no-open", action="store_true", help="print the link and start no browser")
    demo.add_argument(
        "--no-serve", action="store_true", help="make the database, print what comes due first, stop"
    )
    serve = _command(
        commands,
        "serve",
        "service:serve",
        "Serve the pages and the JSON.",
        "serve --db postgresql://ledger@host/fleet",
    )
    serve.add_argument(
        "--host", default="127.0.0.1", help="default 127.0.0.1; put a TLS proxy before any other"
    )
    serve.add_argument("--port", type=int, default=8000, help="default 8000; 0 takes a free one")
    serve.add_argument(
        "--tls",
        action="store_true",
        help="a TLS proxy stands before it on this machine: cookies for TLS alone",
    )
    serve.add_argument(
        "--link-for", metavar="NAME", help="print a one-time link that lets this administrator in"
    )


def _people_commands(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    person = commands.add_parser(
        "person",
        help="Add people, give one-time links, list them, end access.",
        description="Who may come in. The first administrator is added here; there is no password from the start.",
        epilog='examples:\n  pinledger person add "ann" --role administrator\n  pinledger person list',
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    acts = person.add_subparsers(title="what to do", metavar="WHAT", required=True)
    add = _command(
        acts,
        "add",
        "people:add",
        "Add a person and print the link that lets them in once.",
        'person add "ann" --role administrator',
        'person add "cle" --role clerk --base KOR',
    )
    add.add_argument("name", help="as it will stand in the log")
    add.add_argument("--role", choices=("clerk", "planner", "reader", "administrator"), required=True)
    add.add_argument(
        "--base", action="append", default=[], help="only this base; may be repeated; default every base"
    )
    link = _command(acts, "link", "people:link", "Print a new one-time link.", 'person link "ann"')
    link.add_argument("name")
    link.add_argument(
        "--lost-authenticator", action="store_true", help="take their authenticator away; be sure who asks"
    )
    for made in (add, link):
        made.add_argument(
            "--address",
            default=os.environ.get("PINLEDGER_ADDRESS", "http://127.0.0.1:8000"),
            help="where people reach the service; default $PINLEDGER_ADDRESS, else http://127.0.0.1:8000",
        )
    _with_format(_command(acts, "list", "people:list_all", "List people with their last use.", "person list"))
    end = _command(acts, "end", "people:end", "End somebody's access at once.", 'person end "ann"')
    end.add_argument("name")


if __name__ == "__main__":
    sys.exit(main())
