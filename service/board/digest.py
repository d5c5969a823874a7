"""The morning's mail as it would be written now: on a page, and as a mail program shows it."""

from typing import Any

from litestar.handlers import HTTPRouteHandler

from service.api.operation import NoQuery, Reply
from service.api.problems import Problem, not_found
from service.board.page import page
from service.board.visit import HTML, Visit
from service.log.rights import READ
from service.reminders.mail.choices import choices_of
from service.reminders.mail.gathering import Gatherer, sites_in_use
from service.reminders.mail.letters import Letter
from service.reminders.mail.mailing import office
from service.reminders.mail.readers import Reader, reader
from service.reminders.mail.writing import Office, digest_letter

# A mail brings its own style, and is shown as it is.
_AS_A_MAIL = (
    "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'"
)


@page("GET", "/reminders/digest", scope=READ)
async def get_digest(visit: Visit[NoQuery]) -> Reply:
    """My digest as it would be written now."""
    _, _, letter = await _letter(visit)
    return visit.page("digest.html", letter=letter)


@page("GET", "/reminders/digest/mail", scope=READ)
async def get_digest_mail(visit: Visit[NoQuery]) -> Reply:
    """The same, laid out as the mail."""
    here, to, letter = await _letter(visit)
    if letter is None:
        raise _nothing()
    written = here.laid_out(letter, to, visit.now)
    headers = {"Content-Security-Policy": _AS_A_MAIL}
    return Reply(written.html.encode(), headers=headers, media_type=HTML, cache="no-store")


@page("GET", "/reminders/digest/text", scope=READ)
async def get_digest_text(visit: Visit[NoQuery]) -> Reply:
    """The same as plain text."""
    here, to, letter = await _letter(visit)
    if letter is None:
        raise _nothing()
    text = here.laid_out(letter, to, visit.now).plain.encode()
    return Reply(text, media_type="text/plain; charset=utf-8", cache="no-store")


def _nothing() -> Problem:
    return not_found("A site that you want to hear of")


async def _letter(visit: Visit[Any]) -> tuple[Office, Reader, Letter | None]:
    """What it is written with, for whom, and the letter; None without a site to tell of."""
    here = office(visit.services.settings, visit.services.database)
    if here is None:
        raise Problem("not-found", "Links in mails need a secrets key (GRAFTLOG_SECRETS_KEY).")
    async with visit.services.writing() as connection:
        sites = await sites_in_use(connection, visit.now)
        chosen = await choices_of(connection, visit.person.reference)
    to = reader(visit.person, chosen, sites)
    if not to.sites:
        return here, to, None
    gatherer = Gatherer(visit.services.database, sites, visit.now)
    return here, to, await digest_letter(here, gatherer, to, to.sites, visit.now)


HANDLERS: list[HTTPRouteHandler] = [get_digest, get_digest_mail, get_digest_text]
