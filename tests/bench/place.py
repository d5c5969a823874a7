"""Where the figures are taken: a durable PostgreSQL, the service as its users run it, a client."""

import asyncio
import os
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import msgspec

from service.storage.embedded import EmbeddedServer
from tests.bench.client import Result, Task
from tests.ledger.served import make_key
from tests.support.bench_side import entry, event
from tests.support.database import TestServer, folder_for_a_server

ROOT = Path(__file__).parents[2]
LOTS = 100


@contextmanager
def durable_server() -> Iterator[TestServer]:
    """PostgreSQL with its own settings for durability: fsync and synchronous commits."""
    folder = folder_for_a_server(on_disk=True)
    try:
        with EmbeddedServer.start(folder / "data") as embedded:
            server = TestServer(embedded.dsn("postgres"), embedded)
            asyncio.run(server.make_template())
            yield server
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def free_port() -> int:
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
        return port


class Place:
    """One database and `graftlog serve` on it; `settings` by their variables' names."""

    def __init__(self, server: TestServer, *, views: bool, **settings: str) -> None:
        self.database_url = server.dsn_of(asyncio.run(server.create()))
        self.token = asyncio.run(make_key(self.database_url))
        self.port = free_port()
        environment = os.environ | {
            "GRAFTLOG_DATABASE_URL": self.database_url,
            "GRAFTLOG_PORT": str(self.port),
            **settings,
        }
        command = [sys.executable, "-c", "from service.cli import main; main()", "serve"]
        if not views:
            command.append("--without-jobs")
        self.process = subprocess.Popen(
            command, env=environment, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        self.client = httpx.Client(
            base_url=f"http://127.0.0.1:{self.port}",
            headers={"Authorization": f"Bearer {self.token}"},
            timeout=60,
        )
        until_it_answers(self.process, f"http://127.0.0.1:{self.port}/readyz")

    def __enter__(self) -> "Place":
        return self

    def __exit__(self, *_: object) -> None:
        self.client.close()
        self.process.terminate()
        self.process.wait(30)

    def record(self, *events: Any) -> None:
        answer = self.client.post("/v1/events", json=list(events))
        assert answer.status_code in (200, 201), answer.text

    def stocked(self, lots: int = LOTS) -> None:
        """A site, two tables, and lots with trees enough for any measure."""
        zone = {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 40, "longitude": 1}
        self.record(entry("site", "CORIN", **zone))
        self.record(
            *(entry("place", code, site="CORIN", structure="House 1") for code in ("TB1", "TB2")),
            entry(
                "cultivar", "NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navelina"
            ),
            entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo"),
            entry("size", "P9", label="9 cm pot"),
        )
        what = {"kind": "trees", "cultivar": "NAVEL", "rootstock": "CARRIZO", "method": "t_bud"}
        where = {"place": "TB1", "stage": "grafted", "size": "P9", "count": 1_000_000}
        day = {"grafted_on": "2025-01-01"}
        lines = [what | where | day | {"lot": f"LOT-{n}"} for n in range(lots)]
        self.record(event("stock.opened", "2025-01-01", lines=lines))

    def ask(self, **task: Any) -> Result:
        return ask(Task(port=self.port, token=self.token, **{"lots": LOTS, **task}))

    def memory(self) -> dict[str, float]:
        """Resident now and at most, in MiB."""
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        found = dict(line.split(":", 1) for line in status.splitlines() if ":" in line)
        return {name: int(found[name].split()[0]) / 1024 for name in ("VmRSS", "VmHWM")}

    def processor_seconds(self) -> float:
        """What the process has used of processors so far."""
        parts = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def empty_handler() -> Iterator[int]:
    """The port of a handler that does nothing."""
    port = free_port()
    process = subprocess.Popen([sys.executable, "-m", "tests.bench.empty", str(port)], cwd=ROOT)
    try:
        until_it_answers(process, f"http://127.0.0.1:{port}/none")
        yield port
    finally:
        process.terminate()
        process.wait(10)


def until_it_answers(process: "subprocess.Popen[bytes]", url: str) -> None:
    """Wait for a server, whatever it answers short of 'not ready'."""
    for _ in range(600):
        if process.poll() is not None:
            raise RuntimeError(f"the server ended with {process.returncode}")
        try:
            if httpx.get(url, timeout=2).status_code != 503:
                return
        except httpx.TransportError:
            pass
        time.sleep(0.05)
    raise RuntimeError(f"{url} does not answer")


def ask(task: Task) -> Result:
    """Run a task in a client of its own process."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench.client"],
        input=msgspec.json.encode(task),
        stdout=subprocess.PIPE,
        cwd=ROOT,
        check=True,
    )
    result = msgspec.json.decode(done.stdout, type=Result)
    if result.trouble:
        raise RuntimeError(f"{result.statuses}: {result.trouble}")
    return result
