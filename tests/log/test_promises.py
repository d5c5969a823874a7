"""Claims decided by what the forecast told: by day, under the lock, never above it."""

import asyncio
from collections.abc import AsyncIterator
from datetime import date, timedelta
from typing import Any

import pytest

from service.log.append import Appender
from service.log.refold import differences, refold
from service.log.submission import Answer
from service.storage.pool import Database
from tests.support.bench_side import NOW, event
from tests.support.seller import (
    ITEM,
    TODAY,
    Seller,
    available,
    bought,
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


# -- by day -----------------------------------------------------------------------------------


async def test_trees_that_still_grow_are_promised_for_when_they_will_be_ready(
    bench: Seller,
) -> None:
    await bench.sites_told(50, 50, 120)
    assert await available(bench) == 50
    assert await available(bench, needed_by=on(13)) == 50
    assert await available(bench, needed_by=on(14)) == 120
    (made,) = await bench.given(wants(120, "RES1", needed_by=on(14)))
    assert made.remarks == []
    # Of these, fifty stand there already; they are kept back.
    assert await available(bench) == 0
    await bench.agrees()


async def test_what_is_promised_for_later_is_kept_back_unless_more_comes_by_then(
    bench: Seller,
) -> None:
    await bench.sites_told(50, 50, 120)
    await bench.given(wants(60, needed_by=on(14)))
    assert await available(bench) == 50
    await bench.given(wants(40, needed_by=on(20)))
    assert await available(bench) == 20


async def test_fewer_later_than_now_count_for_now_where_something_is_due_then(
    bench: Seller,
) -> None:
    """Some of what stands there will have died a week on: that much less is there for others."""
    await bench.sites_told(50, 44, 47)
    assert await available(bench, needed_by=on(3)) == 50
    assert await available(bench, needed_by=on(7)) == 44
    assert await available(bench, needed_by=on(4000)) == 47
    await bench.given(wants(10, needed_by=on(8)))
    assert await available(bench, needed_by=on(3)) == 34
    assert await available(bench, needed_by=on(14)) == 37


async def test_a_refusal_says_from_when_on_all_of_it_can_be_promised(bench: Seller) -> None:
    await bench.sites_told(50, 70, 90)
    await bench.given(wants(10, needed_by=on(8)))
    (fault,) = (await bench.when(wants(75, needed_by=on(7)))).errors
    assert fault.numbers == {
        "item": "NAVEL/CARRIZO/L2/",
        **ITEM,
        "grade": None,
        "lot": None,
        "buds": False,
        "site": "CORIN",
        "asked": 75,
        "available": 60,
        "spoken_for": 10,
        "foreseen": 70,
        "needed_by": on(7),
        "sure": "8 in 10",
        "earliest": on(14),
        "available_then": 80,
    }
    assert fault.detail == (
        f"75 of NAVEL on CARRIZO in L2 asked for {on(7)}; 70 can be counted on at CORIN "
        f"for {on(8)} (8 in 10 sure), "
        f"10 of them spoken for. All that is asked can be promised from {on(14)} on; by then there "
        "are 80."
    )
    assert (await bench.when(wants(75, needed_by=on(14)), check=True)).verdict == "accepted"
    assert (await bench.when(wants(75, needed_by=on(13)), check=True)).verdict == "refused"
    (never,) = (await bench.when(wants(81, needed_by=on(7)))).errors
    assert (never.numbers["earliest"], never.numbers["available_then"]) == (None, 80)
    assert never.detail.endswith(
        "There is no day foreseen for all that is asked; at most there are 80."
    )


async def test_a_day_is_named_that_suits_every_set(bench: Seller) -> None:
    """At the site enough are there from the third week on, at all sites in the second and again
    from the fourth on."""
    await bench.told(10, 10, 60, 60)
    await bench.told(10, 60, 10, 70, site="")
    (fault,) = (await bench.when(wants(60))).errors
    assert (fault.numbers["earliest"], fault.numbers["available_then"]) == (on(21), 60)


async def test_a_day_wanted_earlier_is_judged_a_later_one_is_not(bench: Seller) -> None:
    await bench.sites_told(50, 50, 120)
    await bench.given(wants(100, "RES1", needed_by=on(14)))

    def moved(day: str) -> Any:
        return event("reservation.changed", "2026-06-20", reservation="RES1", needed_by=day)

    (fault,) = (await bench.when(moved(on(7)))).errors
    assert (fault.kind, fault.numbers["earliest"]) == ("not_enough_to_promise", on(14))
    # Less is told by now: the claim is short where it stands, and a later day does no harm.
    await bench.sites_told(40, 40, 60)
    await bench.given(moved(on(30)))
    await bench.agrees()


async def test_today_is_the_sites_when_it_is_recorded(bench: Seller) -> None:
    """At 12:00 UTC it is 30 June in Madrid and 1 July in Auckland."""
    for site in ("CORIN", "TARNA"):
        await bench.told(5, 9, site=site, first=date(2026, 6, 24))
    await bench.told(10, 18, site="", first=date(2026, 6, 24))
    there = wants(9)
    assert (await bench.when(there, check=True)).verdict == "refused"
    assert (await bench.when(there | {"site": "TARNA"}, check=True)).verdict == "accepted"


async def test_what_is_told_for_days_to_come_says_nothing_of_old_records(bench: Seller) -> None:
    """Imported records are judged as they were: by what was ready."""
    await bench.sites_told(0, 0)
    assert (await bench.when(wants(50), check=True)).verdict == "refused"
    await bench.sites_told(0, 0, first=TODAY + timedelta(days=2))
    assert (await bench.when(wants(50), check=True)).verdict == "accepted"


# -- how sure --------------------------------------------------------------------------------


async def test_the_nursery_says_how_sure_it_wants_to_be(database: Database) -> None:
    found = []
    first = True
    for confidence in (0.5, 0.8, 0.82, 0.95):
        appender = Appender(database, clock=lambda: NOW, confidence=confidence)
        await appender.start()
        side = Seller(appender, database)
        if first:
            await side.nursery()
            for site in ("CORIN", ""):
                await side.told(100, site=site, surer=0.1)
            first = False
        found.append(await available(side))
        await appender.stop()
    # Between two levels the surer one counts: 0.85 for 0.82.
    assert found == [140, 100, 90, 70]


# -- what goes out, comes back, is held against it ------------------------------------------------


async def test_what_goes_out_since_the_snapshot_is_taken_off(bench: Seller) -> None:
    await bench.sites_told(50, 80)
    (sold,) = await bench.given(sale(20))
    assert await available(bench) == 30
    assert await available(bench, needed_by=on(7)) == 60
    # A newer snapshot knows of it.
    await bench.sites_told(30, 60)
    assert await available(bench) == 30
    await bench.given(event("event.voided", "2026-06-23", event=sold.id, reason="not so"))
    assert await available(bench) == 50
    await bench.agrees()


async def test_a_sale_that_fulfils_a_reservation_takes_nothing_off_twice(bench: Seller) -> None:
    await bench.sites_told(50, 80)
    await bench.given(wants(20, "RES1"))
    assert await available(bench) == 30
    await bench.given(sale(20, reservation="RES1"))
    assert await available(bench) == 30


async def test_each_set_of_stock_is_looked_at(bench: Seller) -> None:
    """A grade within any grade, a site within all sites."""
    first = ITEM | {"grade": "first"}
    await bench.told(50, grade="")
    await bench.told(20, grade="first")
    await bench.told(45, grade="", site="")
    await bench.told(20, grade="first", site="")
    assert await available(bench, line=first) == 20
    await bench.given(wants(15, line=ITEM, any_site=True))
    # 45 at all sites less 15; at this site alone nothing is promised yet.
    assert await available(bench) == 30
    await bench.given(wants(18, line=ITEM))
    assert await available(bench, line=first) == 12


async def test_of_a_lot_what_is_ready_must_do(bench: Seller) -> None:
    """A lot is a hard allocation, and its claim counts for the item as well."""
    await bench.sites_told(40, 90)
    (fault,) = (await bench.when(wants(51, line={"lot": "R1"}, needed_by=on(7)))).errors
    assert (fault.numbers["ready"], fault.numbers["available"]) == (50, 50)
    assert await available(bench, line={"lot": "R1"}, needed_by=on(7)) == 50
    # For now the item has no more.
    assert await available(bench, line={"lot": "R1"}) == 40
    await bench.given(wants(30, line={"lot": "R1"}, needed_by=on(7)))
    assert await available(bench) == 40
    assert await available(bench, needed_by=on(7)) == 60


async def test_trees_grown_for_a_customer_are_no_supply_and_their_claims_take_none(
    bench: Seller,
) -> None:
    await bench.grown_for_a_customer(8)
    await bench.sites_told(10)
    await bench.given(wants(8, line={"lot": "T1", "size": "L2"}))
    assert await available(bench) == 10
    await bench.given(
        event(
            "trees.sold",
            "2026-06-21",
            customer="cust-1",
            lines=[{"lot": "T1", "place": "C-T1", "size": "L2", "count": 3}],
        )
    )
    assert await available(bench) == 10
    await bench.agrees()


async def test_where_nothing_is_told_what_is_ready_counts(bench: Seller) -> None:
    """Of another size, and of buds, nothing is told."""
    await bench.sites_told(90, 90)
    small = ITEM | {"size": "P9"}
    (fault,) = (await bench.when(wants(1, line=small, needed_by=on(300)))).errors
    assert fault.numbers == {
        "asked": 1,
        "ready": 0,
        "spoken_for": 0,
        "available": 0,
        "earliest": None,
        "needed_by": on(300),
        "item": "NAVEL/CARRIZO/P9/",
        **small,
        "grade": None,
        "lot": None,
        "buds": False,
        "site": "CORIN",
    }
    # Told of the site and not of all sites: there what is ready must do.
    await bench.database.writer.execute("DELETE FROM supply WHERE site = ''")
    assert (await bench.when(wants(51), check=True)).errors[0].numbers["site"] is None


# -- a shortfall --------------------------------------------------------------------------------


async def test_a_sale_is_remarked_when_it_takes_what_is_promised_for_later(bench: Seller) -> None:
    await bench.sites_told(50, 70)
    await bench.given(wants(60, needed_by=on(7)))
    (fine,) = await bench.given(sale(10))
    assert fine.remarks == []
    (short,) = await bench.given(sale(1))
    (remark,) = short.remarks
    assert remark.kind == "shortfall"
    assert remark.detail == (
        "60 of NAVEL on CARRIZO in L2 at CORIN are promised; 59 can be counted on (8 in 10 sure)."
    )


async def test_a_loss_is_remarked_when_what_is_promised_for_now_is_gone(bench: Seller) -> None:
    await bench.sites_told(50, 70)
    await bench.given(wants(45), wants(10, needed_by=on(7)))
    gone = {"lot": "R1", "place": "C-T2", "stage": "ready", "size": "L2", "cause": "frost"}
    (fine,) = await bench.given(event("trees.lost", "2026-06-23", **gone, count=5))
    assert fine.remarks == []
    (short,) = await bench.given(event("trees.lost", "2026-06-23", **gone, count=1))
    assert [(r.kind, r.numbers["promised"], r.numbers["ready"]) for r in short.remarks] == [
        ("shortfall", 45, 44)
    ]


# -- many at once -------------------------------------------------------------------------------


async def test_many_claims_at_once_are_never_above_the_supply(
    bench: Seller, database: Database
) -> None:
    """Sixty wishes for 3 of 100 through two writers, while trees are sold beside: 30 can be had."""
    await bench.sites_told(100, 100)
    other = Appender(database, clock=lambda: NOW)
    await other.start()
    both = (bench, Seller(other, database))
    wishes = [both[n % 2].send(wants(3, f"Q{n}")) for n in range(60)]
    sales = [both[n % 2].send(sale(1)) for n in range(10)]
    answers = await asyncio.gather(*wishes, *sales)
    await other.stop()
    had = [answer for answer in answers[:60] if answer.status == 201]
    assert all(answer.status == 201 for answer in answers[60:])
    promised, out = await totals(database)
    assert (promised, out) == (3 * len(had), 10)
    # No further wish for 3 fits in; sales are never refused for what is promised.
    assert 100 - out - 3 < promised <= 100
    assert {tuple(kinds(answer)) for answer in answers[:60] if answer.status != 201} == {
        ("not_enough_to_promise",)
    }
    assert await available(bench) == max(100 - out - promised, 0)
    await bench.agrees()


async def totals(database: Database) -> tuple[int, int]:
    """What is promised and what went out."""
    row = await database.writer.fetchrow(
        "SELECT (SELECT sum(open) FROM commitments)::int, (SELECT sum(total) FROM item_out)::int"
    )
    return row[0], row[1]


def kinds(answer: Answer) -> list[str]:
    return [fault.kind for verdict in answer.verdicts for fault in verdict.errors]


# -- the log alone ---------------------------------------------------------------------------------


async def test_what_went_out_is_checked_against_the_log(bench: Seller) -> None:
    await bench.given(sale(20), sale(2), ruled(9))
    await bench.database.writer.execute("UPDATE item_out SET total = 21")
    await bench.database.writer.execute("UPDATE promise_overrides SET went_out = 5")
    async with bench.database.writer.acquire() as connection:
        found = await differences(connection, await refold(connection))
    assert found == [
        "what went out of NAVEL CARRIZO L2 ungraded CORIN: stored 21, by the log 22",
        *(line for line in found if line.startswith("override of a promise PO1: stored")),
    ]
    assert len(found) == 2


async def test_a_log_of_before_counts_what_goes_out_from_then_on(bench: Seller) -> None:
    """Sales that an older version recorded are in no total; a void of one is taken off it."""
    (old,) = await bench.given(sale(20))
    owner = await bench.database.connect("owner")
    await owner.execute("DELETE FROM item_out")
    await owner.execute("UPDATE log_head SET out_from = position")
    await owner.close()
    await bench.given(sale(5))
    await bench.given(event("event.voided", "2026-06-23", event=old.id, reason="not so"))
    assert await bench.database.writer.fetchval("SELECT total FROM item_out") == 5 - 20
    await bench.agrees()


async def test_a_lot_that_turns_out_to_be_another_item_comes_back_as_that(bench: Seller) -> None:
    (wrong, sold) = await bench.given(bought("R2", 30), sale(4, "R2"))
    new = bought("R2", 30) | {"replaces": wrong.id}
    new["data"] |= {"cultivar": "LIMA"}
    void = event("event.voided", "2026-06-23", event=wrong.id, reason="mixed up")
    await bench.given(void, new)
    await bench.agrees()
    await bench.given(event("event.voided", "2026-06-24", event=sold.id, reason="not so"))
    await bench.agrees()
    rows = await bench.database.writer.fetch("SELECT cultivar, total FROM item_out ORDER BY 1")
    assert [tuple(row) for row in rows] == [("LIMA", -4), ("NAVEL", 4)]


async def test_what_was_told_long_ago_says_nothing_any_more(bench: Seller) -> None:
    """More than a week old: of losses and holds since it knows nothing, so what is ready counts."""
    await bench.sites_told(500, 500, first=date(2026, 6, 21))
    assert (await bench.when(wants(450), check=True)).verdict == "refused"
    await bench.sites_told(500, 500, first=date(2026, 6, 25))
    assert (await bench.when(wants(450), check=True)).verdict == "accepted"


async def test_trees_grown_for_a_customer_are_no_stock_of_others_without_a_forecast_too(
    bench: Seller,
) -> None:
    before = await available(bench)
    await bench.grown_for_a_customer(8)
    assert await available(bench) == before
    # Whoever names the lot may have them.
    await bench.given(wants(8, line={"lot": "T1", "size": "L2"}))
    assert await available(bench) == before
