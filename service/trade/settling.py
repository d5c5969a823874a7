"""What would settle a refusal: for each kind of fault, what a person can do about it."""

# One sentence a kind. The fault's own words and numbers say what it is about.
SETTLED_BY: dict[str, str] = {
    "unknown_code": "Correct the code; or, if it is right, enter it in the catalogue or record "
    "what made it (cut, received, grafted), then send this again.",
    "code_in_use": "Give it a code that nothing has yet, or leave the code out and one is minted.",
    "lot_differs": "Leave the lot's code out, so that it becomes a lot of its own, or correct what "
    "differs: lots are never mixed.",
    "wrong_kind": "Name a thing of the kind that is asked for here.",
    "say_which": "Name the place, the stage or the size that is meant; the numbers list what is "
    "there.",
    "not_empty": "Record first that what stands there was moved, sold or lost.",
    "same_place": "Correct where it went; if it did not move, discard this.",
    "nothing_there": "Correct the lot, the place or the day; or record what brought it there, or a "
    "stock count or an opening on or before that day.",
    "below_zero": "Correct the count or the day; or record what is missing before it: a receipt, "
    "or a stock count (stock.counted) on or before the day it names.",
    "counts_disagree": "Correct the numbers so that they add up; or, if others of the same day "
    "were refused beside it, put those right first.",
    "not_a_day": "Correct the day or time.",
    "in_the_future": "Correct the day, or send it again when it has happened.",
    "id_reused": "If it is the same thing told twice, discard this; if it is another, send it "
    "under a new id.",
    "not_voidable": "Events of this kind are not voided: record a change instead (a hold is "
    "lifted, a reservation changed or released).",
    "voided_already": "It was voided before: discard this.",
    "others_stand_on_it": "Void the later events too, or send a replacement that makes the same "
    "again.",
    "received_already": "If more came in, record a stock count; if told twice, discard this.",
    "not_enough_to_promise": "Ask for fewer, for later (`earliest` says from when on, where "
    "that is foreseen), or for another site or grade; or release another reservation first.",
    "not_enough_ready": "Ask for fewer, or name a lot; what is held, kept for others or came back "
    "is counted in the numbers.",
    "too_many_lines": "Make two sales of it.",
    "not_open": "Name a line or reservation that is still open; or leave it out.",
    "not_expired": "Nothing is to be done: it is recorded when the expiry has come.",
    "confirmed_already": "Nothing is to be done; or, if it is wanted no more, release it.",
    "grown_for_another": "Name another lot, or an item, so that any lot will do.",
    "in_the_past": "Correct the day or time: it must be to come.",
    "needs_authority": "Name the authority and its document: the service never lifts a "
    "plant-health hold by itself.",
    "not_registered": "Enter the site's registration in the catalogue, as the authority gave it; "
    "until then print nothing.",
    "inspection_not_current": "Print when the site was inspected again and the catalogue says so.",
    "missing": "Add what was left out.",
    "out_of_order": "Import in the order in which it was first recorded.",
    "position_moved": "Read the entry again, and send the change that is still wanted.",
    "bad_value": "Correct the value.",
    "unknown_field": "Take the field out, or correct its name.",
    "wrong_type": "Correct the value to the type that is asked for.",
    "id_twice": "Give each event an id of its own.",
    "scope_missing": "Have somebody send it whose key has the scope, or ask for the scope.",
    "held": "Wait until the hold is lifted; if it has happened all the same, send it again with "
    "happened: true, and it is recorded as a breach. A paper stays refused.",
    "source_expired": "Correct the source tree or its registration; if it has happened all the "
    "same, send it again with happened: true.",
    "other_source": "Correct the bag; if other wood was used all the same, send it again with "
    "happened: true.",
    "returns_not_allowed": "Name a place for returns; if they came back all the same, send it "
    "again with happened: true.",
    "other_customer": "Correct the customer or the reservation; if it has happened all the same, "
    "send it again with happened: true.",
    "may_not_be_sent": "Correct where it goes, or the rule with its source; what was sent all the "
    "same is told with happened: true.",
    "far_from_book": "Count again; if the count is right, send it again with happened: true.",
    "retired": "Name an entry that is in use; if it has happened all the same, send it again with "
    "happened: true.",
}
_OTHERWISE = "Correct what the reason says, or discard this."


def settled_by(kind: str) -> str:
    """What a person can do about a fault of this kind, in a sentence or two."""
    return SETTLED_BY.get(kind, _OTHERWISE)
