"""Grafting and budding methods: buds per tree, stock caliper, whether the bark must slip.

Dimensions after Hartmann, Kester, Davies, Geneve & Wilson, *Plant Propagation*, 9th ed. 2018,
chapters 12-14, from memory; the T-bud figures for citrus after Sauls 2001, *T-Budding Citrus*.
"""

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

MethodName = Annotated[
    Literal[
        "t_bud",
        "inverted_t_bud",
        "chip_bud",
        "patch_bud",
        "micro_bud",
        "whip_and_tongue",
        "splice",
        "cleft",
        "bark",
        "four_flap",
        "side_veneer",
        "side",
        "softwood",
        "epicotyl",
    ],
    Meta(description="Method of grafting or budding, in trade terms."),
]


class Method(msgspec.Struct, frozen=True):
    """A method's defaults. Calipers in millimetres; `scion`: a piece of wood is used."""

    name: str
    buds_per_tree: int
    caliper_mm: tuple[int, int]
    bark_must_slip: bool
    scion: bool


METHODS: dict[str, Method] = {
    m.name: m
    for m in (
        Method("t_bud", 1, (6, 25), True, False),
        Method("inverted_t_bud", 1, (6, 25), True, False),
        Method("chip_bud", 1, (6, 25), False, False),
        Method("patch_bud", 1, (13, 100), True, False),
        Method("micro_bud", 1, (2, 3), False, False),
        Method("whip_and_tongue", 3, (6, 13), False, True),
        Method("splice", 3, (6, 13), False, True),
        Method("cleft", 3, (6, 100), False, True),
        Method("bark", 3, (25, 300), True, True),
        Method("four_flap", 3, (10, 25), False, True),
        Method("side_veneer", 3, (6, 15), False, True),
        Method("side", 3, (6, 25), False, True),
        Method("softwood", 3, (4, 12), False, True),
        Method("epicotyl", 3, (3, 8), False, True),
    )
}
