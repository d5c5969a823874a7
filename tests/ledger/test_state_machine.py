"""The ledger against a plain model, over real HTTP and a real PostgreSQL.

Hypothesis tells a story of events; after every step the service and the model must agree on each
verdict and on every balance of every day, and the service with itself: sums are zero, no day is
below zero, its books are what a full refold of the log makes of it.

`GRAFTLOG_TEST_DEEP=1` looks longer.
"""

import asyncio
import contextlib
import os
import threading
from collections import Counter
from collections.abc import Iterator
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import asyncpg
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

from service.storage.pool import register_json
from tests.ledger.model import Account, Ledger, Verdict
from tests.ledger.refold import differences, here
from tests.ledger.served import Served, serve_new
from tests.support.bench_side import entry
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
CATALOGUE = [
    entry("site", "CORIN", name="Corin", time_zone="Europe/Madrid", latitude=40, longitude=1),
    *(entry("place", code, site="CORIN", structure="House 1") for code in ("BOX", "TB1", "TB2")),
    entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo"),
    entry("size", "P9", label="9 cm pot"),
]
NO_DAY_BELOW_ZERO = """
SELECT lot_id, account_id, occurred_day, standing FROM (
    SELECT lot_id, account_id, occurred_day,
           sum(sum(delta)) OVER (PARTITION BY lot_id, account_id ORDER BY occurred_day) AS standing
    FROM legs WHERE position > $1 GROUP BY 1, 2, 3) AS days
JOIN balances USING (lot_id, account_id)
WHERE standing < 0 AND kind NOT IN ('source', 'variance')
"""
SUMS = """
SELECT b.commodity, sum(g.delta)::bigint AS sum
FROM legs g JOIN balances b USING (lot_id, account_id)
WHERE g.position > $1 GROUP BY 1 HAVING sum(g.delta) <> 0
"""
BOOKS_ARE_SUMS = """
SELECT lot_id, account_id, balance, sum
FROM (SELECT b.* FROM balances b JOIN lots l USING (lot_id) WHERE l.position > $1) AS b
FULL JOIN (SELECT lot_id, account_id, sum(delta) FROM legs WHERE position > $1 GROUP BY 1, 2) AS s
USING (lot_id, account_id) WHERE balance IS DISTINCT FROM coalesce(sum, 0)
"""
DAYS = """
SELECT l.code, b.kind, b.place, b.stage, b.size, b.grade, b.ref, g.occurred_day,
       sum(g.delta)::int
FROM lots l JOIN balances b USING (lot_id) JOIN legs g USING (lot_id, account_id)
WHERE starts_with(l.code, $1) GROUP BY 1, 2, 3, 4, 5, 6, 7, 8 HAVING sum(g.delta) <> 0
"""
CLAIMS = """
SELECT r.code, r.state, c.open::int FROM reservations r
JOIN commitments c ON c.reservation = r.code WHERE starts_with(r.code, $1) ORDER BY r.code, c.line
"""
DENSE = "SELECT count(*), max(position), min(position) FROM events"


class World:
    """One service and one database, which all examples of a run share: each has its own codes."""

    def __init__(self, served: Served) -> None:
        self.served = served
        self.examples = 0
        self.runner = asyncio.Runner()
        self.connection = self.runner.run(self._connect())
        self.client = served.client()
        for part in (CATALOGUE[:1], CATALOGUE[1:]):
            answer = self.client.post("/v1/events", json=part)
            assert answer.status_code == 201, answer.text

    async def _connect(self) -> "asyncpg.Connection[Any]":
        connection = await asyncpg.connect(self.served.database_url)
        await register_json(connection)
        return connection

    def ask(self, sql: str, *parts: Any) -> list[tuple[Any, ...]]:
        rows = self.runner.run(self.connection.fetch(sql, *parts))
        return [tuple(row.values()) for row in rows]

    def restart(self) -> None:
        self.client.close()
        self.served.kill()
        self.served.start()
        self.client = self.served.client()

    def close(self) -> None:
        self.client.close()
        self.runner.run(self.connection.close())
        self.runner.close()


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


counts = st.integers(1, 5) | st.integers(1, 12)
zero_or_more = st.integers(0, 8)
places = st.sampled_from(["TB1", "TB2"])
grades = st.sampled_from([None, "first", "second"])
moments = st.builds(
    lambda day, time: f"2025-03-{day:02}{time}",
    st.integers(1, 12),
    st.sampled_from(["", "", "", "T08:00:00Z", "T16:00:00Z"]),
)
late_moments = st.builds(lambda day: f"2025-03-{day:02}", st.integers(9, 12))
KINDS = {
    "liners.received": 1,
    "budwood.received": 1,
    "trees.grafted": 3,
    "push.counted": 3,
    "stock.counted": 2,
    "trees.lost": 2,
    "trees.moved": 2,
    "trees.graded": 3,
    "trees.sold": 3,
    "reservation.made": 3,
    "reservation.released": 1,
    "event.voided": 2,
}
kinds = st.sampled_from([kind for kind, weight in KINDS.items() for _ in range(weight)])


class TheLedger(RuleBasedStateMachine):
    """A nursery with few tables and few codes, so that events meet."""

    def __init__(self) -> None:
        super().__init__()
        self.world = WORLD
        self.world.examples += 1
        self.prefix = f"X{self.world.examples}-"
        self.model = Ledger()
        self.start = self.world.runner.run(here(self.world.connection))
        self.ids = 0
        self.sent: list[tuple[str, Any, dict[str, str], httpx.Response]] = []

    def code(self, name: str) -> str:
        return self.prefix + name

    @initialize(
        count=st.integers(8, 30),
        buds=st.integers(8, 30),
        basis=st.sampled_from(["counted", "estimated"]),
        ready=st.integers(1, 4),
    )
    def books_are_opened(self, count: int, buds: int, basis: str, ready: int) -> None:
        cultivar = entry(
            "cultivar", self.code("CV"), crop="citrus", species="Citrus limon", epithet="Eureka"
        )
        answer = self.world.client.post("/v1/events", json=cultivar)
        assert answer.status_code == 201, answer.text
        self.tell(
            [
                self.event("liners.received", "2025-03-01", self.liners("L1", count, "TB1")),
                self.event("budwood.received", "2025-03-01", self.wood("W1", "B1", buds, basis)),
            ],
            "all",
        )
        trees = self.event("trees.grafted", "2025-03-02", self.graft("T1", "B1", "L1", 8))
        self.tell([trees], "all")
        standing = {"lot": self.code("T1"), "place": "TB1", "stage": "grafted", "size": "P9"}
        outcomes = [
            {"count": ready, "stage": "ready", "grade": "second"},
            {"count": 2, "stage": "ready", "grade": "first"},
        ]
        graded = self.event("trees.graded", "2025-03-03", standing | {"outcomes": outcomes})
        self.tell([graded], "all")
        item = {"cultivar": self.code("CV"), "rootstock": "CARRIZO", "size": "P9", "count": 2}
        wanted = {"reservation": self.code("R0"), "customer": "cust-1", "lines": [item]}
        self.tell([self.event("reservation.made", "2025-03-03", wanted)], "all")

    # -- events ----------------------------------------------------------------

    def event(self, kind: str, occurred: str, data: dict[str, Any], **more: Any) -> dict[str, Any]:
        self.ids += 1
        name = str(uuid5(NAMESPACE_URL, f"{self.prefix}{self.ids}"))
        return {
            "id": name,
            "type": kind,
            "site": "CORIN",
            "occurred": occurred,
            "data": data,
            **more,
        }

    def liners(self, lot: str, count: int, place: str) -> dict[str, Any]:
        line = {"place": place, "count": count}
        return {
            "lot": self.code(lot),
            "rootstock": "CARRIZO",
            "size": "P9",
            "supplier": "sup-1",
            "lines": [line],
        }

    def wood(self, lot: str, bag: str, buds: int, basis: str) -> dict[str, Any]:
        fill = {"bag": self.code(bag), "buds": buds, "basis": basis, "place": "BOX"}
        return {
            "lot": self.code(lot),
            "cultivar": self.code("CV"),
            "supplier": "sup-1",
            "bags": [fill],
        }

    def graft(self, lot: str, bag: str, liners: str, count: int) -> dict[str, Any]:
        return {
            "lot": self.code(lot),
            "from": [{"bag": self.code(bag), "buds": count, "place": "BOX"}],
            "onto": {"liner_lot": self.code(liners), "place": "TB1", "size": "P9"},
            "method": "t_bud",
            "count": count,
            "place": "TB1",
        }

    def draw_event(self, data: st.DataObject, replaces: str | None = None) -> dict[str, Any]:
        kind = data.draw(kinds.filter(lambda k: k != "event.voided") if replaces else kinds)
        # What is sold has to be ready before: mostly late in the story.
        occurred = data.draw(late_moments | moments if kind == "trees.sold" else moments)
        if kind == "event.voided":
            return self.voiding(data, occurred)
        made = getattr(self, "draw_" + kind.replace(".", "_"))(data)
        return self.event(kind, occurred, made, **({"replaces": replaces} if replaces else {}))

    def voiding(self, data: st.DataObject, occurred: str) -> dict[str, Any]:
        # Mostly what nothing stands on yet: the youngest, and not what was voided before.
        young = [i for i, told in self.model.told.items() if not told.voided][-5:]
        pool = [*young, *young, *young, *list(self.model.told)[-8:]]
        target = data.draw(st.sampled_from(pool))
        return self.event("event.voided", occurred, {"event": target, "reason": "not so"})

    def tree(self, data: st.DataObject) -> str:
        known = [c for c, lot in self.model.lots.items() if lot.kind == "tree"]
        return data.draw(st.sampled_from([*known, *known, self.code("T1"), self.code("T2")]))

    def draw_liners_received(self, data: st.DataObject) -> dict[str, Any]:
        return self.liners(data.draw(st.sampled_from(["L1", "L2"])), data.draw(counts), "TB1")

    def draw_budwood_received(self, data: st.DataObject) -> dict[str, Any]:
        lot, bag = data.draw(st.sampled_from([("W1", "B1"), ("W2", "B2"), ("W2", "B1")]))
        basis = data.draw(st.sampled_from(["counted", "estimated", "at_least"]))
        return self.wood(lot, bag, data.draw(counts), basis)

    def draw_trees_grafted(self, data: st.DataObject) -> dict[str, Any]:
        lot = data.draw(st.sampled_from(["T1", "T2", "T2", "T3", "T3"]))
        bag = data.draw(st.sampled_from(["B1", "B1", "B2"]))
        made = self.graft(
            lot, bag, data.draw(st.sampled_from(["L1", "L1", "L2"])), data.draw(counts)
        )
        made["from"][0]["buds"] += data.draw(st.integers(0, 2))
        made["method"] = data.draw(st.sampled_from(["t_bud", "t_bud", "t_bud", "chip_bud"]))
        made["place"] = data.draw(places)
        return made

    def draw_push_counted(self, data: st.DataObject) -> dict[str, Any]:
        taken = data.draw(st.integers(0, 2))
        return {
            "lot": self.tree(data),
            "place": data.draw(places),
            "size": "P9",
            "pushed": data.draw(zero_or_more),
            "waiting": data.draw(zero_or_more),
            "failed": data.draw(st.integers(0, 2)),
            "removed": [{"count": taken, "cause": "dead_stock"}] if taken else [],
        }

    def draw_stock_counted(self, data: st.DataObject) -> dict[str, Any]:
        what = data.draw(st.sampled_from(["trees", "liners", "bag"]))
        line: dict[str, Any] = {"counted": data.draw(st.integers(0, 20))}
        if what == "bag":
            line |= {"bag": self.code(data.draw(st.sampled_from(["B1", "B2"]))), "place": "BOX"}
        elif what == "liners":
            line |= {"lot": self.code("L1"), "place": "TB1", "size": "P9"}
        else:
            line |= self.standing(data)
        return {"lines": [line], "reason": "walked the table"}

    def standing(self, data: st.DataObject) -> dict[str, Any]:
        """One of the accounts of trees that there are, or might be."""
        known = [a for a in self.model.entries if a.kind == "trees"]
        if known and data.draw(st.integers(0, 3)):
            account = data.draw(st.sampled_from(known))
            where = {"place": account.place, "stage": account.stage, "grade": account.grade or None}
            lot = account.lot
        else:
            stage = data.draw(st.sampled_from(["grafted", "pushed", "failed", "ready"]))
            where, lot = {"place": data.draw(places), "stage": stage}, self.tree(data)
            if stage == "ready":
                where["grade"] = "first"
        return {name: value for name, value in where.items() if value} | {"lot": lot, "size": "P9"}

    def draw_trees_lost(self, data: st.DataObject) -> dict[str, Any]:
        return self.standing(data) | {"count": data.draw(counts), "cause": "frost"}

    def draw_trees_moved(self, data: st.DataObject) -> dict[str, Any]:
        where = self.standing(data)
        other = "TB2" if where["place"] == "TB1" else "TB1"
        return where | {"count": data.draw(counts), "to": other}

    def draw_trees_graded(self, data: st.DataObject) -> dict[str, Any]:
        where = self.standing(data)
        # Another grade than they have: else nothing would move.
        others = [grade for grade in ("first", "second") if grade != where.get("grade")]
        outcomes = [
            {
                "count": data.draw(counts),
                "stage": "ready",
                "grade": data.draw(st.sampled_from(others)),
            }
            for _ in range(data.draw(st.integers(1, 2)))
        ]
        return where | {"outcomes": outcomes}

    def draw_trees_sold(self, data: st.DataObject) -> dict[str, Any]:
        ready = [a for a in self.model.balances() if a.kind == "trees" and a.stage == "ready"]
        line: dict[str, Any] = {"lot": self.tree(data), "place": "TB1", "grade": "first"}
        if ready:
            account = data.draw(st.sampled_from(ready))
            line = {"lot": account.lot, "place": account.place, "grade": account.grade}
        line |= {"size": "P9", "stage": "ready", "count": data.draw(st.integers(1, 3) | counts)}
        sale: dict[str, Any] = {"customer": "cust-1", "lines": [line]}
        if self.model.reservations and data.draw(st.integers(0, 3)):
            sale["reservation"] = data.draw(st.sampled_from(list(self.model.reservations)))
        return sale

    def draw_reservation_made(self, data: st.DataObject) -> dict[str, Any]:
        lines = []
        for _ in range(data.draw(st.integers(1, 2))):
            line = {"cultivar": self.code("CV"), "rootstock": "CARRIZO", "size": "P9"}
            grade = data.draw(grades)
            lines.append(line | ({"grade": grade} if grade else {}) | {"count": data.draw(counts)})
        code = self.code(data.draw(st.sampled_from(["R1", "R2", "R3"])))
        return {"reservation": code, "customer": "cust-1", "lines": lines}

    def draw_reservation_released(self, data: st.DataObject) -> dict[str, Any]:
        known = [*self.model.reservations, self.code("R1")]
        return {"reservation": data.draw(st.sampled_from(known)), "reason": "gave up"}

    # -- steps -----------------------------------------------------------------------

    @rule(data=st.data(), key=st.booleans())
    def one_event(self, data: st.DataObject, key: bool) -> None:
        self.tell([self.draw_event(data)], "all", key=key)

    @rule(data=st.data(), size=st.integers(2, 4), mode=st.sampled_from(["all", "each"]))
    def several_events(self, data: st.DataObject, size: int, mode: str) -> None:
        events = [self.draw_event(data) for _ in range(size)]
        if data.draw(st.integers(0, 4)) == 4:
            known = [told.event for told in self.model.told.values()]
            events.append(data.draw(st.sampled_from(known)))
        self.tell(events, mode, key=data.draw(st.booleans()))

    @rule(data=st.data(), mode=st.sampled_from(["all", "each"]))
    def void_with_a_replacement(self, data: st.DataObject, mode: str) -> None:
        void = self.voiding(data, data.draw(moments))
        target = self.model.told[void["data"]["event"]].event
        how = data.draw(st.sampled_from(["same", "other day", "other"]))
        if how == "other":
            new = self.draw_event(data, replaces=target["id"])
        else:
            occurred = target["occurred"] if how == "same" else data.draw(moments)
            body = dict(target["data"])
            if "count" in body:
                body["count"] = data.draw(counts)
            if "from" in body:
                body["from"] = [body["from"][0] | {"buds": body["count"]}]
            new = self.event(target["type"], occurred, body, replaces=target["id"])
        pair = [void, new] if data.draw(st.booleans()) else [new, void]
        self.tell(pair, mode)

    @rule(data=st.data(), how=st.sampled_from(["same request", "other body", "other content"]))
    def said_before(self, data: st.DataObject, how: str) -> None:
        """A retry, an Idempotency-Key for another request, an id for another event."""
        if how == "same request":
            self._retry(*data.draw(st.sampled_from(self.sent)))
        elif how == "other content":
            event = self.draw_event(data)
            event["id"] = data.draw(st.sampled_from(list(self.model.told)))
            self.tell([event], data.draw(st.sampled_from(["all", "each"])))
        else:
            used = [headers for _, _, headers, first in self.sent if headers and first.is_success]
            if used:
                event = self.draw_event(data)
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
        self.tell([self.draw_event(data)], "all")

    @rule(data=st.data())
    def yet_another_event(self, data: st.DataObject) -> None:
        self.tell([self.draw_event(data)], "each")

    @rule(data=st.data(), chance=st.integers(0, 11))
    def the_power_goes(self, data: st.DataObject, chance: int) -> None:
        """Killed while it records; started again, and told again what was on the way."""
        if chance != 11:
            return
        event = self.draw_event(data)
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
        headers = {"Idempotency-Key": f'"{self.prefix}{self.ids}-{len(self.sent)}"'} if key else {}
        answer = self.post(events, mode, headers)
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
                    n["kind"],
                    n.get("place", ""),
                    n.get("stage", ""),
                    n.get("size", ""),
                    n.get("grade", ""),
                    n.get("ref", ""),
                ),
                n["day"],
                n["shortage"],
            )
            for n in (error["numbers"] for error in errors)
        }
        lows = {(low.account, str(low.day), low.short) for v in expected for low in v.low}
        assert named <= lows, (named, lows)
        assert len(errors) == len(named)

    def story(self) -> str:
        """What was sent so far, to tell it again."""
        lines = [
            f"{a.status_code} {m} {msgspec.json.encode(e).decode()}" for m, e, _, a in self.sent
        ]
        return "\n".join(["", *lines]).replace(self.prefix, "")

    @invariant()
    def the_service_agrees_with_the_model(self) -> None:
        kept = Counter(
            {(Account(*row[:7]), row[7]): row[8] for row in self.world.ask(DAYS, self.prefix)}
        )
        expected = self.model.days()
        if kept != expected:
            raise AssertionError(
                f"the service has {dict(kept - expected)}, the model {dict(expected - kept)} "
                f"after {self.story()}"
            )
        claims = [
            (code, reservation["state"], line["open"])
            for code, reservation in sorted(self.model.reservations.items())
            for line in reservation["lines"]
        ]
        assert self.world.ask(CLAIMS, self.prefix) == claims

    @invariant()
    def the_service_agrees_with_itself(self) -> None:
        since = self.start.position
        for sql in (SUMS, NO_DAY_BELOW_ZERO, BOOKS_ARE_SUMS):
            found = self.world.ask(sql, since)
            assert not found, f"{sql}\n{found} after {self.story()}"
        ((count, newest, oldest),) = self.world.ask(DENSE)
        assert (count, oldest) == (newest, 1)
        found = self.world.runner.run(differences(self.world.connection, self.start))
        assert not found, f"a refold differs: {found} after {self.story()}"


def test_the_ledger_does_what_the_plain_model_says(world: World) -> None:
    global WORLD
    WORLD = world
    run_state_machine_as_test(TheLedger, settings=PROFILE)
    assert world.runner.run(differences(world.connection)) == {}
