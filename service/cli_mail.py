"""`graftlog mail`: a digest as it would be written now; whether the mail server takes mails."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from service.cli_running import Ending, run, settings_or_exit, something_there, tables_there

if TYPE_CHECKING:
    from service.settings import Settings


@click.group()
def mail() -> None:
    """Reminders by mail: look at a digest, try the mail server."""


@mail.command()
@click.argument("person")
@click.option(
    "--html",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Also write the HTML part to this file.",
)
def preview(person: str, html: Path | None) -> None:
    """Print the digest of PERSON (a reference) as it would be written now. Sends nothing."""
    settings = settings_or_exit()

    async def written(_: Ending) -> tuple[str, str, str]:
        return await _digest(settings, person)

    found = run(written)
    if found is None:
        return
    subject, plain, marked = found
    click.echo(f"Subject: {subject}\n\n{plain}")
    if html is not None:
        html.write_text(marked, encoding="utf-8")


async def _digest(settings: "Settings", reference: str) -> tuple[str, str, str]:
    from service.clock import system_clock
    from service.log.people import person
    from service.reminders.mail.choices import choices_of
    from service.reminders.mail.gathering import Gatherer, sites_in_use
    from service.reminders.mail.mailing import office
    from service.reminders.mail.readers import reader
    from service.reminders.mail.writing import digest_letter
    from service.storage.pool import open_database

    something_there(settings)
    now = system_clock()
    async with await open_database(settings) as database:
        here = office(settings, database)
        if here is None:
            raise click.ClickException(
                "links in mails are signed with GRAFTLOG_SECRETS_KEY, which is not set; "
                "`graftlog secrets-key` makes one"
            )
        async with database.writer.acquire() as connection:
            await tables_there(connection)
            found = await person(connection, None, reference)
            if found is None:
                raise click.ClickException(f"nobody who signs in is called {reference}")
            sites = await sites_in_use(connection, now)
            to = reader(found, await choices_of(connection, reference), sites)
        if not to.sites:
            raise click.ClickException(f"{reference} sees no site, or wants to hear of none")
        letter = await digest_letter(here, Gatherer(database, sites, now), to, to.sites, now)
        return here.laid_out(letter, to, now)


@mail.command("try")
@click.argument("address")
def try_(address: str) -> None:
    """Send one mail to ADDRESS by GRAFTLOG_MAIL_SERVER, and say what the server answers."""
    settings = settings_or_exit()
    if settings.mail_server is None or settings.mail_from is None:
        raise click.ClickException("GRAFTLOG_MAIL_SERVER and GRAFTLOG_MAIL_FROM are not set")

    async def send(_: Ending) -> None:
        from email.message import EmailMessage
        from email.utils import format_datetime, make_msgid

        from service.clock import system_clock
        from service.reminders.mail.posting import Outcome, Post, ServerAway

        assert settings.mail_server is not None, "looked at above"
        assert settings.mail_from is not None, "looked at above"
        trial = EmailMessage()
        try:
            trial["From"], trial["To"] = settings.mail_from, address
        except ValueError as error:
            raise click.ClickException(f"{address!r} is no mail address") from error
        trial["Subject"] = "graftlog: a trial"
        trial["Date"] = format_datetime(system_clock())
        trial["Message-ID"] = make_msgid(domain=settings.mail_from.domain)
        trial["Auto-Submitted"] = "auto-generated"
        trial.set_content(f"Reminders of {settings.base} reach this address.\n")
        try:
            async with Post(settings.mail_server, settings.mail_from).open() as line:
                result = await line.send(trial, address)
        except ServerAway as error:
            raise click.ClickException(f"the mail server could not be used: {error}") from error
        if result.outcome is not Outcome.SENT:
            raise click.ClickException(f"the mail server did not take it: {result.said}")
        click.echo(f"{settings.mail_server.host} took a mail to {address}.")

    run(send)
