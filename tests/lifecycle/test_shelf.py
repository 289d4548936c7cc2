"""Stock of a base month by month."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.shelf import Shelf, count_shelf, project_shelf
from tests.builders import brake, installation, order, records, shop_visit, stock

ON = dt.date(2026, 10, 31)
MONTH_ENDS = np.array([30.0, 61.0, 92.0])


def assumed(**values):
    return AssumptionSet(
        tuple(Assumption(name, value, "d", "invented", dt.date(2026, 1, 1)) for name, value in values.items())
    )


def counted(serviceable=5, on="2026-10-01"):
    return stock("Home", "BT-1", on, serviceable)


def ordered(quantity, due_on=None, ordered_on="2026-10-15"):
    return order("Home", "BT-1", quantity, ordered_on, due_on)


def in_shop(number, sent_on, work="overhaul"):
    return [
        brake(number),
        installation(number, "2026-01-01", sent_on, position=str(number)),
        shop_visit(number, sent_on, work=work),
    ]


def shelf_of(*rows, **assumptions):
    return count_shelf(records(*rows), assumed(**assumptions), base="Home", brake_type="BT-1", on=ON)


def test_without_a_count_there_is_no_stock_to_speak_of():
    assert shelf_of(brake(1), ordered(2, "2026-11-20")) is None


def test_the_last_count_by_the_day_stands():
    shelf = shelf_of(brake(1), counted(9, "2026-09-01"), counted(5), counted(7, "2026-11-05"))
    assert (shelf.serviceable, shelf.counted_on) == (5, dt.date(2026, 10, 1))


def test_orders_arrive_on_their_due_day_or_after_their_lead_time():
    shelf = shelf_of(brake(1), counted(), ordered(2, "2026-11-20"), ordered(3), lead_time_days=60)
    assert shelf.arrivals == ((20.0, 2.0), (44.0, 3.0))
    assert project_shelf(shelf, np.zeros(3), MONTH_ENDS) == pytest.approx([7, 10, 10])


def test_an_order_that_cannot_be_dated_is_left_out_and_said():
    shelf = shelf_of(brake(1), counted(), ordered(3))
    assert shelf.on_order == 0
    assert any("3 ordered without a due day" in warning for warning in shelf.warnings)


def test_an_order_that_came_before_the_count_is_not_counted_twice():
    assert shelf_of(brake(1), counted(), ordered(2, "2026-09-20", "2026-08-01")).on_order == 0


def test_brakes_in_the_shop_come_back_after_the_turnaround_less_scrap():
    rows = [*in_shop(1, "2026-10-21"), *in_shop(2, "2026-08-01"), *in_shop(3, "2026-10-21", work="scrap")]
    shelf = shelf_of(*rows, counted(), shop_turnaround_days=45, scrap_fraction=0.1)
    assert shelf.back_in_days == (35.0, 0.0)
    assert project_shelf(shelf, np.zeros(3), MONTH_ENDS) == pytest.approx([5.9, 6.8, 6.8])


def test_without_a_turnaround_nothing_comes_back_and_that_is_said():
    shelf = shelf_of(*in_shop(1, "2026-10-21"), counted())
    assert shelf.back_in_days == ()
    assert any("shop_turnaround_days" in warning for warning in shelf.warnings)


def test_demand_is_drawn_after_its_month_and_comes_back_after_the_turnaround():
    shelf = shelf_of(brake(1), counted(), shop_turnaround_days=31, scrap_fraction=0.0)
    assert project_shelf(shelf, np.array([3.0, 2.0, 0.0]), MONTH_ENDS) == pytest.approx([5, 5, 5])


@given(
    demand=st.lists(st.floats(0, 20), min_size=3, max_size=3),
    serviceable=st.integers(0, 40),
    turnaround=st.floats(1, 400),
)
def test_more_on_the_shelf_is_more_in_every_month_and_brakes_are_conserved(demand, serviceable, turnaround):
    shelf = Shelf("Home", "BT-1", ON, float(serviceable), (), (), turnaround, 0.0, ())
    there = project_shelf(shelf, np.array(demand), MONTH_ENDS)
    more = project_shelf(replace(shelf, serviceable=serviceable + 1.0), np.array(demand), MONTH_ENDS)
    assert more == pytest.approx(there + 1)
    drawn = np.concatenate([[0.0], np.cumsum(demand)[:-1]])
    assert (there >= serviceable - drawn - 1e-9).all()
    assert (there <= serviceable + np.cumsum(demand) - drawn + 1e-9).all()
