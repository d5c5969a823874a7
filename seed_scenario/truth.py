"""The hidden truth of a scenario, and the files that it is written to for scoring forecasts.

`python -m seed_scenario.truth FILE` writes it; so do the loader (`--truth FILE`) and the demo
(`truth.json` in its folder). What came of every tree is written beside it as a CSV file (the same
name, ending in .csv), which `graftlog backtest --outcomes` reads. Nothing of it is told to the
service.
"""

from collections import Counter
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click
import msgspec

from seed_scenario.fate import LotFate, Tree
from seed_scenario.nature import Nature
from service.forecast.backtest.outcomes import Fate, to_csv

if TYPE_CHECKING:
    from seed_scenario.course import Course
    from seed_scenario.year import Year

_WHAT = (
    "What lies behind an invented nursery's events. nature: the parameters that everything was "
    "drawn from (take by method and grafter, degree-days wanted, survival, weather); fates: what "
    "truly comes of each lot's trees, also after the last day told; weather_ahead: site -> [day, "
    "minimum, maximum] (degrees Celsius) of the days after the last one told; outcomes: trees that "
    "went one way (days are ordinals of the calendar, 0 is never)."
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
    outcomes: list[Fate]

    def write(self, file: Path) -> None:
        """Write it as JSON, and the outcomes beside it as CSV."""
        file.write_bytes(msgspec.json.format(msgspec.json.encode(self), indent=1))
        file.with_suffix(".csv").write_text(to_csv(self.outcomes), newline="")


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
        outcomes=_outcomes(year),
    )


def _outcomes(year: "Year") -> list[Fate]:
    """What came, or will come, of every tree of the lots that are followed."""
    alike: Counter[tuple[str, str, str, int, int, int, int]] = Counter()
    for course, trees in year.followed:
        waits_for = _size_to_come(course)
        for tree in trees:
            days = (tree.ready_on, tree.graded_on, tree.dies_on, tree.left_on)
            ready, graded, died, left = (day.toordinal() if day else 0 for day in days)
            key = (course.lot, tree.size or waits_for, _grade(tree))
            alike[(*key, ready, graded, died, left)] += 1
    return sorted(Fate(*key, trees) for key, trees in alike.items())


def _size_to_come(course: "Course") -> str:
    """The size in which trees that are not graded yet will be: potted on, if that is still due."""
    stand = course.stands[0]
    potted = course.manner.pot is None or any(one.ready() for one in course.stands)
    return stand.size if potted or stand.size != "P1" else "P4"


def _grade(tree: "Tree") -> str:
    return "first" if tree.first else "second"


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
