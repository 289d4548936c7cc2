"""A second person's word on readings that are held."""

import numpy as np
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.chain import Act, append
from db.corrections import doubted_readings
from db.entry.outcome import Outcome, RowRecord
from db.errors import RowError, RowsRefusedError
from db.frames import frame_of
from db.lookup import among, current
from db.records.log import Change
from db.records.readings import PinReading, Ruling

WORDS = ("accepted", "refused")


def record_rulings(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """
    Record rulings on readings that are held or in doubt; nobody rules on one that they entered or put in doubt.

    Columns: row, reading (the record number), state (accepted or refused), note.
    """
    asked = rows.merge(
        _held(session, rows["reading"].tolist()), left_on="reading", right_on="fact", how="left"
    )
    unknown = asked["fact"].isna()
    errors = [
        *_errors(asked, unknown, "reading", "no reading has this record number", "check the number"),
        *_errors(
            asked,
            ~unknown & (asked["state_now"] != "held"),
            "reading",
            "this reading is neither held nor in doubt",
            "withdraw its ruling under Corrections first, if it was ruled on",
        ),
        *_errors(asked, ~asked["state"].isin(WORDS), "state", "is not a ruling", "write accepted or refused"),
        *_errors(
            asked,
            asked["people"].map(lambda people: act.person in people if isinstance(people, set) else False),
            "reading",
            f"was entered by {act.person}, or put in doubt by their correction, who cannot rule on it",
            "ask a second person",
        ),
        *_errors(asked, asked.duplicated("reading"), "reading", "is ruled on twice", "take one row out"),
    ]
    if errors:
        raise RowsRefusedError(tuple(sorted(errors, key=lambda error: error.row)))
    before = frame_of(session, current(Ruling, withdrawn=True).where(among(Ruling.reading, asked["reading"])))
    before = before.assign(supersedes=before["id"], version=before["version"] + 1)
    ruled = asked[["reading", "state", "note"]].merge(
        before[["reading", "fact", "version", "supersedes"]], on="reading", how="left"
    )
    ruled = ruled.fillna({"version": 1})
    (made,) = append(session, act, [(Ruling, ruled)]).records
    facts = ruled["fact"].fillna(pd.Series(made, index=ruled.index)).astype("int64").tolist()
    ruled_on = zip(asked["row"].tolist(), facts, ruled["version"].tolist(), strict=True)
    return Outcome(
        len(asked), records=tuple(RowRecord(row, fact, int(version)) for row, fact, version in ruled_on)
    )


def _held(session: Session, readings: list[int]) -> pd.DataFrame:
    """Readings with the state they are in and everybody who entered a version of them, or put them in doubt."""
    found = frame_of(session, current(PinReading).where(among(PinReading.fact, readings)))
    ruled = current(Ruling).where(among(Ruling.reading, readings))
    states = {row.reading: row.state for row in session.execute(ruled)}
    entered = (
        select(PinReading.fact, Change.person)
        .join(Change, Change.seq == PinReading.seq)
        .where(among(PinReading.fact, readings))
    )
    people: dict[int, set[str]] = {}
    for fact, person in session.execute(entered):
        people.setdefault(fact, set()).add(person)
    facts = found["fact"].tolist()
    for doubt in doubted_readings(session, facts):
        states[doubt.reading.fact] = "held"
        people[doubt.reading.fact].add(doubt.by)
    states_now = [states.get(fact, state) for fact, state in zip(facts, found["state"], strict=True)]
    return pd.DataFrame({"fact": facts, "state_now": states_now, "people": [people[fact] for fact in facts]})


def _errors(
    asked: pd.DataFrame, bad: "pd.Series[bool]", column: str, rule: str, suggestion: str
) -> list[RowError]:
    found = asked.loc[np.asarray(bad, dtype=bool)]
    # A record number comes as a number of its column, which may have a point.
    values = [str(int(value)) if column == "reading" else str(value) for value in found[column]]
    rows = found["row"].tolist()
    return [
        RowError("rulings", int(row), column, value, rule, suggestion)
        for row, value in zip(rows, values, strict=True)
    ]
