"""The README and DEVELOPERS.md tell of every command, file, column, page and folder there is."""

import fnmatch
import re
import subprocess
import tomllib
from pathlib import Path

import pytest

from api import cli
from api.pages.navigation import PLACES
from db.files import FILES

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "api",
    "db",
    "lifecycle",
    "migrations",
    "tests",
    "seed_data",
}


def commands(capsys):
    with pytest.raises(SystemExit):
        cli.main(["--help"])
    return re.findall(r"^    ([a-z]+) ", capsys.readouterr().out, re.MULTILINE)


def test_every_command_stands_in_the_readme(capsys):
    found = commands(capsys)
    assert len(found) > 10
    assert [name for name in found if f"`pinledger {name}" not in README] == []


@pytest.mark.parametrize("name", FILES)
def test_every_file_and_column_stands_in_the_readme(name):
    row = next(line for line in README.splitlines() if line.startswith(f"| {name} |"))
    common = ("recorded_on", "work_order", "note")
    wanted = [column.name for column in FILES[name].columns if column.name not in common]
    assert [column for column in wanted if not re.search(rf"\b{column}\b", row)] == []


def test_ci_runs_the_readmes_own_test_command():
    command = next(line.strip() for line in README.splitlines() if line.strip().endswith(".ci/check.sh"))
    assert command.replace("pip install", "pip install -q") in (ROOT / ".ci" / "run").read_text(
        encoding="utf-8"
    )


def test_every_room_of_the_arithmetic_stands_in_the_map():
    rooms = {path.stem for path in (ROOT / "lifecycle").glob("*.py")} - {"__init__"}
    assert [room for room in sorted(rooms) if not re.search(rf"\b{room}\b", DEVELOPERS)] == []


def test_nothing_else_stands_at_the_top_level():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    top = {name.split("/")[0] for name in listed.splitlines()}
    assert {name for name in top if not name.startswith(".")} == TOP


def test_every_file_beside_the_code_is_packaged():
    """A plain install carries styles, scripts, marks, templates and the scenario, not only an editable one."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    packages = set(settings["packages"])
    for folder in ("api", "db", "lifecycle", "migrations", "seed_data"):
        for path in (ROOT / folder).rglob("*"):
            if path.is_dir() or "__pycache__" in path.parts:
                continue
            package = ".".join(path.parent.relative_to(ROOT).parts)
            patterns = ["*.py", *settings["package-data"].get(package, [])]
            assert package in packages, path
            assert any(fnmatch.fnmatch(path.name, pattern) for pattern in patterns), path


def test_menu_places_have_distinct_titles_and_questions():
    assert len({place.title for place in PLACES}) == len(PLACES)
    assert all(place.question.endswith("?") for place in PLACES)
