"""Signing in: a link or a short code that a manager makes, used once, and devices signed in by it.

What lets somebody in is shown once and kept as its hash. A link holds 256 random bits. A code is
short, to be read out and typed: its first half finds the link, the other half may be guessed at
`MOST_WRONG` times over all processes before the code is void, and it lasts `CODE_LASTS`.
"""

import base64
import hashlib
import hmac
import re
import secrets
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID, uuid4

import asyncpg
import msgspec

from service.clock import Clock, system_clock
from service.log.people import Language, Signed, person_of
from service.storage.pool import Connection, Pool
from service.storage.sql import load

SQL = load(__package__, "sessions.sql")

LINK_LASTS = timedelta(days=3)
CODE_LASTS = timedelta(minutes=10)
# A device that nobody uses signs itself out, and each one at the latest after a season.
IDLE = timedelta(days=30)
LONGEST = timedelta(days=90)
MOST_DEVICES = 20
MOST_WRONG = 5
_SEEN_EVERY = timedelta(hours=1)
# Nothing that reads like another: no 0 O, 1 I L, U V, 2 Z, 5 S, 8 B.
LETTERS = "34679ACDEFGHJKMNPQRTWXY"
HALF = 5
SECRET_BYTES = 32
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")


class MadeLink(NamedTuple):
    """A link just made. `token` and `code` are shown once and kept nowhere."""

    token: str
    ends_at: datetime
    code: str
    code_ends_at: datetime


class Device(msgspec.Struct, frozen=True, kw_only=True):
    """A browser that is signed in."""

    id: UUID
    label: str
    signed_in_at: datetime
    last_seen_at: datetime
    ends_at: datetime


class Seen(NamedTuple):
    """How many devices somebody is signed in on, when one was seen last, and whether a link of
    theirs waits to be used."""

    devices: int
    last_seen_at: datetime | None
    link_waits: bool


class SignedIn(NamedTuple):
    """A device just signed in. `cookie` is handed to it and kept nowhere else."""

    person: str
    cookie: str
    ends_at: datetime


class Invited(NamedTuple):
    """Whom a link would sign in; `name` is what their contact calls them, None without one."""

    person: str
    language: Language
    name: str | None


def shown_code(code: str) -> str:
    """A code as it is read out and typed: in two halves."""
    return f"{code[:HALF]}-{code[HALF:]}"


async def make_link(
    connection: Connection,
    person: str,
    *,
    by: str,
    at: datetime,
    lasts: timedelta = LINK_LASTS,
    version: int | None = None,
) -> MadeLink | None:
    """A fresh link and code for a person, instead of those before; None when there is no such.

    With `version` only while they are what they were then: a link never gives more than its maker
    looked at.
    """
    token = secrets.token_urlsafe(SECRET_BYTES)
    made = None
    # The first half of a code may be in use: then another one is drawn.
    for _ in range(10):
        code = "".join(secrets.choice(LETTERS) for _ in range(2 * HALF))
        made = MadeLink(token, at + lasts, code, at + min(CODE_LASTS, lasts))
        kept = (_hash(token), made.ends_at, code[:HALF], _hash(code), made.code_ends_at)
        try:
            async with connection.transaction():
                found = await connection.fetchval(SQL.put_link, person, *kept, at, by, version)
            return made if found is not None else None
        except asyncpg.UniqueViolationError:
            continue
    raise RuntimeError("no half of a code is free")


async def invited(connection: Connection, token: str, at: datetime) -> Invited | None:
    """Whom a link would sign in. Looking does not use it up."""
    if not _TOKEN.fullmatch(token):
        return None
    row = await connection.fetchrow(SQL.invited, _hash(token), at)
    return Invited(*row) if row else None


async def sign_in_by_link(
    connection: Connection, token: str, *, label: str, at: datetime
) -> SignedIn | None:
    """Sign a device in and use the link up; None when it was used, is over, or never was."""
    async with connection.transaction():
        who = await invited(connection, token, at)
        # First the person, then the link: whoever removes a person takes them in this order too.
        await connection.execute(SQL.hold, who.person if who else None)
        person = await connection.fetchval(SQL.use_link, _hash(token), at)
        return None if person is None else await _add_device(connection, person, label, at)


async def sign_in_by_code(
    connection: Connection, typed: str, *, label: str, at: datetime
) -> SignedIn | None:
    """The same by a code, however its letters and halves are typed.

    Each try counts before it is compared, so that many at once are no way past the limit.
    """
    code = re.sub(r"[\s-]", "", typed).upper()
    if len(code) != 2 * HALF or not set(code) <= set(LETTERS):
        return None
    row = await connection.fetchrow(SQL.try_code, code[:HALF], at, MOST_WRONG)
    if row is None or not hmac.compare_digest(row["code_sha256"], _hash(code)):
        return None
    async with connection.transaction():
        await connection.execute(SQL.hold, row["person"])
        person = await connection.fetchval(SQL.use_code, row["person"], row["code_sha256"])
        return None if person is None else await _add_device(connection, person, label, at)


async def devices(connection: Connection, person: str, at: datetime) -> list[Device]:
    """The devices on which somebody is signed in, the one seen last first."""
    return [Device(**row) for row in await connection.fetch(SQL.devices, person, at, at - IDLE)]


async def sign_out(connection: Connection, person: str, device: UUID | str) -> bool:
    """Sign one device of a person out. False when it was not signed in."""
    return await connection.fetchval(SQL.sign_out, person, UUID(str(device))) is not None


async def sign_out_others(connection: Connection, person: str, device: str) -> int:
    """Sign out all devices of a person but this one; how many there were."""
    return len(await connection.fetch(SQL.sign_out_others, person, UUID(device)))


async def seen_of(connection: Connection, at: datetime) -> dict[str, Seen]:
    """Of everybody who has a device signed in or a link waiting: how many, and when last seen."""
    rows = await connection.fetch(SQL.seen_of, at, at - IDLE)
    return {row["person"]: Seen(row["devices"], row["last_seen_at"], row["waits"]) for row in rows}


async def sweep(connection: Connection, at: datetime) -> None:
    """Forget links and devices that are over."""
    await connection.execute(SQL.sweep_links, at)
    await connection.execute(SQL.sweep_devices, at, at - IDLE)


async def _add_device(connection: Connection, person: str, label: str, at: datetime) -> SignedIn:
    cookie, ends = secrets.token_urlsafe(SECRET_BYTES), at + LONGEST
    await connection.execute(SQL.make_room, person, MOST_DEVICES - 1)
    await connection.execute(SQL.add_device, uuid4(), person, _hash(cookie), label[:80], at, ends)
    return SignedIn(person, cookie, ends)


def _hash(secret: str) -> bytes:
    return hashlib.sha256(secret.encode("utf-8", "surrogateescape")).digest()


def forms_token(cookie: str) -> str:
    """What forms of a signed-in device hold: nobody makes it without its cookie."""
    made = hmac.new(cookie.encode(), b"forms of this device", hashlib.sha256).digest()
    return base64.urlsafe_b64encode(made).rstrip(b"=").decode()


class Sessions:
    """Who is signed in by a cookie.

    The database is asked each time, one row by its key, so that who is signed out or removed is out
    at once in every process, and rights that changed count at once.
    """

    def __init__(self, pool: Pool, *, clock: Clock = system_clock) -> None:
        self._pool, self._clock = pool, clock

    async def signed(self, cookie: str) -> Signed | None:
        """Who is signed in, or None. Raises what the database raises when it can't be asked."""
        if not _TOKEN.fullmatch(cookie):
            return None
        now = self._clock()
        async with self._pool.acquire(timeout=10) as connection:
            row = await connection.fetchrow(SQL.signed, _hash(cookie), now, now - IDLE)
            if row is None:
                return None
            if row["last_seen_at"] <= now - _SEEN_EVERY:
                await connection.execute(SQL.seen, row["device"], now)
        person = person_of(row)
        token, device = forms_token(cookie), str(row["device"])
        return Signed(person, person.principal, token, device, row["name"])
