"""To put right: what was refused and waits, with what would settle it; sent again or let go."""

from typing import Any

import msgspec
from litestar.handlers import HTTPRouteHandler

from service.api.operation import NoQuery, Reply
from service.api.problems import not_found
from service.api.taking_in import check_rights, hand_over
from service.board.happenings import in_words
from service.board.page import page
from service.board.recording.refusals import Reason, reason_of
from service.board.visit import Visit
from service.log import put_right
from service.log.rights import EVENTS
from service.log.stored import PutRight, PutRightWhole
from service.log.submission import AlreadyPutRight, Element, Submission
from service.trade.events import Event
from service.trade.verdicts import Fault
from service.views.site_days import zone
from service.wording.words import phrase

MOST = 50
_event_of = msgspec.json.Decoder(Event).decode
LET_GO = phrase("let go at the table")


class Waiting(msgspec.Struct, frozen=True, kw_only=True):
    """Something that was refused: what it says, by whom, when, why, and what can be done."""

    id: int
    says: str
    who: str
    when: str
    place: str | None
    reasons: list[Reason]
    # It can be sent again as it is; what nobody could read can only be let go.
    readable: bool


def _event(raw: str) -> Event | None:
    try:
        event: Event = _event_of(raw)
    except (msgspec.MsgspecError, UnicodeError, RecursionError):
        return None
    return event


def _waiting(visit: Visit[Any], item: PutRight, zones: dict[str, str]) -> Waiting:
    event = _event(item.raw)
    faults = msgspec.convert(item.reasons, list[Fault])
    says = item.raw[:120]
    place = None
    if event is not None:
        data = msgspec.to_builtins(event)["data"]
        says = in_words(visit.shown, str(event.__struct_config__.tag), data)
        place = data.get("place")
    return Waiting(
        id=item.id,
        says=says,
        who=item.last_by,
        when=visit.shown.moment(item.last_at, zone(zones.get(item.site or ""))),
        place=place,
        reasons=[reason_of(fault, event, visit.shown, item.event_id) for fault in faults],
        readable=event is not None,
    )


@page("GET", "/put-right", scope=EVENTS)
async def get_put_right(visit: Visit[NoQuery]) -> Reply:
    """What the visitor sent and was refused; of sites where they correct records, others' too."""
    zones = {site.code: site.time_zone for site in await visit.sites()}
    async with visit.services.reading() as connection:
        found = await put_right.items(connection, visit.principal, after=0, limit=MOST)
    items = [_waiting(visit, item, zones) for item in found]
    return visit.page("put_right.html", items=items)


async def _item(visit: Visit[Any]) -> PutRightWhole:
    number = str(visit.request.path_params["number"])
    found = None
    if number.isascii() and number.isdecimal() and len(number) <= 18:
        async with visit.services.reading() as connection:
            found = await put_right.item(connection, visit.principal, int(number))
    if found is None:
        raise not_found("What is to be put right under this number")
    return found


@page("POST", "/put-right/{number:str}/again", scope=EVENTS)
async def post_again(visit: Visit[Any]) -> Reply:
    """Send it again as it is, or as having happened all the same; it keeps its event's id."""
    item, words = await _item(visit), visit.words
    event = _event(item.raw)
    if event is None:
        return visit.go(
            "/put-right", said=words.gettext("It can't be read: it can only be let go.")
        )
    if (await visit.form())["happened"] == "yes":
        event = msgspec.structs.replace(event, happened=True)
    if item.event_id is not None:
        event = msgspec.structs.replace(event, id=item.event_id)
    (element,) = check_rights(
        [Element(msgspec.json.encode(event), event)], visit.principal, array=False, each=True
    )
    submission = Submission(
        principal=visit.principal, elements=[element], mode="each", corrects=item.id
    )
    try:
        (verdict,) = (await hand_over(visit, submission)).verdicts
    except AlreadyPutRight:
        return visit.go("/put-right", said=words.gettext("It was put right already."))
    if verdict.verdict in ("accepted", "known"):
        return visit.go("/put-right", said=words.gettext("Recorded."))
    why = " ".join(reason_of(fault, event, visit.shown, None).words for fault in verdict.errors)
    return visit.go("/put-right", said=words.gettext("Refused again: %(why)s", why=why))


@page("POST", "/put-right/{number:str}/discard", scope=EVENTS)
async def post_discard(visit: Visit[Any]) -> Reply:
    """Let it go. Nothing is deleted: it stays with who let it go and why."""
    item, words = await _item(visit), visit.words
    reason = (await visit.form())["reason"][:500] or words.gettext(LET_GO)
    async with visit.services.writing() as connection:
        done = await put_right.discard(
            connection, item.id, by=visit.principal.name, reason=reason, at=visit.now
        )
    said = words.gettext("Let go.") if done else words.gettext("It was put right already.")
    return visit.go("/put-right", said=said)


HANDLERS: list[HTTPRouteHandler] = [get_put_right, post_again, post_discard]
