"""The part of the public description that says what webhooks are sent: one entry for each type.

Messages are CloudEvents 1.0, signed as Standard Webhooks 1.0.0 says. What a receiver may answer is
the same for all.
"""

from typing import Any, NamedTuple

from service.feed.cloud_events import ONE, CloudEvent
from service.reminders.alerts import AlertRow
from service.trade.events import EVENT_TYPES
from service.webhooks.topics import (
    ALERT_CLOSED,
    ALERT_RAISED,
    AVAILABILITY,
    TEST,
    AvailabilityChanged,
    TopicEvent,
)

_REF = "#/components/"
TAG = "Webhooks"


class _Topic(NamedTuple):
    """A message that is no event of the log: in words, and the shape of its `data`."""

    words: str
    data: type[Any] | None


_TOPICS: dict[str, _Topic] = {
    AVAILABILITY: _Topic("What can be reserved of some items changed.", AvailabilityChanged),
    ALERT_RAISED: _Topic("An alert was raised.", AlertRow),
    ALERT_CLOSED: _Topic("An alert is closed; its `id` alone where no more is known.", None),
    TEST: _Topic("Somebody tries whether messages arrive.", None),
}
# Shapes that the description must have for this part of it.
SHAPES: tuple[type[Any], ...] = (CloudEvent, TopicEvent, AvailabilityChanged, AlertRow)

_HEADERS = {
    "webhook-id": (
        "Tells a message from all others, and is the same at each attempt.",
        {"type": "string", "maxLength": 100},
    ),
    "webhook-timestamp": (
        "When this attempt was made, in seconds since 1970. Refuse what is minutes old.",
        {"type": "string", "pattern": "^[0-9]{1,12}$"},
    ),
    "webhook-signature": (
        "Signatures of `id.timestamp.body` as Standard Webhooks says, with a space between them: "
        "one for each secret in use. One that fits is enough.",
        {"type": "string", "pattern": "^v1,[A-Za-z0-9+/=]+( v1,[A-Za-z0-9+/=]+)*$"},
    ),
}
_ANSWERS = {
    "2XX": ("taken", "It was taken. Answer at once, and think later."),
    "410": ("gone", "You want no more: the webhook is stopped."),
    "default": (
        "not_taken",
        "It was not taken, and is sent again later: after Retry-After if you say so. Redirects "
        "are not followed.",
    ),
}


def parameters() -> dict[str, Any]:
    """The headers of a message, for the description's components."""
    return {
        name: {
            "name": name,
            "in": "header",
            "required": True,
            "description": words,
            "schema": schema,
        }
        for name, (words, schema) in _HEADERS.items()
    }


def responses() -> dict[str, Any]:
    """What a receiver may answer, for the description's components."""
    return {name: {"description": words} for name, words in _ANSWERS.values()}


def webhooks(components: dict[str, Any]) -> dict[str, Any]:
    """The section, by type of message; `components` holds the schemas of events."""
    shapes: dict[str, str] = components["Event"]["discriminator"]["mapping"]
    found = {}
    for name in EVENT_TYPES:
        schema = components[shapes[name].rpartition("/")[2]]
        words = schema["description"].strip()
        data = {"properties": {"data": _bare(schema["properties"]["data"])}}
        found[name] = {"post": _told(name, words, "CloudEvent", data)}
    for name, topic in _TOPICS.items():
        shape = _schema(topic.data.__name__) if topic.data is not None else {"type": "object"}
        found[name] = {"post": _told(name, topic.words, "TopicEvent", shape)}
    return found


def _told(name: str, words: str, envelope: str, data: dict[str, Any]) -> dict[str, Any]:
    summary = words.partition("\n")[0].partition(" (")[0].rstrip(".")
    schema = {
        "allOf": [
            _schema(envelope),
            {"properties": {"type": {"const": name}, "data": data}},
        ]
    }
    return {
        "operationId": f"told_{name.replace('.', '_')}",
        "summary": summary,
        "description": words,
        "tags": [TAG],
        # Whoever is told knows the sender by the signature.
        "security": [],
        "parameters": [{"$ref": f"{_REF}parameters/{header}"} for header in _HEADERS],
        "requestBody": {"required": True, "content": {ONE: {"schema": schema}}},
        "responses": {
            status: {"$ref": f"{_REF}responses/{answer}"}
            for status, (answer, _) in _ANSWERS.items()
        },
    }


def _schema(name: str) -> dict[str, str]:
    return {"$ref": f"{_REF}schemas/{name}"}


def _bare(schema: dict[str, Any]) -> dict[str, Any]:
    """A reference, without what is said of it where it is sent."""
    return {"$ref": schema["$ref"]} if "$ref" in schema else schema
