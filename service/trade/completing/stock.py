"""Completing openings, counts, lost labels, voids and holds."""

from msgspec.structs import replace

from service.trade.bench import Bench
from service.trade.completing import completes
from service.trade.completing.budwood import day_before, new_bags
from service.trade.completing.liners import no_stage
from service.trade.events.stock import (
    CountedLine,
    EventVoided,
    EventVoidedData,
    HoldLifted,
    HoldLiftedData,
    HoldPlaced,
    HoldPlacedData,
    LabelLost,
    LabelLostData,
    OpenedBudwood,
    OpenedLiners,
    OpenedTrees,
    StockCounted,
    StockCountedData,
    StockOpened,
    StockOpenedData,
)
from service.trade.legs import standing_key
from service.trade.verdicts import refuse

NOT_VOIDABLE = (
    "event.voided",
    "catalogue.changed",
    "reservation.made",
    "reservation.changed",
    "reservation.confirmed",
    "reservation.expired",
    "reservation.released",
    "promise.overridden",
    "promise.override_ended",
    "grafting.ordered",
    "grafting.order_changed",
    "grafting.order_ended",
    "alert.acknowledged",
    "alert.remind_on",
    "hold.placed",
    "hold.lifted",
)


@completes(StockOpened)
def _opened(bench: Bench, d: StockOpenedData) -> StockOpenedData:
    lines: list[OpenedBudwood | OpenedLiners | OpenedTrees] = []
    made: dict[str, tuple[object, ...]] = {}
    seen = {line.lot for line in d.lines}
    for index, line in enumerate(d.lines):
        at = f"#/data/lines/{index}"
        what = _what_is_opened(bench, line, at)
        if made.setdefault(line.lot, what) != what:
            raise refuse(
                "lot_differs",
                f"Two lines tell different things of lot {line.lot}.",
                f"{at}/lot",
                lot=line.lot,
            )
        bench.new_lot(line.lot, f"{at}/lot")
        if isinstance(line, OpenedBudwood):
            lines.append(replace(line, bags=new_bags(bench, line.bags, f"{at}/bags", seen)))
            continue
        bench.size(line.size, f"{at}/size")
        bench.place(line.place, f"{at}/place")
        lines.append(line)
    return replace(d, lines=lines)


def _what_is_opened(
    bench: Bench, line: OpenedBudwood | OpenedLiners | OpenedTrees, at: str
) -> tuple[object, ...]:
    """What a line says of its lot; lines of one lot must say the same."""
    catalogue = bench.books.catalogue
    if not isinstance(line, OpenedLiners) and line.cultivar:
        catalogue.cultivar(line.cultivar, f"{at}/cultivar")
    if not isinstance(line, OpenedBudwood) and line.rootstock:
        catalogue.rootstock(line.rootstock, f"{at}/rootstock")
    if isinstance(line, OpenedBudwood):
        if line.source_tree:
            catalogue.source_tree(line.source_tree, f"{at}/source_tree")
        day_before(bench, line.cut_on, f"{at}/cut_on", "cut", "lay here already")
        return ("budwood", line.cultivar, line.source_tree, line.cut_on)
    if isinstance(line, OpenedLiners):
        return ("liner", line.rootstock)
    day_before(bench, line.grafted_on, f"{at}/grafted_on", "grafted", "stood here already")
    return ("tree", line.cultivar, line.rootstock, line.method, line.grafted_on)


@completes(StockCounted)
def _counted(bench: Bench, d: StockCountedData) -> StockCountedData:
    lines: list[CountedLine] = []
    seen: set[object] = set()
    for index, line in enumerate(d.lines):
        at = f"#/data/lines/{index}"
        filled = _counted_line(bench, line, at)
        key = (filled.lot, standing_key(bench.here, filled))
        if key in seen:
            raise refuse("counts_disagree", "The same account is counted twice.", at)
        seen.add(key)
        lines.append(filled)
        bench.far_from_book(filled.counted, filled.book or 0, at)
        if filled.counted != filled.book:
            bench.remark(
                "count_differs",
                f"{filled.bag or filled.lot} at {filled.place}: counted {filled.counted}, the book "
                f"had {filled.book}.",
                lot=filled.lot,
                bag=filled.bag,
                place=filled.place,
                counted=filled.counted,
                book=filled.book,
                difference=filled.counted - (filled.book or 0),
            )
    return replace(d, lines=lines)


def _counted_line(bench: Bench, line: CountedLine, at: str) -> CountedLine:
    if (line.bag is None) == (line.lot is None):
        raise refuse("missing", "Name either `lot` or `bag`.", at)
    bag = bench.books.bag(line.bag, f"{at}/bag") if line.bag else None
    lot = bench.books.lot(bag.lot if bag else line.lot or "", f"{at}/lot")
    if lot.kind == "budwood" and bag is None:
        raise refuse("missing", "Budwood is counted bag by bag.", f"{at}/bag", lot=lot.code)
    no_stage(lot, line.stage, at)
    # A count may find plants where the book has none: then it must say all of where.
    whole = line.place is not None and (
        bag is not None
        or (line.size is not None and (line.stage is not None or lot.kind == "liner"))
    )
    if whole:
        bench.place(line.place or "", f"{at}/place")
        if line.size is not None:
            bench.size(line.size, f"{at}/size")
        filled = replace(line, lot=lot.code)
    else:
        if bag is not None:
            account = bench.bag_account(bag, line.place, f"{at}/bag")
        elif lot.kind == "tree":
            account = bench.pick_key(lot, line, f"{at}/lot")
        else:
            account = bench.pick(lot, "liners", f"{at}/lot", place=line.place, size=line.size)
        key = account.key
        filled = replace(
            line,
            lot=lot.code,
            place=key.place,
            stage=key.stage or None,
            size=key.size or None,
            grade=key.grade or None,
        )
    found = bench.books.accounts_of(lot.code).get(standing_key(bench.here, filled))
    book = found.at_end_of(bench.day) if found else 0
    return replace(filled, book=max(book, 0))


@completes(LabelLost)
def _label_lost(bench: Bench, d: LabelLostData) -> LabelLostData:
    lines = []
    for index, line in enumerate(d.lines):
        at = f"#/data/lines/{index}"
        account = bench.pick_key(bench.books.lot(line.lot, f"{at}/lot", "tree"), line, f"{at}/lot")
        key = account.key
        lines.append(
            replace(
                line,
                place=key.place,
                stage=key.stage,
                size=key.size,
                grade=key.grade or None,
            )
        )
    lot, hold = bench.mint(d.lot), bench.mint(d.hold)
    bench.new_lot(lot, "#/data/lot")
    if hold in bench.books.holds:
        raise refuse("code_in_use", f"Hold {hold} exists.", "#/data/hold", code=hold)
    return replace(d, lot=lot, hold=hold, lines=lines)


@completes(EventVoided)
def _voided(bench: Bench, d: EventVoidedData) -> EventVoidedData:
    recorded = bench.books.recorded.get(d.event)
    if recorded is None or (recorded.event is not None and recorded.event.site != bench.here):
        raise refuse(
            "unknown_code",
            f"No event {d.event} of site {bench.here} is in the log.",
            "#/data/event",
            event=d.event,
        )
    if recorded.type in NOT_VOIDABLE:
        hint = " Lift the hold instead." if recorded.type == "hold.placed" else ""
        raise refuse(
            "not_voidable",
            f"Events of type {recorded.type} are not voided.{hint}",
            "#/data/event",
            type=recorded.type,
        )
    if recorded.voided_by is not None:
        raise refuse(
            "voided_already",
            f"Event {d.event} was voided at position {recorded.voided_by}.",
            "#/data/event",
            voided_by=recorded.voided_by,
        )
    return replace(d, position=recorded.position)


@completes(HoldPlaced)
def _hold_placed(bench: Bench, d: HoldPlacedData) -> HoldPlacedData:
    books, pointer = bench.books, "#/data/code"
    if d.target == "lot":
        bench.lot_here(d.code, pointer)
    elif d.target == "bag":
        bag = books.bag(d.code, pointer)
        if not bench.known_here(books.lots[bag.lot]):
            raise refuse("unknown_code", f"No bag {d.code} is known.", pointer, code=d.code)
    elif d.target == "source_tree":
        books.catalogue.source_tree(d.code, pointer)
    elif d.target == "place":
        bench.place(d.code, pointer)
    elif d.code != bench.here:
        raise refuse("unknown_code", "A site holds itself only.", pointer, code=d.code)
    hold = bench.mint(d.hold)
    if hold in books.holds:
        raise refuse("code_in_use", f"Hold {hold} exists.", "#/data/hold", code=hold)
    sold = books.sold_since.get(f"{d.target}:{d.code}", [])
    sold = [line for line in sold if line["day"] >= str(bench.day)]
    if sold:
        count = sum(line["count"] for line in sold)
        bench.remark(
            "sold_meanwhile",
            f"{count} were sold since {bench.day}, before the hold "
            "was known. Follow your plant-health authority's rules on what to do.",
            count=count,
            sold=sold[:100],
        )
    return replace(d, hold=hold)


@completes(HoldLifted)
def _hold_lifted(bench: Bench, d: HoldLiftedData) -> HoldLiftedData:
    hold = bench.books.holds.get(d.hold)
    if hold is None or hold.site != bench.here:
        raise refuse(
            "unknown_code",
            f"No hold {d.hold} was placed at {bench.here}.",
            "#/data/hold",
            code=d.hold,
        )
    if hold.lifted_position is not None:
        raise refuse(
            "not_open",
            f"Hold {hold.code} was lifted on {hold.lifted_day}.",
            "#/data/hold",
            lifted_on=str(hold.lifted_day),
        )
    if hold.kind == "plant_health" and not (d.authority and d.document):
        raise refuse(
            "needs_authority",
            "A plant-health hold is lifted only on the word of the authority: give `authority` and "
            "`document`.",
            "#/data/authority",
            hold=hold.code,
        )
    if bench.day < hold.from_day:
        raise refuse(
            "not_a_day",
            f"Hold {hold.code} began on {hold.from_day}.",
            "#/occurred",
            began=str(hold.from_day),
        )
    return d
