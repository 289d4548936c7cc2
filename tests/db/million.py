"""A folder with landings of a thousand invented aircraft, a row a day, for as many rows as are wanted."""

import datetime as dt
from pathlib import Path

FIRST = dt.date(2020, 1, 1)
AIRCRAFT = 1_000


def million_folder(folder: Path, rows: int = 1_000_000) -> Path:
    """Write the aircraft and their landings; full stops, hours, running totals and masses differ from row to row."""
    folder.mkdir(parents=True)
    (folder / "bases.csv").write_text("base\nHome\n", encoding="utf-8")
    (folder / "aircraft_types.csv").write_text("aircraft_type,positions\ntwin,1;2;3;4\n", encoding="utf-8")
    names = [f"ZZ-{number:04d}" for number in range(AIRCRAFT)]
    aircraft = "".join(f"{name},twin,Home\n" for name in names)
    (folder / "aircraft.csv").write_text(f"registration,aircraft_type,base\n{aircraft}", encoding="utf-8")
    days = [(FIRST + dt.timedelta(days=day)).isoformat() for day in range(rows // AIRCRAFT)]
    with (folder / "landings.csv").open("w", encoding="utf-8") as text:
        text.write(
            "registration,day,base,full_stops,touch_and_gos,flight_hours,total_landings,landing_mass_kg\n"
        )
        for number, name in enumerate(names):
            total = 0
            for place, day in enumerate(days):
                stops = (number + 3 * place) % 7
                total += stops
                mass = 50_000 + (number * 7919 + place * 104_729) % 20_000
                text.write(f"{name},{day},Home,{stops},,{stops * 1.3:.1f},{total},{mass}\n")
    return folder
