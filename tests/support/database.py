"""A real PostgreSQL for the tests: one server per run, one migrated template, a clone per test.

The server is the embedded one in a folder of its own; or ``GRAFTLOG_TEST_DATABASE_URL``, whose
user must be a superuser or have CREATEDB and CREATEROLE; or, with
``GRAFTLOG_TEST_CONTAINERS=1``, a container (``GRAFTLOG_TEST_CONTAINER_NETWORK=host`` where the
engine has no bridge).
"""

import asyncio
import itertools
import os
import shutil
import socket
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit, urlunsplit

import asyncpg

from service.settings import Settings
from service.storage.embedded import EmbeddedServer
from service.storage.migrate import migrate
from service.storage.pool import open_database

TEMPLATE = f"graftlog_test_{os.getpid()}"
CONTAINER_IMAGE = "postgres:17"
# A file system in memory, and the bytes of it that a run may need.
IN_MEMORY, ROOM = Path("/dev/shm"), 2 * 1024**3
# A test's database need not survive a power cut.
_FAST = {
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "max_wal_size": "128MB",
}


def folder_for_a_server(*, on_disk: bool = False) -> Path:
    """A new folder that the account of the server can reach, which pytest's own is not.

    In memory where there is room, unless `on_disk`: making a database's 300 files on a disk costs
    the system several times what a test does in it.
    """
    roomy = IN_MEMORY.is_dir() and shutil.disk_usage(IN_MEMORY).free > ROOM
    parent = IN_MEMORY if roomy and os.access(IN_MEMORY, os.W_OK) and not on_disk else None
    path = Path(tempfile.mkdtemp(prefix="graftlog-test-", dir=parent))
    path.chmod(0o711)
    return path


class TestServer:
    """A server with a migrated template to make databases from."""

    __test__ = False

    def __init__(self, dsn: str, embedded: EmbeddedServer | None, *, ours: bool = False) -> None:
        """`ours`: made for this run, with `_FAST`."""
        self.dsn = dsn
        """The address of the server's ``postgres`` database, as a user who may make databases."""
        self.embedded = embedded
        self._numbers = itertools.count(1)
        # Copying files takes a fifth of the processor's time, but forces two checkpoints, which
        # are dear where the disk is waited for: as it may be on a server that was named.
        self._strategy = "FILE_COPY" if ours else "WAL_LOG"

    def dsn_of(self, database: str, login: str | None = None) -> str:
        """The address of another database on the server; ``login`` is another ``user:password``."""
        parts = urlsplit(self.dsn)
        netloc = parts.netloc
        if login is not None:
            netloc = f"{login}@{netloc.rpartition('@')[2]}"
        return urlunsplit(parts._replace(netloc=netloc, path=f"/{database}"))

    def settings_for(self, database: str) -> Settings:
        """Settings that name ``database``."""
        return Settings(
            data_dir=Path("/nonexistent"),
            database_url=self.dsn_of(database),
            writer_pool=4,
            reader_pool=4,
            secrets_key=("dGVzdHMga2VlcCBubyBzZWNyZXQgd29ydGggYW55dGg=",),
            webhook_targets="loopback",
        )

    async def make_template(self) -> None:
        """Make the template: an empty database, brought to the newest revision."""
        async with await open_database(self.settings_for(TEMPLATE)) as database:
            await migrate(database)

    async def create(self, template: str | None = TEMPLATE) -> str:
        """The name of a new database: a clone of the template, or with None an empty one."""
        name = f"{TEMPLATE}_{next(self._numbers)}"
        connection = await asyncpg.connect(self.dsn)
        try:
            await connection.execute(
                f'CREATE DATABASE "{name}" TEMPLATE "{template or "template0"}" '
                f"STRATEGY {self._strategy}"
            )
            if template is not None:
                # The owner of the tables must also own the database, as in a real one.
                await connection.execute(f'ALTER DATABASE "{name}" OWNER TO graftlog_owner')
        finally:
            await connection.close()
        return name

    async def drop(self, name: str) -> None:
        """Remove a database, whoever is still connected."""
        connection = await asyncpg.connect(self.dsn)
        try:
            await connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
        finally:
            await connection.close()


def embedded_is_used() -> bool:
    """Whether neither a server is named nor a container wanted."""
    named = os.environ.get("GRAFTLOG_TEST_DATABASE_URL")
    return not named and os.environ.get("GRAFTLOG_TEST_CONTAINERS") != "1"


@contextmanager
def running_server() -> Iterator[TestServer]:
    """The server of this run, with its template, taken down at the end."""
    with ExitStack() as stack:
        url = os.environ.get("GRAFTLOG_TEST_DATABASE_URL")
        if url:
            server = TestServer(url, None)
        elif os.environ.get("GRAFTLOG_TEST_CONTAINERS") == "1":
            server = TestServer(stack.enter_context(_container()), None, ours=True)
        else:
            folder = folder_for_a_server()
            stack.callback(shutil.rmtree, folder, ignore_errors=True)
            embedded = stack.enter_context(EmbeddedServer.start(folder / "data", options=_FAST))
            server = TestServer(embedded.dsn("postgres"), embedded, ours=True)
        asyncio.run(server.make_template())
        try:
            yield server
        finally:
            if server.embedded is None:
                asyncio.run(server.drop(TEMPLATE))


@contextmanager
def _container() -> Iterator[str]:
    from testcontainers.community.postgres import PostgresContainer

    class OnThisHost(PostgresContainer):
        """One that listens on a port of this machine itself, for engines without a bridge."""

        def __init__(self, **options: Any) -> None:
            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                free = int(probe.getsockname()[1])
            super().__init__(CONTAINER_IMAGE, port=free, network_mode="host", **options)
            self.ports = {}
            self.with_env("PGPORT", str(free))

        def get_exposed_port(self, port: int) -> int:
            return port

        def get_container_host_ip(self) -> str:
            return "127.0.0.1"

    options: dict[str, Any] = {"dbname": "postgres", "driver": None}
    if os.environ.get("GRAFTLOG_TEST_CONTAINER_NETWORK") == "host":
        made = OnThisHost(**options)
    else:
        made = PostgresContainer(CONTAINER_IMAGE, **options)
    made.with_command(["postgres", *(f"-c{name}={value}" for name, value in _FAST.items())])
    with made as container:
        yield container.get_connection_url()
