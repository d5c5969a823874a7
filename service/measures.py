"""What a process counts of its own work, for `/metrics` (service.api.metrics).

Names begin with `graftlog_`, times are in seconds. A label only ever holds what the program itself
has a list of (a route's template, an event's type), never what somebody sent: so the number of
series is fixed, however many lots, keys and addresses there are.
"""

from collections import Counter as Tally
from collections.abc import Iterable

import prometheus_client
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector

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

REQUESTS = Counter(
    "graftlog_http_requests_total",
    "Requests answered, by route, method and class of status.",
    ["method", "route", "status"],
    registry=REGISTRY,
)
REQUEST_SECONDS = Histogram(
    "graftlog_http_request_duration_seconds",
    "Time from a request's first byte here to the end of its answer.",
    ["method", "route"],
    buckets=_SECONDS,
    registry=REGISTRY,
)
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
POOL_WAIT = Histogram(
    "graftlog_pool_wait_seconds",
    "Time that questions waited for a connection to the database.",
    ["pool"],
    buckets=_SECONDS,
    registry=REGISTRY,
)
READER_WAIT = POOL_WAIT.labels("reader")

# Looking a series up by its labels costs more than counting in it.
_requests: dict[tuple[str, str | None, int], tuple[Counter, Histogram]] = {}


def count_request(method: str, route: str | None, status: int, seconds: float) -> None:
    """One request. `route` is the template that it matched, None for an unknown address; `status`
    0 when nothing was sent."""
    key = (method, route, status // 100)
    found = _requests.get(key)
    if found is None:
        known = method if method in _METHODS else "other"
        at = route or NO_ROUTE
        kind = f"{status // 100}xx" if status else "none"
        found = REQUESTS.labels(known, at, kind), REQUEST_SECONDS.labels(known, at)
        if known == method:
            _requests[key] = found
    found[0].inc()
    found[1].observe(seconds)


def count_verdicts(verdicts: Iterable[tuple[str, str]]) -> None:
    """Verdicts on events, as pairs of type and verdict."""
    for (kind, verdict), count in Tally(verdicts).items():
        VERDICTS.labels(kind, verdict).inc(count)
