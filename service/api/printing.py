"""Sheets for paper: a day's grafting and a count of a place, as a page to print and as CSV."""

import base64
import hashlib
from datetime import date
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.api.operation import CSV, Call, Reply, csv_file, operation
from service.api.problems import bad_parameter
from service.api.work_orders import GraftingListQuery, list_of_the_day
from service.log import read
from service.log.rights import READ
from service.sheets import printing, printing_pages
from service.sheets.printing import CountKind
from service.sheets.printing_pages import Paper
from service.trade.events.catalogue import Place
from service.trade.words import Code
from service.views.at_place import at_place
from service.views.grafting_list import GraftingList
from service.views.site_days import site_days

HTML = "text/html"
SheetNumber = Annotated[
    str,
    Meta(
        pattern=r"^[A-Za-z0-9][A-Za-z0-9 ./-]{0,19}$(?!\n)",
        description="A number for the paper, printed on it and in every row. Rows of two sheets "
        "that are otherwise alike are told apart by it.",
    ),
]
OnPaper = Annotated[Paper, Meta(description="The paper's size; printed across.")]


class DaySheetCsvQuery(GraftingListQuery, frozen=True, kw_only=True):
    """Whose sheet of which day."""

    sheet: SheetNumber | None = None


class DaySheetQuery(DaySheetCsvQuery, frozen=True, kw_only=True):
    """Whose sheet of which day, and on what paper."""

    paper: OnPaper = "a4"


class CountSheetCsvQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which place is counted, and what."""

    place: Code
    count: Annotated[
        CountKind,
        Meta(
            description="stock: all that stands there, by lot, size, stage and grade. push: trees "
            "that are not ready, by lot and size: pushed, waiting, failed."
        ),
    ] = "stock"
    day: Annotated[date, Meta(description="Left out: today at the site.")] | None = None
    sheet: SheetNumber | None = None


class CountSheetQuery(CountSheetCsvQuery, frozen=True, kw_only=True):
    """Which place is counted, what, and how the page looks."""

    book: Annotated[
        bool,
        Meta(description="true: print the book's figures too. Who knows them tends to find them."),
    ] = False
    paper: OnPaper = "a4"


def _page(html: str, paper: Paper) -> Reply:
    """A page that may use its own style sheet and nothing else."""
    digest = hashlib.sha256(printing_pages.style(paper).encode()).digest()
    own = f"style-src 'sha256-{base64.b64encode(digest).decode()}'"
    policy = f"default-src 'none'; {own}; base-uri 'none'; form-action 'none'"
    return Reply(
        html.encode(),
        headers={"Content-Security-Policy": policy},
        media_type=f"{HTML}; charset=utf-8",
    )


@operation(
    "GET",
    "/v1/day-sheet",
    tag="Sheets",
    scope=READ,
    query=DaySheetQuery,
    answer=str,
    produces=HTML,
)
async def get_day_sheet(call: Call[DaySheetQuery]) -> Reply:
    """The grafting to do at a site on a day, as a page to print and write on.

    Its rows name order, bag, liners, method and place; grafter, trees and buds are written in. What
    comes back is typed into the CSV of `/v1/day-sheet.csv`, which has the same rows.
    """
    asked = call.query
    listed, rows = await _day(call)
    html = printing_pages.day_sheet(listed, rows, sheet=asked.sheet, paper=asked.paper)
    return _page(html, asked.paper)


@operation(
    "GET",
    "/v1/day-sheet.csv",
    tag="Sheets",
    scope=READ,
    query=DaySheetCsvQuery,
    answer=str,
    produces=CSV,
)
async def get_day_sheet_csv(call: Call[DaySheetCsvQuery]) -> Reply:
    """The day sheet's rows as CSV with the columns of the sheet `grafting`.

    Fill in grafter and count and import it: rows without them are skipped.
    """
    listed, rows = await _day(call)
    return csv_file(printing.grafting_csv(rows), f"grafting-{listed.site}-{listed.day}.csv")


async def _day(
    call: Call[Any],
) -> tuple[GraftingList, list[tuple[Any, list[printing.Line]]]]:
    listed = await list_of_the_day(call)
    return listed, printing.grafting_lines(listed, call.query.sheet)


@operation(
    "GET",
    "/v1/count-sheet",
    tag="Sheets",
    scope=READ,
    query=CountSheetQuery,
    answer=str,
    produces=HTML,
)
async def get_count_sheet(call: Call[CountSheetQuery]) -> Reply:
    """What stands at a place, as a page to print and count by, without the book's figures.

    What comes back is typed into the CSV of `/v1/count-sheet.csv`, which has the same rows.
    """
    asked = call.query
    place, day, lines = await _standing(call)
    html = printing_pages.count_sheet(
        lines,
        asked.count,
        place=place,
        day=day,
        book=asked.book,
        sheet=asked.sheet,
        paper=asked.paper,
    )
    return _page(html, asked.paper)


@operation(
    "GET",
    "/v1/count-sheet.csv",
    tag="Sheets",
    scope=READ,
    query=CountSheetCsvQuery,
    answer=str,
    produces=CSV,
)
async def get_count_sheet_csv(call: Call[CountSheetCsvQuery]) -> Reply:
    """The count sheet's rows as CSV with the columns of the sheet `counts`.

    Fill in what was counted (in a stock count with the reason) and import it: rows without are
    skipped.
    """
    asked = call.query
    _, day, lines = await _standing(call)
    return csv_file(printing.counts_csv(lines), f"counts-{asked.place}-{day}.csv")


async def _standing(call: Call[Any]) -> tuple[Place, date, list[printing.Line]]:
    """Place and day of a count, and its rows. Raises 422 for what is no place in the catalogue."""
    asked = call.query
    async with call.services.reading() as connection:
        sites = call.principal.site_list
        found = await read.catalogue_entry(connection, sites, "place", asked.place)
        if found is None:
            # A consignment on its way is a place for other lists.
            raise bad_parameter("place", f"No place {asked.place} is known.", "unknown_code")
        place = found.entry
        assert isinstance(place, Place)
        today = (await site_days(connection, call.services.clock()))[place.site]
        standing = await at_place(connection, place.site, place.code)
    day = asked.day or today
    lines = printing.count_lines(standing, asked.count, place=place, day=day, sheet=asked.sheet)
    return place, day, lines


HANDLERS = [get_day_sheet, get_day_sheet_csv, get_count_sheet, get_count_sheet_csv]
