"""Risks and earliest days: against known distributions, and against looking at every day."""

from datetime import UTC, date, datetime
from functools import partial
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.forecast.answers.promise_view import PastDayError, PromiseQuery, promises_of
from service.forecast.answers.promises import Stock, chance_of, earliest, risk, told_at
from service.log.append import Appender
from service.storage.pool import Database
from service.storage.walls import seeing
from service.trade.overriding import Ruling
from service.trade.promising import LEVELS, Due, Step, level_of, steps_of
from service.trade.supply import OutKey
from tests.support.bench_side import BenchSide, entry, event
from tests.support.foretold import spread, tell_supply

TODAY = date(2026, 3, 2).toordinal()
OF: OutKey = ("NAV", "CARR", "C2", "", "CORIN")


def stock(
    middles: list[int],
    due: list[Due] | None = None,
    rulings: list[Ruling] | None = None,
    of: OutKey = OF,
) -> Stock:
    by_level = [steps_of(TODAY, [spread(one)[n] for one in middles]) for n in range(len(LEVELS))]

    def on(_: OutKey, day: int) -> list[int]:
        return spread(middles[min(max(day - TODAY, 0) // 7, len(middles) - 1)])

    return Stock(of, lambda level, _: by_level[level], on, rulings or [], due or [])


@given(st.integers(400, 600))
def test_the_chance_of_a_number_is_that_of_the_distribution(needed: int) -> None:
    # Quantities as a normal distribution has them, which is the same on both sides of its middle.
    there = NormalDist(500, 30)
    quantities = [round(there.inv_cdf(1 - level)) for level in LEVELS]
    assert chance_of(quantities, needed) == pytest.approx(1 - there.cdf(needed), abs=0.04)


def test_what_is_certain_is_there_or_is_not() -> None:
    assert chance_of([50] * 10, 50) == 1.0
    assert chance_of([50] * 10, 51) == 0.0
    assert chance_of([0] * 10, 0) == 1.0
    assert chance_of([0] * 10, 1) == 0.0


@given(st.lists(st.integers(0, 80), min_size=10, max_size=10), st.integers(-5, 170))
def test_the_more_is_needed_the_less_likely_it_is(numbers: list[int], needed: int) -> None:
    quantities = sorted(numbers, reverse=True)
    more, fewer = chance_of(quantities, needed + 1), chance_of(quantities, needed)
    assert 0 <= more <= fewer <= 1


def test_the_risk_is_that_of_the_worst_day() -> None:
    # 60 for the first day, 44 of 50 in a week, then enough for all
    due = [Due(TODAY, 40), Due(TODAY + 8, 8), Due(TODAY + 40, 30)]
    found = risk([stock([60, 50, 50, 50, 50, 90], due)], level_of(0.8), TODAY)
    assert (found.day, found.promised, found.short_by) == (date.fromordinal(TODAY + 8), 48, 4)
    assert found.probability == 0.4
    # What is overdue is due today.
    late = risk([stock([30], [Due(TODAY - 9, 40)])], level_of(0.8), TODAY)
    assert (late.day, late.short_by) == (date.fromordinal(TODAY), 16)
    assert risk([stock([30])], level_of(0.8), TODAY).day is None


def test_trees_that_may_die_after_their_day_put_no_promise_at_risk() -> None:
    found = risk([stock([60, 60, 30], [Due(TODAY, 30)])], level_of(0.8), TODAY)
    assert (found.day, found.probability) == (date.fromordinal(TODAY), 0.0)


@given(
    st.lists(st.integers(20, 80), min_size=1, max_size=5),
    st.lists(st.builds(Due, st.integers(TODAY, TODAY + 40), st.integers(0, 20)), max_size=4),
    st.builds(partial(Step, TODAY + 3), st.integers(TODAY + 5, TODAY + 30), st.integers(0, 120)),
    st.integers(1, 90),
)
def test_the_earliest_day_is_the_first_for_which_so_many_can_be_promised(
    middles: list[int], due: list[Due], word: Step, wanted: int
) -> None:
    stocks = [stock(middles, due, [Ruling(OF, word)]), stock([70], due)]
    days = range(TODAY, TODAY + 60)
    enough = [
        day for day in days if told_at(stocks, 0.8, day, None, TODAY).can_be_promised >= wanted
    ]
    found = earliest(stocks, level_of(0.8), wanted, TODAY)
    assert found == (date.fromordinal(enough[0]) if enough else None)


# -- each site's own day ---------------------------------------------------------------------


@pytest.fixture
async def sites(database: Database) -> Database:
    """CORIN in Madrid's time and TARNA in Auckland's."""
    appender = Appender(database, clock=lambda: datetime(2026, 6, 30, 12, tzinfo=UTC))
    await appender.start()
    await BenchSide(appender, database).nursery()
    await appender.stop()
    return database


@pytest.mark.parametrize(
    ("now", "corin", "tarna"),
    [
        # Midnight has struck in Auckland, not in Madrid.
        (datetime(2026, 6, 30, 12, 30, tzinfo=UTC), date(2026, 6, 30), date(2026, 7, 1)),
        # Madrid's summer time ends on 25 October 2026, Auckland's began on 27 September.
        (datetime(2026, 10, 24, 22, 30, tzinfo=UTC), date(2026, 10, 25), date(2026, 10, 25)),
        (datetime(2026, 10, 25, 22, 30, tzinfo=UTC), date(2026, 10, 25), date(2026, 10, 26)),
    ],
)
async def test_a_day_is_over_by_the_calendar_of_the_site(
    sites: Database, now: datetime, corin: date, tarna: date
) -> None:
    item = ("NAVEL", "CARRIZO", "P9")
    for site in ("CORIN", "TARNA"):
        await tell_supply(sites.writer, item, site, date(2026, 6, 30), [50])

    async def ask(site: str, day: date) -> date:
        query = PromiseQuery(
            cultivar="NAVEL", rootstock="CARRIZO", size="P9", site=site, day=day, confidence=0.8
        )
        async with seeing(sites.reader, None) as conn:
            (row,) = await promises_of(conn, query, None, now)
        return row.day

    for site, today in (("CORIN", corin), ("TARNA", tarna)):
        assert await ask(site, today) == today
        with pytest.raises(PastDayError, match=f"today is {today}"):
            await ask(site, date.fromordinal(today.toordinal() - 1))


async def test_in_an_american_evening_all_sites_have_their_own_day_too(database: Database) -> None:
    """17:00 on 30 June at the only site, where by UTC it is July; a word holds until that day."""
    now = datetime(2026, 7, 1, 0, 0, tzinfo=UTC)
    appender = Appender(database, clock=lambda: now)
    await appender.start()
    bench = BenchSide(appender, database)
    item = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "P9"}
    await bench.given(
        *(
            entry(
                "site", "CORIN", name="Corin", time_zone="America/Los_Angeles",
                latitude=36, longitude=-119,
            ),
            entry("cultivar", "NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navel"),
            entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo"),
            entry("size", "P9", label="9 cm pot"),
        ),
        event(
            "promise.overridden", "2026-06-30", any_site=True, quantity=30, until="2026-06-30",
            reason="counted them", **item,
        ),
    )  # fmt: skip
    await appender.stop()
    query = PromiseQuery(**item, confidence=0.8)
    async with seeing(database.reader, None) as conn:
        together, *_ = await promises_of(conn, query, None, now)
    assert (together.site, together.day) == (None, date(2026, 6, 30))
    assert together.can_be_promised == 30
