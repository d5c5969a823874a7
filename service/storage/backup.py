"""A copy of the whole database in one file, and a database made from it, by PostgreSQL's own tools.

The copy is of one moment and keeps nobody waiting. It holds everything: the log, the books, the
views, keys (their hashes), people's details; so it is kept as the database itself is kept.
"""

import asyncio
import contextlib
import os
import re
import shutil
import tempfile
from pathlib import Path
from urllib.parse import unquote, urlsplit, urlunsplit

from service.storage.pool import Database
from service.storage.roles import DatabaseError, Roles, connect
from service.storage.sql import load

SQL = load(__package__, "backup.sql")


async def back_up(database: Database, file: Path) -> int:
    """Write a copy of the database to ``file``, readable by its owner alone.

    Answers the log's position that it holds at least. Raises ``DatabaseError`` when the file is
    there already or the tool fails; then no file is left.
    """
    part = _part_of(file)
    try:
        major, all_rows = await _server(database)
        position: int = await database.writer.fetchval(SQL.position)
        words = ["--format=custom", f"--file={part}"]
        settings = {}
        if not all_rows:
            # The owner is behind the walls too, unless it says that it looks at every site.
            words += [f"--role={database.roles.owner}", "--enable-row-security"]
            settings = {"PGOPTIONS": "-c graftlog.sites=*"}
        await _run("pg_dump", major, database.dsn, words, settings)
        _put_in_place(part, file)
    finally:
        _remove(part)
    return position


def _part_of(file: Path) -> Path:
    """A new file beside ``file`` for a copy that is not whole yet."""
    if file.exists():
        raise DatabaseError(f"{file} is there already; name another file")
    try:
        descriptor, name = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
    except OSError as error:
        raise DatabaseError(f"cannot write in {file.parent}: {error.strerror}") from error
    os.close(descriptor)
    return Path(name)


def _remove(part: Path) -> None:
    part.unlink(missing_ok=True)


def _put_in_place(part: Path, file: Path) -> None:
    part.chmod(0o600)
    try:
        # A link, since renaming would go over a file that came to be there meanwhile.
        os.link(part, file)
    except FileExistsError as error:
        raise DatabaseError(f"{file} is there already; name another file") from error


async def restore(database: Database, file: Path) -> None:
    """Fill the empty database from ``file``: all of it, or nothing.

    Raises ``DatabaseError`` when the database has tables already, or the tool fails.
    """
    major, _ = await _server(database)
    if await database.writer.fetchval(SQL.tables):
        raise DatabaseError(
            "the database is not empty, and a copy is only put into an empty one: set "
            "GRAFTLOG_DATA_DIR to a new folder, or GRAFTLOG_DATABASE_URL to a new database"
        )
    _see_that_it_is_there(file)
    words = ["--single-transaction", "--exit-on-error", "--no-owner"]
    words += [f"--role={database.roles.owner}", str(file)]
    try:
        await _run("pg_restore", major, database.dsn, words, {})
    except DatabaseError as error:
        if "does not appear to be a valid" in str(error):
            raise DatabaseError(
                f"{file} is no copy that `graftlog backup` wrote (an exported log is taken back by "
                "`graftlog import`)"
            ) from error
        named = _foreign_role(str(error), database.roles)
        if named is None:
            raise
        raise DatabaseError(
            f"the copy is of a database whose roles begin with {named}: set GRAFTLOG_ROLE_PREFIX "
            f"to {named} for the restored one"
        ) from error


def _see_that_it_is_there(file: Path) -> None:
    if not file.is_file():
        raise DatabaseError(f"there is no file {file}")


def _foreign_role(message: str, roles: Roles) -> str | None:
    """The role prefix of the copy, when it is not ours."""
    found = re.search(r'role "([^"]+)_(owner|writer|reader)" does not exist', message)
    return found[1] if found and f"{found[1]}_{found[2]}" not in roles.all() else None


async def _server(database: Database) -> tuple[int, bool]:
    connection = await connect(database.dsn)
    try:
        row = await connection.fetchrow(SQL.server)
    finally:
        await connection.close()
    assert row is not None, "pg_roles always has the session's user"
    return row["major"], row["all_rows"]


async def _run(tool: str, major: int, dsn: str, words: list[str], settings: dict[str, str]) -> None:
    """Run one of PostgreSQL's tools on the database. Raises ``DatabaseError`` with what it said."""
    address, password = _without_password(dsn)
    environment = {"PATH": os.environ.get("PATH", os.defpath), "LC_ALL": "C", **settings}
    if password is not None:
        # Never among the words: those are shown to everybody on the machine.
        environment["PGPASSWORD"] = password
    process = await asyncio.create_subprocess_exec(
        await _program(tool, major),
        f"--dbname={address}",
        "--no-password",
        *words,
        env=environment,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.DEVNULL,
        stderr=asyncio.subprocess.PIPE,
    )
    try:
        _, said = await process.communicate()
    finally:
        if process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                process.terminate()
            await process.wait()
    if process.returncode != 0:
        message = said.decode(errors="replace").strip()[-2000:]
        raise DatabaseError(f"{tool} failed: {message or f'code {process.returncode}'}")


def _without_password(dsn: str) -> tuple[str, str | None]:
    parts = urlsplit(dsn)
    if parts.password is None:
        return dsn, None
    user, _, where = parts.netloc.rpartition("@")
    netloc = f"{user.partition(':')[0]}@{where}"
    return urlunsplit(parts._replace(netloc=netloc)), unquote(parts.password)


async def _program(tool: str, major: int) -> str:
    """The tool of the server's own version where the machine has it, else the one shipped along.

    A newer tool reads an older server, but what it writes may ask for more than that one knows.
    """
    found = shutil.which(tool)
    if found is not None and await _major_of(found) == major:
        return found
    from service.storage.embedded.binaries import find_binaries
    from service.storage.embedded.errors import EmbeddedServerError

    try:
        return str(find_binaries().bin / tool)
    except EmbeddedServerError as error:
        if found is not None:
            return found
        raise DatabaseError(
            f"{tool} {major} is needed, and this machine has none: install PostgreSQL's client "
            "programs"
        ) from error


async def _major_of(program: str) -> int | None:
    process = await asyncio.create_subprocess_exec(
        program, "--version", stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.DEVNULL
    )
    said, _ = await process.communicate()
    match = re.search(rb"\) (\d+)", said)
    return int(match[1]) if match else None
