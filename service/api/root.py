"""The service's own addresses: what it is, whether it is well, its description, its problems."""

import asyncio
from html import escape

import msgspec

from service import __version__ as VERSION  # noqa: N812
from service.api import spec
from service.api.conditional import etag
from service.api.headers import names_type
from service.api.operation import JSON, Call, NoQuery, Reply, operation
from service.api.problems import KINDS, not_found

PUBLIC = "public, max-age=300"
HEALTH = "application/health+json"
LINKSET = "application/linkset+json"
# Of RFC 9727 section 4.2: what kind of a set of links this is.
PROFILE = "https://www.rfc-editor.org/info/rfc9727"
CATALOG = "/.well-known/api-catalog"
# Where things are, by the relations of RFC 8631: relation, address, media type.
LINKS = (
    ("service-desc", "/openapi.json", JSON),
    ("service-doc", "/docs", "text/html"),
    ("status", "/readyz", HEALTH),
)


class Index(msgspec.Struct, frozen=True, kw_only=True):
    """Where to go from here."""

    service: str
    version: str
    description: str
    docs: str
    events: str


class Target(msgspec.Struct, frozen=True, kw_only=True):
    """Where a link goes, and what is there."""

    href: str
    type: str


class Api(msgspec.Struct, frozen=True, kw_only=True, rename="kebab"):
    """An interface (`anchor`) and where its description, its pages and its health are."""

    anchor: str
    service_desc: list[Target]
    service_doc: list[Target]
    status: list[Target]


class Linkset(msgspec.Struct, frozen=True, kw_only=True):
    """A set of links (RFC 9264 section 4.2)."""

    linkset: list[Api]


class Health(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Whether the service can answer: `pass`, or `fail` with what is amiss."""

    status: str
    checks: dict[str, str] = {}


class ProblemKind(msgspec.Struct, frozen=True, kw_only=True):
    """A kind of problem and what to do about it."""

    type: str
    title: str
    status: int
    advice: str


@operation("GET", "/", tag="Service", scope=None, answer=Index)
async def get_index(call: Call[NoQuery]) -> Reply:
    """Where the description of the interface and the health of the service are.

    A browser, which asks for text/html, is sent to the pages for people.
    """
    if names_type(call.header("accept"), "text/html"):
        return Reply(b"", 303, headers={"Location": "/round"}, media_type="text/html")
    links = ", ".join(f'<{address}>; rel="{relation}"' for relation, address, _ in LINKS)
    index = Index(
        service="graftlog",
        version=VERSION,
        description="/openapi.json",
        docs="/docs",
        events="/v1/events",
    )
    headers = {"Link": f'{links}, <{CATALOG}>; rel="api-catalog"'}
    return Reply(index, headers=headers, cache=PUBLIC)


@operation("GET", CATALOG, tag="Service", scope=None, answer=Linkset, produces=LINKSET)
async def get_api_catalog(call: Call[NoQuery]) -> Reply:
    """The interfaces at this address, for programs that look for some (RFC 9727): this one."""
    base = call.services.settings.base
    links = {
        relation.replace("-", "_"): [Target(href=f"{base}{address}", type=kind)]
        for relation, address, kind in LINKS
    }
    body = msgspec.json.encode(Linkset(linkset=[Api(anchor=f"{base}/", **links)]))
    headers = {"Link": f'<{CATALOG}>; rel="api-catalog"'}
    media_type = f'{LINKSET}; profile="{PROFILE}"'
    return Reply(body, headers=headers, media_type=media_type, cache=PUBLIC)


@operation("GET", "/livez", tag="Service", scope=None, answer=Health, produces=HEALTH)
async def get_livez(call: Call[NoQuery]) -> Reply:
    """Whether the process answers at all; asks nothing of the database."""
    return Reply(Health(status="pass"), media_type=HEALTH, cache="no-store")


@operation(
    "GET", "/readyz", tag="Service", scope=None, answer=Health, answers=(200, 503), produces=HEALTH
)
async def get_readyz(call: Call[NoQuery]) -> Reply:
    """Whether requests can be answered now: the database within a second, and not stopping."""
    checks = dict(call.services.ready_checks)

    async def run(name: str) -> tuple[str, str | None]:
        try:
            return name, await asyncio.wait_for(checks[name](), 1.0)
        except Exception as error:
            # Any way of failing means the same here: it can't be relied on now.
            return name, type(error).__name__

    found = dict(await asyncio.gather(*(run(name) for name in checks)))
    if call.services.stopping:
        found["process"] = "stopping"
    amiss = {name: what for name, what in found.items() if what is not None}
    health = Health(
        status="fail" if amiss else "pass",
        checks={name: what or "pass" for name, what in found.items()},
    )
    headers = {"Retry-After": "2"} if amiss else {}
    return Reply(
        health, 503 if amiss else 200, headers=headers, media_type=HEALTH, cache="no-store"
    )


@operation(
    "GET",
    "/openapi.json",
    tag="Service",
    scope=None,
    answer=dict,
    request_headers=("If-None-Match",),
)
async def get_openapi(call: Call[NoQuery]) -> Reply:
    """This description of the interface (OpenAPI 3.1)."""
    return Reply(spec.text(), cache=PUBLIC, etag=etag(spec.mark()))


@operation("GET", "/problems", tag="Service", scope=None, answer=list[ProblemKind])
async def list_problems(call: Call[NoQuery]) -> Reply:
    """All kinds of problem documents."""
    return Reply([_kind(slug) for slug in KINDS], cache=PUBLIC)


@operation(
    "GET",
    "/problems/{slug:str}",
    tag="Service",
    scope=None,
    answer=ProblemKind,
    problems=("not-found",),
)
async def get_problem(call: Call[NoQuery]) -> Reply:
    """What a kind of problem means and what to do about it, as JSON or as a page."""
    slug = str(call.request.scope["path_params"]["slug"])
    if slug not in KINDS:
        raise not_found("A problem of that name")
    kind = KINDS[slug]
    accept = call.header("accept") or ""
    if "text/html" in accept and JSON not in accept:
        page = (
            f"<!doctype html><html lang=en><meta charset=utf-8><title>{escape(kind.title)}</title>"
            f"<h1>{escape(kind.title)}</h1><p>{escape(kind.advice)}</p>"
            f"<p>Status {kind.status}, type <code>/problems/{slug}</code></p></html>"
        )
        return Reply(page.encode(), media_type="text/html; charset=utf-8", cache=PUBLIC)
    return Reply(_kind(slug), cache=PUBLIC)


def _kind(slug: str) -> ProblemKind:
    kind = KINDS[slug]
    return ProblemKind(
        type=f"/problems/{slug}", title=kind.title, status=kind.status, advice=kind.advice
    )


HANDLERS = [
    get_index,
    get_api_catalog,
    get_livez,
    get_readyz,
    get_openapi,
    list_problems,
    get_problem,
]
