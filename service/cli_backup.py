"""`graftlog backup` and `graftlog restore`: the whole database in one file, and back."""

from pathlib import Path

import click

from service.cli_running import Ending, run, settings_or_exit, something_there, tables_there
from service.settings import Settings


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
def backup(file: Path) -> None:
    """Write a copy of the whole database to FILE, while everything goes on.

    The copy is of one moment. It holds the log, the books, the views, and the details of people
    and customers: keep it as you keep the database. An existing FILE is left alone.
    """
    settings = settings_or_exit()
    position = run(lambda _: _backup(settings, file))
    if position is not None:
        size = file.stat().st_size / 1024
        click.echo(f"wrote {file}: {size:,.0f} KiB, the log up to position {position} at least")


async def _backup(settings: Settings, file: Path) -> int:
    from service.storage.backup import back_up
    from service.storage.pool import open_database

    something_there(settings)
    async with await open_database(settings) as database:
        async with database.writer.acquire() as one:
            await tables_there(one)
        return await back_up(database, file)


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
def restore(file: Path) -> None:
    """Fill an empty database from FILE, which `graftlog backup` wrote, and check it.

    All of it or nothing; a database with tables in it is left alone. A copy of an older version is
    then brought to this one. Ends with `graftlog selftest`; exit code 1 when a check fails.
    """
    settings = settings_or_exit()

    async def fill(_: Ending) -> bool:
        from service.cli_selftest import run_checks
        from service.storage.backup import restore as fill_from
        from service.storage.migrate import migrate
        from service.storage.pool import open_database

        async with await open_database(settings) as database:
            await fill_from(database, file)
            click.echo(f"restored {file}")
            for revision in await migrate(database):
                click.echo(f"ran {revision}")
            return await run_checks(database, click.echo)

    if not run(fill):
        raise SystemExit(1)
