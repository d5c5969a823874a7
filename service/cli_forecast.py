"""`graftlog forecast`: a forecast of what is known now, and a summary of what it tells."""

from typing import TYPE_CHECKING

import click

from service.cli_running import Ending, run, settings_or_exit, something_there, tables_there

if TYPE_CHECKING:
    from service.forecast.answers.ready_view import ReadyDateRow
    from service.forecast.refresh import Done

_SHOWN = 10


@click.command()
def forecast() -> None:
    """Make a forecast now, tell it in place of the one before, and say what it tells.

    `graftlog serve` and `graftlog work` do it each morning and within minutes of new records;
    this is for who will not wait. It reflects what the views do. Everything told is an estimate.
    """
    settings = settings_or_exit()

    async def make(_: Ending) -> None:
        from service.clock import system_clock
        from service.forecast.answers.ready_view import ReadyQuery, ready_dates
        from service.forecast.refresh import ForecastError, refresh
        from service.storage.pool import open_database

        something_there(settings)
        async with await open_database(settings) as database:
            async with database.writer.acquire() as one:
                await tables_there(one)
            try:
                done = await refresh(database, system_clock)
            except ForecastError as error:
                raise click.ClickException(
                    f"no forecast could be made, what was told before stands: {error}"
                ) from error
            # Those before wait for somebody to grade them.
            query = ReadyQuery(ready_from=system_clock().date(), limit=_SHOWN)
            page = await ready_dates(database.reader, query, None, clock=system_clock)
        _say(done, page.rows)

    run(make)


def _say(done: "Done", rows: "list[ReadyDateRow]") -> None:
    click.echo(f"Forecast of {done.words}.")
    if not done.told:
        click.echo("Another process had told a newer one meanwhile; that one stands.")
    for remark in done.remarks:
        click.echo(f"  {remark}")
    if rows:
        click.echo("Ready next (estimates, no promises):")
    for row in rows:
        click.echo(f"  {row.lot} at {row.site}: {row.words}")
