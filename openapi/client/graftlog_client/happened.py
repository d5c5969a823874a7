"""What happened, as the feed and webhooks tell it."""

from typing import Any

import msgspec

from graftlog_client.shapes import DATA, TOPICS, StoredEvent


class Message(msgspec.Struct, kw_only=True):
    """What a webhook brings: an event of the log, or news of a topic, as a CloudEvent 1.0.

    `source` and `id` together tell a repetition. `sequence`: the event's position in the log, with
    zeros before it; None: a topic's news.
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


def said(told: StoredEvent | Message) -> msgspec.Struct | None:
    """What it says, by its type: `TreesSoldData` of `trees.sold`. None: a type from later.

    Fields that a later version has added are left out; `data` has them.
    """
    data, shape = told.data, DATA.get(told.type) or TOPICS.get(told.type)
    if shape is None:
        return None
    if isinstance(told, Message) and told.type in DATA:
        # The event whole, as the list of events tells it.
        data = data["data"]
    return msgspec.convert(data, shape)
