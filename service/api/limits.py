"""How much one asker may ask: a bucket of tokens each, in this process's memory.

A bucket fills steadily up to its quota, and a request takes one token; so a device may send a day's
work in one go, and nobody keeps the service to himself. Several processes keep a bucket each.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from time import monotonic
from typing import Any

from service.api.problems import Problem

# Addresses and principals that are remembered at once; full buckets are forgotten first.
_MOST = 10_000
WINDOW = 60
# Wrong keys from one address: none is guessed at this rate, and the database is spared the rest.
WRONG_KEYS = 60


@dataclass
class Buckets:
    """A bucket of `quota` tokens for each name, filled again in `WINDOW` seconds."""

    quota: int
    clock: Callable[[], float] = monotonic
    _held: dict[str, tuple[float, float]] = field(default_factory=dict)

    def left(self, name: str) -> float:
        """The tokens in the bucket of `name` now."""
        held = self._held.get(name)
        if held is None:
            return self.quota
        tokens, at = held
        return min(self.quota, tokens + (self.clock() - at) * self.quota / WINDOW)

    def take(self, name: str) -> bool:
        """Take a token, if there is a whole one."""
        tokens = self.left(name)
        if tokens < 1:
            return False
        if name not in self._held and len(self._held) >= _MOST:
            self._forget()
        self._held[name] = (tokens - 1, self.clock())
        return True

    def wait(self, name: str) -> int:
        """Whole seconds until there is a token; 0 when there is one."""
        return max(0, math.ceil((1 - self.left(name)) * WINDOW / self.quota))

    def _forget(self) -> None:
        """Forget full buckets, which is no loss; if none is full, the older half."""
        names = [name for name in self._held if self.left(name) >= self.quota]
        for name in names or list(self._held)[: _MOST // 2]:
            del self._held[name]


@dataclass
class Limits:
    """The limits of one process; `requests` a minute for each principal, 0 for no limit."""

    requests: int = 0
    asked: Buckets = field(init=False)
    wrong_keys: Buckets = field(init=False)

    def __post_init__(self) -> None:
        self.asked = Buckets(max(1, self.requests))
        self.wrong_keys = Buckets(WRONG_KEYS)

    def count(self, principal: str) -> dict[str, str]:
        """Count a request; the headers that say what is left. Raises a 429 problem."""
        if not self.requests:
            return {}
        if not self.asked.take(principal):
            raise too_many("requests", self.asked, principal)
        return _headers("requests", self.asked, principal)

    def try_key(self, address: str) -> None:
        """Raises a 429 problem for an address that sent too many wrong keys."""
        if self.wrong_keys.left(address) < 1:
            raise too_many("wrong-keys", self.wrong_keys, address)

    def wrong_key(self, address: str) -> None:
        """Count a wrong key."""
        self.wrong_keys.take(address)


def too_many(policy: str, buckets: Buckets, name: str) -> Problem:
    wait = max(1, buckets.wait(name))
    words = f"At most {buckets.quota} {policy.replace('-', ' ')} in {WINDOW} seconds."
    headers = {"Retry-After": str(wait), **_headers(policy, buckets, name)}
    # A member of the draft's problem type; ours keeps its own address until that is registered.
    members: dict[str, Any] = {"violated-policies": [policy]}
    return Problem("quota-exceeded", words, headers=headers, **members)


def _headers(policy: str, buckets: Buckets, name: str) -> dict[str, str]:
    """What draft-ietf-httpapi-ratelimit-headers-10 asks for; it may still change, so only here."""
    left = int(buckets.left(name))
    return {
        "RateLimit-Policy": f'"{policy}";q={buckets.quota};w={WINDOW}',
        "RateLimit": f'"{policy}";r={left};t={max(1, buckets.wait(name))}',
    }
