"""Fill what was left to default or derived, and say what is wrong or worth a remark.

A completed event says everything: its legs and its replay need no book. One completer a type,
in the module named like its events' module.
"""

from collections.abc import Callable
from typing import Any, TypeVar

import msgspec

from service.trade.bench import Bench
from service.trade.events.catalogue import CatalogueChanged, Site
from service.trade.events.envelope import Envelope

E = TypeVar("E", bound=Envelope)
Completer = Callable[[Bench, Any], Any]
COMPLETERS: dict[type, Completer] = {}


def completes(event_type: type) -> Callable[[Completer], Completer]:
    """Register the completer of an event type: (bench, data) → completed data."""

    def register(completer: Completer) -> Completer:
        COMPLETERS[event_type] = completer
        return completer

    return register


def speaks_of_its_site(event: Envelope) -> bool:
    """Whether the event is the acting site's own entry in the catalogue."""
    return (
        isinstance(event, CatalogueChanged)
        and isinstance(event.data.entry, Site)
        and event.data.entry.code == event.site
    )


def complete(bench: Bench) -> Envelope:
    """The bench's event, complete. Raises Refusal."""
    event = bench.event
    # A site's own entry may be the first thing that is ever said of it.
    if not speaks_of_its_site(event) and bench.site.retired:
        bench.break_rule("retired", f"Site {event.site} is retired.", "#/site", code=event.site)
    completer = COMPLETERS.get(type(event))
    completed = event
    if completer is not None:
        data = completer(bench, event.data)  # type: ignore[attr-defined]
        completed = msgspec.structs.replace(event, data=data)
    bench.settle()
    return completed


from service.trade.completing import (  # noqa: E402  (they register themselves above)
    bench_work,
    budwood,
    grafting,
    liners,
    orders,
    other,
    papers,
    promises,
    reservations,
    sales,
    stock,
    trees,
)

__all__ = [
    "bench_work",
    "budwood",
    "complete",
    "grafting",
    "liners",
    "orders",
    "other",
    "papers",
    "promises",
    "reservations",
    "sales",
    "stock",
    "trees",
]
