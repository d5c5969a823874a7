"""What a person is told of by mail, and when; and what a site's manager settles for all of it."""

import re
from collections.abc import Mapping
from datetime import time
from typing import Any

import msgspec
from litestar.handlers import HTTPRouteHandler

from service.api.operation import NoQuery, Reply
from service.api.problems import Problem, not_found
from service.board.asking import code_in, number_in
from service.board.forms import Form
from service.board.page import page
from service.board.visit import SiteSeen, Visit
from service.log import contacts, people
from service.log.contacts import Contact, ContactDetails, Email
from service.log.rights import PEOPLE_MANAGE, READ
from service.reminders.mail.choices import (
    SQL,
    MailChoices,
    SiteMail,
    choices_of,
    choose,
    choose_site,
    site_mails,
)
from service.reminders.mail.gathering import concerns
from service.reminders.mail.mornings import Quiet
from service.reminders.raising import ALERT_KINDS
from service.reminders.telling import kind_in_words
from service.storage.pool import Connection
from service.wording.words import phrase

_CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?")
_NEWEST = 5
WHEN = {
    "once": phrase("at once"),
    "morning": phrase("in the morning"),
    "not": phrase("not at all"),
}
STATES = {
    "waiting": phrase("on its way"),
    "sent": phrase("was sent"),
    "dropped": phrase("not sent: it was not needed any more"),
    "failed": phrase("could not be sent"),
}


@page("GET", "/reminders/choices", scope=READ)
async def get_choices(visit: Visit[NoQuery]) -> Reply:
    """What I am told of, and when."""
    return await _page(visit)


async def _page(visit: Visit[Any], *, wrong: str | None = None, email: str | None = None) -> Reply:
    """The page; `wrong` says what is wrong with the address `email`."""
    me, principal = visit.person.reference, visit.principal
    async with visit.services.writing() as connection:
        chosen = await choices_of(connection, me)
        contact = await contacts.contact(connection, None, me)
        newest = await connection.fetch(SQL.last_mails, me, _NEWEST)
        norms = await site_mails(connection) if principal.may(PEOPLE_MANAGE) else {}
        everybody = await people.everybody(connection) if principal.may(PEOPLE_MANAGE) else []
    sites = await visit.sites()
    return visit.page(
        "reminder_choices.html",
        status=422 if wrong else 200,
        chosen=chosen,
        email=email or (contact.email if contact else None),
        wrong=wrong,
        kinds=_kinds(visit, chosen),
        when=[(key, visit.words.gettext(text)) for key, text in WHEN.items()],
        sites=sites,
        norms=[(site, norms.get(site.code, SiteMail()), _for(everybody, site)) for site in sites],
        may_settle=principal.may(PEOPLE_MANAGE),
        newest=[(row, visit.words.gettext(STATES[row["state"]])) for row in newest],
        mailed=visit.services.settings.mail_server is not None,
        zone=sites[0].time_zone if sites else "UTC",
    )


def _kinds(visit: Visit[Any], chosen: MailChoices) -> list[tuple[str, str, str]]:
    """Kind, its words, and when it is told, of those that concern the visitor."""
    told = []
    for kind in ALERT_KINDS:
        if concerns(kind, visit.principal):
            when = "not" if kind in chosen.left_out else "morning"
            if kind in chosen.kinds_at_once:
                when = "once"
            told.append((kind, kind_in_words(visit.words, kind), when))
    return sorted(told, key=lambda one: one[1])


def _for(everybody: list[people.Person], site: SiteSeen) -> list[str]:
    """Who can be named at a site: those who see it, of its own or of every site."""
    return [one.reference for one in everybody if one.principal.sees(site.code)]


@page("POST", "/reminders/choices", scope=READ)
async def post_choices(visit: Visit[NoQuery]) -> Reply:
    """Keep what I want to be told of."""
    form, me = await visit.form(), visit.person.reference
    chosen = _chosen(form, [site.code for site in await visit.sites()])
    async with visit.services.writing() as connection, connection.transaction():
        before = await choices_of(connection, me)
        if "mails" not in form:
            stopped = before.stopped_at or visit.now
            chosen = msgspec.structs.replace(chosen, stopped_at=stopped)
        await choose(connection, me, chosen, visit.now)
        wrong = await _keep_address(visit, connection, form.get("email"))
    if wrong is not None:
        return await _page(visit, wrong=wrong, email=form.get("email"))
    return visit.go("/reminders/choices", said=visit.words.gettext("Your choices are kept."))


def _chosen(form: Form, sites: list[str]) -> MailChoices:
    """The form as choices. Raises 422. What it does not ask stays as it is usual."""
    told = {kind: form.get(f"kind-{kind}") for kind in ALERT_KINDS}
    heard = form.all("site")
    return MailChoices(
        digest="digest" in form,
        empty_digest="empty_digest" in form,
        at_once=frozenset(kind for kind, when in told.items() if when == "once"),
        left_out=frozenset(kind for kind, when in told.items() if when == "not"),
        sites_left_out=frozenset(sites) - frozenset(heard) if len(sites) > 1 else frozenset(),
        quiet=_quiet(form),
    )


def _quiet(form: Form) -> Quiet | None:
    if "quiet" not in form:
        return None
    return Quiet(_clock(form["quiet_from"]), _clock(form["quiet_until"]))


def _clock(text: str) -> time:
    """A time of day. Raises 422."""
    if not _CLOCK.fullmatch(text):
        raise Problem("validation-error", f"{text[:20]} is no time such as 06:00.")
    return time.fromisoformat(text)


async def _keep_address(visit: Visit[Any], connection: Connection, email: str | None) -> str | None:
    """Keep my mail address, among the contacts; what is wrong with it, in words."""
    me = visit.person.reference
    present = await contacts.contact(connection, None, me)
    if email == (present.email if present else None):
        return None
    try:
        details = _details(present, me, msgspec.convert(email, Email | None))
    except msgspec.ValidationError:
        return visit.words.gettext("That is no mail address.")
    kept = await contacts.put(
        connection,
        me,
        details,
        present.sites if present else visit.person.sites,
        principal=visit.principal,
        at=visit.now,
        version=present.version if present else 0,
    )
    return None if kept else visit.words.gettext("It was changed meanwhile: look again.")


def _details(present: Contact | None, me: str, email: str | None) -> ContactDetails:
    if present is None:
        return ContactDetails(kind="person", name=me, email=email)
    kept: Mapping[str, Any] = {
        name: getattr(present, name) for name in ("kind", "name", "phone", "address", "note")
    }
    return ContactDetails(**kept, email=email)


@page("POST", "/reminders/site", scope=PEOPLE_MANAGE)
async def post_site(visit: Visit[NoQuery]) -> Reply:
    """Settle a site's morning, and who hears of what nobody has seen to."""
    form = await visit.form()
    code = code_in("site", form["site"])
    site = next((one for one in await visit.sites() if one.code == code), None)
    if site is None:
        raise not_found("A site that you see")
    named = form.get("escalate_to")
    hours = number_in("hours", form["hours"], 720) or 48
    norm = SiteMail(
        morning=_clock(form["morning"]),
        escalate_to=named,
        escalate_after_hours=hours if named else None,
    )
    async with visit.services.writing() as connection:
        if named is not None and named not in _for(await people.everybody(connection), site):
            raise Problem("validation-error", f"{named} is nobody who sees {site.code}.")
        await choose_site(connection, site.code, norm, visit.principal.name, visit.now)
    return visit.go("/reminders/choices", said=visit.words.gettext("The site's choices are kept."))


HANDLERS: list[HTTPRouteHandler] = [get_choices, post_choices, post_site]
