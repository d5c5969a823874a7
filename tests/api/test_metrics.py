"""/metrics: the figures are right, the text is Prometheus's, and no input makes a new series."""

import platform
import re
from datetime import timedelta
from uuid import uuid4

import httpx
import pytest
from prometheus_client.parser import text_string_to_metric_families

from service.api.routes import operations
from service.storage.pool import Database
from tests.api.conftest import MakeClient
from tests.api.nursery import STOCK, event, fill

Samples = dict[tuple[str, frozenset[tuple[str, str]]], float]


async def samples_of(client: httpx.AsyncClient) -> Samples:
    """Every sample by its name and labels; the parser is Prometheus's own for Python."""
    response = await client.get("/metrics")
    assert response.status_code == 200, response.text
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(response.text)
        for sample in family.samples
    }


def value(samples: Samples, name: str, **labels: str) -> float:
    return samples.get((f"graftlog_{name}", frozenset(labels.items())), 0.0)


@pytest.fixture
async def monitor(client_for: MakeClient) -> httpx.AsyncClient:
    return await client_for("monitor")


async def test_it_is_for_those_who_watch_the_service(client_for: MakeClient) -> None:
    for role, status in ((None, 401), ("recorder", 403), ("auditor", 403), ("monitor", 200)):
        assert (await (await client_for(role)).get("/metrics")).status_code == status, role
    watching = await client_for("monitor")
    assert (await watching.get("/v1/events")).status_code == 403


async def test_verdicts_are_counted_by_type(
    monitor: httpx.AsyncClient, client_for: MakeClient
) -> None:
    client = await client_for()
    await fill(client)
    looked = event("place.checked", {"place": "H2-T04"}, id=str(uuid4()))
    wrong = event("place.checked", {"place": "NO-SUCH"})
    before = await samples_of(monitor)

    assert (await client.post("/v1/events", json=looked)).status_code == 201
    assert (await client.post("/v1/events", json=looked)).status_code == 200
    assert (await client.post("/v1/events", json=[event(**_again(looked)), wrong])).is_error
    each = await client.post("/v1/events?mode=each", json=[wrong, {"type": "no.such"}])
    assert each.status_code == 200
    tried = await client.post("/v1/events?check=true", json=event(**_again(looked)))
    assert tried.status_code == 200
    key = {"Idempotency-Key": "once"}
    for _ in range(2):
        sent = await client.post("/v1/events", json=event(**_again(looked)), headers=key)
        assert sent.status_code == 201

    after = await samples_of(monitor)

    def more(name: str, **labels: str) -> float:
        return value(after, name, **labels) - value(before, name, **labels)

    verdicts = {
        (kind, verdict): more("verdicts_total", type=kind, verdict=verdict)
        for kind in ("place.checked", "none", "trees.grafted")
        for verdict in ("accepted", "known", "refused", "malformed")
    }
    assert {pair: n for pair, n in verdicts.items() if n} == {
        ("place.checked", "accepted"): 2,
        ("place.checked", "known"): 1,
        # two of the array that was refused whole, one of mode=each
        ("place.checked", "refused"): 3,
        ("none", "malformed"): 1,
    }
    assert more("replays_total") == 1
    assert more("group_events_count") == 7
    assert more("group_events_sum") == 9
    assert more("to_put_right_open") == 2


def _again(looked: dict[str, object]) -> dict[str, object]:
    return {"kind": looked["type"], "data": looked["data"]}


async def test_requests_are_counted_by_route(
    monitor: httpx.AsyncClient, client_for: MakeClient
) -> None:
    client = await client_for("auditor")
    before = await samples_of(monitor)
    await client.get("/v1/events/" + str(uuid4()))
    await client.head("/v1/events/" + str(uuid4()))
    await client.get("/v1/stock")
    await client.get("/v1/stock?limit=x")
    await client.get("/nowhere")
    after = await samples_of(monitor)
    counted = {
        tuple(sorted(dict(labels).values())): after[name, labels] - before.get((name, labels), 0)
        for name, labels in after
        if name == "graftlog_http_requests_total" and dict(labels)["route"] != "/metrics"
    }
    assert {labels: n for labels, n in counted.items() if n} == {
        ("/v1/events/{id}", "4xx", "GET"): 1,
        ("/v1/events/{id}", "4xx", "HEAD"): 1,
        ("/v1/stock", "2xx", "GET"): 1,
        ("/v1/stock", "4xx", "GET"): 1,
        ("4xx", "GET", "none"): 1,
    }
    route = {"method": "GET", "route": "/v1/stock"}
    count = "http_request_duration_seconds_count"
    assert value(after, count, **route) - value(before, count, **route) == 2


async def test_what_is_sent_makes_no_new_series(
    monitor: httpx.AsyncClient, client_for: MakeClient
) -> None:
    client = await client_for()

    async def send(number: int) -> None:
        kind = number % 5
        if kind == 0:
            await client.get(f"/v1/tree-lots/LOT-{number}")
        elif kind == 1:
            await client.get(f"/v1/events/{uuid4()}")
        elif kind == 2:
            await client.get(f"/nowhere/{number}")
        elif kind == 3:
            await client.request("PROPFIND", f"/v1/tree-lots/LOT-{number}")
        else:
            await client.post("/v1/events?mode=each", json={"type": f"made.up{number}"})

    for number in range(5):
        await send(number)
    await monitor.get("/metrics")
    before = set(await samples_of(monitor))
    for number in range(5, 1005):
        await send(number)
    assert set(await samples_of(monitor)) == before


async def test_every_label_is_one_of_the_programs_own(
    monitor: httpx.AsyncClient, client_for: MakeClient
) -> None:
    await fill(await client_for())
    routes = {re.sub(r"\{(\w+):\w+\}", r"{\1}", one.path) for one in operations()} | {"none"}
    codes = {str(code) for one in STOCK for code in one["data"].values() if isinstance(code, str)}
    for _, labels in await samples_of(monitor):
        for name, held in labels:
            assert name != "route" or held in routes
            assert held not in codes


async def test_names_are_as_prometheus_has_them(
    monitor: httpx.AsyncClient, client_for: MakeClient
) -> None:
    """The rules that `promtool check metrics` holds a text to: base units, `_total` for counters
    and for nothing else, words for each, no name of its type in it (Prometheus, "Metric and label
    naming")."""
    await fill(await client_for())
    text = (await monitor.get("/metrics")).text
    declared = re.findall(r"^# TYPE (\S+) (\S+)$", text, re.MULTILINE)
    assert len(declared) == len(set(declared)) > 20
    for name, kind in declared:
        assert re.fullmatch(r"(graftlog|process)_[a-z_]+[a-z]", name), name
        assert (kind == "counter") == name.endswith("_total"), name
        assert not re.search(r"(milli|micro|minutes|hours|kilo|mega|percent)", name), name
        assert not re.search(r"_(count|sum|bucket|gauge|counter|histogram|info_total)$", name), name
        assert re.search(rf"^# HELP {name} \S.{{10,}}$", text, re.MULTILINE), name
    assert {kind for _, kind in declared} == {"counter", "gauge", "histogram"}


async def test_without_its_database_it_still_answers(
    monitor: httpx.AsyncClient, database: Database
) -> None:
    assert value(await samples_of(monitor), "database_up") == 1
    await database.close()
    samples = await samples_of(monitor)
    assert value(samples, "database_up") == 0
    assert ("graftlog_log_position", frozenset()) not in samples
    assert value(samples, "build_info", version="0.1.0", python=platform.python_version()) == 1


async def test_pools_and_the_log(monitor: httpx.AsyncClient, client_for: MakeClient) -> None:
    client = await client_for()
    await fill(client)
    before = await samples_of(monitor)
    head = (await client.get("/v1/events?limit=1")).json()["position"]
    samples = await samples_of(monitor)
    waits = "pool_wait_seconds_count"
    assert value(samples, waits, pool="reader") > value(before, waits, pool="reader")
    assert value(samples, "log_position") == head
    assert value(samples, "pool_connections_limit", pool="reader") == 4
    open_now = [
        value(samples, "pool_connections", pool="reader", state=s) for s in ("idle", "used")
    ]
    assert 1 <= sum(open_now) <= 4
    assert value(samples, "queue_events") == 0
    assert value(samples, "alerts_open", kind="overdue_check", level="1") == 0
    assert ("graftlog_alerts_open", frozenset({("kind", "overdue_check"), ("level", "1")})) in (
        samples
    )
    assert timedelta(seconds=value(samples, "log_recorded_timestamp_seconds")) > timedelta(days=1)
