"""Named SQL files: what is read, and what is refused when a module is imported."""

import copy

import pytest

from service.storage.sql import SqlFileError, load, parse

GOOD = """-- A file may open with a remark.

-- name: one
-- Says one.
SELECT 1;

-- name: two_lines
SELECT 2,
       ';' -- a semicolon inside
"""


def test_statements_are_attributes_without_their_closing_semicolon() -> None:
    queries = parse("good.sql", GOOD)
    assert list(queries) == ["one", "two_lines"]
    assert queries.one == "-- one\n-- Says one.\nSELECT 1"
    assert queries.two_lines.endswith("-- a semicolon inside")


def test_an_unknown_name_lists_those_there_are() -> None:
    with pytest.raises(AttributeError, match=r"good\.sql has no query 'three'; it has: one, two"):
        parse("good.sql", GOOD).three  # noqa: B018


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("-- name: a\nSELECT 1\n-- name: a\nSELECT 2", "given twice"),
        ("SELECT 1\n-- name: a\nSELECT 2", "before the first"),
        ("-- name: a\n-- only words\n-- name: b\nSELECT 2", "'a' has no statement"),
        ("-- name: Not-Good\nSELECT 1", "not a usable query name"),
        ("-- name:\nSELECT 1", "not a usable query name"),
        ("-- nothing here", "no '-- name:' line"),
    ],
)
def test_a_file_that_cannot_be_right_is_refused(text: str, reason: str) -> None:
    with pytest.raises(SqlFileError, match=reason):
        parse("bad.sql", text)


def test_a_missing_file_or_package_is_named() -> None:
    with pytest.raises(FileNotFoundError):
        load("service.storage", "absent.sql")
    with pytest.raises(SqlFileError, match="pass __package__"):
        load(None, "absent.sql")


def test_queries_survive_a_copy() -> None:
    queries = parse("good.sql", GOOD)
    assert copy.copy(queries).one == queries.one
