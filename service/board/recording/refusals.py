"""Why the log refused something, and what it remarked, in the person's own words.

The log's sentences are English; here its kinds and numbers are told again in the reader's language,
with what can be done about it.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any
from urllib.parse import urlencode

import msgspec

from service.board.recording.fields import Row
from service.trade.events.envelope import Envelope
from service.trade.verdicts import BREAKABLE_RULES, Fault, Remark
from service.wording.shown import Shown
from service.wording.trade_words import HOLD_KINDS, STAGES, named
from service.wording.words import Words, phrase


class Reason(msgspec.Struct, frozen=True, kw_only=True):
    """Why something was refused. `count_form`: where a count would settle it.

    `happened_helps`: it is recorded as a breach once the person says that it happened all the same.
    """

    kind: str
    words: str
    settle: str
    field: str | None = None
    count_form: str | None = None
    happened_helps: bool = False


_COUNT = phrase("If the book is wrong, count what is left there: then this is sent again.")
_HAPPENED = phrase("If it has happened all the same, say so: it is recorded, and marked.")
_SAID: dict[str, tuple[str, str]] = {
    "unknown_code": (
        phrase("No %(code)s is known at this site."),
        phrase("Read the tag once more; a code that is right must be entered first."),
    ),
    "code_in_use": (phrase("%(code)s names something else already."), phrase("Take another code.")),
    "lot_differs": (
        phrase("The lot is of another cultivar, stock, method or day."),
        phrase("Lots are never mixed: leave the lot's code out."),
    ),
    "wrong_kind": (
        phrase("%(code)s names something of another kind."),
        phrase("Read the tag once more."),
    ),
    "say_which": (
        phrase("Several would fit."),
        phrase("Choose the place, stage, size or grade that is meant."),
    ),
    "same_place": (phrase("It stands there already."), phrase("Say where it went.")),
    "nothing_there": (
        phrase("By the book nothing of it stands there on that day."),
        phrase("Is the code or the day wrong? If not, a count settles what is there."),
    ),
    "counts_disagree": (
        phrase("The numbers contradict each other."),
        phrase("Correct them so that they add up."),
    ),
    "not_a_day": (phrase("That is no day of the calendar."), phrase("Correct the day.")),
    "in_the_future": (phrase("That is still to come."), phrase("Correct the day.")),
    "id_reused": (
        phrase("This entry was recorded already, with other numbers."),
        phrase("Undo it, or open the form anew for another entry."),
    ),
    "not_voidable": (
        phrase("This is not undone."),
        phrase("Record what is right now instead."),
    ),
    "voided_already": (phrase("It was undone already."), ""),
    "others_stand_on_it": (
        phrase("Something recorded later stands on it."),
        phrase("Undo the later one first, or ask who corrects records."),
    ),
    "missing": (phrase("Something was left out."), phrase("Fill in what is missing.")),
    "bad_value": (phrase("A value can't be so."), phrase("Correct it.")),
    "scope_missing": (
        phrase("You have no right to record this."),
        phrase("Ask the site manager."),
    ),
    "held": (
        phrase("A hold blocks it since %(since)s: %(hold_kind)s."),
        phrase("Stop, and ask the site manager before anything is moved, used or thrown away."),
    ),
    "source_expired": (phrase("The source tree's registration had ended."), _HAPPENED),
    "other_source": (
        phrase("A regraft takes wood of the same original source at this site."),
        phrase("Take another bag."),
    ),
    "far_from_book": (
        phrase("%(counted)s were counted, and the book has %(book)s."),
        phrase("Count again; if the number is right, say so."),
    ),
    "retired": (phrase("%(code)s is not in use any more."), phrase("Choose another.")),
}
_GRADED = (
    phrase("%(graded)s were graded, and the book has %(book)s there."),
    phrase(
        "Correct the numbers; if the book is wrong, record a stock count first, then grade anew."
    ),
)
_OTHERWISE = (phrase("The log refused it."), phrase("Correct it, or ask the site manager."))
_KINDS = {
    "bag": phrase("buds in bag %(code)s"),
    "liners": phrase("liners of lot %(code)s"),
    "trees": phrase("trees of lot %(code)s"),
    "transit": phrase("plants of lot %(code)s on the way"),
    "customer": phrase("plants of lot %(code)s sold"),
}
# The last part of a fault's pointer that names a field of the form.
_FIELD = {
    "bag": "bag",
    "from": "bag",
    "onto": "onto",
    "liner_lot": "onto",
    "tree_lot": "onto",
    "lot": "row",
    "of": "row",
    "to": "to",
    "count": "count",
    "method": "method",
    "cause": "cause",
    "work_order": "work_order",
    "pushed": "pushed",
    "occurred": "day",
    "outcomes": "graded",
    "to_size": "to_size",
}


def reason_of(fault: Fault, event: Envelope | None, shown: Shown, again: str | None) -> Reason:
    """A refusal for the person. `again`: the entry that waits for a count, if there is one."""
    words = shown.words
    said, settle = _GRADED if "graded" in fault.numbers else _SAID.get(fault.kind, _OTHERWISE)
    numbers = _numbers(fault.numbers, shown)
    count_form = _count_form(fault, event, again)
    if fault.kind == "below_zero":
        told, settle = _short(fault.numbers, shown), _COUNT if count_form else _OTHERWISE[1]
    else:
        told = words.gettext(said, **numbers)
    return Reason(
        kind=fault.kind,
        words=told,
        settle=words.gettext(settle, **numbers) if settle else "",
        field=_field_of(fault.pointer),
        count_form=count_form,
        happened_helps=fault.kind in BREAKABLE_RULES,
    )


# What the sentences name; a number that the log did not tell is left open.
_OPEN = dict.fromkeys(("code", "since", "hold_kind", "counted", "book"), "…")


def _numbers(numbers: Mapping[str, Any], shown: Shown) -> dict[str, Any]:
    """A fault's numbers, as they are read."""
    known = _OPEN | {name: _shown(value, shown) for name, value in numbers.items()}
    if "since" in numbers:
        known["since"] = shown.day(date.fromisoformat(str(numbers["since"])))
    if "hold_kind" in numbers:
        known["hold_kind"] = named(shown.words, numbers["hold_kind"], HOLD_KINDS)
    return known


def _shown(value: Any, shown: Shown) -> Any:
    return shown.number(value) if isinstance(value, int) else value


def _short(numbers: Mapping[str, Any], shown: Shown) -> str:
    """What the book has too little of, where and when."""
    words = shown.words
    code = numbers.get("ref") if numbers.get("kind") == "bag" else numbers.get("lot")
    what = words.gettext(_KINDS.get(str(numbers.get("kind")), _KINDS["trees"]), code=code)
    stage = named(words, numbers.get("stage"), STAGES)
    return words.gettext(
        "On %(day)s the book has %(there)s %(what)s at %(place)s; %(asked)s are asked for.",
        day=shown.day(date.fromisoformat(str(numbers["day"]))),
        there=shown.number(numbers.get("there", 0)),
        what=f"{what} ({stage})" if stage else what,
        place=numbers.get("place") or "…",
        asked=shown.number(numbers.get("asked", 0)),
    )


def _field_of(pointer: str) -> str | None:
    """The form's field that a fault is about."""
    parts = [part for part in pointer.split("/") if part in _FIELD]
    return _FIELD[parts[-1]] if parts else None


def _count_form(fault: Fault, event: Envelope | None, again: str | None) -> str | None:
    """The address of the count that would settle it, where one would."""
    numbers = fault.numbers
    if fault.kind != "below_zero" or event is None:
        return None
    kind = str(numbers.get("kind"))
    if kind not in ("bag", "liners", "trees") or not numbers.get("place"):
        return None
    code = numbers["ref"] if kind == "bag" else numbers["lot"]
    parts = (str(numbers.get(name, "")) for name in ("stage", "size", "grade", "place"))
    asked = {
        "site": event.site,
        "row": Row(kind, str(code), *parts).text,
        "on": numbers["day"],
        "there": numbers.get("there", 0),
        "again": again,
    }
    return "/count?" + urlencode({name: value for name, value in asked.items() if value})


_REMARKS = {
    "count_differs": phrase("the count differs from the book"),
    "early_push": phrase("a push earlier than the trade has seen: is the day right?"),
    "unusual_take": phrase("few took, fewer than is usual"),
    "old_budwood": phrase("the budwood is older than it usually keeps"),
    "short_bag": phrase("the bag gave more buds than it was said to hold"),
    "breach": phrase("marked as done against a rule"),
    "held": phrase("it is held"),
    "held_since": phrase("it was held later"),
    "shortfall": phrase("less is left than was promised"),
    "less_promised": phrase("less is left than was promised"),
    "more_than_ordered": phrase("more than was ordered"),
    "several_orders_fit": phrase("several work orders fit: it counts toward none"),
    "counts_toward_order": phrase("it counts toward a work order"),
    "other_crop": phrase("wood and stock are of different crops"),
    "order_ended": phrase("the work order had ended"),
    "order_differs": phrase("the work order asked for something else"),
}


def remark_of(remark: Remark, words: Words) -> str:
    """What the log remarked, in a few words."""
    if remark.kind == "count_differs" and "difference" in remark.numbers:
        number = int(remark.numbers["difference"])
        if number < 0:
            return words.ngettext(
                "%(num)s fewer than the book", "%(num)s fewer than the book", -number
            )
        return words.ngettext("%(num)s more than the book", "%(num)s more than the book", number)
    text = _REMARKS.get(remark.kind)
    return words.gettext(text) if text else remark.kind.replace("_", " ")
