"""Saying something of an alert, from its page or a mail: seen, or to come back on a day."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

from service.api.alerts import acting_site
from service.api.problems import Problem
from service.board.asking import day_in
from service.board.entries import submit
from service.board.forms import Form
from service.board.visit import Visit
from service.log.rights import Principal
from service.reminders import alerts
from service.reminders.alerts import AlertRow
from service.trade.events.facts import (
    AlertAcknowledged,
    AlertAcknowledgedData,
    AlertRemindOn,
    AlertRemindOnData,
)
from service.views.positions import wait_for

# So long a page waits until what was said shows in the list; the list comes right by itself.
_SHOWN_WITHIN = 2.0
LONGEST = timedelta(days=366)


async def say(
    visit: Visit[Any], form: Form, found: AlertRow, principal: Principal, today: date
) -> str:
    """Record what the form says of an alert, by `principal`; what was recorded, in words.

    `seen` acknowledges it; `on` is the day to be reminded, after `today`. Raises 422 for no such
    day, 409 where the log refuses.
    """
    services = visit.services.asked_by(principal)
    site = await acting_site(services, found)
    stamp = visit.now.isoformat(timespec="seconds").replace("+00:00", "Z")
    event: AlertAcknowledged | AlertRemindOn
    if "seen" in form:
        event = AlertAcknowledged(
            id=str(uuid4()),
            site=site,
            occurred=stamp,
            actor=principal.name,
            data=AlertAcknowledgedData(alert=found.id, note=_note(form)),
        )
        said = visit.words.gettext("Kept: it was seen.")
    else:
        day = _day(form, today)
        event = AlertRemindOn(
            id=str(uuid4()),
            site=site,
            occurred=stamp,
            actor=principal.name,
            data=AlertRemindOnData(alert=found.id, on=str(day)),
        )
        said = visit.words.gettext(
            "Kept: it comes back on %(day)s.", day=visit.shown.day(day, today=today)
        )
    (told,) = await submit(visit, [event], principal=principal, keep=False)
    if told.verdict not in ("accepted", "known"):
        why = " ".join(reason.words for reason in told.errors) or told.words
        raise Problem("refused", why)
    if told.position is not None:
        pool = visit.services.database.reader
        await wait_for(pool, alerts.NAME, told.position, _SHOWN_WITHIN)
    return said


def _note(form: Form) -> str | None:
    note = form.get("note")
    return note[:2000] if note else None


def _day(form: Form, today: date) -> date:
    """The day to be reminded. Raises 422."""
    day = day_in("on", form["on"])
    if day is None or not today < day <= today + LONGEST:
        raise Problem("validation-error", "Give a day after today, within a year.")
    return day
