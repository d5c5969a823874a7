"""A small nursery in which every type of event happens once: what people send, unit by unit.

Only ever added to at the end: what is told here and stands in the corpus already is left alone.
"""

from typing import Any
from uuid import UUID

from tests.support.bench_side import entry, event

Unit = list[dict[str, Any]]
ALERT = "2f0c8a52-54f5-5b0c-9a35-1f6b2f7c9e01"


def _nursery() -> list[Unit]:
    site = {"latitude": 39.5, "longitude": -0.4}
    check = {"check": "read_take", "after": "grafted", "due_days": 21, "overdue_days": 28,
             "done_by": ["grafts.unwrapped"], "source": "common practice, no source"}  # fmt: skip
    return [
        [
            entry("site", "CORIN", name="Corin", time_zone="Europe/Madrid",
                  norms={"returns_allowed": True}, **site),
            entry("site", "VALE", "VALE", name="Vale", time_zone="Australia/Sydney", **site),
        ],
        [
            entry("place", "C-BOX", site="CORIN", structure="Store", place_kind="cooler"),
            entry("place", "C-T1", site="CORIN", structure="House 1"),
            entry("place", "C-T2", site="CORIN", structure="House 1"),
            entry("place", "C-RET", site="CORIN", structure="Yard", for_returns=True),
            entry("place", "V-T1", "VALE", site="VALE", structure="House 1"),
        ],
        [
            entry("cultivar", "NAVEL", crop="citrus", species="Citrus sinensis",
                  epithet="Navelina", clone="7-1", licence_holder="holder-1"),
            entry("rootstock", "CARRIZO", crop="citrus", name="Carrizo citrange"),
            entry("size", "P9", label="9 cm pot"),
            entry("size", "L2", label="2 litre", rank=2),
            entry("source_tree", "ST-1", cultivar="NAVEL", site="CORIN", expires_on="2030-01-01"),
            entry("check_plan", "TAKE-1", **check),
            entry("rule", "CITRUS-TEST", title="Source trees are tested", value="every 3 years",
                  source="common practice, no source", as_of="2025-01-01"),
        ],
    ]  # fmt: skip


def _budwood_and_liners() -> list[Unit]:
    bags = [{"bag": "B2", "buds": 20, "basis": "estimated", "place": "C-BOX"}]
    return [
        [event("stock.opened", "2026-01-02", lines=[
            {"kind": "budwood", "lot": "BW0", "cultivar": "NAVEL", "cut_on": "2025-12-20",
             "bags": [{"bag": "B0", "buds": 12, "basis": "at_least", "place": "C-BOX"}]},
            {"kind": "liners", "lot": "L0", "size": "P9", "place": "C-T1", "count": 30},
            {"kind": "trees", "lot": "T0", "cultivar": "NAVEL", "stage": "ready", "size": "L2",
             "grade": "first", "place": "C-T2", "count": 9},
        ])],
        [event("budwood.cut", "2026-02-01", actor="p-07", lot="BW1", cultivar="NAVEL",
               source_tree="ST-1",
               bags=[{"bag": "B1", "sticks": 5, "buds": 60, "place": "C-BOX"}])],
        [event("budwood.received", "2026-02-02T10:15:00+01:00", cultivar="NAVEL",
               supplier="sup-2", cut_on="2026-01-30", bags=bags)],
        [event("budwood.moved", "2026-02-03", lines=[{"bag": "B2", "buds": 8}], to="C-T1")],
        [event("budwood.discarded", "2026-02-04", lines=[{"bag": "B2", "buds": 2, "place": "C-T1"}],
               cause="mould", note="at the bottom of the bag")],
        [event("budwood.sold", "2026-02-04", customer="cust-3", order="O-1",
               lines=[{"bag": "B2", "buds": 4, "place": "C-BOX"}])],
        [event("scions.prepared", "2026-02-05", bag="B1", pieces=10, buds_per_piece=2, waste=1,
               length_mm=38, wrap="film")],
        [event("liners.received", "2026-02-01", lot="L1", rootstock="CARRIZO", size="P9",
               supplier="sup-1", lines=[{"place": "C-T1", "count": 120}])],
        [event("liners.discarded", "2026-02-06", lot="L1", count=3, cause="frost")],
        [event("liners.moved", "2026-02-06", lot="L1", count=20, to="C-T2")],
        [event("liners.potted", "2026-02-07", lot="L1", place="C-T2", count=10, to_size="L2")],
        [event("trees.received", "2026-02-08", cultivar="NAVEL", rootstock="CARRIZO",
               supplier="sup-3", document="PP-77", stage="ready", size="L2", grade="first",
               place="C-T2", count=30)],
    ]  # fmt: skip


def _grafting() -> list[Unit]:
    onto = {"liner_lot": "L1", "place": "C-T1", "size": "P9"}
    return [
        [event("grafting.ordered", "2026-02-20", work_order="WO-1", cultivar="NAVEL",
               rootstock="CARRIZO", count=40, needed_by="2026-03-20", grafters=["p-07"])],
        [event("trees.grafted", "2026-03-05T09:30:00+01:00", actor="p-07", lot="T1",
               from_=[{"bag": "B1"}], onto=onto, method="t_bud", place="C-T1", count=24,
               grafters=[{"person": "p-07", "count": 14}, {"person": "p-08", "count": 10}],
               cut_mm=13)],
        [event("grafting.order_changed", "2026-03-06", work_order="WO-1", count=10)],
        [event("grafting.order_ended", "2026-03-20", work_order="WO-1", reason="cancelled")],
        [event("grafts.wrapped", "2026-03-05", lot="T1", count=24, material="film")],
        [event("tops.forced", "2026-03-20", lot="T1", technique="bent")],
        [event("grafts.unwrapped", "2026-03-26", lot="T1", alive=18, failed=4, left_wrapped=2)],
        [event("trees.regrafted", "2026-03-28", of="T1", stage="failed", from_=[{"bag": "B1"}],
               method="chip_bud", place="C-T1", count=3)],
        [event("push.counted", "2026-04-10", lot="T1", pushed=15, waiting=3, failed=1, unclear=1,
               removed=[{"count": 1, "cause": "disease"}])],
        [event("place.checked", "2026-04-11", place="C-T1", totals={"pushed": 15}, note="dry")],
        [event("tops.removed", "2026-04-20", lot="T1", count=15)],
        [event("work.done", "2026-04-21", work="staked", place="C-T1")],
        [event("tools.disinfected", "2026-03-05", person="p-07",
               product="household bleach, fresh today", strength="20 % by volume", before="T1")],
        [event("treatment.applied", "2026-04-22", places=["C-T1"], product="sulphur",
               rate="2 g/l", reason="mildew", re_entry_hours=24)],
    ]  # fmt: skip


def _trees() -> list[Unit]:
    t0 = {"lot": "T0", "place": "C-T2", "size": "L2"}
    return [
        [event("trees.potted", "2026-05-01", lot="T1", stage="pushed", count=10, to_size="L2")],
        [event("trees.moved", "2026-05-02", lot="T1", stage="pushed", size="L2", count=6,
               to="C-T2")],
        [event("trees.graded", "2026-05-10", lot="T1", place="C-T2", stage="pushed", size="L2",
               outcomes=[{"count": 4, "stage": "ready", "grade": "first", "caliper_mm": 9},
                         {"count": 1, "stage": "ready", "grade": "second"}])],
        [event("trees.lost", "2026-05-11", lot="T1", place="C-T2", stage="pushed", size="L2",
               count=1, cause="heat")],
        [event("reservation.made", "2026-05-12", reservation="R-1", customer="cust-1",
               needed_by="2026-06-01", lines=[{"lot": "T0", "count": 3}])],
        [event("reservation.changed", "2026-05-13", reservation="R-1", needed_by="2026-06-15")],
        [event("trees.sold", "2026-05-20", customer="cust-1", order="O-2", reservation="R-1",
               lines=[t0 | {"count": 2, "stage": "ready", "grade": "first"}])],
        [event("reservation.released", "2026-05-21", reservation="R-1", reason="changed his mind")],
        [event("trees.returned", "2026-05-25", customer="cust-1", order="O-2", reason="too many",
               lines=[t0 | {"place": "C-RET", "count": 1, "grade": "first"}])],
        [event("stock.counted", "2026-05-26", reason="half year",
               lines=[t0 | {"counted": 6}, {"lot": "L1", "place": "C-T1", "counted": 60}])],
        [event("consignment.sent", "2026-05-27", consignment="V-1", to_site="VALE",
               carrier="own-van", lines=[t0 | {"count": 4, "stage": "ready", "grade": "first"}])],
        [event("consignment.received", "2026-05-29", "VALE", consignment="V-1", note="one dead",
               lines=[{"lot": "T0", "place": "V-T1", "count": 3, "dead": 1}])],
        [event("label.lost", "2026-06-01", lines=[
            {"lot": "T1", "place": "C-T1", "stage": "pushed", "size": "L2", "count": 2}])],
        [event("hold.placed", "2026-06-02", hold="H-1", kind="quality", target="lot", code="L0",
               reason="thin stems")],
        [event("hold.lifted", "2026-06-10", hold="H-1", reason="grown on")],
        [event("alert.acknowledged", "2026-06-11", alert=ALERT, note="seen")],
        [event("alert.remind_on", "2026-06-11", alert=ALERT, on="2026-07-01")],
    ]  # fmt: skip


def _slip() -> list[Unit]:
    slip = event("trees.lost", "2026-06-12", lot="T0", place="V-T1", stage="ready", size="L2",
                 grade="first", count=3, cause="heat", id=id_of(9001))  # fmt: skip
    slip["site"] = "VALE"
    right = {**slip, "id": id_of(9003), "replaces": id_of(9001)}
    right["data"] = slip["data"] | {"count": 2}
    void = event("event.voided", "2026-06-13", "VALE", id=id_of(9002), event=id_of(9001),
                 reason="a slip of the pen")  # fmt: skip
    return [[slip], [void, right]]


def _weather() -> list[Unit]:
    """A climate normal of a site, and the nursery's own way of counting a crop's degree-days."""
    normal = {"source": "invented normals, 1991-2020",
              "min_c": [6, 7, 8, 10, 13, 17, 20, 20, 17, 14, 10, 7],
              "max_c": [15, 16, 18, 20, 23, 27, 30, 30, 27, 23, 18, 15]}  # fmt: skip
    return [[
        entry("site", "CORIN", name="Corin", time_zone="Europe/Madrid", latitude=39.5,
              longitude=-0.4, norms={"returns_allowed": True}, climate_normal=normal),
        entry("rule", "HEAT-CITRUS", title="Degree-days of citrus", value="12.8 to 36 C",
              source="own trial", as_of="2026-06-14",
              degree_days={"crop": "citrus", "lower_c": 12.8, "upper_c": 36}),
    ]]  # fmt: skip


def _by_hand() -> list[Unit]:
    """What may be promised, said by hand."""
    item = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2"}
    return [
        [event("promise.overridden", "2026-06-15", override="PO-1", **item, grade="first",
               quantity=40, from_="2026-09-01", until="2026-12-31",
               reason="forty more are bought and on their way")],
        [event("promise.overridden", "2026-06-15", **item, any_site=True, quantity=0,
               until="2026-07-15", reason="nothing until the inspector was here")],
        [event("promise.override_ended", "2026-06-20", override="PO-1", reason="they came")],
    ]  # fmt: skip


def _orders_of_customers() -> list[Unit]:
    """A reservation that takes what there is, is confirmed, and one that nobody took up."""
    item = {"cultivar": "NAVEL", "rootstock": "CARRIZO", "size": "L2", "grade": "first"}
    buds = {"cultivar": "NAVEL", "buds": True}
    return [
        [event("stock.opened", "2026-06-16", lines=[
            {"kind": "trees", "lot": "T8", "cultivar": "NAVEL", "rootstock": "CARRIZO",
             "stage": "ready", "size": "L2", "grade": "first", "place": "C-T2", "count": 12}])],
        [event("reservation.made", "2026-06-21T09:00:00+02:00", reservation="R-2",
               customer="cust-4", order="O-4", any_site=True, partial=True,
               destination=["ES-VC"], needed_by="2026-07-20",
               expires_at="2026-07-10T12:00:00+02:00",
               lines=[buds | {"count": 4}, {"lot": "T8", "count": 20}, item | {"count": 1}])],
        [event("reservation.changed", "2026-06-22", reservation="R-2", needed_by="2026-07-25",
               cleared=["order"])],
        [event("reservation.confirmed", "2026-06-23", reservation="R-2", order="O-5")],
        [event("reservation.made", "2026-06-23", reservation="R-3", customer="cust-4",
               expires_at="2026-06-25", lines=[buds | {"count": 1}])],
        [event("reservation.expired", "2026-06-26", reservation="R-3")],
    ]  # fmt: skip


def _destinations() -> list[Unit]:
    """A rule that says what may be sent where."""
    told = {"region": "ES-VC", "crop": "citrus", "goods": "trees", "sites": ["CORIN"],
            "answer": "not_allowed"}  # fmt: skip
    return [[entry("rule", "COAST-1", title="Citrus into the marked coast", value="no entry",
                   source="invented gazette 12/2026", as_of="2026-06-27",
                   destination=told)]]  # fmt: skip


def _papers() -> list[Unit]:
    """Who answers for plant health at a site, and papers of each kind."""
    health = {
        "authority": "Plant health service, invented",
        "phone": "+34 900 000 000",
        "country": "ES",
        "registration": "17460123",
        "inspected_on": "2026-05-04",
        "valid_until": "2027-05-03",
        "source": "their letter of 2026-05-11, invented",
        "passport": {"title": "Pasaporte fitosanitario / Plant Passport", "union_flag": True},
        "certified": {"statement": "Certified Citrus Nursery Stock", "number": "C-12"},
    }
    told = {"lot": "T1", "place": "C-T1", "count": 4}
    return [
        [entry("site", "CORIN", name="Corin", time_zone="Europe/Madrid", latitude=39.5,
               longitude=-0.4, norms={"returns_allowed": True}, plant_health=health)],
        [event("papers.printed", "2026-06-28", actor="p-09", paper="plant_passport",
               customer="cust-4", order="O-5", **told)],
        [event("papers.printed", "2026-06-28", paper="certified_tag", **told)],
        [event("papers.printed", "2026-06-29", paper="sale_tag", lot="T8", size="L2", count=2,
               origin="ES", document="PP-101", note="the first sheet jammed")],
    ]  # fmt: skip


def _treatments() -> list[Unit]:
    """A treatment whose end somebody noted: over midnight, so the house opens by the day after."""
    return [
        [event("treatment.applied", "2026-06-29T22:30:00+02:00", places=["C-T1", "C-T2"],
               product="horticultural oil", re_entry_hours=12, ended="2026-06-30T00:15:00+02:00")],
    ]  # fmt: skip


def id_of(number: int) -> str:
    """An event id that is the same whenever the story is told."""
    return str(UUID(int=0x0190A5C4_7C00_7000_8000_000000000000 + number))


def story() -> list[Unit]:
    """Everything that happens, each event with its id."""
    units = [*_nursery(), *_budwood_and_liners(), *_grafting(), *_trees(), *_slip(), *_weather(),
             *_by_hand(), *_orders_of_customers(),
             *_destinations(), *_papers(), *_treatments()]  # fmt: skip
    number = 0
    for unit in units:
        for one in unit:
            number += 1
            one.setdefault("id", id_of(number))
    return units
