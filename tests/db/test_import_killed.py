"""An import killed in the middle leaves nothing, on both databases; the same import then succeeds."""

import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import func, literal, select, union_all

from db.base import Base
from db.chain import Act
from db.imports import load
from db.records.log import ChainHead
from db.session import Session, open_engine
from tests.db.conftest import TODAY
from tests.db.good_folder import files, good_folder, write

ACT = Act("ann", "import", "import records")
SMALL = {name: files()[name] for name in ("bases", "brake_types", "brakes", "stock")}
COUNTS = union_all(
    *(select(literal(table.name), func.count()).select_from(table) for table in Base.metadata.sorted_tables)
)
# Says that the step was reached and waits to be killed; a step past the last is reached just before the commit.
IMPORT = """
import datetime, pathlib, sys, time
from db.chain import Act
from db.imports import load
from db.session import Session, open_engine
url, folder, at = sys.argv[1], pathlib.Path(sys.argv[2]), int(sys.argv[3])
def wait():
    print("reached", flush=True)
    time.sleep(600)
def progress(done, total):
    if done >= at:
        wait()
with Session(open_engine(url)) as session:
    today = datetime.date.fromisoformat(sys.argv[4])
    load(session, folder, Act("ann", "import", "import records"), approved=True, today=today, progress=progress)
    wait()
    session.commit()
"""


def contents(url):
    engine = open_engine(url)
    with engine.connect() as connection:
        head = connection.execute(select(ChainHead.seq, ChainHead.record, ChainHead.hash)).one()
        found = {*connection.execute(COUNTS).all(), head}
    engine.dispose()
    return found


def kill_at(step, url, folder):
    command = [sys.executable, "-c", IMPORT, url, str(folder), str(step), TODAY.isoformat()]
    root = Path(__file__).parents[2]
    with subprocess.Popen(command, stdout=subprocess.PIPE, cwd=root, text=True) as importing:
        assert importing.stdout.readline() == "reached\n"
        importing.send_signal(signal.SIGKILL)
        assert importing.wait() == -signal.SIGKILL


def test_an_import_killed_before_its_commit_leaves_nothing_and_can_be_done_again(url, tmp_path):
    folder = write(tmp_path / "small", SMALL)
    before = contents(url)
    kill_at(10**9, url, folder)
    assert contents(url) == before
    engine = open_engine(url)
    with Session(engine) as session:
        loaded = load(session, folder, ACT, approved=True, today=TODAY)
        session.commit()
    engine.dispose()
    assert sum(file.added for file in loaded.files) == sum(map(len, SMALL.values()))


@pytest.mark.long
def test_an_import_killed_anywhere_leaves_nothing_40_times(url, tmp_path):
    folder = good_folder(tmp_path / "good")
    before = contents(url)
    steps = 2 * sum(map(len, files().values()))
    seed = random.randrange(10**6)
    print(f"seed {seed}")  # noqa: T201 - to kill at the same steps again
    chosen = random.Random(seed)
    for _ in range(40):
        kill_at(chosen.randint(1, steps + 1), url, folder)
        assert contents(url) == before
