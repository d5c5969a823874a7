"""The page that shows the whole description of the interface, made from the description itself."""

from collections.abc import Iterator
from html import escape
from typing import Any

import msgspec

from service.api.pages.shapes import code, fields, inline, kind, prose, row, table

_METHODS = ("get", "post", "put", "patch", "delete")
_SHAPE_OF_REFERENCE = "#/components/responses/"


def reference(document: dict[str, Any]) -> bytes:
    """The page as HTML: every operation, every shape. It asks for /docs/docs.css and docs.js."""
    info = document["info"]
    operations = list(_operations(document))
    schemas = document["components"]["schemas"]
    parts = [
        "<!doctype html><html lang=en><head><meta charset=utf-8>",
        '<meta name=viewport content="width=device-width, initial-scale=1">',
        f"<title>{escape(info['title'])}: the interface</title>",
        '<link rel=stylesheet href="/docs/docs.css"><script src="/docs/docs.js" defer></script>',
        '<link rel=icon href="data:,"></head><body>',
        '<a class="skip" href="#main">To the text</a>',
        f"<header><p class=name>{escape(info['title'])}</p><p>{escape(info['summary'])}</p>",
        f"<p class=small>Version {escape(info['version'])} · "
        '<a href="/openapi.json">openapi.json</a> · <a href="/problems">problems</a></p></header>',
        _contents(document, operations, schemas),
        f"<main id=main><section><h1>The interface</h1>{prose(info['description'])}",
        "<h2 id=keys>Keys</h2>",
        prose(
            "Each request carries a key: `Authorization: Bearer KEY`. A key is made by "
            "`graftlog keys create`; what it may do is its scopes, and where is its sites. In the "
            "examples `$KEY` is the key and `$URL` is where the service is, such as this page's "
            "own address without its path."
        ),
        "</section>",
    ]
    for tag in document["tags"]:
        words = prose(tag.get("description", ""))
        parts.append(f"<section id={_tag_id(tag['name'])}><h2>{escape(tag['name'])}</h2>{words}")
        parts += [_operation(document, *one) for one in operations if tag["name"] in one[2]["tags"]]
        parts += [_messages(document, tag["name"]), "</section>"]
    parts.append("<section id=shapes><h2>Shapes</h2><p>What is sent and answered, by name.</p>")
    parts += [_shape(name, schema) for name, schema in schemas.items()]
    parts.append("</section></main></body></html>")
    return "\n".join(parts).encode()


def _operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, methods in document["paths"].items():
        for method in _METHODS:
            if method in methods:
                yield method, path, methods[method]


def _tag_id(tag: str) -> str:
    return "tag-" + escape(tag.lower().replace(" ", "-"))


def _contents(
    document: dict[str, Any],
    operations: list[tuple[str, str, dict[str, Any]]],
    schemas: dict[str, Any],
) -> str:
    parts = [
        '<nav aria-label="Contents"><label id=find hidden>Find '
        '<input type=search placeholder="lots, take, count …"></label>'
    ]
    for tag in document["tags"]:
        parts.append(f"<h2><a href=#{_tag_id(tag['name'])}>{escape(tag['name'])}</a></h2><ul>")
        for method, path, one in operations:
            if tag["name"] in one["tags"]:
                parts.append(
                    f'<li><a href="#{escape(one["operationId"])}"><b class={method}>'
                    f"{method.upper()}</b> <span>{_path(path)}</span></a></li>"
                )
        parts.append("</ul>")
    events = schemas["Event"]["discriminator"]["mapping"]
    parts.append("<h2><a href=#shape-Event>Events by type</a></h2><ul>")
    parts += [
        f'<li><a href="#shape-{escape(target.rpartition("/")[2])}">{_path(name)}</a></li>'
        for name, target in events.items()
    ]
    parts.append("</ul><h2><a href=#shapes>Shapes</a></h2></nav>")
    return "".join(parts)


def _path(path: str) -> str:
    """A path that may be broken behind its slashes and dots."""
    return escape(path).replace("/", "/<wbr>").replace(".", ".<wbr>")


def _operation(document: dict[str, Any], method: str, path: str, one: dict[str, Any]) -> str:
    scopes = [scope for needed in one["security"] for scope in needed["key"]]
    if scopes:
        rights = f"Needs the scope {', '.join(code(scope) for scope in scopes)}."
    elif one["security"]:
        rights = "Needs a key; which scope depends on what is sent."
    else:
        rights = "Needs no key."
    parts = [
        f'<article id="{escape(one["operationId"])}"><h3>{escape(one["summary"])}</h3>',
        f"<p class=address><b class={method}>{method.upper()}</b> <code>{_path(path)}</code></p>",
        prose(one["description"].removeprefix(one["summary"]).removeprefix(".")),
        f"<p class=small>{rights}</p>",
    ]
    if parameters := one.get("parameters"):
        rows = [
            row(p["name"], _shown(p), p["required"], _where(p["in"]) + p.get("description", ""))
            for p in parameters
        ]
        parts.append(f"<h4>Asked with</h4>{table(rows)}")
    if body := one.get("requestBody"):
        listed = (
            f"<li>{code(media)}: {kind(content['schema'])}</li>"
            for media, content in body["content"].items()
        )
        parts.append(f"<h4>Sent</h4><ul>{''.join(listed)}</ul>")
    parts.append(_answers(document, one["responses"]))
    parts.append(f"<pre><code>{escape(_curl(method, path, one), quote=False)}</code></pre>")
    return "".join([*parts, "</article>"])


def _messages(document: dict[str, Any], tag: str) -> str:
    """What is sent to those who asked to be told, type by type."""
    told = {
        name: one["post"]
        for name, one in document.get("webhooks", {}).items()
        if tag in one["post"]["tags"]
    }
    if not told:
        return ""
    rows = [
        f"<li>{code(name)}: {inline(one['description'])} "
        + ", ".join(kind(part) for part in _body(one)["allOf"] if "$ref" in part)
        + "</li>"
        for name, one in told.items()
    ]
    return f"<article id=messages><h3>Messages</h3><ul>{''.join(rows)}</ul></article>"


def _body(one: dict[str, Any]) -> dict[str, Any]:
    (content,) = one["requestBody"]["content"].values()
    schema: dict[str, Any] = content["schema"]
    return schema


def _shown(parameter: dict[str, Any]) -> dict[str, Any]:
    """A parameter's schema with its example in it."""
    schema: dict[str, Any] = parameter["schema"]
    return {**schema, "examples": [parameter["example"]]} if "example" in parameter else schema


def _where(place: str) -> str:
    return {"header": "(Header) ", "path": "(In the path) "}.get(place, "")


def _answers(document: dict[str, Any], responses: dict[str, Any]) -> str:
    """What comes back; what can go wrong is much the same everywhere, so it is folded up."""
    well: list[tuple[str, str]] = []
    amiss: list[tuple[str, str]] = []
    for status, answer in responses.items():
        if "$ref" in answer:
            name = answer["$ref"].removeprefix(_SHAPE_OF_REFERENCE)
            answer = document["components"]["responses"][name]
        shapes = (
            f"{kind(content['schema'])} <span class=small>{escape(media)}</span>"
            for media, content in answer.get("content", {}).items()
        )
        told = f"<dt>{status}</dt><dd>{inline(answer['description'])} {' or '.join(shapes)}</dd>"
        (amiss if int(status) >= 400 else well).append((status, told))
    folded = "".join(told for _, told in amiss)
    listed = ", ".join(status for status, _ in amiss)
    return (
        f"<h4>Answered</h4><dl>{''.join(told for _, told in well)}</dl>"
        f"<details><summary>Or a problem: {listed}</summary><dl>{folded}</dl></details>"
    )


def _curl(method: str, path: str, one: dict[str, Any]) -> str:
    needed = [
        f"{p['name']}={_example_of(p)}"
        for p in one.get("parameters", ())
        if p["in"] == "query" and p["required"]
    ]
    for p in one.get("parameters", ()):
        if p["in"] == "path":
            path = path.replace(f"{{{p['name']}}}", _example_of(p))
    address = f'"$URL{path}{"?" + "&".join(needed) if needed else ""}"'
    words = ["curl", address]
    if method != "get":
        words[1:1] = ["-X", method.upper()]
    if one["security"]:
        words.append('\\\n  -H "Authorization: Bearer $KEY"')
    for media, content in one.get("requestBody", {}).get("content", {}).items():
        given = [shown["value"] for shown in content.get("examples", {}).values()]
        told = msgspec.json.encode(given[0]).decode() if given else "@FILE"
        words.append(f"\\\n  -H 'Content-Type: {media}' --data-binary '{told}'")
        break
    return " ".join(words)


def _example_of(parameter: dict[str, Any]) -> str:
    schema = _shown(parameter)
    examples = schema.get("examples") or schema.get("enum") or [parameter["name"].upper()]
    return str(examples[0])


def _shape(name: str, schema: dict[str, Any]) -> str:
    return (
        f'<article id="shape-{escape(name)}" class=shape><h3>{escape(name)}</h3>'
        f"{prose(str(schema.get('description', '')))}{fields(schema)}</article>"
    )
