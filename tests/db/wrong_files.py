# ruff: noqa: E501 - a case is a line, read across
"""
Wrong files, each with the one error that it has to give.

The files of a case go into a folder of their own, beside a base that is good and new; the ledger they are offered to
holds the good folder already. `row` is the row in the file, the header being row 1.
"""

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from openpyxl import Workbook

from tests.db.good_folder import TABLES, rows_of, write

Break = Callable[[Path], Path]


class Wrong(NamedTuple):
    """What is wrong, the folder or workbook of it, and the error: file, row, column, value, and parts of its words."""

    what: str
    made: Break
    file: str
    row: int
    column: str
    value: str
    rule: str
    suggestion: str


def cells(file: str, number: int, **values: str) -> Break:
    """One row of the good file, alone, with other values in it."""
    return row(file, **rows_of(TABLES[file])[number - 2] | values)


def row(file: str, **values: str) -> Break:
    """A file of this row; columns that it does not name are there and empty."""
    return rows(file, dict.fromkeys(rows_of(TABLES[file])[0], "") | values)


def rows(file: str, *given: dict[str, str]) -> Break:
    """A file of these rows."""
    return lambda folder: write(folder, {file: list(given)})


def text(name: str, content: str | bytes) -> Break:
    """A file with this content."""

    def made(folder: Path) -> Path:
        (folder / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        return folder

    return made


def sheet(name: str, *rows: list[object]) -> Break:
    """A workbook with this sheet."""

    def made(folder: Path) -> Path:
        workbook = Workbook()
        workbook.active.title = name
        for row in rows:
            workbook.active.append(row)
        workbook.save(folder / "records.xlsx")
        return folder / "records.xlsx"

    return made


def damaged(folder: Path) -> Path:
    """A workbook of which a part was lost."""
    path = sheet("bases", ["base"], ["New"])(folder)
    path.write_bytes(path.read_bytes()[:900])
    return path


LANDINGS = "registration,day,full_stops\n"

# What cannot be read.
FILES = [
    Wrong("a letter in another encoding", text("bases.csv", b"base,name\nEast,\xc9ast Isle\n"), "bases", 2, "", "East,Éast Isle", "is not text in UTF-8", "save it as CSV in UTF-8"),
    Wrong("text in UTF-16", text("bases.csv", "base\nEast\n".encode("utf-16")), "bases", 1, "", "", "is text in UTF-16", "save it as CSV in UTF-8"),
    Wrong("a workbook named csv", text("bases.csv", b"PK\x03\x04" + b"\x00" * 40), "bases", 1, "", "", "as workbooks are", "save it as CSV"),
    Wrong("an old workbook named csv", text("bases.csv", b"\xd0\xcf\x11\xe0" + b"\x00" * 40), "bases", 1, "", "", "is an old workbook (xls)", "save it as CSV"),
    Wrong("a file that is no CSV", text("landings.ods", b"PK"), "landings.ods", 0, "", "landings.ods", "is not a CSV file", "save it as CSV"),
    Wrong("a folder within the folder", lambda folder: (folder / "old").mkdir() or folder, "old", 0, "", "old", "is a folder", "import that folder by itself"),
    Wrong("a file of another name", text("landing.csv", LANDINGS), "landing.csv", 0, "", "landing", "is not the name of a file of records", "name it landings"),
    Wrong("semicolons between the fields", text("landings.csv", "registration;day;full_stops\n"), "landings", 1, "", "registration;day;full_stops", "parted by semicolons", "save the file with commas"),
    Wrong("tabs between the fields", text("landings.csv", "registration\tday\tfull_stops\n"), "landings", 1, "", "registration\tday\tfull_stops", "parted by tabs", "save the file with commas"),
    Wrong("an empty file", text("landings.csv", ""), "landings", 1, "", "", "is empty; row 1 is the header", "write the header"),
    Wrong("a quote that is never closed", text("landings.csv", LANDINGS + 'ZZ-AAA,2024-09-01,1\n"ZZ-AAA,2024-09-02,1\n'), "landings", 3, "", "", "cannot be read as CSV from this row on", "close every quote"),
    Wrong("too many fields", text("landings.csv", LANDINGS + "ZZ-AAA,2024-09-01,1,5\n"), "landings", 2, "", "ZZ-AAA,2024-09-01,1,5", "has 4 values; the header has 3 columns", "in double quotes"),
    Wrong("too few fields", text("landings.csv", LANDINGS + "\nZZ-AAA,2024-09-01\n"), "landings", 3, "", "ZZ-AAA,2024-09-01", "has 2 values; the header has 3 columns", "write every comma"),
    Wrong("a damaged workbook", damaged, "records.xlsx", 1, "", "", "cannot be read as a workbook", "save it as xlsx again"),
    Wrong("a sheet of another name", sheet("Sheet1", ["base"], ["East"]), "sheet Sheet1", 0, "", "Sheet1", "is not the name of a file of records", "take it away"),
]  # fmt: skip
# What is wrong in row 1.
HEADERS = [
    Wrong("no header", text("landings.csv", "ZZ-AAA,2024-09-01,1\n"), "landings", 1, "registration", "", "a required column is missing", "required: registration, day, full_stops"),
    Wrong("a column twice", text("landings.csv", "registration,day,full_stops,day\n"), "landings", 1, "day", "day", "stands twice in the header", "keep one"),
    Wrong("a column of another name", text("landings.csv", "registration,day,full_stops,Flight Hrs\n"), "landings", 1, "Flight Hrs", "Flight Hrs", "is not a column of landings", "name it flight_hours"),
    Wrong("a column without a name", text("landings.csv", "registration,day,full_stops,\n"), "landings", 1, "", "", "a column has no name", "take it out"),
    Wrong("a required column missing", text("landings.csv", "registration,day,fullstops\n"), "landings", 1, "full_stops", "", "a required column is missing", "is it the one named fullstops?"),
]  # fmt: skip
# What is wrong with a value, whatever the ledger holds.
VALUES = [
    Wrong("a required value empty", cells("landings", 4, day=""), "landings", 2, "day", "", "is empty; a value is required", "write the value"),
    Wrong("a day as day/month/year", cells("landings", 2, day="14/03/2024"), "landings", 2, "day", "14/03/2024", "is not a day as year-month-day", "write 2024-03-14"),
    Wrong("a day that can be two", cells("landings", 2, day="3/4/2024"), "landings", 2, "day", "3/4/2024", "is not a day", "write 2024-03-04 or 2024-04-03, whichever is meant"),
    Wrong("a day of two numbers", cells("landings", 2, day="3/4"), "landings", 2, "day", "3/4", "is not a day", "two numbers can be day and month"),
    Wrong("a day in words", cells("landings", 2, day="14 Mar 2024"), "landings", 2, "day", "14 Mar 2024", "is not a day", "write 2024-03-14"),
    Wrong("a day with a time", cells("landings", 2, day="2024-03-14T09:30:00"), "landings", 2, "day", "2024-03-14T09:30:00", "is not a day", "write 2024-03-14, without a time"),
    Wrong("a day that a spreadsheet counted", cells("landings", 2, day="45365"), "landings", 2, "day", "45365", "is not a day", "write 2024-03-14"),
    Wrong("a day not in the calendar", cells("landings", 2, day="2023-02-29"), "landings", 2, "day", "2023-02-29", "is not in the calendar", "check the month"),
    Wrong("a day in the future", cells("landings", 2, day="2026-11-26"), "landings", 2, "day", "2026-11-26", "lies in the future; today is 2026-11-25", "write the day on which it happened"),
    Wrong("a year of another age", cells("aircraft", 2, retires_on="2535-06-30"), "aircraft", 2, "retires_on", "2535-06-30", "has a year outside", "check the year"),
    Wrong("a month in words", cells("flying_plan", 2, month="Apr 2027"), "flying_plan", 2, "month", "Apr 2027", "is not a month", "such as 2027-04"),
    Wrong("a decimal comma", cells("landings", 2, flight_hours="5,5"), "landings", 2, "flight_hours", "5,5", "has a decimal comma", "write 5.5"),
    Wrong("a comma that can be two things", cells("landings", 2, landing_mass_kg="58,000"), "landings", 2, "landing_mass_kg", "58,000", "decimal comma or a thousands comma", "write 58.000, or 58000"),
    Wrong("thousands separators", cells("landings", 2, landing_mass_kg="1 058 000"), "landings", 2, "landing_mass_kg", "1 058 000", "has thousands separators", "write the digits alone"),
    Wrong("no number", cells("landings", 2, flight_hours="NaN"), "landings", 2, "flight_hours", "NaN", "is not a finite number", "leave the cell empty"),
    Wrong("a number without end", cells("landings", 2, flight_hours="-inf"), "landings", 2, "flight_hours", "-inf", "is not a finite number", "leave the cell empty"),
    Wrong("words for a number", cells("landings", 2, full_stops="four"), "landings", 2, "full_stops", "four", "is not a number", "write a whole number"),
    Wrong("a unit beside a number", cells("brake_types", 2, mass_kg="71.5 kg"), "brake_types", 2, "mass_kg", "71.5 kg", "has a unit in the cell", "write 71.5"),
    Wrong("a percent sign", cells("assumptions", 3, value="3 %"), "assumptions", 2, "value", "3 %", "has a percent sign", "write 0.03"),
    Wrong("a negative count", cells("landings", 2, full_stops="-4"), "landings", 2, "full_stops", "-4", "is negative; wanted 0 or more", "check the sign"),
    Wrong("a count with a fraction", cells("landings", 2, full_stops="4.5"), "landings", 2, "full_stops", "4.5", "is not a whole number", "write a whole number"),
    Wrong("a count in powers of ten", cells("landings", 2, total_landings="5E+03"), "landings", 2, "total_landings", "5E+03", "is in powers of ten", "such as 5000"),
    Wrong("an order of nothing", cells("orders", 2, quantity="0"), "orders", 2, "quantity", "0", "is too small; wanted 1 or more", "check the sign"),
    Wrong("a mass of nothing", cells("brake_types", 2, mass_kg="0"), "brake_types", 2, "mass_kg", "0", "is too small; wanted above 0", "leave the cell empty"),
    Wrong("a pin as a fraction", cells("pin_readings", 2, pin_1="3/4"), "pin_readings", 2, "pin_1", "3/4", "is a fraction or a day", "write the decimal that was read"),
    Wrong("a pin with two points", cells("pin_readings", 2, pin_2="12..4"), "pin_readings", 2, "pin_2", "12..4", "has more than one point", "look at the paper"),
    Wrong("a pin with points between", cells("pin_readings", 2, pin_1="1.2.4"), "pin_readings", 2, "pin_1", "1.2.4", "has more than one point", "look at the paper"),
    Wrong("a negative pin", cells("pin_readings", 2, pin_1="-35.2"), "pin_readings", 2, "pin_1", "-35.2", "is negative; a length is 0 or more", "check the sign"),
    Wrong("a pin finer than can be counted", cells("pin_readings", 2, pin_1="35.2000001"), "pin_readings", 2, "pin_1", "35.2000001", "has 7 decimals; at most 5", "write 35.20000"),
    Wrong("a unit not listed", cells("pin_readings", 2, unit="cm"), "pin_readings", 2, "unit", "cm", "is not one of the words mm, in", "write one of mm, in"),
    Wrong("a word with a capital", cells("installations", 2, removal_reason="Worn"), "installations", 2, "removal_reason", "Worn", "is not one of the words worn", "write worn"),
    Wrong("a word nearly right", cells("events", 2, event="rejected takeoff"), "events", 2, "event", "rejected takeoff", "is not one of the words", "write rejected take-off"),
    Wrong("true for yes", cells("pin_readings", 2, cold="TRUE"), "pin_readings", 2, "cold", "TRUE", "is not one of the words yes, no", "write yes"),
    Wrong("a NUL in a name", cells("brakes", 2, serial="00\x0017"), "brakes", 2, "serial", "00\x0017", "has an invisible character", "take the character out"),
    Wrong("a bell in a note", cells("brakes", 2, note="ring\x07"), "brakes", 2, "note", "ring\x07", "has a control character", "take the character out"),
    Wrong("a name that turns the writing round", cells("brakes", 2, serial="00\u202e17"), "brakes", 2, "serial", "00\u202e17", "RIGHT-TO-LEFT OVERRIDE", "take the character out"),
    Wrong("a name too long", cells("brakes", 2, serial="9" * 81), "brakes", 2, "serial", "9" * 80, "has 81 characters; a name has at most 80", "shorten the name"),
    Wrong("a text too long", cells("brakes", 2, note="a" * 2001), "brakes", 2, "note", "a" * 80, "has 2001 characters", "shorten the text"),
    Wrong("a serial eaten by a spreadsheet", cells("brakes", 2, serial="1.2E+05"), "brakes", 2, "serial", "1.2E+05", "was turned into a number by a spreadsheet", "copy the name from its source again"),
    Wrong("a name that stands for none", cells("brakes", 2, serial="nan"), "brakes", 2, "serial", "nan", "stands for a missing value", "leave the cell empty, or write the name"),
    Wrong("a spreadsheet's error", cells("aircraft", 2, base="#REF!"), "aircraft", 2, "base", "#REF!", "is a spreadsheet's error", "mend the formula"),
    Wrong("commas in a list", cells("aircraft_types", 2, positions="1,2,3,4"), "aircraft_types", 2, "positions", "1,2,3,4", "joined by semicolons", "write 1;2;3;4"),
    Wrong("an empty name in a list", cells("aircraft_types", 2, positions="1;2;;4"), "aircraft_types", 2, "positions", "1;2;;4", "has an empty name in the list", "such as 1;2;3;4"),
    Wrong("an end before its beginning", cells("deactivations", 2, to="2024-02-28"), "deactivations", 2, "to", "2024-02-28", "lies before from", "check to and from"),
    Wrong("a removal before the installation", cells("installations", 2, removed_on="2023-12-31"), "installations", 2, "removed_on", "2023-12-31", "lies before installed_on", "check removed_on and installed_on"),
    Wrong("written down before it happened", cells("landings", 2, recorded_on="2023-12-31"), "landings", 2, "recorded_on", "2023-12-31", "lies before day", "check recorded_on and day"),
    Wrong("a plan for two at once", cells("flying_plan", 2, base="North"), "flying_plan", 2, "registration", "ZZ-AAA", "exactly one of registration or base", "not both or none"),
    Wrong("a reading that says nothing", cells("pin_readings", 2, pin_1="", pin_2=""), "pin_readings", 2, "pin_1", "", "neither a pin nor within_limit is given", "write the pin"),
    Wrong("a reason to remove without a removal", cells("installations", 3, removal_reason="leak"), "installations", 2, "removed_on", "", "is empty, but removal_reason is given", "write removed_on"),
    Wrong("a formula without a value", sheet("bases", ["base", "name"], ["East", "=A2"]), "bases", 2, "name", "=A2", "is a formula without a stored value", "paste the values"),
    Wrong("values beside the header", sheet("bases", ["base"], ["East", None, "and more"]), "bases", 2, "", "and more", "values to the right of the header's 1 columns", "name the column"),
]  # fmt: skip
# What the ledger cannot take.
RECORDS = [
    Wrong("a base that is not known", cells("stock", 2, base="Wroks"), "stock", 2, "base", "Wroks", "no base of this name is known", "write Works if that is meant"),
    Wrong("a brake type that is not known", cells("brakes", 2, brake_type="PL-1000"), "brakes", 2, "brake_type", "PL-1000", "no brake type of this name", "write PL-100 if that is meant"),
    Wrong("a serial that is not known", cells("reshims", 2, serial="18"), "reshims", 2, "serial", "18", "no brake with this serial is known", "enter the brake first"),
    Wrong("a serial of two types", cells("reshims", 2, serial="0017"), "reshims", 2, "serial", "0017", "occurs with the brake types PL-100, PL-200", "write the brake_type: PL-100 or PL-200"),
    Wrong("a serial of another type", cells("installations", 3, brake_type="PL-200"), "installations", 2, "serial", "0018", "no brake of type PL-200 has this serial", "write the brake_type: PL-100"),
    Wrong("a registration that is not known", cells("landings", 2, registration="ZZ-AAX"), "landings", 2, "registration", "ZZ-AAX", "no aircraft with this registration", "write ZZ-AA"),
    Wrong("a registration of another day", cells("landings", 9, registration="ZZ-AAC"), "landings", 2, "registration", "ZZ-AAC", "no aircraft carried this registration on 2024-06-01", "on that day it was ZZ-CCC"),
    Wrong("a registration carried by another", row("aircraft_changes", registration="ZZ-AAB", **{"from": "2024-08-01"}, new_registration="ZZ-CCC"), "aircraft_changes", 2, "new_registration", "ZZ-CCC", "is carried by another aircraft on that day", "check the registration"),
    Wrong("an aircraft entered again under its new name", row("aircraft", registration="ZZ-CCC", aircraft_type="Petrel"), "aircraft", 2, "registration", "ZZ-CCC", "is carried by an aircraft on record since 2024-05-01", "take the row out"),
    Wrong("a change of nothing", row("aircraft_changes", registration="ZZ-AAB", **{"from": "2024-08-01"}), "aircraft_changes", 2, "status", "", "says nothing of what changes", "write a base"),
    Wrong("a position named twice", cells("aircraft_types", 2, positions="1;2;2;4"), "aircraft_types", 2, "positions", "1;2;2;4", "a position is named twice", "a name of its own"),
    Wrong("groups that do not fit the positions", cells("aircraft_types", 2, position_groups="in;out"), "aircraft_types", 2, "position_groups", "in;out", "one group for each position", "as many groups as positions"),
    Wrong("a limit for a group that nobody has", cells("wear_limits", 4, position_group="inner"), "wear_limits", 2, "position_group", "inner", "no aircraft type has positions of this group", "write one of in, out"),
    Wrong("an aircraft of another type", cells("effectivity", 4, aircraft_type="Gannet"), "effectivity", 2, "registration", "ZZ-CCC", "that aircraft is of another type", "correct the registration or the aircraft_type"),
    Wrong("a position that the type does not have", row("installations", serial="C-3", registration="ZZ-AAA", position="9", installed_on="2024-05-01", starts_as="new"), "installations", 2, "position", "9", "no such position", "write one of 1, 2, 3, 4"),
    Wrong("an event where there is no brake", cells("events", 3, position="9"), "events", 2, "position", "9", "has no such position", "leave it empty"),
    Wrong("two brakes in one position", row("installations", serial="C-3", registration="ZZ-AAA", position="2", installed_on="2024-05-01", starts_as="new"), "installations", 2, "position", "2", "0018 (PL-100) is in", "enter that one's removal first"),
    Wrong("a brake in two places", row("installations", serial="C-1", registration="ZZ-AAB", position="4", installed_on="2024-05-01", starts_as="new"), "installations", 2, "serial", "C-1", "C-1 (PL-200) is in", "enter its removal there first"),
    Wrong("a brake in the shop and on an aircraft", row("shop_visits", serial="0018", sent_on="2024-05-01", work="repair"), "shop_visits", 2, "sent_on", "2024-05-01", "cannot be in two places", "enter its removal first"),
    Wrong("a brake exchanged for itself", cells("shop_visits", 3, serial_back="G-2"), "shop_visits", 2, "serial_back", "G-2", "is the brake that was sent", "leave it empty"),
    Wrong("a cost in no currency", cells("shop_visits", 4, cost="100"), "shop_visits", 2, "currency", "", "is empty, but a cost is given", "such as EUR"),
    Wrong("a total of landings that falls", row("landings", registration="ZZ-AAA", day="2024-09-01", total_landings="4000"), "landings", 2, "total_landings", "4000", "a running total never falls", ""),
    Wrong("a value that differs from the record", cells("landings", 2, full_stops="5"), "landings", 2, "full_stops", "5", "the record already there has 4", "enter a correction under Corrections"),
    Wrong("two rows of one key", rows("stock", *rows_of(TABLES["stock"])[:1], rows_of(TABLES["stock"])[0] | {"serviceable": "3"}), "stock", 3, "serviceable", "3", "a row above with the same key has 2", "enter a correction under Corrections"),
    Wrong("more landings since overhaul than since new", row("brakes", serial="N-1", brake_type="PL-100", landings_since_new="5", landings_since_overhaul="6"), "brakes", 2, "landings_since_overhaul", "6", "is more than landings_since_new", "check both counts"),
    Wrong("an assumption in another unit", row("assumptions", name="labour_rate", value="95", unit="EUR", source="s", dated="2024-01-15"), "assumptions", 2, "unit", "EUR", "labour_rate has unit CUR/h", "write EUR/h"),
    Wrong("a rate in percent", cells("assumptions", 3, value="3", low="", high=""), "assumptions", 2, "value", "3", "is a fraction, at most 1", "write 0.03 if 3 % is meant"),
    Wrong("a rate whose unit is percent", cells("assumptions", 3, value="3", unit="%", low="", high=""), "assumptions", 2, "unit", "%", "rates are fractions of unit 1", "write value 0.03 and unit 1"),
    Wrong("a low above the value", cells("assumptions", 2, low="13000"), "assumptions", 2, "low", "13000", "is above the value 12500", "low <= value <= high is wanted"),
    Wrong("a high below the value", cells("assumptions", 2, high="11500"), "assumptions", 2, "high", "11500", "is below the value 12500", "low <= value <= high is wanted"),
    Wrong("a negative cost", row("assumptions", name="new_brake_cost", value="-95", unit="EUR", source="s", dated="2024-01-15"), "assumptions", 2, "value", "-95", "new_brake_cost cannot be negative", "check the sign"),
]  # fmt: skip
WRONG = [*FILES, *HEADERS, *VALUES, *RECORDS]
