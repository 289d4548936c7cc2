"""What Claim check says of the landings that would settle a claim."""

from api.pages.claims import settles
from lifecycle.claims import Claim


def claim(more, aircraft=0):
    known = dict.fromkeys(Claim.__dataclass_fields__, 1.0) | {
        "verdict": "open",
        "warnings": (),
        "landings": 1000.0,
    }
    return Claim(**known | {"landings_to_settle": more, "aircraft_to_settle": aircraft})


def test_ten_times_the_landings_on_record_are_told_and_more_are_no_plan():
    assert settles(claim(10_000.0)).startswith("About 10\u202f000\u00a0more landings on the present aircraft")
    assert "on 9\u00a0further aircraft" in settles(claim(9000.0, 9))
    for more in (10_001.0, None):
        assert settles(claim(more)) == "No number of landings worth planning for settles it."
