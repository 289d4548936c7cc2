"""Commands that serve: the demo fleet, and the service proper."""

import argparse
import datetime as dt
import socket
import sys
import tempfile
import threading
import time
import webbrowser
from pathlib import Path

import uvicorn
from sqlalchemy import Engine

from api import logs
from api.app import make_app
from api.commands.results import CHANGEOUT_COLUMNS
from api.daily_anchor import note
from api.output import write
from api.settings import Settings
from api.studies import ask
from db import people, schema
from db.access_acts import SERVICE, Doer
from db.session import Session, open_engine
from lifecycle.study import changeouts
from seed_data.load import load_demo

FIRST_SHOWN = 12
ADMINISTRATOR = "demo administrator"
# Whoever starts the service holds the database and could write there in any name: their own link stands for them.
SERVICE_ITSELF = Doer(way=SERVICE)


def demo(asked: argparse.Namespace) -> int:
    """Make the invented fleet, show what comes due first, and serve it on loopback."""
    began = time.monotonic()
    folder = Path(asked.folder or tempfile.mkdtemp(prefix="pinledger-demo-"))
    folder.mkdir(parents=True, exist_ok=True)
    url = f"sqlite:///{folder / 'demo.db'}"
    sys.stderr.write(f"invented fleet in {folder}\n")
    sys.stderr.write(f"{load_demo(url, folder / 'records')}\n")
    study = ask(open_engine(url), on=None, known_on=None, seed=Settings().seed)
    write(changeouts(study)[:FIRST_SHOWN], "table", columns=CHANGEOUT_COLUMNS)
    sys.stderr.write(f"ready in {time.monotonic() - began:.1f} s, seed {study.seed}\n")
    if asked.no_serve:
        return 0
    # Anchors that are set are those of a real ledger.
    settings = Settings(db=url, secure_cookie=False, anchors="")
    return _serve(settings, "127.0.0.1", asked.port, administrator=ADMINISTRATOR, open_page=not asked.no_open)


def serve(asked: argparse.Namespace) -> int:
    """Serve the pages and JSON of a ledger."""
    beyond = asked.host not in ("127.0.0.1", "localhost", "::1")
    settings = Settings(db=asked.db, secure_cookie=asked.tls or beyond)
    return _serve(settings, asked.host, asked.port, administrator=asked.link_for, open_page=False)


def _serve(settings: Settings, host: str, port: int, *, administrator: str | None, open_page: bool) -> int:
    engine = open_engine(settings.db)
    schema.check(engine)
    if settings.anchors:
        note(engine, Path(settings.anchors))
    listening = socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET)
    address = f"http://{host}:{listening.getsockname()[1]}"
    link = f"{address}/enter/{_one_time_secret(engine, administrator)}" if administrator else None
    sys.stdout.write(f"{link or address}\n")
    sys.stdout.flush()
    if link is None:
        sys.stderr.write("no link asked for; --link-for NAME prints one\n")
    elif open_page:
        threading.Timer(1.0, webbrowser.open, (link,)).start()
    logs.set_up()
    server = uvicorn.Server(
        uvicorn.Config(make_app(settings), log_config=None, access_log=False, server_header=False)
    )
    server.run(sockets=[listening])
    return 0


def _one_time_secret(engine: Engine, name: str) -> str:
    now = dt.datetime.now(dt.UTC)
    with Session(engine) as session:
        if people.count_people(session) == 0:
            people.add_person(session, name, "administrator", now=now, by=SERVICE_ITSELF)
        secret = people.issue_link(session, name, now=now, by=SERVICE_ITSELF)
        session.commit()
    return secret
