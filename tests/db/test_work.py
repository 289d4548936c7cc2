import pandas as pd
import pytest

from db.entry.work import record_deactivations, record_reshims
from db.errors import RowsRefusedError
from db.lookup import current
from db.records.brakes import Deactivation
from tests.ledger import ACT, TODAY, rows


@pytest.fixture
def ledger(small_fleet):
    return small_fleet


def test_the_same_reshim_twice_adds_nothing(ledger):
    frame = rows("reshims", {"serial": "S1", "day": "2024-02-01", "step_mm": "10.5"})
    assert record_reshims(ledger, ACT, frame).added == 1
    assert record_reshims(ledger, ACT, frame).same == 1


def test_the_end_of_a_deactivation_filled_in_later_completes_it(ledger):
    row = {"serial": "S1", "from": "2024-02-01", "reason": "leak"}
    record_deactivations(ledger, ACT, rows("deactivations", row))
    assert (
        record_deactivations(ledger, ACT, rows("deactivations", {**row, "to": "2024-02-09"})).completed == 1
    )
    span = ledger.execute(current(Deactivation)).one()
    assert (str(span.from_on), str(span.to_on), span.why, span.version) == (
        "2024-02-01",
        "2024-02-09",
        "leak",
        2,
    )


def test_a_day_ahead_is_refused(ledger):
    frame = rows("reshims", {"serial": "S1", "day": "2024-02-01", "step_mm": "10.5"})
    frame["day"] = pd.to_datetime([TODAY]).astype("datetime64[s]") + pd.Timedelta(days=3)
    with pytest.raises(RowsRefusedError, match="future"):
        record_reshims(ledger, ACT, frame)
