"""A program that knows only the host finds the description, the pages and the health."""

import re
from urllib.parse import urlsplit

import httpx
from litestar.datastructures import State

from service.application import http
from service.settings import Settings
from tests.api.conftest import MakeClient, listening


async def test_the_first_address_links_to_all(client_for: MakeClient) -> None:
    client = await client_for(None)
    index = await client.get("/")
    # Relations of RFC 8631 and, for the catalog, of RFC 9727.
    links = dict(re.findall(r'<([^>]+)>; rel="([^"]+)"', index.headers["link"]))
    assert set(links.values()) == {"service-desc", "service-doc", "status", "api-catalog"}
    for address in links:
        assert (await client.get(address)).status_code == 200


async def test_the_catalog_is_a_set_of_links(client_for: MakeClient) -> None:
    client = await client_for(None)
    answer = await client.get("/.well-known/api-catalog")
    assert answer.status_code == 200
    # RFC 9727 section 4.2: the set's kind is said by the parameter `profile`.
    assert answer.headers["content-type"] == (
        'application/linkset+json; profile="https://www.rfc-editor.org/info/rfc9727"'
    )
    # Section 2: asked by HEAD, it links to the catalog.
    head = await client.head("/.well-known/api-catalog")
    assert head.headers["link"] == '</.well-known/api-catalog>; rel="api-catalog"'
    # RFC 9264 section 4.2: one member, an array of contexts; in each an anchor, and by relation
    # arrays of targets, each with its href.
    assert set(answer.json()) == {"linkset"}
    (context,) = answer.json()["linkset"]
    assert context.pop("anchor").endswith("/")
    assert set(context) == {"service-desc", "service-doc", "status"}
    for targets in context.values():
        for target in targets:
            found = await client.get(urlsplit(target["href"]).path)
            assert found.status_code == 200
            assert found.headers["content-type"].startswith(target["type"])


async def test_its_links_are_of_the_address_that_others_reach(settings: Settings) -> None:
    given = {"data_dir": settings.data_dir, "public_url": "https://stock.nursery.example"}
    app = http(Settings(**given))
    app.state.services = State({"settings": Settings(**given)})
    async with listening(app) as url, httpx.AsyncClient(base_url=url) as client:
        (context,) = (await client.get("/.well-known/api-catalog")).json()["linkset"]
    assert context["anchor"] == "https://stock.nursery.example/"
    (described,) = context["service-desc"]
    assert described["href"] == "https://stock.nursery.example/openapi.json"
