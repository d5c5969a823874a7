"""Conditional requests (RFC 9110 sections 8.8.3 and 13): entity tags and what is asked of them."""

import re
from hashlib import blake2b

from service.api.problems import Mistake, Problem

# A position, and a state that came without an event, such as an expiry.
_POSITION = re.compile(r"([1-9][0-9]{0,17})(?:-[a-z]+)?")
_TAG = re.compile(r'\s*(W/)?"([\x21\x23-\x7e\x80-\xff]*)"\s*(?:,|$)')


def etag(position: int | str, *, weak: bool = False) -> str:
    """The entity tag of a thing whose last change is at `position`."""
    return f'W/"{position}"' if weak else f'"{position}"'


def content_tag(body: bytes) -> str:
    """The entity tag of an answer that is of many things: it goes by what it says."""
    return f'"{blake2b(body, digest_size=12).hexdigest()}"'


def strongly_equal(one: str, other: str) -> bool:
    """Strong comparison: both strong, and the same (RFC 9110 section 8.8.3.2)."""
    return one == other and not one.startswith("W/")


def weakly_equal(one: str, other: str) -> bool:
    """Weak comparison: the same but for the mark of weakness (RFC 9110 section 8.8.3.2)."""
    return one.removeprefix("W/") == other.removeprefix("W/")


def tags_in(name: str, value: str) -> list[str]:
    """The entity tags of an If-Match or If-None-Match header; `["*"]` for any.

    Raises a 400 problem for what is neither.
    """
    if value.strip() == "*":
        return ["*"]
    tags, at = [], 0
    while at < len(value):
        match = _TAG.match(value, at)
        if match is None:
            raise Problem(
                "malformed-request",
                f'{name} holds no entity tag: it looks like "17", quotes included.',
                errors=[Mistake(kind="bad_value", detail="Not an entity tag.", parameter=name)],
            )
        tags.append(f'{match[1] or ""}"{match[2]}"')
        at = match.end()
    return tags


def is_unchanged(if_none_match: str | None, current: str) -> bool:
    """Whether the client has it already: the answer to a GET is then 304."""
    if not if_none_match:
        return False
    return any(
        tag == "*" or weakly_equal(tag, current) for tag in tags_in("If-None-Match", if_none_match)
    )


def expected_position(
    if_match: str | None, if_none_match: str | None, current: int | None, what: str
) -> int:
    """The position that a change of a thing rests on; 0 for one that must not exist yet.

    `current` is the position of its last change, None when there is none. Raises 412 when the
    headers ask for another state, 428 when an existing thing is to be changed without saying which
    version (RFC 6585 section 3).
    """
    present = etag(current) if current is not None else None
    headers = {"ETag": present} if present else {}
    if if_match is not None:
        tags = tags_in("If-Match", if_match)
        if present is None:
            raise Problem("precondition-failed", f"{what} does not exist yet; leave out If-Match.")
        if "*" not in tags and not any(strongly_equal(tag, present) for tag in tags):
            raise Problem(
                "precondition-failed",
                f"{what} was last changed at position {current}, not at the one you read.",
                headers=headers,
            )
    if if_none_match is not None and present is not None:
        tags = tags_in("If-None-Match", if_none_match)
        if "*" in tags or any(weakly_equal(tag, present) for tag in tags):
            raise Problem("precondition-failed", f"{what} exists already.", headers=headers)
    if current is None:
        return 0
    if if_match is None:
        raise Problem(
            "precondition-required",
            f"{what} exists: send its ETag in If-Match (or If-None-Match: * to make a new one).",
            headers=headers,
        )
    return current


def expected_positions(if_match: str | None, what: str) -> frozenset[int] | None:
    """The positions that If-Match allows a thing's last change to have; None for any (`*`).

    For the writer to decide by, under its lock. Weak tags and those of other forms match nothing.
    Raises 428 without the header (RFC 6585 section 3).
    """
    if if_match is None:
        raise Problem("precondition-required", f"{what}: send its ETag in If-Match.")
    tags = [tag.strip('"') for tag in tags_in("If-Match", if_match)]
    if "*" in tags:
        return None
    return frozenset(int(match[1]) for match in map(_POSITION.fullmatch, tags) if match)
