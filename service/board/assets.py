"""Style, script and pictures of the pages, under addresses that change with their content."""

import hashlib
from functools import cache
from importlib.resources import files

TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "png": "image/png",
    "webmanifest": "application/manifest+json",
}


@cache
def content(name: str) -> bytes | None:
    """A file of `static/`; None when there is none of that name."""
    if "/" in name or name.rpartition(".")[2] not in TYPES:
        return None
    found = files("service.board").joinpath("static", name)
    return found.read_bytes() if found.is_file() else None


@cache
def names() -> list[str]:
    """The files of `static/`."""
    found = files("service.board").joinpath("static").iterdir()
    return sorted(one.name for one in found if one.name.rpartition(".")[2] in TYPES)


@cache
def mark_of(name: str) -> str:
    """What tells one content of a file from another."""
    body = content(name)
    assert body is not None, f"no such file: {name}"
    return hashlib.sha256(body).hexdigest()[:16]


def asset(name: str) -> str:
    """The address of a file of `static/`."""
    return f"/static/{mark_of(name)}/{name}"
