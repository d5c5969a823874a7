"""Signatures, secrets at rest, the schedule: pure, held to outside examples where there are any."""

from datetime import UTC, datetime, timedelta

import pytest
from cryptography.fernet import Fernet
from standardwebhooks import Webhook as Verifier

from service.webhooks import signing
from service.webhooks.schedule import PAUSES, next_attempt
from service.webhooks.sealing import Sealer, Unreadable
from service.webhooks.sending import Sent, asked_to_wait

NOW = datetime(2026, 3, 1, 12, tzinfo=UTC)


def test_the_published_signature() -> None:
    # Standard Webhooks 1.0.0; the same vector is in the tests of its libraries.
    at = datetime.fromtimestamp(1614265330, UTC)
    signed = signing.signature(
        "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
        "msg_p5jXN8AQM9LWM0D4loKWxJek",
        at,
        b'{"test": 2432232314}',
    )
    assert signed == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="


def test_another_hand_verifies_each_of_two_secrets_and_no_third() -> None:
    old, new, other = (signing.new_secret() for _ in range(3))
    body = '{"data":"Ä"}'.encode()
    headers = dict(signing.headers([new, old], "m-1", datetime.now(UTC), body))
    for secret in (old, new):
        assert Verifier(secret).verify(body, headers) == {"data": "Ä"}
    with pytest.raises(Exception, match="No matching signature"):
        Verifier(other).verify(body, headers)
    with pytest.raises(Exception, match="No matching signature"):
        Verifier(new).verify(body + b" ", headers)


def test_a_time_of_another_zone_is_the_same_moment() -> None:
    secret, zone = signing.new_secret(), datetime(2026, 3, 1, 13).astimezone().tzinfo
    assert signing.headers([secret], "m", NOW, b"") == signing.headers(
        [secret], "m", NOW.astimezone(zone), b""
    )


def test_secrets_outlive_the_key_they_were_sealed_with() -> None:
    old, new, wrong = (Fernet.generate_key().decode() for _ in range(3))
    sealed = Sealer([old]).seal("whsec_x")
    assert "whsec" not in sealed
    both = Sealer([new, old])
    assert both.open(sealed) == "whsec_x"
    anew = both.sealed_anew(sealed)
    assert anew is not None
    assert Sealer([new]).open(anew) == "whsec_x"
    assert both.sealed_anew(anew) is None
    with pytest.raises(Unreadable):
        Sealer([wrong]).open(sealed)


def test_ten_attempts_over_three_days() -> None:
    # Standard Webhooks 1.0.0 proposes these pauses: 75:35:05 in all.
    assert sum(PAUSES, timedelta()) == timedelta(hours=75, minutes=35, seconds=5)
    failed = Sent("answered", 1, status=500)
    for number, pause in enumerate(PAUSES, 1):
        assert next_attempt(number, failed, NOW, lambda: 0.0) == NOW + pause
        assert next_attempt(number, failed, NOW, lambda: 1.0) == NOW + pause * 1.1
    assert next_attempt(10, failed, NOW, lambda: 0.0) is None


def test_what_the_receiver_asks_for() -> None:
    def after(wait: timedelta, status: int = 503) -> timedelta | None:
        sent = Sent("answered", 1, status=status, retry_after=wait)
        at = next_attempt(1, sent, NOW, lambda: 0.0)
        return None if at is None else at - NOW

    assert after(timedelta(minutes=7)) == timedelta(minutes=7)
    assert after(timedelta(seconds=1)) == PAUSES[0]
    assert after(timedelta(days=400)) == timedelta(hours=24)
    assert after(timedelta(minutes=7), status=410) is None


@pytest.mark.parametrize(
    ("value", "wanted"),
    [
        ("120", timedelta(seconds=120)),
        ("Sun, 01 Mar 2026 13:00:00 GMT", timedelta(hours=1)),
        ("Fri, 31 Dec 1999 23:59:59 GMT", timedelta(0)),
        ("9" * 40, timedelta(seconds=999_999_999)),
    ],
)
def test_both_forms_of_retry_after(value: str, wanted: timedelta) -> None:
    # RFC 9110 section 10.2.3, whose examples are the number and the date in 1999.
    assert asked_to_wait([(b"Date", b"x"), (b"Retry-After", value.encode())], NOW) == wanted


@pytest.mark.parametrize(
    "value",
    [
        "soon",
        "-5",
        "1.5",
        "",
        "Xyz, 99 Foo 1999 23:59:59 GMT",
        "Fri, 31 Dec 99999999999999999999 23:59:59 GMT",
        "Fri, 31 Dec 1999 23:59:59 +999999999999",
    ],
)
def test_what_is_no_retry_after_says_nothing(value: str) -> None:
    assert asked_to_wait([(b"Retry-After", value.encode())], NOW) is None
