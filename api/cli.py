"""The command line: words in, one command called, exit status out. Heavy imports wait until a command needs them."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from importlib.metadata import version
from typing import TYPE_CHECKING, Final

from api.command_words import command, with_format, with_known, with_person
from api.result_words import result_commands
from api.typed_words import count, separator

if TYPE_CHECKING:
    from api.command_words import Commands

DONE: Final = 0
REFUSED: Final = 1


def main(words: Sequence[str] | None = None) -> int:
    """Run one command; 0 done, 1 refused or "no", 2 wrong use."""
    asked = _parser().parse_args(words)
    # Threads of the linear algebra library cost more than they bring on matrices as small as ours.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    module, _, function = asked.does.partition(":")
    run = getattr(importlib.import_module(f"api.commands.{module}"), function)
    try:
        return int(run(asked))
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
    result_commands(commands)
    _service_commands(commands)
    _people_commands(commands)
    return parser


def _ledger_commands(commands: "Commands") -> None:
    made = command(
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
    out = command(
        commands,
        "export",
        "ledger:export",
        "Write the whole ledger as the folder that import reads.",
        "export out/ --known-on 2026-06-30",
    )
    out.add_argument("folder", help="folder to write (made if missing), or a name ending in .xlsx")
    with_known(out)
    with_format(out)
    check = command(
        commands,
        "verify",
        "verify:verify",
        "Recompute the hash chain of the log; exit 1 names the first broken sequence number.",
        "verify --rebuild",
        "verify --anchor /elsewhere/anchors.csv",
    )
    check.add_argument(
        "--anchor",
        metavar="FILE",
        help="heads kept elsewhere, all checked: a file of anchors, an export's README.txt or editions.json, "
        "what verify, briefing or editions printed as JSON, or a head itself; "
        "default $PINLEDGER_ANCHORS, which also gets a line a day",
    )
    check.add_argument(
        "--begin-anchors",
        action="store_true",
        help="begin the file at $PINLEDGER_ANCHORS, where none was ever kept; a lost one is to be found instead",
    )
    check.add_argument(
        "--rebuild",
        action="store_true",
        help="also rebuild every table of records from the log and compare, with where each brake is and the loads; "
        "people, sheets, studies and uploads are no part of the log, and outside it",
    )
    with_format(check)


def _backup_commands(commands: "Commands") -> None:
    out = command(
        commands,
        "backup",
        "ledger:backup",
        "Write the whole ledger, history and people included, into one verified file, while work goes on.",
        "backup /elsewhere/ --db fleet.db",
        "backup fleet.zip --db postgresql://ledger@host/fleet",
    )
    out.add_argument("file", help="file to write, or a folder that gets one named by the moment")
    with_format(out)
    back = command(
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
    with_format(back)


def _load_commands(commands: "Commands") -> None:
    load = command(
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
    with_person(load, "who loads")
    with_format(load)
    listed = command(
        commands, "loads", "loads:loads", "List the loads that were made, the latest first.", "loads"
    )
    with_format(listed)
    back = command(
        commands,
        "withdraw-load",
        "loads:withdraw",
        "Withdraw a load whole, with a reason; refused where later records rest on it.",
        'withdraw-load 7 --reason "the file of another year"',
    )
    back.add_argument("number", type=count, help="as `pinledger loads` lists it")
    back.add_argument("--reason", required=True, help="why, in a few words")
    with_person(back, "who withdraws")
    with_format(back)


def _service_commands(commands: "Commands") -> None:
    demo = command(
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
    serve = command(
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


def _people_commands(commands: "Commands") -> None:
    person = commands.add_parser(
        "person",
        help="Add people, give one-time links, list them, end access.",
        description="Who may come in. The first administrator is added here; there is no password from the start.",
        epilog='examples:\n  pinledger person add "ann" --role administrator\n  pinledger person list',
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    acts = person.add_subparsers(title="what to do", metavar="WHAT", required=True)
    add = command(
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
    link = command(acts, "link", "people:link", "Print a new one-time link.", 'person link "ann"')
    link.add_argument("name")
    link.add_argument(
        "--lost-authenticator", action="store_true", help="take their authenticator away; be sure who asks"
    )
    link.add_argument(
        "--lost-password", action="store_true", help="a new password may be set by it; ends their tokens then"
    )
    for made in (add, link):
        made.add_argument(
            "--address",
            default=os.environ.get("PINLEDGER_ADDRESS", "http://127.0.0.1:8000"),
            help="where people reach the service; default $PINLEDGER_ADDRESS, else http://127.0.0.1:8000",
        )
    with_format(command(acts, "list", "people:list_all", "List people with their last use.", "person list"))
    end = command(acts, "end", "people:end", "End somebody's access at once.", 'person end "ann"')
    end.add_argument("name")


if __name__ == "__main__":
    sys.exit(main())
