"""Where in a body a mistake is, as a JSON Pointer."""

import msgspec
import pytest

from service.api.operation import NoQuery
from service.api.shapes import fault_of, has_half_a_pair, token
from service.api.stock import ByDayParameters, StockParameters
from service.trade.events import Event
from service.trade.events.catalogue import Place, Site


@pytest.mark.parametrize(
    ("body", "kind", "pointer"),
    [
        (b'{"type":"x.y"}', "bad_value", "#/type"),
        (b"[]", "wrong_type", "#"),
        (b'{"type":"place.checked","site":"A","data":{"place":"A"}}', "missing", "#/occurred"),
        (
            b'{"type":"place.checked","site":"a b","occurred":"2026-01-01","data":{"place":"A"}}',
            "bad_value",
            "#/site",
        ),
        (
            b'{"type":"trees.sold","site":"A","occurred":"2026-01-01","data":{"customer":"c",'
            b'"lines":[{"lot":"L","count":1},{"lot":"L","count":0}]}}',
            "bad_value",
            "#/data/lines/1/count",
        ),
        (
            b'{"type":"place.checked","site":"A","occurred":"2026-01-01",'
            b'"data":{"place":"A","to/do`s ~":1}}',
            "unknown_field",
            "#/data/to~1do%60s%20~0",
        ),
    ],
)
def test_a_mistake_is_pointed_at(body: bytes, kind: str, pointer: str) -> None:
    with pytest.raises(msgspec.ValidationError) as caught:
        msgspec.json.decode(body, type=Event)
    fault = fault_of(str(caught.value))
    assert (fault.kind, fault.pointer) == (kind, pointer)


@pytest.mark.parametrize("field", ["id", "site", "occurred", "actor", "replaces", "place"])
def test_a_last_newline_does_not_slip_through(field: str) -> None:
    event = {
        "type": "place.checked",
        "id": "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a77",
        "site": "CORIN",
        "occurred": "2026-03-14",
        "actor": "p-07",
        "replaces": "0190a5c4-7c00-7b3e-9a40-0d9c3b1f5a78",
        "data": {"place": "H2-T04"},
    }
    msgspec.convert(event, Event)
    part = event["data"] if field == "place" else event
    assert isinstance(part, dict)
    part[field] += "\n"
    with pytest.raises(msgspec.ValidationError):
        msgspec.convert(event, Event)


# RFC 6901 section 6: the names of its example document and their URI fragment forms.
@pytest.mark.parametrize(
    ("name", "fragment"),
    [
        ("foo", "foo"),
        ("", ""),
        ("a/b", "a~1b"),
        ("c%d", "c%25d"),
        ("e^f", "e%5Ef"),
        ("g|h", "g%7Ch"),
        ("i\\j", "i%5Cj"),
        ('k"l', "k%22l"),
        (" ", "%20"),
        ("m~n", "m~0n"),
    ],
)
def test_a_name_in_a_pointer(name: str, fragment: str) -> None:
    assert token(name) == fragment


GRAFTED = {"type": "trees.grafted", "site": "CORIN", "occurred": "2026-03-14"}


@pytest.mark.parametrize(
    ("shape", "given", "said"),
    [
        (Event, {"type": "place.chekced"}, ["Did you mean place.checked?"]),
        (Event, GRAFTED | {"site": "corin"}, ["'corin'", "capitals", "like CR2-T04"]),
        (Event, GRAFTED | {"occurred": "14/3/26"}, ["like 2026-03-14,", "T09:30:00+11:00"]),
        (Event, GRAFTED | {"actor": "Ann Lee"}, ["never a name", "like cust-0481"]),
        (Event, GRAFTED | {"id": "A"}, ["UUID in lower case", "0190a5c4-"]),
        (Event, GRAFTED | {"data": {"method": "whip"}}, ["There are: ", "whip_and_tongue"]),
        (Event, GRAFTED | {"data": {"count": 1.5}}, ["A whole number", "with a fraction"]),
        (Event, GRAFTED | {"data": {"count": "3"}}, ["A whole number", "not the text '3'"]),
        (Event, GRAFTED | {"data": {"count": 0}}, ["at least 1", "not 0"]),
        (Event, GRAFTED | {"data": {"cuont": 3}}, ["Did you mean count?"]),
        (Event, GRAFTED | {"actr": "p-1"}, ["Did you mean actor?"]),
        (
            Event,
            {**GRAFTED, "type": "stock.opened", "data": {"lines": [{"kind": "tree"}]}},
            ["Did you mean trees?", "There are: budwood, liners, trees."],
        ),
        (
            Event,
            {**GRAFTED, "type": "stock.opened", "data": {"lines": [{"kind": "trees", "a": 1}]}},
            ["There are: kind, lot, cultivar"],
        ),
        (Place, {"kind": "place", "code": "A", "what": "x"}, ["no field 'what'"]),
        (Site, {"code": "A", "name": ""}, ["At least 1 character, not 0"]),
        (Site, {"code": "A", "name": "A", "time_zone": "+10"}, ["IANA", "Australia/Sydney"]),
        (ByDayParameters, {"first": "2026-02-29"}, ["'2026-02-29' is not a day of the calendar"]),
        (ByDayParameters, {"first": "soon"}, ["A day like 2026-03-14 is wanted"]),
        (StockParameters, {"group_by": ["sit"]}, ["Did you mean site?"]),
        (StockParameters, {"known_at": "soon"}, ["position of the log, or a time"]),
        (NoQuery, {"x": "1"}, ["no field 'x'"]),
    ],
)
def test_a_mistake_is_told_in_words(
    shape: object, given: dict[str, object], said: list[str]
) -> None:
    with pytest.raises(msgspec.ValidationError) as caught:
        msgspec.convert(given, shape, strict=shape in (Event, Place, Site))
    for form in (given, msgspec.json.encode(given)):
        detail = fault_of(str(caught.value), shape, form).detail
        assert all(part in detail for part in said), detail
        assert not set("^$`") & set(detail)


def test_the_values_that_would_do_are_listed_for_programs() -> None:
    with pytest.raises(msgspec.ValidationError) as caught:
        msgspec.convert({"type": "x.y"}, Event)
    fault = fault_of(str(caught.value), Event, {"type": "x.y"})
    assert "trees.grafted" in fault.numbers["allowed"]


# RFC 8259 section 8.2 and RFC 3629 section 3: halves of pairs are no characters.
@pytest.mark.parametrize(
    ("text", "half"),
    [
        (rb'"\ud800"', True),
        (rb'"\udc00x"', True),
        (rb'"\ud83c\udf33"', False),
        (rb'"\\ud800"', False),
        (rb'"\u00e9"', False),
    ],
)
def test_half_a_surrogate_pair_is_seen(text: bytes, half: bool) -> None:
    assert has_half_a_pair(text) is half
