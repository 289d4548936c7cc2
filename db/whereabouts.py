"""Where each brake is now, as the records have it: on an aircraft, at a shop, in stock, scrapped, or in no place."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from db.base import table_of
from db.fleet_on import registrations_of
from db.frames import frame_of, records
from db.lookup import among, base_ids, brakes_known, current
from db.records.brakes import Brake, Occupancy, ShopVisit, StockMovement

ON_AIRCRAFT: Final = "on an aircraft"
AT_SHOP: Final = "at the shop"
BACK: Final = "back from the shop"
EXCHANGED: Final = "exchanged"
SCRAPPED: Final = "scrapped"
IN_STOCK: Final = "in stock"
OFF: Final = "off, no place on record"
NEVER_ON: Final = "never installed"
GONE: Final = (EXCHANGED, SCRAPPED)
CANNOT_GO_ON: Final = (AT_SHOP, *GONE)
RENEWED_AS: Final = {"overhaul": "overhauled", "refurbish": "refurbished"}
# Of two on one day the later in this list is the one that holds.
IN_ORDER: Final = (OFF, BACK, IN_STOCK)


@dataclass(frozen=True)
class Whereabouts:
    """One brake and its place; what does not apply is empty."""

    brake: int
    serial: str
    brake_type: str
    kind: str
    since: dt.date | None = None
    registration: str = ""
    position: str = ""
    base: str = ""
    work: str = ""
    condition: str = ""
    starts_as: str = ""

    @property
    def told(self) -> str:
        """Its place in words."""
        since = f" since {self.since}" if self.since else ""
        return {
            ON_AIRCRAFT: f"on {self.registration}, position {self.position},{since}",
            AT_SHOP: f"at the shop ({self.work}){since}",
            BACK: f"back from the shop ({self.work}){since}",
            EXCHANGED: f"left with the shop in exchange{since}",
            SCRAPPED: f"scrapped{since}",
            IN_STOCK: f"in stock at {self.base}, {self.condition},{since}",
            OFF: f"off {self.registration}, position {self.position},{since}; no place on record",
            NEVER_ON: "never installed; no place on record",
        }[self.kind]


def whereabouts(session: Session, brakes: Iterable[int]) -> dict[int, Whereabouts]:
    """Return where each of these brakes is now."""
    wanted = set(brakes)
    known = brakes_known(session, among(Brake.fact, wanted))
    stays = _latest(session, select(table_of(Occupancy)), Occupancy.brake, wanted, "from_on")
    visits = _latest(session, current(ShopVisit), ShopVisit.brake, wanted, "sent_on")
    kept = _latest(session, current(StockMovement), StockMovement.brake, wanted, "day")
    new = current(Brake).where(among(Brake.fact, wanted), Brake.landings_since_new == 0)
    unflown = set(session.scalars(new.with_only_columns(Brake.fact)))
    came = current(ShopVisit).where(among(ShopVisit.brake_back, wanted)).order_by(ShopVisit.back_on)
    works = {row.brake_back: (row.back_on, row.work) for row in session.execute(came)}
    names = {number: name for name, number in base_ids(session).items()}
    called = registrations_of(session, {stay["aircraft"] for stay in stays.values()})
    found = {}
    for row in records(known[known["brake"].isin(wanted)]):
        number = row["brake"]
        stay, visit = stays.get(number), visits.get(number)
        place = _place(stay, visit, kept.get(number), called, names)
        if place["kind"] == NEVER_ON and number in works:
            place = {"kind": BACK, "since": works[number][0], "work": works[number][1]}
        start = _start(stay, visit, works.get(number), new=number in unflown)
        found[number] = Whereabouts(number, row["serial"], row["brake_type"], **{"starts_as": start, **place})
    return found


def brakes_ending(session: Session, tail: str) -> list[int]:
    """Return the brakes whose serial ends in these characters, capitals or not."""
    ends = func.upper(Brake.serial).endswith(tail.upper(), autoescape=True)
    return [int(number) for number in brakes_known(session, ends)["brake"]]


def off_without_place(session: Session) -> list[int]:
    """Return the brakes that came off an aircraft and of which nothing later is on record."""
    ends = func.max(func.coalesce(Occupancy.to_on, dt.date.max))
    last = select(Occupancy.brake, ends.label("to_on")).group_by(Occupancy.brake).subquery()
    gone = select(last.c.brake).where(last.c.to_on < dt.date.max)
    later = [
        current(model).where(column == last.c.brake, day >= last.c.to_on).with_only_columns(model.id).exists()
        for model, column, day in (
            (ShopVisit, ShopVisit.brake, func.coalesce(ShopVisit.back_on, dt.date.max)),
            (StockMovement, StockMovement.brake, StockMovement.day),
        )
    ]
    return sorted(session.scalars(gone.where(*(~each for each in later))))


def _latest(session: Session, rows: Any, brake: Any, wanted: set[int], day: str) -> dict[int, dict[str, Any]]:  # noqa: ANN401 - a query and its column
    frame = frame_of(session, rows.where(among(brake, wanted)))
    order = ["open", day] if "to_on" in frame else [day]
    if "to_on" in frame:
        frame["open"] = frame["to_on"].isna()
    frame = frame.sort_values(order, kind="stable").drop_duplicates("brake", keep="last")
    return {row["brake"]: row for row in records(frame)}


def _place(
    stay: dict[str, Any] | None,
    visit: dict[str, Any] | None,
    kept: dict[str, Any] | None,
    called: dict[int, str],
    bases: dict[int, str],
) -> dict[str, Any]:
    on = {} if stay is None else {"registration": called[stay["aircraft"]], "position": stay["position"]}
    if stay is not None and pd.isna(stay["to_on"]):
        return {"kind": ON_AIRCRAFT, "since": stay["from_on"].date(), **on}
    if visit is not None and visit["work"] == "scrap":
        return {"kind": SCRAPPED, "since": visit["sent_on"].date()}
    if visit is not None and pd.isna(visit["back_on"]):
        return {"kind": AT_SHOP, "since": visit["sent_on"].date(), "work": visit["work"]}
    places: list[dict[str, Any]] = []
    if stay is not None:
        places.append({"kind": OFF, "since": stay["to_on"].date(), **on})
    if visit is not None:
        kind = BACK if pd.isna(visit["brake_back"]) else EXCHANGED
        places.append({"kind": kind, "since": visit["back_on"].date(), "work": visit["work"]})
    if kept is not None:
        place = {"base": bases.get(kept["base"], ""), "condition": kept["condition"]}
        places.append({"kind": IN_STOCK, "since": kept["day"].date(), **place})
    if not places:
        return {"kind": NEVER_ON}
    rank = {kind: at for at, kind in enumerate(IN_ORDER)} | {EXCHANGED: 1}
    return max(places, key=lambda place: (place["since"], rank[place["kind"]]))


def _start(
    stay: dict[str, Any] | None,
    visit: dict[str, Any] | None,
    came: tuple[dt.date, str] | None,
    *,
    new: bool,
) -> str:
    """What the brake would start as by what is on record of it; empty where the records do not say."""
    last_on = dt.date.min if stay is None or pd.isna(stay["to_on"]) else stay["to_on"].date()
    renewals = [came] if came else []
    if visit is not None and not pd.isna(visit["back_on"]):
        renewals.append((visit["back_on"].date(), visit["work"]))
    later = [work for day, work in sorted(renewals) if day >= last_on and work in RENEWED_AS]
    if later:
        return RENEWED_AS[later[-1]]
    if stay is not None:
        return "same run"
    return "new" if new else ""
