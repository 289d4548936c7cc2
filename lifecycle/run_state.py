"""State of each run of one brake type after its readings: rate, wear, and what was kept out."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.drag import Drift, doubt_rate, find_drift
from lifecycle.outliers import Gated, gate
from lifecycle.pathfilter import Floats, Readings
from lifecycle.posterior import RunPosterior, of_readings, widened
from lifecycle.type_model import TypeModel
from lifecycle.unread_pin import with_unread_pin
from lifecycle.wear_case import WearCase
from lifecycle.within_limit import latest_checks, learn_from_checks


@dataclass(frozen=True)
class RunStates:
    """Rows of `FleetFit.posterior` for the runs of one type, and how their readings were judged."""

    posterior: pd.DataFrame
    judged: Gated


def state_of(model: TypeModel, case: WearCase) -> RunStates:
    """
    Judge the readings of each run by the model of its type and draw the posterior from those that pass.

    Parameters
    ----------
    model : TypeModel
        Of the brake type.
    case : WearCase
        Its runs.

    Returns
    -------
    RunStates
        One row a run.
    """
    count = len(case.runs)
    z = model.covariates.columns(case.shares, count)
    z_now = model.covariates.columns(case.shares_now, count)
    judged = gate(model.fit, model.covariates.bent(case.readings, case.bends), z)
    state = of_readings(model.fit, judged.readings, z, z_now)
    if case.unread_noise is not None:
        state = with_unread_pin(state, model.fit, judged.readings, z, z_now, case.unread_noise)
    doubt = state.rate**2 * model.covariates.doubt(case.shares_now, count)
    state = widened(state, doubt, measurement_sd=model.fit.measurement_sd)
    kept = judged.readings.valid & ~judged.readings.restart
    drift = find_drift(np.where(kept, judged.away, np.nan), judged.readings)
    path_sd, measurement_sd = model.fit.path_sd, model.fit.measurement_sd
    state = doubt_rate(state, drift, path_sd=path_sd, measurement_sd=measurement_sd)
    check = latest_checks(case, state)
    state = learn_from_checks(state, check, path_sd=path_sd, measurement_sd=measurement_sd)
    before = model.fit.rate_sd**2 + np.sum((z_now @ model.fit.covariance[1:, 1:]) * z_now, axis=1)
    frame = pd.DataFrame(
        {
            "rate_mm": state.rate,
            "rate_var": state.rate_var,
            "wear_mm": state.wear_mm,
            "wear_var": state.wear_var,
            "landings_at": state.last_landings,
            "gap": state.gap,
            "filter_p": state.filter_p,
            "path_sd": np.full(count, model.fit.path_sd),
            "measurement_sd": np.full(count, model.fit.measurement_sd),
            "dof": _degrees(model, state, before),
            "readings": state.readings,
            "gated": np.count_nonzero(judged.gated & ~judged.copied, axis=0),
            "copied": _copied_last(judged, case.readings),
            "kind": np.where(state.readings > 0, model.kind, "assumed").astype(str),
            "warnings": _objects(_warnings(state, judged, drift)),
        },
        index=case.runs.index,
        copy=False,
    )
    return RunStates(frame, judged)


def _objects(values: list[tuple[str, ...]]) -> npt.NDArray[np.object_]:
    return np.fromiter(values, dtype=object, count=len(values))


def _degrees(model: TypeModel, state: RunPosterior, before: Floats) -> Floats:
    """Degrees of freedom of a rate's variance: the type's scatter where little is read, the path's where much is."""
    prior_share = np.clip(state.rate_var / before, 0.0, 1.0)
    return 1.0 / (prior_share**2 / model.runs_dof + (1.0 - prior_share) ** 2 / model.path_dof)


def _warnings(state: RunPosterior, judged: Gated, drift: Drift) -> list[tuple[str, ...]]:
    copied = judged.copied
    out, again = (np.count_nonzero(each, axis=0) for each in (judged.gated & ~copied, judged.reopened))
    lost = np.isnan(state.wear_mm)
    said: list[tuple[str, ...]] = [()] * lost.size
    for run in np.flatnonzero(out + again + lost + copied.any(axis=0) + np.abs(drift.sign)):
        found = [*_of_copies(judged, int(run))] if copied[:, run].any() else []
        if out[run]:
            many = "reading" if out[run] == 1 else "readings"
            found.append(f"{out[run]} {many} far from the path: kept out of the rate")
        if again[run]:
            found.append("two readings in a row off the path: wear taken anew from there; ask what happened")
        if lost[run]:
            found.append("neither the start nor any reading is known: wear now is not known")
        if drift.sign[run]:
            word = "faster" if drift.sign[run] > 0 else "slower"
            lately = f"{drift.rate_mm[run]:.4f} mm a landing since {drift.since[run]:.0f} landings"
            found.append(f"wearing {word} than its own past: {lately}; its rate is in doubt")
        said[run] = tuple(found)
    return said


def _of_copies(judged: Gated, run: int) -> Iterator[str]:
    """What is said of each copied stretch of a run, the one that is still open last."""
    unworn, copied = judged.unworn_mm[:, run], judged.copied[:, run]
    read = np.flatnonzero(judged.readings.valid[:, run] | judged.gated[:, run])
    parts = np.split(read, np.flatnonzero(~copied[read]))  # each begins with a reading that is no copy
    for part in parts:
        again = part[1:]
        if not again.size or not copied[again].any():
            continue
        stood = f"{again.size} readings equal to the one before although about {unworn[again[0]]:.1f} mm"
        stood += " should have worn in between: copied or unread?"
        if again[-1] != read[-1]:
            yield f"{stood} kept out of the rate"
            continue
        whence = "the last that moved" if judged.readings.valid[:, run].any() else "its start"
        yield f"{stood} the wear is foretold from {whence}; read it now"


def _copied_last(judged: Gated, readings: Readings) -> npt.NDArray[np.int64]:
    """Copies at the end of each run, after which nothing else was read."""
    other = readings.valid & ~judged.copied
    order = np.arange(readings.valid.shape[0])[:, None]
    moved = np.where(other, order, -1).max(axis=0, initial=-1)
    return np.asarray(np.count_nonzero(judged.copied & (order > moved), axis=0), dtype=np.int64)


def kept_out(case: WearCase, judged: Gated, readings: pd.DataFrame) -> pd.DataFrame:
    """
    Readings that the model of a type does not explain.

    Parameters
    ----------
    case : WearCase
        Runs of the type.
    judged : Gated
        From `state_of`.
    readings : DataFrame
        `Runs.readings`, which the case points into.

    Returns
    -------
    DataFrame
        Rows of `FleetFit.gated`, one a reading.
    """
    reading, run = np.nonzero(judged.gated | judged.reopened)
    chosen = readings.iloc[case.source[reading, run]]
    return pd.DataFrame(
        {
            "run": case.runs.index.to_numpy()[run],
            "record": chosen["record"].to_numpy(np.int64),
            "landings": chosen["landings"].to_numpy(float),
            "wear_mm": chosen["wear_mm"].to_numpy(float),
            "away": judged.away[reading, run],
            "reopened": judged.reopened[reading, run],
            "copied": judged.copied[reading, run],
        }
    )
