"""What wants somebody: all alerts that a person sees, and what each of them says."""

import re
from datetime import date, timedelta
from typing import Any, Literal, NamedTuple

from litestar.handlers import HTTPRouteHandler

from service.api.alerts import alert_seen
from service.api.operation import UUID as IS_UUID
from service.api.operation import NoQuery, Reply
from service.api.problems import not_found
from service.api.services import UNREACHABLE, unreachable
from service.board.asking import Asked as Query
from service.board.asking import Field, number_in
from service.board.page import page
from service.board.saying import say
from service.board.sites_asked import Sites, sites_of
from service.board.visit import Visit
from service.log.rights import EVENTS, READ, WEBHOOKS
from service.reminders.alerts import AlertRow, AlertsQuery, State, alerts
from service.reminders.mail.choices import USUAL_AT_ONCE
from service.reminders.mail.gathering import open_alerts, urgency
from service.reminders.telling import Told, alert_in_words, page_of
from service.storage.sql import load
from service.views.site_days import today_at

SQL = load(__package__, "reminders.sql")
_PORTION = 30
# Pages of this list, to go back to.
_OWN = re.compile(r"/reminders(\?[A-Za-z0-9_=&*.-]{0,200})?")
_STATES: tuple[State, ...] = ("open", "acknowledged", "remind_on", "closed")
Mark = Literal["late", "due", "held", "done", "waiting"]


class RemindersQuery(Query, frozen=True, kw_only=True):
    """Which site (`*` for all that are seen), which state, and the page of the list."""

    site: Field = ""
    state: Field = ""
    page: Field = ""


class Shown(NamedTuple):
    """An alert as the page shows it; `mark` is its shape, `href` the page of what it is about."""

    alert: AlertRow
    told: Told
    mark: Mark
    href: str | None
    today: date

    @property
    def tomorrow(self) -> date:
        """The first day on which it can come back."""
        return self.today + timedelta(days=1)


def shown_alert(visit: Visit[Any], alert: AlertRow, days: dict[str, date]) -> Shown:
    """The alert in the visitor's words; `days`: each site's day."""
    today = today_at(days, alert.site, visit.now)
    told = alert_in_words(visit.shown, alert, today)
    return Shown(alert, told, _mark(alert), page_of(alert), today)


def _mark(alert: AlertRow) -> Mark:
    if alert.state == "closed":
        return "done"
    if alert.state != "open":
        return "waiting"
    pressing = alert.due_on is not None or alert.level > 1 or alert.kind in USUAL_AT_ONCE
    return "late" if pressing else "due"


@page("GET", "/reminders", scope=READ, query=RemindersQuery)
async def get_reminders(visit: Visit[RemindersQuery]) -> Reply:
    """Alerts: those that want somebody, the urgent on top; or others, the newest on top."""
    asked = visit.query
    state: State = next((one for one in _STATES if one == asked.state), "open")
    sites = await sites_of(visit, asked.site or "*")
    number = number_in("page", asked.page, 1000) or 1
    found, more = await _found(visit, sites, state, number)
    days = {one.code: one.today for one in sites.all}
    async with visit.services.reading() as connection:
        hooks = None
        if visit.principal.may(WEBHOOKS):
            hooks = dict(await connection.fetchrow(SQL.webhooks) or {})
    return visit.page(
        "reminders.html",
        sites=sites,
        state=state,
        number=number,
        more=more,
        rows=[shown_alert(visit, one, days) for one in found],
        may_say=visit.principal.may(EVENTS),
        hooks=hooks,
        mailed=visit.services.settings.mail_server is not None,
    )


async def _found(
    visit: Visit[Any], sites: Sites, state: State, number: int
) -> tuple[list[AlertRow], bool]:
    """A portion of the alerts, and whether there are more."""
    pool, seen = visit.services.database.reader, visit.principal.site_list
    query = AlertsQuery(site=sites.code, state=state)
    end = number * _PORTION
    try:
        if state == "open":
            found = sorted(await open_alerts(pool, seen, query, visit.now), key=urgency)
        else:
            query = AlertsQuery(site=sites.code, state=state, limit=end + 1)
            found = (await alerts(pool, query, seen, clock=lambda: visit.now)).rows
    except UNREACHABLE as error:
        raise unreachable() from error
    return found[end - _PORTION : end], len(found) > end


@page("POST", "/reminders/alert/{id:str}", scope=EVENTS)
async def post_alert(visit: Visit[NoQuery]) -> Reply:
    """Say that an alert was seen, or when it is to come back."""
    wanted = str(visit.request.scope["path_params"]["id"])
    if IS_UUID.fullmatch(wanted) is None:
        raise not_found("What the address names")
    found = await alert_seen(visit.services, wanted)
    days = {one.code: one.today for one in await visit.sites()}
    today = today_at(days, found.site, visit.now)
    form = await visit.form()
    said = await say(visit, form, found, visit.principal, today)
    back = form["back"] if _OWN.fullmatch(form["back"]) else "/reminders"
    return visit.go(back, said=said)


HANDLERS: list[HTTPRouteHandler] = [get_reminders, post_alert]
