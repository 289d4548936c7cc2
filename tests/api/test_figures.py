"""Charts say what the tables say: counts add up, marks tell materials and kinds, nothing in them is markup."""

import datetime as dt
import itertools
import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api.figures.brake import landings_now, outcome_dots, stacked, wear_ahead, wear_plot
from api.figures.brief_words import dated_flows, swings
from api.figures.changeouts import acts_by_month
from api.figures.cost import cost_elements
from api.figures.look import ASSUMED, ESTIMATE, INK
from api.figures.retrofit import cash_by_year, swing
from api.figures.spares import demand_and_stock
from api.pages.calendar import month_after
from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.cost import CostPerLanding, TypeCost
from lifecycle.drivers import Driver
from lifecycle.forecast import ChangeOut
from lifecycle.retrofit import Briefing, YearFlow
from lifecycle.spares import SparesMonth
from lifecycle.story import brake_story
from lifecycle.study import open_study
from tests.builders import aircraft, brake_type, daily, installation, limit, reading, records

DAY = dt.date(2026, 5, 1)
MARKUP = "A<b>&</b>"


def change(kind, day):
    numbers = dict.fromkeys(("landings_p10", "landings_p50", "landings_p90"), 1.0)
    days = dict.fromkeys(("date_p10", "date_p50", "date_p90"), day)
    return ChangeOut(
        serial="S", brake_type="T", registration="ZZ", position="1", base="Home", pin_mm=9.0, limit_mm=5.0,
        read_on=DAY, rate_mm_per_landing=0.03, kind=kind, **numbers, **days,
    )  # fmt: skip


def type_cost(name, elements):
    total = sum(elements.values())
    return TypeCost(name, 1000.0, total, total * 0.9, total * 1.2, elements, None, None, None)


def cost_of(*types):
    return CostPerLanding("EUR", types[0].brake_type, types)


RATES = (
    Assumption("discount_rate", 0.05, "1", "invented", DAY),
    Assumption("kit_cost", 9000.0, "EUR", "invented", DAY, brake_type="C-1", low=8000.0, high=9500.0),
)


def briefing(scale=1.0):
    flows = tuple(
        YearFlow(year, 3.0, 1.0, net * scale, net * scale) for year, net in enumerate((-2.0, 1.0, 4.0))
    )
    drivers = tuple(Driver(f"input_{i}", 1.0, 2.0, -i * scale, i * scale) for i in range(1, 10))
    return Briefing(
        edition="", study="S-1", currency="EUR", npv=3.0 * scale, npv_p10=1.0, npv_p90=5.0, payback_years_p10=1.0,
        payback_years_p50=2.0, payback_years_p90=3.0, chance_by_retirement=0.9, sir=1.0, airr=0.1,
        recommendation="retrofit", condition="", by_year=flows, drivers=drivers, options=(), assumptions=RATES,
    )  # fmt: skip


def story(pins=((20, 44.0), (60, 40.0), (100, 36.0))):
    start = dt.date(2026, 1, 1)
    log = records(
        aircraft(1), brake_type(), limit(20.0), installation(1, "2026-01-01"), daily(1, "2026-01-01", 120, 4),
        *[reading(1, (start + dt.timedelta(days=day)).isoformat(), pin) for day, pin in pins],
    )  # fmt: skip
    on = dt.date(2026, 4, 30)
    return brake_story(open_study(log, AssumptionSet(()), on=on, known_on=on, seed=1, number="S-1"), 1)


def texts_of(figure):
    """Every text of a figure, but for the hover boxes' own ending."""

    def walk(value):
        if isinstance(value, str):
            yield value.replace("<extra></extra>", "")
        elif isinstance(value, dict):
            for each in value.values():
                yield from walk(each)
        elif isinstance(value, list):
            for each in value:
                yield from walk(each)

    return list(walk(json.loads(figure.to_json())))


def test_every_brake_is_counted_once_in_its_month_and_kind():
    acts = [
        (change(kind, DAY), month_after(DAY, at % 3))
        for at, kind in enumerate(["estimated"] * 7 + ["assumed"] * 2)
    ]
    bars = {
        bar.name: sum(bar.y) for bar in acts_by_month(acts, [month_after(DAY, at) for at in range(3)]).data
    }
    assert bars == {"estimated": 7, "assumed": 2}


def test_kinds_differ_by_more_than_colour():
    acts = [(change(kind, DAY), DAY) for kind in ("observed", "estimated", "assumed")]
    marks = {
        bar.name: (bar.marker.color, bar.marker.pattern.shape) for bar in acts_by_month(acts, [DAY]).data
    }
    assert marks["observed"] == (INK, None)
    assert marks["assumed"][1] == "/"
    assert marks["estimated"][1] is None


def test_costs_begin_at_zero_and_the_sum_alone_has_a_range():
    figure = cost_elements(cost_of(type_cost("T", {"overhaul": 8.0, "fuel": 2.0})), {"T": "steel"})
    assert figure.layout.xaxis.range[0] == 0.0
    marks = next(trace for trace in figure.data if getattr(trace, "mode", "") == "markers")
    assert list(marks.x) == [10.0, 8.0, 2.0]
    assert list(marks.error_x.array) == [pytest.approx(2.0), None, None]
    assert figure.layout.yaxis.ticktext[0] == "All together"


def test_every_line_of_a_cost_ends_in_the_name_of_its_type():
    figure = cost_elements(cost_of(type_cost("T", {"fuel": 8.0}), type_cost("U", {"hour": 2.0})), {})
    ends = {
        trace.text[0].strip(): list(trace.x) for trace in figure.data if getattr(trace, "mode", "") == "text"
    }
    assert ends == {"T": [pytest.approx(9.6), 8.0, None], "U": [pytest.approx(2.4), None, 2.0]}
    rows = [height for trace in figure.data if getattr(trace, "mode", "") == "text" for height in trace.y]
    assert len(set(rows)) == len(rows)


def test_steel_is_a_square_carbon_a_circle_and_a_second_type_is_open():
    types = [type_cost(name, {"overhaul": 1.0}) for name in ("S1", "C1", "S2")]
    figure = cost_elements(cost_of(*types), {"S1": "steel", "C1": "carbon", "S2": "steel"})
    marks = [trace.marker.symbol for trace in figure.data if getattr(trace, "mode", "") == "markers"]
    assert marks == ["square", "circle", "square-open"]


def test_names_with_markup_reach_a_chart_as_plain_text():
    figure = cost_elements(cost_of(type_cost(MARKUP, {MARKUP: 1.0})), {MARKUP: "steel"})
    assert not [text for text in texts_of(figure) if "<" in text]


@pytest.mark.parametrize("make", [lambda: wear_plot(story()), lambda: wear_ahead(story()),
                                  lambda: outcome_dots(story()),
                                  lambda: cash_by_year(dated_flows(briefing(), 2026), "EUR"),
                                  lambda: swing(briefing())])  # fmt: skip
def test_no_chart_holds_markup_or_a_theme_of_its_library(make):
    figure = make()
    assert not [text for text in texts_of(figure) if "<" in text]
    assert "layout" not in json.loads(figure.to_json())["layout"]["template"]


def test_swing_shows_the_seven_widest_drivers_widest_first():
    bars = swing(briefing()).data[0]
    assert list(bars.y) == [f"Input {at}" for at in range(9, 2, -1)]
    assert list(bars.x) == [2.0 * at for at in range(9, 2, -1)]


def test_large_money_is_drawn_in_millions_and_says_so():
    figure = cash_by_year(dated_flows(briefing(1e6), 2026), "EUR")
    assert figure.layout.yaxis.title.text == "EUR million"
    assert list(figure.data[0].y) == [-2.0, 1.0, 4.0]


def test_the_line_over_the_years_is_discounted_and_its_bars_are_not():
    bars, line = cash_by_year(dated_flows(briefing(), 2026), "EUR").data
    assert list(bars.y) == [-2.0, 1.0, 4.0]
    assert list(line.y) == pytest.approx([-2.0, -2.0 + 1 / 1.05, -2.0 + 1 / 1.05 + 4 / 1.05**2])
    assert list(line.x) == [2026, 2027, 2028]


def test_an_input_is_told_in_words_with_its_unit():
    told = replace(
        briefing(),
        drivers=(
            Driver("kit_cost C-1", 8000.0, 9500.0, 3.0, 1.0),
            Driver("discount_rate", 0.035, 0.07, 2.0, 1.5),
            Driver("wear of C-1 over S-1", 0.612345, 0.71, 1.4, 1.3),
            Driver("wear of S-1, mm per landing", 0.0301234, 0.04, 1.35, 1.3),
        ),
    )
    said = [f"{each.name}: {each.low} to {each.high}" for each in swings(told)]
    assert [" ".join(text.split()) for text in said] == [
        "Kit cost, C-1: 8 000 EUR to 9 500 EUR",
        "Discount rate: 3.5 % to 7 %",
        "Wear of C-1 over S-1: 0.612 times to 0.71 times",
        "Wear of S-1: 0.0301 mm per landing to 0.04 mm per landing",
    ]


def test_months_that_fall_short_carry_a_cross():
    months = [SparesMonth("Home", "T", month_after(DAY, at), 2.0, 1.0, 2.0, 4.0, 3.0, short) for at, short in
              enumerate((0.0, 0.2, 1.0))]  # fmt: skip
    crosses = next(trace for trace in demand_and_stock(months).data if trace.name == "short")
    assert list(crosses.x) == [months[2].month]


def test_stock_below_zero_is_drawn_as_the_table_tells_it_and_is_short():
    months = [SparesMonth("Home", "T", month_after(DAY, at), 2.0, 1.0, 2.0, 4.0, stock, max(0.0, 4.0 - stock))
              for at, stock in enumerate((5.0, -0.4, -2.6))]  # fmt: skip
    traces = {trace.name: trace for trace in demand_and_stock(months).data}
    assert list(traces["stock for the month"].y) == [5, 0, -3]
    assert list(traces["stock below zero: short"].y) == [None, None, -3]
    assert list(traces["short"].customdata) == [4, 7]


def test_a_base_without_a_count_has_no_stock_line():
    month = SparesMonth("Home", "T", DAY, 2.0, 1.0, 2.0, 4.0, None, None)
    assert [trace.name for trace in demand_and_stock([month]).data] == ["demand, P10 to P90", "P50"]


def test_the_wear_plot_shows_every_reading_fit_fan_and_limit():
    told = story()
    traces = {trace.name: trace for trace in wear_plot(told).data}
    assert list(traces["read"].y) == [44.0, 40.0, 36.0]
    assert traces["read"].marker.symbol == "circle"
    assert traces["read"].marker.color == INK
    assert traces["fit"].line.color == ESTIMATE
    assert traces["middle ahead"].line.dash == "dash"
    # The fan begins at the last reading, 100 days of 4 landings after the start, and goes on from there.
    assert traces["middle ahead"].x[0] == pytest.approx(400.0)
    assert traces["middle ahead"].y[0] == pytest.approx(36.0, abs=0.5)
    assert wear_plot(told).layout.shapes[0].y0 == 20.0


def test_the_wear_plots_mark_the_landings_of_the_forecast_day():
    told = story()
    for figure in (wear_plot(told), wear_ahead(told)):
        mark = figure.layout.shapes[1]
        assert mark.x0 == mark.x1 == landings_now(told)
        # Day 119 of the run, its own landings not counted yet, at 4 a day.
        assert figure.layout.annotations[1].text == "2026-04-30: 476 landings"


def test_the_closer_view_begins_in_the_last_third_and_holds_fan_and_limit():
    told = story()
    axes = wear_ahead(told).layout
    first, end = axes.xaxis.range
    assert first == pytest.approx(476 * 2 / 3)
    assert end == landings_now(told) + told.fan_by_landings[-1].landings
    low, high = axes.yaxis.range
    assert low < told.limit_mm < high
    assert low >= 0.0, "no pin is shorter than nothing"
    assert all(each.left_p90 < high for each in told.fan_by_landings)
    assert low == 0.0 or all(low < each.left_p10 for each in told.fan_by_landings)


def test_assumed_ranges_are_hatched_in_ochre():
    assert swing(briefing()).data[0].marker.pattern.fgcolor == ASSUMED


def test_twenty_outcomes_are_twenty_dots():
    assert len(outcome_dots(story()).data[0].x) == 20


@given(st.lists(st.dates(dt.date(2026, 1, 1), dt.date(2030, 1, 1)), min_size=1, max_size=30))
def test_dots_stand_on_their_days_and_hide_no_other(days):
    hides_none(days)


@pytest.mark.parametrize("span", range(61))
def test_twenty_dots_are_seen_whatever_the_days_they_span(span):
    hides_none([DAY + dt.timedelta(days=round(at * span / 19)) for at in range(20)])


def hides_none(days):
    spots = stacked(days)
    assert [day for day, _ in spots] == sorted(days)
    assert len(set(spots)) == len(days)
    apart = max((max(days) - min(days)).days / 14, 1.0)
    for height in {height for _, height in spots}:
        beside = [day for day, at in spots if at == height]
        assert all((after - before).days >= apart for before, after in itertools.pairwise(beside))
    assert {height for _, height in spots} == set(range(1, max(height for _, height in spots) + 1))
