"""People who sign in: what they may do at which sites, and how they like things shown.

A person's reference is the actor of what they record and the name they ask by, as a key's name is.
Who stands behind it, name and addresses, is a contact of the same reference.
"""

from datetime import datetime
from typing import Annotated, Any, Literal, NamedTuple

import asyncpg
import msgspec
from msgspec import Meta

from service.log.read import Sites
from service.log.rights import EVERY_SITE, ROLES, Principal
from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.trade.words import Code, Ref

SQL = load(__package__, "people.sql")

Language = Annotated[
    Literal["en", "es"], Meta(description="The language of pages and mails: English or Spanish.")
]
Temperature = Annotated[
    Literal["c", "f"], Meta(description="Shown in degrees Celsius or Fahrenheit.")
]
Length = Annotated[Literal["mm", "in"], Meta(description="Shown in millimetres or inches.")]


class Choices(msgspec.Struct, frozen=True, kw_only=True):
    """How somebody likes things shown: theirs alone to choose."""

    language: Language = "en"
    temperature: Temperature = "c"
    length: Length = "mm"
    home_site: Annotated[Code | None, Meta(description="The site that pages begin with.")] = None


class Person(msgspec.Struct, frozen=True, kw_only=True):
    """Who signs in."""

    reference: Ref
    scopes: list[str]
    sites: Annotated[list[str], Meta(description="Where they work; `*` for every site.")]
    language: Language
    temperature: Temperature
    length: Length
    home_site: Code | None
    version: Annotated[int, Meta(ge=1, description="Their ETag.")]
    changed_at: datetime
    changed_by: str

    @property
    def principal(self) -> Principal:
        """Who they are to everything that asks for rights."""
        return Principal(self.reference, frozenset(self.scopes), frozenset(self.sites))

    @property
    def role(self) -> str | None:
        """The ready-made role that says the same, if there is one."""
        return next((name for name, has in ROLES.items() if set(has) == set(self.scopes)), None)


class Signed(NamedTuple):
    """Who is signed in on a device. `csrf` belongs into each form that the device is given.

    `name`: what their contact calls them, None without one.
    """

    person: Person
    principal: Principal
    csrf: str
    device: str
    name: str | None


def person_of(row: asyncpg.Record) -> Person:
    """The person in a row that holds the columns of `people`, and others maybe."""
    return Person(**{name: row[name] for name in Person.__struct_fields__})


async def page(connection: Connection, sites: Sites, *, after: str, limit: int) -> list[Person]:
    """People of these sites after a reference, in order of reference."""
    return [person_of(row) for row in await connection.fetch(SQL.page, after, sites, limit)]


async def person(connection: Connection, sites: Sites, reference: str) -> Person | None:
    """One person, if they work at one of these sites (None: any)."""
    row = await connection.fetchrow(SQL.person, reference, sites)
    return person_of(row) if row else None


async def everybody(connection: Connection) -> list[Person]:
    """All people that the connection sees, in order of reference."""
    return [person_of(row) for row in await connection.fetch(SQL.everybody)]


async def taken(connection: Connection, reference: str) -> bool:
    """Whether there is a person of the reference, seen or not."""
    async with past_the_wall(connection):
        return bool(await connection.fetchval(SQL.taken, reference))


async def choose(connection: Connection, reference: str, choices: Choices) -> None:
    """Change how somebody likes things shown."""
    told = (choices.language, choices.temperature, choices.length, choices.home_site)
    await connection.execute(SQL.choose, reference, *told)


async def put(
    connection: Connection,
    reference: str,
    *,
    scopes: frozenset[str],
    sites: frozenset[str],
    choices: Choices,
    by: str,
    at: datetime,
    version: int,
) -> Person | None:
    """Make (`version` 0) or change a person, whole; None when they were changed meanwhile.

    Who gets more than they had signs in afresh, by a link made after that: a device or a link from
    before may be in other hands than theirs.
    """
    told: tuple[Any, ...] = (reference, sorted(scopes), sorted(sites))
    told += (choices.language, choices.temperature, choices.length, choices.home_site, at, by)
    async with connection.transaction():
        before = await connection.fetchrow(SQL.lock, reference)
        if version:
            row = await connection.fetchrow(SQL.change, *told, version)
        else:
            row = await connection.fetchrow(SQL.add, *told)
        if row is None:
            return None
        after = person_of(row)
        if before is not None and not covers(person_of(before).principal, after.principal):
            await sign_out_everywhere(connection, reference)
    return after


async def remove(connection: Connection, reference: str, version: int) -> bool:
    """Remove a person with their devices and link; False when they were changed meanwhile.

    What they recorded stays.
    """
    return await connection.fetchval(SQL.remove, reference, version) is not None


async def sign_out_everywhere(connection: Connection, reference: str) -> int:
    """Sign out every device of a person and void their link; how many devices there were."""
    async with connection.transaction():
        await connection.execute(SQL.end_link, reference)
        return len(await connection.fetch(SQL.end_devices, reference))


def covers(giver: Principal, wanted: Principal) -> bool:
    """Whether `wanted` may do nothing that `giver` may not."""
    everywhere = EVERY_SITE in giver.sites
    return wanted.scopes <= giver.scopes and (everywhere or wanted.sites <= giver.sites)
