"""A shortage told to whoever asked for more than was there: numbers, and what would settle it."""

from service.trade.books import Books
from service.trade.judging import Short
from service.trade.verdicts import Fault


def below_zero(books: Books, short: Short, asked: int) -> Fault:
    """The fault for an account of which `asked` (plants or buds) were taken by the day it is short.

    Its `account_id` and `lot_id` are for the log, which puts the events of that day in their place.
    """
    key = short.account.key
    what = {
        "lot": short.account.lot,
        "kind": key.kind,
        "place": key.place,
        "stage": key.stage,
        "size": key.size,
        "grade": key.grade,
        "ref": key.ref,
    }
    there = asked - short.shortage
    return Fault(
        kind="below_zero",
        detail=_in_words(books, short, there, asked),
        pointer="#/data",
        numbers={name: value for name, value in what.items() if value}
        | {
            "day": str(short.day),
            "there": there,
            "asked": asked,
            "shortage": short.shortage,
            "commodity": key.commodity,
            "account_id": short.account.account_id,
            "lot_id": books.lots[short.account.lot].lot_id,
        },
    )


def _in_words(books: Books, short: Short, there: int, asked: int) -> str:
    """What falls short, in words, and what would settle it."""
    key, lot = short.account.key, books.lots[short.account.lot]
    names = [f"bag {key.ref}" if key.kind == "bag" else f"lot {lot.code}", key.stage, key.size]
    what = " ".join(name for name in [*names, key.grade] if name)
    at = f" at {key.place}" if key.place else ""
    if key.kind == "transit":
        at = f" in consignment {key.place}"
    words = f"On {short.day} the book has {there} {key.commodity} of {what}{at}; {asked} are asked."
    if key.kind == "customer":
        return f"{words} No more can come back from {key.ref} than went there."
    load = books.consignments.get(key.place) if key.kind == "transit" else None
    if load is not None and load.sent_day > short.day:
        return f"{words} It was sent on {load.sent_day}: is one of the days wrong?"
    if lot.day is not None and lot.day > short.day:
        return f"{words} The lot is of {lot.day}: is one of the days wrong?"
    return f"{words} A stock count of it on or before that day would settle what is there."
