"""The availability list against the writer: so many are accepted, and not one more."""

import random
from collections.abc import AsyncIterator
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from service.forecast.answers.promise_view import PromiseQuery, promises_of
from service.log.append import Appender
from service.storage.pool import Database
from service.storage.walls import seeing
from service.trade.available import Row
from service.trade.drawn import Part, served
from service.trade.promising import PROMISED_AT
from service.views.availability import AvailabilityList
from tests.support.bench_side import NOW, event
from tests.support.seller import ITEM, TODAY, Seller, bought, on, ruled, sale

ZONES = {"CORIN": 2, "TARNA": 12}
"""Hours that the sites are ahead of UTC in June."""


class Shop(Seller):
    """Who looks at the list and then reserves; its clock is moved by hand."""

    def __init__(self, appender: Appender, database: Database, clock: list[datetime]) -> None:
        super().__init__(appender, database)
        self.clock = clock
        self.list = AvailabilityList(PROMISED_AT)

    async def rows(self) -> dict[str, Row]:
        await self.list.look(self.database.reader, self.clock[0])
        return self.list.rows

    async def row(self, item: str = "trees/NAVEL/CARRIZO/L2//CORIN") -> list[tuple[str, int]]:
        """A row's points, by their dates."""
        points = (await self.rows())[item].points
        return [(str(date.fromordinal(point.day)), point.quantity) for point in points]

    def wish(self, row: Row, quantity: int, day: int, code: str | None = None) -> Any:
        """A reservation, made now, of the row's item for a day."""
        item = row.item
        line: dict[str, Any] = {"cultivar": item.cultivar, "count": quantity}
        if item.buds:
            line["buds"] = True
        else:
            line |= {"rootstock": item.rootstock, "size": item.size}
            line |= {"grade": item.grade} if item.grade else {}
        where = {"needed_by": str(date.fromordinal(day)), "any_site": not row.site}
        named = {"reservation": code} if code else {}
        now, site = str(self.clock[0]).replace(" ", "T"), row.site or "CORIN"
        return event("reservation.made", now, site, customer="c-1", lines=[line], **where, **named)

    async def holds_for(self, row: Row, day: int) -> None:
        """What the list says of a day is what the writer decides."""
        quantity = row.on(day)
        said = f"{row.key} on {date.fromordinal(day)}: {quantity}"
        if quantity:
            verdict = await self.when(self.wish(row, quantity, day), check=True)
            assert verdict.verdict == "accepted", f"{said}; {verdict.errors}"
        verdict = await self.when(self.wish(row, quantity + 1, day), check=True)
        assert verdict.verdict == "refused", f"{said}; one more was accepted"
        assert verdict.errors[0].kind == "not_enough_to_promise", said
        if not row.item.buds:
            assert await self.promised(row, day) == quantity, said

    async def promised(self, row: Row, day: int) -> int:
        """What the answer about promises says of it, to who sees all sites."""
        item = row.item
        query = PromiseQuery(
            cultivar=item.cultivar,
            rootstock=item.rootstock,
            size=item.size,
            grade=item.grade or None,
            site=row.site,
            day=date.fromordinal(day),
            confidence=PROMISED_AT,
        )
        async with seeing(self.database.reader, None) as conn:
            (told,) = await promises_of(conn, query, None, self.clock[0])
        return told.can_be_promised


@pytest.fixture
async def shop(database: Database) -> AsyncIterator[Shop]:
    clock = [NOW]
    appender = Appender(database, clock=lambda: clock[0])
    await appender.start()
    side = Shop(appender, database, clock)
    await side.nursery()
    await side.given(bought())
    yield side
    await appender.stop()


async def test_what_is_ready_is_told_and_what_is_reserved_is_taken_off(shop: Shop) -> None:
    assert await shop.row() == [(on(0), 50)]
    row = (await shop.rows())["trees/NAVEL/CARRIZO/L2//CORIN"]
    await shop.given(shop.wish(row, 20, TODAY.toordinal() + 9))
    assert await shop.row() == [(on(0), 30)]
    assert (await shop.rows())["trees/NAVEL/CARRIZO/L2//"].on(TODAY.toordinal()) == 30


async def test_days_on_which_it_changes_are_told(shop: Shop) -> None:
    await shop.sites_told(50, 70, 60, 90)
    assert await shop.row() == [(on(0), 50), (on(7), 70), (on(14), 60), (on(21), 90)]
    row = (await shop.rows())["trees/NAVEL/CARRIZO/L2//CORIN"]
    await shop.given(shop.wish(row, 30, TODAY.toordinal() + 15))
    # Beyond the day itself nothing more is due, so that what grows by then is free.
    assert await shop.row() == [(on(0), 30), (on(21), 60)]


async def test_it_changes_by_time_alone(shop: Shop) -> None:
    """A claim that runs out, and a day that ends at one site, with nothing recorded."""
    row = (await shop.rows())["trees/NAVEL/CARRIZO/L2//CORIN"]
    wish = shop.wish(row, 20, TODAY.toordinal())
    wish["data"]["expires_at"] = "2026-06-30T18:00:00Z"
    await shop.given(wish)
    assert await shop.row() == [(on(0), 30)]
    assert shop.list.good_until == datetime(2026, 6, 30, 18, tzinfo=UTC)
    before = shop.list.version
    shop.clock[0] = shop.list.good_until
    assert await shop.row() == [(on(0), 50)]
    # Then midnight in Madrid: the list is of another day, at this site alone.
    assert shop.list.version == before + 1
    assert shop.list.good_until == datetime(2026, 6, 30, 22, tzinfo=UTC)
    shop.clock[0] = shop.list.good_until
    assert await shop.row() == [(on(1), 50)]
    assert shop.list.good_until == datetime(2026, 7, 1, 12, tzinfo=UTC)


async def test_a_night_on_which_clocks_change_ends_when_it_ends_there(shop: Shop) -> None:
    """25 October 2026 has 25 hours in Madrid (IANA time zones)."""
    shop.clock[0] = datetime(2026, 10, 24, 23, tzinfo=UTC)
    assert await shop.row() == [("2026-10-25", 50)]
    shop.clock[0] = datetime(2026, 10, 25, 22, 30, tzinfo=UTC)
    await shop.rows()
    assert shop.list.good_until == datetime(2026, 10, 25, 23, tzinfo=UTC)


async def test_what_did_not_change_is_the_same_and_what_does_not_concern_it_is_not_read(
    shop: Shop,
) -> None:
    first = await shop.rows()
    version = shop.list.version
    await shop.given(event("place.checked", "2026-06-30", place="C-T2"))
    assert await shop.rows() is first
    await shop.given(bought("R2", 7) | {"data": bought("R2", 7)["data"] | {"size": "P9"}})
    later = await shop.rows()
    assert shop.list.version == version + 1
    key = "trees/NAVEL/CARRIZO/L2//CORIN"
    assert later[key] is first[key]
    assert later["trees/NAVEL/CARRIZO/P9//CORIN"].on(TODAY.toordinal()) == 7


async def test_a_new_forecast_is_noticed_though_nothing_is_recorded(shop: Shop) -> None:
    assert await shop.row() == [(on(0), 50)]
    await shop.sites_told(10, 20)
    assert await shop.row() == [(on(0), 10), (on(7), 20)]


async def test_a_reservation_changed_to_another_item_gives_back_what_it_had(shop: Shop) -> None:
    await shop.given(bought("LM", 9) | {"data": bought("LM", 9)["data"] | {"cultivar": "LIMA"}})
    row = (await shop.rows())["trees/NAVEL/CARRIZO/L2//CORIN"]
    await shop.given(shop.wish(row, 20, TODAY.toordinal(), "RES1"))
    assert await shop.row() == [(on(0), 30)]
    line = ITEM | {"cultivar": "LIMA", "count": 4}
    await shop.given(event("reservation.changed", "2026-06-30", reservation="RES1", lines=[line]))
    assert await shop.row() == [(on(0), 50)]
    assert await shop.row("trees/LIMA/CARRIZO/L2//CORIN") == [(on(0), 5)]


async def test_after_an_error_it_begins_anew(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    before = await shop.rows()

    async def broken(*_: object) -> None:
        raise OSError

    await shop.given(bought("R2", 7))
    with monkeypatch.context() as patch:
        patch.setattr(shop.list, "_claim", broken)
        with pytest.raises(OSError):  # noqa: PT011 - it says nothing
            await shop.rows()
    assert shop.list.rows is before
    assert await shop.row() == [(on(0), 57)]


async def test_trees_that_came_back_and_what_one_lot_alone_can_serve_are_not_there(
    shop: Shop,
) -> None:
    """Ten of the first grade are all of one lot, of which eight are reserved."""
    lot, back = {"lot": "RF", "size": "L2", "count": 8}, {"lot": "R1", "size": "L2", "count": 4}
    await shop.given(
        bought("RF", 10, grade="first"),
        sale(5),
        event("trees.returned", "2026-06-22", customer="cust-1", lines=[back], reason="spare"),
        event("reservation.made", "2026-06-30", customer="cust-1", lines=[lot], any_site=True),
    )
    first, any_grade = (f"trees/NAVEL/CARRIZO/L2/{grade}/CORIN" for grade in ("first", ""))
    rows = await shop.rows()
    for key, quantity in ((first, 2), (any_grade, 47)):
        assert rows[key].on(TODAY.toordinal()) == quantity
        await shop.holds_for(rows[key], TODAY.toordinal())


async def test_a_claim_on_a_customers_own_trees_that_are_gone_is_held_against_nobody_else(
    shop: Shop,
) -> None:
    await shop.grown_for_a_customer(6)
    own = {"lot": "T1", "size": "L2", "count": 6}
    await shop.given(event("reservation.made", "2026-06-30", customer="cust-1", lines=[own]))
    lost = {"lot": "T1", "stage": "ready", "count": 6, "cause": "frost"}
    await shop.given(event("trees.lost", "2026-06-30", **lost))
    row = (await shop.rows())["trees/NAVEL/CARRIZO/L2//CORIN"]
    assert row.on(TODAY.toordinal()) == 50
    await shop.holds_for(row, TODAY.toordinal())


# -- claims that cross ---------------------------------------------------------------------------


async def _graded(shop: Shop) -> dict[Part, int]:
    """At CORIN a few of each grade, at TARNA of the first alone; nothing else."""
    standing = {Part("first", "CORIN"): 12, Part("second", "CORIN"): 5, Part("first", "TARNA"): 4}
    await shop.given(sale(50))
    for number, ((grade, site), count) in enumerate(standing.items()):
        more = bought(f"RG{number}", count, grade=grade)
        place = "T-T1" if site == "TARNA" else "C-T2"
        await shop.given(more | {"site": site, "data": more["data"] | {"place": place}})
    return standing


def _crossing(number: int, count: int, part: Part) -> Any:
    line = ITEM | {"count": count} | ({"grade": part.grade} if part.grade else {})
    told = {"customer": "cust-1", "lines": [line], "any_site": part.site is None}
    site = part.site or "CORIN"
    return event("reservation.made", "2026-06-30", site, reservation=f"RC{number}", **told)


async def test_what_stands_where_all_is_promised_is_not_promised_as_a_grade_anywhere(
    shop: Shop,
) -> None:
    """All second grade stands at CORIN, where trees of any grade are promised."""
    await _graded(shop)
    await shop.given(_crossing(1, 15, Part("", "CORIN")))
    row = (await shop.rows())["trees/NAVEL/CARRIZO/L2/second/"]
    assert row.on(TODAY.toordinal()) == 2
    await shop.holds_for(row, TODAY.toordinal())
    (error,) = (await shop.when(_crossing(2, 3, Part("second", None)), check=True)).errors
    assert error.detail == (
        "3 of NAVEL on CARRIZO in L2, grade second asked; 17 ready and not held at CORIN or of "
        "grade second anywhere, 15 of them spoken for. No day is foreseen for more."
    )
    told = {"asked": 3, "available": 2, "ready": 17, "spoken_for": 15, "site": None}
    told |= {"sites": ["CORIN"], "grades": ["second"]}
    assert told.items() <= error.numbers.items()
    part = _crossing(2, 3, Part("second", None))
    assert (
        await shop.when(part | {"data": part["data"] | {"partial": True}})
    ).verdict == "accepted"
    (again,) = (await shop.when(_crossing(3, 1, Part("", "CORIN")), check=True)).errors
    assert (again.numbers["available"], again.numbers["sites"]) == (0, ["CORIN"])
    assert (await shop.rows())["trees/NAVEL/CARRIZO/L2/first/TARNA"].on(TODAY.toordinal()) == 4
    lost = {"lot": "RG1", "stage": "ready", "size": "L2", "grade": "second", "count": 2}
    (short,) = (await shop.when(event("trees.lost", "2026-06-30", **lost, cause="frost"))).remarks
    assert short.detail == (
        "17 of NAVEL on CARRIZO in L2 at CORIN or of grade second anywhere are promised, 15 are "
        "ready and not held."
    )


@pytest.mark.parametrize("seed", [8, 15])
async def test_whatever_is_promised_of_what_stands_can_all_be_served(shop: Shop, seed: int) -> None:
    """And what the list says, by a greatest flow, is all that can be."""
    draw = random.Random(seed)
    standing, claims = await _graded(shop), dict[Part, int]()
    parts = [Part(g, s) for g in ("", "first", "second") for s in (None, "CORIN", "TARNA")]

    def fits(part: Part, count: int) -> bool:
        wanted = claims | {part: claims.get(part, 0) + count}
        return served(wanted, standing) == sum(wanted.values())

    for number in range(12):
        for row in draw.sample(list((await shop.rows()).values()), 3):
            if not row.item.buds and (row.item.size, row.item.cultivar) == ("L2", "NAVEL"):
                part, count = Part(row.item.grade, row.site or None), row.on(row.today)
                assert fits(part, count), row
                assert not fits(part, count + 1), row
                await shop.holds_for(row, row.today)
        part, count = draw.choice(parts), draw.randrange(1, 6)
        verdict = await shop.when(_crossing(number, count, part))
        assert (verdict.verdict == "accepted") == fits(part, count)
        if fits(part, count):
            claims[part] = claims.get(part, 0) + count


# -- whatever happens ----------------------------------------------------------------------------


async def _more(shop: Shop, draw: random.Random, number: int) -> None:
    """Something happens that changes what can be reserved; some of it is refused, which is fine."""
    day, grade = TODAY.toordinal() + draw.randrange(40), draw.choice(["", "first", "second"])
    line = ITEM | {"count": draw.randrange(1, 30)} | ({"grade": grade} if grade else {})
    now = str(shop.clock[0]).replace(" ", "T")
    site = draw.choice(["CORIN", "CORIN", "TARNA"])
    happening = draw.randrange(12)
    if happening <= 2:
        wish: dict[str, Any] = {"customer": "cust-1", "lines": [line]}
        wish |= {"any_site": draw.random() < 0.4, "needed_by": str(date.fromordinal(day))}
        if draw.random() < 0.3:
            ends = shop.clock[0] + timedelta(hours=draw.randrange(1, 40))
            wish["expires_at"] = str(ends).replace(" ", "T")
        await shop.when(event("reservation.made", now, site, reservation=f"RV{number}", **wish))
    elif happening <= 5:
        of = draw.choice(["", "CORIN", "TARNA"])
        steps = [draw.randrange(90) for _ in range(draw.randrange(1, 6))]
        first = TODAY + timedelta(days=draw.choice([-8, -1, 0, 1]))
        await shop.told(*steps, site=of, grade=grade, first=first)
        shop.list = AvailabilityList(PROMISED_AT)
    elif happening == 6:
        await shop.when(sale(draw.randrange(1, 15)))
    elif happening == 7:
        until = str(date.fromordinal(day))
        said = {"any_site": draw.random() < 0.4} | ({"grade": grade} if grade else {})
        await shop.when(ruled(draw.randrange(120), f"PO{number}", until, **said))
    elif happening == 8:
        lot = {"lot": draw.choice(["R1", "RF", "T1"]), "size": "L2", "count": draw.randrange(1, 9)}
        claim = {"customer": "cust-1", "lines": [lot], "any_site": draw.random() < 0.4}
        await shop.when(event("reservation.made", now, reservation=f"RL{number}", **claim))
    elif happening == 9:
        hold = {"target": "lot", "code": draw.choice(["R1", "RF", "BW1"]), "reason": "a look"}
        await shop.when(event("hold.placed", now, hold=f"HO{number}", kind="quality", **hold))
    elif happening == 10:
        await shop.when(event("hold.lifted", now, hold=f"HO{draw.randrange(number + 1)}",
                              reason="looked at"))  # fmt: skip
    else:
        order = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "needed_by": "2026-08-01"}
        order |= {"method": draw.choice(["t_bud", "cleft"])} if draw.random() < 0.7 else {}
        named = {"work_order": f"WO{number}", "count": draw.randrange(1, 5)}
        await shop.when(event("grafting.ordered", now, **named, **order))
    if draw.random() < 0.2:
        shop.clock[0] += timedelta(hours=draw.randrange(1, 30))


@pytest.mark.parametrize("seed", range(2))
async def test_so_many_are_accepted_and_not_one_more(shop: Shop, seed: int) -> None:
    """With a forecast and without, on any day, of any grade and site, whatever was recorded."""
    draw = random.Random(seed)
    await shop.grown_for_a_customer(6)
    other = bought("RT", 20)
    other |= {"site": "TARNA", "data": other["data"] | {"place": "T-T1"}}
    await shop.given(bought("RF", 30, grade="first"), other)
    for number in range(30):
        await _more(shop, draw, number)
        rows = await shop.rows()
        anew = AvailabilityList(PROMISED_AT)
        await anew.look(shop.database.reader, shop.clock[0])
        assert anew.rows == rows, "kept up is the same as read anew"
        kinds = [row for row in rows.values() if row.item.buds or draw.random() < 0.25]
        for row in draw.sample(kinds, min(2, len(kinds))):
            near = draw.choice(row.days) + draw.choice([-1, 0, 0, 1])
            await shop.holds_for(row, max(near, row.today))
