"""The three roles that the service uses in the database, and how they come to be.

``owner`` owns the tables and runs migrations. ``writer`` appends to the log and keeps the books
and views; the log itself it cannot change. ``reader`` answers questions. None is a superuser, and
a session that turns out to be one is refused.
"""

import re
from dataclasses import dataclass
from typing import Literal
from urllib.parse import urlsplit, urlunsplit

import asyncpg

from service.settings import masked_url
from service.storage.sql import load

SQL = load(__package__, "roles.sql")
OLDEST_VERSION = 15

Part = Literal["owner", "writer", "reader"]


class DatabaseError(Exception):
    """The database cannot be used as it is; the message says what would help."""


@dataclass(frozen=True)
class Roles:
    """The names of the three roles."""

    owner: str = "graftlog_owner"
    writer: str = "graftlog_writer"
    reader: str = "graftlog_reader"

    @classmethod
    def of(cls, prefix: str) -> "Roles":
        """The roles named after the setting ``GRAFTLOG_ROLE_PREFIX``."""
        return cls(f"{prefix}_owner", f"{prefix}_writer", f"{prefix}_reader")

    def name(self, part: Part) -> str:
        """The name of one of them."""
        return {"owner": self.owner, "writer": self.writer, "reader": self.reader}[part]

    def all(self) -> list[str]:
        """All three names."""
        return [self.owner, self.writer, self.reader]

    def rename(self, sql: str) -> str:
        """``sql`` written for the default names, with these names in their place."""
        plain = Roles()
        for part in ("owner", "writer", "reader"):
            sql = re.sub(rf"\b{plain.name(part)}\b", self.name(part), sql)
        return sql


async def connect(
    dsn: str, server_settings: dict[str, str] | None = None
) -> "asyncpg.Connection[asyncpg.Record]":
    """``asyncpg.connect`` with errors that name the address (password masked) and the remedy."""
    try:
        return await asyncpg.connect(dsn, server_settings=server_settings, timeout=10.0)
    except asyncpg.InvalidCatalogNameError:
        raise
    except (OSError, TimeoutError, asyncpg.PostgresError, asyncpg.InterfaceError) as error:
        raise DatabaseError(f"cannot connect to {masked_url(dsn)}: {error}") from error


async def ensure_database(dsn: str, roles: Roles, *, login: bool = False) -> None:
    """See that the database of ``dsn`` and the roles exist and fit, as far as its user may.

    The user may be a superuser, may have CREATEROLE (and CREATEDB, where the database is to be
    made too), or may simply be a member of all three roles made beforehand. ``login`` lets the
    roles log in themselves. Raises ``DatabaseError`` with the statements that an administrator
    would have to run.
    """
    try:
        connection = await connect(dsn)
    except asyncpg.InvalidCatalogNameError:
        await _create_database(dsn, roles, login=login)
        connection = await connect(dsn)
    try:
        await ensure_roles(connection, roles, login=login)
        if not await connection.fetchval(SQL.owner_may_create, roles.owner):
            await _granting(connection, await connection.fetchval(SQL.grant_schema, roles.owner))
    finally:
        await connection.close()


async def ensure_roles(
    connection: "asyncpg.Connection[asyncpg.Record]", roles: Roles, *, login: bool = False
) -> None:
    """Make the roles that are missing and join them, as far as the connected user may.

    Raises ``DatabaseError``: server older than 15 or not UTF-8, role missing or too strong.
    """
    server = await connection.fetchrow(SQL.server)
    assert server is not None, "pg_roles always has the current user"
    if server["version"] < OLDEST_VERSION * 10_000:
        raise DatabaseError(
            f"the server is PostgreSQL {server['version'] // 10_000}; "
            f"{OLDEST_VERSION} or newer is needed"
        )
    if server["encoding"] != "UTF8":
        raise DatabaseError(f"the database's encoding is {server['encoding']}; UTF8 is needed")
    present = {row["name"]: row for row in await connection.fetch(SQL.present, roles.all())}
    for name in roles.all():
        if name not in present:
            await _granting(connection, await connection.fetchval(SQL.create_role, name, login))
        elif present[name]["too_strong"]:
            raise DatabaseError(
                f"the role {name} is superuser or may pass over row-level security: "
                f"ALTER ROLE {name} NOSUPERUSER NOBYPASSRLS NOCREATEROLE"
            )
    privilege = "SET" if server["version"] >= 160_000 else "MEMBER"
    for row in await connection.fetch(SQL.membership, roles.all(), privilege):
        if not row["member"]:
            await _granting(connection, await connection.fetchval(SQL.grant_role, row["name"]))


async def become(connection: "asyncpg.Connection[asyncpg.Record]", role: str) -> None:
    """Run everything that follows on ``connection`` as ``role``; it outlasts RESET ALL.

    Raises ``DatabaseError`` when that fails, or when the role could pass over the log's guards.
    """
    try:
        await connection.execute(await connection.fetchval(SQL.become, role))
    except asyncpg.PostgresError as error:
        raise DatabaseError(f"cannot become the role {role}: {error}") from error
    who = await connection.fetchrow(SQL.who)
    if who is None or who["name"] != role or who["too_strong"]:
        raise DatabaseError(f"refusing to work as {who and who['name']}: it could change the log")


async def _granting(connection: "asyncpg.Connection[asyncpg.Record]", statement: str) -> None:
    try:
        await connection.execute(statement)
    except (asyncpg.DuplicateObjectError, asyncpg.UniqueViolationError):
        pass  # another process was quicker
    except asyncpg.InsufficientPrivilegeError as error:
        raise DatabaseError(
            f"the database user may not set up what is missing ({error}); "
            f"have an administrator run: {statement}"
        ) from error


async def _create_database(dsn: str, roles: Roles, *, login: bool) -> None:
    """Make the database of ``dsn``, connected to the server's ``postgres`` database."""
    parts = urlsplit(dsn)
    name = parts.path.strip("/")
    try:
        connection = await connect(urlunsplit(parts._replace(path="/postgres")))
    except asyncpg.InvalidCatalogNameError as error:
        raise DatabaseError(f"the database {name} does not exist: create it first") from error
    try:
        await ensure_roles(connection, roles, login=login)
        if await connection.fetchval(SQL.database_exists, name):
            return
        statement = await connection.fetchval(SQL.create_database, name, roles.owner)
        try:
            await connection.execute(statement)
        except asyncpg.DuplicateDatabaseError:
            pass
        except asyncpg.PostgresError as error:
            raise DatabaseError(
                f"the database {name} does not exist and cannot be made ({error}); "
                f"have an administrator run: {statement}"
            ) from error
    finally:
        await connection.close()
