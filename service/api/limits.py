"""How much one asker may ask, and what the answers say of it.

Requests of a key's name are counted over all processes (`service.log.quota`). Wrong keys are
counted by address, in this process's memory: who has no key is not worth a row.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from time import monotonic
from typing import Any

from service.api.problems import Problem
from service.log.quota import WINDOW, Leases

# Headers as they are sent.
Said = list[tuple[bytes, bytes]]
# Addresses that are remembered at once; full buckets are forgotten first.
_MOST = 10_000
# Wrong keys from one address: none is guessed at this rate, and the database is spared the rest.
WRONG_KEYS = 60
# Codes to sign in with are short: each bears few wrong tries, and one address may not try many. A
# crew that shares an address signs in within a minute all the same.
TRIED_CODES = 40


@dataclass
class Buckets:
    """At most `quota` tokens for each name in any `WINDOW` seconds.

    A bucket holds half of them and fills again steadily, half of them in a window: who empties a
    full one and takes all that comes after it has had them all.
    """

    quota: int
    clock: Callable[[], float] = monotonic
    _held: dict[str, tuple[float, float]] = field(default_factory=dict)

    @property
    def full(self) -> float:
        return self.quota / 2

    def left(self, name: str) -> float:
        """The tokens in the bucket of `name` now."""
        held = self._held.get(name)
        if held is None:
            return self.full
        tokens, at = held
        return min(self.full, tokens + (self.clock() - at) * self.full / WINDOW)

    def take(self, name: str) -> bool:
        """Take a token, if there is a whole one."""
        tokens = self.left(name)
        if tokens < 1:
            return False
        if name not in self._held and len(self._held) >= _MOST:
            self._forget()
        self._held[name] = (tokens - 1, self.clock())
        return True

    def wait(self, name: str) -> float:
        """Seconds until there is a token; 0 when there is one."""
        return max(0.0, (1 - self.left(name)) * WINDOW / self.full)

    def _forget(self) -> None:
        """Forget full buckets, which is no loss; if none is full, the older half."""
        names = [name for name in self._held if self.left(name) >= self.full]
        for name in names or list(self._held)[: _MOST // 2]:
            del self._held[name]


@dataclass
class Limits:
    """What this process lets through; without `requests` each key may ask as much as it likes."""

    requests: Leases | None = None
    wrong_keys: Buckets = field(default_factory=lambda: Buckets(WRONG_KEYS))
    tried_codes: Buckets = field(default_factory=lambda: Buckets(TRIED_CODES))

    async def count(self, principal: str) -> Said:
        """Count a request; the headers that say what is left.

        Raises a 429 problem, and what the database raises when it must be asked and can't.
        """
        if self.requests is None:
            return []
        taken = await self.requests.take(principal)
        if not taken.granted:
            raise _too_many("requests", self.requests.quota, taken.more_in)
        return _headers("requests", self.requests.quota, taken.left, taken.more_in)

    def try_key(self, address: str) -> None:
        """Raises a 429 problem for an address that sent too many wrong keys."""
        if self.wrong_keys.left(address) < 1:
            raise _too_many("wrong-keys", self.wrong_keys.quota, self.wrong_keys.wait(address))

    def wrong_key(self, address: str) -> None:
        """Count a wrong key."""
        self.wrong_keys.take(address)

    def try_code(self, address: str) -> None:
        """Count a try at a code to sign in with. Raises a 429 problem for too many of them."""
        if not self.tried_codes.take(address):
            raise _too_many("codes", self.tried_codes.quota, self.tried_codes.wait(address))

    async def close(self) -> None:
        """Give back what this process has leased and not let through."""
        if self.requests is not None:
            await self.requests.close()


def _too_many(policy: str, quota: int, wait: float) -> Problem:
    words = f"At most {quota} {policy.replace('-', ' ')} in {WINDOW:.0f} seconds."
    headers = {"Retry-After": str(_seconds(wait))}
    headers |= {name.decode(): value.decode() for name, value in _headers(policy, quota, 0, wait)}
    # A member of the draft's problem type; ours keeps its own address until that is registered.
    members: dict[str, Any] = {"violated-policies": [policy]}
    return Problem("quota-exceeded", words, headers=headers, **members)


def _headers(policy: str, quota: int, left: int, more_in: float) -> Said:
    """What draft-ietf-httpapi-ratelimit-headers-10 asks for; it may still change, so only here."""
    said = b'"%b";r=%d;t=%d' % (policy.encode(), left, _seconds(more_in))
    return [_policy(policy, quota), (b"ratelimit", said)]


@cache
def _policy(policy: str, quota: int) -> tuple[bytes, bytes]:
    return b"ratelimit-policy", b'"%b";q=%d;w=%d' % (policy.encode(), quota, WINDOW)


def _seconds(wait: float) -> int:
    return max(1, math.ceil(wait))
