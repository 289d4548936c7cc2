"""What happened to the brakes, as rows of the files: brakes, installations, shop visits, events and the rest."""

from typing import Any

import numpy as np
import pandas as pd

from seed_data.papers import NEVER, calendar, days_late
from seed_data.service import Service


def history_files(service: Service, rng: np.random.Generator) -> dict[str, Any]:
    """Rows of the files that tell what happened to the brakes."""
    journal, scenario = service.journal, service.scenario
    installed = _installations(service, rng)
    return {
        "brakes": _brakes(service, installed),
        "installations": installed.drop(columns="day"),
        "reshims": _dated(service, journal.reshims, "day"),
        "deactivations": _dated(service, journal.deactivations, "from", "to"),
        "events": _events(service),
        "exclusions": _dated(service, journal.exclusions, "from", "to", known="to"),
        "shop_visits": _shop_visits(service),
        "stock": _stock(service),
        "orders": [dict(row) | {"recorded_on": row["ordered_on"]} for row in scenario.orders],
    }


def _installations(service: Service, rng: np.random.Generator) -> pd.DataFrame:
    scenario = service.scenario
    rows = pd.DataFrame(service.journal.installations)
    day, removed = rows["installed_on"].to_numpy(), rows["removed_on"].to_numpy()
    late = np.where(day < 0, 0, days_late(scenario, len(rows), rng))
    known = np.minimum(day + late, np.where(removed == NEVER, scenario.days - 1, removed))
    counters = {
        name: rows[name].astype("Int64").where(rows[name] >= 0) for name in ("landings_on", "landings_off")
    }
    orders = np.array([f"WO-{50_000 + number}" for number in range(len(rows))], dtype=object)
    return pd.DataFrame(
        {
            "serial": rows["serial"],
            "registration": service.fleet.registrations(rows["aircraft"].to_numpy(), day),
            "position": rows["position"],
            "installed_on": calendar(scenario, day),
            "removed_on": calendar(scenario, removed),
            "removal_reason": rows["removal_reason"],
            "starts_as": rows["starts_as"],
            "start_pin": rows["start_pin"],
            "aircraft_landings_on": counters["landings_on"],
            "aircraft_landings_off": counters["landings_off"],
            "release_reference": [f"RF-{7_000 + number}" for number in range(len(rows))],
            "work_order": np.where(day < 0, "", orders),
            "note": np.where(day < 0, "fitted when the log began", ""),
            "recorded_on": calendar(scenario, known),
            "day": day,
        }
    )


def _brakes(service: Service, installed: pd.DataFrame) -> pd.DataFrame:
    """Each brake is written down when it first turns up: on an aircraft, back from an exchange, or on a shelf."""
    journal, kinds = service.journal, service.scenario.brake_types
    first = {row["serial_back"]: row["back_on"] for row in journal.shop_visits if row["serial_back"]}
    first |= installed.groupby("serial")["day"].min().to_dict()
    rows = []
    for brake in journal.brakes:
        since_new, since_overhaul = brake.landings_before
        rows.append(
            {
                "serial": brake.serial,
                "brake_type": kinds[brake.kind].brake_type,
                "owner": brake.owner,
                "arrangement": brake.arrangement,
                "landings_since_new": since_new or np.nan,
                "landings_since_overhaul": since_overhaul if since_new else np.nan,
                "day": first.get(brake.serial, -1),
            }
        )
    frame = pd.DataFrame(rows).query("day < @service.scenario.days")
    for name in ("landings_since_new", "landings_since_overhaul"):
        frame[name] = frame[name].astype("Int64")
    frame["recorded_on"] = calendar(service.scenario, frame.pop("day"))
    return frame


def _shop_visits(service: Service) -> pd.DataFrame:
    """Visits begun by the last day; what is not back yet has neither a day nor a cost."""
    scenario = service.scenario
    rows = pd.DataFrame(service.journal.shop_visits).sort_values("sent_on", ignore_index=True, kind="stable")
    rows = rows[rows["sent_on"] < scenario.days]
    away = rows["back_on"] >= scenario.days
    by_hour = np.array([kind.arrangement == "by the hour" for kind in scenario.brake_types])[rows["kind"]]
    return pd.DataFrame(
        {
            "serial": rows["serial"],
            "sent_on": calendar(scenario, rows["sent_on"]),
            "back_on": calendar(scenario, rows["back_on"].where(~away, NEVER)),
            "serial_back": rows["serial_back"].where(~away, ""),
            "work": rows["work"],
            "cost": rows["cost"].where(~away & ~by_hour),
            "currency": rows["currency"].where(~away & ~by_hour, ""),
            "recorded_on": calendar(scenario, rows["sent_on"]),
        }
    )


def _events(service: Service) -> pd.DataFrame:
    rows = pd.DataFrame(service.journal.events).sort_values("day", ignore_index=True, kind="stable")
    rows = rows[rows["day"] < service.scenario.days]
    names = service.fleet.registrations(rows["aircraft"].to_numpy(), rows["day"].to_numpy())
    told = rows.drop(columns="aircraft").assign(registration=names)
    return _dated(service, told, "day")


def _stock(service: Service) -> pd.DataFrame:
    """Counts, and how many brakes had come off at the base and were not sent yet."""
    scenario = service.scenario
    rows = pd.DataFrame(service.journal.stock)
    visits = pd.DataFrame(service.journal.shop_visits)[["base", "kind", "off", "sent_on"]]
    waiting = rows.merge(visits, on=["base", "kind"])
    waiting = waiting[
        (waiting["off"] <= waiting["counted_on"]) & (waiting["sent_on"] > waiting["counted_on"])
    ]
    count = waiting.groupby(["base", "kind", "counted_on"]).size()
    rows["unserviceable"] = count.reindex(
        pd.MultiIndex.from_frame(rows[count.index.names]), fill_value=0
    ).to_numpy()
    rows["brake_type"] = [scenario.brake_types[kind].brake_type for kind in rows.pop("kind")]
    rows["base"] = [scenario.bases[base].base for base in rows["base"]]
    return _dated(service, rows, "counted_on")


def _dated(
    service: Service, rows: pd.DataFrame | list[dict[str, Any]], *days: str, known: str = ""
) -> pd.DataFrame:
    """Rows with their counted days as dates, written down on the first of them or on `known`."""
    frame = pd.DataFrame(rows)
    frame["recorded_on"] = frame[known or days[0]]
    for name in (*days, "recorded_on"):
        frame[name] = calendar(service.scenario, frame[name].fillna(NEVER))
    return frame
