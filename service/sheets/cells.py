"""One cell of a sheet: its text understood as what its column holds, or what is wrong, in words.

A cell that begins like a formula (=, +, -, @) is text like any other: nothing is ever computed.
"""

import re
from datetime import date
from typing import Any

from service.sheets.column import Column
from service.trade.words import CODE_PATTERN, EARLIEST_YEAR, LATEST_YEAR

MOST_TEXT = 500
_CODE = re.compile(CODE_PATTERN)
_REF = re.compile(r"[A-Za-z0-9][A-Za-z0-9._:@-]{0,63}")
_WORD = re.compile(r"[a-z][a-z0-9_-]{0,39}")
_WHOLE = re.compile(r"[0-9]{1,12}")
_DECIMAL = re.compile(r"-?[0-9]{1,6}(\.[0-9]{1,9})?")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?"
    r"([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_SLASHED = re.compile(r"([0-9]{1,2})[./ -]([0-9]{1,2})[./ -]([0-9]{2}|[0-9]{4})")
_SERIAL = re.compile(r"[0-9]{5}([.,][0-9]+)?")
_GROUPED = re.compile(r"[0-9]{1,3}([ .,'\u00a0\u202f][0-9]{3})+")
_YES_NO = {"yes": True, "no": False, "true": True, "false": False}
# A cell written by us is shielded from spreadsheets with this; see service.sheets.writing.
_SHIELDED = re.compile(r"'['=+\-@\t\r]")


class CellError(Exception):
    """A cell can't be understood; its text says why."""


def bare(text: str) -> str:
    """A cell without the blanks around it and without our shield against formulas."""
    text = text.strip()
    return text[1:] if _SHIELDED.match(text) else text


def shown(text: str) -> str:
    """A cell's text as a message quotes it."""
    cut = text if len(text) <= 40 else text[:39] + "…"
    return f'"{cut}"'


def understand(text: str, column: Column) -> Any:
    """The value of a bare cell that is not empty. Raises CellError."""
    return _READERS[column.kind](text, column)


def _code(text: str, column: Column) -> str:
    if _CODE.match(text):
        return text
    if _CODE.match(text.upper()):
        raise CellError(f"{shown(text)}: codes are written in capitals, {text.upper()}.")
    raise CellError(
        f"{shown(text)} is no code: capitals, digits, full stop and hyphen, at most 20 characters."
    )


def _ref(text: str, column: Column) -> str:
    if _REF.fullmatch(text):
        return text
    raise CellError(
        f"{shown(text)} is no reference: letters, digits and . _ : @ -, no blanks, at most 64 "
        "characters. Names and addresses stay out of the log."
    )


def _word(text: str, column: Column) -> str:
    if _WORD.fullmatch(text):
        return text
    if _WORD.fullmatch(text.lower()):
        raise CellError(f"{shown(text)}: write it in small letters, {text.lower()}.")
    raise CellError(
        f"{shown(text)} is no word for {column.name}: small letters, digits, - and _, a letter "
        "first, no blanks."
    )


def _text(text: str, column: Column) -> str:
    if len(text) > MOST_TEXT:
        raise CellError(f"The text has {len(text)} characters; at most {MOST_TEXT} will do.")
    return text


def _whole(text: str, column: Column) -> int:
    if not _WHOLE.fullmatch(text):
        raise CellError(_no_whole(text))
    number, least = int(text), 0 if column.kind == "whole_or_zero" else column.least
    if not least <= number <= column.most:
        raise CellError(f"{text} is outside {least:.0f} to {column.most:.0f}.")
    return number


def _no_whole(text: str) -> str:
    if _GROUPED.fullmatch(text):
        plain = re.sub(r"\D", "", text)
        return f"{shown(text)}: write a number without separators; {plain}, if that is meant."
    if re.fullmatch(r"-?[0-9]+[.,][0-9]+", text):
        return f"{shown(text)} is no whole number; plants and buds are counted in ones."
    if text[0] in "=@+":
        return f"{shown(text)} looks like a formula; save the sheet with its values."
    return f"{shown(text)} is no whole number."


def _decimal(text: str, column: Column) -> float:
    if not _DECIMAL.fullmatch(text):
        if _DECIMAL.fullmatch(text.replace(",", ".")):
            point = text.replace(",", ".")
            raise CellError(f"{shown(text)}: write a point, not a comma: {point}.")
        raise CellError(f"{shown(text)} is no number written like 39.5.")
    number = float(text)
    if not column.least <= number <= column.most:
        raise CellError(f"{text} is outside {column.least:g} to {column.most:g}.")
    return number


def _when(text: str, column: Column) -> str:
    """A day, or where the column allows it a time with its offset. Which of them exist is judged
    later, in the site's calendar."""
    timed = column.kind == "when"
    if _DAY.fullmatch(text) or (timed and _TIME.fullmatch(text)):
        if not EARLIEST_YEAR <= int(text[:4]) <= LATEST_YEAR:
            raise CellError(f"{text} lies outside the years {EARLIEST_YEAR} to {LATEST_YEAR}.")
        return text
    if slashed := _SLASHED.fullmatch(text):
        raise CellError(_as_we_write_it(text, *slashed.groups()))
    if _SERIAL.fullmatch(text):
        raise CellError(
            f"{shown(text)} looks like a spreadsheet's number of a day; format the column as text "
            "and write 2026-03-14."
        )
    if timed and re.match(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ]", text):
        raise CellError(f"{shown(text)}: write a time as 2026-03-14T09:30:00+01:00.")
    raise CellError(f"{shown(text)} is no day written like 2026-03-14.")


def _as_we_write_it(text: str, first: str, second: str, year: str) -> str:
    year = year if len(year) == 4 else f"20{year}"
    one, two = int(first), int(second)
    # day before month, and month before day: whichever could be meant
    days = [f"{year}-{month:02}-{day:02}" for day, month in ((one, two), (two, one))]
    real = list(dict.fromkeys(day for day in days if _in_the_calendar(day)))
    if len(real) == 2:
        return f"{shown(text)} can be read in more ways than one; write {' or '.join(real)}."
    if real:
        return f"{shown(text)}: write {real[0]}, if that is meant."
    return f"{shown(text)} is no day of the calendar; write a day as 2026-03-14."


def _in_the_calendar(day: str) -> bool:
    try:
        date.fromisoformat(day)
    except ValueError:
        return False
    return True


def _choice(text: str, column: Column) -> str:
    if text in column.choices:
        return text
    near = text.lower().replace(" ", "_").replace("-", "_")
    if near in column.choices:
        return near
    raise CellError(f"{shown(text)} is none of: {', '.join(column.choices)}.")


def _yes_no(text: str, column: Column) -> bool:
    value = _YES_NO.get(text.lower())
    if value is None:
        raise CellError(f"{shown(text)}: write yes or no.")
    return value


_READERS = {
    "code": _code,
    "ref": _ref,
    "word": _word,
    "text": _text,
    "whole": _whole,
    "whole_or_zero": _whole,
    "decimal": _decimal,
    "day": _when,
    "when": _when,
    "choice": _choice,
    "yes_no": _yes_no,
}
