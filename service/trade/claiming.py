"""Whether a reservation's lines can be promised, and how many of each where fewer will do."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from msgspec.structs import replace

from service.trade.bench import Bench
from service.trade.books import Claim
from service.trade.claims import completed_line
from service.trade.covering import Covering, Stock
from service.trade.crossing import Cross
from service.trade.events.selling import ReservedLine
from service.trade.items import claimed_item, parse_item
from service.trade.promising import FOR_EVER, due_by, left, sure, tightest
from service.trade.verdicts import Refusal, refuse


def cover(
    bench: Bench,
    lines: Sequence[ReservedLine],
    customer: str,
    any_site: bool,
    needed_by: date | None,
    leave_out: str | None,
    *,
    partial: bool = False,
) -> list[ReservedLine]:
    """The lines completed; refused when what can be promised does not cover them.

    `partial`: fewer will do. A line then has what can be promised of it beside the lines before it,
    and says what was asked; one of which there is nothing is left out and remarked.
    """
    completed = [
        replace(completed_line(bench, line, any_site, f"#/data/lines/{index}"), asked=None)
        for index, line in enumerate(lines)
    ]
    for index, line in enumerate(completed):
        _own(bench, line, customer, f"#/data/lines/{index}/lot")
    claimed = claims_of(bench, completed, any_site)
    if not partial:
        covered(bench, claimed, needed_by, leave_out)
        return completed
    return _as_many_as_there_are(bench, completed, claimed, needed_by, leave_out)


def claims_of(bench: Bench, lines: Sequence[ReservedLine], any_site: bool) -> list[Claim]:
    """What the completed lines claim of the books."""
    return [
        Claim(
            line=index,
            item=claimed_item(bench.books, line).text,
            lot=line.lot,
            site=None if any_site else bench.here,
            asked=line.asked or line.count,
            open=line.count,
            promised=line.count,
        )
        for index, line in enumerate(lines)
    ]


def _own(bench: Bench, line: ReservedLine, customer: str, pointer: str) -> None:
    """Refuse to promise one customer what is grown for another."""
    lot = bench.books.lots.get(line.lot or "")
    if lot is not None and lot.grown_for not in (None, customer):
        raise refuse(
            "grown_for_another",
            f"Lot {lot.code} is grown for another customer; it can't be promised to {customer}.",
            pointer,
            lot=lot.code,
        )


def _as_many_as_there_are(
    bench: Bench,
    lines: list[ReservedLine],
    claimed: list[Claim],
    needed_by: date | None,
    leave_out: str | None,
) -> list[ReservedLine]:
    stock = Covering(bench, leave_out)
    day = stock.on(needed_by)
    promised: list[Claim] = []
    kept: list[ReservedLine] = []
    for line, claim in zip(lines, claimed, strict=True):
        count = _most(stock, claim, promised, day)
        what = parse_item(claim.item).words
        if count < line.count:
            bench.remark(
                "less_promised",
                f"{count or 'None'} of the {line.count} of {what} asked for can be promised.",
                line=claim.line,
                item=claim.item,
                asked=line.count,
                promised=count,
            )
        if count:
            promised.append(replace(claim, open=count, promised=count))
            kept.append(
                line if count == line.count else replace(line, count=count, asked=line.count)
            )
    if not kept:
        covered(bench, claimed, needed_by, leave_out)
    return kept


def _short(stock: Covering, of: Stock, wished: Sequence[Claim], day: int) -> int:
    """How many fewer of a set must be wished for; 0: it has enough, or nothing is taken of it."""
    room = stock.left(of, wished, day)
    return 0 if room is None or room >= 0 else min(-room, stock.taken(of, wished, day))


def _most(stock: Covering, claim: Claim, before: Sequence[Claim], day: int) -> int:
    """How many of a claim can be promised beside those before it."""
    sets, count = stock.sets_of(claim, before), claim.open
    while count:
        wished = [*before, replace(claim, open=count)]
        short = max(_short(stock, of, wished, day) for of in sets)
        if not short:
            break
        # One fewer takes at most one fewer of each set: no number in between can do.
        count = max(count - short, 0)
    return count


def covered(
    bench: Bench,
    claimed: list[Claim],
    needed_by: date | None,
    leave_out: str | None,
    *,
    ahead_only: bool = False,
) -> None:
    """Refuse claims that what can be promised for the day does not cover.

    `ahead_only`: nothing but the day is new, so what is judged without one is not judged anew.
    """
    stock = Covering(bench, leave_out)
    day = stock.on(needed_by)
    for index, claim in enumerate(claimed):
        short: dict[Stock, int] = {}
        for of in stock.sets_of(claim, claimed):
            if ahead_only and not stock.foretold(of):
                continue
            room = stock.left(of, claimed, day)
            if room is not None and room < 0:
                short[of] = -room
        if short:
            # Of where most is missing: so many can be had, and not more.
            of = max(short, key=lambda each: short[each])
            raise _too_many(stock, claimed, claim, of, day, f"#/data/lines/{index}/count")


# -- the refusal -----------------------------------------------------------------------------


def _too_many(
    stock: Covering, claimed: list[Claim], claim: Claim, of: Stock, day: int, pointer: str
) -> Refusal:
    """What is asked of the set that falls shortest, what is there, and what would be possible."""
    item, site, lot = (of.item, None, None) if isinstance(of, Cross) else of
    wish = parse_item(claim.item)
    asked = stock.taken(of, claimed, day)
    steps, due = stock.steps(of, day), stock.due(of)
    # The line's own item, as it was asked for; the set that falls short may be a wider one.
    named: dict[str, Any] = {
        "item": item.text,
        "site": site,
        "lot": lot,
        "cultivar": wish.cultivar or None,
        "rootstock": wish.rootstock or None,
        "size": wish.size or None,
        "grade": wish.grade or None,
        "buds": wish.buds,
        "needed_by": _shown(day),
        "asked": asked,
    }
    if isinstance(of, Cross):
        named |= {"sites": list(of.sites), "grades": list(of.grades)}
    words = f"{asked} of {_what(of, claim)} asked"
    if not stock.foretold(of):
        ready, wanted, taken = stock.ready(of), stock.for_orders(of), due_by(due, FOR_EVER)
        for_orders = f" and {wanted} wanted by grafting orders" if wanted else ""
        return refuse(
            "not_enough_to_promise",
            f"{words}; {ready} ready and not held{_at(of, claim)}, {taken} of them spoken for"
            f"{for_orders}. No day is foreseen for more.",
            pointer,
            **named,
            ready=ready,
            spoken_for=taken,
            available=max(ready - wanted - taken, 0),
            earliest=None,
            **({"for_orders": wanted} if item.buds else {}),
        )
    tight = tightest(steps, due, day)
    taken, there = tight.promised, max(tight.there, 0)
    first = _for_all(stock, claimed, day)
    then = [first] if first is not None else [day, *(s.first for s in steps if s.first > day)]
    at_most = max(0, *(left(stock.steps(of, each), due, each) for each in then))
    later = _shown(first) if first is not None else None
    # The figures are those of the day with the least left, which may be a later one.
    on = f"for {_shown(tight.day)} " if tight.day > day else ""
    return refuse(
        "not_enough_to_promise",
        f"{words} for {_shown(day)}; {there} can be counted on{_at(of, claim)} "
        f"{on}({sure(stock.books.confidence)} sure), {taken} of them spoken for. "
        + (
            f"All that is asked can be promised from {later} on; by then there are {at_most}."
            if later
            else f"There is no day foreseen for all that is asked; at most there are {at_most}."
        ),
        pointer,
        **named,
        available=max(tight.left, 0),
        spoken_for=taken,
        foreseen=there,
        sure=sure(stock.books.confidence),
        earliest=later,
        available_then=at_most,
    )


def _what(of: Stock, claim: Claim) -> str:
    """The set in words, with the grade that the line asks for."""
    wish = parse_item(claim.item)
    if isinstance(of, Cross):
        return wish.words if claim.lot is None else f"{wish.words} (where lot {claim.lot} stands)"
    item, _, lot = of
    if lot is not None:
        return f"lot {lot} ({wish.words})"
    if item.grade == wish.grade:
        return item.words
    if not wish.grade:
        return f"{item.words} (where lot {claim.lot} stands)"
    return f"{wish.words} (with what is asked of other grades)"


def _at(of: Stock, claim: Claim) -> str:
    """Where the set is, and what it counts beside the line's own."""
    if isinstance(of, Cross):
        return of.words
    item, site, _ = of
    grades = " in all grades" if parse_item(claim.item).grade and not item.grade else ""
    if site is not None:
        return f"{grades} at {site}"
    return f"{grades} at all sites together" if claim.site else grades


def _for_all(stock: Covering, claimed: list[Claim], day: int) -> int | None:
    """The first day on which all claims are covered in all sets they lie in."""
    sets = {of for claim in claimed for of in stock.sets_of(claim, claimed)}
    asked = {of: stock.taken(of, claimed, day) for of in sets}
    while True:
        # A day that suits one set may not suit another: then again from the later one.
        firsts = [stock.first_day(of, count, day) for of, count in asked.items() if count]
        if None in firsts:
            return None
        latest = max((first for first in firsts if first is not None), default=day)
        if latest == day:
            return day
        day = latest


def _shown(day: int) -> str:
    return str(date.fromordinal(min(day, date.max.toordinal())))
