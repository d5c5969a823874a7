"""What was once stored is read for ever: decoded, in the newest shape, taken in unchanged."""

from collections import Counter
from itertools import groupby
from typing import Any

import msgspec
import pytest

from service.log.append import Appender
from service.log.incoming import digest_of
from service.log.minting import _MINTED
from service.log.upcasting import newest_data, newest_version
from service.storage.pool import Database
from service.trade.events import EVENT_TYPES, Event
from tests.corpus.keeping import NOW, Stored, legs_of, read, refold, told_anew
from tests.corpus.story import story
from tests.support.bench_side import BenchSide

CORPUS = read()
HOW = "python -m tests.corpus adds what the story tells"
LEGS = """
SELECT g.position, l.code, b.kind, b.site, b.place, b.stage, b.size, b.grade, b.ref, b.commodity,
       g.occurred_day, g.delta, g.anchor
FROM legs g JOIN lots l USING (lot_id) JOIN balances b USING (lot_id, account_id)
"""


def test_every_type_and_version_has_an_example() -> None:
    there = {(one.type, one.version) for one in CORPUS}
    wanted = {(kind, v) for kind in EVENT_TYPES for v in range(1, newest_version(kind) + 1)}
    assert wanted <= there, f"{sorted(wanted - there)} missing: {HOW}"
    entries = {one.data["entry"]["kind"] for one in CORPUS if one.type == "catalogue.changed"}
    assert entries == {"site", "place", "cultivar", "rootstock", "size", "source_tree",
                       "check_plan", "rule"}  # fmt: skip


def test_the_corpus_holds_the_whole_story() -> None:
    assert told_anew(CORPUS, story()) == [], HOW


@pytest.mark.parametrize("one", CORPUS, ids=lambda one: f"{one.position}-{one.type}")
def test_it_is_decoded_and_encoded_without_loss(one: Stored) -> None:
    newest = newest_data(one.type, one.version, one.data)
    event: Any = one.incoming(0).event
    again = msgspec.json.decode(msgspec.json.encode(event.data))
    assert _kept(newest, again) == newest
    # what a later shape added was left out: it says nothing
    assert msgspec.convert(newest, type(event.data)) == event.data


def _kept(stored: Any, again: Any) -> Any:
    """Of what is encoded now, the part that was stored."""
    if isinstance(stored, dict):
        return {key: _kept(value, again[key]) for key, value in stored.items()}
    if isinstance(stored, list):
        return [_kept(a, b) for a, b in zip(stored, again, strict=True)]
    return again


@pytest.mark.parametrize("one", CORPUS, ids=lambda one: f"{one.position}-{one.type}")
def test_sent_again_it_is_still_known(one: Stored) -> None:
    if one.version < newest_version(one.type):
        pytest.skip("sent in a shape that is no longer taken")
    sent = msgspec.json.decode(msgspec.json.encode(one.sent), type=Event)
    assert digest_of(sent).hex() == one.digest


def test_it_is_taken_in_without_change() -> None:
    books, taken = refold(CORPUS)
    assert [accepted.position for accepted in taken] == [one.position for one in CORPUS]
    for one, accepted in zip(CORPUS, taken, strict=True):
        assert accepted.event == one.incoming(0).event
        assert legs_of(books, accepted) == one.legs, one.type
        assert (accepted.sites, sorted(accepted.subjects)) == (one.sites, one.subjects), one.type
    for account in books.account_by_id.values():
        assert account.balance >= 0 or not account.bounded


async def test_the_log_stores_the_story_as_the_corpus_has_it(database: Database) -> None:
    appender = Appender(database, clock=lambda: NOW)
    await appender.start()
    bench = BenchSide(appender, database)
    newest = [one for one in CORPUS if one.version == newest_version(one.type)]
    for _, unit in groupby(newest, key=lambda one: one.unit):
        await bench.given(*(_with_its_codes(one) for one in unit))
    await appender.stop()
    rows = await database.writer.fetch("SELECT * FROM events ORDER BY position")
    for one, row in zip(newest, rows, strict=True):
        assert (row["type"], row["version"]) == (one.type, one.version)
        # what a later shape may leave out was not told
        assert _kept(one.data, row["data"]) == one.data, one.type
        assert (row["remarks"], row["sites"]) == (one.remarks, one.sites), one.type
    moved = Counter(tuple(row) for row in await database.writer.fetch(LEGS))
    assert moved == Counter(
        (one.position, lot, *key, day, delta, anchor)
        for one in newest
        for lot, key, day, delta, anchor in one.legs
    )


def _with_its_codes(one: Stored) -> dict[str, Any]:
    """It as it was sent, with the codes that were minted for it then."""
    minted = {name: one.data[name] for name in _MINTED.get(one.type, ())}
    return {**one.sent, "data": minted | one.sent["data"]}
