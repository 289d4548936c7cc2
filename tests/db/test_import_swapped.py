"""Two columns under each other's headers give one hint; columns that are merely wrong give none."""

import pytest

from db.chain import Act
from db.files import ENTERED, FILES
from db.imports.check import check_source
from db.imports.loading import try_load
from db.imports.measures import MEASURES, units_known
from db.imports.refused import CellError, Findings
from db.imports.source import Meter, Rows, Source
from db.imports.written import Written, written_from
from tests.db.conftest import TODAY
from tests.db.good_folder import write

ACT = Act("ann", "import", "import")


def checked(name, header, *rows, written=None, units=None):
    """What one table in memory gives, and the errors in it."""
    findings = Findings()
    source = Source(
        name,
        header,
        len(rows),
        iter([Rows(list(range(2, len(rows) + 2)), [list(row) for row in rows])]),
        written or Written(),
        units=units or {},
    )
    return check_source(source, findings, Meter(None, 0), today=TODAY), findings


DAYS = [f"2024-09-{day:02d}" for day in range(1, 6)]


def test_a_day_and_a_registration_swapped_give_one_hint():
    rows = [(day, f"ZZ-{at}", "4") for at, day in enumerate(DAYS)]
    frame, findings = checked("landings", ["registration", "day", "full_stops"], *rows)
    assert [(error.row, error.rule) for error in findings.kept] == [
        (1, "columns day and registration look swapped: each holds what belongs in the other")
    ]
    assert frame.wrong == len(rows)


def test_hours_and_landings_swapped_give_one_hint():
    rows = [("ZZ-A", day, f"{at}.5", f"{at + 1}") for at, day in enumerate(DAYS)]
    _, findings = checked("landings", ["registration", "day", "full_stops", "flight_hours"], *rows)
    assert ["flight_hours and full_stops look swapped" in error.rule for error in findings.kept] == [True]


def test_a_column_that_is_wrong_by_itself_gives_an_error_a_row():
    rows = [("ZZ-A", day, f"{at}.5", "") for at, day in enumerate(DAYS)]
    _, findings = checked("landings", ["registration", "day", "full_stops", "note"], *rows)
    assert [error.rule for error in findings.kept] == ["is not a whole number; this is a count"] * 5


def test_a_few_wrong_cells_among_good_ones_are_no_swap():
    rows = [("ZZ-A", day, "4", "2.5") for day in DAYS] + [("2024-09-09", "ZZ-A", "4", "2.5")]
    _, findings = checked("landings", ["registration", "day", "full_stops", "flight_hours"], *rows)
    assert [(error.row, error.column) for error in findings.kept] == [(7, "day")]


@pytest.mark.parametrize("loaded", ["sqlite"], indirect=True)
def test_names_of_two_kinds_swapped_are_told_by_the_names_on_record(ledger, tmp_path):
    aircraft, bases = ("ZZ-AAA", "ZZ-AAB", "ZZ-BBA"), ("North", "South", "Works")
    rows = [
        {"registration": base, "day": "2024-09-01", "base": craft, "full_stops": "1"}
        for craft, base in zip(aircraft, bases, strict=True)
    ]
    tried = try_load(ledger, write(tmp_path / "in", {"landings": rows}), ACT, approved=False, today=TODAY)
    assert ["columns base and registration look swapped" in error.rule for error in tried.errors] == [True]
    strangers = [row | {"registration": f"QQ-{at}", "base": "North"} for at, row in enumerate(rows)]
    tried = try_load(
        ledger, write(tmp_path / "no", {"landings": strangers}), ACT, approved=False, today=TODAY
    )
    assert {error.rule for error in tried.errors} == {"no aircraft with this registration is known"}


HANGAR = Written("utf-8", "comma", "comma", "day-month-year")


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("12.4", "has a point"),
        ("1.234,5", "has a point"),
        ("12,4,5", "more than one comma"),
        ("NaN", "is not a finite number"),
        ("12,4 h", "has a unit in the cell"),
    ],
)
def test_with_decimal_commas_other_writings_are_refused_and_advised_in_commas(text, rule):
    _, findings = checked(
        "landings",
        ["registration", "day", "full_stops", "flight_hours"],
        ("ZZ-A", "01.09.2024", "4", text),
        written=HANGAR,
    )
    (error,) = findings.kept
    assert rule in error.rule
    assert "12.4" not in error.suggestion


@pytest.mark.parametrize(
    ("order", "text", "day"),
    [
        ("day-month-year", "03.04.2024", "2024-04-03"),
        ("day-month-year", "3/4/2024", "2024-04-03"),
        ("month-day-year", "03-04-2024", "2024-03-04"),
        ("month-day-year", "3 4 2024", "2024-03-04"),
    ],
)
def test_days_are_read_in_the_order_said(order, text, day):
    frame, findings = checked(
        "landings", ["registration", "day", "full_stops"], ("ZZ-A", text, "4"), written=Written(days=order)
    )
    assert findings.kept == []
    assert str(frame.rows["day"][0].date()) == day


@pytest.mark.parametrize("text", ["2024-04-03", "03.04.24", "03.04/2024", "31.02.2024", "3.13.2024", "Apr 3"])
def test_other_forms_of_days_and_mixed_ones_are_refused(text):
    _, findings = checked(
        "landings", ["registration", "day", "full_stops"], ("ZZ-A", text, "4"), written=HANGAR
    )
    assert [error.column for error in findings.kept] == ["day"]


def test_months_follow_the_order_of_days():
    rows = [
        ("ZZ-A", "04.2027", "90"),
        ("ZZ-B", "01-05-2027", "80"),
        ("ZZ-C", "2027-04", "1"),
        ("ZZ-D", "02.05.2027", "1"),
    ]
    frame, findings = checked("flying_plan", ["registration", "month", "landings"], *rows, written=HANGAR)
    assert frame.rows["month"].astype(str).tolist() == ["2027-04-01", "2027-05-01"]
    assert [error.row for error in findings.kept] == [4, 5]


def test_a_writing_that_is_not_listed_is_refused():
    with pytest.raises(CellError, match="choose one of comma, semicolon, tab, stroke"):
        written_from({"separator": "slash"})


def test_figures_in_other_units_become_ours_by_published_factors():
    """NIST SP 811 (2008), appendix B.8: 1 lb = 0.453 592 37 kg, 1 in = 25.4 mm, 1 kt = 0.514 444 m/s (from memory)."""
    assert 100 * MEASURES["kg"]["lb"] == pytest.approx(45.359237, abs=1e-12)
    assert 2 * MEASURES["mm"]["in"] == 50.8
    assert 0.5144444 * MEASURES["kt"]["m/s"] == pytest.approx(1.0, abs=1e-6)
    assert 1.852 * MEASURES["kt"]["km/h"] == pytest.approx(1.0)
    row = ("S-1", "steel", "100", "2")
    units = {"mass_kg": "lb", "new_pin_mm": "in"}
    frame, _ = checked("brake_types", ["brake_type", "material", "mass_kg", "new_pin_mm"], row, units=units)
    assert frame.rows[["mass_kg", "new_pin_mm"]].to_numpy().tolist() == [[45.359237, 50.8]]


def test_every_column_with_a_unit_in_its_name_offers_units_and_no_other_does():
    offered = {column.name for file in ENTERED.values() for column in file.columns if units_known(column)}
    named = {
        c.name
        for file in FILES.values()
        for c in file.columns
        if c.name.endswith(("_mm", "_kg", "_kt", "_hours"))
    }
    assert offered == named | {"start_pin"}
