"""The invented nursery's story as requests: what was done at three sites, and who told it when.

Pure and deterministic: the same last day, seed and size give the same requests, down to the ids.
"""

from datetime import date

from seed_scenario import mishaps, ordering, rounds, script
from seed_scenario.telling import Request
from seed_scenario.truth import Truth, truth_of
from seed_scenario.year import Year

SEED, LOTS, YEARS = 1907, 320, 1.25


class Scenario:
    """All that the loader sends, and the truth behind it.

    `temperatures`: site → (day, minimum, maximum) in degrees Celsius, up to the last day.
    """

    def __init__(
        self,
        requests: list[Request],
        temperatures: dict[str, list[tuple[date, float, float]]],
        truth: Truth | None = None,
    ) -> None:
        self.requests = requests
        self.temperatures = temperatures
        self.truth = truth

    @property
    def events(self) -> int:
        """How many events are told, those refused included."""
        return sum(len(request.events) for request in self.requests)


def scenario(last: date, seed: int = SEED, *, lots: int = LOTS, years: float = YEARS) -> Scenario:
    """The story that ends on `last`: so many lots planned in so many years, by this seed.

    Raises ValueError below a year or 30 lots: the script has no room in less.
    """
    if years < 1 or lots < 30:
        raise ValueError("the story needs a year and 30 lots at least")
    year = Year(last, seed, lots, years)
    year.plan()
    script.plan(year)
    ordering.plan(year)
    mishaps.plan(year)
    rounds.plan(year)
    year.run()
    temperatures = {
        site: [day for day in weather.days if day[0] <= last]
        for site, weather in year.weather.items()
    }
    return Scenario(year.teller.requests(), temperatures, truth_of(year))
