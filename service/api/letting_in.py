"""Letting people sign in: what is checked before somebody gives rights or a link to another.

The interface and the pages both go this way, so nobody gets past the rule that nobody gives more
than they have.
"""

from datetime import datetime, timedelta
from typing import Annotated, Literal

import msgspec
from msgspec import Meta
from msgspec.structs import asdict

from service.api.problems import Mistake, Problem, mistake_of, not_found
from service.api.services import Services
from service.log import giving, people, sessions
from service.log.people import Choices, Language, Length, Person, Temperature
from service.log.rights import ROLES, SCOPES, Principal, sites_set
from service.reminders.calendar import addresses
from service.storage.pool import Connection
from service.trade.words import CODE_PATTERN, Code

Role = Literal[
    "recorder", "site-manager", "sales", "auditor", "administrator", "monitor", "history"
]
Right = Annotated[
    str,
    Meta(
        pattern=f"^({'|'.join(SCOPES)})$(?!\\n)",
        description="A scope, as keys have them.",
        examples=["read"],
    ),
]
Where = Annotated[
    str,
    Meta(
        pattern=rf"^\*$(?!\n)|{CODE_PATTERN}",
        description="A site's code, or `*` for every site.",
        examples=["CORIN"],
    ),
]


class PersonDetails(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a person may do, where, and how they like things shown. Left out: as it was."""

    role: (
        Annotated[
            Role,
            Meta(description="A ready-made set of scopes. Left out of a new person: recorder."),
        ]
        | None
    ) = None
    scopes: (
        Annotated[
            list[Right],
            Meta(min_length=1, max_length=40, description="Scopes one by one, instead of a role."),
        ]
        | None
    ) = None
    sites: (
        Annotated[
            list[Where],
            Meta(
                min_length=1,
                max_length=100,
                description="Where they work. Left out of a new person: the sites that the key "
                "sees.",
            ),
        ]
        | None
    ) = None
    language: Language | None = None
    temperature: Temperature | None = None
    length: Length | None = None
    home_site: Code | None = None


class PersonShown(Person, frozen=True, kw_only=True):
    """Who signs in. `role`: the ready-made role of the same scopes, if there is one."""

    role: str | None


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """What signs one device in, once: the address, or the code typed on the page /sign-in."""

    url: Annotated[str, Meta(description="Told here and never again.")]
    ends_at: datetime
    code: Annotated[str, Meta(description="Told here and never again.", examples=["K7QMR-4TX9D"])]
    code_ends_at: datetime


def shown(person: Person) -> PersonShown:
    """A person as the interface tells of them."""
    return PersonShown(**asdict(person), role=person.role)


async def seen(services: Services, principal: Principal, reference: str) -> Person:
    """A person who works at a site that the principal sees. Raises 404."""
    async with services.reading() as connection:
        found = await people.person(connection, principal.site_list, reference)
    if found is None:
        raise not_found(f"A person {reference}")
    return found


async def give(
    services: Services,
    giver: Principal,
    reference: str,
    details: PersonDetails,
    *,
    current: Person | None,
    version: int,
) -> Person:
    """Make or change a person. Raises 422 for what says too much or too little, 409 for what
    `giver` may not give, 412 when it was changed meanwhile."""
    scopes = _scopes(details, current)
    sites = frozenset(sites_set(details.sites, current.sites if current else None, giver))
    choices = _choices(details, current)
    if current is not None and choices.home_site == current.home_site != details.home_site:
        # Their own choice does not hold them at a site that is taken from them.
        choices = _without_lost_home(choices, sites)
    async with services.reading() as reader, services.writing() as writer:
        faults = giving.too_much(giver, scopes, sites)
        faults += await giving.wrong_sites(reader, sites, choices.home_site)
        if current is not None:
            faults += filter(None, [giving.beyond(giver, current)])
        else:
            other = await giving.name_of_another(reader, writer, giver, reference)
            faults += filter(None, [other])
        if faults:
            raise _refused([mistake_of(fault) for fault in faults])
        stored = await people.put(
            writer,
            reference,
            scopes=scopes,
            sites=sites,
            choices=choices,
            by=giver.name,
            at=services.clock(),
            version=version,
        )
        if stored is not None and current is not None and giving.beyond(current.principal, stored):
            # As devices: an address from before would show to others what was given since.
            await addresses.remove_all(writer, reference)
    if stored is None:
        raise _changed(reference)
    return stored


async def sign_out_all(connection: Connection, reference: str) -> int:
    """Sign out all devices of a person, void their link and take their calendars' addresses back:
    whoever has a lost telephone has all of them. How many devices there were."""
    async with connection.transaction():
        await addresses.remove_all(connection, reference)
        return await people.sign_out_everywhere(connection, reference)


async def take_away(services: Services, giver: Principal, person: Person) -> None:
    """Remove a person. Raises 409 for one who may do more, 412 when they were changed meanwhile."""
    _check_not_beyond(giver, person)
    async with services.writing() as connection:
        if not await people.remove(connection, person.reference, person.version):
            raise _changed(person.reference)


async def link_for(
    services: Services,
    giver: Principal,
    person: Person,
    *,
    lasts: timedelta = sessions.LINK_LASTS,
) -> Link:
    """A link for a person. Raises 409 for one who may do more than `giver`: it would let the giver
    in as them; 412 when they were changed meanwhile."""
    _check_not_beyond(giver, person)
    async with services.writing() as connection:
        made = await sessions.make_link(
            connection,
            person.reference,
            by=giver.name,
            at=services.clock(),
            lasts=lasts,
            version=person.version,
        )
    if made is None:
        raise _changed(person.reference)
    return Link(
        url=f"{services.settings.base}/i/{made.token}",
        ends_at=made.ends_at,
        code=sessions.shown_code(made.code),
        code_ends_at=made.code_ends_at,
    )


def _scopes(details: PersonDetails, current: Person | None) -> frozenset[str]:
    if details.role is not None and details.scopes is not None:
        words = "Give a role or scopes, not both."
        raise _invalid(Mistake(kind="not_together", detail=words, pointer="#/scopes"))
    if details.role is not None:
        return frozenset(ROLES[details.role])
    if details.scopes is not None:
        return frozenset(details.scopes)
    return frozenset(current.scopes if current else ROLES["recorder"])


def _choices(details: PersonDetails, current: Person | None) -> Choices:
    before = current or Choices()
    return Choices(
        language=details.language or before.language,
        temperature=details.temperature or before.temperature,
        length=details.length or before.length,
        home_site=details.home_site or before.home_site,
    )


def _without_lost_home(choices: Choices, sites: frozenset[str]) -> Choices:
    if choices.home_site is None or not Principal("", frozenset(), sites).sees(choices.home_site):
        return msgspec.structs.replace(choices, home_site=None)
    return choices


def _check_not_beyond(giver: Principal, person: Person) -> None:
    if fault := giving.beyond(giver, person):
        raise _refused([mistake_of(fault)])


async def current_of(services: Services, principal: Principal, reference: str) -> Person | None:
    """The person; None when there is none. Raises 404 when there is one who is not seen."""
    async with services.reading() as connection:
        found = await people.person(connection, principal.site_list, reference)
        if found is None and await people.taken(connection, reference):
            raise not_found(f"A person {reference}")
    return found


def _refused(mistakes: list[Mistake]) -> Problem:
    return Problem("refused", "Nothing was changed: see errors.", errors=mistakes)


def _invalid(mistake: Mistake) -> Problem:
    return Problem("validation-error", "Nothing was changed: see errors.", errors=[mistake])


def _changed(reference: str) -> Problem:
    return Problem("precondition-failed", f"{reference} was changed meanwhile. Read it again.")
