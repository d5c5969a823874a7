"""The ledger against a plain model, over real HTTP and a real PostgreSQL.

Hypothesis tells a story of events of every type, at two sites and sometimes by several people at
once; after every step the service and the model must agree on each verdict and on every balance of
every day, and the service with itself: sums are zero, no day is below zero, its books are what a
full refold of the log makes of it.

`GRAFTLOG_TEST_DEEP=1` looks longer.
"""

import asyncio
import contextlib
import copy
import os
import threading
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from zoneinfo import ZoneInfo

import httpx
import msgspec
import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from service.trade.events import EVENT_TYPES
from tests.ledger import world as asked
from tests.ledger.choosing import DAYS, INSPECTED, PLACES, counts, moments
from tests.ledger.drawing import WEIGHTS, Nursery
from tests.ledger.model import TELL, Account, Ledger, Site, Verdict
from tests.ledger.refold import differences, here
from tests.ledger.served import serve_new
from tests.ledger.world import World
from tests.support.database import TestServer

DEEP = os.environ.get("GRAFTLOG_TEST_DEEP") == "1"
SMALLER = os.environ.get("GRAFTLOG_TEST_SHRINK") == "1"
PROFILE = settings(
    max_examples=int(os.environ.get("GRAFTLOG_TEST_EXAMPLES", "300" if DEEP else "50")),
    stateful_step_count=25 if DEEP else 14,
    deadline=None,
    print_blob=True,
    # Making a failure smaller takes minutes: only when somebody looks for one.
    phases=[Phase.explicit, Phase.generate, *([Phase.shrink] if SMALLER else [])],
    database=None,
    suppress_health_check=list(HealthCheck),
)
WORLD: World


@pytest.fixture
def world(server: TestServer) -> Iterator[World]:
    name = asyncio.run(server.create())
    served = serve_new(server.dsn_of(name))
    made = World(served)
    yield made
    made.close()
    served.kill()
    asyncio.run(server.drop(name))


class TheLedger(RuleBasedStateMachine):
    """A nursery of two sites, with few tables and few codes."""

    def __init__(self) -> None:
        super().__init__()
        self.world = WORLD
        self.world.examples += 1
        self.prefix = f"X{self.world.examples}-"
        self.model = Ledger(
            sites={
                self.code("C"): Site(
                    ZoneInfo("Europe/Madrid"),
                    inspected=INSPECTED,
                    for_returns=frozenset({self.code("RET")}),
                ),
                self.code("V"): Site(
                    ZoneInfo("Australia/Sydney"), returns_allowed=False, regraft_same_source=False
                ),
            },
            source_trees={self.code("ST")},
        )
        for site, places in PLACES.items():
            codes = dict.fromkeys(map(self.code, places), False)
            self.model.sites[self.code(site)].places = codes
        self.nursery = Nursery(self.prefix, self.model)
        self.start = self.world.runner.run(here(self.world.connection))
        self.sent: list[tuple[str, Any, dict[str, str], httpx.Response]] = []
        self.waiting: list[dict[str, Any]] = []
        self.agreed = False

    def code(self, name: str) -> str:
        return self.prefix + name

    @initialize(
        count=st.integers(8, 30),
        buds=st.integers(8, 30),
        basis=st.sampled_from(["counted", "estimated"]),
        ready=st.integers(2, 5),
        before=st.sets(
            st.sampled_from(["said", "said more", "sold", "sent", "held", "failed", "taken back"])
        ),
        said=st.sampled_from([0, 1, 3, 12]),
        everywhere=st.booleans(),
    )
    def books_are_opened(
        self,
        count: int,
        buds: int,
        basis: str,
        ready: int,
        before: set[str],
        said: int,
        everywhere: bool,
    ) -> None:
        for part in self.nursery.catalogue():
            answer = self.world.client.post("/v1/events", json=part)
            assert answer.status_code == 201, answer.text
        event, code, box = self.nursery.event, self.code, self.code("BOX")
        liners = self.nursery.liners("L1", count)
        fill = {"bag": code("B1"), "buds": buds, "basis": basis, "place": box}
        wood = {"lot": code("W1"), "cultivar": code("CV"), "source_tree": code("ST")}
        first, second, third = DAYS[:3]
        self.tell(
            [
                event("liners.received", first, liners),
                event("budwood.cut", first, wood | {"bags": [fill]}),
            ],
            "all",
        )
        onto = {"liner_lot": code("L1"), "place": code("TB1"), "size": "P9"}
        graft = {"lot": code("T1"), "from": [{"bag": code("B1"), "buds": 8, "place": box}]}
        graft |= {"onto": onto, "method": "t_bud", "count": 8, "place": code("TB1")}
        self.tell([event("trees.grafted", second, graft)], "all")
        standing = {"lot": code("T1"), "place": code("TB1"), "stage": "grafted", "size": "P9"}
        outcomes = [
            {"count": ready, "stage": "ready", "grade": "second"},
            {"count": 2, "stage": "ready", "grade": "first"},
        ]
        self.tell([event("trees.graded", third, standing | {"outcomes": outcomes})], "all")
        item = {"cultivar": code("CV"), "rootstock": "CARRIZO", "size": "P9", "count": 2}
        wanted = {"reservation": code("R0"), "customer": "cust-1", "any_site": False}
        self.tell([event("reservation.made", third, wanted | {"lines": [item]})], "all")
        self._what_went_before(before, said, everywhere)

    def _what_went_before(self, before: set[str], said: int, everywhere: bool) -> None:
        """What more may have happened until the story begins."""
        code, day = self.code, DAYS[4]
        where = {"lot": code("T1"), "place": code("TB1"), "size": "P9"}
        ready = where | {"stage": "ready", "grade": "second", "count": 1}
        grafted = where | {"stage": "grafted", "count": 2}
        hold = {"hold": code("H0"), "kind": "plant_health", "reason": "a doubt"}
        by_hand = self.nursery.tree_item() | {"size": "P9", "until": "2150-01-01", "reason": "?"}
        by_hand |= {"override": code("PO1"), "quantity": said, "any_site": everywhere}
        more = {"override": code("PO2"), "quantity": 12 - said, "until": "2140-12-31"}
        more |= {"from": "2140-01-01"}
        chapters = {
            "said": ("promise.overridden", by_hand),
            "said more": ("promise.overridden", by_hand | more),
            "failed": ("grafts.unwrapped", where | {"alive": 1, "failed": 2}),
            "sold": ("trees.sold", {"customer": "cust-1", "lines": [ready]}),
            "sent": (
                "consignment.sent",
                {"consignment": code("S0"), "to_site": code("V"), "lines": [grafted, ready]},
            ),
            "held": ("hold.placed", hold | {"target": "bag", "code": code("B1")}),
        }
        for name, (kind, data) in chapters.items():
            if name in before:
                event = self.nursery.event(kind, day, data)
                self.tell([event], "all")
                if name == "sold" and "taken back" in before:
                    slip = {"event": event["id"], "reason": "not so"}
                    self.tell([self.nursery.event("event.voided", day, slip)], "all")

    # -- steps -----------------------------------------------------------------------

    @rule(data=st.data(), key=st.booleans())
    def one_event(self, data: st.DataObject, key: bool) -> None:
        self.tell([self.nursery.draw(data)], "all", key=key)

    @rule(data=st.data(), size=st.integers(2, 4), mode=st.sampled_from(["all", "each"]))
    def several_events(self, data: st.DataObject, size: int, mode: str) -> None:
        events = [self.nursery.draw(data) for _ in range(size)]
        if data.draw(st.integers(0, 4)) == 4:
            known = [told.event for told in self.model.told.values()]
            events.append(data.draw(st.sampled_from(known)))
        self.tell(events, mode, key=data.draw(st.booleans()))

    @rule(data=st.data(), mode=st.sampled_from(["all", "each"]))
    def void_with_a_replacement(self, data: st.DataObject, mode: str) -> None:
        void = self.nursery.voiding(data, data.draw(moments))
        target = self.model.told[void["data"]["event"]].event
        how = data.draw(st.sampled_from(["same", "other day", "other"]))
        if how == "other":
            new = self.nursery.draw(data, replaces=target["id"])
        else:
            occurred = target["occurred"] if how == "same" else data.draw(moments)
            body = dict(target["data"])
            if "count" in body:
                body["count"] = data.draw(counts)
            if isinstance(body.get("from"), list):  # bags; an override has a day there
                body["from"] = [body["from"][0] | {"buds": body["count"]}]
            at = target["site"].removeprefix(self.prefix)
            new = self.nursery.event(target["type"], occurred, body, replaces=target["id"], at=at)
        pair = [void, new] if data.draw(st.booleans()) else [new, void]
        self.tell(pair, mode)

    @rule(data=st.data(), how=st.sampled_from(["same request", "other body", "other content"]))
    def said_before(self, data: st.DataObject, how: str) -> None:
        """A retry, an Idempotency-Key for another request, an id for another event."""
        if how == "same request":
            self._retry(*data.draw(st.sampled_from(self.sent)))
        elif how == "other content":
            event = self.nursery.draw(data)
            event["id"] = data.draw(st.sampled_from(list(self.model.told)))
            self.tell([event], data.draw(st.sampled_from(["all", "each"])))
        else:
            used = [headers for _, _, headers, first in self.sent if headers and first.is_success]
            if used:
                event = self.nursery.draw(data)
                again = self.post([event], "all", data.draw(st.sampled_from(used)))
                assert again.status_code == 422
                assert again.json()["type"].endswith("/idempotency-key-reused")

    def _retry(
        self, mode: str, events: list[Any], headers: dict[str, str], first: httpx.Response
    ) -> None:
        """The same bytes again: with the key the same answer, else by the ids' being known."""
        if not headers or not first.is_success:
            self.tell(events, mode)
            return
        again = self.post(events, mode, headers)
        assert again.status_code == first.status_code
        assert again.content == first.content
        assert again.headers["Idempotency-Replayed"] == "true"

    @rule(data=st.data())
    def one_more_event(self, data: st.DataObject) -> None:
        self.tell([self.nursery.draw(data)], "all")

    @rule(data=st.data())
    def yet_another_event(self, data: st.DataObject) -> None:
        self.tell([self.nursery.draw(data)], "each")

    @rule(data=st.data(), chance=st.integers(0, 11))
    def the_power_goes(self, data: st.DataObject, chance: int) -> None:
        """Killed while it records; started again, and told again what was on the way."""
        if chance != 11:
            return
        event = self.nursery.draw(data)
        lost = threading.Thread(target=self._send_into_the_void, args=(event,))
        lost.start()
        self.world.restart()
        lost.join()
        inside = bool(self.world.ask("SELECT 1 FROM events WHERE id = $1", event["id"]))
        if inside:
            (expected,) = self.model.all_or_nothing([event])
            assert expected.word == "accepted"
        self.tell([event], "all")

    def _send_into_the_void(self, event: dict[str, Any]) -> None:
        with contextlib.suppress(httpx.TransportError):
            httpx.post(
                f"{self.world.served.url}/v1/events",
                json=event,
                headers=self.world.served.headers,
                timeout=10,
            )

    # -- telling both, and comparing ------------------------------------------------------

    def post(self, events: list[Any], mode: str, headers: dict[str, str]) -> httpx.Response:
        body = msgspec.json.encode(events if mode == "each" or len(events) > 1 else events[0])
        headers = headers | {"Content-Type": "application/json"}
        return self.world.client.post(f"/v1/events?mode={mode}", content=body, headers=headers)

    def tell(self, events: list[dict[str, Any]], mode: str, key: bool = False) -> None:
        headers = (
            {"Idempotency-Key": f'"{self.prefix}{self.nursery.ids}-{len(self.sent)}"'}
            if key
            else {}
        )
        answer = self.post(events, mode, headers)
        self.agreed = False
        tell = self.model.all_or_nothing if mode == "all" else self.model.each_alone
        expected = tell(events)
        self.sent.append((mode, events, headers, answer))
        given = f"{answer.text}\nnot {expected}\nafter {self.story()}"
        words = [verdict.word for verdict in expected]
        if mode == "all" and "refused" in words:
            assert answer.status_code == 409, given
            errors = answer.json()["errors"]
            self._compare_reasons(errors, [v for v in expected if v.word == "refused"])
            return
        status = 201 if mode == "all" and "accepted" in words else 200
        assert answer.status_code == status, given
        verdicts = answer.json()["verdicts"]
        assert [v["verdict"] for v in verdicts] == words, given
        assert [v["id"] for v in verdicts] == [e["id"] for e in events]
        for said, verdict in zip(verdicts, expected, strict=True):
            if verdict.word == "refused" and said["errors"]:
                self._compare_reasons(said["errors"], [verdict])

    @staticmethod
    def _compare_reasons(errors: list[dict[str, Any]], expected: list[Verdict]) -> None:
        """A shortage is named with its account, its earliest day, and how much is missing."""
        kinds = {error["kind"] for error in errors}
        reasons = {verdict.why for verdict in expected}
        if kinds != {"below_zero"} or reasons - {""} != {"below_zero"}:
            return
        named = {
            (
                Account(
                    n["lot"],
                    "",
                    n["kind"],
                    *(n.get(part, "") for part in ("place", "stage", "size", "grade", "ref")),
                ),
                n["day"],
                n["shortage"],
            )
            for n in (error["numbers"] for error in errors)
        }
        lows = {
            (low.account._replace(site=""), str(low.day), low.short)
            for v in expected
            for low in v.low
        }
        assert named <= lows, (named, lows)
        assert len(errors) == len(named)

    def story(self) -> str:
        """What was sent so far, to tell it again."""
        lines = [
            f"{a.status_code} {m} {msgspec.json.encode(e).decode()}" for m, e, _, a in self.sent
        ]
        return "\n".join(["", *lines]).replace(self.prefix, "")

    @rule(data=st.data(), chance=st.integers(0, 5))
    def views_follow_and_one_is_built_anew(self, data: st.DataObject, chance: int) -> None:
        """Seen in pieces, with whatever was voided since, it is as built from nothing."""
        name = data.draw(st.sampled_from(self.world.by_the_log))
        if chance == 5:
            found = self.world.built_anew(name)
            assert not found, f"{name} differs: {found[:20]} after {self.story()}"
        else:
            self.world.views_follow()

    @rule(data=st.data())
    def somebody_else_has_something_to_tell(self, data: st.DataObject) -> None:
        """Told at the end, together with what others have to tell."""
        if len(self.waiting) < 6:
            self.waiting.append(self.nursery.draw(data))

    def teardown(self) -> None:
        """Several people at once, as the last of the story.

        Who comes first is chance, so nothing may be drawn after it.
        """
        if self.agreed and self.waiting:
            self._all_at_once(self.waiting)
            self.the_service_agrees_with_the_model()
            self.the_service_agrees_with_itself()

    def _all_at_once(self, events: list[dict[str, Any]]) -> None:
        """Whoever comes first is first: the answers are those of some order of the requests.

        Positions tell the order of what was accepted; what was refused would have been refused
        somewhere between.
        """
        with ThreadPoolExecutor(len(events)) as people:
            answers = list(people.map(lambda event: self.post([event], "all", {}), events))
        told, refused = [], []
        for event, answer in zip(events, answers, strict=True):
            self.sent.append(("all", [event], {}, answer))
            assert answer.status_code in (201, 409), answer.text
            if answer.status_code == 201:
                told.append((answer.json()["verdicts"][0]["position"], event))
            else:
                refused.append(event)
        between = [copy.deepcopy(self.model)]
        for _, event in sorted(told, key=lambda pair: pair[0]):
            (expected,) = self.model.all_or_nothing([event])
            assert expected.word == "accepted", f"{expected} {event} after {self.story()}"
            between.append(copy.deepcopy(self.model))
        for event in refused:
            verdicts = [model.all_or_nothing([event])[0].word for model in between]
            assert "refused" in verdicts, f"{event} after {self.story()}"

    @invariant()
    def the_service_agrees_with_the_model(self) -> None:
        rows = self.world.ask(asked.DAYS, self.prefix)
        kept = Counter({(Account(*row[:8]), row[8]): row[9] for row in rows})
        expected = self.model.days()
        if kept != expected:
            more = {k: v for k, v in kept.items() if expected[k] != v}
            less = {k: v for k, v in expected.items() if kept[k] != v}
            raise AssertionError(f"the service has {more}, the model {less} after {self.story()}")
        model = self.model
        claims = [
            (code, r.state, r.confirmed, r.noted, line.asked, line.promised, line.open)
            for code, r in sorted(model.reservations.items())
            for line in r.lines
        ]
        holds = [
            (code, hold.kind, hold.token, hold.since, hold.until)
            for code, hold in sorted(model.holds.items())
        ]
        loads = [
            (code, load.to_site, load.gone, load.received)
            for code, load in sorted(model.loads.items())
        ]
        orders = [
            (code, order.site, order.wanted, sum(order.done.values()), order.ended)
            for code, order in sorted(model.orders.items())
        ]
        lots = [
            (code, sorted(model.ancestry(code)))
            for code, lot in sorted(model.lots.items())
            if not lot.gone
        ]
        sold: Counter[tuple[str, str, str]] = Counter()
        for sale in (one for sales in model.sales.values() for one in sales):
            sold[sale.size, sale.grade or "ungraded", sale.site] += sale.count
        overrides = [
            (code, o.by, o.grade, o.site is None, o.quantity, o.since, o.until, o.gone, o.ended)
            for code, o in sorted(model.overrides.items())
        ]
        for sql, known in (
            (asked.CLAIMS, claims),
            (asked.ITEMS_OUT, [(*key, count) for key, count in sorted(sold.items())]),
            (asked.OVERRIDES, overrides),
            (asked.HOLDS, holds),
            (asked.LOADS, loads),
            (asked.ORDERS, orders),
            (asked.ANCESTRY, lots),
        ):
            found = self.world.ask(sql, self.prefix)
            assert found == known, f"{sql}: {found} not {known} after {self.story()}"

    @invariant()
    def the_service_agrees_with_itself(self) -> None:
        since = self.start.position
        for sql in (asked.SUMS, asked.NO_DAY_BELOW_ZERO, asked.BOOKS_ARE_SUMS):
            found = self.world.ask(sql, since)
            assert not found, f"{sql}\n{found} after {self.story()}"
        ((count, newest, oldest),) = self.world.ask(asked.DENSE)
        assert (count, oldest) == (newest, 1)
        found = self.world.runner.run(differences(self.world.connection, self.start))
        assert not found, f"a refold differs: {found} after {self.story()}"
        self.agreed = True


def test_the_model_knows_every_type_of_event() -> None:
    assert set(WEIGHTS) == set(TELL) == set(EVENT_TYPES)


def test_the_ledger_does_what_the_plain_model_says(world: World) -> None:
    global WORLD
    WORLD = world
    run_state_machine_as_test(TheLedger, settings=PROFILE)
    assert world.runner.run(differences(world.connection)) == {}
    for name in world.by_the_log:
        assert world.built_anew(name) == []
