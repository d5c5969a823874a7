"""From a form's fields to events: pure, so these need no service."""

from datetime import date
from zoneinfo import ZoneInfo

import msgspec
import pytest

from service.board.entries import event_id, events_of
from service.board.forms import Form
from service.board.recording import at_bag
from service.board.recording.at_table import Asked, Maker
from service.board.recording.fields import Amiss, Fields, Row, row_of
from service.board.recording.guarding import treatment
from service.board.recording.refusals import reason_of
from service.board.table_forms import FORM_OF_CHECK, FORMS
from service.board.visit import SiteSeen
from service.trade.check_plans import DEFAULT_PLANS, LOOK
from service.trade.events import Event
from service.trade.verdicts import ARITHMETIC_AND_CODES, BREAKABLE_RULES, Fault
from service.wording.shown import shown_to
from service.wording.words import LANGUAGES

ENTRY = "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77"
SITE = SiteSeen(
    code="CORIN",
    name="Corin Hill",
    time_zone="Europe/Madrid",
    table_word="table",
    today=date(2026, 11, 21),
)
SENT = {"entry": ENTRY, "occurred": "2026-11-20T10:00:00+01:00"}
TREES = {"row": "trees:L7::P1", "stands:trees:L7::P1": "24", "failed:trees:L7::P1": "2"}


def told(maker: Maker, place: str = "T1", **fields: str) -> list[Event]:
    """The events of a form that p-02 filled in at a place."""
    form = Form(list((SENT | fields).items()))
    return events_of(maker, Fields(form), Asked(place, "p-02"), SITE)


def data_of(maker: Maker, place: str = "T1", **fields: str) -> dict[str, object]:
    """What the one event of a form says, without what it leaves out."""
    (event,) = told(maker, place, **fields)
    said = msgspec.to_builtins(event)["data"]
    return {name: value for name, value in said.items() if value is not None}


@pytest.mark.parametrize(
    ("typed", "waiting"),
    [
        ({"pushed": "17"}, 7),
        ({"pushed": "17", "failed": "2"}, 7),
        ({"pushed": "17", "failed": "5"}, 4),
        ({"pushed": "10", "removed": "3", "unclear": "1"}, 10),
        ({"pushed": "17", "waiting": "3"}, 3),
        ({"pushed": "30"}, 0),
    ],
)
def test_the_others_wait_unless_somebody_counted_them(typed: dict[str, str], waiting: int) -> None:
    said = data_of(FORMS["push-count"].maker, **TREES, **typed)
    assert (said["lot"], said["place"], said["size"]) == ("L7", "T1", "P1")
    assert said["waiting"] == waiting


def test_a_count_of_nothing_is_asked_for_again() -> None:
    with pytest.raises(Amiss) as amiss:
        told(FORMS["push-count"].maker, **TREES)
    assert amiss.value.field == "pushed"


def test_a_count_far_above_the_book_is_asked_for_once_more() -> None:
    # given 24 by the book, where 240 is a key too much
    fields = TREES | {"pushed": "240"}
    with pytest.raises(Amiss) as amiss:
        told(FORMS["push-count"].maker, **fields)
    assert (amiss.value.field, amiss.value.values) == (
        "pushed",
        {"code": "L7", "counted": 240, "book": 26},
    )
    # then it is told once somebody says that it is so
    assert data_of(FORMS["push-count"].maker, **fields, sure="yes")["pushed"] == 240
    # and a few more than the book are found every day
    assert data_of(FORMS["push-count"].maker, **TREES, pushed="40")["pushed"] == 40


@pytest.mark.parametrize(
    ("maker", "typed", "book"),
    [
        (FORMS["stock-count"].maker, "counted:trees:L7:ready:P1", "book:trees:L7:ready:P1"),
        (at_bag.count_buds, "counted", "book"),
        (at_bag.put_right, "counted", "book"),
        (at_bag.put_right, "counted", "there"),
    ],
)
def test_every_count_asks_back_what_is_far_above_the_book(
    maker: Maker, typed: str, book: str
) -> None:
    fields = {"row": "trees:L7:ready:P1", book: "17", typed: "170"}
    with pytest.raises(Amiss) as amiss:
        told(maker, **fields)
    assert amiss.value.field == typed
    assert (amiss.value.values["counted"], amiss.value.values["book"]) == (170, 17)
    assert "170" in str(data_of(maker, **fields, sure="yes")["lines"])
    # Twice the book and ten more is still found; so is what a page of before does not say.
    assert data_of(maker, **fields | {typed: "44"})
    assert data_of(maker, row="trees:L7:ready:P1", **{typed: "170"})


def test_the_buds_of_a_bag_in_two_places_are_set_against_those_that_lie_there() -> None:
    fields = {"lay": "C-BOX", "book:C-BOX": "40", "book:C-COOL": "4", "counted": "60"}
    assert data_of(at_bag.count_buds, "B-1", **fields)
    with pytest.raises(Amiss):
        told(at_bag.count_buds, "B-1", **fields | {"lay": "C-COOL"})


def test_why_plants_were_lost_is_asked_in_so_many_words() -> None:
    with pytest.raises(Amiss, match="choose a cause"):
        told(FORMS["loss"].maker, row="trees:L7:pushed:P1", count="2")


def test_what_is_sent_again_is_the_same_event_to_the_byte() -> None:
    fields = TREES | {"pushed": "17"}
    first, again = (told(FORMS["push-count"].maker, **fields) for _ in range(2))
    assert msgspec.json.encode(first) == msgspec.json.encode(again)
    assert first[0].id == ENTRY
    assert event_id(ENTRY, 1) == event_id(ENTRY, 1) != ENTRY


def test_who_signs_in_is_who_did_it() -> None:
    (event,) = told(FORMS["looked"].maker)
    assert (event.actor, event.site, event.occurred) == ("p-02", "CORIN", SENT["occurred"])


def test_another_day_is_told_as_a_day() -> None:
    (event,) = told(FORMS["looked"].maker, day="2026-11-18")
    assert event.occurred == "2026-11-18"
    (event,) = told(FORMS["looked"].maker, day="2026-11-20")
    assert event.occurred == SENT["occurred"]


@pytest.mark.parametrize(
    ("name", "fields", "kind", "expected"),
    [
        (
            "loss",
            {"row": "liners:N1::P1", "count": "3", "cause": "frost"},
            "liners.discarded",
            {"lot": "N1", "place": "T1", "size": "P1", "count": 3, "cause": "frost"},
        ),
        (
            "loss",
            {"row": "trees:L7:ready:P1", "count": "1", "cause": "breakage"},
            "trees.lost",
            {
                "lot": "L7",
                "place": "T1",
                "stage": "ready",
                "size": "P1",
                "grade": "ungraded",
                "count": 1,
                "cause": "breakage",
            },
        ),
        (
            "move",
            {"lot": "l7", "stage": "grafted", "to": " t 2 "},
            "trees.moved",
            {"lot": "L7", "place": "T1", "stage": "grafted", "to": "T2"},
        ),
        (
            "move",
            {"row": "liners:N1::P1", "to": "T2", "count": "5"},
            "liners.moved",
            {"lot": "N1", "place": "T1", "size": "P1", "count": 5, "to": "T2"},
        ),
        (
            "unwrap",
            {"row": "trees:L7::P1", "failed": "2"},
            "grafts.unwrapped",
            {"lot": "L7", "place": "T1", "size": "P1", "failed": 2, "left_wrapped": 0},
        ),
        (
            "wrap",
            {"lot": "L7", "material": "stretch film"},
            "grafts.wrapped",
            {"lot": "L7", "place": "T1", "material": "stretch film"},
        ),
        (
            "forcing",
            {"lot": "L7", "technique": "lopped", "count": "12"},
            "tops.forced",
            {"lot": "L7", "place": "T1", "technique": "lopped", "count": 12},
        ),
        ("tops-off", {"lot": "L7"}, "tops.removed", {"lot": "L7", "place": "T1"}),
        (
            "grade",
            {
                "row": "trees:L7:pushed:P1",
                "graded:first": "12",
                "graded:second": "0",
                "graded:ungraded": "1",
                "other_grade": "Extra tall",
                "other_count": "2",
                "stay": "4",
            },
            "trees.graded",
            {
                "lot": "L7",
                "place": "T1",
                "stage": "pushed",
                "size": "P1",
                "outcomes": [
                    {"count": 12, "stage": "ready", "grade": "first"},
                    {"count": 1, "stage": "ready"},
                    {"count": 2, "stage": "ready", "grade": "extra_tall"},
                    {"count": 4, "stage": "pushed"},
                ],
            },
        ),
        (
            # none is ready: all that the page had stay
            "grade",
            {
                "row": "trees:L7:ready:P1:second",
                "there:trees:L7:ready:P1:second": "9",
                "graded:first": "0",
            },
            "trees.graded",
            {
                "lot": "L7",
                "place": "T1",
                "stage": "ready",
                "size": "P1",
                "grade": "second",
                "outcomes": [{"count": 9, "stage": "ready", "grade": "second"}],
            },
        ),
        (
            "potted",
            {"row": "trees:L7:ready:P1", "to_size": "p2", "count": "6"},
            "trees.potted",
            {
                "lot": "L7",
                "place": "T1",
                "stage": "ready",
                "size": "P1",
                "grade": "ungraded",
                "count": 6,
                "to_size": "P2",
            },
        ),
        (
            "potted",
            {"row": "liners:N1::P1", "to_size": "P2", "to": "t2"},
            "liners.potted",
            {"lot": "N1", "place": "T1", "size": "P1", "to_size": "P2", "to": "T2"},
        ),
        ("work", {"row": "", "work": "fed"}, "work.done", {"place": "T1", "work": "fed"}),
        (
            "work",
            {"row": "trees:L7", "work": "staked", "note": "canes of 90 cm"},
            "work.done",
            {"lot": "L7", "place": "T1", "work": "staked", "note": "canes of 90 cm"},
        ),
        (
            "stock-count",
            {"counted:trees:L7:ready:P1:first:T1": "0", "counted:bag:B1::::T1": "12"},
            "stock.counted",
            {
                "lines": [
                    {
                        "lot": "L7",
                        "place": "T1",
                        "stage": "ready",
                        "size": "P1",
                        "grade": "first",
                        "counted": 0,
                    },
                    {"bag": "B1", "place": "T1", "counted": 12},
                ],
                "reason": "counted at the table",
            },
        ),
        (
            "graft",
            {"bag": "b1", "onto": "liners:N1::P1::BED", "method": "t_bud", "count": "24"},
            "trees.grafted",
            {
                "from": [{"bag": "B1"}],
                "onto": {"liner_lot": "N1", "place": "BED", "size": "P1"},
                "method": "t_bud",
                "count": 24,
                "grafters": [{"person": "p-02", "count": 24}],
                "place": "T1",
            },
        ),
        (
            "regraft",
            {"row": "trees:L7:failed:P1", "bag": "B1", "method": "t_bud", "count": "2"},
            "trees.regrafted",
            {
                "of": "L7",
                "stage": "failed",
                "of_place": "T1",
                "size": "P1",
                "from": [{"bag": "B1"}],
                "method": "t_bud",
                "count": 2,
                "grafters": [{"person": "p-02", "count": 2}],
                "place": "T1",
            },
        ),
    ],
)
def test_a_form_tells_its_event(
    name: str, fields: dict[str, str], kind: str, expected: dict[str, object]
) -> None:
    (event,) = told(FORMS[name].maker, **fields)
    said = msgspec.to_builtins(event)
    assert said["type"] == kind
    assert bare(said["data"]) == expected


def test_every_check_has_a_form_that_does_it() -> None:
    checks = {LOOK, *(plan.check for plan in DEFAULT_PLANS)}
    assert {FORM_OF_CHECK[check] for check in checks} <= FORMS.keys()


def test_culled_trees_are_a_loss_of_what_they_were() -> None:
    fields = {"row": "trees:L7:pushed:P1", "graded:first": "12", "culled": "3"}
    graded, lost = told(FORMS["grade"].maker, **fields)
    assert bare(msgspec.to_builtins(graded)["data"])["outcomes"] == [  # type: ignore[index]
        {"count": 12, "stage": "ready", "grade": "first"}
    ]
    assert bare(msgspec.to_builtins(lost)["data"]) == {
        "lot": "L7",
        "place": "T1",
        "stage": "pushed",
        "size": "P1",
        "count": 3,
        "cause": "culled",
    }
    # Only culled ones: nothing was graded.
    (only,) = told(FORMS["grade"].maker, row="trees:L7:pushed:P1", culled="3")
    assert msgspec.to_builtins(only)["type"] == "trees.lost"


def bare(said: object) -> object:
    """What was said, without what was left out."""
    if isinstance(said, dict):
        return {name: bare(value) for name, value in said.items() if value is not None}
    return [bare(one) for one in said] if isinstance(said, list) else said


def test_the_forms_of_a_bag_speak_of_the_bag() -> None:
    assert bare(data_of(at_bag.discard, "B1", cause="dried", lay="COOL")) == {
        "lines": [{"bag": "B1", "place": "COOL"}],
        "cause": "dried",
    }
    assert bare(data_of(at_bag.carry, "B1", to="cool2")) == {
        "lines": [{"bag": "B1"}],
        "to": "COOL2",
    }
    assert bare(data_of(at_bag.count_buds, "B1", counted="0"))["lines"] == [  # type: ignore[index]
        {"bag": "B1", "counted": 0}
    ]


@pytest.mark.parametrize(
    ("name", "fields", "field"),
    [
        ("loss", {"row": "trees:L7", "cause": "frost"}, "count"),
        ("loss", {"row": "trees:L7", "cause": "frost", "count": "0"}, "count"),
        ("loss", {"row": "trees:L7", "cause": "frost", "count": "-3"}, "count"),
        ("loss", {"row": "trees:L7", "cause": "frost", "count": "1e3"}, "count"),
        ("loss", {"row": "trees:L7", "cause": "frost", "count": "99999999999"}, "count"),
        ("loss", {"row": "trees:L7", "count": "1"}, "cause"),
        ("loss", {"row": "trees:L7", "count": "1", "cause": "witches"}, "cause"),
        ("loss", {"row": "stars:L7", "count": "1", "cause": "frost"}, "row"),
        ("loss", {"row": "trees:L7:a:b:c:d:e", "count": "1", "cause": "frost"}, "row"),
        ("loss", {"row": "trees:L7:budding", "count": "1", "cause": "frost"}, "stage"),
        ("loss", {"count": "1", "cause": "frost"}, "row"),
        ("move", {"row": "trees:L7", "to": "nowhere at all, really"}, "to"),
        ("move", {"row": "trees:L7"}, "to"),
        ("wrap", {"row": "trees:L7"}, "material"),
        ("graft", {"bag": "B1", "method": "t_bud", "count": "1"}, "onto"),
        ("graft", {"onto": "liners:N1", "method": "t_bud", "count": "1"}, "bag"),
        ("graft", {"bag": "B1", "onto": "liners:N1", "method": "glue", "count": "1"}, "method"),
        ("grade", {"row": "trees:L7:pushed"}, "graded"),
        ("grade", {"row": "trees:L7:pushed", "graded:first": "few"}, "graded:first"),
        ("grade", {"row": "trees:L7:pushed", "graded:first": "0"}, "stay"),
        ("grade", {"row": "trees:L7:pushed", "other_count": "2"}, "other_grade"),
        (
            "grade",
            {"row": "trees:L7:pushed", "other_count": "2", "other_grade": "1!"},
            "other_grade",
        ),
        ("potted", {"row": "trees:L7:pushed"}, "to_size"),
        ("work", {"work": "danced"}, "work"),
        ("stock-count", {"counted:trees:L7": ""}, "counted"),
        ("stock-count", {"counted:trees:L7": "many"}, "counted:trees:L7"),
        ("looked", {"day": "2026-02-30"}, "day"),
        ("looked", {"occurred": "yesterday"}, "occurred"),
        ("looked", {"entry": "one"}, "entry"),
        ("looked", {"note": "x" * 501}, "note"),
    ],
)
def test_a_wrong_field_is_named(name: str, fields: dict[str, str], field: str) -> None:
    with pytest.raises(Amiss) as amiss:
        told(FORMS[name].maker, **fields)
    assert amiss.value.field == field
    assert amiss.value.in_words(shown_to("es").words)


@pytest.mark.parametrize(
    ("day", "began", "ended", "occurred", "end"),
    [
        ("2026-11-20", "08:00", "09:10", "2026-11-20T08:00:00+01:00", "2026-11-20T09:10:00+01:00"),
        ("2026-11-20", "23:30", "00:30", "2026-11-20T23:30:00+01:00", "2026-11-21T00:30:00+01:00"),
        # 02:00 to 03:00 comes twice: from the first to the second, so that no house opens early
        ("2026-10-25", "02:30", "02:30", "2026-10-25T02:30:00+02:00", "2026-10-25T02:30:00+01:00"),
        ("2026-10-25", "02:30", "02:10", "2026-10-25T02:30:00+02:00", "2026-10-25T02:10:00+01:00"),
        # and never: the hour before, the hour after
        ("2026-03-29", "02:30", "02:40", "2026-03-29T01:30:00+01:00", "2026-03-29T03:40:00+02:00"),
    ],
)
def test_a_treatment_ends_at_the_latest_moment_that_its_time_can_mean(
    day: str, began: str, ended: str, occurred: str, end: str
) -> None:
    """Clocks change at 01:00 UTC on the last Sundays of March and October (2000/84/EC)."""
    sent = {"product": "soap", "places": "T1", "day": day, "began": began, "ended": ended}
    ((_, data),), at = treatment(
        Fields(Form(list(sent.items()))), Asked("", "p-02"), ZoneInfo(SITE.time_zone)
    )
    assert (at, data["ended"]) == (occurred, end)


@pytest.mark.parametrize("day", ["9999-12-31", "0001-01-01", "2026-02-30", ""])
def test_a_treatment_is_of_a_day_that_is_told_of(day: str) -> None:
    sent = {"product": "soap", "places": "T1", "day": day, "began": "23:59", "ended": "00:00"}
    with pytest.raises(Amiss) as amiss:
        treatment(Fields(Form(list(sent.items()))), Asked("", "p-02"), ZoneInfo(SITE.time_zone))
    assert amiss.value.field == "day"


def test_rows_come_back_as_they_went() -> None:
    for row in (Row("trees", "L-7.A", "ready", "P1", "first", "T1"), Row("bag", "B1", place="C")):
        assert row_of(row.text) == row
    assert row_of("L7") == Row("trees", "L7")


@pytest.mark.parametrize("kind", [*ARITHMETIC_AND_CODES, *BREAKABLE_RULES])
def test_every_refusal_is_told_in_words(kind: str) -> None:
    numbers = {"code": "X", "since": "2026-11-02", "hold_kind": "plant_health", "day": "2026-11-02"}
    fault = Fault(kind=kind, detail="English of the log.", numbers=numbers)
    said = {
        language: reason_of(fault, None, shown_to(language), None).words for language in LANGUAGES
    }
    assert all(said.values())
    assert "English" not in said["es"]
    assert said["en"] != said["es"]
