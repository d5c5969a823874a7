"""Papers are an intention: the writer prints none for what is held, unregistered or uninspected."""

from typing import Any

import pytest

from service.log.submission import Verdict
from tests.support.bench_side import BenchSide, entry, event

HEALTH: dict[str, Any] = {
    "authority": "Plant health service, invented",
    "phone": "+34 900 000 000",
    "country": "ES",
    "registration": "17460123",
    "inspected_on": "2026-02-01",
    "valid_until": "2027-01-31",
    "passport": {"title": "Pasaporte fitosanitario / Plant Passport", "union_flag": True},
    "certified": {"statement": "Certified Citrus Nursery Stock", "number": "C-12"},
}


def site(**more: Any) -> Any:
    """Corin as the bench has it, with what it says of plant health."""
    where = {"name": "Corin", "time_zone": "Europe/Madrid", "latitude": 40, "longitude": 1}
    return entry("site", "CORIN", **where, **more)


def paper(count: int = 24, day: str = "2026-06-20", **more: Any) -> Any:
    said = {"paper": "plant_passport", "lot": "T1", "count": count}
    return event("papers.printed", day, **(said | more))


def why(verdict: Verdict) -> list[tuple[str, str]]:
    return [(fault.kind, fault.pointer) for fault in verdict.errors]


@pytest.fixture
async def registered(bench: BenchSide) -> BenchSide:
    """24 trees of T1 at a site that may print all papers."""
    await bench.grafted(24)
    await bench.given(site(plant_health=HEALTH))
    return bench


async def printed(bench: BenchSide, one: Any) -> dict[str, Any]:
    """What the stored paper says; nothing stands otherwise than before."""
    before = await bench.balance("T1", "trees")
    (verdict,) = await bench.given(one)
    assert await bench.balance("T1", "trees") == before
    data = await bench.database.writer.fetchval(
        "SELECT data -> 'printed' FROM events WHERE id = $1", verdict.id
    )
    return {name: value for name, value in data.items() if value not in (None, False)}


async def test_a_passport_says_its_parts_from_the_records(registered: BenchSide) -> None:
    """Parts A to D are those of Regulation (EU) 2016/2031, Annex VII, part A."""
    said = await printed(registered, paper(printed={"traceability": "FORGED"}))
    assert said == {
        "botanical_name": "Citrus sinensis",
        "registration": "ES-17460123",
        "traceability": "T1",
        "origin": "ES",
        "title": "Pasaporte fitosanitario / Plant Passport",
        "union_flag": True,
        "cultivar": "NAVEL",
        "epithet": "Navelina",
        "rootstock": "Carrizo",
        "size": "9 cm pot",
        "propagated": "2026-03",
        "source_tree": "ST-1",
        "inspected_on": "2026-02-01",
        "valid_until": "2027-01-31",
    }


async def test_a_certified_tag_says_the_statement_and_a_sale_tag_the_licence(
    registered: BenchSide,
) -> None:
    certified = await printed(registered, paper(2, paper="certified_tag"))
    assert certified["statement"] == "Certified Citrus Nursery Stock"
    assert (certified["certificate"], certified["source_tree"]) == ("C-12", "ST-1")
    assert "title" not in certified
    await registered.given(
        entry("cultivar", "NAVEL", crop="citrus", species="Citrus sinensis", epithet="Navelina",
              licence_holder="holder-1", licence_terms="Not to be propagated.")
    )  # fmt: skip
    sale = await printed(registered, paper(2, paper="sale_tag"))
    assert sale["protected"]
    assert sale["licence_terms"] == "Not to be propagated."
    assert "registration" not in sale


INSPECTIONS: list[tuple[dict[str, Any] | None, str | None]] = [
    (None, "not_registered"),
    (HEALTH | {"registration": None}, "not_registered"),
    (HEALTH | {"country": None}, "not_registered"),
    (HEALTH | {"passport": None}, "not_registered"),
    (HEALTH | {"inspected_on": None}, "inspection_not_current"),
    (HEALTH | {"valid_until": None}, "inspection_not_current"),
    (HEALTH | {"valid_until": "2026-06-19"}, "inspection_not_current"),
    (HEALTH | {"inspected_on": "2026-06-21"}, "inspection_not_current"),
    (HEALTH | {"inspected_on": "2026-06-20", "valid_until": "2026-06-20"}, None),
]


async def test_no_passport_without_registration_and_current_inspection(
    registered: BenchSide,
) -> None:
    for health, kind in INSPECTIONS:
        await registered.given(site(plant_health=health))
        verdict = await registered.when(paper(), check=True)
        assert [fault.kind for fault in verdict.errors] == ([kind] if kind else []), health
        # A paper can be left unprinted, so having done it is no way round.
        again = await registered.when(paper() | {"happened": True}, check=True)
        assert why(again) == why(verdict)
        # What a buyer is told needs no authority.
        assert (await registered.when(paper(paper="sale_tag"), check=True)).errors == []


HOLDS = [
    ("plant_health", "lot", "T1"),
    ("plant_health", "source_tree", "ST-1"),
    ("identity", "bag", "B1"),
    ("quality", "place", "C-T1"),
    ("licence", "site", "CORIN"),
]


async def test_nothing_is_printed_for_what_is_held(registered: BenchSide) -> None:
    word = {"authority": "the inspectors", "document": "letter 9"}
    for number, (kind, target, code) in enumerate(HOLDS):
        said = {"hold": f"H{number}", "kind_": kind, "target": target, "code": code}
        await registered.given(event("hold.placed", "2026-06-25", **said, reason="a doubt"))
        # Told of a day before the hold began, the paper would still be in somebody's hands today.
        for day in ("2026-06-20", "2026-06-26"):
            for name in ("plant_passport", "certified_tag", "sale_tag"):
                for happened in (False, True):
                    one = paper(paper=name, day=day) | {"happened": happened}
                    assert why(await registered.when(one)) == [("held", "#/data/lot")], said
        lifted = event("hold.lifted", "2026-06-28", hold=f"H{number}", reason="clean", **word)
        await registered.given(lifted)
        assert (await registered.when(paper(day="2026-06-28"))).verdict == "accepted"
        assert why(await registered.when(paper(day="2026-06-27"))) == [("held", "#/data/lot")]


async def test_no_more_than_live_trees_that_stand_there_or_were_sold(
    registered: BenchSide,
) -> None:
    await registered.given(
        event("grafts.unwrapped", "2026-03-26", lot="T1", alive=20, failed=4),
        event("trees.graded", "2026-06-01", lot="T1", stage="grafted",
              outcomes=[{"count": 20, "stage": "ready", "grade": "first"}]),
        event("trees.sold", "2026-06-18", customer="cust-1",
              lines=[{"lot": "T1", "place": "C-T1", "count": 6}]),
        event("trees.lost", "2026-06-19", lot="T1", stage="ready", count=1, cause="heat"),
    )  # fmt: skip
    verdict = await registered.when(paper(20))
    assert why(verdict) == [("counts_disagree", "#/data/count")]
    assert verdict.errors[0].numbers["there"] == 19
    assert (await registered.when(paper(19))).verdict == "accepted"
    # Of one place only what stands there; none of the other site.
    assert verdict.errors[0].numbers == {"count": 20, "there": 19}
    here = await registered.when(paper(14, place="C-T1"))
    assert why(here) == [("counts_disagree", "#/data/count")]
    there = paper(1) | {"site": "TARNA"}
    assert why(await registered.when(there)) == [("unknown_code", "#/data/lot")]


async def test_where_bought_in_trees_were_grown_must_be_said(registered: BenchSide) -> None:
    await registered.given(
        event("trees.received", "2026-03-01", lot="R1", cultivar="NAVEL", rootstock="CARRIZO",
              supplier="sup-9", document="PP-1", size="L2", place="C-T2", stage="ready", count=9)
    )  # fmt: skip
    assert why(await registered.when(paper(9, lot="R1"))) == [("missing", "#/data/origin")]
    said = await printed(registered, paper(9, lot="R1", origin="PT"))
    assert (said["origin"], said["registration"]) == ("PT", "ES-17460123")
    liners = await registered.when(paper(9, lot="L1"))
    assert why(liners) == [("wrong_kind", "#/data/lot")]
    buds = await printed(registered, paper(16, lot="BW1", origin="ES"))
    assert (buds["traceability"], buds["source_tree"]) == ("BW1", "ST-1")


async def test_a_printing_of_nothing_that_is_known_is_refused(registered: BenchSide) -> None:
    line = {"lot": "T1", "place": "C-T1", "stage": "grafted", "size": "P9", "count": 3}
    await registered.given(event("label.lost", "2026-06-01", lot="U1", hold="HU", lines=[line]))
    await registered.given(event("hold.lifted", "2026-06-02", hold="HU", reason="will be sorted"))
    assert why(await registered.when(paper(3, lot="U1"))) == [("missing", "#/data/lot")]


async def test_what_has_papers_is_not_voided_under_them(registered: BenchSide) -> None:
    made = await registered.database.writer.fetchval(
        "SELECT id::text FROM events WHERE type = 'trees.grafted'"
    )
    (verdict,) = await registered.given(paper())
    void = event("event.voided", "2026-06-21", event=made, reason="another lot")
    assert [f.kind for f in (await registered.when(void)).errors] == ["others_stand_on_it"]
    await registered.given(
        event("event.voided", "2026-06-21", event=verdict.id, reason="the sheet was destroyed")
    )
    await registered.given(void)


async def test_an_inspection_has_days_that_can_be(bench: BenchSide) -> None:
    """Also in the first that is ever said of a site."""
    for wrong, kind in (
        ({"valid_until": "2026-01-31"}, "counts_disagree"),
        ({"inspected_on": "2026-02-30"}, "not_a_day"),
    ):
        told = why(await bench.when(site(plant_health=HEALTH | wrong)))
        assert told == [(kind, f"#/data/entry/plant_health/{next(iter(wrong))}")]
    await bench.given(site(plant_health=HEALTH))
