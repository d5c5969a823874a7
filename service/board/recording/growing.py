"""What the forms at a table tell of growing on: grading, potting on, other work."""

from typing import Any

from service.board.happenings.other import WORK
from service.board.recording.at_table import Asked, Told
from service.board.recording.fields import Amiss, Fields, Row, event_data
from service.trade.accounts import UNGRADED
from service.wording.words import phrase

# A number of trees that came to the grade in the field's name.
GRADED = "graded:"


def grade(fields: Fields, asked: Asked) -> Told:
    """Trees were graded: so many of each grade are ready, so many stay; culled ones are lost.

    Those that nobody counted stay. None ready and nothing else said: all of the row stay.
    """
    row = fields.row()
    outcomes = _ready(fields)
    stay, culled = fields.number("stay"), fields.number("culled")
    if stay is None and culled is None and not outcomes:
        stay = _all_there(fields, row)
    if stay:
        outcomes.append(event_data(count=stay, stage=row.stage or "pushed") | row.said("grade"))
    if not outcomes and not culled:
        raise Amiss("stay", phrase("Say how many stay as they are."))
    where = {"lot": row.code, "place": asked.place, **row.said("stage", "size", "grade")}
    told: Told = [("trees.graded", where | {"outcomes": outcomes})] if outcomes else []
    if culled:
        told.append(("trees.lost", where | {"count": culled, "cause": "culled"}))
    return told


def _ready(fields: Fields) -> list[dict[str, Any]]:
    """The outcomes that are ready, by grade; a grade of which there is none is left out."""
    counts: dict[str, int] = {}
    named = [name for name in dict.fromkeys(fields.form) if name.startswith(GRADED)]
    for name in named:
        count = fields.number(name)
        if count:
            counts[name.removeprefix(GRADED)] = count
    other = fields.number("other_count")
    if other:
        word = fields.form["other_grade"].strip().lower().replace(" ", "_")
        if not word:
            raise Amiss("other_grade", phrase("Say which grade."))
        counts[word] = counts.get(word, 0) + other
    return [
        {"count": count, "stage": "ready"} | ({} if name == UNGRADED else {"grade": name})
        for name, count in counts.items()
    ]


def _all_there(fields: Fields, row: Row) -> int:
    """All that the page had of the row, where somebody said that none is ready."""
    said = any(fields.number(name) is not None for name in fields.form if name.startswith(GRADED))
    if not said:
        raise Amiss("graded", phrase("Say how many are ready; 0 if none is."))
    return fields.number(f"there:{row.text}") or 0


def potted(fields: Fields, asked: Asked) -> Told:
    """Plants were potted on into another size. Count left empty: all of them."""
    row = fields.row()
    data = event_data(
        lot=row.code,
        place=asked.place,
        count=fields.number("count", least=1),
        to_size=fields.needed_code("to_size"),
        to=fields.code("to", needed=False),
    )
    if row.kind == "liners":
        return [("liners.potted", data | row.said("size"))]
    return [("trees.potted", data | row.said("stage", "size", "grade"))]


def work(fields: Fields, asked: Asked) -> Told:
    """Staking, feeding and the like, on one lot or on the whole table."""
    lot = fields.row().code if fields.form.get("row") or fields.form.get("lot") else None
    data = event_data(
        work=fields.choice("work", WORK),
        lot=lot,
        place=asked.place,
        note=fields.text("note"),
    )
    return [("work.done", data)]
