"""Requests made from the service's own description (OpenAPI), so that new operations are tested."""

import re
from typing import Any, NamedTuple

JSON = "application/json"
# What a schema's pattern allows is not worked out: these fit the patterns of this service.
_FORMATS = {
    "date": "2026-03-14",
    "date-time": "2026-03-14T09:00:00Z",
    "uuid": "00000000-0000-7000-8000-000000000000",
}


class Described(NamedTuple):
    """An operation: `scopes` None needs no key, empty: any key, by what is sent."""

    method: str
    path: str
    scopes: list[str] | None
    parameters: dict[str, dict[str, Any]]
    needed: list[str]
    body: dict[str, Any] | None

    def __str__(self) -> str:
        return f"{self.method} {self.path}"

    def address(self, **values: str) -> str:
        """The path with `values` in it; what is not given names nothing."""
        return re.sub(
            r"\{(\w+)\}",
            lambda found: values.get(found[1], NOTHING.get(found[1], "QQ-NONE")),
            self.path,
        )


# What no thing is called, by the name of the path's parameter.
NOTHING = {"id": "00000000-0000-7000-8000-00000000dead", "number": "987654321"}


def described(document: dict[str, Any]) -> list[Described]:
    """Every operation of a description."""
    found = []
    for path, methods in document["paths"].items():
        for method, one in methods.items():
            query = [p for p in one.get("parameters", []) if p["in"] == "query"]
            content = one.get("requestBody", {}).get("content", {})
            found.append(
                Described(
                    method=method.upper(),
                    path=path,
                    scopes=one["security"][0]["key"] if one["security"] else None,
                    parameters={p["name"]: p["schema"] for p in query},
                    needed=[p["name"] for p in query if p["required"]],
                    body=content.get(JSON, {}).get("schema"),
                )
            )
    return found


def example(schema: dict[str, Any], components: dict[str, Any]) -> Any:
    """The smallest thing that fits a schema: an example where there is one."""
    if "$ref" in schema:
        return example(components[schema["$ref"].rpartition("/")[2]], components)
    for word in ("const", "default"):
        if schema.get(word) is not None:
            return schema[word]
    for word in ("examples", "enum"):
        if schema.get(word):
            return schema[word][0]
    options = schema.get("anyOf") or schema.get("oneOf")
    if options:
        return example(next(o for o in options if o.get("type") != "null"), components)
    kind = schema.get("type")
    if kind == "object":
        fields = schema.get("properties", {})
        return {name: example(fields[name], components) for name in schema.get("required", [])}
    if kind == "array":
        return [example(schema["items"], components)] * schema.get("minItems", 0)
    if kind in ("integer", "number"):
        return schema.get("minimum", 1)
    if kind == "boolean":
        return False
    return _FORMATS.get(schema.get("format", ""), "x" * schema.get("minLength", 1))


def example_event(kind: str, document: dict[str, Any], site: str) -> dict[str, Any]:
    """The smallest event of a type."""
    components = document["components"]["schemas"]
    name = components["Event"]["discriminator"]["mapping"][kind]
    event: dict[str, Any] = example({"$ref": name}, components)
    return event | {"type": kind, "site": site}
