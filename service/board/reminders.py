"""What wants somebody: all alerts that a person sees, and what each of them says."""

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any, Literal, NamedTuple

from litestar.handlers import HTTPRouteHandler

from service.api.alerts import alert_seen
from service.api.operation import UUID as IS_UUID
from service.api.operation import NoQuery, Reply
from service.api.problems import bad_parameter, not_found
from service.api.services import UNREACHABLE, unreachable
from service.board.asking import Asked as Query
from service.board.asking import Field, number_in
from service.board.forms import Form
from service.board.page import page
from service.board.saying import entry_of, say, say_seen
from service.board.sites_asked import sites_of
from service.board.visit import Visit
from service.log.incoming import new_id
from service.log.rights import EVENTS, READ, WEBHOOKS
from service.reminders.alerts import AlertRow, AlertsQuery, State, alerts
from service.reminders.mail.choices import USUAL_AT_ONCE
from service.reminders.mail.gathering import open_alerts, urgency
from service.reminders.raising import ALERT_KINDS
from service.reminders.telling import Told, alert_in_words, kind_in_words, page_of
from service.storage.sql import load
from service.views.site_days import today_at

SQL = load(__package__, "reminders.sql")
_PORTION = 30
# Of a kind so many stand open on the page, the newest; the others up to a portion can be opened.
_NEWEST = 2
# Pages of this list, to go back to.
_OWN = re.compile(r"/reminders(\?[A-Za-z0-9_=&*.-]{0,200})?")
_STATES: tuple[State, ...] = ("open", "acknowledged", "remind_on", "closed")
Mark = Literal["late", "due", "held", "done", "waiting"]


class RemindersQuery(Query, frozen=True, kw_only=True):
    """Which site (`*` for all that are seen), which state and kind, and the page of the list."""

    site: Field = ""
    state: Field = ""
    kind: Field = ""
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


class Group(NamedTuple):
    """Open alerts of a kind: how many, since when, the newest of them, and others to be opened.

    `mark` is that of the most pressing one; `beyond`: how many more there are.
    """

    kind: str
    title: str
    many: int
    oldest: datetime
    mark: Mark
    newest: list[Shown]
    others: list[Shown]
    beyond: int

    @property
    def all_shown(self) -> list[Shown]:
        return self.newest + self.others


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
    """Alerts: those that want somebody, kind by kind, the urgent on top; or others, the newest on
    top."""
    asked = visit.query
    state: State = next((one for one in _STATES if one == asked.state), "open")
    kind = asked.kind or None
    if kind is not None and kind not in ALERT_KINDS:
        raise bad_parameter("kind", f"{kind} is no kind of alert.", "bad_value")
    sites = await sites_of(visit, asked.site or "*")
    number = number_in("page", asked.page, 1000) or 1
    in_groups = state == "open" and kind is None
    query = AlertsQuery(site=sites.code, state=state, kind=kind, limit=number * _PORTION + 1)
    found = await _found(visit, query)
    days = {one.code: one.today for one in sites.all}
    portion = found if in_groups else found[(number - 1) * _PORTION : number * _PORTION]
    shown = [shown_alert(visit, one, days) for one in portion]
    async with visit.services.reading() as connection:
        hooks = None
        if visit.principal.may(WEBHOOKS):
            hooks = dict(await connection.fetchrow(SQL.webhooks) or {})
        await visit.call_people((one.alert.acknowledged_by for one in shown), connection)
    return visit.page(
        "reminders.html",
        sites=sites,
        state=state,
        kind=kind,
        kind_title=kind_in_words(visit.words, kind) if kind else None,
        number=number,
        more=not in_groups and len(found) > number * _PORTION,
        groups=_groups(visit, shown) if in_groups else [],
        rows=[] if in_groups else shown,
        may_say=visit.principal.may(EVENTS),
        entry=new_id(int(visit.now.timestamp() * 1000)),
        hooks=hooks,
        mailed=visit.services.settings.mail_server is not None,
    )


def _groups(visit: Visit[Any], shown: Iterable[Shown]) -> list[Group]:
    """The alerts by kind, that of the most urgent first; `shown` are in order of urgency."""
    by_kind: dict[str, list[Shown]] = {}
    for one in shown:
        by_kind.setdefault(one.alert.kind, []).append(one)
    return [_group(visit, kind, found) for kind, found in by_kind.items()]


def _group(visit: Visit[Any], kind: str, found: list[Shown]) -> Group:
    newest = sorted(found, key=lambda one: one.alert.raised_at, reverse=True)
    return Group(
        kind=kind,
        title=kind_in_words(visit.words, kind),
        many=len(found),
        oldest=newest[-1].alert.raised_at,
        mark="late" if any(one.mark == "late" for one in found) else "due",
        newest=newest[:_NEWEST],
        others=newest[_NEWEST:_PORTION],
        beyond=max(len(found) - _PORTION, 0),
    )


async def _found(visit: Visit[Any], query: AlertsQuery) -> list[AlertRow]:
    """The alerts, the newest first; those that want somebody all, the most urgent first."""
    pool, seen = visit.services.database.reader, visit.principal.site_list
    try:
        if query.state == "open":
            return sorted(await open_alerts(pool, seen, query, visit.now), key=urgency)
        return (await alerts(pool, query, seen, clock=lambda: visit.now)).rows
    except UNREACHABLE as error:
        raise unreachable() from error


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
    said = await say(visit, form, found, visit.principal, today, entry_of(form))
    return visit.go(_back(form), said=said)


@page("POST", "/reminders/seen", scope=EVENTS)
async def post_seen(visit: Visit[NoQuery]) -> Reply:
    """Say of all alerts that the form names that they were seen; those that are over stay so."""
    form = await visit.form()
    entry, wanted = entry_of(form), set(form.all("alert"))
    seen = [one for one in await _found(visit, AlertsQuery(state="open")) if one.id in wanted]
    await say_seen(visit, seen, entry)
    said = visit.words.gettext("Nothing was left of these that somebody had to see.")
    if seen:
        said = visit.words.ngettext(
            "Kept: %(num)s was seen.", "Kept: %(num)s were seen.", len(seen)
        )
    return visit.go(_back(form), said=said)


def _back(form: Form) -> str:
    return form["back"] if _OWN.fullmatch(form["back"]) else "/reminders"


HANDLERS: list[HTTPRouteHandler] = [get_reminders, post_alert, post_seen]
