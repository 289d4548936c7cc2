"""Yearly cash of a retrofit against a plain loop over aircraft and months, and what must hold whatever the plan."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.cashflow import Case, Sample, flows
from lifecycle.elements import Use
from lifecycle.fleetplan import NEVER, all_at_once, as_worn, phased, tabulate, within_limits
from lifecycle.fleetscope import Scope
from lifecycle.payback import discounted_payback, npv
from lifecycle.terms import terms_of
from tests.priced import assumption, assumptions

PLACE = ("twin", "Home")
BASE = {
    "discount_rate": (0.04, "1"),
    "kit_cost": (90_000.0, "EUR"),
    "kit_hours": (40.0, "h"),
    "labour_rate": (80.0, "EUR/h"),
    "downtime_cost": (3_000.0, "EUR"),
    "engineering_cost": (50_000.0, "EUR"),
    "tooling_cost": (20_000.0, "EUR"),
    "training_cost": (10_000.0, "EUR"),
    "initial_spares": (3.0, "1"),
    "new_brake_cost": (20_000.0, "EUR"),
    "disposal_cost": (200.0, "EUR"),
    "fuel_escalation": (0.02, "1"),
    "landings_growth": (0.01, "1"),
    "fuel_price_per_kg": (0.8, "EUR/kg"),
    "fuel_per_added_kg_hour": (0.03, "kg/kg/h"),
}
RENEWAL = {"OLD": 14_000.0, "NEW": 24_000.0}
MASS = {"OLD": 60.0, "NEW": 42.0}
RUNS_USED = {"OLD": 1 / 800, "NEW": 1 / 1500}


def given_set(**changes):
    values = {**{name: value for name, (value, _) in BASE.items()}, **changes}
    items = [
        assumption(name, values[name], unit) for name, (_, unit) in BASE.items() if values[name] is not None
    ]
    renewals = [assumption("overhaul_cost", cost, brake_type=kind) for kind, cost in RENEWAL.items()]
    return assumptions(*items, *renewals)


def use(kind, **values):
    everything = {
        "brake_type": kind,
        "aircraft_type": "twin",
        "base": "Home",
        "weight": 1.0,
        "runs_used": RUNS_USED[kind],
        "unscheduled": 0.0,
        "repairs": 0.3,
        "flight_hours": 1.5,
        "mass_kg": MASS[kind],
        "spare_years": None,
        "refurbished": 0.0,
        "by_the_hour": False,
    }
    return Use(**{**everything, **values})


def case_of(found, places=(PLACE,)):
    terms = terms_of(found, places, from_type="OLD", to_type="NEW", open_ended=False)
    assert not terms.missing
    return Case((use("OLD"),), (use("NEW"),), 1 / RUNS_USED["NEW"], found, terms)


def scope_of_fleet(rng, aircraft=5, years=6, places=None):
    """Uneven months, some aircraft retiring on the way."""
    monthly = rng.uniform(20, 90, (aircraft, years * 12))
    last = rng.integers(6, years * 12 + 1, aircraft)
    last[0] = years * 12
    monthly[np.arange(years * 12) >= last[:, None]] = 0.0
    return Scope(
        aircraft=np.arange(aircraft),
        place=places or (PLACE,) * aircraft,
        brakes=rng.integers(2, 5, aircraft).astype(float),
        cumulative=np.hstack([np.zeros((aircraft, 1)), np.cumsum(monthly, axis=1)]),
        life_left=rng.uniform(0, 1200, aircraft),
        not_listed=0,
        already=0,
    )


def plain_flows(scope, month, found, *, wear=1.0, ratio=1.0):
    """Walk every aircraft through every month; shares nothing with the code but the assumptions."""
    get = lambda name: next(i.value for i in found.items if i.name == name)  # noqa: E731 (short for the loop)
    years = scope.years
    current, operating, one_off = ([0.0] * (years + 1) for _ in range(3))
    life = 1 / (RUNS_USED["NEW"] * wear * ratio)
    renewal = {"OLD": RENEWAL["OLD"] * RUNS_USED["OLD"] * wear, "NEW": RENEWAL["NEW"] / life}
    legacy_flown, life_left, last = 0.0, 0.0, -1
    for n, brakes in enumerate(scope.brakes):
        life_left += brakes * scope.life_left[n] / wear
        on_new = 0.0
        if month[n] < NEVER:
            year = month[n] // 12
            last = max(last, year)
            one_off[year] += get("kit_cost") + get("kit_hours") * get("labour_rate") + get("downtime_cost")
            one_off[year] += brakes * get("disposal_cost")
        for m in range(years * 12):
            count = scope.cumulative[n, m + 1] - scope.cumulative[n, m]
            year = m // 12 + 1
            price = get("fuel_price_per_kg") * (1 + get("fuel_escalation")) ** year
            fuel = {kind: price * kg * get("fuel_per_added_kg_hour") * 1.5 for kind, kg in MASS.items()}
            current[year] += brakes * count * (0.3 + fuel["OLD"] + renewal["OLD"])
            if m < month[n]:
                operating[year] += brakes * count * (0.3 + fuel["OLD"] + renewal["OLD"])
                legacy_flown += brakes * count
            else:
                before, on_new = on_new, on_new + count
                paid = max(on_new - life, 0) - max(before - life, 0)
                operating[year] += brakes * (count * (0.3 + fuel["NEW"]) + paid * renewal["NEW"])
    if last >= 0:
        one_off[0] += get("engineering_cost") + get("tooling_cost") + get("training_cost")
        one_off[0] += get("initial_spares") * get("new_brake_cost")
        one_off[last] += max(life_left - legacy_flown, 0) * renewal["OLD"]
    return current, operating, one_off


def plans_of(scope):
    return {
        "as worn": as_worn(scope),
        "phased": phased(scope, slots_per_month=0.5, most_a_year=3),
        "all at once": all_at_once(scope),
        "none": np.full(len(scope.aircraft), NEVER),
    }


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("name", ["as worn", "phased", "all at once", "none"])
def test_flows_equal_the_plain_loop(seed, name):
    scope, found = scope_of_fleet(np.random.default_rng(seed)), given_set()
    case, month = case_of(found), plans_of(scope)[name]
    cash = flows(case, tabulate(scope, month, life=case.life), Sample())
    current, operating, one_off = plain_flows(scope, month, found)
    assert cash.current[0] == pytest.approx(current, rel=1e-9)
    assert cash.operating[0] == pytest.approx(operating, rel=1e-9, abs=1e-6)
    assert cash.one_off[0] == pytest.approx(one_off, rel=1e-9)
    rate = BASE["discount_rate"][0]
    worth = sum(
        (c - o - i) / (1 + rate) ** year
        for year, (c, o, i) in enumerate(zip(current, operating, one_off, strict=True))
    )
    assert cash.worth[0] == pytest.approx(worth, rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(("wear", "ratio"), [(0.8, 1.0), (1.25, 0.9), (1.0, 1.4)])
def test_a_draw_of_the_wear_equals_the_plain_loop_at_that_wear(wear, ratio):
    scope, found = scope_of_fleet(np.random.default_rng(9), aircraft=8), given_set()
    case, month = case_of(found), plans_of(scope)["phased"]
    cash = flows(case, tabulate(scope, month, life=case.life), Sample(wear=wear, wear_ratio=ratio))
    current, operating, one_off = plain_flows(scope, month, found, wear=wear, ratio=ratio)
    assert cash.current[0] == pytest.approx(current, rel=1e-9)
    assert cash.one_off[0] == pytest.approx(one_off, rel=1e-9)
    assert np.sum(cash.operating[0]) == pytest.approx(sum(operating), rel=2e-4)


def test_a_draw_of_the_landings_equals_the_plain_loop_with_those_landings():
    scope, found = scope_of_fleet(np.random.default_rng(2)), given_set()
    case, month = case_of(found), plans_of(scope)["all at once"]
    cash = flows(case, tabulate(scope, month, life=case.life), Sample(landings=1.2))
    more = Scope(**{**vars(scope), "cumulative": scope.cumulative * 1.2})
    current, operating, one_off = plain_flows(more, month, found)
    assert cash.current[0] == pytest.approx(current, rel=1e-9)
    assert np.sum(cash.operating[0]) == pytest.approx(sum(operating), rel=2e-4)
    assert cash.one_off[0] == pytest.approx(one_off, rel=1e-9)


def test_many_draws_at_once_equal_one_at_a_time():
    scope, found = scope_of_fleet(np.random.default_rng(5)), given_set()
    case, month = case_of(found), plans_of(scope)["phased"]
    tables = tabulate(scope, month, life=case.life)
    kit = next(item for item in found.items if item.name == "kit_cost")
    rate = next(item for item in found.items if item.name == "discount_rate")
    kits, rates, wears = (
        np.array([80e3, 90e3, 120e3]),
        np.array([0.02, 0.05, 0.08]),
        np.array([0.9, 1.0, 1.2]),
    )
    together = flows(case, tables, Sample(3, {kit: kits, rate: rates}, wear=wears))
    for n in range(3):
        alone = flows(case, tables, Sample(1, {kit: kits[n], rate: rates[n]}, wear=wears[n]))
        assert together.worth[n] == pytest.approx(alone.worth[0], rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.1, 4), st.integers(1, 6))
def test_landings_and_aircraft_are_conserved_by_every_plan(seed, slots, most):
    scope = scope_of_fleet(np.random.default_rng(seed), aircraft=7, years=4)
    for month in (*plans_of(scope).values(), phased(scope, slots_per_month=slots, most_a_year=most)):
        tables = tabulate(scope, month, life=1000.0)
        going = month < NEVER
        assert tables.old + tables.new == pytest.approx(tables.keep)
        assert tables.converted.sum() == going.sum()
        assert tables.brakes.sum() == pytest.approx(scope.brakes[going].sum())
        assert tables.beyond[0] == pytest.approx(np.cumsum(tables.new))
        assert (np.diff(tables.beyond, axis=0) <= 1e-9).all()
        assert tables.beyond[-1] == pytest.approx(0.0, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.05, 4), st.one_of(st.none(), st.integers(1, 6)))
def test_a_phased_plan_keeps_to_slots_and_budget_and_takes_the_busiest_first(seed, slots, most):
    scope = scope_of_fleet(np.random.default_rng(seed), aircraft=9, years=8)
    month = phased(scope, slots_per_month=slots, most_a_year=most)
    assert within_limits(month, slots_per_month=slots, most_a_year=most)
    ahead = scope.cumulative[:, -1] * scope.brakes
    going = np.flatnonzero(month < NEVER)
    order = going[np.argsort(-ahead[going], kind="stable")]
    assert (np.diff(month[order]) >= 0).all()


def test_keeping_the_type_costs_nothing_more():
    scope, found = scope_of_fleet(np.random.default_rng(1)), given_set()
    case = case_of(found)
    cash = flows(case, tabulate(scope, plans_of(scope)["none"], life=case.life), Sample())
    assert cash.net == pytest.approx(0.0, abs=1e-6)


def test_a_budget_below_one_aircraft_converts_none():
    scope = scope_of_fleet(np.random.default_rng(1))
    assert (phased(scope, slots_per_month=1.0, most_a_year=0) == NEVER).all()


def test_no_limit_at_all_converts_every_flying_aircraft_now():
    scope = scope_of_fleet(np.random.default_rng(1))
    assert (phased(scope, slots_per_month=None, most_a_year=None) == 0).all()


def test_converting_as_worn_scraps_less_life_than_all_at_once():
    scope, found = scope_of_fleet(np.random.default_rng(3)), given_set()
    case, plans = case_of(found), plans_of(scope)
    spent = {
        name: flows(case, tabulate(scope, plans[name], life=case.life), Sample()).one_off.sum()
        for name in ("as worn", "all at once")
    }
    scrapped = float(scope.brakes @ scope.life_left) * RENEWAL["OLD"] * RUNS_USED["OLD"]
    assert spent["all at once"] - spent["as worn"] > 0.5 * scrapped


@pytest.mark.parametrize(("years", "worth"), [(10, 535_436.51), (6, -24_905.54), (5, -175_652.71)])
def test_a_million_now_and_a_hundred_and_eighty_thousand_a_year(years, worth):
    """Rows of check values, computed independently: 3 %, one kit now, level saving to retirement."""
    rates = {"OLD": 28.0, "NEW": 10.0}
    contract = [assumption("hourly_rate_per_landing", rate, brake_type=kind) for kind, rate in rates.items()]
    zero = dict.fromkeys(BASE, 0.0)
    found = given_set(**{**zero, "discount_rate": 0.03, "kit_cost": 1e6, "fuel_price_per_kg": None})
    found = assumptions(*found.items, *contract)
    terms = terms_of(found, (PLACE,), from_type="OLD", to_type="NEW", open_ended=False)
    uses = [(use(kind, by_the_hour=True, repairs=0.0),) for kind in rates]
    scope = Scope(
        aircraft=np.array([1]),
        place=(PLACE,),
        brakes=np.array([4.0]),
        cumulative=np.arange(years * 12 + 1)[None, :] * 2500 / 12,
        life_left=np.array([0.0]),
        not_listed=0,
        already=0,
    )
    case = Case(*uses, 1500.0, found, terms)
    cash = flows(case, tabulate(scope, all_at_once(scope), life=1500.0), Sample())
    assert cash.worth[0] == pytest.approx(worth, abs=0.005)
    assert npv(0.03, cash.net[0]) == pytest.approx(worth, abs=0.005)
    payback = discounted_payback(0.03, cash.net[0])
    assert payback == pytest.approx(6.170, abs=5e-4) if years > 6 else np.isinf(payback)


def test_places_pay_their_own_prices():
    scope = scope_of_fleet(np.random.default_rng(6), aircraft=4, places=(PLACE, ("twin", "Away")) * 2)
    found = assumptions(*given_set().items, assumption("downtime_cost", 9_000.0, base="Away"))
    case = case_of(found, places=set(scope.place))
    cheap = case_of(given_set(), places=set(scope.place))
    tables = tabulate(scope, all_at_once(scope), life=case.life)
    dearer = flows(case, tables, Sample()).one_off[0, 0] - flows(cheap, tables, Sample()).one_off[0, 0]
    assert dearer == pytest.approx(2 * 6_000.0)
