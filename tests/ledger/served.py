"""The service in a process of its own, as its users meet it: started, killed, started again.

With DIE_AT_COMMIT in its environment it kills itself once it has committed, before it answers.
"""

import asyncio
import logging
import os
import signal
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx

from service.log.keys import create_key
from service.settings import Settings
from service.storage.pool import open_database


class Served:
    """`python -m tests.ledger.served` on a free port; `url` and `headers` to reach it."""

    def __init__(self, database_url: str, token: str, **environment: str) -> None:
        self.database_url = database_url
        self.headers = {"Authorization": f"Bearer {token}"}
        self.environment = environment
        self._process: subprocess.Popen[bytes] | None = None
        self.url = ""

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def start(self) -> None:
        """Start it and wait until it answers."""
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{port}"
        reading, writing = os.pipe()
        self._process = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "tests.ledger.served",
                self.database_url,
                str(port),
                str(writing),
            ],
            pass_fds=[writing],
            cwd=Path(__file__).parents[2],
            env=os.environ | self.environment,
        )
        os.close(writing)
        with os.fdopen(reading, "rb") as told:
            # One byte when it listens; the end of the pipe when it died before.
            if not told.read(1):
                raise AssertionError(f"the service ended with {self._process.wait()}")

    def wait(self) -> int:
        """Wait until it has ended by itself; a signal it died of is negative."""
        assert self._process is not None
        ended = self._process.wait(30)
        self._process = None
        return ended

    def kill(self) -> None:
        """SIGKILL, as when the power goes."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def stop(self) -> None:
        """SIGTERM, and wait."""
        if self._process is not None:
            self._process.send_signal(signal.SIGTERM)
            try:
                self._process.wait(20)
            except subprocess.TimeoutExpired:
                self.kill()
            self._process = None

    def client(self) -> httpx.Client:
        return httpx.Client(base_url=self.url, headers=self.headers, timeout=30)


def serve_new(database_url: str, **environment: str) -> Served:
    """A service on the database, started, with an administrator's key."""
    served = Served(database_url, asyncio.run(make_key(database_url)), **environment)
    served.start()
    return served


async def make_key(database_url: str, name: str = "tester", role: str = "history") -> str:
    """A key that may record everything, imports included."""
    settings = Settings(data_dir=Path("/nonexistent"), database_url=database_url)
    async with await open_database(settings) as database, database.writer.acquire() as connection:
        return (await create_key(connection, name=name, role=role)).token


async def _main(database_url: str, port: int, listening: int) -> None:
    import uvicorn

    from service.application import build
    from service.log.append import Appender

    if os.environ.get("DIE_AT_COMMIT"):
        committed = Appender._transaction

        async def die(self: Appender, group: list[Any]) -> Any:
            answers = await committed(self, group)
            os.kill(os.getpid(), signal.SIGKILL)
            return answers

        Appender._transaction = die  # type: ignore[method-assign]

    settings = Settings(data_dir=Path("/nonexistent"), database_url=database_url, port=port)
    app = build(settings, run_views=os.environ.get("VIEWS") == "1", run_jobs=False)
    server = uvicorn.Server(
        uvicorn.Config(
            app, port=port, http="httptools", ws="none", log_config=None, access_log=False
        )
    )

    async def tell() -> None:
        while not server.started:
            await asyncio.sleep(0.01)
        os.write(listening, b".")
        os.close(listening)

    telling = asyncio.create_task(tell())
    await server.serve()
    telling.cancel()


__all__ = ["Served", "make_key", "serve_new"]

if __name__ == "__main__":
    import structlog

    structlog.configure(
        processors=[structlog.processors.format_exc_info, structlog.processors.JSONRenderer()],
        wrapper_class=structlog.make_filtering_bound_logger(logging.WARNING),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
    )
    import uvloop

    uvloop.run(_main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3])))
