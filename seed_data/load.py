"""The demo: the invented fleet's files, brought in the way that any other fleet's are."""

import datetime as dt
import tempfile
from dataclasses import dataclass
from pathlib import Path

from db.chain import Act
from db.imports.loading import load
from db.imports.source import Progress
from db.schema import migrate
from db.session import Session, open_engine
from seed_data.generate import generate
from seed_data.scenario import read_scenario

PERSON = "demo administrator"


@dataclass(frozen=True)
class Demo:
    """What was brought in, and the seed that it came from."""

    operator: str
    seed: int
    files: int
    facts: int
    held: int
    flags: int

    def __str__(self) -> str:
        """One line for people."""
        return (
            f"{self.operator}: {self.facts:,} facts of {self.files} files, {self.held} readings held, "
            f"{self.flags} rows flagged; seed {self.seed}"
        )


def load_demo(url: str, folder: Path | None = None, *, progress: Progress | None = None) -> Demo:
    """Migrate, write the invented fleet's files into a folder (a temporary one by default), and bring them in."""
    if folder is None:
        with tempfile.TemporaryDirectory(prefix="pinledger-demo-") as name:
            return load_demo(url, Path(name), progress=progress)
    scenario = read_scenario()
    generate(scenario, folder)
    migrate(url)
    engine = open_engine(url)
    today = max(scenario.last_day, dt.datetime.now(dt.UTC).date())
    with Session(engine) as session:
        loaded = load(
            session,
            folder,
            Act(PERSON, "import", "load the invented fleet"),
            approved=True,
            today=today,
            progress=progress,
        )
        session.commit()
    engine.dispose()
    return Demo(
        operator=scenario.operator,
        seed=scenario.seed,
        files=len(loaded.files),
        facts=sum(file.added for file in loaded.files),
        held=sum(file.held for file in loaded.files),
        flags=sum(len(file.flags) for file in loaded.files),
    )
