"""What a shop asks again and again, in a nursery with many lots, items and reservations."""

import asyncio
import statistics
import time
from collections.abc import Iterable
from datetime import date

from tests.bench.client import Result
from tests.bench.place import Place, Task, ask, empty_handler
from tests.bench.promises import CLAIMS, CULTIVARS, LOTS, catalogue_of, fill
from tests.support.bench_side import event
from tests.support.database import TestServer

AIM = 0.7
SHOP = "/v1/availability?site=S1&goods=trees&limit=200"


def measure(server: TestServer) -> Iterable[tuple[str, str, str, list[str]]]:
    """What was measured, the figure, its aim, and more lines."""
    # Requests are counted as ever; the quota is one that no machine uses up.
    with Place(server, views=False, GRAFTLOG_RATE_LIMIT="10000000") as place:
        catalogue_of(place)
        asyncio.run(fill(place.database_url))
        cold, tag = _asked(place)
        rows = len(place.client.get(SHOP).json()["items"])
        warm = statistics.median(_asked(place)[0] for _ in range(100))
        with empty_handler() as port:
            nothing, unchanged, whole = [], [], []
            for _ in range(3):
                nothing.append(ask(Task(port=port, path="/empty", known_tag='"-"', seconds=2)))
                unchanged.append(place.ask(path=SHOP, known_tag=tag, seconds=2))
                whole.append(place.ask(path=SHOP, known_tag='"-"', seconds=2))
        after = statistics.median(_after_a_reservation(place, number) for number in range(20))
    base = _rate(nothing)
    assert all(set(one.statuses) == {304} for one in unchanged)
    yield (
        "availability unchanged (304), 64 clients, of an empty handler's rate",
        f"{_rate(unchanged) / base:.2f}",
        f">= {AIM}",
        [
            f"304: {_rate(unchanged):,.0f}/s, p50 {unchanged[-1].p50_ms:.1f} ms, p99 "
            f"{unchanged[-1].p99_ms:.1f} ms; empty handler (GET): {base:,.0f}/s, p50 "
            f"{nothing[-1].p50_ms:.1f} ms, p99 {nothing[-1].p99_ms:.1f} ms",
            f"200 from what is kept, {rows} rows: {_rate(whole):,.0f}/s",
            f"{LOTS:,} lots, {CLAIMS:,} claims, {CULTIVARS * 5} kinds at 5 sites: first answer "
            f"{cold:,.0f} ms, again {warm:.1f} ms, after a reservation {after:.1f} ms",
        ],
    )


def _rate(results: list[Result]) -> float:
    return statistics.mean(result.rate for result in results)


def _asked(place: Place) -> tuple[float, str]:
    """Milliseconds to the whole answer, and its tag."""
    begin = time.perf_counter()
    answer = place.client.get(SHOP)
    took = 1000 * (time.perf_counter() - begin)
    assert answer.status_code == 200, answer.text
    return took, answer.headers["ETag"]


def _after_a_reservation(place: Place, number: int) -> float:
    """Milliseconds to the whole answer after something of it was reserved."""
    item = {"cultivar": f"CV{number}", "rootstock": "RS0", "size": "P9", "count": 1}
    place.record(event("reservation.made", str(date.today()), "S1", customer="c-1", lines=[item]))
    return _asked(place)[0]
