"""What an event says, as a line for people: for histories, for what was done, for last looks.

What was counted comes first, then where and why. Codes stay as they hang on the tree.
"""

from service.board.happenings import budwood, other, trees
from service.board.happenings.parts import TELLERS, Data, total
from service.wording.shown import Shown
from service.wording.words import phrase

# Events that say nothing but what they are.
_PLAIN = {
    "grafting.ordered": phrase("Grafting ordered: %(count)s, order %(code)s"),
    "grafting.order_changed": phrase("Work order %(code)s changed"),
    "grafting.order_ended": phrase("Work order %(code)s ended"),
    "reservation.made": phrase("Reserved: %(count)s, reservation %(code)s"),
    "reservation.changed": phrase("Reservation %(code)s changed"),
    "reservation.confirmed": phrase("Reservation %(code)s confirmed"),
    "reservation.expired": phrase("Reservation %(code)s ran out"),
    "reservation.released": phrase("Reservation %(code)s released"),
    "promise.overridden": phrase("Promise set by hand: %(count)s"),
    "promise.override_ended": phrase("Promise set by hand ended"),
    "alert.acknowledged": phrase("Alert marked as seen"),
    "alert.remind_on": phrase("Reminder put off"),
}


def in_words(shown: Shown, kind: str, data: Data, *, of: str | None = None) -> str:
    """The event as one line, without a full stop. A type not known here is told by its name.

    `of`: a lot; of an event of many lots only its part is told then.
    """
    own = [line for line in data.get("lines") or () if of and line.get("lot") == of]
    if own:
        data = {**data, "lines": own}
    teller = TELLERS.get(kind)
    if teller is not None:
        return teller(shown, data)
    plain = _PLAIN.get(kind)
    if plain is None:
        return kind.replace(".", ": ").replace("_", " ")
    count = data.get("count") or data.get("quantity") or total(data.get("lines") or (), "count")
    code = data.get("work_order") or data.get("reservation") or data.get("override") or ""
    return shown.words.gettext(plain, count=shown.number(count), code=code)


__all__ = ["budwood", "in_words", "other", "trees"]
