"""Where in a body a mistake is, as a JSON Pointer."""

import msgspec
import pytest

from service.api.shapes import fault_of, token
from service.trade.events import Event


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
