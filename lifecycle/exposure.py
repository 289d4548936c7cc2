"""Braked landings of every heat sink run across its installations, and the readings taken in it."""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Runs:
    """
    Heat sink runs with their braked landings, as known on one day.

    Attributes
    ----------
    runs : DataFrame
        One row a run, index 0..n-1. Columns: ``brake`` (int), ``serial``, ``brake_type``, ``run`` (1, 2, ... of
        that brake), ``started_on``, ``ended_on`` (day; NaT while the run lasts), ``end_reason`` (removal reason or
        shop work that ended it, "" while it lasts), ``known_start`` (bool: the pin length at its start is known),
        ``start_mm`` (governing pin, length left, at x = 0; the new length where unknown, 0 where that is unknown
        too), ``landings`` (braked landings through ``on`` or the end), ``limit_mm`` (limit in length left in the
        coordinates of ``left_mm``; NaN where no limit is known), ``limit_nm``, ``at_limit``, ``fitted`` (bool:
        on an aircraft on ``on``), ``aircraft`` (int, -1 if not fitted), ``registration``, ``position``,
        ``position_group``, ``base``, ``weight_variant``, ``aircraft_type``, ``records_through`` (last day of that
        aircraft's landings on record), ``warnings`` (tuple of str).
    spans : DataFrame
        One row an installation of a run: ``run`` (index into runs), ``record``, ``aircraft``, ``aircraft_type``,
        ``base``, ``position``, ``position_group``, ``from_on``, ``to_on`` (NaT while it lasts), ``landings_from``,
        ``landings_to`` (braked landings of the run when it began and ended, or by ``on``).
    readings : DataFrame
        One row a reading in a run, in time order within it: ``run`` (index), ``record``, ``day``, ``landings``
        (braked landings of the run by then), ``left_mm`` (length left as measured, other conventions converted),
        ``wear_mm`` (start_mm + re-shim steps so far - left_mm), ``usable`` (bool: in the rate), ``why_not`` (""
        if usable: hot, released, held, refused, excluded, within limit only ...), ``resolution_mm``, ``at_or_below``
        (bool: at or past the limit, in exact decimals), ``position_group``, ``base``.
    """

    runs: pd.DataFrame
    spans: pd.DataFrame
    readings: pd.DataFrame
