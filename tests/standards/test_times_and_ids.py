"""RFC 3339 times on `occurred`, RFC 9562 ids, Idempotency-Key: published values, real service."""

from uuid import NAMESPACE_DNS, UUID, uuid5

import httpx
import pytest

from service.log.incoming import new_id
from service.reminders.raising import NAMESPACE, alert_id
from service.storage.pool import Database
from tests.api.nursery import CATALOGUE, event


def looked(occurred: str, **more: str) -> dict[str, object]:
    return event("place.checked", {"place": "H2-T04"}, occurred=occurred, **more)


# -- RFC 3339 section 5.8: its examples, and what its section 5.6 and 5.7 exclude ------------------


TIMES = [
    ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52+00:00"),
    ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
    ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87+00:00"),
    # Section 5.6 allows lower case and, for people's eyes, a space.
    ("1985-04-12t23:20:50.52z", "1985-04-12T23:20:50.52+00:00"),
    ("1996-12-19 16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
]


async def test_times_of_the_rfc(client: httpx.AsyncClient, database: Database) -> None:
    for occurred, instant in TIMES:
        answer = await client.post("/v1/events", json=looked(occurred))
        assert answer.status_code == 201, answer.text
        stored = (await client.get(answer.headers["Location"])).json()
        # Told as it was sent; understood as the instant that the RFC says.
        assert stored["occurred"] == occurred
        at = await database.writer.fetchval(
            "SELECT occurred_at = $1::text::timestamptz FROM events WHERE id = $2",
            instant,
            stored["id"],
        )
        assert at is True, occurred


NO_TIMES = [
    ("2026-02-30T00:00:00Z", 409),  # no such day
    ("2026-02-30", 409),
    ("2025-02-29", 409),
    ("2026-01-01T24:00:00Z", 409),  # section 5.7: hours end at 23
    ("2026-01-01T00:60:00Z", 409),
    ("2026-01-01T00:00:00", 422),  # no offset
    ("20260101T000000Z", 422),  # the basic form is ISO 8601's, not the RFC's
    ("2026-01-01T00:00:00+0100", 422),
    ("1996-12-19T16:39:57-08:00[America/Los_Angeles]", 422),  # RFC 9557's suffix
    # Leap seconds are times by the RFC; no computer's calendar here has them, so they are
    # refused rather than moved.
    ("1990-12-31T23:59:60Z", 409),
    ("1990-12-31T15:59:60-08:00", 409),
]


async def test_what_is_no_time(client: httpx.AsyncClient) -> None:
    for occurred, status in NO_TIMES:
        answer = await client.post("/v1/events", json=looked(occurred))
        assert answer.status_code == status, answer.text
        (error,) = answer.json()["errors"]
        assert error["pointer"] == "#/occurred", occurred


# -- RFC 9562 --------------------------------------------------------------------------------------

# Appendix A.6: the example of a version 7 UUID and its fields.
A_V7 = UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")
A_V7_MS = 1645557742000


def fields_of(value: UUID) -> tuple[int, int, int]:
    """Section 5.7: unix_ts_ms in the first 48 bits, then ver (4), then after rand_a var (2)."""
    return value.int >> 80, value.int >> 76 & 0xF, value.int >> 62 & 0x3


def test_the_fields_of_the_example() -> None:
    assert fields_of(A_V7) == (A_V7_MS, 7, 0b10)


def test_minted_ids_are_laid_out_so() -> None:
    minted = [UUID(new_id(A_V7_MS)) for _ in range(1000)]
    assert {fields_of(value) for value in minted} == {(A_V7_MS, 7, 0b10)}
    # What is left is random: 74 bits that do not repeat, each of them now and then set.
    assert len(set(minted)) == 1000
    seen = 0
    for value in minted:
        seen |= value.int
    assert seen & ((1 << 62) - 1) == (1 << 62) - 1
    assert seen >> 64 & 0xFFF == 0xFFF


def test_minted_ids_sort_by_time() -> None:
    ids = [new_id(A_V7_MS + ms) for ms in range(50)]
    assert ids == sorted(ids)


async def test_the_examples_are_taken_as_ids(client: httpx.AsyncClient) -> None:
    """Appendix A: version 7 of A.6, version 4 of A.3, version 5 of A.4."""
    for name in (
        str(A_V7),
        "919108f7-52d1-4320-9bac-f847db4148a8",
        "2ed6657d-e927-568b-95e1-2665a8aea6a2",
    ):
        answer = await client.post("/v1/events", json=looked("2026-03-01", id=name))
        assert answer.status_code == 201, answer.text
        assert (await client.get(f"/v1/events/{name}")).json()["id"] == name
    # Section 5.9 and 5.10: nil and max are no ids of anything; section 4: another variant.
    for name in (
        "00000000-0000-0000-0000-000000000000",
        "ffffffff-ffff-ffff-ffff-ffffffffffff",
        "017f22e2-79b0-7cc3-08c4-dc0c0c07398f",
    ):
        answer = await client.post("/v1/events", json=looked("2026-03-01", id=name))
        assert answer.status_code == 422, name


def test_version_5_as_in_appendix_a() -> None:
    """A.4, and that alerts are named the same way in a namespace of their own."""
    assert str(uuid5(NAMESPACE_DNS, "www.example.com")) == "2ed6657d-e927-568b-95e1-2665a8aea6a2"
    assert alert_id("key") == str(uuid5(NAMESPACE, "key"))
    assert UUID(alert_id("key")).version == 5


# -- Idempotency-Key: draft-ietf-httpapi-idempotency-key-header-07 section 2.1 -------------


@pytest.mark.parametrize(
    "key", ['"8e03978e-40d5-43e8-bc93-6894a57f9324"', '"clkyoesmbgybucifusbbtdsbohtyuuwz"']
)
async def test_keys_of_the_draft(client: httpx.AsyncClient, key: str) -> None:
    first = await client.post(
        "/v1/events", json=looked("2026-03-01"), headers={"Idempotency-Key": key}
    )
    assert first.status_code == 201
    # The bare form, which most clients send, is the same key.
    for again in (key, key.strip('"')):
        answer = await client.post(
            "/v1/events", json=looked("2026-03-01"), headers={"Idempotency-Key": again}
        )
        assert (answer.status_code, answer.content) == (201, first.content)
    # Section 2.7: a key for another payload is refused with 422.
    other = await client.post(
        "/v1/events", json=looked("2026-03-02"), headers={"Idempotency-Key": key}
    )
    assert other.status_code == 422


async def test_what_is_no_key(client: httpx.AsyncClient) -> None:
    for key in ("", '""', '"unterminated'):
        answer = await client.post(
            "/v1/events", json=looked("2026-03-01"), headers={"Idempotency-Key": key}
        )
        assert answer.status_code == 400, answer.text


# -- RFC 9110 section 8.8.3.2, table 3: strong and weak comparison, as met from outside --


async def test_entity_tags_compare_as_in_the_table(client: httpx.AsyncClient) -> None:
    got = await client.get("/v1/sites/CORIN")
    tag = got.headers["ETag"]
    assert not tag.startswith("W/")
    site = dict(CATALOGUE)["sites/CORIN"]
    # If-None-Match compares weakly (13.1.2), If-Match strongly (13.1.1).
    for sent, status in ((tag, 304), (f"W/{tag}", 304), ('"0"', 200), ('W/"0"', 200)):
        answer = await client.get("/v1/sites/CORIN", headers={"If-None-Match": sent})
        assert answer.status_code == status, sent
    for sent, status in ((f"W/{tag}", 412), ('"0"', 412), (tag, 200)):
        answer = await client.put("/v1/sites/CORIN", json=site, headers={"If-Match": sent})
        assert answer.status_code == status, (sent, answer.text)
