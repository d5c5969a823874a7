"""What happened, as the feed and webhooks tell it."""

from typing import Any

import msgspec

from graftlog_client.shapes import DATA, StoredEvent


class CloudEvent(msgspec.Struct, kw_only=True):
    """An event as CloudEvents 1.0 carry it; `source` and `id` together tell a repetition.

    `sequence`: its position in the log, with zeros before it. `data`: all that the log says of it.
    """

    id: str
    type: str
    source: str
    specversion: str = "1.0"
    time: str | None = None
    subject: str | None = None
    dataschema: str | None = None
    sequence: str | None = None
    recordedtime: str | None = None
    data: Any = None


def said(event: StoredEvent | CloudEvent) -> msgspec.Struct | None:
    """What an event says, by its type: `TreesSoldData` of `trees.sold`. None: a type from later.

    Fields that a later version has added are left out; `event.data` has them.
    """
    shape = DATA.get(event.type)
    if shape is None:
        return None
    data = event.data["data"] if isinstance(event, CloudEvent) else event.data
    return msgspec.convert(data, shape)
