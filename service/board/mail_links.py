"""Where links in mails lead, without signing in: a page that asks first, and then does it.

Programs that look links over follow them, so no GET does anything.
"""

from datetime import date
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from litestar.handlers import HTTPRouteHandler

from service.api.alerts import alert_seen
from service.api.operation import NoQuery, Reply
from service.api.problems import lacks_scope
from service.board.page import page
from service.board.reminders import shown_alert
from service.board.saying import say
from service.board.visit import Visit
from service.log import contacts, people
from service.log.people import Person
from service.log.rights import EVENTS
from service.reminders.alerts import AlertRow
from service.reminders.mail.choices import choices_of, stop
from service.reminders.mail.tokens import About, BadLink, Links, Meaning, Stop
from service.views.site_days import site_days, today_at


@page("GET", "/mail/alert/{token:str}", scope=None)
async def get_alert_link(visit: Visit[NoQuery]) -> Reply:
    """An alert that a mail told of, and what can be said of it."""
    meant = await _alert(visit)
    return await _alert_page(visit, *meant) if meant else _gone(visit)


@page("POST", "/mail/alert/{token:str}", scope=None, guard="origin")
async def post_alert_link(visit: Visit[NoQuery]) -> Reply:
    """Say it, as the person to whom the mail went."""
    meant = await _alert(visit)
    if meant is None:
        return _gone(visit)
    person, found = meant
    if not person.principal.may(EVENTS):
        raise lacks_scope(EVENTS)
    today = today_at(await _days(visit), found.site, visit.now)
    entry = _entry(visit, found, today)
    said = await say(visit, await visit.form(), found, person.principal, today, entry)
    found = await alert_seen(visit.services.asked_by(person.principal), found.id)
    return await _alert_page(visit, person, found, done=said)


def _entry(visit: Visit[Any], found: AlertRow, today: date) -> UUID:
    """What is said by a link on a day, of an alert as it was raised then, is one entry.

    A word said in between counts anew: who put it off may say after all that it was seen.
    """
    token = visit.request.scope["path_params"]["token"]
    now = f"{found.raised_at.isoformat()} {found.state} {found.remind_on}"
    return uuid5(NAMESPACE_URL, f"{token} {today} {now}")


async def _alert_page(
    visit: Visit[Any], person: Person, found: AlertRow, *, done: str | None = None
) -> Reply:
    async with visit.services.writing() as connection:
        contact = await contacts.contact(connection, None, person.reference)
    names = {person.reference: contact.name} if contact else {}
    return visit.page(
        "mail_alert.html",
        one=shown_alert(visit, found, await _days(visit)),
        reader_called=contacts.called(names, person.reference),
        done=done,
        entry=None,
        may_say=person.principal.may(EVENTS),
    )


async def _alert(visit: Visit[Any]) -> tuple[Person, AlertRow] | None:
    """The person to whom the mail went, if they still sign in here, and the alert.

    From here on the page speaks their language.
    """
    meaning = _meaning(visit)
    if not isinstance(meaning, About):
        return None
    person = await _person(visit, meaning.person)
    if person is None:
        return None
    visit.language = person.language
    return person, await alert_seen(visit.services.asked_by(person.principal), meaning.alert)


@page("GET", "/mail/stop/{token:str}", scope=None)
async def get_stop(visit: Visit[NoQuery]) -> Reply:
    """A button that ends all mails to a person."""
    meaning = _meaning(visit)
    return await _stop_page(visit, meaning) if isinstance(meaning, Stop) else _gone(visit)


@page("POST", "/mail/stop/{token:str}", scope=None, guard="none")
async def post_stop(visit: Visit[NoQuery]) -> Reply:
    """End them: what the button sends, and what mail programs send by themselves (RFC 8058)."""
    meaning = _meaning(visit)
    if not isinstance(meaning, Stop):
        return _gone(visit)
    async with visit.services.writing() as connection:
        await stop(connection, meaning.person, visit.now)
    return await _stop_page(visit, meaning)


async def _stop_page(visit: Visit[Any], meaning: Stop) -> Reply:
    person = await _person(visit, meaning.person)
    if person is not None:
        visit.language = person.language
    async with visit.services.writing() as connection:
        stopped_at = (await choices_of(connection, meaning.person)).stopped_at
    return visit.page("mail_stop.html", reference=meaning.person, stopped_at=stopped_at)


async def _days(visit: Visit[Any]) -> dict[str, date]:
    async with visit.services.writing() as connection:
        return await site_days(connection, visit.now)


async def _person(visit: Visit[Any], reference: str) -> Person | None:
    async with visit.services.writing() as connection:
        return await people.person(connection, None, reference)


def _meaning(visit: Visit[Any]) -> Meaning | None:
    """What the link means; None for one that was not made here, was changed, or is too old."""
    keys = visit.services.settings.secrets_key
    if not keys:
        return None
    try:
        return Links(keys).read(str(visit.request.scope["path_params"]["token"]), visit.now)
    except BadLink:
        return None


def _gone(visit: Visit[Any]) -> Reply:
    return visit.page("mail_gone.html", status=404)


HANDLERS: list[HTTPRouteHandler] = [get_alert_link, post_alert_link, get_stop, post_stop]
