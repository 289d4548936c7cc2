"""Studies are made once: whoever asks the same at the same time waits for the one that is made."""

import datetime as dt
from concurrent.futures import ThreadPoolExecutor

from api import studies
from db.session import open_engine

ON = dt.date(2026, 5, 17)


def test_a_study_asked_many_times_at_once_is_made_once(shown_url, monkeypatch):
    made = []
    real = studies.open_study
    monkeypatch.setattr(
        studies, "open_study", lambda *given, **named: made.append(1) or real(*given, **named)
    )
    engine = open_engine(shown_url)
    with ThreadPoolExecutor(8) as pool:
        asked = [pool.submit(studies.ask, engine, on=ON, known_on=None, seed=31) for _ in range(8)]
        found = {id(each.result()) for each in asked}
    engine.dispose()
    assert len(made) == len(found) == 1
