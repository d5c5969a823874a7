"""A count far above the book: more likely a key too much, so it is asked back once."""

from service.board.recording.fields import Amiss, Fields
from service.wording.words import phrase

_MORE_THAN_A_SLIP = 10
FAR = phrase(
    "%(code)s: %(counted)s counted, and the book has %(book)s there. Look at the number again; "
    "if it is right, say that there are many more than the book."
)


def is_far(counted: int, book: int) -> bool:
    """Whether a count is past the double of the book, and by more than a slip."""
    return counted > 2 * book + _MORE_THAN_A_SLIP


def check_far(fields: Fields, field: str, code: str, counted: int, book: int | None) -> None:
    """Raise Amiss of `field` for a count that is far above the book, unless it is said to be so.

    `book`: what the page had there when it was filled in; None: not known.
    """
    if book is None or fields.form["sure"] == "yes" or not is_far(counted, book):
        return
    raise Amiss(field, FAR, code=code, counted=counted, book=book)
