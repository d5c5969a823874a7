"""Sales: what is handed over, from which lots, where it is loaded and where it came from."""

from collections.abc import Sequence
from datetime import date
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.api import recording
from service.api.cursors import after_number
from service.api.headers import names_type
from service.api.left_open import record_all_left
from service.api.operation import (
    CSV,
    JSON,
    Call,
    NoQuery,
    Page,
    Paged,
    Reply,
    csv_file,
    operation,
    page,
)
from service.api.problems import Mistake, Problem, bad_parameter, not_found
from service.api.recording import Done, Fact, record_one
from service.api.taking_in import PROBLEMS, decoded
from service.log import read
from service.log.reservations import ReservedLineNow
from service.log.rights import READ, SALES
from service.log.submission import Verdict
from service.sheets.writing import write_csv
from service.trade.events.budwood import BudwoodSold, BudwoodSoldData, SoldBuds
from service.trade.events.catalogue import Regions
from service.trade.events.grafting import Stage
from service.trade.events.selling import SOLD_LINES, SoldLine, TreesSold, TreesSoldData
from service.trade.events.trees import Grade
from service.trade.words import Code, Count, Data, Ref
from service.views import sales as view


class LineToSell(Data, frozen=True, kw_only=True):
    """What is sold: trees of a lot or of an item, or buds out of a bag.

    Trees: name `lot`; or `cultivar`, `rootstock` and `size`, and the lots are chosen: ready trees
    that no hold stops and nobody else has reserved by lot, those ready longest first, one lot where
    one has enough. Buds: name `bag`; or `cultivar` and `buds`, and the bags are chosen, what was
    cut first before what keeps longer.
    """

    lot: Code | None = None
    cultivar: Code | None = None
    rootstock: Code | None = None
    size: Code | None = None
    grade: Grade | None = None
    stage: Stage | None = None
    bag: Code | None = None
    buds: Annotated[bool, Meta(description="True: buds of the cultivar.")] = False
    place: Annotated[Code, Meta(description="Only from this place.")] | None = None
    count: Annotated[Count, Meta(description="Trees, or buds.")]


class SaleToMake(Fact, frozen=True, kw_only=True):
    """A sale: all trees, or all buds."""

    customer: Ref
    order: Annotated[Ref, Meta(description="The order's number.")] | None = None
    reservation: Annotated[Code, Meta(description="The reservation that this fulfils.")] | None = (
        None
    )
    document: Annotated[Ref, Meta(description="Plant passport, certificate or permit.")] | None = (
        None
    )
    destination: (
        Annotated[
            Regions,
            Meta(description="Every region the place lies in. Left out: the reservation's."),
        ]
        | None
    ) = None
    lines: (
        Annotated[
            list[LineToSell],
            Meta(
                min_length=1,
                max_length=SOLD_LINES,
                description="Left out: all that is left open of the reservation at the site.",
            ),
        ]
        | None
    ) = None


class SellQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Whether it is only to be judged."""

    check: Annotated[
        bool, Meta(description="true: the loading list beforehand; nothing is recorded.")
    ] = False


class SalesQuery(Paged, frozen=True, kw_only=True):
    """Which sales are wanted."""

    site: Code | None = None
    customer: Annotated[Ref, Meta(description="Only to this customer.")] | None = None
    order: Annotated[Ref, Meta(description="Only for this order.")] | None = None
    reservation: Annotated[Code, Meta(description="Only for this reservation.")] | None = None
    lot: Code | None = None
    first: Annotated[date, Meta(description="From this day on.")] | None = None
    last: Annotated[date, Meta(description="Up to this day.")] | None = None


@operation(
    "POST",
    "/v1/sales",
    tag="Sales",
    scope=SALES,
    query=SellQuery,
    accepts=(JSON,),
    body=SaleToMake,
    answer=view.Sale,
    answers=(200, 201),
    problems=PROBLEMS,
    request_headers=("Idempotency-Key",),
    also=((CSV, str),),
)
async def make_sale(call: Call[SellQuery]) -> Reply:
    """Sell trees or buds, against a reservation or directly.

    Several sales may fulfil one reservation: `left` tells what is still to come of it. One that
    names a reservation and no `lines` sells all that is left open of it at the site (409,
    `not_open`, when nothing is). Lots that are not named are chosen when it is recorded. A sale is
    a fact: it may take what others have reserved by item, or more than its own reservation has
    open, and a remark (`shortfall`, `outside_reservation`) says so. With `check=true` the answer is
    the loading list with these remarks, and nothing is recorded nor kept: what is chosen may be
    another's before it is sold. Ask for it with `Accept: text/csv` to print it.
    """
    body = await call.body()
    asked: SaleToMake = decoded(body, SaleToMake)
    done = await _sold(call, asked, body)
    event = done.event
    async with call.services.reading() as connection:
        if call.query.check and isinstance(event, TreesSold | BudwoodSold):
            remarks = [msgspec.to_builtins(remark) for remark in done.verdict.remarks]
            sites = call.principal.site_list
            told = await view.told(connection, sites, view.judged(event), event.data, remarks)
            if names_type(call.header("accept"), CSV):
                return _loading_csv(told, "to-load.csv")
            return Reply(told, headers=done.headers, cache="no-store")
    found = await _sale(call, done.verdict.id or "")
    if found is None:
        raise not_found(f"The sale {done.verdict.id}")
    return Reply(
        found,
        200 if done.verdict.verdict == "known" else 201,
        headers=done.headers | {"Location": f"/v1/sales/{found.id}"},
        cache="no-store",
    )


async def _sold(call: Call[SellQuery], asked: SaleToMake, body: bytes) -> Done:
    """The sale recorded, or only judged. Raises the problem that says why not."""
    check, code = call.query.check, asked.reservation
    if asked.lines is None:
        if code is None:
            words = "Say what is sold, or name the reservation of which all goes."
            mistake = Mistake(kind="missing", detail=words, pointer="#/lines")
            raise Problem("refused", "Nothing was recorded: see errors.", errors=[mistake])
        keyed = call.header("idempotency-key") is not None
        known = await _sale(call, asked.id) if asked.id and not keyed else None
        if known is not None and known.reservation == code:
            # A retry by its id: what it took is open no more.
            return Done(Verdict(id=known.id, verdict="known"), None, known.position or 0, False)
        return await record_all_left(
            call,
            code,
            asked.site,
            lambda left: _event_of(asked, [_of_reserved(line) for line in left], call),
            body,
            check=check,
        )
    event = _event_of(asked, asked.lines, call)
    try:
        return await record_one(call, event, body, check=check)
    except Problem as problem:
        problem.errors = [_of_count(mistake) for mistake in problem.errors]
        raise


def _of_reserved(line: ReservedLineNow) -> LineToSell:
    """What is left of a reserved line, to be sold."""
    if line.lot is not None and not line.buds:
        return LineToSell(lot=line.lot, size=line.size, grade=line.grade, count=line.open)
    return LineToSell(
        cultivar=line.cultivar,
        rootstock=line.rootstock,
        size=line.size,
        grade=line.grade,
        buds=line.buds,
        count=line.open,
    )


def _event_of(
    asked: SaleToMake, of: Sequence[LineToSell], call: Call[Any]
) -> TreesSold | BudwoodSold:
    """The event that a body stands for, of these lines. Raises 422 for trees and buds in one."""
    envelope = {name: getattr(asked, name) for name in ("id", "site", "actor", "happened")}
    envelope["occurred"] = asked.occurred or recording.now_of(call)
    names = ("customer", "order", "reservation", "document", "destination")
    said = {name: getattr(asked, name) for name in names}
    of_buds = [line.buds or line.bag is not None for line in of]
    if all(of_buds):
        for index, line in enumerate(of):
            _only_of_buds(line, index)
        buds = [
            SoldBuds(bag=line.bag, cultivar=line.cultivar, place=line.place, buds=line.count)
            for line in of
        ]
        return BudwoodSold(**envelope, data=BudwoodSoldData(**said, lines=buds))
    if any(of_buds):
        other = of_buds.index(not of_buds[0])
        names = ("bag", "buds", "lot", "cultivar", "count")
        name = next(name for name in names if getattr(of[other], name))
        raise _mistake(other, name, "Trees and buds are sold in two sales.")
    lines = [
        SoldLine(**{name: getattr(line, name) for name in SoldLine.__struct_fields__})
        for line in of
    ]
    return TreesSold(**envelope, data=TreesSoldData(**said, lines=lines))


def _of_count(mistake: Mistake) -> Mistake:
    """An event of buds says how many in `buds`, a line here in `count`."""
    if mistake.pointer is None or not mistake.pointer.endswith("/buds"):
        return mistake
    return msgspec.structs.replace(mistake, pointer=mistake.pointer[: -len("buds")] + "count")


def _only_of_buds(line: LineToSell, index: int) -> None:
    for name in ("lot", "rootstock", "size", "grade", "stage"):
        if getattr(line, name) is not None:
            words = f"Buds are named by bag or cultivar alone: leave {name} out."
            raise _mistake(index, name, words)


def _mistake(index: int, name: str, detail: str) -> Problem:
    mistake = Mistake(kind="not_together", detail=detail, pointer=f"#/lines/{index}/{name}")
    return Problem("validation-error", "Nothing was recorded.", errors=[mistake])


@operation(
    "GET",
    "/v1/sales",
    tag="Sales",
    scope=READ,
    query=SalesQuery,
    answer=Page[view.SaleSummary],
)
async def list_sales(call: Call[SalesQuery]) -> Reply:
    """List sales in the order of the log, voided ones too: they say so."""
    query = call.query
    if query.first and query.last and query.first > query.last:
        raise bad_parameter("last", "It lies before the first day.", "not_together")
    after = after_number(query.cursor)
    names = view.SalesFilter.__struct_fields__
    wanted = view.SalesFilter(**{name: getattr(query, name) for name in names})
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await view.sales(
            connection, call.principal.site_list, wanted, after=after, limit=query.limit + 1
        )
    return page(call, found, lambda one: one.position, position)


async def _found(call: Call[NoQuery]) -> view.Sale:
    wanted = call.uuid()
    found = await _sale(call, wanted)
    if found is None:
        raise not_found(f"The sale {wanted}")
    return found


async def _sale(call: Call[Any], wanted: str) -> view.Sale | None:
    async with call.services.reading() as connection:
        return await view.sale(connection, call.principal.site_list, wanted)


@operation("GET", "/v1/sales/{id:str}", tag="Sales", scope=READ, answer=view.Sale)
async def get_sale(call: Call[NoQuery]) -> Reply:
    """One sale: each line with its provenance for invoice and plant passport, and what to load.

    What nobody told is listed as unknown.
    """
    return Reply(await _found(call))


@operation(
    "GET",
    "/v1/sales/{id:str}/loading-list",
    tag="Sales",
    scope=READ,
    answer=str,
    produces=CSV,
)
async def get_loading_list(call: Call[NoQuery]) -> Reply:
    """What to fetch for a sale, as CSV to print: by structure and place, in order.

    Of a sale that was voided there is nothing to fetch.
    """
    found = await _found(call)
    return _loading_csv(found, f"loading-{found.id}.csv")


def _loading_csv(sale: view.Sale, name: str) -> Reply:
    columns = (
        "structure",
        "place",
        "lot",
        "bag",
        "cultivar",
        "rootstock",
        "size",
        "grade",
        "count",
    )
    rows = [
        {"structure": stop.structure, "place": stop.place, **msgspec.structs.asdict(line)}
        for stop in sale.loading
        for line in stop.lines
        if sale.voided_by is None
    ]
    return csv_file(write_csv(columns, rows), name)


HANDLERS = [make_sale, list_sales, get_sale, get_loading_list]
