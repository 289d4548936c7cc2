"""Slow plain reference for exposure: one brake at a time, one day at a time, as a clerk would count."""

import datetime as dt
import itertools

import pandas as pd

ONE = dt.timedelta(days=1)
FRESH = ("new", "overhauled", "refurbished")


def rows_of(frame):
    return [row._asdict() for row in frame.itertuples(index=False)]


def as_day(stamp):
    return None if pd.isna(stamp) else stamp.date()


def days_in(first, last):
    return [first + i * ONE for i in range((last - first).days + 1)]


def landings_by_day(records, aircraft, on):
    """Full stops of each day of one aircraft, typed, from a period total or from running totals."""
    rows = [
        row for row in rows_of(records.landings) if row["aircraft"] == aircraft and as_day(row["day"]) <= on
    ]
    rows = [
        row | {"first": as_day(row["day"]), "last": as_day(row["to_day"]) or as_day(row["day"])}
        for row in rows
    ]
    flown = {
        row["first"]: row["full_stops"]
        for row in rows
        if row["first"] == row["last"] and known(row["full_stops"])
    }
    for row in rows:
        if row["first"] < row["last"] and known(row["full_stops"]):
            days = days_in(row["first"], row["last"])
            typed = {r["first"] for r in rows if r["first"] == r["last"] and known(r["full_stops"])}
            free = [day for day in days if day not in typed]
            rest = max(row["full_stops"] - sum(flown[day] for day in days if day in typed), 0)
            flown |= {day: rest / len(free) for day in free}
    totals = sorted((row["last"], row["total_landings"]) for row in rows if known(row["total_landings"]))
    reported = set(flown)
    for (day, total), (next_day, next_total) in itertools.pairwise(totals):
        days = days_in(day + ONE, next_day)
        beyond = next_total - total - sum(flown[d] for d in days if d in reported)
        free = [d for d in days if d not in reported]
        if beyond > 0:
            flown |= {d: beyond / len(free) for d in free}
    return {day: stops for day, stops in flown.items() if day <= on}


def known(number):
    return not pd.isna(number)


def is_idle(book, brake, day):
    """Deactivated during the flying of a day: the work that began and ended it follows the flying."""
    return any(
        row["brake"] == brake and as_day(row["from_on"]) < day <= (as_day(row["to_on"]) or dt.date.max)
        for row in book["deactivations"]
    )


def was_fitted(installation, day):
    """Whether the brake of an installation was in its position when the day began."""
    return as_day(installation["installed_on"]) < day <= (as_day(installation["removed_on"]) or dt.date.max)


def plain_runs(records, on):
    """Landings of each run, and of the run by each reading: {(brake, run): {"landings", "readings"}}."""
    names = ("aircraft", "aircraft_types", "installations", "deactivations", "shop_visits", "pin_readings")
    book = {name: rows_of(getattr(records, name)) for name in names}
    book["installations"] = [row for row in book["installations"] if as_day(row["installed_on"]) <= on]
    positions = {row["aircraft_type"]: len(row["positions"]) for row in book["aircraft_types"]}
    book["positions"] = {row["aircraft"]: positions[row["aircraft_type"]] for row in book["aircraft"]}
    book["flown"] = {number: landings_by_day(records, number, on) for number in book["positions"]}
    return {
        (brake, run): value
        for brake in records.brakes["brake"]
        for run, value in one_brake(book, brake, on).items()
    }


def day_share(book, installation, day):
    """Braked landings of a brake that was in its position when the day began."""
    craft = installation["aircraft"]
    if is_idle(book, installation["brake"], day):
        return 0.0
    beside = [row for row in book["installations"] if row["aircraft"] == craft and was_fitted(row, day)]
    working = book["positions"][craft] - sum(is_idle(book, row["brake"], day) for row in beside)
    return book["flown"][craft].get(day, 0.0) * book["positions"][craft] / working


def one_brake(book, brake, on):
    own = [row for row in book["installations"] if row["brake"] == brake]
    read = [row for row in book["pin_readings"] if row["brake"] == brake]
    starts = {as_day(row["installed_on"]): row["starts_as"] for row in own}
    renewed = {
        as_day(row["back_on"])
        for row in book["shop_visits"]
        if row["brake"] == brake and row["work"] in ("overhaul", "refurbish") and as_day(row["back_on"])
    }
    runs = {} if own or renewed else {1: {"landings": 0.0, "readings": {}}}
    run, landings, fresh_from_shop = 0, 0.0, False
    for day in days_in(min([*starts, *renewed, *(as_day(row["day"]) for row in read), on]), on):
        landings += sum(day_share(book, row, day) for row in own if was_fitted(row, day))
        if run:
            runs[run]["landings"] = landings
        if day in renewed:
            run, landings, fresh_from_shop = run + (not fresh_from_shop), 0.0, True
        if day in starts:
            if run == 0 or (starts[day] in FRESH and not fresh_from_shop):
                run, landings = run + 1, 0.0
            fresh_from_shop = False
        here = runs.setdefault(max(run, 1), {"landings": landings, "readings": {}})
        here["readings"] |= {row["record"]: landings for row in read if as_day(row["day"]) == day}
    return runs
