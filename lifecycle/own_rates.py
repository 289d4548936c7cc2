"""What each heat sink run says of its own wear, by its own readings alone, as a share of its usable wear."""

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.errors import NotEnoughDataError
from lifecycle.exposure import Runs
from lifecycle.outliers import gate
from lifecycle.pathfilter import filter_path
from lifecycle.wear import FleetFit
from lifecycle.wear_case import cases_by_type
from lifecycle.wear_fit import with_free_level

Floats = npt.NDArray[np.float64]


def own_rates(runs: Runs, fit: FleetFit, brake_type: str) -> pd.DataFrame:
    """
    Wear rate of every read run of a type, not drawn towards the others.

    Parameters
    ----------
    runs : Runs
        Heat sink runs and their readings.
    fit : FleetFit
        Its path noise and gauge error weigh the readings; those it kept out stay out.
    brake_type : str
        The type.

    Returns
    -------
    DataFrame, one row a run
        ``share`` (of the usable wear, a landing), ``variance`` of it, ``aircraft`` (int, on which it landed most; -1
        if none), ``landings`` (of the run); index as `Runs.runs`.

    Raises
    ------
    NotEnoughDataError
        If there is no run of the type whose rate and usable wear are known.

    Notes
    -----
    The likelihood of a rate r is proportional to exp((T r - S r^2 / 2) / sigma^2), S and T the sums of the path filter,
    so T/S and sigma^2/S carry all that the readings say, also where a run stopped because its pin was short. Usable
    wear is the length that most runs of the type start at, less the limit of the run (the type's middle one where it
    has none).
    """
    cases = cases_by_type(runs)
    if brake_type not in cases:
        known = ", ".join(cases) or "none"
        raise NotEnoughDataError(
            f"brake type {brake_type!r} has no heat sink run on record; on record: {known}"
        )
    case, model = cases[brake_type], fit.models[brake_type]
    bent = model.covariates.bent(case.readings, case.bends)
    judged = gate(model.fit, bent, model.covariates.columns(case.shares, len(case.runs)))
    sums = filter_path(with_free_level(judged.readings), model.fit.path_ratio)
    usable = _usable(case.runs)
    told = np.flatnonzero(np.broadcast_to(sums.sxx > 0, usable.shape) & np.isfinite(usable))
    if not told.size:
        raise NotEnoughDataError(
            f"no run of {brake_type} has both readings that tell its rate and a wear limit; at least one is wanted"
        )
    sxx, usable = sums.sxx[told], usable[told]
    rows = case.runs.iloc[told]
    return pd.DataFrame(
        {
            "share": sums.tx[told] / sxx / usable,
            "variance": model.fit.measurement_sd**2 / sxx / usable**2,
            "aircraft": _aircraft(runs.spans).reindex(rows.index).fillna(-1).astype(np.int64),
            "landings": rows["landings"].to_numpy(float),
        },
        index=rows.index,
    )


def _usable(runs: pd.DataFrame) -> Floats:
    # Many runs on record were part worn when their records begin: the most usual start tells the whole length.
    starts = runs.loc[runs["start_mm"] > runs["limit_mm"], "start_mm"].value_counts()
    usual = max(starts.index[starts == starts.max()], default=np.nan)
    limits = runs["limit_mm"].fillna(runs["limit_mm"].median()).to_numpy(float)
    return np.where(usual > limits, usual - limits, np.nan)


def _aircraft(spans: pd.DataFrame) -> pd.Series:
    """The aircraft on which each run landed most."""
    landed = spans["landings_to"] - spans["landings_from"]
    total = landed.groupby([spans["run"], spans["aircraft"]]).sum()
    most = total.sort_values(kind="stable").reset_index().drop_duplicates("run", keep="last")
    return most.set_index("run")["aircraft"]
