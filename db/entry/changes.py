"""What changes about an aircraft from a day on: base, weight variant, registration, status."""

from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.named import Named, Numbers, registration_advice
from db.entry.outcome import Outcome
from db.files import FILES
from db.lookup import registrations
from db.records.fleet import AircraftChange

ONE_DAY: Final = pd.Timedelta(days=1)


def record_aircraft_changes(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """
    Enter changes by the registration carried on their day.

    A new registration is entered under the one carried until then; later rows may use the new one.
    """
    named = Named(session, FILES["aircraft_changes"], rows)
    told = rows[["base", "weight_variant", "new_registration", "status"]] != ""
    rule, suggestion = (
        "says nothing of what changes",
        "write a base, weight_variant, new_registration or status",
    )
    named.refuse("status", ~told.any(axis=1).to_numpy(), rule, suggestion)
    aircraft = _aircraft_in_turn(named)
    return named.record(act, AircraftChange, aircraft=aircraft, base=named.bases())


def _aircraft_in_turn(named: Named) -> Numbers:
    """Aircraft of each row, renamings of the same file taken into account in the order of their days."""
    rows = named.rows
    asked = {*rows["registration"], *rows["new_registration"]} - {""}
    corrected = named.next_version().get("fact", pd.Series(dtype="int64"))
    held = _Held(registrations(named.session, asked, but=corrected.tolist()))
    found = np.full(len(rows), np.nan)
    taken = np.zeros(len(rows), dtype=bool)
    renames = (rows["new_registration"] != "").to_numpy()
    by_day = np.argsort(rows["from"].to_numpy(), kind="stable")
    for place in [*by_day[renames[by_day]], *by_day[~renames[by_day]]]:
        name, day, new = (
            rows["registration"].iloc[place],
            rows["from"].iloc[place],
            rows["new_registration"].iloc[place],
        )
        if not new:
            found[place] = held.aircraft(name, day) or held.aircraft(name, day - ONE_DAY) or np.nan
            continue
        number = held.aircraft(name, day - ONE_DAY)
        if number:
            found[place] = number
            taken[place] = held.aircraft(new, day) not in (None, number)
            held.rename(number, name, new, day)
    rule, suggestion = "is carried by another aircraft on that day", "check the registration and the day"
    named.refuse("new_registration", taken, rule, suggestion)
    advice = registration_advice(held.spans(), dict(zip(rows["row"], rows["from"], strict=True)))
    named.refuse("registration", np.isnan(found), *advice)
    return found


class _Held:
    """Who carries which registration, kept up to date while rows are read."""

    def __init__(self, spans: pd.DataFrame) -> None:
        self._spans: dict[str, list[tuple[int, pd.Timestamp, pd.Timestamp]]] = {}
        for span in spans.to_dict("records"):
            held = (span["aircraft"], span["from_on"], span["to_on"])
            self._spans.setdefault(span["registration"], []).append(held)

    def aircraft(self, name: str, day: pd.Timestamp) -> int | None:
        """Return the aircraft that carries the registration on a day, if there is exactly one."""
        on_day = {number for number, from_on, to_on in self._spans.get(name, []) if from_on <= day < to_on}
        return on_day.pop() if len(on_day) == 1 else None

    def rename(self, number: int, old: str, new: str, day: pd.Timestamp) -> None:
        """From that day the aircraft carries the new registration, until its next one."""
        spans = self._spans[old]
        at = next(i for i, (a, from_on, to_on) in enumerate(spans) if a == number and from_on < day <= to_on)
        _, from_on, to_on = spans[at]
        if to_on > day:  # else this renaming is on record already
            spans[at] = (number, from_on, day)
            self._spans.setdefault(new, []).append((number, day, to_on))

    def spans(self) -> pd.DataFrame:
        """Return the spans as `registrations` does."""
        rows = [(name, *span) for name, spans in self._spans.items() for span in spans]
        frame = pd.DataFrame(rows, columns=["registration", "aircraft", "from_on", "to_on"])
        return frame.astype({"registration": "str", "from_on": "datetime64[s]", "to_on": "datetime64[s]"})
