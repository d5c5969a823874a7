"""GET /metrics: figures for whoever runs the service, in the text format that Prometheus reads."""

import sys
from collections.abc import Iterable, Iterator

from prometheus_client import generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4
from prometheus_client.registry import Collector

from service import __version__
from service.api.operation import Call, NoQuery, Reply, operation
from service.api.services import UNREACHABLE, Services
from service.log.rights import METRICS
from service.measures import REGISTRY
from service.reminders.raising import ALERT_KINDS
from service.views.standing import Standing, standing


class _Now(Collector):
    """Figures that are asked for, not counted."""

    def __init__(self, families: Iterable[Metric]) -> None:
        self.families = list(families)

    def collect(self) -> Iterable[Metric]:
        return self.families


@operation("GET", "/metrics", tag="Service", scope=METRICS, answer=str, produces="text/plain")
async def get_metrics(call: Call[NoQuery]) -> Reply:
    """Figures about this process, the log and its views, in Prometheus's text format.

    They are of the whole nursery, whatever the key's sites: counts and times, no codes and no
    names. While the database can't be reached `graftlog_database_up` is 0 and what would come from
    it is left out. Counters are of the process that answers; ask each process.
    """
    services = call.services
    found: Standing | None = None
    try:
        # Not the reader's connections: those see a key's sites, and may all be waited for.
        async with services.database.writer.acquire(timeout=5) as conn:
            found = await standing(conn, services.clock())
    except UNREACHABLE:
        pass
    families = [*_process(services, up=found is not None), *(_stands(found) if found else ())]
    body = generate_latest(REGISTRY) + generate_latest(_Now(families))
    return Reply(body, media_type=CONTENT_TYPE_PLAIN_0_0_4, cache="no-store")


def _gauge(
    name: str, words: str, values: dict[tuple[str, ...], float], labels: tuple[str, ...] = ()
) -> Metric:
    family = GaugeMetricFamily(f"graftlog_{name}", words, labels=labels)
    for found, value in values.items():
        family.add_metric(found, value)
    return family


def _process(services: Services, *, up: bool) -> Iterator[Metric]:
    python = ".".join(map(str, sys.version_info[:3]))
    yield _gauge(
        "build_info",
        "Always 1; the labels say what runs.",
        {(__version__, python): 1},
        ("version", "python"),
    )
    yield _gauge("database_up", "Whether the database answered just now.", {(): float(up)})
    pools = {"reader": services.database.reader, "writer": services.database.writer}
    yield _gauge(
        "pool_connections",
        "Connections to the database that are open.",
        {
            (name, state): count
            for name, pool in pools.items()
            for state, count in (
                ("idle", pool.get_idle_size()),
                ("used", pool.get_size() - pool.get_idle_size()),
            )
        },
        ("pool", "state"),
    )
    yield _gauge(
        "pool_connections_limit",
        "Most connections that the pool opens.",
        {(name,): pool.get_max_size() for name, pool in pools.items()},
        ("pool",),
    )


def _stands(found: Standing) -> Iterator[Metric]:
    yield _gauge("log_position", "The log's newest position.", {(): found.position})
    yield _gauge(
        "log_recorded_timestamp_seconds",
        "When the newest event was recorded.",
        {(): found.recorded_at.timestamp()},
    )
    view, job = ("view",), ("job",)
    yield _gauge(
        "view_lag_events",
        "Events that the view has not seen.",
        {(lag.view,): lag.events for lag in found.lags},
        view,
    )
    yield _gauge(
        "view_lag_seconds",
        "Age of the oldest event that the view has not seen; 0 when it has seen all.",
        {(lag.view,): lag.seconds for lag in found.lags},
        view,
    )
    yield _gauge(
        "view_faults",
        "Subjects that the view could not work out and has set aside.",
        {(lag.view,): found.faults.get(lag.view, 0) for lag in found.lags},
        view,
    )
    # Every kind is told, that of which there is none too: a series that comes and goes hides
    # what an alarm looks for.
    alerts: dict[tuple[str, ...], float] = {(kind, "1"): 0 for kind in ALERT_KINDS}
    alerts |= {(kind, str(level)): count for (kind, level), count in found.alerts.items()}
    yield _gauge(
        "alerts_open",
        "Alerts that are not closed, by kind and level.",
        alerts,
        ("kind", "level"),
    )
    yield _gauge(
        "to_put_right_open",
        "Refused records that wait to be put right.",
        {(): found.to_put_right},
    )
    yield _gauge(
        "job_last_tick_timestamp_seconds",
        "The newest tick of the job that has ended.",
        {(tick.job,): tick.tick.timestamp() for tick in found.ticks},
        job,
    )
    yield _gauge(
        "job_last_duration_seconds",
        "How long that tick took.",
        {(tick.job,): tick.seconds for tick in found.ticks},
        job,
    )
    yield _gauge(
        "job_last_failed",
        "1 when that tick failed.",
        {(tick.job,): float(tick.failed) for tick in found.ticks},
        job,
    )
