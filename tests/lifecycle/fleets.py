"""Invented fleets for property tests: few aircraft, short histories, everything that happens to brakes."""

import datetime as dt

from hypothesis import strategies as st

from tests.builders import (
    aircraft,
    aircraft_type,
    brake,
    deactivation,
    installation,
    landings,
    reading,
    records,
    shop_visit,
)

FIRST = dt.date(2024, 1, 1)
DAYS = 36
LAST = FIRST + dt.timedelta(days=DAYS)


def iso(day):
    return (FIRST + dt.timedelta(days=day)).isoformat()


def log_of(number, rng):
    """Rows of one aircraft: typed days, blanks, missing days, one period total, some running totals."""
    true = [rng.randint(0, 5) for _ in range(DAYS + 1)]
    period = sorted(rng.sample(range(DAYS), 2)) if rng.random() < 0.4 else None
    rows, with_totals = [], rng.random() < 0.5
    for day, stops in enumerate(true):
        total = 1000 + sum(true[: day + 1]) if with_totals and rng.random() < 0.4 else None
        if period and period[0] <= day <= period[1]:
            if day == period[0]:
                whole = sum(true[period[0] : period[1] + 1])
                rows.append(landings(number, iso(day), whole, to_day=iso(period[1])))
            continue
        kind = rng.choice(["typed"] * 6 + ["blank", "missing"])
        if kind != "missing":
            rows.append(landings(number, iso(day), stops if kind == "typed" else None, total_landings=total))
    return rows


def life_of(number, positions, rng):
    """Installations of one brake in the position of its own number, with shop visits, swaps left out."""
    rows, day, first = [], rng.randint(0, 10), True
    craft, position = positions
    while day < DAYS:
        end = day + rng.randint(1, 15)
        removed = iso(end) if end <= DAYS else None
        word = rng.choice(
            ["new", "overhauled", "same run", "unknown"] if first else ["overhauled", "same run"]
        )
        rows.append(
            installation(number, iso(day), removed, aircraft=craft, position=position, starts_as=word)
        )
        day = end + rng.randint(0, 4)
        if rng.random() < 0.4 and end < DAYS:
            back = rng.randint(end, day)
            work = rng.choice(["overhaul", "refurbish", "repair"])
            rows.append(shop_visit(number, iso(end), iso(back) if back <= DAYS else None, work))
        first = False
    return rows


def fleets():
    """Records of one or two aircraft of two or three positions, all of one type."""
    return st.randoms(use_true_random=False).map(fleet_of)


def fleet_of(rng):
    count, places = rng.randint(1, 2), rng.randint(2, 3)
    names = [str(place + 1) for place in range(places)]
    rows = [aircraft_type("small", ";".join(names), ";".join(["all"] * places))]
    rows += [aircraft(number + 1, aircraft_type="small") for number in range(count)]
    spots = [(number + 1, name) for number in range(count) for name in names]
    rows += [row for number in range(count) for row in log_of(number + 1, rng)]
    for number, spot in enumerate(spots, start=1):
        rows += [brake(number), *life_of(number, spot, rng)]
        begun = rng.randint(0, DAYS)
        if rng.random() < 0.4 and number % places:  # one brake of each aircraft always works
            rows.append(deactivation(number, iso(begun), rng.choice([None, iso(begun + rng.randint(0, 9))])))
        days = sorted(rng.sample(range(DAYS + 1), rng.randint(0, 4)))
        rows += [reading(number, iso(day), 50 - day * 0.5) for day in days]
    return records(*rows)
