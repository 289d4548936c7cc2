"""Wear rate of every brake: a Wiener path with a random rate and measurement error, fitted by REML."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from lifecycle.covariates import shares_at
from lifecycle.errors import NotEnoughDataError
from lifecycle.exposure import Runs
from lifecycle.run_state import kept_out, state_of
from lifecycle.type_model import (
    TypeModel,
    assume_type,
    average_row,
    beliefs_of,
    fit_type,
    is_told,
    leans_on,
    typical_of,
)
from lifecycle.wear_case import cases_by_type
from lifecycle.wear_drivers import WearDriver, what_drives_wear

# Below so many runs a type is fitted again with beliefs centred on what the other types showed.
SMALL_TYPE: Final = 30
POOLING_ROUNDS: Final = 3
TAIL: Final = 0.1  # either side of an 80 % interval


@dataclass(frozen=True)
class TypeFit:
    """
    Estimated wear of one brake type; the interval is 80 % for the mean rate, sds in millimetres.

    ``drivers`` are worked out where asked (`study.refit`).
    """

    brake_type: str
    runs: int
    readings: int
    rate_mm_per_landing: float
    rate_low: float
    rate_high: float
    rate_sd: float
    path_sd: float
    measurement_sd: float
    warnings: tuple[str, ...] = ()
    drivers: tuple[WearDriver, ...] = ()


@dataclass(frozen=True)
class BrakeRate:
    """Posterior rate of one run; state is ``fitted``, ``off`` (between installations) or ``finished``."""

    serial: str
    run: int
    rate_mm_per_landing: float
    rate_sd: float
    readings: int
    state: str


@dataclass(frozen=True)
class Refit:
    """One fit of the whole fleet, as `pinledger refit` prints it."""

    study: str
    on: dt.date
    known_on: dt.date
    seed: int
    types: tuple[TypeFit, ...]
    brakes: tuple[BrakeRate, ...]


@dataclass(frozen=True)
class FleetFit:
    """
    The wear of a whole fleet, type by type and run by run.

    Attributes
    ----------
    types : tuple of TypeFit
        In alphabetical order of brake type.
    posterior : DataFrame
        One row a run, index as `Runs.runs`. Columns: ``rate_mm`` (per landing, for the landings to come), ``rate_var``
        (parameter uncertainty included), ``wear_mm`` and ``wear_var`` (at the last usable reading, in the run's own
        wear; NaN where neither start nor reading is known), ``landings_at`` (of that reading, 0 without one), ``gap``
        and ``filter_p`` (wear n landings on, were the path smooth, has variance measurement_sd^2 filter_p +
        (gap + n)^2 rate_var), ``path_sd``, ``measurement_sd``, ``dof`` (for t quantiles), ``readings`` (used),
        ``gated`` (kept out of the rate as unexplained), ``copied`` (copies of the last reading that moved, after which
        nothing else was read), ``kind`` (``estimated`` from its own readings, ``assumed`` from its type), ``warnings``
        (tuple of str).
    gated : DataFrame
        One row a reading kept out as unexplained: ``run``, ``record``, ``landings``, ``wear_mm``, ``away``
        (standard deviations above its forecast), ``reopened`` (bool: the second in a row, from which the level of
        wear was taken anew, so that it is in the rate after all), ``copied`` (bool: equal to the one before although
        wear was foretold; no distance then).
    models : mapping of str to TypeModel
        What was fitted, for `prior_rate` and `refresh`.
    unread : TypeModel
        What the types fitted suggest of a type that is not among them.
    """

    types: tuple[TypeFit, ...]
    posterior: pd.DataFrame
    gated: pd.DataFrame
    models: Mapping[str, TypeModel]
    unread: TypeModel

    @property
    def out_of_the_rate(self) -> "pd.Series[int]":
        """Records of the readings kept out as unexplained or copied."""
        return self.gated.loc[~self.gated["reopened"].astype(bool), "record"]

    @property
    def reopening(self) -> "pd.Series[int]":
        """Records of the readings from which the level of wear was taken anew."""
        return self.gated.loc[self.gated["reopened"].astype(bool), "record"]

    @property
    def copies(self) -> "pd.Series[int]":
        """Records of the readings that only repeat the one before."""
        return self.gated.loc[self.gated["copied"].astype(bool), "record"]


@dataclass(frozen=True)
class PriorRate:
    """Wear of a brake of this type that nobody has read: mean, variance, noise, and the kind of figure."""

    rate_mm: float
    rate_var: float
    path_sd: float
    measurement_sd: float
    dof: float
    kind: str


def fit_fleet(runs: Runs) -> FleetFit:
    """
    Fit every brake type of a fleet and say what is known of every run.

    Parameters
    ----------
    runs : Runs
        From exposure; finished runs belong in, since those still in service alone bias the rate.

    Returns
    -------
    FleetFit
        Always finite: a type that nobody has read gets what the other types suggest, labelled as assumed.

    Raises
    ------
    NotEnoughDataError
        If there is no run at all.

    Notes
    -----
    Each type is fitted alone (`lifecycle.type_model`): mean rate by position group and base, outliers gated before
    the variances are trusted, weak beliefs that count as two runs. Types of fewer than 30 runs are fitted again with
    beliefs centred on the other types.
    """
    if runs.runs.empty:
        raise NotEnoughDataError("no heat sink run is on record; at least one installed brake is wanted")
    cases = cases_by_type(runs)
    fitted = {name: fit_type(case, typical_of([])) for name, case in cases.items() if is_told(case)}
    small = [name for name, model in fitted.items() if model.fit.runs < SMALL_TYPE and len(fitted) > 1]
    for turn in range(POOLING_ROUNDS):
        others = {name: [fitted[other] for other in fitted if other != name] for name in fitted}
        pooled = {name: beliefs_of(models) for name, models in others.items()}
        # Effects of landing kinds are pooled between types of any size, once: there they settle at once.
        leaning = {name for name in fitted if turn == 0 and leans_on(fitted[name], pooled[name])}
        fitted |= {
            name: fit_type(cases[name], typical_of(others[name] if name in small else []), pooled[name])
            for name in fitted
            if name in small or name in leaning
        }
    assumed = assume_type(typical_of(list(fitted.values())))
    models = {name: fitted.get(name, assumed) for name in cases}
    states = {name: state_of(models[name], case) for name, case in cases.items()}
    gated = [kept_out(cases[name], state.judged, runs.readings) for name, state in states.items()]
    return FleetFit(
        types=tuple(_type_fit(name, models[name]) for name in cases),
        posterior=_together([state.posterior for state in states.values()], runs),
        gated=pd.concat(gated, ignore_index=True),
        models=models,
        unread=assumed,
    )


def refresh(fit: FleetFit, runs: Runs) -> pd.DataFrame:
    """
    What new readings say of their own runs, from the last fit of the fleet.

    Parameters
    ----------
    fit : FleetFit
        The last fit.
    runs : Runs
        The runs asked about, with all their readings; any number, one is usual.

    Returns
    -------
    DataFrame
        As `FleetFit.posterior`, index as ``runs.runs``.
    """
    cases = cases_by_type(runs)
    states = [state_of(fit.models.get(name, fit.unread), case) for name, case in cases.items()]
    return _together([state.posterior for state in states], runs)


def driven(fit: FleetFit, runs: Runs) -> tuple[TypeFit, ...]:
    """
    The brake types with what drives their wear.

    Parameters
    ----------
    fit : FleetFit
        The last fit.
    runs : Runs
        The runs that it was made from.

    Returns
    -------
    tuple of TypeFit
        As ``fit.types``, drivers filled in by `wear_drivers.what_drives_wear`.
    """
    found = what_drives_wear(runs, fit.models)
    return tuple(replace(one, drivers=found.get(one.brake_type, ())) for one in fit.types)


def prior_rate(fit: FleetFit, brake_type: str, position_group: str = "", base: str = "") -> PriorRate:
    """
    Wear of a new brake of a type at a place.

    Parameters
    ----------
    fit : FleetFit
        The last fit.
    brake_type : str
        A type not in the fit gets what the other types suggest, labelled as assumed.
    position_group, base : str
        A level that the fit does not know counts as the average of those it knows, and widens the variance.

    Returns
    -------
    PriorRate
        Variance between runs plus the parameters' uncertainty.
    """
    model = fit.models.get(brake_type, fit.unread)
    at = shares_at(position_group, base)
    row = model.covariates.columns(at, 1)[0]
    rate = float(row @ model.fit.rate)
    doubt = rate**2 * model.covariates.doubt(at, 1)[0]
    return PriorRate(
        rate_mm=rate,
        rate_var=float(model.fit.rate_sd**2 + row @ model.fit.covariance[1:, 1:] @ row + doubt),
        path_sd=model.fit.path_sd,
        measurement_sd=model.fit.measurement_sd,
        dof=model.runs_dof,
        kind=model.kind,
    )


def _together(posteriors: list[pd.DataFrame], runs: Runs) -> pd.DataFrame:
    """Rows of all types in the order of the runs; those of one type are in it already."""
    return posteriors[0] if len(posteriors) == 1 else pd.concat(posteriors).reindex(runs.runs.index)


def _type_fit(brake_type: str, model: TypeModel) -> TypeFit:
    row, fit = average_row(model.covariates), model.fit
    rate = float(row @ fit.rate)
    half = float(stdtrit(model.runs_dof, 1 - TAIL) * np.sqrt(row @ fit.covariance[1:, 1:] @ row))
    return TypeFit(
        brake_type=brake_type,
        runs=fit.runs,
        readings=fit.readings,
        rate_mm_per_landing=rate,
        rate_low=rate - half,
        rate_high=rate + half,
        rate_sd=fit.rate_sd,
        path_sd=fit.path_sd,
        measurement_sd=fit.measurement_sd,
        warnings=(*fit.warnings, *model.covariates.dropped, *model.warnings),
    )
