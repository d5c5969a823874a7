"""Giving out buds and liners, and the pages that are printed."""

from datetime import date, timedelta
from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from service.sheets.columns import COUNTS, GRAFTING
from service.sheets.printing import count_lines, grafting_lines
from service.sheets.printing_pages import count_sheet, day_sheet
from service.trade.events.catalogue import Place
from service.trade.fitting import BagThere, LinersThere, Supply, Wanted, use_by
from service.trade.methods import METHODS
from service.views.at_place import AtPlace
from service.views.grafting_list import GraftingList, OrderOfTheDay, ToGraft
from service.views.work_orders import WorkOrderRow

DAY = date(2026, 3, 20)
CULTIVARS, ROOTSTOCKS = ["NAVEL", "LIMA"], ["CARRIZO", "MACRO"]

bags = st.builds(
    BagThere,
    bag=st.sampled_from(["B1", "B2", "B3", "B4"]),
    lot=st.just("BW1"),
    place=st.sampled_from(["BOX-1", "BOX-2"]),
    cultivar=st.sampled_from(CULTIVARS),
    buds=st.integers(1, 60),
    basis=st.just("counted"),
    buds_per_piece=st.sampled_from([None, None, 2]),
    use_by=st.one_of(st.none(), st.dates(DAY - timedelta(9), DAY + timedelta(9))),
    past_use_by=st.booleans(),
)
liners = st.builds(
    LinersThere,
    lot=st.sampled_from(["L1", "L2", "L3"]),
    place=st.sampled_from(["T1", "T2"]),
    size=st.just("P9"),
    rootstock=st.sampled_from(ROOTSTOCKS),
    day=st.one_of(st.none(), st.dates(DAY - timedelta(90), DAY)),
    count=st.integers(1, 60),
)
wanted = st.builds(
    Wanted,
    cultivar=st.sampled_from(CULTIVARS),
    rootstock=st.sampled_from(ROOTSTOCKS),
    liner_lot=st.sampled_from([None, None, "L1"]),
    method=st.sampled_from([None, "t_bud", "cleft"]),
    left=st.integers(0, 80),
)


@given(st.lists(bags, max_size=6), st.lists(liners, max_size=6), st.lists(wanted, max_size=4))
def test_no_bud_and_no_liner_is_given_out_twice(
    there: list[BagThere], stand: list[LinersThere], orders: list[Wanted]
) -> None:
    supply = Supply(there, stand)
    given_out = [(order, supply.give(order)) for order in orders]
    for order, parts in given_out:
        assert sum(part.count for part in parts) == order.left
        assert all(part.count > 0 for part in parts)
        for part in parts:
            if part.bag:
                assert (part.bag.cultivar, part.bag.past_use_by) == (order.cultivar, False)
            if part.liners:
                assert part.liners.rootstock == order.rootstock
                assert order.liner_lot in (None, part.liners.lot)
    taken: dict[int, int] = {}
    for order, parts in given_out:
        for part in parts:
            if part.bag:
                # the handbook's defaults: a bud a tree when budded, three when a scion is grafted
                method = METHODS[order.method].buds_per_tree if order.method else 1
                buds = part.count * (part.bag.buds_per_piece or method)
                taken[id(part.bag)] = taken.get(id(part.bag), 0) + buds
            if part.liners:
                taken[id(part.liners)] = taken.get(id(part.liners), 0) + part.count
    assert all(taken.get(id(bag), 0) <= bag.buds for bag in there)
    assert all(taken.get(id(one), 0) <= one.count for one in stand)
    # and nobody goes without while a bud that would do lies there
    for order, parts in given_out:
        if order.method != "cleft" and any(part.bag is None for part in parts):
            assert all(
                bag.buds - taken.get(id(bag), 0) < (bag.buds_per_piece or 1)
                for bag in there
                if bag.cultivar == order.cultivar and not bag.past_use_by
            )


def test_what_keeps_shortest_is_taken_first() -> None:
    def bag(code: str, buds: int, day: date | None) -> BagThere:
        return BagThere(
            bag=code,
            lot="BW",
            place="BOX",
            cultivar="NAVEL",
            buds=buds,
            basis="counted",
            buds_per_piece=None,
            use_by=day,
            past_use_by=False,
        )

    supply = Supply(
        [
            bag("NEVER", 9, None),
            bag("LATER", 9, DAY + timedelta(20)),
            bag("SOON", 9, DAY + timedelta(2)),
        ],
        [],
    )
    order = Wanted(cultivar="NAVEL", rootstock="CARRIZO", liner_lot=None, method="t_bud", left=20)
    told = [(part.bag.bag if part.bag else None, part.count) for part in supply.give(order)]
    assert told == [("SOON", 9), ("LATER", 9), ("NEVER", 2)]


def test_wood_of_a_crop_nobody_knows_has_no_last_day() -> None:
    assert use_by("citrus", date(2026, 1, 1)) == date(2026, 4, 1)
    assert use_by("quince", DAY) is None
    assert use_by("citrus", None) is None


class Reader(HTMLParser):
    """The texts of a page, and its elements."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.tags: list[str] = []
        self.links: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [value or "" for name, value in attrs if name in ("src", "href", "onclick")]

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def day_list(note: str | None, customer: str | None = "cust-1") -> GraftingList:
    order = WorkOrderRow(
        code="W1",
        site="CORIN",
        cultivar="NAVEL",
        rootstock="CARRIZO",
        liner_lot=None,
        method="t_bud",
        place=None,
        grafters=["p-03", "p-05", "p-07"],
        customer=customer,
        reservation=None,
        note=note,
        made_day=DAY,
        needed_by=DAY - timedelta(1),
        wanted=60,
        done=20,
        left=40,
        state="late",
        ended=None,
        ended_day=None,
        position=1,
        changed_position=1,
    )
    row = ToGraft(
        count=40,
        bag="B1",
        budwood_lot="BW1",
        bag_place="C-BOX",
        use_by=DAY,
        liner_lot="L1",
        liner_place="C-T1",
        size="P9",
        method="t_bud",
        place="C-T1",
    )
    one = OrderOfTheDay(order=order, done_that_day=0, rows=[row], without_bag=0, without_liners=0)
    return GraftingList(
        position=1,
        site="CORIN",
        site_name=note or "Corin",
        day=DAY,
        grafter=None,
        orders=[one],
        more=False,
    )


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1))
def test_whatever_people_wrote_is_text_on_the_page(words: str) -> None:
    listed = day_list(words)
    plain = Reader(day_sheet(day_list("a"), grafting_lines(day_list("a"), None), sheet=None,
                             paper="a4"))  # fmt: skip
    page = Reader(day_sheet(listed, grafting_lines(listed, None), sheet=None, paper="a4"))
    assert page.tags == plain.tags
    assert any(words in text for text in page.texts)
    assert {"script", "img", "link"}.isdisjoint(page.tags)
    assert page.links == []


def test_a_day_sheet_leaves_empty_what_is_written_at_the_bench() -> None:
    listed = day_list(None)
    rows = grafting_lines(listed, "17")
    ((_, lines),) = rows
    # a line for each of the three who are named
    assert [line.shared for line in lines] == [False, True, True]
    for line in lines:
        assert set(line.cells) <= set(GRAFTING.header)
        assert line.cells.keys().isdisjoint(c.name for c in GRAFTING.columns if c.to_fill)
    assert lines[0].cells == {
        "date": "2026-03-20",
        "site": "CORIN",
        "work_order": "W1",
        "bag": "B1",
        "liner_lot": "L1",
        "liner_place": "C-T1",
        "method": "t_bud",
        "place": "C-T1",
        "grown_for": "cust-1",
        "sheet": "17",
    }
    page = day_sheet(listed, rows, sheet="17", paper="letter")
    assert "size: letter landscape" in page
    words = " ".join(Reader(page).texts)
    for expected in ("40 of 60 left", "LATE", "Friday 20 March 2026", "sheet 17", "Local rules"):
        assert expected in words


PLACE = Place(code="C-T1", site="CORIN", structure="House 1")


def standing(kind: str, lot: str, count: int, **more: str) -> AtPlace:
    parts = {"stage": "", "size": "P9", "grade": "", "bag": ""} | more
    return AtPlace(kind=kind, lot=lot, cultivar="NAVEL", rootstock="CARRIZO", count=count, **parts)


THERE = [
    standing("trees", "T1", 12, stage="grafted"),
    standing("trees", "T1", 7, stage="pushed"),
    standing("trees", "T1", 1, stage="failed"),
    standing("trees", "T2", 5, stage="ready", grade="first"),
    standing("trees", "T2", 4, stage="ready"),
    standing("liners", "L1", 90),
    standing("bag", "BW1", 33, bag="B1", size=""),
]


def test_a_count_sheet_does_not_say_what_the_book_has() -> None:
    lines = count_lines(THERE, "stock", place=PLACE, day=DAY, sheet=None)
    assert len(lines) == len(THERE)
    for line in lines:
        assert set(line.cells) <= set(COUNTS.header)
        assert line.cells.keys().isdisjoint(c.name for c in COUNTS.columns if c.to_fill)
    assert [line.cells.get("grade") for line in lines[3:5]] == ["first", "ungraded"]
    hidden, told = (
        Reader(
            count_sheet(lines, "stock", place=PLACE, day=DAY, book=book, sheet=None, paper="a4")
        ).texts
        for book in (False, True)
    )
    assert {"12", "33", "90"} <= set(told)
    assert {"12", "33", "90", "Book"}.isdisjoint(hidden)


def test_a_push_count_has_a_row_for_each_lot_and_size() -> None:
    (line,) = count_lines(THERE, "push", place=PLACE, day=DAY, sheet="4")
    assert line.cells == {
        "date": "2026-03-20",
        "site": "CORIN",
        "place": "C-T1",
        "lot": "T1",
        "size": "P9",
        "sheet": "4",
    }
    assert line.book == {"grafted": 12, "pushed": 7, "failed": 1}
    page = count_sheet([line], "push", place=PLACE, day=DAY, book=True, sheet="4", paper="a4")
    assert {"Pushed", "Waiting", "Failed", "Unclear", "Cause"} <= set(Reader(page).texts)
