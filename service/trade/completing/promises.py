"""Completing overrides of promises."""

from msgspec.structs import replace

from service.trade.bench import Bench
from service.trade.completing import completes
from service.trade.completing.budwood import day_given
from service.trade.events.promises import (
    PromiseOverridden,
    PromiseOverriddenData,
    PromiseOverrideEnded,
    PromiseOverrideEndedData,
)
from service.trade.making import day_of
from service.trade.verdicts import refuse


@completes(PromiseOverridden)
def _overridden(bench: Bench, d: PromiseOverriddenData) -> PromiseOverriddenData:
    catalogue = bench.books.catalogue
    catalogue.cultivar(d.cultivar, "#/data/cultivar")
    catalogue.rootstock(d.rootstock, "#/data/rootstock")
    catalogue.size(d.size, "#/data/size")
    day_given(bench, d.begins, "#/data/from")
    day_given(bench, d.until, "#/data/until")
    first = day_of(bench.books, bench.here, d.begins) or bench.day
    last = day_of(bench.books, bench.here, d.until)
    assert last is not None
    if last < first:
        raise refuse(
            "bad_value",
            f"It would end on {last}, before it begins on {first}.",
            "#/data/until",
            until=str(last),
            begins=str(first),
        )
    code = bench.mint(d.override)
    if code in bench.books.overrides:
        raise refuse("code_in_use", f"Override {code} exists.", "#/data/override", code=code)
    return replace(d, override=code, begins=d.begins or str(first))


@completes(PromiseOverrideEnded)
def _ended(bench: Bench, d: PromiseOverrideEndedData) -> PromiseOverrideEndedData:
    found = bench.books.overrides.get(d.override)
    # Another site's is as unknown as none at all.
    if found is None or found.site != bench.here:
        raise refuse(
            "unknown_code",
            f"No override {d.override} was made at {bench.here}.",
            "#/data/override",
            code=d.override,
        )
    if found.ended_day is not None:
        raise refuse(
            "not_open",
            f"Override {d.override} was ended on {found.ended_day}.",
            "#/data/override",
            ended=str(found.ended_day),
        )
    return d
