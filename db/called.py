"""What record numbers are called in the files: registrations by day, serials with their types, names."""

import datetime as dt
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from db.files import GIVES_NAMES, File
from db.files.column import NOT_KEPT

# The brake whose type a column tells beside a serial.
BRAKE_OF: Final = {"brake_type": "brake", "brake_type_back": "brake_back"}
# The day by which an aircraft's registration is told, in files that name one.
DAY_OF: Final = {
    "aircraft_changes": "from_on",
    "effectivity": "from_on",
    "installations": "installed_on",
    "counter_changes": "day",
    "landings": "day",
    "events": "day",
    "exclusions": "from_on",
    "flying_plan": "month",
}
LATEST: Final = pd.Timestamp("9998-12-31").as_unit("s")
ONE_DAY: Final = pd.Timedelta(days=1)


class Names:
    """What record numbers are called in the files; of kinds that are not given none is called anything."""

    def __init__(self, facts: Mapping[str, pd.DataFrame]) -> None:
        def by_number(name: str, text: str) -> dict[int, Any]:
            if name not in facts:
                return {}
            return dict(zip(facts[name]["fact"].tolist(), facts[name][text].tolist(), strict=True))

        self._names = {name: by_number(f"{name}s", name) for name in ("base", "aircraft_type", "brake_type")}
        self._serials = by_number("brakes", "serial")
        types = self._names["brake_type"]
        self._types = {
            brake: types.get(kind, "") for brake, kind in by_number("brakes", "brake_type").items()
        }
        if "aircraft" not in facts:
            return
        first = facts["aircraft"][["fact", "registration"]].rename(columns={"fact": "aircraft"})
        first["from_on"] = pd.Timestamp(dt.date.min).as_unit("s")
        later = facts["aircraft_changes"][["aircraft", "new_registration", "from_on"]]
        later = later[later["new_registration"] != ""].rename(columns={"new_registration": "registration"})
        self._spans = pd.concat([first, later]).sort_values("from_on").astype({"aircraft": "float64"})

    def told(self, file: File, column: str, facts: pd.DataFrame) -> "pd.Series[Any]":
        """Return a column of a file as its rows tell it."""
        field = file.field(column)
        if column == "approved":
            return facts["approved"].map({True: "yes", False: "no"}).astype("str")
        if field == "aircraft":
            return self._registration(file, facts)
        if field in ("brake", "brake_back"):
            return _called(self._serials, facts[field])
        if column in BRAKE_OF and field == NOT_KEPT:
            return _called(self._types, facts[BRAKE_OF[column]])
        if column in self._names and GIVES_NAMES.get(file.name, ("", ""))[0] != column:
            return _called(self._names[column], facts[field])
        return facts["known_on"] if column == "recorded_on" else facts[field]

    def _registration(self, file: File, facts: pd.DataFrame) -> "pd.Series[Any]":
        """Return what the aircraft was called on the row's day; a renaming is told under the name before it."""
        day = facts[DAY_OF[file.name]].fillna(LATEST)
        if "new_registration" in facts:
            day = day.mask(facts["new_registration"] != "", day - ONE_DAY)
        asked = pd.DataFrame(
            {"aircraft": facts["aircraft"].astype("float64"), "day": day, "place": range(len(facts))}
        )
        found = pd.merge_asof(
            asked.sort_values("day"), self._spans, left_on="day", right_on="from_on", by="aircraft"
        ).sort_values("place")
        return pd.Series(found["registration"].fillna("").to_numpy(), index=facts.index, dtype="str")


def _called(names: Mapping[int, str], numbers: "pd.Series[Any]") -> "pd.Series[Any]":
    called = [names.get(number, "") for number in numbers]
    return pd.Series(called, index=numbers.index, dtype="str")
