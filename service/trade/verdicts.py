"""Refusals and remarks: named kinds, with the numbers a person needs to put it right."""

from typing import Any

import msgspec


class Fault(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One reason for a refusal: a named kind, words, where, and the numbers to put it right.

    `pointer` is a JSON Pointer (RFC 6901) in URI fragment form, from the event's own root.
    """

    kind: str
    detail: str
    pointer: str = "#"
    numbers: dict[str, Any] = {}


class Remark(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something worth saying of an accepted event; some kinds raise an alert."""

    kind: str
    detail: str
    numbers: dict[str, Any] = {}


# Every kind a fault can have. The first group stays refused; a fact that meets the second is
# accepted when sent again with `happened: true`, and marked as a breach.
ARITHMETIC_AND_CODES: dict[str, str] = {
    "unknown_code": "No such code is known.",
    "code_in_use": "The code names something else already.",
    "lot_differs": "The lot exists and is of another cultivar, stock, method or day.",
    "wrong_kind": "The code names something of another kind.",
    "say_which": "Several places, stages or sizes would fit; say which.",
    "not_empty": "Something stands at a place that is to be retired.",
    "same_place": "It stands there in that size already.",
    "nothing_there": "The book has nothing there on that day.",
    "below_zero": "An account would fall below zero on a day of its history.",
    "counts_disagree": "Numbers of the event contradict each other.",
    "not_a_day": "A day or time does not exist in the calendar.",
    "in_the_future": "It lies too far in the future.",
    "id_reused": "The event id stands for another event.",
    "not_voidable": "Events of this kind are not voided.",
    "voided_already": "The event was voided before.",
    "others_stand_on_it": "Later events stand on the one to be voided.",
    "received_already": "The consignment was received before.",
    "not_enough_to_promise": "What can be counted on and is not spoken for does not cover it.",
    "not_enough_ready": "Fewer of the item are ready, held by nothing and kept for nobody else.",
    "too_many_lines": "Its trees would come from more places than one sale can name.",
    "not_open": "Nothing of it is open any more.",
    "not_expired": "The reservation still counts.",
    "confirmed_already": "The reservation is confirmed, and expires no more.",
    "grown_for_another": "It is grown for another customer.",
    "in_the_past": "It was over already.",
    "needs_authority": "Only the authority's word lifts a plant-health hold.",
    "not_registered": "The catalogue does not say by which registration it may be printed.",
    "inspection_not_current": "No inspection is current on that day.",
    "missing": "Something needed was left out.",
    "out_of_order": "The recorded time lies before the log's newest.",
    "position_moved": "The entry was changed since it was read.",
    "bad_value": "A value is out of range.",
}
BREAKABLE_RULES: dict[str, str] = {
    "held": "A hold blocks it.",
    "source_expired": "The source tree's registration had ended.",
    "other_source": "A regraft must use wood of the same original source at this site.",
    "returns_not_allowed": "The site's rules allow no returns, or not to this place.",
    "other_customer": "The reservation is another customer's.",
    "may_not_be_sent": "A rule of the nursery says that it may not be sent there.",
    "far_from_book": "A count lies so far from the book that it looks like a slip.",
    "retired": "The entry is retired in the catalogue.",
}


class Refusal(Exception):
    """A unit can't be recorded; `faults` say why."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__("; ".join(fault.detail for fault in faults))
        self.faults = faults


def refuse(kind: str, detail: str, pointer: str = "#", **numbers: Any) -> Refusal:
    """A Refusal with one fault, to be raised."""
    return Refusal(Fault(kind=kind, detail=detail, pointer=pointer, numbers=numbers))
