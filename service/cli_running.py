"""How a command runs: one loop, signals that end it in order, one line for what went wrong."""

import asyncio
import errno
import select
import signal
import socket
import sys
from collections.abc import Callable, Coroutine, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import asyncpg
import click

from service.api import logs
from service.settings import Settings, SettingsError, read_settings
from service.storage.embedded import EmbeddedServerError
from service.storage.pool import Connection
from service.storage.roles import DatabaseError

T = TypeVar("T")
_SIGNALS = (signal.SIGINT, signal.SIGTERM)


def settings_or_exit() -> Settings:
    """The settings from the environment; mistakes in them end the command with a line each."""
    try:
        settings = read_settings()
    except SettingsError as error:
        raise click.ClickException(str(error)) from error
    logs.configure(settings.log_level, settings.log_format)
    return settings


class Ending:
    """What SIGINT and SIGTERM do: cancel the command, or, once `gentle`, only be noted.

    While the HTTP server runs it sees to signals itself, finishes the requests at hand and raises
    the signal again when it is done; then there is nothing left to cancel.
    """

    def __init__(self) -> None:
        self.gentle = False
        self.told = asyncio.Event()
        self._task = asyncio.current_task()

    def tell(self) -> None:
        """A signal came."""
        self.told.set()
        if not self.gentle and self._task is not None:
            self._task.cancel()


def run(main: Callable[[Ending], Coroutine[Any, Any, T]]) -> T | None:
    """Run a command's coroutine to its end; None when a signal ended it."""

    async def wrapped() -> T | None:
        ending = Ending()
        loop = asyncio.get_running_loop()
        for number in _SIGNALS:
            loop.add_signal_handler(number, ending.tell)
        try:
            return await main(ending)
        except asyncio.CancelledError:
            if ending.told.is_set():
                return None
            raise
        finally:
            for number in _SIGNALS:
                loop.remove_signal_handler(number)

    with one_line():
        if sys.platform == "win32":
            return asyncio.run(wrapped())
        import uvloop

        return uvloop.run(wrapped())


def something_there(settings: Settings) -> None:
    """For commands that only look: a data folder without a database ends them, none is made."""
    if settings.database_url is not None:
        return
    try:
        there = (Path(settings.data_dir) / "postgres" / "cluster" / "PG_VERSION").exists()
    except PermissionError:
        # Another account's folder: opening it says so.
        there = True
    if not there:
        raise click.ClickException(
            f"there is nothing in {settings.data_dir} yet; `graftlog serve` begins a database "
            "there (or set GRAFTLOG_DATA_DIR to the folder that is meant)"
        )


async def tables_there(connection: Connection) -> None:
    """The same for a database without tables."""
    from service.storage.migrate import current

    if await current(connection) is None:
        raise click.ClickException(
            "there are no tables in the database yet; `graftlog migrate` makes them"
        )


def sites_named(text: str) -> frozenset[str]:
    """Site codes with commas between."""
    return frozenset(part.strip() for part in text.split(",") if part.strip())


async def sites_there(connection: Connection, sites: frozenset[str]) -> None:
    """Sites that the catalogue does not have yet end the command."""
    from service.log.keys import unknown_sites

    unknown = await unknown_sites(connection, sites)
    if unknown:
        raise click.ClickException(
            f"the catalogue has no site {', '.join(unknown)}; give --site-to-come to go on before "
            "it is entered"
        )


def _nobody_reads() -> bool:
    """Whether standard output is a pipe whose reader has gone, as `head` does."""
    poll = select.poll()
    poll.register(sys.stdout.fileno(), select.POLLOUT)
    return any(told & (select.POLLERR | select.POLLHUP) for _, told in poll.poll(0))


@contextmanager
def one_line() -> Iterator[None]:
    """Turn what a person can put right into one clear line and exit code 1."""
    try:
        yield
    except (DatabaseError, EmbeddedServerError) as error:
        raise click.ClickException(str(error)) from error
    except (asyncpg.PostgresError, asyncpg.InterfaceError) as error:
        raise click.ClickException(f"the database says: {error}") from error
    except ConnectionError as error:
        if isinstance(error, BrokenPipeError) and sys.platform != "win32" and _nobody_reads():
            # click ends quietly on it.
            raise
        raise click.ClickException(f"the connection was lost: {error}") from error


def free_port(host: str, port: int, variable: str = "GRAFTLOG_PORT") -> int:
    """The port to listen on, with 0 made a free one; ends the command when it is taken."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        family, kind, protocol, _, address = found[0]
        with socket.socket(family, kind, protocol) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind(address)
            return int(probe.getsockname()[1])
    except socket.gaierror as error:
        raise click.ClickException(
            f"GRAFTLOG_HOST={host} is no address of this machine: {error.strerror}"
        ) from error
    except OSError as error:
        where = f"{host}:{port}"
        if error.errno == errno.EADDRINUSE:
            raise click.ClickException(
                f"{where} is in use by another program: end it, or set {variable} to another "
                "port" + (" (0 takes any free one)" if variable == "GRAFTLOG_PORT" else "")
            ) from error
        raise click.ClickException(f"cannot listen on {where}: {error.strerror}") from error
