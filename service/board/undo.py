"""Undo: a person's own entry of today is voided with one tap; others' by who corrects records."""

import re
import uuid
from typing import Any

from litestar.handlers import HTTPRouteHandler

from service.api.operation import JSON, Reply
from service.api.problems import Problem, not_found
from service.board.entries import Answered, event_id, submit, who_undoes
from service.board.page import page
from service.board.visit import Visit
from service.log import read
from service.log.incoming import zone
from service.log.rights import CORRECTIONS, EVENTS
from service.log.stored import StoredEvent
from service.trade.completing.stock import NOT_VOIDABLE
from service.trade.events.stock import EventVoided, EventVoidedData
from service.wording.words import phrase

_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
# No form tells of more events than that.
MOST_OF_ENTRY = 3
WHY = {
    True: phrase("undone by who recorded it, the same day"),
    False: phrase("undone by who corrects records"),
}


async def undoable(visit: Visit[Any], done: str | None) -> StoredEvent | None:
    """The entry `done`, if the visitor may take it back now."""
    event = await _found(visit, done or "")
    return event if event is not None and await _may_undo(visit, event) else None


async def _found(visit: Visit[Any], event_id: str) -> StoredEvent | None:
    if not _ID.fullmatch(event_id):
        return None
    async with visit.services.reading() as connection:
        return await read.event(connection, visit.principal.site_list, event_id)


async def _may_undo(visit: Visit[Any], event: StoredEvent) -> bool:
    """Whether it still stands, can be voided, and is theirs of today or they correct records."""
    if event.voided_by is not None or event.type in NOT_VOIDABLE:
        return False
    who = visit.principal
    if who.may(CORRECTIONS) and who.sees(event.site):
        return True
    site = next((one for one in await visit.sites() if one.code == event.site), None)
    if site is None or event.recorded_by != who.name or not who.may(EVENTS):
        return False
    return event.recorded_at.astimezone(zone(site.time_zone)).date() == site.today


@page("POST", "/undo", scope=EVENTS)
async def undo(visit: Visit[Any]) -> Reply:
    """Take an entry back: it is voided at its own date, and both stay in the log."""
    form = await visit.form()
    wanted, back = form["event"].lower(), own_path(form["back"])
    event = await _found(visit, wanted)
    if event is None:
        raise not_found("What is to be undone")
    if event.voided_by is not None:
        return _answer(visit, wanted, "known", visit.words.gettext("It was undone already."), back)
    if not await _may_undo(visit, event):
        raise Problem("insufficient-scope", "Only your own entry of today can be undone here.")
    # What came later of the same entry goes first: it may stand on what came before.
    voids = [_void_of(visit, one) for one in reversed([event, *await _rest_of(visit, event)])]
    told = await submit(visit, voids, principal=who_undoes(visit), keep=False)
    if all(one.verdict in ("accepted", "known") for one in told):
        return _answer(visit, wanted, told[-1].verdict, visit.words.gettext(_UNDONE), back)
    reasons = [reason for one in told for reason in one.errors]
    words = " ".join(f"{reason.words} {reason.settle}" for reason in reasons)
    return _answer(visit, wanted, "refused", words, back)


async def _rest_of(visit: Visit[Any], first: StoredEvent) -> list[StoredEvent]:
    """The other events of the entry that began with `first`, as they stand."""
    found = []
    for nth in range(1, MOST_OF_ENTRY):
        event = await _found(visit, event_id(first.id, nth))
        if event is None:
            break
        if event.voided_by is None and await _may_undo(visit, event):
            found.append(event)
    return found


def _void_of(visit: Visit[Any], event: StoredEvent) -> EventVoided:
    """What voids an event; its id follows from the event's, so two taps are one void."""
    why = WHY[event.recorded_by == visit.principal.name]
    return EventVoided(
        id=str(uuid.uuid5(uuid.UUID(event.id), "undo")),
        site=event.site,
        occurred=visit.now.isoformat(timespec="seconds"),
        actor=visit.principal.name,
        data=EventVoidedData(event=event.id, reason=visit.words.gettext(why)),
    )


_UNDONE = phrase("Undone: it counts no more.")


def _answer(visit: Visit[Any], entry: str, verdict: str, words: str, back: str) -> Reply:
    if visit.wants_json:
        answered = Answered(entry=entry, verdict=verdict, words=words, next=back)
        return Reply(answered, media_type=JSON, cache="no-store")
    return visit.go(back, said=words)


def own_path(path: str) -> str:
    """A path of this service to go back to, without what was asked there; else the round."""
    known = re.fullmatch(r"/[a-z-]+(/[A-Za-z0-9.-]+)*", path.partition("?")[0])
    return known.group() if known else "/round"


HANDLERS: list[HTTPRouteHandler] = [undo]
