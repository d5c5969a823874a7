"""An exception for each kind of problem that the service knows."""

from typing import Any

from client_writer.wording import docstring, quoted

HEAD = '''"""An exception for each kind of problem. Written by `make client`: do not edit."""

from graftlog_client.problem import Problem
'''


def module(document: dict[str, Any]) -> str:
    """The text of `problem_kinds.py`, not yet formatted."""
    slugs = _slugs(document)
    told = document["components"].get("responses", {})
    classes = []
    for slug in slugs:
        words = str(told.get(slug, {}).get("description", f"Problem type `{slug}`."))
        lines = docstring(words, [], 4)
        classes.append("\n".join([f"class {_name(slug)}(Problem):", *lines]))
    kinds = [f"    {quoted(slug)}: {_name(slug)}," for slug in slugs]
    table = "\n".join(["KINDS: dict[str, type[Problem]] = {", *kinds, "}"])
    return "\n\n\n".join([HEAD, *classes, table]) + "\n"


def _slugs(document: dict[str, Any]) -> list[str]:
    """The last part of each problem's address."""
    for operation in document["paths"]["/problems/{slug}"].values():
        for parameter in operation["parameters"]:
            if parameter["name"] == "slug":
                return [str(slug) for slug in parameter["schema"]["enum"]]
    raise ValueError("the document does not say which problems there are")


def _name(slug: str) -> str:
    return "".join(word.capitalize() for word in slug.split("-"))
