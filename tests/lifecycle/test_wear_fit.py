import warnings

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.tsa.statespace.structural import UnobservedComponents

from lifecycle import reml_search
from lifecycle.errors import BadRecordsError, NotEnoughDataError
from lifecycle.wear_fit import fit_wear
from tests.lifecycle.wear_fleet import paths

ONES = np.ones((20, 1))


def some_brakes(seed, *, runs=20, unknown=0, **truth):
    """Readings with gaps; the first `unknown` runs start at a wear of their own."""
    rng = np.random.default_rng(seed)
    x, w = paths(rng, runs, 12, **truth)
    w[:unknown] += rng.normal(8.0, 3.0, (unknown, 1))
    x[3, 8:] = np.nan
    w[5, 2] = np.nan
    return x, w, np.arange(runs) >= unknown


def dense_criterion(fit, x, w, known, z, *, copies=1.0, restart=None):
    """-2 log REML of the definition: one covariance matrix a run, a column for each level taken anew."""
    unknown = ~known
    levels = (
        [(run, int(j)) for run in range(len(x)) for j in np.flatnonzero(restart[run])]
        if restart is not None
        else []
    )
    both = fit.start_correlation * fit.start_sd * fit.rate_sd
    spread = np.array([[fit.start_sd**2, both], [both, fit.rate_sd**2]])
    weighed, score, squares, logdet, count = 0.0, 0.0, 0.0, 0.0, 0
    for run in range(len(x)):
        seen = np.isfinite(x[run]) & np.isfinite(w[run])
        xs, ys = x[run, seen], w[run, seen]
        k = np.broadcast_to(copies, x.shape)[run, seen]
        own = np.column_stack([np.full_like(xs, unknown[run]), xs])
        covariance = own @ spread @ own.T + fit.path_sd**2 * np.minimum.outer(xs, xs)
        covariance += np.diag(fit.measurement_sd**2 / k)
        mean = np.column_stack(
            [own[:, :1], xs[:, None] * z[run]] if unknown.any() else [xs[:, None] * z[run]]
        )
        mean = np.column_stack(
            [mean, *((np.arange(12)[seen] >= j).astype(float) * (run == owner) for owner, j in levels)]
        )
        inverse = np.linalg.inv(covariance)
        weighed, score = weighed + mean.T @ inverse @ mean, score + mean.T @ inverse @ ys
        squares += ys @ inverse @ ys
        logdet += np.linalg.slogdet(covariance)[1]
        count += xs.size
    beta = np.linalg.solve(weighed, score)
    rss = squares - beta @ score
    return (
        (count - beta.size) * np.log(2 * np.pi) + logdet + np.linalg.slogdet(weighed)[1] + rss,
        beta,
        weighed,
    )


@pytest.mark.parametrize("unknown", [0, 12, 20])
def test_likelihood_with_path_noise_is_that_of_a_dense_multivariate_normal(unknown):
    """Definition of the model: 20 brakes, known and unknown starts, gaps, a covariate, to 1e-9."""
    x, w, known = some_brakes(3, unknown=unknown)
    z = np.column_stack([np.ones(20), np.arange(20) % 2])
    fit = fit_wear(x, w, design=z, known_start=known)
    criterion, beta, weighed = dense_criterion(fit, x, w, known, z)
    first = 0 if unknown else 1
    assert fit.path_sd > 0.02
    assert fit.rate_sd > 0
    assert fit.criterion == pytest.approx(criterion, rel=1e-9)
    assert np.concatenate([[fit.start_mm], fit.rate])[first:] == pytest.approx(beta, rel=1e-9)
    assert fit.covariance[first:, first:] == pytest.approx(np.linalg.inv(weighed), rel=1e-7)


def test_averaged_readings_and_levels_taken_anew_are_those_of_the_dense_normal():
    x, w, known = some_brakes(4)
    copies = np.where(np.arange(12) % 3 == 0, 4.0, 1.0) * np.ones((20, 1))
    restart = np.zeros((20, 12), dtype=bool)
    restart[[1, 1, 7], [4, 8, 5]] = True
    w[1, 4:] += 30.0
    fit = fit_wear(x, w, design=ONES, known_start=known, copies=copies, restart=restart)
    criterion, beta, _ = dense_criterion(fit, x, w, known, ONES, copies=copies, restart=restart)
    assert fit.criterion == pytest.approx(criterion, rel=1e-9)
    assert fit.rate[0] == pytest.approx(beta[0], rel=1e-9)


def test_plain_mixed_model_is_that_of_the_reference_library():
    """
    statsmodels MixedLM with powell and tight tolerances: rate to 1e-10, variances to 1e-6.

    Its search stops where the last digits of the criterion end: 4e-12 of it are 4e-7 of the variance between runs.
    """
    x, w = paths(np.random.default_rng(1), 200, 12, path_sd=0.0)
    fit = fit_wear(x, w, design=np.ones((200, 1)), path_noise=False)
    column = x.ravel()[:, None]
    model = sm.MixedLM(w.ravel(), column, np.repeat(np.arange(200), 12), exog_re=column)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of options that its optimiser does take
        reference = model.fit(reml=True, method="powell", xtol=1e-12, ftol=1e-14, maxiter=10_000)
    assert fit.rate[0] == pytest.approx(reference.fe_params[0], rel=1e-10)
    assert fit.rate_sd**2 == pytest.approx(reference.cov_re[0, 0], rel=1e-6)
    assert fit.measurement_sd**2 == pytest.approx(reference.scale, rel=1e-7)
    assert fit.criterion == pytest.approx(-2 * reference.llf, rel=1e-13, abs=1e-10)


def test_path_noise_of_one_run_is_that_of_the_reference_library():
    """statsmodels UnobservedComponents, local linear deterministic trend with exact diffuse start: the same model."""
    rng = np.random.default_rng(2)
    x = np.arange(60.0)
    w = 3 + 0.3 * x + 0.4 * np.cumsum(rng.normal(size=60)) + rng.normal(0, 0.5, 60)
    fit = fit_wear(x[None], w[None], design=[[1.0]], known_start=False)
    model = UnobservedComponents(w, "lldtrend", use_exact_diffuse=True)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        reference = model.fit(method="powell", xtol=1e-10, ftol=1e-13, maxiter=10_000, disp=0)
    assert fit.measurement_sd**2 == pytest.approx(reference.params[0], rel=1e-4)
    assert fit.path_sd**2 == pytest.approx(reference.params[1], rel=1e-4)
    assert fit.rate[0] == pytest.approx(reference.smoothed_state[1, -1], rel=1e-6)
    # The library counts the two diffuse elements among the log 2 pi terms.
    assert fit.criterion + 2 * np.log(2 * np.pi) == pytest.approx(-2 * reference.llf, rel=1e-9)


def test_fit_recovers_the_truth_of_an_invented_fleet():
    x, w = paths(np.random.default_rng(7), 1500, 12)
    fit = fit_wear(x, w, design=np.ones((1500, 1)))
    assert fit.rate[0] == pytest.approx(0.03, abs=4 * np.sqrt(fit.covariance[1, 1]))
    assert fit.rate_sd == pytest.approx(0.0036, rel=0.08)
    assert fit.path_sd == pytest.approx(0.05, rel=0.05)
    assert fit.measurement_sd == pytest.approx(0.2, rel=0.08)


def test_fit_recovers_the_distribution_of_unknown_starts():
    rng = np.random.default_rng(8)
    x, w = paths(rng, 800, 10, rate_sd=0.0)
    both = rng.multivariate_normal([10.0, 0.0], [[9.0, 0.6 * 3 * 0.004], [0.6 * 3 * 0.004, 0.004**2]], 800)
    w[:600] += both[:600, :1] + both[:600, 1:] * x[:600]
    w[600:] += both[600:, 1:] * x[600:]
    fit = fit_wear(x, w, design=np.ones((800, 1)), known_start=np.arange(800) >= 600)
    assert fit.start_mm == pytest.approx(10.0, abs=0.5)
    assert fit.start_sd == pytest.approx(3.0, rel=0.1)
    assert fit.start_correlation == pytest.approx(0.6, abs=0.1)
    assert fit.rate_sd == pytest.approx(0.004, rel=0.1)


def test_search_from_a_sample_ends_where_the_search_over_all_runs_does(monkeypatch):
    x, w = paths(np.random.default_rng(9), 6000, 6)
    sampled = fit_wear(x, w, design=np.ones((6000, 1)))
    monkeypatch.setattr(reml_search, "THINNED_RUNS", 10_000)
    whole = fit_wear(x, w, design=np.ones((6000, 1)))
    assert sampled.path_sd == pytest.approx(whole.path_sd, rel=1e-4)
    assert sampled.criterion == pytest.approx(whole.criterion, abs=1e-3)


def test_no_path_noise_and_no_scatter_are_found_to_be_none():
    x, w = paths(np.random.default_rng(12), 60, 8, path_sd=0.0, rate_sd=0.0)
    fits = [
        fit_wear(x, w, design=np.ones((60, 1))),
        fit_wear(x, w, design=np.ones((60, 1)), path_noise=False),
    ]
    assert fits[0].criterion <= fits[1].criterion
    assert fits[1].path_sd == 0.0
    assert fits[0].rate_sd < 0.001
    assert fits[0].path_sd < 0.01


AWKWARD = {
    "perfect lines": ([[10.0, 20, 30], [10, 20, 40]], [[1.0, 2, 3], [1.5, 3, 6]]),
    "one perfect line": ([[10.0, 20, 30]], [[1.0, 2, 3]]),
    "all equal": ([[10.0, 20, 30], [10, 20, 40]], [[2.0, 2, 2], [2, 2, 2]]),
    "all zero": ([[10.0, 20, 30], [10, 20, 40]], [[0.0, 0, 0], [0, 0, 0]]),
    "no landings between": ([[10.0, 10, 10], [20, 20, 30]], [[1.0, 1.1, 0.9], [2, 2, 3]]),
    "no landings at all": ([[0.0, 0, 0]], [[0.1, 0.0, -0.1]]),
    "one reading": ([[100.0]], [[3.0]]),
    "one reading in each of two runs": ([[100.0], [200.0]], [[3.0], [5.0]]),
    "one run read, one not": ([[100.0, 200], [np.nan, np.nan]], [[3.0, 6.1], [np.nan, np.nan]]),
}


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("case", AWKWARD)
def test_awkward_readings_give_finite_answers(case, known):
    x, w = (np.array(part) for part in AWKWARD[case])
    if case == "one reading" and not known:
        with pytest.raises(NotEnoughDataError, match="one reading"):
            fit_wear(x, w, design=np.ones((1, 1)), known_start=np.array([False]), restart=[[True]])
        return
    fit = fit_wear(x, w, design=np.ones((len(x), 1)), known_start=known)
    figures = [fit.rate_sd, fit.path_sd, fit.measurement_sd, fit.start_mm, fit.start_sd, fit.criterion]
    assert np.isfinite([*figures, *fit.rate, *fit.covariance.ravel()]).all()
    assert fit.measurement_sd > 0


@pytest.mark.parametrize(
    ("case", "words"), [("perfect lines", "perfect lines"), ("all equal", "equal"), ("all zero", "equal")]
)
def test_readings_too_good_to_be_read_are_flagged(case, words):
    x, w = (np.array(part) for part in AWKWARD[case])
    assert any(words in warning for warning in fit_wear(x, w, design=np.ones((2, 1))).warnings)


def test_scatter_between_perfect_lines_is_their_scatter():
    x = np.tile(np.arange(1.0, 6) * 100, (3, 1))
    rates = np.array([0.02, 0.03, 0.04])
    fit = fit_wear(x, rates[:, None] * x, design=np.ones((3, 1)), path_noise=False)
    assert fit.rate[0] == pytest.approx(0.03, rel=1e-9)
    assert fit.rate_sd == pytest.approx(0.01, rel=1e-3)


def test_measurement_error_is_not_below_its_floor():
    x, w = paths(np.random.default_rng(14), 40, 8, measurement_sd=0.0, path_sd=0.02)
    fit = fit_wear(x, w, design=np.ones((40, 1)), measurement_floor_mm=0.1)
    assert fit.measurement_sd == pytest.approx(0.1)


def test_a_column_that_repeats_another_is_dropped_and_reported():
    x, w, _ = some_brakes(15)
    z = np.column_stack([np.ones(20), np.arange(20) % 2, np.arange(20) % 2, np.zeros(20)])
    fit = fit_wear(x, w, design=z)
    alone = fit_wear(x, w, design=z[:, :2])
    assert fit.columns_kept.tolist() == [True, True, False, False]
    assert fit.rate[2:].tolist() == [0.0, 0.0]
    assert fit.criterion == pytest.approx(alone.criterion, rel=1e-12)
    assert any("[2, 3]" in warning for warning in fit.warnings)


def test_falling_landings_are_refused():
    with pytest.raises(BadRecordsError, match=r"run 1: landings fall to 90 after 100"):
        fit_wear([[10, 20, 30], [50, 100, 90]], [[1, 2, 3], [1, 2, 3]], design=np.ones((2, 1)))


def test_negative_landings_are_refused():
    with pytest.raises(BadRecordsError, match="never fall"):
        fit_wear([[-10, 20, 30]], [[1, 2, 3]], design=np.ones((1, 1)))


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(BadRecordsError, match="shape"):
        fit_wear([[10, 20, 30]], [[1, 2]], design=np.ones((1, 1)))
    with pytest.raises(BadRecordsError, match="design has 2 rows"):
        fit_wear([[10, 20, 30]], [[1, 2, 3]], design=np.ones((2, 1)))
    with pytest.raises(BadRecordsError, match="copies"):
        fit_wear([[10, 20, 30]], [[1, 2, 3]], design=np.ones((1, 1)), copies=0.0)


def test_no_reading_at_all_says_so():
    with pytest.raises(NotEnoughDataError, match="no run has a reading"):
        fit_wear([[np.nan]], [[np.nan]], design=np.ones((1, 1)))


def same(one, two, *, length=1.0, landings=1.0, rel=1e-4):
    """Whether two fits agree after a change of the unit of length or of landings."""
    assert two.rate == pytest.approx(one.rate * length / landings, rel=rel)
    assert two.rate_sd == pytest.approx(
        one.rate_sd * length / landings, rel=rel, abs=1e-7 * length / landings
    )
    assert two.path_sd == pytest.approx(one.path_sd * length / np.sqrt(landings), rel=rel, abs=1e-5)
    assert two.measurement_sd == pytest.approx(one.measurement_sd * length, rel=rel)


@settings(max_examples=3, deadline=None)
@given(seed=st.integers(0, 10_000), unknown=st.sampled_from([0, 6]))
def test_inches_and_millimetres_give_the_same_wear(seed, unknown):
    x, w, known = some_brakes(seed, runs=12, unknown=unknown)
    one = fit_wear(x, w, design=np.ones((12, 1)), known_start=known)
    same(one, fit_wear(x, w / 25.4, design=np.ones((12, 1)), known_start=known), length=1 / 25.4, rel=1e-3)


@settings(max_examples=3, deadline=None)
@given(seed=st.integers(0, 10_000), order=st.permutations(range(12)))
def test_order_of_the_runs_does_not_matter(seed, order):
    x, w, known = some_brakes(seed, runs=12, unknown=4)
    one = fit_wear(x, w, design=np.ones((12, 1)), known_start=known)
    two = fit_wear(x[order], w[order], design=np.ones((12, 1)), known_start=known[order])
    assert two.criterion == pytest.approx(one.criterion, abs=1e-5)
    assert two.rate == pytest.approx(one.rate, rel=1e-4)


@settings(max_examples=3, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_a_run_without_readings_and_gaps_between_them_change_nothing(seed):
    x, w, known = some_brakes(seed, runs=12)
    wider = np.full((13, 24), np.nan)
    wider_w = wider.copy()
    wider[:12, ::2], wider_w[:12, ::2] = x, w
    one = fit_wear(x, w, design=np.ones((12, 1)), known_start=known)
    two = fit_wear(wider, wider_w, design=np.ones((13, 1)))
    assert two.criterion == pytest.approx(one.criterion, rel=1e-9)
    assert two.rate == pytest.approx(one.rate, rel=1e-9)


@settings(max_examples=3, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_the_same_value_read_twice_counts_as_a_value_averaged_from_two(seed):
    x, w, _ = some_brakes(seed, runs=12)
    doubled = fit_wear(np.repeat(x, 2, axis=1), np.repeat(w, 2, axis=1), design=np.ones((12, 1)))
    averaged = fit_wear(x, w, design=np.ones((12, 1)), copies=2.0)
    # Two equal readings say, beside their average, that the error is small: so compare at a floor that binds both.
    at_floor = [
        fit_wear(*data, design=np.ones((12, 1)), measurement_floor_mm=2.0, **copies)
        for data, copies in (
            ((np.repeat(x, 2, axis=1), np.repeat(w, 2, axis=1)), {}),
            ((x, w), {"copies": 2.0}),
        )
    ]
    assert doubled.measurement_sd < averaged.measurement_sd
    same(*at_floor, rel=1e-5)
