"""
Readings that nobody should trust unseen: grown without a reason, or slipped by a factor that hands slip by.

A doubtful reading is kept and held for a second person. What it looks like is said, a value is never offered.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from sqlalchemy.orm import Session

from db.entry.flown import landings_at_most
from db.frames import frame_of
from db.lookup import among, current
from db.records.brakes import Installation, Reshim, ShopVisit

# Two readings of one pin differ by gauge and hand; beyond this a pin has grown (common practice, no source).
GROWTH_NM: Final = 1_000_000
# Near enough to the reading before to take a slipped value for it, as a share of the length when new.
NEAR: Final = 0.12
NEAR_NM: Final = 6_000_000
# More than five thousandths of an inch a landing is not known of any airliner's brake (common practice, no source).
WEAR_MAX_NM: Final = 127_000
SLIPS: Final = (
    (10.0, ("mm", "in"), "looks like a slip of the decimal point (ten times too small)"),
    (0.1, ("mm", "in"), "looks like a slip of the decimal point (ten times too large)"),
    (100.0, ("mm", "in"), "looks like a slip of the decimal point (a hundred times too small)"),
    (0.01, ("mm", "in"), "looks like a slip of the decimal point (a hundred times too large)"),
    (25.4, ("mm",), "looks like inches written as millimetres"),
    (1 / 25.4, ("in",), "looks like millimetres written as inches"),
)
LOOK_AGAIN: Final = "; look at the sheet or the pin again"
RUN_BEGINS: Final = ("new", "overhauled", "refurbished", "unknown")
RENEWED: Final = ("new", "overhauled", "refurbished")


@dataclass(frozen=True)
class Doubt:
    """Why a reading is held; `slip` if a slip of the hand would explain it."""

    text: str
    slip: bool


def on_one_scale(readings: pd.DataFrame) -> pd.DataFrame:
    """
    Add `left_nm`, `sign` and `scale`: lengths that can be compared are on one scale.

    left = pin = new pin - used = new pin - (gap - new gap); where the new lengths are not known, gap and used are
    turned round and compared among themselves.
    """
    new_pin, new_gap = readings["new_pin_mm"] * 1e6, readings["new_gap_mm"] * 1e6
    convention = readings["convention"]
    offset = new_pin.where(convention == "used", new_pin + new_gap).mask(convention == "left", 0.0)
    sign = pd.Series(np.where(convention == "left", 1.0, -1.0), index=readings.index)
    left = (sign * readings["pin_nm"] + offset.fillna(0.0)).where(readings["pin_nm"] >= 0)
    scale = convention.where(offset.isna(), "left")
    return readings.assign(
        left_nm=left, sign=sign, offset_nm=offset.fillna(0.0), scale=scale, since=readings["day"]
    )


def doubts(session: Session, readings: pd.DataFrame) -> dict[int, Doubt]:
    """
    Say which new readings are doubtful, by row, and why.

    `readings` are those of the brakes in question, on record (row 0, accepted ones) and new, on one scale; hot or
    released ones left out. In each round the first doubtful reading of each brake steps aside, so that it makes none
    of its followers look odd.
    """
    begins = run_beginnings(session, readings["brake"].unique().tolist())
    line = pd.concat([readings, _begun(begins, readings)], ignore_index=True)
    line = line.sort_values(["brake", "scale", "day", "row"], kind="stable").reset_index(drop=True)
    line["landings"] = landings_at_most(session, line)
    found: dict[int, Doubt] = {}
    while True:
        round_ = _first_doubts(line, begins)
        if not round_:
            return found
        found.update(round_)
        brakes = line.loc[line["row"].isin(list(round_)), "brake"].unique()
        line = line[line["brake"].isin(brakes) & ~line["row"].isin(list(round_))]


def run_beginnings(session: Session, brakes: list[int]) -> pd.DataFrame:
    """Days on which a brake's pin may rightly be longer than before: brake, day, starts_as, start_pin_mm."""
    installed = frame_of(session, current(Installation).where(among(Installation.brake, brakes)))
    installed = installed[installed["starts_as"].isin(RUN_BEGINS)].rename(columns={"installed_on": "day"})
    shimmed = frame_of(session, current(Reshim).where(among(Reshim.brake, brakes)))
    sent = frame_of(session, current(ShopVisit).where(among(ShopVisit.brake, brakes)))
    sent = sent.assign(day=sent["back_on"].fillna(sent["sent_on"]))
    parts = [
        installed[["brake", "day", "starts_as", "start_pin_mm"]],
        shimmed[["brake", "day"]],
        sent[["brake", "day"]],
    ]
    return pd.concat(parts, ignore_index=True).sort_values("day").astype({"brake": "int64"})


def _begun(begins: pd.DataFrame, readings: pd.DataFrame) -> pd.DataFrame:
    """Return the length at the start of a run, known without a reading, as a reading just after it began."""
    new_pin = readings.drop_duplicates("brake").set_index("brake")["new_pin_mm"]
    begun = begins[begins["starts_as"].isin(RENEWED)]
    length_mm = begun["start_pin_mm"].fillna(begun["brake"].map(new_pin))
    begun = begun.assign(left_nm=length_mm * 1e6, row=0, scale="left", resolution_nm=0)
    begun = begun.assign(since=begun["day"] + pd.Timedelta(seconds=1))
    return begun.loc[
        begun["left_nm"].notna(), ["brake", "day", "since", "left_nm", "row", "scale", "resolution_nm"]
    ]


def _first_doubts(line: pd.DataFrame, begins: pd.DataFrame) -> dict[int, Doubt]:
    """Return the first doubtful new reading of each brake and scale against the one before it."""
    groups = line.groupby(["brake", "scale"], sort=False)
    before = groups[["left_nm", "since", "landings", "resolution_nm"]].shift()
    after = groups[["left_nm", "day", "row", "resolution_nm"]].shift(-1)
    margin = GROWTH_NM + line["resolution_nm"]
    same_run = ~_renewed(begins, line["brake"], before["since"], line["day"])
    grown = same_run & (line["left_nm"] > before["left_nm"] + margin + before["resolution_nm"])
    run_goes_on = ~_renewed(begins, line["brake"], line["day"], after["day"])
    # The next reading is longer, and would have been no surprise after the one before: this one is out of line.
    late = (
        run_goes_on
        & (after["left_nm"] > line["left_nm"] + margin + after["resolution_nm"])
        & ((after["row"] == 0) | (after["left_nm"] <= before["left_nm"] + margin))
    )
    worn_out = same_run & (
        before["left_nm"] - line["left_nm"] > (line["landings"] - before["landings"]) * WEAR_MAX_NM + margin
    )
    slip = _slips(line, before["left_nm"], grown | worn_out).where(same_run, "")
    text = slip.mask((slip == "") & grown, _growth(line))
    text = text.mask(
        (text == "") & worn_out, "is shorter than the landings since the reading before can have worn it"
    )
    text = text.mask(
        (text == "") & late, "is shorter than the next reading, and no re-shim or new run is on record"
    )
    doubtful = line[(text != "") & (line["row"] > 0)].drop_duplicates(["brake", "scale"])
    return {
        row: Doubt(words + LOOK_AGAIN, slip=words.startswith("looks like"))
        for row, words in zip(doubtful["row"].tolist(), text[doubtful.index], strict=True)
    }


def _growth(line: pd.DataFrame) -> "pd.Series[str]":
    near_new = (line["new_pin_mm"] * 1e6 - line["left_nm"]).abs() <= GROWTH_NM
    texts = np.where(
        near_new,
        "is about as long as when new, but no overhaul or re-shim is on record",
        "is longer than the reading before, and no re-shim or new run is on record",
    )
    return pd.Series(texts, index=line.index, dtype="str")


def _slips(line: pd.DataFrame, before_nm: "pd.Series[float]", far: "pd.Series[bool]") -> "pd.Series[str]":
    """Say what slip would explain a reading that cannot follow the one before; "" where none would."""
    near = (line["new_pin_mm"] * NEAR * 1e6).fillna(NEAR_NM)
    margin = GROWTH_NM + line["resolution_nm"]
    text = pd.Series("", index=line.index, dtype="str")
    for factor, units, words in SLIPS:
        slipped = line["sign"] * line["pin_nm"] * factor + line["offset_nm"]
        fits = (
            far
            & (text == "")
            & line["unit"].isin(units)
            & (slipped >= before_nm - near)
            & (slipped <= before_nm + margin)
        )
        text = text.mask(fits, words)
    return text


def _renewed(
    begins: pd.DataFrame,
    brake: "pd.Series[int]",
    since: "pd.Series[pd.Timestamp]",
    until: "pd.Series[pd.Timestamp]",
) -> "pd.Series[bool]":
    """Whether the pin may have become longer between two days, both included."""
    asked = pd.DataFrame({"brake": brake, "since": since, "day": until}).reset_index(names="place")
    asked = asked.dropna(subset=["day"]).sort_values("day")
    latest = pd.merge_asof(asked, begins[["brake", "day"]].assign(begun=begins["day"]), on="day", by="brake")
    renewed = latest.set_index("place")
    return (renewed["begun"] >= renewed["since"]).reindex(brake.index, fill_value=False)
