"""The composition: which parts a process is made of, started in order and stopped in reverse."""

import asyncio
import gc
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from typing import Any, Protocol

import structlog
import uvicorn
from litestar import Litestar
from litestar.handlers import HTTPRouteHandler

from service.api import logs, metrics, root
from service.api.cors import Cors
from service.api.entrance import Application
from service.api.guarding import GuardedConnection
from service.api.limits import Limits
from service.api.routes import HANDLERS, option_handlers
from service.api.services import Services, Writer
from service.board.page import answer_unknown
from service.board.routes import HANDLERS as PAGES
from service.clock import Clock, system_clock
from service.feed.following import Follower
from service.feed.newest import Newest
from service.jobs import Jobs
from service.log.append import Appender
from service.log.keys import KeyRing
from service.log.quota import Leases
from service.log.reservations import Unconfirmed
from service.log.sessions import Sessions
from service.log.submission import Answer, Busy, Submission
from service.reminders.mail.mailing import mailing
from service.reminders.shortfalls import RiskLimits
from service.settings import Settings
from service.storage.migrate import current, head, migrate
from service.storage.pool import Database, open_database
from service.views.availability_now import AvailabilityNow
from service.webhooks.deliverer import Deliverer, SystemTimer
from service.webhooks.guard import Guard
from service.webhooks.sealing import Sealer
from service.webhooks.sending import Sender
from service.webhooks.topics import Alerts, Availability

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
                confidence=settings.promise_confidence,
            )
            await appender.start()
            stack.push_async_callback(appender.stop)
            follower = Follower(opened)
            await follower.start()
            stack.push_async_callback(follower.stop)
            services = assemble(settings, opened, appender, clock, follower)
            stack.push_async_callback(services.limits.close)
            for part in background(
                settings, opened, clock, views=run_views, jobs=run_jobs, known=services
            ):
                await part.start()
                stack.push_async_callback(part.stop)
            app.state.services = services
            _log.info("started", host=settings.host, port=settings.port)
            try:
                yield
            finally:
                services.stopping = True
                _log.info("stopping")

    return http(settings, lifespan)


def assemble(
    settings: Settings,
    database: Database,
    appender: Writer,
    clock: Clock,
    follower: Follower | None = None,
) -> Services:
    """What the handlers are handed. A `follower` that was not started knows of nothing new."""
    follower = follower or Follower(database)
    return Services(
        settings=settings,
        database=database,
        appender=appender,
        keys=KeyRing(database.writer, clock=clock),
        sessions=Sessions(database.writer, clock=clock),
        follower=follower,
        newest=Newest(database, follower),
        unconfirmed=Unconfirmed(settings.reservation_limit),
        availability=availability(
            settings,
            database,
            clock,
            # What this process recorded is known before the log's notice of it comes back.
            lambda: max(follower.position, appender.newest),
        ),
        clock=clock,
        limits=Limits(
            Leases(database.writer, settings.rate_limit) if settings.rate_limit else None
        ),
        ready_checks={
            "database": lambda: _database_check(database),
            "writer": lambda: _writer_check(appender),
        },
    )


def http(
    settings: Settings,
    lifespan: Callable[[Litestar], Any] | None = None,
    *,
    handlers: Sequence[HTTPRouteHandler] = (*option_handlers(), *HANDLERS, *PAGES),
) -> Application:
    """The Litestar application; its `state.services` must be set before the first request."""
    return Application(
        list(handlers),
        lifespan=[lifespan] if lifespan is not None else [],
        exception_handlers={Exception: answer_unknown},
        openapi_config=None,
        logging_config=None,
        request_max_body_size=settings.batch_body_limit,
        body_seconds=settings.body_timeout,
        most_at_once=settings.request_limit,
        cors=Cors(settings.cors_origins),
    )


def background(
    settings: Settings,
    database: Database,
    clock: Clock,
    *,
    views: bool,
    jobs: bool,
    known: Services | None = None,
) -> list[Part]:
    """What runs without being asked: views that follow the log, timed jobs, and webhooks.

    `known`: what the process is handed to answer requests, where it does; what it knows of the log
    is then used here too.
    """
    if not (views or jobs):
        return []
    limits = RiskLimits(settings.promise_confidence, settings.shortfall_risk)
    mails = mailing(settings, database, clock)
    parts: list[Part] = [
        Jobs(database, clock, run_views=views, run_jobs=jobs, limits=limits, mailing=mails)
    ]
    if jobs and settings.secrets_key:
        if known is None:
            follower = Follower(database)
            parts.append(follower)
            newest = Newest(database, follower)
            available = availability(settings, database, clock, lambda: follower.position)
        else:
            newest, available = known.newest, known.availability
        parts.append(deliverer(settings, database, clock, newest, available))
    return parts


def availability(
    settings: Settings, database: Database, clock: Clock, newest: Callable[[], int]
) -> AvailabilityNow:
    """What can be reserved, as the process knows it; `newest`: how far it knows the log to be."""
    return AvailabilityNow(database, clock, settings.promise_confidence, newest)


def deliverer(
    settings: Settings,
    database: Database,
    clock: Clock,
    newest: Newest,
    available: AvailabilityNow,
) -> Deliverer:
    """What delivers webhooks."""
    return Deliverer(
        database,
        newest,
        Sealer(settings.secrets_key or ()),
        Sender(Guard(loopback=settings.webhook_targets == "loopback")),
        base=settings.base,
        topics=[Availability(available), Alerts(database, clock)],
        timer=SystemTimer(clock),
    )


async def _database_check(database: Database) -> str | None:
    async with database.reader.acquire() as connection:
        revision = await current(connection)
    return None if revision == head() else f"at revision {revision}"


async def _writer_check(appender: Writer) -> str | None:
    return None if appender.running else "not running"


async def serve(
    app: Application, settings: Settings, *, listening: Callable[[], None] = lambda: None
) -> None:
    """Answer requests until SIGINT or SIGTERM; those at hand are finished first.

    `listening` is called once it takes requests.
    """
    logs.configure(settings.log_level, settings.log_format)
    server = _server(app, settings)
    serving = asyncio.create_task(server.serve())
    while not (server.started or serving.done()):
        await asyncio.sleep(0.01)
    if server.started:
        listening()
    await serving


def _server(app: Application, settings: Settings) -> uvicorn.Server:
    # A group of a few hundred events makes tens of thousands of objects that live together and go
    # together; at Python's usual thresholds the collector walks all of them several times a group.
    gc.freeze()
    gc.set_threshold(100_000, 20, 50)
    return uvicorn.Server(_config(app, settings.host, settings.port))


def _config(app: Application, host: str, port: int) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        host=host,
        port=port,
        loop="auto",
        http=GuardedConnection,
        ws="none",
        lifespan="on",
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=10,
    )


async def run_background(
    settings: Settings,
    database: Database,
    stop: asyncio.Event,
    *,
    clock: Clock = system_clock,
) -> None:
    """The `work` process: views and jobs on an open, migrated database, until `stop` is set.

    With `metrics_port` it says over HTTP how it is, and nothing else.
    """
    async with AsyncExitStack() as stack:
        for part in background(settings, database, clock, views=True, jobs=True):
            await part.start()
            stack.push_async_callback(part.stop)
        # After they have begun: a view without a figure yet would look like one that is not there.
        if settings.metrics_port is not None:
            await stack.enter_async_context(_watched(settings, database, clock))
        await stop.wait()


class _NoWriter:
    """The writer of a process that records nothing."""

    running = False
    newest = 0

    async def append(self, submission: Submission) -> Answer:
        raise Busy


class _Beside(uvicorn.Server):
    """A server inside a process that sees to signals itself."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


@asynccontextmanager
async def _watched(settings: Settings, database: Database, clock: Clock) -> AsyncIterator[None]:
    """/livez, /readyz and /metrics for a process that answers nothing else."""
    assert settings.metrics_port is not None, "asked for"
    app = http(settings, handlers=[root.get_livez, root.get_readyz, metrics.get_metrics])
    services = assemble(settings, database, _NoWriter(), clock)
    del services.ready_checks["writer"]
    app.state.services = services
    server = _Beside(_config(app, settings.host, settings.metrics_port))
    task = asyncio.create_task(server.serve(), name="watched")
    try:
        while not (server.started or task.done()):
            await asyncio.sleep(0.01)
        yield
    finally:
        server.should_exit = True
        await task
