"""Contacts: names and addresses behind the references of persons and customers.

The log speaks of people by opaque references alone and keeps what it holds for ever. What a person
may ask to have erased is here and nowhere else: one row, no history, no copy.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Annotated, Literal

import asyncpg
import msgspec
from msgspec import Meta

from service.log.read import Sites
from service.log.rights import CONTACTS_READ, Principal
from service.storage.pool import Connection
from service.storage.sql import load
from service.storage.walls import past_the_wall
from service.trade.words import Code, Ref, Text

SQL = load(__package__, "contacts.sql")

Name = Annotated[Text, Meta(description="The name.", examples=["Ilse Brandt"])]
# What mail accepts is wider; this keeps slips out (RFC 5321 4.5.3.1.3: at most 254 in a path).
Email = Annotated[
    str,
    Meta(
        pattern=r"^[^\s@\x00-\x1f]{1,64}@[^\s@\x00-\x1f]{1,189}$(?!\n)",
        description="An email address.",
        examples=["ilse@brandt-orchards.example"],
    ),
]
Phone = Annotated[
    str,
    Meta(
        pattern=r"^[0-9+() ./x-]{3,40}$(?!\n)",
        description="A telephone number.",
        examples=["+34 600 000 000"],
    ),
]


class ContactDetails(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who a reference stands for."""

    kind: Annotated[
        Literal["person", "customer"],
        Meta(description="person: who grafts or records (actor, grafter). customer: who buys."),
    ]
    name: Name
    email: Email | None = None
    phone: Phone | None = None
    address: Annotated[Text, Meta(description="A postal address.")] | None = None
    note: Annotated[Text, Meta(description="What else is to be known.")] | None = None
    sites: (
        Annotated[
            list[Code],
            Meta(
                min_length=1,
                max_length=100,
                description="The sites whose keys see it. Left out: as it was; of a new one the "
                "sites that the key sees (a key of every site: every site).",
            ),
        ]
        | None
    ) = None


class Contact(msgspec.Struct, frozen=True, kw_only=True):
    """A reference and who stands behind it. `sites`: whose keys see it, `*` for every site's."""

    reference: Ref
    kind: Literal["person", "customer"]
    name: str
    email: str | None
    phone: str | None
    address: str | None
    note: str | None
    sites: list[str]
    version: Annotated[int, Meta(ge=1, description="Its ETag.")]
    changed_at: datetime
    changed_by: str

    def all_seen_by(self, principal: Principal) -> bool:
        """Whether the principal sees every site that it is of."""
        return all(principal.sees(site) for site in self.sites)


def _contact(row: asyncpg.Record) -> Contact:
    return Contact(**row)


async def page(
    connection: Connection, sites: Sites, *, after: str, limit: int, kind: str | None
) -> list[Contact]:
    """Contacts after a reference, in order of reference."""
    return [_contact(row) for row in await connection.fetch(SQL.page, after, sites, kind, limit)]


async def contact(connection: Connection, sites: Sites, reference: str) -> Contact | None:
    """One contact."""
    row = await connection.fetchrow(SQL.contact, reference, sites)
    return _contact(row) if row else None


async def names(
    connection: Connection, principal: Principal, references: Iterable[str | None]
) -> dict[str, str]:
    """What persons are called, by reference, as far as the principal may read contacts."""
    wanted = sorted({one for one in references if one})
    if not wanted or not principal.may(CONTACTS_READ):
        return {}
    rows = await connection.fetch(SQL.names, wanted, principal.site_list)
    return {row["reference"]: row["name"] for row in rows}


def called(names: Mapping[str, str], reference: str) -> str:
    """``Ilse Brandt (p-01)``; without a name of their own the reference alone."""
    name = names.get(reference, reference)
    return reference if name == reference else f"{name} ({reference})"


async def taken(connection: Connection, reference: str) -> bool:
    """Whether the reference has a contact, seen or not."""
    async with past_the_wall(connection):
        return bool(await connection.fetchval(SQL.taken, reference))


async def unknown_sites(connection: Connection, sites: list[str]) -> list[str]:
    """Which of these are no sites that the connection sees."""
    return [row["code"] for row in await connection.fetch(SQL.unknown_sites, sites)]


async def put(
    connection: Connection,
    reference: str,
    details: ContactDetails,
    sites: list[str],
    *,
    principal: Principal,
    at: datetime,
    version: int,
) -> Contact | None:
    """Make (`version` 0) or change a contact, whole; None when it was changed meanwhile."""
    told = (details.name, details.email, details.phone, details.address, details.note)
    arguments = (reference, details.kind, sites, *told, at, principal.name)
    if version:
        new = await connection.fetchval(SQL.change, *arguments, version)
    else:
        new = await connection.fetchval(SQL.add, *arguments)
    if new is None:
        return None
    fields = {name: getattr(details, name) for name in details.__struct_fields__} | {"sites": sites}
    return Contact(
        reference=reference, version=new, changed_at=at, changed_by=principal.name, **fields
    )


async def erase(connection: Connection, reference: str, version: int) -> bool:
    """Erase all that is known; False when it was changed or erased meanwhile."""
    return await connection.fetchval(SQL.erase, reference, version) is not None
