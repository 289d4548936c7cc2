"""Commands in processes of their own that can be killed, started in a moment because the program is loaded once."""

import contextlib
import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Each line is a command's words; the child that runs it is named before it prints anything.
PARENT = """
import json, os, signal, sys
import api.app, api.commands.ledger, api.commands.service
from api.cli import main
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
print("ready", flush=True)
for line in sys.stdin:
    pid = os.fork()
    if pid == 0:
        sys.exit(main(json.loads(line)))
    print(json.dumps({"pid": pid}), flush=True)
"""


class Nursery:
    """Starts commands one at a time and hears what they print."""

    def __init__(self, parent: subprocess.Popen[str]) -> None:
        self._parent = parent
        self._said: queue.Queue[str] = queue.Queue()
        threading.Thread(target=self._listen, daemon=True).start()
        assert self.line() == "ready"

    def _listen(self) -> None:
        for line in self._parent.stdout:
            self._said.put(line.strip())

    def line(self) -> str:
        """The next line printed."""
        return self._said.get(timeout=120)

    def start(self, *words: str) -> int:
        """Start a command; its process."""
        self._parent.stdin.write(json.dumps(words) + "\n")
        self._parent.stdin.flush()
        while True:  # what an earlier command still had to say is passed over
            line = self.line()
            if line.startswith('{"pid"'):
                return int(json.loads(line)["pid"])

    def serve(self, url: str) -> tuple[int, str]:
        """Start the service; its process, and the address that it listens on."""
        pid = self.start("serve", "--db", url, "--port", "0")
        while True:
            line = self.line()
            if line.startswith("http://"):
                return pid, line


def kill(pid: int) -> None:
    """SIGKILL, and wait until the process is gone."""
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGKILL)
    wait(pid)


def wait(pid: int) -> None:
    """Wait until a process is gone."""
    while Path(f"/proc/{pid}").exists():
        threading.Event().wait(0.005)


@contextlib.contextmanager
def nursery(root: Path = ROOT) -> Iterator[Nursery]:
    """A nursery of the program in this folder; at its end nothing of it runs."""
    with subprocess.Popen(
        [sys.executable, "-c", PARENT],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
        start_new_session=True,
    ) as parent:
        try:
            yield Nursery(parent)
        finally:
            os.killpg(parent.pid, signal.SIGKILL)
