"""The page about the interface: all of it, and nothing from any other host."""

import re
from html.parser import HTMLParser

import httpx

from service.api import spec
from service.api.pages.reference import reference
from service.api.pages.shapes import bounds, example, inline, kind
from service.trade.events import EVENT_TYPES


class Page(HTMLParser):
    """The ids of a page, where it links to, what it loads, and whether its elements are closed."""

    void = frozenset({"meta", "link", "input", "wbr", "br"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loads: list[str] = []
        self.inline: list[str] = []
        self.open: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = {name: value or "" for name, value in attrs}
        if tag not in self.void:
            self.open.append(tag)
        if "id" in held:
            self.ids.append(held["id"])
        if tag == "a":
            self.links.append(held["href"])
        elif "href" in held or "src" in held:
            self.loads.append(held.get("href") or held["src"])
        self.inline += [name for name in held if name == "style" or name.startswith("on")]
        if tag == "style" or (tag == "script" and "src" not in held):
            self.inline.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_every_operation_and_shape_is_on_it_and_every_link_leads_somewhere() -> None:
    document = spec.build()
    text = reference(document).decode()
    page = Page(text)
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    names = {one["operationId"] for path in document["paths"].values() for one in path.values()}
    shapes = {f"shape-{name}" for name in document["components"]["schemas"]}
    assert {*names, *shapes, "messages"} <= set(page.ids)
    assert all(f"<li><code>{name}</code>:" in text for name in document["webhooks"])
    inside = {link[1:] for link in page.links if link.startswith("#")}
    assert len(inside) > len(EVENT_TYPES)
    assert inside <= set(page.ids)
    assert {link for link in page.links if link[0] != "#"} == {"/openapi.json", "/problems"}


async def test_it_needs_no_key_and_no_other_host(base_url: str) -> None:
    async with httpx.AsyncClient(base_url=base_url) as client:
        response = await client.get("/docs")
        assert response.status_code == 200
        assert response.headers["content-type"] == "text/html; charset=utf-8"
        policy = response.headers.get_list("content-security-policy")
        assert len(policy) == 1
        assert "script-src 'self'" in policy[0]
        assert "unsafe" not in policy[0]
        page = Page(response.text)
        assert page.inline == []
        assert page.loads == ["/docs/docs.css", "/docs/docs.js", "data:,"]
        for address, kind_of in (("/docs/docs.css", "text/css"), ("/docs/docs.js", "javascript")):
            part = await client.get(address)
            assert (part.status_code, kind_of in part.headers["content-type"]) == (200, True)
            assert not re.search(r"https?://|@import|url\(|eval|innerHTML", part.text)
            again = {"If-None-Match": part.headers["etag"]}
            assert (await client.get(address, headers=again)).status_code == 304
        for name in ("__init__.py", "..%2Fspec.py", "shapes.py", "%00"):
            assert (await client.get(f"/docs/{name}")).status_code == 404, name
        index = await client.get("/")
        assert '</docs>; rel="service-doc"' in index.headers["link"]
        assert index.json()["docs"] == "/docs"


def test_what_is_described_is_text_not_markup() -> None:
    assert inline("a < b & `<script>`") == "a &lt; b &amp; <code>&lt;script&gt;</code>"
    document = spec.build()
    document["info"]["summary"] = "<script>alert(1)</script>"
    document["paths"]["/v1/stock"]["get"]["summary"] = '"><img src=x>'
    page = reference(document).decode()
    assert "<script>alert" not in page
    assert "<img" not in page


def test_shapes_in_words() -> None:
    whole = {"type": "integer", "minimum": 1, "maximum": 1_000_000}
    assert kind({"anyOf": [whole, {"type": "null"}]}) == "whole number or null"
    assert bounds({"anyOf": [whole, {"type": "null"}], "default": None}) == ["1 to 1,000,000"]
    assert bounds({"type": "integer", "default": 1}) == ["default <code>1</code>"]
    assert bounds({"type": "boolean", "default": False}) == ["default <code>false</code>"]
    assert kind({"type": "array", "items": {"type": "string", "format": "date"}}) == "list of day"
    assert kind({"enum": ["a", "b"]}) == "<code>a</code> · <code>b</code>"
    assert example({"type": "array", "examples": [["ES", "US-CA"]]}) == (
        "such as <code>ES,US-CA</code>"
    )
    leg = {"$ref": "#/components/schemas/Leg"}
    assert kind({"type": "object", "additionalProperties": leg}).startswith("object of <a ")


def test_every_group_of_operations_says_what_it_is_about() -> None:
    for tag in spec.build()["tags"]:
        assert tag["description"], f"{tag['name']} is missing in service/api/tags.py"
