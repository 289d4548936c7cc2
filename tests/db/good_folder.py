# ruff: noqa: E501 - tables are read across, in columns
"""
A small invented fleet as an import folder: 3 bases, 2 aircraft types, 6 aircraft, 12 brakes, with every kind of file.

`good_folder(path)` writes it; `files()` gives the rows, to change before `write`. Nobody real is meant.
"""

import csv
from collections.abc import Mapping
from pathlib import Path

Row = dict[str, str]
Files = dict[str, list[Row]]

TABLES = {
    "bases": """
        base    | name          | kind
        North   | North Isle    | line
        South   | South Isle    | line
        Works   | Works Harbour | depot
    """,
    "aircraft_types": """
        aircraft_type | positions       | position_groups         | landing_mass_kg | touchdown_speed_kt
        Petrel        | 1;2;3;4         | out;in;in;out           | 60000           | 130
        Gannet        | 1;2;3;4;5;6;7;8 |                         | 180000          | 140.5
    """,
    "brake_types": """
        brake_type | maker    | material | mass_kg | pins | new_pin_mm | new_gap_mm
        PL-100     | Anvilson | steel    | 71.5    | 2    | 40         |
        PL-200     | Anvilson | carbon   | 48      | 2    | 50.8       |
        PL-300     |          | carbon   |         | 1    |            | 0
    """,
    "wear_limits": """
        brake_type | weight_variant | position_group | convention | limit | unit | at_limit | effective_on | source
        PL-100     |                |                | left       | 2.5   | mm   | off      | 2020-01-01   | Petrel manual 32-40, rev 3
        PL-200     |                |                |            | 0.100 | in   | allowed  | 2020-01-01   | Petrel manual 32-41, rev 1
        PL-200     | heavy          | in             | left       | 3     | mm   |          | 2027-01-01   | Petrel manual 32-41, rev 2
        PL-300     |                |                | used       | 45.25 | mm   | off      | 2021-06-01   | Gannet manual 32-40, rev 1
    """,
    "aircraft": """
        registration | msn  | aircraft_type | base  | weight_variant | in_service_on | retires_on
        ZZ-AAA       | 0101 | Petrel        | North | heavy          | 2020-01-01    | 2035-06-30
        ZZ-AAB       | 0102 | Petrel        | North |                | 2020-02-01    |
        ZZ-AAC       | 0103 | Petrel        | South |                | 2020-03-01    |
        ZZ-AAD       |      | Petrel        | South | light          |               |
        ZZ-BBA       | 0201 | Gannet        | North |                | 2021-01-01    | 2040-12-31
        ZZ-BBB       | 0202 | Gannet        | South |                | 2021-02-01    |
    """,
    "aircraft_changes": """
        registration | from       | base  | weight_variant | new_registration | status
        ZZ-AAB       | 2024-03-01 | South |                |                  |
        ZZ-AAC       | 2024-05-01 |       |                | ZZ-CCC           |
        ZZ-CCC       | 2024-07-01 |       | heavy          |                  | in check
        ZZ-AAD       | 2024-06-01 |       |                |                  | stored
    """,
    "effectivity": """
        aircraft_type | registration | weight_variant | brake_type | position_group | mix        | from       | to         | source
        Petrel        |              |                | PL-100     |                | same group |            |            | bulletin 7
        Petrel        |              |                | PL-200     |                | same group | 2022-01-01 |            | bulletin 7
        Petrel        | ZZ-CCC       |                | PL-200     | in             |            | 2024-06-01 | 2026-01-01 |
        Gannet        |              |                | PL-300     |                | none       |            |            |
    """,
    "brakes": """
        serial | brake_type | owner     | arrangement | landings_since_new | landings_since_overhaul
        0017   | PL-100     | Isle Air  | owned       | 2400               | 900
        0018   | PL-100     | Isle Air  | owned       |                    |
        0019   | PL-100     |           |             | 0                  | 0
        0020   | PL-100     | Isle Air  | owned       |                    |
        0021   | PL-100     |           | pool        |                    |
        C-1    | PL-200     | Lender    | loan        |                    |
        C-2    | PL-200     |           | by the hour |                    |
        C-3    | PL-200     |           |             |                    |
        0017   | PL-200     |           | exchange    |                    |
        G-1    | PL-300     |           |             |                    |
        G-2    | PL-300     |           |             |                    |
        G-3    | PL-300     |           |             |                    |
    """,
    "installations": """
        serial | brake_type | registration | position | installed_on | removed_on | removal_reason | starts_as  | start_pin | aircraft_landings_on | aircraft_landings_off | release_reference
        0017   | PL-100     | ZZ-AAA       | 1        | 2024-01-01   | 2024-03-10 | worn           | overhauled | 40        | 5000                 |                       | R-1
        0018   |            | ZZ-AAA       | 2        | 2024-01-01   |            |                | new        |           |                      |                       |
        C-1    | PL-200     | ZZ-AAA       | 1        | 2024-03-10   |            |                | new        | 50.8      |                      |                       | R-2
        0019   |            | ZZ-AAB       | 1        | 2024-01-05   | 2024-02-01 | robbed         | new        |           |                      |                       |
        0019   |            | ZZ-AAC       | 3        | 2024-02-01   |            |                | same run   |           |                      |                       |
        0020   |            | ZZ-AAB       | 1        | 2024-02-02   |            |                | unknown    |           |                      |                       |
        C-2    |            | ZZ-CCC       | 4        | 2024-06-01   |            |                | new        |           |                      |                       |
        G-1    |            | ZZ-BBA       | 8        | 2024-01-01   |            |                | new        |           |                      |                       |
        G-2    |            | ZZ-BBB       | 1        | 2024-01-01   | 2024-04-01 | leak           | refurbished |          |                      |                       |
    """,
    "reshims": """
        serial | day        | step_mm | step_sd_mm
        0018   | 2024-04-01 | 6.5     | 0.2
    """,
    "deactivations": """
        serial | from       | to         | reason
        0020   | 2024-03-01 | 2024-03-05 | line leak, waiting for a hose
        G-1    | 2024-06-20 |            |
    """,
    "landings": """
        registration | day        | to_day     | base  | airfield | full_stops | touch_and_gos | rejected_takeoffs | flight_hours | total_landings | landing_mass_kg
        ZZ-AAA       | 2024-01-01 |            | North | Home     | 4          | 0             | 0                 | 5.5          | 5004           | 58000
        ZZ-AAA       | 2024-01-02 |            | North |          | 3          | 1             | 0                 | 4.25         | 5008           |
        ZZ-AAA       | 2024-01-03 |            | North |          | 0          |               |                   | 0            | 5008           |
        ZZ-AAA       | 2024-01-04 | 2024-03-31 |       |          | 250        |               |                   |              |                |
        ZZ-AAB       | 2024-01-05 |            | North |          | 2          |               | 1                 | 2.0          |                |
        ZZ-AAB       | 2024-01-06 |            |       |          |            |               |                   |              |                |
        ZZ-AAC       | 2024-02-01 |            | South |          | 5          |               |                   | 6            |                |
        ZZ-CCC       | 2024-06-01 |            | South |          | 2          |               |                   | 3.5          |                |
        ZZ-BBA       | 2024-01-01 | 2024-05-31 | North |          | 400        |               |                   | 900          |                | 175000
    """,
    "pin_readings": """
        serial | brake_type | day        | pin_1 | pin_2 | unit | convention | within_limit | brakes_applied | cold | reader  | occasion | aircraft_landings
        0017   | PL-100     | 2024-01-20 | 35.2  | 35.4  | mm   | left       |              | yes            | yes  | M. Ink  | A check  |
        0018   |            | 2024-01-20 | 36.0  | 35.9  | mm   | left       |              | yes            | yes  | M. Ink  | A check  |
        0018   |            | 2024-02-20 | 30.1  |       | mm   | left       |              | yes            | no   | P. Wick |          |
        C-1    |            | 2024-04-10 | 1.985 |       | in   | left       |              |                | yes  |         | A check  |
        0019   |            | 2024-02-01 |       |       | mm   | left       | yes          | yes            | yes  |         |          |
        G-1    |            | 2024-03-01 | 6.25  |       | mm   | used       |              | yes            | yes  |         |          |
    """,
    "events": """
        registration | day        | event             | position | speed_kt | mass_kg
        ZZ-AAB       | 2024-01-05 | rejected take-off |          | 95       | 61000
        ZZ-AAA       | 2024-02-10 | dragging          | 2        |          |
    """,
    "exclusions": """
        serial | registration | from       | to         | reason
        0018   |              | 2024-02-10 | 2024-02-15 | dragging, valve replaced
               | ZZ-BBB       | 2024-02-01 | 2024-02-20 | anti-skid fault
    """,
    "shop_visits": """
        serial | brake_type | sent_on    | back_on    | serial_back | work     | cost  | currency
        0017   | PL-100     | 2024-03-15 | 2024-04-20 |             | overhaul | 12500 | EUR
        G-2    |            | 2024-04-05 | 2024-05-01 | G-3         | refurbish |      |
        0021   |            | 2024-05-01 |            |             | test     |       |
    """,
    "stock_movements": """
        serial | brake_type | day        | base  | condition
        0017   | PL-100     | 2024-04-21 | Works | serviceable
        C-3    |            | 2024-06-01 | South | unserviceable
    """,
    "stock": """
        base  | brake_type | counted_on | serviceable | unserviceable
        Works | PL-100     | 2024-06-30 | 2           | 1
        North | PL-200     | 2024-06-30 | 0           |
    """,
    "orders": """
        base  | brake_type | quantity | ordered_on | due_on     | work_order
        Works | PL-200     | 4        | 2024-05-02 | 2024-11-01 | PO-1
        Works | PL-200     | 2        | 2024-05-02 |            | PO-2
    """,
    "flying_plan": """
        registration | base  | month   | landings | flight_hours
        ZZ-AAA       |       | 2027-04 | 90       | 130.5
                     | South | 2027-04 | 240      |
    """,
    "assumptions": """
        name                   | aircraft_type | brake_type | base  | value    | unit     | low     | high    | source            | dated      | owner  | review_by
        overhaul_cost          |               | PL-100     |       | 12500    | EUR      | 11000   | 15000   | invented quote 14 | 2024-01-15 | M. Ink | 2025-01-15
        discount_rate          |               |            |       | 0.03     | 1        | 0.02    | 0.05    | invented policy   | 2024-01-15 |        |
        fuel_per_added_kg_hour | Petrel        |            |       | 0.00003  | kg/kg/h  | 0.00002 | 0.00004 | invented study    | 2024-01-15 |        |
        lead_time_days         |               |            | Works | 120      | d        |         |         | invented supplier | 2024-01-15 |        |
    """,
}  # fmt: skip


def files() -> Files:
    """Rows of every file, each with all of the file's columns above."""
    return {name: rows_of(text) for name, text in TABLES.items()}


def rows_of(text: str) -> list[Row]:
    """Rows of a table drawn with upright strokes."""
    lines = [
        [cell.strip() for cell in line.split("|")] for line in text.strip("\n").splitlines() if line.strip()
    ]
    header, *rows = lines
    return [dict(zip(header, row, strict=True)) for row in rows]


def write(folder: Path, what: Mapping[str, list[Row]]) -> Path:
    """Write the rows as a folder of CSV files."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in what.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as text:
            writer = csv.DictWriter(text, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
    return folder


def good_folder(folder: Path) -> Path:
    """Write the whole fleet."""
    return write(folder, files())
