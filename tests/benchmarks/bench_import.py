"""
Time of a million landing rows: `python tests/benchmarks/bench_import.py [DATABASE_URL] [--rows N]`.

Printed beside the raw limit: a plain csv.reader over the same file that makes floats of its numbers and keeps nothing.
Without a URL a SQLite file in a temporary folder is used. The database has to be empty.
"""

import argparse
import csv
import datetime as dt
import sys
import tempfile
import time
from pathlib import Path

from tqdm import tqdm

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[1] / "db"))

from million import million_folder

from db.chain import Act
from db.imports import load
from db.imports.check import check_source
from db.imports.csv_file import open_csv
from db.imports.refused import Findings
from db.imports.source import Meter
from db.schema import migrate
from db.session import Session, open_engine

TODAY = dt.date(2026, 11, 25)


def raw_seconds(path):
    """A pass with csv.reader and float over the number columns."""
    began = time.perf_counter()
    with path.open(encoding="utf-8", newline="") as text:
        lines = csv.reader(text)
        next(lines)
        for line in lines:
            for cell in line[3:]:
                if cell:
                    float(cell)
    return time.perf_counter() - began


def check_seconds(path):
    """Reading and checking the format, without a database."""
    began = time.perf_counter()
    check_source(open_csv(path.stem, lambda: path.open("rb")), Findings(), Meter(None, 0), today=TODAY)
    return time.perf_counter() - began


def load_seconds(url, folder):
    """The whole load, commit included."""
    migrate(url)
    engine = open_engine(url)
    began = time.perf_counter()
    with Session(engine) as session, tqdm(unit=" rows", file=sys.stderr) as bar:

        def progress(done, total):
            bar.total = total
            bar.update(done - bar.n)

        load(session, folder, Act("bench", "import", "import"), approved=True, today=TODAY, progress=progress)
        session.commit()
    engine.dispose()
    return time.perf_counter() - began


def main():
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("url", nargs="?")
    asked.add_argument("--rows", type=int, default=1_000_000)
    options = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = million_folder(Path(name) / "million", options.rows)
        landings = folder / "landings.csv"
        raw, checked = raw_seconds(landings), check_seconds(landings)
        whole = load_seconds(options.url or f"sqlite:///{name}/ledger.db", folder)
    for what, seconds in (("csv.reader and float", raw), ("read and checked", checked), ("loaded", whole)):
        sys.stdout.write(
            f"{what:22s} {seconds:7.1f} s  {options.rows / seconds:10,.0f} rows/s  x{seconds / raw:.1f}\n"
        )


if __name__ == "__main__":
    main()
