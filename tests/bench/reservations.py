"""Clerks who reserve: over many items, and all of one item; beside plain appends."""

from collections.abc import Iterable

from tests.bench.client import Result
from tests.bench.place import Place, Task, ask, empty_handler
from tests.support.bench_side import entry, event
from tests.support.database import TestServer

RESERVE = "/v1/reservations"
ITEMS = 50


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """What was measured, the figure, its aim, and more lines."""
    limits = {"GRAFTLOG_RATE_LIMIT": "0", "GRAFTLOG_RESERVATION_LIMIT": "1000000"}
    with empty_handler() as port, Place(server, views=False, **limits) as place:
        place.stocked()
        _ready(place)
        nothing = ask(Task(port=port, path="/empty", seconds=2.5))
        plain = place.ask(path="/v1/events", seconds=3)
        many = place.ask(path=RESERVE, lots=ITEMS, seconds=4)
        one = place.ask(path=RESERVE, lots=1, seconds=4)
        more = place.ask(path=RESERVE, lots=1, seconds=4)
        last = place.client.get("/v1/reservations?state=open&limit=1").json()["position"]
    yield (
        "reservations, 64 clients, of plain appends' rate",
        f"{many.rate / plain.rate:.2f}",
        ">= 0.5",
        [
            _line(f"reservations over {ITEMS} items", many),
            _line("reservations of one item", one),
            _line("the same, going on", more),
            _line("plain appends", plain),
            f"of an empty handler's rate ({nothing.rate:,.0f}/s): {many.rate / nothing.rate:.2f} "
            f"over {ITEMS} items, {one.rate / nothing.rate:.2f} of one",
            f"the log is at {last:,} at the end",
        ],
    )


def _ready(place: Place) -> None:
    """A million ready trees of each item."""
    citrus = {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Navelina"}
    place.record(*(entry("cultivar", f"CV{n}", **citrus) for n in range(ITEMS)))
    lines = [
        {
            "kind": "trees",
            "lot": f"READY-{n}",
            "cultivar": f"CV{n}",
            "rootstock": "CARRIZO",
            "stage": "ready",
            "size": "P9",
            "place": "TB1",
            "count": 1_000_000,
        }
        for n in range(ITEMS)
    ]
    place.record(event("stock.opened", "2025-01-01", lines=lines))


def _line(what: str, result: Result) -> str:
    return f"{what}: {result.rate:,.0f}/s, p50 {result.p50_ms:.1f} ms, p99 {result.p99_ms:.1f} ms"
