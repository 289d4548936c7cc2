"""Usable wear of runs as a claim takes it: the most usual start of the type less the run's limit."""

import numpy as np
import pandas as pd

from lifecycle.own_rates import _usable


def test_usable_wear_is_the_most_usual_start_less_the_limit_of_the_run():
    runs = pd.DataFrame({"start_mm": [50.0, 50.0, 42.0, np.nan], "limit_mm": [5.0, 6.0, np.nan, 5.0]})
    assert _usable(runs).tolist() == [45.0, 44.0, 45.0, 45.0]


def test_a_run_whose_limit_is_beyond_a_usual_start_tells_no_wear_instead_of_none_or_less():
    """Else a share of its usable wear would be below zero, or infinite."""
    runs = pd.DataFrame({"start_mm": [50.0, 50.0, 70.0, 70.0], "limit_mm": [5.0, 5.0, 70.0, 80.0]})
    usable = _usable(runs)
    assert usable[:2].tolist() == [45.0, 45.0]
    assert np.isnan(usable[2:]).all()
