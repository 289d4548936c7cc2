"""What the next reading of a pin is expected to show: the state of its wear, carried on over landings and readings."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from lifecycle.exposure import Runs
from lifecycle.type_model import assume_type, typical_of
from lifecycle.wear import FleetFit, PriorRate, prior_rate

# Below 3 degrees of freedom Student's tails say nothing that a person could use.
DOF_MIN: Final = 3.0
# A new or overhauled brake's pin against the length on record for its type (common practice, no source).
NEW_SD_MM: Final = 0.3
UNKNOWN_TYPE: Final = ""
GATE: Final = 4.0  # as the wear fit's own gate


@dataclass(frozen=True)
class PinState:
    """
    What is known of a governing pin on one day.

    Attributes
    ----------
    left_mm, left_var : float
        Length left, millimetres, and its variance.
    rate_mm, rate_var : float
        Wear rate, mm/landing, and its variance.
    both : float
        Covariance of length left and rate, mm^2/landing; at most 0.
    path_sd, measurement_sd : float
        Path noise, mm/sqrt(landing), and error of one reading, mm.
    dof : float
        Degrees of freedom of the variances.
    kind : str
        ``estimated`` from the brake's own readings, ``assumed`` from its type.
    """

    left_mm: float
    left_var: float
    rate_mm: float
    rate_var: float
    both: float
    path_sd: float
    measurement_sd: float
    dof: float
    kind: str


@dataclass(frozen=True)
class Step:
    """
    Landings, and what came after them: a reading, a re-shim, or nothing yet.

    Attributes
    ----------
    landings, landings_sd : float
        Braked landings since the step before, and how unsure they are where days are not reported; negative landings
        lead back to an earlier day.
    left_mm : float or None
        Length left as read.
    resolution_mm : float
        Step of the gauge.
    shim_mm, shim_sd_mm : float
        By how much a re-shim lengthened the pin.
    """

    landings: float
    landings_sd: float = 0.0
    left_mm: float | None = None
    resolution_mm: float = 0.0
    shim_mm: float = 0.0
    shim_sd_mm: float = 0.0


@dataclass(frozen=True)
class PinLaw:
    """Predictive law of one reading: Student's t about a middle; lengths left in millimetres."""

    middle_mm: float
    sd_mm: float
    dof: float
    kind: str

    def band(self, level: float) -> tuple[float, float]:
        """
        Central range that holds the reading with a chance of `level`.

        Parameters
        ----------
        level : float
            Between 0 and 1.

        Returns
        -------
        tuple of float
            Low and high, millimetres left.
        """
        half = float(stdtrit(self.dof, (1.0 + level) / 2.0)) * self.sd_mm
        return self.middle_mm - half, self.middle_mm + half


def states_of(runs: Runs, fit: FleetFit) -> pd.DataFrame:
    """
    State of every fitted brake after its last usable reading, to be kept beside a study.

    Parameters
    ----------
    runs : Runs
        From exposure.
    fit : FleetFit
        Their fit.

    Returns
    -------
    DataFrame, one row a fitted brake
        ``brake``, ``since`` (day of the last usable reading, else of the start of the run) and the fields of
        `PinState`. Left out: brakes without a known level, and those whose pins are told against the limit only.
    """
    fitted = runs.runs[runs.runs["fitted"]]
    post = fit.posterior.loc[fitted.index]
    usable = runs.readings[runs.readings["usable"] & runs.readings["left_mm"].notna()]
    gated = usable["record"].isin(fit.out_of_the_rate)
    last = usable[~gated].groupby("run").tail(1).set_index("run").reindex(fitted.index)
    level = (last["wear_mm"] + last["left_mm"]).fillna(fitted["start_mm"].where(fitted["known_start"]))
    var, gap = post["rate_var"], post["gap"]
    frame = pd.DataFrame(
        {
            "brake": fitted["brake"],
            "since": last["day"].fillna(fitted["started_on"]),
            "left_mm": level - post["wear_mm"],
            "left_var": post["measurement_sd"] ** 2 * post["filter_p"] + gap**2 * var,
            "rate_mm": post["rate_mm"],
            "rate_var": var,
            "both": -gap * var,
            "path_sd": post["path_sd"],
            "measurement_sd": post["measurement_sd"],
            "dof": post["dof"],
            "kind": post["kind"],
        }
    )
    against_limit_only = (fitted["limit_mm"] == 0) & ~fitted["known_start"]
    return frame[~against_limit_only & frame["left_mm"].notna() & frame["since"].notna()]


def priors_of(fit: FleetFit) -> pd.DataFrame:
    """
    Wear of a brake of each type that nobody has read, to be kept beside a study.

    Parameters
    ----------
    fit : FleetFit
        The fit.

    Returns
    -------
    DataFrame, one row a brake type and one for "" (a type that is not in the fit)
        ``brake_type`` and the fields of `PriorRate`; at an average place.
    """
    rows = [{"brake_type": name, **asdict(prior_rate(fit, name))} for name in (*fit.models, UNKNOWN_TYPE)]
    return pd.DataFrame(rows)


def rule_of_thumb() -> PriorRate:
    """
    Wear of a brake before anything at all has been fitted.

    Returns
    -------
    PriorRate
        The typical brake, as unsure as types differ; labelled as assumed.
    """
    model = assume_type(typical_of([]))
    rate = float(model.fit.rate[0])
    return PriorRate(
        rate_mm=rate,
        rate_var=float(model.fit.rate_sd**2 + model.fit.covariance[1, 1]),
        path_sd=model.fit.path_sd,
        measurement_sd=model.fit.measurement_sd,
        dof=model.runs_dof,
        kind=model.kind,
    )


def state_at_start(prior: PriorRate, start_mm: float | None, new_mm: float) -> PinState:
    """
    State of a brake whose run has begun and that nobody has read.

    Parameters
    ----------
    prior : PriorRate
        Of its type.
    start_mm : float or None
        Length at the start of the run, millimetres; None where it is not known.
    new_mm : float
        Length of a new pin, millimetres.

    Returns
    -------
    PinState
        Where the start is not known, anywhere from nothing to new.
    """
    known = start_mm is not None
    level = (start_mm, NEW_SD_MM**2) if start_mm is not None else (new_mm / 2.0, new_mm**2 / 12.0)
    return PinState(
        left_mm=level[0],
        left_var=level[1],
        rate_mm=prior.rate_mm,
        rate_var=prior.rate_var,
        both=0.0,
        path_sd=prior.path_sd,
        measurement_sd=prior.measurement_sd,
        dof=prior.dof if known else np.inf,
        kind="assumed",
    )


def carried_on(state: PinState, steps: Sequence[Step]) -> PinState:
    """
    State after further landings, readings and re-shims.

    Parameters
    ----------
    state : PinState
        Before them.
    steps : sequence of Step
        In order.

    Returns
    -------
    PinState
        The scalar Kalman step of the wear model for each: left - n r, its variance plus n^2 V - 2 n c + s^2 |n|, then
        the reading. One beyond four standard deviations is passed over; a second on the same side sets the level.
    """
    off = 0.0
    for step in steps:
        state = _shimmed(_flown(state, step), step)
        if step.left_mm is None:
            continue
        law = _law(state, step.resolution_mm)
        away = (step.left_mm - law.middle_mm) / law.sd_mm
        if abs(away) <= GATE:
            state, off = _read(state, step, law), 0.0
        elif away * off > 0:
            state, off = replace(state, left_mm=step.left_mm, left_var=state.measurement_sd**2, both=0.0), 0.0
        else:
            off = away
    return state


def law_of_reading(state: PinState, step: Step) -> PinLaw:
    """
    Law of the reading that comes next.

    Parameters
    ----------
    state : PinState
        After the last reading.
    step : Step
        Landings since, and how finely the pin is read.

    Returns
    -------
    PinLaw
        Finite for every state.
    """
    return _law(_shimmed(_flown(state, step), step), step.resolution_mm)


def _flown(state: PinState, step: Step) -> PinState:
    n = step.landings
    path = state.path_sd**2 * abs(n) + (state.rate_mm * step.landings_sd) ** 2
    return replace(
        state,
        left_mm=state.left_mm - state.rate_mm * n,
        left_var=max(state.left_var + n * n * state.rate_var - 2.0 * n * state.both, 0.0) + path,
        both=state.both - n * state.rate_var,
    )


def _shimmed(state: PinState, step: Step) -> PinState:
    return replace(state, left_mm=state.left_mm + step.shim_mm, left_var=state.left_var + step.shim_sd_mm**2)


def _law(state: PinState, resolution_mm: float) -> PinLaw:
    rounding = max(resolution_mm**2 / 12.0, 0.0)
    variance = state.left_var + max(state.measurement_sd**2, rounding)
    return PinLaw(state.left_mm, float(np.sqrt(variance)), max(state.dof, DOF_MIN), state.kind)


def _read(state: PinState, step: Step, law: PinLaw) -> PinState:
    variance = law.sd_mm**2
    surprise = float(step.left_mm or 0.0) - law.middle_mm
    to_left, to_rate = state.left_var / variance, state.both / variance
    return replace(
        state,
        left_mm=state.left_mm + to_left * surprise,
        left_var=state.left_var * (1.0 - to_left),
        rate_mm=state.rate_mm + to_rate * surprise,
        rate_var=max(state.rate_var - to_rate * state.both, 0.0),
        both=state.both * (1.0 - to_left),
        kind="estimated",
    )
