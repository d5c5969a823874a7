"""Rules that a fact may break, counts that are voided, labels that are lost."""

from typing import Any

from tests.support.bench_side import BenchSide, entry, event


async def regraftable(bench: BenchSide) -> Any:
    """T1 with 24 grafted of which 6 failed, and a bag of another source, B2."""
    await bench.grafted(24)
    await bench.given(
        event("budwood.cut", "2026-03-02", lot="BW2", cultivar="NAVEL", source_tree="ST-2",
              bags=[{"bag": "B2", "buds": 30, "place": "C-BOX"}]),
        event("grafts.unwrapped", "2026-03-20", lot="T1", failed=6),
    )  # fmt: skip
    return event("trees.regrafted", "2026-03-25", lot="T9", of="T1", method="t_bud",
                 from_=[{"bag": "B2"}], count=6, place="C-T1")  # fmt: skip


async def test_a_regraft_from_another_source_is_refused_then_a_breach(bench: BenchSide) -> None:
    regraft = await regraftable(bench)
    refused = await bench.when(regraft)
    assert refused.errors[0].kind == "other_source"
    verdict = await bench.when(regraft | {"happened": True})
    assert [remark.kind for remark in verdict.remarks] == ["breach"]
    attempt = await bench.database.writer.fetchval("SELECT attempt FROM lots WHERE code = 'T9'")
    assert attempt == 2
    assert await bench.balance("T1", "trees") == 18


async def test_a_regraft_of_the_same_source_is_plain(bench: BenchSide) -> None:
    regraft = await regraftable(bench)
    regraft["data"]["from"] = [{"bag": "B1"}]
    verdict = await bench.when(regraft)
    assert verdict.verdict == "accepted"
    assert not verdict.remarks


async def test_wood_of_a_lapsed_source_tree_is_refused(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(entry("source_tree", "ST-3", cultivar="NAVEL", expires_on="2026-02-28"))
    cut = event("budwood.cut", "2026-03-01", cultivar="NAVEL", source_tree="ST-3",
                bags=[{"buds": 20, "place": "C-BOX"}])  # fmt: skip
    assert (await bench.when(cut)).errors[0].kind == "source_expired"
    assert (await bench.when(cut | {"occurred": "2026-02-28"})).verdict == "accepted"
    breach = await bench.when(cut | {"happened": True})
    assert [remark.kind for remark in breach.remarks] == ["breach"]


async def test_a_hold_on_a_source_tree_reaches_what_descends_from_it(bench: BenchSide) -> None:
    await bench.grafted(24)
    await bench.given(
        event("hold.placed", "2026-04-01", kind="plant_health", target="source_tree", code="ST-1",
              reason="test came back")
    )  # fmt: skip
    for one in (
        event("trees.moved", "2026-04-02", lot="T1", to="C-T2"),
        event("trees.lost", "2026-04-02", lot="T1", count=1, cause="culled"),
        event("budwood.discarded", "2026-04-02", lines=[{"bag": "B1"}], cause="left_over"),
        bench.graft(1, "2026-04-02", "T5"),
    ):
        assert (await bench.when(one)).errors[0].kind == "held", one
    # writing down a death is never hindered, nor what was done before the hold began
    dead = event("trees.lost", "2026-04-02", lot="T1", count=1, cause="disease")
    assert (await bench.when(dead)).verdict == "accepted"
    before = event("trees.moved", "2026-03-31", lot="T1", count=2, to="C-T2")
    assert (await bench.when(before)).verdict == "accepted"


async def test_trees_without_a_label_stand_apart_on_hold(bench: BenchSide) -> None:
    await bench.grafted(24)
    verdict = await bench.when(
        event("label.lost", "2026-04-01", lot="UNK1", lines=[{"lot": "T1", "count": 5}])
    )
    assert verdict.verdict == "accepted"
    assert await bench.balance("UNK1", "trees") == 5
    row = await bench.database.writer.fetchrow(
        "SELECT identified, cultivar, ancestry FROM lots WHERE code = 'UNK1'"
    )
    assert row["identified"] is False
    assert row["cultivar"] == "NAVEL"
    assert "lot:T1" in row["ancestry"]
    assert await bench.database.writer.fetchval("SELECT kind FROM holds") == "identity"


async def test_a_voided_count_keeps_nothing_true(bench: BenchSide) -> None:
    await bench.grafted(24)
    (count,) = await bench.given(
        event("push.counted", "2026-04-05", lot="T1", pushed=20, waiting=3)
    )
    await bench.given(
        event("trees.lost", "2026-03-20", lot="T1", stage="grafted", count=2, cause="heat")
    )
    assert await bench.balance("T1", "trees") == 23
    await bench.given(event("event.voided", "2026-04-06", event=count.id, reason="other table"))
    assert await bench.balance("T1", "trees", stage="grafted") == 22
    assert await bench.balance("T1", "trees", stage="pushed") == 0
    assert await bench.balance("T1", "variance") == 0
    again = await bench.when(
        event("event.voided", "2026-04-06", event=count.id, reason="other table")
    )
    assert again.errors[0].kind == "voided_already"


async def test_voiding_a_late_event_leaves_the_count_as_it_was(bench: BenchSide) -> None:
    await bench.grafted(24)
    await bench.given(event("push.counted", "2026-04-05", lot="T1", pushed=20, waiting=4))
    (late,) = await bench.given(
        event("trees.lost", "2026-03-20", lot="T1", stage="grafted", count=2, cause="heat")
    )
    await bench.given(event("event.voided", "2026-04-06", event=late.id, reason="told twice"))
    assert await bench.balance("T1", "trees") == 24
    assert await bench.balance("T1", "lost") == 0
    assert await bench.balance("T1", "variance") == 0


async def test_holds_and_catalogue_are_not_voided(bench: BenchSide) -> None:
    await bench.grafted(24)
    (hold,) = await bench.given(
        event("hold.placed", "2026-04-01", kind="quality", target="lot", code="T1", reason="thin")
    )
    verdict = await bench.when(event("event.voided", "2026-04-02", event=hold.id, reason="wrong"))
    assert verdict.errors[0].kind == "not_voidable"


async def test_three_grafters_on_one_lot_and_a_label_of_the_same_month(bench: BenchSide) -> None:
    """A label's date counts as the budding date in the same calendar month: common practice, no
    source (4 TAC 21.44 asks for one month and year of budding in a lot)."""
    await bench.stocked()
    await bench.given(bench.graft(10, "2026-03-05", label_date="2026-03-03"))
    await bench.given(bench.graft(8, "2026-03-06", label_date="2026-03-03"))
    day = await bench.database.writer.fetchval("SELECT day::text FROM lots WHERE code = 'T1'")
    assert day == "2026-03-03"
    other = await bench.when(bench.graft(2, "2026-04-06"))
    assert other.errors[0].kind == "lot_differs"
    remark = await bench.when(bench.graft(2, "2026-04-06", "T2", label_date="2026-03-03"))
    assert [r.kind for r in remark.remarks] == ["label_date_differs"]


async def test_a_push_too_early_and_a_take_too_low_are_remarked(bench: BenchSide) -> None:
    await bench.grafted(24)
    early = await bench.when(event("push.counted", "2026-03-08", lot="T1", pushed=1, waiting=23))
    assert [r.kind for r in early.remarks] == ["early_push"]
    low = await bench.when(event("grafts.unwrapped", "2026-03-20", lot="T1", alive=10, failed=13))
    assert "unusual_take" in [r.kind for r in low.remarks]


async def test_another_sites_place_is_as_unknown_as_none(bench: BenchSide) -> None:
    await bench.stocked()
    verdict = await bench.when(bench.graft(3, place="T-T1"))
    assert verdict.errors[0].kind == "unknown_code"
    assert verdict.errors[0].pointer == "#/data/place"


async def test_days_are_the_sites_own(bench: BenchSide) -> None:
    """23:30 UTC on 4 March is already the 5th in Auckland (UTC+13 in its summer time)."""
    await bench.nursery()
    await bench.given(
        event("liners.received", "2026-03-04T23:30:00Z", "TARNA", lot="L7", rootstock="CARRIZO",
              size="P9", lines=[{"place": "T-T1", "count": 5}])
    )  # fmt: skip
    day = await bench.database.writer.fetchval("SELECT occurred_day::text FROM legs LIMIT 1")
    assert day == "2026-03-05"


async def test_opening_with_unknown_parts(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(
        event("stock.opened", "2026-01-01", lines=[
            {"kind": "trees", "lot": "OLD1", "stage": "pushed", "size": "L2", "place": "C-T1",
             "count": 40},
            {"kind": "liners", "lot": "OLD2", "size": "P9", "place": "C-T1", "count": 60,
             "basis": "estimated"},
            {"kind": "budwood", "lot": "OLD3", "cultivar": "NAVEL",
             "bags": [{"bag": "OB1", "buds": 20, "place": "C-BOX"}]}])
    )  # fmt: skip
    graft = bench.graft(20, "2026-01-05", "T8", from_=[{"bag": "OB1"}], onto={"liner_lot": "OLD2"})
    assert (await bench.when(graft)).verdict == "accepted"
    rootstock = await bench.database.writer.fetchval("SELECT rootstock FROM lots WHERE code='T8'")
    assert rootstock is None


async def test_a_place_is_retired_empty(bench: BenchSide) -> None:
    await bench.grafted(24)
    retired = entry("place", "C-T1", site="CORIN", structure="House 1", retired=True)
    refused = await bench.when(retired)
    assert refused.errors[0].kind == "not_empty"
    assert refused.errors[0].numbers["standing"] == {"L1": 76, "T1": 24}
    await bench.given(
        event("trees.moved", "2026-04-01", lot="T1", to="C-T2"),
        event("liners.moved", "2026-04-01", lot="L1", to="C-T2"),
    )
    assert (await bench.when(retired)).verdict == "accepted"
    back = await bench.when(event("trees.moved", "2026-04-02", lot="T1", to="C-T1"))
    assert back.errors[0].kind == "retired"


async def test_what_was_not_counted_stays_as_the_book_has_it(bench: BenchSide) -> None:
    await bench.grafted(24)
    await bench.given(event("grafts.unwrapped", "2026-03-20", lot="T1", failed=6))
    nothing = await bench.when(event("push.counted", "2026-04-01", lot="T1"))
    assert nothing.errors[0].kind == "missing"
    await bench.given(event("push.counted", "2026-04-01", lot="T1", pushed=10, waiting=8))
    assert await bench.balance("T1", "trees", stage="failed") == 6
    assert await bench.balance("T1", "variance") == 0


async def test_a_count_far_from_the_book_is_asked_for_once_more(bench: BenchSide) -> None:
    await bench.grafted(24)
    slip = event("push.counted", "2026-04-01", lot="T1", pushed=24000)
    assert (await bench.when(slip)).errors[0].kind == "far_from_book"
    assert (await bench.when(slip | {"happened": True})).verdict == "accepted"


async def test_an_act_told_of_a_day_before_a_hold_is_remarked(bench: BenchSide) -> None:
    await bench.grafted(24)
    await bench.given(
        event("hold.placed", "2026-04-05", hold="H9", kind="quality", target="lot", code="T1",
              reason="thin")
    )  # fmt: skip
    sale = event("trees.sold", "2026-04-04", customer="cust-1",
                 lines=[{"lot": "T1", "stage": "grafted", "count": 2}])  # fmt: skip
    verdict = await bench.when(sale)
    assert [remark.kind for remark in verdict.remarks] == ["held_since", "not_ready"]


async def test_a_scion_on_another_crop_is_remarked(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(
        entry("rootstock", "MM106", crop="apple", name="MM106"),
        event("liners.received", "2026-03-01", lot="L6", rootstock="MM106", size="P9",
              lines=[{"place": "C-T2", "count": 50}]),
    )  # fmt: skip
    verdict = await bench.when(bench.graft(3, onto={"liner_lot": "L6"}))
    assert [remark.kind for remark in verdict.remarks] == ["other_crop"]


async def test_a_refusal_says_what_is_there_and_what_was_asked(bench: BenchSide) -> None:
    await bench.stocked()
    (fault,) = (await bench.when(bench.graft(88))).errors
    assert (fault.numbers["there"], fault.numbers["asked"]) == (40, 88)
    assert "40 buds of bag B1 at C-BOX; 88 are asked" in fault.detail


async def test_a_hold_on_a_site_blocks_cutting_there_and_no_death(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(
        event("hold.placed", "2026-04-01", kind="plant_health", target="site", code="CORIN",
              reason="find in a trap")
    )  # fmt: skip
    cut = event("budwood.cut", "2026-04-02", cultivar="NAVEL", source_tree="ST-1",
                bags=[{"buds": 20, "place": "C-BOX"}])  # fmt: skip
    assert (await bench.when(cut)).errors[0].kind == "held"
    dead = event("liners.discarded", "2026-04-02", lot="L1", count=3, cause="disease")
    assert (await bench.when(dead)).verdict == "accepted"
    dead["data"]["cause"] = "culled"
    assert (await bench.when(dead)).errors[0].kind == "held"


async def test_a_reminder_is_for_a_day_to_come(bench: BenchSide) -> None:
    await bench.nursery()
    remind = event("alert.remind_on", "2026-06-01", on="2026-06-01",
                   alert="0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77")  # fmt: skip
    assert (await bench.when(remind)).errors[0].pointer == "#/data/on"
    remind["data"]["on"] = "2026-06-02"
    assert (await bench.when(remind)).verdict == "accepted"
