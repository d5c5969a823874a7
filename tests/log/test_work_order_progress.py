"""The progress of work orders against a model that knows only lists."""

import itertools
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.log.test_work_orders import agrees, order, progress
from tests.support.bench_side import BenchSide, event

numbers = itertools.count()
steps = st.lists(
    st.one_of(
        st.tuples(st.just("graft"), st.integers(1, 4), st.sampled_from(["WO1", "WO2", None])),
        st.tuples(st.just("void"), st.integers(0, 6), st.booleans()),
        st.tuples(st.just("change"), st.integers(1, 9), st.sampled_from(["WO1", "WO2"])),
    ),
    min_size=1,
    max_size=8,
)


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(steps=steps)
async def test_progress_is_the_sum_of_what_stands(bench: BenchSide, steps: list[Any]) -> None:
    """Whatever is told, voided, replaced and changed."""
    tag = f"X{next(numbers)}"
    if tag == "X0":
        await bench.stocked()
        await bench.given(
            event(
                "stock.counted",
                "2026-03-01",
                reason="room for all",
                lines=[{"bag": "B1", "counted": 900}, {"lot": "L1", "counted": 900}],
            )
        )
    codes = {"WO1": f"A{tag}", "WO2": f"B{tag}"}
    # the two ask for methods that nothing is grafted by, so that none is filled in by itself
    await bench.given(
        *(order(9, code, method="patch_bud", needed_by="2026-03-20") for code in codes.values())
    )
    told: list[tuple[str, str | None, int]] = []
    wanted = dict.fromkeys(codes.values(), 9)

    def done(code: str) -> int:
        return sum(count for _, of, count in told if of == code)

    for number, step in enumerate(steps):
        if step[0] == "graft":
            code = codes.get(step[2] or "")
            named = {"work_order": code} if code else {}
            one = bench.graft(step[1], lot=f"{tag}.{number}", **named)
            (verdict,) = await bench.given(one)
            told.append((verdict.id or "", code, step[1]))
        elif step[0] == "void" and step[1] < len(told):
            event_id, code, _ = told.pop(step[1])
            unit = [event("event.voided", "2026-03-06", event=event_id, reason="slip")]
            if step[2]:
                unit.append(bench.graft(2, lot=f"{tag}.{number}", replaces=event_id))
            verdicts = await bench.given(*unit)
            if step[2]:
                told.append((verdicts[1].id or "", code, 2))
        elif step[0] == "change":
            code = codes[step[2]]
            await bench.given(
                event("grafting.order_changed", "2026-03-06", work_order=code, count=step[1])
            )
            wanted[code] = done(code) + step[1]
    for code in codes.values():
        assert await progress(bench, code) == (wanted[code], done(code), None)
    assert await agrees(bench) == []
