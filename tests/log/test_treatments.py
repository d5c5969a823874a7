"""A treatment says when it began and when it ended: a slip would close a house for a year."""

from tests.support.bench_side import BenchSide, event


def treated(occurred: str, ended: str | None) -> object:
    told = {"places": ["C-T1"], "product": "oil", "re_entry_hours": 12}
    return event("treatment.applied", occurred, **told, **({"ended": ended} if ended else {}))


CASES = [
    ("2026-03-28T22:30:00+01:00", None, None),
    ("2026-03-28T22:30:00+01:00", "2026-03-28T23:10:00+01:00", None),
    # over the hour that the site's clocks leave out, told with either offset
    ("2026-03-29T01:30:00+01:00", "2026-03-29T03:10:00+02:00", None),
    ("2026-03-29T01:30:00+01:00", "2026-03-29T01:20:00+01:00", "counts_disagree"),
    # by the clock later, by the sun earlier
    ("2026-03-29T03:10:00+02:00", "2026-03-29T02:00:00+01:00", "counts_disagree"),
    # days alone: of the same day neither is before the other
    ("2026-03-28", "2026-03-28", None),
    ("2026-03-28", "2026-03-28T06:00:00+01:00", None),
    ("2026-03-28", "2026-03-27", "counts_disagree"),
    ("2026-03-28", "2026-04-04", None),
    ("2026-03-28", "2026-04-05", "counts_disagree"),
    ("2026-03-28", "2026-02-30", "not_a_day"),
]


async def test_when_an_application_can_have_ended(bench: BenchSide) -> None:
    await bench.nursery()
    for began, ended, kind in CASES:
        verdict = await bench.when(treated(began, ended))
        found = [(fault.kind, fault.pointer) for fault in verdict.errors]
        assert found == ([(kind, "#/data/ended")] if kind else []), (began, ended)
