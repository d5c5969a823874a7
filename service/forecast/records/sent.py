"""What people and loggers send of a site's weather: CSV read line by line, each fault named."""

import csv
import math
import re
from collections.abc import Callable, Hashable, Sequence
from datetime import date, datetime
from typing import Any, TypeVar

import msgspec

COLDEST_C, WARMEST_C = -60.0, 60.0
MOST_FAULTS = 50

T = TypeVar("T")
_NUMBER = re.compile(r"[+-]?[0-9]{1,6}(\.[0-9]{1,9})?")
_ISO_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """One thing wrong with what was sent: where (JSON pointer, line of the CSV, query) and what."""

    pointer: str | None = None
    line: int | None = None
    parameter: str | None = None
    detail: str
    kind: str = "bad_value"


class NotRecordedError(Exception):
    """What was sent cannot be recorded; nothing of it was. `faults` names each place."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(fault.detail for fault in faults))
        self.faults = list(faults)


def read_csv(
    text: str,
    header: tuple[str, ...],
    one: Callable[[list[str]], T],
    key: Callable[[T], tuple[Hashable, str]],
    *,
    most: int,
    many: str,
) -> list[T]:
    """What the lines of a CSV (RFC 4180) say, each made by `one` from its cells.

    `key` tells what may be said once only, and how it is called; `many` what the lines hold. Raises
    NotRecordedError naming each bad line, counted from 1, the header's; `one` says what is wrong
    with a line by ValueError.
    """
    lines = text.removeprefix("\ufeff").splitlines()
    if tuple(cell.strip() for cell in (lines[0].split(",") if lines else ())) != header:
        detail = f"the first line must read {','.join(header)}, separated by commas"
        raise NotRecordedError([Fault(line=1, detail=detail)])
    told: list[T] = []
    seen: dict[Hashable, int] = {}
    faults: list[Fault] = []
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        try:
            said = one(_cells(line, header))
        except ValueError as error:
            faults.append(Fault(line=number, detail=str(error)))
        else:
            told.append(said)
            same, called = key(said)
            if same in seen:
                detail = f"{called} was given before, on line {seen[same]}"
                faults.append(Fault(line=number, detail=detail))
            seen.setdefault(same, number)
        if len(told) > most:
            detail = f"more than {most} {many} at once; send them in parts"
            raise NotRecordedError([Fault(line=number, detail=detail)])
        if len(faults) == MOST_FAULTS:
            break
    if not faults and not told:
        faults.append(Fault(line=2, detail=f"no {many} after the header"))
    if faults:
        raise NotRecordedError(faults)
    return told


def lines_of(text: str) -> list[int]:
    """The number of the line that each value of a CSV stood on."""
    return [n for n, line in enumerate(text.splitlines()[1:], start=2) if line.strip()]


def _cells(line: str, header: tuple[str, ...]) -> list[str]:
    try:
        cells = [cell.strip() for cell in next(csv.reader([line], strict=True))]
    except (csv.Error, StopIteration) as error:
        raise ValueError(f"not a line of CSV: {error}") from error
    if len(cells) != len(header):
        raise ValueError(f"{len(cells)} cells where {','.join(header)} are wanted")
    return cells


def day_of(cell: str) -> date:
    """The day that a cell says. Raises ValueError in words."""
    try:
        if not _ISO_DAY.fullmatch(cell):
            raise ValueError
        return date.fromisoformat(cell)
    except ValueError:
        raise ValueError(f"{cell[:40]!r} is not a day written like 2026-03-14") from None


def celsius_of(cell: str) -> float | None:
    """The temperature that a cell says, None for an empty one. Raises ValueError in words."""
    if not cell:
        return None
    if not _NUMBER.fullmatch(cell):
        raise ValueError(f"{cell[:40]!r} is not a temperature written like 18.4")
    return float(cell)


def fault_of_pair(low: float | None, high: float | None) -> str | None:
    """What is wrong with a day's minimum and maximum, in words; None when nothing is."""
    if low is None and high is None:
        return None
    if low is None or high is None:
        return "minimum and maximum must both be given, or both be empty to withdraw the day"
    for value in (low, high):
        if not (math.isfinite(value) and COLDEST_C <= value <= WARMEST_C):
            return f"{value:g} C is outside {COLDEST_C:g} to {WARMEST_C:g} C"
    if low > high:
        return f"the minimum {low:g} C is above the maximum {high:g} C"
    return None


def not_before(newest: Any, recorded_at: datetime, *, told: bool) -> datetime:
    """When a next version counts as recorded: never before the newest one.

    `newest` is its row (None: there is none). A clock that runs behind is lifted; a moment that
    the sender told is refused instead, since an import would else say that something was known
    later than it was. Raises NotRecordedError.
    """
    if newest is None or recorded_at >= newest["recorded_at"]:
        return recorded_at
    if told:
        at = newest["recorded_at"].isoformat(timespec="seconds")
        detail = f"version {newest['version']} was recorded at {at}, after the moment told"
        raise NotRecordedError([Fault(detail=detail, kind="not_together", parameter="recorded_at")])
    at_least: datetime = newest["recorded_at"]
    return at_least
