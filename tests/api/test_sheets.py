"""Sheets over HTTP: the template, a filled-in one taken in, and unknown parts shown as unknown."""

import csv
import io

import httpx

from service.clock import system_clock
from service.forecast.refresh import refresh
from service.jobs.every_view import every_view
from service.sheets.columns import SHEETS
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.conftest import MakeClient
from tests.api.nursery import CATALOGUE
from tests.support.foretelling import stand_in

CSV = {"Content-Type": "text/csv"}
OPENING = "date;site;what;lot;bag;stage;size;place;count\n"
UNKNOWN = (
    OPENING
    + "2026-03-01;CORIN;trees;TR-1;;ready;C2;H2-T04;12\n"
    + "2026-03-01;CORIN;trees;TR-2;;grafted;C2;H2-T04;8\n"
    + "2026-03-01;CORIN;liners;LN-1;;;C2;H2-T04;7\n"
    + "2026-03-01;CORIN;budwood;BW-1;B-1;;;COOL-1;9\n"
)


async def catalogue(client: httpx.AsyncClient) -> None:
    for path, body in CATALOGUE:
        answer = await client.put(f"/v1/{path}", json=body, headers={"If-None-Match": "*"})
        assert answer.status_code == 201, answer.text


async def test_a_template_is_csv_with_the_header_of_its_columns(client_for: MakeClient) -> None:
    client = await client_for("auditor", "CORIN")
    listed = {one["name"]: one for one in (await client.get("/v1/sheets")).json()["items"]}
    assert list(listed) == list(SHEETS)
    for name, sheet in listed.items():
        answer = await client.get(f"/v1/sheets/{name}")
        assert answer.headers["content-type"] == "text/csv; charset=utf-8; header=present"
        rows = list(csv.reader(io.StringIO(answer.text)))
        assert rows[0] == [column["name"] for column in sheet["columns"]]
        assert len(rows) > 1
        bare = await client.get(f"/v1/sheets/{name}", params={"examples": "false"})
        assert bare.text == answer.text.split("\r\n")[0] + "\r\n"


async def test_a_sheet_is_recorded_whole_and_a_retry_is_known(client_for: MakeClient) -> None:
    await catalogue(await client_for())
    client = await client_for("recorder", "CORIN")
    looked = await client.post(
        "/v1/sheets/opening", params={"check": "true"}, content=UNKNOWN, headers=CSV
    )
    assert looked.status_code == 200
    assert {line["became"] for line in looked.json()["lines"]} == {"would_be_recorded"}
    assert (await client.get("/v1/lots/TR-1")).status_code == 404
    keyed = CSV | {"Idempotency-Key": "opening-1"}
    first = await client.post("/v1/sheets/opening", content=UNKNOWN, headers=keyed)
    assert first.status_code == 201
    report = first.json()
    assert (report["sheet"], report["recorded"], report["refused"]) == ("opening", 4, 0)
    assert report["lines"][3]["made"]["bag"] == ["B-1"]
    retry = await client.post("/v1/sheets/opening", content=UNKNOWN, headers=keyed)
    assert retry.headers["Idempotency-Replayed"] == "true"
    assert retry.json()["lines"] == report["lines"]
    again = await client.post("/v1/sheets/opening", content=UNKNOWN, headers=CSV)
    assert again.status_code == 200
    assert {line["became"] for line in again.json()["lines"]} == {"known"}


async def test_mistakes_and_refusals_are_problems_with_the_report_in_them(
    client_for: MakeClient,
) -> None:
    await catalogue(await client_for())
    client = await client_for("recorder", "CORIN")
    wrong = UNKNOWN.replace("12\n", "1,5\n")
    answer = await client.post("/v1/sheets/opening", content=wrong, headers=CSV)
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["type"] == "/problems/validation-error"
    assert [error["numbers"] for error in problem["errors"]] == [{"line": 2, "column": "count"}]
    became = [(line["line"], line["became"]) for line in problem["lines"]]
    assert became == [(2, "refused"), (3, "not_recorded"), (4, "not_recorded"),
                      (5, "not_recorded")]  # fmt: skip
    unknown = UNKNOWN.replace("LN-1;;;C2", "LN-1;;;C9")
    answer = await client.post("/v1/sheets/opening", content=unknown, headers=CSV)
    assert answer.status_code == 409
    (error,) = answer.json()["errors"]
    assert (error["kind"], error["numbers"]["line"], error["numbers"]["column"]) == (
        "unknown_code", 4, "size")  # fmt: skip
    assert (await client.get("/v1/lots/TR-1")).status_code == 404


async def test_rights_are_those_of_what_the_rows_become(client_for: MakeClient) -> None:
    await catalogue(await client_for())
    auditor, elsewhere = await client_for("auditor"), await client_for("recorder", "VALE")
    refused = await auditor.post("/v1/sheets/opening", content=UNKNOWN, headers=CSV)
    assert (refused.status_code, refused.json()["scope"]) == (403, "events:write")
    # A site that the key does not see is a site that is not there.
    hidden = await elsewhere.post("/v1/sheets/opening", content=UNKNOWN, headers=CSV)
    assert hidden.status_code == 409
    assert {error["numbers"]["column"] for error in hidden.json()["errors"]} == {"site"}
    recorder = await client_for("recorder")
    sizes = "date,site,code,label\n2026-01-01,CORIN,C9,9 litre\n"
    lacking = await recorder.post("/v1/sheets/sizes", content=sizes, headers=CSV)
    assert (lacking.status_code, lacking.json()["scope"]) == (403, "catalogue:write")


async def test_the_site_and_day_may_be_said_once(client_for: MakeClient) -> None:
    client = await client_for()
    await catalogue(client)
    rows = "what,lot,stage,size,place,count\ntrees,TR-5,ready,C2,H2-T04,3\n"
    answer = await client.post(
        "/v1/sheets/opening",
        params={"site": "CORIN", "date": "2026-03-01"},
        content=rows,
        headers=CSV,
    )
    assert answer.status_code == 201, answer.text


async def test_what_is_no_sheet_is_a_problem(client_for: MakeClient) -> None:
    client = await client_for()
    for path, content, kind, status in (
        ("/v1/sheets/harvest", b"x", "text/csv", 404),
        ("/v1/sheets/opening", b"{}", "application/json", 415),
        ("/v1/sheets/opening", b"", "text/csv", 422),
        ("/v1/sheets/opening", b"\xff\xfe", "text/csv", 422),
        ("/v1/sheets/opening", b"lot\n\x00", "text/csv", 422),
        ("/v1/sheets/opening", b"x" * 9_000_000, "text/csv", 413),
    ):
        answer = await client.post(path, content=content, headers={"Content-Type": kind})
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/problem+json"


async def test_unknown_parts_are_shown_as_unknown(
    client_for: MakeClient, database: Database
) -> None:
    client = await client_for()
    await catalogue(client)
    sent = await client.post("/v1/sheets/opening", content=UNKNOWN, headers=CSV)
    assert sent.status_code == 201, sent.text
    runner = Runner(database, every_view())
    await runner.catch_up()
    await refresh(database, system_clock, forecast=stand_in)
    for address in ("tree-lots/TR-1", "tree-lots/TR-2", "liner-lots/LN-1", "budwood-lots/BW-1"):
        lot = (await client.get(f"/v1/{address}")).json()["lot"]
        parts = ("cultivar", "rootstock", "source", "method", "day")
        assert {part: lot[part] for part in parts} == dict.fromkeys(parts), lot
    for address in (
        "stock?group_by=cultivar,rootstock,lot",
        "stock/by-day?first=2026-03-01&last=2026-03-01&group_by=cultivar,rootstock",
        "budwood",
        "checks",
        "ready-dates",
        "take",
        "tree-lots",
    ):
        answer = await client.get(f"/v1/{address}")
        assert answer.status_code == 200, (address, answer.text)
        body = answer.json()
        rows = body["items"] if "items" in body else body["rows"]
        assert rows or address in ("take",), address
        for row in rows:
            # Unknown is null: never an empty text, never another lot's.
            told = {row[name] for name in ("cultivar", "rootstock") if name in row}
            assert told <= {None}, (address, row)
