"""What is planned and what is taken as given: the flying plan of the bases that have one, and the assumptions."""

from typing import Any

import numpy as np
import pandas as pd

from seed_data.fleet import Fleet
from seed_data.flying import daily_level
from seed_data.scenario import Scenario

PLANNED_MONTHS = 12
PLANNED_GROWTH = 1.02


def planning_files(scenario: Scenario, fleet: Fleet) -> dict[str, Any]:
    """Rows of flying_plan and assumptions."""
    return {"flying_plan": _flying_plan(scenario, fleet), "assumptions": _assumptions(scenario)}


def _flying_plan(scenario: Scenario, fleet: Fleet) -> list[dict[str, Any]]:
    months = pd.date_range(scenario.last_day, periods=PLANNED_MONTHS, freq="MS")
    present = ~(fleet.grounded[-1] | fleet.sold[-1])
    kinds = fleet.aircraft["kind"].to_numpy()
    rows = []
    for index, base in enumerate(scenario.bases):
        if base.plans_flying:
            for month in months:
                daily = [daily_level(kind, month.month) for kind in scenario.aircraft_types]
                each = np.bincount(kinds[present & (fleet.base[-1] == index)], minlength=len(daily))
                flown = PLANNED_GROWTH * month.days_in_month * each * np.array(daily)
                hours = flown @ np.array([kind.hours_per_landing for kind in scenario.aircraft_types])
                row = {
                    "base": base.base,
                    "month": month.strftime("%Y-%m"),
                    "landings": round(flown.sum(), -1),
                }
                rows.append(
                    row | {"flight_hours": round(hours, -1), "recorded_on": scenario.assumptions_dated}
                )
    return rows


def _assumptions(scenario: Scenario) -> pd.DataFrame:
    rows = pd.DataFrame([dict(row) for row in scenario.assumptions])
    rows["unit"] = rows["unit"].str.replace("CUR", scenario.currency)
    columns = ["name", "aircraft_type", "brake_type", "base", "value", "unit", "low", "high"]
    dated = scenario.assumptions_dated
    return rows.reindex(columns=columns).assign(source=scenario.source, dated=dated, recorded_on=dated)
