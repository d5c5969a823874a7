"""The composition: which parts a process is made of, started in order and stopped in reverse."""

import asyncio
import gc
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from typing import Any, Protocol

import structlog
import uvicorn
from litestar import Litestar

from service.api import logs
from service.api.entrance import Application
from service.api.problems import answer_problem
from service.api.routes import HANDLERS, option_handlers
from service.api.services import Services, Writer
from service.clock import Clock, system_clock
from service.jobs import Jobs
from service.log.append import Appender
from service.log.keys import KeyRing
from service.settings import Settings
from service.storage.migrate import current, head, migrate
from service.storage.pool import Database, open_database

_log = structlog.get_logger("service")


class Part(Protocol):
    """Something that runs beside the requests."""

    async def start(self) -> None: ...

    async def stop(self) -> None: ...


def build(
    settings: Settings,
    *,
    run_views: bool = True,
    run_jobs: bool = True,
    clock: Clock = system_clock,
    database: Database | None = None,
) -> Application:
    """The HTTP service. `run_views` and `run_jobs`: this process does the background work too.

    A `database` handed in is used and left open; else the one that the settings name is opened
    (the embedded server is started for it) and closed at the end. Tables are brought up to date
    under a lock before the first request.
    """

    @asynccontextmanager
    async def lifespan(app: Litestar) -> AsyncIterator[None]:
        async with AsyncExitStack() as stack:
            opened = database
            if opened is None:
                opened = await open_database(settings)
                stack.push_async_callback(opened.close)
            await migrate(opened)
            appender = Appender(
                opened,
                clock=clock,
                queue_limit=settings.queue_limit,
                group_limit=settings.group_limit,
            )
            await appender.start()
            stack.push_async_callback(appender.stop)
            for part in background(opened, clock, run_views=run_views, run_jobs=run_jobs):
                await part.start()
                stack.push_async_callback(part.stop)
            services = assemble(settings, opened, appender, clock)
            app.state.services = services
            _log.info("started", host=settings.host, port=settings.port)
            try:
                yield
            finally:
                services.stopping = True
                _log.info("stopping")

    return http(settings, lifespan)


def assemble(settings: Settings, database: Database, appender: Writer, clock: Clock) -> Services:
    """What the handlers are handed."""
    return Services(
        settings=settings,
        database=database,
        appender=appender,
        keys=KeyRing(database.writer, clock=clock),
        clock=clock,
        ready_checks={
            "database": lambda: _database_check(database),
            "writer": lambda: _writer_check(appender),
        },
    )


def http(settings: Settings, lifespan: Callable[[Litestar], Any] | None = None) -> Application:
    """The Litestar application; its `state.services` must be set before the first request."""
    return Application(
        [*option_handlers(), *HANDLERS],
        lifespan=[lifespan] if lifespan is not None else [],
        exception_handlers={Exception: answer_problem},
        openapi_config=None,
        logging_config=None,
        request_max_body_size=settings.batch_body_limit,
    )


def background(database: Database, clock: Clock, *, run_views: bool, run_jobs: bool) -> list[Part]:
    """What runs without being asked: views that follow the log, and timed jobs."""
    if not (run_views or run_jobs):
        return []
    return [Jobs(database, clock, run_views=run_views, run_jobs=run_jobs)]


async def _database_check(database: Database) -> str | None:
    async with database.reader.acquire() as connection:
        revision = await current(connection)
    return None if revision == head() else f"at revision {revision}"


async def _writer_check(appender: Writer) -> str | None:
    return None if appender.running else "not running"


def serve(app: Application, settings: Settings) -> None:
    """Answer requests until SIGINT or SIGTERM; requests at hand are finished first."""
    logs.configure(settings.log_level, settings.log_format)
    _server(app, settings).run()


async def serve_async(app: Application, settings: Settings) -> None:
    """The same in a running event loop."""
    logs.configure(settings.log_level, settings.log_format)
    await _server(app, settings).serve()


def _server(app: Application, settings: Settings) -> uvicorn.Server:
    # A group of a few hundred events makes tens of thousands of objects that live together and go
    # together; at Python's usual thresholds the collector walks all of them several times a group.
    gc.freeze()
    gc.set_threshold(100_000, 20, 50)
    config = uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        loop="auto",
        http="httptools",
        ws="none",
        lifespan="on",
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=10,
    )
    return uvicorn.Server(config)


async def run_background(
    database: Database, stop: asyncio.Event, *, clock: Clock = system_clock
) -> None:
    """The `work` process: views and jobs without HTTP on an open, migrated database, until `stop`
    is set."""
    async with AsyncExitStack() as stack:
        for part in background(database, clock, run_views=True, run_jobs=True):
            await part.start()
            stack.push_async_callback(part.stop)
        await stop.wait()
