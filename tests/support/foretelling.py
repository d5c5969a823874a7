"""A forecast that needs no numerics, for tests of what is done with one: plain to work out by hand.

Each lot that grows is ready on the days 80, 100 and 120 after grafting, three quarters of it; of an
item eight in ten of what stands are there from the first day on.
"""

import time
from collections import defaultdict

from service.forecast import shapes
from service.forecast.shapes import (
    LEVELS,
    STEPS,
    Curve,
    Foretold,
    Known,
    LeadTime,
    Learned,
    LotTold,
    Rate,
    Supply,
)


async def stand_in(known: Known) -> Foretold:
    """As `refresh` is given it in place of the child process."""
    return forecast(known)


def forecast(known: Known) -> Foretold:
    """As the child process calls it."""
    return Foretold(
        position=known.position,
        draws=known.draws,
        learned=_learned(known),
        lots=_lots(known),
        supply=_supply(known),
        lead_times=[_lead_time(site) for site in known.sites],
        remarks=["Worked out by a stand-in."],
        rates=[_rate(site) for site in (shapes.ALL_SITES, *(one.site for one in known.sites))],
        curves=[_curve("grafting"), _curve("forcing")],
    )


def too_slow(known: Known) -> Foretold:
    """Never comes to an end."""
    while True:
        time.sleep(60)


def broken(known: Known) -> Foretold:
    """Fails, having printed."""
    print("where an answer was expected")
    raise ValueError("singular matrix")


def talkative(known: Known) -> Foretold:
    """Prints, as libraries do, and answers."""
    print("a warning of a library")
    return forecast(known)


def _lots(known: Known) -> list[LotTold]:
    growing: defaultdict[tuple[int, str], int] = defaultdict(int)
    pushed = set()
    stands = known.standing
    for lot, site, stage, trees in zip(
        stands.lot, stands.site, stands.stage, stands.trees, strict=True
    ):
        if stage != "ready":
            growing[lot, site] += trees
            if stage == "pushed":
                pushed.add((lot, site))
    return [
        _told(known, lot, site, trees, "pushed" if (lot, site) in pushed else "grafted")
        for (lot, site), trees in growing.items()
    ]


def _told(known: Known, lot: int, site: str, trees: int, phase: str) -> LotTold:
    day = known.lots.grafted_on[lot]
    weather = next(one for one in known.sites if one.site == site)
    counted = float(len(weather.low)) if weather.low else float("nan")
    return LotTold(
        lot=lot,
        site=site,
        trees=trees,
        phase=phase,
        since=day,
        p20=day + 80 if day else 0,
        p50=day + 100 if day else 0,
        p80=day + 120 if day else 0,
        ready=0.75 * trees,
        ready_low=trees // 2,
        ready_high=trees,
        needed=2350.0,
        needed_low=2000.0,
        needed_high=2700.0,
        counted=counted,
        gap_days=3,
        counting="single_sine",
        lower_c=13.0,
        upper_c=35.0,
        years=2,
        based_on_trees=40,
        based_on_lots=1,
        fallback="few lots: the rest is borrowed from a weak prior",
        why="" if day else "the day of grafting is not known",
        remarks=[],
    )


def _supply(known: Known) -> list[Supply]:
    items: defaultdict[tuple[str, ...], int] = defaultdict(int)
    stands = known.standing
    for lot, site, size, trees in zip(
        stands.lot, stands.site, stands.size, stands.trees, strict=True
    ):
        for where in (site, shapes.ALL_SITES):
            items[known.lots.cultivar[lot], known.lots.rootstock[lot], size, where] += trees
    return [
        Supply(
            cultivar=cultivar,
            rootstock=rootstock,
            size=size,
            grade="",
            site=site,
            first=max(one.today for one in known.sites),
            quantities=[[int(trees * (1.3 - level)) for level in LEVELS]] * STEPS,
            mean=[0.8 * trees] * STEPS,
            trees=trees,
        )
        for (cultivar, rootstock, size, site), trees in items.items()
    ]


def _lead_time(site: shapes.SiteWeather) -> LeadTime:
    return LeadTime(
        site=site.site,
        crop="citrus",
        method="t_bud",
        grafted_on=site.today,
        days=[200] * (len(LEVELS) - 1) + [-1],
        nearly=[230] * (len(LEVELS) - 2) + [-1, -1],
        take=0.9,
        push=0.95,
        survival=0.97,
        fit=0.98,
        mean=0.81,
        correlation=0.03,
        lots=1,
        fallback="",
    )


def _rate(site: str) -> Rate:
    return Rate(
        measure="take",
        site=site,
        factor="method",
        level="t_bud",
        crop="",
        hits=36,
        n=40,
        lots=1,
        low=0.77,
        high=0.96,
        adjusted=0.9,
        adjusted_low=0.85,
        adjusted_high=0.94,
        rank=0,
    )


def _curve(since: str) -> Curve:
    return Curve(
        crop="citrus",
        method="t_bud",
        since=since,
        counting="single_sine",
        degree_days=[200.0, 305.0, 400.0],
        share=[0.25, 0.5, 0.9],
        fitted=[0.2, 0.52, 0.91] if since == "grafting" else [],
        trees=1240,
        lots=52,
        pushed=1100,
        failed=30,
        lost=10,
    )


def _learned(known: Known) -> list[Learned]:
    shared = {"family": "lognormal", "counting": "single_sine", "trees": 40, "lots": 1}
    times = {"low": 380.0, "high": 440.0, "lot_low": 330.0, "lot_high": 510.0, "spread": 0.2}
    shares = {"low": 0.85, "high": 0.94, "lot_low": 0.8, "lot_high": 0.97, "spread": 0.05}
    everywhere = [
        Learned(what="push", crop="citrus", method="", site="", middle=410.0, fallback="few lots",
                **times, **shared),
        Learned(what="take", crop="citrus", method="t_bud", site="", middle=0.9, fallback="",
                **shares, **shared | {"family": ""}),
    ]  # fmt: skip
    return everywhere + [
        Learned(what="take", crop="citrus", method="", site=site.site, middle=0.9, fallback="",
                **shares, **shared)
        for site in known.sites
    ]  # fmt: skip
