"""Keys that let a program or a person in: made once, shown once, kept only as a hash.

A key reads `glk_KEYID_SECRET` with 256 random bits as its secret. SHA-256 without a slow hash is
right for a secret of that strength (OWASP ASVS 5.0, 6.5.2: 112 bits or more).
"""

import asyncio
import base64
import hashlib
import hmac
import re
import secrets
from datetime import UTC, datetime, timedelta
from time import monotonic
from typing import NamedTuple

import msgspec

from service.clock import Clock, system_clock
from service.log.rights import EVERY_SITE, ROLES, SCOPES, Principal
from service.storage.pool import Connection, Pool
from service.storage.sql import load

SQL = load(__package__, "keys.sql")
_TOKEN = re.compile(r"glk_([a-z2-7]{12})_([A-Za-z0-9_-]{16,128})")
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:@-]{0,63}")
_SITE = re.compile(r"\*|[A-Z0-9][A-Z0-9.-]{0,19}")
_NOBODY = hashlib.sha256(b"").digest()


class NewKey(NamedTuple):
    """A key just made. `token` is shown once and kept nowhere."""

    key_id: str
    token: str


class KeyRow(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of a key; never its secret."""

    key_id: str
    name: str
    scopes: list[str]
    sites: list[str]
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None


def split_token(token: str) -> tuple[str, bytes]:
    """The id to look a token up by, and the SHA-256 of its secret.

    A token of another form (one set from outside) is all secret; its id is taken from its hash.
    """
    match = _TOKEN.fullmatch(token)
    if match is not None:
        return match[1], hashlib.sha256(match[2].encode()).digest()
    digest = _mark(token)
    return "set-" + base64.b32encode(digest[:10]).decode().lower(), digest


async def create_key(
    connection: Connection,
    *,
    name: str,
    role: str | None = None,
    scopes: frozenset[str] = frozenset(),
    sites: frozenset[str] = frozenset({EVERY_SITE}),
    expires_at: datetime | None = None,
    token: str | None = None,
) -> NewKey:
    """Make a key named `name` (two keys of one name are one principal: that is how to rotate).

    Give a ready-made `role` or `scopes`. `token` sets the key from outside (32 characters or
    more); setting the same token again renews its row. Raises ValueError for what can't be.
    """
    wanted = frozenset(ROLES[role]) if role in ROLES else scopes
    if role is not None and role not in ROLES:
        raise ValueError(f"there is no role {role!r}; there are: {', '.join(ROLES)}")
    check_rights(name, wanted, sites)
    if token is not None and not re.fullmatch(r"[A-Za-z0-9_-]{32,160}", token):
        raise ValueError("a key set from outside has 32 to 160 letters, digits, - and _")
    if token is None:
        key_id = base64.b32encode(secrets.token_bytes(8)).decode().lower()[:12]
        token = f"glk_{key_id}_{secrets.token_urlsafe(32)}"
    key_id, digest = split_token(token)
    await connection.execute(
        SQL.put_key, key_id, digest, name, sorted(wanted), sorted(sites), expires_at
    )
    return NewKey(key_id, token)


def check_rights(name: str, scopes: frozenset[str], sites: frozenset[str]) -> None:
    """Raise ValueError unless these can be the name and rights of a key or a person."""
    if not scopes or scopes - set(SCOPES):
        raise ValueError(f"give a role, or scopes out of: {', '.join(SCOPES)}")
    if not _NAME.fullmatch(name):
        raise ValueError("a name is 1 to 64 letters, digits and . _ : @ -")
    if not sites or not all(_SITE.fullmatch(site) for site in sites):
        raise ValueError("give site codes, or * for every site")


async def unknown_sites(connection: Connection, sites: frozenset[str]) -> list[str]:
    """Which of `sites` are not in the catalogue; `*` is every site and never among them."""
    rows = await connection.fetch(SQL.unknown_sites, sorted(sites - {EVERY_SITE}))
    return [row["code"] for row in rows]


async def revoke_key(connection: Connection, key_id: str) -> bool:
    """Revoke a key from now on (other processes notice within seconds). False: no such live key."""
    return bool(await connection.fetchval(SQL.revoke_key, key_id))


async def list_keys(connection: Connection) -> list[KeyRow]:
    """All keys, oldest first."""
    return [KeyRow(**row) for row in await connection.fetch(SQL.all_keys)]


async def look_up(
    connection: Connection, token: str, clock: Clock = system_clock
) -> tuple[Principal, datetime | None] | None:
    """Who a token stands for and until when; None for unknown, expired or revoked ones.

    An unknown key id takes the same steps as a wrong secret.
    """
    key_id, digest = split_token(token)
    row = await connection.fetchrow(SQL.find_key, key_id)
    right = hmac.compare_digest(row["secret_sha256"] if row else _NOBODY, digest)
    if row is None or not right or row["revoked_at"] is not None:
        return None
    now = clock()
    if row["expires_at"] is not None and row["expires_at"] <= now:
        return None
    today = now.astimezone(UTC).date()
    if row["last_used_day"] is None or row["last_used_day"] < today:
        await connection.execute(SQL.mark_used, key_id, today)
    principal = Principal(
        name=row["name"], scopes=frozenset(row["scopes"]), sites=frozenset(row["sites"])
    )
    return principal, row["expires_at"]


def _mark(token: str) -> bytes:
    """What is remembered of a token: its hash."""
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).digest()


class KeyRing:
    """Verifies tokens, remembering each for a few seconds so that a request costs no query.

    Kept in memory are hashes of tokens, never tokens. A revoked key works for at most
    `remember` seconds more.
    """

    def __init__(
        self,
        pool: Pool,
        *,
        clock: Clock = system_clock,
        remember: float = 5.0,
        most: int = 10_000,
    ) -> None:
        self._pool, self._clock, self._remember, self._most = pool, clock, remember, most
        self._known: dict[bytes, tuple[float, Principal | None]] = {}
        self._good: set[bytes] = set()
        self._asking: dict[bytes, asyncio.Task[Principal | None]] = {}

    def was_good(self, token: str) -> bool:
        """Whether the token has been right in this process; it may be revoked by now."""
        return _mark(token) in self._good

    async def principal(self, token: str) -> Principal | None:
        """Who the token stands for, or None."""
        mark = _mark(token)
        known = self._known.get(mark)
        if known is not None and known[0] > monotonic():
            return known[1]
        # However many requests come with a key at once, the database is asked once.
        asking = self._asking.get(mark)
        if asking is None:
            asking = self._asking[mark] = asyncio.create_task(self._ask(token, mark))
            asking.add_done_callback(lambda _: self._asking.pop(mark, None))
        return await asyncio.shield(asking)

    async def _ask(self, token: str, mark: bytes) -> Principal | None:
        found: tuple[Principal, datetime | None] | None = None
        now = monotonic()
        if len(token) <= 256:
            async with self._pool.acquire() as connection:
                found = await look_up(connection, token, self._clock)
        until = now + self._remember
        principal = None
        if found is not None:
            principal, ends = found
            if ends is not None:
                left = (ends - self._clock()) / timedelta(seconds=1)
                until = min(until, now + left)
        if len(self._known) >= self._most:
            self._known.clear()
            self._good.clear()
        self._known[mark] = (until, principal)
        if principal is not None:
            self._good.add(mark)
        return principal

    def forget(self) -> None:
        """Forget all that is remembered."""
        self._known.clear()
