"""Corners where the writer's books, loaded in part, and a full refold must still agree."""

from typing import Any

from service.log.refold import differences, refold
from service.trade import codes
from tests.support.bench_side import BenchSide, event
from tests.support.bench_side import entry as catalogue_entry


async def agrees(bench: BenchSide) -> None:
    """The stored books are those that a refold of the log makes."""
    connection = await bench.database.connect("writer")
    try:
        assert await differences(connection, await refold(connection)) == []
    finally:
        await connection.close()


async def stored(bench: BenchSide, kind: str, lot: str) -> str:
    """The id of the event of a kind that made a lot."""
    return await bench.database.writer.fetchval(
        "SELECT id::text FROM events WHERE type = $1 AND data->>'lot' = $2", kind, lot
    )


def void(one: Any, day: str = "2026-06-01", site: str = "CORIN") -> Any:
    return event("event.voided", day, site, event=getattr(one, "id", one), reason="wrong")


def cut(lot: str, bag: str, day: str = "2026-03-01", buds: int = 40, **more: Any) -> Any:
    source = {"source_tree": "ST-1"} if "tree_lot" not in more else {}
    return event("budwood.cut", day, lot=lot, cultivar="NAVEL",
                 bags=[{"bag": bag, "buds": buds, "place": "C-BOX"}],
                 **(source | more))  # fmt: skip


def bought(lot: str = "R1", count: int = 50, **more: Any) -> Any:
    parts = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "supplier": "sup-9", "document": "PP-1",
             "size": "L2", "place": "C-T2"}  # fmt: skip
    return event("trees.received", "2026-03-01", lot=lot, count=count, **(parts | more))


async def lot_facts(bench: BenchSide, code: str) -> Any:
    return await bench.database.writer.fetchrow("SELECT * FROM lots WHERE code = $1", code)


# -- counts ----------------------------------------


async def test_a_late_loss_of_the_morning_lies_before_the_afternoons_count(
    bench: BenchSide,
) -> None:
    await bench.grafted(24)
    await bench.given(
        event("push.counted", "2026-04-05T15:00:00+02:00", lot="T1", pushed=20, waiting=4)
    )
    await bench.given(
        event("trees.lost", "2026-04-05T09:00:00+02:00", lot="T1", stage="grafted", count=2,
              cause="heat")
    )  # fmt: skip
    assert await bench.balance("T1", "trees") == 24
    await agrees(bench)


async def test_two_counts_of_one_day_the_first_voided(bench: BenchSide) -> None:
    await bench.grafted(24)
    (first,) = await bench.given(
        event("push.counted", "2026-04-05T09:00:00+02:00", lot="T1", pushed=10, waiting=10)
    )
    await bench.given(
        event("push.counted", "2026-04-05T15:00:00+02:00", lot="T1", pushed=12, waiting=9)
    )
    await bench.given(void(first))
    assert await bench.balance("T1", "trees") == 21
    await agrees(bench)


# -- consignments ----------------------------------------


def sent(day: str, count: int = 10, **more: Any) -> Any:
    return event("consignment.sent", day, consignment="V1", to_site="TARNA",
                 lines=[{"lot": "L1", "count": count}], **more)  # fmt: skip


def arrived(day: str, *lines: Any) -> Any:
    return event("consignment.received", day, "TARNA", consignment="V1",
                 lines=list(lines) or [{"lot": "L1", "place": "T-T1", "count": 10}])  # fmt: skip


async def test_a_load_sent_anew_stays_received(bench: BenchSide) -> None:
    await bench.stocked()
    (first,) = await bench.given(sent("2026-05-01"))
    await bench.given(arrived("2026-05-03"))
    await bench.given(void(first), sent("2026-05-02") | {"replaces": first.id})
    again = await bench.when(arrived("2026-05-04"))
    assert again.errors[0].kind == "received_already"
    assert await bench.balance("L1", "liners", site="TARNA") == 10
    await agrees(bench)


async def test_a_load_is_not_received_before_it_was_sent(bench: BenchSide) -> None:
    """The lot is named only by a later event of the same request."""
    await bench.stocked()
    await bench.given(bought(place="C-T1"))
    await bench.given(
        event("consignment.sent", "2026-05-05", consignment="V1", to_site="TARNA",
              lines=[{"lot": "L1", "count": 10}, {"lot": "R1", "count": 5}])
    )  # fmt: skip
    answer = await bench.send(
        arrived("2026-05-01", {"lot": "R1", "place": "T-T1", "count": 0}),
        event("liners.moved", "2026-05-20", lot="L1", count=5, to="C-T2"),
    )
    assert answer.status == 409
    assert "below_zero" in {f.kind for v in answer.verdicts for f in v.errors}
    shorts = [f.numbers["lot"] for v in answer.verdicts for f in v.errors]
    assert sorted(shorts) == ["L1", "R1"]
    (said, _) = [f.detail for v in answer.verdicts for f in v.errors]
    assert "in consignment V1" in said
    assert "It was sent on 2026-05-05: is one of the days wrong?" in said


async def test_what_arrives_is_of_the_lots_own_kind(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(sent("2026-05-01"))
    for line in (
        {"lot": "BW1", "place": "T-BOX", "count": 5, "size": "P9"},
        {"lot": "L1", "place": "T-T1", "count": 5, "size": "P9", "stage": "ready"},
    ):
        verdict = await bench.when(arrived("2026-05-03", line))
        assert verdict.verdict == "refused", line
    counted = event("stock.counted", "2026-05-03", reason="year's end", lines=[
        {"lot": "L1", "place": "C-T1", "size": "P9", "stage": "ready", "counted": 5}])  # fmt: skip
    assert (await bench.when(counted)).errors[0].kind == "wrong_kind"


async def test_what_stood_here_already_was_not_made_later(bench: BenchSide) -> None:
    await bench.nursery()
    wood = {"kind": "budwood", "lot": "OB", "cut_on": "2026-01-02",
            "bags": [{"bag": "OBAG", "buds": 20, "place": "C-BOX"}]}  # fmt: skip
    trees = {"kind": "trees", "lot": "OT", "grafted_on": "2026-01-02", "stage": "grafted",
             "size": "P9", "place": "C-T1", "count": 5}  # fmt: skip
    for line, where in ((wood, "cut_on"), (trees, "grafted_on")):
        (fault,) = (await bench.when(event("stock.opened", "2026-01-01", lines=[line]))).errors
        assert (fault.kind, fault.pointer) == ("counts_disagree", f"#/data/lines/0/{where}")
        same_day = event("stock.opened", "2026-01-02", lines=[line])
        assert (await bench.when(same_day)).verdict == "accepted"


# -- codes ----------------------------------------


async def test_minting_goes_on_past_codes_that_others_chose(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(
        *(cut(codes.mint(n), f"BX{n}") for n in range(12)),
    )
    verdict = await bench.when(bench.graft(1, lot=None))
    assert verdict.verdict == "accepted"
    assert verdict.lot == codes.mint(12)


async def test_a_lot_and_a_bag_never_share_a_code(bench: BenchSide) -> None:
    await bench.stocked()
    liners = event("liners.received", "2026-03-02", lot="B1", rootstock="CARRIZO", size="P9",
                   supplier="s-1", lines=[{"place": "C-T1", "count": 5}])  # fmt: skip
    assert (await bench.when(liners)).errors[0].kind == "code_in_use"
    assert (await bench.when(cut("BW7", "L1"))).errors[0].kind == "code_in_use"
    assert (await bench.when(cut("BW7", "BW7"))).errors[0].kind == "code_in_use"
    opened = event("stock.opened", "2026-01-01", lines=[
        {"kind": "budwood", "lot": f"OB{n}", "cultivar": "NAVEL",
         "bags": [{"bag": "OBAG", "buds": 20, "place": "C-BOX"}]} for n in (1, 2)])  # fmt: skip
    assert (await bench.when(opened)).errors[0].kind == "code_in_use"


# -- lots made anew ----------------------------------------


async def test_a_code_used_again_keeps_nothing_of_what_it_named(bench: BenchSide) -> None:
    await bench.grafted(24)
    (lost,) = await bench.given(
        event("label.lost", "2026-04-01", lot="X1", lines=[{"lot": "T1", "count": 5}])
    )
    await bench.given(void(lost))
    await bench.given(bench.graft(5, "2026-04-02", "X1"))
    row = await lot_facts(bench, "X1")
    assert row["identified"] is True
    (tree,) = await bench.given(bench.graft(1, "2026-04-02", "X2", grown_for="cust-7"))
    await bench.given(void(tree))
    await bench.given(
        event("liners.received", "2026-04-03", lot="X2", rootstock="CARRIZO", size="P9",
              supplier="s-1", lines=[{"place": "C-T1", "count": 5}])
    )  # fmt: skip
    row = await lot_facts(bench, "X2")
    assert [row[n] for n in ("cultivar", "source", "method", "grown_for")] == [None] * 4
    await agrees(bench)


async def test_wood_cut_from_a_tree_lot_follows_what_that_lot_now_is(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(cut("BW2", "B2", source_tree="ST-2"))
    (first,) = await bench.given(bench.graft(10))
    await bench.given(cut("BW5", "B5", "2026-05-01", tree_lot="T1"))
    await bench.given(bench.graft(3, "2026-05-02", "T5", from_=[{"bag": "B5"}]))
    await bench.given(void(first), bench.graft(10, from_=[{"bag": "B2"}]) | {"replaces": first.id})
    wood, trees = await lot_facts(bench, "BW5"), await lot_facts(bench, "T5")
    assert wood["source"] == trees["source"] == "source_tree:ST-2"
    assert wood["rootstock"] is None
    assert "source_tree:ST-1" not in trees["ancestry"]
    await agrees(bench)


async def test_heirs_follow_in_order_of_descent(bench: BenchSide) -> None:
    """BW1 makes T1, on which T2 stands; T1 was made anew after T2."""
    await bench.stocked()
    await bench.given(cut("BW2", "B2", source_tree="ST-2"))
    (first,) = await bench.given(bench.graft(10))
    await bench.given(
        bench.graft(4, "2026-04-02", "T2", from_=[{"bag": "B2"}],
                    onto={"tree_lot": "T1", "stage": "grafted"})
    )  # fmt: skip
    await bench.given(void(first), bench.graft(9) | {"replaces": first.id})
    row = await stored(bench, "budwood.cut", "BW1")
    await bench.given(void(row), cut("BW1", "B1", source_tree="ST-2"))
    assert "source_tree:ST-1" not in (await lot_facts(bench, "T1"))["ancestry"]
    assert "source_tree:ST-1" not in (await lot_facts(bench, "T2"))["ancestry"]
    await agrees(bench)


async def test_a_voided_heir_is_left_alone(bench: BenchSide) -> None:
    await bench.stocked()
    (graft,) = await bench.given(bench.graft(10))
    await bench.given(void(graft))
    row = await stored(bench, "budwood.cut", "BW1")
    await bench.given(void(row))
    await bench.given(cut("BW1", "B1", source_tree="ST-2"))
    await agrees(bench)


async def test_a_lot_of_two_graftings_keeps_the_bag_of_the_one_that_stands(
    bench: BenchSide,
) -> None:
    await bench.nursery()
    await bench.given(
        event("budwood.cut", "2026-03-01", lot="BW1", cultivar="NAVEL", source_tree="ST-1",
              bags=[{"bag": b, "buds": 40, "place": "C-BOX"} for b in ("B1", "B2", "B3")]),
        event("liners.received", "2026-03-01", lot="L1", rootstock="CARRIZO", size="P9",
              supplier="sup-1", lines=[{"place": "C-T1", "count": 100}]),
    )  # fmt: skip
    (first,) = await bench.given(bench.graft(10))
    (second,) = await bench.given(bench.graft(5, "2026-03-06", from_=[{"bag": "B2"}]))
    await bench.given(void(first), bench.graft(9, from_=[{"bag": "B3"}]) | {"replaces": first.id})
    bags = {t for t in (await lot_facts(bench, "T1"))["ancestry"] if t.startswith("bag:")}
    assert bags == {"bag:B2", "bag:B3"}
    await agrees(bench)
    await bench.given(void(second))
    bags = {t for t in (await lot_facts(bench, "T1"))["ancestry"] if t.startswith("bag:")}
    assert bags == {"bag:B3"}
    await agrees(bench)


async def test_an_unidentified_lot_claims_no_more_than_its_candidates_share(
    bench: BenchSide,
) -> None:
    await bench.nursery()
    await bench.given(
        catalogue_entry("rootstock", "CITRANGE", crop="citrus", name="Citrange"), bought("R1")
    )
    await bench.given(bought("R2", rootstock="CITRANGE"))
    (third,) = await bench.given(bought("R3"))
    await bench.given(
        event("label.lost", "2026-04-01", lot="UNK1",
              lines=[{"lot": "R1", "count": 1}, {"lot": "R2", "count": 1}]),
        event("label.lost", "2026-04-01", lot="UNK3", lines=[{"lot": "R3", "count": 1}]),
    )  # fmt: skip
    await bench.given(void(third), bought("R3", rootstock="CITRANGE"))
    assert (await lot_facts(bench, "UNK3"))["rootstock"] == "CITRANGE"
    row = await stored(bench, "trees.received", "R1")
    await bench.given(void(row), bought("R1"))
    assert (await lot_facts(bench, "UNK1"))["rootstock"] is None
    await agrees(bench)


# -- bags, holds ----------------------------------------


async def test_a_hold_on_a_bag_reaches_the_pieces_cut_from_it(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(event("scions.prepared", "2026-03-02", bag="B1", into="P1", pieces=10))
    await bench.given(
        event("hold.placed", "2026-03-03", kind="plant_health", target="bag", code="B1", reason="?")
    )
    verdict = await bench.when(bench.graft(2, from_=[{"bag": "P1"}]))
    assert verdict.errors[0].kind == "held"
    claim = event("reservation.made", "2026-03-05", customer="cust-1",
                  lines=[{"cultivar": "NAVEL", "buds": True, "count": 5}])  # fmt: skip
    assert (await bench.when(claim)).errors[0].kind == "not_enough_to_promise"


async def test_pieces_of_pieces_in_a_ring_end(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(event("scions.prepared", "2026-03-01", bag="B1", into="P1", pieces=10))
    row = await stored(bench, "budwood.cut", "BW1")
    answer = await bench.send(
        void(row),
        cut("BW1", "B9"),
        event("scions.prepared", "2026-03-01", bag="P1", into="B1", pieces=10),
        bench.graft(1, from_=[{"bag": "P1"}]),
    )
    assert answer.status == 409


async def test_a_voided_disinfection_speaks_of_the_same_lot(bench: BenchSide) -> None:
    await bench.grafted(24)
    (done,) = await bench.given(
        event("tools.disinfected", "2026-03-05", person="p-1", product="bleach", before="T1")
    )
    await bench.given(void(done))
    await agrees(bench)


# -- reservations ----------------------------------------


def wants(count: int, code: str, line: Any = None, **more: Any) -> Any:
    line = line or {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2"}
    return event("reservation.made", "2026-04-01", reservation=code, customer="cust-1",
                 lines=[line | {"count": count}], **more)  # fmt: skip


async def test_an_expired_claim_is_judged_before_it_binds_again(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought(), wants(50, "RES1", expires_at="2026-05-01"))
    await bench.given(wants(50, "RES2"))
    longer = event("reservation.changed", "2026-06-01", reservation="RES1", expires_at="2026-12-01")
    assert (await bench.when(longer)).errors[0].kind == "not_enough_to_promise"
    await bench.given(event("reservation.released", "2026-06-02", reservation="RES2", reason="no"))
    assert (await bench.when(longer)).verdict == "accepted"
    await agrees(bench)


async def test_a_lots_graded_claim_is_covered_by_the_whole_lot(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought("R1", 10), bought("R2", 50))
    await bench.given(
        event("trees.graded", "2026-03-10", lot="R1", outcomes=[{"count": 5, "grade": "first"}])
    )
    await bench.given(wants(10, "RES1", {"lot": "R1"}))
    verdict = await bench.when(wants(5, "RES2", {"lot": "R1", "grade": "first"}))
    assert verdict.errors[0].kind == "not_enough_to_promise"


async def test_ungraded_trees_can_be_reserved_by_that_name(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought("R1", 10))
    await bench.given(
        event("trees.graded", "2026-03-10", lot="R1", outcomes=[{"count": 4, "grade": "first"}])
    )
    plain = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2", "grade": "ungraded"}
    assert (await bench.when(wants(7, "RES1", plain))).verdict == "refused"
    await bench.given(wants(6, "RES1", plain))
    await bench.given(
        event("trees.sold", "2026-04-02", customer="cust-1", reservation="RES1",
              lines=[{"lot": "R1", "grade": "ungraded", "count": 6}])
    )  # fmt: skip
    state = await bench.database.writer.fetchval("SELECT state FROM reservations")
    assert state == "fulfilled"
    await agrees(bench)


async def test_a_lot_with_unknown_parts_can_be_reserved_by_its_code(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(
        event("stock.opened", "2026-01-01", lines=[
            {"kind": "trees", "lot": "OLD1", "cultivar": "NAVEL", "stage": "ready", "size": "L2",
             "place": "C-T1", "count": 40}])
    )  # fmt: skip
    assert (await bench.when(wants(40, "RES1", {"lot": "OLD1"}))).verdict == "accepted"
    assert (await bench.when(wants(1, "RES2", {"lot": "OLD1"}))).verdict == "refused"


# -- the rest ----------------------------------------


async def test_what_a_device_recorded_and_took_back_comes_in_that_order(bench: BenchSide) -> None:
    await bench.stocked()
    id_ = "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"
    answer = await bench.send(
        event("event.voided", "2026-03-05", event=id_, reason="slip"),
        bench.graft(1) | {"id": id_},
        mode="each",
    )
    assert [v.verdict for v in answer.verdicts] == ["accepted", "accepted"]
    assert await bench.balance("T1", "trees") == 0
    await agrees(bench)


async def test_what_was_drawn_on_an_estimate_goes_back_on_its_own_day(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(
        event("budwood.received", "2026-03-01", lot="BW3", cultivar="NAVEL", supplier="sup-2",
              bags=[{"bag": "B3", "buds": 15, "basis": "estimated", "place": "C-BOX"}]),
    )  # fmt: skip
    await bench.given(catalogue_entry("place", "C-BOX2", site="CORIN", structure="Store"))
    _, graft = await bench.given(
        event("budwood.moved", "2026-03-02", lines=[{"bag": "B3", "buds": 10}], to="C-BOX2"),
        bench.graft(12, "2026-03-06", "T3", from_=[{"bag": "B3", "place": "C-BOX2"}]),
    )
    await bench.given(void(graft))
    nets = await bench.database.writer.fetch(
        "SELECT occurred_day, sum(delta) AS net FROM legs JOIN balances USING (lot_id, account_id)"
        " WHERE kind = 'variance' GROUP BY 1"
    )
    assert [row["net"] for row in nets if row["net"]] == []
    await agrees(bench)
