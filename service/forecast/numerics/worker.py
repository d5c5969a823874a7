"""The whole forecast: from what is known to what is foretold. Pure; runs in a child process.

learn (groups of lots) -> draw the weather ahead -> simulate all lots jointly -> put into words
"""

import numpy as np

from service.forecast.numerics import foretelling
from service.forecast.numerics.assemble import Assembler
from service.forecast.numerics.clocks import Clock, clock_of, way_of
from service.forecast.numerics.curves import curves
from service.forecast.numerics.groups import grouped
from service.forecast.numerics.learn import learned
from service.forecast.numerics.rates import rates
from service.forecast.numerics.seen import seen_of
from service.forecast.numerics.simulate import simulate
from service.forecast.numerics.weather import ahead
from service.forecast.shapes import STEP_DAYS, STEPS, Foretold, Known

LEAD_DAYS = tuple(range(0, 365, 7))
"""Graftings to come that lead times are told for: today's, and each seventh day's of a year."""
AHEAD_DAYS = STEP_DAYS * (STEPS - 1) + 365
"""Days of weather drawn: to the last day told, from the last grafting told."""


def forecast(
    known: Known, *, lead_days: tuple[int, ...] = LEAD_DAYS, compare: bool = True
) -> Foretold:
    """Foretell all that stands, from all that was seen.

    Without `lead_days` nothing is told of graftings to come, and less weather need be drawn;
    without `compare` no take and survival of methods, grafters and so on, and no curves.
    """
    clocks = _clocks(known)
    groups = grouped(known, clocks)
    found = [learned(known, group) for group in groups]
    days = AHEAD_DAYS if lead_days else STEP_DAYS * (STEPS - 1) + 1
    drawn = {
        weather.site: ahead(
            weather,
            {crop: clock for (site, crop), clock in clocks.items() if site == weather.site},
            known.draws,
            days,
            known.seed,
        )
        for weather in known.sites
    }
    assembler = Assembler(known, clocks, drawn, found, seen_of(known))
    assembly = assembler.assembled(list(lead_days))
    told = simulate(assembly.task)
    return Foretold(
        position=known.position,
        draws=known.draws,
        learned=[row for one in found for row in foretelling.learned_rows(one)],
        lots=[
            *foretelling.lot_rows(known, clocks, drawn, assembly, told),
            *foretelling.untold(known, clocks, assembly),
        ],
        supply=foretelling.supply_rows(known, assembly, told),
        lead_times=foretelling.lead_rows(assembler.beliefs, assembly, told),
        rates=rates(known) if compare else [],
        curves=curves(known, found) if compare else [],
        remarks=[
            *(foretelling.set_aside(known, one) for one in found if one.unlike),
            *(f"{site}: {one.words}" for site, one in sorted(drawn.items()) if one.words),
        ],
    )


def _clocks(known: Known) -> dict[tuple[str, str], Clock]:
    """A clock of every crop that has lots, at every site."""
    crops = sorted(set(known.lots.crop) - {""})
    found = {}
    for crop in crops:
        ways = way_of(known, crop)
        if ways is None:
            continue
        for weather in known.sites:
            clock = clock_of(weather, crop, ways)
            if clock.by_day.size and np.isfinite(clock.running[-1]):
                found[weather.site, crop] = clock
    return found
