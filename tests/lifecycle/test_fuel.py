"""Properties of the fuel routes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle import fuel

weights = st.floats(0.01, 1e4)
hours = st.floats(0.1, 12)
burns = st.floats(0.01, 0.06)


@given(weights, hours, burns)
def test_every_route_is_proportional_to_weight(kg, time, burn):
    for route in (
        lambda w: fuel.added_fuel(w, time, burn),
        lambda w: fuel.cruise_fuel(w, time, burn),
        lambda w: fuel.transport_fuel(w, 1 + burn * time),
    ):
        assert route(2 * kg) == pytest.approx(2 * route(kg))


@given(weights, hours, burns)
def test_breguet_is_never_below_the_hourly_rate_and_meets_it_on_short_flights(kg, time, burn):
    assert fuel.cruise_fuel(kg, time, burn) >= fuel.added_fuel(kg, time, burn) * (1 - 1e-12)
    assert fuel.cruise_fuel(kg, 1e-6, burn) == pytest.approx(fuel.added_fuel(kg, 1e-6, burn), rel=1e-6)


@given(weights, st.floats(0, 6), st.floats(0, 6), burns)
def test_two_legs_burn_what_one_long_leg_burns(kg, first, second, burn):
    whole = fuel.cruise_fuel(kg, first + second, burn)
    last = fuel.cruise_fuel(kg, second, burn)
    assert whole == pytest.approx(last + fuel.cruise_fuel(kg + last, first, burn), rel=1e-9, abs=1e-9)
