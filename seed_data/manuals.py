"""Papers that stand before any flying: types, limits and what may be fitted where."""

import datetime as dt
from collections.abc import Iterator
from typing import Any, Final

import pandas as pd

from seed_data.fleet import Fleet
from seed_data.papers import calendar
from seed_data.scenario import BrakeKind, CraftType, Scenario

ISSUED: Final = dt.date(2012, 3, 1)  # of the manuals in force when the log begins


def manual_files(scenario: Scenario, fleet: Fleet) -> dict[str, Any]:
    """Rows of the files that name bases, types, limits, effectivity and aircraft."""
    eve = scenario.first_day - dt.timedelta(1)
    return {
        "bases": [
            {"base": base.base, "name": base.name, "kind": base.kind, "recorded_on": eve}
            for base in scenario.bases
        ],
        "aircraft_types": [_aircraft_type(kind) | {"recorded_on": eve} for kind in scenario.aircraft_types],
        "brake_types": [_brake_type(scenario, kind) for kind in scenario.brake_types],
        "wear_limits": [row for kind in scenario.brake_types for row in _limits(scenario, kind)],
        "effectivity": list(_effectivity(scenario)),
        "aircraft": _aircraft(scenario, fleet).assign(recorded_on=eve),
        "aircraft_changes": _changes(scenario, fleet),
    }


def _known(scenario: Scenario, brake_type: str) -> dt.date:
    """The proposed type is heard of when its bulletin is issued."""
    eve = scenario.first_day - dt.timedelta(1)
    return scenario.retrofit.effective_on if brake_type == scenario.retrofit.proposed else eve


def _aircraft_type(kind: CraftType) -> dict[str, Any]:
    return {
        "aircraft_type": kind.aircraft_type,
        "positions": ";".join(kind.positions),
        "position_groups": ";".join(kind.groups),
        "landing_mass_kg": kind.landing_mass_kg,
        "touchdown_speed_kt": kind.touchdown_speed_kt,
    }


def _brake_type(scenario: Scenario, kind: BrakeKind) -> dict[str, Any]:
    names = ("brake_type", "maker", "material", "mass_kg", "pins", "new_pin_mm")
    return {name: getattr(kind, name) for name in names} | {"recorded_on": _known(scenario, kind.brake_type)}


def _limits(scenario: Scenario, kind: BrakeKind) -> Iterator[dict[str, Any]]:
    known = _known(scenario, kind.brake_type)
    for variant, left in {"": kind.limit_left_mm, **kind.variant_limits}.items():
        row = _limit(kind, variant, left) | {"effective_on": min(known, ISSUED), "recorded_on": known}
        yield row | {"source": f"invented manual {kind.brake_type[:2]}-32, revision 7"}
    for revision in scenario.limit_revisions:
        if revision["brake_type"] == kind.brake_type:
            row = _limit(kind, revision["weight_variant"], revision["limit_left_mm"])
            row |= {"effective_on": revision["from"], "recorded_on": revision["from"]}
            yield row | {"source": revision["source"]}


def _limit(kind: BrakeKind, variant: str, left_mm: float) -> dict[str, Any]:
    typed = left_mm if kind.convention == "left" else kind.new_pin_mm - left_mm
    row = {"brake_type": kind.brake_type, "weight_variant": variant, "convention": kind.convention}
    return row | {"limit": f"{typed:.1f}", "unit": "mm", "at_limit": "off"}


def _effectivity(scenario: Scenario) -> Iterator[dict[str, Any]]:
    for kind in scenario.aircraft_types:
        several = len(set(kind.brake_types)) > 1
        for brake_type in dict.fromkeys(kind.brake_types):
            row = {"aircraft_type": kind.aircraft_type, "brake_type": brake_type, "from": ISSUED}
            row |= {"mix": "same group" if several else "none", "recorded_on": _known(scenario, brake_type)}
            yield row | {"source": f"invented parts catalogue {kind.letter}-32"}
    retrofit = scenario.retrofit
    row = {"aircraft_type": retrofit.aircraft_type, "brake_type": retrofit.proposed, "mix": "none"}
    row |= {"from": retrofit.effective_on, "recorded_on": retrofit.effective_on}
    yield row | {"source": retrofit.source}


def _aircraft(scenario: Scenario, fleet: Fleet) -> pd.DataFrame:
    names = [base.base for base in scenario.bases]
    rows = fleet.aircraft.assign(base=[names[index] for index in fleet.aircraft["base_index"]])
    columns = [
        "registration",
        "msn",
        "aircraft_type",
        "base",
        "weight_variant",
        "in_service_on",
        "retires_on",
    ]
    return rows[columns]


def _changes(scenario: Scenario, fleet: Fleet) -> pd.DataFrame:
    rows = pd.DataFrame(fleet.changes).sort_values(["day", "aircraft"], ignore_index=True)
    day = rows["day"].to_numpy()
    before = fleet.registrations(rows["aircraft"].to_numpy(), day - 1)
    told = {name: rows.get(name, "") for name in ("base", "new_registration", "status")}
    return pd.DataFrame(
        {
            "registration": before,
            "from": calendar(scenario, day),
            **told,
            "recorded_on": calendar(scenario, day),
        }
    )
