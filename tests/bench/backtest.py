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

from seed_scenario.generator import LOTS, SEED, YEARS, Scenario, scenario
from service.forecast.backtest.cases import Unscored
from service.forecast.backtest.chart import chart
from service.forecast.backtest.outcomes import by_lot
from service.forecast.backtest.run import Backtest, Run, days_between
from service.forecast.backtest.scores import scores_of
from service.forecast.backtest.table import table
from service.forecast.numerics import worker
from service.forecast.shapes import Foretold, Known
from tests.support.story_known import StoryKnown


@click.command()
@click.option("--last", type=click.DateTime(["%Y-%m-%d"]), default="2026-11-24")
@click.option("--lots", default=LOTS, show_default=True)
@click.option("--years", default=YEARS, show_default=True)
@click.option("--random", "seed", default=SEED, show_default=True)
@click.option("--stories", default=1, show_default=True, help="So many, each by the next seed.")
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
    stories: int,
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
    begun, parts = time.perf_counter(), []
    for number in range(stories):
        story = scenario(last.date(), seed + number, lots=lots, years=years)
        parts.append(_one(story, tell, begin.date() if begin else None, every, draws))
    done = _together(parts, every)
    click.echo(table(done))
    click.echo(f"\n{stories} stories took {time.perf_counter() - begun:.0f} s")
    if picture:
        picture.write_text(chart(done))
    if file:
        file.write_bytes(b"\n".join(map(msgspec.json.encode, [*done.cases, *done.promises])))


def _one(
    story: Scenario,
    tell: Callable[[Known], Foretold],
    begin: date | None,
    every: int,
    draws: int,
) -> Backtest:
    truth, known = story.truth, StoryKnown(story)
    assert truth is not None
    half = truth.first + timedelta(days=(truth.last - truth.first).days // 2)
    days = days_between(begin or half, truth.last, every)
    run, seconds = Run(days, by_lot(truth.outcomes)), 0.0
    for day in days:
        click.echo(f"\r{truth.seed} {day}", nl=False, err=True)
        columns = known.at(day, draws=draws)
        start = time.perf_counter()
        told = tell(columns)
        seconds += time.perf_counter() - start
        run.take(columns, told)
    click.echo(f"\r{truth.seed}: {len(days)} forecasts took {seconds:.1f} s", err=True)
    return run.result()


def _together(parts: list[Backtest], every: int) -> Backtest:
    """Several stories as one: one weather, however many lots stand in it, is one chance."""
    cases = [
        msgspec.structs.replace(case, lot=f"{number}/{case.lot}")
        for number, part in enumerate(parts)
        for case in part.cases
    ]
    promises = [promise for part in parts for promise in part.promises]
    left_out = Unscored(
        **{
            name: sum(getattr(part.left_out, name) for part in parts)
            for name in Unscored.__struct_fields__
        }
    )
    return Backtest(
        days=parts[0].days,
        cases=cases,
        promises=promises,
        left_out=left_out,
        scores=scores_of(cases, promises, every),
    )


def _function(named: str) -> Callable[[Known], Foretold]:
    module, name = named.split(":")
    found: Callable[[Known], Foretold] = getattr(importlib.import_module(module), name)
    return found


if __name__ == "__main__":
    main()
