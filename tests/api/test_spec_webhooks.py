"""What webhooks are sent is what the description says they are sent."""

from datetime import UTC, datetime
from functools import cache
from typing import Any

import msgspec
import pytest
from jsonschema import Draft202012Validator

from service.api import spec, spec_webhooks
from service.feed.cloud_events import cloud_event
from service.log.stored import StoredEvent
from service.log.upcasting import newest_data, newest_version
from service.trade.events import EVENT_TYPES
from service.webhooks.signing import headers
from service.webhooks.subscriptions import TELLABLE
from service.webhooks.topics import (
    AVAILABILITY,
    TEST,
    AvailabilityChanged,
    Change,
    message_of,
)
from service.webhooks.wanted import Wanted
from tests.corpus.keeping import Stored, read

NOW = datetime(2026, 3, 14, 9, tzinfo=UTC)


@cache
def document() -> dict[str, Any]:
    return spec.build()


def validator_of(kind: str) -> Draft202012Validator:
    body = document()["webhooks"][kind]["post"]["requestBody"]["content"]
    (schema,) = (one["schema"] for one in body.values())
    return Draft202012Validator({**schema, "components": document()["components"]})


def sent(one: Stored) -> Any:
    """An event of the corpus as a webhook is sent it."""
    stored = StoredEvent(
        position=one.position,
        id=one.id,
        type=one.type,
        version=newest_version(one.type),
        site=one.site,
        sites=one.sites,
        occurred=one.occurred,
        occurred_at=one.occurred_at,
        actor=one.actor,
        happened=one.happened,
        replaces=one.replaces,
        recorded_at=NOW,
        recorded_by="bench",
        remarks=msgspec.convert(one.remarks, list[Any]),
        data=newest_data(one.type, one.version, one.data),
        voided_by=None,
    )
    body = msgspec.json.encode(cloud_event(stored, "https://stock.example"))
    return msgspec.json.decode(body)


def test_every_type_that_can_be_told_is_described() -> None:
    assert set(document()["webhooks"]) == {*TELLABLE, TEST}


@pytest.mark.parametrize("kind", sorted(EVENT_TYPES))
def test_an_event_is_told_as_described(kind: str) -> None:
    validator = validator_of(kind)
    for one in read():
        if one.type == kind:
            mistakes = [error.message for error in validator.iter_errors(sent(one))]
            assert not mistakes, (one.position, mistakes)


def test_another_event_does_not_fit() -> None:
    grafted = next(sent(one) for one in read() if one.type == "trees.grafted")
    assert not validator_of("trees.sold").is_valid(grafted)
    grafted["data"]["data"]["count"] = "24"
    assert not validator_of("trees.grafted").is_valid(grafted)


def test_a_topic_is_told_as_described() -> None:
    data = AvailabilityChanged(items=[], gone=["NAV/CARR/P9"])
    change = Change(type=AVAILABILITY, subject=None, data=data, says={}, unsays=[])
    message = message_of(change, "availability", "https://stock.example", NOW, Wanted(None, None))
    told = msgspec.json.decode(message.body)
    validator = validator_of(AVAILABILITY)
    assert not list(validator.iter_errors(told))
    assert not validator.is_valid(told | {"data": {"gone": []}})


def test_its_headers_are_those_described() -> None:
    secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
    given = headers([secret], "msg_1", NOW, b"{}")
    described = spec_webhooks.parameters()
    assert {name for name, _ in given} == set(described)
    for name, value in given:
        assert Draft202012Validator(described[name]["schema"]).is_valid(value)
