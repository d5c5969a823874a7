"""Work orders: grafting to do, and how far it has come as graftings are told."""

from typing import Any

import msgspec

from service.log.incoming import digest_of
from service.log.refold import differences, refold
from service.trade.events import Event
from tests.support.bench_side import BenchSide, event


def order(count: int = 30, code: str | None = "WO1", day: str = "2026-03-02", **more: Any) -> Any:
    parts = {
        "cultivar": "NAVEL",
        "rootstock": "CARRIZO",
        "count": count,
        "needed_by": "2026-03-20",
    }
    named = {} if code is None else {"work_order": code}
    return event("grafting.ordered", day, **(named | parts | more))


async def progress(bench: BenchSide, code: str = "WO1") -> tuple[int, int, str | None]:
    """Wanted, done, ended."""
    sql = "SELECT wanted::int, done::int, ended FROM work_orders WHERE code = $1"
    return tuple(await bench.database.writer.fetchrow(sql, code))  # type: ignore[return-value]


async def agrees(bench: BenchSide) -> list[str]:
    """Where the stored books differ from those folded anew."""
    async with bench.database.writer.acquire() as connection:
        return await differences(connection, await refold(connection))


def kinds(verdict: Any) -> list[str]:
    return [remark.kind for remark in verdict.remarks]


async def test_a_grafting_counts_toward_the_one_order_that_fits(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(order(30), order(10, "WO2", cultivar="LIMA"))
    verdict = await bench.when(bench.graft(24))
    assert kinds(verdict) == ["counts_toward_order"]
    assert verdict.remarks[0].numbers == {"work_order": "WO1"}
    stored = await bench.database.writer.fetchval(
        "SELECT data->>'work_order' FROM events WHERE type = 'trees.grafted'"
    )
    assert stored == "WO1"
    assert await progress(bench) == (30, 24, None)
    assert await progress(bench, "WO2") == (10, 0, None)
    assert await agrees(bench) == []


async def test_a_code_is_minted_and_told(bench: BenchSide) -> None:
    await bench.stocked()
    (verdict,) = await bench.given(order(30, None))
    (code,) = verdict.made["work_order"]
    assert len(code) == 6
    assert await progress(bench, code) == (30, 0, None)


async def test_of_several_orders_that_fit_one_must_be_named(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(order(30), order(20, "WO2", liner_lot="L1", method="t_bud"))
    verdict = await bench.when(bench.graft(10))
    assert kinds(verdict) == ["several_orders_fit"]
    assert verdict.remarks[0].numbers == {"work_orders": ["WO1", "WO2"]}
    named = await bench.when(bench.graft(10, lot="T2", work_order="WO2"))
    assert kinds(named) == []
    assert await progress(bench, "WO2") == (20, 10, None)
    # by another method only the order that asks for none is left
    other = await bench.when(bench.graft(10, lot="T3", method="chip_bud"))
    assert kinds(other) == ["counts_toward_order"]
    assert await progress(bench) == (30, 10, None)


async def test_what_does_not_fit_is_recorded_and_remarked(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(order(10, cultivar="LIMA"), order(20, "WO2", method="chip_bud"))
    other_tree = await bench.when(bench.graft(5, work_order="WO1"))
    assert other_tree.verdict == "accepted"
    (remark,) = other_tree.remarks
    assert (remark.kind, remark.numbers["counts"]) == ("order_differs", False)
    assert remark.numbers["cultivar"] == {"ordered": "LIMA", "grafted": "NAVEL"}
    other_way = await bench.when(bench.graft(5, lot="T2", work_order="WO2"))
    (remark,) = other_way.remarks
    assert (remark.kind, remark.numbers["counts"]) == ("order_differs", True)
    assert remark.numbers["method"] == {"ordered": "chip_bud", "grafted": "t_bud"}
    assert await progress(bench) == (10, 0, None)
    assert await progress(bench, "WO2") == (20, 5, None)
    assert await agrees(bench) == []


async def test_more_than_was_ordered_is_remarked_and_a_filled_order_asks_for_no_more(
    bench: BenchSide,
) -> None:
    await bench.stocked()
    await bench.given(order(20))
    over = await bench.when(bench.graft(24))
    assert kinds(over) == ["counts_toward_order", "more_than_ordered"]
    assert over.remarks[1].numbers == {"work_order": "WO1", "left": 20, "grafted": 24}
    assert kinds(await bench.when(bench.graft(2, lot="T2"))) == []
    assert await progress(bench) == (20, 24, None)


async def test_a_void_takes_progress_back_and_its_replacement_counts_where_the_slip_did(
    bench: BenchSide,
) -> None:
    await bench.stocked()
    await bench.given(order(30), order(30, "WO2"))
    (slip,) = await bench.given(bench.graft(24, work_order="WO1"))
    void = event("event.voided", "2026-03-06", event=slip.id, reason="22 it was")
    # two orders fit, so alone it would count toward neither
    right = bench.graft(22, replaces=slip.id)
    await bench.given(void, right)
    assert await progress(bench) == (30, 22, None)
    assert await progress(bench, "WO2") == (30, 0, None)
    rows = await bench.database.writer.fetch(
        "SELECT count::int, voided_by IS NOT NULL AS void FROM work_done ORDER BY position"
    )
    assert [tuple(row) for row in rows] == [(24, True), (22, False)]
    assert await agrees(bench) == []


async def test_a_correction_counts_also_when_the_order_was_ended_meanwhile(
    bench: BenchSide,
) -> None:
    await bench.stocked()
    await bench.given(order(30))
    (slip,) = await bench.given(bench.graft(24))
    await bench.given(
        event("grafting.order_ended", "2026-03-10", work_order="WO1", reason="cancelled")
    )
    void = event("event.voided", "2026-03-11", event=slip.id, reason="slip")
    await bench.given(void, bench.graft(20, replaces=slip.id))
    assert await progress(bench) == (30, 20, "cancelled")
    assert await agrees(bench) == []


async def test_a_void_alone_is_told_of_the_order_too(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(order(30))
    (slip,) = await bench.given(bench.graft(24))
    await bench.given(event("event.voided", "2026-03-06", event=slip.id, reason="slip"))
    assert await progress(bench) == (30, 0, None)
    # and another may count now
    assert kinds(await bench.when(bench.graft(30))) == ["counts_toward_order"]
    assert await agrees(bench) == []


async def test_late_graftings_count_for_orders_of_their_day(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(order(30, day="2026-03-04"), bench.graft(5, "2026-03-25"))
    # told late, of a day on which the order stood
    assert kinds(await bench.when(bench.graft(5, "2026-03-10", lot="T2"))) == [
        "counts_toward_order"
    ]
    # told late, of a day before anybody had ordered it
    assert kinds(await bench.when(bench.graft(5, "2026-03-02", lot="T3"))) == []
    await bench.given(event("grafting.order_ended", "2026-03-26", work_order="WO1", reason="done"))
    # an ended order takes nothing by itself, but what is said to be for it counts
    assert kinds(await bench.when(bench.graft(1, "2026-03-10", lot="T4"))) == []
    ended = await bench.when(bench.graft(2, "2026-03-10", lot="T5", work_order="WO1"))
    assert kinds(ended) == ["order_ended"]
    assert await progress(bench) == (30, 12, "done")
    assert await agrees(bench) == []


async def test_a_change_says_what_is_still_wanted(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(order(30))
    (first,) = await bench.given(bench.graft(10))
    await bench.given(
        event(
            "grafting.order_changed",
            "2026-03-06",
            work_order="WO1",
            count=15,
            needed_by="2026-04-01",
            grafters=["p-03"],
        )
    )
    assert await progress(bench) == (25, 10, None)
    row = await bench.database.writer.fetchrow("SELECT * FROM work_orders")
    assert (str(row["needed_by"]), row["grafters"]) == ("2026-04-01", ["p-03"])
    # what was done before the change and turns out not to be is to be done again
    await bench.given(event("event.voided", "2026-03-07", event=first.id, reason="not done"))
    assert await progress(bench) == (25, 0, None)
    assert await agrees(bench) == []


async def test_what_is_ordered_and_grafted_on_a_day_may_be_told_in_any_order(
    bench: BenchSide,
) -> None:
    await bench.stocked()
    early = bench.graft(5, "2026-03-05T08:00:00+01:00", work_order="WO1")
    await bench.given(early, order(30, day="2026-03-05"))
    assert await progress(bench) == (30, 5, None)


async def test_wood_that_comes_in_beside_its_grafting_finds_the_order(bench: BenchSide) -> None:
    """A day sheet is one request: what it is told with makes no difference."""
    await bench.stocked()
    await bench.given(order(10, "WO2", cultivar="LIMA"))
    wood = {"lot": "BW2", "cultivar": "LIMA", "supplier": "sup-1"}
    bag = {"bag": "B2", "buds": 20, "place": "C-BOX"}
    answer = await bench.send(
        event("budwood.received", "2026-03-05", **wood, bags=[bag]),
        bench.graft(10, from_=[{"bag": "B2"}]),
    )
    assert kinds(answer.verdicts[1]) == ["counts_toward_order"]
    assert await progress(bench, "WO2") == (10, 10, None)


async def test_a_regraft_counts_too(bench: BenchSide) -> None:
    await bench.grafted(24)
    await bench.given(
        event("grafts.unwrapped", "2026-04-01", lot="T1", failed=4),
        order(4, day="2026-04-02", needed_by="2026-04-20"),
    )
    again = await bench.when(
        event(
            "trees.regrafted",
            "2026-04-03",
            lot="T9",
            of="T1",
            from_=[{"bag": "B1"}],
            method="t_bud",
            count=4,
            place="C-T1",
        )
    )
    assert kinds(again) == ["counts_toward_order"]
    assert await progress(bench) == (4, 4, None)
    assert await agrees(bench) == []


async def test_orders_are_refused_for_what_is_not_known(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(order(30))

    async def refused(one: Any) -> tuple[str, str]:
        verdict = await bench.when(one)
        assert verdict.verdict == "refused", verdict
        return verdict.errors[0].kind, verdict.errors[0].pointer

    new: dict[str, tuple[dict[str, Any], tuple[str, str]]] = {
        "cultivar": ({"cultivar": "NOPE"}, ("unknown_code", "#/data/cultivar")),
        "rootstock": ({"rootstock": "NOPE"}, ("unknown_code", "#/data/rootstock")),
        "lot": ({"liner_lot": "NOPE"}, ("unknown_code", "#/data/liner_lot")),
        "kind": ({"liner_lot": "BW1"}, ("wrong_kind", "#/data/liner_lot")),
        "place": ({"place": "T-T1"}, ("unknown_code", "#/data/place")),
        "day": ({"needed_by": "2026-02-30"}, ("not_a_day", "#/data/needed_by")),
        "reservation": ({"reservation": "R1"}, ("unknown_code", "#/data/reservation")),
    }
    for name, (parts, expected) in new.items():
        assert await refused(order(5, "WO9", **parts)) == expected, name
    assert await refused(order(5, "WO1")) == ("code_in_use", "#/data/work_order")
    nothing = order(5, "WO9")
    del nothing["data"]["rootstock"]
    assert await refused(nothing) == ("missing", "#/data/rootstock")
    # an order of another site is as unknown as none
    change = event("grafting.order_changed", "2026-03-06", "TARNA", work_order="WO1", count=5)
    assert await refused(change) == ("unknown_code", "#/data/work_order")
    nothing_said = event("grafting.order_changed", "2026-03-06", work_order="WO1")
    assert await refused(nothing_said) == ("missing", "#/data")
    for_none = bench.graft(1, work_order="WO7")
    assert await refused(for_none) == ("unknown_code", "#/data/work_order")
    end = event("grafting.order_ended", "2026-03-06", work_order="WO1", reason="cancelled")
    await bench.given(end)
    assert (await refused(end))[0] == "not_open"
    change["site"] = "CORIN"
    assert (await refused(change))[0] == "not_open"


async def test_an_order_is_not_voided_but_ended(bench: BenchSide) -> None:
    await bench.stocked()
    (made,) = await bench.given(order(30))
    void = event("event.voided", "2026-03-06", event=made.id, reason="slip")
    assert (await bench.when(void)).errors[0].kind == "not_voidable"


async def test_the_rootstock_is_the_liner_lots(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(entry_of_a_rootstock())
    one = order(30, liner_lot="L1")
    one["data"]["rootstock"] = "MACRO"
    refused = await bench.when(one)
    assert refused.errors[0].kind == "counts_disagree"
    del one["data"]["rootstock"]
    await bench.given(one)
    sql = "SELECT rootstock FROM work_orders"
    assert await bench.database.writer.fetchval(sql) == "CARRIZO"


def entry_of_a_rootstock() -> Any:
    entry = {"kind": "rootstock", "code": "MACRO", "crop": "citrus", "name": "Macrophylla"}
    return event("catalogue.changed", "2025-01-01", entry=entry)


async def test_an_order_on_held_liners_is_made_and_remarked(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(
        event(
            "hold.placed",
            "2026-03-01",
            hold="H1",
            kind="plant_health",
            target="lot",
            code="L1",
            reason="suspect roots",
        )
    )
    verdict = await bench.when(order(30, liner_lot="L1"))
    assert (verdict.verdict, kinds(verdict)) == ("accepted", ["held"])
    assert (await bench.when(bench.graft(5))).errors[0].kind == "held"


async def test_an_order_for_a_reservation_is_for_its_customer(bench: BenchSide) -> None:
    await bench.stocked()
    buds = [{"cultivar": "NAVEL", "buds": True, "count": 5}]
    await bench.given(
        event("reservation.made", "2026-03-02", reservation="R1", customer="cust-1", lines=buds)
    )
    await bench.given(order(30, reservation="R1"))
    sql = "SELECT customer FROM work_orders"
    assert await bench.database.writer.fetchval(sql) == "cust-1"
    other = await bench.when(order(30, "WO2", reservation="R1", customer="cust-2"))
    assert other.errors[0].kind == "other_customer"


def test_a_retry_across_the_upgrade_finds_its_digest() -> None:
    """The digest is as it was computed before graftings could name an order."""
    raw: dict[str, Any] = {
        "type": "trees.grafted",
        "id": "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77",
        "site": "CORIN",
        "occurred": "2026-03-05",
        "data": {
            "from": [{"bag": "B1"}],
            "onto": {"liner_lot": "L1"},
            "method": "t_bud",
            "place": "C-T1",
            "count": 3,
        },
    }
    before = "711d7ed2bc5b8ddcf27e1c710be38d925cc004badba78282cc5b529794cf82ab"
    assert digest_of(msgspec.convert(raw, Event)).hex() == before
    raw["data"]["work_order"] = "WO1"
    assert digest_of(msgspec.convert(raw, Event)).hex() != before
