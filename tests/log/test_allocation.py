"""A sale that names an item: the log chooses the lots on its own books, under its lock."""

import asyncio
from typing import Any

from service.log.refold import differences, refold
from service.log.submission import Fault
from tests.log.test_selling import bought, wants
from tests.support.bench_side import BenchSide, event

TO_LOT = {"lot": "T1", "cultivar": None, "rootstock": None}
ITEM = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2"}


def sale(count: int, day: str = "2026-04-10", customer: str = "cust-1", **more: Any) -> Any:
    line = ITEM | {"count": count} | more.pop("line", {})
    return event("trees.sold", day, customer=customer, lines=[line], **more)


async def stored_lines(bench: BenchSide, event_id: str | None) -> list[tuple[Any, ...]]:
    data = await bench.database.writer.fetchval("SELECT data FROM events WHERE id = $1", event_id)
    return [(one["lot"], one["place"], one["count"]) for one in data["lines"]]


async def sold(bench: BenchSide, one: Any) -> list[tuple[Any, ...]]:
    (verdict,) = await bench.given(one)
    return await stored_lines(bench, verdict.id)


async def refused(bench: BenchSide, one: Any) -> Fault:
    (fault,) = (await bench.when(one)).errors
    return fault


async def three_lots(bench: BenchSide) -> None:
    """OLD 10 at C-T1, MID 30 at C-T2, NEW 50 at C-T2: ready since January, February, March."""
    await bench.nursery()
    for month, (lot, place, count) in enumerate(
        [("OLD", "C-T1", 10), ("MID", "C-T2", 30), ("NEW", "C-T2", 50)], 1
    ):
        received = bought(lot, count)
        received["occurred"] = f"2026-0{month}-01"  # type: ignore[index]
        received["data"]["place"] = place  # type: ignore[index]
        await bench.given(received)


async def test_the_oldest_ready_go_first_and_what_is_stored_names_lots(bench: BenchSide) -> None:
    await three_lots(bench)
    (verdict,) = await bench.given(sale(8))
    assert await stored_lines(bench, verdict.id) == [("OLD", "C-T1", 8)]
    (remark,) = verdict.remarks
    assert remark.kind == "lots_chosen"
    assert remark.numbers["lines"] == [
        {"line": 0, "lot": "OLD", "place": "C-T1", "grade": None, "count": 8}
    ]
    # one lot per line, then all there is; a later line finds what an earlier one left
    two = sale(25)
    two["data"]["lines"] *= 2
    assert await sold(bench, two) == [("MID", "C-T2", 25), ("NEW", "C-T2", 25)]
    assert await sold(bench, sale(31)) == [
        ("OLD", "C-T1", 2),
        ("MID", "C-T2", 5),
        ("NEW", "C-T2", 24),
    ]
    assert (await refused(bench, sale(2))).numbers["available"] == 1
    async with bench.database.writer.acquire() as connection:
        # Told anew from what is stored, nothing is chosen again.
        assert await differences(connection, await refold(connection)) == []


async def test_sales_at_once_do_not_take_the_same_trees(bench: BenchSide) -> None:
    await three_lots(bench)
    answer = await bench.send(sale(30), sale(61, customer="cust-2"), mode="each")
    assert [verdict.verdict for verdict in answer.verdicts] == ["accepted", "refused"]
    # 60 are left: of twenty who ask for four at once fifteen are served, nobody refused wrongly
    asked = (bench.send(sale(4, customer=f"cust-{number}")) for number in range(20))
    answers = await asyncio.gather(*asked)
    assert sorted(answer.status for answer in answers) == [201] * 15 + [409] * 5
    for lot in ("OLD", "MID", "NEW"):
        assert await bench.balance(lot, "trees") == 0


async def test_what_a_clerk_names_is_left_to_that_line(bench: BenchSide) -> None:
    await three_lots(bench)
    both = sale(10)
    both["data"]["lines"].append({"lot": "OLD", "count": 5})
    assert await sold(bench, both) == [("MID", "C-T2", 10), ("OLD", "C-T1", 5)]
    twice = sale(5, line={"lot": "OLD"})
    assert (await refused(bench, twice)).kind == "say_which"


async def test_never_from_a_hold_nor_a_place_for_returns_nor_anothers_trees(
    bench: BenchSide,
) -> None:
    await three_lots(bench)
    await bench.given(
        event("hold.placed", "2026-04-01", hold="H1", kind="quality", target="lot", code="NEW",
              reason="weak"),
        event("trees.sold", "2026-04-02", customer="cust-9", lines=[{"lot": "OLD", "count": 4}]),
        event("trees.returned", "2026-04-03", customer="cust-9", reason="too many",
              lines=[{"lot": "OLD", "count": 3}]),
    )  # fmt: skip
    fault = await refused(bench, sale(60))
    # As many can be sold by item as can be promised.
    assert (await refused(bench, wants(37, "R"))).numbers["available"] == 36
    numbers = fault.numbers
    assert (numbers["available"], numbers["ready"]) == (36, 89)
    assert (numbers["held"], numbers["came_back"], numbers["grown_for_others"]) == (50, 3, 0)
    assert fault.detail == (
        "60 of NAVEL on CARRIZO in L2 asked; 89 are ready at CORIN, 36 of them can go: 50 are "
        "held; 3 are standing apart because they came back."
    )
    await bench.given(event("trees.moved", "2026-04-04", lot="OLD", place="C-RET", to="C-T1"))
    assert await sold(bench, sale(39)) == [("OLD", "C-T1", 9), ("MID", "C-T2", 30)]


async def test_trees_grown_for_a_customer_go_to_that_customer_alone(bench: BenchSide) -> None:
    await bench.stocked()
    await bench.given(bench.graft(10, grown_for="cust-7"))
    ready = [{"count": 10, "stage": "ready"}]
    await bench.given(event("trees.graded", "2026-03-20", lot="T1", outcomes=ready))
    small = {"size": "P9"}
    assert (await refused(bench, sale(1, line=small))).numbers["grown_for_others"] == 10
    assert await sold(bench, sale(6, customer="cust-7", line=small)) == [("T1", "C-T1", 6)]
    # who names the lot is believed, and told
    (remark,) = (await bench.when(sale(1, line=small | TO_LOT))).remarks
    assert (remark.kind, remark.numbers["grown_for"]) == ("grown_for_another", "cust-7")


async def test_what_others_reserved_by_lot_stays_and_ones_own_goes_first(bench: BenchSide) -> None:
    await three_lots(bench)

    def reserve(code: str, customer: str, lot: str, count: int) -> Any:
        return event("reservation.made", "2026-04-01", reservation=code, customer=customer,
                     lines=[{"lot": lot, "count": count}])  # fmt: skip

    await bench.given(reserve("R-A", "cust-2", "OLD", 7), reserve("R-B", "cust-1", "NEW", 12))
    assert (await refused(bench, sale(99))).numbers["reserved_by_lot"] == 19
    assert await sold(bench, sale(5)) == [("MID", "C-T2", 5)]
    first = await sold(bench, sale(5, reservation="R-B"))
    rest = await sold(bench, sale(10, "2026-04-12", reservation="R-B"))
    assert (first, rest) == ([("NEW", "C-T2", 5)], [("NEW", "C-T2", 10)])
    rows = await bench.database.writer.fetch("SELECT code, state FROM reservations ORDER BY 1")
    assert [tuple(row) for row in rows] == [("R-A", "open"), ("R-B", "fulfilled")]


async def test_a_sale_told_late_takes_what_was_there_on_its_day_and_is_there_still(
    bench: BenchSide,
) -> None:
    await three_lots(bench)
    await bench.given(sale(10, "2026-02-20", line={"place": "C-T1"}))
    # In January only OLD was ready, and it went in February; MID came on 1 February.
    assert (await refused(bench, sale(1, "2026-01-15"))).numbers["available"] == 0
    assert await sold(bench, sale(30, "2026-02-10")) == [("MID", "C-T2", 30)]
    assert (await refused(bench, sale(1, "2026-02-10"))).numbers["available"] == 0


async def test_an_item_is_a_cultivar_on_a_rootstock_in_a_size(bench: BenchSide) -> None:
    await three_lots(bench)
    for missing in ITEM:
        fault = await refused(bench, sale(1, line={missing: None}))
        assert (fault.kind, fault.pointer) == ("missing", f"#/data/lines/0/{missing}")
    nothing = event("trees.sold", "2026-04-10", customer="c", lines=[{"count": 1}])
    assert (await refused(bench, nothing)).pointer == "#/data/lines/0/lot"
    assert (await refused(bench, sale(1, line={"size": "NOPE"}))).kind == "unknown_code"
    assert (await refused(bench, sale(1, line={"place": "T-T1"}))).kind == "unknown_code"
    assert (await refused(bench, sale(1, line={"stage": "pushed"}))).kind == "say_which"


async def test_a_return_goes_to_the_only_place_in_the_only_size(bench: BenchSide) -> None:
    await three_lots(bench)
    await bench.given(sale(9))
    back = event("trees.returned", "2026-04-12", customer="cust-1", reason="too many",
                 lines=[{"lot": "OLD", "count": 2}])  # fmt: skip
    await bench.given(back)
    assert await bench.balance("OLD", "trees", place="C-RET", size="L2") == 2
    other = back | {"site": "TARNA"}
    assert (await refused(bench, other)).numbers["ready_sizes"] == []


async def test_buds_of_a_cultivar_come_out_of_bags_cut_first_that_keep(bench: BenchSide) -> None:
    await bench.stocked()
    wood = {"OLD": ("2025-11-01", {"B-O": 30}), "NEW": ("2026-03-20", {"B-N": 9, "B-M": 20})}
    for lot, (day, filled) in wood.items():
        await bench.given(
            event("budwood.cut", day, lot=lot, cultivar="NAVEL", source_tree="ST-1",
                  bags=[{"bag": b, "buds": n, "place": "C-BOX"} for b, n in filled.items()])
        )  # fmt: skip

    def buds(count: int, **line: Any) -> Any:
        wanted = {"cultivar": "NAVEL", "buds": count} | line
        return event("budwood.sold", "2026-04-01", customer="cust-1", lines=[wanted])

    async def bags(one: Any) -> list[tuple[Any, ...]]:
        (verdict,) = await bench.given(one)
        sql = "SELECT data FROM events WHERE id = $1"
        data = await bench.database.writer.fetchval(sql, verdict.id)
        return [(line["bag"], line["lot"], line["buds"]) for line in data["lines"]]

    # B1 of 1 March has 40; wood of November is past its time, and is for a person to choose.
    fault = await refused(bench, buds(70))
    assert (fault.numbers["available"], fault.numbers["too_old"]) == (69, 30)
    assert fault.detail == (
        "70 of NAVEL (buds) asked; 99 are in bags at CORIN, 69 of them can go: 30 are past their "
        "keeping time."
    )
    await bench.given(
        event("reservation.made", "2026-04-01", reservation="R-B", customer="cust-2",
              lines=[{"lot": "BW1", "count": 35}])
    )  # fmt: skip
    assert await bags(buds(5)) == [("B1", "BW1", 5)]
    assert await bags(buds(21)) == [("B-M", "NEW", 20), ("B-N", "NEW", 1)]
    assert (await refused(bench, buds(9))).numbers["reserved_by_lot"] == 35
    both = buds(3)
    both["data"]["lines"].append({"bag": "B-N", "buds": 5})
    assert await bags(both) == [("B-N", "NEW", 3), ("B-N", "NEW", 5)]
    assert (await refused(bench, buds(1, bag="B1"))).kind == "say_which"
    assert (await refused(bench, buds(1, cultivar=None))).kind == "missing"
    assert (await refused(bench, buds(1, cultivar="NOPE"))).kind == "unknown_code"
