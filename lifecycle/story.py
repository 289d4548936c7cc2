"""The record of one brake: where it is, what was read, how it wore, when it comes off, what it did before."""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from lifecycle.ahead import NOTHING_AHEAD, Ahead, FanPoint, look_ahead
from lifecycle.dragging import DraggingBrake, dragging_brakes
from lifecycle.errors import BadRecordsError
from lifecycle.exposure import Runs
from lifecycle.forecast import ChangeOut, days_or_none, forecast_installed
from lifecycle.installed import installed_brakes, last_readings
from lifecycle.past import (
    FitPoint,
    PinOffset,
    ReadingPoint,
    RunLine,
    Stay,
    fit_points,
    pin_offsets,
    reading_points,
    run_lines,
    run_states,
    stays_of,
)
from lifecycle.study import Study


@dataclass(frozen=True)
class BrakeStory:
    """
    Everything one page tells of one brake.

    ``change_out`` is None for a brake that is on no aircraft; its P10 and P90 are the ends of the sentence "8 in 10:
    the limit is reached between ... and ...". Fan, outcomes and landings a day are those of an installed brake with
    a known limit; of the 20 outcomes, equally likely and soonest first, None lies out of sight. ``fit`` follows the
    latest run; ``runs`` are all of them, latest first. ``landings_since_read`` counts from ``read_on``, the day of the
    reading ``pin_mm`` (of a brake never read: from its installation); ``landings_in_run`` are all of its latest run,
    those not on record yet included. Both are None for a brake that is on no aircraft. ``dragging`` is what speaks for
    it having left its own past, None where nothing does. ``pins`` are those of the latest run beside its governing one.
    """

    study: str
    on: dt.date
    brake: int
    serial: str
    brake_type: str
    material: str
    state: str
    registration: str
    position: str
    base: str
    aircraft_type: str
    pin_mm: float | None
    limit_mm: float | None
    read_on: dt.date | None
    rate_mm_per_landing: float
    rate_sd: float
    landings_since_read: float | None
    landings_a_day: float | None
    change_out: ChangeOut | None
    readings: tuple[ReadingPoint, ...]
    fit: tuple[FitPoint, ...]
    fan_by_landings: tuple[FanPoint, ...]
    fan_by_day: tuple[FanPoint, ...]
    outcome_landings: tuple[float | None, ...]
    outcome_dates: tuple[dt.date | None, ...]
    stays: tuple[Stay, ...]
    runs: tuple[RunLine, ...]
    warnings: tuple[str, ...]
    landings_in_run: float | None = None
    dragging: DraggingBrake | None = None
    pins: tuple[PinOffset, ...] = ()


@dataclass(frozen=True)
class _Now:
    """The brake today: its forecast where it is installed, else its last reading."""

    change_out: ChangeOut | None
    since_read: float | None
    in_run: float | None
    ahead: Ahead
    pin_mm: float | None
    read_on: dt.date | None


def brake_story(study: Study, brake: int) -> BrakeStory:
    """
    The record of one brake as known in a study.

    Parameters
    ----------
    study : Study
        Records, runs, fit and flying.
    brake : int
        Its identity, as in ``records.brakes`` (serials repeat between types).

    Returns
    -------
    BrakeStory
        From the fleet's fit as it stands.

    Raises
    ------
    BadRecordsError
        If the records hold no such brake, or it was never installed.
    """
    runs = _runs_of(study.runs, brake)
    if runs.runs.empty:
        raise BadRecordsError(f"brake {brake} has no heat sink run by {study.on}; install it first")
    last, post = runs.runs.iloc[-1], study.fit.posterior.loc[runs.runs.index[-1]]
    materials = study.records.brake_types.set_index("brake_type")["material"]
    now = _now(study, runs)
    return BrakeStory(
        study=study.number,
        on=study.on,
        brake=brake,
        serial=str(last["serial"]),
        brake_type=str(last["brake_type"]),
        material=str(materials[last["brake_type"]]),
        state=run_states(runs.runs)[-1],
        registration=str(last["registration"]),
        position=str(last["position"]),
        base=str(last["base"]) if last["fitted"] else "",
        aircraft_type=str(last["aircraft_type"]) if last["fitted"] else "",
        pin_mm=now.pin_mm,
        limit_mm=float(last["limit_mm"]) if np.isfinite(last["limit_mm"]) else None,
        read_on=now.read_on,
        rate_mm_per_landing=float(post["rate_mm"]),
        rate_sd=float(np.sqrt(post["rate_var"])),
        landings_since_read=now.since_read,
        landings_a_day=now.ahead.landings_a_day,
        change_out=now.change_out,
        readings=reading_points(runs, study.fit),
        fit=fit_points(runs, study.fit, int(runs.runs.index[-1])),
        fan_by_landings=now.ahead.by_landings,
        fan_by_day=now.ahead.by_day,
        outcome_landings=now.ahead.outcome_landings,
        outcome_dates=now.ahead.outcome_dates,
        stays=stays_of(runs, study.records),
        runs=run_lines(runs, study.fit),
        warnings=now.change_out.warnings if now.change_out else (*last["warnings"], *post["warnings"]),
        landings_in_run=now.in_run,
        pins=pin_offsets(runs, int(runs.runs.index[-1])),
        dragging=next(iter(dragging_brakes(runs, study.fit)), None),
    )


def _runs_of(runs: Runs, brake: int) -> Runs:
    mine = runs.runs[runs.runs["brake"] == brake]
    return Runs(
        mine,
        runs.spans[runs.spans["run"].isin(mine.index)],
        runs.readings[runs.readings["run"].isin(mine.index)],
        pins=runs.pins,
    )


def _now(study: Study, runs: Runs) -> _Now:
    installed = installed_brakes(runs, study.fit, study.flying, study.on)
    if installed.frame.empty:
        read = last_readings(runs.readings[runs.readings["why_not"] != "refused"]).reindex(
            runs.runs.index[-1:]
        )
        pin = float(read["pin_mm"].iloc[0])
        return _Now(
            None,
            None,
            None,
            NOTHING_AHEAD,
            pin if np.isfinite(pin) else None,
            days_or_none(read["read_on"])[0],
        )
    (change_out,) = forecast_installed(installed, study.flying, study.on)
    ahead = look_ahead(installed, study.flying, study.on)
    row = installed.frame.iloc[0]
    since_read = float(row["flown"] if change_out.read_on is None else row["since_read"])
    in_run = float(row["landings"] + row["projected"])
    return _Now(change_out, since_read, in_run, ahead, change_out.pin_mm, change_out.read_on)
