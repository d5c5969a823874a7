"""What somebody may give to a person: never more than they may do themselves.

Used by all that makes, changes and removes people or hands out links, so that the rule is one.
"""

from service.log import contacts
from service.log.keys import list_keys
from service.log.people import Person, covers
from service.log.rights import EVERY_SITE, Principal
from service.storage.pool import Connection
from service.trade.verdicts import Fault


def beyond(giver: Principal, person: Person) -> Fault | None:
    """Why `giver` can neither change nor sign in this person, if so."""
    if covers(giver, person.principal):
        return None
    return Fault(
        kind="more_rights",
        detail=f"{person.reference} may do more than you: who may do that too can change it.",
        pointer="#",
    )


def too_much(giver: Principal, scopes: frozenset[str], sites: frozenset[str]) -> list[Fault]:
    """What of these rights `giver` can't give."""
    faults = []
    if more := sorted(scopes - giver.scopes):
        faults.append(
            Fault(
                kind="more_rights",
                detail=f"You can't give what you may not do yourself: {', '.join(more)}.",
                pointer="#/scopes",
                numbers={"scopes": more},
            )
        )
    if EVERY_SITE in sites and EVERY_SITE not in giver.sites:
        detail = "You can't give every site: you don't see every site."
        faults.append(Fault(kind="more_rights", detail=detail, pointer="#/sites"))
    return faults


async def wrong_sites(
    connection: Connection, sites: frozenset[str], home: str | None
) -> list[Fault]:
    """Sites that the connection does not see, and a first site that the person would not see."""
    named = sorted(sites - {EVERY_SITE})
    faults = [
        Fault(kind="unknown_code", detail=f"No site {site} is known.", pointer="#/sites")
        for site in await contacts.unknown_sites(connection, named)
    ]
    if home is None:
        return faults
    outside = EVERY_SITE not in sites and home not in sites
    if outside or await contacts.unknown_sites(connection, [home]):
        detail = f"{home} is none of their sites."
        faults.append(Fault(kind="unknown_code", detail=detail, pointer="#/home_site"))
    return faults


async def name_of_another(
    reader: Connection, writer: Connection, giver: Principal, reference: str
) -> Fault | None:
    """Why a new person can't have this reference: it stands for somebody else already.

    They would see what a key of that name sent, or put another site's name to what they record.
    """
    seen = await contacts.contact(reader, giver.site_list, reference)
    if seen is None and await contacts.taken(reader, reference):
        detail = f"{reference} is a contact of other sites."
        return Fault(kind="taken", detail=detail, pointer="#")
    if seen is not None and seen.kind != "person":
        detail = f"{reference} is a customer. Choose another reference for the person."
        return Fault(kind="taken", detail=detail, pointer="#")
    for key in await list_keys(writer):
        holds = Principal(key.name, frozenset(key.scopes), frozenset(key.sites))
        if key.name == reference and not covers(giver, holds):
            detail = f"A key of the name {reference} may do more than you. Choose another one."
            return Fault(kind="taken", detail=detail, pointer="#")
    return None
