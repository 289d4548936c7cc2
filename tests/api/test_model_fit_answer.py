"""What Model fit says first: of which types nothing speaks against the model, and of which nothing could."""

from api.pages.model_fit import answer
from lifecycle.diagnostics import TypeDiagnosis


def diagnosis(name, *, doubts=(), too_few=False):
    known = dict.fromkeys(TypeDiagnosis.__dataclass_fields__, 0)
    return TypeDiagnosis(
        **known
        | {"brake_type": name, "innovations": 100, "kept_out": 3, "doubts": doubts, "too_few": too_few}
    )


def test_readings_kept_out_stand_beside_those_in_the_rate():
    told = answer([diagnosis("S-1"), diagnosis("S-2")])
    assert told.startswith("Nothing speaks against the wear model: 2\u00a0brake types, 200\u00a0readings;")
    assert told.endswith("; 6 more were kept out of the rate.")


def test_a_type_of_few_runs_is_not_one_that_nothing_speaks_against():
    told = answer([diagnosis("S-1"), diagnosis("C-1", too_few=True)])
    assert told.startswith("Nothing speaks against the wear model: 1\u00a0brake type, 100\u00a0readings;")
    assert told.endswith(" Too few runs to tell of C-1.")
    assert answer([diagnosis("C-1", too_few=True)]) == "Too few runs to tell of C-1."


def test_a_doubt_is_told_even_of_few_runs():
    told = answer([diagnosis("C-1", doubts=("it bends",), too_few=True), diagnosis("S-1")])
    assert told.startswith("Something speaks against the wear model for 1 of 2\u00a0brake types")
    assert "Too few" not in told
