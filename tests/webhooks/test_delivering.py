"""Everything arrives, in order, however the receiver fails; each webhook waits by itself."""

import asyncio
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any

import httpx
import pytest

from service.clock import system_clock
from service.reminders.watch import look_at_calendar
from service.settings import Settings
from service.storage.pool import Database
from service.webhooks import signing
from service.webhooks.sealing import Sealer, Unreadable, new_key
from tests.webhooks.conftest import (
    Jumping,
    MakeDeliverer,
    caught_up,
    deliveries,
    fine,
    hook,
    look,
    progress,
)
from tests.webhooks.receiver import CUT, HANG, Got, receiving


def notes(got: list[Got]) -> list[str]:
    return [one.event["data"]["data"]["note"] for one in got]


def once(got: list[Got]) -> list[Got]:
    """Without what came more than once: a receiver knows it by its id."""
    return list({one.id: one for one in got}.values())


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


async def until_stopped(client: httpx.AsyncClient) -> Any:
    async with asyncio.timeout(10):
        while (found := await progress(client))["state"] != "stopped":
            await asyncio.sleep(0.02)
    return found


async def test_what_is_recorded_arrives_signed(
    shop: httpx.AsyncClient, deliver: MakeDeliverer
) -> None:
    await look(shop, "before it was there")
    async with receiving() as receiver:
        made = await hook(shop, receiver.url)
        await deliver()
        first, second = await look(shop, "a", "b")
        got = await receiver.count(2)
        assert notes(got) == ["a", "b"]
        assert [one.event["id"] for one in got] == [first, second]
        assert got[0].event["source"] == "https://nursery.example/v1/sites/CORIN"
        assert got[0].headers["content-type"].startswith("application/cloudevents+json")
        assert all(one.signed_by(made["secret"]) for one in got)
        # A test is sent beside what is recorded, and both secrets sign while one takes over.
        new = await fine(shop.post("/v1/webhooks/SHOP/secret", json={}))
        test = await fine(shop.post("/v1/webhooks/SHOP/test"))
        await receiver.count(3)
        tried = got[2]
        assert (tried.id, tried.event["type"]) == (test["message"], "webhook.test")
        assert [tried.signed_by(one) for one in (made["secret"], new["secret"])] == [True, True]
        # Without overlap the old one is out at once.
        newest = await fine(shop.post("/v1/webhooks/SHOP/secret", json={"overlap_hours": 0}))
        await fine(shop.post("/v1/webhooks/SHOP/test"))
        await receiver.count(4)
        assert [got[3].signed_by(one["secret"]) for one in (made, new, newest)] == [
            False,
            False,
            True,
        ]
        for one in (await progress(shop), *await deliveries(shop)):
            assert "whsec" not in str(one)
        # Stopped by hand it is told of nothing, and of all of it once it goes on.
        stopped = await fine(shop.post("/v1/webhooks/SHOP/stop"))
        assert (stopped["state"], stopped["stopped_because"]) == ("stopped", "by_hand")
        await look(shop, "c")
        await asyncio.sleep(0.2)
        assert len(got) == 4
        await fine(shop.post("/v1/webhooks/SHOP/resume"))
        assert notes((await receiver.count(5))[4:]) == ["c"]


async def test_failures_of_every_kind_are_tried_again_in_order(
    shop: httpx.AsyncClient, deliver: MakeDeliverer
) -> None:
    timer = Jumping()
    failures = [500, HANG, CUT, (503, {"Retry-After": "7200"}), (302, {"Location": "/"})]
    async with (
        receiving(*failures, 200, 200, CUT) as receiver,
        receiving(HANG) as slow,
        receiving() as well,
    ):
        await hook(shop, receiver.url)
        await hook(shop, slow.url, "SLOW")
        await hook(shop, well.url, "WELL")
        told = [f"n{number}" for number in range(6)]
        await look(shop, *told)
        await deliver(timer=timer)
        got = await receiver.until(lambda got: told[-1] in notes(got))
        assert notes(once(got)) == told
        # The same thing bears the same id and the same words each time.
        assert notes(got) == ["n0"] * 6 + ["n1", "n2", "n2", *told[3:]]
        assert len({(one.id, one.body) for one in got}) == len(told)
        # Whoever waits for nobody has it all, and so has who was slow once.
        assert notes(await well.count(6)) == told
        assert notes(once(await slow.count(7))) == told
        await caught_up(shop)
        made = [one for one in await deliveries(shop) if one["message"] == got[0].id]
        outcomes = [(one["outcome"], one["status"]) for one in made]
        assert outcomes == [
            ("answered", 500),
            ("timeout", None),
            ("cut_off", None),
            ("answered", 503),
            ("answered", 302),
            ("arrived", 200),
        ]
        assert [one["attempt"] for one in made] == [1, 2, 3, 4, 5, 6]
        pauses = [
            round((moment(one["next_at"]) - moment(one["at"])) / timedelta(minutes=1))
            for one in made[:5]
        ]
        # 5 s, 5 min, 30 min, 2 h as asked for (and by the schedule), 5 h
        assert pauses == [0, 5, 30, 120, 300]


async def test_a_receiver_that_is_down_for_hours_gets_all_once_it_is_back(
    shop: httpx.AsyncClient, deliver: MakeDeliverer
) -> None:
    timer = Jumping()
    async with receiving() as receiver:
        await receiver.close()
        timer.opens = (timedelta(hours=7), receiver.open)
        await hook(shop, receiver.url)
        await look(shop, "a", "b", "c")
        await deliver(timer=timer)
        assert notes(await receiver.count(3)) == ["a", "b", "c"]
        assert timer.ahead >= timedelta(hours=7)
        await caught_up(shop)
        made = await deliveries(shop)
        # At 0, then after 5 s, 5 min, 30 min, 2 h; five hours later it was there.
        assert [one["outcome"] for one in made] == ["unreachable"] * 5 + ["arrived"] * 3


async def test_one_that_is_given_up_keeps_its_place(
    shop: httpx.AsyncClient, deliver: MakeDeliverer, database: Database
) -> None:
    async with receiving(*[500] * 10, 410) as receiver:
        await hook(shop, receiver.url)
        await deliver(timer=Jumping())
        await look(shop, "a", "b")
        stopped = await until_stopped(shop)
        assert (stopped["stopped_because"], len(receiver.got)) == ("exhausted", 10)
        assert stopped["position"] < stopped["head"] - 1
        await look(shop, "c")
        # Somebody is to know of it.
        await look_at_calendar(database.writer, system_clock)
        (alert,) = (await fine(shop.get("/v1/alerts?kind=webhook_stopped")))["items"]
        assert (alert["state"], alert["subject"]) == ("open", "SHOP")
        # Gone on, it is told that nobody wants it any more.
        resumed = await fine(shop.post("/v1/webhooks/SHOP/resume"))
        assert resumed["state"] == "active"
        assert (await until_stopped(shop))["stopped_because"] == "gone"
        # A test reaches it though it is stopped.
        await fine(shop.post("/v1/webhooks/SHOP/test"))
        await receiver.count(12)
        await fine(shop.post("/v1/webhooks/SHOP/resume"))
        got = await receiver.count(15)
        assert notes(got[12:]) == ["a", "b", "c"]
        assert {one.id for one in got[:11]} == {got[12].id}
        # Told again from the beginning, and from the middle, under the ids they had.
        for position, wanted in ((0, ["a", "b", "c"]), (stopped["head"] - 1, ["b", "c"])):
            before = len(receiver.got)
            await fine(shop.post("/v1/webhooks/SHOP/replay", json={"position": position}))
            again = (await receiver.count(before + len(wanted)))[before:]
            assert notes(again) == wanted
            assert {one.id for one in again} <= {one.id for one in got}
        await look_at_calendar(database.writer, system_clock)
        (alert,) = (await fine(shop.get("/v1/alerts?kind=webhook_stopped")))["items"]
        assert alert["closed_because"] == "put_right"
        too_far = await shop.post("/v1/webhooks/SHOP/replay", json={"position": 10**9})
        assert too_far.status_code == 409


async def test_the_schedule_outlives_the_process_and_one_process_delivers(
    shop: httpx.AsyncClient, deliver: MakeDeliverer
) -> None:
    class Standing(Jumping):
        """A clock that says when it was to be waited for, and never gets there."""

        async def until(self, moment: datetime) -> None:
            self.waited.append(moment - self.now())
            await asyncio.Event().wait()

    async with receiving(500, 500) as receiver:
        await hook(shop, receiver.url)
        first = await deliver(timer=Standing())
        await look(shop, "a")
        await receiver.count(1)
        async with asyncio.timeout(5):
            while (begun := await progress(shop))["attempts"] != 1:
                await asyncio.sleep(0.01)
        # Another process stands by: it is not told of anything.
        timer = Jumping()
        second = await deliver(timer=timer)
        assert first.leading.is_set()
        await look(shop, "b")
        await asyncio.sleep(0.25)
        assert (len(receiver.got), second.leading.is_set()) == (1, False)
        await first.stop()
        got = await receiver.count(4)
        assert notes(got) == ["a", "a", "a", "b"]
        assert len({one.id for one in got}) == 2
        # It waited for what the first had written down, and then by the second pause.
        assert timer.waited[0] <= timedelta(seconds=5)
        assert timer.waited[1] > timedelta(minutes=4)
        assert moment(begun["next_at"]) - moment(begun["failing_since"]) >= timedelta(seconds=5)
        now = await caught_up(shop)
        assert (now["attempts"], now["next_at"], now["failing_since"]) == (0, None, None)


async def test_a_lost_connection_to_the_database_loses_nothing(
    shop: httpx.AsyncClient, deliver: MakeDeliverer, database: Database
) -> None:
    async with receiving() as receiver:
        await hook(shop, receiver.url)
        deliverer = await deliver()
        await look(shop, "a")
        await receiver.count(1)
        async with database.writer.acquire() as connection:
            await connection.execute("RESET ROLE")
            await connection.execute(
                "SELECT pg_terminate_backend(l.pid) FROM pg_locks l "
                "WHERE l.locktype = 'advisory' AND l.granted AND l.database = "
                "(SELECT oid FROM pg_database WHERE datname = current_database())"
            )
        await look(shop, "b")
        assert notes(once(await receiver.until(lambda got: "b" in notes(got)))) == ["a", "b"]
        await asyncio.wait_for(deliverer.leading.wait(), 5)


async def test_a_key_that_is_replaced_can_go_once_what_delivers_has_begun(
    shop: httpx.AsyncClient, deliver: MakeDeliverer, database: Database, settings: Settings
) -> None:
    """Also for webhooks that are stopped, which nobody would look at."""
    made = await hook(shop, "http://127.0.0.1:9/")
    await fine(shop.post("/v1/webhooks/SHOP/stop"))
    key = new_key()
    begun = await deliver(keys=(key, *(settings.secrets_key or ())), poll=60)
    await asyncio.wait_for(begun.leading.wait(), 5)

    async def sealed() -> str:
        async with database.writer.acquire() as connection:
            found: str = await connection.fetchval("SELECT sealed FROM webhook_secrets")
        return found

    async with asyncio.timeout(5):
        while True:
            with suppress(Unreadable):
                assert Sealer([key]).open(await sealed()) == made["secret"]
                break
            await asyncio.sleep(0.01)


async def test_a_clock_that_was_years_ahead_puts_nothing_off_for_years(
    shop: httpx.AsyncClient, deliver: MakeDeliverer, database: Database
) -> None:
    async with receiving() as receiver:
        await hook(shop, receiver.url)
        await look(shop, "a")
        async with database.writer.acquire() as connection:
            await connection.execute(
                "UPDATE webhooks SET attempts = 1, next_at = now() + interval '9 years'"
            )
        timer = Jumping()
        await deliver(timer=timer)
        assert notes(await receiver.count(1)) == ["a"]
        assert timer.ahead < timedelta(days=2)


async def test_a_mistake_of_the_deliverers_own_is_one_webhooks_and_not_for_ever(
    shop: httpx.AsyncClient, deliver: MakeDeliverer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A test message too is sent when what went wrong is over."""
    signed, failed = signing.headers, asyncio.Event()

    def broken(*_: Any) -> Any:
        failed.set()
        raise ZeroDivisionError

    async with receiving() as receiver:
        await hook(shop, receiver.url)
        monkeypatch.setattr(signing, "headers", broken)
        await deliver()
        await look(shop, "a")
        test = await fine(shop.post("/v1/webhooks/SHOP/test"))
        await asyncio.wait_for(failed.wait(), 5)
        monkeypatch.setattr(signing, "headers", signed)
        got = await receiver.until(lambda got: len({one.id for one in got}) == 2)
        assert test["message"] in {one.id for one in got}
