"""The command line: `graftlog --help`."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import click
import msgspec

from service import __version__
from service.cli_backtest import backtest
from service.cli_backup import backup, restore
from service.cli_forecast import forecast
from service.cli_mail import mail
from service.cli_people import group as people
from service.cli_rebuild import rebuild
from service.cli_records import export, import_file, template
from service.cli_running import (
    Ending,
    free_port,
    run,
    settings_or_exit,
    sites_named,
    sites_there,
    something_there,
    tables_there,
)
from service.settings import Settings, describe

CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


class _Group(click.Group):
    """Lists the commands in the order they are written here: as a newcomer meets them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.commands)


@click.group(cls=_Group, context_settings=CONTEXT)
@click.version_option(__version__, prog_name="graftlog")
def main() -> None:
    """The books of a nursery that grafts trees: an event log with an HTTP interface.

    \b
    graftlog demo                     an invented nursery to try everything on
    graftlog serve                    the service, with a database of its own
    graftlog keys create --help       who may record and read what, at which sites
    graftlog people add --help        who signs in to the pages

    Everything is set by environment variables that begin with GRAFTLOG_ (`graftlog settings`
    lists them). Without GRAFTLOG_DATABASE_URL a PostgreSQL of its own is run on GRAFTLOG_DATA_DIR;
    commands on one folder share it.
    """


@main.command()
@click.option("--without-jobs", is_flag=True, help="Only answer requests; run `graftlog work` too.")
def serve(without_jobs: bool) -> None:
    """Answer requests on GRAFTLOG_HOST:GRAFTLOG_PORT.

    Brings the tables up to date first (any number of processes may start at once), then answers
    requests and, unless --without-jobs, keeps the views and runs the timed jobs. Ctrl-C or SIGTERM
    finishes the requests at hand and ends.
    """
    settings = settings_or_exit()
    settings = msgspec.structs.replace(settings, port=free_port(settings.host, settings.port))
    run(lambda ending: _serve(settings, ending, background=not without_jobs))


async def _serve(settings: Settings, ending: Ending, *, background: bool) -> None:
    from service import application
    from service.storage.migrate import migrate
    from service.storage.pool import open_database

    async with await open_database(settings) as database:
        await migrate(database)
        app = application.build(
            settings, run_views=background, run_jobs=background, database=database
        )
        where = f"graftlog {__version__} on http://{settings.host}:{settings.port}"
        ending.gentle = True
        await application.serve(app, settings, listening=lambda: click.echo(where, err=True))


@main.command()
def work() -> None:
    """Keep the views and run the timed jobs, without answering requests.

    For machines where `graftlog serve --without-jobs` answers. Any number of both may run: each
    view and each tick of a job is worked on by one process at a time. With GRAFTLOG_METRICS_PORT
    it answers /livez, /readyz and /metrics there.
    """
    settings = settings_or_exit()
    if settings.metrics_port is not None:
        free_port(settings.host, settings.metrics_port, "GRAFTLOG_METRICS_PORT")

    async def background(ending: Ending) -> None:
        from service import application
        from service.storage.migrate import migrate
        from service.storage.pool import open_database

        async with await open_database(settings) as database:
            await migrate(database)
            click.echo(f"graftlog {__version__} keeps the views and runs the jobs", err=True)
            ending.gentle = True
            await application.run_background(settings, database, ending.told)

    run(background)


@main.command()
@click.option("--reset", is_flag=True, help="Clear the demo's data, and nothing else.")
@click.option("--exit", "leave", is_flag=True, help="End after the tour instead of staying up.")
@click.option("--lots", type=click.IntRange(30), default=320, help="Lots to invent; 320.")
@click.option("--years", type=click.FloatRange(1), default=1.25, help="Years to invent; 1.25.")
def demo(reset: bool, leave: bool, lots: int, years: float) -> None:
    """Run everything with an invented nursery, and print a tour of it.

    The demo has a folder of its own (`demo` in GRAFTLOG_DATA_DIR) and its own database: a given
    GRAFTLOG_DATABASE_URL is left alone. Fifteen months of three invented sites are loaded once,
    over HTTP; a later start takes up the same data. What truly lies behind them is written to
    truth.json in its folder, for scoring forecasts. Its administrator key is made fresh and printed
    once, or is GRAFTLOG_DEMO_KEY. It stays up until Ctrl-C.
    """
    from service.cli_demo import Size, clear, demo_settings, run_demo

    settings = demo_settings(settings_or_exit())
    if reset:
        clear(settings)
        return
    settings = msgspec.structs.replace(settings, port=free_port(settings.host, settings.port))
    run(lambda ending: run_demo(settings, ending, leave=leave, size=Size(lots, years)))


@main.command()
def migrate() -> None:
    """Bring the database's tables to what this version needs.

    `serve` and `work` do it too when they start; whoever comes second waits for the first. There
    is no way back but a backup, so make one before a new version.
    """
    settings = settings_or_exit()

    async def upgrade(_: Ending) -> None:
        from service.storage.migrate import head
        from service.storage.migrate import migrate as run_migrations
        from service.storage.pool import open_database

        async with await open_database(settings) as database:
            done = await run_migrations(database)
        for revision in done:
            click.echo(f"ran {revision}")
        click.echo(f"the database is at {head()}")

    run(upgrade)


@main.group()
def keys() -> None:
    """Keys that let a program or a person in.

    A key is sent as `Authorization: Bearer KEY`. It is shown once, when it is made; the database
    holds its SHA-256 only. Two keys of one name are the same person: make the new one, change
    over, revoke the old one.
    """


@keys.command("create")
@click.option("--name", required=True, help="Who it is for; recorded with every event. No spaces.")
@click.option(
    "--role",
    required=True,
    type=click.Choice(
        ["recorder", "site-manager", "sales", "auditor", "administrator", "monitor", "history"]
    ),
    help="What it may do. recorder: record and read. site-manager: also catalogue, work orders, "
    "reservations, sales, corrections, contacts, take by grafter. sales: reservations and sales, "
    "reading contacts. auditor: read. administrator: all but history. monitor: metrics only. "
    "history: imports that say when and by whom a past event was recorded.",
)
@click.option("--sites", default="*", show_default=True, help="Site codes with commas; * is all.")
@click.option("--days", type=click.IntRange(1, 3660), help="Days until it ends. Left out: never.")
@click.option("--site-to-come", is_flag=True, help="Allow sites that are not in the catalogue yet.")
def keys_create(name: str, role: str, sites: str, days: int | None, site_to_come: bool) -> None:
    """Make a key and print it, once."""
    settings = settings_or_exit()
    ends = datetime.now(UTC) + timedelta(days=days) if days is not None else None
    named = sites_named(sites)

    async def create(_: Ending) -> None:
        from service.log.keys import create_key
        from service.storage.migrate import migrate as run_migrations
        from service.storage.pool import open_database

        async with await open_database(settings) as database:
            await run_migrations(database)
            async with database.writer.acquire() as one, one.transaction():
                try:
                    made = await create_key(one, name=name, role=role, sites=named, expires_at=ends)
                except ValueError as error:
                    raise click.ClickException(str(error)) from error
                if not site_to_come:
                    await sites_there(one, named)
        click.echo(
            f"Key {made.key_id} for {name} ({role}; sites: {', '.join(sorted(named))}).", err=True
        )
        click.echo("It is shown this once; keep it as you keep a password.", err=True)
        click.echo(made.token)

    run(create)


@keys.command("list")
def keys_list() -> None:
    """List the keys, without their secrets."""
    settings = settings_or_exit()

    async def show(_: Ending) -> None:
        from service.log.keys import list_keys
        from service.storage.pool import open_database

        something_there(settings)
        async with await open_database(settings) as database, database.writer.acquire() as one:
            await tables_there(one)
            rows = await list_keys(one)
        click.echo(f"{'key':14}{'name':24}{'sites':20}{'state':22}scopes")
        for row in rows:
            state = f"ends {row.expires_at:%Y-%m-%d}" if row.expires_at else "live"
            if row.expires_at and row.expires_at <= datetime.now(UTC):
                state = f"ended {row.expires_at:%Y-%m-%d}"
            if row.revoked_at:
                state = f"revoked {row.revoked_at:%Y-%m-%d}"
            click.echo(
                f"{row.key_id:14}{row.name:24}{','.join(row.sites):20}{state:22}"
                f"{' '.join(row.scopes)}"
            )

    run(show)


@keys.command("revoke")
@click.argument("key_id")
def keys_revoke(key_id: str) -> None:
    """Revoke a key by its id; running processes notice within seconds."""
    settings = settings_or_exit()

    async def revoke(_: Ending) -> None:
        from service.log.keys import revoke_key
        from service.storage.pool import open_database

        something_there(settings)
        async with await open_database(settings) as database, database.writer.acquire() as one:
            await tables_there(one)
            if not await revoke_key(one, key_id):
                raise click.ClickException(f"there is no live key {key_id}")
        click.echo(f"{key_id} is revoked")

    run(revoke)


@main.command()
@click.option("--quick", is_flag=True, help="Only what is cheap: not the books, not the views.")
def selftest(quick: bool) -> None:
    """Check the books and views against the log, and say in words what was found.

    Stops nobody: the books are read in one moment of the database, and each view is held only
    while it is compared. Reads the whole log, so give it time and memory when the log is large.
    Says of each fault what, where and what to do. Exit code 1 when a check fails; a note is none.
    """
    settings = settings_or_exit()

    async def check(_: Ending) -> bool:
        from service.cli_selftest import run_checks
        from service.storage.pool import open_database

        something_there(settings)
        async with await open_database(settings) as database:
            return await run_checks(database, click.echo, quick=quick)

    if not run(check):
        raise SystemExit(1)


@main.command()
@click.option("--write", is_flag=True, help="Write the file (the default).")
@click.option("--check", is_flag=True, help="Only see whether the file is up to date.")
@click.option(
    "--file", "path", type=click.Path(dir_okay=False, path_type=Path), help="Another file."
)
def openapi(write: bool, check: bool, path: Path | None) -> None:
    """Write openapi/openapi.json, the description of the HTTP interface, or check it."""
    from service.api import spec

    if write and check:
        raise click.UsageError("give --write or --check, not both")
    where = path or spec.COMMITTED
    if check:
        if not spec.check(where):
            raise click.ClickException(f"{where} is not up to date; run `graftlog openapi`")
        click.echo(f"{where} is up to date")
        return
    try:
        spec.write(where)
    except OSError as error:
        raise click.ClickException(f"cannot write {where}: {error.strerror}") from error
    click.echo(f"wrote {where}")


@main.command("secrets-key")
def secrets_key() -> None:
    """Make a fresh key for GRAFTLOG_SECRETS_KEY, with which webhooks' secrets are encrypted."""
    from service.webhooks.sealing import new_key

    click.echo(new_key())


@main.command("settings")
def show_settings() -> None:
    """List what can be set, and what is set now (secrets masked)."""
    settings = settings_or_exit()
    from service.settings import masked
    from service.variables import VARIABLES

    now = {
        variable.name: masked(variable.field, getattr(settings, variable.field))
        for variable in VARIABLES
    }
    for name, _, expected, meaning in describe():
        click.echo(f"{name}={now[name]}\n    {meaning} Give {expected}.")


main.add_command(people)
main.add_command(mail)
main.add_command(forecast)
main.add_command(backtest)
main.add_command(rebuild)
main.add_command(backup)
main.add_command(restore)
for command in (template, import_file, export):
    main.add_command(command)

if __name__ == "__main__":
    main()
