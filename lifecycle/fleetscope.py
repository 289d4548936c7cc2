"""Which aircraft a retrofit is about, what they will fly, and what life is left on the brakes they carry."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.aircraft import aircraft_on, positions_on_type
from lifecycle.consumption import DAYS_PER_YEAR
from lifecycle.days import day_number
from lifecycle.errors import NotEnoughDataError
from lifecycle.exposure import Runs
from lifecycle.flying import Flying
from lifecycle.installed import installed_brakes
from lifecycle.observations import Records
from lifecycle.wear import FleetFit

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

GONE: Final = ("sold",)
MONTHS: Final = 12


@dataclass(frozen=True)
class Scope:
    """
    Aircraft that a retrofit may convert, n of them.

    Attributes
    ----------
    aircraft : array of int64, shape (n,)
        Their identities.
    place : tuple of (aircraft_type, base), length n
        Where assumptions are looked up.
    brakes : array of float, shape (n,)
        Brakes to change: positions of the type less those that carry the new type already.
    cumulative : array of float, shape (n, n_years * 12 + 1)
        Braked landings expected by the end of each month from the decision, to retirement or the horizon.
    life_left : array of float, shape (n,)
        Landings left on the legacy brakes of each aircraft, mean of its brakes.
    not_listed : int
        Aircraft among them for which effectivity on record does not list the new type yet.
    already : int
        Other aircraft that carry the new type already.
    """

    aircraft: IntArray
    place: tuple[tuple[str, str], ...]
    brakes: FloatArray
    cumulative: FloatArray
    life_left: FloatArray
    not_listed: int
    already: int

    @property
    def years(self) -> int:
        """Years until the last aircraft retires, or the horizon."""
        return int(self.cumulative.shape[1] - 1) // MONTHS


def candidates(runs: Runs, records: Records, *, from_type: str, to_type: str, on: dt.date) -> pd.DataFrame:
    """
    Aircraft that carry the legacy type, or may carry both types and carry none on record.

    Parameters
    ----------
    runs : Runs
        For the brakes fitted.
    records : Records
        Needs aircraft, aircraft_changes, aircraft_types and effectivity.
    from_type, to_type : str
        Legacy and proposed brake type.
    on : date
        The day of the decision; aircraft sold or retired by then are left out.

    Returns
    -------
    DataFrame
        Rows of ``records.aircraft`` with ``base`` and ``weight_variant`` on the day, ``brakes`` (to change), ``listed``
        (bool: effectivity lists the new type, or says nothing of the aircraft type) and ``already`` (how many others
        carry the new type).

    Raises
    ------
    NotEnoughDataError
        If there is no such aircraft.
    """
    craft = _on_the_day(records, on)
    fitted = runs.runs[runs.runs["fitted"]]
    count = {
        kind: fitted[fitted["brake_type"] == kind].groupby("aircraft").size() for kind in (from_type, to_type)
    }
    carries_old = craft["aircraft"].isin(count[from_type].index)
    bare = ~craft["aircraft"].isin(fitted["aircraft"])
    listed = {kind: _listed(craft, records.effectivity, kind, on) for kind in (from_type, to_type)}
    chosen = (carries_old | (bare & listed[from_type] & listed[to_type])) & craft["in_fleet"]
    if not chosen.any():
        raise NotEnoughDataError(
            f"no aircraft carries {from_type} on {on} or may carry both it and {to_type}; "
            "wanted: an installation of it, or effectivity of both"
        )
    converted = count[to_type].reindex(craft["aircraft"]).fillna(0.0).to_numpy()
    craft = craft.assign(
        brakes=craft["positions"] - converted,
        listed=listed[to_type] | ~craft["aircraft_type"].isin(records.effectivity["aircraft_type"]),
        already=int((~chosen & craft["in_fleet"] & (converted > 0)).sum()),
    )
    return craft[chosen].reset_index(drop=True)


def _on_the_day(records: Records, on: dt.date) -> pd.DataFrame:
    craft = records.aircraft
    every = np.arange(len(craft))
    today = np.full(len(craft), day_number(on))
    status = aircraft_on(records, "status", every, today)
    retired = craft["retires_on"].notna() & (craft["retires_on"] <= pd.Timestamp(on))
    return craft.assign(
        base=aircraft_on(records, "base", every, today),
        weight_variant=aircraft_on(records, "weight_variant", every, today),
        positions=positions_on_type(records).astype(np.float64),
        in_fleet=~np.isin(status, GONE) & ~retired.to_numpy(),
    )


def _listed(
    craft: pd.DataFrame, effectivity: pd.DataFrame, brake_type: str, on: dt.date
) -> npt.NDArray[np.bool_]:
    """Which aircraft some effectivity in force lets carry a type, in some position."""
    day = pd.Timestamp(on)
    in_force = effectivity[
        (effectivity["brake_type"] == brake_type)
        & ~(effectivity["from_on"] > day)
        & ~(effectivity["to_on"] <= day)
    ]
    own = craft[["aircraft", "aircraft_type", "weight_variant"]]
    both = own.merge(in_force, on="aircraft_type", suffixes=("", "_of"))
    covered = both["aircraft_of"].isna() | (both["aircraft_of"] == both["aircraft"])
    covered &= (both["weight_variant_of"] == "") | (both["weight_variant_of"] == both["weight_variant"])
    return np.asarray(craft["aircraft"].isin(both.loc[covered, "aircraft"]), dtype=bool)


def scope_of(  # noqa: PLR0913 (the chain hands over what it has)
    craft: pd.DataFrame,
    runs: Runs,
    fit: FleetFit,
    flying: Flying,
    *,
    from_type: str,
    on: dt.date,
    horizon_years: float | None,
    landings_growth: float,
) -> Scope:
    """
    Flying and life left of the aircraft of a retrofit.

    Parameters
    ----------
    craft : DataFrame
        From `candidates`.
    runs, fit, flying
        The chain's results.
    from_type : str
        Legacy brake type.
    on : date
        The day of the decision.
    horizon_years : float or None
        Years to reckon with for aircraft without a retirement day; None where all have one.
    landings_growth : float
        Growth of landings from one year to the next, a fraction.

    Returns
    -------
    Scope
        Aircraft in the order of ``craft``.
    """
    ahead = (craft["retires_on"] - pd.Timestamp(on)).dt.days.to_numpy(dtype=np.float64)
    open_ended = (horizon_years or 0.0) * DAYS_PER_YEAR
    until = np.where(np.isnan(ahead), open_ended, ahead)
    # A day's grace: three calendar years may hold a leap day more than three mean years.
    years = max(int(np.ceil((until.max() - 1.0) / DAYS_PER_YEAR)), 1)
    edges = np.arange(years * MONTHS + 1) * DAYS_PER_YEAR / MONTHS
    days = np.minimum(edges, until[:, None])
    monthly = np.diff(flying.expected_landings(craft["aircraft"].to_numpy()[:, None], days), axis=1)
    grown = monthly * (1.0 + landings_growth) ** (np.arange(years * MONTHS) // MONTHS)
    cumulative = np.concatenate([np.zeros((len(craft), 1)), np.cumsum(grown, axis=1)], axis=1)
    return Scope(
        aircraft=craft["aircraft"].to_numpy(dtype=np.int64),
        place=tuple(zip(craft["aircraft_type"], craft["base"], strict=True)),
        brakes=craft["brakes"].to_numpy(dtype=np.float64),
        cumulative=cumulative,
        life_left=_life_left(craft, runs, fit, flying, from_type=from_type, on=on),
        not_listed=int((~craft["listed"]).sum()),
        already=int(craft["already"].iloc[0]),
    )


def _life_left(  # noqa: PLR0913 (as above)
    craft: pd.DataFrame, runs: Runs, fit: FleetFit, flying: Flying, *, from_type: str, on: dt.date
) -> FloatArray:
    installed = installed_brakes(runs, fit, flying, on)
    rate = np.asarray(installed.law.rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        left = np.asarray(installed.law.remaining_mm) / np.where(rate > 0, rate, np.nan)
    frame = installed.frame[["aircraft", "brake_type", "due"]].assign(
        left=np.maximum(left - np.asarray(installed.law.flown), 0.0)
    )
    frame.loc[frame["due"], "left"] = 0.0
    own = frame[frame["brake_type"] == from_type]
    mean = own.groupby("aircraft")["left"].mean().reindex(craft["aircraft"])
    return mean.fillna(own["left"].mean()).fillna(0.0).to_numpy(dtype=np.float64)
