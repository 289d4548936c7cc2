"""Offsets between the pins of a brake: recovered, as a library has them, and what follows where one was not read."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.exposure import measure_runs
from lifecycle.installed import _due as installed_due
from lifecycle.pins_apart import FAR_MM, SURE, as_read, lengths_by_pin, less_unread, pins_apart
from lifecycle.wear import fit_fleet
from tests.builders import brake_type, daily, installation, limit, reading, records
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

ON = dt.date(2024, 6, 30)


def invented(seed, runs=60, readings=10, *, growth=0.0, pins=2, error=0.15):
    """Lengths by pin (readings, pins), their frame, and the true offsets: wear cancels, so any will do."""
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.integers(30, 150, (runs, readings)), axis=1).astype(float)
    offset = np.concatenate([np.zeros((runs, 1)), rng.normal(0, 0.5, (runs, pins - 1))], axis=1)
    rate = np.concatenate([np.zeros((runs, 1)), np.full((runs, pins - 1), growth)], axis=1)
    true = offset[:, None, :] + rate[:, None, :] * x[:, :, None]
    wear = np.cumsum(rng.gamma(2.0, 1.0, (runs, readings)), axis=1)
    lengths = 50 - wear[:, :, None] + true + rng.normal(0, error, true.shape)
    frame = pd.DataFrame(
        {
            "run": np.repeat(np.arange(runs), readings),
            "landings": x.ravel(),
            "usable": True,
            "resolution_mm": 0.1,
        }
    )
    return lengths.reshape(-1, pins), frame, true.mean(axis=1)


def found(lengths, frame):
    kinds = np.full(frame["run"].max() + 1, "BT-1", dtype=object)
    return pins_apart(lengths, frame, kinds)


def test_offsets_are_recovered_and_their_intervals_hold_the_truth_eight_times_in_ten():
    lengths, frame, true = invented(1, runs=400)
    pins = found(lengths, frame).pins
    other = pins[~pins["governs"]]
    sign = np.where(other["pin"] == 2, 1.0, -1.0)
    truth = sign * true[other["run"], 1]
    inside = (other["offset_low"] <= truth) & (truth <= other["offset_high"])
    assert other["offset_mm"].to_numpy() == pytest.approx(truth, abs=0.3)
    assert inside.mean() == pytest.approx(0.8, abs=0.06)  # three standard errors of 400
    assert other["uneven"].mean() <= SURE + 3 * np.sqrt(SURE / 400)


def test_uneven_wear_is_told_and_even_wear_rarely():
    """1.3 mm more of one pin over 900 landings; without it at most 1 in 1000 and 3 standard errors of chance."""
    grown = found(*invented(2, runs=200, growth=0.0015)[:2]).pins
    even = found(*invented(3, runs=200)[:2]).pins
    grown_runs = grown.groupby("run")["uneven"].any()
    assert grown_runs.mean() > 0.7  # where the pins first cross, they come nearer before they part
    assert even.groupby("run")["uneven"].any().mean() <= SURE + 3 * np.sqrt(SURE / 200)


@pytest.mark.parametrize(("growth", "least", "most"), [(0.0, 0.0, 0.0099), (0.0015, 0.9, 1.0)])
def test_an_offset_that_the_new_length_cuts_off_is_not_told_as_growth_and_a_real_growth_is(
    growth, least, most
):
    """Written down as new at most, the second pin 0.9 mm longer and more with each landing; 1 of 120 by chance."""
    rng = np.random.default_rng(9)
    runs, new = 120, 50.0
    x = np.cumsum(rng.integers(20, 90, (runs, 12)), axis=1) * 1.0 - 20
    short = new - 0.02 * x + rng.normal(0, 0.1, x.shape)
    longer = new - 0.02 * x + 0.9 + growth * x + rng.normal(0, 0.1, x.shape)
    lengths = np.round(np.minimum(np.stack([short, longer], axis=2), new), 1)
    frame = pd.DataFrame({"run": np.repeat(np.arange(runs), 12), "landings": x.ravel(), "usable": True})
    frame = frame.assign(resolution_mm=0.1, left_mm=lengths.min(axis=2).ravel())
    kinds, new_mm = np.full(runs, "BT-1", dtype=object), np.full(runs, new)
    pins = pins_apart(lengths.reshape(-1, 2), frame, kinds, new_mm).pins
    assert least <= pins.groupby("run")["uneven"].any().mean() <= most
    assert pins["readings"].lt(12).groupby(pins["run"]).any().mean() > 0.5


def test_a_pin_that_never_left_its_new_length_while_the_other_wore_is_told_of():
    stuck = measured(lengths=("49.6;50.0", "48.0;50.0", "46.4;50.0", "44.8;50.0", "43.2;50.0"))
    (said,) = stuck.runs["warnings"].iloc[0]
    assert said.startswith("wears unevenly")


def test_offsets_and_growth_are_those_of_least_squares_with_a_level_for_each_reading():
    """Reference: statsmodels OLS of the two-way layout, three pins, one run."""
    lengths, frame, _ = invented(4, runs=1, readings=8, growth=0.001, pins=3)
    pins = found(lengths, frame).pins
    governing = int(pins.loc[pins["governs"], "pin"].iloc[0]) - 1
    others = [pin for pin in range(3) if pin != governing]
    x = frame["landings"].to_numpy()
    x = x - x.mean()
    level = np.kron(np.eye(8), np.ones((3, 1)))
    own = [np.kron(np.ones((8, 1)), np.eye(3)[:, [pin]]) for pin in others]
    sloped = [np.kron(x[:, None], np.eye(3)[:, [pin]]) for pin in others]
    theirs = sm.OLS(lengths.ravel(), np.hstack([level, *own, *sloped])).fit()
    ours = pins[~pins["governs"]]
    assert ours["offset_mm"].to_numpy() == pytest.approx(theirs.params[8:10], rel=1e-9)
    assert ours["growth"].to_numpy() == pytest.approx(theirs.params[10:12], rel=1e-9)
    # The pooled variance holds the belief too: two squared deviations of 0.15 mm.
    variance = (theirs.ssr + 2 * 0.15**2) / (theirs.df_resid + 2)
    half = (ours["offset_high"] - ours["offset_mm"]).to_numpy()
    width = theirs.bse[8:10] * np.sqrt(variance / theirs.mse_resid)
    assert np.ptp(half / width) == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 1000), added=st.floats(-20, 20), wear=st.floats(0, 3))
def test_what_all_pins_of_a_reading_share_changes_nothing(seed, added, wear):
    lengths, frame, _ = invented(seed, runs=4, readings=5)
    shared = added - wear * np.arange(len(lengths))[:, None]
    one, two = found(lengths, frame).pins, found(lengths + shared, frame).pins
    assert two["governs"].tolist() == one["governs"].tolist()
    assert two["offset_mm"].to_numpy() == pytest.approx(one["offset_mm"].to_numpy(), abs=1e-9)
    assert two["growth"].to_numpy() == pytest.approx(one["growth"].to_numpy(), abs=1e-9)


def test_a_slip_in_one_pin_is_left_out_and_a_step_that_stays_is_not():
    lengths, frame, _ = invented(5, runs=2, readings=8, error=0.05)
    lengths[3, 1] += 3 * FAR_MM
    slipped = found(lengths, frame).pins
    assert slipped["readings"].tolist() == [7, 7, 8, 8]
    lengths[8 + 5 :, 1] += 3 * FAR_MM
    assert found(lengths, frame).pins["readings"].tolist() == [7, 7, 8, 8]


def test_a_reading_without_the_shortest_pin_is_taken_for_as_much_shorter_as_that_has_been():
    lengths, frame, _ = invented(6, runs=1, readings=6, error=0.0)
    lengths[:, 1] = lengths[:, 0] - 0.6
    lengths[4, 1] = np.nan
    lengths[5, 0] = np.nan
    assert found(lengths, frame).short_by_mm == pytest.approx([0, 0, 0, 0, 0.6, 0])
    lengths[:4, 1] = np.nan  # never read beside each other: nothing is known
    assert found(lengths, frame).short_by_mm == pytest.approx(np.zeros(6))


def test_intervals_hold_eight_in_ten_where_the_shortest_pin_was_left_out_from_the_third_reading_on():
    """Without the offset's own error they hold two in three; 0.049 is three standard errors of 600 runs."""
    rng, inside = np.random.default_rng(5), {True: [], False: []}
    for _ in range(4):
        runs, x, truth = left_out(rng)
        for doubted in (True, False):
            readings = runs.readings if doubted else runs.readings.drop(columns="short_by_noise")
            fit = fit_fleet(replace(runs, readings=readings)).posterior
            ahead = x[:, -1] - fit["landings_at"]
            path, error = fit["path_sd"], fit["measurement_sd"]
            variance = (
                error**2 * fit["filter_p"] + (fit["gap"] + ahead) ** 2 * fit["rate_var"] + path**2 * ahead
            )
            away = (truth - fit["wear_mm"] - ahead * fit["rate_mm"]) / np.sqrt(variance)
            inside[doubted].append(np.abs(away) < 1.2816)
    assert np.mean(inside[True]) == pytest.approx(0.8, abs=0.049)
    assert np.mean(inside[False]) < 0.75


def left_out(rng, runs=150, readings=8, whole=2):
    """Runs whose second pin stands longer and is read alone after two whole readings; the wear at one landing more."""
    x, wear = paths(rng, runs, readings + 1, measurement_sd=0.0, path_sd=0.02)
    longer = 0.2 + np.abs(rng.normal(0, 0.6, runs))
    true = np.stack([wear[:, :-1], wear[:, :-1] - longer[:, None]], axis=2)
    read = 50 - true + rng.normal(0, 0.2, true.shape)
    read[:, whole:, 0] = np.nan
    shown = np.nanmin(read, axis=2)
    brakes = [
        Brake(tuple(at[:-1]), tuple(50 - left), resolution_mm=0.01) for at, left in zip(x, shown, strict=True)
    ]
    laid = runs_of(brakes)
    apart = pins_apart(read.reshape(-1, 2), laid.readings, np.full(runs, "BT-1", dtype=object))
    return replace(laid, readings=less_unread(laid.readings, apart)), x, wear[:, -1]


def test_pins_are_told_apart_in_every_unit_and_convention():
    read = pd.DataFrame(
        {
            "pins": pd.array(["12.4;12.9", "0.5;0.6", "30.0;;29.5", ""], dtype="str"),
            "unit": pd.array(["mm", "in", "mm", "mm"], dtype="str"),
            "convention": pd.array(["left", "left", "used", "left"], dtype="str"),
        }
    )
    lengths = lengths_by_pin(read)
    assert lengths[:2, :2] == pytest.approx(np.array([[12.4, 12.9], [12.7, 15.24]]))
    assert lengths[2, [0, 2]] == pytest.approx([-30.0, -29.5])
    assert np.isnan(lengths[3]).all()


DAYS = ("2024-01-20", "2024-02-10", "2024-03-01", "2024-03-20", "2024-04-10")


def measured(*more, lengths=("49.0;49.6", "47.0;47.6", "45.0;45.6", "43.0;43.6", "41.0;41.6")):
    """A brake with two pins, the second 0.6 mm longer."""
    pins = [
        reading(1, day, min(typed.split(";")), pins=typed) for day, typed in zip(DAYS, lengths, strict=True)
    ]
    rows = [
        brake_type(new_pin_mm=50.0),
        limit(10.0),
        daily(1, "2024-01-01", 182),
        installation(1, "2023-12-31"),
    ]
    return measure_runs(records(*rows, *pins, *more), ON)


def test_the_longer_pin_read_alone_counts_as_the_shorter_and_is_shown_as_read():
    runs = measured(reading(1, "2024-05-01", "39.6", pins=";39.6"))
    last = runs.readings.iloc[-1]
    assert (last["left_mm"], last["wear_mm"]) == (pytest.approx(39.0), pytest.approx(11.0))
    assert as_read(runs.readings).iloc[-1] == pytest.approx(39.6)
    assert runs.readings["short_by_mm"].tolist()[:-1] == [0.0] * 5
    (said,) = runs.runs["warnings"].iloc[0]
    assert "shortest pin was not read on 1 May 2024" in said
    assert "0.6 mm longer" in said


def test_the_longer_pin_read_alone_condemns_as_read_and_does_not_clear():
    low, later = (
        reading(1, "2024-05-01", "9.9", pins="9.9;10.5"),
        reading(1, "2024-05-05", "10.5", pins=";10.5"),
    )
    read = measured(low, later).readings
    assert read["at_or_below"].tolist()[-2:] == [True, False]
    assert installed_due(read, ()).index.tolist() == [0]
    whole = measured(low, reading(1, "2024-05-05", "10.2", pins="10.2;10.5")).readings
    assert installed_due(whole, ()).empty


def test_pins_that_wear_apart_are_told_of():
    runs = measured(lengths=("49.0;49.6", "47.0;48.0", "45.0;46.4", "43.0;44.8", "41.0;43.2"))
    (said,) = runs.runs["warnings"].iloc[0]
    assert said.startswith("wears unevenly: pin A faster than pin B by ")
    assert "look for the cause" in said
    assert measured().runs["warnings"].iloc[0] == ()


def test_a_pin_that_was_never_read_is_told_of():
    rows = [brake_type(new_pin_mm=50.0, pins=2), limit(10.0), daily(1, "2024-01-01", 182)]
    stay = installation(1, "2023-12-31")
    alone = [
        reading(1, day, left, pins=left)
        for day, left in zip(DAYS, ("48.0", "46.0", "44.0", "42.0", "40.0"), strict=True)
    ]
    told = "pin B never read in this run: a shorter one would be due sooner; read all pins"
    assert told in measure_runs(records(*rows, stay, *alone), ON).runs["warnings"].iloc[0]
    once = reading(1, "2024-05-01", "38.0", pins="38.0;38.4")
    assert told not in measure_runs(records(*rows, stay, *alone, once), ON).runs["warnings"].iloc[0]
