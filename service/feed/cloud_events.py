"""Events as CloudEvents 1.0.2 (cloudevents.io), for programs that read many kinds of sources.

`data` is the event as `GET /v1/events/{id}` tells it, whole, so nothing is lost on the way. In
HTTP's binary mode (HTTP binding 1.0.2 section 3.1) that same answer is the body, and the rest
stands in `ce-` headers.
"""

from datetime import UTC, datetime
from typing import Annotated, Any
from urllib.parse import quote

import msgspec
from msgspec import Meta

from service.log.stored import StoredEvent

ONE = "application/cloudevents+json"
MANY = "application/cloudevents-batch+json"
# Where an event names one thing that it is about; the first of these that its data has.
_SUBJECTS = (
    "lot",
    "reservation",
    "work_order",
    "consignment",
    "hold",
    "override",
    "alert",
    "event",
    "bag",
    "place",
)
# What stands in a header as it is: printable ASCII but space, double quote and percent (HTTP
# binding section 3.1.3.2).
_PLAIN = "".join(chr(one) for one in range(0x21, 0x7F) if chr(one) not in '"%')


class CloudEvent(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """An event of the log as a CloudEvent 1.0. What does not apply is left out, never null."""

    specversion: Annotated[str, Meta(examples=["1.0"])]
    id: Annotated[str, Meta(description="The event's own id.")]
    source: Annotated[str, Meta(description="Address of the site that acted.")]
    type: Annotated[str, Meta(examples=["trees.grafted"])]
    time: Annotated[datetime, Meta(description="When it happened: `occurred_at` of the event.")]
    subject: Annotated[str, Meta(description="What it is about, such as lot/T-1.")] | None = None
    # Never equal to its default, so always written.
    datacontenttype: str = msgspec.field(default_factory=lambda: "application/json")
    dataschema: Annotated[str, Meta(description="Address of the schema of `data`.")]
    sequence: Annotated[
        str, Meta(description="Its position in the log, with zeros before it: later sorts after.")
    ]
    recordedtime: Annotated[datetime, Meta(description="When the log learned of it.")]
    data: StoredEvent


def cloud_event(stored: StoredEvent, base: str) -> CloudEvent:
    """`stored` as a CloudEvent; `base` is the service's public address (`Settings.base`).

    `source` and `id` together are unique for ever, so they tell a repeated delivery.
    """
    return CloudEvent(
        specversion="1.0",
        id=stored.id,
        source=f"{base}/v1/sites/{stored.site}",
        type=stored.type,
        time=stored.occurred_at.astimezone(UTC),
        subject=subject_of(stored),
        dataschema=f"{base}/v1/schemas/{stored.type}.v{stored.version}",
        sequence=f"{stored.position:020d}",
        recordedtime=stored.recorded_at.astimezone(UTC),
        data=stored,
    )


def subject_of(stored: StoredEvent) -> str | None:
    """What an event is about, such as lot/T-1; None when that is many things, or none."""
    entry = stored.data.get("entry")
    if isinstance(entry, dict):
        return f"{entry['kind']}/{entry['code']}"
    for kind in _SUBJECTS:
        code = stored.data.get(kind)
        if isinstance(code, str):
            return f"{kind}/{code}"
    return None


def binary_headers(event: CloudEvent) -> dict[str, str]:
    """All but the data as headers, for an answer whose body is `event.data` as JSON."""
    fields: dict[str, Any] = msgspec.to_builtins(event)
    return {
        f"ce-{name}": header_value(value)
        for name, value in fields.items()
        if name not in ("data", "datacontenttype")
    }


def header_value(text: str) -> str:
    """Text as a header's value: what is not plain is percent-encoded as UTF-8."""
    return quote(text, safe=_PLAIN)
