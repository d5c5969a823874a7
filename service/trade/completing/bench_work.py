"""Completing what follows grafting at the bench: wraps, the take, tops, push counts."""

from msgspec.structs import replace

from service.trade.bench import Bench
from service.trade.books import Lot
from service.trade.completing import completes
from service.trade.events.grafting import (
    BookedStanding,
    GraftsUnwrapped,
    GraftsUnwrappedData,
    GraftsWrapped,
    GraftsWrappedData,
    PushCounted,
    PushCountedData,
    TopsData,
    TopsForced,
    TopsRemoved,
    TopsRemovedData,
)
from service.trade.keeping import UNUSUAL_TAKE_BELOW, UNUSUAL_TAKE_TREES
from service.trade.verdicts import refuse


@completes(GraftsWrapped)
def _wrapped(bench: Bench, d: GraftsWrappedData) -> GraftsWrappedData:
    lot = bench.books.lot(d.lot, "#/data/lot", "tree")
    account = bench.pick(lot, "trees", "#/data/place", place=d.place, stage="grafted")
    book = bench.something(account, "#/data/place")
    count = d.count if d.count is not None else book
    if count > book:
        bench.remark(
            "count_differs",
            f"{count} were wrapped, the book has {book} grafted there.",
            lot=lot.code,
            place=account.key.place,
            seen=count,
            book=book,
        )
    return replace(d, place=account.key.place, count=count)


@completes(GraftsUnwrapped)
def _unwrapped(bench: Bench, d: GraftsUnwrappedData) -> GraftsUnwrappedData:
    lot = bench.books.lot(d.lot, "#/data/lot", "tree")
    account = bench.pick(
        lot, "trees", "#/data/place", place=d.place, stage="grafted", size=d.size, grade=""
    )
    book = bench.something(account, "#/data/place")
    alive = d.alive if d.alive is not None else max(book - d.failed - d.left_wrapped, 0)
    seen = alive + d.failed + d.left_wrapped
    if seen != book:
        bench.remark(
            "count_differs",
            f"{seen} were read, the book has {book} grafted there. A push count would settle it.",
            lot=lot.code,
            place=account.key.place,
            seen=seen,
            book=book,
        )
    _unusual_take(bench, lot, alive, d.failed)
    return replace(d, place=account.key.place, size=account.key.size, alive=alive)


def _unusual_take(bench: Bench, lot: Lot, alive: int, failed: int) -> None:
    read = alive + failed
    if read < UNUSUAL_TAKE_TREES or lot.cultivar is None:
        return
    crop = bench.books.catalogue.cultivar(lot.cultivar, "#/data/lot").crop
    low = UNUSUAL_TAKE_BELOW.get(crop)
    if low is not None and alive * 100 < low * read:
        bench.remark(
            "unusual_take",
            f"{alive} of {read} took ({100 * alive // read} %): below {low} % is rare for {crop}.",
            lot=lot.code,
            alive=alive,
            read=read,
            usual_above_percent=low,
        )


def _tops(bench: Bench, d: TopsData | TopsRemovedData) -> TopsData | TopsRemovedData:
    """Tops may be worked before grafting, on liners, or after, on trees."""
    lot = bench.lot_here(d.lot, "#/data/lot")
    if lot.kind == "budwood":
        raise refuse("wrong_kind", f"{lot.code} is budwood.", "#/data/lot", code=lot.code)
    family = "liners" if lot.kind == "liner" else "trees"
    if d.place is None:
        places = {
            a.key.place
            for k, a in bench.books.accounts_of(lot.code).items()
            if k.kind == family and k.site == bench.here and a.at_end_of(bench.day) > 0
        }
        return replace(d, place=places.pop()) if len(places) == 1 else d
    bench.place(d.place, "#/data/place")
    return d


@completes(TopsForced)
def _forced(bench: Bench, d: TopsData) -> TopsData:
    return _tops(bench, d)  # type: ignore[return-value]


@completes(TopsRemoved)
def _removed(bench: Bench, d: TopsRemovedData) -> TopsRemovedData:
    return _tops(bench, d)  # type: ignore[return-value]


@completes(PushCounted)
def _push_counted(bench: Bench, d: PushCountedData) -> PushCountedData:
    lot = bench.books.lot(d.lot, "#/data/lot", "tree")
    place, size = _counted_where(bench, lot, d)
    book = BookedStanding(
        **{
            stage: max(_stage_book(bench, lot, place, size, stage), 0)
            for stage in ("grafted", "pushed", "failed")
        }
    )
    removed = sum(part.count for part in d.removed)
    if not d.removed and (d.pushed, d.waiting, d.failed, d.unclear) == (None,) * 4:
        raise refuse(
            "missing",
            "Say what was counted: at least one of pushed, waiting, failed, unclear, removed.",
            "#/data/pushed",
        )
    d = replace(
        d,
        pushed=d.pushed or 0,
        waiting=d.waiting or 0,
        unclear=d.unclear or 0,
        failed=book.failed if d.failed is None else d.failed,
    )
    seen = (d.pushed or 0) + (d.waiting or 0) + (d.failed or 0) + (d.unclear or 0) + removed
    had = book.grafted + book.pushed + book.failed
    if seen != had:
        bench.remark(
            "count_differs",
            f"{seen} were counted or taken away, the book had {had}.",
            lot=lot.code,
            place=place,
            counted=seen,
            book=had,
            difference=seen - had,
        )
    bench.far_from_book(seen, had, "#/data")
    soon = bench.site.norms.first_push_days
    days = soon if lot.day is None else (bench.day - lot.day).days
    if d.pushed and days < soon:
        bench.remark(
            "early_push",
            f"Pushed {days} {'day' if days == 1 else 'days'} after grafting; the trade sees none "
            f"before {soon} days.",
            lot=lot.code,
            days=days,
            usual_from=soon,
        )
    return replace(d, place=place, size=size, book=book)


def _stage_book(bench: Bench, lot: Lot, place: str, size: str, stage: str) -> int:
    return sum(
        account.at_end_of(bench.day)
        for key, account in bench.books.accounts_of(lot.code).items()
        if key[:5] == ("trees", bench.here, place, stage, size) and not key.grade
    )


def _counted_where(bench: Bench, lot: Lot, d: PushCountedData) -> tuple[str, str]:
    """Place and size of the count: those said, or the only ones the lot has or had."""
    known = {
        (key.place, key.size)
        for key, account in bench.books.accounts_of(lot.code).items()
        if key.kind == "trees"
        and key.site == bench.here
        and key.stage != "ready"
        and d.place in (None, key.place)
        and d.size in (None, key.size)
        and account.at_end_of(bench.day) > 0
    }
    if len(known) == 1:
        return known.pop()
    if d.place is not None and d.size is not None:
        bench.place(d.place, "#/data/place")
        return d.place, bench.size(d.size, "#/data/size")
    raise refuse(
        "say_which" if known else "nothing_there",
        f"{lot.code} stands at several places or sizes on {bench.day}; say which."
        if known
        else f"By the book no tree of {lot.code} waits there on {bench.day}. Name place and size "
        "if they stand there all the same.",
        "#/data/place",
        standing=[{"place": place, "size": size} for place, size in sorted(known)],
    )
