"""Pieces of the command line: how a command is added, and the words that many take."""

import argparse
import os
from typing import TYPE_CHECKING

from api.typed_words import address, day

if TYPE_CHECKING:
    Commands = argparse._SubParsersAction[argparse.ArgumentParser]  # noqa: SLF001 - its public name has no type


def command(
    commands: "Commands",
    name: str,
    does: str,
    text: str,
    *examples: str,
) -> argparse.ArgumentParser:
    """Add a command on a ledger; `does` names the module and the function that carry it out."""
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


def with_format(made: argparse.ArgumentParser) -> None:
    """It prints a result in one of three forms."""
    made.add_argument("--format", choices=("table", "json", "csv"), default="table", help="default table")


def with_person(made: argparse.ArgumentParser, what: str) -> None:
    """It writes in somebody's name."""
    user = os.environ.get("USER", "command line")
    made.add_argument(
        "--person", default=user, help=f"{what}: one with access, where people are on record; default $USER"
    )


def with_known(made: argparse.ArgumentParser) -> None:
    """It speaks of the ledger as it was known then."""
    made.add_argument("--known-on", type=day, metavar="DATE", help="as recorded by then; default now")
    made.add_argument(
        "--known-head",
        default="",
        metavar="HEAD",
        help="as recorded up to the change of this head of the log",
    )


def result(commands: "Commands", name: str, text: str, *examples: str) -> argparse.ArgumentParser:
    """Add a command that gives a result of one study."""
    made = command(commands, name, f"results:{name}", text, *examples)
    made.add_argument(
        "--on", type=day, metavar="DATE", help="day forecast from; default the last day on record"
    )
    with_known(made)
    made.add_argument("--seed", type=int, default=1, help="seed of every random draw; default 1")
    with_format(made)
    return made
