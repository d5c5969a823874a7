"""Who has which calendar: made once, its address told once, kept only as a hash."""

import hashlib
import re
import secrets
from datetime import UTC, date, datetime
from typing import Annotated, Literal, NamedTuple

import asyncpg
import msgspec
from msgspec import Meta

from service.log.rights import READ, Principal, sees_of
from service.storage.pool import Connection
from service.storage.sql import load
from service.trade.words import Code
from service.wording.words import Language

SQL = load(__package__, "calendar.sql")
MOST_OF_ONE_OWNER = 20
SHOWS = ("checks", "orders", "bags")
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}")

Shows = Literal["checks", "orders", "bags"]


class CalendarDetails(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a calendar shows."""

    sites: (
        Annotated[
            list[Code],
            Meta(
                min_length=1,
                max_length=100,
                description="Whose days; left out: of every site that its owner sees, now and "
                "later.",
            ),
        ]
        | None
    ) = None
    shows: (
        Annotated[
            list[Shows],
            Meta(
                min_length=1,
                max_length=3,
                description="checks that are due; orders to graft and reservations to hand over; "
                "bags by the day to use them. Left out: all three.",
            ),
        ]
        | None
    ) = None
    language: Annotated[
        Literal["en", "es"], Meta(description="In which its entries are written.")
    ] = "en"


class Calendar(msgspec.Struct, frozen=True, kw_only=True):
    """A calendar that its owner subscribed to."""

    code: str
    sites: Annotated[list[str], Meta(description="`*` for every site that its owner sees.")]
    shows: list[Shows]
    language: Literal["en", "es"]
    version: Annotated[int, Meta(ge=1, description="Its ETag.")]
    made_at: datetime
    changed_at: datetime
    read_on: Annotated[
        date | None, Meta(description="The newest day on which a calendar program asked for it.")
    ]


class MadeCalendar(Calendar, frozen=True, kw_only=True):
    """A calendar with its address, which is told when it is made and never again."""

    address: Annotated[
        str | None,
        Meta(
            description="What a calendar program subscribes to. Who has it reads the calendar: "
            "treat it as a key. null for one that was made before."
        ),
    ]


class Shown(NamedTuple):
    """A calendar that is asked for: of whom, and the sites it shows (None: all)."""

    owner: str
    code: str
    sites: frozenset[str] | None
    shows: list[str]
    language: Language


async def page(connection: Connection, owner: str, *, after: str, limit: int) -> list[Calendar]:
    """An owner's calendars after a code, in order of code."""
    return [_calendar(row) for row in await connection.fetch(SQL.page, owner, after, limit)]


async def calendar(connection: Connection, owner: str, code: str) -> Calendar | None:
    """One of an owner's calendars."""
    row = await connection.fetchrow(SQL.one, owner, code)
    return _calendar(row) if row else None


async def make(
    connection: Connection, owner: str, code: str, details: CalendarDetails, *, at: datetime
) -> str | None:
    """Make a calendar; its token. None when its owner has one of the code, or too many by now."""
    token = secrets.token_urlsafe(32)
    async with connection.transaction():
        # Each would count the others before they are there.
        await connection.execute(SQL.lock_owner, owner)
        made = await connection.fetchval(
            SQL.add, owner, code, _hash(token), *_told(details), at, MOST_OF_ONE_OWNER
        )
    return token if made else None


async def change(
    connection: Connection,
    owner: str,
    code: str,
    details: CalendarDetails,
    *,
    at: datetime,
    version: int,
) -> bool:
    """Change what a calendar shows; its address stays. False: it was changed meanwhile."""
    return bool(await connection.fetchval(SQL.change, owner, code, *_told(details), at, version))


async def remove(connection: Connection, owner: str, code: str, version: int) -> bool:
    """Its address shows nothing from now on. False: it was changed meanwhile."""
    return bool(await connection.fetchval(SQL.remove, owner, code, version))


async def remove_all(connection: Connection, owner: str) -> None:
    """None of an owner's addresses shows anything from now on: for a phone that is lost."""
    await connection.execute(SQL.remove_all, owner)


async def shown_at(connection: Connection, token: str, now: datetime) -> Shown | None:
    """The calendar of a token as its owner sees it now.

    None for a token that nobody has, that was taken back, or whose owner may read no more.
    """
    if not _TOKEN.fullmatch(token):
        return None
    row = await connection.fetchrow(SQL.by_token, _hash(token), now, [READ])
    if row is None or not row["owner_sees"]:
        return None
    today = now.astimezone(UTC).date()
    if row["read_on"] is None or row["read_on"] < today:
        await connection.execute(SQL.mark_read, row["owner"], row["code"], today)
    sites = sees_of(row["sites"], row["owner_sees"])
    return Shown(row["owner"], row["code"], sites, row["shows"], row["language"])


def outside(details: CalendarDetails, principal: Principal) -> list[str]:
    """Sites that are asked for and that the asker does not see."""
    return [site for site in details.sites or () if not principal.sees(site)]


def _told(details: CalendarDetails) -> tuple[list[str], list[str], str]:
    sites = sorted(set(details.sites)) if details.sites else ["*"]
    shows = [one for one in SHOWS if details.shows is None or one in details.shows]
    return sites, shows, details.language


def _hash(token: str) -> bytes:
    """SHA-256 is enough for 256 random bits (OWASP ASVS 5.0, 6.5.2)."""
    return hashlib.sha256(token.encode()).digest()


def _calendar(row: asyncpg.Record) -> Calendar:
    return Calendar(**dict(row))
