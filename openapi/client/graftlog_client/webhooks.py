"""For who receives webhooks: is it from the service, is it new, and what does it say?"""

import base64
import binascii
import hashlib
import hmac
import time
from collections.abc import Callable, Iterable, Mapping

import msgspec

from graftlog_client.happened import Message

TOLERANCE = 300
# No second of the next thousands of years has as many.
DIGITS = 15
PREFIX = "whsec_"
# Standard Webhooks: 24 bytes at least. With none at all anybody could sign.
SHORTEST = 24


class NotGenuine(Exception):
    """It is not signed with a secret of ours, or not now: answer 401 and believe nothing of it."""


class Receiver:
    """Checks deliveries signed as Standard Webhooks say.

    `secrets`: as the service gave them (`whsec_…`); while one is being replaced, both. `now` gives
    seconds since 1970: a delivery more than five minutes off is an old one played again.
    """

    def __init__(self, *secrets: str, now: Callable[[], float] = time.time) -> None:
        if not secrets:
            raise ValueError("a receiver needs a secret")
        self._keys = [_key(secret) for secret in secrets]
        self._now = now

    def verify(self, headers: Mapping[str, str], body: bytes) -> Message:
        """What a delivery says; raises NotGenuine. `body` are the bytes as they came.

        A delivery may come more than once, always with the same `id`: keep the ids you have done.
        """
        told = {name.lower(): value for name, value in headers.items()}
        try:
            name, stamp = told["webhook-id"], told["webhook-timestamp"]
            signatures = told["webhook-signature"].split()
        except KeyError as missing:
            raise NotGenuine(f"the header {missing} is missing") from None
        if not (stamp.isascii() and stamp.isdecimal() and len(stamp) < DIGITS):
            raise NotGenuine("webhook-timestamp is no time")
        if abs(self._now() - int(stamp)) > TOLERANCE:
            raise NotGenuine("it was signed more than five minutes ago, or ahead")
        signed = f"{name}.{stamp}.".encode() + body
        if not any(_is_of(key, signed, signatures) for key in self._keys):
            raise NotGenuine("no signature is by a secret of ours")
        try:
            return msgspec.json.decode(body, type=Message)
        except msgspec.MsgspecError as error:
            raise NotGenuine(f"it is signed, but no CloudEvent: {error}") from None


def _key(secret: str) -> bytes:
    try:
        key = base64.b64decode(secret.removeprefix(PREFIX), validate=True)
    except binascii.Error:
        raise ValueError("a secret is base64, with whsec_ before it") from None
    if len(key) < SHORTEST:
        raise ValueError(f"a secret has {SHORTEST} bytes or more")
    return key


def _is_of(key: bytes, signed: bytes, signatures: Iterable[str]) -> bool:
    mac = base64.b64encode(hmac.digest(key, signed, hashlib.sha256))
    ours = b"v1," + mac
    return any(hmac.compare_digest(ours, one.encode()) for one in signatures)
