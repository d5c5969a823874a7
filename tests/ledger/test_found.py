"""Stories that the plain model told otherwise than the service once did."""

from collections.abc import AsyncIterator
from typing import Any

import pytest

from service.log.append import Appender
from service.storage.pool import Database
from tests.support.bench_side import NOW, BenchSide, event


@pytest.fixture
async def bench(database: Database) -> AsyncIterator[BenchSide]:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    side = BenchSide(appender, database)
    await side.stocked()
    yield side
    await appender.stop()


def estimated() -> Any:
    fill = {"bag": "B3", "buds": 10, "basis": "estimated", "place": "C-BOX"}
    return event(
        "budwood.received", "2026-03-01", lot="BW3", cultivar="NAVEL", supplier="s-1", bags=[fill]
    )


def counted(day: str, number: int) -> Any:
    line = {"bag": "B3", "place": "C-BOX", "counted": number}
    return event("stock.counted", day, lines=[line], reason="looked into the bag")


async def test_an_estimate_does_not_cover_what_is_taken_after_a_count(bench: BenchSide) -> None:
    """12 of an estimated 10 are drawn before the count; 5 of the 3 counted are not there."""
    await bench.given(estimated(), counted("2026-03-05", 3))
    before = bench.graft(12, "2026-03-03", "T1", from_=[{"bag": "B3"}])
    after = bench.graft(5, "2026-03-06", "T2", from_=[{"bag": "B3"}])
    answer = await bench.send(before, after)
    assert answer.status == 409
    (fault,) = [fault for verdict in answer.verdicts for fault in verdict.errors]
    assert (fault.kind, fault.numbers["day"], fault.numbers["shortage"]) == (
        "below_zero",
        "2026-03-06",
        2,
    )
    assert [v.verdict for v in await bench.given(before)] == ["accepted"]
    assert await bench.balance("BW3", "bag") == 3


async def test_nothing_is_counted_into_a_lot_whose_making_was_voided(bench: BenchSide) -> None:
    (made,) = await bench.given(bench.graft(5))
    await bench.given(event("event.voided", "2026-03-06", event=made.id, reason="not so"))
    line = {"lot": "T1", "place": "C-T1", "stage": "grafted", "size": "P9", "counted": 4}
    verdict = await bench.when(event("stock.counted", "2026-03-07", lines=[line], reason="walked"))
    assert [fault.kind for fault in verdict.errors] == ["unknown_code"]
    await bench.given(bench.graft(6))
    assert (
        await bench.when(event("stock.counted", "2026-03-07", lines=[line], reason="walked"))
    ).verdict == "accepted"


async def test_a_released_claim_is_not_revived_by_voiding_a_sale(bench: BenchSide) -> None:
    standing = {"lot": "T1", "place": "C-T1", "stage": "grafted", "size": "P9"}
    outcomes = [{"count": 8, "stage": "ready", "grade": "first"}]
    await bench.given(
        bench.graft(10), event("trees.graded", "2026-05-01", **standing, outcomes=outcomes)
    )
    item = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "P9", "count": 6}
    await bench.given(
        event("reservation.made", "2026-05-02", reservation="R1", customer="c-1", lines=[item])
    )
    line = {"lot": "T1", "place": "C-T1", "size": "P9", "grade": "first", "count": 4}
    (sale,) = await bench.given(
        event("trees.sold", "2026-05-03", customer="c-1", reservation="R1", lines=[line])
    )
    await bench.given(
        event("reservation.released", "2026-05-04", reservation="R1", reason="gave up")
    )
    await bench.given(event("event.voided", "2026-05-05", event=sale.id, reason="not so"))
    row = await bench.database.writer.fetchrow(
        "SELECT state, open::int FROM reservations JOIN commitments ON reservation = code"
    )
    assert tuple(row) == ("released", 0)


async def test_a_bag_filled_anew_from_other_wood_is_not_the_bag_that_was_grafted_from(
    bench: BenchSide,
) -> None:
    """The trees are of the wood that was in the bag; what fills it in a replacement is another."""
    (received,) = await bench.given(estimated())
    (grafted,) = await bench.given(bench.graft(4, "2026-03-04", from_=[{"bag": "B3"}]))
    void = event("event.voided", "2026-03-06", event=received.id, reason="not so")
    other = estimated()
    other["replaces"], other["data"]["lot"] = received.id, "BW4"
    answer = await bench.send(void, other)
    faults = [fault for verdict in answer.verdicts for fault in verdict.errors]
    assert answer.status == 409
    (fault, *_) = faults
    assert (fault.kind, fault.numbers["of"]) == ("others_stand_on_it", ["lot:BW3"])
    assert fault.numbers["events"] == [grafted.id]
