"""Reservations and sales on the writer's own books."""

from tests.support.bench_side import BenchSide, event


def bought(lot: str = "R1", count: int = 50, **more: object) -> object:
    return event(
        "trees.received",
        "2026-03-01",
        lot=lot,
        cultivar="NAVEL",
        rootstock="CARRIZO",
        supplier="sup-9",
        document="PP-1",
        size="L2",
        place="C-T2",
        count=count,
        **more,
    )


def wants(count: int, code: str, **more: object) -> object:
    line = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2", "count": count}
    return event(
        "reservation.made", "2026-04-01", reservation=code, customer="cust-1", lines=[line], **more
    )


async def test_what_is_not_ready_is_not_promised(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought())
    assert (await bench.when(wants(40, "RES1"))).verdict == "accepted"
    refused = await bench.when(wants(11, "RES2"))
    assert refused.errors[0].kind == "not_enough_to_promise"
    assert refused.errors[0].numbers["available"] == 10
    await bench.given(event("reservation.released", "2026-04-02", reservation="RES1", reason="no"))
    assert (await bench.when(wants(50, "RES2"))).verdict == "accepted"


async def test_a_refused_sale_or_promise_says_what_the_lot_has(bench: BenchSide) -> None:
    await bench.grafted(24)
    for place in ({}, {"place": "C-T1"}):
        line = {"lot": "T1", "count": 2, **place}
        sale = event("trees.sold", "2026-04-10", customer="cust-2", lines=[line])
        (fault,) = (await bench.when(sale)).errors
        assert fault.kind == "nothing_there"
        assert "nothing ready of T1 stands" in fault.detail
        assert "It has 24 grafted P9 at C-T1." in fault.detail
    promise = event("reservation.made", "2026-04-10", customer="cust-2",
                    lines=[{"lot": "T1", "count": 2}])  # fmt: skip
    (fault,) = (await bench.when(promise)).errors
    assert fault.detail == "Lot T1 has no ready trees, so name the size that is promised."


async def test_two_reservations_in_one_group_do_not_promise_the_same_trees(
    bench: BenchSide,
) -> None:
    await bench.nursery()
    await bench.given(bought())
    answer = await bench.send(wants(30, "RES1"), wants(30, "RES2"), mode="each")
    assert [v.verdict for v in answer.verdicts] == ["accepted", "refused"]


async def test_an_expired_claim_does_not_bind(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought(), wants(50, "RES1", expires_at="2026-05-01"))
    assert (await bench.when(wants(50, "RES2"))).verdict == "accepted"


async def test_a_reservation_is_fulfilled_in_two_shipments(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought(), wants(30, "RES1"))

    def ship(day: str, count: int) -> object:
        return event(
            "trees.sold",
            day,
            customer="cust-1",
            reservation="RES1",
            order="o-1",
            lines=[{"lot": "R1", "count": count}],
        )

    await bench.given(ship("2026-04-10", 10))
    (second,) = await bench.given(ship("2026-04-12", 20))
    state = await bench.database.writer.fetchval("SELECT state FROM reservations")
    assert state == "fulfilled"
    await bench.given(event("event.voided", "2026-04-13", event=second.id, reason="not shipped"))
    rows = await bench.database.writer.fetch(
        "SELECT state, open FROM reservations JOIN commitments ON reservation = code"
    )
    assert [tuple(row) for row in rows] == [("open", 20)]


async def test_a_sale_past_what_is_promised_is_recorded_and_remarked(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought(), wants(40, "RES1"))
    verdict = await bench.when(
        event("trees.sold", "2026-04-10", customer="cust-2", lines=[{"lot": "R1", "count": 20}])
    )
    assert verdict.verdict == "accepted"
    (remark,) = verdict.remarks
    assert (remark.kind, remark.numbers["promised"], remark.numbers["ready"]) == (
        "shortfall",
        40,
        30,
    )


async def test_returns_go_to_a_place_for_returns(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought())
    await bench.given(
        event("trees.sold", "2026-04-10", customer="cust-2", lines=[{"lot": "R1", "count": 5}])
    )

    def back(place: str, count: int, **more: object) -> object:
        return event(
            "trees.returned",
            "2026-04-20",
            customer="cust-2",
            reason="too many",
            lines=[{"lot": "R1", "place": place, "size": "L2", "count": count}],
            **more,
        )

    assert (await bench.when(back("C-T2", 1))).errors[0].kind == "returns_not_allowed"
    assert (await bench.when(back("C-RET", 6))).errors[0].kind == "below_zero"
    assert (await bench.when(back("C-RET", 5))).verdict == "accepted"


async def test_a_held_tree_sold_is_a_breach(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought())
    await bench.given(
        event(
            "hold.placed",
            "2026-04-01",
            hold="H1",
            kind="plant_health",
            target="lot",
            code="R1",
            reason="suspect leaves",
        )
    )
    sale = event("trees.sold", "2026-04-10", customer="cust-2", lines=[{"lot": "R1", "count": 5}])
    refused = await bench.when(sale)
    assert refused.errors[0].kind == "held"
    accepted = await bench.when(sale | {"happened": True})
    assert [remark.kind for remark in accepted.remarks] == ["breach"]
    lift = event("hold.lifted", "2026-04-11", hold="H1", reason="clean")
    assert (await bench.when(lift)).errors[0].kind == "needs_authority"
    lift["data"] |= {"authority": "plant health office", "document": "letter 12"}
    assert (await bench.when(lift)).verdict == "accepted"
    assert (await bench.when(sale | {"occurred": "2026-04-12"})).verdict == "accepted"


async def test_a_hold_dated_back_lists_what_was_sold_meanwhile(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought())
    await bench.given(
        event("trees.sold", "2026-04-10", customer="cust-2", lines=[{"lot": "R1", "count": 5}])
    )
    verdict = await bench.when(
        event("hold.placed", "2026-04-05", kind="plant_health", target="lot", code="R1", reason="x")
    )
    (remark,) = verdict.remarks
    assert remark.numbers["count"] == 5
    assert remark.numbers["sold"] == [
        {"day": "2026-04-10", "lot": "R1", "customer": "cust-2", "count": 5}
    ]


async def test_a_consignment_arrives_short_and_with_a_surplus(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(bought())
    await bench.given(
        event(
            "consignment.sent",
            "2026-05-01",
            consignment="V1",
            to_site="TARNA",
            lines=[
                {"lot": "R1", "count": 20},
                {"lot": "L1", "count": 10},
                {"bag": "B1", "count": 10},
            ],
        )
    )
    assert await bench.balance("R1", "transit", site="TARNA") == 20
    answer = await bench.send(
        event(
            "consignment.received",
            "2026-05-04",
            "TARNA",
            consignment="V1",
            lines=[
                {"lot": "R1", "place": "T-T1", "count": 17, "dead": 1},
                {"lot": "L1", "place": "T-T1", "count": 12},
            ],
        )
    )
    assert answer.status == 201, answer.verdicts
    assert await bench.balance("R1", "transit") == 0
    assert await bench.balance("R1", "trees", site="TARNA") == 17
    assert await bench.balance("R1", "variance", site="TARNA") == 2
    assert await bench.balance("L1", "variance", site="TARNA") == -2
    # the bag that nobody wrote down as arrived is short by all of it
    assert await bench.balance("BW1", "transit") == 0
    again = await bench.when(
        event(
            "consignment.received",
            "2026-05-05",
            "TARNA",
            consignment="V1",
            lines=[{"lot": "R1", "place": "T-T1", "count": 1}],
        )
    )
    assert again.errors[0].kind == "received_already"


async def test_ungraded_trees_can_be_named_beside_graded_ones(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought())
    await bench.given(
        event("trees.graded", "2026-03-10", lot="R1", outcomes=[{"count": 20, "grade": "first"}])
    )
    sale = event("trees.sold", "2026-04-01", customer="c", lines=[{"lot": "R1", "count": 3}])
    refused = await bench.when(sale)
    assert refused.errors[0].kind == "say_which"
    assert refused.errors[0].detail.endswith("; say which grade.")
    grades = {there["grade"] for there in refused.errors[0].numbers["standing"]}
    assert grades == {"first", "ungraded"}
    sale["data"]["lines"][0]["grade"] = "ungraded"
    assert (await bench.when(sale)).verdict == "accepted"
    assert await bench.balance("R1", "trees", grade="") == 27


async def test_a_move_to_where_it_stands_is_refused(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(bought())
    stays = event("trees.moved", "2026-04-01", lot="R1", to="C-T2", count=9999)
    assert (await bench.when(stays)).errors[0].kind == "same_place"
    pot = event("trees.potted", "2026-04-01", lot="R1", to_size="L2")
    assert (await bench.when(pot)).errors[0].kind == "same_place"
    many = event("trees.graded", "2026-04-01", lot="R1", outcomes=[{"count": 51}])
    assert (await bench.when(many)).errors[0].kind == "counts_disagree"
