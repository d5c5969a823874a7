"""What was known on any past day of an invented story, in memory: no database, no HTTP.

    story = StoryKnown(scenario(date(2026, 11, 24), lots=900, years=3))
    known = story.at(date(2026, 3, 1))

The events go through the trade's own rules in the order in which they were recorded, so they are
complete and refused ones are out.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta

from seed_scenario.generator import Scenario
from seed_scenario.nursery import SITES
from service.forecast.observed import Fact, LotStory, Observed, Said
from service.forecast.shapes import Known, SiteWeather
from service.trade.books import Books, Lot
from service.trade.events.catalogue import Place
from service.trade.events.stock import EventVoided
from service.trade.lot_walk import TYPES
from service.trade.units import Accepted
from tests.scenario.on_books import tell

_DAY = timedelta(days=1)


class StoryKnown:
    """All that was ever told of a scenario, with when it was."""

    def __init__(self, story: Scenario) -> None:
        self._temperatures = story.temperatures
        books = Books()
        # when each position was recorded
        self._recorded: list[datetime] = []
        accepted: list[Accepted] = []
        for request in story.requests:
            taken = tell(books, request).accepted
            accepted += taken
            self._recorded += [request.recorded_at] * len(taken)
        stories = _stories(books, accepted)
        apart = frozenset(
            f"place:{entry.code}"
            for entry, _ in books.catalogue.entries.values()
            if isinstance(entry, Place) and entry.for_returns
        )
        self._observed = Observed(stories, books.holds.values(), apart)

    def at(self, day: date, *, draws: int = 200, seed: int = 1) -> Known:
        """What was known when a day had ended (at midnight, UTC); the sites' today is the next."""
        position = bisect_left(self._recorded, datetime.combine(day + _DAY, time(), UTC))
        columns = self._observed.at(position, day, dict.fromkeys(SITES, day + _DAY))
        return Known(
            position=position,
            sites=[self._weather(site, day) for site in SITES],
            lots=columns.lots,
            pushes=columns.pushes,
            growths=columns.growths,
            takes=columns.takes,
            standing=columns.standing,
            draws=draws,
            seed=seed,
        )

    def _weather(self, site: str, day: date) -> SiteWeather:
        days = [one for one in self._temperatures[site] if one[0] <= day]
        return SiteWeather(
            site=site,
            today=(day + _DAY).toordinal(),
            south=float(SITES[site]["latitude"]) < 0,
            version=1,
            first=days[0][0].toordinal(),
            low=[low for _, low, _ in days],
            high=[high for _, _, high in days],
        )


def _stories(books: Books, accepted: Iterable[Accepted]) -> list[LotStory]:
    said: dict[str, list[tuple[datetime, Said]]] = defaultdict(list)
    forced: dict[str, list[Fact]] = defaultdict(list)
    for one in accepted:
        assert one.event.id is not None
        kind = str(one.event.__struct_config__.tag)
        if isinstance(one.event, EventVoided) or kind not in (*TYPES, "tops.forced"):
            continue
        voided = books.recorded[one.event.id].voided_by
        fact = Fact(one.position, voided, one.moment.day)
        for subject, code in one.subjects:
            if subject == "lot" and books.lots[code].kind == "tree":
                if kind == "tops.forced":
                    forced[code].append(fact)
                else:
                    said[code].append((one.moment.at, Said(fact, one.event)))
    return [
        _story(books, books.lots[code], said[code], _forced(books.lots[code], forced))
        for code in said
    ]


def _forced(lot: Lot, forced: dict[str, list[Fact]]) -> list[Fact]:
    """Of the lot, and of the stocks that it was grafted onto once their tops were forced."""
    stocks = [token.removeprefix("lot:") for token in lot.parents]
    of_stocks = [fact for code in stocks for fact in forced.get(code, ())]
    return forced.get(lot.code, []) + [
        fact for fact in of_stocks if lot.day is not None and fact.day <= lot.day
    ]


def _story(
    books: Books, lot: Lot, said: list[tuple[datetime, Said]], forced: list[Fact]
) -> LotStory:
    cultivar = books.catalogue.entries.get(("cultivar", lot.cultivar or ""))
    return LotStory(
        code=lot.code,
        crop=getattr(cultivar[0], "crop", "") if cultivar else "",
        cultivar=lot.cultivar or "",
        rootstock=lot.rootstock or "",
        method=lot.method or "",
        site=lot.site,
        day=lot.day,
        attempt=lot.attempt,
        grown_for=lot.grown_for is not None,
        identified=lot.identified,
        ancestry=frozenset({*lot.ancestry, f"lot:{lot.code}"}),
        said=[one for _, one in sorted(said, key=lambda s: (s[0], s[1].fact.position))],
        forced=forced,
    )
