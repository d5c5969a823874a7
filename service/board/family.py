"""The family of a lot: what it came of, back to its source tree, and all that came of it."""

from typing import Any, NamedTuple

from service.board.asking import again
from service.board.charts import Node, lineage
from service.board.figures import Figure
from service.board.names import Names
from service.board.visit import Visit
from service.views.lineage import Step, Whereabouts, trace_back, trace_forward
from service.wording.words import Words, phrase

DRAWN = 40
"""So many are drawn; the table holds more and the file all."""
WHAT = {
    "source_tree": phrase("source tree"),
    "bag": phrase("bag"),
    "budwood": phrase("budwood lot"),
    "liner": phrase("liner lot"),
    "tree": phrase("tree lot"),
}
STATES = {
    "here": phrase("%(count)s here"),
    "moving": phrase("%(count)s on the way"),
    "failed": phrase("%(count)s failed"),
    "sold": phrase("%(count)s sold"),
    "dead": phrase("%(count)s dead"),
    "culled": phrase("%(count)s culled"),
    "used": phrase("%(count)s used"),
    "discarded": phrase("%(count)s thrown away"),
}


class Family(NamedTuple):
    """Steps back, the lot itself, steps forward; each once, nearest first."""

    back: list[Step]
    own: Step | None
    forward: list[Step]

    @property
    def all(self) -> list[Step]:
        own = [] if self.own is None else [self.own]
        return [*reversed(self.back), *own, *self.forward]


async def family_of(visit: Visit[Any], code: str) -> Family:
    """The family of a lot as it is now, as far as the visitor sees it."""
    pool, seen = visit.services.database.reader, visit.principal.site_list
    back = await trace_back(pool, code, seen)
    forward = await trace_forward(pool, "lot", code, seen)
    before = [] if back is None else back.steps
    after = [] if forward is None else forward.steps
    own = next((one for one in [*after, *before] if one.depth == 0), None)
    return Family(
        back=[one for one in before if one.depth],
        own=own,
        forward=[one for one in after if one.depth],
    )


def token(one: Step) -> str:
    return f"{one.what}:{one.code}"


def what_words(words: Words, one: Step) -> str:
    """What a step is: bag, tree lot …"""
    kind = (one.kind or "") if one.what == "lot" else one.what
    return words.gettext(WHAT[kind]) if kind in WHAT else kind


def where_words(visit: Visit[Any], where: list[Whereabouts]) -> str:
    """How many are where."""
    counts: dict[str, int] = {}
    for one in where:
        counts[one.state] = counts.get(one.state, 0) + one.quantity
    return ", ".join(
        visit.words.gettext(STATES[state], count=visit.shown.number(counts[state]))
        for state in STATES
        if state in counts
    )


def _name(visit: Visit[Any], called: Names, one: Step) -> str:
    if one.kind == "tree":
        return called.item(visit.words, one.cultivar, one.rootstock)
    if one.kind == "liner":
        return called.of("rootstock", one.rootstock)
    return called.of("cultivar", one.cultivar)


def _node(visit: Visit[Any], called: Names, one: Step, own: str) -> Node:
    day = visit.shown.day(one.day) if one.day and one.what != "bag" else ""
    note = [_name(visit, called, one), day, where_words(visit, one.whereabouts)]
    return Node(
        token(one),
        f"{what_words(visit.words, one)} {one.code}",
        " · ".join(part for part in note if part),
        one.parents,
        token(one) == own,
    )


def family_figure(visit: Visit[Any], code: str, family: Family, called: Names) -> Figure:
    """The family as a drawing, source on top."""
    words, shown = visit.words, visit.shown
    # What it came of is few; of what came of it the nearest are drawn.
    room = max(DRAWN - len(family.back), 5)
    steps = Family(family.back[: DRAWN - 5], family.own, family.forward[:room]).all
    nodes = [_node(visit, called, one, f"lot:{code}") for one in steps]
    said = words.gettext(
        "It came of %(back)s things, back to its source; %(forward)s came of it.",
        back=shown.number(len(family.back)),
        forward=shown.number(len(family.forward)),
    )
    left_out = len(family.all) - len(nodes)
    if left_out > 0:
        said += " " + words.ngettext(
            "%(num)s more is not drawn; the file holds it.",
            "%(num)s more are not drawn; the file holds them.",
            left_out,
        )
    return Figure(
        key="family",
        title=words.gettext("What it came of, and what came of it"),
        description=said,
        draw=lambda width, given: lineage(width, given, nodes),
        header=[
            words.gettext("Thing"),
            words.gettext("Code"),
            words.gettext("Came of"),
            words.gettext("Day"),
            words.gettext("Steps away"),
            words.gettext("Where it is now"),
        ],
        rows=[
            (
                what_words(words, one),
                one.code,
                ", ".join(parent.partition(":")[2] for parent in one.parents),
                one.day,
                -one.depth if one in family.back else one.depth,
                where_words(visit, one.whereabouts),
            )
            for one in family.all
        ],
        file=f"{code}-family",
        address=f"/lot/{code}/family",
        query=again(visit.query),
    )
