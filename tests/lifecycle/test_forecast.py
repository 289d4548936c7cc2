"""Change-outs: landings and dates to the limit, against plain references and by hand."""

import datetime as dt
import functools
import sys
import time
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.optimize import brentq

from lifecycle.days import day_number
from lifecycle.exposure import Runs, measure_runs
from lifecycle.flying import Flying, learn_flying
from lifecycle.forecast import ChangeOut, dates_after, due_within, forecast_changeouts
from lifecycle.installed import Installed, installed_brakes
from lifecycle.life import Passage, first_passage_cdf
from lifecycle.wear import FleetFit, fit_fleet
from tests import builders as b

ON = dt.date(2025, 12, 31)
NEW_MM, LIMIT_MM, A_DAY = 50.0, 10.0, 3


def worn_to(day: str, rate: float = 0.03, since: str = "2025-01-01") -> float:
    """Length left on a day of a brake that wears evenly from new."""
    return round(NEW_MM - rate * A_DAY * (pd.Timestamp(day) - pd.Timestamp(since)).days, 1)


def fleet(*more, readings_of=range(1, 9), through=365, last_reading="2025-12-17"):
    """Two aircraft of four brakes, read every two weeks through a year of three landings a day; rows to add."""
    rng = np.random.default_rng(4)
    rows = [b.limit(LIMIT_MM), b.aircraft(1), b.aircraft(2, base="Away")]
    rows += b.daily(1, "2025-01-01", through, A_DAY) + b.daily(2, "2025-01-01", 365, A_DAY)
    for number in range(1, 9):
        craft, position = (number - 1) // 4 + 1, str((number - 1) % 4 + 1)
        rows.append(b.installation(number, "2024-12-31", aircraft=craft, position=position))
        rate = rng.normal(0.03, 0.002)
        for day in pd.date_range("2025-01-15", last_reading, freq="14D"):
            text = day.date().isoformat()
            pin = worn_to(text, rate) + round(rng.normal(0, 0.15), 1)
            rows += [b.reading(number, text, f"{pin:.1f}")] if number in readings_of else []
    return b.records(*rows, *more)


def chain(records, on=ON) -> tuple[Runs, FleetFit, Flying]:
    runs = measure_runs(records, on)
    return runs, fit_fleet(runs), learn_flying(records, on)


@functools.cache
def plain_chain() -> tuple[Runs, FleetFit, Flying]:
    """The fleet without additions, fitted once for all tests."""
    return chain(fleet())


def plain_forecast() -> dict[str, ChangeOut]:
    return {change.serial: change for change in forecast_changeouts(*plain_chain(), ON)}


def from_the_last_fit(records) -> dict[str, ChangeOut]:
    """New readings of the same brakes, before the fleet is fitted again."""
    _, fit, flying = plain_chain()
    found = forecast_changeouts(measure_runs(records, ON), fit, flying, ON)
    return {change.serial: change for change in found}


def forecast(records, on=ON, **asked) -> dict[str, ChangeOut]:
    return {change.serial: change for change in forecast_changeouts(*chain(records, on), on, **asked)}


def test_quantiles_are_those_of_the_law_conditioned_on_still_being_fitted():
    """Slow plain reference: one brake at a time, by bracketing, from the posterior and the landings flown since."""
    runs, fit, flying = plain_chain()
    for change in forecast_changeouts(runs, fit, flying, ON):
        place = runs.runs.index[runs.runs["serial"] == change.serial][0]
        run, post = runs.runs.loc[place], fit.posterior.loc[place]
        law = {
            "remaining_mm": run["start_mm"] - run["limit_mm"] - post["wear_mm"],
            "rate": post["rate_mm"],
            "rate_var": post["rate_var"],
            "path_sd": post["path_sd"],
            "start_var": post["measurement_sd"] ** 2 * post["filter_p"] + post["gap"] ** 2 * post["rate_var"],
            "start_cov": post["gap"] * post["rate_var"],
        }
        flown = run["landings"] - post["landings_at"]
        assert flown == 14 * A_DAY

        def reached(n, law=law, flown=flown, dof=post["dof"]):
            now, then = (
                stats.t.cdf(stats.norm.ppf(float(first_passage_cdf(flown + ahead, **law))), dof)
                for ahead in (0.0, n)
            )
            return (then - now) / (1 - now)

        found = change.landings_p10, change.landings_p50, change.landings_p90
        expected = [brentq(lambda n, p=p: reached(n) - p, 1e-6, 5000) for p in (0.1, 0.5, 0.9)]
        np.testing.assert_allclose(found, expected, rtol=2e-4)


def test_every_installed_brake_is_listed_once_soonest_at_the_risk_first():
    runs, fit, flying = plain_chain()
    found = forecast_changeouts(runs, fit, flying, ON, risk=0.25)
    assert sorted(change.serial for change in found) == [f"S{number}" for number in range(1, 9)]
    dates = [change.date_at_risk for change in found]
    assert dates == sorted(dates)
    for change in found:
        assert change.kind == "estimated"
        assert change.landings_p10 < change.landings_at_risk < change.landings_p50 < change.landings_p90
        assert ON < change.date_p10 <= change.date_at_risk <= change.date_p50 <= change.date_p90
        assert (change.limit_mm, change.read_on) == (LIMIT_MM, dt.date(2025, 12, 17))


def test_one_base_shows_its_own_brakes_only():
    away = {change.serial: change for change in forecast_changeouts(*plain_chain(), ON, base="Away")}
    assert set(away) == {"S5", "S6", "S7", "S8"}
    assert away == {serial: change for serial, change in plain_forecast().items() if serial in away}


def test_median_is_what_is_left_at_the_rate_less_what_was_flown_since():
    for change in plain_forecast().values():
        left = (change.pin_mm - LIMIT_MM) / change.rate_mm_per_landing - 14 * A_DAY
        assert change.landings_p50 == pytest.approx(left, abs=8)  # a gauge error of 0.15 mm is 5 landings
        assert (change.date_p50 - ON).days == pytest.approx(change.landings_p50 / A_DAY, abs=1.01)


@pytest.mark.parametrize(
    ("state", "cold", "because"),
    [("accepted", "", ""), ("held", "", " (held reading)"), ("accepted", "no", " (hot reading)")],
)
def test_reading_at_the_limit_is_due_now_whatever_keeps_it_out_of_the_rate(state, cold, because):
    change = from_the_last_fit(fleet(b.reading(1, "2025-12-20", "10.0", state=state, cold=cold)))["S1"]
    assert change.kind == "observed"
    assert change.landings_p10 == change.landings_p50 == change.landings_p90 == change.landings_at_risk == 0
    assert {change.date_p10, change.date_p50, change.date_p90, change.date_at_risk} == {ON}
    assert (change.pin_mm, change.read_on) == (10.0, dt.date(2025, 12, 20))
    assert change.warnings == (f"at or below the wear limit: read on 20 Dec 2025{because}",)


def test_check_without_a_value_that_says_past_the_limit_is_due_now():
    change = from_the_last_fit(fleet(b.reading(1, "2025-12-20", None, within_limit="no")))["S1"]
    assert (change.kind, change.landings_p90, change.date_p90) == ("observed", 0, ON)
    assert (change.pin_mm, change.read_on) == (None, dt.date(2025, 12, 20))
    within = from_the_last_fit(fleet(b.reading(1, "2025-12-20", None)))["S1"]
    assert (within.kind, within.read_on) == ("estimated", dt.date(2025, 12, 17))


def test_limit_is_compared_in_exact_decimals():
    """0.394 in is 10.0076 mm, above a limit of 10 mm; 0.393 in is 9.9822 mm, below it (one inch is 25.4 mm)."""
    above = from_the_last_fit(fleet(b.reading(1, "2025-12-20", "0.394", unit="in", cold="no")))["S1"]
    below = from_the_last_fit(fleet(b.reading(1, "2025-12-20", "0.393", unit="in", cold="no")))["S1"]
    assert (above.kind, below.kind) == ("estimated", "observed")


def test_reading_exactly_at_a_limit_that_is_allowed_is_not_due():
    """FAA AD 92-09-03: exactly the maximum wear is still within the limit."""
    allowed = b.limit(LIMIT_MM, at_limit="allowed", effective_on="2025-06-01")
    exact = b.reading(1, "2025-12-20", "10.0", cold="no")
    past = b.reading(1, "2025-12-21", "9.99999", cold="no")
    assert from_the_last_fit(fleet(allowed, exact))["S1"].kind == "estimated"
    assert from_the_last_fit(fleet(allowed, exact, past))["S1"].kind == "observed"


def test_refused_reading_makes_nothing_due():
    change = from_the_last_fit(fleet(b.reading(1, "2025-12-20", "9.0", state="refused")))["S1"]
    assert change.kind == "estimated"
    assert change == plain_forecast()["S1"]


def test_later_usable_reading_above_the_limit_clears_a_low_one_but_a_hot_one_does_not():
    low = b.reading(1, "2025-12-18", "9.9")
    later = {"brake": 1, "day": "2025-12-20", "pin": str(worn_to("2025-12-20"))}
    assert from_the_last_fit(fleet(low, b.reading(**later)))["S1"].kind == "estimated"
    assert from_the_last_fit(fleet(low, b.reading(**later, cold="no")))["S1"].kind == "observed"
    assert from_the_last_fit(fleet(low, b.reading(**later, brakes_applied="no")))["S1"].kind == "observed"


def test_copies_of_a_reading_do_not_clear_a_low_one_and_the_forecast_rests_on_the_last_that_moved():
    """One brake that stands at its reading of 29 October from then on; a hot reading lies in between."""
    stood = f"{worn_to('2025-10-29'):.1f}"
    same = [b.reading(1, f"2025-{day}", stood) for day in ("10-29", "11-12", "11-26", "12-10", "12-17")]
    honest = [b.reading(1, day, f"{worn_to(day):.1f}") for day in ("2025-09-03", "2025-09-17", "2025-10-15")]
    low = b.reading(1, "2025-11-20", "9.9", cold="no")
    others = range(2, 9)
    copied = forecast(fleet(*honest, *same, readings_of=others))["S1"]
    assert any(f"{stood} mm of 17 Dec 2025 is copied or unread: the forecast rests on {stood} mm of 29 Oct 2025" in told
               for told in copied.warnings)  # fmt: skip
    assert not any("by it due" in told for told in copied.warnings)
    assert forecast(fleet(*honest, *same, low, readings_of=others))["S1"].kind == "observed"
    real = b.reading(1, "2025-12-20", f"{worn_to('2025-12-20'):.1f}")
    assert forecast(fleet(*honest, *same, low, real, readings_of=others))["S1"].kind == "estimated"


def test_held_low_reading_stands_until_it_is_ruled_on():
    later = b.reading(1, "2025-12-20", str(worn_to("2025-12-20")))
    held, refused = (b.reading(1, "2025-12-18", "9.9", state=state) for state in ("held", "refused"))
    assert from_the_last_fit(fleet(held, later))["S1"].kind == "observed"
    assert from_the_last_fit(fleet(refused, later))["S1"].kind == "estimated"


def test_brake_never_read_is_forecast_from_its_type_and_says_so():
    change = forecast(fleet(readings_of=range(1, 8)))["S8"]
    assert change.kind == "assumed"
    assert (change.pin_mm, change.read_on) == (None, None)
    assert 0 < change.landings_p10 < change.landings_p50 < change.landings_p90
    assert "never read in this run: only what its type is like is known" in change.warnings
    read = plain_forecast()["S8"]
    assert change.landings_p90 - change.landings_p10 > read.landings_p90 - read.landings_p10


def test_fleet_that_nobody_has_read_still_has_a_finite_assumed_answer():
    for change in forecast(fleet(readings_of=())).values():
        assert change.kind == "assumed"
        assert np.isfinite([change.rate_mm_per_landing, change.landings_p10]).all()


def test_brake_without_a_limit_on_record_has_no_landings_and_no_dates():
    other = [b.brake_type("BT-1"), b.brake_type("BT-2"), b.brake(9, brake_type="BT-2")]
    new = [b.aircraft(3, registration="ZZ-003"), b.installation(9, "2025-06-01", aircraft=3)]
    change = forecast(fleet(*other, *new))["S9"]
    assert change.limit_mm is None
    assert {change.landings_p10, change.landings_p50, change.landings_p90, change.landings_at_risk} == {None}
    assert {change.date_p10, change.date_p50, change.date_p90, change.date_at_risk} == {None}
    assert any("no wear limit" in text for text in change.warnings)


def test_landings_not_yet_on_record_are_projected_and_labelled():
    late, full = forecast(fleet(through=355))["S1"], plain_forecast()["S1"]
    assert late.landings_p50 == pytest.approx(full.landings_p50, abs=3)
    assert any(
        text.startswith("landings on record through 21 Dec 2025 only: 30 more projected")
        for text in late.warnings
    )
    assert not any("projected" in text for text in full.warnings)


def test_brake_long_past_its_expected_limit_is_said_to_be_overdue():
    change = forecast(fleet(), on=dt.date(2026, 9, 1))["S1"]
    assert any(text.startswith("likely past the limit already") for text in change.warnings)
    assert any(text.startswith("not read since 17 Dec 2025") for text in change.warnings)
    assert change.kind == "estimated"


def test_stored_aircraft_has_landings_but_no_date():
    change = forecast(fleet(b.change(1, "2025-12-20", status="stored")))["S1"]
    assert change.landings_p50 > 0
    assert change.date_p50 is None
    assert any("no date" in text for text in change.warnings)
    assert any("stored" in text for text in change.warnings)


def test_dates_after_retirement_are_not_given():
    retiring = b.aircraft(3, registration="ZZ-003", retires_on="2026-02-01")
    new = b.installation(9, "2025-12-30", aircraft=3)
    change = forecast(fleet(retiring, new, *b.daily(3, "2025-11-01", 60, A_DAY)))["S9"]
    assert change.landings_p50 > 500
    assert change.date_p50 is None


def test_short_reading_out_of_the_rate_shows_the_date_it_would_give():
    change = from_the_last_fit(fleet(b.reading(1, "2025-12-20", "11.0", state="held")))["S1"]
    assert change.kind == "estimated"
    (text,) = [text for text in change.warnings if text.startswith("11.0 mm read on 20 Dec 2025, held")]
    landings = (11.0 - LIMIT_MM) / change.rate_mm_per_landing - 11 * A_DAY
    due = ON + dt.timedelta(days=int(np.ceil(max(landings, 0) / A_DAY)))
    assert f"by it due by {due.day} {due:%b %Y}" in text


@pytest.mark.parametrize(
    ("kept_out", "told"),
    [({"state": "held"}, "held"), ({"cold": "no"}, "taken hot"), ({}, "unexplained"),
     ({"brakes_applied": "no"}, "taken with the brakes released")],
)  # fmt: skip
def test_a_last_reading_out_of_the_rate_says_on_which_the_forecast_rests(kept_out, told):
    records = fleet(b.reading(1, "2025-12-20", "45.9", **kept_out))
    change = (from_the_last_fit if kept_out else forecast)(records)["S1"]
    used = plain_forecast()["S1"]
    assert (change.pin_mm, change.read_on) == (45.9, dt.date(2025, 12, 20))
    assert f"45.9 mm of 20 Dec 2025 is {told}: the forecast rests on {used.pin_mm} mm of 17 Dec 2025" in (
        change.warnings
    )
    assert not any("rests on" in text for text in used.warnings)


def test_a_held_reading_alone_says_that_the_forecast_rests_on_the_type():
    change = forecast(fleet(b.reading(8, "2025-12-20", "45.9", state="held"), readings_of=range(1, 8)))["S8"]
    assert "45.9 mm of 20 Dec 2025 is held: the forecast rests on what its type is like" in change.warnings


def test_a_check_within_the_limit_is_named_where_a_reading_is_missing():
    checks = (b.reading(1, "2026-08-20", None), b.reading(8, "2026-08-21", None))
    told = forecast(fleet(*checks, readings_of=range(1, 8)), on=dt.date(2026, 9, 1))
    assert any(
        text.startswith("not read since 17 Dec 2025")
        and text.endswith("checked within the limit on 20 Aug 2026")
        for text in told["S1"].warnings
    )
    assert not any("checked" in text for text in told["S2"].warnings)
    assert (
        "never read in this run, only checked within the limit on 21 Aug 2026: "
        "beside that, only what its type is like is known"
    ) in told["S8"].warnings


def test_short_reading_far_from_the_path_is_shown_with_the_date_it_would_give():
    change = forecast(fleet(b.reading(1, "2025-12-20", "12.3")))["S1"]
    assert any(text.startswith("12.3 mm read on 20 Dec 2025, unexplained") for text in change.warnings)
    assert change.landings_p50 > 50


def test_re_shim_lifts_the_pin_and_not_the_wear():
    plain = plain_forecast()["S1"]
    shimmed = fleet(b.reshim(1, "2025-12-18", 5.0), b.reading(1, "2025-12-20", f"{plain.pin_mm + 4.7:.1f}"))
    change = forecast(shimmed)["S1"]
    more = change.landings_p50 - plain.landings_p50
    assert more == pytest.approx(5.0 / plain.rate_mm_per_landing, rel=0.1)


def test_dates_follow_the_flying_plan():
    busy = fleet(*(b.plan(f"2026-{month:02d}", 300, aircraft=1) for month in range(1, 13)))
    before, after = plain_forecast(), forecast(busy)
    assert after["S1"].landings_p50 == before["S1"].landings_p50
    assert (after["S1"].date_p50 - ON).days == pytest.approx((before["S1"].date_p50 - ON).days * 0.3, abs=2)
    assert after["S5"] == before["S5"]


def test_date_is_the_day_on_which_the_landing_falls():
    assert dates_after(ON, np.array([0.0, 0.2, 1.0, 1.2, np.inf, np.nan, 40_000.0])) == [
        ON,
        ON + dt.timedelta(days=1),
        ON + dt.timedelta(days=1),
        ON + dt.timedelta(days=2),
        None,
        None,
        None,
    ]


def level_flying(cv_u, phi, a_day=3.0) -> Flying:
    """One aircraft that flies the same all year; only the error of its flying is set by hand."""
    records = b.records(b.aircraft(1), b.daily(1, "2025-01-01", 365, a_day))
    return replace(learn_flying(records, ON), cv_u=cv_u, phi=phi, season=np.ones(12))


def test_dates_hold_the_error_of_wear_and_of_flying_together():
    """Against simulation of both (wear-model.md: within 0.2 % for the median, 1.7 % at worst)."""
    seed, draws = 20262, 200_000
    rng = np.random.default_rng(seed)
    flying = level_flying(cv_u=0.12, phi=4.0)
    a_day = float(flying.landings_a_day(1))
    law = Passage(*(np.array([value]) for value in (30.0, 0.03, 0.003**2, 0.05, 0.02, 0.0, 20.0, np.inf)))
    frame = pd.DataFrame({"aircraft": [1], "due": [False]})
    levels = np.array([0.1, 0.5, 0.9])
    days = due_within(Installed(frame, law), flying, levels).days[:, 0]
    ranks = rng.random(draws)
    landings = np.interp(ranks, np.linspace(0.001, 0.999, 999), law.landings(np.linspace(0.001, 0.999, 999)))
    speed = a_day * np.exp(0.12 * rng.standard_normal(draws))
    took = landings / speed * np.exp(np.sqrt(4.0 / landings) * rng.standard_normal(draws))
    np.testing.assert_allclose(days, np.quantile(took, levels), rtol=0.017, err_msg=f"seed {seed}")


def many_brakes(count: int) -> tuple[Installed, Flying]:
    rng = np.random.default_rng(8)
    flying = level_flying(cv_u=0.1, phi=1.5)
    rate = rng.normal(0.03, 0.003, count)
    ones = np.ones(count)
    law = Passage(
        rng.uniform(0.2, 40, count),
        rate,
        (0.06 * rate) ** 2,
        0.05 * ones,
        0.03 * ones,
        10 * (0.06 * rate) ** 2,
        rng.uniform(0, 60, count),
        200 * ones,
    )
    return Installed(pd.DataFrame({"aircraft": np.ones(count, dtype=int), "due": False}), law), flying


@pytest.mark.long
def test_forecast_of_the_world_s_brakes_takes_seconds():
    installed, flying = many_brakes(240_000)
    began = time.perf_counter()
    found = due_within(installed, flying, np.array([0.1, 0.5, 0.9]))
    took = time.perf_counter() - began
    sys.stdout.write(f"240,000 brakes, landings and dates at three levels: {took:.2f} s\n")
    assert np.isfinite(found.days).all()
    assert took < 10.0


def test_forecast_counts_from_the_day_it_is_made():
    assert day_number(ON) - day_number(dt.date(2025, 12, 17)) == 14
    runs, fit, flying = plain_chain()
    installed = installed_brakes(runs, fit, flying, ON)
    np.testing.assert_array_equal(installed.frame["flown"], 14.0 * A_DAY)
