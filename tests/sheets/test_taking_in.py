"""A file is recorded whole or not at all, and each of its lines is told of."""

from datetime import UTC, datetime

import msgspec
import pytest

from service.sheets.columns import SHEETS
from service.sheets.writing import template
from service.trade.methods import METHODS
from tests.support.bench_side import NOW, BenchSide, entry, event
from tests.support.files import Files, told

GRAFTING = "date;site;lot;bag;liner_lot;method;place;grafter;count;buds;sheet\n"


async def test_the_templates_take_a_nursery_in(files: Files) -> None:
    # The examples are one nursery's: its start is these sheets, in the order they are listed.
    for name, sheet in SHEETS.items():
        report = await files.sheet(template(sheet))
        assert report.refused == 0, report
        assert {line.became for line in report.lines} == {"recorded"}
        assert [line.line for line in report.lines] == list(range(2, len(sheet.examples) + 2))
        position = await files.head()
        again = await files.sheet(template(sheet))
        assert (again.recorded, again.known, again.refused) == (0, report.recorded, 0), name
        assert await files.head() == position


async def test_grafters_and_bags_of_one_lot_are_one_grafting(
    bench: BenchSide, files: Files
) -> None:
    await bench.stocked()
    await bench.given(
        event("budwood.cut", "2026-03-01", lot="BW2", cultivar="NAVEL", source_tree="ST-1",
              bags=[{"bag": "B2", "buds": 40, "place": "C-BOX"},
                    {"bag": "B3", "buds": 40, "place": "C-BOX"}]),
    )  # fmt: skip
    report = await files.sheet(
        GRAFTING
        + "2026-03-05;CORIN;T1;B2;L1;cleft;C-T1;p-1;4;;\n"
        + "2026-03-05;CORIN;T1;B3;L1;cleft;C-T1;p-2;3;11;\n"
        + "2026-03-05;CORIN;T1;B2;L1;cleft;C-T1;p-2;2;;\n"
        + "2026-03-05;CORIN;;B1;L1;t_bud;C-T1;;5;;\n"
    )
    assert told(report) == [(line, "recorded", None) for line in (2, 3, 4, 5)]
    assert [line.with_line for line in report.lines] == [None, 2, 2, None]
    data = await files.database.writer.fetchval(
        "SELECT data FROM events WHERE type = 'trees.grafted' ORDER BY position LIMIT 1"
    )
    assert data["grafters"] == [{"person": "p-1", "count": 4}, {"person": "p-2", "count": 5}]
    per_tree = METHODS["cleft"].buds_per_tree
    assert [(line["bag"], line["buds"]) for line in data["from"]] == [("B2", 6 * per_tree),
                                                                      ("B3", 11)]  # fmt: skip
    assert await bench.balance("T1", "trees", stage="grafted") == 9
    assert await bench.balance(report.lines[3].made["lot"][0], "trees") == 5


async def test_one_refused_line_keeps_the_whole_file_out(bench: BenchSide, files: Files) -> None:
    await bench.stocked()
    before = await files.head()
    good = "2026-03-05;CORIN;T1;B1;L1;t_bud;C-T1;p-1;4;;\n"
    text = (
        GRAFTING
        + good
        + "2026-03-05;CORIN;T2;B9;L1;t_bud;C-T1;p-1;4;;\n"
        + "2026-03-06;CORIN;T3;B1;L1;t_bud;C-T1;p-1;400;;\n"
        + "2026-03-06;CORIN;T4;B1;L1;t_bud;C-T1;;;;\n"
    )
    report = await files.sheet(text)
    assert told(report) == [
        (2, "not_recorded", None),
        (3, "refused", "unknown_code"),
        (4, "refused", "below_zero"),
        (5, "skipped", None),
    ]
    assert report.lines[1].faults[0].column == "bag"
    assert await files.head() == before
    # A dry run says the same, and of a good file what would be recorded; it stores nothing.
    assert told(await files.sheet(text, check=True)) == told(report)
    dry = await files.sheet(GRAFTING + good, check=True)
    assert (told(dry), dry.recorded) == ([(2, "would_be_recorded", None)], 0)
    assert await files.head() == before
    assert await files.database.writer.fetchval("SELECT count(*) FROM to_put_right") == 0


async def test_of_the_catalogue_each_line_names_its_entry(bench: BenchSide, files: Files) -> None:
    await bench.nursery()
    text = "date;site;code;crop;name\n2026-03-05;CORIN;{};citrus;Rough lemon\n"
    for check in (True, False):
        (line,) = (await files.sheet(text.format("ROUGH"), check=check)).lines
        assert (line.event, line.made) == ("catalogue.changed", {"rootstock": ["ROUGH"]})


async def test_a_file_is_judged_as_one_and_in_order_of_occurrence(
    bench: BenchSide, files: Files
) -> None:
    await bench.nursery()
    # Told backwards: grafted on the 5th from what came on the 4th, and from what came the same day.
    lines = [
        bench.graft(10, "2026-03-05"),
        event("liners.received", "2026-03-05", lot="L1", rootstock="CARRIZO", size="P9",
              lines=[{"place": "C-T1", "count": 10}]),
        event("budwood.cut", "2026-03-04", lot="BW1", cultivar="NAVEL", source_tree="ST-1",
              bags=[{"bag": "B1", "buds": 40, "place": "C-BOX"}]),
    ]  # fmt: skip
    report = await files.lines(*(msgspec.json.encode(one) for one in lines))
    assert {line.became for line in report.lines} == {"recorded"}
    newest = max(line.position or 0 for line in report.lines)
    assert report.lines[0].position == newest


async def test_equal_rows_of_one_file_are_told_apart_and_known_again(
    bench: BenchSide, files: Files
) -> None:
    await bench.stocked()
    row = "2026-03-05;CORIN;{lot};B1;L1;t_bud;C-T1;p-1;4;;{sheet}\n"
    looks = [msgspec.json.encode(event("place.checked", "2026-03-05", place="C-T1"))] * 2
    assert (await files.lines(*looks)).recorded == 2
    assert (await files.lines(*looks)).known == 2
    # A third one is new, wherever it stands.
    assert (await files.lines(*looks, looks[0])).recorded == 1
    first = await files.sheet(GRAFTING + row.format(lot="T1", sheet="1"))
    # A row above it makes no difference to what is known.
    both = row.format(lot="T2", sheet="1") + row.format(lot="T1", sheet="1")
    again = await files.sheet(GRAFTING + both)
    assert [line.became for line in again.lines] == ["recorded", "known"]
    assert again.lines[1].id == first.lines[0].id
    # The same on another sheet of paper was done twice.
    other = await files.sheet(GRAFTING + row.format(lot="T1", sheet="2"))
    assert other.recorded == 1
    assert await bench.balance("T1", "trees") == 8


async def test_a_sheet_that_was_voided_goes_in_again_under_another_number(
    bench: BenchSide, files: Files
) -> None:
    await bench.stocked()
    row = "2026-03-05;CORIN;T1;B1;L1;t_bud;C-T1;p-1;4;;{sheet}\n"
    (first,) = (await files.sheet(GRAFTING + row.format(sheet="1"))).lines
    await bench.given(event("event.voided", "2026-03-06", event=first.id, reason="wrong lot"))
    (again,) = (await files.sheet(GRAFTING + row.format(sheet="1"))).lines
    assert (again.became, [r.kind for r in again.remarks]) == ("known", ["voided_since"])
    (anew,) = (await files.sheet(GRAFTING + row.format(sheet="2"))).lines
    assert anew.became == "recorded"
    assert await bench.balance("T1", "trees") == 4


async def test_rows_of_one_lot_that_contradict_are_refused(files: Files) -> None:
    report = await files.sheet(
        "date;site;what;lot;cultivar;stage;size;place;count\n"
        "2026-03-01;CORIN;trees;TR1;NAVEL;ready;P9;C-T1;5\n"
        "2026-03-01;CORIN;trees;TR1;LIMA;ready;P9;C-T2;5\n"
        "2026-03-01;CORIN;liners;L1;NAVEL;;P9;C-T2;5\n"
        "2026-03-01;CORIN;trees;TR2;;;P9;C-T2;5\n"
    )
    found = [(fault.line, fault.column) for line in report.lines for fault in line.faults]
    assert found == [(3, "cultivar"), (4, "cultivar"), (5, "stage")]
    assert told(report)[0] == (2, "not_recorded", None)


async def test_unknown_parts_of_opening_stock_stay_unknown(bench: BenchSide, files: Files) -> None:
    await bench.nursery()
    report = await files.sheet(
        "date,site,what,lot,bag,stage,size,place,count\n"
        "2026-03-01,CORIN,trees,TR1,,ready,P9,C-T1,5\n"
        "2026-03-01,CORIN,liners,LN1,,,P9,C-T1,7\n"
        "2026-03-01,CORIN,budwood,BW1,B1,,,C-BOX,9\n"
    )
    assert report.recorded == 3
    rows = await files.database.writer.fetch(
        "SELECT code, cultivar, rootstock, source, method, day FROM lots ORDER BY code"
    )
    assert [tuple(row) for row in rows] == [
        (code, None, None, None, None, None) for code in ("BW1", "LN1", "TR1")
    ]


async def test_a_count_sheet_counts_pushes_and_stock(bench: BenchSide, files: Files) -> None:
    await bench.grafted(24)
    report = await files.sheet(
        "date,site,place,lot,bag,size,pushed,waiting,failed,removed,cause,counted,reason,person\n"
        "2026-04-02,CORIN,C-T1,T1,,P9,10,8,3,2,dead_stock,,,p-1\n"
        "2026-04-02,CORIN,C-T1,T1,,P9,,,,1,breakage,,,p-1\n"
        "2026-04-02,CORIN,C-T1,L1,,P9,,,,,,70,month's end,p-1\n"
        "2026-04-02,CORIN,C-BOX,,B1,,,,,,,12,,p-1\n"
        "2026-04-02,CORIN,C-T1,T1,,P9,,,,,,,,p-1\n"
    )
    assert [line.became for line in report.lines] == ["recorded"] * 4 + ["skipped"]
    stages = {s: await bench.balance("T1", "trees", stage=s) for s in ("grafted", "pushed",
                                                                      "failed")}  # fmt: skip
    assert stages == {"grafted": 8, "pushed": 10, "failed": 3}
    assert await bench.balance("T1", "lost") == 3
    assert await bench.balance("L1", "liners") == 70
    assert await bench.balance("BW1", "bag") == 12


async def test_old_records_keep_their_time_and_teller(bench: BenchSide, files: Files) -> None:
    then = datetime(2026, 6, 1, tzinfo=UTC)
    site = entry("site", "CORIN", "CORIN", name="Corin", time_zone="Europe/Madrid", latitude=40,
                 longitude=1)  # fmt: skip
    place = entry("place", "C-T1", site="CORIN", structure="House 1")
    look = event("place.checked", "2026-06-01", place="C-T1")
    history = [
        {**site, "recorded_at": then, "recorded_by": "p-1"},
        {**place, "recorded_at": then, "recorded_by": "p-1"},
        {**look, "recorded_at": NOW, "recorded_by": "p-2"},
    ]
    report = await files.lines(*map(msgspec.json.encode, history))
    assert (report.recorded, report.refused) == (3, 0), report
    rows = await files.database.writer.fetch(
        "SELECT recorded_at, recorded_by FROM events ORDER BY position"
    )
    assert [tuple(row) for row in rows] == [(then, "p-1"), (then, "p-1"), (NOW, "p-2")]
    # Going back in time is refused on its line, and then nothing of the file is there.
    late = {**look, "occurred": "2026-05-31", "recorded_at": then}
    twice = [{**look, "occurred": "2026-06-03", "recorded_at": NOW}, late]
    assert told(await files.lines(*map(msgspec.json.encode, twice))) == [
        (1, "not_recorded", None),
        (2, "refused", "out_of_order"),
    ]
    assert await files.head() == 3


@pytest.mark.parametrize(
    ("line", "kind", "column"),
    [
        (b"nonsense", "bad_value", None),
        (b'{"type":"place.checked"', "bad_value", None),
        (b'{"type":"place.checked","site":"CORIN","occurred":"2026-06-01"}', "missing", "data"),
        (b'{"type":"place.checked","site":"CORIN","occurred":"2026-06-01","data":{"place":"x"}}',
         "bad_value", "data.place"),
        (b'{"type":"place.checked","site":"CORIN","occurred":"2026-06-01","data":{"place":"X"},'
         b'"recorded_at":"yesterday"}', "bad_value", "recorded_at"),
        (b"[" * 3000, "wrong_type", None),
        (b"\xff\xfe", "bad_value", None),
    ],
)  # fmt: skip
async def test_lines_that_are_no_events_are_named(
    files: Files, line: bytes, kind: str, column: str | None
) -> None:
    report = await files.lines(b"", line)
    assert told(report) == [(2, "refused", kind)]
    assert report.lines[0].faults[0].column == column
