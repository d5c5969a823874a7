"""Charts on pages: drawn for a telephone and for a desk, with a table beside, and to take home."""

import csv
import io
from collections.abc import Awaitable, Callable, Iterable, Iterator, Sequence
from datetime import date
from typing import Any, NamedTuple

from litestar.handlers import HTTPRouteHandler
from markupsafe import Markup

from service.api.operation import Reply, csv_file
from service.api.problems import not_found
from service.board.charts import Hand, Said
from service.board.page import page
from service.board.visit import Visit
from service.log.rights import READ
from service.sheets.writing import cell
from service.wording.shown import Shown

NARROW, WIDE = 340, 720
ROWS = 100
SVG = "image/svg+xml"


class Figure(NamedTuple):
    """A chart with its table. `draw` gives SVG for a width; `file` is its name when taken home.

    `description` says in a sentence or two what is to be seen; `query` is what was asked.
    """

    key: str
    title: str
    description: str
    draw: Callable[[float, Said], str]
    header: Sequence[str]
    rows: Sequence[Sequence[object]]
    file: str
    address: str
    query: str
    newest_last: bool = False

    def _drawn(self, width: int, part: str) -> str:
        return self.draw(width, Said(f"{self.key}{part}", self.title, self.description))

    @property
    def narrow(self) -> Markup:
        """For a telephone. All words in it are escaped by the drawing kit."""
        return Markup(self._drawn(NARROW, "-n"))

    @property
    def wide(self) -> Markup:
        return Markup(self._drawn(WIDE, "-w"))

    @property
    def most(self) -> int:
        """So many rows of the table are on the page."""
        return ROWS

    def read_rows(self, shown: Shown) -> Iterator[tuple[str, list[tuple[str, bool]]]]:
        """The table as it is read: each row's head, then its cells and whether they are numbers.

        Of more than a page holds the last where they are the newest, else the first.
        """
        for head, *cells in self.rows[-ROWS:] if self.newest_last else self.rows[:ROWS]:
            yield (
                as_read(shown, head),
                [(as_read(shown, one), isinstance(one, int | float)) for one in cells],
            )

    def picture(self) -> Reply:
        """The chart as a file."""
        said = {"Content-Disposition": f'attachment; filename="{self.file}.svg"'}
        body = self._drawn(WIDE, "").encode()
        return Reply(body, headers=said, media_type=f"{SVG}; charset=utf-8")

    def table(self) -> Reply:
        """Its table as a file."""
        return table_file(self.file, self.header, self.rows)


def as_read(shown: Shown, value: object) -> str:
    """A cell: days and numbers by the reader's locale, a dash for nothing."""
    if value is None:
        return "–"
    if isinstance(value, date):
        return shown.day(value)
    if isinstance(value, int | float):
        return shown.number(value, 0 if isinstance(value, int) else 1)
    return str(value)


def table_file(name: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> Reply:
    """A table as CSV (RFC 4180), no cell of which a spreadsheet would compute."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(map(cell, header))
    writer.writerows([cell(one) for one in row] for row in rows)
    return csv_file(out.getvalue(), f"{name}.csv")


def hand_of(shown: Shown) -> Hand:
    """How a chart writes for somebody."""
    return Hand(shown.number, shown.day, shown.short_day)


def files_of(
    path: str, query: type[Any], make: Callable[[Visit[Any]], Awaitable[Figure | None]]
) -> list[HTTPRouteHandler]:
    """The addresses `path`.svg and `path`.csv of what `make` shows."""

    async def made(visit: Visit[Any]) -> Figure:
        figure = await make(visit)
        if figure is None:
            raise not_found("A chart of this")
        return figure

    @page("GET", f"{path}.svg", scope=READ, query=query)
    async def picture(visit: Visit[Any]) -> Reply:
        return (await made(visit)).picture()

    @page("GET", f"{path}.csv", scope=READ, query=query)
    async def table(visit: Visit[Any]) -> Reply:
        return (await made(visit)).table()

    return [picture, table]
