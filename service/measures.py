"""What a process counts of its own work, for `/metrics` (service.api.metrics).

Names begin with `graftlog_`, times are in seconds. A label only ever holds what the program itself
has a list of (a route's template, an event's type), never what somebody sent: so the number of
series is fixed, however many lots, keys and addresses there are.
"""

from bisect import bisect_left
from collections import Counter as Tally
from collections.abc import Iterable, Iterator
from itertools import accumulate
from math import inf

import prometheus_client
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector
from prometheus_client.core import CounterMetricFamily, HistogramMetricFamily, Metric
from prometheus_client.registry import Collector
from prometheus_client.utils import floatToGoString

# When a series began is of no use here.
prometheus_client.disable_created_metrics()  # type: ignore[no-untyped-call]

REGISTRY = CollectorRegistry()
ProcessCollector(registry=REGISTRY)

_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
# As OpenTelemetry's conventions for HTTP have them, with two below for what is answered at once.
_SECONDS = (
    0.001,
    0.0025,
    0.005,
    0.01,
    0.025,
    0.05,
    0.075,
    0.1,
    0.25,
    0.5,
    0.75,
    1,
    2.5,
    5,
    7.5,
    10,
)
_EVENTS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
NO_ROUTE = "none"


class Requests(Collector):
    """Requests by method, route and class of status, and how long they took.

    Written once a request on one thread, and read seldom: the library's own counters take a lock
    and some ten times as long.
    """

    def __init__(self) -> None:
        # The seconds in all, then how many requests fell at or below each bound, and above them.
        self._held: dict[tuple[str, str | None, int], list[float]] = {}

    def count(self, method: str, route: str | None, status: int, seconds: float) -> None:
        """One request. `route` is the template that it matched, None for an unknown address;
        `status` 0 when nothing was sent."""
        key = (method if method in _METHODS else "other", route, status // 100)
        held = self._held.get(key)
        if held is None:
            held = self._held[key] = [0.0] * (len(_SECONDS) + 2)
        held[0] += seconds
        held[bisect_left(_SECONDS, seconds) + 1] += 1

    def collect(self) -> Iterator[Metric]:
        counts = CounterMetricFamily(
            "graftlog_http_requests_total",
            "Requests answered, by route, method and class of status.",
            labels=("method", "route", "status"),
        )
        took = HistogramMetricFamily(
            "graftlog_http_request_duration_seconds",
            "Time from a request's first byte here to the end of its answer.",
            labels=("method", "route"),
        )
        together: dict[tuple[str, str], list[float]] = {}
        for (method, route, status), held in self._held.items():
            at = (method, route or NO_ROUTE)
            counts.add_metric((*at, f"{status}xx" if status else "none"), sum(held[1:]))
            before = together.get(at, [0.0] * len(held))
            together[at] = [a + b for a, b in zip(before, held, strict=True)]
        bounds = [*map(float, _SECONDS), inf]
        for at, (seconds, *fell) in together.items():
            buckets = zip(map(floatToGoString, bounds), accumulate(fell), strict=True)
            took.add_metric(at, list(buckets), seconds)
        yield counts
        yield took


REQUESTS = Requests()
REGISTRY.register(REQUESTS)
VERDICTS = Counter(
    "graftlog_verdicts_total",
    "Verdicts on events, by type; none is what could not be read. Trial runs are not counted.",
    ["type", "verdict"],
    registry=REGISTRY,
)
REPLAYS = Counter(
    "graftlog_replays_total",
    "Requests that got the answer stored for their Idempotency-Key.",
    registry=REGISTRY,
)
GROUP_EVENTS = Histogram(
    "graftlog_group_events",
    "Events that were decided in one transaction.",
    buckets=_EVENTS,
    registry=REGISTRY,
)
GROUP_SECONDS = Histogram(
    "graftlog_group_duration_seconds",
    "Time to decide and store a group, waiting for the log's lock included.",
    buckets=_SECONDS,
    registry=REGISTRY,
)
QUEUE_EVENTS = Gauge(
    "graftlog_queue_events", "Events that wait here to be written.", registry=REGISTRY
)
STREAMS = Gauge(
    "graftlog_streams", "Streams of events that are open (/v1/events/stream).", registry=REGISTRY
)
POOL_WAIT = Histogram(
    "graftlog_pool_wait_seconds",
    "Time that questions waited for a connection to the database.",
    ["pool"],
    buckets=_SECONDS,
    registry=REGISTRY,
)
READER_WAIT = POOL_WAIT.labels("reader")
WEBHOOK_ATTEMPTS = Counter(
    "graftlog_webhook_attempts_total",
    "Attempts to bring a webhook's message, by outcome.",
    ["outcome"],
    registry=REGISTRY,
)


def count_verdicts(verdicts: Iterable[tuple[str, str]]) -> None:
    """Verdicts on events, as pairs of type and verdict."""
    for (kind, verdict), count in Tally(verdicts).items():
        VERDICTS.labels(kind, verdict).inc(count)
