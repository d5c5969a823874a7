"""Connections to the database: one pool to write, one to read, each as a role of its own.

A given server (``GRAFTLOG_DATABASE_URL``) is entered as the URL's user, and each session becomes
its role by ``SET ROLE``, which asyncpg's ``RESET ALL`` between uses leaves alone. The embedded
server is entered as the role itself. Statement caches stay on: behind a pooling proxy use its
session mode, which LISTEN and advisory locks need anyway.
"""

import asyncio
import sys
from dataclasses import dataclass, field
from types import TracebackType
from typing import TYPE_CHECKING, Any, TypeAlias

import asyncpg
import msgspec

from service.settings import Settings
from service.storage.roles import DatabaseError, Part, Roles, become, connect, ensure_database

if TYPE_CHECKING:
    from service.storage.embedded import EmbeddedServer

    Pool: TypeAlias = asyncpg.Pool[asyncpg.Record]
    Connection: TypeAlias = (
        asyncpg.Connection[asyncpg.Record] | asyncpg.pool.PoolConnectionProxy[asyncpg.Record]
    )
    OwnConnection: TypeAlias = asyncpg.Connection[asyncpg.Record]
else:  # the classes take no parameters at run time
    Pool = Connection = OwnConnection = Any

DATABASE_NAME = "graftlog"
_JSONB_VERSION = b"\x01"


@dataclass
class Database:
    """The open database. Use it as an async context manager, or call ``close``."""

    writer: Pool
    reader: Pool
    """Sees no row of any site by itself: ask through ``service.storage.walls.seeing``."""
    roles: Roles
    dsn: str
    """The address as given, or the embedded server's as its superuser: holds a password."""
    server: "EmbeddedServer | None" = None
    own_server: bool = False
    query_timeout: int = 30
    _closed: bool = field(default=False, repr=False)

    def dsn_for(self, part: Part) -> str:
        """The address by which ``part`` logs in."""
        return _dsn_for(part, self.dsn, self.roles, self.server)

    @property
    def listen_dsn(self) -> str:
        """The address for a listening connection; ``connect`` makes one."""
        return self.dsn_for("writer")

    async def connect(self, part: Part = "writer") -> OwnConnection:
        """A connection of its own, outside the pools, as ``part``: for LISTEN and migrations.

        The owner sees rows of every site, which row-level security asks to be said; the reader
        sees none. The caller closes it. Raises ``DatabaseError``.
        """
        session = _session(f"graftlog {part}")
        if part == "owner":
            session["graftlog.sites"] = "*"
        connection = await connect(self.dsn_for(part), server_settings=session)
        try:
            await prepare_connection(connection, self.roles.name(part))
        except BaseException:
            connection.terminate()
            raise
        return connection

    async def close(self, timeout: float = 10.0) -> None:
        """Close the pools, cutting off what is still busy after ``timeout`` seconds."""
        if self._closed:
            return
        self._closed = True
        for pool in (self.writer, self.reader):
            try:
                await asyncio.wait_for(pool.close(), timeout)
            except (TimeoutError, OSError, asyncpg.PostgresError, asyncpg.InterfaceError):
                pool.terminate()
        if self.server is not None and self.own_server:
            await asyncio.to_thread(self.server.stop)

    async def __aenter__(self) -> "Database":
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        await self.close()


async def open_database(settings: Settings, *, server: "EmbeddedServer | None" = None) -> Database:
    """Open the database that ``settings`` name, making roles and database where they are missing.

    Without ``database_url`` the embedded server on ``data_dir`` is started or shared, and stopped
    by ``Database.close``; one passed as ``server`` is used and left running. Does not migrate:
    see ``service.storage.migrate``. Raises ``DatabaseError`` or ``EmbeddedServerError``.
    """
    own_server = False
    if settings.database_url is None and server is None:
        server = await _start_embedded(settings)
        own_server = True
    try:
        return await _open(settings, server, own_server=own_server)
    except BaseException:
        if own_server and server is not None:
            await asyncio.to_thread(server.stop)
        raise


async def _start_embedded(settings: Settings) -> "EmbeddedServer":
    if sys.platform == "win32":
        raise DatabaseError(
            "there is no embedded database on Windows: set GRAFTLOG_DATABASE_URL to a server"
        )
    # Imported here: it needs what only Unix has.
    from service.storage.embedded import EmbeddedServer

    return await asyncio.to_thread(EmbeddedServer.start, settings.data_dir)


async def _open(
    settings: Settings, server: "EmbeddedServer | None", *, own_server: bool
) -> Database:
    roles = Roles.of(settings.role_prefix)
    if settings.database_url is not None:
        dsn, server = settings.database_url, None
    else:
        assert server is not None, "one of the two is given"
        dsn = server.dsn(DATABASE_NAME)
    await ensure_database(dsn, roles, login=server is not None)
    writer = _pool(
        _dsn_for("writer", dsn, roles, server),
        roles.writer,
        settings.writer_pool,
        _session("graftlog writer", idle_in_transaction_session_timeout="60s"),
    )
    reader = _pool(
        _dsn_for("reader", dsn, roles, server),
        roles.reader,
        settings.reader_pool,
        _session(
            "graftlog reader",
            default_transaction_read_only="on",
            statement_timeout=f"{settings.query_timeout}s",
            idle_in_transaction_session_timeout="60s",
        ),
    )
    try:
        await writer
        await reader
    except BaseException:
        writer.terminate()
        reader.terminate()
        raise
    return Database(
        writer, reader, roles, dsn, server, own_server, query_timeout=settings.query_timeout
    )


def _dsn_for(part: Part, dsn: str, roles: Roles, server: "EmbeddedServer | None") -> str:
    return dsn if server is None else server.dsn(DATABASE_NAME, roles.name(part))


def _session(name: str, **more: str) -> dict[str, str]:
    return {"application_name": name, "timezone": "UTC", "jit": "off", **more}


def _pool(dsn: str, role: str, size: int, session: dict[str, str]) -> Pool:
    async def init(connection: OwnConnection) -> None:
        await prepare_connection(connection, role)

    return asyncpg.create_pool(
        dsn, min_size=1, max_size=size, init=init, server_settings=session, timeout=10.0
    )


async def prepare_connection(connection: OwnConnection, role: str) -> None:
    """Make ``connection`` one of ours: running as ``role``, JSON as Python objects."""
    await become(connection, role)
    await register_json(connection)


async def register_json(connection: OwnConnection) -> None:
    """Read and write ``jsonb`` and ``json`` columns as Python objects, through msgspec.

    What msgspec encodes may be given: structs, dates, ``msgspec.Raw`` for text that is JSON
    already. Binary, since COPY knows no other format: a jsonb value is its text behind a version.
    """
    await connection.set_type_codec(
        "jsonb",
        schema="pg_catalog",
        format="binary",
        encoder=_encode_jsonb,
        decoder=_decode_jsonb,
    )
    await connection.set_type_codec(
        "json",
        schema="pg_catalog",
        format="binary",
        encoder=msgspec.json.encode,
        decoder=msgspec.json.decode,
    )


def _encode_jsonb(value: object) -> bytes:
    return _JSONB_VERSION + msgspec.json.encode(value)


def _decode_jsonb(data: bytes) -> Any:
    return msgspec.json.decode(memoryview(data)[1:])
