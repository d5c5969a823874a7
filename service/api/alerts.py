"""Alerts: what wants somebody, and saying that somebody has seen to it."""

from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.api.events import Recorded, append, reply
from service.api.filters import check_word
from service.api.operation import JSON, Call, NoQuery, Page, Reply, operation
from service.api.problems import not_found
from service.api.services import UNREACHABLE, Services, unreachable
from service.api.taking_in import decoded
from service.api.views import ReflectingPage, question, view_list
from service.log import read
from service.log.rights import EVENTS, READ
from service.log.submission import Element, Submission
from service.reminders import alerts as view
from service.reminders.raising import ALERT_KINDS
from service.trade.events.facts import (
    AlertAcknowledged,
    AlertAcknowledgedData,
    AlertRemindOn,
    AlertRemindOnData,
)
from service.trade.words import Code, LongText, Occurred, Ref


class AlertsParameters(ReflectingPage, frozen=True, kw_only=True):
    """Which alerts are wanted."""

    site: Code | None = None
    lot: Code | None = None
    place: Code | None = None
    kind: (
        Annotated[
            str,
            Meta(examples=["overdue_check"], extra_json_schema={"enum": list(ALERT_KINDS)}),
        ]
        | None
    ) = None
    state: (
        Annotated[
            view.State,
            Meta(description="`open` is what wants somebody now. Left out: all, closed ones too."),
        ]
        | None
    ) = None


class Acknowledge(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Somebody has seen it."""

    actor: Ref | None = None
    note: LongText | None = None


class RemindOn(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Be quiet about it until a day."""

    actor: Ref | None = None
    on: Annotated[Occurred, Meta(description="The day to be reminded.")]


@operation(
    "GET",
    "/v1/alerts",
    tag="Alerts",
    scope=READ,
    query=AlertsParameters,
    answer=Page[view.AlertRow],
    request_headers=("Prefer",),
)
async def list_alerts(call: Call[AlertsParameters]) -> Reply:
    """List alerts, newest first: overdue checks, places nobody looked at, breaches, differences.

    An alert about a check ends when the check is recorded.
    """
    asked, services = call.query, call.services
    check_word("kind", asked.kind, ALERT_KINDS, "kind of alert")

    async def ask(after: list[Any] | None) -> view.AlertsPage:
        query = question(view.AlertsQuery, asked, after=after)
        return await view.alerts(
            services.database.reader, query, call.principal.site_list, clock=services.clock
        )

    return await view_list(call, view.NAME, ask)


async def _alert(call: Call[Any]) -> view.AlertRow:
    return await alert_seen(call.services, call.uuid())


async def alert_seen(services: Services, wanted: str) -> view.AlertRow:
    """An alert that who asks sees. Raises 404."""
    try:
        found = await view.alert(
            services.database.reader, wanted, services.asker.site_list, clock=services.clock
        )
    except UNREACHABLE as error:
        raise unreachable() from error
    if found is None:
        raise not_found(f"The alert {wanted}")
    return found


@operation("GET", "/v1/alerts/{id:str}", tag="Alerts", scope=READ, answer=view.AlertRow)
async def get_alert(call: Call[NoQuery]) -> Reply:
    """One alert."""
    return Reply(await _alert(call))


_SAYING: dict[str, Any] = {
    "tag": "Alerts",
    "scope": EVENTS,
    "accepts": (JSON,),
    "answer": Recorded,
    "answers": (201,),
    "problems": ("malformed-request", "not-found", "refused", "busy", "outcome-unknown"),
}


@operation("POST", "/v1/alerts/{id:str}/acknowledge", body=Acknowledge, **_SAYING)
async def acknowledge_alert(call: Call[NoQuery]) -> Reply:
    """Say that somebody has seen an alert. It is recorded as alert.acknowledged."""
    found = await _alert(call)
    said = decoded(await call.body(), Acknowledge)
    event = AlertAcknowledged(
        site=await acting_site(call.services, found),
        occurred=_now(call),
        actor=said.actor,
        data=AlertAcknowledgedData(alert=found.id, note=said.note),
    )
    return await _record(call, event)


@operation("POST", "/v1/alerts/{id:str}/remind-on", body=RemindOn, **_SAYING)
async def remind_on(call: Call[NoQuery]) -> Reply:
    """Have an alert come back on a day. It is recorded as alert.remind_on."""
    found = await _alert(call)
    said = decoded(await call.body(), RemindOn)
    event = AlertRemindOn(
        site=await acting_site(call.services, found),
        occurred=_now(call),
        actor=said.actor,
        data=AlertRemindOnData(alert=found.id, on=said.on),
    )
    return await _record(call, event)


async def _record(call: Call[Any], event: AlertAcknowledged | AlertRemindOn) -> Reply:
    element = Element(msgspec.json.encode(event), event)
    submission = Submission(principal=call.principal, elements=[element])
    return reply(await append(call, submission, array=False), array=False, single=True)


async def acting_site(services: Services, found: view.AlertRow) -> str:
    """The site that acts: the alert's, one that it touches, or the first that who asks sees."""
    asker = services.asker
    if found.site is not None and asker.sees(found.site):
        return found.site
    async with services.reading() as connection:
        site = await view.acting_site(connection, found.id, asker.site_list)
        site = site or await read.first_site(connection, asker.site_list)
    if site is None:
        raise not_found("A site that could act")
    return site


def _now(call: Call[Any]) -> str:
    return call.services.clock().isoformat(timespec="seconds").replace("+00:00", "Z")


HANDLERS = [list_alerts, get_alert, acknowledge_alert, remind_on]
