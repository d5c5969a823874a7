"""Lines of JSON (NDJSON), each an event as the interface takes it, read as drafts.

A line may also say `recorded_at` and `recorded_by`, as imports of old records do.
"""

import io
from collections import Counter
from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.sheets.drafts import Draft, event_id_of
from service.sheets.reading import MOST_FAULTS, CellFault, Row
from service.trade.events import Event
from service.trade.verdicts import Fault
from service.trade.words import Ref

NAME = "events"
# Words for a wrong shape: from msgspec's message, the type wanted, and the bytes that came.
FaultOf = Callable[[str, Any, bytes], Fault]


class History(msgspec.Struct, frozen=True):
    """What a line adds to its event."""

    recorded_at: Annotated[datetime, Meta(tz=True)] | None = None
    recorded_by: Ref | None = None


_event_of = msgspec.json.Decoder(Event).decode
_parts_of = msgspec.json.Decoder(dict[str, msgspec.Raw]).decode
_history_of = msgspec.json.Decoder(History).decode
_encode = msgspec.json.Encoder(order="sorted").encode


def read_lines(content: bytes, fault_of: FaultOf) -> tuple[list[Draft], list[CellFault]]:
    """Every line as a draft, and what is wrong with lines. Empty lines are passed over."""
    drafts: list[Draft] = []
    faults: list[CellFault] = []
    told: Counter[bytes] = Counter()
    for number, line in enumerate(io.BytesIO(content.removeprefix(b"\xef\xbb\xbf")), start=1):
        if not line.strip():
            continue
        try:
            drafts.append(_draft(number, line, told))
        except msgspec.ValidationError as error:
            fault = fault_of(str(error), Event, line)
            place = fault.pointer.removeprefix("#/").replace("/", ".").removeprefix("#") or None
            faults.append(CellFault(line=number, column=place, kind=fault.kind,
                                    detail=fault.detail, numbers=fault.numbers))  # fmt: skip
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            why = "It is nested too deeply." if isinstance(error, RecursionError) else f"{error}."
            faults.append(CellFault(line=number, detail=f"The line is no JSON: {why}"))
        if len(faults) >= MOST_FAULTS:
            break
    if not (drafts or faults):
        faults.append(CellFault(line=1, kind="missing", detail="There is no event in the file."))
    return drafts, faults or _twins(drafts) or _half_history(drafts)


def _draft(number: int, line: bytes, told: Counter[bytes]) -> Draft:
    history = History()
    if b'"recorded_' in line:
        history = _history_of(line)
        parts = _parts_of(line)
        for name in ("recorded_at", "recorded_by"):
            parts.pop(name, None)
        line = msgspec.json.encode(parts)
    event = _event_of(line)
    if event.id is None:
        content = _encode(event)
        event = msgspec.structs.replace(event, id=event_id_of(content, told[content]))
        told[content] += 1
    envelope = {"type": str(event.__struct_config__.tag)}
    return Draft([Row(number, {})], envelope, {}, event, line.strip(), history.recorded_at,
                 history.recorded_by)  # fmt: skip


def _twins(drafts: list[Draft]) -> list[CellFault]:
    """Lines whose event has the id of an earlier line's."""
    seen: dict[str, int] = {}
    faults = []
    for draft in drafts:
        assert draft.event is not None
        first = seen.setdefault(draft.event.id or "", draft.lines[0])
        if first != draft.lines[0]:
            detail = f"Line {first} has the same id."
            faults.append(
                CellFault(line=draft.lines[0], column="id", kind="id_twice", detail=detail)
            )
    return faults


def _half_history(drafts: list[Draft]) -> list[CellFault]:
    """Lines that lack the time of recording which others say."""
    lacking = [draft.lines[0] for draft in drafts if draft.recorded_at is None]
    if len(lacking) in (0, len(drafts)):
        return []
    detail = "Either every line says recorded_at or none does."
    return [CellFault(line=lacking[0], column="recorded_at", kind="missing", detail=detail)]
