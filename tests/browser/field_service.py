"""A ledger with twelve aircraft at one base, served by a process that can be killed; a line that loses answers."""

import contextlib
import datetime as dt
import functools
import http.client
import socket
import subprocess
import sys
import tempfile
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

from api.callers import PLAIN_COOKIE
from db.chain import append
from db.entry.landings import record_landings
from db.lookup import aircraft_type_ids
from db.people import add_person
from db.records.fleet import Aircraft, BaseStation
from db.session import Session, open_engine
from db.sessions import begin_session
from tests.api.shown_fleet import make_shown_fleet
from tests.ledger import ACT, rows

SERVING = "import sys; from api.cli import main; sys.exit(main(sys.argv[1:]))"
BASE = "Field"
CRAFT = [f"ZY-{letter}{letter}" for letter in "ABCDEFGHJKMN"]
BEFORE = {name: 10_000 + 1_000 * place for place, name in enumerate(CRAFT)}
BEFORE_ON = "2026-05-30"
PEOPLE = ("cle", "dee")


def make_field_ledger(url):
    """A new SQLite ledger: the shown fleet, and twelve aircraft of another base with the running totals of one day."""
    Path(url.removeprefix("sqlite:///")).write_bytes(_written())


@functools.cache
def _written():
    """The database file of a field ledger; made once a process."""
    with tempfile.TemporaryDirectory() as made:
        url = f"sqlite:///{made}/field.db"
        make_shown_fleet(url)
        _add_field(url)
        return Path(made, "field.db").read_bytes()


def _add_field(url):
    engine = open_engine(url)
    with Session(engine) as session, session.begin():
        field = append(session, ACT, [(BaseStation, [{"base": BASE}])]).records[0][0]
        kind = aircraft_type_ids(session)["twin"]
        craft = [{"registration": name, "aircraft_type": kind, "base": field} for name in CRAFT]
        append(session, ACT, [(Aircraft, craft)])
        told = [
            {"registration": name, "day": BEFORE_ON, "full_stops": "", "total_landings": total}
            for name, total in BEFORE.items()
        ]
        record_landings(session, ACT, rows("landings", *told))
        for name in PEOPLE:
            add_person(session, name, "clerk", now=dt.datetime.now(dt.UTC))
    engine.dispose()


class Service:
    """The service on one port, started and killed at will."""

    def __init__(self, url):
        self.url = url
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.process = None

    @property
    def address(self):
        return f"http://127.0.0.1:{self.port}"

    def start(self):
        words = ["serve", "--db", self.url, "--port", str(self.port)]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        self.process = subprocess.Popen([sys.executable, "-c", SERVING, *words], **quiet)
        for _ in range(600):
            if self.process.poll() is not None:
                raise RuntimeError("the service ended while it was starting")
            with contextlib.suppress(OSError):
                socket.create_connection(("127.0.0.1", self.port), timeout=1).close()
                return
            time.sleep(0.1)
        raise TimeoutError("the service did not start")

    def kill(self):
        """As if the power were cut: no time to finish anything."""
        self.process.kill()
        self.process.wait()

    def cookie(self, name, address=""):
        engine = open_engine(self.url)
        with Session(engine) as session, session.begin():
            secret = begin_session(session, name, by="password", now=dt.datetime.now(dt.UTC))
        engine.dispose()
        return {"name": PLAIN_COOKIE, "value": secret, "url": address or self.address}


@contextlib.contextmanager
def serving(url):
    """The service on this ledger, until it is no longer wanted."""
    made = Service(url)
    made.start()
    try:
        yield made
    finally:
        made.kill()


def field_ledger(folders):
    """The address of a new field ledger; `folders` makes folders."""
    url = f"sqlite:///{folders.mktemp('field') / 'field.db'}"
    make_field_ledger(url)
    return url


class LossyLine:
    """Passes requests on; of those to `path`, the service does its work and the answer is lost, `times` times."""

    def __init__(self, port):
        self.port, self.path, self.times, self.lost = port, "", 0, 0
        line = self

        class Passing(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self):
                line.pass_on(self)

            do_POST = do_GET  # noqa: N815 - the library's own name

            def log_message(self, *_):
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Passing)
        self.server.daemon_threads = True
        Thread(target=self.server.serve_forever, daemon=True).start()

    @property
    def address(self):
        return f"http://127.0.0.1:{self.server.server_port}"

    def lose(self, path, times):
        self.path, self.times = path, times

    def pass_on(self, request):
        body = request.rfile.read(int(request.headers.get("Content-Length") or 0))
        onward = http.client.HTTPConnection("127.0.0.1", self.port)
        onward.putrequest(request.command, request.path, skip_host=True, skip_accept_encoding=True)
        for name, value in request.headers.items():
            onward.putheader(name, value)
        onward.endheaders(body or None)
        answer = onward.getresponse()
        told = answer.read()
        onward.close()
        request.close_connection = True
        if request.command == "POST" and request.path == self.path and self.times > 0:
            self.times, self.lost = self.times - 1, self.lost + 1
            request.connection.close()
            return
        request.send_response_only(answer.status)
        for name, value in answer.getheaders():
            if name.lower() not in {"transfer-encoding", "connection", "content-length"}:
                request.send_header(name, value)
        request.send_header("Content-Length", str(len(told)))
        request.send_header("Connection", "close")
        request.end_headers()
        request.wfile.write(told)

    def close(self):
        self.server.shutdown()
        self.server.server_close()
