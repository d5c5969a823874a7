"""Houses closed by a treatment. By 40 CFR 170.305 and 170.407 (Worker Protection Standard) a
restricted-entry interval is the time after the end of an application, and where several apply the
longest holds; nobody is told that a house is safe."""

from datetime import datetime, timedelta
from typing import Any

from service.storage.walls import seeing
from service.views.closed_houses import ClosedHouse, closed_houses
from tests.support.bench_side import BenchSide, entry, event

# On 29 March 2026 clocks in Madrid go from 02:00 to 03:00.
EVENING = "2026-03-28T20:00:00+01:00"


def treated(began: str, *places: str, hours: int | None, **more: Any) -> Any:
    data = {"places": list(places), "product": "sulphur", "re_entry_hours": hours}
    return event("treatment.applied", began, **(data | more))


class House:
    """A site with two houses, asked what is closed."""

    def __init__(self, bench: BenchSide) -> None:
        self.bench = bench

    async def closed(self, at: str, site: str = "CORIN") -> dict[str, ClosedHouse]:
        async with seeing(self.bench.database.reader, [site]) as connection:
            found = await closed_houses(connection, site, datetime.fromisoformat(at))
        return {one.structure: one for one in found}

    async def until(self, at: str) -> dict[str, str | None]:
        found = await self.closed(at)
        return {house: one.until and one.until.isoformat() for house, one in found.items()}


async def test_a_house_is_closed_from_the_end_of_the_application_on(bench: BenchSide) -> None:
    await bench.nursery()
    await bench.given(entry("place", "C-T9", site="CORIN", structure="House 2"))
    house = House(bench)
    ended = "2026-03-28T22:00:00+01:00"
    given = await bench.given(treated(EVENING, "C-T1", hours=12, ended=ended))

    # twelve hours pass, though the clocks jump one meanwhile: 22:00 to 11:00
    until = {"House 1": "2026-03-29T11:00:00+02:00"}
    assert await house.until("2026-03-29T10:59:00+02:00") == until
    assert await house.until("2026-03-29T11:00:00+02:00") == {}
    (closed,) = (await house.closed("2026-03-29T08:00:00+02:00")).values()
    assert closed.closed_places == ["C-BOX", "C-T1", "C-T2"], "the whole house, and no other"
    assert closed.treatments[0].end_recorded
    assert not closed.unsaid
    assert await house.closed("2026-03-29T08:00:00+02:00", "TARNA") == {}

    # the longest of several governs; one of the other house closes that one too
    await bench.given(
        treated("2026-03-28", "C-T2", hours=48),
        treated(EVENING, "C-T9", hours=4, ended="2026-03-28T21:00:00+01:00"),
    )
    # without an end it can't have ended later than its day did
    until = {"House 1": "2026-03-31T01:00:00+02:00", "House 2": "2026-03-29T01:00:00+01:00"}
    assert await house.until("2026-03-28T23:30:00+01:00") == until
    (longest, _) = (await house.closed("2026-03-28T23:30:00+01:00"))["House 1"].treatments
    assert not longest.end_recorded

    # what was voided closes nothing
    assert given[0].id is not None
    await bench.given(event("event.voided", "2026-03-29", event=given[0].id, reason="slip"))
    assert len((await house.closed("2026-03-29T08:00:00+02:00"))["House 1"].treatments) == 1


async def test_a_treatment_without_an_interval_is_told_and_never_called_over(
    bench: BenchSide,
) -> None:
    await bench.nursery()
    house = House(bench)
    await bench.given(treated("2026-03-20", "C-T1", hours=None))
    (closed,) = (await house.closed("2026-03-22T08:00:00+01:00")).values()
    assert closed.until is None
    assert closed.unsaid
    # an interval of another treatment is no end of this one
    await bench.given(treated("2026-03-21", "C-T1", hours=24))
    (closed,) = (await house.closed("2026-03-22T08:00:00+01:00")).values()
    assert closed.until is not None
    assert closed.unsaid
    assert await house.closed("2026-03-29T08:00:00+02:00") == {}
    # none is an interval of no hours: it is over when the application is
    await bench.given(treated("2026-04-02", "C-T1", hours=0, ended="2026-04-02T09:00:00+02:00"))
    assert await house.closed("2026-04-02T09:00:00+02:00") == {}


async def test_a_house_stays_closed_to_the_end_of_the_longest_interval_after_the_longest_work(
    bench: BenchSide,
) -> None:
    await bench.nursery()
    # told when it began, at noon of the day that the service has
    ended = datetime.fromisoformat("2026-07-07T12:00:00+02:00")
    began = "2026-06-30T12:00:00+02:00"
    await bench.given(treated(began, "C-T1", hours=24 * 90, ended=ended.isoformat()))
    end, moment = ended + timedelta(days=90), timedelta(seconds=1)
    assert "House 1" in await House(bench).closed((end - moment).isoformat())
    assert await House(bench).closed(end.isoformat()) == {}
