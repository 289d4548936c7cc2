"""
The invented fleet has the magnitudes of a real one.

The bands are common practice, no source: usable pin 25-55 mm, wear 0.015-0.05 mm a landing, steel 600-1,300 and
carbon 1,300-2,800 landings per overhaul, readings every one to three weeks and denser near the limit, 75-88 % of
removals worn, 15-45 days in the shop. They are computed from the files as written.
"""

import datetime as dt
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from lifecycle.assumptions import ROUTE_UNITS, UNITS

MATERIALS = {"steel": (600, 1300), "carbon": (1300, 2800)}


def day(column):
    return pd.to_datetime(column.replace("", None))


@pytest.fixture(scope="module")
def stays(files):
    """Installations with their brake type, material and the braked landings made in them."""
    stays = files["installations"].merge(files["brakes"][["serial", "brake_type"]], on="serial")
    stays = stays.merge(files["brake_types"][["brake_type", "material", "new_pin_mm"]], on="brake_type")
    log = files["landings"][["registration", "day", "full_stops"]].assign(day=day(files["landings"]["day"]))
    log["upto"] = log["full_stops"].astype(float).groupby(log["registration"]).cumsum()
    log = log.sort_values("day")
    for column in ("installed_on", "removed_on"):
        asked = stays[["registration"]].assign(
            day=day(stays[column]).fillna(pd.Timestamp("2026-10-31")), place=stays.index
        )
        asked = asked.sort_values("day")
        found = pd.merge_asof(asked, log[["registration", "day", "upto"]], on="day", by="registration")
        stays[f"{column}_landings"] = found.set_index("place")["upto"].reindex(stays.index).fillna(0)
    return stays.assign(landings=stays["removed_on_landings"] - stays["installed_on_landings"])


def test_there_are_about_forty_aircraft_of_two_types_at_three_bases(files):
    assert 35 <= len(files["aircraft"]) <= 45
    assert files["aircraft_types"]["positions"].str.split(";").map(len).tolist() == [4, 8]
    assert files["aircraft"]["base"].nunique() == 3


def test_four_years_of_landings_end_on_the_last_day(files):
    days = day(files["landings"]["day"])
    assert (days.min(), days.max()) == (pd.Timestamp("2022-11-01"), pd.Timestamp("2026-10-31"))


def test_names_are_invented_and_say_so(files):
    assert files["aircraft"]["registration"].str.startswith("Q").all()
    assert files["brake_types"]["maker"].str.contains("invented").all()
    assert files["bases"]["name"].str.contains("invented").all()
    assert files["assumptions"]["source"].eq("invented for the demo").all()


def test_aircraft_make_two_to_six_landings_a_day(files):
    log = files["landings"].merge(files["aircraft"][["registration", "aircraft_type"]], on="registration")
    one_day = log[(log["to_day"] == "") & (log["full_stops"] != "0")]
    mean = one_day["full_stops"].astype(float).groupby(one_day["aircraft_type"]).mean()
    assert mean.between(2, 6).all(), mean


def test_flying_has_a_season(files):
    log = files["landings"].merge(files["aircraft"][["registration", "aircraft_type"]], on="registration")
    log = log[(log["aircraft_type"] == "Larkfin 90") & (log["to_day"] == "")]
    mean = log["full_stops"].astype(float).groupby(day(log["day"]).dt.month).mean()
    assert mean[7] > 1.3 * mean[1]


def test_usable_pin_is_25_to_55_mm(files):
    limits = files["wear_limits"].merge(files["brake_types"], on="brake_type")
    limit, new = limits["limit"].astype(float), limits["new_pin_mm"].astype(float)
    usable = np.where(limits["convention"] == "left", new - limit, limit)
    assert ((usable >= 25) & (usable <= 55)).all()


def test_wear_is_15_to_50_micrometres_a_landing(made):
    inside = made.runs["rate_mm_per_landing"].between(0.015, 0.05)
    assert inside.mean() > 0.97
    by_type = made.runs.groupby("brake_type")["rate_mm_per_landing"].mean()
    assert by_type.between(0.015, 0.05).all()


@pytest.mark.parametrize("material", MATERIALS)
def test_landings_per_overhaul_are_those_of_the_material(stays, material):
    whole = stays["starts_as"].isin(["new", "overhauled"]) & (stays["removal_reason"] == "worn")
    lives = stays.loc[whole & (stays["material"] == material), "landings"]
    low, high = MATERIALS[material]
    assert len(lives) > 50
    assert lives.between(low, high).mean() > 0.85
    assert low < lives.median() < high


def test_scatter_between_brakes_positions_and_bases_is_that_of_real_fleets(scenario):
    assert all(0.08 <= kind.rate_cv <= 0.15 for kind in scenario.brake_types)
    for kind in scenario.aircraft_types:
        factors = kind.group_factors.values()
        assert 0.05 <= max(factors) / min(factors) - 1 <= 0.15
    factors = [base.wear_factor for base in scenario.bases]
    assert 0.10 <= max(factors) / min(factors) - 1 <= 0.40


def test_three_in_four_to_seven_in_eight_removals_are_worn(files):
    reasons = files["installations"]["removal_reason"]
    assert 0.75 <= (reasons[reasons != ""] == "worn").mean() <= 0.88
    assert reasons.nunique() > 10


def test_brakes_come_off_near_the_limit(files, stays):
    read = files["pin_readings"].merge(
        stays[["serial", "removed_on", "removal_reason", "brake_type"]], on="serial"
    )
    read = read[
        (read["day"] == read["removed_on"]) & (read["removal_reason"] == "worn") & (read["pin_1"] != "")
    ]
    read = read[(read["brake_type"] == "LFB-310S") & (read["unit"] == "mm")]
    left = read[["pin_1", "pin_2"]].astype(float).min(axis=1)
    assert left.between(6.0, 9.5).mean() > 0.97


def test_pins_are_read_every_one_to_three_weeks_and_oftener_near_the_limit(files, stays):
    read = files["pin_readings"][files["pin_readings"]["occasion"] == "routine"]
    read = read.assign(day=day(read["day"]))
    runs = stays.assign(installed=day(stays["installed_on"]), removed=day(stays["removed_on"]))
    both = read.merge(runs[["serial", "installed", "removed", "removal_reason"]], on="serial")
    both = both[(both["day"] > both["installed"]) & ~(both["day"] > both["removed"])].sort_values(
        ["serial", "day"]
    )
    gap = both.groupby(["serial", "installed"])["day"].diff().dt.days
    near = (both["removal_reason"] == "worn") & ((both["removed"] - both["day"]).dt.days < 15)
    assert gap[~near].between(7, 21).mean() > 0.85
    assert gap[near].median() < 0.6 * gap[~near].median()


def test_shop_visits_take_15_to_45_days_and_cost_money(files):
    visits = files["shop_visits"]
    back = visits[visits["back_on"] != ""]
    assert (day(back["back_on"]) - day(back["sent_on"])).dt.days.between(15, 45).all()
    assert (visits["serial_back"] != "").sum() > 5
    assert (visits["work"] == "scrap").sum() > 5
    assert set(visits["currency"]) == {"EUR", ""}


@pytest.mark.parametrize(
    ("name", "column", "value"),
    [
        ("aircraft_changes", "status", "sold"),
        ("aircraft_changes", "status", "stored"),
        ("aircraft_changes", "status", "in check"),
        ("aircraft_changes", "status", "deployed"),
        ("aircraft_changes", "new_registration", "QO-ZEF"),
        ("events", "event", "rejected take-off"),
        ("events", "event", "overheat"),
        ("events", "event", "dragging"),
        ("installations", "removal_reason", "modification"),
        ("installations", "starts_as", "refurbished"),
        ("installations", "starts_as", "same run"),
        ("pin_readings", "within_limit", "yes"),
        ("pin_readings", "cold", "no"),
        ("pin_readings", "brakes_applied", "no"),
        ("pin_readings", "unit", "in"),
        ("pin_readings", "convention", "used"),
        ("brakes", "arrangement", "by the hour"),
        ("brakes", "arrangement", "exchange"),
        ("deactivations", "to", "2025-08-19"),
        ("reshims", "step_mm", "4.0"),
        ("exclusions", "to", "2025-05-30"),
    ],
)
def test_what_real_fleets_bring_is_there(files, name, column, value):
    assert (files[name][column] == value).any()


def test_touch_and_gos_are_flown_at_the_training_base_only(files):
    flown = files["landings"][files["landings"]["touch_and_gos"] != "0"]
    assert set(flown["base"]) == {"OSKERRIN"}
    assert len(flown) > 1000


def test_a_month_of_one_aircraft_is_told_as_a_total(files):
    totals = files["landings"][files["landings"]["to_day"] != ""]
    assert totals[["day", "to_day"]].to_numpy().tolist() == [["2024-02-01", "2024-02-29"]]
    assert totals["full_stops"].astype(int).item() > 40


def test_a_few_sheets_are_lost_and_some_running_totals_show_it(files):
    log = files["landings"]
    per_aircraft = log.assign(day=day(log["day"])).groupby("registration")["day"]
    missing = sum(int((days.sort_values().diff().dt.days > 1).sum()) for _, days in per_aircraft)
    assert 50 < missing < 400
    assert (log["total_landings"] != "").mean() > 0.2


def test_running_totals_never_fall(files):
    log = files["landings"][files["landings"]["total_landings"] != ""].sort_values(["registration", "day"])
    rise = log["total_landings"].astype(int).groupby(log["registration"]).diff()
    assert not (rise < 0).any()


def test_most_papers_come_in_on_the_day_and_some_weeks_late(files):
    log = files["landings"]
    late = (day(log["recorded_on"]) - day(log["day"].where(log["to_day"] == "", log["to_day"]))).dt.days
    assert late.min() == 0
    assert (late == 0).mean() > 0.85
    assert 0.005 < (late > 14).mean() < 0.1


def test_nothing_was_written_down_before_it_happened_or_after_the_last_day(files):
    happened = {
        "landings": "day",
        "pin_readings": "day",
        "installations": "installed_on",
        "shop_visits": "sent_on",
    }
    happened |= {"events": "day", "stock": "counted_on", "orders": "ordered_on", "aircraft_changes": "from"}
    for name, column in happened.items():
        told = day(files[name]["recorded_on"])
        assert (told >= day(files[name][column])).all(), name
        assert told.max() <= pd.Timestamp("2026-10-31"), name


def test_the_retrofit_is_in_progress(files, stays):
    fitted = stays[(stays["removed_on"] == "") & stays["brake_type"].str.startswith("LFB")]
    share = (fitted["brake_type"] == "LFB-420C").mean()
    assert 0.3 < share < 0.7
    mixed = fitted.groupby("registration")["brake_type"].nunique()
    assert (mixed == 1).all()


def test_the_limit_was_made_tighter_once_and_depends_on_the_weight_variant(files):
    limits = files["wear_limits"]
    steel = limits[limits["brake_type"] == "LFB-310S"].set_index(["weight_variant", "effective_on"])["limit"]
    assert steel.loc[("", "2025-04-01")] > steel.loc[("", "2012-03-01")]
    assert steel.loc[("HGW", "2012-03-01")] == "8.0"


def test_each_known_assumption_is_there_with_a_unit_and_a_sensible_range(files):
    rows = files["assumptions"]
    assert set(rows["name"]) == set(UNITS) - set(ROUTE_UNITS)
    assert (rows["unit"].str.replace("EUR", "CUR") == rows["name"].map(UNITS)).all()
    ranged = rows[rows["low"] != ""]
    low, value, high = (ranged[column].astype(float) for column in ("low", "value", "high"))
    assert ((low < value) & (value < high)).all()
    assert len(ranged) > 30


def test_one_base_has_a_flying_plan_for_the_next_twelve_months(files):
    plan = files["flying_plan"]
    assert set(plan["base"]) == {"QUILLMERE"}
    months = [dt.date.fromisoformat(f"{month}-01") for month in plan["month"]]
    assert months[0] == dt.date(2026, 11, 1)
    assert all((after - before).days in range(28, 32) for before, after in pairwise(months))
    assert len(months) == 12


def test_stock_is_counted_every_month_and_orders_are_open(files):
    assert files["stock"]["counted_on"].nunique() == 48
    assert (files["orders"]["due_on"] > "2026-10-31").all()
