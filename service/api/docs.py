"""GET /docs: the interface to read, as a page that asks nothing of any other host."""

import hashlib
from functools import cache
from importlib.resources import files

from service.api import spec
from service.api.conditional import etag
from service.api.operation import Call, NoQuery, Reply, operation
from service.api.pages.reference import reference
from service.api.problems import not_found

_CACHE = "public, max-age=300"
_HTML = "text/html; charset=utf-8"
_TYPES = {"docs.css": "text/css; charset=utf-8", "docs.js": "text/javascript; charset=utf-8"}
# Its own style and script, nothing inline, nothing from elsewhere, in nobody's frame.
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src data:; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)


@cache
def _page() -> bytes:
    return reference(spec.build())


@cache
def _file(name: str) -> bytes:
    return files("service.api.pages").joinpath(name).read_bytes()


def _mark(body: bytes) -> str:
    return etag(hashlib.sha256(body).hexdigest()[:24])


@operation(
    "GET",
    "/docs",
    tag="Service",
    scope=None,
    answer=str,
    produces="text/html",
    request_headers=("If-None-Match",),
)
async def get_docs(call: Call[NoQuery]) -> Reply:
    """This description as a page to read, with every operation and every shape."""
    page = _page()
    policy = {"Content-Security-Policy": POLICY}
    return Reply(page, etag=_mark(page), headers=policy, media_type=_HTML, cache=_CACHE)


@operation(
    "GET",
    "/docs/{file:str}",
    tag="Service",
    scope=None,
    answer=str,
    produces="text/css, text/javascript",
    problems=("not-found",),
    request_headers=("If-None-Match",),
)
async def get_docs_file(call: Call[NoQuery]) -> Reply:
    """The page's style (`docs.css`) and script (`docs.js`)."""
    name = str(call.request.scope["path_params"]["file"])
    if name not in _TYPES:
        raise not_found("A file of that name")
    body = _file(name)
    return Reply(body, etag=_mark(body), media_type=_TYPES[name], cache=_CACHE)


HANDLERS = [get_docs, get_docs_file]
