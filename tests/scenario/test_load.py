"""The loader trusts nothing: whatever the service says otherwise than expected stops it."""

from collections.abc import AsyncIterator
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import httpx
import msgspec
import pytest

from seed_scenario.generator import Scenario, scenario
from seed_scenario.load import UnexpectedError, interrupted_at, load
from service.application import build
from service.log.keys import create_key
from service.log.refold import differences, refold
from service.settings import Settings
from service.storage.pool import Database
from tests.api.conftest import listening

STORY = scenario(date(2026, 11, 20), lots=30, years=1)


@pytest.fixture
async def client(database: Database, settings: Settings) -> AsyncIterator[httpx.AsyncClient]:
    async with database.writer.acquire() as one:
        key = await create_key(one, name="loader", role="history")
    app = build(settings, run_views=False, run_jobs=False, database=database)
    async with listening(app) as url:
        headers = {"Authorization": f"Bearer {key.token}"}
        async with httpx.AsyncClient(base_url=url, headers=headers, trust_env=False) as found:
            yield found


def first(number: int, **changed: Any) -> Scenario:
    """The first requests of the story, the last of them with other expectations."""
    requests = list(STORY.requests[:number])
    requests[-1] = msgspec.structs.replace(requests[-1], **changed)
    return Scenario(requests, STORY.temperatures)


async def test_what_was_recorded_keeps_its_time_and_teller(
    client: httpx.AsyncClient, database: Database
) -> None:
    few = first(60)
    told: list[int] = []
    recorded = await load(client, few, progress=told.append)
    assert sum(told) == few.events
    rows = await database.writer.fetch(
        "SELECT recorded_at, recorded_by, count(*) AS events FROM events GROUP BY 1, 2 ORDER BY 1"
    )
    expected = [
        (r.recorded_at, r.recorded_by, len(r.events)) for r in few.requests if not r.refused
    ]
    assert [tuple(row) for row in rows] == expected
    assert recorded == sum(count for _, _, count in expected)
    read_out = await database.writer.fetch(
        "SELECT site, recorded_at::date AS day_read, min(day) AS first, max(day) AS last, "
        "count(*) AS n FROM temperatures GROUP BY 1, 2 ORDER BY 1, 2"
    )
    assert {row["site"] for row in read_out} == {"CORIN", "TARNA", "ELDRA"}
    for before, row in pairwise([None, *read_out]):
        assert row["last"] <= row["day_read"]
        if before is not None and before["site"] == row["site"]:
            # Once a week, nothing twice and nothing left out.
            assert row["first"] == before["last"] + timedelta(days=1)
            assert row["n"] <= max((row["day_read"] - before["day_read"]).days, 7) + 1
    assert len(read_out) >= 9
    # Sent again from a time on, only what came after it is sent.
    again = await load(client, few, after=few.requests[-1].recorded_at)
    assert again == 0


async def test_an_interrupted_load_finds_where_it_stopped(client: httpx.AsyncClient) -> None:
    assert await interrupted_at(client, STORY) is None
    await load(client, first(45))
    assert await interrupted_at(client, STORY) == STORY.requests[44].recorded_at
    other = scenario(date(2026, 11, 20), seed=5, lots=30, years=1)
    with pytest.raises(UnexpectedError, match="other events than this story's"):
        await interrupted_at(client, other)


async def test_the_books_equal_a_refold_of_the_whole_story(
    client: httpx.AsyncClient, database: Database
) -> None:
    recorded = await load(client, STORY)
    assert recorded >= 1500
    async with database.writer.acquire() as one:
        books = await refold(one)
        assert books.position == recorded
        assert await differences(one, books) == []
        await one.execute("UPDATE balances SET balance = balance + 1 WHERE kind = 'trees'")
        assert await differences(one, books) != []


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"refused": {0: "held"}}, "it should have been refused"),
        ({"remarked": {0: ["breach"]}}, "event 0 should be remarked"),
        ({"mode": "each", "refused": {0: "held"}}, "event 0 should be held"),
    ],
)
async def test_an_unexpected_verdict_stops_the_load(
    client: httpx.AsyncClient, changed: dict[str, Any], said: str
) -> None:
    with pytest.raises(UnexpectedError, match=said):
        await load(client, first(1, **changed))


async def test_an_unexpected_refusal_is_shown_with_its_problem(client: httpx.AsyncClient) -> None:
    # Without the site's own entry its places are unknown.
    with pytest.raises(UnexpectedError, match=r"(?s)should have been recorded.*409.*unknown_code"):
        await load(client, Scenario(STORY.requests[1:2], STORY.temperatures))
