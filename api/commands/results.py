"""Commands that print results: fit, change-outs, spares, cost, briefing, claims, score."""

import argparse
import sys
from dataclasses import replace
from typing import Final

from api.output import write
from api.past_forecasts import lines_of, score_of
from api.studies import ask, before_the_log
from api.words import step_of
from db.people import check_writer
from db.schema import check
from db.session import Session, open_engine
from lifecycle import study as chain
from lifecycle.claims import Claim

CHANGEOUT_COLUMNS: Final = (
    "serial",
    "brake_type",
    "registration",
    "position",
    "base",
    "pin_mm",
    "limit_mm",
    "read_on",
    "landings_p50",
    "date_p10",
    "date_p50",
    "date_p90",
    "kind",
)
READING_COLUMNS: Final = (
    "registration",
    "position",
    "serial",
    "base",
    "pin_mm",
    "limit_mm",
    "read_on",
    "landings",
    "latest_on",
    "aircraft_latest_on",
    "why",
)
TYPE_COLUMNS: Final = (
    "brake_type",
    "runs",
    "readings",
    "rate_mm_per_landing",
    "rate_low",
    "rate_high",
    "rate_sd",
    "path_sd",
    "measurement_sd",
    "warnings",
)
REMOVAL_COLUMNS: Final = (
    "brake_type",
    "cause",
    "removals",
    "landings",
    "per_1000",
    "per_1000_low",
    "per_1000_high",
    "landings_between",
    "shape",
)


def study_asked(asked: argparse.Namespace) -> chain.Study:
    """The study that the words of a command ask for; beside CSV and JSON, what they come from is said."""
    engine = open_engine(asked.db)
    check(engine)
    study = ask(engine, on=asked.on, known_on=asked.known_on, seed=asked.seed, known_head=asked.known_head)
    if asked.format != "table":
        sys.stderr.write(origin_of(study))
    if early := before_the_log(engine, study):
        sys.stderr.write(f"{early}\n")
    return study


def origin_of(study: chain.Study) -> str:
    """What a result comes from, in a line of its own."""
    return (
        f"study {study.number}, records as known on {study.known_on}, head of the log {study.ledger_head}\n"
    )


def refit(asked: argparse.Namespace) -> int:
    """Fit and print the types, or every run with `--brakes`; what drives wear goes into JSON."""
    result = chain.refit(study_asked(asked), brakes=asked.brakes, drivers=asked.format == "json")
    types = [{name: getattr(one, name) for name in TYPE_COLUMNS} for one in result.types]
    write(result, asked.format, rows=result.brakes if asked.brakes else types)
    return 0


def changeouts(asked: argparse.Namespace) -> int:
    """Print every installed brake with its landings and dates."""
    found = chain.changeouts(study_asked(asked), base=asked.base, risk=asked.risk)
    write(found, asked.format, columns=CHANGEOUT_COLUMNS)
    return 0


def spares(asked: argparse.Namespace) -> int:
    """Print demand and stock by base, type and month."""
    write(chain.spares(study_asked(asked), months=asked.months, level=asked.level), asked.format)
    return 0


def readings(asked: argparse.Namespace) -> int:
    """Print the latest day for the next reading of every installed brake."""
    found = chain.next_looks(study_asked(asked), base=asked.base, level=asked.level)
    write(found, asked.format, columns=READING_COLUMNS)
    return 0


def removals(asked: argparse.Namespace) -> int:
    """Print removals by type and cause with their rates."""
    found = chain.removals(study_asked(asked))
    write(found, asked.format, rows=found.rates, columns=REMOVAL_COLUMNS)
    return 0


def cost(asked: argparse.Namespace) -> int:
    """Print cost per braked landing by type."""
    result = chain.cost(study_asked(asked))
    write(result, asked.format, rows=result.types)
    return 0


def briefing(asked: argparse.Namespace) -> int:
    """Print the briefing, its yearly flows where a table or CSV is asked for; with `--freeze`, also keep it."""
    study = study_asked(asked)
    result = chain.briefing(study, from_type=asked.from_type, to_type=asked.to_type)
    number = _frozen(asked, study) if asked.freeze else 0
    write(result, asked.format, rows=result.by_year)
    if asked.format == "table":
        sys.stdout.write(origin_of(study))
    if number:
        sys.stderr.write(f"kept as edition {number}\n")
    return 0


def _frozen(asked: argparse.Namespace, study: chain.Study) -> int:
    """Keep the brief as an edition; its number."""
    from api.editions import freeze, frozen_of  # noqa: PLC0415 - its page's library is for those who freeze

    what = frozen_of(study, asked.from_type, asked.to_type, asked.freeze)
    with Session(open_engine(asked.db)) as session:
        check_writer(session, asked.person)
        number = freeze(session, what, person=asked.person, source="command")
        session.commit()
    return number


def claims(asked: argparse.Namespace) -> int:
    """Print what the records say of a claimed life, or ratio of lives."""
    found = chain.claims(
        study_asked(asked),
        asked.type,
        against=asked.against,
        landings=asked.landings,
        ratio=asked.ratio,
        guaranteed_cost=asked.guaranteed_cost,
        guaranteed_landings=asked.guaranteed_landings,
    )
    write(found, asked.format, rows=[_as_sure(found) if asked.format == "table" else found])
    return 0


def _as_sure(found: Claim) -> Claim:
    """The claim for eyes: no figure finer than a tenth of its range's width."""
    step = step_of(found.low, found.high)
    if step == 0:
        return found
    ends = {name: round(getattr(found, name) / step) * step for name in ("estimate", "low", "high")}
    return replace(found, **ends)


def score(asked: argparse.Namespace) -> int:
    """Print how right forecasts have been; a table or CSV has a line for each kind, or lists the misses."""
    found = score_of(open_engine(asked.db), study_asked(asked), asked.origins)
    write(found, asked.format, rows=found.misses if asked.misses else lines_of(found.issued, found))
    return 0
