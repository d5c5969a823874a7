"""Requests: all or each, checks, retries, keys, rights of history, what is kept to put right."""

from datetime import UTC, datetime, timedelta

import pytest

from service.log.answering import encode
from service.log.submission import Element, IdempotencyKey, KeyReused, Submission
from service.trade.codes import is_minted
from service.trade.verdicts import Fault
from tests.support.bench_side import EVERYTHING, NOW, BenchSide, event

ID = "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"


async def test_one_refused_event_refuses_the_whole_request(bench: BenchSide) -> None:
    await bench.stocked()
    answer = await bench.send(bench.graft(24), bench.graft(100, lot="T2"))
    assert answer.status == 409
    assert [v.position for v in answer.verdicts] == [None, None]
    assert await bench.balance("L1", "liners") == 100


async def test_each_event_is_judged_in_order_of_occurrence(bench: BenchSide) -> None:
    await bench.stocked()
    answer = await bench.send(
        event("trees.lost", "2026-03-09", lot="T1", count=1, cause="heat"),
        bench.graft(99, lot="T2"),
        bench.graft(24),
        mode="each",
    )
    assert answer.status == 200
    assert [v.verdict for v in answer.verdicts] == ["accepted", "refused", "accepted"]


async def test_receipts_and_uses_of_one_day_come_in_any_order(bench: BenchSide) -> None:
    await bench.nursery()
    bag = {"bag": "B1", "buds": 40, "place": "C-BOX"}
    answer = await bench.send(
        bench.graft(24, "2026-03-01"),
        event(
            "budwood.cut", "2026-03-01", lot="BW1", cultivar="NAVEL", source_tree="ST-1", bags=[bag]
        ),
        event(
            "liners.received",
            "2026-03-01",
            lot="L1",
            rootstock="CARRIZO",
            size="P9",
            lines=[{"place": "C-T1", "count": 100}],
        ),
    )
    assert answer.status == 201, answer.verdicts


async def test_a_check_stores_nothing(bench: BenchSide) -> None:
    await bench.stocked()
    before = await bench.database.writer.fetchval("SELECT position FROM log_head")
    answer = await bench.send(bench.graft(24), check=True)
    assert (answer.status, answer.verdicts[0].verdict) == (200, "accepted")
    assert answer.verdicts[0].position is None
    assert await bench.database.writer.fetchval("SELECT position FROM log_head") == before
    assert (await bench.when(bench.graft(24))).position == before + 1


async def test_the_same_id_again_is_known_and_with_other_content_refused(bench: BenchSide) -> None:
    await bench.stocked()
    first = await bench.when(bench.graft(24) | {"id": ID})
    again = await bench.send(bench.graft(24) | {"id": ID})
    assert (again.status, again.verdicts[0].verdict) == (200, "known")
    assert again.verdicts[0].position == first.position
    other = await bench.when(bench.graft(20) | {"id": ID})
    assert other.errors[0].kind == "id_reused"


async def test_a_known_event_that_was_voided_since_says_so(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.when(bench.graft(24) | {"id": ID})
    voided = event("event.voided", "2026-03-06", event=ID, reason="told twice")
    by = (await bench.when(voided)).position
    again = await bench.when(bench.graft(24) | {"id": ID})
    assert again.verdict == "known"
    (remark,) = again.remarks
    assert (remark.kind, remark.numbers) == ("voided_since", {"voided_by": by})
    assert await bench.balance("L1", "liners") == 100


async def test_a_key_replays_the_first_answer(bench: BenchSide) -> None:
    await bench.stocked()
    key = IdempotencyKey("k1", "POST /v1/events", b"body")
    first = await bench.send(bench.graft(24), key=key)
    again = await bench.send(bench.graft(24), key=key)
    assert again.replayed
    assert again.status == first.status == 201
    assert again.stored is not None
    assert str(first.verdicts[0].id).encode() in again.stored
    with pytest.raises(KeyReused):
        await bench.send(bench.graft(2), key=IdempotencyKey("k1", "POST /v1/events", b"other"))


async def test_a_key_replays_a_refusal_as_it_was_answered(bench: BenchSide) -> None:
    await bench.stocked()
    key = IdempotencyKey("k1", "POST /v1/events", b"body")
    first = await bench.send(bench.graft(60), mode="each", key=key)
    assert "events_that_day" in first.verdicts[0].errors[0].numbers
    again = await bench.send(bench.graft(60), mode="each", key=key)
    assert again.stored == encode(first, array=False)


async def test_what_was_refused_is_kept_and_closed_when_it_is_accepted(bench: BenchSide) -> None:
    await bench.stocked()
    one = bench.graft(60) | {"id": ID}
    await bench.send(one, mode="each")
    await bench.send(one, mode="each")
    bad = Element(b'{"type":"nonsense"}', None, (Fault(kind="bad_value", detail="no"),))
    await bench.appender.append(Submission(principal=EVERYTHING, elements=[bad], mode="each"))
    rows = await bench.database.writer.fetch(
        "SELECT event_id::text, attempts, state, reasons FROM to_put_right ORDER BY id"
    )
    assert [tuple(row)[:3] for row in rows] == [(ID, 2, "open"), (None, 1, "open")]
    assert rows[0]["reasons"][0]["kind"] == "below_zero"
    await bench.given(
        event("stock.counted", "2026-03-04", reason="recount", lines=[{"bag": "B1", "counted": 61}])
    )
    verdict = (await bench.send(one, mode="each")).verdicts[0]
    assert verdict.verdict == "accepted"
    row = await bench.database.writer.fetchrow(
        "SELECT state, resolved_position FROM to_put_right WHERE event_id = $1", ID
    )
    assert tuple(row) == ("recorded", verdict.position)


async def test_codes_are_minted_where_none_was_chosen(bench: BenchSide) -> None:
    await bench.stocked()
    one = await bench.when(bench.graft(10, lot=None))
    other = await bench.when(bench.graft(10, lot=None))
    assert one.lot is not None
    assert one.lot != other.lot
    assert is_minted(one.lot)


@pytest.mark.parametrize(
    ("occurred", "kind"),
    [
        ("2026-07-02", "in_the_future"),
        ("2026-06-30T12:06:00Z", "in_the_future"),
        ("2026-02-30", "not_a_day"),
        ("1750-01-01", "not_a_day"),
    ],
)
async def test_days_that_can_not_be(bench: BenchSide, occurred: str, kind: str) -> None:
    await bench.stocked()
    assert (await bench.when(bench.graft(1, occurred))).errors[0].kind == kind


async def test_the_bench_clock_may_run_a_little_ahead(bench: BenchSide) -> None:
    await bench.stocked()
    assert (await bench.when(bench.graft(1, "2026-06-30T12:04:59Z"))).verdict == "accepted"


async def test_history_brings_its_own_recorded_at_and_never_goes_back(bench: BenchSide) -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    await bench.send(
        event(
            "catalogue.changed",
            "2026-01-01",
            entry={
                "kind": "site",
                "code": "CORIN",
                "name": "Corin",
                "time_zone": "Europe/Madrid",
                "latitude": 40,
                "longitude": 1,
            },
        ),
        recorded_at=start,
        recorded_by="old-book",
    )
    row = await bench.database.writer.fetchrow("SELECT recorded_at, recorded_by FROM events")
    assert tuple(row) == (start, "old-book")
    size = event(
        "catalogue.changed", "2026-01-01", entry={"kind": "size", "code": "P9", "label": "9 cm"}
    )
    back = await bench.send(size, recorded_at=start - timedelta(seconds=1))
    assert back.verdicts[0].errors[0].kind == "out_of_order"
    await bench.given(size)
    newest = await bench.database.writer.fetchval("SELECT recorded_at FROM log_head")
    assert newest == NOW


async def test_an_entry_changed_meanwhile_is_not_overwritten(bench: BenchSide) -> None:
    await bench.nursery()
    size = event(
        "catalogue.changed",
        "2026-01-02",
        entry={"kind": "size", "code": "P9", "label": "9 cm, square"},
    )
    position = await bench.database.writer.fetchval(
        "SELECT position FROM catalogue WHERE code = 'P9'"
    )
    stale = await bench.send(size, expected={("size", "P9"): frozenset({position - 1})})
    assert stale.status == 412
    fresh = await bench.send(size, expected={("size", "P9"): frozenset({position})})
    assert fresh.status == 201


async def test_a_site_and_its_places_come_in_one_request(bench: BenchSide) -> None:
    site = {"kind": "site", "code": "NEW", "name": "New", "time_zone": "Asia/Tokyo",
            "latitude": 35, "longitude": 139}  # fmt: skip
    place = {"kind": "place", "code": "N-T1", "site": "NEW", "structure": "House 1"}
    answer = await bench.send(
        event("catalogue.changed", "2026-01-01", "NEW", entry=site),
        event("catalogue.changed", "2026-01-01", "NEW", entry=place),
        event("place.checked", "2026-01-01", "NEW", place="N-T1"),
    )
    assert answer.status == 201, answer.verdicts
    bad = site | {"code": "ODD", "time_zone": "Mars/Olympus"}
    refused = await bench.send(
        event("catalogue.changed", "2026-01-01", "ODD", entry=bad),
        event("catalogue.changed", "2026-01-01", "ODD", entry=place | {"site": "ODD"}),
    )
    assert {fault.kind for v in refused.verdicts for fault in v.errors} == {"bad_value"}


async def test_a_verdict_tells_the_codes_of_what_was_made(bench: BenchSide) -> None:
    await bench.stocked()
    prepared = await bench.when(event("scions.prepared", "2026-03-04", bag="B1", pieces=3))
    assert list(prepared.made) == ["bag"]
    cut = await bench.when(
        event("budwood.cut", "2026-03-04", cultivar="NAVEL", source_tree="ST-1",
              bags=[{"buds": 20, "place": "C-BOX"}, {"buds": 16, "place": "C-BOX"}])
    )  # fmt: skip
    assert len(cut.made["lot"]) == 1
    assert len(set(cut.made["bag"])) == 2
    hold = await bench.when(
        event("hold.placed", "2026-03-05", kind="quality", target="lot", code="L1", reason="thin")
    )
    assert is_minted(hold.made["hold"][0])
