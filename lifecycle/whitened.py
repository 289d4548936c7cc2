"""Readings of each brake type with their standardised innovations, as its fit sees them."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from lifecycle.exposure import Runs
from lifecycle.outliers import gate
from lifecycle.pathfilter import Floats, Readings
from lifecycle.posterior import innovations
from lifecycle.type_model import TypeModel
from lifecycle.wear import FleetFit
from lifecycle.wear_case import WearCase, cases_by_type


@dataclass(frozen=True)
class Whitened:
    """
    One brake type.

    Attributes
    ----------
    brake_type : str
        The type.
    model : TypeModel
        Its fit.
    case : WearCase
        Its runs.
    readings : Readings
        Those in the rate, (n_readings, n_runs).
    z : array of shape (n_runs, n_columns)
        Covariates of the rate.
    away : array of shape (n_readings, n_runs)
        Standardised innovations, standard normal where the model is right; NaN where there is none.
    judged : array of shape (n_readings, n_runs)
        The same as each reading was judged, those kept out of the rate and those that reopened a run included.
    kept_out : int
        How many readings the gate kept out of the rate.
    """

    brake_type: str
    model: TypeModel
    case: WearCase
    readings: Readings
    z: Floats
    away: Floats
    judged: Floats
    kept_out: int

    def of_series(self, values: Floats) -> Floats:
        """
        The filter that makes the innovations, laid on another series.

        Parameters
        ----------
        values : array of shape (n_readings, n_runs)
            A series read where wear was, a known function of landings.

        Returns
        -------
        array of shape (n_readings, n_runs)
            What that series adds to the innovations for each unit of it in wear; NaN where there is none.
        """
        none = replace(self.model.fit, rate=np.zeros_like(self.model.fit.rate), start_mm=0.0)
        straight = replace(self.readings, wear_mm=values, bent=np.zeros((0, 0, 0)), bent_columns=())
        return innovations(none, straight, self.z)


def whitened(runs: Runs, fit: FleetFit) -> Iterator[Whitened]:
    """
    Innovations of every brake type, by name.

    Parameters
    ----------
    runs : Runs
        Any of the fleet's runs with all their readings.
    fit : FleetFit
        The last fit.

    Returns
    -------
    iterator of Whitened
        Types without a run are left out.
    """
    for name, case in cases_by_type(runs).items():
        model = fit.models.get(name, fit.unread)
        z = model.covariates.columns(case.shares, len(case.runs))
        passed = gate(model.fit, model.covariates.bent(case.readings, case.bends), z)
        away = innovations(model.fit, passed.readings, z)
        kept_out = int(passed.gated.sum())
        yield Whitened(name, model, case, passed.readings, z, away, judged=passed.away, kept_out=kept_out)
