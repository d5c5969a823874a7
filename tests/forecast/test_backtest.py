"""Scoring past forecasts, on cases made by hand and counted by hand."""

import random
import xml.etree.ElementTree as ET
from datetime import date, timedelta

import pytest

from seed_scenario.generator import scenario
from service.forecast.backtest.cases import Case, Promise, before_true, first_within
from service.forecast.backtest.chart import chart
from service.forecast.backtest.hindsight import Stand, coming, middle_day
from service.forecast.backtest.outcomes import (
    Fate,
    OutcomesError,
    by_lot,
    from_csv,
    from_log,
    to_csv,
)
from service.forecast.backtest.plain import FirstForecast, calendar_days
from service.forecast.backtest.run import Run, days_between
from service.forecast.backtest.scores import lot_score, promise_score, scores_of
from service.forecast.backtest.table import table
from service.forecast.numerics.worker import forecast
from service.forecast.shapes import (
    LEVELS,
    STEPS,
    Foretold,
    Growths,
    Known,
    Lots,
    LotTold,
    Pushes,
    SiteWeather,
    Standing,
    Supply,
    Takes,
)
from tests.support.story_known import StoryKnown

DAY = date(2026, 3, 1).toordinal()


def fate(ready: int = 0, trees: int = 1, **more: object) -> Fate:
    """Trees that are ready so many days from DAY; other days from DAY too, 0 for never."""
    row = {"lot": "L1", "size": "P4", "grade": "first", "graded": 0, "died": 0, "left": 0, **more}
    days = {
        name: DAY + int(str(row[name])) if row[name] else 0 for name in ("graded", "died", "left")
    }
    words = {name: str(row[name]) for name in ("lot", "size", "grade")}
    return Fate(**words, ready=DAY + ready if ready else 0, **days, trees=trees)


# -- outcomes --------------------------------------------------------------------------------------


def test_a_file_of_outcomes_is_read_as_it_was_written() -> None:
    fates = [fate(5, 3, graded=9, left=20), fate(0, 2, died=4), fate(7, 1, lot="L2", grade="")]
    text = to_csv(fates)
    assert text.splitlines()[0] == "lot,size,grade,ready,graded,died,left,trees"
    assert "L1,P4,first,2026-03-06,2026-03-10,,2026-03-21,3" in text
    assert from_csv(text) == by_lot(sorted(fates))
    assert from_csv("\ufeff" + text.replace("\r\n", "\n")) == by_lot(sorted(fates))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("L1,P4,first,2026-03-06,,,", "line 2: 7 cells where 8 are wanted"),
        ("L1,P4,first,6 March,,,,3", "line 2: a day is not written like 2026-03-14"),
        (",P4,first,2026-03-06,,,,3", "line 2: it names no lot"),
        ("L1,P4,first,2026-03-06,,,,-3", "line 2: '-3' is not a number of trees"),
        ("L1,P4,first,2026-03-06,,,,²", "line 2: '²' is not a number of trees"),
        ('L1,"P4,first', "line 2: not a line of CSV"),
        ("", "there are no lines after the first"),
    ],
)
def test_a_bad_file_of_outcomes_is_named_by_its_line(line: str, said: str) -> None:
    head = to_csv([]).strip()
    with pytest.raises(OutcomesError, match=said):
        from_csv(f"{head}\n{line}\n")
    with pytest.raises(OutcomesError, match="the first line must read lot,"):
        from_csv("lot,day\n")


def test_the_log_tells_readiness_between_two_gradings() -> None:
    """Ten ready between days 0 and 20, four of them sold, one dead; three never; L2 still grows."""
    rows = [
        ("ready", 0, 20, 10),
        ("ready_gone", 20, 30, 4),
        ("ready_dead", 20, 40, 1),
        ("dead", 0, 15, 1),
        # a count did not find it
        ("missing", 0, 15, 1),
        ("culled", 20, 33, 1),
        ("growing", 20, 0, 2),
        ("ready", 0, 20, 5),
    ]
    growths = Growths(
        lot=[0, 0, 0, 0, 0, 0, 1, 1],
        site=["S"] * 8,
        outcome=[row[0] for row in rows],
        after=[DAY + row[1] for row in rows],
        by=[DAY + row[2] if row[2] else 0 for row in rows],
        started=["P1"] * 8,
        size=["P4"] * 8,
        grade=["first"] * 8,
        trees=[row[3] for row in rows],
    )
    standing = Standing(
        lot=[1], site=["S"], stage=["pushed"], size=["P4"], grade=[""], trees=[2], unread=[0],
        held=[False],
    )  # fmt: skip
    told = from_log(known(lots("L1", "L2"), growths=growths, standing=standing))
    assert set(told) == {"L1"}
    fates = told["L1"]
    ready = [one for one in fates if one.ready]
    assert sum(one.trees for one in fates) == 13
    # each in the middle of its tenth of the twenty days
    days = sorted(day for one in ready for day in [one.ready - DAY] * one.trees)
    assert days == pytest.approx([1, 3, 5, 7, 9, 11, 13, 15, 17, 19], abs=1)
    assert {one.graded - DAY for one in ready} == {20}
    assert sum(one.trees for one in fates if one.left == DAY + 30) == 4
    assert sum(one.trees for one in ready if one.died == DAY + 40) == 1
    # Of L2 two of seven still grow; were it one of ten or fewer, it would be told of.
    growths.trees[7] = 18
    few = from_log(known(lots("L1", "L2"), growths=growths, standing=standing))
    assert sum(one.trees for one in few["L2"] if one.ready) == 18


def lots(*codes: str, crop: str = "citrus", grafted: int = DAY - 200, **more: bool) -> Lots:
    n = len(codes)
    return Lots(
        code=list(codes),
        crop=[crop] * n,
        cultivar=["NAVEL"] * n,
        rootstock=["CARRIZO"] * n,
        method=["inverted_t_bud"] * n,
        site=["S"] * n,
        grafter=[""] * n,
        grafted_on=[grafted] * n,
        forced_on=[0] * n,
        attempt=[1] * n,
        grown_for=[more.get("grown_for", False)] * n,
        counted_on=[0] * n,
    )


def known(
    of: Lots,
    *,
    growths: Growths | None = None,
    standing: Standing | None = None,
    pushes: Pushes | None = None,
    today: int = DAY + 1,
    warm: float = 28.0,
) -> Known:
    """At one site; the temperature stands still for two years up to today."""
    weather = SiteWeather(
        site="S", today=today, first=today - 730, low=[warm] * 730, high=[warm] * 730
    )
    return Known(
        position=1,
        sites=[weather],
        lots=of,
        pushes=pushes or Pushes(),
        growths=growths or Growths(),
        takes=Takes(),
        standing=standing or Standing(),
    )


# -- what came -------------------------------------------------------------------------------------


def test_the_true_day_is_that_of_the_middle_tree_of_those_that_still_grew() -> None:
    fates = [
        fate(-9, 4, graded=-2),  # graded before the day: not among those that grow
        fate(3, 2, graded=40),
        fate(10, 2),
        fate(12, 1, died=30),
        fate(5, 7, died=4),  # dead before
        fate(6, 7, left=8),  # thrown away unready
        fate(1, 7, left=-1),  # gone already
        fate(0, 9),  # never
    ]
    assert coming(fates, DAY) == 5
    assert middle_day(fates, DAY) == DAY + 10
    # Of four the second one is the middle: half are ready.
    assert middle_day([fate(3, 2), fate(10, 2)], DAY) == DAY + 3
    assert middle_day([fate(-5, 3), fate(10, 2)], DAY) == DAY - 5
    assert middle_day([fate(0, 9)], DAY) is None


ITEM = ("NAVEL", "CARRIZO", "P4", "", "S")


def stand(fates: list[Fate], rows: list[tuple[str, str, str, int, bool]], **more: bool) -> Stand:
    """Rows of what stands of L1: site, stage, grade, trees, held."""
    standing = Standing(
        lot=[0] * len(rows),
        site=[row[0] for row in rows],
        stage=[row[1] for row in rows],
        size=["P4" if row[1] == "ready" else "P1" for row in rows],
        grade=[row[2] for row in rows],
        trees=[row[3] for row in rows],
        unread=[0] * len(rows),
        held=[row[4] for row in rows],
    )
    return Stand(known(lots("L1", **more), standing=standing), by_lot(fates), DAY)


def test_what_there_was_counts_what_stood_then_and_lived() -> None:
    fates = [
        fate(-20, 6, graded=-10),
        fate(-20, 2, graded=-10, died=25),
        fate(-20, 5, graded=-10, left=-3),  # sold before
        fate(-20, 3, graded=-10, left=12),  # sold after: it could have been promised
        fate(15, 4),
        fate(15, 4, size="P9"),
        fate(45, 8, grade="second"),
    ]
    rows = [("S", "ready", "first", 11, False), ("S", "pushed", "", 16, False)]
    then = stand(fates, rows)
    assert then.ready_now(ITEM) == 11
    assert [then.came(ITEM, DAY + days) for days in (1, 20, 30, 60)] == [11, 15, 13, 21]
    assert then.came(("NAVEL", "CARRIZO", "P4", "second", "S"), DAY + 60) == 8
    assert then.came(("NAVEL", "CARRIZO", "P4", "", ""), DAY + 20) == 15
    assert then.came(("NAVEL", "CARRIZO", "P4", "", "ELSEWHERE"), DAY + 20) == 0


def test_held_trees_and_those_of_a_customer_are_not_there_to_promise() -> None:
    fates = [fate(-20, 10, graded=-10), fate(15, 6)]
    rows = [
        ("S", "ready", "first", 4, False),
        ("S", "ready", "first", 6, True),
        ("S", "pushed", "", 3, False),
        ("T", "pushed", "", 3, False),
    ]
    then = stand(fates, rows)
    assert then.ready_now(ITEM) == 4
    assert then.came(ITEM, DAY + 30) == pytest.approx(4 + 3)
    theirs = stand(fates, rows, grown_for=True)
    assert (theirs.ready_now(ITEM), theirs.came(ITEM, DAY + 30)) == (0, 0)


def test_trees_of_a_lot_at_two_sites_are_shared_out_by_what_stands_there() -> None:
    """Of six first and four second ones, graded at S, three first ones went to T since."""
    fates = [fate(-20, 6, graded=-10), fate(-20, 4, graded=-10, grade="second")]
    rows = [
        ("S", "ready", "first", 3, False),
        ("S", "ready", "second", 4, False),
        ("T", "ready", "first", 3, False),
    ]
    then = stand(fates, rows)
    item = ("NAVEL", "CARRIZO", "P4")
    came = {
        (grade, site): then.came((*item, grade, site), DAY + 30)
        for grade in ("", "first", "second")
        for site in ("S", "T", "")
    }
    assert came == {
        ("", "S"): 7, ("", "T"): 3, ("", ""): 10,
        ("first", "S"): 3, ("first", "T"): 3, ("first", ""): 6,
        ("second", "S"): 4, ("second", "T"): 0, ("second", ""): 4,
    }  # fmt: skip


def test_no_outcome_of_a_lot_that_grew_no_telling() -> None:
    growing, ready = ("S", "pushed", "", 3, False), ("S", "ready", "first", 4, False)
    assert stand([], [growing, ready]).came(ITEM, DAY + 30) is None
    assert stand([], [ready]).came(ITEM, DAY + 30) == 4


# -- which cases -----------------------------------------------------------------------------------


def case(lot: str, today: int, p50: int, true: int, **more: int) -> Case:
    """Days from DAY; P20 and P80 ten days to either side."""
    days = {"p20": p50 - 10, "p80": p50 + 10, **more}
    return Case(
        lot=lot,
        site="S",
        crop="citrus",
        method="t_bud",
        phase="pushed",
        today=DAY + today,
        p20=DAY + days["p20"],
        p50=DAY + p50,
        p80=DAY + days["p80"],
        true=DAY + true,
        calendar=DAY + more["calendar"] if "calendar" in more else 0,
        first=DAY + more["first"] if "first" in more else 0,
        trees=20,
        ready=18.0,
        ready_low=16,
        ready_high=19,
        came=more.get("came", 18),
    )


def test_a_case_is_the_first_that_said_so_soon() -> None:
    cases = [
        case("A", 0, 100, 95),
        case("A", 7, 96, 95),  # 89 days ahead: the first within 90
        case("A", 14, 120, 95),
        case("A", 21, 108, 95),
        case("B", 0, 80, 95),  # so near from the beginning: nobody knows since when
        case("B", 7, 80, 95),
        case("C", 14, 40, 95),  # grafted since, and near at once
    ]
    found = {one.lot: one.today - DAY for one in first_within(cases, 90)}
    assert found == {"A": 7, "C": 14}
    assert {one.lot for one in first_within(cases, 30)} == {"C"}


def test_a_case_by_the_true_day_is_the_nearest() -> None:
    cases = [case("A", day, 90, 100) for day in (0, 7, 14, 21)]
    assert [one.today - DAY for one in before_true(cases, 90, 7)] == [7]
    assert before_true(cases, 60, 7) == []


# -- scores ----------------------------------------------------------------------------------------


def test_scores_of_cases_counted_by_hand() -> None:
    cases = [
        case("A", 0, 50, 50, calendar=70, first=90),  # inside; off 0, 20, 40
        case("B", 0, 50, 60, calendar=70),  # inside, at the edge; off 10, 10
        case("C", 0, 50, 61, came=15),  # after; off 11
        case("D", 0, 50, 20),  # before; off 30
    ]
    got = lot_score("some", cases)
    assert (got.n, got.lots, got.inside, got.early, got.late) == (4, 4, 0.5, 0.25, 0.25)
    assert (got.error, got.bias) == (10.5, 5.0)
    # against each other on the same cases
    assert (got.by_calendar, got.calendar, got.of_calendar) == (2, 15.0, 5 / 15)
    assert (got.by_first, got.first, got.of_first) == (1, 40.0, 0.0)
    assert got.ready_inside == 0.75
    assert got.ready_off == pytest.approx(69 / 72)
    none = lot_score("none", [])
    assert (none.n, none.inside, none.error, none.of_first) == (0, None, None, None)


def promised(quantity: int, came: float, ready: int = 0, confidence: float = 0.9) -> Promise:
    return Promise(
        cultivar="NAVEL",
        rootstock="CARRIZO",
        size="P4",
        grade="",
        site="S",
        today=DAY,
        date=DAY + 30,
        confidence=confidence,
        promised=quantity,
        came=came,
        ready_now=ready,
    )


def test_scores_of_promises_counted_by_hand() -> None:
    some = [promised(10, 10), promised(8, 7.5), promised(0, 12), promised(5, 20)]
    got = promise_score("some", 0.9, [*some, promised(99, 1, confidence=0.8)])
    assert (got.n, got.kept) == (3, 2 / 3)
    assert got.used == pytest.approx(23 / 49.5)
    assert got.kept_low == pytest.approx(0.2077, abs=1e-4)  # Wilson 1927 for 2 of 3
    assert promise_score("none", 0.8, some).kept is None
    scores = scores_of([], [promised(10, 10, ready=10), promised(11, 10, ready=10)], 7)
    kept = {one.confidence: (one.n, one.kept) for one in scores.growing}
    assert kept[0.9] == (1, 0.0)
    assert {one.confidence: one.n for one in scores.promises}[0.9] == 2


def test_a_forecast_that_draws_from_what_nature_draws_from_scores_as_it_should() -> None:
    """Known answers: a normal forecast of normal days. 60 of 100 lie after P20 and by P80 (59.5
    with whole days), half of the errors are under 0.6745 deviations, promises are kept as often as
    they say. Bounds are four standard errors."""
    chance, sd, n = random.Random(7), 12.0, 4000
    cases, promises = [], []
    for number in range(n):
        middle = chance.randint(40, 90)
        wide = round(0.8416 * sd)
        true = round(chance.gauss(middle, sd))
        cases.append(case(f"L{number}", 0, middle, true, p20=middle - wide, p80=middle + wide))
        came = round(chance.gauss(100, 10))
        promises += [promised(q, came, confidence=c) for c, q in ((0.5, 100), (0.9, 87))]
    got = lot_score("all", cases)
    assert got.inside == pytest.approx(0.5949, abs=4 * 0.0078)
    assert got.error == pytest.approx(0.6745 * sd, abs=0.8)
    assert got.bias == pytest.approx(0, abs=1)
    # P(X >= 86.5) and P(X >= 99.5) of a normal with mean 100, deviation 10
    assert promise_score("", 0.9, promises).kept == pytest.approx(0.9115, abs=4 * 0.0045)
    assert promise_score("", 0.5, promises).kept == pytest.approx(0.5199, abs=4 * 0.0079)


# -- what it is measured against -------------------------------------------------------------------


def test_the_calendar_average_is_over_lots_that_are_ready_mostly() -> None:
    rows = [
        (0, "ready", DAY - 20, DAY - 10, 6),  # halfway: 185 days from grafting
        (0, "ready", 0, DAY, 4),
        (1, "ready", 0, DAY - 40, 8),  # nobody looked before: 160
        (1, "growing", DAY, 0, 8),
        (2, "ready", 0, DAY - 90, 2),  # most still grow: not a past lot
        (2, "growing", DAY, 0, 9),
    ]
    growths = Growths(
        lot=[row[0] for row in rows],
        site=["S"] * 6,
        outcome=[row[1] for row in rows],
        after=[row[2] for row in rows],
        by=[row[3] for row in rows],
        started=["P1"] * 6,
        size=["P4"] * 6,
        grade=["first"] * 6,
        trees=[row[4] for row in rows],
    )
    assert calendar_days(known(lots("A", "B", "C"), growths=growths)) == {"citrus": (185 + 160) / 2}


def told(lot: int = 0, p50: int = DAY + 50, phase: str = "pushed", **more: int) -> LotTold:
    return LotTold(
        lot=lot,
        site="S",
        trees=20,
        phase=phase,
        since=DAY - 200,
        p20=more.get("p20", p50 - 10),
        p50=p50,
        p80=more.get("p80", p50 + 10),
        ready=18.0,
        ready_low=16,
        ready_high=19,
        needed=0,
        needed_low=0,
        needed_high=0,
        counted=0,
        gap_days=0,
        counting="",
        lower_c=13,
        upper_c=35,
        years=2,
        based_on_trees=0,
        based_on_lots=0,
        fallback="",
        why="",
        remarks=[],
    )


def test_the_first_forecast_is_the_weak_prior_played_by_the_mean_weather() -> None:
    """At a still 28 C citrus gets 15 Cd a day: 1950 Cd from push are 130 days, 2350 from grafting
    157 (the figures of the priors, trade reference and `requirements.py`)."""
    pushes = Pushes(
        lot=[0, 0], site=["S", "S"], outcome=["pushed"] * 2, after=[0, 0],
        by=[DAY - 90, DAY - 100], trees=[5, 5],
    )  # fmt: skip
    then = known(lots("A", grafted=DAY - 130), pushes=pushes)
    first = FirstForecast(then)
    assert first.day(told(phase="pushed")) == DAY - 100 + 130
    assert first.day(told(phase="grafted")) == DAY - 130 + 157
    unknown = known(lots("A", crop="medlar"))
    assert FirstForecast(unknown).day(told()) is None


# -- the whole -------------------------------------------------------------------------------------


def test_days_are_equally_far_apart_and_end_with_the_last() -> None:
    days = days_between(date(2026, 1, 1), date(2026, 1, 20), 7)
    assert days == [date(2026, 1, 6), date(2026, 1, 13), date(2026, 1, 20)]
    assert days_between(date(2026, 1, 1), date(2026, 1, 1), 7) == [date(2026, 1, 1)]


def supply(today: int, quantity: int) -> Supply:
    """Surer ones are fewer; after ten weeks it is five fewer."""
    by_level = [quantity - n for n in range(len(LEVELS))]
    steps = [by_level if step < 10 else [q - 5 for q in by_level] for step in range(STEPS)]
    return Supply(
        cultivar="NAVEL", rootstock="CARRIZO", size="P4", grade="", site="S", first=today,
        quantities=steps, mean=[0.0] * STEPS, trees=quantity,
    )  # fmt: skip


def foretold(of: list[LotTold], some: list[Supply]) -> Foretold:
    return Foretold(
        position=1, draws=1, learned=[], lots=of, supply=some, lead_times=[], remarks=[]
    )


def test_a_run_scores_each_day_by_what_came() -> None:
    standing = Standing(
        lot=[0, 0], site=["S", "S"], stage=["pushed", "ready"], size=["P1", "P4"],
        grade=["", "first"], trees=[12, 8], unread=[0, 0], held=[False, False],
    )  # fmt: skip
    outcomes = by_lot([fate(-20, 8, graded=-10), fate(40, 12)])
    days = [date.fromordinal(DAY + number) for number in (0, 7, 14)]
    run = Run(days, outcomes)
    for day, p50 in zip(days, (120, 95, 50), strict=True):
        today = day.toordinal() + 1
        then = known(lots("L1", "L2"), standing=standing, today=today)
        # L2 has no outcome; of L1 nothing is said to the last day's question but by the first lot
        run.take(then, foretold([told(0, DAY + p50), told(1)], [supply(today, 20)]))
    done = run.result()
    assert [one.p50 - DAY for one in done.cases] == [120, 95, 50]
    assert {one.true - DAY for one in done.cases} == {40}
    assert done.left_out.no_outcome == 3
    # on the first day alone: three leads at each confidence
    assert len(done.promises) == 3 * len(LEVELS)
    by_date = {one.date - DAY - 1: one for one in done.promises if one.confidence == 0.5}
    assert {lead: one.came for lead, one in by_date.items()} == {30: 8, 60: 20, 90: 20}
    # What is told for the step that the date falls in.
    assert {lead: one.promised for lead, one in by_date.items()} == {30: 20, 60: 20, 90: 15}
    assert done.scores.first_said[0].n == 1
    report, drawing = table(done), chart(done)
    assert "3 past days from 2026-03-01 to 2026-03-15" in report
    assert max(map(len, report.splitlines())) <= 125
    root = ET.fromstring(drawing)
    words = [node.text or "" for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "True day inside P20 to P80" in words
    with pytest.raises(ValueError, match="no day"):
        Run([], outcomes)


def test_the_invented_nursery_on_a_past_day_knows_nothing_of_later() -> None:
    """The same day asked of the whole story, and of a story that was told no further."""
    last = date(2026, 11, 24)
    story = scenario(last, lots=40, years=1)
    day = last - timedelta(days=90)
    then = StoryKnown(story).at(day)
    cut = [one for one in story.requests if one.recorded_at.date() <= day]
    story.requests = cut
    again = StoryKnown(story).at(day)
    assert then == again
    assert max([*then.pushes.by, *then.growths.by, *then.lots.grafted_on]) <= day.toordinal()
    assert then.sites[0].first + len(then.sites[0].low) == day.toordinal() + 1
    assert sum(then.standing.trees) > 500


def test_a_nursery_in_which_nothing_was_graded_yet_is_forecast() -> None:
    """What grade its trees will be of is not known: they are told of any, not of another's."""
    last = date(2026, 11, 20)
    then = StoryKnown(scenario(last, lots=30, years=1)).at(date(2025, 12, 15), draws=20)
    assert "ready" not in then.growths.outcome
    made = forecast(then, lead_days=(), compare=False)
    assert len(made.lots) >= 5
    growing = {(row.cultivar, row.rootstock) for row in made.supply if not row.grade}
    assert ("VALEN", "CARRIZO") in growing
    # stood ready when the books were opened, in their grades
    assert {row.cultivar for row in made.supply if row.grade} == {
        "NAVEL",
        "EUREKA",
        "HASS",
        "BOSKOOP",
        "GRAVEN",
    }
