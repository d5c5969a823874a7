"""What the forms of a bag tell, and a count that puts the book right."""

from service.board.recording.at_table import BOOK, Asked, Told, counted_line
from service.board.recording.far import check_far
from service.board.recording.fields import Fields, event_data
from service.wording.trade_words import DISCARD_CAUSES

BOOK_WAS_WRONG = "the book was wrong"


def discard(fields: Fields, asked: Asked) -> Told:
    """Buds were thrown away. Buds left empty: all that the bag holds."""
    line = _line(fields, asked)
    data = event_data(
        lines=[line | event_data(buds=fields.number("buds", least=1))],
        cause=fields.choice("cause", DISCARD_CAUSES),
        note=fields.text("note"),
    )
    return [("budwood.discarded", data)]


def carry(fields: Fields, asked: Asked) -> Told:
    """The bag was carried to another place of the site."""
    line = _line(fields, asked)
    return [("budwood.moved", {"lines": [line], "to": fields.needed_code("to")})]


def count_buds(fields: Fields, asked: Asked) -> Told:
    """What was counted in the bag."""
    line, counted = _line(fields, asked), fields.needed_number("counted", least=0)
    book = fields.number(f"{BOOK}:{line['place']}" if "place" in line else BOOK)
    check_far(fields, "counted", asked.place, counted, book)
    reason = fields.text("reason") or "counted at the bench"
    return [("stock.counted", {"lines": [line | {"counted": counted}], "reason": reason})]


def put_right(fields: Fields, asked: Asked) -> Told:
    """What is left of one account: a count, because the book could not be right."""
    row = fields.row()
    counted = fields.needed_number("counted", least=0)
    check_far(fields, "counted", row.code, counted, _book(fields))
    line = counted_line(row, asked.place, counted)
    return [("stock.counted", {"lines": [line], "reason": BOOK_WAS_WRONG})]


def _book(fields: Fields) -> int | None:
    """What the form had there; beside a refusal, what the refusal found."""
    book = fields.number(BOOK)
    return fields.number("there") if book is None else book


def _line(fields: Fields, asked: Asked) -> dict[str, str]:
    """The bag, of which `place` stands for the code; where it lay, if it lies at several places."""
    lay = fields.code("lay", needed=False)
    return {"bag": asked.place} | ({"place": lay} if lay else {})
