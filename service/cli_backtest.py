"""`graftlog backtest`: forecasts of past days from what was known then, scored by what came."""

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.cli_running import run, settings_or_exit, something_there, tables_there

if TYPE_CHECKING:
    from service.forecast.backtest.outcomes import Outcomes
    from service.forecast.backtest.past import Wanted
    from service.forecast.backtest.run import Backtest
    from service.settings import Settings

_DAY = click.DateTime(["%Y-%m-%d"])
_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command()
@click.option("--from", "first", type=_DAY, help="First past day. Left out: half way of the log.")
@click.option("--to", "last", type=_DAY, help="Last past day. Left out: as late as can be scored.")
@click.option("--every", type=click.IntRange(1, 366), default=7, help="Days between two; 7.")
@click.option("--draws", type=click.IntRange(20, 5000), default=200, help="Years of weather; 200.")
@click.option("--random", "seed", type=click.IntRange(0), default=1, help="Seed of the draws; 1.")
@click.option(
    "--outcomes",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="CSV file that says what truly came of the trees. Left out: as the log tells.",
)
@click.option("--chart", type=_FILE, help="Also draw the scores into this SVG file.")
@click.option("--cases", type=_FILE, help="Also write each forecast scored to this file (NDJSON).")
def backtest(
    first: datetime | None,
    last: datetime | None,
    every: int,
    draws: int,
    seed: int,
    outcomes: Path | None,
    chart: Path | None,
    cases: Path | None,
) -> None:
    """Score the forecast on the past: was it right when it was sure?

    For past days it takes what the log knew then, and nothing learned since, forecasts, and
    compares with what came: how often the true day lay in the stated range, how many days the
    middle was off beside the calendar average of past lots and the first forecast, and how many
    promises would have been kept at each confidence. Prints a table. Changes nothing.

    The log tells when trees were graded, so readiness lies between two gradings: lots are scored
    once hardly anything of them grows, and days near the log's end are left out.

    A file of --outcomes has the header lot,size,grade,ready,graded,died,left,trees: so many trees
    of a lot, the size and grade that they are sold in, and the days (empty: never) on which they
    were ready, were graded so, died, left. `python -m seed_scenario.truth` writes such a file.
    """
    from service.forecast.backtest.past import Wanted

    settings = settings_or_exit()
    wanted = Wanted(
        first=first.date() if first else None,
        last=last.date() if last else None,
        every=every,
        draws=draws,
        seed=seed,
    )
    truth = _read(outcomes) if outcomes else None
    done = run(lambda _: _backtest(settings, wanted, truth))
    if done is not None:
        _tell(done, chart, cases)


def _read(file: Path) -> "Outcomes":
    from service.forecast.backtest.outcomes import OutcomesError, from_csv

    try:
        return from_csv(file.read_text(encoding="utf-8"))
    except UnicodeDecodeError as error:
        raise click.ClickException(f"{file}: not a text in UTF-8") from error
    except OutcomesError as error:
        raise click.ClickException(f"{file}: {error}") from error


async def _backtest(settings: "Settings", wanted: "Wanted", truth: "Outcomes | None") -> "Backtest":
    from service.forecast.backtest.past import NoPastError, Past
    from service.forecast.backtest.run import Run
    from service.forecast.numerics.worker import forecast
    from service.storage.pool import open_database
    from service.storage.walls import seeing

    something_there(settings)
    async with await open_database(settings) as database:
        async with database.writer.acquire() as one:
            await tables_there(one)
        async with seeing(database.reader, None) as conn:
            try:
                past = await Past.load(conn, wanted, by_log=truth is None)
            except NoPastError as error:
                raise click.ClickException(str(error)) from error
            doing = Run(past.days, await past.outcomes() if truth is None else truth)
            with click.progressbar(
                length=len(past.days), label="Past days", file=sys.stderr
            ) as bar:
                async for known in past.known(wanted):
                    # of graftings to come, and of what works, nothing is scored
                    doing.take(known, forecast(known, lead_days=(), compare=False))
                    bar.update(1)
    return doing.result()


def _tell(done: "Backtest", chart: Path | None, cases: Path | None) -> None:
    import msgspec

    from service.forecast.backtest.chart import chart as drawn
    from service.forecast.backtest.table import table

    click.echo(table(done))
    lines = b"".join(msgspec.json.encode(one) + b"\n" for one in [*done.cases, *done.promises])
    for file, content in ((chart, drawn(done).encode()), (cases, lines)):
        if file is not None:
            try:
                file.write_bytes(content)
            except OSError as error:
                raise click.ClickException(f"cannot write {file}: {error.strerror}") from error
            click.echo(f"wrote {file}")
