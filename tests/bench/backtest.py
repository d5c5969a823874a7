"""The backtest on the invented nursery, in memory: no database. For calibrating the numerics.

`python -m tests.bench.backtest --lots 900 --years 3` prints the table, and the seconds that the
forecasts took. `--forecast module:function` scores another function from `Known` to `Foretold`.
"""

import importlib
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path

import click
import msgspec

from seed_scenario.generator import LOTS, SEED, YEARS, scenario
from service.forecast.backtest.chart import chart
from service.forecast.backtest.outcomes import by_lot
from service.forecast.backtest.run import Run, days_between
from service.forecast.backtest.table import table
from service.forecast.numerics import worker
from service.forecast.shapes import Foretold, Known
from tests.support.story_known import StoryKnown


@click.command()
@click.option("--last", type=click.DateTime(["%Y-%m-%d"]), default="2026-11-24")
@click.option("--lots", default=LOTS, show_default=True)
@click.option("--years", default=YEARS, show_default=True)
@click.option("--random", "seed", default=SEED, show_default=True)
@click.option("--from", "begin", type=click.DateTime(["%Y-%m-%d"]), help="Default: half way.")
@click.option("--every", default=7, show_default=True, help="Days from one forecast to the next.")
@click.option("--draws", default=200, show_default=True)
@click.option("--forecast", help="module:function from Known to Foretold; left out, the service's.")
@click.option("--chart", "picture", type=click.Path(path_type=Path), help="An SVG file.")
@click.option("--cases", "file", type=click.Path(path_type=Path), help="Cases as JSON lines.")
def main(
    last: datetime,
    lots: int,
    years: float,
    seed: int,
    begin: datetime | None,
    every: int,
    draws: int,
    forecast: str | None,
    picture: Path | None,
    file: Path | None,
) -> None:
    """Score a forecast on the invented nursery."""
    tell = (
        _function(forecast) if forecast else partial(worker.forecast, lead_days=(), compare=False)
    )
    story = scenario(last.date(), seed, lots=lots, years=years)
    truth, known = story.truth, StoryKnown(story)
    assert truth is not None
    half: date = truth.first + timedelta(days=(truth.last - truth.first).days // 2)
    days = days_between(begin.date() if begin else half, truth.last, every)
    run, seconds = Run(days, by_lot(truth.outcomes)), 0.0
    for day in days:
        click.echo(f"\r{day}", nl=False, err=True)
        columns = known.at(day, draws=draws)
        start = time.perf_counter()
        told = tell(columns)
        seconds += time.perf_counter() - start
        run.take(columns, told)
    click.echo("\r" + " " * 10 + "\r", nl=False, err=True)
    done = run.result()
    click.echo(table(done))
    click.echo(f"\n{len(done.days)} forecasts took {seconds:.1f} s")
    if picture:
        picture.write_text(chart(done))
    if file:
        file.write_bytes(b"\n".join(map(msgspec.json.encode, [*done.cases, *done.promises])))


def _function(named: str) -> Callable[[Known], Foretold]:
    module, name = named.split(":")
    found: Callable[[Known], Foretold] = getattr(importlib.import_module(module), name)
    return found


if __name__ == "__main__":
    main()
