"""CSV written by the service: RFC 4180, UTF-8, and no cell that a spreadsheet would compute."""

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from service.sheets.column import Sheet

# OWASP, "CSV Injection": cells that begin so are taken for formulas. A quote mark before them makes
# text of them; reading a sheet takes it off again. Plain numbers, also below zero, are no formulas.
_FORMULA = re.compile(r"[=+\-@\t\r]")
_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")


def cell(value: Any) -> str:
    """A value as a cell: empty for None, shielded where a spreadsheet would compute it."""
    text = "" if value is None else str(value)
    # Also what looks shielded already, so that reading gives back exactly what was written.
    if text.startswith("'") or (_FORMULA.match(text) and not _NUMBER.fullmatch(text)):
        return f"'{text}"
    return text


def write_csv(header: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Rows by column name under a header, lines ended by CRLF as RFC 4180 has it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(header)
    for row in rows:
        writer.writerow([cell(row.get(name)) for name in header])
    return out.getvalue()


def template(sheet: Sheet, *, examples: bool = True) -> str:
    """A sheet's header, and under it its example rows."""
    return write_csv(sheet.header, sheet.examples if examples else ())


def explained(sheet: Sheet) -> str:
    """A sheet in words: what it is for, which rows belong together, and each column."""
    lines = [f"{sheet.title}: {sheet.says}", "", sheet.rows_together, ""]
    for column in sheet.columns:
        need = " (needed)" if column.needed else ""
        words = f" One of: {', '.join(column.choices)}." if column.choices else ""
        lines.append(f"  {column.name}{need}: {column.says}{words}")
    return "\n".join(lines)
