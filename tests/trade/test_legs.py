"""Legs: per commodity they sum to zero, for every event that moves anything."""

from collections import Counter
from typing import Any

import msgspec
import pytest

from service.trade.events import EVENT_TYPES
from service.trade.legs import legs_of, moves_anything

TREES = {"lot": "T1", "place": "P1", "stage": "ready", "size": "L2", "grade": "first"}
BUDS = [{"bag": "B1", "lot": "BW1", "buds": 15, "place": "BOX"}]
BAGS = [{"bag": "B1", "buds": 15, "place": "BOX"}, {"bag": "B2", "buds": 12, "place": "BOX"}]
COMPLETED: dict[str, dict[str, Any]] = {
    "stock.opened": {
        "lines": [
            {"kind": "budwood", "lot": "BW1", "bags": BAGS},
            {"kind": "liners", "lot": "L1", "size": "P9", "place": "P1", "count": 9},
            {
                "kind": "trees",
                "lot": "T0",
                "stage": "ready",
                "size": "L2",
                "place": "P1",
                "count": 4,
            },
        ]
    },
    "budwood.cut": {"lot": "BW1", "cultivar": "NAVEL", "source_tree": "ST1", "bags": BAGS},
    "budwood.received": {"lot": "BW1", "cultivar": "NAVEL", "supplier": "s", "bags": BAGS},
    "budwood.discarded": {"lines": BUDS, "cause": "dried"},
    "budwood.moved": {"lines": BUDS, "to": "P2"},
    "budwood.sold": {"customer": "c", "lines": BUDS},
    "scions.prepared": {
        "bag": "B1",
        "lot": "BW1",
        "place": "BOX",
        "into": "B9",
        "to": "BOX",
        "pieces": 6,
        "buds_per_piece": 2,
        "waste": 2,
    },
    "liners.received": {
        "lot": "L1",
        "rootstock": "R",
        "size": "P9",
        "lines": [{"place": "P1", "count": 100}],
    },
    "liners.discarded": {"lot": "L1", "place": "P1", "size": "P9", "count": 3, "cause": "frost"},
    "liners.moved": {"lot": "L1", "place": "P1", "size": "P9", "count": 3, "to": "P2"},
    "liners.potted": {"lot": "L1", "place": "P1", "size": "P9", "count": 3, "to_size": "L2"},
    "trees.received": {
        "lot": "T1",
        "cultivar": "C",
        "rootstock": "R",
        "supplier": "s",
        "size": "L2",
        "place": "P1",
        "count": 5,
    },
    "trees.grafted": {
        "lot": "T1",
        "from": BUDS,
        "onto": {"liner_lot": "L1", "place": "P1", "size": "P9"},
        "method": "t_bud",
        "count": 15,
        "place": "P1",
    },
    "trees.regrafted": {
        "lot": "T2",
        "of": "T1",
        "of_place": "P1",
        "size": "P9",
        "from": BUDS,
        "method": "t_bud",
        "count": 15,
        "place": "P1",
    },
    "grafts.unwrapped": {"lot": "T1", "place": "P1", "size": "P9", "alive": 10, "failed": 5},
    "push.counted": {
        "lot": "T1",
        "place": "P1",
        "size": "P9",
        "pushed": 8,
        "waiting": 3,
        "failed": 2,
        "unclear": 1,
        "removed": [{"count": 2, "cause": "disease"}],
        "book": {"grafted": 12, "pushed": 0, "failed": 5},
    },
    "trees.lost": TREES | {"count": 2, "cause": "heat"},
    "trees.moved": TREES | {"count": 2, "to": "P2"},
    "trees.potted": TREES | {"count": 2, "to_size": "L5"},
    "trees.graded": TREES
    | {"outcomes": [{"count": 2, "grade": "second"}, {"count": 1, "stage": "pushed"}]},
    "consignment.sent": {
        "consignment": "V1",
        "to_site": "FAR",
        "lines": [TREES | {"count": 4}, {"bag": "B1", "lot": "BW1", "place": "BOX", "count": 5}],
    },
    "consignment.received": {
        "consignment": "V1",
        "lines": [
            TREES | {"count": 2, "dead": 1, "sent": 4},
            {"bag": "B1", "lot": "BW1", "place": "BOX", "count": 6, "sent": 5},
        ],
    },
    "trees.sold": {"customer": "c", "lines": [TREES | {"count": 3}]},
    "trees.returned": {"customer": "c", "reason": "r", "lines": [TREES | {"count": 3}]},
    "stock.counted": {
        "reason": "year end",
        "lines": [
            TREES | {"counted": 7, "book": 9},
            {"lot": "L1", "place": "P1", "size": "P9", "counted": 5, "book": 2},
        ],
    },
    "label.lost": {"lot": "X1", "hold": "H1", "lines": [TREES | {"count": 3}]},
}


def completed(kind: str) -> Any:
    whole = {"type": kind, "site": "HOME", "occurred": "2026-03-01", "data": COMPLETED[kind]}
    return msgspec.convert(whole, EVENT_TYPES[kind])


def test_every_moving_type_has_its_example() -> None:
    assert set(COMPLETED) == {name for name, cls in EVENT_TYPES.items() if moves_anything(cls)}


@pytest.mark.parametrize("kind", sorted(COMPLETED))
def test_legs_sum_to_zero_per_commodity(kind: str) -> None:
    legs = legs_of(completed(kind))
    assert legs
    sums = Counter[str]()
    for leg in legs:
        assert leg.delta != 0
        sums[leg.key.commodity] += leg.delta
    assert not any(sums.values())


def test_a_short_consignment_is_the_receiving_sites_loss() -> None:
    legs = legs_of(completed("consignment.received"))
    variance = {(leg.lot, leg.key.site): leg.delta for leg in legs if leg.key.kind == "variance"}
    assert variance == {("T1", "HOME"): 1, ("BW1", "HOME"): -1}


def test_prepared_scions_take_two_buds_a_piece_and_their_waste() -> None:
    """Two buds on a piece of about 38 mm: common practice, no source."""
    legs = legs_of(completed("scions.prepared"))
    assert sorted(leg.delta for leg in legs) == [-12, -2, 2, 12]
