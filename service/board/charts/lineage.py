"""What something came of and what came of it: rows joined by lines, the source on top."""

from collections.abc import Sequence
from typing import NamedTuple

from service.board.charts import svg
from service.board.charts.svg import Said

_ROW, _INDENT = 46.0, 22.0


class Node(NamedTuple):
    """A thing of the family, with the names of its parents among the nodes before it.

    `own`: the one that was asked for. `shape` of what it is: a tree, a bag, wood, liners, trees.
    """

    name: str
    words: str
    note: str
    parents: Sequence[str]
    own: bool = False


def ordered(nodes: Sequence[Node]) -> list[Node]:
    """Every node after its parents, and its children right under it as far as that goes."""
    known = {one.name for one in nodes}
    children: dict[str, list[Node]] = {}
    for one in nodes:
        for parent in one.parents:
            children.setdefault(parent, []).append(one)
    out: dict[str, Node] = {}

    def free(one: Node) -> bool:
        return all(parent in out or parent not in known for parent in one.parents)

    # Were there a ring, which no family has, its nodes come last, as they came.
    waiting = [*reversed(nodes), *(one for one in reversed(nodes) if free(one))]
    while waiting:
        one = waiting.pop()
        if one.name not in out:
            out[one.name] = one
            # A child of several comes under the last of them.
            waiting += [child for child in reversed(children.get(one.name, [])) if free(child)]
    return list(out.values())


def lineage(width: float, said: Said, nodes: Sequence[Node]) -> str:
    """The family from the top down; a line runs from every parent to its child."""
    rows = ordered(nodes)
    depth: dict[str, int] = {}
    for one in rows:
        depth[one.name] = max((depth[p] + 1 for p in one.parents if p in depth), default=0)
    deepest = max(depth.values(), default=0)
    indent = min(_INDENT, (width * 0.4) / max(deepest, 1))
    at = {one.name: (10 + indent * depth[one.name], 8 + _ROW * n) for n, one in enumerate(rows)}
    drawn = [
        part
        for one in rows
        for p in one.parents
        if p in at
        for part in _joined(at[p], at[one.name])
    ]
    for one in rows:
        drawn += _node(one, *at[one.name], width)
    return svg.drawing(width, 12 + _ROW * len(rows), said, drawn)


def _joined(parent: tuple[float, float], child: tuple[float, float]) -> list[str]:
    """Down from the parent's left edge, and across into the child."""
    x, y = parent[0] + 8, parent[1] + _ROW - 8
    end = child[1] + (_ROW - 8) / 2
    return [
        svg.path(
            [(x, y), (x, end), (child[0], end)], fill="none", stroke=svg.QUIET, stroke_width=1.5
        )
    ]


def _node(one: Node, x: float, y: float, width: float) -> list[str]:
    room = width - 10 - x
    fill, edge = (svg.PLUM, svg.PLUM) if one.own else ("#fff", svg.QUIET)
    ink = "#fff" if one.own else svg.INK
    quiet = "#fff" if one.own else svg.QUIET
    return [
        svg.box(x, y, room, _ROW - 8, fill, stroke=edge, rx=4),
        svg.text(x + 10, y + 16, svg.cut(one.words, room - 20), fill=ink, bold=True),
        svg.text(
            x + 10, y + 32, svg.cut(one.note, room - 20, svg.SMALL), fill=quiet, size=svg.SMALL
        ),
    ]
