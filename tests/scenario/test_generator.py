"""The invented year holds together: the trade's rules say to it what it expects of them."""

from collections import Counter
from datetime import date

import pytest

from seed_scenario.generator import Scenario, scenario
from service.trade.books import Books
from service.trade.events import EVENT_TYPES
from tests.scenario.on_books import tell

# Days at which seasons are cut differently by the year's end; 29 February among them.
LAST_DAYS = [
    date(2024, 2, 29),
    date(2025, 6, 3),
    date(2025, 6, 5),
    date(2025, 6, 28),
    date(2025, 10, 5),
    date(2025, 10, 16),
    date(2026, 3, 9),
    date(2026, 8, 14),
    date(2026, 11, 24),
    date(2026, 12, 31),
    date(2028, 1, 3),
]


@pytest.fixture(scope="module")
def year() -> Scenario:
    return scenario(date(2026, 11, 24))


def on_books(year: Scenario) -> tuple[Books, Counter[str]]:
    """The books after the whole year, and how often each type of event got in."""
    books, types = Books(), Counter[str]()
    for request in year.requests:
        outcome = tell(books, request)
        where = f"{request.recorded_at} {request.site}: {outcome.details} {request.events}"
        expected = {index: {kind} for index, kind in request.refused.items()}
        assert {i: set(kinds) for i, kinds in outcome.refused.items()} == expected, where
        for index, kinds in request.remarked.items():
            assert set(kinds) <= set(outcome.remarked[index]), where
        types.update(str(one.event.__struct_config__.tag) for one in outcome.accepted)
    return books, types


@pytest.mark.parametrize("last", LAST_DAYS, ids=str)
def test_every_verdict_is_the_expected_one_whenever_the_year_ends(last: date) -> None:
    books, types = on_books(scenario(last))
    assert set(types) == set(EVENT_TYPES)
    assert sum(types.values()) >= 1500
    assert sum(1 for lot in books.lots.values() if lot.kind == "tree") >= 40


def test_the_same_day_and_seed_tell_the_same_year(year: Scenario) -> None:
    again = scenario(date(2026, 11, 24))
    assert [r.events for r in again.requests] == [r.events for r in year.requests]
    assert again.temperatures == year.temperatures


def test_requests_come_in_the_order_they_were_recorded(year: Scenario) -> None:
    times = [request.recorded_at for request in year.requests]
    assert times == sorted(set(times))


def test_each_site_has_two_years_of_possible_weather(year: Scenario) -> None:
    assert set(year.temperatures) == {"CORIN", "TARNA", "ELDRA"}
    for days in year.temperatures.values():
        assert len(days) == 730
        assert all(-60 <= low <= high <= 60 for _, low, high in days)
    # South of the equator January is warmer than July, north of it colder.
    means = {
        (site, month): sum(low + high for day, low, high in days if day.month == month)
        for site, days in year.temperatures.items()
        for month in (1, 7)
    }
    assert means["TARNA", 1] > means["TARNA", 7]
    assert means["CORIN", 1] < means["CORIN", 7]
    assert means["ELDRA", 1] < means["ELDRA", 7]


@pytest.mark.parametrize("last", LAST_DAYS, ids=str)
def test_what_goes_wrong_in_a_nursery_goes_wrong_in_every_year(last: date) -> None:
    requests = scenario(last).requests
    refused = {kind for request in requests for kind in request.refused.values()}
    assert refused == {
        "held",
        "needs_authority",
        "not_enough_to_promise",
        "other_source",
        "returns_not_allowed",
        "unknown_code",
    }
    remarked = {k for request in requests for kinds in request.remarked.values() for k in kinds}
    assert remarked == {
        "before_a_count",
        "breach",
        "consignment_differs",
        "count_differs",
        "drawn_on_estimate",
        "no_document",
        "short_bag",
        "sold_meanwhile",
    }
    june = [r for r in requests if r.events[0]["type"] == "event.voided" and len(r.events) == 2]
    assert any(r.events[1]["type"] == "trees.grafted" for r in june)
    assert all(e["replaces"] for r in june for e in r.events[1:])
    assert any(len(event["data"].get("grafters", [])) == 3 for r in requests for event in r.events)
    day_late = [
        event
        for r in requests
        for event in r.events
        if str(r.recorded_at.date()) > event["occurred"][:10]
    ]
    assert len(day_late) > 10
