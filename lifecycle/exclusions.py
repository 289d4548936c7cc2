"""Spans of a known fault: their wear and landings count, but not for the rate."""

import numpy as np
import pandas as pd

from lifecycle.days import IntArray, day_numbers, keys
from lifecycle.landings import codes_of
from lifecycle.observations import Records
from lifecycle.runs import Stays


def exclusions_of(records: Records, stays: Stays) -> tuple[IntArray, IntArray]:
    """
    Spans of known fault, by run.

    Parameters
    ----------
    records : Records
        Needs brakes, aircraft and exclusions.
    stays : Stays
        From `runs.lay_out`.

    Returns
    -------
    tuple of two arrays of int64
        Ascending keys of (run, first day) and of (run, last day) of the spans; both days belong to the span. A span
        of an aircraft holds for a brake while it is on that aircraft.
    """
    out = records.exclusions
    until = day_numbers(out["to_on"])
    spans = pd.DataFrame({"since": day_numbers(out["from_on"]), "until": until})
    of_brake = out["brake"].notna().to_numpy()
    of_craft = out["aircraft"].notna().to_numpy() & ~of_brake
    fitted = pd.DataFrame(
        {
            "brake": stays.brake,
            "aircraft": stays.aircraft,
            "run": stays.run,
            "begun": stays.begun,
            "ended": stays.ended,
        }
    )[stays.row >= 0]
    parts = []
    for kind, chosen in (("brake", of_brake), ("aircraft", of_craft)):
        ids = pd.Index(records.brakes["brake"] if kind == "brake" else records.aircraft["aircraft"])
        code = codes_of(ids, out.loc[chosen, kind].astype("int64"), f"{kind} in exclusions")
        concerned = fitted[np.isin(fitted[kind], code)]
        parts.append(concerned.merge(spans[chosen].assign(**{kind: code}), on=kind))
    both = pd.concat(parts, ignore_index=True)
    since = np.maximum(both["since"].to_numpy(), both["begun"].to_numpy() + 1)
    until = np.minimum(both["until"].to_numpy(), both["ended"].to_numpy())
    run, some = both["run"].to_numpy(), since <= until
    return np.sort(keys(run[some], since[some])), np.sort(keys(run[some], until[some]))
