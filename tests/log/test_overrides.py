"""Overrides of promises: somebody's word in the place of the forecast."""

from collections.abc import AsyncIterator
from typing import Any

import pytest

from service.log.submission import Verdict
from service.storage.pool import Database
from tests.support.bench_side import event
from tests.support.seller import (
    Seller,
    available,
    on,
    ruled,
    sale,
    selling,
    wants,
)


@pytest.fixture
async def bench(database: Database) -> AsyncIterator[Seller]:
    async with selling(database) as side:
        yield side


async def test_an_override_takes_the_place_of_the_forecast(bench: Seller) -> None:
    await bench.sites_told(50, 50)
    (made,) = await bench.given(ruled(200, until=on(30)))
    assert made.made == {"override": ["PO1"]}
    # All sites have the more that the one site has.
    assert await available(bench) == 200
    assert await available(bench, any_site=True) == 200
    assert await available(bench, needed_by=on(30)) == 200
    assert await available(bench, needed_by=on(31)) == 50
    await bench.given(wants(150, needed_by=on(20)))
    assert await available(bench) == 50
    # After it the forecast counts again, and has not that many.
    assert await available(bench, needed_by=on(31)) == 0
    await bench.given(sale(10))
    assert await available(bench) == 40
    await bench.agrees()


async def test_an_override_can_withhold(bench: Seller) -> None:
    """Nothing of this site, whatever is told; what is at other sites can be promised."""
    await bench.told(50)
    await bench.told(20, site="TARNA")
    await bench.told(70, site="")
    await bench.given(ruled(0))
    assert await available(bench) == 0
    assert await available(bench, any_site=True) == 20
    await bench.given(event("promise.override_ended", "2026-06-25", override="PO1", reason="fine"))
    assert await available(bench) == 50
    await bench.agrees()


async def test_the_younger_override_counts(bench: Seller) -> None:
    await bench.sites_told(50)
    await bench.given(ruled(80), ruled(60, "PO2", until=on(10), **{"from": on(5)}))
    assert await available(bench, needed_by=on(11)) == 80
    assert await available(bench, needed_by=on(5)) == 60
    assert await available(bench) == 80
    await bench.given(wants(10, needed_by=on(6)))
    assert await available(bench) == 50


async def test_an_override_without_any_forecast(bench: Seller) -> None:
    await bench.given(ruled(70))
    assert await available(bench) == 70
    assert await available(bench, any_site=True) == 70
    assert await available(bench, line={"lot": "R1"}) == 50


async def test_an_override_that_is_over_says_nothing(bench: Seller) -> None:
    await bench.sites_told(50)
    await bench.given(ruled(70, until=on(-1)))
    assert await available(bench) == 50


@pytest.mark.parametrize(
    ("wrong", "kind", "pointer"),
    [
        ({"until": "2026-06-21"}, "bad_value", "#/data/until"),
        ({"until": "2026-02-30"}, "not_a_day", "#/data/until"),
        ({"from": "2026-13-01"}, "not_a_day", "#/data/from"),
        ({"cultivar": "NONE"}, "unknown_code", "#/data/cultivar"),
        ({"rootstock": "NONE"}, "unknown_code", "#/data/rootstock"),
        ({"size": "NONE"}, "unknown_code", "#/data/size"),
        ({"override": "PO0"}, "code_in_use", "#/data/override"),
    ],
)
async def test_an_override_that_can_not_be(
    bench: Seller, wrong: dict[str, Any], kind: str, pointer: str
) -> None:
    await bench.given(ruled(1, "PO0"))
    said = ruled(1)
    said["data"] |= wrong
    (fault,) = (await bench.when(said)).errors
    assert (fault.kind, fault.pointer) == (kind, pointer)


async def test_an_override_is_ended_once_and_by_its_site(bench: Seller) -> None:
    await bench.given(ruled(1))
    end = event("promise.override_ended", "2026-06-25", override="PO1", reason="it came")
    assert reasons(await bench.when(end | {"site": "TARNA"})) == ["unknown_code"]
    (made,) = await bench.given(end)
    assert reasons(await bench.when(end)) == ["not_open"]
    void = event("event.voided", "2026-06-26", event=made.id, reason="slip")
    assert reasons(await bench.when(void)) == ["not_voidable"]
    await bench.agrees()


def reasons(verdict: Verdict) -> list[str]:
    return [fault.kind for fault in verdict.errors]
