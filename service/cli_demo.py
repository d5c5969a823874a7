"""`graftlog demo`: the whole service with an invented nursery, and a tour of it."""

import asyncio
import contextlib
import fcntl
import json
import os
import shutil
from collections.abc import AsyncIterator, Awaitable, Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any, Literal, NamedTuple

import click
import httpx
import msgspec

from service.cli_people import OPERATOR, let_in, link_of
from service.cli_running import Ending
from service.cli_tour import print_tour
from service.clock import system_clock
from service.forecast.refresh import ForecastError, refresh
from service.log import contacts
from service.log.contacts import ContactDetails
from service.log.keys import create_key, revoke_key
from service.log.people import Choices
from service.log.rights import Principal
from service.settings import Settings
from service.storage.embedded import EmbeddedServerError
from service.storage.migrate import migrate
from service.storage.pool import Database, open_database
from service.webhooks.sealing import new_key

_FOLDER, _NOTE, _TRUTH, _KEY = "demo", "demo.json", "truth.json", "secrets.key"
_VIEWS_SECONDS = 120.0
# Who can look at the demo's pages: reference, name, role, sites, language.
_CREW: tuple[tuple[str, str, str, str, Literal["en", "es"]], ...] = (
    ("p-90", "Nora Felt", "site-manager", "*", "en"),
    ("p-01", "Inés Robledo", "recorder", "CORIN", "es"),
)
_LANGUAGES = {"en": "English", "es": "Spanish"}
_OPERATOR = Principal(OPERATOR, frozenset(), frozenset())


def demo_settings(settings: Settings) -> Settings:
    """The settings for the demo: a folder of its own, never a given database.

    With a folder inside the data folder, `--reset` can't meet anybody's real books.
    """
    # A person reads the terminal; the JSON of each request would drown the tour.
    level = settings.log_level if os.environ.get("GRAFTLOG_LOG_LEVEL") else "warning"
    form = settings.log_format if os.environ.get("GRAFTLOG_LOG_FORMAT") else "text"
    return msgspec.structs.replace(
        settings,
        data_dir=settings.data_dir / _FOLDER,
        database_url=None,
        log_level=level,
        log_format=form,
        # A receiver to try webhooks with runs most often on the same machine.
        webhook_targets="loopback",
    )


def with_secrets_key(settings: Settings) -> Settings:
    """The same with a key for webhooks' secrets: a given one, or the demo's own in its folder."""
    if settings.secrets_key:
        return settings
    settings.data_dir.mkdir(parents=True, exist_ok=True)
    file = settings.data_dir / _KEY
    if not file.exists():
        # Whole or not at all: half a key would be none for ever.
        part = file.with_suffix(".part")
        part.unlink(missing_ok=True)
        made = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(made, "w") as opened:
            opened.write(new_key())
        part.replace(file)
    return msgspec.structs.replace(settings, secrets_key=(file.read_text(),))


def clear(settings: Settings) -> None:
    """Remove the demo's folder; refuses while a demo runs on it."""
    from service.storage.embedded.cluster import Cluster

    folder = settings.data_dir
    if not folder.exists():
        click.echo(f"There is no demo data in {folder}.")
        return
    with _alone_in(folder):
        if (folder / "postgres").is_dir():
            try:
                # After a kill -9 the database server may still be there.
                Cluster.prepare(folder).stop_orphan()
            except EmbeddedServerError as error:
                raise click.ClickException(str(error)) from error
        try:
            shutil.rmtree(folder)
        except OSError as error:
            raise click.ClickException(f"cannot remove {folder}: {error.strerror}") from error
    click.echo(f"Cleared the demo's data in {folder}.")


@contextlib.contextmanager
def _alone_in(folder: Path) -> Any:
    """Hold the lock of whoever runs the database on the folder."""
    try:
        lock = os.open(folder / "owner.lock", os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW, 0o600)
    except OSError as error:
        raise click.ClickException(f"cannot enter {folder}: {error.strerror}") from error
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    except BlockingIOError as error:
        raise click.ClickException(f"a demo runs on {folder}: end it first (Ctrl-C)") from error
    finally:
        os.close(lock)


class Size(NamedTuple):
    """How much is invented: lots grafted in so many years."""

    lots: int
    years: float


async def run_demo(settings: Settings, ending: Ending, *, leave: bool, size: Size) -> None:
    """Start everything, load the story if the log is empty, print the tour, stay until a signal.

    The views and jobs begin once all is loaded: they take many events at once more quickly than
    few at a time, and leave the processor to the load meanwhile.
    """
    from service import application
    from service.api import logs

    logs.configure(settings.log_level, settings.log_format)
    click.echo(f"The demo's data is in {settings.data_dir}; starting its database ...")
    async with await open_database(settings) as database, contextlib.AsyncExitStack() as stack:
        settings = with_secrets_key(settings)
        await migrate(database)
        app = application.build(settings, run_views=False, run_jobs=False, database=database)

        async def follow() -> None:
            for part in application.background(
                settings, database, system_clock, views=True, jobs=True
            ):
                await part.start()
                stack.push_async_callback(part.stop)

        ending.gentle = True
        serving = asyncio.create_task(application.serve(app, settings))
        touring = asyncio.create_task(_load_and_tour(settings, database, follow, size, leave=leave))
        try:
            await asyncio.wait({serving, touring}, return_when=asyncio.FIRST_COMPLETED)
            if touring.done():
                touring.result()
                if not leave:
                    await serving
        finally:
            touring.cancel()
            await _end(serving)
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await touring
    click.echo("The demo has ended; its data stays. `graftlog demo` takes it up again.")


async def _end(serving: "asyncio.Task[None]") -> None:
    """Let the HTTP server finish by the way it knows, a signal to itself."""
    if not serving.done():
        import signal

        signal.raise_signal(signal.SIGTERM)
    await asyncio.wait({serving})
    if not serving.cancelled() and serving.exception() is not None:
        raise click.ClickException(f"the service ended: {serving.exception()}")


async def _load_and_tour(
    settings: Settings,
    database: Database,
    follow: Callable[[], Awaitable[None]],
    size: Size,
    *,
    leave: bool,
) -> None:
    base = settings.address
    async with _client(base) as client:
        await _answering(client)
    key = await _administrator(settings, database)
    await _load(settings, database, base, size)
    await follow()
    async with _client(base, key) as client:
        await _views_caught_up(client, database)
        await print_tour(client, base, key, click.echo)
    await _let_the_crew_in(settings, database)
    if not leave:
        click.echo("\nThe service stays up until Ctrl-C.")


@contextlib.asynccontextmanager
async def _client(base: str, key: str | None = None) -> AsyncIterator[httpx.AsyncClient]:
    headers = {"Authorization": f"Bearer {key}"} if key else {}
    # Proxies of the environment have no business between us and ourselves.
    async with httpx.AsyncClient(
        base_url=base, headers=headers, timeout=60, trust_env=False
    ) as client:
        yield client


async def _answering(client: httpx.AsyncClient) -> None:
    """Wait until the service answers: it has no other sign for who is outside."""
    while True:
        with contextlib.suppress(httpx.TransportError):
            if (await client.get("/readyz")).status_code == 200:
                return
        await asyncio.sleep(0.05)


async def _administrator(settings: Settings, database: Database) -> str:
    async with database.writer.acquire() as one:
        made = await create_key(
            one, name="demo-administrator", role="administrator", token=settings.demo_key
        )
    return made.token


async def _load(settings: Settings, database: Database, base: str, size: Size) -> None:
    """Load the story, or what an interrupted load left out."""
    from seed_scenario.generator import scenario
    from seed_scenario.load import UnexpectedError, load, progress_bar, yesterday
    from seed_scenario.this_morning import tell_this_morning

    note = settings.data_dir / _NOTE
    async with database.writer.acquire() as one:
        head = await one.fetchrow("SELECT position, recorded_at FROM log_head")
    assert head is not None
    if head["position"] and not note.is_file():
        click.echo(f"Took up the log of {head['position']} events that was here.")
        return
    fresh: dict[str, Any] = {"last": str(yesterday()), "lots": size.lots, "years": size.years}
    begun = json.loads(note.read_text()) if head["position"] and note.is_file() else fresh
    if begun.keys() != fresh.keys():
        raise click.ClickException(
            "an older version began to load its story here, and this one tells another: clear it "
            "with `graftlog demo --reset`"
        )
    last, lots, years = date.fromisoformat(begun["last"]), begun["lots"], begun["years"]
    year = scenario(last, lots=lots, years=years)
    note.write_text(json.dumps(begun))
    if year.truth is not None:
        year.truth.write(settings.data_dir / _TRUTH)
    after: datetime | None = head["recorded_at"] if head["position"] else None
    async with database.writer.acquire() as one:
        key = await create_key(one, name="demo-loader", role="history")
    try:
        async with _client(base, key.token) as client:
            with progress_bar(year.events, "Loading an invented nursery") as told:
                await load(client, year, after=after, progress=told)
            await tell_this_morning(client, year, system_clock())
    except UnexpectedError as error:
        raise click.ClickException(str(error)) from error
    except httpx.HTTPStatusError as error:
        raise click.ClickException(f"{error}: {error.response.text}") from error
    finally:
        async with database.writer.acquire() as one:
            await revoke_key(one, key.key_id)
    # The note is there only while a load is unfinished.
    note.unlink()


async def _let_the_crew_in(settings: Settings, database: Database) -> None:
    """Print a fresh link for each of the demo's people; each signs one browser in."""
    click.echo("\n" + click.style("Pages for people: open a link, press the button", bold=True))
    async with database.writer.acquire() as one:
        for reference, name, role, sites, language in _CREW:
            choices = Choices(language=language)
            await let_in(one, reference, role, frozenset({sites}), choices)
            details = ContactDetails(kind="person", name=name)
            await contacts.put(
                one, reference, details, [sites], principal=_OPERATOR, at=system_clock(), version=0
            )
            url, code, _ = await link_of(one, settings, reference)
            where = "every site" if sites == "*" else sites
            click.echo(f"  {name}, {role}, {where}, in {_LANGUAGES[language]}: {url}")
            click.echo(f"    or the code {code} on {settings.base}/sign-in, within ten minutes")


async def _views_caught_up(client: httpx.AsyncClient, database: Database) -> None:
    async with database.writer.acquire() as one:
        position = await one.fetchval("SELECT position FROM log_head")
    end = asyncio.get_running_loop().time() + _VIEWS_SECONDS
    for path in ("/v1/checks", "/v1/take", "/v1/push-observations", "/v1/growth"):
        while asyncio.get_running_loop().time() < end:
            answer = await client.get(
                path,
                params={"min_position": position, "limit": 1},
                headers={"Prefer": "wait=20"},
            )
            if answer.status_code == 200 and answer.json()["position"] >= position:
                break
            if answer.status_code >= 400:
                raise click.ClickException(f"{path} answered {answer.status_code}: {answer.text}")
    # The calendar would make one within minutes; the tour asks for it now.
    try:
        done = await refresh(database, system_clock)
    except ForecastError as error:
        click.echo(f"No forecast could be made: {error}", err=True)
    else:
        click.echo(f"A forecast was made: {done.words}.")
