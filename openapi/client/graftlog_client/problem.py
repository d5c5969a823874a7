"""What the service says when it does not do what it was asked."""

from typing import Any

import httpx
import msgspec


class Mistake(msgspec.Struct, kw_only=True):
    """One thing wrong: where, its kind, words, and the numbers to put it right, by name."""

    kind: str
    detail: str
    pointer: str | None = None
    parameter: str | None = None
    numbers: dict[str, Any] = msgspec.field(default_factory=dict)


class _Document(msgspec.Struct, kw_only=True):
    """A problem document (RFC 9457), as far as a program goes by it."""

    type: str = "about:blank"
    title: str = ""
    detail: str | None = None
    errors: list[Mistake] = msgspec.field(default_factory=list)
    request_id: str | None = None


class Problem(Exception):
    """The service answered with a problem document, or with no answer of its own at all.

    `kind` is the last part of the problem's type (`refused`); `members` holds all that the document
    says, also what is said of one kind only. What has a class of its own in `problem_kinds` is
    raised as that class, so it can be caught by name; a kind that this client does not know comes
    as `Problem`.
    """

    def __init__(self, response: httpx.Response) -> None:
        told, self.members = _read(response)
        self.status = response.status_code
        self.kind = told.type.rpartition("/")[2]
        self.title = told.title or response.reason_phrase
        self.detail = told.detail
        self.errors = told.errors
        self.request_id = told.request_id
        self.headers = response.headers
        said = [f"{self.status} {self.title}", *(one.detail for one in self.errors)]
        super().__init__("; ".join([*said[:1], *([told.detail] if told.detail else []), *said[1:]]))


class NotChanged(Exception):
    """The answer is the one that the caller has already (304): it has no body."""


def _read(response: httpx.Response) -> tuple[_Document, dict[str, Any]]:
    """A document of its own, or nothing where something between answered in its stead."""
    if "json" not in response.headers.get("content-type", ""):
        return _Document(), {}
    try:
        return (
            msgspec.json.decode(response.content, type=_Document),
            msgspec.json.decode(response.content, type=dict[str, Any]),
        )
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return _Document(), {}
