"""The command line: its words, its exit statuses, and what it does not load before it must."""

import json
import subprocess
import sys

import pytest

from api import cli

HEAVY = ("numpy", "pandas", "scipy", "sqlalchemy", "fastapi", "pydantic", "plotly", "alembic")
COMMANDS = (
    "migrate",
    "import",
    "export",
    "backup",
    "restore",
    "refit",
    "changeouts",
    "model-fit",
    "spares",
    "cost",
    "briefing",
    "verify",
    "demo",
    "serve",
    "person",
)


def test_help_and_version_load_nothing_heavy():
    code = (
        "import contextlib, json, sys\n"
        "from api import cli\n"
        "for words in (['--help'], ['--version'], ['changeouts', '--help']):\n"
        "    with contextlib.suppress(SystemExit), contextlib.redirect_stdout(sys.stderr):\n"
        "        cli.main(words)\n"
        f"print(json.dumps([name for name in {HEAVY!r} if name in sys.modules]))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert json.loads(done.stdout) == []


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_with_an_example(command, capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main([command, "--help"])
    assert ended.value.code == 0
    assert f"examples:\n  pinledger {command}" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["changeouts", "--on", "14.3.2026"], "wanted like 2026-03-14"),
        (["changeouts", "--risk", "10"], "a fraction from 0.001 to 0.999"),
        (["spares", "--months", "0"], "a whole number from 1"),
        (["briefing", "--from", "A"], "--to"),
        (["forecast"], "invalid choice"),
        ([], "COMMAND"),
    ],
)
def test_wrong_use_exits_with_two_and_says_what_is_wanted(words, wanted, capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main(words)
    assert ended.value.code == 2
    assert wanted in capsys.readouterr().err
