"""Readable builders for tests of cost: flown stretches as frames, and invented assumptions."""

import datetime as dt
from types import SimpleNamespace

import numpy as np
import pandas as pd

from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.exposure import Runs
from lifecycle.wear import TypeFit

DATED = dt.date(2026, 1, 1)


def assumption(name, value, unit="EUR", low=None, high=None, **scope):
    return Assumption(name, value, unit, "invented", DATED, low=low, high=high, **scope)


def assumptions(*items):
    return AssumptionSet(tuple(items))


def type_fit(brake_type, rate, *, low=None, high=None, runs=20, readings=200):
    return TypeFit(brake_type, runs, readings, rate, low or rate, high or rate, 0.1 * rate, 0.05, 0.1)


def run(brake, brake_type, rate, *, aircraft=1, landings=1000.0, start=50.0, limit=10.0, **values):
    """One run with one installation, its wear rate known exactly, on ``days`` days up to 2026-01-01."""
    return {
        "brake": brake,
        "brake_type": brake_type,
        "rate_mm": rate,
        "aircraft": aircraft,
        "landings": landings,
        "start_mm": start,
        "limit_mm": limit,
        "aircraft_type": "twin",
        "base": "Home",
        "position_group": "in",
        "weight_variant": "",
        "fitted": True,
        "known_start": True,
        "days": 365,
        **values,
    }


def fleet(*rows, types=None):
    """`Runs` and a fit of these runs; the fit's types at their mean rate unless given."""
    frame = pd.DataFrame(rows)
    frame["end_reason"] = ""
    frame["registration"] = frame["aircraft"].map("ZZ-{:03d}".format)
    frame["position"] = "1"
    spans = pd.DataFrame(
        {
            "run": np.arange(len(frame)),
            "record": np.arange(1, len(frame) + 1),
            **{name: frame[name] for name in ("aircraft", "aircraft_type", "base", "position_group")},
            "position": "1",
            "from_on": pd.Timestamp(DATED) - pd.to_timedelta(frame["days"], unit="D"),
            "to_on": pd.Series(pd.NaT, index=frame.index, dtype="datetime64[s]"),
            "landings_from": 0.0,
            "landings_to": frame["landings"],
        }
    )
    posterior = pd.DataFrame(
        {
            "rate_mm": frame["rate_mm"],
            "rate_var": 0.0,
            "wear_mm": frame["rate_mm"] * frame["landings"],
            "wear_var": 0.0,
            "landings_at": frame["landings"],
        }
    )
    means = frame.groupby("brake_type")["rate_mm"].mean()
    fits = types or tuple(type_fit(name, rate) for name, rate in means.items())
    return Runs(frame, spans, pd.DataFrame()), SimpleNamespace(types=fits, posterior=posterior)
