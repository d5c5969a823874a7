"""What happened to budwood and liners, as lines."""

from service.board.happenings.parts import (
    Data,
    joined,
    note,
    on,
    several,
    some_buds,
    some_trees,
    tells,
    total,
)
from service.wording.shown import Shown
from service.wording.trade_words import DISCARD_CAUSES, LOSS_CAUSES, named


@tells("budwood.cut", "budwood.received")
def _budwood(shown: Shown, data: Data) -> str:
    w = shown.words
    buds = some_buds(w, total(data["bags"], "buds"))
    bags = w.ngettext("%(num)s bag", "%(num)s bags", len(data["bags"]))
    if "supplier" in data:
        return w.gettext(
            "Budwood came in from %(supplier)s: %(buds)s in %(bags)s",
            supplier=data["supplier"],
            buds=buds,
            bags=bags,
        )
    source = data.get("source_tree") or data.get("tree_lot") or ""
    return w.gettext(
        "Budwood cut from %(source)s: %(buds)s in %(bags)s", source=source, buds=buds, bags=bags
    )


@tells("budwood.discarded")
def _budwood_out(shown: Shown, data: Data) -> str:
    w = shown.words
    return joined(
        w.gettext(
            "Budwood thrown away out of %(bags)s: %(cause)s",
            bags=several(shown, (line["bag"] for line in data["lines"])),
            cause=named(w, data["cause"], DISCARD_CAUSES),
        ),
        note(data),
    )


@tells("budwood.moved")
def _budwood_moved(shown: Shown, data: Data) -> str:
    bags = several(shown, (line["bag"] for line in data["lines"]))
    return shown.words.gettext("Moved %(what)s to %(place)s", what=bags, place=data["to"])


@tells("budwood.sold", "trees.sold")
def _sold(shown: Shown, data: Data) -> str:
    w = shown.words
    buds = any("buds" in line or "bag" in line for line in data["lines"])
    count = total(data["lines"], "buds" if buds else "count")
    what = some_buds(w, count) if buds else some_trees(w, count)
    return w.gettext("Sold %(what)s to %(customer)s", what=what, customer=data["customer"])


@tells("scions.prepared")
def _prepared(shown: Shown, data: Data) -> str:
    w = shown.words
    return w.ngettext(
        "%(num)s piece cut from %(bag)s",
        "%(num)s pieces cut from %(bag)s",
        data["pieces"],
        bag=data["bag"],
    )


@tells("liners.received")
def _liners(shown: Shown, data: Data) -> str:
    count = total(data["lines"], "count")
    return shown.words.gettext(
        "%(count)s liners of %(rootstock)s came in",
        count=shown.number(count),
        rootstock=data["rootstock"],
    )


@tells("liners.discarded")
def _liners_lost(shown: Shown, data: Data) -> str:
    w = shown.words
    return joined(
        w.gettext(
            "%(count)s liners lost: %(cause)s",
            count=shown.number(data["count"]),
            cause=named(w, data["cause"], LOSS_CAUSES),
        ),
        on(w, data.get("place")),
        note(data),
    )


@tells("liners.moved", "liners.potted", "trees.moved", "trees.potted")
def _moved(shown: Shown, data: Data) -> str:
    w, count = shown.words, data.get("count")
    what = w.gettext("all") if count is None else shown.number(count)
    if "to_size" in data:
        return joined(
            w.gettext("Potted %(what)s to %(size)s", what=what, size=data["to_size"]),
            on(w, data.get("to") or data.get("place")),
        )
    if data.get("place"):
        return w.gettext(
            "Moved %(what)s from %(place)s to %(to)s",
            what=what,
            place=data["place"],
            to=data["to"],
        )
    return w.gettext("Moved %(what)s to %(place)s", what=what, place=data["to"])
