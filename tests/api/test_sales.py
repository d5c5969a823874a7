"""Sales over HTTP: provenance, loading, what is left, returns, licences, and who sees what."""

import asyncio
from typing import Any

import httpx

from service.jobs import every_view
from service.storage.pool import Database
from service.views.runner import Runner
from tests.api.conftest import MakeClient

ITEM = {"cultivar": "NAV", "rootstock": "CARR", "size": "C2"}
CATALOGUE: list[tuple[str, dict[str, Any]]] = [
    *(
        (f"sites/{code}", {"name": code, "time_zone": zone, "latitude": 39.5, "longitude": -0.4})
        for code, zone in (("CORIN", "Europe/Madrid"), ("VALE", "Australia/Sydney"))
    ),
    ("places/H1-T1", {"site": "CORIN", "structure": "House 1"}),
    ("places/H2-T1", {"site": "CORIN", "structure": "House 2"}),
    ("places/YARD", {"site": "CORIN", "structure": "Yard", "for_returns": True}),
    ("places/COOL", {"site": "CORIN", "structure": "Store", "place_kind": "cooler"}),
    ("places/V1", {"site": "VALE", "structure": "Vale house"}),
    ("places/V-COOL", {"site": "VALE", "structure": "Vale store"}),
    (
        "cultivars/NAV",
        {"crop": "citrus", "species": "Citrus sinensis", "epithet": "Navelina",
         "licence_holder": "holder-1", "licence_counts": "sold"},
    ),
    (
        "cultivars/LIM",
        {"crop": "citrus", "species": "Citrus limon", "epithet": "Eureka",
         "licence_holder": "holder-1", "licence_counts": "grafted"},
    ),
    (
        "cultivars/MAN",
        {"crop": "citrus", "species": "Citrus reticulata", "epithet": "Fina",
         "licence_holder": "holder-2"},
    ),
    ("rootstocks/CARR", {"crop": "citrus", "name": "Carrizo citrange"}),
    ("sizes/C2", {"label": "2 litre"}),
    ("source-trees/NAV-3", {"cultivar": "NAV", "registration": "reg-17", "tree_class": "scion"}),
    ("source-trees/LIM-1", {"cultivar": "LIM"}),
]  # fmt: skip


def event(kind: str, day: str, site: str = "CORIN", /, **data: Any) -> dict[str, Any]:
    told = {name.rstrip("_"): value for name, value in data.items()}
    return {"type": kind, "site": site, "occurred": day, "data": told}


def wood(lot: str, cultivar: str, day: str, bag: str, **source: Any) -> dict[str, Any]:
    return event("budwood.cut", day, lot=lot, cultivar=cultivar,
                 bags=[{"bag": bag, "buds": 40, "place": "COOL"}], **source)  # fmt: skip


def graft(lot: str, day: str, bag: str, count: int, **onto: Any) -> dict[str, Any]:
    return event("trees.grafted", day, lot=lot, from_=[{"bag": bag}], onto=onto, method="t_bud",
                 place="H1-T1", count=count)  # fmt: skip


def ready(lot: str, day: str, count: int) -> dict[str, Any]:
    return event("trees.graded", day, lot=lot, outcomes=[{"count": count, "stage": "ready"}])


# Trees of every kind of past: grafted, grafted again, on an interstock, bought in, opened,
# and without a label.
STORY = [
    event("liners.received", "2026-01-10", lot="L", rootstock="CARR", size="C2", supplier="sup-1",
          document="PP-L", seed_source="Grove 4", lines=[{"place": "H1-T1", "count": 100}]),
    wood("W1", "NAV", "2026-01-11", "B1", source_tree="NAV-3", witness="w-1"),
    wood("W2", "NAV", "2026-02-01", "B2", source_tree="NAV-3"),
    wood("W3", "LIM", "2026-01-12", "B3", source_tree="LIM-1"),
    event("scions.prepared", "2026-01-12", bag="B1", into="B1-P", pieces=10, buds_per_piece=1),
    graft("T1", "2026-01-12", "B1-P", 10, liner_lot="L"),
    event("grafts.unwrapped", "2026-01-30", lot="T1", alive=6, failed=4),
    event("trees.regrafted", "2026-02-02", lot="T1-2", of="T1", from_=[{"bag": "B2"}],
          method="chip_bud", place="H2-T1", count=4),
    graft("T2", "2026-01-13", "B3", 8, liner_lot="L"),
    graft("T3", "2026-02-03", "B2", 5, tree_lot="T2"),
    event("trees.received", "2026-02-04", lot="R1", cultivar="NAV", rootstock="CARR",
          supplier="sup-9", document="PP-9", size="C2", place="H2-T1", count=20),
    event("stock.opened", "2026-01-01", lines=[
        {"kind": "trees", "lot": "OPEN", "stage": "ready", "size": "C2", "place": "H2-T1",
         "count": 3, "cultivar": "MAN"}]),
    ready("T1", "2026-03-01", 6), ready("T1-2", "2026-03-02", 4), ready("T3", "2026-03-03", 5),
    event("label.lost", "2026-03-04", lot="NOLABEL", hold="H-ID", lines=[
        {"lot": "T1", "stage": "ready", "count": 2},
        {"lot": "T1-2", "stage": "ready", "count": 1}]),
]  # fmt: skip


async def filled(client: httpx.AsyncClient, story: list[dict[str, Any]]) -> None:
    for path, body in CATALOGUE:
        answer = await client.put(f"/v1/{path}", json=body)
        assert answer.status_code == 201, answer.text
    answer = await client.post("/v1/events", json=story)
    assert answer.status_code == 201, answer.text


def sale(*lines: dict[str, Any], **more: Any) -> dict[str, Any]:
    told = {"site": "CORIN", "occurred": "2026-04-01", "customer": "cust-1", "lines": list(lines)}
    return told | more


async def test_each_line_tells_where_its_trees_come_from_and_what_nobody_told(
    client_for: MakeClient,
) -> None:
    client = await client_for()
    await filled(client, STORY)
    made = await client.post("/v1/sales", json=sale(
        {"lot": "T1", "count": 1}, {"lot": "T1-2", "count": 1}, {"lot": "T3", "count": 2},
        {"lot": "R1", "count": 1}, {"lot": "OPEN", "count": 1},
        {"lot": "NOLABEL", "place": "H1-T1", "count": 1}, happened=True))  # fmt: skip
    assert made.status_code == 201, made.text
    told = {line["lot"]: line["provenance"] for line in made.json()["lines"]}

    grafted = told["T1"]
    assert (grafted["botanical_name"], grafted["epithet"]) == ("Citrus sinensis", "Navelina")
    assert (grafted["rootstock_name"], grafted["method"]) == ("Carrizo citrange", "t_bud")
    assert (grafted["grafted_on"], grafted["attempt"]) == ("2026-01-12", 1)
    # the pieces' bag and the one that they were cut out of
    assert grafted["wood"]["bags"] == ["B1-P", "B1"]
    assert (grafted["wood"]["cut_on"], grafted["wood"]["witness"]) == ("2026-01-11", "w-1")
    assert (grafted["wood"]["source_tree"], grafted["wood"]["registration"]) == ("NAV-3", "reg-17")
    assert grafted["stocks"] == {"lot": "L", "received_on": "2026-01-10", "supplier": "sup-1",
                                 "seed_source": "Grove 4"}  # fmt: skip
    assert (grafted["documents"], grafted["unknown"]) == (["PP-L"], [])

    again = told["T1-2"]
    assert (again["attempt"], again["regraft_of"], again["method"]) == (2, "T1", "chip_bud")
    # the second wood, not the one that failed; the same stocks; nothing in between
    assert (again["wood"]["lot"], again["grafted_on"]) == ("W2", "2026-02-02")
    assert (again["stocks"]["lot"], again["interstocks"]) == ("L", [])

    between = told["T3"]
    assert (between["cultivar"], between["wood"]["lot"]) == ("NAV", "W2")
    (piece,) = between["interstocks"]
    assert (piece["lot"], piece["cultivar"], piece["wood"]["source_tree"]) == ("T2", "LIM", "LIM-1")
    assert between["stocks"]["lot"] == "L"

    bought = told["R1"]
    assert bought["bought_in"] == {"supplier": "sup-9", "received_on": "2026-02-04"}
    assert (bought["wood"], bought["documents"]) == (None, ["PP-9"])
    assert bought["unknown"] == ["source_tree", "cut_on", "method", "grafted_on", "stocks"]
    assert told["OPEN"]["unknown"] == ["source_tree", "cut_on", "rootstock", "method",
                                       "grafted_on", "stocks"]  # fmt: skip

    lost = told["NOLABEL"]
    assert (lost["identified"], lost["may_be_of"]) == (False, ["T1", "T1-2"])
    # both lots stand on the same stocks; all else differs, so it is not known
    assert (lost["cultivar"], lost["stocks"]["lot"], lost["wood"]) == ("NAV", "L", None)
    assert lost["unknown"] == ["source_tree", "cut_on", "method", "grafted_on"]


async def test_a_reservation_is_shipped_in_parts_by_lists_to_load_by(
    client_for: MakeClient,
) -> None:
    client = await client_for()
    await filled(client, STORY)
    reserved = event("reservation.made", "2026-03-20", reservation="RES", customer="cust-1",
                     lines=[ITEM | {"count": 12}, {"lot": "R1", "count": 10}])  # fmt: skip
    assert (await client.post("/v1/events", json=reserved)).status_code == 201
    first = sale(ITEM | {"count": 8}, reservation="RES", order="ord-7")
    position = (await client.get("/v1/sales")).json()["position"]

    judged = (await client.post("/v1/sales?check=true", json=first)).json()
    assert (judged["id"], judged["position"], judged["count"]) == (None, None, 8)
    assert [(stop["structure"], stop["place"], stop["count"]) for stop in judged["loading"]] == [
        ("House 2", "H2-T1", 8)
    ]
    assert [line["open"] for line in judged["left"]] == [12, 2]
    printed = await client.post("/v1/sales?check=true", json=first, headers={"Accept": "text/csv"})
    assert printed.headers["content-type"].startswith("text/csv")
    assert printed.text.splitlines()[1] == "House 2,H2-T1,R1,,NAV,CARR,C2,,8"
    after = (await client.get("/v1/sales")).json()
    assert (after["position"], after["items"]) == (position, [])

    key = {"Idempotency-Key": "ship-1"}
    one = await client.post("/v1/sales", json=first, headers=key)
    two = await client.post("/v1/sales", json=first, headers=key)
    assert (one.status_code, two.status_code) == (201, 201)
    assert "idempotency-replayed" not in one.headers
    assert two.headers["idempotency-replayed"] == "true"
    assert one.json() == two.json()
    made = one.json()
    # what is reserved by lot goes first: the customer's own
    assert [(line["lot"], line["count"]) for line in made["lines"]] == [("R1", 8)]
    assert made["fulfils"] == [{"line": 1, "count": 8}]
    assert one.headers["location"] == f"/v1/sales/{made['id']}"
    assert (await client.get(one.headers["location"])).json() == made

    rest = sale(ITEM | {"count": 5}, {"lot": "R1", "count": 2}, reservation="RES")
    second = (await client.post("/v1/sales", json=rest)).json()
    assert [(line["lot"], line["place"], line["count"]) for line in second["lines"]] == [
        ("R1", "H2-T1", 5), ("R1", "H2-T1", 2)
    ]  # fmt: skip
    assert [line["open"] for line in second["left"]] == [7, 0]
    listed = (await client.get("/v1/sales?reservation=RES&limit=1")).json()
    assert [one["id"] for one in listed["items"]] == [made["id"]]
    following = (await client.get(listed["next"])).json()
    assert [one["lots"] for one in following["items"]] == [["R1"]]
    for nothing in ("customer=cust-2", "order=ord-8", "first=2026-04-02", "last=2026-03-31"):
        assert (await client.get(f"/v1/sales?{nothing}")).json()["items"] == [], nothing
    backwards = await client.get("/v1/sales?first=2026-04-02&last=2026-04-01")
    assert backwards.json()["errors"][0]["parameter"] == "last"
    (stop,) = second["loading"]
    assert [(one["lot"], one["count"]) for one in stop["lines"]] == [("R1", 7)]
    csv = await client.get(f"/v1/sales/{made['id']}/loading-list")
    assert csv.headers["content-type"].startswith("text/csv")
    assert csv.text.splitlines()[1] == "House 2,H2-T1,R1,,NAV,CARR,C2,,8"


async def test_what_goes_outside_its_reservation_is_recorded_and_said_aloud(
    client_for: MakeClient, database: Database
) -> None:
    client = await client_for()
    await filled(client, STORY)
    reserved = event("reservation.made", "2026-03-20", reservation="RES", customer="cust-1",
                     lines=[{"lot": "R1", "count": 2}])  # fmt: skip
    assert (await client.post("/v1/events", json=reserved)).status_code == 201
    lines = {"lot": "T1-2", "count": 1}, {"lot": "R1", "count": 2}
    first = await client.post("/v1/sales", json=sale(*lines, reservation="RES"))
    # the trees of another lot than the one that was wanted; then all of it once more
    (other,) = first.json()["remarks"]
    assert (other["kind"], other["numbers"]["state"]) == ("outside_reservation", "open")
    assert other["numbers"]["items"] == [{"item": "NAV/CARR/C2/", "count": 1}]
    twice = await client.post("/v1/sales", json=sale(lines[1], reservation="RES"))
    (again,) = twice.json()["remarks"]
    assert (twice.status_code, again["kind"]) == (201, "outside_reservation")
    assert (again["numbers"]["state"], again["numbers"]["outside"]) == ("fulfilled", 2)
    assert again["detail"] == (
        "2 of NAV on CARR in C2 handed over outside reservation RES, which is fulfilled already."
    )
    await Runner(database, every_view()).catch_up()
    alerts = (await client.get("/v1/alerts?kind=outside_reservation")).json()["items"]
    assert {one["detail"] for one in alerts} == {other["detail"], again["detail"]}


async def test_all_that_is_left_of_a_reservation_goes_once(client_for: MakeClient) -> None:
    client = await client_for()
    await filled(client, STORY)
    reserved = event("reservation.made", "2026-03-20", reservation="RES", customer="cust-1",
                     lines=[ITEM | {"count": 3}, {"lot": "R1", "count": 10}])  # fmt: skip
    buds = event("reservation.made", "2026-03-20", reservation="BUDS", customer="cust-1",
                 lines=[{"cultivar": "NAV", "buds": True, "count": 5}])  # fmt: skip
    assert (await client.post("/v1/events", json=[reserved, buds])).status_code == 201
    part = sale({"lot": "R1", "count": 4}, reservation="RES")
    assert (await client.post("/v1/sales", json=part)).status_code == 201
    rest = {name: part[name] for name in part.keys() - {"lines"}}

    judged = (await client.post("/v1/sales?check=true", json=rest)).json()
    assert (judged["id"], judged["count"]) == (None, 9)
    # given a clerk who clicks many times: it goes once
    answers = await asyncio.gather(*(client.post("/v1/sales", json=rest) for _ in range(4)))
    assert sorted(one.status_code for one in answers) == [201, 409, 409, 409]
    made = next(one.json() for one in answers if one.status_code == 201)
    assert sum(line["count"] for line in made["lines"] if line["lot"] == "R1") >= 6
    assert made["fulfils"] == [{"line": 0, "count": 3}, {"line": 1, "count": 6}]
    assert ([line["open"] for line in made["left"]], made["count"]) == ([0, 0], 9)
    refused = next(one.json() for one in answers if one.status_code == 409)["errors"][0]
    assert (refused["kind"], refused["pointer"]) == ("not_open", "#/reservation")
    assert refused["numbers"] == {"reservation": "RES", "state": "fulfilled"}

    # a retry by key, and one by id, are answered as the first time
    by_key = {"Idempotency-Key": "all-1"}
    five = rest | {"reservation": "BUDS", "id": "0190a1b2-0000-7000-8000-0000000000aa"}
    first = await client.post("/v1/sales", json=five, headers=by_key)
    again = await client.post("/v1/sales", json=five, headers=by_key)
    by_id = await client.post("/v1/sales", json=five)
    assert (first.status_code, again.status_code, by_id.status_code) == (201, 201, 200)
    assert (first.json()["goods"], first.json()["count"]) == ("buds", 5)
    assert first.json() == again.json() == by_id.json()

    nobody = await client.post("/v1/sales", json=rest | {"reservation": "NOPE"})
    assert nobody.json()["errors"][0]["kind"] == "unknown_code"
    del rest["reservation"]
    nothing = await client.post("/v1/sales", json=rest)
    assert (nothing.status_code, nothing.json()["errors"][0]["pointer"]) == (409, "#/lines")


async def test_buds_are_sold_by_the_bag_and_not_together_with_trees(
    client_for: MakeClient,
) -> None:
    client = await client_for()
    await filled(client, STORY)
    made = await client.post("/v1/sales", json=sale({"bag": "B2", "count": 12}))
    told = made.json()
    assert (made.status_code, told["goods"], told["count"]) == (201, "buds", 12)
    (line,) = told["lines"]
    assert (line["lot"], line["bag"], line["place"]) == ("W2", "B2", "COOL")
    assert line["provenance"]["wood"]["source_tree"] == "NAV-3"
    assert (line["provenance"]["wood"]["bags"], line["provenance"]["unknown"]) == (["B2"], [])
    chosen = sale({"cultivar": "NAV", "buds": True, "count": 3})
    (by_item,) = (await client.post("/v1/sales", json=chosen)).json()["lines"]
    # the older wood that is left, of which pieces were cut
    assert (by_item["lot"], by_item["bag"], by_item["count"]) == ("W1", "B1", 3)
    many = await client.post("/v1/sales", json=sale({"bag": "B2", "count": 1}, {
        "cultivar": "NAV", "buds": True, "count": 99}))  # fmt: skip
    assert many.json()["errors"][0]["pointer"] == "#/lines/1/count"
    mixed = await client.post(
        "/v1/sales", json=sale({"bag": "B2", "count": 1}, {"lot": "R1", "count": 1})
    )
    assert (mixed.status_code, mixed.json()["errors"][0]["kind"]) == (422, "not_together")
    assert mixed.json()["errors"][0]["pointer"] == "#/lines/1/lot"


async def test_refusals_point_into_the_body_and_rules_of_sending_hold(
    client_for: MakeClient,
) -> None:
    client = await client_for()
    await filled(client, STORY)
    rule = {"title": "No citrus", "value": "no", "source": "invented order 1",
            "as_of": "2026-01-01",
            "destination": {"region": "US-CA", "answer": "not_allowed"}}  # fmt: skip
    assert (await client.put("/v1/rules/NO-CA", json=rule)).status_code == 201
    many = await client.post(
        "/v1/sales", json=sale({"lot": "R1", "count": 1}, ITEM | {"count": 99})
    )
    (mistake,) = many.json()["errors"]
    assert (many.status_code, mistake["kind"], mistake["pointer"]) == (
        409, "not_enough_ready", "#/lines/1/count")  # fmt: skip
    away = sale({"lot": "R1", "count": 1}, destination=["US-CA", "US-CA"])
    refused = (await client.post("/v1/sales", json=away)).json()["errors"][0]
    assert (refused["kind"], refused["pointer"]) == ("may_not_be_sent", "#/destination")
    assert refused["numbers"]["source"] == "invented order 1"
    assert refused["detail"].startswith("NAV on CARR to US-CA: Not allowed: rule NO-CA (")
    gone = await client.post("/v1/sales", json=away | {"happened": True})
    assert gone.status_code == 201, gone.text
    assert [one["kind"] for one in gone.json()["remarks"]] == ["breach"]
    elsewhere = sale({"lot": "R1", "count": 1}, destination=["ES"])
    asks = (await client.post("/v1/sales", json=elsewhere)).json()["remarks"]
    assert [one["kind"] for one in asks] == ["ask_authority"]


async def test_what_comes_back_stands_apart_and_licences_count_what_stays_sold(
    client_for: MakeClient,
) -> None:
    client = await client_for()
    await filled(client, STORY)
    sold = (await client.post("/v1/sales", json=sale({"lot": "R1", "count": 9}))).json()
    void = await client.post("/v1/sales", json=sale({"lot": "R1", "count": 3}))
    voided = event("event.voided", "2026-04-02", event=void.json()["id"], reason="typed twice")
    assert (await client.post("/v1/events", json=voided)).status_code == 201
    assert (await client.get(f"/v1/sales/{void.json()['id']}")).json()["voided_by"] is not None
    nothing = await client.get(f"/v1/sales/{void.json()['id']}/loading-list")
    assert len(nothing.text.splitlines()) == 1
    other = {"site": "CORIN", "occurred": "2026-04-03", "customer": "cust-1", "reason": "too many"}
    back = other | {"lines": [{"lot": "R1", "count": 2}]}
    taken = await client.post("/v1/returns", json=back, headers={"Idempotency-Key": "back-1"})
    again = await client.post("/v1/returns", json=back, headers={"Idempotency-Key": "back-1"})
    assert (taken.status_code, again.json()) == (201, taken.json())
    (line,) = taken.json()["lines"]
    assert (line["place"], line["size"], line["stage"]) == ("YARD", "C2", "ready")
    more = await client.post("/v1/returns", json=other | {"lines": [{"lot": "R1", "count": 8}]})
    assert more.json()["errors"][0]["kind"] == "below_zero"
    no = {"norms": {"returns_allowed": False}, **CATALOGUE[0][1]}
    tag = (await client.get("/v1/sites/CORIN")).headers["etag"]
    assert (await client.put("/v1/sites/CORIN", json=no, headers={"If-Match": tag})).is_success
    refused = await client.post("/v1/returns", json=back)
    assert (refused.status_code, refused.json()["errors"][0]["kind"]) == (
        409,
        "returns_not_allowed",
    )

    owed = (await client.get("/v1/licences")).json()
    assert [one["licence_holder"] for one in owed["items"]] == ["holder-1", "holder-2"]
    counts = {one["cultivar"]: one for holder in owed["items"] for one in holder["cultivars"]}
    nav, lim, man = counts["NAV"], counts["LIM"], counts["MAN"]
    assert (nav["grafted"], nav["sold"], nav["returned"], nav["owed"]) == (19, 9, 2, 7)
    assert (lim["grafted"], lim["sold"], lim["owed"]) == (8, 0, 8)
    assert (man["counts"], man["owed"]) == (None, None)
    assert [one["owed"] for one in owed["items"]] == [15, 0]
    april = (await client.get("/v1/licences?first=2026-04-01&last=2026-04-02")).json()
    assert april["items"][0]["cultivars"][1]["sold"] == sold["count"] == 9
    assert april["items"][0]["cultivars"][0]["grafted"] == 0
    bad = await client.get("/v1/licences?first=2026-04-02&last=2026-04-01")
    assert bad.status_code == 422


async def test_a_key_of_one_site_sells_and_sees_only_there(client_for: MakeClient) -> None:
    client, seller = await client_for(), await client_for("sales", "CORIN")
    abroad = [
        event("budwood.received", "2026-01-05", "VALE", lot="VW", cultivar="NAV", supplier="sup-v",
              document="PP-V", bags=[{"bag": "VB", "buds": 20, "sticks": 2, "place": "V-COOL"}]),
        event("consignment.sent", "2026-01-06", "VALE", consignment="C1", to_site="CORIN",
              lines=[{"bag": "VB"}]),
        event("trees.received", "2026-01-07", "VALE", lot="VR", cultivar="NAV", rootstock="CARR",
              supplier="sup-v", size="C2", place="V1", count=30),
    ]  # fmt: skip
    home = [
        event("consignment.received", "2026-01-08", consignment="C1",
              lines=[{"bag": "VB", "place": "COOL", "count": 20}]),
        graft("TV", "2026-01-12", "VB", 9, liner_lot="L"), ready("TV", "2026-03-01", 9),
    ]  # fmt: skip
    await filled(client, [*abroad, *STORY[:1], *home])
    theirs = sale({"lot": "VR", "count": 1}) | {"site": "VALE"}
    unseen = await client.post("/v1/sales", json=theirs)
    assert unseen.status_code == 201
    assert (await seller.post("/v1/sales", json=theirs)).status_code == 409
    assert (await seller.get(f"/v1/sales/{unseen.json()['id']}")).status_code == 404
    # What was reserved of any site is each site's to sell; for whom is not theirs to know.
    wide = event("reservation.made", "2026-03-02", "VALE", reservation="ANY", customer="cust-77",
                 any_site=True, lines=[ITEM | {"count": 1}])  # fmt: skip
    assert (await client.post("/v1/events", json=wide)).status_code == 201
    guessed = await seller.post("/v1/sales", json=sale(ITEM | {"count": 1}, reservation="ANY"))
    assert guessed.json()["errors"][0]["kind"] == "other_customer"
    assert "cust-77" not in guessed.text
    # 30 stand at VALE, and none of them is CORIN's to sell
    assert (await seller.post("/v1/sales", json=sale(ITEM | {"count": 10}))).status_code == 409
    made = await seller.post("/v1/sales", json=sale(ITEM | {"count": 9}))
    told = made.json()["lines"][0]["provenance"]
    assert (told["lot"], told["wood"]["lot"], told["wood"]["bags"]) == ("TV", "VW", ["VB"])
    # who supplied it is the other site's to tell
    assert (told["wood"]["supplier"], told["documents"]) == (None, ["PP-L"])
    assert told["unknown"] == ["source_tree", "cut_on"]
    whole = (await client.get(made.headers["location"])).json()["lines"][0]["provenance"]
    assert (whole["wood"]["supplier"], whole["documents"]) == ("sup-v", ["PP-V", "PP-L"])
    assert [one["id"] for one in (await seller.get("/v1/sales")).json()["items"]] == [
        made.json()["id"]
    ]
    reader = await client_for("recorder", "CORIN")
    assert (await reader.post("/v1/sales", json=sale(ITEM | {"count": 1}))).status_code == 403
