"""A CSV file read as the rows of a sheet: RFC 4180, commas or semicolons, UTF-8.

Whatever the bytes are, the answer is rows and faults; each fault names its line and column.
"""

import csv
import difflib
import io
from collections.abc import Iterator, Mapping
from typing import Any

import msgspec

from service.sheets.cells import CellError, bare, shown, understand
from service.sheets.column import Column, Sheet
from service.sheets.columns import SHEETS

MOST_CELL = 4000
MOST_FAULTS = 200
# Columns whose value may be given once for the whole file.
FOR_ALL = ("date", "site")
# How the files begin that spreadsheet programs write for themselves: ZIP and compound files.
_ARCHIVE = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


class CellFault(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What is wrong at a line of a file (1 is the header's), and in which column if in one."""

    line: int
    column: str | None = None
    kind: str = "bad_value"
    detail: str
    numbers: dict[str, Any] = {}


class Row(msgspec.Struct, frozen=True):
    """A row that was understood: its first line in the file and its values by column."""

    line: int
    values: dict[str, Any]

    def get(self, name: str) -> Any:
        """The value of a column; None where the cell is empty."""
        return self.values.get(name)


class Table(msgspec.Struct):
    """A file read: its rows, the lines that were left empty at the bench, and the faults."""

    sheet: Sheet | None
    rows: list[Row]
    skipped: list[int]
    faults: list[CellFault]


def read_table(
    content: bytes, sheet: Sheet | None = None, for_all: Mapping[str, str] | None = None
) -> Table:
    """Read a file as a sheet; without `sheet` the header says which.

    `for_all`: values of `date` and `site` for rows in which they are empty. With any fault the
    rows are only those without one.
    """
    table = Table(sheet, [], [], [])
    text = _decoded(content, table.faults)
    if text is None:
        return table
    lines = _records(text, _delimiter(text), table.faults)
    header = next(lines, None)
    if header is None:
        if not table.faults:
            table.faults.append(_fault(1, None, "missing", "The file is empty."))
        return table
    names = [_name(cell) for cell in header[1]]
    table.sheet = sheet = sheet or _sheet_of(names, table.faults)
    if sheet is None:
        return table
    given = _for_all(sheet, for_all or {}, table.faults)
    _check_header(sheet, names, given, table.faults)
    if table.faults:
        return table
    for line, cells in lines:
        if any(cell.strip() for cell in cells):
            _row(table, sheet, names, line, cells, given)
        if len(table.faults) >= MOST_FAULTS:
            break
    if not (table.rows or table.skipped or table.faults):
        table.faults.append(_fault(2, None, "missing", "There is no row below the header."))
    return table


def _fault(line: int, column: str | None, kind: str, detail: str) -> CellFault:
    return CellFault(line=line, column=column, kind=kind, detail=detail)


def _decoded(content: bytes, faults: list[CellFault]) -> str | None:
    """The text, without a byte order mark."""
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        detail = "The file is UTF-16; save it as CSV in UTF-8."
        faults.append(_fault(1, None, "bad_value", detail))
        return None
    if content.startswith(_ARCHIVE):
        detail = "This is a spreadsheet program's own file; save it as CSV in UTF-8."
        faults.append(_fault(1, None, "bad_value", detail))
        return None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        detail = "The file is not UTF-8; save it as CSV in UTF-8 (no other coding)."
        faults.append(_fault(line, None, "bad_value", detail))
        return None
    if "\x00" in text:
        line = text.count("\n", 0, text.index("\x00")) + 1
        faults.append(_fault(line, None, "bad_value", "There is a NUL character in it."))
        return None
    return text


def _delimiter(text: str) -> str:
    """Semicolon where the header has more of them than commas."""
    first = text.lstrip("\r\n").partition("\n")[0]
    return ";" if first.count(";") > first.count(",") else ","


def _records(text: str, delimiter: str, faults: list[CellFault]) -> Iterator[tuple[int, list[str]]]:
    """Each record with its first line, until one can't be told from the next."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line, begun = 1, False
    try:
        for cells in reader:
            # What spreadsheets leave above the header is no record.
            begun = begun or any(cell.strip() for cell in cells)
            if begun:
                yield line, cells
            line = reader.line_num + 1
    except csv.Error as error:
        detail = f"The row can't be read ({error}): is a quote not closed, or not doubled?"
        faults.append(_fault(line, None, "bad_value", detail))


def _name(cell: str) -> str:
    return "_".join(bare(cell).lower().replace("-", " ").replace("_", " ").split())


def _sheet_of(names: list[str], faults: list[CellFault]) -> Sheet | None:
    """The one sheet that has all of the header's columns and lacks none that it needs."""
    given = {name for name in names if name}
    fits = [
        sheet
        for sheet in SHEETS.values()
        if given <= set(sheet.header)
        and all(c.name in given or c.name in FOR_ALL for c in sheet.columns if c.needed)
    ]
    if len(fits) == 1:
        return fits[0]
    faults.append(_fault(1, None, "say_which", _which(fits, given)))
    return None


def _which(fits: list[Sheet], given: set[str]) -> str:
    """Why the header tells no sheet. The most alike is named, so that one slip is no riddle."""
    if fits:
        names = " or ".join(sheet.name for sheet in fits)
        return f"By its header this can be {names}: say which with --kind."
    like = max(
        SHEETS.values(), key=lambda sheet: len(given & set(sheet.header)) / len(sheet.header)
    )
    if not given & set(like.header):
        return "The first line is no header of a sheet; `graftlog template` prints them."
    lacking = [c.name for c in like.columns if c.needed and c.name not in given | set(FOR_ALL)]
    strange = [shown(name) for name in sorted(given - set(like.header))]
    slips = [f"lacks {', '.join(lacking)}"] if lacking else []
    slips += [f"does not have {', '.join(strange[:5])}"] if strange else []
    return (
        f"The header is of no sheet. It is most like {like.name}, but {' and '.join(slips)}: put "
        "it right, or say with --kind which sheet it is."
    )


def _for_all(sheet: Sheet, given: Mapping[str, str], faults: list[CellFault]) -> dict[str, Any]:
    values = {}
    for column in sheet.columns:
        if column.name in FOR_ALL and column.name in given:
            try:
                values[column.name] = understand(bare(given[column.name]) or " ", column)
            except CellError as error:
                detail = f"{column.name} for the whole file: {error}"
                faults.append(_fault(1, column.name, "bad_value", detail))
    return values


def _check_header(
    sheet: Sheet, names: list[str], given: Mapping[str, Any], faults: list[CellFault]
) -> None:
    seen: set[str] = set()
    for name in names:
        if not name:
            continue
        if name not in sheet.header:
            near = difflib.get_close_matches(name, sheet.header, 1)
            hint = f" Is {near[0]} meant?" if near else f" It has: {', '.join(sheet.header)}."
            detail = f"The sheet {sheet.name} has no column {shown(name)}.{hint}"
            faults.append(_fault(1, name[:40], "unknown_field", detail))
        elif name in seen:
            faults.append(_fault(1, name, "bad_value", f"The column {name} is there twice."))
        seen.add(name)
    for column in sheet.columns:
        if column.needed and column.name not in seen and column.name not in given:
            detail = f"The column {column.name} is needed: {column.says}"
            faults.append(_fault(1, column.name, "missing", detail))


def _row(
    table: Table,
    sheet: Sheet,
    names: list[str],
    line: int,
    cells: list[str],
    given: Mapping[str, Any],
) -> None:
    """Understand one record and put it where it belongs."""
    known, faults = len(table.faults), table.faults
    if len(cells) < len(names) or any(cell.strip() for cell in cells[len(names) :]):
        detail = f"{len(cells)} cells where the header has {len(names)}."
        faults.append(_fault(line, None, "bad_value", detail))
        return
    columns = {column.name: column for column in sheet.columns}
    values: dict[str, Any] = {}
    for name, cell in zip(names, cells, strict=False):
        text = bare(cell[: MOST_CELL + 1])
        if not text:
            continue
        if not name:
            faults.append(_fault(line, None, "unknown_field", f"{shown(text)} has no header."))
            continue
        try:
            values[name] = understand(text, columns[name])
        except CellError as error:
            faults.append(_fault(line, name, "bad_value", str(error)))
    if len(faults) > known:
        return
    if _unfilled(sheet, values):
        table.skipped.append(line)
        return
    for name, value in given.items():
        values.setdefault(name, value)
    missing = [c for c in sheet.columns if c.needed and c.name not in values]
    faults += [_needed(line, column) for column in missing]
    if not missing:
        table.rows.append(Row(line, values))


def _needed(line: int, column: Column) -> CellFault:
    return _fault(line, column.name, "missing", f"{column.name} is needed: {column.says}")


def _unfilled(sheet: Sheet, values: Mapping[str, Any]) -> bool:
    """Whether a printed row came back with nothing written into it."""
    to_fill = [column.name for column in sheet.columns if column.to_fill]
    return bool(to_fill) and not any(name in values for name in to_fill)
