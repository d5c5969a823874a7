"""Bags on hand with their age, and traces back to the source tree and forward to the customer."""

from datetime import date, datetime

from service.views.budwood import BudwoodOnHand, BudwoodQuery, budwood_on_hand
from service.views.lineage import Lineage, Trace, trace_back, trace_forward
from service.views.runner import Runner
from tests.support.nursery import nursery, season


def _clock(text: str):
    return lambda: datetime.fromisoformat(text)


async def test_bags_on_hand_age_by_the_sites_day(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [BudwoodOnHand()])
    await runner.catch_up()
    # 23:30 UTC on 30 May is 31 May in Madrid: 91 days after 1 March; citrus keeps 90
    late = _clock("2026-05-30T23:30:00+00:00")
    page = await budwood_on_hand(database.reader, BudwoodQuery(), None, clock=late)
    assert page.clocks.known_at == book.position
    assert [(r.bag, r.place, r.buds, r.age_days, r.past_use_by) for r in page.rows] == [
        ("BAG1", "C-BOX", 30, 91, True),
        ("BAG2", "C-BOX", 15, 91, True),
    ]
    assert page.rows[0].use_by == date(2026, 5, 30)
    assert page.rows[0].keep_days_source
    earlier = _clock("2026-05-30T21:30:00+00:00")
    query = BudwoodQuery(past_use_by=True)
    assert (await budwood_on_hand(database.reader, query, None, clock=earlier)).rows == []
    line = {"bag": "BAG1", "lot": "BW1", "buds": 30, "place": "C-BOX"}
    await book.event(
        "budwood.discarded", "CORIN", "2026-06-01", {"lines": [line], "cause": "dried"}
    )
    await runner.catch_up()
    query = BudwoodQuery(limit=1)
    page = await budwood_on_hand(database.reader, query, ["CORIN"], clock=late)
    assert ([r.bag for r in page.rows], page.next_after) == (["BAG2"], None)
    incremental = await database.writer.fetch("SELECT * FROM budwood_on_hand ORDER BY bag")
    await runner.rebuild("budwood")
    assert await database.writer.fetch("SELECT * FROM budwood_on_hand ORDER BY bag") == incremental


async def test_pages_of_bags(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    await Runner(database, [BudwoodOnHand()]).catch_up()
    clock = _clock("2026-03-20T12:00:00+00:00")
    first = await budwood_on_hand(database.reader, BudwoodQuery(limit=1), None, clock=clock)
    assert first.next_after is not None
    query = BudwoodQuery(limit=1, after=first.next_after)
    second = await budwood_on_hand(database.reader, query, None, clock=clock)
    assert [first.rows[0].bag, second.rows[0].bag] == ["BAG1", "BAG2"]


def _where(trace: Trace | None, token: str) -> set[tuple[str, str | None, int]]:
    assert trace is not None
    step = next(s for s in trace.steps if f"{s.what}:{s.code}" == token)
    return {(w.state, w.place, w.quantity) for w in step.whereabouts}


async def test_traces_back_and_forward(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    await book.entry("source_tree", "ST-1", cultivar="NAVEL")
    runner = Runner(database, [Lineage()])
    for type_, extra in (
        ("trees.sold", {"customer": "cust-7"}),
        ("trees.lost", {"cause": "frost", "count": 3}),
        ("trees.lost", {"cause": "culled", "count": 1}),
    ):
        account = {"lot": "TR1", "place": "C-T1", "stage": "grafted", "size": "P9"}
        data = (
            {**extra, "lines": [{**account, "count": 2}]}
            if type_ == "trees.sold"
            else {**account, **extra}
        )
        await book.event(type_, "CORIN", "2026-03-20", data)
    await runner.catch_up()
    back = await trace_back(database.reader, "TR1", None)
    assert back is not None
    assert [(f"{s.what}:{s.code}", s.depth) for s in back.steps] == [
        ("lot:TR1", 0),
        ("bag:BAG1", 1),
        ("lot:LN1", 1),
        ("lot:BW1", 2),
        ("source_tree:ST-1", 3),
    ]
    assert back.steps[0].parents == ["bag:BAG1", "lot:LN1"]
    forward = await trace_forward(database.reader, "source_tree", "ST-1", None)
    assert forward is not None
    assert {s.code for s in forward.steps} == {"ST-1", "BW1", "BAG1", "BAG2", "TR1", "TR2"}
    assert _where(forward, "lot:TR1") == {
        ("here", "C-T1", 4),
        ("sold", None, 2),
        ("dead", None, 3),
        ("culled", None, 1),
    }
    assert _where(forward, "lot:TR2") == {("here", "C-T2", 20)}
    assert _where(forward, "bag:BAG1") == {("here", "C-BOX", 30)}
    incremental = await database.writer.fetch("SELECT * FROM lineage ORDER BY 1, 2")
    await runner.rebuild("lineage")
    assert await database.writer.fetch("SELECT * FROM lineage ORDER BY 1, 2") == incremental


async def test_a_trace_does_not_wait_for_its_view(database) -> None:
    """What the table knows, what it knows no longer rightly, and what it does not know yet."""
    book = await nursery(database.writer)
    await season(book)
    runner = Runner(database, [Lineage()])
    await runner.catch_up()
    account = {"lot": "TR1", "place": "C-T1", "stage": "grafted", "size": "P9"}
    await book.event("trees.lost", "CORIN", "2026-03-20", {**account, "cause": "frost", "count": 3})
    await database.writer.execute("UPDATE lots SET parents = '{bag:BAG2}' WHERE code = 'TR1'")
    early = await trace_back(database.reader, "TR1", None)
    forward = await trace_forward(database.reader, "bag", "BAG1", None)
    await runner.catch_up()
    assert early is not None
    assert early.position == book.position
    assert early.steps[0].parents == ["bag:BAG2"]
    assert ("dead", None, 3) in _where(early, "lot:TR1")
    assert early == await trace_back(database.reader, "TR1", None)
    assert forward is not None
    assert "TR1" not in {step.code for step in forward.steps}
    assert forward == await trace_forward(database.reader, "bag", "BAG1", None)


async def test_another_sites_lots_are_not_there(database) -> None:
    book = await nursery(database.writer)
    await season(book)
    await Runner(database, [Lineage()]).catch_up()
    assert await trace_back(database.reader, "TR1", ["TARNA"]) is None
    assert await trace_forward(database.reader, "bag", "BAG1", ["TARNA"]) is None
    assert await trace_back(database.reader, "NOSUCH", None) is None
    assert await trace_back(database.reader, "BAG1", ["CORIN"]) is not None
