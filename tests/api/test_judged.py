"""Claims and scores: the agreed fields under /api/v1, refusals, and what the pages say."""

import pytest

CLAIM = ("claim", "estimate", "low", "high", "chance_claim_holds", "verdict", "landings_to_settle")
SCORE = (
    "origins",
    "outcomes",
    "coverage_80",
    "crps",
    "crps_average_life",
    "crps_straight_line",
    "bias_landings",
    "pit",
)


def test_a_claim_has_the_agreed_fields(shown_client):
    found = shown_client.get("/api/v1/claims", params={"type": "S-100", "landings": 700}).json()
    assert [name for name in CLAIM if name not in found] == []
    assert found["claim"] == 700
    assert found["low"] < found["estimate"] < found["high"]
    assert found["verdict"] in {"holds", "fails", "open"}
    asked = {
        "type": "C-200",
        "against": "S-100",
        "ratio": 1.5,
        "guaranteed_cost": 3,
        "guaranteed_landings": 1000,
    }
    assert shown_client.get("/api/v1/claims", params=asked).json()["refund"]["guaranteed_landings"] == 1000


@pytest.mark.parametrize("asked", [{}, {"landings": 1, "ratio": 1}, {"landings": -1}, {"ratio": 2}])
def test_a_claim_that_cannot_be_meant_is_a_problem(shown_client, asked):
    answer = shown_client.get("/api/v1/claims", params={"type": "S-100", **asked})
    assert 400 <= answer.status_code < 500
    assert answer.headers["content-type"] == "application/problem+json"


def test_the_claim_page_answers_first_and_keeps_what_was_typed(shown_client):
    page = shown_client.get("/claims", params={"type": "S-100", "claimed": "100"}).text
    assert "The claim holds." in page
    assert 'name="claimed" value="100"' in page
    assert "Choose a brake type" in shown_client.get("/claims").text
    assert (
        shown_client.get("/claims", params={"type": "S-100", "claimed": "100", "format": "csv"}).status_code
        == 200
    )


def test_a_score_has_the_agreed_fields_and_a_young_history_says_so(shown_client):
    found = shown_client.get("/api/v1/score", params={"origins": 2}).json()
    assert [name for name in SCORE if name not in found] == []
    assert (found["origins"], found["as_known"]) == (2, 0)
    assert found["next_reading"]["outcomes"] > 0
    page = shown_client.get("/against-facts?again=2").text
    assert "fell inside the range of 8 in 10" in page
    assert "carry no day on which they were first written down" in page
