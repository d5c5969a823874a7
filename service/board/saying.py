"""Saying something of alerts, from their page or a mail: seen, or to come back on a day.

What is said has its id from the form's entry (or the mail's link), the alert and the word: a form
that is sent twice says it once.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID, uuid5

from service.api.alerts import acting_site
from service.api.problems import Problem
from service.board.asking import day_in
from service.board.entries import Told, submit
from service.board.forms import Form
from service.board.recording.fields import Amiss, Fields
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
_SEEN = "seen"
_KEPT = ("accepted", "known")
Said = AlertAcknowledged | AlertRemindOn


def entry_of(form: Form) -> UUID:
    """The entry that a form carries. Raises 422 for a form without one."""
    try:
        return UUID(Fields(form).entry())
    except Amiss as error:
        raise Problem("validation-error", "The page is incomplete: load it anew.") from error


async def say(
    visit: Visit[Any],
    form: Form,
    found: AlertRow,
    principal: Principal,
    today: date,
    entry: UUID,
) -> str:
    """Record what the form says of an alert, by `principal`; what was recorded, in words.

    `seen` acknowledges it; `on` is the day to be reminded, after `today`. What stands so
    already, or was said under the same `entry`, is not recorded again. Raises 422 for no such day,
    409 where the log refuses.
    """
    if _SEEN in form:
        note = form.get("note")
        stands = found.state == "acknowledged" and found.acknowledged_by == principal.name
        stands = stands and note is None
        event: Said = await _acknowledged(visit, found, principal, entry, note)
        said = visit.words.gettext("Kept: it was seen.")
    else:
        day = _day(form, today)
        stands = found.state == "remind_on" and found.remind_on == day
        event = await _put_off(visit, found, principal, entry, day)
        said = visit.words.gettext(
            "Kept: it comes back on %(day)s.", day=visit.shown.day(day, today=today)
        )
    if not stands:
        await _record(visit, [event], principal)
    return said


async def say_seen(visit: Visit[Any], found: Sequence[AlertRow], entry: UUID) -> None:
    """Record that the visitor has seen all of these; together or not at all. Raises as `say`."""
    events = [await _acknowledged(visit, one, visit.principal, entry) for one in found]
    if events:
        await _record(visit, events, visit.principal)


async def _acknowledged(
    visit: Visit[Any], found: AlertRow, principal: Principal, entry: UUID, note: str | None = None
) -> AlertAcknowledged:
    return AlertAcknowledged(
        **await _envelope(visit, found, principal, entry, _SEEN),
        data=AlertAcknowledgedData(alert=found.id, note=note[:2000] if note else None),
    )


async def _put_off(
    visit: Visit[Any], found: AlertRow, principal: Principal, entry: UUID, day: date
) -> AlertRemindOn:
    return AlertRemindOn(
        **await _envelope(visit, found, principal, entry, str(day)),
        data=AlertRemindOnData(alert=found.id, on=str(day)),
    )


async def _envelope(
    visit: Visit[Any], found: AlertRow, principal: Principal, entry: UUID, word: str
) -> dict[str, Any]:
    return {
        "id": str(uuid5(entry, f"{found.id} {word}")),
        "site": await acting_site(visit.services.asked_by(principal), found),
        "occurred": visit.now.isoformat(timespec="seconds").replace("+00:00", "Z"),
        "actor": principal.name,
    }


async def _record(visit: Visit[Any], events: Sequence[Said], principal: Principal) -> None:
    """Record what was not recorded before, and wait until it shows."""
    told = await submit(visit, events, principal=principal, keep=False)
    new = [event for event, one in zip(events, told, strict=True) if not _said_before(one)]
    if 0 < len(new) < len(events):
        # Some of them held up the others.
        told = await submit(visit, new, principal=principal, keep=False)
    elif not new:
        return
    for one in told:
        if one.verdict not in _KEPT:
            why = " ".join(reason.words for reason in one.errors) or one.words
            raise Problem("refused", why)
    reached = max((one.position or 0 for one in told), default=0)
    await wait_for(visit.services.database.reader, alerts.NAME, reached, _SHOWN_WITHIN)


def _said_before(told: Told) -> bool:
    """Whether it is in the log, then with another moment: an id says which word of which alert."""
    return any(reason.kind == "id_reused" for reason in told.errors)


def _day(form: Form, today: date) -> date:
    """The day to be reminded. Raises 422."""
    day = day_in("on", form["on"])
    if day is None or not today < day <= today + LONGEST:
        raise Problem("validation-error", "Give a day after today, within a year.")
    return day
