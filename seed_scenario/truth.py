"""The hidden truth of a scenario, and the file that it is written to for scoring forecasts.

`python -m seed_scenario.truth FILE` writes it; so do the loader (`--truth FILE`) and the demo
(`truth.json` in its folder). Nothing of it is told to the service.
"""

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
import msgspec

from seed_scenario.fate import LotFate
from seed_scenario.nature import Nature

if TYPE_CHECKING:
    from seed_scenario.year import Year

_WHAT = (
    "What lies behind an invented nursery's events. nature: the parameters that everything was "
    "drawn from (take by method and grafter, degree-days wanted, survival, weather); fates: what "
    "truly comes of each lot's trees, also after the last day told; weather_ahead: site -> [day, "
    "minimum, maximum] (degrees Celsius) of the days after the last one told."
)


class Truth(msgspec.Struct, frozen=True, kw_only=True):
    """All that a forecast may be scored against. `first` to `last`: the days told."""

    what: str = _WHAT
    seed: int
    first: date
    last: date
    lots: int
    nature: Nature
    fates: list[LotFate]
    weather_ahead: dict[str, list[tuple[date, float, float]]]

    def write(self, file: Path) -> None:
        """Write it as JSON."""
        file.write_bytes(msgspec.json.format(msgspec.json.encode(self), indent=1))


def read(file: Path) -> Truth:
    """A truth that was written earlier; msgspec.ValidationError when it is something else."""
    return msgspec.json.decode(file.read_bytes(), type=Truth)


def truth_of(year: "Year") -> Truth:
    """The truth of a story that has been lived through."""
    ahead = {
        site: [day for day in weather.days if day[0] > year.last]
        for site, weather in year.weather.items()
    }
    return Truth(
        seed=year.seed,
        first=year.first,
        last=year.last,
        lots=year.lots,
        nature=year.nature,
        fates=year.fates,
        weather_ahead=ahead,
    )


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--last", type=click.DateTime(["%Y-%m-%d"]), help="Last day; default yesterday.")
@click.option("--lots", type=click.IntRange(30), help="Lots to graft; default 320.")
@click.option("--years", type=click.FloatRange(1), help="Years told; default 1.25.")
@click.option("--random", "seed", type=int, help="Seed; default 1907.")
def main(
    file: Path, last: datetime | None, lots: int | None, years: float | None, seed: int | None
) -> None:
    """Write the hidden truth of a scenario to FILE (JSON)."""
    from seed_scenario import generator
    from seed_scenario.load import yesterday

    told = generator.scenario(
        last.date() if last else yesterday(),
        generator.SEED if seed is None else seed,
        lots=lots or generator.LOTS,
        years=years or generator.YEARS,
    )
    assert told.truth is not None
    told.truth.write(file)
    click.echo(f"{file}: the truth of {len(told.truth.fates)} lots until {told.truth.last}")


if __name__ == "__main__":
    main()
