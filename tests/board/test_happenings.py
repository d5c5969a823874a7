"""Every event in words, in both languages: of the stored examples of every type and version."""

import pytest

from service.board.happenings import in_words
from service.log.upcasting import newest_data
from service.trade.events import EVENT_TYPES
from service.wording.shown import Shown, shown_to
from tests.corpus.keeping import read

EVENTS = [(event.type, newest_data(event.type, event.version, event.data)) for event in read()]


@pytest.mark.parametrize("shown", [shown_to("en"), shown_to("es")], ids=["en", "es"])
def test_every_stored_event_has_a_line(shown: Shown) -> None:
    for kind, data in EVENTS:
        said = in_words(shown, kind, data)
        assert said
        assert not any(odd in said for odd in ("%(", "None", "_", "{", ", ,")), (kind, said)


def test_every_type_of_event_has_words_of_its_own() -> None:
    assert {kind for kind, _ in EVENTS} == set(EVENT_TYPES), "the corpus holds every type"
    for kind, data in EVENTS:
        said = in_words(shown_to("en"), kind, data)
        assert said != kind.replace(".", ": ").replace("_", " "), kind
        assert said != in_words(shown_to("es"), kind, data), kind


def test_a_line_says_how_many_where_and_why() -> None:
    data = {"lot": "L1", "place": "T3", "count": 1, "cause": "frost", "note": "north side"}
    assert in_words(shown_to("en"), "trees.lost", data) == (
        "1 tree lost: frost, on T3, “north side”"
    )
    assert in_words(shown_to("es"), "trees.lost", {**data, "count": 12}) == (
        "Pérdida de 12 árboles: helada, en T3, “north side”"
    )
