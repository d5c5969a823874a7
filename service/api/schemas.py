"""GET /v1/schemas/{schema}: what a stored event of a type looks like, where CloudEvents point."""

from functools import cache
from typing import Any

import msgspec

from service.api.conditional import content_tag
from service.api.operation import Call, NoQuery, Reply, operation
from service.api.problems import not_found
from service.log.stored import StoredEvent
from service.log.upcasting import newest_version
from service.trade.events import EVENT_TYPES

SCHEMA_TYPE = "application/schema+json"
_CACHE = "public, max-age=300"
_DEFINED = "#/$defs/{name}"


def names() -> list[str]:
    """Every schema that is served, such as trees.grafted.v1: of each type the newest shape."""
    return [f"{kind}.v{newest_version(kind)}" for kind in EVENT_TYPES]


@cache
def schema_of(kind: str) -> dict[str, Any]:
    """The JSON Schema (2020-12) of a stored event of a type."""
    both, defined = msgspec.json.schema_components(
        [StoredEvent, EVENT_TYPES[kind]], ref_template=_DEFINED
    )
    stored, sent = (defined.pop(one["$ref"].rpartition("/")[2]) for one in both)
    fields = stored["properties"]
    fields["type"] = {"const": kind}
    fields["version"] = {"const": newest_version(kind)}
    fields["data"] = sent["properties"]["data"]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **stored, "$defs": defined}


@operation(
    "GET",
    "/v1/schemas/{schema:str}",
    tag="Events",
    scope=None,
    answer=dict[str, Any],
    produces=SCHEMA_TYPE,
    problems=("not-found",),
    request_headers=("If-None-Match",),
)
async def get_schema(call: Call[NoQuery]) -> Reply:
    """The JSON Schema of a stored event of a type, as `dataschema` of its CloudEvents names it."""
    name = str(call.request.scope["path_params"]["schema"])
    if name not in names():
        raise not_found(f"The schema {name}")
    schema = schema_of(name.rpartition(".")[0])
    base = call.services.settings.base
    told = {"$id": f"{base}/v1/schemas/{name}", **schema}
    body = msgspec.json.encode(told)
    return Reply(body, etag=content_tag(body), media_type=SCHEMA_TYPE, cache=_CACHE)
