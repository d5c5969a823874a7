"""Headers with a grammar of their own, against published values."""

import re

import pytest

from service.api import parameters
from service.api.conditional import expected_position, strongly_equal, tags_in, weakly_equal
from service.api.headers import idempotency_key, request_id, trace_id, wait_of
from service.api.problems import Problem


# draft-ietf-httpapi-idempotency-key-header-07 section 2.1 gives the two quoted values; the bare
# form is what most clients send.
@pytest.mark.parametrize(
    ("sent", "key"),
    [
        ('"8e03978e-40d5-43e8-bc93-6894a57f9324"', "8e03978e-40d5-43e8-bc93-6894a57f9324"),
        ('"clkyoesmbgybucifusbbtdsbohtyuuwz"', "clkyoesmbgybucifusbbtdsbohtyuuwz"),
        ("8e03978e-40d5-43e8-bc93-6894a57f9324", "8e03978e-40d5-43e8-bc93-6894a57f9324"),
        (None, None),
    ],
)
def test_an_idempotency_key_is_read_quoted_or_bare(sent: str | None, key: str | None) -> None:
    assert idempotency_key(sent) == key


@pytest.mark.parametrize("sent", ["", '""', '"unterminated', "a b", "x" * 129, '"a\\"b"', "ü"])
def test_an_idempotency_key_that_is_none_is_refused(sent: str) -> None:
    with pytest.raises(Problem) as caught:
        idempotency_key(sent)
    assert caught.value.status == 400


@pytest.mark.parametrize(
    ("sent", "fits"),
    [
        ("*", True),
        (" * ", True),
        ('"xyzzy"', True),
        ('W/"xyzzy"', True),
        ('""', True),
        ('"xyzzy", "r2d2xxxx", W/"c3piozzzz"', True),
        ("", True),
        ("17", False),
        ('"17', False),
        ('w/"17"', False),
        ('"a" "b"', False),
        ('"a",,"b"', False),
        ('*, "a"', False),
    ],
)
def test_entity_tags_are_described_as_they_are_read(sent: str, fits: bool) -> None:
    """Values of RFC 9110 sections 8.8.3 and 13.1.1, and what is near them."""
    assert (re.search(parameters.TAGS, sent) is not None) == fits
    if fits:
        assert isinstance(tags_in("If-Match", sent), list)
    else:
        with pytest.raises(Problem):
            tags_in("If-Match", sent)


# RFC 9110 section 8.8.3.2, table 3: tag 1, tag 2, strong comparison, weak comparison.
@pytest.mark.parametrize(
    ("one", "other", "strong", "weak"),
    [
        ('W/"1"', 'W/"1"', False, True),
        ('W/"1"', 'W/"2"', False, False),
        ('W/"1"', '"1"', False, True),
        ('"1"', '"1"', True, True),
    ],
)
def test_entity_tags_compare_as_the_rfc_says(
    one: str, other: str, strong: bool, weak: bool
) -> None:
    assert strongly_equal(one, other) is strong
    assert weakly_equal(one, other) is weak


def test_a_list_of_entity_tags() -> None:
    # RFC 9110 section 13.1.1 and 13.1.2 give these examples.
    assert tags_in("If-Match", '"xyzzy", "r2d2xxxx", "c3piozzzz"') == [
        '"xyzzy"',
        '"r2d2xxxx"',
        '"c3piozzzz"',
    ]
    assert tags_in("If-None-Match", 'W/"xyzzy", W/"r2d2xxxx"') == ['W/"xyzzy"', 'W/"r2d2xxxx"']
    assert tags_in("If-Match", "*") == ["*"]
    for wrong in ("17", '"17', '"1" "2"', "*, *"):
        with pytest.raises(Problem) as caught:
            tags_in("If-Match", wrong)
        assert caught.value.status == 400


@pytest.mark.parametrize(
    ("if_match", "if_none_match", "current", "outcome"),
    [
        (None, None, None, 0),
        (None, "*", None, 0),
        ('"7"', None, 7, 7),
        ("*", None, 7, 7),
        ('"6", "7"', None, 7, 7),
        (None, None, 7, 428),
        (None, "*", 7, 412),
        (None, '"6"', 7, 428),
        ('"6"', None, 7, 412),
        ('W/"7"', None, 7, 412),
        ('"7"', None, None, 412),
        ("*", None, None, 412),
    ],
)
def test_what_a_change_rests_on(
    if_match: str | None, if_none_match: str | None, current: int | None, outcome: int
) -> None:
    if outcome < 400:
        assert expected_position(if_match, if_none_match, current, "It") == outcome
    else:
        with pytest.raises(Problem) as caught:
            expected_position(if_match, if_none_match, current, "It")
        assert caught.value.status == outcome


@pytest.mark.parametrize(
    ("prefer", "seconds"),
    [
        # RFC 7240 section 4.3 gives the second.
        (None, 0),
        ("respond-async, wait=10", 10),
        ("wait=10", 10),
        ("wait=900", 30),
        ("WAIT=3", 3),
        ("wait=ten", 0),
        ("await=3", 0),
        ("return=minimal", 0),
    ],
)
def test_how_long_to_wait(prefer: str | None, seconds: int) -> None:
    assert wait_of(prefer) == seconds


def test_a_request_id_is_taken_over_only_if_fit_for_a_log() -> None:
    assert request_id("abc-123") == "abc-123"
    assert request_id("a b") is None
    assert request_id("x" * 65) is None
    assert request_id('{"a":1}\n') is None


@pytest.mark.parametrize(
    ("given", "found"),
    [
        # W3C Trace Context sections 3.2.3 and 3.2.2, its own examples
        (
            "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
            "4bf92f3577b34da6a3ce929d0e0e4736",
        ),
        # a later version may say more at the end (section 4)
        (
            "cc-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01-what-the-future-holds",
            "4bf92f3577b34da6a3ce929d0e0e4736",
        ),
        ("00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01-more", None),
        ("ff-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01", None),
        ("00-00000000000000000000000000000000-00f067aa0ba902b7-01", None),
        ("00-4bf92f3577b34da6a3ce929d0e0e4736-0000000000000000-01", None),
        ("00-4BF92F3577B34DA6A3CE929D0E0E4736-00f067aa0ba902b7-01", None),
        ("nonsense", None),
        (None, None),
    ],
)
def test_the_trace_a_request_is_part_of(given: str | None, found: str | None) -> None:
    assert trace_id(given) == found
