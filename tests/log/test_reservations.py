"""Reservations on the writer's own books: in part, confirmed, expired, changed; for whom, where."""

from collections.abc import AsyncIterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from service.log.append import Appender
from service.log.expiring import record_expired
from service.log.refold import differences, refold
from service.storage.pool import Database
from service.trade.making import expiry_of
from tests.corpus.keeping import read
from tests.corpus.keeping import refold as corpus_books
from tests.support.bench_side import NOW, BenchSide, entry, event

TREES = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2"}
FIRST = TREES | {"grade": "first"}
BUDS = {"cultivar": "NAVEL", "buds": True}
# NOW is 30 June 2026, 14:00 at CORIN.
TOLD = "2026-06-30T13:55:00+02:00"


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now

    def later(self, **time: float) -> None:
        self.now += timedelta(**time)


class Clerk(BenchSide):
    """Who reserves, with a clock in hand."""

    clock: Clock

    async def stored(self, position: int) -> dict[str, Any]:
        found: dict[str, Any] = await self.database.writer.fetchval(
            "SELECT data FROM events WHERE position = $1", position
        )
        return found

    async def row(self, code: str) -> dict[str, Any]:
        row = await self.database.writer.fetchrow(
            "SELECT * FROM reservations WHERE code = $1", code
        )
        assert row is not None
        return dict(row)

    async def agrees(self) -> None:
        """The books are what the log alone makes of them."""
        async with self.database.writer.acquire() as connection:
            assert await differences(connection, await refold(connection)) == []

    def at(self) -> str:
        return self.clock.now.isoformat()


@pytest.fixture
async def clerk(database: Database) -> AsyncIterator[Clerk]:
    """At CORIN: 50 trees ungraded, 10 of the first grade, 40 buds in a bag."""
    clock = Clock()
    appender = Appender(database, clock=clock)
    await appender.start()
    side = Clerk(appender, database)
    side.clock = clock
    await side.stocked()
    bought = {"supplier": "sup-9", "document": "PP-1", "place": "C-T2"} | TREES
    await side.given(
        event("trees.received", "2026-03-01", lot="R1", count=50, **bought),
        event("trees.received", "2026-03-01", lot="R2", grade="first", count=10, **bought),
    )
    yield side
    await appender.stop()


def wants(code: str, *lines: Any, day: str = TOLD, **more: Any) -> Any:
    more = {"customer": "cust-1"} | more
    return event("reservation.made", day, reservation=code, lines=list(lines), **more)


def of(item: Any, count: int) -> Any:
    return item | {"count": count}


# -- in part -----------------------------------------------------------------------------------


async def test_where_fewer_will_do_each_line_has_what_is_left_beside_those_before_it(
    clerk: Clerk,
) -> None:
    wish = wants("RES1", of(FIRST, 12), of(TREES, 60), of(BUDS, 41), of({"lot": "R1"}, 1))
    assert (await clerk.when(wish)).verdict == "refused"
    wish["data"]["partial"] = True
    verdict = await clerk.when(wish)
    assert verdict.verdict == "accepted"
    lines = (await clerk.stored(verdict.position or 0))["lines"]
    # 10 are of the first grade; of any grade 50 are left beside these; then the lot has none left.
    assert [(one["count"], one["asked"]) for one in lines] == [(10, 12), (50, 60), (40, 41)]
    assert [
        (one.kind, one.numbers["line"], one.numbers["promised"]) for one in verdict.remarks
    ] == [
        ("less_promised", 0, 10),
        ("less_promised", 1, 50),
        ("less_promised", 2, 40),
        ("less_promised", 3, 0),
    ]
    nothing = await clerk.when(wants("RES2", of(TREES, 1), partial=True))
    assert nothing.errors[0].kind == "not_enough_to_promise"
    await clerk.agrees()


async def test_what_is_promised_in_part_is_what_would_be_accepted_and_not_one_more(
    clerk: Clerk,
) -> None:
    await clerk.given(wants("RES1", of(FIRST, 4)))
    verdict = await clerk.when(wants("RES2", of(TREES, 1000), partial=True), check=True)
    (line,) = verdict.remarks
    most = line.numbers["promised"]
    assert (await clerk.when(wants("RES2", of(TREES, most + 1)), check=True)).errors
    assert (await clerk.when(wants("RES2", of(TREES, most)))).verdict == "accepted"


# -- lots and items -----------------------------------------------------------------------------


async def test_what_is_promised_of_a_lot_is_not_promised_again_as_the_grade_it_stands_in(
    clerk: Clerk,
) -> None:
    """All trees of the first grade are of lot R2; of R1 fifty without one stand beside them."""
    lot, any_site = {"lot": "R2"}, {"any_site": True}
    await clerk.given(wants("RES1", of(lot, 8), **any_site))
    (fault,) = (await clerk.when(wants("RES2", of(FIRST, 3)))).errors
    assert (fault.numbers["spoken_for"], fault.numbers["available"]) == (8, 2)
    await clerk.given(wants("RES2", of(FIRST, 2)))
    assert (await clerk.when(wants("RES3", of(FIRST, 1), **any_site))).verdict == "refused"
    assert (await clerk.when(wants("RES3", of(TREES, 50)))).verdict == "accepted"


async def test_what_is_promised_of_a_grade_is_not_promised_again_as_the_lot_of_it(
    clerk: Clerk,
) -> None:
    lot = {"lot": "R2"}
    await clerk.given(wants("RES1", of(FIRST, 8)))
    (fault,) = (await clerk.when(wants("RES2", of(lot, 3), any_site=True))).errors
    assert fault.detail.startswith(
        "3 of NAVEL on CARRIZO in L2, grade first (where lot R2 stands) asked; 10 ready and not "
        "held at CORIN, 8 of them spoken for."
    )
    part = await clerk.when(wants("RES2", of(lot, 9), of(TREES, 60), any_site=True, partial=True))
    assert [(one.numbers["line"], one.numbers["promised"]) for one in part.remarks] == [
        (0, 2),
        (1, 50),
    ]
    await clerk.agrees()


async def test_what_is_held_by_now_is_promised_to_nobody_whatever_day_it_is_told_of(
    clerk: Clerk,
) -> None:
    hold = {"hold": "H1", "kind": "quality", "target": "lot", "code": "R1", "reason": "spots"}
    await clerk.given(event("hold.placed", "2026-06-30", **hold))
    (fault,) = (await clerk.when(wants("RES1", of(TREES, 11), day="2026-06-29"))).errors
    assert fault.numbers["available"] == 10
    await clerk.given(event("hold.lifted", "2026-06-30", hold="H1", reason="clean"))
    await clerk.given(wants("RES1", of(TREES, 60), day="2026-06-29"))


# -- confirmed, expired ---------------------------------------------------------------------------


async def test_what_is_confirmed_expires_no_more(clerk: Clerk) -> None:
    soon = (NOW + timedelta(hours=1)).isoformat()
    await clerk.given(wants("RES1", of(TREES, 60), order="O-1", expires_at=soon))
    confirmed = event("reservation.confirmed", TOLD, reservation="RES1", order="O-2")
    await clerk.given(confirmed)
    clerk.clock.later(hours=2)
    assert (await clerk.when(wants("RES2", of(TREES, 1)))).errors[0].numbers["available"] == 0
    row = await clerk.row("RES1")
    assert (row["order_ref"], row["expires_at"]) == ("O-2", None)
    assert row["confirmed_day"] == date(2026, 6, 30)
    (again,) = (await clerk.when(confirmed)).errors
    assert (again.kind, again.numbers["order"]) == ("confirmed_already", "O-2")
    later = event("reservation.changed", TOLD, reservation="RES1", expires_at="2026-08-01")
    assert (await clerk.when(later)).errors[0].kind == "confirmed_already"
    await clerk.agrees()


@pytest.mark.parametrize("how", ["confirmed", "another expiry", "no expiry"])
async def test_what_had_expired_is_judged_like_a_new_one(clerk: Clerk, how: str) -> None:
    soon = (NOW + timedelta(hours=1)).isoformat()
    await clerk.given(wants("RES1", of(TREES, 40), expires_at=soon))
    clerk.clock.later(hours=2)
    now = clerk.at()
    takes_up = {
        "confirmed": event("reservation.confirmed", now, reservation="RES1"),
        "another expiry": event(
            "reservation.changed", now, reservation="RES1", expires_at="2026-07-09"
        ),
        "no expiry": event("reservation.changed", now, reservation="RES1", cleared=["expires_at"]),
    }[how]
    await clerk.given(wants("RES2", of(TREES, 30), day=now))
    (fault,) = (await clerk.when(takes_up)).errors
    assert (fault.kind, fault.numbers["available"]) == ("not_enough_to_promise", 30)
    await clerk.given(event("reservation.released", now, reservation="RES2", reason="no"))
    assert (await clerk.when(takes_up)).verdict == "accepted"
    assert (await clerk.when(wants("RES3", of(TREES, 21), day=now))).verdict == "refused"
    await clerk.agrees()


async def test_a_change_of_what_has_expired_binds_nothing_and_says_so(clerk: Clerk) -> None:
    await clerk.given(wants("RES1", of(TREES, 40), expires_at=(NOW + timedelta(1)).isoformat()))
    clerk.clock.later(days=2)
    change = event("reservation.changed", clerk.at(), reservation="RES1", order="O-9")
    assert [one.kind for one in (await clerk.when(change)).remarks] == ["has_expired"]
    assert (await clerk.when(wants("RES2", of(TREES, 60), day=clerk.at()))).verdict == "accepted"


async def test_an_expiry_is_recorded_once_and_only_when_it_has_come(clerk: Clerk) -> None:
    soon = NOW + timedelta(hours=1)
    await clerk.given(
        wants("RES1", of(TREES, 5), expires_at=soon.isoformat()),
        wants("RES2", of(TREES, 5), expires_at=soon.isoformat()),
        wants("RES3", of(TREES, 5)),
    )
    early = event("reservation.expired", TOLD, reservation="RES1")
    assert (await clerk.when(early)).errors[0].kind == "not_expired"
    assert await record_expired(clerk.database, clerk.clock) == 0
    clerk.clock.later(hours=1)
    assert await record_expired(clerk.database, clerk.clock) == 2
    assert await record_expired(clerk.database, clerk.clock) == 0
    told = event("reservation.expired", clerk.at(), reservation="RES1")
    assert (await clerk.when(told)).errors[0].kind == "not_open"
    rows = await clerk.database.writer.fetch(
        "SELECT occurred_at, recorded_by FROM events WHERE type = 'reservation.expired'"
    )
    assert [tuple(row) for row in rows] == [(soon, "graftlog")] * 2
    # Taken up again it may expire again, and that is another expiry.
    again = (clerk.clock.now + timedelta(hours=1)).isoformat()
    taken_up = event("reservation.changed", clerk.at(), reservation="RES1", expires_at=again)
    await clerk.given(taken_up)
    assert (await clerk.row("RES1"))["expired_day"] is None
    clerk.clock.later(hours=2)
    assert await record_expired(clerk.database, clerk.clock) == 1
    await clerk.agrees()


@pytest.mark.parametrize(
    ("site", "said", "ends"),
    [
        # A day ends at the site's midnight. Europe's clocks go back on the last Sunday of October
        # and forward on that of March, at 01:00 UTC (directive 2000/84/EC, articles 2 and 3).
        ("CORIN", "2026-06-30", "2026-06-30T22:00Z"),
        ("CORIN", "2026-10-24", "2026-10-24T22:00Z"),
        ("CORIN", "2026-10-25", "2026-10-25T23:00Z"),
        ("CORIN", "2026-03-28", "2026-03-28T23:00Z"),
        ("CORIN", "2026-03-29", "2026-03-29T22:00Z"),
        # Sydney's go back on the first Sunday of April (Standard Time Act 1987 (NSW), section 3).
        ("VALE", "2026-04-04", "2026-04-04T13:00Z"),
        ("VALE", "2026-04-05", "2026-04-05T14:00Z"),
        ("VALE", "2026-04-05T02:30:00+11:00", "2026-04-04T15:30Z"),
    ],
)
def test_a_day_of_expiry_ends_with_the_day_at_the_site(site: str, said: str, ends: str) -> None:
    books, _ = corpus_books(read())
    assert expiry_of(books, site, said) == datetime.fromisoformat(ends)


async def test_a_claim_counts_to_the_last_moment_of_its_day_at_the_site(clerk: Clerk) -> None:
    await clerk.given(wants("RES1", of(TREES, 60), expires_at="2026-06-30"))
    clerk.clock.now = datetime(2026, 6, 30, 21, 59, 59, tzinfo=UTC)
    assert (await clerk.when(wants("RES2", of(TREES, 1)))).verdict == "refused"
    clerk.clock.now = datetime(2026, 6, 30, 22, 0, tzinfo=UTC)
    assert (await clerk.when(wants("RES2", of(TREES, 60)))).verdict == "accepted"


# -- changed -----------------------------------------------------------------------------------


async def test_of_two_who_change_one_reservation_at_once_one_must_read_again(
    clerk: Clerk,
) -> None:
    (made,) = await clerk.given(wants("RES1", of(TREES, 40)))
    seen = {("reservation", "RES1"): frozenset({made.position or 0})}

    def change(count: int) -> Any:
        return event("reservation.changed", TOLD, reservation="RES1", lines=[of(TREES, count)])

    first = await clerk.send(change(10), expected=seen)
    second = await clerk.send(change(20), expected=seen)
    assert (first.status, second.status) == (201, 412)
    (fault,) = second.verdicts[0].errors
    assert fault.numbers == {"position": first.position, "expected": [made.position]}
    stale = {("reservation", "RES1"): frozenset[int]()}
    assert (await clerk.send(change(20), expected=stale)).status == 412
    none = {("reservation", "NONE"): frozenset({made.position or 0})}
    assert (await clerk.send(change(20), expected=none)).status == 412


async def test_what_is_cleared_is_no_more_and_a_sooner_day_is_judged(clerk: Clerk) -> None:
    await clerk.given(
        wants("RES1", of(TREES, 40), needed_by="2026-09-01", expires_at="2026-08-01", order="O-1")
    )
    cleared = ["needed_by", "expires_at", "order"]
    await clerk.given(event("reservation.changed", TOLD, reservation="RES1", cleared=cleared))
    row = await clerk.row("RES1")
    assert (row["needed_by"], row["expires_at"], row["order_ref"]) == (None, None, None)
    both = event("reservation.changed", TOLD, reservation="RES1", cleared=["order"], order="O-2")
    assert (await clerk.when(both)).errors[0].pointer == "#/data/order"
    await clerk.agrees()


async def test_a_day_that_is_over_is_no_day_to_promise_for(clerk: Clerk) -> None:
    over = wants("RES1", of(TREES, 1), needed_by="2026-06-29")
    assert (await clerk.when(over)).errors[0].pointer == "#/data/needed_by"
    assert (await clerk.when(wants("RES1", of(TREES, 1), needed_by="2026-06-30"))).position
    gone = wants("RES2", of(TREES, 1), expires_at=TOLD)
    assert (await clerk.when(gone)).errors[0].kind == "in_the_past"
    change = event("reservation.changed", TOLD, reservation="RES1", expires_at="2026-06-29")
    assert (await clerk.when(change)).errors[0].kind == "in_the_past"


# -- buds, lots, places --------------------------------------------------------------------------


async def test_buds_are_promised_beside_what_grafting_orders_still_take(clerk: Clerk) -> None:
    """A cleft takes 3 buds a tree by the handbook table in `trade/methods`; 40 buds are there."""
    order = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "needed_by": "2026-07-10"}
    await clerk.given(
        event("grafting.ordered", TOLD, work_order="WO1", count=5, method="cleft", **order),
        event("grafting.ordered", TOLD, work_order="WO2", count=4, **order),
    )
    (fault,) = (await clerk.when(wants("RES1", of(BUDS, 22)))).errors
    assert (fault.numbers["ready"], fault.numbers["for_orders"]) == (40, 5 * 3 + 4)
    assert (fault.numbers["available"], fault.numbers["spoken_for"]) == (21, 0)
    assert "22 of NAVEL (buds) asked" in fault.detail
    assert "19 wanted by grafting orders" in fault.detail
    await clerk.given(wants("RES1", of(BUDS, 21)))
    # What is grafted for an order takes buds and is wanted no more: nothing changes for others.
    await clerk.given(clerk.graft(2, day=TOLD, lot="T9", method="cleft", work_order="WO1"))
    assert (await clerk.when(wants("RES2", of(BUDS, 1)))).verdict == "refused"
    # Nor can a lot of the wood be promised past that.
    assert (await clerk.when(wants("RES2", of({"lot": "BW1"}, 1)))).verdict == "refused"
    await clerk.given(event("grafting.order_ended", TOLD, work_order="WO2", reason="cancelled"))
    assert (await clerk.when(wants("RES2", of({"lot": "BW1"}, 4)))).verdict == "accepted"
    assert (await clerk.when(wants("RES3", of(BUDS, 1)))).verdict == "refused"
    await clerk.agrees()


async def test_what_is_grown_for_one_customer_is_promised_to_no_other(clerk: Clerk) -> None:
    await clerk.given(
        clerk.graft(5, grown_for="cust-7"),
        event("trees.graded", TOLD, lot="T1", stage="grafted",
              outcomes=[{"count": 5, "stage": "ready"}]),
    )  # fmt: skip
    line = of({"lot": "T1", "size": "P9"}, 5)
    (fault,) = (await clerk.when(wants("RES1", line))).errors
    assert (fault.kind, fault.pointer) == ("grown_for_another", "#/data/lines/0/lot")
    assert "cust-7" not in fault.detail
    assert (await clerk.when(wants("RES1", line, customer="cust-7"))).verdict == "accepted"


@pytest.mark.parametrize(
    ("line", "pointer"),
    [
        ({"lot": "R1", "cultivar": "VALEN"}, "cultivar"),
        ({"lot": "R1", "rootstock": "SWINGLE"}, "rootstock"),
        (TREES | {"buds": True}, "rootstock"),
        (BUDS | {"grade": "first"}, "grade"),
    ],
)
async def test_a_line_that_names_two_different_things_is_asked_which(
    clerk: Clerk, line: dict[str, Any], pointer: str
) -> None:
    (fault,) = (await clerk.when(wants("RES1", of(line, 1)))).errors
    assert (fault.kind, fault.pointer) == ("say_which", f"#/data/lines/0/{pointer}")
    # What is said of the lot besides may be true.
    fine = of({"lot": "R1", "cultivar": "NAVEL"}, 1)
    assert (await clerk.when(wants("RES1", fine))).verdict == "accepted"


async def test_what_came_back_is_promised_to_nobody(clerk: Clerk) -> None:
    await clerk.given(
        entry("site", "CORIN", name="Corin", time_zone="Europe/Madrid", latitude=40, longitude=1,
              norms={"returns_allowed": True}),
        event("trees.sold", TOLD, customer="cust-1", lines=[of({"lot": "R1"}, 50)]),
        event("trees.returned", TOLD, customer="cust-1", reason="too many",
              lines=[of({"lot": "R1", "place": "C-RET", "size": "L2"}, 20)]),
    )  # fmt: skip
    assert (await clerk.when(wants("RES1", of(TREES, 11)))).errors[0].numbers["ready"] == 10
    await clerk.given(event("trees.moved", TOLD, lot="R1", to="C-T1", count=20))
    assert (await clerk.when(wants("RES1", of(TREES, 30)))).verdict == "accepted"


async def test_what_a_rule_forbids_to_send_is_not_promised(clerk: Clerk) -> None:
    rule = {"title": "Nothing of citrus", "value": "not allowed", "source": "invented, no source"}
    no = {"region": "US-CA", "crop": "citrus", "answer": "not_allowed"}
    await clerk.given(entry("rule", "R-CA", as_of="2026-01-01", destination=no, **rule))
    (fault,) = (await clerk.when(wants("RES1", of(TREES, 1), destination=["US-CA"]))).errors
    assert (fault.kind, fault.numbers["rule_code"]) == ("may_not_be_sent", "R-CA")
    assert fault.numbers["source"] == "invented, no source"
    asks = await clerk.when(wants("RES1", of(TREES, 1), of(FIRST, 1), destination=["ES-VC"]))
    assert [one.kind for one in asks.remarks] == ["ask_authority"]
    # A line that comes later goes to the same place.
    both = event("reservation.changed", TOLD, reservation="RES1", lines=[of(BUDS, 1)])
    assert [one.kind for one in (await clerk.when(both)).remarks] == ["ask_authority"]
