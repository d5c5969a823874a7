"""The invented story holds together: the trade's rules say to it what it expects of them."""

from collections import Counter
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from seed_scenario import nursery
from seed_scenario.generator import Scenario, scenario
from service.trade.books import Books
from service.trade.events import EVENT_TYPES
from tests.scenario.on_books import tell

# In one process: what its tests share is made once.
pytestmark = pytest.mark.xdist_group("the whole story")

LAST = date(2026, 11, 24)
# Days at which seasons are cut differently by the story's end; 29 February among them.
LAST_DAYS = [
    date(2024, 2, 29),
    date(2025, 6, 3),
    date(2025, 6, 5),
    date(2025, 6, 28),
    date(2025, 10, 5),
    date(2025, 10, 16),
    date(2026, 3, 9),
    date(2026, 8, 14),
    date(2026, 12, 31),
    date(2028, 1, 3),
]


def small(last: date) -> Scenario:
    return scenario(last, lots=40, years=1)


@pytest.fixture(scope="module")
def whole() -> Scenario:
    """The story as the demo has it."""
    return scenario(LAST)


@pytest.fixture(scope="module")
def events(whole: Scenario) -> list[dict[str, Any]]:
    return [event for request in whole.requests for event in request.events]


def on_books(story: Scenario) -> tuple[Books, Counter[str]]:
    """The books after the whole story, and how often each type of event got in."""
    books, types = Books(), Counter[str]()
    for request in story.requests:
        outcome = tell(books, request)
        where = f"{request.recorded_at} {request.site}: {outcome.details} {request.events}"
        expected = {index: {kind} for index, kind in request.refused.items()}
        assert {i: set(kinds) for i, kinds in outcome.refused.items()} == expected, where
        for index, kinds in request.remarked.items():
            assert set(kinds) <= set(outcome.remarked[index]), where
        types.update(str(one.event.__struct_config__.tag) for one in outcome.accepted)
    return books, types


@pytest.fixture(scope="module")
def told(whole: Scenario) -> tuple[Books, Counter[str]]:
    return on_books(whole)


# -- verdicts ----------------------------------------------------------------------------------


@pytest.mark.parametrize("last", LAST_DAYS, ids=str)
def test_every_verdict_is_the_expected_one_whenever_the_story_ends(last: date) -> None:
    _, types = on_books(small(last))
    assert set(types) == set(EVENT_TYPES)


def test_another_seed_is_another_nursery_and_as_sound() -> None:
    story = scenario(LAST, seed=3, lots=120, years=1.5)
    on_books(story)
    assert story.truth is not None
    other = scenario(LAST, seed=4, lots=30, years=1)
    assert other.truth is not None
    assert story.truth.nature.growth != other.truth.nature.growth


def test_the_whole_story_is_large_enough_and_every_verdict_in_it_expected(
    whole: Scenario, told: tuple[Books, Counter[str]]
) -> None:
    books, types = told
    assert set(types) == set(EVENT_TYPES)
    assert sum(types.values()) >= 8000
    assert sum(1 for lot in books.lots.values() if lot.kind == "tree") >= 300
    places = Counter(kind for kind, _ in books.catalogue.entries)["place"]
    assert 55 <= places <= 65
    assert whole.truth is not None
    assert LAST - whole.truth.first >= timedelta(days=15 * 30)
    crops = {(fate.crop, fate.method) for fate in whole.truth.fates}
    assert {crop for crop, _ in crops} == {"citrus", "avocado", "mango", "apple"}
    assert len(crops) == 8


def test_size_follows_what_is_asked_for() -> None:
    sizes = [scenario(LAST, lots=lots, years=2).events for lots in (60, 240)]
    assert sizes[1] > 1.6 * sizes[0]
    with pytest.raises(ValueError, match="a year and 30 lots"):
        scenario(LAST, lots=29)


def test_the_same_day_seed_and_size_tell_the_same_story() -> None:
    one, other = small(LAST), small(LAST)
    assert [r.events for r in one.requests] == [r.events for r in other.requests]
    assert [r.recorded_at for r in one.requests] == [r.recorded_at for r in other.requests]
    assert one.temperatures == other.temperatures
    assert one.truth == other.truth


# -- how it is told ----------------------------------------------------------------------------


def test_requests_come_in_the_order_they_were_recorded(whole: Scenario) -> None:
    times = [request.recorded_at for request in whole.requests]
    assert times == sorted(set(times))


def test_what_was_known_lags_behind_what_happened(whole: Scenario) -> None:
    """Known at a moment is something else than so at a moment: whole days are told late."""
    lags = [
        (request.recorded_at.date() - date.fromisoformat(event["occurred"][:10])).days
        for request in whole.requests
        for event in request.events
    ]
    late = Counter(lag for lag in lags if lag >= 1)
    assert sum(late.values()) > 0.03 * len(lags)
    assert set(late) >= {1, 2, 3, 5}
    assert max(lags) <= 10


def test_what_is_wrong_is_voided_and_told_anew_later(events: list[dict[str, Any]]) -> None:
    voids = [event["data"]["event"] for event in events if event["type"] == "event.voided"]
    replaced = [event["replaces"] for event in events if "replaces" in event]
    assert len(voids) >= 15
    assert set(replaced) < set(voids)
    grafted = {event["id"] for event in events if event["type"] == "trees.grafted"}
    assert len(grafted & set(replaced)) == 1


@pytest.mark.parametrize("last", LAST_DAYS[::3], ids=str)
def test_what_goes_wrong_in_a_nursery_goes_wrong_in_every_story(last: date) -> None:
    requests = small(last).requests
    refused = {kind for request in requests for kind in request.refused.values()}
    assert refused == {
        "below_zero",
        "held",
        "needs_authority",
        "not_enough_to_promise",
        "other_source",
        "returns_not_allowed",
        "source_expired",
        "unknown_code",
    }
    remarked = {k for request in requests for kinds in request.remarked.values() for k in kinds}
    assert remarked >= {
        "before_a_count",
        "breach",
        "consignment_differs",
        "count_differs",
        "drawn_on_estimate",
        "no_document",
        "short_bag",
        "sold_meanwhile",
    }


def test_clocks_change_while_it_is_told(events: list[dict[str, Any]]) -> None:
    """In the night when clocks go back half past two comes twice; in spring it never comes."""
    times = {event["occurred"] for event in events if event["site"] == "CORIN"}
    # 26 October 2025 and 25 October 2026, 29 March 2026: the European Union's days.
    assert {"2025-10-26T02:30:00+02:00", "2025-10-26T02:30:00+01:00"} <= times
    assert {"2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"} <= times
    assert "2026-03-29T03:30:00+02:00" in times
    assert not any(time.startswith("2026-03-29T02") for time in times)


# -- how it ends -------------------------------------------------------------------------------


@pytest.mark.parametrize("size", ["whole", "small"])
def test_it_ends_with_something_to_do(size: str, request: pytest.FixtureRequest) -> None:
    story = request.getfixturevalue("whole") if size == "whole" else small(LAST)
    books, _ = request.getfixturevalue("told") if size == "whole" else on_books(story)
    events = [event for one in story.requests for event in one.events]
    open_holds = {h.code: h.kind for h in books.holds.values() if h.lifted_position is None}
    assert open_holds["H-LEAF"] == "plant_health"
    assert open_holds["H-ROOTS"] == "quality"
    assert books.reservations["R-C3"].state == "open"
    assert any(order.ended is None for order in books.work_orders.values())
    assert any(load.received_position is None for load in books.consignments.values())
    for place, days in nursery.NEGLECTED.items():
        trees = sum(
            account.balance
            for table in books.accounts.values()
            for key, account in table.items()
            if key.place == place and key.kind == "trees" and key.stage != "failed"
        )
        looks = [e["occurred"] for e in events if e["data"].get("place") == place]
        last_look = datetime.fromisoformat(max(looks)).date()
        assert trees > 0, place
        assert last_look <= LAST - timedelta(days=days - 1), place


def test_a_shop_finds_a_place_where_goods_may_go_and_one_where_not(
    events: list[dict[str, Any]],
) -> None:
    told = [one["data"]["entry"] for one in events if one["type"] == "catalogue.changed"]
    rules = [one["destination"] for one in told if one["kind"] == "rule" and "destination" in one]
    assert {rule["answer"] for rule in rules} == {"allowed", "not_allowed"}
