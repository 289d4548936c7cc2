"""Brakes by serial, their visits to a shop, and the stock that they are put into."""

from typing import Any

import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import table_of
from db.chain import Act
from db.entry.economics import CURRENCY
from db.entry.named import Mask, Named, Numbers
from db.entry.outcome import Outcome
from db.entry.possible import refuse_days_ahead
from db.files import FILES
from db.fleet_on import brake_types_of
from db.frames import frame_of
from db.lookup import among, brake_type_ids, current, find_brakes
from db.records.brakes import Brake, Occupancy, ShopVisit, StockMovement


def record_brakes(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter brakes: a serial of a brake type."""
    named = Named(session, FILES["brakes"], rows)
    more = (rows["landings_since_overhaul"] > rows["landings_since_new"]).to_numpy()
    rule = "is more than landings_since_new"
    named.refuse("landings_since_overhaul", more, rule, "check both counts")
    return named.record(act, Brake, brake_type=named.brake_types())


def record_shop_visits(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter shop visits; under an exchange another serial comes back."""
    named = Named(session, FILES["shop_visits"], rows)
    brakes = named.brakes()
    named.rows = rows.assign(brake_type_back=_types_back(session, rows, brakes))
    brakes_back = named.brakes("serial_back", "brake_type_back")
    own = brakes == brakes_back
    named.refuse(
        "serial_back", own, "is the brake that was sent", "leave it empty unless another brake came back"
    )
    undated = ((rows["serial_back"] != "") & rows["back_on"].isna()).to_numpy()
    named.refuse(
        "back_on", undated, "is empty, but serial_back is given", "write the day on which it came back"
    )
    bad = ((rows["currency"] != "") & ~rows["currency"].str.fullmatch(CURRENCY)).to_numpy()
    named.refuse("currency", bad, "is not a currency", "write its three letters, such as EUR (ISO 4217)")
    bare = (rows["cost"].notna() & (rows["currency"] == "")).to_numpy()
    named.refuse(
        "currency", bare, "is empty, but a cost is given", "write its three letters, such as EUR (ISO 4217)"
    )
    fitted = _fitted(session, rows, brakes)
    rule = "the brake is installed on an aircraft then; it cannot be in two places"
    named.refuse("sent_on", fitted, rule, "enter its removal first, or check the days")
    return named.record(act, ShopVisit, brake=brakes, brake_back=brakes_back)


def record_stock_movements(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter that brakes were put into the stock of a base; a brake on an aircraft or at a shop cannot be."""
    named = Named(session, FILES["stock_movements"], rows)
    refuse_days_ahead(named, "day")
    brakes = named.brakes()
    that_day = rows[["day"]].reset_index(drop=True).assign(brake=brakes, place=range(len(rows)))
    wanted = brakes[brakes > 0].astype(int).tolist()
    stays = frame_of(session, select(table_of(Occupancy)).where(among(Occupancy.brake, wanted)))
    on_it = that_day.merge(stays, on="brake")
    fitted = on_it[(on_it["from_on"] <= on_it["day"]) & ~(on_it["to_on"] <= on_it["day"])]
    visits = frame_of(session, current(ShopVisit).where(among(ShopVisit.brake, wanted)))
    at_it = that_day.merge(visits[["brake", "sent_on", "back_on"]], on="brake")
    away = at_it[(at_it["sent_on"] < at_it["day"]) & ~(at_it["back_on"] <= at_it["day"])]
    for found, where, what in (
        (fitted, "installed on an aircraft", "removal"),
        (away, "at a shop", "return from the shop"),
    ):
        bad: Mask = that_day["place"].isin(found["place"]).to_numpy(dtype=bool)
        rule = f"the brake is {where} then; it cannot be in two places"
        named.refuse("day", bad, rule, f"enter its {what} first, or check the day")
    return named.record(act, StockMovement, brake=brakes, base=named.bases())


def _types_back(session: Session, rows: pd.DataFrame, brakes: Numbers) -> "pd.Series[str]":
    """Type of the brake that came back: as given, else that of the brake sent if it has such a serial."""
    names = {number: name for name, number in brake_type_ids(session).items()}
    sent = pd.Series(brakes, index=rows.index).map(
        brake_types_of(session, brakes[brakes > 0].astype(int).tolist())
    )
    like_sent = sent.map(names).fillna("").astype("str")
    alike = find_brakes(session, rows["serial_back"], like_sent) > 0
    return rows["brake_type_back"].mask((rows["brake_type_back"] == "") & alike, like_sent)


def _fitted(session: Session, rows: pd.DataFrame, brakes: Numbers) -> Mask:
    """Visits during which the same brake is in a position; without a return, the day of sending is looked at."""
    wanted = among(Occupancy.brake, brakes[brakes > 0].astype(int).tolist())
    spans = frame_of(session, select(table_of(Occupancy)).where(wanted))
    visits = pd.DataFrame({"brake": brakes, "sent": rows["sent_on"].to_numpy(), "place": range(len(rows))})
    visits["back"] = rows["back_on"].mask(rows["serial_back"] != "").to_numpy()
    both = visits.merge(spans, on="brake")
    ends_later = both["to_on"].isna() | (both["sent"] < both["to_on"])
    begins_before = (both["from_on"] < both["back"]) | (
        both["back"].isna() & (both["from_on"] <= both["sent"])
    )
    fitted: Any = visits["place"].isin(both.loc[ends_later & begins_before, "place"])
    return fitted.to_numpy(dtype=bool)  # type: ignore[no-any-return]
