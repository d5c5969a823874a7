"""At the table, without script: what is recorded, refused, counted, sent again and undone."""

import contextlib
import re
from collections.abc import Callable, Iterator

import pytest

from tests.board.at_bench import AtBench, hidden_of, looked_up, view_follows
from tests.board.served import Served

A_PLACE = "SELECT code FROM catalogue WHERE kind = 'place' AND site = $1 LIMIT 1"
SIZE = (
    "SELECT b.size FROM balances b JOIN lots l ON l.lot_id = b.lot_id WHERE l.code = $1 "
    "AND b.place = 'C-T6' AND b.stage = 'pushed' LIMIT 1"
)
Crew = Callable[[str], AtBench]


@pytest.fixture
def crew(demo: Served) -> Iterator[Crew]:
    """`crew("p-02")`: a device on which they are signed in."""
    with contextlib.ExitStack() as devices:

        def device(who: str) -> AtBench:
            bench = AtBench(demo, who)
            devices.callback(bench.client.close)
            return bench

        yield device


@pytest.fixture
def bench(crew: Crew) -> AtBench:
    return crew("p-02")


def standing(demo: Served, table: str, stage: str) -> tuple[str, int]:
    """A lot of trees of a stage at a table, and how many by the book."""
    question = (
        "SELECT l.code || ' ' || b.balance FROM balances b JOIN lots l ON l.lot_id = b.lot_id "
        "WHERE b.place = $1 AND b.kind = 'trees' AND b.stage = $2 AND b.balance > 0 "
        "ORDER BY b.balance DESC LIMIT 1"
    )
    lot, count = looked_up(demo, question, table, stage).split()
    return lot, int(count)


def left(demo: Served, table: str, lot: str, stage: str) -> int:
    """How many of the lot stand there by the book."""
    question = (
        "SELECT coalesce(sum(b.balance), 0)::bigint FROM balances b "
        "JOIN lots l ON l.lot_id = b.lot_id WHERE b.place = $1 AND l.code = $2 "
        "AND b.kind = 'trees' AND b.stage = $3"
    )
    return int(looked_up(demo, question, table, lot, stage))


def open_items(demo: Served, entry: str) -> list[str]:
    """The states of what waits to be put right under an entry's id."""
    question = "SELECT array_agg(state) FROM to_put_right WHERE event_id = $1::uuid"
    return list(looked_up(demo, question, entry) or [])


def test_a_push_count_is_recorded_said_and_undone(demo: Served, bench: AtBench) -> None:
    lot, pushed = standing(demo, "C-T16", "pushed")
    grafted = left(demo, "C-T16", lot, "grafted")
    path = f"/table/C-T16/push-count?lot={lot}"
    answer = bench.send(path, bench.fill(path, pushed=str(pushed - 1)))
    assert answer.status_code == 303
    onward = answer.headers["location"]
    page = bench.see(onward)
    assert "Recorded at C-T16: push count." in page
    assert left(demo, "C-T16", lot, "pushed") == pushed - 1
    assert left(demo, "C-T16", lot, "grafted") == grafted + 1

    answer = bench.send("/undo", hidden_of(page, "/undo"))
    assert answer.headers["location"] == "/table/C-T16"
    assert "Undone" in bench.see("/table/C-T16")
    assert left(demo, "C-T16", lot, "pushed") == pushed
    # Once more changes nothing, and says so.
    bench.send("/undo", hidden_of(page, "/undo"))
    assert "undone already" in bench.see("/table/C-T16")


def test_an_entry_sent_again_is_one_entry(demo: Served, bench: AtBench) -> None:
    lot, before = standing(demo, "C-T17", "pushed")
    path = f"/table/C-T17/loss?lot={lot}&stage=pushed"
    fields = bench.fill(path, count="1", cause="breakage")
    first = bench.send(path, fields, json=True).json()
    assert (first["verdict"], first["entry"]) == ("accepted", fields["entry"])
    again = bench.send(path, fields, json=True).json()
    assert again["verdict"] == "known"
    assert left(demo, "C-T17", lot, "pushed") == before - 1
    # The same entry with other numbers is none: it says so, and moves nothing.
    other = bench.send(path, fields | {"count": "2"}, json=True).json()
    assert (other["verdict"], other["errors"][0]["kind"]) == ("refused", "id_reused")
    assert left(demo, "C-T17", lot, "pushed") == before - 1


def test_what_the_book_refuses_is_counted_and_sent_again_with_one_press(
    demo: Served, bench: AtBench
) -> None:
    """The book was wrong: two more stood there than it had, and two more were lost."""
    lot, book = standing(demo, "C-T17", "grafted")
    path = f"/table/C-T17/loss?lot={lot}&stage=grafted"
    fields = bench.fill(path, count=str(book + 2), cause="frost", note="after the cold night")
    answer = bench.send(path, fields)
    assert answer.status_code == 409
    page = answer.text
    assert f'value="{book + 2}"' in page
    assert "after the cold night" in page
    assert re.search(rf"the book has {book} trees of lot {lot} \(grafted\) at C-T17", page)
    # It waits to be put right, under its own id, whatever becomes of this page.
    assert open_items(demo, fields["entry"]) == ["open"]

    counted = hidden_of(page, "/count") | {"counted": "0"}
    answer = bench.send("/count", counted)
    assert answer.status_code == 303, answer.text
    assert "Recorded at C-T17: loss." in bench.see(answer.headers["location"])
    assert left(demo, "C-T17", lot, "grafted") == 0
    assert open_items(demo, fields["entry"]) == ["recorded"]


def test_a_device_is_told_which_count_would_settle_it(demo: Served, bench: AtBench) -> None:
    lot, book = standing(demo, "C-T9", "pushed")
    path = f"/table/C-T9/loss?lot={lot}&stage=pushed"
    fields = bench.fill(path, count=str(book + 5), cause="heat")
    (reason,) = bench.send(path, fields, json=True).json()["errors"]
    assert reason["kind"] == "below_zero"
    assert f"again={fields['entry']}" in reason["count_form"]

    said = bench.tell(reason["count_form"], counted="3")
    assert said["verdict"] == "accepted"
    assert bench.send(path, fields, json=True).json()["verdict"] == "accepted"
    # What was counted stays what was counted: the loss was told of before it.
    assert left(demo, "C-T9", lot, "pushed") == 3


def test_what_was_refused_waits_until_it_is_sent_again_or_let_go(
    demo: Served, bench: AtBench
) -> None:
    lot, book = standing(demo, "C-T6", "pushed")
    path = f"/table/C-T6/loss?lot={lot}&stage=pushed"
    entries = []
    for cause in ("pest", "heat"):
        fields = bench.fill(path, count=str(book + 1), cause=cause)
        assert bench.send(path, fields, json=True).json()["verdict"] == "refused"
        entries.append(fields["entry"])
    page = bench.see("/put-right")
    number = "SELECT id FROM to_put_right WHERE event_id = $1::uuid"
    first, second = (looked_up(demo, number, entry) for entry in entries)
    for one in (first, second):
        assert f'action="/put-right/{one}/again"' in page

    again = f"/put-right/{first}/again"
    bench.send(again, hidden_of(page, again))
    assert "Refused again" in bench.see("/put-right")
    row = f"trees:{lot}:pushed:{looked_up(demo, SIZE, lot)}::C-T6"
    assert bench.tell(f"/count?row={row}", counted=str(book))["verdict"] == "accepted"
    bench.send(again, hidden_of(page, again))
    assert open_items(demo, entries[0]) == ["recorded"]
    gone = f"/put-right/{second}/discard"
    bench.send(gone, hidden_of(page, gone) | {"reason": "told twice"})
    assert open_items(demo, entries[1]) == ["discarded"]
    assert gone not in bench.see("/put-right")
    bench.see("/put-right/999999/again", 405)


def test_a_wrong_field_comes_back_with_all_that_was_typed(demo: Served, bench: AtBench) -> None:
    lot, _ = standing(demo, "C-T6", "pushed")
    path = f"/table/C-T6/loss?lot={lot}&stage=pushed"
    fields = bench.fill(path, count="many", cause="frost", note="by the door")
    answer = bench.send(path, fields)
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in answer.text
    assert "by the door" in answer.text
    assert f'value="{fields["entry"]}"' in answer.text
    said = bench.send(path, fields, json=True).json()
    assert (said["verdict"], said["entry"]) == ("refused", fields["entry"])
    assert [reason["field"] for reason in said["errors"]] == ["count"]


def test_a_fact_against_a_rule_is_recorded_when_it_has_happened_all_the_same(
    demo: Served, crew: Crew
) -> None:
    boss = crew("boss")
    question = (
        "SELECT b.place FROM balances b JOIN lots l ON l.lot_id = b.lot_id "
        "WHERE l.code = 'T-G020' AND b.kind = 'trees' AND b.balance > 1 LIMIT 1"
    )
    place = looked_up(demo, question)
    page = boss.see(f"/table/{place}")
    assert "Stop: move, use and throw away nothing of it" in page
    other = looked_up(
        demo,
        "SELECT code FROM catalogue WHERE kind = 'place' AND site = 'TARNA' AND code <> $1 "
        "AND body ->> 'place_kind' = 'table' ORDER BY code LIMIT 1",
        place,
    )
    path = f"/table/{place}/move"
    row = re.search(r'name="row" value="(trees:T-G020:[^"]*)"', boss.see(path + "?lot=T-G020"))
    assert row is not None
    fields = boss.fill(f"{path}?lot=T-G020", row=row[1], to=other, count="1")
    answer = boss.send(path, fields)
    assert answer.status_code == 409
    assert "plant health" in answer.text
    assert 'name="happened"' in answer.text
    said = boss.send(path, fields | {"happened": "yes"}, json=True).json()
    assert (said["verdict"], said["remarks"]) == ("accepted", ["marked as done against a rule"])


def test_grading_does_its_check_and_is_undone_with_its_culls(demo: Served, crew: Crew) -> None:
    bench = crew("boss")
    question = (
        "SELECT c.place || ' ' || c.lot || ' ' || b.balance FROM checks_due c "
        "JOIN lots l ON l.code = c.lot JOIN balances b ON b.lot_id = l.lot_id "
        "AND b.place = c.place AND b.stage = 'pushed' AND b.kind = 'trees' "
        "WHERE c.check_name = 'grade' AND b.balance > 3 "
        "AND c.place NOT IN ('C-T5', 'C-T13', 'C-T18', 'C-T19', 'C-T20') ORDER BY 1 LIMIT 1"
    )
    place, lot, count = looked_up(demo, question).split()
    pushed = int(count)
    path = f"/table/{place}/grade?lot={lot}"
    assert f'href="{path}"' in bench.see(f"/table/{place}")
    row = re.search(rf'name="row" value="(trees:{lot}:pushed:[^"]*)"', bench.see(path))
    assert row is not None
    graded = {"row": row[1], "graded:first": "2", "culled": "1"}
    fields = bench.fill(path, **graded)
    # More than stand there is refused in words that say what to do.
    wrong = bench.again(fields) | {"graded:first": str(pushed + 1)}
    (reason,) = bench.send(path, wrong, json=True).json()["errors"][:1]
    assert reason["words"] == f"{pushed + 1} were graded, and the book has {pushed} there."

    said = bench.send(path, fields, json=True).json()
    assert said["verdict"] == "accepted", said
    assert left(demo, place, lot, "pushed") == pushed - 3
    done = (
        "SELECT last_done::text FROM checks_due "
        "WHERE lot = $1 AND place = $2 AND check_name = 'grade'"
    )
    view_follows(demo, "checks")
    assert looked_up(demo, done, lot, place) == "2026-11-21"
    bench.send("/undo", hidden_of(bench.see(said["next"]), "/undo"))
    assert left(demo, place, lot, "pushed") == pushed
    view_follows(demo, "checks")
    assert looked_up(demo, done, lot, place) != "2026-11-21"


def test_of_what_is_held_only_what_the_hold_allows_is_offered(demo: Served, crew: Crew) -> None:
    boss = crew("boss")
    question = (
        "SELECT b.place FROM balances b JOIN lots l ON l.lot_id = b.lot_id "
        "WHERE l.code = 'T-G020' AND b.kind = 'trees' AND b.balance > 1 LIMIT 1"
    )
    place = looked_up(demo, question)
    page = boss.see(f"/table/{place}")
    assert f"/table/{place}/loss?lot=T-G020" in page
    for form in ("move", "potted", "regraft", "graft"):
        assert f"/{form}?lot=T-G020" not in page
        assert f"/{form}?lot=T-G020" not in boss.see("/lot/T-G020")
    # The form itself says why, and does not ask for the lot unless somebody names it.
    asked = boss.see(f"/table/{place}/move")
    assert "Stop: move, use and throw away nothing of it" in asked
    assert "trees:T-G020" not in asked
    assert 'value="culled"' not in boss.see(f"/table/{place}/loss?lot=T-G020")


def test_tops_of_ready_trees_are_not_asked_for(demo: Served, bench: AtBench) -> None:
    question = (
        "SELECT b.place || ' ' || l.code FROM balances b JOIN lots l ON l.lot_id = b.lot_id "
        "WHERE b.site = 'CORIN' AND b.kind = 'trees' AND b.place <> '' AND b.balance > 0 "
        "GROUP BY b.place, l.code HAVING bool_and(b.stage = 'ready') ORDER BY 1 LIMIT 1"
    )
    place, lot = looked_up(demo, question).split()
    page = bench.see(f"/table/{place}")
    assert f"/table/{place}/grade?lot={lot}" in page
    for form in ("forcing", "tops-off", "push-count"):
        assert f"/{form}?lot={lot}" not in page
        assert f'value="trees:{lot}' not in bench.see(f"/table/{place}/{form}")


def test_a_wrong_treatment_opens_its_house_again(demo: Served, crew: Crew) -> None:
    boss = crew("boss")
    place = looked_up(demo, A_PLACE, "TARNA")
    path = f"/treatment?site=TARNA&code={place}"
    told = {"places": place, "product": "soap", "began": "06:00", "ended": "06:30"}
    said = boss.tell(path, **told, day="2026-11-20", re_entry_hours="48")
    assert said["verdict"] == "accepted"
    closed = boss.see(f"/table/{place}")
    assert "nobody goes in before" in closed
    assert "Record what was done before the house was closed" in closed
    assert "nobody goes in before" in boss.see(f"/table/{place}/loss")
    page = boss.see(said["next"])
    answer = boss.send("/undo", hidden_of(page, "/undo"), json=True).json()
    assert answer["verdict"] == "accepted"
    assert "nobody goes in before" not in boss.see(f"/table/{place}")


def test_who_may_undo(crew: Crew, bench: AtBench) -> None:
    done = bench.tell("/table/C-T6/looked", note="by p-02")["undo"]
    colleague, manager = crew("p-01"), crew("manager")
    csrf = {"csrf": colleague.fill("/table/C-T6/looked")["csrf"]}
    assert 'action="/undo"' not in colleague.see(f"/table/C-T6?done={done}")
    refused = colleague.send("/undo", csrf | {"event": done, "back": "/table/C-T6"}, json=True)
    assert refused.status_code == 403
    page = manager.see(f"/table/C-T6?done={done}")
    answer = manager.send("/undo", hidden_of(page, "/undo"), json=True)
    assert answer.json()["verdict"] == "accepted"


def test_two_at_one_table_each_lose_a_tree_and_both_are_told(demo: Served, crew: Crew) -> None:
    """Each page knew the same book; what counts is what the log makes of both."""
    lot, before = standing(demo, "C-T17", "pushed")
    path = f"/table/C-T17/loss?lot={lot}&stage=pushed"
    first, second = crew("p-01"), crew("p-02")
    mine = first.fill(path, count="1", cause="pest")
    yours = second.fill(path, count="1", cause="pest")
    assert first.send(path, mine, json=True).json()["verdict"] == "accepted"
    assert second.send(path, yours, json=True).json()["verdict"] == "accepted"
    assert left(demo, "C-T17", lot, "pushed") == before - 2
    page = second.see("/table/C-T17")
    assert "p-01" in page
    assert "p-02" in page


@pytest.mark.parametrize("code", ["c-t6", "C-T6"])
def test_a_tag_leads_to_what_it_hangs_on(bench: AtBench, code: str) -> None:
    answer = bench.client.get(f"/t/{code}")
    assert (answer.status_code, answer.headers["location"]) == (303, "/table/C-T6")


def test_codes_are_found_scanned_typed_or_half_typed(demo: Served, bench: AtBench) -> None:
    lot, _ = standing(demo, "C-T6", "pushed")
    ask = bench.client.get
    assert ask(f"/find?q=https://farm.example/t/{lot}").headers["location"] == f"/lot/{lot}"
    bag = looked_up(demo, "SELECT bag FROM budwood_on_hand WHERE site = 'CORIN' LIMIT 1")
    assert ask("/find", params={"q": f" {bag.lower()} "}).headers["location"] == f"/bag/{bag}"
    assert 'href="/table/C-T6"' in bench.see("/find?q=c-t", 404)
    assert "Read the tag once more" in bench.see("/find?q=zzz", 404)
    for page in (f"/lot/{lot}", f"/bag/{bag}", "/find"):
        assert bench.see(page)


def test_another_sites_things_are_not_there(demo: Served, bench: AtBench) -> None:
    place = looked_up(
        demo, "SELECT code FROM catalogue WHERE kind = 'place' AND site = 'ELDRA' LIMIT 1"
    )
    lot = looked_up(
        demo,
        "SELECT code FROM lots l WHERE site = 'ELDRA' AND NOT EXISTS (SELECT FROM balances b "
        "WHERE b.lot_id = l.lot_id AND b.site <> 'ELDRA') LIMIT 1",
    )
    fields = bench.fill("/table/C-T6/looked")
    for page in (f"/table/{place}", f"/table/{place}/loss", f"/lot/{lot}", f"/t/{place}"):
        bench.see(page, 404)
    assert bench.send(f"/table/{place}/looked", fields, json=True).status_code == 404
    # A row of another site, told of at one's own table, is as unknown as none at all.
    strange = bench.fill("/table/C-T6/loss", count="1", cause="frost") | {"row": f"trees:{lot}"}
    (reason,) = bench.send("/table/C-T6/loss", strange, json=True).json()["errors"]
    assert reason["kind"] in ("unknown_code", "nothing_there")


def test_who_only_reads_sees_no_forms_and_records_nothing(demo: Served, crew: Crew) -> None:
    reader = crew("inspector")
    place = looked_up(
        demo, "SELECT code FROM catalogue WHERE kind = 'place' AND site = 'ELDRA' LIMIT 1"
    )
    page = reader.see(f"/table/{place}")
    assert "data-entry" not in page
    reader.see(f"/table/{place}/loss", 403)


@pytest.mark.parametrize(
    "fields",
    [
        {},
        {"row": "trees:" + "A" * 300},
        {"row": "\U0001f333"},
        {"counted": "٣", "row": "trees:NO-SUCH:grafted:P1::C-T6", "on": "2026-99-99"},
        {"row": "trees:C-G023:grafted:P1::NOWHERE", "counted": "1"},
        {"row": "trees:C-G023:grafted:P1::C-T6", "counted": "1", "occurred": "x" * 40},
        {"again_to": "/table/C-T6/../../v1", "again_fields": "%00=%ff", "row": "trees:X"},
    ],
)
def test_no_form_makes_the_service_fall_over(bench: AtBench, fields: dict[str, str]) -> None:
    base = bench.fill("/table/C-T6/looked")
    for path in ("/count", "/undo", "/table/C-T6/graft", "/table/C-T6/stock-count"):
        for json in (False, True):
            answer = bench.send(path, bench.again(base) | fields, json=json)
            assert answer.status_code < 500, (path, answer.text)
