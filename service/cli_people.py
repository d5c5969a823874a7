"""`graftlog people`: who signs in to the pages; the first of them can only be let in here."""

from collections.abc import Awaitable, Callable
from datetime import timedelta
from typing import Any, Literal

import click

from service.cli_running import (
    Ending,
    run,
    settings_or_exit,
    sites_named,
    sites_there,
    something_there,
    tables_there,
)
from service.clock import system_clock
from service.log import people, sessions
from service.log.people import Choices, Person
from service.log.rights import ROLES
from service.settings import Settings
from service.storage.pool import Connection, open_database

# Recorded as who changed a person: the terminal of the service's own machine.
OPERATOR = "operator"


@click.group("people")
def group() -> None:
    """People who sign in to the pages.

    Somebody signs a device in by a link or by a short code, each good once. The first one is let
    in here, and lets in the others on the page /people. Links begin with GRAFTLOG_PUBLIC_URL;
    without it they only work on this machine.
    """


@group.command("add")
@click.argument("reference")
@click.option("--role", required=True, type=click.Choice(list(ROLES)), help="As of keys.")
@click.option("--sites", default="*", show_default=True, help="Site codes with commas; * is all.")
@click.option("--language", type=click.Choice(["en", "es"]), default="en", show_default=True)
@click.option("--site-to-come", is_flag=True, help="Allow sites that are not in the catalogue yet.")
def add(
    reference: str, role: str, sites: str, language: Literal["en", "es"], site_to_come: bool
) -> None:
    """Let a person in, and print the link that signs their first device in.

    REFERENCE is the actor of what they record: it is kept for ever, so take none that is a name.
    """
    settings = settings_or_exit()
    named = sites_named(sites)

    async def act(_: Ending) -> None:
        from service.log.keys import check_rights
        from service.storage.migrate import migrate

        async with await open_database(settings) as database:
            await migrate(database)
            async with database.writer.acquire() as one, one.transaction():
                try:
                    check_rights(reference, frozenset(ROLES[role]), named)
                except ValueError as error:
                    raise click.ClickException(str(error)) from error
                if not site_to_come:
                    await sites_there(one, named)
                if not await let_in(one, reference, role, named, Choices(language=language)):
                    raise click.ClickException(f"{reference} signs in already; see `people link`")
                link = await link_of(one, settings, reference)
        click.echo(
            f"{reference} may sign in ({role}; sites: {', '.join(sorted(named))}).", err=True
        )
        _hand_over(link)

    run(act)


@group.command("list")
def show() -> None:
    """List who signs in, on how many devices, and when they were seen last."""

    async def act(one: Connection, _: Settings) -> None:
        found = await people.everybody(one)
        last = await sessions.seen_of(one, system_clock())
        click.echo(f"{'person':24}{'role':16}{'sites':24}{'devices':9}last seen")
        for person in found:
            seen = last.get(person.reference)
            day = f"{seen.last_seen_at:%Y-%m-%d}" if seen and seen.last_seen_at else "never"
            click.echo(
                f"{person.reference:24}{person.role or 'chosen scopes':16}"
                f"{','.join(person.sites):24}{seen.devices if seen else 0:<9}{day}"
            )

    _on_tables(act)


@group.command()
@click.argument("reference")
def link(reference: str) -> None:
    """Print a fresh link for a person; one that was not used is void with it."""

    async def act(one: Connection, settings: Settings) -> None:
        _hand_over(await link_of(one, settings, reference))

    _on_tables(act)


@group.command("sign-out")
@click.argument("reference")
def sign_out(reference: str) -> None:
    """Sign a person out on every device, at once; a lost telephone too."""

    async def act(one: Connection, _: Settings) -> None:
        from service.api.letting_in import sign_out_all

        await _existing(one, reference)
        count = await sign_out_all(one, reference)
        click.echo(f"{reference} is signed out on {count} device{'' if count == 1 else 's'}")

    _on_tables(act)


@group.command()
@click.argument("reference")
def remove(reference: str) -> None:
    """Let a person sign in no more. What they recorded stays."""

    async def act(one: Connection, _: Settings) -> None:
        person = await _existing(one, reference)
        if not await people.remove(one, reference, person.version):
            raise click.ClickException(f"{reference} was changed meanwhile; look, and try again")
        click.echo(f"{reference} signs in no more")

    _on_tables(act)


async def let_in(
    connection: Connection, reference: str, role: str, sites: frozenset[str], choices: Choices
) -> bool:
    """Make a person of a role; False when there is one of that reference."""
    made = await people.put(
        connection,
        reference,
        scopes=frozenset(ROLES[role]),
        sites=sites,
        choices=choices,
        by=OPERATOR,
        at=system_clock(),
        version=0,
    )
    return made is not None


async def link_of(
    connection: Connection, settings: Settings, reference: str
) -> tuple[str, str, timedelta]:
    """A fresh link of a person, its code, and how long the code lasts."""
    at = system_clock()
    made = await sessions.make_link(connection, reference, by=OPERATOR, at=at)
    if made is None:
        raise click.ClickException(f"there is no person {reference}")
    url = f"{settings.base}/i/{made.token}"
    return url, sessions.shown_code(made.code), made.code_ends_at - at


def _hand_over(link: tuple[str, str, timedelta]) -> None:
    url, code, lasts = link
    minutes = lasts // timedelta(minutes=1)
    click.echo("Whoever opens this link signs one device in, once, within three days:", err=True)
    click.echo(url)
    click.echo(f"Or the code {code} on the page /sign-in, within {minutes} minutes.", err=True)


async def _existing(connection: Connection, reference: str) -> Person:
    found = await people.person(connection, None, reference)
    if found is None:
        raise click.ClickException(f"there is no person {reference}")
    return found


def _on_tables(act: Callable[[Connection, Settings], Awaitable[Any]]) -> None:
    """Run something on a database that has its tables."""
    settings = settings_or_exit()

    async def main(_: Ending) -> None:
        something_there(settings)
        async with await open_database(settings) as database, database.writer.acquire() as one:
            await tables_there(one)
            await act(one, settings)

    run(main)
