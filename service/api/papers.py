"""Papers for what is sold: sale tags, plant passports, tags of certified stock; all recorded."""

from dataclasses import replace
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from service.api.cursors import after_number
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import Mistake, Problem, not_found
from service.api.recording import Fact, now_of, record_one
from service.api.tag_sheets import MOST_TAGS, PDF, File, OnSheet, printed
from service.api.taking_in import PROBLEMS, decoded
from service.log import read
from service.log.rights import READ, SALES
from service.tags import saying
from service.trade.events.papers import Paper, PapersPrinted, PapersPrintedData
from service.trade.words import Code, Country, Ref, Text
from service.views import papers as view
from service.views.papers import Printing
from service.wording.shown import shown_to


class PapersToPrint(Fact, frozen=True, kw_only=True):
    """So many papers of one kind for one lot. `happened` changes nothing: a paper can wait."""

    paper: Paper
    lot: Code
    place: Annotated[Code, Meta(description="Left out: wherever it stands.")] | None = None
    size: Code | None = None
    count: Annotated[int, Meta(ge=1, le=MOST_TAGS, description="How many papers.")]
    origin: (
        Annotated[Country, Meta(description="Left out: the country of the site that made the lot.")]
        | None
    ) = None
    customer: Ref | None = None
    order: Ref | None = None
    document: Annotated[Ref, Meta(description="Number of the papers, if they have one.")] | None = (
        None
    )
    note: Text | None = None


class PrintQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Whether it is only to be judged."""

    check: Annotated[
        bool, Meta(description="true: what the papers would say; nothing is recorded.")
    ] = False


class PapersQuery(Paged, frozen=True, kw_only=True):
    """Which printings are wanted."""

    site: Code | None = None
    lot: Code | None = None
    paper: Paper | None = None


class PaperSheetQuery(OnSheet, frozen=True, kw_only=True):
    """How the papers lie on the sheet."""


@operation(
    "POST",
    "/v1/papers",
    tag="Tags and papers",
    scope=SALES,
    query=PrintQuery,
    accepts=(JSON,),
    body=PapersToPrint,
    answer=Printing,
    answers=(200, 201),
    problems=PROBLEMS,
    request_headers=("Idempotency-Key",),
)
async def print_papers(call: Call[PrintQuery]) -> Reply:
    """Record a printing of papers for a lot of trees or budwood; then get them as PDF.

    An intention: refused while a hold stops the lot from being sold (`held`), for more than stand
    there or were sold (`counts_disagree`), and, of passports and certified tags, unless the site's
    entry has the registration (`not_registered`) and an inspection that is current
    (`inspection_not_current`). What the papers say is filled in from the records. Local rules and
    the authority decide which paper goes with which plants; the nursery answers for it.
    """
    body = await call.body()
    asked: PapersToPrint = decoded(body, PapersToPrint)
    event = event_of(asked, asked.occurred or now_of(call))
    done = await record_one(call, event, body, check=call.query.check)
    if call.query.check and isinstance(done.event, PapersPrinted):
        return Reply(view.judged(done.event), headers=done.headers, cache="no-store")
    found = await printing_of(call, done.verdict.id or "")
    return Reply(
        found,
        200 if done.verdict.verdict == "known" else 201,
        headers=done.headers | {"Location": f"/v1/papers/{found.id}"},
        cache="no-store",
    )


def event_of(asked: PapersToPrint, occurred: str) -> PapersPrinted:
    """The event that a body stands for."""
    envelope = {name: getattr(asked, name) for name in ("id", "site", "actor", "happened")}
    names = [name for name in PapersPrintedData.__struct_fields__ if name != "printed"]
    said = {name: getattr(asked, name) for name in names}
    return PapersPrinted(**envelope, occurred=occurred, data=PapersPrintedData(**said))


async def printing_of(call: Any, wanted: str) -> Printing:
    """One printing that the asker sees. Raises 404."""
    async with call.services.reading() as connection:
        found = await view.printing(connection, call.principal.site_list, wanted)
    if found is None:
        raise not_found(f"The printing {wanted}")
    return found


@operation(
    "GET",
    "/v1/papers",
    tag="Tags and papers",
    scope=READ,
    query=PapersQuery,
    answer=Page[Printing],
)
async def list_papers(call: Call[PapersQuery]) -> Reply:
    """List what was printed, the newest first, voided printings too: they say so."""
    query = call.query
    wanted = view.PrintingsFilter(site=query.site, lot=query.lot, paper=query.paper)
    async with call.services.reading() as connection:
        position = await read.head(connection)
        found = await view.printings(
            connection,
            call.principal.site_list,
            wanted,
            before=after_number(query.cursor) or view.LAST,
            limit=query.limit + 1,
        )
    return page(call, found, lambda one: one.position or 0, position)


@operation("GET", "/v1/papers/{id:str}", tag="Tags and papers", scope=READ, answer=Printing)
async def get_papers(call: Call[NoQuery]) -> Reply:
    """One printing: which papers for what, how many, by whom, and what they say."""
    return Reply(await printing_of(call, call.uuid()))


@operation(
    "GET",
    "/v1/papers/{id:str}/tags.pdf",
    tag="Tags and papers",
    scope=SALES,
    query=PaperSheetQuery,
    answer=File,
    problems=("refused", "busy"),
    produces=PDF,
)
async def get_paper_tags(call: Call[PaperSheetQuery]) -> Reply:
    """The papers of a printing as PDF, each with its running number.

    They are the same however often they are fetched, as after a jam; what would be refused if it
    were printed now (a hold was placed since, the inspection has run out) is refused here too.
    """
    found = await printing_of(call, call.uuid())
    return await papers_pdf(call, found, call.query)


async def papers_pdf(call: Any, found: Printing, query: OnSheet) -> Reply:
    """The PDF of a printing. Raises 409 where it was voided or would not be allowed now."""
    if found.voided_by is not None:
        detail = f"The printing was voided by the event at position {found.voided_by}."
        mistake = Mistake(kind="voided_already", detail=detail)
        raise Problem("refused", "Nothing is printed: see errors.", errors=[mistake])
    again = {name: getattr(found, name) for name in _AGAIN} | {"origin": found.printed.origin}
    await record_one(
        call,
        PapersPrinted(site=found.site, occurred=now_of(call), data=PapersPrintedData(**again)),
        check=True,
    )
    tags = saying.papers_of(
        found.paper,
        found.printed,
        count=found.count,
        number=found.number or "",
        base=call.services.settings.base,
        shown=shown_to(query.language),
    )
    reply = await printed(tags, query, f"papers-{found.number}.pdf")
    return replace(reply, cache="no-store")


_AGAIN = ("paper", "lot", "place", "size", "count")
HANDLERS = [print_papers, list_papers, get_papers, get_paper_tags]
