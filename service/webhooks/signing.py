"""Signatures by Standard Webhooks 1.0.0: an HMAC of id, time and body by each secret in use."""

import base64
import hashlib
import hmac
import secrets
from collections.abc import Sequence
from datetime import datetime

PREFIX = "whsec_"
# The specification asks for 24 to 64 random bytes.
_RANDOM_BYTES = 32


def new_secret() -> str:
    """A fresh secret, as receivers are given it."""
    return PREFIX + base64.b64encode(secrets.token_bytes(_RANDOM_BYTES)).decode()


def signature(secret: str, message_id: str, at: datetime, body: bytes) -> str:
    """The signature `v1,…` of a message sent at a moment. ValueError for what is no secret."""
    if not secret.startswith(PREFIX):
        raise ValueError(f"a secret begins with {PREFIX}")
    key = base64.b64decode(secret.removeprefix(PREFIX), validate=True)
    signed = b"%s.%d." % (message_id.encode(), int(at.timestamp())) + body
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def headers(
    secrets_in_use: Sequence[str], message_id: str, at: datetime, body: bytes
) -> list[tuple[str, str]]:
    """The three headers of a message; several secrets while one takes over from another."""
    signatures = [signature(secret, message_id, at, body) for secret in secrets_in_use]
    return [
        ("webhook-id", message_id),
        ("webhook-timestamp", str(int(at.timestamp()))),
        ("webhook-signature", " ".join(signatures)),
    ]
