"""GET and PUT for every part of the catalogue: eight kinds, one way."""

from typing import Annotated, Any, NamedTuple

import msgspec
from litestar.handlers import HTTPRouteHandler
from msgspec import Meta

from service.api import shapes
from service.api.conditional import etag, expected_position
from service.api.cursors import after_code
from service.api.operation import JSON, Call, NoQuery, Page, Paged, Reply, operation, page
from service.api.problems import Mistake, Problem, mistake_of, not_found
from service.api.recording import now_of, record_one
from service.api.taking_in import unreadable
from service.log import read
from service.log.rights import CATALOGUE, READ
from service.log.stored import CatalogueItem
from service.log.submission import Fault
from service.trade.events.catalogue import (
    CatalogueChanged,
    CatalogueChangedData,
    CheckPlan,
    Cultivar,
    Entry,
    Place,
    Rootstock,
    Rule,
    Site,
    Size,
    SourceTree,
)
from service.trade.words import Code


class Part(NamedTuple):
    """A part of the catalogue: its path, its kind, its struct, and what it is called."""

    path: str
    kind: str
    entry: Any
    one: str
    many: str


PARTS = (
    Part("sites", "site", Site, "site", "sites"),
    Part("places", "place", Place, "place", "places"),
    Part("cultivars", "cultivar", Cultivar, "cultivar", "cultivars"),
    Part("rootstocks", "rootstock", Rootstock, "rootstock", "rootstocks"),
    Part("sizes", "size", Size, "size", "sizes"),
    Part("source-trees", "source_tree", SourceTree, "source tree", "source trees"),
    Part("check-plans", "check_plan", CheckPlan, "check plan", "check plans"),
    Part("rules", "rule", Rule, "rule", "rules"),
)
_fields_of = msgspec.json.Decoder(dict[str, msgspec.Raw]).decode


class ChangeQuery(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who acts."""

    site: (
        Annotated[
            Code,
            Meta(
                description="The site that acts. Left out: the entry's own site, else the first "
                "site that the key sees."
            ),
        ]
        | None
    ) = None


def _operations(part: Part) -> list[HTTPRouteHandler]:
    tag = "Catalogue"
    name = part.kind

    @operation(
        "GET",
        f"/v1/{part.path}",
        tag=tag,
        scope=READ,
        query=Paged,
        answer=Page[CatalogueItem],
        name=f"list_{name}s",
        doc=f"List the {part.many} by code.",
    )
    async def list_entries(call: Call[Paged]) -> Reply:
        after = after_code(call.query.cursor)
        async with call.services.reading() as connection:
            position = await read.head(connection)
            found = await read.catalogue_page(
                connection,
                call.principal.site_list,
                part.kind,
                after=after,
                limit=call.query.limit + 1,
            )
        return page(call, found, lambda item: item.entry.code, position)

    @operation(
        "GET",
        f"/v1/{part.path}/{{code:str}}",
        tag=tag,
        scope=READ,
        answer=CatalogueItem,
        name=f"get_{name}",
        doc=f"One {part.one}. Its ETag is the position of its last change.",
    )
    async def get_entry(call: Call[NoQuery]) -> Reply:
        code = call.code()
        async with call.services.reading() as connection:
            found = await read.catalogue_entry(
                connection, call.principal.site_list, part.kind, code
            )
        if found is None:
            raise not_found(f"The {part.one} {code}")
        return Reply(found, etag=etag(found.position))

    @operation(
        "PUT",
        f"/v1/{part.path}/{{code:str}}",
        tag=tag,
        scope=CATALOGUE,
        query=ChangeQuery,
        accepts=(JSON,),
        body=part.entry,
        answer=CatalogueItem,
        answers=(200, 201),
        problems=(
            "malformed-request",
            "not-found",
            "refused",
            "precondition-failed",
            "precondition-required",
            "content-too-large",
            "busy",
            "outcome-unknown",
        ),
        request_headers=("If-Match", "If-None-Match"),
        name=f"put_{name}",
        doc=f"Make or change a {part.one}, whole.\n\nThe code is the address's. To change an entry "
        "send its ETag in If-Match (428 without, 412 when it was changed meanwhile); "
        "`If-None-Match: *` makes only a new one. It is recorded as catalogue.changed.",
    )
    async def put_entry(call: Call[ChangeQuery]) -> Reply:
        return await _put(call, part)

    return [list_entries, get_entry, put_entry]


async def _put(call: Call[ChangeQuery], part: Part) -> Reply:
    code = call.code()
    entry = _entry_of(await call.body(), part, code)
    sites = call.principal.site_list
    async with call.services.reading() as connection:
        current = await read.catalogue_entry(connection, sites, part.kind, code)
        if current is None and await read.catalogue_has(connection, part.kind, code):
            raise not_found(f"The {part.one} {code}")
        acting = call.query.site or await _own_site(connection, entry, sites)
    if acting is None or not call.principal.sees(acting):
        fault = Fault(
            kind="unknown_code", detail=f"No site {acting or 'at all'} is known.", pointer="#/site"
        )
        raise Problem("refused", "Nothing was changed: see errors.", errors=[mistake_of(fault)])
    expected = expected_position(
        call.header("if-match"),
        call.header("if-none-match"),
        current.position if current else None,
        f"The {part.one} {code}",
    )
    event = CatalogueChanged(
        site=acting, occurred=now_of(call), data=CatalogueChangedData(entry=entry)
    )
    done = await record_one(
        call, event, expected={(part.kind, code): frozenset({expected})}, root="#/data/entry"
    )
    position = done.verdict.position or done.position
    return Reply(
        {"entry": entry, "position": position},
        200 if current else 201,
        etag=etag(position),
        headers={**done.headers, "Location": f"/v1/{part.path}/{code}"},
        cache="no-store",
    )


async def _own_site(connection: Any, entry: Entry, sites: read.Sites) -> str | None:
    if isinstance(entry, Site):
        return entry.code
    if isinstance(entry, Place):
        return entry.site
    return await read.first_site(connection, sites)


def _entry_of(body: bytes, part: Part, code: str) -> Entry:
    """The entry that a body describes; kind and code may be left out but not differ."""
    try:
        fields = _fields_of(body)
        told = {"kind": part.kind, "code": code}
        for name, value in told.items():
            if name in fields and msgspec.json.decode(fields[name]) != value:
                detail = f"The address says {value}."
                mistake = Mistake(kind="other_address", detail=detail, pointer=f"#/{name}")
                # RFC 9110 section 9.3.4: 409 for what is inconsistent with its address.
                raise Problem("refused", "The entry is not this address's.", errors=[mistake])
        whole = msgspec.json.encode({**fields, **told})
        entry: Entry = msgspec.json.decode(whole, type=part.entry)
        return entry
    except msgspec.ValidationError as error:
        mistake = mistake_of(shapes.fault_of(str(error), part.entry, body))
        raise Problem("validation-error", "The entry has a mistake.", errors=[mistake]) from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise unreadable(error, body) from error


HANDLERS = [handler for part in PARTS for handler in _operations(part)]
