"""From a bag of budwood to grafted, pushed and counted trees."""

from tests.support.bench_side import BenchSide, event


async def test_a_graft_moves_plants_and_buds(bench: BenchSide) -> None:
    await bench.stocked()
    verdict = await bench.when(
        bench.graft(24, grafters=[{"person": "p-1", "count": 14}, {"person": "p-2", "count": 10}])
    )
    assert verdict.verdict == "accepted"
    assert verdict.lot == "T1"
    assert await bench.balance("L1", "liners") == 76
    assert await bench.balance("T1", "trees", stage="grafted", place="C-T1") == 24
    assert await bench.balance("BW1", "bag") == 16
    assert await bench.balance("BW1", "used") == 24


async def test_more_than_the_bag_holds_is_refused_with_the_numbers(bench: BenchSide) -> None:
    await bench.stocked()
    verdict = await bench.when(bench.graft(41))
    assert verdict.verdict == "refused"
    (fault,) = verdict.errors
    assert fault.kind == "below_zero"
    assert fault.numbers["shortage"] == 1
    assert fault.numbers["ref"] == "B1"
    assert await bench.balance("L1", "liners") == 100


async def test_a_push_count_derives_the_differences(bench: BenchSide) -> None:
    await bench.grafted(24)
    verdict = await bench.when(
        event(
            "push.counted",
            "2026-04-05",
            lot="T1",
            pushed=15,
            waiting=4,
            failed=3,
            removed=[{"count": 1, "cause": "dead_stock"}],
        )
    )
    assert [remark.kind for remark in verdict.remarks] == ["count_differs"]
    assert await bench.balance("T1", "trees", stage="pushed") == 15
    assert await bench.balance("T1", "trees", stage="grafted") == 4
    assert await bench.balance("T1", "trees", stage="failed") == 3
    assert await bench.balance("T1", "lost") == 1
    assert await bench.balance("T1", "variance") == 1


async def test_what_was_counted_stays_what_was_counted(bench: BenchSide) -> None:
    await bench.grafted(24)
    await bench.given(event("push.counted", "2026-04-05", lot="T1", pushed=20, waiting=4))
    verdict = await bench.when(
        event("trees.lost", "2026-03-20", lot="T1", stage="grafted", count=2, cause="heat")
    )
    assert [remark.kind for remark in verdict.remarks] == ["before_a_count"]
    assert await bench.balance("T1", "trees") == 24
    assert await bench.balance("T1", "lost") == 2


async def test_a_wrong_bag_is_voided_and_replaced_as_one(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(
        event(
            "budwood.cut",
            "2026-03-02",
            lot="BW2",
            cultivar="NAVEL",
            source_tree="ST-2",
            bags=[{"bag": "B2", "buds": 30, "place": "C-BOX"}],
        )
    )
    (first,) = await bench.given(bench.graft(24))
    await bench.given(event("push.counted", "2026-04-05", lot="T1", pushed=20, waiting=4))
    alone = await bench.when(
        event("event.voided", "2026-06-01", event=first.id, reason="wrong bag")
    )
    assert alone.verdict == "refused"
    assert {fault.kind for fault in alone.errors} & {"others_stand_on_it", "below_zero"}
    answer = await bench.send(
        event("event.voided", "2026-06-01", event=first.id, reason="wrong bag"),
        bench.graft(
            24,
            from_=[{"bag": "B2"}],
        )
        | {"replaces": first.id},
    )
    assert answer.status == 201, answer.verdicts
    assert await bench.balance("BW1", "bag") == 40
    assert await bench.balance("BW2", "bag") == 6
    assert await bench.balance("T1", "trees", stage="pushed") == 20
    ancestry = await bench.database.writer.fetchval("SELECT ancestry FROM lots WHERE code = 'T1'")
    assert "source_tree:ST-2" in ancestry
    assert "source_tree:ST-1" not in ancestry


async def test_a_late_graft_is_judged_on_every_day_since(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(bench.graft(30, "2026-04-01"))
    verdict = await bench.when(bench.graft(20, "2026-03-10", "T2"))
    assert verdict.verdict == "refused"
    assert verdict.errors[0].numbers["day"] == "2026-04-01"
    assert verdict.errors[0].numbers["events_that_day"]
    assert (await bench.when(bench.graft(10, "2026-03-10", "T2"))).verdict == "accepted"


async def test_an_estimated_bag_gives_one_more_with_a_remark(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(
        event(
            "budwood.received",
            "2026-03-02",
            lot="BW3",
            cultivar="NAVEL",
            supplier="sup-2",
            bags=[{"bag": "B3", "buds": 15, "basis": "at_least", "place": "C-BOX"}],
        )
    )
    verdict = await bench.when(bench.graft(17, lot="T3", from_=[{"bag": "B3"}]))
    assert verdict.verdict == "accepted"
    assert "drawn_on_estimate" in [remark.kind for remark in verdict.remarks]
    assert await bench.balance("BW3", "bag") == 0
    assert await bench.balance("BW3", "variance") == -2
