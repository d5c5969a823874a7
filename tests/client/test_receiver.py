"""Webhooks: the standard's example, another hand's signer, and what is not to be believed."""

import json
from datetime import UTC, datetime

import pytest
from graftlog_client import NotGenuine, Receiver
from standardwebhooks import Webhook

# Standard Webhooks, the example of its reference libraries' tests.
SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
SIGNED = {
    "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
    "webhook-timestamp": "1614265330",
    "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
}
BODY = b'{"test": 2432232314}'
OTHER = "whsec_bm90IHRoZSBzYW1lIHNlY3JldCBhdCBhbGw="
NOW = 1_800_000_000.0
EVENT = {"specversion": "1.0", "id": "e-1", "type": "trees.sold", "source": "/v1/sites/CORIN"}


def delivered(secret: str = SECRET, body: str = json.dumps(EVENT)) -> dict[str, str]:
    """Headers as the standard's own library signs them."""
    at = datetime.fromtimestamp(NOW, UTC)
    signature = Webhook(secret).sign("msg-1", at, body)
    return {
        "Webhook-Id": "msg-1",
        "Webhook-Timestamp": str(int(NOW)),
        "Webhook-Signature": signature,
    }


def test_the_standards_example_is_genuine() -> None:
    receiver = Receiver(SECRET, now=lambda: 1614265330.0)
    # Its signature holds; what it says is no CloudEvent, and that is said apart.
    with pytest.raises(NotGenuine, match="signed, but no CloudEvent"):
        receiver.verify(SIGNED, BODY)
    with pytest.raises(NotGenuine, match="by a secret of ours"):
        receiver.verify(SIGNED, BODY + b" ")


@pytest.mark.parametrize("known", [(SECRET,), (OTHER, SECRET), (SECRET, OTHER)])
def test_what_the_standards_library_signs_is_genuine(known: tuple[str, ...]) -> None:
    event = Receiver(*known, now=lambda: NOW + 290).verify(delivered(), json.dumps(EVENT).encode())
    assert (event.id, event.type) == ("e-1", "trees.sold")


def test_one_of_several_signatures_is_enough() -> None:
    headers = delivered()
    headers["Webhook-Signature"] = (
        f"v1a,zzz {delivered(OTHER)['Webhook-Signature']} " + (headers["Webhook-Signature"])
    )
    assert Receiver(SECRET, now=lambda: NOW).verify(headers, json.dumps(EVENT).encode()).id == "e-1"


@pytest.mark.parametrize(
    ("change", "now", "why"),
    [
        ({}, NOW + 301, "five minutes"),
        ({}, NOW - 301, "five minutes"),
        ({"Webhook-Id": "msg-2"}, NOW, "by a secret of ours"),
        ({"Webhook-Timestamp": str(int(NOW) + 1)}, NOW, "by a secret of ours"),
        ({"Webhook-Timestamp": "soon"}, NOW, "no time"),
        ({"Webhook-Timestamp": "9" * 5_000}, NOW, "no time"),
        ({"Webhook-Timestamp": "१८"}, NOW, "no time"),
        ({"Webhook-Signature": "v2,x"}, NOW, "by a secret of ours"),
        ({"Webhook-Signature": "v1,ä"}, NOW, "by a secret of ours"),
    ],
)
def test_what_is_not_to_be_believed(change: dict[str, str], now: float, why: str) -> None:
    receiver = Receiver(SECRET, now=lambda: now)
    with pytest.raises(NotGenuine, match=why):
        receiver.verify(delivered() | change, json.dumps(EVENT).encode())


def test_a_header_that_is_missing_is_named() -> None:
    headers = delivered()
    del headers["Webhook-Signature"]
    with pytest.raises(NotGenuine, match="webhook-signature"):
        Receiver(SECRET).verify(headers, b"{}")


def test_a_secret_is_not_any_text() -> None:
    with pytest.raises(ValueError, match="base64"):
        Receiver("whsec_not base64!")
    # One that was left empty would let in whoever signs with nothing.
    for short in ("", "whsec_", "whsec_c2hvcnQ="):
        with pytest.raises(ValueError, match="24 bytes"):
            Receiver(SECRET, short)
    with pytest.raises(ValueError, match="needs a secret"):
        Receiver()
