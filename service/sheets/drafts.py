"""Rows of a sheet put together into events, each knowing which rows it came from.

Event ids follow from what a row says, so a file that is sent twice is known the second time. Equal
rows of one file are told apart by how many of them came before; equal rows on different paper
sheets by the column `sheet`.
"""

import uuid
from collections import Counter
from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

import msgspec

from service.sheets.reading import CellFault, Row
from service.trade.events import Event

# Of ids made from a row's content (RFC 9562, 5.5). Never change it: files would be new again.
NAMESPACE = uuid.UUID("6f1c7a52-5d0b-5f4e-9b7e-2f6a4c1d8e30")
Origin = tuple[int, str | None]
_decode = msgspec.json.Decoder(Event).decode
_encode = msgspec.json.Encoder(order="sorted").encode


class Draft(msgspec.Struct):
    """An event to be, with where each of its values stands in the file.

    `origins`: line and column by JSON pointer (fragment form) into the event.
    """

    rows: list[Row]
    envelope: dict[str, Any]
    origins: dict[str, Origin] = {}
    event: Event | None = None
    raw: bytes = b""
    # of lines of JSON: when and by whom it was first recorded (scope history)
    recorded_at: datetime | None = None
    recorded_by: str | None = None

    @property
    def lines(self) -> list[int]:
        return [row.line for row in self.rows]

    def origin_of(self, pointer: str) -> Origin:
        """Line and column of what a pointer names, or of the nearest thing around it.

        A line of JSON has no columns; its fields are named as in `data.count`.
        """
        if not self.origins:
            return self.rows[0].line, pointer.removeprefix("#").strip("/").replace("/", ".") or None
        at = pointer
        while at and at != "#":
            if at in self.origins:
                return self.origins[at]
            at = at.rpartition("/")[0]
        inside = [o for known, o in self.origins.items() if known.startswith(f"{pointer}/")]
        line = min((line for line, _ in inside), default=self.rows[0].line)
        return line, None


class Drafting:
    """What the makers of drafts share: grouping rows, and saying where they contradict."""

    def __init__(self) -> None:
        self.drafts: list[Draft] = []
        self.faults: list[CellFault] = []

    def refuse(self, row: Row, column: str | None, detail: str, kind: str = "bad_value") -> None:
        """Note what is wrong with a row."""
        self.faults.append(CellFault(line=row.line, column=column, kind=kind, detail=detail))

    def needs(self, row: Row, columns: Iterable[str], why: str) -> None:
        """Refuse a row in which one of the columns is empty."""
        for column in columns:
            if row.get(column) is None:
                self.refuse(row, column, f"{column} is needed {why}.", "missing")

    def may_not(self, row: Row, columns: Iterable[str], why: str) -> None:
        """Refuse a row in which one of the columns is filled."""
        for column in columns:
            if row.get(column) is not None:
                self.refuse(row, column, f"Leave {column} empty {why}.")

    def alike(self, rows: list[Row], columns: Iterable[str], what: str) -> None:
        """Refuse rows that say otherwise than the first of them."""
        first = rows[0]
        for row in rows[1:]:
            for column in columns:
                if row.get(column) != first.get(column):
                    said, there = row.get(column), first.get(column)
                    detail = (
                        f"Rows of {what} must say the same: {said if said is not None else 'empty'}"
                        f" here, {there if there is not None else 'empty'} on line {first.line}."
                    )
                    self.refuse(row, column, detail, "counts_disagree")

    def add(
        self, kind: str, rows: list[Row], data: dict[str, Any], origins: dict[str, Origin]
    ) -> None:
        """An event of the rows. `data` without what is None; origins of the envelope are added."""
        first = rows[0]
        site = first.get("site") or first.get("code")
        envelope = {"type": kind, "site": site, "occurred": first.get("date")}
        if first.get("person"):
            envelope["actor"] = first.get("person")
        envelope["data"] = _without_none(data)
        known = {
            "#/site": (first.line, "site" if first.get("site") else "code"),
            "#/occurred": (first.line, "date"),
        }
        self.drafts.append(Draft(rows, envelope, known | origins))


def together(rows: Iterable[Row], key: Callable[[Row], object]) -> list[list[Row]]:
    """Rows of one key, in the order in which the keys were first met."""
    groups: dict[object, list[Row]] = {}
    for row in rows:
        groups.setdefault(key(row), []).append(row)
    return list(groups.values())


def columns_of(row: Row, at: str, names: dict[str, str]) -> dict[str, Origin]:
    """Origins of fields at a pointer, by field and column."""
    return {f"{at}/{field}": (row.line, column) for field, column in names.items()}


def finish(drafting: Drafting, sheet: str) -> None:
    """Give every draft its id and its event; what can't be an event becomes a fault."""
    told: Counter[bytes] = Counter()
    at_fault = {fault.line for fault in drafting.faults}
    for draft in drafting.drafts:
        content = _encode(draft.envelope)
        papers = "\x1f".join(str(row.get("sheet") or "") for row in draft.rows)
        name = b"\x1e".join((sheet.encode(), content, papers.encode()))
        event_id = event_id_of(name, told[name])
        told[name] += 1
        draft.raw = _encode({"id": event_id} | draft.envelope)
        try:
            draft.event = _decode(draft.raw)
        except msgspec.ValidationError as error:
            if at_fault.intersection(draft.lines):
                # Said already, in words of the sheet.
                continue
            what, _, path = str(error).partition(" - at `$")
            line, column = draft.origin_of("#" + path.rstrip("`").replace(".", "/"))
            drafting.faults.append(CellFault(line=line, column=column, detail=f"{what}."))


def event_id_of(content: bytes, before: int) -> str:
    """The id of the event that says this, the `before`-th (from 0) to say so in its file."""
    return str(uuid.uuid5(NAMESPACE, f"{before}\x1e{content.decode()}"))


def _without_none(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _without_none(v) for k, v in value.items() if v is not None}
    if isinstance(value, list):
        return [_without_none(v) for v in value]
    return value
