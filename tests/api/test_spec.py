"""The public description: valid, committed as it is served, and true of every operation."""

import re
from pathlib import Path
from typing import Any

import httpx
import msgspec
import pytest
from openapi_spec_validator import validate

from service.api import spec
from service.api.routes import HANDLERS
from service.trade.events import EVENT_TYPES, Event
from service.trade.verdicts import ARITHMETIC_AND_CODES, BREAKABLE_RULES

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"


def test_it_is_valid_openapi() -> None:
    validate(spec.build())


def test_the_committed_file_is_what_is_served() -> None:
    assert spec.check(ROOT / spec.COMMITTED), "run `graftlog openapi --write` and commit the file"


def test_drift_is_noticed(tmp_path: Path) -> None:
    path = tmp_path / "openapi.json"
    assert not spec.check(path)
    spec.write(path)
    assert spec.check(path)
    path.write_bytes(path.read_bytes().replace(b'"201"', b'"202"', 1))
    assert not spec.check(path)


def test_every_handler_is_described_with_problem_documents() -> None:
    document = spec.build()
    for handler in HANDLERS:
        declared = handler.opt["operation"]
        path = re.sub(r"\{(\w+):\w+\}", r"{\1}", declared.path)
        described = document["paths"][path][declared.method.lower()]
        for status in (
            "422",
            "500",
            "503",
            *(["401", "403"] if declared.scope is not None else []),
        ):
            response = described["responses"][status]
            if "$ref" in response:
                name = response["$ref"].rpartition("/")[2]
                response = document["components"]["responses"][name]
            assert "application/problem+json" in response["content"], (path, status)


def test_every_event_type_is_told_apart_by_its_type() -> None:
    schemas = spec.build()["components"]["schemas"]
    mapping = schemas["Event"]["discriminator"]["mapping"]
    assert set(mapping) == set(EVENT_TYPES)
    for name, target in mapping.items():
        assert schemas[target.rpartition("/")[2]]["properties"]["type"]["enum"] == [name]


def test_what_the_readme_sends_is_understood() -> None:
    """Each event of its curl lines, with a day and an id for what the shell fills in."""
    text = README.read_text().replace("'$(date -u +%F)'", "2026-03-14")
    text = text.replace("'$ID'", "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77")
    bodies = re.findall(r"/v1/events' -d '([^']*)'", text)
    kinds = []
    for body in bodies:
        read = msgspec.json.decode(body, type=Event | list[Event])
        kinds += [type(one).__name__ for one in (read if isinstance(read, list) else [read])]
    assert {"TreesGrafted", "EventVoided", "TreesSold", "ConsignmentSent"} <= set(kinds)


def test_the_readmes_kinds_of_refusal_are_kinds() -> None:
    table = README.read_text().partition("| kind | what it says")[2].partition("\n\n")[0]
    kinds = re.findall(r"`([a-z_]+)`", "".join(r.split("|")[1] for r in table.splitlines()[2:]))
    assert len(kinds) > 8
    assert set(kinds) <= set(ARITHMETIC_AND_CODES) | set(BREAKABLE_RULES)


def test_components_have_plain_names() -> None:
    # OpenAPI 3.1 allows dots too; generators make poor class names of them.
    names = list(spec.build()["components"]["schemas"])
    assert len(names) > 100
    assert all(re.fullmatch("[A-Za-z]+", name) for name in names)


def test_links_lead_to_operations_by_what_these_need() -> None:
    document = spec.build()
    operations = {
        one["operationId"]: {(p["in"], p["name"]) for p in one.get("parameters", [])}
        for methods in document["paths"].values()
        for one in methods.values()
    }
    links = [
        link
        for methods in document["paths"].values()
        for one in methods.values()
        for response in one["responses"].values()
        for link in response.get("links", {}).values()
    ]
    assert len(links) > 20
    for link in links:
        # `header.If-Match` is a header; a name alone is of the path.
        named = [name.rpartition(".") for name in link["parameters"]]
        given = {(where or "path", name) for where, _, name in named}
        taken = operations[link["operationId"]]
        assert given <= taken
        assert {one for one in taken if one[0] == "path"} <= given


# RFC 3339 sections 5.7 and 5.8: what days and times are, and what are none.
@pytest.mark.parametrize(
    ("text", "allowed"),
    [
        ("2026-03-14", True),
        ("2026-03-14T09:30:00+11:00", True),
        ("1985-04-12T23:20:50.52Z", True),
        ("1937-01-01T12:00:27.87+00:20", True),
        ("2200-12-31t00:00:00z", True),
        ("2026-13-01", False),
        ("2026-00-10", False),
        ("2026-01-32", False),
        ("2026-01-01T24:00:00Z", False),
        ("1990-12-31T23:59:60Z", False),
        ("2026-01-01T00:00:00+24:00", False),
        ("0001-01-01", False),
        ("2026-03-14\n", False),
    ],
)
def test_days_and_times_are_described_as_narrowly_as_a_pattern_can(
    text: str, allowed: bool
) -> None:
    occurred = spec.build()["components"]["schemas"]["TreesLost"]["properties"]["occurred"]
    assert (re.search(occurred["pattern"], text) is not None) == allowed


async def test_the_description_is_sent_once_to_those_who_keep_it(base_url: str) -> None:
    async with httpx.AsyncClient(base_url=base_url) as client:
        first = await client.get("/openapi.json")
        tag = {"If-None-Match": first.headers["etag"]}
        again = await client.get("/openapi.json", headers=tag)
        other = await client.get("/openapi.json", headers={"If-None-Match": '"older"'})
    assert (first.status_code, again.status_code, other.status_code) == (200, 304, 200)
    assert again.content == b""
    assert first.content == other.content == spec.text()


def test_shapes_are_closed_and_whole_numbers_whole() -> None:
    schemas = spec.build()["components"]["schemas"]
    assert schemas["TreesGrafted"]["additionalProperties"] is False

    def walk(part: Any) -> None:
        if isinstance(part, dict):
            if part.get("type") == "integer":
                for bound in ("minimum", "maximum"):
                    assert isinstance(part.get(bound, 0), int), part
            for value in part.values():
                walk(value)
        elif isinstance(part, list):
            for value in part:
                walk(value)

    walk(schemas)
