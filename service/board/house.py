"""What all pages share: their files, the way in, and where everything is."""

from typing import Any

from litestar.handlers import HTTPRouteHandler

from service.api.operation import NoQuery, Reply
from service.api.problems import not_found
from service.board import ways
from service.board.assets import TYPES, content, mark_of
from service.board.page import page
from service.board.visit import Visit

# The address names the content, so it is never asked for twice (RFC 8246).
_FOREVER = "public, max-age=31536000, immutable"


@page("GET", "/static/{mark:str}/{name:str}", scope=None)
async def get_file(visit: Visit[NoQuery]) -> Reply:
    """A file of the pages. An address of an earlier content is not found: pages name the newest."""
    name = str(visit.request.path_params["name"])
    body = content(name)
    if body is None or visit.request.path_params["mark"] != mark_of(name):
        raise not_found("This file")
    return Reply(body, media_type=TYPES[name.rpartition(".")[2]], cache=_FOREVER)


@page("GET", "/more", scope="")
async def get_more(visit: Visit[Any]) -> Reply:
    """Every page there is, in words."""
    return visit.page("more.html", all=ways.everything(visit.principal, visit.words))


HANDLERS: list[HTTPRouteHandler] = [get_file, get_more]
