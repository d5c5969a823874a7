"""What a device asks for itself: who is signed in, the service worker, the manifest, what waits."""

import msgspec
from litestar.handlers import HTTPRouteHandler

from service.api.operation import JSON, NoQuery, Reply
from service.board.assets import TYPES, asset, content, names
from service.board.page import page
from service.board.visit import Visit

_encode = msgspec.json.encode
PAPER = "#ffffff"


class Who(msgspec.Struct, frozen=True, kw_only=True):
    """Who is signed in on the device that asks, and the token of their forms."""

    person: str
    csrf: str


@page("GET", "/device/who", scope="")
async def get_who(visit: Visit[NoQuery]) -> Reply:
    """Under whose name an entry would be recorded now. A device asks before it sends what waits."""
    assert visit.signed is not None, "scope says so"
    who = Who(person=visit.person.reference, csrf=visit.signed.csrf)
    return Reply(who, media_type=JSON, cache="no-store")


def worker() -> str:
    """The service worker with the files that pages need."""
    body = content("sw.js")
    assert body is not None, "it is in static/"
    needed = [asset(name) for name in names() if name.endswith((".css", ".js")) and name != "sw.js"]
    said = f"const FILES = {_encode(needed).decode()};\nconst QUEUE = {_quoted('queue.js')};\n"
    return said + body.decode()


def _quoted(name: str) -> str:
    return _encode(asset(name)).decode()


@page("GET", "/sw.js", scope=None)
async def get_worker(visit: Visit[NoQuery]) -> Reply:
    """The service worker: at the root, so that it may serve every page."""
    return Reply(worker().encode(), media_type=TYPES["js"], cache="no-cache")


@page("GET", "/manifest.webmanifest", scope=None)
async def get_manifest(visit: Visit[NoQuery]) -> Reply:
    """What makes the pages an application of the home screen."""
    words = visit.words
    told = {
        "name": "graftlog",
        "short_name": "graftlog",
        "description": words.gettext("What was grafted, what stands where, what is due"),
        "lang": visit.language,
        "id": "/",
        "scope": "/",
        "start_url": "/round",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": [
            {"src": asset("icon.svg"), "sizes": "any", "type": "image/svg+xml"},
            {"src": asset("icon-192.png"), "sizes": "192x192", "type": "image/png"},
            {"src": asset("icon-512.png"), "sizes": "512x512", "type": "image/png"},
            {
                "src": asset("icon-512.png"),
                "sizes": "512x512",
                "type": "image/png",
                "purpose": "maskable",
            },
        ],
        "shortcuts": [{"name": words.gettext("Find"), "url": "/find"}],
    }
    headers = {"Vary": "Cookie, Accept-Language"}
    body = _encode(told)
    return Reply(body, headers=headers, media_type=TYPES["webmanifest"], cache="private, no-cache")


@page("GET", "/offline", scope=None)
async def get_offline(visit: Visit[NoQuery]) -> Reply:
    """What is shown in place of a page that is not on the device: those that are."""
    return visit.page("offline.html")


@page("GET", "/waiting", scope="")
async def get_waiting(visit: Visit[NoQuery]) -> Reply:
    """What this device keeps: entries that wait, were refused, put aside or recorded."""
    return visit.page("waiting.html")


HANDLERS: list[HTTPRouteHandler] = [get_who, get_worker, get_manifest, get_offline, get_waiting]
