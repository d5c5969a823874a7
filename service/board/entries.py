"""What a person records on a page, handed to the log; its verdicts in the person's words.

Each event of an entry has an id that follows from the entry's own, so an entry can be sent again
after a lost answer, or corrected after a refusal, and is one entry still. What the log refuses is
kept there to be put right, and is done with as soon as the same entry is recorded.
"""

import uuid
from collections.abc import Awaitable, Callable, Sequence
from typing import Any, Literal, NamedTuple, Protocol

import msgspec

from service.api.operation import JSON, Reply
from service.api.taking_in import check_rights, hand_over
from service.board.recording.at_table import Asked, Maker
from service.board.recording.fields import Amiss, Fields
from service.board.recording.refusals import Reason, reason_of, remark_of
from service.board.visit import SiteSeen, Visit
from service.log.incoming import zone
from service.log.rights import CORRECTIONS, Principal
from service.log.submission import Element, Submission, Verdict
from service.trade.events import Event
from service.wording.words import phrase

_WORST = ("malformed", "refused", "accepted", "known")
_FIELDS_OF_EVENTS = {
    "from_": "bag",
    "lot": "row",
    "of": "row",
    "lines": "row",
    "removed": "cause",
    "outcomes": "other_grade",
}
_event_of: Callable[[Any], Event] = lambda raw: msgspec.convert(raw, Event)  # noqa: E731


class Told(msgspec.Struct, frozen=True, kw_only=True):
    """What became of one event: its verdict, in words, and what was made of it."""

    event: str | None
    verdict: str
    words: str
    errors: list[Reason] = []
    remarks: list[str] = []
    made: dict[str, list[str]] = {}
    position: int | None = None


class Answered(msgspec.Struct, frozen=True, kw_only=True):
    """What became of an entry, for what keeps entries on a device.

    `entry` is the one that was sent. `next`: where to go on. `undo`: the event that can be undone.
    """

    entry: str
    verdict: str
    words: str
    errors: list[Reason] = []
    remarks: list[str] = []
    made: dict[str, list[str]] = {}
    next: str | None = None
    undo: str | None = None


_VERDICTS = {
    "accepted": phrase("Recorded."),
    "known": phrase("Recorded before."),
    "refused": phrase("Refused."),
    "malformed": phrase("Not understood."),
}


def event_id(entry: str, nth: int = 0) -> str:
    """The id of an entry's `nth` event: the entry's own, and then ones that follow from it."""
    return entry if nth == 0 else str(uuid.uuid5(uuid.UUID(entry), str(nth)))


def events_of(
    maker: Maker, fields: Fields, asked: Asked, site: SiteSeen, occurred: str | None = None
) -> list[Event]:
    """The events that a form tells of, recorded by `asked.who` at `site`. Raises Amiss.

    `occurred`: when, where the form's own moment is not meant.
    """
    entry, moment = fields.entry(), fields.occurred(zone(site.time_zone))
    made = []
    for nth, (kind, data) in enumerate(maker(fields, asked)):
        raw = {
            "type": kind,
            "id": event_id(entry, nth),
            "site": site.code,
            "occurred": occurred or moment,
            "actor": asked.who,
            "happened": fields.form["happened"] == "yes",
            "data": data,
        }
        try:
            made.append(_event_of(raw))
        except msgspec.ValidationError as error:
            name = str(error).rpartition("$.data.")[2].strip("`").partition("[")[0]
            field = _FIELDS_OF_EVENTS.get(name, name)
            raise Amiss(field, phrase("This can't be so: correct it, please.")) from error
    return made


async def submit(
    visit: Visit[Any],
    events: Sequence[Event],
    *,
    again: str | None = None,
    principal: Principal | None = None,
    keep: bool = True,
) -> list[Told]:
    """Have events judged one by one; what became of each, in their order.

    `again`: the entry to be sent again after a count, if one is asked for. `principal`: with whose
    rights, if not the visitor's. `keep` False: together or not at all, and a refusal is not kept to
    be put right. Raises problems where nothing was decided (busy, unreachable).
    """
    verdicts = await judged(visit, events, principal=principal, keep=keep)
    return [
        _told(visit, verdict, event, again) for verdict, event in zip(verdicts, events, strict=True)
    ]


async def judged(
    visit: Visit[Any],
    events: Sequence[Event],
    *,
    principal: Principal | None = None,
    keep: bool = True,
) -> list[Verdict]:
    """The log's verdict on each event; see `submit`."""
    who = principal or visit.principal
    elements = [Element(msgspec.json.encode(event), event) for event in events]
    elements = check_rights(elements, who, array=True, each=True)
    mode: Literal["each", "all"] = "each" if keep else "all"
    submission = Submission(principal=who, elements=elements, mode=mode, array=True)
    return (await hand_over(visit, submission)).verdicts


def _told(visit: Visit[Any], verdict: Verdict, event: Event, again: str | None) -> Told:
    remarks = [remark_of(one, visit.words) for one in verdict.remarks]
    return Told(
        event=verdict.id,
        verdict=verdict.verdict,
        words=visit.words.gettext(_VERDICTS[verdict.verdict]),
        errors=[reason_of(one, event, visit.shown, again) for one in verdict.errors],
        remarks=list(dict.fromkeys(remarks)),
        made=verdict.made,
        position=verdict.position,
    )


class Entry(NamedTuple):
    """What a form tells: its events, what is said once they are recorded, and where it leads.

    `can_undo`: the page it leads to takes `done`, and offers to take the entry back.
    """

    events: Sequence[Event]
    said: str
    back: str
    can_undo: bool = True


class Show(Protocol):
    """The page of a form that was sent, with all that was typed; see `record_form`."""

    def __call__(
        self,
        values: dict[str, str],
        *,
        amiss: Amiss | None = None,
        reasons: list[Reason] | None = None,
        status: int = 200,
    ) -> Awaitable[Reply]: ...


async def record_form(
    visit: Visit[Any], told_by: Callable[[Fields], Awaitable[Entry]], show: Show
) -> Reply:
    """Record what the form that was sent tells, and go on to where it leads.

    What can't be understood is shown as `amiss` (422), what the log refuses with its `reasons`
    (409). A device is answered in JSON.
    """
    sent = await visit.form()
    values = {name: sent[name] for name in sent}
    try:
        entry = await told_by(Fields(sent))
    except Amiss as found:
        if visit.wants_json:
            return _amiss(visit, found, sent["entry"])
        return await show(values, amiss=found, status=422)
    reply, reasons = await _recorded(visit, entry, sent["entry"].lower())
    return reply or await show(values, reasons=reasons, status=409)


async def _recorded(
    visit: Visit[Any], told_of: Entry, entry: str
) -> tuple[Reply | None, list[Reason]]:
    """The answer to an entry; none, and why, where its form is to be shown again.

    Several events of an entry are recorded together or not at all; the worst verdict is told.
    """
    events, said, back, can_undo = told_of
    told = await submit(visit, events, again=entry, keep=len(events) == 1)
    worst = min(told, key=lambda one: _WORST.index(one.verdict))
    reasons = [reason for one in told for reason in one.errors]
    remarks = list(dict.fromkeys(remark for one in told for remark in one.remarks))
    recorded = worst.verdict in ("accepted", "known")
    words = said if worst.verdict == "accepted" else worst.words
    undo = told[0].event if recorded and can_undo else None
    onward = f"{back}{'&' if '?' in back else '?'}done={undo}" if undo else back
    said_so = " · ".join([words, *remarks])
    if visit.wants_json:
        answered = Answered(
            entry=entry,
            verdict=worst.verdict,
            words=said_so if recorded else " ".join(reason.words for reason in reasons),
            errors=reasons,
            remarks=remarks,
            made=told[0].made,
            next=onward,
            undo=undo,
        )
        return Reply(answered, media_type=JSON, cache="no-store"), reasons
    if not recorded:
        return None, reasons
    return visit.go(onward, said=said_so), reasons


def _amiss(visit: Visit[Any], amiss: Amiss, entry: str) -> Reply:
    """The answer to a device whose form can't be understood; nothing was recorded."""
    words = amiss.in_words(visit.words)
    reason = Reason(kind="malformed", words=words, settle="", field=amiss.field)
    answered = Answered(entry=entry, verdict="refused", words=words, errors=[reason])
    return Reply(answered, media_type=JSON, cache="no-store")


def who_undoes(visit: Visit[Any]) -> Principal:
    """The visitor with the right to void what was found to be their own of today."""
    who = visit.principal
    return msgspec.structs.replace(who, scopes=who.scopes | {CORRECTIONS})
