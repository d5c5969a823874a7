"""Links in mails: what they let the holder do is signed, so nothing is kept of them.

A link works for who has the mail, without signing in: it stops one person's mails, or says of one
alert that it was seen. Signed with a key derived (HKDF, RFC 5869) from the settings' secrets key;
one that was replaced still counts while it stands in the settings.
"""

import base64
import hashlib
import hmac
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import msgspec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

# What a link about an alert is good for.
GOOD_FOR = timedelta(days=30)
# With it no token is so short that logs would show it (`logs.shown_path`).
_MAC = 20
_LONGEST = 400
_EPOCH = date(2020, 1, 1)


class Stop(msgspec.Struct, frozen=True, array_like=True, tag="s"):
    """Stops all mails to a person."""

    person: str


class About(msgspec.Struct, frozen=True, array_like=True, tag="a"):
    """Says something of an alert as that person; `until` counts days from 2020."""

    person: str
    alert: str
    until: int


Meaning = Stop | About


class BadLink(Exception):
    """It was not made here, was changed, or is too old."""


class Links:
    """Makes links' tokens and reads them."""

    def __init__(self, keys: Sequence[str]) -> None:
        self._keys = [_derived(key) for key in keys]

    def stop(self, person: str) -> str:
        """What stops all mails to a person; it does not age."""
        return self._sealed(Stop(person))

    def about(self, person: str, alert: str, today: date) -> str:
        """What says something of an alert, for a month."""
        return self._sealed(About(person, alert, (today + GOOD_FOR - _EPOCH).days))

    def read(self, token: str, now: datetime) -> Meaning:
        """What a token means. Raises BadLink."""
        try:
            raw = base64.urlsafe_b64decode(token[:_LONGEST] + "=" * (-len(token) % 4))
        except ValueError as error:
            raise BadLink from error
        told, mac = raw[:-_MAC], raw[-_MAC:]
        if not any(hmac.compare_digest(mac, _mac(key, told)) for key in self._keys):
            raise BadLink
        meaning: Meaning = msgspec.msgpack.decode(told, type=Meaning)
        days = (now.astimezone(UTC).date() - _EPOCH).days
        if isinstance(meaning, About) and meaning.until < days:
            raise BadLink
        return meaning

    def _sealed(self, meaning: Meaning) -> str:
        told = msgspec.msgpack.encode(meaning)
        return base64.urlsafe_b64encode(told + _mac(self._keys[0], told)).decode().rstrip("=")


def _derived(key: str) -> bytes:
    secret = base64.urlsafe_b64decode(key)
    return HKDF(SHA256(), length=32, salt=None, info=b"graftlog links in mails").derive(secret)


def _mac(key: bytes, told: bytes) -> bytes:
    return hmac.digest(key, told, hashlib.sha256)[:_MAC]
