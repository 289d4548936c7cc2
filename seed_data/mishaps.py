"""What happens to single aircraft and brakes: conversions, checks, faults, and what is written down about them."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from seed_data.scenario import Incident
from seed_data.service import Service

CAUSE: Final = {"dragging": "dragging", "overheat": "overheat", "rejected take-off": "rejected take-off"}
EVENT: Final = {**CAUSE, "anti-skid fault": "anti-skid fault"}


@dataclass(frozen=True)
class Mishaps:
    """Incidents by the day (counted) on which something is to be done."""

    begin: dict[int, list[Incident]]
    end: dict[int, list[Incident]]
    conversions: dict[int, list[int]]


def plan_mishaps(service: Service) -> Mishaps:
    """Sort the scenario's incidents by day."""
    scenario = service.scenario
    planned = Mishaps({}, {}, {})
    for incident in scenario.incidents:
        if incident.aircraft:
            planned.begin.setdefault((incident.from_on - scenario.first_day).days, []).append(incident)
            if incident.to_on is not None:
                planned.end.setdefault((incident.to_on - scenario.first_day).days, []).append(incident)
    for number, on in scenario.retrofit.conversions:
        aircraft = service.fleet.find(scenario.retrofit.aircraft_type, number)
        planned.conversions.setdefault((on - scenario.first_day).days, []).append(aircraft)
    return planned


def strike(service: Service, planned: Mishaps, day: int) -> None:
    """Do what is planned for this day, after its flying."""
    for aircraft in planned.conversions.get(day, []):
        convert(service, aircraft, day)
    for incident in planned.end.get(day, []):
        _end(service, incident, day)
    for incident in planned.begin.get(day, []):
        _begin(service, incident, day)


def convert(service: Service, aircraft: int, day: int) -> None:
    """Change every brake of an aircraft to the proposed type."""
    for index in service.positions.of(aircraft):
        _fit_other(service, index, day, service.scenario.retrofit.proposed, "modification")


def _fit_other(service: Service, index: int, day: int, brake_type: str, reason: str) -> None:
    """Take a brake off and fit one of another type."""
    names = [kind.brake_type for kind in service.scenario.brake_types]
    service.remove(index, day, reason)
    service.positions.kind[index] = names.index(brake_type)
    service.install(index, day)


def _begin(service: Service, incident: Incident, day: int) -> None:
    aircraft = service.fleet.find(incident.aircraft_type, incident.aircraft)
    index = service.positions.at(aircraft, max(incident.position, 1))
    if incident.kind == "sale":
        for position in service.positions.of(aircraft):
            service.remove(position, day, "other", keep=False)
    elif incident.kind == "heavy check":
        service.replace(index, day, "opportunity")
    elif incident.kind == "deactivation":
        _share(service, aircraft, index, 0.0)
        row = {"serial": _serial(service, index), "from": day, "reason": incident.text}
        service.journal.deactivations.append(row)
    elif incident.kind == "dragging":
        service.positions.drag[index] = incident.factor
    elif incident.kind == "borrowed brake":
        _fit_other(service, index, day, incident.text, "robbed")
    elif incident.kind == "re-shim":
        service.positions.left[index] += incident.factor
        step = {"serial": _serial(service, index), "day": day, "step_mm": incident.factor, "step_sd_mm": 0.1}
        service.journal.reshims.append(step)
    elif incident.kind in EVENT:
        _tell(service, incident, aircraft, index, day)
        if incident.kind in CAUSE:
            service.replace(index, day, CAUSE[incident.kind])


def _end(service: Service, incident: Incident, day: int) -> None:
    aircraft = service.fleet.find(incident.aircraft_type, incident.aircraft)
    index = service.positions.at(aircraft, max(incident.position, 1))
    if incident.kind == "deactivation":
        _share(service, aircraft, index, 1.0)
        service.journal.deactivations[-1]["to"] = day
    elif incident.kind == "borrowed brake":
        own = service.scenario.brake_types[int(service.positions.kind[index + 1])].brake_type
        _fit_other(service, index, day, own, "opportunity")
    elif incident.kind == "dragging":
        service.positions.drag[index] = 1.0
        _tell(service, incident, aircraft, index, day)
        span = {
            "serial": _serial(service, index),
            "from": (incident.from_on - service.scenario.first_day).days,
        }
        reason = "dragging brake, found on the walk-round; free again after adjustment"
        service.journal.exclusions.append(span | {"to": day, "reason": reason})
        service.write_readings(np.array([index]), day, "after fault")


def _share(service: Service, aircraft: int, index: int, share: float) -> None:
    """A brake that does not brake leaves its share to its neighbours."""
    positions = list(service.positions.of(aircraft))
    others = len(positions) - 1
    service.positions.share[positions] = (len(positions) - share) / others
    service.positions.share[index] = share


def _tell(service: Service, incident: Incident, aircraft: int, index: int, day: int) -> None:
    row = {"aircraft": aircraft, "day": day, "event": EVENT[incident.kind]}
    row["position"] = str(service.positions.name[index])
    service.journal.events.append(row | {"speed_kt": incident.speed_kt, "mass_kg": incident.mass_kg})
    seen = {**row, "day": day + 1, "event": "inspection", "speed_kt": np.nan, "mass_kg": np.nan}
    seen["work_order"] = f"INS-{day:05d}"
    service.journal.events.append(seen)


def _serial(service: Service, index: int) -> str:
    brake = service.positions.brake[index]
    return brake.serial if brake else ""
